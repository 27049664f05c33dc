//! The chapter on the safety case: hazard → rule → code → test → last recorded figure, and what is not claimed.

use crate::evidence::Evidence;
use crate::hazards::{CLAIMS, Claim, HAZARDS, TOGETHER, TOGETHER_SCRIPTS};
use crate::tables::{CAUTION, WORDS};
use std::fmt::Write as _;
use timing_core::RULES;

const SOAK: &str = "docs/src/soak.md";
const MUTANTS: &str = "docs/src/rules-tested.md";

const INTRODUCTION: &str = "This chapter shows in one place what speaks for the rules that the control core keeps, and where that ends. From each hazard it leads to\n\
    the rules that bear on it, to the code that enforces them, to the tests that hold them, and to what was last recorded.\n\n\
    It is **no risk assessment**, and no safety case in the sense of a standard on functional safety. The hazards are those that stations of\n\
    this kind have in general, named in the manner of ISO 12100 (hazard, hazardous situation, who is exposed); how grave and how likely they are\n\
    depends on the machine as it is built and used, so that is not estimated here. **A rule that bears on a hazard is no protective measure\n\
    against it**: it keeps the sequence from adding to it, as long as the controller works. The last column says what has to protect people.\n\n";

const NOT_CLAIMED: &str = "## What is not claimed\n\n\
    - **No performance level (PL), no safety integrity level (SIL), no category**, for the core, its interlocks, or anything around them. Nothing here was\n  \
      developed by such a process, and tests, however many, do not replace it.\n\
    - **Nothing about the hard-wired part.** Emergency stop, interlocked guards, the air dump and the drives' safe inputs are outside. The core reads the chain and\n  \
      the guard as a courtesy of the sequence; no hazard above may rest on that. That they are there, rated, wired and tried, is for whoever builds the machine.\n\
    - **Nothing about wiring, valves, sensors and coils as such.** A contact that lies can be noticed only by what contradicts it; a coil that stays on when it\n  \
      is ordered off is not noticed before a stroke is overdue; a welded output of a drive not at all, unless the belt's encoder shows it.\n\
    - **Nothing about a single controller's hardware.** There is no second channel. A processor that computes wrongly is not found out by itself; a watchdog finds\n  \
      only one that hangs.\n\
    - **Nothing that the modelled line cannot show**: its limits stand in [The modelled line](model.md). Forces, wear, heat, liquid, glass that breaks, people that\n  \
      reach in are not in it. Rehearsal, soak and exploration speak of the sequence, not of the machine.\n\
    - **Nothing for more at once than was tried.** The exploration is complete only for its small worlds and its number of things that go wrong; the soak draws at\n  \
      random, and what it never drew is not known.\n\
    - **Nothing about strength**: forces on bottles, jaws and rollers are estimated to plan by.\n\
    - **Noise, electrical shock, hot or aggressive product, hygiene, ergonomics, transport**: not treated at all.\n\n";

/// The chapter. The evidence complains of every rule without code, test or hazard, and of everything named that is not there.
pub fn chapter(e: &mut Evidence) -> String {
    let mut out = String::from("# Safety case\n\n");
    out.push_str(
        "<!-- Written by `cargo run -p tests --bin gen-docs` from tests/hazards.rs and what it names. Do not edit. -->\n\n",
    );
    out.push_str(CAUTION);
    out.push_str(INTRODUCTION);
    hazards(&mut out, e);
    let soak = e.text(SOAK).unwrap_or_default().to_owned();
    let mutants = e.text(MUTANTS).unwrap_or_default().to_owned();
    let open = open_failures(&soak);
    out.push_str(
        "## Rule by rule\n\n\
         *Code* is what enforces the rule, *tests* what holds it. *Changes made on purpose*: the rule was broken in the core, and the tests were run\n\
         ([table](rules-tested.md)). *Open failures*: seeds of the last recorded campaign that are not resolved ([Soak](soak.md)).\n\n",
    );
    e.heading("exploration.md", "What must hold");
    for (i, claim) in CLAIMS.iter().enumerate() {
        rule(&mut out, e, i + 1, claim, &mutants, open.as_deref());
    }
    together(&mut out, e);
    recorded(&mut out, e, &soak, open.as_deref());
    out.push_str(NOT_CLAIMED);
    out.push_str(
        "## How this chapter is kept\n\n\
         It is generated, and compared in CI. The generator looks up every function, constant and test that is named here in the sources, reads the figures out of the\n\
         chapters where they were recorded, and fails when a rule has no code, no test or no hazard, when the interlock table has a row that is not named,\n\
         or when a test is not run. It cannot see whether a test is *good*: that is what the changes made on purpose and the broken controllers are for.\n",
    );
    out
}

fn hazards(out: &mut String, e: &mut Evidence) {
    out.push_str("## Hazards\n\n| | hazard | hazardous situation | who is exposed | rules that bear on it | what has to protect people |\n|---|---|---|---|---|---|\n");
    for (i, h) in HAZARDS.iter().enumerate() {
        if h.rules.iter().any(|r| !(1..=CLAIMS.len()).contains(r)) || h.rules.is_empty() {
            e.complain(format!("hazard \"{}\": names no rule, or one that is not there", h.hazard));
        }
        let rules: Vec<String> = h.rules.iter().map(|r| format!("R{r}")).collect();
        let _ = writeln!(
            out,
            "| H{} | {} | {} | {} | {} | {} |",
            i + 1,
            h.hazard,
            h.situation,
            h.exposed,
            rules.join(", "),
            h.outside
        );
    }
    out.push('\n');
}

fn rule(out: &mut String, e: &mut Evidence, n: usize, claim: &Claim, mutants: &str, open: Option<&[(usize, usize)]>) {
    if claim.code.is_empty() {
        e.complain(format!("R{n}: no code enforces it"));
    }
    if claim.tests.is_empty() {
        e.complain(format!("R{n}: no test holds it"));
    }
    let bears: Vec<String> =
        HAZARDS.iter().enumerate().filter(|(_, h)| h.rules.contains(&n)).map(|(i, _)| format!("H{}", i + 1)).collect();
    if bears.is_empty() {
        e.complain(format!("R{n}: bears on no hazard"));
    }
    let rows = RULES.iter().filter(|row| usize::from(row.rule) == n).count();
    if (rows > 0) != claim.code.iter().any(|c| c.1 == "RULES") {
        e.complain(format!("R{n}: the interlock table has {rows} rows for it, and the claim does not say so"));
    }
    let _ = writeln!(out, "### R{n}\n\n{} Bears on {}.\n", WORDS[n - 1].0, bears.join(", "));
    let code: Vec<String> = claim.code.iter().map(|c| e.code(*c)).collect();
    let _ = writeln!(out, "- *Code*: {}.", code.join("; "));
    if rows > 0 {
        let _ = writeln!(out, "- Rows of the [interlock table](interlocks.md): {rows}.");
    }
    out.push_str("- *Tests*:\n");
    for test in claim.tests {
        let _ = writeln!(out, "  - {}", e.test(*test).0);
    }
    for script in claim.scripts {
        let _ = writeln!(out, "  - {}", e.script(script));
    }
    let (made, noticed) = mutations(mutants, n);
    let changes = if made == 0 { "none recorded".to_owned() } else { format!("{made}, noticed {noticed}") };
    let failures = match open {
        None => "see the chapter".to_owned(),
        Some(all) => all.iter().filter(|(r, _)| *r == n).map(|(_, k)| k).sum::<usize>().to_string(),
    };
    let _ = writeln!(
        out,
        "- *Figures*: changes made on purpose: {changes}; open failures: {failures}; where it was judged in every course of a small world:\n  \
         [Explored completely](exploration.md#what-must-hold).\n"
    );
}

fn together(out: &mut String, e: &mut Evidence) {
    out.push_str("### All of them together\n\n");
    for test in TOGETHER {
        let _ = writeln!(out, "- {}", e.test(*test).0);
    }
    for script in TOGETHER_SCRIPTS {
        let _ = writeln!(out, "- {}", e.script(script));
    }
    out.push('\n');
}

/// The rows of the table of changes that name the rule: how many, and how many were noticed.
fn mutations(text: &str, n: usize) -> (usize, usize) {
    let rule = format!("R{n}");
    let rows = text.lines().map(|l| l.split('|').map(str::trim).collect::<Vec<_>>());
    let of_rule: Vec<Vec<&str>> = rows.filter(|c| c.len() > 3 && c[1] == rule).collect();
    (of_rule.len(), of_rule.iter().filter(|c| !c[3].starts_with("none")).count())
}

/// The paragraph of the chapter on soak that says which failures are open.
fn open_paragraph(soak: &str) -> Option<&str> {
    soak.split("\n\n").find(|p| p.contains("failures are open"))
}

fn campaigns(soak: &str) -> Vec<[&str; 3]> {
    let mut all: Vec<[&str; 3]> = Vec::new();
    for line in soak.lines() {
        if line.contains(" runs of profile ") && line.contains(", commit ") {
            all.push([line, "", "not recorded"]);
        } else if let Some(last) = all.last_mut() {
            if let Some(time) = line.trim().strip_prefix("machine time ") {
                last[1] = time.trim();
            } else if line == "No rule was broken." || line.contains(" FAILED; seeds") {
                last[2] = line.split(';').next().unwrap_or(line);
            }
        }
    }
    all
}

/// By rule, how many failures are open: `None` if the chapter tells failures, but not which of them are open.
fn open_failures(soak: &str) -> Option<Vec<(usize, usize)>> {
    let Some(text) = open_paragraph(soak) else {
        let any = campaigns(soak).iter().any(|c| c[2].contains("FAILED"));
        return if any { None } else { Some(Vec::new()) };
    };
    let parts: Vec<&str> = text.split(" × R").collect();
    let pairs = parts.windows(2).filter_map(|w| {
        let count = w[0].rsplit(|c: char| !c.is_ascii_digit()).next()?.parse().ok()?;
        let rule = w[1].split(|c: char| !c.is_ascii_digit()).next()?.parse().ok()?;
        Some((rule, count))
    });
    let pairs: Vec<(usize, usize)> = pairs.collect();
    if pairs.is_empty() { None } else { Some(pairs) }
}

fn recorded(out: &mut String, e: &mut Evidence, soak: &str, open: Option<&[(usize, usize)]>) {
    e.heading("soak.md", "A recorded campaign");
    e.heading("exploration.md", "Figures");
    let all = campaigns(soak);
    if all.is_empty() {
        e.complain(format!("{SOAK}: no campaign is recorded"));
    }
    out.push_str(
        "## Last recorded\n\nRead out of the chapters; there stands how they came about.\n\n\
         | campaign ([Soak](soak.md#a-recorded-campaign)) | machine time | outcome |\n|---|---|---|\n",
    );
    for [what, time, outcome] in all {
        let _ = writeln!(out, "| {what} | {time} | {outcome} |");
    }
    out.push_str(
        "\nComplete exploration of small worlds: [Figures](exploration.md#figures). What a tick costs, and which bounds are missed:\n\
         [What the core costs](budgets.md).\n\n### Open failures\n\n",
    );
    match open {
        Some([]) => out.push_str("The chapter on soak lists none.\n\n"),
        Some(all) => {
            let sum: usize = all.iter().map(|(_, k)| k).sum();
            let text = open_paragraph(soak).unwrap_or_default();
            let _ = writeln!(
                out,
                "The chapter on soak lists {sum}. In its words:\n\n> {}\n",
                text.trim().replace('\n', "\n> ")
            );
            out.push_str("Until they are resolved, the rules named there count as **not held** in such cases.\n\n");
        }
        None => out.push_str(
            "Campaigns above failed; what became of the failures is said in [Soak](soak.md#a-recorded-campaign).\n\n",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_read_as_they_stand() {
        let soak = "7 runs of profile wild from seed 1, commit abc\n  machine time   2 h = 1 year\n2 runs FAILED; seeds 3, 4\n\n\
            These failures are open: why is not known. 10 × R7: a; 6 × R6: b (x); 1 × R7: c.\n\n\
            8 runs of profile shift from seed 2, commit abc\nNo rule was broken.\n";
        assert_eq!(
            campaigns(soak)[0],
            ["7 runs of profile wild from seed 1, commit abc", "2 h = 1 year", "2 runs FAILED"]
        );
        assert_eq!(campaigns(soak)[1][2], "No rule was broken.");
        assert_eq!(open_failures(soak), Some(vec![(7, 10), (6, 6), (7, 1)]));
        assert_eq!(open_failures("7 runs of profile wild from seed 1, commit abc\n2 runs FAILED; seeds 3\n"), None);
        assert_eq!(
            open_failures("7 runs of profile wild from seed 1, commit abc\nNo rule was broken.\n"),
            Some(vec![])
        );
        let table = "| R4 | a | `x` |\n| R4 | b | none: still kept |\n| R44 | c | `y` |\n";
        assert_eq!(mutations(table, 4), (2, 1));
        assert_eq!(mutations(table, 5), (0, 0));
    }
}
