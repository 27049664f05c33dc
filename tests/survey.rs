//! Survey: what is rehearsed, exported and surveyed comes back as it was set; and what a capture shows of a foreign machine.

use crate::jobs::{jobs, run};
use host_sim::capture::Capture;
use host_sim::job::{Job, Mistake};
use host_sim::plan::plan;
use host_sim::record::vcd;
use host_sim::rehearse::{Options, rehearse};
use host_sim::survey::map::Map;
use host_sim::survey::{Delay, Steadier, Survey, draft, summary, survey};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng as _;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use timing_core::Actuator;

fn shipped_map() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim/jobs/line/run.map.toml");
    std::fs::read_to_string(path).expect("the map is there")
}

fn of_text(text: &str, map: &str) -> (Survey, Map) {
    let dir = tempfile::tempdir().expect("a folder");
    let path = dir.path().join("capture");
    std::fs::write(&path, text).expect("it can be written");
    let capture = Capture::open(&path).unwrap_or_else(|e| panic!("{e}"));
    let map = Map::read(map, capture.channels()).unwrap_or_else(|e| panic!("{e}"));
    (survey(capture, &map), map)
}

fn of_job(job: &Job) -> Option<(Survey, Map)> {
    let options = Options { trace: true, rules: false, ..Options::default() };
    let trace = rehearse(job, &options).ok()?.trace;
    Some(of_text(&vcd::vcd(&trace), &shipped_map()))
}

fn delay<'s>(s: &'s Survey, from: &str, to: &str) -> &'s Delay {
    let found = s.delays.iter().find(|d| d.from == from && d.to == to);
    found.unwrap_or_else(|| panic!("no delay from {from} to {to} in:\n{}", summary(s)))
}

fn near(what: &str, got: f64, due: f64, within: f64) {
    assert!((got - due).abs() <= within, "{what}: {got} where {due} ± {within} is due");
}

/// What a capture of this project's own controller must give back of the job, by numbers of the job alone.
fn comes_back(job: &Job, s: &Survey) {
    let (m, p) = (&job.machine, &job.product);
    near("belt speed", s.belt_mm_s.expect("measured").mean, p.speed_mm_s, 0.01 * p.speed_mm_s);
    // The eye's beam and responses make a body longer by up to its beam.
    near("diameter", s.length_mm.expect("measured").mean, p.diameter_mm, m.eye_beam_mm + p.diameter_tol_mm);
    for x in &s.strokes {
        let a = Actuator::ALL.into_iter().find(|a| a.name() == x.actuator).expect("a name");
        let of = &m.actuators[a.index()];
        let (took, left) = (x.took_ms.expect("wired"), x.left_ms.expect("wired"));
        let due = of.latency_ms + if x.to_work { of.to_work_ms } else { of.to_home_ms };
        // Every stroke lies within its spread and a microsecond of the file; where it stops on a bottle, that varies too.
        let body = if matches!(x.actuator, "grip" | "plunger") { 2.0 } else { 0.0 };
        let within = of.spread_ms + body + 0.002;
        assert!(took.min >= due - within && took.max <= due + within, "{} {took:?} ms where {due} is due", x.actuator);
        near(x.actuator, left.mean, of.latency_ms, 0.002);
    }
    let ms = |from, to| delay(s, from, to).seconds.min * 1e3;
    // A contact that bounces is believed up to its bounce later.
    let dwell = |what, from, to, set| {
        let over = ms(from, to) - set - m.contact_filter_ms;
        assert!((-0.01..=m.contact_bounce_ms).contains(&over), "{what}: {over} ms over what was set");
    };
    dwell("seat dwell", "plunger on work", "rollers in", p.seat_dwell_ms);
    dwell("engage dwell", "rollers on work", "spin", p.engage_dwell_ms);
    near("disengage dwell", ms("spin off", "rollers back"), p.disengage_dwell_ms, 0.01);
    let settle = delay(s, "pocket eye blocked", "entry gate shut").travel_mm.expect("measured");
    near("settle", settle.min, p.settle_mm, 1.0);
    assert_eq!(s.breaches, [], "{}", summary(s));
}

#[test]
fn what_was_set_comes_back_from_the_capture_over_random_jobs() {
    let steady = jobs().into_iter().find(|j| j.name == "steady-day").expect("the steady day");
    let mut draw = Pcg32::new(6, 1);
    let mut within = |lo: f64, hi: f64| lo + (hi - lo) * f64::from(draw.next_u32() % 1_001) / 1_000.0;
    let mut surveyed = 0;
    for seed in 0..40 {
        let mut job = steady.clone();
        (job.run.seed, job.run.bottles, job.run.batch) = (seed, 12, 12);
        for a in &mut job.machine.actuators {
            a.latency_ms = within(10.0, 40.0);
            a.to_work_ms = within(70.0, 140.0);
            a.to_home_ms = within(70.0, 140.0);
            a.spread_ms = within(0.0, 4.0);
        }
        job.product.speed_mm_s = within(70.0, 110.0);
        job.product.seat_dwell_ms = within(0.0, 200.0);
        job.product.engage_dwell_ms = within(0.0, 100.0);
        job.product.disengage_dwell_ms = within(0.0, 100.0);
        let Some((s, _)) = of_job(&job) else { continue };
        if s.bottles < 12 {
            continue;
        }
        comes_back(&job, &s);
        surveyed += 1;
    }
    assert!(surveyed >= 25, "only {surveyed} of 40 drawn jobs could be planned and surveyed");
}

#[test]
fn a_machine_that_measures_is_told_from_one_that_times() {
    let job = jobs().into_iter().find(|j| j.name == "wandering-belt").expect("the job");
    let (s, _) = of_job(&job).expect("it can be planned");
    assert!(s.belt_wander.is_some_and(|w| w > 0.05));
    assert_eq!(delay(&s, "release eye blocked", "grip close").steadier, Steadier::Travel);
    assert_eq!(delay(&s, "spin", "spin off").steadier, Steadier::Time);
}

/// A foreign machine that waits 0.8 s from eye to grip, over a belt that goes slower and faster from bottle to bottle.
#[test]
fn a_machine_that_times_is_told_by_what_stays() {
    let mut text = "time (ms),eye,grip,belt\n".to_owned();
    let mut belt = 0;
    for i in 0..20 {
        let (t, counts) = (3_000 * i, 1_600 + 100 * (i % 5));
        let _ = write!(text, "{t},1,0,{belt}\n{},0,0,{}\n", t + 600, belt + counts * 3 / 4);
        let _ = write!(text, "{},0,1,{}\n{},0,0,{}\n", t + 800, belt + counts, t + 1_800, belt + 2 * counts);
        belt += 3 * counts;
    }
    let map = "[contacts]\nrelease_eye = \"eye\"\n[orders]\ngrip_work = \"grip\"\n[belt]\ncount = \"belt\"\nencoder_counts_per_rev = 2000\n\
               encoder_wheel = \"100 mm\"\n";
    let (s, _) = of_text(&text, map);
    let grip = delay(&s, "release eye blocked", "grip close");
    // The first level of a capture is no edge.
    assert_eq!((grip.seconds.n, grip.steadier), (19, Steadier::Time), "{}", summary(&s));
    near("delay", grip.seconds.mean, 0.8, 1e-9);
    near("shortest travel", grip.travel_mm.expect("measured").min, 80.0, 1e-9);
    near("longest travel", grip.travel_mm.expect("measured").max, 100.0, 1e-9);
}

#[test]
fn the_drafted_job_is_refused_for_its_blanks_and_once_they_are_filled_plans_the_same_set_points() {
    let job = jobs().into_iter().find(|j| j.name == "steady-day").expect("the steady day");
    let (s, map) = of_job(&job).expect("it can be planned");
    let text = draft(&s, &map);
    let dir = tempfile::tempdir().expect("a folder");
    let path = dir.path().join("job.toml");
    std::fs::write(&path, &text).expect("it can be written");
    let refused = Job::read(&path).expect_err("it has blanks");
    let blanks = text.lines().filter(|l| l.contains("= \"?\"")).count();
    assert!(blanks > 20 && refused.all().len() == blanks, "{blanks} blanks, refused for:\n{refused}");
    for e in refused.all() {
        assert!(e.mistake == Mistake::Blank && e.line > 0 && e.mend.starts_with("measure it: "), "{e:?}");
    }

    std::fs::write(&path, filled(&text)).expect("it can be written");
    let again = Job::read(&path).unwrap_or_else(|e| panic!("{e}\n{}", filled(&text)));
    let (was, is) = (plan(&job).expect("a plan"), plan(&again).expect("a plan"));
    let mut compared = 0;
    for a in &was.setpoints {
        // What a capture says nothing of, and no plan must have, is not there: a thread's pitch, forces.
        let Some(b) = is.setpoints.iter().find(|b| b.name == a.name) else { continue };
        // A millimetre or two of eye beam, and the strokes' spread at this speed; times to the spread.
        let within = match a.unit {
            "mm" => 2.5,
            "ms" => 6.0,
            _ => 0.02 * a.value.abs(),
        };
        near(a.name, b.value, a.value, within);
        compared += 1;
    }
    assert!(compared > 25, "only {compared} set-points");
}

/// The draft with its blanks filled in from the job it was surveyed from: what a person would measure.
fn filled(draft: &str) -> String {
    let line = |name: &str| {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim/jobs/line").join(name);
        std::fs::read_to_string(path).expect("it is there").parse::<toml::Table>().expect("TOML")
    };
    let (machine, product) = (line("machine.toml"), line("elderflower.toml"));
    let mut table = String::new();
    let mut out = String::new();
    for l in draft.lines() {
        if let Some(name) = l.strip_prefix('[').and_then(|l| l.strip_suffix(']')) {
            name.clone_into(&mut table);
        }
        let blank = l.split_once(" = \"?\"").map(|(key, _)| key);
        let Some(key) = blank else {
            let _ = writeln!(out, "{l}");
            continue;
        };
        let of = match table.split_once('.') {
            Some((_, actuator)) => machine[actuator].as_table().expect("a table"),
            None if table == "product" => &product,
            None => &machine,
        };
        let value = of.get(key).unwrap_or_else(|| panic!("nothing for {table}.{key}"));
        let value = match value {
            toml::Value::String(text) => format!("{text:?}"),
            toml::Value::Integer(n) => n.to_string(),
            toml::Value::Float(x) => x.to_string(),
            other => panic!("{key} is {other:?}"),
        };
        let _ = writeln!(out, "{key} = {value}");
    }
    out
}

/// A capture of ten cycles as a foreign machine might give it, µs: what is shifted by what is handed in.
fn foreign(stroke_us: impl Fn(u64) -> u64, changes: &[(u64, &str)], cycles: u64) -> String {
    let mut all: Vec<(u64, String)> = changes.iter().map(|(t, c)| (*t, (*c).to_owned())).collect();
    all.push((0, "1c".to_owned()));
    for i in 0..cycles {
        let t = 1_000_000 * (i + 1);
        let arrives = t + 20_000 + stroke_us(i);
        all.extend(
            [(t, "1p"), (t + 20_000, "0h"), (arrives, "1w"), (t + 500_000, "0p")].map(|(t, c)| (t, c.to_owned())),
        );
        all.extend([(t + 510_000, "0w"), (t + 600_000, "1h")].map(|(t, c)| (t, c.to_owned())));
    }
    all.sort();
    let mut text = "$timescale 1 us $end\n$var wire 1 p y3 $end\n$var wire 1 h x1 $end\n$var wire 1 w x2 $end\n\
                    $var wire 1 c x0 $end\n$var wire 1 r y4 $end\n$enddefinitions $end\n#0\n0p\n1h\n0w\n0r\n"
        .to_owned();
    for group in all.chunk_by(|a, b| a.0 == b.0) {
        let _ = writeln!(text, "#{}", group[0].0);
        group.iter().for_each(|(_, c)| {
            let _ = writeln!(text, "{c}");
        });
    }
    text
}

const FOREIGN: &str = "[orders]\nplunger_work = \"y3\"\nrollers_work = \"y4\"\n[contacts]\nplunger_home = \"x1\"\nplunger_on_work = \"x2\"\nchain = \"x0\"\n";

#[test]
fn a_foreign_machine_shows_its_strokes_its_drift_and_what_it_breaks() {
    let (s, _) = of_text(&foreign(|_| 80_000, &[], 30), FOREIGN);
    let work = s.strokes.iter().find(|x| x.to_work).expect("strokes");
    assert_eq!((work.actuator, work.took_ms.expect("wired").n), ("plunger", 30));
    near("stroke", work.took_ms.expect("wired").mean, 100.0, 1e-9);
    near("latency", work.left_ms.expect("wired").mean, 20.0, 1e-9);
    assert_eq!((work.drifted, s.breaches_in_all), (None, 0), "{}", summary(&s));

    // Half a millisecond more with every stroke after the twenty-fifth.
    let wear = |i: u64| 80_000 + (i % 2) * 300 + i.saturating_sub(25) * 500;
    let (s, _) = of_text(&foreign(wear, &[], 60), FOREIGN);
    let drifted = s.strokes.iter().find(|x| x.to_work).and_then(|x| x.drifted).expect("it drifts");
    assert!((26.0..40.0).contains(&drifted.since_s), "{drifted:?}");
    near("from", drifted.from_ms, 100.15, 0.01);
    assert!(drifted.to_ms > 110.0, "{drifted:?}");

    // Rollers in while the plunger is up; and with the chain open while the plunger is energised.
    let odd = [(3_800_000, "1r"), (3_900_000, "0r"), (5_100_000, "0c"), (5_900_000, "1c")];
    let (s, _) = of_text(&foreign(|_| 80_000, &odd, 10), FOREIGN);
    let told: Vec<(u8, f64)> = s.breaches.iter().map(|b| (b.rule, (b.at_s * 1e3).round())).collect();
    assert_eq!(told, [(2, 3_800.0), (1, 5_100.0)], "{}", summary(&s));
}

/// NIST StRD, univariate data set Michelso (public domain): certified mean 299.852400000000, standard deviation 0.0790105478190518.
#[test]
fn running_statistics_are_the_certified_ones() {
    let digits = "85 74 90 107 93 85 95 98 98 88 100 98 93 65 76 81 100 100 96 96 96 94 96 94 88 80 85 88 90 84 83 79 81 88 88 83 80 79 76 80 88 \
                  88 88 86 72 72 62 86 97 95 88 91 85 87 84 84 85 84 84 84 89 81 81 82 80 77 76 74 75 76 91 92 89 86 88 72 84 85 85 78 89 84 \
                  78 81 76 81 79 81 82 85 87 87 81 74 81 94 95 80 81 87";
    let mut stat = host_sim::survey::Stat::default();
    digits.split_whitespace().for_each(|d| stat.add(299.0 + d.parse::<f64>().expect("a number") / 100.0));
    assert_eq!(stat.n, 100);
    near("mean", stat.mean, 299.852_4, 1e-11);
    near("standard deviation", stat.sd(), 0.079_010_547_819_051_8, 1e-12);
}

#[test]
fn an_encoders_two_channels_are_the_belt() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("captures/quadrature-ramp.sr");
    let capture = Capture::open(&path).expect("it is there");
    let map = "[contacts]\ncap = \"0\"\n[belt]\na = \"0\"\nb = \"1\"\nencoder_counts_per_rev = 2000\nencoder_wheel = \"100 mm\"\n";
    let map = Map::read(map, capture.channels()).unwrap_or_else(|e| panic!("{e}"));
    let s = survey(capture, &map);
    assert_eq!((s.belt_counts, s.encoder_illegal), (12_732, 0));
}

fn verb(args: &[&str]) -> (u8, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let args = ["capcycle", "survey"].iter().chain(args).map(|a| std::ffi::OsString::from(*a));
    let code = host_sim::cli::run(args, &mut out, &mut err);
    let text = |b| String::from_utf8(b).expect("text");
    (code, text(out), text(err))
}

#[test]
fn the_verb_writes_its_two_files_and_says_what_is_wrong() {
    let dir = tempfile::tempdir().expect("a folder");
    let put = |name: &str, text: &str| {
        let path: PathBuf = dir.path().join(name);
        std::fs::write(&path, text).expect("it can be written");
        path.to_str().expect("a name").to_owned()
    };
    let job = jobs().into_iter().find(|j| j.name == "misfeed").expect("the job");
    let trace = run(&job, &Options { trace: true, ..Options::default() }).trace;
    let text = vcd::vcd(&trace);
    let (capture, map) = (put("run.vcd", &text), put("map.toml", &shipped_map()));
    let out = dir.path().join("out");
    let (code, said, err) = verb(&[&capture, "--map", &map, "--out", out.to_str().expect("a name")]);
    assert_eq!((code, err.as_str()), (0, ""), "{said}");
    let json = std::fs::read_to_string(out.join("survey.json")).expect("it is there");
    let object: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert!(object["strokes"][0]["took_ms"]["mean"].as_f64().is_some_and(|x| x > 100.0), "{json}");
    assert!(std::fs::read_to_string(out.join("job.toml")).expect("it is there").contains("[machine.grip]"));

    let cut = put("cut.vcd", &format!("{}\n#oh", &text[..text.len() / 2]));
    let (code, said, _) = verb(&[&cut, "--map", &map]);
    assert!(code == 1 && said.contains("what came before was read"), "{code} {said}");

    let wrong = [
        ("[contacts]\nchian = \"station.safety.chain\"\n", "did you mean chain?"),
        ("[contacts]\nchain = \"station.safety.chian\"\n", "did you mean \"station.safety.chain\"?"),
        ("[kontacts]\n", "unknown field `kontacts`"),
        ("[belt]\na = \"station.eyes.cap\"\nencoder_counts_per_rev = 1\nencoder_wheel = \"1 m\"\n", "give a and b"),
        ("[belt]\ncount = \"station.belt.counts\"\nencoder_counts_per_rev = 10\nencoder_wheel = 5\n", "line 4"),
        ("bounce = \"3 mm\"\n", "bounce:"),
        ("", "maps no contact and no order; the capture has the channels"),
        ("inverted = [\"x\"]\n[contacts]\nchain = \"station.safety.chain\"\n", "is the channel of no contact"),
    ];
    for (map, why) in wrong {
        let map = put("wrong.toml", map);
        let (code, said, err) = verb(&[&capture, "--map", &map]);
        assert!(code == 2 && said.is_empty() && err.contains(why) && err.contains("wrong.toml"), "{code} {err}");
    }
    assert!(verb(&[&capture, "--map", "no/such.toml"]).2.contains("name a map of the capture's channels"));
    assert!(verb(&["no/such.vcd", "--map", &map]).2.contains("no/such.vcd"));
}

/// The commands of the tutorial, run as they stand, and the lines that it shows of their output.
#[test]
fn the_tutorials_commands_run_and_say_what_the_page_shows() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let page = std::fs::read_to_string(root.join("docs/src/survey.md")).expect("the chapter is there");
    let dir = tempfile::tempdir().expect("a folder");
    let place = |word: &str| {
        if let Some(rest) = word.strip_prefix("survey-out/") {
            dir.path().join(rest).into_os_string()
        } else if word.starts_with("host-sim/") {
            root.join(word).into_os_string()
        } else {
            word.into()
        }
    };
    let mut said = Vec::new();
    let mut commands = 0;
    for line in page.lines().filter_map(|l| l.strip_prefix("$ ")) {
        let mut err = Vec::new();
        let code = host_sim::cli::run(line.split(' ').map(place), &mut said, &mut err);
        assert_eq!(code, 0, "{line}: {}", String::from_utf8_lossy(&err));
        commands += 1;
    }
    assert_eq!(commands, 2);
    let said = String::from_utf8(said).expect("text");
    let shown =
        page.split("```text\nFrom, to").nth(1).and_then(|t| t.split("```").next()).expect("it shows the delays");
    for line in format!("From, to{shown}").lines() {
        assert!(said.contains(line), "the survey does not say\n{line}\nbut\n{said}");
    }
}
