//! `rig`: a simulated vehicle drives, into a file, onto pseudo-terminals or onto a CAN interface.

use crate::exit;
use crate::terminal::{complain, say};
use clap::Args;
use std::fs::OpenOptions;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;
use wheelwitness_driveline::vehicle::Vehicle;
use wheelwitness_rig::bus::Link;
use wheelwitness_rig::interface::play;
use wheelwitness_rig::pty::{Serve, Served, Serving};
use wheelwitness_rig::{
    BusSettings, Fault, Message, Messages, Plan, Run, Script, Source, random_drive, scenario,
};

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
    /// Write the hand sheet of what was turned by hand (`--script hand`).
    #[arg(long)]
    pub hand_out: Option<PathBuf>,
    /// Write the vehicle file.
    #[arg(long)]
    pub vehicle_out: Option<PathBuf>,
    /// Serve on pseudo-terminals, linked as `board` and `gnss` in this folder.
    #[arg(long)]
    pub serve: Option<PathBuf>,
    /// The vehicle has a CAN bus: play its frames onto this interface, such as `vcan0`.
    #[arg(long, value_name = "INTERFACE", conflicts_with = "serial_can")]
    pub can: Option<String>,
    /// The vehicle has a CAN bus: serve it as a serial-line adapter would, linked as `can`.
    #[arg(long, requires = "serve")]
    pub serial_can: bool,
    /// A message that the bus carries, such as `wheel-speeds`; all of them if none is named.
    #[arg(long, value_name = "MESSAGE", value_parser = message)]
    pub message: Vec<Message>,
    /// Seconds of the drive per second while serving.
    #[arg(long, default_value_t = 1.0, value_parser = positive)]
    pub clock_scale: f64,
}

fn positive(text: &str) -> Result<f64, String> {
    let scale: f64 = text.parse().map_err(|_| "write a number such as 10".to_string())?;
    let fine = scale.is_finite() && scale > 0.0;
    fine.then_some(scale).ok_or_else(|| "write a number above 0".to_string())
}

fn message(text: &str) -> Result<Message, String> {
    let names = || Message::ALL.map(|m| m.to_string()).join(", ");
    let named = Message::ALL.into_iter().find(|m| m.to_string() == text);
    named.ok_or_else(|| format!("name one of {}", names()))
}

/// Bit rate of the line from a serial-line adapter that is served.
const SERIAL_CAN_BAUD: u32 = 1_000_000;

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
    plan.settings.bus = bus(args, plan.seed);
    let run = plan.run();
    write(&args.vehicle_out, || vehicle_text)?;
    write(&args.wire_lines, || run.wire_lines())?;
    write(&args.truth, || json(&run.truth))?;
    write(&args.facts, || json(&run.truth.facts(&plan.declared)))?;
    write(&args.hand_out, || run.truth.hand_sheet())?;
    say(&told(&run));
    let serving = args.serve.as_ref().map(|folder| serve(&run, folder, args)).transpose()?;
    if let Some(interface) = &args.can {
        // Both begin together: when every serial line has a reader.
        while serving.as_ref().is_some_and(|s| !s.has_begun() && !s.is_done()) {
            std::thread::sleep(Duration::from_millis(1));
        }
        play_onto(&run, interface, args.clock_scale)?;
    }
    serving.map_or(Ok(()), |serving| finish(serving, args))
}

/// The bus, if the arguments ask for one.
fn bus(args: &RigArgs, seed: u64) -> Option<BusSettings> {
    let mut bus = BusSettings::draw(seed);
    if !args.message.is_empty() {
        bus.messages = Messages::of(&args.message);
    }
    if args.serial_can {
        bus.link = Link::SerialLine { baud: SERIAL_CAN_BAUD, stamps: false };
    }
    (args.can.is_some() || args.serial_can).then_some(bus)
}

fn told(run: &Run) -> String {
    let t = &run.truth;
    let bus = t.bus.as_ref().map_or(String::new(), |b| {
        let (frames, rate, busy) = (b.frames, b.bit_rate / 1000, 100.0 * b.busy_share);
        format!(", {frames} frames on a bus of {rate} kbit/s that is {busy:.0} % busy")
    });
    format!(
        "simulated: {}, {:.0} s, {:.0} m, {} sentences of the board{bus}\n",
        t.vehicle_name, t.duration_s, t.distance_m, t.board.sent
    )
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

fn cannot_serve(e: std::io::Error, folder: &Path) -> Refusal {
    (exit::DEVICE, format!("{}: {e}; name a folder that you may write in", folder.display()))
}

fn serve(run: &Run, folder: &Path, args: &RigArgs) -> Result<Serving, Refusal> {
    std::fs::create_dir_all(folder).map_err(|e| cannot_serve(e, folder))?;
    let mut sources = vec![Source::Board, Source::Gnss];
    if args.serial_can {
        sources.push(Source::Can);
    }
    let lines = Serve::sources_in_folder(&sources, folder, args.clock_scale);
    let serving = lines.start(run).map_err(|e| cannot_serve(e, folder))?;
    let names: Vec<_> = lines.links.iter().map(|l| l.1.display().to_string()).collect();
    say(&format!(
        "serving {} at {} times real time; begins when all are read, ends when the recording \
         is finished\n",
        names.join(", "),
        args.clock_scale
    ));
    Ok(serving)
}

fn finish(serving: Serving, args: &RigArgs) -> Result<(), Refusal> {
    let folder = args.serve.as_deref().unwrap_or(Path::new("."));
    let all = serving.wait().map_err(|e| cannot_serve(e, folder))?;
    for Served { source, written, unheard, closed } in all {
        let end = if closed { ", closed on request" } else { "" };
        say(&format!("{}: {written} bytes, {unheard} unheard{end}\n", source.name()));
    }
    Ok(())
}

fn play_onto(run: &Run, interface: &str, clock_scale: f64) -> Result<(), Refusal> {
    say(&format!("playing onto {interface} at {clock_scale} times real time\n"));
    let played = play(run, interface, clock_scale).map_err(|e| {
        let help = format!(
            "name a CAN interface that is up; a virtual one: `ip link add {interface} type vcan`, \
             then `ip link set {interface} up`"
        );
        (exit::DEVICE, format!("{interface}: {e}; {help}"))
    })?;
    say(&format!("{interface}: {} frames, {} while it was down\n", played.sent, played.unheard));
    Ok(())
}
