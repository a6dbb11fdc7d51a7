//! `vehicle new` and `vehicle check`.

use crate::exit;
use crate::terminal::{complain, say};
use clap::{Args, Subcommand};
use std::fs::OpenOptions;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use wheelwitness_driveline::vehicle::{Vehicle, fit_text, new_vehicle_text, note_text};

/// What to do with a vehicle file.
#[derive(Debug, Subcommand)]
pub enum VehicleCommand {
    /// Write a commented new vehicle file, to adapt.
    New(NewArgs),
    /// Check a vehicle file, and say which claims this fit can decide.
    Check(CheckArgs),
}

/// Arguments of `vehicle new`.
#[derive(Debug, Args)]
pub struct NewArgs {
    /// File to write; an existing one is never overwritten. Without it, print the text.
    pub file: Option<PathBuf>,
}

/// Arguments of `vehicle check`.
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Vehicle file.
    pub file: PathBuf,
    /// A GNSS receiver is recorded along (the vehicle file does not say).
    #[arg(long)]
    pub gnss: bool,
}

/// Runs the command and returns the exit code.
pub fn run(command: &VehicleCommand) -> i32 {
    match command {
        VehicleCommand::New(args) => new(args),
        VehicleCommand::Check(args) => check(args),
    }
}

fn new(args: &NewArgs) -> i32 {
    let Some(file) = &args.file else {
        say(new_vehicle_text());
        return exit::DONE;
    };
    match write_new(file, new_vehicle_text()) {
        Ok(()) => {
            say(&format!(
                "{0}: written. Replace its values by yours, then: wheelwitness vehicle check {0}\n",
                file.display()
            ));
            exit::DONE
        }
        Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {
            complain(&format!(
                "{}: exists already and is never overwritten; name another file",
                file.display()
            ));
            exit::STORAGE
        }
        Err(e) => {
            complain(&format!("{}: {e}; name a folder that you may write in", file.display()));
            exit::STORAGE
        }
    }
}

/// Writes a file that does not exist yet.
pub fn write_new(file: &Path, text: &str) -> io::Result<()> {
    let mut out = OpenOptions::new().write(true).create_new(true).open(file)?;
    out.write_all(text.as_bytes())?;
    out.sync_all()
}

fn check(args: &CheckArgs) -> i32 {
    match read(&args.file) {
        Ok(vehicle) => {
            say(&checked(&args.file, &vehicle, args.gnss));
            exit::DONE
        }
        Err(text) => {
            complain(&text);
            exit::UNREADABLE
        }
    }
}

/// What a clean file is worth: notes, then the table of claims.
fn checked(file: &Path, vehicle: &Vehicle, gnss: bool) -> String {
    let mut text = format!("{}: no mistakes in \"{}\"\n\n", file.display(), vehicle.name);
    for note in vehicle.notes() {
        text += &note_text(&note);
    }
    let with = if gnss { "with" } else { "without; add --gnss if one is recorded" };
    text += &format!("GNSS receiver: {with}\n\n");
    text + &fit_text(&vehicle.fit(gnss))
}

/// Reads a vehicle file; the complaint names the file and what to do next.
fn read(file: &Path) -> Result<Vehicle, String> {
    let name = file.display().to_string();
    let bytes = std::fs::read(file)
        .map_err(|e| format!("{name}: {e}; make a new one with: wheelwitness vehicle new FILE"))?;
    let text = String::from_utf8(bytes).map_err(|e| {
        let line = e.as_bytes()[..e.utf8_error().valid_up_to()].split(|b| *b == b'\n').count();
        format!("{name}:{line}: is not UTF-8 text; save the file as UTF-8")
    })?;
    Vehicle::parse(&text, &name).map_err(|e| e.to_string())
}
