//! The result as JSON: one form only, read back alike, newer versions refused by name.

use crate::fixture;
use proptest::prelude::*;
use serde_json::Value;
use std::collections::BTreeSet;
use wheelwitness_analyze::report::json::{ReadError, read, write};
use wheelwitness_analyze::result::{Reported, SCHEMA};

const GOLDEN: &str = include_str!("result-2.json");
const FIRST: &str = include_str!("result-1.json");
const SCHEMAS: &str = include_str!("../../SCHEMAS.md");

#[test]
fn version_2_is_written_as_it_was_frozen() {
    let text = write(&fixture::invented().0);
    for (i, (got, frozen)) in text.lines().zip(GOLDEN.lines()).enumerate() {
        assert_eq!(got, frozen, "line {} of result-2.json", i + 1);
    }
    assert_eq!(text, GOLDEN);
}

#[test]
fn version_2_is_read_back_and_written_again_with_the_same_bytes() {
    let result = read(GOLDEN).unwrap();
    assert_eq!(result, fixture::invented().0);
    assert_eq!(write(&result), GOLDEN);
}

#[test]
fn version_1_is_still_read_and_what_it_did_not_have_is_empty() {
    let old = read(FIRST).unwrap();
    let new = fixture::invented().0;
    assert_eq!(old.schema, "wheelwitness-result/1");
    assert_eq!((&old.claims, &old.modes), (&new.claims, &new.modes));
    assert_eq!((old.pairs.len(), old.hand), (0, None));
}

#[test]
fn a_newer_version_is_refused_by_name() {
    let newer = GOLDEN.replace("wheelwitness-result/2", "wheelwitness-result/3");
    let refused = read(&newer).unwrap_err();
    assert!(matches!(refused, ReadError::Newer { .. }));
    let text = refused.to_string();
    assert!(text.contains("wheelwitness-result/3") && text.contains(SCHEMA), "{text}");
    // Even when nothing else of it is understood.
    let alien = r#"{"schema": "wheelwitness-result/70", "claims": {"a": [1]}}"#;
    assert!(matches!(read(alien), Err(ReadError::Newer { .. })));
}

#[test]
fn what_is_not_a_result_is_refused_with_what_to_give_instead() {
    for text in
        ["", "{}", "[]", "null", "{\"schema\": 1}", "{\"schema\": \"wheelwitness-result/1\"}"]
    {
        let refused = read(text).unwrap_err();
        assert!(matches!(refused, ReadError::NotAResult(_)), "{text}: {refused:?}");
        assert!(refused.to_string().contains("give the result.json of a report folder"));
    }
    for schema in ["wheelwitness-result/0", "wheelwitness-result/x", "another/1", ""] {
        let text = format!("{{\"schema\": \"{schema}\"}}");
        assert!(matches!(read(&text), Err(ReadError::OtherSchema { .. })), "{schema}");
    }
}

#[test]
fn unknown_is_null_and_its_field_is_still_there() {
    let (mut result, _) = fixture::empty();
    let unknown = Reported {
        name: "allowance".into(),
        value: None,
        unit: "1".into(),
        u: None,
        dof: None,
        interval95: None,
        components: vec![],
    };
    let (full, _) = fixture::invented();
    result.claims[0].periods = full.claims[0].periods.clone();
    result.claims[0].periods[0].estimates = vec![unknown];
    let json: Value = serde_json::from_str(&write(&result)).unwrap();
    let estimate = &json["claims"][0]["periods"][0]["estimates"][0];
    for field in ["value", "u", "dof", "interval95"] {
        assert_eq!(estimate.get(field), Some(&Value::Null), "{field}");
    }
    assert_eq!(json.get("duration_s"), Some(&Value::Null));
    assert_eq!(json.get("distance_m"), Some(&Value::Null));
}

/// Names of all fields of a JSON value; the keys of `faults` are data.
fn fields(json: &Value, found: &mut BTreeSet<String>) {
    match json {
        Value::Array(list) => list.iter().for_each(|v| fields(v, found)),
        Value::Object(object) => {
            for (key, value) in object {
                found.insert(key.clone());
                if key != "faults" {
                    fields(value, found);
                }
            }
        }
        _ => {}
    }
}

/// Names in the first column of the tables of the chapter on the result.
fn documented() -> BTreeSet<String> {
    let chapter = SCHEMAS.split("## Result JSON").nth(1).unwrap().split("\n## ").next().unwrap();
    let cells = chapter.lines().filter_map(|l| l.strip_prefix("| `")?.split(" | ").next());
    cells.flat_map(|c| c.split(", ")).map(|c| c.trim_matches('`').to_string()).collect()
}

#[test]
fn schemas_names_every_field_that_is_written_and_no_other() {
    let mut written = BTreeSet::new();
    fields(&serde_json::from_str(GOLDEN).unwrap(), &mut written);
    assert_eq!(documented(), written);
}

#[test]
fn schemas_lists_fields_in_the_order_in_which_they_are_written() {
    let json: Value = serde_json::from_str(GOLDEN).unwrap();
    for (chapter, object) in [
        ("### Top level", &json),
        ("### `sources`", &json["sources"][0]),
        ("### `vehicle`", &json["vehicle"]),
        ("### `program`", &json["program"]),
    ] {
        let text = SCHEMAS.split(chapter).nth(1).unwrap().split("\n#").next().unwrap();
        let listed: Vec<_> =
            text.lines().filter_map(|l| l.strip_prefix("| `")?.split('`').next()).collect();
        let at = |field: &str| GOLDEN.find(&format!("\"{field}\"")).unwrap();
        let keys: BTreeSet<_> = object.as_object().unwrap().keys().map(String::as_str).collect();
        assert_eq!(listed.iter().copied().collect::<BTreeSet<_>>(), keys, "{chapter}");
        if chapter == "### Top level" {
            let top = |f: &&str| at(f);
            assert!(listed.iter().map(top).is_sorted(), "{listed:?}");
        }
    }
}

proptest! {
    #[test]
    fn any_number_and_any_text_come_back_as_they_were(
        value in any::<f64>().prop_filter("finite", |x| x.is_finite()),
        text in any::<String>(),
    ) {
        let (mut result, _) = fixture::invented();
        result.distance_m = Some(value);
        result.claims[0].periods[0].start_s = value;
        result.claims[0].reason = text;
        prop_assert_eq!(read(&write(&result)).unwrap(), result);
    }
}
