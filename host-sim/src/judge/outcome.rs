//! One outcome for each bottle, from physics alone.
//!
//! | outcome | what it takes, first that fits |
//! |---|---|
//! | tipped | it fell over |
//! | struck by gate / by bottle | a blade, or another bottle, met it; whichever came first |
//! | off centre | the jaw met it and did not capture it |
//! | spun in grip | it turned in the grip under the rollers |
//! | uncapped | the plunger found no closure |
//! | crossed | the rollers spun a crossed thread |
//! | loose | the grip let it go (or it left the model) after it was caught, not closed as wanted |
//! | missed | it passed the head without being caught, or left without having been at the head |
//! | taken | a hand took it out; also one that was closed already |
//! | unfinished | still on the line |
//! | tight | gripped, seated, spun as wanted, and off the line |
//!
//! *As wanted*: by turns — as many turns as the product asks for, less [`TURNS_SLACK`], or the clutch slipped on a thread that
//! is not crossed; by torque — the clutch slipped (turns are no evidence of torque); seat only — seated.
//!
//! What it cannot see: a bottle without a closure that the plunger never came down on counts as missed, because no fact
//! of it was told.

use std::collections::BTreeMap;

use crate::facts::{Fact, What};
use crate::job::spec::{ProductSpec, TightenSpec};
use crate::verdict::{Centring, Outcome};

/// How many turns may be missing: spin is timed in whole microseconds and ordered in whole revolutions per minute.
pub const TURNS_SLACK: f64 = 0.01;

/// What happened to one bottle so far.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Story {
    tipped: bool,
    struck: Option<Outcome>,
    escaped_jaw: bool,
    turned: bool,
    no_closure: bool,
    crossed: bool,
    gripped: bool,
    seated: bool,
    let_go: bool,
    passed_head: bool,
    turns: f64,
    torque: bool,
    taken: bool,
    left: bool,
    off_mm: Option<f64>,
}

/// The outcomes of all bottles.
#[derive(Clone, Debug)]
pub struct Outcomes {
    tighten: TightenSpec,
    turns: f64,
    aim_early_mm: f64,
    stories: BTreeMap<u32, Story>,
    centring: Sums,
}

#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    n: u32,
    sum: f64,
    squares: f64,
    max: f64,
}

impl Outcomes {
    /// Nothing has happened yet.
    #[must_use]
    pub fn new(product: &ProductSpec) -> Self {
        Self {
            tighten: product.tighten,
            turns: product.turns,
            aim_early_mm: product.aim_early_mm,
            stories: BTreeMap::new(),
            centring: Sums::default(),
        }
    }

    /// Takes one thing that happened. Facts without a bottle (number 0) are not about an outcome.
    pub fn see(&mut self, fact: &Fact) {
        if fact.bottle == 0 {
            return;
        }
        let story = self.stories.entry(fact.bottle).or_default();
        match fact.what {
            What::Entered | What::PassedRelease => {}
            What::PassedHead => story.passed_head = true,
            What::JawMet { off_mm, captured } => {
                if !captured {
                    story.escaped_jaw = true;
                } else if story.off_mm.is_none() {
                    // A bottle that the jaw meets once more after an Unhold stands where it was put the first time.
                    story.off_mm = Some(off_mm);
                    self.centring.add(off_mm + self.aim_early_mm);
                }
            }
            What::Gripped => {
                story.gripped = true;
                story.let_go = false;
            }
            What::Seated => story.seated = true,
            What::NoClosure => story.no_closure = true,
            What::Spun { turns, torque, crossed } => {
                story.turns = story.turns.max(turns);
                story.torque |= torque && !crossed;
                story.crossed |= crossed;
            }
            What::TurnedInGrip => story.turned = true,
            What::LetGo => story.let_go = true,
            What::StruckByGate(_) => {
                story.struck.get_or_insert(Outcome::StruckByGate);
            }
            What::StruckByBottle { .. } => {
                story.struck.get_or_insert(Outcome::StruckByBottle);
            }
            What::Tipped => story.tipped = true,
            What::PassedOn | What::Diverted => story.left = true,
            What::Taken => story.taken = true,
            // Trouble of the tooling; what it does to the bottle is told by facts of its own.
            What::JawEmpty | What::PlungerLoose | What::RollersLoose => {}
        }
    }

    /// The outcome of bottle `number` as far as it is known; [`Outcome::Unfinished`] for one that was never seen.
    #[must_use]
    pub fn of(&self, number: u32) -> Outcome {
        self.stories.get(&number).map_or(Outcome::Unfinished, |s| self.judge(s))
    }

    /// How far off the head centre bottle `number` was when the jaw captured it, mm, positive = downstream.
    #[must_use]
    pub fn off_centre_mm(&self, number: u32) -> Option<f64> {
        self.stories.get(&number).and_then(|s| s.off_mm)
    }

    /// Every bottle that was seen, by number, with its outcome.
    pub fn iter(&self) -> impl Iterator<Item = (u32, Outcome)> + '_ {
        self.stories.iter().map(|(&n, s)| (n, self.judge(s)))
    }

    /// Number of bottles of each outcome, in the order of [`Outcome::ALL`].
    #[must_use]
    pub fn tally(&self) -> [u32; 12] {
        let mut tally = [0; 12];
        for (_, outcome) in self.iter() {
            for (slot, which) in tally.iter_mut().zip(Outcome::ALL) {
                *slot += u32::from(which == outcome);
            }
        }
        tally
    }

    /// Centring over all captured bottles: offset at the first contact of the jaw, less the aim.
    #[must_use]
    pub fn centring(&self) -> Centring {
        self.centring.done()
    }

    fn judge(&self, s: &Story) -> Outcome {
        let closed = s.gripped && s.seated && self.spun_enough(s);
        if s.tipped {
            Outcome::Tipped
        } else if let Some(struck) = s.struck {
            struck
        } else if s.escaped_jaw {
            Outcome::OffCentre
        } else if s.turned {
            Outcome::SpunInGrip
        } else if s.no_closure {
            Outcome::Uncapped
        } else if s.crossed {
            Outcome::Crossed
        } else if s.gripped && !closed && (s.let_go || s.left) {
            Outcome::Loose
        } else if !s.gripped && (s.passed_head || s.left) {
            Outcome::Missed
        } else if s.taken {
            Outcome::Taken
        } else if s.left {
            Outcome::Tight
        } else {
            Outcome::Unfinished
        }
    }

    fn spun_enough(&self, s: &Story) -> bool {
        match self.tighten {
            TightenSpec::SeatOnly => true,
            TightenSpec::Turns => s.torque || s.turns >= self.turns - TURNS_SLACK,
            TightenSpec::Torque => s.torque,
        }
    }
}

impl Sums {
    fn add(&mut self, error_mm: f64) {
        self.n += 1;
        self.sum += error_mm;
        self.squares += error_mm * error_mm;
        self.max = self.max.max(error_mm.abs());
    }

    fn done(self) -> Centring {
        if self.n == 0 {
            return Centring::default();
        }
        let n = f64::from(self.n);
        Centring { n: self.n, mean_mm: self.sum / n, rms_mm: libm::sqrt(self.squares / n), max_mm: self.max }
    }
}
