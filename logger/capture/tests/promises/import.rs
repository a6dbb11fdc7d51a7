//! Wire lines become a capture, or the line that is wrong is named.

use wheelwitness_capture::decode::{Decoder, Reading, Value};
use wheelwitness_capture::import::{Extras, import_wire};
use wheelwitness_capture::read::{CaptureReader, Item};
use wheelwitness_capture::record::{RECORDER, RecordingId};
use wheelwitness_capture::storage::SimStorage;

const ID: RecordingId = RecordingId([3; 16]);

fn import(text: &str, extras: &Extras<'_>) -> Result<(SimStorage, Vec<(u16, String)>), String> {
    let storage = SimStorage::new();
    let done = import_wire(text.as_bytes(), storage.clone(), ID, extras);
    done.map(|imported| (storage, imported.sources)).map_err(|error| error.to_string())
}

fn readings(storage: SimStorage) -> Vec<Reading> {
    let (mut decoder, mut readings) = (Decoder::new(), Vec::new());
    for item in CaptureReader::from_storage(storage).unwrap() {
        let Item::Record(record) = item.unwrap() else { panic!("a hole") };
        decoder.push(&record, &mut |reading| readings.push(reading));
    }
    readings
}

#[test]
fn lines_become_records_with_their_times_and_sources() {
    let hex: String = b"$GPVTG,,,,,,,,,N*30\r\n".iter().map(|b| format!("{b:02x}")).collect();
    let (first, second) = hex.split_at(10);
    let text = format!("# a comment\r\n\n 1000 gnss {first}\n1000\t7\tFF\n2000 gnss {second}\n");
    let extras = Extras { vehicle_file: Some("format = 1\n"), simulated_clock_scale: Some(8.0) };
    let (storage, sources) = import(&text, &extras).unwrap();
    assert_eq!(sources, [(0, "gnss".to_owned()), (7, "7".to_owned())]);
    let readings = readings(storage);
    let texts: Vec<(u16, &str, &str)> = readings
        .iter()
        .filter_map(|reading| match &reading.value {
            Value::Text(text) => Some((reading.source, &text.title[..], &text.body[..])),
            _ => None,
        })
        .collect();
    let expected = [
        (RECORDER, "logger settings", "made by import-wire, not by a recorder"),
        (RECORDER, "vehicle file", "format = 1\n"),
        (RECORDER, "simulated clock scale", "8"),
        (0, "source name", "gnss"),
        (7, "source name", "7"),
    ];
    assert_eq!(texts, expected);
    let vtg = readings.iter().find(|reading| matches!(reading.value, Value::Gnss(_))).unwrap();
    assert_eq!((vtg.source, vtg.boot_ns), (0, 2000));
    assert_eq!(readings.last().unwrap().value, Value::Closed);
}

/// `t1230` and `r1230` are frames in the comments of the Linux kernel's slcan driver.
#[test]
fn a_declared_kind_decides_how_the_bytes_of_a_source_are_read() {
    let text = "source bus serial-can\n0 bus 0d74313233300d\n5 bus 72313233300d\n";
    let frames = |text: &str| {
        let read = readings(import(text, &Extras::default()).unwrap().0);
        read.iter().filter(|reading| matches!(reading.value, Value::Can(_))).count()
    };
    assert_eq!(frames(text), 2);
    assert_eq!(frames(&text.replace("serial-can", "gnss")), 0);
    let late = import("0 bus 0d\nsource bus serial-can\n", &Extras::default()).err().unwrap();
    assert!(late.starts_with("line 2: the kind of bus comes after its first bytes"), "{late}");
}

#[test]
fn the_same_lines_give_the_same_bytes() {
    let text: String =
        (0..5000_u64).map(|n| format!("{} board {n:08X}\n", n * 1_000_000)).collect();
    let both = [0, 1].map(|_| import(&text, &Extras::default()).unwrap().0);
    let names = ["segment-000001.wwc", "segment-000002.wwc"];
    assert!(names.iter().all(|name| both[0].get(name) == both[1].get(name)));
    assert!(both[0].get(names[0]).unwrap().len() > 5000 * 4);
}

#[test]
fn no_lines_are_an_empty_capture() {
    let (storage, sources) = import("# nothing\n", &Extras::default()).unwrap();
    assert!(sources.is_empty());
    assert_eq!(readings(storage).len(), 2, "the settings and the closing record");
}

#[test]
fn a_wrong_line_is_named_with_what_is_wrong() {
    let cases = [
        ("0 a 00\n0 a\n", "line 2: 2 words instead of 3"),
        ("0 a 00 00", "line 1: 4 words instead of 3"),
        ("#\n\nnow a 00", "line 3: \"now\" is no time in ns"),
        ("0.5 a 00", "line 1: \"0.5\" is no time in ns"),
        ("99999999999999999999 a 00", "line 1: \"99999999999999999999\" is no time in ns"),
        ("0 a 0", "line 1: an odd number of hexadecimal digits"),
        ("0 a 0x", "line 1: a character that is no hexadecimal digit"),
        ("0 a +1", "line 1: a character that is no hexadecimal digit"),
        ("0 a ää", "line 1: a character that is no hexadecimal digit"),
        ("5 a 00\n4 a 00", "line 2: time goes back from 5 to 4"),
        ("0 65535 00", "line 1: 65535 cannot be the number of a source"),
        ("0 007 00", "line 1: 007 cannot be the number of a source"),
        ("0 a 00\n0 0 00", "line 2: source 0 already has a name: use one or the other"),
    ];
    for (text, expected) in cases {
        let error = import(text, &Extras::default()).err().unwrap();
        assert_eq!(error, format!("{expected}; a line is: boottime_ns source hexbytes"));
    }
    let storage = SimStorage::new();
    let error = import_wire(&b"0 a \xff\xff"[..], storage, ID, &Extras::default()).unwrap_err();
    assert!(error.to_string().starts_with("line 1: not UTF-8 text"), "{error}");
}
