//! What is shown is what happened: files are read back by parsers that are not ours and compared with the trace.

use host_sim::record::{csv as record_csv, vcd as record_vcd};
use host_sim::show::lanes::{Group, Signal};
use host_sim::show::timing::timing;
use host_sim::show::travel::travel;
use host_sim::show::{Span, View, json, junit, report, terminal, words};
use host_sim::trace::{Moment, Trace};
use host_sim::verdict::{Outcome, RunResult};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use tests::synthetic;
use timing_core::{Actuator, Contact, Event, EventKind, Fault, Mode, Why};

fn view() -> View {
    View { title: "Invented <station> & \"line\"".into(), span: None }
}

fn whole() -> View {
    View { span: Some(Span { from_us: 0, to_us: u64::MAX }), ..view() }
}

fn fault(t: u64, code: u16) -> (u64, Event) {
    (t, Event { kind: EventKind::Fault, why: Why::Fault, detail: code, value: 0 })
}

/// Traces that put the charts under strain: nothing, no bottle, few, a fault, every fault at once, hundreds.
fn traces() -> Vec<(&'static str, Trace)> {
    let mut crowd = synthetic::trace(3, false);
    let codes = timing_core::FAULTS.iter().map(|row| row.fault.code());
    crowd.events.extend(codes.enumerate().map(|(i, code)| fault(crowd.end_us - 900_000 + i as u64 * 40_000, code)));
    crowd.events.sort_by_key(|(t, _)| *t);
    vec![
        ("empty", Trace::default()),
        ("no bottle", synthetic::trace(0, false)),
        ("three", synthetic::trace(3, false)),
        ("misfeed", synthetic::trace(3, true)),
        ("every fault", crowd),
        ("hundreds", synthetic::trace(300, true)),
    ]
}

/// Every chart of every trace, in the automatic and in the whole view.
fn charts() -> Vec<(String, String)> {
    let mut out = Vec::new();
    for (name, trace) in traces() {
        for (kind, v) in [("automatic", view()), ("whole", whole())] {
            out.push((format!("timing, {name}, {kind}"), timing(&trace, &v)));
            out.push((format!("travel, {name}, {kind}"), travel(&trace, &v)));
        }
    }
    out
}

fn number(node: &roxmltree::Node<'_, '_>, name: &str) -> f64 {
    node.attribute(name).and_then(|v| v.parse().ok()).unwrap_or(f64::NAN)
}

/// The box of a text, by the mean advance of common sans-serif faces (0.56 em, bold 0.62 em; from memory).
fn text_box(node: &roxmltree::Node<'_, '_>) -> (f64, f64, f64, f64) {
    let (x, y, size) = (number(node, "x"), number(node, "y"), number(node, "font-size"));
    let bold = node.attribute("font-weight") == Some("bold");
    let length = node.text().unwrap_or("").chars().count() as f64 * size * if bold { 0.62 } else { 0.56 };
    let back = match node.attribute("text-anchor") {
        Some("middle") => length / 2.0,
        Some("end") => length,
        _ => 0.0,
    };
    if node.attribute("transform").is_some_and(|t| t.starts_with("rotate(-90")) {
        (x - size, y - length + back, x + 0.3 * size, y + back)
    } else {
        (x - back, y - size, x - back + length, y + 0.3 * size)
    }
}

fn overlap(a: (f64, f64, f64, f64), b: (f64, f64, f64, f64)) -> bool {
    a.0 < b.2 && b.0 < a.2 && a.1 < b.3 && b.1 < a.3
}

#[test]
fn every_chart_is_well_formed_titled_and_keeps_its_labels_inside() {
    for (name, svg) in charts() {
        let doc = roxmltree::Document::parse(&svg).unwrap_or_else(|e| panic!("{name}: {e}"));
        let root = doc.root_element();
        assert_eq!(root.tag_name().name(), "svg");
        let view: Vec<f64> =
            root.attribute("viewBox").unwrap_or("").split(' ').filter_map(|v| v.parse().ok()).collect();
        let [x0, y0, w, h] = view[..] else { panic!("{name}: viewBox {view:?}") };
        for tag in ["title", "desc"] {
            let text =
                root.children().find(|n| n.has_tag_name(("http://www.w3.org/2000/svg", tag))).and_then(|n| n.text());
            assert!(text.is_some_and(|t| t.len() > 10), "{name}: {tag}");
        }
        let mut labels = 0;
        for node in doc.descendants().filter(|n| n.tag_name().name() == "text") {
            let (l, t, r, b) = text_box(&node);
            labels += 1;
            assert!(
                l >= x0 && t >= y0 && r <= x0 + w && b <= y0 + h,
                "{name}: \"{}\" at {l} {t} {r} {b} of {w} {h}",
                node.text().unwrap_or("")
            );
        }
        assert!(labels > 4, "{name}");
        for node in doc.descendants().filter(roxmltree::Node::is_element) {
            for a in node.attributes() {
                assert!(!a.value().contains("NaN") && !a.value().contains("inf"), "{name}: {a:?}");
                if let Some(id) = a.value().strip_prefix("url(#").and_then(|v| v.strip_suffix(')')) {
                    assert!(doc.descendants().any(|n| n.attribute("id") == Some(id)), "{name}: {id} is missing");
                }
            }
        }
    }
}

#[test]
fn fault_labels_never_overlap_and_none_is_left_out_in_silence() {
    for (name, svg) in charts() {
        let doc = roxmltree::Document::parse(&svg).unwrap_or_else(|e| panic!("{name}: {e}"));
        let boxes: Vec<_> = doc
            .descendants()
            .filter(|n| n.attribute("class") == Some("fault"))
            .map(|n| (text_box(&n), n.text().unwrap_or("").to_owned()))
            .collect();
        for (i, a) in boxes.iter().enumerate() {
            for b in boxes.iter().skip(i + 1) {
                assert!(!overlap(a.0, b.0), "{name}: \"{}\" over \"{}\"", a.1, b.1);
            }
        }
        if name.contains("every fault, whole") {
            let more: usize = svg
                .split(" — ")
                .find_map(|s| s.split_once(" more faults").and_then(|(n, _)| n.parse().ok()))
                .unwrap_or_else(|| panic!("{name}: the remark is missing"));
            assert_eq!(boxes.len() + more, timing_core::FAULTS.len(), "{name}");
        }
        if name.contains("misfeed") {
            assert!(boxes.iter().any(|b| b.1 == "misfeed"), "{name}");
        }
    }
}

#[test]
fn no_text_of_a_chart_lies_over_another() {
    for (name, svg) in charts() {
        let doc = roxmltree::Document::parse(&svg).unwrap_or_else(|e| panic!("{name}: {e}"));
        let boxes: Vec<_> = doc
            .descendants()
            .filter(|n| n.tag_name().name() == "text")
            .map(|n| (text_box(&n), n.text().unwrap_or("").to_owned()))
            // Boxes are on the large side: letters do not fill them.
            .map(|((l, t, r, b), text)| ((l + 2.0, t + 2.0, r - 2.0, b - 2.0), text))
            .collect();
        for (i, a) in boxes.iter().enumerate() {
            for b in boxes.iter().skip(i + 1) {
                assert!(!overlap(a.0, b.0), "{name}: \"{}\" {:?} over \"{}\" {:?}", a.1, a.0, b.1, b.0);
            }
        }
    }
}

/// Total length of the horizontal strokes "M x y H x" of a path.
fn strokes(d: &str) -> f64 {
    d.split('M')
        .filter_map(|s| {
            let (from, to) = s.split_once('H')?;
            let x0: f64 = from.split(' ').next()?.parse().ok()?;
            Some(to.parse::<f64>().ok()? - x0)
        })
        .sum()
}

fn share_of_time(trace: &Trace, on: impl Fn(&Moment) -> bool) -> f64 {
    let ends = trace.moments.iter().skip(1).map(|m| m.t_us).chain([trace.end_us]);
    let total: u64 = trace.moments.iter().zip(ends).filter(|(m, _)| on(m)).map(|(m, end)| end - m.t_us).sum();
    total as f64 / trace.end_us as f64
}

#[test]
fn the_travel_chart_draws_blades_shut_exactly_while_they_are_ordered_shut() {
    let trace = synthetic::trace(3, true);
    let svg = travel(&trace, &whole());
    let doc = roxmltree::Document::parse(&svg).expect("well-formed");
    let thick: Vec<f64> = doc
        .descendants()
        .filter(|n| n.attribute("stroke-width") == Some("4.5"))
        .filter_map(|n| n.attribute("d").map(strokes))
        .collect();
    assert_eq!(thick.len(), 3, "entry blade, release blade, diverter");
    // The plot's frame is the only unfilled rectangle.
    let frame = doc.descendants().find(|n| n.tag_name().name() == "rect" && n.attribute("fill") == Some("none"));
    let plot: f64 = frame.and_then(|n| n.attribute("width")?.parse().ok()).expect("a frame");
    for (drawn, a) in thick.iter().zip([Actuator::EntryGate, Actuator::ReleaseGate, Actuator::Reject]) {
        let expected = share_of_time(&trace, |m| !m.orders.work(a)) * plot;
        assert!((drawn - expected).abs() < 2.0, "{}: {drawn} drawn, {expected} ordered", a.name());
    }
}

#[test]
fn a_lane_is_filled_exactly_while_its_signal_is_on() {
    let trace = synthetic::trace(3, true);
    let svg = timing(&trace, &whole());
    let doc = roxmltree::Document::parse(&svg).expect("well-formed");
    let plot = 776.0;
    for (label, signal) in [
        ("release gate open", Signal::Order(1)),
        ("grip close", Signal::Order(2)),
        ("release eye", Signal::Contact(Contact::ReleaseEye)),
        ("plunger on work", Signal::Contact(Contact::PlungerWork)),
    ] {
        let name = doc.descendants().find(|n| n.text() == Some(label) && n.has_attribute("text-anchor")).expect(label);
        let path =
            name.next_siblings().find(|n| n.tag_name().name() == "path").and_then(|n| n.attribute("d")).expect(label);
        let drawn: f64 = path
            .split('h')
            .skip(1)
            .filter(|s| !s.starts_with('-'))
            .filter_map(|s| s.split('v').next()?.parse::<f64>().ok())
            .sum();
        let expected = share_of_time(&trace, |m| signal.level(m)) * plot;
        assert!((drawn - expected).abs() < 2.0, "{label}: {drawn} drawn, {expected} on");
    }
    let words: Vec<&str> =
        doc.descendants().filter(|n| n.tag_name().name() == "text").filter_map(|n| n.text()).collect();
    assert!(words.join(" ").contains("On all through, and not drawn: supply eye"), "steady signals are named");
    assert!(!svg.contains(">supply eye<"), "and not drawn");
}

#[test]
fn an_open_chain_and_a_mode_other_than_production_are_shown_even_if_they_never_change() {
    let mut trace = synthetic::trace(1, false);
    let usual = timing(&trace, &whole());
    assert!(!usual.contains(">Mode<") && !usual.contains(">chain<"));
    for m in &mut trace.moments {
        m.mode = Mode::Manual;
        m.contacts = m.contacts.with(Contact::Chain, false);
    }
    let svg = timing(&trace, &whole());
    assert!(svg.contains(">Mode<") && svg.contains(">Manual<"), "mode");
    assert!(svg.contains(">chain<"), "chain");
}

#[test]
fn each_bottle_is_drawn_with_its_fate() {
    let svg = travel(&synthetic::trace(3, true), &whole());
    for label in [">1 tight<", ">2 uncapped<", ">3 tight<", ">4 to come<"] {
        assert!(svg.contains(label), "{label}");
    }
    // Bottle 2 and its key in the legend.
    assert_eq!(svg.matches("fill=\"url(#travel-closure)\"").count(), 2);
    assert_eq!(svg.matches("fill=\"url(#travel-hurt)\"").count(), 0);
}

#[test]
fn thousands_of_bottles_give_files_of_bounded_size() {
    let trace = synthetic::trace(1_500, true);
    for (name, svg) in [
        ("timing", timing(&trace, &view())),
        ("travel", travel(&trace, &view())),
        ("whole timing", timing(&trace, &whole())),
        ("whole travel", travel(&trace, &whole())),
    ] {
        assert!(svg.len() < 600_000, "{name}: {} bytes", svg.len());
    }
}

/// Every change of every variable, by full name.
fn changes(text: &str) -> (wellen::Hierarchy, BTreeMap<String, Vec<(u64, String)>>) {
    let mut wave =
        wellen::simple::read_from_reader(std::io::Cursor::new(text.to_owned().into_bytes())).expect("readable VCD");
    let vars: Vec<_> = wave.hierarchy().all_vars().collect();
    let named: Vec<(String, wellen::SignalRef)> = vars
        .iter()
        .map(|v| (wave.hierarchy()[*v].full_name(wave.hierarchy()), wave.hierarchy()[*v].signal_ref()))
        .collect();
    let refs: Vec<_> = named.iter().map(|n| n.1).collect();
    wave.load_signals(&refs);
    let mut out = BTreeMap::new();
    for (name, id) in named {
        let signal = wave.get_signal(id).expect("loaded");
        let list = signal.iter_changes().map(|(i, v)| (wave.time_table()[i as usize], v.to_string())).collect();
        out.insert(name, list);
    }
    (wave.hierarchy().clone(), out)
}

/// The changes of one quantity of the trace: the last moment of a time holds.
fn expected(trace: &Trace, text: impl Fn(&Moment) -> String) -> Vec<(u64, String)> {
    let mut out: Vec<(u64, String)> = Vec::new();
    for (i, m) in trace.moments.iter().enumerate() {
        if trace.moments.get(i + 1).is_some_and(|next| next.t_us == m.t_us) {
            continue;
        }
        let value = text(m);
        if out.last().is_none_or(|l| l.1 != value) {
            out.push((m.t_us, value));
        }
    }
    out
}

/// The scope in which a signal stands.
fn scope(signal: Signal) -> &'static str {
    match signal.group() {
        Group::Eyes => "eyes",
        Group::Orders => "orders",
        Group::Reeds => "reeds",
        Group::Safety => "safety",
        Group::Line => "line",
    }
}

#[test]
fn an_independent_reader_finds_the_same_changes_in_the_vcd() {
    let trace = synthetic::trace(4, true);
    let text = record_vcd::vcd(&trace);
    assert!(!text.contains("$date"), "a date would make every file differ");
    let (hierarchy, read) = changes(&text);
    let scale = hierarchy.timescale().expect("timescale");
    assert_eq!((scale.factor, scale.unit), (1, wellen::TimescaleUnit::MicroSeconds));
    for signal in Signal::all() {
        let name = format!("station.{}.{}", scope(signal), signal.identifier());
        let got = read.get(&name).unwrap_or_else(|| panic!("{name} is missing"));
        assert_eq!(*got, expected(&trace, |m| u8::from(signal.level(m)).to_string()), "{name}");
    }
    let of = |name: &str| read.get(name).unwrap_or_else(|| panic!("{name} is missing")).clone();
    assert_eq!(of("station.steps.unit"), expected(&trace, |m| format!("{:05b}", m.unit as u8)));
    assert_eq!(of("station.steps.mode"), expected(&trace, |m| format!("{:02b}", m.mode as u8)));
    assert_eq!(of("station.steps.head"), expected(&trace, |m| format!("{:04b}", m.head as u8)));
    assert_eq!(of("station.steps.feed"), expected(&trace, |m| format!("{:02b}", m.feed as u8)));
    assert_eq!(of("station.belt.counts"), expected(&trace, |m| format!("{:064b}", m.belt)));
    let speeds: Vec<(u64, f64)> =
        of("station.belt.speed_mm_s").into_iter().map(|(t, v)| (t, v.parse().unwrap_or(f64::NAN))).collect();
    let wanted: Vec<(u64, f64)> = expected(&trace, |m| m.belt_mm_s.to_string())
        .into_iter()
        .map(|(t, v)| (t, v.parse().unwrap_or(f64::NAN)))
        .collect();
    assert_eq!(speeds, wanted);
}

#[test]
fn the_events_table_has_a_line_and_a_sentence_for_every_event() {
    let trace = synthetic::trace(3, true);
    let text = record_csv::events(&trace);
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    assert_eq!(reader.headers().expect("headings"), record_csv::COLUMNS.as_slice());
    let rows: Vec<csv::StringRecord> = reader.records().collect::<Result<_, _>>().expect("readable");
    assert_eq!(rows.len(), trace.events.len());
    for (row, (t, e)) in rows.iter().zip(&trace.events) {
        let numbers: Vec<i64> = [0, 3, 4].iter().filter_map(|i| row.get(*i)?.parse().ok()).collect();
        assert_eq!(numbers, [*t as i64, i64::from(e.detail), i64::from(e.value)]);
        assert!(row.get(5).is_some_and(|s| s.ends_with('.')), "{row:?}");
    }
}

/// Every kind with the reasons, details and values that the core gives it.
fn representative() -> Vec<Event> {
    let e = |kind, why, detail, value| Event { kind, why, detail, value };
    let mut out = Vec::new();
    for why in [
        Why::Asked,
        Why::Complete,
        Why::Fault,
        Why::Starved,
        Why::OutfeedFull,
        Why::LineStopped,
        Why::CauseGone,
        Why::BatchDone,
    ] {
        out.push(e(EventKind::State, why, 10, 6));
    }
    out.push(e(EventKind::Mode, Why::Asked, 3, 0));
    out.push(e(EventKind::Head, Why::Plain, 2, 0));
    out.push(e(EventKind::Head, Why::Interrupted, 7, 0));
    out.push(e(EventKind::Feed, Why::Plain, 2, 0));
    out.push(e(EventKind::Registered, Why::Plain, 0, 12));
    for why in [Why::Good, Why::Rejected, Why::Removed, Why::Lost, Why::Found] {
        out.push(e(EventKind::Counted, why, 0, 12));
    }
    for why in Why::ALL.into_iter().filter(|w| (Why::NoCap..=Why::Unknown).contains(w)) {
        out.push(e(EventKind::Flagged, why, 0, 12));
    }
    for v in [0, 3, -2] {
        out.push(e(EventKind::CatchOrdered, Why::Plain, 0, v));
        out.push(e(EventKind::Caught, Why::Plain, 0, v));
    }
    for row in timing_core::FAULTS {
        out.push(fault(0, row.fault.code()).1);
    }
    out.push(fault(0, Fault::StrokeOverdue(Actuator::Rollers).code()).1);
    out.push(fault(0, Fault::InputFailed(Contact::GripWork).code()).1);
    out.push(fault(0, 31).1);
    for why in Why::ALL.into_iter().filter(|w| (Why::WrongState..=Why::NotFitted).contains(w)) {
        out.push(e(EventKind::Refused, why, 2, 0));
    }
    for request in 10..=18 {
        out.push(e(EventKind::Refused, Why::WrongMode, request, 0));
    }
    for row in timing_core::RULES.iter().filter(|r| r.rule < 11) {
        out.push(e(EventKind::Guarded, Why::Interlock, u16::from(row.rule), i32::from(row.order.number())));
    }
    out.push(e(EventKind::Guarded, Why::Interlock, 11, 17));
    out.push(e(EventKind::Guarded, Why::Interlock, 4, 99));
    out.push(e(EventKind::Tightened, Why::Plain, 0, 167_949));
    out.push(e(EventKind::Drift, Why::Plain, 3, 12_345));
    out.push(e(EventKind::Drift, Why::Plain, 256 + 3, 12_345));
    out.push(e(EventKind::Drift, Why::Plain, 6, 12_345));
    out.push(e(EventKind::Blind, Why::NotFitted, 2, 0));
    out.push(e(EventKind::Late, Why::Plain, 0, 950));
    out.push(e(EventKind::Length, Why::Plain, 0, 1_331));
    out
}

#[test]
fn sentences_are_as_agreed() {
    let mut got = String::new();
    for e in representative() {
        let _ = writeln!(got, "{:<13} {}", words::kind(e.kind), words::sentence(&e));
    }
    for kind in EventKind::ALL {
        assert!(representative().iter().any(|e| e.kind == kind), "{kind:?} has no sentence here");
    }
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/golden/words.txt");
    if std::env::var_os("BLESS").is_some() {
        std::fs::write(path, &got).expect("writable golden");
    }
    let want = std::fs::read_to_string(path).expect("tests/golden/words.txt");
    for (g, w) in got.lines().zip(want.lines()) {
        assert_eq!(g, w, "if the change is meant, run the tests once with BLESS=1 and read the difference");
    }
    assert_eq!(got.lines().count(), want.lines().count());
}

#[test]
fn no_event_whatever_its_numbers_is_without_a_sentence() {
    for kind in EventKind::ALL {
        for why in Why::ALL {
            for detail in [0, 5, 31, 32, 999, u16::MAX] {
                for value in [i32::MIN, -1, 0, 1, i32::MAX] {
                    let s = words::sentence(&Event { kind, why, detail, value });
                    assert!(s.ends_with('.') && !s.contains("()") && !s.contains("  "), "{s}");
                }
            }
        }
    }
}

#[test]
fn junit_names_every_job_and_says_what_failed() {
    let bad = synthetic::result();
    let good = RunResult { job: "all-well".into(), pass: true, breaches: vec![], checks: vec![], ..bad.clone() };
    let xml = junit::junit(&[good, bad]);
    let doc = roxmltree::Document::parse(&xml).expect("well-formed");
    let root = doc.root_element();
    assert_eq!((root.attribute("tests"), root.attribute("failures")), (Some("2"), Some("1")));
    assert!(doc.descendants().all(|n| n.attribute("timestamp").is_none() && n.attribute("time").is_none()));
    let cases: Vec<_> = doc.descendants().filter(|n| n.has_tag_name("testcase")).collect();
    assert_eq!(
        cases.iter().filter_map(|c| c.attribute("name")).collect::<Vec<_>>(),
        ["all-well", "three-and-a-misfeed"]
    );
    let failures: Vec<_> = doc.descendants().filter(|n| n.has_tag_name("failure")).collect();
    let text = failures.first().and_then(|f| f.text()).unwrap_or("");
    assert_eq!(failures.len(), 1);
    assert!(
        text.contains("expected good = 3, got 2") && text.contains("R4") && !text.contains("rejected = 1"),
        "{text}"
    );
}

#[test]
fn the_json_object_has_the_promised_keys_in_order() {
    let r = synthetic::result();
    let text = json::object(&r);
    assert!(!text.contains('\n'));
    let v: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let keys = [
        "job",
        "verdict",
        "bottles_in",
        "good",
        "rejected",
        "removed",
        "lost",
        "found",
        "inside",
        "rate_per_min",
        "outcomes",
        "breaches",
        "missed",
        "simulated_s",
        "ticks",
        "digest",
        "trace_digest",
        "centring",
        "comparison",
        "placement",
    ];
    let mut at = 0;
    for key in keys {
        let found =
            text[at..].find(&format!("\"{key}\":")).unwrap_or_else(|| panic!("{key} is missing or out of order"));
        at += found;
    }
    assert_eq!(v.as_object().map(serde_json::Map::len), Some(keys.len()));
    assert_eq!(v["digest"], "00abcdef01234567");
    assert_eq!(v["verdict"], "fail");
    assert_eq!(v["outcomes"]["uncapped"], 1);
    assert_eq!(v["outcomes"].as_object().map(serde_json::Map::len), Some(Outcome::ALL.len()));
    assert_eq!(v["breaches"][0]["t_us"], 6_123_456);
}

#[test]
fn the_report_stands_alone_and_is_well_formed() {
    for r in [synthetic::result(), RunResult::default()] {
        let html = report::report(&r);
        let namespaces = html.matches("xmlns=\"http://www.w3.org/2000/svg\"").count();
        assert_eq!(html.matches("http").count(), namespaces, "nothing but namespaces may look like an address");
        for word in ["<script", " src=", " href=", "@import", "<link", "<iframe", "<img"] {
            assert!(!html.contains(word), "{word}");
        }
        assert_eq!(html.matches("url(").count(), html.matches("url(#").count());
        // Every element is closed where it should be: as XML once the two void elements and the document type are.
        let xml = html
            .replace("<!DOCTYPE html>", "")
            .replace("<meta charset=\"utf-8\">", "")
            .replace("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">", "");
        let doc = roxmltree::Document::parse(&xml).unwrap_or_else(|e| panic!("{e}"));
        let mut ids: Vec<&str> = doc.descendants().filter_map(|n| n.attribute("id")).collect();
        let all = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), all, "an id twice in one page");
        let text: String = doc.descendants().filter(|n| n.is_text()).filter_map(|n| n.text()).collect();
        for part in ["not a safety device", "Lock out", "Local codes", "To repeat it", &format!("{:016x}", r.digest)] {
            assert!(text.contains(part), "{part}");
        }
        assert!(text.contains(if r.pass { "PASS" } else { "FAIL" }));
    }
}

#[test]
fn counts_that_do_not_add_up_are_said_so() {
    let mut r = synthetic::result();
    assert!(report::report(&r).contains("it adds up") && !terminal::block(&r).contains("DOES NOT ADD UP"));
    r.counted.lost = 1;
    assert!(report::report(&r).contains("IT DOES NOT ADD UP") && terminal::block(&r).contains("DOES NOT ADD UP"));
}

#[test]
fn the_terminal_speaks_without_colour_and_one_line_is_one_line() {
    let r = synthetic::result();
    let (block, line) = (terminal::block(&r), terminal::line(&r));
    assert!(!block.contains('\u{1b}') && !line.contains('\u{1b}') && !line.contains('\n'));
    assert!(block.contains("FAIL: 1 of 2 checks not met, 1 rule breach."), "{block}");
    assert!(line.starts_with("FAIL") && line.contains("three-and-a-misfeed"), "{line}");
}

#[test]
fn the_same_run_gives_the_same_bytes() {
    let files = || {
        let r = synthetic::result();
        let t = &r.trace;
        [
            report::report(&r),
            timing(t, &view()),
            travel(t, &view()),
            record_vcd::vcd(t),
            record_csv::events(t),
            junit::junit(std::slice::from_ref(&r)),
        ]
    };
    assert_eq!(files(), files());
}
