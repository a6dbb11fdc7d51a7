//! The life of a CAN source on simulated interfaces and simulated time.

use crate::lines::{Told, play_on, s};
use std::path::Path;
use wheelwitness_capture::record::Kind;
use wheelwitness_logger::bus::sim::{Opening, SimBuses, Step, frame};
use wheelwitness_logger::bus::{Arrival, Controller, Filter, Link, What};
use wheelwitness_logger::port::OpenError;
use wheelwitness_logger::sim::SimPorts;

// Linux error numbers (errno(3)).
const EIO: i32 = 5;
const ENODEV: i32 = 19;
const ENETDOWN: i32 = 100;

const UP: Link = Link {
    present: true,
    up: true,
    listen_only: Some(true),
    bit_rate: Some(500_000),
    controller: Some(Controller::Active),
};
const DOWN: Link = Link { up: false, ..UP };
const GONE: Link = Link { present: false, ..DOWN };

fn bus(link: Link, steps: &[Step]) -> Opening {
    Opening::Bus(link, steps.to_vec())
}

fn frames(ids: &[u16]) -> Step {
    Step::Frames(ids.iter().map(|id| frame(*id, &[1, 2], 0)).collect())
}

fn play(buses: SimBuses, seconds: f64) -> Told {
    play_on(&SimPorts::new(), &buses, &["bus=can0,can"], s(seconds))
}

/// The last byte of the id of every frame kept, in order (record layout: 8 bytes of time, id).
fn ids(told: &Told) -> Vec<u8> {
    told.chunks(0).iter().map(|chunk| chunk[11]).collect()
}

#[test]
fn frames_are_kept_one_by_one_in_order() {
    let steps = [frames(&[1, 2, 3]), Step::Wait(s(1.0)), frames(&[4])];
    let told = play(SimBuses::new().script("can0", [bus(UP, &steps)]), 3.0);
    assert_eq!(ids(&told), [1, 2, 3, 4]);
    assert_eq!(told.times(0, Kind::Opened).len(), 1);
}

#[test]
fn a_frame_is_stamped_when_the_kernel_received_it_and_never_before_the_one_before() {
    let ms = 1_000_000;
    let late = [frame(1, &[], 4 * ms), frame(2, &[], ms), frame(3, &[], 2 * ms)];
    // Somebody moved the wall clock: the stamps are an hour off, once in each direction.
    let off = [frame(4, &[], -3_600_000 * ms), frame(5, &[], 3_600_000 * ms)];
    let steps = [Step::Wait(s(1.0)), Step::Frames([late.as_slice(), &off].concat())];
    let told = play(SimBuses::new().script("can0", [bus(UP, &steps)]), 3.0);
    let opened = told.times(0, Kind::Opened)[0];
    let times: Vec<_> = told.chunk_times(0).iter().map(|ms| ms - opened).collect();
    let now = times[3];
    assert_eq!(times, [now - 4, now - 1, now - 1, now, now]);
}

/// The kernel stamps by the wall clock: set between stamp and reading, it seems to have been an
/// hour ago. A frame after long silence would be moved far back.
#[test]
fn a_clock_set_before_a_frame_is_read_moves_it_by_less_than_a_look() {
    let hour = 3_600_000_000_000;
    let steps = [Step::Wait(s(10.0)), Step::Frames(vec![frame(1, &[], hour)])];
    let told = play(SimBuses::new().script("can0", [bus(UP, &steps)]), 12.0);
    let since_opened = told.chunk_times(0)[0] - told.times(0, Kind::Opened)[0];
    assert!((9_700..=10_010).contains(&since_opened), "{since_opened} ms");
}

#[test]
fn what_the_kernel_lost_is_counted_right_before_the_next_frame() {
    let after = Arrival { lost: 4_722, ..frame(2, &[], 0) };
    let steps = [frames(&[1]), Step::Frames(vec![after]), frames(&[3])];
    let told = play(SimBuses::new().script("can0", [bus(UP, &steps)]), 3.0);
    assert_eq!(ids(&told), [1, 2, 3]);
    assert_eq!(told.losses(0), [4_722]);
    assert_eq!(told.kinds(0), ["Opened", "chunk", "Losses", "chunk", "chunk"]);
}

#[test]
fn a_message_of_a_wrong_length_is_counted_and_the_rest_goes_on() {
    let wrong = |length| Arrival { what: What::NoFrame(length), ..frame(0, &[], 0) };
    let steps = [Step::Frames(vec![wrong(71), frame(1, &[], 0), wrong(73)]), frames(&[2])];
    let told = play(SimBuses::new().script("can0", [bus(UP, &steps)]), 3.0);
    assert_eq!(ids(&told), [1, 2]);
    assert_eq!(told.losses(0), [1, 1]);
}

#[test]
fn a_link_that_goes_down_keeps_what_waited_and_goes_on_with_the_same_socket() {
    // The error comes first and once; frames from before wait behind it.
    let down = [frames(&[1]), Step::Wait(s(1.0)), Step::Link(DOWN), Step::Fail(ENETDOWN)];
    let rest = [frames(&[2]), Step::Wait(s(5.0)), Step::Link(UP), Step::Wait(s(1.0)), frames(&[3])];
    let told = play(SimBuses::new().script("can0", [bus(UP, &[&down[..], &rest].concat())]), 20.0);
    assert_eq!(ids(&told), [1, 2, 3]);
    let (lost, found) = (told.times(0, Kind::Lost), told.times(0, Kind::Found));
    assert_eq!((lost.len(), found.len()), (1, 1));
    let back = found[0] - lost[0];
    assert!((5_000..=5_300).contains(&back), "{back} ms");
    let kinds = told.kinds(0);
    assert_eq!(kinds, ["Opened", "chunk", "chunk", "Lost", "Found", "chunk"]);
}

#[test]
fn a_link_that_goes_down_without_any_error_is_noticed_too() {
    let steps = [Step::Wait(s(1.0)), Step::Link(DOWN), Step::Wait(s(5.0)), Step::Link(UP)];
    let told = play(SimBuses::new().script("can0", [bus(UP, &steps)]), 10.0);
    assert_eq!(told.kinds(0), ["Opened", "Lost", "Found"]);
}

#[test]
fn frames_on_a_link_that_was_down_prove_that_it_is_up() {
    let down = [Step::Wait(s(1.0)), Step::Link(DOWN), Step::Fail(ENETDOWN)];
    let steps = [&down[..], &[Step::Wait(s(0.05)), frames(&[1])]].concat();
    let told = play(SimBuses::new().script("can0", [bus(UP, &steps)]), 2.0);
    assert_eq!(told.kinds(0)[..4], ["Opened", "Lost", "Found", "chunk"]);
}

#[test]
fn an_interface_that_is_gone_is_opened_anew_and_told_as_lost_once() {
    for end in [Step::Fail(ENODEV), Step::Fail(EIO), Step::Link(GONE)] {
        let also_down = [Step::Link(DOWN), Step::Fail(ENETDOWN), end.clone()];
        for ends in [vec![end.clone()], also_down.to_vec()] {
            let first = [vec![frames(&[1]), Step::Wait(s(1.0))], ends].concat();
            let script = [bus(UP, &first), bus(UP, &[frames(&[2])])];
            let told = play(SimBuses::new().script("can0", script), 10.0);
            assert_eq!(told.kinds(0), ["Opened", "chunk", "Lost", "Found", "chunk"], "{end:?}");
        }
    }
}

#[test]
fn an_absent_interface_is_looked_for_ten_times_a_second() {
    let absent = Opening::Refuse(OpenError::Absent("can0".into()));
    let openings = vec![absent; 8].into_iter().chain([bus(UP, &[frames(&[1])])]);
    let told = play(SimBuses::new().script("can0", openings), 10.0);
    // Eight refusals, nine pauses.
    assert_eq!(told.times(0, Kind::Opened), [900]);
}

#[test]
fn an_interface_that_is_down_at_the_start_counts_as_opened_once_it_is_up() {
    let steps = [Step::Fail(ENETDOWN), Step::Wait(s(3.0)), Step::Link(UP), frames(&[1])];
    let told = play(SimBuses::new().script("can0", [bus(DOWN, &steps)]), 10.0);
    assert_eq!(told.kinds(0), ["Opened", "chunk"]);
    assert!(told.messages.iter().any(|m| m.contains("sudo ip link set can0 up")));
}

#[test]
fn whether_the_interface_can_disturb_the_bus_is_said_once_with_the_commands() {
    for (listen_only, said) in [
        (Some(true), "can0 only listens"),
        (Some(false), "sudo ip link set can0 type can bitrate 500000 listen-only on"),
        (None, "no controller that could be asked"),
    ] {
        let link = Link { listen_only, ..UP };
        let cycle = [Step::Link(DOWN), Step::Wait(s(1.0)), Step::Link(link), Step::Wait(s(1.0))];
        let script = [bus(link, &[&cycle[..], &[Step::Fail(ENODEV)]].concat()), bus(link, &cycle)];
        let told = play(SimBuses::new().script("can0", script), 10.0);
        assert_eq!(told.notes(said).len(), 1, "{said}");
    }
}

#[test]
fn a_controller_that_leaves_the_bus_is_told_with_the_next_step() {
    let off = Link { controller: Some(Controller::BusOff), ..UP };
    let steps = [Step::Wait(s(1.0)), Step::Link(off)];
    let told = play(SimBuses::new().script("can0", [bus(UP, &steps)]), 5.0);
    assert_eq!(told.notes("bus off").len(), 1);
    assert_eq!(told.notes("check wiring, termination and bit rate").len(), 1);
}

#[test]
fn a_silent_bus_is_told_once_and_so_is_the_next_frame() {
    let steps = [frames(&[1]), Step::Wait(s(10.0)), frames(&[2])];
    let told = play(SimBuses::new().script("can0", [bus(UP, &steps)]), 12.0);
    assert_eq!((told.notes("no frame for").len(), told.notes("frames again").len()), (1, 1));
    let silent = told.notes("no frame for")[0] - told.times(0, Kind::Opened)[0];
    assert!((3_000..=3_300).contains(&silent), "{silent} ms");
}

#[test]
fn a_panic_in_the_reader_of_a_bus_costs_only_that_moment() {
    let script =
        [bus(UP, &[frames(&[1]), Step::Wait(s(1.0)), Step::Panic]), bus(UP, &[frames(&[2])])];
    let told = play(SimBuses::new().script("can0", script), 5.0);
    assert_eq!(ids(&told), [1, 2]);
}

#[test]
fn filters_are_asked_for_and_none_unless_the_settings_say_so() {
    let buses = SimBuses::new().script("can0", [bus(UP, &[])]);
    play(buses.clone(), 1.0);
    assert_eq!(buses.filters(), []);
    let filter: Filter = "7E8".parse().unwrap();
    assert_eq!(filter.words(), (0x7e8, 0x8000_07ff));
}

#[test]
fn what_waits_when_the_recording_stops_is_still_kept() {
    // Everything comes at the very moment of the end.
    let steps = [Step::Wait(s(2.0)), frames(&[1]), frames(&[2]), frames(&[3])];
    // The interface is opened after the first pause, a tenth of a second.
    let told = play(SimBuses::new().script("can0", [bus(UP, &steps)]), 2.1);
    assert_eq!(ids(&told), [1, 2, 3]);
}

#[test]
fn nothing_in_the_logger_can_write_to_a_bus() {
    // Words by which a message leaves a socket (send(2), write(2), and the library's own).
    let ways = ["write_frame", "transmit", "sendmsg", "sendmmsg", ".send(", "send_frame", "write("];
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/bus");
    let mut seen = 0;
    for file in std::fs::read_dir(folder).unwrap().flatten() {
        let text = std::fs::read_to_string(file.path()).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap_or_default();
        let name = file.file_name().into_string().unwrap();
        for way in ways {
            assert!(!code.contains(way), "{name}: {way}");
        }
        // The only question that leaves goes to the kernel's own route socket.
        assert!(!code.contains("sendto") || name == "link.rs", "{name}: sendto");
        seen += 1;
    }
    assert!(seen >= 5, "{seen} files: the rule no longer sees them");
    let gather =
        std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/source/frames.rs"));
    assert!(!gather.unwrap().contains("write"));
}
