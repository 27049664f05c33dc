//! What comes in at the core: tables, requests, contacts, counters and time.

use super::{Row, Said, fault, reasons};
use timing_core::{Actuator, Contact, Fault, Why};

const PINS: &str = "tests/hal_pins.rs";
const PROPERTIES: &str = "tests/core_properties.rs";
const COURSES: &str = "tests/rules_course.rs";
const INTERLOCKS: &str = "tests/rules_interlocks.rs";
const TABLES: &str = "tests/refused_tables.rs";

pub(super) fn tables() -> Vec<Row> {
    vec![
        Row {
            what: "a machine that breaks a rule of the core (words below)",
            said: vec![Said::Name("MachineError".to_owned())],
            stays: "no `Machine` is made, so no station",
            tests: &[(TABLES, "every_error_of_a_machine_is_told_by_its_own_mistake")],
        },
        Row {
            what: "a product that breaks a rule on this machine (words below)",
            said: vec![Said::Name("ProductError".to_owned())],
            stays: "no `Setpoints` are made; a station keeps those it has",
            tests: &[(TABLES, "every_error_of_a_product_is_told_by_its_own_mistake")],
        },
        Row {
            what: "a misfeed travel short of the release eye, a catch travel that ends before the head",
            said: vec![Said::Borne(
                "**taken**, though the words of `Travel` and `CatchTravel` below say otherwise: only sign and upper bound are checked",
            )],
            stays: "nothing: check figures by hand that do not come from a plan",
            tests: &[(TABLES, "two_errors_say_more_than_is_checked")],
        },
        Row {
            what: "any figures at all, to the ends of their types",
            said: vec![Said::Borne("refused, or taken and run: no panic, and what must hold at every tick holds")],
            stays: "the rules",
            tests: &[
                (PROPERTIES, "arbitrary_tables_never_panic"),
                (PROPERTIES, "arbitrary_tables_are_neither_all_refused_nor_all_accepted"),
            ],
        },
        Row {
            what: "another product while something moves or is inside",
            said: vec![Said::Name("NotAtRest".to_owned())],
            stays: "the product that runs",
            tests: &[(COURSES, "a_product_is_loaded_only_at_rest_with_nothing_inside")],
        },
    ]
}

pub(super) fn requests() -> Vec<Row> {
    vec![
        Row {
            what: "a request in a state or mode that does not take it",
            said: reasons(&[Why::WrongState, Why::WrongMode]),
            stays: "the unit state",
            tests: &[
                (COURSES, "r14_refused_requests_are_told_with_their_reason"),
                ("tests/states.rs", "every_cell_and_every_blank_is_the_published_one"),
            ],
        },
        Row {
            what: "Clear while the chain is open, or not yet back for its filter",
            said: reasons(&[Why::CauseLasts]),
            stays: "Aborted",
            tests: &[(
                INTERLOCKS,
                "r1_clear_is_refused_while_the_chain_is_open_and_until_it_has_been_back_for_its_filter",
            )],
        },
        Row {
            what: "a jog that an interlock forbids",
            said: reasons(&[Why::Interlock]),
            stays: "the order as it was",
            tests: &[(INTERLOCKS, "guarded_manual_jogs_are_kept_back_by_the_rule_and_told")],
        },
        Row {
            what: "hold-to-run that is not refreshed",
            said: vec![Said::Borne("it ends by itself")],
            stays: "cylinders keep their place",
            tests: &[(COURSES, "hold_to_run_drops_when_it_is_not_refreshed")],
        },
        Row {
            what: "a button that bounces, is down from the start, cannot be read",
            said: vec![Said::Borne("one request a press; a stuck or unreadable one asks for nothing")],
            stays: "unit state",
            tests: &[
                (PINS, "a_command_is_asked_for_once_for_each_press"),
                (PINS, "a_held_button_asks_again_until_it_is_let_go"),
            ],
        },
        Row {
            what: "buttons pressed together",
            said: vec![Said::Borne("one a tick, the first first")],
            stays: "the order among them",
            tests: &[(PINS, "buttons_pressed_together_are_asked_one_a_tick_the_first_first")],
        },
    ]
}

pub(super) fn wires() -> Vec<Row> {
    vec![
        Row {
            what: "a chain that cannot be read",
            said: vec![fault(Fault::ChainOpen)],
            stays: "every output off in the same tick",
            tests: &[(COURSES, "an_unreadable_chain_is_an_open_chain_and_another_input_is_told")],
        },
        Row {
            what: "another input that cannot be read",
            said: vec![fault(Fault::InputFailed(Contact::PlungerHome))],
            stays: "the other inputs are read; the unit holds",
            tests: &[
                (COURSES, "an_unreadable_chain_is_an_open_chain_and_another_input_is_told"),
                (PINS, "an_input_that_fails_is_told_and_the_others_are_read"),
            ],
        },
        Row {
            what: "an output that cannot be driven",
            said: vec![Said::Borne("the chain counts as unreadable from then on")],
            stays: "every output off; the station aborts",
            tests: &[
                (PINS, "an_output_that_fails_puts_everything_off_and_aborts_the_station"),
                ("tests/firmware_pins.rs", "the_loop_over_pins_starts_stops_and_starves_the_watchdog"),
            ],
        },
        Row {
            what: "a contact that bounces",
            said: vec![Said::Borne("one edge, where the first raw one was")],
            stays: "the count of bottles",
            tests: &[
                ("tests/filter.rs", "published_bounce_does_not_double_a_bottle"),
                ("tests/filter.rs", "a_bouncing_trailing_edge_does_not_double_a_bottle"),
            ],
        },
        Row {
            what: "a contact that is stale, or on before the valve can have moved",
            said: vec![Said::Borne("it confirms nothing")],
            stays: "the step waits",
            tests: &[
                (INTERLOCKS, "r2_a_stale_contact_confirms_nothing_before_latency_and_filter"),
                (COURSES, "r9_a_contact_that_came_on_just_before_the_order_confirms_nothing"),
            ],
        },
        Row {
            what: "a contact that does not come, or goes in mid-step",
            said: vec![fault(Fault::StrokeOverdue(Actuator::Grip)), fault(Fault::StrokeLost(Actuator::Grip))],
            stays: "the step does not end",
            tests: &[
                (INTERLOCKS, "r9_a_stroke_that_is_not_confirmed_names_its_actuator"),
                (INTERLOCKS, "r9_a_contact_lost_in_mid_step_is_a_fault_that_names_it"),
            ],
        },
        Row {
            what: "an edge that no bottle explains",
            said: vec![fault(Fault::StrayRelease)],
            stays: "the count: it is found",
            tests: &[(COURSES, "strays_hold_and_are_found")],
        },
        Row {
            what: "any levels at any time, at power-up, too",
            said: vec![Said::Borne("no panic; R1, R3, R5, R12, R14, R15 hold at every tick")],
            stays: "the rules",
            tests: &[(PROPERTIES, "arbitrary_inputs_break_no_rule"), (PROPERTIES, "arbitrary_power_up_breaks_no_rule")],
        },
    ]
}

pub(super) fn counters() -> Vec<Row> {
    vec![
        Row {
            what: "a hardware counter that wraps",
            said: vec![Said::Borne("the same orders as without")],
            stays: "place and time",
            tests: &[
                ("tests/counters.rs", "counters_of_32_bits_wrap_unseen"),
                ("tests/counters.rs", "counters_of_16_bits_wrap_unseen_when_read_often_enough"),
                ("timing-core/src/widen.rs", "half_a_wrap_is_the_documented_limit"),
            ],
        },
        Row {
            what: "an encoder that jumps, or turns back further than the belt moves between two looks",
            said: vec![fault(Fault::EncoderJump), fault(Fault::BeltReversed)],
            stays: "nothing is caught where nothing is known",
            tests: &[("tests/counters.rs", "an_encoder_that_jumps_or_turns_back_holds")],
        },
        Row {
            what: "an encoder that is silent though the belt is ordered",
            said: vec![fault(Fault::BeltSilent)],
            stays: "belt and grip are not ordered on",
            tests: &[(COURSES, "r10_an_ordered_belt_that_is_silent_holds")],
        },
        Row {
            what: "encoder channels that change both at once",
            said: vec![Said::Borne("counted as illegal")],
            stays: "the count",
            tests: &[
                ("timing-core/src/quadrature.rs", "an_illegal_transition_is_counted_and_moves_nothing"),
                ("tests/quadrature.rs", "sampling_too_slowly_shows_as_illegal_transitions"),
            ],
        },
        Row {
            what: "a gap between ticks while something moves",
            said: vec![fault(Fault::SampleGap)],
            stays: "the unit holds",
            tests: &[(COURSES, "a_gap_between_ticks_while_moving_is_a_fault")],
        },
        Row {
            what: "ticks that come late",
            said: vec![Said::Borne("each order at most that much later; the lateness is told")],
            stays: "the rules",
            tests: &[("tests/wake_laws.rs", "missed_wakes_make_everything_at_most_one_period_late")],
        },
        Row {
            what: "time that goes back",
            said: vec![fault(Fault::SampleGap)],
            stays: "the core's own time does not go back",
            tests: &[
                ("tests/counters.rs", "a_clock_that_goes_back_while_moving_is_a_gap_and_moves_no_time_back"),
                (PROPERTIES, "arbitrary_inputs_break_no_rule"),
            ],
        },
        Row {
            what: "time and belt at the ends of their range",
            said: vec![Said::Borne("every tick counts there; nothing is due that is not awaited")],
            stays: "the rules",
            tests: &[(PROPERTIES, "the_ends_of_time_and_belt_are_survived_at_any_moment")],
        },
    ]
}
