//! What comes in at the desk: job files, and the arguments of the command.

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
