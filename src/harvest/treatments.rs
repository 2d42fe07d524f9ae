//! Means of the treatments of a trial, with and without the yields that are left out.

use std::collections::BTreeMap;

use super::nitrogen::{NotKnown, PlotNitrogen};
use super::yields::PlotYield;
use crate::trial::{BesideN, NeedFrom, Plot, Timing, Trial};
use crate::units::NRateUnit;

/// Number, mean and spread of something over the plots of a treatment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Plots where it is known.
    pub n: usize,
    /// Mean; `None` where it is known of no plot.
    pub mean: Option<f64>,
    /// Standard deviation, n − 1 in the denominator; `None` with fewer than two plots.
    pub standard_deviation: Option<f64>,
}

impl Spread {
    /// Of these values.
    #[must_use]
    pub fn of(values: &[f64]) -> Self {
        let n = values.len();
        let mean = (n > 0).then(|| values.iter().sum::<f64>() / n as f64);
        let squares = |mean: f64| values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
        let standard_deviation = mean.filter(|_| n > 1).map(|mean| (squares(mean) / (n - 1) as f64).sqrt());
        Self { n, mean, standard_deviation }
    }

    /// The same in another unit, of which one of the present makes `factor`.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        let scaled = |value: Option<f64>| value.map(|value| value * factor);
        Self { n: self.n, mean: scaled(self.mean), standard_deviation: scaled(self.standard_deviation) }
    }
}

/// The means of one treatment. N is that planned: what was randomised.
#[derive(Clone, Debug, PartialEq)]
pub struct TreatmentMeans {
    /// Variety, where the trial names one.
    pub variety: Option<String>,
    /// Level of each factor, in the order of [`Trial::factors`].
    pub factor_levels: Vec<String>,
    /// N of all applications, in the programme's rate unit.
    pub n: f64,
    /// Its part before the sensing, where the topdress is what varies.
    pub early_n: Option<f64>,
    /// The topdress that the sensing decides, where it is what varies.
    pub topdress_n: Option<f64>,
    /// Whether these are N-rich reference plots that are no treatment of the trial.
    pub reference_only: bool,
    /// Plots of the treatment, positions in [`Trial::plots`].
    pub plots: Vec<usize>,
    /// Yields that are used, in the programme's unit.
    pub yields: Spread,
    /// Yields with those that are left out among them; `None` where none is left out that was measured.
    pub with_excluded: Option<Spread>,
    /// What else is known of the plots whose yields are used.
    pub measures: Measures,
}

/// Means of what else is known of the plots of a treatment; amounts in kg/ha, efficiencies in kg/kg.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measures {
    /// N applied, as it went on.
    pub applied: Spread,
    /// Yield at standard moisture.
    pub grain: Spread,
    /// Grain protein as typed, per cent.
    pub protein_percent: Spread,
    /// N in the grain, per cent of dry matter.
    pub grain_n_percent: Spread,
    /// N in the grain.
    pub grain_n: Spread,
    /// N applied and credited to manure, minus N in the grain.
    pub surplus: Spread,
    /// Partial factor productivity.
    pub partial_factor_productivity: Spread,
    /// Agronomic efficiency.
    pub agronomic_efficiency: Spread,
    /// Recovery in the grain.
    pub recovery: Spread,
    /// Physiological efficiency.
    pub physiological_efficiency: Spread,
}

/// Order of treatments: variety, factors, references last, early N, topdress, all N. Rates are not negative, so the order of their bits is
/// the order of their values.
type Key<'t> = (BesideN<'t>, bool, [u64; 3]);

/// The means of every treatment of a trial; yields, N and what follows from them plot by plot, in the order of its plots.
#[must_use]
pub fn treatment_means(
    trial: &Trial,
    yields: &[PlotYield],
    with_excluded: &[Option<f64>],
    nitrogen: &[PlotNitrogen],
    unit: NRateUnit,
) -> Vec<TreatmentMeans> {
    let reference_counts = trial.reference.is_some_and(|reference| reference.also_treatment);
    let mut treatments: BTreeMap<Key, Vec<usize>> = BTreeMap::new();
    for (position, plot) in trial.plots.iter().enumerate() {
        let planned = |counts: &dyn Fn(Timing) -> bool| {
            trial.planned_n_where(plot, unit, |application| counts(application.timing)).to_bits()
        };
        let (early, topdress) = match trial.need_from {
            NeedFrom::DifferenceFromOptimum => (0, 0),
            NeedFrom::TopdressResponse => (
                planned(&|timing| timing == Timing::BeforeSensing),
                planned(&|timing| timing == Timing::DecidedBySensing),
            ),
        };
        let reference_only = plot.is_reference && !reference_counts;
        let rates = [early, topdress, planned(&|_| true)];
        treatments.entry((plot.beside_n(), reference_only, rates)).or_default().push(position);
    }
    let means = |(((variety, factor_levels), reference_only, rates), plots): (Key, Vec<usize>)| {
        let split = trial.need_from == NeedFrom::TopdressResponse;
        let [early, topdress, n] = rates.map(f64::from_bits);
        let used: Vec<f64> =
            plots.iter().filter_map(|position| yields.get(*position).and_then(PlotYield::used)).collect();
        let left_out = |position: &usize| matches!(yields.get(*position), Some(PlotYield::Excluded(_)));
        let excluded: Vec<f64> = plots
            .iter()
            .filter(|position| left_out(position))
            .filter_map(|position| with_excluded.get(*position).copied().flatten())
            .collect();
        let all = || used.iter().chain(&excluded).copied().collect::<Vec<_>>();
        TreatmentMeans {
            variety: variety.map(str::to_owned),
            factor_levels: factor_levels.to_vec(),
            n,
            early_n: split.then_some(early),
            topdress_n: split.then_some(topdress),
            reference_only,
            yields: Spread::of(&used),
            with_excluded: (!excluded.is_empty()).then(|| Spread::of(&all())),
            measures: Measures::of(trial, nitrogen, &plots),
            plots,
        }
    };
    treatments.into_iter().map(means).collect()
}

impl Measures {
    fn of(trial: &Trial, nitrogen: &[PlotNitrogen], plots: &[usize]) -> Self {
        let used = || {
            let both = |position: &usize| Some((trial.plots.get(*position)?, nitrogen.get(*position)?));
            plots.iter().filter_map(both).filter(|(_, nitrogen)| nitrogen.grain.is_ok())
        };
        let spread = |value: &dyn Fn(&PlotNitrogen) -> Result<f64, NotKnown>| {
            Spread::of(&used().filter_map(|(_, nitrogen)| value(nitrogen).ok()).collect::<Vec<_>>())
        };
        let protein = |(plot, _): (&Plot, _)| plot.protein.map(|protein| protein.percent);
        Self {
            applied: spread(&|plot| Ok(plot.applied)),
            grain: spread(&|plot| plot.grain),
            protein_percent: Spread::of(&used().filter_map(protein).collect::<Vec<_>>()),
            grain_n_percent: spread(&|plot| plot.grain_n_percent),
            grain_n: spread(&|plot| plot.grain_n),
            surplus: spread(&|plot| plot.surplus),
            partial_factor_productivity: spread(&|plot| plot.efficiencies.partial_factor_productivity),
            agronomic_efficiency: spread(&|plot| plot.efficiencies.agronomic),
            recovery: spread(&|plot| plot.efficiencies.recovery),
            physiological_efficiency: spread(&|plot| plot.efficiencies.physiological),
        }
    }
}
