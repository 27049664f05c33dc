//! Early release: what the plan proves the line does, and a head that is late costs a belt stop and nothing else.

use crate::bench::{Bench, profile};
use crate::random_job::shipped;
use host_sim::job::Job;
use host_sim::plan;
use host_sim::rehearse::{Options, rehearse};
use host_sim::trace::Trace;
use timing_core::{Actuator, Contact, Duration, HeadStep, Millimetres, UnitState, Why, example};

fn traced(job: &Job) -> Trace {
    let r = rehearse(job, &Options { trace: true, ..Options::default() }).expect("it can be planned");
    assert!(r.pass, "{}: {:?} {:?}", job.name, r.checks, r.breaches);
    r.trace
}

/// Where the nose of a bottle was at a time, mm.
fn nose(trace: &Trace, bottle: u32, t_us: u64) -> f64 {
    let b = trace.bottles.iter().find(|b| b.number == bottle).expect("it came");
    let piece = b.pieces.iter().rev().find(|p| p.t_us <= t_us as f64).expect("it was there");
    piece.at(t_us as f64) + b.length_mm / 2.0
}

/// Times at which the belt was ordered to stop in Execute with a head step under way, and when it was ordered on again.
fn stops(trace: &Trace) -> Vec<(u64, u64, HeadStep)> {
    let mut stops = Vec::new();
    let mut since: Option<(u64, HeadStep)> = None;
    for m in trace.moments.iter().filter(|m| m.unit == UnitState::Execute) {
        match (m.orders.belt(), since) {
            (false, None) => since = Some((m.t_us, m.head)),
            (true, Some((t, head))) => {
                stops.push((t, m.t_us, head));
                since = None;
            }
            _ => {}
        }
    }
    stops
}

/// With the head on time the belt never stops for a newcomer.
#[test]
fn a_head_on_time_stops_no_belt() {
    assert_eq!(stops(&traced(&shipped("early-release"))), []);
}

/// With the head late the stop is ordered at the mark that the plan gives, once, and the newcomer halts short of the head.
#[test]
fn a_late_head_stops_the_belt_at_the_last_stop_mark() {
    let job = shipped("early-release-late-head");
    let w = plan::plan(&job).expect("it can be planned").worked;
    let trace = traced(&job);
    let stops = stops(&trace);
    let [(from, to, head)] = stops.as_slice() else { panic!("{stops:?}") };
    assert!(matches!(head, HeadStep::Disengage | HeadStep::Lift | HeadStep::LetGo), "{head:?}");
    // The mark is for the centre of the longest body; a count, and the bottle's own place within its uncertainty.
    let ordered = nose(&trace, 7, *from);
    assert!((ordered - w.last_stop_mm).abs() <= w.centring.position_mm() + 1.0, "{ordered} against {}", w.last_stop_mm);
    let halted = nose(&trace, 7, *to);
    assert!(halted < -w.head_clear_mm, "halted at {halted}, the head begins at {}", -w.head_clear_mm);
    assert!(halted > ordered, "it coasts");
}

/// A belt that stands for a newcomer must not keep the head waiting for a bottle that stands in the discharge eye with it.
#[test]
fn a_belt_stopped_for_a_newcomer_does_not_lock_the_head() {
    // Let go as soon as the last is gripped, and a head that takes its time: no plan gives that. The belt stops for every bottle,
    // each time with the one before in the discharge eye.
    let mut p = example::product();
    p.early = Some(Duration::ZERO);
    p.seat_dwell = Duration::from_millis(1_100);
    let mut m = profile();
    m.discharge_eye = Some(Millimetres::from_mm(190));
    let mut b = Bench::with(&m, &p);
    b.discharge_eye = 190.0;
    b.start();
    let mut stopped_with_eye_blocked = 0;
    for _ in 0..30_000 {
        b.run(1);
        let waits = b.station.head() == HeadStep::LetGo && !b.orders.belt();
        stopped_with_eye_blocked += u32::from(waits && b.contacts().has(Contact::DischargeEye));
    }
    assert_eq!(b.unit(), UnitState::Execute);
    assert!(stopped_with_eye_blocked > 0, "the case did not arise");
    let t = b.station.tally();
    assert!(t.good + t.rejected >= 5, "{t:?}");
}

/// A grip without a contact at its working end is taken to have closed when its margin is over, and then has been closed for that
/// long: the belt has gone on, the bottle has not.
#[test]
fn a_grip_without_a_contact_catches() {
    let mut m = profile();
    m.fitted = m.fitted.with(Contact::GripWork, false).with(Contact::GripOver, false);
    // In 300 ms the belt makes 30 mm, more than the jaw's capture.
    m.actuators[Actuator::Grip.index()].margin = Duration::from_millis(300);
    let mut b = Bench::with(&m, &example::product());
    b.start();
    b.until("a bottle let go", 20_000, |b| b.station.head() == HeadStep::Leaving);
    assert!(!b.flags().contains(&Why::Missed), "{:?}", b.flags());
    b.until("a good bottle", 20_000, |b| b.station.tally().good == 1);
}
