//! Thinning of a line to what a picture can show, without losing an extreme or a gap.

/// Columns of a picture: a line with more points than four a column is thinned.
const COLUMNS: usize = 800;

/// Beyond this a number is no reading that can be drawn, and it would break the axes.
const DRAWABLE: f64 = 1e9;

/// A number that can be drawn.
pub fn drawable(x: f64) -> Option<f64> {
    (x.abs() <= DRAWABLE).then_some(x)
}

/// Unbroken runs of points that can be drawn.
pub fn runs(points: &[(f64, Option<f64>)]) -> Vec<Vec<(f64, f64)>> {
    let point = |(x, y): &(f64, Option<f64>)| Some((drawable(*x)?, y.and_then(drawable)?));
    let mut runs = vec![Vec::new()];
    for p in points {
        match point(p) {
            Some(p) => runs.last_mut().expect("never empty").push(p),
            None if runs.last().is_some_and(|r| !r.is_empty()) => runs.push(Vec::new()),
            None => {}
        }
    }
    runs.retain(|r| !r.is_empty());
    runs
}

/// A run with, for each column of the picture, its first, least, greatest and last point.
pub fn thinned(run: &[(f64, f64)], x: [f64; 2]) -> Vec<(f64, f64)> {
    if run.len() <= 4 * COLUMNS {
        return run.to_vec();
    }
    let column = |p: &(f64, f64)| ((p.0 - x[0]) / (x[1] - x[0]) * COLUMNS as f64) as i64;
    run.chunk_by(|a, b| column(a) == column(b)).flat_map(corners).collect()
}

fn corners(chunk: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let by = |a: &usize, b: &usize| chunk[*a].1.total_cmp(&chunk[*b].1);
    let least = (0..chunk.len()).min_by(by).unwrap_or(0);
    let greatest = (0..chunk.len()).max_by(by).unwrap_or(0);
    let mut kept = vec![0, least, greatest, chunk.len() - 1];
    kept.sort_unstable();
    kept.dedup();
    kept.into_iter().map(|i| chunk[i]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_missing_value_breaks_the_line() {
        let points = [(0.0, Some(1.0)), (1.0, None), (2.0, Some(f64::NAN)), (3.0, Some(2.0))];
        assert_eq!(runs(&points), vec![vec![(0.0, 1.0)], vec![(3.0, 2.0)]]);
        assert!(runs(&[(0.0, None)]).is_empty());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]
        #[test]
        fn thinning_keeps_ends_and_extremes_and_invents_nothing(
            values in prop::collection::vec(-1e3..1e3f64, 3300..9000),
        ) {
            let run: Vec<_> = values.iter().enumerate().map(|(i, v)| (i as f64, *v)).collect();
            let kept = thinned(&run, [0.0, run.len() as f64]);
            prop_assert!(kept.len() <= 4 * (COLUMNS + 1));
            prop_assert!(kept.iter().all(|p| run[p.0 as usize] == *p));
            prop_assert!(kept.windows(2).all(|w| w[0].0 < w[1].0));
            let extreme = |pts: &[(f64, f64)]| {
                let ys = || pts.iter().map(|p| p.1);
                (ys().fold(f64::MAX, f64::min), ys().fold(f64::MIN, f64::max))
            };
            prop_assert_eq!(extreme(&kept), extreme(&run));
            prop_assert_eq!((kept[0], kept[kept.len() - 1]), (run[0], run[run.len() - 1]));
        }
    }
}
