//! The plant's closed forms against a slow integrator with fixed steps, which shares no code with it and lives here only.

use crate::cases::cases;
use crate::plant_common::{Bench, job};
use host_sim::job::spec::{InitialBottle, Job, SupplySpec};
use proptest::prelude::*;
use timing_core::{Actuator, Contact};

/// Step, s.
const DT: f64 = 10e-6;
const G: f64 = 9806.65;

#[derive(Clone)]
struct Ball {
    x: f64,
    v: f64,
}

/// Semi-implicit Euler over belt, friction, blades and contact of equal round bodies.
#[derive(Clone)]
struct Oracle {
    t: f64,
    belt_v: f64,
    set: f64,
    accel: f64,
    wander: f64,
    period: f64,
    mu: f64,
    r: f64,
    /// Resting places at the two gates, and whether each is shut.
    rest: [f64; 2],
    shut: [bool; 2],
    balls: Vec<Ball>,
}

impl Oracle {
    fn goal(&self) -> f64 {
        // Triangle that starts at 0 and rises: (2/π)·asin(sin) without the functions.
        let u = (self.t / self.period + 0.25).fract();
        let tri = if u < 0.5 { 4.0 * u - 1.0 } else { 3.0 - 4.0 * u };
        self.set * (1.0 + self.wander * tri)
    }

    fn step(&mut self) {
        self.t += DT;
        let goal = self.goal();
        // A drive that follows its set-point follows the wander too; only larger steps are ramped.
        let most = self.accel * DT;
        let near = self.set * self.wander * 4.0 / self.period * DT + 1e-9;
        let short = goal - self.belt_v;
        self.belt_v += if short.abs() <= near.max(most) { short } else { most * short.signum() };
        let drag = self.mu * G * DT;
        for i in 0..self.balls.len() {
            let short = self.belt_v - self.balls[i].v;
            self.balls[i].v += short.clamp(-drag, drag);
            let was = self.balls[i].x;
            self.balls[i].x += self.balls[i].v * DT;
            for g in 0..2 {
                if self.shut[g] && was <= self.rest[g] + 1e-12 && self.balls[i].x > self.rest[g] {
                    self.balls[i].x = self.rest[g];
                    self.balls[i].v = 0.0;
                }
            }
            if i > 0 {
                self.meet(i);
            }
        }
    }

    /// Whether body `i` stands against a shut blade, or in the queue behind one that does.
    fn held(&self, i: usize) -> bool {
        (0..2).any(|g| self.shut[g] && (self.balls[i].x - self.rest[g]).abs() < 1e-9)
            || i > 0 && self.touches(i) && self.held(i - 1)
    }

    fn touches(&self, i: usize) -> bool {
        self.balls[i - 1].x - self.balls[i].x - 2.0 * self.r < 1e-4
    }

    /// Body `i` may not enter the one ahead. Two that are free share their momentum; one that runs against a held one, or against
    /// the end of a train, takes its speed.
    fn meet(&mut self, i: usize) {
        let most = self.balls[i - 1].x - 2.0 * self.r;
        let (a, b) = (self.balls[i - 1].v, self.balls[i].v);
        if self.balls[i].x < most {
            return;
        }
        let lone = i == 1 || !self.touches(i - 1);
        let free = lone && !self.held(i - 1);
        self.balls[i].x = most;
        if b > a {
            self.balls[i].v = if free { 0.5 * (a + b) } else { a };
            if free {
                self.balls[i - 1].v = self.balls[i].v;
            }
        }
    }
}

/// Runs both over the same orders, and compares every place every 5 ms. Returns the largest difference, mm.
fn compare(j: &Job, orders: &[(u64, Actuator, bool)], belt_on: &[(u64, bool)], end: u64) -> f64 {
    let mut b = Bench::new(j);
    let mut o = oracle(j, &b);
    let speed = j.product.speed_mm_s;
    let mut worst = 0.0_f64;
    let mut gate_moves: Vec<(u64, usize, bool)> = Vec::new();
    for t in (0..end).step_by(5_000) {
        for &(_, a, on) in orders.iter().filter(|x| x.0 == t) {
            b.coil(a, on);
            gate_moves.push(blade_moves(t, a.index(), on));
        }
        for &(_, on) in belt_on.iter().filter(|x| x.0 == t) {
            b.belt(on);
            o.set = if on { speed } else { 0.0 };
        }
        worst = worst.max(both(&mut b, &mut o, t, 5_000, &gate_moves));
    }
    worst
}

/// When gate `g`, ordered at `t`, lets bodies by or stops them: at first motion, after the latency of 20 ms; or when its 100 ms are over.
const fn blade_moves(t: u64, g: usize, open: bool) -> (u64, usize, bool) {
    (t + if open { 20_000 } else { 120_000 }, g, !open)
}

/// Both go on from `t` by `us`; the largest difference at its end, mm.
fn both(b: &mut Bench, o: &mut Oracle, t: u64, us: u64, gate_moves: &[(u64, usize, bool)]) -> f64 {
    for now in (t..t + us).step_by(10) {
        for m in gate_moves.iter().filter(|m| m.0 == now) {
            o.shut[m.1] = m.2;
        }
        o.step();
    }
    b.run_to(t + us);
    let places = o.balls.iter().enumerate().filter_map(|(k, ball)| Some((b.plant.place_of(k as u32 + 1)?, ball.x)));
    places.fold(0.0_f64, |worst, (x, y)| worst.max((x - y).abs()))
}

/// The integrator set up as the bench stands.
fn oracle(j: &Job, b: &Bench) -> Oracle {
    let r = 0.5 * j.product.diameter_mm;
    let chord = (r * r - j.machine.blade_tip_mm * j.machine.blade_tip_mm).sqrt();
    Oracle {
        t: 0.0,
        belt_v: 0.0,
        set: 0.0,
        accel: j.machine.belt_accel_mm_s2,
        wander: j.run.wander,
        period: j.run.wander_period_s,
        mu: 0.5 * (j.product.mu_min + j.product.mu_max),
        r,
        rest: [j.machine.entry_blade_mm - chord, j.machine.release_blade_mm - chord],
        shut: [true; 2],
        balls: b.plant.bottles().map(|x| Ball { x: x.1, v: 0.0 }).collect(),
    }
}

fn three() -> Job {
    let mut j = job();
    j.run.bottles = 3;
    j.run.supply = SupplySpec::Touching;
    j
}

/// Entry opens, shuts behind the first; release lets it go; twice over.
const CYCLE: [(u64, Actuator, bool); 8] = [
    (500_000, Actuator::EntryGate, true),
    (1_600_000, Actuator::EntryGate, false),
    (2_000_000, Actuator::ReleaseGate, true),
    (2_900_000, Actuator::ReleaseGate, false),
    (3_200_000, Actuator::EntryGate, true),
    (4_300_000, Actuator::EntryGate, false),
    (4_600_000, Actuator::ReleaseGate, true),
    (5_600_000, Actuator::ReleaseGate, false),
];

#[test]
fn the_escapement_at_steady_speed() {
    let worst = compare(&three(), &CYCLE, &[(0, true)], 7_000_000);
    // An Euler step of 10 µs errs by about v·dt at each change, 1 µm at 100 mm/s.
    assert!(worst < 0.02, "{worst}");
}

#[test]
fn the_escapement_on_a_wandering_belt() {
    let mut j = three();
    j.run.wander = 0.2;
    j.run.wander_period_s = 1.3;
    let worst = compare(&j, &CYCLE, &[(0, true)], 7_000_000);
    assert!(worst < 0.05, "{worst}");
}

#[test]
fn stops_and_starts_harder_than_friction_bears() {
    let mut j = three();
    j.machine.belt_accel_mm_s2 = 4000.0;
    j.product.speed_mm_s = 300.0;
    let belt = [(0, true), (700_000, false), (1_000_000, true), (2_200_000, false), (2_500_000, true)];
    let worst = compare(&j, &CYCLE[..4], &belt, 4_000_000);
    assert!(worst < 0.05, "{worst}");
}

#[test]
fn the_release_eye_sees_the_edges_when_they_are_there() {
    let j = three();
    let mut b = Bench::new(&j);
    b.belt(true);
    for (t, a, on) in &CYCLE[..4] {
        b.run_to(*t);
        b.coil(*a, *on);
    }
    b.run_to(3_500_000);
    let (on, off) = (b.edges_of(Contact::ReleaseEye, true), b.edges_of(Contact::ReleaseEye, false));
    // Released at 2.020 s from −126.5174: v/µg = 50.986 ms over 2.549 mm, then 100 mm/s to −61.5 − 32.5 = −94.
    let t0 = 2_020_000.0 + 50_985.8 + (126.5174 - 94.0 - 2.549_29) / 100.0 * 1e6;
    assert!((on[0] as f64 - t0).abs() < 20.0, "{on:?} {t0}");
    // One body of 65 mm (and the eye's 0.05 mm of hysteresis).
    assert!((off[0] - on[0]).abs_diff(650_500) < 2, "{on:?} {off:?}");
}

/// A line with bodies at the given distances behind each other, the first at `first`.
fn scene(d: f64, mu: f64, speed: u32, accel: f64, wander: (f64, f64), first: f64, gaps: &[f64]) -> Job {
    let mut j = job();
    j.product.diameter_mm = d;
    (j.product.mu_min, j.product.mu_max) = (mu, mu);
    j.product.speed_mm_s = f64::from(speed);
    j.machine.belt_accel_mm_s2 = accel;
    (j.run.wander, j.run.wander_period_s) = wander;
    j.run.bottles = 0;
    let mut x = first;
    for gap in gaps {
        j.run.initial.push(InitialBottle { x_mm: x, cap: true });
        x -= d + gap;
    }
    j
}

impl Oracle {
    /// Whether the blade of gate `g`, ordered now to shut, would come down with no body within 2 mm of where it could touch one.
    fn clear_to_shut(&self, g: usize, thick: f64, moves: &[(u64, usize, bool)]) -> bool {
        let mut o = self.clone();
        let now = (self.t * 1e6).round() as u64;
        for t in (now..now + 120_000).step_by(10) {
            for m in moves.iter().filter(|m| m.0 == t) {
                o.shut[m.1] = m.2;
            }
            o.step();
        }
        let chord = (o.r * o.r - 20.0 * 20.0).sqrt();
        o.balls.iter().all(|b| b.x < o.rest[g] - 2.0 || b.x > o.rest[g] + 2.0 * chord + thick + 2.0)
    }
}

proptest! {
    #![proptest_config(ProptestConfig { max_shrink_iters: 200, ..cases(64) })]

    /// Random bodies, belts and orders. An Euler step errs by about v·dt, 4 µm, at each change of motion; a scene has some tens.
    #[test]
    fn random_scenes(
        d in 55.0..70.0_f64, mu in 0.1..0.4_f64, speed in 50_u32..400, accel in 300.0..6000.0_f64,
        wander in prop_oneof![Just((0.0, 2.0)), (0.01..0.2_f64, 0.8..3.0_f64)], first in -330.0..-200.0_f64,
        gaps in prop::collection::vec(prop_oneof![Just(0.0), 0.5..60.0_f64], 2..6),
        choices in prop::collection::vec(0_u8..8, 30),
    ) {
        let j = scene(d, mu, speed, accel, wander, first, &gaps);
        let mut b = Bench::new(&j);
        let mut o = oracle(&j, &b);
        prop_assert_eq!(o.balls.len(), gaps.len());
        let mut moves = Vec::new();
        let mut open = [false; 2];
        let mut on = true;
        for (k, choice) in choices.into_iter().enumerate() {
            let t = k as u64 * 200_000;
            match choice {
                0..=5 => {
                    let g = usize::from(choice % 2);
                    if !open[g] || o.clear_to_shut(g, j.machine.blade_mm, &moves) {
                        open[g] = !open[g];
                        b.coil(Actuator::ALL[g], open[g]);
                        moves.push(blade_moves(t, g, open[g]));
                    }
                }
                6 => on = !on,
                _ => {}
            }
            b.belt(on);
            o.set = if on { f64::from(speed) } else { 0.0 };
            let off = both(&mut b, &mut o, t, 200_000, &moves);
            let places = || b.plant.bottles().zip(&o.balls).map(|((n, x, _), ball)| (n, x, ball.x)).collect::<Vec<_>>();
            prop_assert!(off < 0.1, "{off} mm after {} ms: {:?}", t / 1000 + 200, places());
        }
    }
}
