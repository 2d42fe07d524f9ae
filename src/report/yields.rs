//! Yields of treatments, what the crop made of the N, and which plots are left out.

use super::content::{Block, Section};
use super::draft::{Draft, count, dash, word};
use super::material::{Material, Telling, paragraph, section};
use crate::output::numbers::{decimals_of_rates, plain};
use crate::output::{MeanOf, TreatmentYields};

/// Decimals of protein: laboratories report one.
const PROTEIN_DECIMALS: usize = 1;
/// Decimals of recovery, a part of 1.
const RECOVERY_DECIMALS: usize = 2;

pub(super) fn yields(material: &Material<'_>) -> Section {
    let moisture = material.reports.yields.moisture_percent.map_or_else(
        || "Yields are of grain at the moisture it had.".to_owned(),
        |moisture| format!("Yields are brought to {} % moisture.", material.set(&plain(moisture))),
    );
    let blocks = [
        paragraph(moisture),
        treatments(material).block(),
        nitrogen(material).block(),
        counts(material).block(),
        not_used(material).block(),
    ];
    let maps = material.figures(&["map-yield"], None);
    section("yields", "Yields", blocks.into_iter().flatten().chain(maps).collect::<Vec<Block>>())
}

/// Every treatment with its trial.
fn all_treatments<'m>(material: &'m Material<'_>) -> impl Iterator<Item = (&'m str, &'m TreatmentYields)> {
    let trials = material.reports.yields.trials.iter();
    trials.flat_map(|trial| trial.treatments.iter().map(|treatment| (trial.trial.as_str(), treatment)))
}

fn telling(material: &Material<'_>) -> Telling {
    Telling::of(all_treatments(material).map(|(_, treatment)| &treatment.treatment))
}

fn treatments(material: &Material<'_>) -> Draft {
    let numerals = material.numerals;
    let telling = telling(material);
    let draft =
        telling.columns(Draft::new("treatment-means", "Mean yields of the treatments").words("trial"), material);
    let mut draft = draft
        .words("plots are")
        .numbers("n")
        .numbers(material.of_yield("mean"))
        .numbers("SE")
        .numbers(material.of_yield("mean with all"));
    let highest = all_treatments(material).filter_map(|(_, of)| of.yields.mean).fold(0.0, f64::max);
    for (trial, of) in all_treatments(material) {
        let [mean, error] = numerals.with_error(of.yields.mean, of.yields.standard_error(), decimals_of_rates(highest));
        let with_all = of.yield_with_excluded.and_then(|with| with.mean);
        let decimals = mean.text.split(['.', ',']).nth(1).map_or(0, |decimals| decimals.chars().count());
        let own = [
            word(if of.reference_only { "N-rich reference" } else { "treatment" }),
            count(of.yields.n),
            mean,
            error,
            numerals.cell(with_all, decimals),
        ];
        draft.row([word(trial)].into_iter().chain(telling.cells(&of.treatment, material)).chain(own));
    }
    draft.note("n: plots whose yield is used. SE: standard error of the mean of these plots from their own spread, SD ÷ √n; blocks are not removed.");
    draft.note("N is that planned, which is what was randomised.");
    if all_treatments(material).any(|(_, of)| of.yield_with_excluded.is_some()) {
        draft.note("Mean with all: with the yields that are left out put back in.");
    }
    draft
}

/// What is asked of a treatment.
type Measure = fn(&TreatmentYields) -> MeanOf;

fn nitrogen(material: &Material<'_>) -> Draft {
    let numerals = material.numerals;
    let yields = &material.reports.yields;
    let telling = telling(material);
    let efficiency = yields.efficiency_unit.as_str();
    let draft = Draft::new("nitrogen-use", "What the crop made of the N").words("trial");
    let mut draft = telling
        .columns(draft, material)
        .numbers("protein (%)")
        .numbers(material.of_rate("grain N"))
        .numbers(format!("AE ({efficiency})"))
        .numbers("RE")
        .numbers(format!("PFP ({efficiency})"))
        .numbers(material.of_rate("N surplus"));
    let largest = |of: Measure| {
        let means = all_treatments(material).filter_map(|(_, treatment)| of(treatment).mean);
        decimals_of_rates(means.map(f64::abs).fold(0.0, f64::max))
    };
    let measures: [(Measure, usize); 6] = [
        (|of| of.protein_percent, PROTEIN_DECIMALS),
        (|of| of.grain_n, largest(|of| of.grain_n)),
        (|of| of.agronomic_efficiency, largest(|of| of.agronomic_efficiency)),
        (|of| of.recovery, RECOVERY_DECIMALS),
        (|of| of.partial_factor_productivity, largest(|of| of.partial_factor_productivity)),
        (|of| of.n_surplus, largest(|of| of.n_surplus)),
    ];
    for (trial, of) in all_treatments(material) {
        let values = measures.map(|(measure, decimals)| numerals.cell(measure(of).mean, decimals));
        if values.iter().any(|cell| cell.number.is_some()) {
            draft.row([word(trial)].into_iter().chain(telling.cells(&of.treatment, material)).chain(values));
        }
    }
    draft.note("AE: agronomic efficiency, the gain in yield over the plots without N for the N applied. RE: recovery in the grain, the gain in grain N for the N applied. PFP: partial factor productivity, yield for the N applied. N surplus: N applied, and credited to manure, minus grain N.");
    draft
}

fn counts(material: &Material<'_>) -> Draft {
    let mut draft = Draft::new("plots-harvested", "Plots: those read are used, missing or left out")
        .words("trial")
        .numbers("read")
        .numbers("used")
        .numbers("missing")
        .numbers("left out");
    for trial in &material.reports.yields.trials {
        let numbers = [trial.plots.len(), trial.used, trial.missing, trial.excluded];
        draft.row([word(&trial.trial)].into_iter().chain(numbers.map(count)));
    }
    draft
}

fn not_used(material: &Material<'_>) -> Draft {
    let mut draft = Draft::new("plots-not-used", "Plots whose yield is not used")
        .words("trial")
        .words("plot")
        .words("status")
        .words("reason")
        .numbers(material.of_yield("yield left out"));
    let trials = material.reports.yields.trials.iter();
    for (trial, plot) in trials.flat_map(|trial| trial.plots.iter().map(move |plot| (trial, plot))) {
        if plot.status == "used" {
            continue;
        }
        draft.row([
            word(&trial.trial),
            word(&plot.plot),
            word(if plot.status == "excluded" { "left out" } else { plot.status }),
            word(plot.reason.as_deref().unwrap_or_default()),
            if plot.excluded_yield.is_some() { material.numerals.cell(plot.excluded_yield, 2) } else { dash() },
        ]);
    }
    draft
}
