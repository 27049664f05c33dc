//! The belt: its drive's ramp, its wander, and the encoder that rides on it.
//!
//! Between two changes the belt has constant acceleration. Its speed set-point is followed with the drive's ramp; on top of
//! that the speed wanders as a triangle wave, which keeps it piecewise linear.

use super::kin::{Arc, NEVER, SAME, ceil_us, floor, reach};

/// The belt.
#[derive(Clone, Debug)]
pub(super) struct Belt {
    arc: Arc,
    /// When `arc` ends, µs.
    until: f64,
    /// Place and speed at `until`, for braking pieces.
    end: (f64, f64),
    target: f64,
    accel: f64,
    wander: f64,
    quarter_us: f64,
    encoder: Encoder,
}

/// What the encoder makes of the belt.
#[derive(Clone, Debug)]
struct Encoder {
    /// Counts per mm of belt, slip taken off.
    scale: f64,
    /// Its reciprocal, for guesses.
    mm: f64,
    /// Counts added by jumps, and taken off by dead times.
    offset: i64,
    dead: Option<i64>,
    /// First whole µs that the present piece speaks for.
    from: u64,
    /// Count just before `from`, and when it was reached.
    before: (i64, u64),
}

impl Belt {
    /// A belt at rest at place 0 with the encoder at 0.
    pub(super) fn new(accel: f64, wander: f64, period_s: f64, counts_per_mm: f64, slip: f64) -> Self {
        let scale = counts_per_mm * (1.0 - slip);
        let swings = wander > 0.0 && period_s > 0.0;
        let mut belt = Self {
            arc: Arc::still(0.0, 0.0),
            until: NEVER,
            end: (0.0, 0.0),
            target: 0.0,
            accel: if accel > 0.0 { accel } else { 1e6 },
            wander: if swings { wander } else { 0.0 },
            quarter_us: if swings { period_s * 0.25e6 } else { NEVER },
            encoder: Encoder { scale, mm: scale.recip(), offset: 0, dead: None, from: 1, before: (0, 0) },
        };
        belt.set_piece(0.0, 0.0, 0.0);
        belt
    }

    /// Runs at `target` from the start, without a ramp.
    pub(super) fn start_running(&mut self, target: f64) {
        self.target = target;
        let (v, _, _) = self.goal(self.arc.t);
        self.set_piece(self.arc.t, self.arc.x, v);
    }

    /// When the present piece ends, µs.
    pub(super) const fn until(&self) -> f64 {
        self.until
    }

    /// Acceleration of the present piece, mm/s².
    pub(super) const fn a(&self) -> f64 {
        self.arc.a
    }

    /// Speed at `t`, mm/s.
    pub(super) fn v(&self, t: f64) -> f64 {
        if self.arc.a == 0.0 { self.arc.v } else { self.arc.v + self.arc.a * (t - self.arc.t) * 1e-6 }
    }

    /// Place at `t`, mm of travel since power-up. Never falls with growing `t`, to the last bit.
    pub(super) fn x(&self, t: f64) -> f64 {
        if self.arc.a < 0.0 {
            // Braking is counted back from its end: products of growing factors, so rounding cannot turn it round.
            let r = (self.until - t).max(0.0) * 1e-6;
            (self.end.0 - (self.end.1 - 0.5 * self.arc.a * r) * r).max(self.arc.x)
        } else {
            let s = (t - self.arc.t).max(0.0) * 1e-6;
            self.arc.x + (self.arc.v + 0.5 * self.arc.a * s) * s
        }
    }

    /// Motion at `t`.
    pub(super) fn arc(&self, t: f64) -> Arc {
        Arc { t, x: self.x(t), v: self.v(t), a: self.arc.a }
    }

    /// Drives towards another speed from `t` on; says whether anything changed.
    pub(super) fn drive(&mut self, t: f64, target: f64) -> bool {
        if target == self.target {
            return false;
        }
        self.target = target;
        self.renew(t, self.v(t));
        true
    }

    /// The present piece is over.
    pub(super) fn turn(&mut self) {
        let t = self.until;
        let (goal, _, _) = self.goal(t);
        let v = self.v(t);
        self.renew(t, if (v - goal).abs() < 1e-6 { goal } else { v });
    }

    fn renew(&mut self, t: f64, v: f64) {
        let x = self.x(t);
        self.close(t);
        self.set_piece(t, x, v);
    }

    /// Wanted speed at `t`, its slope in mm/s², and the time of its next kink.
    fn goal(&self, t: f64) -> (f64, f64, f64) {
        if self.wander == 0.0 || self.target == 0.0 {
            return (self.target, 0.0, NEVER);
        }
        // Kinks at odd quarters of the period; a kink belongs to the piece that begins there.
        let u = t / self.quarter_us;
        let mut n = floor((u + 1.0) * 0.5);
        let mut kink = (2 * n + 1) as f64 * self.quarter_us;
        if kink <= t {
            n += 1;
            kink = (2 * n + 1) as f64 * self.quarter_us;
        }
        let sign = if n % 2 == 0 { 1.0 } else { -1.0 };
        let swing = self.target * self.wander;
        let slope = sign * swing / (self.quarter_us * 1e-6);
        (self.target + sign * swing * (u - (2 * n) as f64), slope, kink)
    }

    fn set_piece(&mut self, t: f64, x: f64, v: f64) {
        let (goal, slope, kink) = self.goal(t);
        let short = goal - v;
        let (v, a, until) = if short.abs() < SAME {
            (goal, slope, kink)
        } else {
            let a = if short > 0.0 { self.accel } else { -self.accel };
            let s = short / (a - slope);
            (v, a, if s > 0.0 { kink.min(t + s * 1e6) } else { kink })
        };
        self.arc = Arc { t, x, v, a };
        self.until = until;
        if a < 0.0 {
            let e = self.arc.from(until);
            self.end = (e.x.max(x), e.v);
        }
    }

    // ---- encoder ----

    /// Travel of the belt's counts: how many at whole µs `t`, within the present piece.
    fn raw(&self, t: u64) -> i64 {
        // By way of i64: one instruction, where u64 takes a branch, and the same bits for 292 000 years.
        floor(self.x(t as i64 as f64) * self.encoder.scale) + self.encoder.offset
    }

    /// The encoder's count at whole µs `t`.
    pub(super) fn count(&self, t: u64) -> i64 {
        match self.encoder.dead {
            Some(c) => c,
            None if t < self.encoder.from => self.encoder.before.0,
            None => self.raw(t),
        }
    }

    /// The first whole µs at which the count was what it is at `t`.
    pub(super) fn edge(&self, t: u64) -> u64 {
        let c = self.count(t);
        if self.encoder.dead.is_some() || c == self.encoder.before.0 {
            return self.encoder.before.1;
        }
        self.first(c, self.encoder.from - 1, t).unwrap_or(t)
    }

    /// The first whole µs after `now`, and not after `by`, at which the count is at least `above` or at most `below`, within the present
    /// piece; `u64::MAX` if none.
    pub(super) fn reaches(&self, now: u64, above: i64, below: i64, by: u64) -> u64 {
        let count = self.count(now);
        // The belt never runs backwards: only a jump leads to `below`, and the next count may leave it again.
        if count >= above || (count <= below && self.count(now + 1) <= below) {
            return now + 1;
        }
        if self.encoder.dead.is_some() {
            return u64::MAX;
        }
        let last = by.min(if self.until >= 1e18 { 1_000_000_000_000_000_000 } else { self.until as u64 });
        // Most places lie beyond: one look at the end spares the search.
        if last <= now || self.raw(last) < above {
            return u64::MAX;
        }
        self.first(above, now, last).unwrap_or(u64::MAX)
    }

    /// The first whole µs in (`lo`, `hi`] with at least `c` counts, where `lo` has fewer. A closed form guesses it; the guess is
    /// corrected until the count before it is short and its own is not.
    fn first(&self, c: i64, lo: u64, hi: u64) -> Option<u64> {
        let x = (c - self.encoder.offset) as f64 * self.encoder.mm;
        let s = reach(x - self.arc.x, self.arc.v, self.arc.a);
        let guess = if s == NEVER { hi } else { ceil_us(self.arc.t + s * 1e6).clamp(lo + 1, hi) };
        let (mut bad, mut good);
        let mut stride = 1;
        if self.raw(guess) >= c {
            good = guess;
            loop {
                bad = good.saturating_sub(stride).max(lo);
                if bad == lo || self.raw(bad) < c {
                    break;
                }
                good = bad;
                stride *= 2;
            }
        } else {
            bad = guess;
            loop {
                if bad >= hi {
                    return None;
                }
                good = bad.saturating_add(stride).min(hi);
                if self.raw(good) >= c {
                    break;
                }
                if self.arc.v == 0.0 && self.arc.a == 0.0 {
                    return None;
                }
                bad = good;
                stride = stride.saturating_mul(2);
            }
        }
        while good - bad > 1 {
            let mid = bad + (good - bad) / 2;
            if self.raw(mid) >= c { good = mid } else { bad = mid }
        }
        Some(good)
    }

    /// Books the encoder's state before the piece that begins at `t`.
    fn close(&mut self, t: f64) {
        let from = ceil_us(t);
        if from > self.encoder.from {
            let before = (self.count(from - 1), self.edge(from - 1));
            self.encoder.before = before;
            self.encoder.from = from;
        }
    }

    /// The encoder jumps by `counts` at whole µs `now`.
    pub(super) fn jump(&mut self, now: u64, counts: i64) {
        let c = self.count(now) + counts;
        if let Some(d) = &mut self.encoder.dead {
            *d = c;
        }
        self.encoder.offset += counts;
        self.encoder.before = (c, now);
        self.encoder.from = now + 1;
    }

    /// The encoder gives no more counts, or gives them again, from whole µs `now` on.
    pub(super) fn deaden(&mut self, now: u64, dead: bool) {
        let c = self.count(now);
        let edge = self.edge(now);
        if dead == self.encoder.dead.is_some() {
            return;
        }
        self.encoder.dead = if dead { Some(c) } else { None };
        if !dead {
            self.encoder.offset += c - self.raw(now);
        }
        self.encoder.before = (c, edge);
        self.encoder.from = now + 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn belt(wander: f64) -> Belt {
        Belt::new(1000.0, wander, 2.0, 20.48, 0.0)
    }

    #[test]
    fn the_ramp_to_100_mm_per_s_takes_100_ms_and_5_mm() {
        let mut b = belt(0.0);
        assert!(b.drive(0.0, 100.0));
        assert!((b.until() - 100_000.0).abs() < 1e-6);
        b.turn();
        assert!((b.x(100_000.0) - 5.0).abs() < 1e-9);
        assert_eq!(b.v(200_000.0), 100.0);
        assert_eq!(b.until(), NEVER);
        assert!((b.x(1_100_000.0) - 105.0).abs() < 1e-9);
    }

    #[test]
    fn wander_is_a_triangle_of_its_share_and_period() {
        let mut b = belt(0.2);
        b.start_running(100.0);
        assert_eq!(b.v(0.0), 100.0);
        assert_eq!(b.until(), 500_000.0);
        assert!((b.v(500_000.0) - 120.0).abs() < 1e-9);
        b.turn();
        assert_eq!(b.until(), 1_500_000.0);
        assert!((b.v(1_500_000.0) - 80.0).abs() < 1e-9);
        b.turn();
        // A whole number of swings averages out: 100 mm/s × 2 s.
        b.turn();
        assert!((b.x(2_500_000.0) - 250.0 - 5.0).abs() < 1e-6, "{}", b.x(2_500_000.0));
    }

    #[test]
    fn the_newest_edge_survives_a_change_of_piece() {
        let mut b = belt(0.0);
        b.start_running(100.0);
        // 20.48 counts/mm × 100 mm/s: an edge each 488.28125 µs.
        assert_eq!(b.count(489), 1);
        assert_eq!(b.edge(600), 489);
        b.drive(600.0, 50.0);
        assert_eq!(b.edge(600), 489);
        assert_eq!(b.edge(700), 489);
        // From 0.06 mm on to 2/20.48 mm, braking with 1000 mm/s²: 377.27 µs more.
        assert_eq!(b.reaches(600, 2, i64::MIN, u64::MAX), 978);
        // Asked only for what comes by a given time: that µs itself counts, the one before does not.
        assert_eq!(b.reaches(600, 2, i64::MIN, 978), 978);
        assert_eq!(b.reaches(600, 2, i64::MIN, 977), u64::MAX);
    }

    #[test]
    fn a_dead_encoder_stands_and_a_jump_is_an_edge() {
        let mut b = belt(0.0);
        b.start_running(100.0);
        b.deaden(10_000, true);
        let c = b.count(10_000);
        assert_eq!(b.count(90_000), c);
        assert_eq!(b.reaches(20_000, c + 1, i64::MIN, u64::MAX), u64::MAX);
        b.deaden(90_000, false);
        assert_eq!(b.count(90_000), c);
        assert!(b.count(91_000) > c);
        b.jump(91_000, -500);
        assert_eq!(b.edge(91_000), 91_000);
        assert_eq!(b.reaches(91_000, i64::MAX, b.count(91_000) + 50, u64::MAX), 91_001);
    }
}
