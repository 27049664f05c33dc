//! The map of a capture: which channel is which wire.

use crate::capture::Channel;
use crate::job::nearest;
use crate::quantity::{Kind, parse};
use crate::show::lanes::Signal;
use serde::Deserialize;
use std::collections::BTreeMap;
use timing_core::Contact;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    contacts: BTreeMap<String, String>,
    #[serde(default)]
    orders: BTreeMap<String, String>,
    #[serde(default)]
    inverted: Vec<String>,
    bounce: Option<String>,
    belt: Option<BeltFile>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BeltFile {
    a: Option<String>,
    b: Option<String>,
    count: Option<String>,
    encoder_counts_per_rev: f64,
    encoder_wheel: String,
}

/// What a channel tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wire {
    /// Contact with this number, and whether its level is turned round.
    Contact(u8, bool),
    /// Order with this bit, and whether its level is turned round.
    Order(u8, bool),
    /// Encoder channel A or B.
    Encoder(bool),
    /// Encoder counts.
    Count,
}

/// Where the belt comes from, as it was given.
#[derive(Clone, Debug, PartialEq)]
pub struct Belt {
    /// Counts of one turn of the wheel.
    pub counts_per_rev: f64,
    /// Belt travel of one turn, mm.
    pub wheel_mm: f64,
}

/// The map of one capture.
#[derive(Clone, Debug, PartialEq)]
pub struct Map {
    /// What each channel tells, by its number; empty for one that is not mapped.
    pub wires: Vec<Vec<Wire>>,
    /// Contacts that are mapped, bit *n* = contact *n*.
    pub contacts: u32,
    /// Orders that are mapped, bit *n* = order *n*.
    pub orders: u16,
    /// How long after a contact turned its further changes are bounce, ns.
    pub bounce_ns: u64,
    /// The belt, if it is.
    pub belt: Option<Belt>,
}

/// How long contacts bounce unless the map says otherwise, ms.
const BOUNCE_MS: f64 = 5.0;

/// The names that `[contacts]` and `[orders]` take.
#[must_use]
pub fn names(contacts: bool) -> Vec<String> {
    let wanted = |s: &Signal| matches!(s, Signal::Contact(_)) == contacts;
    Signal::all().filter(wanted).map(Signal::identifier).collect()
}

impl Map {
    /// Reads a map for a capture with these channels.
    ///
    /// # Errors
    /// What is wrong, where, and how to mend it.
    pub fn read(text: &str, channels: &[Channel]) -> Result<Self, String> {
        let file: File = toml::from_str(text).map_err(|e| e.to_string().trim_end().to_owned())?;
        let mut map =
            Self { wires: vec![Vec::new(); channels.len()], contacts: 0, orders: 0, bounce_ns: 0, belt: None };
        let bounce_ms = match &file.bounce {
            None => BOUNCE_MS,
            Some(text) => {
                parse(Kind::TimeMs, text).map_err(|e| format!("bounce: {}: {}", e.what(), e.mend(Kind::TimeMs)))?
            }
        };
        if !(0.0..=200.0).contains(&bounce_ms) {
            return Err(format!("bounce: {bounce_ms} ms is outside 0 ms … 200 ms"));
        }
        map.bounce_ns = (bounce_ms * 1e6) as u64;
        for (table, entries) in [("contacts", &file.contacts), ("orders", &file.orders)] {
            let is_contact = table == "contacts";
            let names = names(is_contact);
            for (name, channel) in entries {
                let number = names.iter().position(|n| n == name).ok_or_else(|| {
                    let known: Vec<&str> = names.iter().map(String::as_str).collect();
                    let near = nearest(name, &known).map_or_else(|| known.join(", "), |n| format!("did you mean {n}?"));
                    format!("{table}.{name}: no such name; {near}")
                })?;
                let number = u8::try_from(number).unwrap_or(u8::MAX);
                let turned = file.inverted.contains(channel);
                let wire = if is_contact { Wire::Contact(number, turned) } else { Wire::Order(number, turned) };
                map.put(channels, &format!("{table}.{name}"), channel, wire)?;
                if is_contact {
                    map.contacts |= 1 << number;
                } else {
                    map.orders |= 1 << number;
                }
            }
        }
        if let Some(belt) = file.belt {
            map.belt(channels, &belt)?;
        }
        for name in &file.inverted {
            if !file.contacts.values().chain(file.orders.values()).any(|c| c == name) {
                return Err(format!("inverted: \"{name}\" is the channel of no contact and no order"));
            }
        }
        if map.contacts == 0 && map.orders == 0 {
            return Err(format!("maps no contact and no order; the capture has the channels {}", list(channels)));
        }
        Ok(map)
    }

    fn belt(&mut self, channels: &[Channel], belt: &BeltFile) -> Result<(), String> {
        match (&belt.a, &belt.b, &belt.count) {
            (Some(a), Some(b), None) => {
                self.put(channels, "belt.a", a, Wire::Encoder(false))?;
                self.put(channels, "belt.b", b, Wire::Encoder(true))?;
            }
            (None, None, Some(count)) => self.put(channels, "belt.count", count, Wire::Count)?,
            _ => return Err("belt: give a and b, the encoder's two channels, or count, a channel of counts".to_owned()),
        }
        let wheel_mm = parse(Kind::Length, &belt.encoder_wheel)
            .map_err(|e| format!("belt.encoder_wheel: {}: {}", e.what(), e.mend(Kind::Length)))?;
        if !(1.0..=1e6).contains(&belt.encoder_counts_per_rev) || !(1.0..=100_000.0).contains(&wheel_mm) {
            return Err("belt: encoder_counts_per_rev must be 1 … 1 000 000 and encoder_wheel 1 mm … 100 m".to_owned());
        }
        self.belt = Some(Belt { counts_per_rev: belt.encoder_counts_per_rev, wheel_mm });
        Ok(())
    }

    fn put(&mut self, channels: &[Channel], key: &str, name: &str, wire: Wire) -> Result<(), String> {
        let found = channels.iter().position(|c| c.name == name).ok_or_else(|| {
            let names: Vec<&str> = channels.iter().map(|c| c.name.as_str()).collect();
            let near = nearest(name, &names).map_or_else(|| list(channels), |n| format!("did you mean \"{n}\"?"));
            format!("{key}: the capture has no channel \"{name}\"; {near}")
        })?;
        self.wires[found].push(wire);
        Ok(())
    }

    /// Whether a contact is mapped.
    #[must_use]
    pub const fn has(&self, c: Contact) -> bool {
        self.contacts >> c as u8 & 1 == 1
    }
}

fn list(channels: &[Channel]) -> String {
    let names: Vec<String> = channels.iter().take(40).map(|c| format!("\"{}\"", c.name)).collect();
    names.join(", ")
}
