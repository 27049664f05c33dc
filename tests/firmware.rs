//! The firmware's parts, on the host; `tests/firmware.sh` runs the same on emulated boards.

use firmware_example::recorded::{ReadError, RecordedBoard};
use host_sim::record::inputs::{InputsError, InputsReader};
use timing_core::Digest;

const SEED: u64 = 7;
const TICKS: u32 = 20_000;

fn recording(ticks: u32) -> (Vec<u8>, Digest) {
    let mut bytes = Vec::new();
    let told = tests::wires::record(SEED, ticks, &mut bytes).expect("a vector takes all");
    (bytes, told.digest)
}

fn run(bytes: &[u8]) -> Result<Digest, ReadError> {
    let (mut board, mut station) = RecordedBoard::open(bytes)?;
    firmware_example::run(&mut station, &mut board)?;
    Ok(*board.digest())
}

#[test]
fn the_firmware_loop_gives_what_the_host_gave() {
    let (bytes, told) = recording(TICKS);
    let seen = run(&bytes).expect("it reads what was written");
    assert_eq!(seen, told);
    assert_eq!(seen.ticks(), u64::from(TICKS));
}

#[test]
fn another_input_gives_another_digest() {
    let (bytes, told) = recording(TICKS);
    let mut other = Vec::new();
    tests::wires::record(SEED + 1, TICKS, &mut other).expect("a vector takes all");
    assert_ne!(run(&other).expect("valid").digest(), told.digest());
    assert_eq!(run(&bytes).expect("valid").digest(), told.digest());
}

#[test]
fn host_and_board_read_the_same_ticks() {
    let (bytes, told) = recording(300);
    let reader = InputsReader::new(bytes.as_slice()).expect("valid");
    let (profile, product) = reader.setup();
    assert_eq!((*profile, *product), (timing_core::example::machine(), timing_core::example::product()));
    let machine = timing_core::Machine::new(profile).expect("valid");
    let setpoints = timing_core::Setpoints::new(product, &machine).expect("valid");
    let mut station = timing_core::Station::new(machine, setpoints);
    let mut digest = Digest::new();
    for inputs in reader {
        let inputs = inputs.expect("valid");
        digest.tick(inputs.now, &station.tick(&inputs));
    }
    assert_eq!(digest, told);
}

#[test]
fn a_file_cut_off_anywhere_is_told_by_both_and_runs_nothing_wrong() {
    let (bytes, _) = recording(5);
    for n in 0..bytes.len() {
        let part = &bytes[..n];
        assert_eq!(run(part), Err(ReadError::CutOff), "board, {n} bytes");
        let host = InputsReader::new(part).and_then(|r| r.collect::<Result<Vec<_>, _>>());
        assert!(matches!(host, Err(InputsError::CutOff)), "host, {n} bytes: {host:?}");
    }
}

#[test]
fn a_wrong_file_is_told_for_what_it_is() {
    let (bytes, _) = recording(5);
    let with = |at: usize, byte: u8| {
        let mut b = bytes.clone();
        b[at] = byte;
        run(&b)
    };
    assert_eq!(with(0, b'x'), Err(ReadError::NotRecordedInputs));
    assert_eq!(with(8, 2), Err(ReadError::Version(2)));
    assert_eq!(with(11, 0xff), Err(ReadError::TooLong(u16::from_le_bytes([bytes[10], 0xff]))));
    // One byte shorter: what remains of the part belongs to nobody.
    let mut longer = bytes.clone();
    let length = u16::from_le_bytes([bytes[10], bytes[11]]);
    longer[10..12].copy_from_slice(&(length + 1).to_le_bytes());
    longer.insert(12 + usize::from(length), 0);
    assert_eq!(run(&longer), Err(ReadError::Garbled));
}

#[test]
fn no_byte_of_the_head_makes_the_reader_panic() {
    let (bytes, _) = recording(3);
    for at in 0..bytes.len() {
        for byte in [0, 1, 0x7f, 0x80, 0xff] {
            let mut b = bytes.clone();
            b[at] = byte;
            // Either a result or an error: what it must not do is panic.
            let board = run(&b).is_ok();
            let host = InputsReader::new(b.as_slice()).is_ok_and(|r| r.into_iter().all(|i| i.is_ok()));
            assert!(host || !board, "byte {at} = {byte:#x}: the board reads what the host does not");
        }
    }
}

/// Digests that agree prove little if the recordings never leave the first state.
#[test]
fn the_drawn_recordings_reach_production_and_trouble() {
    use timing_core::UnitState as S;
    let mut seen = 0;
    for seed in 1..=3 {
        seen |= tests::wires::record(seed, TICKS, std::io::sink()).expect("a sink takes all").states;
    }
    for state in [S::Starting, S::Execute, S::Holding, S::Held, S::Unholding, S::Aborted, S::Stopped] {
        assert_ne!(seen & (1 << state as u32), 0, "{} is never reached", state.name());
    }
}
