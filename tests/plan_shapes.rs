//! Bodies that are not round, by their own contact line: against outlines sampled point by point.

use crate::cases::cases;
use crate::plan_example::{example, near, planned};
use host_sim::job::measured::ShapeSpec;
use host_sim::plan::escapement;
use host_sim::plan::outline::Outline;
use proptest::prelude::*;

/// Points of the wall, from the definition of each shape by an angle, not from the formulas under test.
fn wall(o: &Outline) -> Vec<(f64, f64)> {
    (0..40_000)
        .map(|n| {
            let a = f64::from(n) / 40_000.0 * 2.0 * core::f64::consts::PI;
            let (c, s) = (a.cos(), a.sin());
            match o.shape {
                ShapeSpec::Round | ShapeSpec::Oval => (o.along_mm * c, o.across_mm * s),
                // A rectangle with round corners is a smaller rectangle that a disc has been rolled around: seen from angle a, the corner's arc.
                ShapeSpec::Flat => (
                    (o.along_mm - o.corner_mm).copysign(c) + o.corner_mm * c,
                    (o.across_mm - o.corner_mm).copysign(s) + o.corner_mm * s,
                ),
            }
        })
        .collect()
}

fn shapes() -> impl Strategy<Value = Outline> {
    (20.0..60.0f64, 20.0..60.0f64, 0.05..0.95f64, 0u8..3).prop_map(|(along_mm, across_mm, share, kind)| match kind {
        0 => Outline::round(along_mm),
        1 => Outline { shape: ShapeSpec::Oval, along_mm, across_mm, corner_mm: 0.0 },
        _ => Outline { shape: ShapeSpec::Flat, along_mm, across_mm, corner_mm: share * along_mm.min(across_mm) },
    })
}

proptest! {
    #![proptest_config(cases(48))]

    /// Wall beside the centre line, and where a jaw's flank touches.
    #[test]
    fn contact_lines_match_the_sampled_wall(o in shapes(), share in 0.0..0.95f64, alpha in 15.0..75.0f64) {
        let points = wall(&o);
        let y = share * o.across_mm;
        // The wall at y: the furthest point downstream among those that lie at least so far out.
        let at = points.iter().filter(|p| p.1 >= y).map(|p| p.0).fold(0.0, f64::max);
        prop_assert!((o.flank_mm(y) - at).abs() < 0.05, "{} and {at}", o.flank_mm(y));
        // A flank with this normal touches the point that lies furthest in its direction.
        let (c, s) = (alpha.to_radians().cos(), alpha.to_radians().sin());
        let touch = points.iter().copied().max_by(|p, q| (p.0 * c + p.1 * s).total_cmp(&(q.0 * c + q.1 * s)));
        let touch = touch.unwrap_or_default();
        prop_assert!((o.to_flank_mm(alpha) - (touch.0 * c + touch.1 * s)).abs() < 1e-4);
        prop_assert!((o.jaw_touch_mm(alpha) - touch.0).abs() < 0.05, "{} and {}", o.jaw_touch_mm(alpha), touch.0);
    }

    /// The window of the entry blade: whatever two bodies within tolerance and play stand there, the blade at either end of the window touches
    /// neither.
    #[test]
    fn the_entry_window_is_free(
        o in shapes(), tol in 0.0..0.8f64, play in 0.0..1.5f64, tip in 0.3..0.75f64,
        one in 0.0..1.0f64, two in 0.0..1.0f64, side_one in -1.0..1.0f64, side_two in -1.0..1.0f64,
    ) {
        let tip = tip * o.across_mm;
        let blade = 2.0;
        let (low, high) = escapement::entry_window_of(0.0, blade, tip, &o.grown(-tol), &o.grown(tol), play);
        prop_assume!(low <= high);
        // Two bodies: the first leans on the release blade's tip, the second on the first.
        let (first, second) = (o.grown(tol * (2.0 * one - 1.0)), o.grown(tol * (2.0 * two - 1.0)));
        let (y1, y2) = (play * side_one, play * side_two);
        let c1 = -first.flank_mm(tip - y1);
        let apart = touching(&first, &second, y2 - y1);
        let c2 = c1 - apart;
        for face in [low, high] {
            prop_assert!(c1 - first.flank_mm(tip - y1) >= face + blade - 0.03, "first body at {c1} meets the blade at {face}");
            prop_assert!(c2 + second.flank_mm(tip - y2) <= face + 0.03, "second body at {c2} meets the blade at {face}");
        }
    }
}

/// Distance along the belt of two touching bodies whose centres are `offset` apart across it: by sampling one wall against the other.
fn touching(a: &Outline, b: &Outline, offset: f64) -> f64 {
    let reach = a.across_mm.min(b.across_mm);
    (-2_000..=2_000)
        .map(|n| f64::from(n) / 2_000.0 * reach)
        .filter(|y| (y - offset).abs() < b.across_mm)
        .map(|y| a.flank_mm(y) + b.flank_mm(y - offset))
        .fold(0.0, f64::max)
}

/// A blade must come in at the corners of flat-sided bodies: side against side nothing is free.
#[test]
fn a_plan_for_a_flat_sided_body() {
    let mut job = example();
    let b = &mut job.product.body;
    b.shape = ShapeSpec::Flat;
    b.width_mm = Some(50.0);
    b.corner_mm = 12.0;
    job.product.diameter_tol_mm = 0.2;
    // The corner begins 13 mm from the centre line; at 21 mm each body is √(144 − 64) short of its full length: 12 − 8.944.
    job.machine.blade_tip_mm = 21.0;
    let nose = 12.0 - 80.0f64.sqrt();
    job.machine.release_blade_mm = -94.0 - nose;
    job.machine.entry_blade_mm = job.machine.release_blade_mm - (65.0 - nose) - 1.5;
    let p = planned(&job);
    near(p.worked.rest_mm, -94.0, 1e-9);
    near(p.worked.outline.free_width_mm(21.0), 2.0 * nose, 1e-9);
    // The V meets the corners: 32.6 − 12 + 12·cos 60° along the belt, of a half mouth of 40.
    near(p.worked.capture_mm, 40.0 - (32.6 - 12.0 + 6.0), 1e-9);
    assert!(p.works(), "{:#?}", p.checks.iter().filter(|c| !c.ok).collect::<Vec<_>>());
    assert!(p.cautions.iter().any(|c| c.contains("not round")));

    // Out of the corner there is no room at all, and the plan says what is free.
    job.machine.blade_tip_mm = 12.0;
    let p = planned(&job);
    let c = p.checks.iter().find(|c| c.name.starts_with("entry blade between first"));
    assert!(c.is_some_and(|c| !c.ok && c.mend.contains("0.0 mm are free at blade_tip 12.0 mm")), "{c:?}");
}

/// An oval of equal axes is a circle, in every figure of the plan.
#[test]
fn an_oval_of_equal_axes_is_round() {
    let round = planned(&example());
    let mut job = example();
    job.product.body.shape = ShapeSpec::Oval;
    job.product.body.width_mm = Some(65.0);
    let oval = planned(&job);
    for (a, b) in round.positions.iter().zip(&oval.positions).chain(round.setpoints.iter().zip(&oval.setpoints)) {
        assert_eq!(a.name, b.name);
        // The oval's slope is a difference, not a derivative.
        near(b.value, a.value, 1e-5 * (1.0 + a.value.abs()));
    }
    assert_eq!(round.product, oval.product);
}
