//! Optima for a reader.

use serde_json::{Map, Value};

use super::curves_text::capitalised;
use super::economy_text::economy;
use super::group::{factor_text, factors, group_text, level_text, levels};
use super::interval_words::{interval_head, limits_text, method_note};
use super::layout::{TextTable, paragraph, quantity, with_unit};
use super::numbers::{decimals_of_rates, or_dash, plain, price_ratio, rate, significant};
use super::optimum::{AtPrice, Optima, OptimumGroup, OptimumOf, WithExcluded};
use super::which_curve_text::disagreement_text;
use crate::response::{AveragedOptimum, OptimumStatus};

/// More groups than this would make the list by family too long to read.
const MOST_GROUPS_BY_FAMILY: usize = 6;

pub(super) fn text(optima: &Optima) -> String {
    let Some(first) = optima.groups.first() else { return "No group of plots.\n".to_owned() };
    let (common, factors) = common_and_telling(optima);
    let ratio = quantity(&price_ratio(first.price_ratio), first.price_ratio_unit.as_deref());
    let mut text = format!("Economic optimum N rate (EONR) at a price ratio of {ratio}\n");
    if !common.is_empty() {
        text += &format!("{}\n", capitalised(&group_text(&common, first.rate_unit.as_deref())));
    }
    text += &format!("\n{}", chosen(optima, first, &factors));
    text += &with_excluded(optima, &factors);
    text += &notes(optima);
    text += &by_family(optima, first, &factors);
    text += &disagreements(optima, &factors);
    text += &by_price(optima, first, &factors);
    text += &economy(optima, first, &factors);
    text += &super::across_text::text(&optima.across);
    text
}

/// What all groups have in common, and the factors that tell them apart.
fn common_and_telling(optima: &Optima) -> (Map<String, Value>, Vec<String>) {
    let mut common = Map::new();
    let mut telling = Vec::new();
    for factor in factors(optima.groups.iter().map(|group| &group.group)) {
        let mut levels = optima.groups.iter().map(|group| group.group.get(&factor));
        match levels.next().flatten() {
            Some(first) if levels.all(|level| level == Some(first)) => {
                common.insert(factor, first.clone());
            }
            _ => telling.push(factor),
        }
    }
    (common, telling)
}

/// The factor whose levels are sections of a table.
const SECTION: &str = "trial";

/// A table with a column for each factor but the one that makes sections.
pub(super) fn table(factors: &[String]) -> TextTable {
    factors.iter().filter(|factor| *factor != SECTION).fold(TextTable::new(), |table, factor| {
        if factor == "early_n" { table.numbers("early\nN") } else { table.words(factor_text(factor)) }
    })
}

/// Adds the row of a group, in its section.
pub(super) fn add_row(
    table: &mut TextTable,
    group: &OptimumGroup,
    factors: &[String],
    cells: impl IntoIterator<Item = String>,
) {
    let own: Vec<String> = factors.iter().filter(|factor| *factor != SECTION).cloned().collect();
    if factors.len() > own.len() {
        table.section(&group.group.get(SECTION).map_or_else(String::new, level_text));
    }
    table.row(levels(&group.group, &own).into_iter().chain(cells).collect());
}

pub(crate) fn decimals(group: &OptimumGroup) -> usize {
    decimals_of_rates(group.highest_tested_rate.unwrap_or(0.0))
}

/// The optimum, or the bound that stands for it.
pub(super) fn rate_text(optimum: &OptimumOf, decimals: usize) -> String {
    status_text(optimum.rate, optimum.status, decimals)
}

/// A rate as what it is, or the bound that stands for it.
pub(crate) fn status_text(found: Option<f64>, status: OptimumStatus, decimals: usize) -> String {
    match status {
        OptimumStatus::Interior | OptimumStatus::AtZero => or_dash(found, |found| rate(found, decimals)),
        OptimumStatus::AtHighestTestedRate => format!("at least {}", or_dash(found, plain)),
        OptimumStatus::BeforeFirstRate => format!("at most {}", or_dash(found, plain)),
        OptimumStatus::NotShown => "not shown".to_owned(),
        OptimumStatus::NotEstimable => "not estimable".to_owned(),
    }
}

/// The optimum that stands for a group.
pub(crate) fn chosen_text(response: Option<&str>, optimum: &OptimumOf, decimals: usize) -> String {
    match response {
        Some("negligible") => "does not pay".to_owned(),
        _ => rate_text(optimum, decimals),
    }
}

/// Whether the whole interval lies beyond the tested rates.
pub(crate) fn is_past(optimum: &OptimumOf) -> bool {
    optimum.status == OptimumStatus::AtHighestTestedRate && optimum.low > optimum.rate
}

/// Every optimum that the text prints with an interval.
fn printed(optima: &Optima) -> impl Iterator<Item = &OptimumOf> {
    let listed = optima.groups.len() <= MOST_GROUPS_BY_FAMILY;
    let families = optima.groups.iter().filter(move |_| listed).flat_map(|group| &group.by_family);
    optima.groups.iter().map(|group| &group.optimum).chain(families)
}

pub(super) fn limits(optimum: &OptimumOf, decimals: usize) -> String {
    if optimum.status == OptimumStatus::NotEstimable {
        return String::new();
    }
    if is_past(optimum) {
        return format!("past {}", or_dash(optimum.rate, plain));
    }
    limits_text(optimum.limits, optimum.low, optimum.high, &optimum.segments, decimals)
}

fn chosen(optima: &Optima, first: &OptimumGroup, factors: &[String]) -> String {
    let mut table = table(factors)
        .words("family")
        .numbers(with_unit("EONR", first.rate_unit.as_deref()))
        .words(interval_head(Some(first.optimum.level)))
        .words("near-optimum\nrange")
        .numbers(with_unit("net return", first.yield_unit.as_deref()).replace(", ", ",\n"));
    for group in &optima.groups {
        let decimals = decimals(group);
        let near =
            group.near_optimum.map(|near| format!("{} to {}", rate(near.low, decimals), rate(near.high, decimals)));
        let cells = [
            group.optimum.family.unwrap_or_default().to_owned(),
            chosen_text(group.response, &group.optimum, decimals),
            limits(&group.optimum, decimals),
            near.unwrap_or_default(),
            group.net_return.map_or_else(String::new, |net| significant(net, 4)),
        ];
        add_row(&mut table, group, factors, cells);
    }
    table.render(2)
}

/// A line for each group whose yields are not all in.
fn with_excluded(optima: &Optima, factors: &[String]) -> String {
    let line = |group: &OptimumGroup| {
        let refitted = group.with_excluded.as_ref()?;
        let text = format!(
            "{}{}",
            name_among(group, factors),
            refitted_text(refitted, group.rate_unit.as_deref(), decimals(group))
        );
        Some(paragraph("  ", &capitalised(&text)))
    };
    let lines: String = optima.groups.iter().filter_map(line).collect();
    if lines.is_empty() { lines } else { format!("\n{lines}") }
}

fn refitted_text(refitted: &WithExcluded, rate_unit: Option<&str>, decimals: usize) -> String {
    format!("{}: {}.", put_back_in(refitted.put_in), refitted_rate(refitted, rate_unit, decimals))
}

/// *with the 2 yields that are left out put back in*.
pub(super) fn put_back_in(yields: usize) -> String {
    match yields {
        1 => "with the yield that is left out put back in".to_owned(),
        several => format!("with the {several} yields that are left out put back in"),
    }
}

/// *EONR 96 lb/ac (88 to 105), quadratic-plateau*.
pub(super) fn refitted_rate(refitted: &WithExcluded, rate_unit: Option<&str>, decimals: usize) -> String {
    let found = &refitted.optimum;
    let rate = chosen_text(refitted.response, found, decimals);
    let is_rate = refitted.response == Some("detected") && found.rate.is_some();
    let rate = if is_rate { format!("EONR {}", quantity(&rate, rate_unit)) } else { rate };
    let limits = limits(found, decimals);
    let limits = if limits.is_empty() { limits } else { format!(" ({limits})") };
    let family = found.family.map_or_else(String::new, |family| format!(", {family}"));
    format!("{rate}{limits}{family}")
}

fn notes(optima: &Optima) -> String {
    let any = |wanted: OptimumStatus| printed(optima).any(|optimum| optimum.status == wanted);
    let mut notes = String::from("\n");
    let criteria = [("aicc", "AICc"), ("bic", "BIC"), ("exact-fit", "fitting without error")];
    let used = criteria.iter().filter(|(by, _)| optima.groups.iter().any(|group| group.chosen_by == Some(by)));
    let used: Vec<&str> = used.map(|(_, words)| *words).collect();
    if !used.is_empty() {
        let text = format!(
            "Family: the best of those that bend, by {}; a straight line has no optimum of its own. Each interval is given its family: \
             where the family was chosen by the plots, 95 % intervals held the true EONR in about four simulated trials of five.",
            used.join(" or "),
        );
        notes += &paragraph("  ", &text);
    }
    let method = printed(optima).find_map(|optimum| optimum.method.as_deref());
    notes += &method.and_then(method_note).map_or_else(String::new, |note| paragraph("  ", note));
    if optima.groups.iter().any(|group| group.near_optimum.is_some()) {
        notes += &paragraph(
            "  ",
            "Net return: yield minus the yield that pays for the N, at the optimum. The near-optimum range \
            holds the rates whose net return is within the tolerance of the best.",
        );
    }
    if any(OptimumStatus::AtHighestTestedRate) {
        notes += &paragraph(
            "  ",
            "At least: the optimum is not reached within the tested rates; the best rate may lie beyond them.",
        );
    }
    if printed(optima).any(is_past) {
        notes += &paragraph(
            "  ",
            "Past: the whole interval lies beyond the tested rates, where a number would be extrapolated.",
        );
    }
    if any(OptimumStatus::BeforeFirstRate) {
        notes += &paragraph(
            "  ",
            "At most: the optimum lies below the second tested rate, where no plot tells rates apart, or at or below the lowest, where \
            that is not 0.",
        );
    }
    let responses = |wanted: &str| optima.groups.iter().any(|group| group.response == Some(wanted));
    if responses("negligible") {
        notes += &paragraph(
            "  ",
            "Does not pay: a response is not shown, and the largest gain that these plots still allow would not pay for the N.",
        );
    }
    if responses("not-detected") {
        notes += &paragraph(
            "  ",
            "Not shown: these plots do not show that yield rises with N, which is not the same as showing that it does not; the \
            interval says which optimum they still allow.",
        );
    }
    for group in optima.groups.iter().filter(|group| group.optimum.rate.is_some()) {
        if let Some(reason) = &group.untested {
            let name = capitalised(&group_text(&group.group, group.rate_unit.as_deref()));
            let text = format!(
                "{name}: a response cannot be tested: {reason}. The optimum is that of the curve, and may be chance."
            );
            notes += &paragraph("  ", &text);
        }
    }
    if optima.groups.iter().any(|group| group.response_test == Some("f")) {
        notes += &paragraph(
            "  ",
            "Where plots can be arranged in too few ways for a permutation test, the F test of the rates decides whether a response is \
            shown.",
        );
    }
    for group in &optima.groups {
        if let Some(reason) = &group.reason {
            let name = capitalised(&group_text(&group.group, group.rate_unit.as_deref()));
            notes += &paragraph("  ", &format!("{name}: no optimum: {reason}."));
        }
    }
    notes += &no_interval(optima);
    if printed(optima).any(has_open_end) {
        notes += &paragraph("  ", "Open: the plots set no limit on that side.");
    }
    if past_tested_rates(optima) {
        notes += &paragraph(
            "  ",
            "A limit above the highest tested rate is where the fitted curve puts it, not where plots were.",
        );
    }
    if notes.trim().is_empty() { String::new() } else { notes }
}

fn has_open_end(optimum: &OptimumOf) -> bool {
    optimum.segments.iter().flatten().any(Option::is_none)
}

/// Why intervals that are printed as not computed are not, each reason once.
fn no_interval(optima: &Optima) -> String {
    let mut reasons: Vec<(&str, &str)> = Vec::new();
    for optimum in printed(optima).filter(|optimum| optimum.rate.is_some()) {
        if let (Some(family), Some(reason)) = (optimum.family, optimum.reason.as_deref())
            && !reasons.contains(&(family, reason))
        {
            reasons.push((family, reason));
        }
    }
    let note = |(family, reason): (&str, &str)| paragraph("  ", &format!("No interval of {family}: {reason}."));
    reasons.into_iter().map(note).collect()
}

/// Whether a limit is printed that lies above the highest tested rate.
fn past_tested_rates(optima: &Optima) -> bool {
    let above = |group: &OptimumGroup, optimum: &OptimumOf| {
        let limits = [optimum.low, optimum.high].into_iter().flatten();
        !is_past(optimum)
            && group.highest_tested_rate.is_some_and(|highest| limits.clone().any(|limit| limit > highest))
    };
    let listed = optima.groups.len() <= MOST_GROUPS_BY_FAMILY;
    optima.groups.iter().any(|group| {
        above(group, &group.optimum) || listed && group.by_family.iter().any(|optimum| above(group, optimum))
    })
}

fn by_family(optima: &Optima, first: &OptimumGroup, factors: &[String]) -> String {
    if optima.groups.len() > MOST_GROUPS_BY_FAMILY {
        return "\nThe optimum by family is in --format json and csv, and in the text of a single trial.\n".to_owned();
    }
    let mut table = table(factors)
        .words("family")
        .numbers(with_unit("EONR", first.rate_unit.as_deref()))
        .words(interval_head(Some(first.optimum.level)));
    for group in &optima.groups {
        for optimum in &group.by_family {
            let decimals = decimals(group);
            let cells = [
                optimum.family.unwrap_or_default().to_owned(),
                rate_text(optimum, decimals),
                limits(optimum, decimals),
            ];
            add_row(&mut table, group, factors, cells);
        }
    }
    format!("\nBy family\n\n{}", table.render(2))
}

/// By how much families that fit about equally well disagree, where the families are listed.
fn disagreements(optima: &Optima, factors: &[String]) -> String {
    if optima.groups.len() > MOST_GROUPS_BY_FAMILY {
        return String::new();
    }
    let one = |group: &OptimumGroup| {
        let disagree = group
            .disagreement
            .as_ref()
            .map(|found| disagreement_text(found, group.rate_unit.as_deref(), decimals(group)));
        let averaged =
            group.averaged.as_ref().and_then(|found| averaged_text(found, group.rate_unit.as_deref(), decimals(group)));
        let said = [disagree, averaged].into_iter().flatten().reduce(|one, other| format!("{one} {other}"))?;
        Some(paragraph("  ", &capitalised(&format!("{}{said}", name_among(group, factors)))))
    };
    let lines: String = optima.groups.iter().filter_map(one).collect();
    if lines.is_empty() { lines } else { format!("\n{lines}") }
}

/// *Averaged over families by their AICc weights the EONR is 101 lb/ac (84 to 127 by bootstrap, the choice of family included).* Without an
/// interval it is left to JSON: a number without its uncertainty is of no use.
fn averaged_text(averaged: &AveragedOptimum, rate_unit: Option<&str>, decimals: usize) -> Option<String> {
    let interval = averaged.interval.as_ref()?;
    let found = match averaged.status {
        OptimumStatus::AtHighestTestedRate => format!("at least {}", rate(averaged.rate, decimals)),
        OptimumStatus::BeforeFirstRate => format!("at most {}", rate(averaged.rate, decimals)),
        _ => rate(averaged.rate, decimals),
    };
    let limits = match &interval.reason {
        Some(reason) => format!("no interval: {reason}"),
        None => {
            let limits = limits_text(interval.limits, interval.low, interval.high, &interval.segments, decimals);
            match interval.method.as_str() {
                "bootstrap" => format!("{limits} by bootstrap, the choice of family included"),
                _ => format!("{limits} by all families that fit nearly as well, so the choice of family is included"),
            }
        }
    };
    let by = if averaged.weighted_by == "aicc" { "AICc" } else { "BIC" };
    Some(format!(
        "Averaged over families by their {by} weights the EONR is {} ({limits}).",
        quantity(&found, rate_unit)
    ))
}

/// What tells a group from the others, with a colon; nothing where it is alone.
fn name_among(group: &OptimumGroup, factors: &[String]) -> String {
    if factors.is_empty() {
        return String::new();
    }
    let told = factors.iter().filter_map(|factor| Some((factor.clone(), group.group.get(factor)?.clone()))).collect();
    group_text(&told, group.rate_unit.as_deref()) + ": "
}

fn by_price(optima: &Optima, first: &OptimumGroup, factors: &[String]) -> String {
    if first.by_price.len() < 2 {
        return String::new();
    }
    let head = |ratio: f64| format!("at {}", price_ratio(ratio));
    let table = table(factors);
    let mut table = first.by_price.iter().fold(table, |table, at| table.numbers(head(at.price_ratio)));
    for group in &optima.groups {
        add_row(&mut table, group, factors, group.by_price.iter().map(|at| at_price(at, decimals(group))));
    }
    format!("\nBy price ratio: EONR{}\n\n{}", with_unit("", first.rate_unit.as_deref()), table.render(2))
}

fn at_price(at: &AtPrice, decimals: usize) -> String {
    chosen_text(at.response, &at.optimum, decimals)
}
