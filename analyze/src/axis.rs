//! One time axis: board sentences and frames of a bus in host time, microseconds from the first
//! record.

use crate::survey::{Source, Survey, readings};
use crate::ticks::{AdapterTrack, BoardTrack};
use std::collections::BTreeMap;
use wheelwitness_capture::board::{Says, Sentence};
use wheelwitness_capture::can::{Frame, Received};
use wheelwitness_capture::decode::Value;
use wheelwitness_capture::read::{CaptureReader, ReadError};
use wheelwitness_capture::sequence::Seen;
use wheelwitness_capture::storage::Storage;
use wheelwitness_driveline::clock::ClockMap;
use wheelwitness_driveline::pulse::Count;

/// Places board ticks and arrival times on the axis.
#[derive(Debug, Clone)]
pub struct Axis {
    zero_ns: i64,
    board: Option<u16>,
    maps: Vec<Option<ClockMap>>,
    track: BoardTrack,
    adapters: BTreeMap<u16, (AdapterTrack, Option<ClockMap>)>,
}

/// What a pass sees of the pulse board and of a bus, on the axis.
#[derive(Debug, Clone, PartialEq)]
pub enum Heard<'a> {
    /// The board began anew: counts do not go on.
    Reset,
    /// Sentences are missing right before the next event.
    Missing,
    /// Four counts.
    Counts {
        /// First of the four channels.
        first_channel: u8,
        /// The counts.
        counts: [Count; 4],
    },
    /// Anything else that it says.
    Says(&'a Says),
    /// A frame on a bus.
    Frame {
        /// Source in the capture.
        source: u16,
        /// The frame.
        frame: &'a Frame,
    },
}

/// 63 bits of nanoseconds, in microseconds.
const FARTHEST_US: f64 = 9.2e15;

impl Axis {
    /// The axis of a surveyed capture.
    pub fn new(survey: &Survey) -> Self {
        let board = survey.board();
        let clocks = board.and_then(|n| survey.sources.get(&n)).map(|s: &Source| &s.clocks);
        Axis {
            zero_ns: survey.span_ns.map_or(0, |s| s.0),
            board,
            maps: clocks.map_or(Vec::new(), |c| c.iter().map(|e| e.fit()).collect()),
            track: BoardTrack::default(),
            adapters: survey
                .sources
                .iter()
                .map(|(n, s)| (*n, (AdapterTrack::default(), s.adapter_clock.fit())))
                .collect(),
        }
    }

    /// An arrival on the axis, microseconds. A capture that somebody made may claim any times.
    pub fn arrival_us(&self, boot_ns: i64) -> i64 {
        boot_ns.saturating_sub(self.zero_ns) / 1_000
    }

    /// A time of the host on the axis, microseconds; no farther off than an arrival can be, so that
    /// the difference of two always has room.
    fn host_us(&self, host_s: f64) -> i64 {
        (host_s * 1e6).round().clamp(-FARTHEST_US, FARTHEST_US) as i64 - self.zero_ns / 1_000
    }

    /// Places a board sentence; None for one received before.
    fn place(&mut self, sentence: &Sentence, boot_ns: i64) -> Option<(Seen, i64)> {
        let placed = self.track.push(sentence, boot_ns / 1_000)?;
        let Some(Some(map)) = self.maps.get(placed.epoch) else {
            return Some((placed.seen, self.arrival_us(boot_ns)));
        };
        Some((placed.seen, self.host_us(map.host(placed.tick_us as f64 * 1e-6))))
    }

    /// When a frame was on the bus: by the kernel's receive time, which is what its record's
    /// arrival is; by the clock of a serial-line adapter, where it stamps.
    fn frame_us(&mut self, source: u16, received: &Received, boot_ns: i64) -> i64 {
        let arrival_us = self.arrival_us(boot_ns);
        let (Some(ms), Some((track, Some(map)))) =
            (received.adapter_ms, self.adapters.get_mut(&source))
        else {
            return arrival_us;
        };
        let host_s = map.host(track.push(ms, boot_ns / 1_000_000) as f64 * 1e-3);
        self.host_us(host_s)
    }

    /// One pass over the board's sentences and all frames: `each(axis in us, record, event)`.
    pub fn pass<S: Storage>(
        mut self,
        reader: &mut CaptureReader<S>,
        mut each: impl FnMut(i64, u64, Heard<'_>),
    ) -> Result<(), ReadError> {
        readings(
            reader,
            |reading| {
                if let Value::Can(received) = &reading.value {
                    let at_us = self.frame_us(reading.source, received, reading.boot_ns);
                    let heard = Heard::Frame { source: reading.source, frame: &received.frame };
                    return each(at_us, reading.record, heard);
                }
                if Some(reading.source) != self.board {
                    return;
                }
                if matches!(reading.value, Value::Lost(_)) {
                    self.track.sequence.source_lost();
                }
                let Value::Board(sentence) = &reading.value else { return };
                let Some((seen, at_us)) = self.place(sentence, reading.boot_ns) else { return };
                match seen {
                    Seen::Restarted { .. } => each(at_us, reading.record, Heard::Reset),
                    Seen::AfterGap { .. } => each(at_us, reading.record, Heard::Missing),
                    _ => {}
                }
                each(at_us, reading.record, event(&sentence.says));
            },
            |_| {},
        )?;
        Ok(())
    }
}

fn event(says: &Says) -> Heard<'_> {
    match says {
        Says::Counts(c) => Heard::Counts {
            first_channel: c.first_channel,
            counts: c.channels.map(|ch| Count { count: ch.count, age_us: ch.age_us }),
        },
        other => Heard::Says(other),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Found by feeding the analysis random captures.
    #[test]
    fn times_as_far_apart_as_a_capture_can_claim_have_a_place_each() {
        let survey = Survey { span_ns: Some((i64::MIN, i64::MAX)), ..Survey::default() };
        assert!(survey.duration_s().is_some_and(|s| s > 9e9));
        let axis = Axis::new(&survey);
        let [first, last] = [i64::MIN, i64::MAX].map(|boot_ns| axis.arrival_us(boot_ns));
        assert!(first < last && last.checked_sub(first).is_some());
        let [first, last] = [-1e300, 1e300].map(|host_s| axis.host_us(host_s));
        assert!(first < last && last.checked_sub(first).is_some());
    }
}
