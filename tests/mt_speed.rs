//! Speed from counts and time: against the published M/T method, and against exact arithmetic.

use crate::cases::cases;
use proptest::prelude::*;
use timing_core::{CountsPerMm, Millimetres, Rate, Speed};

/// 1024 lines ×4 over 200 mm of belt.
const COUNTS_PER_MM: f64 = 20.48;

fn mm_per_s(rate: Rate) -> f64 {
    f64::from(rate.to_bits()) / f64::from(1 << Rate::FRACTION_BITS) * 1e6 / COUNTS_PER_MM
}

/// M/T method: T. Ohmae, T. Matsuda, K. Kamiyama, M. Tachikawa, "A microprocessor-controlled high-accuracy wide-range speed
/// regulator for motor drives", IEEE Trans. Ind. Electron. IE-29(3), 207–211, 1982 (formulas from memory of the paper): whole counts
/// `m1` over the exact clock ticks `m2` between their edges; one clock tick is the step, relative 1/m2 at every speed.
/// Window 10 ms, clock 1 MHz, 20.48 counts/mm, the window starts on a count.
#[test]
fn the_m_t_method_is_accurate_to_one_clock_tick_at_every_speed() {
    // True speed mm/s, counts, clock ticks, speed that the method gives.
    let table = [
        (3.0, 1, 16_276, 3.000_007_7),
        (30.0, 7, 11_393, 30.000_603),
        (300.0, 62, 10_091, 300.004_336),
        (1_000.0, 205, 10_009, 1_000.076_494),
    ];
    for (truth, m1, m2, published) in table {
        // The row is what counting at the true speed gives: the first count after the window, and its whole ticks.
        let edge_us = f64::from(m1) * 1e6 / (truth * COUNTS_PER_MM);
        assert!(edge_us >= 10_000.0 && (edge_us - f64::from(m2)).abs() < 1.0, "{truth} mm/s");
        let v = mm_per_s(Rate::over(m1, m2));
        let step = 1.0 / f64::from(m2);
        assert!((v - published).abs() / published < step, "{truth} mm/s: {v}, published {published}");
        assert!((v - truth).abs() / truth < 2.0 * step, "{truth} mm/s: {v}");
    }
    // What the method is for: counting alone (M) has a step of 4.88 mm/s here, timing one count alone (T) 2 % at 1000 mm/s.
    assert_eq!(mm_per_s(Rate::over(6, 10_000)).round(), 29.0);
    assert_eq!(mm_per_s(Rate::over(1, 48)).round(), 1_017.0);
}

/// The worked figure of the same method: 600 counts a turn, 1 MHz, 50 counts in 10 000 ticks are 500 rpm.
#[test]
fn fifty_counts_in_ten_thousand_ticks_are_five_hundred_rpm() {
    let rpm = |r: Rate| f64::from(r.to_bits()) / f64::from(1 << Rate::FRACTION_BITS) * 1e6 / 600.0 * 60.0;
    assert!((rpm(Rate::over(50, 10_000)) - 500.0).abs() < 0.005);
    assert!((rpm(Rate::over(50, 10_001)) - 499.95).abs() < 0.005);
}

fn clamp_i32(v: i128) -> i32 {
    i32::try_from(v).unwrap_or(if v > 0 { i32::MAX } else { i32::MIN })
}

/// Numbers of every size, not only large ones.
fn any_size() -> impl Strategy<Value = u32> {
    (any::<u32>(), 0..32_u32).prop_map(|(v, shift)| v >> shift)
}

proptest! {
    #![proptest_config(cases(4_096))]

    /// Never above the exact quotient; below it by less than the last bit that one 32-bit division can give.
    #[test]
    fn over_agrees_with_exact_division(counts in any_size(), us in any_size()) {
        let got = u128::from(Rate::over(counts, us).to_bits());
        if counts == 0 || us == 0 {
            prop_assert_eq!(got, 0);
            return Ok(());
        }
        let scaled = u128::from(counts) << Rate::FRACTION_BITS;
        let exact = scaled / u128::from(us);
        if got == u128::from(u32::MAX) {
            // Saturated, or just there.
            prop_assert!(exact >= u128::from(u32::MAX));
        } else {
            prop_assert!(got <= exact);
            let lost_bits = Rate::FRACTION_BITS.saturating_sub(counts.leading_zeros());
            prop_assert!(exact - got < 1 << lost_bits, "{} of {}", got, exact);
        }
    }

    /// For windows up to 16 384 µs the arithmetic costs less than one tick of the 1 µs clock, at any count.
    #[test]
    fn over_is_as_good_as_its_clock(counts in 1_u32..4_000, us in 1_u32..=16_384) {
        prop_assume!(counts < us * 15); // below 16 counts/µs, where a rate saturates
        let got = f64::from(Rate::over(counts, us).to_bits());
        let exact = f64::from(counts) * f64::from(1 << Rate::FRACTION_BITS) / f64::from(us);
        prop_assert!((exact - got) / exact <= 1.0 / f64::from(us), "{} of {}", got, exact);
    }

    /// Travel is the exact product, rounded once, halves up.
    #[test]
    fn travel_agrees_with_exact_product(bits in any_size(), us in any_size()) {
        let exact = (u128::from(bits) * u128::from(us) + (1 << 27)) >> 28;
        let want = i32::try_from(exact).unwrap_or(i32::MAX);
        prop_assert_eq!(Rate::from_bits(bits).travel(us), want);
    }

    /// Lengths become counts by the exact product, rounded once.
    #[test]
    fn counts_agree_with_exact_product(scale in any_size(), bits in any::<i32>(), shift in 0..31_u32) {
        let length = Millimetres::from_bits(bits >> shift);
        let product = i128::from(length.to_bits()) * i128::from(scale);
        let scale = CountsPerMm::from_bits(scale);
        prop_assert_eq!(scale.counts(length), clamp_i32((product + (1 << 31)).div_euclid(1 << 32)));
        let up = -(-product).div_euclid(1 << 32);
        prop_assert_eq!(scale.counts_up(length), clamp_i32(up));
    }

    /// A speed becomes a rate by the exact product, rounded once to the nearest step.
    #[test]
    fn rate_agrees_with_exact_product(scale in any_size(), bits in any::<i32>(), shift in 0..31_u32) {
        let speed = Speed::from_bits(bits >> shift);
        let got = i128::from(CountsPerMm::from_bits(scale).rate(speed).to_bits());
        let product = i128::from(speed.to_bits().max(0)) * i128::from(scale);
        // counts/s with 32 fraction bits to counts/µs with 28: ÷ (2⁴ · 10⁶).
        let want = ((product + 8_000_000) / 16_000_000).min(i128::from(u32::MAX));
        prop_assert_eq!(got, want);
    }
}
