//! The loop over pins, on the host: the same that a board runs, with pins and counters made here.

use core::cell::{Cell, RefCell};
use core::convert::Infallible;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use embedded_hal::pwm::SetDutyCycle;
use firmware_example::Board;
use firmware_example::pins::{Clockwork, PinBoard};
use timing_core::hal::{
    Ask, Asks, Button, Buttons, Coil, DriveCoil, Duty, Input, Level, Output, ReadContact, Watchdog, Wires,
};
use timing_core::{
    Actuator, Command, Contact, Contacts, Counts, Instant, Machine, Setpoints, Speed, Station, UnitState, example,
};

/// An input pin, low when on, read off a set of contacts.
struct In<'a>(&'a Cell<Contacts>, Contact);

impl ErrorType for In<'_> {
    type Error = Infallible;
}

impl InputPin for In<'_> {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.get().has(self.1))
    }
    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.get().has(self.1))
    }
}

/// A button's pin, low when pressed.
struct Push<'a>(&'a Cell<bool>);

impl ErrorType for Push<'_> {
    type Error = Infallible;
}

impl InputPin for Push<'_> {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.get())
    }
    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.get())
    }
}

/// An output pin that may break.
struct Out<'a> {
    level: &'a Cell<bool>,
    broken: &'a Cell<bool>,
}

#[derive(Debug)]
struct Broken;

impl embedded_hal::digital::Error for Broken {
    fn kind(&self) -> embedded_hal::digital::ErrorKind {
        embedded_hal::digital::ErrorKind::Other
    }
}

impl ErrorType for Out<'_> {
    type Error = Broken;
}

impl OutputPin for Out<'_> {
    fn set_high(&mut self) -> Result<(), Broken> {
        if self.broken.get() {
            return Err(Broken);
        }
        self.level.set(true);
        Ok(())
    }
    fn set_low(&mut self) -> Result<(), Broken> {
        self.level.set(false);
        if self.broken.get() { Err(Broken) } else { Ok(()) }
    }
}

struct Pwm<'a>(&'a Cell<u16>);

impl embedded_hal::pwm::ErrorType for Pwm<'_> {
    type Error = Infallible;
}

impl SetDutyCycle for Pwm<'_> {
    fn max_duty_cycle(&self) -> u16 {
        1_000
    }
    fn set_duty_cycle(&mut self, duty: u16) -> Result<(), Infallible> {
        self.0.set(duty);
        Ok(())
    }
}

/// Half a millisecond passes with each look; the belt runs while its coil is on, at a count a look.
struct Time<'a> {
    us: u64,
    counts: i64,
    runs: &'a Cell<bool>,
    looks: &'a RefCell<Vec<u64>>,
}

impl Clockwork for Time<'_> {
    fn now(&mut self) -> Instant {
        self.us += 500;
        self.counts += i64::from(self.runs.get());
        self.looks.borrow_mut().push(self.us);
        Instant::from_micros(self.us)
    }
    fn belt(&mut self) -> (Counts, Option<Instant>) {
        (Counts::new(self.counts), None)
    }
}

struct Dog<'a>(&'a Cell<u32>);

impl Watchdog for Dog<'_> {
    fn feed(&mut self) {
        self.0.set(self.0.get() + 1);
    }
}

/// Reset and Start by buttons, the belt's coil and set-point, a chain that opens, and an output that breaks: all over pins.
#[test]
fn the_loop_over_pins_starts_stops_and_starves_the_watchdog() {
    let contacts = Cell::new(example::at_rest());
    let (reset, start) = (Cell::new(false), Cell::new(false));
    let (belt_on, broken, duty, fed) = (Cell::new(true), Cell::new(false), Cell::new(9), Cell::new(0));
    let looks = RefCell::new(Vec::new());

    let fitted = example::machine().fitted;
    let mut pins: Vec<Input<In<'_>>> = Contact::ALL
        .into_iter()
        .filter(|c| fitted.has(*c))
        .map(|c| Input::new(In(&contacts, c), c, Level::Low))
        .collect();
    let mut inputs: Vec<&mut dyn ReadContact> = pins.iter_mut().map(|p| p as &mut dyn ReadContact).collect();
    let grip_level = Cell::new(true);
    let mut belt = Output::new(Out { level: &belt_on, broken: &broken }, Coil::Belt, Level::High);
    let mut grip = Output::new(Out { level: &grip_level, broken: &broken }, Coil::Work(Actuator::Grip), Level::High);
    let mut outputs: [&mut dyn DriveCoil; 2] = [&mut belt, &mut grip];
    let mut first = Button::new(Push(&reset), Level::Low, Asks::Command(Command::Reset));
    let mut second = Button::new(Push(&start), Level::Low, Asks::Command(Command::Start));
    let mut panel: [&mut dyn Ask; 2] = [&mut first, &mut second];

    let time = Time { us: 0, counts: 0, runs: &belt_on, looks: &looks };
    let drives = (Duty::belt(Pwm(&duty), Speed::from_mm_per_s(400)), None::<Duty<Pwm<'_>>>);
    let wires = Wires::new(&mut inputs, &mut outputs);
    let mut board = PinBoard::new(wires, Buttons::new(&mut panel), time, drives, Dog(&fed));
    let machine = Machine::new(&example::machine()).expect("it is valid");
    let setpoints = Setpoints::new(&example::product(), &machine).expect("it is valid");
    let mut station = Station::new(machine, setpoints);

    board.all_off();
    assert!(!belt_on.get() && !grip_level.get() && duty.get() == 0, "off before the first tick");

    // One turn of the loop, as `run` takes it; the loop itself has no end over pins.
    let mut turn = |station: &mut Station| {
        let inputs = board.sense().expect("pins do not fail here").expect("a board of pins has no end");
        let out = station.tick(&inputs);
        let unit = out.unit;
        board.obey(&inputs, &out).expect("what fails is told otherwise");
        unit
    };
    fn until(turn: &mut dyn FnMut(&mut Station) -> UnitState, station: &mut Station, state: UnitState) {
        for _ in 0..20_000 {
            if turn(station) == state {
                return;
            }
        }
        panic!("{} is never reached", state.name());
    }

    until(&mut turn, &mut station, UnitState::Stopped);
    // A button counts only once it was seen released for a while.
    for _ in 0..5 {
        turn(&mut station);
    }
    reset.set(true);
    until(&mut turn, &mut station, UnitState::Idle);
    assert!(!belt_on.get() && duty.get() == 0);
    reset.set(false);
    start.set(true);
    until(&mut turn, &mut station, UnitState::Execute);
    assert!(belt_on.get(), "the belt's coil is on");
    // 100 of 400 mm/s: a quarter of the duty.
    assert_eq!(duty.get(), 250);
    assert!(fed.get() > 10, "each tick that ended well feeds the watchdog");

    // Nothing to do: the loop looks often, and ticks seldom.
    let (ticks, from) = (fed.get(), looks.borrow().len());
    for _ in 0..50 {
        turn(&mut station);
    }
    let (ticks, looked) = (fed.get() - ticks, looks.borrow().len() - from);
    assert_eq!(ticks, 50);
    assert!(looked > 2 * 50, "{looked} looks for 50 ticks");

    // The chain opens: off at the next look, without waiting for any wake.
    let before = looks.borrow().len();
    contacts.set(contacts.get().with(Contact::Chain, false));
    turn(&mut station);
    assert_eq!(looks.borrow().len(), before + 1);
    assert!(!belt_on.get() && duty.get() == 0);

    // An output that cannot be driven starves the watchdog, for good.
    broken.set(true);
    for _ in 0..10 {
        turn(&mut station);
    }
    let starved = fed.get();
    broken.set(false);
    for _ in 0..10 {
        turn(&mut station);
    }
    assert_eq!(fed.get(), starved, "nobody has looked at the output yet");
}
