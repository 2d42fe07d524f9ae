//! What several site-years give together, for a reader.

use super::across::{AcrossOf, AsideOf, CommonRateOf, GENERAL, MeanOptimumOf, SiteYearOf};
use super::group::group_text;
use super::interval_words::interval_text;
use super::layout::{TextTable, paragraph, quantity, with_unit};
use super::numbers::{count, decimals_of_error, decimals_of_rates, fixed, or_dash, percent, plain, rate, significant};
use crate::stats::interval::{Interval, Limits};

pub(super) fn text(across: &[AcrossOf]) -> String {
    if across.is_empty() {
        return String::new();
    }
    let (several, single): (Vec<_>, Vec<_>) = across.iter().partition(|across| across.site_years.len() > 1);
    let mut text = "\nAcross site-years\n".to_owned();
    text += &several.iter().map(|across| section(across)).collect::<String>();
    let alone: Vec<String> = single.iter().map(|across| name(across)).collect();
    if !alone.is_empty() {
        text += &format!("\n{}", paragraph("  ", &format!("One site-year only: {}.", alone.join("; "))));
    }
    text += &format!("\n{}", notes(&several));
    text
}

/// *all N*, *topdress onto 30 lb/ac*.
pub(crate) fn name(across: &AcrossOf) -> String {
    match across.early_n {
        None => "all N".to_owned(),
        Some(early) if early.low == early.high => {
            format!("topdress onto {}", quantity(&plain(early.low), across.rate_unit.as_deref()))
        }
        Some(early) => {
            let levels = format!("{} to {}", plain(early.low), plain(early.high));
            format!("topdress onto {}", quantity(&levels, across.rate_unit.as_deref()))
        }
    }
}

fn section(across: &AcrossOf) -> String {
    let unit = across.rate_unit.as_deref();
    let highest =
        across.site_years.iter().filter_map(|of| of.best_rate.or(of.optimum).or(of.at_least)).fold(0.0, f64::max);
    let decimals = decimals_of_rates(across.common_rate.highest_rate.unwrap_or(highest));
    let head =
        format!("{}: {}", super::curves_text::capitalised(&name(across)), count(across.site_years.len(), "site-year"));
    let mut text = format!("\n  {head}\n");
    text += &paragraph("    ", &common_rate(&across.common_rate, unit, across.yield_unit.as_deref(), decimals));
    text += &paragraph("    ", &mean_optimum(&across.mean_optimum, unit, decimals));
    text += &format!("\n{}", table(across, decimals));
    text += &across.set_aside.iter().map(|aside| paragraph("    ", &aside_text(aside, unit))).collect::<String>();
    let own = across.cautions.iter().filter(|caution| !GENERAL.contains(&caution.code));
    let cautions: String = own.map(|caution| paragraph("    ", &format!("Caution: {}.", caution.text))).collect();
    if cautions.is_empty() { text } else { format!("{text}\n{cautions}") }
}

/// *92.3 lb/ac (95 % interval 80.1 to 100.0)*.
fn with_interval(interval: &Interval, unit: Option<&str>, decimals: usize) -> String {
    let estimate = or_dash(interval.estimate, |value| rate(value, decimals));
    let limits = match interval.limits {
        Limits::NotComputed => "no interval".to_owned(),
        _ => format!("{} interval {}", percent(interval.level), interval_text(interval, decimals)),
    };
    format!("{} ({limits})", quantity(&estimate, unit))
}

fn common_rate(common: &CommonRateOf, unit: Option<&str>, yield_unit: Option<&str>, decimals: usize) -> String {
    let reason = common.reason.as_ref().map_or_else(String::new, |reason| format!(" ({reason})"));
    let (Some(rate_of), Some(lowest), Some(highest), Some(forgone)) =
        (&common.rate, common.lowest_rate, common.highest_rate, common.mean_forgone_return)
    else {
        return format!("Best common rate: none{reason}.");
    };
    let found = match rate_of.limits {
        Limits::NotComputed => {
            let estimate = or_dash(rate_of.estimate, |value| rate(value, decimals));
            format!("{}{reason}", quantity(&estimate, unit))
        }
        _ => with_interval(rate_of, unit, decimals),
    };
    let range = quantity(&format!("{} to {}", plain(lowest), plain(highest)), unit);
    let given_up = quantity(&significant(forgone, 2), yield_unit);
    format!(
        "Best common rate: {found}, of the {range} that all tested. On average it gives up {given_up} of the net return at each \
         site-year's own best rate."
    )
}

fn mean_optimum(mean: &MeanOptimumOf, unit: Option<&str>, decimals: usize) -> String {
    let (Some(of_mean), Some(between), Some(new)) = (&mean.mean, &mean.sd_between, &mean.new_site_year) else {
        let reason = mean.reason.as_deref().unwrap_or("there is none");
        return format!("Mean of the optima: none ({reason}).");
    };
    let by = match mean.estimation {
        Some("reml") => "REML".to_owned(),
        _ => {
            let are = if mean.bounds == 1 { "is a bound" } else { "are bounds" };
            format!("maximum likelihood, as {} of the {} {are}", mean.bounds, mean.numbers + mean.bounds)
        }
    };
    let new = match new.limits {
        Limits::NotComputed => "not computed, as the optima tell too little".to_owned(),
        _ => quantity(&interval_text(new, decimals), unit),
    };
    let heterogeneity = match (mean.q, mean.q_df, mean.i_squared) {
        (Some(q), Some(df), Some(share)) => {
            format!("; Q {} on {df} df, I² {} %", significant(q, 3), fixed(100.0 * share, 0))
        }
        _ => String::new(),
    };
    format!(
        "Mean of the optima: {}, by {by}. Standard deviation between site-years: {}{heterogeneity}. The optimum of a new \
         site-year: {new}.",
        with_interval(of_mean, unit, decimals),
        with_interval(between, unit, decimals),
    )
}

fn table(across: &AcrossOf, decimals: usize) -> String {
    let mut table = TextTable::new()
        .words("site-year")
        .numbers(with_unit("EONR", across.rate_unit.as_deref()))
        .numbers("SE")
        .numbers("groups")
        .numbers("weight")
        .numbers(with_unit("gives up", across.yield_unit.as_deref()).replace(", ", ",\n"));
    let weighted = across.site_years.iter().any(|of| of.weight != 1.0);
    let largest = across.site_years.iter().filter_map(|of| of.forgone_return).fold(0.0, f64::max);
    let of_forgone = decimals_of_error(largest).unwrap_or(0);
    let averaged = across.site_years.iter().any(|of| of.groups > 1);
    for of in &across.site_years {
        table.row(vec![
            of.site_year.clone(),
            known(of, decimals),
            of.standard_error.map_or_else(String::new, |error| rate(error, decimals)),
            if averaged { of.groups.to_string() } else { String::new() },
            if weighted { plain(of.weight) } else { String::new() },
            of.forgone_return.map_or_else(String::new, |forgone| fixed(forgone, of_forgone)),
        ]);
    }
    table.render(4)
}

pub(crate) fn known(of: &SiteYearOf, decimals: usize) -> String {
    let number = |value: f64| rate(value, decimals);
    match (of.optimum, of.at_least, of.at_most) {
        (Some(optimum), _, _) => number(optimum),
        (None, Some(low), Some(high)) => format!("{} to {}", number(low), number(high)),
        (None, Some(low), None) => format!("at least {}", number(low)),
        (None, None, Some(high)) => format!("at most {}", number(high)),
        (None, None, None) if of.optimum_is == "nothing" => "any".to_owned(),
        (None, None, None) => "none".to_owned(),
    }
}

pub(crate) fn aside_text(aside: &AsideOf, unit: Option<&str>) -> String {
    let group = if aside.group.is_empty() { String::new() } else { format!(", {}", group_text(&aside.group, unit)) };
    let from = if aside.from == "both" { "left out" } else { "not in the mean of the optima" };
    format!("{}{group}: {from}: {}.", aside.site_year, aside.reason)
}

fn notes(across: &[&AcrossOf]) -> String {
    note_words(across).iter().map(|note| paragraph("  ", note)).collect()
}

/// How the results are to be read, and what holds of all of them.
pub(crate) fn note_words(across: &[&AcrossOf]) -> Vec<String> {
    let mut notes = vec![
        "A site-year counts once, as the mean of its groups. Best common rate: the rate at which the mean net return of the site-years is \
         highest, each by its fitted curve, whether or not its response is detected."
            .to_owned(),
    ];
    let any = |is: fn(&SiteYearOf) -> bool| across.iter().flat_map(|across| &across.site_years).any(is);
    if any(|of| matches!(of.optimum_is, "at-least" | "at-most" | "between" | "nothing")) {
        notes.push(
            "At least, at most: the optimum is not reached, not shown, or its interval is open; it enters the mean as being within those \
             limits. Any: its plots allow every rate."
                .to_owned(),
        );
    }
    if across.iter().any(|across| across.common_rate.resamples > 0) {
        notes.push("The interval of the common rate is from resampling whole site-years.".to_owned());
    }
    if across.iter().any(|across| past_tested_rates(across)) {
        notes.push(
            "A limit above the tested rates is where a normal distribution of the optima puts it, not where plots were.".to_owned(),
        );
    }
    for code in GENERAL {
        let mut cautions = across.iter().flat_map(|across| &across.cautions);
        if let Some(caution) = cautions.find(|caution| caution.code == code) {
            notes.push(format!("Caution: {}.", caution.text));
        }
    }
    notes
}

fn past_tested_rates(across: &AcrossOf) -> bool {
    let Some(highest) = across.common_rate.highest_rate else { return false };
    let intervals = [&across.mean_optimum.mean, &across.mean_optimum.new_site_year];
    intervals.into_iter().flatten().any(|interval| interval.high > Some(highest))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::output::across::EarlyN;
    use crate::output::envelope::Warning;

    fn site_year(name: &str, groups: usize, known: [Option<f64>; 3], forgone: f64) -> SiteYearOf {
        let [optimum, at_least, at_most] = known;
        SiteYearOf {
            site_year: name.to_owned(),
            trials: Vec::new(),
            groups,
            weight: 1.0,
            optimum_is: if known == [None; 3] { "nothing" } else { "number" },
            optimum,
            standard_error: optimum.map(|_| 9.04),
            at_least,
            at_most,
            best_rate: Some(80.0),
            forgone_return: Some(forgone),
        }
    }

    fn interval(estimate: f64, low: f64, high: f64) -> Option<Interval> {
        Some(Interval::between(Some(estimate), Some(low), Some(high), 0.95, "made up"))
    }

    fn kind(early_n: Option<EarlyN>, site_years: Vec<SiteYearOf>) -> AcrossOf {
        AcrossOf {
            varies: if early_n.is_some() { "topdress" } else { "all" },
            early_n,
            rate_unit: Some("lb/ac".to_owned()),
            yield_unit: Some("bu/ac".to_owned()),
            set_aside: Vec::new(),
            common_rate: CommonRateOf {
                site_years: site_years.len(),
                rate: interval(92.31, 80.1, 103.0),
                lowest_rate: Some(0.0),
                highest_rate: Some(120.0),
                mean_forgone_return: Some(0.642),
                resamples: 2000,
                failed: 0,
                reason: None,
            },
            mean_optimum: MeanOptimumOf {
                estimation: Some("ml-interval-censored"),
                numbers: 2,
                bounds: 2,
                mean: interval(88.0, 49.2, 131.5),
                sd_between: interval(11.1, 0.0, 51.1),
                new_site_year: interval(88.0, 15.1, 160.9),
                q: None,
                q_df: None,
                i_squared: None,
                reason: None,
            },
            cautions: vec![Warning { code: "few-site-years", text: "few of them".to_owned() }],
            site_years,
        }
    }

    #[test]
    fn bounds_are_named_and_what_is_set_aside_is_said() {
        let mut all = kind(
            None,
            vec![
                site_year("Reedmoor 2023", 2, [Some(79.1), None, None], 0.086),
                site_year("Reedmoor 2024", 1, [None, Some(120.0), None], 1.31),
                site_year("Gorse Hill 2024", 1, [None, None, Some(38.3)], 0.7),
                site_year("Gorse Hill 2025", 1, [None, None, None], 0.0),
            ],
        );
        let group = [("variety".to_owned(), "Pale Heron".into())].into_iter().collect();
        let reason = "no curve can be fitted: one rate".to_owned();
        all.set_aside.push(AsideOf { site_year: "Reedmoor 2024".to_owned(), group, from: "both", reason });
        let alone =
            kind(Some(EarlyN { low: 44.608_956, high: 45.0 }), vec![site_year("Gorse Hill 2025", 1, [None; 3], 0.0)]);
        insta::assert_snapshot!(text(&[all, alone]));
    }

    #[test]
    fn without_intervals_or_a_mean_the_reason_is_said() {
        let early_n = Some(EarlyN { low: 30.0, high: 30.0 });
        let mut few = kind(
            early_n,
            vec![
                site_year("Reedmoor 2023", 1, [Some(79.1), None, None], 0.0),
                site_year("Reedmoor 2024", 1, [Some(99.0), None, None], 0.0),
            ],
        );
        few.common_rate.rate = Some(Interval::not_computed(Some(92.31), 0.95, "made up"));
        few.common_rate.reason = Some("no interval: too few".to_owned());
        let mut none = few.clone();
        few.mean_optimum.estimation = Some("reml");
        (few.mean_optimum.q, few.mean_optimum.q_df, few.mean_optimum.i_squared) = (Some(4.84), Some(1), Some(0.79));
        few.mean_optimum.new_site_year = Some(Interval::not_computed(Some(88.0), 0.95, "t"));
        none.common_rate.rate = None;
        none.common_rate.reason = Some("nothing in common".to_owned());
        none.mean_optimum = MeanOptimumOf { mean: None, reason: Some("no numbers".to_owned()), ..none.mean_optimum };
        insta::assert_snapshot!(text(&[few, none]));
    }

    #[test]
    fn without_site_years_there_is_no_section() {
        assert_eq!(text(&[]), "");
    }
}
