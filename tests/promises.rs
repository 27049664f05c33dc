//! What must hold after every tick, whatever the core was given: asked by property tests and by fuzzing.

use timing_core::{
    Actuator, Command, Contact, EventKind, Inputs, Mode, Orders, Outputs, Speed, Station, UnitState,
    unit::{on_command, on_complete},
};

/// The promises that need no knowledge of the line, and what it takes to look at the next tick.
#[derive(Clone, Copy, Debug)]
pub struct Promises {
    idle_spin: bool,
    listed: fn(UnitState, UnitState) -> bool,
    state: Option<UnitState>,
    last: u64,
}

impl Promises {
    /// For a station at power-up; `idle_spin` as its machine has it, `listed` says which transitions there are.
    #[must_use]
    pub const fn new(idle_spin: bool, listed: fn(UnitState, UnitState) -> bool) -> Self {
        Self { idle_spin, listed, state: None, last: 0 }
    }

    /// Whether no tick has been looked at yet.
    #[must_use]
    pub const fn is_new(&self) -> bool {
        self.state.is_none()
    }

    /// The latest time so far, µs.
    #[must_use]
    pub const fn last(&self) -> u64 {
        self.last
    }

    /// Looks at one tick.
    ///
    /// # Panics
    /// When a promise is broken: R1, R3, R5, R14, R15; at most eight events; set-points only with their drive; no two coils of one
    /// actuator.
    pub fn tick(&mut self, i: &Inputs, out: &Outputs<'_>) {
        let (now, belt) = (i.now.as_micros().max(self.last), i.belt.get());
        self.last = now;
        let w = out.wake;
        assert!(w.at.as_micros() > now || now == u64::MAX, "R15: {i:?} {w:?}");
        assert!(w.above.get() > belt || belt == i64::MAX, "R15: {i:?} {w:?}");
        assert!(w.below.get() < belt || belt == i64::MIN, "R15: {i:?} {w:?}");
        assert!(out.events.len() <= 8);
        self.orders(i, out);
        self.transitions(out);
    }

    fn orders(self, i: &Inputs, out: &Outputs<'_>) {
        let o = out.orders;
        let chain = i.contacts.has(Contact::Chain) && !i.failed.has(Contact::Chain);
        let aborted = matches!(out.unit, UnitState::Aborting | UnitState::Aborted);
        assert!((chain && !aborted) || o == Orders::SAFE, "R1: {o:?} in {:?}", out.unit);
        assert!(!(o.work(Actuator::EntryGate) && o.work(Actuator::ReleaseGate)), "R5: {o:?}");
        let free = out.mode == Mode::Manual || (self.idle_spin && out.unit == UnitState::Execute);
        assert!(!o.spin() || o.work(Actuator::Rollers) || free, "R3: {o:?} in {:?}", out.unit);
        assert!(o.spin() || out.spin_rpm == 0, "{o:?} {}", out.spin_rpm);
        assert!(o.belt() || out.belt_speed == Speed::ZERO, "{o:?} {:?}", out.belt_speed);
        assert!(Actuator::ALL.into_iter().all(|a| !(o.work(a) && o.home(a))), "both coils: {o:?}");
    }

    /// R14.
    fn transitions(&mut self, out: &Outputs<'_>) {
        if let Some(mut state) = self.state {
            for e in out.events.iter().filter(|e| e.kind == EventKind::State) {
                let to = UnitState::ALL.into_iter().find(|s| *s as u16 == e.detail).expect("a state's number");
                assert!(e.value == state as i32 && (self.listed)(state, to), "R14: {state:?} to {to:?}, told {e:?}");
                state = to;
            }
            assert!(state == out.unit || out.events_lost > 0, "R14: {:?} without an event", out.unit);
        }
        self.state = Some(out.unit);
    }
}

/// Whether a transition stands in the core's own table. (That the table is the published one, `tests/states.rs` asks.)
#[must_use]
pub fn in_table(from: UnitState, to: UnitState) -> bool {
    on_complete(from) == Some(to) || Command::ALL.into_iter().any(|c| on_command(from, c) == Some(to))
}

/// R12.
///
/// # Panics
/// When the bottles do not add up.
pub fn balance(station: &Station) {
    let (t, inside) = (station.tally(), station.inside());
    let ended = t.good + t.rejected + t.removed + t.lost;
    assert_eq!(t.registered + t.found, ended + inside, "R12: {t:?}, {inside} inside");
}
