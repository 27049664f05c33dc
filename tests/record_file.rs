//! Recordings: what is written is read back whole, replays to the same bits, and a cut or spoilt file gives what came before.

use crate::jobs::files as jobs;
use host_sim::job::Job;
use host_sim::record::rec::{self, RecError, Recording, Writer};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng as _;
use std::path::Path;
use tests::recorded::Recorded;
use timing_core::record::Coder;
use timing_core::{Counts, Digest, Inputs, Instant};

struct Kept {
    file: Vec<u8>,
    digest: u64,
    inputs: Vec<Inputs>,
}

/// A job rehearsed; the core goes over its inputs once more, at each of them also `again` µs later, with the recording beside it.
fn record(path: &Path, again: Option<u64>) -> Kept {
    let (of, _) = Recorded::rehearsed(&Job::read(path).expect("a job"));
    let mut station = of.station();
    let mut writer = Writer::new(&of.machine, &of.product);
    let mut digest = Digest::new();
    for (i, one) in of.inputs.iter().enumerate() {
        let mut tick = |one: &Inputs| {
            let out = station.tick(one);
            digest.tick(one.now, &out);
            writer.tick(one, &out);
        };
        tick(one);
        let later = again.map(|us| one.now.plus(timing_core::Duration::from_micros(us)));
        if let Some(now) = later.filter(|t| of.inputs.get(i + 1).is_some_and(|n| *t < n.now)) {
            tick(&Inputs { now, request: None, ..*one });
        }
    }
    Kept { file: writer.finish(), digest: digest.digest(), inputs: of.inputs }
}

/// Struck wires, seeded, with all that they lack: edges that are timed for a while and then are not, places latched in hardware, time
/// that goes back, ticks that nobody asked for and after them one that comes late.
fn struck(seed: u64, ticks: u32) -> Recorded {
    let mut file = Vec::new();
    tests::wires::record_struck(seed, ticks, &mut file).expect("memory");
    let wires = Recorded::read(&file);
    let mut draw = Pcg32::new(seed, 2);
    let mut timed = false;
    let mut inputs = Vec::new();
    for mut one in wires.inputs {
        timed ^= draw.next_u32().is_multiple_of(50);
        let ago = u64::from(draw.next_u32() % 4_000);
        one.belt_at = timed.then(|| Instant::from_micros(one.now.as_micros().saturating_sub(ago)));
        one.release_latch = (draw.next_u32().is_multiple_of(20)).then_some(one.belt);
        one.discharge_latch =
            (draw.next_u32().is_multiple_of(20)).then(|| Counts::new(one.belt.get() - i64::from(draw.next_u32() % 99)));
        if draw.next_u32().is_multiple_of(200) {
            one.now = Instant::from_micros(one.now.as_micros().saturating_sub(u64::from(draw.next_u32() % 90_000)));
        }
        inputs.push(one);
        if draw.next_u32().is_multiple_of(10) {
            let now = Instant::from_micros(one.now.as_micros() + 1 + u64::from(draw.next_u32() % 300));
            inputs.push(Inputs { now, request: None, ..one });
        }
    }
    Recorded { inputs, ..wires }
}

#[test]
fn struck_wires_are_read_back_as_they_mattered_and_replay_to_the_same_bits() {
    let (mut retimed, mut back, mut latched, mut doubled) = (0, 0, 0, 0);
    for seed in 0..40 {
        let of = struck(seed, 1_500);
        let mut station = of.station();
        let (mut digest, mut coder, mut bytes) = (Digest::new(), Coder::new(), Vec::new());
        let mut writer = Writer::new(&of.machine, &of.product);
        // What the last entry of each tick that left one must say; `None` before it for one that only tells a time.
        let mut due = Vec::new();
        for one in &of.inputs {
            let out = station.tick(one);
            digest.tick(one.now, &out);
            writer.tick(one, &out);
            let entry = coder.tick(one, &out);
            bytes.extend_from_slice(entry.bytes());
            if entry.entries() == 2 {
                doubled += 1;
                due.push(None);
            }
            if entry.entries() > 0 {
                due.push(Some(rec::Told::of(one, &out)));
            }
        }
        let told = rec::decode(&bytes).expect("entries");
        assert_eq!(told.len(), due.len(), "seed {seed}");
        for (i, (t, d)) in told.iter().zip(&due).enumerate() {
            if let Some(d) = d {
                assert_eq!(t, d, "seed {seed}, entry {i}");
            }
        }
        retimed += told.windows(2).filter(|w| w[0].inputs.belt_at.is_some() != w[1].inputs.belt_at.is_some()).count();
        back += told.windows(2).filter(|w| w[1].inputs.now < w[0].inputs.now).count();
        latched += told.iter().filter(|t| t.inputs.release_latch.is_some()).count();
        let replayed = rec::replay(&whole(&writer.finish())).expect("set up");
        assert_eq!((replayed.difference, replayed.digest), (None, digest.digest()), "seed {seed}");
    }
    for (what, n) in [("retimed", retimed), ("back", back), ("latched", latched), ("doubled", doubled)] {
        assert!(n > 0, "no entry was {what}: the drawn wires do not reach it");
    }
}

fn whole(file: &[u8]) -> Recording {
    rec::read(file).expect("a recording")
}

#[test]
fn every_shipped_job_is_read_back_as_given_and_replays_to_the_same_bits() {
    for path in jobs() {
        let of = record(&path, None);
        let recording = whole(&of.file);
        assert_eq!(recording.damage, None, "{}", path.display());
        let read: Vec<Inputs> = recording.told.iter().map(|t| t.inputs).collect();
        assert!(read == of.inputs, "{}: other inputs were read than given", path.display());
        let replayed = rec::replay(&recording).expect("set up");
        assert_eq!(replayed.difference, None, "{}", path.display());
        assert_eq!(replayed.digest, of.digest, "{}", path.display());
        let end = recording.end.expect("an end");
        assert_eq!((end.ticks, end.digest), (replayed.ticks, host_sim::digest::hex(of.digest)));
    }
}

#[test]
fn ticks_at_which_nothing_is_due_are_left_out_and_change_nothing() {
    let path = &jobs()[0];
    let (bare, busy) = (record(path, None), record(path, Some(37)));
    let (a, b) = (whole(&bare.file), whole(&busy.file));
    assert!(b.told.len() < a.told.len() + a.told.len() / 8, "{} entries against {}", b.told.len(), a.told.len());
    let replayed = rec::replay(&b).expect("set up");
    assert_eq!((replayed.difference, replayed.digest), (None, busy.digest));
    assert_eq!(bare.digest, busy.digest);
}

#[test]
fn another_order_event_or_state_than_recorded_is_the_first_difference() {
    let of = whole(&record(&jobs()[0], None).file);
    let n =
        of.told.iter().position(|t| !t.events.is_empty() && t.inputs.now.as_micros() > 5_000_000).expect("an event");
    let with = |change: &dyn Fn(&mut rec::Told)| {
        let mut spoilt = of.clone();
        change(&mut spoilt.told[n]);
        rec::replay(&spoilt).expect("set up").difference.expect("a difference")
    };
    let orders = with(&|t| t.orders = t.orders.with_beacon(!t.orders.beacon()));
    assert_eq!(orders.tick, n as u64 + 1);
    assert!(orders.what.starts_with("orders"), "{orders}");
    assert!(with(&|t| t.events.clear()).what.starts_with("events"));
}

#[test]
fn a_file_cut_anywhere_gives_a_prefix_and_says_so() {
    let file = record(&jobs()[0], None).file;
    let all = whole(&file);
    // Every cut near frames' ends costs a whole reading: every byte of the head, then every 997th.
    for cut in (0..700).chain((700..file.len()).step_by(997)).chain(file.len() - 60..file.len()) {
        match rec::read(&file[..cut]) {
            Ok(part) => {
                assert!(all.told.starts_with(&part.told), "cut at {cut}");
                let damage = part.damage.expect("a cut is told");
                assert!(damage.byte <= cut && part.end.is_none(), "cut at {cut}");
            }
            Err(e) => assert!(cut < 8 && e == RecError::NoRecording || e == RecError::NoSetup, "cut at {cut}: {e}"),
        }
    }
}

#[test]
fn a_flipped_bit_anywhere_is_seen() {
    let file = record(&jobs()[0], None).file;
    let all = whole(&file);
    for at in (0..700).chain((700..file.len()).step_by(1_009)) {
        let mut spoilt = file.clone();
        spoilt[at] ^= 1 << (at % 8);
        match rec::read(&spoilt) {
            Ok(part) => {
                let damage = part.damage.expect("it is told");
                assert!(damage.byte <= at && all.told.starts_with(&part.told), "byte {at}");
            }
            Err(e) => assert_ne!(e.to_string(), "", "byte {at}"),
        }
    }
}

#[test]
fn another_version_and_another_file_are_refused_with_what_to_do() {
    let mut file = record(&jobs()[0], None).file;
    file[6] = 9;
    let refused = rec::read(&file).expect_err("another version");
    assert_eq!(refused, RecError::Version(9));
    assert!(refused.to_string().contains("use the version that recorded it"), "{refused}");
    assert_eq!(rec::read(b"$date today $end").expect_err("no recording"), RecError::NoRecording);
}

#[test]
fn bytes_on_the_steady_day() {
    let path = jobs().into_iter().find(|p| p.ends_with("steady-day.toml")).expect("the steady day");
    let file = record(&path, None).file;
    let told = whole(&file).told;
    let (mut contacts, mut rest) = (0, 0);
    for pair in told.windows(2) {
        let [a, b] = pair else { continue };
        contacts += b.inputs.contacts.differing(a.inputs.contacts).bits().count_ones();
        rest += (b.orders.bits() ^ a.orders.bits()).count_ones()
            + u32::from(b.unit != a.unit)
            + u32::from(b.inputs.request.is_some())
            + u32::try_from(b.events.len()).expect("eight");
    }
    let changes = f64::from(contacts + rest);
    let (bytes, ticks) = (file.len() as f64, told.len() as f64);
    println!(
        "{bytes} bytes, {ticks} ticks, {contacts} contacts, {rest} orders, states, requests, events: {:.2} bytes a tick, {:.2} a change, {:.2} a change with ticks counted",
        bytes / ticks,
        bytes / changes,
        bytes / (changes + ticks)
    );
    assert!(bytes / (changes + ticks) < 3.0);
}
