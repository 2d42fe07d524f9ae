//! Everything that the readings of one instrument on one day tell beside the index itself.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::components::Components;
use super::crowding::Crowding;
use super::index::{PlotIndex, indices};
use super::level_fit::{LevelFit, Unit, units};
use super::reference::ReferenceStudy;
use super::sensings;
use super::stand::{Stand, StandCounts};
use crate::trial::{Instrument, Plot, Trial};
use crate::units::{Density, NRateUnit};

/// Canopy and leaf readings this many days apart are of one crop: a leaf takes about a week to appear (common practice).
const DAYS_APART: i64 = 3;

/// What a study is made with.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'y> {
    /// Unit of N rates.
    pub unit: NRateUnit,
    /// Level of every interval.
    pub level: f64,
    /// Fewer tillers than this are a thin stand; see [`Decisions::thin_stand_below`](crate::trial::Decisions::thin_stand_below).
    pub thin_stand_below: Option<Density>,
    /// The yield of each plot that is used, in the order of the plots; empty without a harvest.
    pub yields: &'y [Option<f64>],
}

/// What the readings of one instrument on one day tell beside the index.
#[derive(Clone, Debug, PartialEq)]
pub struct Study {
    /// How much leaves and plots differ; `None` where plots have one reading each.
    pub components: Option<Components>,
    /// Whether the reference is sufficient, one for each variety that has one of its own.
    pub references: Vec<ReferenceStudy>,
    /// Whether a canopy is crowded, likewise; empty for a leaf meter.
    pub crowding: Vec<Crowding>,
    /// Stand or N: of a canopy sensor, where the stand was counted or leaves were read.
    pub stand: Option<Stand>,
}

impl Study {
    /// Studies the readings with `instrument` on `date`, whose indices are `reads`.
    #[must_use]
    pub fn of(trial: &Trial, instrument: Instrument, date: Date, reads: &[PlotIndex], asked: &Asked<'_>) -> Self {
        let is_canopy = instrument == Instrument::CanopyNdvi;
        let leaf_date = leaf_date(trial, date).filter(|_| is_canopy);
        let leaf_reads = leaf_date.map(|date| indices(trial, Instrument::LeafChlorophyll, date));
        let leaf = leaf_date.zip(leaf_reads.as_deref());
        let counts = StandCounts::of(trial, asked.thin_stand_below);
        // A thin stand takes from canopy and yield what N does not: such plots are no measure of the reference, nor of crowding.
        let is_full = |plot: &Plot| !counts.as_ref().is_some_and(|counts| counts.is_thin(plot));
        let of_varieties = by_variety(trial, reads);
        let mut leaf_varieties = leaf.map(|(date, reads)| (date, by_variety(trial, reads)));
        let mut references = Vec::new();
        let mut crowding = Vec::new();
        for (variety, own) in of_varieties {
            let standing: Vec<_> = own.iter().copied().filter(|(plot, _)| !is_canopy || is_full(plot)).collect();
            let on = reading_units(trial, date, asked.unit, &standing);
            let yields = yield_units(trial, variety, asked, &is_full);
            let Some(reference) = ReferenceStudy::of(trial, variety, &on, &yields, &own, asked.level) else { continue };
            let reference = ReferenceStudy { thin_left_out: own.len() - standing.len(), ..reference };
            if is_canopy {
                let leaf = leaf_varieties.as_mut().and_then(|(date, reads)| {
                    let on = reading_units(trial, *date, asked.unit, reads.get(&variety)?);
                    Some((LevelFit::of(&on)?, mean_of_reference(&on)?))
                });
                let leaf = leaf.as_ref().map(|(fit, reference)| (fit, *reference));
                let fit = LevelFit::of(&on);
                let (name, reading) = (variety.map(str::to_owned), reference.reading.reference);
                crowding.push(Crowding::of(name, reading, fit.as_ref(), leaf, asked.level));
            }
            references.push(reference);
        }
        let stand =
            is_canopy.then(|| Stand::of(trial, date, asked.unit, reads, leaf, counts.clone(), asked.level)).flatten();
        let components = Components::of(trial, date, asked.unit, reads, asked.level);
        Self { components, references, crowding, stand }
    }
}

/// The leaf readings nearest to a day, the earlier of two as near.
fn leaf_date(trial: &Trial, date: Date) -> Option<Date> {
    let days = |other: &Date| (other.duration_since(date).as_hours() / 24).abs();
    let leaf = sensings(trial).into_iter().filter(|(instrument, _)| *instrument == Instrument::LeafChlorophyll);
    leaf.map(|(_, date)| date).filter(|other| days(other) <= DAYS_APART).min_by_key(days)
}

type OfVarieties<'t, 'r> = BTreeMap<Option<&'t str>, Vec<(&'t Plot, &'r PlotIndex)>>;

/// Readings by variety, where references are of varieties; otherwise all together.
fn by_variety<'t, 'r>(trial: &'t Trial, reads: &'r [PlotIndex]) -> OfVarieties<'t, 'r> {
    let apart = trial.reference.is_some_and(|reference| reference.shared_within.variety);
    let mut of_varieties: OfVarieties<'t, 'r> = BTreeMap::new();
    for read in reads {
        let Some(plot) = trial.plots.get(read.reading.plot) else { continue };
        of_varieties.entry(plot.variety.as_deref().filter(|_| apart)).or_default().push((plot, read));
    }
    of_varieties
}

fn reading_units<'t>(trial: &'t Trial, date: Date, unit: NRateUnit, own: &[(&'t Plot, &PlotIndex)]) -> Vec<Unit<'t>> {
    let values = own.iter().map(|(plot, read)| (*plot, read.reading.mean));
    units(trial, values, |plot| trial.n_already_on(plot, date, unit))
}

fn mean_of_reference(units: &[Unit<'_>]) -> Option<f64> {
    let rich: Vec<f64> = units.iter().filter(|unit| unit.is_reference).map(|unit| unit.value).collect();
    let mean = rich.iter().sum::<f64>() / rich.len() as f64;
    (mean > 0.0).then_some(mean)
}

/// Yields with the N of the whole season, one variety's.
fn yield_units<'t>(
    trial: &'t Trial,
    variety: Option<&str>,
    asked: &Asked<'_>,
    is_full: &dyn Fn(&Plot) -> bool,
) -> Vec<Unit<'t>> {
    let is_own = |plot: &Plot| (variety.is_none() || plot.variety.as_deref() == variety) && is_full(plot);
    let own = trial.plots.iter().zip(asked.yields).filter(|(plot, _)| is_own(plot));
    let values = own.filter_map(|(plot, yields)| Some((plot, (*yields)?)));
    units(trial, values, |plot| trial.n_where(plot, asked.unit, |_| true))
}
