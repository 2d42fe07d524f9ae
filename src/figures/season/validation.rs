//! What each table's rule says of site-years that it has not seen: predicted against observed need, and what rules forgo.

use super::{Material, NamedFigure, instrument_name, page_name};
use crate::calibration::{Bound, HeldOut, HoldOut, Performance, Rule, Validation};
use crate::figures::{AgreementFigure, AgreementPoint, Censoring, Figure, ForgoneFigure, ForgoneRow, Wording, Words};
use crate::season::TableResult;

/// Site-years on one page.
const ROWS: usize = 16;

/// Predicted against observed need, one figure a table that could hold site-years out.
pub(super) fn agreements(material: Material<'_>) -> Vec<NamedFigure> {
    let described = |result: &TableResult| {
        let name = format!("{}-validation", result.specification.name);
        Some(NamedFigure { name, figure: agreement(result, validation(result)?, material.wording)? })
    };
    material.season.tables.iter().filter_map(described).collect()
}

/// Forgone returns by site-year, one figure a table, of several pages where it has many.
pub(super) fn forgone(material: Material<'_>) -> Vec<NamedFigure> {
    let pages = |result: &TableResult| match validation(result) {
        Some(validation) => pages(result, validation, material.wording),
        None => Vec::new(),
    };
    material.season.tables.iter().flat_map(pages).collect()
}

fn validation(result: &TableResult) -> Option<&Validation> {
    result.derived.validations.iter().find(|validation| validation.by == HoldOut::SiteYear)
}

/// How site-years were held out, in words.
fn held_out(validation: &Validation) -> String {
    let site_years = validation.held_out.len();
    if validation.parts < site_years {
        format!("{site_years} site-years held out in {} parts", validation.parts)
    } else {
        format!("{site_years} site-years, each held out in turn")
    }
}

fn agreement(result: &TableResult, validation: &Validation, wording: &Wording) -> Option<Figure> {
    let with_points = || validation.held_out.iter().filter(|held_out| !held_out.predictions.is_empty());
    let groups: Vec<String> = with_points().map(|held_out| held_out.site_year.clone()).collect();
    let mut points = Vec::new();
    let mut unbounded = 0;
    for (group, prediction) in with_points()
        .enumerate()
        .flat_map(|(group, held_out)| held_out.predictions.iter().map(move |prediction| (group, prediction)))
    {
        let censored = match prediction.point.bound() {
            Bound::Exact | Bound::Within => Censoring::None,
            Bound::AtMost => Censoring::AtMost,
            Bound::AtLeast => Censoring::AtLeast,
            Bound::Open => {
                unbounded += 1;
                continue;
            }
        };
        let [across, up] = [prediction.point.need, prediction.need].map(|need| wording.rate(need));
        points.push(AgreementPoint { across, up, censored, group });
    }
    if points.is_empty() {
        return None;
    }
    let instrument = instrument_name(result.specification.instrument);
    let open = match unbounded {
        0 => String::new(),
        1 => " One point whose yields set its need no limit is left out.".to_owned(),
        count => format!(" {count} points whose yields set their need no limit are left out."),
    };
    let errors = validation.performance(Rule::Sensor).map_or_else(String::new, |sensor| errors(&sensor, wording));
    let caption = format!(
        "Predicted against observed N need, {instrument}: {}. Predicted: the relation of the other site-years at the index of the point; \
         observed: the need found from its own yields; a point is one variety at one level of N already on (n = {}). Line: both the same; \
         arrows: the observed need is only a bound.{errors}{open}",
        held_out(validation),
        points.len(),
    );
    let bounds = points.iter().filter(|point| point.censored != Censoring::None).count();
    let finding = format!(
        "Needs of {} points in {} held-out site-years, {bounds} of them only bounds.{errors}",
        points.len(),
        groups.len(),
    );
    let title = format!("Predicted against observed N need, {instrument}");
    Some(Figure::Agreement(AgreementFigure {
        across_label: "Observed N need".to_owned(),
        up_label: "Predicted N need".to_owned(),
        unit: Some(wording.rate_unit().to_owned()),
        groups,
        group_noun: "site-years".to_owned(),
        points,
        threshold: None,
        words: Words { title, caption, finding },
    }))
}

/// How far the sensor's rates lie from the needs.
fn errors(sensor: &Performance, wording: &Wording) -> String {
    let Some((error, bias)) = sensor.root_mean_square_error.zip(sensor.bias) else { return String::new() };
    format!(
        " The rule's rate, never below zero, differs from needs that are known by {} {unit} (root mean square, each site-year the same), on \
         average by {}.",
        wording.number(wording.rate(error), 0),
        wording.number(wording.rate(bias), 0),
        unit = wording.rate_unit(),
    )
}

/// A rule as the legend names it.
fn rule_name(rule: Rule) -> &'static str {
    match rule {
        Rule::Sensor => "sensor",
        Rule::GivenEarly => "best rate given the N already on",
        Rule::FlatTotal => "best total less the N already on",
        Rule::FlatTopdress => "best single topdress",
        Rule::Standard => "standard topdress",
        Rule::Hindsight => "best in hindsight",
    }
}

fn pages(result: &TableResult, validation: &Validation, wording: &Wording) -> Vec<NamedFigure> {
    let performances: Vec<Performance> =
        validation.performances().into_iter().filter(|performance| performance.rule != Rule::Hindsight).collect();
    let rules: Vec<Rule> = performances.iter().map(|performance| performance.rule).collect();
    let derived = &result.derived;
    let shown = |forgone: f64| wording.returns(forgone * derived.return_factor, &derived.return_unit);
    let (_, unit) = shown(0.0);
    let row = |held_out: &HeldOut| ForgoneRow {
        name: held_out.site_year.clone(),
        forgone: rules.iter().map(|rule| Some(shown(held_out.forgone(*rule)?).0)).collect(),
        is_lower_bound: held_out.predictions.iter().any(|prediction| prediction.is_lower_bound),
    };
    let rows: Vec<ForgoneRow> =
        validation.held_out.iter().filter(|held_out| !held_out.predictions.is_empty()).map(row).collect();
    let mean = ForgoneRow {
        name: format!("mean of {}", rows.len()),
        forgone: performances.iter().map(|performance| Some(shown(performance.forgone).0)).collect(),
        is_lower_bound: rows.iter().any(|row| row.is_lower_bound),
    };
    let instrument = instrument_name(result.specification.instrument);
    let bounded = rows.iter().filter(|row| row.is_lower_bound).count();
    let at_least = if bounded == 0 { "" } else { "at least " };
    let means: Vec<String> = performances
        .iter()
        .zip(mean.forgone.iter().flatten())
        .map(|(performance, forgone)| format!("{} {}", rule_name(performance.rule), wording.significant(*forgone, 3)))
        .collect();
    let means = format!(" Mean, {at_least}in {unit}: {}.", means.join(", "));
    let bounds = if bounded == 0 {
        String::new()
    } else {
        let site_years = if bounded == 1 { "site-year" } else { "site-years" };
        format!(
            " Arrows: at least so much, as the optimum of a point lies past the tested rates (in {bounded} {site_years})."
        )
    };
    let caption = format!(
        "Return that each rule forgoes against the best rate in hindsight, {instrument}: {}. Sensor: the rate by the relation of the other \
         site-years; the flat rates are the best of the other site-years too. A mark is the mean over the points of a site-year, scored on its \
         own curves.{bounds}{means}",
        held_out(validation),
    );
    let finding =
        format!("Forgone returns in {} held-out site-years.{means}{}", rows.len(), super::calibration::worth(result));
    let title = format!("Forgone return by site-year, {instrument}");
    let words = Words { title, caption, finding };
    let last = rows.len().div_ceil(ROWS).saturating_sub(1);
    let page = |(position, rows): (usize, &[ForgoneRow])| {
        let figure = ForgoneFigure {
            unit: unit.clone(),
            rules: rules.iter().map(|rule| rule_name(*rule).to_owned()).collect(),
            rows: rows.to_vec(),
            mean: (position == last).then(|| mean.clone()),
            words: words.clone(),
        };
        let name = format!("{}-forgone", result.specification.name);
        NamedFigure { name: page_name(&name, position), figure: Figure::Forgone(figure) }
    };
    rows.chunks(ROWS).enumerate().map(page).collect()
}
