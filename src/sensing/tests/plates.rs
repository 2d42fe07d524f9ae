//! Reference plates.

use approx::assert_relative_eq;
use jiff::civil::{date, time};

use super::{COMPUTED, DAY, LEAF, read};
use crate::finding::Place;
use crate::sensing::{Kept, PlateDay, plate_days};
use crate::trial::{PlateCheck, PlateReading};

/// Deviations from a plate of 45 at 8:00, 10:30, 13:00 and 15:30.
fn day(tolerance: f64, deviations: &[f64]) -> PlateDay {
    let times = [time(8, 0, 0, 0), time(10, 30, 0, 0), time(13, 0, 0, 0), time(15, 30, 0, 0)];
    let readings = times.into_iter().zip(deviations).map(|(time, deviation)| PlateReading {
        date: DAY,
        time,
        expected: 45.0,
        value: 45.0 + deviation,
        place: Place::file("plate.csv"),
    });
    let mut trial = read(LEAF, &[("1", 0.0, true, vec![50.0])]);
    trial.plate_checks = vec![PlateCheck { instrument: LEAF, tolerance, readings: readings.collect() }];
    plate_days(&trial).remove(0)
}

const RISING: [f64; 4] = [0.1, 0.4, 0.9, 1.2];

#[test]
fn the_drift_is_the_least_squares_line_over_the_time_of_day() {
    // scipy.stats.linregress([0, 2.5, 5, 7.5], deviations).
    let drift = day(2.0, &RISING).drift.unwrap();
    assert_eq!(drift.hours, 7.5);
    assert_relative_eq!(drift.per_hour, 0.152, max_relative = COMPUTED);
    assert_relative_eq!(drift.standard_error.unwrap(), 0.011_313_708_498_984_68, max_relative = 1e-6);
    assert_relative_eq!(drift.p.unwrap(), 0.005_494_547_078_593_87, max_relative = 1e-6);
    assert_relative_eq!(drift.change, 1.14, max_relative = COMPUTED);
}

#[test]
fn readings_off_by_more_than_the_tolerance_come_before_drift_and_drift_before_kept() {
    let outside = day(1.0, &RISING);
    assert_eq!((outside.kept(), outside.outside), (Kept::Outside, vec![3]));
    // Each within 0.6, together a change of 1.14 over the day.
    let drifted = day(0.6, &RISING.map(|deviation| deviation - 0.65));
    assert_eq!((drifted.kept(), drifted.outside.len()), (Kept::Drifted, 0));
    assert_eq!(day(2.0, &RISING).kept(), Kept::Within);
    // 45.6 − 45 is a hair more than 0.6: rounding, not a fault.
    assert_eq!(day(0.6, &[0.6, 0.6]).kept(), Kept::Within);
}

#[test]
fn two_readings_show_a_change_without_a_p_and_one_shows_none() {
    let two = day(1.0, &[-0.9, 0.9]);
    let drift = two.drift.unwrap();
    assert_eq!((drift.standard_error, drift.p, two.kept()), (None, None, Kept::Drifted));
    assert!(day(1.0, &[0.5]).drift.is_none());
    assert_relative_eq!(day(1.0, &[0.5]).mean_deviation, 0.5, max_relative = COMPUTED);
}

#[test]
fn days_are_apart() {
    let mut trial = read(LEAF, &[("1", 0.0, true, vec![50.0])]);
    let reading =
        |date, value| PlateReading { date, time: time(9, 0, 0, 0), expected: 45.0, value, place: Place::file("p") };
    let readings = vec![reading(DAY, 45.2), reading(date(2024, 4, 9), 44.1)];
    trial.plate_checks = vec![PlateCheck { instrument: LEAF, tolerance: 0.5, readings }];
    let kept: Vec<Kept> = plate_days(&trial).iter().map(PlateDay::kept).collect();
    assert_eq!(kept, [Kept::Within, Kept::Outside]);
}
