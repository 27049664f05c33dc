//! Motion on the belt against rigid-body textbook values (g = 9.80665 m/s²), computed by hand from v²/2µg and v/µg.

use crate::plant_common::{Bench, job};
use host_sim::facts::What;
use host_sim::job::spec::{FaultKind, InitialBottle, Job, SupplySpec};
use host_sim::trace::Piece;
use timing_core::{Actuator, Contact};

/// One bottle at rest against the shut release gate, the belt at `v` mm/s beneath it, friction `mu`.
fn at_the_gate(v: f64, mu: f64) -> Job {
    let mut j = job();
    j.product.speed_mm_s = v;
    j.product.mu_min = mu;
    j.product.mu_max = mu;
    j.run.bottles = 0;
    j.run.initial = vec![InitialBottle { x_mm: -130.0, cap: true }];
    j
}

/// Releases the bottle, and gives the pieces of its motion from then on, and the time of release.
fn picked_up(j: &Job) -> (Bench, Vec<Piece>, u64) {
    let mut b = Bench::new(j);
    b.belt(true);
    b.run_to(3_000_000);
    // Resting place: blade face less the chord, −100.9 − √(32.5² − 20²).
    let x = b.plant.place_of(1).unwrap_or(f64::NAN);
    assert!((x - (-126.5174)).abs() < 1e-3, "{x}");
    b.coil(Actuator::ReleaseGate, true);
    b.run_to(3_900_000);
    let pieces: Vec<Piece> = b.plant.paths()[0].pieces.iter().copied().filter(|p| p.t_us >= 3_000_000.0).collect();
    (b, pieces, 3_020_000)
}

#[test]
fn a_body_at_rest_is_picked_up_with_mu_g() {
    for (v, mu, s, t, belt) in
        [(300.0, 0.20, 22.943_615, 0.152_957, 45.887_229), (500.0, 0.25, 50.985_811, 0.203_943, 101.971_621)]
    {
        let (_, pieces, released) = picked_up(&at_the_gate(v, mu));
        let (slide, ride) = (pieces[0], pieces[1]);
        assert_eq!(slide.t_us, released as f64);
        assert!((ride.t_us - slide.t_us - t * 1e6).abs() < 1.0, "{ride:?}");
        assert!((ride.x_mm - slide.x_mm - s).abs() < 1e-5, "{ride:?}");
        assert!((v * (ride.t_us - slide.t_us) * 1e-6 - belt).abs() < 1e-4);
        assert_eq!(ride.v_mm_s, v);
    }
}

#[test]
fn a_body_tips_at_pick_up_only_where_friction_exceeds_half_its_width_over_its_height() {
    // w/2h = 65/(2·90) = 0.361111.
    for (mu, tips) in [(0.361, false), (0.362, true)] {
        let (b, ..) = picked_up(&at_the_gate(100.0, mu));
        assert_eq!(b.facts_of(1).contains(&What::Tipped), tips, "friction {mu}");
    }
}

#[test]
fn the_foot_stop_tips_above_0_408584_m_per_s() {
    for (v, tips) in [(408.0, false), (409.0, true)] {
        let mut j = at_the_gate(v, 0.2);
        j.run.initial[0].x_mm = -400.0;
        j.machine.belt_accel_mm_s2 = 1900.0; // below µg: the bottle rides from the start, and reaches v in 47 mm
        let mut b = Bench::new(&j);
        b.coil(Actuator::EntryGate, true);
        b.run_to(200_000);
        b.belt(true);
        b.run_to(3_000_000);
        assert_eq!(b.facts_of(1).contains(&What::Tipped), tips, "{v} mm/s");
    }
}

#[test]
fn a_belt_that_brakes_harder_than_friction_leaves_the_bottle_sliding() {
    let mut j = at_the_gate(300.0, 0.15);
    j.run.initial[0].x_mm = 200.0;
    j.machine.belt_accel_mm_s2 = 3000.0; // µg = 1471
    let mut b = Bench::new(&j);
    b.belt(true);
    b.run_to(500_000);
    let x0 = b.plant.place_of(1).unwrap_or(f64::NAN);
    b.belt(false);
    b.run_to(1_500_000);
    let x1 = b.plant.place_of(1).unwrap_or(f64::NAN);
    // v²/2µg = 300²/(2·1470.9975) = 30.5915 mm, though the belt stops in 15 mm.
    assert!((x1 - x0 - 30.5915).abs() < 1e-3, "{}", x1 - x0);
}

#[test]
fn a_queue_stands_touching_and_follows_touching() {
    let mut j = job();
    j.run.bottles = 4;
    let mut b = Bench::new(&j);
    b.belt(true);
    b.run_to(500_000);
    b.coil(Actuator::EntryGate, true);
    b.run_to(3_000_000);
    let places: Vec<f64> = b.plant.bottles().map(|x| x.1).collect();
    assert!((places[0] + 126.5174).abs() < 1e-3);
    for w in places.windows(2) {
        assert!((w[0] - w[1] - 65.0).abs() < 1e-6, "{places:?}");
    }
    // The touching point lies 58.1 mm upstream of the holding face, where the entry blade is: it shuts without harm.
    b.coil(Actuator::EntryGate, false);
    b.run_to(3_500_000);
    assert!(b.has(Contact::EntryGateHome));
    b.coil(Actuator::ReleaseGate, true);
    b.run_to(5_000_000);
    // Only the first has gone; the second has come up to the entry blade.
    let second = b.plant.place_of(2).unwrap_or(f64::NAN);
    assert!((second - (-160.5 - 25.6174)).abs() < 1e-3, "{second}");
    assert!(b.plant.place_of(1).is_none_or(|x| x > 0.0));
    assert!(!b.facts.iter().any(|f| matches!(f.what, What::StruckByGate(_) | What::Tipped)));
}

#[test]
fn bottles_of_different_friction_never_pass_through_each_other() {
    let mut j = job();
    j.run.spread = true;
    j.run.bottles = 40;
    j.run.wander = 0.2;
    for (seed, supply) in [(1, SupplySpec::Touching), (2, SupplySpec::Random(90.0)), (3, SupplySpec::Pitch(70.0))] {
        j.run.seed = seed;
        j.run.supply = supply;
        let mut b = Bench::new(&j);
        b.belt(true);
        let mut t = 0;
        for k in 0..300_u64 {
            t += 37_000 + 11_000 * (k % 7);
            b.coil(if k % 2 == 0 { Actuator::EntryGate } else { Actuator::ReleaseGate }, (k / 2) % 2 == 0);
            b.belt(k % 11 != 5);
            if k == 100 {
                b.plant.begin(&FaultKind::OutfeedBlocked);
            }
            if k == 160 {
                b.plant.end(&FaultKind::OutfeedBlocked);
            }
            b.run_to(t);
            let row: Vec<(u32, f64, f64)> = b.plant.bottles().collect();
            for w in row.windows(2) {
                let gap = w[0].1 - w[1].1 - 0.5 * (w[0].2 + w[1].2);
                assert!(gap > -1e-6, "seed {seed}, {t} µs: {} and {} overlap by {gap}", w[0].0, w[1].0);
            }
        }
        assert!(b.plant.entered() > 5);
    }
}
