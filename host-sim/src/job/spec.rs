//! What a job says, as plain numbers in the units of their names. Filled by the reader in [`super`], used by the plan, the
//! modelled line and the rehearsal. Every key of a job file is documented here, once, at the field it fills.
//!
//! Coordinates are millimetres along the belt from the head centre, downstream positive.

use super::measured::{BodySpec, DriveSpec, SetSpec};
use timing_core::{Actuator, Contact, Contacts, ValveKind};

/// A whole job: `[machine]`, `[product]`, `[run]`, `[expect]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    /// The job's name: the file's stem.
    pub name: String,
    /// `title`: one line for people.
    pub title: String,
    /// What is bolted down.
    pub machine: MachineSpec,
    /// What is closed today.
    pub product: ProductSpec,
    /// What to rehearse.
    pub run: RunSpec,
    /// What must come out.
    pub expect: ExpectSpec,
}

/// `[machine]`: what is bolted down.
#[derive(Clone, Debug, PartialEq)]
pub struct MachineSpec {
    /// `encoder_counts_per_rev`: counts per wheel turn, ×4 decoded.
    pub encoder_counts_per_rev: f64,
    /// `encoder_wheel`: belt travel per wheel turn (length).
    pub wheel_mm: f64,
    /// `belt_owner`: "ours" or "line".
    pub line_owns_belt: bool,
    /// `belt_speed_max` (speed).
    pub belt_speed_max_mm_s: f64,
    /// `belt_acceleration`: ramp of the belt drive, both ways (acceleration).
    pub belt_accel_mm_s2: f64,
    /// `suspend_stops_belt`: whether our belt stops in Suspended; false if absent.
    pub suspend_stops_belt: bool,
    /// `entry_blade`: upstream face of the entry gate's blade (coordinate).
    pub entry_blade_mm: f64,
    /// `release_blade`: holding (upstream) face of the release gate's blade (coordinate).
    pub release_blade_mm: f64,
    /// `blade_thickness` of both gates, along the belt (length).
    pub blade_mm: f64,
    /// `blade_tip`: how far from the centre line the blade's tip stops when shut (length).
    pub blade_tip_mm: f64,
    /// `pocket_eye` (coordinate).
    pub pocket_eye_mm: f64,
    /// `release_eye` (coordinate).
    pub release_eye_mm: f64,
    /// `discharge_eye` (coordinate), absent if not fitted.
    pub discharge_eye_mm: Option<f64>,
    /// `supply_eye` (coordinate), absent if not fitted.
    pub supply_eye_mm: Option<f64>,
    /// `cap_eye`: where closures are sensed upstream of the head (coordinate); absent = at the head, if the cap contact is fitted.
    pub cap_eye_mm: Option<f64>,
    /// `reject_at`: where the diverter takes hold (coordinate), absent if not fitted. (`reject` is the diverter's own table.)
    pub reject_mm: Option<f64>,
    /// `reject_length`: belt travel over which it acts (length); goes with `reject_at`, 0 without a diverter.
    pub reject_length_mm: f64,
    /// `jaw_half_mouth`: half the opening of the V jaw along the belt (length).
    pub jaw_half_mouth_mm: f64,
    /// `jaw_half_angle`: angle of a V flank to the jaw's axis (angle).
    pub jaw_half_angle_deg: f64,
    /// `jaw_friction`: coefficient of friction jaw/body and support/body.
    pub jaw_mu: f64,
    /// `[machine.entry_gate]`, `[machine.release_gate]`, `[machine.grip]`, `[machine.plunger]`, `[machine.rollers]`,
    /// `[machine.reject]`, in the order of [`Actuator`]. The last goes with `reject_at`; without a diverter its figures mean nothing.
    pub actuators: [ActuatorSpec; 6],
    /// `contacts`: the names of every other contact that is wired: "guard", "air", "drive", "cap", "torque",
    /// "upstream ready", "downstream ready", "reject eye", "reject full", "line belt". Eyes come from their coordinates, reeds from
    /// the actuators; pocket eye, release eye, chain and guard are always there. Empty if absent.
    pub contacts: Contacts,
    /// `eye_on`: response of the eyes to a bottle coming (time); 0.5 ms if absent, as eyes that switch at 1000 Hz say.
    pub eye_on_ms: f64,
    /// `eye_off`: response of the eyes to a bottle gone (time); 0.5 ms if absent.
    pub eye_off_ms: f64,
    /// `eye_beam`: effective beam width along the belt (length); 2 mm if absent.
    pub eye_beam_mm: f64,
    /// `eye_filter`: how long an eye's new level must last before it counts (time); 3 ms if absent.
    pub eye_filter_ms: f64,
    /// `contact_filter`: how long every other contact's new level must last (time); 10 ms if absent.
    pub contact_filter_ms: f64,
    /// `contact_bounce`: longest bounce of reeds and eyes (time); 2 ms if absent. Both filters outlast it.
    pub contact_bounce_ms: f64,
    /// `safety_filter`: how long chain, guard, air and drive must be back before they count (time); 100 ms if absent.
    pub safety_filter_ms: f64,
    /// `sample_gap`: longest time between ticks (time); 100 ms if absent.
    pub sample_gap_ms: f64,
    /// `belt_still`: no count for so long, and the belt stands (time); 200 ms if absent, at least the sample gap.
    pub belt_still_ms: f64,
    /// `warn`: beacon before motion (time); 2 s if absent.
    pub warn_ms: f64,
    /// `clear`: how long a cause outside must be gone before Suspended ends by itself (time); 1 s if absent.
    pub clear_ms: f64,
    /// `starve`: how long the pocket may stay empty before that is called starved (time); 5 s if absent.
    pub starve_ms: f64,
    /// `patience`: bound of acting states, beyond their own strokes and travel (time); 10 s if absent.
    pub patience_ms: f64,
    /// `roller_diameter` (length).
    pub roller_diameter_mm: f64,
    /// `roller_ramp`: time from spin order to full speed (time).
    pub roller_ramp_ms: f64,
    /// `idle_spin`: whether the rollers may idle-spin in Execute; false if absent.
    pub idle_spin: bool,
    /// `air_pressure`, gauge (pressure).
    pub air_bar: f64,
    /// What else is set, as far as it was measured.
    pub set: SetSpec,
}

/// One actuator: `[machine.<name>]`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ActuatorSpec {
    /// `valve`: "spring return", "detented" or "centre closed".
    pub valve: ValveKind,
    /// `latency`: order to first motion (time).
    pub latency_ms: f64,
    /// `to_work`: first motion to contact on this product, or to its end (time).
    pub to_work_ms: f64,
    /// `over`: extra time from the working place to full stroke, when nothing is there (time); 40 ms if absent.
    pub to_over_ms: f64,
    /// `to_home`: first motion to its resting end (time); as `to_work` if absent.
    pub to_home_ms: f64,
    /// `spread`: half-width of the stroke time's variation, uniform (time); 0 ms if absent.
    pub spread_ms: f64,
    /// `margin`: how much longer a stroke may take before it is a fault (time); 150 ms if absent. Longer than the contact filter.
    pub margin_ms: f64,
    /// `home_contact`: whether a contact at the resting end is wired; true if absent.
    pub home: bool,
    /// `work_contact`: whether a contact at the working end is wired; true if absent.
    pub work: bool,
    /// `over_contact`: whether a contact at full stroke is wired (grip, plunger and rollers only); false if absent.
    pub over: bool,
    /// Its cylinder, valve and tubes, as far as they are known.
    pub drive: DriveSpec,
}

/// `[product]`: what is closed today.
#[derive(Clone, Debug, PartialEq)]
pub struct ProductSpec {
    /// `diameter`: of the round body; of any other the length along the belt (length).
    pub diameter_mm: f64,
    /// `diameter_tolerance`: plus/minus (length).
    pub diameter_tol_mm: f64,
    /// `height` of the filled container (length).
    pub height_mm: f64,
    /// `centre_of_gravity` above the belt (length); half the height if absent.
    pub cog_mm: f64,
    /// `mass`, filled (mass).
    pub mass_kg: f64,
    /// `friction_min`: lowest coefficient body/belt.
    pub mu_min: f64,
    /// `friction_max`: highest coefficient body/belt.
    pub mu_max: f64,
    /// `transparent`: glass that an eye sees as two edges; false if absent.
    pub transparent: bool,
    /// `cap_diameter` (length).
    pub cap_diameter_mm: f64,
    /// `turns` of the closure from thread start to tight; 0 with "seat only", else it must be given.
    pub turns: f64,
    /// `tighten`: "turns", "torque" or "seat only".
    pub tighten: TightenSpec,
    /// `torque`: application torque at which the clutch slips (torque). If absent, the half-diameter rule: as many in·lbf as half the closure's
    /// diameter has millimetres (an industry habit, common practice; no standard).
    pub torque_nm: f64,
    /// `roller_speed` (rotational speed); 0 with "seat only", else it must be given.
    pub roller_rpm: f64,
    /// `belt_speed` (speed).
    pub speed_mm_s: f64,
    /// `seat_dwell`: pause between plunger confirmed and rollers ordered (time); 0 ms if absent.
    pub seat_dwell_ms: f64,
    /// `engage_dwell`: pause between rollers closed and spin (time); 0 ms if absent.
    pub engage_dwell_ms: f64,
    /// `disengage_dwell`: pause between spin off and rollers back (time); 0 ms if absent.
    pub disengage_dwell_ms: f64,
    /// `settle`: belt travel for which the pocket eye must be blocked (length); 10 mm if absent.
    pub settle_mm: f64,
    /// `aim_early`: how much early the jaw should meet the bottle (length); 0 mm if absent.
    pub aim_early_mm: f64,
    /// `cap_policy`: "unsensed", "at head" or "upstream".
    pub cap: timing_core::CapPolicy,
    /// `misses_to_hold`: failed bottles in a row before the unit holds, 1 … 100; 3 if absent.
    pub misses_to_hold: u8,
    /// `early_release`: true/false, refused where the plan cannot prove it; false if absent.
    pub early_release: bool,
    /// `speed_window`: belt travel per speed sample (length); 3 mm if absent.
    pub speed_window_mm: f64,
    /// Body and closure in more detail, as far as they were measured.
    pub body: BodySpec,
}

/// `tighten`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TightenSpec {
    /// By turns, as time.
    Turns,
    /// By the torque contact, in a window.
    Torque,
    /// No spin.
    SeatOnly,
}

/// `[run]`: what to rehearse.
#[derive(Clone, Debug, PartialEq)]
pub struct RunSpec {
    /// `seed` of every random draw; 1 if absent.
    pub seed: u64,
    /// `duration`: the longest simulated time (time); 10 min if absent.
    pub duration_s: f64,
    /// `bottles`: how many come down the line in all; the run ends when all have left, or at `duration`.
    pub bottles: u32,
    /// `batch`: good bottles to deliver, 0 = without end; 0 if absent.
    pub batch: u32,
    /// `supply`: "touching", `"every <length>"` (pitch), or `"random <pitch>"` (exponential gaps, mean pitch ≥ D);
    /// "touching" if absent.
    pub supply: SupplySpec,
    /// `belt_wander`: half-width of the belt's speed variation as a share (0.2 or "20 %" = ±20 %); 0 if absent.
    pub wander: f64,
    /// `wander_period`: one swing (time); 2 s if absent.
    pub wander_period_s: f64,
    /// `stroke_spread`: false draws every stroke at its nominal time; true if absent.
    pub spread: bool,
    /// `fixed_delays`: true replaces every place by a time in seconds, for comparison only; false if absent.
    pub fixed_delays: bool,
    /// `encoder_slip`: share of belt travel that the wheel loses (0.02 or "2 %"); 0 if absent.
    pub encoder_slip: f64,
    /// `[[run.start]]`: what stands in the machine at power-up. These are the first bottles of the line in the order of the list;
    /// `bottles` come after them.
    pub initial: Vec<InitialBottle>,
    /// `[[run.operator]]`, in order. Unless `auto_start = false`, the list begins with what an operator does at power-up: the batch
    /// (at 0.2 s, if there is one), Reset (at 0.4 s), and Start (0.2 s after Idle). Everything that is asked for stands here; nothing
    /// is implied.
    pub script: Vec<ScriptStep>,
    /// `[[run.fault]]`: what goes wrong.
    pub faults: Vec<FaultSpec>,
}

/// How bottles come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SupplySpec {
    /// Body to body.
    Touching,
    /// One every so many millimetres of belt, centre to centre.
    Pitch(f64),
    /// Exponentially distributed gaps between bodies; the value is the mean centre-to-centre pitch, mm.
    Random(f64),
}

/// `[[run.start]]`: a bottle in the machine at power-up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InitialBottle {
    /// `at`: its centre (coordinate).
    pub x_mm: f64,
    /// `cap`: whether it carries a closure; true if absent.
    pub cap: bool,
}

/// When something happens. Exactly one of the ways in a job file; a fault of a bottle, all but "taken", may leave it out, and is
/// with the bottle from the start.
#[derive(Clone, Debug, PartialEq)]
pub enum When {
    /// `at`: seconds since power-up.
    At(f64),
    /// `state` (+ `after`, 0 if absent): when the unit has been in this state for so many seconds without a break, counted from
    /// its latest entry. A step that waits for a state in which the unit has been for longer already is done at once, so that
    /// several steps may follow each other in one state; once the unit has left it, the next entry counts.
    State(timing_core::UnitState, f64),
    /// `bottle` + `step`: when the head enters this step with the n-th registered bottle (1 = first).
    Step(u32, timing_core::HeadStep),
    /// `bottle` + `place`: when the n-th bottle's centre reaches this coordinate, mm.
    Place(u32, f64),
}

/// `[[run.operator]]`: something the operator does; steps are taken in order, each waits for its `when`.
#[derive(Clone, Debug, PartialEq)]
pub struct ScriptStep {
    /// When.
    pub when: When,
    /// `do`: what.
    pub action: Action,
}

/// What an operator does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Action {
    /// A request to the core: "reset", "start", "stop", "hold", "unhold", "suspend", "unsuspend", "abort", "clear", `"batch <n>"`,
    /// "production", "maintenance", "manual", "step", "dry cycle", `"declare <n>"`, `"jog <actuator> work|home"`, "jog spin", "jog belt".
    Request(timing_core::Request),
    /// "open chain".
    OpenChain,
    /// "close chain".
    CloseChain,
    /// "open guard".
    OpenGuard,
    /// "close guard".
    CloseGuard,
    /// "take bottle `<n>`": the n-th bottle of the line is taken out by hand.
    Take(u32),
    /// "take all": every bottle between release gate and diverter is taken out.
    TakeAll,
    /// "free bottle `<n>`": a hung, stuck or fallen bottle stands free again.
    Free(u32),
}

/// `[[run.fault]]`: something that goes wrong.
#[derive(Clone, Debug, PartialEq)]
pub struct FaultSpec {
    /// When it begins.
    pub when: When,
    /// `for`: how long it lasts, seconds; infinite if absent.
    pub lasts_s: f64,
    /// `kind` and what belongs to it.
    pub kind: FaultKind,
}

/// What goes wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FaultKind {
    /// "no cap", `bottle`: the n-th bottle of the line has no closure.
    NoCap(u32),
    /// "crossed thread", `bottle`: torque comes at once.
    Crossed(u32),
    /// "loose thread", `bottle`: torque never comes.
    LooseThread(u32),
    /// "long bottle", `bottle`, `length`: a body of another length, mm.
    LongBottle(u32, f64),
    /// "stuck pair", `bottle`: the n-th and the next are stuck together, and do not part by a pull.
    StuckPair(u32),
    /// "hung bottle", `bottle`: it hangs at the release gate until it is freed.
    Hung(u32),
    /// "jam", `bottle`: it wedges with its leading edge 10 mm past the release eye until it is freed.
    Jam(u32),
    /// "taken", `bottle`: taken by hand when `when` comes.
    Taken(u32),
    /// "slow", `actuator`, `factor`: strokes take so many times as long.
    Slow(Actuator, f64),
    /// "stuck", `actuator`: does not move at all.
    Stuck(Actuator),
    /// "contact", `contact`, `reads`: a contact lies, always this level.
    ContactStuck(Contact, bool),
    /// "input failed", `contact`: the input cannot be read.
    InputFailed(Contact),
    /// "encoder dead": no more counts.
    EncoderDead,
    /// "encoder jump", `counts`.
    EncoderJump(i64),
    /// "starved": no bottles come.
    Starved,
    /// "outfeed blocked": bottles queue up from downstream of the discharge eye.
    OutfeedBlocked,
    /// "downstream not ready": only the contact.
    DownstreamNotReady,
    /// "belt stop": the line's belt stops (or ours is stopped by its drive).
    BeltStop,
    /// "chain open".
    ChainOpen,
    /// "guard open".
    GuardOpen,
    /// "air low".
    AirLow,
    /// "drive not ready".
    DriveNotReady,
}

/// `[expect]`: what must come out; each given key is a check, the run's verdict is "pass" if all hold and no rule is broken.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ExpectSpec {
    /// `good`
    pub good: Option<Range>,
    /// `rejected`
    pub rejected: Option<Range>,
    /// `removed`
    pub removed: Option<Range>,
    /// `lost`
    pub lost: Option<Range>,
    /// `found`
    pub found: Option<Range>,
    /// `state`: the unit's state at the end.
    pub state: Option<timing_core::UnitState>,
    /// `faults`: names of the faults told, in order of first occurrence ([`timing_core::FaultRow::name`]).
    pub faults: Option<Vec<String>>,
    /// `states`: states that must be passed in this order (others may lie between).
    pub states: Option<Vec<timing_core::UnitState>>,
    /// `outcomes`: allowed numbers of each outcome of the judge: `outcomes = { tight = "10", missed = "0" }`; names not listed must be 0
    /// (and are listed here as such) unless `any = true`.
    pub outcomes: Option<Vec<(String, Range)>>,
    /// `off_centre_max`: largest centring error at any catch (length).
    pub off_centre_max_mm: Option<f64>,
    /// `rate_min`: bottles per minute.
    pub rate_min: Option<f64>,
}

/// A whole number, or an inclusive range "3 … 5" / "3..5" / ">= 3" in a job file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Range {
    /// Least.
    pub min: u32,
    /// Most.
    pub max: u32,
}
