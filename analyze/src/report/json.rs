//! The result of a drive as JSON: written in one form only, read back with the version checked.

use crate::result::{DriveResult, SCHEMA};
use serde::Deserialize;

/// Why a text is not a result that this program reads.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// Not JSON, or JSON of another shape.
    #[error("this is not a drive result: {0}; give the result.json of a report folder")]
    NotAResult(#[from] serde_json::Error),
    /// JSON of another kind.
    #[error(
        "this JSON calls itself {found:?}, not {SCHEMA}; give the result.json of a report folder"
    )]
    OtherSchema {
        /// What it calls itself.
        found: String,
    },
    /// A later version of the result.
    #[error(
        "this result is {found}, and this program reads up to {SCHEMA}: use a newer wheelwitness"
    )]
    Newer {
        /// What it calls itself.
        found: String,
    },
}

/// The canonical text of a result: fields in the order of `SCHEMAS.md`, two spaces of indent,
/// unknown as `null`, a newline at the end. The same result always gives the same bytes.
pub fn write(result: &DriveResult) -> String {
    let text = serde_json::to_string_pretty(result).expect("a result has only string keys");
    text + "\n"
}

/// Reads a result of any version up to [`SCHEMA`]; a newer one is refused by name.
pub fn read(text: &str) -> Result<DriveResult, ReadError> {
    #[derive(Deserialize)]
    struct Head {
        schema: String,
    }
    let found = serde_json::from_str::<Head>(text)?.schema;
    match version(&found) {
        Some(v) if Some(v) > version(SCHEMA) => Err(ReadError::Newer { found }),
        Some(1 | 2) => Ok(serde_json::from_str(text)?),
        _ => Err(ReadError::OtherSchema { found }),
    }
}

/// The number of a result version; `None` for anything else.
fn version(schema: &str) -> Option<u32> {
    schema.strip_prefix("wheelwitness-result/")?.parse().ok()
}
