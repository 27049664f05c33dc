//! A board on a serial port.

use super::{Line, patience_at};
use serial2::SerialPort;
use std::io;
use std::path::Path;
use std::time::Duration;

/// An open port.
pub struct Port {
    port: SerialPort,
    patience: Duration,
}

impl Port {
    /// Opens `path` at `baud` bits a second, 8 data bits, no parity, one stop bit, no flow control.
    ///
    /// # Errors
    /// When it cannot be opened or set.
    pub fn open(path: &Path, baud: u32) -> io::Result<Self> {
        let port = SerialPort::open(path, baud)?;
        port.discard_buffers()?;
        Ok(Self { port, patience: patience_at(baud) })
    }
}

impl Line for Port {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.port.write_all(bytes)
    }

    fn receive(&mut self, into: &mut Vec<u8>, patience: Duration) -> io::Result<bool> {
        self.port.set_read_timeout(patience)?;
        let mut block = [0; 4_096];
        match self.port.read(&mut block) {
            Ok(0) => Err(io::Error::other("the port was closed")),
            Ok(n) => {
                into.extend(&block[..n]);
                Ok(true)
            }
            Err(e) if matches!(e.kind(), io::ErrorKind::TimedOut | io::ErrorKind::WouldBlock) => Ok(false),
            Err(e) => Err(e),
        }
    }

    fn patience(&self) -> Duration {
        self.patience
    }
}
