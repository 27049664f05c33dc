//! What the fuzzer begins with: a few inputs of each target that get somewhere, written down as what they mean.

use firmware_example::products::Name;
use firmware_example::products::record::{self, RECORD_MAX};
use timing_core::{Command, Inputs, Instant, Machine, Request, Setpoints, Station, example};

/// A seed: its file's name, and its bytes.
pub type Seed = (&'static str, Vec<u8>);

/// The seeds of the target of that name.
///
/// # Panics
/// If there is no such target.
#[must_use]
pub fn of(target: &str) -> Vec<Seed> {
    match target {
        "job" => job(),
        "record" => stored(),
        "flash" => vec![
            ("blank", vec![0, 0, 0, 1, 7, 1, 1, 9, 2, 1, 2, 3, 2, 0]),
            ("few", vec![1, 1, 20, 0, 4, 0, 0, 0, 0, 0, 5, 1, 4, 0, 0, 1, 0, 3]),
            ("worn", vec![2, 2, 0, 16, 4, 255, 255, 255, 255, 252, 31, 4, 0, 0, 0, 0, 1, 1, 9, 3, 2, 0]),
        ],
        "board" => vec![
            ("talk", [&[2_u8, 0][..], &[3 + 8, 0], &[5 + 8, 16], &[0; 16], &[5, 4, 1, 2, 3, 4], &[7, 0]].concat()),
            ("noise", [&[0_u8, 8][..], &[9, 8, 7, 0, 0, 1, 2, 0], &[1, 3, 1, 2, 3], &[0x82, 0, 1, 0]].concat()),
        ],
        "desk" => vec![
            // The desk listens once before it asks; then an honest board says hello, is loaded, and answers all that it is sent.
            ("honest", [6_u8, 0].into_iter().chain([10, 0].repeat(24)).collect()),
            ("spoilt", [6, 0, 10, 0, 10, 0, 9, 3, 40, 0].into_iter().chain([10, 0].repeat(8)).collect()),
            ("liar", vec![6, 0, 2, 0, 3, 0, 5, 9, 0, 0, 0, 0, 0, 0, 0, 0, 0, 4, 3]),
        ],
        "core" => core(),
        "capture" => vec![
            (
                "dump",
                b"$timescale 1 us $end\n$scope module m $end\n$var wire 1 ! a $end\n$var wire 8 # b $end\n$var wire 1 ab c $end\n\
                  $upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n0!\nb0 #\n1ab\n$end\n#1500\n1!\nb101 #\n#700000\nx!\n0ab\n"
                    .to_vec(),
            ),
            ("table", b"; a comment\ntime (ms);a;b;c\n0;0;1;-5\n1.5;1;0;7\n600;0;x;9\n".to_vec()),
        ],
        "recording" => vec![("short", recording()), ("entries", vec![0x20, 1, 8, 1, 0, 0x85, 3, 0x40, 9, 2])],
        other => unreachable!("no target {other}"),
    }
}

/// A recording of a few ticks.
fn recording() -> Vec<u8> {
    let machine = Machine::new(&example::machine()).expect("the example is valid");
    let setpoints = Setpoints::new(&example::product(), &machine).expect("the example is valid");
    let mut station = Station::new(machine, setpoints);
    let mut writer = host_sim::record::rec::Writer::new(&example::machine(), &example::product());
    let commands = [None, Some(Command::Reset), Some(Command::Start), None, None];
    for (i, command) in (1_u64..).zip(commands) {
        let inputs = Inputs {
            now: Instant::from_micros(i * 30_000),
            contacts: example::at_rest(),
            request: command.map(Request::Command),
            ..Inputs::default()
        };
        writer.tick(&inputs, &station.tick(&inputs));
    }
    writer.finish()
}

fn job() -> Vec<Seed> {
    let named = "machine = \"line/machine.toml\"\nproduct = \"line/elderflower.toml\"\n";
    let own = concat!(
        "machine = \"line/machine.toml\"\nproduct = \"own.toml\"\n[run]\nbottles = 3\n\0",
        "diameter = \"70 mm\"\nheight = \"7 in\"\nmass = \"0.6 kg\"\nfriction_min = 0.2\nfriction_max = 25 %\n",
        "cap_diameter = \"28 mm\"\nturns = 1.5\ntighten = \"turns\"\ntorque = \"14 in·lbf\"\nbelt_speed = \"20 ft/min\"\n"
    );
    vec![
        ("whole", format!("{named}[run]\nseed = 1\nbottles = 2\n[expect]\ngood = 2\nrate_min = 15\n").into_bytes()),
        ("happens", format!("{named}[run]\nbottles = 4\n[[run.event]]\nat = \"12 s\"\nwhat = \"hold\"\n").into_bytes()),
        ("own", own.as_bytes().to_vec()),
        (
            "wrong",
            "machine = 3\nproduct = \"gone.toml\"\nrnu = { a = [1, \"\\u00e9\"] }\n[run]\n[run]\nx".as_bytes().to_vec(),
        ),
    ]
}

fn stored() -> Vec<Seed> {
    let machine = Machine::new(&example::machine()).expect("the example is valid");
    let hash = record::fingerprint(&machine);
    let name = Name::new("Elderflower").expect("a plain name");
    let mut room = [0; RECORD_MAX];
    let whole = record::encode(&name, &example::product(), hash, &mut room).expect("it fits").to_vec();
    let with = |kind: u8, part: &[u8]| [&[kind], part].concat();
    let end = whole.len() - 4;
    vec![
        ("whole", with(0, &whole)),
        ("unchecked", with(1, &whole[..end])),
        ("inner", with(2, &whole[9..end])),
        ("cut", with(2, &whole[9..end - 7])),
    ]
}

/// Deeds of the core's target by name.
mod deed {
    pub(super) const FLIP: u8 = 2;
    pub(super) const REQUEST: u8 = 6;
    pub(super) const RUN: u8 = 14;
    pub(super) const RUN_FAST: u8 = 15;
    pub(super) const EXTREME: u8 = 19;
    pub(super) const LOAD: u8 = 20;
    pub(super) const CUT: u8 = 21;
    pub(super) const RESET: u8 = 0;
    pub(super) const START: u8 = 1;
    pub(super) const STOP: u8 = 2;
    pub(super) const HOLD: u8 = 3;
    pub(super) const UNHOLD: u8 = 4;
    pub(super) const CLEAR: u8 = 8;
    pub(super) const POCKET: u8 = 32;
    pub(super) const RELEASE: u8 = 33;
    pub(super) const DISCHARGE: u8 = 34;
    pub(super) const CHAIN: u8 = 35;
}

fn core() -> Vec<Seed> {
    use deed::*;
    let ask = |c: u8| vec![REQUEST, c];
    let run = |n: u8| vec![RUN, n];
    let fast = |n: u8| vec![RUN_FAST, n];
    let flip = |c: u8| vec![FLIP, c];
    // Reset, Start, and the warning, homing and flush until Execute.
    let begin = |setup: u8| {
        [
            vec![setup, 0],
            ask(RESET),
            ask(START),
            fast(63),
            fast(if setup == 1 { 63 } else { 35 }),
            fast(if setup == 1 { 63 } else { 0 }),
        ]
        .concat()
    };
    // A bottle comes into the pocket, is released, passes the release eye, the head, and the discharge eye.
    let bottle = || {
        [
            flip(POCKET),
            run(20),
            flip(RELEASE),
            flip(POCKET),
            run(33),
            flip(RELEASE),
            run(63),
            run(18),
            flip(DISCHARGE),
            run(33),
            flip(DISCHARGE),
            run(40),
        ]
        .concat()
    };
    let manual = [
        vec![0, 0, REQUEST, 9 + 32],
        vec![REQUEST, 11 + 32, 2],
        run(10),
        vec![REQUEST, 13],
        run(20),
        vec![REQUEST, 12],
        ask(STOP),
    ];
    let dry = [
        vec![2, 0, REQUEST, 9 + 16],
        ask(RESET),
        ask(START),
        run(63),
        run(63),
        vec![REQUEST, 14 + 16],
        run(63),
        run(63),
    ];
    let chain = [
        begin(0),
        bottle(),
        flip(CHAIN),
        run(30),
        flip(CHAIN),
        run(10),
        ask(CLEAR),
        run(5),
        ask(RESET),
        ask(START),
        run(63),
    ];
    let held = [begin(1), bottle(), ask(HOLD), run(20), ask(UNHOLD), run(63), bottle(), ask(STOP), run(63)];
    let cut = [begin(0), flip(POCKET), run(20), vec![CUT], run(3), vec![LOAD, 1], ask(RESET), ask(START), run(63)];
    // Two good ones and no more; what comes after them is not released.
    let batch = [
        vec![0, 0, REQUEST, 10 + 32],
        begin(0)[2..].to_vec(),
        bottle(),
        bottle(),
        fast(63),
        fast(63),
        ask(RESET),
        run(5),
    ];
    let ends = [begin(0), vec![EXTREME, 6], vec![0; 4], run(3), vec![EXTREME, 2], vec![9; 4], run(3)];
    let mut seeds: Vec<Seed> = vec![
        ("bottles", [begin(0), bottle(), bottle()].concat()),
        ("early", [begin(1), bottle(), bottle()].concat()),
        ("detented", [begin(2), bottle()].concat()),
        ("line-belt", [begin(3), bottle()].concat()),
        ("blind", [begin(4), bottle()].concat()),
        ("quick", [begin(5), bottle()].concat()),
    ];
    let more: [(&'static str, Vec<u8>); 7] = [
        ("batch", batch.concat()),
        ("manual", manual.concat()),
        ("dry", dry.concat()),
        ("chain", chain.concat()),
        ("held", held.concat()),
        ("cut", cut.concat()),
        ("ends", ends.concat()),
    ];
    seeds.extend(more);
    seeds
}
