//! The `[prices]` keys of `programme.toml`.

use super::descriptor::{Document, Item, Section};
use super::programme_descriptor::{check_bushel, positive};
use super::values::{moisture, n_percent, unit};
use crate::crop::Crop;
use crate::trial::{
    GrainPrice, LARGEST_PRICE_RATIO, LodgingLoss, NitrogenPrice, PassCost, PremiumStep, PriceSpread, Prices,
    ProteinPremium, is_same_price_ratio,
};
use crate::units::{AreaUnit, MassUnit};

const PRICES: &[&str] = &["grain", "nitrogen", "other_price_ratios", "pass_cost", "protein_premium", "lodging_loss"];
const GRAIN: &[&str] = &["price", "per", "lowest", "highest", "sd"];
const NITROGEN: &[&str] = &["price", "per", "n_percent", "lowest", "highest", "sd"];
const PASS_COST: &[&str] = &["price", "per"];
const PREMIUM: &[&str] = &["moisture_percent", "steps"];
const STEP: &[&str] = &["from", "add"];
const LODGING: &[&str] = &["yield_percent", "at_score"];

/// The prices, or the faults of their keys.
pub(super) fn prices(document: &Document, item: &Item, crop: Option<&Crop>) -> Option<Prices> {
    let section = item.section(PRICES)?;
    let grain = section.required("grain").and_then(|item| grain(document, &item, crop));
    let nitrogen = section.required("nitrogen").and_then(|item| nitrogen(&item));
    let other_price_ratios = other_price_ratios(&section);
    let pass_cost = section.get("pass_cost").and_then(|item| pass_cost(&item));
    let protein_premium =
        section.get("protein_premium").and_then(|item| protein_premium(&item, grain.as_ref().map(|grain| grain.price)));
    let lodging_loss = section.get("lodging_loss").and_then(|item| lodging_loss(&item));
    Some(Prices { grain: grain?, nitrogen: nitrogen?, other_price_ratios, pass_cost, protein_premium, lodging_loss })
}

fn grain(document: &Document, item: &Item, crop: Option<&Crop>) -> Option<GrainPrice> {
    let grain = item.section(GRAIN)?;
    let price = grain.required("price").and_then(|item| positive(&item));
    let per = grain.required("per").and_then(|item| {
        let per = unit::<MassUnit>(&item)?;
        check_bushel(document, &per, per.value == MassUnit::Bushel, crop);
        Some(per.value)
    });
    let spread = spread(item, &grain, price);
    Some(GrainPrice { price: price?, per: per?, spread })
}

fn nitrogen(item: &Item) -> Option<NitrogenPrice> {
    let nitrogen = item.section(NITROGEN)?;
    let price = nitrogen.required("price").and_then(|item| positive(&item));
    let per = nitrogen.required("per").and_then(|item| {
        let per = unit::<MassUnit>(&item)?.value;
        if per == MassUnit::Bushel {
            item.fault("unknown-value", "N is not sold by the bushel", "price it per lb, kg, short ton or Mg");
        }
        Some(per)
    });
    let n_percent = nitrogen.required("n_percent").and_then(|item| n_percent(&item));
    let spread = spread(item, &nitrogen, price);
    Some(NitrogenPrice { price: price?, per: per?, n_percent: n_percent?, spread })
}

/// How far a price may turn out otherwise; `None` where nothing is said of it.
fn spread(item: &Item, section: &Section, price: Option<f64>) -> Option<PriceSpread> {
    let number = |key: &str| section.get(key).map(|item| positive(&item));
    let spread = match (number("lowest"), number("highest"), number("sd")) {
        (None, None, None) => return None,
        (Some(lowest), Some(highest), None) => PriceSpread::triangular(price?, lowest?, highest?),
        (None, None, Some(deviation)) => PriceSpread::normal(price?, deviation?),
        // A misspelt key is told where it stands.
        _ if ["lowest", "highest", "sd"].iter().any(|key| section.get(key).is_none() && !section.lacks(key)) => {
            return None;
        }
        _ => {
            item.fault(
                "conflicting-keys",
                "an uncertain price has a lowest and a highest value, or an sd",
                "write lowest = … with highest = …, or sd = … alone",
            );
            return None;
        }
    };
    spread
        .map_err(|fault| {
            let remedy = "the price is the most likely one: lowest ≤ price ≤ highest, and sd ≤ price";
            item.fault("out-of-range", fault.to_string(), remedy);
        })
        .ok()
}

fn other_price_ratios(section: &Section) -> Vec<f64> {
    let mut ratios: Vec<f64> = Vec::new();
    for item in section.get("other_price_ratios").and_then(|item| item.list()).unwrap_or_default() {
        let range = format!("above 0 and at most {LARGEST_PRICE_RATIO}");
        let Some(ratio) = item.number_within(&range, |ratio| ratio > 0.0 && ratio <= LARGEST_PRICE_RATIO) else {
            continue;
        };
        match ratios.iter().find(|other| is_same_price_ratio(**other, ratio.value)) {
            Some(other) => {
                let text = format!("{other} is already listed, and a table can't tell them apart");
                item.fault("duplicate-price-ratio", text, "leave one out: price ratios are more than 1 % apart");
            }
            None => ratios.push(ratio.value),
        }
    }
    ratios
}

fn pass_cost(item: &Item) -> Option<PassCost> {
    let section = item.section(PASS_COST)?;
    let price = section.required("price").and_then(|item| positive(&item));
    let per = section.required("per").and_then(|item| unit::<AreaUnit>(&item));
    Some(PassCost { price: price?, per: per?.value })
}

fn protein_premium(item: &Item, grain_price: Option<f64>) -> Option<ProteinPremium> {
    let section = item.section(PREMIUM)?;
    let moisture = section.get("moisture_percent").and_then(|item| moisture(&item)).map(|moisture| moisture.value);
    let list = section.required("steps").and_then(|item| Some((item.list()?, item)));
    let (items, steps_item) = list?;
    if items.is_empty() {
        steps_item.fault("out-of-range", "there is no step", "write steps such as { from = 12.5, add = 0.30 }");
    }
    let mut steps: Vec<PremiumStep> = Vec::new();
    for item in &items {
        let Some(step) = premium_step(item, grain_price) else { continue };
        if steps.last().is_some_and(|last| last.from >= step.from) {
            let text = format!("{} does not come after the step before it", step.from);
            item.fault("out-of-range", text, "write the steps by rising protein, each once");
        }
        steps.push(step);
    }
    Some(ProteinPremium { moisture, steps })
}

fn premium_step(item: &Item, grain_price: Option<f64>) -> Option<PremiumStep> {
    let step = item.section(STEP)?;
    let from = step.required("from").and_then(|item| {
        item.number_within("from 0 to below 100", |percent| (0.0..100.0).contains(&percent)).map(|from| from.value)
    });
    let add = step.required("add").and_then(|item| {
        // No more is taken off than the grain brings, and nobody doubles its price for its protein.
        let within = |add: f64| grain_price.is_none_or(|price| add.abs() < price);
        item.number_within("that is less than the price of grain, below 0 where it is taken off", within)
            .map(|add| add.value)
    });
    Some(PremiumStep { from: from?, add: add? })
}

fn lodging_loss(item: &Item) -> Option<LodgingLoss> {
    let section = item.section(LODGING)?;
    let percent = section.required("yield_percent").and_then(|item| {
        item.number_within("above 0 and below 100", |percent| percent > 0.0 && percent < 100.0)
            .map(|percent| percent.value)
    });
    let score = section.required("at_score").and_then(|item| positive(&item));
    Some(LodgingLoss { yield_percent: percent?, at_score: score? })
}
