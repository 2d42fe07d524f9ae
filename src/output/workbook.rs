//! Results as workbooks: a sheet a table, with a sheet that says what they are and what made them.

use super::envelope::Provenance;
use super::layout::quantity;
use super::long::{Long, number, text};
use super::numbers::plain;
use crate::files::export::{Cell, ExportError, Table, parquet, xlsx};
use crate::rate_table::{LONG_COLUMNS, RateTable};
use crate::season::Season;

/// A sheet of results, with what its reader must know.
#[derive(Clone, Debug)]
pub(crate) struct Sheet {
    /// The table, under the name of the sheet.
    pub(super) table: Table,
    /// What it holds, with units.
    pub(super) holds: String,
}

impl Sheet {
    /// A table under a name.
    pub(crate) fn new(name: impl Into<String>, table: Table, holds: impl Into<String>) -> Self {
        Self { table: Table { name: name.into(), ..table }, holds: holds.into() }
    }

    /// A rate table.
    pub(super) fn rate_table(table: &RateTable) -> Self {
        let document = table.document();
        let unit = document.prices.first().map_or("", |price| price.price_ratio_unit.as_str());
        let holds = format!(
            "Rate table for {}, {} to {}: N rate in {} for each row of the index (reading ÷ N-rich reference) and price ratio ({unit})",
            document.instrument.name(),
            document.stages.first,
            document.stages.last,
            document.rate_unit,
        );
        Self::new(&document.name, rate_rows(table), holds)
    }
}

/// What stands on the sheet about the others, besides what made them.
#[derive(Clone, Debug, Default)]
pub(super) struct About {
    /// What the workbook is.
    pub(super) title: String,
    /// What a user must know, each with the table it is said of.
    pub(super) cautions: Vec<(String, String)>,
}

impl About {
    /// A title, and the cautions of rate tables.
    fn of<'a>(title: impl Into<String>, tables: impl IntoIterator<Item = &'a RateTable>) -> Self {
        let mut cautions: Vec<(String, String)> = Vec::new();
        for document in tables.into_iter().map(RateTable::document) {
            for caution in &document.cautions {
                match cautions.iter_mut().find(|(known, _)| known == caution) {
                    Some((_, of)) => *of += &format!(", {}", document.name),
                    None => cautions.push((caution.clone(), document.name.clone())),
                }
            }
        }
        Self { title: title.into(), cautions }
    }

    fn sheet(&self, sheets: &[Sheet], provenance: &Provenance) -> Table {
        let mut long = Long::new(["item", "what", "detail"]);
        let mut row = |item: &str, what: &str, detail: Cell| long.row([item.into(), what.into(), detail]);
        row("title", &self.title, text(None));
        row("made by", concat!("stook ", env!("CARGO_PKG_VERSION")), text(None));
        for (caution, of) in &self.cautions {
            row("caution", caution, text(Some(of)));
        }
        for sheet in sheets {
            row("sheet", &sheet.table.name, text(Some(&sheet.holds)));
        }
        if let Some(seed) = provenance.seed {
            row("option", "seed", seed.into());
        }
        for (name, value) in &provenance.options {
            let value = match value {
                serde_json::Value::Null => continue,
                serde_json::Value::Number(found) => number(found.as_f64()),
                serde_json::Value::String(found) => text(Some(found)),
                other => text(Some(&other.to_string())),
            };
            row("option", name, value);
        }
        for warning in &provenance.warnings {
            row("warning", warning.code, text(Some(&warning.to_string())));
        }
        for input in &provenance.inputs {
            row("input", &input.file, text(Some(&format!("sha256 {}", input.sha256))));
        }
        Table { name: "about".to_owned(), ..long.finish() }
    }
}

/// Sheets as a workbook; the first says what it is, what to mind, what each of the others holds and what made them.
///
/// # Errors
/// A table that is larger than a sheet.
pub(super) fn workbook(about: &About, sheets: &[Sheet], provenance: &Provenance) -> Result<Vec<u8>, ExportError> {
    let mut tables = vec![about.sheet(sheets, provenance)];
    tables.extend(sheets.iter().map(|sheet| sheet.table.clone()));
    xlsx(&about.title, &tables)
}

/// Rate tables as a workbook, a sheet each.
///
/// # Errors
/// A table that is larger than a sheet.
pub fn rate_table_workbook(tables: &[&RateTable], provenance: &Provenance) -> Result<Vec<u8>, ExportError> {
    let title = tables.first().map_or("", |table| table.document().title.as_str());
    let sheets: Vec<Sheet> = tables.iter().map(|table| Sheet::rate_table(table)).collect();
    workbook(&About::of(format!("{title}: rate tables"), tables.iter().copied()), &sheets, provenance)
}

/// The rows of rate tables as Parquet.
///
/// # Errors
/// None that a table's content can cause.
pub fn rate_table_parquet(tables: &[&RateTable]) -> Result<Vec<u8>, ExportError> {
    let mut tables = tables.iter().map(|table| rate_rows(table));
    let mut all = tables.next().unwrap_or_default();
    all.rows.extend(tables.flat_map(|table| table.rows));
    parquet(&all)
}

/// What a season's workbook says of itself.
pub(super) fn about_season(season: &Season) -> About {
    let programme = &season.programme;
    let tables = season.tables.iter().filter_map(|result| result.derived.table.as_ref().ok());
    let yields = quantity("yields in", Some(&programme.units.yields.to_string()));
    let moisture = programme
        .units
        .standard_moisture
        .map_or_else(String::new, |moisture| format!(" at {} % moisture", plain(moisture.percent())));
    let rates = programme.units.n_rate;
    About::of(format!("{} ({}): N rates in {rates}, {yields}{moisture}", programme.title, programme.crop.name), tables)
}

/// The rows of a rate table, a record a row of the index and price ratio, as its CSV has them; the index as a number.
fn rate_rows(table: &RateTable) -> Table {
    let document = table.document();
    let mut long = Long::new(LONG_COLUMNS);
    let yes = |yes: bool| if yes { "yes" } else { "no" }.into();
    for (position, row) in document.rows.iter().enumerate() {
        for (price, cell) in document.prices.iter().zip(&row.rates) {
            let noted = cell.interval.as_ref();
            let interval = noted.map(|noted| &noted.interval);
            let new_noted = cell.new_site_years.as_ref();
            let new_range = new_noted.map(|noted| &noted.interval);
            long.row([
                document.name.as_str().into(),
                document.instrument.name().into(),
                number(f64::from(row.index_from) / 1000.0),
                number(f64::from(row.index_below) / 1000.0),
                yes(position + 1 == document.rows.len()),
                number(price.price_ratio),
                price.price_ratio_unit.as_str().into(),
                yes(price.base),
                number(cell.rate),
                document.rate_unit.as_str().into(),
                number(interval.and_then(|interval| interval.estimate)),
                number(interval.and_then(|interval| interval.low)),
                number(interval.and_then(|interval| interval.high)),
                number(interval.map(|interval| interval.level)),
                text(interval.map(|interval| interval.method.as_str())),
                text(interval.map(|interval| interval.limits.name())),
                text(noted.and_then(|noted| noted.note.as_deref())),
                number(new_range.and_then(|range| range.low)),
                number(new_range.and_then(|range| range.high)),
                number(new_range.map(|range| range.level)),
                text(new_range.map(|range| range.method.as_str())),
                text(new_range.map(|range| range.limits.name())),
                text(new_noted.and_then(|noted| noted.note.as_deref())),
                u64::from(row.support.site_years).into(),
                u64::from(row.support.points).into(),
                u64::from(row.support.plots).into(),
                text(row.note.as_deref()),
            ]);
        }
    }
    long.finish()
}
