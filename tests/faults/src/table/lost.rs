//! G1: the drive is lost.

use super::paths::*;
use super::row::row;
use super::*;

/// These rows.
pub(super) const LOST: [Row; 20] = [
    row(
        1,
        "power cut in the middle of a write, ext4",
        "what was called safe is there; the next start says what is missing",
        "10,000 cuts: 0 acknowledged records lost; at most 1.0 s lost where a sync takes 0.5 s",
        &[
            (POWER_CUT, "a_power_cut_after_any_pump_leaves_everything_acknowledged"),
            (POWER_CUT, "a_power_cut_within_any_operation_leaves_everything_acknowledged"),
            (PROTECTIONS, "without_its_syncs_a_power_cut_would_cost_what_was_called_safe"),
        ],
    )
    .tried(ext4_cuts),
    row(
        2,
        "power cut, FAT stick",
        "what was called safe is there, of this drive and of all before it",
        "1,000 cuts: 0 acknowledged records lost, of the drive cut off and of earlier ones",
        &[(DAMAGE, "what_a_medium_refuses_to_give_is_a_hole_and_everything_else_is_read")],
    )
    .tried(fat_cuts)
    .open("in a guest, FAT16, checked between two drives: without, files can get mixed"),
    row(
        3,
        "rename over the only copy, FAT",
        "nothing that is recorded is ever renamed or written over",
        "0 renames and 0 files opened for rewriting in recorder and capture, but for the note",
        &[(PROTECTIONS, "nothing_that_is_recorded_is_ever_renamed_or_written_over")],
    ),
    row(
        4,
        "a write fails, and a later sync calls it good",
        "the segment ends at the first error; what is not safe goes into a new one; told",
        "each call of a recording fails once with each error: 0 panics, 0 silent losses",
        &[
            (POWER_CUT, "any_single_failure_is_told_and_costs_nothing"),
            (POWER_CUT, "the_trouble_names_the_segment_what_failed_and_what_is_held"),
            (MEDIA, "any_one_failing_operation_costs_nothing"),
        ],
    )
    .tried(failing_calls),
    row(
        5,
        "the disk fills up",
        "warned long before; stops cleanly at the reserve; goes on once space is made",
        "warnings at 2 h, 30 min, 10 min; back within 2 s; 0 lost",
        &[
            (MEDIA, "the_space_left_is_told_in_steps_long_before_it_is_used_up"),
            (MEDIA, "the_reserve_is_left_alone"),
            (MEDIA, "what_memory_could_not_hold_is_counted_exactly"),
            (FULL, "a_full_medium_is_told_and_nothing_acknowledged_is_lost"),
            (FULL, "the_recording_stops_cleanly_when_only_the_reserve_is_left"),
        ],
    )
    .tried(space_returns),
    row(
        6,
        "the medium is pulled while recording",
        "noticed at the next sync; goes on on the second medium, or in memory",
        "noticed within the sync interval + 1 s; both media together whole; memory for 60 s",
        &[
            (MEDIA, "the_spare_medium_takes_over_when_the_first_is_gone_for_good"),
            (POWER_CUT, "while_a_medium_fails_records_are_held_and_attempts_become_rare"),
            (POWER_CUT, "a_recording_goes_on_in_a_second_storage_and_both_together_are_whole"),
            (FULL, "the_second_medium_takes_over_when_the_first_is_full"),
        ],
    )
    .tried(pulled)
    .open("tried on ext4; a real stick pulled from its socket needs hardware"),
    row(
        7,
        "the file system turns read-only",
        "told with path and reason; goes on elsewhere; at the start refused with the cure",
        "told within 1 s",
        &[],
    )
    .tried(read_only),
    row(
        8,
        "a capture that needs its end to be read",
        "a capture cut at any byte is read up to its last whole block",
        "every byte of a capture: 0 panics, every whole block read",
        &[(DAMAGE, "a_capture_cut_at_any_byte_keeps_every_whole_block_and_tells_the_rest")],
    ),
    row(
        9,
        "zeros or old bytes at the end of a file",
        "they are never decoded as records",
        "0 false records",
        &[
            (DAMAGE, "a_tail_of_zeros_noise_or_another_recording_gives_no_record"),
            (DAMAGE, "stale_blocks_of_the_same_recording_give_no_record_twice"),
            (DAMAGE, "no_bytes_whatever_make_a_reader_panic_or_find_a_record"),
        ],
    ),
    row(
        10,
        "the process is killed, runs out of memory, or one source panics",
        "synced records stay; other sources go on; the next start says what was cut off",
        "2,000 kills: all that was synced is kept, at most 1.0 s lost; back within 2 s",
        &[
            (TERMINALS, "a_killed_recorder_leaves_everything_that_was_synced"),
            (TERMINALS, "the_next_recording_finds_one_that_was_killed_and_notes_what_it_lacks"),
            (
                RECOVERY,
                "a_recording_that_was_cut_off_is_noted_once_and_its_segments_stay_as_they_are",
            ),
            (LINES, "a_panic_in_one_source_ends_neither_it_nor_the_others"),
            (BUSES, "a_panic_in_the_reader_of_a_bus_costs_only_that_moment"),
        ],
    )
    .tried(kills),
    row(
        11,
        "a serial plug comes loose",
        "told as lost, looked for again, no processor time used meanwhile",
        "at most 10 % of a processor while gone",
        &[
            (LINES, "every_way_of_hanging_up_ends_in_lost_and_then_found"),
            (LINES, "a_lost_device_is_looked_for_with_pauses_growing_from_a_tenth_to_two_seconds"),
            (TERMINALS, "an_unplugged_device_costs_no_processor_time"),
        ],
    )
    .open("the figure of 2 % is tested as 10 %, the resolution of processor ticks in 2 s"),
    row(
        12,
        "plugged in again under another name",
        "found by its stable name; a stranger is not taken for it",
        "found again; 0 strangers accepted",
        &[
            (TERMINALS, "an_unplugged_device_is_found_again_under_another_name"),
            (NAMES, "a_device_is_found_under_its_own_name_after_the_kernel_renamed_it"),
            (NAMES, "a_stranger_in_the_old_socket_is_not_taken_for_the_device"),
            (LINES, "another_board_in_the_same_place_is_noted"),
        ],
    ),
    row(
        13,
        "bytes unread when a line hangs up",
        "what was kept is the beginning of what was sent, and never mixed",
        "all that came before the last burst is kept",
        &[(
            TERMINALS,
            "bytes_in_flight_when_the_plug_is_pulled_are_kept_up_to_some_point_and_never_mixed",
        )],
    )
    .open("that at most the last 10 ms are lost is not measured"),
    row(
        14,
        "the medium stalls for seconds",
        "no source waits; what memory cannot hold is counted in its place",
        "5 s: 0 lost; longer: lost = counted, exactly",
        &[(MEDIA, "a_stalled_medium_makes_no_reader_wait_and_what_did_not_fit_is_counted")],
    )
    .tried(stall),
    row(
        15,
        "the kernel has no room for CAN frames",
        "their exact number stands in the capture",
        "sent = stored + counted, exactly",
        &[
            (SOCKET, "what_the_kernel_had_no_room_for_is_counted_exactly"),
            (BUSES, "what_the_kernel_lost_is_counted_right_before_the_next_frame"),
        ],
    ),
    row(
        16,
        "a CAN link goes down, with one error only",
        "told as down; the same socket goes on when it is up",
        "100 times back within 1 s",
        &[
            (
                VCAN,
                "a_link_that_goes_down_and_up_a_hundred_times_is_back_within_a_second_each_time",
            ),
            (BUSES, "a_link_that_goes_down_without_any_error_is_noticed_too"),
        ],
    ),
    row(
        17,
        "a CAN adapter is removed and put back",
        "the interface is opened anew",
        "100 times back within 1 s",
        &[(
            VCAN,
            "an_interface_removed_and_put_back_a_hundred_times_is_back_within_a_second_each_time",
        )],
    ),
    row(
        18,
        "a source is silent but connected",
        "told once, and so is its end; no storm of reconnections",
        "told after 3 s",
        &[
            (LINES, "silence_is_noted_once_and_so_is_its_end"),
            (BUSES, "a_silent_bus_is_told_once_and_so_is_the_next_frame"),
            (LINES, "a_line_that_opens_and_hangs_up_for_ever_makes_no_storm"),
        ],
    ),
    row(
        19,
        "bus-off, error passive",
        "error frames are stored and told, and never taken for data",
        "all 9 classes",
        &[
            (VCAN, "error_frames_of_all_nine_classes_are_stored_and_told"),
            (CAN_ERRORS, "each_of_the_nine_classes_has_its_word"),
            (BUSES, "a_controller_that_leaves_the_bus_is_told_with_the_next_step"),
        ],
    ),
    row(
        20,
        "two recordings of one name, two recorders",
        "nothing is written over; the second recorder is refused with the number of the first",
        "0 files written over",
        &[
            (TERMINALS, "a_capture_is_never_overwritten_and_a_running_one_names_its_recorder"),
            (FOLDER, "a_folder_is_claimed_once_and_says_who_has_it"),
            (POWER_CUT, "a_capture_is_never_written_over_another"),
            (RECORDERS, "of_many_recorders_that_start_at_once_one_gets_the_folder"),
        ],
    ),
];
