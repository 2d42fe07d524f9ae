//! A season's reports in the units that they are shown in: the same results, each number and unit brought over once, so that whatever is
//! written from them speaks of one unit. Where the units are the programme's every number stays as it is.

mod anova;
mod calibrations;
mod curves;
mod optima;
mod sense;
mod yields;

use serde_json::{Map, Value};

use crate::figures::Wording;
use crate::output::SeasonReports;
use crate::output::numbers::plain;
use crate::stats::interval::Interval;
use crate::trial::Programme;

/// How many of a shown unit one of the programme's makes, with the names of the shown ones.
#[derive(Debug)]
pub(super) struct InUnits<'a> {
    wording: &'a Wording,
    programme: &'a Programme,
    rate: f64,
    yields: f64,
    price_ratio: f64,
}

/// The reports of a season in the units of a wording.
pub(super) fn in_units(reports: &SeasonReports, wording: &Wording, programme: &Programme) -> SeasonReports {
    let units = InUnits {
        wording,
        programme,
        rate: wording.rate(1.0),
        yields: wording.yields(1.0),
        price_ratio: wording.price_ratio(1.0),
    };
    let mut shown = reports.clone();
    units.yields_report(&mut shown.yields);
    units.anova(&mut shown.anova);
    units.curves(&mut shown.curves);
    units.optima(&mut shown.optima);
    units.sense(&mut shown.sense);
    units.calibrations(&mut shown.calibrations);
    shown
}

/// Multiplies what is there.
fn scale<'v>(values: impl IntoIterator<Item = &'v mut Option<f64>>, factor: f64) {
    for value in values.into_iter().flatten() {
        *value *= factor;
    }
}

/// An interval in another unit.
pub(super) fn scale_interval(interval: &mut Interval, factor: f64) {
    scale([&mut interval.estimate, &mut interval.low, &mut interval.high], factor);
    scale(interval.segments.iter_mut().flatten(), factor);
}

impl InUnits<'_> {
    fn rate_unit(&self) -> String {
        self.wording.rate_unit().to_owned()
    }

    fn yield_unit(&self) -> String {
        self.wording.yield_unit().to_owned()
    }

    /// Units that are known stay known.
    fn name_units(&self, rate_unit: &mut Option<String>, yield_unit: &mut Option<String>) {
        *rate_unit = rate_unit.take().map(|_| self.rate_unit());
        *yield_unit = yield_unit.take().map(|_| self.yield_unit());
    }

    fn rate_interval(&self, interval: &mut Option<Interval>) {
        interval.iter_mut().for_each(|interval| scale_interval(interval, self.rate));
    }

    fn yield_interval(&self, interval: &mut Option<Interval>) {
        interval.iter_mut().for_each(|interval| scale_interval(interval, self.yields));
    }

    /// The rates that tell groups apart.
    fn group(&self, group: &mut Map<String, Value>) {
        const RATES: [&str; 3] = ["early_n", "topdress_n", "n"];
        for name in RATES {
            if let Some(value) = group.get_mut(name)
                && let Some(rate) = value.as_f64()
            {
                *value = (rate * self.rate).into();
            }
        }
    }

    /// A level of a factor that is an amount of N.
    fn rate_level(&self, level: &mut String) {
        if self.rate != 1.0
            && let Ok(rate) = level.parse::<f64>()
        {
            *level = plain(rate * self.rate);
        }
    }

    /// What a return of so much in its unit is in the shown one, for one; and that unit.
    fn returns(&self, unit: &str) -> (f64, String) {
        self.wording.returns(1.0, unit)
    }
}
