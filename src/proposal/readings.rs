//! The proposed `[[readings]]`: a column a date, or a row a reading.

use jiff::civil::Date;

use super::lines::{Lines, list_or_one, quoted};
use super::role::{Confidence, Judged, Role};
use super::sensed::{Among, pass_in};
use super::settle::{Settled, instrument_of};
use super::sheet::Column;
use super::trial::{names, write_file};
use super::words::{DayInHeader, day};

const INSTRUMENTS: [Role; 2] = [Role::CanopyNdvi, Role::LeafChlorophyll];

/// Whether there are readings at all.
pub(super) fn has_readings(plots: &Settled, readings: &[&Settled]) -> bool {
    !readings.is_empty() || INSTRUMENTS.iter().any(|role| stands_in(plots, *role))
}

/// Whether a sheet has readings of an instrument, or the reflectances they are computed from.
fn stands_in(sheet: &Settled, instrument: Role) -> bool {
    !sheet.positions(instrument).is_empty() || instrument == Role::CanopyNdvi && !sheet.reflectances.is_empty()
}

/// The columns that readings stand in, each under its key: one of values, or those of red and near-infrared reflectance.
type Source<'s> = Vec<(&'static str, &'s Column, &'s Judged)>;

/// Every pair of reflectances.
fn reflectances(sheet: &Settled) -> impl Iterator<Item = Source<'_>> {
    let keyed = |[red, near_infrared]: [(_, _); 2]| {
        vec![("red", red.0, red.1), ("near_infrared", near_infrared.0, near_infrared.1)]
    };
    sheet.reflectance_pairs().map(keyed)
}

/// The least sure of the columns that readings stand in.
fn least_sure<'s>(source: &Source<'s>) -> Option<(&'s Column, &'s Judged)> {
    source.iter().map(|(_, column, judged)| (*column, *judged)).min_by_key(|(_, judged)| judged.confidence)
}

/// Writes every `[[readings]]` table.
pub(super) fn write_readings(lines: &mut Lines, plots: &Settled, readings: &[&Settled], harvest_year: Option<i16>) {
    for instrument in INSTRUMENTS {
        write_wide(lines, plots, None, instrument, harvest_year);
    }
    for sheet in readings {
        if sheet.is_long() {
            write_long(lines, sheet, plots);
        } else {
            for instrument in INSTRUMENTS {
                write_wide(lines, sheet, Some(plots), instrument, harvest_year);
            }
        }
    }
}

/// The columns of one instrument, a date each; `plots` where they stand in a file of their own.
fn write_wide(
    lines: &mut Lines,
    sheet: &Settled,
    plots: Option<&Settled>,
    instrument: Role,
    harvest_year: Option<i16>,
) {
    if !stands_in(sheet, instrument) {
        return;
    }
    let is_canopy = instrument == Role::CanopyNdvi;
    let single = sheet.with_role(instrument).map(|(column, judged)| vec![("column", column, judged)]);
    let sources = single.chain(reflectances(sheet).filter(|_| is_canopy));
    lines.line("");
    lines.line("[[readings]]");
    lines.line(&format!("instrument = {}", quoted(instrument.name())));
    if let Some(plots) = plots {
        write_file(lines, &sheet.sheet);
        write_plot(lines, sheet, plots);
    }
    lines.line("columns = [");
    for source in sources {
        let Some((column, judged)) = least_sure(&source) else { continue };
        let keys: Vec<String> =
            source.iter().map(|(key, column, _)| format!("{key} = {}", quoted(&column.name))).collect();
        let keys = keys.join(", ");
        let pass =
            pass_in(&column.words).filter(|_| is_canopy).map(|pass| format!(", pass = {pass}")).unwrap_or_default();
        let entry = |date: &str| format!("{{ {keys}, date = {date}{pass} }},");
        let of_column = column.shown();
        let entry_asked = |lines: &mut Lines, what: &str| {
            lines.line(&format!("    # {}    # fill in: {what}", entry("YYYY-MM-DD")));
            lines.to_fill_in.push(format!("date of {of_column}: {what}"));
        };
        match (judged.confidence, dated(column, harvest_year)) {
            (Confidence::Unsure, date) => {
                let date = date.map_or("YYYY-MM-DD".to_owned(), |(date, _)| date.to_string());
                lines.line(&format!("    # {}    # choose: {}", entry(&date), judged.reason));
                lines.to_fill_in.push(format!("readings in {of_column}: {}", judged.reason));
            }
            (_, Some((date, true))) => lines.line(&format!("    {}", entry(&date.to_string()))),
            (_, Some((date, false))) => {
                lines.line(&format!(
                    "    {}    # likely: the day in the header, in the year of the harvest",
                    entry(&date.to_string())
                ));
            }
            (_, None) => entry_asked(lines, "the day of sensing"),
        }
    }
    lines.line("]");
    lines.comment("stage = \"Feekes 5\" within the braces, where the growth stage was scored: rate tables need it");
}

/// The day in a header, and whether its year stands there too.
fn dated(column: &Column, harvest_year: Option<i16>) -> Option<(Date, bool)> {
    match day(&column.words)? {
        DayInHeader::Whole(date) => Some((date, true)),
        DayInHeader::WithoutYear(month, day) => Some((Date::new(harvest_year?, month, day).ok()?, false)),
    }
}

/// The columns that name the plot, where they are called otherwise than in the plots file.
fn write_plot(lines: &mut Lines, sheet: &Settled, plots: &Settled) {
    let wanted = names(plots, &plots.key);
    let found: Vec<Option<String>> = plots
        .key
        .iter()
        .zip(&wanted)
        .map(|(position, name)| {
            if sheet.sheet.columns.iter().any(|column| column.name == *name) {
                return Some(name.clone());
            }
            let role = plots.judged.get(*position)?.role;
            sheet.known(role).map(|column| column.name.clone())
        })
        .collect();
    match found.iter().cloned().collect::<Option<Vec<String>>>() {
        Some(found) if found == wanted => {}
        Some(found) if !found.is_empty() => {
            let found: Vec<&str> = found.iter().map(String::as_str).collect();
            lines.key("plot", &list_or_one(&found), Confidence::Likely, "what the plots file calls otherwise");
        }
        _ => lines.ask(
            "plot",
            "\"…\"",
            &format!("the columns that name the plot, as {} in the plots file", wanted.join(" and ")),
            &sheet.sheet.place(),
        ),
    }
}

/// One `[[readings]]` of a file with a row a reading.
struct Part<'s> {
    /// The cell of the column of instruments that its rows have.
    level: Option<&'s str>,
    instrument: Option<Role>,
    source: Source<'s>,
}

/// The instruments of a file with a row a reading, each with what its readings stand in.
fn parts<'s>(sheet: &'s Settled, tool: Option<&'s Column>) -> Vec<Part<'s>> {
    let value = [Role::Value, Role::CanopyNdvi, Role::LeafChlorophyll]
        .into_iter()
        .find_map(|role| sheet.with_role(role).next());
    let source = value.map(|(column, judged)| vec![("value", column, judged)]);
    let pair = reflectances(sheet).next();
    let instrument = value.and_then(|(column, judged)| of_values(column, judged.role));
    let canopy = Some(Role::CanopyNdvi);
    let Some(tool) = tool else {
        let own = source.map(|source| Part { level: None, instrument, source });
        // Values that a canopy sensor may have given leave nothing to compute.
        let computed = pair.filter(|_| value.is_none() || instrument == Some(Role::LeafChlorophyll));
        let computed = computed.map(|source| Part { level: None, instrument: canopy, source });
        return own.into_iter().chain(computed).collect();
    };
    let is_filled = |level: &str, column: &Column| {
        let mut rows = tool.cells.iter().zip(&column.cells);
        rows.any(|(tool, cell)| tool.as_deref() == Some(level) && cell.is_some())
    };
    let of_level = |level: &'s str| {
        let instrument = instrument_of(level);
        let filled = value.is_some_and(|(column, _)| is_filled(level, column));
        let computed = pair.clone().filter(|_| instrument == canopy && !filled);
        Some(Part { level: Some(level), instrument: Some(instrument?), source: computed.or_else(|| source.clone())? })
    };
    tool.levels().into_keys().filter_map(of_level).collect()
}

/// The readings of a file with a row a reading: a table for each instrument in it.
fn write_long(lines: &mut Lines, sheet: &Settled, plots: &Settled) {
    let tool = sheet.with_role(Role::Instrument).next().map(|(column, _)| column);
    let unknown: Vec<&str> = tool
        .map(|tool| tool.levels().into_keys().filter(|level| instrument_of(level).is_none()).collect())
        .unwrap_or_default();
    if let Some(tool) = tool.filter(|_| !unknown.is_empty()) {
        lines.line("");
        lines.comment(&format!(
            "{}: rows where {:?} is {} are not read: no kind of instrument that is known here",
            sheet.sheet.place(),
            tool.shown(),
            unknown.join(", ")
        ));
    }
    for Part { level, instrument, source } in parts(sheet, tool) {
        lines.line("");
        if let Some(both) = instrument.filter(|instrument| stands_in(plots, *instrument)) {
            let text = format!(
                "{} stands in the plots file and in {}: keep the readings of one",
                both.name(),
                sheet.sheet.place()
            );
            lines.comment(&text);
            lines.to_fill_in.push(text);
        }
        lines.line("[[readings]]");
        match instrument {
            Some(instrument) => lines.line(&format!("instrument = {}", quoted(instrument.name()))),
            None => lines.ask("instrument", "\"…\"", "\"canopy-ndvi\" or \"leaf-chlorophyll\"", &sheet.sheet.place()),
        }
        write_file(lines, &sheet.sheet);
        write_date_format(lines, sheet);
        write_plot(lines, sheet, plots);
        if let (Some(level), Some(tool)) = (level, tool) {
            lines.line(&format!("where = {{ column = {}, equals = {} }}", quoted(&tool.name), quoted(level)));
        }
        match sheet.with_role(Role::Date).next() {
            Some((date, _)) => lines.line(&format!("date = {}", quoted(&date.name))),
            None => lines.ask("date", "{ same = YYYY-MM-DD }", "the day of sensing", &sheet.sheet.place()),
        }
        match sheet.with_role(Role::Stage).next() {
            Some((stage, _)) => lines.line(&format!("stage = {}", quoted(&stage.name))),
            None => lines
                .line("# stage = { same = \"Feekes 5\" }    # where the growth stage was scored: rate tables need it"),
        }
        write_numbers(lines, sheet, instrument);
        let confidence = least_sure(&source).map_or(Confidence::Unsure, |(_, judged)| judged.confidence);
        for (key, column, judged) in source {
            lines.key(key, &quoted(&column.name), confidence, &judged.reason);
        }
    }
}

/// What numbers the readings of a plot, and where its leaves sat.
fn write_numbers(lines: &mut Lines, sheet: &Settled, instrument: Option<Role>) {
    let leaf = sheet.with_role(Role::Leaf).next().map(|(column, _)| column);
    let pass = sheet.with_role(Role::Pass).next();
    let place = sheet.with_role(Role::LeafPosition).next();
    if instrument == Some(Role::CanopyNdvi) {
        match (pass, leaf) {
            (Some((pass, judged)), _) => lines.key("pass", &quoted(&pass.name), judged.confidence, &judged.reason),
            (None, Some(leaf)) => lines.line(&format!("leaf = {}", quoted(&leaf.name))),
            (None, None) => {}
        }
        return;
    }
    let numbered = |position: &usize| sheet.among_readings(*position) == Some(Among::Numbers);
    match (leaf, sheet.positions(Role::LeafPosition).into_iter().find(numbered).and_then(|place| sheet.column(place))) {
        (Some(leaf), _) => lines.line(&format!("leaf = {}", quoted(&leaf.name))),
        (None, Some(place)) => {
            let why = "no two readings of a plot and day have the same";
            lines.key("leaf", &quoted(&place.name), Confidence::Likely, why);
        }
        (None, None) => {
            if let Some((pass, _)) = pass {
                lines.key("leaf", &quoted(&pass.name), Confidence::Unsure, "does it number the leaves of a plot?");
            }
        }
    }
    if let Some((place, judged)) = place {
        lines.key("position", &quoted(&place.name), judged.confidence, &judged.reason);
    }
}

/// The kind of instrument that gives such values.
fn of_values(column: &Column, role: Role) -> Option<Role> {
    if INSTRUMENTS.contains(&role) {
        return Some(role);
    }
    match column.range()? {
        (lowest, highest) if lowest >= -0.1 && highest <= 1.0 => Some(Role::CanopyNdvi),
        (lowest, highest) if lowest >= 1.0 && highest <= 100.0 => Some(Role::LeafChlorophyll),
        _ => None,
    }
}

/// How dates are written, where not as year-month-day and where that is certain.
fn write_date_format(lines: &mut Lines, sheet: &Settled) {
    let Some((column, _)) = sheet.with_role(Role::Date).next() else { return };
    let dates: Vec<&str> = column.levels().into_keys().collect();
    if dates.iter().all(|date| date.parse::<Date>().is_ok() && date.len() == 10) {
        return;
    }
    let numbers = |date: &str, sign: char| -> Option<[i16; 3]> {
        let parts: Vec<i16> = date.split(sign).map(|part| part.parse().ok()).collect::<Option<_>>()?;
        parts.try_into().ok()
    };
    for sign in ['/', '.', '-'] {
        let Some(parts) = dates.iter().map(|date| numbers(date, sign)).collect::<Option<Vec<_>>>() else { continue };
        let written = |first: &str, second: &str| format!("\"{first}{sign}{second}{sign}year\"");
        let first = parts.iter().any(|[first, ..]| *first > 12);
        let second = parts.iter().any(|[_, second, _]| *second > 12);
        match (first, second) {
            (true, false) => lines.key("date_format", &written("day", "month"), Confidence::Sure, ""),
            (false, true) => lines.key("date_format", &written("month", "day"), Confidence::Sure, ""),
            _ => {
                let why = format!("or {}: no date tells which", written("day", "month"));
                lines.key("date_format", &written("month", "day"), Confidence::Unsure, &why);
            }
        }
        return;
    }
    if column.is_numeric() && column.range().is_some_and(|(lowest, highest)| lowest > 20_000.0 && highest < 80_000.0) {
        lines.key("date_format", "\"spreadsheet-serial\"", Confidence::Likely, "days as a spreadsheet counts them");
        return;
    }
    lines.ask("date_format", "\"day month year\"", "how the dates are written", &sheet.sheet.place());
}
