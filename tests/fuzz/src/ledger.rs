//! What has been done: hours, inputs, what broke and the most memory, added up target by target.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::PathBuf;

/// Figures of one target.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Done {
    /// Processor time, in seconds.
    pub cpu_s: f64,
    /// Inputs fed.
    pub inputs: u64,
    /// Runs that ended in a panic, at the limit of memory, or after a minute with one input.
    pub broken: u64,
    /// Most memory of a run, in MiB.
    pub peak_mib: u64,
}

impl Done {
    /// Adds another run.
    pub fn add(&mut self, other: Done) {
        self.cpu_s += other.cpu_s;
        self.inputs += other.inputs;
        self.broken += other.broken;
        self.peak_mib = self.peak_mib.max(other.peak_mib);
    }
}

/// All targets by name.
pub type Ledger = BTreeMap<String, Done>;

/// Where it stands.
pub fn file() -> PathBuf {
    crate::corpus::folder().join("hours.txt")
}

/// Reads it; what is no line of it is passed over.
pub fn read(text: &str) -> Ledger {
    let line = |line: &str| {
        let words: Vec<&str> = line.split_whitespace().collect();
        let [name, cpu_s, inputs, broken, peak_mib] = words[..] else { return None };
        let done = Done {
            cpu_s: cpu_s.parse().ok()?,
            inputs: inputs.parse().ok()?,
            broken: broken.parse().ok()?,
            peak_mib: peak_mib.parse().ok()?,
        };
        Some((name.to_owned(), done))
    };
    text.lines().filter_map(line).collect()
}

/// As text, with a line of headings and one of sums.
pub fn text(ledger: &Ledger) -> String {
    let mut text = "target          cpu-s        inputs  broken  peak-MiB\n".to_owned();
    for (name, d) in ledger {
        let (cpu_s, inputs, broken, peak_mib) = (d.cpu_s, d.inputs, d.broken, d.peak_mib);
        let _ = writeln!(text, "{name:<12} {cpu_s:>8.1} {inputs:>13} {broken:>7} {peak_mib:>9}");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ledger_reads_back_and_adds_up() {
        let run = Done { cpu_s: 60.5, inputs: 1000, broken: 0, peak_mib: 40 };
        let mut ledger = Ledger::new();
        ledger.entry("wire".into()).or_default().add(run);
        ledger.entry("wire".into()).or_default().add(Done { broken: 1, peak_mib: 30, ..run });
        let again = read(&text(&ledger));
        assert_eq!(again, ledger);
        let both = Done { cpu_s: 121.0, inputs: 2000, broken: 1, peak_mib: 40 };
        assert_eq!(again["wire"], both);
    }
}
