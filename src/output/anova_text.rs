//! Analyses of variance for a reader, as a paper prints them.

use super::anova::{AnalysisOf, Anova, NotAnalysedOf, SourceOf, StratumOf};
use super::anova_means_text::means;
use super::anova_model_text::{assumptions, components, error_variances, predictions};
use super::curves_text::capitalised;
use super::group::group_text;
use super::layout::{TextTable, paragraph, quantity};
use super::numbers::{count, decimals_of_error, fixed, p_value};

/// How the stars are to be read.
const LEGEND: &str = "ns, *, **, ***: p of at least 0.05, below 0.05, below 0.01, below 0.001.";
/// Plots of one reason are named up to so many, then counted.
const NAMED: usize = 4;
/// The key that says what site-years of a programme are analysed for.
const TOGETHER: &str = "together";
/// The row whose mean square says nothing.
pub(crate) const TOTAL: &str = "total";
/// How far the parts of a source stand in from it.
const PART_INDENT: &str = "  ";
/// What a number is over so that two significant digits of that are three of the number.
pub(crate) const THREE_DIGITS: f64 = 10.0;
/// The same for four.
const FOUR_DIGITS: f64 = 100.0;
/// Mean squares from here on need no decimals.
const THOUSAND: f64 = 1000.0;

pub(super) fn text(anova: &Anova) -> String {
    let sections: Vec<String> = anova.analyses.iter().map(|analysis| section(analysis, anova)).collect();
    let legend = if anova.any() { format!("\n{}", paragraph("", LEGEND)) } else { String::new() };
    format!("Analysis of variance\n\n{}{}{legend}", sections.join("\n"), not_analysed(anova))
}

fn not_analysed(anova: &Anova) -> String {
    let reason = |refused: &NotAnalysedOf| {
        let name = heading(&refused.group, &[], None);
        paragraph("", &format!("{name}: not analysed, as {}.", refused.reason))
    };
    let reasons: String = anova.not_analysed.iter().map(reason).collect();
    if anova.any() && !reasons.is_empty() { format!("\n{reasons}") } else { reasons }
}

/// *Trial osier-bend-2025*, *5 site-years together*.
pub(crate) fn heading(
    group: &serde_json::Map<String, serde_json::Value>,
    site_years: &[String],
    rate_unit: Option<&str>,
) -> String {
    let together = match site_years.len() {
        0 => "site-years together".to_owned(),
        several => format!("{} together", count(several, "site-year")),
    };
    match group.get(TOGETHER).and_then(|what| what.as_str()) {
        Some(what) => capitalised(&format!("{together} ({what})")),
        None if site_years.is_empty() => capitalised(&group_text(group, rate_unit)),
        None if group.is_empty() => together,
        None => format!("{together}, {}", group_text(group, rate_unit)),
    }
}

fn section(analysis: &AnalysisOf, anova: &Anova) -> String {
    let mut section = heading(&analysis.group, &analysis.site_years, analysis.rate_unit.as_deref()) + "\n";
    section += &paragraph("  ", &design(analysis));
    section += &paragraph("  ", &method(analysis));
    let tables: String = analysis.tables.iter().map(|table| table_of(analysis, &table.rows)).collect();
    let parts = [
        tables + &mean_and_cvs(analysis),
        means(analysis, anova.letters),
        components(analysis),
        error_variances(analysis),
        predictions(analysis),
        assumptions(analysis) + &notes(analysis),
    ];
    for part in parts.iter().filter(|part| !part.is_empty()) {
        section.push('\n');
        section += part;
    }
    section
}

pub(crate) fn design(analysis: &AnalysisOf) -> String {
    let balance = if analysis.balanced { "balanced" } else { "unbalanced" };
    let blocks = if analysis.blocks > 0 { format!(" in {}", count(analysis.blocks, "block")) } else { String::new() };
    let plots = count(analysis.n, "plot");
    let mut words = format!("{}; {plots}{blocks}, {balance}", capitalised(&analysis.design));
    if !analysis.excluded.is_empty() {
        words += &format!("; {} left out: {}", analysis.excluded.len(), reasons(analysis));
    }
    if !analysis.site_years.is_empty() {
        words += &format!(". Site-years: {}", analysis.site_years.join(", "));
    }
    words + "."
}

/// *304 (combine plugged); 6 plots (yield missing)*.
fn reasons(analysis: &AnalysisOf) -> String {
    let mut by_reason: Vec<(&str, Vec<&str>)> = Vec::new();
    for excluded in &analysis.excluded {
        match by_reason.iter_mut().find(|(reason, _)| *reason == excluded.reason) {
            Some((_, plots)) => plots.push(&excluded.plot),
            None => by_reason.push((&excluded.reason, vec![&excluded.plot])),
        }
    }
    let named = |(reason, plots): (&str, Vec<&str>)| match plots.len() {
        many if many > NAMED => format!("{} ({reason})", count(many, "plot")),
        _ => format!("{} ({reason})", plots.join(", ")),
    };
    by_reason.into_iter().map(named).collect::<Vec<_>>().join("; ")
}

pub(crate) fn method(analysis: &AnalysisOf) -> String {
    let made = match analysis.method {
        "classical" if analysis.strata.len() > 1 => "Classical analysis of variance, each effect on its own error",
        "classical" => "Classical analysis of variance",
        "least-squares" if analysis.blocks > 0 => "Least squares with fixed blocks",
        "least-squares" => "Least squares",
        "ml" => "Linear mixed model by maximum likelihood (ML)",
        _ => "Linear mixed model by restricted maximum likelihood (REML)",
    };
    let df = match analysis.degrees_of_freedom {
        Some("kenward-roger") => ", degrees of freedom by Kenward and Roger",
        Some(_) => ", degrees of freedom by Satterthwaite",
        None => "",
    };
    let tests = match analysis.tests {
        Some("sequential") => "; each effect is adjusted for those above it",
        Some("marginal") => "; each effect is adjusted for all others, cell means weighing alike",
        Some(_) => "; each effect is adjusted for all others that do not contain it",
        None => "",
    };
    let inference = analysis.inference.as_ref().map_or_else(String::new, |words| format!(" Inference is {words}."));
    format!("{made}{df}{tests}.{inference}")
}

/// Whether rows are tested on different errors.
fn several_errors(rows: &[SourceOf]) -> bool {
    let mut errors = rows.iter().filter_map(|row| row.error.as_deref());
    errors.next().is_some_and(|first| errors.any(|other| other != first))
}

fn table_of(analysis: &AnalysisOf, rows: &[SourceOf]) -> String {
    let tested_on = several_errors(rows);
    let decimals = square_decimals(rows);
    let square = |value: Option<f64>| value.map_or_else(String::new, |value| fixed(value, decimals));
    let mut table = TextTable::new()
        .words("source")
        .numbers("df")
        .numbers("SS")
        .numbers("MS")
        .numbers("error df")
        .numbers("F")
        .numbers("p")
        .words("")
        .words("tested on");
    for row in rows {
        let source = if row.part_of.is_some() { format!("{PART_INDENT}{}", row.source) } else { row.source.clone() };
        let error_df = row.error_df.filter(|df| analysis.is_mixed() || df.fract() != 0.0);
        table.row(vec![
            source,
            row.df.to_string(),
            square(row.ss),
            square(row.ms.filter(|_| row.source != TOTAL)),
            error_df.map_or_else(String::new, df_text),
            row.f.map_or_else(String::new, |f| fixed(f, 2)),
            row.p.map_or_else(String::new, p_cell),
            row.significance.unwrap_or_default().to_owned(),
            row.error.clone().filter(|_| tested_on).unwrap_or_default(),
        ]);
    }
    table.render(2)
}

/// Decimals that show the smallest error mean square with three digits, and below a thousand at least one of them.
pub(crate) fn square_decimals(rows: &[SourceOf]) -> usize {
    let smallest = |errors_only: bool| {
        let rows = rows.iter().filter(|row| !errors_only || row.f.is_none() && row.source.starts_with("error"));
        rows.filter_map(|row| row.ms).filter(|ms| *ms > 0.0).fold(f64::INFINITY, f64::min)
    };
    let digits = |square: f64| Some(decimals_of_error(square / THREE_DIGITS)?.max(usize::from(square < THOUSAND)));
    digits(smallest(true)).or_else(|| digits(smallest(false))).unwrap_or(1)
}

/// Degrees of freedom: whole, or with one decimal.
pub(crate) fn df_text(df: f64) -> String {
    let text = fixed(df, 1);
    text.strip_suffix(".0").map_or_else(|| text.clone(), str::to_owned)
}

/// p in a column of them: *0.012*, *< 0.001*.
pub(crate) fn p_cell(p: f64) -> String {
    p_value(p).trim_start_matches("p ").trim_start_matches("= ").to_owned()
}

fn mean_and_cvs(analysis: &AnalysisOf) -> String {
    let unit = analysis.yield_unit.as_deref();
    let decimals = yield_decimals(analysis);
    let mean = analysis.grand_mean.map(|mean| format!("mean of the plots {}", quantity(&fixed(mean, decimals), unit)));
    let cvs: Vec<String> = analysis.strata.iter().filter_map(cv).collect();
    let cvs = (!cvs.is_empty()).then(|| format!("CV {}", cvs.join(", ")));
    let parts: Vec<String> = mean.into_iter().chain(cvs).collect();
    if parts.is_empty() { String::new() } else { paragraph("  ", &format!("{}.", capitalised(&parts.join("; ")))) }
}

/// *23.6 % of main plots within blocks (on the basis of single plots; 11.8 % of their means)*.
pub(super) fn cv(stratum: &StratumOf) -> Option<String> {
    let cv = stratum.cv_percent?;
    let means = match (stratum.plots_in_unit, stratum.cv_of_units_percent) {
        (Some(plots), Some(of_units)) if plots > 1 => {
            format!(" (on the basis of single plots; {} % of means of their {plots} plots)", fixed(of_units, 1))
        }
        (Some(_), _) => String::new(),
        _ => " (on the basis of single plots)".to_owned(),
    };
    Some(format!("{} % of {}{means}", fixed(cv, 1), stratum.name))
}

/// Decimals of yields: as the smallest standard error of a mean wants them, or four significant digits.
pub(crate) fn yield_decimals(analysis: &AnalysisOf) -> usize {
    let means = || analysis.means.iter().flat_map(|effect| &effect.means);
    let smallest = means().filter_map(|mean| mean.standard_error).fold(f64::INFINITY, f64::min);
    let largest = means().filter_map(|mean| mean.mean).chain(analysis.grand_mean).map(f64::abs).fold(0.0, f64::max);
    decimals_of_error(smallest).or_else(|| decimals_of_error(largest / FOUR_DIGITS)).unwrap_or(1)
}

fn notes(analysis: &AnalysisOf) -> String {
    analysis.warnings.iter().map(|note| paragraph("  - ", &note.text)).collect()
}
