//! A stored product: any bytes are refused, or they are a record that comes out the same when it is written again.

use firmware_example::products::Name;
use firmware_example::products::record::{self, RECORD_MAX, RecordError};
use std::sync::OnceLock;
use timing_core::{Inputs, Machine, Station, example};

const CRC: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);

fn machine() -> &'static (Machine, u64) {
    static MACHINE: OnceLock<(Machine, u64)> = OnceLock::new();
    MACHINE.get_or_init(|| {
        let machine = Machine::new(&example::machine()).expect("the example is valid");
        (machine, record::fingerprint(&machine))
    })
}

/// The first byte says what the rest is: a record as it stands; one that lacks its check; one that lacks version, machine and check.
/// (Without that, hardly any input would get past the check.)
pub fn record(bytes: &[u8]) {
    let Some((&kind, rest)) = bytes.split_first() else { return };
    let (machine, hash) = machine();
    let mut whole = Vec::with_capacity(rest.len() + 16);
    if kind % 3 == 2 {
        whole.push(record::VERSION);
        whole.extend(hash.to_le_bytes());
    }
    whole.extend(rest);
    if !kind.is_multiple_of(3) {
        whole.extend(CRC.checksum(&whole).to_le_bytes());
    }
    match record::decode(&whole, machine, *hash) {
        Ok((name, Ok((product, setpoints)))) => {
            // An encoding may have spellings of one value that are longer than need be; it is not those that are stored.
            let mut room = [0; RECORD_MAX];
            let again = record::encode(&name, &product, *hash, &mut room).expect("what was read fits");
            assert!(again.len() <= whole.len());
            let (same, held) = record::decode(again, machine, *hash).expect("what was written is read");
            assert_eq!((same, held), (name, Ok((product, setpoints))));
            let mut station = Station::new(*machine, setpoints);
            let first = Inputs { contacts: example::at_rest(), ..Inputs::default() };
            assert!(station.tick(&first).wake.at > first.now);
        }
        Ok((name, Err(e))) => {
            assert_eq!(Name::new(name.as_str()), Ok(name.clone()));
            assert!(matches!(e, RecordError::OtherMachine | RecordError::Rule(_)), "{e:?}");
            assert!(!e.words().is_empty());
        }
        Err(e) => {
            assert!(matches!(e, RecordError::Damaged | RecordError::OtherVersion(_)), "{e:?}");
            assert!(!e.words().is_empty());
        }
    }
}
