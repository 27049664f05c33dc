//! A board in the emulator: QEMU runs the firmware, whose bytes go through its standard input and output by semihosting.

use super::Line;
use std::io::{self, Read, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread::{self, JoinHandle};
use std::time::Duration;

/// The emulator's program.
pub const PROGRAM: &str = "qemu-system-arm";

/// Boards that the example firmware runs on in the emulator, each with the target that its firmware is built for.
pub const BOARDS: [(&str, &str); 2] = [("microbit", "thumbv6m-none-eabi"), ("mps2-an386", "thumbv7em-none-eabihf")];

/// A running emulator.
pub struct Emulator {
    child: Child,
    to: ChildStdin,
    from: Receiver<Vec<u8>>,
    /// What emulator and firmware say beside the link, until they end.
    words: Option<JoinHandle<String>>,
}

impl Emulator {
    /// Starts `firmware` on `board`.
    ///
    /// # Errors
    /// When the emulator cannot be started.
    pub fn start(board: &str, firmware: &Path) -> io::Result<Self> {
        let mut child = Command::new(PROGRAM)
            .args(["-M", board, "-display", "none", "-monitor", "none", "-nic", "none", "-serial", "null"])
            .args(["-semihosting-config", "enable=on,target=native,arg=emulated,arg=link", "-kernel"])
            .arg(firmware)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()?;
        let (Some(to), Some(mut out), Some(mut err)) = (child.stdin.take(), child.stdout.take(), child.stderr.take())
        else {
            return Err(io::Error::other("the emulator has no pipes"));
        };
        let (send, from) = channel();
        // Reading waits for ever; a thread of its own may.
        thread::spawn(move || {
            let mut block = [0; 16_384];
            while let Ok(n) = out.read(&mut block) {
                if n == 0 || send.send(block[..n].to_vec()).is_err() {
                    return;
                }
            }
        });
        let words = thread::spawn(move || {
            let mut words = String::new();
            let _ = err.read_to_string(&mut words);
            words
        });
        Ok(Self { child, to, from, words: Some(words) })
    }
}

impl Emulator {
    /// The board has ended: with what it said last.
    fn ended(&mut self) -> io::Error {
        let words = self.words.take().and_then(|w| w.join().ok()).unwrap_or_default();
        // The emulator's own end is told first and followed by every register; the firmware's own words stand last.
        if let Some(fatal) = words.lines().find(|l| l.contains("fatal:")) {
            return io::Error::other(format!(
                "the emulated board has ended: {fatal}; is --firmware this project's, built for the board's target?"
            ));
        }
        let last = words.lines().rfind(|l| !l.contains("warning:")).unwrap_or("it said nothing");
        io::Error::other(format!("the emulated board has ended: {last}"))
    }
}

impl Line for Emulator {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.to.write_all(bytes).map_err(|_| self.ended())
    }

    fn receive(&mut self, into: &mut Vec<u8>, patience: Duration) -> io::Result<bool> {
        match self.from.recv_timeout(patience) {
            Ok(bytes) => {
                into.extend(bytes);
                Ok(true)
            }
            Err(RecvTimeoutError::Timeout) => Ok(false),
            Err(RecvTimeoutError::Disconnected) => Err(self.ended()),
        }
    }
}

impl Drop for Emulator {
    fn drop(&mut self) {
        // While it waits in a read it hears no milder signal. Nothing is left to do should this fail.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
