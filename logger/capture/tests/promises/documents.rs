//! The two documents show what the code does, byte for byte.

use crate::board_sentences;
use crate::can_frames::hex;
use wheelwitness_capture::block::{self, Builder, HEADER_BYTES, MAX_PAYLOAD_BYTES, Records};
use wheelwitness_capture::can::{Frame, Id, Received};
use wheelwitness_capture::clock::Stamp;
use wheelwitness_capture::encode;
use wheelwitness_capture::read::CaptureReader;
use wheelwitness_capture::record::{KINDS, Kind, MAX_RECORD_BYTES, RecordingId, title};
use wheelwitness_capture::storage::SimStorage;

const FORMAT: &str = include_str!("../../FORMAT.md");
const BOARD: &str = include_str!("../../PULSE-BOARD.md");

/// The lines of all code blocks that are marked with `word`.
fn fenced(text: &'static str, word: &str) -> Vec<&'static str> {
    let fence = format!("```{word}\n");
    let blocks = text.split(fence.as_str()).skip(1);
    blocks.flat_map(|block| block.split("```").next().unwrap_or_default().lines()).collect()
}

/// The cells of the table rows in `text` that begin with `first`.
fn rows<'t>(text: &'t str, first: &str) -> Vec<Vec<&'t str>> {
    let lines = text.lines().filter(|line| line.starts_with('|'));
    let cells = lines.map(|line| line.trim_matches('|').split('|').map(str::trim).collect());
    cells.filter(|row: &Vec<&str>| row[0] == first).collect()
}

fn number(cell: &str) -> u64 {
    cell.parse().unwrap()
}

/// The block in `FORMAT.md` was made by a program in another language, from the tables alone.
#[test]
fn the_block_in_the_format_is_written_byte_for_byte_and_read() {
    let shown = hex(&fenced(FORMAT, "block").join(" "));
    let id = RecordingId(std::array::from_fn(|n| n as u8));
    let stamp = Stamp {
        boot_ns: 5_000_000_000,
        mono_ns: 4_000_000_000,
        wall_ns: 1_700_000_000_000_000_000,
    };
    let mut builder = Builder::new(id, 2, 40, stamp);
    assert_eq!(builder.push(0, Kind::Opened, 5_000_000_000, b"ttyUSB0"), Some(40));
    assert_eq!(builder.push(0, Kind::Bytes, 5_001_500_000, b"$PWWN"), Some(41));
    assert_eq!(builder.push(u16::MAX, Kind::Closed, 5_001_499_995, b""), Some(42));
    assert_eq!(builder.seal(), shown);
    let header = block::decode_header(&shown).unwrap();
    assert!(block::is_whole(&shown));
    let (payload, mut records) = (&shown[HEADER_BYTES..], Records::new(&header));
    let read: Vec<_> = std::iter::from_fn(|| records.next(payload)).collect();
    let told: Vec<_> = read.iter().map(|r| (r.number, r.source, r.kind, r.boot_ns)).collect();
    let expected = [
        (40, 0, Kind::Opened, 5_000_000_000),
        (41, 0, Kind::Bytes, 5_001_500_000),
        (42, u16::MAX, Kind::Closed, 5_001_499_995),
    ];
    assert_eq!(told, expected);
    let storage = SimStorage::new();
    storage.put("segment-000001.wwc", &shown);
    assert_eq!(CaptureReader::from_storage(storage).unwrap().recording(), Some(id));
}

#[test]
fn the_frame_in_the_format_is_written_byte_for_byte() {
    let data = [0x80, 0x25, 0x8d, 0x6d, 0x85, 0x75, 0xff, 0xff];
    let frame = Frame::data(Id::Extended(0x18fe_bf0b), &data).unwrap();
    let stamp_ns = Some(1_700_000_000_123_456_789);
    let received = Received { frame, stamp_ns, adapter_ms: None };
    assert_eq!(received.to_bytes(), hex(&fenced(FORMAT, "frame").join(" ")));
}

/// Check value of CRC-32C: RFC 3720 appendix B.4 gives others; E3069283 is that of the catalogue
/// of parametrised CRC algorithms, from memory.
#[test]
fn the_crc_of_blocks_is_the_published_one() {
    assert_eq!(crc32c::crc32c(b"123456789"), 0xE306_9283);
    // RFC 3720 appendix B.4, from memory: 32 bytes of zeros, of ones, and 0 to 31, read as
    // little-endian.
    assert_eq!(crc32c::crc32c(&[0; 32]), 0x8A91_36AA);
    assert_eq!(crc32c::crc32c(&[0xff; 32]), 0x62A8_AB43);
    let rising: Vec<u8> = (0..32).collect();
    assert_eq!(crc32c::crc32c(&rising), 0x46DD_794E);
}

#[test]
fn the_format_names_every_kind_title_and_limit() {
    let kinds = FORMAT.split("| kind | content |").nth(1).unwrap();
    for kind in KINDS {
        assert_eq!(rows(kinds.split("##").next().unwrap(), &(kind as u8).to_string()).len(), 1);
    }
    let titles = [
        title::VEHICLE_FILE,
        title::LOGGER_SETTINGS,
        title::CLOCK_SCALE,
        title::SOURCE_NAME,
        title::SOURCE_KIND,
        title::SOURCE_FILTERS,
    ];
    for text in titles {
        assert!(FORMAT.contains(&format!("`{text}`")), "{text}");
    }
    let plain = FORMAT.replace(',', "");
    assert!(plain.contains(&format!("payload at most {MAX_PAYLOAD_BYTES}")));
    assert!(plain.contains(&format!("varint; at most {MAX_RECORD_BYTES}")));
    assert!(FORMAT.contains(&format!("| {HEADER_BYTES} | | payload |")));
}

#[test]
fn the_boards_page_shows_every_sentence_as_it_is_written() {
    let shown = fenced(BOARD, "sentence");
    let examples = board_sentences::examples();
    assert!(shown.iter().copied().eq(examples.iter().map(|(line, _)| *line)));
    assert_eq!(fenced(BOARD, "request"), [str_of(encode::FINISH_REQUEST).trim_end()]);
}

fn str_of(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).unwrap()
}

/// The lengths in the headings, and the sums of the table of bytes a second.
#[test]
fn the_boards_page_adds_up() {
    for (line, _) in board_sentences::examples() {
        let name = if line.starts_with("$PWWNB") { "$PWWNA" } else { &line[..6] };
        let heading = BOARD.lines().find(|l| l.starts_with(&format!("### `{name}`"))).unwrap();
        assert!(heading.contains(&format!(" {} bytes", line.len() + 2)), "{heading}");
    }
    let length = |name: &str| {
        let examples = board_sentences::examples();
        examples.iter().find(|(line, _)| line.starts_with(name)).unwrap().0.len() as u64 + 2
    };
    let shown = |name: &str, column: usize| number(rows(BOARD, name).last().unwrap()[column]);
    for (column, baud, rounds) in [(1, 250_000, 100), (2, 115_200, 50)] {
        let parts = [
            ("rounds (100 or 50 a second)", rounds * (length("$PWWNA") + length("$PWWNB"))),
            ("analog", 10 * length("$PWWNV")),
            ("levels", 4 * length("$PWWNL")),
            ("identity", length("$PWWNI")),
            ("tally", length("$PWWNZ")),
            ("errors", length("$PWWNE")),
        ];
        let sum: u64 = parts.iter().map(|(_, bytes)| bytes).sum();
        let left = baud / 10 - sum;
        let edge = length("$PWWNS");
        let derived = [
            ("line (10 bits a byte)", baud / 10),
            ("sum", sum),
            ("left for switch edges", left),
            ("switch edges a second", left / edge),
            ("two dimmed lamps, 50 switch edges a second each", 2 * 50 * edge),
            ("inputs that may pulse all the time", left / (50 * edge)),
        ];
        let filled = (sum + 100 * edge) as f64 / (baud as f64 / 1000.0);
        let told = rows(BOARD, "line filled with two dimmed lamps, per cent")[0][column];
        assert_eq!(told, format!("{filled:.1}"), "{baud}");
        for (name, computed) in parts.into_iter().chain(derived) {
            assert_eq!(shown(name, column), computed, "{name} at {baud}");
        }
    }
}
