//! stook turns nitrogen-rate trials into a local sensor-to-rate rule.
#![forbid(unsafe_code)]

pub mod calibration;
pub mod cli;
pub mod compare;
pub mod crop;
pub mod economics;
pub mod experiment;
pub mod figures;
pub mod files;
pub mod finding;
pub mod harvest;
pub mod output;
pub mod proposal;
pub mod quality;
pub mod rate_table;
pub mod recommend;
pub mod report;
pub mod response;
pub mod season;
pub mod sensing;
pub mod simulate;
pub mod site_years;
pub mod stats;
pub mod trial;
pub mod units;
