//! Yields as a long table: a record a plot.

use super::group::level_fields;
use super::long::{Long, number, text};
use super::yields::{YieldOfPlot, Yields};
use crate::files::export::{Cell, Table};

const PLACE: [&str; 10] =
    ["trial", "plot", "row", "block", "variety", "yield", "yield_unit", "moisture_percent", "status", "reason"];
const MEASURES: [&str; 33] = [
    "main_plot",
    "reference",
    "excluded_yield",
    "n_applied",
    "n_planned",
    "rate_unit",
    "protein_percent",
    "protein_moisture_percent",
    "grain_n_percent_dry",
    "grain_n",
    "n_surplus",
    "partial_factor_productivity",
    "agronomic_efficiency",
    "physiological_efficiency",
    "efficiency_unit",
    "recovery",
    "zero_n_yield_from",
    "zero_n_grain_n_from",
    "yield_kg_ha",
    "n_applied_kg_ha",
    "grain_n_kg_ha",
    "n_surplus_kg_ha",
    "partial_factor_productivity_kg_kg",
    "agronomic_efficiency_kg_kg",
    "physiological_efficiency_kg_kg",
    "zero_n_yield_kg_ha",
    "zero_n_grain_n_kg_ha",
    "test_weight_lb_bu",
    "test_weight_kg_hl",
    "lodging",
    "plants_per_m2",
    "tillers_per_m2",
    "not_known",
];

pub(super) fn table(yields: &Yields) -> Table {
    let plots = || yields.trials.iter().flat_map(|trial| &trial.plots);
    let factors = super::group::factors(plots().map(|plot| &plot.factors));
    let mut long = Long::new(PLACE.into_iter().chain(factors.iter().map(String::as_str)).chain(MEASURES));
    for trial in &yields.trials {
        for plot in &trial.plots {
            let place = [
                trial.trial.as_str().into(),
                plot.plot.as_str().into(),
                plot.row.into(),
                text(plot.block.as_deref()),
                text(plot.variety.as_deref()),
                number(plot.value),
                yields.yield_unit.as_str().into(),
                number(yields.moisture_percent),
                plot.status.into(),
                text(plot.reason.as_deref()),
            ];
            let levels = level_fields(&plot.factors, &factors);
            long.row(place.into_iter().chain(levels).chain(measures(yields, plot)));
        }
    }
    long.finish()
}

fn measures(yields: &Yields, plot: &YieldOfPlot) -> [Cell; 33] {
    let nitrogen = &plot.nitrogen;
    let reasons: Vec<String> = nitrogen.not_known.iter().map(|(name, reason)| format!("{name}: {reason}")).collect();
    [
        text(plot.main_plot.as_deref()),
        if plot.reference { "yes" } else { "no" }.into(),
        number(plot.excluded_yield),
        number(nitrogen.n_applied),
        number(nitrogen.n_planned),
        yields.rate_unit.as_str().into(),
        number(nitrogen.protein_percent),
        number(nitrogen.protein_moisture_percent),
        number(nitrogen.grain_n_percent_dry),
        number(nitrogen.grain_n),
        number(nitrogen.n_surplus),
        number(nitrogen.partial_factor_productivity),
        number(nitrogen.agronomic_efficiency),
        number(nitrogen.physiological_efficiency),
        yields.efficiency_unit.as_str().into(),
        number(nitrogen.recovery),
        text(nitrogen.zero_n_yield.map(|zero| zero.from)),
        text(nitrogen.zero_n_grain_n.map(|zero| zero.from)),
        number(nitrogen.yield_kg_ha),
        number(nitrogen.n_applied_kg_ha),
        number(nitrogen.grain_n_kg_ha),
        number(nitrogen.n_surplus_kg_ha),
        number(nitrogen.partial_factor_productivity_kg_kg),
        number(nitrogen.agronomic_efficiency_kg_kg),
        number(nitrogen.physiological_efficiency_kg_kg),
        number(nitrogen.zero_n_yield.map(|zero| zero.mean_kg_ha)),
        number(nitrogen.zero_n_grain_n.map(|zero| zero.mean_kg_ha)),
        number(plot.test_weight_lb_bu),
        number(plot.test_weight_kg_hl),
        number(plot.lodging),
        number(plot.plants_per_m2),
        number(plot.tillers_per_m2),
        reasons.join("; ").as_str().into(),
    ]
}
