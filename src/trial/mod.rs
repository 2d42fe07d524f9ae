//! What a programme and a trial *are*: plain data, valid once built, each piece with the source row it came from.

mod columns;
#[cfg(test)]
pub(crate) mod example;
mod plate;
mod plot;
mod programme;
mod reading;
mod site_year;
mod stage;

pub use columns::{Columns, MissingYield};
pub use plate::{PlateCheck, PlateReading};
pub use plot::{BesideN, Excluded, Exclusion, Harvest, Plot, Position, Protein};
pub use programme::{
    Decisions, FlaggedLeaves, GrainPrice, IndexRange, InputFile, LARGEST_PRICE_RATIO, LeftOut, LodgingLoss,
    NearOptimumWithin, NitrogenPrice, Outside, PRICE_RATIOS_APART, PassCost, PremiumStep, PriceSpread, Prices,
    Programme, ProteinPremium, RateLimits, RelationKind, ResultUnits, SpreadFault, TableSpecification,
    is_same_price_ratio,
};
pub use reading::{Instrument, Reading, ReadingColumn, sensings};
pub use site_year::{
    Application, Background, Design, NeedFrom, PlotColumns, Reference, SameDay, SharedWithin, SoilNitrate, Timing,
    Trial, Walk,
};
pub use stage::{GrowthStage, StageFault};
