//! The CSV files of a trial, as someone keeps them in a spreadsheet.

use super::field::Plot;
use super::site_year::{CanopyReadings, Harvest, KG_HA_PER_LB_AC, Rates, RichPlots, SiteYear, TypedRate};

/// Standard moisture of the programme, percent.
pub(super) const STANDARD_MOISTURE: f64 = 13.5;
/// Pounds in a bushel of wheat (USDA Agricultural Handbook 697).
const BUSHEL_POUNDS: f64 = 60.0;
/// Square feet in an acre.
const FT2_PER_ACRE: f64 = 43_560.0;
/// Square metres in a hectare.
const M2_PER_HA: f64 = 10_000.0;

/// The column of the rate before sensing.
pub(super) fn early_column(site_year: &SiteYear) -> &'static str {
    match (&site_year.rates, site_year.typed_rate) {
        (Rates::TopdressResponse { .. }, _) => "early_n",
        (_, TypedRate::NitrogenPounds) => "n_lb_ac",
        (_, TypedRate::UreaPounds) => "urea_lb_ac",
        (_, TypedRate::NitrogenKilograms) => "n_kg_ha",
    }
}

/// `plots.csv`: a row a plot.
pub(super) fn plots(site_year: &SiteYear, plots: &[Plot<'_>]) -> String {
    let mut table = Table::new("plot", plots, |plot| plot.number.to_string());
    table.column("rep", plots, |plot| plot.block.to_string());
    if let Some(rows) = site_year.rows_a_block {
        let of_block = |plot: &Plot<'_>| plots.iter().filter(|other| other.block == plot.block).count() as u32;
        // Plots of a block are numbered along its rows.
        let place = |plot: &Plot<'_>| {
            let in_row = of_block(plot).div_ceil(rows.max(1)).max(1);
            let counted = (plot.number % 100).saturating_sub(1);
            ((plot.block - 1) * rows + counted / in_row + 1, counted % in_row + 1)
        };
        table.column("field_row", plots, |plot| place(plot).0.to_string());
        table.column("field_column", plots, |plot| place(plot).1.to_string());
    }
    if site_year.varieties.len() > 1 {
        table.column("cultivar", plots, |plot| csv_field(&plot.variety.name));
    }
    if matches!(site_year.rich, RichPlots::Beside { .. }) {
        table.column("kind", plots, |plot| if plot.rich_beside { "rich" } else { "trial" }.to_string());
    }
    table.column(early_column(site_year), plots, |plot| plot.early.to_string());
    if matches!(site_year.rates, Rates::TopdressResponse { .. }) {
        table.column("top_n", plots, |plot| plot.topdress.to_string());
    }
    if site_year.thin_stand.is_some() {
        table.column("shoots_per_ft2", plots, |plot| format!("{:.0}", plot.shoots_per_ft2));
    }
    let sensing = &site_year.sensing;
    if sensing.canopy_kept == CanopyReadings::Columns {
        if let Some((day, _)) = &sensing.canopy_early {
            table.column(&ndvi_column(day.header()), plots, |plot| format!("{:.3}", plot.ndvi_early));
        }
        table.column(&ndvi_column(sensing.canopy.0.header()), plots, |plot| format!("{:.3}", plot.ndvi));
    }
    harvest(&mut table, site_year.harvest, plots);
    table.text()
}

/// The column of a canopy date.
pub(super) fn ndvi_column(day: String) -> String {
    format!("ndvi_{day}")
}

fn harvest(table: &mut Table, harvest: Harvest, plots: &[Plot<'_>]) {
    let weighed = |table: &mut Table, header: &str, weigh: &dyn Fn(f64) -> f64| {
        table.column(header, plots, |plot| {
            plot.grain_yield.map_or(String::new(), |grain| {
                let at_plot_moisture = grain * at_moisture(rounded_to_tenth(plot.moisture));
                format!("{:.2}", weigh(at_plot_moisture))
            })
        });
        table
            .column("moist", plots, |plot| plot.grain_yield.map_or(String::new(), |_| format!("{:.1}", plot.moisture)));
        table.column("protein", plots, |plot| {
            plot.grain_yield.map_or(String::new(), |_| format!("{:.1}", plot.protein))
        });
    };
    let kg_ha_per_bu_ac = BUSHEL_POUNDS * KG_HA_PER_LB_AC;
    match harvest {
        Harvest::Bushels { moisture_percent } => table.column("yield", plots, |plot| {
            plot.grain_yield.map_or(String::new(), |grain| format!("{:.1}", grain * at_moisture(moisture_percent)))
        }),
        Harvest::Kilograms { moisture_percent } => table.column("yield_kg_ha", plots, |plot| {
            plot.grain_yield.map_or(String::new(), |grain| {
                format!("{:.0}", grain * kg_ha_per_bu_ac * at_moisture(moisture_percent))
            })
        }),
        Harvest::WeighedPounds { length, width } => {
            weighed(table, "grain_lb", &|grain| grain * BUSHEL_POUNDS * length * width / FT2_PER_ACRE)
        }
        Harvest::WeighedKilograms { length, width } => {
            weighed(table, "grain_kg", &|grain| grain * kg_ha_per_bu_ac * length * width / M2_PER_HA)
        }
    }
}

/// From the standard moisture to another one: the same dry matter, more or less water.
fn at_moisture(percent: f64) -> f64 {
    (100.0 - STANDARD_MOISTURE) / (100.0 - percent)
}

/// The moisture as it is typed, so that weight and moisture on paper belong together.
fn rounded_to_tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// `leaf.csv` or `readings.csv`: a row a leaf, and a row a canopy reading where these are kept in long form.
pub(super) fn readings(site_year: &SiteYear, plots: &[Plot<'_>]) -> String {
    let (sensing, year) = (&site_year.sensing, site_year.harvest_year);
    let leaf_day = sensing.leaf.0.in_year(year);
    let leaf_stage = csv_field(&sensing.leaf.1);
    let mut lines = Vec::new();
    let tool = match sensing.canopy_kept {
        CanopyReadings::Columns => {
            lines.push("plot,date,stage,leaf,value".to_string());
            ""
        }
        CanopyReadings::Long => {
            lines.push("plot,tool,date,stage,leaf,value".to_string());
            let mut canopy = |day: String, stage: &str, value: &dyn Fn(&Plot<'_>) -> f64| {
                lines.extend(
                    plots
                        .iter()
                        .map(|plot| format!("{},ndvi,{day},{},,{:.3}", plot.number, csv_field(stage), value(plot))),
                );
            };
            if let Some((day, stage)) = &sensing.canopy_early {
                canopy(day.in_year(year), stage, &|plot| plot.ndvi_early);
            }
            let (day, stage) = &sensing.canopy;
            canopy(day.in_year(year), stage, &|plot| plot.ndvi);
            "leaf,"
        }
    };
    for plot in plots {
        lines.extend(
            (1..).zip(&plot.leaves).map(|(leaf, value): (u32, _)| {
                format!("{},{tool}{leaf_day},{leaf_stage},{leaf},{value:.1}", plot.number)
            }),
        );
    }
    lines.push(String::new());
    lines.join("\n")
}

/// A table that grows by columns.
struct Table {
    rows: Vec<String>,
}

impl Table {
    fn new(header: &str, plots: &[Plot<'_>], cell: impl Fn(&Plot<'_>) -> String) -> Self {
        let header = std::iter::once(csv_field(header));
        Table { rows: header.chain(plots.iter().map(cell)).collect() }
    }

    fn column(&mut self, header: &str, plots: &[Plot<'_>], cell: impl Fn(&Plot<'_>) -> String) {
        let cells = std::iter::once(csv_field(header)).chain(plots.iter().map(cell));
        for (row, cell) in self.rows.iter_mut().zip(cells) {
            row.push(',');
            row.push_str(&cell);
        }
    }

    fn text(self) -> String {
        self.rows.into_iter().map(|row| row + "\n").collect()
    }
}

/// A text as one CSV field, quoted where it must be.
fn csv_field(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text.to_string() }
}
