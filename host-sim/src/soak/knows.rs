//! What a controller can know in a run, and a judge who asks no more than that.

use crate::job::Job;
use crate::judge::rules::Rules;
use crate::soak::draws::Beat;
use crate::soak::trouble::{Kind, Room};

/// What a controller can know in this run.
#[derive(Clone, Copy, Debug)]
pub(super) struct Knows {
    /// No trouble is on that leaves bottles where nobody can know it.
    pub(super) places: bool,
    /// No trouble is on that makes eyes or encoder lie.
    pub(super) eyes: bool,
}

/// A judge of this job who asks no more than that.
pub(super) fn rules(job: &Job, knows: Knows, beat: Beat) -> Rules {
    let mut rules = Rules::new(job);
    if beat != Beat::Wake {
        rules.add_ticks();
    }
    if !knows.places {
        rules.trust_no_place();
    }
    if !knows.eyes {
        rules.doubt_eyes();
    }
    rules
}

/// Whether trouble of this kind leaves bottles where no controller can know it.
pub(super) fn hides_places(kind: Kind) -> bool {
    match kind.room() {
        Room::Encoder | Room::Eyes | Room::Bottles | Room::Contacts | Room::Actuators | Room::Power => true,
        Room::Time | Room::People | Room::Safety | Room::Line => false,
    }
}

/// Whether trouble of this kind makes eyes or encoder lie, or lets their edges be missed.
pub(super) fn blinds(kind: Kind) -> bool {
    matches!(kind.room(), Room::Encoder | Room::Eyes | Room::Time) || kind == Kind::InputFailed
}
