//! The report folder: page, result, summary and figures.

use super::plots::{self, Figure};
use super::{json, page, terminal};
use crate::result::DriveResult;
use crate::series::Series;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Columns of `summary.txt`.
const SUMMARY_WIDTH: usize = 80;

/// Why a report folder was not written.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// The folder is somebody else's.
    #[error(
        "{0} already holds files that are not a report: nothing was written; \
         name a new or an empty folder"
    )]
    Foreign(PathBuf),
    /// The disk said no.
    #[error("{path} could not be written: {source}; check space and permissions of the folder")]
    Storage {
        /// File or folder.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

/// Writes `report.html`, `result.json`, `summary.txt` and `figures/` into `dir` and returns the
/// path of the page.
///
/// A new folder is complete or absent: it is built beside its place under another name and then
/// moved there. In a folder that holds an earlier report the report's own files are replaced one
/// by one, each as a whole, and `result.json` last; other files stay as they are. A folder that
/// holds files but no report is refused.
pub fn write_folder(
    dir: &Path,
    result: &DriveResult,
    series: &Series,
) -> Result<PathBuf, FolderError> {
    let figures = plots::plots(result, series);
    let files = files(result, &figures);
    match state(dir)? {
        State::Absent => create(dir, &files)?,
        State::Empty => write_all(dir, &files)?,
        State::Report => {
            write_all(dir, &files)?;
            remove_stale_figures(dir, &files)?;
        }
        State::Foreign => return Err(FolderError::Foreign(dir.into())),
    }
    Ok(dir.join("report.html"))
}

/// Names within the folder and contents, in the order in which they are written.
fn files(result: &DriveResult, figures: &[Figure]) -> Vec<(String, Vec<u8>)> {
    let mut files = Vec::new();
    for f in figures {
        let svg = format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}", f.svg().as_str());
        files.push((format!("figures/{}.svg", f.name), svg.into_bytes()));
        files.push((format!("figures/{}.png", f.name), f.png()));
    }
    let summary = terminal::terminal(result, SUMMARY_WIDTH, false);
    files.push(("summary.txt".into(), summary.into_bytes()));
    files.push(("report.html".into(), page::page_with(result, figures).into_bytes()));
    files.push(("result.json".into(), json::write(result).into_bytes()));
    files
}

enum State {
    Absent,
    Empty,
    Report,
    Foreign,
}

/// What is in the way. An earlier report is known by its `result.json`, of whatever version.
fn state(dir: &Path) -> Result<State, FolderError> {
    let mut entries = match fs::read_dir(dir) {
        Ok(entries) => entries,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(State::Absent),
        Err(e) => return Err(storage(dir, e)),
    };
    if entries.next().is_none() {
        return Ok(State::Empty);
    }
    match fs::read_to_string(dir.join("result.json")).map(|text| json::read(&text)) {
        Ok(Ok(_) | Err(json::ReadError::Newer { .. })) => Ok(State::Report),
        _ => Ok(State::Foreign),
    }
}

fn create(dir: &Path, files: &[(String, Vec<u8>)]) -> Result<(), FolderError> {
    let name = dir.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let building = dir.with_file_name(format!(".{name}.{}.partial", std::process::id()));
    fs::create_dir_all(&building).map_err(|e| storage(&building, e))?;
    let done = write_all(&building, files)
        .and_then(|()| fs::rename(&building, dir).map_err(|e| storage(dir, e)));
    if done.is_err() {
        // Best effort: the error that is reported is the one above.
        let _ = fs::remove_dir_all(&building);
    }
    done
}

fn write_all(dir: &Path, files: &[(String, Vec<u8>)]) -> Result<(), FolderError> {
    let figures = dir.join("figures");
    fs::create_dir_all(&figures).map_err(|e| storage(&figures, e))?;
    for (name, bytes) in files {
        let (path, partial) = (dir.join(name), dir.join(format!("{name}.partial")));
        fs::write(&partial, bytes)
            .and_then(|()| fs::rename(&partial, &path))
            .map_err(|e| storage(&path, e))?;
    }
    Ok(())
}

/// A shorter drive has fewer figures of selections than the report that it replaces.
fn remove_stale_figures(dir: &Path, files: &[(String, Vec<u8>)]) -> Result<(), FolderError> {
    let figures = dir.join("figures");
    for entry in fs::read_dir(&figures).map_err(|e| storage(&figures, e))? {
        let entry = entry.map_err(|e| storage(&figures, e))?;
        let name = format!("figures/{}", entry.file_name().to_string_lossy());
        if is_selection_figure(&name) && !files.iter().any(|(n, _)| *n == name) {
            fs::remove_file(entry.path()).map_err(|e| storage(&entry.path(), e))?;
        }
    }
    Ok(())
}

fn is_selection_figure(name: &str) -> bool {
    let stem = name.strip_suffix(".svg").or(name.strip_suffix(".png"));
    stem.and_then(|s| s.strip_prefix("figures/selections-"))
        .is_some_and(|n| n.parse::<u8>().is_ok())
}

fn storage(path: &Path, source: io::Error) -> FolderError {
    FolderError::Storage { path: path.into(), source }
}
