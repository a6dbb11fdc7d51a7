//! Do the wheel and shaft sensors agree with the declared axle ratio and tooth counts?
//!
//! With an open axle differential `N_shaft / i = (N_left + N_right) / 2`, whatever the tyres do:
//! a pure relation of gears, judged on counted turns.

use crate::demand::Setup;
use crate::pulse::Step;
use crate::quantity::{Component, Estimate, SURE};
use crate::stats::Moments;
use crate::turn::{MOVED, MOVED_NAMES, Turn, moved};
use crate::vehicle::Place;

/// Shaft turns of one piece; the scatter between pieces shows a sensor that fails now and then.
const PIECE_TURN: f64 = 40.0;

/// Folds the steps of a drive into the shaft-to-wheel ratio of one axle.
#[derive(Debug, Clone)]
pub struct AgreementFold {
    shaft: Place,
    wheels: [Place; 2],
    ratio: f64,
    piece: Option<Piece>,
    pieces: Moments,
    total: (f64, f64),
    /// Shaft turns less what the wheels make of them, in steps that are in no piece.
    left_out: f64,
    left_out_u2: f64,
    hidden: f64,
    variance: f64,
    span: Option<(i64, i64, u64, u64)>,
    worst: Option<(f64, i64, i64)>,
    scale_u: f64,
    moved: [f64; MOVED],
    /// Steps in which one of the three stood still while another turned.
    pub silent: [u32; 3],
}

#[derive(Debug, Clone, Copy)]
struct Piece {
    start_us: i64,
    end_us: i64,
    shaft: f64,
    wheels: f64,
    u2: f64,
    end_u2: f64,
    moved: [f64; MOVED],
}

/// What one axle's sensors say about each other.
#[derive(Debug, Clone, PartialEq)]
pub struct Agreement {
    /// Measured over declared shaft-to-wheel ratio, less one; percent.
    pub excess_percent: Estimate,
    /// The piece farthest from the declared ratio: its excess in percent (beyond what units that
    /// send turns leave open), start and end.
    pub worst_piece: (f64, i64, i64),
    /// Shaft turns compared.
    pub shaft_turn: f64,
    /// First and last instant, board microseconds.
    pub span_us: (i64, i64),
    /// First and last raw record.
    pub records: (u64, u64),
}

impl AgreementFold {
    /// A fold for the front (0) or rear (1) axle.
    pub fn new(setup: &Setup, axle: usize) -> Self {
        let (shaft, wheels) = Place::AXLES[axle];
        AgreementFold {
            shaft,
            wheels,
            ratio: setup.ratio[axle],
            piece: None,
            pieces: Moments::default(),
            total: (0.0, 0.0),
            left_out: 0.0,
            left_out_u2: 0.0,
            hidden: 0.0,
            variance: 0.0,
            span: None,
            worst: None,
            scale_u: setup.scale_u(shaft, wheels[0]),
            moved: [0.0; MOVED],
            silent: [0; 3],
        }
    }

    /// Takes one step in.
    pub fn push(&mut self, step: &Step) {
        let places = [self.shaft, self.wheels[0], self.wheels[1]];
        let [Some(shaft), Some(left), Some(right)] =
            places.map(|p| step.at(p).filter(Turn::is_whole))
        else {
            return self.cut();
        };
        let i = self.ratio;
        let u2 = |s: f64, l: f64, r: f64| s * s + (i / 2.0 * l).powi(2) + (i / 2.0 * r).powi(2);
        let still = [shaft.still, left.still, right.still];
        if still.contains(&true) {
            // At the edge of standing still one sensor rests before the others do, and a wheel on
            // the ground rests while the other one hangs free: then the relation still holds. A
            // sensor is silent where the others turn on and the relation breaks.
            let wheels = self.ratio * (left.turns + right.turns) / 2.0;
            let most = shaft.turns.max(wheels);
            let hidden = shaft.hidden() + self.ratio * Turn::mean(left, right).hidden();
            self.left_out += shaft.turns - wheels;
            self.left_out_u2 += u2(shaft.u_start, left.u_start, right.u_start);
            self.left_out_u2 += u2(shaft.u_end, left.u_end, right.u_end);
            self.hidden += hidden;
            if most > 0.5 && most > 1.5 * hidden && (shaft.turns - wheels).abs() > 0.2 * most {
                for (n, s) in self.silent.iter_mut().zip(still) {
                    *n += u32::from(s);
                }
            }
            return self.cut();
        }
        let continues = self.piece.is_some_and(|p| p.end_us == step.start_us);
        if !continues {
            self.cut();
        }
        let piece = self.piece.get_or_insert(Piece {
            start_us: step.start_us,
            end_us: step.end_us,
            shaft: 0.0,
            wheels: 0.0,
            u2: u2(shaft.u_start, left.u_start, right.u_start),
            end_u2: 0.0,
            moved: [0.0; MOVED],
        });
        let mean = Turn::mean(left, right).times(i);
        piece.u2 += shaft.between() + mean.between();
        let moved = moved(&shaft, &mean);
        self.moved.iter_mut().zip(moved).for_each(|(sum, m)| *sum += m);
        piece.moved.iter_mut().zip(moved).for_each(|(sum, m)| *sum += m);
        piece.end_us = step.end_us;
        piece.shaft += shaft.turns;
        piece.wheels += mean.turns;
        piece.end_u2 = u2(shaft.u_end, left.u_end, right.u_end);
        let full = piece.shaft >= PIECE_TURN;
        let (_, _, first, _) = *self.span.get_or_insert((step.start_us, 0, step.records.0, 0));
        let start_us = self.span.map_or(step.start_us, |s| s.0);
        self.span = Some((start_us, step.end_us, first, step.records.1));
        if full {
            self.cut();
        }
    }

    fn cut(&mut self) {
        let Some(p) = self.piece.take() else { return };
        if p.shaft < PIECE_TURN / 4.0 || p.wheels <= 0.0 {
            self.left_out += p.shaft - p.wheels;
            self.left_out_u2 += p.u2 + p.end_u2;
            return;
        }
        let excess = 100.0 * (p.shaft / p.wheels - 1.0);
        self.pieces.push(excess);
        self.total.0 += p.shaft;
        self.total.1 += p.wheels;
        self.variance += p.u2 + p.end_u2;
        // What units leave open of a piece, three times, says nothing about a sensor.
        let moved = p.moved.iter().map(|m| m * m).sum::<f64>().sqrt();
        let open = 300.0 * (self.scale_u + moved / p.shaft);
        let far = excess.signum() * (excess.abs() - open).max(0.0);
        if self.worst.is_none_or(|w| far.abs() > w.0.abs()) {
            self.worst = Some((far, p.start_us, p.end_us));
        }
    }

    /// The comparison; None when too little turned.
    pub fn finish(mut self) -> Option<Agreement> {
        self.cut();
        let (start_us, end_us, first, last) = self.span?;
        let (shaft, wheels) = self.total;
        if shaft < PIECE_TURN {
            return None;
        }
        let n = self.pieces.n() as f64;
        let mut components = vec![Component::own("counting", 100.0 * self.variance.sqrt() / shaft)];
        if n >= 2.0 {
            components.push(Component::from_scatter(
                "scatter",
                self.pieces.sd() / n.sqrt(),
                n - 1.0,
            ));
        }
        // Over a rest the turns add up as they do elsewhere. What surely does not, a sensor missed
        // while it went slowly: too little in each step to call it silent, and not in any piece.
        let known = self.hidden + 3.0 * self.left_out_u2.sqrt();
        let missed = (self.left_out.abs() - known).max(0.0);
        components.push(Component::own("left out", 100.0 * missed / shaft));
        components.push(Component::shared("signal scale", 100.0 * self.scale_u));
        for (name, moved) in MOVED_NAMES.iter().zip(self.moved) {
            let u = 100.0 * moved / shaft;
            Component::gather(&mut components, name, u);
        }
        components.retain(|c| c.u > 0.0);
        Some(Agreement {
            excess_percent: Estimate {
                name: "shaft-to-wheel ratio excess".into(),
                value: 100.0 * (shaft / wheels - 1.0),
                unit: "%".into(),
                components,
            },
            worst_piece: self.worst?,
            shaft_turn: shaft,
            span_us: (start_us, end_us),
            records: (first, last),
        })
    }
}

/// Turns of both outputs by their shafts held against those by their wheels, over a stretch.
///
/// Gears tie the two. What they differ by, beyond what counting leaves open, some sensor counted
/// that was no tooth, or missed; and the difference of the outputs may be wrong by as much.
#[derive(Debug, Clone, Default)]
pub struct CountedTwice([Axle; 2]);

/// Shaft turns less what the wheels make of them: sum, variance of what counting leaves open at
/// the ends, and end of the last step with the variance there.
#[derive(Debug, Clone, Copy, Default)]
struct Axle {
    turns: f64,
    u2: f64,
    last: Option<(i64, f64)>,
}

impl CountedTwice {
    /// Takes one step in. Only counted edges tell: units send the same wheels at other times.
    pub fn push(&mut self, step: &Step, setup: &Setup) {
        for ((axle, (shaft, wheels)), ratio) in self.0.iter_mut().zip(Place::AXLES).zip(setup.ratio)
        {
            let counted = |p: Place| step.at(p).filter(|t| !t.still && t.sent.is_none());
            match (counted(shaft), counted(wheels[0]), counted(wheels[1])) {
                (Some(shaft), Some(l), Some(r)) => {
                    axle.take(step, shaft, Turn::mean(l, r).times(ratio))
                }
                _ => axle.cut(),
            }
        }
    }

    /// Turns by which the shafts were surely counted otherwise than the wheels; 0 where nothing
    /// was counted twice, or both agree.
    pub fn finish(self) -> f64 {
        let sure = |mut axle: Axle| {
            axle.cut();
            if axle.turns.abs() > SURE * axle.u2.sqrt() { axle.turns.abs() } else { 0.0 }
        };
        self.0.map(sure).iter().sum()
    }
}

impl Axle {
    fn take(&mut self, step: &Step, shaft: Turn, wheels: Turn) {
        if self.last.is_some_and(|(end_us, _)| end_us != step.start_us) {
            self.cut();
        }
        if self.last.is_none() {
            self.u2 += shaft.u_start.powi(2) + wheels.u_start.powi(2);
        }
        self.turns += shaft.turns - wheels.turns;
        self.last = Some((step.end_us, shaft.u_end.powi(2) + wheels.u_end.powi(2)));
    }

    fn cut(&mut self) {
        self.u2 += self.last.take().map_or(0.0, |(_, u2)| u2);
    }
}
