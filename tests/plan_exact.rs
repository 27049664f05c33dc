//! Set-points in the core's fixed point against exact rational arithmetic on the measurements themselves, over the whole validated range.
//!
//! Each figure is worked out twice: in `f64` by the plan, and in fractions of whole numbers (crate `num-rational`) here, from the same inputs. The plan's
//! step must be the nearest to the exact figure. Where `f64` and fraction fall on two sides of a tie, the plan's may be the other one; the bound allows a
//! millionth of a step for that, some hundred times what a few roundings of `f64` can do.

use crate::cases::cases;
use crate::plan_example::{example, planned};
use host_sim::plan::{carry, scale, tighten, worked::Worked};
use num_rational::BigRational;
use proptest::prelude::*;

fn exact(x: f64) -> BigRational {
    BigRational::from_float(x).unwrap_or_else(|| panic!("{x} is not finite"))
}

/// Whether `steps` is the nearest whole number to `of`.
fn nearest(steps: i64, of: &BigRational) -> bool {
    let off = BigRational::from_integer(steps.into()) - of;
    let bound = exact(0.5) + exact(1e-6);
    off <= bound && off >= -bound
}

fn mm(got: timing_core::Millimetres, of: &BigRational) -> bool {
    nearest(got.to_bits().into(), &(of * exact(65_536.0)))
}

fn us(got: timing_core::Duration, ms: &BigRational) -> bool {
    nearest(got.as_micros() as i64, &(ms * exact(1_000.0)))
}

proptest! {
    #![proptest_config(cases(256))]

    /// What the belt does: catch travel D/2 − x, slips v²/(2μg), stopping v·t + v²/(2·min(a, μg)), stop slip, lead.
    #[test]
    fn travels(
        v in 1.0..1_000.0f64, d in 5.0..500.0f64, eye in -10_000.0..-1.0f64,
        mu_min in 0.05..1.0f64, more in 0.0..0.5f64, a in 100.0..100_000.0f64,
    ) {
        let mut job = example();
        job.product.speed_mm_s = v;
        job.product.diameter_mm = d;
        job.product.mu_min = mu_min;
        job.product.mu_max = mu_min + more;
        job.machine.release_eye_mm = eye;
        job.machine.belt_accel_mm_s2 = a;
        let w = Worked::at(&job, v);
        let q = |x: f64| scale::millimetres("x", x);
        let (v, two, g) = (exact(v), exact(2.0), exact(carry::G_MM_S2));
        let (mu, mu_max, a) = (exact(mu_min), exact(mu_min + more), exact(a));
        let slip = |mu: &BigRational| &v * &v / (&two * mu * &g);
        let hold = if a < &mu * &g { a.clone() } else { &mu * &g };
        let stop = &v * exact(worked_reaction_ms()) / exact(1_000.0) + &v * &v / (&two * hold);
        let part = &v * &v / &two * (exact(1.0) / (&mu * &g) - exact(1.0) / &a);
        let part = if part < exact(0.0) { exact(0.0) } else { part };
        for (got, of) in [
            (w.catch_mm, exact(d) / &two - exact(eye)),
            (w.slip_most_mm, slip(&mu)),
            (w.slip_least_mm, slip(&mu_max)),
            (w.slip_mm(), (slip(&mu) + slip(&mu_max)) / &two),
            (w.slip_u_mm(), (slip(&mu) - slip(&mu_max)) / &two + &part),
            (w.stop_mm, stop),
            (w.stop_slip_mm, part.clone()),
            (w.lead_mm, &v * exact(120.0) / exact(1_000.0)),
            (w.jam_mm, &two * exact(w.d_max_mm) + exact(10.0)),
        ] {
            match q(got) {
                Ok(bits) => prop_assert!(mm(bits, &of), "{got} is not {of}"),
                // Beyond the core's reach of 32 767 mm it is refused, not wrapped.
                Err(_) => prop_assert!(of >= exact(32_767.0), "{got} was refused"),
            }
        }
    }

    /// What the rollers do: turns·D_cap/(n·D_roller) + ramp/2, exact while full speed is reached.
    #[test]
    fn spin_times(turns in 0.05..20.0f64, rpm in 1u16..6_000, roller in 5.0..500.0f64, cap in 5.0..500.0f64, share in 0.0..0.999f64) {
        // A ramp that ends before the turns do: twice their time at full speed at most.
        let ramp = (share * 2.0 * turns * cap / (f64::from(rpm) * roller) * 60_000.0).min(5_000.0);
        let at_speed = exact(turns) * exact(cap) / (exact(f64::from(rpm)) * exact(roller)) * exact(60_000.0);
        let of = at_speed + exact(ramp) / exact(2.0);
        let got = tighten::turns_ms(turns, tighten::cap_rpm(f64::from(rpm), roller, cap), ramp);
        match scale::duration("spin", got) {
            // A long time has fewer binary places left: half a step and a few roundings of so many microseconds.
            Ok(t) => {
                let slack = of.clone() * exact(1_000.0) * exact(1e-15);
                let off = exact(t.as_micros() as f64) - of.clone() * exact(1_000.0);
                let bound = exact(0.5) + exact(1e-6) + slack;
                prop_assert!(off <= bound && off >= -bound, "{got} ms is not {of}");
            }
            Err(_) => prop_assert!(of >= exact(4_294_967.0)),
        }
    }

    /// The same through a whole plan: what the core is handed, against fractions.
    #[test]
    fn a_whole_plan(v in 20.0..200.0f64, d in 50.0..66.0f64, ms in 0.0..1_000.0f64, rpm in 100u16..600) {
        let mut job = example();
        job.product.speed_mm_s = v;
        job.product.diameter_mm = d;
        job.product.seat_dwell_ms = ms;
        job.product.roller_rpm = f64::from(rpm);
        let p = planned(&job);
        prop_assert!(mm(p.product.catch_travel, &(exact(d) / exact(2.0) + exact(61.5))));
        prop_assert!(mm(p.product.body_max, &(exact(d) + exact(0.5))));
        prop_assert!(us(p.product.seat_dwell, &exact(ms)));
        prop_assert!(nearest(p.product.speed.to_bits().into(), &(exact(v) * exact(65_536.0))));
        prop_assert!(nearest(p.profile.counts_per_mm.to_bits().into(), &(exact(4_096.0) / exact(200.0) * exact(65_536.0))));
        let spin = exact(1.5 * 28.0) / (exact(f64::from(rpm)) * exact(50.0)) * exact(60_000.0) + exact(50.0);
        if let timing_core::Tighten::Turns(t) = p.product.tighten {
            prop_assert!(us(t, &spin));
        } else {
            prop_assert!(false, "the example tightens by turns");
        }
    }
}

fn worked_reaction_ms() -> f64 {
    host_sim::plan::worked::BELT_REACTION_MS
}
