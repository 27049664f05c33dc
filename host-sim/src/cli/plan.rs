//! The verb `plan`.

use super::{FINE, NO, WRONG_INPUT, args, say};
use crate::job::Job;
use crate::plan::PlanError;
use serde_json::json;
use std::io::Write;

/// `plan`: the set-up sheet of a job; no if a check fails or the core refuses what came out.
pub(super) fn plan(a: &args::PlanArgs, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    let name = a.job.display();
    let job = match Job::read(&a.job) {
        Ok(job) => job,
        Err(e) => {
            say(err, &format!("{e} {name}\n"));
            return WRONG_INPUT;
        }
    };
    let plan = match crate::plan::plan(&job) {
        Ok(plan) => plan,
        Err(e) => {
            if a.json {
                say(out, &format!("{}\n", json!({ "job": job.name, "error": e.to_string() })));
            }
            say(err, &format!("{name} cannot be planned: {e}\n"));
            return match e {
                PlanError::Value { .. } => WRONG_INPUT,
                PlanError::Machine(_) | PlanError::Product { .. } => NO,
            };
        }
    };
    if a.json {
        match serde_json::to_string(&plan) {
            Ok(text) => say(out, &format!("{text}\n")),
            Err(e) => {
                say(err, &format!("{name}: the plan cannot be written as JSON: {e}\n"));
                return NO;
            }
        }
    } else if !a.quiet {
        say(out, &plan.text());
    }
    for check in plan.checks.iter().filter(|c| !c.ok) {
        let c = check;
        say(err, &format!("NOT {}: {:.2} {u} against {:.2} {u}; {}\n", c.name, c.value, c.limit, c.mend, u = c.unit));
    }
    if plan.works() { FINE } else { NO }
}
