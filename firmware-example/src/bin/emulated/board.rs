//! The emulated board: files and words by Arm semihosting, and what happens on reset and on a panic.
//!
//! Operations and their argument blocks: Arm, "Semihosting for AArch32 and AArch64", release 2.0.
// The calls to the debugger are the one thing here that needs it.
#![allow(unsafe_code)]

use core::cell::Cell;
use core::ffi::CStr;
use core::fmt::Write;
use core::panic::PanicInfo;
use cortex_m as _;
use cortex_m_rt::{entry, exception};
use cortex_m_semihosting::{debug, hio, nr, syscall};
use firmware_example::recorded::{Source, SourceFailed};

#[entry]
fn start() -> ! {
    all_off();
    let mut line = [0; 256];
    let told = match file_name(&mut line) {
        None => Err("no file named: -semihosting-config …,arg=emulated,arg=FILE"),
        Some(name) => match File::open(name) {
            None => Err("the file named on the command line cannot be opened"),
            Some(file) => match hio::hstdout() {
                Err(()) => Err("no way to print"),
                Ok(mut out) => match crate::replay(file, &mut out) {
                    Ok(()) => Ok(()),
                    Err(e) => {
                        tell(format_args!("{e}"));
                        Err("not replayed")
                    }
                },
            },
        },
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

/// Every output off. This board has none; on a real one the first thing after reset and the first in a panic is to write
/// the safe level to every output port, without the core and without the heap of the drivers.
fn all_off() {}

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
    all_off();
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

/// A file on the host, read in blocks, because each call stops the emulator.
struct File {
    handle: usize,
    block: [u8; 1024],
    from: usize,
    to: usize,
}

impl File {
    fn open(name: &CStr) -> Option<Self> {
        // SAFETY: SYS_OPEN reads a name of the given length, which ends in a zero byte after it.
        let handle = unsafe { syscall!(OPEN, name.as_ptr(), nr::open::R_BINARY, name.count_bytes()) };
        (handle != usize::MAX).then_some(Self { handle, block: [0; 1024], from: 0, to: 0 })
    }
}

impl Source for File {
    fn read(&mut self, into: &mut [u8]) -> Result<usize, SourceFailed> {
        if self.from == self.to {
            // SAFETY: SYS_READ writes at most `block.len()` bytes to `block`.
            let missing = unsafe { syscall!(READ, self.handle, self.block.as_mut_ptr(), self.block.len()) };
            self.from = 0;
            self.to = self.block.len().checked_sub(missing).ok_or(SourceFailed)?;
        }
        let n = into.len().min(self.to - self.from);
        into[..n].copy_from_slice(&self.block[self.from..self.from + n]);
        self.from += n;
        Ok(n)
    }
}
