//! What a station will do from here on, as one number: every field of its control state.
//!
//! The core serialises itself; this serialiser only hashes. Left out is what nothing is decided from: the tables (the same
//! all along), the book but for the batch, the serial numbers of bottles, the events of the tick, and when to wake: the laws of
//! wake, tested elsewhere, say that the last is a matter of speed alone. The station must have been rebased to a fixed time and
//! belt place before.

use crate::setup::CELL;
use crate::world::NOW_US;
use ahash::AHasher;
use serde::ser::{self, Serialize, Serializer};
use std::hash::Hash;
use timing_core::Station;

/// Cannot happen: nothing here fails.
type Never = serde::de::value::Error;

/// Feeds the control state of `station` into `hash`; says how many values that were.
pub fn feed(station: &Station, hash: &mut AHasher) -> usize {
    let mut feeder = Feeder { hash, fed: 0, awaited: false };
    let fed = station.serialize(&mut feeder).is_ok();
    // All that is decided from the book: how many the batch still wants, if there is one.
    let book = station.book();
    feeder.take(book.batch.saturating_sub(book.batch_good));
    feeder.take(book.batch != 0);
    if fed { feeder.fed } else { 0 }
}

/// A hasher with the same seed everywhere, so that counts of states repeat.
#[must_use]
pub fn hasher() -> AHasher {
    use std::hash::BuildHasher;
    ahash::RandomState::with_seeds(0x6361_7063, 0x7963_6c65, 0x6578_706c, 0x6f72_6500).build_hasher()
}

/// Which fields of a struct count.
fn counts(of: &str, field: &str) -> bool {
    match of {
        "Station" => matches!(field, "ctl" | "said"),
        "Said" => field == "powered",
        "Bottle" => field != "serial",
        "Track" => field != "next_serial",
        _ => true,
    }
}

/// What is so long past is past, however long: µs.
const PAST_US: u32 = 3_000_000;
/// What lies so far behind on the belt is behind, however far: counts.
const BEHIND: i32 = 30 * CELL as i32;
/// The time to which a station was rebased, in the 32 bits that it keeps.
const NOW: u32 = NOW_US as u32;

struct Feeder<'a> {
    hash: &'a mut AHasher,
    fed: usize,
    /// The next number is a time or a place that is awaited, or was.
    awaited: bool,
}

impl Feeder<'_> {
    fn take(&mut self, value: impl Hash) {
        self.fed += 1;
        value.hash(self.hash);
    }
}

/// A struct, of which some fields count.
struct Fields<'a, 'f> {
    feeder: &'a mut Feeder<'f>,
    of: &'static str,
}

impl ser::SerializeStruct for Fields<'_, '_> {
    type Ok = ();
    type Error = Never;
    fn serialize_field<T: ?Sized + Serialize>(&mut self, key: &'static str, value: &T) -> Result<(), Never> {
        if counts(self.of, key) { value.serialize(&mut *self.feeder) } else { Ok(()) }
    }
    fn end(self) -> Result<(), Never> {
        Ok(())
    }
}

macro_rules! plain {
    ($($name:ident: $type:ty),*) => { $(
        fn $name(self, v: $type) -> Result<(), Never> {
            self.take(v);
            Ok(())
        }
    )* };
}

macro_rules! parts {
    ($($trait:ident::$name:ident),*) => { $(
        impl ser::$trait for &mut Feeder<'_> {
            type Ok = ();
            type Error = Never;
            fn $name<T: ?Sized + Serialize>(&mut self, value: &T) -> Result<(), Never> {
                value.serialize(&mut **self)
            }
            fn end(self) -> Result<(), Never> {
                Ok(())
            }
        }
    )* };
}

parts!(
    SerializeSeq::serialize_element,
    SerializeTuple::serialize_element,
    SerializeTupleStruct::serialize_field,
    SerializeTupleVariant::serialize_field
);

impl ser::SerializeMap for &mut Feeder<'_> {
    type Ok = ();
    type Error = Never;
    fn serialize_key<T: ?Sized + Serialize>(&mut self, key: &T) -> Result<(), Never> {
        key.serialize(&mut **self)
    }
    fn serialize_value<T: ?Sized + Serialize>(&mut self, value: &T) -> Result<(), Never> {
        value.serialize(&mut **self)
    }
    fn end(self) -> Result<(), Never> {
        Ok(())
    }
}

impl ser::SerializeStructVariant for &mut Feeder<'_> {
    type Ok = ();
    type Error = Never;
    fn serialize_field<T: ?Sized + Serialize>(&mut self, _: &'static str, value: &T) -> Result<(), Never> {
        value.serialize(&mut **self)
    }
    fn end(self) -> Result<(), Never> {
        Ok(())
    }
}

impl<'a, 'f> Serializer for &'a mut Feeder<'f> {
    type Ok = ();
    type Error = Never;
    type SerializeSeq = Self;
    type SerializeTuple = Self;
    type SerializeTupleStruct = Self;
    type SerializeTupleVariant = Self;
    type SerializeMap = Self;
    type SerializeStruct = Fields<'a, 'f>;
    type SerializeStructVariant = Self;

    plain!(
        serialize_bool: bool, serialize_i8: i8, serialize_i16: i16, serialize_i64: i64,
        serialize_u8: u8, serialize_u16: u16, serialize_u64: u64, serialize_char: char,
        serialize_str: &str, serialize_bytes: &[u8]
    );

    fn serialize_u32(self, v: u32) -> Result<(), Never> {
        let past = std::mem::take(&mut self.awaited) && v < NOW - PAST_US;
        self.take(if past { 0 } else { v });
        Ok(())
    }
    fn serialize_i32(self, v: i32) -> Result<(), Never> {
        let behind = std::mem::take(&mut self.awaited) && v < -BEHIND;
        self.take(if behind { i32::MIN } else { v });
        Ok(())
    }
    fn serialize_f32(self, v: f32) -> Result<(), Never> {
        self.take(v.to_bits());
        Ok(())
    }
    fn serialize_f64(self, v: f64) -> Result<(), Never> {
        self.take(v.to_bits());
        Ok(())
    }
    fn serialize_none(self) -> Result<(), Never> {
        self.take(false);
        Ok(())
    }
    fn serialize_some<T: ?Sized + Serialize>(self, value: &T) -> Result<(), Never> {
        self.take(true);
        value.serialize(self)
    }
    fn serialize_unit(self) -> Result<(), Never> {
        Ok(())
    }
    fn serialize_unit_struct(self, _: &'static str) -> Result<(), Never> {
        Ok(())
    }
    fn serialize_unit_variant(self, _: &'static str, index: u32, _: &'static str) -> Result<(), Never> {
        self.take(index);
        Ok(())
    }
    fn serialize_newtype_struct<T: ?Sized + Serialize>(self, of: &'static str, value: &T) -> Result<(), Never> {
        self.awaited = matches!(of, "Deadline" | "Place" | "Spot");
        let fed = value.serialize(&mut *self);
        self.awaited = false;
        fed
    }
    fn serialize_newtype_variant<T: ?Sized + Serialize>(
        self,
        _: &'static str,
        index: u32,
        _: &'static str,
        value: &T,
    ) -> Result<(), Never> {
        self.take(index);
        value.serialize(self)
    }
    fn serialize_seq(self, len: Option<usize>) -> Result<Self, Never> {
        self.take(len);
        Ok(self)
    }
    fn serialize_tuple(self, _: usize) -> Result<Self, Never> {
        Ok(self)
    }
    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Self, Never> {
        Ok(self)
    }
    fn serialize_tuple_variant(self, _: &'static str, i: u32, _: &'static str, _: usize) -> Result<Self, Never> {
        self.take(i);
        Ok(self)
    }
    fn serialize_map(self, len: Option<usize>) -> Result<Self, Never> {
        self.take(len);
        Ok(self)
    }
    fn serialize_struct(self, of: &'static str, _: usize) -> Result<Fields<'a, 'f>, Never> {
        Ok(Fields { feeder: self, of })
    }
    fn serialize_struct_variant(self, _: &'static str, i: u32, _: &'static str, _: usize) -> Result<Self, Never> {
        self.take(i);
        Ok(self)
    }
}
