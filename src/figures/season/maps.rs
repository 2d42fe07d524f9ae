//! Maps of each trial whose plots have a place in the field: by yield, by residual, by the reading of each instrument.

use std::collections::HashMap;

use super::{Material, NamedFigure, day, instrument_name, instrument_title, stage_of};
use crate::experiment::anova::Analysis;
use crate::figures::{FieldMap, Figure, MapPlot, Wording, Words};
use crate::harvest::PlotYield;
use crate::season::{Season, Sensing, TrialResult};
use crate::sensing::choose_date;
use crate::trial::{Excluded, Instrument, Plot, Trial};

/// Plots of a reason that are named; the others are counted.
const NAMED: usize = 6;

/// The maps of every trial; none of a trial without positions.
pub(super) fn figures(material: Material<'_>) -> Vec<NamedFigure> {
    let trials = material.season.programme.trials.iter().zip(&material.season.trials);
    trials.flat_map(|(trial, result)| maps(material, trial, result)).collect()
}

fn maps(material: Material<'_>, trial: &Trial, result: &TrialResult) -> Vec<NamedFigure> {
    let Material { season, wording, .. } = material;
    if trial.plots.iter().all(|plot| plot.position.is_none()) {
        return Vec::new();
    }
    let mut maps = Vec::new();
    let mut add = |what: &str, shown: Shown| {
        if shown.values.iter().any(Result::is_ok) {
            let figure = Figure::Map(map(trial, shown, wording));
            maps.push(NamedFigure { name: format!("{}-map-{what}", trial.folder), figure });
        }
    };
    add("yield", yields(trial, result, wording));
    if let Some(analysis) = analysis(material, trial) {
        add("residual", residuals(trial, result, analysis, wording));
    }
    for instrument in Instrument::ALL {
        if let Some(sensing) = shown_sensing(season, trial, result, instrument) {
            add(instrument.name(), readings(trial, sensing));
        }
    }
    maps
}

/// What a map shows.
struct Shown {
    quantity: String,
    unit: Option<String>,
    decimals: usize,
    is_signed: bool,
    /// What it is in running text.
    words: String,
    /// One a plot: the value, or why there is none.
    values: Vec<Result<f64, String>>,
}

fn yields(trial: &Trial, result: &TrialResult, wording: &Wording) -> Shown {
    let value = |found: &PlotYield| match found {
        PlotYield::Used(value) => Ok(wording.yields(*value)),
        found => Err(why_no_yield(found)),
    };
    Shown {
        quantity: "Yield".to_owned(),
        unit: Some(wording.yield_unit().to_owned()),
        decimals: wording.yield_decimals(),
        is_signed: false,
        words: format!("Yield of each plot, {}", trial.site_year()),
        values: result.harvest.yields.iter().map(value).collect(),
    }
}

fn why_no_yield(found: &PlotYield) -> String {
    match found {
        PlotYield::Excluded(reason) => format!("yield left out: {reason}"),
        _ => "no yield".to_owned(),
    }
}

fn analysis<'a>(material: Material<'a>, trial: &Trial) -> Option<&'a Analysis> {
    let is_own = |key: &[(String, String)]| key.iter().any(|(name, level)| name == "trial" && *level == trial.folder);
    let analysed = material.analysed.iter().find(|analysed| is_own(&analysed.key))?;
    analysed.outcome.as_ref().ok()
}

fn residuals(trial: &Trial, result: &TrialResult, analysis: &Analysis, wording: &Wording) -> Shown {
    let of_plots: HashMap<&str, f64> = analysis
        .assumptions
        .iter()
        .flat_map(|assumptions| &assumptions.residuals)
        .map(|of| (of.name.as_str(), wording.yields(of.residual)))
        .collect();
    let value = |(plot, found): (&Plot, &PlotYield)| {
        let residual = of_plots.get(format!("plot {}", plot.id).as_str()).copied();
        residual.ok_or_else(|| match found {
            PlotYield::Used(_) if plot.is_reference => "N-rich reference, no treatment of the analysis".to_owned(),
            PlotYield::Used(_) => "not in the analysis".to_owned(),
            found => why_no_yield(found),
        })
    };
    Shown {
        quantity: "Residual of the yield".to_owned(),
        unit: Some(wording.yield_unit().to_owned()),
        decimals: wording.yield_decimals(),
        is_signed: true,
        words: format!(
            "Residual of each plot in the analysis of variance of {} (yield minus fitted; blocks and treatments are in what is fitted)",
            trial.site_year()
        ),
        values: trial.plots.iter().zip(&result.harvest.yields).map(value).collect(),
    }
}

/// The readings of the day that a table takes of the trial, otherwise of the last day.
fn shown_sensing<'r>(
    season: &Season,
    trial: &Trial,
    result: &'r TrialResult,
    instrument: Instrument,
) -> Option<&'r Sensing> {
    let mut wanted = season.programme.tables.iter().filter(|table| table.instrument == instrument);
    let date = wanted.find_map(|table| Some(choose_date(trial, table).ok()?.date));
    let mut own = result.sensings.iter().filter(|sensing| sensing.instrument == instrument);
    let chosen = own.clone().find(|sensing| Some(sensing.date) == date);
    chosen.or_else(|| own.next_back())
}

fn readings(trial: &Trial, sensing: &Sensing) -> Shown {
    let of_plots: HashMap<usize, f64> =
        sensing.indices.iter().map(|read| (read.reading.plot, read.reading.mean)).collect();
    let value = |(position, plot): (usize, &Plot)| {
        of_plots.get(&position).copied().ok_or_else(|| match plot.excluded(Excluded::Readings) {
            Some(reason) => format!("readings left out: {reason}"),
            None => "not read".to_owned(),
        })
    };
    let (quantity, decimals) = match sensing.instrument {
        Instrument::CanopyNdvi => (instrument_title(sensing.instrument).to_owned(), 2),
        Instrument::LeafChlorophyll => (format!("{} reading", instrument_title(sensing.instrument)), 1),
    };
    let stage = stage_of(sensing).map_or(String::new(), |stage| format!(", {stage}"));
    Shown {
        quantity,
        unit: None,
        decimals,
        is_signed: false,
        words: format!(
            "Mean {} reading of each plot, {}, {}{stage}",
            instrument_name(sensing.instrument),
            trial.site_year(),
            day(sensing.date)
        ),
        values: trial.plots.iter().enumerate().map(value).collect(),
    }
}

fn map(trial: &Trial, shown: Shown, wording: &Wording) -> FieldMap {
    let placed =
        || trial.plots.iter().zip(&shown.values).filter_map(|(plot, value)| Some((plot, plot.position?, value)));
    let plots: Vec<MapPlot> = placed()
        .map(|(plot, position, value)| MapPlot {
            name: plot.id.clone(),
            row: position.row,
            column: position.column,
            block: plot.block.clone(),
            value: value.as_ref().ok().copied(),
            is_reference: plot.is_reference,
        })
        .collect();
    let mut reasons: Vec<(&str, Vec<&str>)> = Vec::new();
    for (plot, _, value) in placed() {
        let Err(reason) = value else { continue };
        match reasons.iter_mut().find(|(known, _)| known == reason) {
            Some((_, plots)) => plots.push(&plot.id),
            None => reasons.push((reason, vec![&plot.id])),
        }
    }
    let crossed_out = if reasons.is_empty() {
        String::new()
    } else {
        let told = reasons.iter().map(|(reason, plots)| format!("{} ({reason})", list(plots)));
        format!(" Crossed out: {}.", told.collect::<Vec<_>>().join("; "))
    };
    let text = |value: f64| {
        let number = wording.number(value, shown.decimals);
        shown.unit.as_deref().map_or_else(|| number.clone(), |unit| format!("{number} {unit}"))
    };
    let with_value = || plots.iter().filter_map(|plot| Some((plot, plot.value?)));
    let end = |found: Option<(&MapPlot, f64)>| {
        found.map_or_else(String::new, |(plot, value)| {
            format!("{} (plot {}, row {}, column {})", text(value), plot.name, plot.row, plot.column)
        })
    };
    let least = end(with_value().min_by(|a, b| a.1.total_cmp(&b.1)));
    let most = end(with_value().max_by(|a, b| a.1.total_cmp(&b.1)));
    let finding = format!("{}: {} plots, from {least} to {most}.", shown.words, with_value().count());
    let deeper = if shown.is_signed {
        "Shade, mark and sign: plots above and below what was fitted, deeper the further"
    } else {
        "The deeper the shade, the higher the number"
    };
    let caption = format!(
        "{}, at its place in the field ({}, {}, n = {} plots; row 1 at the top). In each plot its name and its number, where they have room. \
         {deeper}. Heavy lines: blocks.{crossed_out}",
        shown.words,
        trial.folder,
        trial.design.name().replace('-', " "),
        with_value().count(),
    );
    let title =
        format!("Field map by {}, {}", shown.quantity.to_lowercase().replace("ndvi", "NDVI"), trial.site_year());
    FieldMap {
        quantity: shown.quantity,
        unit: shown.unit,
        decimals: shown.decimals,
        is_signed: shown.is_signed,
        plots,
        words: Words { title, caption, finding },
    }
}

/// *plot 7*, *plots 7, 8 and 9*, *plots 1, 2, 3, 4, 5, 6 and 9 more*.
fn list(plots: &[&str]) -> String {
    match plots {
        [] => "none".to_owned(),
        [one] => format!("plot {one}"),
        [others @ .., last] if plots.len() <= NAMED => format!("plots {} and {last}", others.join(", ")),
        _ => {
            let (named, others) = plots.split_at(NAMED);
            format!("plots {} and {} more", named.join(", "), others.len())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::list;

    #[test]
    fn plots_without_a_number_are_named_and_then_counted() {
        assert_eq!(list(&["7"]), "plot 7");
        assert_eq!(list(&["7", "8", "9"]), "plots 7, 8 and 9");
        assert_eq!(list(&["1", "2", "3", "4", "5", "6", "7", "8"]), "plots 1, 2, 3, 4, 5, 6 and 2 more");
    }
}
