//! Every statistic against something outside the project.

mod brute_force;
mod checks;
mod coverage;
mod data;
mod demo;
mod designed_experiments;
mod designs;
mod field_calculator;
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
mod sensor_oracle;
mod shapes;
mod shortfall;
mod shortfall_study;
mod sugarcane;
mod which_curve;
