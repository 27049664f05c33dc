//! The verb `soak`: seeded fault campaigns.

use super::args::SoakArgs;
use super::{FINE, NO, WRONG_INPUT, say};
use crate::soak::campaign::{Ask, Sum, campaign};
use crate::soak::shrink::{Small, shrink};
use crate::soak::{Draws, Profile, Report, run_caught};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::io::{IsTerminal, Write};
use std::time::Duration;
use timing_core::{FAULTS, RULES};

const YEAR_H: f64 = 8_766.0;

/// `soak`: no if any run breaks a rule, panics, or does not run again.
pub(super) fn run(a: &SoakArgs, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    let profile = if a.profile == "shift" { Profile::Shift } else { Profile::Wild };
    if a.explain_draws {
        say(out, &explain(&Draws::new(a.seed, profile)));
        return FINE;
    }
    if let Some(list) = &a.keep {
        return replay(a, profile, list, out, err);
    }
    let kept = match kept_seeds(a) {
        Ok(kept) => kept,
        Err(why) => {
            say(err, &format!("{why}\n"));
            return WRONG_INPUT;
        }
    };
    let mut code = FINE;
    let mut blocks = Vec::new();
    for &(profile, seed) in &kept {
        let draws = Draws::new(seed, profile);
        let report = run_caught(&draws, None);
        if report.failure.is_some() {
            code = NO;
            blocks.push(failure(a, &draws, None, &report, !a.no_shrink));
        }
    }
    let ask = Ask {
        seed: a.seed,
        runs: a.runs,
        time: a.minutes.map(|m| Duration::from_secs_f64(m.clamp(0.0, 1e6) * 60.0)),
        profile,
        threads: a.threads.clamp(1, 256),
        fail_fast: a.fail_fast,
    };
    let bar = bar(a);
    let sum = campaign(&ask, &|sum| {
        bar.set_position(sum.runs);
        bar.set_message(format!("{} bottles, {} strikes, {} failed", sum.bottles, sum.struck_all(), sum.failed.len()));
    });
    bar.finish_and_clear();
    let sum = match sum {
        Ok(sum) => sum,
        Err(why) => {
            say(err, &format!("{why}\n"));
            return WRONG_INPUT;
        }
    };
    for (n, r) in sum.failures.iter().enumerate() {
        code = NO;
        blocks.push(failure(a, &Draws::new(r.seed, profile), None, r, !a.no_shrink && n < SHRUNK));
    }
    if a.json {
        say(out, &format!("{}\n", as_json(a, &sum, kept.len(), &blocks)));
    } else {
        for b in &blocks {
            say(out, &b.text);
        }
        say(out, &table(a, &sum, kept.len()));
    }
    code
}

/// Progress, on a terminal only.
fn bar(a: &SoakArgs) -> indicatif::ProgressBar {
    if a.quiet || a.json || !std::io::stderr().is_terminal() {
        return indicatif::ProgressBar::hidden();
    }
    let style = indicatif::ProgressStyle::with_template("{bar:30} {pos} of {len} runs: {msg}");
    let bar = indicatif::ProgressBar::new(a.runs);
    bar.set_style(style.unwrap_or_else(|_| indicatif::ProgressStyle::default_bar()));
    bar
}

/// The seeds of a file, each with its profile.
fn kept_seeds(a: &SoakArgs) -> Result<Vec<(Profile, u64)>, String> {
    let Some(path) = &a.seeds else { return Ok(Vec::new()) };
    let text = std::fs::read_to_string(path).map_err(|e| format!("cannot read {}: {e}", path.display()))?;
    let mut all = Vec::new();
    for (n, line) in text.lines().enumerate() {
        let line = line.split('#').next().unwrap_or("").trim();
        if line.is_empty() {
            continue;
        }
        let mut words = line.split_whitespace();
        let profile = match words.next() {
            Some("wild") => Some(Profile::Wild),
            Some("shift") => Some(Profile::Shift),
            _ => None,
        };
        let seed = words.next().and_then(|w| w.parse().ok());
        let (Some(profile), Some(seed), None) = (profile, seed, words.next()) else {
            return Err(format!("{}, line {}: write \"wild SEED\" or \"shift SEED\"", path.display(), n + 1));
        };
        all.push((profile, seed));
    }
    Ok(all)
}

/// One seed with some of its strikes.
fn replay(a: &SoakArgs, profile: Profile, list: &str, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    let mut draws = Draws::new(a.seed, profile);
    let Some(keep) = numbers(list, draws.strikes.len()) else {
        let n = draws.strikes.len();
        say(
            err,
            &format!(
                "--keep {list}: give numbers from 0 to {} with commas between, \"all\" or \"none\"\n",
                n.max(1) - 1
            ),
        );
        return WRONG_INPUT;
    };
    if let Some(s) = a.until {
        draws.trouble_us = (s.max(0.0) * 1e6) as u64;
    }
    let report = run_caught(&draws, Some(&keep));
    if report.failure.is_none() {
        if a.json {
            say(out, &format!("{}\n", json!({ "seed": a.seed, "profile": a.profile, "failure": null })));
        } else {
            say(out, &format!("{draws}{}\nNo rule is broken, and it runs again.\n", strikes(&draws, &keep)));
        }
        return FINE;
    }
    let block = failure(a, &draws, Some(&keep), &report, false);
    say(out, &if a.json { format!("{}\n", block.json) } else { block.text });
    NO
}

fn numbers(list: &str, n: usize) -> Option<Vec<usize>> {
    match list {
        "none" => Some(Vec::new()),
        "all" => Some((0..n).collect()),
        _ => list.split(',').map(|w| w.trim().parse().ok().filter(|&i| i < n)).collect(),
    }
}

fn strikes(draws: &Draws, keep: &[usize]) -> String {
    let mut text = String::new();
    for &i in keep {
        let s = &draws.strikes[i];
        let _ = writeln!(
            text,
            "  strike {i}: at {:.6} s for {:.6} s: {}: {:?}",
            s.at_us as f64 * 1e-6,
            s.lasts_us as f64 * 1e-6,
            s.kind.name(),
            s.what
        );
    }
    text
}

fn explain(draws: &Draws) -> String {
    let all: Vec<usize> = (0..draws.strikes.len()).collect();
    let job = &draws.job;
    format!(
        "{draws}\n{:#?}\n{:#?}\n{:#?}\nThe other product:\n{:#?}\n{}",
        job.machine,
        job.product,
        job.run,
        draws.other.0,
        strikes(draws, &all)
    )
}

/// What is said of a failing run.
struct Block {
    text: String,
    json: Value,
}

/// Failing runs that are made small; the others are told as they are.
const SHRUNK: usize = 5;
/// Strikes printed one by one; of more only how many.
const PRINTED: usize = 40;

fn failure(a: &SoakArgs, draws: &Draws, keep: Option<&[usize]>, report: &Report, make_small: bool) -> Block {
    let small = if make_small {
        shrink(draws, keep, report)
    } else {
        let keep = keep.map_or_else(|| (0..draws.strikes.len()).collect(), <[usize]>::to_vec);
        Small { draws: draws.clone(), keep, report: report.clone() }
    };
    let Some(f) = &small.report.failure else {
        return Block { text: String::new(), json: Value::Null };
    };
    let list = match small.keep.len() {
        0 => "none".to_owned(),
        n if n == draws.strikes.len() => "all".to_owned(),
        _ => small.keep.iter().map(usize::to_string).collect::<Vec<_>>().join(","),
    };
    let mut line = format!("capcycle soak --profile {} --seed {} --keep {list}", draws.profile.word(), draws.seed);
    let whole = Draws::new(draws.seed, draws.profile).trouble_us;
    if small.draws.trouble_us != whole {
        let _ = write!(line, " --until {}", small.draws.trouble_us as f64 * 1e-6);
    }
    if a.commit != "unknown" {
        let _ = write!(line, " --commit {}", a.commit);
    }
    let rule = match f.rule {
        0 => "LIVENESS".to_owned(),
        n => format!("R{n}"),
    };
    let shown = &small.keep[..small.keep.len().min(PRINTED)];
    let mut text =
        format!("FAILED {rule}: {}\n  commit {}\n{}{}", f.text, a.commit, small.draws, strikes(&small.draws, shown));
    if small.keep.len() > PRINTED {
        let _ = writeln!(text, "  and {} more strikes", small.keep.len() - PRINTED);
    }
    let _ = writeln!(
        text,
        "  first bad tick: {:.6} s ({} strikes of {} left)",
        f.t_us as f64 * 1e-6,
        small.keep.len(),
        draws.strikes.len()
    );
    for l in &f.last {
        let _ = writeln!(text, "    {l}");
    }
    let _ = writeln!(text, "  again: {line}\n");
    let json = json!({
        "commit": a.commit, "seed": draws.seed, "profile": draws.profile.word(), "rule": f.rule, "what": f.text,
        "first_bad_us": f.t_us, "strikes": small.keep, "events": f.last, "again": line,
        "draws": small.draws.to_string(),
    });
    Block { text, json }
}

fn table(a: &SoakArgs, s: &Sum, kept: usize) -> String {
    let hours = s.simulated_us as f64 / 3.6e9;
    let mut t = format!(
        "{} runs of profile {} from seed {}, commit {}{}\n",
        s.runs,
        a.profile,
        a.seed,
        a.commit,
        if kept > 0 { format!(", after {kept} kept seeds") } else { String::new() }
    );
    let _ = writeln!(t, "  bottles through the release gate  {}", s.bottles);
    let _ = writeln!(
        t,
        "  machine time                      {hours:.2} h = {:.4} years, {:.1} % of it with trouble on",
        hours / YEAR_H,
        s.trouble_us as f64 * 100.0 / s.simulated_us.max(1) as f64
    );
    let _ = writeln!(t, "  ticks of the core                 {}", s.ticks);
    let _ = writeln!(t, "  strikes of trouble                {}", s.struck_all());
    let _ = writeln!(t, "  new cores after a power cut       {}; products loaded {}", s.power_ups, s.loads);
    let [registered, good, rejected, removed, lost, found] = s.counted;
    let _ = writeln!(
        t,
        "  counted                           {registered} registered, {good} good, {rejected} rejected, {removed} removed, {lost} lost, {found} found"
    );
    let _ = writeln!(
        t,
        "  ran again in quiet                {} runs; the slowest took {:.0} % of its bound",
        s.ran_again,
        s.quiet_share * 100.0
    );
    let _ = writeln!(t, "  run twice, with equal results     {}", s.twice);
    let _ = writeln!(t, "  digest of all ticks               {:016x}", s.digest);
    let _ = writeln!(t, "\nStrikes by kind");
    for (kind, n) in crate::soak::trouble::Kind::ALL.into_iter().zip(s.struck) {
        let _ = writeln!(t, "  {:<28} {n}", kind.name());
    }
    let reached = s.faults.iter().filter(|n| **n > 0).count();
    let _ = writeln!(t, "\nFaults told: {reached} of {} rows", FAULTS.len());
    for (row, n) in FAULTS.iter().zip(s.faults) {
        let _ = writeln!(t, "  {:<32} {}", row.name, if n == 0 { "NOT REACHED".to_owned() } else { n.to_string() });
    }
    let reached = s.kept.iter().filter(|n| **n > 0).count();
    let _ = writeln!(t, "\nOrders that the interlocks kept back: {reached} of {} rows", RULES.len());
    for (row, n) in RULES.iter().zip(s.kept) {
        let name = format!("R{} {:?}", row.rule, row.order);
        let _ = writeln!(t, "  {name:<32} {}", if n == 0 { "NOT REACHED".to_owned() } else { n.to_string() });
    }
    let (taken, never) = s.steps_of_all();
    let _ = writeln!(t, "\nSteps of the state table: {taken} of {}", taken + never.len());
    if !never.is_empty() {
        let _ = writeln!(t, "  never: {}", never.join("; "));
    }
    let _ = if s.failed.is_empty() {
        writeln!(t, "\nNo rule was broken.")
    } else {
        let seeds: Vec<String> = s.failed.iter().map(u64::to_string).collect();
        writeln!(t, "\n{} runs FAILED; seeds {}", s.failed.len(), seeds.join(", "))
    };
    t
}

fn as_json(a: &SoakArgs, s: &Sum, kept: usize, blocks: &[Block]) -> Value {
    let of = |names: Vec<String>, n: &[u64]| -> Value {
        names.into_iter().zip(n).map(|(k, v)| (k, json!(v))).collect::<serde_json::Map<_, _>>().into()
    };
    let kinds = crate::soak::trouble::Kind::ALL.into_iter().map(|k| k.name().to_owned()).collect();
    let faults = FAULTS.iter().map(|r| r.name.to_owned()).collect();
    let rows = RULES.iter().map(|r| format!("R{} {:?}", r.rule, r.order)).collect();
    let [registered, good, rejected, removed, lost, found] = s.counted;
    let (taken, never) = s.steps_of_all();
    json!({
        "commit": a.commit, "profile": a.profile, "seed": a.seed, "runs": s.runs, "kept_seeds": kept,
        "bottles": s.bottles, "simulated_h": s.simulated_us as f64 / 3.6e9, "trouble_h": s.trouble_us as f64 / 3.6e9,
        "ticks": s.ticks, "strikes": s.struck_all(), "power_ups": s.power_ups, "loads": s.loads,
        "counted": { "registered": registered, "good": good, "rejected": rejected, "removed": removed, "lost": lost, "found": found },
        "ran_again": s.ran_again, "quiet_share_max": s.quiet_share, "twice": s.twice, "digest": format!("{:016x}", s.digest),
        "strikes_by_kind": of(kinds, &s.struck), "faults": of(faults, &s.faults), "kept_back": of(rows, &s.kept),
        "state_steps": taken, "state_steps_never": never, "failed_seeds": s.failed,
        "failures": blocks.iter().map(|b| b.json.clone()).collect::<Vec<_>>(),
    })
}
