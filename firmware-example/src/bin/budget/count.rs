//! Around each tick: the clock, and the stack.
//!
//! Under `-icount` the emulator's clock goes on by a fixed time for each instruction, so time is instructions, exactly. The
//! cycle counter of the processor's debug unit is not emulated; SysTick is. What one instruction is on it is measured first, over
//! some hundred of them.
// Instructions to be counted, and the stack, which is painted and read by address.
#![allow(unsafe_code)]

use core::arch::asm;
use core::fmt::{self, Write};
use core::hint::black_box;
use cortex_m::peripheral::{SYST, syst::SystClkSource};
use firmware_example::recorded::{ReadError, RecordedBoard, Source};
use timing_core::{Inputs, Orders, Station};

/// Runs every recording in the file and writes a line for each.
pub(crate) fn replay(mut source: impl Source, out: &mut impl Write) -> Result<(), Trouble> {
    let clock = Clock::start().ok_or(Trouble::NoClock)?;
    writeln!(out, "station_bytes {}", size_of::<Station>())?;
    let mut stack = Stack::default();
    let mut recordings = 0;
    loop {
        let (mut board, mut station) = match RecordedBoard::open(&mut source) {
            Ok(opened) => opened,
            // The end; the script knows how many recordings it gave.
            Err(ReadError::CutOff) if recordings > 0 => break,
            Err(e) => return Err(e.into()),
        };
        let counted = count(&clock, &mut stack, &mut station, &mut board)?;
        writeln!(out, "{counted}")?;
        recordings += 1;
    }
    writeln!(out, "stack_bytes {}", stack.deepest)?;
    Ok(())
}

fn count<S: Source>(
    clock: &Clock,
    stack: &mut Stack,
    station: &mut Station,
    board: &mut RecordedBoard<S>,
) -> Result<Counted, Trouble> {
    let mut c = Counted::default();
    while let Some(inputs) = firmware_example::Board::sense(board)? {
        let decided = station.decided();
        let n = stack.around(|| clock.tick(station, &inputs));
        c.ticks += 1;
        c.sum += u64::from(n);
        if n > c.most {
            (c.most, c.at) = (n, c.ticks);
        }
        if station.decided() != decided {
            c.decided += 1;
            c.decided_sum += u64::from(n);
        }
        let again = Inputs { request: None, ..inputs };
        let decided = station.decided();
        let n = clock.tick(station, &again);
        if station.decided() == decided {
            c.quiet += 1;
            c.quiet_sum += u64::from(n);
        }
    }
    Ok(c)
}

/// What one recording came to.
#[derive(Default)]
struct Counted {
    ticks: u32,
    sum: u64,
    most: u32,
    at: u32,
    decided: u32,
    decided_sum: u64,
    quiet: u32,
    quiet_sum: u64,
}

impl fmt::Display for Counted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "ticks {} sum {} most {} at {} decided {} decided_sum {} quiet {} quiet_sum {}",
            self.ticks, self.sum, self.most, self.at, self.decided, self.decided_sum, self.quiet, self.quiet_sum
        )
    }
}

/// A clock that goes by instructions.
struct Clock {
    timer: SYST,
    /// Its counts in [`KNOWN`] instructions.
    known: u32,
    /// Instructions of an empty call.
    empty: u32,
}

/// Instructions by which the clock is measured.
const KNOWN: u32 = 400;

#[inline(never)]
fn known() {
    // SAFETY: does nothing.
    unsafe { asm!(".rept 400", "nop", ".endr", options(nomem, nostack, preserves_flags)) };
}

impl Clock {
    /// `None` when it stands still.
    fn start() -> Option<Self> {
        let mut timer = cortex_m::Peripherals::take()?.SYST;
        timer.set_clock_source(SystClkSource::Core);
        timer.set_reload(0x00ff_ffff);
        timer.clear_current();
        timer.enable_counter();
        let (mut none, mut all) = (0, 0);
        for _ in 0..2 {
            none = counts(|| empty(1, 2, 3));
            all = counts(known);
        }
        let known = all.checked_sub(none).filter(|&n| n > 0)?;
        let mut clock = Self { timer, known, empty: 0 };
        clock.empty = clock.instructions(|| empty(black_box(1), black_box(2), black_box(3)));
        Some(clock)
    }

    /// Instructions from the call of the tick to its return.
    fn tick(&self, station: &mut Station, inputs: &Inputs) -> u32 {
        let mut orders = Orders::SAFE;
        let n = self.instructions(|| tick(black_box(station), black_box(inputs), black_box(&mut orders)));
        black_box(orders);
        n.wrapping_sub(self.empty)
    }

    fn instructions(&self, work: impl FnOnce()) -> u32 {
        debug_assert!(self.timer.rvr.read() == 0x00ff_ffff);
        let n = u64::from(counts(work)) * u64::from(KNOWN) + u64::from(self.known / 2);
        u32::try_from(n / u64::from(self.known)).unwrap_or(u32::MAX)
    }
}

/// Counts of the timer, which goes down and has 24 bits.
#[inline(always)]
fn counts(work: impl FnOnce()) -> u32 {
    let before = SYST::get_current();
    work();
    before.wrapping_sub(SYST::get_current()) & 0x00ff_ffff
}

/// A call of its own, so that what is counted is the tick and nothing that the compiler moved into it.
#[inline(never)]
fn tick(station: &mut Station, inputs: &Inputs, orders: &mut Orders) {
    *orders = station.tick(inputs).orders;
}

/// The same call without a tick.
#[inline(never)]
fn empty(a: u32, b: u32, c: u32) {
    black_box((a, b, c));
}

/// How deep a tick goes: what lies below the stack is painted before, and looked at after.
#[derive(Default)]
struct Stack {
    deepest: u32,
}

impl Stack {
    const PAINT: u32 = 0x5a5a_a5a5;
    /// Painted beyond the deepest so far, words. A frame that leaves so much of itself untouched would be overlooked.
    const BEYOND: u32 = 192;

    #[inline(never)]
    fn around(&mut self, work: impl FnOnce() -> u32) -> u32 {
        let top: u32;
        // SAFETY: reads a register.
        unsafe { asm!("mov {}, sp", out(reg) top, options(nomem, nostack, preserves_flags)) };
        let known = top.wrapping_sub(self.deepest.max(8));
        let word = |n: u32| known.wrapping_sub(4 * n) as *mut u32;
        for n in 1..=Self::BEYOND {
            // SAFETY: below the stack pointer lies RAM that nothing uses: no interrupt is on, and the stack is the last thing there.
            unsafe { word(n).write_volatile(Self::PAINT) };
        }
        let told = work();
        for n in (1..=Self::BEYOND).rev() {
            // SAFETY: as above.
            if unsafe { word(n).read_volatile() } != Self::PAINT {
                self.deepest = top.wrapping_sub(known).wrapping_add(4 * n);
                break;
            }
        }
        told
    }
}

/// Why nothing was counted.
pub(crate) enum Trouble {
    Read(ReadError),
    Write,
    NoClock,
}

impl From<ReadError> for Trouble {
    fn from(e: ReadError) -> Self {
        Self::Read(e)
    }
}

impl From<fmt::Error> for Trouble {
    fn from(_: fmt::Error) -> Self {
        Self::Write
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Read(e) => e.fmt(f),
            Self::Write => f.write_str("the result cannot be written"),
            Self::NoClock => f.write_str("the clock stands still: start the emulator with -icount shift=10"),
        }
    }
}
