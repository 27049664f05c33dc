//! The verbs `run` and `demo`: what they read, run, say and write. The rehearsal itself is handed in.

use super::files::{File, Files};
use super::{DemoArgs, FINE, NO, RunArgs, WRONG_INPUT, say};
use crate::job::Job;
use crate::record::{csv, vcd};
use crate::rehearse::{Options, compare, rehearse};
use crate::show::{View, json, junit, report, setup, terminal, timing, travel};
use crate::verdict::RunResult;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Rehearses a job; `true` = keep the trace, for charts and recordings. An error is one sentence for people: why the job cannot be
/// rehearsed at all.
pub type Rehearse<'a> = &'a dyn Fn(&Job, bool) -> Result<RunResult, String>;

/// What becomes of a result: the content of a file.
type Make = fn(&RunResult) -> Vec<u8>;

/// The real rehearsal: the core against the modelled line. With the trace comes the comparison with fixed delays.
///
/// # Errors
/// Why the job cannot be rehearsed at all, one sentence.
pub fn real(job: &Job, trace: bool) -> Result<RunResult, String> {
    let options = Options { trace, inputs: trace, record: trace, ..Options::default() };
    let mut result = rehearse(job, &options).map_err(|e| e.to_string())?;
    if trace && !job.run.fixed_delays {
        result.comparison = Some(compare(job, &result).map_err(|e| e.to_string())?);
    }
    Ok(result)
}

fn timing_chart(r: &RunResult) -> String {
    timing::timing(&r.trace, &View { title: r.title.clone(), span: None })
}

fn travel_chart(r: &RunResult) -> String {
    travel::travel(&r.trace, &View { title: r.title.clone(), span: None })
}

const TIMING: Make = |r| timing_chart(r).into_bytes();
const TRAVEL: Make = |r| travel_chart(r).into_bytes();
const REPORT: Make = |r| report::report(r).into_bytes();
const VCD: Make = |r| vcd::vcd(&r.trace).into_bytes();
const INPUTS: Make = |r| r.inputs.clone();
const RECORDING: Make = |r| r.recording.clone();

/// `run`: reads every job before it runs any, and looks whether every file can be written before it begins; writes all files at the
/// end, or none.
pub fn run(a: &RunArgs, rehearse: Rehearse<'_>, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    let Some(jobs) = read(a, err) else { return WRONG_INPUT };
    let files = Files { force: a.force, out: None };
    let wanted = match wanted(a, &jobs) {
        Ok(wanted) => wanted,
        Err(why) => {
            say(err, &format!("{why}\n"));
            return WRONG_INPUT;
        }
    };
    let mut paths: Vec<&Path> = wanted.iter().map(|w| w.path.as_path()).collect();
    paths.extend(a.junit.as_deref());
    let against = files.against(&paths);
    if !against.is_empty() {
        say(err, &format!("{}\n", against.join("\n")));
        return WRONG_INPUT;
    }
    let mut code = FINE;
    let mut results = Vec::new();
    let mut ready = Vec::new();
    for (i, job) in jobs.iter().enumerate() {
        let mine = || wanted.iter().filter(|w| w.job == i);
        let result = match rehearse(job, mine().next().is_some()) {
            Ok(result) => result,
            Err(why) => {
                say(err, &format!("{}: {why}\n", job.name));
                code = NO;
                continue;
            }
        };
        if !result.pass {
            code = NO;
        }
        if a.json {
            say(out, &format!("{}\n", json::object(&result)));
        } else if !result.pass || (jobs.len() == 1 && !a.quiet) {
            say(out, &terminal::block(&result));
        } else if !a.quiet {
            say(out, &format!("{}\n", terminal::line(&result)));
        }
        ready.extend(mine().map(|w| File { path: w.path.clone(), content: (w.make)(&result) }));
        // The trace is long, and only the files above need it.
        results.push(RunResult {
            trace: crate::trace::Trace::default(),
            inputs: Vec::new(),
            recording: Vec::new(),
            ..result
        });
    }
    if let Some(path) = &a.junit {
        ready.push(File { path: path.clone(), content: junit::junit(&results).into_bytes() });
    }
    write(&files, &ready, code, err)
}

fn write(files: &Files, ready: &[File], code: u8, err: &mut dyn Write) -> u8 {
    match files.write(ready) {
        Ok(()) => code,
        Err(why) => {
            say(err, &format!("{why}\n"));
            WRONG_INPUT
        }
    }
}

/// Every job as it is to be run; `None` if any has a mistake, all mistakes told.
fn read(a: &RunArgs, err: &mut dyn Write) -> Option<Vec<Job>> {
    let mut jobs = Vec::new();
    for path in &a.jobs {
        match Job::read(path) {
            Ok(mut job) => {
                job.run.seed = a.seed.unwrap_or(job.run.seed);
                job.run.fixed_delays |= a.fixed_delays;
                jobs.push(job);
            }
            Err(e) => say(err, &format!("{e} {}\n", path.display())),
        }
    }
    (jobs.len() == a.jobs.len()).then_some(jobs)
}

/// A file that is to be made of one job's result.
struct Wanted {
    job: usize,
    path: PathBuf,
    make: Make,
}

fn wanted(a: &RunArgs, jobs: &[Job]) -> Result<Vec<Wanted>, String> {
    let mut all = Vec::new();
    let mut want = |option: &str, place: &Path, made: &[(&str, Make)]| {
        let folder = place.is_dir();
        if !folder && jobs.len() > 1 {
            let place = place.display();
            return Err(format!("{option} {place}: with several jobs, name a folder that is there, for one file each"));
        }
        for (i, job) in jobs.iter().enumerate() {
            for (end, make) in made {
                let path = if folder { place.join(format!("{}.{end}", job.name)) } else { place.to_owned() };
                all.push(Wanted { job: i, path, make: *make });
            }
        }
        Ok(())
    };
    if let Some(place) = &a.vcd {
        want("--vcd", place, &[("vcd", VCD)])?;
    }
    if let Some(place) = &a.inputs {
        want("--inputs", place, &[("inputs", INPUTS)])?;
    }
    if let Some(place) = &a.record {
        want("--record", place, &[("rec", RECORDING)])?;
    }
    if let Some(place) = &a.report {
        want("--report", place, &[("html", REPORT)])?;
    }
    if let Some(place) = &a.chart {
        let named_travel = place.file_name().is_some_and(|n| n.to_string_lossy().contains("travel"));
        let both: [(&str, Make); 2] = [("timing.svg", TIMING), ("travel.svg", TRAVEL)];
        let made = if place.is_dir() {
            &both[..]
        } else if named_travel {
            &both[1..]
        } else {
            &both[..1]
        };
        want("--chart", place, made)?;
    }
    Ok(all)
}

/// `demo`: the built-in job planned, rehearsed, drawn and reported, in a folder of its own.
pub fn demo(a: &DemoArgs, rehearse: Rehearse<'_>, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    let job = Job::demo();
    let files = Files { force: false, out: Some(a.out.clone()) };
    if a.out.exists() && !a.out.is_dir() {
        say(err, &format!("{} is there and no folder: give another name with --out\n", a.out.display()));
        return WRONG_INPUT;
    }
    let done = crate::plan::plan(&job).map_err(|e| e.to_string()).and_then(|plan| Ok((plan, rehearse(&job, true)?)));
    let (plan, result) = match done {
        Ok(both) => both,
        Err(why) => {
            say(err, &format!("{}: {why}\n", job.name));
            return NO;
        }
    };
    let object = json::object(&result);
    let content = [
        ("plan.txt", plan.text()),
        ("setup.html", setup::setup(&job, &plan)),
        ("plan.json", serde_json::to_string_pretty(&plan).unwrap_or_default()),
        ("run.json", format!("{object}\n")),
        ("report.html", report::report(&result)),
        ("timing.svg", timing_chart(&result)),
        ("travel.svg", travel_chart(&result)),
        ("run.vcd", vcd::vcd(&result.trace)),
        ("events.csv", csv::events(&result.trace)),
        ("junit.xml", junit::junit(std::slice::from_ref(&result))),
        ("job/steady-day.toml", include_str!("../../jobs/steady-day.toml").to_owned()),
        ("job/line/machine.toml", include_str!("../../jobs/line/machine.toml").to_owned()),
        ("job/line/elderflower.toml", include_str!("../../jobs/line/elderflower.toml").to_owned()),
    ];
    let mut ready: Vec<File> =
        content.into_iter().map(|(name, text)| File { path: a.out.join(name), content: text.into_bytes() }).collect();
    ready.push(File { path: a.out.join("run.rec"), content: RECORDING(&result) });
    if a.json {
        say(out, &format!("{object}\n"));
    } else {
        say(out, &plan.text());
        say(out, &format!("\n{}", terminal::block(&result)));
    }
    let code = write(&files, &ready, if result.pass { FINE } else { NO }, err);
    if code != WRONG_INPUT && !a.json {
        let names: Vec<String> = ready.iter().map(|f| f.path.display().to_string()).collect();
        say(out, &format!("\nWritten:\n  {}\n", names.join("\n  ")));
    }
    code
}
