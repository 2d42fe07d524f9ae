//! Every statistic against something outside the project.

mod checks;
mod data;
mod oracle_curves;
mod properties;
