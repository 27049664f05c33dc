//! Both ends of a link: any bytes, cut up anyhow, among frames that are whole. Neither end panics or goes on for ever; the board answers only in
//! frames that open; the desk finds nothing equal that was not compared.

use super::Take;
use crate::in_process::Board;
use crate::recorded::Recorded;
use firmware_example::link::frame::{END, Opened, Opener, seal};
use firmware_example::link::message::{Answer, FromBoard, Loaded, Pen, ToBoard, hash, read, read_answer};
use firmware_example::link::near::Given;
use firmware_example::link::{BODY_MAX, FRAME_MAX, Session, VERSION};
use host_sim::link::{Line, lockstep};
use serde::Serialize;
use std::io;
use std::sync::OnceLock;
use std::time::Duration;
use timing_core::{Inputs, Orders, example};

/// A frame of the given parts and what follows them.
fn sealed(head: &impl Serialize, follows: &[u8]) -> Vec<u8> {
    let mut body = [0; BODY_MAX];
    let mut pen = Pen::new(&mut body);
    assert!(pen.write(head));
    let used = pen.used();
    let n = follows.len().min(BODY_MAX - used);
    body[used..used + n].copy_from_slice(&follows[..n]);
    frame(&body[..used + n])
}

fn frame(body: &[u8]) -> Vec<u8> {
    let mut out = vec![0; FRAME_MAX];
    let n = seal(&body[..body.len().min(BODY_MAX)], &mut out).expect("a body that is not too long fits");
    out.truncate(n);
    out
}

/// What the example is set up with, as it follows a load.
fn setup() -> &'static [u8] {
    static SETUP: OnceLock<Vec<u8>> = OnceLock::new();
    SETUP.get_or_init(|| {
        let mut body = [0; BODY_MAX];
        let mut pen = Pen::new(&mut body);
        assert!(pen.write(&example::machine()) && pen.write(&example::product()));
        let used = pen.used();
        body[..used].to_vec()
    })
}

/// The board's end.
pub fn board(bytes: &[u8]) {
    let mut take = Take(bytes);
    let mut session = Box::new(Session::new());
    let mut run = 1;
    let mut due = 0;
    while !take.is_over() {
        let kind = take.u8();
        let n = usize::from(take.u8());
        let came = match kind % 8 {
            0 => take.part(n).to_vec(),
            1 => frame(take.part(n)),
            2 => sealed(&ToBoard::Hello { version: n as u16 }, take.part(n)),
            3 => {
                (run, due) = (u32::from(kind / 8 % 4), 0);
                sealed(&ToBoard::Load { run }, if n < 128 { setup() } else { take.part(n) })
            }
            4 => {
                let batch = take.u8();
                sealed(&ToBoard::Ticks { run, batch: batch.into(), count: kind / 8 }, take.part(n))
            }
            5 | 6 => {
                due += 1;
                sealed(&ToBoard::Ticks { run, batch: due - 1, count: kind / 8 }, take.part(n))
            }
            _ => {
                session.silent();
                assert_eq!(session.orders(), Orders::SAFE);
                continue;
            }
        };
        // A bit may be turned over on the way.
        let mut came = came;
        if kind & 0x80 != 0 && kind % 8 != 4 && !came.is_empty() {
            let at = usize::from(take.u16()) % came.len();
            came[at] ^= 1 << (kind / 8 % 8);
        }
        hear(&mut session, &came);
    }
}

fn hear(session: &mut Session, mut came: &[u8]) {
    let mut out = [0; FRAME_MAX];
    while !came.is_empty() {
        let (taken, answered) = session.push(came, &mut out, &mut ());
        assert!((1..=came.len()).contains(&taken), "{taken} taken of {}", came.len());
        came = &came[taken..];
        let Some(length) = answered else { continue };
        assert_eq!(out[..length].iter().position(|b| *b == END), Some(length - 1), "one frame, and its end at its end");
        match Opener::new().push(&out[..length]) {
            (_, Some(Opened::Body(mut body))) => assert!(read::<FromBoard>(&mut body).is_some(), "{body:?}"),
            other => panic!("the board's frame does not open: {other:?}"),
        }
    }
}

fn recorded() -> &'static Recorded {
    static RECORDED: OnceLock<Recorded> = OnceLock::new();
    RECORDED.get_or_init(|| {
        let mut file = Vec::new();
        crate::wires::record(1, 90, &mut file).expect("writing to memory");
        Recorded::read(&file)
    })
}

/// A line whose far end says what the input says.
struct Hostile<'a> {
    take: Take<'a>,
    /// An honest board, asked when the input says so.
    board: Board,
}

impl Line for Hostile<'_> {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.board.send(bytes)
    }

    fn receive(&mut self, into: &mut Vec<u8>, _: Duration) -> io::Result<bool> {
        if self.take.is_over() {
            return Ok(false);
        }
        let (kind, n) = (self.take.u8(), usize::from(self.take.u8()));
        let loaded = || {
            let r = recorded();
            Loaded { run: 1, machine: hash(&r.machine), product: hash(&r.product) }
        };
        match kind % 12 {
            0 => into.extend(self.take.part(n)),
            1 => into.extend(frame(self.take.part(n))),
            2 => into.extend(sealed(&FromBoard::Hello { version: VERSION, loaded: None }, &[])),
            3 => into.extend(sealed(&FromBoard::Loaded(loaded()), &[])),
            4 => into.extend(sealed(&FromBoard::Again { run: 1, batch: n as u32 % 8 }, &[])),
            5 => {
                let answers = FromBoard::Answers { run: 1, batch: u32::from(kind / 12) % 4, count: n as u8 };
                into.extend(sealed(&answers, self.take.part(n)));
            }
            6 => return Ok(false),
            7 => return Err(io::ErrorKind::BrokenPipe.into()),
            8 => self.board.back.clear(),
            // What an honest board said: all of it, or with a bit turned over.
            9 if !self.board.back.is_empty() => {
                let at = usize::from(self.take.u16()) % self.board.back.len();
                self.board.back[at] ^= 1 << (n % 8);
                into.append(&mut self.board.back);
            }
            _ => into.append(&mut self.board.back),
        }
        Ok(true)
    }
}

/// The desk's end, and the reading of answers by itself.
pub fn desk(bytes: &[u8]) {
    let r = recorded();
    let mut line = Hostile { take: Take(bytes), board: Board::new() };
    if let Ok(told) = lockstep(&mut line, 1, (&r.machine, &r.product), r.inputs.iter().copied()) {
        match &told.difference {
            None => assert_eq!(told.ticks, r.inputs.len() as u64, "not all was compared"),
            Some(d) => {
                assert!((1..=r.inputs.len() as u64).contains(&d.tick), "{d:?}");
                assert_ne!(d.desk, d.board, "{d:?}");
            }
        }
    }
    answers(bytes);
}

/// Inputs and answers told by what is new in them, read from any bytes; read again from what is written of them, they are the same.
fn answers(bytes: &[u8]) {
    let mut rest = bytes;
    let (mut last, mut said): (Option<Inputs>, Option<Answer>) = (None, None);
    while let Some(given) = read::<Given>(&mut rest) {
        let Some(inputs) = given.inputs(last.as_ref()) else { break };
        assert_eq!(Given::after(last.as_ref(), &inputs).inputs(last.as_ref()), Some(inputs));
        let mut events = Vec::new();
        let Some(answer) = read_answer(&mut rest, said.as_ref(), &inputs, |e| events.push(e)) else { break };
        let mut room = [0; BODY_MAX];
        let mut pen = Pen::new(&mut room);
        if usize::from(answer.events) == events.len() && pen.answer(said.as_ref(), &inputs, &answer, &events) {
            let used = pen.used();
            let mut again = Vec::new();
            let same = read_answer(&mut &room[..used], said.as_ref(), &inputs, |e| again.push(e));
            assert_eq!((same, again), (Some(answer), events));
        }
        (last, said) = (Some(inputs), Some(answer));
    }
}
