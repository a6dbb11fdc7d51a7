//! What follows from a vehicle file: one number for every user of it.

use super::{
    Axle, Center, Member, Mode, Pinions, Place, Role, Sensor, Signal, Switch, Tyre, Vehicle,
};
use crate::tyre::Size;

/// Relative standard uncertainty of a measured rolling circumference that gives none: 0.15
/// percent (common practice: a roll-out of several turns under load repeats within 2 to 3 mm).
pub const MEASURED_CIRCUMFERENCE_U: f64 = 0.0015;

impl Tyre {
    /// Rolling circumference and its standard uncertainty, both in millimetres.
    ///
    /// A measured one wins; its uncertainty is the declared one or [`MEASURED_CIRCUMFERENCE_U`].
    /// Otherwise it follows from the designation (see [`Size::rolling_circumference_mm`]), good
    /// to about 1 percent. `None` when neither is there or the designation cannot be read.
    ///
    /// ```
    /// use wheelwitness_driveline::vehicle::Tyre;
    /// let rolled = Tyre { size: None, circumference_mm: Some(2400.0), circumference_u_mm: None };
    /// assert_eq!(rolled.circumference_mm(), Some((2400.0, 3.6)));
    /// ```
    pub fn circumference_mm(&self) -> Option<(f64, f64)> {
        if let Some(measured) = self.circumference_mm {
            let u = self.circumference_u_mm.unwrap_or(measured * MEASURED_CIRCUMFERENCE_U);
            return Some((measured, u));
        }
        let size: Size = self.size.as_ref()?.parse().ok()?;
        Some((size.rolling_circumference_mm(), size.rolling_circumference_u_mm()))
    }
}

impl Axle {
    /// Shaft turns per wheel turn: crown wheel teeth over pinion teeth, or the ratio as declared.
    /// A file that parsed has exactly one of the two.
    pub fn ratio_value(&self) -> f64 {
        match (self.teeth, self.ratio) {
            (Some([crown, pinion]), _) => f64::from(crown) / f64::from(pinion),
            (None, Some(ratio)) => ratio,
            (None, None) => f64::NAN,
        }
    }
}

impl Center {
    /// Share of the torque that goes to the front output, and so the weight of the front output
    /// in the speed of the input; `None` where no such share exists.
    ///
    /// Planetary with single planets: input on the carrier, sun to ring as their tooth counts.
    /// With double planets: input on the ring, sun to carrier as `Zs : (Zr - Zs)`. (Willis
    /// equation; see any text on planetary gears.)
    ///
    /// ```
    /// use wheelwitness_driveline::vehicle::Center;
    /// assert_eq!(Center::Bevel.front_share(), Some(0.5));
    /// assert_eq!(Center::Viscous.front_share(), None);
    /// ```
    pub fn front_share(&self) -> Option<f64> {
        match *self {
            Center::Bevel => Some(0.5),
            Center::TorqueShare { front_share } => Some(front_share),
            Center::Planetary { sun_teeth, ring_teeth, pinions, front_output } => {
                planetary_share(sun_teeth.into(), ring_teeth.into(), pinions, front_output)
            }
            Center::Viscous | Center::TorqueBiasing | Center::Clutch | Center::None => None,
        }
    }
}

fn planetary_share(sun: f64, ring: f64, pinions: Pinions, front: Member) -> Option<f64> {
    match (pinions, front) {
        (Pinions::Single, Member::Sun) => Some(sun / (sun + ring)),
        (Pinions::Single, Member::Ring) => Some(ring / (sun + ring)),
        (Pinions::Double, Member::Sun) => Some(sun / ring),
        (Pinions::Double, Member::Carrier) => Some((ring - sun) / ring),
        // The front output cannot be the member that the input drives.
        (Pinions::Single, Member::Carrier) | (Pinions::Double, Member::Ring) => None,
    }
}

impl Vehicle {
    /// Ratio of the range that a mode uses.
    pub fn range_ratio(&self, mode: &Mode) -> Option<f64> {
        self.ranges.get(&mode.range).copied()
    }

    /// The mode of this name.
    pub fn mode(&self, name: &str) -> Option<&Mode> {
        self.modes.iter().find(|m| m.name == name)
    }

    /// The pulse sensor at this place.
    pub fn sensor(&self, place: Place) -> Option<&Sensor> {
        self.sensors.iter().find(|s| s.place == place)
    }

    /// The signal that measures turns at this place.
    pub fn signal(&self, place: Place) -> Option<&Signal> {
        self.signals.iter().find(|s| s.place == Some(place))
    }

    /// True when a pulse sensor or a signal measures turns at this place.
    pub fn is_measured(&self, place: Place) -> bool {
        self.sensor(place).is_some() || self.signal(place).is_some()
    }

    /// Place of the sensor whose pulses the speedometer counts.
    pub fn sender_place(&self) -> Place {
        self.speedometer.as_ref().map_or(Place::SpeedSender, |s| s.sender)
    }

    /// The switch input of this name.
    pub fn switch(&self, name: &str) -> Option<&Switch> {
        self.switches.iter().find(|s| s.name == name)
    }

    /// Every switch there is: the board's inputs in their order, then the states on a bus. Its
    /// position here is its number in everything about switches.
    pub fn lines(&self) -> impl Iterator<Item = Line<'_>> {
        let board = self.switches.iter().enumerate();
        let board = board.map(|(i, s)| Line {
            name: s.name.as_str(),
            role: s.role,
            origin: Origin::Board(i),
        });
        let bus = self.signals.iter().enumerate().filter_map(|(i, s)| {
            let (name, role) = s.as_switch()?;
            Some(Line { name, role, origin: Origin::Bus(i) })
        });
        board.chain(bus)
    }
}

/// A switch, wherever its state comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line<'a> {
    /// Name used in mode rows.
    pub name: &'a str,
    /// What it is.
    pub role: Role,
    /// Where its state comes from.
    pub origin: Origin,
}

/// Where the state of a switch comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// This entry of the file's switches.
    Board(usize),
    /// This entry of the file's signals.
    Bus(usize),
}
