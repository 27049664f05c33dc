//! The board's side of a link.

use super::frame::{Opened, Opener, seal};
use super::message::{Answer, FromBoard, Loaded, Pen, ToBoard, hash, read, read_setup};
use super::near::Given;
use super::{BODY_MAX, FRAME_MAX, VERSION, WINDOW};
use timing_core::{Inputs, Machine, Orders, Setpoints, Station};

/// Bytes that [`serve`] reads at once, at most: a whole frame, for where a read costs more than its bytes do.
const READ_MAX: usize = FRAME_MAX;

/// Where a board's bytes come from and go to.
pub trait Wire {
    /// Reads some bytes; 0 when nothing came for as long as a board waits, or ever will.
    ///
    /// # Errors
    /// When the wire cannot be read.
    fn read(&mut self, into: &mut [u8]) -> Result<usize, WireFailed>;

    /// Writes all of `bytes`.
    ///
    /// # Errors
    /// When the wire cannot be written.
    fn write(&mut self, bytes: &[u8]) -> Result<(), WireFailed>;
}

/// A wire cannot be read or written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WireFailed;

/// An answer that may be asked for again.
#[derive(Clone, Copy)]
struct Kept {
    length: usize,
    bytes: [u8; BODY_MAX],
}

/// A board at the end of a link: a station that ticks when it is told to.
pub struct Session {
    opener: Opener,
    seat: Seat,
}

/// What answers whole messages.
struct Seat {
    station: Option<Station>,
    loaded: Option<Loaded>,
    /// The batch that is due.
    due: u32,
    /// Answers to the last batches, by number modulo [`WINDOW`].
    kept: [Kept; WINDOW],
    orders: Orders,
}

impl Default for Session {
    fn default() -> Self {
        Self::new()
    }
}

impl Session {
    /// Nothing loaded, everything off.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            opener: Opener::new(),
            seat: Seat {
                station: None,
                loaded: None,
                due: 0,
                kept: [Kept { length: 0, bytes: [0; BODY_MAX] }; WINDOW],
                orders: Orders::SAFE,
            },
        }
    }

    /// What a board's coils are to do now: what the last tick ordered, or the safe vector.
    #[must_use]
    pub const fn orders(&self) -> Orders {
        self.seat.orders
    }

    /// Nothing has come for longer than the board waits: the safe vector, until the next batch that is due.
    pub const fn silent(&mut self) {
        self.seat.orders = Orders::SAFE;
    }

    /// Takes bytes up to the end of one frame: how many, and, if what the frame says is to be answered, how long the answer is that was written to `into`.
    /// What is left is for the next call; of bytes that are there, at least one is taken. `around` is told of each batch, for a watchdog.
    pub fn push(
        &mut self,
        bytes: &[u8],
        into: &mut [u8; FRAME_MAX],
        around: &mut impl Around,
    ) -> (usize, Option<usize>) {
        let (taken, opened) = self.opener.push(bytes);
        let answered = match opened {
            None => None,
            Some(Opened::Broken) => self.seat.say(&self.seat.again(), into),
            Some(Opened::Body(body)) => self.seat.hear(body, into, around),
        };
        (taken, answered)
    }
}

impl Seat {
    fn hear(&mut self, mut body: &[u8], into: &mut [u8; FRAME_MAX], around: &mut impl Around) -> Option<usize> {
        match read(&mut body) {
            Some(ToBoard::Hello { .. }) => self.say(&FromBoard::Hello { version: VERSION, loaded: self.loaded }, into),
            Some(ToBoard::Load { run }) => {
                let said = self.load(run, body);
                self.say(&said, into)
            }
            Some(ToBoard::Ticks { run, batch, count }) => self.ticks(run, batch, count, body, into, around),
            None => self.say(&self.again(), into),
        }
    }

    fn again(&self) -> FromBoard {
        FromBoard::Again { run: self.loaded.map_or(0, |l| l.run), batch: self.due }
    }

    fn say(&self, message: &FromBoard, into: &mut [u8; FRAME_MAX]) -> Option<usize> {
        let mut body = [0; 32];
        let mut pen = Pen::new(&mut body);
        let whole = pen.write(message);
        let used = pen.used();
        whole.then(|| seal(body.get(..used)?, into)).flatten()
    }

    /// A load that comes twice is answered twice, and sets up once. Kept out of what ticks: it needs room for a station on the stack.
    #[inline(never)]
    fn load(&mut self, run: u32, mut setup: &[u8]) -> FromBoard {
        if let Some(loaded) = self.loaded.filter(|l| l.run == run) {
            return FromBoard::Loaded(loaded);
        }
        let Some((profile, product)) = read_setup(&mut setup) else { return FromBoard::Refused { run } };
        let made = Machine::new(&profile).ok().and_then(|m| Some((m, Setpoints::new(&product, &m).ok()?)));
        let Some((machine, setpoints)) = made else { return FromBoard::Refused { run } };
        let loaded = Loaded { run, machine: hash(&profile), product: hash(&product) };
        self.station = Some(Station::new(machine, setpoints));
        (self.loaded, self.due, self.orders) = (Some(loaded), 0, Orders::SAFE);
        FromBoard::Loaded(loaded)
    }

    fn ticks(
        &mut self,
        run: u32,
        batch: u32,
        count: u8,
        mut inputs: &[u8],
        into: &mut [u8; FRAME_MAX],
        around: &mut impl Around,
    ) -> Option<usize> {
        let here = self.loaded.is_some_and(|l| l.run == run);
        let place = (batch % WINDOW as u32) as usize;
        // How far behind the batch that is due: 0 is due, up to WINDOW were answered a moment ago.
        let behind = self.due.wrapping_sub(batch);
        if here && behind > 0 && behind <= WINDOW as u32 {
            let kept = self.kept.get(place)?;
            return seal(kept.bytes.get(..kept.length)?, into);
        }
        let Some(station) = self.station.as_mut().filter(|_| here && behind == 0) else {
            return self.say(&self.again(), into);
        };
        let kept = self.kept.get_mut(place)?;
        let mut pen = Pen::new(&mut kept.bytes);
        let mut whole = pen.write(&FromBoard::Answers { run, batch, count });
        let (mut last, mut said): (Option<Inputs>, Option<Answer>) = (None, None);
        around.before();
        for _ in 0..count {
            let given: Option<Given> = read(&mut inputs);
            let Some(inputs) = given.and_then(|g| g.follow(&mut last)) else { break };
            let out = station.tick(inputs);
            self.orders = out.orders;
            let answer = Answer::of(&out);
            // What finds no room is missed by the desk, which asked for no more than has room.
            whole = whole && pen.answer(said.as_ref(), inputs, &answer, out.events);
            said = Some(answer);
        }
        around.after(self.orders);
        kept.length = pen.used();
        self.due = self.due.wrapping_add(1);
        seal(kept.bytes.get(..kept.length)?, into)
    }
}

/// What a board does around the ticks of a batch: starts a watchdog before, and stops or feeds it after the last has ended.
pub trait Around {
    /// Before the first.
    fn before(&mut self);
    /// After the last has ended, with what it ordered.
    fn after(&mut self, orders: Orders);
}

impl Around for () {
    fn before(&mut self) {}
    fn after(&mut self, _: Orders) {}
}

/// Serves a link until its wire is silent or fails; what happens to the coils then is the caller's: everything off.
///
/// # Errors
/// [`WireFailed`] when the wire cannot be read or written.
pub fn serve(session: &mut Session, wire: &mut impl Wire, around: &mut impl Around) -> Result<(), WireFailed> {
    let (mut block, mut out) = ([0; READ_MAX], [0; FRAME_MAX]);
    loop {
        let n = wire.read(&mut block)?;
        if n == 0 {
            session.silent();
            return Ok(());
        }
        let mut came = block.get(..n).unwrap_or_default();
        // Each turn takes at least one byte.
        while !came.is_empty() {
            let (taken, answered) = session.push(came, &mut out, around);
            came = came.get(taken..).unwrap_or_default();
            if let Some(length) = answered {
                wire.write(out.get(..length).unwrap_or_default())?;
            }
        }
    }
}
