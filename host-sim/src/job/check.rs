//! What contradicts itself on paper: places out of order, a pocket that no bottle fits, an end that no contact tells. Each
//! contradiction names both sides. Figures that are absent or wrong are NaN here and compare as false, so that one mistake is told
//! once.

use super::check_measured;
use super::measured::ShapeSpec;
use super::spec::{Action, FaultKind, FaultSpec, MachineSpec, ProductSpec, RunSpec, SupplySpec, TightenSpec, When};
use super::table::{Reader, Table};
use crate::plan::carry;
use crate::plan::outline::Outline;
use crate::plan::worked::{BELT_REACTION_MS, head_clear_mm};
use timing_core::{Actuator, CapPolicy, Contact};

/// Room that a bottle leaving the head needs beyond one and a half diameters before the discharge eye may see it, mm. Half a
/// diameter is the bottle in the grip, one is the next behind it; the rest is for the tooling. Common practice.
const DISCHARGE_CLEARANCE_MM: f64 = 10.0;

/// Millimetres for people: to a hundredth.
pub(super) fn mm(x: f64) -> String {
    let hundredths = libm::round(x * 100.0) / 100.0;
    format!("{hundredths} mm")
}

/// The nominal body in plan view.
fn outline(p: &ProductSpec) -> Outline {
    let (along_mm, b) = (p.diameter_mm / 2.0, &p.body);
    if b.shape == ShapeSpec::Round {
        return Outline::round(along_mm);
    }
    let across_mm = b.width_mm.unwrap_or(p.diameter_mm) / 2.0;
    Outline { shape: b.shape, along_mm, across_mm, corner_mm: b.corner_mm }
}

fn ms(x: f64) -> String {
    format!("{x} ms")
}

/// `[machine]` by itself.
pub(super) fn machine(r: &mut Reader, m: &MachineSpec, t: &Table<'_>) {
    check_measured::machine(r, m, t);
    let mut order = |up: (&str, f64), down: (&str, f64), why: &str| {
        if up.1 >= down.1 {
            let what = format!("`{}` ({}) must lie upstream of `{}` ({})", up.0, mm(up.1), down.0, mm(down.1));
            r.contradiction(&[t.side(up.0), t.side(down.0)], what, why);
        }
    };
    let entry = ("entry_blade", m.entry_blade_mm);
    let release = ("release_blade", m.release_blade_mm);
    order(
        entry,
        release,
        "coordinates grow downstream and the head centre is 0: the entry gate stands first, then the release gate",
    );
    order(
        release,
        ("release_eye", m.release_eye_mm),
        "the release eye registers a bottle after the release gate: move it downstream of the blade",
    );
    order(entry, ("pocket_eye", m.pocket_eye_mm), "the pocket eye looks between the two gates");
    if let Some(x) = m.supply_eye_mm {
        order(("supply_eye", x), entry, "the supply eye looks at the queue upstream of the entry gate");
    }
    if let Some(x) = m.cap_eye_mm {
        order(release, ("cap_eye", x), "the closure is sensed on a released bottle: between release blade and head");
    }
    if let (Some(eye), Some(reject)) = (m.discharge_eye_mm, m.reject_mm) {
        order(("discharge_eye", eye), ("reject_at", reject), "the diverter stands downstream of the discharge eye");
    }
    reject(r, m, t);
    filters(r, m, t);
    for (a, spec) in Actuator::ALL.into_iter().zip(&m.actuators) {
        if spec.over && Contact::over_of(a).is_none() {
            let key = a.name().replace(' ', "_");
            let what = format!("the {} has no over-travel for a contact to tell", a.name());
            r.contradiction(&[t.side(&key)], what, "leave `over_contact` out; it belongs to grip, plunger and rollers");
        }
    }
    if m.contacts.has(Contact::LineBelt) && !m.line_owns_belt && t.has("belt_owner") {
        let sides = [t.side("contacts"), t.side("belt_owner")];
        r.contradiction(
            &sides,
            "\"line belt\" is wired, and the belt is ours".to_owned(),
            "set `belt_owner = \"line\"`, or leave the contact out",
        );
    }
}

fn reject(r: &mut Reader, m: &MachineSpec, t: &Table<'_>) {
    if t.has("reject_at") {
        for name in ["reject_length", "reject"] {
            if !t.has(name) {
                t.missing(r, name);
            }
        }
        return;
    }
    for name in ["reject_length", "reject"] {
        if t.has(name) {
            let what = format!("`{name}` is given, and `reject_at` is not: where does the diverter stand?");
            r.contradiction(
                &[t.side(name)],
                what,
                "add `reject_at = \"400 mm\"`, or leave the diverter out altogether",
            );
        }
    }
    for c in [Contact::RejectEye, Contact::RejectFull] {
        if m.contacts.has(c) {
            let what = format!("\"{}\" is wired, and there is no diverter", c.name());
            r.contradiction(
                &[t.side("contacts")],
                what,
                "add `reject_at`, `reject_length` and [machine.reject], or leave the contact out",
            );
        }
    }
}

fn filters(r: &mut Reader, m: &MachineSpec, t: &Table<'_>) {
    for (name, filter) in [("eye_filter", m.eye_filter_ms), ("contact_filter", m.contact_filter_ms)] {
        if filter < m.contact_bounce_ms {
            let what =
                format!("`{name}` ({}) is shorter than `contact_bounce` ({})", ms(filter), ms(m.contact_bounce_ms));
            r.contradiction(
                &[t.side(name), t.side("contact_bounce")],
                what,
                "a filter must outlast the bounce, or one edge is read as several",
            );
        }
    }
    if m.belt_still_ms < m.sample_gap_ms {
        let what =
            format!("`belt_still` ({}) is shorter than `sample_gap` ({})", ms(m.belt_still_ms), ms(m.sample_gap_ms));
        r.contradiction(
            &[t.side("belt_still"), t.side("sample_gap")],
            what,
            "a belt cannot be called still between two looks at it",
        );
    }
    for (a, spec) in Actuator::ALL.into_iter().zip(&m.actuators) {
        let key = a.name().replace(' ', "_");
        if t.has(&key) && spec.margin_ms <= m.contact_filter_ms {
            let what = format!(
                "the margin of the {} ({}) is not longer than `contact_filter` ({})",
                a.name(),
                ms(spec.margin_ms),
                ms(m.contact_filter_ms)
            );
            r.contradiction(
                &[t.side(&key), t.side("contact_filter")],
                what,
                "a stroke in time would be called overdue before its contact counts",
            );
        }
        if spec.spread_ms > spec.to_work_ms || spec.spread_ms > spec.to_home_ms {
            let what = format!("the spread of the {} ({}) is longer than its stroke", a.name(), ms(spec.spread_ms));
            r.contradiction(
                &[t.side(&key)],
                what,
                "spread is the half-width of the stroke time's variation: measure it again",
            );
        }
    }
}

/// `[product]` by itself.
pub(super) fn product(r: &mut Reader, p: &ProductSpec, t: &Table<'_>) {
    check_measured::product(r, p, t);
    if p.mu_min > p.mu_max {
        let what = format!("`friction_min` ({}) is above `friction_max` ({})", p.mu_min, p.mu_max);
        r.contradiction(
            &[t.side("friction_min"), t.side("friction_max")],
            what,
            "swap the two: slip is reckoned with the lowest, tipping with the highest",
        );
    }
    if p.diameter_tol_mm >= p.diameter_mm / 4.0 {
        let what = format!(
            "`diameter_tolerance` ({}) is out of proportion to `diameter` ({})",
            mm(p.diameter_tol_mm),
            mm(p.diameter_mm)
        );
        r.contradiction(
            &[t.side("diameter_tolerance"), t.side("diameter")],
            what,
            "give the plus/minus of the body, not its size",
        );
    }
    if t.has("centre_of_gravity") && p.cog_mm >= p.height_mm {
        let what =
            format!("`centre_of_gravity` ({}) is not below the top (`height`, {})", mm(p.cog_mm), mm(p.height_mm));
        r.contradiction(
            &[t.side("centre_of_gravity"), t.side("height")],
            what,
            "measure it from the belt; leave it out for half the height",
        );
    }
    if p.tighten == TightenSpec::SeatOnly {
        for name in ["turns", "torque", "roller_speed"] {
            if t.has(name) {
                let what = format!("`{name}` is given, and `tighten = \"seat only\"` never spins");
                r.contradiction(
                    &[t.side(name), t.side("tighten")],
                    what,
                    "leave it out, or choose \"turns\" or \"torque\"",
                );
            }
        }
    }
}

/// `[machine]` and `[product]` together.
pub(super) fn both(r: &mut Reader, m: &MachineSpec, mt: &Table<'_>, p: &ProductSpec, pt: &Table<'_>) {
    if p.speed_mm_s > m.belt_speed_max_mm_s {
        let what =
            format!("`belt_speed` ({} mm/s) is above `belt_speed_max` ({} mm/s)", p.speed_mm_s, m.belt_speed_max_mm_s);
        r.contradiction(
            &[pt.side("belt_speed"), mt.side("belt_speed_max")],
            what,
            "slow the product down, or measure the fastest belt again",
        );
    }
    if p.tighten == TightenSpec::Torque && !m.contacts.has(Contact::Torque) {
        let sides = [pt.side("tighten"), mt.side("contacts")];
        r.contradiction(
            &sides,
            "ending on torque needs the torque contact, and it is not wired".to_owned(),
            "add \"torque\" to `contacts`, or end on \"turns\"",
        );
    }
    let cap = m.contacts.has(Contact::Cap);
    let needs = match p.cap {
        CapPolicy::Unsensed => None,
        CapPolicy::AtHead if !cap => Some("needs the cap contact, and it is not wired: add \"cap\" to `contacts`"),
        CapPolicy::AtHead if mt.has("cap_eye") => {
            Some("and `cap_eye` says that the contact sits upstream: use \"upstream\", or leave `cap_eye` out")
        }
        CapPolicy::Upstream if !cap => Some("needs the cap contact, and it is not wired: add \"cap\" to `contacts`"),
        CapPolicy::Upstream if !mt.has("cap_eye") => {
            Some("needs the place of the contact: add `cap_eye = \"-40 mm\"`, or use \"at head\"")
        }
        CapPolicy::AtHead | CapPolicy::Upstream => None,
    };
    if let Some(needs) = needs {
        let word = if p.cap == CapPolicy::AtHead { "at head" } else { "upstream" };
        let other = if cap && mt.has("cap_eye") { mt.side("cap_eye") } else { mt.side("contacts") };
        let (what, mend) = needs.split_once(": ").unwrap_or((needs, "choose another `cap_policy`"));
        r.contradiction(&[pt.side("cap_policy"), other], format!("cap policy \"{word}\" {what}"), mend);
    }
    check_measured::both(r, m, mt, p, pt);
    pocket(r, m, mt, p, pt);
    eyes(r, m, mt, p, pt);
    jaw(r, m, mt, p, pt);
    last_stop(r, m, mt, p, pt);
}

/// A newcomer that is let go early is stopped short of the busy head by stopping the belt, and that can only be ordered once it is let go.
fn last_stop(r: &mut Reader, m: &MachineSpec, mt: &Table<'_>, p: &ProductSpec, pt: &Table<'_>) {
    if !p.early_release {
        return;
    }
    let busy = head_clear_mm(p.diameter_mm + p.diameter_tol_mm, m.jaw_half_mouth_mm);
    let stop = carry::stop_travel_mm(p.speed_mm_s, BELT_REACTION_MS, m.belt_accel_mm_s2, p.mu_min);
    let mark = -busy - stop;
    if mark <= m.release_blade_mm {
        let what = format!(
            "a bottle let go early must be stopped for at {} to halt short of the busy head (belt at {:.0} mm/s, {} to stop, {} clear), and \
             that lies before the release gate ({})",
            mm(mark),
            p.speed_mm_s,
            mm(stop),
            mm(busy),
            mm(m.release_blade_mm)
        );
        r.contradiction(
            &[pt.side("early_release"), pt.side("belt_speed"), mt.side("release_blade"), mt.side("belt_acceleration")],
            what,
            "set early_release = false, slow the belt, stop it harder (belt_acceleration, as far as friction_min holds the bottle), or move \
             the gates upstream",
        );
    }
}

/// Half the body's length at the blade's tip: the blade meets the body so far before and behind its centre.
fn half_chord(m: &MachineSpec, p: &ProductSpec) -> f64 {
    outline(p).flank_mm(m.blade_tip_mm)
}

fn pocket(r: &mut Reader, m: &MachineSpec, mt: &Table<'_>, p: &ProductSpec, pt: &Table<'_>) {
    let radius = outline(p).across_mm;
    if m.blade_tip_mm >= radius {
        let (body, key) =
            if p.body.shape == ShapeSpec::Round { ("radius", "diameter") } else { ("half width", "width") };
        let what = format!(
            "the blades stop {} from the centre line and never reach a bottle of {body} {}",
            mm(m.blade_tip_mm),
            mm(radius)
        );
        r.contradiction(
            &[mt.side("blade_tip"), pt.side(key)],
            what,
            "`blade_tip` is the distance from the belt's centre line to the blade's tip when shut",
        );
        return;
    }
    let free = outline(p).free_width_mm(m.blade_tip_mm);
    if m.blade_mm >= free {
        let what = format!(
            "a blade of {} does not fit between two bottles that touch: {} are free at its tip, {} from the centre line",
            mm(m.blade_mm),
            mm(free),
            mm(m.blade_tip_mm)
        );
        let sides = [mt.side("blade_thickness"), mt.side("blade_tip"), pt.side("diameter")];
        r.contradiction(&sides, what, "take a thinner blade, or let it reach less far in (a larger `blade_tip`)");
        return;
    }
    // The first bottle lies against the release blade with its chord at the tip; the entry blade shuts behind that chord.
    let chord = 2.0 * half_chord(m, p);
    let room = m.release_blade_mm - (m.entry_blade_mm + m.blade_mm);
    let (entry, release) = (mt.side("entry_blade"), mt.side("release_blade"));
    if room > -m.blade_mm && room < chord {
        let what =
            format!("the pocket is {} long between the blades, and a bottle needs {} there", mm(room), mm(chord));
        r.contradiction(
            &[entry, release, pt.side("diameter")],
            what,
            "move the entry gate upstream, or the release gate downstream",
        );
    } else if room >= p.diameter_mm + chord {
        let what = format!("the pocket is {} long between the blades, and two bottles fit into it", mm(room));
        r.contradiction(
            &[entry, release, pt.side("diameter")],
            what,
            "move the gates closer: the pocket holds exactly one",
        );
    }
}

fn eyes(r: &mut Reader, m: &MachineSpec, mt: &Table<'_>, p: &ProductSpec, pt: &Table<'_>) {
    let radius = p.diameter_mm / 2.0;
    let waits = m.release_blade_mm - half_chord(m, p);
    let (back, front) = (waits - radius, waits + radius);
    let diameter = pt.side("diameter");
    if m.pocket_eye_mm < back || m.pocket_eye_mm > front {
        let what = format!(
            "`pocket_eye` ({}) does not see the bottle that waits in the pocket, from {} to {}",
            mm(m.pocket_eye_mm),
            mm(back),
            mm(front)
        );
        let sides = [mt.side("pocket_eye"), mt.side("release_blade"), diameter.clone()];
        r.contradiction(&sides, what, "move the eye to where the waiting bottle is");
    }
    if m.release_eye_mm > m.release_blade_mm
        && m.release_eye_mm - m.eye_beam_mm / 2.0 <= front + p.diameter_tol_mm / 2.0
    {
        let what =
            format!("`release_eye` ({}) sees the waiting bottle already, up to {}", mm(m.release_eye_mm), mm(front));
        let sides = [mt.side("release_eye"), mt.side("release_blade"), diameter.clone()];
        r.contradiction(&sides, what, "move the eye downstream: it must be clear until a bottle is let go");
    }
    if let Some(x) = m.discharge_eye_mm {
        let least = 1.5 * (p.diameter_mm + p.diameter_tol_mm) + DISCHARGE_CLEARANCE_MM;
        if x < least {
            let what = format!(
                "`discharge_eye` ({}) is nearer to the head than 1.5 diameters and clearance ({})",
                mm(x),
                mm(least)
            );
            r.contradiction(
                &[mt.side("discharge_eye"), diameter.clone()],
                what,
                "move the eye downstream, so that a bottle seen there has left the head clear",
            );
        }
    }
    if let Some(x) = m.supply_eye_mm
        && m.entry_blade_mm - x > p.diameter_mm
    {
        let what = format!(
            "`supply_eye` ({}) is further than one diameter from the entry blade ({})",
            mm(x),
            mm(m.entry_blade_mm)
        );
        r.contradiction(
            &[mt.side("supply_eye"), mt.side("entry_blade"), diameter],
            what,
            "move the eye within one diameter, so that it sees the bottle next in line",
        );
    }
}

fn jaw(r: &mut Reader, m: &MachineSpec, mt: &Table<'_>, p: &ProductSpec, pt: &Table<'_>) {
    // The flanks touch a round body r·cos α off the axis, another by its own outline: a mouth no wider than that cannot take it in.
    let touch = outline(p).jaw_touch_mm(m.jaw_half_angle_deg);
    if m.jaw_half_mouth_mm <= touch {
        let what = format!(
            "the jaw's half mouth ({}) takes in no body of this diameter: its flanks touch at {}",
            mm(m.jaw_half_mouth_mm),
            mm(touch)
        );
        let sides = [mt.side("jaw_half_mouth"), mt.side("jaw_half_angle"), pt.side("diameter")];
        r.contradiction(&sides, what, "fit a wider jaw, or one with a larger angle");
    }
}

/// `[run]`, with what is known of machine and product.
pub(super) fn run(r: &mut Reader, run: &RunSpec, t: &Table<'_>, m: Option<&MachineSpec>, p: Option<&ProductSpec>) {
    let there = u64::from(run.bottles) + run.initial.len() as u64;
    if u64::from(run.batch) > there {
        let what = format!("a batch of {} can never be delivered from {there} bottles", run.batch);
        r.contradiction(&[t.side("batch"), t.side("bottles")], what, "let more bottles come, or ask for fewer");
    }
    let diameter = p.map_or(f64::NAN, |p| p.diameter_mm);
    if let SupplySpec::Pitch(pitch) | SupplySpec::Random(pitch) = run.supply
        && pitch < diameter
    {
        let what = format!("bottles of {} cannot come every {}", mm(diameter), mm(pitch));
        r.contradiction(&[t.side("supply")], what, "give the pitch from centre to centre, at least one diameter");
    }
    let mut places: Vec<f64> = run.initial.iter().map(|b| b.x_mm).collect();
    places.sort_by(f64::total_cmp);
    for pair in places.windows(2) {
        if pair[1] - pair[0] < diameter {
            let what = format!("bottles at {} and {} would stand in each other", mm(pair[0]), mm(pair[1]));
            r.contradiction(&[t.side("start")], what, "place them at least one diameter apart");
        }
    }
    let beyond = |n: u32| u64::from(n) > there;
    let mut named: Vec<(&str, u32)> = Vec::new();
    for step in &run.script {
        named.extend(bottle_of_when(&step.when).map(|n| ("operator", n)));
        if let Action::Take(n) | Action::Free(n) = step.action {
            named.push(("operator", n));
        }
    }
    for fault in &run.faults {
        named.extend(bottle_of_fault(fault).map(|n| ("fault", n)));
    }
    for (key, n) in named.into_iter().filter(|(_, n)| beyond(*n)) {
        let what = format!("bottle {n} is named, and only {there} come");
        r.contradiction(&[t.side(key), t.side("bottles")], what, "let more bottles come, or name an earlier one");
    }
    if let Some(m) = m {
        for fault in &run.faults {
            if let FaultKind::ContactStuck(c, _) | FaultKind::InputFailed(c) = fault.kind
                && !m.contacts.has(c)
            {
                let what = format!("a fault of the contact \"{}\" is asked for, and the machine has none", c.name());
                r.contradiction(&[t.side("fault")], what, "fit the contact in [machine], or leave the fault out");
            }
        }
    }
}

fn bottle_of_when(when: &When) -> Option<u32> {
    match when {
        When::Step(n, _) | When::Place(n, _) => Some(*n),
        When::At(_) | When::State(..) => None,
    }
}

fn bottle_of_fault(fault: &FaultSpec) -> Option<u32> {
    use FaultKind as F;
    match fault.kind {
        F::NoCap(n)
        | F::Crossed(n)
        | F::LooseThread(n)
        | F::LongBottle(n, _)
        | F::StuckPair(n)
        | F::Hung(n)
        | F::Jam(n)
        | F::Taken(n) => Some(n),
        F::Slow(..)
        | F::Stuck(_)
        | F::ContactStuck(..)
        | F::InputFailed(_)
        | F::EncoderDead
        | F::EncoderJump(_)
        | F::Starved
        | F::OutfeedBlocked
        | F::DownstreamNotReady
        | F::BeltStop
        | F::ChainOpen
        | F::GuardOpen
        | F::AirLow
        | F::DriveNotReady => bottle_of_when(&fault.when),
    }
}
