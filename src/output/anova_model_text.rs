//! Components of variance, error variances, predictions and residuals of an analysis of variance, for a reader.

use super::anova::AnalysisOf;
use super::anova_model::{AssumptionsOf, ErrorVariancesOf, LikelihoodOf};
use super::anova_text::{THREE_DIGITS, df_text, yield_decimals};
use super::interval_words::{interval_head, interval_text};
use super::layout::{TextTable, paragraph, with_unit};
use super::numbers::{NONE, decimals_of_error, fixed, or_dash, p_value, significant};
use crate::stats::interval::Limits;

/// A test of the residuals is notable where p is below this: several are made of every analysis.
const NOTABLE: f64 = 0.01;
/// Neighbours resemble each other notably where their correlation is above zero by more than this many standard errors, 1 ÷ √n each.
const NOTABLE_ERRORS: f64 = 2.6;

/// Variance components, and how well a mixed model fits.
pub(super) fn components(analysis: &AnalysisOf) -> String {
    let estimates = || analysis.components.iter().filter_map(|component| component.variance.estimate);
    let smallest = estimates().map(f64::abs).filter(|variance| *variance > 0.0).fold(f64::INFINITY, f64::min);
    let decimals = decimals_of_error(smallest / THREE_DIGITS).unwrap_or(1);
    let level = analysis.components.first().map(|component| component.variance.level);
    let square = analysis.yield_unit.as_ref().map(|unit| format!("({unit})²"));
    let mut table = TextTable::new()
        .words("variance component")
        .numbers(with_unit("variance", square.as_deref()))
        .numbers(with_unit("SD", analysis.yield_unit.as_deref()))
        .words(interval_head(level));
    for component in &analysis.components {
        let variance = &component.variance;
        table.row(vec![
            component.term.clone(),
            or_dash(variance.estimate, |value| fixed(value, decimals)),
            variance
                .estimate
                .filter(|value| *value >= 0.0)
                .map_or_else(|| NONE.to_owned(), |value| significant(value.sqrt(), 3)),
            if variance.limits == Limits::NotComputed { String::new() } else { interval_text(variance, decimals) },
        ]);
    }
    let negative = estimates().any(|variance| variance < 0.0);
    let negative = if negative {
        paragraph(
            "  ",
            "A component below 0 is none: its units differ less than their plots would make them by chance.",
        )
    } else {
        String::new()
    };
    table.render(2)
        + &negative
        + &analysis.likelihood.as_ref().map_or_else(String::new, |fit| likelihood(analysis, fit))
}

fn likelihood(analysis: &AnalysisOf, fit: &LikelihoodOf) -> String {
    let restricted = if analysis.method == "reml" { "Restricted log-likelihood" } else { "Log-likelihood" };
    let value = |value: Option<f64>| or_dash(value, |value| fixed(value, 2).replace('-', "−"));
    let zero = match fit.zero_variances.as_slice() {
        [] => String::new(),
        terms => format!(" Estimated as zero, an ordinary answer: the variance of {}.", terms.join(", ")),
    };
    let text = format!(
        "{restricted} {}; AIC {}, BIC {} ({} parameters).{zero}",
        value(fit.log_likelihood),
        value(fit.aic),
        value(fit.bic),
        fit.parameters,
    );
    paragraph("  ", &text)
}

/// The error variance of each site-year, and whether they are equal.
pub(super) fn error_variances(analysis: &AnalysisOf) -> String {
    let Some(found) = &analysis.error_variances else { return String::new() };
    let known = || found.site_years.iter().filter_map(|of| of.mean_square);
    let smallest = known().filter(|square| *square > 0.0).fold(f64::INFINITY, f64::min);
    let decimals = decimals_of_error(smallest / THREE_DIGITS).unwrap_or(1);
    let square = analysis.yield_unit.as_ref().map(|unit| format!("({unit})²"));
    let mut table =
        TextTable::new().words("site-year").numbers(with_unit("error mean square", square.as_deref())).numbers("df");
    for of in &found.site_years {
        table.row(vec![
            of.site_year.clone(),
            or_dash(of.mean_square, |square| fixed(square, decimals)),
            or_dash(of.df, df_text),
        ]);
    }
    table.render(2) + &paragraph("  ", &homogeneity(found, 1.0 - analysis.level))
}

pub(crate) fn homogeneity(found: &ErrorVariancesOf, alpha: f64) -> String {
    let test = found.bartlett.and_then(|test| Some((test.chi_squared?, test.df?, test.p?)));
    let ratio = found.ratio.map_or_else(String::new, |ratio| format!("; largest ÷ smallest {}", significant(ratio, 3)));
    let test = match test {
        Some((chi_squared, df, p)) => {
            let verdict = if p < alpha { "differ" } else { "are not shown to differ" };
            let (chi_squared, df) = (significant(chi_squared, 3), df_text(df));
            format!("Error variances {verdict} (Bartlett: χ² = {chi_squared} on {df} df, {}{ratio}). ", p_value(p))
        }
        None => String::new(),
    };
    let model = if found.separate {
        "The model has a residual variance for each site-year."
    } else {
        "The analysis has one error variance for all."
    };
    test + model
}

/// What a mixed model predicts of each site-year.
pub(super) fn predictions(analysis: &AnalysisOf) -> String {
    let decimals = yield_decimals(analysis);
    let unit = analysis.yield_unit.as_deref();
    let mut table = TextTable::new()
        .words("site-year")
        .numbers(with_unit("predicted yield", unit))
        .numbers("from the mean of all")
        .numbers("SD");
    for prediction in &analysis.predictions {
        let signed = |value: f64| {
            let text = fixed(value, decimals).replace('-', "−");
            if value > 0.0 { format!("+{text}") } else { text }
        };
        table.row(vec![
            prediction.site_year.clone(),
            or_dash(prediction.predicted, |value| fixed(value, decimals)),
            or_dash(prediction.deviation, signed),
            or_dash(prediction.standard_deviation, |value| fixed(value, decimals)),
        ]);
    }
    table.render(2)
}

/// What the residuals show.
pub(super) fn assumptions(analysis: &AnalysisOf) -> String {
    let Some(found) = &analysis.assumptions else { return String::new() };
    let tests = [
        found.normality.map(|test| format!("normality W = {}, {}", fixed(test.w, 3), p_value(test.p))),
        found.spread.map(|test| format!("equal spread in all treatments {}", p_value(test.p))),
        found.neighbours.map(neighbours),
    ];
    let tests: Vec<String> = tests.into_iter().flatten().collect();
    let tests = if tests.is_empty() { "nothing can be tested".to_owned() } else { tests.join("; ") };
    let notable: String = notable(found).iter().map(|sentence| format!(" {sentence}")).collect();
    paragraph("  ", &format!("Residuals: {tests}.{notable}{}", outliers(found)))
}

fn neighbours(r: f64) -> String {
    let text = format!("neighbours in field order r = {}", fixed(r, 2).replace('-', "−"));
    // Residuals of k plots of a block sum to zero, which alone makes neighbours correlate by −1 ÷ (k − 1).
    if r < 0.0 { text + " (within small blocks chance puts it below 0)" } else { text }
}

pub(crate) fn notable(found: &AssumptionsOf) -> Vec<&'static str> {
    let alike = |r: f64| r * (found.residuals.len() as f64).sqrt() > NOTABLE_ERRORS;
    let sentences = [
        found
            .normality
            .is_some_and(|test| test.p < NOTABLE)
            .then_some("They are not normal, so small p and intervals are approximate."),
        found
            .spread
            .is_some_and(|test| test.p < NOTABLE)
            .then_some("Treatments do not spread alike, so one standard error for all misstates some."),
        found.neighbours.is_some_and(alike).then_some(
            "Neighbours resemble each other more than chance would have it: the blocks leave a trend in the field.",
        ),
    ];
    sentences.into_iter().flatten().collect()
}

fn outliers(found: &AssumptionsOf) -> String {
    let each = found.outliers.iter().map(|outlier| {
        let deleted = or_dash(outlier.deleted, |value| fixed(value, 2).replace('-', "−"));
        let p = outlier.p.map_or_else(String::new, |p| format!(", {}", p_value(p)));
        format!("{} (studentised residual {deleted}{p})", outlier.plot)
    });
    let each: Vec<String> = each.collect();
    if each.is_empty() {
        return " No plot lies further out than chance would put one.".to_owned();
    }
    format!(
        " Further out than chance would put one: {}. None is removed: check what was recorded there.",
        each.join(", ")
    )
}
