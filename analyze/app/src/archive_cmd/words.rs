//! Drives in words. Every text of a manifest may be a stranger's: the door makes it visible.

use wheelwitness_analyze::report::words::{counted, verdict};
use wheelwitness_analyze::result::Verdict;
use wheelwitness_archive::archive::Drive;
use wheelwitness_archive::difference::Difference;
use wheelwitness_archive::manifest::{Judgement, Manifest};

/// A text from a manifest on one line: what breaks lines there is shown, not done.
pub fn line(text: &str) -> String {
    wheelwitness_analyze::report::words::visible(text)
}

/// A wall-clock time, to the minute.
pub fn minute(wall_ns: i64) -> String {
    let at = jiff::Timestamp::from_nanosecond(wall_ns.into());
    at.map_or("unknown".into(), |t| t.strftime("%Y-%m-%d %H:%M UTC").to_string())
}

/// A length of time.
pub fn length(seconds: Option<f64>) -> String {
    let Some(s) = seconds.filter(|s| *s >= 0.0) else { return "length unknown".into() };
    let whole = s.round() as u64;
    match (whole / 3600, whole / 60 % 60, whole % 60) {
        (0, 0, s) => format!("{s} s"),
        (0, m, s) => format!("{m} min {s} s"),
        (h, m, _) => format!("{h} h {m} min"),
    }
}

/// A drive in a list.
pub fn entry(drive: &Drive) -> String {
    let m = &drive.manifest;
    let vehicle = m.vehicle().map_or("not judged".into(), line);
    let invented = if m.recording.simulated_clock_scale.is_some() { ", simulated" } else { "" };
    let mut text = format!(
        "{}  {}, {}, {vehicle}{invented}\n",
        drive.id,
        m.started_wall_ns().map_or("start unknown".into(), minute),
        length(m.recording.duration_s),
    );
    let mut facts = vec![m.judged().map_or("no verdicts".into(), tally)];
    if !m.recording.holes.is_empty() {
        facts.push(counted(m.recording.holes.len() as u64, "hole"));
    }
    if !m.notes.is_empty() {
        facts.push(counted(m.notes.len() as u64, "note"));
    }
    text += &format!("    {}\n", facts.join("; "));
    text
}

/// How many claims are proven, disproven, undecided.
pub fn tally(j: &Judgement) -> String {
    let count = |v| j.claims.iter().filter(|c| c.verdict == v).count();
    format!(
        "{} proven, {} disproven, {} undecided",
        count(Verdict::Proven),
        count(Verdict::Disproven),
        count(Verdict::Undecided)
    )
}

/// Everything about a drive.
pub fn whole(drive: &Drive) -> String {
    let m = &drive.manifest;
    let r = &m.recording;
    let mut text = entry(drive);
    text += &format!("    recording {}, {}\n", r.id, counted(r.records, "record"));
    if !r.closed {
        text += "    not closed cleanly: its end may be missing\n";
    }
    for h in &r.holes {
        text += &format!(
            "    hole in segment {}, {} from byte {}\n",
            h.segment,
            counted(h.bytes, "byte"),
            h.offset
        );
    }
    for s in &r.sources {
        let missing = s.missing.map_or("nothing counts its losses".into(), |n| match n {
            0 => "nothing missing".into(),
            n => format!("{n} missing"),
        });
        text += &format!("    source {}: {}, {missing}\n", line(&s.name), line(&s.speaks));
    }
    text += &format!(
        "    kept {}, {} in {}\n",
        minute(m.kept_wall_ns),
        bytes(m.bytes()),
        counted(m.files.len() as u64, "file")
    );
    m.judgements.iter().for_each(|j| text += &judgement(drive, j));
    if let Some(j) = m.judged() {
        text += "\n";
        for c in &j.claims {
            text += &format!("{:9}  {} ({})\n", verdict(c.verdict), line(&c.id), line(&c.scope));
        }
    }
    text + &notes(m)
}

fn judgement(drive: &Drive, j: &Judgement) -> String {
    let head = format!(
        "\nJudgement {}, {}, by version {}",
        j.number,
        minute(j.at_wall_ns),
        line(&j.program)
    );
    if let Some(why) = &j.failed {
        return format!("{head}: no result: {}\n", line(why));
    }
    let page = drive.folder.join(format!("report-{:06}", j.number)).join("report.html");
    let page = if page.is_file() {
        format!("{}", page.display())
    } else {
        format!("no page here; make one with: wheelwitness archive rejudge {}", drive.id)
    };
    let by = j.vehicle_file.as_ref().map_or("no vehicle file".into(), ToString::to_string);
    let by = match &j.hand_file {
        Some(hand) => format!("{by} and {hand}"),
        None => by,
    };
    let modes: Vec<String> = j.modes.iter().map(|m| line(m)).collect();
    let modes = if modes.is_empty() { "none".into() } else { modes.join(", ") };
    format!("{head}, {by}: {}\n    modes: {modes}\n    {page}\n", tally(j))
}

fn notes(m: &Manifest) -> String {
    let note = |n: &wheelwitness_archive::manifest::Note| {
        let lines: Vec<String> = n.text.lines().map(line).collect();
        format!("\nNote of {}:\n    {}\n", minute(n.at_wall_ns), lines.join("\n    "))
    };
    m.notes.iter().map(note).collect()
}

/// What another judgement says otherwise.
pub fn difference(d: &Difference) -> String {
    let word = |v: Option<Verdict>| v.map_or("not made", verdict);
    format!(
        "    {} ({}): {} before, {} now\n",
        line(&d.id),
        line(&d.scope),
        word(d.before),
        word(d.now)
    )
}

/// A number of bytes in a unit that a reader can take in.
pub fn bytes(n: u64) -> String {
    wheelwitness_logger::text::bytes(n)
}
