//! The emulated board: files, pipes and words by Arm semihosting, and what happens on reset and on a panic.
//!
//! Operations and their argument blocks: Arm, "Semihosting for AArch32 and AArch64", release 2.0.
// The calls to the debugger are the one thing here that needs it.
#![allow(unsafe_code)]

use core::cell::Cell;
use core::ffi::CStr;
use core::fmt::Write;
use core::panic::PanicInfo;
use core::sync::atomic::{AtomicU16, Ordering};
use cortex_m as _;
use cortex_m_rt::{entry, exception};
use cortex_m_semihosting::{debug, hio, nr, syscall};
use firmware_example::link::{Around, Session, Wire, WireFailed, serve};
use firmware_example::recorded::{Source, SourceFailed};
use timing_core::Orders;

#[entry]
fn start() -> ! {
    all_off();
    let mut line = [0; 256];
    let told = match file_name(&mut line) {
        None => Err("nothing asked for: -semihosting-config …,arg=emulated,arg=FILE, or …,arg=link"),
        Some(name) if name.to_bytes() == b"link" => link(),
        Some(name) => replay(name),
    };
    all_off();
    match told {
        Ok(()) => leave(debug::EXIT_SUCCESS),
        Err(words) => {
            tell(format_args!("{words}"));
            leave(debug::EXIT_FAILURE)
        }
    }
}

/// Recorded inputs from a file of the host.
// Neither of the two is to keep room on the stack for the other.
#[inline(never)]
fn replay(name: &CStr) -> Result<(), &'static str> {
    let file = File::open(name, nr::open::R_BINARY).ok_or("the file named on the command line cannot be opened")?;
    let mut out = hio::hstdout().map_err(|()| "no way to print")?;
    crate::replay(file, &mut out).map_err(|e| {
        tell(format_args!("{e}"));
        "not replayed"
    })
}

/// A link over the emulator's standard input and output, until the desk closes it.
#[inline(never)]
fn link() -> Result<(), &'static str> {
    let from = open(c"/dev/stdin", nr::open::R_BINARY).ok_or("no standard input")?;
    let to = open(c"/dev/stdout", nr::open::W_TRUNC_BINARY).ok_or("no standard output")?;
    // Too large for this stack, and there is one of it.
    let session = cortex_m::singleton!(: Session = const { Session::new() }).ok_or("a second session")?;
    let mut pipes = Pipes { from, to };
    let served = serve(session, &mut pipes, &mut Watch);
    // Silent or gone: the safe vector stands, and the caller puts every output off.
    served.map_err(|_| "the link failed")
}

/// The emulator's pipes, by their handles.
struct Pipes {
    from: usize,
    to: usize,
}

impl Wire for Pipes {
    fn read(&mut self, into: &mut [u8]) -> Result<usize, WireFailed> {
        read(self.from, into).ok_or(WireFailed)
    }

    fn write(&mut self, bytes: &[u8]) -> Result<(), WireFailed> {
        // SAFETY: SYS_WRITE reads `bytes.len()` bytes from `bytes`.
        let missing = unsafe { syscall!(WRITE, self.to, bytes.as_ptr(), bytes.len()) };
        if missing == 0 { Ok(()) } else { Err(WireFailed) }
    }
}

/// What this board's coils are ordered to. It has none; on a real one this is an output port.
static COILS: AtomicU16 = AtomicU16::new(Orders::SAFE.bits());

/// Every output off: what they were before. On a real board the first thing after reset and the first in a panic is to write the safe level to
/// every output port, without the core and without the drivers.
fn all_off() -> u16 {
    let were = COILS.load(Ordering::Relaxed);
    COILS.store(Orders::SAFE.bits(), Ordering::Relaxed);
    were
}

fn tell(words: core::fmt::Arguments<'_>) {
    if let Ok(mut err) = hio::hstderr() {
        // Nobody is left to hear it, should this fail.
        let _ = err.write_fmt(words);
        let _ = err.write_str("\n");
    }
}

fn leave(status: debug::ExitStatus) -> ! {
    loop {
        debug::exit(status);
    }
}

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    cortex_m::interrupt::disable();
    all_off();
    tell(format_args!("{info}"));
    leave(debug::EXIT_FAILURE)
}

#[exception]
unsafe fn HardFault(_: &cortex_m_rt::ExceptionFrame) -> ! {
    let _ = all_off();
    tell(format_args!("hard fault"));
    leave(debug::EXIT_FAILURE)
}

/// The second word of the command line, as a path that ends in a zero byte.
fn file_name(line: &mut [u8; 256]) -> Option<&CStr> {
    let block = [Cell::new(line.as_mut_ptr() as usize), Cell::new(line.len())];
    // SAFETY: SYS_GET_CMDLINE writes at most `block[1]` bytes to `block[0]`, which is `line`, and the length to `block[1]`, a cell.
    let failed = unsafe { cortex_m_semihosting::syscall(nr::GET_CMDLINE, &block) };
    if failed != 0 {
        return None;
    }
    let words = CStr::from_bytes_until_nul(line).ok()?;
    let space = words.to_bytes().iter().position(|&b| b == b' ')?;
    CStr::from_bytes_until_nul(&line[space + 1..]).ok()
}

/// The watchdog of an emulated board is the core's own timer: started before a batch of ticks, stopped after. What a real one adds is that nothing in the
/// firmware can stop it.
struct Watch;

/// Counts of the core's clock that a batch of ticks may take: a fraction of a second on these boards, whose emulator may be slowed down by others.
const COUNTS: u32 = 0x00ff_ffff;

impl Around for Watch {
    fn before(&mut self) {
        // SAFETY: the timer is used here and nowhere else, by this one thread; its handler only puts everything off and leaves.
        let timer = unsafe { &*cortex_m::peripheral::SYST::PTR };
        // SAFETY: these registers hold numbers and flags, no addresses.
        unsafe {
            timer.rvr.write(COUNTS);
            timer.cvr.write(0);
            // Counting, with the interrupt, from the core's clock.
            timer.csr.write(0b111);
        }
        #[cfg(feature = "stuck-tick")]
        stick();
    }

    fn after(&mut self, orders: Orders) {
        COILS.store(orders.bits(), Ordering::Relaxed);
        // SAFETY: as above.
        unsafe { (*cortex_m::peripheral::SYST::PTR).csr.write(0) };
    }
}

/// For the test of the watchdog: a tick that does not end, once the station has something to put off.
#[cfg(feature = "stuck-tick")]
fn stick() {
    while COILS.load(Ordering::Relaxed) != Orders::SAFE.bits() {
        // The compiler may not leave out what takes for ever.
        core::hint::spin_loop();
    }
}

/// A tick did not end in time.
#[exception]
fn SysTick() {
    let were = all_off();
    tell(format_args!(
        "watchdog: a tick did not end; coils were {were:#06x} and are off ({:#06x})",
        COILS.load(Ordering::Relaxed)
    ));
    leave(debug::EXIT_FAILURE)
}

/// A file on the host, read in blocks, because each call stops the emulator.
struct File {
    handle: usize,
    block: [u8; 1024],
    from: usize,
    to: usize,
}

impl File {
    fn open(name: &CStr, mode: usize) -> Option<Self> {
        Some(Self { handle: open(name, mode)?, block: [0; 1024], from: 0, to: 0 })
    }
}

/// A handle of the host's.
fn open(name: &CStr, mode: usize) -> Option<usize> {
    // SAFETY: SYS_OPEN reads a name of the given length, which ends in a zero byte after it.
    let handle = unsafe { syscall!(OPEN, name.as_ptr(), mode, name.count_bytes()) };
    (handle != usize::MAX).then_some(handle)
}

/// Reads what there is, waiting for the first byte; 0 at the end.
fn read(handle: usize, into: &mut [u8]) -> Option<usize> {
    // SAFETY: SYS_READ writes at most `into.len()` bytes to `into`.
    let missing = unsafe { syscall!(READ, handle, into.as_mut_ptr(), into.len()) };
    into.len().checked_sub(missing)
}

impl Source for File {
    fn read(&mut self, into: &mut [u8]) -> Result<usize, SourceFailed> {
        if self.from == self.to {
            self.from = 0;
            self.to = read(self.handle, &mut self.block).ok_or(SourceFailed)?;
        }
        let n = into.len().min(self.to - self.from);
        into[..n].copy_from_slice(&self.block[self.from..self.from + n]);
        self.from += n;
        Ok(n)
    }
}
