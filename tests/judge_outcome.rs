//! The judge's outcomes: each story of facts has the one outcome that its physics gives.

use host_sim::facts::{Fact, What};
use host_sim::job::spec::TightenSpec;
use host_sim::judge::outcome::Outcomes;
use host_sim::verdict::Outcome;

use crate::judge_job::job;

fn story(facts: &[What]) -> Outcome {
    let mut outcomes = Outcomes::new(&job().product);
    for &what in facts {
        outcomes.see(&Fact { t_us: 0, bottle: 1, what });
    }
    assert_eq!(outcomes.tally().iter().sum::<u32>(), 1);
    outcomes.of(1)
}

#[test]
fn each_outcome_is_what_happened() {
    use What as W;
    let met = W::JawMet { off_mm: -1.0, captured: true };
    let spun = |turns| W::Spun { turns, torque: false, crossed: false };
    let tight = [W::Entered, W::PassedRelease, met, W::Gripped, W::Seated, spun(1.5), W::LetGo, W::PassedOn];
    assert_eq!(story(&tight), Outcome::Tight);
    // With one more thing each, in the order of precedence.
    let plus = |what: &[What]| story(&[&tight, what].concat());
    assert_eq!(plus(&[W::Tipped, W::StruckByGate(1)]), Outcome::Tipped);
    assert_eq!(plus(&[W::StruckByGate(1)]), Outcome::StruckByGate);
    assert_eq!(plus(&[W::StruckByBottle { speed_mm_s: 9.0, at_head: true }, W::TurnedInGrip]), Outcome::StruckByBottle);
    assert_eq!(plus(&[W::JawMet { off_mm: 30.0, captured: false }]), Outcome::OffCentre);
    assert_eq!(plus(&[W::TurnedInGrip, W::NoClosure]), Outcome::SpunInGrip);
    assert_eq!(plus(&[W::NoClosure]), Outcome::Uncapped);
    assert_eq!(plus(&[W::Spun { turns: 2.0, torque: true, crossed: true }]), Outcome::Crossed);
    assert_eq!(plus(&[W::Taken]), Outcome::Taken);
    // With something less.
    assert_eq!(story(&tight[..7]), Outcome::Unfinished);
    let loose = [met, W::Gripped, W::Seated, spun(1.48), W::LetGo, W::PassedOn];
    assert_eq!(story(&loose), Outcome::Loose);
    assert_eq!(story(&[met, W::Gripped, W::LetGo, W::Diverted]), Outcome::Loose);
    assert_eq!(story(&[W::Entered, W::PassedRelease, W::PassedHead]), Outcome::Missed);
    assert_eq!(story(&[W::Entered, W::Diverted]), Outcome::Missed);
    assert_eq!(story(&[met, W::Gripped, W::Taken]), Outcome::Taken);
    assert_eq!(story(&[W::Entered]), Outcome::Unfinished);
    // The clutch slipped before the turns were done: tight all the same.
    let slipped = W::Spun { turns: 1.2, torque: true, crossed: false };
    assert_eq!(story(&[met, W::Gripped, W::Seated, slipped, W::LetGo, W::PassedOn]), Outcome::Tight);
}

#[test]
fn turns_are_no_evidence_of_torque_and_seating_needs_no_turns() {
    use What as W;
    let mut product = job().product;
    let facts = |turns, torque| {
        let spun = W::Spun { turns, torque, crossed: false };
        [W::Gripped, W::Seated, spun, W::LetGo, W::PassedOn]
    };
    let of = |product: &_, facts: &[What]| {
        let mut outcomes = Outcomes::new(product);
        for &what in facts {
            outcomes.see(&Fact { t_us: 0, bottle: 7, what });
        }
        outcomes.of(7)
    };
    product.tighten = TightenSpec::Torque;
    assert_eq!(of(&product, &facts(3.0, false)), Outcome::Loose);
    assert_eq!(of(&product, &facts(1.2, true)), Outcome::Tight);
    product.tighten = TightenSpec::SeatOnly;
    assert_eq!(of(&product, &[W::Gripped, W::Seated, W::LetGo, W::PassedOn]), Outcome::Tight);
    assert_eq!(of(&product, &[W::Gripped, W::LetGo, W::PassedOn]), Outcome::Loose);
}

#[test]
fn centring_is_about_the_aim_over_captured_bottles() {
    // The job aims 1 mm early.
    let mut outcomes = Outcomes::new(&job().product);
    for (bottle, off_mm, captured) in
        [(1, -1.0, true), (2, 2.0, true), (3, -4.0, true), (4, 30.0, false), (1, 9.0, true)]
    {
        outcomes.see(&Fact { t_us: 0, bottle, what: What::JawMet { off_mm, captured } });
    }
    let c = outcomes.centring();
    // Errors 0, +3, −3.
    assert_eq!((c.n, c.mean_mm, c.max_mm), (3, 0.0, 3.0));
    assert!((c.rms_mm - 6.0_f64.sqrt()).abs() < 1e-12);
    assert_eq!((outcomes.off_centre_mm(3), outcomes.off_centre_mm(4)), (Some(-4.0), None));
}
