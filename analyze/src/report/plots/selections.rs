//! The stages of each selection, as bars over the time since its request.

use super::super::words;
use super::{Body, Plan};
use crate::result::{Selection, Stage};

/// Selections a figure: what fits on half a printed page.
const PER_FIGURE: usize = 4;
/// As many figures are drawn; the table of the page lists every selection.
const FIGURES: usize = 6;

/// The stages of a few selections on one axis.
pub struct Chart {
    /// End of the axis, seconds since the request.
    pub end_s: f64,
    /// The selections.
    pub groups: Vec<Group>,
}

/// One selection.
pub struct Group {
    /// Number, modes and outcome.
    pub heading: String,
    /// Its stages; empty when none was seen.
    pub bars: Vec<Bar>,
}

/// One stage.
pub struct Bar {
    /// Its name.
    pub name: String,
    /// First edge and settled time, seconds since the request.
    pub first_s: f64,
    /// Settled time; `None` if it never settled.
    pub settled_s: Option<f64>,
}

impl Bar {
    /// Its numbers in words.
    pub fn times(&self) -> String {
        match self.settled_s {
            Some(s) => format!("{:.3} s, settled {s:.3} s", self.first_s),
            None => format!("{:.3} s, never settled", self.first_s),
        }
    }
}

/// One figure for every few selections, or one that says that there was none.
pub fn plans(selections: &[Selection]) -> Vec<Plan> {
    if selections.is_empty() {
        let words = Body::Words("No mode was requested in this drive.".into());
        return vec![plan(1, words, String::new())];
    }
    let shown = selections.chunks(PER_FIGURE).take(FIGURES);
    let left = selections.len().saturating_sub(PER_FIGURE * FIGURES);
    let more = match left {
        0 => String::new(),
        n => format!(" {n} more selections are in the table only."),
    };
    shown.enumerate().map(|(i, s)| plan(i + 1, Body::Stages(chart(s)), more.clone())).collect()
}

fn plan(number: usize, body: Body, more: String) -> Plan {
    Plan {
        name: format!("selections-{number}"),
        title: "Selections, stage by stage".into(),
        caption: format!(
            "Each stage from its first edge to where it had settled, in seconds since the \
             request. A pale bar to the right edge never settled.{more}"
        ),
        body,
    }
}

fn chart(selections: &[Selection]) -> Chart {
    let groups: Vec<Group> = selections.iter().map(group).collect();
    let bars = groups.iter().flat_map(|g| &g.bars);
    let end = bars.map(|b| b.settled_s.unwrap_or(0.0).max(b.first_s)).fold(1.0, f64::max);
    Chart { end_s: end * 1.04, groups }
}

fn group(s: &Selection) -> Group {
    let name = |n: &str| words::elided(n, 30);
    let from = s.from.as_deref().map_or("unknown".into(), name);
    Group {
        heading: format!("{}. {from} to {}: {}", s.number, name(&s.to), name(&s.outcome)),
        bars: s.stages.iter().filter_map(bar).collect(),
    }
}

fn bar(stage: &Stage) -> Option<Bar> {
    let drawable = |t: &f64| (0.0..1e6).contains(t);
    Some(Bar {
        name: words::elided(&stage.name, 30),
        first_s: Some(stage.first_edge_s).filter(drawable)?,
        settled_s: stage.settled_s.filter(drawable),
    })
}
