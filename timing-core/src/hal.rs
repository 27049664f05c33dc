//! Pins of `embedded-hal` 1.0 to contacts and orders (feature `embedded-hal`).
//!
//! A pin is wrapped once, with what it is wired to and which level means *on*; everything after that speaks of contacts and orders.
//! A pin that fails is data, never a panic: an input goes into [`Inputs::failed`]; after an output that could not be driven, every
//! output is driven off, the chain counts as unreadable at the next tick (so that the station aborts), and the hardware watchdog is
//! not fed any more.
//!
//! **Functional control, never safety.** Emergency stop, guards and the air dump are wired around these pins, not through them.
//!
//! ```
//! # use core::convert::Infallible;
//! # use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
//! # struct Pin(bool);
//! # impl ErrorType for Pin { type Error = Infallible; }
//! # impl InputPin for Pin {
//! #     fn is_high(&mut self) -> Result<bool, Infallible> { Ok(self.0) }
//! #     fn is_low(&mut self) -> Result<bool, Infallible> { Ok(!self.0) }
//! # }
//! # impl OutputPin for Pin {
//! #     fn set_high(&mut self) -> Result<(), Infallible> { self.0 = true; Ok(()) }
//! #     fn set_low(&mut self) -> Result<(), Infallible> { self.0 = false; Ok(()) }
//! # }
//! use timing_core::hal::{Coil, DriveCoil, Input, Level, Output, ReadContact, Wires};
//! use timing_core::{Actuator, Contact, Counts, Instant, Orders};
//!
//! // The chain reads high when closed; the photo-eye pulls its pin low while a bottle is in it.
//! let mut chain = Input::new(Pin(true), Contact::Chain, Level::High);
//! let mut eye = Input::new(Pin(false), Contact::ReleaseEye, Level::Low);
//! let mut grip = Output::new(Pin(true), Coil::Work(Actuator::Grip), Level::High);
//! let (mut inputs, mut outputs): ([&mut dyn ReadContact; 2], [&mut dyn DriveCoil; 1]) =
//!     ([&mut chain, &mut eye], [&mut grip]);
//! let mut wires = Wires::new(&mut inputs, &mut outputs);
//! let read = wires.read(Instant::ZERO, Counts::ZERO, None);
//! assert!(read.contacts.has(Contact::Chain) && read.contacts.has(Contact::ReleaseEye));
//! assert!(wires.drive(Orders::SAFE), "driven, and off");
//! # assert!(!grip.into_pin().0);
//! ```

use crate::io::{Actuator, Contact, Contacts, Inputs, Orders, Pose, Request};
use crate::unit::Command;
use crate::units::{Counts, Deadline, Duration, Instant, Speed};
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_hal::pwm::SetDutyCycle;

/// The level of a pin that means *on*.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// High is on.
    High,
    /// Low is on, as with a pull-up and a switch to ground.
    Low,
}

/// An input wire: what it is wired to, and its level.
pub trait ReadContact {
    /// What the wire tells of.
    fn contact(&self) -> Contact;

    /// Whether the contact is on; `None` when the pin could not be read.
    fn is_on(&mut self) -> Option<bool>;
}

/// A pin wired to a contact.
#[derive(Debug)]
pub struct Input<P> {
    pin: P,
    contact: Contact,
    on: Level,
}

impl<P> Input<P> {
    /// `pin` tells of `contact`, which is on at level `on`.
    pub const fn new(pin: P, contact: Contact, on: Level) -> Self {
        Self { pin, contact, on }
    }

    /// Gives the pin back.
    pub fn into_pin(self) -> P {
        self.pin
    }
}

impl<P: InputPin> ReadContact for Input<P> {
    fn contact(&self) -> Contact {
        self.contact
    }

    fn is_on(&mut self) -> Option<bool> {
        read(&mut self.pin, self.on)
    }
}

fn read<P: InputPin>(pin: &mut P, on: Level) -> Option<bool> {
    match on {
        Level::High => pin.is_high(),
        Level::Low => pin.is_low(),
    }
    .ok()
}

/// One bit of [`Orders`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coil {
    /// The working coil of an actuator.
    Work(Actuator),
    /// The homing coil of an actuator with a detented or centre-closed valve.
    Home(Actuator),
    /// The belt drive.
    Belt,
    /// The roller drive.
    Spin,
    /// The warning beacon.
    Beacon,
    /// The contact that tells the line that this station takes bottles.
    Ready,
}

impl Coil {
    /// Whether these orders energise it.
    #[must_use]
    pub const fn of(self, orders: Orders) -> bool {
        match self {
            Self::Work(a) => orders.work(a),
            Self::Home(a) => orders.home(a),
            Self::Belt => orders.belt(),
            Self::Spin => orders.spin(),
            Self::Beacon => orders.beacon(),
            Self::Ready => orders.ready(),
        }
    }
}

/// An output wire.
pub trait DriveCoil {
    /// What the wire drives.
    fn coil(&self) -> Coil;

    /// Energises it or not; `false` when the pin could not be driven.
    #[must_use]
    fn drive(&mut self, on: bool) -> bool;
}

/// A pin wired to a coil or a drive.
#[derive(Debug)]
pub struct Output<P> {
    pin: P,
    coil: Coil,
    on: Level,
}

impl<P> Output<P> {
    /// `pin` drives `coil`, which is energised at level `on`.
    pub const fn new(pin: P, coil: Coil, on: Level) -> Self {
        Self { pin, coil, on }
    }

    /// Gives the pin back.
    pub fn into_pin(self) -> P {
        self.pin
    }
}

impl<P: OutputPin> DriveCoil for Output<P> {
    fn coil(&self) -> Coil {
        self.coil
    }

    fn drive(&mut self, on: bool) -> bool {
        let high = match self.on {
            Level::High => on,
            Level::Low => !on,
        };
        if high { self.pin.set_high() } else { self.pin.set_low() }.is_ok()
    }
}

/// A set-point as a duty cycle: the belt's or the rollers' speed for a drive with an analogue or frequency input.
#[derive(Debug)]
pub struct Duty<P> {
    pwm: P,
    full: u32,
}

impl<P: SetDutyCycle> Duty<P> {
    /// For a belt drive that runs at `full` when fully on. `None` unless `full` is more than nothing.
    pub fn belt(pwm: P, full: Speed) -> Option<Self> {
        let full = u32::try_from(full.to_bits()).ok().filter(|f| *f > 0)?;
        Some(Self { pwm, full })
    }

    /// For a roller drive that turns at `full_rpm` when fully on. `None` unless that is more than nothing.
    pub fn spin(pwm: P, full_rpm: u16) -> Option<Self> {
        (full_rpm > 0).then_some(Self { pwm, full: u32::from(full_rpm) })
    }

    /// Sets the belt's speed; above full speed it is full on. `false` when the output could not be set.
    #[must_use]
    pub fn set_speed(&mut self, speed: Speed) -> bool {
        self.set(u32::try_from(speed.to_bits()).unwrap_or(0))
    }

    /// Sets the rollers' speed. `false` when the output could not be set.
    #[must_use]
    pub fn set_rpm(&mut self, rpm: u16) -> bool {
        self.set(u32::from(rpm))
    }

    fn set(&mut self, part: u32) -> bool {
        // Both to 16 bits, by the shift that the full value needs: to within 1/32 768 of full speed.
        let shift = 16_u32.saturating_sub(self.full.leading_zeros());
        let (part, full) = (part.min(self.full) >> shift, self.full >> shift);
        match (u16::try_from(part), u16::try_from(full)) {
            (Ok(part), Ok(full)) if full > 0 => self.pwm.set_duty_cycle_fraction(part, full).is_ok(),
            _ => false,
        }
    }

    /// Gives the output back.
    pub fn into_pwm(self) -> P {
        self.pwm
    }
}

/// A hardware watchdog that resets the board when it is not fed in time. (`embedded-hal` 1.0 has no trait for it.)
pub trait Watchdog {
    /// Begins its time anew.
    fn feed(&mut self);
}

/// All wires of a board.
pub struct Wires<'a, 'p> {
    inputs: &'a mut [&'p mut dyn ReadContact],
    outputs: &'a mut [&'p mut dyn DriveCoil],
    broken: bool,
}

impl<'a, 'p> Wires<'a, 'p> {
    /// These wires. A contact that is on no wire is never on: see [`crate::MachineProfile::fitted`].
    pub fn new(inputs: &'a mut [&'p mut dyn ReadContact], outputs: &'a mut [&'p mut dyn DriveCoil]) -> Self {
        Self { inputs, outputs, broken: false }
    }

    /// Reads every input. `belt_at`: the time of the newest count edge, where the hardware captures it. The request is left
    /// empty: see [`Buttons`].
    pub fn read(&mut self, now: Instant, belt: Counts, belt_at: Option<Instant>) -> Inputs {
        let (mut contacts, mut failed) = (Contacts::NONE, Contacts::NONE);
        for wire in self.inputs.iter_mut() {
            match wire.is_on() {
                Some(on) => contacts = contacts.with(wire.contact(), on),
                None => failed = failed.with(wire.contact(), true),
            }
        }
        if self.broken {
            failed = failed.with(Contact::Chain, true);
        }
        Inputs { now, belt, belt_at, contacts, failed, ..Inputs::default() }
    }

    /// Drives every output. If one could not be driven, now or before, all are driven off and it says `false`: then do not feed the
    /// watchdog.
    #[must_use]
    pub fn drive(&mut self, orders: Orders) -> bool {
        if !self.broken {
            for wire in self.outputs.iter_mut() {
                let on = wire.coil().of(orders);
                self.broken |= !wire.drive(on);
            }
        }
        if self.broken {
            self.all_off();
        }
        !self.broken
    }

    /// Drives every output off, as far as it goes; for the start, the end, and the panic handler.
    pub fn all_off(&mut self) {
        for wire in self.outputs.iter_mut() {
            self.broken |= !wire.drive(false);
        }
    }

    /// Whether an output could not be driven since the start, or since [`Wires::mended`].
    #[must_use]
    pub const fn is_broken(&self) -> bool {
        self.broken
    }

    /// Somebody has looked at the outputs and found them well.
    pub fn mended(&mut self) {
        self.broken = false;
    }
}

/// How often a button that is held down asks again: well within the 250 ms after which a drive that is not asked for drops.
const HOLD: Duration = Duration::from_millis(100);
/// How long a button's level must last before it counts.
const DEBOUNCE: Duration = Duration::from_millis(20);

/// What a button asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Asks {
    /// A command, once for each time it is pressed.
    Command(Command),
    /// An actuator's move in Manual, for as long as it is held.
    Jog(Actuator, Pose),
    /// The rollers in Manual, for as long as it is held.
    JogSpin,
    /// The belt in Manual, for as long as it is held.
    JogBelt,
    /// The next step of a cycle over a bottle placed by hand, once for each time it is pressed.
    Step,
}

impl Asks {
    const fn request(self) -> Request {
        match self {
            Self::Command(c) => Request::Command(c),
            Self::Jog(a, pose) => Request::Jog(a, pose),
            Self::JogSpin => Request::JogSpin,
            Self::JogBelt => Request::JogBelt,
            Self::Step => Request::Step,
        }
    }

    const fn is_held(self) -> bool {
        matches!(self, Self::Jog(..) | Self::JogSpin | Self::JogBelt)
    }
}

/// One button: its pin, what it asks for, and its debounced level.
#[derive(Debug)]
pub struct Button<P> {
    pin: P,
    on: Level,
    asks: Asks,
    raw: bool,
    down: bool,
    settles: Deadline,
    again: Deadline,
}

impl<P: InputPin> Button<P> {
    /// `pin` is the button that asks for `asks`; pressed at level `on`. A button that is down from the start asks for nothing until it
    /// was released.
    pub const fn new(pin: P, on: Level, asks: Asks) -> Self {
        Self { pin, on, asks, raw: true, down: true, settles: Deadline::NEVER, again: Deadline::NEVER }
    }
}

/// A button among others.
pub trait Ask {
    /// What it asks for now, if anything. A pin that cannot be read is a button that is not pressed.
    fn ask(&mut self, now: Instant) -> Option<Request>;

    /// When it must be asked again though nobody touches it.
    fn due(&self) -> Deadline;
}

impl<P: InputPin> Ask for Button<P> {
    fn ask(&mut self, now: Instant) -> Option<Request> {
        let raw = read(&mut self.pin, self.on).unwrap_or(false);
        if raw != self.raw {
            self.raw = raw;
            self.settles = Deadline::after(now, DEBOUNCE);
        }
        if !raw {
            // Letting go counts at once: a drive that is held on must not run on for a bounce.
            self.again = Deadline::NEVER;
        }
        if self.settles.fire(now) && self.down != raw {
            self.down = raw;
            if raw {
                self.again = if self.asks.is_held() { Deadline::after(now, HOLD) } else { Deadline::NEVER };
                return Some(self.asks.request());
            }
        }
        if self.again.fire(now) {
            self.again = Deadline::after(now, HOLD);
            return Some(self.asks.request());
        }
        None
    }

    fn due(&self) -> Deadline {
        if self.settles.instant() < self.again.instant() { self.settles } else { self.again }
    }
}

/// All buttons of a panel. The core takes one request a tick; when several are due the first is asked, and the others at the next
/// call, which is then due at once.
pub struct Buttons<'a, 'p> {
    each: &'a mut [&'p mut dyn Ask],
    first: usize,
    more: bool,
}

impl<'a, 'p> Buttons<'a, 'p> {
    /// These buttons, in the order of their weight: put Stop and Abort first.
    pub fn new(each: &'a mut [&'p mut dyn Ask]) -> Self {
        Self { each, first: 0, more: false }
    }

    /// What is asked for now, if anything.
    pub fn ask(&mut self, now: Instant) -> Option<Request> {
        let from = if self.more { self.first } else { 0 };
        self.more = false;
        for (n, button) in self.each.iter_mut().enumerate().skip(from) {
            if let Some(request) = button.ask(now) {
                self.first = n.saturating_add(1);
                self.more = true;
                return Some(request);
            }
        }
        None
    }

    /// When to ask again: at the latest then call a tick, besides what [`crate::Wake`] says.
    #[must_use]
    pub fn due(&self) -> Deadline {
        if self.more {
            return Deadline::NOW;
        }
        let mut next = Deadline::NEVER;
        for button in self.each.iter() {
            if button.due().instant() < next.instant() {
                next = button.due();
            }
        }
        next
    }
}
