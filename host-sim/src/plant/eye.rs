//! What the wires show: photo-eyes with their response, reeds, and the bounce of both.
//!
//! An eye switches when a body's edge crosses one place in its beam. Where in the beam depends on alignment and dirt: with
//! scatter on it is drawn once per eye, within half the beam either way; without, it is the beam's middle.

use super::draw::Draw;
use super::kin::NEVER;
use timing_core::{Contact, Contacts};

/// Contacts with their delays: levels now, and toggles that are on their way.
#[derive(Clone, Debug)]
pub(super) struct Wires {
    bits: Contacts,
    /// What the wires will show when all has settled.
    raw: Contacts,
    /// Toggles to come: time and contact. A handful at most.
    pending: Vec<(f64, Contact)>,
    next: f64,
    bounce: f64,
    draw: Draw,
}

impl Wires {
    /// All contacts off; contacts bounce for up to `bounce` µs.
    pub(super) fn new(bounce: f64, draw: Draw) -> Self {
        Self { bits: Contacts::NONE, raw: Contacts::NONE, pending: Vec::with_capacity(64), next: NEVER, bounce, draw }
    }

    /// Levels now.
    pub(super) const fn bits(&self) -> Contacts {
        self.bits
    }

    /// When the next level changes, µs.
    pub(super) const fn due(&self) -> f64 {
        self.next
    }

    /// Sets a contact at once, without bounce.
    pub(super) fn set(&mut self, c: Contact, on: bool) {
        self.bits = self.bits.with(c, on);
        self.raw = self.raw.with(c, on);
    }

    /// Nothing more is on its way on `c`.
    pub(super) fn settle(&mut self, c: Contact) {
        self.pending.retain(|p| p.1 != c);
        self.find_next();
    }

    /// What `c` stands for became `on` at `t`; the wire follows after `response` µs. A change back within the response is never
    /// seen.
    pub(super) fn follow(&mut self, t: f64, c: Contact, on: bool, response: f64) {
        if self.raw.has(c) == on {
            return;
        }
        self.raw = self.raw.with(c, on);
        if self.next < NEVER {
            self.pending.retain(|p| p.1 != c);
        }
        if response <= 0.0 && self.bounce <= 0.0 {
            self.bits = self.bits.with(c, on);
        } else if self.bits.has(c) != on {
            let first = t + response;
            self.pending.push((first, c));
            if self.bounce > 0.0 {
                let (a, b) = (self.draw.unit(), self.draw.unit());
                let (a, b) = if a < b { (a, b) } else { (b, a) };
                self.pending.push((first + a * self.bounce, c));
                self.pending.push((first + b * self.bounce, c));
            }
        }
        self.find_next();
    }

    /// The toggle at [`Self::due`] happens.
    pub(super) fn toggle(&mut self) {
        if let Some(i) = self.pending.iter().position(|p| p.0 <= self.next) {
            let (_, c) = self.pending.swap_remove(i);
            self.bits = self.bits.with(c, !self.bits.has(c));
        }
        self.find_next();
    }

    fn find_next(&mut self) {
        self.next = self.pending.iter().fold(NEVER, |m, p| if p.0 < m { p.0 } else { m });
    }
}

/// What a body's edge or centre does as it passes a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum What {
    /// It enters, or leaves, the beam of sensor n.
    Beam(u8, bool),
    /// Only if it carries a closure: the closure enters, or leaves, the closure's sensor.
    Cap(bool),
    /// There is room for the next bottle behind it.
    Room,
    /// It has left the pocket.
    PastRelease,
    /// It has passed the head.
    PastHead,
    /// It comes into the diverter's reach.
    RejectFrom,
    /// It leaves the diverter's reach, or the last place that is watched.
    PastReject,
    /// It leaves the model.
    Exit,
}

/// Places along the belt in the order in which a body meets them, by its leading edge, its trailing edge and its centre.
#[derive(Clone, Debug, Default)]
pub(super) struct Marks {
    /// By the leading edge.
    pub(super) lead: Vec<(f64, What)>,
    /// By the trailing edge.
    pub(super) trail: Vec<(f64, What)>,
    /// By the centre.
    pub(super) mid: Vec<(f64, What)>,
}

impl Marks {
    /// Sorts the places; equal ones keep their order.
    pub(super) fn sort(&mut self) {
        for list in [&mut self.lead, &mut self.trail, &mut self.mid] {
            list.sort_by(|a, b| a.0.total_cmp(&b.0));
        }
    }

    /// A beam at `x`; `wall` is the thickness of wall that glass shows of itself at either end, `None` if the body is opaque.
    pub(super) fn beam(&mut self, sensor: u8, x: f64, wall: Option<f64>) {
        // A hair of hysteresis keeps two touching bodies one shadow whatever the last bit says.
        const HAIR: f64 = 0.05;
        self.lead.push((x, What::Beam(sensor, true)));
        if let Some(w) = wall {
            self.lead.push((x + w + HAIR, What::Beam(sensor, false)));
            self.trail.push((x - w, What::Beam(sensor, true)));
        }
        self.trail.push((x + HAIR, What::Beam(sensor, false)));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn levels(w: &mut Wires, until: f64) -> Vec<(f64, bool)> {
        let mut seen = Vec::new();
        while w.due() <= until {
            let t = w.due();
            w.toggle();
            seen.push((t, w.bits().has(Contact::ReleaseEye)));
        }
        seen
    }

    #[test]
    fn a_flicker_shorter_than_the_response_is_not_seen() {
        let mut w = Wires::new(0.0, Draw::new(1, 3));
        w.follow(0.0, Contact::ReleaseEye, true, 2_000.0);
        w.follow(1_000.0, Contact::ReleaseEye, false, 2_000.0);
        assert!(levels(&mut w, 1e9).is_empty());
        w.follow(5_000.0, Contact::ReleaseEye, true, 2_000.0);
        assert_eq!(levels(&mut w, 1e9), [(7_000.0, true)]);
    }

    #[test]
    fn bounce_ends_on_the_right_level_within_its_time() {
        let mut w = Wires::new(3_000.0, Draw::new(7, 3));
        for k in 0..100 {
            let t = f64::from(k) * 10_000.0;
            let on = k % 2 == 0;
            w.follow(t, Contact::ReleaseEye, on, 500.0);
            let seen = levels(&mut w, t + 9_000.0);
            assert_eq!(seen.len(), 3);
            assert_eq!(seen[0], (t + 500.0, on));
            assert_eq!(seen[2].1, on);
            assert!(seen[2].0 <= t + 3_500.0);
        }
    }
}
