//! What must hold for a plan to work, each with what it has to spare and what would mend it.

use serde::Serialize;
use std::borrow::Cow;

/// What would mend a check that fails: words, or how to make them. A plan tries dozens of belts and makes thousands of checks for it; words for
/// those that hold would cost more than all the rest.
pub trait Mend {
    /// The words.
    fn words(self) -> String;
}

impl Mend for &str {
    fn words(self) -> String {
        self.to_owned()
    }
}

impl<F: FnOnce() -> String> Mend for F {
    fn words(self) -> String {
        self()
    }
}

/// One condition of the plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Check {
    /// What is checked.
    pub name: Cow<'static, str>,
    /// Whether it holds.
    pub ok: bool,
    /// The value found.
    pub value: f64,
    /// The limit that it is held against.
    pub limit: f64,
    /// Unit of value, limit and spare; empty for plain numbers.
    pub unit: &'static str,
    /// How far the value is from the limit; negative by how much it fails.
    pub spare: f64,
    /// What would mend it; empty while it holds.
    #[serde(skip)]
    pub mend: String,
    /// Whether the belt's speed decides it.
    #[serde(skip)]
    pub by_speed: bool,
}

impl Check {
    /// `value` must be at most `limit`.
    #[must_use]
    pub fn at_most(
        name: impl Into<Cow<'static, str>>,
        value: f64,
        limit: f64,
        unit: &'static str,
        mend: impl Mend,
    ) -> Self {
        Self::build(name.into(), value, limit, unit, limit - value, mend)
    }

    /// `value` must be at least `limit`.
    #[must_use]
    pub fn at_least(
        name: impl Into<Cow<'static, str>>,
        value: f64,
        limit: f64,
        unit: &'static str,
        mend: impl Mend,
    ) -> Self {
        Self::build(name.into(), value, limit, unit, value - limit, mend)
    }

    fn build(name: Cow<'static, str>, value: f64, limit: f64, unit: &'static str, spare: f64, mend: impl Mend) -> Self {
        let ok = spare >= 0.0;
        let mend = if ok { String::new() } else { mend.words() };
        Self { name, ok, value, limit, unit, spare, mend, by_speed: false }
    }

    /// The same, decided by the belt's speed.
    #[must_use]
    pub fn of_speed(mut self) -> Self {
        self.by_speed = true;
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn not_a_number_never_passes() {
        assert!(!Check::at_most("x", f64::NAN, 1.0, "mm", "").ok);
        assert!(!Check::at_least("x", 1.0, f64::NAN, "mm", "").ok);
        let c = Check::at_most("x", 3.0, 1.0, "mm", "less");
        assert!(!c.ok && c.spare == -2.0);
    }
}
