//! Economics: the optimum of every group with its interval, at every price ratio and by every family, and what the prices say beside it.

use super::content::{Block, Cell, Section};
use super::draft::{Draft, count, dash, word};
use super::material::{Material, Telling, list, paragraph, section, shortened};
use super::site_years::together;
use crate::economics::Better;
use crate::output::curves_text::capitalised;
use crate::output::economy_text::{plots, some_percent};
use crate::output::group::group_text;
use crate::output::numbers::{plain, price_ratio, rate, significant};
use crate::output::optimum_text::{chosen_text, decimals, is_past, status_text};
use crate::output::{OptimumGroup, OptimumOf};
use crate::response::OptimumStatus;

/// Decimals of money over an area.
const MONEY_DECIMALS: usize = 2;

pub(super) fn economics(material: &Material<'_>) -> Section {
    const NAME: (&str, &str) = ("economics", "Economics");
    let optima = &material.reports.optima;
    let Some(first) = optima.groups.first() else {
        let text = match material.season.price_ratio {
            None => {
                "Neither prices nor a price ratio are given, so there is no economic optimum: give [prices] in programme.toml, or --price-ratio."
            }
            Some(_) => "No trial has a group of plots that a curve could be fitted to.",
        };
        return section(NAME.0, NAME.1, paragraph(text));
    };
    let untested = optima.groups.iter().filter(|group| group.optimum.rate.is_some()).filter_map(|group| {
        let reason = group.untested.as_ref()?;
        Some(format!(
            "{}: a response cannot be tested ({reason}); the optimum is that of the curve, and may be chance.",
            material.set(&capitalised(&group_text(&group.group, group.rate_unit.as_deref())))
        ))
    });
    let untested = shortened(untested.collect(), "are not tested either");
    let mut blocks: Vec<Block> = Vec::new();
    blocks.extend(paragraph(prices(material, first)));
    blocks.extend(chosen(material).block());
    blocks.extend(list(untested));
    blocks.extend(with_excluded(material).block());
    blocks.extend(by_price(material).block());
    blocks.extend(by_family(material).block());
    blocks.extend(pass(material, first).and_then(Draft::block));
    blocks.extend(uncertain(material, first).and_then(Draft::block));
    blocks.extend(with_quality(material).block());
    blocks.extend(together(material));
    blocks.extend(material.figures(&["net-return", "price"], None));
    section(NAME.0, NAME.1, blocks)
}

fn prices(material: &Material<'_>, first: &OptimumGroup) -> String {
    let unit = first.price_ratio_unit.as_deref().unwrap_or_default();
    let others: Vec<String> = first.by_price.iter().skip(1).map(|at| price_ratio(at.price_ratio)).collect();
    let others = match others.as_slice() {
        [] => String::new(),
        several => format!(" Optima at {} stand beside it.", several.join(" and ")),
    };
    material.set(&format!(
        "The economic optimum N rate (EONR) is the rate at which the next unit of N costs what it brings, here at a price ratio of {} {unit}.{others} \
         Net return is yield minus the yield that pays for the N. The near-optimum range holds the rates whose net return is within the \
         programme's tolerance of the best.",
        price_ratio(first.price_ratio),
    ))
}

fn telling(material: &Material<'_>) -> Telling {
    Telling::of(material.reports.optima.groups.iter().map(|group| &group.group))
}

/// Whether a status is that of a number, and no bound.
pub(super) fn is_number(status: OptimumStatus) -> bool {
    matches!(status, OptimumStatus::Interior | OptimumStatus::AtZero)
}

/// The optimum that stands for a group, or what is said instead.
fn optimum(material: &Material<'_>, response: Option<&str>, found: &OptimumOf, decimals: usize) -> Cell {
    let number = found.rate.filter(|_| is_number(found.status));
    material.numerals.told(&chosen_text(response, found, decimals), number)
}

/// Its limits; an interval that lies past the tested rates altogether is extrapolated, and is not printed as numbers.
pub(super) fn limits(material: &Material<'_>, found: &OptimumOf, decimals: usize) -> [Cell; 2] {
    if found.status == OptimumStatus::NotEstimable {
        return [dash(), dash()];
    }
    if is_past(found) {
        let past = found.rate.map_or_else(String::new, |highest| format!("past {}", plain(highest)));
        return [material.numerals.told(&past, None), material.numerals.told(&past, None)];
    }
    material.numerals.ends(found.limits, [found.low, found.high], &found.segments, decimals)
}

/// What the kinds of optima and limits mean.
const BOUNDS: &str = "At least: the optimum is not reached within the tested rates. At most: it lies below the second tested rate, or at the \
    lowest where that is not 0. Not shown: these plots do not show that yield rises with N; the interval says which optimum they still allow. \
    Open: the plots set no limit. Past: the whole interval lies beyond the tested rates. A limit above the highest tested rate is where the curve puts it, not where plots were.";

fn chosen(material: &Material<'_>) -> Draft {
    let numerals = material.numerals;
    let telling = telling(material);
    let groups = &material.reports.optima.groups;
    let money = groups.iter().find_map(|group| group.economy.money_unit.as_deref()).unwrap_or("money");
    let draft = Draft::new("optimum-rates", "Economic optimum N rates at the base price ratio");
    let mut draft = telling
        .columns(draft, material)
        .words("family")
        .numbers(material.of_rate("EONR"))
        .limits(&material.interval_head())
        .numbers(material.of_rate("near-optimum: from"))
        .numbers("near-optimum: to")
        .numbers(material.of_yield("net return"))
        .numbers(format!("net return ({money})"));
    for group in groups {
        let decimals = decimals(group);
        let near = group.near_optimum.map_or([None, None], |near| [Some(near.low), Some(near.high)]);
        let near = near.map(|end| numerals.written(end, |end| rate(end, decimals)));
        let head = [
            word(group.optimum.family.unwrap_or_default()),
            optimum(material, group.response, &group.optimum, decimals),
        ];
        let returns = [
            numerals.written(group.net_return, |net| significant(net, 4)),
            numerals.cell(group.economy.net_return_money, MONEY_DECIMALS),
        ];
        let limits = limits(material, &group.optimum, decimals);
        let own = head.into_iter().chain(limits).chain(near).chain(returns);
        draft.row(telling.cells(&group.group, material).into_iter().chain(own));
    }
    draft.note(BOUNDS);
    draft.note("The family is the best of those that bend; a straight line has no optimum of its own. Each interval is given its family: where the family was chosen by the plots, 95 % intervals held the true EONR in about four simulated trials of five.");
    draft
}

fn with_excluded(material: &Material<'_>) -> Draft {
    let telling = telling(material);
    let draft = Draft::new("optimum-with-all", "Optima with the yields that are left out put back in");
    let mut draft = telling
        .columns(draft, material)
        .numbers("yields put in")
        .words("family")
        .numbers(material.of_rate("EONR"))
        .limits(&material.interval_head())
        .numbers(material.of_rate("EONR as reported"));
    for group in &material.reports.optima.groups {
        let Some(refitted) = &group.with_excluded else { continue };
        let decimals = decimals(group);
        let head = [
            count(refitted.put_in),
            word(refitted.optimum.family.unwrap_or_default()),
            optimum(material, refitted.response, &refitted.optimum, decimals),
        ];
        let limits = limits(material, &refitted.optimum, decimals);
        let reported = [optimum(material, group.response, &group.optimum, decimals)];
        let own = head.into_iter().chain(limits).chain(reported);
        draft.row(telling.cells(&group.group, material).into_iter().chain(own));
    }
    draft
}

fn by_price(material: &Material<'_>) -> Draft {
    let numerals = material.numerals;
    let telling = telling(material);
    let groups = &material.reports.optima.groups;
    let ratio_unit = groups.iter().find_map(|group| group.price_ratio_unit.as_deref()).unwrap_or_default();
    let draft = Draft::new("optimum-by-price-ratio", "Optima at every price ratio");
    let mut draft = telling
        .columns(draft, material)
        .numbers(format!("price ratio ({ratio_unit})"))
        .numbers(material.of_rate("EONR"))
        .limits(&material.interval_head())
        .numbers(material.of_rate("near-optimum: from"))
        .numbers("near-optimum: to")
        .numbers(material.of_yield("net return"));
    // With one ratio alone this is the table before.
    for group in groups.iter().filter(|group| group.by_price.len() > 1) {
        let decimals = decimals(group);
        for at in &group.by_price {
            let near = at.near_optimum.map_or([None, None], |near| [Some(near.low), Some(near.high)]);
            let near = near.map(|end| numerals.written(end, |end| rate(end, decimals)));
            let head =
                [numerals.written(at.price_ratio, price_ratio), optimum(material, at.response, &at.optimum, decimals)];
            let limits = limits(material, &at.optimum, decimals);
            let net = [numerals.written(at.net_return, |net| significant(net, 4))];
            let own = head.into_iter().chain(limits).chain(near).chain(net);
            draft.row(telling.cells(&group.group, material).into_iter().chain(own));
        }
    }
    draft
}

fn by_family(material: &Material<'_>) -> Draft {
    let telling = telling(material);
    let draft = Draft::new("optimum-by-family", "Optima at the base price ratio by family");
    let mut draft = telling
        .columns(draft, material)
        .words("family")
        .numbers(material.of_rate("EONR"))
        .limits(&material.interval_head())
        .words("no interval");
    for group in &material.reports.optima.groups {
        let decimals = decimals(group);
        for found in group.by_family.iter().filter(|found| found.rate.is_some()) {
            let text = status_text(found.rate, found.status, decimals);
            let number = found.rate.filter(|_| is_number(found.status));
            let head = [word(found.family.unwrap_or_default()), material.numerals.told(&text, number)];
            let reason = word(found.reason.as_deref().unwrap_or_default());
            let own = head.into_iter().chain(limits(material, found, decimals)).chain([reason]);
            draft.row(telling.cells(&group.group, material).into_iter().chain(own));
        }
    }
    draft
}

fn pass(material: &Material<'_>, first: &OptimumGroup) -> Option<Draft> {
    let numerals = material.numerals;
    let cost = first.economy.pass.as_ref()?;
    let money = first.economy.money_unit.as_deref().unwrap_or("money");
    let title = format!(
        "Does it pay to apply at all? One pass costs {} {money}, as much as {} {}",
        numerals.fixed(cost.cost, MONEY_DECIMALS),
        numerals.set(&significant(cost.cost_in_yield, 3)),
        material.wording.yield_unit(),
    );
    let telling = telling(material);
    let mut draft = telling
        .columns(Draft::new("pass", title), material)
        .numbers(material.of_yield("EONR over rate 0"))
        .numbers(material.of_yield("less the pass"))
        .words("better");
    for group in &material.reports.optima.groups {
        let Some(pass) = &group.economy.pass else { continue };
        let better = match pass.better {
            Some(Better::Optimum) => "the EONR".to_owned(),
            Some(Better::RateZero) => "rate 0".to_owned(),
            None if group.optimum.status == OptimumStatus::AtHighestTestedRate => "not known".to_owned(),
            None => chosen_text(group.response, &group.optimum, decimals(group)),
        };
        let in_yield = |value: Option<f64>| numerals.written(value, |value| significant(value, 3));
        let own = [in_yield(pass.gain_over_zero), in_yield(pass.gain_after_pass), word(&better)];
        draft.row(telling.cells(&group.group, material).into_iter().chain(own));
    }
    draft.note("Net return. The pass moves no EONR: it only decides between the EONR and rate 0.");
    Some(draft)
}

fn uncertain(material: &Material<'_>, first: &OptimumGroup) -> Option<Draft> {
    let numerals = material.numerals;
    let any = material.reports.optima.groups.iter().find_map(|group| group.economy.uncertain_prices.as_ref())?;
    let money = first.economy.money_unit.as_deref().unwrap_or("money");
    let title = format!("Optima under uncertain prices, {} draws", any.draws);
    let telling = telling(material);
    let mut draft = telling
        .columns(Draft::new("uncertain-prices", title), material)
        .numbers(material.of_rate("EONR, median"))
        .numbers("9 in 10 draws: from")
        .numbers("9 in 10 draws: to")
        .words("draws at the lowest rate")
        .words("draws at the highest rate")
        .numbers(format!("net return ({money}), 9 in 10 draws: from"))
        .numbers("net return: to")
        .numbers(material.of_rate("one rate for all"));
    for group in &material.reports.optima.groups {
        let Some(found) = &group.economy.uncertain_prices else { continue };
        let of_rates = decimals(group);
        let reached = |value: f64| group.highest_tested_rate.is_none_or(|highest| value < highest);
        let optimum = |value: f64| match reached(value) {
            true => numerals.written(value, |value| rate(value, of_rates)),
            false => numerals.told(&format!("at least {}", plain(value)), None),
        };
        let net = |value: f64| numerals.written(value, |value| significant(value, 3));
        let own = [
            optimum(found.optimum.q50),
            numerals.written(found.optimum.q05, |value| rate(value, of_rates)),
            numerals.written(found.optimum.q95, |value| rate(value, of_rates)),
            word(&some_percent(found.share_at_lowest_rate)),
            word(&some_percent(found.share_at_highest_rate)),
            net(found.net_return.q05),
            net(found.net_return.q95),
            optimum(found.best_single_rate),
        ];
        draft.row(telling.cells(&group.group, material).into_iter().chain(own));
    }
    draft.note("One rate for all: the rate with the highest expected net return. The draws are of prices: the curve is taken as fitted.");
    Some(draft)
}

fn with_quality(material: &Material<'_>) -> Draft {
    let telling = telling(material);
    let draft = Draft::new(
        "optimum-with-quality",
        "Optima of yields that are worth what the quality of their grain makes them worth",
    );
    let mut draft = telling
        .columns(draft, material)
        .numbers(material.of_rate("EONR"))
        .numbers(material.of_rate("with quality"))
        .limits(&material.interval_head())
        .words("family")
        .words("plots")
        .words("counted");
    for group in &material.reports.optima.groups {
        let Some(valued) = &group.economy.with_quality else { continue };
        let decimals = decimals(group);
        let counted = match (valued.protein_premium, valued.lodging_loss) {
            (true, true) => "protein premium and lodging loss",
            (true, false) => "protein premium",
            (false, _) => "lodging loss",
        };
        let head = [
            optimum(material, group.response, &group.optimum, decimals),
            optimum(material, valued.response, &valued.optimum, decimals),
        ];
        let limits = limits(material, &valued.optimum, decimals);
        let rest = [word(valued.optimum.family.unwrap_or_default()), word(&plots(valued)), word(counted)];
        let own = head.into_iter().chain(limits).chain(rest);
        draft.row(telling.cells(&group.group, material).into_iter().chain(own));
    }
    draft.note("Each yield counts as what would bring as much at the base price; a plot that was not measured is left out, not filled in.");
    draft
}
