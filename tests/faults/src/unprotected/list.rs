//! The protections that are taken away, as the texts that make them.

use super::{Holder, Protection};

const CAPTURE: &[&str] = &["-p", "wheelwitness-capture", "--test", "promises"];
const CAPTURE_MEMORY: &[&str] = &["-p", "wheelwitness-capture", "--test", "memory"];
const LOGGER: &[&str] = &["-p", "wheelwitness-logger", "--test", "recording"];
const LOGGER_LIB: &[&str] = &["-p", "wheelwitness-logger", "--lib"];
const ANALYZE_LIB: &[&str] = &["-p", "wheelwitness-analyze", "--lib"];
const CLOCKS: &[&str] = &["-p", "wheelwitness-analyze", "--test", "clocks"];
const REPORT: &[&str] = &["-p", "wheelwitness-analyze", "--test", "report"];
const DRIVELINE: &[&str] = &["-p", "wheelwitness-driveline", "--test", "all"];
const ARCHIVE: &[&str] = &["-p", "wheelwitness-archive", "--test", "archive"];
const FAULTS: &[&str] = &["-p", "wheelwitness-faults", "--test", "promises"];

const BLOCK: &str = "logger/capture/src/block.rs";
const SEGMENT: &str = "logger/capture/src/read/segment.rs";
const WRITE: &str = "logger/capture/src/write.rs";
const SEQUENCE: &str = "logger/capture/src/sequence.rs";
const FIELDS: &str = "logger/capture/src/gnss/parse.rs";
const STORE: &str = "logger/src/store.rs";
const SOURCE: &str = "logger/src/source/mod.rs";
const LINE: &str = "logger/src/source/line.rs";
const PORT: &str = "logger/src/port.rs";
const SOCKET: &str = "logger/src/bus/socket.rs";
const PULSE: &str = "analyze/driveline/src/pulse.rs";

const fn held_by(
    row: u8,
    what: &'static str,
    file: &'static str,
    [text, without]: [&'static str; 2],
    target: &'static [&'static str],
    test: &'static str,
) -> Protection {
    Protection { row, what, file, text, without, target, holder: Holder::Test(test) }
}

const fn tried(
    row: u8,
    what: &'static str,
    file: &'static str,
    [text, without]: [&'static str; 2],
    times: u64,
) -> Protection {
    Protection { row, what, file, text, without, target: &[], holder: Holder::Trial(times) }
}

/// In the guest, which has CAN interfaces.
const fn in_guest(
    row: u8,
    what: &'static str,
    file: &'static str,
    [text, without]: [&'static str; 2],
    test: &'static str,
) -> Protection {
    Protection { row, what, file, text, without, target: LOGGER, holder: Holder::InGuest(test) }
}

/// Rows whose protection is not taken away, and why.
pub const NOT_TAKEN_AWAY: &[(u8, &str)] = &[
    (13, "reading at once what the line has is the reader itself: without it nothing is read"),
    (46, "not tried yet: its test needs the library of tables built in the copy"),
];

/// All that are taken away, one at a time, in the order of the rows.
pub const PROTECTIONS: &[Protection] = &[
    held_by(
        1,
        "the sync after every write",
        WRITE,
        [
            r#"Ok(()) => self.storage.sync(&segment.name).map_err(|e| ("syncing", e)),"#,
            "Ok(()) => Ok(()),",
        ],
        CAPTURE,
        "a_power_cut_after_any_pump_leaves_everything_acknowledged",
    ),
    held_by(
        2,
        "a page that the medium refuses costs only itself",
        SEGMENT,
        ["Err(refusal) => refusal,", "Err(refusal) => return (0, Some(refusal)),"],
        CAPTURE,
        "what_a_medium_refuses_to_give_is_a_hole_and_everything_else_is_read",
    ),
    held_by(
        3,
        "a segment is made new, never emptied",
        "logger/capture/src/storage/dir.rs",
        [".append(true).create_new(true)", ".write(true).create(true).truncate(true)"],
        FAULTS,
        "nothing_that_is_recorded_is_ever_renamed_or_written_over",
    ),
    held_by(
        4,
        "a segment ends at its first error",
        WRITE,
        ["self.segment.take().map(|s| s.name)", "self.segment.as_ref().map(|s| s.name.clone())"],
        CAPTURE,
        "any_single_failure_is_told_and_costs_nothing",
    ),
    held_by(
        5,
        "the recording ends at the reserve",
        STORE,
        ["let at_reserve = usable == 0 &&", "let at_reserve = usable == 1 &&"],
        LOGGER,
        "the_reserve_is_left_alone",
    ),
    held_by(
        6,
        "the second medium takes over",
        STORE,
        [
            "        if self.change_over() {",
            "        if self.spare.is_none() && self.change_over() {",
        ],
        LOGGER,
        "the_spare_medium_takes_over_when_the_first_is_gone_for_good",
    ),
    tried(
        7,
        "the cure for a read-only medium",
        "logger/src/folder.rs",
        ["check it (fsck, as root, unmounted) or choose another", "choose another"],
        0,
    ),
    held_by(
        8,
        "the search for the next block",
        SEGMENT,
        ["            self.skip_to_magic(storage);", "            break;"],
        CAPTURE,
        "a_capture_cut_at_any_byte_keeps_every_whole_block_and_tells_the_rest",
    ),
    held_by(
        9,
        "the recording id in every block",
        SEGMENT,
        ["recording.is_none_or(|id| id == header.recording)", "recording.is_none_or(|_| true)"],
        CAPTURE,
        "a_tail_of_zeros_noise_or_another_recording_gives_no_record",
    ),
    held_by(
        9,
        "block numbers that only rise",
        SEGMENT,
        ["!wanted || header.sequence < self.next_sequence", "!wanted"],
        CAPTURE,
        "stale_blocks_of_the_same_recording_give_no_record_twice",
    ),
    held_by(
        10,
        "a source that panicked is started again",
        SOURCE,
        [
            "while tokio::spawn(self.clone().live(opened.take())).await.is_err() {",
            "while tokio::spawn(self.clone().live(opened.take())).await.is_err_and(|_| false) {",
        ],
        LOGGER,
        "a_panic_in_one_source_ends_neither_it_nor_the_others",
    ),
    tried(
        10,
        "what arrived waits no longer than 250 ms",
        WRITE,
        [
            "waited_ns >= self.limits.sync_interval_ns",
            "waited_ns >= 40 * self.limits.sync_interval_ns",
        ],
        10,
    ),
    held_by(
        11,
        "the pauses between attempts grow",
        SOURCE,
        ["*pause = (*pause * 2).min(most);", "*pause = most.min(SEARCH_PAUSE.0);"],
        LOGGER,
        "a_lost_device_is_looked_for_with_pauses_growing_from_a_tenth_to_two_seconds",
    ),
    held_by(
        12,
        "a named stranger in the old socket is refused",
        "logger/src/names.rs",
        [
            "let socket = self.by_path.iter().filter(anonymous).cloned();",
            "let socket = self.by_path.iter().cloned();",
        ],
        LOGGER_LIB,
        "a_stranger_in_the_old_socket_is_not_taken_for_the_device",
    ),
    held_by(
        14,
        "what had to go is counted",
        "logger/src/queue.rs",
        ["chunks: count.chunks + 1,", "chunks: count.chunks,"],
        LOGGER,
        "a_stalled_medium_makes_no_reader_wait_and_what_did_not_fit_is_counted",
    ),
    held_by(
        15,
        "the count of what the kernel lost",
        SOCKET,
        ["    setsockopt(socket, sockopt::RxqOvfl, &1)?;\n", ""],
        LOGGER_LIB,
        "what_the_kernel_had_no_room_for_is_counted_exactly",
    ),
    held_by(
        16,
        "a link is asked how it is",
        "logger/src/source/frames.rs",
        ["(true, false) => self.went_down(),", "(true, false) => {}"],
        LOGGER,
        "a_link_that_goes_down_without_any_error_is_noticed_too",
    ),
    in_guest(
        17,
        "an interface that went away is opened anew",
        SOURCE,
        [
            "Ended::Lost(why) => self.lost(&why),\n                Ended::Gone => {}",
            "Ended::Lost(why) => return self.lost(&why),\n                Ended::Gone => return,",
        ],
        "an_interface_removed_and_put_back_a_hundred_times_is_back_within_a_second_each_time",
    ),
    held_by(
        18,
        "silence is looked for",
        LINE,
        ["let state = if now_ns - self.heard_ns > silent_ns {", "let state = if silent_ns < 0 {"],
        LOGGER,
        "silence_is_noted_once_and_so_is_its_end",
    ),
    held_by(
        19,
        "the class of a controller off the bus",
        "logger/capture/src/can_error.rs",
        [r#"(0x040, "bus off")"#, r#"(0x000, "bus off")"#],
        CAPTURE,
        "each_of_the_nine_classes_has_its_word",
    ),
    held_by(
        20,
        "a folder that holds a segment is refused",
        WRITE,
        ["find(|(n, _)| segment_number(n).is_some())", "find(|(n, _)| n.is_empty())"],
        CAPTURE,
        "a_capture_is_never_written_over_another",
    ),
    held_by(
        21,
        "the checksum of a block",
        BLOCK,
        [
            "block_crc(block) == u32::from_le_bytes(*stated)",
            "block_crc(block) != 0 || *stated != [0; 4]",
        ],
        CAPTURE,
        "any_flipped_bit_costs_its_own_block_and_nothing_else",
    ),
    held_by(
        22,
        "ticks are held against the host's clock",
        SEQUENCE,
        [
            "let elsewhere =\n            waited.is_some_and(",
            "let elsewhere = ahead > i64::MAX - 1\n            && waited.is_some_and(",
        ],
        CAPTURE,
        "a_restart_whose_ticks_seem_to_go_on_is_seen_by_the_hosts_clock",
    ),
    held_by(
        23,
        "ticks are unwrapped",
        "analyze/src/ticks.rs",
        [
            "tick + (expected - tick + WRAP_US / 2).div_euclid(WRAP_US) * WRAP_US",
            "tick + (expected - expected)",
        ],
        ANALYZE_LIB,
        "ticks_run_on_through_a_wrap_and_through_a_gap_of_three_wraps",
    ),
    held_by(
        24,
        "counters are unwrapped",
        PULSE,
        ["report.count.wrapping_sub(last_count)", "report.count.saturating_sub(last_count)"],
        DRIVELINE,
        "counters_wrap_without_a_jump_and_refuse_what_no_sensor_makes",
    ),
    held_by(
        24,
        "a rate that no sensor makes is refused",
        PULSE,
        [
            "(n, _) if n as f64 > room => Counted::Implausible,",
            "(n, _) if n as f64 > 1e9 * room => Counted::Implausible,",
        ],
        DRIVELINE,
        "counters_wrap_without_a_jump_and_refuse_what_no_sensor_makes",
    ),
    held_by(
        25,
        "wall time is held against boot-time",
        "logger/capture/src/wall.rs",
        ["moved_ns <= SLACK_NS.saturating_add(", "moved_ns <= i64::MAX.saturating_add("],
        CAPTURE,
        "a_clock_set_forward_or_back_is_told_once_with_by_how_much",
    ),
    held_by(
        25,
        "a second stamp confirms that the clock was set",
        "logger/capture/src/wall.rs",
        ["filter(|doubtful| agree(*doubtful, stamp))", "or(Some(stamp))"],
        CAPTURE,
        "a_reader_that_was_held_up_before_it_read_the_wall_clock_did_not_set_it",
    ),
    tried(
        25,
        "the recorder looks at the wall clock",
        STORE,
        ["                self.look_at_wall_clock();\n", ""],
        0,
    ),
    held_by(
        25,
        "a frame did not come before everything was taken",
        "logger/src/source/frames.rs",
        [".max(self.drained_ns)", ""],
        LOGGER,
        "a_clock_set_before_a_frame_is_read_moves_it_by_less_than_a_look",
    ),
    held_by(
        25,
        "the report tells that the clock was set",
        "analyze/src/survey.rs",
        ["            clock_sets.push(stamp);\n", ""],
        CLOCKS,
        "a_clock_that_was_set_while_recording_is_told_and_changes_nothing_else_of_a_drive",
    ),
    held_by(
        26,
        "boot-time is held against monotonic time",
        STORE,
        ["if slept_ns >= LEAST_SLEEP_NS {", "if slept_ns == i64::MAX {"],
        LOGGER,
        "a_computer_that_slept_is_told_once_with_the_length_of_its_sleep",
    ),
    held_by(
        26,
        "being held up between two clocks is no sleep",
        "analyze/src/sleep.rs",
        ["self.ahead_ns = Some(before.max(ahead_ns));", "self.ahead_ns = Some(ahead_ns);"],
        ANALYZE_LIB,
        "a_reader_that_was_held_up_between_two_clocks_has_not_slept",
    ),
    held_by(
        27,
        "the lower envelope of delays",
        "analyze/driveline/src/clock.rs",
        ["            if turns_left {", "            if turns_left || self.n > 0 {"],
        CLOCKS,
        "after_ten_minutes_board_time_is_known_within_a_millisecond",
    ),
    held_by(
        28,
        "doubled sentences are counted once",
        SEQUENCE,
        [
            "*index >= recent && before == sentence",
            "*index >= recent && before == sentence && *index < 0",
        ],
        CAPTURE,
        "every_mishap_between_two_tallies_is_counted_exactly",
    ),
    held_by(
        29,
        "the CRC-16 of a board sentence",
        "logger/capture/src/board.rs",
        ["hex(written) != Some(u32::from(computed))", "hex(written).is_none()"],
        CAPTURE,
        "every_single_and_double_bit_flip_in_a_board_sentence_is_refused",
    ),
    held_by(
        30,
        "noise is told from sentences",
        LINE,
        ["} else if self.watcher.is_unframed() &&", "} else if silent_ns < 0 &&"],
        LOGGER,
        "noise_brings_one_hint_within_four_seconds_and_a_source_of_another_kind_none",
    ),
    held_by(
        31,
        "a port in use is told from one that is absent",
        PORT,
        [
            "Kind::NoDevice => OpenError::Busy(name.into()),",
            "Kind::NoDevice => OpenError::Absent(name.into()),",
        ],
        LOGGER,
        "a_port_in_use_is_refused_with_the_holder_named_and_nothing_made",
    ),
    held_by(
        32,
        "days that a month does not have",
        FIELDS,
        [
            "(1..=days_in_month(year, month)).contains(&day)",
            "(1..=days_in_month(year, 1)).contains(&day)",
        ],
        CAPTURE,
        "dates_that_do_not_exist_are_faults_and_missing",
    ),
    held_by(
        33,
        "only digits and a point are a number",
        FIELDS,
        ["if !plain || !(1..=18).contains(&digits)", "if !(1..=18).contains(&digits)"],
        CAPTURE,
        "a_number_that_is_none_is_a_fault_and_missing_whatever_field_it_stands_in",
    ),
    held_by(
        34,
        "a time that goes back is refused",
        "logger/capture/src/make.rs",
        [
            "if self.begun && boot_ns < before.saturating_sub(slack_ns) {",
            "if self.begun && boot_ns < before.saturating_sub(i64::MAX) {",
        ],
        CAPTURE,
        "a_wrong_line_is_named_with_what_is_wrong",
    ),
    held_by(
        35,
        "a length that is not that of the data is refused",
        "logger/capture/src/can_csv.rs",
        ["usize::from(n) != data.len())", "usize::from(n) > data.len() + 255)"],
        CAPTURE,
        "a_wrong_line_says_what_is_wrong_with_it",
    ),
    held_by(
        36,
        "a wall thicker than its tube is refused",
        "analyze/driveline/src/vehicle/checks/turning.rs",
        [
            "if 2.0 * shaft.wall_mm > shaft.outer_mm {",
            "if 2.0 * shaft.wall_mm > 9.0 * shaft.outer_mm {",
        ],
        DRIVELINE,
        "each_mistake_is_shown_where_it_is_with_what_to_write_instead",
    ),
    held_by(
        37,
        "only the two lengths are frames",
        SOCKET,
        ["other => return What::NoFrame(other),", "_ => false,"],
        LOGGER_LIB,
        "only_messages_of_the_two_lengths_are_frames",
    ),
    held_by(
        38,
        "a device that is absent may come",
        PORT,
        ["matches!(self, OpenError::Absent(_) |", "matches!(self, OpenError::NoCan(_) |"],
        LOGGER,
        "a_device_that_is_absent_at_the_start_is_picked_up_and_holds_up_no_other",
    ),
    held_by(
        39,
        "the cure for a port without permission",
        "logger/src/inventory.rs",
        ["|a| a.cure(path)),", "|_| String::new()),"],
        LOGGER,
        "a_port_without_permission_is_refused_with_the_cure",
    ),
    held_by(
        40,
        "a header is read only where it is whole",
        BLOCK,
        ["let head = bytes.get(..HEADER_BYTES)?;", "let head = &bytes[..HEADER_BYTES];"],
        CAPTURE,
        "no_bytes_whatever_make_a_reader_panic_or_find_a_record",
    ),
    held_by(
        41,
        "the cap on the length of a block",
        BLOCK,
        ["header.payload_bytes as usize <= MAX_PAYLOAD_BYTES\n        && ", ""],
        CAPTURE,
        "a_length_that_lies_in_a_long_segment_takes_the_memory_of_one_block",
    ),
    held_by(
        42,
        "what was read is let go",
        SEGMENT,
        ["            self.window.drain(..self.start);\n            self.start = 0;\n", ""],
        CAPTURE_MEMORY,
        "a_capture_of_330_megabytes_is_read_and_decoded_in_16_mib",
    ),
    held_by(
        43,
        "what is not known is told as unknown",
        "analyze/src/report/terminal.rs",
        [
            "result.duration_s.map_or(\"length unknown\".into(), words::seconds)",
            "words::seconds(result.duration_s.unwrap_or(0.0))",
        ],
        REPORT,
        "an_empty_capture_says_so",
    ),
    held_by(
        44,
        "only names of the archive's own are unpacked",
        "analyze/archive/src/name.rs",
        ["return segment_number(rest).map(|_| Role::Segment);", "return Some(Role::Segment);"],
        ARCHIVE,
        "no_hostile_pack_writes_a_file_anywhere",
    ),
    held_by(
        45,
        "text is escaped",
        "analyze/src/report/markup.rs",
        [r#"'<' => out.push_str("&lt;"),"#, "'<' => out.push('<'),"],
        REPORT,
        "no_text_of_a_result_becomes_an_element_or_an_attribute_of_the_page",
    ),
    held_by(
        47,
        "control characters are shown as what they are",
        "logger/src/text.rs",
        ["if c.is_control() || changes_direction(c)", "if changes_direction(c)"],
        LOGGER_LIB,
        "no_control_character_survives",
    ),
    held_by(
        48,
        "a lost line is closed",
        SOURCE,
        ["spawn_blocking(move || drop(line))", "spawn_blocking(move || std::mem::forget(line))"],
        LOGGER,
        "a_bad_plug_leaves_no_open_file_behind",
    ),
    held_by(
        49,
        "a segment ends at its length",
        WRITE,
        [
            "segment.length + more > self.limits.segment_bytes",
            "segment.length + more > u64::MAX / 2",
        ],
        CAPTURE,
        "a_segment_ends_before_it_is_longer_than_allowed_and_the_next_goes_on",
    ),
    held_by(
        50,
        "a setting that nobody knows is refused",
        "logger/src/settings/mod.rs",
        ["#[serde(deny_unknown_fields)]\npub struct Typed {", "pub struct Typed {"],
        LOGGER_LIB,
        "every_mistake_is_answered_with_what_to_write",
    ),
    tried(
        51,
        "a stop is synced at once",
        STORE,
        [
            "if stopping { self.writer.flush() } else { self.writer.pump() }",
            "if stopping { self.writer.pump() } else { self.writer.pump() }",
        ],
        16,
    ),
];
