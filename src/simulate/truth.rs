//! The truth behind a simulated programme, as JSON: curves, optima and indexes without chance.
//!
//! Rates in lb N/ac, yields in bu/ac at the standard moisture, every value the mean over the blocks (a thin stand in some of
//! them included). Lists of optima and needs go with `price_ratios`, in its order. A need is the optimum minus the N already
//! on, below 0 where there is too much; where it is a topdress, the best topdress, which is never below 0.

use super::descriptor::{OTHER_PRICE_RATIOS, price_ratio, text};
use super::growth::{Progress, Variety, best_rate};
use super::site_year::{Mishap, Rates, RichPlots, SiteYear};

/// Optima are searched up to here, lb/ac: past every tested rate, because the optimum of a trial may lie there.
const HIGHEST_RATE: u32 = 400;

/// The truth of these site-years.
pub(super) fn document(seed: u64, site_years: &[SiteYear]) -> String {
    format!(
        r#"{{
  "seed": {seed},
  "rate_unit": "lb/ac",
  "yield_unit": "bu/ac",
  "price_ratios": {},
  "site_years": [{}]
}}
"#,
        list(price_ratios().map(|ratio| format!("{ratio:.6}"))),
        block(4, site_years.iter().map(site_year_object)),
    )
}

/// The programme's price ratio, then the others it asks for.
fn price_ratios() -> [f64; 3] {
    let [low, high] = OTHER_PRICE_RATIOS;
    [price_ratio(), low, high]
}

fn site_year_object(site_year: &SiteYear) -> String {
    let need_from = match site_year.rates {
        Rates::DifferenceFromOptimum { .. } => "difference-from-optimum",
        Rates::TopdressResponse { .. } => "topdress-response",
    };
    let plots =
        |pick: fn(&Mishap) -> Option<u32>| list(site_year.mishaps.iter().filter_map(pick).map(|plot| plot.to_string()));
    let not_harvested = plots(|mishap| match mishap {
        Mishap::NotHarvested { plot } => Some(*plot),
        _ => None,
    });
    let excluded = plots(|mishap| match mishap {
        Mishap::YieldSpoilt { plot, .. } | Mishap::PlotSpoilt { plot, .. } | Mishap::ReadingsSpoilt { plot, .. } => {
            Some(*plot)
        }
        Mishap::NotHarvested { .. } => None,
    });
    let thin_blocks = site_year.thin_stand.iter().flat_map(|thin| &thin.blocks);
    format!(
        r#"{{
      "folder": {}, "site": {}, "harvest_year": {}, "left_out": {},
      "need_from": "{need_from}",
      "plots_not_harvested": {not_harvested}, "plots_excluded": {excluded}, "thin_blocks": {},
      "varieties": [{}]
    }}"#,
        text(&site_year.folder()),
        text(&site_year.site),
        site_year.harvest_year,
        site_year.left_out.is_some(),
        list(thin_blocks.map(u32::to_string)),
        block(8, site_year.varieties.iter().map(|variety| variety_object(site_year, variety))),
    )
}

fn variety_object(site_year: &SiteYear, variety: &Variety) -> String {
    let pounds = |typed: f64| site_year.typed_rate.pounds(typed);
    let rich = pounds(site_year.rich_rate());
    // N-rich plots beside the treatments stand in full; those among the treatments share their thin stand.
    let rich_stands = match site_year.rich {
        RichPlots::Beside { .. } => vec![1.0],
        RichPlots::HighestRate => stands(site_year),
    };
    let all_stands = stands(site_year);
    let rich_leaf = leaf(site_year, variety, rich, &rich_stands);
    let rich_canopy = canopy(site_year, variety, rich, &rich_stands);
    let optima = match site_year.rates {
        Rates::DifferenceFromOptimum { .. } => price_ratios()
            .map(|ratio| Some(best_rate(|rate| grain_yield(site_year, variety, rate, 0.0), ratio, HIGHEST_RATE))),
        Rates::TopdressResponse { .. } => [None; 3],
    };
    let levels = site_year.early_rates().iter().map(|&typed| {
        let early = pounds(typed);
        let needs = price_ratios().into_iter().zip(optima).map(|(ratio, optimum)| {
            let need = match optimum {
                Some(optimum) => optimum - early,
                None => best_rate(
                    |rate| grain_yield(site_year, variety, early, rate),
                    ratio,
                    HIGHEST_RATE,
                ),
            };
            format!("{need:.1}")
        });
        let needs = list(needs);
        let yields = site_year.topdress_rates().iter().map(|&topdress| {
            let grain = grain_yield(site_year, variety, early, pounds(topdress));
            format!("{grain:.2}")
        });
        format!(
            r#"{{ "early": {early:.2}, "leaf_index": {:.4}, "canopy_index": {:.4}, "yield_by_topdress": {}, "need": {needs} }}"#,
            leaf(site_year, variety, early, &all_stands) / rich_leaf,
            canopy(site_year, variety, early, &all_stands) / rich_canopy,
            list(yields),
        )
    });
    let optimum = list(optima.into_iter().flatten().map(|rate| format!("{rate:.1}")));
    let topdress = site_year.topdress_rates().iter().map(|&typed| format!("{:.2}", pounds(typed)));
    format!(
        r#"{{
          "variety": {}, "rich_rate": {rich:.2}, "rich_leaf": {rich_leaf:.2}, "rich_canopy": {rich_canopy:.4},
          "optimum": {optimum}, "topdress": {},
          "levels": [{}]
        }}"#,
        text(&variety.name),
        list(topdress),
        block(12, levels),
    )
}

/// The stand of the treatments in each block, share of a full one.
fn stands(site_year: &SiteYear) -> Vec<f64> {
    (1..=site_year.blocks).map(|block| site_year.stand_in(block)).collect()
}

fn grain_yield(site_year: &SiteYear, variety: &Variety, early: f64, topdress: f64) -> f64 {
    let growth = &site_year.growth;
    let supply = growth.supply(early, topdress);
    mean(&stands(site_year), |stand| growth.grain_yield(variety, supply, stand))
}

fn leaf(site_year: &SiteYear, variety: &Variety, early: f64, stands: &[f64]) -> f64 {
    mean(stands, |stand| {
        let status = site_year.growth.status(early, 0.0, stand, Progress::AT_SENSING);
        variety.leaf_reading(status)
    })
}

fn canopy(site_year: &SiteYear, variety: &Variety, early: f64, stands: &[f64]) -> f64 {
    let progress = Progress::AT_SENSING;
    mean(stands, |stand| {
        let status = site_year.growth.status(early, 0.0, stand, progress);
        variety.canopy_ndvi(status, stand, 1.0, progress)
    })
}

fn mean(stands: &[f64], value: impl Fn(f64) -> f64) -> f64 {
    let sum: f64 = stands.iter().map(|&stand| value(stand)).sum();
    sum / stands.len().max(1) as f64
}

fn list(items: impl IntoIterator<Item = String>) -> String {
    let items: Vec<String> = items.into_iter().collect();
    format!("[{}]", items.join(", "))
}

/// Items one under the other, indented; the closing bracket follows the last.
fn block(indent: usize, items: impl Iterator<Item = String>) -> String {
    let space = " ".repeat(indent);
    let items: Vec<String> = items.map(|item| format!("\n{space}{item}")).collect();
    items.join(",")
}
