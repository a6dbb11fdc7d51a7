//! `rig`: a simulated vehicle drives, into a file or onto pseudo-terminals.

use crate::exit;
use crate::terminal::{complain, say};
use clap::Args;
use std::fs::OpenOptions;
use std::io::Write;
use std::path::{Path, PathBuf};
use wheelwitness_driveline::vehicle::Vehicle;
use wheelwitness_rig::pty::{Serve, Served};
use wheelwitness_rig::{Fault, Plan, Run, Script, random_drive, scenario};

/// Arguments of `rig`.
#[derive(Debug, Args)]
pub struct RigArgs {
    /// Ready-made script, or a file with one step a line.
    #[arg(long, default_value = "demo")]
    pub script: String,
    /// Seed of everything random; the same seed is the same drive.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// A random vehicle on a random drive instead of the script.
    #[arg(long, conflicts_with_all = ["script", "vehicle", "fault"])]
    pub random: bool,
    /// Vehicle file; without it, the demo vehicle.
    #[arg(long)]
    pub vehicle: Option<PathBuf>,
    /// A fault: `stuck-rear-only`, `sticky-switch switch=position-lock from_s=30`.
    #[arg(long)]
    pub fault: Vec<String>,
    /// Write what arrives as lines of `boottime_ns source hexbytes`.
    #[arg(long)]
    pub wire_lines: Option<PathBuf>,
    /// Write the truth as JSON.
    #[arg(long)]
    pub truth: Option<PathBuf>,
    /// Write the facts (what is true, claim by claim) as JSON.
    #[arg(long)]
    pub facts: Option<PathBuf>,
    /// Write the vehicle file.
    #[arg(long)]
    pub vehicle_out: Option<PathBuf>,
    /// Serve on pseudo-terminals, linked as `board` and `gnss` in this folder.
    #[arg(long)]
    pub serve: Option<PathBuf>,
    /// Seconds of the drive per second while serving.
    #[arg(long, default_value_t = 1.0, value_parser = positive)]
    pub clock_scale: f64,
}

fn positive(text: &str) -> Result<f64, String> {
    let scale: f64 = text.parse().map_err(|_| "write a number such as 10".to_string())?;
    let fine = scale.is_finite() && scale > 0.0;
    fine.then_some(scale).ok_or_else(|| "write a number above 0".to_string())
}

/// Why a command ends early: exit code and what to do.
type Refusal = (i32, String);

/// Runs the command and returns the exit code.
pub fn run(args: &RigArgs) -> i32 {
    match drive(args) {
        Ok(()) => exit::DONE,
        Err((code, text)) => {
            complain(&text);
            code
        }
    }
}

fn drive(args: &RigArgs) -> Result<(), Refusal> {
    let (mut plan, vehicle_text) = planned(args)?;
    plan.settings.close &= args.serve.is_none();
    let run = plan.run();
    write(&args.vehicle_out, || vehicle_text)?;
    write(&args.wire_lines, || run.wire_lines())?;
    write(&args.truth, || json(&run.truth))?;
    write(&args.facts, || json(&run.truth.facts(&plan.declared)))?;
    say(&format!(
        "simulated: {}, {:.0} s, {:.0} m, {} sentences of the board\n",
        run.truth.vehicle_name, run.truth.duration_s, run.truth.distance_m, run.truth.board.sent
    ));
    match &args.serve {
        Some(folder) => serve(&run, folder, args.clock_scale),
        None => Ok(()),
    }
}

fn json(value: &impl serde::Serialize) -> String {
    let mut text = serde_json::to_string_pretty(value).expect("the truth is plain data");
    text.push('\n');
    text
}

/// The plan and the text of its vehicle file.
fn planned(args: &RigArgs) -> Result<(Plan, String), Refusal> {
    if args.random {
        let drive = random_drive(args.seed);
        return Ok((drive.plan, drive.vehicle_text));
    }
    let vehicle_text = match &args.vehicle {
        Some(file) => read(file)?,
        None => scenario::TRAIL_WAGON.to_string(),
    };
    let name = args.vehicle.as_deref().unwrap_or(Path::new("trail-wagon.toml"));
    let vehicle = Vehicle::parse(&vehicle_text, &name.display().to_string())
        .map_err(|e| (exit::UNREADABLE, e.to_string()))?;
    let faults = args.fault.iter().map(|f| fault(f)).collect::<Result<Vec<_>, _>>()?;
    let script = match scenario::script(&args.script) {
        Some(script) => script,
        None => Script::parse(&args.script, &read(Path::new(&args.script))?)
            .map_err(|e| (exit::UNREADABLE, format!("{}: {e}", args.script)))?,
    };
    Ok((Plan::new(vehicle, script, args.seed, faults), vehicle_text))
}

fn read(file: &Path) -> Result<String, Refusal> {
    let ready_made = scenario::SCRIPTS.map(|(name, _)| name).join(", ");
    std::fs::read_to_string(file).map_err(|e| {
        let help = format!("name a file that can be read (ready-made scripts: {ready_made})");
        (exit::UNREADABLE, format!("{}: {e}; {help}", file.display()))
    })
}

fn fault(text: &str) -> Result<Fault, Refusal> {
    Fault::parse(text).map_err(|e| (exit::USAGE, e))
}

fn write(file: &Option<PathBuf>, text: impl FnOnce() -> String) -> Result<(), Refusal> {
    let Some(file) = file else { return Ok(()) };
    let open = OpenOptions::new().write(true).create_new(true).open(file);
    open.and_then(|mut out| out.write_all(text().as_bytes())).map_err(|e| {
        let help = "name a file that does not exist, in a folder that you may write in";
        (exit::STORAGE, format!("{}: {e}; {help}", file.display()))
    })
}

fn serve(run: &Run, folder: &Path, clock_scale: f64) -> Result<(), Refusal> {
    let failed = |e: std::io::Error| {
        let help = "name a folder that you may write in";
        (exit::DEVICE, format!("{}: {e}; {help}", folder.display()))
    };
    std::fs::create_dir_all(folder).map_err(failed)?;
    let serving = Serve::in_folder(folder, clock_scale).start(run).map_err(failed)?;
    say(&format!(
        "serving {0}/board and {0}/gnss at {clock_scale} times real time; begins when both are \
         read, ends when the recording is finished\n",
        folder.display()
    ));
    for Served { source, written, unheard, closed } in serving.wait().map_err(failed)? {
        let end = if closed { ", closed on request" } else { "" };
        say(&format!("{}: {written} bytes, {unheard} unheard{end}\n", source.name()));
    }
    Ok(())
}
