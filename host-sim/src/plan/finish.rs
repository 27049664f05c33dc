//! Neck finishes by name: what a closure makes of turns, and how far it descends.
//!
//! T, H, threads per inch and turns as in the tables of the International Society of Beverage Technologists, transcribed from the open
//! parts library BOSL2 (file `bottlecaps.scad`); for most necks a thread's turns follow its last number: 400 one, 410 one and a half, 415 two.
//! Measure a neck all the same: makers deviate.

/// One finish.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Finish {
    /// Its name.
    pub name: &'static str,
    /// Largest diameter over the thread (T), mm: a closure is wider.
    pub thread_mm: f64,
    /// Height of the neck (H), mm.
    pub height_mm: f64,
    /// Axial advance in one turn, mm.
    pub pitch_mm: f64,
    /// Turns of the thread.
    pub turns: f64,
}

impl Finish {
    /// How far a closure descends from the thread's start until it is tight: pitch × turns, mm.
    #[must_use]
    pub fn advance_mm(&self) -> f64 {
        self.pitch_mm * self.turns
    }
}

/// 25.4 mm in the inch.
const fn inch(name: &'static str, thread_mm: f64, height_mm: f64, per_inch: f64, turns: f64) -> Finish {
    Finish { name, thread_mm, height_mm, pitch_mm: 25.4 / per_inch, turns }
}

/// The finishes that a job may name.
pub const FINISHES: [Finish; 7] = [
    inch("24-410", 23.67, 16.41, 8.0, 1.5),
    inch("28-400", 27.38, 10.16, 6.0, 1.0),
    inch("28-410", 27.38, 17.98, 6.0, 1.5),
    inch("28-415", 27.38, 27.48, 6.0, 2.0),
    inch("38-400", 37.19, 10.24, 6.0, 1.0),
    Finish { name: "PCO-1810", thread_mm: 27.43, height_mm: 21.0, pitch_mm: 3.18, turns: 810.0 / 360.0 },
    Finish { name: "PCO-1881", thread_mm: 27.4, height_mm: 17.0, pitch_mm: 2.7, turns: 650.0 / 360.0 },
];

/// A finish by its name.
#[must_use]
pub fn named(name: &str) -> Option<&'static Finish> {
    FINISHES.iter().find(|f| f.name == name)
}
