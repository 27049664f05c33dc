//! From one product to the next on the same machine: what must be moved and set anew, in working order, and what stays.

use super::{Figure, Plan};
use crate::job::measured::SetSpec;
use crate::job::spec::MachineSpec;
use serde::Serialize;
use std::fmt::Write as _;

/// Two values that differ by less are shown alike, and are alike.
const SHOWN: f64 = 0.005;

/// One figure that changes.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Change {
    /// What.
    pub name: String,
    /// From; nothing if the first plan does not know it.
    pub from: Option<f64>,
    /// To; nothing if the second plan does not know it.
    pub to: Option<f64>,
    /// Their unit.
    pub unit: &'static str,
}

/// A changeover. As JSON it is what `plan --json` says of two jobs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Changeover {
    /// What must be moved on the stopped, vented machine, in working order: upstream first.
    pub moves: Vec<Change>,
    /// What must be set, in the order of the sheet.
    pub settings: Vec<Change>,
    /// What stays as it is.
    pub stays: Vec<String>,
}

/// Why there is no changeover: the machines differ in more than what can be moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OtherMachine;

/// What changes from one plan to another.
///
/// # Errors
/// [`OtherMachine`] when the two jobs' machines differ in anything but places along the belt.
pub fn changeover(from: (&MachineSpec, &Plan), to: (&MachineSpec, &Plan)) -> Result<Changeover, OtherMachine> {
    if fixed(from.0) != fixed(to.0) {
        return Err(OtherMachine);
    }
    let mut stays = Vec::new();
    let moves = compare(&places(from.1), &places(to.1), &mut stays);
    let settings = compare(&from.1.setpoints, &to.1.setpoints, &mut stays);
    Ok(Changeover { moves, settings, stays })
}

/// Everything that has a place, in working order.
fn places(plan: &Plan) -> Vec<Figure> {
    plan.setup.iter().map(|x| Figure::plain(x.name, x.value, x.unit)).collect()
}

/// What of a machine is bolted down for good: everything but the places of gates and eyes.
fn fixed(m: &MachineSpec) -> MachineSpec {
    MachineSpec {
        entry_blade_mm: 0.0,
        release_blade_mm: 0.0,
        pocket_eye_mm: 0.0,
        release_eye_mm: 0.0,
        discharge_eye_mm: m.discharge_eye_mm.map(|_| 0.0),
        supply_eye_mm: m.supply_eye_mm.map(|_| 0.0),
        cap_eye_mm: m.cap_eye_mm.map(|_| 0.0),
        set: SetSpec {
            roller_width_mm: m.set.roller_width_mm,
            roller_mu: m.set.roller_mu,
            belt_coast_mm_s2: m.set.belt_coast_mm_s2,
            queue_bottles: m.set.queue_bottles,
            air_supply_l_min: m.set.air_supply_l_min,
            ..SetSpec::default()
        },
        ..m.clone()
    }
}

fn compare(from: &[Figure], to: &[Figure], stays: &mut Vec<String>) -> Vec<Change> {
    let mut changes = Vec::new();
    for t in to {
        let before = from.iter().find(|f| f.name == t.name && f.unit == t.unit).map(|f| f.value);
        if before.is_some_and(|b| (b - t.value).abs() < SHOWN) {
            stays.push(t.name.to_owned());
        } else {
            changes.push(Change { name: t.name.to_owned(), from: before, to: Some(t.value), unit: t.unit });
        }
    }
    for f in from.iter().filter(|f| !to.iter().any(|t| t.name == f.name && t.unit == f.unit)) {
        changes.push(Change { name: f.name.to_owned(), from: Some(f.value), to: None, unit: f.unit });
    }
    changes
}

impl Changeover {
    /// The changeover for the terminal.
    #[must_use]
    pub fn text(&self, from: &str, to: &str, cautions: &[String]) -> String {
        let mut s = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut s, from, to, cautions);
        s
    }

    fn write(&self, s: &mut String, from: &str, to: &str, cautions: &[String]) -> std::fmt::Result {
        writeln!(s, "CHANGEOVER from {from} to {to}\n")?;
        writeln!(s, "CAUTIONS")?;
        for c in cautions {
            writeln!(s, "  ! {c}")?;
        }
        for (title, changes) in [
            ("1. STOPPED, LOCKED OUT AND VENTED: move", &self.moves),
            ("2. THEN set in the controller and on the drives", &self.settings),
        ] {
            writeln!(s, "\n{title}")?;
            if changes.is_empty() {
                writeln!(s, "  nothing")?;
            }
            for c in changes {
                writeln!(s, "  [ ] {}", c.line())?;
            }
        }
        writeln!(
            s,
            "\n3. AIR BACK, GUARDS SHUT: a dry cycle, then one bottle by single steps, then the belt at low speed\n"
        )?;
        writeln!(s, "STAYS AS IT IS ({})", self.stays.len())?;
        for name in &self.stays {
            writeln!(s, "  {name}")?;
        }
        Ok(())
    }
}

impl Change {
    fn line(&self) -> String {
        let unit = self.unit;
        match (self.from, self.to) {
            (Some(a), Some(b)) => format!("{:<58} {a:>9.2} → {b:>9.2} {unit:<5} by {:+.2}", self.name, b - a),
            (None, Some(b)) => format!("{:<58} {:>9} → {b:>9.2} {unit}", self.name, "new"),
            (Some(a), None) => format!("{:<58} {a:>9.2} → {:>9} {unit}", self.name, "not used"),
            (None, None) => self.name.clone(),
        }
    }
}
