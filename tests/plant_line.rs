//! The modelled line as a whole: what becomes of bottles, gates and grips.

use crate::plant_common::{Bench, close_bottles, job};
use host_sim::facts::What;

#[test]
fn ten_bottles_are_caught_closed_and_passed_on() {
    let mut b = Bench::new(&job());
    close_bottles(&mut b, 10, 120_000_000);
    b.run_to(b.plant.now() + 20_000_000);
    for k in 1..=10 {
        let f = b.facts_of(k);
        let off = f
            .iter()
            .find_map(|w| if let What::JawMet { off_mm, captured } = w { Some((*off_mm, *captured)) } else { None });
        let (off, captured) = off.unwrap_or_else(|| panic!("bottle {k} was never met: {f:?}"));
        assert!(captured && off.abs() < 0.001, "bottle {k}: {off}");
        assert!(f.contains(&What::Seated) && f.contains(&What::PassedOn), "bottle {k}: {f:?}");
        let spun = f
            .iter()
            .find_map(|w| if let What::Spun { turns, torque, .. } = w { Some((*turns, *torque)) } else { None });
        let (turns, torque) = spun.unwrap_or_else(|| panic!("bottle {k} was not spun: {f:?}"));
        assert!(torque && (1.5..2.5).contains(&turns), "bottle {k}: {turns}");
        assert!(
            !f.iter().any(|w| matches!(w, What::Tipped | What::StruckByGate(_) | What::StruckByBottle { .. })),
            "bottle {k}: {f:?}"
        );
    }
    assert!(b.plant.is_empty());
}
