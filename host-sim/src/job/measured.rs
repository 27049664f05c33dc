//! Measurements that only the set-up sheet needs: heights, widths, cylinders, air, the closure's form. All are optional; without one,
//! the sheet says where the thing should be and cannot say whether it is there. Every key is documented here, at the field it fills.

/// What is set on the machine today, besides what the modelled line needs: keys of `[machine]`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SetSpec {
    /// `rail_width`: clear width between the guide rails at the head (length).
    pub rail_mm: Option<f64>,
    /// `rail_width_start`: clear width between the guide rails at the escapement and before it (length).
    pub rail_start_mm: Option<f64>,
    /// `blade_height`: middle of both gates' blades above the belt (length).
    pub blade_height_mm: Option<f64>,
    /// `eye_height`: beams of the eyes above the belt (length).
    pub eye_height_mm: Option<f64>,
    /// `grip_height`: middle of jaw and support above the belt (length).
    pub grip_height_mm: Option<f64>,
    /// `support_face`: face of the support from the belt's centre line (length).
    pub support_mm: Option<f64>,
    /// `plunger_height`: face of the raised plunger above the belt (length).
    pub plunger_height_mm: Option<f64>,
    /// `roller_height`: middle of the rollers' rims above the belt (length).
    pub roller_height_mm: Option<f64>,
    /// `roller_width`: height of the rim that touches the closure (length).
    pub roller_width_mm: Option<f64>,
    /// `roller_gap`: between opposite rollers, closed with nothing between them (length).
    pub roller_gap_mm: Option<f64>,
    /// `roller_gap_open`: between opposite rollers, carriage home (length).
    pub roller_gap_open_mm: Option<f64>,
    /// `roller_friction`: coefficient of the rollers on the closure; assumed if absent.
    pub roller_mu: Option<f64>,
    /// `belt_coast`: how hard the belt slows when its drive is cut, not ramped (acceleration).
    pub belt_coast_mm_s2: Option<f64>,
    /// `queue_bottles`: the most bottles that stand in touch before the entry gate.
    pub queue_bottles: Option<f64>,
    /// `air_supply`: free air that the compressor gives this station (flow of free air).
    pub air_supply_l_min: Option<f64>,
}

/// The cylinder behind one actuator, its valve and its tubes: keys of `[machine.<actuator>]`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DriveSpec {
    /// `bore` of the cylinder (length).
    pub bore_mm: Option<f64>,
    /// `rod` of the cylinder (length); 0 mm if absent.
    pub rod_mm: f64,
    /// `pulls`: whether the working stroke is the rod going in; false if absent.
    pub pulls: bool,
    /// `stroke_length`: travel of the tool from home to full stroke (length).
    pub stroke_mm: Option<f64>,
    /// `pressure` at this actuator's own regulator, gauge (pressure); that of the machine if absent.
    pub bar: Option<f64>,
    /// `lever`: tool force over piston force; 1 if absent, as where the tool sits on the rod.
    pub lever: Option<f64>,
    /// `tube_length` from valve to cylinder, each of two tubes (length).
    pub tube_mm: Option<f64>,
    /// `tube_bore` (length).
    pub tube_bore_mm: Option<f64>,
    /// `sonic_conductance` of valve and tube together, by ISO 6358 (sonic conductance).
    pub conductance: Option<f64>,
    /// `critical_ratio` of pressures that goes with it; 0.3 if absent.
    pub critical_ratio: Option<f64>,
}

/// Form of the body in plan view.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ShapeSpec {
    /// A circle.
    #[default]
    Round,
    /// An ellipse, its axes along and across the belt.
    Oval,
    /// A rectangle with rounded corners, its sides along and across the belt.
    Flat,
}

/// The container and its closure, in more detail: keys of `[product]`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BodySpec {
    /// `shape` in plan view: "round", "oval" or "flat-sided"; round if absent. `diameter` is then the length along the belt.
    pub shape: ShapeSpec,
    /// `width` across the belt (length); the diameter if round.
    pub width_mm: Option<f64>,
    /// `corner_radius` of a flat-sided body (length); 0 mm if absent.
    pub corner_mm: f64,
    /// `wall_from`: height above the belt at which the upright wall begins (length).
    pub wall_from_mm: Option<f64>,
    /// `wall_to`: height at which it ends (length).
    pub wall_to_mm: Option<f64>,
    /// `closed_height`: top of the closure above the belt, tight (length).
    pub closed_mm: Option<f64>,
    /// `lip_height`: underside of the closure's lip above the belt, tight; its top edge where it has no lip (length).
    pub lip_mm: Option<f64>,
    /// `skirt_height`: the closure's upright skirt below that lip (length).
    pub skirt_mm: Option<f64>,
    /// `finish`: the neck's thread by name, as "28-400".
    pub finish: Option<&'static str>,
    /// `thread_pitch`: what the closure descends in a turn (length); that of the finish if it is named.
    pub pitch_mm: Option<f64>,
    /// `seat_force`: what seats the closure (force).
    pub seat_n: Option<f64>,
    /// `top_load`: the most that neck and body bear from above (force).
    pub top_load_n: Option<f64>,
    /// `side_load`: the most that the filled body bears between jaw and support (force).
    pub side_load_n: Option<f64>,
}
