//! What a fit can decide: which claims the sensors and declarations of a vehicle file suffice
//! for, and what one more of them would unlock.
//!
//! A fit is boiled down to a few [`Facts`]; each claim is one row of a table that reads them.
//! What one more thing would unlock is not written down anywhere: each possible addition is put
//! in and the table is read again.

use super::{AxleKind, Center, Coupling, Mode, Place, Vehicle};
use std::fmt::Write;

/// How far a fit can decide a claim.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ability {
    /// Not at all.
    No,
    /// Only by hand or with a wheel lifted, as the test card says.
    ByHand,
    /// From a recorded drive.
    Yes,
}

/// What a fit can do for one claim.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClaimFit {
    /// Identifier of the claim.
    pub claim: &'static str,
    /// How far this fit can decide it.
    pub ability: Ability,
    /// What deciding it from a drive takes.
    pub needs: &'static str,
    /// Each single addition that would raise the ability.
    pub one_more: Vec<&'static str>,
}

/// The fit as the claims see it.
#[derive(Debug, Clone, Copy, Default)]
struct Facts {
    /// Front and rear: propeller shaft sensor.
    shaft: [bool; 2],
    /// Front and rear: left and right wheel sensor.
    wheel: [[bool; 2]; 2],
    /// Front and rear: the axle differential is open (while connected).
    open: [bool; 2],
    input: bool,
    share: bool,
    gnss: bool,
    circle: bool,
    requests: bool,
    positions: bool,
    /// Any switch code besides the request.
    codes: bool,
    /// Lamps of the modes.
    lamps: bool,
    open_mode: bool,
    locked_mode: bool,
    front_mode: bool,
    rear_mode: bool,
    released_mode: bool,
    /// Front and rear: the shaft's tube.
    tube: [bool; 2],
    speedometer: bool,
    /// What it expects of its sender.
    expected: bool,
    /// The sender's pulses.
    sender: bool,
    /// What it shows, on a bus.
    shown: bool,
    /// Anything at all on the pulse board.
    board: bool,
    /// Anything at all on a bus.
    bus: bool,
}

impl Facts {
    fn new(vehicle: &Vehicle, gnss: bool) -> Self {
        let has = |place| vehicle.is_measured(place);
        let open = |kind| matches!(kind, AxleKind::Open | AxleKind::Disconnect);
        let any = |test: fn(&Mode) -> bool| vehicle.modes.iter().any(test);
        Facts {
            shaft: [has(Place::FrontShaft), has(Place::RearShaft)],
            wheel: [
                [has(Place::FrontLeft), has(Place::FrontRight)],
                [has(Place::RearLeft), has(Place::RearRight)],
            ],
            open: [open(vehicle.axles.front.kind), open(vehicle.axles.rear.kind)],
            input: has(Place::Input),
            share: vehicle.center.front_share().is_some(),
            gnss,
            circle: vehicle.declared_circle.is_some(),
            requests: any(|m| !m.request.is_empty()),
            positions: any(|m| !m.position_switches.is_empty()),
            codes: any(has_code),
            lamps: any(|m| !m.lamps.is_empty()),
            open_mode: any(|m| m.coupling == Coupling::Differential),
            locked_mode: any(|m| m.coupling == Coupling::Locked),
            front_mode: any(|m| drives_front(m.coupling)),
            rear_mode: any(|m| drives_rear(m.coupling)),
            released_mode: any(|m| m.coupling == Coupling::RearOnly),
            tube: [vehicle.shafts.front.is_some(), vehicle.shafts.rear.is_some()],
            speedometer: vehicle.speedometer.is_some(),
            expected: vehicle.speedometer.as_ref().is_some_and(|s| s.pulses_per_km.is_some()),
            sender: vehicle.sensor(vehicle.sender_place()).is_some(),
            shown: vehicle.signal(Place::Speedometer).is_some(),
            board: !vehicle.sensors.is_empty() || !vehicle.switches.is_empty(),
            bus: !vehicle.signals.is_empty(),
        }
    }

    fn both_wheels(&self, axle: usize) -> bool {
        self.wheel[axle] == [true, true]
    }

    /// Turns of an output: its shaft, or both wheels through an open axle.
    fn output(&self, axle: usize) -> bool {
        self.shaft[axle] || (self.both_wheels(axle) && self.open[axle])
    }

    fn outputs(&self) -> bool {
        self.output(0) && self.output(1)
    }

    fn rear_wheels_tell_turning(&self) -> bool {
        self.both_wheels(1) && self.open[1]
    }

    fn curvature(&self) -> bool {
        self.rear_wheels_tell_turning() || self.gnss || self.circle
    }

    /// Something shows that both outputs move the same way; counters have no sign.
    fn direction(&self) -> bool {
        self.input || self.gnss
    }
}

fn has_code(mode: &Mode) -> bool {
    let codes = [&mode.position_switches, &mode.limit_contacts];
    codes.iter().any(|c| !c.is_empty()) || !mode.lamps.is_empty()
}

fn drives_front(coupling: Coupling) -> bool {
    matches!(coupling, Coupling::Differential | Coupling::Locked | Coupling::FrontOnly)
}

fn drives_rear(coupling: Coupling) -> bool {
    matches!(coupling, Coupling::Differential | Coupling::Locked | Coupling::RearOnly)
}

fn yes_if(enough: bool) -> Ability {
    if enough { Ability::Yes } else { Ability::No }
}

/// Yes from a drive, else by hand.
fn or_by_hand(enough: bool) -> Ability {
    if enough { Ability::Yes } else { Ability::ByHand }
}

/// A claim, what it takes, and the reading of the facts.
type Claim = (&'static str, &'static str, fn(&Facts) -> Ability);

const CLAIMS: [Claim; 19] = [
    (
        "capture-complete",
        "anything on the pulse board, whose sentences are numbered to the last, or on a CAN bus, \
         whose losses the kernel counts",
        |f| yes_if(f.board || f.bus),
    ),
    ("sensors-agree", "shaft and both wheels of an axle whose differential is open", |f| {
        yes_if((0..2).any(|axle| f.shaft[axle] && f.both_wheels(axle) && f.open[axle]))
    }),
    ("switch-table", "request lines, and codes of the engaged modes", |f| {
        yes_if(f.requests && f.codes)
    }),
    ("selection-completes", "request lines and position switches", |f| {
        yes_if(f.requests && f.positions)
    }),
    (
        "center-opens",
        "an open mode with a torque share, both outputs, the curvature, and the input (else the \
         coupling is shown by hand)",
        |f| match f.open_mode && f.share && f.outputs() && f.curvature() {
            true => or_by_hand(f.input),
            false => Ability::No,
        },
    ),
    (
        "center-locks",
        "a locked mode, both outputs, the curvature, and the input or GNSS for the direction",
        |f| match f.locked_mode {
            true => or_by_hand(f.outputs() && f.curvature() && f.direction()),
            false => Ability::No,
        },
    ),
    (
        "front-driven",
        "a mode that drives the front, and input and both outputs while they differ (else by hand)",
        |f| match f.front_mode {
            true => or_by_hand(f.open_mode && f.share && f.input && f.outputs()),
            false => Ability::No,
        },
    ),
    ("tyres-match", "both outputs, and rear wheels or GNSS to know a straight road", |f| {
        yes_if(f.outputs() && (f.rear_wheels_tell_turning() || f.gnss))
    }),
    ("range-ratio", "the input and both outputs", |f| yes_if(f.input && f.outputs())),
    (
        "torque-share",
        "an open mode with a torque share, and input and both outputs while they differ",
        |f| yes_if(f.open_mode && f.share && f.input && f.outputs()),
    ),
    (
        "rear-driven",
        "a mode that drives the rear, a torque share, and input and both outputs while they \
         differ (else by hand)",
        |f| match f.rear_mode {
            true => or_by_hand(f.share && f.input && f.outputs()),
            false => Ability::No,
        },
    ),
    ("axle-ratios-match", "shaft and both wheels of an axle whose differential is open", |f| {
        yes_if((0..2).any(|axle| f.shaft[axle] && f.both_wheels(axle) && f.open[axle]))
    }),
    ("lamps-truthful", "request lines, position switches and lamps of the modes", |f| {
        yes_if(f.requests && f.positions && f.lamps)
    }),
    ("contacts-clean", "request lines and position switches (better with their voltages)", |f| {
        yes_if(f.requests && f.positions)
    }),
    (
        "front-released",
        "a mode that releases the front, and input and both outputs while they differ (else by \
         hand)",
        |f| match f.released_mode {
            true => or_by_hand(f.input && f.outputs()),
            false => Ability::No,
        },
    ),
    (
        "shafts-within-limit",
        "the tube of a shaft, and its speed: a sensor at the shaft, or at both wheels of an axle \
         whose differential is open",
        |f| yes_if((0..2).any(|axle| f.tube[axle] && f.output(axle))),
    ),
    ("no-wind-up", "a locked mode, both outputs and the curvature", |f| {
        yes_if(f.locked_mode && f.outputs() && f.curvature())
    }),
    (
        "sender-scale",
        "the speedometer declared with the pulses that it expects, its sender on a pulse channel, \
         and GNSS",
        |f| yes_if(f.expected && f.sender && f.gnss),
    ),
    (
        "speedometer-true",
        "the speedometer declared, its sender on a pulse channel or what it shows as a signal, \
         and GNSS",
        |f| yes_if(f.gnss && (f.expected && f.sender || f.speedometer && f.shown)),
    ),
];

/// One more thing, and what it changes.
type Addition = (&'static str, fn(&mut Facts));

const ADDITIONS: [Addition; 19] = [
    ("a front shaft sensor", |f| (f.shaft[0], f.board) = (true, true)),
    ("a rear shaft sensor", |f| (f.shaft[1], f.board) = (true, true)),
    ("a sensor at the case input", |f| (f.input, f.board) = (true, true)),
    ("a front left wheel sensor", |f| (f.wheel[0][0], f.board) = (true, true)),
    ("a front right wheel sensor", |f| (f.wheel[0][1], f.board) = (true, true)),
    ("a rear left wheel sensor", |f| (f.wheel[1][0], f.board) = (true, true)),
    ("a rear right wheel sensor", |f| (f.wheel[1][1], f.board) = (true, true)),
    ("a GNSS receiver", |f| f.gnss = true),
    ("a circle marked on the ground and declared", |f| f.circle = true),
    ("request codes of the modes", |f| f.requests = true),
    ("position-switch codes of the modes", |f| (f.positions, f.codes) = (true, true)),
    ("lamp codes of the modes", |f| f.lamps = true),
    ("a mode declared as coupling = \"differential\"", |f| {
        (f.open_mode, f.front_mode, f.rear_mode) = (true, true, true)
    }),
    ("a mode declared as coupling = \"locked\"", |f| {
        (f.locked_mode, f.front_mode, f.rear_mode) = (true, true, true)
    }),
    ("the tube of the front shaft", |f| f.tube[0] = true),
    ("the tube of the rear shaft", |f| f.tube[1] = true),
    ("the speedometer declared", |f| (f.speedometer, f.expected) = (true, true)),
    ("the speed sender on a pulse channel", |f| (f.sender, f.board) = (true, true)),
    ("what the speedometer shows, as a signal", |f| (f.shown, f.bus) = (true, true)),
];

impl Vehicle {
    /// What this fit can decide, claim by claim. Whether a GNSS receiver is recorded does not
    /// stand in the vehicle file, so the caller says it.
    ///
    /// ```
    /// use wheelwitness_driveline::vehicle::{Ability, Vehicle, new_vehicle_text};
    /// let vehicle = Vehicle::parse(new_vehicle_text(), "new.toml")?;
    /// let rows = vehicle.fit(false);
    /// assert!(rows.iter().any(|r| r.claim == "center-opens" && r.ability == Ability::Yes));
    /// # Ok::<(), wheelwitness_driveline::vehicle::VehicleError>(())
    /// ```
    pub fn fit(&self, gnss: bool) -> Vec<ClaimFit> {
        let facts = Facts::new(self, gnss);
        let row = |&(claim, needs, decide): &Claim| {
            let ability = decide(&facts);
            let unlocks = |(name, add): &Addition| {
                let mut more = facts;
                add(&mut more);
                (decide(&more) > ability).then_some(*name)
            };
            let one_more = ADDITIONS.iter().filter_map(unlocks).collect();
            ClaimFit { claim, ability, needs, one_more }
        };
        CLAIMS.iter().map(row).collect()
    }

    /// What somebody who checks a file should know, though nothing is wrong with it.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        for (end, tyre) in [("front", &self.tyres.front), ("rear", &self.tyres.rear)] {
            if let (Some((c, u)), None) = (tyre.circumference_mm(), tyre.circumference_mm) {
                notes.push(format!(
                    "{end} tyre: {c:.0} mm from the size alone, standard uncertainty {u:.0} mm; \
                     a roll-out is six times better"
                ));
            }
        }
        for s in self.sensors.iter().filter(|s| s.edges == super::Edges::Both) {
            notes.push(format!(
                "channel {} counts both edges: {} counts a turn; pulses_per_turn is the number of \
                 teeth, not of edges",
                s.channel,
                2 * s.pulses_per_turn
            ));
        }
        for (end, axle) in [("front", &self.axles.front), ("rear", &self.axles.rear)] {
            if axle.kind == AxleKind::Disconnect {
                notes.push(format!(
                    "{end} axle: claims that rest on it count only stretches while it is connected"
                ));
            }
        }
        notes.extend(self.mismatch_note());
        let is_fed = self.speedometer.as_ref().is_some_and(|s| s.pulses_per_km.is_some());
        if is_fed && self.sensor(self.sender_place()).is_none() {
            notes.push(
                "the speedometer is declared, its sender is not: fit one as [[sensors]] with place \
                 = \"speed-sender\", or name the sensor that it shares with sender"
                    .into(),
            );
        }
        if self.center.front_share().is_none() && self.center != Center::None {
            notes.push(
                "this kind of center differential has no single torque share: whether it opens \
                 cannot be proven from a drive"
                    .into(),
            );
        }
        notes
    }
}

impl Vehicle {
    /// Front and rear shaft turns that free rolling straight ahead gives, if they differ by more
    /// than tyres of one set do.
    fn mismatch_note(&self) -> Option<String> {
        let (front, rear) =
            (self.tyres.front.circumference_mm()?.0, self.tyres.rear.circumference_mm()?.0);
        let ratio = self.axles.front.ratio_value() / self.axles.rear.ratio_value() * rear / front;
        let percent = (ratio - 1.0) * 100.0;
        (percent.abs() > MISMATCH_PERCENT).then(|| {
            format!(
                "as declared, the front shaft turns {percent:+.1} % against the rear one straight \
                 ahead: a lock would grind, and an open center differential works all the time"
            )
        })
    }
}

/// Largest declared mismatch of front and rear that needs no note, percent (common practice: 1
/// percent of rolling radius).
const MISMATCH_PERCENT: f64 = 1.0;

/// Breaks a note before column 80.
pub fn note_text(note: &str) -> String {
    let mut text = String::new();
    wrapped(&mut text, "note: ", "      ", note);
    text
}

const SECOND_COLUMN: &str = "                       ";

/// The table of [`Vehicle::fit`] as text for a terminal of 80 columns.
pub fn fit_text(rows: &[ClaimFit]) -> String {
    let mut text = String::from("What this fit can decide\n\n");
    for row in rows {
        let ability = match row.ability {
            Ability::Yes => "yes, from a drive",
            Ability::ByHand => "only by hand or with a wheel lifted",
            Ability::No => "no",
        };
        // Writing to a String cannot fail.
        let _ = writeln!(text, "  {:<20} {ability}", row.claim);
        if row.ability != Ability::Yes {
            let more = match row.one_more.as_slice() {
                [] => format!("needs {}", row.needs),
                more => format!("one more decides it: {}", more.join("; or ")),
            };
            wrapped(&mut text, SECOND_COLUMN, SECOND_COLUMN, &more);
        }
    }
    text
}

/// Appends words broken before column 80, the first line after `first`, the others after `rest`.
fn wrapped(text: &mut String, first: &str, rest: &str, words: &str) {
    let mut line = first.to_string();
    for word in words.split(' ') {
        if line.len() > rest.len() && line.chars().count() + 1 + word.chars().count() > 79 {
            let _ = writeln!(text, "{}", line.trim_end());
            line = rest.to_string();
        }
        line += word;
        line.push(' ');
    }
    let _ = writeln!(text, "{}", line.trim_end());
}
