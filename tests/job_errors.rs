//! Every mistake that a job file can hold: what the person is told, that the exit code is 2, and that nothing is written.

use host_sim::job::{Job, Mistake};
use std::ffi::OsString;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// The shared jobs of host-sim, which have no mistakes.
fn jobs() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim/jobs")
}

/// A folder with a job, its machine and its product, without mistakes.
fn folder() -> TempDir {
    let dir = tempfile::tempdir().expect("a folder for the test");
    for (from, to) in [("line/machine.toml", "machine.toml"), ("line/elderflower.toml", "product.toml")] {
        fs::copy(jobs().join(from), dir.path().join(to)).expect("the shared job files are there");
    }
    fs::write(dir.path().join("job.toml"), JOB).expect("the folder can be written");
    dir
}

const JOB: &str = r#"title = "A test"
machine = "machine.toml"
product = "product.toml"

[run]
bottles = 20
batch = 10
supply = "touching"

[[run.fault]]
kind = "hung bottle"
bottle = 3

[[run.operator]]
do = "unhold"
state = "Held"
after = "2 s"

[expect]
good = 10
faults = ["misfeed"]
"#;

fn listing(dir: &Path) -> Vec<(OsString, Vec<u8>)> {
    let mut all: Vec<_> = fs::read_dir(dir)
        .expect("the folder is there")
        .map(|e| {
            let e = e.expect("an entry");
            (e.file_name(), fs::read(e.path()).unwrap_or_default())
        })
        .collect();
    all.sort();
    all
}

/// Runs `check` on the folder's job; gives exit code, standard output and standard error, the folder's name taken out.
fn check(dir: &Path) -> (u8, String, String) {
    let args = ["capcycle".into(), "check".into(), dir.join("job.toml").into_os_string()];
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let code = host_sim::cli::run(args, &mut out, &mut err);
    let plain = |bytes: Vec<u8>| {
        let prefix = format!("{}{}", dir.display(), std::path::MAIN_SEPARATOR);
        String::from_utf8(bytes).expect("text is UTF-8").replace(&prefix, "")
    };
    (code, plain(out), plain(err))
}

/// Changes one place of one file, and gives what the person is told. Checks that the code is 2 and nothing is written.
fn told(file: &str, from: &str, to: &str) -> String {
    let dir = folder();
    let path = dir.path().join(file);
    let text = fs::read_to_string(&path).expect("the file is there");
    assert_eq!(text.matches(from).count(), 1, "{from:?} must stand once in {file}");
    fs::write(&path, text.replace(from, to)).expect("the file can be written");
    let before = listing(dir.path());
    let (code, out, err) = check(dir.path());
    assert_eq!(code, 2, "{from:?} → {to:?} was not refused:\n{out}{err}");
    assert_eq!(out, "");
    assert_eq!(listing(dir.path()), before, "something was written");
    err
}

/// Asserts that each part is told, and how many mistakes in all.
fn tells(file: &str, from: &str, to: &str, mistakes: usize, parts: &[&str]) {
    let err = told(file, from, to);
    // Long helps are broken into lines; what they say is one sentence.
    let flat = err.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in parts {
        assert!(flat.contains(part), "{part:?} is not told:\n{err}");
    }
    let plural = if mistakes == 1 { "1 mistake in" } else { &format!("{mistakes} mistakes in") };
    assert!(flat.contains(plural), "not {mistakes}:\n{err}");
}

#[test]
fn without_mistakes_it_reads_well() {
    let dir = folder();
    let (code, out, err) = check(dir.path());
    assert_eq!((code, out.as_str(), err.as_str()), (0, "job.toml: reads well: A test\n", ""));
}

#[test]
fn one_mistake_is_told_like_this() {
    let err = told("product.toml", "diameter = \"65 mm\"", "diameter = 65");
    assert_eq!(
        err,
        r#"error: product.diameter: there is no unit
 --> product.toml:3:12
  |
3 | diameter = 65
  |            ^^ here
  |
  = help: give a length with one of its units: mm, cm, m, µm, in, ft; for example "94 mm"

1 mistake in the job job.toml
"#
    );
}

#[test]
fn a_contradiction_between_two_files_shows_both() {
    let err = told("product.toml", "belt_speed = \"6 m/min\"", "belt_speed = \"60 m/min\"");
    assert_eq!(
        err,
        r#"error: product.belt_speed: `belt_speed` (1000 mm/s) is above `belt_speed_max` (400 mm/s)
  --> product.toml:17:14
   |
17 | belt_speed = "60 m/min"
   |              ^^^^^^^^^^ here
   |
  ::: machine.toml:9:18
   |
 9 | belt_speed_max = "400 mm/s"
   |                  ---------- machine.belt_speed_max
   |
   = help: slow the product down, or measure the fastest belt again

1 mistake in the job job.toml
"#
    );
}

#[test]
fn syntax() {
    tells("job.toml", "title = \"A test\"", "title = \"A test", 1, &["job.toml:1:16", "mend the TOML here"]);
    tells("job.toml", "bottles = 20", "bottles 20", 1, &["job.toml:6:", "mend the TOML here"]);
    tells("job.toml", "[expect]", "[expect", 1, &["job.toml:19:", "mend the TOML here"]);
}

#[test]
fn a_key_given_twice() {
    tells(
        "job.toml",
        "batch = 10",
        "batch = 10\nbatch = 11",
        1,
        &["error: batch: duplicate key", "job.toml:8:1", "keep one of the two"],
    );
    tells("machine.toml", "[grip]", "[plunger]", 1, &["error: plunger: duplicate key", "keep one of the two"]);
}

#[test]
fn an_unknown_key_names_the_nearest() {
    let cases = [
        ("job.toml", "batch = 10", "bacth = 10", "run.bacth: is not a known key of [run]", "did you mean `batch`?"),
        ("job.toml", "good = 10", "god = 10", "expect.god: is not a known key of [expect]", "did you mean `good`?"),
        (
            "machine.toml",
            "supply_eye =",
            "supply-eye =",
            "machine.supply-eye: is not a known",
            "did you mean `supply_eye`?",
        ),
        ("product.toml", "settle =", "setle =", "product.setle: is not a known", "did you mean `settle`?"),
        ("job.toml", "after = \"2 s\"", "aftr = \"2 s\"", "run.operator.aftr", "did you mean `after`?"),
        (
            "job.toml",
            "title = \"A test\"",
            "title = \"\"\ncolour = 3",
            "colour: is not a known key of a job file",
            "known here: title, machine,",
        ),
    ];
    for (file, from, to, what, mend) in cases {
        tells(file, from, to, 1, &[what, mend]);
    }
}

#[test]
fn a_missing_key_says_which_units_it_takes() {
    let cases = [
        (
            "machine.toml",
            "encoder_wheel = \"200 mm\"",
            "machine.encoder_wheel: is missing",
            "a length in one of: mm, cm, m, µm, in, ft",
        ),
        (
            "machine.toml",
            "belt_acceleration = \"1000 mm/s²\"",
            "machine.belt_acceleration: is missing",
            "in one of: mm/s², m/s²,",
        ),
        ("machine.toml", "belt_owner = \"ours\"", "machine.belt_owner: is missing", "one of: \"ours\", \"line\""),
        ("machine.toml", "reject_length = \"80 mm\"", "machine.reject_length: is missing", "a length in one of"),
        ("product.toml", "mass = \"0.55 kg\"", "product.mass: is missing", "a mass in one of: kg, g, lb, oz"),
        ("product.toml", "roller_speed = \"300 rpm\"", "product.roller_speed: is missing", "in one of: rpm, rev/s"),
        ("job.toml", "bottles = 20", "run.bottles: is missing", "a whole number"),
        (
            "job.toml",
            "machine = \"machine.toml\"",
            "machine: is missing",
            "add a table [machine], or `machine = \"path.toml\"`",
        ),
        ("job.toml", "bottle = 3", "run.fault.bottle: is missing", "a whole number"),
        ("job.toml", "do = \"unhold\"", "run.operator.do: is missing", "add `do = "),
    ];
    for (file, from, what, mend) in cases {
        tells(file, from, "", 1, &[what, mend]);
    }
    tells(
        "job.toml",
        "state = \"Held\"\nafter = \"2 s\"",
        "",
        1,
        &["run.operator.at: nothing says when", "since power-up"],
    );
}

#[test]
fn a_missing_table() {
    let dir = folder();
    let text = fs::read_to_string(dir.path().join("machine.toml")).expect("it is there");
    let at = text.find("[rollers]").expect("the rollers have a table");
    let end = text.find("[reject]").expect("so has the diverter");
    fs::write(dir.path().join("machine.toml"), format!("{}{}", &text[..at], &text[end..])).expect("it can be written");
    let (code, _, err) = check(dir.path());
    assert_eq!(code, 2);
    assert!(err.contains("machine.rollers: is missing") && err.contains("add a table [machine.rollers]"), "{err}");
}

#[test]
fn units() {
    let cases = [
        (
            "machine.toml",
            "\"200 mm\"",
            "200",
            "machine.encoder_wheel: there is no unit",
            "give a length with one of its units: mm,",
        ),
        ("machine.toml", "\"200 mm\"", "\"200\"", "there is no unit", "mm, cm, m, µm, in, ft"),
        ("machine.toml", "\"200 mm\"", "\"200 ms\"", "\"ms\" is a unit of a time", "mm, cm, m, µm, in, ft"),
        ("machine.toml", "\"200 mm\"", "\"200 furlongs\"", "\"furlongs\" is not a known unit", "mm, cm, m, µm, in, ft"),
        ("machine.toml", "\"200 mm\"", "\"200 MM\"", "\"MM\" is not a known unit", "write \"mm\": capitals matter"),
        ("machine.toml", "\"200 mm\"", "\"200,5 mm\"", "has a decimal comma", "write a decimal point: \"200.5 mm\""),
        ("machine.toml", "\"200 mm\"", "\"mm\"", "does not begin with a number", "for example \"94 mm\""),
        ("machine.toml", "\"200 mm\"", "\"1e400 mm\"", "the number is too large", "for example \"94 mm\""),
        ("machine.toml", "\"70 psi\"", "\"70 N\"", "\"N\" is a unit of a force", "bar, kPa, MPa, Pa, psi"),
        (
            "product.toml",
            "\"14 in·lbf\"",
            "\"14 lbf\"",
            "\"lbf\" is a unit of a force",
            "N·m, cN·m, in·lbf, ft·lbf, ozf·in, kgf·cm",
        ),
        ("product.toml", "\"6 m/min\"", "\"6 m\"", "\"m\" is a unit of a length", "mm/s, m/s, m/min, in/s, ft/min"),
        (
            "job.toml",
            "supply = \"touching\"",
            "supply = \"every 120\"",
            "run.supply: there is no unit",
            "give a length",
        ),
    ];
    for (file, from, to, what, mend) in cases {
        tells(file, from, to, 1, &[what, mend]);
    }
}

#[test]
fn types() {
    let cases = [
        (
            "job.toml",
            "bottles = 20",
            "bottles = \"20\"",
            "run.bottles: is a text, and a whole number is due",
            "without quotes",
        ),
        ("job.toml", "bottles = 20", "bottles = 20.5", "is a number, and a whole number is due", "without quotes"),
        (
            "job.toml",
            "title = \"A test\"",
            "title = 3",
            "title: is a whole number, and a text is due",
            "put it in quotes",
        ),
        (
            "job.toml",
            "good = 10",
            "good = \"10..3\"",
            "expect.good: is a text, and a whole number or a range is due",
            "\"3..5\"",
        ),
        ("job.toml", "good = 10", "good = -1", "a whole number or a range is due", "\">= 3\""),
        ("job.toml", "faults = [\"misfeed\"]", "faults = \"misfeed\"", "is a text, and a list is due", "write a list"),
        (
            "product.toml",
            "turns = 1.5",
            "turns = \"1.5\"",
            "product.turns: is a text, and a number is due",
            "without quotes and without a unit",
        ),
        ("product.toml", "turns = 1.5", "turns = nan", "and a number is due", "without quotes"),
        (
            "product.toml",
            "mass = \"0.55 kg\"",
            "mass = true",
            "is true/false, and a mass with its unit is due",
            "\"0.55 kg\"",
        ),
        (
            "product.toml",
            "settle = \"26 mm\"",
            "transparent = \"yes\"",
            "is a text, and true or false is due",
            "without quotes",
        ),
        (
            "product.toml",
            "settle = \"26 mm\"",
            "settle = 2026-01-01",
            "is a date, and a length with its unit is due",
            "write it as a text",
        ),
        (
            "job.toml",
            "[[run.fault]]",
            "[run.fault]",
            "run.fault: is a table, and a list of tables is due",
            "[[run.fault]]",
        ),
        (
            "job.toml",
            "machine = \"machine.toml\"",
            "machine = 3",
            "machine: is a whole number, and a table is due",
            "[machine]",
        ),
    ];
    for (file, from, to, what, mend) in cases {
        tells(file, from, to, 1, &[what, mend]);
    }
}

#[test]
fn ranges() {
    let cases = [
        ("machine.toml", "encoder_counts_per_rev = 4096", "encoder_counts_per_rev = 0", "0 is outside 1 … 1000000"),
        ("machine.toml", "\"200 mm\"", "\"0 mm\"", "0 mm is outside 1 mm … 10000 mm"),
        ("machine.toml", "\"-159 mm\"", "\"159 mm\"", "159 mm is outside -10000 mm … -1 mm"),
        ("machine.toml", "\"110 mm\"", "\"-110 mm\"", "-110 mm is outside 1 mm … 10000 mm"),
        ("machine.toml", "\"60 deg\"", "\"90 deg\"", "90 deg is outside 10 deg … 85 deg"),
        ("machine.toml", "\"70 psi\"", "\"70 bar\"", "70 bar is outside 0.5 bar … 16 bar"),
        ("product.toml", "friction_min = 0.15", "friction_min = 0", "0 is outside 0.01 … 1.5"),
        ("product.toml", "\"0.5 mm\"", "\"-0.5 mm\"", "-0.5 mm is outside 0 mm … 50 mm"),
        ("product.toml", "settle = \"26 mm\"", "misses_to_hold = 0", "0 is outside 1 … 100"),
        ("job.toml", "batch = 10", "belt_wander = \"120 %\"", "1.2 is outside 0 … 0.9"),
        ("job.toml", "after = \"2 s\"", "after = \"-2 s\"", "-2 s is outside 0 s … 1000000 s"),
        ("job.toml", "bottle = 3", "bottle = 0", "0 is outside 1 … 1000000"),
    ];
    for (file, from, to, what) in cases {
        tells(file, from, to, 1, &[what, "give a value within"]);
    }
}

#[test]
fn words() {
    let cases = [
        (
            "machine.toml",
            "\"ours\"",
            "\"our\"",
            "\"our\" is not known",
            "did you mean \"ours\"? Taken here: \"ours\", \"line\"",
        ),
        ("machine.toml", "\"drive\"", "\"drives\"", "\"drives\" is not known", "did you mean \"drive\"?"),
        ("machine.toml", "\"drive\"", "\"pocket eye\"", "\"pocket eye\" is not known", "\"guard\", \"air\", \"drive\""),
        (
            "product.toml",
            "tighten = \"turns\"",
            "tighten = \"seat\"",
            "\"seat\" is not known",
            "did you mean \"seat only\"?",
        ),
        (
            "job.toml",
            "\"hung bottle\"",
            "\"hanged bottle\"",
            "\"hanged bottle\" is not known",
            "did you mean \"hung bottle\"?",
        ),
        ("job.toml", "\"unhold\"", "\"unhld\"", "\"unhld\" is not known", "did you mean \"unhold\"?"),
        (
            "job.toml",
            "\"unhold\"",
            "\"take bottle 0\"",
            "\"take bottle 0\" is not known",
            "did you mean \"take bottle 3\"?",
        ),
        ("job.toml", "\"Held\"", "\"Hold\"", "\"Hold\" is not known", "did you mean \"Held\"?"),
        ("job.toml", "\"misfeed\"", "\"missfeed\"", "\"missfeed\" is not known", "did you mean \"misfeed\"?"),
        ("job.toml", "\"touching\"", "\"tuching\"", "\"tuching\" is not known", "did you mean \"touching\"?"),
    ];
    for (file, from, to, what, mend) in cases {
        tells(file, from, to, 1, &[what, mend]);
    }
}

#[test]
fn geometry_that_contradicts_itself_names_both_sides() {
    let cases: [(&str, &str, &str, &[&str]); 13] = [
        (
            "machine.toml",
            "\"-159 mm\"",
            "\"-80 mm\"",
            &["`entry_blade` (-80 mm) must lie upstream of `release_blade` (-100.9 mm)"],
        ),
        // Half chord at the tip: √(32.5² − 20²) = 25.617 mm.
        (
            "machine.toml",
            "\"-159 mm\"",
            "\"-150 mm\"",
            &[
                "the pocket is 46.1 mm long between the blades, and a bottle needs 51.23 mm there",
                "machine.release_blade",
                "product.diameter",
            ],
        ),
        ("machine.toml", "\"-159 mm\"", "\"-225 mm\"", &["and two bottles fit into it"]),
        (
            "machine.toml",
            "\"-61.5 mm\"",
            "\"-105 mm\"",
            &["`release_blade` (-100.9 mm) must lie upstream of `release_eye` (-105 mm)"],
        ),
        // Front of the waiting bottle: −100.9 − 25.617 + 32.5 = −94.017 mm.
        (
            "machine.toml",
            "\"-61.5 mm\"",
            "\"-94 mm\"",
            &["`release_eye` (-94 mm) sees the waiting bottle already, up to -94.02 mm"],
        ),
        (
            "machine.toml",
            "\"-116 mm\"",
            "\"-90 mm\"",
            &["`pocket_eye` (-90 mm) does not see the bottle that waits in the pocket"],
        ),
        // 1.5 · 65.5 + 10 = 108.25 mm.
        (
            "machine.toml",
            "\"110 mm\"",
            "\"105 mm\"",
            &["`discharge_eye` (105 mm) is nearer to the head than 1.5 diameters and clearance (108.25 mm)"],
        ),
        (
            "machine.toml",
            "\"-190 mm\"",
            "\"-230 mm\"",
            &["`supply_eye` (-230 mm) is further than one diameter from the entry blade"],
        ),
        (
            "machine.toml",
            "\"400 mm\"\nreject",
            "\"100 mm\"\nreject",
            &["`discharge_eye` (110 mm) must lie upstream of `reject_at` (100 mm)"],
        ),
        (
            "machine.toml",
            "blade_tip = \"20 mm\"",
            "blade_tip = \"33 mm\"",
            &["the blades stop 33 mm from the centre line and never reach a bottle of radius 32.5 mm"],
        ),
        // 32.5 · cos 60° = 16.25 mm.
        (
            "machine.toml",
            "\"40 mm\"",
            "\"16 mm\"",
            &["the jaw's half mouth (16 mm) takes in no body of this diameter: its flanks touch at 16.25 mm"],
        ),
        (
            "product.toml",
            "\"0.5 mm\"",
            "\"20 mm\"",
            &["`diameter_tolerance` (20 mm) is out of proportion to `diameter` (65 mm)"],
        ),
        (
            "product.toml",
            "height = \"180 mm\"",
            "height = \"180 mm\"\ncentre_of_gravity = \"200 mm\"",
            &["`centre_of_gravity` (200 mm) is not below the top (`height`, 180 mm)"],
        ),
    ];
    for (file, from, to, parts) in cases {
        let err = told(file, from, to);
        let flat = err.split_whitespace().collect::<Vec<_>>().join(" ");
        for part in parts {
            assert!(flat.contains(part), "{part:?} is not told:\n{err}");
        }
    }
}

#[test]
fn other_contradictions() {
    let cases = [
        (
            "product.toml",
            "friction_min = 0.15",
            "friction_min = 0.3",
            "`friction_min` (0.3) is above `friction_max` (0.25)",
            "swap the two",
        ),
        (
            "product.toml",
            "tighten = \"turns\"",
            "tighten = \"seat only\"",
            "`torque` is given, and `tighten = \"seat only\"` never spins",
            "leave it out",
        ),
        (
            "product.toml",
            "belt_speed = \"6 m/min\"",
            "belt_speed = \"390 mm/s\"\nearly_release = true",
            "must be stopped for at -135.55 mm to halt short of the busy head (belt at 390 mm/s, 95.55 mm to stop, 40 mm clear), and that lies \
             before the release gate (-100.9 mm)",
            "set early_release = false",
        ),
        (
            "product.toml",
            "\"at head\"",
            "\"upstream\"",
            "cap policy \"upstream\" needs the place of the contact",
            "add `cap_eye = ",
        ),
        (
            "machine.toml",
            "release_eye =",
            "cap_eye = \"-40 mm\"\nrelease_eye =",
            "`cap_eye` says that the contact sits upstream",
            "leave `cap_eye` out",
        ),
        (
            "machine.toml",
            "\"cap\", ",
            "",
            "cap policy \"at head\" needs the cap contact, and it is not wired",
            "add \"cap\" to `contacts`",
        ),
        (
            "machine.toml",
            "\"downstream ready\"",
            "\"line belt\"",
            "\"line belt\" is wired, and the belt is ours",
            "belt_owner = \"line\"",
        ),
        (
            "machine.toml",
            "reject_at = \"400 mm\"",
            "",
            "`reject_length` is given, and `reject_at` is not",
            "add `reject_at",
        ),
        (
            "machine.toml",
            "air_pressure =",
            "contact_bounce = \"5 ms\"\nair_pressure =",
            "`eye_filter` (3 ms) is shorter than `contact_bounce` (5 ms)",
            "outlast the bounce",
        ),
        (
            "machine.toml",
            "air_pressure =",
            "belt_still = \"50 ms\"\nair_pressure =",
            "`belt_still` (50 ms) is shorter than `sample_gap` (100 ms)",
            "between two looks",
        ),
        (
            "job.toml",
            "batch = 10",
            "batch = 21",
            "a batch of 21 can never be delivered from 20 bottles",
            "let more bottles come",
        ),
        ("job.toml", "bottle = 3", "bottle = 21", "bottle 21 is named, and only 20 come", "name an earlier one"),
        (
            "job.toml",
            "\"touching\"",
            "\"every 60 mm\"",
            "bottles of 65 mm cannot come every 60 mm",
            "at least one diameter",
        ),
        (
            "job.toml",
            "bottle = 3",
            "bottle = 3\nlength = \"70 mm\"",
            "`length` does not go with kind \"hung bottle\"",
            "takes `bottle`",
        ),
        (
            "job.toml",
            "bottle = 3",
            "bottle = 3\nat = \"3 s\"\nstate = \"Held\"",
            "`at` and `state` each say when",
            "keep one of them",
        ),
        (
            "job.toml",
            "bottle = 3",
            "at = \"3 s\"\nbottle = 3\nfor = \"2 s\"",
            "`for` does not go with kind \"hung bottle\"",
            "leave it out",
        ),
        (
            "job.toml",
            "state = \"Held\"",
            "at = \"3 s\"",
            "`after` counts from a state, and no `state` is given",
            "or use `at`",
        ),
        (
            "job.toml",
            "kind = \"hung bottle\"\nbottle = 3",
            "kind = \"contact\"\nat = \"3 s\"\ncontact = \"line belt\"\nreads = true",
            "a fault of the contact \"line belt\" is asked for, and the machine has none",
            "fit the contact",
        ),
    ];
    for (file, from, to, what, mend) in cases {
        let err = told(file, from, to);
        let flat = err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(what) && flat.contains(mend), "{what:?} / {mend:?} is not told:\n{err}");
    }
}

#[test]
fn over_travel_of_a_gate_and_a_margin_within_the_filter() {
    let gate = "[entry_gate]\nvalve = \"spring return\"\n";
    tells(
        "machine.toml",
        gate,
        &format!("{gate}over_contact = true\n"),
        1,
        &["the entry gate has no over-travel", "grip, plunger and rollers"],
    );
    tells(
        "machine.toml",
        "[plunger]\n",
        "[plunger]\nto_home = \"3 ms\"\n",
        1,
        &["the spread of the plunger (4 ms) is longer than its stroke"],
    );
    tells(
        "machine.toml",
        "air_pressure =",
        "contact_filter = \"160 ms\"\nair_pressure =",
        6,
        &["the margin of the grip (150 ms) is not longer than `contact_filter` (160 ms)"],
    );
}

#[test]
fn files_that_cannot_be_read() {
    tells(
        "job.toml",
        "machine = \"machine.toml\"",
        "machine = \"machin.toml\"",
        1,
        &["machine: cannot read machin.toml: there is no such file", "job.toml:2:11", "relative to the job file"],
    );
    let dir = tempfile::tempdir().expect("a folder");
    let (code, out, err) = check(dir.path());
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(err.contains("cannot read job.toml: there is no such file"), "{err}");
    fs::write(dir.path().join("job.toml"), [0xff, 0xfe, 0x00]).expect("it can be written");
    let (code, _, err) = check(dir.path());
    assert_eq!(code, 2);
    assert!(err.contains("it is not UTF-8 text"), "{err}");
}

#[test]
fn every_mistake_is_told_at_once_in_the_order_of_files_and_lines() {
    let dir = folder();
    let path = dir.path().join("job.toml");
    let text =
        JOB.replace("batch = 10", "bacth = 10").replace("good = 10", "good = true").replace("\"Held\"", "\"Heald\"");
    fs::write(&path, text).expect("it can be written");
    let product = dir.path().join("product.toml");
    let text = fs::read_to_string(&product).expect("it is there");
    fs::write(&product, text.replace("\"65 mm\"", "65").replace("mass = \"0.55 kg\"", "mas = 1"))
        .expect("it can be written");
    let e = Job::read(&path).expect_err("it has mistakes");
    let told: Vec<_> = e.all().iter().map(|e| (e.mistake, e.key.as_str(), e.line)).collect();
    assert_eq!(
        told,
        [
            (Mistake::UnknownKey, "run.bacth", 7),
            (Mistake::Word, "run.operator.state", 16),
            (Mistake::Type, "expect.good", 20),
            (Mistake::Missing, "product.mass", 1),
            (Mistake::Unit, "product.diameter", 3),
            (Mistake::UnknownKey, "product.mas", 6),
        ]
    );
}

#[test]
fn for_machines_the_same_is_said_in_json() {
    let dir = folder();
    let path = dir.path().join("job.toml");
    fs::write(&path, JOB.replace("bottles = 20", "bottles = \"20\"")).expect("it can be written");
    let args = ["capcycle".into(), "check".into(), "--json".into(), path.into_os_string()];
    let (mut out, mut err) = (Vec::new(), Vec::new());
    assert_eq!(host_sim::cli::run(args, &mut out, &mut err), 2);
    assert!(err.is_empty());
    let out = String::from_utf8(out).expect("text");
    assert!(
        out.contains(r#""ok":false"#) && out.contains(r#""key":"run.bottles""#) && out.contains(r#""line":6"#),
        "{out}"
    );
}

#[test]
fn an_unknown_verb_is_wrong_input_and_help_is_fine_and_cautions() {
    let run = |args: &[&str]| {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let code = host_sim::cli::run(args.iter().map(OsString::from), &mut out, &mut err);
        (code, String::from_utf8(out).expect("text"), String::from_utf8(err).expect("text"))
    };
    let (code, out, err) = run(&["capcycle", "chekc"]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(err.contains("check"), "{err}");
    let (code, out, err) = run(&["capcycle", "--help"]);
    assert_eq!((code, err.as_str()), (0, ""));
    for words in ["never about a safety device", "hard-wired", "Lock out and vent", "licensed practice"] {
        assert!(out.contains(words), "{words}:\n{out}");
    }
    assert!(out.lines().all(|l| l.chars().count() <= 100), "{out}");
    let (code, _, err) = run(&["capcycle"]);
    assert_eq!(code, 2);
    assert!(err.contains("Usage"), "{err}");
}

/// Text that is no job, of any kind, is refused in order; it never panics.
#[test]
fn any_text_is_survived() {
    use proptest::prelude::*;
    let pieces = prop_oneof![
        Just("[machine]\n".to_owned()),
        Just("[[run.fault]]\nkind = \"slow\"\n".to_owned()),
        Just("product = \"nowhere.toml\"\n".to_owned()),
        Just("[run]\nbottles = 3\n".to_owned()),
        "[a-z_]{1,8} = [0-9\"\\[{-]{1,6}\n",
        "\\PC{0,20}",
    ];
    let config = ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() };
    proptest!(config, |(parts in prop::collection::vec(pieces, 0..8))| {
        let text = parts.concat();
        let e = Job::parse("nowhere/job.toml", &text).expect_err("no such text is a job");
        prop_assert!(!e.all().is_empty());
        prop_assert!(e.to_string().contains("mistake"));
    });
}
