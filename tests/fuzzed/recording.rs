//! Any bytes as a recording, or as what a board's recorder kept.

use host_sim::record::{rec, ring};
use host_sim::replay::{explain, faults, retell};

/// Read or refused; what is read is replayed, and every story can be told; bytes behind a good head are tried as entries, too.
///
/// # Panics
/// When something is not as it must be.
pub fn recording(bytes: &[u8]) {
    if let Ok(recording) = rec::read(bytes) {
        assert!(recording.damage.is_some() || recording.end.is_some());
        if let Ok(retold) = retell(&recording) {
            assert!(retold.replayed.ticks as usize <= recording.told.len());
            for fault in faults(&retold).into_iter().take(3).map(Some).chain([None]) {
                assert!(!explain(&recording, &retold, fault).is_empty());
            }
        }
    }
    // Without the check sum that keeps a fuzzer out.
    let _ = rec::decode(bytes);
    if let Ok(half) = ring::half(bytes)
        && let Some(mut station) = half.from
    {
        for told in half.told.iter().take(500) {
            let _ = station.tick(&told.inputs);
        }
    }
    let _ = ring::drained(bytes);
}
