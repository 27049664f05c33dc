//! One product as bytes: written so that whatever is not exactly what was stored is refused.
//!
//! | bytes | what |
//! |---|---|
//! | 1 | version of this layout, [`VERSION`] |
//! | 8 | fingerprint of the machine, little-endian |
//! | 1 + n | length and bytes of the name |
//! | m | the product, postcard |
//! | 4 | CRC-32/ISO-HDLC of all before, little-endian |

use super::name::Name;
use postcard::ser_flavors::Flavor;
use timing_core::digest::Fnv64;
use timing_core::{Machine, Product, ProductError, Setpoints};

/// Version of the layout, and of what the product's fields mean. Other versions are refused, not guessed at.
pub const VERSION: u8 = 1;

/// Room for a record, bytes; the longest that types allow fits, which is tested.
pub const RECORD_MAX: usize = 224;

const CRC: crc::Crc<u32, crc::NoTable> = crc::Crc::<u32, crc::NoTable>::new(&crc::CRC_32_ISO_HDLC);

/// Why a stored record does not become set-points.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum RecordError {
    /// Its bytes are not those that were stored.
    Damaged,
    /// It was stored by a firmware with another layout.
    OtherVersion(u8),
    /// It was stored for a machine with another profile.
    OtherMachine,
    /// Its figures break a rule of the core on this machine.
    Rule(ProductError),
}

impl RecordError {
    /// What is wrong, and what would mend it, for people.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Damaged => "the stored product is damaged: delete it and store it again from its set-up sheet",
            Self::OtherVersion(_) => "the product was stored by another version of this firmware: store it again",
            Self::OtherMachine => {
                "the product was stored for another machine, or before this one was changed: plan it anew"
            }
            Self::Rule(e) => e.words(),
        }
    }
}

/// What a legible record holds: a product and its set-points on this machine, or why not.
pub type Held = Result<(Product, Setpoints), RecordError>;

/// FNV-1a over the machine's canonical bytes.
struct Hash(Fnv64);

impl Flavor for Hash {
    type Output = u64;

    fn try_push(&mut self, byte: u8) -> postcard::Result<()> {
        self.0.write(&[byte]);
        Ok(())
    }

    fn finalize(self) -> postcard::Result<u64> {
        Ok(self.0.get())
    }
}

/// Fingerprint of a validated machine: any measure that is changed changes it.
#[must_use]
pub fn fingerprint(machine: &Machine) -> u64 {
    // Hashing has no buffer that could be full; 0 would only ever refuse.
    postcard::serialize_with_flavor(machine, Hash(Fnv64::new())).unwrap_or(0)
}

/// Writes a record; `None` if it does not fit.
#[must_use]
pub fn encode<'b>(name: &Name, product: &Product, machine: u64, into: &'b mut [u8; RECORD_MAX]) -> Option<&'b [u8]> {
    let text = name.as_str().as_bytes();
    let (head, rest) = into.split_at_mut_checked(10 + text.len())?;
    head[0] = VERSION;
    head[1..9].copy_from_slice(&machine.to_le_bytes());
    head[9] = u8::try_from(text.len()).ok()?;
    head[10..].copy_from_slice(text);
    let body = postcard::to_slice(product, rest).ok()?.len();
    let len = 10 + text.len() + body;
    let crc = CRC.checksum(into.get(..len)?);
    into.get_mut(len..len + 4)?.copy_from_slice(&crc.to_le_bytes());
    into.get(..len + 4)
}

/// Reads who a record is for; what it holds is in the second part.
///
/// # Errors
/// In the first part [`RecordError::Damaged`] or [`RecordError::OtherVersion`]: then not even the name is known. In the
/// second whatever keeps the product from this machine.
pub fn decode(bytes: &[u8], machine: &Machine, hash: u64) -> Result<(Name, Held), RecordError> {
    use RecordError as E;
    let (all, crc) = bytes.split_last_chunk::<4>().ok_or(E::Damaged)?;
    if CRC.checksum(all) != u32::from_le_bytes(*crc) {
        return Err(E::Damaged);
    }
    let (&version, rest) = all.split_first().ok_or(E::Damaged)?;
    if version != VERSION {
        return Err(E::OtherVersion(version));
    }
    let (bound, rest) = rest.split_first_chunk::<8>().ok_or(E::Damaged)?;
    let (&n, rest) = rest.split_first().ok_or(E::Damaged)?;
    let (text, body) = rest.split_at_checked(usize::from(n)).ok_or(E::Damaged)?;
    let text = core::str::from_utf8(text).map_err(|_| E::Damaged)?;
    let name = Name::new(text).map_err(|_| E::Damaged)?;
    if name.as_str() != text {
        return Err(E::Damaged);
    }
    if u64::from_le_bytes(*bound) != hash {
        return Ok((name, Err(E::OtherMachine)));
    }
    let product = match postcard::take_from_bytes::<Product>(body) {
        Ok((product, [])) => product,
        _ => return Err(E::Damaged),
    };
    let set = Setpoints::new(&product, machine).map_err(E::Rule);
    Ok((name, set.map(|set| (product, set))))
}
