//! Feeds the targets, keeps what is worth keeping, and prints what was done.

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use wheelwitness_fuzz::ledger::{Done, Ledger};
use wheelwitness_fuzz::targets::{TARGETS, Target, find};
use wheelwitness_fuzz::{corpus, ledger};

const HELP: &str = "\
fuzz [--minutes COUNT | --seconds COUNT] [--target NAME]... [--keep] [--table]

Feeds every decoder and reader with what nobody meant it to read, so long each. What was done is
added up in tests/fuzz/corpus/hours.txt and printed; an input that breaks something is written
below target/fuzz and ends the run of its target.
  --minutes   so many each [default: 1]
  --seconds   the same in seconds
  --target    only these
  --keep      adds what was done to the hours, and keeps inputs that reach new code
  --table     prints what has been done, and does nothing
";
/// Memory of a run, in KiB: more is a failure.
const MOST_KIB: u64 = 512 * 1024;
/// One input may take so many seconds.
const MOST_SECONDS: u32 = 60;

struct Asked {
    seconds: u32,
    targets: Vec<&'static Target>,
    keep: bool,
}

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    if words.iter().any(|word| word == "--table") {
        print!("{}", ledger::text(&kept_hours()));
        return ExitCode::SUCCESS;
    }
    let done = typed(&words).map_err(|why| format!("{why}\n{HELP}")).and_then(|asked| run(&asked));
    match done {
        Ok(0) => ExitCode::SUCCESS,
        Ok(_) => ExitCode::FAILURE,
        Err(why) => {
            eprintln!("{why}");
            ExitCode::from(2)
        }
    }
}

fn typed(words: &[String]) -> Result<Asked, String> {
    let mut asked = Asked { seconds: 60, targets: Vec::new(), keep: false };
    let mut words = words.iter();
    while let Some(word) = words.next() {
        let mut next = || words.next().ok_or_else(|| format!("{word}: something is missing"));
        let number =
            |text: &String| text.parse().map_err(|_| format!("{word}: {text} is no number"));
        match word.as_str() {
            "--minutes" => asked.seconds = 60 * number(next()?)?,
            "--seconds" => asked.seconds = number(next()?)?,
            "--keep" => asked.keep = true,
            "--target" => {
                let name = next()?;
                asked.targets.push(find(name).ok_or_else(|| format!("no target {name}"))?);
            }
            _ => return Err(format!("{word} is not understood")),
        }
    }
    if asked.targets.is_empty() {
        asked.targets = TARGETS.iter().collect();
    }
    Ok(asked)
}

fn kept_hours() -> Ledger {
    ledger::read(&std::fs::read_to_string(ledger::file()).unwrap_or_default())
}

/// How many targets broke.
fn run(asked: &Asked) -> Result<u64, String> {
    let engine = build()?;
    let mut these = Ledger::new();
    for target in &asked.targets {
        let work =
            engine.ancestors().nth(2).unwrap_or(Path::new(".")).join("fuzz").join(target.name);
        let done =
            feed(&engine, target, &work, asked).map_err(|e| format!("{}: {e}", target.name))?;
        println!(
            "{:<12} {}: {} inputs, {} broken",
            target.name, target.what, done.inputs, done.broken
        );
        these.insert(target.name.into(), done);
        if asked.keep {
            let mut all = kept_hours();
            all.entry(target.name.into()).or_default().add(done);
            std::fs::write(ledger::file(), ledger::text(&all)).map_err(|e| e.to_string())?;
        }
    }
    let shown = if asked.keep { kept_hours() } else { these.clone() };
    print!("{}", ledger::text(&shown));
    Ok(these.values().map(|done| done.broken).sum())
}

fn build() -> Result<PathBuf, String> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("build-guided");
    let output =
        Command::new(script).stderr(Stdio::inherit()).output().map_err(|e| e.to_string())?;
    let path = String::from_utf8_lossy(&output.stdout).trim().to_owned();
    if output.status.success() { Ok(path.into()) } else { Err("the engine cannot be built".into()) }
}

/// One run of the engine over one target.
fn feed(engine: &Path, target: &Target, work: &Path, asked: &Asked) -> std::io::Result<Done> {
    let inputs = work.join("inputs");
    corpus::lay_out(target, &inputs)?;
    let before_s = children_cpu_s();
    let said = limited(engine, target)
        .arg(format!("-max_total_time={}", asked.seconds))
        .arg(format!("-max_len={}", target.longest))
        .arg(format!("-timeout={MOST_SECONDS}"))
        .arg(format!("-artifact_prefix={}/", work.display()))
        .args(["-print_final_stats=1", "-verbosity=1"])
        .arg(&inputs)
        .output()?;
    let cpu_s = children_cpu_s() - before_s;
    let text = String::from_utf8_lossy(&said.stderr);
    let figure = |name: &str| {
        let line = text.lines().find_map(|line| line.strip_prefix(name));
        line.and_then(|rest| rest.trim().parse().ok()).unwrap_or(0)
    };
    let broken = !said.status.success();
    if broken {
        std::fs::write(work.join("said.txt"), text.as_bytes())?;
        eprintln!("{}: broken; see {}", target.name, work.display());
    } else if asked.keep {
        let least = work.join("least");
        let _ = std::fs::remove_dir_all(&least);
        std::fs::create_dir_all(&least)?;
        let merged = limited(engine, target).arg("-merge=1").args([&least, &inputs]).output()?;
        if merged.status.success() {
            corpus::keep(target, &least)?;
        }
    }
    Ok(Done {
        cpu_s,
        inputs: figure("stat::number_of_executed_units:"),
        broken: broken.into(),
        peak_mib: figure("stat::peak_rss_mb:"),
    })
}

/// The engine under a limit of memory that the kernel holds.
fn limited(engine: &Path, target: &Target) -> Command {
    let mut command = Command::new("sh");
    command.args(["-c", &format!("ulimit -v {MOST_KIB}; exec \"$0\" \"$@\"")]).arg(engine);
    command.env("WHEELWITNESS_FUZZ_TARGET", target.name).stdout(Stdio::null());
    command
}

/// Processor time of all programs that were waited for, in seconds.
fn children_cpu_s() -> f64 {
    use nix::sys::resource::{UsageWho, getrusage};
    let used = getrusage(UsageWho::RUSAGE_CHILDREN);
    used.map_or(0.0, |u| {
        let s = |t: nix::sys::time::TimeVal| t.tv_sec() as f64 + t.tv_usec() as f64 / 1e6;
        s(u.user_time()) + s(u.system_time())
    })
}
