//! What is kept of fuzzing, run in every test run: the seeds, the minimised corpus, and whatever once failed.

use std::fs;
use std::path::{Path, PathBuf};
use tests::fuzzed::{Seen, TARGETS, core_seen, seeds};
use timing_core::{HeadStep, UnitState};

/// Files of one target, at most, and bytes of each: a corpus is to stay small.
const FILES: usize = 100;
const BYTES: u64 = 1_024;

fn folder(kind: &str, target: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz").join(kind).join(target)
}

/// The files of a folder, by name; of one that is not there none.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut all: Vec<PathBuf> =
        fs::read_dir(folder).map(|d| d.map(|f| f.expect("a file").path()).collect()).unwrap_or_default();
    all.sort();
    all
}

#[test]
fn seeds_are_as_written() {
    for (target, run) in TARGETS {
        let into = folder("seeds", target);
        let mut names = Vec::new();
        for (name, bytes) in seeds::of(target) {
            run(&bytes);
            let path = into.join(name);
            if std::env::var_os("BLESS").is_some() {
                fs::create_dir_all(&into).expect("a folder for seeds");
                fs::write(&path, &bytes).expect("a seed");
            }
            let found = fs::read(&path).unwrap_or_else(|e| panic!("{}: {e}; renew with BLESS=1", path.display()));
            assert!(found == bytes, "{}: is not what tests/fuzzed/seeds.rs says; renew with BLESS=1", path.display());
            names.push(path);
        }
        names.sort();
        assert_eq!(files(&into), names, "no seed beside those of tests/fuzzed/seeds.rs");
    }
}

#[test]
fn what_the_fuzzer_kept_still_holds() {
    for (target, run) in TARGETS {
        let corpus = files(&folder("corpus", target));
        assert!(!corpus.is_empty(), "{target}: no corpus is kept");
        assert!(corpus.len() <= FILES, "{target}: {} files; minimise the corpus", corpus.len());
        for path in corpus {
            let bytes = fs::read(&path).expect("a file of the corpus");
            assert!(bytes.len() as u64 <= BYTES, "{}: {} bytes", path.display(), bytes.len());
            told(&path, run, &bytes);
        }
    }
}

/// Fuzzing that never got a bottle closed would say little.
#[test]
fn the_core_is_fuzzed_wherever_it_can_be() {
    let mut seen = Seen::default();
    for path in [files(&folder("seeds", "core")), files(&folder("corpus", "core"))].concat() {
        let one = core_seen(&fs::read(&path).expect("a file of the corpus"));
        seen.units |= one.units;
        seen.heads |= one.heads;
        seen.good = seen.good.max(one.good);
    }
    let missed: Vec<_> = UnitState::ALL.into_iter().filter(|s| seen.units & (1 << *s as u32) == 0).collect();
    assert!(missed.is_empty(), "unit states never reached: {missed:?}");
    let missed: Vec<_> = HeadStep::ALL.into_iter().filter(|s| seen.heads & (1 << *s as u32) == 0).collect();
    assert!(missed.is_empty(), "steps of the head never reached: {missed:?}");
    assert!(seen.good > 0, "no bottle was good");
}

/// Each is named after what was wrong.
#[test]
fn what_the_fuzzer_found_is_mended() {
    for (target, run) in TARGETS {
        for path in files(&folder("found", target)) {
            told(&path, run, &fs::read(&path).expect("a finding"));
        }
    }
}

fn told(path: &Path, run: fn(&[u8]), bytes: &[u8]) {
    if let Err(e) = std::panic::catch_unwind(|| run(bytes)) {
        eprintln!("failed on {}", path.display());
        std::panic::resume_unwind(e);
    }
}
