//! Yields and N in the grain. The fields in kg and ha stay: they say so in their names.

use super::{InUnits, scale};
use crate::output::{MeanOf, NitrogenOfPlot, TreatmentYields, YieldOfPlot, Yields};

impl InUnits<'_> {
    pub(super) fn yields_report(&self, yields: &mut Yields) {
        yields.yield_unit = self.yield_unit();
        yields.rate_unit = self.rate_unit();
        if (self.rate, self.yields) != (1.0, 1.0) {
            yields.efficiency_unit = format!("({})/({})", self.yield_unit(), self.rate_unit());
        }
        for trial in &mut yields.trials {
            scale([&mut trial.manure_credit], self.rate);
            trial.treatments.iter_mut().for_each(|treatment| self.treatment(treatment));
            trial.plots.iter_mut().for_each(|plot| self.plot(plot));
        }
    }

    fn treatment(&self, treatment: &mut TreatmentYields) {
        self.group(&mut treatment.treatment);
        let efficiency = self.yields / self.rate;
        mean(&mut treatment.yields, self.yields);
        treatment.yield_with_excluded.iter_mut().for_each(|with| mean(with, self.yields));
        for amount in [&mut treatment.n_applied, &mut treatment.grain_n, &mut treatment.n_surplus] {
            mean(amount, self.rate);
        }
        for ratio in [
            &mut treatment.partial_factor_productivity,
            &mut treatment.agronomic_efficiency,
            &mut treatment.physiological_efficiency,
        ] {
            mean(ratio, efficiency);
        }
    }

    fn plot(&self, plot: &mut YieldOfPlot) {
        scale([&mut plot.value, &mut plot.excluded_yield], self.yields);
        let NitrogenOfPlot {
            n_applied,
            n_planned,
            grain_n,
            n_surplus,
            partial_factor_productivity,
            agronomic_efficiency,
            physiological_efficiency,
            zero_n_yield,
            zero_n_grain_n,
            ..
        } = &mut plot.nitrogen;
        *n_applied *= self.rate;
        *n_planned *= self.rate;
        scale([grain_n, n_surplus], self.rate);
        let efficiency = self.yields / self.rate;
        scale([partial_factor_productivity, agronomic_efficiency, physiological_efficiency], efficiency);
        zero_n_yield.iter_mut().for_each(|zero| zero.mean *= self.yields);
        zero_n_grain_n.iter_mut().for_each(|zero| zero.mean *= self.rate);
    }
}

fn mean(of: &mut MeanOf, factor: f64) {
    scale([&mut of.mean, &mut of.sd], factor);
}
