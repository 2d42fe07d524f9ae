//! Calibration, validation and rate tables.

use std::collections::BTreeSet;

use super::references::{Citations, Reference};
use super::{Part, and, level, number};
use crate::calibration::{FEWEST_SITE_YEARS, INTERVAL_METHOD};
use crate::output::TableCalibration;
use crate::output::calibrate_validation_text::rule_words;
use crate::output::curves_text::capitalised;
use crate::output::numbers::percent;
use crate::rate_table::{Document, RateTable};
use crate::report::material::Material;
use crate::trial::{NeedFrom, Outside, RelationKind};

pub(super) fn calibration(material: &Material<'_>, citations: &mut Citations) -> Part {
    let with_points = |table: &&TableCalibration| table.base().is_some_and(|base| !base.points.is_empty());
    let tables: Vec<&TableCalibration> = material.reports.calibrations.tables.iter().filter(with_points).collect();
    if tables.is_empty() {
        return None;
    }
    let mut text = needs(&tables);
    text += &relations(&tables);
    text += &validation(material, &tables);
    text += &tables_text(material, citations);
    text += &index_worth(material, &tables, citations);
    Some(("Calibration and rate tables", text))
}

fn needs(tables: &[&TableCalibration]) -> String {
    let points = || tables.iter().filter_map(|table| table.base()).flat_map(|base| &base.points);
    let from: BTreeSet<bool> = points().map(|point| point.need_from == NeedFrom::TopdressResponse).collect();
    let mut ways = Vec::new();
    if from.contains(&true) {
        ways.push("the optimum topdress within each level of early N");
    }
    if from.contains(&false) {
        ways.push("the optimum of the site-year minus the N already on, kept signed");
    }
    let mut text = format!("The N need of a treatment is {}.", and(&ways));
    if points().any(|point| point.bound != "exact") {
        text += " A need that is only bounded, because its optimum was not reached or a response not shown, entered as lying within its limits, never as a number.";
    }
    text + " Plots that are the reference give no point under it."
}

fn relations(tables: &[&TableCalibration]) -> String {
    let tried: BTreeSet<&str> = tables.iter().flat_map(|table| &table.tried).map(|tried| tried.relation).collect();
    let kinds = || RelationKind::ALL.into_iter();
    let mut text = String::new();
    if !tried.is_empty() {
        let named: Vec<&str> = kinds().map(RelationKind::name).filter(|name| tried.contains(name)).collect();
        text += &format!(
            " Relations of need and index were tried of the kinds {}; of those whose forgone return on held-out site-years is within one standard error of the \
             best the first in a fixed order of preference was taken.",
            and(&named)
        );
    }
    let taken: Vec<String> = tables
        .iter()
        .filter_map(|table| {
            let asked = if table.relation_asked.is_some() { ", as asked for" } else { "" };
            Some(format!("{} ({}{asked})", table.relation?, table.table))
        })
        .collect();
    if !taken.is_empty() {
        text += &format!(" Taken: {}.", and(&taken));
    }
    let is_taken = |one_stage: bool| {
        tables
            .iter()
            .filter_map(|table| table.relation)
            .any(|taken| kinds().any(|kind| kind.name() == taken && kind.is_one_stage() == one_stage))
    };
    if is_taken(true) {
        let cubed = tables.iter().filter_map(|table| table.base()).flat_map(|base| &base.relations).any(|relation| {
            tables.iter().any(|table| table.relation == Some(relation.kind))
                && relation.coefficients.get("loss_power") == Some(&3.0)
        });
        let power = if cubed { "the square, or the cube where that fits better," } else { "the square" };
        text += &format!(
            " A one-stage (shortfall) relation was fitted to the yields of the early × topdress trials themselves: yield falls with {power} of what topdress lacks to \
             a need that depends on the index and never rises with it, block × early level being nuisance."
        );
    }
    if is_taken(false) {
        text += " A two-stage relation was fitted to the needs by maximum likelihood, with a random effect of site-year and the errors of the optima known.";
    }
    text
}

fn validation(material: &Material<'_>, tables: &[&TableCalibration]) -> String {
    let held_out: Vec<&str> = ["site-year", "season", "site"]
        .into_iter()
        .filter(|wanted| tables.iter().flat_map(|table| &table.validation).any(|of| of.held_out == *wanted))
        .collect();
    if held_out.is_empty() {
        return String::new();
    }
    let rules: BTreeSet<&str> = tables
        .iter()
        .flat_map(|table| &table.validation)
        .flat_map(|validation| &validation.rules)
        .map(|rule| rule_words(rule.rule))
        .filter(|rule| *rule != "sensor")
        .collect();
    let mut text = format!(
        " {} was held out in turn, every choice made anew without it; its own curve then scored the sensor rule beside {} by root mean square error, bias \
         and forgone return, the net return lost against the best rate in hindsight.",
        capitalised(&and(&held_out.iter().map(|held_out| format!("every {held_out}")).collect::<Vec<_>>())),
        and(&rules.into_iter().collect::<Vec<_>>()),
    );
    if let Some(verdict) = tables.iter().find_map(|table| table.verdict.as_ref()) {
        text += &format!(
            " The sensor is judged against the better flat rule that knows the early N, by Student's t interval ({}) of the gain over site-years and an exchange \
             test of the two rules within site-years.",
            material.set(&percent(verdict.gain.level)),
        );
    }
    text
}

fn tables_text(material: &Material<'_>, citations: &mut Citations) -> String {
    let documents: Vec<&Document> = material
        .season
        .tables
        .iter()
        .filter_map(|result| result.derived.table.as_ref().ok())
        .map(RateTable::document)
        .collect();
    if documents.is_empty() {
        return String::new();
    }
    let mut text = format!(
        " The rate of a table's row is that of its midpoint, made not to rise with the index by isotonic regression weighted by support {}, limited and rounded (",
        citations.cite(&[Reference::Ayer1955]),
    );
    let limits = documents.iter().map(|document| {
        let rule = document.settings.rate;
        format!(
            "{}: multiples of {}, at most {} {}",
            document.name,
            number(material, rule.round_to),
            number(material, rule.highest),
            material.wording.options().unit_form.unit(&document.rate_unit)
        )
    });
    text += &limits.collect::<Vec<_>>().join("; ");
    text += "). Only rows whose midpoint lies among the calibrated indices have a rate.";
    let rates = || documents.iter().flat_map(|document| &document.rows).flat_map(|row| &row.rates);
    let interval =
        rates().filter_map(|rate| rate.interval.as_ref()).find(|noted| noted.interval.method == INTERVAL_METHOD);
    if let Some(noted) = interval {
        text += &format!(
            " Intervals of rows ({}) are of the return-maximising rate before limits and rounding: Student's t with the jackknife's standard error over site-years \
             {} and the degrees of freedom of that error {}; they need {FEWEST_SITE_YEARS} site-years.",
            material.set(&percent(noted.interval.level)),
            citations.cite(&[Reference::EfronTibshirani1993]),
            citations.cite(&[Reference::JohnsonRust1992]),
        );
    }
    if let Some(range) = rates().find_map(|rate| rate.new_site_years.as_ref()) {
        text += &format!(
            " The range of new site-years is where {} of their optima are expected, the spread between and within site-years added.",
            material.set(&percent(range.interval.level)),
        );
    }
    if documents.iter().all(|document| document.settings.outside == Outside::NoRate) {
        text += " An index outside the rows has no rate.";
    }
    if !material.changes.is_empty() {
        text += " Moves since an earlier table were split by deriving the earlier table again with prices, site-years or settings alone taken from the new one.";
    }
    text
}

fn index_worth(material: &Material<'_>, tables: &[&TableCalibration], citations: &mut Citations) -> String {
    let mut text = String::new();
    if tables.iter().any(|table| table.critical_index.critical_index.is_some()) {
        text += &format!(
            " The critical index maximises Youden's J {}; the chance that a deficient treatment has the lower index is the area under the receiver operating \
             characteristic {}, intervals ({}) being from {} resamples of site-years.",
            citations.cite(&[Reference::Youden1950]),
            citations.cite(&[Reference::MannWhitney1947, Reference::HanleyMcNeil1982]),
            level(material),
            material.season.options.replicates,
        );
    }
    if tables.iter().any(|table| table.reliability.within_site_years.is_some()) {
        text += &format!(
            " The reliability of an index is 1 − error variance ÷ variance between treatment means {}; nothing was corrected for it.",
            citations.cite(&[Reference::ShroutFleiss1979]),
        );
    }
    if material.reports.calibrations.features.iter().any(|features| features.reason.is_none()) {
        text += &format!(
            " Several features at once were compared on held-out site-years by least squares, each site-year weighing the same, after the one-standard-error rule {}.",
            citations.cite(&[Reference::Breiman1984]),
        );
    }
    text
}
