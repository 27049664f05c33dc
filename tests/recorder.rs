//! The recorder on a board: what its two halves hold gives the same bits on a desk, from whichever snapshot it begins.

use crate::jobs::jobs;
use host_sim::record::rec::Told;
use host_sim::record::ring::{Half, RingError, half};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng as _;
use tests::recorded::Recorded;
use timing_core::record::Recorder;
use timing_core::{Digest, Duration, EventKind, Station};

fn save(station: &Station, into: &mut [u8]) -> Option<usize> {
    postcard::to_slice(station, into).ok().map(|used| used.len())
}

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
