//! What values a crop can have: ranges wide enough that a value outside them is a slip before it is a crop.
//!
//! All of them are common practice: what extension guides give as usual, widened on both sides.

use std::ops::RangeInclusive;

use crate::crop::Crop;

/// Ranges of a crop's harvest.
pub(super) struct Plausible {
    /// Mean yield of a trial's plots, kg/ha.
    pub(super) trial_yield: RangeInclusive<f64>,
    /// Moisture of the grain as it was weighed, per cent.
    pub(super) moisture: RangeInclusive<f64>,
    /// Protein of the grain, per cent.
    pub(super) protein: RangeInclusive<f64>,
    /// Test weight, lb/bu.
    pub(super) test_weight: RangeInclusive<f64>,
}

/// The ranges of a crop; `None` for one that is not known.
pub(super) fn plausible(crop: &Crop) -> Option<Plausible> {
    let of = |trial_yield, moisture, protein, test_weight| Plausible { trial_yield, moisture, protein, test_weight };
    Some(match crop.name.as_str() {
        "wheat" => of(500.0..=14_000.0, 6.0..=25.0, 6.0..=22.0, 40.0..=68.0),
        "corn" => of(1_000.0..=22_000.0, 8.0..=40.0, 5.0..=14.0, 40.0..=66.0),
        "soybean" => of(400.0..=8_000.0, 6.0..=25.0, 28.0..=50.0, 46.0..=64.0),
        "sorghum" => of(500.0..=14_000.0, 7.0..=30.0, 5.0..=17.0, 44.0..=66.0),
        "rye" => of(400.0..=11_000.0, 6.0..=25.0, 5.0..=20.0, 44.0..=64.0),
        "barley" => of(500.0..=12_000.0, 6.0..=25.0, 6.0..=20.0, 34.0..=60.0),
        "oats" => of(400.0..=10_000.0, 6.0..=25.0, 6.0..=22.0, 22.0..=50.0),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_crop_with_a_bushel_has_its_ranges() {
        for name in ["wheat", "corn", "soybean", "sorghum", "rye", "barley", "oats"] {
            assert!(Crop::named(name).pounds_per_bushel.is_some() && plausible(&Crop::named(name)).is_some(), "{name}");
        }
        assert!(plausible(&Crop::named("sugarcane")).is_none());
    }
}
