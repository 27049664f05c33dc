//! The set-up sheet as one self-contained page to print and take to the machine: cautions first, a sketch to scale, and what to
//! do in working order with boxes to tick. No script, no request to anywhere; A4 and Letter.

use super::page::page;
use super::sketch::sketch;
use crate::job::spec::Job;
use crate::plan::{Figure, Plan};
use maud::{Markup, PreEscaped, html};

/// Share by which the belt is off, where the sheet shows what a fixed delay would cost.
const OFF: f64 = 0.1;

const MORE: &str = "\
.lead{break-after:avoid}\
td.box{width:18px}td.box span{display:inline-block;width:13px;height:13px;border:1.5px solid #1a1a1a}\
td.hand{min-width:64px}table.wide{width:100%}th.what{width:62%}table.wide td{font-size:13px;line-height:1.35}tr.step td{background:#ececec;font-weight:bold}.signed td{height:34px;min-width:150px}\
table.dense td,table.dense th{padding:1px 7px;font-size:13px;line-height:1.3}\
@media print{table td,table th{font-size:9pt;line-height:1.25;padding:2px 6px}table.wide td{font-size:8.5pt}\
table.dense td,table.dense th{font-size:8pt;padding:0 5px}.signed,.keep{break-inside:avoid}}";

/// The set-up sheet of a planned job as an HTML file.
#[must_use]
pub fn setup(job: &Job, plan: &Plan) -> String {
    let title = if job.title.is_empty() { job.name.as_str() } else { job.title.as_str() };
    page(
        &format!("Set-up sheet – {title}"),
        MORE,
        &html! {
            h1 { "Set-up sheet" }
            p.job { (title) ". Computed from the measurements in the job “" (job.name) "”; nothing here was measured by this program." }
            (cautions(plan))
            (verdict(plan))
            h2 { "The station from above, to scale" }
            figure { (PreEscaped(sketch(job, plan))) }
            (positions(plan))
            (settings(plan))
            (prove())
            (steps(plan))
            (faster(plan))
            (signed())
            (figures(plan))
            (checks(plan))
        },
    )
}

fn cautions(plan: &Plan) -> Markup {
    html! {
        div.caution {
            strong { "Before anything else" }
            ul { @for c in &plan.cautions { li { (c) } } }
        }
    }
}

fn verdict(plan: &Plan) -> Markup {
    let failed: Vec<_> = plan.checks.iter().filter(|c| !c.ok).collect();
    html! {
        div class=(if failed.is_empty() { "verdict pass" } else { "verdict fail" }) {
            p {
                @if failed.is_empty() { "It can work: every check holds." } @else { "It cannot work as measured: " (failed.len()) " of " (plan.checks.len()) " checks fail." }
                small {
                    (format!("{:.1}", plan.rate_per_min)) " bottles a minute at " (format!("{:.0}", plan.belt_mm_s())) " mm/s; "
                    "the step that sets the rate is " (plan.bottleneck) ". "
                    @if plan.belt_max_mm_s > 0.0 {
                        "Fastest belt " (format!("{:.0}", plan.belt_max_mm_s)) " mm/s, " (format!("{:.1}", plan.rate_max_per_min)) " a minute there."
                    } @else { "No belt speed works with these measurements." }
                }
            }
        }
        @for c in failed {
            p { b { (c.name) ": " } (format!("{:.2} {u} against {:.2} {u}. ", c.value, c.limit, u = c.unit)) (c.mend) }
        }
    }
}

fn box_() -> Markup {
    html! { td.box { span {} } }
}

fn positions(plan: &Plan) -> Markup {
    html! {
        h2 { "1. Stopped, locked out, vented: positions" }
        p.lead { "Places along the belt are from the head centre, downstream positive; heights from the belt. Set from upstream to downstream, check by hand, write down what you measured, then tick." }
        table.wide {
            thead { tr { th {} th.what { "What" } th.n { "Set to" } th.n { "Works from … to" } th { "Measured" } } }
            tbody {
                @for x in &plan.setup {
                    tr {
                        (box_())
                        td { b { (x.name) } br; (x.why) br; i { "Check: " (x.check_by_hand) } }
                        td.n { (format!("{:.1} {}", x.value, x.unit)) }
                        td.n { (format!("{:.1} … {:.1} {}", x.low, x.high, x.unit)) }
                        td.hand { @if let Some(f) = x.found { (format!("{f:.1} in the job")) @if x.is_off() { b { ": OFF" } } } }
                    }
                }
            }
        }
    }
}

fn settings(plan: &Plan) -> Markup {
    let v = plan.belt_mm_s();
    html! {
        h2 { "2. Set in the controller and on the drives" }
        p.lead { "A travel is belt distance. The seconds are what it amounts to at this speed, and the last column how wrong they get with a belt 10 % off: set travels, not seconds." }
        table {
            thead { tr { th {} th { "What" } th.n { "Set to" } th.n { "At " (format!("{v:.0}")) " mm/s" } th.n { "As a delay, belt ±10 %" } } }
            tbody {
                @for f in plan.setpoints.iter().filter(|f| f.set) {
                    tr {
                        (box_())
                        td { (f.name) }
                        td.n { (value(f)) }
                        @if f.travel && f.value > 0.0 {
                            td.n { (format!("{:.3} s", f.value / v)) } td.n { (format!("±{:.1} mm", f.value * OFF)) }
                        } @else { td.n {} td.n {} }
                    }
                }
            }
        }
    }
}

/// What was worked out to be looked at, not to be set.
fn figures(plan: &Plan) -> Markup {
    html! {
        h2 { "Figures behind it" }
        table.dense {
            thead { tr { th { "What" } th.n { "Value" } } }
            tbody { @for f in plan.setpoints.iter().filter(|f| !f.set) { tr { td { (f.name) } td.n { (value(f)) } } } }
        }
    }
}

fn value(f: &Figure) -> String {
    format!("{:.2} {}", f.value, f.unit).trim_end().to_owned()
}

fn prove() -> Markup {
    html! {
        div.keep {
        h2 { "3. Prove it, in this order" }
        table {
            tbody {
                @for text in [
                    "Outputs unplugged: every contact by hand, against the wiring table.",
                    "Guards shut, air on, no bottle: a dry cycle; every stroke within its time.",
                    "One bottle placed by hand: single steps, closure seated and tightened.",
                    "Belt at low speed, empty bottles with closures: each caught in the middle of the jaw.",
                    "Belt at speed: the rate, and removal torque of samples.",
                    "Emergency stop and guards at each of these: everything off, nothing restarts by itself.",
                ] { tr { (box_()) td { (text) } td.hand {} } }
            }
        }
        }
    }
}

fn steps(plan: &Plan) -> Markup {
    html! {
        h2 { "Step chart" }
        table {
            thead { tr { th { "Step" } th.n { "Start, ms" } th.n { "Length, ms" } th.n { "Margin, ms" } } }
            tbody {
                @for r in &plan.steps {
                    tr { td { (r.step) } td.n { (format!("{:.0}", r.start_ms)) } td.n { (format!("{:.0}", r.length_ms)) } td.n { (format!("{:.0}", r.margin_ms)) } }
                }
            }
        }
    }
}

/// Limits that the page names: the first to give, and the next ones.
const LIMITS: usize = 5;

fn faster(plan: &Plan) -> Markup {
    let mut limits: Vec<_> = plan.limits.iter().filter(|l| !l.beyond_drive).collect();
    limits.sort_by(|a, b| a.allows_mm_s.total_cmp(&b.allows_mm_s));
    html! {
        h2 { "What limits the rate, and what would raise it" }
        table {
            thead { tr { th { "If this is changed" } th.n { "Bottles a minute" } th.n { "More" } } }
            tbody { @for g in &plan.gains { tr { td { (g.change) } td.n { (format!("{:.1}", g.rate_per_min)) } td.n { (format!("{:+.1}", g.gain_per_min)) } } } }
        }
        table {
            thead { tr { th { "Gives first as the belt gets faster" } th.n { "At" } } }
            tbody { @for l in limits.iter().take(LIMITS) { tr { td { (l.name) } td.n { (format!("{:.0} mm/s", l.allows_mm_s)) } } } }
        }
    }
}

fn checks(plan: &Plan) -> Markup {
    html! {
        h2 { "Checks" }
        table.dense {
            thead { tr { th { "Check" } th.n { "Value" } th.n { "Limit" } th.n { "To spare" } th { "Holds" } } }
            tbody {
                @for c in &plan.checks {
                    tr class=(if c.ok { "yes" } else { "no" }) {
                        td { (c.name) }
                        td.n { (format!("{:.2} {}", c.value, c.unit)) }
                        td.n { (format!("{:.2} {}", c.limit, c.unit)) }
                        td.n { (format!("{:.2} {}", c.spare, c.unit)) }
                        td { (if c.ok { "yes" } else { "NO" }) }
                    }
                }
            }
        }
    }
}

fn signed() -> Markup {
    html! {
        table.signed { tbody { tr { th { "Set up by" } td {} th { "Date" } td {} } tr { th { "Checked by" } td {} th { "Machine" } td {} } } }
    }
}
