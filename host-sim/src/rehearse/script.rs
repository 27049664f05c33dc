//! What the operator does and what goes wrong, each at its time.

use crate::job::spec::{Action, FaultKind, Job, When};
use crate::plant::Plant;
use timing_core::{HeadStep, UnitState};

/// Something due.
#[derive(Clone, Copy, Debug)]
pub(super) enum Due {
    Operator(Action),
    Begin(FaultKind),
    End(FaultKind),
}

/// One fault of the job.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Stage {
    Waits,
    Lasts(u64),
    Over,
}

pub(super) struct Script<'a> {
    job: &'a Job,
    /// The next step of the operator.
    next: usize,
    faults: Vec<Stage>,
    /// The unit's state, and since when.
    unit: Option<(UnitState, u64)>,
    /// Head steps as entered: the step, with which bottle.
    head: (HeadStep, u32),
}

fn us(seconds: f64) -> u64 {
    (seconds * 1e6) as u64
}

impl<'a> Script<'a> {
    pub(super) fn new(job: &'a Job) -> Self {
        Self { job, next: 0, faults: vec![Stage::Waits; job.run.faults.len()], unit: None, head: (HeadStep::Vacant, 0) }
    }

    /// The unit entered a state.
    pub(super) fn entered(&mut self, now: u64, unit: UnitState) {
        self.unit = Some((unit, now));
    }

    /// What the station is at after a tick; `bottle` = the number of bottles that came to the head so far.
    pub(super) fn saw(&mut self, now: u64, unit: UnitState, head: HeadStep, bottle: u32) {
        if self.unit.is_none_or(|(u, _)| u != unit) {
            self.unit = Some((unit, now));
        }
        self.head = (head, bottle);
    }

    /// The next time at which something may be due, `u64::MAX` if that is not known yet.
    pub(super) fn next(&self, plant: &Plant, now: u64) -> u64 {
        let mut t = self.job.run.script.get(self.next).map_or(u64::MAX, |s| self.when(&s.when, plant));
        for (spec, stage) in self.job.run.faults.iter().zip(&self.faults) {
            t = t.min(match stage {
                Stage::Waits => self.when(&spec.when, plant),
                Stage::Lasts(until) => *until,
                Stage::Over => u64::MAX,
            });
        }
        if t == u64::MAX { t } else { t.max(now + 1) }
    }

    /// When something is due, as far as can be told now.
    fn when(&self, when: &When, plant: &Plant) -> u64 {
        match when {
            When::At(s) => us(*s),
            When::State(state, after) => match self.unit {
                Some((unit, since)) if unit == *state => since + us(*after),
                _ => u64::MAX,
            },
            When::Step(n, step) if self.head == (*step, *n) => plant.now(),
            When::Step(..) => u64::MAX,
            When::Place(n, x) => match plant.place_of(*n) {
                Some(at) if at >= *x => plant.now(),
                _ => plant.bottle_reaches(*n, *x),
            },
        }
    }

    /// Takes the next thing that is due now. Requests wait while another is on its way to the core.
    pub(super) fn due(&mut self, plant: &Plant, now: u64, request_waits: bool) -> Option<Due> {
        if let Some(step) = self.job.run.script.get(self.next) {
            let blocked = request_waits && matches!(step.action, Action::Request(_));
            if !blocked && self.when(&step.when, plant) <= now {
                self.next += 1;
                return Some(Due::Operator(step.action));
            }
        }
        for (i, spec) in self.job.run.faults.iter().enumerate() {
            match self.faults[i] {
                Stage::Waits if self.when(&spec.when, plant) <= now => {
                    let end = if spec.lasts_s.is_finite() { now + us(spec.lasts_s) } else { u64::MAX };
                    self.faults[i] = if end == u64::MAX { Stage::Over } else { Stage::Lasts(end) };
                    return Some(Due::Begin(spec.kind));
                }
                Stage::Lasts(until) if until <= now => {
                    self.faults[i] = Stage::Over;
                    return Some(Due::End(spec.kind));
                }
                Stage::Waits | Stage::Lasts(_) | Stage::Over => {}
            }
        }
        None
    }

    /// Whether the operator has nothing left to do.
    pub(super) fn is_done(&self) -> bool {
        self.next >= self.job.run.script.len()
    }
}
