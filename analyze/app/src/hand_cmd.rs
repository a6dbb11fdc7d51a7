//! `wheelwitness hand`: sheets of what was turned by hand, engine off.

use crate::exit;
use crate::terminal::{complain, say};
use crate::vehicle_cmd::write_new;
use clap::{Args, Subcommand};
use std::path::PathBuf;
use wheelwitness_driveline::hand::TEMPLATE;

/// What to do with a hand sheet.
#[derive(Debug, Subcommand)]
pub enum HandCommand {
    /// Write a commented new hand sheet, to fill in beside the vehicle.
    New(NewArgs),
}

/// Arguments of `hand new`.
#[derive(Debug, Args)]
#[command(after_help = HAND_NOTES)]
pub struct NewArgs {
    /// File to write; an existing one is never overwritten. Without it, print the text.
    pub file: Option<PathBuf>,
}

const HAND_NOTES: &str = "\
Engine off. Hard level ground, wheels on the ground chocked both ways, parking brake set before
the selector is turned, rated stands, nobody under the vehicle. With the center differential open,
neither park nor first gear holds a vehicle with a raised wheel or a shaft off.

Record while you turn (`wheelwitness record`), then: wheelwitness judge CAPTURE --hand FILE";

/// Runs the command and returns the exit code.
pub fn run(command: &HandCommand) -> i32 {
    let HandCommand::New(NewArgs { file }) = command;
    let Some(file) = file else {
        say(TEMPLATE);
        return exit::DONE;
    };
    let name = file.display();
    match write_new(file, TEMPLATE) {
        Ok(()) => {
            say(&format!(
                "{name}: written. Fill it in, then: wheelwitness judge CAPTURE --hand {name}\n"
            ));
            exit::DONE
        }
        Err(e) => {
            complain(&format!("{name}: {e}; name a file that does not exist yet"));
            exit::STORAGE
        }
    }
}
