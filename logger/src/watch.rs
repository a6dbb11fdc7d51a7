//! Watching what passes, without keeping or changing any of it: do framed lines arrive, at what
//! rate, from which board, and did the board say its closing sentence?
//!
//! This is a check of framing only (NMEA 0183: `$` body `*hh` CR LF). It feeds the status line
//! and never decides what is recorded.

use std::time::Duration;
use wheelwitness_capture::nmea::Line;
use wheelwitness_capture::serial_can::{Framer, LineDecoder, Says};

/// NMEA 0183 allows 82 characters; boards that send longer lines are still recognised.
const LINE_LENGTH_MAX: usize = 128;
/// So many bytes without one whole sentence are more than a long line and a damaged one.
const UNFRAMED_BYTES_MAX: u64 = 3 * LINE_LENGTH_MAX as u64;

/// What a watcher noticed in the bytes just shown to it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Noticed {
    /// Whole sentences with the right checksum.
    pub valid: u64,
    /// Lines that are no such sentence.
    pub damaged: u64,
    /// The pulse board's closing sentence was among them.
    pub closing: bool,
    /// The serial number of the pulse board, if it named itself and it is another one than before.
    pub stranger: Option<String>,
}

/// Watches one source.
#[derive(Debug, Default)]
pub struct Watcher {
    line: Vec<u8>,
    /// The rest of a line that began before we listened, or that is too long, is skipped.
    skipping: bool,
    since_valid_bytes: u64,
    board: Option<String>,
    /// Lines are those of a CAN adapter.
    adapter: Option<Adapter>,
}

/// What is known of the lines of a CAN adapter.
#[derive(Debug, Default)]
struct Adapter {
    framer: Framer,
    decoder: LineDecoder,
}

impl Adapter {
    fn see(&mut self, bytes: &[u8]) -> Noticed {
        let mut noticed = Noticed::default();
        let Adapter { framer, decoder } = self;
        framer.push(0, bytes, &mut |_, line| match line {
            Line::Sentence(line) => match decoder.decode(line) {
                Ok(Says::Frame { .. }) => noticed.valid += 1,
                Ok(Says::Answer | Says::Refusal) => {}
                Err(_) => noticed.damaged += 1,
            },
            Line::Fault(_) => noticed.damaged += 1,
        });
        noticed
    }
}

impl Watcher {
    /// A watcher that has seen nothing; the first line may be a fragment.
    pub fn new() -> Self {
        Watcher { skipping: true, ..Watcher::default() }
    }

    /// The same for a CAN adapter on a serial line: a frame counts as a whole sentence.
    pub fn of_adapter() -> Self {
        Watcher { adapter: Some(Adapter::default()), ..Watcher::new() }
    }

    /// The line was opened anew: what was begun is over, what comes first may be a fragment.
    pub fn reopened(&mut self) {
        self.line.clear();
        self.skipping = true;
        self.since_valid_bytes = 0;
        if let Some(adapter) = &mut self.adapter {
            *adapter = Adapter::default();
        }
    }

    /// Shows bytes as they arrived.
    pub fn see(&mut self, bytes: &[u8]) -> Noticed {
        if let Some(adapter) = &mut self.adapter {
            let noticed = adapter.see(bytes);
            self.since_valid_bytes += bytes.len() as u64;
            if noticed.valid > 0 {
                self.since_valid_bytes = 0;
            }
            return noticed;
        }
        let mut noticed = Noticed::default();
        for &byte in bytes {
            self.since_valid_bytes += 1;
            match byte {
                b'\n' => self.end_line(&mut noticed),
                b'$' => {
                    // A `$` never occurs inside a sentence: whatever came before was cut off.
                    noticed.damaged += u64::from(!self.skipping && !self.line.is_empty());
                    self.skipping = false;
                    self.line.clear();
                    self.line.push(byte);
                }
                _ if self.skipping => {}
                _ if self.line.len() == LINE_LENGTH_MAX => self.skipping = true,
                _ => self.line.push(byte),
            }
        }
        noticed
    }

    /// Whether so much came without one whole sentence that the speed of the line is in doubt.
    pub fn is_unframed(&self) -> bool {
        self.since_valid_bytes > UNFRAMED_BYTES_MAX
    }

    fn end_line(&mut self, noticed: &mut Noticed) {
        let line = std::mem::take(&mut self.line);
        let was_skipping = std::mem::replace(&mut self.skipping, false);
        match body(&line) {
            Some(body) => {
                noticed.valid += 1;
                self.since_valid_bytes = 0;
                self.listen(body, noticed);
            }
            None if was_skipping || line.is_empty() || line == b"\r" => {}
            None => noticed.damaged += 1,
        }
        self.line = line;
        self.line.clear();
    }

    fn listen(&mut self, body: &[u8], noticed: &mut Noticed) {
        let Ok(body) = std::str::from_utf8(body) else { return };
        let mut fields = body.split(',');
        match fields.next() {
            Some("PWWNZ") => noticed.closing |= fields.nth(4) == Some("C"),
            Some("PWWNI") => {
                let Some(serial) = fields.nth(4).map(str::to_owned) else { return };
                if self.board.as_ref().is_some_and(|known| *known != serial) {
                    noticed.stranger = Some(serial.clone());
                }
                self.board = Some(serial);
            }
            _ => {}
        }
    }
}

/// What stands between `$` and `*hh`, if the checksum is right.
fn body(line: &[u8]) -> Option<&[u8]> {
    let line = line.strip_suffix(b"\r").unwrap_or(line).strip_prefix(b"$")?;
    let (body, check) = line.split_at_checked(line.len().checked_sub(3)?)?;
    let check = std::str::from_utf8(check.strip_prefix(b"*")?).ok()?;
    let right = check.bytes().all(|b| b.is_ascii_hexdigit())
        && u8::from_str_radix(check, 16) == Ok(checksum(body));
    right.then_some(body)
}

/// The checksum of NMEA 0183: exclusive or of all bytes between `$` and `*`.
pub fn checksum(body: &[u8]) -> u8 {
    body.iter().fold(0, |sum, byte| sum ^ byte)
}

/// The request to a pulse board to finish: it answers with its closing sentence.
pub fn finish_request() -> Vec<u8> {
    let body = "PWWNQ";
    format!("${body}*{:02X}\r\n", checksum(body.as_bytes())).into_bytes()
}

/// How long a source may send without one whole sentence before a hint is given.
pub const HINT_AFTER: Duration = Duration::from_secs(3);

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A sentence whose checksum 47 is that of the common published example of GGA.
    const GGA: &[u8] = b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n";

    #[test]
    fn a_published_sentence_is_valid_and_a_changed_one_is_not() {
        let mut watcher = Watcher::new();
        assert_eq!(watcher.see(GGA).valid, 1);
        for at in 1..GGA.len() - 2 {
            let mut damaged = GGA.to_vec();
            damaged[at] ^= 1;
            assert_eq!(Watcher::new().see(&damaged).valid, 0, "byte {at}");
        }
    }

    #[test]
    fn a_first_fragment_is_no_damage_and_a_later_one_is() {
        let mut watcher = Watcher::new();
        let first = watcher.see(&[&GGA[20..], GGA].concat());
        assert_eq!((first.valid, first.damaged), (1, 0));
        let second = watcher.see(&[&GGA[20..], GGA, &GGA[..9], GGA].concat());
        assert_eq!((second.valid, second.damaged), (2, 2));
    }

    #[test]
    fn noise_is_unframed_and_the_next_sentence_clears_it() {
        let mut watcher = Watcher::new();
        watcher.see(&[0x55; 1000]);
        assert!(watcher.is_unframed());
        watcher.see(b"\n");
        watcher.see(GGA);
        assert!(!watcher.is_unframed());
    }

    #[test]
    fn the_closing_sentence_and_another_board_are_noticed() {
        let sentence = |body: &str| format!("${body}*{:02X}\r\n", checksum(body.as_bytes()));
        let mut watcher = Watcher::new();
        let tally = |k| sentence(&format!("PWWNZ,00,00000000,0001,00000007,{k},ABCD"));
        assert!(!watcher.see(tally('T').as_bytes()).closing);
        assert!(watcher.see(tally('C').as_bytes()).closing);
        let identity = |n| sentence(&format!("PWWNI,00,00000000,01,0001,{n},064,00,ABCD"));
        assert_eq!(watcher.see(identity("00000017").as_bytes()).stranger, None);
        watcher.reopened();
        assert_eq!(watcher.see(identity("00000017").as_bytes()).stranger, None);
        assert_eq!(watcher.see(identity("00000018").as_bytes()).stranger, Some("00000018".into()));
    }

    #[test]
    fn the_finish_request_is_itself_a_framed_sentence() {
        // 'P'^'W'^'W'^'N'^'Q' = 50^57^57^4E^51 (hex) = 4F, by hand.
        assert_eq!(finish_request(), b"$PWWNQ*4F\r\n");
    }

    proptest! {
        #[test]
        fn chunking_changes_no_count(cuts in prop::collection::vec(1usize..90, 1..60)) {
            let stream = GGA.repeat(20);
            let (mut watcher, mut rest, mut valid) = (Watcher::new(), &stream[..], 0);
            for cut in cuts.into_iter().cycle() {
                let (now, later) = rest.split_at(cut.min(rest.len()));
                valid += watcher.see(now).valid;
                rest = later;
                if rest.is_empty() { break }
            }
            prop_assert_eq!(valid, 20);
        }

        #[test]
        fn any_bytes_are_watched_without_panic(
            bytes in prop::collection::vec(any::<u8>(), 0..600),
        ) {
            Watcher::new().see(&bytes);
        }
    }
}
