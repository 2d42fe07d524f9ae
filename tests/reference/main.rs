//! Every statistic against something outside the project.

mod brute_force;
mod checks;
mod coverage;
mod data;
mod demo;
mod designs;
mod interval_properties;
mod messy;
mod nist_linear;
mod nonsense;
mod oracle_curves;
mod oracle_intervals;
mod programme;
mod properties;
mod sensor_oracle;
mod shapes;
mod sugarcane;
mod which_curve;
