//! `wires SEED TICKS FILE [struck]`: writes recorded inputs and prints what this host's core made of them, as the firmware does.
//!
//! `wires soak SEED FOLDER`: what each core of a seed of the soak was given, a file for each.

use std::fs::File;
use std::io::BufWriter;
use std::path::Path;
use std::process::ExitCode;

use host_sim::record::inputs::InputsWriter;
use host_sim::soak::{Draws, Profile, taped};

fn soak(seed: u64, folder: &Path) -> std::io::Result<()> {
    for (n, tape) in taped(&Draws::new(seed, Profile::Wild)).iter().enumerate() {
        let file = File::create(folder.join(format!("soak-{seed}-{n}.inputs")))?;
        let mut writer = InputsWriter::new(BufWriter::new(file), &tape.setup.0, &tape.setup.1)?;
        tape.inputs.iter().try_for_each(|i| writer.tick(i))?;
        writer.finish()?;
    }
    Ok(())
}

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    if let [word, seed, folder] = words.as_slice()
        && word == "soak"
        && let Ok(seed) = seed.parse()
    {
        return match soak(seed, Path::new(folder)) {
            Ok(()) => ExitCode::SUCCESS,
            Err(e) => {
                eprintln!("{folder}: {e}");
                ExitCode::from(2)
            }
        };
    }
    let (words, struck) = match words.as_slice() {
        [words @ .., last] if last == "struck" => (words, true),
        words => (words, false),
    };
    let parsed = match words {
        [seed, ticks, file] => seed.parse().ok().zip(ticks.parse().ok()).map(|(s, t)| (s, t, file)),
        _ => None,
    };
    let Some((seed, ticks, file)) = parsed else {
        eprintln!("usage: wires SEED TICKS FILE [struck], or wires soak SEED FOLDER");
        return ExitCode::from(2);
    };
    let told = File::create(file).and_then(|f| {
        let record = if struck { tests::wires::record_struck } else { tests::wires::record };
        record(seed, ticks, BufWriter::new(f))
    });
    match told {
        Ok(told) => {
            println!("ticks {}", told.digest.ticks());
            println!("digest {:016x}", told.digest.digest());
            println!("trace_digest {:016x}", told.digest.trace());
            let seen: Vec<&str> = timing_core::UnitState::ALL
                .into_iter()
                .filter(|s| told.states & (1 << *s as u32) != 0)
                .map(timing_core::UnitState::name)
                .collect();
            eprintln!("seed {seed}, unit states seen: {}", seen.join(" "));
            ExitCode::SUCCESS
        }
        Err(e) => {
            eprintln!("{file}: {e}");
            ExitCode::from(2)
        }
    }
}
