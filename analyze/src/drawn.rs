//! What the figures draw, folded from the steps of a drive: bounded, and never part of a verdict.

use crate::series::{LiftedWindow, Series};
use wheelwitness_driveline::demand::Motion;
use wheelwitness_driveline::pulse::Step;
use wheelwitness_driveline::vehicle::Place;

/// Rows kept for the plots; a longer drive doubles the steps per row.
const ROWS_MAX: usize = 4_000;

/// The series, row by row.
#[derive(Default)]
pub(crate) struct Plot {
    series: Series,
    counted: f64,
    demanded: f64,
    lifted: Option<LiftedWindow>,
    every: usize,
    seen: usize,
}

impl Plot {
    /// Takes a step, with its motion where both outputs were seen; `range` is the ratio in force.
    pub(crate) fn take(&mut self, step: &Step, motion: Option<&Motion>, range: f64) {
        let time_s = (step.start_us + step.end_us) as f64 * 5e-7;
        let rpm = |turns: f64| 60.0 * turns / step.seconds();
        if let Some(m) = motion {
            self.counted += m.front.turns - m.rear.turns;
            self.demanded += m.demanded[0];
        }
        self.lift(time_s, motion, &rpm, range);
        self.seen += 1;
        if !self.seen.is_multiple_of(self.every.max(1)) {
            return;
        }
        let s = &mut self.series;
        s.time_s.push(time_s);
        s.front_rpm.push(motion.map(|m| rpm(m.front.turns)));
        s.rear_rpm.push(motion.map(|m| rpm(m.rear.turns)));
        s.input_rpm.push(step.at(Place::Input).map(|i| rpm(i.turns / range)));
        s.speed_mps.push(motion.map(|m| m.speed_mps));
        s.counted_turn.push(motion.map(|_| self.counted));
        s.demanded_turn
            .push(motion.filter(|m| m.curvature.is_some() || m.rear.still).map(|_| self.demanded));
        s.differential_slip_percent.push(motion.and_then(|m| {
            let mean = (m.front.turns + m.rear.turns) / 2.0;
            (mean > 0.2).then(|| 100.0 * (m.front.turns - m.rear.turns) / mean)
        }));
        if s.time_s.len() > ROWS_MAX {
            self.halve();
        }
    }

    fn halve(&mut self) {
        fn every_other<T>(v: &mut Vec<T>) {
            let mut keep = true;
            v.retain(|_| {
                keep = !keep;
                keep
            });
        }
        let s = &mut self.series;
        every_other(&mut s.time_s);
        for v in [
            &mut s.front_rpm,
            &mut s.rear_rpm,
            &mut s.input_rpm,
            &mut s.speed_mps,
            &mut s.counted_turn,
            &mut s.demanded_turn,
            &mut s.differential_slip_percent,
        ] {
            every_other(v);
        }
        self.every = self.every.max(1) * 2;
    }

    fn lift(&mut self, time_s: f64, motion: Option<&Motion>, rpm: &dyn Fn(f64) -> f64, range: f64) {
        let hanging = motion.filter(|m| m.rear.still && !m.front.still && m.front.turns > 0.05);
        let Some(m) = hanging else { return self.set_down() };
        let w = self.lifted.get_or_insert_with(|| LiftedWindow {
            start_s: time_s,
            end_s: time_s,
            ratio: None,
            time_s: Vec::new(),
            front_rpm: Vec::new(),
            rear_rpm: Vec::new(),
            input_rpm: Vec::new(),
        });
        w.end_s = time_s;
        w.time_s.push(time_s);
        w.front_rpm.push(rpm(m.front.turns));
        w.rear_rpm.push(rpm(m.rear.turns));
        w.input_rpm.push(m.input.map_or(f64::NAN, |i| rpm(i.turns / range)));
    }

    fn set_down(&mut self) {
        let Some(mut w) = self.lifted.take() else { return };
        if w.time_s.len() < 4 {
            return;
        }
        let (front, input): (f64, f64) = (w.front_rpm.iter().sum(), w.input_rpm.iter().sum());
        w.ratio = (input > 0.0).then(|| front / input);
        w.input_rpm.retain(|x| x.is_finite());
        self.series.lifted.push(w);
    }

    /// The series.
    pub(crate) fn finish(mut self) -> Series {
        self.set_down();
        self.series
    }
}
