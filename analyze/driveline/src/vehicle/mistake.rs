//! Mistakes in a vehicle file, shown where they are with what to write instead.

use std::fmt;
use std::ops::Range;

/// Newest version of the vehicle file format that this program reads.
pub const NEWEST_FORMAT: u32 = 5;

/// One mistake: where, what, and what to write instead.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mistake {
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// Number of characters that the carets underline, at least 1.
    pub width: usize,
    /// The line as it stands in the file.
    pub text: String,
    /// What is wrong.
    pub what: String,
    /// What to write instead.
    pub instead: String,
}

impl Mistake {
    /// A mistake at a byte range of the source; a range over several lines marks its first.
    pub(super) fn at(source: &str, span: Range<usize>, what: String, instead: String) -> Self {
        let start = floor_char(source, span.start);
        let end = floor_char(source, span.end.max(start));
        let line_start = source[..start].rfind('\n').map_or(0, |i| i + 1);
        let text = source[line_start..].lines().next().unwrap_or("").to_string();
        let line_end = line_start + text.len();
        let marked = source.get(start..end.min(line_end)).unwrap_or("");
        Mistake {
            line: source[..start].matches('\n').count() + 1,
            column: source[line_start..start].chars().count() + 1,
            width: marked.chars().count().max(1),
            text,
            what,
            instead,
        }
    }
}

fn floor_char(source: &str, at: usize) -> usize {
    let mut at = at.min(source.len());
    while !source.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// A vehicle file that cannot be used, with all its mistakes in the order of the file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct VehicleError {
    /// Name of the file, for the message.
    pub file_name: String,
    /// Every mistake that was found, at least one.
    pub mistakes: Vec<Mistake>,
}

impl fmt::Display for VehicleError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let count = self.mistakes.len();
        let plural = if count == 1 { "mistake" } else { "mistakes" };
        writeln!(f, "{}: {count} {plural}", self.file_name)?;
        for m in &self.mistakes {
            let (number, gap) = (m.line.to_string(), m.line.to_string().len());
            let carets = "^".repeat(m.width);
            // Tabs stay tabs, so that the carets stand under what they mark.
            let pad: String = m.text.chars().take(m.column - 1).map(tab_or_space).collect();
            writeln!(f, "\n{}:{}:{}: {}", self.file_name, m.line, m.column, m.what)?;
            writeln!(f, "  {number} | {}", m.text)?;
            writeln!(f, "  {:gap$} | {pad}{carets}", "")?;
            writeln!(f, "  {:gap$} = {}", "", m.instead)?;
        }
        Ok(())
    }
}

fn tab_or_space(c: char) -> char {
    if c == '\t' { '\t' } else { ' ' }
}
