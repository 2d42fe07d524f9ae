//! Analyses of variance: tables, means with letters, differences, components, residuals. Site-years together come first: they carry the
//! inference; the trials follow, each a part of the same tables.

use super::content::{Block, Section};
use super::draft::{Draft, count, dash, with_unit, word};
use super::material::{Material, list, listed, paragraph, section, shortened};
use crate::output::anova_means_text::{Differences, Told, differences_of, letters_of_mean};
use crate::output::anova_model_text::{homogeneity, notable};
use crate::output::anova_text::{
    THREE_DIGITS, TOTAL, design, df_text, heading, method, p_cell, square_decimals, yield_decimals,
};
use crate::output::curves_text::capitalised;
use crate::output::numbers::{decimals_of_error, percent, significant};
use crate::output::{AnalysisOf, Letters};

pub(super) fn analysis(material: &Material<'_>) -> Section {
    let anova = &material.reports.anova;
    let (together, alone): (Vec<&AnalysisOf>, Vec<&AnalysisOf>) =
        anova.analyses.iter().partition(|analysis| !analysis.site_years.is_empty());
    let mut blocks: Vec<Block> = Vec::new();
    for (analyses, kind) in [(together, &TOGETHER), (alone, &ALONE)] {
        if !analyses.is_empty() {
            blocks.push(Block::Heading(kind.heading.to_owned()));
            blocks.extend(part(material, &analyses, kind));
        }
    }
    let refused = anova.not_analysed.iter();
    let refused = refused.map(|refused| format!("{}: {}.", heading(&refused.group, &[], None), refused.reason));
    let refused = shortened(refused.collect(), "are not analysed either");
    if !refused.is_empty() {
        blocks.extend(paragraph("Not analysed:"));
        blocks.extend(list(refused));
    }
    if anova.analyses.is_empty() && blocks.is_empty() {
        blocks.extend(paragraph("No trial has an analysis of variance."));
    }
    blocks.extend(material.figures(&["means", "residuals", "map-residual"], None));
    section("analysis-of-variance", "Analysis of variance", blocks)
}

/// Analyses of one kind: of site-years together, or of trials.
struct Kind {
    heading: &'static str,
    /// The end of the names of tables.
    name: &'static str,
    /// What tells analyses apart.
    head: &'static str,
}

const TOGETHER: Kind = Kind { heading: "Site-years together", name: "together", head: "site-years" };
const ALONE: Kind = Kind { heading: "Trial by trial", name: "trials", head: "trial" };

fn part(material: &Material<'_>, analyses: &[&AnalysisOf], kind: &Kind) -> Vec<Block> {
    let described = analyses.iter().map(|analysis| {
        format!("{}: {} {}", name_of(analysis), material.set(&short_design(analysis)), method(analysis))
    });
    let described = shortened(described.collect(), "are in the tables");
    let tables = [
        rows(material, analyses, kind),
        means(material, analyses, kind),
        differences(material, analyses, kind),
        strata(material, analyses, kind),
        components(material, analyses, kind),
        residuals(material, analyses, kind),
    ];
    let variances = analyses.iter().filter_map(|analysis| {
        let found = analysis.error_variances.as_ref()?;
        Some(format!("{}: {}", name_of(analysis), material.set(&homogeneity(found, 1.0 - analysis.level))))
    });
    let notes = analyses.iter().flat_map(|analysis| {
        analysis.warnings.iter().map(|note| format!("{}: {}", name_of(analysis), material.set(&note.text)))
    });
    let notes = shortened(variances.chain(notes).collect(), "are in data/anova.csv of a season");
    list(described).into_iter().chain(tables.into_iter().filter_map(Draft::block)).chain(list(notes)).collect()
}

/// *upper-terrace-2024*, *5 site-years together (all N)*.
fn name_of(analysis: &AnalysisOf) -> String {
    match analysis.group.get("trial").and_then(|trial| trial.as_str()) {
        Some(trial) if analysis.site_years.is_empty() => trial.to_owned(),
        _ => heading(&analysis.group, &analysis.site_years, analysis.rate_unit.as_deref()),
    }
}

/// The design without the names of many site-years.
fn short_design(analysis: &AnalysisOf) -> String {
    if analysis.site_years.is_empty() {
        return design(analysis);
    }
    let alone = AnalysisOf { site_years: Vec::new(), excluded: Vec::new(), ..analysis.clone() };
    format!("{} Site-years: {}.", design(&alone), listed(&analysis.site_years))
}

/// A number, or the range of several.
fn told(material: &Material<'_>, told: &Told) -> super::content::Cell {
    material.numerals.told(&told.text, told.value)
}

fn squared(material: &Material<'_>, head: &str) -> String {
    with_unit(head, material.yield_unit().map(|unit| format!("({unit})²")).as_deref())
}

fn rows(material: &Material<'_>, analyses: &[&AnalysisOf], kind: &Kind) -> Draft {
    let numerals = material.numerals;
    let mut draft =
        Draft::new(format!("anova-{}", kind.name), format!("Analysis of variance: {}", kind.heading.to_lowercase()))
            .words(kind.head)
            .words("source")
            .numbers("df")
            .numbers(squared(material, "SS"))
            .numbers(squared(material, "MS"))
            .numbers("error df")
            .numbers("F")
            .numbers("p")
            .words("significance")
            .words("tested on");
    for analysis in analyses {
        let rows = || analysis.tables.iter().flat_map(|table| &table.rows);
        let decimals = square_decimals(&rows().cloned().collect::<Vec<_>>());
        for row in rows() {
            let source = row.part_of.as_ref().map_or_else(|| row.source.clone(), |of| format!("{of}: {}", row.source));
            draft.row([
                word(&name_of(analysis)),
                word(&source),
                count(row.df),
                numerals.cell(row.ss, decimals),
                numerals.cell(row.ms.filter(|_| row.source != TOTAL), decimals),
                numerals.written(row.error_df, df_text),
                numerals.cell(row.f, 2),
                numerals.written(row.p, p_cell),
                word(row.significance.unwrap_or_default()),
                word(row.error.as_deref().unwrap_or_default()),
            ]);
        }
    }
    draft.note(numerals.set("ns, *, **, ***: p of at least 0.05, below 0.05, below 0.01, below 0.001."));
    draft
}

fn means(material: &Material<'_>, analyses: &[&AnalysisOf], kind: &Kind) -> Draft {
    let numerals = material.numerals;
    let mut draft = Draft::new(format!("means-{}", kind.name), format!("Means: {}", kind.heading.to_lowercase()))
        .words(kind.head)
        .words("effect")
        .words("level")
        .numbers("n")
        .numbers(material.of_yield("mean"))
        .numbers("SE")
        .limits(&material.interval_head())
        .words("letters");
    for analysis in analyses {
        let decimals = yield_decimals(analysis);
        for effect in &analysis.means {
            let effect_name = effect.factors.join(" × ");
            let of_n = effect.factors.iter().all(|factor| analysis.rate_factors.contains(factor));
            let effect_name = if of_n { with_unit(&effect_name, material.rate_unit()) } else { effect_name };
            for mean in &effect.means {
                let letters = letters_of_mean(analysis, effect, mean, Letters::Tukey);
                let head = [
                    word(&name_of(analysis)),
                    word(&effect_name),
                    word(&material.set(&mean.levels.join(" × "))),
                    count(mean.n),
                    numerals.cell(mean.mean, decimals),
                    numerals.cell(mean.standard_error, decimals),
                ];
                let limits = numerals.limits(mean.interval.as_ref(), decimals);
                draft.row(head.into_iter().chain(limits).chain([word(&letters)]));
            }
        }
    }
    let alpha = analyses.first().map(|analysis| percent(1.0 - analysis.level)).unwrap_or_default();
    draft.note(format!("Means of one effect that share a letter do not differ significantly (Tukey, {alpha}). In two factors small letters compare levels of the second at one level of the first, capitals the other way round; without letters the interaction is not significant."));
    draft
}

fn differences(material: &Material<'_>, analyses: &[&AnalysisOf], kind: &Kind) -> Draft {
    let alpha = analyses.first().map(|analysis| percent(1.0 - analysis.level)).unwrap_or_default();
    let mut draft = Draft::new(
        format!("differences-{}", kind.name),
        format!("Differences between means: {}", kind.heading.to_lowercase()),
    )
    .words(kind.head)
    .words("difference between means of")
    .numbers(material.of_yield("SED"))
    .numbers("df")
    .numbers(format!("LSD ({alpha})"))
    .numbers(format!("Tukey's HSD ({alpha})"));
    for analysis in analyses {
        for Differences { of, sed, df, lsd, hsd } in differences_of(analysis) {
            let numbers = [sed, df, lsd, hsd].map(|number| told(material, &number));
            draft.row([word(&name_of(analysis)), word(&of)].into_iter().chain(numbers));
        }
    }
    draft.note("SED: standard error of a difference. LSD: least significant difference, protected by the F test of its own effect. HSD: honestly significant difference, for all pairs together.");
    draft
}

fn strata(material: &Material<'_>, analyses: &[&AnalysisOf], kind: &Kind) -> Draft {
    let numerals = material.numerals;
    let mut draft = Draft::new(
        format!("errors-{}", kind.name),
        format!("Errors and coefficients of variation: {}", kind.heading.to_lowercase()),
    )
    .words(kind.head)
    .words("error of")
    .numbers("df")
    .numbers(squared(material, "mean square"))
    .numbers("CV (%)")
    .numbers("CV of unit means (%)");
    for analysis in analyses {
        let smallest = analysis.strata.iter().filter_map(|of| of.mean_square).fold(f64::INFINITY, f64::min);
        let decimals = decimals_of_error(smallest / THREE_DIGITS).unwrap_or(1);
        for stratum in &analysis.strata {
            draft.row([
                word(&name_of(analysis)),
                word(&stratum.name),
                stratum.df.map_or_else(dash, count),
                numerals.cell(stratum.mean_square, decimals),
                numerals.cell(stratum.cv_percent, 1),
                numerals.cell(stratum.cv_of_units_percent.filter(|_| stratum.plots_in_unit > Some(1)), 1),
            ]);
        }
    }
    draft.note("Mean squares and CV are on the basis of single plots.");
    draft
}

fn components(material: &Material<'_>, analyses: &[&AnalysisOf], kind: &Kind) -> Draft {
    let numerals = material.numerals;
    let mut draft = Draft::new(
        format!("components-{}", kind.name),
        format!("Components of variance: {}", kind.heading.to_lowercase()),
    )
    .words(kind.head)
    .words("component")
    .numbers(squared(material, "variance"))
    .limits(&material.interval_head())
    .numbers(material.of_yield("SD"));
    for analysis in analyses {
        let estimates = analysis.components.iter().filter_map(|component| component.variance.estimate);
        let smallest = estimates.map(f64::abs).filter(|variance| *variance > 0.0).fold(f64::INFINITY, f64::min);
        let decimals = decimals_of_error(smallest / THREE_DIGITS).unwrap_or(1);
        for component in &analysis.components {
            let estimate = component.variance.estimate;
            let head = [word(&name_of(analysis)), word(&component.term), numerals.cell(estimate, decimals)];
            let limits = numerals.limits(Some(&component.variance), decimals);
            let sd = estimate.filter(|variance| *variance >= 0.0).map(f64::sqrt);
            let sd = numerals.written(sd, |sd| significant(sd, 3));
            draft.row(head.into_iter().chain(limits).chain([sd]));
        }
    }
    if analyses.iter().flat_map(|of| &of.components).any(|of| of.variance.estimate.is_some_and(|of| of < 0.0)) {
        draft.note("A component below 0 is none: its units differ less than their plots would make them by chance.");
    }
    draft
}

fn residuals(material: &Material<'_>, analyses: &[&AnalysisOf], kind: &Kind) -> Draft {
    let numerals = material.numerals;
    let mut draft = Draft::new(
        format!("residuals-{}", kind.name),
        format!("What the residuals show: {}", kind.heading.to_lowercase()),
    )
    .words(kind.head)
    .numbers("normality: W")
    .numbers("normality: p")
    .numbers("equal spread: p")
    .numbers("neighbours: r")
    .words("notable")
    .words("plots further out than chance");
    for analysis in analyses {
        let Some(found) = &analysis.assumptions else { continue };
        let outliers: Vec<&str> = found.outliers.iter().map(|outlier| outlier.plot.as_str()).collect();
        draft.row([
            word(&name_of(analysis)),
            numerals.cell(found.normality.map(|test| test.w), 3),
            numerals.written(found.normality.map(|test| test.p), p_cell),
            numerals.written(found.spread.map(|test| test.p), p_cell),
            numerals.cell(found.neighbours, 2),
            word(&capitalised(&notable(found).join(" "))),
            word(&outliers.join(", ")),
        ]);
    }
    draft.note("Nothing is removed on account of a residual. Neighbours are plots next to each other in field order, within blocks, where chance puts their correlation somewhat below 0.");
    draft
}
