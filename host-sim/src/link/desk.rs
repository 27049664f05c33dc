//! The desk's side of a link: batches of ticks, numbered, repeated when need be, and each answer compared.

use super::{Line, LinkError};
use firmware_example::link::frame::{Opened, Opener, seal};
use firmware_example::link::message::{Answer, FromBoard, Loaded, Pen, ToBoard, hash, read, read_answer};
use firmware_example::link::near::Given;
use firmware_example::link::{BODY_MAX, FRAME_MAX, VERSION, WINDOW};
use serde::Serialize;
use std::collections::VecDeque;
use std::fmt::Write as _;
use std::time::Duration;
use timing_core::{Digest, Event, Inputs, Machine, MachineProfile, Product, Setpoints, Station};

/// How often it asks for one thing.
const TRIES: u32 = 20;
/// Frames that may come without the one that is due: a board that babbles is none.
const IDLE: u32 = 10_000;
/// Ticks in a batch, at most: as many as one byte counts. Most batches end before, with the room in a message; the fewer there are, the less the link costs.
const BATCH: u8 = 255;

/// What came of it.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Lockstep {
    /// Ticks compared.
    pub ticks: u64,
    /// The first difference, if there is one; nothing after it was compared.
    pub difference: Option<Difference>,
    /// Digest of the core here, as in a rehearsal's verdict; after a difference it may be some ticks ahead of it.
    pub digest: String,
    /// The same over every tick.
    pub trace_digest: String,
    /// What the link did.
    pub link: Told,
}

/// Where board and desk part.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Difference {
    /// Number of the tick, from 1.
    pub tick: u64,
    /// Its time, µs.
    pub now_us: u64,
    /// What differs.
    pub field: String,
    /// What the core here says.
    pub desk: String,
    /// What the board says.
    pub board: String,
}

/// What the link did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Told {
    /// Frames sent, repeats included.
    pub sent: u64,
    /// Of these, repeats.
    pub repeated: u64,
    /// Frames that came whole.
    pub came: u64,
    /// Frames that came broken.
    pub broken: u64,
    /// Times that nothing came for as long as the desk waits.
    pub silent: u64,
}

/// A batch under way.
struct Pending {
    batch: u32,
    frame: Vec<u8>,
    /// The answers as the core here gives them, encoded.
    expected: Vec<u8>,
    /// Number of its first tick, and the inputs of all.
    first: u64,
    inputs: Vec<Inputs>,
}

/// Runs `inputs` through the core here and the board at the end of `line`; `run` is a number that this line has not seen.
///
/// # Errors
/// [`LinkError`] when the link ends before all is compared. A difference is no error: see [`Lockstep::difference`].
pub fn lockstep(
    line: &mut dyn Line,
    run: u32,
    setup: (&MachineProfile, &Product),
    inputs: impl Iterator<Item = Inputs>,
) -> Result<Lockstep, LinkError> {
    let machine = Machine::new(setup.0).map_err(|_| LinkError::Refused)?;
    let setpoints = Setpoints::new(setup.1, &machine).map_err(|_| LinkError::Refused)?;
    let mut desk = Desk { line, run, opener: Opener::default(), bytes: Vec::new(), told: Told::default() };
    desk.greet()?;
    desk.load(setup)?;
    let mut batches = Batches {
        station: Station::new(machine, setpoints),
        inputs: inputs.peekable(),
        digest: Digest::new(),
        run,
        next: 0,
        ticks: 0,
    };
    let mut out = Lockstep::default();
    desk.compare(&mut batches, &mut out)?;
    out.digest = format!("{:016x}", batches.digest.digest());
    out.trace_digest = format!("{:016x}", batches.digest.trace());
    out.link = desk.told;
    Ok(out)
}

/// The core here, ahead of the board by the batches under way.
struct Batches<I: Iterator<Item = Inputs>> {
    station: Station,
    inputs: std::iter::Peekable<I>,
    digest: Digest,
    run: u32,
    next: u32,
    ticks: u64,
}

impl<I: Iterator<Item = Inputs>> Batches<I> {
    /// The next batch; `None` when there are no more inputs.
    fn next(&mut self) -> Result<Option<Pending>, LinkError> {
        let (mut asked, mut told) = ([0; BODY_MAX], [0; BODY_MAX]);
        let (mut given, mut said): (Vec<Inputs>, Option<Answer>) = (Vec::new(), None);
        // Heads are written last, when the count is known; their length does not depend on it, because a count is one byte.
        let (batch, first) = (self.next, self.ticks + 1);
        let asking = |count| ToBoard::Ticks { run: self.run, batch, count };
        let telling = |count| FromBoard::Answers { run: self.run, batch, count };
        let (mut ask, mut tell) = (Pen::new(&mut asked), Pen::new(&mut told));
        if !(ask.write(&asking(0)) && tell.write(&telling(0))) {
            return Err(LinkError::TooLong);
        }
        let mut count = 0;
        while let Some(inputs) = self
            .inputs
            .next_if(|_| count < BATCH && ask.used() < BODY_MAX - TICK_MAX && tell.used() < BODY_MAX - TICK_MAX)
        {
            let out = self.station.tick(&inputs);
            self.digest.tick(inputs.now, &out);
            let answer = Answer::of(&out);
            if !(ask.write(&Given::after(given.last(), &inputs))
                && tell.answer(said.as_ref(), &inputs, &answer, out.events))
            {
                return Err(LinkError::TooLong);
            }
            said = Some(answer);
            given.push(inputs);
            count += 1;
        }
        if count == 0 {
            return Ok(None);
        }
        let (ask_used, tell_used) = (ask.used(), tell.used());
        if !(Pen::new(&mut asked).write(&asking(count)) && Pen::new(&mut told).write(&telling(count))) {
            return Err(LinkError::TooLong);
        }
        let mut frame = vec![0; FRAME_MAX];
        let length = seal(&asked[..ask_used], &mut frame).ok_or(LinkError::TooLong)?;
        frame.truncate(length);
        self.next += 1;
        self.ticks += u64::from(count);
        Ok(Some(Pending { batch, frame, expected: told[..tell_used].to_vec(), first, inputs: given }))
    }
}

/// Bytes that the longest tick takes in a message, either way: eight events of at most 11 bytes and everything else at its longest.
const TICK_MAX: usize = 160;

struct Desk<'a> {
    line: &'a mut dyn Line,
    run: u32,
    opener: Opener,
    bytes: Vec<u8>,
    told: Told,
}

/// What the desk hears.
enum Heard {
    Message(FromBoard, Vec<u8>),
    Broken,
    Nothing,
}

impl Desk<'_> {
    fn send(&mut self, frame: &[u8], again: bool) -> Result<(), LinkError> {
        self.told.sent += 1;
        self.told.repeated += u64::from(again);
        Ok(self.line.send(frame)?)
    }

    /// The next frame, waiting for it for as long as the line says.
    fn hear(&mut self) -> Result<Heard, LinkError> {
        loop {
            let mut heard = None;
            while heard.is_none() && !self.bytes.is_empty() {
                let (taken, opened) = self.opener.push(&self.bytes);
                heard = opened.map(|opened| match opened {
                    Opened::Broken => Heard::Broken,
                    Opened::Body(body) => {
                        let mut rest = body;
                        read(&mut rest).map_or(Heard::Broken, |m| Heard::Message(m, body.to_vec()))
                    }
                });
                self.bytes.drain(..taken);
            }
            match heard {
                Some(Heard::Broken) => {
                    self.told.broken += 1;
                    return Ok(Heard::Broken);
                }
                Some(heard) => {
                    self.told.came += 1;
                    return Ok(heard);
                }
                None => {}
            }
            if !self.line.receive(&mut self.bytes, self.line.patience())? {
                self.told.silent += 1;
                return Ok(Heard::Nothing);
            }
        }
    }

    /// Asks until `is_it` takes an answer.
    fn ask<T>(
        &mut self,
        frame: &[u8],
        what: &'static str,
        is_it: impl Fn(&FromBoard) -> Option<T>,
    ) -> Result<T, LinkError> {
        for n in 0..TRIES {
            self.send(frame, n > 0)?;
            // Answers to what was asked before are let pass.
            for _ in 0..TRIES {
                match self.hear()? {
                    Heard::Message(message, _) => {
                        if let Some(found) = is_it(&message) {
                            return Ok(found);
                        }
                        if matches!(message, FromBoard::Again { .. }) {
                            break;
                        }
                    }
                    Heard::Broken | Heard::Nothing => break,
                }
            }
        }
        Err(LinkError::NoAnswer(what, TRIES))
    }

    fn greet(&mut self) -> Result<(), LinkError> {
        // What is left of an earlier talk, on either side, ends here.
        self.line.send(&[firmware_example::link::frame::END])?;
        for _ in 0..IDLE {
            if !self.line.receive(&mut self.bytes, Duration::from_millis(1))? {
                break;
            }
            self.bytes.clear();
        }
        let frame = sealed(&ToBoard::Hello { version: VERSION }, &[])?;
        let version = self.ask(&frame, "hello", |m| match m {
            FromBoard::Hello { version, .. } => Some(*version),
            _ => None,
        })?;
        if version == VERSION { Ok(()) } else { Err(LinkError::Version(version)) }
    }

    fn load(&mut self, (machine, product): (&MachineProfile, &Product)) -> Result<(), LinkError> {
        let mut body = [0; BODY_MAX];
        let mut pen = Pen::new(&mut body);
        if !(pen.write(machine) && pen.write(product)) {
            return Err(LinkError::TooLong);
        }
        let used = pen.used();
        let run = self.run;
        let frame = sealed(&ToBoard::Load { run }, &body[..used])?;
        let loaded: Option<Loaded> = self.ask(&frame, "a machine and a product", |m| match *m {
            FromBoard::Loaded(loaded) if loaded.run == run => Some(Some(loaded)),
            FromBoard::Refused { run: r } if r == run => Some(None),
            _ => None,
        })?;
        let (sent, loaded) = ((hash(machine), hash(product)), loaded.ok_or(LinkError::Refused)?);
        let board = (loaded.machine, loaded.product);
        if sent == board { Ok(()) } else { Err(LinkError::OtherSetup { sent, board }) }
    }

    fn compare<I: Iterator<Item = Inputs>>(
        &mut self,
        batches: &mut Batches<I>,
        out: &mut Lockstep,
    ) -> Result<(), LinkError> {
        let mut under_way: VecDeque<Pending> = VecDeque::with_capacity(WINDOW);
        let (mut tries, mut more) = (0, true);
        // A request to send again is followed once; those that frames under way then bring along, not.
        let (mut followed, mut idle) = (None, 0);
        loop {
            while more && under_way.len() < WINDOW {
                match batches.next()? {
                    Some(pending) => {
                        self.send(&pending.frame, false)?;
                        under_way.push_back(pending);
                    }
                    None => more = false,
                }
            }
            let Some(due) = under_way.front() else { return Ok(()) };
            idle += 1;
            if idle > IDLE {
                return Err(LinkError::NoAnswer("a batch of ticks", TRIES));
            }
            let again = match self.hear()? {
                Heard::Message(FromBoard::Answers { run, batch, .. }, body) if run == self.run => {
                    if batch == due.batch {
                        if body != due.expected {
                            out.difference = Some(difference(due, &body));
                            return Ok(());
                        }
                        out.ticks += due.inputs.len() as u64;
                        under_way.pop_front();
                        (tries, followed, idle) = (0, None, 0);
                        false
                    } else {
                        // Ahead of what is due: the answer before it is lost. Behind: it came twice.
                        batch > due.batch && followed.replace(due.batch) != Some(due.batch)
                    }
                }
                Heard::Message(FromBoard::Again { run, batch }, _) => {
                    if run != self.run || batch < due.batch {
                        return Err(LinkError::StartedAnew(due.batch));
                    }
                    followed.replace(due.batch) != Some(due.batch)
                }
                Heard::Message(..) => false,
                Heard::Broken => followed.replace(due.batch) != Some(due.batch),
                Heard::Nothing => true,
            };
            if again {
                tries += 1;
                if tries > TRIES {
                    return Err(LinkError::NoAnswer("a batch of ticks", TRIES));
                }
                for pending in &under_way {
                    self.told.sent += 1;
                    self.told.repeated += 1;
                    self.line.send(&pending.frame)?;
                }
            }
        }
    }
}

fn sealed(head: &ToBoard, rest: &[u8]) -> Result<Vec<u8>, LinkError> {
    let mut body = [0; BODY_MAX];
    let mut pen = Pen::new(&mut body);
    if !pen.write(head) {
        return Err(LinkError::TooLong);
    }
    let used = pen.used();
    let room = body.get_mut(used..used + rest.len()).ok_or(LinkError::TooLong)?;
    room.copy_from_slice(rest);
    let mut frame = vec![0; FRAME_MAX];
    let length = seal(&body[..used + rest.len()], &mut frame).ok_or(LinkError::TooLong)?;
    frame.truncate(length);
    Ok(frame)
}

/// One tick's answer, taken apart.
type Parts = (Answer, Vec<Event>);

fn parts(bytes: &mut &[u8], last: Option<&Parts>, inputs: &Inputs) -> Option<Parts> {
    let mut events = Vec::new();
    let answer = read_answer(bytes, last.map(|l| &l.0), inputs, |e| events.push(e))?;
    Some((answer, events))
}

/// The first thing that differs in two messages that do.
fn difference(due: &Pending, board: &[u8]) -> Difference {
    let (mut here, mut there) = (due.expected.as_slice(), board);
    let _: (Option<FromBoard>, Option<FromBoard>) = (read(&mut here), read(&mut there));
    // Up to the first difference both were told the same, so what is new in the next is new since the same.
    let mut last: Option<Parts> = None;
    for (tick, inputs) in (due.first..).zip(&due.inputs) {
        let (Some(desk), found) = (parts(&mut here, last.as_ref(), inputs), parts(&mut there, last.as_ref(), inputs))
        else {
            break;
        };
        let told = |field: &str, desk: String, board: String| Difference {
            tick,
            now_us: inputs.now.as_micros(),
            field: field.to_owned(),
            desk,
            board,
        };
        let Some(found) = found else { return told("answer", "there is one".to_owned(), "there is none".to_owned()) };
        if let Some((field, desk, board)) = first_field(&desk, &found) {
            return told(&field, desk, board);
        }
        last = Some(desk);
    }
    let mut hex = (String::new(), String::new());
    // Writing to a String cannot fail.
    for b in here {
        let _ = write!(hex.0, "{b:02x}");
    }
    for b in there {
        let _ = write!(hex.1, "{b:02x}");
    }
    let (tick, now_us) = (due.first, due.inputs.first().map_or(0, |i| i.now.as_micros()));
    Difference { tick, now_us, field: "bytes after the last answer".to_owned(), desk: hex.0, board: hex.1 }
}

fn first_field((a, ea): &Parts, (b, eb): &Parts) -> Option<(String, String, String)> {
    macro_rules! compare {
        ($($field:ident),*) => {
            $(if a.$field != b.$field {
                return Some((stringify!($field).replace('_', " "), format!("{:?}", a.$field), format!("{:?}", b.$field)));
            })*
        };
    }
    compare!(orders, belt_speed, spin_rpm, unit, mode, wake, events_lost, events);
    let n = ea.iter().zip(eb).position(|(x, y)| x != y)?;
    Some((format!("event {}", n + 1), format!("{:?}", ea[n]), format!("{:?}", eb[n])))
}
