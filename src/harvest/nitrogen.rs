//! N in the grain, the efficiencies of the N applied, and the N surplus, plot by plot, in kg and ha.

use std::collections::BTreeMap;

use super::yields::{PlotYield, dry_matter};
use crate::crop::Crop;
use crate::trial::{BesideN, Design, Plot, ResultUnits, Trial};
use crate::units::{BushelUnknown, MoisturePercent, NRateUnit, Yield, YieldUnit};

/// Why something about the N of a plot is not known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, thiserror::Error)]
pub enum NotKnown {
    /// Nothing was harvested, as far as the file tells.
    #[error("no yield in the file")]
    NoYield,
    /// The yield is left out.
    #[error("the yield is left out")]
    Excluded,
    /// No protein was analysed.
    #[error("no protein")]
    NoProtein,
    /// The moisture of the grain is not given, so its dry matter is not known.
    #[error("the moisture of the grain is not given")]
    NoMoisture,
    /// An efficiency is a gain for N, and none was applied.
    #[error("no N was applied")]
    NoNApplied,
    /// There is no plot without N to compare with.
    #[error("no zero-N plot of the same variety and factors has a yield that is used")]
    NoZeroN,
    /// The plots without N tell no N in the grain.
    #[error("no zero-N plot of the same variety and factors has its grain N")]
    NoZeroNGrainN,
    /// The grain holds no more N than that of the zero-N plot, so a gain in yield has nothing to be divided by.
    #[error("the grain holds no more N than without N applied")]
    GrainNNotRaised,
}

/// N of one plot. Amounts are in kg/ha, efficiencies in kg of grain at standard moisture, or of N, for each kg of N.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotNitrogen {
    /// N of every application as it went on, kg/ha.
    pub applied: f64,
    /// Yield at the programme's standard moisture, kg/ha.
    pub grain: Result<f64, NotKnown>,
    /// N in the grain, per cent of its dry matter.
    pub grain_n_percent: Result<f64, NotKnown>,
    /// N in the grain, kg/ha.
    pub grain_n: Result<f64, NotKnown>,
    /// N applied and credited to manure, minus N in the grain, kg/ha.
    pub surplus: Result<f64, NotKnown>,
    /// Yield without N, kg/ha, where there is any.
    pub zero_n_grain: Option<ZeroN>,
    /// N in the grain without N applied, kg/ha, where it is known.
    pub zero_n_grain_n: Option<ZeroN>,
    /// What the plot made of its N.
    pub efficiencies: Efficiencies,
}

/// What grain was made of the N applied.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Efficiencies {
    /// Partial factor productivity: grain ÷ N applied, kg/kg.
    pub partial_factor_productivity: Result<f64, NotKnown>,
    /// Agronomic efficiency: gain in grain ÷ N applied, kg/kg.
    pub agronomic: Result<f64, NotKnown>,
    /// Recovery in the grain: gain in grain N ÷ N applied, kg/kg.
    pub recovery: Result<f64, NotKnown>,
    /// Physiological efficiency: gain in grain ÷ gain in grain N, kg/kg.
    pub physiological: Result<f64, NotKnown>,
}

/// The mean of plots without N.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ZeroN {
    /// The mean.
    pub mean: f64,
    /// How many plots.
    pub plots: usize,
    /// Which plots.
    pub from: ZeroNFrom,
}

/// Which plots without N a plot is compared with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ZeroNFrom {
    /// Those of its block.
    Block,
    /// Those of the trial: its block has none.
    Trial,
}

impl ZeroNFrom {
    /// The name it is written as.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Block => "block",
            Self::Trial => "trial",
        }
    }
}

/// N in the grain, per cent of dry matter, from protein stated at a moisture.
#[must_use]
pub fn grain_n_percent_dry(protein_percent: f64, stated_at: MoisturePercent, crop: &Crop) -> f64 {
    protein_percent / crop.protein_per_n * 100.0 / stated_at.dry_matter_percent()
}

/// Efficiencies of N `applied` that gave `grain` with `grain_n` in it where the plots without N gave `zero_n_grain` with
/// `zero_n_grain_n` (after Dobermann 2005, cited from memory). All in one unit of mass over one unit of area.
#[must_use]
pub fn efficiencies(
    applied: f64,
    grain: Result<f64, NotKnown>,
    grain_n: Result<f64, NotKnown>,
    zero_n_grain: Result<f64, NotKnown>,
    zero_n_grain_n: Result<f64, NotKnown>,
) -> Efficiencies {
    let gain = |with: Result<f64, NotKnown>, without: Result<f64, NotKnown>| Ok(with? - without?);
    let per_n = |amount: Result<f64, NotKnown>| {
        if applied > 0.0 { amount.map(|amount| amount / applied) } else { Err(NotKnown::NoNApplied) }
    };
    let (more_grain, more_n) = (gain(grain, zero_n_grain), gain(grain_n, zero_n_grain_n));
    let physiological = || {
        let (more_grain, more_n) = (more_grain?, more_n?);
        if more_n > 0.0 { Ok(more_grain / more_n) } else { Err(NotKnown::GrainNNotRaised) }
    };
    Efficiencies {
        partial_factor_productivity: per_n(grain),
        agronomic: per_n(more_grain),
        recovery: per_n(more_n),
        physiological: if applied > 0.0 { physiological() } else { Err(NotKnown::NoNApplied) },
    }
}

/// N of every plot of a trial, in the order of its plots.
///
/// # Errors
/// [`BushelUnknown`] where bushels cannot be weighed.
pub fn plot_nitrogen(
    trial: &Trial,
    yields: &[PlotYield],
    crop: &Crop,
    units: &ResultUnits,
) -> Result<Vec<PlotNitrogen>, BushelUnknown> {
    let manure = trial.background.manure_credit.map_or(0.0, |credit| credit.in_unit(NRateUnit::KilogramsPerHectare));
    let mut found = Vec::new();
    for (plot, result) in trial.plots.iter().zip(yields) {
        let applied: f64 = plot.rates.iter().map(|rate| rate.in_unit(NRateUnit::KilogramsPerHectare)).sum();
        let grain = match result {
            PlotYield::Used(value) => {
                Ok(Yield::new(*value, units.yields).in_unit(YieldUnit::KilogramsPerHectare, crop.pounds_per_bushel)?)
            }
            PlotYield::Missing => Err(NotKnown::NoYield),
            PlotYield::Excluded(_) => Err(NotKnown::Excluded),
        };
        let grain_n_percent = grain.and_then(|_| grain_n_percent(plot, crop));
        let dry = match &plot.harvest {
            Some(harvest) => dry_matter(harvest, crop)?.ok_or(NotKnown::NoMoisture),
            None => Err(NotKnown::NoYield),
        };
        let grain_n = grain_n_percent.and_then(|percent| Ok(dry? * percent / 100.0));
        found.push(PlotNitrogen {
            applied,
            grain,
            grain_n_percent,
            grain_n,
            surplus: grain_n.map(|removed| applied + manure - removed),
            zero_n_grain: None,
            zero_n_grain_n: None,
            efficiencies: efficiencies(applied, grain, grain_n, Err(NotKnown::NoZeroN), Err(NotKnown::NoZeroN)),
        });
    }
    let grain = ZeroNPlots::of(trial, &found, |plot| plot.grain.ok());
    let grain_n = ZeroNPlots::of(trial, &found, |plot| plot.grain_n.ok());
    for (plot, nitrogen) in trial.plots.iter().zip(&mut found) {
        nitrogen.zero_n_grain = grain.shared_by(plot);
        nitrogen.zero_n_grain_n = grain_n.shared_by(plot);
        let zero_n_grain = nitrogen.zero_n_grain.map(|zero| zero.mean).ok_or(NotKnown::NoZeroN);
        let no_grain_n = if nitrogen.zero_n_grain.is_some() { NotKnown::NoZeroNGrainN } else { NotKnown::NoZeroN };
        let zero_n_grain_n = nitrogen.zero_n_grain_n.map(|zero| zero.mean).ok_or(no_grain_n);
        nitrogen.efficiencies =
            efficiencies(nitrogen.applied, nitrogen.grain, nitrogen.grain_n, zero_n_grain, zero_n_grain_n);
    }
    Ok(found)
}

fn grain_n_percent(plot: &Plot, crop: &Crop) -> Result<f64, NotKnown> {
    let protein = plot.protein.ok_or(NotKnown::NoProtein)?;
    let as_stood = plot.harvest.and_then(|harvest| harvest.moisture());
    let stated_at = protein.moisture.or(as_stood).ok_or(NotKnown::NoMoisture)?;
    Ok(grain_n_percent_dry(protein.percent, stated_at, crop))
}

/// Something of the plots without N, by variety, factors and block.
struct ZeroNPlots<'t> {
    has_blocks: bool,
    of_block: BTreeMap<(BesideN<'t>, Option<&'t str>), Vec<f64>>,
    of_trial: BTreeMap<BesideN<'t>, Vec<f64>>,
}

impl<'t> ZeroNPlots<'t> {
    fn of(trial: &'t Trial, nitrogen: &[PlotNitrogen], value: impl Fn(&PlotNitrogen) -> Option<f64>) -> Self {
        let has_blocks = trial.design != Design::CompletelyRandomised;
        let mut found = Self { has_blocks, of_block: BTreeMap::new(), of_trial: BTreeMap::new() };
        for (plot, nitrogen) in trial.plots.iter().zip(nitrogen).filter(|(_, nitrogen)| nitrogen.applied == 0.0) {
            if let Some(value) = value(nitrogen) {
                found.of_block.entry((plot.beside_n(), plot.block.as_deref())).or_default().push(value);
                found.of_trial.entry(plot.beside_n()).or_default().push(value);
            }
        }
        found
    }

    fn shared_by(&self, plot: &Plot) -> Option<ZeroN> {
        let mean = |values: &Vec<f64>, from| ZeroN {
            mean: values.iter().sum::<f64>() / values.len() as f64,
            plots: values.len(),
            from,
        };
        let block = plot.block.as_deref().filter(|_| self.has_blocks);
        let of_block = block.and_then(|block| self.of_block.get(&(plot.beside_n(), Some(block))));
        of_block
            .map(|values| mean(values, ZeroNFrom::Block))
            .or_else(|| self.of_trial.get(&plot.beside_n()).map(|values| mean(values, ZeroNFrom::Trial)))
    }
}
