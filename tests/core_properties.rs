//! The core under arbitrary inputs: it never panics (the tests run with overflow checks), and what must hold at every tick holds.
//!
//! A stream begins with a recorded rehearsal, cut off anywhere, so that it strikes the station in the middle of its work; then come
//! arbitrary contacts, steps of belt and time (backwards and to the ends of their ranges too), unreadable inputs and requests.

use crate::cases::cases;
use crate::random_job::{Dice, shipped};
use crate::states::published;
use host_sim::rehearse::{Options, rehearse_with};
use proptest::prelude::*;
use std::sync::OnceLock;
use tests::promises::{Promises, balance};
use timing_core::{
    Actuator, ActuatorProfile, BeltOwner, CapPolicy, Command, Contacts, Counts, CountsPerMm, Duration, Inputs, Instant,
    Machine, MachineProfile, Millimetres, Mode, Pose, Product, Request, Setpoints, Speed, Station, Tighten, ValveKind,
    example,
};

/// A station, and what is asked after each of its ticks.
struct Watched {
    station: Station,
    promises: Promises,
    wake: Instant,
}

impl Watched {
    fn new(station: Station, p: &MachineProfile) -> Self {
        Self { station, promises: Promises::new(p.idle_spin, published), wake: Instant::ZERO }
    }

    fn tick(&mut self, i: &Inputs) {
        let out = self.station.tick(i);
        self.promises.tick(i, &out);
        self.wake = out.wake.at;
        balance(&self.station);
    }
}

/// One step of an arbitrary stream.
#[derive(Clone, Copy, Debug)]
struct Step {
    dt: i64,
    dp: i64,
    flip: u32,
    failed: u32,
    request: Option<Request>,
    timed: bool,
    honour: bool,
}

fn request() -> impl Strategy<Value = Request> {
    let actuator = || proptest::sample::select(Actuator::ALL.to_vec());
    prop_oneof![
        6 => proptest::sample::select(Command::ALL.to_vec()).prop_map(Request::Command),
        1 => proptest::sample::select(vec![Mode::Production, Mode::Maintenance, Mode::Manual]).prop_map(Request::Mode),
        1 => prop_oneof![0_u32..5, any::<u32>()].prop_map(Request::Batch),
        2 => (actuator(), proptest::sample::select(vec![Pose::Off, Pose::Home, Pose::Work]))
            .prop_map(|(a, p)| Request::Jog(a, p)),
        1 => Just(Request::JogSpin),
        1 => Just(Request::JogBelt),
        1 => Just(Request::Step),
        1 => Just(Request::DryCycle),
        1 => any::<u8>().prop_map(Request::Declare),
    ]
}

fn step() -> impl Strategy<Value = Step> {
    let dt = prop_oneof![
        20 => 0_i64..20_000,
        5 => 0_i64..3_000_000,
        1 => -100_000_i64..0,
        1 => any::<i64>(),
    ];
    let dp = prop_oneof![
        20 => 0_i64..60,
        3 => -60_i64..0,
        2 => -5_000_i64..5_000,
        1 => any::<i64>(),
    ];
    let flip = prop_oneof![
        8 => Just(0_u32),
        8 => (0_u32..32).prop_map(|b| 1 << b),
        1 => any::<u32>(),
    ];
    let failed = prop_oneof![30 => Just(0_u32), 2 => (0_u32..32).prop_map(|b| 1 << b), 1 => any::<u32>()];
    (dt, dp, flip, failed, proptest::option::weighted(0.15, request()), any::<bool>(), any::<bool>()).prop_map(
        |(dt, dp, flip, failed, request, timed, honour)| Step { dt, dp, flip, failed, request, timed, honour },
    )
}

/// Plays arbitrary steps from where the last inputs were; some are taken back at the next step, as a glitch is.
fn play(watched: &mut Watched, from: &Inputs, steps: &[Step]) {
    let mut i = *from;
    for s in steps {
        let now = i.now.as_micros().saturating_add_signed(s.dt);
        let belt = i.belt.get().saturating_add(s.dp);
        i = Inputs {
            now: Instant::from_micros(now),
            belt: Counts::new(belt),
            belt_at: s.timed.then(|| Instant::from_micros(now.saturating_sub(s.dp.unsigned_abs() % 1_000))),
            contacts: Contacts::from_bits(i.contacts.bits() ^ s.flip),
            failed: Contacts::from_bits(s.failed),
            release_latch: (s.flip % 3 == 1).then_some(Counts::new(belt.saturating_sub(3))),
            discharge_latch: None,
            request: s.request,
        };
        watched.tick(&i);
        if s.honour {
            // Nothing new but time: what was due comes due.
            i = Inputs { now: watched.wake.max(i.now), request: None, ..i };
            watched.tick(&i);
        }
    }
}

/// A rehearsal as recorded: set-up and inputs.
type Recording = (Machine, Setpoints, MachineProfile, Vec<Inputs>);

/// Recorded rehearsals to begin with.
fn recordings() -> &'static [Recording] {
    static RECORDED: OnceLock<Vec<Recording>> = OnceLock::new();
    RECORDED.get_or_init(|| {
        ["steady-day", "torque-window", "belt-stop", "jam-cleared"]
            .map(|name| {
                let job = shipped(name);
                let plan = host_sim::plan::plan(&job).expect("a plan");
                let mut inputs = Vec::new();
                rehearse_with(&job, &Options { rules: false, ..Options::default() }, &mut |i, _| inputs.push(*i))
                    .expect("it runs");
                inputs.truncate(3_000);
                (plan.machine().expect("a machine"), plan.setpoints_of().expect("set-points"), plan.profile, inputs)
            })
            .into()
    })
}

proptest! {
    #![proptest_config(ProptestConfig { max_shrink_iters: 500, ..cases(1_000) })]

    /// Struck anywhere in its work.
    #[test]
    fn arbitrary_inputs_break_no_rule(
        which in 0_usize..4,
        at in 0.0..1.0f64,
        steps in proptest::collection::vec(step(), 1..160),
    ) {
        let (machine, setpoints, profile, inputs) = &recordings()[which];
        let cut = (at * (inputs.len() - 1) as f64) as usize + 1;
        let mut watched = Watched::new(Station::new(*machine, *setpoints), profile);
        for i in &inputs[..cut] {
            watched.tick(i);
        }
        play(&mut watched, &inputs[cut - 1], &steps);
    }

    /// From power-up, at any time and place, with any contacts.
    #[test]
    fn arbitrary_power_up_breaks_no_rule(
        now in prop_oneof![Just(0), Just(u64::MAX - 1), any::<u64>()],
        belt in prop_oneof![Just(0), Just(i64::MAX), Just(i64::MIN), any::<i64>()],
        contacts in any::<u32>(),
        steps in proptest::collection::vec(step(), 1..100),
    ) {
        let (machine, setpoints, profile, _) = &recordings()[0];
        let mut watched = Watched::new(Station::new(*machine, *setpoints), profile);
        let first = Inputs {
            now: Instant::from_micros(now), belt: Counts::new(belt), contacts: Contacts::from_bits(contacts),
            ..Inputs::default()
        };
        watched.tick(&first);
        play(&mut watched, &first, &steps);
    }

    /// Arbitrary tables are refused or accepted, and what is accepted can be run.
    #[test]
    fn arbitrary_tables_never_panic(seed in any::<u64>(), steps in proptest::collection::vec(step(), 1..60)) {
        let mut dice = Dice::new(seed);
        let (m, p) = tables(&mut dice);
        run_if_accepted(&m, &p, &steps);
    }
}

/// The ends of the number line are where "nothing is awaited" is stored: a belt or a clock that stands there must not make it due.
/// (Once a tick there never ended: a bottle with nothing to wait for was found due time and again.)
#[test]
fn the_ends_of_time_and_belt_are_survived_at_any_moment() {
    for (machine, setpoints, profile, inputs) in recordings() {
        let mut watched = Watched::new(Station::new(*machine, *setpoints), profile);
        for (n, i) in inputs.iter().enumerate() {
            watched.tick(i);
            if n % 5 != 0 {
                continue;
            }
            for (now, belt) in [
                (i.now.as_micros() + 1, i64::MAX),
                (i.now.as_micros() + 1, i64::MAX - 1),
                (i.now.as_micros() + 1, i64::MIN),
                (u64::MAX, i.belt.get()),
                (u64::MAX, i64::MAX),
            ] {
                let mut there = Watched { station: watched.station.clone(), ..watched };
                let end = Inputs { now: Instant::from_micros(now), belt: Counts::new(belt), request: None, ..*i };
                there.tick(&end);
                there.tick(&end);
            }
        }
    }
}

fn run_if_accepted(m: &MachineProfile, p: &Product, steps: &[Step]) -> bool {
    let Ok(machine) = Machine::new(m) else { return false };
    let Ok(setpoints) = Setpoints::new(p, &machine) else { return false };
    let mut watched = Watched::new(Station::new(machine, setpoints), m);
    let first = Inputs { contacts: example::at_rest(), ..Inputs::default() };
    watched.tick(&first);
    let ask = |c| Step {
        dt: 700_000,
        dp: 0,
        flip: 0,
        failed: 0,
        request: Some(Request::Command(c)),
        timed: true,
        honour: true,
    };
    play(&mut watched, &first, &[ask(Command::Reset), ask(Command::Start)]);
    let from = Inputs { now: Instant::from_micros(watched.promises.last()), ..first };
    play(&mut watched, &from, steps);
    true
}

/// The generator of tables is worth its name: it makes tables that are accepted, and such that are not.
#[test]
fn arbitrary_tables_are_neither_all_refused_nor_all_accepted() {
    let accepted = (0..4_000).filter(|seed| {
        let (m, p) = tables(&mut Dice::new(*seed));
        run_if_accepted(&m, &p, &[])
    });
    let n = accepted.count();
    assert!((400..3_600).contains(&n), "{n} of 4000 accepted");
}

/// Values at and beyond the ends of what is allowed, and anything else.
fn wild(dice: &mut Dice) -> i32 {
    match dice.below(6) {
        0 => i32::MAX,
        1 => i32::MIN,
        2 => dice.between(-2.0, 3.0) as i32,
        3 => dice.between(-1e6, 1e6) as i32,
        4 => dice.below(1 << 32) as u32 as i32,
        _ => (dice.between(-600.0, 600.0) * 65_536.0) as i32,
    }
}

fn wild_time(dice: &mut Dice) -> Duration {
    Duration::from_micros(match dice.below(5) {
        0 => 0,
        1 => u64::MAX,
        2 => dice.below(u64::MAX),
        3 => dice.below(12_000_000),
        _ => dice.below(600_000),
    })
}

fn tables(dice: &mut Dice) -> (MachineProfile, Product) {
    let (mut m, mut p) = (example::machine(), example::product());
    for _ in 0..dice.below(4) {
        mar_machine(dice, &mut m);
    }
    for _ in 0..dice.below(4) {
        mar_product(dice, &mut p);
    }
    (m, p)
}

fn mar_machine(dice: &mut Dice, m: &mut MachineProfile) {
    let mm = Millimetres::from_bits(wild(dice));
    let t = wild_time(dice);
    match dice.below(24) {
        0 => m.counts_per_mm = CountsPerMm::from_bits(wild(dice) as u32),
        1 => m.belt_owner = BeltOwner::Line,
        2 => m.belt_speed_max = Speed::from_bits(wild(dice)),
        3 => m.belt_ramp = t,
        4 => m.suspend_stops_belt = true,
        5 => m.release_blade = mm,
        6 => m.release_eye = mm,
        7 => m.discharge_eye = dice.chance(0.5).then_some(mm),
        8 => m.cap_eye = Some(mm),
        9 => m.reject = dice.chance(0.5).then_some(mm),
        10 => m.reject_length = mm,
        11 => m.head_clear = mm,
        12 | 13 => {
            let valve = [ValveKind::SpringReturn, ValveKind::Detented, ValveKind::CentreClosed][dice.below(3) as usize];
            let (latency, to_work, to_home) = (wild_time(dice), wild_time(dice), wild_time(dice));
            m.actuators[dice.below(6) as usize] = ActuatorProfile { valve, latency, to_work, to_home, margin: t };
        }
        14 => m.fitted = Contacts::from_bits(m.fitted.bits() ^ (1 << dice.below(32))),
        15 => m.eye_on = t,
        16 => m.eye_filter = t,
        17 => m.contact_filter = t,
        18 => m.safety_filter = t,
        19 => (m.belt_still, m.sample_gap) = (t, wild_time(dice)),
        20 => m.reverse_tolerance = mm,
        21 => (m.warn, m.clear) = (t, wild_time(dice)),
        22 => (m.starve, m.patience) = (t, wild_time(dice)),
        _ => m.idle_spin = true,
    }
}

fn mar_product(dice: &mut Dice, p: &mut Product) {
    let mm = Millimetres::from_bits(wild(dice));
    let t = wild_time(dice);
    match dice.below(22) {
        0 => p.speed = Speed::from_bits(wild(dice)),
        1 => (p.body_min, p.body, p.body_max) = (mm, mm, mm),
        2 => p.body_max = mm,
        3 => p.catch_travel = mm,
        4 => p.catch_early = mm,
        5 => p.capture = mm,
        6 => p.u_base = mm,
        7 => p.gate_shut_travel = mm,
        8 => p.settle_travel = mm,
        9 => p.misfeed_travel = mm,
        10 => p.jam_travel = mm,
        11 => p.leave_travel = mm,
        12 => p.slip = mm,
        13 => p.slip_u = mm,
        14 => p.stop_travel = mm,
        15 => (p.seat_dwell, p.engage_dwell, p.disengage_dwell) = (t, wild_time(dice), wild_time(dice)),
        16 => p.tighten = [Tighten::SeatOnly(t), Tighten::Turns(t)][dice.below(2) as usize],
        17 => p.tighten = Tighten::Torque { earliest: t, latest: wild_time(dice) },
        18 => p.spin_rpm = wild(dice) as u16,
        19 => p.cap = [CapPolicy::AtHead, CapPolicy::Upstream][dice.below(2) as usize],
        20 => p.early = Some(t),
        _ => (p.speed_window, p.misses_to_hold) = (mm, wild(dice) as u8),
    }
}
