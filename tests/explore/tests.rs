//! Exploration with up to one deed, proof that the harness can fail, and what makes two states one.

use explore::deed::{Beat, Deed, usual};
use explore::key;
use explore::model::{Plan, explore};
use explore::plant::Plant;
use explore::sabotage::Sabotage;
use explore::setup::Kind;
use explore::show;
use explore::world::World;
use std::collections::HashMap;
use timing_core::{Command, Contact, Request, UnitState};

fn holds(kind: Kind, budget: u8) -> usize {
    let r = explore(Plan::new(kind, budget));
    let broken: Vec<String> = r.found.iter().map(show::timeline).collect();
    assert!(broken.is_empty(), "{} with {budget}:\n{}", kind.name(), broken.join("\n"));
    let (asked, ..) = r.recovery.expect("recovery was asked for");
    assert_eq!(asked, r.states, "every state is asked whether it recovers");
    r.states
}

#[test]
fn everything_holds_without_a_fault() {
    for kind in Kind::ALL {
        let states = holds(kind, 0);
        assert!((40..1_000).contains(&states), "{}: {states} states", kind.name());
    }
}

#[test]
fn everything_holds_wherever_one_thing_goes_wrong() {
    for kind in Kind::ALL {
        let states = holds(kind, 1);
        assert!((5_000..500_000).contains(&states), "{}: {states} states", kind.name());
    }
}

#[test]
fn each_station_broken_on_purpose_is_caught_by_its_own_property() {
    std::panic::set_hook(Box::new(|_| {}));
    for (how, property) in Sabotage::ALL {
        let r = explore(Plan::broken(how));
        let by: Vec<&str> = r.found.iter().map(explore::model::Found::short).collect();
        assert!(by.contains(&property), "{how:?} is to break {property}; caught by {by:?}");
    }
    let _ = std::panic::take_hook();
}

#[test]
fn a_counter_example_reads_as_a_timeline() {
    let r = explore(Plan::broken(Sabotage::PlungerWithGrip));
    let text = show::timeline(r.found.first().expect("it is caught"));
    for part in
        ["power-up", "Starting", "Execute", "Catch", "grip+plunger", "R2 BROKEN: plunger ordered down", "bottles -1"]
    {
        assert!(text.contains(part), "no {part} in\n{text}");
    }
}

fn next(w: &World, press: Option<Request>) -> World {
    w.after(&Beat { press, ..Beat::default() })
}

/// The usual course, without a fault.
fn course(beats: usize) -> Vec<World> {
    let mut all = vec![World::new(Kind::Line, None, false)];
    for _ in 0..beats {
        let w = &all[all.len() - 1];
        all.push(next(w, usual(w.kind, w.said.unit, w.said.mode)));
    }
    all
}

#[test]
fn states_repeat_and_only_where_everything_that_is_said_repeats() {
    let all = course(200);
    let mut seen: HashMap<u64, &World> = HashMap::new();
    let mut again = 0;
    for w in &all {
        if let Some(same) = seen.insert(w.key, w) {
            again += 1;
            let parts =
                |w: &World| (w.said.orders, w.said.unit, w.said.head, w.said.feed, w.plant.clone(), w.said.inside);
            assert_eq!(parts(same), parts(w));
            // All that is not in the key is counts and serial numbers.
            assert!(same.said.tally.registered < w.said.tally.registered || same.station.same_control(&w.station));
        }
    }
    assert!(again > 100, "{again} of {} states repeat", all.len());
    assert!(seen.len() > 40, "{} different states", seen.len());
}

#[test]
fn resting_states_are_the_same_to_the_core_too() {
    let stopped = next(&World::new(Kind::Line, None, false), None);
    let later = next(&next(&stopped, None), None);
    assert_eq!(stopped.key, later.key);
    assert!(stopped.station.same_control(&later.station));
    let idle = next(&stopped, Some(Request::Command(Command::Reset)));
    assert_eq!(idle.said.unit, UnitState::Idle);
    assert_ne!(idle.key, stopped.key);
    assert!(!idle.station.same_control(&stopped.station));
}

#[test]
fn the_key_is_made_of_the_whole_control_state() {
    let w = &course(60)[60];
    let fed = key::feed(&w.station, &mut key::hasher());
    assert!(fed > 150, "only {fed} values of the control state were hashed");
}

#[test]
fn a_flip_of_any_contact_is_another_state() {
    let w = &course(33)[33];
    for c in Kind::Line.fitted().iter() {
        let mut beat = Beat::default();
        beat.deeds.push(Deed::Flip(c)).expect("room for one");
        let flipped = w.after(&beat);
        assert_ne!(flipped.course, next(w, None).course, "{}", c.name());
    }
}

#[test]
fn the_plant_says_what_it_is_asked() {
    let p = Plant::new(Kind::Line, false);
    assert!(p.contacts.has(Contact::Chain) && p.contacts.has(Contact::GripHome) && !p.contacts.has(Contact::PocketEye));
    assert!(!p.can_cure(Kind::Line));
    // Caught on the fly: the grip ordered at −1 is at work when the bottle is at 0.
    let all = course(40);
    let ordered = all.windows(2).find(|w| {
        !w[0].said.orders.work(timing_core::Actuator::Grip) && w[1].said.orders.work(timing_core::Actuator::Grip)
    });
    assert_eq!(ordered.map(|w| w[1].plant.bottles[0].x), Some(-1));
}
