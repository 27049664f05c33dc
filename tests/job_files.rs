//! The jobs that come with the program, and the documentation of their keys.

use host_sim::job::Job;
use host_sim::job::keys::{JOB, Key, Need, TABLES, Takes};
use host_sim::job::spec::{Action, FaultKind, Range, SupplySpec, TightenSpec, When};
use std::path::{Path, PathBuf};
use timing_core::{Command, Contact, Request, UnitState};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn all() -> Vec<PathBuf> {
    let mut all: Vec<_> = std::fs::read_dir(root().join("host-sim/jobs"))
        .expect("the jobs are there")
        .map(|e| e.expect("an entry").path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    all.sort();
    all
}

fn job(name: &str) -> Job {
    Job::read(root().join(format!("host-sim/jobs/{name}.toml"))).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn every_job_reads_expects_something_and_says_that_it_is_invented() {
    let paths = all();
    assert!(paths.len() >= 22, "only {} jobs", paths.len());
    for path in paths {
        let job = Job::read(&path).unwrap_or_else(|e| panic!("{e}"));
        assert!(
            job.expect.good.is_some() && job.expect.state.is_some() && job.expect.outcomes.is_some(),
            "{}",
            job.name
        );
        let text = std::fs::read_to_string(&path).expect("it is there");
        assert!(text.contains("invented"), "{}", job.name);
    }
}

#[test]
fn the_built_in_job_is_the_steady_day() {
    assert_eq!(Job::demo(), job("steady-day"));
}

/// What the shared machine and product say, in the units of the fields.
#[test]
fn the_figures_arrive_in_their_units() {
    let j = job("steady-day");
    assert_eq!(j.name, "steady-day");
    let m = &j.machine;
    assert_eq!((m.encoder_counts_per_rev, m.wheel_mm, m.belt_speed_max_mm_s), (4096.0, 200.0, 400.0));
    assert_eq!((m.entry_blade_mm, m.release_blade_mm, m.release_eye_mm), (-159.0, -100.9, -61.5));
    assert_eq!((m.discharge_eye_mm, m.supply_eye_mm, m.cap_eye_mm), (Some(110.0), Some(-190.0), None));
    assert_eq!((m.reject_mm, m.reject_length_mm), (Some(400.0), 80.0));
    assert!((m.air_bar - 4.826).abs() < 0.000_5);
    assert_eq!((m.actuators[2].latency_ms, m.actuators[2].to_work_ms, m.actuators[2].spread_ms), (20.0, 100.0, 4.0));
    // Contacts come from eyes, actuators and the list; the rest is not fitted.
    for c in [
        Contact::PocketEye,
        Contact::DischargeEye,
        Contact::Chain,
        Contact::GripOver,
        Contact::RejectWork,
        Contact::Torque,
    ] {
        assert!(m.contacts.has(c), "{c:?}");
    }
    for c in [Contact::RollersOver, Contact::LineBelt, Contact::RejectEye, Contact::EntryGateOver] {
        assert!(!m.contacts.has(c), "{c:?}");
    }
    let p = &j.product;
    assert_eq!((p.diameter_mm, p.speed_mm_s, p.mass_kg, p.roller_rpm), (65.0, 100.0, 0.55, 300.0));
    assert_eq!(p.cog_mm, 90.0);
}

#[test]
fn what_is_absent_takes_its_default() {
    let j = job("steady-day");
    // As the documentation at the fields says.
    let m = &j.machine;
    assert_eq!((m.eye_on_ms, m.eye_filter_ms, m.contact_filter_ms, m.contact_bounce_ms), (0.5, 3.0, 10.0, 2.0));
    assert_eq!((m.safety_filter_ms, m.sample_gap_ms, m.belt_still_ms), (100.0, 100.0, 200.0));
    assert_eq!((m.warn_ms, m.clear_ms, m.starve_ms, m.patience_ms), (2_000.0, 1_000.0, 5_000.0, 10_000.0));
    assert_eq!((m.actuators[0].to_home_ms, m.actuators[0].home, m.actuators[0].over), (100.0, true, false));
    assert_eq!((j.product.misses_to_hold, j.product.speed_window_mm, j.product.aim_early_mm), (3, 3.0, 0.0));
    assert_eq!((j.run.duration_s, j.run.supply, j.run.wander, j.run.spread), (600.0, SupplySpec::Touching, 0.0, true));
    // Rule of thumb (an industry habit, no standard): 14 in·lbf for a 28 mm closure, where `torque` is absent.
    let snap = job("seat-only");
    assert!((snap.product.torque_nm - 1.581_788).abs() < 5e-7);
    assert_eq!((snap.product.tighten, snap.product.turns, snap.product.roller_rpm), (TightenSpec::SeatOnly, 0.0, 0.0));
}

#[test]
fn the_operator_of_power_up_stands_in_the_script() {
    let j = job("misfeed");
    let script: Vec<_> = j.run.script.iter().map(|s| (s.when.clone(), s.action)).collect();
    assert_eq!(
        script,
        [
            (When::At(0.2), Action::Request(Request::Batch(19))),
            (When::At(0.4), Action::Request(Request::Command(Command::Reset))),
            (When::State(UnitState::Idle, 0.2), Action::Request(Request::Command(Command::Start))),
            (When::State(UnitState::Held, 5.0), Action::Free(5)),
            (When::State(UnitState::Held, 8.0), Action::Request(Request::Command(Command::Unhold))),
        ]
    );
    assert_eq!(j.run.faults.len(), 1);
    assert_eq!((j.run.faults[0].when.clone(), j.run.faults[0].kind), (When::At(0.0), FaultKind::Hung(5)));
    assert!(j.run.faults[0].lasts_s.is_infinite());
    assert_eq!(j.expect.rejected, Some(Range { min: 0, max: 1 }));
    // Outcomes that are not named must not come.
    let outcomes = j.expect.outcomes.expect("they are given");
    assert!(outcomes.contains(&("struck by gate".to_owned(), Range { min: 0, max: 0 })));
    assert_eq!(outcomes.len(), 12);
}

fn plain_job() -> String {
    let at = root().join("host-sim/jobs/line");
    let machine = std::fs::read_to_string(at.join("machine.toml")).expect("it is there");
    let product = std::fs::read_to_string(at.join("elderflower.toml")).expect("it is there");
    let actuators = machine.find("[entry_gate]").expect("it has actuators");
    let (keys, tables) = machine.split_at(actuators);
    format!(
        "title = \"x\"\n[product]\n{product}\n[machine]\n{keys}\n{}",
        tables.replace("\n[", "\n[machine.").replacen('[', "[machine.", 1)
    )
}

/// Tables in the job itself say the same as the files that stand for them, and a file may have its table's header or not.
#[test]
fn tables_may_stand_in_the_job_or_in_files() {
    let run = "\n[run]\nbottles = 40\nbatch = 40\n";
    let inline = Job::parse("a.toml", &format!("{}{run}", plain_job())).unwrap_or_else(|e| panic!("{e}"));
    let steady = job("steady-day");
    assert_eq!((inline.machine, inline.product), (steady.machine.clone(), steady.product.clone()));
    assert_eq!(inline.run, steady.run);
    let dir = tempfile::tempdir().expect("a folder");
    let both = plain_job();
    let at = both.find("[machine]").expect("it is there");
    std::fs::write(dir.path().join("m.toml"), &both[at..]).expect("it can be written");
    let product = both[..at].find("[product]").expect("it is there");
    std::fs::write(dir.path().join("p.toml"), &both[product..at]).expect("it can be written");
    let text = format!("title = \"x\"\nmachine = \"m.toml\"\nproduct = \"p.toml\"\n{run}");
    std::fs::write(dir.path().join("j.toml"), text).expect("it can be written");
    let headed = Job::read(dir.path().join("j.toml")).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!((headed.machine, headed.product), (steady.machine, steady.product));
}

/// Every kind of fault, every deed and every way to say when is read as what it says.
#[test]
fn whatever_happens_can_be_said() {
    use timing_core::{Actuator, HeadStep, Mode, Pose};
    let faults: [(&str, When, FaultKind); 10] = [
        ("kind = \"no cap\"\nbottle = 2", When::At(0.0), FaultKind::NoCap(2)),
        ("kind = \"long bottle\"\nbottle = 2\nlength = \"70 mm\"", When::At(0.0), FaultKind::LongBottle(2, 70.0)),
        ("kind = \"taken\"\nbottle = 2\nplace = \"-3 cm\"", When::Place(2, -30.0), FaultKind::Taken(2)),
        (
            "kind = \"slow\"\nactuator = \"grip\"\nfactor = 2\nat = \"1 min\"",
            When::At(60.0),
            FaultKind::Slow(Actuator::Grip, 2.0),
        ),
        (
            "kind = \"stuck\"\nactuator = \"rollers\"\nbottle = 2\nstep = \"Engage\"",
            When::Step(2, HeadStep::Engage),
            FaultKind::Stuck(Actuator::Rollers),
        ),
        (
            "kind = \"contact\"\ncontact = \"grip home\"\nreads = true\nstate = \"execute\"",
            When::State(UnitState::Execute, 0.0),
            FaultKind::ContactStuck(Contact::GripHome, true),
        ),
        (
            "kind = \"input failed\"\ncontact = \"pocket eye\"\nat = \"1 s\"",
            When::At(1.0),
            FaultKind::InputFailed(Contact::PocketEye),
        ),
        ("kind = \"encoder jump\"\ncounts = -500\nat = \"1 s\"", When::At(1.0), FaultKind::EncoderJump(-500)),
        ("kind = \"Air low\"\nat = \"1 s\"", When::At(1.0), FaultKind::AirLow),
        (
            "kind = \"guard open\"\nstate = \"Execute\"\nafter = \"5 s\"",
            When::State(UnitState::Execute, 5.0),
            FaultKind::GuardOpen,
        ),
    ];
    let deeds = [
        ("take bottle 2", Action::Take(2)),
        ("take all", Action::TakeAll),
        ("batch 7", Action::Request(Request::Batch(7))),
        ("maintenance", Action::Request(Request::Mode(Mode::Maintenance))),
        ("jog entry gate work", Action::Request(Request::Jog(Actuator::EntryGate, Pose::Work))),
        ("jog grip home", Action::Request(Request::Jog(Actuator::Grip, Pose::Home))),
        ("jog spin", Action::Request(Request::JogSpin)),
        ("dry cycle", Action::Request(Request::DryCycle)),
        ("declare 2", Action::Request(Request::Declare(2))),
        ("Abort", Action::Request(Request::Command(Command::Abort))),
    ];
    let mut text = format!("{}\n[run]\nbottles = 40\nauto_start = false\nsupply = \"random 15 cm\"\n", plain_job());
    for (fault, _, _) in &faults {
        text += &format!("[[run.fault]]\n{fault}\n");
    }
    for (deed, _) in &deeds {
        text += &format!("[[run.operator]]\ndo = \"{deed}\"\nat = \"1 s\"\n");
    }
    let job = Job::parse("a.toml", &text).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(job.run.supply, SupplySpec::Random(150.0));
    let got: Vec<_> = job.run.faults.iter().map(|f| (f.when.clone(), f.kind)).collect();
    let due: Vec<_> = faults.into_iter().map(|(_, when, kind)| (when, kind)).collect();
    assert_eq!(got, due);
    let got: Vec<_> = job.run.script.iter().map(|s| s.action).collect();
    assert_eq!(got, deeds.map(|(_, action)| action));
}

/// The page on job files has every key, each under the heading of its table, with its default.
#[test]
fn every_key_is_on_the_page() {
    let page = std::fs::read_to_string(root().join("docs/src/job-file.md")).expect("the page is there");
    let mut sections: Vec<&str> = page.split("\n## ").collect();
    let first = sections.remove(0);
    assert!(first.contains("never a safety device"), "the caution is missing");
    for (table, keys) in TABLES {
        let heading = if table.is_empty() { "The file".to_owned() } else { format!("`{table}`") };
        let section = sections.iter().find(|s| s.lines().next() == Some(heading.as_str()));
        let section = section.unwrap_or_else(|| panic!("no heading {heading}"));
        for key in keys {
            let row = section.lines().find(|l| l.starts_with(&format!("| `{}` |", key.name)));
            let row = row.unwrap_or_else(|| panic!("no row for {} under {heading}", key.name));
            if let Need::Default(text) = key.need
                && !text.is_empty()
            {
                assert!(row.contains(text), "{heading} {}: the default {text} is not told: {row}", key.name);
            }
            if let Takes::Word(words) = key.takes
                && words().len() <= 4
            {
                for word in words() {
                    assert!(row.contains(word), "{heading} {}: {word} is not told: {row}", key.name);
                }
            }
        }
        // And nothing that is not a key.
        for row in section.lines().filter(|l| l.starts_with("| `")) {
            let name = row.trim_start_matches("| `").split('`').next().unwrap_or("");
            assert!(keys.iter().any(|k| k.name == name), "{heading}: {name} is on the page and not a key");
        }
    }
}

/// Every key is listed under one table of [`TABLES`], and defaults read as what their keys take.
#[test]
fn the_list_of_keys_is_whole() {
    fn tables_below(keys: &'static [Key], found: &mut Vec<&'static [Key]>) {
        found.push(keys);
        for key in keys {
            if let Takes::Table(k) | Takes::TableOrFile(k) | Takes::Tables(k) = key.takes {
                tables_below(k, found);
            }
        }
    }
    let mut found = Vec::new();
    tables_below(JOB, &mut found);
    for keys in found {
        assert!(TABLES.iter().any(|(_, k)| k.as_ptr() == keys.as_ptr() && k.len() == keys.len()));
        for key in keys {
            if let (Takes::Quantity(kind, lo, hi), Need::Default(text)) = (key.takes, key.need) {
                let value = host_sim::quantity::parse(kind, text).unwrap_or_else(|e| panic!("{}: {e}", key.name));
                assert!(value >= lo && value <= hi, "{}", key.name);
            }
        }
    }
}
