//! What site-years give together: the best common rate, and the mean of their optima.

use super::content::{Block, Cell};
use super::draft::{Draft, count, word};
use super::material::{Material, list, shortened, some_count};
use crate::output::AcrossOf;
use crate::output::across::GENERAL;
use crate::output::across_text::{aside_text, known, name, note_words};
use crate::output::curves_text::capitalised;
use crate::output::numbers::{decimals_of_error, decimals_of_rates, plain, rate, significant};
use crate::stats::interval::Interval;

/// The tables of site-years together, with what is to be said of them; nothing where there are not two like site-years.
pub(super) fn together(material: &Material<'_>) -> Vec<Block> {
    let several: Vec<&AcrossOf> =
        material.reports.optima.across.iter().filter(|across| across.site_years.len() > 1).collect();
    if several.is_empty() {
        return Vec::new();
    }
    let mut blocks = vec![Block::Heading("Site-years together".to_owned())];
    blocks.extend(common(material, &several).block());
    blocks.extend(optima(material, &several).block());
    blocks.extend(each(material, &several).block());
    blocks.extend(list(note_words(&several)));
    let aside = several
        .iter()
        .flat_map(|across| across.set_aside.iter().map(|aside| aside_text(aside, across.rate_unit.as_deref())));
    blocks.extend(list(shortened(aside.collect(), "are set aside: see data/optimum.json of a season")));
    let cautions: Vec<String> = several
        .iter()
        .flat_map(|across| {
            let own = across.cautions.iter().filter(|caution| !GENERAL.contains(&caution.code));
            own.map(|caution| format!("{}: {}.", title(material, across), material.set(&caution.text)))
        })
        .collect();
    if !cautions.is_empty() {
        blocks.push(Block::Cautions(cautions));
    }
    blocks
}

/// *Topdress onto 30 lb/ac*.
fn title(material: &Material<'_>, across: &AcrossOf) -> String {
    material.set(&capitalised(&name(across)))
}

/// Decimals of rates among site-years of one kind.
fn decimals(across: &AcrossOf) -> usize {
    let rates = across.site_years.iter().filter_map(|of| of.best_rate.or(of.optimum).or(of.at_least));
    decimals_of_rates(across.common_rate.highest_rate.unwrap_or(rates.fold(0.0, f64::max)))
}

fn estimate(material: &Material<'_>, interval: Option<&Interval>, decimals: usize) -> Cell {
    material.numerals.written(interval.and_then(|found| found.estimate), |value| rate(value, decimals))
}

fn common(material: &Material<'_>, several: &[&AcrossOf]) -> Draft {
    let numerals = material.numerals;
    let mut draft = Draft::new("common-rate", "The best common rate")
        .words("N")
        .numbers("site-years")
        .numbers(material.of_rate("best common rate"))
        .limits(&material.interval_head())
        .numbers(material.of_rate("tested by all: from"))
        .numbers("tested by all: to")
        .numbers(material.of_yield("gives up on average"))
        .words("no interval");
    for across in several {
        let of = &across.common_rate;
        let decimals = decimals(across);
        let head =
            [word(&title(material, across)), count(of.site_years), estimate(material, of.rate.as_ref(), decimals)];
        let rest = [
            numerals.written(of.lowest_rate, plain),
            numerals.written(of.highest_rate, plain),
            numerals.written(of.mean_forgone_return, |forgone| significant(forgone, 2)),
            word(of.reason.as_deref().unwrap_or_default()),
        ];
        draft.row(head.into_iter().chain(numerals.limits(of.rate.as_ref(), decimals)).chain(rest));
    }
    draft.note("Gives up: net return lost against each site-year's own best rate.");
    draft
}

fn optima(material: &Material<'_>, several: &[&AcrossOf]) -> Draft {
    let numerals = material.numerals;
    let mut draft = Draft::new("mean-optimum", "The mean of the optima of site-years")
        .words("N")
        .numbers("optima that are numbers")
        .numbers("bounds")
        .words("by")
        .numbers(material.of_rate("mean"))
        .limits(&material.interval_head())
        .numbers(material.of_rate("SD between site-years"))
        .limits("SD")
        .limits("a new site-year's optimum")
        .numbers("Q")
        .numbers("df")
        .numbers("I² (%)")
        .words("no mean");
    for across in several {
        let of = &across.mean_optimum;
        let decimals = decimals(across);
        let by = match of.estimation {
            Some("reml") => "REML",
            Some(_) => "maximum likelihood",
            None => "",
        };
        let head = [word(&title(material, across)), count(of.numbers), count(of.bounds), word(by)];
        let cells = head
            .into_iter()
            .chain([estimate(material, of.mean.as_ref(), decimals)])
            .chain(numerals.limits(of.mean.as_ref(), decimals))
            .chain([estimate(material, of.sd_between.as_ref(), decimals)])
            .chain(numerals.limits(of.sd_between.as_ref(), decimals))
            .chain(numerals.limits(of.new_site_year.as_ref(), decimals))
            .chain([
                numerals.written(of.q, |q| significant(q, 3)),
                some_count(of.q_df),
                numerals.cell(of.i_squared.map(|share| 100.0 * share), 0),
                word(of.reason.as_deref().unwrap_or_default()),
            ]);
        draft.row(cells);
    }
    draft
}

fn each(material: &Material<'_>, several: &[&AcrossOf]) -> Draft {
    let numerals = material.numerals;
    let mut draft = Draft::new("site-year-optima", "Site-years, each counted once")
        .words("N")
        .words("site-year")
        .numbers(material.of_rate("EONR"))
        .numbers("SE")
        .numbers("groups")
        .numbers("weight")
        .numbers(material.of_yield("gives up at the common rate"));
    for across in several {
        let rates = decimals(across);
        let largest = across.site_years.iter().filter_map(|of| of.forgone_return).fold(0.0, f64::max);
        let of_forgone = decimals_of_error(largest).unwrap_or(0);
        for of in &across.site_years {
            draft.row([
                word(&title(material, across)),
                word(&of.site_year),
                numerals.told(&known(of, rates), of.optimum),
                numerals.written(of.standard_error, |error| rate(error, rates)),
                count(of.groups),
                numerals.written(of.weight, plain),
                numerals.cell(of.forgone_return, of_forgone),
            ]);
        }
    }
    draft
}
