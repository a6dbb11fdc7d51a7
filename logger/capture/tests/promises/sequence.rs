//! Losses, doublings and reorderings of a board's sentences are counted exactly.

use proptest::prelude::*;
use wheelwitness_capture::board::Channel;
use wheelwitness_capture::board::{Counts, Errors, Identity, Says, Sentence, Switch, Tally};
use wheelwitness_capture::sequence::{Seen, Sequence, Totals};

/// A board that sends 200 sentences a second and a tally and an identity once a second.
struct Board {
    boot_number: u16,
    sent: u32,
    tick: u32,
}

impl Board {
    fn booted(boot_number: u16) -> Self {
        Board { boot_number, sent: 0, tick: 1000 }
    }

    fn send(&mut self) -> Sentence {
        let says = match self.sent % 200 {
            0 => Says::Identity(Identity {
                wire_version: 1,
                boot_number: self.boot_number,
                serial: 7,
                rounds_per_s: 100,
                capabilities: 0,
            }),
            100 => self.tally(false),
            n if n % 17 == 3 => {
                Says::Switch(Switch { input: 1, high: n % 2 == 0, edges: n as u16 })
            }
            _ => Says::Counts(Counts {
                first_channel: 1,
                channels: [Channel { count: self.sent as u16, age_us: None }; 4],
            }),
        };
        self.say(says)
    }

    fn tally(&self, closing: bool) -> Says {
        Says::Tally(Tally { boot_number: self.boot_number, sent: self.sent + 1, closing })
    }

    fn say(&mut self, says: Says) -> Sentence {
        let sentence = Sentence { sequence: self.sent as u8, tick: self.tick, says };
        self.sent += 1;
        self.tick = self.tick.wrapping_add(5000);
        sentence
    }

    /// Everything up to and with the closing tally.
    fn run(&mut self, sentences: usize) -> Vec<Sentence> {
        let mut all: Vec<Sentence> = (0..sentences).map(|_| self.send()).collect();
        let closing = self.tally(true);
        all.push(self.say(closing));
        all
    }
}

fn totals(sentences: &[Sentence]) -> Totals {
    let mut sequence = Sequence::new();
    for sentence in sentences {
        sequence.push(sentence);
    }
    sequence.totals()
}

#[test]
fn an_undisturbed_board_loses_nothing() {
    let sentences = Board::booted(3).run(3000);
    let expected = Totals { received: 3001, ..Totals::default() };
    assert_eq!(totals(&sentences), expected);
}

#[test]
fn the_closing_tally_closes() {
    let mut sequence = Sequence::new();
    for sentence in Board::booted(3).run(300) {
        assert!(!sequence.is_closed());
        sequence.push(&sentence);
    }
    assert!(sequence.is_closed() && sequence.is_anchored());
    assert_eq!(sequence.boot_number(), Some(3));
}

#[test]
fn a_tick_that_wraps_is_no_restart() {
    let mut board = Board { boot_number: 1, sent: 0, tick: u32::MAX - 700_000 };
    assert_eq!(totals(&board.run(1000)), Totals { received: 1001, ..Totals::default() });
}

#[test]
fn a_silence_longer_than_half_a_tick_period_is_a_gap_not_a_restart() {
    let mut board = Board::booted(9);
    let mut sentences: Vec<Sentence> = (0..450).map(|_| board.send()).collect();
    for _ in 0..600_000 {
        board.send();
    }
    sentences.extend(board.run(450));
    let expected = Totals { received: 901, lost: 600_000, ..Totals::default() };
    assert_eq!(totals(&sentences), expected);
}

/// The new tick looks later than the old one; only the host's clock shows that it is not.
#[test]
fn a_restart_whose_ticks_seem_to_go_on_is_seen_by_the_hosts_clock() {
    let mut old = Board { boot_number: 1, sent: 0, tick: u32::MAX / 4 * 3 };
    let mut sentences = old.run(349);
    // The board's first sentence, with its boot number, is lost.
    sentences.extend(&Board::booted(2).run(600)[1..]);
    let mut sequence = Sequence::new();
    for (sentence, n) in sentences.iter().zip(0..) {
        sequence.push_at(sentence, n * 5000);
    }
    let expected = Totals { received: 350 + 600, lost: 1, restarts: 1, ..Totals::default() };
    assert_eq!(sequence.totals(), expected);
}

#[test]
fn with_the_hosts_clock_a_silence_of_any_length_is_a_gap() {
    for silence in [100, 3_000, 430_000, 859_000, 2_000_000] {
        let mut board = Board::booted(9);
        let mut sequence = Sequence::new();
        let mut host = 0;
        for n in 0..silence + 900 {
            let sentence = board.send();
            host += 5001;
            if !(450..450 + silence).contains(&n) {
                sequence.push_at(&sentence, host);
            }
        }
        let expected = Totals { received: 900, lost: silence, ..Totals::default() };
        assert_eq!(sequence.totals(), expected, "after {silence} sentences");
    }
}

/// A switch edge's tick is its own, but it is as good a sign of what came before it as any.
#[test]
fn a_sentence_overtaken_by_a_switch_edge_is_late() {
    let mut sentences = Board::booted(1).run(600);
    let edge = sentences.iter().position(|s| matches!(s.says, Says::Switch(_))).unwrap();
    sentences.swap(edge, edge - 1);
    let expected = Totals { received: 601, late: 1, ..Totals::default() };
    assert_eq!(totals(&sentences), expected);
}

#[test]
fn what_a_restarted_board_sent_while_the_source_was_gone_is_not_lost() {
    let mut sequence = Sequence::new();
    Board::booted(4).run(250).iter().for_each(|s| _ = sequence.push(s));
    sequence.source_lost();
    let second = Board::booted(5).run(999);
    assert!(matches!(sequence.push(&second[150]), Seen::Restarted { lost: 0 }));
    second[151..].iter().for_each(|s| _ = sequence.push(s));
    let expected = Totals { received: 251 + 850, restarts: 1, ..Totals::default() };
    assert_eq!(sequence.totals(), expected);
}

#[test]
fn the_first_sentences_of_a_restart_that_was_heard_are_lost_when_missing() {
    let mut sentences = Board::booted(4).run(250);
    sentences.extend(&Board::booted(5).run(999)[600..]);
    let expected = Totals { received: 251 + 400, lost: 600, restarts: 1, ..Totals::default() };
    assert_eq!(totals(&sentences), expected);
}

#[test]
fn errors_told_at_once_by_a_running_board_are_history_and_later_ones_are_news() {
    let errors = |dropped| Says::Errors(Errors { dropped, ..Errors::default() });
    let mut board = Board { boot_number: 1, sent: 77, tick: 5 };
    let mut sequence = Sequence::new();
    sequence.push(&board.send());
    sequence.push(&board.say(errors(65_000)));
    assert_eq!(sequence.totals().dropped_by_board, 0);
    sequence.push(&board.say(errors(65_001)));
    sequence.push(&board.say(errors(4)));
    assert_eq!(sequence.totals().dropped_by_board, 540);
    let mut late = Sequence::new();
    late.push(&board.send());
    board.tick += 2_000_000;
    late.push(&board.say(errors(3)));
    assert_eq!(late.totals().dropped_by_board, 3);
}

#[test]
fn a_tally_that_contradicts_the_running_numbers_is_told() {
    let mut board = Board::booted(1);
    let mut sequence = Sequence::new();
    for wrong in [0, 3, 0, 256] {
        board.sent += wrong;
        let tally = board.tally(false);
        board.sent -= wrong;
        sequence.push(&board.say(tally));
    }
    let expected = Totals { received: 4, lost: 256, contradictions: 1, ..Totals::default() };
    assert_eq!(sequence.totals(), expected);
}

/// Firmware that begins its running numbers anywhere is followed all the same.
#[test]
fn running_numbers_and_tallies_need_not_begin_together() {
    let shifted = |sentences: &[Sentence]| -> Vec<Sentence> {
        let shift = |s: &Sentence| Sentence { sequence: s.sequence.wrapping_add(77), ..*s };
        sentences.iter().map(shift).collect()
    };
    let first = shifted(&Board::booted(1).run(1000));
    let second = shifted(&Board::booted(2).run(1000));
    let whole = [&first[..], &second[..]].concat();
    let expected = Totals { received: 2 * 1001, restarts: 1, ..Totals::default() };
    assert_eq!(totals(&whole), expected);
    let heard = [&first[..400], &first[900..], &second[300..]].concat();
    let expected =
        Totals { received: 501 + 701, lost: 500 + 300, restarts: 1, ..Totals::default() };
    assert_eq!(totals(&heard), expected);
}

/// What happens to a stretch of sentences on their way.
#[derive(Debug, Clone)]
enum Mishap {
    Pass(usize),
    Lose(usize),
    Double,
    Swap,
    Reset,
}

fn mishaps() -> impl Strategy<Value = Vec<Mishap>> {
    let mishap = prop_oneof![
        4 => (1..400_usize).prop_map(Mishap::Pass),
        2 => (1..10_usize).prop_map(Mishap::Lose),
        1 => (200..3000_usize).prop_map(Mishap::Lose),
        2 => Just(Mishap::Double),
        2 => Just(Mishap::Swap),
        1 => Just(Mishap::Reset),
    ];
    proptest::collection::vec(mishap, 1..40)
}

/// Sends sentences through the mishaps; returns what arrives, and what truly happened.
fn disturbed(mishaps: &[Mishap]) -> (Vec<Sentence>, Totals) {
    let mut board = Board::booted(1);
    let (mut arrived, mut truth) = (Vec::new(), Totals::default());
    let pass = |board: &mut Board, n: usize, truth: &mut Totals, arrived: &mut Vec<_>| {
        (0..n).for_each(|_| arrived.push(board.send()));
        truth.received += n as u64;
    };
    // Between mishaps a full second arrives, with a tally, so that each is told from the next.
    pass(&mut board, 250, &mut truth, &mut arrived);
    for mishap in mishaps {
        match *mishap {
            Mishap::Pass(n) => pass(&mut board, n, &mut truth, &mut arrived),
            Mishap::Lose(n) => {
                (0..n).for_each(|_| _ = board.send());
                truth.lost += n as u64;
            }
            Mishap::Double => {
                arrived.extend(arrived.last().copied());
                truth.doubled += 1;
            }
            Mishap::Swap => {
                pass(&mut board, 2, &mut truth, &mut arrived);
                let end = arrived.len();
                arrived.swap(end - 1, end - 2);
                truth.late += 1;
            }
            Mishap::Reset => {
                board = Board::booted(board.boot_number + 1);
                truth.restarts += 1;
                pass(&mut board, 1, &mut truth, &mut arrived);
            }
        }
        pass(&mut board, 250, &mut truth, &mut arrived);
    }
    (arrived, truth)
}

proptest! {
    #[test]
    fn every_mishap_between_two_tallies_is_counted_exactly(mishaps in mishaps()) {
        let (arrived, truth) = disturbed(&mishaps);
        prop_assert_eq!(totals(&arrived), truth);
    }

    #[test]
    fn no_sentences_whatever_make_it_panic(
        parts in proptest::collection::vec(
            (any::<u8>(), any::<u32>(), 0..4_u8, any::<u32>(), any::<Option<i64>>()),
            0..600,
        )
    ) {
        let mut sequence = Sequence::new();
        for (number, tick, kind, n, host_us) in parts {
            let says = match kind {
                0 => Says::Levels(n as u16),
                1 => Says::Errors(Errors { dropped: n as u16, ..Errors::default() }),
                2 => Says::Switch(Switch { input: 1, high: true, edges: n as u16 }),
                _ => {
                    let boot_number = (n % 2) as u16;
                    Says::Tally(Tally { boot_number, sent: n, closing: n % 3 == 0 })
                }
            };
            let sentence = Sentence { sequence: number, tick, says };
            match host_us {
                Some(host_us) => sequence.push_at(&sentence, host_us),
                None => sequence.push(&sentence),
            };
            sequence.totals();
        }
    }
}
