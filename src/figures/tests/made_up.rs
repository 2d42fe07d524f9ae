//! Made-up maps, readings, agreements, forgone returns and rates, ordinary and extreme.

use super::demo::{LONG, calibration};
use crate::figures::{
    AgreementFigure, AgreementPoint, Censoring, FieldMap, Figure, ForgoneFigure, ForgoneRow, MapPlot, MarkedIndex,
    RateFigure, RateSteps, ReadingFigure, ReadingMean, ReadingPanel, Step, Words,
};

const LONG_UNIT: &str = "kilograms of nitrogen a hectare, applied";

fn words() -> Words {
    Words { caption: "Made up.".to_owned(), ..Words::default() }
}

/// A map of so many rows and columns, two rows a block; every eleventh plot has no value.
pub(super) fn map(rows: u32, columns: u32, is_signed: bool) -> FieldMap {
    let plot = |place: u32| {
        let (row, column) = (place / columns + 1, place % columns + 1);
        let value = 40.0 + f64::from((place * 7) % 29) - if is_signed { 54.0 } else { 0.0 };
        MapPlot {
            name: format!("{}", 100 * ((row - 1) / 2 + 1) + (row - 1) % 2 * columns + column),
            row,
            column,
            block: Some(format!("{}", (row - 1) / 2 + 1)),
            value: (place % 11 != 5).then_some(value),
            is_reference: column == columns && columns > 1,
        }
    };
    FieldMap {
        quantity: "Yield".to_owned(),
        unit: Some("bu/ac".to_owned()),
        decimals: 1,
        is_signed,
        plots: (0..rows * columns).map(plot).collect(),
        words: words(),
    }
}

/// Readings of so many varieties in so many panels, the last of single plots.
pub(super) fn readings(varieties: usize, panels: usize) -> ReadingFigure {
    let rates = [0.0, 30.0, 60.0, 90.0, 120.0, 150.0, 180.0];
    let mean = |variety: usize, rate: usize| ReadingMean {
        variety,
        n_on: rates[rate],
        mean: 34.0 + 2.0 * rate as f64 + 1.3 * variety as f64,
        deviation: (rate != 3).then_some(0.7 + 0.1 * rate as f64),
        is_reference: rate == 6,
    };
    let all = || (0..varieties).flat_map(|variety| (0..rates.len()).map(move |rate| (variety, rate)));
    let panel = |position: usize| {
        let is_spread = position > 0 && position + 1 == panels;
        ReadingPanel {
            title: format!("Leaf chlorophyll, {} April 2025, Feekes 5", position + 1),
            quantity: "Reading".to_owned(),
            from_zero: is_spread,
            means: if is_spread { Vec::new() } else { all().map(|(variety, rate)| mean(variety, rate)).collect() },
            plots: if is_spread {
                let plots = all().flat_map(|(variety, rate)| (0..4).map(move |plot| (variety, rate, plot)));
                plots.map(|(variety, rate, plot)| (variety, rates[rate], 2.0 + 0.3 * f64::from(plot))).collect()
            } else {
                Vec::new()
            },
            levels: if is_spread {
                vec![(None, 2.5)]
            } else {
                (0..varieties).map(|variety| (Some(variety), 46.0 + 1.3 * variety as f64)).collect()
            },
            level_text: if is_spread { "pooled over the plots" } else { "mean of the N-rich reference" }.to_owned(),
        }
    };
    ReadingFigure {
        rate_unit: Some("lb/ac".to_owned()),
        varieties: (0..varieties).map(|variety| format!("Variety {variety}")).collect(),
        panels: (0..panels).map(panel).collect(),
        words: words(),
    }
}

/// Needs of so many site-years, five points each.
pub(super) fn agreement(site_years: usize) -> AgreementFigure {
    let point = |(group, k): (usize, usize)| {
        let across = 20.0 * k as f64 - 15.0 + ((group * 7) % 9) as f64;
        let censored = match (k, group % 3) {
            (0, 1) => Censoring::AtMost,
            (4, 0) => Censoring::AtLeast,
            _ => Censoring::None,
        };
        AgreementPoint { across, up: across + ((group * 5 + k * 3) % 13) as f64 - 6.0, censored, group }
    };
    AgreementFigure {
        across_label: "Observed N need".to_owned(),
        up_label: "Predicted N need".to_owned(),
        unit: Some("lb/ac".to_owned()),
        groups: (0..site_years).map(|site| format!("Upper Terrace {}", 1960 + site)).collect(),
        group_noun: "site-years".to_owned(),
        points: (0..site_years).flat_map(|group| (0..5).map(move |k| (group, k))).map(point).collect(),
        threshold: None,
        words: words(),
    }
}

/// What five rules forgo in so many site-years.
pub(super) fn forgone(site_years: usize) -> ForgoneFigure {
    let row = |site: usize| ForgoneRow {
        name: format!("Upper Terrace {}", 1960 + site),
        forgone: (0..5)
            .map(|rule| (rule != 4 || site.is_multiple_of(2)).then_some(3.0 + ((site * 7 + rule * 5) % 23) as f64))
            .collect(),
        is_lower_bound: site % 4 == 1,
    };
    ForgoneFigure {
        unit: "USD/ac".to_owned(),
        rules: ["sensor", "best given early N", "best total", "best single topdress", "standard topdress"]
            .map(str::to_owned)
            .into(),
        rows: (0..site_years).map(row).collect(),
        mean: Some(ForgoneRow { name: "mean".to_owned(), is_lower_bound: true, ..row(0) }),
        words: words(),
    }
}

/// A table of so many rows.
pub(super) fn rates(rows: u32) -> RateFigure {
    let step = |position: u32| {
        let from = 0.7 + 0.3 * f64::from(position) / f64::from(rows);
        let rate = 120.0 * (1.0 - f64::from(position) / f64::from(rows));
        Step {
            from,
            below: 0.7 + 0.3 * f64::from(position + 1) / f64::from(rows),
            rate,
            low: Some((rate - 15.0).max(0.0)),
            high: (position > 0).then_some(rate + 20.0),
            new_site_years: Some([(rate - 40.0).max(0.0), rate + 45.0]),
            support: Some([position + 2, 40 + 7 * position]),
        }
    };
    RateFigure {
        index_label: "Sufficiency index, leaf chlorophyll".to_owned(),
        rate_unit: "lb/ac".to_owned(),
        table: RateSteps {
            label: "leaf-jointing, harvests 2023 to 2025, price ratio 0.1 bu per lb N".to_owned(),
            steps: (0..rows).map(step).collect(),
        },
        earlier: None,
        interval_text: "95 % interval of the return-maximising rate".to_owned(),
        range_text: "holds the optima of 90 % of new site-years".to_owned(),
        words: words(),
    }
}

/// Needs with a critical index, its interval open below where asked.
pub(super) fn with_critical_index(site_years: usize, low: Option<f64>) -> crate::figures::CalibrationFigure {
    let critical = MarkedIndex {
        index: 0.93,
        low,
        high: Some(0.97),
        label: "critical index 0.93 (95 %: 0.90 to 0.97)".to_owned(),
    };
    crate::figures::CalibrationFigure { critical: Some(critical), ..calibration(site_years) }
}

/// Every kind, ordinary and extreme.
pub(super) fn all() -> Vec<(String, Figure)> {
    let mut all: Vec<(String, Figure)> = Vec::new();
    let mut add = |name: &str, figure: Figure| all.push((name.to_owned(), figure));

    for (rows, columns) in [(1, 1), (4, 7), (8, 13), (20, 20), (4, 100), (100, 3), (1, 60)] {
        for is_signed in [false, true] {
            add(&format!("map, {rows} × {columns}, {is_signed}"), Figure::Map(map(rows, columns, is_signed)));
        }
    }
    let mut long = map(4, 7, false);
    (long.quantity, long.unit) = (LONG.to_owned(), Some(LONG_UNIT.to_owned()));
    long.plots.iter_mut().for_each(|plot| plot.name = format!("{}, {LONG}", plot.name));
    add("map, long names", Figure::Map(long));
    for (name, factor, shift) in
        [("alike", 0.0, 60.0), ("tiny", 1e-9, 60.0), ("huge", 1e9, 0.0), ("below zero", 1.0, -900.0)]
    {
        let mut scaled = map(4, 7, name == "huge");
        scaled.plots.iter_mut().for_each(|plot| plot.value = plot.value.map(|value| value * factor + shift));
        add(&format!("map, {name}"), Figure::Map(scaled));
    }
    let mut empty = map(3, 3, false);
    empty.plots.iter_mut().for_each(|plot| (plot.value, plot.block) = (None, None));
    empty.plots.retain(|plot| plot.row != 2);
    add("map, nothing measured", Figure::Map(empty));

    for (varieties, panels) in [(1, 1), (1, 2), (2, 4), (3, 8), (13, 3)] {
        add(&format!("readings, {varieties}, {panels}"), Figure::Readings(readings(varieties, panels)));
    }
    let mut long = readings(2, 3);
    long.rate_unit = Some(LONG_UNIT.to_owned());
    long.varieties.iter_mut().for_each(|name| *name = LONG.to_owned());
    for panel in &mut long.panels {
        (panel.title, panel.quantity, panel.level_text) = (LONG.to_owned(), LONG.to_owned(), LONG.to_owned());
    }
    add("readings, long names", Figure::Readings(long));
    for (name, factor) in [("tiny", 1e-9), ("huge", 1e9)] {
        let mut scaled = readings(2, 2);
        for panel in &mut scaled.panels {
            for mean in &mut panel.means {
                (mean.mean, mean.n_on) = (mean.mean * factor, mean.n_on * factor.clamp(1e-3, 1e5));
            }
            panel.levels.clear();
        }
        add(&format!("readings, {name}"), Figure::Readings(scaled));
    }
    let mut one = readings(1, 1);
    one.panels[0].means.truncate(1);
    one.varieties = vec![String::new()];
    add("readings, one mean", Figure::Readings(one));

    for site_years in [1, 9, 12, 60] {
        add(&format!("agreement, {site_years}"), Figure::Agreement(agreement(site_years)));
    }
    let mut long = agreement(9);
    (long.across_label, long.up_label, long.unit) = (LONG.to_owned(), LONG.to_owned(), Some(LONG_UNIT.to_owned()));
    long.groups.iter_mut().for_each(|group| *group = format!("{group}, {LONG}"));
    long.threshold = Some((40.0, LONG.to_owned()));
    add("agreement, long names", Figure::Agreement(long));
    for (name, factor, shift) in [("tiny", 1e-9, 0.9), ("huge", 1e9, 0.0), ("one point", 0.0, 0.95)] {
        let mut scaled = agreement(3);
        for point in &mut scaled.points {
            (point.across, point.up) = (point.across * factor + shift, point.up * factor + shift);
        }
        if factor == 0.0 {
            scaled.points.truncate(1);
        }
        scaled.threshold = Some((0.95, "0.95".to_owned()));
        add(&format!("agreement, {name}"), Figure::Agreement(scaled));
    }

    for site_years in [1, 9, 16, 60] {
        add(&format!("forgone, {site_years}"), Figure::Forgone(forgone(site_years)));
    }
    let mut long = forgone(5);
    long.unit = LONG_UNIT.to_owned();
    long.rows.iter_mut().for_each(|row| row.name = format!("{}, {LONG}", row.name));
    long.rules.iter_mut().for_each(|rule| *rule = format!("{rule}, {LONG}"));
    add("forgone, long names", Figure::Forgone(long));
    for (name, factor) in [("tiny", 1e-9), ("huge", 1e9), ("none", 0.0), ("below zero", -0.1)] {
        let mut scaled = forgone(4);
        for forgone in scaled.rows.iter_mut().chain(&mut scaled.mean).flat_map(|row| row.forgone.iter_mut().flatten()) {
            *forgone *= factor;
        }
        add(&format!("forgone, {name}"), Figure::Forgone(scaled));
    }

    for rows in [1, 6, 12, 30, 60] {
        add(&format!("rates, {rows}"), Figure::Rates(rates(rows)));
    }
    let mut crowded = rates(12);
    crowded.table.steps.iter_mut().for_each(|step| step.support = Some([60, 123_456]));
    add("rates, large support", Figure::Rates(crowded));
    let mut wide = rates(6);
    wide.table.steps.iter_mut().for_each(|step| step.new_site_years = Some([0.0, 1e9]));
    add("rates, wide ranges", Figure::Rates(wide));

    add("critical index", Figure::Calibration(with_critical_index(9, Some(0.90))));
    add("critical index, open", Figure::Calibration(with_critical_index(12, None)));
    let mut long = with_critical_index(3, Some(0.2));
    long.critical.iter_mut().for_each(|critical| critical.label = LONG.to_owned());
    add("critical index, long label", Figure::Calibration(long));
    all
}
