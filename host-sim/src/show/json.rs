//! `run --json`: one object per job, on one line.

use crate::verdict::{Centring, Comparison, Outcome, RunResult};
use serde::Serialize;
use serde::ser::{SerializeMap, Serializer};

#[derive(Serialize)]
struct Object<'a> {
    job: &'a str,
    verdict: &'static str,
    bottles_in: u32,
    good: u32,
    rejected: u32,
    removed: u32,
    lost: u32,
    found: u32,
    inside: u32,
    rate_per_min: f64,
    #[serde(serialize_with = "outcomes")]
    outcomes: &'a [u32; 12],
    breaches: Vec<BreachObject<'a>>,
    missed: u32,
    simulated_s: f64,
    ticks: u64,
    digest: String,
    trace_digest: String,
    centring: CentringObject,
    #[serde(skip_serializing_if = "Option::is_none")]
    comparison: Option<ComparisonObject>,
    placement: PlacementObject,
}

#[derive(Serialize)]
struct BreachObject<'a> {
    rule: u8,
    t_us: u64,
    text: &'a str,
}

#[derive(Serialize)]
struct CentringObject {
    n: u32,
    mean_mm: f64,
    rms_mm: f64,
    max_mm: f64,
}

#[derive(Serialize)]
struct PlacementObject {
    n: u32,
    max_counts: i32,
}

fn outcomes<S: Serializer>(counts: &[u32; 12], s: S) -> Result<S::Ok, S::Error> {
    let mut map = s.serialize_map(Some(counts.len()))?;
    for (outcome, n) in Outcome::ALL.into_iter().zip(counts) {
        map.serialize_entry(outcome.word(), n)?;
    }
    map.end()
}

const fn centring(c: &Centring) -> CentringObject {
    CentringObject { n: c.n, mean_mm: c.mean_mm, rms_mm: c.rms_mm, max_mm: c.max_mm }
}

#[derive(Serialize)]
struct ComparisonObject {
    even: CentringObject,
    even_fixed: CentringObject,
    fixed: CentringObject,
    fixed_failed: u32,
    failed: u32,
    predicted_mm: f64,
}

const fn comparison(c: &Comparison) -> ComparisonObject {
    ComparisonObject {
        even: centring(&c.even),
        even_fixed: centring(&c.even_fixed),
        fixed: centring(&c.fixed),
        fixed_failed: c.fixed_failed,
        failed: c.failed,
        predicted_mm: c.predicted_mm,
    }
}

/// Number of bottles that met this end.
pub(crate) fn count(r: &RunResult, outcome: Outcome) -> u32 {
    Outcome::ALL.iter().zip(r.outcomes).filter(|(o, _)| **o == outcome).map(|(_, n)| n).sum()
}

/// The result as one JSON object on one line, without a newline at its end.
///
/// Keys: `job`, `verdict` ("pass" or "fail"), `bottles_in`, `good`, `rejected`, `removed`, `lost`, `found`, `inside`,
/// `rate_per_min`, `outcomes` (every word of [`Outcome`] with its number), `breaches` (`rule`, `t_us`, `text`), `missed`,
/// `simulated_s`, `ticks`, `digest` and `trace_digest` (16 hexadecimal digits), `centring` (`n`, `mean_mm`, `rms_mm`, `max_mm`) and, if it was asked for,
/// `comparison` with fixed delays in seconds (`even`, `even_fixed`, `fixed`, each as `centring`; `fixed_failed`, `failed`,
/// `predicted_mm`), `placement` (`n`, `max_counts`).
#[must_use]
pub fn object(r: &RunResult) -> String {
    let object = Object {
        job: &r.job,
        verdict: if r.pass { "pass" } else { "fail" },
        bottles_in: r.bottles_in,
        good: r.counted.good,
        rejected: r.counted.rejected,
        removed: r.counted.removed,
        lost: r.counted.lost,
        found: r.counted.found,
        inside: r.counted.inside,
        rate_per_min: r.rate_per_min,
        outcomes: &r.outcomes,
        breaches: r.breaches.iter().map(|b| BreachObject { rule: b.rule, t_us: b.t_us, text: &b.text }).collect(),
        missed: count(r, Outcome::Missed),
        simulated_s: r.simulated_s,
        ticks: r.ticks,
        digest: format!("{:016x}", r.digest),
        trace_digest: format!("{:016x}", r.trace_digest),
        centring: centring(&r.centring),
        comparison: r.comparison.as_ref().map(comparison),
        placement: PlacementObject { n: r.placement.n, max_counts: r.placement.max_counts },
    };
    // Plain numbers and strings: serialising them cannot fail.
    serde_json::to_string(&object).unwrap_or_default()
}
