//! The list of CAN interfaces as text for a terminal.

use super::{Link, listen_only_cure};
use crate::text::printable;
use std::fmt::Write;

/// One entry for each interface: name, state, bit rate, mode, and the cure where one is due.
pub fn describe(interfaces: &[(String, Link)]) -> String {
    let mut out = String::new();
    for (name, link) in interfaces {
        // Writing to a String cannot fail.
        let _ = describe_one(&mut out, &printable(name), link);
    }
    if !interfaces.is_empty() {
        out.push_str(NOTES);
    }
    out
}

fn describe_one(out: &mut String, name: &str, link: &Link) -> std::fmt::Result {
    let indented = |cure: &str| cure.replace('\n', "\n        ");
    writeln!(out, "{name}")?;
    let state = link.controller.map_or(String::new(), |c| format!(", {}", c.name()));
    match (link.up, link.listen_only) {
        (true, _) => writeln!(out, "    state   up{state}")?,
        // The commands for its mode switch it on as well.
        (false, Some(false)) => writeln!(out, "    state   down")?,
        (false, _) => writeln!(
            out,
            "    state   down; to switch it on, type\n            sudo ip link set {name} up"
        )?,
    }
    match link.bit_rate {
        Some(rate) => writeln!(out, "    speed   {rate} bit/s")?,
        None if link.listen_only.is_some() => writeln!(out, "    speed   not set yet")?,
        None => {}
    }
    match link.listen_only {
        Some(true) => writeln!(out, "    mode    only listens"),
        Some(false) => writeln!(
            out,
            "    mode    takes part in the bus: it acknowledges and signals errors.\n            \
             To make it listen only, type\n            {}",
            indented(&listen_only_cure(name, link.bit_rate))
        ),
        None => writeln!(out, "    mode    virtual: has no controller that could disturb a bus"),
    }
}

const NOTES: &str = "
Give `record` an interface as name=interface,can, such as bus=can0,can. Nothing
is ever sent to it. Its bit rate must be that of the bus.
";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bus::Controller;

    #[test]
    fn each_interface_is_listed_with_its_state_and_the_commands_that_are_due() {
        let up = Link {
            present: true,
            up: true,
            listen_only: Some(true),
            bit_rate: Some(250_000),
            controller: Some(Controller::Active),
        };
        let takes_part = Link { listen_only: Some(false), ..up };
        let down = Link { up: false, bit_rate: None, controller: None, ..takes_part };
        let bare = Link { present: true, up: true, ..Link::default() };
        let text = describe(&[
            ("can0".into(), up),
            ("can1".into(), takes_part),
            ("can2".into(), down),
            ("vcan0".into(), bare),
        ]);
        let entries: Vec<_> = ["can0\n", "can1\n", "can2\n", "vcan0\n"]
            .into_iter()
            .filter_map(|name| text.find(name))
            .collect();
        assert!(entries.len() == 4 && entries.is_sorted(), "{text}");
        assert!(
            text.contains("up, error active\n    speed   250000 bit/s\n    mode    only listens")
        );
        assert!(text.contains("sudo ip link set can1 type can bitrate 250000 listen-only on"));
        assert!(text.contains("sudo ip link set can2 up"));
        assert_eq!(text.matches("has no controller").count(), 1);
        assert_eq!(describe(&[]), "");
    }
}
