//! A table at other prices, from what it carries.

use super::rederive::{Changes, NotRederived, rederive};
use crate::rate_table::{Document, Money, Price, RateTable, Warning};
use crate::trial::{InputFile, is_same_price_ratio};

/// Code of the warning that a repriced table carries.
pub const REPRICED: &str = "repriced";

/// The prices that a table is wanted at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NewPrices {
    /// Price of one rate unit of N ÷ price of one yield unit: the new base.
    pub price_ratio: f64,
    /// What a yield unit brings and what a rate unit of N costs, where the ratio is theirs.
    pub money: Option<[f64; 2]>,
}

/// The table at a new base price ratio, its other price ratios kept but for one that is the new base's, and whatever else was asked.
/// It says that it was repriced, and names the file it came from among its inputs.
///
/// # Errors
/// [`NotRederived`] where it carries no evidence, or the evidence gives no table at that price ratio.
pub fn reprice(table: &RateTable, prices: NewPrices, from: &InputFile) -> Result<RateTable, NotRederived> {
    let document = table.document();
    let unit = document.prices.first().map_or_else(String::new, |price| price.price_ratio_unit.clone());
    let was = document.prices.iter().find(|price| price.base).map_or(f64::NAN, |price| price.price_ratio);
    let money = prices.money.map(|[crop, nitrogen]| money(document, crop, nitrogen));
    let base = Price { price_ratio: prices.price_ratio, price_ratio_unit: unit.clone(), base: true, money };
    let others = document.prices.iter().filter(|price| !price.base);
    let others = others.filter(|price| !is_same_price_ratio(price.price_ratio, prices.price_ratio)).cloned();
    let new_ratio = prices.price_ratio;
    let currency = prices.money.map(|_| Some(currency(document).to_owned()));
    let prices = Some([base].into_iter().chain(others).collect());
    let changes = Changes { prices, currency, ..Changes::default() };
    let derived = rederive(document, &changes)?;
    let mut repriced = derived.table?.document().clone();
    let text = format!(
        "repriced: derived again, without its trials, from the table of digest {} at a price ratio of {} instead of {was} {unit}",
        table.digest(),
        new_ratio,
    );
    repriced.warnings.push(Warning { code: REPRICED.to_owned(), text });
    repriced.inputs.push(from.clone());
    Ok(RateTable::new(repriced).map_err(super::NoTable::from)?)
}

/// The currency of a table; money of some kind where it names none.
fn currency(document: &Document) -> &str {
    document.currency.as_deref().unwrap_or("money")
}

/// Prices with their units: the currency of the table, and the mass that its yields and rates are counted in.
fn money(document: &Document, crop: f64, nitrogen: f64) -> Money {
    let currency = currency(document);
    let mass = |unit: &str| unit.split('/').next().unwrap_or_default().to_owned();
    Money {
        crop,
        crop_unit: format!("{currency} per {}", mass(&document.yield_unit)),
        nitrogen,
        nitrogen_unit: format!("{currency} per {} N", mass(&document.rate_unit)),
    }
}
