//! Logic captures: three kinds of file, one stream of changes; and what is left of a damaged one.

use crate::jobs::{jobs, run};
use host_sim::capture::{Capture, Change, Channel, Ended};
use host_sim::record::vcd as dump;
use host_sim::rehearse::Options;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use timing_core::quadrature::{Quadrature, Turn};

struct Read {
    channels: Vec<Channel>,
    changes: Vec<Change>,
    ended: Ended,
}

fn read(path: &Path) -> Read {
    let capture = Capture::open(path).unwrap_or_else(|e| panic!("{e}"));
    let channels = capture.channels().to_vec();
    let mut changes = Vec::new();
    let ended = capture.each(|c| changes.push(c));
    Read { channels, changes, ended }
}

fn shipped(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("captures").join(name)
}

/// Counts, net, forward and back, illegal, least and most, reversals, shortest µs between counts.
type Counts = (u32, i64, u32, u32, u32, i64, i64, u32, u64);

fn decode(of: &Read, a: &str, b: &str) -> Counts {
    // Some names carry two functions, "MODE/XA".
    let number = |name: &str| {
        let found = of.channels.iter().position(|c| c.name.split('/').any(|part| part == name));
        found.unwrap_or_else(|| panic!("no channel {name}")) as u32
    };
    let (a, b) = (number(a), number(b));
    let mut levels = BTreeMap::new();
    let mut decoder: Option<Quadrature> = None;
    let (mut n, mut forward, mut back, mut least, mut most, mut reversals) = (0, 0, 0, 0, 0, 0);
    let (mut last, mut last_at, mut shortest) = (None, None, u64::MAX);
    for group in of.changes.chunk_by(|x, y| x.at_ns == y.at_ns) {
        levels.extend(group.iter().map(|c| (c.channel, c.value != 0)));
        let (Some(&x), Some(&y)) = (levels.get(&a), levels.get(&b)) else { continue };
        let Some(q) = &mut decoder else {
            decoder = Some(Quadrature::new(x, y));
            continue;
        };
        let turn = q.see(x, y);
        if !matches!(turn, Turn::Forward | Turn::Back) {
            continue;
        }
        n += 1;
        if turn == Turn::Forward {
            forward += 1
        } else {
            back += 1
        }
        reversals += u32::from(last.is_some_and(|l| l != turn));
        let at_us = group[0].at_ns / 1_000;
        shortest = last_at.map_or(shortest, |l: u64| shortest.min(at_us - l));
        (last, last_at) = (Some(turn), Some(at_us));
        (least, most) = (least.min(q.count().get()), most.max(q.count().get()));
    }
    let q = decoder.expect("both channels are seen");
    (n, q.count().get(), forward, back, q.illegal(), least, most, reversals, shortest)
}

/// The three captures with the counts that are known of them.
///
/// Source: sigrok-dumps (public domain, commit 0ad13477), computed beforehand by another program with the textbook table.
const KNOWN: [(&str, &str, &str, Counts); 3] = [
    ("quadrature-hand-a.sr", "XA", "XB", (919, -11, 454, 465, 0, -66, 90, 15, 78)),
    ("quadrature-hand-b.sr", "XA", "XB", (1041, 29, 535, 506, 0, 0, 210, 5, 947)),
    ("quadrature-ramp.sr", "0", "1", (12732, 12732, 12732, 0, 0, 0, 12732, 0, 23)),
];

#[test]
fn the_shipped_captures_give_the_counts_that_are_known_of_them_from_every_kind_of_file() {
    let dir = tempfile::tempdir().expect("a folder");
    for (name, a, b, counts) in KNOWN {
        let of = read(&shipped(name));
        assert_eq!(of.ended.damage, None, "{name}");
        assert_eq!(decode(&of, a, b), counts, "{name}");
        for (end, text) in [("vcd", as_vcd(&of)), ("csv", as_csv(&of))] {
            let path = dir.path().join(format!("{name}.{end}"));
            std::fs::write(&path, text).expect("it can be written");
            let again = read(&path);
            assert_eq!(again.ended.damage, None, "{name} as {end}");
            assert_eq!(decode(&again, a, b), counts, "{name} as {end}");
            assert_eq!(again.changes, of.changes, "{name} as {end}");
        }
    }
}

fn as_vcd(of: &Read) -> String {
    let mut t = "$timescale 10 ns $end\n".to_owned();
    for (i, c) in of.channels.iter().enumerate() {
        let _ = writeln!(t, "$var wire 1 {} {} $end", code(i), c.name);
    }
    t.push_str("$enddefinitions $end\n");
    for group in of.changes.chunk_by(|x, y| x.at_ns == y.at_ns) {
        let _ = writeln!(t, "#{}", group[0].at_ns / 10);
        for c in group {
            let _ = writeln!(t, "{}{}", c.value, code(c.channel as usize));
        }
    }
    t
}

/// Codes of one, two and three letters.
fn code(i: usize) -> String {
    ["!", "ab", "xyz"][i % 3].to_owned() + &"#".repeat(i / 3)
}

fn as_csv(of: &Read) -> String {
    let names: Vec<&str> = of.channels.iter().map(|c| c.name.as_str()).collect();
    let mut t = format!("; written by a test\ntime (us),{}\n", names.join(","));
    let mut levels = vec![String::new(); names.len()];
    for group in of.changes.chunk_by(|x, y| x.at_ns == y.at_ns) {
        for c in group {
            levels[c.channel as usize] = c.value.to_string();
        }
        let _ = writeln!(t, "{},{}", group[0].at_ns as f64 / 1e3, levels.join(","));
    }
    t
}

/// Against the `vcd` crate, a parser that shares nothing with ours.
#[test]
fn a_dump_reads_as_an_independent_parser_reads_it() {
    let dir = tempfile::tempdir().expect("a folder");
    for job in jobs().into_iter().take(4) {
        let trace = run(&job, &Options { trace: true, rules: false, ..Options::default() }).trace;
        let text = dump::vcd(&trace);
        let path = dir.path().join("run.vcd");
        std::fs::write(&path, &text).expect("it can be written");
        let ours = read(&path);
        assert_eq!(ours.ended.damage, None, "{}", job.name);
        let theirs = independent(&text, &ours.channels);
        assert!(ours.changes == theirs, "{}: {} changes against {}", job.name, ours.changes.len(), theirs.len());
        assert!(theirs.len() > 1_000);
    }
}

fn independent(text: &str, channels: &[Channel]) -> Vec<Change> {
    let mut parser = vcd::Parser::new(text.as_bytes());
    let header = parser.parse_header().expect("a header");
    let code = |c: &Channel| header.find_var(&c.name.split('.').collect::<Vec<_>>()).expect("the variable").code;
    let numbers: BTreeMap<vcd::IdCode, u32> =
        channels.iter().zip(0..).filter(|(c, _)| c.width > 0).map(|(c, n)| (code(c), n)).collect();
    let bit = |v: vcd::Value| v == vcd::Value::V1;
    let (mut at_ns, mut changes) = (0, Vec::new());
    for command in parser {
        use vcd::Command as C;
        match command.expect("a command") {
            C::Timestamp(t) => at_ns = t * 1_000,
            C::ChangeScalar(id, v) => changes.push(Change { at_ns, channel: numbers[&id], value: u64::from(bit(v)) }),
            C::ChangeVector(id, v) => {
                let value = v.iter().fold(0, |n, v| n << 1 | u64::from(bit(v)));
                changes.push(Change { at_ns, channel: numbers[&id], value });
            }
            _ => {}
        }
    }
    changes
}

#[test]
fn a_capture_that_was_cut_or_spoilt_gives_what_came_before() {
    let dir = tempfile::tempdir().expect("a folder");
    let hand = read(&shipped("quadrature-hand-a.sr"));
    let zip = std::fs::read(shipped("quadrature-hand-a.sr")).expect("it is there");
    for (end, whole) in [("vcd", as_vcd(&hand).into_bytes()), ("csv", as_csv(&hand).into_bytes()), ("sr", zip)] {
        let path = dir.path().join(format!("a.{end}"));
        let step = whole.len() / 300 + 1;
        for at in (0..whole.len()).step_by(step) {
            std::fs::write(&path, &whole[..at]).expect("it can be written");
            // What cannot even be opened says why, with the file's name; what can is a beginning of the whole, but for a last value cut short.
            match Capture::open(&path) {
                Err(why) => assert!(why.contains(&format!("a.{end}: ")), "{why}"),
                Ok(capture) => {
                    let mut got = Vec::new();
                    capture.each(|c| got.push(c));
                    let sure = got.len().saturating_sub(hand.channels.len());
                    assert!(hand.changes.starts_with(&got[..sure]), "{end} cut at {at}");
                }
            }
            let mut spoilt = whole.clone();
            spoilt[at] ^= 0x55;
            std::fs::write(&path, &spoilt).expect("it can be written");
            if let Ok(capture) = Capture::open(&path) {
                let ended = capture.each(|_| {});
                assert!(ended.damage.is_none_or(|d| d.contains("what came before was read")), "{end} spoilt at {at}");
            }
        }
    }
}

#[test]
fn what_is_no_capture_says_what_is_wrong_and_where() {
    let dir = tempfile::tempdir().expect("a folder");
    let cases: [(&str, &str, &str); 9] = [
        ("empty", "", "is empty"),
        ("a.vcd", "$timescale 3 us $end", "line 1: timescale \"3us\""),
        ("b.vcd", "$timescale 1 us $end\n$var wire x ! a $end", "the width \"x\" of a is no number"),
        ("c.vcd", "$timescale 1 us $end\n$enddefinitions $end", "defines no channel"),
        ("d.vcd", "$version x $end", "ends before $enddefinitions"),
        ("a.csv", "a,b\n1,2\n", "the first column, \"a\", is no time"),
        ("b.csv", "time\n1\n", "has no column but the time"),
        ("c.csv", "# only this\n", "has no heading"),
        ("a.sr", "PK\u{3}\u{4}", "is no whole zip archive"),
    ];
    for (name, content, why) in cases {
        let path = dir.path().join(name);
        std::fs::write(&path, content).expect("it can be written");
        let Err(told) = Capture::open(&path) else { panic!("{name} is taken") };
        assert!(told.contains(why), "{name}: {told}");
    }
    let Err(told) = Capture::open(&dir.path().join("none")) else { panic!("it is not there") };
    assert!(told.contains("name a VCD, a CSV or a logic analyser's archive"), "{told}");
}

#[test]
fn damage_is_told_with_its_line_and_unknown_levels_are_counted() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = dir.path().join("x");
    let head = "$timescale 1 us $end\n$var wire 1 ! a $end\n$var wire 8 # b $end\n$enddefinitions $end\n";
    let cases = [
        ("#5\n1!\n#4\n0!\n", 1, 0, Some("line 7: time goes back")),
        ("#5\n1!\n0?\n", 1, 0, Some("line 7: a value of a code that was not defined")),
        ("#5\n1!\nhello\n", 1, 0, Some("line 7: neither a time nor a value")),
        ("#5\nx!\nb1x0 #\nb101 #\n#9\n", 1, 2, None),
    ];
    for (body, changes, unknown, damage) in cases {
        std::fs::write(&path, format!("{head}{body}")).expect("it can be written");
        let ended = read(&path).ended;
        assert_eq!((ended.changes, ended.unknown), (changes, unknown), "{body}");
        assert_eq!(ended.damage.is_some(), damage.is_some(), "{body}: {:?}", ended.damage);
        assert!(damage.is_none_or(|d| ended.damage.is_some_and(|e| e.contains(d))), "{body}");
    }
    std::fs::write(&path, "t_ms;a;b\n0;0;x\n1.5;1;-3\n2;1\n").expect("it can be written");
    let of = read(&path);
    let negative = Change { at_ns: 1_500_000, channel: 1, value: (-3_i64).cast_unsigned() };
    assert_eq!((of.changes.last(), of.ended.unknown), (Some(&negative), 1));
    assert!(of.ended.damage.is_some_and(|d| d.contains("line 4: 2 columns, where 3 are due")));
}
