//! Were all sentences of a board received? Running numbers, tallies and boot numbers tell.
//!
//! The running number is the low byte of the sentence's *index*. A tally states how many sentences
//! there were since the start, so that losses are exact between two tallies (and from a start that
//! was heard to the first tally) even when more than 255 sentences in a row are missing. `lost` is
//! never counted up: it is what the indices say was sent minus what was received, so a late
//! sentence or a tally corrects it.

use crate::board::{Errors, Says, Sentence};

/// A sentence this many indices late, or less, is taken as doubled or reordered. Further back it
/// could be one of a board that started anew: at rest they are all alike.
const LATE_SENTENCES: i64 = 32;
/// ... unless its tick is older than the newest by more than this, in microseconds.
const LATE_US: i32 = 2_000_000;
/// A tick this much older than the newest is no sign of a new start yet, in microseconds: some
/// firmware may take ticks a little before it takes numbers.
const TICK_SLACK_US: i64 = 100_000;
/// Ticks and the host's clock may differ by this much between two sentences, in microseconds:
/// longer than any stall of a line that loses nothing.
const HOST_SLACK_US: u32 = 10_000_000;
/// After a silence longer than this, in microseconds, a tick does not tell whether it went back.
const LONGEST_TOLD_US: i64 = 2_000_000_000;
/// Errors that are not zero are sent once a second: one that comes later than this after the
/// first sentence is news, in microseconds.
const ERRORS_PERIOD_US: u32 = 1_100_000;

/// What a sentence meant for the sequence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seen {
    /// The one expected, or the first of all.
    InOrder,
    /// Before it, `lost` sentences are missing (so far).
    AfterGap {
        /// How many.
        lost: u64,
    },
    /// It was received before: ignore it.
    Doubled,
    /// It was missing before and came late.
    Late,
    /// The board started anew: counts and ticks begin again. Its first `lost` sentences are
    /// missing.
    Restarted {
        /// How many.
        lost: u64,
    },
}

/// What became of a board's sentences.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Totals {
    /// Received, doubled ones once.
    pub received: u64,
    /// Sent between the first and the last one received, but not received.
    pub lost: u64,
    /// Received again.
    pub doubled: u64,
    /// Received out of order.
    pub late: u64,
    /// Times that the board started anew.
    pub restarts: u64,
    /// Never sent because the line was full, as far as the board told.
    pub dropped_by_board: u64,
    /// Switch edges that got no sentence, as far as the board told.
    pub switch_edges_unsent: u64,
    /// Channels whose edge capture overran; bit 0 is channel 1.
    pub overrun_channels: u8,
    /// Tallies that contradict the running numbers since the tally before: the firmware is wrong.
    pub contradictions: u64,
}

/// Follows the sentences of one board, in the order in which they were received.
#[derive(Debug, Clone)]
pub struct Sequence {
    ended: Totals,
    boot: Option<Boot>,
    /// A boot that may go on: ticks went back, but no boot number has yet told that it ended.
    doubtful: Option<Boot>,
    source_gap: bool,
}

impl Default for Sequence {
    /// A sequence that expects a board which may have been running for long.
    fn default() -> Self {
        let ended = Totals::default();
        Sequence { ended, boot: None, doubtful: None, source_gap: true }
    }
}

impl Sequence {
    /// As [`default`](Self::default).
    pub fn new() -> Self {
        Self::default()
    }

    /// The source was lost: should the board start anew now, what it sends before the source is
    /// found again is not counted as lost.
    pub fn source_lost(&mut self) {
        self.source_gap = true;
    }

    /// Takes the next sentence received, when nothing is known of its arrival: a new start shows
    /// when ticks go back, or when the board tells its boot number.
    pub fn push(&mut self, sentence: &Sentence) -> Seen {
        self.take(sentence, None)
    }

    /// Takes the next sentence received, which arrived at `host_us` of the host's own clock: a new
    /// start also shows when ticks go elsewhere than time does.
    pub fn push_at(&mut self, sentence: &Sentence, host_us: i64) -> Seen {
        self.take(sentence, Some(host_us))
    }

    fn take(&mut self, sentence: &Sentence, host_us: Option<i64>) -> Seen {
        let told = boot_number(&sentence.says);
        if let (Some(told), Some(boot)) = (told, &mut self.boot)
            && boot.number.is_some_and(|number| number != told)
        {
            self.end_doubtful();
            return self.restart(sentence, host_us);
        }
        let Some(boot) = &mut self.boot else {
            self.boot = Some(Boot::joined(sentence, host_us));
            self.source_gap = false;
            return Seen::InOrder;
        };
        if boot.breaks_off(sentence, host_us) {
            self.end_doubtful();
            let old = self.boot.take();
            let seen = self.restart(sentence, host_us);
            self.doubtful = old;
            return self.settle(told).unwrap_or(seen);
        }
        let seen = boot.push(sentence, host_us);
        self.source_gap = false;
        boot.number = boot.number.or(told);
        self.settle(told).unwrap_or(seen)
    }

    /// All boots together.
    pub fn totals(&self) -> Totals {
        let boots = [&self.doubtful, &self.boot].into_iter().flatten();
        boots.fold(self.ended, |sum, boot| sum.plus(&boot.totals()))
    }

    /// Whether the last sentence received is a closing tally: then nothing was lost after it.
    pub fn is_closed(&self) -> bool {
        self.boot.as_ref().is_some_and(|boot| boot.closed)
    }

    /// Whether the losses of the running boot are exact up to its last tally, and a tally came.
    pub fn is_anchored(&self) -> bool {
        self.boot.as_ref().is_some_and(|boot| boot.tally_offset.is_some())
    }

    /// The running boot's number, once the board told it.
    pub fn boot_number(&self) -> Option<u16> {
        self.boot.as_ref().and_then(|boot| boot.number)
    }

    fn restart(&mut self, sentence: &Sentence, host_us: Option<i64>) -> Seen {
        if let Some(old) = self.boot.take() {
            self.ended = self.ended.plus(&old.totals());
        }
        let heard = !std::mem::replace(&mut self.source_gap, false);
        let begin = if heard { Boot::heard } else { Boot::joined };
        let boot = begin(sentence, host_us);
        self.ended.restarts += 1;
        let lost = boot.totals().lost;
        self.boot = Some(boot);
        Seen::Restarted { lost }
    }

    fn end_doubtful(&mut self) {
        if let Some(old) = self.doubtful.take() {
            self.ended = self.ended.plus(&old.totals());
        }
    }

    /// Once a boot number is told, a doubtful boot has ended, or it was never interrupted: the
    /// ticks went back because more than half their period passed unheard.
    fn settle(&mut self, told: Option<u16>) -> Option<Seen> {
        let told = told?;
        let old = self.doubtful.as_ref()?;
        if old.number != Some(told) {
            self.end_doubtful();
            return None;
        }
        let (mut old, new) = (self.doubtful.take()?, self.boot.take()?);
        let before = old.totals().lost;
        old.go_on_as(new);
        let lost = old.totals().lost - before;
        self.ended.restarts -= 1;
        self.boot = Some(old);
        Some(Seen::AfterGap { lost })
    }
}

impl Totals {
    fn plus(self, other: &Totals) -> Totals {
        Totals {
            received: self.received + other.received,
            lost: self.lost + other.lost,
            doubled: self.doubled + other.doubled,
            late: self.late + other.late,
            restarts: self.restarts + other.restarts,
            dropped_by_board: self.dropped_by_board + other.dropped_by_board,
            switch_edges_unsent: self.switch_edges_unsent + other.switch_edges_unsent,
            overrun_channels: self.overrun_channels | other.overrun_channels,
            contradictions: self.contradictions + other.contradictions,
        }
    }
}

/// One run of a board, from a start to the next.
#[derive(Debug, Clone)]
struct Boot {
    number: Option<u16>,
    /// Index from which losses are counted, and index of the sentence expected next.
    first: i64,
    next: i64,
    /// Index of the first sentence received.
    earliest: i64,
    /// What the tallies count, minus one, minus the index; known from the first tally on.
    tally_offset: Option<i64>,
    heard_start: bool,
    first_tick: u32,
    newest_tick: u32,
    /// When its sentence arrived, if that is known.
    newest_host_us: Option<i64>,
    /// The last sentence with each running number, and its index.
    recent: Box<[Option<(i64, Sentence)>; 256]>,
    errors: Option<Errors>,
    told: Totals,
    closed: bool,
}

impl Boot {
    /// A boot that may have been running before.
    fn joined(sentence: &Sentence, host_us: Option<i64>) -> Self {
        Self::begin(sentence, host_us, false)
    }

    /// A boot whose start fell into the recording.
    fn heard(sentence: &Sentence, host_us: Option<i64>) -> Self {
        Self::begin(sentence, host_us, true)
    }

    fn begin(sentence: &Sentence, host_us: Option<i64>, heard_start: bool) -> Self {
        let index = i64::from(sentence.sequence);
        let mut boot = Boot {
            number: boot_number(&sentence.says),
            first: if heard_start { 0 } else { index },
            next: index,
            earliest: index,
            tally_offset: None,
            heard_start,
            first_tick: sentence.tick,
            newest_tick: sentence.tick,
            newest_host_us: host_us,
            recent: Box::new([None; 256]),
            errors: None,
            told: Totals::default(),
            closed: false,
        };
        boot.take(index, sentence, host_us);
        boot
    }

    fn totals(&self) -> Totals {
        let sent = (self.next - self.first).max(0) as u64;
        Totals { lost: sent.saturating_sub(self.told.received), ..self.told }
    }

    /// Whether the sentence seems to be of another boot. Ticks go with time and never back, but
    /// for switches (theirs is the edge's), doubled and late sentences.
    fn breaks_off(&self, sentence: &Sentence, host_us: Option<i64>) -> bool {
        let ahead = i64::from(-age_us(self.newest_tick, sentence.tick));
        let hosts = host_us.zip(self.newest_host_us);
        let waited = hosts.map(|(now, then)| now.saturating_sub(then));
        let back = ahead < -TICK_SLACK_US && waited.is_none_or(|us| us < LONGEST_TOLD_US);
        // Modulo 2^32, as ticks are.
        let elsewhere =
            waited.is_some_and(|us| (ahead.wrapping_sub(us) as i32).unsigned_abs() > HOST_SLACK_US);
        let own_tick = !matches!(sentence.says, Says::Switch(_));
        let known = self.is_doubled(sentence) || self.late_index(sentence).is_some();
        (back || elsewhere) && own_tick && !known
    }

    fn push(&mut self, sentence: &Sentence, host_us: Option<i64>) -> Seen {
        if self.is_doubled(sentence) {
            self.told.doubled += 1;
            return Seen::Doubled;
        }
        if let Some(index) = self.late_index(sentence) {
            self.told.late += 1;
            self.first = self.first.min(index);
            self.take(index, sentence, host_us);
            return Seen::Late;
        }
        let before = self.totals().lost;
        let ahead = sentence.sequence.wrapping_sub(self.next as u8);
        self.take(self.next + i64::from(ahead), sentence, host_us);
        match self.totals().lost.saturating_sub(before) {
            0 => Seen::InOrder,
            lost => Seen::AfterGap { lost },
        }
    }

    fn is_doubled(&self, sentence: &Sentence) -> bool {
        let slot = &self.recent[usize::from(sentence.sequence)];
        let recent = self.next - LATE_SENTENCES;
        slot.as_ref().is_some_and(|(index, before)| *index >= recent && before == sentence)
    }

    /// The index of a sentence that was passed over a short while ago.
    fn late_index(&self, sentence: &Sentence) -> Option<i64> {
        let behind = i64::from((self.next as u8).wrapping_sub(sentence.sequence));
        let index = self.next - behind;
        let slot = &self.recent[usize::from(sentence.sequence)];
        let missing = slot.as_ref().is_none_or(|(taken, _)| *taken != index);
        let recent = (0..=LATE_US).contains(&age_us(self.newest_tick, sentence.tick));
        ((1..=LATE_SENTENCES).contains(&behind) && missing && recent).then_some(index)
    }

    fn take(&mut self, index: i64, sentence: &Sentence, host_us: Option<i64>) {
        self.recent[usize::from(sentence.sequence)] = Some((index, *sentence));
        self.told.received += 1;
        if index >= self.next {
            self.next = index + 1;
            self.closed = false;
            let older_edge = matches!(sentence.says, Says::Switch(_))
                && age_us(self.newest_tick, sentence.tick) > 0;
            if !older_edge {
                self.newest_tick = sentence.tick;
                self.newest_host_us = host_us;
            }
        }
        match &sentence.says {
            Says::Tally(tally) => {
                self.anchor(index, tally.sent);
                self.closed = tally.closing;
            }
            Says::Errors(errors) => self.take_errors(sentence.tick, errors),
            _ => {}
        }
    }

    /// A tally tells how many sentences there were since the tally before, or since the start.
    fn anchor(&mut self, index: i64, sent: u32) {
        let Some(offset) = self.tally_offset else {
            let offset = i64::from(sent) - 1 - index;
            if self.heard_start {
                self.first = self.earliest.min(-offset);
            }
            self.tally_offset = Some(offset);
            return;
        };
        // Modulo 2^32, as the tally itself.
        let ahead = i64::from(sent.wrapping_sub(1).wrapping_sub((index + offset) as u32) as i32);
        if ahead < 0 || ahead % 256 != 0 {
            self.told.contradictions += 1;
            return;
        }
        self.next += ahead;
        self.shift_recent(ahead);
    }

    fn shift_recent(&mut self, ahead: i64) {
        for (taken, _) in self.recent.iter_mut().flatten() {
            *taken += ahead;
        }
    }

    /// Adds what is new. The first errors of a board that may have been running for long are
    /// history, unless they would have been told before.
    fn take_errors(&mut self, tick: u32, errors: &Errors) {
        let history = !self.heard_start && tick.wrapping_sub(self.first_tick) < ERRORS_PERIOD_US;
        let before = self.errors.unwrap_or(if history { *errors } else { Errors::default() });
        let new = |now: u16, then: u16| u64::from(now.wrapping_sub(then));
        self.told.dropped_by_board += new(errors.dropped, before.dropped);
        self.told.switch_edges_unsent +=
            new(errors.switch_edges_unsent, before.switch_edges_unsent);
        self.told.overrun_channels |= errors.overrun_channels & !before.overrun_channels;
        self.errors = Some(*errors);
    }

    /// `new` turned out to be this boot, after a long silence.
    fn go_on_as(&mut self, new: Boot) {
        // The lowest indices that the running numbers allow, unless tallies tell.
        let lowest = (self.next - new.earliest).max(0) as u64;
        let lowest = lowest.next_multiple_of(256) as i64;
        let told = self.tally_offset.zip(new.tally_offset).map(|(old, new)| new - old);
        let ahead = told.filter(|ahead| *ahead >= lowest).unwrap_or(lowest);
        self.told = self.told.plus(&new.told);
        self.next = new.next + ahead;
        self.tally_offset = self.tally_offset.or(new.tally_offset.map(|offset| offset - ahead));
        self.newest_tick = new.newest_tick;
        self.newest_host_us = new.newest_host_us;
        self.recent = new.recent;
        self.shift_recent(ahead);
        self.errors = new.errors.or(self.errors);
        self.closed = new.closed;
    }
}

/// How much earlier `tick` is than `newest`; negative if later. Ticks wrap after 71.6 minutes.
fn age_us(newest: u32, tick: u32) -> i32 {
    newest.wrapping_sub(tick) as i32
}

fn boot_number(says: &Says) -> Option<u16> {
    match says {
        Says::Identity(identity) => Some(identity.boot_number),
        Says::Tally(tally) => Some(tally.boot_number),
        _ => None,
    }
}
