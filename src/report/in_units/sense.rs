//! Readings: the N that is on, and what depends on it. Readings and indices have no unit to change.

use super::{InUnits, scale, scale_interval};
use crate::output::Sense;
use crate::output::sense_study::{
    AgainstOthers, CrowdingOf, PER_SQUARE_FOOT, PER_SQUARE_METRE, SQUARE_METRES_PER_SQUARE_FOOT, SlopeOf, StandOf,
};

impl InUnits<'_> {
    pub(super) fn sense(&self, sense: &mut Sense) {
        sense.rate_unit = self.rate_unit();
        for sensing in &mut sense.sensings {
            for reference in &mut sensing.references {
                self.against(&mut reference.by_reading);
                reference.by_yield.iter_mut().for_each(|yields| {
                    yields.reference *= self.yields;
                    self.against(yields);
                });
            }
            for CrowdingOf { lower, upper, leaf_upper, .. } in &mut sensing.crowding {
                [lower, upper, leaf_upper].into_iter().flatten().for_each(|slope| self.slope(slope));
            }
            sensing.stand.iter_mut().for_each(|stand| self.stand(stand));
            sensing.treatments.iter_mut().for_each(|treatment| treatment.n_on *= self.rate);
            sensing.plots.iter_mut().for_each(|plot| plot.n_on *= self.rate);
        }
    }

    /// Stands are counted over the area that goes with that of N rates.
    fn stand(&self, stand: &mut StandOf) {
        if let Some(model) = &mut stand.model {
            model.n_range = model.n_range.map(|range| range.map(|rate| rate * self.rate));
        }
        if self.rate == 1.0 {
            return;
        }
        let (factor, unit) = match stand.unit {
            PER_SQUARE_FOOT => (1.0 / SQUARE_METRES_PER_SQUARE_FOOT, PER_SQUARE_METRE),
            _ => (SQUARE_METRES_PER_SQUARE_FOOT, PER_SQUARE_FOOT),
        };
        stand.unit = unit;
        scale([&mut stand.full, &mut stand.thin_below], factor);
        stand.low.iter_mut().for_each(|low| scale([&mut low.stand], factor));
    }

    fn against(&self, found: &mut AgainstOthers) {
        scale([&mut found.reference_n, &mut found.highest_n, &mut found.next_lower_n], self.rate);
        self.rate_interval(&mut found.plateau_from);
    }

    fn slope(&self, found: &mut SlopeOf) {
        found.from_n *= self.rate;
        found.to_n *= self.rate;
        scale_interval(&mut found.slope, 1.0 / self.rate);
    }
}
