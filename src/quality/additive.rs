//! Treatment + block fitted to one value a plot: what the checks call *expected*.

use crate::stats::distribution::t_two_sided;
use crate::stats::least_squares::{Solution, solve};

/// A plot whose leverage is this near 1 is alone with its treatment or block: nothing is expected of it.
const ALONE: f64 = 1.0 - 1e-9;
/// Residual variances below this share of the mean square are rounding, and no residual is judged by them.
const ROUNDING: f64 = 1e-20;

/// The least-squares fit of treatment and block effects.
pub(super) struct Additive {
    solution: Solution,
    leverages: Vec<f64>,
    treatments: usize,
    mean_square: f64,
}

/// A residual judged by the fit without its own plot.
pub(super) struct Judged {
    /// Position of the observation.
    pub(super) position: usize,
    /// What the other plots lead to expect.
    pub(super) expected: f64,
    /// Externally studentised residual.
    pub(super) t: f64,
    /// Two-sided p, multiplied by the number of observations (Bonferroni), at most 1.
    pub(super) p: f64,
}

impl Additive {
    /// The fit of one value a plot; `treatments` and `blocks` are small whole numbers. `None` where lengths differ or a value is not finite.
    pub(super) fn fit(treatments: &[usize], blocks: &[usize], values: &[f64]) -> Option<Self> {
        let treatment_columns = indicators(treatments);
        let count = treatment_columns.len();
        // The first block is what the treatments stand in.
        let columns: Vec<Vec<f64>> =
            treatment_columns.into_iter().chain(indicators(blocks).into_iter().skip(1)).collect();
        let solution = solve(&columns, values).ok()?;
        let mut leverages = vec![0.0; values.len()];
        for direction in solution.factor.basis() {
            for (leverage, part) in leverages.iter_mut().zip(direction) {
                *leverage += part * part;
            }
        }
        let mean_square = values.iter().map(|value| value * value).sum::<f64>() / values.len().max(1) as f64;
        Some(Self { solution, leverages, treatments: count, mean_square })
    }

    /// Degrees of freedom of the residuals.
    pub(super) fn df(&self) -> usize {
        self.solution.df
    }

    /// Residual sum of squares.
    pub(super) fn rss(&self) -> f64 {
        self.solution.rss
    }

    /// Residual variance; `None` without degrees of freedom.
    pub(super) fn variance(&self) -> Option<f64> {
        self.solution.variance()
    }

    /// Treatment `a` minus treatment `b`, with its standard error; `None` where the data can't tell.
    pub(super) fn difference(&self, a: usize, b: usize) -> Option<(f64, f64)> {
        let mut contrast = vec![0.0; self.solution.coefficients.len()];
        *contrast.get_mut(a).filter(|_| a < self.treatments)? += 1.0;
        *contrast.get_mut(b).filter(|_| b < self.treatments)? -= 1.0;
        let coefficients = self.solution.coefficients.iter().map(|coefficient| coefficient.unwrap_or(0.0));
        let difference = coefficients.zip(&contrast).map(|(coefficient, weight)| coefficient * weight).sum();
        Some((difference, self.solution.standard_error(&contrast)?))
    }

    /// The observation with the largest externally studentised residual, t = e ÷ (s₍ᵢ₎·√(1 − h)) with n − rank − 1 degrees of freedom
    /// (Cook & Weisberg 1982, *Residuals and Influence in Regression*, section 2.2.2); expected is y − e ÷ (1 − h), the prediction without it.
    pub(super) fn most_outlying(&self, values: &[f64]) -> Option<Judged> {
        let df = self.solution.df.checked_sub(1).filter(|df| *df > 0)? as f64;
        let observations = values.iter().zip(&self.solution.residuals).zip(&self.leverages).enumerate();
        let judged = observations.filter(|(_, (_, leverage))| **leverage < ALONE);
        let judged = judged.filter_map(|(position, ((value, residual), leverage))| {
            let kept = 1.0 - leverage;
            let variance = (self.solution.rss - residual * residual / kept) / df;
            (variance > ROUNDING * self.mean_square).then(|| Judged {
                position,
                expected: value - residual / kept,
                t: residual / (variance * kept).sqrt(),
                p: 1.0,
            })
        });
        let worst = judged.max_by(|a, b| a.t.abs().total_cmp(&b.t.abs()))?;
        let p = t_two_sided(worst.t, df)? * values.len() as f64;
        Some(Judged { p: p.min(1.0), ..worst })
    }
}

/// A column of zeros and ones for each level.
fn indicators(levels: &[usize]) -> Vec<Vec<f64>> {
    let count = levels.iter().max().map_or(0, |highest| highest + 1);
    (0..count).map(|level| levels.iter().map(|own| f64::from(u8::from(*own == level))).collect()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// The reference is written with ten digits.
    const PRINTED: f64 = 1e-9;

    #[test]
    fn a_residual_is_studentised_without_its_own_plot() {
        // R 4.2.2: m <- lm(y ~ t + b); rstudent(m)[8]; y[8] - residuals(m)[8] / (1 - hatvalues(m)[8]); 12 * 2 * pt(-abs(r[8]), 5);
        // sigma(m)^2; summary(m)$coefficients["t2", ].
        let values = [40.1, 55.2, 61.9, 42.3, 57.0, 66.1, 39.2, 44.0, 63.3, 41.5, 58.8, 64.0];
        let treatments = [0, 1, 2, 0, 1, 2, 0, 1, 2, 0, 1, 2];
        let blocks = [0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3];
        let fit = Additive::fit(&treatments, &blocks, &values).unwrap();
        let judged = fit.most_outlying(&values).unwrap();
        assert_eq!((judged.position, fit.df()), (7, 6));
        assert_relative_eq!(judged.t, -7.960_656_789_17, max_relative = PRINTED);
        assert_relative_eq!(judged.expected, 55.6, max_relative = PRINTED);
        assert_relative_eq!(judged.p, 0.006_053_154_632_55, max_relative = PRINTED);
        assert_relative_eq!(fit.variance().unwrap(), 12.098_055_555_6, max_relative = PRINTED);
        let (difference, error) = fit.difference(1, 0).unwrap();
        assert_relative_eq!(difference, 12.975, max_relative = PRINTED);
        assert_relative_eq!(error, 2.459_477_135_04, max_relative = PRINTED);
    }

    #[test]
    fn of_values_that_fit_exactly_none_is_judged() {
        let fit = Additive::fit(&[0, 1, 0, 1], &[0, 0, 1, 1], &[1.0, 2.0, 3.0, 4.0]).unwrap();
        assert!(fit.most_outlying(&[1.0, 2.0, 3.0, 4.0]).is_none());
        assert!(Additive::fit(&[0, 1], &[0, 0], &[1.0, f64::NAN]).is_none());
    }
}
