//! Calibrations: needs and rates in the rate unit, what is forgone in the unit of returns.

use super::{InUnits, scale, scale_interval};
use crate::calibration::shortfall::Power;
use crate::output::{
    CalibrationAt, Calibrations, FeaturesOf, PerformanceOf, Point, RelationOf, TableCalibration, ValidationOf,
};

impl InUnits<'_> {
    pub(super) fn calibrations(&self, calibrations: &mut Calibrations) {
        calibrations.rate_unit = self.rate_unit();
        calibrations.price_ratio_unit =
            calibrations.price_ratio_unit.take().map(|_| self.wording.price_ratio_unit().to_owned());
        calibrations.tables.iter_mut().for_each(|table| self.table(table));
        calibrations.features.iter_mut().for_each(|features| self.features(features));
    }

    fn table(&self, table: &mut TableCalibration) {
        let (returns, unit) = self.returns(&table.return_unit);
        table.return_unit = unit;
        table.tried.iter_mut().for_each(|tried| scale([&mut tried.forgone], returns));
        table.at_prices.iter_mut().for_each(|at| self.calibration(at));
        table.validation.iter_mut().for_each(|validation| self.validation(validation, returns));
        table.verdict.iter_mut().for_each(|verdict| scale_interval(&mut verdict.gain, returns));
        table.critical_index.threshold *= self.rate;
    }

    fn calibration(&self, at: &mut CalibrationAt) {
        at.price_ratio *= self.price_ratio;
        at.points.iter_mut().for_each(|point| self.point(point));
        at.relations.iter_mut().for_each(|relation| self.relation(relation));
    }

    fn point(&self, point: &mut Point) {
        point.n_on *= self.rate;
        point.need *= self.rate;
        let further =
            [&mut point.standard_error, &mut point.low, &mut point.high, &mut point.known_low, &mut point.known_high];
        scale(further, self.rate);
    }

    /// Coefficients are needs for an index without a unit, but for the loss of yield by a power of the shortfall.
    fn relation(&self, relation: &mut RelationOf) {
        scale([&mut relation.between, &mut relation.within], self.rate);
        let cubed = relation.coefficients.get("loss_power") == Some(&3.0);
        let power = if cubed { Power::Cube } else { Power::Square };
        let loss = self.yields / self.rate.powi(i32::from(power.exponent()));
        for (name, value) in &mut relation.coefficients {
            *value *= match *name {
                "loss" => loss,
                "shape" | "loss_power" | "lowest_s" | "knot_1" | "knot_2" | "knot_3" | "highest_s" => 1.0,
                _ => self.rate,
            };
        }
    }

    fn validation(&self, validation: &mut ValidationOf, returns: f64) {
        validation.rules.iter_mut().for_each(|rule| self.performance(rule, returns));
        for held_out in &mut validation.site_years {
            held_out.rules.iter_mut().for_each(|rule| self.performance(rule, returns));
            for prediction in &mut held_out.predictions {
                self.point(&mut prediction.point);
                prediction.need *= self.rate;
                for rule in &mut prediction.rules {
                    rule.rate *= self.rate;
                    rule.forgone *= returns;
                }
            }
        }
    }

    fn performance(&self, rule: &mut PerformanceOf, returns: f64) {
        rule.rate *= self.rate;
        rule.forgone *= returns;
        scale([&mut rule.rmse, &mut rule.bias], self.rate);
    }

    fn features(&self, features: &mut FeaturesOf) {
        let own = self.programme.units.n_rate.to_string();
        let is_rate = |name: &str, features: &FeaturesOf| {
            features.features.iter().any(|feature| feature.name == name && feature.unit.as_deref() == Some(&own))
        };
        let rates: Vec<String> = features
            .features
            .iter()
            .filter(|feature| is_rate(&feature.name, features))
            .map(|feature| feature.name.clone())
            .collect();
        for feature in features.features.iter_mut().filter(|feature| rates.contains(&feature.name)) {
            feature.unit = Some(self.rate_unit());
        }
        for set in &mut features.sets {
            scale([&mut set.intercept, &mut set.rmse, &mut set.bias], self.rate);
            scale([&mut set.gain, &mut set.gain_standard_error], self.rate * self.rate);
            // A rate for a rate has no unit.
            for coefficient in set.coefficients.iter_mut().filter(|of| !rates.contains(&of.feature)) {
                coefficient.value *= self.rate;
                coefficient.standard_error *= self.rate;
            }
        }
    }
}
