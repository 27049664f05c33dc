//! Every figure of machine and product at both ends of its range: a job that the reader takes, the plan can plan, or the core says which
//! of its own limits it breaks. A figure that no plan can be made from is told by the reader, with file, line and key.

use host_sim::job::Job;
use host_sim::job::keys::{ACTUATOR, Key, MACHINE, PRODUCT, Takes};
use host_sim::plan::{self, PlanError};
use std::fs;
use std::path::Path;

/// A key's ends, as they are written in a job file.
fn ends(key: &Key) -> Option<[String; 2]> {
    match key.takes {
        Takes::Quantity(kind, low, high) => Some([low, high].map(|x| format!("\"{}\"", kind.show(x)))),
        Takes::Number(low, high) => Some([low, high].map(|x| x.to_string())),
        Takes::Whole(low, high) => Some([low, high].map(|x| x.to_string())),
        _ => None,
    }
}

/// `text` with `key` of `table` (the top level when empty) set to `value`.
fn with(text: &str, table: &str, key: &str, value: &str) -> String {
    let (mut lines, mut at, mut inside) = (Vec::new(), None, table.is_empty());
    if inside {
        at = Some(0);
    }
    for line in text.lines() {
        if line.starts_with('[') {
            inside = line.trim() == format!("[{table}]");
            lines.push(line.to_owned());
            if inside {
                at = Some(lines.len());
            }
            continue;
        }
        let ours = inside && line.split_once('=').is_some_and(|(k, _)| k.trim() == key);
        if !ours {
            lines.push(line.to_owned());
        }
    }
    lines.insert(at.expect("the table is there"), format!("{key} = {value}"));
    lines.join("\n") + "\n"
}

#[test]
fn what_the_reader_takes_can_be_planned_with() {
    let jobs = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-sim/jobs");
    let read = |name: &str| fs::read_to_string(jobs.join(name)).expect("the shared job files are there");
    let (machine, product) = (read("line/machine.toml"), read("line/elderflower.toml"));
    let dir = tempfile::tempdir().expect("a folder for the test");
    let job = "title = \"A test\"\nmachine = \"machine.toml\"\nproduct = \"product.toml\"\n\n[run]\nbottles = 1\n";
    fs::write(dir.path().join("job.toml"), job).expect("the folder can be written");
    let actuators = ["entry_gate", "release_gate", "grip", "plunger", "rollers", "reject"];
    let mut places: Vec<(&str, &str, &Key)> = MACHINE.iter().map(|k| ("machine", "", k)).collect();
    places.extend(PRODUCT.iter().map(|k| ("product", "", k)));
    places.extend(actuators.into_iter().flat_map(|a| ACTUATOR.iter().map(move |k| ("machine", a, k))));

    let (mut refused, mut planned, mut core) = (0, 0, Vec::new());
    let mut late = Vec::new();
    for (file, table, key) in places {
        for value in ends(key).into_iter().flatten() {
            let (mut m, mut p) = (machine.clone(), product.clone());
            let text = if file == "machine" { &mut m } else { &mut p };
            *text = with(text, table, key.name, &value);
            fs::write(dir.path().join("machine.toml"), m).expect("the folder can be written");
            fs::write(dir.path().join("product.toml"), p).expect("the folder can be written");
            let place = format!("{file} {table} {} = {value}", key.name);
            match Job::read(dir.path().join("job.toml")) {
                Err(_) => refused += 1,
                Ok(job) => match plan::plan(&job) {
                    Ok(_) => planned += 1,
                    Err(e @ PlanError::Value { .. }) => late.push(format!("{place}: {e}")),
                    Err(e) => core.push(format!("{place}: {e}")),
                },
            }
        }
    }
    println!("{planned} planned, {refused} refused by the reader, {} by the core:\n{}", core.len(), core.join("\n"));
    assert!(late.is_empty(), "taken by the reader, and no plan can be made from it:\n{}", late.join("\n"));
    assert!(planned > 100 && refused > 20);
}
