//! Net return of each trial against N, at each of the season's price ratios.

use super::groups::{self, drawn_rates};
use super::response::{titled, trials};
use super::{CURVE_POINTS, Material, NamedFigure};
use crate::economics::net_return;
use crate::experiment::{Fitted, FittedGroup};
use crate::figures::stroke::Stroke;
use crate::figures::{
    BestRate, Censoring, Figure, NearOptimumRange, NetReturnFigure, NetReturnLine, NetReturnPanel, Wording, Words,
};
use crate::response::{Curve, Observations, OptimumStatus};
use crate::season::{Season, TrialResult};
use crate::trial::{NearOptimumWithin, Trial};

/// One figure a trial in which a response is shown, of several pages where its panels need them; none without a price ratio.
pub(super) fn figures(material: Material<'_>) -> Vec<NamedFigure> {
    let prices = Prices::of(material);
    let Some(base) = prices.ratios.first().copied() else { return Vec::new() };
    trials(material).flat_map(|(trial, result)| of_trial(material, &prices, base, trial, result)).collect()
}

/// What returns are counted in, and at which price ratios.
struct Prices {
    /// The base first, as many as lines are told apart.
    ratios: Vec<f64>,
    /// How many more there are.
    left_out: usize,
    /// What a yield unit of net return is in the unit shown.
    factor: f64,
    unit: String,
    /// The price of grain in words; `None` where returns are counted in yield.
    grain: Option<String>,
}

impl Prices {
    fn of(Material { season, wording, .. }: Material<'_>) -> Self {
        let programme = &season.programme;
        let area = programme.units.yields.area_symbol();
        let (factor, unit, grain) = match season.price_per_yield_unit() {
            Some(price) => {
                let (factor, unit) = wording.returns(price, &format!("{}/{area}", programme.currency));
                let grain = programme.prices.as_ref().map(|prices| {
                    format!(
                        "{} {}/{}",
                        wording.significant(prices.grain.price, 6),
                        programme.currency,
                        prices.grain.per
                    )
                });
                (factor, unit, grain)
            }
            None => (wording.yields(1.0), wording.yield_unit().to_owned(), None),
        };
        let ratios: Vec<f64> = season.price_ratios.iter().take(Stroke::LINES).copied().collect();
        let left_out = season.price_ratios.len() - ratios.len();
        Self { ratios, left_out, factor, unit, grain }
    }

    /// A return with its unit, to whole units of money and to as many decimals of yield as plots are told apart by.
    fn text(&self, shown: f64, wording: &Wording) -> String {
        let decimals = if self.grain.is_some() { 0 } else { wording.yield_decimals() };
        format!("{} {}", wording.number(shown, decimals), self.unit)
    }
}

fn of_trial(
    material: Material<'_>,
    prices: &Prices,
    base: f64,
    trial: &Trial,
    result: &TrialResult,
) -> Vec<NamedFigure> {
    let Material { season, wording, .. } = material;
    let panel = |group: &FittedGroup| {
        let title = titled(result.groups.len(), groups::title(group, wording));
        (!group.group.rates.is_empty()).then(|| panel(material, prices, group, title))
    };
    let panels: Vec<NetReturnPanel> = result.groups.iter().filter_map(panel).collect();
    let [rate_name, levels] = [groups::rate_name(trial.need_from), groups::panelled(trial.need_from)];
    let ratio_words = |(position, ratio): (usize, &f64)| {
        let base = if position == 0 { " (base)" } else { "" };
        format!("price ratio {}{base}", groups::ratio_text(*ratio, wording))
    };
    let near = match season.programme.decisions.near_optimum_within {
        NearOptimumWithin::Percent(percent) => {
            format!("within {} % of the best net return", wording.significant(percent, 3))
        }
        NearOptimumWithin::Money(money) => {
            let area = season.programme.units.yields.area_symbol();
            let (shown, unit) = wording.returns(money, &format!("{}/{area}", season.programme.currency));
            format!("within {} {unit} of the best net return", wording.significant(shown, 3))
        }
    };
    let counted = match &prices.grain {
        Some(grain) => format!("yield times the price of grain ({grain}), less N at the price that the ratio makes it"),
        None => "yield less price ratio × N rate".to_owned(),
    };
    let plots: usize = result.groups.iter().map(|group| group.group.rates.len()).sum();
    let more = if prices.left_out > 0 {
        format!(" {} further price ratios are left out.", prices.left_out)
    } else {
        String::new()
    };
    let caption = format!(
        "Net return of {} against {rate_name}{levels}, {}, n = {plots} plots): {counted}; no other cost is counted. Lines: the curve of yield that the optimum is read from, \
         one line a price ratio, told apart by pattern and mark. Mark: the best rate; with an arrow where the best rate is at least, or at \
         most, that. Bar above the rate axis: rates {near} at the base ratio, among those tested. The uncertainty of the curves is not \
         shown here: see the intervals of the optimum.{more}",
        season.programme.crop.name,
        groups::trial_words(trial),
    );
    let title = format!("Net return against {rate_name}, {}", trial.site_year());
    let pages = groups::pages(&format!("{}-net-return", trial.folder), panels).into_iter();
    let shown = pages.filter(|(_, panels)| panels.iter().any(|panel| !panel.lines.is_empty()));
    shown
        .map(|(name, panels)| {
            let finding =
                panels.iter().map(|panel| finding(panel, prices, base, wording)).collect::<Vec<_>>().join(" ");
            let figure = Figure::NetReturn(NetReturnFigure {
                rate_name: groups::capitalised(rate_name),
                rate_unit: Some(wording.rate_unit().to_owned()),
                return_unit: Some(prices.unit.clone()),
                ratios: prices.ratios.iter().enumerate().map(ratio_words).collect(),
                near_text: near.clone(),
                panels,
                words: Words { title: title.clone(), caption: caption.clone(), finding },
            });
            NamedFigure { name, figure }
        })
        .collect()
}

fn panel(material: Material<'_>, prices: &Prices, group: &FittedGroup, title: Option<String>) -> NetReturnPanel {
    let Material { season, wording, .. } = material;
    let empty = |remark: &str| NetReturnPanel {
        title: title.clone(),
        lines: Vec::new(),
        near_optimum: None,
        remark: remark.to_owned(),
    };
    let Ok(fitted) = &group.outcome else { return empty("no curve can be fitted") };
    if fitted.detected() == Some(false) {
        return empty("response not shown");
    }
    let Some(curve) = fitted.optimum_curve() else { return empty("no curve is chosen") };
    let rates = drawn_rates(curve, CURVE_POINTS);
    let line = |ratio: &f64| line(fitted, curve, *ratio, &rates, prices, wording);
    NetReturnPanel {
        lines: prices.ratios.iter().map(line).collect(),
        near_optimum: near_optimum(season, group, curve, wording),
        ..empty("")
    }
}

fn line(
    fitted: &Fitted,
    curve: &Curve,
    ratio: f64,
    rates: &[f64],
    prices: &Prices,
    wording: &Wording,
) -> NetReturnLine {
    let place = |rate: f64| [wording.rate(rate), prices.factor * net_return(curve, rate, ratio)];
    let (rate, bound) = best(&fitted.observations, curve, ratio);
    let [shown, value] = place(rate);
    NetReturnLine {
        points: rates.iter().map(|rate| place(*rate)).collect(),
        best: Some(BestRate { rate: shown, net_return: value, bound }),
    }
}

/// The best rate at a price ratio, and whether it is only a bound.
fn best(observations: &Observations, curve: &Curve, ratio: f64) -> (f64, Censoring) {
    let (rate, status) = observations.best_rate(curve, ratio);
    (rate, groups::censoring(status))
}

fn near_optimum(season: &Season, group: &FittedGroup, curve: &Curve, wording: &Wording) -> Option<NearOptimumRange> {
    let found = season.optimum(group)?;
    // A bound from above says nothing of the rates below it.
    if found.optimum.status == OptimumStatus::BeforeFirstRate {
        return None;
    }
    let near = found.near_optimum?;
    let [low, high] = [near.low, near.high].map(|rate| wording.rate(rate));
    let unit = wording.rate_unit();
    let label = if near.high >= curve.highest_rate {
        format!("near-optimum {} {unit} to the highest tested", wording.number(low, 0))
    } else {
        format!("near-optimum {} to {} {unit}", wording.number(low, 0), wording.number(high, 0))
    };
    Some(NearOptimumRange { low, high, label })
}

/// Best rate and net return at each price ratio, in words.
fn finding(panel: &NetReturnPanel, prices: &Prices, base: f64, wording: &Wording) -> String {
    let title = panel.title.as_ref().map_or(String::new(), |title| format!("{title}: "));
    if panel.lines.is_empty() {
        return format!("{title}{}.", panel.remark);
    }
    let at = |(line, ratio): (&NetReturnLine, &f64)| {
        let best = line.best?;
        let bound = match best.bound {
            Censoring::None => "",
            Censoring::AtLeast => " or more",
            Censoring::AtMost => " or less",
        };
        let is_base = if *ratio == base { "base " } else { "" };
        Some(format!(
            "{} at {} {}{bound} ({is_base}price ratio {})",
            prices.text(best.net_return, wording),
            wording.number(best.rate, 0),
            wording.rate_unit(),
            groups::ratio_text(*ratio, wording),
        ))
    };
    let best: Vec<String> = panel.lines.iter().zip(&prices.ratios).filter_map(at).collect();
    let near = panel.near_optimum.as_ref().map_or(String::new(), |near| format!("; {}", near.label));
    format!("{title}best net return {}{near}.", best.join(", "))
}
