//! The rules, each judged on its own.

pub mod book;
pub mod course;
pub mod lasting;
pub mod orders;

use crate::setup::Kind;

/// The rules by number, in few words.
pub const NAMES: [&str; 17] = [
    "",
    "R1 chain open: safe vector at once; back only by Clear, Reset, Start",
    "R2 plunger only on a gripped bottle, rollers only under the plunger",
    "R3 spin only with rollers in",
    "R4 grip and plunger stay while rollers are in; no chatter",
    "R5 gates never open together",
    "R6 release only with the head ready",
    "R7 no gate shut onto a bottle",
    "R8 catch once, in its window, never late",
    "R9 no step before the last is confirmed",
    "R10 jam, full outfeed and silent belt are noticed",
    "R11 no motion without the operator; warned first",
    "R12 every bottle is accounted for",
    "R13 a batch delivers exactly its number",
    "R14 only transitions of the state table; refusals told",
    "R15 wake ahead; ticks and states have a bound; quiet comes to rest",
    "R16 no panic",
];

/// Whether a rule is judged in this kind of world.
///
/// # Errors
/// Why it is not.
pub const fn applies(kind: Kind, rule: u8) -> Result<(), &'static str> {
    match (kind, rule) {
        (Kind::Manual, 6..=10) => Err("Manual jogs one actuator by itself"),
        (Kind::Maintenance, 6 | 7 | 8 | 10) => Err("no bottle rides in Maintenance"),
        (Kind::Manual | Kind::Maintenance, 13) => Err("nothing is released"),
        (Kind::Line | Kind::Early | Kind::Torque, 13) => Err("no batch is asked for in the usual course"),
        _ => Ok(()),
    }
}
