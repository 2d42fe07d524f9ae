//! Analyses of variance as a long table: a record a row of the table, stratum, mean, pair, component and so on.

use super::anova::{AnalysisOf, Anova, SourceOf, StratumOf};
use super::anova_means::{ComparisonsOf, MeansOf, PairOf};
use super::group::{factors, level_fields};
use super::long::{Long, number, text};
use crate::files::export::{Cell, Table};
use crate::stats::interval::Interval;

/// Columns after those of the group and before those of factors.
const WHAT: [&str; 4] = ["site_years", "design", "method", "record"];
/// Columns after those of factors.
const COLUMNS: [&str; 34] = [
    "term",
    "part_of",
    "versus",
    "n",
    "df",
    "ss",
    "ms",
    "f",
    "p",
    "significance",
    "error",
    "error_df",
    "cv_percent",
    "cv_of_units_percent",
    "estimate",
    "standard_error",
    "low",
    "high",
    "level",
    "limits",
    "lowest",
    "highest",
    "procedure",
    "p_lsd",
    "p_tukey",
    "p_dunnett",
    "letters_tukey",
    "letters_lsd",
    "fitted",
    "studentised",
    "normal_score",
    "unit",
    "rate_unit",
    "text",
];

/// The fields of a record, by column; what is not named is missing.
type Fields = Vec<(&'static str, Cell)>;
/// Levels by factor.
type Levels<'a> = Vec<(&'a str, &'a str)>;

pub(super) fn table(anova: &Anova) -> Table {
    let refused = anova.not_analysed.iter().map(|refused| &refused.group);
    let group_columns = factors(anova.analyses.iter().map(|analysis| &analysis.group).chain(refused));
    let mut factor_columns: Vec<&str> = Vec::new();
    for factor in anova.analyses.iter().flat_map(|analysis| &analysis.means).flat_map(|effect| &effect.factors) {
        if !factor_columns.contains(&factor.as_str()) {
            factor_columns.push(factor);
        }
    }
    let header = group_columns.iter().map(String::as_str).chain(WHAT).chain(factor_columns.iter().copied());
    let mut long = Long::new(header.chain(COLUMNS));
    for analysis in &anova.analyses {
        let of_all = [site_years(&analysis.site_years), analysis.design.as_str().into(), analysis.method.into()];
        for (record, levels, fields) in records(analysis) {
            let levels = factor_columns.iter().map(|factor| level_cell(analysis, factor, &levels));
            let group = level_fields(&analysis.group, &group_columns).into_iter().chain(of_all.iter().cloned());
            long.row(group.chain([record.into()]).chain(levels).chain(in_order(&fields)));
        }
    }
    for refused in &anova.not_analysed {
        let group = level_fields(&refused.group, &group_columns).into_iter();
        let what = [text(None), text(None), text(None), "not-analysed".into()];
        let none = factor_columns.iter().map(|_| text(None));
        long.row(group.chain(what).chain(none).chain(in_order(&[("text", refused.reason.as_str().into())])));
    }
    long.finish()
}

/// How many there are; missing for one trial.
fn site_years(names: &[String]) -> Cell {
    (!names.is_empty()).then_some(names.len()).into()
}

fn in_order(fields: &[(&'static str, Cell)]) -> impl Iterator<Item = Cell> {
    COLUMNS.into_iter().map(|column| {
        let found = fields.iter().find(|(name, _)| *name == column);
        found.map_or_else(|| text(None), |(_, cell)| cell.clone())
    })
}

/// The level of a factor; a rate as a number.
fn level_cell(analysis: &AnalysisOf, factor: &str, levels: &[(&str, &str)]) -> Cell {
    let Some((_, level)) = levels.iter().find(|(name, _)| *name == factor) else { return text(None) };
    match level.parse::<f64>() {
        Ok(rate) if analysis.is_rate(factor) => number(rate),
        _ => (*level).into(),
    }
}

fn records(analysis: &AnalysisOf) -> Vec<(&'static str, Levels<'_>, Fields)> {
    let unit = analysis.yield_unit.as_deref();
    let square = unit.map(|unit| format!("({unit})²"));
    let square = square.as_deref();
    let mut records = vec![("analysis", Levels::new(), of_analysis(analysis, unit))];
    records.extend(analysis.excluded.iter().map(|excluded| {
        let fields = vec![("term", excluded.plot.as_str().into()), ("text", excluded.reason.as_str().into())];
        ("excluded", Levels::new(), fields)
    }));
    let rows = analysis.tables.iter().flat_map(|table| &table.rows);
    records.extend(rows.map(|row| ("source", Levels::new(), source(row, square))));
    records.extend(analysis.strata.iter().map(|of| ("stratum", Levels::new(), stratum(of, square))));
    records.extend(analysis.means.iter().flat_map(|effect| means(analysis, effect, unit)));
    records.extend(analysis.comparisons.iter().flat_map(|family| comparisons(family, unit)));
    records.extend(model(analysis, unit, square).into_iter().map(|(record, fields)| (record, Levels::new(), fields)));
    records.extend(analysis.warnings.iter().map(|warning| {
        let fields = vec![("term", warning.code.into()), ("text", warning.text.as_str().into())];
        ("warning", Levels::new(), fields)
    }));
    records
}

fn of_analysis(analysis: &AnalysisOf, unit: Option<&str>) -> Fields {
    let site_years = analysis.site_years.join(", ");
    let said = [analysis.tests, analysis.degrees_of_freedom, analysis.inference.as_deref(), Some(&site_years)];
    let said: Vec<&str> = said.into_iter().flatten().filter(|said| !said.is_empty()).collect();
    vec![
        ("term", "mean of the plots".into()),
        ("n", analysis.n.into()),
        ("estimate", number(analysis.grand_mean)),
        ("level", number(analysis.level)),
        ("unit", text(unit)),
        ("rate_unit", text(analysis.rate_unit.as_deref())),
        ("text", text(Some(&said.join("; ")))),
    ]
}

fn source(row: &SourceOf, square: Option<&str>) -> Fields {
    vec![
        ("term", row.source.as_str().into()),
        ("part_of", text(row.part_of.as_deref())),
        ("df", row.df.into()),
        ("ss", number(row.ss)),
        ("ms", number(row.ms)),
        ("f", number(row.f)),
        ("p", number(row.p)),
        ("significance", text(row.significance)),
        ("error", text(row.error.as_deref())),
        ("error_df", number(row.error_df)),
        ("unit", text(square)),
    ]
}

fn stratum(stratum: &StratumOf, square: Option<&str>) -> Fields {
    vec![
        ("term", stratum.name.as_str().into()),
        ("n", stratum.plots_in_unit.into()),
        ("df", number(stratum.df.map(|df| df as f64))),
        ("ms", number(stratum.mean_square)),
        ("cv_percent", number(stratum.cv_percent)),
        ("cv_of_units_percent", number(stratum.cv_of_units_percent)),
        ("unit", text(square)),
    ]
}

/// An estimate with its limits.
fn limits(interval: &Interval) -> Fields {
    vec![
        ("estimate", number(interval.estimate)),
        ("low", number(interval.low)),
        ("high", number(interval.high)),
        ("level", number(interval.level)),
        ("limits", interval.limits.name().into()),
    ]
}

fn means<'a>(
    analysis: &'a AnalysisOf,
    effect: &'a MeansOf,
    unit: Option<&str>,
) -> Vec<(&'static str, Levels<'a>, Fields)> {
    let marginal = |family: &&ComparisonsOf| family.factors == effect.factors && family.within.is_empty();
    let family = analysis.comparisons.iter().find(marginal);
    let records = effect.means.iter().map(|mean| {
        let letters = |procedure: &str| {
            let family = family?;
            let found = family.procedures.iter().find(|found| found.procedure == procedure)?;
            let position = family.levels.iter().position(|levels| *levels == mean.levels)?;
            found.letters.get(position).map(String::as_str)
        };
        let mut fields = mean.interval.as_ref().map(limits).unwrap_or_default();
        fields.retain(|(column, _)| *column != "estimate");
        fields.extend([
            ("term", Cell::from(effect.factors.join(" × ").as_str())),
            ("n", mean.n.into()),
            ("estimate", number(mean.mean)),
            ("standard_error", number(mean.standard_error)),
            ("df", number(mean.df)),
            ("letters_tukey", text(letters("tukey"))),
            ("letters_lsd", text(letters("protected-lsd"))),
            ("unit", text(unit)),
        ]);
        let levels = effect.factors.iter().map(String::as_str).zip(mean.levels.iter().map(String::as_str));
        ("mean", levels.collect(), fields)
    });
    records.collect()
}

/// What is said of a family as a whole, letters of each of its levels, and its pairs.
fn comparisons<'a>(family: &'a ComparisonsOf, unit: Option<&str>) -> Vec<(&'static str, Levels<'a>, Fields)> {
    let term = family.factors.join(" × ");
    let within = || family.within.iter().filter_map(|(factor, level)| Some((factor.as_str(), level.as_str()?)));
    let at = |levels: &'a [String]| -> Levels<'a> {
        let own = family.factors.iter().map(String::as_str).zip(levels.iter().map(String::as_str));
        own.chain(within()).collect()
    };
    let mut records = Vec::new();
    if let Some(sed) = family.sed {
        let fields = vec![
            ("term", term.as_str().into()),
            ("p", number(family.protecting_p)),
            ("estimate", number(sed.mean)),
            ("lowest", number(sed.lowest)),
            ("highest", number(sed.highest)),
            ("unit", text(unit)),
        ];
        records.push(("sed", within().collect(), fields));
    }
    for procedure in &family.procedures {
        let fields = vec![
            ("term", term.as_str().into()),
            ("procedure", procedure.procedure.into()),
            ("estimate", number(procedure.least_significant_difference)),
            ("unit", text(unit)),
            ("text", text(procedure.note.as_deref())),
        ];
        records.push(("least-difference", within().collect(), fields));
    }
    for (position, levels) in family.levels.iter().enumerate().filter(|_| !family.within.is_empty()) {
        let letters = |name: &str| {
            let found = family.procedures.iter().find(|found| found.procedure == name)?;
            found.letters.get(position).map(String::as_str)
        };
        let fields = vec![
            ("term", term.as_str().into()),
            ("letters_tukey", text(letters("tukey"))),
            ("letters_lsd", text(letters("protected-lsd"))),
        ];
        records.push(("letters", at(levels), fields));
    }
    records.extend(family.pairs.iter().map(|of| ("pair", at(&of.first), pair(&term, of, unit))));
    records
}

fn pair(term: &str, pair: &PairOf, unit: Option<&str>) -> Fields {
    vec![
        ("term", term.into()),
        ("versus", pair.second.join(" × ").as_str().into()),
        ("df", number(pair.df)),
        ("estimate", number(pair.difference)),
        ("standard_error", number(pair.standard_error)),
        ("p_lsd", number(pair.p_lsd)),
        ("p_tukey", number(pair.p_tukey)),
        ("p_dunnett", number(pair.p_dunnett)),
        ("unit", text(unit)),
    ]
}

/// Components, the fit, site-years and residuals.
fn model(analysis: &AnalysisOf, unit: Option<&str>, square: Option<&str>) -> Vec<(&'static str, Fields)> {
    let mut records: Vec<(&'static str, Fields)> = Vec::new();
    for component in &analysis.components {
        let mut fields = limits(&component.variance);
        fields.extend([("term", component.term.as_str().into()), ("unit", text(square))]);
        records.push(("component", fields));
    }
    if let Some(fit) = &analysis.likelihood {
        let zero = fit.zero_variances.join(", ");
        for (term, value) in [("log-likelihood", fit.log_likelihood), ("AIC", fit.aic), ("BIC", fit.bic)] {
            let fields = vec![
                ("term", term.into()),
                ("n", fit.parameters.into()),
                ("estimate", number(value)),
                ("text", text(Some(&zero))),
            ];
            records.push(("fit", fields));
        }
    }
    for prediction in &analysis.predictions {
        let fields = vec![
            ("term", prediction.site_year.as_str().into()),
            ("estimate", number(prediction.deviation)),
            ("standard_error", number(prediction.standard_deviation)),
            ("fitted", number(prediction.predicted)),
            ("unit", text(unit)),
        ];
        records.push(("prediction", fields));
    }
    if let Some(variances) = &analysis.error_variances {
        for of in &variances.site_years {
            let fields = vec![
                ("term", of.site_year.as_str().into()),
                ("ms", number(of.mean_square)),
                ("df", number(of.df)),
                ("unit", text(square)),
            ];
            records.push(("error-variance", fields));
        }
        if let Some(test) = variances.bartlett {
            let fields = vec![
                ("term", "Bartlett".into()),
                ("estimate", number(test.chi_squared)),
                ("df", number(test.df)),
                ("p", number(test.p)),
            ];
            records.push(("test", fields));
        }
    }
    records.extend(residuals(analysis, unit));
    records
}

fn residuals(analysis: &AnalysisOf, unit: Option<&str>) -> Vec<(&'static str, Fields)> {
    let Some(found) = &analysis.assumptions else { return Vec::new() };
    let mut records: Vec<(&'static str, Fields)> = Vec::new();
    let tests = [
        found
            .normality
            .map(|test| vec![("term", "Shapiro-Wilk".into()), ("estimate", number(test.w)), ("p", number(test.p))]),
        found.spread.map(|test| {
            vec![
                ("term", "Levene".into()),
                ("f", number(test.f)),
                ("df", test.df.into()),
                ("error_df", test.error_df.into()),
                ("p", number(test.p)),
            ]
        }),
        found.neighbours.map(|r| vec![("term", "neighbours".into()), ("estimate", number(r))]),
    ];
    records.extend(tests.into_iter().flatten().map(|fields| ("test", fields)));
    records.extend(found.outliers.iter().map(|outlier| {
        let fields = vec![
            ("term", outlier.plot.as_str().into()),
            ("p", number(outlier.p)),
            ("studentised", number(outlier.deleted)),
        ];
        ("outlier", fields)
    }));
    records.extend(found.residuals.iter().map(|of| {
        let fields = vec![
            ("term", of.plot.as_str().into()),
            ("estimate", number(of.residual)),
            ("fitted", number(of.fitted)),
            ("studentised", number(of.deleted)),
            ("normal_score", number(of.normal_score)),
            ("unit", text(unit)),
        ];
        ("residual", fields)
    }));
    records
}
