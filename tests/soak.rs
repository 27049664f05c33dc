//! Seeded campaigns: the seeds that once failed, a short campaign, and the harness itself.

use host_sim::cli;
use host_sim::soak::campaign::{Ask, Sum, campaign};
use host_sim::soak::shrink::shrink;
use host_sim::soak::trouble::Kind;
use host_sim::soak::{Draws, Profile, run};
use std::ffi::OsString;

fn short(runs: u64, threads: usize) -> Sum {
    let ask = Ask { seed: 1, runs, time: None, profile: Profile::Wild, threads, fail_fast: false };
    campaign(&ask, &|_| {}).expect("threads")
}

fn failures(sum: &Sum) -> Vec<String> {
    sum.failures.iter().map(|r| format!("seed {}: {:?}", r.seed, r.failure)).collect()
}

fn capcycle(args: &[&str]) -> (u8, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let args = ["capcycle", "soak"].iter().chain(args).map(OsString::from);
    let code = cli::run(args, &mut out, &mut err);
    (code, String::from_utf8(out).expect("text"), String::from_utf8(err).expect("text"))
}

/// What once failed is run first, for ever.
#[test]
fn kept_seeds_break_no_rule_and_run_again() {
    let mut n = 0;
    for line in include_str!("soak.seeds").lines() {
        let mut words = line.split('#').next().unwrap_or("").split_whitespace();
        let Some(profile) = words.next() else { continue };
        let profile = if profile == "shift" { Profile::Shift } else { Profile::Wild };
        let seed = words.next().and_then(|w| w.parse().ok()).unwrap_or_else(|| panic!("no seed in {line}"));
        let report = run(&Draws::new(seed, profile), None);
        assert!(report.failure.is_none(), "{line}: {:#?}", report.failure);
        n += 1;
    }
    assert!(n > 30, "{n} kept seeds");
}

/// A short campaign: no rule broken, everything runs again, every kind of trouble met something, and the threads make no difference.
#[test]
fn a_short_campaign_breaks_no_rule_and_reaches_every_kind() {
    let one = short(150, 1);
    assert!(one.failed.is_empty(), "{:#?}", failures(&one));
    assert_eq!(one.ran_again, 150);
    for (kind, n) in Kind::ALL.into_iter().zip(one.struck) {
        assert!(n > 0, "{} never struck", kind.name());
    }
    let faults = one.faults.iter().filter(|n| **n > 0).count();
    assert!(faults >= 15, "{faults} rows of the fault table reached");
    let two = short(20, 2);
    assert_eq!(two.digest, short(20, 1).digest, "threads change the results");
}

/// The harness can fail: on a line to which no bottle comes, none is closed in quiet. And what fails without any trouble is shrunk to none.
#[test]
fn a_line_that_does_not_run_again_is_caught_and_shrunk() {
    let seed = (1..200)
        .find(|&seed| {
            let d = Draws::new(seed, Profile::Wild);
            d.plan.works() && d.strikes.len() > 20 && d.strikes.len() < 200 && d.trouble_us < 120_000_000
        })
        .expect("a short run of a machine that works");
    let mut draws = Draws::new(seed, Profile::Wild);
    assert!(run(&draws, None).failure.is_none());
    draws.job.run.bottles = 0;
    let report = run(&draws, None);
    let failure = report.failure.as_ref().expect("it never runs again");
    assert_eq!(failure.rule, 0, "{failure:?}");
    assert!(!failure.last.is_empty());
    let small = shrink(&draws, None, &report);
    assert_eq!(small.keep, [0_usize; 0]);
    assert!(small.draws.trouble_us < draws.trouble_us);
    assert_eq!(small.report.failure.map(|f| f.rule), Some(0));
}

/// A seed is a run: the same strikes, the same bits; and fewer strikes are another run.
#[test]
fn a_seed_is_a_run() {
    let (a, b) = (Draws::new(77, Profile::Wild), Draws::new(77, Profile::Wild));
    assert_eq!(a.strikes, b.strikes);
    let (all, again) = (run(&a, None), run(&b, None));
    assert_eq!(all, again);
    assert_ne!(all.digest, run(&a, Some(&[])).digest);
    assert_ne!(all.digest, run(&Draws::new(78, Profile::Wild), None).digest);
}

#[test]
fn the_verb_tells_draws_replays_and_sums() {
    let (code, out, _) = capcycle(&["--seed", "3", "--explain-draws"]);
    assert_eq!(code, 0);
    for word in ["seed 3, profile wild", "MachineSpec", "ProductSpec", "strike 0: at "] {
        assert!(out.contains(word), "{word} is not in\n{out}");
    }
    let (code, out, _) = capcycle(&["--seed", "3", "--keep", "none"]);
    assert_eq!(code, 0, "{out}");
    assert!(out.contains("No rule is broken"));
    let (code, out, err) = capcycle(&["--seed", "3", "--keep", "0,x"]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(err.contains("--keep 0,x: give numbers"), "{err}");
    let (code, _, err) = capcycle(&["--seeds", "no-such-file"]);
    assert_eq!(code, 2);
    assert!(err.contains("cannot read no-such-file"), "{err}");
    let (code, out, _) = capcycle(&["--runs", "3", "--json", "--commit", "abc"]);
    assert_eq!(code, 0);
    let json: serde_json::Value = serde_json::from_str(&out).expect("one JSON object");
    assert_eq!((json["runs"].as_u64(), json["commit"].as_str()), (Some(3), Some("abc")));
    assert_eq!(json["faults"].as_object().map(serde_json::Map::len), Some(22));
    assert_eq!(json["kept_back"].as_object().map(serde_json::Map::len), Some(19));
}
