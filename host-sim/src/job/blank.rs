//! Values that a survey could not measure: `"?"` in a job file, refused with how to measure them.

/// What stands for a value that is not known yet.
pub const BLANK: &str = "?";

/// How to find what a key asks for, by the last part of its name; a general word for any other.
#[must_use]
pub fn how(key: &str) -> &'static str {
    match key.rsplit('.').next().unwrap_or(key) {
        "encoder_counts_per_rev" => "four times the lines on the encoder's plate, if it is decoded times four",
        "encoder_wheel" => "mark belt and wheel, move the belt by hand over ten turns, measure, divide by ten",
        "belt_owner" => "\"ours\" if this controller starts and stops the belt, \"line\" if the line does",
        "belt_speed_max" => "run the belt at the drive's highest setting and time a bottle over a metre",
        "belt_acceleration" => "top speed divided by the drive's ramp time",
        "entry_blade" | "release_blade" | "pocket_eye" | "release_eye" | "discharge_eye" | "supply_eye" | "cap_eye"
        | "reject_at" => "locked out and vented: measure along the belt from the grip's axis, upstream negative",
        "reject_length" => "locked out and vented: measure along the belt over which the diverter takes hold",
        "blade_thickness" | "blade_tip" => {
            "locked out and vented: callipers; the tip from the belt's centre line with the gate shut"
        }
        "jaw_half_mouth" | "jaw_half_angle" => "from the jaw's drawing, or callipers and a bevel gauge",
        "jaw_friction" => "tilt a bottle on a plate of the jaw's material: the tangent of the angle at which it slides",
        "roller_diameter" | "cap_diameter" | "diameter" | "height" => "callipers, over several of them",
        "diameter_tolerance" => "the supplier's drawing, or half the range over fifty bottles",
        "roller_ramp" => "the drive's ramp time to the speed it runs at",
        "air_pressure" => "the regulator's gauge while the machine cycles",
        "valve" => "the symbol on the valve: spring return, detented or centre-closed",
        "latency" | "to_work" | "to_home" => "log order and contacts of some strokes, with both ends wired",
        "mass" => "a scale, bottle filled and closed",
        "friction_min" | "friction_max" => {
            "tilt the belt's material under a bottle, wet and dry: tangent of the angle at which it slides"
        }
        "turns" => "turn a closure on by hand and count; or thread length divided by pitch",
        "tighten" => "\"turns\", \"torque\" or \"seat only\": how tightening ends on this machine",
        "roller_speed" => "a tachometer on a roller, or the drive's setting",
        "cap_policy" => "\"at head\", \"upstream\" or \"unsensed\": where a closure is looked for",
        _ => "measure it, or take it from the maker's papers",
    }
}
