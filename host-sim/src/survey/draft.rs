//! The starting job file: what was measured, and a marked blank with how to measure it for everything else.

use super::map::Map;
use super::{Delay, Stat, StrokeTimes, Survey};
use crate::job::blank::{BLANK, how};
use std::fmt::Write as _;
use timing_core::{Actuator, Contact, Orders};

struct Draft {
    text: String,
    table: &'static str,
}

impl Draft {
    /// A table, or with an empty name nothing but what follows in the same one.
    fn table(&mut self, name: &'static str) {
        self.table = name;
        let _ = writeln!(self.text, "\n[{name}]");
    }

    fn put(&mut self, key: &str, value: &str, why: &str) {
        let _ = writeln!(self.text, "{:<44}# {why}", format!("{key} = {value}"));
    }

    fn blank(&mut self, keys: &[&str]) {
        for key in keys {
            self.put(key, &format!("\"{BLANK}\""), how(&format!("{}.{key}", self.table)));
        }
    }

    /// A measured value, or a blank.
    fn some(&mut self, key: &str, value: Option<String>, why: &str) {
        match value {
            Some(value) => self.put(key, &value, why),
            None => self.blank(&[key]),
        }
    }
}

/// The file, TOML.
#[must_use]
pub fn draft(s: &Survey, map: &Map) -> String {
    let mut d = Draft { text: String::new(), table: "" };
    d.text.push_str(
        "# A starting job file, from the survey of a capture. What could be measured stands here with where it is from; every \"?\" is to be\n\
         # measured, with the machine locked out and vented. capcycle refuses to plan or run it while one is left.\n\
         # Not a safety device: emergency stop, guards and air dump stay hard-wired; local codes and licensed practice decide.\n",
    );
    d.put("title", "\"A surveyed machine\"", "a name for it");
    machine(&mut d, s, map);
    for a in Actuator::ALL {
        actuator(&mut d, s, map, a);
    }
    product(&mut d, s, map);
    d.table("run");
    d.put("seed", "1", "of every random draw");
    d.put("bottles", "40", "to rehearse with");
    d.text
}

fn machine(d: &mut Draft, s: &Survey, map: &Map) {
    d.table("machine");
    match &map.belt {
        Some(belt) => {
            d.put("encoder_counts_per_rev", &belt.counts_per_rev.to_string(), "from the map");
            d.put("encoder_wheel", &format!("\"{} mm\"", belt.wheel_mm), "from the map");
        }
        None => d.blank(&["encoder_counts_per_rev", "encoder_wheel"]),
    }
    d.blank(&["belt_owner", "belt_speed_max", "belt_acceleration"]);
    d.blank(&["entry_blade", "release_blade", "blade_thickness", "blade_tip", "pocket_eye"]);
    let eye =
        catch_travel_mm(s).zip(s.length_mm).map(|(catch, length)| format!("\"{:.1} mm\"", length.mean / 2.0 - catch));
    d.some(
        "release_eye",
        eye,
        "half a bottle less the travel to the catch, if the grip now meets bottles on its axis; check it with a rule",
    );
    for (key, contact) in [("discharge_eye", Contact::DischargeEye), ("supply_eye", Contact::SupplyEye)] {
        if map.has(contact) {
            d.blank(&[key]);
        }
    }
    if Orders::from_bits(map.orders).work(Actuator::Reject) {
        d.blank(&["reject_at", "reject_length"]);
    }
    d.blank(&["jaw_half_mouth", "jaw_half_angle", "jaw_friction", "roller_diameter", "roller_ramp", "air_pressure"]);
    let extra = [
        Contact::Guard,
        Contact::Air,
        Contact::Drive,
        Contact::Cap,
        Contact::Torque,
        Contact::RejectFull,
        Contact::UpstreamReady,
        Contact::DownstreamReady,
        Contact::RejectEye,
        Contact::LineBelt,
    ];
    let wired: Vec<String> = extra.iter().filter(|c| map.has(**c)).map(|c| format!("\"{}\"", c.name())).collect();
    d.put("contacts", &format!("[{}]", wired.join(", ")), "those that are mapped");
    let filter = filter_ms(s).map(|ms| format!("\"{ms:.3} ms\""));
    if let Some(filter) = filter {
        d.put("contact_filter", &filter, "shortest time from a contact to the order that needs nothing else");
    }
    if let Some(warn) = seconds(s, "beacon", "belt run") {
        d.put("warn", &format!("\"{:.3} s\"", warn.mean), "from the beacon to the belt");
    }
}

fn actuator(d: &mut Draft, s: &Survey, map: &Map, a: Actuator) {
    if a == Actuator::Reject && !Orders::from_bits(map.orders).work(a) {
        return;
    }
    d.table(match a {
        Actuator::EntryGate => "machine.entry_gate",
        Actuator::ReleaseGate => "machine.release_gate",
        Actuator::Grip => "machine.grip",
        Actuator::Plunger => "machine.plunger",
        Actuator::Rollers => "machine.rollers",
        Actuator::Reject => "machine.reject",
    });
    d.blank(&["valve"]);
    let of = |to_work| s.strokes.iter().find(|x| x.actuator == a.name() && x.to_work == to_work);
    let (work, home) = (of(true), of(false));
    let latency = work.and_then(|w| w.left_ms);
    let ms = |x: f64| format!("\"{x:.2} ms\"");
    d.some("latency", latency.map(|l| ms(l.mean)), "from the order until the resting contact goes");
    let travel =
        |x: Option<&StrokeTimes>| x.and_then(|x| x.took_ms).zip(latency).map(|(t, l)| ms((t.mean - l.mean).max(0.0)));
    d.some("to_work", travel(work), "from there until the contact on work");
    d.some("to_home", travel(home), "the same on the way home");
    let range = |x: Option<&StrokeTimes>| x.and_then(|x| x.took_ms).map_or(0.0, |t| (t.max - t.min) / 2.0);
    d.put("spread", &ms(range(work).max(range(home))), "half the range that was seen");
    d.put("home_contact", bool_of(map.has(Contact::home_of(a))), "as mapped");
    d.put("work_contact", bool_of(map.has(Contact::work_of(a))), "as mapped");
    if let Some(over) = Contact::over_of(a) {
        d.put("over_contact", bool_of(map.has(over)), "as mapped");
    }
}

const fn bool_of(on: bool) -> &'static str {
    if on { "true" } else { "false" }
}

fn product(d: &mut Draft, s: &Survey, map: &Map) {
    d.table("product");
    let length = s.length_mm.map(|l| format!("\"{:.1} mm\"", l.mean));
    d.some(
        "diameter",
        length,
        "travel for which a bottle blocks the release eye; longer by the beam: check it with callipers",
    );
    d.blank(&["diameter_tolerance", "height", "mass", "friction_min", "friction_max", "cap_diameter"]);
    if let Some(spin) = seconds(s, "spin", "spin off") {
        let _ = writeln!(
            d.text,
            "# The rollers spin for {:.3} s each time ({:.3} … {:.3} s).",
            spin.mean, spin.min, spin.max
        );
    }
    d.blank(&["turns", "tighten", "roller_speed", "cap_policy"]);
    let speed = s.belt_mm_s.map(|v| format!("\"{:.2} mm/s\"", v.mean));
    d.some("belt_speed", speed, "on average, while it ran");
    let filter = filter_ms(s);
    let mut dwell = |key, from, to, filtered: bool| {
        let less = if filtered { filter } else { Some(0.0) };
        let ms = seconds(s, from, to).zip(less).map(|(t, less)| format!("\"{:.3} ms\"", (t.min * 1e3 - less).max(0.0)));
        d.some(key, ms, "shortest time from what it follows to the order, less the filter");
    };
    dwell("seat_dwell", "plunger on work", "rollers in", true);
    dwell("engage_dwell", "rollers on work", "spin", true);
    dwell("disengage_dwell", "spin off", "rollers back", false);
    if let Some(settle) =
        delay(s, "pocket eye blocked", "entry gate shut").and_then(|x| x.travel_mm).filter(|_| map.belt.is_some())
    {
        d.put(
            "settle",
            &format!("\"{:.1} mm\"", settle.mean),
            "belt travel from the pocket eye to the entry gate's order",
        );
    }
}

fn delay<'s>(s: &'s Survey, from: &str, to: &str) -> Option<&'s Delay> {
    s.delays.iter().find(|d| d.from == from && d.to == to)
}

fn seconds(s: &Survey, from: &str, to: &str) -> Option<Stat> {
    delay(s, from, to).map(|d| d.seconds)
}

/// The shortest time from a contact to the order that it lets through: what a controller takes to believe a contact, ms. The shortest, because
/// a contact that bounces is believed later.
fn filter_ms(s: &Survey) -> Option<f64> {
    let on = [
        ("grip on work", "plunger down"),
        ("plunger on work", "rollers in"),
        ("rollers on work", "spin"),
        ("rollers home", "plunger up"),
        ("plunger home", "grip open"),
    ];
    on.iter().filter_map(|(from, to)| seconds(s, from, to)).map(|t| t.min * 1e3).min_by(f64::total_cmp)
}

/// Belt travel from the release eye until the jaw meets the bottle, mm.
fn catch_travel_mm(s: &Survey) -> Option<f64> {
    let order = delay(s, "release eye blocked", "grip close")?.travel_mm?;
    let grip = s.strokes.iter().find(|x| x.actuator == Actuator::Grip.name() && x.to_work)?.took_ms?;
    Some(order.mean + s.belt_mm_s?.mean * grip.mean * 1e-3)
}
