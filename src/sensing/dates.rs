//! Which sensing date a table takes from a trial.

use jiff::civil::Date;

use crate::trial::{GrowthStage, TableSpecification, Timing, Trial};

/// The sensing that a table takes from a trial.
#[derive(Clone, Debug, PartialEq)]
pub struct DateChoice {
    /// Day of the sensing.
    pub date: Date,
    /// Growth stage on that day.
    pub stage: Option<GrowthStage>,
}

/// Why a table takes no sensing from a trial.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoDate {
    /// The instrument was not used.
    #[error("no {0} readings")]
    NotSensed(&'static str),
    /// No date is inside the stage window.
    #[error("no reading inside the stage window {first} to {last}")]
    OutsideStages {
        /// First stage of the window.
        first: String,
        /// Last stage of the window.
        last: String,
    },
    /// Every reading inside the window was taken after the topdress it should decide.
    #[error("every reading inside the stage window was taken after the topdress that it should decide")]
    AfterTopdress,
    /// Several dates qualify and none was chosen.
    #[error("several sensing dates are inside the stage window ({0}): choose one under sensing_dates of the table")]
    Several(String),
    /// The chosen date is not a sensing date inside the window.
    #[error("the chosen sensing date {0} has no reading inside the stage window")]
    ChosenMissing(Date),
}

/// The one sensing date of `trial` that qualifies for a table: inside its stage window and before the topdress it decides.
///
/// # Errors
/// [`NoDate`] where none qualifies, or several do and the programme has not chosen one.
pub fn choose_date(trial: &Trial, table: &TableSpecification) -> Result<DateChoice, NoDate> {
    let mut sensed: Vec<(Date, Option<&GrowthStage>)> = trial
        .readings
        .iter()
        .filter(|reading| reading.instrument == table.instrument)
        .map(|reading| (reading.date, reading.stage.as_ref()))
        .collect();
    sensed.sort_by_key(|(date, _)| *date);
    sensed.dedup();
    if sensed.is_empty() {
        return Err(NoDate::NotSensed(table.instrument.name()));
    }
    let (first, last) = &table.stages;
    sensed.retain(|(_, stage)| stage.is_some_and(|stage| stage.is_within(first, last) == Some(true)));
    sensed.dedup_by_key(|(date, _)| *date);
    if let Some(&chosen) = table.sensing_dates.get(&trial.folder) {
        let found = sensed.iter().find(|(date, _)| *date == chosen);
        let (date, stage) = found.ok_or(NoDate::ChosenMissing(chosen))?;
        return Ok(DateChoice { date: *date, stage: stage.cloned() });
    }
    if sensed.is_empty() {
        return Err(NoDate::OutsideStages { first: first.to_string(), last: last.to_string() });
    }
    let decided = || trial.applications.iter().filter(|application| application.timing == Timing::DecidedBySensing);
    sensed.retain(|(date, _)| !decided().any(|topdress| topdress.is_on(*date)));
    match sensed.as_slice() {
        [] => Err(NoDate::AfterTopdress),
        [(date, stage)] => Ok(DateChoice { date: *date, stage: stage.cloned() }),
        several => {
            let dates: Vec<String> = several.iter().map(|(date, _)| date.to_string()).collect();
            Err(NoDate::Several(dates.join(", ")))
        }
    }
}
