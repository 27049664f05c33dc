//! Logic captures: what a logic analyser or another tool saw of a machine's wires, read as a stream of changes.
//!
//! Three kinds are read, told apart by their content: a value change dump (IEEE Std 1364-2005 clause 18), comma-separated values with a
//! column of time, and the zip archive of a logic analyser (`metadata` and sample bytes). Memory does not grow with the capture. A damaged
//! capture gives what came before, and says where the damage lies.

mod bytes;
mod csv;
mod logic;
mod vcd;

use std::fs::File;
use std::io::{Cursor, Read, Seek, SeekFrom};
use std::path::Path;

/// A channel of a capture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Channel {
    /// Its name; of a value change dump with the scopes before it, a dot between.
    pub name: String,
    /// Bits, 1 … 64; 0 = nothing that has levels (a real, a text, or wider than 64 bits): it never changes.
    pub width: u32,
}

/// A channel has another value from here on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Change {
    /// Time since the capture's zero, ns, rounded down.
    pub at_ns: u64,
    /// Number of the channel in [`Capture::channels`].
    pub channel: u32,
    /// Its value; of several bits the number they make, two's complement if they are meant to be signed.
    pub value: u64,
}

/// How a capture ended.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ended {
    /// Its last time, ns.
    pub until_ns: u64,
    /// How many changes were given.
    pub changes: u64,
    /// How many values were neither high nor low (x, z), and left out.
    pub unknown: u64,
    /// What is damaged and where, one sentence; what came before was given.
    pub damage: Option<String>,
}

impl Ended {
    fn damaged(self, what: String) -> Self {
        Self { damage: Some(what), ..self }
    }
}

/// An open capture.
pub struct Capture {
    channels: Vec<Channel>,
    kind: Kind,
}

/// Where a capture's bytes come from.
trait Source: Read + Seek {}

impl<S: Read + Seek> Source for S {}

type Bytes = Box<dyn Source>;

enum Kind {
    Vcd(vcd::Vcd<Bytes>),
    Csv(csv::Table<Bytes>),
    Logic(logic::Logic<Bytes>),
}

impl Capture {
    /// Opens a capture and reads its head.
    ///
    /// # Errors
    /// One sentence: what is wrong, where, and how to mend it.
    pub fn open(path: &Path) -> Result<Self, String> {
        let name = path.display();
        let tell = |e: String| format!("{name}: {e}");
        let file =
            File::open(path).map_err(|e| tell(format!("{e}; name a VCD, a CSV or a logic analyser's archive")))?;
        Self::read(Box::new(file)).map_err(tell)
    }

    /// As [`Self::open`], of bytes.
    ///
    /// # Errors
    /// One sentence, without a file's name.
    pub fn of_bytes(bytes: Vec<u8>) -> Result<Self, String> {
        Self::read(Box::new(Cursor::new(bytes)))
    }

    fn read(mut file: Bytes) -> Result<Self, String> {
        let mut head = Vec::new();
        let back = |e: std::io::Error| format!("cannot be read: {e}");
        (&mut file).take(512).read_to_end(&mut head).map_err(back)?;
        file.seek(SeekFrom::Start(0)).map_err(back)?;
        let first = head.iter().position(|b| !b.is_ascii_whitespace());
        let (channels, kind) = match first.and_then(|i| head.get(i..)) {
            None => return Err("is empty".to_owned()),
            Some([b'P', b'K', ..]) => logic::open(file).map(|(c, k)| (c, Kind::Logic(k))),
            Some([b'$', ..]) => vcd::open(file).map(|(c, k)| (c, Kind::Vcd(k))),
            Some(_) => csv::open(file).map(|(c, k)| (c, Kind::Csv(k))),
        }?;
        Ok(Self { channels, kind })
    }

    /// Its channels.
    #[must_use]
    pub fn channels(&self) -> &[Channel] {
        &self.channels
    }

    /// Gives every change in order of time; the values at the start come as changes at the first time.
    pub fn each(self, f: impl FnMut(Change)) -> Ended {
        match self.kind {
            Kind::Vcd(k) => k.each(&self.channels, f),
            Kind::Csv(k) => k.each(f),
            Kind::Logic(k) => k.each(&self.channels, f),
        }
    }
}
