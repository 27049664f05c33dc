//! What the machine waited for, or missed, when a fault was raised.

use super::{About, Fault, s, span};
use crate::replay::Stroke;
use crate::replay::strokes::ends_of;
use std::fmt::Write as _;
use timing_core::{Actuator, Contact, Fault as Cause, MachineProfile, Pose};

/// Tells what the fault is about: the contact awaited, and since when.
pub(super) fn tell(about: &About<'_>, fault: Fault, text: &mut String) {
    let Some((row, index)) = Cause::row_of(fault.code) else { return };
    let actuator = || Actuator::ALL.get(index).copied();
    let line = match row.fault {
        Cause::StrokeOverdue(_) => actuator().map(|a| overdue(about, a)),
        Cause::StrokeLost(_) => actuator().map(|a| lost(about, a)),
        Cause::InputFailed(_) => Contact::ALL.get(index).map(|c| unreadable(about, *c)),
        Cause::ChainOpen => Some(off(about, Contact::Chain)),
        Cause::GuardOpen => Some(off(about, Contact::Guard)),
        Cause::AirLow => Some(off(about, Contact::Air)),
        Cause::DriveNotReady => Some(off(about, Contact::Drive)),
        Cause::Misfeed => Some(misfeed(about)),
        Cause::Jam => Some(blocked(about, Contact::ReleaseEye)),
        Cause::StrayRelease => Some(unasked(about, Contact::ReleaseEye)),
        Cause::StrayDischarge => Some(unasked(about, Contact::DischargeEye)),
        Cause::Overstay => Some(clear(about, Contact::DischargeEye)),
        Cause::BeltSilent => Some(silent(about)),
        Cause::RejectFull => Some(blocked(about, Contact::RejectFull)),
        Cause::RejectUnverified => Some(clear(about, Contact::RejectEye)),
        _ => None,
    };
    if let Some(line) = line {
        let _ = writeln!(text, "{line}");
    }
}

fn end(a: Actuator, to: Pose) -> String {
    let names: Vec<String> = ends_of(a, to).map(|c| format!("\"{}\"", c.name())).collect();
    names.join(" or ")
}

/// Profile's time of a stroke with its contact's filter, µs.
fn nominal_us(m: &MachineProfile, a: Actuator, to: Pose) -> u64 {
    let Some(p) = m.actuators.get(a.index()) else { return 0 };
    let travel = if to == Pose::Work { p.to_work } else { p.to_home };
    p.latency.plus(travel).plus(m.contact_filter).as_micros()
}

fn overdue(about: &About<'_>, a: Actuator) -> String {
    let strokes = || about.retold.strokes.iter().filter(|s| s.actuator == a && s.ordered_us <= about.time_us);
    let Some(Stroke { to, ordered_us, .. }) = strokes().next_back() else {
        return format!("The {} was waited for, and no order of this recording sent it.", a.name());
    };
    let m = &about.recording.setup.machine;
    let margin = m.actuators.get(a.index()).map_or(0, |p| p.margin.as_micros());
    let nominal = nominal_us(m, a, *to);
    let mut line = format!(
        "The {} was ordered {} at {}; {} was awaited from then on, and had not come {} later. Its profile allows {} and {} margin.",
        a.name(),
        if *to == Pose::Work { "to its working end" } else { "home" },
        s(*ordered_us),
        end(a, *to),
        span(about.time_us - ordered_us),
        span(nominal),
        span(margin),
    );
    let took: Vec<u64> =
        strokes().filter(|s| s.to == *to && s.ordered_us < *ordered_us).filter_map(|s| s.took_us).collect();
    match (took.iter().min(), took.iter().max()) {
        (Some(least), Some(most)) => {
            let _ = write!(line, " The {} such strokes before took {} to {}.", took.len(), span(*least), span(*most));
        }
        _ => line.push_str(" It had made no such stroke before in this recording."),
    }
    line
}

fn lost(about: &About<'_>, a: Actuator) -> String {
    let last = about.retold.strokes.iter().rfind(|s| s.actuator == a && s.ordered_us < about.time_us);
    let Some(stroke) = last else {
        return format!("The {} left its end, and no order of this recording had sent it there.", a.name());
    };
    let gone = about.since(|m| !ends_of(a, stroke.to).any(|c| m.contacts.has(c)));
    format!(
        "The {} had been {} since its order of {}; {} went off at {} without an order, and did not come back.",
        a.name(),
        if stroke.to == Pose::Work { "on work" } else { "home" },
        s(stroke.ordered_us),
        end(a, stroke.to),
        s(gone.unwrap_or(about.time_us)),
    )
}

fn off(about: &About<'_>, c: Contact) -> String {
    let at = about.since(|m| !m.contacts.has(c)).unwrap_or(about.time_us);
    let unit = about.unit().map_or("no state yet", |u| u.name());
    format!("The contact \"{}\" went off at {}, with the unit in {unit}.", c.name(), s(at))
}

fn unreadable(about: &About<'_>, c: Contact) -> String {
    let told = &about.recording.told;
    let end = told.partition_point(|t| t.inputs.now.as_micros() <= about.time_us);
    let failed = told.get(..end).unwrap_or_default().iter().rev().take_while(|t| t.inputs.failed.has(c)).last();
    let at = failed.map_or(about.time_us, |t| t.inputs.now.as_micros());
    format!("The input of \"{}\" could not be read from {} on.", c.name(), s(at))
}

fn blocked(about: &About<'_>, c: Contact) -> String {
    match about.since(|m| m.contacts.has(c)) {
        Some(at) => format!("\"{}\" had been on since {}, for {}.", c.name(), s(at), span(about.time_us - at)),
        None => format!("\"{}\" came on in that moment.", c.name()),
    }
}

fn clear(about: &About<'_>, c: Contact) -> String {
    match about.since(|m| !m.contacts.has(c)) {
        Some(at) => {
            format!(
                "\"{}\" was awaited and stayed off; it had been off since {}, for {}.",
                c.name(),
                s(at),
                span(about.time_us - at)
            )
        }
        None => format!("\"{}\" was still on.", c.name()),
    }
}

fn unasked(about: &About<'_>, c: Contact) -> String {
    let at = about.since(|m| m.contacts.has(c)).unwrap_or(about.time_us);
    format!("\"{}\" came on at {}, where no bottle was expected.", c.name(), s(at))
}

fn misfeed(about: &About<'_>) -> String {
    let opened = about.since(|m| m.orders.work(Actuator::ReleaseGate));
    let pocket = about.since(|m| m.contacts.has(Contact::PocketEye));
    let eye = about.since(|m| !m.contacts.has(Contact::ReleaseEye));
    let mut line = opened.map_or_else(
        || "A bottle was to be let go".to_owned(),
        |t| format!("The release gate had been ordered open at {}, {} before", s(t), span(about.time_us - t)),
    );
    match (eye, opened) {
        (Some(clear), Some(opened)) if clear <= opened => line.push_str("; the release eye has seen nothing since"),
        _ => line.push_str("; the release eye was reached"),
    }
    match pocket {
        Some(t) => {
            let _ = write!(line, ", and the pocket eye had been blocked since {}.", s(t));
        }
        None => line.push_str(", and the pocket eye was clear."),
    }
    line
}

fn silent(about: &About<'_>) -> String {
    let told = &about.recording.told;
    let end = told.partition_point(|t| t.inputs.now.as_micros() <= about.time_us);
    let before = told.get(..end).unwrap_or_default();
    let belt = before.last().map(|t| t.inputs.belt);
    let stands = before.iter().rev().take_while(|t| Some(t.inputs.belt) == belt).last();
    let at = stands.map_or(about.time_us, |t| t.inputs.now.as_micros());
    let ordered = about
        .since(|m| m.orders.belt())
        .map_or_else(String::new, |t| format!(" It has been ordered to run since {}.", s(t)));
    format!("The encoder has not counted since {} at the latest.{ordered}", s(at))
}
