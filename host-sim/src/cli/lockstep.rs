//! The verb `lockstep`: firmware in the loop.

use super::args::LockstepArgs;
use super::{FINE, NO, WRONG_INPUT, say};
use crate::job::Job;
use crate::link::faulty::{Faulty, ONE_IN, Spoilt};
use crate::link::{Line, Lockstep, emulator, lockstep, port};
use crate::record::inputs::InputsReader;
use crate::rehearse::{Options, rehearse};
use serde_json::json;
use std::io::Write;
use std::time::{Instant as Clock, SystemTime, UNIX_EPOCH};
use timing_core::Inputs;

/// `lockstep`: no if the board says anything else than the core here.
pub(super) fn run(a: &LockstepArgs, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    let mut jobs = Vec::with_capacity(a.jobs.len());
    for path in &a.jobs {
        match Job::read(path) {
            Ok(job) => jobs.push(job),
            Err(e) => {
                say(err, &format!("{e} {}\n", path.display()));
                return WRONG_INPUT;
            }
        }
    }
    let line = match open(a) {
        Ok(line) => line,
        Err(why) => {
            say(err, &format!("{why}\n"));
            return WRONG_INPUT;
        }
    };
    match a.link_faults {
        None => compare(a, &jobs, Through { line, spoilt: |_| None }, out, err),
        Some(seed) => {
            let line = Faulty::new(line, seed, ONE_IN);
            compare(a, &jobs, Through { line, spoilt: |l| Some(l.spoilt) }, out, err)
        }
    }
}

/// A line, and what it spoilt.
struct Through<L> {
    line: L,
    spoilt: fn(&L) -> Option<Spoilt>,
}

impl Line for Box<dyn Line> {
    fn send(&mut self, bytes: &[u8]) -> std::io::Result<()> {
        (**self).send(bytes)
    }

    fn receive(&mut self, into: &mut Vec<u8>, patience: std::time::Duration) -> std::io::Result<bool> {
        (**self).receive(into, patience)
    }

    fn patience(&self) -> std::time::Duration {
        (**self).patience()
    }
}

fn open(a: &LockstepArgs) -> Result<Box<dyn Line>, String> {
    if let Some(path) = &a.port {
        let port = port::Port::open(path, a.baud).map_err(|e| {
            format!("{}: {e}; name the board's serial port, and see that nothing else has it open", path.display())
        })?;
        return Ok(Box::new(port));
    }
    let (Some(board), Some(firmware)) = (&a.emulator, &a.firmware) else {
        return Err("give --emulator BOARD --firmware ELF, or --port PATH".to_owned());
    };
    let target = emulator::BOARDS.iter().find(|b| b.0 == board.as_str()).map_or("", |b| b.1);
    if !firmware.is_file() {
        return Err(format!(
            "{}: there is no such file; build the firmware with\n  cargo build -p firmware-example --bin emulated --profile firmware --target {target}\n\
             and name target/{target}/firmware/emulated",
            firmware.display()
        ));
    }
    let started = emulator::Emulator::start(board, firmware).map_err(|e| {
        format!("{}: {e}; on Debian: apt-get install --no-install-recommends qemu-system-arm", emulator::PROGRAM)
    })?;
    Ok(Box::new(started))
}

/// Every job, with every seed, one after the other on one line.
fn compare<L: Line>(
    a: &LockstepArgs,
    jobs: &[Job],
    mut through: Through<L>,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> u8 {
    let board = a.emulator.clone().unwrap_or_else(|| "the board".to_owned());
    let (mut code, mut ticks, mut different, mut runs) = (FINE, 0, 0, 0);
    let mut seconds = 0.0;
    // A board on a port may still hold a run of an earlier talk.
    let first = if a.port.is_some() { millis() } else { 0 };
    for job in jobs {
        for seed in 0..a.seeds {
            let mut job = job.clone();
            job.run.seed = job.run.seed.wrapping_add(seed);
            runs += 1;
            let told = match one(&mut through.line, first.wrapping_add(runs), &job) {
                Ok((told, took)) => {
                    seconds += took;
                    told
                }
                Err(why) => {
                    say(err, &format!("{}: {why}\n", job.name));
                    return WRONG_INPUT;
                }
            };
            ticks += told.ticks;
            if told.difference.is_some() {
                different += 1;
                code = NO;
            }
            if a.json {
                let line = json!({ "job": job.name, "seed": job.run.seed, "board": board, "lockstep": told });
                say(out, &format!("{line}\n"));
            } else if !a.quiet || told.difference.is_some() {
                say(out, &words(&job, &board, &told));
            }
        }
    }
    if !a.json {
        let spoilt = (through.spoilt)(&through.line).map_or_else(String::new, |s| {
            format!(
                "; frames spoilt on purpose: {} lost, {} cut, {} doubled, {} corrupted",
                s.lost, s.cut, s.doubled, s.corrupted
            )
        });
        say(
            out,
            &format!(
                "{runs} runs on {board}: {ticks} ticks compared, {different} differences; {:.0} a second{spoilt}\n",
                ticks as f64 / seconds
            ),
        );
    }
    code
}

/// One run: what came of it, and how long the link took, s.
fn one(line: &mut impl Line, run: u32, job: &Job) -> Result<(Lockstep, f64), String> {
    let options = Options { inputs: true, rules: false, ..Options::default() };
    let rehearsed = rehearse(job, &options).map_err(|e| format!("cannot be planned: {e}"))?;
    let reader = InputsReader::new(rehearsed.inputs.as_slice()).map_err(|e| e.to_string())?;
    let (machine, product) = (*reader.setup().0, *reader.setup().1);
    let inputs: Vec<Inputs> = reader.collect::<Result<_, _>>().map_err(|e| e.to_string())?;
    let from = Clock::now();
    let told = lockstep(line, run, (&machine, &product), inputs.into_iter()).map_err(|e| e.to_string())?;
    let took = from.elapsed().as_secs_f64();
    let digest = crate::digest::hex(rehearsed.digest);
    if told.difference.is_none() && told.digest != digest {
        return Err(format!(
            "the core here gave {digest} in the rehearsal and {} in the loop: a fault of this program",
            told.digest
        ));
    }
    Ok((told, took))
}

fn words(job: &Job, board: &str, told: &Lockstep) -> String {
    match &told.difference {
        None => format!(
            "{}, seed {}: {} ticks the same on {board}, digest {}, {} frames repeated\n",
            job.name, job.run.seed, told.ticks, told.digest, told.link.repeated
        ),
        Some(d) => format!(
            "{}, seed {}: DIFFERENT at tick {} ({} µs): {}\n  here:  {}\n  board: {}\n",
            job.name, job.run.seed, d.tick, d.now_us, d.field, d.desk, d.board
        ),
    }
}

fn millis() -> u32 {
    SystemTime::now().duration_since(UNIX_EPOCH).map_or(1, |d| d.as_millis() as u32)
}
