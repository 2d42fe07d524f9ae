//! Readings and indices for a reader.

use super::layout::{TextTable, paragraph, with_unit};
use super::numbers::{count, fixed, p_value, plain, significant};
use super::sense::{Sense, SensingOf, ShownN};
use super::sense_study_text::{plates_text, studied, yields_of_references};

/// Decimals of an index, as in a rate table.
const INDEX_DECIMALS: usize = 3;

pub(super) fn text(sense: &Sense) -> String {
    let mut text = "Readings against the N-rich reference: index = reading ÷ reference\n".to_owned();
    if sense.sensings.is_empty() {
        return text + "\nNo trial has readings.\n";
    }
    let alone =
        sense.sensings.iter().all(|sensing| Some(&sensing.trial) == sense.sensings.first().map(|one| &one.trial));
    for of_trial in sense.sensings.chunk_by(|a, b| a.trial == b.trial) {
        for sensing in of_trial {
            text += &format!("\n{}, {}, {}\n", sensing.trial, sensing.instrument, sensing.date);
            text += &paragraph("  ", &counts(sensing));
            for shown in &sensing.shows_n {
                text += &paragraph("  ", &shows(shown));
            }
            text += &studied(sense, sensing, alone);
            text += &format!("\n{}", treatments(sense, sensing));
        }
        let trial = of_trial.first().map_or("", |sensing| &sensing.trial);
        let yields = of_trial.last().map_or_else(String::new, |last| yields_of_references(last, &sense.rate_unit));
        if !yields.is_empty() {
            text += &format!("\n{trial}, yield of the N-rich reference\n{yields}");
        }
        let plates = plates_text(sense.plates.iter().filter(|plate| plate.trial == trial));
        if !plates.is_empty() {
            text += &format!("\n{trial}, reference plates\n{plates}");
        }
    }
    let elsewhere = if alone { "" } else { " The table of leaf numbers is in the text of a single trial." };
    text + &format!(
        "\n{}",
        paragraph("", &format!("Treatment means; every plot is in --format csv and json.{elsewhere}"))
    )
}

fn counts(sensing: &SensingOf) -> String {
    let mut reasons: Vec<(&str, usize)> = Vec::new();
    for reason in sensing.plots.iter().filter_map(|plot| plot.reason.as_deref()) {
        match reasons.iter_mut().find(|(known, _)| *known == reason) {
            Some((_, plots)) => *plots += 1,
            None => reasons.push((reason, 1)),
        }
    }
    let reasons: Vec<String> = reasons.into_iter().map(|(reason, plots)| format!("{reason}: {plots}")).collect();
    let why = if reasons.is_empty() { String::new() } else { format!(" ({})", reasons.join("; ")) };
    let read = count(sensing.plots_read, "plot");
    format!("{read} read = {} used + {} excluded{why}.", sensing.used, sensing.excluded)
}

fn shows(shown: &ShownN) -> String {
    let variety = shown.variety.as_ref().map_or(String::new(), |variety| format!("{variety}: "));
    let verdict =
        if shown.shown { "the readings show the N already on" } else { "the readings do NOT show the N already on" };
    format!(
        "{variety}{verdict} (F test of the N levels, {}; lowest ÷ highest N level {}).",
        p_value(shown.p_value),
        fixed(shown.lowest_to_highest, INDEX_DECIMALS),
    )
}

fn treatments(sense: &Sense, sensing: &SensingOf) -> String {
    let mut table = TextTable::new()
        .words("variety")
        .numbers(with_unit("N already on", Some(&sense.rate_unit)))
        .numbers("plots")
        .numbers("mean reading")
        .numbers("mean index")
        .words("");
    for treatment in &sensing.treatments {
        table.row(vec![
            treatment.variety.clone().unwrap_or_default(),
            plain(treatment.n_on),
            treatment.plots.to_string(),
            significant(treatment.reading, 3),
            fixed(treatment.index, INDEX_DECIMALS),
            if treatment.is_reference { "N-rich reference" } else { "" }.to_owned(),
        ]);
    }
    table.render(2)
}
