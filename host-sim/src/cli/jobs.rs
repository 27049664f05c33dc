//! Reading jobs for every verb, and the verb `check`.

use super::{FINE, WRONG_INPUT, args, say};
use crate::job::{Job, JobErrors};
use serde_json::json;
use std::io::Write;
use std::path::Path;

/// Reads every job before anything is done with any, so that a mistake in the last stops the run of the first. Tells all mistakes.
fn read_all(paths: &[std::path::PathBuf]) -> Vec<(&Path, Result<Job, JobErrors>)> {
    paths.iter().map(|p| (p.as_path(), Job::read(p))).collect()
}

/// `check`: every mistake of every job.
pub(super) fn check(a: &args::CheckArgs, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    let mut code = FINE;
    for (path, job) in read_all(&a.jobs) {
        if job.is_err() {
            code = WRONG_INPUT;
        }
        match (job, a.json) {
            (job, true) => say(out, &format!("{}\n", as_json(path, &job))),
            (Ok(job), false) if !a.quiet => say(out, &format!("{}: reads well: {}\n", path.display(), job.title)),
            (Ok(_), false) => {}
            (Err(e), false) => say(err, &format!("{e} {}\n", path.display())),
        }
    }
    code
}

fn as_json(path: &Path, job: &Result<Job, JobErrors>) -> serde_json::Value {
    let mistakes: Vec<serde_json::Value> = match job {
        Ok(_) => Vec::new(),
        Err(e) => e
            .all()
            .iter()
            .map(|m| {
                json!({
                    "file": m.file, "line": m.line, "column": m.column, "key": m.key,
                    "mistake": m.mistake.word(), "what": m.what, "mend": m.mend,
                })
            })
            .collect(),
    };
    json!({ "job": path.display().to_string(), "ok": job.is_ok(), "mistakes": mistakes })
}
