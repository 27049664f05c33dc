//! The chapters that name code and tests: what they name must be there, or the generator says so. Tried on sources that lie.

use std::fs;
use tests::evidence::Evidence;

/// What the lookup complains about, in a small repository of one file.
fn complaints(source: &str, ask: impl Fn(&mut Evidence)) -> Vec<String> {
    let dir = tempfile::tempdir().expect("a folder");
    fs::create_dir_all(dir.path().join("tests")).expect("it can be made");
    fs::create_dir_all(dir.path().join("docs/src")).expect("it can be made");
    fs::write(dir.path().join("a.rs"), source).expect("it can be written");
    fs::write(dir.path().join("tests/in.rs"), source).expect("it can be written");
    fs::write(dir.path().join("tests/out.rs"), source).expect("it can be written");
    fs::write(dir.path().join("tests/main.rs"), "mod in;\n").expect("it can be written");
    fs::write(dir.path().join("docs/src/p.md"), "# P\n\n## There\n").expect("it can be written");
    let mut e = Evidence::of(dir.path());
    ask(&mut e);
    e.close().err().unwrap_or_default()
}

#[test]
fn code_that_is_not_there_is_told() {
    let source = "// fn gone() {}\npub(crate) const fn here<T>() {}\npub static LOCKS: u8 = 0;\nfn here_too() {}\n\n#[cfg(test)]\nmod tests {\n    fn helper() {}\n}\n";
    for name in ["here", "LOCKS", "here_too"] {
        assert!(complaints(source, |e| drop(e.code(("a.rs", name)))).is_empty(), "{name}");
    }
    for name in ["gone", "her", "too", "helper", "T"] {
        assert_eq!(complaints(source, |e| drop(e.code(("a.rs", name)))), [format!("a.rs: defines no `{name}`")]);
    }
    assert_eq!(complaints(source, |e| drop(e.code(("b.rs", "here")))), ["b.rs: cannot be read"]);
}

#[test]
fn a_test_that_does_not_run_is_told() {
    let source = "/// Words.\n#[test]\nfn runs() {\n    assert!(true_or_not());\n}\n\n#[test]\n#[ignore = \"slow\"]\nfn sleeps() {\n}\n\nfn helps() {\n}\n";
    let of = |file, name| complaints(source, |e| drop(e.test((file, name))));
    assert!(of("tests/in.rs", "runs").is_empty());
    assert_eq!(of("tests/in.rs", "sleeps"), ["tests/in.rs: the test `sleeps` is not run"]);
    assert_eq!(of("tests/in.rs", "helps"), ["tests/in.rs: `helps` is no test"]);
    assert_eq!(of("tests/in.rs", "run"), ["tests/in.rs: has no test `run`"]);
    assert_eq!(of("tests/out.rs", "runs").len(), 1, "no module of main.rs");
    let dir = tempfile::tempdir().expect("a folder");
    fs::write(dir.path().join("a.rs"), source).expect("it can be written");
    let (_, body) = Evidence::of(dir.path()).test(("a.rs", "runs"));
    assert_eq!(body, "fn runs() {\n    assert!(true_or_not());");
}

#[test]
fn a_heading_that_is_not_there_is_told() {
    assert!(complaints("", |e| e.heading("p.md", "There")).is_empty());
    assert_eq!(complaints("", |e| e.heading("p.md", "Ther")), ["docs/src/p.md: has no heading \"Ther\""]);
}

#[test]
fn every_chapter_is_made_without_a_complaint() {
    assert!(tests::tables::chapters().map_err(|e| e.join("\n")).is_ok_and(|c| c.len() > 5));
}
