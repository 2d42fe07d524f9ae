//! Which nuisance: whether the early levels of a block share a plateau.

use super::data::Cells;
use super::{NoShortfall, Nuisance, Shape, Shortfall, ShortfallData, ShortfallModel};
use crate::stats::distribution::f_survival;
use crate::stats::least_squares::{Factor, dot};

/// Below this p the early levels of a block are given plateaus of their own.
pub const ALPHA: f64 = 0.05;

/// The F test of a common plateau of the early levels of a block against plateaus of their own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NuisanceTest {
    /// The ratio of mean squares.
    pub f: f64,
    /// Its degrees of freedom: the plateaus more, and the error of the larger model.
    pub df: (usize, usize),
    /// The probability of an F as large where the plateau is common.
    pub p: f64,
}

impl NuisanceTest {
    /// The nuisance that the test speaks for.
    #[must_use]
    pub fn nuisance(&self) -> Nuisance {
        if self.p < ALPHA { Nuisance::BlockByEarlyLevel } else { Nuisance::Block }
    }
}

/// Tests the nuisance *block* within *block × early level*, need being of the same shape in both. Of splines the power of the
/// shortfall is each fit's own: the test is then an approximation only.
///
/// The second has more plateaus, which are linear, so the ratio of mean squares has an F distribution as far as any non-linear least
/// squares has. It is not a permutation test: whichever plots were exchanged, what topdress does to them would go along. Where early
/// levels lie on main plots their error is part of what is tested, and the finer nuisance is then right for that alone.
///
/// # Errors
/// [`NoShortfall`] of either fit.
pub fn test_nuisance(data: &ShortfallData, shape: Shape, weights: Option<&[f64]>) -> Result<NuisanceTest, NoShortfall> {
    let coarse = Shortfall::fit(data, ShortfallModel::new(shape, Nuisance::Block), weights)?;
    let fine = Shortfall::fit(data, ShortfallModel::new(shape, Nuisance::BlockByEarlyLevel), weights)?;
    Ok(compare(&coarse, &fine))
}

fn compare(coarse: &Shortfall, fine: &Shortfall) -> NuisanceTest {
    let more = coarse.df.saturating_sub(fine.df);
    let mean_square = (coarse.rss - fine.rss).max(0.0) / more as f64;
    let error = fine.rss / fine.df as f64;
    // Without early levels that share blocks there is nothing to test.
    let f = if more == 0 || mean_square == 0.0 { 0.0 } else { mean_square / error };
    let p = f_survival(f, more as f64, fine.df as f64).unwrap_or(1.0);
    NuisanceTest { f, df: (more, fine.df), p }
}

/// Fits the model under the nuisance that the test speaks for: a common plateau unless it is refuted at [`ALPHA`].
///
/// Not the default way: where early loss is real, the test misses it in most programmes of usual plot error (`reports/shortfall`).
///
/// Where only one nuisance gives a fit, that one is taken, without a test.
///
/// # Errors
/// [`NoShortfall`] of the coarser nuisance, where neither gives a fit.
pub fn fit_by_test(
    data: &ShortfallData,
    shape: Shape,
    weights: Option<&[f64]>,
) -> Result<(Shortfall, Option<NuisanceTest>), NoShortfall> {
    let fit = |nuisance| Shortfall::fit(data, ShortfallModel::new(shape, nuisance), weights);
    match (fit(Nuisance::Block), fit(Nuisance::BlockByEarlyLevel)) {
        (Ok(coarse), Ok(fine)) => {
            let test = compare(&coarse, &fine);
            let chosen = if test.nuisance() == Nuisance::Block { coarse } else { fine };
            Ok((chosen, Some(test)))
        }
        (Ok(only), Err(_)) | (Err(_), Ok(only)) => Ok((only, None)),
        (Err(reason), Err(_)) => Err(reason),
    }
}

/// The variance of plots about block and cell means, with its degrees of freedom.
pub(super) fn error_variance(cells: &Cells) -> Option<(f64, usize)> {
    let columns: Vec<Vec<f64>> = (0..cells.topdress.len())
        .map(|cell| {
            let mut column = vec![0.0; cells.observed.len()];
            for (plot, entry) in cells.observed.iter().zip(&mut column) {
                *entry = f64::from(u8::from(plot.cell == cell)) - cells.share_of(plot.pattern, cell);
            }
            column
        })
        .collect();
    let y: Vec<f64> = cells.observed.iter().map(|plot| plot.centred).collect();
    let factor = Factor::new(&columns, y.len()).ok()?;
    let projected = factor.project(&y);
    let residuals = factor.residuals(&y, &projected);
    let df = y.len().checked_sub(cells.levels + factor.rank()).filter(|df| *df > 0)?;
    Some((dot(&residuals, &residuals) / df as f64, df))
}
