//! ×4 decoding: against the textbook table, and on real captures.

use std::io::Read;
use std::path::Path;

use timing_core::quadrature::{Quadrature, TABLE, Turn};

/// The 16-entry ×4 table as textbooks print it, index = (AB old << 2) | AB new, + when A leads B; X = illegal.
#[test]
fn the_table_is_the_textbook_one() {
    const X: i32 = i32::MAX;
    const TEXTBOOK: [i32; 16] = [0, -1, 1, X, 1, 0, X, -1, -1, X, 0, 1, X, 1, -1, 0];
    let ours = TABLE.map(|t| match t {
        Turn::Still => 0,
        Turn::Forward => 1,
        Turn::Back => -1,
        Turn::Illegal => X,
    });
    assert_eq!(ours, TEXTBOOK);
    // The same, entry by entry through the decoder.
    for (index, want) in TEXTBOOK.into_iter().enumerate() {
        let level = |bit: usize| index >> bit & 1 == 1;
        let mut q = Quadrature::new(level(3), level(2));
        q.see(level(1), level(0));
        let (moved, illegal) = if want == X { (0, 1) } else { (i64::from(want), 0) };
        assert_eq!((q.count().get(), q.illegal()), (moved, illegal), "index {index:04b}");
    }
}

/// A logic capture: the sample bytes and where its channels are.
struct Capture {
    samples: Vec<u8>,
    rate_hz: u64,
    probes: Vec<(String, u32)>,
}

impl Capture {
    /// Opens a capture of this folder: a zip of INI metadata and sample bytes, probe n in bit n − 1.
    fn open(name: &str) -> Self {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("captures").join(name);
        let file = std::fs::File::open(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        let mut zip = zip::ZipArchive::new(file).expect("a zip archive");
        let mut text = String::new();
        zip.by_name("metadata").expect("metadata").read_to_string(&mut text).expect("text");
        let ini = ini::Ini::load_from_str(&text).expect("an INI file");
        let device = ini.section(Some("device 1")).expect("a device");
        assert_eq!(device.get("unitsize"), Some("1"), "one byte a sample");
        let rate_hz = match device.get("samplerate").expect("a sample rate").split_once(' ') {
            Some((n, "MHz")) => n.parse::<u64>().expect("a number") * 1_000_000,
            other => panic!("sample rate {other:?}"),
        };
        let probes = device
            .iter()
            .filter_map(|(key, value)| Some((value.to_owned(), key.strip_prefix("probe")?.parse().ok()?)))
            .collect();
        // One member `logic-1`, or numbered chunks `logic-1-1`, `logic-1-2`, …
        let stem = device.get("capturefile").expect("a capture file").to_owned();
        let chunks = std::iter::once(stem.clone()).chain((1..).map(|n| format!("{stem}-{n}")));
        let mut samples = Vec::new();
        for (i, chunk) in chunks.enumerate() {
            match zip.by_name(&chunk) {
                Ok(mut member) => {
                    member.read_to_end(&mut samples).expect("sample bytes");
                }
                Err(_) if i == 0 => {}
                Err(_) => break,
            }
        }
        assert!(!samples.is_empty(), "{name} holds no samples");
        Self { samples, rate_hz, probes }
    }

    fn bit(&self, probe: &str) -> u32 {
        // Some names carry two functions, "MODE/XA".
        let found = self.probes.iter().find(|(name, _)| name.split('/').any(|part| part == probe));
        found.unwrap_or_else(|| panic!("no probe {probe}")).1 - 1
    }
}

/// What a decode of a whole capture gives.
#[derive(Debug, Default, PartialEq, Eq)]
struct Decoded {
    counts: u32,
    net: i64,
    forward: u32,
    back: u32,
    illegal: u32,
    min: i64,
    max: i64,
    reversals: u32,
    shortest_us: u64,
}

fn decode(capture: &Capture, a: &str, b: &str) -> Decoded {
    let (a, b) = (capture.bit(a), capture.bit(b));
    let level = |sample: u8, bit: u32| sample >> bit & 1 == 1;
    let us_per_sample = 1_000_000 / capture.rate_hz;
    let mut samples = capture.samples.iter().copied();
    let first = samples.next().expect("at least one sample");
    let mut q = Quadrature::new(level(first, a), level(first, b));
    let mut d = Decoded { shortest_us: u64::MAX, ..Decoded::default() };
    let mut last: Option<(Turn, u64)> = None;
    for (i, sample) in samples.enumerate() {
        let turn = q.see(level(sample, a), level(sample, b));
        match turn {
            Turn::Still | Turn::Illegal => continue,
            Turn::Forward => d.forward += 1,
            Turn::Back => d.back += 1,
        }
        let t_us = i as u64 * us_per_sample;
        if let Some((before, at)) = last {
            d.reversals += u32::from(before != turn);
            d.shortest_us = d.shortest_us.min(t_us - at);
        }
        last = Some((turn, t_us));
        d.min = d.min.min(q.count().get());
        d.max = d.max.max(q.count().get());
    }
    d.counts = d.forward + d.back;
    d.net = q.count().get();
    d.illegal = q.illegal();
    d
}

/// Source: sigrok-dumps (public domain), see captures/README.md; the figures were computed beforehand by another program with
/// the textbook table.
#[test]
fn real_captures_decode_to_the_figures_found_elsewhere() {
    let hand_a = Decoded {
        counts: 919,
        net: -11,
        forward: 454,
        back: 465,
        illegal: 0,
        min: -66,
        max: 90,
        reversals: 15,
        shortest_us: 78,
    };
    assert_eq!(decode(&Capture::open("quadrature-hand-a.sr"), "XA", "XB"), hand_a);
    let hand_b = Decoded {
        counts: 1_041,
        net: 29,
        forward: 535,
        back: 506,
        illegal: 0,
        min: 0,
        max: 210,
        reversals: 5,
        shortest_us: 947,
    };
    assert_eq!(decode(&Capture::open("quadrature-hand-b.sr"), "XA", "XB"), hand_b);
    let ramp = Decoded {
        counts: 12_732,
        net: 12_732,
        forward: 12_732,
        back: 0,
        illegal: 0,
        min: 0,
        max: 12_732,
        reversals: 0,
        shortest_us: 23,
    };
    assert_eq!(decode(&Capture::open("quadrature-ramp.sr"), "0", "1"), ramp);
}

/// A decode that samples more slowly than the edges come must say so: it counts illegal transitions and loses counts.
#[test]
fn sampling_too_slowly_shows_as_illegal_transitions() {
    let mut capture = Capture::open("quadrature-ramp.sr");
    capture.samples = capture.samples.into_iter().step_by(60).collect();
    let d = decode(&capture, "0", "1");
    assert!(d.illegal > 0, "{d:?}");
    assert!(d.net < 12_732, "{d:?}");
}
