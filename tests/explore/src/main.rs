//! `explore`: explores small worlds completely and prints a table.

use clap::Parser;
use explore::model::{Plan, Report, explore};
use explore::rules;
use explore::sabotage::Sabotage;
use explore::setup::Kind;
use explore::show;
use std::process::ExitCode;

/// Explores the control core in small worlds, with every placement of a few faults.
#[derive(Parser)]
struct Args {
    /// Deeds that may go wrong, 0 … 3.
    #[arg(short, long, default_value_t = 1, value_parser = clap::value_parser!(u8).range(0..=3))]
    k: u8,
    /// Only these models.
    #[arg(short, long)]
    model: Vec<String>,
    /// Leave out recovery and rest.
    #[arg(long)]
    no_recovery: bool,
    /// Threads; one gives the shortest counter-examples.
    #[arg(short, long, default_value_t = 2)]
    threads: usize,
    /// Depth first: less memory.
    #[arg(long)]
    deep: bool,
    /// With k of 2 or more: every deed in every model, not only those that concern what is special to it.
    #[arg(long)]
    whole: bool,
    /// Show the shortest way to a state from which only Abort leads back to work.
    #[arg(long)]
    gentle: bool,
    /// Stop at so many generated states, unfinished.
    #[arg(long)]
    limit: Option<usize>,
    /// Which rules are judged in which model.
    #[arg(long)]
    rules: bool,
    /// Show that each station broken on purpose is caught.
    #[arg(long)]
    sabotage: bool,
}

fn main() -> ExitCode {
    let args = Args::parse();
    std::panic::set_hook(Box::new(|_| {}));
    if args.rules {
        judged();
        ExitCode::SUCCESS
    } else if args.sabotage {
        sabotage()
    } else {
        models(&args)
    }
}

fn judged() {
    println!("| rule | {} |", Kind::ALL.map(Kind::name).join(" | "));
    println!("|---|{}", "---|".repeat(Kind::ALL.len()));
    for (n, name) in rules::NAMES.iter().enumerate().skip(1) {
        let cells = Kind::ALL.map(|k| rules::applies(k, n as u8).err().unwrap_or("yes"));
        println!("| {name} | {} |", cells.join(" | "));
    }
}

fn models(args: &Args) -> ExitCode {
    println!(
        "model        k    states   generated  depth        s  recovered (by Abort)  most beats: good, after Abort, rest"
    );
    let mut broken = 0;
    for kind in Kind::ALL {
        if !args.model.is_empty() && !args.model.iter().any(|m| m == kind.name()) {
            continue;
        }
        let plan = Plan {
            limit: args.limit,
            recovery: !args.no_recovery,
            threads: args.threads,
            deep: args.deep,
            gentle: args.gentle,
            whole: args.whole || args.k < 2,
            ..Plan::new(kind, args.k)
        };
        let r = explore(plan);
        row(&r);
        for f in &r.found {
            println!("\n{}", show::timeline(f));
            broken += 1;
        }
    }
    if broken == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn row(r: &Report) {
    let recovery = r.recovery.map_or_else(
        || "not asked".to_owned(),
        |(asked, aborts, most)| format!("{asked:9} ({aborts:7})   {:5} {:5} {:5}", most[0], most[1], most[2]),
    );
    println!(
        "{:11} {:2} {:9} {:11} {:6} {:8.1}  {recovery}",
        r.plan.kind.name(),
        r.plan.budget,
        r.states,
        r.generated,
        r.depth,
        r.seconds
    );
}

fn sabotage() -> ExitCode {
    println!("broken on purpose     breaks         caught by                    depth   states        s");
    let mut missed = 0;
    for (how, property) in Sabotage::ALL {
        let r = explore(Plan::broken(how));
        let by: Vec<&str> = r.found.iter().map(|f| f.short()).collect();
        missed += u32::from(!by.contains(&property));
        let by = if by.is_empty() { "NOT CAUGHT".to_owned() } else { by.join(", ") };
        let depth = r.found.iter().filter(|f| f.short() == property).map(|f| f.beats.len()).min().unwrap_or(0);
        println!("{:21} {property:14} {by:28} {depth:5} {:8} {:8.2}", format!("{how:?}"), r.states, r.seconds);
    }
    if missed == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
