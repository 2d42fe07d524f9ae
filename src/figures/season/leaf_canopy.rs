//! The canopy sensor against the leaf meter, plot by plot, where both were read within a few days.

use super::{Material, NamedFigure, day, page_name};
use crate::figures::{AgreementFigure, AgreementPoint, Censoring, Figure, Wording, Words};
use crate::season::{Sensing, TrialResult};
use crate::sensing::{LOW_INDEX, LowBecause, PlotIndex, Stand};
use crate::trial::{Instrument, Trial};

/// One figure each day that a trial's canopy was sensed with leaves read beside it.
pub(super) fn figures(material: Material<'_>) -> Vec<NamedFigure> {
    let trials = material.season.programme.trials.iter().zip(&material.season.trials);
    trials
        .flat_map(|(trial, result)| {
            let all = result.sensings.iter().filter_map(|canopy| figure(trial, result, canopy, material.wording));
            let name = format!("{}-leaf-canopy", trial.folder);
            let named = |(position, figure)| NamedFigure { name: page_name(&name, position), figure };
            all.enumerate().map(named).collect::<Vec<_>>()
        })
        .collect()
}

/// What points are marked by.
const GROUPS: [&str; 4] = ["plot", "thin stand", "low for another cause than N", "N-rich reference"];
const PLOT: usize = 0;
const THIN: usize = 1;
const OTHER_CAUSE: usize = 2;
const REFERENCE: usize = 3;

fn figure(trial: &Trial, result: &TrialResult, canopy: &Sensing, wording: &Wording) -> Option<Figure> {
    let stand = canopy.study.stand.as_ref()?;
    let leaf_date = stand.leaf_date?;
    let is_leaf = |sensing: &&Sensing| sensing.instrument == Instrument::LeafChlorophyll && sensing.date == leaf_date;
    let leaf = result.sensings.iter().find(is_leaf)?;
    let point = |read: &PlotIndex| {
        let plot = trial.plots.get(read.reading.plot)?;
        let position = leaf.indices.binary_search_by_key(&read.reading.plot, |read| read.reading.plot).ok()?;
        let across = leaf.indices.get(position)?.index.as_ref().ok()?.index;
        let is_thin = stand.counts.as_ref().is_some_and(|counts| counts.is_thin(plot));
        let group = match () {
            () if is_thin => THIN,
            () if is_low_for_another_cause(stand, read.reading.plot) => OTHER_CAUSE,
            () if read.is_reference => REFERENCE,
            () => PLOT,
        };
        Some(AgreementPoint { across, up: read.index.as_ref().ok()?.index, censored: Censoring::None, group })
    };
    let points: Vec<AgreementPoint> = canopy.indices.iter().filter_map(point).collect();
    if points.is_empty() {
        return None;
    }
    let words = words(trial, [leaf, canopy], stand, &points, wording);
    let full = match &stand.counts {
        Some(counts) => format!("full stand ({} counted)", counts.counted.name()),
        None => GROUPS[PLOT].to_owned(),
    };
    let mut groups: Vec<String> = GROUPS.map(str::to_owned).into();
    if let Some(first) = groups.first_mut() {
        *first = full;
    }
    Some(Figure::Agreement(AgreementFigure {
        across_label: "Sufficiency index, leaf chlorophyll".to_owned(),
        up_label: "Sufficiency index, canopy NDVI".to_owned(),
        unit: None,
        groups,
        group_noun: "groups".to_owned(),
        points,
        threshold: Some((LOW_INDEX, format!("{}: a lower index is low", wording.number(LOW_INDEX, 2)))),
        words,
    }))
}

fn is_low_for_another_cause(stand: &Stand, plot: usize) -> bool {
    stand.low.iter().any(|low| low.plot == plot && low.because == LowBecause::NotNitrogen)
}

fn words(
    trial: &Trial,
    [leaf, canopy]: [&Sensing; 2],
    stand: &Stand,
    points: &[AgreementPoint],
    wording: &Wording,
) -> Words {
    let count = |keep: &dyn Fn(&AgreementPoint) -> bool| points.iter().filter(|point| keep(point)).count();
    let low_canopy = count(&|point| point.up < LOW_INDEX);
    let green = count(&|point| point.up < LOW_INDEX && point.across >= LOW_INDEX);
    let limit = wording.number(LOW_INDEX, 2);
    let thin = stand.counts.as_ref().map_or_else(
        || " The stand was not counted.".to_owned(),
        |counts| {
            let share = wording.number(100.0 * counts.thin_below / counts.full, 0);
            format!(
                " Thin stand: {} below {share} % of the full stand, in {} of these plots.",
                counts.counted.name(),
                count(&|point| point.group == THIN),
            )
        },
    );
    let finding = format!(
        "The canopy sensor reads below {limit} of its N-rich reference on {low_canopy} of {} plots; on {green} of them the leaf meter does \
         not.{thin}",
        points.len(),
    );
    let caption = format!(
        "Sufficiency index of the canopy sensor ({}) against that of the leaf meter ({}) on the same plots, {} ({}, {}, n = {} plots). Index: \
         reading ÷ N-rich reference. Line: both the same; broken lines: {limit}. A thin stand lowers the canopy index, not that of the leaf, so \
         plots below the line and right of the upright broken line read low for another cause than N.{thin}",
        day(canopy.date),
        day(leaf.date),
        trial.site_year(),
        trial.folder,
        trial.design.name().replace('-', " "),
        points.len(),
    );
    Words { title: format!("Canopy sensor against leaf meter, {}", trial.site_year()), caption, finding }
}
