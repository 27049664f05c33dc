//! What a core makes of recorded inputs, as a list of hashes: equal lists, equal behaviour.
//!
//! Hashed is only what can be seen of a station from outside: the outputs of every tick, what its book counts, what is inside, and the bytes of
//! the recorder beside it. The files are those of `host_sim::record::inputs`; they are read here anew, so that a change of the core
//! does not build the whole desk again.

use serde::de::DeserializeOwned;
use std::path::{Path, PathBuf};
use timing_core::digest::Fnv64;
use timing_core::record::Recorder;
use timing_core::{Digest, Duration, Inputs, Machine, MachineProfile, Product, Setpoints, Station};

/// Ticks between two hashes.
const EVERY: u64 = 64;
/// Of so many hashes one takes the recorder's bytes in.
const RECORDER: u64 = 16;
/// Magic and version before the first part.
const HEAD: usize = 10;

#[path = "../../bad_input/refused.rs"]
pub mod bad_input;
#[path = "../../promises.rs"]
pub mod promises;

struct Parts<'a>(&'a [u8]);

impl Parts<'_> {
    /// The next part; `None` at the end mark.
    fn next<T: DeserializeOwned>(&mut self) -> Option<T> {
        let (length, rest) = self.0.split_first_chunk::<2>().expect("recorded inputs end with a mark");
        let n = usize::from(u16::from_le_bytes(*length));
        let (part, rest) = rest.split_at(n);
        self.0 = rest;
        (n > 0).then(|| postcard::from_bytes(part).expect("a part decodes"))
    }
}

/// Runs a core on a file of recorded inputs; `told` hears each hash.
///
/// # Panics
/// When the file is none of recorded inputs, or the core refuses its machine or product.
pub fn hashes(file: &[u8], mut told: impl FnMut(u64)) {
    let mut parts = Parts(&file[HEAD..]);
    let profile: MachineProfile = parts.next().expect("a machine");
    let product: Product = parts.next().expect("a product");
    let machine = Machine::new(&profile).expect("a machine that the core takes");
    let setpoints = Setpoints::new(&product, &machine).expect("a product that the core takes");
    let mut station = Station::new(machine, setpoints);
    let mut recorder = Recorder::<1024>::new(Duration::from_micros(2_000_000));
    let mut digest = Digest::new();
    let mut n = 0;
    while let Some(inputs) = parts.next::<Inputs>() {
        // One byte stands for the snapshot: here only the entries count.
        recorder.before(&station, |_, into| into.first_mut().map(|b| *b = 1).and(Some(1)));
        let out = station.tick(&inputs);
        digest.tick(inputs.now, &out);
        recorder.after(&inputs, &out);
        n += 1;
        if n % EVERY == 0 {
            told(seen(&station, &digest, (n % (EVERY * RECORDER) == 0).then_some(&recorder)));
        }
    }
    told(seen(&station, &digest, Some(&recorder)));
}

fn seen(station: &Station, digest: &Digest, recorder: Option<&Recorder<1024>>) -> u64 {
    let mut hash = Fnv64::new();
    hash.write(&digest.trace().to_le_bytes());
    hash.write(&digest.digest().to_le_bytes());
    hash.write(&station.inside().to_le_bytes());
    let mut book = [0; 2048];
    hash.write(postcard::to_slice(station.book(), &mut book).expect("a book of bounded size"));
    if let Some(r) = recorder {
        for half in r.halves() {
            hash.write(half);
        }
    }
    hash.get()
}

/// Where the hashes of a file are kept.
#[must_use]
pub fn beside(inputs: &Path) -> PathBuf {
    inputs.with_extension("kept")
}
