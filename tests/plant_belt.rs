//! The encoder's places and times, by property: `belt_reaches` is the first whole µs, and no schedule changes what is read.

use crate::cases::cases;
use crate::plant_common::job;
use host_sim::job::spec::Job;
use host_sim::plant::Plant;
use proptest::prelude::*;
use timing_core::{Orders, Speed};

fn belt_job(accel: f64, wander: f64, period: f64, slip: f64) -> Job {
    let mut j = job();
    j.machine.belt_accel_mm_s2 = accel;
    j.run.wander = wander;
    j.run.wander_period_s = period;
    j.run.encoder_slip = slip;
    j.run.bottles = 0;
    j
}

fn order(p: &mut Plant, on: bool, speed: i32) {
    p.obey(Orders::SAFE.with_belt(on), Speed::from_mm_per_s(speed), 0);
}

proptest! {
    #![proptest_config(cases(300))]

    #[test]
    fn belt_reaches_is_the_first_microsecond(
        accel in 50.0..5000.0_f64, wander in prop_oneof![Just(0.0), 0.01..0.4_f64], period in 0.2..5.0_f64, slip in 0.0..0.05_f64,
        steps in prop::collection::vec((0_u64..400_000, 1_i64..400, any::<bool>(), 1_i32..600), 1..30),
    ) {
        let j = belt_job(accel, wander, period, slip);
        let mut p = Plant::new(&j);
        order(&mut p, true, 100);
        for (wait, ahead, on, speed) in steps {
            let until = p.now() + wait;
            while p.now() < until {
                let to = p.next_event().min(until);
                p.advance(to);
            }
            order(&mut p, on, speed);
            let target = p.belt() + ahead;
            let t = p.belt_reaches(target, i64::MIN);
            let valid = p.next_event();
            if t < valid {
                let mut before = p.clone();
                before.advance(t - 1);
                prop_assert!(before.belt() < target, "one µs early at {}", t);
                p.advance(t);
                prop_assert!(p.belt() >= target, "not there at {}", t);
                prop_assert_eq!(p.belt_at(), t, "the edge is that of the arrival");
            } else if valid < u64::MAX {
                let mut end = p.clone();
                end.advance(valid - 1);
                prop_assert!(end.belt() < target, "reached before {} unseen", valid);
            }
        }
    }

    #[test]
    fn the_count_and_its_edge_do_not_depend_on_when_one_looks(
        accel in 50.0..5000.0_f64, wander in prop_oneof![Just(0.0), 0.01..0.4_f64], speed in 1_i32..600,
        looks in prop::collection::vec(1_u64..50_000, 1..60),
    ) {
        let j = belt_job(accel, wander, 1.0, 0.0);
        let (mut often, mut once) = (Plant::new(&j), Plant::new(&j));
        order(&mut often, true, speed);
        order(&mut once, true, speed);
        let (mut last, mut edge) = (0, 0);
        for dt in looks {
            let t = often.now() + dt;
            often.advance(t);
            prop_assert!(often.belt() >= last, "the belt ran back");
            prop_assert!(often.belt_at() <= t && often.belt_at() >= edge);
            if often.belt() == last {
                prop_assert_eq!(often.belt_at(), edge);
            }
            last = often.belt();
            edge = often.belt_at();
        }
        once.advance(often.now());
        prop_assert_eq!(once.belt(), often.belt());
        prop_assert_eq!(once.belt_at(), often.belt_at());
    }
}

#[test]
fn at_100_mm_per_s_the_counts_come_at_2048_hz() {
    // 4096 counts per 200 mm: 20.48 counts/mm.
    let mut p = Plant::new(&belt_job(1000.0, 0.0, 1.0, 0.0));
    order(&mut p, true, 100);
    p.advance(1_000_000);
    // The ramp takes 0.1 s and 5 mm, then 0.9 s at 100 mm/s: 95 mm.
    assert_eq!(p.belt(), 1945); // 95 × 20.48 = 1945.6
    let mut edges = Vec::new();
    for _ in 0..2048 {
        let t = p.belt_reaches(p.belt() + 1, i64::MIN);
        p.advance(t);
        edges.push(t);
    }
    assert_eq!(edges[2047] - edges[0], 2047 * 1_000_000 / 2048 + 1);
    for w in edges.windows(2) {
        assert!(w[1] - w[0] == 488 || w[1] - w[0] == 489);
    }
}

#[test]
fn slip_takes_its_share_of_the_counts() {
    let mut p = Plant::new(&belt_job(1000.0, 0.0, 1.0, 0.02));
    order(&mut p, true, 100);
    p.advance(10_050_000);
    assert_eq!(p.belt(), 20_070); // 1000 mm × 20.48 × 0.98 = 20 070.4
}
