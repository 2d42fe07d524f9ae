//! The built command, driven as a user drives it.

mod contract;
mod errors;
mod folder;
mod mutations;
mod reading;
mod run;
mod status;
