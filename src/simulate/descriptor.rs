//! The descriptors: `programme.toml` and each trial's `trial.toml`.

use std::fmt::Write;

use super::site_year::{
    CanopyReadings, Harvest, History, Mishap, Rates, RichPlots, SiteYear, TypedRate, UREA_N_PERCENT,
};
use super::tables::{STANDARD_MOISTURE, early_column, ndvi_column};

/// Price of grain, USD a bushel.
const GRAIN_PRICE: f64 = 6.0;
/// Price of urea, USD a short ton.
const UREA_PRICE: f64 = 560.0;
/// Price ratios asked for beside the programme's own, bu a pound of N.
pub(super) const OTHER_PRICE_RATIOS: [f64; 2] = [0.05, 0.15];

/// The price ratio of the programme, bu a pound of N.
pub(super) fn price_ratio() -> f64 {
    UREA_PRICE / (2000.0 * UREA_N_PERCENT / 100.0) / GRAIN_PRICE
}

/// `programme.toml` over these site-years.
pub(super) fn programme(site_years: &[SiteYear]) -> String {
    let left_out: Vec<String> = site_years
        .iter()
        .filter_map(|site_year| {
            let reason = site_year.left_out.as_ref()?;
            Some(format!("{} = {}", text(&site_year.folder()), text(reason)))
        })
        .collect();
    let leave_out =
        if left_out.is_empty() { String::new() } else { format!("leave_out = {{ {} }}\n", left_out.join(", ")) };
    let [low_ratio, high_ratio] = OTHER_PRICE_RATIOS;
    let mut programme = format!(
        r#"format = 1
title = "Larkwater valley winter wheat"
crop = "wheat"
currency = "USD"
{leave_out}
[units]
n_rate = "lb/ac"
yield = "bu/ac"
moisture_percent = {STANDARD_MOISTURE:.1}

[prices]
grain = {{ price = {GRAIN_PRICE:.2}, per = "bu" }}
nitrogen = {{ price = {UREA_PRICE:.0}, per = "short ton", n_percent = {UREA_N_PERCENT:.0} }}
other_price_ratios = [{low_ratio:.2}, {high_ratio:.2}]

[decisions]
near_optimum_within = {{ percent = 1 }}
standard_topdress = 80
"#
    );
    for (name, instrument) in [("canopy-jointing", "canopy-ndvi"), ("leaf-jointing", "leaf-chlorophyll")] {
        programme.push_str(&format!(
            r#"
[[table]]
name = "{name}"
instrument = "{instrument}"
stages = ["Feekes 5", "Feekes 6"]
index = {{ lowest = 0.70, highest = 1.00, step = 0.05 }}
rate = {{ round_to = 5, highest = 120 }}
outside = "no-rate"
"#
        ));
    }
    programme
}

/// `trial.toml` of one site-year.
pub(super) fn trial(site_year: &SiteYear) -> String {
    let mut lines = Lines::default();
    lines.key("format", "1");
    lines.key("site", &text(&site_year.site));
    lines.key("harvest_year", &site_year.harvest_year.to_string());
    if site_year.varieties_on_main_plots {
        lines.key("design", "\"split-plot\"");
        lines.key("main_plot", "[\"variety\"]");
    } else {
        lines.key("design", "\"randomised-complete-block\"");
    }
    lines.key(
        "need_from",
        match site_year.rates {
            Rates::DifferenceFromOptimum { .. } => "\"difference-from-optimum\"",
            Rates::TopdressResponse { .. } => "\"topdress-response\"",
        },
    );
    history(&mut lines, &site_year.history, site_year.harvest_year);

    lines.section("[plots]");
    lines.key("file", "\"plots.csv\"");
    lines.key("plot", "\"plot\"");
    lines.key("block", "\"rep\"");
    if site_year.rows_a_block.is_some() {
        lines.key("position", "{ row = \"field_row\", column = \"field_column\" }");
    }
    match site_year.varieties.as_slice() {
        [only] => lines.key("variety", &format!("{{ same = {} }}", text(&only.name))),
        _ => lines.key("variety", "\"cultivar\""),
    }
    if site_year.thin_stand.is_some() {
        lines.key("tillers", "{ column = \"shoots_per_ft2\", unit = \"per ft2\" }");
    }

    applications(&mut lines, site_year);
    reference(&mut lines, site_year);
    readings(&mut lines, site_year);
    harvest(&mut lines, site_year.harvest);
    for mishap in &site_year.mishaps {
        let (plot, what, reason) = match mishap {
            Mishap::NotHarvested { .. } => continue,
            Mishap::YieldSpoilt { plot, reason, .. } => (plot, "yield", reason),
            Mishap::ReadingsSpoilt { plot, reason, .. } => (plot, "readings", reason),
            Mishap::PlotSpoilt { plot, reason, .. } => (plot, "plot", reason),
        };
        lines.section("[[exclude]]");
        lines.key("plot", &plot.to_string());
        lines.key("what", &text(what));
        lines.key("reason", &text(reason));
    }
    lines.text
}

fn history(lines: &mut Lines, history: &History, harvest_year: i32) {
    lines.key("planting_date", &history.planted.in_year(harvest_year - 1));
    lines.key("preceding_crop", &text(&history.preceding_crop));
    if let Some(n) = history.manure_credit {
        lines.key("manure_credit", &format!("{{ n = {n}, unit = \"lb/ac\" }}"));
    }
    if let Some(n) = history.soil_nitrate {
        let depth = "depth = 24, depth_unit = \"in\"";
        lines.key("spring_soil_nitrate", &format!("{{ n = {n}, unit = \"lb/ac\", {depth} }}"));
    }
    if let Some(weather) = &history.weather {
        lines.key("weather_notes", &text(weather));
    }
}

fn applications(lines: &mut Lines, site_year: &SiteYear) {
    let rate = |column: &str| match site_year.typed_rate {
        TypedRate::NitrogenPounds => format!("{{ column = \"{column}\", unit = \"lb/ac\" }}"),
        TypedRate::UreaPounds => {
            format!("{{ column = \"{column}\", unit = \"lb/ac\", n_percent = {UREA_N_PERCENT:.0} }}")
        }
        TypedRate::NitrogenKilograms => format!("{{ column = \"{column}\", unit = \"kg/ha\" }}"),
    };
    let mut application = |name: &str, column: &str, date: String, timing: &str| {
        lines.section("[[application]]");
        lines.key("name", &text(name));
        lines.key("product", &text(&site_year.history.product));
        lines.key("n", &rate(column));
        lines.key("date", &date);
        lines.key("timing", &text(timing));
    };
    let year = site_year.harvest_year;
    let early = site_year.sensing.early_date.in_year(year);
    let name = match site_year.rates {
        Rates::DifferenceFromOptimum { .. } => "green-up",
        Rates::TopdressResponse { .. } => "early",
    };
    application(name, early_column(site_year), early, "before-sensing");
    if let Rates::TopdressResponse { date, .. } = site_year.rates {
        application("topdress", "top_n", date.in_year(year), "decided-by-sensing");
    }
}

fn reference(lines: &mut Lines, site_year: &SiteYear) {
    lines.section("[reference]");
    match site_year.rich {
        RichPlots::Beside { .. } => {
            lines.key("where", "{ column = \"kind\", equals = \"rich\" }");
            lines.key("also_treatment", "false");
        }
        RichPlots::HighestRate => {
            let column = early_column(site_year);
            let rate = site_year.rich_rate();
            lines.key("where", &format!("{{ column = \"{column}\", equals = {rate} }}"));
            lines.key("also_treatment", "true");
        }
    }
    lines.key(
        "shared_within",
        if site_year.reference_within_block { "[\"variety\", \"block\"]" } else { "[\"variety\"]" },
    );
}

fn readings(lines: &mut Lines, site_year: &SiteYear) {
    let (sensing, year) = (&site_year.sensing, site_year.harvest_year);
    let file = text(site_year.readings_file());
    let long_form = |lines: &mut Lines, instrument: &str, tool: &str| {
        lines.section("[[readings]]");
        lines.key("instrument", &text(instrument));
        lines.key("file", &file);
        if sensing.canopy_kept == CanopyReadings::Long {
            lines.key("where", &format!("{{ column = \"tool\", equals = \"{tool}\" }}"));
        }
        lines.key("date", "\"date\"");
        lines.key("stage", "\"stage\"");
        if tool == "leaf" {
            lines.key("leaf", "\"leaf\"");
        }
        lines.key("value", "\"value\"");
    };
    match sensing.canopy_kept {
        CanopyReadings::Long => long_form(lines, "canopy-ndvi", "ndvi"),
        CanopyReadings::Columns => {
            let columns: Vec<String> = sensing
                .canopy_early
                .iter()
                .chain([&sensing.canopy])
                .map(|(day, stage)| {
                    format!(
                        "    {{ column = \"{}\", date = {}, stage = {} }},\n",
                        ndvi_column(day.header()),
                        day.in_year(year),
                        text(stage)
                    )
                })
                .collect();
            lines.section("[[readings]]");
            lines.key("instrument", "\"canopy-ndvi\"");
            lines.key("columns", &format!("[\n{}]", columns.concat()));
        }
    }
    long_form(lines, "leaf-chlorophyll", "leaf");
}

fn harvest(lines: &mut Lines, harvest: Harvest) {
    let weighed = |lines: &mut Lines, column: &str, unit: &str, area: String| {
        lines.key("weight", &format!("{{ column = \"{column}\", unit = \"{unit}\" }}"));
        lines.key("area", &area);
        lines.key("moisture", "\"moist\"");
        lines.key("protein", "{ column = \"protein\", moisture_percent = 12 }");
    };
    lines.section("[harvest]");
    match harvest {
        Harvest::Bushels { moisture_percent } => lines.key(
            "yield",
            &format!("{{ column = \"yield\", unit = \"bu/ac\", moisture_percent = {moisture_percent:.1} }}"),
        ),
        Harvest::Kilograms { moisture_percent } => lines.key(
            "yield",
            &format!("{{ column = \"yield_kg_ha\", unit = \"kg/ha\", moisture_percent = {moisture_percent:.1} }}"),
        ),
        Harvest::WeighedPounds { length, width } => {
            weighed(lines, "grain_lb", "lb", format!("{{ length = {length}, width = {width}, unit = \"ft\" }}"))
        }
        Harvest::WeighedKilograms { length, width } => {
            weighed(lines, "grain_kg", "kg", format!("{{ length = {length}, width = {width}, unit = \"m\" }}"))
        }
    }
}

/// A TOML text that grows by lines, an empty line before each section.
#[derive(Default)]
struct Lines {
    text: String,
}

impl Lines {
    fn section(&mut self, header: &str) {
        // Writing into a String cannot fail.
        let _ = writeln!(self.text, "\n{header}");
    }

    fn key(&mut self, key: &str, value: &str) {
        let _ = writeln!(self.text, "{key} = {value}");
    }
}

/// A text as a basic string, which TOML and JSON write alike.
pub(super) fn text(text: &str) -> String {
    let mut quoted = String::from("\"");
    for letter in text.chars() {
        match letter {
            '"' | '\\' => quoted.extend(['\\', letter]),
            letter if letter.is_control() => {
                let _ = write!(quoted, "\\u{:04x}", u32::from(letter));
            }
            letter => quoted.push(letter),
        }
    }
    quoted.push('"');
    quoted
}
