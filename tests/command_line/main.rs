//! The built command, driven as a user drives it.

mod anova;
mod anova_contract;
mod calibrate;
mod contract;
mod designs;
mod economics;
mod errors;
mod figures;
mod folder;
mod intervals;
mod mutations;
mod new;
mod reading;
mod report;
mod run;
mod sense;
mod status;
mod tables;
mod which_curve;
mod widths;
mod yields;
