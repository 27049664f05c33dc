//! Set-up positions, what each allows, what the closure needs, and how fast each thing lets the belt run.

use crate::plan_example::{example, near, planned};
use crate::random_job::{random_job, shipped};
use host_sim::job::Job;
use host_sim::plan::worked::Worked;
use host_sim::plan::{carry, catch, closure, finish, setup};
use timing_core::Actuator;

/// Everything that a person sets is on the sheet, with a place, a tolerance around it, a reason and a way to check it by hand.
#[test]
fn every_position_says_where_how_far_why_and_how_to_check() {
    let p = planned(&shipped("steady-day"));
    for name in [
        "guide rails at the start and the gates, clear width",
        "guide rails at the head, clear width",
        "release blade, holding face",
        "entry blade, upstream face",
        "blades above the belt",
        "pocket eye",
        "release eye",
        "from pocket eye to release eye",
        "beams of the eyes above the belt",
        "discharge eye, downstream of the head",
        "support, face from the centre line",
        "jaw and support above the belt",
        "travel of the jaw, home to contact",
        "plunger, face above the belt, raised",
        "plunger, face above the belt, pressing",
        "rollers, middle of the rims above the belt",
        "gap between opposite rollers, closed on nothing",
        "gap between opposite rollers, home",
    ] {
        assert!(p.setup.iter().any(|x| x.name == name), "{name} is missing");
    }
    for x in &p.setup {
        assert!(x.low <= x.value && x.value <= x.high, "{x:?}");
        assert!(!x.is_off(), "{x:?}");
        assert!(x.why.len() > 20 && x.check_by_hand.len() > 20, "{x:?}");
    }
    let text = p.text();
    assert!(text.contains("locked-out and vented machine") && text.contains("check: two bottles in touch"));
}

/// Whatever the job, a tolerance is not upside down where the checks hold, and its target lies within.
#[test]
fn tolerances_hold_over_random_jobs() {
    let mut seen = 0;
    for seed in 0..300 {
        let job = random_job(seed);
        let p = planned(&job);
        if !p.works() {
            continue;
        }
        seen += 1;
        for x in &p.setup {
            assert!(x.low <= x.value && x.value <= x.high, "seed {seed}: {x:?}");
        }
    }
    assert!(seen > 30, "only {seen} of 300 random jobs work");
}

/// Each measured place, moved out of its tolerance, fails a check that names it, says by how much, and where to put it; at the place that is told,
/// the plan works again.
#[test]
fn a_place_out_of_tolerance_fails_and_the_mend_mends() {
    type Slot = fn(&mut Job) -> &mut Option<f64>;
    let slots: [(&str, Slot); 9] = [
        ("guide rails at the start", |j| &mut j.machine.set.rail_start_mm),
        ("guide rails at the head", |j| &mut j.machine.set.rail_mm),
        ("blades above the belt", |j| &mut j.machine.set.blade_height_mm),
        ("beams of the eyes", |j| &mut j.machine.set.eye_height_mm),
        ("support, face", |j| &mut j.machine.set.support_mm),
        ("jaw and support above", |j| &mut j.machine.set.grip_height_mm),
        ("plunger, face above the belt, raised", |j| &mut j.machine.set.plunger_height_mm),
        ("rollers, middle of the rims", |j| &mut j.machine.set.roller_height_mm),
        ("gap between opposite rollers, home", |j| &mut j.machine.set.roller_gap_open_mm),
    ];
    for (name, slot) in slots {
        let good = planned(&shipped("steady-day"));
        let Some(place) = good.setup.iter().find(|x| x.name.starts_with(name)) else { panic!("no {name}") };
        for out in [place.low - 0.5, place.high + 0.5] {
            let mut job = shipped("steady-day");
            *slot(&mut job) = Some(out);
            let p = planned(&job);
            let failed = p.checks.iter().find(|c| !c.ok && c.name.starts_with("position: ") && c.name.contains(name));
            let Some(c) = failed else { panic!("{name} at {out} passes") };
            near(c.spare, -0.5, 1e-9);
            assert!(c.mend.contains("between"), "{c:?}");
            *slot(&mut job) = Some(place.value);
            let p = planned(&job);
            assert!(p.works(), "{name}: {:#?}", p.checks.iter().filter(|c| !c.ok).collect::<Vec<_>>());
        }
    }
}

/// Axial advance = pitch × turns; T, pitch and turns from the tables of the International Society of Beverage Technologists as transcribed in the open
/// library BOSL2; 25.4 mm over threads per inch.
#[test]
fn finishes() {
    for (name, thread, pitch, turns, advance) in [
        ("24-410", 23.67, 3.175, 1.5, 4.762_5),
        ("28-400", 27.38, 4.233_333, 1.0, 4.233_333),
        ("28-410", 27.38, 4.233_333, 1.5, 6.35),
        ("28-415", 27.38, 4.233_333, 2.0, 8.466_667),
        ("38-400", 37.19, 4.233_333, 1.0, 4.233_333),
        ("PCO-1810", 27.43, 3.18, 2.25, 7.155),
        ("PCO-1881", 27.4, 2.70, 1.805_56, 4.875),
    ] {
        let Some(f) = finish::named(name) else { panic!("no {name}") };
        near(f.thread_mm, thread, 0.0);
        near(f.pitch_mm, pitch, 1e-6);
        near(f.turns, turns, 5e-6);
        near(f.advance_mm(), advance, 1e-6);
    }
    assert_eq!(finish::FINISHES.len(), 7);
    assert!(finish::named("28-401").is_none());
}

/// The rims must lie on the skirt before and after: skirt 18 mm under a lip at 181, 28-410 descends 6.35, rims 6 and half a millimetre to each edge: 172.85 …
/// 177.5 (worked here).
#[test]
fn rollers_stay_on_the_skirt_while_the_closure_descends() {
    let mut job = shipped("steady-day");
    let (low, high) = closure::rim_window_mm(&job).unwrap_or_default();
    near(low, 172.85, 1e-9);
    near(high, 177.5, 1e-9);
    near(closure::plunger_clear_mm(&job).unwrap_or_default(), 183.0 + 6.35 + 5.0, 1e-9);
    // A skirt of 13 mm cannot be held by 6 mm of rim over 6.35 mm of descent: 13 − 6.35 − 7 = −0.35.
    job.product.body.skirt_mm = Some(13.0);
    let p = planned(&job);
    let c = p.checks.iter().find(|c| c.name.starts_with("skirt left"));
    assert!(c.is_some_and(|c| !c.ok && (c.spare + 0.35).abs() < 1e-9 && c.mend.contains("0.4 mm narrower")), "{c:?}");
}

/// A body that is stopped at a height: at the foot it is the stopped foot; higher up it takes more speed; from the centre of gravity up nothing tips it. At
/// the speed that is told it just falls: the rigid body, swung about the edge in small steps.
#[test]
fn tipping_over_the_jaw() {
    near(carry::catch_tip_mm_s(65.0, 180.0, 90.0, 0.0), carry::foot_stop_mm_s(65.0, 180.0, 90.0), 1e-9);
    assert_eq!(carry::catch_tip_mm_s(65.0, 180.0, 90.0, 90.0), f64::INFINITY);
    for grip in [0.0, 20.0, 40.0, 60.0] {
        let v = carry::catch_tip_mm_s(65.0, 180.0, 90.0, grip);
        for (share, falls) in [(0.99, false), (1.01, true)] {
            let (r, up) = (32.5, 90.0 - grip);
            let inertia = (3.0 * r * r + 180.0 * 180.0) / 12.0 + r * r + up * up;
            // Angle of the centre of gravity about the edge, from the horizontal upstream side; over at a right angle.
            let mut angle = f64::atan2(up, r);
            let mut spin = share * v * up / inertia;
            let reach = f64::hypot(r, up);
            let step = 1e-5;
            while spin > 0.0 && angle < core::f64::consts::FRAC_PI_2 {
                let pull = |a: f64| -carry::G_MM_S2 * reach * a.cos() / inertia;
                let half = angle + spin * step / 2.0;
                spin += pull(half) * step;
                angle += spin * step;
            }
            assert_eq!(angle >= core::f64::consts::FRAC_PI_2, falls, "grip at {grip}, {share} of {v}");
        }
    }
}

/// v²/(2·min(a, μg)): 300 mm/s at 600 mm/s² coast 75 mm (textbook).
#[test]
fn coasting() {
    near(carry::coast_mm(300.0, 600.0, 0.25), 75.0, 1e-9);
    near(carry::coast_mm(300.0, 9_000.0, 0.15), 300.0 * 300.0 / (2.0 * 0.15 * carry::G_MM_S2), 1e-9);
    // Early release on a belt that coasts further than its ramp brings a committed bottle to the busy head: told.
    let mut job = shipped("steady-day");
    job.product.early_release = true;
    job.machine.set.belt_coast_mm_s2 = Some(100.0);
    let p = planned(&job);
    let c = p.checks.iter().find(|c| c.name.starts_with("belt cut off"));
    assert!(c.is_some_and(|c| !c.ok && c.value == 50.0), "{c:?}");
}

/// The lead's two errors on a wandering belt, and what would be left if it knew the acceleration: bounds, against the belt's own motion at every phase.
#[test]
fn leads_on_a_wandering_belt() {
    for (v, share, period, t_ms, window) in
        [(100.0, 0.2, 2.0, 120.0, 3.0), (300.0, 0.2, 2.0, 120.0, 3.0), (200.0, 0.1, 0.8, 60.0, 5.0)]
    {
        let omega = 2.0 * core::f64::consts::PI / period;
        let (t, tw) = (t_ms / 1_000.0, window / v);
        let (mut first, mut second) = (0.0f64, 0.0f64);
        for n in 0..2_000 {
            let t0 = f64::from(n) / 2_000.0 * period;
            let x = |at: f64| v * at - v * share / omega * (omega * (t0 + at)).cos();
            // The oldest sample: one window old, the mean of the window before.
            let recent = (x(-tw) - x(-2.0 * tw)) / tw;
            let before = (x(-2.0 * tw) - x(-3.0 * tw)) / tw;
            let moved = x(t) - x(0.0);
            first = first.max((moved - recent * t).abs());
            let accel = (recent - before) / tw;
            second = second.max((moved - recent * t - accel * (t * t / 2.0 + 1.5 * tw * t)).abs());
        }
        let a = catch::wander_accel_mm_s2(v, share, period);
        let told = catch::speed_change_mm(a, t_ms) + catch::sample_age_mm(a, t_ms, window, v);
        assert!(first <= told && first > 0.8 * told, "{first} of {told} told");
        let left = catch::second_order_mm(v, share, period, t_ms, window);
        assert!(second <= left && second > 0.4 * left, "{second} of {left} told");
        assert!(left < told / 2.0, "it would pay: {left} for {told}");
    }
    assert_eq!(catch::second_order_mm(100.0, 0.2, 0.0, 120.0, 3.0), 0.0);
}

/// A limit is an edge: just below the speed that it allows the check holds, just above it does not; a contribution fills the capture there.
#[test]
fn each_limit_is_an_edge() {
    let mut checked = 0;
    for job in [shipped("steady-day"), example(), shipped("wandering-belt")] {
        let p = planned(&job);
        for l in p.limits.iter().filter(|l| !l.beyond_drive && l.allows_mm_s > 0.0) {
            let holds = |v: f64| {
                let mut at = job.clone();
                at.product.speed_mm_s = v;
                planned(&at).checks.iter().find(|c| c.name == l.name).is_some_and(|c| c.ok)
            };
            assert!(holds(0.998 * l.allows_mm_s), "{l:?}");
            assert!(!holds(1.002 * l.allows_mm_s), "{l:?}");
            checked += 1;
        }
        for (name, _) in p.centring_parts() {
            let Some(l) = p.limits.iter().find(|l| l.name == format!("centring: {name}")) else { panic!("no {name}") };
            if l.allows_mm_s >= host_sim::plan::limits::FASTEST_MM_S {
                continue;
            }
            let w = Worked::at(&job, l.allows_mm_s);
            let part = w.centring.parts().into_iter().find(|x| x.0 == name).map_or(f64::NAN, |x| x.1);
            near(part, w.capture_mm, 0.02);
            checked += 1;
        }
    }
    assert!(checked >= 8, "only {checked} limits were looked at");
}

/// The drag of the belt under the pressed body, and the jaw that holds it: μ(mg + F) against N/tan α, worked here.
#[test]
fn the_belt_pulls_under_the_pressed_body() {
    let mut job = shipped("steady-day");
    let air = |d: f64| job.machine.air_bar * 0.1 * core::f64::consts::PI * d * d / 4.0;
    let due = 0.25 * (0.55 * 9.806_65 + air(32.0));
    let limit = air(32.0) / 60.0f64.to_radians().tan();
    let find = |job: &Job| planned(job).checks.into_iter().find(|c| c.name.starts_with("drag of the belt"));
    let c = find(&job);
    assert!(
        c.as_ref().is_some_and(|c| c.ok && (c.value - due).abs() < 1e-9 && (c.limit - limit).abs() < 1e-9),
        "{c:?}"
    );
    // A grip that is too weak is told the pressure that would do, and that pressure does.
    job.machine.actuators[Actuator::Grip.index()].drive.bore_mm = Some(16.0);
    job.product.tighten = host_sim::job::spec::TightenSpec::SeatOnly;
    let Some(c) = find(&job) else { panic!("no check") };
    assert!(!c.ok, "{c:?}");
    let n = c.value * 60.0f64.to_radians().tan();
    assert!(c.mend.starts_with(&format!("{n:.0} N at the grip")), "{c:?}");
}

/// The jaw's travel: its flanks meet r/sin α from the centre, its tips stand m/tan α nearer: 32.25/sin 60° − 40/tan 60° = 14.145; from 32.75 + 5.
#[test]
fn travel_of_the_jaw() {
    let job = shipped("steady-day");
    near(setup::jaw_travel_mm(&job, &Worked::at(&job, 100.0)), 37.75 - 14.145, 1e-3);
}
