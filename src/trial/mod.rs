//! What a programme and a trial *are*: plain data, valid once built, each piece with the source row it came from.

mod columns;
mod programme;
mod site_year;
mod stage;

pub use columns::{Columns, MissingYield};
pub use programme::{
    Decisions, GrainPrice, IndexRange, InputFile, LeftOut, NearOptimumWithin, NitrogenPrice, Outside, Prices,
    Programme, RateLimits, RelationKind, ResultUnits, TableSpecification,
};
pub use site_year::{
    Application, Background, Design, Excluded, Exclusion, Harvest, Instrument, NeedFrom, Plot, PlotColumns, Protein,
    Reading, Reference, SameDay, SharedWithin, SoilNitrate, Timing, Trial, Walk,
};
pub use stage::{GrowthStage, StageFault};
