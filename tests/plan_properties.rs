//! Properties of the plan: nearest in exact arithmetic, never accepted by the plan and refused by the core, early release proven.

use crate::cases::cases;
use crate::plan_example::{example, planned};
use host_sim::job::spec::{Job, TightenSpec};
use host_sim::plan::{self, carry, scale};
use num_rational::BigRational;
use proptest::prelude::*;
use timing_core::Contact;

fn exact(x: f64) -> BigRational {
    BigRational::from_float(x).unwrap_or_else(|| panic!("{x} is not finite"))
}

fn half_step_off(steps: i64, exact_steps: &BigRational) -> bool {
    let off = BigRational::from_integer(steps.into()) - exact_steps;
    off.clone() * BigRational::from_integer(2.into()) <= exact(1.0)
        && off * BigRational::from_integer(2.into()) >= exact(-1.0)
}

proptest! {
    #![proptest_config(cases(256))]

    /// Quantised figures lie within half a unit of their last place of the exact value, in rational arithmetic.
    #[test]
    fn quantising_is_to_the_nearest(mm in -32_000.0..32_000.0f64, ms in 0.0..4_000_000.0f64, c in 1.0..100_000.0f64, w in 2.0..5_000.0f64) {
        let steps = exact(65_536.0);
        if let Ok(q) = scale::millimetres("x", mm) {
            prop_assert!(half_step_off(q.to_bits().into(), &(exact(mm) * &steps)));
        } else { prop_assert!(false, "in range"); }
        if let Ok(q) = scale::speed("v", mm.abs()) {
            prop_assert!(half_step_off(q.to_bits().into(), &(exact(mm.abs()) * &steps)));
        } else { prop_assert!(false, "in range"); }
        if let Ok(q) = scale::duration("t", ms) {
            prop_assert!(half_step_off(q.as_micros() as i64, &(exact(ms) * exact(1_000.0))));
        } else { prop_assert!(false, "in range"); }
        if let Ok(q) = scale::counts_per_mm(c, w) {
            prop_assert!(half_step_off(q.to_bits().into(), &(exact(c) * &steps / exact(w))));
        } else { prop_assert!(false, "in range"); }
    }

    /// Next to a tie too, where a product in `f64` alone would round to the wrong side.
    #[test]
    fn quantising_holds_next_to_ties(us in 0u32..1_000_000_000, ulps in -3i64..=3) {
        let tie = (f64::from(us) + 0.5) / 1_000.0;
        let ms = f64::from_bits(tie.to_bits().saturating_add_signed(ulps));
        if let Ok(q) = scale::duration("t", ms) {
            prop_assert!(half_step_off(q.as_micros() as i64, &(exact(ms) * exact(1_000.0))));
        } else { prop_assert!(false, "in range"); }
    }

    /// Set-points of a whole plan carry the worked-out figures to half a step.
    #[test]
    fn a_plan_carries_its_figures(v in 20.0..200.0f64, d in 50.0..66.0f64) {
        let mut job = example();
        job.product.speed_mm_s = v;
        job.product.diameter_mm = d;
        let p = planned(&job);
        let (w, q) = (&p.worked, &p.product);
        for (bits, mm) in [
            (q.catch_travel.to_bits(), w.catch_mm),
            (q.gate_shut_travel.to_bits(), w.gate_shut_mm),
            (q.misfeed_travel.to_bits(), w.misfeed_mm),
            (q.leave_travel.to_bits(), w.leave_core_mm()),
            (q.stop_travel.to_bits(), w.stop_mm),
            (q.slip.to_bits(), w.slip_mm()),
            (q.slip_u.to_bits(), w.slip_u_mm()),
            (q.capture.to_bits(), w.capture_mm),
            (p.profile.head_clear.to_bits(), w.head_clear_mm),
        ] {
            prop_assert!(half_step_off(bits.into(), &(exact(mm) * exact(65_536.0))));
        }
    }

    /// Early release holds against small steps of motion: the quickest gate, the grippiest belt, the slowest head. When that head has
    /// let go, the newcomer's nose is short of the last-stop mark, and clear of a bottle that is then only picked up.
    #[test]
    fn early_release_holds_against_stepped_motion(v in 40.0..250.0f64, further in 60.0..250.0f64, mu in 0.12..0.3f64) {
        let mut job = example();
        job.product.early_release = true;
        job.product.speed_mm_s = v;
        job.product.mu_min = mu;
        job.product.mu_max = mu + 0.05;
        let m = &mut job.machine;
        for x in [&mut m.entry_blade_mm, &mut m.release_blade_mm, &mut m.pocket_eye_mm, &mut m.release_eye_mm] {
            *x -= further;
        }
        let p = planned(&job);
        if let Some(delay) = p.product.early {
            let w = &p.worked;
            let busy_ms = p.steps.iter().skip_while(|s| s.step != "Seat").take(6).map(|s| s.length_ms).sum::<f64>() + 25.0 + 10.0 / 3.0;
            let step_s = 1e-5;
            let moving = ((busy_ms - 20.0) / 1_000.0 - delay.as_micros() as f64 / 1e6).max(0.0);
            let ride = |mu: f64, t_s: f64| {
                let (mut x, mut speed) = (0.0, 0.0);
                for _ in 0..(t_s / step_s) as u32 {
                    speed = f64::min(v, speed + mu * carry::G_MM_S2 * step_s);
                    x += speed * step_s;
                }
                x
            };
            let nose = w.rest_mm + ride(mu + 0.05, moving);
            prop_assert!(nose <= w.last_stop_mm + 0.02, "{nose} past {}", w.last_stop_mm);
            // When its own catch is ordered, the one in front has left the jaw's mouth.
            let to_order_s = (w.d_mm / 2.0 - w.lead_mm - job.product.aim_early_mm - nose) / v;
            let tail = -w.d_max_mm / 2.0 + ride(mu, to_order_s);
            prop_assert!(tail >= job.machine.jaw_half_mouth_mm, "tail at {tail}");
            // The gap never closes while the one in front, on the slickest belt, comes up to speed.
            for n in 1..=20 {
                let t = f64::from(n) * 0.02;
                let tail = -w.d_max_mm / 2.0 + ride(mu, t);
                prop_assert!(tail > nose + v * t, "touch after {t} s");
            }
        }
    }

    /// Any job: a named reason, or set-points that the core accepts and finite figures throughout.
    #[test]
    fn any_job_is_planned_or_refused_by_name(
        job in any_job(),
    ) {
        match plan::plan(&job) {
            Ok(p) => {
                prop_assert!(p.machine().is_ok() && p.setpoints_of().is_ok());
                let figures = p.setpoints.iter().chain(&p.positions).all(|f| f.value.is_finite());
                prop_assert!(figures);
                prop_assert!(p.checks.iter().all(|c| c.value.is_finite() && c.limit.is_finite() && c.ok == (c.spare >= 0.0)));
                prop_assert!(p.steps.iter().all(|s| s.start_ms >= 0.0 && s.length_ms >= 0.0 && s.margin_ms >= 0.0));
                prop_assert!(p.cycle_ms.is_finite() && p.cycle_ms > 0.0 && p.belt_max_mm_s <= job.machine.belt_speed_max_mm_s);
                prop_assert!(!p.works() || p.belt_max_mm_s >= p.belt_mm_s() - 1e-2, "{} works, fastest {}", p.belt_mm_s(), p.belt_max_mm_s);
            }
            Err(e) => prop_assert!(e.to_string().len() > 20),
        }
    }
}

/// The example, with any number of its numbers replaced by anything: plausible, odd, or not a number.
fn any_job() -> impl Strategy<Value = Job> {
    let value = prop_oneof![
        6 => -400.0..400.0f64,
        3 => 0.0..2.0f64,
        1 => prop_oneof![Just(f64::NAN), Just(f64::INFINITY), Just(0.0), Just(-1e300), Just(1e300), Just(1e-300)],
    ];
    (prop::collection::vec((0usize..52, value), 0..6), 0u8..3, any::<bool>(), 20.0..500.0f64).prop_map(
        |(edits, tighten, early, v)| {
            let mut job = example();
            job.product.tighten =
                [TightenSpec::Turns, TightenSpec::Torque, TightenSpec::SeatOnly][usize::from(tighten)];
            job.machine.contacts = job.machine.contacts.with(Contact::Torque, true);
            job.product.early_release = early;
            job.product.speed_mm_s = v;
            for (at, x) in edits {
                if let Some(slot) = numbers(&mut job).into_iter().nth(at) {
                    *slot = x;
                }
            }
            job
        },
    )
}

fn numbers(job: &mut Job) -> Vec<&mut f64> {
    let (m, p) = (&mut job.machine, &mut job.product);
    let mut all = vec![
        &mut m.encoder_counts_per_rev,
        &mut m.wheel_mm,
        &mut m.belt_speed_max_mm_s,
        &mut m.belt_accel_mm_s2,
        &mut m.entry_blade_mm,
        &mut m.release_blade_mm,
        &mut m.blade_mm,
        &mut m.blade_tip_mm,
        &mut m.pocket_eye_mm,
        &mut m.release_eye_mm,
        &mut m.reject_length_mm,
        &mut m.jaw_half_mouth_mm,
        &mut m.jaw_half_angle_deg,
        &mut m.jaw_mu,
        &mut m.eye_on_ms,
        &mut m.eye_off_ms,
        &mut m.eye_beam_mm,
        &mut m.eye_filter_ms,
        &mut m.contact_filter_ms,
        &mut m.safety_filter_ms,
        &mut m.sample_gap_ms,
        &mut m.belt_still_ms,
        &mut m.warn_ms,
        &mut m.starve_ms,
        &mut m.patience_ms,
        &mut m.roller_diameter_mm,
        &mut m.roller_ramp_ms,
        &mut m.air_bar,
        &mut p.diameter_mm,
        &mut p.diameter_tol_mm,
        &mut p.height_mm,
        &mut p.cog_mm,
        &mut p.mass_kg,
        &mut p.mu_min,
        &mut p.mu_max,
        &mut p.cap_diameter_mm,
        &mut p.turns,
        &mut p.torque_nm,
        &mut p.roller_rpm,
        &mut p.speed_mm_s,
        &mut p.settle_mm,
        &mut p.aim_early_mm,
        &mut p.speed_window_mm,
        &mut job.run.wander,
        &mut job.run.wander_period_s,
    ];
    for a in &mut m.actuators {
        all.push(&mut a.to_work_ms);
    }
    all
}
