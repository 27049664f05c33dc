//! Units against exact values, each with its source beside it, and against the factors of an independent library.

use host_sim::quantity::{Kind, QuantityError, parse};
use proptest::prelude::*;

fn near(kind: Kind, text: &str, expected: f64) {
    let got = parse(kind, text).unwrap_or_else(|e| panic!("{text}: {e}"));
    // Two roundings at most: a few units in the last place.
    assert!((got - expected).abs() <= expected.abs() * 4.0 * f64::EPSILON, "{text} = {got:e}, not {expected:e}");
}

/// The inch is 25.4 mm, the pound 0.453 592 37 kg (international yard and pound agreement of 1959), standard gravity
/// 9.806 65 m/s² (3rd CGPM, 1901), all exact by definition; the rest follows by multiplication.
#[test]
fn exact_by_definition() {
    near(Kind::Length, "1 in", 25.4);
    near(Kind::Length, "1 ft", 304.8);
    near(Kind::Length, "1 µm", 0.001);
    near(Kind::Mass, "1 lb", 0.453_592_37);
    near(Kind::Mass, "16 oz", 0.453_592_37);
    near(Kind::Force, "1 lbf", 4.448_221_615_260_5);
    near(Kind::Force, "1 kgf", 9.806_65);
    // 0.453 592 37 · 9.806 65 / 0.0254² Pa.
    near(Kind::Pressure, "1 psi", 0.068_947_572_931_683_6);
    near(Kind::Pressure, "14.503773773020924 psi", 1.0);
    // 0.453 592 37 · 9.806 65 · 0.0254 N·m, and · 0.3048.
    near(Kind::Torque, "1 in·lbf", 0.112_984_829_027_616_7);
    near(Kind::Torque, "1 ft·lbf", 1.355_817_948_331_400_4);
    near(Kind::Torque, "1 kgf·cm", 0.098_066_5);
    near(Kind::Torque, "16 ozf·in", 0.112_984_829_027_616_7);
    near(Kind::Speed, "60 ft/min", 304.8);
    near(Kind::Acceleration, "1 g", 9_806.65);
    near(Kind::Angle, "3.141592653589793 rad", 180.0);
    near(Kind::Turning, "5 rev/s", 300.0);
    // A cubic foot is 0.3048³ m³.
    near(Kind::Flow, "1 ft³/min", 28.316_846_592);
    near(Kind::Flow, "1 cfm", 28.316_846_592);
    near(Kind::Flow, "6 m³/h", 100.0);
    near(Kind::Flow, "2 L/s", 120.0);
    // ISO 6358: 2 dm³/(s·bar) is 2e-8 m³/(s·Pa).
    near(Kind::Conductance, "2e-8 m³/(s·Pa)", 2.0);
    near(Kind::Conductance, "2 dm3/(s*bar)", 2.0);
    near(Kind::Conductance, "120 L/(min·bar)", 2.0);
}

/// Decimal units leave a decimal number as it is, to the last bit.
#[test]
fn decimal_units_are_exact() {
    let cases = [
        (Kind::Length, "94 mm", 94.0),
        (Kind::Length, "9.4 cm", 94.0),
        (Kind::Coordinate, "-61.5 mm", -61.5),
        (Kind::Coordinate, "\u{2212}61.5 mm", -61.5),
        (Kind::Speed, "6 m/min", 100.0),
        (Kind::Speed, "0.3 m/s", 300.0),
        (Kind::TimeMs, "0.94 s", 940.0),
        (Kind::TimeMs, "500 µs", 0.5),
        (Kind::TimeMs, "500 us", 0.5),
        (Kind::TimeS, "250 ms", 0.25),
        (Kind::TimeS, "10 min", 600.0),
        (Kind::TimeS, "8 h", 28_800.0),
        (Kind::Pressure, "500 kPa", 5.0),
        (Kind::Pressure, "0.5 MPa", 5.0),
        (Kind::Pressure, "500000 Pa", 5.0),
        (Kind::Mass, "550 g", 0.55),
        (Kind::Share, "20 %", 0.2),
        (Kind::Share, "0.2", 0.2),
        (Kind::Turning, "300 1/min", 300.0),
        (Kind::Turning, "300 rev/min", 300.0),
        (Kind::Angle, "60°", 60.0),
        (Kind::Acceleration, "1 m/s²", 1_000.0),
        (Kind::Acceleration, "1 m/s2", 1_000.0),
        (Kind::Acceleration, "1 m/s^2", 1_000.0),
    ];
    for (kind, text, expected) in cases {
        assert_eq!(parse(kind, text).map(f64::to_bits), Ok(f64::to_bits(expected)), "{text}");
    }
}

/// Common practice: regulators at "70 psi" stand at 4.826 bar, not at 5. Rule of thumb for a 28 mm closure (an industry habit, no
/// standard): 14 in·lbf, 1.581 788 N·m.
#[test]
fn figures_of_the_trade() {
    let psi = parse(Kind::Pressure, "70 psi").expect("it is a pressure");
    assert!((psi - 4.826).abs() < 0.000_5, "{psi}");
    let torque = parse(Kind::Torque, "14 in·lbf").expect("it is a torque");
    assert!((torque - 1.581_788).abs() < 5e-7, "{torque}");
}

#[test]
fn a_unit_may_be_typed_in_many_ways() {
    for text in [
        "14 in·lbf",
        "14 in⋅lbf",
        "14 in*lbf",
        "14 in-lbf",
        "14 in.lbf",
        "14 inlbf",
        "14in·lbf",
        " 14  in lbf ",
        "14 lbf·in",
    ] {
        near(Kind::Torque, text, 14.0 * 0.112_984_829_027_616_7);
    }
    for text in ["2 N·m", "2 Nm", "2 N*m", "2N m", "+2 N·m", "2.0 N·m", "0.2e1 N·m"] {
        near(Kind::Torque, text, 2.0);
    }
}

#[test]
fn what_is_no_quantity() {
    use QuantityError as E;
    assert_eq!(parse(Kind::Length, "94"), Err(E::NoUnit));
    assert_eq!(parse(Kind::Length, ""), Err(E::NotANumber(String::new())));
    assert_eq!(parse(Kind::Length, "mm"), Err(E::NotANumber("mm".to_owned())));
    assert_eq!(parse(Kind::Length, "- 94 mm"), Err(E::NotANumber("- 94 mm".to_owned())));
    assert_eq!(parse(Kind::Length, "inf mm"), Err(E::NotANumber("inf mm".to_owned())));
    assert_eq!(parse(Kind::Length, "1e999 mm"), Err(E::Infinite));
    assert_eq!(parse(Kind::Length, "94,5 mm"), Err(E::Comma("94,5 mm".to_owned())));
    assert_eq!(parse(Kind::Length, "94 s"), Err(E::WrongUnit("s".to_owned(), Some(Kind::TimeMs))));
    assert_eq!(parse(Kind::Length, "94 ell"), Err(E::WrongUnit("ell".to_owned(), None)));
    // Capitals matter: a millipascal is no megapascal.
    assert_eq!(parse(Kind::Pressure, "5 mpa"), Err(E::Capitals("mpa".to_owned(), "MPa")));
}

/// Every unit's factor agrees with the crate `uom`, whose tables were made by others; some of them are rounded to seven digits.
#[test]
fn factors_agree_with_an_independent_library() {
    use uom::si::f64::{Acceleration, Angle, AngularVelocity, Force, Length, Mass, Pressure, Time, Torque, Velocity};
    use uom::si::{acceleration, angle, angular_velocity, force, length, mass, pressure, time, torque, velocity};
    let mut checked = 0;
    macro_rules! agree {
        ($kind:expr, $text:literal, $quantity:ident, $from:path, $to:path) => {{
            let theirs = $quantity::new::<$from>(1.0).get::<$to>();
            let ours = parse($kind, $text).expect($text);
            assert!((ours - theirs).abs() <= 1e-6 * theirs.abs(), "{}: {ours} and {theirs}", $text);
            checked += 1;
        }};
    }
    agree!(Kind::Length, "1 cm", Length, length::centimeter, length::millimeter);
    agree!(Kind::Length, "1 m", Length, length::meter, length::millimeter);
    agree!(Kind::Length, "1 µm", Length, length::micrometer, length::millimeter);
    agree!(Kind::Length, "1 in", Length, length::inch, length::millimeter);
    agree!(Kind::Length, "1 ft", Length, length::foot, length::millimeter);
    agree!(Kind::Speed, "1 m/s", Velocity, velocity::meter_per_second, velocity::millimeter_per_second);
    agree!(Kind::Speed, "1 in/s", Velocity, velocity::inch_per_second, velocity::millimeter_per_second);
    agree!(Kind::Speed, "1 ft/min", Velocity, velocity::foot_per_minute, velocity::millimeter_per_second);
    agree!(
        Kind::Acceleration,
        "1 g",
        Acceleration,
        acceleration::standard_gravity,
        acceleration::millimeter_per_second_squared
    );
    agree!(
        Kind::Acceleration,
        "1 ft/s²",
        Acceleration,
        acceleration::foot_per_second_squared,
        acceleration::millimeter_per_second_squared
    );
    agree!(Kind::TimeMs, "1 min", Time, time::minute, time::millisecond);
    agree!(Kind::TimeS, "1 h", Time, time::hour, time::second);
    agree!(Kind::Pressure, "1 kPa", Pressure, pressure::kilopascal, pressure::bar);
    agree!(Kind::Pressure, "1 MPa", Pressure, pressure::megapascal, pressure::bar);
    agree!(Kind::Pressure, "1 psi", Pressure, pressure::psi, pressure::bar);
    agree!(Kind::Torque, "1 in·lbf", Torque, torque::pound_force_inch, torque::newton_meter);
    agree!(Kind::Torque, "1 ft·lbf", Torque, torque::pound_force_foot, torque::newton_meter);
    agree!(Kind::Torque, "1 ozf·in", Torque, torque::ounce_force_inch, torque::newton_meter);
    agree!(Kind::Force, "1 lbf", Force, force::pound_force, force::newton);
    agree!(Kind::Force, "1 kgf", Force, force::kilogram_force, force::newton);
    agree!(Kind::Mass, "1 lb", Mass, mass::pound, mass::kilogram);
    agree!(Kind::Mass, "1 oz", Mass, mass::ounce, mass::kilogram);
    agree!(Kind::Angle, "1 rad", Angle, angle::radian, angle::degree);
    agree!(
        Kind::Turning,
        "1 rev/s",
        AngularVelocity,
        angular_velocity::revolution_per_second,
        angular_velocity::revolution_per_minute
    );
    assert_eq!(checked, 24);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    /// A value, written in any unit of its kind and read back, is the value again.
    #[test]
    fn value_to_text_to_value(which in 0_usize..15, unit in 0_usize..8, value in -1e6_f64..1e6) {
        let kind = Kind::ALL[which];
        let units = kind.units();
        let unit = &units[unit % units.len()];
        let written = value * unit.per / unit.times;
        let text = format!("{written} {}", unit.shown);
        let back = parse(kind, &text).map_err(|e| TestCaseError::fail(format!("{text}: {e}")))?;
        prop_assert!((back - value).abs() <= value.abs() * 1e-14, "{} became {}", value, back);
    }

    /// Any text is a value or an error, and never a panic.
    #[test]
    fn any_text_is_survived(which in 0_usize..15, text in "[-+0-9.,eE_ ]{0,8}\\PC{0,6}") {
        let _ = parse(Kind::ALL[which], &text);
    }
}
