//! The set-points that can be asked about, by the names of the job file where it has them.

use crate::job::nearest;
use crate::plan::scale::{duration, millimetres};
use crate::quantity::{Kind, parse};
use crate::record::rec::Setup;
use timing_core::{Actuator, Duration, MachineProfile, Millimetres, Product};

enum Field {
    Length(fn(&mut Product) -> &mut Millimetres),
    Time(fn(&mut Product) -> &mut Duration),
    MachineTime(fn(&mut MachineProfile) -> &mut Duration),
}

/// A set-point that can be asked about.
pub struct Key {
    /// Its name: the job file's where that has it, else the set-up sheet's.
    pub name: &'static str,
    field: Field,
}

const fn length(name: &'static str, of: fn(&mut Product) -> &mut Millimetres) -> Key {
    Key { name, field: Field::Length(of) }
}

const fn time(name: &'static str, of: fn(&mut Product) -> &mut Duration) -> Key {
    Key { name, field: Field::Time(of) }
}

const fn machine(name: &'static str, of: fn(&mut MachineProfile) -> &mut Duration) -> Key {
    Key { name, field: Field::MachineTime(of) }
}

const fn margin(a: Actuator) -> fn(&mut MachineProfile) -> &mut Duration {
    match a {
        Actuator::EntryGate => |m| &mut m.actuators[0].margin,
        Actuator::ReleaseGate => |m| &mut m.actuators[1].margin,
        Actuator::Grip => |m| &mut m.actuators[2].margin,
        Actuator::Plunger => |m| &mut m.actuators[3].margin,
        Actuator::Rollers => |m| &mut m.actuators[4].margin,
        Actuator::Reject => |m| &mut m.actuators[5].margin,
    }
}

/// All of them.
pub const KEYS: [Key; 22] = [
    time("product.seat_dwell", |p| &mut p.seat_dwell),
    time("product.engage_dwell", |p| &mut p.engage_dwell),
    time("product.disengage_dwell", |p| &mut p.disengage_dwell),
    length("product.aim_early", |p| &mut p.catch_early),
    length("product.settle", |p| &mut p.settle_travel),
    length("product.speed_window", |p| &mut p.speed_window),
    length("product.catch_travel", |p| &mut p.catch_travel),
    length("product.gate_shut_travel", |p| &mut p.gate_shut_travel),
    length("product.misfeed_travel", |p| &mut p.misfeed_travel),
    length("product.jam_travel", |p| &mut p.jam_travel),
    length("product.leave_travel", |p| &mut p.leave_travel),
    machine("machine.eye_filter", |m| &mut m.eye_filter),
    machine("machine.contact_filter", |m| &mut m.contact_filter),
    machine("machine.warn", |m| &mut m.warn),
    machine("machine.clear", |m| &mut m.clear),
    machine("machine.starve", |m| &mut m.starve),
    machine("machine.entry_gate.margin", margin(Actuator::EntryGate)),
    machine("machine.release_gate.margin", margin(Actuator::ReleaseGate)),
    machine("machine.grip.margin", margin(Actuator::Grip)),
    machine("machine.plunger.margin", margin(Actuator::Plunger)),
    machine("machine.rollers.margin", margin(Actuator::Rollers)),
    machine("machine.reject.margin", margin(Actuator::Reject)),
];

enum Value {
    Length(Millimetres),
    Time(Duration),
}

/// One set-point with another value.
pub struct Wish {
    key: &'static Key,
    value: Value,
    text: String,
}

impl Wish {
    /// From `KEY=VALUE`, the value with its unit as in a job file.
    ///
    /// # Errors
    /// One sentence: what is wrong, and how to mend it.
    pub fn read(text: &str) -> Result<Self, String> {
        let (name, value) = text
            .split_once('=')
            .ok_or_else(|| format!("{text}: write KEY=VALUE, for example product.seat_dwell=\"150 ms\""))?;
        let (name, value) = (name.trim(), value.trim().trim_matches('"'));
        let key = KEYS.iter().find(|k| k.name == name).ok_or_else(|| {
            let names: Vec<&str> = KEYS.iter().map(|k| k.name).collect();
            let near = nearest(name, &names).map_or_else(String::new, |n| format!("did you mean {n}? "));
            format!("{name}: no set-point that can be asked about; {near}There are: {}", names.join(", "))
        })?;
        let kind = match key.field {
            Field::Length(_) => Kind::Length,
            Field::Time(_) | Field::MachineTime(_) => Kind::TimeMs,
        };
        let number = parse(kind, value).map_err(|e| format!("{name}: {}: {}", e.what(), e.mend(kind)))?;
        let value_of = match key.field {
            Field::Length(_) => millimetres(key.name, number).map(Value::Length),
            Field::Time(_) | Field::MachineTime(_) => duration(key.name, number).map(Value::Time),
        };
        let text = format!("{name} = {value}");
        Ok(Self { key, value: value_of.map_err(|e| e.to_string())?, text })
    }

    /// It, as one reads it.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Machine and product with it.
    pub(super) fn changed(&self, setup: &Setup) -> (MachineProfile, Product) {
        let (mut machine, mut product) = (setup.machine, setup.product);
        match (&self.key.field, &self.value) {
            (Field::Length(of), Value::Length(l)) => *of(&mut product) = *l,
            (Field::Time(of), Value::Time(t)) => *of(&mut product) = *t,
            (Field::MachineTime(of), Value::Time(t)) => *of(&mut machine) = *t,
            // A key's value is read by the key's kind.
            (Field::Length(_), Value::Time(_)) | (Field::Time(_) | Field::MachineTime(_), Value::Length(_)) => {}
        }
        (machine, product)
    }
}
