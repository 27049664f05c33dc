//! A recording on the desk: the same bits, the story around each fault, and what another set-point would have changed.

use crate::jobs::jobs;
use host_sim::digest::hex;
use host_sim::drift::{Baseline, Ewma};
use host_sim::job::Job;
use host_sim::record::rec::{self, Recording, Setup};
use host_sim::rehearse::{Options, rehearse};
use host_sim::replay::what_if::{KEYS, Wish, tell, what_if};
use host_sim::replay::{Retold, explain, faults, retell};
use host_sim::show::words;
use host_sim::trace::Trace;
use host_sim::verdict::RunResult;
use std::path::{Path, PathBuf};
use timing_core::{Actuator, EventKind, FAULTS, Orders, Pose};

struct Kept {
    job: Job,
    result: RunResult,
    recording: Recording,
    retold: Retold,
}

fn kept(job: Job) -> Kept {
    let options = Options { trace: true, record: true, ..Options::default() };
    let result = rehearse(&job, &options).expect("it can be planned");
    let recording = rec::read(&result.recording).expect("a recording");
    let retold = retell(&recording).expect("set up");
    Kept { job, result, recording, retold }
}

fn named(name: &str) -> Kept {
    kept(jobs().into_iter().find(|j| j.name == name).unwrap_or_else(|| panic!("no job {name}")))
}

fn story(k: &Kept) -> String {
    explain(&k.recording, &k.retold, faults(&k.retold).last().copied())
}

fn s(us: u64) -> String {
    format!("{:.3} s", us as f64 * 1e-6)
}

/// When the rehearsal itself, not the recording, saw an order given for the last time before `t_us`.
fn given(trace: &Trace, t_us: u64, has: impl Fn(Orders) -> bool) -> u64 {
    let turns = trace.moments.windows(2).filter(|w| w[1].t_us < t_us && has(w[1].orders) && !has(w[0].orders));
    turns.last().expect("it is given")[1].t_us
}

#[test]
fn every_rehearsal_records_itself_and_replays_to_the_same_bits() {
    for job in jobs() {
        let k = kept(job);
        let (name, end) = (&k.job.name, k.recording.end.as_ref().expect("whole"));
        assert_eq!(k.retold.replayed.difference, None, "{name}");
        assert_eq!((k.retold.replayed.digest, &end.digest), (k.result.digest, &hex(k.result.digest)), "{name}");
        assert_eq!(k.retold.trace.events, k.result.trace.events, "{name}");
    }
}

#[test]
fn every_fault_of_a_shipped_job_is_named_with_what_to_look_at_and_what_stopped() {
    let mut told = 0;
    for job in jobs() {
        let k = kept(job);
        let all = faults(&k.retold);
        let seen = |e: &&(u64, timing_core::Event)| e.1.kind == EventKind::Fault;
        assert_eq!(all.len(), k.result.trace.events.iter().filter(seen).count(), "{}", k.job.name);
        for fault in &all {
            let story = explain(&k.recording, &k.retold, Some(*fault));
            let first = story.lines().next().expect("a line");
            assert_eq!(
                first,
                format!("Fault at {}: {}.", s(fault.time_us), words::fault(fault.code)),
                "{}",
                k.job.name
            );
            let look = FAULTS[usize::from(fault.code & 31)].look;
            assert!(story.contains(look), "{}: {story}", k.job.name);
            // The sentence of its own that every fault of the shipped jobs has.
            let second = story.lines().nth(1).expect("a second line");
            assert!(!second.starts_with("Just before"), "{}: nothing is said of {first}", k.job.name);
            told += 1;
        }
        if all.is_empty() {
            assert!(story(&k).starts_with("No fault was told."), "{}", k.job.name);
        }
    }
    assert!(told >= 8, "only {told} faults in the shipped jobs");
}

#[test]
fn a_grip_that_sticks_is_told_by_its_order_its_contact_and_its_strokes_before() {
    let k = named("sticking-grip");
    let fault = faults(&k.retold)[0];
    let ordered = given(&k.result.trace, fault.time_us, |o| o.work(Actuator::Grip));
    let story = story(&k);
    let waited = format!("{:.1} ms later", (fault.time_us - ordered) as f64 * 1e-3);
    for words in ["ordered to its working end at", &s(ordered), "\"grip on work\"", &waited, "the head was in Catch"] {
        assert!(story.contains(words), "{words} is not in:\n{story}");
    }
    // The strokes before lie within the spread that the job gives its grip, the filter not counted.
    let m = &k.job.machine.actuators[Actuator::Grip.index()];
    let near = |us: u64| (us as f64 * 1e-3 - m.latency_ms - m.to_work_ms).abs() <= m.spread_ms + 0.01;
    let took: Vec<u64> = k
        .retold
        .strokes
        .iter()
        .filter(|x| x.actuator == Actuator::Grip && x.to == Pose::Work && x.ordered_us < ordered)
        .filter_map(|x| x.took_us)
        .collect();
    assert!(took.len() >= 3 && took.iter().all(|us| near(*us)), "{took:?} µs");
}

#[test]
fn a_misfeed_a_dead_encoder_and_an_open_chain_say_since_when() {
    let k = named("misfeed");
    let fault = faults(&k.retold)[0];
    let opened = given(&k.result.trace, fault.time_us, |o| o.work(Actuator::ReleaseGate));
    let text = story(&k);
    assert!(text.contains(&format!("The release gate had been ordered open at {}", s(opened))), "{text}");
    assert!(text.contains("the release eye has seen nothing since"), "{text}");

    let k = named("dead-encoder");
    let text = story(&k);
    // The job cuts the encoder off at 30 s; the count after the last edge may be told a tick later.
    assert!(text.contains("The encoder has not counted since 30.0"), "{text}");
    assert!(text.contains("It has been ordered to run since"), "{text}");

    let k = named("chain-tightening");
    let fault = faults(&k.retold)[0];
    let text = story(&k);
    assert!(text.contains(&format!("The contact \"chain\" went off at {}", s(fault.time_us))), "{text}");
    assert!(text.contains("asked for: Clear."), "{text}");
}

/// Checked against the modelled line itself, which the recording does not hold.
#[test]
fn ways_are_where_the_bottles_were() {
    let k = named("steady-day");
    let mut compared = 0;
    for way in &k.retold.trace.bottles {
        let Some(truth) = k.result.trace.bottles.iter().find(|b| b.number == way.number) else { continue };
        for piece in way.pieces.iter().filter(|p| p.x_mm < 200.0) {
            let at = truth.pieces.partition_point(|p| p.t_us <= piece.t_us);
            let Some(real) = at.checked_sub(1).map(|i| truth.pieces[i].at(piece.t_us)) else { continue };
            // Slip at the pick-up, response of the eye, and what the jaw moves the bottle by.
            assert!((real - piece.x_mm).abs() < 8.0, "bottle {}: {} against {real} mm", way.number, piece.x_mm);
            compared += 1;
        }
    }
    assert!(compared > 500, "only {compared} places were compared");
}

/// The recorded set-point asked about as a change: no order may part, whatever is interpolated between entries.
#[test]
fn a_change_to_what_it_was_changes_nothing() {
    for job in jobs().into_iter().step_by(3) {
        let k = kept(job);
        let Setup { machine, product } = k.recording.setup;
        let us = |d: timing_core::Duration| format!("{} µs", d.as_micros());
        let wishes = [
            format!("product.seat_dwell={}", us(product.seat_dwell)),
            format!("machine.eye_filter={}", us(machine.eye_filter)),
        ];
        for wish in &wishes {
            let wish = Wish::read(wish).expect("a wish");
            for from_us in [0, k.retold.trace.end_us / 2] {
                let came = what_if(&k.recording, &wish, from_us).expect("accepted");
                assert_eq!(came.parting, None, "{}, {} from {from_us}", k.job.name, wish.text());
            }
        }
    }
}

/// Against the rehearsal of the changed job: the same line under the same draws, which the recording knows nothing of.
#[test]
fn what_would_have_been_is_what_the_changed_job_does() {
    let k = named("steady-day");
    let dwell = k.job.product.seat_dwell_ms + 70.0;
    let mut changed = k.job.clone();
    changed.product.seat_dwell_ms = dwell;
    let changed = kept(changed);
    let wish = Wish::read(&format!("product.seat_dwell={dwell} ms")).expect("a wish");
    let came = what_if(&k.recording, &wish, 0).expect("accepted");
    let parting = came.parting.expect("the rollers come later");
    let first = |t: &Trace| {
        let rollers = |o: Orders| o.work(Actuator::Rollers);
        t.moments.windows(2).find(|w| rollers(w[1].orders) && !rollers(w[0].orders)).expect("they come in")[1].t_us
    };
    let (was, is) = (first(&k.result.trace), first(&changed.result.trace));
    assert_eq!(words::order(parting.order), "rollers in");
    assert_eq!((parting.recorded.map(|t| t.time_us), parting.changed.map(|t| t.time_us)), (Some(was), Some(is)));
    assert_eq!(is - was, 70_000);
    assert!(tell(&k.recording, &wish, &came).contains("70.0 ms"), "{}", tell(&k.recording, &wish, &came));
}

#[test]
fn an_earlier_aim_is_that_much_belt_earlier() {
    let k = named("steady-day");
    let mm = k.job.product.aim_early_mm + 3.0;
    let wish = Wish::read(&format!("product.aim_early={mm} mm")).expect("a wish");
    let p = what_if(&k.recording, &wish, 0).expect("accepted").parting.expect("the grip comes earlier");
    let (recorded, changed) = (p.recorded.expect("recorded"), p.changed.expect("changed"));
    assert_eq!(words::order(p.order), "grip close");
    let scale = f64::from(k.recording.setup.machine.counts_per_mm.to_bits()) / 65_536.0;
    let earlier = (recorded.belt - changed.belt) as f64 / scale;
    assert!((earlier - 3.0).abs() < 2.0 / scale, "{earlier} mm");
}

#[test]
fn every_key_takes_its_own_value_and_a_wrong_one_says_how_to_mend_it() {
    for key in &KEYS {
        let length =
            key.name.ends_with("travel") || ["early", "settle", "window"].iter().any(|e| key.name.ends_with(e));
        let unit = if length { "mm" } else { "ms" };
        assert!(Wish::read(&format!("{}=12 {unit}", key.name)).is_ok(), "{}", key.name);
        let Err(why) = Wish::read(&format!("{}=12", key.name)) else { panic!("{}: no unit", key.name) };
        assert!(why.contains("no unit"), "{why}");
    }
    let why = |text: &str| Wish::read(text).err().unwrap_or_else(|| panic!("{text} is taken"));
    assert!(why("product.seat_dwel=1 ms").contains("did you mean product.seat_dwell?"));
    assert!(why("seat_dwell").contains("write KEY=VALUE"));
    let k = named("misfeed");
    let wish = Wish::read("product.seat_dwell=6 s").expect("a time");
    let refused = what_if(&k.recording, &wish, 0).expect_err("longer than any dwell");
    assert!(refused.contains("product.seat_dwell = 6 s: the controller refuses it"), "{refused}");
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4: the worked EWMA chart, λ = 0.3 around 50 with s = 2.0539. The page rounds
/// the width's factor to 0.4201.
#[test]
fn the_moving_average_is_the_handbooks() {
    let x = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4,
        53.6, 52.1,
    ];
    let z = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
        50.73, 51.23, 51.94, 51.99,
    ];
    let mut e = Ewma::new(0.3, Baseline { n: 0, mean: 50.0, sd: 2.0539 });
    for (x, z) in x.into_iter().zip(z) {
        assert!((e.take(x) - z).abs() <= 0.0051, "{} against {z}", e.mean());
        assert!(!e.has_drifted());
    }
    let (lo, hi) = e.limits();
    assert!((hi - 52.5884).abs() < 1e-3 && (lo - 47.4115).abs() < 1e-3, "{lo} {hi}");
    e.take(60.0);
    assert!(e.has_drifted());
}

fn replay(args: &[&str]) -> (u8, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let args = ["capcycle", "replay"].iter().chain(args).map(|a| std::ffi::OsString::from(*a));
    let code = host_sim::cli::run(args, &mut out, &mut err);
    let text = |b| String::from_utf8(b).expect("text");
    (code, text(out), text(err))
}

fn file(dir: &Path, name: &str, content: &[u8]) -> PathBuf {
    let path = dir.join(name);
    std::fs::write(&path, content).expect("it can be written");
    path
}

#[test]
fn the_verb_says_the_same_or_why_not_and_draws_the_span() {
    let dir = tempfile::tempdir().expect("a folder");
    let k = named("sticking-grip");
    let whole = file(dir.path(), "run.rec", &k.result.recording);
    let (whole, out) = (whole.to_str().expect("a name"), dir.path().join("charts"));
    let (code, said, err) = replay(&[whole, "--explain", "--out", out.to_str().expect("a name")]);
    assert_eq!((code, err.as_str()), (0, ""), "{said}");
    assert!(said.starts_with("THE SAME: ") && said.contains(&hex(k.result.digest)), "{said}");
    for name in ["timing.svg", "travel.svg"] {
        let svg = std::fs::read_to_string(out.join(name)).expect("it is there");
        let drawn = roxmltree::Document::parse(&svg).expect("XML");
        assert_eq!(drawn.root_element().tag_name().name(), "svg");
        assert!(svg.contains("stroke overdue (grip)"), "{name}");
    }
    let (code, said, _) = replay(&[whole, "--json", "--explain", "--what-if", "product.aim_early=2 mm"]);
    let object: serde_json::Value = serde_json::from_str(&said).expect("JSON");
    assert_eq!((code, &object["same"], &object["digest"]), (0, &true.into(), &hex(k.result.digest).into()));
    assert_eq!(object["faults"][0]["fault"], "stroke overdue (grip)");
    assert_eq!(object["what_if"]["order"], "grip close");
}

#[test]
fn the_verb_refuses_what_it_cannot_read_and_tells_what_is_damaged() {
    let dir = tempfile::tempdir().expect("a folder");
    let k = named("sticking-grip");
    let bytes = &k.result.recording;
    let path = |name: &str, content: &[u8]| file(dir.path(), name, content).to_str().expect("a name").to_owned();
    let cut = path("cut.rec", &bytes[..bytes.len() - 1_000]);
    let (code, said, _) = replay(&[&cut]);
    assert!(code == 1 && said.starts_with("THE SAME") && said.contains("cut or spoilt from byte"), "{code} {said}");

    // Another controller than recorded: its set-up was changed, and its frame sealed anew.
    let setup = Setup {
        product: timing_core::Product {
            seat_dwell: timing_core::Duration::from_millis(400),
            ..k.recording.setup.product
        },
        ..k.recording.setup
    };
    let mut other = rec::Writer::new(&setup.machine, &setup.product);
    let mut station = {
        let machine = timing_core::Machine::new(&k.recording.setup.machine).expect("valid");
        let setpoints = timing_core::Setpoints::new(&k.recording.setup.product, &machine).expect("valid");
        timing_core::Station::new(machine, setpoints)
    };
    for told in &k.recording.told {
        let out = station.tick(&told.inputs);
        other.tick(&told.inputs, &out);
    }
    let (code, said, _) = replay(&[&path("other.rec", &other.finish())]);
    assert!(code == 1 && said.starts_with("DIFFERENT: tick "), "{code} {said}");

    let whole = path("run.rec", bytes);
    let wrong: [(&[&str], &str); 5] = [
        (&[&path("no.rec", b"hello")], "does not begin with the letters"),
        (&["no/such.rec"], "name a file that `run --record` wrote"),
        (&[&whole, "--explain", "--fault", "9"], "--fault 9:"),
        (&[&whole, "--what-if", "product.seat_dwell=1 mm"], "product.seat_dwell:"),
        (&[&whole, "--what-if", "product.seat_dwell=1 ms", "--from=-1"], "--from -1:"),
    ];
    for (args, words) in wrong {
        let (code, said, err) = replay(args);
        assert!(code == 2 && said.is_empty() && err.contains(words), "{args:?}: {code} {said} {err}");
    }
    let taken = path("taken", b"mine");
    let (code, _, err) = replay(&[&whole, "--explain", "--out", &taken]);
    assert!(code == 2 && err.contains("is there and no folder"), "{err}");
}

/// The reader that the handbook shows, taken out of its page, against the reader here: another language, and only the page to go by.
#[test]
fn the_handbooks_python_reads_the_same() {
    let page = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/src/recordings.md"));
    let page = page.expect("the chapter is there");
    let code = page.split("```python\n").nth(1).and_then(|c| c.split("```").next()).expect("it has an example");
    assert!(code.lines().count() <= 30, "{} lines", code.lines().count());
    let dir = tempfile::tempdir().expect("a folder");
    let script = file(dir.path(), "read.py", code.as_bytes());
    for name in ["sticking-grip", "outfeed-backs-up", "batch-last-rejected", "chain-tightening"] {
        let k = named(name);
        let rec = file(dir.path(), "run.rec", &k.result.recording);
        let Ok(done) = std::process::Command::new("python3").arg(&script).arg(rec).output() else {
            println!("SKIPPED: there is no python3 to run the example");
            return;
        };
        let said = String::from_utf8(done.stdout).expect("text");
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        let ours = k
            .recording
            .told
            .iter()
            .map(|t| format!("{} {} {}", t.inputs.now.as_micros(), t.inputs.contacts.bits(), t.orders.bits()));
        assert!(said.lines().eq(ours), "{name}: other lines");
    }
}
