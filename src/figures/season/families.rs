//! Yield response of each trial with every family that can be estimated.

use super::groups::{self, drawn_rates};
use super::response::{pages, panel, titled, trials};
use super::{CURVE_POINTS, Material, NamedFigure};
use crate::experiment::FittedGroup;
use crate::figures::{CurveLine, OverlaidCurve, ResponsePanel, Wording};
use crate::response::{Curve, Family, Fit};
use crate::season::TrialResult;
use crate::trial::Trial;

/// One figure a trial with any curve, of several pages where its panels need them.
pub(super) fn figures(material: Material<'_>) -> Vec<NamedFigure> {
    trials(material).flat_map(|(trial, result)| of_trial(material, trial, result)).collect()
}

fn of_trial(material: Material<'_>, trial: &Trial, result: &TrialResult) -> Vec<NamedFigure> {
    let Material { season, wording, .. } = material;
    let panel = |group| {
        let title = titled(result.groups.len(), groups::title(group, wording));
        with_families(group, panel(material, group, title)?, wording)
    };
    let panels: Vec<ResponsePanel> = result.groups.iter().filter_map(panel).collect();
    let plots: usize = panels.iter().map(|panel| panel.plots.len()).sum();
    let [rate_name, levels] = [groups::rate_name(trial.need_from), groups::panelled(trial.need_from)];
    let crop = &season.programme.crop.name;
    let title = format!("Curve families of yield of {crop} against {rate_name}, {}", trial.site_year());
    let caption = format!(
        "Every curve family that can be estimated, yield of {crop} against {rate_name}{levels}, {}, n = {plots} plots). Open circles: plots. \
         Filled circles: treatment means, block effects removed, with their standard error. Bold: the family that the optimum is read \
         from, which is never a line or a square root unless asked for; broken and bold: the mean, as a response was not shown. Thin: \
         the others. ΔAICc: above the smallest AICc (ΔBIC: BIC, where AICc is not defined) of the families that answer to N; those \
         within 2 fit about equally well.",
        groups::trial_words(trial),
    );
    let name = format!("{}-families", trial.folder);
    pages(material, &name, trial.need_from, [title, caption], panels, |panel| finding(panel, wording))
}

/// A panel with the curves of all families, without optimum and band; `None` where none is estimable.
fn with_families(group: &FittedGroup, panel: ResponsePanel, wording: &Wording) -> Option<ResponsePanel> {
    let fitted = group.outcome.as_ref().ok()?;
    let weights = fitted.weights();
    let label = |family: Family| {
        let above = weights.as_ref().and_then(|weights| {
            let found = weights.families.iter().find(|one| one.family == family)?;
            let criterion = if weights.by == "bic" { "BIC" } else { "AICc" };
            Some(format!(", Δ{criterion}\u{a0}{}", wording.number(found.above_best, 1)))
        });
        format!("{}{}", family.name(), above.unwrap_or_default())
    };
    let is_bold = |family: Family| {
        panel.curve_line == CurveLine::Response && fitted.optimum_curve().is_some_and(|curve| curve.family == family)
    };
    let overlaid = |curve: &Curve| OverlaidCurve {
        line: Family::ALL.iter().position(|family| *family == curve.family).unwrap_or(0),
        label: label(curve.family),
        points: drawn_rates(curve, CURVE_POINTS)
            .into_iter()
            .map(|rate| [wording.rate(rate), wording.yields(curve.value(rate))])
            .collect(),
    };
    let curves = fitted.fits.iter().filter_map(Fit::curve).filter(|curve| curve.family != Family::Mean);
    let others: Vec<OverlaidCurve> = curves.filter(|curve| !is_bold(curve.family)).map(overlaid).collect();
    if others.is_empty() && panel.curve.is_empty() {
        return None;
    }
    let curve_label = fitted.optimum_curve().map_or_else(String::new, |curve| label(curve.family));
    Some(ResponsePanel { others, curve_label, band: Vec::new(), optimum: None, join: None, ..panel })
}

/// Which curves are seen, and how much worse than the best each is.
fn finding(panel: &ResponsePanel, wording: &Wording) -> String {
    let title = panel.title.as_ref().map_or(String::new(), |title| format!("{title}: "));
    let chosen = match panel.curve_line {
        CurveLine::NotShown => "response not shown".to_owned(),
        CurveLine::Response => format!("{} in bold", panel.curve_label),
    };
    let others: Vec<&str> = panel.others.iter().map(|other| other.label.as_str()).collect();
    let others = if others.is_empty() { String::new() } else { format!("; also {}", others.join("; ")) };
    format!("{title}{chosen}{others}. {}", spread(panel, wording))
}

/// How far apart the curves lie where they differ most.
fn spread(panel: &ResponsePanel, wording: &Wording) -> String {
    let bold = (panel.curve_line == CurveLine::Response).then_some(&panel.curve);
    let curves: Vec<&Vec<[f64; 2]>> = bold.into_iter().chain(panel.others.iter().map(|other| &other.points)).collect();
    let points = curves.iter().map(|curve| curve.len()).min().unwrap_or(0);
    let at = |point: usize| {
        let here = || curves.iter().filter_map(|curve| curve.get(point));
        let rate = here().next()?[0];
        let (low, high) =
            here().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), [_, y]| (low.min(*y), high.max(*y)));
        Some([rate, high - low])
    };
    let furthest = (0..points).filter_map(at).max_by(|a, b| a[1].total_cmp(&b[1]));
    match furthest.filter(|_| curves.len() > 1) {
        Some([rate, apart]) => format!(
            "They differ by at most {}, at {} {}.",
            wording.yield_text(apart),
            wording.number(rate, 0),
            wording.rate_unit()
        ),
        None => String::new(),
    }
}
