//! The grid that the rows of two tables both fit on.

use std::collections::BTreeSet;

use super::causes::Parts;
use crate::rate_table::{Document, RowInterval};
use crate::stats::interval::Interval;
use crate::trial::is_same_price_ratio;

/// A price ratio of each table; where they are the bases they may differ.
#[derive(Clone, Debug, PartialEq)]
pub struct PricePair {
    /// The old table's.
    pub old: f64,
    /// The new table's.
    pub new: f64,
    /// Whether these are the base price ratios.
    pub base: bool,
    /// Positions among the tables' price ratios.
    pub(super) positions: [usize; 2],
}

/// A stretch of the index, in thousandths, that lies in one row of each table, or outside one of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// Where it begins.
    pub index_from: u32,
    /// Where it ends.
    pub index_below: u32,
}

/// What a table says at a cell.
#[derive(Clone, Debug, PartialEq)]
pub struct Side {
    /// Position of its row, from 0.
    pub row: usize,
    /// Its rate, in the rate unit; `None` where the row has none.
    pub rate: Option<f64>,
    /// The interval of the row's return-maximising rate.
    pub interval: Option<RowInterval>,
    /// The middle of the row, as a fraction.
    pub(super) middle: f64,
}

/// Whether a move is more than the tables' own uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// One of the tables has no rate here.
    OneTableOnly,
    /// The rate is the same.
    Unmoved,
    /// The rate moved, and the interval of the difference holds zero.
    Within,
    /// The rate moved, and the interval of the difference doesn't hold zero.
    Beyond,
    /// There is no interval of the difference; the new rate lies inside the old row's.
    InsideOldInterval,
    /// There is no interval of the difference; the new rate lies outside the old row's.
    OutsideOldInterval,
    /// The rate moved, and there is nothing to measure that against.
    CannotTell,
}

impl Verdict {
    /// The name in documents.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::OneTableOnly => "one-table-only",
            Self::Unmoved => "unmoved",
            Self::Within => "within-uncertainty",
            Self::Beyond => "beyond-uncertainty",
            Self::InsideOldInterval => "inside-old-interval",
            Self::OutsideOldInterval => "outside-old-interval",
            Self::CannotTell => "cannot-tell",
        }
    }
}

/// A place at a price ratio, with what both tables say there.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// Position of its price ratios.
    pub pair: usize,
    /// Where it is.
    pub place: Place,
    /// What the old table says; `None` where it has no row.
    pub old: Option<Side>,
    /// What the new table says; `None` where it has no row.
    pub new: Option<Side>,
    /// What the move is made of, in the rate unit; `None` where one has no rate, or what it follows from is not known.
    pub parts: Option<Parts>,
    /// The return-maximising rate of the new row minus that of the old one, before limits and rounding.
    pub difference: Option<Interval>,
    /// Whether the move is more than the tables' own uncertainty.
    pub verdict: Verdict,
}

impl Cell {
    /// New rate minus old rate, in the rate unit.
    #[must_use]
    pub fn moved(&self) -> Option<f64> {
        Some(self.new.as_ref()?.rate? - self.old.as_ref()?.rate?)
    }

    pub(super) fn judge(&mut self) {
        let inside = || -> Option<bool> {
            let interval = &self.old.as_ref()?.interval.as_ref()?.interval;
            let rate = self.new.as_ref()?.rate?;
            // An open end holds everything.
            let known = interval.low.is_some() || interval.high.is_some();
            let holds = interval.low.is_none_or(|low| low <= rate) && interval.high.is_none_or(|high| rate <= high);
            known.then_some(holds)
        };
        let excludes_zero = self.difference.as_ref().and_then(|difference| {
            let (low, high) = (difference.low?, difference.high?);
            Some(low > 0.0 || high < 0.0)
        });
        self.verdict = match (self.moved(), excludes_zero) {
            (None, _) => Verdict::OneTableOnly,
            (Some(0.0), _) => Verdict::Unmoved,
            (_, Some(true)) => Verdict::Beyond,
            (_, Some(false)) => Verdict::Within,
            (_, None) => match inside() {
                Some(true) => Verdict::InsideOldInterval,
                Some(false) => Verdict::OutsideOldInterval,
                None => Verdict::CannotTell,
            },
        };
    }
}

/// The bases, then every other price ratio that both tables have; and those of one alone.
pub(super) fn price_pairs(old: &Document, new: &Document) -> (Vec<PricePair>, [Vec<f64>; 2]) {
    let base = |document: &Document| document.prices.iter().position(|price| price.base).unwrap_or(0);
    let bases = [base(old), base(new)];
    let pair = |positions: [usize; 2], base: bool| {
        let [before, after] =
            [(old, positions[0]), (new, positions[1])].map(|(table, position)| table.prices.get(position));
        Some(PricePair { old: before?.price_ratio, new: after?.price_ratio, base, positions })
    };
    let mut pairs: Vec<PricePair> = pair(bases, true).into_iter().collect();
    let partner = |ratio: f64, others: &Document| {
        others.prices.iter().position(|other| is_same_price_ratio(other.price_ratio, ratio))
    };
    for (position, price) in new.prices.iter().enumerate() {
        let positions = partner(price.price_ratio, old).map(|found| [found, position]);
        pairs.extend(positions.filter(|positions| *positions != bases).and_then(|positions| pair(positions, false)));
    }
    let alone = |own: &Document, other: &Document, base: usize| -> Vec<f64> {
        let ratios = own.prices.iter().enumerate().filter(|(position, _)| *position != base);
        ratios.map(|(_, price)| price.price_ratio).filter(|ratio| partner(*ratio, other).is_none()).collect()
    };
    let [old_base, new_base] = bases;
    (pairs, [alone(old, new, old_base), alone(new, old, new_base)])
}

/// Every cell, without what its move is made of.
pub(super) fn cells(old: &Document, new: &Document, prices: &[PricePair]) -> Vec<Cell> {
    let edges: BTreeSet<u32> =
        [old, new].iter().flat_map(|table| &table.rows).flat_map(|row| [row.index_from, row.index_below]).collect();
    let places =
        || edges.iter().zip(edges.iter().skip(1)).map(|(from, below)| Place { index_from: *from, index_below: *below });
    let mut cells = Vec::new();
    for (pair, price) in prices.iter().enumerate() {
        let [old_price, new_price] = price.positions;
        for place in places() {
            let (before, after) = (side(old, place, old_price), side(new, place, new_price));
            if before.is_some() || after.is_some() {
                let verdict = Verdict::OneTableOnly;
                cells.push(Cell { pair, place, old: before, new: after, parts: None, difference: None, verdict });
            }
        }
    }
    cells
}

/// What a table says at a place: the row that holds all of it.
pub(super) fn side(table: &Document, place: Place, price: usize) -> Option<Side> {
    let holds =
        |row: &crate::rate_table::Row| row.index_from <= place.index_from && place.index_below <= row.index_below;
    let position = table.rows.iter().position(holds)?;
    let row = table.rows.get(position)?;
    let cell = row.rates.get(price);
    Some(Side {
        row: position,
        rate: cell.and_then(|cell| cell.rate),
        interval: cell.and_then(|cell| cell.interval.clone()),
        middle: f64::from(row.index_from + row.index_below) / 2_000.0,
    })
}

/// The rate of the row that a place's middle lies in: rows of a table derived anew may have other edges.
pub(super) fn rate_at(table: &Document, place: Place, price: usize) -> Option<f64> {
    let twice = place.index_from + place.index_below;
    let row = table.rows.iter().find(|row| 2 * row.index_from <= twice && twice < 2 * row.index_below)?;
    row.rates.get(price)?.rate
}
