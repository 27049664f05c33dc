//! The encoder as the core reads it: between the belt's counts and the core's, a wheel that slips or turns backwards.

/// 256ths of the belt's counts that an honest wheel tells.
pub(super) const HONEST: i64 = 256;

/// A wheel that tells a share of the belt's counts.
#[derive(Clone, Copy, Debug)]
pub(super) struct Wheel {
    /// 256ths; less than 0: backwards.
    share: i64,
    /// The belt's count at which this share began, and what was told then.
    from: i64,
    to: i64,
    /// What was told last, and the time of its edge, µs.
    told: i64,
    edge: u64,
}

impl Wheel {
    pub(super) const fn new() -> Self {
        Self { share: HONEST, from: 0, to: 0, told: 0, edge: 0 }
    }

    const fn tell(&self, count: i64) -> i64 {
        self.to + (((count - self.from) * self.share) >> 8)
    }

    /// Another share from `count` on.
    pub(super) const fn turn(&mut self, share: i64, count: i64) {
        self.to = self.tell(count);
        self.from = count;
        self.share = share;
    }

    /// Count and the time of its newest edge, given those of the belt.
    pub(super) const fn read(&mut self, count: i64, edge_at: u64) -> (i64, u64) {
        let told = self.tell(count);
        if told != self.told || self.share == HONEST {
            self.told = told;
            self.edge = edge_at;
        }
        (told, self.edge)
    }

    /// The belt's counts, at least and at most, at which at least `above` or at most `below` is told.
    pub(super) fn reaches(&self, above: i64, below: i64) -> (i64, i64) {
        let wide = |x: i64, add: i128| (i128::from(x) - i128::from(self.to) + add) << 8;
        let (share, from) = (i128::from(self.share), i128::from(self.from));
        let place = |x: i128| (x + from).clamp(i128::from(i64::MIN), i128::from(i64::MAX)) as i64;
        if share > 0 {
            let ceil = |x: i128| -(-x).div_euclid(share);
            (place(ceil(wide(above, 0))), place(ceil(wide(below, 1)) - 1))
        } else {
            let n = -share;
            (place((-wide(below, 1)).div_euclid(n) + 1), place((-wide(above, 0)).div_euclid(n)))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_where_the_count_first_says_so() {
        for share in [256, 200, 37, -256, -100, -3] {
            let mut w = Wheel::new();
            w.turn(share, 1_000);
            for want in -40..40_i64 {
                let (least, most) = w.reaches(1_000 + want, i64::MIN);
                let (_, below) = w.reaches(i64::MAX, 1_000 + want);
                let (at_least, _) = w.reaches(i64::MAX, 1_000 + want);
                for c in 0..3_000_i64 {
                    let told = w.tell(c);
                    if share > 0 {
                        assert_eq!(told >= 1_000 + want, c >= least, "{share} {want} {c}");
                        assert_eq!(told <= 1_000 + want, c <= below, "{share} {want} {c}");
                    } else {
                        assert_eq!(told >= 1_000 + want, c <= most, "{share} {want} {c}");
                        assert_eq!(told <= 1_000 + want, c >= at_least, "{share} {want} {c}");
                    }
                }
            }
        }
    }
}
