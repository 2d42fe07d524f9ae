//! Leaves, reference, crowding, stand and plates for a reader: what is to be said, and where nothing is, one line.

use super::interval_words::piece_text;
use super::layout::{TextTable, paragraph};
use super::numbers::{count, fixed, or_dash, p_value, percent, plain, significant};
use super::sense::{FlaggedLeaf, Sense, SensingOf};
use super::sense_study::{
    AgainstOthers, CrowdingOf, EffectOf, LeafPrecision, LowPlotOf, PlateOf, ReferenceOf, SlopeOf, StandOf,
};
use crate::sensing::{CROWDING_NDVI, LOW_INDEX, MARGIN, THIN_SHARE};
use crate::stats::interval::Interval;
use crate::trial::FlaggedLeaves;

/// Decimals of an index, as in a rate table.
const INDEX_DECIMALS: usize = 3;
/// Decimals of percentages.
const PERCENT_DECIMALS: usize = 1;
/// N over which a slope is told, rate units.
const SLOPE_STEP: f64 = 10.0;
/// Decimals of such a slope.
const SLOPE_DECIMALS: usize = 4;
/// Lists name so many, and count the others.
const LISTED: usize = 12;

/// Everything of one sensing; `alone` where the text is of one trial, and has room.
pub(super) fn studied(sense: &Sense, sensing: &SensingOf, alone: bool) -> String {
    let unit = &sense.rate_unit;
    let mut text = String::new();
    for reference in &sensing.references {
        text += &paragraph("  ", &reference_text(reference, sensing, unit));
    }
    for crowding in &sensing.crowding {
        text += &crowding_text(crowding, unit).map_or_else(String::new, |words| paragraph("  ", &words));
    }
    if let Some(stand) = &sensing.stand {
        text += &stand_text(stand, unit);
    }
    if !sensing.flagged.is_empty() {
        text += &paragraph("  ", &flagged_text(&sensing.flagged, sense.flagged_leaves));
    }
    if let Some(precision) = &sensing.precision {
        text += &precision_text(precision, sensing, alone);
    }
    text
}

fn of_variety(variety: Option<&String>) -> String {
    variety.map_or_else(String::new, |variety| format!(" of {variety}"))
}

/// A rate to the tenth.
fn rate(value: f64) -> String {
    plain((value * 10.0).round() / 10.0)
}

/// *0.4 % (−1.1 to 1.9)*.
fn percent_text(interval: &Interval) -> String {
    let estimate = or_dash(interval.estimate, |value| fixed(value, PERCENT_DECIMALS));
    match (interval.low, interval.high) {
        (None, None) => format!("{estimate} %"),
        (low, high) => format!("{estimate} % ({})", piece_text(low, high, PERCENT_DECIMALS)),
    }
}

fn verdict_text(verdict: &str) -> &str {
    match verdict {
        "cannot-tell" => "whether it is sufficient cannot be told",
        "doubtful" => "DOUBTFUL",
        other => other,
    }
}

pub(crate) fn reference_text(reference: &ReferenceOf, sensing: &SensingOf, unit: &str) -> String {
    let shared = if reference.within_block { ", each for its own block" } else { "" };
    let above = if reference.plots_above == 0 { "none".to_owned() } else { reference.plots_above.to_string() };
    let mut text = format!(
        "N-rich reference{} ({}{shared}): {}; {above} of {} read above it.",
        of_variety(reference.variety.as_ref()),
        count(reference.reference_plots, "plot"),
        verdict_text(reference.verdict),
        count(reference.plots, "plot"),
    );
    if 2 * reference.plots_above > reference.plots {
        text += &format!(
            " Most plots read above it (mean index {}): such an index says nothing of N, and a reference short of N makes every \
             index too high.",
            fixed(reference.mean_index, INDEX_DECIMALS)
        );
    }
    if let [rich, plots] = reference.other_stage.as_slice() {
        text += &format!(" It was read at {rich} and plots at {plots}: read both at one stage.");
    }
    let digits = if sensing.instrument == "canopy-ndvi" { 3 } else { 1 };
    text += &format!(" {}", against_text("Its reading", &reference.by_reading, digits, unit));
    if reference.thin_left_out > 0 {
        text += &format!(" {} with a thin stand are left out of that.", count(reference.thin_left_out, "plot"));
    }
    if reference.by_yield.as_ref().is_some_and(|yields| yields.verdict == "doubtful") {
        text += " Its yield speaks against it, see below.";
    }
    text
}

/// What the yields of a trial's references say of them: the same on every date.
pub(super) fn yields_of_references(sensing: &SensingOf, unit: &str) -> String {
    let line = |reference: &ReferenceOf| {
        let yields = reference.by_yield.as_ref()?;
        let whose = reference.variety.as_ref().map_or_else(String::new, |variety| format!("{variety}: "));
        let text = format!("{whose}{}. {}", verdict_text(yields.verdict), against_text("Its yield", yields, 1, unit));
        Some(paragraph("  ", &text))
    };
    sensing.references.iter().filter_map(line).collect()
}

fn against_text(what: &str, found: &AgainstOthers, decimals: usize, unit: &str) -> String {
    let n = |n: Option<f64>| or_dash(n, rate);
    let of_n = |value: Option<f64>| format!("{} {unit}", n(value));
    let highest = || found.highest_minus_reference_percent.as_ref().map_or_else(String::new, percent_text);
    let p = found.p_value.map_or_else(String::new, |p| format!(", Dunnett {}", p_value(p)));
    let step = || {
        let last = found.last_step_percent.as_ref().map_or_else(String::new, percent_text);
        format!("from {} to {} it changes by {last}", n(found.next_lower_n), of_n(found.reference_n))
    };
    let plateau = || {
        let from = found.plateau_from.as_ref()?;
        let estimate = from.estimate.map_or_else(
            || "does not come within the tested rates".to_owned(),
            |from| format!("begins at {} {unit}", fixed(from, 0)),
        );
        let limits = match (from.low, from.high) {
            (None, None) => "open".to_owned(),
            (low, high) => piece_text(low, high, 0),
        };
        Some(format!("its plateau {estimate} (interval {limits})"))
    };
    let margin = fixed(100.0 * MARGIN, 0);
    let why = match found.because {
        "level-above" => format!("plots with {} read higher by {}{p}", of_n(found.highest_n), highest()),
        "more-n-above" => {
            format!("plots with {} in all yielded more by {}{p}: it ran short of N", of_n(found.highest_n), highest())
        }
        "less-n-above" => format!(
            "plots with {} in all yielded more by {}{p}: what it lost, it lost to too much N, not too little",
            of_n(found.highest_n),
            highest()
        ),
        "last-step-small" => format!("{}, so more N would add under {margin} % to it", step()),
        "plateau-reached" => plateau().unwrap_or_default(),
        "none-above" => format!(
            "the highest treatment, {} in all, differs from it by {}, so none lies {margin} % above it",
            of_n(found.highest_n),
            highest()
        ),
        "still-rising" => format!("still rising there; {}", step()),
        "not-shown" => {
            let known = match (&found.last_step_percent, plateau()) {
                (Some(_), Some(plateau)) => format!("{}; {plateau}", step()),
                (Some(_), None) => step(),
                (None, _) => {
                    format!("the highest treatment, {} in all, differs from it by {}", of_n(found.highest_n), highest())
                }
            };
            format!("{known}. Neither enough nor too little is shown")
        }
        _ => "there is nothing to compare it with".to_owned(),
    };
    format!("{what}, {}: {why}.", fixed(found.reference, decimals))
}

fn slope_text(slope: &SlopeOf, unit: &str) -> String {
    let scaled = |value: Option<f64>| value.map(|value| SLOPE_STEP * value);
    format!(
        "{} of the index ({}, {}) for {} {unit} from {} to {}",
        or_dash(scaled(slope.slope.estimate), |value| fixed(value, SLOPE_DECIMALS)),
        piece_text(scaled(slope.slope.low), scaled(slope.slope.high), SLOPE_DECIMALS),
        p_value(slope.p_value),
        plain(SLOPE_STEP),
        rate(slope.from_n),
        rate(slope.to_n),
    )
}

/// Nothing where the canopy is not crowded.
pub(crate) fn crowding_text(crowding: &CrowdingOf, unit: &str) -> Option<String> {
    let whose = of_variety(crowding.variety.as_ref());
    let reference = fixed(crowding.reference, INDEX_DECIMALS);
    let slope = |slope: &Option<SlopeOf>| slope.as_ref().map(|slope| slope_text(slope, unit));
    let (lower, upper) = (slope(&crowding.lower), slope(&crowding.upper));
    let leaf = match &crowding.leaf_upper {
        Some(leaf) if leaf.p_value <= 0.05 => " The leaf meter still tells these levels apart.",
        Some(_) => " The leaf meter sees none either, so the crop may simply have had enough.",
        None => "",
    };
    match (crowding.crowded, upper) {
        ("crowded", Some(upper)) => {
            let lower = lower.map_or_else(String::new, |lower| format!(", against {lower}"));
            let bend = crowding.bend_p_value.map_or_else(String::new, |p| format!("; no bend: {}", p_value(p)));
            Some(format!(
                "CROWDED: the reference{whose} reads {reference}, and near it a change in N no longer shows: {upper}{lower}{bend}.{leaf} \
                 Sense earlier, before the canopy closes, or use a leaf meter; a high index here may hide a need."
            ))
        }
        ("perhaps", Some(upper)) => Some(format!(
            "Perhaps crowded: the reference{whose} reads {reference}, as closed canopies do ({} and above), and near it no change with \
             N is shown: {upper}.{leaf}",
            plain(CROWDING_NDVI)
        )),
        ("perhaps", None) => Some(format!(
            "Perhaps crowded: the reference{whose} reads {reference}, as closed canopies do ({} and above); too few plots tell whether \
             a change in N still shows there.",
            plain(CROWDING_NDVI)
        )),
        _ => None,
    }
}

fn stand_text(stand: &StandOf, unit: &str) -> String {
    stand_words(stand, unit).iter().map(|words| paragraph("  ", words)).collect()
}

/// What a day's readings say of stand and N, a paragraph each.
pub(crate) fn stand_words(stand: &StandOf, unit: &str) -> Vec<String> {
    let plots = |because: &[&str]| -> Vec<&LowPlotOf> {
        stand.low.iter().filter(|low| because.contains(&low.because)).collect()
    };
    let mut text = String::new();
    if let (Some(counted), Some(full), Some(below)) = (stand.counted, stand.full, stand.thin_below) {
        let why = if stand.thin_below_is_declared {
            "as the programme says".to_owned()
        } else {
            format!("{} of the full stand, {}; common practice", percent(THIN_SHARE), fixed(full, 0))
        };
        text += &format!(
            "Stand: {} of {} counted have fewer than {} {counted} {} ({why}).",
            stand.plots_thin,
            count(stand.plots_counted, "plot"),
            fixed(below, 0),
            stand.unit,
        );
        if let Some(model) = &stand.model {
            text += &format!(" A stand denser by a tenth reads {}", effect_text(&model.stand_tenth));
            if let (Some([from, to]), Some(n)) = (model.n_range, &model.n) {
                text += &format!("; N from {} to {} {unit} reads {}", rate(from), rate(to), effect_text(n));
            }
            let blocks = match (model.blocks_removed, model.stand_between_blocks) {
                (true, _) => " (blocks removed)".to_owned(),
                (false, Some(share)) => format!(
                    " (blocks not removed: {} of the stand's variation lies between them, so what else they differ by is in it)",
                    percent((share * 100.0).round() / 100.0)
                ),
                (false, None) => String::new(),
            };
            text += &format!("{blocks}.");
        }
    }
    let mut words: Vec<String> = Some(text).filter(|text| !text.is_empty()).into_iter().collect();
    let low = plain(LOW_INDEX);
    let told = if stand.leaf_date.is_some() {
        "the leaf index is near 1"
    } else {
        "at a full stand the index would be near 1"
    };
    let lines = [
        (vec!["thin-stand"], format!("Thin stand, not N ({told}): extra N there may not pay")),
        (vec!["thin-stand-and-n"], "Thin stand, and N is short too".to_owned()),
        (vec!["thin-stand-at-least"], "Thin stand; whether N is short too cannot be told".to_owned()),
        (
            vec!["not-n"],
            "Low canopy index beside a leaf index near 1: a thin stand or another cause, not N; extra N there may not pay".to_owned(),
        ),
    ];
    for (because, what) in lines {
        let marked = plots(&because);
        if !marked.is_empty() {
            let ids: Vec<&str> = marked.iter().map(|low| low.plot.as_str()).collect();
            words.push(format!("{what} ({}, canopy index below {low}): {}.", count(ids.len(), "plot"), list(&ids)));
        }
    }
    let short = plots(&["n"]).len();
    if short > 0 && stand.counted.is_some() {
        words.push(format!("N: {} with a canopy index below {low} and a full stand.", count(short, "plot")));
    }
    words
}

fn effect_text(effect: &EffectOf) -> String {
    let way = if effect.change.estimate.is_some_and(|change| change < 0.0) { "lower" } else { "higher" };
    format!(
        "{way} by {} (SE {}, {})",
        or_dash(effect.change.estimate.map(f64::abs), |value| fixed(value, INDEX_DECIMALS)),
        fixed(effect.standard_error, INDEX_DECIMALS),
        p_value(effect.p_value)
    )
}

/// *101, 102 and 3 more*.
fn list(items: &[&str]) -> String {
    match items.split_at_checked(LISTED) {
        Some((shown, others)) if !others.is_empty() => format!("{} and {} more", shown.join(", "), others.len()),
        _ => items.join(", "),
    }
}

fn flagged_text(flagged: &[FlaggedLeaf], decided: FlaggedLeaves) -> String {
    let mut plots: Vec<&str> = flagged.iter().map(|leaf| leaf.plot.as_str()).collect();
    plots.dedup();
    let named: Vec<String> = flagged
        .iter()
        .map(|leaf| {
            let number = leaf.leaf.map_or_else(String::new, |number| format!(" leaf {number}:"));
            format!("{}{number} {}", leaf.plot, plain(leaf.reading))
        })
        .collect();
    let named: Vec<&str> = named.iter().map(String::as_str).collect();
    let decision = match decided {
        FlaggedLeaves::Keep => "they are kept",
        FlaggedLeaves::LeaveOut => "they are left out, as the programme says",
    };
    format!(
        "{} of {} read far from the rest (lesion, wrong leaf): {}; {decision}. Means and indices with and without them are in \
         --format csv and json.",
        count(flagged.len(), "reading"),
        count(plots.len(), "plot"),
        list(&named)
    )
}

fn precision_text(precision: &LeafPrecision, sensing: &SensingOf, alone: bool) -> String {
    let noun = if sensing.instrument == "canopy-ndvi" { "reading" } else { "leaf" };
    let many =
        |number: usize| if noun == "leaf" && number != 1 { format!("{number} leaves") } else { count(number, noun) };
    let between = if precision.between_was_negative {
        "plots of a treatment differ no more than their readings explain".to_owned()
    } else {
        format!("between plots of a treatment {}", significant(precision.between_sd, 3))
    };
    let blocks = if precision.blocks_removed { ", blocks removed" } else { "" };
    let mut text = paragraph(
        "  ",
        &format!(
            "SD within a plot {}, {between}{blocks}. A treatment mean ({} × {}) has a standard error of {}.",
            significant(precision.within_sd, 3),
            count(precision.plots, "plot"),
            many(precision.readings),
            percent_text(&precision.standard_error_percent)
        ),
    );
    if let Some(wanted) = &precision.wanted {
        let goal = format!("{} %", plain(wanted.standard_error_percent));
        let plots =
            wanted.plots.map_or_else(|| "more plots than any trial has".to_owned(), |plots| count(plots, "plot"));
        let words = match wanted.readings {
            Some(readings) => format!(
                "A standard error of {goal} takes {} a plot with {}, or {plots} with {}.",
                many(readings),
                count(precision.plots, "plot"),
                many(precision.readings)
            ),
            None => format!(
                "No number of {} gives a standard error of {goal} with {}, because plots differ too much; {plots} of a treatment \
                 would, with {} each.",
                if noun == "leaf" { "leaves" } else { "readings" },
                count(precision.plots, "plot"),
                many(precision.readings)
            ),
        };
        text += &paragraph("  ", &words);
    }
    if alone {
        let mut table = TextTable::new()
            .numbers(if noun == "leaf" { "leaves a plot" } else { "readings a plot" })
            .numbers("SE of a treatment\nmean, %")
            .numbers("SE of\nits index");
        for at in &precision.by_readings {
            table.row(vec![
                at.readings.to_string(),
                fixed(at.standard_error_percent, 2),
                or_dash(at.index_standard_error, |error| fixed(error, INDEX_DECIMALS + 1)),
            ]);
        }
        text += &format!("\n{}", table.render(4));
    }
    text
}

/// How the instruments of a trial kept to their reference plates.
pub(super) fn plates_text<'p>(plates: impl Iterator<Item = &'p PlateOf>) -> String {
    plates.map(|plate| paragraph("  ", &plate_text(plate))).collect()
}

pub(crate) fn plate_text(plate: &PlateOf) -> String {
    let outside: Vec<String> = plate
        .readings
        .iter()
        .filter(|reading| reading.outside)
        .map(|reading| format!("{} read {} for {}", reading.time, plain(reading.value), plain(reading.expected)))
        .collect();
    let kept = match plate.kept {
        "out-of-tolerance" => {
            let outside: Vec<&str> = outside.iter().map(String::as_str).collect();
            format!("OUT OF TOLERANCE (± {}): {}", plain(plate.tolerance), list(&outside))
        }
        "drifted" => format!("every reading within ± {}, but the instrument DRIFTED by more", plain(plate.tolerance)),
        _ => format!("within ± {}", plain(plate.tolerance)),
    };
    let drift = match (plate.drift_over_day, plate.hours) {
        (Some(change), Some(hours)) => {
            let p = plate.drift_p_value.map_or_else(String::new, |p| format!(", {}", p_value(p)));
            format!(" Drift over {} h: {}{p}.", fixed(hours, 1), significant(change, 2))
        }
        _ => " All at one time: no drift can be seen.".to_owned(),
    };
    let remedy = if plate.kept == "within-tolerance" {
        ""
    } else {
        " Readings of that day may be off: readings against a reference read shortly before or after stand best."
    };
    format!(
        "{} plate, {}, {}: {kept}. Mean deviation {}.{drift}{remedy}",
        plate.instrument,
        plate.date,
        count(plate.readings.len(), "reading"),
        if plate.mean_deviation == 0.0 { "0".to_owned() } else { significant(plate.mean_deviation, 2) },
    )
}
