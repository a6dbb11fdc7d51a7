//! Simulated drives as captures.

use wheelwitness_capture::clock::{SimClock, Stamp};
use wheelwitness_capture::record::{Kind, RecordingId, title};
use wheelwitness_capture::storage::SimStorage;
use wheelwitness_capture::write::{Limits, Writer};
use wheelwitness_rig::{Content, Run, Source};

/// A capture of a run as a recorder would have made it.
pub fn capture(run: &Run) -> SimStorage {
    let clock = SimClock::default();
    let storage = SimStorage::new();
    let at = |ns: i64| Stamp { boot_ns: ns, mono_ns: ns, wall_ns: ns };
    clock.set(at(run.wire.first().map_or(0, |c| c.boot_ns)));
    let id = RecordingId([7; 16]);
    let mut writer =
        Writer::create(storage.clone(), clock.clone(), id, Limits::default()).expect("room");
    for source in [Source::Board, Source::Gnss, Source::Can] {
        writer.append_text(source as u16, title::SOURCE_NAME, source.name()).expect("room");
    }
    for chunk in &run.wire {
        clock.set(at(chunk.boot_ns));
        let kind = match chunk.content {
            Content::Bytes => Kind::Bytes,
            Content::Frame => Kind::CanFrame,
            Content::Losses => Kind::Losses,
        };
        writer.append(chunk.source as u16, kind, chunk.boot_ns, &chunk.bytes).expect("room");
        writer.pump();
    }
    writer.close();
    storage
}
