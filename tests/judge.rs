//! The judge's rules: a correct cycle passes, and for each rule a stream that breaks it is caught.
//!
//! The streams are written by hand, as a timeline in milliseconds: what is ordered, what the unit says, what the eyes see. A
//! bench of this file turns orders into reed contacts and belt counts; it knows nothing of the core.

use host_sim::facts::{Fact, What};
use host_sim::job::spec::Job;
use host_sim::judge::rules::{Rules, Seen};
use host_sim::verdict::{Breach, Counted};
use timing_core::{
    Actuator, CapPolicy, Command, Contact, Contacts, Counts, Event, EventKind, Instant, Mode, Orders, Request,
    UnitState, ValveKind, Wake, Why,
};

use crate::judge_job::job;

/// One thing on the timeline.
#[derive(Clone, Copy, Debug)]
enum Do {
    Work(Actuator, bool),
    /// Homing coil, working coil off.
    Home(Actuator),
    Belt(bool),
    Spin(bool),
    Beacon(bool),
    Drop,
    Unit(UnitState),
    Untold(UnitState),
    Ask(Request),
    Refuse(Command),
    Mode(Mode),
    Contact(Contact, bool),
    /// A contact that lies: always this level.
    Stick(Contact, bool),
    Fact(u32, What),
    Count(Counted),
    WakeIn(i64),
    WakeBelow(i64),
}

use Actuator::{EntryGate, Grip, Plunger, ReleaseGate, Rollers};
use Do as D;
use UnitState as S;

fn counted(registered: u32, good: u32) -> Counted {
    Counted { registered, good, inside: registered - good, ..Counted::default() }
}

/// A whole start, a bottle closed, and the next released: what a correct controller does on the machine of [`job`].
///
/// 100 mm/s, 20.48 counts/mm; strokes 20 + 100 ms; release eye at −61.5 mm, so that a bottle's centre is on the head centre 94 mm
/// = 940 ms after its edge.
fn cycle() -> Vec<(u64, &'static str, Do)> {
    let mut line = start();
    line.extend(one(0, 1, 0));
    line.extend([
        (4_200, "release 2", D::Work(ReleaseGate, true)),
        (4_600, "edge 2", D::Contact(Contact::ReleaseEye, true)),
    ]);
    line.extend([(4_600, "count 2", D::Count(counted(2, 0))), (5_000, "good 1", D::Count(counted(2, 1)))]);
    line
}

fn start() -> Vec<(u64, &'static str, Do)> {
    vec![
        (0, "chain", D::Contact(Contact::Chain, true)),
        (0, "guard", D::Contact(Contact::Guard, true)),
        (0, "stopped", D::Unit(S::Stopped)),
        (10, "ask reset", D::Ask(Request::Command(Command::Reset))),
        (10, "resetting", D::Unit(S::Resetting)),
        (20, "idle", D::Unit(S::Idle)),
        (30, "ask start", D::Ask(Request::Command(Command::Start))),
        (30, "starting", D::Unit(S::Starting)),
        (30, "beacon on", D::Beacon(true)),
        (1_040, "belt on", D::Belt(true)),
        (1_040, "beacon off", D::Beacon(false)),
        (1_100, "execute", D::Unit(S::Execute)),
        (1_100, "entry open", D::Work(EntryGate, true)),
    ]
}

/// The n-th bottle's way from a filled pocket to the open grip.
fn one(later: u64, n: u32, good: u32) -> Vec<(u64, &'static str, Do)> {
    let line = [
        (1_500, "pocket", D::Contact(Contact::PocketEye, true)),
        (1_650, "entry shut", D::Work(EntryGate, false)),
        (1_800, "release", D::Work(ReleaseGate, true)),
        (2_200, "edge", D::Contact(Contact::ReleaseEye, true)),
        (2_200, "count", D::Count(counted(n, good))),
        (2_400, "pocket clear", D::Contact(Contact::PocketEye, false)),
        (2_800, "release shut", D::Work(ReleaseGate, false)),
        (2_850, "edge clear", D::Contact(Contact::ReleaseEye, false)),
        (2_950, "entry open 2", D::Work(EntryGate, true)),
        (3_020, "grip", D::Work(Grip, true)),
        (3_160, "plunger", D::Work(Plunger, true)),
        (3_200, "cap", D::Contact(Contact::Cap, true)),
        (3_300, "rollers", D::Work(Rollers, true)),
        (3_400, "pocket 2", D::Contact(Contact::PocketEye, true)),
        (3_450, "spin", D::Spin(true)),
        (3_600, "entry shut 2", D::Work(EntryGate, false)),
        (3_700, "spin off", D::Spin(false)),
        (3_710, "rollers back", D::Work(Rollers, false)),
        (3_850, "plunger up", D::Work(Plunger, false)),
        (3_900, "cap clear", D::Contact(Contact::Cap, false)),
        (4_000, "grip open", D::Work(Grip, false)),
    ];
    line.into_iter().map(|(t, name, what)| (t + later, name, what)).collect()
}

fn moved(mut line: Vec<(u64, &'static str, Do)>, name: &str, to: u64) -> Vec<(u64, &'static str, Do)> {
    let entry = line.iter_mut().find(|(_, n, _)| *n == name).unwrap_or_else(|| panic!("no {name}"));
    entry.0 = to;
    line
}

fn without(mut line: Vec<(u64, &'static str, Do)>, names: &[&str]) -> Vec<(u64, &'static str, Do)> {
    for name in names {
        let before = line.len();
        line.retain(|(_, n, _)| n != name);
        assert!(line.len() < before, "no {name}");
    }
    line
}

fn plus(mut line: Vec<(u64, &'static str, Do)>, t: u64, what: Do) -> Vec<(u64, &'static str, Do)> {
    line.push((t, "", what));
    line
}

/// Where each actuator's reeds are, from what is ordered: still until the latency is over, then at the other end after the travel.
#[derive(Clone, Copy, Default)]
struct Reed {
    work: bool,
    since: u64,
}

impl Reed {
    fn contacts(self, t: u64) -> (bool, bool) {
        let (left, there) = (t >= self.since + 20, t >= self.since + 120);
        if self.work { (!left, there) } else { (there || self.since == 0, !left && self.since != 0) }
    }
}

/// Plays a timeline in ticks of 5 ms and says what the judge found.
fn judge(job: &Job, mut line: Vec<(u64, &'static str, Do)>, end_ms: u64) -> Vec<Breach> {
    line.sort_by_key(|&(t, ..)| t);
    let mut rules = Rules::new(job);
    let mut reeds = [Reed::default(); 6];
    let mut eyes = Contacts::NONE;
    let mut stuck: Vec<(Contact, bool)> = Vec::new();
    let (mut orders, mut unit, mut mode) = (Orders::SAFE, S::Stopped, Mode::Production);
    let (mut belt, mut counted) = (0.0_f64, Counted::default());
    let (mut wake_in, mut wake_below) = (10_000_i64, 1_i64);
    let mut line = line.into_iter().peekable();
    for t in (0..=end_ms).step_by(5) {
        if orders.belt() {
            belt += 0.5 * 20.48;
        }
        let mut contacts = eyes;
        let mut events = Vec::new();
        let mut facts = Vec::new();
        let mut request = None;
        while let Some((_, _, what)) = line.next_if(|&(at, ..)| at <= t) {
            match what {
                D::Work(a, on) => orders = orders.with_coils(a, on, false),
                D::Home(a) => orders = orders.with_coils(a, false, true),
                D::Belt(on) => orders = orders.with_belt(on),
                D::Spin(on) => orders = orders.with_spin(on),
                D::Beacon(on) => orders = orders.with_beacon(on),
                D::Drop => orders = Orders::SAFE,
                D::Unit(to) => {
                    if to != unit {
                        let value = unit as i32;
                        events.push(Event { kind: EventKind::State, why: Why::Plain, detail: to as u16, value });
                    }
                    unit = to;
                }
                D::Untold(to) => unit = to,
                D::Ask(r) => request = Some(r),
                D::Refuse(c) => {
                    request = Some(Request::Command(c));
                    let why = Why::WrongState;
                    events.push(Event { kind: EventKind::Refused, why, detail: c as u16, value: 0 });
                }
                D::Mode(m) => mode = m,
                D::Contact(c, on) => eyes = eyes.with(c, on),
                D::Stick(c, on) => stuck.push((c, on)),
                D::Fact(bottle, what) => facts.push(Fact { t_us: t * 1_000, bottle, what }),
                D::Count(c) => counted = c,
                D::WakeIn(us) => wake_in = us,
                D::WakeBelow(counts) => wake_below = counts,
            }
            contacts = eyes;
        }
        for (reed, a) in reeds.iter_mut().zip(Actuator::ALL) {
            let (home, work) = reed.contacts(t);
            contacts = contacts.with(Contact::home_of(a), home).with(Contact::work_of(a), work);
            if orders.work(a) != reed.work {
                *reed = Reed { work: orders.work(a), since: t };
            }
        }
        for &(c, on) in &stuck {
            contacts = contacts.with(c, on);
        }
        let belt = belt as i64;
        rules.see(&Seen {
            t_us: t * 1_000,
            belt,
            contacts,
            failed: Contacts::NONE,
            request,
            orders,
            unit,
            mode,
            wake: Wake {
                at: Instant::from_micros((t * 1_000).saturating_add_signed(wake_in)),
                below: Counts::new(belt - wake_below),
                above: Counts::new(belt + 100),
            },
            events: &events,
            events_lost: 0,
            counted,
            facts: &facts,
        });
    }
    rules.into_breaches()
}

#[track_caller]
fn clean(job: &Job, line: Vec<(u64, &'static str, Do)>) {
    let found = judge(job, line, 5_200);
    assert!(found.is_empty(), "{found:#?}");
}

/// The stream breaks `rule` first of all at `t_ms`.
#[track_caller]
fn caught(rule: u8, t_ms: u64, line: Vec<(u64, &'static str, Do)>) {
    caught_on(&job(), rule, t_ms, line);
}

#[track_caller]
fn caught_on(job: &Job, rule: u8, t_ms: u64, line: Vec<(u64, &'static str, Do)>) {
    let found = judge(job, line, 5_200);
    let hit = found.iter().find(|b| b.rule == rule);
    assert_eq!(hit.map(|b| b.t_us), Some(t_ms * 1_000), "rule {rule}: {found:#?}");
    let sooner: Vec<_> = found.iter().filter(|b| b.t_us < t_ms * 1_000).collect();
    assert!(sooner.is_empty(), "before that: {sooner:#?}");
}

#[test]
fn a_correct_cycle_breaks_nothing() {
    clean(&job(), cycle());
}

#[test]
fn a_correct_cycle_without_reeds_is_judged_by_time_and_breaks_nothing() {
    let mut timed = job();
    for a in &mut timed.machine.actuators {
        (a.home, a.work, a.over) = (false, false, false);
    }
    clean(&timed, cycle());
    // By time, 1 ms short of the nominal stroke is too soon; the bench ticks every 5 ms.
    caught_on(&timed, 2, 3_135, moved(cycle(), "plunger", 3_135));
}

#[test]
fn three_bottles_in_a_row_break_nothing() {
    let mut line = start();
    for n in 0..3 {
        line.extend(one(3_000 * u64::from(n), n + 1, n));
    }
    line.push((11_000, "", D::Count(counted(3, 3))));
    let found = judge(&job(), line, 12_000);
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn maintenance_moves_only_what_was_asked_for_and_may_close_the_head_on_nothing() {
    let mut line = start();
    line.truncate(3);
    line.extend([(10, "", D::Ask(Request::Mode(Mode::Maintenance))), (10, "", D::Mode(Mode::Maintenance))]);
    line.push((50, "ask", D::Ask(Request::DryCycle)));
    line.extend([(100, "", D::Work(Grip, true)), (220, "", D::Stick(Contact::GripOver, true))]);
    line.extend([(300, "", D::Work(Plunger, true)), (500, "rollers", D::Work(Rollers, true))]);
    line.extend([
        (700, "", D::Work(Rollers, false)),
        (900, "", D::Work(Plunger, false)),
        (1_100, "", D::Work(Grip, false)),
    ]);
    clean(&job(), line.clone());
    caught(11, 100, without(line.clone(), &["ask"]));
    caught(2, 350, moved(line, "rollers", 350));
}

#[test]
fn detented_actuators_are_homed_rollers_first() {
    let mut detented = job();
    for a in &mut detented.machine.actuators {
        (a.valve, a.home, a.work) = (ValveKind::Detented, false, false);
    }
    let mut line: Vec<_> = start().into_iter().filter(|&(_, name, _)| name != "entry open").collect();
    for (t, a) in [(1_100, Rollers), (1_300, Plunger), (1_500, Grip), (1_700, ReleaseGate), (1_700, EntryGate)] {
        line.push((t, a.name(), D::Home(a)));
    }
    line = moved(line, "execute", 2_000);
    clean(&detented, line.clone());
    caught_on(&detented, 4, 1_150, moved(line.clone(), "plunger", 1_150));
    caught_on(&detented, 9, 1_350, moved(line.clone(), "grip", 1_350));
    // With home contacts that say so already, all may be sent home at once.
    for a in &mut detented.machine.actuators {
        a.home = true;
    }
    let at_once =
        line.into_iter().map(|(t, name, what)| (if matches!(what, D::Home(_)) { 1_100 } else { t }, name, what));
    clean(&detented, at_once.collect());
}

#[test]
fn r1_chain_open() {
    let open = |line| plus(line, 3_500, D::Contact(Contact::Chain, false));
    // Orders stand in the tick of the opening.
    caught(1, 3_500, open(cycle()));
    // Dropped in the same tick: that alone breaks nothing, though rollers, plunger and grip all drop at once.
    let stop: Vec<_> = cycle().into_iter().filter(|&(t, ..)| t <= 3_500).collect();
    let drop = plus(plus(open(stop), 3_500, D::Drop), 3_500, D::Unit(S::Aborting));
    clean(&job(), drop.clone());
    // The chain closes, and the belt starts again by itself.
    let again = plus(plus(drop.clone(), 4_000, D::Contact(Contact::Chain, true)), 4_500, D::Belt(true));
    caught(1, 4_500, again);
    // Clear, Reset and Start, asked and taken: it may.
    let mut restart = plus(drop, 3_600, D::Unit(S::Aborted));
    restart.push((3_700, "", D::Contact(Contact::Chain, true)));
    let steps = [
        (3_800, Command::Clear, S::Clearing, S::Stopped),
        (3_900, Command::Reset, S::Resetting, S::Idle),
        (4_000, Command::Start, S::Starting, S::Starting),
    ];
    for (t, command, to, then) in steps {
        restart.push((t, "", D::Ask(Request::Command(command))));
        restart.push((t, command.name(), D::Unit(to)));
        restart.push((t + 50, "", D::Unit(then)));
    }
    restart.push((4_000, "", D::Beacon(true)));
    restart.push((5_010, "", D::Belt(true)));
    clean(&job(), restart.clone());
    // Without Reset it may not.
    let skip = restart.into_iter().filter(|&(t, ..)| !(3_900..4_000).contains(&t)).collect();
    caught(1, 4_000, skip);
}

#[test]
fn r2_plunger_and_rollers() {
    caught(2, 3_100, moved(cycle(), "plunger", 3_100));
    caught(2, 3_250, moved(cycle(), "rollers", 3_250));
    caught(2, 3_160, plus(cycle(), 3_120, D::Stick(Contact::GripOver, true)));
    // A stale contact confirms nothing: it stands on work when the order leaves.
    caught(2, 3_025, plus(moved(cycle(), "plunger", 3_025), 2_000, D::Stick(Contact::GripWork, true)));
    // No bottle was registered.
    caught(8, 3_020, without(cycle(), &["edge", "edge clear"]));
    caught(2, 3_160, plus(cycle(), 3_130, D::Stick(Contact::GripWork, false)));
}

#[test]
fn r3_spin() {
    caught(3, 3_350, moved(cycle(), "spin", 3_350));
    caught(3, 3_710, moved(cycle(), "spin off", 3_750));
    caught(3, 3_450, without(cycle(), &["cap", "cap clear"]));
    let mut seat_only = job();
    seat_only.product.tighten = host_sim::job::spec::TightenSpec::SeatOnly;
    caught_on(&seat_only, 3, 3_450, cycle());
    clean(&seat_only, without(cycle(), &["spin", "spin off"]));
    let mut idle = job();
    idle.machine.idle_spin = true;
    clean(&idle, plus(without(cycle(), &["spin", "spin off"]), 1_200, D::Spin(true)));
    let mut upstream = job();
    upstream.product.cap = CapPolicy::Upstream;
    upstream.machine.cap_eye_mm = Some(-40.0);
    // Centre at −40 mm is 54 mm = 540 ms after the edge.
    caught_on(&upstream, 3, 3_450, cycle());
    let seen = plus(cycle(), 2_700, D::Contact(Contact::Cap, true));
    clean(&upstream, plus(seen, 2_780, D::Contact(Contact::Cap, false)));
}

#[test]
fn r4_rollers_first() {
    caught(4, 3_800, moved(cycle(), "plunger up", 3_800));
    let grip = moved(cycle(), "grip open", 3_750);
    caught(4, 3_750, grip);
    // In Manual too, on contacts.
    let mut manual = start();
    manual.truncate(3);
    manual.extend([(10, "", D::Ask(Request::Mode(Mode::Manual))), (10, "", D::Mode(Mode::Manual))]);
    for (t, a, on) in
        [(100, Grip, true), (300, Plunger, true), (500, Rollers, true), (700, Rollers, false), (900, Plunger, false)]
    {
        let pose = if on { timing_core::Pose::Work } else { timing_core::Pose::Home };
        manual.push((t, "", D::Ask(Request::Jog(a, pose))));
        manual.push((t, a.name(), D::Work(a, on)));
    }
    clean(&job(), manual.clone());
    manual.retain(|&(t, ..)| t != 700);
    caught(4, 900, manual);
}

#[test]
fn r5_gates() {
    caught(5, 1_700, moved(cycle(), "release", 1_700));
    caught(5, 2_850, moved(cycle(), "entry open 2", 2_850));
    caught(5, 1_800, without(cycle(), &["entry shut"]));
    caught(5, 1_800, plus(cycle(), 0, D::Stick(Contact::EntryGateHome, false)));
}

#[test]
fn r6_release() {
    // The grip is not yet confirmed open.
    caught(6, 4_050, moved(cycle(), "release 2", 4_050));
    // The bottle before is still on its way.
    let early = moved(moved(cycle(), "release 2", 2_920), "entry open 2", 4_900);
    let early = without(early, &["pocket 2", "entry shut 2"]);
    caught(6, 2_920, early);
    // Stopping admits no more.
    let stopping = plus(cycle(), 4_100, D::Ask(Request::Command(Command::Stop)));
    caught(6, 4_200, plus(stopping, 4_100, D::Unit(S::Stopping)));
    // Early release is allowed where the job has it, as long as the belt stops in time.
    let mut job = job();
    job.product.early_release = true;
    clean(&job, moved(cycle(), "release 2", 3_800));
    // The newcomer's edge comes at 3 400 ms; 32 mm later it is where the held bottle's rim is.
    let twice = without(cycle(), &["release 2", "edge 2", "entry open 2", "pocket 2", "entry shut 2"]);
    let twice = plus(twice, 3_100, D::Contact(Contact::ReleaseEye, true));
    let found = judge(&job, twice, 3_700);
    assert!(found.iter().any(|b| b.rule == 6 && b.t_us > 3_400_000), "{found:#?}");
}

#[test]
fn r7_blades() {
    caught(7, 2_500, moved(cycle(), "release shut", 2_500));
    caught(7, 1_540, moved(cycle(), "entry shut", 1_540));
    // A blade that physically met a bottle.
    caught(7, 1_700, plus(cycle(), 1_700, D::Fact(2, What::StruckByGate(0))));
    caught(7, 2_900, plus(cycle(), 2_900, D::Fact(1, What::StruckByGate(1))));
    // The same blade falling because everything had to be dropped breaks no rule.
    let stop: Vec<_> = cycle().into_iter().filter(|&(t, ..)| t <= 2_300).collect();
    let dropped = plus(plus(stop, 2_300, D::Unit(S::Aborting)), 2_300, D::Drop);
    let dropped = plus(dropped, 2_300, D::Ask(Request::Command(Command::Abort)));
    clean(&job(), plus(dropped, 2_400, D::Fact(1, What::StruckByGate(1))));
}

#[test]
fn r8_catch() {
    caught(8, 3_500, moved(without(cycle(), &["plunger", "rollers", "spin", "spin off"]), "grip", 3_500));
    caught(8, 2_500, moved(cycle(), "grip", 2_500));
    // The one counter-order is allowed; a second catch of the same bottle is not.
    let back = ["plunger", "rollers", "spin", "spin off", "rollers back", "plunger up", "grip open"];
    let counter = plus(without(cycle(), &back), 3_060, D::Work(Grip, false));
    clean(&job(), counter.clone());
    caught(8, 3_100, plus(counter, 3_100, D::Work(Grip, true)));
}

#[test]
fn r9_order_of_steps() {
    caught(9, 3_010, moved(cycle(), "plunger", 3_010));
    caught(9, 3_100, moved(cycle(), "rollers", 3_100));
    caught(9, 3_900, moved(cycle(), "grip open", 3_900));
    // Rollers back while they spin.
    caught(9, 3_710, moved(cycle(), "spin off", 3_720));
    // The plunger's contact never comes, and the unit goes on: 120 + 50 ms bound, 5 ms filter, 100 ms slack.
    let stuck = without(cycle(), &["rollers", "spin", "spin off", "rollers back"]);
    let stuck = plus(moved(stuck, "plunger up", 4_900), 2_000, D::Stick(Contact::PlungerWork, false));
    caught(9, 3_440, without(stuck, &["grip open", "release 2", "edge 2"]));
}

#[test]
fn r11_motion_and_warning() {
    caught(11, 900, moved(cycle(), "belt on", 900));
    caught(11, 1_040, without(cycle(), &["beacon on"]));
    caught(11, 15, moved(cycle(), "belt on", 15));
    caught(11, 30, without(cycle(), &["ask start"]));
    caught(11, 10, without(cycle(), &["ask reset"]));
    let stop: Vec<_> = cycle().into_iter().filter(|&(t, ..)| t <= 1_100).collect();
    let mut held = stop;
    held.extend([
        (1_300, "", D::Unit(S::Holding)),
        (1_400, "", D::Belt(false)),
        (1_500, "", D::Unit(S::Held)),
        (2_000, "unhold", D::Ask(Request::Command(Command::Unhold))),
        (2_000, "", D::Unit(S::Unholding)),
        (2_000, "", D::Beacon(true)),
        (3_010, "go", D::Belt(true)),
        (3_020, "", D::Unit(S::Execute)),
    ]);
    clean(&job(), held.clone());
    caught(11, 2_000, without(held.clone(), &["unhold"]));
    caught(11, 2_900, moved(held.clone(), "go", 2_900));
    caught(11, 1_700, plus(held.clone(), 1_700, D::Belt(true)));
    // A fault in Held gives a Stop, not a motion.
    let mut stopped: Vec<_> = held.into_iter().filter(|&(t, ..)| t <= 1_500).collect();
    stopped.extend([(1_700, "", D::Unit(S::Stopping)), (1_800, "", D::Belt(true))]);
    caught(11, 1_800, stopped.clone());
    clean(&job(), plus(stopped, 1_700, D::Ask(Request::Command(Command::Stop))));
    // Aborting drops everything in the same tick.
    let abort = plus(cycle(), 2_000, D::Unit(S::Aborting));
    caught(11, 2_000, plus(abort, 2_000, D::Ask(Request::Command(Command::Abort))));
}

#[test]
fn r11_manual_needs_its_buttons() {
    let mut manual = start();
    manual.truncate(3);
    manual.extend([(10, "", D::Ask(Request::Mode(Mode::Manual))), (10, "", D::Mode(Mode::Manual))]);
    caught(11, 100, plus(manual.clone(), 100, D::Work(Grip, true)));
    let mut spin = manual.clone();
    spin.push((100, "", D::Spin(true)));
    spin.extend((100..=500).step_by(100).map(|t| (t, "", D::Ask(Request::JogSpin))));
    spin.push((700, "", D::Spin(false)));
    clean(&job(), spin.clone());
    // The button is let go at 500 ms, the rollers go on: 250 ms, one sample gap of 20 ms, 1 ms.
    spin.pop();
    caught(3, 775, spin);
    caught(11, 100, plus(manual, 100, D::Belt(true)));
}

#[test]
fn r12_counts() {
    let wrong = Counted { registered: 1, good: 1, inside: 1, ..Counted::default() };
    caught(12, 2_600, plus(cycle(), 2_600, D::Count(wrong)));
    caught(12, 5_100, plus(cycle(), 5_100, D::Count(counted(1, 1))));
}

#[test]
fn r13_batch() {
    let mut two = job();
    two.run.batch = 2;
    clean(&two, cycle());
    let mut one = job();
    one.run.batch = 1;
    caught_on(&one, 13, 4_200, cycle());
    let line = without(cycle(), &["release 2", "edge 2", "count 2", "good 1"]);
    let done = |t| [(t, "", D::Unit(S::Completing)), (t + 50, "", D::Unit(S::Completed))];
    let mut delivered = plus(line.clone(), 4_500, D::Count(counted(1, 1)));
    delivered.extend(done(4_600));
    clean(&one, delivered);
    let mut short = line.clone();
    short.extend(done(4_600));
    caught_on(&one, 13, 4_650, short);
    caught_on(&one, 13, 4_500, plus(line, 4_500, D::Count(Counted { registered: 2, good: 2, ..Counted::default() })));
}

#[test]
fn r14_state_table() {
    caught(14, 4_500, plus(cycle(), 4_500, D::Unit(S::Stopped)));
    caught(14, 4_500, plus(cycle(), 4_500, D::Untold(S::Idle)));
    // The last step told is not where the unit says that it is.
    caught(14, 4_500, plus(plus(cycle(), 4_500, D::Unit(S::Suspending)), 4_500, D::Untold(S::Holding)));
    // Two steps told in one tick are judged one by one.
    let both = plus(plus(cycle(), 4_500, D::Unit(S::Suspending)), 4_500, D::Unit(S::Suspended));
    clean(&job(), both);
    // A refused command is told.
    clean(&job(), plus(cycle(), 4_500, D::Refuse(Command::Start)));
    caught(14, 4_500, plus(cycle(), 4_500, D::Ask(Request::Command(Command::Start))));
}

#[test]
fn r15_wake() {
    caught(15, 4_500, plus(cycle(), 4_500, D::WakeIn(0)));
    caught(15, 4_500, plus(cycle(), 4_500, D::WakeIn(20_001)));
    caught(15, 4_500, plus(cycle(), 4_500, D::WakeBelow(0)));
    // Resetting that never ends; the bound is some 20 s on this machine.
    let mut endless = start();
    endless.truncate(5);
    let found = judge(&job(), endless, 60_000);
    assert_eq!(found.iter().map(|b| b.rule).collect::<Vec<_>>(), [15], "{found:#?}");
    // A state at rest that goes on waking every 10 ms after 10 s of quiet.
    let mut restless = start();
    restless.truncate(3);
    let found = judge(&job(), restless.clone(), 12_000);
    assert_eq!(found.iter().map(|b| b.rule).collect::<Vec<_>>(), [15], "{found:#?}");
    assert!(judge(&job(), plus(restless, 5, D::WakeIn(20_000)), 12_000).is_empty());
}

#[test]
fn a_breach_that_stands_is_told_once_and_again_when_it_comes_back() {
    let line = plus(plus(cycle(), 4_500, D::WakeIn(0)), 4_600, D::WakeIn(1_000));
    let found = judge(&job(), plus(line, 4_700, D::WakeIn(0)), 5_000);
    assert_eq!(found.iter().map(|b| b.t_us).collect::<Vec<_>>(), [4_500_000, 4_700_000]);
}

#[test]
fn detented_gates_are_judged_by_where_they_were_sent() {
    let mut detented = job();
    detented.machine.actuators[EntryGate.index()].valve = ValveKind::Detented;
    // Dropping its coil leaves a detented gate open: the shut order of the spring-return cycle is none.
    caught_on(&detented, 5, 1_800, cycle());
}
