//! `wheelwitness reckon`: what a builder reckons beforehand, by the physics that judges a drive.
//!
//! Each subcommand is a module with its arguments and a function that gives the text. Nothing is
//! read and nothing is written: everything stands on the command line.

use crate::exit;
use crate::terminal::{complain, say};
use clap::Subcommand;
use wheelwitness_analyze::report::cautions;

mod dial;
mod input;
mod raised;
mod sender;
mod shaft;
mod tyres;
mod whirl;

/// Coverage factor of printed intervals: about 95 %.
const K95: f64 = 2.0;

/// What to reckon.
#[derive(Debug, Subcommand)]
pub enum ReckonCommand {
    /// Compare two tyre sizes: diameter, circumference, turns, whether they may be mixed.
    Tyres(tyres::TyresArgs),
    /// What a speedometer shows after other tyres or another axle ratio.
    Dial(dial::DialArgs),
    /// Pulses of a speed sender per distance, and its frequency at speed.
    Sender(sender::SenderArgs),
    /// The speed at which a shaft's tube whirls, and how near a road speed comes to it.
    Whirl(whirl::WhirlArgs),
    /// The order sheet of a shaft: length, slip travel, working angles, phasing, ripple.
    Shaft(shaft::ShaftArgs),
    /// How fast shafts and wheels turn when one wheel or one end stands.
    Raised(raised::RaisedArgs),
}

/// Runs the command and returns the exit code.
pub fn run(command: &ReckonCommand) -> i32 {
    let text = match command {
        ReckonCommand::Tyres(args) => Ok(tyres::text(args)),
        ReckonCommand::Dial(args) => Ok(dial::text(args)),
        ReckonCommand::Sender(args) => sender::text(args),
        ReckonCommand::Whirl(args) => whirl::text(args),
        ReckonCommand::Shaft(args) => shaft::text(args),
        ReckonCommand::Raised(args) => Ok(raised::text(args)),
    };
    match text {
        Ok(text) => {
            say(&text);
            exit::DONE
        }
        Err(text) => {
            complain(&text);
            exit::USAGE
        }
    }
}

/// A plain table: the first column to the left, the others to the right, two blanks between.
fn table(head: &[&str], rows: &[Vec<String>]) -> String {
    let head: Vec<String> = head.iter().map(ToString::to_string).collect();
    let all: Vec<&Vec<String>> = std::iter::once(&head).chain(rows).collect();
    let chars = |cell: &String| cell.chars().count();
    let width = |k: usize| all.iter().filter_map(|r| r.get(k)).map(chars).max().unwrap_or(0);
    let widths: Vec<usize> = (0..head.len()).map(width).collect();
    let line = |row: &&Vec<String>| {
        let cell = |(k, text): (usize, &String)| match k {
            0 => format!("{text:<0$}", widths[0]),
            _ => format!("  {text:>0$}", widths[k]),
        };
        row.iter().enumerate().map(cell).collect::<String>().trim_end().to_string() + "\n"
    };
    all.iter().map(line).collect()
}

/// The cautions of these ids, in the words of the reports.
fn warn(ids: &[&str]) -> String {
    let chosen = cautions::ALL.iter().filter(|c| ids.contains(&c.id));
    chosen.map(|c| caution(c.text)).collect()
}

/// One caution, wrapped to the width of a terminal.
fn caution(text: &str) -> String {
    const WIDTH: usize = 96;
    let mut lines = vec![String::from("Caution:")];
    for word in text.split_whitespace() {
        let last = lines.last_mut().expect("there is a line");
        if last.chars().count() + 1 + word.chars().count() > WIDTH {
            lines.push(format!("  {word}"));
        } else {
            *last += &format!(" {word}");
        }
    }
    format!("\n{}\n", lines.join("\n"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_caution_asked_for_exists() {
        for ids in [shaft::CAUTIONS, raised::CAUTIONS, whirl::CAUTIONS, dial::CAUTIONS] {
            for id in ids {
                assert!(cautions::ALL.iter().any(|c| c.id == *id), "{id}");
            }
        }
    }

    #[test]
    fn columns_are_as_wide_as_their_widest_cell_and_cautions_fit_a_terminal() {
        let rows = [vec!["a".to_string(), "±10".to_string()]];
        assert_eq!(table(&["what", "x"], &rows), "what    x\na     ±10\n");
        let text = warn(raised::CAUTIONS);
        assert!(text.lines().count() > 4 && text.lines().all(|l| l.chars().count() <= 96));
    }
}
