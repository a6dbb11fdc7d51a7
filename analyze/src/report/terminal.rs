//! The summary for a terminal or a text file: verdicts first, then what is missing, then the
//! selections.

use super::words;
use crate::result::{Claim, DriveResult, Selection, Verdict};
use textwrap::core::display_width;

/// Narrowest and widest text: beyond that, lines are hard to read.
const WIDTHS: std::ops::RangeInclusive<usize> = 30..=160;
/// Under this width the table is stacked.
const TABLE_WIDTH: usize = 72;
/// Width of the column of numbered claim ids: the longest, `selection-completes`, in one line.
const ID: usize = 22;
/// As many holes and selections are listed; `result.json` has all of them.
const LISTED: usize = 12;

/// The summary of a drive, at most `width` columns wide (30 to 160), with ANSI colours on the
/// verdicts when asked for. No text is cut: what does not fit is wrapped. Control characters that
/// arrived in names are shown as `\xNN`.
pub fn terminal(result: &DriveResult, width: usize, colour: bool) -> String {
    let width = width.clamp(*WIDTHS.start(), *WIDTHS.end());
    let mut page = Page { out: String::new(), width, colour };
    page.claims(result);
    page.missing(result);
    page.selections(&result.selections);
    page.witnesses(result);
    page.out
}

struct Page {
    out: String,
    width: usize,
    colour: bool,
}

impl Page {
    fn line(&mut self, text: &str) {
        self.out.push_str(text.trim_end());
        self.out.push('\n');
    }

    /// Wrapped text with an indent for the first line and one for the others.
    fn wrapped(&mut self, first: &str, rest: &str, text: &str) {
        let options = textwrap::Options::new(self.width)
            .initial_indent(first)
            .subsequent_indent(rest)
            .break_words(true);
        for line in textwrap::wrap(text, options) {
            self.line(&line);
        }
    }

    fn heading(&mut self, text: &str) {
        self.line("");
        self.line(text);
    }

    fn claims(&mut self, result: &DriveResult) {
        self.wrapped("", "", &format!("Drive of {}", words::visible(&result.vehicle.name)));
        self.wrapped("", "", &drive_facts(result));
        self.wrapped("", "", &format!("Verdicts: {}.", words::tally(&result.claims)));
        self.line("");
        let table = Table::new(self.width);
        if let Some(t) = &table {
            self.row(t, ["Claim", "Scope", "Verdict", "Key number (± at 95 %)"], None);
            self.line(&"-".repeat(self.width));
        }
        for (claim, number) in result.claims.iter().zip(1..) {
            match &table {
                Some(t) => self.claim_row(t, number, claim),
                None => self.claim_stack(number, claim),
            }
            self.reasons(claim);
        }
        self.wrapped("", "", words::EVIDENCE_NOT_APPROVAL);
    }

    fn claim_row(&mut self, table: &Table, number: usize, claim: &Claim) {
        let key = words::key_number(claim);
        let (id, scope) = (words::numbered(number, claim), words::visible(&claim.scope));
        self.row(table, [&id, &scope, words::verdict(claim.verdict), &key], Some(claim.verdict));
    }

    fn claim_stack(&mut self, number: usize, claim: &Claim) {
        let key = words::key_number(claim);
        self.wrapped("", "  ", &words::numbered(number, claim));
        self.wrapped("  ", "  ", &words::visible(&claim.scope));
        let verdict = self.painted(words::verdict(claim.verdict), Some(claim.verdict));
        self.line(&format!("  {verdict}"));
        self.wrapped("  ", "  ", &key);
    }

    fn reasons(&mut self, claim: &Claim) {
        self.wrapped("  why:  ", "        ", &words::visible(&claim.reason));
        if let Some(step) = &claim.next_step {
            self.wrapped("  next: ", "        ", &words::visible(step));
        }
        self.line("");
    }

    /// One row of the table; each cell wraps in its own column.
    fn row(&mut self, table: &Table, cells: [&str; 4], verdict: Option<Verdict>) {
        let wrapped: Vec<Vec<String>> = cells
            .iter()
            .zip(table.widths)
            .map(|(text, w)| textwrap::wrap(text, w).iter().map(|l| l.to_string()).collect())
            .collect();
        let height = wrapped.iter().map(Vec::len).max().unwrap_or(0);
        for i in 0..height {
            let mut line = String::new();
            for (column, width) in table.widths.iter().enumerate() {
                let cell = wrapped[column].get(i).map_or("", String::as_str);
                let paint = if column == 2 { verdict } else { None };
                line.push_str(&self.painted(cell, paint));
                line.push_str(&" ".repeat(width.saturating_sub(display_width(cell)) + 2));
            }
            self.line(&line);
        }
    }

    /// Bold for all, and colours that colour-blind readers tell apart; the word says it anyway.
    fn painted(&self, text: &str, verdict: Option<Verdict>) -> String {
        let code = match verdict {
            Some(Verdict::Proven) => "1;36",
            Some(Verdict::Disproven) => "1;33",
            Some(Verdict::Undecided) => "1",
            None => return text.into(),
        };
        if self.colour && !text.is_empty() {
            format!("\x1b[{code}m{text}\x1b[0m")
        } else {
            text.into()
        }
    }

    fn missing(&mut self, result: &DriveResult) {
        self.heading("Missing");
        let mut lines = words::missing(&result.capture);
        let more = lines.len().saturating_sub(LISTED);
        lines.truncate(LISTED);
        if more > 0 {
            lines.push(format!("and {more} more, all in result.json"));
        }
        for s in &result.sources {
            lines.extend(source_losses(s));
        }
        if lines.is_empty() {
            lines.push("nothing that the numbering would show".into());
        }
        for text in lines {
            self.wrapped("  ", "    ", &text);
        }
    }

    fn selections(&mut self, selections: &[Selection]) {
        self.heading("Selections");
        if selections.is_empty() {
            self.line("  none in this drive");
        }
        for s in selections.iter().take(LISTED) {
            self.wrapped("  ", "    ", &selection_line(s));
            for note in words::selection_notes(s) {
                self.wrapped("     ", "       ", &words::visible(&note));
            }
        }
        if selections.len() > LISTED {
            let more = selections.len() - LISTED;
            self.line(&format!("  and {more} more, all in result.json"));
        }
    }
}

/// Pairs, disagreements and trials by hand, a line each.
impl Page {
    fn witnesses(&mut self, result: &DriveResult) {
        for p in result.pairs.iter().take(LISTED) {
            let from = p.from.as_deref().unwrap_or("unknown");
            let text = format!(
                "{from} to {}: {}, median {:.3} s, worst {:.3} s",
                p.to,
                words::counted(p.n as u64, "time"),
                p.median_s,
                p.worst_s
            );
            self.wrapped("  ", "    ", &words::visible(&text));
        }
        self.heading("Request, switches and shafts");
        self.wrapped("  ", "    ", &words::conflicts(&result.witnesses));
        for c in result.witnesses.conflicts.iter().take(LISTED) {
            let [a, b] = c.between.map(words::witness);
            let stretch = words::stretch(c.start_s, c.end_s);
            let text = format!("{stretch}: {a} {}, {b} {}", c.says[0], c.says[1]);
            self.wrapped("  ", "    ", &words::visible(&text));
        }
        let Some(hand) = &result.hand else { return };
        self.heading("Turned by hand");
        for t in &hand.trials {
            let text = format!("{}. {}: {}: {}", t.number, t.mode, t.what, words::hand_fits(t));
            self.wrapped("  ", "    ", &words::visible(&text));
        }
    }
}

/// Widths of the four columns of the verdict table.
struct Table {
    widths: [usize; 4],
}

impl Table {
    /// `None` when the columns would be too narrow to read.
    fn new(width: usize) -> Option<Self> {
        let free = width.checked_sub(ID + 9 + 3 * 2)?;
        let scope = free * 2 / 5;
        (width >= TABLE_WIDTH).then(|| Table { widths: [ID, scope, 9, free - scope] })
    }
}

/// When, how long, how far, and whether it was simulated.
pub(super) fn drive_facts(result: &DriveResult) -> String {
    let started = words::started(&result.capture);
    let mut facts = vec![match started {
        Some(date) => format!("Started {date} by the host's clock"),
        None => "Start unknown".into(),
    }];
    facts.push(result.duration_s.map_or("length unknown".into(), words::seconds));
    facts.push(
        result.distance_m.map_or("distance unknown".into(), |d| format!("{} m", words::number(d))),
    );
    if let Some(scale) = result.capture.simulated_clock_scale {
        facts.push(format!("SIMULATED, clock scale {}", words::number(scale)));
    }
    facts.join(", ") + "."
}

/// What a source lost, a line each; nothing for a sound one.
pub(super) fn source_losses(s: &crate::result::SourceInfo) -> Vec<String> {
    let name = format!("source {} ({})", s.number, words::visible(&s.name));
    let mut lines = Vec::new();
    if let Some(n) = s.missing.filter(|n| *n > 0) {
        lines.push(format!("{name}: {} missing by their numbers", words::counted(n, "sentence")));
    }
    if s.interruptions > 0 {
        lines.push(format!(
            "{name}: lost and found again, {}",
            words::counted(s.interruptions.into(), "time")
        ));
    }
    for (fault, n) in &s.faults {
        lines.push(format!(
            "{name}: {} refused, {}",
            words::counted(*n, "sentence"),
            words::visible(fault)
        ));
    }
    lines
}

/// One selection as a line.
pub(super) fn selection_line(s: &Selection) -> String {
    let from = s.from.as_deref().map_or("unknown".into(), words::visible);
    let mut text = format!(
        "{}. {}, {from} to {}: {}",
        s.number,
        words::seconds(s.requested_s),
        words::visible(&s.to),
        words::visible(&s.outcome)
    );
    if let Some(done) = s.stages.iter().filter_map(|x| x.settled_s).reduce(f64::max) {
        text.push_str(&format!(", last stage settled after {done:.3} s"));
    }
    text.push_str(&words::visible(&words::needed(s).unwrap_or_default()).replacen("; ", ", ", 1));
    if let Some(detail) = &s.detail {
        text.push_str(&format!(" ({})", words::visible(detail)));
    }
    text
}
