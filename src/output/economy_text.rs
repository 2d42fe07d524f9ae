//! What is asked beside the optimum, for a reader: a section for each thing asked, nothing else.

use super::economy::WithQuality;
use super::interval_words::interval_head;
use super::layout::{paragraph, quantity, with_unit};
use super::numbers::{NONE, count, fixed, or_dash, percent, plain, rate, significant};
use super::optimum::{Optima, OptimumGroup};
use super::optimum_text::{add_row, chosen_text, decimals, limits, table};
use crate::economics::{AtMovedPrice, Better, Forgone, MovedPrice};
use crate::response::OptimumStatus;

/// Every section that was asked for.
pub(super) fn economy(optima: &Optima, first: &OptimumGroup, factors: &[String]) -> String {
    let sections = [price_grid, pass, forgone, sensitivity, uncertain_prices, with_quality];
    sections.into_iter().map(|section| section(optima, first, factors)).collect()
}

/// Money over an area, as in *USD/ac*; *money* where it has no name.
fn money_unit(group: &OptimumGroup) -> &str {
    group.economy.money_unit.as_deref().unwrap_or("money")
}

fn money(value: f64) -> String {
    fixed(value, 2)
}

fn in_yield(value: f64) -> String {
    significant(value, 3)
}

fn price_grid(optima: &Optima, first: &OptimumGroup, factors: &[String]) -> String {
    let grid = &first.economy.price_grid;
    let across: Vec<f64> = grid
        .iter()
        .take_while(|cell| Some(cell.grain_price) == grid.first().map(|top| top.grain_price))
        .map(|cell| cell.n_price)
        .collect();
    if across.is_empty() {
        return String::new();
    }
    let head = table(factors).numbers("grain at");
    let mut table = across.iter().fold(head, |table, price| table.numbers(format!("N at {}", plain(*price))));
    for group in &optima.groups {
        for line in group.economy.price_grid.chunks(across.len()) {
            let grain = line.first().map_or_else(String::new, |cell| plain(cell.grain_price));
            let rates = line.iter().map(|cell| chosen_text(cell.at.response, &cell.at.optimum, decimals(group)));
            add_row(&mut table, group, factors, std::iter::once(grain).chain(rates));
        }
    }
    let head = with_unit("By the prices of grain and N: EONR", first.rate_unit.as_deref());
    format!("\n{head}\n\n{}", table.render(2))
}

fn pass(optima: &Optima, first: &OptimumGroup, factors: &[String]) -> String {
    let Some(cost) = &first.economy.pass else { return String::new() };
    let unit = first.yield_unit.as_deref();
    let mut table = table(factors).numbers("EONR over\nrate 0").numbers("less\nthe pass").words("better");
    for group in &optima.groups {
        let Some(pass) = &group.economy.pass else { continue };
        let better = match pass.better {
            Some(Better::Optimum) => "the EONR".to_owned(),
            Some(Better::RateZero) => "rate 0".to_owned(),
            None => not_decided(group),
        };
        let cells = [or_dash(pass.gain_over_zero, in_yield), or_dash(pass.gain_after_pass, in_yield), better];
        add_row(&mut table, group, factors, cells);
    }
    let head = format!(
        "Does it pay to apply at all? One pass costs {}, as much as {}",
        quantity(&money(cost.cost), first.economy.money_unit.as_deref()),
        quantity(&in_yield(cost.cost_in_yield), unit.or(Some("yield units"))),
    );
    let note = "The pass moves no EONR: it only decides between the EONR and rate 0, whose net return is that of the curve without N.";
    format!("\n{head}\nNet return{}\n\n{}\n{}", with_unit("", unit), table.render(2), paragraph("  ", note))
}

/// Why neither is known to be better: what stands for the optimum, or that it lies beyond the tested rates.
fn not_decided(group: &OptimumGroup) -> String {
    match group.optimum.status {
        OptimumStatus::AtHighestTestedRate => "not known".to_owned(),
        _ => chosen_text(group.response, &group.optimum, decimals(group)),
    }
}

fn forgone(optima: &Optima, first: &OptimumGroup, factors: &[String]) -> String {
    if first.economy.forgone.is_empty() {
        return String::new();
    }
    let asked = || optima.groups.iter().flat_map(|group| &group.economy.forgone);
    let in_money = asked().any(|forgone| forgone.forgone_money.is_some());
    let head = table(factors);
    let mut table =
        first.economy.forgone.iter().fold(head, |table, forgone| table.numbers(format!("at {}", plain(forgone.rate))));
    let cell = |forgone: &Forgone| match (forgone.forgone_money, forgone.forgone_return) {
        (Some(forgone), _) if in_money => money(forgone),
        (_, Some(forgone)) => in_yield(forgone),
        _ if forgone.outside_tested_rates => "untested".to_owned(),
        _ => NONE.to_owned(),
    };
    for group in &optima.groups {
        add_row(&mut table, group, factors, group.economy.forgone.iter().map(cell));
    }
    let unit = if in_money { Some(money_unit(first)) } else { first.yield_unit.as_deref() };
    let rates = first.rate_unit.as_deref().map_or_else(String::new, |unit| format!(" (rates in {unit})"));
    let head = with_unit("Net return forgone at other rates", unit) + &rates;
    let mut text = format!("\n{head}\n\n{}", table.render(2));
    let mut notes = String::new();
    if asked().any(|forgone| forgone.outside_tested_rates) {
        notes += &paragraph("  ", "Untested: no plot had so little N, or so much; nothing is extrapolated.");
    }
    let mut unreached = optima.groups.iter().filter(|group| group.optimum.status == OptimumStatus::AtHighestTestedRate);
    if unreached.any(|group| group.economy.forgone.iter().any(|forgone| forgone.forgone_return.is_some())) {
        notes +=
            &paragraph("  ", "Where the EONR is not reached within the tested rates, at least so much is forgone.");
    }
    if asked().any(|forgone| forgone.forgone_return.is_none() && !forgone.outside_tested_rates) {
        notes += &paragraph("  ", &format!("{NONE}: a response is not shown, or its EONR is only a bound."));
    }
    if !notes.is_empty() {
        text += &format!("\n{notes}");
    }
    text
}

/// The optimum at a moved price, or the bound that stands for it.
fn moved_rate(at: &AtMovedPrice, decimals: usize) -> String {
    match at.status {
        OptimumStatus::AtHighestTestedRate => format!("at least {}", plain(at.rate)),
        OptimumStatus::BeforeFirstRate => format!("at most {}", plain(at.rate)),
        _ => rate(at.rate, decimals),
    }
}

fn sensitivity(optima: &Optima, first: &OptimumGroup, factors: &[String]) -> String {
    let Some(moved) = optima.groups.iter().find_map(|group| group.economy.sensitivity.as_ref()) else {
        return String::new();
    };
    let in_money = moved.prices.iter().any(|price| price.lower.net_return_money.is_some());
    let mut table = table(factors)
        .words("price of")
        .numbers("EONR,\nprice lower")
        .numbers("EONR,\nprice higher")
        .numbers("EONR,\nfor +1 %")
        .numbers("net return,\nprice lower")
        .numbers("net return,\nprice higher");
    let net = |at: &AtMovedPrice| at.net_return_money.map_or_else(|| significant(at.net_return, 4), money);
    for group in &optima.groups {
        let decimals = decimals(group);
        let Some(sensitivity) = &group.economy.sensitivity else {
            add_row(&mut table, group, factors, [NONE.to_owned()]);
            continue;
        };
        for price in &sensitivity.prices {
            let name = match price.price {
                MovedPrice::Grain => "grain",
                MovedPrice::Nitrogen => "N",
            };
            let cells = [
                name.to_owned(),
                moved_rate(&price.lower, decimals),
                moved_rate(&price.higher, decimals),
                signed(price.rate_per_percent, decimals + 1),
                net(&price.lower),
                net(&price.higher),
            ];
            add_row(&mut table, group, factors, cells);
        }
    }
    let unit = if in_money { Some(money_unit(first)) } else { first.yield_unit.as_deref() };
    let head = format!(
        "One price {} % lower or higher, the other as it is: EONR{}; net return{}",
        plain(moved.percent),
        with_unit("", first.rate_unit.as_deref()),
        with_unit("", unit),
    );
    format!("\n{head}\n\n{}", table.render(2))
}

/// With a plus before what is above zero.
fn signed(value: f64, decimals: usize) -> String {
    let text = rate(value, decimals);
    if value > 0.0 { format!("+{text}") } else { text }
}

fn uncertain_prices(optima: &Optima, first: &OptimumGroup, factors: &[String]) -> String {
    let Some(any) = optima.groups.iter().find_map(|group| group.economy.uncertain_prices.as_ref()) else {
        return String::new();
    };
    let mut table = table(factors)
        .numbers("EONR,\nmedian")
        .words("9 in 10\ndraws")
        .numbers("draws\nat lowest")
        .numbers("draws at\nhighest")
        .words("net return,\n9 in 10 draws")
        .numbers("one rate\nfor all")
        .numbers("gains over\nthe EONR");
    for group in &optima.groups {
        let decimals = decimals(group);
        let Some(found) = &group.economy.uncertain_prices else {
            add_row(&mut table, group, factors, [chosen_text(group.response, &group.optimum, decimals)]);
            continue;
        };
        let (optimum, net) = (&found.optimum, &found.net_return);
        let is_reached = |rate: f64| group.highest_tested_rate.is_none_or(|highest| rate < highest);
        let optimum_text =
            |value: f64| if is_reached(value) { rate(value, decimals) } else { format!("at least {}", plain(value)) };
        let cells = [
            optimum_text(optimum.q50),
            format!("{} to {}", rate(optimum.q05, decimals), rate(optimum.q95, decimals)),
            some_percent(found.share_at_lowest_rate),
            some_percent(found.share_at_highest_rate),
            format!("{} to {}", significant(net.q05, 3), significant(net.q95, 3)),
            optimum_text(found.best_single_rate),
            money(found.expected_net_return_of_best_single_rate - found.expected_net_return_of_optimum),
        ];
        add_row(&mut table, group, factors, cells);
    }
    let head = format!(
        "Uncertain prices, {} draws (expected: grain {}, N {}): EONR{}; net return, {}",
        any.draws,
        significant(any.expected_grain_price, 3),
        significant(any.expected_n_price, 3),
        with_unit("", first.rate_unit.as_deref()),
        money_unit(first),
    );
    let note = "One rate for all: the rate with the highest expected net return, which is the EONR at the expected prices; whoever fears \
        a loss more than a gain of its size decides otherwise. The draws are of prices: the curve is taken as fitted.";
    format!("\n{head}\n\n{}\n{}", table.render(2), paragraph("  ", note))
}

/// A share of draws to a whole per cent, and nothing where there are none.
pub(crate) fn some_percent(share: f64) -> String {
    match share {
        0.0 => String::new(),
        below if below < 0.005 => "< 1 %".to_owned(),
        share => percent((share * 100.0).round() / 100.0),
    }
}

fn with_quality(optima: &Optima, first: &OptimumGroup, factors: &[String]) -> String {
    let valued = || optima.groups.iter().filter_map(|group| group.economy.with_quality.as_ref());
    let Some(any) = valued().next() else { return String::new() };
    let mut table = table(factors)
        .numbers(with_unit("EONR", first.rate_unit.as_deref()))
        .numbers("with\nquality")
        .words(interval_head(Some(any.optimum.level)))
        .words("family")
        .words("plots");
    for group in &optima.groups {
        let Some(valued) = &group.economy.with_quality else { continue };
        let decimals = decimals(group);
        let cells = [
            chosen_text(group.response, &group.optimum, decimals),
            chosen_text(valued.response, &valued.optimum, decimals),
            limits(&valued.optimum, decimals),
            valued.optimum.family.unwrap_or_default().to_owned(),
            plots(valued),
        ];
        add_row(&mut table, group, factors, cells);
    }
    let priced = match (valued().any(|valued| valued.protein_premium), valued().any(|valued| valued.lodging_loss)) {
        (true, true) => "protein premium and lodging loss",
        (true, false) => "protein premium",
        (false, _) => "lodging loss",
    };
    let note = "Each yield counts as what would bring as much at the base price. The EONR without quality stands beside it and is not \
        replaced; a plot that was not measured is left out, not filled in.";
    format!("\nWith the {priced}\n\n{}\n{}", table.render(2), paragraph("  ", note))
}

/// *22*, or *20; 2 without protein*.
pub(crate) fn plots(valued: &WithQuality) -> String {
    let missing = [(valued.without_protein, "protein"), (valued.without_lodging, "lodging score")];
    let missing = missing.into_iter().filter(|(plots, _)| *plots > 0);
    let left_out: Vec<String> =
        missing.map(|(plots, what)| format!("{} without {what}", count(plots, "plot"))).collect();
    if left_out.is_empty() { valued.plots.to_string() } else { format!("{}; {}", valued.plots, left_out.join(", ")) }
}
