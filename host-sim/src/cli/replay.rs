//! The verb `replay`: a recording once more through the same core.

use super::args::ReplayArgs;
use super::files::{File, Files};
use super::{FINE, NO, WRONG_INPUT, say};
use crate::digest::hex;
use crate::record::rec::{self, Recording};
use crate::replay::what_if::{Wish, tell, what_if};
use crate::replay::{Fault, Retold, explain, faults, retell};
use crate::show::{Span, View, timing, travel, words};
use serde_json::{Value, json};
use std::io::Write;
use std::path::Path;

/// Of the charts: from before the last bottle's registration …
const BEFORE_US: u64 = 1_000_000;
/// … to after the fault.
const AFTER_US: u64 = 3_000_000;
/// Stretch without a bottle.
const ALONE_US: u64 = 5_000_000;

/// `replay`: no if it does not give the same bits, or the recording is damaged.
pub(super) fn run(a: &ReplayArgs, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    match tried(a, out) {
        Ok(code) => code,
        Err(why) => {
            say(err, &format!("{why}\n"));
            WRONG_INPUT
        }
    }
}

fn tried(a: &ReplayArgs, out: &mut dyn Write) -> Result<u8, String> {
    let name = a.recording.display();
    let wish = a.what_if.as_deref().map(Wish::read).transpose()?;
    let files = Files { force: false, out: a.out.clone() };
    if let Some(folder) = a.out.as_deref().filter(|f| f.exists() && !f.is_dir()) {
        return Err(format!("{} is there and no folder: give another name with --out", folder.display()));
    }
    let bytes =
        std::fs::read(&a.recording).map_err(|e| format!("{name}: {e}; name a file that `run --record` wrote"))?;
    let recording = rec::read(&bytes).map_err(|e| format!("{name}: {e}"))?;
    let retold = retell(&recording).map_err(|e| format!("{name}: the controller refuses its set-up: {e}"))?;
    let all = faults(&retold);
    let fault = match a.fault {
        None => all.last().copied(),
        Some(n) => match n.checked_sub(1).and_then(|i| all.get(i)) {
            Some(fault) => Some(*fault),
            None => return Err(format!("--fault {n}: {name} tells of {} faults, the first is 1", all.len())),
        },
    };
    let story = a.explain.then(|| explain(&recording, &retold, fault));
    let came = wish.as_ref().map(|wish| asked(a, wish, &recording, &retold, fault)).transpose()?;
    let same = same(&recording, &retold);
    if a.json {
        let object = json!({
            "recording": name.to_string(),
            "same": same.is_none(),
            "difference": same,
            "damage": recording.damage.as_ref().map(ToString::to_string),
            "entries": recording.told.len(),
            "replayed": retold.replayed.ticks,
            "digest": hex(retold.replayed.digest),
            "simulated_s": retold.trace.end_us as f64 * 1e-6,
            "faults": all.iter().map(|f| fault_object(*f)).collect::<Vec<_>>(),
            "story": story,
            "what_if": came.as_ref().map(|(_, object)| object),
        });
        say(out, &format!("{object}\n"));
    } else {
        say(out, &verdict(&recording, &retold, same.as_deref(), &all));
        for text in story.iter().chain(came.as_ref().map(|(text, _)| text)) {
            say(out, &format!("\n{text}"));
        }
    }
    if let Some(folder) = &a.out {
        let ready = charts(folder, &retold, fault);
        files.write(&ready)?;
        if !a.json {
            let names: Vec<String> = ready.iter().map(|f| f.path.display().to_string()).collect();
            say(out, &format!("\nWritten:\n  {}\n", names.join("\n  ")));
        }
    }
    Ok(if same.is_none() && recording.damage.is_none() { FINE } else { NO })
}

/// What differs, if anything does: a tick, or the digest at the end.
fn same(recording: &Recording, retold: &Retold) -> Option<String> {
    let replayed = &retold.replayed;
    if let Some(difference) = &replayed.difference {
        return Some(difference.to_string());
    }
    let end = recording.end.as_ref()?;
    let digest = hex(replayed.digest);
    (end.digest != digest || end.ticks != replayed.ticks).then(|| {
        format!(
            "its end says digest {} after {} entries, and the replay gives {digest} after {}",
            end.digest, end.ticks, replayed.ticks
        )
    })
}

fn fault_object(f: Fault) -> Value {
    json!({ "time_us": f.time_us, "code": f.code, "fault": words::fault(f.code) })
}

fn verdict(recording: &Recording, retold: &Retold, difference: Option<&str>, all: &[Fault]) -> String {
    let mut text = match difference {
        None => format!(
            "THE SAME: {} entries over {:.3} s, digest {}.\n",
            retold.replayed.ticks,
            retold.trace.end_us as f64 * 1e-6,
            hex(retold.replayed.digest)
        ),
        Some(difference) => format!(
            "DIFFERENT: {difference}.\nIt was recorded by another version of the controller, or its file was changed.\n"
        ),
    };
    if let Some(damage) = &recording.damage {
        text.push_str(&format!("The file is {damage}.\n"));
    }
    for (i, f) in all.iter().enumerate() {
        text.push_str(&format!("Fault {}: {:.3} s, {}.\n", i + 1, f.time_us as f64 * 1e-6, words::fault(f.code)));
    }
    text
}

/// The last bottle's beginning before the fault, or before the end.
fn begins(retold: &Retold, fault: Option<Fault>) -> Option<u64> {
    let until = fault.map_or(u64::MAX, |f| f.time_us);
    let registered = |e: &(u64, timing_core::Event)| e.1.kind == timing_core::EventKind::Registered && e.0 <= until;
    retold.trace.events.iter().rfind(|e| registered(e)).map(|(t, _)| *t)
}

fn asked(
    a: &ReplayArgs,
    wish: &Wish,
    recording: &Recording,
    retold: &Retold,
    fault: Option<Fault>,
) -> Result<(String, Value), String> {
    let from_us = match a.from {
        Some(s) if !(0.0..=1e12).contains(&s) => {
            return Err(format!("--from {s}: give seconds since power-up, 0 or more"));
        }
        Some(s) => (s * 1e6) as u64,
        None => fault.and_then(|f| begins(retold, Some(f))).unwrap_or(0),
    };
    let came = what_if(recording, wish, from_us)?;
    let text = tell(recording, wish, &came);
    let object = json!({
        "changed": wish.text(),
        "from_us": came.from_us,
        "until_us": came.until_us,
        "parted": came.parting.is_some(),
        "order": came.parting.map(|p| words::order(p.order)),
        "on": came.parting.map(|p| p.on),
        "recorded_us": came.parting.and_then(|p| p.recorded).map(|t| t.time_us),
        "changed_us": came.parting.and_then(|p| p.changed).map(|t| t.time_us),
        "sentence": text.trim_end(),
    });
    Ok((text, object))
}

fn charts(folder: &Path, retold: &Retold, fault: Option<Fault>) -> Vec<File> {
    let at = fault.map_or(retold.trace.end_us, |f| f.time_us);
    let from = begins(retold, fault).unwrap_or(at.saturating_sub(ALONE_US));
    let span = Some(Span { from_us: from.saturating_sub(BEFORE_US), to_us: at.saturating_add(AFTER_US) });
    let what = fault.map_or_else(|| "the last bottle".to_owned(), |f| words::fault(f.code));
    let chart = |title: &str| View { title: title.to_owned(), span };
    let ways = format!("{what}; bottles where the controller reckoned them");
    vec![
        File { path: folder.join("timing.svg"), content: timing::timing(&retold.trace, &chart(&what)).into_bytes() },
        File { path: folder.join("travel.svg"), content: travel::travel(&retold.trace, &chart(&ways)).into_bytes() },
    ]
}
