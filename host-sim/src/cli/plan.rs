//! The verb `plan`: the set-up sheet of one job, or the changeover between two.

use super::files::{File, Files};
use super::{FINE, NO, WRONG_INPUT, args, say};
use crate::job::Job;
use crate::plan::change::changeover;
use crate::plan::{Plan, PlanError};
use serde::Serialize;
use serde_json::json;
use std::io::Write;

/// `plan`: no if a check fails or the core refuses what came out.
pub(super) fn plan(a: &args::PlanArgs, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    let files = Files { force: a.force, out: None };
    if let Some(path) = &a.sheet {
        let against = files.against(&[path]);
        if !against.is_empty() {
            say(err, &format!("{}\n", against.join("\n")));
            return WRONG_INPUT;
        }
    }
    let mut planned = Vec::with_capacity(a.jobs.len());
    for path in &a.jobs {
        let job = match Job::read(path) {
            Ok(job) => job,
            Err(e) => {
                say(err, &format!("{e} {}\n", path.display()));
                return WRONG_INPUT;
            }
        };
        match crate::plan::plan(&job) {
            Ok(plan) => planned.push((job, plan)),
            Err(e) => return not_planned(a, &job, &e, out, err),
        }
    }
    let code = match planned.as_slice() {
        [first, second] => change(a, first, second, out, err),
        [one] => sheet(a, &one.1, out, err),
        _ => WRONG_INPUT,
    };
    if code == WRONG_INPUT {
        return code;
    }
    if let (Some(path), Some((job, plan))) = (&a.sheet, planned.last()) {
        let page = File { path: path.clone(), content: crate::show::setup::setup(job, plan).into_bytes() };
        if let Err(why) = files.write(&[page]) {
            say(err, &format!("{why}\n"));
            return WRONG_INPUT;
        }
        if !a.quiet && !a.json {
            say(out, &format!("\nWritten: {}\n", path.display()));
        }
    }
    code
}

fn not_planned(a: &args::PlanArgs, job: &Job, e: &PlanError, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    if a.json {
        say(out, &format!("{}\n", json!({ "job": job.name, "error": e.to_string() })));
    }
    say(err, &format!("{} cannot be planned: {e}\n", job.name));
    match e {
        PlanError::Value { .. } => WRONG_INPUT,
        PlanError::Machine(_) | PlanError::Product { .. } => NO,
    }
}

fn sheet(a: &args::PlanArgs, plan: &Plan, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    if a.json {
        if !as_json(plan, out, err) {
            return NO;
        }
    } else if !a.quiet {
        say(out, &plan.text());
    }
    verdict(plan, err)
}

fn change(a: &args::PlanArgs, from: &(Job, Plan), to: &(Job, Plan), out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    let Ok(change) = changeover((&from.0.machine, &from.1), (&to.0.machine, &to.1)) else {
        say(
            err,
            &format!(
                "{} and {} are of different machines: a changeover is between two products of one. Let both jobs name the same \
                 machine; only the places of gates and eyes may differ\n",
                from.0.name, to.0.name
            ),
        );
        return WRONG_INPUT;
    };
    if a.json {
        if !as_json(&change, out, err) {
            return NO;
        }
    } else if !a.quiet {
        say(out, &change.text(&from.0.name, &to.0.name, &to.1.cautions));
    }
    verdict(&to.1, err)
}

fn as_json(what: &impl Serialize, out: &mut dyn Write, err: &mut dyn Write) -> bool {
    match serde_json::to_string(what) {
        Ok(text) => {
            say(out, &format!("{text}\n"));
            true
        }
        Err(e) => {
            say(err, &format!("the plan cannot be written as JSON: {e}\n"));
            false
        }
    }
}

/// Tells each check that fails.
fn verdict(plan: &Plan, err: &mut dyn Write) -> u8 {
    for c in plan.checks.iter().filter(|c| !c.ok) {
        say(err, &format!("NOT {}: {:.2} {u} against {:.2} {u}; {}\n", c.name, c.value, c.limit, c.mend, u = c.unit));
    }
    if plan.works() { FINE } else { NO }
}
