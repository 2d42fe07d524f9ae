//! The figures of the demo's season show the season's numbers, in the units asked for.

use approx::assert_relative_eq;
use stook::calibration::{HoldOut, Rule};
use stook::figures::{
    Censoring, Figure, NamedFigure, UnitSystem, Wording, WordingOptions, rate_figure, season_figures,
};
use stook::season::Season;
use stook::trial::{Instrument, Trial};

use crate::programme::demo;

/// The pound and the acre (NIST SP 811).
const KG_HA: f64 = 1.120_851_156;
/// A product of at most three factors is exact to a few units in the last place; the factors above have ten digits.
const FACTOR_DIGITS: f64 = 1e-9;

fn figures(units: UnitSystem) -> Vec<NamedFigure> {
    let season = demo();
    let wording = Wording::new(&season.programme, WordingOptions { units, ..WordingOptions::default() }).unwrap();
    season_figures(season, &season.analyses().unwrap(), &wording)
}

fn named<'f>(figures: &'f [NamedFigure], name: &str) -> &'f Figure {
    let found = figures.iter().find(|figure| figure.name == name);
    &found.unwrap_or_else(|| panic!("no {name} among {:?}", names(figures))).figure
}

fn names(figures: &[NamedFigure]) -> Vec<&str> {
    figures.iter().map(|figure| figure.name.as_str()).collect()
}

fn trial(season: &'static Season, folder: &str) -> (usize, &'static Trial) {
    let found = season.programme.trials.iter().enumerate().find(|(_, trial)| trial.folder == folder);
    found.unwrap()
}

#[test]
fn only_trials_whose_plots_have_a_place_have_maps_and_these_show_yields_residuals_and_readings() {
    let figures = figures(UnitSystem::Programme);
    let maps: Vec<&str> = names(&figures).into_iter().filter(|name| name.contains("-map-")).collect();
    let expected = ["chalk-rise-2024", "osier-bend-2025"].map(|trial| {
        ["yield", "residual", "canopy-ndvi", "leaf-chlorophyll"].map(|what| format!("{trial}-map-{what}"))
    });
    assert_eq!(maps, expected.concat());
    let season = demo();
    let (position, trial) = trial(season, "osier-bend-2025");
    let result = &season.trials[position];
    let Figure::Map(map) = named(&figures, "osier-bend-2025-map-yield") else { panic!("a map") };
    assert_eq!(map.plots.len(), trial.plots.len());
    for ((shown, plot), yields) in map.plots.iter().zip(&trial.plots).zip(&result.harvest.yields) {
        let place = plot.position.unwrap();
        assert_eq!((&shown.name, shown.row, shown.column), (&plot.id, place.row, place.column));
        assert_eq!((&shown.block, shown.value), (&plot.block, yields.used()));
    }
    // 219 stood in water; it is crossed out and the caption says why.
    let spoilt = map.plots.iter().find(|plot| plot.name == "219").unwrap();
    assert_eq!(spoilt.value, None);
    assert!(map.words.caption.contains("plot 219 (yield left out: standing water)"), "{}", map.words.caption);
    let Figure::Map(map) = named(&figures, "osier-bend-2025-map-residual") else { panic!("a map") };
    let sum: f64 = map.plots.iter().filter_map(|plot| plot.value).sum();
    assert!(map.is_signed && sum.abs() < 1e-6, "residuals sum to nothing: {sum}");
    let Figure::Map(map) = named(&figures, "osier-bend-2025-map-leaf-chlorophyll") else { panic!("a map") };
    let sensing = result.sensings.iter().find(|sensing| sensing.instrument == Instrument::LeafChlorophyll).unwrap();
    for read in &sensing.indices {
        assert_eq!(map.plots[read.reading.plot].value, Some(read.reading.mean));
    }
}

#[test]
fn readings_are_means_and_deviations_over_the_plots_of_a_treatment() {
    let figures = figures(UnitSystem::International);
    let season = demo();
    let (position, trial) = trial(season, "chalk-rise-2024");
    let Figure::Readings(figure) = named(&figures, "chalk-rise-2024-readings") else { panic!("readings") };
    let sensing = season.trials[position].sensings.last().unwrap();
    assert_eq!(sensing.instrument, Instrument::LeafChlorophyll);
    // The plots that got 60 lb/ac, by hand.
    let own: Vec<f64> = sensing
        .indices
        .iter()
        .filter(|read| {
            trial.n_already_on(&trial.plots[read.reading.plot], sensing.date, season.programme.units.n_rate) == 60.0
        })
        .map(|read| read.reading.mean)
        .collect();
    let mean = own.iter().sum::<f64>() / own.len() as f64;
    let deviation = (own.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (own.len() - 1) as f64).sqrt();
    let panel = figure.panels.iter().rfind(|panel| !panel.means.is_empty()).unwrap();
    let shown = panel.means.iter().find(|shown| (shown.n_on - 60.0 * KG_HA).abs() < 1e-3).unwrap();
    assert_eq!(own.len(), 4);
    assert_relative_eq!(shown.mean, mean, max_relative = FACTOR_DIGITS);
    assert_relative_eq!(shown.deviation.unwrap(), deviation, max_relative = FACTOR_DIGITS);
    let spread = figure.panels.last().unwrap();
    assert_eq!(spread.plots.len(), sensing.indices.len());
    assert_relative_eq!(spread.levels[0].1, sensing.study.components.as_ref().unwrap().within.sqrt());
}

#[test]
fn thin_plots_read_low_by_the_canopy_and_not_by_the_leaf() {
    let figures = figures(UnitSystem::Programme);
    let Figure::Agreement(figure) = named(&figures, "chalk-rise-2024-leaf-canopy") else { panic!("an agreement") };
    let thin = figure.groups.iter().position(|group| group == "thin stand").unwrap();
    let thin: Vec<_> = figure.points.iter().filter(|point| point.group == thin).collect();
    // Frost heave thinned three of four blocks, all but their N-rich plots.
    assert_eq!(thin.len(), 18);
    let below = thin.iter().filter(|point| point.up < point.across).count();
    assert!(below > 15, "{below} of 18 below the line");
}

#[test]
fn validation_and_forgone_returns_are_those_of_held_out_site_years() {
    let figures = figures(UnitSystem::International);
    let season = demo();
    let result = season.tables.iter().find(|table| table.specification.name == "leaf-jointing").unwrap();
    let validation = result.derived.validations.iter().find(|validation| validation.by == HoldOut::SiteYear).unwrap();
    let Figure::Agreement(figure) = named(&figures, "leaf-jointing-validation") else { panic!("an agreement") };
    let predictions: Vec<_> = validation.held_out.iter().flat_map(|held_out| &held_out.predictions).collect();
    assert_eq!(figure.points.len(), predictions.len());
    for (shown, prediction) in figure.points.iter().zip(&predictions) {
        assert_relative_eq!(shown.across, KG_HA * prediction.point.need, max_relative = FACTOR_DIGITS);
        assert_relative_eq!(shown.up, KG_HA * prediction.need, max_relative = FACTOR_DIGITS);
    }
    assert!(
        figure.points.iter().any(|point| point.censored == Censoring::AtLeast),
        "Chalk Rise 2023 was not satisfied"
    );
    let Figure::Forgone(figure) = named(&figures, "leaf-jointing-forgone") else { panic!("forgone returns") };
    let unit_factor = 1.0 / 0.404_685_642_24;
    for (row, held_out) in figure.rows.iter().zip(&validation.held_out) {
        assert_eq!(row.name, held_out.site_year);
        let sensor = held_out.forgone(Rule::Sensor).unwrap() * result.derived.return_factor * unit_factor;
        assert_relative_eq!(row.forgone[0].unwrap(), sensor, max_relative = FACTOR_DIGITS);
    }
    let mean = validation.performance(Rule::Standard).unwrap().forgone * result.derived.return_factor * unit_factor;
    let standard = figure.rules.iter().position(|rule| rule == "standard topdress").unwrap();
    assert_relative_eq!(figure.mean.as_ref().unwrap().forgone[standard].unwrap(), mean, max_relative = FACTOR_DIGITS);
    assert_eq!(figure.unit, "USD/ha");
}

#[test]
fn the_rates_are_those_of_the_table_and_an_earlier_one_stands_beside_them() {
    let figures = figures(UnitSystem::Programme);
    let season = demo();
    let tables: Vec<_> = season.tables.iter().map(|result| result.derived.table.as_ref().unwrap()).collect();
    let Figure::Rates(figure) = named(&figures, "canopy-jointing-rates") else { panic!("rates") };
    let rows = &tables[0].document().rows;
    let rated: Vec<_> = rows.iter().filter(|row| row.rates[0].rate.is_some()).collect();
    assert_eq!(figure.table.steps.len(), rated.len());
    for (step, row) in figure.table.steps.iter().zip(rated) {
        let interval = &row.rates[0].interval.as_ref().unwrap().interval;
        let range = &row.rates[0].new_site_years.as_ref().unwrap().interval;
        assert_eq!((Some(step.rate), step.low, step.high), (row.rates[0].rate, interval.low, interval.high));
        assert_eq!(step.new_site_years, range.low.zip(range.high).map(|(low, high)| [low, high]));
        assert_eq!(step.support, Some([row.support.site_years, row.support.plots]));
    }
    assert!(figure.earlier.is_none());
    let Figure::Rates(both) = rate_figure(tables[0], Some(tables[1]), None) else { panic!("rates") };
    let earlier = both.earlier.unwrap();
    assert_eq!(both.table.steps.len(), figure.table.steps.len());
    assert!(earlier.label.starts_with("old: leaf-jointing, harvests 2023 to 2025"), "{}", earlier.label);
    assert!(
        both.table.steps.iter().all(|step| step.new_site_years.is_none()),
        "ranges of two tables would hide each other"
    );
}

#[test]
fn the_calibration_marks_the_critical_index_of_its_classifier() {
    let figures = figures(UnitSystem::Programme);
    for result in &demo().tables {
        let name = format!("{}-calibration", result.specification.name);
        let Figure::Calibration(figure) = named(&figures, &name) else { panic!("a calibration") };
        let critical = result.classifier.as_ref().unwrap().critical.as_ref().unwrap();
        let shown = figure.critical.as_ref().unwrap();
        assert_eq!(Some(shown.index), critical.index.estimate);
        assert_eq!((shown.low, shown.high), (critical.index.low, critical.index.high));
    }
}
