//! Every key that a job file may hold: what it takes, its range, and what stands in for it when it is absent.
//!
//! The meaning of each key is written at the field of [`super::spec`] that it fills. Defaults are written as in a job file and
//! go through the same reader.

use crate::quantity::Kind;
use crate::verdict::Outcome;
use timing_core::{Actuator, Contact, FAULTS, HeadStep, UnitState};

/// A key.
#[derive(Clone, Copy, Debug)]
pub struct Key {
    /// As written in the file.
    pub name: &'static str,
    /// What it takes.
    pub takes: Takes,
    /// Whether it must be given.
    pub need: Need,
}

/// What a key takes.
#[derive(Clone, Copy, Debug)]
pub enum Takes {
    /// A text with a unit, within these bounds (inclusive, in the kind's own unit).
    Quantity(Kind, f64, f64),
    /// A bare number within these bounds (inclusive).
    Number(f64, f64),
    /// A whole number within these bounds (inclusive).
    Whole(i64, i64),
    /// `true` or `false`.
    Flag,
    /// Any text.
    Text,
    /// One of these words.
    Word(fn() -> Vec<&'static str>),
    /// A list of these words.
    Words(fn() -> Vec<&'static str>),
    /// A whole number or a range: `3`, `"3..5"`, `">= 3"`, `"<= 5"`.
    Count,
    /// A table of its own.
    Table(&'static [Key]),
    /// A table of its own, or the path of a file that holds it.
    TableOrFile(&'static [Key]),
    /// Any number of tables.
    Tables(&'static [Key]),
}

/// Whether a key must be given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// It must.
    Must,
    /// It may; this stands in for it.
    Default(&'static str),
    /// It may; absence means something of its own, or is checked together with other keys.
    May,
}

use Kind as K;
use Need::{Default, May, Must};
use Takes::{Count, Flag, Number, Quantity, Table, TableOrFile, Tables, Text, Whole, Word, Words};

const fn key(name: &'static str, takes: Takes, need: Need) -> Key {
    Key { name, takes, need }
}

/// Ten metres of belt either way: the reach of the core's coordinates.
const FAR: f64 = 10_000.0;

/// The whole file.
pub const JOB: &[Key] = &[
    key("title", Text, Must),
    key("machine", TableOrFile(MACHINE), Must),
    key("product", TableOrFile(PRODUCT), Must),
    key("run", Table(RUN), Must),
    key("expect", Table(EXPECT), May),
];

/// `[machine]`.
pub const MACHINE: &[Key] = &[
    key("encoder_counts_per_rev", Number(1.0, 1e6), Must),
    key("encoder_wheel", Quantity(K::Length, 1.0, FAR), Must),
    key("belt_owner", Word(belt_owners), Must),
    key("belt_speed_max", Quantity(K::Speed, 1.0, 3_000.0), Must),
    key("belt_acceleration", Quantity(K::Acceleration, 10.0, 100_000.0), Must),
    key("suspend_stops_belt", Flag, Default("false")),
    key("entry_blade", Quantity(K::Coordinate, -FAR, -1.0), Must),
    key("release_blade", Quantity(K::Coordinate, -FAR, -1.0), Must),
    key("blade_thickness", Quantity(K::Length, 0.2, 50.0), Must),
    key("blade_tip", Quantity(K::Length, 0.0, 250.0), Must),
    key("pocket_eye", Quantity(K::Coordinate, -FAR, -1.0), Must),
    key("release_eye", Quantity(K::Coordinate, -FAR, -1.0), Must),
    key("discharge_eye", Quantity(K::Coordinate, 1.0, FAR), May),
    key("supply_eye", Quantity(K::Coordinate, -FAR, -1.0), May),
    key("cap_eye", Quantity(K::Coordinate, -FAR, -1.0), May),
    key("reject_at", Quantity(K::Coordinate, 1.0, FAR), May),
    key("reject_length", Quantity(K::Length, 1.0, FAR), May),
    key("jaw_half_mouth", Quantity(K::Length, 1.0, 500.0), Must),
    key("jaw_half_angle", Quantity(K::Angle, 10.0, 85.0), Must),
    key("jaw_friction", Number(0.01, 1.5), Must),
    key("contacts", Words(wired_contacts), Default("")),
    key("eye_on", Quantity(K::TimeMs, 0.0, 50.0), Default("0.5 ms")),
    key("eye_off", Quantity(K::TimeMs, 0.0, 50.0), Default("0.5 ms")),
    key("eye_beam", Quantity(K::Length, 0.0, 50.0), Default("2 mm")),
    key("eye_filter", Quantity(K::TimeMs, 0.0, 200.0), Default("3 ms")),
    key("contact_filter", Quantity(K::TimeMs, 0.0, 200.0), Default("10 ms")),
    key("contact_bounce", Quantity(K::TimeMs, 0.0, 200.0), Default("2 ms")),
    key("safety_filter", Quantity(K::TimeMs, 10.0, 5_000.0), Default("100 ms")),
    key("sample_gap", Quantity(K::TimeMs, 1.0, 1_000.0), Default("100 ms")),
    key("belt_still", Quantity(K::TimeMs, 1.0, 5_000.0), Default("200 ms")),
    key("warn", Quantity(K::TimeMs, 500.0, 60_000.0), Default("2 s")),
    key("clear", Quantity(K::TimeMs, 0.0, 60_000.0), Default("1 s")),
    key("starve", Quantity(K::TimeMs, 100.0, 600_000.0), Default("5 s")),
    key("patience", Quantity(K::TimeMs, 1_000.0, 600_000.0), Default("10 s")),
    key("roller_diameter", Quantity(K::Length, 5.0, 500.0), Must),
    key("roller_ramp", Quantity(K::TimeMs, 0.0, 5_000.0), Must),
    key("idle_spin", Flag, Default("false")),
    key("air_pressure", Quantity(K::Pressure, 0.5, 16.0), Must),
    key("air_supply", Quantity(K::Flow, 0.1, 100_000.0), May),
    key("rail_width", Quantity(K::Length, 5.0, 1_000.0), May),
    key("rail_width_start", Quantity(K::Length, 5.0, 1_000.0), May),
    key("blade_height", Quantity(K::Length, 1.0, 1_000.0), May),
    key("eye_height", Quantity(K::Length, 1.0, 1_000.0), May),
    key("grip_height", Quantity(K::Length, 1.0, 1_000.0), May),
    key("support_face", Quantity(K::Length, 1.0, 500.0), May),
    key("plunger_height", Quantity(K::Length, 5.0, 2_000.0), May),
    key("roller_height", Quantity(K::Length, 5.0, 1_500.0), May),
    key("roller_width", Quantity(K::Length, 0.5, 200.0), May),
    key("roller_gap", Quantity(K::Length, 1.0, 500.0), May),
    key("roller_gap_open", Quantity(K::Length, 1.0, 1_000.0), May),
    key("roller_friction", Number(0.05, 1.5), May),
    key("belt_coast", Quantity(K::Acceleration, 10.0, 100_000.0), May),
    key("queue_bottles", Whole(1, 10_000), May),
    key("entry_gate", Table(ACTUATOR), Must),
    key("release_gate", Table(ACTUATOR), Must),
    key("grip", Table(ACTUATOR), Must),
    key("plunger", Table(ACTUATOR), Must),
    key("rollers", Table(ACTUATOR), Must),
    key("reject", Table(ACTUATOR), May),
];

/// `[machine.grip]` and its like.
pub const ACTUATOR: &[Key] = &[
    key("valve", Word(valves), Must),
    key("latency", Quantity(K::TimeMs, 0.0, 500.0), Must),
    key("to_work", Quantity(K::TimeMs, 0.0, 5_000.0), Must),
    key("over", Quantity(K::TimeMs, 0.0, 5_000.0), Default("40 ms")),
    key("to_home", Quantity(K::TimeMs, 0.0, 5_000.0), May),
    key("spread", Quantity(K::TimeMs, 0.0, 1_000.0), Default("0 ms")),
    key("margin", Quantity(K::TimeMs, 5.0, 5_000.0), Default("150 ms")),
    key("home_contact", Flag, Default("true")),
    key("work_contact", Flag, Default("true")),
    key("over_contact", Flag, Default("false")),
    key("bore", Quantity(K::Length, 4.0, 320.0), May),
    key("rod", Quantity(K::Length, 0.0, 160.0), Default("0 mm")),
    key("pulls", Flag, Default("false")),
    key("stroke_length", Quantity(K::Length, 0.5, 1_000.0), May),
    key("pressure", Quantity(K::Pressure, 0.1, 16.0), May),
    key("lever", Number(0.01, 100.0), May),
    key("tube_length", Quantity(K::Length, 0.0, 50_000.0), May),
    key("tube_bore", Quantity(K::Length, 0.5, 50.0), May),
    key("sonic_conductance", Quantity(K::Conductance, 0.001, 100.0), May),
    key("critical_ratio", Number(0.01, 0.95), May),
];

/// `[product]`.
pub const PRODUCT: &[Key] = &[
    key("diameter", Quantity(K::Length, 5.0, 500.0), Must),
    key("diameter_tolerance", Quantity(K::Length, 0.0, 50.0), Must),
    key("height", Quantity(K::Length, 5.0, 1_000.0), Must),
    key("centre_of_gravity", Quantity(K::Length, 1.0, 1_000.0), May),
    key("shape", Word(shapes), May),
    key("width", Quantity(K::Length, 5.0, 500.0), May),
    key("corner_radius", Quantity(K::Length, 0.0, 250.0), Default("0 mm")),
    key("wall_from", Quantity(K::Length, 0.0, 1_000.0), May),
    key("wall_to", Quantity(K::Length, 1.0, 1_000.0), May),
    key("mass", Quantity(K::Mass, 0.001, 50.0), Must),
    key("friction_min", Number(0.01, 1.5), Must),
    key("friction_max", Number(0.01, 1.5), Must),
    key("transparent", Flag, Default("false")),
    key("cap_diameter", Quantity(K::Length, 5.0, 500.0), Must),
    key("closed_height", Quantity(K::Length, 5.0, 1_500.0), May),
    key("lip_height", Quantity(K::Length, 5.0, 1_500.0), May),
    key("skirt_height", Quantity(K::Length, 0.5, 500.0), May),
    key("finish", Word(finishes), May),
    key("thread_pitch", Quantity(K::Length, 0.2, 50.0), May),
    key("seat_force", Quantity(K::Force, 0.1, 10_000.0), May),
    key("top_load", Quantity(K::Force, 1.0, 100_000.0), May),
    key("side_load", Quantity(K::Force, 1.0, 100_000.0), May),
    key("turns", Number(0.05, 20.0), May),
    key("tighten", Word(tightenings), Must),
    key("torque", Quantity(K::Torque, 0.01, 50.0), May),
    key("roller_speed", Quantity(K::Turning, 1.0, 6_000.0), May),
    key("belt_speed", Quantity(K::Speed, 1.0, 3_000.0), Must),
    key("seat_dwell", Quantity(K::TimeMs, 0.0, 5_000.0), Default("0 ms")),
    key("engage_dwell", Quantity(K::TimeMs, 0.0, 5_000.0), Default("0 ms")),
    key("disengage_dwell", Quantity(K::TimeMs, 0.0, 5_000.0), Default("0 ms")),
    key("settle", Quantity(K::Length, 0.0, 500.0), Default("10 mm")),
    key("aim_early", Quantity(K::Length, 0.0, 50.0), Default("0 mm")),
    key("cap_policy", Word(cap_policies), Must),
    key("misses_to_hold", Whole(1, 100), Default("3")),
    key("early_release", Flag, Default("false")),
    key("speed_window", Quantity(K::Length, 0.5, 50.0), Default("3 mm")),
];

/// `[run]`.
pub const RUN: &[Key] = &[
    key("seed", Whole(0, i64::MAX), Default("1")),
    key("duration", Quantity(K::TimeS, 1.0, 1e6), Default("10 min")),
    key("bottles", Whole(0, 10_000_000), Must),
    key("batch", Whole(0, 10_000_000), Default("0")),
    key("supply", Text, Default("touching")),
    key("belt_wander", Quantity(K::Share, 0.0, 0.9), Default("0 %")),
    key("wander_period", Quantity(K::TimeS, 0.05, 3_600.0), Default("2 s")),
    key("stroke_spread", Flag, Default("true")),
    key("fixed_delays", Flag, Default("false")),
    key("encoder_slip", Quantity(K::Share, 0.0, 0.9), Default("0 %")),
    key("auto_start", Flag, Default("true")),
    key("start", Tables(START), May),
    key("operator", Tables(OPERATOR), May),
    key("fault", Tables(FAULT), May),
];

/// `[[run.start]]`.
pub const START: &[Key] = &[key("at", Quantity(K::Coordinate, -FAR, FAR), Must), key("cap", Flag, Default("true"))];

/// `[[run.operator]]`.
pub const OPERATOR: &[Key] = &[
    key("do", Text, Must),
    key("at", Quantity(K::TimeS, 0.0, 1e6), May),
    key("state", Word(states), May),
    key("after", Quantity(K::TimeS, 0.0, 1e6), May),
    key("bottle", Whole(1, 10_000_000), May),
    key("step", Word(head_steps), May),
    key("place", Quantity(K::Coordinate, -FAR, FAR), May),
];

/// `[[run.fault]]`.
pub const FAULT: &[Key] = &[
    key("kind", Word(fault_kinds), Must),
    key("at", Quantity(K::TimeS, 0.0, 1e6), May),
    key("state", Word(states), May),
    key("after", Quantity(K::TimeS, 0.0, 1e6), May),
    key("bottle", Whole(1, 10_000_000), May),
    key("step", Word(head_steps), May),
    key("place", Quantity(K::Coordinate, -FAR, FAR), May),
    key("for", Quantity(K::TimeS, 0.001, 1e6), May),
    key("length", Quantity(K::Length, 5.0, 1_000.0), May),
    key("actuator", Word(actuators), May),
    key("factor", Number(0.01, 100.0), May),
    key("contact", Word(contacts), May),
    key("reads", Flag, May),
    key("counts", Whole(-1_000_000_000, 1_000_000_000), May),
];

/// `[expect]`.
pub const EXPECT: &[Key] = &[
    key("good", Count, May),
    key("rejected", Count, May),
    key("removed", Count, May),
    key("lost", Count, May),
    key("found", Count, May),
    key("state", Word(states), May),
    key("faults", Words(fault_names), May),
    key("states", Words(states), May),
    key("outcomes", Table(OUTCOMES), May),
    key("off_centre_max", Quantity(K::Length, 0.0, 500.0), May),
    key("rate_min", Number(0.0, 10_000.0), May),
];

/// `[expect.outcomes]`: one key for each outcome of the judge.
pub const OUTCOMES: &[Key] = &[
    key(Outcome::Tight.word(), Count, May),
    key(Outcome::Loose.word(), Count, May),
    key(Outcome::Crossed.word(), Count, May),
    key(Outcome::Uncapped.word(), Count, May),
    key(Outcome::OffCentre.word(), Count, May),
    key(Outcome::Missed.word(), Count, May),
    key(Outcome::Tipped.word(), Count, May),
    key(Outcome::StruckByGate.word(), Count, May),
    key(Outcome::StruckByBottle.word(), Count, May),
    key(Outcome::SpunInGrip.word(), Count, May),
    key(Outcome::Taken.word(), Count, May),
    key(Outcome::Unfinished.word(), Count, May),
    key("any", Flag, Default("false")),
];

/// Every table of a job file with its keys; the name as in a header, `<actuator>` standing for each of the six.
pub const TABLES: [(&str, &[Key]); 10] = [
    ("", JOB),
    ("machine", MACHINE),
    ("machine.<actuator>", ACTUATOR),
    ("product", PRODUCT),
    ("run", RUN),
    ("run.start", START),
    ("run.operator", OPERATOR),
    ("run.fault", FAULT),
    ("expect", EXPECT),
    ("expect.outcomes", OUTCOMES),
];

fn belt_owners() -> Vec<&'static str> {
    vec!["ours", "line"]
}

fn valves() -> Vec<&'static str> {
    vec!["spring return", "detented", "centre closed"]
}

fn tightenings() -> Vec<&'static str> {
    vec!["turns", "torque", "seat only"]
}

fn shapes() -> Vec<&'static str> {
    vec!["round", "oval", "flat-sided"]
}

fn finishes() -> Vec<&'static str> {
    crate::plan::finish::FINISHES.iter().map(|f| f.name).collect()
}

fn cap_policies() -> Vec<&'static str> {
    vec!["unsensed", "at head", "upstream"]
}

fn states() -> Vec<&'static str> {
    UnitState::ALL.iter().map(|s| s.name()).collect()
}

fn head_steps() -> Vec<&'static str> {
    HeadStep::ALL.iter().map(|s| s.name()).collect()
}

fn actuators() -> Vec<&'static str> {
    Actuator::ALL.iter().map(|a| a.name()).collect()
}

fn contacts() -> Vec<&'static str> {
    Contact::ALL.iter().map(|c| c.name()).collect()
}

fn fault_names() -> Vec<&'static str> {
    FAULTS.iter().map(|f| f.name).collect()
}

/// The contacts that `contacts` may name: those that neither an eye's coordinate nor an actuator's table brings.
pub(super) const WIRED: [Contact; 10] = [
    Contact::Guard,
    Contact::Air,
    Contact::Drive,
    Contact::Cap,
    Contact::Torque,
    Contact::UpstreamReady,
    Contact::DownstreamReady,
    Contact::RejectEye,
    Contact::RejectFull,
    Contact::LineBelt,
];

fn wired_contacts() -> Vec<&'static str> {
    WIRED.iter().map(|c| c.name()).collect()
}

/// The kinds of `[[run.fault]]`.
fn fault_kinds() -> Vec<&'static str> {
    super::happen::KINDS.iter().map(|(name, _)| *name).collect()
}
