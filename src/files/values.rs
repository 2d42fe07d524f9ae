//! Values of descriptor keys that several tables share.

use super::descriptor::{Item, Typed};
use crate::trial::{GrowthStage, Instrument};
use crate::units::{MoisturePercent, Unit};

/// A unit by its symbol.
pub(super) fn unit<U: Unit>(item: &Item) -> Option<Typed<U>> {
    item.parsed("a unit that is known here", &format!("write one of {}", U::choices()), U::parse)
}

/// N in a product, per cent by weight.
pub(super) fn n_percent(item: &Item) -> Option<f64> {
    item.number_within("above 0 and up to 100", |percent| percent > 0.0 && percent <= 100.0)
        .map(|percent| percent.value)
}

/// A moisture in per cent.
pub(super) fn moisture(item: &Item) -> Option<Typed<MoisturePercent>> {
    let number = item.number_within("from 0 to below 100", |percent| MoisturePercent::new(percent).is_some())?;
    MoisturePercent::new(number.value).map(|moisture| number.map(|_| moisture))
}

/// A growth stage.
pub(super) fn stage(item: &Item) -> Option<Typed<GrowthStage>> {
    let text = item.text()?;
    match GrowthStage::read(&text.value) {
        Ok(stage) => Some(text.map(|_| stage)),
        Err(fault) => {
            item.fault("unknown-value", fault.to_string(), fault.remedy());
            None
        }
    }
}

/// An instrument.
pub(super) fn instrument(item: &Item) -> Option<Instrument> {
    let known = Instrument::ALL.map(|instrument| (instrument.name(), instrument));
    item.choice(&known).map(|instrument| instrument.value)
}
