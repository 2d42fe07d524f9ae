//! Every statistic against something outside the project.

mod checks;
mod data;
mod demo;
mod messy;
mod nonsense;
mod oracle_curves;
mod programme;
mod properties;
mod sensor_oracle;
mod shapes;
mod sugarcane;
mod which_curve;
