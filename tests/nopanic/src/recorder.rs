//! The tick with a recording's coder beside it.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod panic;

/// What is passed in is unknown to the compiler, so nothing can be computed beforehand. Gives how many bytes were kept.
#[cfg(target_os = "none")]
#[unsafe(no_mangle)]
pub fn entry(
    station: &mut timing_core::Station,
    inputs: &timing_core::Inputs,
    coder: &mut timing_core::record::Coder,
    kept: &mut [u8; timing_core::record::ENTRY_MAX],
) -> usize {
    let entry = coder.tick(inputs, &station.tick(inputs));
    let bytes = entry.bytes();
    for (place, byte) in kept.iter_mut().zip(bytes) {
        *place = *byte;
    }
    bytes.len()
}

/// The ring of a board, with a saver that writes what it is told to.
#[cfg(target_os = "none")]
#[unsafe(no_mangle)]
pub fn ring(
    station: &mut timing_core::Station,
    inputs: &timing_core::Inputs,
    recorder: &mut timing_core::record::Recorder<4096>,
    saved: Option<usize>,
    into: &mut [u8; 64],
) -> usize {
    recorder.before(station, |_, _| saved);
    let out = station.tick(inputs);
    recorder.after(inputs, &out);
    if recorder.is_frozen() {
        recorder.thaw();
    }
    recorder.read(0, 0, into)
}

#[cfg(not(target_os = "none"))]
fn main() {
    eprintln!("This is linked for a board and never run: see tests/no_panic.sh.");
}
