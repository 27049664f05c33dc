//! Files for people: never written over without leave, never half.

use host_sim::cli::files::{File, Files};
use std::fs;
use std::path::{Path, PathBuf};

fn file(path: PathBuf, content: &str) -> File {
    File { path, content: content.into() }
}

fn names(dir: &Path) -> Vec<String> {
    let mut all: Vec<_> = fs::read_dir(dir)
        .expect("it is there")
        .map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    all.sort();
    all
}

#[test]
fn a_new_file_is_written_whole() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = dir.path().join("a.svg");
    Files::default().write(&[file(path.clone(), "whole")]).expect("nothing stands against it");
    assert_eq!(fs::read_to_string(path).expect("it is there"), "whole");
    assert_eq!(names(dir.path()), ["a.svg"]);
}

#[test]
fn nothing_is_written_over_without_force_and_then_nothing_at_all() {
    let dir = tempfile::tempdir().expect("a folder");
    let (old, new) = (dir.path().join("old.svg"), dir.path().join("new.svg"));
    fs::write(&old, "old").expect("it can be written");
    let both = [file(new, "new"), file(old.clone(), "changed")];
    let e = Files::default().write(&both).expect_err("one is there already");
    assert!(e.contains("old.svg is there already") && e.contains("--force"), "{e}");
    assert_eq!(names(dir.path()), ["old.svg"]);
    assert_eq!(fs::read_to_string(&old).expect("it is there"), "old");
    Files { force: true, out: None }.write(&both).expect("it may");
    assert_eq!(names(dir.path()), ["new.svg", "old.svg"]);
    assert_eq!(fs::read_to_string(&old).expect("it is there"), "changed");
}

#[test]
fn below_the_named_folder_it_may_and_beside_it_may_not() {
    let dir = tempfile::tempdir().expect("a folder");
    let out = dir.path().join("out");
    let files = Files { force: false, out: Some(out.clone()) };
    let inside = out.join("demo/report.html");
    for text in ["first", "second"] {
        files.write(&[file(inside.clone(), text)]).expect("it is below the folder");
        assert_eq!(fs::read_to_string(&inside).expect("it is there"), text);
    }
    let beside = dir.path().join("precious");
    fs::write(&beside, "mine").expect("it can be written");
    for path in [beside.clone(), out.join("../precious")] {
        files.write(&[file(path, "theirs")]).expect_err("it is not below the folder");
        assert_eq!(fs::read_to_string(&beside).expect("it is there"), "mine");
    }
}

#[test]
fn what_cannot_be_is_said_before_any_work() {
    let dir = tempfile::tempdir().expect("a folder");
    let files = Files::default();
    let twice = dir.path().join("a");
    assert!(files.against(&[&twice, &twice])[0].contains("twice"));
    assert!(files.against(&[dir.path()])[0].contains("is a folder"));
    assert!(files.against(&[&dir.path().join("no/such/a.svg")])[0].contains("make it first"));
    assert!(files.against(&[&twice]).is_empty());
    assert!(names(dir.path()).is_empty());
}

#[test]
fn a_failure_half_way_leaves_nothing_behind() {
    let dir = tempfile::tempdir().expect("a folder");
    let out = dir.path().join("out");
    fs::create_dir(&out).expect("it can be made");
    // A file where a folder is due: the second cannot be written.
    fs::write(out.join("x"), "").expect("it can be written");
    let files = Files { force: false, out: Some(out.clone()) };
    let e = files.write(&[file(out.join("a.svg"), "a"), file(out.join("x/b.svg"), "b")]).expect_err("x is no folder");
    assert!(e.contains("b.svg"), "{e}");
    assert_eq!(names(&out), ["x"]);
}
