//! The hand sheet: what was turned by hand, engine off, and what was seen.
//!
//! TOML with `format = 1` and one `[[trials]]` a trial; [`TEMPLATE`] explains every key.

use crate::vehicle::{Place, Vehicle};
use serde::{Deserialize, Serialize};

/// Version of the hand sheet that this program reads.
pub const SHEET_FORMAT: u32 = 1;

/// A new hand sheet, with comments and one trial of each kind.
pub const TEMPLATE: &str = include_str!("template.toml");

/// Everything that was turned by hand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HandSheet {
    /// Version of the format.
    pub format: u32,
    /// The trials, in any order.
    #[serde(default)]
    pub trials: Vec<Trial>,
}

/// One trial: one part turned by hand in one mode.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Trial {
    /// Mode row that was engaged.
    pub mode: String,
    /// What was turned.
    pub turned: Part,
    /// What became of the input of the case.
    pub input: Input,
    /// For a raised wheel: every other wheel was held (on the ground, chocked, brake set).
    #[serde(default)]
    pub others_held: bool,
    /// It was turned one way only, without rocking: counters do not know directions.
    #[serde(default)]
    pub one_way: bool,
    /// Stretch of the recording, seconds from its start.
    #[serde(default)]
    pub start_s: Option<f64>,
    /// See `start_s`.
    #[serde(default)]
    pub end_s: Option<f64>,
    /// What the hand felt.
    #[serde(default)]
    pub felt: Option<Felt>,
    /// What the watched part did: the case input for a raised wheel, else the other flange.
    #[serde(default)]
    pub watched: Option<Watched>,
    /// Torque that was applied to a part that held, newton metres (a torque wrench).
    #[serde(default)]
    pub torque_nm: Option<f64>,
    /// Who did it.
    pub by: String,
    /// When, as the person wrote it.
    pub on: String,
}

/// What is turned by hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    /// The raised front left wheel.
    FrontLeft,
    /// The raised front right wheel.
    FrontRight,
    /// The bare front output flange; both shafts are off.
    FrontFlange,
    /// The bare rear output flange; both shafts are off.
    RearFlange,
}

impl Part {
    /// In plain words.
    pub fn words(self) -> &'static str {
        match self {
            Part::FrontLeft => "raised front left wheel",
            Part::FrontRight => "raised front right wheel",
            Part::FrontFlange => "bare front flange",
            Part::RearFlange => "bare rear flange",
        }
    }

    /// Whether it is a wheel.
    pub fn is_wheel(self) -> bool {
        matches!(self, Part::FrontLeft | Part::FrontRight)
    }

    /// The output of the case that turns with it.
    pub fn output(self) -> Place {
        if self == Part::RearFlange { Place::RearShaft } else { Place::FrontShaft }
    }
}

/// What became of the input of the case.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Input {
    /// Nothing could turn it.
    Held,
    /// It could turn: gearbox in neutral.
    Free,
}

/// What the hand felt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Felt {
    /// The part turned on and on.
    Turned,
    /// It stopped after its play.
    Held,
}

/// What the watched part did while the other one was turned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Watched {
    /// It turned the same way.
    Same,
    /// It turned the opposite way.
    Opposite,
    /// It did not turn.
    None,
}

/// A hand sheet that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{file_name}: {what}\n  write instead: {instead}")]
pub struct SheetError {
    /// Name of the file, for the message.
    pub file_name: String,
    /// What is wrong, and where.
    pub what: String,
    /// What to write.
    pub instead: String,
}

/// A mistake: what is wrong, and what to write.
type Wrong = (String, String);

impl HandSheet {
    /// Reads a hand sheet and holds it against the vehicle.
    ///
    /// # Errors
    /// The first mistake: not TOML, an unknown key or word, a newer format, or a trial that the
    /// vehicle cannot have had; `file_name` only goes into the message.
    ///
    /// ```
    /// # let text = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/all/two-modes.toml"));
    /// use wheelwitness_driveline::hand::HandSheet;
    /// use wheelwitness_driveline::vehicle::Vehicle;
    /// let vehicle = Vehicle::parse(text, "two-modes.toml").unwrap();
    /// let error = HandSheet::parse("format = 7", "hand.toml", &vehicle).unwrap_err();
    /// assert!(error.to_string().contains("format 7"));
    /// ```
    pub fn parse(text: &str, file_name: &str, vehicle: &Vehicle) -> Result<Self, SheetError> {
        let refuse = |(what, instead): Wrong| {
            let file_name = file_name.to_string();
            SheetError { file_name, what, instead }
        };
        newer_format(text).map_err(refuse)?;
        let sheet: HandSheet = toml::from_str(text).map_err(|e| {
            let what = e.to_string().trim_end().to_string();
            refuse((what, "the keys and words that `wheelwitness hand new` explains".into()))
        })?;
        for (trial, number) in sheet.trials.iter().zip(1..) {
            let told = |(what, instead)| refuse((format!("trial {number}: {what}"), instead));
            trial.check(vehicle).map_err(told)?;
        }
        Ok(sheet)
    }
}

/// A newer format is refused by its number, whatever else it holds.
fn newer_format(text: &str) -> Result<(), Wrong> {
    #[derive(Deserialize)]
    struct Head {
        format: i64,
    }
    match toml::from_str::<Head>(text) {
        Ok(Head { format }) if format != i64::from(SHEET_FORMAT) => Err((
            format!("this is a hand sheet of format {format}"),
            format!("format = {SHEET_FORMAT}, or use a newer program"),
        )),
        _ => Ok(()),
    }
}

impl Trial {
    /// Length of its stretch, in seconds; None where it has none.
    pub fn seconds(&self) -> Option<f64> {
        Some(self.end_s? - self.start_s?)
    }

    fn check(&self, vehicle: &Vehicle) -> Result<(), Wrong> {
        let wrong = |what: &str, instead: &str| Err((what.to_string(), instead.to_string()));
        if vehicle.mode(&self.mode).is_none() {
            let names: Vec<&str> = vehicle.modes.iter().map(|m| m.name.as_str()).collect();
            let what = format!("the vehicle file has no mode \"{}\"", self.mode);
            return Err((what, format!("one of: {}", names.join(", "))));
        }
        match (self.start_s, self.end_s) {
            (Some(a), Some(b)) if !(a.is_finite() && b.is_finite() && 0.0 <= a && a < b) => {
                return wrong("its stretch ends before it begins", "start_s below end_s");
            }
            (Some(_), None) | (None, Some(_)) => {
                return wrong("half a stretch says nothing", "both start_s and end_s, or neither");
            }
            (None, None) if self.felt.is_none() => {
                return wrong(
                    "nothing was counted and nothing felt",
                    "felt = \"turned\" or \"held\"",
                );
            }
            _ => {}
        }
        if self.torque_nm.is_some_and(|t| !(t.is_finite() && t > 0.0)) {
            return wrong("a torque is above zero", "torque_nm = 300, or leave it out");
        }
        if self.turned.is_wheel() && self.watched == Some(Watched::Opposite) {
            let instead = "watched = \"same\" or \"none\": what the case input did";
            return wrong("no case turns its input against a raised wheel", instead);
        }
        Ok(())
    }
}
