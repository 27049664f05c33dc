//! The exploration as stateright sees it.

use crate::deed::{Beat, Deed, beats, catalogue, concerns};
use crate::plant::Plant;
use crate::recovery::Recovery;
use crate::rules;
use crate::sabotage::Sabotage;
use crate::setup::Kind;
use crate::world::World;
use stateright::{Checker, HasDiscoveries, Model, Property};
use std::time::Instant;

/// A world with a budget of deeds.
pub struct Explore {
    kind: Kind,
    budget: u8,
    sabotage: Option<Sabotage>,
    catalogue: Vec<Deed>,
    recovery: Option<Recovery>,
    gentle: bool,
}

/// How to explore.
#[derive(Clone, Copy, Debug)]
pub struct Plan {
    /// What.
    pub kind: Kind,
    /// Deeds that may go wrong.
    pub budget: u8,
    /// Broken on purpose.
    pub sabotage: Option<Sabotage>,
    /// Ask every state whether it recovers and comes to rest.
    pub recovery: bool,
    /// Threads; one gives the shortest counter-example.
    pub threads: usize,
    /// Depth first: less memory, and longer counter-examples.
    pub deep: bool,
    /// Every deed of the catalogue, not only those that concern what is special to this kind.
    pub whole: bool,
    /// Look for a state from which only Abort leads back to work.
    pub gentle: bool,
    /// Stop at so many generated states, unfinished.
    pub limit: Option<usize>,
}

impl Plan {
    /// Everything of `kind` with `budget` deeds, on one thread.
    #[must_use]
    pub const fn new(kind: Kind, budget: u8) -> Self {
        Self {
            kind,
            budget,
            sabotage: None,
            recovery: true,
            threads: 1,
            deep: false,
            whole: budget < 2,
            gentle: false,
            limit: None,
        }
    }
}

impl Plan {
    /// A station broken on purpose, with one deed, until something is found.
    #[must_use]
    pub const fn broken(how: Sabotage) -> Self {
        Self { sabotage: Some(how), recovery: how.is_about_recovery(), ..Self::new(how.kind(), 1) }
    }
}

/// A broken property, with the way to it.
pub struct Found {
    /// The property.
    pub name: &'static str,
    /// Beats from power-up.
    pub beats: Vec<Beat>,
    /// The state at power-up.
    pub from: World,
}

impl Found {
    /// The property's name, of a rule its number alone.
    #[must_use]
    pub fn short(&self) -> &'static str {
        let rule = self.name.starts_with('R');
        self.name.split(' ').next().filter(|_| rule).unwrap_or(self.name)
    }
}

/// What was explored.
pub struct Report {
    /// How.
    pub plan: Plan,
    /// Different states.
    pub states: usize,
    /// Beats gone through.
    pub generated: usize,
    /// Beats from power-up to the state that is furthest (depth first: the longest way gone).
    pub depth: usize,
    /// Wall time, seconds.
    pub seconds: f64,
    /// What is broken.
    pub found: Vec<Found>,
    /// States asked for recovery, how many of them needed Abort, and the most beats: to a good bottle, the same after Abort, to rest.
    pub recovery: Option<(usize, usize, [u64; 3])>,
}

impl Model for Explore {
    type State = World;
    type Action = Beat;

    fn init_states(&self) -> Vec<World> {
        let mut all = vec![World::new(self.kind, self.sabotage, false)];
        if !self.kind.is_production() {
            all.push(World::new(self.kind, self.sabotage, true));
        }
        all
    }

    fn actions(&self, w: &World, actions: &mut Vec<Beat>) {
        let plant: &Plant = &w.plant;
        let left = self.budget.saturating_sub(w.spent);
        beats(self.kind, &self.catalogue, plant, &w.said, left, actions);
    }

    fn next_state(&self, w: &World, beat: Beat) -> Option<World> {
        Some(w.after(&beat))
    }

    fn properties(&self) -> Vec<Property<Self>> {
        let mut all = vec![
            rule::<1>(),
            rule::<2>(),
            rule::<3>(),
            rule::<4>(),
            rule::<5>(),
            rule::<6>(),
            rule::<7>(),
            rule::<8>(),
            rule::<9>(),
            rule::<10>(),
            rule::<11>(),
            rule::<12>(),
            rule::<13>(),
            rule::<14>(),
            rule::<15>(),
            rule::<16>(),
        ];
        if self.recovery.is_some() {
            all.push(Property::always("recovers", |m: &Self, w: &World| {
                m.recovery.as_ref().is_none_or(|r| r.recovers(w))
            }));
            all.push(Property::always("comes to rest", |m: &Self, w: &World| {
                m.recovery.as_ref().is_none_or(|r| r.rests(w))
            }));
        }
        if self.gentle {
            all.push(Property::always("recovers without Abort", |m: &Self, w: &World| {
                m.recovery.as_ref().is_none_or(|r| r.recovers_gently(w))
            }));
        }
        all
    }
}

fn rule<const R: u8>() -> Property<Explore> {
    Property::always(rules::NAMES[usize::from(R)], |_, w: &World| w.broken & (1 << R) == 0)
}

/// Explores everything, or until the first breach where the station is broken on purpose.
#[must_use]
pub fn explore(plan: Plan) -> Report {
    let began = Instant::now();
    let model = Explore {
        kind: plan.kind,
        budget: plan.budget,
        sabotage: plan.sabotage,
        catalogue: catalogue(plan.kind).into_iter().filter(|d| plan.whole || concerns(plan.kind, *d)).collect(),
        recovery: plan.recovery.then(Recovery::default),
        gentle: plan.gentle,
    };
    let mut builder = model.checker().threads(plan.threads);
    if plan.sabotage.is_some() {
        builder = builder.finish_when(HasDiscoveries::Any);
    }
    if let Some(n) = plan.limit {
        builder = builder.target_state_count(n);
    }
    if plan.deep {
        report(plan, builder.spawn_dfs().join(), began)
    } else {
        report(plan, builder.spawn_bfs().join(), began)
    }
}

fn report(plan: Plan, checker: impl Checker<Explore>, began: Instant) -> Report {
    let seconds = began.elapsed().as_secs_f64();
    let mut found: Vec<Found> = checker
        .discoveries()
        .into_iter()
        .map(|(name, path)| {
            let steps = path.into_vec();
            let from = steps[0].0.clone();
            Found { name, beats: steps.into_iter().filter_map(|(_, beat)| beat).collect(), from }
        })
        .collect();
    found.sort_by_key(|f| f.name);
    let recovery = checker.model().recovery.as_ref().map(|r| {
        use std::sync::atomic::Ordering::Relaxed;
        let most = [r.most[0].load(Relaxed), r.most[1].load(Relaxed), r.most[2].load(Relaxed)];
        (r.asked.load(Relaxed), r.by_abort.load(Relaxed), most)
    });
    Report {
        plan,
        states: checker.unique_state_count(),
        generated: checker.state_count(),
        depth: checker.max_depth(),
        seconds,
        found,
        recovery,
    }
}
