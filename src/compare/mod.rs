//! Two rate tables and why they differ.
//!
//! Every place of the index × price ratio that either table has rates for is a [`Cell`]: where rows have other edges in the two, at the finer grid
//! that both fit on. A cell's move is split by deriving the *old* table anew with one thing changed at a time: the prices, the evidence
//! (site-years), the settings; what these three do only together is the remainder. So the parts always add up to the move.
//!
//! Two tables share most of their site-years, so that their intervals say little about their difference. Its interval comes from leaving
//! each site-year out of *both* tables at once (the jackknife over the union of their site-years; Student's t).

mod causes;
mod cells;
mod changed;
mod uncertainty;

pub use causes::{Explanation, Parts};
pub use cells::{Cell, Place, PricePair, Side, Verdict};
pub use changed::{Changed, SettingChange};

use crate::rate_table::RateTable;

/// Why two tables are not compared.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the old table is for {what} {old}, the new one for {new}: their rates can't be compared")]
pub struct NotComparable {
    /// What differs.
    pub what: &'static str,
    /// In the old table.
    pub old: String,
    /// In the new one.
    pub new: String,
}

/// Two tables side by side.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// What differs between what they were made of.
    pub changed: Changed,
    /// Price ratios that both have, that of the bases first.
    pub prices: Vec<PricePair>,
    /// Price ratios of one table alone: of the old one, and of the new one.
    pub price_ratios_alone: [Vec<f64>; 2],
    /// Every cell, by price ratio, then by rising index.
    pub cells: Vec<Cell>,
    /// The means over the cells that have a rate in both tables at the base price ratios; `None` without any, or without explanation.
    pub mean: Option<Parts>,
    /// Why moves are not split, or not wholly; empty where they are.
    pub unexplained: Vec<String>,
    /// How the intervals of the differences were made; why there are none.
    pub uncertainty: Result<usize, String>,
}

/// Compares two tables.
///
/// # Errors
/// [`NotComparable`] for another crop, instrument or unit.
pub fn compare(old: &RateTable, new: &RateTable) -> Result<Comparison, NotComparable> {
    let (before, after) = (old.document(), new.document());
    let must_agree = [
        ("crop", before.crop.as_str(), after.crop.as_str()),
        ("instrument", before.instrument.name(), after.instrument.name()),
        ("rate unit", before.rate_unit.as_str(), after.rate_unit.as_str()),
        ("yield unit", before.yield_unit.as_str(), after.yield_unit.as_str()),
    ];
    if let Some((what, old, new)) = must_agree.into_iter().find(|(_, old, new)| old != new) {
        return Err(NotComparable { what, old: old.to_owned(), new: new.to_owned() });
    }
    let (prices, price_ratios_alone) = cells::price_pairs(before, after);
    let mut cells = cells::cells(before, after, &prices);
    let explanation = Explanation::of(old, new);
    explanation.split(&prices, &mut cells);
    let uncertainty = uncertainty::differences(&explanation, before, after, &prices, &mut cells);
    for cell in &mut cells {
        cell.judge();
    }
    let mean = Parts::mean(cells.iter().filter(|cell| cell.pair == 0).filter_map(|cell| cell.parts));
    Ok(Comparison {
        changed: Changed::between(before, after),
        prices,
        price_ratios_alone,
        cells,
        mean,
        unexplained: explanation.missing(),
        uncertainty,
    })
}
