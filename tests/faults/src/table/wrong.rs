//! G2: numbers are wrong and nobody is told.

use super::paths::*;
use super::row::row;
use super::*;

/// These rows.
pub(super) const WRONG: [Row; 17] = [
    row(
        21,
        "bits rot in a capture",
        "the block is refused and the hole told; everything else is read",
        "every bit flipped, 1 to 4 at random: 0 silent differences",
        &[
            (DAMAGE, "any_flipped_bit_costs_its_own_block_and_nothing_else"),
            (DAMAGE, "damage_of_any_kind_keeps_the_blocks_that_it_did_not_touch"),
        ],
    ),
    row(
        22,
        "the board starts anew",
        "seen, and never a giant or negative difference",
        "all marked, 0 false",
        &[
            (SEQUENCE, "a_restart_whose_ticks_seem_to_go_on_is_seen_by_the_hosts_clock"),
            (SEQUENCE, "every_mishap_between_two_tallies_is_counted_exactly"),
            (TICKS, "a_new_boot_number_begins_a_new_epoch_even_at_a_plausible_tick"),
            (RIG_FAULTS, "a_reset_restarts_the_board_under_the_next_boot_number"),
        ],
    ),
    row(
        23,
        "the 32-bit tick wraps after 71.6 minutes",
        "time goes on, across a gap of several wraps too",
        "0 steps of more than a sample",
        &[
            (TICKS, "ticks_run_on_through_a_wrap_and_through_a_gap_of_three_wraps"),
            (SEQUENCE, "a_tick_that_wraps_is_no_restart"),
        ],
    ),
    row(
        24,
        "pulse counters wrap, restart, bounce",
        "a wrap is no jump; a rate that no sensor makes is refused",
        "exact in every case",
        &[
            (MOTION, "counters_wrap_without_a_jump_and_refuse_what_no_sensor_makes"),
            (RATES, "a_rolling_counter_is_unwrapped"),
        ],
    )
    .open("examples, not a million random cases"),
    row(
        25,
        "the host's clock is set, forward or back",
        "told while recording and in the report; the time axis does not notice",
        "set 1970 to now, an hour on, an hour back: each told, 0 records moved, same verdicts",
        &[
            (PROTECTIONS, "a_wall_clock_that_jumps_moves_no_record"),
            (WALL_CLOCK, "a_clock_set_forward_or_back_is_told_once_with_by_how_much"),
            (WALL_CLOCK, "a_clock_that_is_corrected_gradually_was_not_set"),
            (WALL_CLOCK, "a_reader_that_was_held_up_before_it_read_the_wall_clock_did_not_set_it"),
            (BUSES, "a_clock_set_before_a_frame_is_read_moves_it_by_less_than_a_look"),
            (MEDIA, "a_clock_that_is_set_is_told_once_with_by_how_much_and_moves_no_record"),
            (
                WALL,
                "a_clock_that_was_set_while_recording_is_told_and_changes_nothing_else_of_a_drive",
            ),
        ],
    )
    .tried(clock_sets)
    .open("a setting in the last second, or by less than half a second, may go untold"),
    row(
        26,
        "the computer sleeps",
        "a gap of its true length, told while recording and in the report",
        "within 10 ms",
        &[
            (SLEEP, "a_computer_that_slept_is_told_by_gaps_of_their_true_length"),
            (SLEEP, "a_computer_that_never_slept_has_no_gap"),
            (SLEEPS, "a_reader_that_was_held_up_between_two_clocks_has_not_slept"),
            (MEDIA, "a_computer_that_slept_is_told_once_with_the_length_of_its_sleep"),
        ],
    )
    .open("by simulated clocks; a real suspend needs hardware"),
    row(
        27,
        "USB jitter and a board clock that drifts",
        "board time is mapped by the lower envelope of delays",
        "after 10 min within 1 ms of the least delay, and 0.5 ppm; under 1 min within 20 ms",
        &[
            (BOARD_CLOCK, "after_ten_minutes_board_time_is_known_within_a_millisecond"),
            (BOARD_CLOCK, "under_a_minute_board_time_is_coarse_but_within_twenty_milliseconds"),
            (BOARD_CLOCK, "a_stall_of_two_seconds_does_not_move_the_map"),
        ],
    )
    .open("a board that keeps step with USB (drift under 3 ppm): within 2 ms, their beat"),
    row(
        28,
        "board sentences lost, doubled, out of order",
        "counted; doubled ones once; nothing is filled in",
        "12 h at three times the rate: lost = left out, exactly; memory flat",
        &[
            (SEQUENCE, "every_mishap_between_two_tallies_is_counted_exactly"),
            (RIG_FAULTS, "line_faults_are_counted_as_they_happen"),
        ],
    )
    .tried(long_drive),
    row(
        29,
        "damage on a serial line",
        "refused; the next sentence is read; raw bytes are kept",
        "all 1- and 2-bit flips refused; no damage changes a board sentence",
        &[
            (WIRE_DAMAGE, "every_single_and_double_bit_flip_in_a_board_sentence_is_refused"),
            (WIRE_DAMAGE, "a_bit_flip_anywhere_on_the_wire_loses_sentences_but_never_changes_one"),
            (WIRE_DAMAGE, "damage_of_any_kind_never_changes_a_board_sentence"),
        ],
    ),
    row(
        30,
        "wrong speed of the line, wrong device",
        "a hint within seconds; no sentence is made of noise",
        "hint within 4 s; 0 sentences in megabytes of noise",
        &[
            (LINES, "noise_brings_one_hint_within_four_seconds_and_a_source_of_another_kind_none"),
            (TERMINALS, "bytes_at_the_wrong_speed_bring_a_hint"),
            (WIRE_DAMAGE, "random_megabytes_hold_no_data"),
        ],
    ),
    row(
        31,
        "two readers on one port",
        "refused, with the other process named",
        "refused",
        &[(TERMINALS, "a_port_in_use_is_refused_with_the_holder_named_and_nothing_made")],
    )
    .open("a second reader that comes later, as root, is not noticed"),
    row(
        32,
        "a GNSS receiver with a bad date or no fix",
        "dates and times that do not exist are missing, and a fix without validity is not used",
        "0 wrong times accepted",
        &[
            (GNSS, "dates_that_do_not_exist_are_faults_and_missing"),
            (GNSS, "times_that_do_not_exist_are_faults_and_missing"),
            (GNSS, "two_digit_years_fall_between_1980_and_2079"),
            (GNSS, "only_modes_that_measure_give_a_speed"),
            (GNSS, "a_leap_second_is_taken_at_the_end_of_a_day_only"),
        ],
    ),
    row(
        33,
        "a frozen receiver; numbers that are none",
        "no number that is none reaches a reading or breaks a figure",
        "0 of them",
        &[
            (
                WIRE_DAMAGE,
                "a_number_that_is_none_is_a_fault_and_missing_whatever_field_it_stands_in",
            ),
            (WIRE_DAMAGE, "no_field_whatever_makes_a_decoder_panic_or_give_a_number_that_is_none"),
            (FIGURES, "numbers_that_no_sensor_gives_neither_hang_nor_break_a_figure"),
        ],
    )
    .open("a position that stands still or jumps is not told"),
    row(
        34,
        "times that go back in files of other tools",
        "refused with the line",
        "0 negative differences",
        &[
            (IMPORT, "a_wrong_line_is_named_with_what_is_wrong"),
            (CAN_CSV, "times_are_exact_to_the_nanosecond"),
        ],
    ),
    row(
        35,
        "text of another dialect",
        "one form is read, and it is written down; any other is refused with the line",
        "0 silently wrong",
        &[
            (CAN_CSV, "a_wrong_line_says_what_is_wrong_with_it"),
            (CAN_CSV, "a_file_of_lines_becomes_a_capture_or_its_wrong_line_is_named"),
            (IMPORT, "a_wrong_line_is_named_with_what_is_wrong"),
        ],
    )
    .open("other dialects are refused and not converted"),
    row(
        36,
        "a channel is missing, or in another unit",
        "the claim is undecided and says what it needs; implausible numbers are refused",
        "no claim decided without its channels",
        &[
            (VEHICLE, "each_mistake_is_shown_where_it_is_with_what_to_write_instead"),
            (
                "analyze/driveline/tests/all/vehicle_fit.rs",
                "every_claim_of_the_first_set_has_a_row",
            ),
        ],
    )
    .open("a speed in miles for kilometres is not recognised by its ratio"),
    row(
        37,
        "CAN FD, remote, extended and short frames",
        "kept apart; what no bus carries is refused",
        "every kind comes back as sent",
        &[
            (VCAN, "every_kind_of_frame_comes_back_as_it_was_sent_and_nothing_is_added_to_the_bus"),
            (CAN_FRAMES, "frames_are_the_published_bytes_both_ways"),
            (CAN_FRAMES, "what_no_bus_carries_is_refused_with_what_is_wrong"),
            (SOCKET, "only_messages_of_the_two_lengths_are_frames"),
        ],
    ),
];
