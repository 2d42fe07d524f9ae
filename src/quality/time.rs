//! Dates and growth stages.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use super::sensed::Sensed;
use super::view::View;
use super::words::{count, typed};
use crate::finding::{Finding, Place};
use crate::trial::{GrowthStage, Timing};

/// A season's N and readings lie within this many days: from autumn N before winter wheat to a reading in early summer (common practice).
const LONGEST_SEASON: i64 = 330;
/// N may go on ahead of planting by so many days: N of the autumn before a spring crop (common practice).
const LONGEST_BEFORE_PLANTING: i64 = 240;
/// A crop is harvested within this many days of planting: winter wheat on high ground takes eleven months (common practice).
const LONGEST_GROWTH: i64 = 365;

fn days(from: Date, to: Date) -> i64 {
    to.duration_since(from).as_hours() / 24
}

/// Something dated: its day, what it was, where it is told.
struct Dated {
    date: Date,
    what: String,
    place: Place,
    /// An application, which may go on before planting.
    is_application: bool,
}

fn dated(view: &View<'_>, sensings: &[Sensed]) -> Vec<Dated> {
    let descriptor = &view.trial.descriptor;
    let applications = view.trial.applications.iter().map(|application| Dated {
        date: application.date,
        what: format!("{:?} went on", application.name),
        place: Place::file(descriptor).column("application.date").value(application.date.to_string()),
        is_application: true,
    });
    let sensed = sensings.iter().filter_map(|sensed| {
        Some(Dated {
            date: sensed.date,
            what: format!("plots were sensed with the {}", sensed.instrument.name()),
            place: sensed.reads.first()?.place(view),
            is_application: false,
        })
    });
    applications.chain(sensed).collect()
}

/// N far ahead of planting, and anything more than a year after it. (A reading before planting is refused when it is read.)
pub(super) fn against_planting(view: &View<'_>, sensings: &[Sensed]) -> Vec<Finding> {
    let Some(planting) = view.trial.background.planting_date else { return Vec::new() };
    let wrong = dated(view, sensings).into_iter().filter_map(|dated| {
        let since = days(planting, dated.date);
        let when = match since {
            since if dated.is_application && since < -LONGEST_BEFORE_PLANTING => {
                format!("{} before planting ({planting})", count(since.unsigned_abs() as usize, "day"))
            }
            since if since > LONGEST_GROWTH => {
                format!("{since} days after planting ({planting}), when the crop was harvested")
            }
            _ => return None,
        };
        let text = format!("{} on {}, {when}", dated.what, dated.date);
        Some(Finding::warning("against-planting", dated.place, text).remedy("correct this date or the planting date"))
    });
    wrong.collect()
}

/// Dates that one season can't hold: more than 330 days from the first to the last. Told at the date that is farthest from the others.
pub(super) fn long_season(view: &View<'_>, sensings: &[Sensed]) -> Vec<Finding> {
    let mut all = dated(view, sensings);
    all.sort_by_key(|dated| dated.date);
    let (Some(first), Some(last)) = (all.first(), all.last()) else { return Vec::new() };
    let span = days(first.date, last.date);
    if span <= LONGEST_SEASON {
        return Vec::new();
    }
    let gap =
        |near: usize, far: usize| all.get(near).zip(all.get(far)).map_or(0, |(near, far)| days(near.date, far.date));
    let end = all.len() - 1;
    let odd = if gap(0, 1) >= gap(end.saturating_sub(1), end) { first } else { last };
    let text = format!(
        "{} on {}, but the trial's dates then run over {span} days, from {} to {}",
        odd.what, odd.date, first.date, last.date
    );
    vec![
        Finding::warning("long-season", odd.place.clone(), text)
            .remedy("correct the year of the date that does not belong to this season"),
    ]
}

/// Whether `earlier` is a later stage than `later`; `None` on different scales.
fn is_past(earlier: &GrowthStage, later: &GrowthStage) -> Option<bool> {
    earlier.is_within(earlier, later).map(|in_order| !in_order)
}

/// A growth stage that goes back: scored on a later day below what another day has. One of the two stages or days is wrong.
pub(super) fn stage_goes_back(view: &View<'_>, sensings: &[Sensed]) -> Vec<Finding> {
    // The stages of each day and variety; varieties may differ on a day.
    let mut scored: BTreeMap<(Date, &str), Vec<(&GrowthStage, Place)>> = BTreeMap::new();
    for sensed in sensings {
        for read in &sensed.reads {
            let stages = scored.entry((sensed.date, view.variety(read.plot))).or_default();
            if let Some(stage) = &read.first.stage
                && stages.iter().all(|(known, _)| *known != stage)
            {
                stages.push((
                    stage,
                    read.place(view).value(read.values.first().copied().map_or_else(String::new, typed)),
                ));
            }
        }
    }
    let mut findings: Vec<Finding> = Vec::new();
    let mut told: BTreeSet<(Date, Date)> = BTreeSet::new();
    for ((date, variety), stages) in &scored {
        let earlier = scored.iter().filter(|((other, of), _)| other < date && of == variety);
        for ((before, _), of_before) in earlier {
            let back = of_before.iter().flat_map(|(was, _)| stages.iter().map(move |(is, place)| (was, is, place)));
            let back =
                back.filter(|(was, is, _)| is_past(was, is) == Some(true)).map(|(was, is, place)| (*was, *is, place));
            if let Some((was, is, place)) = back.into_iter().next()
                && told.insert((*before, *date))
            {
                let text = format!("plots were at {is} on {date}, and already at {was} on {before}");
                findings.push(
                    Finding::warning("stage-goes-back", place.clone(), text)
                        .remedy("correct the stage or the date of one of the two"),
                );
            }
        }
    }
    findings
}

/// An instrument whose every reading was taken with the topdress on that it should decide: it decides nothing.
pub(super) fn after_topdress(view: &View<'_>, sensings: &[Sensed]) -> Vec<Finding> {
    let topdress = view.trial.applications.iter().find(|application| application.timing == Timing::DecidedBySensing);
    let Some(topdress) = topdress else { return Vec::new() };
    let mut first_days: BTreeMap<_, &Sensed> = BTreeMap::new();
    for sensed in sensings {
        let first = first_days.entry(sensed.instrument).or_insert(sensed);
        if sensed.date < first.date {
            *first = sensed;
        }
    }
    let late = first_days.into_values().filter(|sensed| topdress.is_on(sensed.date));
    let finding = |sensed: &Sensed| {
        let first = sensed.reads.first()?;
        let text = format!(
            "the first {} readings are of {}, after {:?} of {} that they should decide",
            sensed.instrument.name(),
            sensed.date,
            topdress.name,
            topdress.date
        );
        let place = first.place(view).value(first.values.first().copied().map_or_else(String::new, typed));
        Some(
            Finding::warning("readings-after-topdress", place, text)
                .remedy("correct a date; readings taken with the topdress on enter no table"),
        )
    };
    late.filter_map(finding).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stage_is_past_another_of_its_scale_only() {
        let stage = |text: &str| GrowthStage::parse(text).unwrap();
        assert_eq!(is_past(&stage("Feekes 6"), &stage("Feekes 5")), Some(true));
        assert_eq!(is_past(&stage("Feekes 5"), &stage("Feekes 5")), Some(false));
        assert_eq!(is_past(&stage("Zadoks 31"), &stage("Feekes 5")), None);
    }
}
