//! Measurements that contradict each other are refused with both sides named.

use host_sim::job::{Job, Mistake};
use std::path::Path;

/// The shipped machine and bottle in one text, which has no mistakes.
fn whole() -> String {
    let read = |name: &str| {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim/jobs/line").join(name);
        std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
    };
    let machine = read("machine.toml").replace("\n[", "\n[machine.");
    format!("title = \"whole\"\n[run]\nbottles = 5\n[product]\n{}\n[machine]\n{machine}", read("elderflower.toml"))
}

/// One line of the text, replaced.
fn changed(text: &str, key: &str, line: &str) -> String {
    let start = format!("{key} = ");
    assert!(text.lines().any(|l| l.starts_with(&start)), "no line {key}");
    let mut done = false;
    let lines = text.lines().map(|l| {
        if !done && l.starts_with(&start) {
            done = true;
            line
        } else {
            l
        }
    });
    lines.collect::<Vec<_>>().join("\n")
}

#[test]
fn the_text_as_it_is_has_no_mistakes() {
    let job = Job::parse("whole.toml", &whole()).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(job.product.body.finish, Some("28-410"));
    assert_eq!(job.machine.actuators[2].drive.bore_mm, Some(32.0));
    // A finish brings its turns where none are given.
    let text = changed(&whole(), "turns", "").replace("28-410", "28-415");
    let job = Job::parse("whole.toml", &text).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(job.product.turns, 2.0);
    // Without either, the turns are missing.
    let text = changed(&changed(&whole(), "turns", ""), "finish", "");
    let Err(errors) = Job::parse("whole.toml", &text) else { panic!("taken without turns") };
    let told = errors.to_string();
    assert!(told.contains("product.turns: is missing") && told.contains("a number without unit"), "{told}");
}

/// Key, its new line, and what must be named: both sides, with their values.
const CASES: &[(&str, &str, &[&str])] = &[
    ("rail_width", "rail_width = \"65 mm\"", &["65.5 mm", "65 mm", "machine.rail_width", "product.diameter"]),
    ("rail_width_start", "rail_width_start = \"60 mm\"", &["60 mm", "machine.rail_width_start", "product.diameter"]),
    ("rail_width", "rail_width = \"70 mm\"", &["70 mm", "68 mm", "machine.rail_width_start"]),
    ("blade_thickness", "blade_thickness = \"14 mm\"", &["14 mm", "13.77 mm", "machine.blade_tip", "product.diameter"]),
    ("grip_height", "grip_height = \"190 mm\"", &["190 mm", "180 mm", "product.height"]),
    ("eye_height", "eye_height = \"180 mm\"", &["`eye_height`", "product.height"]),
    ("blade_height", "blade_height = \"200 mm\"", &["`blade_height`", "product.height"]),
    ("plunger_height", "plunger_height = \"180 mm\"", &["180 mm", "183 mm", "product.closed_height"]),
    ("roller_gap", "roller_gap = \"28 mm\"", &["28 mm", "product.cap_diameter"]),
    ("roller_gap", "roller_gap = \"50 mm\"", &["50 mm", "43 mm", "machine.roller_gap_open"]),
    ("roller_gap_open", "roller_gap_open = \"27 mm\"", &["27 mm", "product.cap_diameter"]),
    ("rod", "rod = \"16 mm\"", &["the rod of the entry gate (16 mm)", "bore (16 mm)", "machine.entry_gate"]),
    ("bore", "bore = \"16 mm\"\npressure = \"6 bar\"", &["6.000 bar", "4.826 bar", "machine.air_pressure"]),
    ("wall_from", "wall_from = \"130 mm\"", &["130 mm", "120 mm", "product.wall_to"]),
    ("wall_to", "wall_to = \"190 mm\"", &["190 mm", "180 mm", "product.height"]),
    ("lip_height", "lip_height = \"190 mm\"", &["190 mm", "183 mm", "product.closed_height"]),
    ("skirt_height", "skirt_height = \"181 mm\"", &["181 mm", "product.lip_height"]),
    ("seat_force", "seat_force = \"700 N\"", &["700 N", "600 N", "product.top_load"]),
    ("cap_diameter", "cap_diameter = \"27 mm\"", &["27 mm", "27.38 mm", "28-410", "product.finish"]),
    ("turns", "turns = 2.5", &["2.5", "1.50", "28-410", "product.finish"]),
    ("finish", "finish = \"28-410\"\nthread_pitch = \"3 mm\"", &["3 mm", "4.23 mm", "28-410", "product.finish"]),
    ("diameter", "diameter = \"65 mm\"\nwidth = \"50 mm\"", &["50 mm", "65 mm", "round", "product.shape"]),
    ("diameter", "diameter = \"65 mm\"\ncorner_radius = \"5 mm\"", &["`corner_radius`", "round", "product.shape"]),
    (
        "diameter",
        "diameter = \"65 mm\"\nshape = \"flat-sided\"\nwidth = \"50 mm\"\ncorner_radius = \"26 mm\"",
        &["26 mm", "65 mm by 50 mm", "product.width"],
    ),
];

#[test]
fn contradictions_name_both_sides() {
    for (key, line, needles) in CASES {
        let text = changed(&whole(), key, line);
        let Err(errors) = Job::parse("whole.toml", &text) else { panic!("{line} was taken") };
        let told = errors.to_string();
        for needle in *needles {
            // A side is named by its key, or shown where it stands in the file.
            let key = needle.strip_prefix("machine.").or_else(|| needle.strip_prefix("product."));
            let found = told.contains(needle) || key.is_some_and(|key| told.contains(key));
            assert!(found, "{line}: {needle} is not told:\n{told}");
        }
        assert!(
            errors.all().iter().any(|e| e.mistake == Mistake::Contradiction && !e.mend.is_empty()),
            "{line} is no contradiction:\n{told}"
        );
    }
}

/// Zero and negative measurements, each refused with its key and its range.
#[test]
fn zero_and_negative_are_out_of_range() {
    for (key, line) in [
        ("friction_min", "friction_min = 0.0"),
        ("friction_min", "friction_min = -0.1"),
        ("mass", "mass = \"0 kg\""),
        ("rail_width", "rail_width = \"0 mm\""),
        ("bore", "bore = \"-16 mm\""),
        ("stroke_length", "stroke_length = \"0 mm\""),
        ("sonic_conductance", "sonic_conductance = \"0 dm³/(s·bar)\""),
        ("critical_ratio", "critical_ratio = 1.0"),
        ("air_supply", "air_supply = \"0 L/min\""),
        ("queue_bottles", "queue_bottles = 0"),
        ("roller_width", "roller_width = \"0 mm\""),
        ("seat_force", "seat_force = \"-60 N\""),
        ("belt_coast", "belt_coast = \"0 mm/s²\""),
    ] {
        let Err(errors) = Job::parse("whole.toml", &changed(&whole(), key, line)) else { panic!("{line} was taken") };
        let told = errors.to_string();
        let range = errors.all().iter().find(|e| e.mistake == Mistake::Range);
        assert!(range.is_some_and(|e| e.key.ends_with(key)), "{line}:\n{told}");
    }
}
