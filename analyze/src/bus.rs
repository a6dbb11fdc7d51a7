//! What frames on a bus say about the vehicle, by the signals of its file.

use crate::survey::Survey;
use wheelwitness_capture::can::{Frame, Id};
use wheelwitness_driveline::rate::{Rated, rated};
use wheelwitness_driveline::signal::{Frame as Bits, Said, Sample, SignalDecoder};
use wheelwitness_driveline::vehicle::{Origin, Vehicle};

/// One signal, followed.
#[derive(Debug, Clone)]
struct Entry {
    decoder: SignalDecoder,
    /// The source that it must come from; None for any.
    source: Option<Option<u16>>,
    role: Role,
    /// Who sent it first: another sender of the same message is kept out.
    sender: Option<(u16, u8)>,
}

/// What a signal is to the analysis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Turns at a place: its number in the list of rated places.
    Turns(usize),
    /// State of a switch: its number among those on a bus.
    State(usize),
}

/// The signals of a vehicle.
#[derive(Debug, Clone)]
pub struct Bus {
    entries: Vec<Entry>,
    rated: Vec<Rated>,
}

impl Bus {
    /// Signals of a vehicle in a surveyed capture. A source that is named and not in the capture
    /// is never heard.
    pub fn new(vehicle: &Vehicle, survey: &Survey) -> Self {
        let rated = rated(vehicle);
        let number = |name: &str| {
            survey.sources.iter().find(|(_, s)| s.info.name == name).map(|(number, _)| *number)
        };
        let turns = rated.iter().enumerate().map(|(k, r)| (r.signal, Role::Turns(k)));
        let on_bus = vehicle.lines().filter_map(|l| match l.origin {
            Origin::Bus(signal) => Some(signal),
            Origin::Board(_) => None,
        });
        let states = on_bus.enumerate().map(|(k, signal)| (signal, Role::State(k)));
        let entry = |(signal, role): (usize, Role)| {
            let signal = &vehicle.signals[signal];
            Entry {
                decoder: SignalDecoder::new(signal),
                source: signal.source.as_deref().map(number),
                role,
                sender: None,
            }
        };
        let entries = turns.chain(states).map(entry).collect();
        Bus { entries, rated }
    }

    /// The places at which signals measure turns.
    pub fn rated(&self) -> &[Rated] {
        &self.rated
    }

    /// Tells what a frame says: `each(what the signal is, sample)`.
    pub fn hear(&mut self, source: u16, frame: &Frame, mut each: impl FnMut(Role, Sample)) {
        let (Frame::Data { id, .. } | Frame::Fd { id, .. }) = frame else { return };
        let extended = matches!(id, Id::Extended(_));
        let bits = Bits { id: id.number(), extended, data: frame.payload() };
        for e in &mut self.entries {
            if e.source.is_some_and(|wanted| wanted != Some(source)) {
                continue;
            }
            let Some(sample) = e.decoder.decode(&bits) else { continue };
            // The lowest byte of an identifier is the address that sent it, or the responder.
            let sender = (source, id.number().to_le_bytes()[0]);
            if *e.sender.get_or_insert(sender) == sender {
                each(e.role, sample);
            }
        }
    }
}

/// The state that a sample tells, if it tells one.
pub fn state(sample: &Sample) -> Option<bool> {
    match sample.sound() {
        Some(Said::State(on)) => Some(on),
        _ => None,
    }
}
