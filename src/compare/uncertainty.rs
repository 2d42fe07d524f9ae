//! Whether a move is more than chance in which site-years there are: each is left out of both tables at once.

use std::collections::BTreeSet;

use super::causes::{Explanation, price_position};
use super::cells::{Cell, PricePair};
use crate::calibration::{Calibration, FEWEST_SITE_YEARS, Relation};
use crate::rate_table::Document;
use crate::recommend::Derived;
use crate::stats::jackknife;

/// Student's t with the standard error of the jackknife over the union of the site-years.
const METHOD: &str = "site-year-jackknife-t";

/// Gives every cell with a rate in both tables the interval of the difference between its return-maximising rates, at the new
/// table's level; returns over how many site-years. The kinds of relation stay as chosen.
///
/// # Errors
/// Why there are no such intervals.
pub(super) fn differences(
    explanation: &Explanation,
    old: &Document,
    new: &Document,
    pairs: &[PricePair],
    cells: &mut [Cell],
) -> Result<usize, String> {
    let (before, after) = match (&explanation.old, &explanation.new) {
        (Ok(before), Ok(after)) => (before, after),
        (Err(reason), _) | (_, Err(reason)) => return Err(reason.clone()),
    };
    let mut over = Err("no cell has a rate in both tables".to_owned());
    for cell in cells.iter_mut() {
        let (Some(pair), Some(_)) = (pairs.get(cell.pair), cell.moved()) else { continue };
        let (Some(old_side), Some(new_side)) = (&cell.old, &cell.new) else { continue };
        let calibrations = calibration(before, old, pair.old)
            .zip(calibration(after, new, pair.new))
            .and_then(|(one, other)| Some((Leaving::of(one)?, Leaving::of(other)?)));
        let Some((without_old, without_new)) = calibrations else {
            over = Err(format!(
                "fewer than {FEWEST_SITE_YEARS} site-years in one of the tables, or one that can't be left out"
            ));
            continue;
        };
        let union: BTreeSet<&str> = without_old.names.iter().chain(without_new.names).map(String::as_str).collect();
        let of = |leaving: &Leaving<'_>, name: Option<&str>, index: f64| leaving.without(name).rate(index);
        let difference =
            |name: Option<&str>| of(&without_new, name, new_side.middle) - of(&without_old, name, old_side.middle);
        let left_out: Vec<f64> = union.iter().map(|name| difference(Some(name))).collect();
        cell.difference = Some(jackknife::interval(difference(None), &left_out, new.settings.level, METHOD));
        over = Ok(union.len());
    }
    over
}

/// The calibration of a price ratio.
fn calibration<'d>(derived: &'d Derived, document: &Document, ratio: f64) -> Option<&'d Calibration> {
    // Calibrations begin with the base; the rest keep their order.
    let ratio = document.prices.get(price_position(document, ratio)?)?.price_ratio;
    derived.calibrations.iter().find(|calibration| calibration.price_ratio == ratio)
}

/// The relations without each site-year.
struct Leaving<'d> {
    names: &'d [String],
    all: &'d Relation,
    without_one: &'d [Relation],
}

impl<'d> Leaving<'d> {
    fn of(calibration: &'d Calibration) -> Option<Self> {
        let resampled = calibration.resampled.as_ref()?;
        let names = resampled.names.as_slice();
        let whole = resampled.without_one.len() == names.len();
        whole.then_some(Self { names, all: &resampled.relation, without_one: &resampled.without_one })
    }

    /// The relation without a site-year; that of all where it takes no part.
    fn without(&self, name: Option<&str>) -> &'d Relation {
        let position = name.and_then(|name| self.names.iter().position(|own| own == name));
        position.and_then(|position| self.without_one.get(position)).unwrap_or(self.all)
    }
}
