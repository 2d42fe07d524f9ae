//! The proposed `trial.toml`.

use super::facts::Facts;
use super::lines::{Lines, list_or_one, quoted};
use super::readings::{has_readings, write_readings};
use super::role::{Confidence, Judged, Role};
use super::settle::Settled;
use super::sheet::{Column, Sheet};
use super::units;
use super::words::any;

/// A treatment stands on main plots where it changes this rarely along the plots of a block.
const LEAST_RUN: usize = 3;

/// The text of a trial's descriptor, and what a user must fill in.
pub(super) fn write(plots: &Settled, readings: &[&Settled], facts: &Facts) -> (String, Vec<String>) {
    let mut lines = Lines::default();
    lines.comment("Proposed by stook from the columns of your files. Read it through: \"likely\" says what it was guessed from, \"fill in\" \
                   and \"choose\" wait for you. Remove the # of a line once it is right, then run stook check.");
    lines.line("format = 1");
    if let Some(several) = &facts.several {
        lines.comment(&format!(
            "{} holds {several}. A trial is one site in one year: give each a folder with a file of its own rows and this descriptor.",
            plots.sheet.place()
        ));
        lines.to_fill_in.push(format!("one file a site and year: this one holds {several}"));
    }
    match &facts.site {
        Some(site) => lines.key("site", &quoted(&site.value), site.confidence, &site.why),
        None => lines.ask("site", "\"…\"", "the name of the site", ""),
    }
    match &facts.harvest_year {
        Some(year) => lines.key("harvest_year", &year.value.to_string(), year.confidence, &year.why),
        None => lines.ask("harvest_year", "YYYY", "the year of harvest", ""),
    }
    let sensed = has_readings(plots, readings);
    let applications = applications(plots, sensed);
    write_design(&mut lines, plots, &applications);
    write_factors(&mut lines, plots);
    write_need(&mut lines, &applications, sensed);
    write_plots(&mut lines, plots);
    for application in &applications {
        write_application(&mut lines, application, plots, sensed);
    }
    if applications.is_empty() {
        lines.line("");
        lines.line("# [[application]]");
        lines.ask("name", "\"…\"", "no column looks like N rates: name the application and its column", "");
        lines.line("# n = { column = \"…\", unit = \"lb/ac\" }");
    }
    if sensed {
        write_reference(&mut lines, plots, &applications);
        write_readings(&mut lines, plots, readings, facts.harvest_year.as_ref().map(|year| year.value));
    }
    write_harvest(&mut lines, plots);
    lines.finish()
}

/// The keys that say where and how a file's cells stand.
pub(super) fn write_file(lines: &mut Lines, sheet: &Sheet) {
    lines.line(&format!("file = {}", quoted(&sheet.file)));
    if let Some(name) = &sheet.sheet {
        lines.line(&format!("sheet = {}", quoted(name)));
    }
    if sheet.header_row != 1 {
        lines.line(&format!("header_row = {}", sheet.header_row));
    }
    if sheet.header_rows != 1 {
        lines.line(&format!("header_rows = {}", sheet.header_rows));
    }
    if sheet.decimal_comma {
        lines.line("decimal = \",\"");
    }
    if let Some(encoding) = &sheet.encoding {
        let why = "the file is not UTF-8, and this is what spreadsheets write in its stead: look at its accents";
        lines.key("encoding", &quoted(encoding), Confidence::Likely, why);
    }
}

/// The names of columns.
pub(super) fn names(settled: &Settled, positions: &[usize]) -> Vec<String> {
    positions.iter().filter_map(|position| settled.column(*position)).map(|column| column.name.clone()).collect()
}

/// A column of N rates with what is guessed of its application.
struct Application<'p> {
    name: String,
    column: &'p Column,
    planned: Option<&'p Column>,
    confidence: Confidence,
    why: &'p str,
    timing: &'static str,
    timing_confidence: Confidence,
    timing_why: String,
}

/// Words of an application, its name, and its timing where sensing follows it or decides it.
const TIMES: [(&[&str], &str, &str); 9] = [
    (&["fall", "autumn"], "autumn", "before-sensing"),
    (&["preplant", "planting", "sowing"], "planting", "before-sensing"),
    (&["starter"], "starter", "before-sensing"),
    (&["early", "base"], "early", "before-sensing"),
    (&["greenup", "green"], "green-up", "before-sensing"),
    (&["topdress", "topdressing", "top", "td"], "topdress", "decided-by-sensing"),
    (&["sidedress", "side"], "sidedress", "decided-by-sensing"),
    (&["late", "boot", "flag", "heading"], "late", "after-sensing"),
    (&["spring"], "spring", "before-sensing"),
];

fn applications(plots: &Settled, sensed: bool) -> Vec<Application<'_>> {
    let planned: Vec<&Column> = plots.with_role(Role::PlannedNRate).map(|(column, _)| column).collect();
    let mut rates: Vec<_> = plots.with_role(Role::NRate).collect();
    // A plan without a record of what went on is the best there is.
    if rates.is_empty() {
        rates = plots.with_role(Role::PlannedNRate).collect();
    }
    let alone = rates.len() == 1;
    let mut found: Vec<Application> = Vec::new();
    for (column, judged) in rates {
        let hint = TIMES.iter().find(|(words, ..)| any(&column.words, words));
        let name = match hint {
            Some((_, name, _)) => (*name).to_owned(),
            None if alone => "N".to_owned(),
            None => column.shown(),
        };
        let name = if found.iter().any(|other| other.name == name) { column.shown() } else { name };
        let (timing, timing_confidence, timing_why) = match hint {
            Some((_, name, timing)) => (*timing, Confidence::Likely, format!("the header says {name}")),
            None if !sensed => ("before-sensing", Confidence::Likely, "without readings it plays no part".to_owned()),
            None => (
                "before-sensing",
                Confidence::Unsure,
                "\"before-sensing\", \"decided-by-sensing\" (the topdress that a reading decides) or \"after-sensing\""
                    .to_owned(),
            ),
        };
        let mate = |plan: &&&Column| {
            let same = plan.words.iter().filter(|word| column.words.contains(word)).count();
            alone || same + 2 >= plan.words.len()
        };
        let planned = planned.iter().find(mate).copied().filter(|plan| plan.name != column.name);
        found.push(Application {
            name,
            column,
            planned,
            confidence: judged.confidence,
            why: &judged.reason,
            timing,
            timing_confidence,
            timing_why,
        });
    }
    found
}

fn write_application(lines: &mut Lines, application: &Application, plots: &Settled, sensed: bool) {
    let Application { name, column, planned, .. } = application;
    lines.line("");
    lines.line("[[application]]");
    lines.line(&format!("name = {}", quoted(name)));
    let unit = units::of_rates(column, plots);
    let product = units::n_percent(column);
    let mut table = format!("column = {}", quoted(&column.name));
    table += &format!(", unit = {}", unit.unit.map_or("…".to_owned(), quoted));
    let mut reasons: Vec<&str> = Vec::new();
    let mut confidence = application.confidence.min(unit.confidence);
    if application.confidence < Confidence::Sure {
        reasons.push(application.why);
    }
    if unit.confidence < Confidence::Sure {
        reasons.push(&unit.why);
    }
    if let Some((percent, sure, why)) = &product {
        table += &format!(", n_percent = {percent}");
        confidence = confidence.min(*sure);
        reasons.push(why);
    }
    lines.key("n", &format!("{{ {table} }}"), confidence, &reasons.join("; "));
    if let Some(planned) = planned {
        let unit = units::of_rates(planned, plots);
        let value =
            format!("{{ column = {}, unit = {} }}", quoted(&planned.name), unit.unit.map_or("…".to_owned(), quoted));
        lines.key("planned", &value, unit.confidence, &unit.why);
    }
    lines.ask("date", "YYYY-MM-DD", "the day it went on", name);
    let why = &application.timing_why;
    lines.key("timing", &quoted(application.timing), application.timing_confidence, why);
    if sensed && application.timing_confidence == Confidence::Likely {
        lines.comment("timing: before-sensing (on when the crop was read), decided-by-sensing (the topdress that the reading decides), after-sensing");
    }
}

fn write_need(lines: &mut Lines, applications: &[Application], sensed: bool) {
    let decided: Vec<&Application> =
        applications.iter().filter(|application| application.timing == "decided-by-sensing").collect();
    let topdress = decided.iter().find(|application| application.column.numeric_levels().len() > 2);
    match topdress {
        Some(application) if sensed && applications.len() > 1 => {
            let why = format!("{:?} has rates of its own; or \"difference-from-optimum\"", application.column.shown());
            lines.key("need_from", "\"topdress-response\"", Confidence::Likely, &why);
        }
        _ if sensed => {
            let why = "the optimum minus what was on; \"topdress-response\" where a topdress of several rates followed the reading";
            lines.key("need_from", "\"difference-from-optimum\"", Confidence::Likely, why);
        }
        _ => lines.key(
            "need_from",
            "\"difference-from-optimum\"",
            Confidence::Likely,
            "without readings it plays no part",
        ),
    }
}

/// Treatments that vary among the plots: variety, applications, factors.
fn varying<'p>(plots: &'p Settled, applications: &[Application<'p>]) -> Vec<(String, &'p Column)> {
    let mut found = Vec::new();
    let varies = |column: &&Column| column.levels().len() > 1;
    found.extend(plots.known(Role::Variety).filter(varies).map(|column| ("variety".to_owned(), column)));
    found.extend(
        applications
            .iter()
            .filter(|application| varies(&application.column))
            .map(|application| (application.name.clone(), application.column)),
    );
    let factors = plots.with_role(Role::Factor).filter(|(_, judged)| judged.confidence > Confidence::Unsure);
    found.extend(factors.map(|(column, _)| (column.name.clone(), column)));
    found
}

fn write_design(lines: &mut Lines, plots: &Settled, applications: &[Application]) {
    let varying = varying(plots, applications);
    let Some(block) = plots.known(Role::Block) else {
        let why = "no column holds blocks; if the trial had blocks, add a column for them and write \"randomised-complete-block\"";
        lines.key("design", "\"completely-randomised\"", Confidence::Unsure, why);
        return;
    };
    let levels: Vec<&str> = varying.iter().map(|(name, _)| name.as_str()).collect();
    if varying.len() < 2 {
        let why = format!("{:?} holds blocks; how plots were randomised no spreadsheet tells", block.shown());
        lines.key("design", "\"randomised-complete-block\"", Confidence::Likely, &why);
        return;
    }
    match in_runs(plots, block, &varying) {
        Some(main) => {
            let why = format!(
                "along each block {main} changes only from main plot to main plot; else \"randomised-complete-block\" without main_plot"
            );
            lines.key("design", "\"split-plot\"", Confidence::Likely, &why);
            lines.line(&format!("main_plot = [{}]", quoted(&main)));
        }
        None => {
            let why = format!(
                "or \"split-plot\" with main_plot = [{}], if {} were randomised on main plots",
                levels.first().map_or_else(String::new, |first| quoted(first)),
                levels.join(" or "),
            );
            lines.key("design", "\"randomised-complete-block\"", Confidence::Unsure, &why);
        }
    }
}

/// The one treatment whose levels stand together along the plots of every block, as on main plots.
fn in_runs(plots: &Settled, block: &Column, varying: &[(String, &Column)]) -> Option<String> {
    let plot = plots.known(Role::Plot).filter(|plot| plot.is_numeric())?;
    let mut order: Vec<(&str, f64, usize)> = Vec::new();
    for (row, (block, number)) in block.cells.iter().zip(&plot.numbers).enumerate() {
        order.push((block.as_deref()?, (*number)?, row));
    }
    order.sort_by(|a, b| a.0.cmp(b.0).then(a.1.total_cmp(&b.1)));
    let runs = |column: &Column| {
        let cell = |row: usize| column.cells.get(row).and_then(Option::as_deref);
        order.chunk_by(|a, b| a.0 == b.0).all(|in_block| {
            let runs: Vec<usize> = in_block.chunk_by(|a, b| cell(a.2) == cell(b.2)).map(<[_]>::len).collect();
            let levels: std::collections::BTreeSet<Option<&str>> =
                in_block.iter().map(|(.., row)| cell(*row)).collect();
            runs.len() == levels.len() && levels.len() > 1 && runs.iter().all(|run| *run >= LEAST_RUN)
        })
    };
    let mut found = varying.iter().filter(|(_, column)| runs(column)).map(|(name, _)| name.clone());
    let (one, None) = (found.next()?, found.next()) else { return None };
    Some(one)
}

fn write_factors(lines: &mut Lines, plots: &Settled) {
    let factors: Vec<String> = plots
        .with_role(Role::Factor)
        .filter(|(_, judged)| judged.confidence > Confidence::Unsure)
        .map(|(column, _)| quoted(&column.name))
        .collect();
    if !factors.is_empty() {
        let why = "columns of a few levels that repeat; remove those that are no treatments";
        lines.key("factors", &format!("[{}]", factors.join(", ")), Confidence::Likely, why);
    }
}

fn write_plots(lines: &mut Lines, plots: &Settled) {
    lines.line("");
    lines.line("[plots]");
    write_file(lines, &plots.sheet);
    let key = names(plots, &plots.key);
    let key: Vec<&str> = key.iter().map(String::as_str).collect();
    let has_plot = !plots.positions(Role::Plot).is_empty();
    if key.is_empty() {
        lines.ask("plot", "\"…\"", "no column tells the plots apart: add one that numbers them, and name it here", "");
    } else if has_plot {
        let why = "only together are they different in every row";
        let confidence = if key.len() == 1 { Confidence::Sure } else { Confidence::Likely };
        lines.key("plot", &list_or_one(&key), confidence, why);
    } else {
        let why = "no column numbers the plots; together these are different in every row";
        lines.key("plot", &list_or_one(&key), Confidence::Likely, why);
    }
    for (role, key) in [(Role::Block, "block"), (Role::Variety, "variety")] {
        for (column, judged) in plots.with_role(role) {
            lines.key(key, &quoted(&column.name), judged.confidence, &judged.reason);
        }
    }
    if plots.positions(Role::Variety).is_empty() {
        lines.line("# variety = { same = \"…\" }    # if one variety was grown, its name");
    }
    for (role, key) in [(Role::Plants, "plants"), (Role::Tillers, "tillers")] {
        for (column, _) in plots.with_role(role) {
            let why = "in which unit: \"per ft2\", \"per m2\", \"per ft of row\" or \"per m of row\"; without it the counts are not read";
            lines.line(&format!("# {key} = {{ column = {}, unit = \"per m2\" }}    # {why}", quoted(&column.name)));
        }
    }
}

fn write_reference(lines: &mut Lines, plots: &Settled, applications: &[Application]) {
    lines.line("");
    lines.line("[reference]");
    let varieties = plots.known(Role::Variety).is_some_and(|column| column.levels().len() > 1);
    let mark = plots.with_role(Role::Kind).next().and_then(|(column, _)| {
        let level = column.levels().into_keys().find(|level| super::judge::marks_reference(level))?;
        Some((column, level.to_owned()))
    });
    let highest = |column: &Column| {
        let highest = column.range()?.1;
        let row = column.numbers.iter().position(|number| *number == Some(highest))?;
        column.cells.get(row).cloned().flatten()
    };
    let (where_, marked) = match (&mark, applications) {
        (Some((column, level)), _) => {
            (Some(format!("{{ column = {}, equals = {} }}", quoted(&column.name), quoted(level))), true)
        }
        // More N than any plot can use shows in a reading only where it was on by then.
        (None, [only]) if only.timing == "before-sensing" => {
            let plain = |level: &str| level.len() < 10 && level.bytes().all(|byte| byte.is_ascii_digit());
            let level = highest(only.column).map(|level| if plain(&level) { level } else { quoted(&level) });
            let column = quoted(&only.column.name);
            (level.map(|level| format!("{{ column = {column}, equals = {level} }}")), false)
        }
        (None, _) => (None, false),
    };
    match where_ {
        Some(where_) if marked => lines.key("where", &where_, Confidence::Likely, "its cells mark the N-rich plots"),
        Some(where_) => lines.key(
            "where",
            &where_,
            Confidence::Likely,
            "the highest rate; the N-rich reference has more N than any plot can use",
        ),
        None => lines.ask("where", "{ column = \"…\", equals = \"…\" }", "which plots are the N-rich reference", ""),
    }
    let why = if marked {
        "true if their yield belongs to the response curve too"
    } else {
        "their yield belongs to the response curve too"
    };
    lines.key("also_treatment", if marked { "false" } else { "true" }, Confidence::Likely, why);
    if varieties {
        lines.key(
            "shared_within",
            "[\"variety\"]",
            Confidence::Likely,
            "each variety is read against its own; add \"block\" for its own block",
        );
    }
}

/// Why a column and its unit are not sure.
fn both(judged: &Judged, unit: &units::UnitGuess) -> String {
    let why = [(judged.confidence, judged.reason.as_str()), (unit.confidence, unit.why.as_str())];
    let why: Vec<&str> = why.iter().filter(|(sure, _)| *sure < Confidence::Sure).map(|(_, why)| *why).collect();
    why.join("; ")
}

fn write_harvest(lines: &mut Lines, plots: &Settled) {
    let yields: Vec<_> = plots.with_role(Role::Yield).collect();
    let weights: Vec<_> = plots.with_role(Role::Weight).collect();
    lines.line("");
    if yields.is_empty() && weights.is_empty() {
        lines.line("# [harvest]");
        lines.ask("yield", "{ column = \"…\", unit = \"bu/ac\" }", "no column looks like a yield or a weight", "");
        return;
    }
    lines.line("[harvest]");
    for (column, judged) in &yields {
        let unit = units::of_yields(column, plots);
        let value =
            format!("{{ column = {}, unit = {} }}", quoted(&column.name), unit.unit.map_or("…".to_owned(), quoted));
        // Which column it is comes before its unit.
        let why = if judged.confidence == Confidence::Unsure { judged.reason.clone() } else { both(judged, &unit) };
        lines.key("yield", &value, judged.confidence.min(unit.confidence), &why);
    }
    if yields.is_empty() {
        for (column, judged) in weights.iter().take(1) {
            let unit = units::of_weights(column);
            let value =
                format!("{{ column = {}, unit = {} }}", quoted(&column.name), unit.unit.map_or("…".to_owned(), quoted));
            lines.key("weight", &value, judged.confidence.min(unit.confidence), &both(judged, &unit));
        }
        lines.ask("area", "{ length = …, width = …, unit = \"ft\" }", "the area as harvested (\"ft\" or \"m\")", "");
    }
    for (column, judged) in plots.with_role(Role::Moisture) {
        lines.key("moisture", &quoted(&column.name), judged.confidence, &judged.reason);
    }
    if plots.positions(Role::Moisture).is_empty() {
        lines.line("# moisture = { same = 13.5 }    # if the yields are stated at one moisture, which");
    }
    for (column, judged) in plots.with_role(Role::Protein) {
        lines.key("protein", &quoted(&column.name), judged.confidence, &judged.reason);
    }
    for (column, judged) in plots.with_role(Role::TestWeight) {
        let unit = units::of_test_weights(column);
        let value =
            format!("{{ column = {}, unit = {} }}", quoted(&column.name), unit.unit.map_or("…".to_owned(), quoted));
        lines.key("test_weight", &value, judged.confidence.min(unit.confidence), &unit.why);
    }
    for (column, judged) in plots.with_role(Role::Lodging) {
        lines.key("lodging", &quoted(&column.name), judged.confidence, &judged.reason);
    }
}
