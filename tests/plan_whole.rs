//! Whole plans: what works, what does not and why, what is refused, what is said.

use crate::plan_example::{example, near, planned};
use host_sim::job::spec::TightenSpec;
use host_sim::plan::{self, PlanError, carry, worked};
use timing_core::{Actuator, Contact, HeadStep, Tighten};

#[test]
fn the_example_works_at_100_and_says_why_not_at_300() {
    let p = planned(&example());
    let failed: Vec<_> = p.checks.iter().filter(|c| !c.ok).collect();
    assert!(failed.is_empty(), "{failed:#?}");
    assert!(p.belt_max_mm_s > 100.0 && p.belt_max_mm_s < 300.0, "{}", p.belt_max_mm_s);

    let mut fast = example();
    fast.product.speed_mm_s = 300.0;
    let p = planned(&fast);
    let eye: Vec<_> = p.checks.iter().filter(|c| c.name.starts_with("release eye") && !c.ok).collect();
    assert!(!eye.is_empty());
    for c in eye {
        assert!(c.spare < 0.0 && c.mend.contains("no place for the release eye"), "{c:?}");
    }
    assert!(p.text().contains("FAIL") && p.text().contains("does not work"));
}

/// The fastest belt is fast enough and no faster: just below it every check of speed holds, just above one fails.
#[test]
fn the_fastest_belt_is_an_edge() {
    let mut job = example();
    let top = planned(&job).belt_max_mm_s;
    job.product.speed_mm_s = top - 0.01;
    assert!(planned(&job).works());
    job.product.speed_mm_s = top + 0.01;
    assert!(!planned(&job).works());
}

/// The chart adds up: head steps follow each other without gaps, and the cycle is the longer loop.
#[test]
fn the_step_chart_adds_up() {
    let p = planned(&example());
    let head = ["Incoming", "Catch", "Seat", "Engage", "Tighten", "Disengage", "Lift", "LetGo", "Leaving"];
    let mut end = 0.0;
    for name in head {
        let row = p.steps.iter().find(|r| r.step == name);
        let Some(row) = row else { panic!("no {name}") };
        near(row.start_ms, end, 1e-9);
        end = row.start_ms + row.length_ms;
        if name == HeadStep::LetGo.name() {
            near(p.cycle_ms, end, 1e-9);
        }
    }
    near(p.rate_per_min, 60_000.0 / p.cycle_ms, 1e-12);
    // Each stroke of the example: 20 + 100 + 10 ms filter, and two thirds of 2 ms bounce; the ride: free after 20 ms, then (32.5 + 94 − 1 +
    // mean slip) mm at 100 mm/s. Mean slip by Simpson's rule over the friction; exactly it is v²/(2g) · ln(μ₂/μ₁)/(μ₂ − μ₁).
    let slip = |mu: f64| carry::pick_up_slip_mm(100.0, mu);
    let mean = (slip(0.15) + 4.0 * slip(0.2) + slip(0.25)) / 6.0;
    near(mean, 1e4 / (2.0 * carry::G_MM_S2) * libm::log(0.25 / 0.15) / 0.1, 0.002);
    let strokes = 6.0 * (10.0 + 4.0 / 3.0) + 5.0 * 120.0 + 150.0 + 218.0;
    near(p.cycle_ms, 20.0 + (125.5 + mean) * 10.0 + strokes, 1e-9);
}

/// Overlap at let-go is worth what waiting for the last bottle to leave costs.
#[test]
fn ready_at_let_go_is_faster_than_waiting() {
    let p = planned(&example());
    let vacant = p.setpoints.iter().find(|f| f.name.starts_with("cycle if the head waited")).map_or(0.0, |f| f.value);
    near(vacant - p.cycle_ms, p.worked.travel_ms(p.worked.leave_mm), 1e-9);
}

#[test]
fn early_release_is_proven_or_refused_with_its_reason() {
    // At 180 mm/s a stop takes 9 + 16.2 mm; 40 mm of jaw and the uncertainty on top put the last-stop mark upstream of the eye.
    let mut job = example();
    job.product.early_release = true;
    job.product.speed_mm_s = 180.0;
    let near_gates = planned(&job);
    assert!(near_gates.product.early.is_none());
    let why = near_gates.checks.iter().find(|c| !c.ok && c.name.contains("last-stop mark past the release eye"));
    assert!(why.is_some_and(|c| (c.limit + 54.16).abs() < 1e-9 && c.value < -65.2), "{why:?}");
    job.product.speed_mm_s = 100.0;

    // Gates and eye 80 mm further upstream: there is room.
    for x in [
        &mut job.machine.entry_blade_mm,
        &mut job.machine.release_blade_mm,
        &mut job.machine.pocket_eye_mm,
        &mut job.machine.release_eye_mm,
    ] {
        *x -= 80.0;
    }
    let far = planned(&job);
    assert!(far.works(), "{:#?}", far.checks.iter().filter(|c| !c.ok).collect::<Vec<_>>());
    let Some(delay) = far.product.early else { panic!("not proven") };
    let mut without = job.clone();
    without.product.early_release = false;
    assert!(far.cycle_ms < planned(&without).cycle_ms - 100.0);
    // When the slowest head has let go, the fastest newcomer is short of the last-stop mark.
    let w = &far.worked;
    let busy_ms = 5.0 * 132.0 + 150.0 + 218.0 + 25.0;
    let rolled_ms = busy_ms - delay.as_micros() as f64 / 1_000.0 - 20.0;
    let nose = w.rest_mm + w.way_mm(rolled_ms) - w.slip_least_mm;
    assert!(nose <= w.last_stop_mm + 1e-3, "{nose} past {}", w.last_stop_mm);

    job.machine.line_owns_belt = true;
    assert!(planned(&job).product.early.is_none(), "the line's belt cannot be stopped for a newcomer");
}

#[test]
fn json_has_exactly_the_published_keys() -> Result<(), serde_json::Error> {
    let json = serde_json::to_value(planned(&example()))?;
    let keys = |v: &serde_json::Value| {
        let mut k: Vec<String> = v.as_object().map(|o| o.keys().cloned().collect()).unwrap_or_default();
        k.sort();
        k.join(" ")
    };
    assert_eq!(
        keys(&json),
        "belt_max_mm_s bottleneck cautions checks cycle_ms gains limits longest positions rate_max_per_min rate_per_min setpoints setup steps"
    );
    assert_eq!(keys(&json["checks"][0]), "limit name ok spare unit value");
    assert_eq!(keys(&json["setpoints"][0]), "name unit value");
    assert_eq!(keys(&json["positions"][0]), "name unit value");
    assert_eq!(keys(&json["gains"][0]), "change gain_per_min rate_per_min");
    assert_eq!(keys(&json["setup"][0]), "check_by_hand found high low name unit value why");
    assert_eq!(keys(&json["limits"][0]), "allows_mm_s beyond_drive name");
    assert_eq!(keys(&json["steps"][0]), "length_ms margin_ms start_ms step");
    Ok(())
}

#[test]
fn the_sheet_opens_with_the_cautions() {
    let text = planned(&example()).text();
    assert!(text.starts_with("CAUTIONS\n"));
    let head: String = text.lines().take(5).collect();
    for word in ["never a safety device", "lock out", "vent", "Local codes"] {
        assert!(head.contains(word), "{word} is missing");
    }
}

#[test]
fn contacts_follow_from_what_is_wired() {
    let mut job = example();
    job.machine.actuators[Actuator::Grip.index()].over = true;
    job.machine.actuators[Actuator::EntryGate.index()].over = true;
    job.machine.actuators[Actuator::Plunger.index()].work = false;
    job.machine.supply_eye_mm = None;
    let p = planned(&job);
    let fitted = p.profile.fitted;
    for c in [
        Contact::PocketEye,
        Contact::ReleaseEye,
        Contact::Chain,
        Contact::Guard,
        Contact::DischargeEye,
        Contact::GripOver,
    ] {
        assert!(fitted.has(c), "{}", c.name());
    }
    for c in [Contact::SupplyEye, Contact::PlungerWork, Contact::EntryGateOver, Contact::Torque] {
        assert!(!fitted.has(c), "{}", c.name());
    }
    assert!(p.cautions.iter().any(|c| c.contains("entry gate has no over-travel")));
    assert!(p.cautions.iter().any(|c| c.contains("No supply eye")));
}

/// What the core refuses comes back with the core's reason and the plan's own.
#[test]
fn a_refusal_names_both_sides() {
    let mut job = example();
    job.machine.belt_speed_max_mm_s = 3_000.0;
    job.product.speed_mm_s = 900.0; // 120 ms of lead are 108 mm, of 94.
    let Err(e) = plan::plan(&job) else { panic!("planned") };
    assert!(matches!(e, PlanError::Product { error: timing_core::ProductError::Lead, .. }), "{e}");
    let words = e.to_string();
    assert!(words.contains("lead at this speed does not fit") && words.contains("travel left for the lead"), "{words}");

    let mut job = example();
    job.product.mu_min = f64::NAN;
    let Err(e) = plan::plan(&job) else { panic!("planned") };
    assert!(e.to_string().contains("friction_min"), "{e}");
}

/// The release gate shuts behind the longest bottle: its trailing edge has passed the downstream face of the blade.
#[test]
fn the_gate_shuts_behind_the_bottle() {
    let p = planned(&example());
    let (m, w) = (example().machine, &p.worked);
    let tail = m.release_eye_mm + w.gate_shut_mm - w.d_max_mm;
    assert!(tail >= m.release_blade_mm + m.blade_mm + w.centring.position_mm());
}

/// The pocket settles for as long as its bottle still rolls: from the eye at −110 to rest at −94, the spread of slips 3.40 − 2.04, and 2 mm.
#[test]
fn a_settle_that_is_too_short_is_lengthened_and_told() {
    let mut job = example();
    job.product.settle_mm = 10.0;
    let p = planned(&job);
    near(p.worked.settle_mm, 16.0 + 3.399 - 2.039 + 2.0, 2e-3);
    assert!(p.cautions.iter().any(|c| c.contains("settle of 10.0 mm") && c.contains("19.4 mm is used")));
    job.product.settle_mm = 40.0;
    let p = planned(&job);
    near(p.worked.settle_mm, 40.0, 0.0);
    assert!(!p.cautions.iter().any(|c| c.contains("settle")));
}

/// Without spin neither turns nor roller speed are asked for; a torque that is absent takes the half-diameter rule.
#[test]
fn seat_only_needs_no_turns() {
    let mut job = example();
    job.product.tighten = TightenSpec::SeatOnly;
    job.product.turns = 0.0;
    job.product.roller_rpm = 0.0;
    let p = planned(&job);
    assert!(p.works() && p.product.spin_rpm == 0);
    // The rollers stay closed for the engage dwell, once: 218 ms of spin are gone from the cycle and nothing has come.
    let busy = |p: &plan::Plan| p.setpoints.iter().find(|f| f.name.starts_with("head busy")).map_or(0.0, |f| f.value);
    near(busy(&planned(&example())) - busy(&p), 218.0, 1e-9);
    job.product.tighten = TightenSpec::Turns;
    assert!(plan::plan(&job).is_err());
}

/// The window for the torque contact is at least one turn wide, as a thread starts anywhere within one: 1.25 … 2.75 turns at 535.7 rpm
/// are 140 … 308 ms, and half the ramp of 100 ms (roller kinematics, worked here).
#[test]
fn torque_window() {
    let mut job = example();
    job.product.tighten = TightenSpec::Torque;
    let Err(e) = plan::plan(&job) else { panic!("planned without a torque contact") };
    assert!(e.to_string().contains("needs the torque contact"), "{e}");
    job.machine.contacts = job.machine.contacts.with(Contact::Torque, true);
    let ms = timing_core::Duration::from_millis;
    assert_eq!(planned(&job).product.tighten, Tighten::Torque { earliest: ms(190), latest: ms(358) });
}

/// Assumptions that the sheet states are the ones that are used.
#[test]
fn stated_assumptions_are_the_used_ones() {
    let p = planned(&example());
    let stated = p.cautions.iter().any(|c| c.contains(&format!("within {:.0} ms", worked::BELT_REACTION_MS)));
    assert!(stated);
    // 400 mm/s at 1 m/s² and that reaction.
    assert_eq!(p.profile.belt_ramp.as_micros(), (400.0 + worked::BELT_REACTION_MS) as u64 * 1_000);
}
