//! See `src/lib.rs`.
use explore::{deed::*, setup::*, world::*};
use std::collections::HashMap;
#[test]
fn dbg() {
    let mut shown = 0;
    let mut w0 = World::new(Kind::Line, None, false);
    for at in 0..60 {
        for d in catalogue(Kind::Line) {
            if !w0.plant.can(d, w0.said.orders, w0.kind) { continue; }
            for policy in 0..3 {
            let mut w = w0.clone();
            let mut b = Beat::default(); b.deeds.push(d).unwrap();
            w.beat(&b, &mut |_, _| {});
            let mut seen = HashMap::new();
            let mut ok = false;
            let mut last = String::new();
            for i in 0..400 {
                let lasts = w.plant.can_cure(w.kind);
                let held = w.said.unit == timing_core::UnitState::Held;
                let wait = !w.said.unit.is_acting();
                let cure = policy == 1 && lasts && wait;
                let press = if policy == 2 || cure || (held && lasts) { None } else { usual(w.kind, w.said.unit, w.said.mode) };
                w.beat(&Beat { press, cure, ..Beat::default() }, &mut |_, _| {});
                if seen.insert(w.key, i).is_some() { ok = true; break; }
                if i == 390 { last = format!("{:#?}\n{:#?}\n{:#?}", w.station, w.plant, w.monitor); }
            }
            if !ok && shown < 6 {
                shown += 1;
                println!("endless: {d:?} at {at} policy {policy} {:?}", w);
                let now = format!("{:#?}\n{:#?}\n{:#?}", w.station, w.plant, w.monitor);
                for (a, b) in last.lines().zip(now.lines()) { if a != b { println!("{a} | {b}"); } }
            }
            }
        }
        let b = Beat { press: usual(w0.kind, w0.said.unit, w0.said.mode), ..Beat::default() };
        w0.beat(&b, &mut |_, _| {});
    }
}
