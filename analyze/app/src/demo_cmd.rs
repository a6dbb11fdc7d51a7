//! `demo`: the whole chain for real, from a simulated vehicle on the wire to a report.
//!
//! Only the vehicle is simulated. The recorder is this very program, started as a user would
//! start it, and it reads from pseudo-terminals as it would read from a board.

use crate::exit;
use crate::judge_cmd::{judge_folder, width};
use crate::terminal::{complain, say, say_painted};
use crate::truth::Answers;
use clap::Args;
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use std::io::{ErrorKind, IsTerminal};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus};
use std::time::{Duration, Instant};
use wheelwitness_analyze::report;
use wheelwitness_rig::pty::{Serve, Served, Serving};
use wheelwitness_rig::{Fault, Plan, Run, scenario};

/// Arguments of `demo`.
#[derive(Debug, Args)]
#[command(after_help = DEMO_NOTES)]
pub struct DemoArgs {
    /// Seed of everything random; another seed is another drive
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Folder to make, which must not exist yet [default: demo-drive, or the next free number]
    #[arg(long, value_name = "FOLDER")]
    pub into: Option<PathBuf>,
    /// Seconds of the drive per second of yours
    #[arg(long, value_name = "FACTOR", default_value_t = 12.0, value_parser = scale)]
    pub clock_scale: f64,
}

const DEMO_NOTES: &str = "\
An invented vehicle with two faults that nobody tells the analysis drives a test card. The real
recorder records it from pseudo-terminals, and the capture is judged like any other.";

/// Folders tried before giving up on a free name.
const FOLDERS: u32 = 1000;
/// The devices must be open by then.
const OPEN_WITHIN: Duration = Duration::from_secs(30);
/// A recorder that was asked to stop must have stopped by then.
const STOP_WITHIN: Duration = Duration::from_secs(30);
/// How often somebody looks whether the drive is over.
const LOOK_EVERY: Duration = Duration::from_millis(20);

fn scale(text: &str) -> Result<f64, String> {
    let scale: f64 = text.parse().map_err(|_| "write a number such as 10".to_string())?;
    let fine = (0.1..=100.0).contains(&scale);
    fine.then_some(scale).ok_or_else(|| "write a number from 0.1 to 100".to_string())
}

/// Why the demo ends early: exit code and what to do.
type Refusal = (i32, String);

/// Runs the command and returns the exit code.
pub fn run(args: &DemoArgs) -> i32 {
    match demo(args) {
        Ok(code) => code,
        Err((code, text)) => {
            complain(&text);
            code
        }
    }
}

fn demo(args: &DemoArgs) -> Result<i32, Refusal> {
    let folder = new_folder(args.into.as_deref())?;
    let (plan, run) = drive(args.seed);
    hop("drive", &story(&plan, &run));
    let serving = serve(&run, &folder, args.clock_scale)?;
    let recorded = record(&folder, args.clock_scale, serving)?;
    judge(&folder, &Answers::of(&plan, &run)).map(|code| code.max(recorded))
}

/// One hop of the chain, in words.
fn hop(verb: &str, text: &str) {
    let lines = text.lines().collect::<Vec<_>>().join("\n         ");
    say(&format!("{verb:<8} {lines}\n"));
}

/// Makes the folder that everything goes into; one that exists is never touched.
fn new_folder(into: Option<&Path>) -> Result<PathBuf, Refusal> {
    let names = match into {
        Some(folder) => vec![folder.to_path_buf()],
        None => (1..=FOLDERS).map(numbered).collect(),
    };
    for name in names {
        match std::fs::create_dir(&name) {
            Ok(()) => return Ok(name),
            Err(e) if e.kind() == ErrorKind::AlreadyExists && into.is_none() => {}
            Err(e) => {
                let help = "give --into a folder that does not exist yet, where you may write";
                return Err((exit::STORAGE, format!("{}: {e}; {help}", name.display())));
            }
        }
    }
    let help = "remove old ones, or name a folder with --into";
    Err((exit::STORAGE, format!("demo-drive to demo-drive-{FOLDERS} all exist; {help}")))
}

fn numbered(n: u32) -> PathBuf {
    if n == 1 { "demo-drive".into() } else { format!("demo-drive-{n}").into() }
}

/// The drive as the rig has it: the board closes when it is asked to, as a real one does.
fn drive(seed: u64) -> (Plan, Run) {
    let mut plan = scenario::demo(seed, scenario::demo_faults());
    plan.settings.close = false;
    let run = plan.run();
    (plan, run)
}

fn story(plan: &Plan, run: &Run) -> String {
    let t = &run.truth;
    let mut text = format!(
        "simulated, every number invented: {:.0} s and {:.0} m, seed {}.\n\
         Vehicle: {}, with faults that nobody tells the analysis:",
        t.duration_s, t.distance_m, t.seed, t.vehicle_name
    );
    for fault in &plan.faults {
        text += &format!("\n- {}", fault_words(fault));
    }
    text
}

fn fault_words(fault: &Fault) -> String {
    match fault {
        Fault::WornTyres { rear, mm } => {
            let axle = if *rear { "rear" } else { "front" };
            format!("the {axle} tyres are worn: {mm:.0} mm of circumference are missing")
        }
        Fault::WrongRow { mode, switch } => {
            format!("one switch row is wrong: {switch} reads the opposite in mode {mode}")
        }
        other => format!("{other:?}"),
    }
}

/// Puts the devices on pseudo-terminals; they speak as soon as somebody reads.
fn serve(run: &Run, folder: &Path, clock_scale: f64) -> Result<Serving, Refusal> {
    let ports = folder.join("ports");
    std::fs::create_dir(&ports).map_err(|e| storage(&ports, &e))?;
    let serving = Serve::in_folder(&ports, clock_scale).start(run).map_err(no_terminals)?;
    hop(
        "serve",
        &format!(
            "pulse board and GNSS receiver speak on pseudo-terminals,\n\
             {clock_scale} times as fast as real ones"
        ),
    );
    Ok(serving)
}

fn no_terminals(e: std::io::Error) -> Refusal {
    let help = "the demo needs pseudo-terminals (/dev/ptmx and /dev/pts; in a container they may \
                have to be mounted). Without them: wheelwitness rig --wire-lines FILE, then \
                wheelwitness import-wire FILE FOLDER";
    (exit::DEVICE, format!("no pseudo-terminal: {e}; {help}"))
}

fn storage(path: &Path, e: &std::io::Error) -> Refusal {
    let help = "check space and permissions of the folder";
    (exit::STORAGE, format!("{}: {e}; {help}", path.display()))
}

/// Records the drive with the recorder that users get; returns its exit code, 0 or "with holes".
fn record(folder: &Path, clock_scale: f64, serving: Serving) -> Result<i32, Refusal> {
    let vehicle = folder.join("vehicle.toml");
    std::fs::write(&vehicle, scenario::TRAIL_WAGON).map_err(|e| storage(&vehicle, &e))?;
    let args = recorder_args(clock_scale);
    hop("record", &format!("in {}:\n{}", folder.display(), typed(&args)));
    let outcome = start_recorder(folder, &args).and_then(|child| attend(child, &serving));
    if outcome.is_err() {
        serving.stop();
    }
    let served = serving.wait().map_err(no_terminals)?;
    let _ = std::fs::remove_dir(folder.join("ports"));
    let code = outcome?;
    hop("", &sent(&served));
    Ok(code)
}

/// Paths are within the demo's folder, which the recorder starts in.
fn recorder_args(clock_scale: f64) -> Vec<String> {
    let scale = clock_scale.to_string();
    let words = [
        "record",
        "--source",
        "board=ports/board,250000,pulse-board",
        "--source",
        "gnss=ports/gnss,38400,gnss",
        "--vehicle",
        "vehicle.toml",
        "--into",
        "capture",
        "--clock-scale",
        &scale,
    ];
    words.map(String::from).into()
}

/// The recorder's command line as a user would type it, an option a line.
fn typed(args: &[String]) -> String {
    let mut text = "wheelwitness".to_string();
    for word in args {
        text += if word.starts_with("--") { " \\\n    " } else { " " };
        text += word;
    }
    text
}

fn start_recorder(folder: &Path, args: &[String]) -> Result<Child, Refusal> {
    let failed = |e: std::io::Error| (exit::BUG, format!("the recorder did not start: {e}"));
    let program = std::env::current_exe().map_err(failed)?;
    Command::new(program).args(args).current_dir(folder).spawn().map_err(failed)
}

/// Waits until the drive is over, then asks the recorder to stop as a user would.
fn attend(mut recorder: Child, serving: &Serving) -> Result<i32, Refusal> {
    let start = Instant::now();
    while !serving.is_done() {
        if let Some(status) = recorder.try_wait().map_err(lost_sight)? {
            return Err(ended_early(status));
        }
        if !serving.has_begun() && start.elapsed() > OPEN_WITHIN {
            let _ = recorder.kill().and_then(|()| recorder.wait());
            let text = "the recorder opened no port; `wheelwitness ports` says who may open them";
            return Err((exit::DEVICE, text.into()));
        }
        std::thread::sleep(LOOK_EVERY);
    }
    hop("", "the drive is over: the recorder is told to stop (SIGTERM)");
    kill(Pid::from_raw(recorder.id().cast_signed()), Signal::SIGTERM)
        .map_err(|e| lost_sight(e.into()))?;
    let status = wait_for_end(&mut recorder)?;
    match status.code() {
        Some(code @ (exit::DONE | exit::HOLES)) => Ok(code),
        _ => Err(ended_early(status)),
    }
}

fn wait_for_end(recorder: &mut Child) -> Result<ExitStatus, Refusal> {
    let start = Instant::now();
    loop {
        if let Some(status) = recorder.try_wait().map_err(lost_sight)? {
            return Ok(status);
        }
        if start.elapsed() > STOP_WITHIN {
            let _ = recorder.kill().and_then(|()| recorder.wait());
            return Err((exit::BUG, "the recorder did not stop when it was told to".into()));
        }
        std::thread::sleep(LOOK_EVERY);
    }
}

fn lost_sight(e: std::io::Error) -> Refusal {
    (exit::BUG, format!("the recorder cannot be attended to: {e}"))
}

fn ended_early(status: ExitStatus) -> Refusal {
    let help = "what it said is above";
    (status.code().unwrap_or(exit::BUG).max(exit::BUG), format!("the recorder: {status}; {help}"))
}

fn sent(served: &[Served]) -> String {
    let line = |s: &Served| {
        let unheard = match s.unheard {
            0 => String::new(),
            n => format!(", {n} bytes unheard"),
        };
        format!("{} sent {} bytes{unheard}", s.source.name(), s.written)
    };
    served.iter().map(line).collect::<Vec<_>>().join(", ")
}

/// Judges the capture, writes the report, and holds the verdicts against what the rig knows.
fn judge(folder: &Path, answers: &Answers) -> Result<i32, Refusal> {
    let capture = folder.join("capture");
    hop("judge", &format!("wheelwitness judge {}\n", capture.display()));
    let (result, series) = judge_folder(&capture, None)?;
    say_painted(&report::terminal(&result, width(), std::io::stdout().is_terminal()));
    let page = report::write_folder(&capture.join("report"), &result, &series)
        .map_err(|e| (exit::STORAGE, e.to_string()))?;
    let mistakes = answers.mistakes(&result);
    say(&format!("\n{}", answers.summary(&result)));
    say(&format!("\nReport: {}\n", page.display()));
    let holes = !result.capture.holes.is_empty();
    Ok(match (mistakes.is_empty(), holes) {
        (false, _) => exit::BUG,
        (true, true) => exit::HOLES,
        (true, false) => exit::DONE,
    })
}
