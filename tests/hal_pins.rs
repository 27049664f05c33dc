//! Pins of `embedded-hal` to contacts and orders: against `embedded-hal-mock`, and against pins that fail when they are told to.

use embedded_hal::digital::{ErrorKind, ErrorType, InputPin, OutputPin};
use embedded_hal::pwm::SetDutyCycle;
use embedded_hal_mock::eh1::digital::{Mock, State, Transaction};
use std::cell::{Cell, RefCell};
use std::rc::Rc;
use timing_core::hal::{Ask, Asks, Button, Buttons, Coil, DriveCoil, Duty, Input, Level, Output, ReadContact, Wires};
use timing_core::{
    Actuator, Command, Contact, Counts, Deadline, Instant, Machine, Orders, Pose, Request, Setpoints, Speed, Station,
    UnitState, example,
};

/// A pin whose level is looked at from outside, and which fails when told to.
#[derive(Clone, Default)]
struct Pin {
    high: Rc<Cell<bool>>,
    fails: Rc<Cell<bool>>,
}

impl ErrorType for Pin {
    type Error = ErrorKind;
}

impl Pin {
    fn result<T>(&self, t: T) -> Result<T, ErrorKind> {
        if self.fails.get() { Err(ErrorKind::Other) } else { Ok(t) }
    }
}

impl InputPin for Pin {
    fn is_high(&mut self) -> Result<bool, ErrorKind> {
        self.result(self.high.get())
    }

    fn is_low(&mut self) -> Result<bool, ErrorKind> {
        self.result(!self.high.get())
    }
}

impl OutputPin for Pin {
    fn set_high(&mut self) -> Result<(), ErrorKind> {
        self.result(()).map(|()| self.high.set(true))
    }

    fn set_low(&mut self) -> Result<(), ErrorKind> {
        self.result(()).map(|()| self.high.set(false))
    }
}

fn ms(t: u64) -> Instant {
    Instant::from_micros(t * 1_000)
}

/// Each level of a pin, with each polarity; the mock counts that every read was made, once.
#[test]
fn polarity_is_the_wires_affair() {
    for (on, level, is_on) in [
        (Level::High, State::High, true),
        (Level::High, State::Low, false),
        (Level::Low, State::Low, true),
        (Level::Low, State::High, false),
    ] {
        let mut mock = Mock::new(&[Transaction::get(level)]);
        let mut wire = Input::new(mock.clone(), Contact::PocketEye, on);
        assert_eq!(wire.is_on(), Some(is_on), "{on:?} {level:?}");
        mock.done();
    }
    for (on, order, level) in [
        (Level::High, true, State::High),
        (Level::High, false, State::Low),
        (Level::Low, true, State::Low),
        (Level::Low, false, State::High),
    ] {
        let mut mock = Mock::new(&[Transaction::set(level)]);
        let mut wire = Output::new(mock.clone(), Coil::Spin, on);
        assert!(wire.drive(order), "{on:?} {order}");
        mock.done();
    }
}

/// Every bit of the orders has its coil, and no two coils are the same bit.
#[test]
fn each_coil_is_one_bit_of_the_orders() {
    let drives = [Coil::Belt, Coil::Spin, Coil::Beacon, Coil::Ready];
    let coils: Vec<Coil> = Actuator::ALL
        .into_iter()
        .map(Coil::Work)
        .chain(Actuator::ALL.into_iter().map(Coil::Home))
        .chain(drives)
        .collect();
    assert_eq!(coils.len(), 16);
    for bit in 0..16 {
        let on: Vec<usize> =
            coils.iter().enumerate().filter(|(_, c)| c.of(Orders::from_bits(1 << bit))).map(|(n, _)| n).collect();
        assert_eq!(on, [bit], "bit {bit}");
    }
}

#[test]
fn an_input_that_fails_is_told_and_the_others_are_read() {
    let (good, bad) = (Pin::default(), Pin::default());
    good.high.set(true);
    bad.high.set(true);
    bad.fails.set(true);
    let mut a = Input::new(good, Contact::Chain, Level::High);
    let mut b = Input::new(bad.clone(), Contact::Air, Level::High);
    let mut inputs: [&mut dyn ReadContact; 2] = [&mut a, &mut b];
    let mut wires = Wires::new(&mut inputs, &mut []);
    let read = wires.read(ms(7), Counts::new(9), Some(ms(6)));
    assert_eq!((read.now, read.belt, read.belt_at), (ms(7), Counts::new(9), Some(ms(6))));
    assert!(read.contacts.has(Contact::Chain) && read.failed.bits() == Contact::Air.bit().bits());
    assert!(!read.contacts.has(Contact::Air), "what could not be read is not on");
    bad.fails.set(false);
    assert!(wires.read(ms(8), Counts::ZERO, None).failed.is_empty(), "and it is read again when it can be");
}

/// An output that cannot be driven: all off at once, the chain unreadable from then on, so that the station aborts by itself.
#[test]
fn an_output_that_fails_puts_everything_off_and_aborts_the_station() {
    let p = example::machine();
    let machine = Machine::new(&p).expect("a machine");
    let mut station = Station::new(machine, Setpoints::new(&example::product(), &machine).expect("set-points"));
    let levels: Vec<(Contact, Pin)> = Contact::ALL
        .into_iter()
        .map(|c| {
            let pin = Pin::default();
            pin.high.set(example::at_rest().has(c));
            (c, pin)
        })
        .collect();
    let mut wired: Vec<Input<Pin>> = levels.iter().map(|(c, p)| Input::new(p.clone(), *c, Level::High)).collect();
    let mut inputs: Vec<&mut dyn ReadContact> = wired.iter_mut().map(|w| w as &mut dyn ReadContact).collect();
    let (beacon, gate) = (Pin::default(), Pin::default());
    let mut b = Output::new(beacon.clone(), Coil::Beacon, Level::High);
    let mut g = Output::new(gate.clone(), Coil::Work(Actuator::EntryGate), Level::High);
    let mut outputs: [&mut dyn DriveCoil; 2] = [&mut b, &mut g];
    let mut wires = Wires::new(&mut inputs, &mut outputs);
    let mut t = 0;
    let mut turn = |wires: &mut Wires<'_, '_>, request: Option<Command>| {
        t += 5;
        let i = wires.read(ms(t), Counts::ZERO, None);
        let i = timing_core::Inputs { request: request.map(Request::Command), ..i };
        let out = station.tick(&i);
        let (orders, unit) = (out.orders, out.unit);
        (orders, unit, wires.drive(orders))
    };
    turn(&mut wires, None);
    turn(&mut wires, Some(Command::Reset));
    let (orders, unit, driven) = turn(&mut wires, Some(Command::Start));
    assert!(orders.beacon() && unit == UnitState::Starting && driven && beacon.high.get(), "{orders:?} {unit:?}");
    gate.fails.set(true);
    let (_, _, driven) = turn(&mut wires, None);
    assert!(!driven, "then the watchdog is not fed");
    assert!(wires.is_broken() && !beacon.high.get(), "what can be put off is off at once");
    let (orders, unit, driven) = turn(&mut wires, None);
    assert_eq!((orders, driven), (Orders::SAFE, false));
    assert!(matches!(unit, UnitState::Aborting | UnitState::Aborted), "{unit:?}");
    // The pin comes back: nothing moves before somebody has looked, and cleared, reset and started.
    gate.fails.set(false);
    assert!(!turn(&mut wires, None).2);
    wires.mended();
    for _ in 0..50 {
        let (orders, unit, driven) = turn(&mut wires, None);
        assert!(driven && orders == Orders::SAFE && unit == UnitState::Aborted, "{orders:?} {unit:?}");
    }
}

/// A set-point output that notes what it was given.
#[derive(Clone, Default)]
struct Pwm(Rc<RefCell<Vec<u16>>>);

impl embedded_hal::pwm::ErrorType for Pwm {
    type Error = core::convert::Infallible;
}

impl SetDutyCycle for Pwm {
    fn max_duty_cycle(&self) -> u16 {
        10_000
    }

    fn set_duty_cycle(&mut self, duty: u16) -> Result<(), Self::Error> {
        self.0.borrow_mut().push(duty);
        Ok(())
    }
}

#[test]
fn set_points_are_shares_of_full_speed() {
    let pwm = Pwm::default();
    let mut belt = Duty::belt(pwm.clone(), Speed::from_mm_per_s(400)).expect("a full speed");
    for (mm_s, duty) in [(0, 0), (100, 2_500), (200, 5_000), (400, 10_000), (900, 10_000), (-5, 0)] {
        assert!(belt.set_speed(Speed::from_mm_per_s(mm_s)));
        let got = pwm.0.borrow().last().copied().expect("set");
        assert!(got.abs_diff(duty) <= 1, "{mm_s} mm/s: {got}, {duty} of 10000");
    }
    let pwm = Pwm::default();
    let mut spin = Duty::spin(pwm.clone(), 600).expect("a full speed");
    for (rpm, duty) in [(0, 0), (300, 5_000), (600, 10_000), (u16::MAX, 10_000)] {
        assert!(spin.set_rpm(rpm));
        assert_eq!(pwm.0.borrow().last(), Some(&duty), "{rpm} rpm");
    }
    assert!(Duty::belt(Pwm::default(), Speed::ZERO).is_none() && Duty::spin(Pwm::default(), 0).is_none());
}

/// Asks a button every millisecond while its pin follows `levels` (from ms on, level); when it asked for something.
fn asked(asks: Asks, levels: &[(u64, bool)], until: u64) -> Vec<u64> {
    let pin = Pin::default();
    let mut button = Button::new(pin.clone(), Level::High, asks);
    let mut times = Vec::new();
    for t in 0..until {
        if let Some((_, level)) = levels.iter().rev().find(|(from, _)| *from <= t) {
            pin.high.set(*level);
        }
        if button.ask(ms(t)).is_some() {
            times.push(t);
        }
    }
    times
}

#[test]
fn a_command_is_asked_for_once_for_each_press() {
    let start = Asks::Command(Command::Start);
    // Bounce at the press and at the release, and a second press.
    let levels =
        [(0, false), (50, true), (53, false), (57, true), (300, false), (303, true), (305, false), (500, true)];
    assert_eq!(asked(start, &levels, 800), [77, 520]);
    // A spike shorter than the debounce.
    assert!(asked(start, &[(0, false), (50, true), (65, false)], 300).is_empty());
    // Down from the start, as with a stuck button: nothing before it was released.
    assert_eq!(asked(start, &[(0, true), (200, false), (300, true)], 500), [320]);
}

#[test]
fn a_held_button_asks_again_until_it_is_let_go() {
    let levels = [(0, false), (50, true), (400, false)];
    assert_eq!(asked(Asks::JogSpin, &levels, 900), [70, 170, 270, 370]);
    assert_eq!(asked(Asks::Step, &levels, 900), [70], "a step is one step");
    // A pin that cannot be read is a button that is not pressed.
    let pin = Pin::default();
    let mut button = Button::new(pin.clone(), Level::High, Asks::JogBelt);
    let mut last = 0;
    for t in 0..1_000 {
        pin.high.set(t >= 50);
        pin.fails.set(t >= 200);
        if button.ask(ms(t)) == Some(Request::JogBelt) {
            last = t;
        }
    }
    assert_eq!(last, 170);
}

#[test]
fn buttons_pressed_together_are_asked_one_a_tick_the_first_first() {
    let (stop, jog) = (Pin::default(), Pin::default());
    let mut a = Button::new(stop.clone(), Level::High, Asks::Command(Command::Stop));
    let mut b = Button::new(jog.clone(), Level::High, Asks::Jog(Actuator::Grip, Pose::Work));
    let mut each: [&mut dyn Ask; 2] = [&mut a, &mut b];
    let mut buttons = Buttons::new(&mut each);
    for t in 0..30 {
        assert_eq!(buttons.ask(ms(t)), None);
    }
    stop.high.set(true);
    jog.high.set(true);
    assert_eq!(buttons.ask(ms(30)), None);
    assert_eq!(buttons.due(), Deadline::at(ms(50)), "the debounce is a wake");
    assert_eq!(buttons.ask(ms(50)), Some(Request::Command(Command::Stop)));
    assert!(buttons.due().is_due(ms(50)), "the other is due at once");
    assert_eq!(buttons.ask(ms(50)), Some(Request::Jog(Actuator::Grip, Pose::Work)));
    assert_eq!(buttons.ask(ms(50)), None);
    assert_eq!(buttons.due(), Deadline::at(ms(150)));
}
