//! The commands `record` and `ports`, for the light program and for the large one alike.
//!
//! `run` of each returns the exit code: 0 done, 1 our bug, 2 usage, 3 a file cannot be read,
//! 4 recorded with holes, 5 device or permission, 6 storage.

use crate::bus;
use crate::error::Error;
use crate::inventory;
use crate::recorder::{Ended, Recorder};
use crate::screen::Screen;
use crate::settings::{Settings, SourceSettings, Typed};
use crate::status::{Message, SourceStatus, Weight};
use crate::stop::Reason;
use crate::tap::Tap;
use crate::text::{bytes, clock_face, printable};
use clap::{Args, Parser, Subcommand};
use std::ffi::OsString;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};

/// Records what arrives from serial devices, and loses none of it.
#[derive(Debug, Parser)]
#[command(name = "wheelwitness-log", version, arg_required_else_help = true)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Record from serial ports and CAN interfaces into a new capture.
    Record(RecordArgs),
    /// List serial ports and CAN interfaces, who may open them, and the cure when you may not.
    Ports(PortsArgs),
}

/// Arguments of `record`.
#[derive(Args, Clone, Debug, Default)]
#[command(after_help = RECORD_NOTES)]
pub struct RecordArgs {
    /// The sources, each with its name, its port, the speed of the line and its kind.
    #[arg(short, long = "source", value_name = "SOURCE", help = SOURCE_HELP)]
    pub sources: Vec<SourceSettings>,
    /// Capture folder to make; never overwrites one
    #[arg(short, long, value_name = "FOLDER")]
    pub into: Option<PathBuf>,
    /// Second folder, takes over when the first fails
    #[arg(long, value_name = "FOLDER")]
    pub spare: Option<PathBuf>,
    /// Vehicle file to copy into the capture
    #[arg(long, value_name = "FILE")]
    pub vehicle: Option<PathBuf>,
    /// Settings file (TOML); what is typed wins over it
    #[arg(long, value_name = "FILE")]
    pub settings: Option<PathBuf>,
    /// Stop by itself after so many seconds
    #[arg(long, value_name = "SECONDS")]
    pub stop_after: Option<f64>,
    /// Stop cleanly when only so much space is left [default: 64]
    #[arg(long, value_name = "MIB")]
    pub reserve: Option<u32>,
    /// Keep trying so long when the medium fails [default: 60]
    #[arg(long, value_name = "SECONDS")]
    pub patience: Option<f64>,
    /// Messages only, no status line
    #[arg(short, long)]
    pub quiet: bool,
    /// The clock runs so much faster than real time: for a simulated vehicle; the capture says so
    #[arg(long, value_name = "FACTOR", hide = true)]
    pub clock_scale: Option<f64>,
}

const SOURCE_HELP: &str = "name=port[,baud][,kind[,bit rate]]; kinds: pulse-board, gnss, can, \
serial-can, other; the bit rate is that of a serial-can adapter's bus";

const RECORD_NOTES: &str = "\
Example, two sources:
  record --source board=/dev/serial/by-id/usb-board-17,250000,pulse-board \\
         --source gnss=/dev/ttyUSB1,9600,gnss \\
         --vehicle vehicle.toml --into drives/first

A CAN interface, and a CAN adapter on a serial line (bus of 500 kbit/s):
  record --source bus=can0,can --into drives/second
  record --source bus=/dev/ttyACM0,115200,serial-can,500000 --into drives/third
Both only listen. An interface is set up by the system, for example with
  sudo ip link set can0 type can bitrate 500000 listen-only on
  sudo ip link set can0 up
In a settings file, filters = [\"7E8\", \"18FEBF00/1FFFFF00\"] in a source of kind
can keeps only such frames; the capture then says that it was filtered.

The interrupt key (Ctrl-C) or a termination signal ends the recording in good
order; a second one ends it at once. A terminal that goes away does not end it.

A passenger works the computer, never the driver.";

/// Arguments of `ports`.
#[derive(Args, Clone, Debug, Default)]
pub struct PortsArgs {}

/// Runs one command line, the program's name first, and returns the exit code.
pub fn run<I, T>(args: I) -> i32
where
    I: IntoIterator<Item = T>,
    T: Into<OsString> + Clone,
{
    match Cli::try_parse_from(args) {
        Ok(Cli { command: Command::Record(args) }) => args.run(),
        Ok(Cli { command: Command::Ports(args) }) => args.run(),
        Err(answer) => {
            let _ = answer.print();
            answer.exit_code()
        }
    }
}

impl RecordArgs {
    /// Records until stopped, with a status line on standard error; returns the exit code.
    pub fn run(self) -> i32 {
        self.run_with(Vec::new())
    }

    /// The same with listeners.
    pub fn run_with(self, taps: Vec<Box<dyn Tap>>) -> i32 {
        let quiet = self.quiet;
        let outcome = self.meant().and_then(|settings| record(settings, taps, quiet));
        match outcome {
            Ok(ended) => ended.exit_code(),
            Err(error) => {
                complain(&error);
                error.exit_code()
            }
        }
    }

    /// From typed to meant: the settings file, what was typed over it, defaults for the rest.
    pub fn meant(self) -> Result<Settings, Error> {
        let base = match &self.settings {
            Some(path) => read_settings(path)?,
            None => Typed::default(),
        };
        let mut typed = Typed {
            into: self.into,
            spare: self.spare,
            vehicle: self.vehicle,
            clock_scale: self.clock_scale,
            sources: self.sources.into_iter().map(Into::into).collect(),
            ..Typed::default()
        }
        .over(base);
        let limits = typed.limits.get_or_insert_default();
        limits.stop_after_s = self.stop_after.unwrap_or(limits.stop_after_s);
        limits.reserve_mib = self.reserve.unwrap_or(limits.reserve_mib);
        limits.storage_patience_s = self.patience.unwrap_or(limits.storage_patience_s);
        typed.meant().map_err(Error::Usage)
    }
}

impl PortsArgs {
    /// Prints the list and returns the exit code.
    pub fn run(self) -> i32 {
        let lines = inventory::describe(&inventory::list(Path::new("/")));
        let buses = bus::report::describe(&bus::list());
        let text = if buses.is_empty() { lines } else { format!("{lines}\n{buses}") };
        // A reader that goes away is no failure of ours.
        let _ = std::io::stdout().write_all(text.as_bytes());
        0
    }
}

fn read_settings(path: &Path) -> Result<Typed, Error> {
    let name = path.display();
    let text = std::fs::read_to_string(path)
        .map_err(|e| Error::Input(format!("cannot read the settings file {name}: {e}")))?;
    let folder = path.parent().unwrap_or(Path::new(""));
    Typed::from_file(&text, folder).map_err(|e| Error::Input(format!("{name}: {e}")))
}

fn record(settings: Settings, taps: Vec<Box<dyn Tap>>, quiet: bool) -> Result<Ended, Error> {
    let mut recorder = Recorder::new(settings).heed_signals();
    for tap in taps {
        recorder = recorder.tap(tap);
    }
    let (status, messages) = (recorder.status(), recorder.messages());
    let err = std::io::stderr();
    let is_terminal = err.is_terminal();
    let screen = messages.map(|messages| Screen::start(err, is_terminal, !quiet, status, messages));
    let outcome = recorder.run();
    let last = match &outcome {
        Ok(ended) => summary(ended),
        Err(_) => String::new(),
    };
    if let Some(screen) = screen {
        screen.end(Message { weight: Weight::Note, text: last });
    }
    outcome
}

/// What the user reads at the end.
fn summary(ended: &Ended) -> String {
    let why = match ended.reason {
        Reason::Asked => "stopped",
        Reason::TimeUp => "time is up",
        Reason::SpaceUsedUp => "stopped: only the reserve is left on the medium",
        Reason::StorageGone => "stopped: the medium fails",
        Reason::Failed => "stopped: the storage thread failed (our bug)",
    };
    let kept = &ended.kept;
    let mut text = format!(
        "{why}; {} records, {} in {}: {}\n",
        kept.records,
        bytes(ended.last.storage.taken_bytes),
        clock_face(ended.last.recorded_ns),
        kept.places.join(" and "),
    );
    let unsafe_records = kept.records - kept.durable_records.min(kept.records);
    for (is_so, what) in [
        (kept.closed && !ended.has_holes(), "closed cleanly, nothing was lost".to_owned()),
        (
            kept.closed && ended.has_holes(),
            "closed cleanly; the capture tells what is missing".into(),
        ),
        (!kept.closed, "not closed cleanly".into()),
        (unsafe_records > 0, format!("{unsafe_records} records could not be written")),
        (kept.dropped_bytes > 0, format!("{} had to be dropped", bytes(kept.dropped_bytes))),
    ] {
        if is_so {
            text.push_str(&what);
            text.push('\n');
        }
    }
    ended.last.sources.iter().filter_map(what_is_missing).for_each(|line| text.push_str(&line));
    text
}

fn what_is_missing(source: &SourceStatus) -> Option<String> {
    let name = &source.name;
    if source.times_opened == 0 {
        return Some(format!("{name}: was never there\n"));
    }
    let mut text = String::new();
    if source.times_lost > 0 {
        text.push_str(&format!("{name}: lost {} times\n", source.times_lost));
    }
    if source.bus.lost_frames > 0 {
        let lost = source.bus.lost_frames;
        text.push_str(&format!("{name}: the kernel lost {lost} frames, counted in the capture\n"));
    }
    (!text.is_empty()).then_some(text)
}

fn complain(error: &Error) {
    let text = error.to_string();
    let lines: Vec<_> = text.lines().map(printable).collect();
    let _ = writeln!(std::io::stderr(), "{}", lines.join("\n"));
}
