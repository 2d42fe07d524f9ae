//! Every statistic against something outside the project.

mod brute_force;
mod checks;
mod data;
mod demo;
mod messy;
mod oracle_curves;
mod programme;
mod properties;
mod sensor_oracle;
mod shapes;
mod sugarcane;
