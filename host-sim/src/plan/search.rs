//! Search by halving for the place where something stops holding.

/// Halvings of [`last`].
const HALVINGS: u32 = 30;

/// Closes in on the edge between `low`, where `holds` is true, and `high`, where it is false: the largest value found true. Neither end is looked at.
pub(super) fn edge(low: f64, high: f64, halvings: u32, holds: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (low, high);
    for _ in 0..halvings {
        let mid = f64::midpoint(low, high);
        if holds(mid) {
            low = mid;
        } else {
            high = mid;
        }
    }
    low
}

/// The largest x from `from` on, up to `to`, for which `holds` is still true, if it is true up to there and false beyond; `from` if it never is.
pub(super) fn last(from: f64, to: f64, holds: impl Fn(f64) -> bool) -> f64 {
    if holds(to) { to } else { edge(from, to, HALVINGS, holds) }
}
