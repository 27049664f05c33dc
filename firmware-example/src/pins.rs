//! A board of pins: any HAL's, by the traits of embedded-hal 1.0.
//!
//! What is board's own comes in from outside: pins wrapped in [`timing_core::hal`], a clock and a count ([`Clockwork`]), duty outputs for the two drives, a
//! watchdog. The loop is [`crate::run`], the same as on every other board.

use crate::Board;
use core::convert::Infallible;
use embedded_hal::pwm::SetDutyCycle;
use timing_core::hal::{Buttons, Duty, Watchdog, Wires};
use timing_core::{Contacts, Counts, Inputs, Instant, Outputs, Speed, Wake};

/// Time and belt, widened ([`timing_core::widen`]).
pub trait Clockwork {
    /// Time since the start; never backwards.
    fn now(&mut self) -> Instant;

    /// The belt's count, and when its newest edge came where the hardware captures that.
    fn belt(&mut self) -> (Counts, Option<Instant>);
}

/// A board of pins.
pub struct PinBoard<'a, 'p, C, B, S, D> {
    /// All wires.
    pub wires: Wires<'a, 'p>,
    /// The operator's panel.
    pub buttons: Buttons<'a, 'p>,
    /// Time and belt.
    pub clockwork: C,
    /// Set-point of the belt drive, where it takes one.
    pub belt: Option<Duty<B>>,
    /// Set-point of the roller drive, where it takes one.
    pub rollers: Option<Duty<S>>,
    /// Fed by a tick whose outputs were all driven, and by nothing else. It must put the outputs off by hardware.
    pub watchdog: D,
    wake: Option<Wake>,
    contacts: Contacts,
    failed: Contacts,
}

impl<'a, 'p, C, B, S, D> PinBoard<'a, 'p, C, B, S, D> {
    /// These parts.
    pub fn new(
        wires: Wires<'a, 'p>,
        buttons: Buttons<'a, 'p>,
        clockwork: C,
        (belt, rollers): (Option<Duty<B>>, Option<Duty<S>>),
        watchdog: D,
    ) -> Self {
        let (contacts, failed) = (Contacts::NONE, Contacts::NONE);
        Self { wires, buttons, clockwork, belt, rollers, watchdog, wake: None, contacts, failed }
    }
}

impl<C: Clockwork, B: SetDutyCycle, S: SetDutyCycle, D: Watchdog> PinBoard<'_, '_, C, B, S, D> {
    fn is_due(&self, i: &Inputs) -> bool {
        let woken = self.wake.is_none_or(|w| i.now >= w.at || i.belt >= w.above || i.belt <= w.below);
        woken || i.contacts != self.contacts || i.failed != self.failed || i.request.is_some()
    }

    fn drives(&mut self, speed: Speed, rpm: u16) -> bool {
        let belt = self.belt.as_mut().is_none_or(|d| d.set_speed(speed));
        let rollers = self.rollers.as_mut().is_none_or(|d| d.set_rpm(rpm));
        belt && rollers
    }
}

impl<C: Clockwork, B: SetDutyCycle, S: SetDutyCycle, D: Watchdog> Board for PinBoard<'_, '_, C, B, S, D> {
    // A pin that fails is told in the inputs, or starves the watchdog; the loop goes on, so that the core can say why.
    type Error = Infallible;

    /// Reads all wires again and again until a tick is due. The core's wake is never further than the machine's sample gap, so that this
    /// ends; a board that can be woken by a timer, the encoder and its pins may sleep in between.
    fn sense(&mut self) -> Result<Option<Inputs>, Infallible> {
        loop {
            let now = self.clockwork.now();
            let (belt, belt_at) = self.clockwork.belt();
            let mut inputs = self.wires.read(now, belt, belt_at);
            inputs.request = self.buttons.ask(now);
            if self.is_due(&inputs) {
                (self.contacts, self.failed) = (inputs.contacts, inputs.failed);
                return Ok(Some(inputs));
            }
        }
    }

    fn obey(&mut self, _: &Inputs, out: &Outputs<'_>) -> Result<(), Infallible> {
        self.wake = Some(out.wake);
        // On a host nobody takes what would be told.
        #[cfg(all(feature = "defmt", target_os = "none"))]
        crate::log::tell(out);
        // Both are tried, whatever came of the other.
        let (driven, set) = (self.wires.drive(out.orders), self.drives(out.belt_speed, out.spin_rpm));
        if driven && set {
            self.watchdog.feed();
        }
        Ok(())
    }

    fn all_off(&mut self) {
        self.wires.all_off();
        // A drive whose set-point cannot be written is off by its order.
        let _ = self.drives(Speed::ZERO, 0);
    }
}
