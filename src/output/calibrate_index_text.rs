//! What the index itself is worth, for a reader.

use super::calibrate_index::{ConfusionOf, CriticalIndexOf, FeatureSetOf, FeaturesOf, ReliabilityOf, ShareOf};
use super::interval_words::interval_text;
use super::layout::{TextTable, paragraph, quantity, with_unit};
use super::numbers::{NONE, count, fixed, or_dash, percent, plain, significant};
use crate::stats::interval::{Interval, Limits};

/// Decimals of an index, as in a rate table.
const INDEX_DECIMALS: usize = 3;
/// Decimals of a reliability and of an area under the characteristic.
const SHARE_DECIMALS: usize = 2;
const ERROR_DECIMALS: usize = 1;

/// How reliable the index is.
pub(super) fn reliability(found: &ReliabilityOf) -> String {
    paragraph("  ", &reliability_words(found))
}

/// The same, not broken into lines.
pub(crate) fn reliability_words(found: &ReliabilityOf) -> String {
    let Some(between_plots) = found.between_plots else {
        let reason = found.reason.as_deref().unwrap_or("there are no readings");
        return format!("Reliability of the index: not known, {reason}.");
    };
    let mut text = format!(
        "Reliability of the index: plots of a treatment differ by {} (SD, {} df), so that the mean of {} plots",
        fixed(between_plots, INDEX_DECIMALS),
        found.degrees_of_freedom,
        plain((found.plots.unwrap_or(0.0) * 10.0).round() / 10.0),
    );
    match (&found.within_site_years, &found.over_all) {
        (Some(within), over_all) => {
            text += &format!(" has a reliability of {} within site-years", share(within));
            if let Some(over_all) = over_all {
                text += &format!(" and of {} over all", share(over_all));
            }
        }
        (None, _) => {
            let reason = found.reason.as_deref().unwrap_or("there is nothing to compare");
            text += &format!(" has no reliability to print: {reason}");
        }
    }
    text += ".";
    if let Some(flattened) = flattened(found) {
        text += &format!(
            " That error makes the slope of a line {} % too flat. Nothing is corrected for it: the rule is used on readings with the same \
             error. The error of a shared N-rich reference is not in it: it is common to all treatments of a trial and does not average out \
             over plots.",
            fixed(flattened, 1),
        );
    }
    text
}

/// By how many per cent the slope of a line is too flat.
fn flattened(found: &ReliabilityOf) -> Option<f64> {
    Some(100.0 * (1.0 - found.within_site_years.as_ref()?.reliability.estimate?))
}

fn share(share: &ShareOf) -> String {
    with_interval(&share.reliability, SHARE_DECIMALS)
}

/// *0.91 (95 % interval 0.80 to 0.97)*.
fn with_interval(found: &Interval, decimals: usize) -> String {
    let estimate = or_dash(found.estimate, |estimate| fixed(estimate, decimals));
    if found.limits == Limits::NotComputed {
        let reason = found.reason.as_deref().unwrap_or("not computed");
        return format!("{estimate} (no interval: {reason})");
    }
    format!("{estimate} ({} interval {})", percent(found.level), interval_text(found, decimals))
}

/// What the index tells of whether N is needed.
pub(super) fn critical_index(found: &CriticalIndexOf, rate_unit: &str) -> String {
    let words = paragraph("  ", &critical_index_words(found, rate_unit));
    let (Some(own), Some(held_out)) = (&found.own, &found.held_out) else { return words };
    let mut table = TextTable::new()
        .words("N below it, none above")
        .numbers("needed,\ngiven")
        .numbers("needed,\nnot given")
        .numbers("not needed,\ngiven")
        .numbers("not needed,\nnot given")
        .numbers("right,\nof all")
        .numbers("mean of\nboth kinds");
    table.row(confusion("the treatments it was set on", own));
    table.row(confusion("site-years by the others", held_out));
    format!("{words}\n{}", table.render(2))
}

/// The same in a paragraph, without the table of right and wrong calls.
pub(crate) fn critical_index_words(found: &CriticalIndexOf, rate_unit: &str) -> String {
    let needed = if found.threshold == 0.0 {
        "any N".to_owned()
    } else {
        format!("more than {} of N", quantity(&plain(found.threshold), Some(rate_unit)))
    };
    let Some(area) = &found.area else {
        let reason = found.reason.as_deref().unwrap_or("there are no points");
        return format!("Critical index (below it {needed} is needed): none. {}.", capitalised(reason));
    };
    let mut text = format!(
        "Critical index, below which {needed} is needed: {} need it, {} {} not",
        count(found.deficient, "treatment"),
        found.sufficient,
        if found.sufficient == 1 { "does" } else { "do" },
    );
    if found.not_shown > 0 {
        text += &format!(" ({} of these: response not shown)", found.not_shown);
    }
    if found.undecided > 0 {
        text += &format!(", {} left out because the need is a bound", found.undecided);
    }
    text += &format!(
        ". Of one that needs it and one that does not, the former has the lower index with a chance of {}; 0.5 would be a coin.",
        with_interval(area, SHARE_DECIMALS),
    );
    let Some(critical) = &found.critical_index else {
        let reason = found.reason.as_deref().unwrap_or("the index does not part them");
        return format!("{text} No critical index: {reason}.");
    };
    format!("{text} It is best set at {}.", with_interval(critical, INDEX_DECIMALS))
}

fn confusion(name: &str, counts: &ConfusionOf) -> Vec<String> {
    let share = |share: Option<f64>| or_dash(share, |share| format!("{} %", fixed(100.0 * share, 0)));
    vec![
        name.to_owned(),
        counts.deficient_below.to_string(),
        counts.deficient_above.to_string(),
        counts.sufficient_below.to_string(),
        counts.sufficient_above.to_string(),
        share(counts.accuracy),
        share(counts.balanced_accuracy),
    ]
}

/// Several features at once.
pub(super) fn features(found: &FeaturesOf, rate_unit: &str) -> String {
    let mut text = format!("Several readings at once ({})\n", found.of);
    if let Some(reason) = &found.reason {
        return text + &paragraph("  ", &format!("Not compared: {reason}."));
    }
    let unit = Some(rate_unit);
    let mut about = format!(
        "N need explained by features together, each site-year with the same weight, and predicted for each of {} by the others: {} with every \
         feature and a need that is a number",
        count(found.site_years, "site-year"),
        count(found.rows, "treatment"),
    );
    if found.not_shown > 0 {
        about += &format!(" (a response that is not shown counts as no need: {})", found.not_shown);
    }
    let left_out = [
        (found.left_out, "without a feature"),
        (found.bounds, "whose need is a bound"),
        (found.alike, "told by other factors than variety and N"),
    ];
    let left_out: Vec<String> =
        left_out.iter().filter(|(number, _)| *number > 0).map(|(number, why)| format!("{number} {why}")).collect();
    if !left_out.is_empty() {
        about += &format!("; left out: {}", left_out.join(", "));
    }
    about += ". A feature earns its place (*) where it lowers the squared error on site-years not seen by more than one standard error.";
    text += &paragraph("  ", &about);
    let mut table = TextTable::new()
        .words("")
        .words("features")
        .numbers(with_unit("RMSE", unit).replace(", ", ",\n"))
        .numbers("bias")
        .words("N need =");
    let mut without = String::new();
    for set in &found.sets {
        let name = names(&set.features.iter().map(|feature| short(feature).to_owned()).collect::<Vec<_>>());
        if let Some(reason) = &set.reason {
            without += &paragraph("  ", &format!("{}: {reason}.", capitalised(&name)));
            continue;
        }
        let number = |value: Option<f64>| or_dash(value, |value| fixed(value, ERROR_DECIMALS));
        let mark = if set.earns_its_place == Some(true) { "*" } else { "" };
        table.row(vec![mark.to_owned(), name, number(set.rmse), number(set.bias), formula(set)]);
    }
    text += &format!("\n{}{without}", table.render(2));
    let verdict = if found.chosen.is_empty() {
        "No feature earns its place: one need for all predicts site-years not seen as well.".to_owned()
    } else {
        format!("Best of those that earn their place: {}.", names(&found.chosen))
    };
    text + &paragraph("  ", &verdict)
}

pub(crate) fn names(features: &[String]) -> String {
    if features.is_empty() { "none: one need for all".to_owned() } else { features.join(" + ") }
}

pub(crate) fn formula(set: &FeatureSetOf) -> String {
    let mut formula = set.intercept.map_or_else(|| NONE.to_owned(), |intercept| significant(intercept, 3));
    for coefficient in &set.coefficients {
        let sign = if coefficient.value < 0.0 { "-" } else { "+" };
        formula += &format!(" {sign} {}·{}", significant(coefficient.value.abs(), 3), short(&coefficient.feature));
    }
    formula
}

/// *canopy-ndvi index* is *canopy* in a table.
fn short(feature: &str) -> &str {
    feature.split(['-', ' ']).next().unwrap_or(feature)
}

fn capitalised(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
