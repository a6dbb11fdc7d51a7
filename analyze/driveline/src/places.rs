//! Does each wheel sensor sit where the vehicle file says? A vehicle that turns tells.
//!
//! In a turn the four wheels roll along four different paths. Only the two wheels that really
//! belong to an axle have its shaft's mean (`N_shaft / i = (N_left + N_right) / 2`, open axle
//! differential), and left and right differ the same way at both axles. On a straight road nothing
//! of this shows, and a comparison over the whole drive may average it away.

use crate::demand::Setup;
use crate::pulse::Step;
use crate::turn::Turn;
use crate::vehicle::Place;

/// Every choice of two of [`Place::WHEELS`] as the front axle's, the declared one first.
const FRONT_PAIRS: [[usize; 2]; 6] = [[0, 1], [2, 3], [2, 1], [3, 1], [0, 2], [0, 3]];

/// Wheel turns of one piece: at full lock about a quarter of a circle.
const PIECE_TURN: f64 = 4.0;

/// So many pieces make a case; one or two may be a wheel that slipped its count.
const PIECES_MIN: u32 = 3;

/// Beyond is what lies beyond the limit by so many standard uncertainties.
const CERTAIN: f64 = 4.0;

/// Left and right differ where they differ by at least so many turns in a piece.
const SIDES_MIN_TURN: f64 = 0.25;

/// A course has turned where it turned by at least this in a piece, rad.
const TURNED_MIN_RAD: f64 = 0.3;

/// Sensors that do not sit where they are declared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exchange {
    /// The sensors of the two axles: either of the shafts or of the wheels.
    Axles,
    /// Two wheels of different axles.
    Wheels(Place, Place),
    /// Left and right of one axle (0 front, 1 rear); None where nothing tells which one.
    Sides(Option<usize>),
}

/// An exchange with its evidence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exchanged {
    /// What is exchanged.
    pub exchange: Exchange,
    /// Pieces of turning that show it, none of which speaks against it.
    pub pieces: u32,
    /// First and last instant, board microseconds.
    pub span_us: (i64, i64),
    /// First and last raw record.
    pub records: (u64, u64),
}

#[derive(Debug, Clone, Copy)]
struct Piece {
    start_us: i64,
    end_us: i64,
    records: (u64, u64),
    wheels: [f64; 4],
    shafts: [Option<f64>; 2],
    /// Variance of one wheel's and one shaft's count, turns squared: the first step's start.
    wheel_u2: f64,
    shaft_u2: f64,
    turned_rad: Option<f64>,
}

/// Pieces that show a thing, and pieces that show the contrary.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    so: u32,
    not_so: u32,
}

impl Tally {
    fn note(&mut self, so: bool) {
        *(if so { &mut self.so } else { &mut self.not_so }) += 1;
    }

    /// Often enough so, and never otherwise.
    fn only_so(&self) -> bool {
        self.so >= PIECES_MIN && self.not_so == 0
    }
}

/// Folds the steps of a drive; memory: one piece and its tallies.
#[derive(Debug, Clone)]
pub struct PlacesFold {
    ratio: [f64; 2],
    limit: f64,
    piece: Option<Piece>,
    span: Option<(i64, i64, u64, u64)>,
    /// By pair of [`FRONT_PAIRS`]: pieces that are certainly beyond the limit.
    beyond: [u32; FRONT_PAIRS.len()],
    /// Left/right differs the other way at the rear than at the front.
    opposite: Tally,
    /// By axle: left/right differs the other way than the course turned.
    against_course: [Tally; 2],
}

impl PlacesFold {
    /// A fold for a vehicle; `limit_percent` is what a shaft-to-wheel ratio may be off by. None
    /// where an axle is not open: then its wheels say nothing about its shaft.
    pub fn new(setup: &Setup, limit_percent: f64) -> Option<Self> {
        (setup.open == [true; 2]).then(|| PlacesFold {
            ratio: setup.ratio,
            limit: limit_percent / 100.0,
            piece: None,
            span: None,
            beyond: [0; FRONT_PAIRS.len()],
            opposite: Tally::default(),
            against_course: [Tally::default(); 2],
        })
    }

    /// Takes one step in; `yaw_rate` by a course over ground, rad/s to the right, where there is
    /// one (driving forward is assumed).
    pub fn push(&mut self, step: &Step, yaw_rate: Option<f64>) {
        let counted = |t: &Turn| t.sent.is_none() && !t.still;
        let all = Place::WHEELS.map(|p| step.at(p).filter(counted));
        let [Some(a), Some(b), Some(c), Some(d)] = all else {
            self.piece = None;
            return;
        };
        let wheels = [a, b, c, d];
        let shafts = [Place::FrontShaft, Place::RearShaft].map(|p| step.at(p).filter(counted));
        let u2 = |turns: &[Turn], end: fn(&Turn) -> f64| {
            turns.iter().map(|t| end(t).powi(2)).fold(0.0, f64::max)
        };
        let of_shafts: Vec<Turn> = shafts.iter().flatten().copied().collect();
        let continues = |p: &Piece| {
            p.end_us == step.start_us
                && (0..2).all(|i| p.shafts[i].is_some() == shafts[i].is_some())
        };
        let mut piece = self.piece.filter(continues).unwrap_or(Piece {
            start_us: step.start_us,
            end_us: step.start_us,
            records: step.records,
            wheels: [0.0; 4],
            shafts: shafts.map(|s| s.map(|_| 0.0)),
            wheel_u2: u2(&wheels, |t| t.u_start),
            shaft_u2: u2(&of_shafts, |t| t.u_start),
            turned_rad: Some(0.0),
        });
        piece.end_us = step.end_us;
        piece.records.1 = step.records.1;
        (0..4).for_each(|w| piece.wheels[w] += wheels[w].turns);
        for (sum, shaft) in piece.shafts.iter_mut().zip(shafts) {
            *sum = sum.zip(shaft).map(|(sum, s)| sum + s.turns);
        }
        let turned = yaw_rate.map(|r| r * step.seconds());
        piece.turned_rad = piece.turned_rad.zip(turned).map(|(sum, t)| sum + t);
        self.piece = Some(piece);
        if piece.wheels.iter().sum::<f64>() >= 4.0 * PIECE_TURN {
            let ends = (u2(&wheels, |t| t.u_end), u2(&of_shafts, |t| t.u_end));
            self.close(&piece, ends);
            self.piece = None;
        }
    }

    fn close(&mut self, p: &Piece, (wheel_u2, shaft_u2): (f64, f64)) {
        let (wheel_u2, shaft_u2) = (p.wheel_u2 + wheel_u2, p.shaft_u2 + shaft_u2);
        let is_beyond = FRONT_PAIRS.map(|front| {
            let rear = rest(front);
            [front, rear].into_iter().enumerate().any(|(axle, pair)| {
                let (Some(shaft), i) = (p.shafts[axle], self.ratio[axle]) else { return false };
                let wheels = i * (p.wheels[pair[0]] + p.wheels[pair[1]]) / 2.0;
                let u = (shaft_u2 + i * i * wheel_u2 / 2.0).sqrt();
                (shaft - wheels).abs() > self.limit * shaft + CERTAIN * u
            })
        });
        let sides = [p.wheels[0] - p.wheels[1], p.wheels[2] - p.wheels[3]];
        let least = SIDES_MIN_TURN.max(CERTAIN * (2.0 * wheel_u2).sqrt());
        let differs = sides.map(|d| d.abs() > least);
        let opposite = sides[0] * sides[1] < 0.0;
        if differs == [true; 2] {
            self.opposite.note(opposite);
        }
        let turned = p.turned_rad.filter(|t| t.abs() > TURNED_MIN_RAD);
        for axle in (0..2).filter(|axle| differs[*axle]) {
            turned.iter().for_each(|t| self.against_course[axle].note(sides[axle] * t < 0.0));
        }
        self.beyond.iter_mut().zip(is_beyond).for_each(|(n, b)| *n += u32::from(b));
        if is_beyond[0] || differs == [true; 2] && opposite {
            let first = self.span.map_or((p.start_us, p.records.0), |s| (s.0, s.2));
            self.span = Some((first.0, p.end_us, first.1, p.records.1));
        }
    }

    /// What is exchanged, if anything certainly is: the declared places contradict the counts, and
    /// one exchange, and one only, explains every piece.
    pub fn finish(self) -> Option<Exchanged> {
        let (exchange, pieces) = self.across().or_else(|| self.within())?;
        let (start_us, end_us, first, last) = self.span?;
        Some(Exchanged { exchange, pieces, span_us: (start_us, end_us), records: (first, last) })
    }

    fn across(&self) -> Option<(Exchange, u32)> {
        let [declared, others @ ..] = &self.beyond;
        let mut explain = (0..others.len()).filter(|k| others[*k] == 0);
        let (Some(k), None) = (explain.next(), explain.next()) else { return None };
        let away = |w: &usize| !FRONT_PAIRS[k + 1].contains(w);
        let from = [0, 1].into_iter().find(away)?;
        let exchange = match FRONT_PAIRS[k + 1] {
            [2, 3] => Exchange::Axles,
            pair => {
                let to = pair.into_iter().find(|w| *w >= 2)?;
                Exchange::Wheels(Place::WHEELS[from], Place::WHEELS[to])
            }
        };
        (*declared >= PIECES_MIN).then_some((exchange, *declared))
    }

    fn within(&self) -> Option<(Exchange, u32)> {
        let blamed: Vec<usize> = (0..2).filter(|a| self.against_course[*a].only_so()).collect();
        let axle = if let [one] = blamed[..] { Some(one) } else { None };
        self.opposite.only_so().then_some((Exchange::Sides(axle), self.opposite.so))
    }
}

/// The other two wheels.
fn rest(pair: [usize; 2]) -> [usize; 2] {
    let mut others = (0..4).filter(|w| !pair.contains(w));
    [others.next().unwrap_or(2), others.next().unwrap_or(3)]
}
