//! A cylinder with its valve: what the coils say, when it moves, where it is.
//!
//! Position is told in strokes: 0 = home, 1 = on work, 2 = full stroke with nothing there.

use super::draw::Draw;
use super::kin::NEVER;
use crate::job::spec::ActuatorSpec;
use timing_core::ValveKind;

/// Where the valve sends the cylinder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Goal {
    /// To its resting end.
    Home,
    /// To its work.
    Work,
    /// Nowhere: trapped air.
    Stop,
}

/// Something a cylinder did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Stroke {
    /// Nothing that others need to know.
    Quiet,
    /// It began to move towards home.
    Back,
    /// It began to move towards work.
    Forth,
    /// It is home.
    Home,
    /// It is where it meets its work; it rests there until [`Cylinder::go_on`].
    Work,
    /// It is at full stroke.
    Over,
}

/// One cylinder.
#[derive(Clone, Debug)]
pub(super) struct Cylinder {
    valve: ValveKind,
    latency: f64,
    to_work: f64,
    to_over: f64,
    to_home: f64,
    spread: f64,
    /// Share of the spread that every stroke takes, instead of a draw.
    pinned: Option<f64>,
    goes_over: bool,
    /// What the coils say, what the valve has done about it, and when it will have.
    told: Goal,
    goal: Goal,
    switch: f64,
    p: f64,
    t: f64,
    /// Strokes per µs; 0 at rest.
    rate: f64,
    aim: f64,
    end: f64,
    /// Deviation of the present stroke's time, µs.
    off: f64,
    factor: f64,
    stuck: bool,
    airless: bool,
}

impl Cylinder {
    /// A cylinder at home, its valve sending it there.
    pub(super) fn new(spec: &ActuatorSpec, goes_over: bool, spread: bool) -> Self {
        Self {
            valve: spec.valve,
            latency: spec.latency_ms * 1e3,
            to_work: spec.to_work_ms * 1e3,
            to_over: spec.to_over_ms * 1e3,
            to_home: spec.to_home_ms * 1e3,
            spread: if spread { spec.spread_ms * 1e3 } else { 0.0 },
            pinned: None,
            goes_over,
            told: Goal::Home,
            goal: Goal::Home,
            switch: NEVER,
            p: 0.0,
            t: 0.0,
            rate: 0.0,
            aim: 0.0,
            end: NEVER,
            off: 0.0,
            factor: 1.0,
            stuck: false,
            airless: false,
        }
    }

    /// Every stroke is off by this share of the spread from now on.
    pub(super) fn pin(&mut self, spec: &ActuatorSpec, share: f64) {
        self.spread = spec.spread_ms * 1e3;
        self.pinned = Some(share);
    }

    /// Its next event, µs.
    pub(super) const fn due(&self) -> f64 {
        if self.switch < self.end { self.switch } else { self.end }
    }

    /// Where it is at `t`, strokes.
    pub(super) fn at(&self, t: f64) -> f64 {
        if self.rate == 0.0 { self.p } else { self.p + self.rate * (t - self.t) }
    }

    /// Whether it stands exactly at `p`.
    pub(super) fn rests_at(&self, p: f64) -> bool {
        self.rate == 0.0 && self.p == p
    }

    /// Where its valve sends it now.
    pub(super) const fn goal(&self) -> Goal {
        self.goal
    }

    /// The coils are as given from `t` on.
    pub(super) fn coils(&mut self, t: f64, work: bool, home: bool) {
        let told = match (self.valve, work, home) {
            (ValveKind::SpringReturn, true, _) => Goal::Work,
            (ValveKind::SpringReturn, false, _) => Goal::Home,
            (_, true, false) => Goal::Work,
            (_, false, true) => Goal::Home,
            (ValveKind::Detented, _, _) => self.told,
            (ValveKind::CentreClosed, _, _) => Goal::Stop,
        };
        if told != self.told {
            self.told = told;
            // An order taken back within the latency leaves the spool where it was.
            self.switch = if told == self.goal { NEVER } else { t + self.latency * self.factor };
        }
    }

    /// Its next event, at [`Self::due`], happens.
    pub(super) fn happen(&mut self, strokes: &mut Draw) -> Stroke {
        if self.switch <= self.end {
            let t = self.switch;
            self.switch = NEVER;
            self.goal = self.told;
            let share = if self.spread > 0.0 { strokes.both_ways() } else { 0.0 };
            self.off = self.spread * self.pinned.unwrap_or(share);
            return self.go(t);
        }
        let t = self.end;
        self.p = self.aim;
        self.t = t;
        self.rate = 0.0;
        self.end = NEVER;
        if self.p == 0.0 {
            return Stroke::Home;
        }
        if self.p == 2.0 {
            return Stroke::Over;
        }
        if self.goal == Goal::Home {
            let _ = self.go(t); // from full stroke through the place of work
            return Stroke::Quiet;
        }
        Stroke::Work
    }

    /// Moves as the valve says, from `t` on.
    pub(super) fn go(&mut self, t: f64) -> Stroke {
        self.p = self.at(t);
        self.t = t;
        self.rate = 0.0;
        self.end = NEVER;
        if self.stuck || self.airless {
            return Stroke::Quiet;
        }
        match self.goal {
            Goal::Stop => Stroke::Quiet,
            Goal::Work if self.p < 1.0 => {
                self.head_for(1.0, self.to_work + self.off);
                Stroke::Forth
            }
            Goal::Work => {
                if self.p > 1.0 && self.p < 2.0 {
                    self.go_on(t);
                }
                Stroke::Quiet
            }
            Goal::Home if self.p > 1.0 => {
                self.head_for(1.0, self.to_over);
                Stroke::Back
            }
            Goal::Home if self.p > 0.0 => {
                self.head_for(0.0, self.to_home + self.off);
                Stroke::Back
            }
            Goal::Home => Stroke::Quiet,
        }
    }

    /// Nothing stops it at its place of work: on to full stroke.
    pub(super) fn go_on(&mut self, t: f64) {
        self.p = self.at(t);
        self.t = t;
        self.rate = 0.0;
        self.end = NEVER;
        if self.goes_over && self.goal == Goal::Work && !self.stuck && !self.airless && self.p < 2.0 {
            self.head_for(2.0, self.to_over);
        }
    }

    fn head_for(&mut self, aim: f64, stroke: f64) {
        let stroke = (stroke * self.factor).max(1.0);
        self.aim = aim;
        self.rate = if aim > self.p { 1.0 / stroke } else { -1.0 / stroke };
        self.end = self.t + (aim - self.p).abs() * stroke;
    }

    /// Something in its way stops it at `p`.
    pub(super) fn stall(&mut self, t: f64, p: f64) {
        self.p = p;
        self.t = t;
        self.rate = 0.0;
        self.end = NEVER;
    }

    /// Strokes take `factor` times as long from `t` on.
    pub(super) fn slow(&mut self, t: f64, factor: f64) -> Stroke {
        self.factor = factor;
        if self.rate == 0.0 { Stroke::Quiet } else { self.go(t) }
    }

    /// It does not move, or moves again, from `t` on.
    pub(super) fn stick(&mut self, t: f64, stuck: bool) -> Stroke {
        self.stuck = stuck;
        self.go(t)
    }

    /// Air is gone, or back, from `t` on.
    pub(super) fn air(&mut self, t: f64, low: bool) -> Stroke {
        self.airless = low;
        self.go(t)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spec(valve: ValveKind) -> ActuatorSpec {
        ActuatorSpec {
            valve,
            latency_ms: 20.0,
            to_work_ms: 100.0,
            to_over_ms: 30.0,
            to_home_ms: 80.0,
            spread_ms: 0.0,
            margin_ms: 100.0,
            home: true,
            work: true,
            over: true,
            drive: crate::job::measured::DriveSpec::default(),
        }
    }

    fn run(c: &mut Cylinder, until: f64) -> Vec<(f64, Stroke)> {
        let mut d = Draw::new(1, 1);
        let mut told = Vec::new();
        while c.due() <= until {
            let t = c.due();
            let s = c.happen(&mut d);
            told.push((t, s));
            if s == Stroke::Work {
                c.go_on(t);
            }
        }
        told
    }

    #[test]
    fn a_stroke_is_latency_travel_and_over() {
        let mut c = Cylinder::new(&spec(ValveKind::SpringReturn), true, false);
        c.coils(0.0, true, false);
        let told = run(&mut c, 1e6);
        assert_eq!(told, [(20e3, Stroke::Forth), (120e3, Stroke::Work), (150e3, Stroke::Over)]);
        c.coils(1e6, false, false);
        let told = run(&mut c, 2e6);
        assert_eq!(told, [(1_020e3, Stroke::Back), (1_050e3, Stroke::Quiet), (1_130e3, Stroke::Home)]);
    }

    #[test]
    fn valves_without_coil_go_home_stay_or_stop() {
        for (valve, end) in [(ValveKind::SpringReturn, 0.0), (ValveKind::Detented, 2.0), (ValveKind::CentreClosed, 0.7)]
        {
            let mut c = Cylinder::new(&spec(valve), true, false);
            c.coils(0.0, true, false);
            let _ = run(&mut c, 70e3);
            c.coils(70e3, false, false); // takes effect at 90 ms, 70 ms into the stroke
            let _ = run(&mut c, 2e6);
            assert!((c.at(2e6) - end).abs() < 1e-9, "{valve:?}: {}", c.at(2e6));
        }
    }

    #[test]
    fn a_reversal_begins_where_the_cylinder_is() {
        let mut c = Cylinder::new(&spec(ValveKind::SpringReturn), true, false);
        c.coils(0.0, true, false);
        let _ = run(&mut c, 50e3);
        c.coils(50e3, false, false);
        // At 70 ms it is half way; half of 80 ms back.
        assert_eq!(run(&mut c, 1e6), [(70e3, Stroke::Back), (110e3, Stroke::Home)]);
    }

    #[test]
    fn without_air_it_stays_and_a_detent_moves_it_by_itself_when_air_returns() {
        let mut c = Cylinder::new(&spec(ValveKind::Detented), false, false);
        c.coils(0.0, true, false);
        let _ = run(&mut c, 70e3);
        assert_eq!(c.air(70e3, true), Stroke::Quiet);
        c.coils(80e3, false, false);
        assert!(run(&mut c, 1e6).is_empty());
        assert!((c.at(1e6) - 0.5).abs() < 1e-9);
        assert_eq!(c.air(1e6, false), Stroke::Forth);
        assert_eq!(run(&mut c, 2e6), [(1_050e3, Stroke::Work)]);
    }
}
