//! How much of a move comes from prices, from site-years and from settings: the old table derived anew with one changed at a time.

use super::cells::{Cell, PricePair, rate_at};
use crate::rate_table::{Document, RateTable};
use crate::recommend::{Changes, Derived, NotRederived, rates_alone};
use crate::trial::is_same_price_ratio;

/// What a move is made of, in the rate unit; the parts add up to the move.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Parts {
    /// New rate minus old rate.
    pub moved: f64,
    /// The old table with the new prices, minus the old table.
    pub prices: f64,
    /// The old table with the new evidence, minus the old table.
    pub site_years: f64,
    /// The old table with the new settings, minus the old table.
    pub settings: f64,
    /// The old table derived by this version of the program, minus the old table as published, and the same of the new one, turned.
    pub program: f64,
    /// What these do only together.
    pub together: f64,
}

impl Parts {
    /// The mean of each part; `None` of none.
    #[must_use]
    pub fn mean(parts: impl IntoIterator<Item = Parts>) -> Option<Parts> {
        let mut sum = Parts::default();
        let mut count = 0.0;
        for part in parts {
            count += 1.0;
            sum.moved += part.moved;
            sum.prices += part.prices;
            sum.site_years += part.site_years;
            sum.settings += part.settings;
            sum.program += part.program;
            sum.together += part.together;
        }
        (count > 0.0).then(|| Parts {
            moved: sum.moved / count,
            prices: sum.prices / count,
            site_years: sum.site_years / count,
            settings: sum.settings / count,
            program: sum.program / count,
            together: sum.together / count,
        })
    }
}

/// A table derived anew, or why it isn't.
type Again = Result<Derived, String>;

/// The tables that tell causes apart.
#[derive(Debug)]
pub struct Explanation {
    /// The old table, nothing changed.
    pub(super) old: Again,
    /// The new table, nothing changed.
    pub(super) new: Again,
    prices: Again,
    site_years: Again,
    settings: Again,
}

impl Explanation {
    pub(super) fn of(old: &RateTable, new: &RateTable) -> Self {
        let (before, after) = (old.document(), new.document());
        let again = |document: &Document, changes: Changes, what: &str| -> Again {
            rates_alone(document, &changes).map_err(|reason| match reason {
                NotRederived::NoEvidence => no_plot_yields(what),
                other => format!("the {what} can't be derived: {other}"),
            })
        };
        let old_again = again(before, Changes::default(), "old table");
        // What is the same in both needs no derivation of its own, and a table that can't be derived as it is none at all.
        let old_with = |changed: bool, changes: &dyn Fn() -> Changes, what: &str| match changed && old_again.is_ok() {
            true => again(before, changes(), &format!("old table {what}")),
            false => old_again.clone(),
        };
        let ratios = |document: &Document| -> Vec<(f64, bool)> {
            document.prices.iter().map(|price| (price.price_ratio, price.base)).collect()
        };
        let prices = || Changes {
            prices: Some(after.prices.clone()),
            currency: Some(after.currency.clone()),
            ..Changes::default()
        };
        let settings = || Changes { settings: Some(after.settings.clone()), ..Changes::default() };
        // A new table without evidence can't lend it.
        let site_years = match &after.evidence {
            Some(evidence) => {
                let lent = || Changes { evidence: Some(evidence.clone()), ..Changes::default() };
                old_with(before.evidence != after.evidence, &lent, "with the new site-years")
            }
            None => Err(no_plot_yields("new table")),
        };
        Self {
            new: again(after, Changes::default(), "new table"),
            prices: old_with(ratios(before) != ratios(after), &prices, "at the new prices"),
            site_years,
            settings: old_with(before.settings != after.settings, &settings, "with the new settings"),
            old: old_again,
        }
    }

    /// Reasons why moves are not split; each once.
    pub(super) fn missing(&self) -> Vec<String> {
        let mut missing: Vec<String> = Vec::new();
        for again in [&self.old, &self.new, &self.prices, &self.site_years, &self.settings] {
            if let Err(reason) = again
                && !missing.contains(reason)
            {
                missing.push(reason.clone());
            }
        }
        missing
    }

    /// Fills in what the moves of cells are made of, where all of it is known.
    pub(super) fn split(&self, pairs: &[PricePair], cells: &mut [Cell]) {
        for cell in cells {
            let Some(pair) = pairs.get(cell.pair) else { continue };
            cell.parts = self.parts(pair, cell);
        }
    }

    fn parts(&self, pair: &PricePair, cell: &Cell) -> Option<Parts> {
        let moved = cell.moved()?;
        let (old, new) = (cell.old.as_ref()?.rate?, cell.new.as_ref()?.rate?);
        let at = |again: &Again, ratio: f64| -> Option<f64> {
            let table = again.as_ref().ok()?.table.as_ref().ok()?.document();
            rate_at(table, cell.place, price_position(table, ratio)?)
        };
        let (old_again, new_again) = (at(&self.old, pair.old)?, at(&self.new, pair.new)?);
        let prices = at(&self.prices, pair.new)? - old_again;
        let site_years = at(&self.site_years, pair.old)? - old_again;
        let settings = at(&self.settings, pair.old)? - old_again;
        let program = (old_again - old) - (new_again - new);
        let together = moved - prices - site_years - settings - program;
        Some(Parts { moved, prices, site_years, settings, program, together })
    }
}

fn no_plot_yields(what: &str) -> String {
    format!("the {what} carries no plot yields to derive it from again")
}

/// Position of a price ratio.
pub(super) fn price_position(table: &Document, ratio: f64) -> Option<usize> {
    table.prices.iter().position(|price| is_same_price_ratio(price.price_ratio, ratio))
}
