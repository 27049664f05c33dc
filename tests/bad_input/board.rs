//! What comes in at a board beside its wires: frames of a link, recordings, products in flash.

use super::{Row, Said, tested, words};
use firmware_example::products::{NameError, RecordError, Refusal, StoreError};
use firmware_example::recorded::ReadError;
use host_sim::link::LinkError;
use timing_core::ProductError;

const LINK: &str = "tests/link.rs";
const FLASH: &str = "tests/products_flash.rs";
const FIRMWARE: &str = "tests/firmware.rs";

pub(super) fn link() -> Vec<Row> {
    vec![
        Row {
            what: "a frame that is lost, doubled, cut off, or has a bit turned over",
            said: vec![Said::Borne("it never opens as something else; asked for again")],
            stays: "every output of every tick",
            tests: &[
                (LINK, "whatever_happens_to_one_frame_is_repaired"),
                (LINK, "frames"),
                (LINK, "a_bad_line_is_repaired_or_says_so"),
            ],
        },
        Row {
            what: "any bytes at all",
            said: vec![Said::Borne("thrown away up to the next frame's end; the board says that what came was broken")],
            stays: "board and desk go on",
            tests: &[(LINK, "noise_is_survived_by_both")],
        },
        Row {
            what: "no answer",
            said: tested(&["no whole answer to hello"]),
            stays: "nothing was run",
            tests: &[(LINK, "no_board_and_a_board_of_another_version")],
        },
        Row {
            what: "a board of another version",
            said: vec![words(&LinkError::Version(firmware_example::link::VERSION + 1))],
            stays: "nothing was run",
            tests: &[(LINK, "no_board_and_a_board_of_another_version")],
        },
        Row {
            what: "a board that was set up with something else",
            said: tested(&["set up with something else"]),
            stays: "nothing was run",
            tests: &[(LINK, "a_board_set_up_with_another_product_is_not_talked_to")],
        },
        Row {
            what: "a board that started anew under way",
            said: vec![words(&LinkError::StartedAnew(7))],
            stays: "what was compared up to there",
            tests: &[(LINK, "a_board_that_starts_anew_is_told")],
        },
        Row {
            what: "a board that saw other inputs",
            said: vec![Said::Borne("the first tick and field that differ are told")],
            stays: "what was compared up to there",
            tests: &[(LINK, "a_board_that_saw_another_contact_is_found_out_at_that_tick")],
        },
        Row {
            what: "a link that falls silent",
            said: vec![Said::Borne("the board takes the safe vector by itself")],
            stays: "every output off until the batch that is due",
            tests: &[
                (LINK, "a_silent_link_puts_everything_off"),
                ("tests/link_port.rs", "a_board_whose_wire_falls_silent_in_production_ends_with_everything_off"),
            ],
        },
        Row {
            what: "a recording that is cut off",
            said: vec![words(&ReadError::CutOff)],
            stays: "no digest is given",
            tests: &[(FIRMWARE, "a_file_cut_off_anywhere_is_told_by_both_and_runs_nothing_wrong")],
        },
        Row {
            what: "a file that is no recording, of another version, garbled",
            said: vec![words(&ReadError::NotRecordedInputs), words(&ReadError::Version(2)), words(&ReadError::Garbled)],
            stays: "no digest is given",
            tests: &[
                (FIRMWARE, "a_wrong_file_is_told_for_what_it_is"),
                (FIRMWARE, "no_byte_of_the_head_makes_the_reader_panic"),
            ],
        },
    ]
}

pub(super) fn flash() -> Vec<Row> {
    type Store = StoreError<()>;
    type Refuse = Refusal<()>;
    vec![
        Row {
            what: "a stored product with a bit turned over, or cut short",
            said: vec![words(RecordError::Damaged.words())],
            stays: "no set-points are made of it",
            tests: &[(FLASH, "one_bit_anywhere_and_the_record_is_refused")],
        },
        Row {
            what: "one of another version, of another machine, one that breaks a rule",
            said: vec![
                words(RecordError::OtherVersion(2).words()),
                words(RecordError::OtherMachine.words()),
                words(RecordError::Rule(ProductError::Misses).words()),
            ],
            stays: "it stays where it is until it is deleted; no set-points are made of it",
            tests: &[(FLASH, "other_versions_other_machines_and_broken_rules_are_refused")],
        },
        Row {
            what: "power lost at any step of a change, twice in a row, too",
            said: vec![Said::Borne("the change is done whole or not at all")],
            stays: "every other product",
            tests: &[
                (FLASH, "power_cut_at_every_step_word_4"),
                (FLASH, "power_cut_at_every_step_word_8"),
                (FLASH, "power_cut_at_every_step_word_16"),
                (FLASH, "power_cut_at_every_step_word_32"),
                (FLASH, "any_operations_with_any_cuts"),
            ],
        },
        Row {
            what: "one product too many, a name that is taken, a name that is not there",
            said: vec![words(Store::Full.words()), words(Store::NameTaken.words()), words(Store::NoSuchName.words())],
            stays: "the products that are stored",
            tests: &[(FLASH, "sixty_four_products_and_not_one_more")],
        },
        Row {
            what: "a name that is empty, too long, or not plain",
            said: vec![
                words(NameError::Empty.words()),
                words(NameError::TooLong.words()),
                words(NameError::Control.words()),
            ],
            stays: "no name is made",
            tests: &[(FLASH, "names_are_bounded_trimmed_and_plain")],
        },
        Row {
            what: "a recall confirmed too late, or after something else was asked",
            said: vec![words(Refuse::NothingToConfirm.words())],
            stays: "the station's product",
            tests: &[
                (FLASH, "a_recall_is_loaded_only_when_confirmed"),
                (FLASH, "too_late_or_anything_else_takes_a_recall_back"),
            ],
        },
        Row {
            what: "anything asked while the station is not at rest",
            said: vec![words(Refuse::NotAtRest.words())],
            stays: "what is stored, and the station's product",
            tests: &[(FLASH, "nothing_is_written_or_loaded_unless_at_rest")],
        },
    ]
}
