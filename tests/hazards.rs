//! What can hurt whom at a station of this kind, which rules bear on it, and what holds each rule: the tables behind the
//! chapter on the safety case. Every name of code and test in here is looked up when the chapter is made.

use crate::evidence::Named;

/// One hazard, in the manner of ISO 12100: what can do harm, how somebody meets it, who that is.
pub struct Hazard {
    /// What can do harm.
    pub hazard: &'static str,
    /// How somebody meets it.
    pub situation: &'static str,
    /// Who is exposed.
    pub exposed: &'static str,
    /// Numbers of the rules that bear on it.
    pub rules: &'static [usize],
    /// What has to protect people, whatever the rules do.
    pub outside: &'static str,
}

/// Hazards of such stations, from general knowledge; a real machine has others.
pub const HAZARDS: &[Hazard] = &[
    Hazard {
        hazard: "crushing under the plunger",
        situation: "a hand takes out, places or straightens a bottle at the head, and the plunger comes down",
        exposed: "operator, setter, cleaner",
        rules: &[1, 2, 9, 11],
        outside: "guard with interlock; air dump; lock-out and venting before hands go in",
    },
    Hazard {
        hazard: "drawing in, winding up by the tightening rollers",
        situation: "a sleeve, glove or hair comes near rollers that turn, or begin to",
        exposed: "operator, setter",
        rules: &[1, 3, 11],
        outside: "guard with interlock; the drive's own safe input or contactor; rollers that have run out",
    },
    Hazard {
        hazard: "crushing between jaw and support, or by the roller carriage",
        situation: "fingers guide a bottle into the head, and grip or rollers close",
        exposed: "operator, setter",
        rules: &[1, 2, 8, 9, 11],
        outside: "guard with interlock; force limited by air pressure and bore",
    },
    Hazard {
        hazard: "impact and shearing by the gates' blades",
        situation: "a hand frees a bottle at the escapement, and a blade moves",
        exposed: "operator",
        rules: &[1, 5, 7, 11],
        outside: "guard with interlock; gate force so low that a blade stalls on a bottle or a finger",
    },
    Hazard {
        hazard: "bursting glass, sharp edges",
        situation: "a bottle is pressed or tightened off centre, struck by a second one, or loses its grip under turning rollers",
        exposed: "operator, people beside the line, whoever clears up",
        rules: &[2, 3, 4, 6, 7, 8, 9],
        outside: "closed guards that hold fragments; eye protection; forces limited by set-up",
    },
    Hazard {
        hazard: "unexpected start-up",
        situation: "power, air or the chain comes back, or a fault is cured, while somebody is at the machine",
        exposed: "operator, setter, cleaner",
        rules: &[1, 11, 14],
        outside: "lock-out of all energies; emergency stop that latches; soft start of the air",
    },
    Hazard {
        hazard: "restart by itself",
        situation: "the station stands Suspended and is taken for switched off; bottles come again, or the outfeed clears",
        exposed: "operator, cleaner",
        rules: &[10, 11],
        outside: "guard with interlock; signs; a beacon that is seen from where people stand",
    },
    Hazard {
        hazard: "drawing in at the belt",
        situation: "a hand reaches between belt and gates, rails or a gripped bottle; the belt runs on or coasts",
        exposed: "operator, cleaner",
        rules: &[1, 10, 11],
        outside: "guards at nip points; a belt drive that the chain stops; waiting until the belt stands",
    },
    Hazard {
        hazard: "reaching in to clear a jam",
        situation: "bottles wedge, fall or stand in an eye; somebody helps while the station tries to go on",
        exposed: "operator",
        rules: &[7, 9, 10, 11, 15],
        outside: "guard with interlock; lock-out and venting; tools instead of hands",
    },
    Hazard {
        hazard: "bottles pushed off, falling",
        situation: "more bottles are let go than there is room for at the head or downstream",
        exposed: "operator, people beside the line",
        rules: &[5, 6, 10, 13],
        outside: "rails; an outfeed that says when it is full",
    },
    Hazard {
        hazard: "bad product taken for good",
        situation: "a bottle that was not closed, broken, or touched by hands goes on uncounted; its contents spill or spoil",
        exposed: "people downstream, consumers",
        rules: &[3, 8, 9, 12],
        outside: "inspection after the station; torque samples by a tester",
    },
    Hazard {
        hazard: "motion at set-up",
        situation: "somebody jogs an actuator or steps the head with the guard open or the line not empty",
        exposed: "setter",
        rules: &[2, 3, 4, 5, 11, 14, 15],
        outside: "what the machine's own risk assessment provides for set-up: reduced pressure, hold-to-run at the button, enabling device",
    },
    Hazard {
        hazard: "stored energy",
        situation: "trapped air, a detented valve, a vented plunger that sags: parts move without an order",
        exposed: "setter, maintainer",
        rules: &[1, 4, 11],
        outside: "air dump that vents every chamber; checking on a gauge; the valve table in the chapter on safety",
    },
    Hazard {
        hazard: "a controller that fails",
        situation: "it hangs, restarts, reads nonsense or drives a coil that does not obey",
        exposed: "everybody at the machine",
        rules: &[1, 9, 14, 15, 16],
        outside: "the hard-wired chain, which works without it; a hardware watchdog that switches outputs off",
    },
    Hazard {
        hazard: "a wrong set-up",
        situation: "figures of another product or machine are loaded, or contradict the machine as it stands",
        exposed: "operator, people beside the line",
        rules: &[8, 9, 14, 16],
        outside: "first runs as in the chapter on safety, after every change",
    },
];

/// What holds a rule: the code that enforces it, and the tests that show it.
pub struct Claim {
    /// Code that enforces it.
    pub code: &'static [Named],
    /// Tests that hold it.
    pub tests: &'static [Named],
    /// Scripts that hold it beside them.
    pub scripts: &'static [&'static str],
}

const GUARD: &str = "timing-core/src/guard.rs";
const STATION: &str = "timing-core/src/station.rs";
const WATCH: &str = "timing-core/src/watch.rs";
const COURSE: &str = "timing-core/src/decide/course.rs";
const HEAD: &str = "timing-core/src/decide/head.rs";
const FEED: &str = "timing-core/src/decide/feed.rs";
const REQUESTS: &str = "timing-core/src/decide/requests.rs";
const STROKES: &str = "timing-core/src/sense/strokes.rs";
const CONTACTS: &str = "timing-core/src/sense/contacts.rs";
const TRACK: &str = "timing-core/src/track.rs";
const TALLY: &str = "timing-core/src/tally.rs";

const INTERLOCKS: &str = "tests/rules_interlocks.rs";
const COURSES: &str = "tests/rules_course.rs";
const PROPERTIES: &str = "tests/core_properties.rs";
const EVERY_TICK: &str = "tests/every_tick.rs";
const JUDGE: &str = "tests/judge.rs";
const EXPLORED: &str = "tests/explored.rs";
const LAWS: &str = "tests/wake_laws.rs";
const ROW: Named = (GUARD, "each_order_leaves_with_its_facts_and_is_kept_back_by_its_rule_without");

/// By rule, R1 first.
pub const CLAIMS: [Claim; 16] = [
    Claim {
        code: &[
            (GUARD, "vet"),
            (WATCH, "safety"),
            (CONTACTS, "note"),
            (STATION, "power_up"),
            (REQUESTS, "is_safe_to_go_on"),
        ],
        tests: &[
            (GUARD, "the_chain_outranks_everything"),
            (INTERLOCKS, "r1_chain_open_in_any_step_gives_the_safe_vector_at_once_and_no_restart_by_itself"),
            (INTERLOCKS, "r1_clear_is_refused_while_the_chain_is_open_and_until_it_has_been_back_for_its_filter"),
            (COURSES, "an_unreadable_chain_is_an_open_chain_and_another_input_is_told"),
            (EVERY_TICK, "the_chain_and_power_at_every_tick_of_a_cycle"),
            (EVERY_TICK, "the_chain_and_power_at_every_pair_of_ticks_in_a_small_world"),
            (PROPERTIES, "arbitrary_inputs_break_no_rule"),
            (JUDGE, "r1_chain_open"),
        ],
        scripts: &[],
    },
    Claim {
        code: &[(GUARD, "RULES"), (HEAD, "caught"), (HEAD, "seat"), (HEAD, "engage"), (STROKES, "rise")],
        tests: &[
            ROW,
            (INTERLOCKS, "r2_the_plunger_waits_for_the_grip_and_the_rollers_for_the_plunger"),
            (INTERLOCKS, "r2_no_plunger_on_an_empty_grip"),
            (INTERLOCKS, "r2_a_stale_contact_confirms_nothing_before_latency_and_filter"),
            (INTERLOCKS, "guarded_manual_jogs_are_kept_back_by_the_rule_and_told"),
            (JUDGE, "r2_plunger_and_rollers"),
        ],
        scripts: &[],
    },
    Claim {
        code: &[(GUARD, "RULES"), (HEAD, "begin_spin"), ("timing-core/src/decide/mod.rs", "facts")],
        tests: &[
            ROW,
            (INTERLOCKS, "r3_no_spin_before_the_rollers_nor_without_a_closure_that_is_sensed"),
            (INTERLOCKS, "r3_a_closure_sensed_at_the_head_lets_the_cycle_go_on"),
            (INTERLOCKS, "seat_only_never_spins"),
            (PROPERTIES, "arbitrary_inputs_break_no_rule"),
            (JUDGE, "r3_spin"),
        ],
        scripts: &[],
    },
    Claim {
        code: &[(GUARD, "RULES"), (HEAD, "disengage"), (COURSE, "undo")],
        tests: &[
            ROW,
            (GUARD, "what_a_dropped_coil_may_have_left_at_work_goes_back_in_order_too"),
            (INTERLOCKS, "r4_rollers_that_stay_in_keep_plunger_and_grip_where_they_are"),
            (INTERLOCKS, "guarded_manual_jogs_are_kept_back_by_the_rule_and_told"),
            (JUDGE, "r4_rollers_first"),
        ],
        scripts: &[],
    },
    Claim {
        code: &[(GUARD, "RULES"), (GUARD, "vet"), (FEED, "loaded"), (FEED, "run")],
        tests: &[
            ROW,
            (GUARD, "both_gates_asked_for_in_one_tick_do_not_both_open"),
            (INTERLOCKS, "r5_a_release_gate_that_does_not_shut_keeps_the_entry_gate_shut"),
            (PROPERTIES, "arbitrary_inputs_break_no_rule"),
            (JUDGE, "r5_gates"),
        ],
        scripts: &[],
    },
    Claim {
        code: &[(GUARD, "RULES"), (HEAD, "is_ready"), (HEAD, "watch_last_stop"), (FEED, "loaded")],
        tests: &[
            ROW,
            (INTERLOCKS, "r6_a_bottle_is_let_go_only_to_a_head_that_is_ready"),
            (COURSES, "r6_a_vacant_head_whose_grip_is_not_confirmed_open_is_not_ready"),
            ("tests/early_release.rs", "a_late_head_stops_the_belt_at_the_last_stop_mark"),
            (EXPLORED, "a_lost_grip_keeps_the_bottle_in_the_pocket_in_the_very_tick"),
            (JUDGE, "r6_release"),
        ],
        scripts: &[],
    },
    Claim {
        code: &[(GUARD, "RULES"), (FEED, "path_clear"), (FEED, "filling"), (FEED, "releasing"), (FEED, "misfeed")],
        tests: &[
            ROW,
            (INTERLOCKS, "r7_a_bottle_that_stops_under_the_blade_keeps_the_release_gate_open"),
            (INTERLOCKS, "r7_the_entry_gate_shuts_only_on_a_pocket_that_has_settled"),
            (COURSES, "r7_a_pocket_settles_anew_after_unhold"),
            (JUDGE, "r7_blades"),
        ],
        scripts: &[],
    },
    Claim {
        code: &[(GUARD, "RULES"), (HEAD, "in_catch_window"), (HEAD, "incoming"), (HEAD, "recheck")],
        tests: &[
            ROW,
            (INTERLOCKS, "r8_the_catch_is_ordered_once_a_bottle_and_never_late"),
            (INTERLOCKS, "r8_a_catch_place_that_went_by_while_held_is_missed_and_told"),
            (EXPLORED, "a_catch_after_the_belt_stood_is_ordered_at_its_place_though_no_speed_is_sampled_yet"),
            (JUDGE, "r8_catch"),
        ],
        scripts: &[],
    },
    Claim {
        code: &[
            (GUARD, "RULES"),
            (HEAD, "run"),
            (WATCH, "strokes_in_time"),
            (STROKES, "fire"),
            (STROKES, "leave_lost"),
        ],
        tests: &[
            ROW,
            (INTERLOCKS, "r9_a_stroke_that_is_not_confirmed_names_its_actuator"),
            (INTERLOCKS, "r9_each_step_begins_when_the_last_is_confirmed"),
            (INTERLOCKS, "r9_a_contact_lost_in_mid_step_is_a_fault_that_names_it"),
            (COURSES, "r9_what_failed_before_a_stop_is_brought_home_by_the_next_start"),
            (COURSES, "r9_a_closure_that_goes_from_under_the_plunger_is_no_closure"),
            (COURSES, "r9_a_contact_that_came_on_just_before_the_order_confirms_nothing"),
            (COURSES, "r9_a_contact_that_chatters_before_its_valve_can_have_answered_confirms_nothing"),
            (JUDGE, "r9_order_of_steps"),
        ],
        scripts: &[],
    },
    Claim {
        code: &[(WATCH, "eyes"), (WATCH, "belt"), (COURSE, "outside_cause")],
        tests: &[
            (COURSES, "r10_a_full_discharge_suspends_and_keeps_the_bottle_gripped"),
            (COURSES, "r10_a_body_that_stays_in_the_release_eye_is_a_jam"),
            (COURSES, "r10_an_ordered_belt_that_is_silent_holds"),
            (
                EXPLORED,
                "a_body_that_stood_in_the_release_eye_before_the_start_is_a_jam_and_nothing_is_released_onto_it",
            ),
        ],
        scripts: &[],
    },
    Claim {
        code: &[
            (GUARD, "RULES"),
            (COURSE, "may_move"),
            (COURSE, "warn"),
            (COURSE, "starting"),
            (COURSE, "unholding"),
            (COURSE, "unsuspending"),
            (STATION, "power_up"),
        ],
        tests: &[
            ROW,
            (COURSES, "r11_nothing_moves_after_power_up_nor_after_air_returns"),
            (COURSES, "r11_starting_and_unholding_warn_before_they_move"),
            (COURSES, "r11_a_stop_that_finds_the_unit_at_rest_moves_nothing"),
            (COURSES, "r11_a_stop_within_the_warning_moves_nothing"),
            (PROPERTIES, "arbitrary_power_up_breaks_no_rule"),
            (EVERY_TICK, "the_chain_and_power_at_every_tick_of_a_cycle"),
            (JUDGE, "r11_motion_and_warning"),
            (JUDGE, "r11_manual_needs_its_buttons"),
        ],
        scripts: &[],
    },
    Claim {
        code: &[
            (TRACK, "register"),
            (TRACK, "forget"),
            (COURSE, "forget_inside"),
            (COURSE, "flushed"),
            (TALLY, "count"),
        ],
        tests: &[
            (COURSES, "r12_what_was_inside_when_the_chain_opened_is_resolved_by_the_flush"),
            (COURSES, "r12_what_the_flush_sees_is_rejected_and_what_nobody_knew_of_is_found"),
            (COURSES, "strays_hold_and_are_found"),
            (PROPERTIES, "arbitrary_inputs_break_no_rule"),
            (JUDGE, "r12_counts"),
        ],
        scripts: &[],
    },
    Claim {
        code: &[(TALLY, "wants"), (TALLY, "batch_is_done"), (FEED, "loaded"), (COURSE, "completing")],
        tests: &[
            (COURSES, "r13_a_batch_delivers_exactly_what_was_asked_for"),
            (COURSES, "r13_a_batch_that_was_delivered_is_delivered_again_after_reset_and_start"),
            (COURSES, "r13_completed_is_empty"),
            (JUDGE, "r13_batch"),
        ],
        scripts: &[],
    },
    Claim {
        code: &[
            ("timing-core/src/decide/unit.rs", "on_command"),
            ("timing-core/src/decide/unit.rs", "on_complete"),
            (REQUESTS, "request"),
        ],
        tests: &[
            ("tests/states.rs", "every_cell_and_every_blank_is_the_published_one"),
            ("tests/states.rs", "only_clear_leaves_aborted_and_only_start_leads_to_starting"),
            (COURSES, "r14_refused_requests_are_told_with_their_reason"),
            (PROPERTIES, "arbitrary_inputs_break_no_rule"),
            (JUDGE, "r14_state_table"),
        ],
        scripts: &[],
    },
    Claim {
        code: &[
            (STATION, "wake"),
            (STATION, "reckon"),
            (COURSE, "overdue"),
            (FEED, "finish"),
            ("timing-core/src/decide/jog.rs", "poses"),
        ],
        tests: &[
            (COURSES, "r15_a_quiet_machine_rests"),
            (COURSES, "r15_a_stop_in_manual_leaves_no_hold_to_run_behind"),
            (COURSES, "r15_a_misfeed_that_was_stopped_is_over"),
            (COURSES, "r15_a_pocket_that_was_clear_at_unhold_has_been_seen_clear"),
            (LAWS, "added_ticks_change_nothing"),
            (LAWS, "a_forgotten_wake_is_seen"),
            (LAWS, "no_wake_follows_the_last_at_once_for_long"),
            (JUDGE, "r15_wake"),
        ],
        scripts: &[],
    },
    Claim {
        code: &[
            ("timing-core/src/machine.rs", "new"),
            ("timing-core/src/product.rs", "new"),
            (STATION, "stay_awake"),
            ("timing-core/src/local.rs", "reach"),
            ("timing-core/src/track.rs", "CAPACITY"),
        ],
        tests: &[
            (PROPERTIES, "arbitrary_inputs_break_no_rule"),
            (PROPERTIES, "arbitrary_tables_never_panic"),
            (PROPERTIES, "the_ends_of_time_and_belt_are_survived_at_any_moment"),
            ("tests/job_errors.rs", "any_text_is_survived"),
            ("tests/firmware.rs", "no_byte_of_the_head_makes_the_reader_panic"),
            ("tests/link.rs", "noise_is_survived_by_both"),
            ("tests/refused_tables.rs", "every_error_of_a_machine_is_told_by_its_own_mistake"),
            ("tests/refused_tables.rs", "every_error_of_a_product_is_told_by_its_own_mistake"),
        ],
        scripts: &["tests/no_panic.sh"],
    },
];

/// What holds several rules at once.
pub const TOGETHER: &[Named] = &[
    ("tests/jobs.rs", "every_job_comes_out_as_it_says"),
    ("tests/jobs.rs", "decisions_ask_only_for_what_they_may_have"),
    ("tests/soak.rs", "kept_seeds_break_no_rule_and_run_again"),
    ("tests/soak.rs", "a_short_campaign_breaks_no_rule_and_reaches_every_kind"),
    ("tests/explore/tests.rs", "everything_holds_wherever_one_thing_goes_wrong"),
    ("tests/explore/tests.rs", "each_station_broken_on_purpose_is_caught_by_its_own_property"),
];

/// Scripts that hold several rules at once.
pub const TOGETHER_SCRIPTS: &[&str] =
    &["tests/explore.sh", "tests/firmware.sh", "tests/lockstep.sh", "tests/broken.sh"];
