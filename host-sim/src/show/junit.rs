//! `junit.xml`: a test case per job, for CI. No times of day and no durations: the same runs give the same file.

use super::span::seconds;
use super::words;
use crate::verdict::RunResult;
use quick_junit::{NonSuccessKind, Report, TestCase, TestCaseStatus, TestSuite};
use std::fmt::Write as _;

/// The results of one call as a JUnit report.
#[must_use]
pub fn junit(results: &[RunResult]) -> String {
    let mut suite = TestSuite::new("rehearsals");
    for r in results {
        let mut case = TestCase::new(r.job.as_str(), status(r));
        case.set_classname("capcycle.run");
        case.set_assertions(r.checks.len());
        case.set_system_out(super::terminal::block(r));
        suite.add_test_case(case);
    }
    let mut report = Report::new("capcycle");
    report.add_test_suite(suite);
    // Serialising to memory fails only on a fault of the library; an empty file is loud in every reader.
    report.to_string().unwrap_or_default()
}

fn status(r: &RunResult) -> TestCaseStatus {
    if r.pass {
        return TestCaseStatus::success();
    }
    let mut status = TestCaseStatus::non_success(NonSuccessKind::Failure);
    let mut text = String::new();
    for check in r.checks.iter().filter(|c| !c.ok) {
        let _ = writeln!(text, "expected {}, got {}", check.expected, check.got);
    }
    for b in &r.breaches {
        let _ = writeln!(text, "rule R{} broken at {} s: {}", b.rule, seconds(b.t_us, 6), b.text);
    }
    status.set_message(words::verdict(r));
    status.set_type(if r.breaches.is_empty() { "check" } else { "rule" });
    status.set_description(text);
    status
}
