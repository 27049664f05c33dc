//! Every job that is shipped comes out as it says, whatever schedule honours the core's wakes.

use host_sim::job::Job;
use host_sim::rehearse::{Options, Schedule, rehearse, rehearse_with};
use host_sim::verdict::RunResult;
use std::fs;
use std::path::{Path, PathBuf};
use timing_core::{Counts, Inputs, Instant, Station, Wake};

fn jobs() -> Vec<Job> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim/jobs");
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .expect("the jobs are there")
        .map(|f| f.expect("a file").path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    assert!(files.len() >= 16, "only {} jobs", files.len());
    files.iter().map(|f| Job::read(f).unwrap_or_else(|e| panic!("{e}"))).collect()
}

fn run(job: &Job, options: &Options) -> RunResult {
    rehearse(job, options).unwrap_or_else(|e| panic!("{}: {e}", job.name))
}

#[test]
fn every_job_comes_out_as_it_says() {
    let mut wrong = Vec::new();
    for job in jobs() {
        let r = run(&job, &Options::default());
        assert!(!r.checks.is_empty(), "{} expects nothing", job.name);
        if !r.pass {
            wrong.push(host_sim::show::terminal::block(&r));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_same_job_gives_the_same_bits() {
    for job in jobs() {
        let (a, b) = (run(&job, &Options::default()), run(&job, &Options::default()));
        assert_eq!((a.digest, a.trace_digest, a.ticks), (b.digest, b.trace_digest, b.ticks), "{}", job.name);
    }
}

/// Law (a): ticks added to a schedule that honours `wake` change no bit; law (b): nor with the shortcut off.
#[test]
fn added_ticks_change_nothing() {
    for job in jobs() {
        // The judge looks at every tick's wake, so its verdict belongs to one schedule; the core's bits do not.
        let base = run(&job, &Options { rules: false, ..Options::default() });
        for (seed, mean_us, shortcut) in [(1, 20_000, true), (2, 3_000, true), (3, 20_000, false), (4, 3_000, false)] {
            let schedule = Schedule::Added { seed, mean_us };
            let more = run(&job, &Options { schedule, shortcut, rules: false, ..Options::default() });
            assert!(more.ticks > base.ticks, "{}: no tick was added", job.name);
            assert_eq!(
                (more.digest, more.counted, more.outcomes),
                (base.digest, base.counted, base.outcomes),
                "{}: ticks added every {mean_us} µs on average, shortcut {shortcut}",
                job.name
            );
        }
    }
}

/// Whether a schedule that honours `wake` calls at these inputs.
fn asked(wake: &Wake, last: &Inputs, i: &Inputs) -> bool {
    i.now >= wake.at
        || i.belt >= wake.above
        || i.belt <= wake.below
        || i.contacts != last.contacts
        || i.failed != last.failed
        || i.request.is_some()
}

/// Laws (a) and (b) on the control state itself: two stations over the same inputs, one called at all of them, the other
/// only when it asks to be. Whenever both are called they are in the same state.
#[test]
fn added_ticks_leave_the_same_control_state() {
    for job in jobs() {
        for shortcut in [true, false] {
            let mut inputs = Vec::new();
            let mut first: Option<Station> = None;
            let schedule = Schedule::Added { seed: 9, mean_us: 7_000 };
            rehearse_with(&job, &Options { schedule, rules: false, ..Options::default() }, &mut |i, s| {
                first.get_or_insert_with(|| Station::new(*s.machine(), *s.setpoints()));
                inputs.push(*i);
            })
            .unwrap_or_else(|e| panic!("{}: {e}", job.name));
            let mut all = first.expect("at least one tick");
            let mut few = all.clone();
            all.set_shortcut(shortcut);
            let mut last: Option<(Inputs, Wake)> = None;
            let (mut both, mut skipped) = (0, 0);
            for i in &inputs {
                all.tick(i);
                if last.is_some_and(|(l, w)| !asked(&w, &l, i)) {
                    skipped += 1;
                    continue;
                }
                let wake = few.tick(i).wake;
                assert!(wake.at > i.now && wake.below < i.belt && i.belt < wake.above, "{}: {i:?} {wake:?}", job.name);
                assert!(all.same_control(&few), "{}: states differ at {:?}, shortcut {shortcut}", job.name, i.now);
                last = Some((*i, wake));
                both += 1;
            }
            assert!(both > 100 && skipped > 100, "{}: {both} compared, {skipped} added", job.name);
        }
    }
}

/// Law (c): a schedule that misses wakes is another run; nothing is later than one period, and the lateness is told.
#[test]
fn missed_wakes_make_everything_at_most_one_period_late() {
    const PERIOD_US: u64 = 1_000;
    let mut judged = 0;
    for mut job in jobs() {
        if !["steady-day", "touching-queue", "wandering-belt", "seat-only"].contains(&job.name.as_str()) {
            continue;
        }
        job.run.bottles = job.run.bottles.min(20);
        job.run.batch = job.run.batch.min(20);
        job.expect.good = None;
        let mut late = (0, 0);
        let r = rehearse_with(
            &job,
            &Options { schedule: Schedule::Every(PERIOD_US), ..Options::default() },
            &mut |_, s| late = (s.book().late_max.as_micros(), s.book().order_late_max),
        )
        .expect("it can be planned");
        let counts_in_period = job.product.speed_mm_s * (1.0 + job.run.wander) * 20.48 * 1e-3;
        assert!(late.0 > 0 && late.0 < PERIOD_US, "{}: {} µs late", job.name, late.0);
        assert!(late.1 >= 1 && f64::from(late.1) <= counts_in_period.ceil(), "{}: {} counts late", job.name, late.1);
        assert_eq!(r.counted.good, job.run.bottles, "{}", job.name);
        assert!(r.breaches.is_empty(), "{}: {:?}", job.name, r.breaches);
        judged += 1;
    }
    assert_eq!(judged, 4);
}

/// Metamorphic: a clock that began earlier and a belt that was counted from elsewhere change nothing.
#[test]
fn shifted_time_and_belt_change_nothing() {
    const DT: u64 = 86_400_000_000_123;
    const DP: i64 = -7_777_777;
    for job in jobs() {
        let mut seen: Option<(Station, Station)> = None;
        rehearse_with(&job, &Options { rules: false, ..Options::default() }, &mut |i, s| {
            let (plain, shifted) = seen.get_or_insert_with(|| {
                let new = Station::new(*s.machine(), *s.setpoints());
                (new.clone(), new)
            });
            let moved = Inputs {
                now: Instant::from_micros(i.now.as_micros() + DT),
                belt: i.belt.plus(Counts::new(DP)),
                belt_at: i.belt_at.map(|t| Instant::from_micros(t.as_micros() + DT)),
                ..*i
            };
            let (a, b) = (plain.tick(i), shifted.tick(&moved));
            assert_eq!((a.orders, a.unit, a.events), (b.orders, b.unit, b.events), "{} at {:?}", job.name, i.now);
            assert_eq!(b.wake.at.as_micros() - a.wake.at.as_micros(), DT, "{}", job.name);
        })
        .unwrap_or_else(|e| panic!("{}: {e}", job.name));
        let (plain, mut shifted) = seen.expect("at least one tick");
        shifted.rebase(-(DT as i64), -DP);
        assert!(plain.same_control(&shifted), "{}: rebased states differ", job.name);
    }
}
