//! The verbs `run` and `demo` around a rehearsal that is handed in: what they read, say and write, and their exit codes.

use host_sim::cli::{DemoArgs, RunArgs, rehearsal};
use host_sim::job::Job;
use host_sim::verdict::RunResult;
use std::cell::RefCell;
use std::fs;
use std::path::{Path, PathBuf};

fn job(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../host-sim/jobs/{name}.toml"))
}

/// A result that says no for the job called `starved`, and for no other.
fn result(job: &Job) -> RunResult {
    RunResult { job: job.name.clone(), title: job.title.clone(), pass: job.name != "starved", ..RunResult::default() }
}

/// Runs with a rehearsal that notes each job it is given: exit code, output, errors, jobs with their seeds.
fn run(args: &RunArgs) -> (u8, String, String, Vec<(String, u64, bool)>) {
    let seen = RefCell::new(Vec::new());
    let rehearse = |job: &Job, trace: bool| {
        seen.borrow_mut().push((job.name.clone(), job.run.seed, trace));
        Ok(result(job))
    };
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let code = rehearsal::run(args, &rehearse, &mut out, &mut err);
    let text = |b| String::from_utf8(b).expect("text");
    (code, text(out), text(err), seen.into_inner())
}

#[test]
fn exit_codes_follow_the_verdicts() {
    let (code, out, err, _) = run(&RunArgs { jobs: vec![job("steady-day"), job("misfeed")], ..RunArgs::default() });
    assert_eq!((code, err.as_str(), out.lines().count()), (0, "", 2));
    let (code, out, _, _) =
        run(&RunArgs { jobs: vec![job("starved"), job("misfeed")], quiet: true, ..RunArgs::default() });
    assert_eq!(code, 1);
    assert!(out.contains("starved") && !out.contains("misfeed"), "{out}");
}

#[test]
fn a_mistake_in_the_last_job_stops_the_first_and_writes_nothing() {
    let dir = tempfile::tempdir().expect("a folder");
    let bad = dir.path().join("bad.toml");
    fs::write(&bad, "title = 3\n").expect("it can be written");
    let junit = Some(dir.path().join("junit.xml"));
    let (code, out, err, seen) = run(&RunArgs { jobs: vec![job("steady-day"), bad], junit, ..RunArgs::default() });
    assert_eq!((code, out.as_str(), seen.len()), (2, "", 0));
    assert!(err.contains("title: is a whole number, and a text is due"), "{err}");
    assert_eq!(fs::read_dir(dir.path()).expect("it is there").count(), 1);
}

#[test]
fn a_file_that_is_there_is_refused_before_anything_runs() {
    let dir = tempfile::tempdir().expect("a folder");
    let vcd = dir.path().join("run.vcd");
    fs::write(&vcd, "mine").expect("it can be written");
    let args = RunArgs { jobs: vec![job("steady-day")], vcd: Some(vcd.clone()), ..RunArgs::default() };
    let (code, _, err, seen) = run(&args);
    assert_eq!((code, seen.len()), (2, 0));
    assert!(err.contains("is there already") && err.contains("--force"), "{err}");
    assert_eq!(fs::read_to_string(&vcd).expect("it is there"), "mine");
    let (code, _, err, seen) = run(&RunArgs { force: true, ..args });
    assert_eq!((code, err.as_str()), (0, ""));
    assert_eq!(seen, [("steady-day".to_owned(), 1, true)]);
    assert!(fs::read_to_string(&vcd).expect("it is there").contains("$enddefinitions"));
}

#[test]
fn several_jobs_want_a_folder_and_get_one_file_each() {
    let dir = tempfile::tempdir().expect("a folder");
    let jobs = vec![job("steady-day"), job("misfeed")];
    let (code, _, err, seen) =
        run(&RunArgs { jobs: jobs.clone(), report: Some(dir.path().join("report.html")), ..RunArgs::default() });
    assert_eq!((code, seen.len()), (2, 0));
    assert!(err.contains("--report") && err.contains("name a folder"), "{err}");
    let place = || Some(dir.path().to_owned());
    let args = RunArgs { jobs, report: place(), chart: place(), seed: Some(77), ..RunArgs::default() };
    let (code, _, err, seen) = run(&args);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(seen.iter().all(|(_, seed, trace)| *seed == 77 && *trace), "{seen:?}");
    let mut names: Vec<_> = fs::read_dir(dir.path())
        .expect("it is there")
        .map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    let due = ["misfeed.html", "misfeed.timing.svg", "misfeed.travel.svg", "steady-day.html", "steady-day.timing.svg"];
    assert_eq!(names[..5], due);
    assert_eq!(names.len(), 6);
}

#[test]
fn without_files_no_trace_is_asked_for_and_json_is_a_line_a_job() {
    let (code, out, _, seen) =
        run(&RunArgs { jobs: vec![job("starved"), job("misfeed")], json: true, ..RunArgs::default() });
    assert_eq!(code, 1);
    assert!(seen.iter().all(|(_, _, trace)| !trace));
    let lines: Vec<&str> = out.lines().collect();
    assert!(
        lines.len() == 2 && lines[0].contains(r#""verdict":"fail""#) && lines[1].contains(r#""verdict":"pass""#),
        "{out}"
    );
}

#[test]
fn what_cannot_be_rehearsed_is_a_no_with_its_reason() {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let args = RunArgs { jobs: vec![job("steady-day")], ..RunArgs::default() };
    let code = rehearsal::run(&args, &|_, _| Err("the belt is too fast".to_owned()), &mut out, &mut err);
    assert_eq!(code, 1);
    assert_eq!(String::from_utf8(err).expect("text"), "steady-day: the belt is too fast\n");
}

#[test]
fn the_demo_fills_its_folder_with_a_job_that_reads_and_may_do_so_again() {
    let dir = tempfile::tempdir().expect("a folder");
    let args = DemoArgs { out: dir.path().join("demo"), json: false };
    for _ in 0..2 {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let code = rehearsal::demo(&args, &|job, _| Ok(result(job)), &mut out, &mut err);
        assert_eq!((code, String::from_utf8(err).expect("text").as_str()), (0, ""));
    }
    for name in
        ["plan.txt", "plan.json", "run.json", "report.html", "timing.svg", "travel.svg", "run.vcd", "events.csv"]
    {
        assert!(fs::metadata(args.out.join(name)).is_ok_and(|m| m.len() > 0), "{name}");
    }
    assert_eq!(Job::read(args.out.join("job/steady-day.toml")), Ok(Job::demo()));
}

/// The plan of every job that comes with the program works, and `plan` says so with its exit code.
#[test]
fn plan_says_yes_or_no() {
    let run = |path: &Path, json: bool| {
        let mut args = vec!["capcycle".into(), "plan".into(), path.as_os_str().to_owned()];
        args.extend(json.then(|| "--json".into()));
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let code = host_sim::cli::run(args, &mut out, &mut err);
        (code, String::from_utf8(out).expect("text"), String::from_utf8(err).expect("text"))
    };
    let (code, out, err) = run(&job("steady-day"), false);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(out.contains("catch travel"), "{out}");
    let (code, out, _) = run(&job("steady-day"), true);
    assert_eq!(code, 0);
    for key in ["setpoints", "positions", "steps", "cycle_ms", "rate_per_min", "bottleneck", "checks", "cautions"] {
        assert!(out.contains(&format!("\"{key}\":")), "{key}");
    }
    // 300 mm/s leaves no place for the release eye at all: a bottle is not known to be too long before the grip is ordered.
    let dir = tempfile::tempdir().expect("a folder");
    let product = fs::read_to_string(job("line/elderflower")).expect("it is there").replace("6 m/min", "300 mm/s");
    fs::write(dir.path().join("p.toml"), product).expect("it can be written");
    fs::copy(job("line/machine"), dir.path().join("m.toml")).expect("it can be copied");
    let text = "title = \"too fast\"\nmachine = \"m.toml\"\nproduct = \"p.toml\"\n[run]\nbottles = 3\n";
    fs::write(dir.path().join("j.toml"), text).expect("it can be written");
    let (code, _, err) = run(&dir.path().join("j.toml"), false);
    assert_eq!(code, 1);
    assert!(err.contains("NOT "), "{err}");
}
