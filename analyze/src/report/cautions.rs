//! Cautions: what can hurt someone, said where it applies.
//!
//! The words are ours, the sources stand beside them. They do not replace local codes, the
//! vehicle's workshop manual or a licensed workshop; where those say more, they win.

use crate::result::{Claim, Coupling, DriveResult};

/// One caution.
#[derive(Debug, PartialEq)]
pub struct Caution {
    /// Stable id.
    pub id: &'static str,
    /// What to do and why.
    pub text: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    applies: Applies,
}

/// When a caution is shown beside the result of a drive.
#[derive(Debug, PartialEq)]
enum Applies {
    Always,
    /// One of these claims was exercised or asks for a next step.
    Claims(&'static [&'static str]),
    /// A mode that locks front and rear was engaged or asked for.
    LockedMode,
}

const LIFTING: Applies = Applies::Claims(&["front-driven", "rear-driven", "front-released"]);
const SWITCHES: Applies =
    Applies::Claims(&["switch-table", "selection-completes", "lamps-truthful", "contacts-clean"]);

/// Every caution of the tool, in the order in which they are shown.
pub const ALL: &[Caution] = &[
    Caution {
        id: "workshop-has-the-last-word",
        text: "An instrumented vehicle is still a vehicle on a public road: local traffic law, \
               registration and inspection rules decide, and a licensed workshop has the last \
               word.",
        source: "common practice",
        applies: Applies::Always,
    },
    Caution {
        id: "passenger-works-the-computer",
        text: "A passenger works the computer, never the driver. A glance away from the road of \
               more than 2 seconds, or more than 12 seconds of glances for one task, is too much.",
        source: "NHTSA visual-manual driver distraction guidelines (read in a secondary source)",
        applies: Applies::Always,
    },
    Caution {
        id: "brakes-and-stability",
        text: "Another center coupling changes how the anti-lock brakes and the stability system \
               behave: have both checked before the vehicle goes back on the road.",
        source: "common practice",
        applies: Applies::Always,
    },
    Caution {
        id: "lock-on-loose-ground",
        text: "Drive with front and rear locked together on loose ground only: on a grippy \
               surface turning winds the driveline up, steering gets heavy and parts break.",
        source: "common practice; owner's manuals of part-time four-wheel-drive vehicles",
        applies: Applies::LockedMode,
    },
    Caution {
        id: "stands-not-jacks",
        text: "Lift only on hard level ground, at the lifting points, within the rated load, and \
               set the load on rated stands at once. Never rely on a jack alone; nobody goes \
               under the vehicle.",
        source: "HSE (UK) INDG434 and HSG261, Working under vehicles; OSHA 29 CFR 1910.244(a)",
        applies: LIFTING,
    },
    Caution {
        id: "chock-first",
        text: "With a center differential open, neither park nor first gear holds the vehicle \
               once a wheel is lifted or a shaft is off. Chock the wheels on the ground both ways \
               and set the parking brake before selecting or lifting.",
        source: "follows from the open differential: the held shaft only makes the other turn",
        applies: LIFTING,
    },
    Caution {
        id: "hand-tests-engine-off",
        text: "In rear-only and in locked mode a lifted wheel is turned by hand, engine off: under \
               power the wheels on the ground drive the vehicle off its stands.",
        source: "owner's manual of a full-time four-wheel-drive vehicle, and its consequence for \
                 stands",
        applies: LIFTING,
    },
    Caution {
        id: "driven-lifted-test",
        text: "Drive a lifted wheel only with the center differential open, at idle, in low range, \
               with nobody near the wheel or a shaft, and never on a jack. The lifted wheel turns \
               2/a times as fast as in normal driving (4 times at an even split) while a sender on \
               the rear output reads zero: never judge by the dial. A tyre spun too fast bursts \
               within seconds. Traction or stability control can make the vehicle lurch.",
        source: "workshop manual, tyre makers' text and owner's manual (spinning a raised wheel); \
                 idle in low range is our own, lower, limit",
        applies: LIFTING,
    },
    Caution {
        id: "guard-shafts",
        text: "Guard every rotating shaft that is turned by power, smooth and slow ones too, and \
               never power the driveline with a shaft off.",
        source: "OSHA 29 CFR 1910.219(c)(2)(i) and its interpretation of 9 January 2006",
        applies: LIFTING,
    },
    Caution {
        id: "switch-work-engine-off",
        text: "Wiggle connectors and switches with the engine off. Do not splice into brake or \
               airbag wiring: fit separate sensors or only listen to the bus. Fuse every tap, and \
               mind what a logger draws from a parked battery.",
        source: "common practice",
        applies: SWITCHES,
    },
    Caution {
        id: "actuator-on-a-supply",
        text: "A shift motor on a bench supply: unit unplugged, fused, current limited, pulses of \
               at most 2 seconds, no stalling, and never feed the unit's driver backwards.",
        source: "common practice",
        applies: Applies::Claims(&["selection-completes"]),
    },
];

/// The cautions that apply to a drive and to the next steps that its report asks for.
pub fn for_drive(result: &DriveResult) -> Vec<&'static Caution> {
    ALL.iter().filter(|c| c.applies_to(result)).collect()
}

impl Caution {
    fn applies_to(&self, result: &DriveResult) -> bool {
        match self.applies {
            Applies::Always => true,
            Applies::Claims(_) if self.applies == LIFTING && result.hand.is_some() => true,
            Applies::Claims(ids) => {
                result.claims.iter().any(|c| ids.contains(&c.id.as_str()) && is_live(c))
            }
            Applies::LockedMode => {
                result.modes.iter().any(|m| m.coupling == Some(Coupling::Locked))
                    || result.claims.iter().any(|c| c.id == "center-locks" && is_live(c))
            }
        }
    }
}

/// Exercised, or asking the reader to go and exercise it.
fn is_live(claim: &Claim) -> bool {
    !claim.periods.is_empty() || claim.next_step.is_some()
}
