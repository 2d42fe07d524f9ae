//! Rows of the table and strata of the design, alike for every method.

use super::experiment::Experiment;
use super::result::{SourceRow, StratumError};
use super::terms::Term;

/// The source of blocks where there are several site-years.
pub(super) const BLOCK_WITHIN: &str = "block within site-year";

/// The stratum that an effect is tested in: the first of the whole units that all of its factors were randomised to, else the plots, whose
/// position follows those of the whole units.
pub(super) fn stratum_of(experiment: &Experiment, term: &Term) -> usize {
    let whole = &experiment.whole_units;
    let holds = |treatments: &[usize]| term.factors.iter().all(|factor| treatments.contains(factor));
    whole.iter().position(|whole| holds(&whole.treatments)).unwrap_or(whole.len())
}

/// The name of the error of a stratum: *error*, or *error a*, *error b* … where there are several.
pub(super) fn error_name(experiment: &Experiment, stratum: usize) -> String {
    let whole = &experiment.whole_units;
    match (whole.get(stratum), whole.len()) {
        (Some(whole), _) => whole.error.clone(),
        (None, 0) => "error".to_owned(),
        (None, 1) => "error b".to_owned(),
        (None, _) => "error c".to_owned(),
    }
}

/// A row; `tested` is F, p, what it is tested on and the degrees of freedom of that.
pub(super) fn source_row(source: &str, df: usize, ss: f64, tested: Option<(f64, f64, String, f64)>) -> SourceRow {
    let (f, p, error, error_df) = match tested {
        Some((f, p, error, error_df)) => (Some(f), Some(p), Some(error), Some(error_df)),
        None => (None, None, None, None),
    };
    SourceRow {
        source: source.to_owned(),
        part_of: None,
        df,
        ss: Some(ss),
        ms: (df > 0).then(|| ss / df as f64),
        f,
        p,
        error,
        error_df,
    }
}

/// The error of a stratum with its CV.
pub(super) fn stratum_error(
    experiment: &Experiment,
    stratum: usize,
    df: usize,
    mean_square: Option<f64>,
    grand_mean: f64,
    plots_in_unit: usize,
) -> StratumError {
    let whole = experiment.whole_units.get(stratum);
    let unit = whole.map_or("plots", |whole| whole.name.as_str());
    // A stratum is named by what its units lie in.
    let within = match (whole, experiment.whole_units.as_slice(), &experiment.blocks) {
        (None, [.., one], _) if experiment.whole_units.len() == 1 => Some(one.name.as_str()),
        (_, _, Some(_)) => Some("blocks"),
        _ => None,
    };
    let cv = |mean_square: f64| 100.0 * mean_square.sqrt() / grand_mean;
    StratumError {
        name: within.map_or_else(|| unit.to_owned(), |within| format!("{unit} within {within}")),
        df: Some(df),
        mean_square,
        cv_percent: mean_square.filter(|_| grand_mean > 0.0).map(cv),
        plots_in_unit: Some(plots_in_unit),
    }
}
