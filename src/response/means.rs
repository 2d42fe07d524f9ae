//! Treatment means as observations.

use super::observations::{DataError, Observations};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The most plots that one treatment mean is believed to be of.
pub const MOST_REPLICATES: usize = 10_000;

/// The error of a trial of which only means are known: its error mean square, of single plots, and the degrees of freedom.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PooledError {
    /// Error mean square, in squared yield units.
    pub mean_square: f64,
    /// Its degrees of freedom.
    pub df: usize,
}

impl PooledError {
    /// Mean square × degrees of freedom.
    pub(super) fn sum_of_squares(self) -> f64 {
        self.mean_square * self.df as f64
    }
}

impl Observations {
    /// Reduces treatment means: `means[i]` is the mean of `replicates[i]` plots at `rates[i]`.
    ///
    /// Squares are weighted by replicates, RSS = Σ nᵢ(ȳᵢ − f)², to which a pooled error adds mean square × df; the residual degrees of
    /// freedom are means − groups − slopes, plus those of the pooled error. `groups` are a nuisance factor of the means themselves, such
    /// as the variety.
    ///
    /// With a pooled error the criteria are those of the plots: n is Σ nᵢ, and what neither means nor error count as degrees of freedom
    /// are the nuisance parameters of the plots, their blocks. For means of a balanced trial in blocks every result is then that of its
    /// plots. Where the error has more degrees of freedom than these plots leave (pooled over several trials) n is means + df. Without
    /// a pooled error n is the number of means, the likelihood that of a weighted regression, and nothing tests whether rates differ.
    ///
    /// # Errors
    /// See [`DataError`].
    pub fn of_means(
        rates: &[f64],
        means: &[f64],
        replicates: &[usize],
        groups: Option<&[usize]>,
        error: Option<PooledError>,
    ) -> Result<Self, DataError> {
        if replicates.len() != means.len() {
            return Err(DataError::ReplicatesDiffer { means: means.len(), replicates: replicates.len() });
        }
        let none = |replicates: &usize| *replicates == 0 || *replicates > MOST_REPLICATES;
        if let Some(index) = replicates.iter().position(none) {
            return Err(DataError::Replicates { index, replicates: replicates.get(index).copied().unwrap_or(0) });
        }
        if let Some(PooledError { mean_square, df }) = error
            && !(mean_square > 0.0 && mean_square < f64::MAX.sqrt() && (1..=MOST_DF).contains(&df))
        {
            return Err(DataError::PooledError { mean_square, df });
        }
        let weights: Vec<f64> = replicates.iter().map(|n| *n as f64).collect();
        let reduced = Self::reduce(rates, means, groups, Some(weights), error)?;
        let (rows, groups, plots) = (means.len(), reduced.groups(), reduced.plots());
        Ok(match error {
            Some(error) if plots >= rows + error.df => reduced.counted(plots, plots - rows - error.df + groups),
            Some(error) => reduced.counted(rows + error.df, groups),
            None => reduced,
        })
    }

    /// Σ ln nᵢ of treatment means without a pooled error, which their likelihood holds; else zero.
    pub(super) fn log_weights(&self) -> f64 {
        match (self.weights(), self.pooled_error()) {
            (Some(weights), None) => weights.iter().map(|weight| weight.ln()).sum(),
            _ => 0.0,
        }
    }
}

/// The most degrees of freedom that a pooled error is believed to have.
const MOST_DF: usize = 1_000_000;
