//! Products in flash: what is asked, what is refused, and what a power cut at every step leaves.

use crate::nor_flash::{Nor, PowerLost, Tear};
use firmware_example::products::record::{self, RECORD_MAX};
use firmware_example::products::{
    Answer, Ask, CONFIRM_WITHIN, Desk, Geometry, NAME_MAX, Name, NameError, PRODUCTS_MAX, Products, RecordError,
    Refusal, StoreError,
};
use proptest::prelude::*;
use std::collections::BTreeMap;
use timing_core::{
    CapPolicy, Command, Duration, Inputs, Instant, Machine, Millimetres, Product, ProductError, Request, Setpoints,
    Speed, Station, Tighten, UnitState, example,
};

type Model = BTreeMap<Name, Product>;

fn machine() -> Machine {
    Machine::new(&example::machine()).unwrap()
}

fn name(text: &str) -> Name {
    Name::new(text).unwrap()
}

/// A valid product that differs from the others by its roller speed.
fn product(rpm: u16) -> Product {
    Product { spin_rpm: 100 + rpm, ..example::product() }
}

#[derive(Clone, Debug)]
enum Op {
    Store(u8, u16),
    Replace(u8, u16),
    Rename(u8, u8),
    Delete(u8),
}

fn named(n: u8) -> Name {
    name(&format!("Elderflower {n}"))
}

/// What a store that loses nothing would hold after the operation; the same if it is refused.
fn model_after(model: &Model, op: &Op) -> Model {
    let mut m = model.clone();
    match *op {
        Op::Store(n, p) if !m.contains_key(&named(n)) && m.len() < PRODUCTS_MAX => {
            m.insert(named(n), product(p));
        }
        Op::Replace(n, p) if m.contains_key(&named(n)) => {
            m.insert(named(n), product(p));
        }
        Op::Rename(a, b) if !m.contains_key(&named(b)) => {
            if let Some(p) = m.remove(&named(a)) {
                m.insert(named(b), p);
            }
        }
        Op::Delete(n) => {
            m.remove(&named(n));
        }
        Op::Store(..) | Op::Replace(..) | Op::Rename(..) => {}
    }
    m
}

type Area<'f, const W: usize, const P: usize, const N: usize> = Products<&'f mut Nor<W, P, N>, 0, N>;

fn apply<const W: usize, const P: usize, const N: usize>(
    s: &mut Area<'_, W, P, N>,
    op: &Op,
) -> Result<(), StoreError<PowerLost>> {
    match *op {
        Op::Store(n, p) => s.store(&named(n), &product(p)),
        Op::Replace(n, p) => s.replace(&named(n), &product(p)),
        Op::Rename(a, b) => s.rename(&named(a), &named(b)),
        Op::Delete(n) => s.delete(&named(n)),
    }
}

/// All that is in the store, each product read from flash.
fn contents<const W: usize, const P: usize, const N: usize>(s: &mut Area<'_, W, P, N>) -> Model {
    let names: Vec<Name> = s.list().map(|(n, standing)| (n.unwrap().clone(), standing.unwrap()).0).collect();
    names
        .into_iter()
        .map(|n| {
            let p = s.read(&n).unwrap().0;
            (n, p)
        })
        .collect()
}

fn open<const W: usize, const P: usize, const N: usize>(flash: &mut Nor<W, P, N>) -> Area<'_, W, P, N> {
    Products::open(flash, &machine()).unwrap_or_else(|e| panic!("{e:?}"))
}

/// Does an operation with power going at a step, then what a cold start finds; `None` once the step lies past its end.
/// During the cold start and its first change power may go a second time.
fn cut<const W: usize, const P: usize, const N: usize>(
    flash: &Nor<W, P, N>,
    model: &Model,
    op: &Op,
    at: u64,
    tear: Tear,
    again: Option<(u64, Tear)>,
) -> Option<bool> {
    let mut f = flash.clone();
    f.cut_after(at, tear);
    let done = apply(&mut open(&mut f), op);
    if !f.power_up() {
        return None;
    }
    assert!(done.is_err(), "{op:?} was acknowledged without power");
    let mut second = false;
    let after = model_after(model, op);
    let mut allowed = vec![model.clone(), after.clone()];
    if let Some((at, tear)) = again {
        f.cut_after(at, tear);
        // Power may go while opening, or while the same is asked again.
        if let Ok(mut s) = Products::<_, 0, N>::open(&mut f, &machine()) {
            let _ = apply(&mut s, op);
        }
        second = f.power_up();
        allowed.push(model_after(&after, op));
    }
    let mut store = open(&mut f);
    let seen = contents(&mut store);
    assert!(allowed.contains(&seen), "{op:?} cut at step {at} {tear:?}, {again:?}: {:?}", seen.keys());
    // And it can go on.
    let next = Op::Replace(0, 500);
    apply(&mut store, &next).unwrap_or_else(|e| panic!("{op:?} {at} {tear:?} {again:?}: {e:?}"));
    assert_eq!(contents(&mut open(&mut f)), model_after(&seen, &next), "after {op:?} {at} {tear:?} {again:?}");
    Some(second)
}

/// A well-filled store in which the operation must move a page first, and copy products that are on it.
fn about_to_move<const W: usize, const P: usize, const N: usize>(op: &Op) -> (Nor<W, P, N>, Model) {
    let mut f = Nor::<W, P, N>::new();
    let mut model = Model::new();
    for n in 0..64 {
        let store = Op::Store(n, n.into());
        apply(&mut open(&mut f), &store).unwrap();
        model = model_after(&model, &store);
    }
    let mut draw = 1_u64;
    for _ in 0..4_000 {
        draw = draw.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let (which, rpm) = ((draw >> 33) as u8, 200 + (draw >> 41) as u16 % 700);
        // Long and short items in turn, so that each page ends elsewhere.
        let change = match (which % 2 == 0, 56 + which / 2 % 8) {
            (true, n) if model.contains_key(&named(n)) => Op::Delete(n),
            (true, n) => Op::Store(n, rpm),
            (false, _) => Op::Replace(which / 2 % 56, rpm),
        };
        apply(&mut open(&mut f), &change).unwrap();
        model = model_after(&model, &change);
        let mut next = f.clone();
        apply(&mut open(&mut next), op).unwrap();
        if next.erased != f.erased && next.steps - f.steps > 20 {
            return (f, model);
        }
    }
    panic!("{op:?} never moved a page");
}

fn every_cut<const W: usize, const P: usize, const N: usize>() -> (usize, usize) {
    let mut cuts = (0, 0);
    for op in [Op::Replace(1, 800), Op::Rename(2, 70), Op::Delete(3)] {
        let (full, model) = about_to_move::<W, P, N>(&op);
        for tear in Tear::ALL {
            let mut at = 0;
            while cut(&full, &model, &op, at, tear, None).is_some() {
                cuts.0 += 1;
                // The second cut: at steps spread over the mending and the repetition.
                if at % 48 == 3 {
                    for again in [0, 1, 2, 5, 11, 40, 97, 200] {
                        for tear2 in [Tear::First, Tear::Last, Tear::Ends, Tear::Bits(again)] {
                            let end = cut(&full, &model, &op, at, tear, Some((again, tear2)));
                            cuts.1 += usize::from(end == Some(true));
                        }
                    }
                }
                at += 1;
            }
            assert!(at > 20, "{op:?} took only {at} steps");
        }
    }
    println!("word {W}: {} single cuts, {} second cuts", cuts.0, cuts.1);
    assert!(cuts.1 > 100, "{cuts:?}");
    cuts
}

#[test]
fn power_cut_at_every_step_word_4() {
    every_cut::<4, 2048, 14>();
}

#[test]
fn power_cut_at_every_step_word_8() {
    every_cut::<8, 2048, 14>();
}

#[test]
fn power_cut_at_every_step_word_16() {
    every_cut::<16, 2048, 14>();
}

#[test]
fn power_cut_at_every_step_word_32() {
    every_cut::<32, 2048, 16>();
}

fn ops() -> impl Strategy<Value = Op> {
    let n = || 0..12_u8;
    prop_oneof![
        4 => (n(), 0..500_u16).prop_map(|(n, p)| Op::Store(n, p)),
        4 => (n(), 0..500_u16).prop_map(|(n, p)| Op::Replace(n, p)),
        2 => (n(), n()).prop_map(|(a, b)| Op::Rename(a, b)),
        2 => n().prop_map(Op::Delete),
    ]
}

fn tears() -> impl Strategy<Value = Tear> {
    prop_oneof![
        Just(Tear::Before),
        Just(Tear::First),
        Just(Tear::Last),
        Just(Tear::Ends),
        any::<u64>().prop_map(Tear::Bits),
        Just(Tear::After),
    ]
}

/// Any operations, each with a cut or none: the store holds what a plain map holds, before or after the operation cut.
fn holds_what_a_map_holds<const W: usize>(steps: &[(Op, Option<(u64, Tear)>)]) {
    let mut model = Model::new();
    let mut f = Nor::<W, 2048, 16>::new();
    for (op, cut) in steps {
        assert_eq!(contents(&mut open(&mut f)), model);
        if let Some((at, tear)) = cut {
            f.cut_after(*at, *tear);
        }
        let opened = Products::<_, 0, 16>::open(&mut f, &machine());
        let done = opened.and_then(|mut s| apply(&mut s, op));
        let lost = f.power_up();
        let after = model_after(&model, op);
        match done {
            Ok(()) => model = after,
            Err(StoreError::Flash(PowerLost)) => {
                assert!(lost, "{op:?}: no power, and none was cut");
                let seen = contents(&mut open(&mut f));
                assert!(seen == model || seen == after, "{op:?} {cut:?}");
                model = seen;
            }
            Err(StoreError::NoSuchName | StoreError::NameTaken) => assert_eq!(after, model, "{op:?} was refused"),
            Err(e) => panic!("{op:?}: {e:?}"),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_operations_with_any_cuts(
        steps in prop::collection::vec((ops(), prop::option::of((0..120_u64, tears()))), 1..120),
        word in 0..4_usize,
    ) {
        match word {
            0 => holds_what_a_map_holds::<4>(&steps),
            1 => holds_what_a_map_holds::<8>(&steps),
            2 => holds_what_a_map_holds::<16>(&steps),
            _ => holds_what_a_map_holds::<32>(&steps),
        }
    }
}

#[test]
fn sixty_four_products_and_not_one_more() {
    let mut f = Nor::<4, 4096, 8>::new();
    let mut s = open(&mut f);
    for n in 0..64 {
        s.store(&named(n), &product(n.into())).unwrap();
    }
    assert_eq!(s.store(&named(64), &product(0)), Err(StoreError::Full));
    assert_eq!(s.store(&named(1), &product(0)), Err(StoreError::NameTaken));
    assert_eq!(s.rename(&named(1), &named(2)), Err(StoreError::NameTaken));
    assert_eq!(s.delete(&named(64)), Err(StoreError::NoSuchName));
    assert_eq!(contents(&mut open(&mut f)), (0..64).map(|n| (named(n), product(n.into()))).collect());
}

#[test]
fn wear_is_as_computed() {
    let g = Area::<'_, 4, 4096, 8>::GEOMETRY;
    assert_eq!(g, Geometry { word: 4, page: 4096, pages: 8 });
    let mut f = Nor::<4, 4096, 8>::new();
    let mut s = open(&mut f);
    for n in 0..64 {
        s.store(&named(n), &product(n.into())).unwrap();
    }
    let endurance = 20;
    let changes = g.changes_survived(endurance);
    assert!(changes > 0);
    for n in 0..changes {
        s.replace(&named((n % 64) as u8), &product((n % 800) as u16)).unwrap();
    }
    let worst = f.erased.into_iter().max().unwrap();
    println!("{changes} changes, worst page erased {worst} times; per 10 000 erasures {}", g.changes_survived(10_000));
    assert!(u64::from(worst) <= endurance, "{worst}");
    assert!(worst > 0, "nothing was ever erased");
}

#[test]
fn longest_records_fit() {
    // Every figure at the length of its type, though no machine would take it: the record must still have room.
    let (mm, us) = (Millimetres::from_bits(i32::MIN), Duration::from_micros(u64::MAX));
    let p = Product {
        speed: Speed::from_bits(i32::MIN),
        body_min: mm,
        body: mm,
        body_max: mm,
        catch_travel: mm,
        catch_early: mm,
        capture: mm,
        u_base: mm,
        gate_shut_travel: mm,
        settle_travel: mm,
        misfeed_travel: mm,
        jam_travel: mm,
        leave_travel: mm,
        slip: mm,
        slip_u: mm,
        stop_travel: mm,
        seat_dwell: us,
        engage_dwell: us,
        disengage_dwell: us,
        tighten: Tighten::Torque { earliest: us, latest: us },
        spin_rpm: u16::MAX,
        cap: CapPolicy::Upstream,
        misses_to_hold: u8::MAX,
        early: Some(us),
        speed_window: mm,
    };
    let mut bytes = [0; RECORD_MAX];
    let long = name(&"x".repeat(NAME_MAX));
    let len = record::encode(&long, &p, u64::MAX, &mut bytes).expect("the longest record fits").len();
    println!("longest record: {len} bytes");
    let usual = record::encode(&long, &example::product(), 0, &mut [0; RECORD_MAX]).unwrap().len();
    assert!(len > usual);
}

/// Catalogue of parametrised CRC algorithms (G. Cook): CRC-32/ISO-HDLC, check value of "123456789".
#[test]
fn the_crc_is_the_catalogues() {
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);
    assert_eq!(crc.checksum(b"123456789"), 0xcbf4_3926);
    // And it is the one at the end of a record.
    let mut bytes = [0; RECORD_MAX];
    let rec = record::encode(&named(1), &product(1), 7, &mut bytes).unwrap();
    let (all, end) = rec.split_last_chunk::<4>().unwrap();
    assert_eq!(crc.checksum(all), u32::from_le_bytes(*end));
}

#[test]
fn one_bit_anywhere_and_the_record_is_refused() {
    let m = machine();
    let hash = record::fingerprint(&m);
    let mut bytes = [0; RECORD_MAX];
    let rec = record::encode(&named(1), &product(1), hash, &mut bytes).unwrap().to_vec();
    let (n, set) = record::decode(&rec, &m, hash).unwrap();
    assert_eq!((n, set.unwrap().0), (named(1), product(1)));
    for bit in 0..rec.len() * 8 {
        let mut bad = rec.clone();
        bad[bit / 8] ^= 1 << (bit % 8);
        assert_eq!(record::decode(&bad, &m, hash).unwrap_err(), RecordError::Damaged, "bit {bit}");
    }
    for len in 0..rec.len() {
        assert_eq!(record::decode(&rec[..len], &m, hash).unwrap_err(), RecordError::Damaged, "{len} bytes");
    }
}

fn sealed(mut bytes: Vec<u8>) -> Vec<u8> {
    let n = bytes.len() - 4;
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&bytes[..n]);
    bytes[n..].copy_from_slice(&crc.to_le_bytes());
    bytes
}

#[test]
fn other_versions_other_machines_and_broken_rules_are_refused() {
    let m = machine();
    let hash = record::fingerprint(&m);
    let mut bytes = [0; RECORD_MAX];
    let mut rec = record::encode(&named(1), &product(1), hash, &mut bytes).unwrap().to_vec();
    rec[0] = 2;
    assert_eq!(record::decode(&sealed(rec), &m, hash).unwrap_err(), RecordError::OtherVersion(2));
    // A record that is whole, but breaks a rule: the core's own answer.
    let broken = Product { misses_to_hold: 0, ..product(1) };
    let mut bytes = [0; RECORD_MAX];
    let rec = record::encode(&named(1), &broken, hash, &mut bytes).unwrap();
    assert_eq!(record::decode(rec, &m, hash).unwrap().1.unwrap_err(), RecordError::Rule(ProductError::Misses));
    let mut f = Nor::<4, 4096, 8>::new();
    let mut s = open(&mut f);
    assert_eq!(s.store(&named(1), &broken), Err(StoreError::Rule(ProductError::Misses)));

    s.store(&named(1), &product(1)).unwrap();
    let mut other = example::machine();
    other.head_clear = Millimetres::from_mm(46);
    let other = Machine::new(&other).unwrap();
    assert_ne!(record::fingerprint(&other), hash);
    let mut s: Area<'_, 4, 4096, 8> = Products::open(&mut f, &other).unwrap();
    assert_eq!(s.list().collect::<Vec<_>>(), [(Some(&named(1)), Err(RecordError::OtherMachine))]);
    assert_eq!(s.read(&named(1)).unwrap_err(), StoreError::Record(RecordError::OtherMachine));
    assert_eq!(s.store(&named(1), &product(1)), Err(StoreError::NameTaken));
    s.delete(&named(1)).unwrap();
    assert_eq!(s.list().count(), 0);
}

#[test]
fn names_are_bounded_trimmed_and_plain() {
    assert_eq!(name("  Elderflower 250 ml ").as_str(), "Elderflower 250 ml");
    assert_eq!(Name::new("   "), Err(NameError::Empty));
    assert_eq!(Name::new(&"x".repeat(24)).unwrap().as_str().len(), 24);
    assert_eq!(Name::new(&"x".repeat(25)), Err(NameError::TooLong));
    // Twelve letters of two bytes fit, thirteen do not.
    assert!(Name::new(&"é".repeat(12)).is_ok());
    assert_eq!(Name::new(&"é".repeat(13)), Err(NameError::TooLong));
    assert_eq!(Name::new("a\tb"), Err(NameError::Control));
    assert_eq!(Name::new("a\n"), Err(NameError::Control));
}

type Area0 = Products<Nor<4, 4096, 8>, 0, 8>;

fn desk() -> (Desk<Nor<4, 4096, 8>, 0, 8>, Station) {
    let mut s: Area0 = Products::open(Nor::new(), &machine()).unwrap();
    s.store(&named(1), &product(1)).unwrap();
    s.store(&named(2), &product(2)).unwrap();
    let station = Station::new(machine(), set(0));
    (Desk::new(s), station)
}

fn inputs(now: Instant) -> Inputs {
    Inputs { now, contacts: example::at_rest(), ..Inputs::default() }
}

const T0: Instant = Instant::from_micros(1_000_000);

fn loaded(station: &Station) -> Setpoints {
    *station.setpoints()
}

fn set(rpm: u16) -> Setpoints {
    Setpoints::new(&product(rpm), &machine()).unwrap()
}

#[test]
fn a_recall_is_loaded_only_when_confirmed() {
    let (mut d, mut st) = desk();
    let by = T0.plus(CONFIRM_WITHIN);
    assert_eq!(d.ask(Ask::Confirm, &mut st, T0), Err(Refusal::NothingToConfirm));
    assert_eq!(d.ask(Ask::Recall(&named(1)), &mut st, T0), Ok(Answer::ConfirmBy(named(1), by)));
    assert_eq!(loaded(&st), set(0));
    assert_eq!(d.ask(Ask::Confirm, &mut st, by), Ok(Answer::Loaded(named(1))));
    assert_eq!(loaded(&st), set(1));
    // Once only.
    assert_eq!(d.ask(Ask::Confirm, &mut st, by), Err(Refusal::NothingToConfirm));
    assert_eq!(d.ask(Ask::Recall(&named(9)), &mut st, by), Err(Refusal::Store(StoreError::NoSuchName)));
}

#[test]
fn too_late_or_anything_else_takes_a_recall_back() {
    let late = T0.plus(CONFIRM_WITHIN).plus(Duration::from_micros(1));
    let early = Instant::from_micros(999_999);
    for (what, at) in [("late", late), ("time went back", early)] {
        let (mut d, mut st) = desk();
        d.ask(Ask::Recall(&named(1)), &mut st, T0).unwrap();
        assert_eq!(d.ask(Ask::Confirm, &mut st, at), Err(Refusal::NothingToConfirm), "{what}");
        assert_eq!(loaded(&st), set(0));
    }
    let p = product(7);
    let (a, b, c) = (named(1), named(2), named(3));
    for ask in [
        Ask::Store(&c, &p),
        Ask::Store(&b, &p),
        Ask::Replace(&a, &p),
        Ask::Rename(&a, &c),
        Ask::Delete(&b),
        Ask::DeleteUnreadable,
        Ask::Cancel,
    ] {
        let (mut d, mut st) = desk();
        d.ask(Ask::Recall(&a), &mut st, T0).unwrap();
        let _ = d.ask(ask, &mut st, T0);
        assert_eq!(d.ask(Ask::Confirm, &mut st, T0), Err(Refusal::NothingToConfirm), "{ask:?}");
        assert_eq!(loaded(&st), set(0));
    }
    // A second recall names another product: that one is loaded.
    let (mut d, mut st) = desk();
    d.ask(Ask::Recall(&a), &mut st, T0).unwrap();
    d.ask(Ask::Recall(&b), &mut st, T0).unwrap();
    assert_eq!(d.ask(Ask::Confirm, &mut st, T0), Ok(Answer::Loaded(b)));
    // A request to the station.
    let (mut d, mut st) = desk();
    d.ask(Ask::Recall(&a), &mut st, T0).unwrap();
    d.see(&Inputs { request: Some(Request::Command(Command::Reset)), ..inputs(T0) });
    assert_eq!(d.ask(Ask::Confirm, &mut st, T0), Err(Refusal::NothingToConfirm));
    // Inputs without a request do not.
    d.ask(Ask::Recall(&a), &mut st, T0).unwrap();
    d.see(&inputs(T0));
    assert_eq!(d.ask(Ask::Confirm, &mut st, T0), Ok(Answer::Loaded(a)));
}

#[test]
fn nothing_is_written_or_loaded_unless_at_rest() {
    let (mut d, mut st) = desk();
    st.tick(&inputs(Instant::from_micros(1)));
    d.ask(Ask::Recall(&named(1)), &mut st, T0).unwrap();
    for command in [Command::Reset, Command::Start] {
        let now = Instant::from_micros(1_000 + command as u64);
        let out = st.tick(&Inputs { request: Some(Request::Command(command)), ..inputs(now) });
        // The station moves on without the desk being told: the confirmation still asks it.
        if out.unit == UnitState::Idle {
            assert!(d.ask(Ask::Recall(&named(1)), &mut st, T0).is_ok());
        }
    }
    assert_eq!(st.unit(), UnitState::Starting);
    let p = product(5);
    for ask in [
        Ask::Confirm,
        Ask::Recall(&named(1)),
        Ask::Store(&named(3), &p),
        Ask::Replace(&named(1), &p),
        Ask::Rename(&named(1), &named(3)),
        Ask::Delete(&named(1)),
        Ask::DeleteUnreadable,
    ] {
        assert_eq!(d.ask(ask, &mut st, T0), Err(Refusal::NotAtRest), "{ask:?}");
    }
    assert_eq!(d.ask(Ask::Cancel, &mut st, T0), Ok(Answer::Done));
    assert_eq!(loaded(&st), set(0));
    assert_eq!(d.products().list().count(), 2);
}
