//! Reference plates: an instrument that does not keep to them makes every reading of the day doubtful.

use super::view::View;
use super::words::{count, list, rounded, typed};
use crate::finding::{Finding, Place};
use crate::sensing::{Kept, PlateDay, plate_days};

/// Readings of a plate off by more than its tolerance, and an instrument that drifted by more over a day; the tolerance is the
/// owner's. With a plate checked at all, a day on which that instrument read plots and no plate is told too.
pub(super) fn plates(view: &View<'_>) -> Vec<Finding> {
    let days = plate_days(view.trial);
    let mut findings: Vec<Finding> = days.iter().filter_map(off).collect();
    let checked = |instrument| days.iter().any(|day| day.instrument == instrument);
    for (instrument, date) in crate::sensing::sensings(view.trial) {
        if checked(instrument) && !days.iter().any(|day| (day.instrument, day.date) == (instrument, date)) {
            let text = format!("the {} read plots on {date} and no reference plate that day", instrument.name());
            let place = Place::file(&view.trial.descriptor).column("plate_check");
            let remedy = "read the plate before, during and after sensing on every day";
            findings.push(Finding::warning("plate-not-read", place, text).remedy(remedy));
        }
    }
    findings
}

fn off(day: &PlateDay) -> Option<Finding> {
    let (code, text, at) = match day.kept() {
        Kept::Within => return None,
        Kept::Outside => {
            let reading = |position: &usize| {
                let reading = day.readings.get(*position)?;
                Some(format!("{} at {}", typed(reading.value), reading.time.strftime("%H:%M")))
            };
            let off: Vec<String> = day.outside.iter().filter_map(reading).collect();
            let expected = day.outside.first().and_then(|first| day.readings.get(*first)).map(|first| first.expected);
            let text = format!(
                "on {} the {} read a plate of {} as {}: {} of {} off by more than {}",
                day.date,
                day.instrument.name(),
                expected.map_or_else(String::new, typed),
                list(&off),
                off.len(),
                count(day.readings.len(), "reading"),
                typed(day.tolerance)
            );
            ("plate-out-of-tolerance", text, day.outside.first().copied())
        }
        Kept::Drifted => {
            let drift = day.drift?;
            let text = format!(
                "on {} the {} drifted by {} in {} hours, more than the tolerance of {}",
                day.date,
                day.instrument.name(),
                rounded(drift.change),
                rounded(drift.hours),
                typed(day.tolerance)
            );
            ("plate-drift", text, day.readings.len().checked_sub(1))
        }
    };
    let place = day.readings.get(at?)?.place.clone();
    let remedy = "calibrate the instrument; readings hold best against a reference read shortly before or after them";
    Some(Finding::warning(code, place, text).remedy(remedy))
}
