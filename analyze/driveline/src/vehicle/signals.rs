//! Signals: quantities that units of the vehicle send on a CAN bus.
//!
//! A signal is either one of the published messages by its name, or a place in the payload of a
//! message of one's own. Bits of a payload are numbered from 0: bit `n` is bit `n mod 8` of byte
//! `n / 8`, counted from the least significant bit of the first byte.

use super::{Place, Role};
use serde::{Deserialize, Serialize};

/// A quantity on the bus, and what it measures.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Signal {
    /// What the builder calls it.
    pub name: String,
    /// A published message; else the keys from `id` to `error` say where the signal is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub message: Option<Message>,
    /// Which lock of a message that has several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub field: Option<LockField>,
    /// Identifier of the frame; for `obd` messages the responder that is meant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<u32>,
    /// True for an identifier of 29 bits, false for one of 11.
    #[serde(default)]
    pub extended: bool,
    /// First bit: the least significant one (`little`) or the most significant one (`big`).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub start_bit: Option<u16>,
    /// Number of bits.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub length: Option<u8>,
    /// Where the next bits are.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub byte_order: Option<ByteOrder>,
    /// True for two's complement.
    #[serde(default)]
    pub signed: bool,
    /// Quantity per raw step; 1 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub factor: Option<f64>,
    /// Quantity at raw 0; 0 where not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset: Option<f64>,
    /// Least and largest quantity that is believed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub valid: Option<[f64; 2]>,
    /// Raw values that mean "not available".
    #[serde(default)]
    pub not_available: Vec<i64>,
    /// Raw values that mean "error".
    #[serde(default)]
    pub error: Vec<i64>,
    /// What kind of quantity it is; a published message says so itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measures: Option<Measures>,
    /// Where in the driveline it is measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// Counts a turn of an edge count.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counts_per_turn: Option<f64>,
    /// Name of the switch that a state is, for mode rows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub switch: Option<String>,
    /// What that switch is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub role: Option<Role>,
    /// Raw values that mean "on".
    #[serde(default)]
    pub on: Vec<i64>,
    /// Raw values that mean "off".
    #[serde(default)]
    pub off: Vec<i64>,
    /// Speed under which the unit sends zero.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub floor_kmh: Option<f64>,
    /// Rolling circumference with which the unit makes a speed of wheel turns.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub circumference_mm: Option<f64>,
    /// Standard uncertainty of that circumference.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub circumference_u_mm: Option<f64>,
    /// The unit that sends it: signals of one unit share its scale and its delay.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Name of the source in the capture, where several buses are recorded.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

/// A published message that is ready to use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Message {
    /// Wheel speed information (SAE J1939-71, PGN 65215).
    J1939Ebc2,
    /// High resolution wheel speed (SAE J1939-71, PGN 65134).
    J1939Hrw,
    /// Wheel-based vehicle speed in cruise control/vehicle speed (SAE J1939-71, PGN 65265).
    J1939Ccvs,
    /// Axle and differential locks in electronic axle controller 1 (SAE J1939-71, PGN 61446).
    J1939Eac1,
    /// Front wheel drive status (SAE J1939-71, PGN 64991).
    J1939Fwd,
    /// Output shaft speed in electronic transmission controller 1 (SAE J1939-71, PGN 61442).
    J1939Etc1,
    /// Vehicle speed, PID 0x0D (SAE J1979, ISO 15031-5), answered to another device.
    ObdVehicleSpeed,
    /// Engine speed, PID 0x0C (SAE J1979, ISO 15031-5), answered to another device.
    ObdEngineSpeed,
}

/// Which lock of `j1939-eac1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LockField {
    /// Differential lock of front axle 1.
    #[serde(rename = "front-axle-1")]
    FrontAxle1,
    /// Differential lock of front axle 2.
    #[serde(rename = "front-axle-2")]
    FrontAxle2,
    /// Differential lock of rear axle 1.
    #[serde(rename = "rear-axle-1")]
    RearAxle1,
    /// Differential lock of rear axle 2.
    #[serde(rename = "rear-axle-2")]
    RearAxle2,
    /// Differential lock central.
    Central,
    /// Differential lock central front.
    CentralFront,
    /// Differential lock central rear.
    CentralRear,
}

/// Where the next bits of a value are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ByteOrder {
    /// Least significant byte first: the value goes on at the next higher bit.
    Little,
    /// Most significant byte first: the value goes on at the next lower bit of the byte, and then
    /// at bit 7 of the next byte.
    Big,
}

/// What kind of quantity a signal is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Measures {
    /// Speed in km/h, made of turns of a wheel or shaft by the unit.
    SpeedKmh,
    /// Turns a minute.
    SpeedRpm,
    /// A running count of edges that wraps.
    EdgeCount,
    /// A state that is on or off.
    State,
}

impl Message {
    /// Every published message.
    pub const ALL: [Message; 8] = [
        Message::J1939Ebc2,
        Message::J1939Hrw,
        Message::J1939Ccvs,
        Message::J1939Eac1,
        Message::J1939Fwd,
        Message::J1939Etc1,
        Message::ObdVehicleSpeed,
        Message::ObdEngineSpeed,
    ];

    /// What kind of quantity it carries.
    pub fn measures(self) -> Measures {
        match self {
            Message::J1939Ebc2
            | Message::J1939Hrw
            | Message::J1939Ccvs
            | Message::ObdVehicleSpeed => Measures::SpeedKmh,
            Message::J1939Etc1 | Message::ObdEngineSpeed => Measures::SpeedRpm,
            Message::J1939Eac1 | Message::J1939Fwd => Measures::State,
        }
    }

    /// True where the answer to a request carries it.
    pub fn is_obd(self) -> bool {
        matches!(self, Message::ObdVehicleSpeed | Message::ObdEngineSpeed)
    }

    /// Places that it can measure.
    pub fn places(self) -> &'static [Place] {
        const WHEELS: &[Place] =
            &[Place::FrontLeft, Place::FrontRight, Place::RearLeft, Place::RearRight];
        const SHAFTS: &[Place] = &[Place::FrontShaft, Place::RearShaft];
        const TURNING: &[Place] = &[Place::Input, Place::FrontShaft, Place::RearShaft];
        match self {
            Message::J1939Ebc2 | Message::J1939Hrw => WHEELS,
            Message::J1939Ccvs | Message::ObdVehicleSpeed => SHAFTS,
            Message::J1939Etc1 => TURNING,
            // In which gear it drives is not known: no place turns with it.
            Message::J1939Eac1 | Message::J1939Fwd | Message::ObdEngineSpeed => &[],
        }
    }
}

impl Signal {
    /// What kind of quantity it is; a file that parsed says so.
    pub fn measured(&self) -> Measures {
        self.message.map(Message::measures).or(self.measures).unwrap_or(Measures::State)
    }

    /// The switch that it is, with its role.
    pub fn as_switch(&self) -> Option<(&str, Role)> {
        let is_state = self.measured() == Measures::State;
        self.switch.as_deref().zip(self.role).filter(|_| is_state)
    }
}
