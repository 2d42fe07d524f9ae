//! Plot yields at standard moisture, what the crop made of the N, and what became of each plot.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};

use super::envelope::Report;
use super::yield_units::YieldUnits;
use crate::files::export::Table;
use crate::harvest::{NotKnown, PlotNitrogen, PlotYield, Spread, TreatmentMeans, TrialHarvest, ZeroN};
use crate::trial::{Plot, Programme, Trial};
use crate::units::TestWeightUnit;

/// The yields of every trial.
///
/// Amounts stand in the programme's units (`yield_unit`, `rate_unit`, `efficiency_unit`) and, with the unit in the name, in kg and ha.
/// An efficiency is of grain at standard moisture, or of N in the grain, for each unit of N applied.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Yields {
    /// Unit of every yield.
    pub yield_unit: String,
    /// Unit of every N rate, of N in the grain and of the N surplus.
    pub rate_unit: String,
    /// Unit of efficiencies that are not in kg/kg.
    pub efficiency_unit: String,
    /// Moisture that yields are brought to; null where they are left as they stand.
    pub moisture_percent: Option<f64>,
    /// One entry a trial.
    pub trials: Vec<TrialYields>,
}

/// The yields of one trial: `plots` = `used` + `missing` + `excluded`.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct TrialYields {
    /// Trial folder.
    pub trial: String,
    /// Site.
    pub site: String,
    /// Year of harvest.
    pub harvest_year: i16,
    /// Plots with a yield that is used.
    pub used: usize,
    /// Plots without a yield.
    pub missing: usize,
    /// Plots whose yield is left out, with a reason.
    pub excluded: usize,
    /// N credited to manure, part of every surplus; null where there is none.
    pub manure_credit: Option<f64>,
    /// One entry a treatment.
    pub treatments: Vec<TreatmentYields>,
    /// Every plot of the plots file.
    pub plots: Vec<YieldOfPlot>,
}

/// The means of one treatment.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct TreatmentYields {
    /// Variety, factors beside N, and N as planned: `n` of all applications, and where the topdress is what varies `early_n` and
    /// `topdress_n`.
    pub treatment: Map<String, Value>,
    /// Whether these are N-rich reference plots that are no treatment of the trial.
    pub reference_only: bool,
    /// Plots of the treatment.
    pub plots: usize,
    /// Yields that are used.
    #[serde(rename = "yield")]
    pub yields: MeanOf,
    /// Yields with those that are left out among them; null where none is left out that was measured.
    pub yield_with_excluded: Option<MeanOf>,
    /// `yield` in kg/ha.
    pub yield_kg_ha: MeanOf,
    /// N applied, as it went on.
    pub n_applied: MeanOf,
    /// `n_applied` in kg/ha.
    pub n_applied_kg_ha: MeanOf,
    /// Grain protein as typed, per cent.
    pub protein_percent: MeanOf,
    /// N in the grain, per cent of dry matter.
    pub grain_n_percent_dry: MeanOf,
    /// N in the grain.
    pub grain_n: MeanOf,
    /// `grain_n` in kg/ha.
    pub grain_n_kg_ha: MeanOf,
    /// N applied and credited to manure, minus N in the grain.
    pub n_surplus: MeanOf,
    /// `n_surplus` in kg/ha.
    pub n_surplus_kg_ha: MeanOf,
    /// Yield ÷ N applied.
    pub partial_factor_productivity: MeanOf,
    /// `partial_factor_productivity` in kg/kg.
    pub partial_factor_productivity_kg_kg: MeanOf,
    /// Gain in yield over the zero-N plots ÷ N applied.
    pub agronomic_efficiency: MeanOf,
    /// `agronomic_efficiency` in kg/kg.
    pub agronomic_efficiency_kg_kg: MeanOf,
    /// Gain in grain N over the zero-N plots ÷ N applied, the same in every unit.
    pub recovery: MeanOf,
    /// Gain in yield ÷ gain in grain N.
    pub physiological_efficiency: MeanOf,
    /// `physiological_efficiency` in kg/kg.
    pub physiological_efficiency_kg_kg: MeanOf,
}

/// A mean over the plots of a treatment.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct MeanOf {
    /// Plots it is over.
    pub n: usize,
    /// Mean.
    pub mean: Option<f64>,
    /// Standard deviation; null with fewer than two plots.
    pub sd: Option<f64>,
}

/// What became of one plot's yield, and what the plot made of its N.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct YieldOfPlot {
    /// The plot, as typed.
    pub plot: String,
    /// Row of the plots file.
    pub row: u64,
    /// Block.
    pub block: Option<String>,
    /// Main plot, where a column tells it.
    pub main_plot: Option<String>,
    /// Variety.
    pub variety: Option<String>,
    /// Level of each factor beside N and variety.
    pub factors: Map<String, Value>,
    /// Whether it is an N-rich reference plot.
    pub reference: bool,
    /// Yield; null where it is not used.
    #[serde(rename = "yield")]
    pub value: Option<f64>,
    /// `used`, `missing` or `excluded`.
    pub status: &'static str,
    /// Why it is not used.
    pub reason: Option<String>,
    /// The yield that is left out; null where none is, or where it was not measured.
    pub excluded_yield: Option<f64>,
    /// N and what came of it.
    #[serde(flatten)]
    pub nitrogen: NitrogenOfPlot,
    /// Test weight, lb/bu.
    pub test_weight_lb_bu: Option<f64>,
    /// Test weight, kg/hL.
    pub test_weight_kg_hl: Option<f64>,
    /// Lodging score on the trial's own scale.
    pub lodging: Option<f64>,
    /// Plants a square metre.
    pub plants_per_m2: Option<f64>,
    /// Tillers a square metre.
    pub tillers_per_m2: Option<f64>,
}

/// N of one plot. Null values have their reason in `not_known`.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct NitrogenOfPlot {
    /// N of every application, as it went on.
    pub n_applied: f64,
    /// `n_applied` in kg/ha.
    pub n_applied_kg_ha: f64,
    /// N of every application as planned; as it went on where no plan is recorded.
    pub n_planned: f64,
    /// `yield` in kg/ha.
    pub yield_kg_ha: Option<f64>,
    /// Grain protein as typed, per cent.
    pub protein_percent: Option<f64>,
    /// Moisture the protein is stated at; null where it is of the grain as it stood.
    pub protein_moisture_percent: Option<f64>,
    /// N in the grain, per cent of dry matter.
    pub grain_n_percent_dry: Option<f64>,
    /// N in the grain.
    pub grain_n: Option<f64>,
    /// `grain_n` in kg/ha.
    pub grain_n_kg_ha: Option<f64>,
    /// N applied and credited to manure, minus N in the grain.
    pub n_surplus: Option<f64>,
    /// `n_surplus` in kg/ha.
    pub n_surplus_kg_ha: Option<f64>,
    /// Yield ÷ N applied.
    pub partial_factor_productivity: Option<f64>,
    /// `partial_factor_productivity` in kg/kg.
    pub partial_factor_productivity_kg_kg: Option<f64>,
    /// Gain in yield over the zero-N plots ÷ N applied.
    pub agronomic_efficiency: Option<f64>,
    /// `agronomic_efficiency` in kg/kg.
    pub agronomic_efficiency_kg_kg: Option<f64>,
    /// Gain in grain N over the zero-N plots ÷ N applied, the same in every unit.
    pub recovery: Option<f64>,
    /// Gain in yield ÷ gain in grain N.
    pub physiological_efficiency: Option<f64>,
    /// `physiological_efficiency` in kg/kg.
    pub physiological_efficiency_kg_kg: Option<f64>,
    /// Zero-N plots that the yield is compared with.
    pub zero_n_yield: Option<ZeroNOf>,
    /// Zero-N plots that the N in the grain is compared with.
    pub zero_n_grain_n: Option<ZeroNOf>,
    /// Why a value is null, by its name.
    pub not_known: BTreeMap<&'static str, String>,
}

/// The mean of the plots without N of the same variety and factors.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ZeroNOf {
    /// `block`: those of the same block; `trial`: those of the trial, as the block has none.
    pub from: &'static str,
    /// How many.
    pub plots: usize,
    /// Their mean, in the programme's unit.
    pub mean: f64,
    /// Their mean, in kg/ha.
    pub mean_kg_ha: f64,
}

impl Yields {
    /// The yields of a programme's trials, given in the order of the trials.
    pub fn of<'a>(programme: &Programme, harvests: impl IntoIterator<Item = &'a TrialHarvest>) -> Self {
        let units = YieldUnits::of(programme);
        let trials = programme.trials.iter().zip(harvests);
        Self {
            yield_unit: programme.units.yields.to_string(),
            rate_unit: programme.units.n_rate.to_string(),
            efficiency_unit: units.efficiency_unit(),
            moisture_percent: programme.units.standard_moisture.map(|moisture| moisture.percent()),
            trials: trials.map(|(trial, harvest)| TrialYields::of(trial, harvest, &units)).collect(),
        }
    }
}

impl TrialYields {
    fn of(trial: &Trial, harvest: &TrialHarvest, units: &YieldUnits) -> Self {
        let count = |wanted: fn(&PlotYield) -> bool| harvest.yields.iter().filter(|found| wanted(found)).count();
        let measured = harvest.with_excluded.iter().copied();
        let found = harvest.yields.iter().zip(measured).zip(&harvest.nitrogen);
        Self {
            trial: trial.folder.clone(),
            site: trial.site.clone(),
            harvest_year: trial.harvest_year,
            used: count(|found| matches!(found, PlotYield::Used(_))),
            missing: count(|found| matches!(found, PlotYield::Missing)),
            excluded: count(|found| matches!(found, PlotYield::Excluded(_))),
            manure_credit: trial.background.manure_credit.map(|credit| credit.in_unit(units.n_rate)),
            treatments: harvest.treatments.iter().map(|means| TreatmentYields::of(trial, means, units)).collect(),
            plots: trial
                .plots
                .iter()
                .zip(found)
                .map(|(plot, ((found, measured), nitrogen))| {
                    YieldOfPlot::of(trial, plot, found, measured, NitrogenOfPlot::of(trial, plot, nitrogen, units))
                })
                .collect(),
        }
    }
}

fn factors(trial: &Trial, levels: &[String]) -> Map<String, Value> {
    trial.factors.iter().cloned().zip(levels.iter().map(|level| level.as_str().into())).collect()
}

impl TreatmentYields {
    fn of(trial: &Trial, means: &TreatmentMeans, units: &YieldUnits) -> Self {
        let mut treatment = Map::new();
        if let Some(variety) = &means.variety {
            treatment.insert("variety".to_owned(), variety.as_str().into());
        }
        treatment.extend(factors(trial, &means.factor_levels));
        let parts = [("early_n", means.early_n), ("topdress_n", means.topdress_n), ("n", Some(means.n))];
        treatment.extend(parts.into_iter().filter_map(|(name, rate)| Some((name.to_owned(), rate?.into()))));
        let measures = &means.measures;
        let rate = |spread: Spread| MeanOf::of(spread.scaled(units.rates_per_kg_ha()));
        let efficiency = |spread: Spread| MeanOf::of(spread.scaled(units.efficiencies_per_kg_kg()));
        Self {
            treatment,
            reference_only: means.reference_only,
            plots: means.plots.len(),
            yields: MeanOf::of(means.yields),
            yield_with_excluded: means.with_excluded.map(MeanOf::of),
            yield_kg_ha: MeanOf::of(measures.grain),
            n_applied: rate(measures.applied),
            n_applied_kg_ha: MeanOf::of(measures.applied),
            protein_percent: MeanOf::of(measures.protein_percent),
            grain_n_percent_dry: MeanOf::of(measures.grain_n_percent),
            grain_n: rate(measures.grain_n),
            grain_n_kg_ha: MeanOf::of(measures.grain_n),
            n_surplus: rate(measures.surplus),
            n_surplus_kg_ha: MeanOf::of(measures.surplus),
            partial_factor_productivity: efficiency(measures.partial_factor_productivity),
            partial_factor_productivity_kg_kg: MeanOf::of(measures.partial_factor_productivity),
            agronomic_efficiency: efficiency(measures.agronomic_efficiency),
            agronomic_efficiency_kg_kg: MeanOf::of(measures.agronomic_efficiency),
            recovery: MeanOf::of(measures.recovery),
            physiological_efficiency: efficiency(measures.physiological_efficiency),
            physiological_efficiency_kg_kg: MeanOf::of(measures.physiological_efficiency),
        }
    }
}

impl MeanOf {
    /// Standard error of the mean from the plots' own spread, SD ÷ √n; `None` with fewer than two plots.
    #[must_use]
    pub fn standard_error(&self) -> Option<f64> {
        Some(self.sd? / (self.n as f64).sqrt())
    }

    fn of(spread: Spread) -> Self {
        Self { n: spread.n, mean: spread.mean, sd: spread.standard_deviation }
    }
}

impl YieldOfPlot {
    fn of(trial: &Trial, plot: &Plot, found: &PlotYield, measured: Option<f64>, nitrogen: NitrogenOfPlot) -> Self {
        let (status, reason) = match found {
            PlotYield::Used(_) => ("used", None),
            PlotYield::Missing => ("missing", Some("no yield in the file".to_owned())),
            PlotYield::Excluded(reason) => ("excluded", Some(reason.clone())),
        };
        Self {
            plot: plot.id.clone(),
            row: plot.row,
            block: plot.block.clone(),
            main_plot: plot.main_plot.clone(),
            variety: plot.variety.clone(),
            factors: factors(trial, &plot.factor_levels),
            reference: plot.is_reference,
            value: found.used(),
            status,
            reason,
            excluded_yield: measured.filter(|_| matches!(found, PlotYield::Excluded(_))),
            nitrogen,
            test_weight_lb_bu: plot.test_weight.map(|weight| weight.in_unit(TestWeightUnit::PoundsPerBushel)),
            test_weight_kg_hl: plot.test_weight.map(|weight| weight.in_unit(TestWeightUnit::KilogramsPerHectolitre)),
            lodging: plot.lodging,
            plants_per_m2: plot.plants.map(|density| density.per_square_metre()),
            tillers_per_m2: plot.tillers.map(|density| density.per_square_metre()),
        }
    }
}

impl NitrogenOfPlot {
    fn of(trial: &Trial, plot: &Plot, nitrogen: &PlotNitrogen, units: &YieldUnits) -> Self {
        let rate = |amount: Result<f64, NotKnown>| amount.ok().map(|amount| amount * units.rates_per_kg_ha());
        let per_n = |found: Result<f64, NotKnown>| found.ok().map(|found| found * units.efficiencies_per_kg_kg());
        let zero_n = |zero: ZeroN, per_kg_ha: f64| ZeroNOf {
            from: zero.from.name(),
            plots: zero.plots,
            mean: zero.mean * per_kg_ha,
            mean_kg_ha: zero.mean,
        };
        let efficiencies = &nitrogen.efficiencies;
        let reasons = [
            ("yield", nitrogen.grain),
            ("grain_n_percent_dry", nitrogen.grain_n_percent),
            ("grain_n", nitrogen.grain_n),
            ("n_surplus", nitrogen.surplus),
            ("partial_factor_productivity", efficiencies.partial_factor_productivity),
            ("agronomic_efficiency", efficiencies.agronomic),
            ("recovery", efficiencies.recovery),
            ("physiological_efficiency", efficiencies.physiological),
        ];
        Self {
            n_applied: trial.n_where(plot, units.n_rate, |_| true),
            n_applied_kg_ha: nitrogen.applied,
            n_planned: trial.planned_n_where(plot, units.n_rate, |_| true),
            yield_kg_ha: nitrogen.grain.ok(),
            protein_percent: plot.protein.map(|protein| protein.percent),
            protein_moisture_percent: plot.protein.and_then(|protein| Some(protein.moisture?.percent())),
            grain_n_percent_dry: nitrogen.grain_n_percent.ok(),
            grain_n: rate(nitrogen.grain_n),
            grain_n_kg_ha: nitrogen.grain_n.ok(),
            n_surplus: rate(nitrogen.surplus),
            n_surplus_kg_ha: nitrogen.surplus.ok(),
            partial_factor_productivity: per_n(efficiencies.partial_factor_productivity),
            partial_factor_productivity_kg_kg: efficiencies.partial_factor_productivity.ok(),
            agronomic_efficiency: per_n(efficiencies.agronomic),
            agronomic_efficiency_kg_kg: efficiencies.agronomic.ok(),
            recovery: efficiencies.recovery.ok(),
            physiological_efficiency: per_n(efficiencies.physiological),
            physiological_efficiency_kg_kg: efficiencies.physiological.ok(),
            zero_n_yield: nitrogen.zero_n_grain.map(|zero| zero_n(zero, units.yields_per_kg_ha())),
            zero_n_grain_n: nitrogen.zero_n_grain_n.map(|zero| zero_n(zero, units.rates_per_kg_ha())),
            not_known: reasons.into_iter().filter_map(|(name, found)| Some((name, found.err()?.to_string()))).collect(),
        }
    }
}

impl Report for Yields {
    const COMMAND: &'static str = "yields";

    fn text(&self) -> String {
        super::yields_text::text(self)
    }

    fn table(&self) -> Table {
        super::yields_csv::table(self)
    }
}
