//! Axes: round ticks, and a linear scale from numbers to millimetres.

use super::scene::{Anchor, HAIR, INK, Scene, at};
use super::typeface::{LARGE, SMALL, Typeface, capital_height, line_height};

/// Length of a tick, mm.
pub(super) const TICK: f64 = 1.0;
/// Space between a tick and its label, mm.
pub(super) const LABEL_GAP: f64 = 0.7;

/// Places a range of numbers on a stretch of page.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    pub low: f64,
    pub high: f64,
    /// Place of `low`, mm.
    pub from: f64,
    /// Place of `high`, mm.
    pub to: f64,
}

impl Scale {
    pub(super) fn place(&self, value: f64) -> f64 {
        self.from + (value - self.low) / (self.high - self.low) * (self.to - self.from)
    }

    /// As [`Scale::place`], no further than the ends of the axis.
    pub(super) fn clamped(&self, value: f64) -> f64 {
        self.place(value.clamp(self.low, self.high))
    }
}

/// Numbers nearer than this, against the larger of their size and one, are drawn as equal: no yield, rate or index
/// differs by less, and a label could not say so.
const SAME: f64 = 1e-7;

/// The extent of a set of finite numbers, widened where it is too narrow for an axis; `[0, 1]` if there are none.
pub(super) fn extent(values: impl IntoIterator<Item = f64>) -> [f64; 2] {
    let (low, high) = values
        .into_iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
    if low > high {
        return [0.0, 1.0];
    }
    let size = low.abs().max(high.abs());
    if high - low > SAME * size.max(1.0) {
        return [low, high];
    }
    let half = if size > 10.0 * SAME { 0.1 * size } else { 1.0 };
    [low - half, high + half]
}

/// A tick and its label.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tick {
    pub value: f64,
    pub label: String,
}

/// Multiples of 1, 2 or 5 times a power of ten between `low` and `high`, at most `most` of them (and never fewer than
/// one step allows). The range must be finite with `low < high`.
pub(super) fn ticks(low: f64, high: f64, most: usize, typeface: &Typeface) -> Vec<Tick> {
    let span = high - low;
    let slack = 1e-9 * span;
    let mut power = (span / most.max(1) as f64).log10().floor() as i32;
    loop {
        for round in [1.0, 2.0, 5.0] {
            let step: f64 = round * 10_f64.powi(power);
            let first = ((low - slack) / step).ceil();
            let last = ((high + slack) / step).floor();
            if last - first + 1.0 <= most as f64 {
                let decimals = usize::try_from(-power).unwrap_or(0);
                let count = (last - first).max(0.0) as u32;
                return (0..=count)
                    .map(|i| (first + f64::from(i)) * step)
                    .filter(|value| *value >= low - slack && *value <= high + slack)
                    .map(|value| Tick { value, label: typeface.number(value, decimals) })
                    .collect();
            }
        }
        power += 1;
    }
}

/// Ticks of a horizontal axis whose labels stand clear of each other: at most eight, one of them at `high` where a round
/// step leads there, else the densest.
pub(super) fn ticks_across(scale: &Scale, [low, high]: [f64; 2], typeface: &Typeface) -> Vec<Tick> {
    let room = (scale.to - scale.from).abs() / (scale.high - scale.low);
    let clear = |ticks: &[Tick]| {
        ticks.iter().zip(ticks.iter().skip(1)).all(|(a, b)| {
            let labels = (typeface.length(&a.label, SMALL) + typeface.length(&b.label, SMALL)) / 2.0;
            (b.value - a.value) * room >= labels + 2.5
        })
    };
    if low == 0.0
        && high > 0.0
        && let Some(found) = ticks_from_zero_to(high, typeface).find(|ticks| clear(ticks))
    {
        return found;
    }
    (2..=8)
        .rev()
        .map(|most| ticks(low, scale.high, most, typeface))
        .find(|found| clear(found))
        .unwrap_or_else(|| ticks(low, scale.high, 1, typeface))
}

/// Ticks from zero to a highest rate that is a round number: tested rates end at 150 or 240 and a reader looks for that
/// number. Densest first; none where no round step divides `high`.
fn ticks_from_zero_to(high: f64, typeface: &Typeface) -> impl Iterator<Item = Vec<Tick>> {
    let power = high.log10().floor() as i32;
    [(-1, 1.5), (-1, 2.0), (-1, 2.5), (-1, 3.0), (-1, 4.0), (-1, 5.0), (0, 1.0)]
        .into_iter()
        .map(move |(shift, round): (i32, f64)| (power + shift, round))
        .filter(move |(power, round)| {
            let steps = high / (round * 10_f64.powi(*power));
            (2.5..7.5).contains(&steps) && (steps - steps.round()).abs() < 1e-9 * steps
        })
        .map(move |(power, round)| {
            let step = round * 10_f64.powi(power);
            let halves = i32::from(round.fract() != 0.0);
            let decimals = usize::try_from(halves - power).unwrap_or(0);
            (0..=(high / step).round() as i32)
                .map(|i| {
                    let value = f64::from(i) * step;
                    Tick { value, label: typeface.number(value, decimals) }
                })
                .collect()
        })
}

/// Ticks of a vertical axis, some 6 mm apart or wider.
pub(super) fn ticks_up(scale: &Scale, low: f64, typeface: &Typeface) -> Vec<Tick> {
    let most = ((scale.to - scale.from).abs() / 6.0).floor().max(2.0);
    ticks(low, scale.high, most as usize, typeface)
}

/// The longest tick label, mm.
pub(super) fn longest_label(ticks: &[Tick], typeface: &Typeface) -> f64 {
    ticks.iter().map(|tick| typeface.length(&tick.label, SMALL)).fold(0.0, f64::max)
}

/// Height below a horizontal axis that ticks and labels take, mm.
pub(super) fn depth_below() -> f64 {
    TICK + LABEL_GAP + capital_height(SMALL)
}

/// Draws a horizontal axis at `y`; labels only where asked.
pub(super) fn draw_across(
    scene: &mut Scene,
    scale: &Scale,
    y: f64,
    ticks: &[Tick],
    labelled: bool,
    typeface: &Typeface,
) {
    scene.line(vec![at(scale.from, y), at(scale.to, y)], HAIR, INK);
    for tick in ticks {
        let x = scale.place(tick.value);
        scene.line(vec![at(x, y), at(x, y + TICK)], HAIR, INK);
        if labelled {
            scene.text(
                &tick.label,
                SMALL,
                typeface.length(&tick.label, SMALL),
                Anchor::Middle,
                at(x, y + depth_below()),
            );
        }
    }
}

/// Draws a vertical axis at `x`; labels only where asked.
pub(super) fn draw_up(scene: &mut Scene, scale: &Scale, x: f64, ticks: &[Tick], labelled: bool, typeface: &Typeface) {
    scene.line(vec![at(x, scale.from), at(x, scale.to)], HAIR, INK);
    for tick in ticks {
        let y = scale.place(tick.value);
        scene.line(vec![at(x - TICK, y), at(x, y)], HAIR, INK);
        if labelled {
            scene.text(
                &tick.label,
                SMALL,
                typeface.length(&tick.label, SMALL),
                Anchor::End,
                at(x - TICK - LABEL_GAP, y + capital_height(SMALL) / 2.0),
            );
        }
    }
}

/// A title below a horizontal axis, centred at `x`, with its first line's top at `top`; returns the bottom.
pub(super) fn title_across(scene: &mut Scene, lines: &[String], x: f64, top: f64, typeface: &Typeface) -> f64 {
    let mut bottom = top;
    for (i, line) in lines.iter().enumerate() {
        bottom = top + capital_height(LARGE) + i as f64 * line_height(LARGE);
        scene.text(line, LARGE, typeface.length(line, LARGE), Anchor::Middle, at(x, bottom));
    }
    // Room for letters that reach below the line.
    bottom + 0.25 * capital_height(LARGE)
}

/// How far the last label reaches past the end of a horizontal axis, mm.
pub(super) fn overhang(ticks: &[Tick], scale: &Scale, typeface: &Typeface) -> f64 {
    ticks.last().map_or(0.0, |tick| {
        let half = typeface.length(&tick.label, SMALL) / 2.0;
        (half - (scale.to - scale.place(tick.value))).max(0.0)
    })
}

/// A title that reads upward, centred at `y`, with the top of its first line at `left`.
pub(super) fn title_up(scene: &mut Scene, lines: &[String], left: f64, y: f64, typeface: &Typeface) {
    for (i, line) in lines.iter().enumerate() {
        let x = left + capital_height(LARGE) + i as f64 * line_height(LARGE);
        scene.text(line, LARGE, typeface.length(line, LARGE), Anchor::Middle, at(x, y));
        if let Some(text) = scene.texts.last_mut() {
            text.upright = true;
        }
    }
}

/// Width that an upward title takes before the tick labels, mm.
pub(super) fn width_of_title_up(lines: usize) -> f64 {
    if lines == 0 { 0.0 } else { capital_height(LARGE) + (lines - 1) as f64 * line_height(LARGE) + 1.6 }
}

/// A quantity with its unit in parentheses, or alone where none is known.
pub(super) fn with_unit(quantity: &str, unit: Option<&str>) -> String {
    unit.map_or_else(|| quantity.to_owned(), |unit| format!("{quantity} ({unit})"))
}

#[cfg(test)]
mod tests {
    use super::{Scale, Tick, extent, ticks, ticks_across};
    use crate::figures::style::DecimalMark;
    use crate::figures::typeface::Typeface;

    fn labels(ticks: &[Tick]) -> Vec<&str> {
        ticks.iter().map(|tick| tick.label.as_str()).collect()
    }

    #[test]
    fn ticks_are_round_numbers_with_as_many_decimals_as_they_need() {
        let typeface = Typeface::load(DecimalMark::Point).unwrap();
        let ticks = |low, high, most| ticks(low, high, most, &typeface);
        assert_eq!(labels(&ticks(0.68, 1.01, 8)), ["0.70", "0.75", "0.80", "0.85", "0.90", "0.95", "1.00"]);
        assert_eq!(labels(&ticks(-34.0, 61.0, 6)), ["\u{2212}20", "0", "20", "40", "60"]);
        assert_eq!(labels(&ticks(0.0, 2.4e6, 4)), ["0", "1000000", "2000000"]);
    }

    #[test]
    fn a_rate_axis_ends_at_the_highest_tested_rate_where_a_round_step_leads_there() {
        let typeface = Typeface::load(DecimalMark::Point).unwrap();
        let last = |high: f64| {
            let scale = Scale { low: -0.05 * high, high: 1.05 * high, from: 10.0, to: 80.0 };
            ticks_across(&scale, [0.0, high], &typeface).pop().map(|tick| tick.label)
        };
        for (high, label) in [(150.0, "150"), (240.0, "240"), (200.0, "200"), (180.0, "180"), (1.5, "1.50")] {
            assert_eq!(last(high).as_deref(), Some(label));
        }
        // No round step divides it: the last round number before it.
        assert_eq!(last(201.6).as_deref(), Some("200"));
    }

    #[test]
    fn an_axis_has_a_length_even_if_all_numbers_are_equal() {
        for values in [vec![], vec![0.0, 0.0], vec![60.0], vec![-60.0, -60.0], vec![0.0, 1e-300]] {
            let [low, high] = extent(values.iter().copied());
            assert!(high - low > 0.1, "{values:?}");
        }
    }
}
