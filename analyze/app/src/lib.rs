//! The program `wheelwitness`: every command, composed of the crates beside it.
//!
//! A command is one row of [`Command`] and one module with its arguments and its `run`.

use clap::{Parser, Subcommand};
use std::ffi::OsString;
use wheelwitness_logger::cli::{PortsArgs, RecordArgs};

pub mod exit;
pub mod terminal;
pub mod progress;
pub mod vehicle_cmd;
pub mod hand_cmd;
pub mod judge_cmd;
pub mod explain_cmd;
pub mod signature_cmd;
pub mod import_cmd;
pub mod import_can_cmd;
pub mod archive_cmd;
pub mod export_cmd;
pub mod export_can_cmd;
pub mod rig_cmd;
pub mod truth;
pub mod demo_cmd;
pub mod reckon_cmd;

/// Proves from a recorded drive what a converted driveline does.
#[derive(Debug, Parser)]
#[command(name = "wheelwitness", version, arg_required_else_help = true)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write a new vehicle file, or check one and see what this fit can decide.
    #[command(subcommand)]
    Vehicle(vehicle_cmd::VehicleCommand),
    /// Write a hand sheet: what was turned by hand, engine off.
    #[command(subcommand)]
    Hand(hand_cmd::HandCommand),
    /// Reckon beforehand: tyres, speedometer, sender, shafts, differential speeds.
    #[command(subcommand)]
    Reckon(reckon_cmd::ReckonCommand),
    /// Record from serial ports and CAN interfaces into a new capture.
    Record(RecordArgs),
    /// List the serial ports, who may open them, and the cure when you may not.
    Ports(PortsArgs),
    /// Judge a capture: verdicts on the terminal, a report folder with pictures.
    Judge(judge_cmd::JudgeArgs),
    /// Walk a number of the report back to the raw records it rests on.
    Explain(explain_cmd::ExplainArgs),
    /// Put the selections of a drive beside those of a known-good vehicle, stage by stage.
    Signature(signature_cmd::SignatureArgs),
    /// Keep drives: one folder each, listed, searched, annotated, checked, judged again, sent.
    Archive(archive_cmd::ArchiveArgs),
    /// Make a capture of lines of wire bytes.
    ImportWire(import_cmd::ImportArgs),
    /// Make a capture of CAN traffic that another tool recorded (pcapng, or lines of frames).
    ImportCan(import_can_cmd::ImportCanArgs),
    /// Write a drive's steps and claims as tables for other tools (Parquet, CSV).
    Export(export_cmd::ExportArgs),
    /// Write the CAN traffic of a capture for other tools (pcapng).
    ExportCan(export_can_cmd::ExportCanArgs),
    /// Let a simulated vehicle drive, into a file or onto pseudo-terminals.
    Rig(rig_cmd::RigArgs),
    /// See the whole chain at work: a simulated drive with two faults, recorded, judged, reported.
    Demo(demo_cmd::DemoArgs),
}

/// Runs one command line, the program's name first, and returns the exit code (see [`exit`]).
pub fn run<I, T>(args: I) -> i32
where
    I: IntoIterator<Item = T>,
    T: Into<OsString> + Clone,
{
    let cli = match Cli::try_parse_from(args) {
        Ok(cli) => cli,
        Err(answer) => {
            return answered(&answer);
        }
    };
    match cli.command {
        Command::Vehicle(args) => vehicle_cmd::run(&args),
        Command::Hand(args) => hand_cmd::run(&args),
        Command::Reckon(args) => reckon_cmd::run(&args),
        Command::Record(args) => args.run(),
        Command::Ports(args) => args.run(),
        Command::Judge(args) => judge_cmd::run(&args),
        Command::Explain(args) => explain_cmd::run(&args),
        Command::Signature(args) => signature_cmd::run(&args),
        Command::Archive(args) => archive_cmd::run(&args),
        Command::ImportWire(args) => import_cmd::run(&args),
        Command::ImportCan(args) => import_can_cmd::run(&args),
        Command::Export(args) => export_cmd::run(&args),
        Command::ExportCan(args) => export_can_cmd::run(&args),
        Command::Rig(args) => rig_cmd::run(&args),
        Command::Demo(args) => demo_cmd::run(&args),
    }
}

/// Help and version as asked for; a complaint goes through the door of all text, for it repeats
/// words of the command line, file names among them.
fn answered(answer: &clap::Error) -> i32 {
    if answer.use_stderr() {
        terminal::complain(answer.render().to_string().trim_end());
    } else {
        let _ = answer.print();
    }
    answer.exit_code()
}
