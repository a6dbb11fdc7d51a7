//! Holding a document against the table of keys: every mistake of shape in one walk.
//!
//! The walk also builds a document that is right in shape, with stand-ins where the file was
//! wrong, so that the checks of meaning still run on all the rest. What was stood in for is
//! remembered, and no mistake is reported there twice.

use super::mistake::Mistake;
use super::schema::{Key, Kind};
use crate::units::MM_PER_INCH;
use std::collections::BTreeSet;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

/// A place in the document: keys, and list positions as decimal text.
pub(super) type Path = Vec<String>;

/// What the walk found.
pub(super) struct Shaped {
    /// The document, right in shape.
    pub table: toml::Value,
    /// Where it holds a stand-in.
    pub stand_ins: BTreeSet<Path>,
    /// The mistakes.
    pub mistakes: Vec<Mistake>,
}

/// Walks the document.
pub(super) fn shape(source: &str, root: &Spanned<DeTable>, keys: &[Key]) -> Shaped {
    let mut walk =
        Walk { source, path: Path::new(), stand_ins: BTreeSet::new(), mistakes: Vec::new() };
    // A key that misses at the top belongs before the first table: point at the first line.
    let table = walk.table(root.get_ref(), keys, 0..0);
    Shaped { table, stand_ins: walk.stand_ins, mistakes: walk.mistakes }
}

struct Walk<'a> {
    source: &'a str,
    path: Path,
    stand_ins: BTreeSet<Path>,
    mistakes: Vec<Mistake>,
}

impl Walk<'_> {
    fn mistake(&mut self, span: Range<usize>, what: String, instead: String) {
        self.mistakes.push(Mistake::at(self.source, span, what, instead));
    }

    fn below<T>(&mut self, step: &str, visit: impl FnOnce(&mut Self) -> T) -> T {
        self.path.push(step.to_string());
        let result = visit(self);
        self.path.pop();
        result
    }

    /// The last key on the way here, as a name for messages.
    fn here(&self) -> String {
        let is_name = |s: &&String| s.parse::<usize>().is_err();
        self.path.iter().rev().find(is_name).cloned().unwrap_or_default()
    }

    fn stand_in(&mut self, kind: &Kind) -> toml::Value {
        self.stand_ins.insert(self.path.clone());
        plausible(kind)
    }

    fn wrong(&mut self, kind: &Kind, span: Range<usize>, what: String) -> toml::Value {
        let instead = format!("write {}", example(&self.here(), kind));
        self.mistake(span, what, instead);
        self.stand_in(kind)
    }

    fn value(&mut self, kind: &Kind, value: &Spanned<DeValue>) -> toml::Value {
        match (kind, value.get_ref()) {
            (Kind::Number { .. }, DeValue::Integer(_) | DeValue::Float(_)) => {
                self.number(kind, value)
            }
            (Kind::Whole { min, max }, DeValue::Integer(i)) => {
                match i64::from_str_radix(i.as_str(), i.radix()) {
                    Ok(n) if (*min..=*max).contains(&n) => toml::Value::Integer(n),
                    _ => {
                        let what = format!("`{}` = {i} is not {min} to {max}", self.here());
                        self.wrong(kind, value.span(), what)
                    }
                }
            }
            (Kind::Flag, DeValue::Boolean(yes)) => toml::Value::Boolean(*yes),
            (Kind::Text, DeValue::String(s)) if !s.trim().is_empty() => {
                toml::Value::String(s.to_string())
            }
            (Kind::Text, DeValue::String(_)) => {
                let what = format!("`{}` is empty", self.here());
                self.wrong(kind, value.span(), what)
            }
            (Kind::Word(words), DeValue::String(s)) => self.word(kind, words, s, value.span()),
            (Kind::Table(keys), DeValue::Table(t)) => self.table(t, keys, value.span()),
            (Kind::Tagged(variants), DeValue::Table(t)) => self.tagged(kind, variants, t, value),
            (Kind::Map(inner), DeValue::Table(t)) => self.map(inner, t),
            (Kind::List(inner), DeValue::Array(a)) => self.list(inner, a),
            (Kind::Two(inner), DeValue::Array(a)) if a.len() == 2 => self.list(inner, a),
            (_, other) => {
                let what = format!("`{}` is {}", self.here(), with_article(other.type_str()));
                self.wrong(kind, value.span(), what)
            }
        }
    }

    fn number(&mut self, kind: &Kind, value: &Spanned<DeValue>) -> toml::Value {
        let Kind::Number { min, max, unit } = kind else { return self.stand_in(kind) };
        let number = as_f64(value.get_ref());
        if (*min..=*max).contains(&number) {
            return toml::Value::Float(number);
        }
        let name = self.here();
        let what = format!("`{name}` = {number} is not plausible");
        let guess = in_millimetres(&name, number, *min, *max).filter(|_| *unit == "mm");
        let instead = guess.unwrap_or_else(|| format!("write {}", example(&name, kind)));
        self.mistake(value.span(), what, instead);
        self.stand_in(kind)
    }

    fn word(&mut self, kind: &Kind, words: &[&str], s: &str, span: Range<usize>) -> toml::Value {
        if words.contains(&s) {
            return toml::Value::String(s.to_string());
        }
        let what = format!("`{}` cannot be \"{s}\"", self.here());
        let all = quoted(words);
        let instead = match nearest(s, words) {
            Some(word) => format!("did you mean \"{word}\"? It is one of {all}"),
            None => format!("write one of {all}"),
        };
        self.mistake(span, what, instead);
        self.stand_in(kind)
    }

    fn table(&mut self, table: &DeTable, keys: &[Key], span: Range<usize>) -> toml::Value {
        let mut out = toml::Table::new();
        let mut meant = Vec::new();
        for (name, value) in table {
            match keys.iter().find(|k| k.name == name.get_ref()) {
                Some(key) => {
                    let clean = self.below(key.name, |w| w.value(&key.kind, value));
                    out.insert(key.name.to_string(), clean);
                }
                None => meant.extend(self.unknown(name, keys)),
            }
        }
        let is_missing = |key: &&Key| key.required && !table.contains_key(key.name);
        for key in keys.iter().filter(is_missing) {
            if !meant.contains(&key.name) {
                self.missing(key, span.clone());
            }
            let clean = self.below(key.name, |w| w.stand_in(&key.kind));
            out.insert(key.name.to_string(), clean);
        }
        toml::Value::Table(out)
    }

    /// Reports an unknown key and returns the one that was probably meant.
    fn unknown(&mut self, name: &Spanned<DeString>, keys: &[Key]) -> Option<&'static str> {
        let names: Vec<&'static str> = keys.iter().map(|k| k.name).collect();
        let without_unit = |n: &&&str| n.strip_prefix(&**name.get_ref()).is_some_and(is_unit);
        let near = names.iter().find(without_unit).copied();
        let near = near.or_else(|| nearest(name.get_ref(), &names));
        let instead = match near {
            Some(near) => format!("did you mean `{near}`?"),
            None if names.is_empty() => "remove it; nothing else stands here".to_string(),
            None => format!("remove it; keys here are {}", names.join(", ")),
        };
        self.mistake(name.span(), format!("unknown key `{}`", name.get_ref()), instead);
        near
    }

    fn missing(&mut self, key: &Key, span: Range<usize>) {
        let instead = format!("add {}", example(key.name, &key.kind));
        self.mistake(span, format!("`{}` is missing", key.name), instead);
    }

    fn tagged(
        &mut self,
        kind: &Kind,
        variants: &[(&'static str, &'static [Key])],
        table: &DeTable,
        value: &Spanned<DeValue>,
    ) -> toml::Value {
        let words: Vec<&str> = variants.iter().map(|v| v.0).collect();
        let Some(tag) = table.get("kind") else {
            let what = format!("`{}` has no `kind`", self.here());
            self.mistake(value.span(), what, format!("add kind = one of {}", quoted(&words)));
            return self.stand_in(kind);
        };
        let word = tag.get_ref().as_str().unwrap_or_default();
        let Some((word, keys)) = variants.iter().find(|v| v.0 == word) else {
            self.below("kind", |w| w.word(&Kind::Text, &words, word, tag.span()));
            return self.stand_in(kind);
        };
        let mut rest = table.clone();
        rest.remove("kind");
        let mut clean = self.table(&rest, keys, value.span());
        if let Some(t) = clean.as_table_mut() {
            t.insert("kind".into(), toml::Value::String(word.to_string()));
        }
        clean
    }

    fn map(&mut self, inner: &Kind, table: &DeTable) -> toml::Value {
        let entry = |(name, value): (&Spanned<DeString>, &Spanned<DeValue>)| {
            let clean = self.below(name.get_ref(), |w| w.value(inner, value));
            (name.get_ref().to_string(), clean)
        };
        toml::Value::Table(table.iter().map(entry).collect())
    }

    fn list(&mut self, inner: &Kind, array: &[Spanned<DeValue>]) -> toml::Value {
        let item = |(i, value): (usize, &Spanned<DeValue>)| {
            self.below(&i.to_string(), |w| w.value(inner, value))
        };
        toml::Value::Array(array.iter().enumerate().map(item).collect())
    }
}

fn as_f64(value: &DeValue) -> f64 {
    match value {
        DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix()).map(|n| n as f64).ok(),
        DeValue::Float(f) => f.as_str().parse().ok(),
        _ => None,
    }
    .unwrap_or(f64::NAN)
}

/// A length that fits after a change of unit was probably written in that unit.
fn in_millimetres(name: &str, number: f64, min: f64, max: f64) -> Option<String> {
    let units = [("metres", 1000.0), ("centimetres", 10.0), ("inches", MM_PER_INCH)];
    let right = |factor: f64| (number * factor * 10.0).round() / 10.0;
    let fitting = units.iter().filter(|(_, factor)| (min..=max).contains(&(number * factor)));
    let guesses: Vec<String> =
        fitting.map(|(unit, f)| format!("{name} = {} if these are {unit}", right(*f))).collect();
    (!guesses.is_empty()).then(|| format!("millimetres here: write {}", guesses.join(", or ")))
}

/// The rest of a key that was typed without its unit: `_mm`.
fn is_unit(rest: &str) -> bool {
    rest.starts_with('_')
}

/// The word that was probably meant, if one is close.
pub(super) fn nearest<'w>(typed: &str, words: &[&'w str]) -> Option<&'w str> {
    let plain = |s: &str| s.to_lowercase().replace(['-', '_', ' '], "");
    let score = |word: &str| strsim::jaro_winkler(&plain(typed), &plain(word));
    let best = words.iter().max_by(|a, b| score(a).total_cmp(&score(b)))?;
    (score(best) > 0.8).then_some(*best)
}

pub(super) fn quoted(words: &[&str]) -> String {
    words.iter().map(|w| format!("\"{w}\"")).collect::<Vec<_>>().join(", ")
}

fn with_article(noun: &str) -> String {
    let article = if noun.starts_with(['a', 'e', 'i', 'o', 'u']) { "an" } else { "a" };
    format!("{article} {noun}")
}

/// What a right line looks like, in words.
fn example(name: &str, kind: &Kind) -> String {
    match kind {
        Kind::Number { min, max, unit: "" } => format!("{name} = a number, {min} to {max}"),
        Kind::Number { min, max, unit } => format!("{name} = a number, {min} to {max} {unit}"),
        Kind::Whole { min, max } if min == max => format!("{name} = {min}"),
        Kind::Whole { min, max } => format!("{name} = a whole number, {min} to {max}"),
        Kind::Flag => format!("{name} = true or false"),
        Kind::Text => format!("{name} = \"a text in quotes\""),
        Kind::Word(words) => format!("{name} = one of {}", quoted(words)),
        Kind::Table(keys) => {
            let names: Vec<&str> = keys.iter().map(|k| k.name).collect();
            format!("a table [{name}] with the keys {}", names.join(", "))
        }
        Kind::Tagged(_) => format!("a table [{name}] with the key kind"),
        Kind::Map(_) => format!("a table [{name}] of name = value lines"),
        Kind::List(Kind::Table(_)) => format!("one [[{name}]] table for each"),
        Kind::List(_) => format!("{name} = a list in [ ]"),
        Kind::Two(Kind::Number { .. }) => format!("{name} = [least, largest], two numbers"),
        Kind::Two(_) => format!("{name} = [crown wheel, pinion], two whole numbers"),
    }
}

/// A value of right shape, to stand in for a wrong one.
fn plausible(kind: &Kind) -> toml::Value {
    use toml::Value;
    let table = |keys: &[Key]| -> toml::Table {
        let required = keys.iter().filter(|k| k.required);
        required.map(|k| (k.name.to_string(), plausible(&k.kind))).collect()
    };
    match kind {
        Kind::Number { min, max, .. } => Value::Float((min + max) / 2.0),
        Kind::Whole { min, .. } => Value::Integer(*min),
        Kind::Flag => Value::Boolean(false),
        Kind::Text => Value::String("?".into()),
        Kind::Word(words) => Value::String(words[0].to_string()),
        Kind::Table(keys) => Value::Table(table(keys)),
        Kind::Tagged(variants) => {
            let mut t = table(variants[0].1);
            t.insert("kind".into(), Value::String(variants[0].0.to_string()));
            Value::Table(t)
        }
        Kind::Map(_) => Value::Table(toml::Table::new()),
        Kind::List(_) => Value::Array(Vec::new()),
        Kind::Two(inner) => Value::Array(vec![plausible(inner), plausible(inner)]),
    }
}
