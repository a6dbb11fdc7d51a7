//! Every command line that a document shows is one that the program understands.

use crate::tree::{File, files, none};
use clap::Parser;
use clap::error::ErrorKind;

/// How a document shows a command.
#[derive(Debug, PartialEq)]
enum Shown {
    /// In a block of its own: to be typed as it stands.
    Block,
    /// Within a sentence: may be no more than the name of a command.
    Inline,
}

/// Command lines of our programs in a document: line, how, words.
fn shown(document: &File) -> Vec<(usize, Shown, Vec<String>)> {
    let mut all = Vec::new();
    let mut fenced = false;
    let mut open: Option<(usize, String)> = None;
    for (n, line) in document.lines() {
        if line.trim_start().starts_with("```") {
            fenced = !fenced;
        } else if fenced {
            let (first, so_far) = open.take().unwrap_or((n, String::new()));
            let whole = format!("{so_far}{}", line.trim());
            match whole.strip_suffix('\\') {
                Some(begun) => open = Some((first, begun.to_string())),
                None => all.extend(command(&whole).map(|words| (first, Shown::Block, words))),
            }
        } else {
            let spans = line.split('`').skip(1).step_by(2);
            all.extend(spans.filter_map(command).map(|words| (n, Shown::Inline, words)));
        }
    }
    all
}

/// The words of one of our programs, its name first; None for anything else.
fn command(line: &str) -> Option<Vec<String>> {
    let line = line.strip_prefix("$ ").unwrap_or(line);
    let one = line.split(" | ").next()?.split(" > ").next()?.split(" && ").next()?;
    let through_cargo = one.strip_prefix("cargo run -p wheelwitness -- ");
    let ours = match through_cargo {
        Some(rest) => format!("wheelwitness {rest}"),
        None => one.to_string(),
    };
    let words = words(&ours);
    let program = words.first()?;
    let named = matches!(program.as_str(), "wheelwitness" | "wheelwitness-log");
    (named && words.len() > 1).then_some(words)
}

/// Splits as a shell does, as far as our documents need it: blanks, quotes, comments.
fn words(line: &str) -> Vec<String> {
    let mut all = vec![String::new()];
    let mut quote = None;
    for c in line.chars() {
        match (c, quote) {
            (c, Some(q)) if c == q => quote = None,
            ('\'' | '"', None) => quote = Some(c),
            ('#', None) if all.last().is_some_and(String::is_empty) => break,
            (' ', None) => all.push(String::new()),
            (c, _) => all.last_mut().expect("there is a word").push(c),
        }
    }
    all.retain(|w| !w.is_empty());
    all
}

/// Why a program does not understand the words; None if it does.
fn misunderstood(words: &[String]) -> Option<clap::Error> {
    if words[0] == "wheelwitness-log" {
        wheelwitness_logger::cli::Cli::try_parse_from(words).err()
    } else {
        wheelwitness::Cli::try_parse_from(words).err()
    }
}

fn is_fine(error: &clap::Error, how: &Shown) -> bool {
    match error.kind() {
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion => true,
        ErrorKind::MissingRequiredArgument | ErrorKind::MissingSubcommand => *how == Shown::Inline,
        ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand => *how == Shown::Inline,
        _ => false,
    }
}

#[test]
fn every_command_line_in_a_document_is_understood() {
    let mut bad = Vec::new();
    let mut seen = 0;
    for document in files().iter().filter(|f| f.path.ends_with(".md")) {
        for (line, how, words) in shown(document) {
            seen += 1;
            let error = misunderstood(&words).filter(|e| !is_fine(e, &how));
            let why = error.map(|e| e.to_string().lines().next().unwrap_or("").to_string());
            let typed = words.join(" ");
            bad.extend(why.map(|w| format!("{}:{line}: {typed}: {w}", document.path)));
        }
    }
    assert!(seen >= 12, "found {seen} command lines only: the rule no longer sees them");
    none("command lines that the program does not understand", bad);
}

#[test]
fn the_reader_of_documents_sees_blocks_spans_and_long_lines() {
    let text = [
        "Say `wheelwitness ports` or `cargo`.",
        "```sh",
        "$ wheelwitness judge \\",
        "  \"a b\" # x",
        "cargo run -p wheelwitness -- demo | tail",
        "```",
    ]
    .join("\n");
    let document = File { path: "x.md".into(), text };
    let seen: Vec<(usize, String)> =
        shown(&document).into_iter().map(|(n, _, words)| (n, words.join("+"))).collect();
    let expected = [
        (1, "wheelwitness+ports".into()),
        (3, "wheelwitness+judge+a b".into()),
        (5, "wheelwitness+demo".into()),
    ];
    assert_eq!(seen, expected);
    let wrong = words("wheelwitness judge --colour");
    assert!(!is_fine(&misunderstood(&wrong).expect("no such option"), &Shown::Inline));
}
