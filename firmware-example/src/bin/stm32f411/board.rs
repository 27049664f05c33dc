//! Pins, timers, watchdog; and what happens on a panic or a fault.
// The panic and fault handlers take the ports from whoever had them: the one thing here that needs it.
#![allow(unsafe_code)]

use crate::link;
use core::panic::PanicInfo;
use cortex_m_rt::{entry, exception};
use firmware_example::pins::{Clockwork, PinBoard};
use stm32f4xx_hal::pac::{self, TIM2, TIM5};
use stm32f4xx_hal::prelude::*;
use stm32f4xx_hal::qei::Qei;
use stm32f4xx_hal::rcc::Config;
use stm32f4xx_hal::serial;
use stm32f4xx_hal::timer::CounterUs;
use stm32f4xx_hal::watchdog::IndependentWatchdog;
use timing_core::hal::{
    Ask, Asks, Button, Buttons, Coil, DriveCoil, Duty, Input, Level, Output, ReadContact, Watchdog, Wires,
};
use timing_core::widen::{Clock32, Encoder32};
use timing_core::{Actuator, Command, Contact, Counts, Instant, Machine, Setpoints, Speed, Station, example};

/// How long the watchdog waits for a tick that ended well, ms: five times the example machine's sample gap.
const PATIENCE_MS: u32 = 500;
/// Roller drive at full set-point, rpm.
const FULL_RPM: u16 = 600;

struct Timers {
    clock: CounterUs<TIM5>,
    time: Clock32,
    encoder: Qei<TIM2>,
    belt: Encoder32,
}

impl Clockwork for Timers {
    fn now(&mut self) -> Instant {
        self.time.see(self.clock.now().ticks())
    }

    fn belt(&mut self) -> (Counts, Option<Instant>) {
        // This example does not capture the time of an edge: speed is as good as the loop.
        (self.belt.see(self.encoder.count()), None)
    }
}

struct Dog(IndependentWatchdog);

impl Watchdog for Dog {
    fn feed(&mut self) {
        self.0.feed();
    }
}

#[entry]
fn start() -> ! {
    all_off();
    let Some(dp) = pac::Peripherals::take() else { rest() };
    let mut rcc = dp.RCC.freeze(Config::hsi().sysclk(48.MHz()));
    let (a, b, c) = (dp.GPIOA.split(&mut rcc), dp.GPIOB.split(&mut rcc), dp.GPIOC.split(&mut rcc));

    let mut dog = IndependentWatchdog::new(dp.IWDG);
    let asked = c.pc13.into_pull_up_input();
    // The pull-up needs a moment to lift a pin that nothing holds.
    cortex_m::asm::delay(48_000);
    if asked.is_low() {
        let config = serial::config::Config::default().baudrate(link::BAUD.bps());
        let Ok(port) = dp.USART2.serial((a.pa2, a.pa3), config, &mut rcc) else { rest() };
        dog.start(PATIENCE_MS.millis());
        link::serve_for_ever(port, dog);
        rest();
    }

    macro_rules! inputs {
        ($($name:ident: $pin:expr => $contact:ident),* $(,)?) => {
            $(let mut $name = Input::new($pin.into_pull_up_input(), Contact::$contact, Level::Low);)*
        };
    }
    macro_rules! outputs {
        ($($name:ident: $pin:expr => $coil:expr),* $(,)?) => {
            $(let mut $name = Output::new(
                $pin.into_push_pull_output_in_state(stm32f4xx_hal::gpio::PinState::Low), $coil, Level::High);)*
        };
    }
    macro_rules! buttons {
        ($($name:ident: $pin:expr => $command:ident),* $(,)?) => {
            $(let mut $name = Button::new($pin.into_pull_up_input(), Level::Low, Asks::Command(Command::$command));)*
        };
    }
    inputs! {
        pocket: b.pb3 => PocketEye, release: b.pb4 => ReleaseEye, discharge: a.pa15 => DischargeEye,
        entry_home: a.pa6 => EntryGateHome, release_home: a.pa7 => ReleaseGateHome,
        grip_home: a.pa4 => GripHome, grip_work: b.pb0 => GripWork, grip_over: b.pb1 => GripOver,
        plunger_home: b.pb10 => PlungerHome, plunger_work: b.pb12 => PlungerWork, plunger_over: b.pb13 => PlungerOver,
        rollers_home: b.pb14 => RollersHome, rollers_work: b.pb15 => RollersWork,
        chain: a.pa8 => Chain, guard: a.pa9 => Guard, air: a.pa10 => Air,
    }
    outputs! {
        entry: c.pc10 => Coil::Work(Actuator::EntryGate), gate: c.pc11 => Coil::Work(Actuator::ReleaseGate),
        grip: b.pb5 => Coil::Work(Actuator::Grip), plunger: b.pb8 => Coil::Work(Actuator::Plunger),
        rollers: b.pb9 => Coil::Work(Actuator::Rollers), reject: c.pc12 => Coil::Work(Actuator::Reject),
        belt: a.pa11 => Coil::Belt, spin: a.pa12 => Coil::Spin, beacon: c.pc8 => Coil::Beacon, ready: c.pc9 => Coil::Ready,
    }
    buttons! {
        stop: c.pc0 => Stop, abort: c.pc1 => Abort, hold: c.pc2 => Hold, unhold: c.pc3 => Unhold,
        clear: c.pc4 => Clear, reset: c.pc5 => Reset, go: c.pc6 => Start,
    }
    let mut inputs: [&mut dyn ReadContact; 16] = [
        &mut pocket,
        &mut release,
        &mut discharge,
        &mut entry_home,
        &mut release_home,
        &mut grip_home,
        &mut grip_work,
        &mut grip_over,
        &mut plunger_home,
        &mut plunger_work,
        &mut plunger_over,
        &mut rollers_home,
        &mut rollers_work,
        &mut chain,
        &mut guard,
        &mut air,
    ];
    let mut outputs: [&mut dyn DriveCoil; 10] = [
        &mut entry,
        &mut gate,
        &mut grip,
        &mut plunger,
        &mut rollers,
        &mut reject,
        &mut belt,
        &mut spin,
        &mut beacon,
        &mut ready,
    ];
    let mut panel: [&mut dyn Ask; 7] = [&mut stop, &mut abort, &mut hold, &mut unhold, &mut clear, &mut reset, &mut go];

    let (_, (belt_pwm, roller_pwm, ..)) = dp.TIM4.pwm_hz(1.kHz(), &mut rcc);
    let (mut belt_pwm, mut roller_pwm) = (belt_pwm.with(b.pb6), roller_pwm.with(b.pb7));
    belt_pwm.enable();
    roller_pwm.enable();

    let encoder = Qei::new(dp.TIM2, (a.pa0, a.pa1), &mut rcc);
    let mut clock = dp.TIM5.counter_us(&mut rcc);
    // Free-running. The driver takes no more than 2^32 - 1 counts: at each wrap, every 71 minutes, time gains one microsecond.
    if clock.start(u32::MAX.micros()).is_err() {
        rest();
    }
    let timers =
        Timers { time: Clock32::new(clock.now().ticks()), clock, belt: Encoder32::new(encoder.count()), encoder };

    let Ok(machine) = Machine::new(&example::machine()) else { rest() };
    let Ok(setpoints) = Setpoints::new(&example::product(), &machine) else { rest() };
    let mut station = Station::new(machine, setpoints);

    dog.start(PATIENCE_MS.millis());
    let duty = (Duty::belt(belt_pwm, Speed::from_mm_per_s(400)), Duty::spin(roller_pwm, FULL_RPM));
    let wires = Wires::new(&mut inputs, &mut outputs);
    let mut board = PinBoard::new(wires, Buttons::new(&mut panel), timers, duty, Dog(dog));
    // A board of pins never ends by itself; should it, everything is off, and the watchdog starts it anew.
    match firmware_example::run(&mut station, &mut board) {
        Ok(()) => rest(),
        Err(never) => match never {},
    }
}

/// Everything stays off until somebody looks: the watchdog, where it runs, starts the board anew.
fn rest() -> ! {
    loop {
        all_off();
        cortex_m::asm::nop();
    }
}

/// Output pins of the table above, by port.
const A: u32 = 1 << 11 | 1 << 12;
const B: u32 = 1 << 5 | 1 << 8 | 1 << 9;
const C: u32 = 1 << 8 | 1 << 9 | 1 << 10 | 1 << 11 | 1 << 12;

/// Every output low and both set-points nothing, straight at the registers: needs no driver, no core, nobody. Before their clocks run it does
/// nothing, and the pins still float.
fn all_off() {
    // SAFETY: the upper half of the ports' registers puts pins low, and zero turns the timer's channels off. Each is written at once; whoever else drives
    // them is not asked, on purpose.
    unsafe {
        (*pac::GPIOA::ptr()).bsrr().write(|w| w.bits(A << 16));
        (*pac::GPIOB::ptr()).bsrr().write(|w| w.bits(B << 16));
        (*pac::GPIOC::ptr()).bsrr().write(|w| w.bits(C << 16));
        // A timer left running would keep its duty at the drives.
        (*pac::TIM4::ptr()).ccer().write(|w| w.bits(0));
    }
}

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    cortex_m::interrupt::disable();
    rest()
}

#[exception]
unsafe fn HardFault(_: &cortex_m_rt::ExceptionFrame) -> ! {
    rest()
}
