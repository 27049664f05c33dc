//! Tables into the structures of [`super::spec`]. A figure that is absent or wrong becomes NaN and has been told: no job with an
//! error is ever handed out.

use super::happen;
use super::keys::WIRED;
use super::measured::{BodySpec, DriveSpec, SetSpec, ShapeSpec};
use super::spec::{
    Action, ActuatorSpec, ExpectSpec, InitialBottle, MachineSpec, ProductSpec, RunSpec, ScriptStep, SupplySpec,
    TightenSpec, When,
};
use super::table::{Reader, Table};
use crate::plan::finish;
use crate::quantity::{self, Kind};
use crate::verdict::Outcome;
use timing_core::{Actuator, CapPolicy, Command, Contact, Contacts, Request, UnitState, ValveKind};

/// Application torque by the half-diameter rule: so many in·lbf as the closure's radius has millimetres. An industry habit,
/// common practice without a standard behind it.
fn habit_torque_nm(cap_diameter_mm: f64) -> f64 {
    quantity::parse(Kind::Torque, &format!("{} inlbf", cap_diameter_mm / 2.0)).unwrap_or(f64::NAN)
}

/// `[machine]`.
pub(super) fn machine(r: &mut Reader, t: &Table<'_>) -> MachineSpec {
    let actuators = Actuator::ALL.map(|a| {
        let key = a.name().replace(' ', "_");
        // Without a diverter nothing moves, and these figures are never used; they keep the machine's table complete.
        let absent = ActuatorSpec {
            valve: ValveKind::SpringReturn,
            latency_ms: 20.0,
            to_work_ms: 100.0,
            to_over_ms: 0.0,
            to_home_ms: 100.0,
            spread_ms: 0.0,
            margin_ms: 150.0,
            home: false,
            work: false,
            over: false,
            drive: DriveSpec::default(),
        };
        t.table(r, &key).map_or(absent, |sub| actuator(r, &sub))
    });
    let mut fitted = Contacts::NONE;
    for c in [Contact::PocketEye, Contact::ReleaseEye, Contact::Chain, Contact::Guard] {
        fitted = fitted.with(c, true);
    }
    for name in t.words(r, "contacts").unwrap_or_default() {
        if let Some(c) = WIRED.into_iter().find(|c| c.name() == name) {
            fitted = fitted.with(c, true);
        }
    }
    for (a, spec) in Actuator::ALL.into_iter().zip(&actuators) {
        fitted = fitted.with(Contact::home_of(a), spec.home).with(Contact::work_of(a), spec.work);
        if let Some(c) = Contact::over_of(a) {
            fitted = fitted.with(c, spec.over);
        }
    }
    let discharge_eye_mm = t.number(r, "discharge_eye");
    let supply_eye_mm = t.number(r, "supply_eye");
    fitted = fitted.with(Contact::DischargeEye, t.has("discharge_eye")).with(Contact::SupplyEye, t.has("supply_eye"));
    MachineSpec {
        encoder_counts_per_rev: t.figure(r, "encoder_counts_per_rev"),
        wheel_mm: t.figure(r, "encoder_wheel"),
        line_owns_belt: t.word(r, "belt_owner") == Some("line"),
        belt_speed_max_mm_s: t.figure(r, "belt_speed_max"),
        belt_accel_mm_s2: t.figure(r, "belt_acceleration"),
        suspend_stops_belt: t.flag(r, "suspend_stops_belt"),
        entry_blade_mm: t.figure(r, "entry_blade"),
        release_blade_mm: t.figure(r, "release_blade"),
        blade_mm: t.figure(r, "blade_thickness"),
        blade_tip_mm: t.figure(r, "blade_tip"),
        pocket_eye_mm: t.figure(r, "pocket_eye"),
        release_eye_mm: t.figure(r, "release_eye"),
        discharge_eye_mm,
        supply_eye_mm,
        cap_eye_mm: t.number(r, "cap_eye"),
        reject_mm: t.number(r, "reject_at"),
        reject_length_mm: t.number(r, "reject_length").unwrap_or(0.0),
        jaw_half_mouth_mm: t.figure(r, "jaw_half_mouth"),
        jaw_half_angle_deg: t.figure(r, "jaw_half_angle"),
        jaw_mu: t.figure(r, "jaw_friction"),
        actuators,
        contacts: fitted,
        eye_on_ms: t.figure(r, "eye_on"),
        eye_off_ms: t.figure(r, "eye_off"),
        eye_beam_mm: t.figure(r, "eye_beam"),
        eye_filter_ms: t.figure(r, "eye_filter"),
        contact_filter_ms: t.figure(r, "contact_filter"),
        contact_bounce_ms: t.figure(r, "contact_bounce"),
        safety_filter_ms: t.figure(r, "safety_filter"),
        sample_gap_ms: t.figure(r, "sample_gap"),
        belt_still_ms: t.figure(r, "belt_still"),
        warn_ms: t.figure(r, "warn"),
        clear_ms: t.figure(r, "clear"),
        starve_ms: t.figure(r, "starve"),
        patience_ms: t.figure(r, "patience"),
        roller_diameter_mm: t.figure(r, "roller_diameter"),
        roller_ramp_ms: t.figure(r, "roller_ramp"),
        idle_spin: t.flag(r, "idle_spin"),
        air_bar: t.figure(r, "air_pressure"),
        set: set(r, t),
    }
}

fn set(r: &mut Reader, t: &Table<'_>) -> SetSpec {
    SetSpec {
        rail_mm: t.number(r, "rail_width"),
        rail_start_mm: t.number(r, "rail_width_start"),
        blade_height_mm: t.number(r, "blade_height"),
        eye_height_mm: t.number(r, "eye_height"),
        grip_height_mm: t.number(r, "grip_height"),
        support_mm: t.number(r, "support_face"),
        plunger_height_mm: t.number(r, "plunger_height"),
        roller_height_mm: t.number(r, "roller_height"),
        roller_width_mm: t.number(r, "roller_width"),
        roller_gap_mm: t.number(r, "roller_gap"),
        roller_gap_open_mm: t.number(r, "roller_gap_open"),
        roller_mu: t.number(r, "roller_friction"),
        belt_coast_mm_s2: t.number(r, "belt_coast"),
        queue_bottles: t.whole(r, "queue_bottles").map(|n| n as f64),
        air_supply_l_min: t.number(r, "air_supply"),
    }
}

fn drive(r: &mut Reader, t: &Table<'_>) -> DriveSpec {
    DriveSpec {
        bore_mm: t.number(r, "bore"),
        rod_mm: t.figure(r, "rod"),
        pulls: t.flag(r, "pulls"),
        stroke_mm: t.number(r, "stroke_length"),
        bar: t.number(r, "pressure"),
        lever: t.number(r, "lever"),
        tube_mm: t.number(r, "tube_length"),
        tube_bore_mm: t.number(r, "tube_bore"),
        conductance: t.number(r, "sonic_conductance"),
        critical_ratio: t.number(r, "critical_ratio"),
    }
}

fn body(r: &mut Reader, t: &Table<'_>) -> BodySpec {
    BodySpec {
        shape: match t.word(r, "shape") {
            Some("oval") => ShapeSpec::Oval,
            Some("flat-sided") => ShapeSpec::Flat,
            _ => ShapeSpec::Round,
        },
        width_mm: t.number(r, "width"),
        corner_mm: t.figure(r, "corner_radius"),
        wall_from_mm: t.number(r, "wall_from"),
        wall_to_mm: t.number(r, "wall_to"),
        closed_mm: t.number(r, "closed_height"),
        lip_mm: t.number(r, "lip_height"),
        skirt_mm: t.number(r, "skirt_height"),
        finish: t.word(r, "finish"),
        pitch_mm: t.number(r, "thread_pitch"),
        seat_n: t.number(r, "seat_force"),
        top_load_n: t.number(r, "top_load"),
        side_load_n: t.number(r, "side_load"),
    }
}

fn actuator(r: &mut Reader, t: &Table<'_>) -> ActuatorSpec {
    let to_work_ms = t.figure(r, "to_work");
    let to_home = t.number(r, "to_home");
    let valve = match t.word(r, "valve") {
        Some("detented") => ValveKind::Detented,
        Some("centre closed") => ValveKind::CentreClosed,
        _ => ValveKind::SpringReturn,
    };
    ActuatorSpec {
        valve,
        latency_ms: t.figure(r, "latency"),
        to_work_ms,
        to_over_ms: t.figure(r, "over"),
        to_home_ms: if t.has("to_home") { to_home.unwrap_or(f64::NAN) } else { to_work_ms },
        spread_ms: t.figure(r, "spread"),
        margin_ms: t.figure(r, "margin"),
        home: t.flag(r, "home_contact"),
        work: t.flag(r, "work_contact"),
        over: t.flag(r, "over_contact"),
        drive: drive(r, t),
    }
}

/// `[product]`.
pub(super) fn product(r: &mut Reader, t: &Table<'_>) -> ProductSpec {
    let tighten = match t.word(r, "tighten") {
        Some("torque") => TightenSpec::Torque,
        Some("seat only") => TightenSpec::SeatOnly,
        _ => TightenSpec::Turns,
    };
    if t.has("tighten") && tighten != TightenSpec::SeatOnly {
        // A finish that is named brings its turns.
        for name in ["turns", "roller_speed"] {
            let brought = name == "turns" && t.has("finish");
            if !(brought || t.has(name)) {
                t.missing(r, name);
            }
        }
    }
    let height_mm = t.figure(r, "height");
    let body = body(r, t);
    let cap_diameter_mm = t.figure(r, "cap_diameter");
    let cog = t.number(r, "centre_of_gravity");
    let torque = t.number(r, "torque");
    let of_finish = body.finish.and_then(finish::named).map(|f| f.turns).filter(|_| tighten != TightenSpec::SeatOnly);
    let turns = t.number(r, "turns").or(of_finish);
    ProductSpec {
        diameter_mm: t.figure(r, "diameter"),
        diameter_tol_mm: t.figure(r, "diameter_tolerance"),
        height_mm,
        cog_mm: if t.has("centre_of_gravity") { cog.unwrap_or(f64::NAN) } else { height_mm / 2.0 },
        mass_kg: t.figure(r, "mass"),
        mu_min: t.figure(r, "friction_min"),
        mu_max: t.figure(r, "friction_max"),
        transparent: t.flag(r, "transparent"),
        cap_diameter_mm,
        turns: turns.unwrap_or(0.0),
        tighten,
        torque_nm: torque.unwrap_or_else(|| habit_torque_nm(cap_diameter_mm)),
        roller_rpm: t.number(r, "roller_speed").unwrap_or(0.0),
        speed_mm_s: t.figure(r, "belt_speed"),
        seat_dwell_ms: t.figure(r, "seat_dwell"),
        engage_dwell_ms: t.figure(r, "engage_dwell"),
        disengage_dwell_ms: t.figure(r, "disengage_dwell"),
        settle_mm: t.figure(r, "settle"),
        aim_early_mm: t.figure(r, "aim_early"),
        cap: match t.word(r, "cap_policy") {
            Some("at head") => CapPolicy::AtHead,
            Some("upstream") => CapPolicy::Upstream,
            _ => CapPolicy::Unsensed,
        },
        misses_to_hold: t.whole(r, "misses_to_hold").and_then(|n| u8::try_from(n).ok()).unwrap_or(1),
        early_release: t.flag(r, "early_release"),
        speed_window_mm: t.figure(r, "speed_window"),
        body,
    }
}

/// `[run]`.
pub(super) fn run(r: &mut Reader, t: &Table<'_>) -> RunSpec {
    let small = |n: Option<i64>| n.and_then(|n| u32::try_from(n).ok()).unwrap_or(0);
    let batch = small(t.whole(r, "batch"));
    let initial =
        t.tables(r, "start").iter().map(|s| InitialBottle { x_mm: s.figure(r, "at"), cap: s.flag(r, "cap") }).collect();
    let mut script = Vec::new();
    if t.flag(r, "auto_start") {
        script = auto_start(batch);
    }
    script.extend(t.tables(r, "operator").iter().filter_map(|s| happen::step(r, s)));
    let faults = t.tables(r, "fault").iter().filter_map(|s| happen::fault(r, s)).collect();
    RunSpec {
        seed: t.whole(r, "seed").and_then(|n| u64::try_from(n).ok()).unwrap_or(0),
        duration_s: t.figure(r, "duration"),
        // Where it is absent or wrong, so many that no other figure contradicts it.
        bottles: t.whole(r, "bottles").and_then(|n| u32::try_from(n).ok()).unwrap_or(u32::MAX),
        batch,
        supply: supply(r, t),
        wander: t.figure(r, "belt_wander"),
        wander_period_s: t.figure(r, "wander_period"),
        spread: t.flag(r, "stroke_spread"),
        fixed_delays: t.flag(r, "fixed_delays"),
        encoder_slip: t.figure(r, "encoder_slip"),
        initial,
        script,
        faults,
    }
}

/// What an operator does at the beginning of a day: sets the batch, resets, starts. One request at a time.
fn auto_start(batch: u32) -> Vec<ScriptStep> {
    let step = |when, request| ScriptStep { when, action: Action::Request(request) };
    let mut script = Vec::new();
    if batch > 0 {
        script.push(step(When::At(0.2), Request::Batch(batch)));
    }
    script.push(step(When::At(0.4), Request::Command(Command::Reset)));
    script.push(step(When::State(UnitState::Idle, 0.2), Request::Command(Command::Start)));
    script
}

/// "touching", "every 120 mm", "random 150 mm".
fn supply(r: &mut Reader, t: &Table<'_>) -> SupplySpec {
    use super::error::Mistake;
    let Some(text) = t.text(r, "supply") else { return SupplySpec::Touching };
    let trimmed = text.trim();
    let (word, pitch) = trimmed.split_once(char::is_whitespace).unwrap_or((trimmed, ""));
    let make: fn(f64) -> SupplySpec = match (word, pitch) {
        ("touching", "") => return SupplySpec::Touching,
        ("every", _) => SupplySpec::Pitch,
        ("random", _) => SupplySpec::Random,
        _ => {
            let words = ["touching", "every 120 mm", "random 150 mm"];
            t.unknown_word(r, "supply", t.place("supply"), &text, &words);
            return SupplySpec::Touching;
        }
    };
    match quantity::parse(Kind::Length, pitch) {
        Ok(mm) if mm > 0.0 && mm <= 100_000.0 => make(mm),
        Ok(mm) => {
            let what = format!("a pitch of {mm} mm is outside 0 … 100000 mm");
            r.tell(
                Mistake::Range,
                &t.place("supply"),
                &t.full("supply"),
                what,
                "give a pitch of at least one bottle".to_owned(),
            );
            SupplySpec::Touching
        }
        Err(e) => {
            r.tell(Mistake::Unit, &t.place("supply"), &t.full("supply"), e.what(), e.mend(Kind::Length));
            SupplySpec::Touching
        }
    }
}

/// `[expect]`.
pub(super) fn expect(r: &mut Reader, t: &Table<'_>) -> ExpectSpec {
    let state_of = |name: &str| UnitState::ALL.into_iter().find(|s| s.name() == name);
    let outcomes = t.table(r, "outcomes").map(|sub| {
        let any = sub.flag(r, "any");
        Outcome::ALL
            .iter()
            .filter_map(|o| {
                let given = sub.count(r, o.word());
                // Unless anything goes, an outcome that is not named must not come.
                let range = given.or((!any).then_some(super::spec::Range { min: 0, max: 0 }));
                range.map(|range| (o.word().to_owned(), range))
            })
            .collect()
    });
    ExpectSpec {
        good: t.count(r, "good"),
        rejected: t.count(r, "rejected"),
        removed: t.count(r, "removed"),
        lost: t.count(r, "lost"),
        found: t.count(r, "found"),
        state: t.word(r, "state").and_then(state_of),
        faults: t.words(r, "faults").map(|list| list.into_iter().map(str::to_owned).collect()),
        states: t.words(r, "states").map(|list| list.into_iter().filter_map(state_of).collect()),
        outcomes,
        off_centre_max_mm: t.number(r, "off_centre_max"),
        rate_min: t.number(r, "rate_min"),
    }
}
