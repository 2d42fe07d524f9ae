//! A trial as the checks look at it: treatments, blocks and main plots as labels, readings by day.
//!
//! A fault is told once. Where one check explains a plot (another spelling, a rate a little off its level, a number that belongs to
//! another block), it puts the label right *here*, so that later checks do not tell the same fault in other words. The trial itself
//! stays as it is.

use std::collections::BTreeSet;

use crate::crop::Crop;
use crate::finding::Place;
use crate::harvest::plot_yields;
use crate::stats::levels::level_indices;
use crate::trial::{Design, Plot, ResultUnits, Trial};
use crate::units::NRate;

use super::words::typed;

/// The name that a design gives the factor of varieties.
const VARIETY: &str = "variety";

/// What makes treatments differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Source {
    /// The variety.
    Variety,
    /// A factor, by its position in the trial's factors.
    Factor(usize),
    /// An application, by its position, as planned where every plot has its plan.
    Application(usize),
}

/// A factor of the trial: its name, where its levels come from, and the level of each plot.
#[derive(Clone, Debug)]
pub(super) struct Factor {
    pub(super) name: String,
    pub(super) source: Source,
    /// Header of its column; `None` where one value holds for all plots.
    pub(super) column: Option<String>,
    /// Level of each plot, put right where a check explained it.
    pub(super) levels: Vec<String>,
    /// Whether the design lays its levels on main plots, or on the strips that run one way.
    pub(super) on_whole: bool,
}

/// A trial as the checks look at it.
pub(super) struct View<'t> {
    pub(super) trial: &'t Trial,
    pub(super) crop: &'t Crop,
    pub(super) units: &'t ResultUnits,
    pub(super) factors: Vec<Factor>,
    /// Block of each plot; empty texts in a trial without blocks.
    pub(super) blocks: Vec<String>,
    /// Plots whose treatment was told already: nothing more is made of it.
    pub(super) told: BTreeSet<usize>,
}

impl<'t> View<'t> {
    pub(super) fn of(trial: &'t Trial, crop: &'t Crop, units: &'t ResultUnits) -> Self {
        let columns = &trial.plot_columns;
        let mut sources = vec![(VARIETY.to_owned(), Source::Variety, columns.variety.clone())];
        sources.extend(
            trial.factors.iter().enumerate().map(|(position, name)| {
                (name.clone(), Source::Factor(position), columns.factors.get(position).cloned())
            }),
        );
        sources.extend(trial.applications.iter().enumerate().map(|(position, application)| {
            (application.name.clone(), Source::Application(position), rate_column(trial, position))
        }));
        let factors = sources.into_iter().map(|(name, source, column)| {
            let levels = trial.plots.iter().map(|plot| level(trial, plot, source)).collect();
            let on_whole = trial.design.named_factors().contains(&name);
            Factor { name, source, column, levels, on_whole }
        });
        let blocks = trial.plots.iter().map(|plot| plot.block.clone().unwrap_or_default()).collect();
        View { trial, crop, units, factors: factors.collect(), blocks, told: BTreeSet::new() }
    }

    pub(super) fn plot(&self, position: usize) -> Option<&'t Plot> {
        self.trial.plots.get(position)
    }

    /// A cell of the plots file: the row of a plot, and a column with its value where there is one.
    pub(super) fn cell(&self, position: usize, column: Option<&str>, value: impl Into<String>) -> Place {
        let place = Place::file(&self.trial.plots_file);
        let place = match self.plot(position) {
            Some(plot) => place.row(plot.row),
            None => place,
        };
        match column {
            Some(column) => place.column(column).value(value),
            None => place,
        }
    }

    /// The column that names plots: the last where several do together.
    pub(super) fn plot_column(&self) -> Option<&'t str> {
        self.trial.plot_columns.plot.last().map(String::as_str)
    }

    /// A plot's key as typed.
    pub(super) fn id(&self, position: usize) -> &'t str {
        self.plot(position).map_or("", |plot| plot.id.as_str())
    }

    /// Whether a plot is an N-rich reference beside the treatments.
    pub(super) fn is_beside(&self, position: usize) -> bool {
        self.plot(position).is_some_and(|plot| plot.is_reference)
            && self.trial.reference.is_some_and(|reference| !reference.also_treatment)
    }

    /// Treatment of each plot as a small whole number: every factor's level, N-rich plots beside the treatments apart.
    pub(super) fn treatments(&self) -> Vec<usize> {
        let key = |position: usize| {
            let levels: Vec<&str> =
                self.factors.iter().filter_map(|factor| factor.levels.get(position)).map(String::as_str).collect();
            (self.is_beside(position), levels)
        };
        level_indices(&(0..self.trial.plots.len()).map(key).collect::<Vec<_>>())
    }

    /// What the factors that vary say of a plot: *variety Pale Heron, early 30*.
    pub(super) fn treatment_label(&self, position: usize) -> String {
        let varying = self.factors.iter().filter(|factor| factor.varies());
        let parts: Vec<String> =
            varying.filter_map(|factor| Some(format!("{} {}", factor.name, factor.levels.get(position)?))).collect();
        parts.join(", ")
    }

    /// What randomisation held together, as a small whole number a plot: the block, and within it the main plot of a split-plot design or
    /// the strip of a strip-plot design that runs one way.
    pub(super) fn strata(&self) -> Vec<usize> {
        let key = |position: usize| {
            let block = match self.trial.design {
                Design::CompletelyRandomised => "",
                _ => self.blocks.get(position).map_or("", String::as_str),
            };
            (block, self.whole_plot(position))
        };
        level_indices(&(0..self.trial.plots.len()).map(key).collect::<Vec<_>>())
    }

    /// The main plot or strip of a plot within its block: its own label, or the levels that lie on it.
    fn whole_plot(&self, position: usize) -> Vec<&str> {
        if let Some(label) = self.whole_plot_label(position) {
            return vec![label];
        }
        let on_whole = self.factors.iter().filter(|factor| factor.on_whole);
        on_whole.filter_map(|factor| factor.levels.get(position)).map(String::as_str).collect()
    }

    /// The label of a plot's main plot or strip, where the design has them and a column tells it.
    pub(super) fn whole_plot_label(&self, position: usize) -> Option<&'t str> {
        self.plot(position).and_then(|plot| self.trial.whole_plot(plot))
    }

    /// Yield of each plot in the programme's unit; `None` where none is used.
    pub(super) fn yields(&self) -> Vec<Option<f64>> {
        let yields = plot_yields(self.trial, self.crop, self.units).unwrap_or_default();
        yields.iter().map(crate::harvest::PlotYield::used).collect()
    }

    /// The variety of a plot, put right where it was spelt another way.
    pub(super) fn variety(&self, position: usize) -> &str {
        let variety = self.factors.iter().find(|factor| factor.source == Source::Variety);
        variety.and_then(|factor| factor.levels.get(position)).map_or("", String::as_str)
    }
}

impl Factor {
    /// Whether it has more than one level.
    pub(super) fn varies(&self) -> bool {
        self.levels.first().is_some_and(|first| self.levels.iter().any(|level| level != first))
    }
}

/// The column that tells the rate of an application: of the plan where every plot has one.
fn rate_column(trial: &Trial, position: usize) -> Option<String> {
    let columns = &trial.plot_columns;
    let columns = if is_planned(trial, position) { &columns.planned_rates } else { &columns.rates };
    columns.get(position).cloned().flatten()
}

/// Whether every plot has a planned rate for an application.
pub(super) fn is_planned(trial: &Trial, position: usize) -> bool {
    trial.plots.iter().all(|plot| plot.planned_rates.get(position).is_some_and(Option::is_some))
}

fn level(trial: &Trial, plot: &Plot, source: Source) -> String {
    match source {
        Source::Variety => plot.variety.clone().unwrap_or_default(),
        Source::Factor(position) => plot.factor_levels.get(position).cloned().unwrap_or_default(),
        Source::Application(position) => {
            let planned = plot.planned_rates.get(position).copied().flatten().filter(|_| is_planned(trial, position));
            let rate = planned.or_else(|| plot.rates.get(position).copied());
            rate.map_or_else(String::new, |rate| typed_rate(trial, position, rate))
        }
    }
}

/// A rate as typed: of the product where the application is typed as product.
pub(super) fn typed_rate(trial: &Trial, application: usize, rate: NRate) -> String {
    let Some(application) = trial.applications.get(application) else { return String::new() };
    let of_n = rate.in_unit(application.unit);
    typed(application.n_percent.map_or(of_n, |percent| of_n * 100.0 / percent))
}
