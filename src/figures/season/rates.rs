//! The rates of each table, and of two tables side by side.

use super::{Material, NamedFigure, instrument_name};
use crate::calibration::INTERVAL_METHOD;
use crate::figures::rates::{ABOVE, highest_shown};
use crate::figures::{DecimalMark, Figure, RateFigure, RateSteps, Step, Wording, Words};
use crate::rate_table::{Document, RateTable, Row, RowInterval, RowRate};
use crate::season::TableResult;

/// One figure each table that there is.
pub(super) fn figures(material: Material<'_>) -> Vec<NamedFigure> {
    let described = |result: &TableResult| {
        let table = result.derived.table.as_ref().ok()?;
        let name = format!("{}-rates", result.specification.name);
        Some(NamedFigure { name, figure: rate_figure(table, None, Some(material.wording)) })
    };
    material.season.tables.iter().filter_map(described).collect()
}

/// The figure of a table's rates at its base price ratio, with those of an earlier table of the same units; `wording` of the programme that
/// the new one comes from, without which numbers stay in the table's units.
#[must_use]
pub fn rate_figure(new: &RateTable, earlier: Option<&RateTable>, wording: Option<&Wording>) -> Figure {
    let shown = Shown { document: new.document(), wording };
    let before = earlier.map(|table| Shown { document: table.document(), wording });
    let level = shown.percent(shown.document.settings.level);
    let table =
        RateSteps { label: shown.label(before.is_some().then_some("new")), steps: shown.steps(before.is_none()) };
    let earlier = before.map(|before| RateSteps { label: before.label(Some("old")), steps: before.steps(false) });
    let words = match &earlier {
        None => shown.words(&table),
        Some(earlier) => shown.words_of_two(&table, earlier),
    };
    Figure::Rates(RateFigure {
        index_label: format!("Sufficiency index, {}", instrument_name(shown.document.instrument)),
        rate_unit: shown.rate_unit(),
        table,
        earlier,
        interval_text: format!("{level} % interval of the return-maximising rate"),
        range_text: format!("holds the optima of {} % of new site-years", shown.new_share()),
        words,
    })
}

/// A table in the units it is shown in.
#[derive(Clone, Copy)]
struct Shown<'a> {
    document: &'a Document,
    wording: Option<&'a Wording>,
}

impl Shown<'_> {
    fn rate(self, rate: f64) -> f64 {
        self.wording.map_or(rate, |wording| wording.rate(rate))
    }

    fn rate_unit(self) -> String {
        self.wording.map_or_else(|| self.document.rate_unit.clone(), |wording| wording.rate_unit().to_owned())
    }

    fn decimal_mark(self) -> DecimalMark {
        self.wording.map_or(DecimalMark::Point, |wording| wording.options().decimal_mark)
    }

    fn number(self, value: f64, decimals: usize) -> String {
        self.decimal_mark().number(value, decimals)
    }

    fn percent(self, share: f64) -> String {
        self.decimal_mark().percentage(share)
    }

    fn new_share(self) -> String {
        self.percent(self.document.settings.new_site_years)
    }

    fn base(self) -> usize {
        self.document.prices.iter().position(|price| price.base).unwrap_or(0)
    }

    fn price_ratio(self) -> String {
        let Some(price) = self.document.prices.get(self.base()) else { return "none".to_owned() };
        match self.wording {
            Some(wording) => {
                let ratio = wording.significant(wording.price_ratio(price.price_ratio), 4);
                format!("{ratio} {}", wording.price_ratio_unit())
            }
            None => self.number(price.price_ratio, 4),
        }
    }

    fn harvests(self) -> String {
        let years = || self.document.site_years.iter().map(|one| one.harvest_year);
        match (years().min(), years().max()) {
            (Some(first), Some(last)) if first < last => format!("harvests {first} to {last}"),
            (Some(only), _) => format!("harvest {only}"),
            _ => "no harvest".to_owned(),
        }
    }

    fn label(self, which: Option<&str>) -> String {
        let which = which.map_or(String::new(), |which| format!("{which}: "));
        format!("{which}{}, {}, price ratio {}", self.document.name, self.harvests(), self.price_ratio())
    }

    fn steps(self, with_support: bool) -> Vec<Step> {
        self.document.rows.iter().filter_map(|row| self.step(row, with_support)).collect()
    }

    /// A row that has a rate; its range and support where it stands alone.
    fn step(self, row: &Row, is_alone: bool) -> Option<Step> {
        let cell = row.rates.get(self.base())?;
        let interval = cell.interval.as_ref().map(|noted| &noted.interval);
        let range = cell.new_site_years.as_ref().map(|noted| &noted.interval).filter(|_| is_alone);
        Some(Step {
            from: f64::from(row.index_from) / 1000.0,
            below: f64::from(row.index_below) / 1000.0,
            rate: self.rate(cell.rate?),
            low: interval.and_then(|interval| interval.low).map(|rate| self.rate(rate)),
            high: interval.and_then(|interval| interval.high).map(|rate| self.rate(rate)),
            new_site_years: range.and_then(|range| Some([self.rate(range.low?), self.rate(range.high?)])),
            support: is_alone.then_some([row.support.site_years, row.support.plots]),
        })
    }

    /// The rates by row, in words.
    fn rates(self, table: &RateSteps) -> String {
        if table.steps.is_empty() {
            return "none".to_owned();
        }
        let row = |step: &Step| format!("{} from an index of {}", self.number(step.rate, 0), self.number(step.from, 2));
        table.steps.iter().map(row).collect::<Vec<_>>().join(", ")
    }

    fn words(self, table: &RateSteps) -> Words {
        let document = self.document;
        let instrument = instrument_name(document.instrument);
        let has_intervals = table.steps.iter().any(|step| step.low.is_some() || step.high.is_some());
        let intervals = if has_intervals {
            format!(
                " Bars: {} % intervals of the return-maximising rate at the middle of the row, {}, before limits and rounding{}.",
                self.percent(document.settings.level),
                match document.settings.interval_method.as_str() {
                    INTERVAL_METHOD => "by leaving site-years out in turn",
                    other => other,
                },
                self.notes(|cell| cell.interval.as_ref()),
            )
        } else {
            " No row has an interval: too few site-years.".to_owned()
        };
        let ranges = if table.steps.iter().any(|step| step.new_site_years.is_some()) {
            let notes = self.notes(|cell| cell.new_site_years.as_ref());
            let most = highest_shown(table.steps.iter());
            let is_cut = table.steps.iter().filter_map(|step| step.new_site_years).any(|[_, high]| high > ABOVE * most);
            let cut = if is_cut { "; an open one goes on above the axis" } else { "" };
            format!(
                " Boxes: the range expected to hold the optima of {} % of new site-years{notes}{cut}.",
                self.new_share()
            )
        } else {
            String::new()
        };
        let outside = document.rows.len() - table.steps.len();
        let outside = match outside {
            0 => String::new(),
            1 => " One row lies outside the calibrated indices and has no rate.".to_owned(),
            several => format!(" {several} rows lie outside the calibrated indices and have no rate."),
        };
        Words {
            title: format!(
                "N rate by sufficiency index, {instrument}, {} to {}",
                document.stages.first, document.stages.last
            ),
            caption: format!(
                "N rate by sufficiency index ({instrument}), {} to {}: rate table {} for {}, from {} site-years, {}, at a price ratio of {}. \
                 Steps: the table's rows, rounded to {} {} and at most {}.{intervals}{ranges} Numbers above: site-years and plots whose index lies in the \
                 row.{outside}",
                document.stages.first,
                document.stages.last,
                document.name,
                document.crop,
                document.site_years.len(),
                self.harvests(),
                self.price_ratio(),
                self.rule(document.settings.rate.round_to),
                self.rate_unit(),
                self.rule(document.settings.rate.highest),
            ),
            finding: format!("Rates in {}: {}.", self.rate_unit(), self.rates(table)),
        }
    }

    /// What the intervals of the rows say of themselves, each once.
    fn notes(self, of: impl Fn(&RowRate) -> Option<&RowInterval>) -> String {
        let cells = self.document.rows.iter().filter_map(|row| row.rates.get(self.base()));
        let mut notes: Vec<&str> = cells.filter_map(|cell| of(cell)?.note.as_deref()).collect();
        notes.sort_unstable();
        notes.dedup();
        if notes.is_empty() { String::new() } else { format!(" ({})", notes.join("; ")) }
    }

    /// A rate that a rule states: whole where it is.
    fn rule(self, rate: f64) -> String {
        let shown = self.rate(rate);
        self.number(shown, usize::from((shown - shown.round()).abs() > 0.05))
    }

    fn words_of_two(self, table: &RateSteps, earlier: &RateSteps) -> Words {
        let crop = &self.document.crop;
        Words {
            title: format!("N rate by sufficiency index in two rate tables for {crop}"),
            caption: format!(
                "N rate by sufficiency index in two rate tables for {crop}, at their base price ratios. Steps: the tables' rows. Bars: {} % \
                 intervals of the return-maximising rate over site-years, before limits and rounding; as the tables share site-years, bars \
                 that overlap do not mean that the rates don't differ.",
                self.percent(self.document.settings.level),
            ),
            finding: format!(
                "Rates in {}. Old table: {}. New table: {}.",
                self.rate_unit(),
                self.rates(earlier),
                self.rates(table)
            ),
        }
    }
}
