//! What happens in a rehearsal: when, what the operator does, what goes wrong.

use super::error::Mistake;
use super::spec::{Action, FaultKind, FaultSpec, ScriptStep, When};
use super::table::{Reader, Table};
use timing_core::Mode;
use timing_core::{Actuator, Command, Contact, HeadStep, Pose, Request, UnitState};

/// The kinds of `[[run.fault]]`, each with the keys that belong to it beside those that say when.
pub(super) const KINDS: [(&str, &[&str]); 22] = [
    ("no cap", &["bottle"]),
    ("crossed thread", &["bottle"]),
    ("loose thread", &["bottle"]),
    ("long bottle", &["bottle", "length"]),
    ("stuck pair", &["bottle"]),
    ("hung bottle", &["bottle"]),
    ("jam", &["bottle"]),
    ("taken", &["bottle"]),
    ("slow", &["actuator", "factor", "for"]),
    ("stuck", &["actuator", "for"]),
    ("contact", &["contact", "reads", "for"]),
    ("input failed", &["contact", "for"]),
    ("encoder dead", &["for"]),
    ("encoder jump", &["counts"]),
    ("starved", &["for"]),
    ("outfeed blocked", &["for"]),
    ("downstream not ready", &["for"]),
    ("belt stop", &["for"]),
    ("chain open", &["for"]),
    ("guard open", &["for"]),
    ("air low", &["for"]),
    ("drive not ready", &["for"]),
];

/// Keys that belong to some kinds only; `for` may always be left out.
const OF_KINDS: [&str; 7] = ["for", "bottle", "length", "actuator", "factor", "contact", "reads"];

/// What an operator may do, as shown to people.
const DEEDS: [&str; 25] = [
    "reset",
    "start",
    "stop",
    "hold",
    "unhold",
    "suspend",
    "unsuspend",
    "abort",
    "clear",
    "batch 10",
    "production",
    "maintenance",
    "manual",
    "step",
    "dry cycle",
    "declare 1",
    "jog grip work",
    "jog spin",
    "jog belt",
    "open chain",
    "close chain",
    "open guard",
    "close guard",
    "take bottle 3",
    "take all",
];

/// When something happens. `bottle_is_of_kind`: the bottle is named by the fault itself, so that it need not say when.
fn when(r: &mut Reader, t: &Table<'_>, bottle_is_of_kind: bool) -> Option<When> {
    let ways: Vec<&str> = ["at", "state", "step", "place"].into_iter().filter(|k| t.has(k)).collect();
    let bottle = t.whole(r, "bottle").and_then(|n| u32::try_from(n).ok());
    let after = t.number(r, "after");
    if t.has("after") && !t.has("state") {
        let side = [t.side("after")];
        r.contradiction(
            &side,
            "`after` counts from a state, and no `state` is given".to_owned(),
            "add `state = \"…\"`, or use `at`",
        );
    }
    match ways.as_slice() {
        [] if bottle_is_of_kind => Some(When::At(0.0)),
        [] => {
            let mend = "add `at = \"12 s\"` (since power-up), or `state = \"Held\"` with `after = \"2 s\"`, or `bottle = 3` with \
                        `step = \"Tighten\"` or `place = \"-30 mm\"`";
            r.tell(Mistake::Missing, &t.place(""), &t.full("at"), "nothing says when".to_owned(), mend.to_owned());
            None
        }
        ["at"] => t.number(r, "at").map(When::At),
        ["state"] => {
            let name = t.word(r, "state")?;
            let state = UnitState::ALL.into_iter().find(|s| s.name() == name)?;
            Some(When::State(state, after.unwrap_or(0.0)))
        }
        [way @ ("step" | "place")] => {
            if !t.has("bottle") {
                t.missing(r, "bottle");
                return None;
            }
            if *way == "step" {
                let name = t.word(r, "step")?;
                let step = HeadStep::ALL.into_iter().find(|s| s.name() == name)?;
                Some(When::Step(bottle?, step))
            } else {
                Some(When::Place(bottle?, t.number(r, "place")?))
            }
        }
        several => {
            let sides: Vec<_> = several.iter().map(|k| t.side(k)).collect();
            let what = format!("`{}` each say when, and only one may", several.join("` and `"));
            r.contradiction(&sides, what, "keep one of them");
            None
        }
    }
}

/// `[[run.operator]]`.
pub(super) fn step(r: &mut Reader, t: &Table<'_>) -> Option<ScriptStep> {
    let when = when(r, t, false);
    let text = t.text(r, "do")?;
    let action = action(&text);
    if action.is_none() {
        t.unknown_word(r, "do", t.place("do"), &text, &DEEDS);
    }
    if t.has("bottle") && matches!(when, Some(When::At(_) | When::State(..))) {
        let side = [t.side("bottle")];
        let mend = "name the bottle in `do` (\"take bottle 3\"); `bottle` goes with `step` or `place`, to say when";
        r.contradiction(&side, "`bottle` has nothing to say here".to_owned(), mend);
    }
    Some(ScriptStep { when: when?, action: action? })
}

fn action(text: &str) -> Option<Action> {
    let lower = text.to_lowercase();
    let words: Vec<&str> = lower.split_whitespace().collect();
    let number = |s: &str| s.parse::<u32>().ok();
    let bottle = |s: &str| number(s).filter(|n| *n > 0);
    Some(match words.as_slice() {
        ["open", "chain"] => Action::OpenChain,
        ["close", "chain"] => Action::CloseChain,
        ["open", "guard"] => Action::OpenGuard,
        ["close", "guard"] => Action::CloseGuard,
        ["take", "all"] => Action::TakeAll,
        ["take", "bottle", n] => Action::Take(bottle(n)?),
        ["free", "bottle", n] => Action::Free(bottle(n)?),
        ["batch", n] => Action::Request(Request::Batch(number(n)?)),
        ["declare", n] => Action::Request(Request::Declare(n.parse().ok()?)),
        ["step"] => Action::Request(Request::Step),
        ["dry", "cycle"] => Action::Request(Request::DryCycle),
        ["production"] => Action::Request(Request::Mode(Mode::Production)),
        ["maintenance"] => Action::Request(Request::Mode(Mode::Maintenance)),
        ["manual"] => Action::Request(Request::Mode(Mode::Manual)),
        ["jog", "spin"] => Action::Request(Request::JogSpin),
        ["jog", "belt"] => Action::Request(Request::JogBelt),
        ["jog", name @ .., pose] => {
            let name = name.join(" ");
            let actuator = Actuator::ALL.into_iter().find(|a| a.name() == name)?;
            let pose = match *pose {
                "work" => Pose::Work,
                "home" => Pose::Home,
                _ => return None,
            };
            Action::Request(Request::Jog(actuator, pose))
        }
        [command] => {
            let command = Command::ALL.into_iter().find(|c| c.name().eq_ignore_ascii_case(command))?;
            Action::Request(Request::Command(command))
        }
        _ => return None,
    })
}

/// `[[run.fault]]`.
pub(super) fn fault(r: &mut Reader, t: &Table<'_>) -> Option<FaultSpec> {
    let kind = t.word(r, "kind");
    let needs = KINDS.iter().find(|(name, _)| Some(*name) == kind).map(|(_, needs)| *needs);
    // A hand takes a bottle at some moment; every other fault of a bottle is with it from the start.
    let from_start = needs.is_some_and(|n| n.contains(&"bottle")) && kind != Some("taken");
    let when = when(r, t, from_start || kind.is_none());
    let lasts_s = t.number(r, "for").unwrap_or(f64::INFINITY);
    let (kind, needs) = (kind?, needs?);
    for key in needs.iter().filter(|k| **k != "for") {
        // `when` has told a missing bottle already where it needs one.
        let told = *key == "bottle" && (t.has("step") || t.has("place"));
        if !t.has(key) && !told {
            t.missing(r, key);
        }
    }
    for key in OF_KINDS.iter().chain(&["counts"]) {
        let says_when = *key == "bottle" && (t.has("step") || t.has("place"));
        if t.has(key) && !needs.contains(key) && !says_when {
            let takes: Vec<String> = needs.iter().map(|k| format!("`{k}`")).collect();
            let mend = if takes.is_empty() {
                "leave it out".to_owned()
            } else {
                format!("leave it out; \"{kind}\" takes {}", takes.join(", "))
            };
            let sides = [t.side(key), t.side("kind")];
            r.contradiction(&sides, format!("`{key}` does not go with kind \"{kind}\""), &mend);
        }
    }
    let kind = fault_kind(r, t, kind)?;
    Some(FaultSpec { when: when?, lasts_s, kind })
}

fn fault_kind(r: &mut Reader, t: &Table<'_>, kind: &str) -> Option<FaultKind> {
    use FaultKind as F;
    // `when` has read (and told of) the bottle; an absent one is told by the caller.
    let bottle = match t.node("bottle").map(|n| &n.value) {
        Some(super::tree::Value::Whole(n)) => u32::try_from(*n).ok(),
        _ => None,
    };
    let length = t.number(r, "length");
    let factor = t.number(r, "factor");
    let counts = t.whole(r, "counts");
    let actuator = t.word(r, "actuator").and_then(|name| Actuator::ALL.into_iter().find(|a| a.name() == name));
    let contact = t.word(r, "contact").and_then(|name| Contact::ALL.into_iter().find(|c| c.name() == name));
    let reads = t.has("reads").then(|| t.flag(r, "reads"));
    Some(match kind {
        "no cap" => F::NoCap(bottle?),
        "crossed thread" => F::Crossed(bottle?),
        "loose thread" => F::LooseThread(bottle?),
        "long bottle" => F::LongBottle(bottle?, length?),
        "stuck pair" => F::StuckPair(bottle?),
        "hung bottle" => F::Hung(bottle?),
        "jam" => F::Jam(bottle?),
        "taken" => F::Taken(bottle?),
        "slow" => F::Slow(actuator?, factor?),
        "stuck" => F::Stuck(actuator?),
        "contact" => F::ContactStuck(contact?, reads?),
        "input failed" => F::InputFailed(contact?),
        "encoder dead" => F::EncoderDead,
        "encoder jump" => F::EncoderJump(counts?),
        "starved" => F::Starved,
        "outfeed blocked" => F::OutfeedBlocked,
        "downstream not ready" => F::DownstreamNotReady,
        "belt stop" => F::BeltStop,
        "chain open" => F::ChainOpen,
        "guard open" => F::GuardOpen,
        "air low" => F::AirLow,
        "drive not ready" => F::DriveNotReady,
        _ => {
            debug_assert!(false, "kind {kind} is listed and not read");
            return None;
        }
    })
}
