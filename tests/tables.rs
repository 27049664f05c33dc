//! The chapters of the handbook that are written from the core's own tables, so that they cannot say anything else.

use crate::evidence::Evidence;
use crate::{bad_input, figures, safety_case};
use std::fmt::Write as _;
use std::path::Path;
use timing_core::unit::{on_command, on_complete};
use timing_core::{Actuator, Command, Cure, FAULTS, Fault, Order, RULES, Severity, UnitState};

/// The generated chapters, and the schema of the job file: file name under `docs/src`, and text.
///
/// # Errors
/// What the chapters name and the sources do not have, each in a sentence.
pub fn chapters() -> Result<Vec<(&'static str, String)>, Vec<String>> {
    let mut evidence = Evidence::of(&Path::new(env!("CARGO_MANIFEST_DIR")).join(".."));
    let all = vec![
        ("states.md", states()),
        ("faults.md", faults()),
        ("interlocks.md", interlocks()),
        ("safety-case.md", safety_case::chapter(&mut evidence)),
        ("bad-input.md", bad_input::chapter(&mut evidence)),
        ("figures.md", figures::chapter(&mut evidence)),
        ("job.schema.json", format!("{:#}\n", host_sim::job::schema::schema())),
    ];
    evidence.close().map(|()| all)
}

const MARK: &str =
    "<!-- Written by `cargo run -p tests --bin gen-docs` from the tables in timing-core. Do not edit. -->\n\n";

pub(crate) const CAUTION: &str = "> **Caution.** This is a functional controller and never a safety device. Emergency stop, guards and air dump are\n\
    > hard-wired, outside of it. Lock out and vent before hands go in. Local codes and licensed practice decide.\n\n";

fn command_table(out: &mut String, title: &str, rows: &[(String, Vec<String>)], columns: &[&str]) {
    let _ = writeln!(out, "| {title} | {} |", columns.join(" | "));
    let _ = writeln!(out, "|---|{}", "---|".repeat(columns.len()));
    for (name, cells) in rows {
        let _ = writeln!(out, "| {name} | {} |", cells.join(" | "));
    }
    out.push('\n');
}

fn states() -> String {
    let mut out = String::from("# Unit states\n\n");
    out.push_str(MARK);
    out.push_str(
        "The unit follows the state model of ANSI/ISA-TR88.00.02 (PackML), 2015 core with the optional holds. State and\n\
         command numbers are the standard's. An *acting* state ends by itself; a *waiting* state ends by a command. An\n\
         empty cell is a command that is refused there: the state stays, and the refusal is told with its reason.\n\n",
    );
    let columns: Vec<&str> = Command::ALL.iter().map(|c| c.name()).chain(["complete"]).collect();
    let mut transitions = 0;
    let rows: Vec<(String, Vec<String>)> = UnitState::ALL
        .into_iter()
        .map(|from| {
            let kind = if from.is_acting() { "acting" } else { "waiting" };
            let to = Command::ALL.into_iter().map(|c| on_command(from, c)).chain([on_complete(from)]);
            let cells = to
                .map(|to| {
                    transitions += usize::from(to.is_some());
                    to.map_or("", UnitState::name).to_owned()
                })
                .collect();
            (format!("{} {} ({kind})", from as u8, from.name()), cells)
        })
        .collect();
    command_table(&mut out, "from", &rows, &columns);
    let acting = UnitState::ALL.into_iter().filter(|s| s.is_acting()).count();
    let _ = writeln!(out, "{} states, {acting} of them acting; {transitions} transitions.\n", UnitState::ALL.len(),);
    out.push_str(
        "## What the states mean on this machine\n\n\
         - **Stopped, Idle, Aborted** are the only states in which the unit mode may change.\n\
         - **Resetting** checks contacts; nothing moves. Only **Idle** may start.\n\
         - **Starting** warns by the beacon, brings every actuator home in a safe order, and flushes to reject whatever may\n  \
           still stand between release gate and diverter.\n\
         - **Suspended** has its cause *outside*: no bottles come, the outfeed is full, or the line's own belt stands. It\n  \
           ends by itself once the cause has been gone for its clear time. **Stay clear: the machine restarts alone.**\n\
         - **Held** has its cause *inside*: an operator looks, cures, and unholds. Unholding warns before anything moves.\n\
         - **Stopping** finishes every bottle that was let go, and lets no more go.\n\
         - **Aborting** switches everything off in the same tick, and ends when the belt is measured still. A belt that is\n  \
           switched off coasts.\n\
         - **Completed**: the batch is delivered, and nothing is inside.\n",
    );
    out
}

fn cure(c: Cure) -> &'static str {
    match c {
        Cure::Clear => "Clear, then Reset and Start",
        Cure::Unhold => "Unhold",
    }
}

/// The fault's name with what its code carries.
fn carries(fault: Fault) -> &'static str {
    match fault {
        Fault::InputFailed(_) => " (+ 32 × contact)",
        Fault::StrokeOverdue(_) | Fault::StrokeLost(_) => " (+ 32 × actuator)",
        _ => "",
    }
}

fn faults() -> String {
    let mut out = String::from("# Faults\n\n");
    out.push_str(MARK);
    out.push_str(CAUTION);
    out.push_str(
        "Each fault has one row. *Critical* switches everything off in the same tick. *Inside* is trouble within the\n\
         station; what it does depends on the state that it meets (second table). What to look at is looked at **after**\n\
         lock-out and venting.\n\n",
    );
    let rows: Vec<(String, Vec<String>)> = FAULTS
        .iter()
        .map(|row| {
            let code = row.fault.code() & 31;
            let severity = match row.severity {
                Severity::Critical => "critical",
                Severity::Inside => "inside",
            };
            (
                format!("{code}{}", carries(row.fault)),
                vec![row.name.to_owned(), severity.to_owned(), cure(row.cure).to_owned(), row.look.to_owned()],
            )
        })
        .collect();
    command_table(&mut out, "code", &rows, &["fault", "severity", "taken back by", "look at"]);
    out.push_str("## What a fault does in each state\n\nAn empty cell: it is told, and changes nothing.\n\n");
    let rows: Vec<(String, Vec<String>)> = UnitState::ALL
        .into_iter()
        .map(|s| {
            let cells = [Fault::ChainOpen, Fault::Misfeed]
                .into_iter()
                .map(|f| f.reaction(s).map_or("", Command::name).to_owned())
                .collect();
            (s.name().to_owned(), cells)
        })
        .collect();
    command_table(&mut out, "state", &rows, &["critical", "inside"]);
    out.push_str("## Numbers of the actuators\n\n");
    for a in Actuator::ALL {
        let _ = writeln!(out, "- {} = {}", a.index(), a.name());
    }
    out
}

/// The rules in words, by number, with where they are kept; the table of the guard has the rest.
pub(crate) const WORDS: [(&str, &str); 16] = [
    ("Chain open: everything off in the same tick; no restart without Clear, Reset and Start.", "guard"),
    ("The plunger goes down only on a bottle in the grip; the rollers go in only under the plunger.", "guard"),
    ("Spin only with the rollers in and the closure there.", "guard"),
    ("Grip and plunger stay while the rollers are in.", "guard"),
    ("Entry and release gate are never open together, nor one before the other is confirmed shut.", "guard"),
    ("The release gate opens only when the head is ready for one, or early release is proven.", "guard"),
    (
        "No gate shuts on a bottle: not the release gate with one in its path, not the entry gate before the pocket has settled.",
        "guard",
    ),
    (
        "The catch is ordered at most once for a bottle, inside its window; else it is missed and told, never late.",
        "guard, head",
    ),
    (
        "No step begins before the last is confirmed; a stroke that is not confirmed in time is a fault that names it.",
        "guard, head",
    ),
    (
        "An eye blocked for longer than a bottle explains is a jam (release eye) or a full outfeed (discharge eye); a belt that is ordered and silent stops the unit.",
        "watch",
    ),
    (
        "No motion after power-up, a fault, or loss of chain or air without the operator; only Suspended restarts by itself. What restarts warns first.",
        "guard, unit",
    ),
    (
        "Every bottle that was registered or found is counted once: good, rejected, removed, lost, or inside.",
        "track, tally",
    ),
    ("A batch delivers exactly its number of good bottles, or ends early by Stop.", "feed"),
    ("Only transitions of the state table; a request that is refused is told with its reason.", "unit"),
    ("Every acting state and step has a bound; in quiet the machine comes to rest.", "unit, wake"),
    ("No input, product or recording makes the core panic, wrap or stall.", "everywhere"),
];

fn order(o: Order) -> String {
    match o {
        Order::Work(a @ (Actuator::EntryGate | Actuator::ReleaseGate)) => {
            format!("{} open", a.name())
        }
        Order::Back(a @ (Actuator::EntryGate | Actuator::ReleaseGate)) => {
            format!("{} shut", a.name())
        }
        Order::Work(a) => format!("{} to work", a.name()),
        Order::Back(a) => format!("{} back", a.name()),
        Order::Spin => "roller drive on".to_owned(),
        Order::Belt => "belt drive on".to_owned(),
    }
}

fn interlocks() -> String {
    let mut out = String::from("# Interlocks\n\n");
    out.push_str(MARK);
    out.push_str(CAUTION);
    out.push_str(
        "Interlocks bind *orders*. What springs, weight and vented air do is in the valve table of the chapter on safety.\n\n\
         ## The rules in words\n\n| rule | says | kept in |\n|---|---|---|\n",
    );
    for (i, (words, place)) in WORDS.iter().enumerate() {
        let _ = writeln!(out, "| R{} | {words} | {place} |", i + 1);
    }
    out.push_str(
        "\n## The table\n\n\
         Before an order leaves, every row that speaks of it is asked; one *no* keeps the order as it was, and the refusal is\n\
         told with the number of the rule. Only the safe vector, everything off, goes around the table: with the chain open\n\
         nothing else leaves. Switching *off* is an order too: a gate shuts on a bottle, a spring grip opens under the\n\
         rollers.\n\n| rule | order | needs |\n|---|---|---|\n",
    );
    for row in &RULES {
        let _ = writeln!(out, "| R{} | {} | {} |", row.rule, order(row.order), row.needs);
    }
    out.push_str(
        "\nFurther, of two orders in one tick that would open both gates, the entry gate's is kept back (R5).\n",
    );
    out
}
