//! The link between desk and board, with the board's own code in this process: what is lost, cut, doubled or corrupted, in whatever frame, is
//! repaired or ends in a clear error, and a board that says anything else than the core here is found out.

use crate::random_job::shipped;
use firmware_example::link::frame::{CHECK, END, Opened, Opener, seal};
use firmware_example::link::message::{Answer, FromBoard, Pen, ToBoard, read};
use firmware_example::link::near::{Given, Said};
use firmware_example::link::{BODY_MAX, FRAME_MAX, VERSION};
use host_sim::link::faulty::Faulty;
use host_sim::link::{Line, LinkError, Lockstep, lockstep};
use proptest::prelude::*;
use std::io;
use std::time::Duration;
use tests::in_process::Board;
use tests::recorded::Recorded;
use timing_core::{
    Contacts, Counts, Inputs, Instant, MachineProfile, Mode, Orders, Product, Request, Speed, UnitState, Wake,
};

/// What a rehearsal gave the core, and its digest.
fn rehearsed(name: &str) -> (Recorded, String) {
    let (recorded, digest) = Recorded::rehearsed(&shipped(name));
    (recorded, host_sim::digest::hex(digest))
}

fn recorded(name: &str) -> Recorded {
    rehearsed(name).0
}

fn run(line: &mut dyn Line, r: &Recorded, ticks: usize) -> Result<Lockstep, LinkError> {
    lockstep(line, 1, (&r.machine, &r.product), r.inputs.iter().take(ticks).copied())
}

/// Check value of CRC-32/ISO-HDLC in the catalogue of parametrised CRC algorithms: CBF43926 for the digits 1 to 9.
#[test]
fn the_check_is_that_of_the_catalogue() {
    assert_eq!(CHECK.checksum(b"123456789"), 0xCBF4_3926);
}

#[test]
fn every_tick_of_every_kind_of_job_is_the_same_on_a_board() {
    for name in ["steady-day", "early-release-late-head", "jam-cleared", "chain-tightening", "torque-window"] {
        let (r, digest) = rehearsed(name);
        let told = run(&mut Board::new(), &r, usize::MAX).expect("the link is whole");
        assert_eq!((told.difference, told.ticks), (None, r.inputs.len() as u64), "{name}");
        assert_eq!(told.digest, digest, "{name}");
        assert_eq!((told.link.repeated, told.link.broken, told.link.silent), (0, 0, 0), "{name}");
    }
}

/// Spoils one frame, of those sent or of those that come.
struct One {
    board: Board,
    /// Whether it is one of those that come.
    coming: bool,
    /// Its number.
    number: u32,
    how: How,
    seen: u32,
    part: Vec<u8>,
    done: bool,
}

#[derive(Clone, Copy, Debug)]
enum How {
    Lost,
    Cut(usize),
    Doubled,
    Corrupted(usize, u8),
}

impl One {
    fn through(&mut self, frame: Vec<u8>) -> Vec<u8> {
        self.seen += 1;
        if self.seen - 1 != self.number {
            return frame;
        }
        self.done = true;
        match self.how {
            How::Lost => Vec::new(),
            How::Cut(at) => frame[..at.min(frame.len())].to_vec(),
            How::Doubled => [frame.clone(), frame].concat(),
            How::Corrupted(at, bit) => {
                let mut frame = frame;
                let at = at % frame.len();
                frame[at] ^= 1 << bit;
                frame
            }
        }
    }
}

impl Line for One {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        let bytes = if self.coming { bytes.to_vec() } else { self.through(bytes.to_vec()) };
        self.board.send(&bytes)
    }

    fn receive(&mut self, into: &mut Vec<u8>, patience: Duration) -> io::Result<bool> {
        let mut came = Vec::new();
        if !self.board.receive(&mut came, patience)? {
            return Ok(false);
        }
        for byte in came {
            self.part.push(byte);
            if byte == END {
                let frame = std::mem::take(&mut self.part);
                into.extend(if self.coming { self.through(frame) } else { frame });
            }
        }
        Ok(true)
    }
}

/// Every frame of a short run, greeting and set-up among them, spoilt in every way, going and coming.
#[test]
fn whatever_happens_to_one_frame_is_repaired() {
    const TICKS: usize = 700;
    let r = recorded("steady-day");
    let whole = run(&mut Board::new(), &r, TICKS).expect("the link is whole");
    let mut tried = 0;
    for coming in [false, true] {
        for number in 0..u32::MAX {
            let mut spoilt = false;
            let cuts = [1, 7, 40].map(How::Cut);
            let flips = [(0, 0), (1, 3), (9, 7), (33, 1)].map(|(at, bit)| How::Corrupted(at, bit));
            for how in [How::Lost, How::Doubled].into_iter().chain(cuts).chain(flips) {
                let mut line = One { board: Board::new(), coming, number, how, seen: 0, part: Vec::new(), done: false };
                let told = run(&mut line, &r, TICKS).unwrap_or_else(|e| panic!("frame {number}, {how:?}: {e}"));
                assert_eq!(told.difference, None, "frame {number}, {how:?}, coming {coming}");
                assert_eq!(
                    (told.ticks, &told.trace_digest),
                    (TICKS as u64, &whole.trace_digest),
                    "frame {number}, {how:?}"
                );
                spoilt |= line.done;
                tried += 1;
            }
            if !spoilt {
                break;
            }
        }
    }
    println!("{tried} runs with one spoilt frame: every output the same");
    assert!(tried > 100);
}

#[test]
fn a_bad_line_is_repaired_or_says_so() {
    let r = recorded("steady-day");
    let (mut whole, mut gave_up, mut repeated) = (0, 0, 0);
    for seed in 0..40 {
        for one_in in [3, 6, 30] {
            let mut line = Faulty::new(Board::new(), seed, one_in);
            match run(&mut line, &r, 4_000) {
                Ok(told) => {
                    assert_eq!((told.difference, told.ticks), (None, 4_000), "seed {seed}");
                    whole += 1;
                    repeated += told.link.repeated;
                }
                Err(e) => {
                    assert!(matches!(e, LinkError::NoAnswer(..)), "seed {seed}: {e}");
                    gave_up += 1;
                }
            }
            assert!(line.spoilt.all() > 0);
        }
    }
    println!("{whole} runs repaired with {repeated} frames repeated, {gave_up} gave up");
    assert!(whole >= 100 && repeated > 1_000);
}

/// Someone in between who changes what the board is asked or what it answers, checks and all.
struct Meddler<F> {
    board: Board,
    opener: Opener,
    meddle: F,
}

impl<F: FnMut(&mut Vec<u8>)> Line for Meddler<F> {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        let mut rest = bytes;
        while !rest.is_empty() {
            let (taken, opened) = self.opener.push(rest);
            rest = &rest[taken..];
            let Some(Opened::Body(body)) = opened else { continue };
            let mut body = body.to_vec();
            (self.meddle)(&mut body);
            let mut frame = [0; FRAME_MAX];
            let n = seal(&body, &mut frame).expect("it has room");
            self.board.send(&frame[..n])?;
        }
        Ok(())
    }

    fn receive(&mut self, into: &mut Vec<u8>, patience: Duration) -> io::Result<bool> {
        self.board.receive(into, patience)
    }
}

fn meddled(r: &Recorded, meddle: impl FnMut(&mut Vec<u8>)) -> Result<Lockstep, LinkError> {
    run(&mut Meddler { board: Board::new(), opener: Opener::new(), meddle }, r, usize::MAX)
}

/// Inputs of one batch, written again as `change` leaves them.
fn change_batch(body: &mut Vec<u8>, wanted: u32, change: impl Fn(&mut [Inputs])) {
    let mut rest = body.as_slice();
    let Some(ToBoard::Ticks { run, batch, count }) = read(&mut rest) else { return };
    if batch != wanted {
        return;
    }
    let mut all: Vec<Inputs> = Vec::new();
    for _ in 0..count {
        let given: Given = read(&mut rest).expect("it is whole");
        all.push(given.inputs(all.last()).expect("it is whole"));
    }
    change(&mut all);
    let mut room = [0; BODY_MAX];
    let mut pen = Pen::new(&mut room);
    assert!(pen.write(&ToBoard::Ticks { run, batch, count }));
    for (n, inputs) in all.iter().enumerate() {
        assert!(pen.write(&Given::after(n.checked_sub(1).map(|k| &all[k]), inputs)));
    }
    let used = pen.used();
    *body = room[..used].to_vec();
}

#[test]
fn a_board_that_saw_another_contact_is_found_out_at_that_tick() {
    let r = recorded("steady-day");
    // While the head works: the chain opens on the board, and there only.
    let told = meddled(&r, |body| {
        change_batch(body, 60, |all| {
            for inputs in &mut all[3..] {
                inputs.contacts = inputs.contacts.with(timing_core::Contact::Chain, false);
            }
        });
    })
    .expect("the link is whole");
    let d = told.difference.expect("it is found");
    // Compared were the batches before, and the difference is at the fourth tick of this one.
    assert_eq!(d.tick, told.ticks + 4);
    assert_eq!(d.field, "orders");
    assert!(d.desk != d.board && d.board.contains("0"), "{d:?}");
}

#[test]
fn a_board_set_up_with_another_product_is_not_talked_to() {
    let r = recorded("steady-day");
    let e = meddled(&r, |body| {
        let mut rest = body.as_slice();
        let Some(ToBoard::Load { run }) = read(&mut rest) else { return };
        let (mut machine, product): (MachineProfile, Product) =
            (read(&mut rest).expect("it is whole"), read(&mut rest).expect("it is whole"));
        machine.warn = timing_core::Duration::from_millis(3_000);
        let mut room = [0; BODY_MAX];
        let mut pen = Pen::new(&mut room);
        assert!(pen.write(&ToBoard::Load { run }) && pen.write(&machine) && pen.write(&product));
        let used = pen.used();
        *body = room[..used].to_vec();
    })
    .expect_err("it must not be talked to");
    assert!(matches!(e, LinkError::OtherSetup { .. }), "{e}");
    assert!(e.to_string().contains("set up with something else"));
}

/// A board that is reset under way has lost its place, and says which batch it wants.
#[test]
fn a_board_that_starts_anew_is_told() {
    struct Reset(Board, u32);
    impl Line for Reset {
        fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
            self.1 += 1;
            if self.1 == 20 {
                self.0 = Board::new();
            }
            self.0.send(bytes)
        }
        fn receive(&mut self, into: &mut Vec<u8>, patience: Duration) -> io::Result<bool> {
            self.0.receive(into, patience)
        }
    }
    let r = recorded("steady-day");
    let e = run(&mut Reset(Board::new(), 0), &r, usize::MAX).expect_err("its station is gone");
    assert!(matches!(e, LinkError::StartedAnew(_)), "{e}");
}

#[test]
fn no_board_and_a_board_of_another_version() {
    struct Deaf;
    impl Line for Deaf {
        fn send(&mut self, _: &[u8]) -> io::Result<()> {
            Ok(())
        }
        fn receive(&mut self, _: &mut Vec<u8>, _: Duration) -> io::Result<bool> {
            Ok(false)
        }
    }
    struct Older;
    impl Line for Older {
        fn send(&mut self, _: &[u8]) -> io::Result<()> {
            Ok(())
        }
        fn receive(&mut self, into: &mut Vec<u8>, _: Duration) -> io::Result<bool> {
            let mut body = [0; 16];
            let mut pen = Pen::new(&mut body);
            assert!(pen.write(&FromBoard::Hello { version: VERSION + 1, loaded: None }));
            let used = pen.used();
            let mut frame = [0; FRAME_MAX];
            let n = seal(&body[..used], &mut frame).expect("it has room");
            into.extend(&frame[..n]);
            Ok(true)
        }
    }
    let r = recorded("seat-only");
    let e = run(&mut Deaf, &r, 10).expect_err("nobody is there");
    assert!(e.to_string().contains("no whole answer to hello"), "{e}");
    let e = run(&mut Older, &r, 10).expect_err("it speaks another version");
    assert!(matches!(e, LinkError::Version(v) if v == VERSION + 1), "{e}");
}

/// When the link is silent the board takes the safe vector by itself, and keeps it until the batch that is due.
#[test]
fn a_silent_link_puts_everything_off() {
    let r = recorded("steady-day");
    let mut board = Board::new();
    run(&mut board, &r, 3_000).expect("the link is whole");
    assert_ne!(board.session.orders(), Orders::SAFE, "it is in production");
    board.session.silent();
    assert_eq!(board.session.orders(), Orders::SAFE);
    // Noise is no batch.
    board.send(b"noise\0").expect("the board is there");
    assert_eq!(board.session.orders(), Orders::SAFE);
}

fn inputs() -> impl Strategy<Value = Inputs> {
    let time = prop_oneof![0..1_000_000u64, any::<u64>()];
    let place = prop_oneof![-100_000..100_000i64, any::<i64>()];
    (time.clone(), place.clone(), prop::option::of(time), any::<u32>(), 0..4u32, prop::option::of(place), any::<bool>())
        .prop_map(|(now, belt, at, contacts, failed, latch, asked)| Inputs {
            now: Instant::from_micros(now),
            belt: Counts::new(belt),
            belt_at: at.map(Instant::from_micros),
            contacts: Contacts::from_bits(contacts),
            failed: Contacts::from_bits(failed),
            release_latch: latch.map(Counts::new),
            discharge_latch: None,
            request: asked.then_some(Request::Batch(7)),
        })
}

fn answer() -> impl Strategy<Value = Answer> {
    let place = prop_oneof![Just(i64::MIN), Just(i64::MAX), -100_000..100_000i64, any::<i64>()];
    (0..4u16, 0..3u8, prop_oneof![0..2_000_000u64, any::<u64>()], place.clone(), place).prop_map(
        |(orders, events, at, below, above)| Answer {
            orders: Orders::from_bits(orders),
            belt_speed: Speed::from_mm_per_s(100),
            spin_rpm: 0,
            unit: UnitState::Execute,
            mode: Mode::Production,
            wake: Wake { at: Instant::from_micros(at), below: Counts::new(below), above: Counts::new(above) },
            events_lost: 0,
            events,
        },
    )
}

proptest! {
    #![proptest_config(crate::cases::cases(512))]

    /// Told by what is new or whole, a tick is what it was.
    #[test]
    fn nothing_is_lost_by_telling_what_is_new(a in inputs(), b in inputs(), x in answer(), y in answer()) {
        prop_assert_eq!(Given::after(Some(&a), &b).inputs(Some(&a)), Some(b));
        prop_assert_eq!(Said::after(Some(&x), &b, &y).answer(Some(&x), &b), Some(y));
        prop_assert_eq!(Given::after(None, &b), Given::Whole(b));
        prop_assert_eq!(Said::after(None, &b, &y), Said::Whole(y));
    }

    /// A frame is opened as it was sealed; with a bit turned over, a byte missing or one too many it never opens as something else.
    #[test]
    fn frames(body in prop::collection::vec(any::<u8>(), 0..BODY_MAX), at in any::<prop::sample::Index>(), bit in 0..8u8) {
        let mut frame = [0; FRAME_MAX];
        let n = seal(&body, &mut frame).expect("it has room");
        prop_assert_eq!(frame[..n].iter().position(|b| *b == END), Some(n - 1));
        // However the bytes come, all at once or one by one, the same is in them.
        let open_by = |bytes: &[u8], by: usize| -> Vec<Option<Vec<u8>>> {
            let mut opener = Opener::new();
            let mut all = Vec::new();
            for mut part in bytes.chunks(by) {
                while !part.is_empty() {
                    let (taken, opened) = opener.push(part);
                    part = &part[taken..];
                    match opened {
                        None => {}
                        Some(Opened::Broken) => all.push(None),
                        Some(Opened::Body(b)) => all.push(Some(b.to_vec())),
                    }
                }
            }
            all
        };
        let open = |bytes: &[u8]| open_by(bytes, bytes.len().max(1));
        let twice = [&frame[..n], &frame[..n]].concat();
        for by in [1, 2, 255, twice.len()] {
            prop_assert_eq!(open_by(&twice, by), vec![Some(body.clone()), Some(body.clone())]);
        }
        prop_assert_eq!(open(&frame[..n]), vec![Some(body.clone())]);
        let at = at.index(n);
        let mut flipped = frame[..n].to_vec();
        flipped[at] ^= 1 << bit;
        let mut missing = frame[..n].to_vec();
        missing.remove(at);
        let mut more = frame[..n].to_vec();
        more.insert(at, bit + 1);
        for bytes in [flipped, missing, more] {
            prop_assert!(open(&bytes).into_iter().all(|b| b.is_none()), "{:?}", bytes);
        }
    }
}

/// Any bytes at all: a board goes on, and so does a desk that hears them.
#[test]
fn noise_is_survived_by_both() {
    let mut dice = crate::random_job::Dice::new(5);
    let mut board = Board::new();
    let noise: Vec<u8> = (0..200_000).map(|_| (dice.below(256) * u64::from(dice.chance(0.99))) as u8).collect();
    board.send(&noise).expect("the board is there");
    assert!(!board.back.is_empty(), "it says that what came was broken");
    let (r, digest) = rehearsed("seat-only");
    let told = run(&mut board, &r, usize::MAX).expect("the link is whole");
    assert_eq!((told.difference, told.digest), (None, digest));
    assert!(told.link.came > 0);
}
