//! The few bytes that a CAN adapter on a serial line needs: close, bit rate, times, listen. It is
//! never opened in any other way than to listen; one that cannot stays closed.

use super::line::{Listening, QUIET, REQUEST_WAIT};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::{Instant, timeout, timeout_at};
use wheelwitness_capture::serial_can::{CLOSE, LISTEN, TIMESTAMPS, set_bit_rate};

/// How long an adapter may take to answer a command. Many never answer.
const ANSWER_WAIT: Duration = Duration::from_millis(500);
/// How long an adapter that was left open may go on sending after it is told to close.
const CLOSING_MAX: Duration = Duration::from_secs(1);

/// What an adapter said to a command: the byte that ends its answer.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Answer {
    Accepted,
    Refused,
    None,
}

impl Listening<'_> {
    /// Makes the adapter listen; `Err` says why the line is gone. Whatever it says is kept.
    pub(super) async fn open_adapter(&mut self) -> Result<(), String> {
        let name = self.source.settings.port.display().to_string();
        let bit_rate = self.source.settings.bit_rate.unwrap_or_default();
        self.say(CLOSE).await;
        self.hush().await?;
        let set = set_bit_rate(bit_rate).unwrap_or_default();
        if self.ask(&set).await? == Answer::Refused {
            self.source.note(&format!(
                "the adapter refuses {bit_rate} bit/s: choose a bit rate that it knows, that of \
                 the bus, as in {name},115200,serial-can,250000"
            ));
        }
        if self.ask(TIMESTAMPS).await? == Answer::Refused {
            self.source.note_quietly("the adapter sends no times of its own");
        }
        match self.ask(LISTEN).await? {
            Answer::Accepted => self.source.note_quietly("the adapter only listens"),
            Answer::None => self.source.note_quietly("asked to listen, the adapter says nothing"),
            Answer::Refused => self.source.note(
                "the adapter refuses to listen only, and stays closed: opened in another way it \
                 would acknowledge frames and signal errors. Take one whose firmware can listen \
                 only",
            ),
        }
        Ok(())
    }

    /// Tells the adapter to leave the bus.
    pub(super) async fn close_adapter(&mut self) {
        self.say(CLOSE).await;
    }

    async fn say(&mut self, command: &[u8]) {
        // A line that takes nothing is noticed by reading from it.
        let _ = timeout(REQUEST_WAIT, self.port.write_all(command)).await;
    }

    /// Takes what still comes until nothing does.
    async fn hush(&mut self) -> Result<(), String> {
        let until = Instant::now() + CLOSING_MAX;
        while Instant::now() < until {
            let Ok(read) = timeout(QUIET, self.port.read(&mut self.buffer)).await else { break };
            self.take(read)?;
        }
        Ok(())
    }

    async fn ask(&mut self, command: &[u8]) -> Result<Answer, String> {
        self.say(command).await;
        let until = Instant::now() + ANSWER_WAIT;
        loop {
            let Ok(read) = timeout_at(until, self.port.read(&mut self.buffer)).await else {
                return Ok(Answer::None);
            };
            let length = read.as_ref().map_or(0, |length| *length);
            let answer = answer(&self.buffer[..length]);
            self.take(read)?;
            if answer != Answer::None {
                return Ok(answer);
            }
        }
    }
}

/// A carriage return accepts, a BEL refuses; frames may follow at once.
fn answer(bytes: &[u8]) -> Answer {
    match bytes.iter().find(|byte| matches!(byte, b'\r' | 7)) {
        Some(b'\r') => Answer::Accepted,
        Some(_) => Answer::Refused,
        None => Answer::None,
    }
}
