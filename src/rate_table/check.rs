//! What must hold of a document before anybody looks a rate up in it.

use super::TableError;
use super::document::Document;
use crate::stats::interval::Interval;
use crate::trial::is_same_price_ratio;
use std::fmt::Display;

/// A computed rate may differ from a multiple of what it is rounded to by rounding only.
const MULTIPLE: f64 = 1e-9;

fn invalid(place: impl Into<String>, found: impl Display, expected: &str) -> TableError {
    TableError::Invalid { place: place.into(), found: found.to_string(), expected: expected.to_owned() }
}

fn must(holds: bool, error: impl FnOnce() -> TableError) -> Result<(), TableError> {
    if holds { Ok(()) } else { Err(error()) }
}

pub(super) fn check(document: &Document) -> Result<(), TableError> {
    let named = [
        ("name", &document.name),
        ("crop", &document.crop),
        ("rate_unit", &document.rate_unit),
        ("yield_unit", &document.yield_unit),
    ];
    for (place, text) in named {
        must(!text.trim().is_empty(), || invalid(place, "empty", "it must be given"))?;
    }
    must(!document.site_years.is_empty(), || {
        invalid("site_years", "empty", "a table says where it was calibrated: at least one site-year")
    })?;
    check_stages(document)?;
    check_inputs(document)?;
    check_usable(document)?;
    check_prices(document)?;
    check_settings(document)?;
    check_verdict(document)?;
    check_evidence(document)?;
    check_rows(document)?;
    check_rates(document)
}

fn check_stages(document: &Document) -> Result<(), TableError> {
    let (first, last) = (&document.stages.first, &document.stages.last);
    must(first.is_within(first, last) == Some(true), || {
        invalid("stages", format!("{first} to {last}"), "both must be on one scale, and the first not after the last")
    })
}

fn check_inputs(document: &Document) -> Result<(), TableError> {
    for (i, input) in document.inputs.iter().enumerate() {
        let digits = input.sha256.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'));
        must(digits && input.sha256.len() == 64, || {
            invalid(
                format!("inputs[{i}].sha256"),
                format!("\"{}\"", input.sha256),
                "64 lower-case hexadecimal digits are needed",
            )
        })?;
    }
    Ok(())
}

fn check_usable(document: &Document) -> Result<(), TableError> {
    let usable = &document.usable;
    let readable = |value: f64| super::Decimal::from_f64(value).is_ok();
    must(
        readable(usable.above) && readable(usable.up_to) && 0.0 <= usable.above && usable.above < usable.up_to,
        || invalid("usable", format!("above {} up to {}", usable.above, usable.up_to), "it needs 0 <= above < up_to"),
    )?;
    let highest = document.settings.index.highest;
    must(usable.index_up_to >= highest, || {
        invalid("usable.index_up_to", usable.index_up_to, "it must not be below the end of the last row")
    })?;
    let domain = document.domain;
    must(domain.lowest <= domain.highest, || {
        invalid("domain", format!("{} to {}", domain.lowest, domain.highest), "lowest must not be above highest")
    })
}

fn check_prices(document: &Document) -> Result<(), TableError> {
    for (i, price) in document.prices.iter().enumerate() {
        let place = || format!("prices[{i}].price_ratio");
        must(price.price_ratio.is_finite() && price.price_ratio >= 0.0, || {
            invalid(place(), price.price_ratio, "a price ratio is a number of at least 0")
        })?;
        for other in document.prices.iter().take(i) {
            must(!is_same_price_ratio(price.price_ratio, other.price_ratio), || {
                invalid(place(), price.price_ratio, "price ratios of one table must be more than a hundredth apart")
            })?;
            must(price.price_ratio_unit == other.price_ratio_unit, || {
                invalid(
                    format!("prices[{i}].price_ratio_unit"),
                    &price.price_ratio_unit,
                    "all price ratios have one unit",
                )
            })?;
        }
    }
    let bases = document.prices.iter().filter(|price| price.base).count();
    must(bases == 1, || invalid("prices", format!("{bases} base price ratios"), "exactly one must be the base"))
}

fn check_settings(document: &Document) -> Result<(), TableError> {
    let settings = &document.settings;
    for (place, share) in [("settings.level", settings.level), ("settings.new_site_years", settings.new_site_years)] {
        must(share > 0.0 && share < 1.0, || invalid(place, share, "it lies between 0 and 1"))?;
    }
    let rule = settings.rate;
    must(rule.round_to.is_finite() && rule.round_to > 0.0, || {
        invalid("settings.rate.round_to", rule.round_to, "it must be above 0")
    })?;
    must(rule.highest.is_finite() && rule.highest >= 0.0, || {
        invalid("settings.rate.highest", rule.highest, "it must be at least 0")
    })?;
    must(0.0 <= rule.smallest && rule.smallest <= rule.highest, || {
        invalid(
            "settings.rate.smallest",
            rule.smallest,
            &format!("it lies between 0 and the highest, {}", rule.highest),
        )
    })?;
    must(!settings.relation_taken.trim().is_empty(), || invalid("settings.relation_taken", "empty", "it must be given"))
}

fn check_verdict(document: &Document) -> Result<(), TableError> {
    let Some(verdict) = &document.verdict else { return Ok(()) };
    for (place, value) in [("verdict.sensor_rule", verdict.sensor_rule), ("verdict.flat_rule", verdict.flat_rule)] {
        must(value.is_finite(), || invalid(place, value, "a forgone return is a number"))?;
    }
    must(!verdict.unit.trim().is_empty(), || invalid("verdict.unit", "empty", "it must be given"))
}

fn check_evidence(document: &Document) -> Result<(), TableError> {
    for (i, trial) in document.evidence.iter().flat_map(|evidence| &evidence.trials).enumerate() {
        for (j, group) in trial.groups.iter().enumerate() {
            let place = |field: &str| format!("evidence.trials[{i}].groups[{j}].{field}");
            let observations = group.rates.len();
            let one_each = "one is needed for each rate";
            must(group.yields.len() == observations, || invalid(place("yields"), group.yields.len(), one_each))?;
            let blocks = group.blocks.as_ref().map_or(observations, Vec::len);
            must(blocks == observations, || invalid(place("blocks"), blocks, one_each))?;
            for (k, treatment) in group.treatments.iter().enumerate() {
                must(treatment.index >= 0.0 && treatment.n_on >= 0.0 && treatment.plots > 0, || {
                    let found =
                        format!("index {}, N on {}, {} plots", treatment.index, treatment.n_on, treatment.plots);
                    invalid(
                        place(&format!("treatments[{k}]")),
                        found,
                        "index and N on are at least 0, of at least one plot",
                    )
                })?;
            }
        }
    }
    Ok(())
}

fn check_rows(document: &Document) -> Result<(), TableError> {
    let index = document.settings.index;
    must(index.step > 0, || invalid("settings.index.step", index.step, "a row must be at least a thousandth wide"))?;
    let mut from = index.lowest;
    for (i, row) in document.rows.iter().enumerate() {
        let below = from.saturating_add(index.step).min(index.highest);
        must(row.index_from == from && row.index_below == below && from < below, || {
            invalid(
                format!("rows[{i}]"),
                format!("{} to {}", row.index_from, row.index_below),
                &format!("rows follow one another: this one spans {from} to {below}"),
            )
        })?;
        must(row.rates.len() == document.prices.len(), || {
            invalid(format!("rows[{i}].rates"), format!("{} rates", row.rates.len()), "one a price ratio is needed")
        })?;
        from = below;
    }
    must(!document.rows.is_empty() && from == index.highest, || {
        invalid(
            "rows",
            format!("{} rows to {from}", document.rows.len()),
            "at least one row, up to settings.index.highest, is needed",
        )
    })
}

fn check_rates(document: &Document) -> Result<(), TableError> {
    let rule = document.settings.rate;
    for price in 0..document.prices.len() {
        let mut lowest_so_far = f64::INFINITY;
        let mut ended = false;
        let mut any = false;
        for (i, row) in document.rows.iter().enumerate() {
            let place = || format!("rows[{i}].rates[{price}]");
            let Some(cell) = row.rates.get(price) else { continue };
            for (field, noted) in [("interval", &cell.interval), ("new_site_years", &cell.new_site_years)] {
                if let Some(noted) = noted {
                    check_interval(&noted.interval, &format!("{}.{field}", place()))?;
                }
            }
            let Some(rate) = cell.rate else {
                ended = any;
                continue;
            };
            must(!ended, || invalid(place(), rate, "rows with a rate must follow one another without a gap"))?;
            any = true;
            let multiple = rate / rule.round_to;
            must(
                rate.is_finite() && rate >= 0.0 && (multiple - multiple.round()).abs() <= MULTIPLE * multiple.max(1.0),
                || invalid(place(), rate, &format!("a rate is 0 or a multiple of {}", rule.round_to)),
            )?;
            must(rate == 0.0 || rate >= rule.smallest, || {
                invalid(place(), rate, &format!("a rate below {}, the smallest worth a pass, is 0", rule.smallest))
            })?;
            must(rate <= rule.highest, || invalid(place(), rate, &format!("no rate is above {}", rule.highest)))?;
            must(rate <= lowest_so_far, || {
                invalid(place(), rate, &format!("a rate never rises with the index: at most {lowest_so_far} here"))
            })?;
            lowest_so_far = rate;
        }
        must(any, || {
            let ratio = document.prices.get(price).map_or(f64::NAN, |price| price.price_ratio);
            invalid(format!("prices[{price}]"), ratio, "no row has a rate at this price ratio: leave it out")
        })?;
    }
    Ok(())
}

fn check_interval(interval: &Interval, place: &str) -> Result<(), TableError> {
    must(interval.level > 0.0 && interval.level < 1.0, || {
        invalid(format!("{place}.level"), interval.level, "it lies between 0 and 1")
    })?;
    let ends = interval.segments.iter().flatten().flatten();
    must(ends.is_sorted(), || {
        invalid(format!("{place}.segments"), format!("{:?}", interval.segments), "they rise from low to high")
    })?;
    let mut of_segments =
        Interval::from_segments(interval.estimate, interval.segments.clone(), interval.level, &interval.method);
    // Why it is not computed and what it rests on are said beside the limits.
    (of_segments.reason, of_segments.resamples) = (interval.reason.clone(), interval.resamples);
    must(*interval == of_segments, || {
        let (low, high, limits) = (interval.low, interval.high, interval.limits);
        invalid(place, format!("{low:?} to {high:?}, {limits:?}"), "low, high and limits must be those of its segments")
    })
}
