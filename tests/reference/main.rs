//! Every statistic against something outside the project.

mod brute_force;
mod checks;
mod coverage;
mod data;
mod demo;
mod designed_experiments;
mod designs;
mod interval_properties;
mod letters;
mod messy;
mod mixed_models;
mod multiple_comparisons;
mod nist_linear;
mod nonsense;
mod oracle_curves;
mod oracle_intervals;
mod polynomial_contrasts;
mod programme;
mod properties;
mod row_coverage;
mod sensor_oracle;
mod shapes;
mod shuffled;
mod sugarcane;
mod which_curve;
