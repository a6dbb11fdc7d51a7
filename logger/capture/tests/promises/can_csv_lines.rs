//! Frames as plain text: what a line says, and what is wrong with one. The columns are our own.

use proptest::prelude::*;
use wheelwitness_capture::can::{Frame, Id, Payload};
use wheelwitness_capture::can_csv::{Columns, Row};
use wheelwitness_capture::exchange::import_can;
use wheelwitness_capture::import::Extras;
use wheelwitness_capture::record::RecordingId;
use wheelwitness_capture::storage::SimStorage;

const HEAD: &str = "time_s,interface,id,extended,kind,length,data,bit_rate_switch,error_state";

fn row(line: &str) -> Result<Row, String> {
    Columns::of(HEAD).unwrap().read(line)
}

fn frame(line: &str) -> Frame {
    row(line).unwrap().frame
}

fn import(text: &str) -> Result<u64, String> {
    let id = RecordingId([5; 16]);
    let done = import_can(text.as_bytes(), SimStorage::new(), id, &Extras::default());
    done.map(|done| done.frames).map_err(|error| error.to_string())
}

#[test]
fn each_kind_of_frame_has_its_line() {
    let id = Id::Standard(0x7e8);
    assert_eq!(frame("0,can0,7E8,0,data,2,0441,,"), Frame::data(id, &[4, 0x41]).unwrap());
    assert_eq!(frame("0,can0,0x7e8,,,,04 41,0,0"), Frame::data(id, &[4, 0x41]).unwrap());
    let wide = Id::Extended(0x7e8);
    assert_eq!(frame("0,can0,7E8,1,data,,,,"), Frame::data(wide, &[]).unwrap());
    assert_eq!(frame("0,can0,7E8,0,remote,8,,,"), Frame::remote(id, 8).unwrap());
    let data = Payload::new(&[7; 12]).unwrap();
    let fd = Frame::Fd { id: wide, data, bit_rate_switch: true, error_state: false };
    assert_eq!(frame("0,can0,7E8,1,fd,12,070707070707070707070707,1,0"), fd);
    let error = Frame::Error { classes: 0x40, details: [0, 0, 1, 0, 0, 0, 0, 0] };
    assert_eq!(frame("0,can0,40,,error,,000001,,"), error);
}

#[test]
fn times_are_exact_to_the_nanosecond() {
    let time = |text: &str| row(&format!("{text},can0,1,,,,,,")).map(|row| row.time_ns);
    assert_eq!(time("1700000000.123456789"), Ok(1_700_000_000_123_456_789));
    assert_eq!(time("0.1"), Ok(100_000_000));
    assert_eq!(time("-0.5"), Ok(-500_000_000));
    assert_eq!(time("3"), Ok(3_000_000_000));
    assert_eq!(time("0.1234567899"), Ok(123_456_789));
    for wrong in ["", ".", ".5", "1e3", "1.2.3", "1,5", "NaN", "99999999999", "+1", "- 1"] {
        assert!(time(wrong).is_err(), "{wrong}");
    }
}

#[test]
fn columns_stand_in_any_order_and_unknown_ones_are_passed_over() {
    let columns = Columns::of("data, id ,note,interface,time_s").unwrap();
    let row = columns.read("AA,1FF,hello,can1,2.5").unwrap();
    assert_eq!((row.time_ns, row.interface.as_str()), (2_500_000_000, "can1"));
    assert_eq!(row.frame, Frame::data(Id::Standard(0x1ff), &[0xaa]).unwrap());
    assert_eq!(Columns::of("time_s,id,data").unwrap_err(), "there is no column interface");
    let twice = Columns::of("time_s,interface,id,data,id").unwrap_err();
    assert_eq!(twice, "two columns are called id");
}

#[test]
fn a_wrong_line_says_what_is_wrong_with_it() {
    let cases = [
        ("0,can0,7E8", "3 columns instead of 9"),
        ("0,can0,7E8,0,data,2,041,,", "an odd number of hexadecimal digits"),
        ("0,can0,7E8,0,data,2,04G1,,", "a character that is no hexadecimal digit"),
        ("0,can0,7E8,0,data,3,0441,,", "length \"3\" is not that of the data"),
        ("0,can0,7E8,0,data,x,0441,,", "length \"x\" is no length"),
        ("0,can0,7E8,yes,data,,,,", "extended \"yes\" is neither 0 nor 1"),
        ("0,can0,800,0,data,,,,", "id \"800\" is too large"),
        ("0,can0,18FEBF0B,0,data,,,,", "id \"18FEBF0B\" is too large"),
        ("0,can0,20000000,1,data,,,,", "id \"20000000\" is too large"),
        ("0,can0,,0,data,,,,", "id \"\" is no hexadecimal id"),
        ("0,can0,1FFFFFFFF,1,data,,,,", "id \"1FFFFFFFF\" is no hexadecimal id"),
        (
            "0,can0,1,0,data,,000000000000000000,,",
            "data \"000000000000000000\" does not fit into a frame of this kind",
        ),
        ("0,can0,1,0,remote,2,0000,,", "data \"0000\" in a remote frame, which has none"),
        ("0,can0,1,0,remote,9,,,", "data \"\" does not fit into a frame of this kind"),
        ("0,can0,1,0,radio,,,,", "kind \"radio\" is not data, remote, fd or error"),
        ("0,,1,0,data,,,,", "the interface has no name"),
        ("now,can0,1,0,data,,,,", "time_s \"now\" is no time in seconds"),
    ];
    for (line, expected) in cases {
        assert_eq!(row(line).map_err(|e| e.to_string()), Err(expected.to_owned()), "{line}");
    }
}

#[test]
fn a_file_of_lines_becomes_a_capture_or_its_wrong_line_is_named() {
    let text =
        format!("\u{feff}# from a bench\r\n\r\n{HEAD}\r\n1,can0,1,,,,00,,\r\n1,can1,2,,,,,,");
    assert_eq!(import(&text), Ok(2));
    assert_eq!(import(&format!("{HEAD}\n")), Ok(0));
    let wrong = import(&format!("{HEAD}\n0,can0,1,,,,,,\n5,can0,1\n")).unwrap_err();
    assert!(wrong.starts_with("line 3: 3 columns instead of 9; the first line names"), "{wrong}");
    let back = import(&format!("{HEAD}\n9,can0,1,,,,,,\n7.9,can0,1,,,,,,\n")).unwrap_err();
    assert!(back.starts_with("line 3: time goes back from 0 to -1100000000"), "{back}");
    assert!(import("").unwrap_err().starts_with("line 1: the file is empty"));
    assert!(import("1,2,3").unwrap_err().starts_with("line 1: there is no column time_s"));
    assert!(import(&"x".repeat(200_000)).unwrap_err().starts_with("line 1: "));
}

proptest! {
    #[test]
    fn no_line_whatever_makes_a_reader_panic(
        head in any::<String>(), line in any::<String>(), likely in "[-0-9a-fx.,]{0,40}"
    ) {
        if let Ok(columns) = Columns::of(&head) {
            let _ = columns.read(&line);
        }
        let _ = row(&line);
        let _ = row(&likely);
    }
}
