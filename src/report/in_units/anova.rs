//! Analyses of variance. A log-likelihood and its criteria are left as they are: nothing is written from them.

use serde_json::Value;

use super::{InUnits, scale, scale_interval};
use crate::output::{AnalysisOf, Anova, ComparisonsOf, MeansOf};

impl InUnits<'_> {
    pub(super) fn anova(&self, anova: &mut Anova) {
        anova.analyses.iter_mut().for_each(|analysis| self.analysis(analysis));
    }

    fn analysis(&self, analysis: &mut AnalysisOf) {
        self.group(&mut analysis.group);
        self.name_units(&mut analysis.rate_unit, &mut analysis.yield_unit);
        let squared = self.yields * self.yields;
        scale([&mut analysis.grand_mean], self.yields);
        for row in analysis.tables.iter_mut().flat_map(|table| &mut table.rows) {
            scale([&mut row.ss, &mut row.ms], squared);
        }
        analysis.strata.iter_mut().for_each(|stratum| scale([&mut stratum.mean_square], squared));
        let rates = std::mem::take(&mut analysis.rate_factors);
        analysis.means.iter_mut().for_each(|means| self.means(means, &rates));
        analysis.comparisons.iter_mut().for_each(|family| self.comparisons(family, &rates));
        analysis.rate_factors = rates;
        analysis.components.iter_mut().for_each(|component| scale_interval(&mut component.variance, squared));
        for prediction in &mut analysis.predictions {
            let values = [&mut prediction.predicted, &mut prediction.deviation, &mut prediction.standard_deviation];
            scale(values, self.yields);
        }
        if let Some(variances) = &mut analysis.error_variances {
            variances.site_years.iter_mut().for_each(|of| scale([&mut of.mean_square], squared));
        }
        for residual in analysis.assumptions.iter_mut().flat_map(|found| &mut found.residuals) {
            scale([&mut residual.fitted, &mut residual.residual], self.yields);
        }
    }

    /// Levels of the factors that are amounts of N.
    fn levels(&self, factors: &[String], levels: &mut [String], rates: &[String]) {
        for (factor, level) in factors.iter().zip(levels) {
            if rates.contains(factor) {
                self.rate_level(level);
            }
        }
    }

    fn means(&self, means: &mut MeansOf, rates: &[String]) {
        for mean in &mut means.means {
            self.levels(&means.factors, &mut mean.levels, rates);
            scale([&mut mean.mean, &mut mean.standard_error], self.yields);
            self.yield_interval(&mut mean.interval);
        }
    }

    fn comparisons(&self, family: &mut ComparisonsOf, rates: &[String]) {
        let ComparisonsOf { factors, within, levels, sed, pairs, procedures, .. } = family;
        levels.iter_mut().for_each(|levels| self.levels(factors, levels, rates));
        for (factor, level) in within.iter_mut() {
            if rates.contains(factor)
                && let Value::String(level) = level
            {
                self.rate_level(level);
            }
        }
        if let Some(over) = sed {
            scale([&mut over.mean, &mut over.lowest, &mut over.highest], self.yields);
        }
        for pair in pairs {
            self.levels(factors, &mut pair.first, rates);
            self.levels(factors, &mut pair.second, rates);
            scale([&mut pair.difference, &mut pair.standard_error], self.yields);
        }
        procedures.iter_mut().for_each(|of| scale([&mut of.least_significant_difference], self.yields));
    }
}
