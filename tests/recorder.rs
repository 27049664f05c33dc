//! The recorder on a board: what its two halves hold gives the same bits on a desk, from whichever snapshot it begins.

use crate::jobs::jobs;
use firmware_example::Board;
use firmware_example::link::FRAME_MAX;
use firmware_example::recorder::{Drain, save};
use host_sim::record::rec::Told;
use host_sim::record::ring::{Half, RingError, drained, half};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng as _;
use tests::recorded::Recorded;
use timing_core::record::Recorder;
use timing_core::{Digest, Duration, EventKind, Inputs, Outputs, Station};

/// Replays a half from its snapshot, or from `fresh` at power-up; every entry must come out as it was told.
fn replay(half: &Half, fresh: Station) -> u32 {
    let mut station = half.from.as_deref().cloned().unwrap_or(fresh);
    let mut faults = 0;
    for told in &half.told {
        let out = station.tick(&told.inputs);
        assert_eq!(Told::of(&told.inputs, &out), *told);
        faults += told.events.iter().filter(|e| e.kind == EventKind::Fault).count() as u32;
    }
    faults
}

/// At many ticks of every shipped job: into bytes, back, and on over the same inputs beside the station that was never away.
#[test]
fn a_station_that_was_saved_and_restored_goes_on_as_if_nothing_had_been() {
    let mut restored = 0;
    for job in jobs() {
        let (of, _) = Recorded::rehearsed(&job);
        let mut station = of.station();
        let mut other: Option<(Station, Digest, Digest)> = None;
        for (i, inputs) in of.inputs.iter().enumerate() {
            if i % 701 == 350 {
                let mut bytes = [0; 4096];
                let n = save(&station, &mut bytes).expect("it fits");
                let back: Station = postcard::from_bytes(&bytes[..n]).expect("it is whole");
                assert!(back.same_control(&station), "{}, tick {i}", job.name);
                other = Some((back, Digest::new(), Digest::new()));
                restored += 1;
            }
            let out = station.tick(inputs);
            if let Some((back, a, b)) = &mut other {
                a.tick(inputs.now, &out);
                b.tick(inputs.now, &back.tick(inputs));
                assert_eq!(a.trace(), b.trace(), "{}, tick {i}", job.name);
            }
        }
    }
    assert!(restored > 60, "{restored}");
}

fn run<const HALF: usize>(of: &Recorded, after_ms: u64) -> (Recorder<HALF>, u32) {
    let mut station = of.station();
    let mut recorder = Recorder::<HALF>::new(Duration::from_millis(after_ms));
    let mut turns = 0;
    for inputs in &of.inputs {
        let newer = recorder.halves()[1].as_ptr();
        recorder.before(&station, save);
        turns += u32::from(recorder.halves()[1].as_ptr() != newer);
        let out = station.tick(inputs);
        recorder.after(inputs, &out);
    }
    (recorder, turns)
}

/// What is kept of a run that never freezes, and how often a half was begun.
fn kept<const HALF: usize>(of: &Recorded) -> ([Vec<u8>; 2], u32) {
    let (recorder, turns) = run::<HALF>(of, 1 << 40);
    assert_eq!((recorder.lost(), recorder.is_frozen()), (0, false));
    (recorder.halves().map(<[u8]>::to_vec), turns)
}

#[test]
fn both_halves_replay_to_the_same_bits_over_every_job_and_several_sizes() {
    let (mut turns, mut entries) = (0, 0);
    for job in jobs() {
        let (of, _) = Recorded::rehearsed(&job);
        for (parts, turned) in [kept::<1536>(&of), kept::<2048>(&of), kept::<5000>(&of)] {
            turns += turned;
            for part in parts.iter().filter(|p| !p.is_empty()) {
                let half = half(part).unwrap_or_else(|e| panic!("{}: {e}", job.name));
                entries += half.told.len();
                replay(&half, of.station());
            }
            // The older half ends where the newer begins.
            if turned > 0 {
                let [older, newer] = parts.each_ref().map(|p| half(p).expect("whole"));
                let last = older.told.last().expect("entries").inputs.now;
                assert!(newer.told.first().is_none_or(|t| t.inputs.now > last), "{}", job.name);
            }
        }
    }
    assert!(turns > 200 && entries > 5_000, "{turns} turns, {entries} entries");
}

#[test]
fn after_a_fault_it_goes_on_for_a_while_and_then_keeps_what_led_to_it() {
    let mut frozen = 0;
    for job in jobs() {
        let (of, _) = Recorded::rehearsed(&job);
        let (recorder, _) = run::<6144>(&of, 2_000);
        if !recorder.is_frozen() {
            continue;
        }
        frozen += 1;
        let halves: Vec<Half> =
            recorder.halves().into_iter().filter(|h| !h.is_empty()).map(|h| half(h).expect("whole")).collect();
        let faults: u32 = halves.iter().map(|h| replay(h, of.station())).sum();
        assert!(faults > 0, "{}: the fault is gone", job.name);
        let told = || halves.iter().flat_map(|h| &h.told);
        let fault = told().find(|t| t.events.iter().any(|e| e.kind == EventKind::Fault)).expect("the fault").inputs.now;
        let last = told().last().expect("entries").inputs.now;
        let on = last.since(fault).as_micros();
        assert!((1_000_000..=2_000_000).contains(&on), "{}: {on} µs after the fault", job.name);
    }
    assert!(frozen >= 8, "only {frozen} jobs with a fault");
}

#[test]
fn thawed_it_begins_anew_and_without_room_for_a_snapshot_it_counts_what_it_lost() {
    let job = jobs().into_iter().find(|j| j.name == "sticking-grip").expect("the job");
    let (of, _) = Recorded::rehearsed(&job);
    let mut station = of.station();
    let mut recorder = Recorder::<4096>::new(Duration::from_millis(100));
    let mut thawed = 0;
    for inputs in &of.inputs {
        if recorder.is_frozen() {
            recorder.thaw();
            thawed += 1;
            assert!(recorder.halves()[0].is_empty());
        }
        recorder.before(&station, save);
        let out = station.tick(inputs);
        recorder.after(inputs, &out);
    }
    assert!(thawed > 0);
    let halves = recorder.halves();
    let newer = half(halves[1]).expect("whole");
    assert!(newer.from.is_some() && !newer.told.is_empty());
    replay(&newer, of.station());

    let mut station = of.station();
    let mut recorder = Recorder::<1024>::new(Duration::from_millis(100_000_000));
    for inputs in &of.inputs {
        recorder.before(&station, |_, _| None);
        let out = station.tick(inputs);
        recorder.after(inputs, &out);
    }
    assert!(recorder.lost() > 0);
    let kept = half(recorder.halves()[1]).expect("whole");
    assert!(kept.from.is_none() && kept.told.len() > 50);
    replay(&kept, of.station());
}

/// R16: a snapshot that was spoilt on its way is refused, or gives a station that goes on; nothing panics.
#[test]
fn a_spoilt_half_is_refused_or_goes_on() {
    let job = jobs().into_iter().find(|j| j.name == "misfeed").expect("the job");
    let (of, _) = Recorded::rehearsed(&job);
    let (recorder, _) = run::<2048>(&of, 1 << 40);
    let whole = recorder.halves()[0].to_vec();
    let mut draw = Pcg32::new(16, 3);
    let (mut refused, mut went_on) = (0, 0);
    for _ in 0..3_000 {
        let mut spoilt = whole.clone();
        for _ in 0..=draw.next_u32() % 4 {
            let at = draw.next_u32() as usize % spoilt.len();
            spoilt[at] ^= 1 << (draw.next_u32() % 8);
        }
        let Ok(half) = half(&spoilt) else {
            refused += 1;
            continue;
        };
        went_on += 1;
        let mut station = half.from.as_deref().cloned().unwrap_or_else(|| of.station());
        for told in &half.told {
            let _ = station.tick(&told.inputs);
        }
    }
    assert!(refused > 100 && went_on > 100, "{refused} refused, {went_on} went on");
    assert_eq!(half(&[]).err(), Some(RingError::Short));
    assert_eq!(half(&[200, 0, 1]).err(), Some(RingError::Short));
}

/// A board in this process: its loop with the recorder, a fault, the drain over the link's frames, and back on the desk.
#[test]
fn a_fault_on_a_board_is_drained_and_replayed_on_the_desk() {
    let job = jobs().into_iter().find(|j| j.name == "sticking-grip").expect("the job");
    let (of, digest) = Recorded::rehearsed(&job);
    let mut station = of.station();
    let mut board = Wires { inputs: of.inputs.iter(), digest: Digest::new() };
    let mut recorder = Recorder::<4096>::new(Duration::from_millis(2_000));
    firmware_example::recorder::run(&mut station, &mut board, &mut recorder).expect("wires do not fail");
    // The recorder takes nothing from the run.
    assert_eq!(board.digest.digest(), digest);
    assert!(recorder.is_frozen());

    let (mut drain, mut sent, mut frame) = (Drain::default(), Vec::new(), [0; FRAME_MAX]);
    let mut frames = Vec::new();
    while let Some(n) = drain.frame(&recorder, &mut frame) {
        frames.push(frame[..n].to_vec());
        sent.extend_from_slice(&frame[..n]);
    }
    let halves = drained(&sent).expect("whole");
    assert_eq!(halves.each_ref().map(Vec::as_slice), recorder.halves());
    let faults: u32 = halves.iter().map(|h| replay(&half(h).expect("whole"), of.station())).sum();
    assert_eq!(faults, 1);

    // A frame that is missing, or broken on its way, is noticed.
    for missing in 0..frames.len() {
        let rest: Vec<u8> =
            frames.iter().enumerate().filter(|(i, _)| *i != missing).flat_map(|(_, f)| f.clone()).collect();
        assert_eq!(drained(&rest).err(), Some(RingError::Short), "frame {missing}");
    }
    for at in (0..sent.len()).step_by(41) {
        let mut spoilt = sent.clone();
        spoilt[at] ^= 4;
        assert!(drained(&spoilt).is_err(), "byte {at}");
    }
}

struct Wires<'a> {
    inputs: std::slice::Iter<'a, Inputs>,
    digest: Digest,
}

impl Board for Wires<'_> {
    type Error = std::convert::Infallible;

    fn sense(&mut self) -> Result<Option<Inputs>, Self::Error> {
        Ok(self.inputs.next().copied())
    }

    fn obey(&mut self, inputs: &Inputs, out: &Outputs<'_>) -> Result<(), Self::Error> {
        self.digest.tick(inputs.now, out);
        Ok(())
    }

    fn all_off(&mut self) {}
}

/// Bytes of a change on a steady day with the snapshots counted, as a board of 2 × 8 KiB keeps them.
#[test]
fn bytes_of_a_change_with_snapshots() {
    let job = jobs().into_iter().find(|j| j.name == "steady-day").expect("the job");
    let (of, _) = Recorded::rehearsed(&job);
    let mut station = of.station();
    let mut recorder = Recorder::<8192>::new(Duration::from_millis(1 << 40));
    let (mut all, mut changes, mut before) = (0_usize, 0_u32, None::<(Inputs, timing_core::Orders, u8)>);
    let (mut snapshot, mut begun) = (0, 0);
    for inputs in &of.inputs {
        let newer = recorder.halves()[1].as_ptr();
        let filled = recorder.halves()[1].len();
        recorder.before(&station, |s, into| {
            snapshot = save(s, into)?;
            Some(snapshot)
        });
        if recorder.halves()[1].as_ptr() != newer {
            all += filled;
            begun += 1;
        }
        let out = station.tick(inputs);
        recorder.after(inputs, &out);
        let unit = out.unit as u8;
        if let Some((i, o, u)) = &before {
            changes +=
                inputs.contacts.differing(i.contacts).bits().count_ones() + (out.orders.bits() ^ o.bits()).count_ones();
            changes += u32::from(unit != *u) + u32::from(inputs.request.is_some()) + out.events.len() as u32;
        }
        // A tick that the schedule asked for is a change of its own: a recording holds its schedule.
        changes += 1;
        before = Some((*inputs, out.orders, unit));
    }
    all += recorder.halves()[1].len();
    let a_change = all as f64 / f64::from(changes);
    println!(
        "{all} bytes, {begun} halves begun, snapshot {snapshot} bytes, {changes} changes with ticks: {a_change:.2} bytes a change"
    );
    assert!(a_change < 3.5 && begun > 0);
}
