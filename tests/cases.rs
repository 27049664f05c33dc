//! How property tests are run: cases that once failed are kept beside the test (`<name>.seeds`), and are tried first.

use proptest::test_runner::{Config, FileFailurePersistence};

/// So many cases.
pub(crate) fn cases(n: u32) -> Config {
    let beside = FileFailurePersistence::WithSource("seeds");
    Config { cases: n, failure_persistence: Some(Box::new(beside)), ..Config::default() }
}
