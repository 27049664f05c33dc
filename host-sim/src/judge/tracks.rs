//! Bottles as the judge reckons them: belt positions of their edges at the release eye.

use std::collections::VecDeque;

use crate::job::spec::Job;
use crate::judge::machine::us;

/// Allowance for eye beam, count and carry, mm.
const SLACK_MM: f64 = 3.0;
/// How far counts may run back before they say nothing of places, mm.
const BACK_MM: f64 = 2.0;

/// A bottle that was registered at the release eye.
#[derive(Clone, Copy, Debug)]
pub(super) struct Track {
    /// Belt count at its leading edge.
    pub(super) edge: i64,
    /// How often a catch was ordered for it.
    pub(super) catches: u32,
    /// How often the unit had been unheld when the last catch was ordered.
    pub(super) unholds: u32,
    /// The encoder ran backwards or jumped since: where it is, counts do not say.
    doubtful: bool,
    /// It was past the head once.
    passed: bool,
}

impl Track {
    /// Not yet to be caught, not past, and where counts say.
    const fn is_on_its_way(&self) -> bool {
        self.catches == 0 && !self.doubtful && !self.passed
    }
}

/// What the judge makes of a catch order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Catch {
    /// First for a bottle in its window.
    Good,
    /// A bottle is in its window, and was ordered to be caught before.
    Again,
    /// No registered bottle is in its window.
    Nobody,
}

/// The belt and what rides on it.
#[derive(Clone, Debug)]
pub(super) struct Tracks {
    counts_per_mm: f64,
    speed_mm_s: f64,
    speed_max_mm_s: f64,
    /// The furthest count since the encoder was odd last.
    furthest: i64,
    release_eye_mm: f64,
    cap_eye_mm: f64,
    diameter_mm: f64,
    tolerance_mm: f64,
    cap_mm: f64,
    capture_mm: f64,
    filter: u64,
    eye_on_s: f64,
    /// (time, belt) of the last ticks, 200 ms at most.
    recent: VecDeque<(u64, i64)>,
    /// The release eye went on at (time, belt) and may still be a glitch.
    rising: Option<(u64, i64)>,
    /// A bottle was released and has not been registered: the first edge is its own. Any other body must be long enough to be one.
    pub(super) expected: bool,
    eye: bool,
    /// The level that has lasted for the filter, and when the raw one changed: a hole shorter than the filter is no second edge.
    eye_lasting: bool,
    eye_changed: u64,
    bottles: VecDeque<Track>,
    /// Stretches of belt over which the cap contact was on, newest last.
    caps: VecDeque<(i64, i64)>,
    cap: bool,
    belt: i64,
}

impl Tracks {
    pub(super) fn new(job: &Job) -> Self {
        let (m, p) = (&job.machine, &job.product);
        let angle = m.jaw_half_angle_deg.to_radians();
        let capture = m.jaw_half_mouth_mm - p.diameter_mm / 2.0 * libm::cos(angle);
        Self {
            counts_per_mm: m.encoder_counts_per_rev / m.wheel_mm,
            speed_mm_s: p.speed_mm_s,
            speed_max_mm_s: m.belt_speed_max_mm_s,
            furthest: 0,
            release_eye_mm: m.release_eye_mm,
            cap_eye_mm: m.cap_eye_mm.unwrap_or(0.0),
            diameter_mm: p.diameter_mm,
            tolerance_mm: p.diameter_tol_mm,
            cap_mm: p.cap_diameter_mm,
            capture_mm: if capture > 0.0 { capture } else { m.jaw_half_mouth_mm },
            filter: us(m.eye_filter_ms),
            eye_on_s: m.eye_on_ms * 1e-3,
            recent: VecDeque::new(),
            rising: None,
            expected: false,
            eye: false,
            eye_lasting: false,
            eye_changed: 0,
            bottles: VecDeque::new(),
            caps: VecDeque::new(),
            cap: false,
            belt: 0,
        }
    }

    /// Takes belt, release eye and cap contact at `t`.
    pub(super) fn see(&mut self, t: u64, belt: i64, eye: bool, cap: bool) {
        let dt_s = self.recent.back().map_or(0.0, |&(at, _)| (t - at) as f64 * 1e-6);
        let most = (1.3 * self.speed_max_mm_s * dt_s + SLACK_MM) * self.counts_per_mm + 16.0;
        let back = (BACK_MM * self.counts_per_mm).max(3.0);
        let odd = (belt - self.belt) as f64 > most || ((self.furthest - belt) as f64) > back;
        if odd {
            self.bottles.iter_mut().for_each(|b| b.doubtful = true);
        }
        self.furthest = if odd { belt } else { self.furthest.max(belt) };
        self.belt = belt;
        self.recent.push_back((t, belt));
        while self.recent.len() > 2 && self.recent.front().is_some_and(|&(at, _)| t - at > 200_000) {
            self.recent.pop_front();
        }
        if eye && !self.eye && !self.eye_lasting {
            self.rising = Some((t, belt));
        } else if !eye && !self.eye_lasting {
            self.rising = None;
        }
        if eye != self.eye {
            self.eye_changed = t;
        } else if t - self.eye_changed >= self.filter && eye != self.eye_lasting {
            self.eye_lasting = eye;
            if !eye {
                self.rising = None;
            }
        }
        self.eye = eye;
        if let Some((at, edge)) = self.rising
            && t - at >= self.filter
        {
            let body = (self.diameter_mm - self.tolerance_mm) * self.counts_per_mm;
            if self.expected || (belt - edge) as f64 >= 0.3 * body {
                self.rising = None;
                self.expected = false;
                self.register(edge);
            }
        }
        // What has passed the head does not come back, whatever the encoder says.
        let past = 2.0 * (self.capture_mm + self.diameter_mm);
        let (eye, mm) = (self.release_eye_mm, self.counts_per_mm);
        for b in &mut self.bottles {
            b.passed |= eye + (belt - b.edge) as f64 / mm > past;
        }
        // A contact that chatters is no new closure; counts that went back begin a new stretch.
        match (cap, self.caps.back_mut()) {
            (true, Some(last)) if (self.cap || ((belt - last.1) as f64) < mm) && (last.1 - belt) as f64 <= mm => {
                last.1 = last.1.max(belt);
            }
            (true, _) => self.caps.push_back((belt, belt)),
            (false, _) => {}
        }
        self.cap = cap;
        // By travel, not by number: a contact that chatters leaves many between eye and head.
        let oldest = belt as f64 - (past - self.cap_eye_mm + self.diameter_mm) * mm;
        while self.caps.len() > 1 && self.caps.front().is_some_and(|c| (c.1 as f64) < oldest) {
            self.caps.pop_front();
        }
    }

    /// Everything that was on the way has been carried off.
    pub(super) fn flushed(&mut self) {
        self.bottles.clear();
    }

    fn register(&mut self, edge: i64) {
        // Edges within one body are of the same bottle: transparent glass shows two.
        let body = (self.diameter_mm - self.tolerance_mm - SLACK_MM) * self.counts_per_mm;
        if self.bottles.back().is_some_and(|b| !b.doubtful && (edge - b.edge).unsigned_abs() as f64 <= body) {
            return;
        }
        self.bottles.push_back(Track { edge, catches: 0, unholds: 0, doubtful: false, passed: false });
        if self.bottles.len() > 64 {
            self.bottles.pop_front();
        }
    }

    /// The belt's speed, mm/s: the least and the most that recent counts and the set-point allow.
    fn speeds(&self) -> (f64, f64) {
        let seen = match (self.recent.front(), self.recent.back()) {
            (Some(&(t0, b0)), Some(&(t1, b1))) if t1 - t0 >= 20_000 => {
                (b1 - b0) as f64 / self.counts_per_mm / ((t1 - t0) as f64 * 1e-6)
            }
            _ => self.speed_mm_s,
        };
        let (low, high) = (seen.min(self.speed_mm_s), seen.max(self.speed_mm_s));
        (0.9 * low.max(0.0), 1.1 * high.max(0.0))
    }

    /// Where a bottle's leading edge is, mm from the head centre.
    fn leading_mm(&self, b: &Track) -> f64 {
        self.release_eye_mm + (self.belt - b.edge) as f64 / self.counts_per_mm
    }

    /// Judges a catch order given now, with `stroke` µs until the jaw is there.
    pub(super) fn catch(&mut self, stroke: u64, unholds: u32) -> Catch {
        let (low, high) = self.speeds();
        let seconds = stroke as f64 * 1e-6;
        let late = high * self.eye_on_s;
        let reach = self.capture_mm + SLACK_MM;
        let centre = |b: &Track| self.leading_mm(b) - self.diameter_mm / 2.0;
        let in_window = |b: &Track| {
            let x = centre(b);
            x + low * seconds <= reach && x + high * seconds + late >= -reach
        };
        let new = self.bottles.iter().position(|b| b.catches == 0 && in_window(b));
        let Some(i) = new.or_else(|| self.bottles.iter().position(in_window)) else {
            // A jump that is small enough to pass for travel cannot be told from it, here or there.
            let unsure = self.bottles.iter().any(|b| b.doubtful && b.catches == 0 && !b.passed);
            return if unsure { Catch::Good } else { Catch::Nobody };
        };
        // None overtakes another: what came before it is past, whatever the encoder says.
        for b in self.bottles.iter_mut().take(i) {
            b.catches = b.catches.max(1);
        }
        let Some(b) = self.bottles.get_mut(i) else {
            return Catch::Nobody;
        };
        // A head step may be repeated once after an Unhold.
        let again = b.catches > 1 || (b.catches == 1 && unholds == b.unholds);
        b.catches += 1;
        b.unholds = unholds;
        if again { Catch::Again } else { Catch::Good }
    }

    /// Whether a registered bottle may still be caught: not ordered to be, and not yet where a grip of `stroke` µs would have had to
    /// be ordered. One that is past that place is let pass, and rides on ahead of the next.
    pub(super) fn incoming(&self, stroke: u64) -> bool {
        let (_, high) = self.speeds();
        let lead = high * stroke as f64 * 1e-6;
        let centre = |b: &Track| self.leading_mm(b) - self.diameter_mm / 2.0;
        self.bottles.iter().any(|b| b.is_on_its_way() && centre(b) + lead < -SLACK_MM)
    }

    /// Whether the leading edge of a bottle not ordered to be caught lies where a bottle held in the head is.
    pub(super) fn at_occupied_head(&self) -> bool {
        let from = -self.diameter_mm / 2.0;
        let is_there = |x: f64| x > from + SLACK_MM && x < self.diameter_mm / 2.0;
        self.bottles.iter().any(|b| b.is_on_its_way() && is_there(self.leading_mm(b)))
    }

    /// Belt travel since the newest registration, mm.
    pub(super) fn since_newest_mm(&self) -> Option<f64> {
        self.bottles.back().map(|b| (self.belt - b.edge) as f64 / self.counts_per_mm)
    }

    /// Belt count of the newest registration.
    pub(super) fn newest_edge(&self) -> Option<i64> {
        self.bottles.back().map(|b| b.edge)
    }

    /// Belt travel in counts of a length in mm.
    pub(super) fn counts(&self, mm: f64) -> f64 {
        mm * self.counts_per_mm
    }

    /// Whether the cap contact was on while the bottle last ordered to be caught passed the upstream cap position.
    pub(super) fn cap_seen_upstream(&self) -> bool {
        let Some(b) = self.bottles.iter().rev().find(|b| b.catches > 0) else {
            return false;
        };
        let travel = self.cap_eye_mm - self.release_eye_mm + self.diameter_mm / 2.0;
        let at = b.edge as f64 + travel * self.counts_per_mm;
        let reach = (self.cap_mm / 2.0 + SLACK_MM + self.speed_mm_s * self.eye_on_s) * self.counts_per_mm;
        self.caps.iter().any(|&(from, to)| from as f64 <= at + reach && to as f64 >= at - reach)
    }
}
