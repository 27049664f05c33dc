//! A bottle's way, sampled for drawing.

use super::span::{Span, TimeScale};
use crate::trace::{BottlePath, Piece};

/// Points of a bottle's centre within a span: (time µs, place mm), in time order; at least two, or none if it is not there.
pub(crate) fn sample(path: &BottlePath, scale: &TimeScale, end_us: u64) -> Vec<(f64, f64)> {
    let Some((from, to)) = present(path, scale.span, end_us) else {
        return Vec::new();
    };
    // Points closer than this cannot be told apart.
    let grain = scale.us_per_unit() * 0.75;
    let first = path.pieces.partition_point(|p| p.t_us <= from).saturating_sub(1);
    let mut out: Vec<(f64, f64)> = Vec::new();
    for (i, piece) in path.pieces.iter().enumerate().skip(first) {
        let a = piece.t_us.max(from);
        let b = path.pieces.get(i + 1).map_or(to, |n| n.t_us.min(to));
        if a > to {
            break;
        }
        if out.last().is_some_and(|l| b - l.0 < grain && b < to) {
            continue;
        }
        push(&mut out, piece, a, b, grain);
    }
    out
}

/// A straight piece by its ends, a parabolic one by chords of about eight units, at most 48.
fn push(out: &mut Vec<(f64, f64)>, piece: &Piece, a: f64, b: f64, grain: f64) {
    let n = if piece.a_mm_s2 == 0.0 { 1.0 } else { libm::ceil((b - a) / (grain * 10.0)).clamp(2.0, 48.0) };
    if out.last().is_none_or(|l| a > l.0) {
        out.push((a, piece.at(a)));
    }
    for k in 1..=n as u32 {
        let t = a + (b - a) * f64::from(k) / n;
        out.push((t, piece.at(t)));
    }
}

/// From when until when the bottle is there, within `span`.
pub(crate) fn present(path: &BottlePath, span: Span, end_us: u64) -> Option<(f64, f64)> {
    let first = path.pieces.first()?.t_us;
    let from = first.max(span.from_us as f64);
    let to = path.gone_us.unwrap_or(end_us).min(span.to_us) as f64;
    (from < to && from.is_finite()).then_some((from, to))
}

/// What of a way lies between `lo` and `hi`, with one point beyond at each end.
pub(crate) fn trim(way: Vec<(f64, f64)>, lo: f64, hi: f64) -> Vec<(f64, f64)> {
    let inside = |&(_, x): &(f64, f64)| x > lo && x < hi;
    let crosses = |w: &[(f64, f64)]| matches!(w, [a, b] if (a.1 <= lo && b.1 >= hi) || (a.1 >= hi && b.1 <= lo));
    let first = way.iter().position(inside).or_else(|| way.windows(2).position(crosses).map(|i| i + 1));
    let last = way.iter().rposition(inside).or_else(|| way.windows(2).rposition(crosses));
    match (first, last) {
        (Some(a), Some(b)) => way.get(a.saturating_sub(1)..(b + 2).min(way.len())).unwrap_or(&[]).to_vec(),
        _ => Vec::new(),
    }
}

/// When a way first reaches `x`, between its points by a straight line.
pub(crate) fn reaches(way: &[(f64, f64)], x: f64) -> Option<f64> {
    way.windows(2).find_map(|w| match w {
        [a, b] if a.1 < x && b.1 >= x => Some(a.0 + (b.0 - a.0) * (x - a.1) / (b.1 - a.1)),
        _ => None,
    })
}

/// Its place at `t_us`, mm; `None` before its first piece.
pub(crate) fn at(path: &BottlePath, t_us: f64) -> Option<f64> {
    let i = path.pieces.partition_point(|p| p.t_us <= t_us).checked_sub(1)?;
    path.pieces.get(i).map(|p| p.at(t_us))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn path() -> BottlePath {
        let piece = |t_us, x_mm, v_mm_s, a_mm_s2| Piece { t_us, x_mm, v_mm_s, a_mm_s2 };
        BottlePath {
            number: 1,
            length_mm: 65.0,
            pieces: vec![
                piece(0.0, -126.0, 0.0, 0.0),
                piece(1e6, -126.0, 0.0, 200.0),
                piece(1.5e6, -101.0, 100.0, 0.0),
            ],
            gone_us: Some(3_000_000),
            outcome: "tight",
            off_centre_mm: None,
        }
    }

    #[test]
    fn samples_lie_on_the_pieces_and_span_the_stay() {
        let scale = TimeScale { span: Span { from_us: 500_000, to_us: 9_000_000 }, left: 0.0, width: 1000.0 };
        let s = sample(&path(), &scale, 9_000_000);
        assert_eq!(s.first().copied(), Some((500_000.0, -126.0)));
        assert!(s.last().is_some_and(|&(t, x)| t == 3e6 && (x - 49.0).abs() < 1e-9), "{s:?}");
        assert!(s.windows(2).all(|w| matches!(w, [a, b] if a.0 < b.0)));
        for &(t, x) in &s {
            assert!(at(&path(), t).is_some_and(|y| (x - y).abs() < 1e-9));
        }
    }

    #[test]
    fn trimming_keeps_one_point_beyond_each_end_and_crossings_are_between_points() {
        let way: Vec<(f64, f64)> = (0..10).map(|i| (f64::from(i), f64::from(i) * 10.0)).collect();
        assert_eq!(trim(way.clone(), 25.0, 45.0), way[2..=5].to_vec());
        assert_eq!(trim(way.clone(), 22.0, 28.0), way[2..=3].to_vec());
        assert_eq!(trim(way.clone(), 95.0, 99.0), Vec::new());
        assert_eq!(reaches(&way, 25.0), Some(2.5));
        assert_eq!(reaches(&way, 95.0), None);
    }

    #[test]
    fn a_bottle_outside_the_span_is_not_drawn() {
        let scale = TimeScale { span: Span { from_us: 4_000_000, to_us: 9_000_000 }, left: 0.0, width: 1000.0 };
        assert!(sample(&path(), &scale, 9_000_000).is_empty());
        assert_eq!(at(&path(), -1.0), None);
    }
}
