//! The core gives what it gave when the files were kept; at the first hash that differs it is another core.

use std::path::PathBuf;

#[test]
fn the_core_gives_what_it_gave() {
    let dir = std::env::var_os("CAPCYCLE_KEPT").expect("CAPCYCLE_KEPT names the folder that tests/mutants.sh filled");
    let mut files: Vec<(u64, PathBuf)> = std::fs::read_dir(&dir)
        .expect("the folder can be read")
        .map(|f| f.expect("a file").path())
        .filter(|f| f.extension().is_some_and(|e| e == "inputs"))
        .map(|f| (f.metadata().expect("its length").len(), f))
        .collect();
    assert!(!files.is_empty(), "no recorded inputs in {}", PathBuf::from(&dir).display());
    // Most changes show in any of them: the short ones first.
    files.sort();
    for (_, file) in files {
        let inputs = std::fs::read(&file).expect("recorded inputs");
        let kept = std::fs::read(mutants::beside(&file)).expect("what was kept");
        let (hashes, _) = kept.as_chunks::<8>();
        let mut at = 0;
        mutants::hashes(&inputs, |hash| {
            assert_eq!(hashes.get(at), Some(&hash.to_le_bytes()), "{}: hash {at}", file.display());
            at += 1;
        });
        assert_eq!(at, hashes.len(), "{}", file.display());
    }
}
