//! What goes into a capture comes out of it.

use wheelwitness_capture::clock::SimClock;
use wheelwitness_capture::read::{CaptureReader, Item};
use wheelwitness_capture::record::{Kind, Record, RecordingId};
use wheelwitness_capture::storage::SimStorage;
use wheelwitness_capture::write::{Limits, Writer};

#[test]
fn what_was_appended_is_read_back_in_order_once() {
    let (clock, storage) = (SimClock::default(), SimStorage::new());
    let id = RecordingId([7; 16]);
    let limits = Limits { segment_bytes: 4096, ..Limits::default() };
    let mut writer = Writer::create(storage.clone(), clock.clone(), id, limits).unwrap();
    let mut expected = Vec::new();
    for number in 0..1000_u64 {
        clock.advance_ns(10_000_000);
        let bytes = vec![number as u8; (number % 70) as usize];
        let boot_ns = number as i64 * 10_000_000 - 5;
        assert_eq!(writer.append(number as u16 % 3, Kind::Bytes, boot_ns, &bytes), Ok(number));
        writer.pump();
        expected.push(Record {
            number,
            source: number as u16 % 3,
            boot_ns,
            kind: Kind::Bytes,
            bytes,
        });
    }
    let (progress, _) = writer.close();
    assert_eq!(progress.durable_records, 1001);
    let mut reader = CaptureReader::from_storage(storage).unwrap();
    assert_eq!(reader.recording(), Some(id));
    assert!(reader.segments().len() > 5);
    let items: Vec<Item> = reader.by_ref().map(Result::unwrap).collect();
    let records: Vec<Item> = expected.into_iter().map(Item::Record).collect();
    assert_eq!(items[..1000], records);
    assert_eq!(items.len(), 1001);
    assert!(reader.is_closed());
    reader.rewind();
    assert_eq!(reader.map(Result::unwrap).collect::<Vec<_>>(), items);
}
