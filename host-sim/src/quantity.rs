//! Values with a unit, as people write them: `"94 mm"`, `"6 m/min"`, `"70 psi"`, `"14 in·lbf"`.
//!
//! A job file says every physical value as a number and a unit in one string; [`parse`] turns it into plain `f64` in the one
//! unit that the fields of [`crate::job::spec`] name. The tables stand here rather than in a library of units because they are
//! about spelling (`in·lbf`, `inlbf`, `in-lbf`; `µm`, `um`) and because their factors are exact: each follows from the
//! international inch (25.4 mm), the avoirdupois pound (0.453 592 37 kg) and standard gravity (9.806 65 m/s²), all exact by
//! definition, whereas the tables of common libraries of units round psi and in·lbf to seven digits.

use core::fmt;

/// The international inch, mm; exact by definition.
const INCH_MM: f64 = 25.4;
/// The avoirdupois pound, kg; exact by definition.
const POUND_KG: f64 = 0.453_592_37;
/// Standard gravity, m/s²; exact by definition.
const GRAVITY: f64 = 9.806_65;
/// Pound-force, N: pound × standard gravity; exact (the product of the two has 14 digits).
const POUND_FORCE_N: f64 = 4.448_221_615_260_5;
/// Pound-force per square inch, bar.
const PSI_BAR: f64 = POUND_FORCE_N / (0.0254 * 0.0254) * 1e-5;

/// What a value measures, and so which units it may carry and in which unit it is handed on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kind {
    /// A length, handed on in mm.
    Length,
    /// A place along the belt from the head centre, downstream positive, handed on in mm.
    Coordinate,
    /// A speed, handed on in mm/s.
    Speed,
    /// An acceleration, handed on in mm/s².
    Acceleration,
    /// A time of an actuator or filter, handed on in ms.
    TimeMs,
    /// A time of a rehearsal, handed on in s.
    TimeS,
    /// A gauge pressure, handed on in bar.
    Pressure,
    /// A torque, handed on in N·m.
    Torque,
    /// A force, handed on in N.
    Force,
    /// A flow of free air (ISO 8778: 100 kPa, 20 °C, 65 % humidity), handed on in L/min.
    Flow,
    /// A sonic conductance (ISO 6358), handed on in dm³/(s·bar).
    Conductance,
    /// A mass, handed on in kg.
    Mass,
    /// An angle, handed on in degrees.
    Angle,
    /// A rotational speed, handed on in revolutions per minute.
    Turning,
    /// A share, handed on as a plain number (20 % = 0.2); the one kind that also takes a bare number.
    Share,
}

/// A unit: its spellings, the first of which is the one shown to people, and how many of the kind's own unit it is.
#[derive(Clone, Copy, Debug)]
pub struct Unit {
    /// Spellings after `tidy`; `/` and `2` stand for themselves, `*` for every product sign.
    pub spellings: &'static [&'static str],
    /// The spelling shown to people.
    pub shown: &'static str,
    /// The kind's own units in [`Self::per`] of these.
    pub times: f64,
    /// Divisor that goes with [`Self::times`]: two whole numbers say 1/1000 or 1000/60 without rounding.
    pub per: f64,
}

const fn ratio(shown: &'static str, spellings: &'static [&'static str], times: f64, per: f64) -> Unit {
    Unit { spellings, shown, times, per }
}

const fn unit(shown: &'static str, spellings: &'static [&'static str], times: f64) -> Unit {
    ratio(shown, spellings, times, 1.0)
}

const LENGTH: &[Unit] = &[
    unit("mm", &["mm"], 1.0),
    unit("cm", &["cm"], 10.0),
    unit("m", &["m"], 1_000.0),
    ratio("µm", &["um"], 1.0, 1e3),
    unit("in", &["in", "inch"], INCH_MM),
    unit("ft", &["ft"], 12.0 * INCH_MM),
];
const SPEED: &[Unit] = &[
    unit("mm/s", &["mm/s"], 1.0),
    unit("m/s", &["m/s"], 1_000.0),
    ratio("m/min", &["m/min"], 1_000.0, 60.0),
    unit("in/s", &["in/s"], INCH_MM),
    ratio("ft/min", &["ft/min", "fpm"], 12.0 * INCH_MM, 60.0),
];
const ACCELERATION: &[Unit] = &[
    unit("mm/s²", &["mm/s2"], 1.0),
    unit("m/s²", &["m/s2"], 1_000.0),
    unit("in/s²", &["in/s2"], INCH_MM),
    unit("ft/s²", &["ft/s2"], 12.0 * INCH_MM),
    unit("g", &["g"], GRAVITY * 1_000.0),
];
const TIME_MS: &[Unit] = &[
    unit("ms", &["ms"], 1.0),
    unit("s", &["s"], 1_000.0),
    ratio("µs", &["us"], 1.0, 1e3),
    unit("min", &["min"], 60_000.0),
    unit("h", &["h"], 3_600_000.0),
];
const TIME_S: &[Unit] = &[
    unit("s", &["s"], 1.0),
    ratio("ms", &["ms"], 1.0, 1e3),
    ratio("µs", &["us"], 1.0, 1e6),
    unit("min", &["min"], 60.0),
    unit("h", &["h"], 3_600.0),
];
const PRESSURE: &[Unit] = &[
    unit("bar", &["bar"], 1.0),
    ratio("kPa", &["kPa"], 1.0, 1e2),
    unit("MPa", &["MPa"], 10.0),
    ratio("Pa", &["Pa"], 1.0, 1e5),
    unit("psi", &["psi", "psig"], PSI_BAR),
];
const TORQUE: &[Unit] = &[
    unit("N·m", &["N*m", "Nm"], 1.0),
    ratio("cN·m", &["cN*m", "cNm"], 1.0, 1e2),
    unit("in·lbf", &["in*lbf", "inlbf", "lbf*in", "lbfin"], POUND_FORCE_N * 0.0254),
    unit("ft·lbf", &["ft*lbf", "ftlbf", "lbf*ft", "lbfft"], POUND_FORCE_N * 0.3048),
    unit("ozf·in", &["ozf*in", "ozfin", "in*ozf", "inozf"], POUND_FORCE_N / 16.0 * 0.0254),
    unit("kgf·cm", &["kgf*cm", "kgfcm"], GRAVITY * 1e-2),
];
const FORCE: &[Unit] = &[
    unit("N", &["N"], 1.0),
    unit("kN", &["kN"], 1_000.0),
    unit("lbf", &["lbf"], POUND_FORCE_N),
    unit("kgf", &["kgf"], GRAVITY),
];
const FLOW: &[Unit] = &[
    unit("L/min", &["L/min", "l/min", "dm3/min"], 1.0),
    unit("L/s", &["L/s", "l/s", "dm3/s"], 60.0),
    ratio("m³/h", &["m3/h"], 1e3, 60.0),
    unit("m³/min", &["m3/min"], 1e3),
    unit("ft³/min", &["ft3/min", "cfm", "scfm"], 0.3048 * 0.3048 * 0.3048 * 1e3),
];
const CONDUCTANCE: &[Unit] = &[
    unit("dm³/(s·bar)", &["dm3/(s*bar)", "L/(s*bar)", "l/(s*bar)"], 1.0),
    ratio("L/(min·bar)", &["L/(min*bar)", "l/(min*bar)"], 1.0, 60.0),
    // 1 m³ is 1000 dm³, 1 bar 100 000 Pa.
    unit("m³/(s·Pa)", &["m3/(s*Pa)"], 1e8),
];
const MASS: &[Unit] = &[
    unit("kg", &["kg"], 1.0),
    ratio("g", &["g"], 1.0, 1e3),
    unit("lb", &["lb"], POUND_KG),
    ratio("oz", &["oz"], POUND_KG, 16.0),
];
const ANGLE: &[Unit] = &[unit("deg", &["deg", "°"], 1.0), unit("rad", &["rad"], 180.0 / core::f64::consts::PI)];
const TURNING: &[Unit] =
    &[unit("rpm", &["rpm", "1/min", "rev/min", "r/min"], 1.0), unit("rev/s", &["rev/s", "1/s"], 60.0)];
const SHARE: &[Unit] = &[ratio("%", &["%"], 1.0, 1e2)];

impl Kind {
    /// Every kind.
    pub const ALL: [Self; 15] = [
        Self::Length,
        Self::Coordinate,
        Self::Speed,
        Self::Acceleration,
        Self::TimeMs,
        Self::TimeS,
        Self::Pressure,
        Self::Torque,
        Self::Force,
        Self::Flow,
        Self::Conductance,
        Self::Mass,
        Self::Angle,
        Self::Turning,
        Self::Share,
    ];

    /// The units that a value of this kind may carry; the first is the one it is handed on in (a share: a plain number).
    #[must_use]
    pub const fn units(self) -> &'static [Unit] {
        match self {
            Self::Length | Self::Coordinate => LENGTH,
            Self::Speed => SPEED,
            Self::Acceleration => ACCELERATION,
            Self::TimeMs => TIME_MS,
            Self::TimeS => TIME_S,
            Self::Pressure => PRESSURE,
            Self::Torque => TORQUE,
            Self::Force => FORCE,
            Self::Flow => FLOW,
            Self::Conductance => CONDUCTANCE,
            Self::Mass => MASS,
            Self::Angle => ANGLE,
            Self::Turning => TURNING,
            Self::Share => SHARE,
        }
    }

    /// A name for people, with its article.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Length => "a length",
            Self::Coordinate => "a coordinate (from the head centre, downstream positive)",
            Self::Speed => "a speed",
            Self::Acceleration => "an acceleration",
            Self::TimeMs | Self::TimeS => "a time",
            Self::Pressure => "a gauge pressure",
            Self::Torque => "a torque",
            Self::Force => "a force",
            Self::Flow => "a flow of free air",
            Self::Conductance => "a sonic conductance",
            Self::Mass => "a mass",
            Self::Angle => "an angle",
            Self::Turning => "a rotational speed",
            Self::Share => "a share",
        }
    }

    /// An example for people.
    #[must_use]
    pub const fn example(self) -> &'static str {
        match self {
            Self::Length => "\"94 mm\"",
            Self::Coordinate => "\"-61.5 mm\"",
            Self::Speed => "\"6 m/min\"",
            Self::Acceleration => "\"1000 mm/s²\"",
            Self::TimeMs => "\"20 ms\"",
            Self::TimeS => "\"2 s\"",
            Self::Pressure => "\"5 bar\"",
            Self::Torque => "\"14 in·lbf\"",
            Self::Force => "\"80 N\"",
            Self::Flow => "\"200 L/min\"",
            Self::Conductance => "\"2 dm³/(s·bar)\"",
            Self::Mass => "\"0.55 kg\"",
            Self::Angle => "\"60 deg\"",
            Self::Turning => "\"300 rpm\"",
            Self::Share => "\"20 %\"",
        }
    }

    /// The units it takes, for people: "mm, cm, m, µm, in, ft".
    #[must_use]
    pub fn takes(self) -> String {
        let names: Vec<&str> = self.units().iter().map(|u| u.shown).collect();
        names.join(", ")
    }

    /// A value in the unit that this kind is handed on in, for people: "94 mm".
    #[must_use]
    pub fn show(self, value: f64) -> String {
        match self {
            Self::Share => format!("{value}"),
            _ => format!("{value} {}", self.units()[0].shown),
        }
    }
}

/// What is wrong with a value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum QuantityError {
    /// It does not begin with a number.
    NotANumber(String),
    /// A comma stands where a decimal point is due.
    Comma(String),
    /// The number is too large to be one.
    Infinite,
    /// There is no unit.
    NoUnit,
    /// The unit is not one of this kind's; with the unit as written, and the kind it belongs to, if any.
    WrongUnit(String, Option<Kind>),
    /// The unit is spelled in other capitals; with the unit as written, and as it should be.
    Capitals(String, &'static str),
}

impl QuantityError {
    /// What is wrong, for people.
    #[must_use]
    pub fn what(&self) -> String {
        self.to_string()
    }

    /// How to mend it, for people.
    #[must_use]
    pub fn mend(&self, kind: Kind) -> String {
        match self {
            Self::Comma(text) => format!("write a decimal point: \"{}\"", text.replace(',', ".")),
            Self::Capitals(_, right) => {
                format!("write \"{right}\": capitals matter in units (mPa is not MPa)")
            }
            _ => {
                format!("give {} with one of its units: {}; for example {}", kind.name(), kind.takes(), kind.example())
            }
        }
    }
}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotANumber(text) => write!(f, "\"{text}\" does not begin with a number"),
            Self::Comma(text) => write!(f, "\"{text}\" has a decimal comma"),
            Self::Infinite => f.write_str("the number is too large"),
            Self::NoUnit => f.write_str("there is no unit"),
            Self::WrongUnit(unit, Some(kind)) => write!(f, "\"{unit}\" is a unit of {}", kind.name()),
            Self::WrongUnit(unit, None) => write!(f, "\"{unit}\" is not a known unit"),
            Self::Capitals(unit, _) => write!(f, "\"{unit}\" is not a known unit"),
        }
    }
}

impl core::error::Error for QuantityError {}

/// Where the number ends: sign, digits, point, exponent.
fn number_len(text: &str) -> usize {
    let b = text.as_bytes();
    let digits = |mut i: usize| {
        while b.get(i).is_some_and(|c| c.is_ascii_digit() || *c == b'_') {
            i += 1;
        }
        i
    };
    let start = usize::from(matches!(b.first(), Some(b'+' | b'-')));
    let mut i = digits(start);
    if b.get(i) == Some(&b'.') {
        i = digits(i + 1);
    }
    // An exponent is one only if digits follow: "3 e" is no number, and no unit here begins with e.
    if matches!(b.get(i), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(b.get(i + 1), Some(b'+' | b'-')));
        let end = digits(i + 1 + sign);
        if end > i + 1 + sign {
            i = end;
        }
    }
    i
}

/// One spelling for the many ways a unit is typed: no blanks, one product sign, one micro sign, plain exponents.
fn tidy(unit: &str) -> String {
    let mut s = String::with_capacity(unit.len());
    for c in unit.chars() {
        match c {
            c if c.is_whitespace() => {}
            // Product signs: middle dot, dot operator, bullet, multiplication sign, hyphen, full stop, asterisk.
            '\u{b7}' | '\u{22c5}' | '\u{2022}' | '\u{d7}' | '-' | '\u{2010}' | '\u{2011}' | '.' | '*' => {
                s.push('*');
            }
            // Micro sign and Greek mu.
            '\u{b5}' | '\u{3bc}' => s.push('u'),
            '\u{b2}' => s.push('2'),
            '\u{b3}' => s.push('3'),
            '^' => {}
            c => s.push(c),
        }
    }
    s
}

fn find(kind: Kind, tidied: &str) -> Option<&'static Unit> {
    kind.units().iter().find(|u| u.spellings.contains(&tidied))
}

/// Reads a value with its unit.
///
/// Blanks between number and unit are free; the minus sign may be a hyphen or U+2212; the product sign in a unit may be any
/// of `·`, `⋅`, `*`, `-`, `.` or none; `µ` may be `u`; `²` may be `2` or `^2`.
///
/// ```
/// use host_sim::quantity::{Kind, parse};
/// assert_eq!(parse(Kind::Speed, "6 m/min"), Ok(100.0));
/// assert_eq!(parse(Kind::TimeMs, "0.94 s"), Ok(940.0));
/// assert!(parse(Kind::Length, "94").is_err());
/// ```
///
/// # Errors
/// When there is no number, no unit, or the unit is not one of the kind's.
pub fn parse(kind: Kind, text: &str) -> Result<f64, QuantityError> {
    let plain = text.trim().replace('\u{2212}', "-");
    let len = number_len(&plain);
    let (number, rest) = plain.split_at(len);
    let value: f64 = number.replace('_', "").parse().map_err(|_| QuantityError::NotANumber(text.trim().to_owned()))?;
    if !value.is_finite() {
        return Err(QuantityError::Infinite);
    }
    if rest.starts_with(',') {
        return Err(QuantityError::Comma(text.trim().to_owned()));
    }
    let written = rest.trim();
    if written.is_empty() {
        return if kind == Kind::Share { Ok(value) } else { Err(QuantityError::NoUnit) };
    }
    let tidied = tidy(written);
    let unit = find(kind, &tidied).ok_or_else(|| wrong(kind, written, &tidied))?;
    let scaled = value * unit.times / unit.per;
    if scaled.is_finite() { Ok(scaled) } else { Err(QuantityError::Infinite) }
}

fn wrong(kind: Kind, written: &str, tidied: &str) -> QuantityError {
    let lower = tidied.to_lowercase();
    let other_case =
        kind.units().iter().find(|u| u.spellings.iter().any(|s| s.to_lowercase() == lower)).map(|u| u.shown);
    if let Some(right) = other_case {
        return QuantityError::Capitals(written.to_owned(), right);
    }
    let belongs = Kind::ALL.into_iter().find(|k| find(*k, tidied).is_some());
    QuantityError::WrongUnit(written.to_owned(), belongs)
}
