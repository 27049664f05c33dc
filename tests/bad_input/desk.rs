//! What comes in at the desk: job files, and the arguments of the command.

use crate::evidence::Named;

use super::{ERRORS, RUN, Row, Said, tested};

const OUTPUT: &str = "tests/output_files.rs";
const WRONG_JOB: &str = "exit code 2; nothing is written";

pub(super) fn job_file() -> Vec<Row> {
    let row = |what, said: &[&'static str], tests| Row { what, said: tested(said), stays: WRONG_JOB, tests };
    vec![
        row(
            "a file that is not there, or is no text",
            &["there is no such file", "it is not UTF-8 text"],
            &[(ERRORS, "files_that_cannot_be_read")],
        ),
        row("text that is no TOML", &["mend the TOML here"], &[(ERRORS, "syntax")]),
        row("a key given twice", &["duplicate key", "keep one of the two"], &[(ERRORS, "a_key_given_twice")]),
        row(
            "a key that is not known",
            &["is not a known key of [run]", "did you mean `batch`?"],
            &[(ERRORS, "an_unknown_key_names_the_nearest")],
        ),
        row(
            "a key or table that is missing",
            &["is missing"],
            &[(ERRORS, "a_missing_key_says_which_units_it_takes"), (ERRORS, "a_missing_table")],
        ),
        row(
            "a number without a unit, with another quantity's, with a decimal comma",
            &["there is no unit", "is a unit of a time", "has a decimal comma"],
            &[(ERRORS, "units"), ("tests/quantities.rs", "what_is_no_quantity")],
        ),
        row("a value of the wrong type", &["is a text, and a whole number is due"], &[(ERRORS, "types")]),
        row(
            "a value out of its range",
            &["0 is outside 1 … 1000000", "give a value within"],
            &[(ERRORS, "ranges"), ("tests/job_ranges.rs", "what_the_reader_takes_can_be_planned_with")],
        ),
        row("a word that is not taken there", &["is not known"], &[(ERRORS, "words")]),
        row(
            "values that contradict each other, in one file or two",
            &["must lie upstream of"],
            &[
                (ERRORS, "geometry_that_contradicts_itself_names_both_sides"),
                (ERRORS, "other_contradictions"),
                (ERRORS, "a_contradiction_between_two_files_shows_both"),
            ],
        ),
        Row {
            what: "several mistakes at once",
            said: vec![Said::Borne("all of them, in the order of files and lines")],
            stays: "no job is made",
            tests: &[(ERRORS, "every_mistake_is_told_at_once_in_the_order_of_files_and_lines")],
        },
        Row {
            what: "any text at all",
            said: vec![Said::Borne("refused, with the number of mistakes; no panic")],
            stays: "no job is made",
            tests: &[(ERRORS, "any_text_is_survived"), ("tests/quantities.rs", "any_text_is_survived")],
        },
        row(
            "a value that a survey left blank, \"?\"",
            &["measure it: "],
            &[(
                "tests/survey.rs",
                "the_drafted_job_is_refused_for_its_blanks_and_once_they_are_filled_plans_the_same_set_points",
            )],
        ),
        row(
            "a mistake in the last of several jobs",
            &["is a whole number, and a text is due"],
            &[(RUN, "a_mistake_in_the_last_job_stops_the_first_and_writes_nothing")],
        ),
        Row {
            what: "a job that reads well and cannot work",
            said: tested(&["NOT "]),
            stays: "exit code 1: the plan says which check fails",
            tests: &[(RUN, "plan_says_yes_or_no"), ("tests/infeasible.rs", "what_cannot_work_fails_as_its_plan_says")],
        },
    ]
}

pub(super) fn arguments() -> Vec<Row> {
    let row = |what, said: &[&'static str], tests| Row { what, said: tested(said), stays: "exit code 2", tests };
    vec![
        row(
            "no verb, or one that is not known",
            &["Usage"],
            &[(ERRORS, "an_unknown_verb_is_wrong_input_and_help_is_fine_and_cautions")],
        ),
        row(
            "a file to write that is there already",
            &["is there already", "--force"],
            &[
                (RUN, "a_file_that_is_there_is_refused_before_anything_runs"),
                (OUTPUT, "nothing_is_written_over_without_force_and_then_nothing_at_all"),
                (OUTPUT, "below_the_named_folder_it_may_and_beside_it_may_not"),
            ],
        ),
        row(
            "one file named twice, a folder for a file, a folder that is not there",
            &["twice", "is a folder", "make it first"],
            &[(OUTPUT, "what_cannot_be_is_said_before_any_work")],
        ),
        Row {
            what: "several files of which one cannot be written",
            said: vec![Said::Borne("the one is named")],
            stays: "what was written before it is taken back",
            tests: &[(OUTPUT, "a_failure_half_way_leaves_nothing_behind")],
        },
        row(
            "one file for several jobs",
            &["name a folder"],
            &[(RUN, "several_jobs_want_a_folder_and_get_one_file_each")],
        ),
        row(
            "a changeover between two machines",
            &["different machines", "name the same machine"],
            &[("tests/setup_sheet.rs", "a_changeover_between_machines_is_refused")],
        ),
        row(
            "numbers of a campaign that are none, a file of seeds that is not there",
            &["give numbers", "cannot read no-such-file"],
            &[("tests/soak.rs", "the_verb_tells_draws_replays_and_sums")],
        ),
        row(
            "a path that is no serial port",
            &["name the board's serial port"],
            &[("tests/link_port.rs", "a_path_that_is_no_port_is_told")],
        ),
    ]
}

const CAPTURE: &str = "tests/capture.rs";
const BEFORE: &str = "what came before is measured; exit code 1";
const SURVEY: Named = ("tests/survey.rs", "the_verb_writes_its_two_files_and_says_what_is_wrong");
const REPLAY: Named = ("tests/replay.rs", "the_verb_refuses_what_it_cannot_read_and_tells_what_is_damaged");

pub(super) fn captures() -> Vec<Row> {
    vec![
        Row {
            what: "a file that is no capture, or whose head is wrong",
            said: tested(&["defines no channel", "is no time", "is no whole zip archive"]),
            stays: WRONG_JOB,
            tests: &[(CAPTURE, "what_is_no_capture_says_what_is_wrong_and_where")],
        },
        Row {
            what: "a line that means nothing, time that goes back, a row of another length",
            said: tested(&["neither a time nor a value", "time goes back", "where 3 are due"]),
            stays: BEFORE,
            tests: &[(CAPTURE, "damage_is_told_with_its_line_and_unknown_levels_are_counted")],
        },
        Row {
            what: "a capture that was cut off or spoilt anywhere",
            said: tested(&["what came before was read"]),
            stays: BEFORE,
            tests: &[(CAPTURE, "a_capture_that_was_cut_or_spoilt_gives_what_came_before"), SURVEY],
        },
        Row {
            what: "a map with a name, channel, key or unit that is not known",
            said: tested(&["did you mean chain?", "unknown field `kontacts`", "bounce:"]),
            stays: WRONG_JOB,
            tests: &[SURVEY],
        },
    ]
}

pub(super) fn recordings() -> Vec<Row> {
    vec![
        Row {
            what: "no recording; a fault that it does not have; a set-point that cannot be asked about",
            said: tested(&["does not begin with the letters", "--fault 9:", "product.seat_dwell:"]),
            stays: WRONG_JOB,
            tests: &[REPLAY, ("tests/replay.rs", "every_key_takes_its_own_value_and_a_wrong_one_says_how_to_mend_it")],
        },
        Row {
            what: "a recording that was cut or spoilt",
            said: tested(&["cut or spoilt from byte"]),
            stays: "what came before is replayed; exit code 1",
            tests: &[REPLAY, ("tests/record_file.rs", "a_flipped_bit_anywhere_is_seen")],
        },
        Row {
            what: "a recording of another controller",
            said: tested(&["DIFFERENT: tick "]),
            stays: "the first difference is told; exit code 1",
            tests: &[REPLAY],
        },
        Row {
            what: "a board's recorder, drained with a frame missing or broken; a spoilt snapshot",
            said: vec![Said::Name("Short".to_owned())],
            stays: "nothing is taken for whole; no panic",
            tests: &[
                ("tests/recorder.rs", "a_fault_on_a_board_is_drained_and_replayed_on_the_desk"),
                ("tests/recorder.rs", "a_spoilt_half_is_refused_or_goes_on"),
            ],
        },
    ]
}
