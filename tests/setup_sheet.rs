//! The printable set-up sheet, its sketch to scale, and the changeover between two products of one machine.

use crate::random_job::shipped;
use host_sim::plan::change::changeover;
use host_sim::plan::{Figure, Plan, plan};
use host_sim::show::setup::setup;
use host_sim::show::sketch::sketch;
use roxmltree::Document;
use std::ffi::OsString;
use std::path::{Path, PathBuf};

fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../host-sim/jobs/{name}.toml"))
}

/// The command in this process: exit code, output, errors.
fn capcycle(args: &[&str]) -> (u8, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let args = ["capcycle"].iter().chain(args).map(OsString::from);
    let code = host_sim::cli::run(args, &mut out, &mut err);
    (code, String::from_utf8(out).expect("text"), String::from_utf8(err).expect("text"))
}

fn number(n: &roxmltree::Node<'_, '_>, name: &str) -> f64 {
    n.attribute(name).and_then(|t| t.parse().ok()).expect("a number")
}

/// Everything in the sketch lies where the job has it, on one scale along and across the belt.
#[test]
fn the_sketch_is_to_scale() {
    let job = shipped("steady-day");
    let svg = sketch(&job, &plan(&job).expect("a plan"));
    let doc = Document::parse(&svg).expect("well-formed");
    let circles: Vec<_> = doc.descendants().filter(|n| n.tag_name().name() == "circle").collect();
    assert_eq!(circles.len(), 3, "second, first, caught");
    let caught = &circles[2];
    let head = number(caught, "cx");
    let per_mm = number(caught, "r") / (job.product.diameter_mm / 2.0);
    // Touching: their middles are one diameter apart.
    let apart = (number(&circles[1], "cx") - number(&circles[0], "cx")) / per_mm;
    assert!((apart - job.product.diameter_mm).abs() < 0.2, "{apart}");
    let m = &job.machine;
    let mut eyes: Vec<f64> = doc
        .descendants()
        .filter(|n| n.tag_name().name() == "line" && n.attribute("stroke-dasharray") == Some("5 3"))
        .map(|n| (number(&n, "x1") - head) / per_mm)
        .collect();
    eyes.sort_by(f64::total_cmp);
    let wanted =
        [m.supply_eye_mm.expect("fitted"), m.pocket_eye_mm, m.release_eye_mm, m.discharge_eye_mm.expect("fitted")];
    assert_eq!(eyes.len(), wanted.len());
    for (eye, wanted) in eyes.iter().zip(wanted) {
        assert!((eye - wanted).abs() < 0.2, "{eye} drawn, {wanted} wanted");
    }
    // Blades: their upstream faces, their thickness, and their tips short of the centre line.
    let blades: Vec<_> =
        doc.descendants().filter(|n| n.tag_name().name() == "rect" && n.attribute("fill") == Some("#1a1a1a")).collect();
    assert_eq!(blades.len(), 2);
    for (blade, face) in blades.iter().zip([m.entry_blade_mm, m.release_blade_mm]) {
        assert!(((number(blade, "x") - head) / per_mm - face).abs() < 0.2);
        assert!((number(blade, "width") / per_mm - m.blade_mm).abs() < 0.2);
        let tip = number(blade, "y") + number(blade, "height");
        assert!(((number(caught, "cy") - tip) / per_mm - m.blade_tip_mm).abs() < 0.2);
    }
    for name in ["entry blade", "pocket eye", "release blade", "release eye", "head centre", "discharge eye", "V jaw"] {
        assert!(svg.contains(&format!(">{name}<")), "{name}");
    }
}

/// No two names of the sketch overlap, on machines with more or fewer eyes.
#[test]
fn names_in_the_sketch_keep_apart() {
    for name in ["steady-day", "transparent-glass", "belt-stop", "seat-only"] {
        let mut job = shipped(name);
        let plan = plan(&job).expect("a plan");
        for with_cap_eye in [false, true] {
            job.machine.cap_eye_mm = with_cap_eye.then_some(-75.0);
            let svg = sketch(&job, &plan);
            let doc = Document::parse(&svg).expect("well-formed");
            let names: Vec<f64> = doc
                .descendants()
                .filter(|n| n.tag_name().name() == "text" && n.attribute("y") == Some("18"))
                .map(|n| number(&n, "x"))
                .collect();
            assert!(names.len() >= 5, "{name}: {names:?}");
            assert!(names.windows(2).all(|w| w[1] - w[0] >= 105.0), "{name}: {names:?}");
            assert!(names.iter().all(|x| (50.0..=950.0).contains(x)), "{name}: {names:?}");
        }
    }
}

#[test]
fn the_page_begins_with_cautions_and_has_a_box_for_each_thing_to_do() {
    let job = shipped("steady-day");
    let p = plan(&job).expect("a plan");
    let page = setup(&job, &p);
    let caution = page.find("never a safety device").expect("the caution");
    assert!(page.contains("lock out the drives, vent the air"));
    assert!(page.contains("Local codes and licensed practice decide"));
    assert!(caution < page.find("<table").expect("a table") && caution < page.find("<figure").expect("the sketch"));
    let boxes = page.matches("<td class=\"box\">").count();
    let set = p.setpoints.iter().filter(|f| f.set).count();
    assert_eq!(boxes, p.setup.len() + set + 6, "positions, settings, and six proofs");
    assert!(set > 20 && p.setpoints.iter().all(|f| page.contains(f.name)), "what is only worked out is shown, too");
    // Self-contained: nothing is fetched, and nothing runs.
    let bare = page.replace("http://www.w3.org/2000/svg", "");
    assert!(!bare.contains("http") && !bare.contains("<script") && !bare.contains("src="));
    assert!(page.contains("0.940 s"), "94 mm at 100 mm/s");
}

#[test]
fn a_plan_that_fails_says_on_its_page_what_would_mend_it() {
    let mut job = shipped("steady-day");
    job.product.speed_mm_s = 300.0;
    let p = plan(&job).expect("a plan");
    assert!(!p.works());
    let page = setup(&job, &p);
    assert!(page.contains("It cannot work as measured"));
    for c in p.checks.iter().filter(|c| !c.ok) {
        assert!(page.contains(&*c.name), "{}", c.name);
    }
}

#[test]
fn the_sheet_is_written_once_and_not_over_another() {
    let folder = tempfile::tempdir().expect("a folder");
    let page = folder.path().join("setup.html");
    let (job, sheet) = (file("steady-day"), page.to_str().expect("a name").to_owned());
    let job = job.to_str().expect("a name");
    let (code, out, err) = capcycle(&["plan", job, "--sheet", &sheet]);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(out.contains("Written:"));
    let first = std::fs::read_to_string(&page).expect("written");
    let (code, _, err) = capcycle(&["plan", job, "--sheet", &sheet]);
    assert_eq!(code, 2);
    assert!(err.contains("is there already") && err.contains("--force"), "{err}");
    let (code, _, _) = capcycle(&["plan", job, "--sheet", &sheet, "--force", "-q"]);
    assert_eq!(code, 0);
    assert_eq!(std::fs::read_to_string(&page).expect("written"), first, "the same page from the same job");
}

#[test]
fn a_changeover_to_the_same_product_changes_nothing() {
    let job = file("steady-day");
    let job = job.to_str().expect("a name");
    let (code, out, err) = capcycle(&["plan", job, job]);
    assert_eq!((code, err.as_str()), (0, ""));
    assert_eq!(out.matches("  nothing\n").count(), 2, "{out}");
    assert!(!out.contains("[ ]"));
}

/// What changes and what stays are together all figures of the second plan; each change is one, and each that stays is none.
#[test]
fn a_changeover_names_each_figure_once() {
    let (from, to) = (file("steady-day"), file("seat-only"));
    let (code, out, _) = capcycle(&["plan", "--json", from.to_str().expect("a name"), to.to_str().expect("a name")]);
    assert_eq!(code, 0);
    let v: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    let (a, b) = (plan(&shipped("steady-day")).expect("a plan"), plan(&shipped("seat-only")).expect("a plan"));
    let list = |key: &str| v[key].as_array().expect("a list").clone();
    let stays = list("stays");
    let moves = |p: &Plan| p.setup.iter().map(|s| Figure::plain(s.name, s.value, s.unit)).collect::<Vec<_>>();
    for (key, before, after) in [("moves", moves(&a), moves(&b)), ("settings", a.setpoints, b.setpoints)] {
        let changes = list(key);
        assert!(key == "moves" || !changes.is_empty(), "{key}: another closure changes something");
        for f in &after {
            let changed = changes.iter().find(|c| c["name"] == f.name && c["to"] == f.value);
            let stayed = stays.iter().any(|s| *s == f.name);
            assert!(changed.is_some() != stayed, "{}: changes or stays", f.name);
            if let Some(old) = before.iter().find(|g| g.name == f.name && g.unit == f.unit) {
                assert_eq!((old.value - f.value).abs() < 0.005, stayed, "{}", f.name);
            }
        }
    }
}

/// A slimmer bottle on the same machine: the gates' best places move, and by as much as the plans differ.
#[test]
fn a_slimmer_bottle_moves_the_entry_gate() {
    let job = shipped("steady-day");
    let mut slim = job.clone();
    slim.product.diameter_mm -= 2.0;
    let (a, b) = (plan(&job).expect("a plan"), plan(&slim).expect("a plan"));
    let change = changeover((&job.machine, &a), (&slim.machine, &b)).expect("one machine");
    let moved = change.moves.iter().find(|c| c.name == "entry blade, upstream face").expect("it moves");
    // By the sensitivity of the touching point, 2.27 mm per mm of radius, halfway between the two radii; downstream.
    let by = moved.to.expect("known") - moved.from.expect("known");
    assert!((by - 2.27).abs() < 0.1, "{by}");
    let text = change.text("a", "b", &b.cautions);
    let (caution, first) = (text.find("never a safety device").expect("said"), text.find("[ ]").expect("a box"));
    assert!(caution < first);
    assert!(text.find("LOCKED OUT AND VENTED").expect("said") < text.find("THEN set").expect("said"));
}

#[test]
fn a_changeover_between_machines_is_refused() {
    let (from, to) = (file("steady-day"), file("belt-stop"));
    let (code, out, err) = capcycle(&["plan", from.to_str().expect("a name"), to.to_str().expect("a name")]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(err.contains("different machines") && err.contains("name the same machine"), "{err}");
}
