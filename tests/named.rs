//! What each check of the plan names: the failures that follow where it does not hold, and the bounds of tolerance at which they show.

use host_sim::job::Job;
use host_sim::job::spec::{Action, FaultKind, FaultSpec, ScriptStep, When};
use host_sim::plan::worked::Worked;
use host_sim::plan::{Check, Plan, carry, escapement};
use host_sim::plant::Bounds;
use host_sim::trace::BottlePath;
use host_sim::verdict::RunResult;
use timing_core::{Actuator, CapPolicy, Command, Event, EventKind, Fault, HeadStep, Request, Why};

/// Something that went wrong in a rehearsal, the way a person would say it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Sight {
    /// The judge's outcome of a bottle.
    Bottle(&'static str),
    /// A fault that the core told, by its code.
    Fault(u16),
    /// A bottle that the core flagged for reject.
    Flag(Why),
    /// Starved between two bottles of an endless queue.
    Starved,
    /// Suspended for an outfeed that nothing blocks.
    Outfeed,
    /// No bottle ever came past the release eye.
    Nothing,
    /// A catch that was ordered later than its place by more than the plan allows for.
    Late,
    /// A bottle that was still slipping when the release eye saw it.
    Slipping,
    /// An over-long bottle that the core caught.
    LongCaught,
    /// A bottle without closure that passed the diverter.
    BadPassed,
    /// A good bottle that the diverter took.
    GoodDiverted,
}

impl Sight {
    pub(crate) fn words(&self) -> String {
        match self {
            Self::Bottle(b) => (*b).to_owned(),
            Self::Fault(code) => {
                let name = |i: usize| Actuator::ALL.get(i).map_or("", |a| a.name());
                Fault::row_of(*code).map_or_else(|| format!("fault {code}"), |(f, i)| format!("{} {}", f.name, name(i)))
            }
            Self::Flag(w) => format!("flagged {}", w.words()),
            Self::Starved => "starved".to_owned(),
            Self::Outfeed => "outfeed full".to_owned(),
            Self::Nothing => "no bottle came".to_owned(),
            Self::Late => "ordered late".to_owned(),
            Self::Slipping => "slipping in the eye".to_owned(),
            Self::LongCaught => "over-long body caught".to_owned(),
            Self::BadPassed => "passed the diverter without closure".to_owned(),
            Self::GoodDiverted => "good bottle diverted".to_owned(),
        }
    }
}

/// Speed by which a bottle must fall short of the belt to count as slipping, mm/s.
const SLIPPING_MM_S: f64 = 0.1;

/// Whether some bottle was slower than the belt, which ran evenly at `belt_mm_s`, when its nose came to `eye_mm` for the first time.
fn slipping(r: &RunResult, eye_mm: f64, belt_mm_s: f64) -> bool {
    let even = |t_us: f64| {
        let after = r.trace.moments.partition_point(|m| (m.t_us as f64) <= t_us);
        let near = &r.trace.moments[after.saturating_sub(1)..(after + 1).min(r.trace.moments.len())];
        near.iter().all(|m| (f64::from(m.belt_mm_s) - belt_mm_s).abs() < SLIPPING_MM_S)
    };
    r.trace.bottles.iter().any(|b| {
        let nose = eye_mm - b.length_mm / 2.0;
        let reached = b.pieces.windows(2).find(|w| w[1].x_mm >= nose && w[0].x_mm < nose).map(|w| w[0]);
        reached.is_some_and(|p| {
            let v = libm::sqrt((p.v_mm_s * p.v_mm_s + 2.0 * p.a_mm_s2 * (nose - p.x_mm)).max(0.0));
            v < belt_mm_s - SLIPPING_MM_S && even(p.t_us)
        })
    })
}

/// Whether a bottle left the line before the end of the diverter's reach; `None` while it has not left.
fn diverted(b: &BottlePath, end_mm: f64) -> Option<bool> {
    let last = b.pieces.last()?;
    Some(last.at(b.gone_us? as f64) - b.length_mm / 2.0 < end_mm)
}

/// Whether the grip was ordered between the registration of bottle `n` and the next.
fn ordered_for(r: &RunResult, n: u32) -> bool {
    let registered = |e: &(u64, Event), n: u32| e.1.kind == EventKind::Registered && e.1.value == n as i32;
    let after = r.trace.events.iter().skip_while(|e| !registered(e, n));
    after.take_while(|e| !registered(e, n + 1)).any(|e| e.1.kind == EventKind::CatchOrdered)
}

/// What became of the bottles that were made odd on purpose, and of their neighbours at the diverter.
fn on_purpose(r: &RunResult, job: &Job, all: &mut Vec<Sight>) {
    let end_mm = job.machine.reject_mm.map(|x| x + job.machine.reject_length_mm);
    let bottle = |n: u32| r.trace.bottles.iter().find(|b| b.number == n);
    for f in &job.run.faults {
        match f.kind {
            FaultKind::LongBottle(n, _) if ordered_for(r, n) => all.push(Sight::LongCaught),
            FaultKind::NoCap(n) => {
                let Some(end) = end_mm else { continue };
                if bottle(n).is_some_and(|b| diverted(b, end) == Some(false)) {
                    all.push(Sight::BadPassed);
                }
                let good = |b: &&BottlePath| b.outcome == "tight" && diverted(b, end) == Some(true);
                if r.trace.bottles.iter().any(|b| good(&b)) {
                    all.push(Sight::GoodDiverted);
                }
            }
            _ => {}
        }
    }
    all.dedup();
}

/// Some checks guard against what happens now and then: makes it happen. Returns whether the job has what it takes.
pub(crate) fn happen(check: &str, job: &mut Job, plan: &Plan) -> bool {
    let is = |name: &str| check.starts_with(name);
    let mut fault = |when: When, lasts_s: f64, kind: FaultKind| job.run.faults.push(FaultSpec { when, lasts_s, kind });
    if is("discharge eye far enough") {
        fault(When::Step(4, HeadStep::Seat), 8.0, FaultKind::OutfeedBlocked);
    } else if is("release eye early enough") {
        let long = f64::from(plan.product.body_max.to_bits()) / 65_536.0 + plan.worked.centring.position_mm();
        // Beyond the uncertainty of both edges, and what coarse counts round away.
        let long = long + 1.0 + 3.0 * plan.worked.centring.count_mm;
        fault(When::At(0.0), 0.0, FaultKind::LongBottle(4, long));
        job.product.misses_to_hold = 5;
    } else if is("pitch of bottles") {
        for n in [3, 5, 6] {
            fault(When::At(0.0), 0.0, FaultKind::NoCap(n));
        }
        job.product.misses_to_hold = 5;
        // Without a closure the plunger goes on to its end: known there, or taken for a stroke that is overdue.
        let s = job.machine.actuators[Actuator::Plunger.index()];
        let known = job.product.cap == CapPolicy::Upstream || s.over;
        if !known {
            job.run.faults.clear();
        }
        return known;
    }
    true
}

/// Whether a body that is over-long on purpose is longer than the place between the blades.
fn does_not_fit(job: &Job, plan: &Plan) -> bool {
    let room = plan.worked.entry_window_mm.1 - job.machine.entry_blade_mm + plan.worked.d_max_mm;
    job.run.faults.iter().any(|f| matches!(f.kind, FaultKind::LongBottle(_, mm) if mm > room))
}

/// Everything that went wrong first: the first fault, the first flag, the first bottle that did not come out tight, and what of it no single
/// bottle shows. What comes after may be a consequence.
pub(crate) fn sights(r: &RunResult, job: &Job, plan: &Plan) -> Vec<Sight> {
    let bottles = job.run.bottles;
    let mut all = Vec::new();
    let odd_on_purpose = |n: u32| {
        let of = |k: &FaultKind| matches!(k, FaultKind::NoCap(i) | FaultKind::LongBottle(i, _) if *i == n);
        job.run.faults.iter().any(|f| of(&f.kind))
    };
    on_purpose(r, job, &mut all);
    let events = &r.trace.events;
    let at = |n: u32| events.iter().find(|e| e.1.kind == EventKind::Registered && e.1.value == n as i32).map(|e| e.0);
    let fault = events.iter().find(|e| e.1.kind == EventKind::Fault);
    // One that is let pass comes to the diverter closer behind the one before than any that is closed, and may take it along.
    let taken_along =
        |why: Why, n: u32| why == Why::Interrupted && (odd_on_purpose(n + 1) || odd_on_purpose(n.saturating_sub(1)));
    let own = |n: u32, why: Why| !odd_on_purpose(n) && !taken_along(why, n);
    let flag = events.iter().find(|e| e.1.kind == EventKind::Flagged && own(e.1.value.unsigned_abs(), e.1.why));
    let odd = |w: &str| !matches!(w, "tight" | "unfinished" | "taken" | "");
    match r.trace.bottles.iter().find(|b| odd(b.outcome) && !odd_on_purpose(b.number)) {
        // What the core says of a bottle that fell or was struck follows from that. One that it let pass, it says why.
        Some(b) if b.outcome != "missed" => all.push(Sight::Bottle(b.outcome)),
        missed => match (flag, fault) {
            (Some((t, e)), f) if f.is_none_or(|f| f.0 >= *t) => all.push(Sight::Flag(e.why)),
            (_, Some((_, e))) => all.push(Sight::Fault(e.detail)),
            _ => all.extend(missed.map(|b| Sight::Bottle(b.outcome))),
        },
    }
    // An over-long body in the pocket may be longer than the place between the blades.
    let entry = Sight::Fault(Fault::StrokeOverdue(Actuator::EntryGate).code());
    if does_not_fit(job, plan) {
        all.retain(|s| *s != entry && *s != Sight::Bottle("struck by gate"));
    }
    let first = fault.map_or(u64::MAX, |f| f.0);
    let state = |why: Why, from: u64, to: u64| {
        events.iter().any(|(t, e)| e.kind == EventKind::State && e.why == why && (from..to).contains(t))
    };
    if let Some(from) = at(1)
        && state(Why::Starved, from, at(bottles).unwrap_or(u64::MAX).min(first))
    {
        all.push(Sight::Starved);
    }
    let blocked = job.run.faults.iter().any(|f| f.kind == FaultKind::OutfeedBlocked);
    if !blocked && state(Why::OutfeedFull, 0, first) {
        all.push(Sight::Outfeed);
    }
    if r.counted.registered == 0 && fault.is_none() {
        all.push(Sight::Nothing);
    }
    // The plan allows for an order that waits for a tick, and on a wandering belt for a place that moves.
    let c = &plan.worked.centring;
    let allowed = (c.tick_mm + c.speed_mm + c.age_mm) * plan.worked.counts_per_mm;
    if f64::from(r.placement.max_counts) > 1.0 + allowed {
        all.push(Sight::Late);
    }
    if slipping(r, r.trace.places.release_eye_mm, plan.worked.v_mm_s) {
        all.push(Sight::Slipping);
    }
    all
}

/// What a failing check names.
pub(crate) struct Named {
    /// The failures that follow.
    pub(crate) sights: Vec<Sight>,
    /// Bounds at which they show.
    pub(crate) bounds: Bounds,
}

fn grip(stroke: f64) -> [f64; 6] {
    let mut all = [0.0; 6];
    all[Actuator::Grip.index()] = stroke;
    all
}

/// A bottle that is not where the jaw meets it.
fn off_place() -> Vec<Sight> {
    vec![
        Sight::Bottle("off centre"),
        Sight::Bottle("missed"),
        Sight::Flag(Why::Missed),
        Sight::Flag(Why::Uncertain),
        Sight::Flag(Why::GripEmpty),
        Sight::Fault(Fault::StrokeOverdue(Actuator::Grip).code()),
        Sight::Fault(Fault::MissesInARow.code()),
    ]
}

/// The failures that a check names; `None` for a rule of set-up, or of a force, of which the modelled line shows nothing.
pub(crate) fn named(check: &str) -> Option<Named> {
    let fault = |f: Fault| Sight::Fault(f.code());
    let m = Bounds::MIDDLE;
    let is = |name: &str| check.starts_with(name);
    let tipped = vec![Sight::Bottle("tipped")];
    let (sights, bounds) = if is("entry blade between") {
        let stalled = fault(Fault::StrokeOverdue(Actuator::EntryGate));
        (vec![Sight::Bottle("struck by gate"), stalled, fault(Fault::Misfeed)], Bounds { body: 1.0, ..m })
    } else if is("pocket eye clear") {
        (vec![fault(Fault::Misfeed)], Bounds { body: -1.0, eye: -1.0, ..m })
    } else if is("pocket eye blocked") || is("pocket eye on the front wall") {
        (vec![Sight::Nothing, Sight::Starved, fault(Fault::Misfeed)], Bounds { body: 1.0, eye: 1.0, ..m })
    } else if is("release eye past the pick-up slip") {
        // Far upstream, the bottle that still waits at the gate stands in the eye.
        let mut all = off_place();
        all.extend([
            Sight::Slipping,
            Sight::Flag(Why::OverLong),
            fault(Fault::StrayRelease),
            fault(Fault::Jam),
            fault(Fault::Misfeed),
        ]);
        (all, Bounds { friction: 0.0, eye: -1.0, ..m })
    } else if is("release eye early enough") || is("travel left for the lead") {
        // Far downstream, the bottle in the grip stands in the eye.
        let mut all = off_place();
        all.extend([
            Sight::Late,
            Sight::Flag(Why::OverLong),
            Sight::LongCaught,
            fault(Fault::Jam),
            fault(Fault::StrayRelease),
        ]);
        (all, Bounds { body: 1.0, eye: 1.0, stroke: grip(1.0), ..m })
    } else if is("body in the release eye longer") {
        (vec![fault(Fault::Misfeed)], m)
    } else if is("centring error") {
        (off_place(), Bounds { friction: 0.0, eye: -1.0, stroke: grip(-1.0), ..m })
    } else if is("uncertainty after a belt stop") {
        (vec![Sight::Flag(Why::Uncertain), Sight::Flag(Why::Missed), fault(Fault::MissesInARow)], m)
    } else if is("jaw friction") {
        (off_place(), Bounds { friction: 0.0, eye: -1.0, stroke: grip(-1.0), ..m })
    } else if is("bottle at the release gate clear") {
        let mut all = off_place();
        all.extend([Sight::Bottle("struck by bottle"), fault(Fault::Misfeed), fault(Fault::Jam)]);
        (all, m)
    } else if is("head free before the next") {
        let mut all = off_place();
        all.extend([Sight::Bottle("struck by bottle"), Sight::Late]);
        (all, Bounds { friction: 1.0, stroke: grip(-1.0), ..m })
    } else if is("bottle slides before it tips") {
        (tipped, Bounds { friction: 1.0, body: -1.0, ..m })
    } else if is("belt speed against") || is("bottle stands a belt start") {
        (tipped, Bounds { friction: 1.0, ..m })
    } else if is("pocket refilled") {
        (vec![Sight::Starved], Bounds { friction: 0.0, eye: 1.0, ..m })
    } else if is("discharge eye far enough") {
        let mut all = off_place();
        all.extend([Sight::Bottle("struck by bottle"), fault(Fault::StrayDischarge), fault(Fault::Overstay)]);
        // A bottle that cannot leave keeps the one behind it in the release eye, and that the next in the pocket.
        all.extend([Sight::Outfeed, Sight::Late, Sight::Flag(Why::OverLong), fault(Fault::Misfeed)]);
        (all, m)
    } else if is("let-go known before") {
        (vec![fault(Fault::StrayDischarge)], Bounds { friction: 1.0, body: 1.0, stroke: grip(1.0), ..m })
    } else if is("pitch of bottles") {
        (vec![Sight::BadPassed, Sight::GoodDiverted, Sight::Flag(Why::Interrupted), fault(Fault::RejectUnverified)], m)
    } else if let Some(a) =
        Actuator::ALL.into_iter().find(|a| check.starts_with(&format!("margin of the {} covers", a.name())))
    {
        let mut stroke = [0.0; 6];
        stroke[a.index()] = 1.0;
        (vec![fault(Fault::StrokeOverdue(a)), fault(Fault::StrokeLost(a))], Bounds { stroke, ..m })
    } else {
        return None;
    };
    Some(Named { sights, bounds })
}

/// How much of a bottle a blade may meet so that it only nudges it aside, mm: an assumption of the modelled line.
const NUDGE_MM: f64 = 1.0;

/// By how much the release eye stands where the slowest bottle still slips, mm; no margin.
fn slip_left_mm(job: &Job, w: &Worked) -> f64 {
    w.rest_mm + w.slip_most_mm - job.machine.release_eye_mm
}

/// By how much too late the core learns of an over-long body, mm: the place where it does, against the place of the grip's order.
fn long_known_mm(job: &Job, w: &Worked) -> f64 {
    let m = &job.machine;
    let takes_ms = (m.eye_on_ms + m.eye_filter_ms) * 1.25;
    let known = w.d_max_mm + w.centring.position_mm() + w.way_mm(takes_ms);
    known - (w.catch_mm - job.product.aim_early_mm - w.lead_mm)
}

/// The belt speed at which the line itself passes what a check guards, mm/s: the check less its margin. `None` where the check keeps none, or
/// where the line does not come to it below twice the speed `v_mm_s` of the check's limit.
pub(crate) fn bare_mm_s(check: &str, job: &Job, v_mm_s: f64) -> Option<f64> {
    let over = if check.starts_with("release eye past the pick-up slip") {
        slip_left_mm
    } else if check.starts_with("release eye early enough") {
        long_known_mm
    } else {
        return None;
    };
    let (mut low, mut high) = (v_mm_s, 2.0 * v_mm_s);
    if over(job, &Worked::at(job, low)) > 0.0 || over(job, &Worked::at(job, high)) <= 0.0 {
        return None;
    }
    for _ in 0..30 {
        let v = f64::midpoint(low, high);
        if over(job, &Worked::at(job, v)) > 0.0 { high = v } else { low = v }
    }
    Some(high)
}

/// Why the line shows nothing of a check that fails, each with a condition that must hold; `None` where it should have shown.
pub(crate) fn quiet(c: &Check, job: &Job, plan: &Plan, r: &RunResult) -> Option<&'static str> {
    let (m, p, w) = (&job.machine, &job.product, &plan.worked);
    let is = |name: &str| c.name.starts_with(name);
    let when = |holds: bool, reason: &'static str| holds.then_some(reason);
    if named(&c.name).is_none() {
        let early = is("early release") && plan.product.early.is_none();
        return Some(if early {
            "the plan itself does without early release"
        } else {
            "set-up, force or drive: not in the model"
        });
    }
    if is("entry blade between first") {
        let (low, high) = escapement::entry_window_of(
            m.release_blade_mm,
            m.blade_mm,
            m.blade_tip_mm,
            &w.outline_max,
            &w.outline_max,
            0.0,
        );
        let meets = (low - m.entry_blade_mm).max(m.entry_blade_mm - high);
        return when(meets < NUDGE_MM, "the blade meets less than 1 mm of bottles that are alike");
    }
    if is("margin of the") {
        let s = Actuator::ALL.into_iter().find(|a| c.name.starts_with(&format!("margin of the {} covers", a.name())));
        let s = m.actuators[s?.index()];
        let all = s.home && s.work && (m.contact_filter_ms + s.spread_ms > s.margin_ms);
        return when(!all, "timed without a contact, or its margin covers spread and filter");
    }
    if is("pocket eye blocked") {
        let nose = m.release_blade_mm + w.outline_max.nose_mm(m.blade_tip_mm);
        return when(m.pocket_eye_mm + m.eye_beam_mm / 2.0 <= nose, "the margin of 2 mm covers it");
    }
    if is("pocket eye clear") {
        let nose = m.entry_blade_mm + w.outline_min.nose_mm(m.blade_tip_mm);
        return when(m.pocket_eye_mm - m.eye_beam_mm / 2.0 >= nose, "the margin of 2 mm covers it");
    }
    if is("release eye past the pick-up slip") {
        if job.run.wander > 0.0 {
            return Some("on a wandering belt no bottle is told to slip");
        }
        return when(slip_left_mm(job, w) <= 0.0, "the margin of 2 mm covers it");
    }
    if is("release eye early enough") {
        if does_not_fit(job, plan) {
            return Some("an over-long body does not fit between these blades");
        }
        return when(long_known_mm(job, w) <= 0.0, "the grip's spread, or what is kept of 2 mm, covers it");
    }
    if is("jaw friction") {
        return when(r.centring.max_mm < 0.5, "every bottle was met in the middle, where both flanks push alike");
    }
    if is("discharge eye far enough") {
        // A bottle that stands in the eye is noticed, and the next stays in the pocket.
        let suspended = r.trace.events.iter().any(|(_, e)| e.kind == EventKind::State && e.why == Why::OutfeedFull);
        return when(suspended, "the core suspended until the eye was clear");
    }
    if is("uncertainty after a belt stop") {
        let stops =
            |s: &ScriptStep| matches!(s.action, Action::Request(Request::Command(Command::Hold | Command::Stop)));
        return when(!job.run.script.iter().any(stops), "no belt stop with a bottle on its way");
    }
    if is("pitch of bottles") {
        if job.run.faults.is_empty() {
            return Some("no bottle to divert: this machine does not see a missing closure");
        }
        let more = 2.0 * (w.centring.position_mm() + w.slip_u_mm()) + w.d_max_mm - w.d_min_mm;
        return when(c.spare >= -more, "its uncertainty and tolerance cover it");
    }
    if is("bottle slides before") || is("bottle stands a belt start") {
        return when(p.mu_max <= carry::tip_limit(p.diameter_mm, p.cog_mm), "the foot's tolerance is not drawn");
    }
    None
}

/// The checks that fail, in the plan's order.
pub(crate) fn failing(plan: &Plan) -> Vec<&Check> {
    plan.checks.iter().filter(|c| !c.ok).collect()
}
