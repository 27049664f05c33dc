//! The body in plan view: where blades, neighbours and the jaw touch it. The mathematics of a convex outline with two axes of symmetry,
//! one along the belt; a circle is the special case that the rest of the plan was first written for.

use crate::job::measured::ShapeSpec;

/// A convex body seen from above, centred, its axes along and across the belt. Lengths in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outline {
    /// Its form.
    pub shape: ShapeSpec,
    /// Half its length along the belt.
    pub along_mm: f64,
    /// Half its width across the belt.
    pub across_mm: f64,
    /// Radius of the corners of a flat-sided body.
    pub corner_mm: f64,
}

impl Outline {
    /// A circle.
    #[must_use]
    pub fn round(r_mm: f64) -> Self {
        Self { shape: ShapeSpec::Round, along_mm: r_mm, across_mm: r_mm, corner_mm: r_mm }
    }

    /// The same body with both half axes larger by `d_mm`; a corner stays as it is, as far as it fits.
    #[must_use]
    pub fn grown(self, d_mm: f64) -> Self {
        let (along_mm, across_mm) = (self.along_mm + d_mm, self.across_mm + d_mm);
        let corner_mm = match self.shape {
            ShapeSpec::Round => along_mm,
            ShapeSpec::Oval | ShapeSpec::Flat => self.corner_mm.min(along_mm).min(across_mm),
        };
        Self { along_mm, across_mm, corner_mm, ..self }
    }

    /// Distance along the belt from the centre to the wall at `y_mm` beside the centre line, mm; 0 beside the body. A circle: √(r² − y²); an
    /// ellipse: a√(1 − (y/b)²); a flat side: a, and in the corner a − ρ + √(ρ² − (y − b + ρ)²).
    #[must_use]
    pub fn flank_mm(&self, y_mm: f64) -> f64 {
        let y = libm::fabs(y_mm);
        if y >= self.across_mm {
            return 0.0;
        }
        match self.shape {
            ShapeSpec::Round => libm::sqrt((self.along_mm * self.along_mm - y * y).max(0.0)),
            ShapeSpec::Oval => {
                let share = y / self.across_mm;
                self.along_mm * libm::sqrt((1.0 - share * share).max(0.0))
            }
            ShapeSpec::Flat => {
                let into = (y - (self.across_mm - self.corner_mm)).max(0.0);
                let c = self.corner_mm;
                self.along_mm - c + libm::sqrt((c * c - into * into).max(0.0))
            }
        }
    }

    /// How far the nose pokes past a blade whose tip stops `y_mm` beside the centre line, mm.
    #[must_use]
    pub fn nose_mm(&self, y_mm: f64) -> f64 {
        self.along_mm - self.flank_mm(y_mm)
    }

    /// From a blade's holding face upstream to the point where the body that leans on it touches its neighbour, mm.
    #[must_use]
    pub fn touching_mm(&self, y_mm: f64) -> f64 {
        self.along_mm + self.flank_mm(y_mm)
    }

    /// Free width for a blade between two such bodies that touch, mm.
    #[must_use]
    pub fn free_width_mm(&self, y_mm: f64) -> f64 {
        2.0 * self.nose_mm(y_mm)
    }

    /// How far the touching point moves for each mm of half length: the slope of [`Self::touching_mm`] when both half axes grow alike.
    #[must_use]
    pub fn sensitivity(&self, y_mm: f64) -> f64 {
        if self.shape == ShapeSpec::Round {
            return 1.0 + self.along_mm / self.flank_mm(y_mm);
        }
        let h = 1e-4;
        (self.grown(h).touching_mm(y_mm) - self.grown(-h).touching_mm(y_mm)) / (2.0 * h)
    }

    /// The furthest from the centre line that a blade's tip may hold this body, mm: beyond, the wall is so oblique that the body slides off sideways. Common
    /// practice; for a circle four fifths of the radius, elsewhere where the wall is as oblique as there, a slope of 4/3.
    #[must_use]
    pub fn hold_mm(&self) -> f64 {
        const SLOPE: f64 = 4.0 / 3.0;
        match self.shape {
            ShapeSpec::Round => 0.8 * self.across_mm,
            ShapeSpec::Oval => {
                let t = SLOPE * self.across_mm / self.along_mm;
                self.across_mm * t / libm::sqrt(1.0 + t * t)
            }
            ShapeSpec::Flat => self.across_mm - self.corner_mm + 0.8 * self.corner_mm,
        }
    }

    /// Distance from the centre to a flank of a V jaw that touches the body, mm, `half_angle_deg` between flank and the jaw's axis (across the
    /// belt): the support function in the direction of the flank's normal, (cos α, sin α).
    #[must_use]
    pub fn to_flank_mm(&self, half_angle_deg: f64) -> f64 {
        let (c, s) = normal(half_angle_deg);
        match self.shape {
            ShapeSpec::Round => self.along_mm,
            ShapeSpec::Oval => {
                let (x, y) = (self.along_mm * c, self.across_mm * s);
                libm::sqrt(x * x + y * y)
            }
            ShapeSpec::Flat => {
                (self.along_mm - self.corner_mm) * c + (self.across_mm - self.corner_mm) * s + self.corner_mm
            }
        }
    }

    /// Where along the belt that flank touches the centred body, from the jaw's axis, mm. A circle: r·cos α.
    #[must_use]
    pub fn jaw_touch_mm(&self, half_angle_deg: f64) -> f64 {
        let (c, _) = normal(half_angle_deg);
        match self.shape {
            ShapeSpec::Round => self.along_mm * c,
            ShapeSpec::Oval => self.along_mm * self.along_mm * c / self.to_flank_mm(half_angle_deg),
            ShapeSpec::Flat => self.along_mm - self.corner_mm + self.corner_mm * c,
        }
    }
}

/// Outward normal of a flank: along the belt, across it.
fn normal(half_angle_deg: f64) -> (f64, f64) {
    let a = half_angle_deg.to_radians();
    (libm::cos(a), libm::sin(a))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flat(along_mm: f64, across_mm: f64, corner_mm: f64) -> Outline {
        Outline { shape: ShapeSpec::Flat, along_mm, across_mm, corner_mm }
    }

    #[test]
    fn a_circle_is_the_limit_of_both_other_shapes() {
        let circle = Outline::round(32.5);
        let oval = Outline { shape: ShapeSpec::Oval, ..circle };
        let flat = flat(32.5, 32.5, 32.5);
        for y in [0.0, 5.0, 20.0, 32.0] {
            for other in [oval, flat] {
                assert!((circle.flank_mm(y) - other.flank_mm(y)).abs() < 1e-9);
            }
        }
        for a in [30.0, 45.0, 60.0] {
            for other in [oval, flat] {
                assert!((circle.to_flank_mm(a) - other.to_flank_mm(a)).abs() < 1e-9);
                assert!((circle.hold_mm() - other.hold_mm()).abs() < 1e-9);
                assert!((circle.jaw_touch_mm(a) - other.jaw_touch_mm(a)).abs() < 1e-9);
            }
        }
        let slope = (circle.grown(1e-4).touching_mm(20.0) - circle.grown(-1e-4).touching_mm(20.0)) / 2e-4;
        assert!((slope - circle.sensitivity(20.0)).abs() < 1e-6);
    }

    #[test]
    fn flat_sides_leave_no_room_but_at_the_corner() {
        let f = flat(30.0, 20.0, 6.0);
        assert_eq!(f.free_width_mm(10.0), 0.0, "side against side");
        // 5 mm into a corner of 6: 6 − √(36 − 25) on each body.
        assert!((f.free_width_mm(19.0) - 2.0 * (6.0 - libm::sqrt(11.0))).abs() < 1e-9);
        assert_eq!(f.flank_mm(20.0), 0.0);
    }
}
