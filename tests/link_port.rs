//! A link over a port: how long a slow one may take, what a board does when it falls silent, and the whole verb over a pseudo-terminal.

use crate::random_job::shipped;
use firmware_example::link::{Around, FRAME_MAX, Session, Wire, WireFailed, serve};
use host_sim::link::{Line, LinkError, Lockstep, PATIENCE, lockstep, patience_at};
use host_sim::rehearse::rehearse;
use std::collections::VecDeque;
use std::io;
use std::time::Duration;
use tests::recorded::Recorded;
use timing_core::Orders;

/// A board in this process at the end of a port of so many bits a second, whose time is counted and not waited for.
struct Slow {
    session: Box<Session>,
    baud: u64,
    patience: Duration,
    /// Now, and when each way is free again, µs.
    now: u64,
    up: u64,
    down: u64,
    coming: VecDeque<(u64, Vec<u8>)>,
    /// All that was sent.
    sent: Vec<u8>,
}

impl Slow {
    fn new(baud: u32, patience: Duration) -> Self {
        let (coming, sent) = (VecDeque::new(), Vec::new());
        Self { session: Box::new(Session::new()), baud: baud.into(), patience, now: 0, up: 0, down: 0, coming, sent }
    }

    /// Ten bits a byte: start, eight, stop.
    fn takes(&self, bytes: usize) -> u64 {
        bytes as u64 * 10 * 1_000_000 / self.baud
    }
}

impl Line for Slow {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.sent.extend(bytes);
        self.up = self.up.max(self.now) + self.takes(bytes.len());
        let mut out = [0; FRAME_MAX];
        let mut rest = bytes;
        while !rest.is_empty() {
            let (taken, answered) = self.session.push(rest, &mut out, &mut ());
            rest = &rest[taken..];
            if let Some(n) = answered {
                self.down = self.down.max(self.up) + self.takes(n);
                self.coming.push_back((self.down, out[..n].to_vec()));
            }
        }
        Ok(())
    }

    fn receive(&mut self, into: &mut Vec<u8>, patience: Duration) -> io::Result<bool> {
        let latest = self.now + u64::try_from(patience.as_micros()).expect("it is short");
        match self.coming.pop_front_if(|(at, _)| *at <= latest) {
            Some((at, bytes)) => {
                self.now = self.now.max(at);
                into.extend(bytes);
                Ok(true)
            }
            None => {
                self.now = latest;
                Ok(false)
            }
        }
    }

    fn patience(&self) -> Duration {
        self.patience
    }
}

fn run(line: &mut Slow, ticks: usize) -> Result<Lockstep, LinkError> {
    let (r, _) = Recorded::rehearsed(&shipped("steady-day"));
    lockstep(line, 1, (&r.machine, &r.product), r.inputs.into_iter().take(ticks))
}

#[test]
fn a_slow_port_is_waited_for() {
    for baud in [1_200, 9_600, 115_200, 1_000_000] {
        let told = run(&mut Slow::new(baud, patience_at(baud)), 1_000).expect("the link is whole");
        assert_eq!((told.difference, told.ticks, told.link.repeated), (None, 1_000, 0), "{baud} bits a second");
    }
    // Without that patience the desk fills such a port with what it asks again, and gives up on answers that are on their way.
    for baud in [1_200, 9_600] {
        let told = run(&mut Slow::new(baud, PATIENCE), 1_000);
        assert!(matches!(told, Err(LinkError::NoAnswer(..))), "{baud} bits a second: {told:?}");
    }
}

/// What a desk sent, and then nothing.
struct Ends(VecDeque<u8>);

impl Wire for Ends {
    fn read(&mut self, into: &mut [u8]) -> Result<usize, WireFailed> {
        let n = into.len().min(self.0.len());
        for (to, byte) in into.iter_mut().zip(self.0.drain(..n)) {
            *to = byte;
        }
        Ok(n)
    }

    fn write(&mut self, _: &[u8]) -> Result<(), WireFailed> {
        Ok(())
    }
}

/// The last orders that a board was told to drive.
struct Last(Orders);

impl Around for Last {
    fn before(&mut self) {}
    fn after(&mut self, orders: Orders) {
        self.0 = orders;
    }
}

#[test]
fn a_board_whose_wire_falls_silent_in_production_ends_with_everything_off() {
    let mut line = Slow::new(1_000_000, patience_at(1_000_000));
    let told = run(&mut line, 3_000).expect("the link is whole");
    assert_eq!(told.difference, None);
    let (mut session, mut last) = (Box::new(Session::new()), Last(Orders::SAFE));
    assert_eq!(serve(&mut session, &mut Ends(line.sent.into()), &mut last), Ok(()));
    assert_ne!(last.0, Orders::SAFE, "it was in production when the wire fell silent");
    assert_eq!(session.orders(), Orders::SAFE);
}

/// The whole verb over a pseudo-terminal, with the board's code at the other end: all of a port but the wire.
#[cfg(target_os = "linux")]
mod pseudo_terminal {
    use super::{Session, Wire, WireFailed, rehearse, serve, shipped};
    use host_sim::rehearse::Options;
    use serial2::SerialPort;
    use std::ffi::OsString;
    use std::os::fd::AsRawFd;
    use std::path::Path;
    use std::thread;
    use std::time::Duration;

    struct Uart(SerialPort);

    impl Wire for Uart {
        fn read(&mut self, into: &mut [u8]) -> Result<usize, WireFailed> {
            self.0.read(into).map_err(|_| WireFailed)
        }

        fn write(&mut self, bytes: &[u8]) -> Result<(), WireFailed> {
            self.0.write_all(bytes).map_err(|_| WireFailed)
        }
    }

    /// Exit code, output and errors of `lockstep` over the port, and whether the board's end was left in peace.
    fn lockstep(job: &str, more: &[&str]) -> (u8, String, String) {
        let (mut board, desk) = SerialPort::pair().expect("this system has pseudo-terminals");
        // Only so that a test that fails ends at all.
        board.set_read_timeout(Duration::from_secs(60)).expect("it can be set");
        let path = format!("/proc/self/fd/{}", desk.as_raw_fd());
        let served = thread::spawn(move || {
            let mut session = Box::new(Session::new());
            // It ends when the desk lets go of the port.
            let _ = serve(&mut session, &mut Uart(board), &mut ());
            session.orders()
        });
        let job = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../host-sim/jobs/{job}.toml"));
        let job = job.to_str().expect("its name is text");
        let args = ["capcycle", "lockstep", job, "--port", path.as_str()].into_iter().chain(more.iter().copied());
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let code = host_sim::cli::run(args.map(OsString::from), &mut out, &mut err);
        drop(desk);
        served.join().expect("a board does not panic");
        let text = |b| String::from_utf8(b).expect("text");
        (code, text(out), text(err))
    }

    #[test]
    fn every_tick_of_a_job_is_the_same_over_a_port() {
        for more in [&["--json"][..], &["--json", "--link-faults", "3"]] {
            let (code, out, err) = lockstep("seat-only", more);
            assert_eq!((code, err.as_str()), (0, ""), "{out}");
            let told: serde_json::Value = serde_json::from_str(&out).expect("one object");
            let here = rehearse(&shipped("seat-only"), &Options::default()).expect("it can be planned");
            assert_eq!(told["lockstep"]["digest"], host_sim::digest::hex(here.digest).as_str());
            assert_eq!(told["lockstep"]["difference"], serde_json::Value::Null);
            assert!(told["lockstep"]["ticks"].as_u64().is_some_and(|n| n > 500), "{out}");
        }
    }

    #[test]
    fn a_path_that_is_no_port_is_told() {
        let job = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim/jobs/seat-only.toml");
        let job = job.to_str().expect("its name is text");
        for path in ["/dev/null", "/dev/no-such-port"] {
            let (mut out, mut err) = (Vec::new(), Vec::new());
            let args = ["capcycle", "lockstep", job, "--port", path].map(OsString::from);
            assert_eq!(host_sim::cli::run(args, &mut out, &mut err), 2);
            let err = String::from_utf8(err).expect("text");
            assert!(out.is_empty() && err.contains(path) && err.contains("name the board's serial port"), "{err}");
        }
    }
}
