//! The shape of a vehicle file as a table: every key, what may stand there, plausible range.
//!
//! The types in the parent module say the same in Rust; a test holds the two together. The table
//! exists because a reader that stops at the first mistake costs a walk to the garage for each
//! one. Plausible ranges are wide on purpose (common practice): they catch wrong units and
//! slipped decimal points, not unusual vehicles.

/// What may stand at a key.
pub(super) enum Kind {
    /// A number with its plausible range and unit; an empty unit for a pure number.
    Number { min: f64, max: f64, unit: &'static str },
    /// A whole number.
    Whole { min: i64, max: i64 },
    /// Yes or no.
    Flag,
    /// Any text that is not empty.
    Text,
    /// One of these words.
    Word(&'static [&'static str]),
    /// A table with these keys.
    Table(&'static [Key]),
    /// A table whose `kind` decides which further keys it has.
    Tagged(&'static [(&'static str, &'static [Key])]),
    /// A table from names of the user's to values of one kind.
    Map(&'static Kind),
    /// A list of values of one kind.
    List(&'static Kind),
    /// Two values of one kind.
    Two(&'static Kind),
}

/// One key of a table.
pub(super) struct Key {
    pub name: &'static str,
    pub required: bool,
    pub kind: Kind,
}

const fn must(name: &'static str, kind: Kind) -> Key {
    Key { name, required: true, kind }
}

const fn may(name: &'static str, kind: Kind) -> Key {
    Key { name, required: false, kind }
}

const fn number(min: f64, max: f64, unit: &'static str) -> Kind {
    Kind::Number { min, max, unit }
}

const LEVEL: Kind = Kind::Word(&["off", "on"]);
const LAMP: Kind = Kind::Word(&["off", "steady", "flashing"]);
const CODE: Kind = Kind::Map(&LEVEL);
const LAMPS: Kind = Kind::Map(&LAMP);
const TEETH: Kind = Kind::Whole { min: 4, max: 250 };
const RATIO: Kind = number(0.2, 20.0, "turns per turn");

/// The whole file.
pub(super) const VEHICLE: &[Key] = &[
    must("format", Kind::Whole { min: 1, max: super::NEWEST_FORMAT as i64 }),
    must("name", Kind::Text),
    must("geometry", Kind::Table(GEOMETRY)),
    must("tyres", Kind::Table(TYRES)),
    must("axles", Kind::Table(AXLES)),
    must("ranges", Kind::Map(&RATIO)),
    must("center", Kind::Tagged(CENTER)),
    may("modes", Kind::List(&Kind::Table(MODE))),
    may("transit", Kind::Table(TRANSIT)),
    may("switches", Kind::List(&Kind::Table(SWITCH))),
    may("interlocks", Kind::List(&Kind::Table(INTERLOCK))),
    may("sensors", Kind::List(&Kind::Table(SENSOR))),
    may("signals", Kind::List(&Kind::Table(SIGNAL))),
    may("analog", Kind::List(&Kind::Table(ANALOG))),
    may("declared_circle", Kind::Table(CIRCLE)),
    may("shafts", Kind::Table(SHAFTS)),
    may("speedometer", Kind::Table(SPEEDOMETER)),
    may("test_ground", Kind::Table(TEST_GROUND)),
    may("limits", Kind::Table(LIMITS)),
];

const GEOMETRY: &[Key] = &[
    must("wheelbase_mm", number(1000.0, 7000.0, "mm")),
    must("track_front_mm", number(700.0, 2600.0, "mm")),
    must("track_rear_mm", number(700.0, 2600.0, "mm")),
    may("u_mm", number(0.1, 200.0, "mm")),
];

const TYRES: &[Key] = &[must("front", Kind::Table(TYRE)), must("rear", Kind::Table(TYRE))];

const TYRE: &[Key] = &[
    may("size", Kind::Text),
    may("circumference_mm", number(900.0, 5500.0, "mm")),
    may("circumference_u_mm", number(0.01, 200.0, "mm")),
];

const AXLES: &[Key] = &[must("front", Kind::Table(AXLE)), must("rear", Kind::Table(AXLE))];

const AXLE: &[Key] = &[
    may("ratio", number(1.0, 15.0, "shaft turns per wheel turn")),
    may("teeth", Kind::Two(&TEETH)),
    must("kind", Kind::Word(&["open", "locked", "limited-slip", "disconnect"])),
];

const CENTER: &[(&str, &[Key])] = &[
    ("bevel", &[]),
    (
        "planetary",
        &[
            must("sun_teeth", TEETH),
            must("ring_teeth", TEETH),
            must("pinions", Kind::Word(&["single", "double"])),
            must("front_output", Kind::Word(&["sun", "ring", "carrier"])),
        ],
    ),
    ("torque-share", &[must("front_share", number(0.01, 0.99, "of the torque"))]),
    ("viscous", &[]),
    ("torque-biasing", &[]),
    ("clutch", &[]),
    ("none", &[]),
];

const MODE: &[Key] = &[
    must("name", Kind::Text),
    must("range", Kind::Text),
    must("coupling", Kind::Word(&["rear-only", "differential", "locked", "front-only", "neutral"])),
    may("request", CODE),
    may("limit_contacts", CODE),
    may("position_switches", CODE),
    may("lamps", LAMPS),
];

const TRANSIT: &[Key] = &[
    may("position_switches", Kind::List(&CODE)),
    may("lamps", LAMPS),
    may("waiting_lamps", LAMPS),
    may("self_test_s", number(0.0, 30.0, "s")),
];

const ROLE: Kind =
    Kind::Word(&["request", "position", "limit-contact", "lamp", "motor", "interlock", "ignition"]);

const SWITCH: &[Key] = &[
    must("name", Kind::Text),
    must("input", Kind::Whole { min: 1, max: 16 }),
    must("role", ROLE),
    must("active", Kind::Word(&["high", "low"])),
];

const INTERLOCK: &[Key] = &[
    must("modes", Kind::List(&Kind::Text)),
    may("requires", CODE),
    may("speed_max_kmh", number(0.0, 200.0, "km/h")),
];

const SIGNAL_PLACE: Kind = Kind::Word(&[
    "input",
    "front-shaft",
    "rear-shaft",
    "front-left",
    "front-right",
    "rear-left",
    "rear-right",
    "speedometer",
]);

const SENSOR_PLACE: Kind = Kind::Word(&[
    "input",
    "front-shaft",
    "rear-shaft",
    "front-left",
    "front-right",
    "rear-left",
    "rear-right",
    "speed-sender",
]);

const SENSOR: &[Key] = &[
    must("place", SENSOR_PLACE),
    must("channel", Kind::Whole { min: 1, max: 8 }),
    must("pulses_per_turn", Kind::Whole { min: 1, max: 1000 }),
    may("edges", Kind::Word(&["one", "both"])),
];

const RAW: Kind = Kind::Whole { min: -(1 << 31), max: (1 << 32) - 1 };
const RAWS: Kind = Kind::List(&RAW);
const QUANTITY: Kind = number(-1e9, 1e9, "");

const SIGNAL: &[Key] = &[
    must("name", Kind::Text),
    may(
        "message",
        Kind::Word(&[
            "j1939-ebc2",
            "j1939-hrw",
            "j1939-ccvs",
            "j1939-eac1",
            "j1939-fwd",
            "j1939-etc1",
            "obd-vehicle-speed",
            "obd-engine-speed",
        ]),
    ),
    may(
        "field",
        Kind::Word(&[
            "front-axle-1",
            "front-axle-2",
            "rear-axle-1",
            "rear-axle-2",
            "central",
            "central-front",
            "central-rear",
        ]),
    ),
    may("id", Kind::Whole { min: 0, max: 0x1FFF_FFFF }),
    may("extended", Kind::Flag),
    may("start_bit", Kind::Whole { min: 0, max: 511 }),
    may("length", Kind::Whole { min: 1, max: 32 }),
    may("byte_order", Kind::Word(&["little", "big"])),
    may("signed", Kind::Flag),
    may("factor", QUANTITY),
    may("offset", QUANTITY),
    may("valid", Kind::Two(&QUANTITY)),
    may("not_available", RAWS),
    may("error", RAWS),
    may("measures", Kind::Word(&["speed-kmh", "speed-rpm", "edge-count", "state"])),
    may("place", SIGNAL_PLACE),
    may("counts_per_turn", number(0.5, 2000.0, "counts per turn")),
    may("switch", Kind::Text),
    may("role", ROLE),
    may("on", RAWS),
    may("off", RAWS),
    may("floor_kmh", number(0.0, 20.0, "km/h")),
    may("circumference_mm", number(900.0, 5500.0, "mm")),
    may("circumference_u_mm", number(0.01, 500.0, "mm")),
    may("unit", Kind::Text),
    may("source", Kind::Text),
];

const ANALOG: &[Key] = &[
    must("name", Kind::Text),
    must("input", Kind::Whole { min: 1, max: 6 }),
    must("per_volt", number(1e-6, 1e6, "per volt")),
    may("low_max_v", number(0.05, 60.0, "V")),
    may("high_min_v", number(0.05, 60.0, "V")),
];

const CIRCLE: &[Key] =
    &[must("radius_m", number(2.0, 1000.0, "m")), must("radius_u_m", number(0.001, 100.0, "m"))];

const SHAFTS: &[Key] = &[may("front", Kind::Table(SHAFT)), may("rear", Kind::Table(SHAFT))];

const SHAFT: &[Key] = &[
    must("outer_mm", number(15.0, 200.0, "mm")),
    must("wall_mm", number(0.5, 100.0, "mm")),
    must("length_mm", number(150.0, 3000.0, "mm")),
    may("length_u_mm", number(0.01, 100.0, "mm")),
    may("material", Kind::Word(&["steel", "aluminium"])),
    may("working_angles_deg", Kind::Two(&number(0.0, 45.0, "degrees"))),
    // The computed critical speed is never reached by a real shaft: more is no allowance.
    may("share_max", number(0.3, 0.8, "of the critical speed")),
];

const SPEEDOMETER: &[Key] = &[
    must("rule", Kind::Word(&["un-r39", "us-393-82"])),
    may("pulses_per_km", number(50.0, 1_000_000.0, "pulses per km")),
    may("sender", SENSOR_PLACE),
    may("surplus_percent", number(-20.0, 30.0, "%")),
];

const TEST_GROUND: &[Key] = &[must("locked", Kind::Word(&["hard", "loose"]))];

const LIMITS: &[Key] = &[
    may("allowance_open_min", number(0.0, 1.0, "")),
    may("allowance_open_max", number(1.0, 5.0, "")),
    may("allowance_locked_max", number(0.0, 1.0, "")),
    may("backlash_turn", number(0.0, 5.0, "turn")),
    may("sensor_ratio_percent", number(0.0, 20.0, "%")),
    may("circumference_mm", number(0.0, 200.0, "mm")),
    may("selection_s", number(0.0, 600.0, "s")),
    may("stuck_after_turns", number(0.0, 1000.0, "turns")),
    may("share_relative", number(0.0, 1.0, "")),
    may("scrub_m_per_km", number(0.0, 500.0, "m per km")),
    may("sender_percent", number(0.0, 20.0, "%")),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vehicle::Vehicle;
    use serde::Deserialize;
    use toml::{Table, Value};

    /// A document with every key there is; `n` chooses among words and kinds.
    fn full(kind: &Kind, n: usize) -> Value {
        let table = |keys: &[Key]| -> Table {
            keys.iter().map(|k| (k.name.to_string(), full(&k.kind, n))).collect()
        };
        match kind {
            Kind::Number { min, .. } => Value::Float(*min),
            Kind::Whole { min, .. } => Value::Integer(*min),
            Kind::Flag => Value::Boolean(true),
            Kind::Text => Value::String("x".into()),
            Kind::Word(words) => Value::String(words[n % words.len()].to_string()),
            Kind::Table(keys) => Value::Table(table(keys)),
            Kind::Tagged(variants) => {
                let (tag, keys) = variants[n % variants.len()];
                let mut t = table(keys);
                t.insert("kind".into(), Value::String(tag.to_string()));
                Value::Table(t)
            }
            Kind::Map(inner) => {
                Value::Table([("x".to_string(), full(inner, n))].into_iter().collect())
            }
            Kind::List(inner) => Value::Array(vec![full(inner, n)]),
            Kind::Two(inner) => Value::Array(vec![full(inner, n), full(inner, n)]),
        }
    }

    #[test]
    fn the_types_take_every_key_and_every_word_of_the_table_and_write_no_other() {
        for n in 0..8 {
            let document = full(&Kind::Table(VEHICLE), n);
            let vehicle = Vehicle::deserialize(document.clone()).unwrap_or_else(|e| panic!("{e}"));
            assert_eq!(Value::try_from(&vehicle).expect("plain types serialize"), document);
        }
    }
}
