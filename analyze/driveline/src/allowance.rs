//! The allowance of the center differential, period by period, and the front's share of the drive.
//!
//! Within one engagement period the counted difference `m` of the outputs is fitted as
//! `m = y (d + M S) + e S + tau A`: `d` the demanded turn part, `S` the rear turns, `A` the
//! traction. `y` is the allowance, `M` the mismatch as it is known, of which `y` lets through the
//! same share, `e` what is let through beside that; `mu = y M + e`. Whole manoeuvres are the rows,
//! never windows that share edges; the uncertainty of `y` is never the scatter alone: every number
//! that the demand rests on is moved once and the fit repeated. Only a difference between left and
//! right tyres bends turns to opposite sides: it is fitted too, within what is known of it, or rows
//! that contradict each other would be blamed on the mismatch.

use crate::demand::{CurvatureSource, DOUBTS, Demanded, Doubt};
use crate::free_front::against_free_front;
use crate::quantity::{Component, Estimate};
use crate::segment::{Phases, Segment, by_manoeuvre, is_straight, side};
use crate::share::{SentRow, share_of_sent};
use crate::stats::{Fit, combined_u, least_squares};
use crate::turn::{MOVED_NAMES, Opens};

pub use crate::segment::EXERCISE_TURN;

/// What is known beforehand of the mismatch, in turns of the front output per rear turn, less one.
///
/// Turning alone hardly tells an allowance from a mismatch: both let the outputs differ in
/// proportion to the way. Straight running in the same drive does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MismatchPrior {
    /// Expected mismatch of freely rolling axles.
    pub mean: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// What of the mean is no mismatch but the scale of one output's unit against the other
    /// output's, which no lock holds back; and the standard uncertainty of that. Zeros where both
    /// outputs are counted, or sent by one unit.
    pub scale: (f64, f64),
}

impl MismatchPrior {
    /// The mismatch itself, which a pair lets through by the same share as the demand of a turn: it
    /// sees one difference, whatever makes it. Where the two cancel, no count tells the share.
    fn real(&self) -> f64 {
        self.mean - self.scale.0
    }

    /// How far what is let through may be from this share of the mismatch: all of the scale stays.
    fn beside(&self, share: f64) -> Beside {
        let u = (self.u * share.max(LEAST_SHARE)).hypot((1.0 - share) * self.scale.1);
        Beside { mean: self.scale.0, u, scale_u: self.scale.1 }
    }
}

/// What the sum of `S` lets expect beside the share of the mismatch: mean and standard uncertainty;
/// and that of the scale.
#[derive(Clone, Copy)]
struct Beside {
    mean: f64,
    u: f64,
    scale_u: f64,
}

/// Prior of the traction slope, per m/s^2 (handbook: 0.2 to 0.3 % on a single driven axle), of what
/// a pair lets through.
const TRACTION_PRIOR_U: f64 = 0.003;

/// Fits until the share of the demand that is let through has settled.
const SETTLING_FITS: usize = 12;

/// A pair that lets nothing through still leaves this share of mismatch and traction open.
const LEAST_SHARE: f64 = 0.02;

/// What one period says about allowance and mismatch.
#[derive(Debug, Clone, PartialEq)]
pub struct Allowance {
    /// Share of the turn's demand that was let through; 1.
    pub allowance: Estimate,
    /// Mismatch that was let through, relative; 1.
    pub mismatch: Estimate,
    /// Demanded turn part of the period, turns.
    pub demanded_turn: f64,
    /// Straight running in the same fit, rear turns.
    pub straight_turn: f64,
    /// Largest less smallest running sum of the counted difference, turns.
    pub counted_range: f64,
    /// How much better the counts fit a lock than a front axle that nothing drives behind rear
    /// wheels that slip; see [`against_free_front`].
    pub against_free_front: f64,
    /// Each turning manoeuvre by itself.
    pub manoeuvres: Vec<Manoeuvre>,
}

/// One turning manoeuvre of a period.
#[derive(Debug, Clone, PartialEq)]
pub struct Manoeuvre {
    /// Start, board microseconds.
    pub start_us: i64,
    /// End, board microseconds.
    pub end_us: i64,
    /// Demanded turn part, turns.
    pub demanded_turn: f64,
    /// Its own allowance; 1.
    pub allowance: Estimate,
}

impl Allowance {
    /// Doubts what was counted by so many turns: they may have come in any manoeuvre.
    pub fn doubt_counts(&mut self, turns: f64) {
        let each = self.manoeuvres.iter_mut().map(|m| (&mut m.allowance, m.demanded_turn));
        for (estimate, demanded) in each.chain([(&mut self.allowance, self.demanded_turn)]) {
            let doubt = Component::shared("shafts against wheels", turns / demanded);
            estimate.components.extend(Some(doubt).filter(|c| c.u > 0.0));
        }
    }
}

/// Fits one period. None where nothing turned, or nothing tells `y` from `mu`.
///
/// `backlash_turn` is the play between the outputs: a locked pair may still shift by that much
/// once per load reversal.
pub fn fit(segments: &[Segment], backlash_turn: f64, prior: MismatchPrior) -> Option<Allowance> {
    let counted_range = counted_range(segments);
    let mut manoeuvred = by_manoeuvre(sharpen(segments));
    manoeuvred.iter_mut().for_each(|s| hold_rocking(s, counted_range));
    let all: Vec<&Segment> = manoeuvred.iter().collect();
    // Of a turn shorter than the window of its course, most of the demand was put back.
    let told = |s: &&Segment| s.seconds() >= s.smear_s;
    let rows: Vec<&Segment> = all.iter().copied().filter(told).collect();
    let demanded_turn: f64 = rows.iter().map(|s| s.demanded[0]).sum();
    let telling = rows.iter().filter(|s| s.tells()).map(|s| s.demanded[0]).sum::<f64>();
    if telling < EXERCISE_TURN {
        return None;
    }
    // What a model leaves open, and what of the mismatch is let through, scale with the share of
    // the demand that is: a first fit tells how much that is, the next ones settle it.
    let real = prior.real();
    let declared = |s: &Segment| (s.demanded[0] + real * s.rear, s.counted);
    // Play cannot have moved the sum by more than the sum moved.
    let play = backlash_turn.min(counted_range);
    let mut with = With { share: 1.0, play, tyres: true };
    let mut beside = prior.beside(with.share);
    let mut base = solve(&rows, &declared, with, beside)?;
    let began = (base.beta[0], base.covariance[0][0].sqrt());
    for _ in 0..SETTLING_FITS {
        with.share = base.beta[0].clamp(0.0, 1.0);
        beside = prior.beside(with.share);
        base = solve(&rows, &declared, with, beside)?;
    }
    let even = With { tyres: false, ..with };
    let by_rows = solve(&rows, &declared, even, beside)?.covariance[0][0];
    let exact = With { play: 0.0, ..even };
    let counting = solve(&rows, &declared, exact, beside)?.covariance[0][0];
    let (y, mu) = (base.beta[0], real * base.beta[0] + base.beta[1]);
    let mu_u = combined_u(&[real, 1.0, 0.0, 0.0], &base.covariance);
    let dof = rows.len() as f64 - 2.0;
    let own = |u: f64| {
        let scatter = Component::from_residuals("scatter", u, base.chi2, dof);
        vec![Component::own("counting", u), scatter]
    };
    let mut components = own(counting.sqrt());
    components.push(Component::own("backlash", (by_rows - counting).max(0.0).sqrt()));
    let by_tyres = (base.covariance[0][0] - by_rows).max(0.0).sqrt();
    components.push(Component::shared(DOUBTS[TYRES].1, by_tyres));
    components.extend(doubts(&rows, (real, y), with, beside));
    components.push(Component::shared("wheel slip", wheel_slip(&rows, y, mu)));
    components.push(Component::own("course", curvature_noise(&rows, y, demanded_turn)));
    let mistaken = mistaken(&rows, base.beta[1], beside).hypot(unsettled(began, y));
    components.push(Component::shared("mistaken mismatch", mistaken));
    components.retain(|c| c.u > 0.0);
    let straight_turn: f64 = rows.iter().filter(|s| is_straight(s)).map(|s| s.rear).sum();
    let allowance = Estimate { name: "allowance".into(), value: y, unit: "1".into(), components };
    // How much of the mismatch is let through is known no better than the share that is.
    let by_scale = allowance.components.iter().find(|c| c.name == "signal scale");
    let scale_u = prior.scale.1.hypot(real * by_scale.map_or(0.0, |c| c.u));
    Some(Allowance {
        allowance,
        mismatch: Estimate {
            name: "mismatch let through".into(),
            value: mu,
            unit: "1".into(),
            components: let_through(own(mu_u), prior.scale.0.hypot(scale_u)),
        },
        demanded_turn,
        straight_turn,
        counted_range,
        against_free_front: against_free_front(&all, prior.mean),
        manoeuvres: manoeuvres(&rows, mu, mu_u.hypot(scale_u), play),
    })
}

/// Components of what was let through with the distance. Units whose scales differ read so too, and
/// how much of a mean that is, is hardly known.
fn let_through(mut components: Vec<Component>, scale: f64) -> Vec<Component> {
    components.push(Component::shared("signal scale", scale));
    components.retain(|c| c.u > 0.0);
    components
}

/// What a fit of the rows takes for granted.
#[derive(Clone, Copy)]
struct With {
    /// Share of the demand that is let through.
    share: f64,
    /// Play of the pair, turns.
    play: f64,
    /// Whether the difference between left and right tyres is fitted, or taken as declared.
    tyres: bool,
}

/// Number of the doubt that bends turns to opposite sides.
const TYRES: usize = 4;
const _: () = assert!(matches!(DOUBTS[TYRES].0, Doubt::LeftRight));

/// Weighted fit of `m = y d + e S + tau A + b y d'` with the priors; `dm` gives `d`, with the
/// mismatch as it is known, and `m` of a row; `d'` is what a standard uncertainty of the tyres
/// changes of `d`, and `b` how many there are.
fn solve(
    rows: &[&Segment],
    dm: &dyn Fn(&Segment) -> (f64, f64),
    with: With,
    prior: Beside,
) -> Option<Fit> {
    let bent = |s: &Segment| with.share * (s.demanded[1 + TYRES] - s.demanded[0]);
    let mut x: Vec<Vec<f64>> =
        rows.iter().map(|s| vec![dm(s).0, s.rear, s.traction, bent(s)]).collect();
    let mut y: Vec<f64> = rows.iter().map(|s| dm(s).1).collect();
    let mut sd: Vec<f64> = rows.iter().map(|s| row_sd(s, with.share, with.play)).collect();
    let traction_u = TRACTION_PRIOR_U * with.share.max(LEAST_SHARE);
    let bent_u = if with.tyres { 1.0 } else { 1e-6 };
    for (k, mean, u) in [(1, prior.mean, prior.u), (2, 0.0, traction_u), (3, 0.0, bent_u)] {
        let mut row = vec![0.0; 4];
        row[k] = 1.0;
        x.push(row);
        y.push(mean);
        sd.push(u);
    }
    least_squares(&x, &y, &sd)
}

/// Standard deviation of a row: counting, play, and what no model of a tyre promises (2.5 % of the
/// turn part, 0.05 % of the distance part), of which a lock lets nothing through. A turn pulls the
/// pair to one end of its play; where it lay before is not known, so that a row may take up all of
/// it or give it back (rectangular over both, GUM 4.3.7).
fn row_sd(s: &Segment, share: f64, play: f64) -> f64 {
    let model = s.demanded_u.hypot(0.025 * s.demanded[0]).hypot(0.0005 * s.rear);
    let ends = s.open.sum();
    let counted = (ends.front + ends.rear + s.sent.between + (share * model).powi(2)).sqrt();
    counted.hypot(play / 3f64.sqrt()).max(1e-6)
}

/// One component per named doubt: how far `y` moves when that number moves by its uncertainty.
fn doubts(rows: &[&Segment], known: (f64, f64), with: With, prior: Beside) -> Vec<Component> {
    let (real, y) = known;
    let mut components: Vec<Component> = Vec::new();
    let mut doubt = |name, dm: &dyn Fn(&Segment) -> (f64, f64), prior| {
        let whole = |s: &Segment| (dm(s).0 + real * s.rear, dm(s).1);
        let moved = solve(rows, &whole, with, prior).map_or(0.0, |f| f.beta[0] - y);
        Component::gather(&mut components, name, moved);
    };
    for (k, (_, name)) in DOUBTS.iter().enumerate().filter(|(k, _)| *k != TYRES) {
        doubt(name, &|s| (s.demanded[k + 1], s.counted), prior);
    }
    for (k, name) in MOVED_NAMES.iter().enumerate() {
        if rows.iter().any(|s| s.sent.difference[k] != 0.0) {
            doubt(name, &|s| (s.demanded[0], s.counted + s.sent.difference[k]), prior);
        }
    }
    // What is scale is no mismatch: the one grows by what the other loses, and of both stays what
    // is not let through. A share that no pair has shows that they were taken apart wrongly.
    let scaled = Beside { mean: prior.mean + (1.0 - y) * prior.scale_u, ..prior };
    doubt("signal scale", &|s| (s.demanded[0], s.counted), scaled);
    components
}

/// What sliding tyres can do to the ruler.
///
/// A pair that holds back a difference makes all tyres slip by that share of their path. Wheels
/// that slide no longer show the curve (the rear ones, one axle, equal torque), so the demand is
/// understated and `y` overstated: by up to six times the slip (found on simulated vehicles), and
/// never by more than to the sharpest curve that a road vehicle drives. The slip is that of the
/// whole demand, not of what is left to be seen of it ([`understated`]). Where a course gave a
/// second opinion, its contradiction counts instead. A course itself is not misled, but the
/// distance is, by half the slip.
fn wheel_slip(rows: &[&Segment], y: f64, mu: f64) -> f64 {
    let turning: Vec<&&Segment> = rows.iter().filter(|s| !is_straight(s)).collect();
    let rear: f64 = turning.iter().map(|s| s.rear).sum();
    if rear <= 0.0 {
        return 0.0;
    }
    let demanded: f64 = turning.iter().map(|s| s.demanded[0]).sum();
    let counted: f64 = turning.iter().map(|s| s.counted).sum::<f64>() - mu * rear;
    let (demand, count) = (demanded / rear, counted / rear);
    let by_wheels = turning.iter().any(|s| s.source == Some(CurvatureSource::RearWheels));
    if !by_wheels {
        let held = (demand - count).abs();
        return y.abs() * held / 2.0 / 3f64.sqrt();
    }
    let opinions =
        turning.iter().fold([0.0; 2], |sum, s| [sum[0] + s.opinions[0], sum[1] + s.opinions[1]]);
    if opinions[0] > 0.7 * demanded {
        let contradiction = (opinions[0] / opinions[1] - 1.0).abs();
        return y.abs() * (contradiction - 0.03).max(0.0);
    }
    let sharpest = 1.0 - (demand / SHARPEST_EXCESS).min(1.0);
    y.abs() * understated(demand, count).min(sharpest) / 3f64.sqrt()
}

/// Share of a demand that sliding tyres hide, where `demand` of it is seen and `count` was let
/// through, both per rear turn. What the slip that is seen hides is put back once: it slips too.
fn understated(demand: f64, count: f64) -> f64 {
    let hidden = |demand: f64| HIDDEN_PER_SLIP * (demand - count);
    hidden(demand / (1.0 - hidden(demand).clamp(0.0, 0.9))).abs()
}

/// Share of a demand that sliding hides, per slip of the tyres.
const HIDDEN_PER_SLIP: f64 = 6.0;

/// Turn part per rear turn of the sharpest circle that a road vehicle drives (wheelbase over
/// radius of 0.75; common practice).
const SHARPEST_EXCESS: f64 = 0.25;

/// A mismatch that the found share cannot let through: on circles of one radius the fit may take a
/// part of the turn for it, the more so the noisier the demand. What lies beyond three
/// uncertainties of what is let through `beside` is taken for a share of the turn, as a doubt of
/// `y`.
fn mistaken(rows: &[&Segment], found: f64, beside: Beside) -> f64 {
    let beyond = (found - beside.mean).abs() - 3.0 * beside.u;
    let (rear, demanded) =
        rows.iter().fold((0.0, 0.0), |sum, s| (sum.0 + s.rear, sum.1 + s.demanded[0]));
    beyond.max(0.0) * rear / demanded
}

/// How far the share settled from where it began, beyond the uncertainty `u` there: then the rows
/// fit a small share with much of a mismatch beside it as well as a large one that tyres or
/// geometry bend, and which of the two, they do not tell.
fn unsettled((began, u): (f64, f64), settled: f64) -> f64 {
    ((began - settled).abs() - u).max(0.0)
}

/// Noise of the curvature, the square that was taken off for it, and what was put back for the
/// smear of a course: how much noise there is, and how quickly the driver steers, is not known, so
/// that of both all or none may be right (rectangular, GUM 4.3.7).
fn curvature_noise(rows: &[&Segment], y: f64, demanded_turn: f64) -> f64 {
    let noise: f64 = rows.iter().map(|s| s.demanded_u.powi(2)).sum();
    let squares: f64 = rows.iter().map(|s| s.noise_turn).sum();
    let smear: f64 = turns_of(rows).map(|turn| 2.0 * put_back(turn)).sum();
    y.abs() * noise.sqrt().hypot(squares.hypot(smear) / 3f64.sqrt()) / demanded_turn
}

/// Neighbouring segments that turn to the same side.
fn turns_of<'a, 'b>(rows: &'a [&'b Segment]) -> impl Iterator<Item = &'a [&'b Segment]> {
    let of = |s: &Segment| side(s.curvature());
    rows.chunk_by(move |a, b| of(a) == of(b)).filter(move |turn| of(turn[0]) != 0)
}

/// Demand lost to the smear of a course at one end of a turn: a slope taken over a window turns a
/// step of the curvature into a ramp, and the square of a ramp is a sixth of the window short.
/// Steering takes its time, so half of that is put back, and the other half is doubt.
fn put_back(turn: &[&Segment]) -> f64 {
    let (smear, demanded) = turn
        .iter()
        .fold((0.0, 0.0), |sum, s| (sum.0 + s.smear_s * s.demanded[0], sum.1 + s.demanded[0]));
    let rate = turn.iter().map(|s| s.demanded[0] / s.seconds().max(0.5)).fold(0.0, f64::max);
    smear / demanded.max(1e-9) / 12.0 * rate
}

/// The segments that can be fitted, with the demand that a course smears away put back at both
/// ends of every turn. A straight stretch shorter than the window of a course may lie in the middle
/// of a reversal; a turn sharper than any road vehicle can drive is the noise of a start.
fn sharpen(segments: &[Segment]) -> Vec<Segment> {
    let fitted = segments.iter().filter(|s| s.source.is_some() && !s.lifted);
    let seen = |s: &&Segment| side(s.curvature()) != 0 || s.seconds() >= s.smear_s;
    let rows: Vec<&Segment> = fitted.filter(seen).collect();
    let mut out: Vec<Segment> = Vec::new();
    for turn in rows.chunk_by(|a, b| side(a.curvature()) == side(b.curvature())) {
        let is_straight = side(turn[0].curvature()) == 0;
        let missing = if is_straight { 0.0 } else { put_back(turn) };
        let whole = turn
            .iter()
            .fold((2.0 * missing, 0.0), |sum, s| (sum.0 + s.demanded[0], sum.1 + s.rear));
        if missing > 0.0 && whole.0 > SHARPEST_EXCESS * whole.1 {
            continue;
        }
        let first = out.len();
        out.extend(turn.iter().map(|s| (*s).clone()));
        if missing == 0.0 {
            continue;
        }
        let total = demanded(turn);
        for end in [first, out.len() - 1] {
            // What is moved by a doubt misses as much of itself.
            let share = missing / total[0].max(1e-9);
            out[end].demanded.iter_mut().zip(total).for_each(|(d, total)| *d += share * total);
        }
    }
    out
}

/// Demanded turn part of several segments, as declared and with each doubt moved.
fn demanded(segments: &[&Segment]) -> Demanded {
    let mut sum = [0.0; 1 + DOUBTS.len()];
    for s in segments {
        sum.iter_mut().zip(s.demanded).for_each(|(a, b)| *a += b);
    }
    sum
}

/// Rocking cannot have moved the sum by more than the sum moved.
fn hold_rocking(s: &mut Segment, counted_range: f64) {
    let rocked = s.open.rocked.front + s.open.rocked.rear;
    if rocked > counted_range.powi(2) {
        s.open.rocked = s.open.rocked * (counted_range.powi(2) / rocked);
    }
}

fn counted_range(segments: &[Segment]) -> f64 {
    let mut sum = 0.0;
    let (mut low, mut high) = (0.0f64, 0.0f64);
    for s in segments.iter().filter(|s| s.source.is_some() && !s.lifted) {
        sum += s.counted;
        low = low.min(sum);
        high = high.max(sum);
    }
    high - low
}

/// Turning manoeuvres: neighbouring segments that turn to the same side, at least
/// [`EXERCISE_TURN`] demanded, each with its own allowance once the mismatch is taken off.
fn manoeuvres(rows: &[&Segment], mu: f64, mu_u: f64, backlash: f64) -> Vec<Manoeuvre> {
    turns_of(rows)
        .filter_map(|group| {
            let variants = demanded(group);
            let d = variants[0];
            let rear: f64 = group.iter().map(|s| s.rear).sum();
            let m: f64 = group.iter().map(|s| s.counted).sum();
            if d < EXERCISE_TURN {
                return None;
            }
            let value = (m - mu * rear) / d;
            let open = group.iter().map(|s| s.open.sum()).fold(Phases::default(), |a, b| a + b);
            let counting = (open.front + open.rear).sqrt();
            let doubt = variants[1..].iter().map(|v| (d / v - 1.0).powi(2)).sum::<f64>().sqrt();
            let mut sent = Opens::default();
            group.iter().for_each(|s| sent.add(&s.sent));
            let components = vec![
                Component::own("counting", counting / d),
                Component::shared("signals", sent.difference_u() / d),
                Component::own("model", 0.02 * value.abs()),
                Component::own("backlash", backlash / d),
                Component::own("mismatch", mu_u * rear / d),
                Component::shared("demand", doubt * value.abs()),
                Component::shared("wheel slip", wheel_slip(group, value, mu)),
            ];
            let allowance =
                Estimate { name: "allowance".into(), value, unit: "1".into(), components };
            let (start_us, end_us) = (group[0].start_us, group[group.len() - 1].end_us);
            Some(Manoeuvre { start_us, end_us, demanded_turn: d, allowance })
        })
        .collect()
}

/// The front's share of the drive: `N_in / r - N_R = a (N_F - N_R)` while the outputs differ.
///
/// Zero means that the input turns with the rear output alone, the declared share that both are
/// driven through the center differential, 1 that the input turns with the front output alone.
/// None where the input is not measured or the outputs differed by less than [`EXERCISE_TURN`].
pub fn front_share(segments: &[Segment], backlash_turn: f64) -> Option<Estimate> {
    let whole: Vec<Segment> =
        by_manoeuvre(segments.to_vec()).into_iter().filter(|s| s.input.is_some()).collect();
    let rows: Vec<(f64, f64)> =
        whole.iter().filter_map(|s| Some((s.counted, s.input? - s.rear))).collect();
    let differed: f64 = rows.iter().map(|r| r.0.abs()).sum();
    if differed < EXERCISE_TURN {
        return None;
    }
    let x: Vec<Vec<f64>> = rows.iter().map(|r| vec![r.0]).collect();
    let y: Vec<f64> = rows.iter().map(|r| r.1).collect();
    let sds = |share: f64, play: f64| -> Vec<f64> {
        whole.iter().map(|s| s.input_u_with_play(share, play)).collect()
    };
    let mut share = 0.5;
    for _ in 0..SETTLING_FITS {
        share = least_squares(&x, &y, &sds(share, backlash_turn))?.beta[0].clamp(0.0, 1.0);
    }
    let sd = sds(share, backlash_turn);
    let fit = least_squares(&x, &y, &sd)?;
    let counting = least_squares(&x, &y, &sds(share, 0.0))?.covariance[0][0];
    let all = fit.covariance[0][0];
    let mut components = vec![
        Component::own("counting", counting.sqrt()),
        Component::from_residuals("scatter", all.sqrt(), fit.chi2, fit.dof as f64),
        Component::own("backlash", (all - counting).max(0.0).sqrt()),
    ];
    let mut value = fit.beta[0];
    let sent = whole.iter().filter_map(|s| {
        let (turns, moved) = ([s.counted, s.rear, s.input? - s.rear], s.sent.input);
        Some(SentRow { turns, moved, scale_u: s.input_scale_u })
    });
    if let Some((share, more)) = share_of_sent(&sent.collect::<Vec<_>>(), &sd) {
        // Its fit has a column more: what counting leaves open is told by that one.
        value = share;
        components.retain(|c| c.name != "counting");
        components.extend(more);
    }
    components.retain(|c| c.u > 0.0);
    Some(Estimate { name: "front share".into(), value, unit: "1".into(), components })
}
