//! Readings: the N that is on, and what depends on it. Readings and indices have no unit to change.

use super::{InUnits, scale, scale_interval};
use crate::output::Sense;
use crate::output::sense_study::{AgainstOthers, CrowdingOf, SlopeOf};

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
            for model in sensing.stand.iter_mut().flat_map(|stand| &mut stand.model) {
                model.n_range = model.n_range.map(|range| range.map(|rate| rate * self.rate));
            }
            sensing.treatments.iter_mut().for_each(|treatment| treatment.n_on *= self.rate);
            sensing.plots.iter_mut().for_each(|plot| plot.n_on *= self.rate);
        }
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
