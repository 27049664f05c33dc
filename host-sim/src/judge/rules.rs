//! The rules that nothing may break, judged tick by tick from the outside.
//!
//! [`Rules::see`] is called once per tick of the core with what the core was given and what it gave back, and with what
//! physically happened since the tick before. A breach is told once, when it begins.
//!
//! | rule | what the check sees | what it cannot see |
//! |---|---|---|
//! | R1 | raw chain open: anything energised in that tick; energised later, before Clear, Reset and Start were each asked for and taken (Manual: before Clear) | a chain input that cannot be read; what springs and vented air do |
//! | R2 | plunger sent down, rollers sent in: the stroke before confirmed by a fresh contact, or by nominal time; not at full stroke; a registered bottle's catch before it | whether a lying contact told the truth: rules bind orders, the outcome binds physics |
//! | R3 | spin ordered: rollers confirmed in, closure seen, product spins at all; spin that outlives the rollers; Manual: not asked for within 250 ms plus the sample gap | speed set-points |
//! | R4 | grip or plunger sent back before the rollers are confirmed back | force; a stroke that sags without an order |
//! | R5 | a gate opened while the other is sent open, or not confirmed shut | a blade pushed open by hand |
//! | R6 | release gate opened with the grip not confirmed open, a registered bottle still on its way, or in a state that admits none; early release: belt ordered on with a newcomer where the held bottle is | a head that looks open and is not; a line that owns its belt |
//! | R7 | a blade physically struck a bottle on a stroke that was ordered; release gate ordered shut short of the body's travel; in Execute, entry gate ordered shut on an unsettled pocket; until the flush after a Start, when nobody knows, none of it | bottles that never crossed the eye, unless they are struck |
//! | R8 | the catch ordered without a registered bottle within capture at contact (speed between set-point and recent counts, ± 10 %), or twice for one bottle; one repeat after Unhold | errors of a few mm: the centring of the outcomes is exact |
//! | R9 | the order of head steps forwards and back; in Execute, a fitted contact overdue by 100 ms and the unit goes on (after an Unhold it is waited for once more) | strokes without a contact |
//! | R10 | not judged here: jams are played as faults and checked by the job's expectation | |
//! | R11 | something energised anew without the operator's Start, in a state at rest, in Aborting, after a Stop that a fault gave at rest, or before the beacon warned (in Unsuspending, where the head has been at work: belt and working ends); Held, Stopped, Idle, Aborted, Completed left upwards without being asked in that very tick; Manual without its button | homing by a jog; springs that move on coil loss; an Unsuspending of a line that owns its belt |
//! | R12 | the counts' balance, and that no count shrinks | which bottle was counted as what |
//! | R13 | releases, good ones and Completed against the batch | closure quality: that is the outcome |
//! | R14 | every step of the state table by the events told, against the judge's own copy; states that changed untold; a refused command not told | requests other than commands |
//! | R15 | wake ahead in time and place, within the sample gap; acting states within bounds; a state at rest and quiet for 10 s that wakes early | liveness |
//! | R16 | not judged here: a panic ends the run by itself | |
//!
//! Manual jogs one actuator by itself, so R6 … R9 are not judged there; R1 … R5 are. Maintenance has no registered bottle and may
//! close the head on nothing, so the bottle and the full stroke of R2, the closure of R3, and R6 … R8 are not judged there.
//! Dropping everything in Aborting or on an open chain outranks R4, R7 and R9.

use std::fmt;
use timing_core::{Actuator, Command, Contact, Contacts, Event, EventKind, Mode, Orders, Request, UnitState, Wake};

use crate::facts::{Fact, What};
use crate::job::spec::{Job, MachineSpec, ProductSpec};
use crate::judge::machine::{Sent, Watch, us};
use crate::judge::states;
use crate::judge::tracks::Tracks;
use crate::verdict::{Breach, Counted};

/// One tick of the core, from outside.
#[derive(Clone, Copy, Debug)]
pub struct Seen<'a> {
    /// Time, µs.
    pub t_us: u64,
    /// Encoder count as the core was given it.
    pub belt: i64,
    /// Contacts as the core was given them.
    pub contacts: Contacts,
    /// Inputs that could not be read.
    pub failed: Contacts,
    /// What was asked for in this tick.
    pub request: Option<Request>,
    /// Orders as they left.
    pub orders: Orders,
    /// Unit state after this tick.
    pub unit: UnitState,
    /// Mode after this tick.
    pub mode: Mode,
    /// When the core wants to be called again.
    pub wake: Wake,
    /// Events of this tick; only State and Refused are read.
    pub events: &'a [Event],
    /// Events of this tick that found no room.
    pub events_lost: u8,
    /// The core's counts after this tick.
    pub counted: Counted,
    /// What physically happened since the tick before, under the orders of then.
    pub facts: &'a [Fact],
}

/// How far the operator has given leave to move.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Leave {
    /// Clear is needed first.
    None,
    /// Reset is needed next.
    Cleared,
    /// Start is needed next.
    Reset,
    /// Started.
    Started,
}

/// The judge of the rules.
#[derive(Clone, Debug)]
pub struct Rules {
    pub(super) machine: MachineSpec,
    pub(super) product: ProductSpec,
    pub(super) watch: Watch,
    pub(super) tracks: Tracks,
    breaches: Vec<Breach>,
    /// Conditions that were broken at the last tick, so that each is told once.
    standing: Vec<(u8, &'static str)>,
    /// The same, of the tick that is being judged.
    broken: Vec<(u8, &'static str)>,
    pub(super) was: Orders,
    pub(super) unit: Option<UnitState>,
    mode: Mode,
    /// When the unit entered its state.
    pub(super) entered: u64,
    leave: Leave,
    /// The chain opened and Start has not been given since.
    chain_lost: bool,
    /// A warning is due before motion, and since when the beacon has been on.
    warn_due: bool,
    beacon_since: Option<u64>,
    /// Stopping was entered from a state at rest without the operator.
    stopping_unasked: bool,
    pub(super) unholds: u32,
    jog_spin: Option<u64>,
    jog_belt: Option<u64>,
    jogged: [Option<u64>; 6],
    service: bool,
    mode_asked: Option<u64>,
    /// Numbers of the newest bottle past the release blade and of the newest in the grip; 0 = none.
    newest_past: u32,
    newest_gripped: u32,
    /// The last catch found a registered bottle, and has not been let go.
    pub(super) bottle_held: bool,
    pub(super) plunger_since: u64,
    /// Per gate: shut by an order that R7 binds.
    pub(super) gate_bound: [bool; 2],
    /// What eyes and encoder say is so.
    pub(super) eyes_true: bool,
    pub(super) ticks_added: bool,
    /// Since the last Start what was inside has not been flushed.
    pub(super) flush_due: bool,
    /// A controller can know where bottles stand.
    pub(super) places_known: bool,
    pub(super) release_opened_edge: Option<i64>,
    /// Belt count since which the pocket eye is blocked, glitches aside; and since when it is clear.
    pub(super) pocket_since: Option<i64>,
    last_belt: i64,
    /// Belt count at the last Unhold: a release that was broken off begins anew there.
    pub(super) unheld_at: i64,
    pocket_clear_at: u64,
    pub(super) counted: Counted,
    pub(super) batch: u32,
    /// Good bottles when the batch began, as the latest and as the earliest possible beginning.
    pub(super) good_from_latest: u32,
    pub(super) good_from_earliest: u32,
    pub(super) quiet_since: u64,
    pub(super) quiet_belt: i64,
    pub(super) quiet_contacts: Contacts,
    pub(super) quiet_failed: Contacts,
}

/// Orders as a breach names them; only written out when there is one.
struct Coils(Orders);

impl fmt::Display for Coils {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "orders {:#06x}", self.0.bits())
    }
}

impl Rules {
    /// At power-up, nothing seen yet.
    #[must_use]
    pub fn new(job: &Job) -> Self {
        Self {
            machine: job.machine.clone(),
            product: job.product.clone(),
            watch: Watch::new(&job.machine),
            tracks: Tracks::new(job),
            breaches: Vec::new(),
            standing: Vec::new(),
            broken: Vec::new(),
            was: Orders::SAFE,
            unit: None,
            mode: Mode::default(),
            entered: 0,
            leave: Leave::Cleared,
            chain_lost: false,
            warn_due: true,
            beacon_since: None,
            stopping_unasked: false,
            unholds: 0,
            jog_spin: None,
            jog_belt: None,
            jogged: [None; 6],
            service: false,
            mode_asked: None,
            bottle_held: false,
            plunger_since: 0,
            gate_bound: [false; 2],
            places_known: true,
            eyes_true: true,
            ticks_added: false,
            flush_due: true,
            newest_past: 0,
            newest_gripped: 0,
            release_opened_edge: None,
            pocket_since: None,
            last_belt: 0,
            unheld_at: i64::MAX,
            pocket_clear_at: 0,
            counted: Counted::default(),
            batch: job.run.batch,
            good_from_latest: 0,
            good_from_earliest: 0,
            quiet_since: 0,
            quiet_belt: 0,
            quiet_contacts: Contacts::NONE,
            quiet_failed: Contacts::NONE,
        }
    }

    /// Another product of the same body is loaded: its dwells, its settling and how it is tightened are judged from now on.
    pub fn load(&mut self, product: &ProductSpec) {
        self.product = product.clone();
    }

    /// Bottles may stand where no controller can know it (eyes, encoder or bottles are made to fail): a blade that strikes one is an
    /// outcome then, and no breach.
    pub fn trust_no_place(&mut self) {
        self.places_known = false;
    }

    /// Eyes or encoder are made to fail, or looked at too seldom: what the judge reckons from them is another guess than the core's, and
    /// rules about where bottles are give way.
    pub fn doubt_eyes(&mut self) {
        self.eyes_true = false;
    }

    /// The core is called at other times than it asked for: how long it would have rested is not to be seen.
    pub fn add_ticks(&mut self) {
        self.ticks_added = true;
    }

    /// Judges one tick.
    pub fn see(&mut self, s: &Seen<'_>) {
        self.watch.read(s.t_us, s.contacts, s.failed);
        if let Some(from) = &mut self.pocket_since {
            // Counts that run backwards are no travel, and take none back.
            *from += (s.belt - self.last_belt).min(0);
        }
        self.last_belt = s.belt;
        if self.unit == Some(UnitState::Unholding) && s.orders.beacon() {
            self.unheld_at = s.belt;
        }
        let (eye, cap) = (self.watch.reads(Contact::ReleaseEye), self.watch.reads(Contact::Cap));
        self.tracks.see(s.t_us, s.belt, eye, cap);
        self.see_pocket(s);
        self.see_facts(s);
        self.see_request(s);
        self.see_states(s);
        let moved = self.watch.obey(s.t_us, s.orders);
        self.judge_chain(s);
        self.judge_motion(s);
        self.judge_spin(s);
        for &(a, from, to) in &moved {
            self.judge_stroke(s, a, from, to);
        }
        self.judge_standing(s);
        self.judge_counts(s);
        self.judge_wake(s);
        self.was = s.orders;
        self.counted = s.counted;
        // A whole warning counts from its end on, however long the springs then take to bring things home.
        if self.warned(s.t_us) {
            self.warn_due = false;
        }
        self.beacon_since = match (s.orders.beacon(), self.beacon_since) {
            (true, None) => Some(s.t_us),
            (true, since) => since,
            (false, _) => None,
        };
        self.standing = std::mem::take(&mut self.broken);
    }

    /// What was broken so far, in order of time.
    #[must_use]
    pub fn breaches(&self) -> &[Breach] {
        &self.breaches
    }

    /// What was broken, at the end.
    #[must_use]
    pub fn into_breaches(self) -> Vec<Breach> {
        self.breaches
    }

    /// Tells that `rule` is broken by what is named `what`, unless that was so at the last tick too.
    pub(super) fn tell(&mut self, s: &Seen<'_>, rule: u8, what: &'static str, detail: impl fmt::Display) {
        let key = (rule, what);
        if !self.standing.contains(&key) && !self.broken.contains(&key) {
            let detail = detail.to_string();
            let text = if detail.is_empty() {
                format!("{what} ({})", s.unit.name())
            } else {
                format!("{what}: {detail} ({})", s.unit.name())
            };
            self.breaches.push(Breach { rule, t_us: s.t_us, text });
        }
        self.broken.push(key);
    }

    /// Everything was dropped because it had to be: rules about single orders give way.
    pub(super) fn all_dropped(s: &Seen<'_>) -> bool {
        let off = matches!(s.unit, UnitState::Aborting | UnitState::Aborted);
        s.orders == Orders::SAFE && (off || !s.contacts.has(Contact::Chain))
    }

    fn see_pocket(&mut self, s: &Seen<'_>) {
        if self.watch.reads(Contact::PocketEye) {
            let glitch = s.t_us.saturating_sub(self.pocket_clear_at) <= us(self.machine.eye_filter_ms);
            if self.pocket_since.is_none() || (self.pocket_clear_at != 0 && !glitch) {
                self.pocket_since = Some(s.belt);
            }
            self.pocket_clear_at = 0;
        } else if self.pocket_clear_at == 0 {
            self.pocket_clear_at = s.t_us.max(1);
        }
    }

    fn see_facts(&mut self, s: &Seen<'_>) {
        for fact in s.facts {
            match fact.what {
                What::PassedRelease => self.newest_past = self.newest_past.max(fact.bottle),
                What::Gripped | What::JawMet { captured: true, .. } => {
                    self.newest_gripped = self.newest_gripped.max(fact.bottle)
                }
                _ => {}
            }
            if let What::StruckByGate(gate) = fact.what
                && self.gate_bound.get(usize::from(gate)) == Some(&true)
            {
                let name = if gate == 0 {
                    "entry gate ordered shut on a bottle"
                } else {
                    "release gate ordered shut on a bottle"
                };
                // Each bottle is told: what stood at the last tick was another one.
                self.standing.retain(|&(_, what)| what != name);
                self.tell(s, 7, name, format!("bottle {}", fact.bottle));
            }
        }
    }

    fn see_request(&mut self, s: &Seen<'_>) {
        let now = Some(s.t_us);
        match s.request {
            Some(Request::JogSpin) => self.jog_spin = now,
            Some(Request::JogBelt) => self.jog_belt = now,
            Some(Request::Jog(a, _)) => self.jogged[a.index()] = now,
            Some(Request::Step | Request::DryCycle) => self.service |= s.mode == Mode::Maintenance,
            Some(Request::Batch(n)) => {
                use UnitState as S;
                if matches!(self.unit, Some(S::Stopped | S::Idle | S::Completed)) {
                    self.batch = n;
                    self.good_from_latest = s.counted.good;
                    self.good_from_earliest = s.counted.good;
                }
            }
            Some(Request::Mode(_)) => self.mode_asked = now,
            Some(Request::Command(_) | Request::Declare(_)) | None => {}
        }
        if s.mode != Mode::Maintenance {
            self.service = false;
        }
        self.mode = s.mode;
    }

    /// R14, and the part of R11 that is about states; keeps what the operator gave leave for.
    fn see_states(&mut self, s: &Seen<'_>) {
        let Some(start) = self.unit else {
            // The first tick: the state of power-up is the core's to choose.
            self.enter(s, s.unit, s.unit);
            self.unit = Some(s.unit);
            return;
        };
        let told = s.events.iter().filter(|e| e.kind == EventKind::State);
        let mut path: Vec<UnitState> = told.filter_map(|e| states::by_number(u64::from(e.detail))).collect();
        if path.last().copied().unwrap_or(start) != s.unit {
            if !path.is_empty() && s.events_lost == 0 {
                self.tell(s, 14, "state is not the one told", "");
            }
            path.push(s.unit);
        }
        let mut from = start;
        for &to in &path {
            if !states::leads(from, to) && s.events_lost == 0 {
                let detail = format!("{} to {}", from.name(), to.name());
                self.tell(s, 14, "transition outside the state table", &detail);
            }
            if let Some(needed) = states::operator_only(from, to)
                && s.request != Some(Request::Command(needed))
            {
                let detail = format!("{} to {} without {}", from.name(), to.name(), needed.name());
                self.tell(s, 11, "restarted without the operator", &detail);
            }
            self.enter(s, from, to);
            from = to;
        }
        if let Some(Request::Command(c)) = s.request {
            let taken = std::iter::once(start).chain(path.iter().copied()).any(|state| states::takes(state, c));
            let refused = s.events.iter().any(|e| e.kind == EventKind::Refused && e.detail == c as u16);
            if !taken && !refused && s.events_lost == 0 {
                self.tell(s, 14, "a command was refused and not told", c.name());
            }
        }
        self.unit = Some(s.unit);
    }

    fn enter(&mut self, s: &Seen<'_>, from: UnitState, to: UnitState) {
        use UnitState as S;
        self.entered = s.t_us;
        let asked = |c: Command| s.request == Some(Request::Command(c));
        match to {
            S::Aborting | S::Aborted => self.leave = Leave::None,
            S::Clearing if asked(Command::Clear) => self.leave = Leave::Cleared,
            S::Resetting if asked(Command::Reset) && self.leave >= Leave::Cleared => self.leave = Leave::Reset,
            S::Starting if asked(Command::Start) && self.leave == Leave::Reset => self.leave = Leave::Started,
            S::Stopped | S::Completed => self.leave = self.leave.min(Leave::Cleared),
            _ => {}
        }
        if self.leave == Leave::Started {
            self.chain_lost = false;
        }
        match to {
            S::Starting | S::Unholding => {
                self.warn_due = true;
                self.beacon_since = None;
            }
            S::Unsuspending if !self.was.belt() && !self.machine.line_owns_belt => {
                self.warn_due = true;
                self.beacon_since = None;
            }
            // A Stop that finishes what is inside starts the belt that stood; within the warning of Unsuspending it warns on.
            S::Stopping if from == S::Suspended && !self.was.belt() && !self.machine.line_owns_belt => {
                self.warn_due = true;
                self.beacon_since = None;
            }
            _ => {}
        }
        if to == S::Unholding {
            self.unholds += 1;
        }
        self.flush_due |= to == S::Starting;
        if to == S::Execute && std::mem::take(&mut self.flush_due) {
            self.tracks.flushed();
        }
        if from == S::Unholding {
            self.watch.await_again(s.t_us);
        }
        if to == S::Stopping {
            let rest = matches!(from, S::Held | S::Idle | S::Completed | S::Resetting);
            self.stopping_unasked = rest && !asked(Command::Stop);
        }
        if to == S::Stopped {
            // A batch that was stopped has ended; whether a new one counts from here or goes on is the core's affair.
            self.good_from_latest = s.counted.good;
        }
        if from == S::Completed && to == S::Resetting {
            self.good_from_latest = s.counted.good;
            self.good_from_earliest = s.counted.good;
        }
    }

    /// R1.
    fn judge_chain(&mut self, s: &Seen<'_>) {
        let open = !s.failed.has(Contact::Chain) && !s.contacts.has(Contact::Chain);
        if open {
            self.chain_lost = true;
            self.leave = Leave::None;
        }
        if s.orders == Orders::SAFE {
            return;
        }
        let bits = Coils(s.orders);
        let enough = match s.mode {
            Mode::Manual | Mode::Maintenance => self.leave >= Leave::Cleared,
            Mode::Production => self.leave == Leave::Started,
        };
        if open {
            self.tell(s, 1, "energised with the chain open", &bits);
        } else if self.chain_lost && !enough {
            self.tell(s, 1, "energised after the chain opened, before Clear, Reset and Start", &bits);
        }
    }

    /// R11: what is energised anew.
    fn judge_motion(&mut self, s: &Seen<'_>) {
        use UnitState as S;
        if matches!(s.unit, S::Aborting | S::Aborted) && s.orders != Orders::SAFE {
            let bits = Coils(s.orders);
            self.tell(s, 11, "energised while aborting or aborted", &bits);
            return;
        }
        let fresh = Orders::from_bits(s.orders.bits() & !self.was.bits()).with_beacon(false).with_ready(false);
        if s.mode == Mode::Manual {
            self.judge_manual(s, fresh);
            return;
        }
        if fresh == Orders::SAFE {
            return;
        }
        let bits = Coils(fresh);
        if s.mode == Mode::Maintenance {
            if self.leave < Leave::Cleared || !(self.service || self.leave == Leave::Started) {
                self.tell(s, 11, "motion in Maintenance that nobody asked for", &bits);
            }
            return;
        }
        // Where the belt is the line's, bottles ride on to the diverter while this station is held.
        let diverter = Orders::SAFE.with_coils(Actuator::Reject, true, true);
        let only_diverter = fresh.bits() & !diverter.bits() == 0;
        if s.unit == S::Held && self.machine.line_owns_belt && only_diverter {
            return;
        }
        let at_rest = matches!(s.unit, S::Clearing | S::Stopped | S::Idle | S::Resetting | S::Held | S::Completed);
        if at_rest {
            self.tell(s, 11, "motion in a state at rest", &bits);
        } else if self.leave != Leave::Started {
            self.tell(s, 11, "motion before Reset and Start", &bits);
        } else if s.unit == S::Stopping && self.stopping_unasked {
            self.tell(s, 11, "motion in a Stopping that a fault began at rest", &bits);
        } else if self.warn_due && !self.warned(s.t_us) && !(s.unit == S::Unsuspending && Self::only_back(fresh)) {
            self.tell(s, 11, "motion before the warning was over", &bits);
        }
    }

    /// Whether nothing is energised but the way back of what has moved all the time.
    fn only_back(fresh: Orders) -> bool {
        !fresh.belt() && !fresh.spin() && !Actuator::ALL.into_iter().any(|a| fresh.work(a))
    }

    /// Whether the beacon has been on for its whole time.
    fn warned(&self, t_us: u64) -> bool {
        self.beacon_since.is_some_and(|at| t_us - at >= us(self.machine.warn_ms))
    }

    /// R11 and R3 in Manual: each order has its button.
    fn judge_manual(&mut self, s: &Seen<'_>, fresh: Orders) {
        // Hold-to-run: dropped when not refreshed in 250 ms, seen at the next tick.
        let hold = 250_000 + us(self.machine.sample_gap_ms) + 1_000;
        let held = |at: Option<u64>| at.is_some_and(|at| s.t_us - at <= hold);
        if s.orders.spin() && !held(self.jog_spin) {
            self.tell(s, 3, "rollers spin in Manual without the button", "");
        }
        if s.orders.belt() && !held(self.jog_belt) {
            self.tell(s, 11, "belt runs in Manual without the button", "");
        }
        for a in Actuator::ALL {
            if fresh.work(a) && !held(self.jogged[a.index()]) {
                self.tell(s, 11, "actuator moved in Manual without its button", a.name());
            }
        }
    }

    /// Whether a bottle may have followed the one in the grip past the release blade. If none has, what comes and goes in the release eye
    /// is the one that is held, or a contact that chatters.
    pub(super) const fn is_followed(&self) -> bool {
        self.newest_past == 0 || self.newest_past > self.newest_gripped
    }

    /// Whether the running mode is Production.
    pub(super) fn producing(&self) -> bool {
        self.mode == Mode::Production
    }

    pub(super) fn is_manual(&self) -> bool {
        self.mode == Mode::Manual
    }

    pub(super) fn is_sent(&self, a: Actuator, to: Sent) -> bool {
        self.watch.motion(a).sent == to
    }
}
