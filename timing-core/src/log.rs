//! What a log line says of each type (feature `defmt`), for those of which the bare numbers would tell a person nothing.
//!
//! Texts stay in the firmware's file, as `defmt` does it, and numbers travel. Only a fault's name travels as text: it stands in a table that other readers
//! need too, and faults are rare.

use crate::decide::{FeedStep, HeadStep};
use crate::event::{Event, EventKind, Why};
use crate::fault::Fault;
use crate::guard::Order;
use crate::io::{Actuator, Contact, Contacts, Orders, Pose};
use crate::unit::{Command, Mode, UnitState};
use crate::units::{Counts, CountsPerMm, Duration, Instant, Millimetres, Speed};
use defmt::{Format, Formatter, write};

impl Format for Instant {
    fn format(&self, f: Formatter<'_>) {
        write!(f, "{=u64:us} s", self.as_micros());
    }
}

impl Format for Duration {
    fn format(&self, f: Formatter<'_>) {
        write!(f, "{=u64} µs", self.as_micros());
    }
}

impl Format for Counts {
    fn format(&self, f: Formatter<'_>) {
        match self.get() {
            i64::MIN | i64::MAX => write!(f, "nowhere"),
            n => write!(f, "{=i64} counts", n),
        }
    }
}

/// Fixed point is told in thousandths, rounded down: a log needs no more.
const fn thousandths(bits: i64) -> i64 {
    bits.saturating_mul(1_000) >> 16
}

impl Format for Millimetres {
    fn format(&self, f: Formatter<'_>) {
        write!(f, "{=i64} µm", thousandths(self.to_bits() as i64));
    }
}

impl Format for Speed {
    fn format(&self, f: Formatter<'_>) {
        write!(f, "{=i64} µm/s", thousandths(self.to_bits() as i64));
    }
}

impl Format for CountsPerMm {
    fn format(&self, f: Formatter<'_>) {
        write!(f, "{=i64} counts/m", thousandths(self.to_bits() as i64));
    }
}

impl Format for Contacts {
    fn format(&self, f: Formatter<'_>) {
        let on: heapless::Vec<Contact, 32> = self.iter().collect();
        write!(f, "{}", on.as_slice());
    }
}

/// A coil or drive that is on.
#[derive(Format)]
enum On {
    Work(Actuator),
    Home(Actuator),
    Belt,
    Spin,
    Beacon,
    Ready,
}

impl Format for Orders {
    fn format(&self, f: Formatter<'_>) {
        let work = Actuator::ALL.into_iter().filter(|&a| self.work(a)).map(On::Work);
        let home = Actuator::ALL.into_iter().filter(|&a| self.home(a)).map(On::Home);
        let lone =
            [(self.belt(), On::Belt), (self.spin(), On::Spin), (self.beacon(), On::Beacon), (self.ready(), On::Ready)];
        let lone = lone.into_iter().filter_map(|(is, on)| is.then_some(on));
        let on: heapless::Vec<On, 16> = work.chain(home).chain(lone).collect();
        write!(f, "{}", on.as_slice());
    }
}

/// One of a numbered kind, or the number where there is none of it.
enum Known<T> {
    As(T),
    Number(i64),
}

impl<T> Known<T> {
    fn of(found: Option<T>, number: impl Into<i64>) -> Self {
        found.map_or_else(|| Self::Number(number.into()), Self::As)
    }
}

impl<T: Format> Format for Known<T> {
    fn format(&self, f: Formatter<'_>) {
        match self {
            Self::As(it) => write!(f, "{}", it),
            Self::Number(n) => write!(f, "number {=i64}", n),
        }
    }
}

/// " (because)", or nothing.
struct Because(Why);

impl Format for Because {
    fn format(&self, f: Formatter<'_>) {
        match self.0 {
            Why::Plain => write!(f, ""),
            why => write!(f, " ({})", why),
        }
    }
}

/// A request, by the number that a refusal carries ([`crate::request_number`]).
struct Asked(u16);

impl Format for Asked {
    fn format(&self, f: Formatter<'_>) {
        match self.0 {
            10 => write!(f, "mode"),
            11 => write!(f, "batch"),
            12 => write!(f, "jog"),
            13 => write!(f, "jog of the rollers"),
            14 => write!(f, "jog of the belt"),
            15 => write!(f, "step"),
            16 => write!(f, "dry cycle"),
            17 => write!(f, "declaration"),
            n => write!(f, "{}", Known::of(Command::ALL.into_iter().find(|c| *c as u16 == n), n)),
        }
    }
}

/// A fault with the actuator or contact that it carries, by its code, and the value of its event.
struct Raised(u16, i32);

impl Format for Raised {
    fn format(&self, f: Formatter<'_>) {
        let Some((row, of)) = Fault::row_of(self.0) else { return write!(f, "number {=u16}", self.0) };
        match row.fault {
            Fault::StrokeOverdue(_) | Fault::StrokeLost(_) => {
                let actuator = Known::of(Actuator::ALL.get(of), self.0);
                write!(f, "{=str}: {} ({})", row.name, actuator, Towards(self.1));
            }
            Fault::InputFailed(_) => write!(f, "{=str}: {}", row.name, Known::of(Contact::ALL.get(of), self.0)),
            _ => write!(f, "{=str}", row.name),
        }
    }
}

/// Where an actuator was ordered to, by the number of the [`Pose`].
struct Towards(i32);

impl Format for Towards {
    fn format(&self, f: Formatter<'_>) {
        match self.0 {
            n if n == Pose::Off as i32 => write!(f, "off"),
            n if n == Pose::Home as i32 => write!(f, "home"),
            n if n == Pose::Work as i32 => write!(f, "to work"),
            n => write!(f, "pose {=i32}", n),
        }
    }
}

impl Format for Order {
    fn format(&self, f: Formatter<'_>) {
        match self {
            Self::Work(a) => write!(f, "{} to work", a),
            Self::Back(a) => write!(f, "{} back", a),
            Self::Spin => write!(f, "spin"),
            Self::Belt => write!(f, "belt"),
        }
    }
}

fn order(number: i32) -> Option<Order> {
    let moves = Actuator::ALL.into_iter().flat_map(|a| [Order::Work(a), Order::Back(a)]);
    moves.chain([Order::Spin, Order::Belt]).find(|o| i32::from(o.number()) == number)
}

fn state(number: i64) -> Known<UnitState> {
    Known::of(UnitState::ALL.into_iter().find(|s| *s as i64 == number), number)
}

/// One line that a person can read: numbers of things are told by name.
impl Format for Event {
    fn format(&self, f: Formatter<'_>) {
        let (n, v, because) = (self.detail, self.value, Because(self.why));
        let at = usize::from(n);
        match self.kind {
            EventKind::State => write!(f, "unit {} from {}{}", state(n.into()), state(v.into()), because),
            EventKind::Mode => {
                let modes = [Mode::Production, Mode::Maintenance, Mode::Manual];
                write!(f, "mode {}{}", Known::of(modes.into_iter().find(|m| *m as u16 == n), n), because);
            }
            EventKind::Head => write!(f, "head {}{}", Known::of(HeadStep::ALL.get(at), n), because),
            EventKind::Feed => write!(f, "feed {}{}", Known::of(FeedStep::ALL.get(at), n), because),
            EventKind::Registered => write!(f, "bottle {=i32} registered{}", v, because),
            // A number of them, none of which was ever given one of its own.
            EventKind::Counted if self.why == Why::Found => write!(f, "{=i32} bottles found", v),
            EventKind::Counted => write!(f, "bottle {=i32} counted{}", v, because),
            EventKind::Flagged => write!(f, "bottle {=i32} flagged for reject{}", v, because),
            EventKind::CatchOrdered => write!(f, "catch ordered {=i32} counts past its place{}", v, because),
            EventKind::Caught if v < 0 => {
                write!(f, "caught, by prediction {=u32} counts early{}", v.unsigned_abs(), because);
            }
            EventKind::Caught => write!(f, "caught, by prediction {=i32} counts late{}", v, because),
            EventKind::Fault => write!(f, "fault {}", Raised(n, v)),
            EventKind::Refused => write!(f, "refused {}: {}", Asked(n), self.why),
            EventKind::Guarded => write!(f, "rule R{=u16} kept back: {}", n, Known::of(order(v), v)),
            EventKind::Tightened => write!(f, "tightened after {=i32} µs of spin{}", v, because),
            EventKind::Drift => match self.drifted() {
                Some((a, to)) => write!(f, "drift {} {}: {=i32} µs over its profile", a, Towards(to as i32), v),
                None => write!(f, "drift number {=u16}: {=i32} µs over its profile", n, v),
            },
            EventKind::Blind => write!(f, "blind: no {}", Known::of(Contact::ALL.get(at), n)),
            EventKind::Late => write!(f, "called {=i32} µs late", v),
            EventKind::Length => write!(f, "body of {=i32} counts{}", v, because),
        }
    }
}
