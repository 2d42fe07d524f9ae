//! Response curves.

use super::{InUnits, scale};
use crate::output::{Coefficients, CurveGroup, Curves, FactorTests, FamilyCurve, OptimumOf};
use crate::response::{Disagreement, StandardErrors};

impl InUnits<'_> {
    pub(super) fn curves(&self, curves: &mut Curves) {
        curves.groups.iter_mut().for_each(|group| self.curve_group(group));
        for FactorTests { group, factor, levels, .. } in &mut curves.factor_tests {
            self.group(group);
            if factor == "early_n" {
                levels.iter_mut().for_each(|level| self.rate_level(level));
            }
        }
    }

    fn curve_group(&self, group: &mut CurveGroup) {
        self.group(&mut group.group);
        self.name_units(&mut group.rate_unit, &mut group.yield_unit);
        for mean in &mut group.means {
            mean.rate *= self.rate;
            mean.mean *= self.yields;
            scale([&mut mean.standard_error], self.yields);
        }
        let observations = group.n;
        group.curves.iter_mut().for_each(|curve| self.family(curve, observations));
        if let Some(found) = &mut group.diagnostics {
            if let Some(furthest) = &mut found.furthest {
                furthest.rate *= self.rate;
                furthest.residual *= self.yields;
            }
            for residual in &mut found.residuals {
                residual.rate *= self.rate;
                residual.residual *= self.yields;
            }
        }
        group.disagreement.iter_mut().for_each(|found| self.disagreement(found));
        if let Some(refitted) = &mut group.with_excluded {
            self.coefficients(&mut refitted.coefficients);
            refitted.optimum.iter_mut().for_each(|optimum| self.optimum(&mut optimum.optimum));
        }
    }

    fn family(&self, curve: &mut FamilyCurve, observations: usize) {
        self.coefficients(&mut curve.coefficients);
        self.standard_errors(&mut curve.standard_errors);
        scale([&mut curve.rss], self.yields * self.yields);
        scale([&mut curve.sigma], self.yields);
        // A likelihood is a density of yields: in another unit its logarithm moves by the same for all families.
        let moved = 2.0 * observations as f64 * self.yields.ln();
        for criterion in [&mut curve.aic, &mut curve.aicc, &mut curve.bic].into_iter().flatten() {
            *criterion += moved;
        }
        if let Some(test) = &mut curve.lack_of_fit {
            test.ss *= self.yields * self.yields;
        }
        if let Some(best) = &mut curve.best_rate {
            best.price_ratio *= self.price_ratio;
            scale([&mut best.rate], self.rate);
        }
        self.rate_interval(&mut curve.join);
        self.yield_interval(&mut curve.plateau);
        self.rate_interval(&mut curve.aonr);
    }

    pub(super) fn coefficients(&self, found: &mut Coefficients) {
        let Coefficients { intercept, slope, curvature, plateau, root, rise, rate_constant } = found;
        scale([intercept, plateau, rise], self.yields);
        scale([slope], self.yields / self.rate);
        scale([curvature], self.yields / (self.rate * self.rate));
        scale([root], self.yields / self.rate.sqrt());
        scale([rate_constant], 1.0 / self.rate);
    }

    fn standard_errors(&self, found: &mut StandardErrors) {
        let StandardErrors { intercept, slope, curvature, plateau, root, rise, rate_constant, join, aonr, by_side } =
            found;
        scale([intercept, plateau, rise], self.yields);
        scale([slope], self.yields / self.rate);
        scale([curvature], self.yields / (self.rate * self.rate));
        scale([root], self.yields / self.rate.sqrt());
        scale([rate_constant], 1.0 / self.rate);
        scale([join, aonr], self.rate);
        by_side.iter_mut().flat_map(|sides| sides.iter_mut()).for_each(|side| self.standard_errors(side));
    }

    pub(super) fn disagreement(&self, found: &mut Disagreement) {
        for optimum in [&mut found.lowest, &mut found.highest] {
            optimum.rate *= self.rate;
        }
        found.by_how_much *= self.rate;
    }

    pub(super) fn optimum(&self, found: &mut OptimumOf) {
        scale([&mut found.rate, &mut found.low, &mut found.high], self.rate);
        scale(found.segments.iter_mut().flatten(), self.rate);
    }
}
