//! The lines.

use core::panic::PanicInfo;
use cortex_m as _;
use cortex_m_rt::entry;
use cortex_m_semihosting::debug;
use defmt_semihosting as _;
use firmware_example::log;
use firmware_example::products::{Answer, Name, NameError, RecordError, Refusal, StoreError};
use firmware_example::recorded::ReadError;
use timing_core::{
    Actuator, Command, Contact, Contacts, Event, EventKind, FAULTS, Fault, HeadStep, Inputs, Instant, Machine,
    MachineError, Mode, Orders, Pose, ProductError, RULES, Request, Setpoints, Speed, Station, UnitState, Why, example,
};

#[entry]
fn start() -> ! {
    rules_broken();
    live();
    each_kind();
    products();
    loop {
        debug::exit(debug::EXIT_SUCCESS);
    }
}

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    loop {
        debug::exit(debug::EXIT_FAILURE);
    }
}

/// What the core says of a machine and a product that cannot work.
fn rules_broken() {
    let mut profile = example::machine();
    profile.actuators[Actuator::Grip.index()].latency = timing_core::Duration::from_millis(900);
    match Machine::new(&profile) {
        Err(e) => defmt::error!("machine refused: {}", e),
        Ok(_) => defmt::panic!("a valve of 900 ms is taken"),
    }
    let Ok(machine) = Machine::new(&example::machine()) else { defmt::panic!("the example machine is refused") };
    let mut product = example::product();
    product.speed = Speed::from_mm_per_s(3_000);
    match Setpoints::new(&product, &machine) {
        Err(e) => defmt::error!("product refused: {}", e),
        Ok(_) => defmt::panic!("a belt of 3 m/s is taken"),
    }
    let told = [MachineError::CountsPerMm, MachineError::Fitted(Contact::Chain)];
    defmt::info!("also: {}, {}", told, [ProductError::Lead, ProductError::NoTorqueContact]);
}

/// A station whose contacts never change and whose belt never moves: requests are refused, and strokes are overdue.
fn live() {
    let (Ok(machine), product) = (Machine::new(&example::machine()), example::product()) else { return };
    let Ok(setpoints) = Setpoints::new(&product, &machine) else { return };
    let mut station = Station::new(machine, setpoints);
    let mut inputs = Inputs { contacts: example::at_rest().with(Contact::Chain, false), ..Inputs::default() };
    log::tell(&station.tick(&inputs));
    let asked = [
        (1, Request::Command(Command::Start)),
        (2, Request::Command(Command::Clear)),
        (3, Request::Jog(Actuator::Grip, Pose::Work)),
    ];
    for (at, request) in asked {
        inputs.now = Instant::from_micros(at);
        inputs.request = Some(request);
        defmt::info!("{} asked: {}", inputs.now, request);
        log::tell(&station.tick(&inputs));
    }
    (inputs.contacts, inputs.request) = (example::at_rest(), None);
    let mut then =
        [(UnitState::Aborted, Command::Clear), (UnitState::Stopped, Command::Reset), (UnitState::Idle, Command::Start)]
            .into_iter()
            .peekable();
    let mut asked = inputs.now;
    for _ in 0..400 {
        let out = station.tick(&inputs);
        log::tell(&out);
        inputs.now = out.wake.at;
        // A second each, so that the filters have believed that the chain is closed.
        let due = inputs.now >= asked.plus(timing_core::Duration::from_millis(1_000));
        inputs.request = then.next_if(|(state, _)| due && station.unit() == *state).map(|(_, c)| Request::Command(c));
        if let Some(request) = inputs.request {
            asked = inputs.now;
            defmt::info!("{} asked: {}", asked, request);
        }
    }
    defmt::info!("at {}: {}", inputs.now, station.tick(&inputs));
    match station.load(setpoints) {
        Ok(()) => defmt::info!("product loaded"),
        Err(e) => defmt::warn!("product not loaded: {}", e),
    }
}

/// Each kind of event, with every fault, reason and request.
fn each_kind() {
    let say = |kind, why, detail, value| log::event(&Event { kind, why, detail, value });
    for row in &FAULTS {
        say(EventKind::Fault, Why::Fault, row.fault.code(), Pose::Work as i32);
    }
    for a in Actuator::ALL {
        say(EventKind::Fault, Why::Fault, Fault::StrokeOverdue(a).code(), Pose::Home as i32);
        say(EventKind::Drift, Why::Plain, a as u16, 12_345);
        say(EventKind::Drift, Why::Plain, a as u16 | 1 << 8, 12_345);
    }
    for c in Contact::ALL {
        say(EventKind::Blind, Why::NotFitted, c as u16, 0);
    }
    for why in Why::ALL {
        say(EventKind::Refused, why, Command::Start as u16, 0);
    }
    for request in 0..19 {
        say(EventKind::Refused, Why::WrongMode, request, 0);
    }
    for row in &RULES {
        say(EventKind::Guarded, Why::Interlock, row.rule.into(), row.order.number().into());
    }
    say(EventKind::State, Why::Starved, UnitState::Suspending as u16, UnitState::Execute as i32);
    say(EventKind::Mode, Why::Asked, Mode::Manual as u16, 0);
    say(EventKind::Head, Why::Plain, HeadStep::LetGo as u16, 0);
    say(EventKind::Feed, Why::Plain, 2, 0);
    say(EventKind::Registered, Why::Plain, 0, 12);
    say(EventKind::Counted, Why::Good, 0, 12);
    say(EventKind::Counted, Why::Found, 1, 2);
    say(EventKind::Flagged, Why::NoCap, 0, 12);
    say(EventKind::CatchOrdered, Why::Plain, 0, 3);
    say(EventKind::Caught, Why::Plain, 0, 4);
    say(EventKind::Caught, Why::Plain, 0, -4);
    say(EventKind::Tightened, Why::TorqueEarly, 0, 167_949);
    say(EventKind::Late, Why::Plain, 0, 950);
    say(EventKind::Length, Why::Plain, 0, 1_331);
    // Numbers that no version of this program knows.
    say(EventKind::State, Why::Plain, 99, 98);
    say(EventKind::Fault, Why::Fault, 31, 0);
    say(EventKind::Fault, Why::Fault, 5 | 7 << 5, 9);
    say(EventKind::Drift, Why::Plain, 6, 1);
    say(EventKind::Guarded, Why::Interlock, 4, 99);
    say(EventKind::Blind, Why::NotFitted, 32, 0);
    defmt::info!("{} and {}", Contacts::NONE.with(Contact::Chain, true).with(Contact::Air, true), Orders::SAFE);
    defmt::info!("{}", Orders::SAFE.with_coils(Actuator::Grip, true, false).with_belt(true).with_ready(true));
}

/// What the products in flash say.
fn products() {
    match Name::new("Round 500 ml") {
        Ok(name) => defmt::info!("{}", Answer::Loaded(name)),
        Err(e) => defmt::panic!("{}", e),
    }
    let not_kept: StoreError<()> = StoreError::NotKept;
    defmt::warn!("store: {}, {}", not_kept, StoreError::<()>::Rule(ProductError::Window));
    let refused: [Refusal<()>; 3] =
        [Refusal::NotAtRest, Refusal::Changed, Refusal::Store(StoreError::Record(RecordError::OtherVersion(9)))];
    defmt::warn!("refused: {}", refused);
    defmt::warn!("{} {}", NameError::TooLong, ReadError::Version(7));
}
