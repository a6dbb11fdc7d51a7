//! G3: it cannot start, cannot finish, or is attacked.

use super::paths::*;
use super::row::row;
use super::*;

/// These rows.
pub(super) const HINDERED: [Row; 14] = [
    row(
        38,
        "a device is absent at the start",
        "the others are recorded; it is picked up when it comes",
        "picked up; others not held up",
        &[
            (TERMINALS, "a_device_that_is_absent_at_the_start_is_picked_up_and_holds_up_no_other"),
            (LINES, "a_device_absent_at_the_start_is_opened_not_found_again"),
            (VCAN, "an_interface_that_is_down_or_absent_at_the_start_is_recorded_once_it_comes"),
        ],
    ),
    row(
        39,
        "no permission for a device",
        "refused with path, group and command, and a code of its own",
        "the text holds all three",
        &[(TERMINALS, "a_port_without_permission_is_refused_with_the_cure")],
    ),
    row(
        40,
        "a damaged or hostile file",
        "an error with its place, never a panic",
        "0 panics over any bytes",
        &[
            (DAMAGE, "no_bytes_whatever_make_a_reader_panic_or_find_a_record"),
            (WIRE_DAMAGE, "no_bytes_whatever_make_a_decoder_panic"),
            (PCAPNG, "no_bytes_whatever_make_a_reader_panic"),
            (CAN_CSV, "no_line_whatever_makes_a_reader_panic"),
            (VEHICLE, "a_file_cut_or_damaged_anywhere_never_panics"),
            (FED, "every_input_that_was_kept_is_read_without_a_panic"),
            (FED, "simple_damage_of_every_input_is_read_without_a_panic"),
        ],
    )
    .open("hours of fuzzing stand in tests/fuzz/corpus/hours.txt: less than one a target so far"),
    row(
        41,
        "a length that promises terabytes",
        "checked before memory is taken",
        "at most 16 MiB for reading",
        &[
            (DAMAGE, "a_header_that_promises_too_much_is_a_hole"),
            (DAMAGE, "a_length_that_lies_in_a_long_segment_takes_the_memory_of_one_block"),
            (LENGTHS, "any_length_anywhere_in_a_block_takes_no_memory"),
            (LENGTHS, "lengths_that_lie_under_right_checksums_take_no_memory"),
            (PCAPNG, "lengths_that_lie_are_told_with_their_place"),
            (MEMORY, "a_capture_of_330_megabytes_is_read_and_decoded_in_16_mib"),
        ],
    ),
    row(
        42,
        "a capture larger than memory",
        "judged as a stream, with progress shown",
        "judged under a limit of memory smaller than the capture; 330 MB read in 16 MiB",
        &[
            (LARGE, "a_capture_larger_than_the_memory_allowed_is_judged_with_progress_shown"),
            (MEMORY, "a_capture_of_330_megabytes_is_read_and_decoded_in_16_mib"),
        ],
    ),
    row(
        43,
        "an empty drive, a drive of one record",
        "a valid report that says so",
        "undecided everywhere, no division",
        &[
            (DAMAGE, "an_empty_segment_is_an_empty_capture_and_no_segment_is_none"),
            (IMPORT, "no_lines_are_an_empty_capture"),
            (EMPTY, "nothing_one_record_and_no_duration_give_a_report_that_decides_nothing"),
            (REPORT_TERMINAL, "an_empty_capture_says_so"),
            (
                "analyze/driveline/src/selection/tests/verdicts.rs",
                "an_empty_drive_is_undecided_everywhere",
            ),
        ],
    ),
    row(
        44,
        "a hostile archive",
        "refused as a whole; nothing is written outside its folder",
        "0 files outside",
        &[
            (ARCHIVE, "no_hostile_pack_writes_a_file_anywhere"),
            (ARCHIVE, "a_drive_larger_than_allowed_is_refused_before_anything_is_written"),
        ],
    ),
    row(
        45,
        "markup in notes and names",
        "text becomes no element and no attribute; the page loads nothing",
        "0 new nodes, 0 loads",
        &[
            (HOSTILE, "no_text_of_a_result_becomes_an_element_or_an_attribute_of_the_page"),
            (HOSTILE, "no_name_of_a_mode_or_a_stage_becomes_markup_of_a_figure"),
            (PAGE, "the_page_loads_nothing_and_runs_nothing"),
        ],
    ),
    row(
        46,
        "a formula in an exported table",
        "text that looks like one is quoted; numbers are unchanged",
        "0 active cells",
        &[(
            EXPORT,
            "csv_text_that_looks_like_a_formula_is_quoted_and_negative_numbers_are_unchanged",
        )],
    ),
    row(
        47,
        "commands to the terminal from a line",
        "shown as what they are; raw bytes stay in the capture",
        "0 control characters",
        &[
            (SCREEN, "nothing_that_a_device_sends_can_command_the_terminal"),
            (TEXT, "no_control_character_survives"),
            (OUTSIDE, "names_inside_a_capture_and_a_vehicle_file_reach_no_terminal_as_commands"),
            (OUTSIDE, "names_on_the_command_line_and_of_files_reach_no_terminal_as_commands"),
            (REPORT_TERMINAL, "control_characters_in_names_reach_no_terminal"),
        ],
    ),
    row(
        48,
        "a plug that is bad for days",
        "no open file and no memory is left behind",
        "open files unchanged",
        &[
            (TERMINALS, "a_bad_plug_leaves_no_open_file_behind"),
            (LINES, "a_line_that_opens_and_hangs_up_for_ever_makes_no_storm"),
        ],
    )
    .open("20 cycles, not 10,000; memory is not compared"),
    row(
        49,
        "no file may be longer than 4 GiB",
        "a segment ends at 64 MiB; a shorter limit of the medium begins the next one",
        "0 lost",
        &[
            (POWER_CUT, "a_segment_ends_before_it_is_longer_than_allowed_and_the_next_goes_on"),
            (POWER_CUT, "segments_end_at_their_length_and_at_their_age"),
        ],
    )
    .tried(longest_file),
    row(
        50,
        "a damaged settings file; a damaged mark or note",
        "a settings file that is not understood is refused with its mistake, for a wrong line \
         speed would cost the drive; what recorders leave behind never stops the next one",
        "every damage of mark and note: the recording begins",
        &[
            (SETTINGS, "every_mistake_is_answered_with_what_to_write"),
            (SETTINGS, "no_text_makes_the_parsers_panic"),
            (RECORDERS, "no_damage_of_a_mark_or_a_note_stops_the_next_recording"),
        ],
    ),
    row(
        51,
        "the end is interrupted: a signal, then no power",
        "synced first; everything else later",
        "killed 200 ms after the signal: 0 lost; at once: at most the sync interval",
        &[(TERMINALS, "a_second_signal_ends_at_once_and_what_arrived_is_kept")],
    )
    .tried(interrupted_ends),
];
