//! How fast captures are read and recordings are written and read, beside the libraries that could have done it. Prints tables; asserts
//! nothing.
//!
//! `cargo bench -p host-sim --bench files`

use host_sim::capture::Capture;
use host_sim::job::Job;
use host_sim::record::{rec, vcd};
use host_sim::rehearse::{Options, rehearse};
use std::hint::black_box;
use std::path::Path;
use std::time::Instant as Clock;
use timing_core::{Inputs, Machine, Setpoints, Station};

const RUNS: usize = 7;

fn main() {
    // The peak of this process in its own copy, so that nothing else is counted.
    let mut args = std::env::args().skip(1).filter(|a| a != "--bench");
    if let (Some(how), Some(path)) = (args.next(), args.next()) {
        return peak(&how, Path::new(&path));
    }
    let mut job = Job::demo();
    (job.run.bottles, job.run.batch, job.run.duration_s) = (2_000, 0, 1e6);
    let options = Options { trace: true, record: true, rules: false, ..Options::default() };
    let run = rehearse(&job, &options).expect("the demo can be planned");
    let dir = tempfile::tempdir().expect("a folder");
    captures(&vcd::vcd(&run.trace), dir.path());
    recordings(&job, &run.recording);
}

fn time<T>(mut work: impl FnMut() -> T) -> f64 {
    let mut seconds: Vec<f64> = (0..RUNS)
        .map(|_| {
            let start = Clock::now();
            black_box(work());
            start.elapsed().as_secs_f64()
        })
        .collect();
    seconds.sort_by(f64::total_cmp);
    seconds[RUNS / 2]
}

fn ours(path: &Path) -> u64 {
    let capture = Capture::open(path).expect("a capture");
    let mut sum = 0;
    capture.each(|c| sum += c.value & 1);
    sum
}

fn wellens(path: &Path) -> u64 {
    let options = wellen::LoadOptions::default();
    let mut wave = wellen::stream::read_from_file(path, &options).expect("a capture");
    let mut n = 0;
    let read = wave.stream_changes(wellen::stream::Filter::all(), |_, _, _| -> Result<(), std::convert::Infallible> {
        n += 1;
        Ok(())
    });
    assert!(read.is_ok());
    n
}

fn vcds(path: &Path) -> u64 {
    let file = std::io::BufReader::new(std::fs::File::open(path).expect("it is there"));
    let mut parser = ::vcd::Parser::new(file);
    parser.parse_header().expect("a header");
    parser.map(|c| u64::from(c.is_ok())).sum()
}

/// Reads a whole capture.
type Reader = fn(&Path) -> u64;

fn captures(text: &str, dir: &Path) {
    // One run after the other, its times moved on.
    let (head, body) = text.split_once("#0\n").expect("it begins at 0");
    let end: u64 = body.lines().rev().find_map(|l| l.strip_prefix('#')?.parse().ok()).expect("an end");
    let mut paths = Vec::new();
    for (name, bytes) in [("10 MB", 10_000_000), ("200 MB", 200_000_000)] {
        let path = dir.join(format!("{bytes}.vcd"));
        let mut all = format!("{head}#0\n");
        let mut from = 0;
        while all.len() < bytes {
            for line in body.lines() {
                match line.strip_prefix('#').and_then(|t| t.parse::<u64>().ok()) {
                    Some(t) => all.push_str(&format!("#{}\n", from + t)),
                    // What dumps everything anew stands only at the beginning.
                    None if from > 0 && line.starts_with('$') => {}
                    None => {
                        all.push_str(line);
                        all.push('\n');
                    }
                }
            }
            from += end;
        }
        std::fs::write(&path, &all).expect("it can be written");
        paths.push((name, path, all.len() as f64 / 1e6));
    }
    println!("captures: medians of {RUNS} runs; peak memory of a process that does nothing else");
    println!("{:<24} {:>10} {:>10} {:>14}", "reader", "file", "MB/s", "peak, MB");
    let readers: [(&str, Reader); 3] = [("here", ours), ("wellen, streaming", wellens), ("vcd crate", vcds)];
    for (name, path, mb) in &paths {
        for (reader, read) in readers {
            let seconds = time(|| read(path));
            println!("{reader:<24} {name:>10} {:>10.0} {:>14}", mb / seconds, peak_of(reader, path));
        }
    }
}

fn peak_of(reader: &str, path: &Path) -> String {
    let me = std::env::current_exe().expect("a program");
    let done = std::process::Command::new(me).arg(reader).arg(path).output().expect("it runs");
    String::from_utf8_lossy(&done.stdout).trim().to_owned()
}

fn peak(reader: &str, path: &Path) {
    black_box(match reader {
        "here" => ours(path),
        "vcd crate" => vcds(path),
        _ => wellens(path),
    });
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    let kb = line.and_then(|l| l.trim().trim_end_matches("kB").trim().parse::<f64>().ok());
    println!("{}", kb.map_or_else(|| "not told here".to_owned(), |kb| format!("{:.1}", kb / 1e3)));
}

fn recordings(job: &Job, recording: &[u8]) {
    let read = rec::read(recording).expect("a recording");
    let plan = host_sim::plan::plan(job).expect("the demo can be planned");
    let machine: Machine = plan.machine().expect("valid");
    let setpoints: Setpoints = plan.setpoints_of().expect("valid");
    let inputs: Vec<Inputs> = read.told.iter().map(|t| t.inputs).collect();
    let ticks = inputs.len() as f64;
    let bare = time(|| {
        let mut station = Station::new(machine, setpoints);
        inputs.iter().map(|i| station.tick(i).events.len()).sum::<usize>()
    });
    let written = time(|| {
        let mut station = Station::new(machine, setpoints);
        let mut writer = rec::Writer::new(&plan.profile, &plan.product);
        for i in &inputs {
            writer.tick(i, &station.tick(i));
        }
        writer.finish()
    });
    let postcards = |told: &[rec::Told]| -> Vec<u8> {
        told.iter().flat_map(|t| postcard::to_stdvec(&t.inputs).expect("memory")).collect()
    };
    let plain = postcards(&read.told);
    let back = || {
        let (mut rest, mut n) = (plain.as_slice(), 0_u64);
        while let Ok((i, later)) = postcard::take_from_bytes::<Inputs>(rest) {
            (rest, n) = (later, n ^ (i.now.as_micros() & 1));
            if rest.is_empty() {
                break;
            }
        }
        n
    };
    let trace = host_sim::replay::retell(&read).expect("set up").trace;
    let dump = vcd::vcd(&trace);
    println!("\nrecordings: {ticks} ticks of {} bottles; medians of {RUNS} runs", job.run.bottles);
    println!("{:<44} {:>12} {:>14}", "", "bytes a tick", "million ticks/s");
    let row = |what: &str, bytes: usize, seconds: f64| {
        println!("{what:<44} {:>12.2} {:>14.2}", bytes as f64 / ticks, ticks / seconds / 1e6);
    };
    row("written here (the core's own time taken off)", recording.len(), (written - bare).max(1e-9));
    row("postcard, inputs alone, written", plain.len(), time(|| postcards(&read.told)));
    row("vcd crate, written (run.vcd)", dump.len(), time(|| vcd::vcd(&trace)));
    row("read here", recording.len(), time(|| rec::read(recording).map(|r| r.told.len())));
    row("postcard, inputs alone, read", plain.len(), time(back));
    row(
        "replayed: read, and the core over it",
        recording.len(),
        time(|| rec::replay(&rec::read(recording).expect("whole"))),
    );
}
