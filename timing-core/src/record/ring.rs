//! A recorder of fixed size, beside the station.

use super::{Coder, ENTRY_MAX};
use crate::event::EventKind;
use crate::io::{Inputs, Outputs};
use crate::station::Station;
use crate::units::{Deadline, Duration};

/// The most bytes that one tick can take: a tick that tells only a time, and its own entry, share one [`super::Entry`].
const TICK_MAX: usize = ENTRY_MAX;

/// Bytes of the length before a snapshot.
const HEAD: usize = 2;

/// Keeps what the station was given and said, as entries, in `2 × HALF` bytes: always at least the half that was filled before this one, so
/// that what is kept never begins later than half of it ago.
///
/// Each half begins with what the station was before its first entry, so that a desk can start from there:
///
/// | bytes | what |
/// |---|---|
/// | 2 | length of the snapshot, little-endian; 0 = from power-up |
/// | n | the snapshot, as the saver that the firmware hands in wrote it |
/// | rest | entries, the first told against everything zero |
///
/// Around each tick: [`Self::before`], then [`Station::tick`], then [`Self::after`]. After a fault it goes on for a while, then freezes: what led
/// to the fault stays until [`Self::thaw`]. Nothing is allocated, nothing waits; draining ([`Self::read`]) takes only what is asked for.
#[derive(Clone, Debug)]
pub struct Recorder<const HALF: usize> {
    halves: [[u8; HALF]; 2],
    filled: [usize; 2],
    /// The half that is being filled.
    newer: usize,
    coder: Coder,
    powered: bool,
    /// How long it goes on after a fault.
    after_fault: Duration,
    freeze: Deadline,
    frozen: bool,
    /// Ticks that found no room, or were not recorded because no snapshot could be saved.
    lost: u32,
}

impl<const HALF: usize> Recorder<HALF> {
    const FITS: () =
        assert!(HALF >= 1024 && HALF <= 1 << 20, "a half holds a snapshot and some entries: 1 KiB … 1 MiB");

    /// An empty recorder, for a station that has not ticked yet; it freezes so long after a fault.
    #[must_use]
    pub fn new(after_fault: Duration) -> Self {
        const { Self::FITS };
        Self {
            halves: [[0; HALF]; 2],
            // At power-up there is nothing to save: the length 0 stands for that.
            filled: [HEAD, 0],
            newer: 0,
            coder: Coder::new(),
            powered: false,
            after_fault,
            freeze: Deadline::NEVER,
            frozen: false,
            lost: 0,
        }
    }

    /// Before a tick: begins the other half if this one may not hold another tick. `save` writes a snapshot of the station and says
    /// how many bytes it took; `None` if it found no room: then nothing is recorded until it does.
    pub fn before(&mut self, station: &Station, save: impl FnOnce(&Station, &mut [u8]) -> Option<usize>) {
        let room = HALF.saturating_sub(self.filled.get(self.newer).copied().unwrap_or(HALF));
        if self.frozen || room >= TICK_MAX {
            return;
        }
        let other = self.newer ^ 1;
        let (Some(half), Some(filled)) = (self.halves.get_mut(other), self.filled.get_mut(other)) else { return };
        *filled = 0;
        // Of what a half holds, at least a tick must find room behind the snapshot.
        let end = HALF.saturating_sub(TICK_MAX);
        let saved = half.get_mut(HEAD..end).and_then(|into| save(station, into));
        let Some((n, length)) = saved.and_then(|n| Some((n, u16::try_from(n).ok()?))) else { return };
        if n == 0 || n > end.saturating_sub(HEAD) {
            return;
        }
        if let Some(head) = half.get_mut(..HEAD) {
            head.copy_from_slice(&length.to_le_bytes());
        }
        *filled = HEAD.saturating_add(n);
        self.newer = other;
        self.coder = Coder::new();
    }

    /// After the tick: what the station was given, and what it said.
    pub fn after(&mut self, inputs: &Inputs, out: &Outputs<'_>) {
        if self.frozen {
            return;
        }
        if self.freeze.fire(inputs.now) {
            self.frozen = true;
            return;
        }
        let (Some(half), Some(filled)) = (self.halves.get_mut(self.newer), self.filled.get_mut(self.newer)) else {
            return;
        };
        let entry = self.coder.tick(inputs, out);
        let bytes = entry.bytes();
        let to = filled.saturating_add(bytes.len());
        match half.get_mut(*filled..to) {
            Some(place) => {
                place.copy_from_slice(bytes);
                *filled = to;
            }
            // No snapshot could be saved, so this half went on and is full.
            None => self.lost = self.lost.saturating_add(1),
        }
        if !self.freeze.is_armed() && out.events.iter().any(|e| e.kind == EventKind::Fault) {
            self.freeze = Deadline::after(inputs.now, self.after_fault);
        }
        self.powered = true;
    }

    /// Whether it has stopped after a fault.
    #[must_use]
    pub const fn is_frozen(&self) -> bool {
        self.frozen
    }

    /// Ticks that could not be kept since the last [`Self::thaw`], because no snapshot could be saved.
    #[must_use]
    pub const fn lost(&self) -> u32 {
        self.lost
    }

    /// Begins anew: what was kept is gone, and the next tick begins a half with a snapshot.
    pub fn thaw(&mut self) {
        if !self.powered {
            return;
        }
        // Full, as far as the next tick can see: it takes the other half, and this one is nothing.
        self.filled = [0; 2];
        if let Some(filled) = self.filled.get_mut(self.newer) {
            *filled = HALF;
        }
        if let Some(half) = self.halves.get_mut(self.newer) {
            half.fill(0);
        }
        self.coder = Coder::new();
        (self.freeze, self.frozen, self.lost) = (Deadline::NEVER, false, 0);
    }

    /// Bytes of the older and of the newer half that are kept, each from its snapshot on; the older may be none.
    #[must_use]
    pub fn halves(&self) -> [&[u8]; 2] {
        let of = |i: usize| -> &[u8] {
            let filled = self.filled.get(i).copied().unwrap_or(0);
            self.halves.get(i).and_then(|h| h.get(..filled)).unwrap_or(&[])
        };
        [of(self.newer ^ 1), of(self.newer)]
    }

    /// Copies what is kept of the older (0) or newer (1) half from `from` on into `into`; how many bytes. Zero at the end. While it is not frozen
    /// the halves may change places between two calls: freeze first, or take both in one go.
    pub fn read(&self, half: usize, from: usize, into: &mut [u8]) -> usize {
        let halves = self.halves();
        let rest = halves.get(half & 1).and_then(|h| h.get(from..)).unwrap_or(&[]);
        let n = rest.len().min(into.len());
        if let (Some(to), Some(of)) = (into.get_mut(..n), rest.get(..n)) {
            to.copy_from_slice(of);
        }
        n
    }

    /// Freezes at once, to be drained.
    pub const fn freeze(&mut self) {
        self.frozen = true;
    }
}
