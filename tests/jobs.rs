//! Every job that is shipped comes out as it says.

use host_sim::job::Job;
use host_sim::rehearse::{Options, rehearse, rehearse_with};
use host_sim::verdict::RunResult;
use std::fs;
use std::path::{Path, PathBuf};
use timing_core::{EventKind, Station};

/// The files of every job that is shipped, by name.
pub(crate) fn files() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim/jobs");
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .expect("the jobs are there")
        .map(|f| f.expect("a file").path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    assert!(files.len() >= 16, "only {} jobs", files.len());
    files
}

/// Every job that is shipped, by name.
pub(crate) fn jobs() -> Vec<Job> {
    files().iter().map(|f| Job::read(f).unwrap_or_else(|e| panic!("{e}"))).collect()
}

/// Runs a job that can be planned.
pub(crate) fn run(job: &Job, options: &Options) -> RunResult {
    rehearse(job, options).unwrap_or_else(|e| panic!("{}: {e}", job.name))
}

#[test]
fn every_job_comes_out_as_it_says() {
    let mut wrong = Vec::new();
    for job in jobs() {
        let r = run(&job, &Options::default());
        assert!(!r.checks.is_empty(), "{} expects nothing", job.name);
        if !r.pass {
            wrong.push(host_sim::show::terminal::block(&r));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_same_job_gives_the_same_bits() {
    for job in jobs() {
        let (a, b) = (run(&job, &Options::default()), run(&job, &Options::default()));
        assert_eq!((a.digest, a.trace_digest, a.ticks), (b.digest, b.trace_digest, b.ticks), "{}", job.name);
    }
}

/// The interlocks are the last word, not the way the sequence is made: in no shipped job do they have to keep anything back.
#[test]
fn decisions_ask_only_for_what_they_may_have() {
    for job in jobs() {
        let mut twin: Option<Station> = None;
        rehearse_with(&job, &Options { rules: false, ..Options::default() }, &mut |i, s| {
            let twin = twin.get_or_insert_with(|| Station::new(*s.machine(), *s.setpoints()));
            let kept = twin.tick(i).events.iter().find(|e| e.kind == EventKind::Guarded);
            assert!(kept.is_none(), "{}: {kept:?} at {:?}", job.name, i.now);
        })
        .unwrap_or_else(|e| panic!("{}: {e}", job.name));
    }
}
