//! Calibrations as long tables.

use super::calibrate::{
    Aside, CalibrationAt, Calibrations, PerformanceOf, Point, TableCalibration, VerdictOf, need_from_name,
};
use super::calibrate_index::{ConfusionOf, CriticalIndexOf, FeaturesOf, ReliabilityOf};
use super::long::{Long, number, text};
use crate::calibration::Rule;
use crate::files::export::{Cell, Table};
use crate::stats::interval::Interval;

/// What every record of the long table has.
const COLUMNS: [&str; 20] = [
    "table",
    "instrument",
    "price_ratio",
    "price_ratio_unit",
    "record",
    "held_out",
    "site_year",
    "trial",
    "variety",
    "n_on",
    "index",
    "plots",
    "name",
    "quantity",
    "value",
    "low",
    "high",
    "level",
    "unit",
    "status",
];

/// A record; what is not of it stays empty.
#[derive(Clone, Copy, Default)]
struct Record<'a> {
    record: &'a str,
    held_out: Option<&'a str>,
    site_year: Option<&'a str>,
    point: Option<&'a Point>,
    trial: Option<&'a str>,
    plots: Option<usize>,
    name: Option<&'a str>,
    quantity: &'a str,
    value: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    level: Option<f64>,
    unit: Option<&'a str>,
    status: Option<&'a str>,
}

impl<'a> Record<'a> {
    fn of(record: &'a str, name: &'a str, quantity: &'a str, value: impl Into<Option<f64>>) -> Self {
        let name = Some(name).filter(|name| !name.is_empty());
        Self { record, name, quantity, value: value.into(), ..Self::default() }
    }

    fn unit(self, unit: &'a str) -> Self {
        Self { unit: Some(unit), ..self }
    }

    fn status(self, status: Option<&'a str>) -> Self {
        Self { status, ..self }
    }

    fn interval(self, interval: &'a Interval) -> Self {
        Self {
            value: interval.estimate,
            low: interval.low,
            high: interval.high,
            level: Some(interval.level),
            status: interval.reason.as_deref(),
            ..self
        }
    }
}

/// Records of one table at one price ratio.
struct Section<'a> {
    long: &'a mut Long,
    head: [Cell; 4],
}

impl Section<'_> {
    fn add(&mut self, record: Record<'_>) {
        let point = record.point;
        self.long.row(self.head.clone().into_iter().chain([
            record.record.into(),
            text(record.held_out),
            text(record.site_year.or(point.map(|point| point.site_year.as_str()))),
            text(record.trial.or(point.map(|point| point.trial.as_str()))),
            text(point.and_then(|point| point.variety.as_deref())),
            number(point.map(|point| point.n_on)),
            number(point.map(|point| point.index)),
            number(record.plots.or(point.map(|point| point.plots)).map(|plots| plots as f64)),
            text(record.name),
            record.quantity.into(),
            number(record.value),
            number(record.low),
            number(record.high),
            number(record.level),
            text(record.unit),
            text(record.status),
        ]));
    }
}

/// Everything, a value a record.
pub(super) fn long(calibrations: &Calibrations) -> Table {
    let mut long = Long::new(COLUMNS);
    let rate_unit = calibrations.rate_unit.as_str();
    for table in &calibrations.tables {
        let head = |price_ratio: Option<f64>| {
            [
                table.table.as_str().into(),
                table.instrument.into(),
                number(price_ratio),
                text(calibrations.price_ratio_unit.as_deref()),
            ]
        };
        let base = table.base().map(|base| base.price_ratio);
        let mut section = Section { long: &mut long, head: head(base) };
        if let Some(verdict) = &table.verdict {
            verdict_records(&mut section, verdict, table);
        }
        rule_records(&mut section, table, rate_unit);
        for at in &table.at_prices {
            let mut section = Section { long: &mut long, head: head(Some(at.price_ratio)) };
            calibration_records(&mut section, table, at, rate_unit, base == Some(at.price_ratio));
        }
        let mut section = Section { long: &mut long, head: head(base) };
        reliability_records(&mut section, &table.reliability);
        critical_records(&mut section, &table.critical_index);
    }
    for features in &calibrations.features {
        let base = calibrations.tables.iter().find_map(TableCalibration::base).map(|base| base.price_ratio);
        let head =
            [features.of.as_str().into(), text(None), number(base), text(calibrations.price_ratio_unit.as_deref())];
        feature_records(&mut Section { long: &mut long, head }, features, rate_unit);
    }
    long.finish()
}

fn verdict_records(section: &mut Section<'_>, verdict: &VerdictOf, table: &TableCalibration) {
    let record = |quantity, value| Record::of("verdict", verdict.against, quantity, value);
    let gain = record("gain", verdict.gain.estimate).interval(&verdict.gain).unit(&table.return_unit);
    section.add(gain.status(Some(verdict.verdict)));
    section.add(record("p_value", Some(verdict.p_value)));
    section.add(record("site_years", Some(verdict.site_years as f64)));
    section.add(record("more_site_years", verdict.more_site_years.map(|more| more as f64)));
}

fn rule_records(section: &mut Section<'_>, table: &TableCalibration, rate_unit: &str) {
    for validation in &table.validation {
        let mut add = |record: &str, site_year: Option<&str>, rule: &PerformanceOf, status: Option<&str>| {
            for (quantity, value, unit) in [
                ("rate", Some(rule.rate), rate_unit),
                ("rmse", rule.rmse, rate_unit),
                ("bias", rule.bias, rate_unit),
                ("forgone", Some(rule.forgone), table.return_unit.as_str()),
            ] {
                let bound = (quantity == "forgone" && rule.lower_bounds > 0 && rule.rule != Rule::Hindsight.name())
                    .then_some("lower bound");
                let found = Record::of(record, rule.rule, quantity, value).unit(unit).status(bound.or(status));
                section.add(Record { held_out: Some(validation.held_out), site_year, ..found });
            }
        };
        for rule in &validation.rules {
            add("rule", None, rule, None);
        }
        for held_out in &validation.site_years {
            for rule in &held_out.rules {
                add("held-out", Some(&held_out.site_year), rule, held_out.relation);
            }
        }
        for held_out in validation.site_years.iter().filter(|held_out| held_out.rules.is_empty()) {
            let record = Record::of("held-out", "", "forgone", None).status(held_out.reason.as_deref());
            let (by, site_year) = (Some(validation.held_out), Some(held_out.site_year.as_str()));
            section.add(Record { held_out: by, site_year, ..record });
        }
    }
}

fn calibration_records(
    section: &mut Section<'_>,
    table: &TableCalibration,
    at: &CalibrationAt,
    rate_unit: &str,
    is_base: bool,
) {
    for relation in &at.relations {
        let chosen = (Some(relation.kind) == table.relation).then_some("chosen");
        for (name, value) in &relation.coefficients {
            section.add(Record::of("relation", relation.kind, name, *value).status(chosen));
        }
        for (quantity, value) in [("between", relation.between), ("within", relation.within)] {
            if value.is_some() {
                section.add(Record::of("relation", relation.kind, quantity, value).unit(rate_unit).status(chosen));
            }
        }
        if let Some(reason) = &relation.reason {
            section.add(Record::of("relation", relation.kind, "reason", None).status(Some(reason)));
        }
        for tried in table.tried.iter().filter(|tried| is_base && tried.relation == relation.kind) {
            let forgone = Record::of("relation", relation.kind, "forgone", tried.forgone);
            section.add(forgone.unit(&table.return_unit).status(tried.reason.as_deref().or(chosen)));
        }
    }
    for point in &at.points {
        let need = Record::of("point", point.family, "need", point.need).unit(rate_unit).status(Some(point.bound));
        section.add(Record { point: Some(point), low: point.low, high: point.high, ..need });
    }
    for aside in &at.set_aside {
        let record = Record::of("set-aside", "", "need", None).status(Some(&aside.reason));
        section.add(Record { trial: Some(&aside.trial), plots: Some(aside.plots), ..record });
    }
}

fn reliability_records(section: &mut Section<'_>, found: &ReliabilityOf) {
    let record = |name, quantity, value| Record::of("reliability", name, quantity, value);
    section.add(record("", "between_plots", found.between_plots).status(found.reason.as_deref()));
    for (name, share) in [("within-site-years", &found.within_site_years), ("over-all", &found.over_all)] {
        if let Some(share) = share {
            section.add(record(name, "reliability", None).interval(&share.reliability));
            section.add(record(name, "slope_factor", share.slope_factor));
        }
    }
}

fn critical_records(section: &mut Section<'_>, found: &CriticalIndexOf) {
    let record = |name, quantity, value| Record::of("critical-index", name, quantity, value);
    for (quantity, interval) in [("area", &found.area), ("critical_index", &found.critical_index)] {
        match interval {
            Some(interval) => section.add(record("", quantity, None).interval(interval)),
            None => section.add(record("", quantity, None).status(found.reason.as_deref())),
        }
    }
    let mut counts = |name: &str, counts: &ConfusionOf| {
        for (quantity, value) in [
            ("deficient_below", counts.deficient_below),
            ("deficient_above", counts.deficient_above),
            ("sufficient_below", counts.sufficient_below),
            ("sufficient_above", counts.sufficient_above),
        ] {
            section.add(Record::of("critical-index", name, quantity, value as f64));
        }
    };
    if let Some(own) = &found.own {
        counts("own", own);
    }
    if let Some(held_out) = &found.held_out {
        counts("held-out", held_out);
    }
}

fn feature_records(section: &mut Section<'_>, found: &FeaturesOf, rate_unit: &str) {
    if let Some(reason) = &found.reason {
        section.add(Record::of("features", "", "rmse", None).status(Some(reason)));
    }
    for set in &found.sets {
        let name = set.features.join(" + ");
        let status = match (set.earns_its_place, &set.reason) {
            (_, Some(reason)) => Some(reason.as_str()),
            (Some(true), None) => Some("earns its place"),
            _ => None,
        };
        let record = |quantity, value| Record::of("features", &name, quantity, value);
        section.add(record("rmse", set.rmse).unit(rate_unit).status(status));
        section.add(record("bias", set.bias).unit(rate_unit));
        section.add(record("intercept", set.intercept).unit(rate_unit));
        for coefficient in &set.coefficients {
            section.add(record(&coefficient.feature, Some(coefficient.value)));
        }
    }
}

impl Calibrations {
    /// One record a point at each price ratio, and one for what is set aside.
    pub(super) fn points(&self) -> Table {
        let mut long = Long::new([
            "table",
            "instrument",
            "price_ratio",
            "price_ratio_unit",
            "trial",
            "site_year",
            "variety",
            "need_from",
            "n_on",
            "index",
            "plots",
            "need",
            "standard_error",
            "low",
            "high",
            "rate_unit",
            "bound",
            "family",
            "optimum_status",
            "status",
            "reason",
        ]);
        for table in &self.tables {
            for at in &table.at_prices {
                let head = || {
                    [
                        table.table.as_str().into(),
                        table.instrument.into(),
                        number(at.price_ratio),
                        text(self.price_ratio_unit.as_deref()),
                    ]
                };
                for point in &at.points {
                    long.row(head().into_iter().chain(self.point_fields(point)));
                }
                for aside in &at.set_aside {
                    long.row(head().into_iter().chain(self.aside_fields(aside)));
                }
            }
        }
        long.finish()
    }

    fn point_fields(&self, point: &Point) -> [Cell; 17] {
        [
            point.trial.as_str().into(),
            point.site_year.as_str().into(),
            text(point.variety.as_deref()),
            need_from_name(point.need_from).into(),
            number(point.n_on),
            number(point.index),
            point.plots.into(),
            number(point.need),
            number(point.standard_error),
            number(point.low),
            number(point.high),
            self.rate_unit.as_str().into(),
            point.bound.into(),
            point.family.into(),
            point.optimum_status.into(),
            "used".into(),
            text(None),
        ]
    }

    fn aside_fields(&self, aside: &Aside) -> [Cell; 17] {
        [
            aside.trial.as_str().into(),
            text(None),
            text(None),
            text(None),
            number(None),
            number(None),
            aside.plots.into(),
            number(None),
            number(None),
            number(None),
            number(None),
            self.rate_unit.as_str().into(),
            text(None),
            text(None),
            text(None),
            "set-aside".into(),
            aside.reason.as_str().into(),
        ]
    }
}
