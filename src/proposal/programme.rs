//! The proposed `programme.toml`, for a user who has none.

use super::facts::Facts;
use super::lines::{Lines, quoted};
use super::role::{Confidence, Role};
use super::settle::Settled;
use super::units;

/// The text of a programme's descriptor, and what a user must fill in.
pub(super) fn write(plots: &Settled, facts: &Facts) -> (String, Vec<String>) {
    let mut lines = Lines::default();
    lines.comment("Proposed by stook. A programme is the folder that holds your trials, each a folder with a trial.toml; here stands what \
                   they share: the crop, the units of every result, prices, and the rate tables wanted.");
    lines.line("format = 1");
    lines.line("title = \"N-rate trials\"");
    match &facts.crop {
        Some(crop) => lines.key("crop", &quoted(crop.value), crop.confidence, &crop.why),
        None => lines.ask("crop", "\"wheat\"", "the crop, such as \"wheat\", \"corn\", \"barley\" or \"oats\"", ""),
    }
    let rates = plots.with_role(Role::NRate).map(|(column, _)| units::of_rates(column, plots)).next();
    let yields = plots.with_role(Role::Yield).map(|(column, _)| units::of_yields(column, plots)).next();
    let rate_unit = rates.as_ref().filter(|guess| guess.confidence > Confidence::Unsure).and_then(|guess| guess.unit);
    let per_acre = rate_unit == Some("lb/ac");
    lines.ask("currency", "\"USD\"", "the currency of your prices, such as \"USD\" or \"EUR\"", "");
    lines.line("");
    lines.line("[units]    # of every result, whatever the files hold");
    match rate_unit {
        Some(unit) => lines.key(
            "n_rate",
            &quoted(unit),
            Confidence::Likely,
            "as in the plots file; or the other of \"lb/ac\" and \"kg/ha\"",
        ),
        None => lines.key("n_rate", "\"lb/ac\"", Confidence::Unsure, "\"lb/ac\" or \"kg/ha\""),
    }
    let choices = "\"bu/ac\", \"kg/ha\", \"Mg/ha\", \"lb/ac\" or \"short ton/ac\"";
    match yields.filter(|guess| guess.confidence > Confidence::Unsure).and_then(|guess| guess.unit) {
        Some(unit) => {
            lines.key("yield", &quoted(unit), Confidence::Likely, &format!("as in the plots file; {choices}"))
        }
        None if per_acre => lines.key("yield", "\"bu/ac\"", Confidence::Likely, &format!("N is in lb/ac; {choices}")),
        None if rate_unit.is_some() => {
            lines.key("yield", "\"kg/ha\"", Confidence::Likely, &format!("N is in kg/ha; {choices}"))
        }
        None => lines.key("yield", "\"bu/ac\"", Confidence::Unsure, choices),
    }
    lines.line("# moisture_percent = 13.5    # to bring yields to one moisture; without it the crop's standard holds");
    lines.line("");
    lines.comment("For optima in money: prices of your own.");
    lines.line("# [prices]");
    if per_acre {
        lines.line("# grain = { price = 6.00, per = \"bu\" }");
        lines.line("# nitrogen = { price = 560, per = \"short ton\", n_percent = 46 }");
    } else {
        lines.line("# grain = { price = 210, per = \"Mg\" }");
        lines.line("# nitrogen = { price = 480, per = \"Mg\", n_percent = 46 }");
    }
    lines.line("");
    lines.comment(
        "For a rate table from readings: the instrument, the growth stages it holds for, the rows of the index.",
    );
    for line in [
        "# [[table]]",
        "# name = \"leaf-jointing\"",
        "# instrument = \"leaf-chlorophyll\"    # or \"canopy-ndvi\"",
        "# stages = [\"Feekes 5\", \"Feekes 6\"]",
        "# index = { lowest = 0.70, highest = 1.00, step = 0.05 }",
        "# rate = { round_to = 5, highest = 120 }",
        "# outside = \"no-rate\"",
    ] {
        lines.line(line);
    }
    lines.finish()
}
