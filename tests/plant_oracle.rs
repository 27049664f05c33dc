//! The plant's closed forms against a slow integrator with fixed steps, which shares no code with it and lives here only.

use crate::plant_common::{Bench, job};
use host_sim::job::spec::{Job, SupplySpec};
use timing_core::{Actuator, Contact};

/// Step, s.
const DT: f64 = 10e-6;
const G: f64 = 9806.65;

struct Ball {
    x: f64,
    v: f64,
}

/// Semi-implicit Euler over belt, friction, blades and contact of equal round bodies.
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
                let most = self.balls[i - 1].x - 2.0 * self.r;
                if self.balls[i].x >= most {
                    let held = (0..2).any(|g| {
                        self.shut[g]
                            && self.balls[i - 1].x >= self.rest[g] - 1e-9
                            && self.balls[i - 1].x <= self.rest[g] + 1e-9
                    });
                    self.balls[i].x = most;
                    let (a, b) = (self.balls[i - 1].v, self.balls[i].v);
                    if b > a {
                        let v = if held || i > 1 && a == 0.0 { a } else { 0.5 * (a + b) };
                        self.balls[i].v = v;
                        if !held && a > 0.0 {
                            self.balls[i - 1].v = v;
                        }
                    }
                }
            }
        }
    }
}

/// Runs both over the same orders, and compares every place every 5 ms. Returns the largest difference, mm.
fn compare(j: &Job, orders: &[(u64, Actuator, bool)], belt_on: &[(u64, bool)], end: u64) -> f64 {
    let mut b = Bench::new(j);
    let r = 0.5 * j.product.diameter_mm;
    let chord = (r * r - j.machine.blade_tip_mm * j.machine.blade_tip_mm).sqrt();
    let mut o = Oracle {
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
        balls: Vec::new(),
    };
    o.balls.extend(b.plant.bottles().map(|x| Ball { x: x.1, v: 0.0 }));
    let speed = j.product.speed_mm_s;
    let mut worst = 0.0_f64;
    let mut gate_moves: Vec<(u64, usize, bool)> = Vec::new();
    for t in (0..end).step_by(5_000) {
        for &(_, a, on) in orders.iter().filter(|x| x.0 == t) {
            b.coil(a, on);
            // Opens at first motion, after the latency of 20 ms; is shut when its 100 ms are over.
            gate_moves.push((t + if on { 20_000 } else { 120_000 }, a.index(), !on));
        }
        for &(_, on) in belt_on.iter().filter(|x| x.0 == t) {
            b.belt(on);
            o.set = if on { speed } else { 0.0 };
        }
        for k in 0..500_u64 {
            let now = t + k * 10;
            for m in gate_moves.iter().filter(|m| m.0 == now) {
                o.shut[m.1] = m.2;
            }
            o.step();
        }
        b.run_to(t + 5_000);
        for (k, ball) in o.balls.iter().enumerate() {
            if let Some(x) = b.plant.place_of(k as u32 + 1) {
                let off = (x - ball.x).abs();
                assert!(off < 1.0, "bottle {} at {} µs: plant {x}, oracle {}", k + 1, t + 5_000, ball.x);
                worst = worst.max(off);
            }
        }
    }
    worst
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
