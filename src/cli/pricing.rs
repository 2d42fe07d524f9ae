//! The prices of `stook optimum`, and what it is asked beside the optimum.

use clap::Args;
use serde_json::{Map, Value};

use super::failure::Failure;
use super::flags::{believable_ratio, not_negative, positive};
use crate::crop::Crop;
use crate::economics::{
    Economy, GridPrices, PRICE_DRAWS, PriceDraws, UncertainPrice, price_per_mass_of_n, ratio_of_prices,
};
use crate::trial::{
    GrainPrice, NitrogenPrice, PassCost, PriceSpread, Prices, Programme, SpreadFault, is_same_price_ratio,
};
use crate::units::{AreaUnit, MassUnit, NRateUnit, Unit as _, YieldUnit};

/// A list of prices or rates is no longer than a page is wide.
const LONGEST_LIST: usize = 12;
/// A price is not moved by as much as this, per cent.
const MOVED_TOO_FAR: f64 = 100.0;

/// Prices, as they are typed.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Prices")]
pub(super) struct PricingFlags {
    /// Price of one rate unit of N ÷ price of one yield unit [default: from the programme's prices]
    #[arg(long, value_name = "RATIO", value_parser = not_negative, allow_negative_numbers = true)]
    price_ratio: Option<f64>,
    /// Further price ratios, such as 0.05,0.15 [default: the programme's]
    #[arg(long, value_name = "RATIOS", value_delimiter = ',', value_parser = positive, allow_negative_numbers = true)]
    other_price_ratios: Vec<f64>,
    /// What one yield unit brings; of several, such as 5,6,7, the first is the base and each is combined with each N price
    #[arg(long, value_name = "PRICES", value_delimiter = ',', value_parser = positive, allow_negative_numbers = true)]
    grain_price: Vec<f64>,
    /// What one rate unit of N costs, in the same currency; several as for grain
    #[arg(long, value_name = "PRICES", value_delimiter = ',', value_parser = not_negative, allow_negative_numbers = true)]
    n_price: Vec<f64>,
    /// What the N product costs, instead of --n-price; with --n-product-per and --n-percent
    #[arg(long, value_name = "PRICES", value_delimiter = ',', value_parser = positive, allow_negative_numbers = true)]
    n_product_price: Vec<f64>,
    /// The mass that --n-product-price is for: lb, kg, short ton or Mg
    #[arg(long, value_name = "UNIT", value_parser = mass)]
    n_product_per: Option<MassUnit>,
    /// N in the product, per cent by weight, such as 46
    #[arg(long, value_name = "PERCENT", value_parser = percent, allow_negative_numbers = true)]
    n_percent: Option<f64>,
    /// Lowest and highest price of grain that may come about (triangular around its price), such as 5,8
    #[arg(long, value_name = "LOWEST,HIGHEST", value_parser = range, conflicts_with = "grain_price_sd")]
    grain_price_range: Option<(f64, f64)>,
    /// Standard deviation of the price of grain (normal around its price)
    #[arg(long, value_name = "SD", value_parser = positive, allow_negative_numbers = true)]
    grain_price_sd: Option<f64>,
    /// Lowest and highest price of N that may come about, or of its product where that is priced
    #[arg(long, value_name = "LOWEST,HIGHEST", value_parser = range, conflicts_with = "n_price_sd")]
    n_price_range: Option<(f64, f64)>,
    /// Standard deviation of the price of N, or of its product where that is priced
    #[arg(long, value_name = "SD", value_parser = positive, allow_negative_numbers = true)]
    n_price_sd: Option<f64>,
    /// What one pass over the field costs, money over an acre or hectare as yields are: does the optimum earn it?
    #[arg(long, value_name = "MONEY", value_parser = positive, allow_negative_numbers = true)]
    pass_cost: Option<f64>,
    /// Also how much net return these rates give up against the best, such as 60,80,120
    #[arg(long, value_name = "RATES", value_delimiter = ',', value_parser = not_negative, allow_negative_numbers = true)]
    forgone_at: Vec<f64>,
    /// Also how the optimum moves where each price is this many per cent lower and higher, such as 10
    #[arg(long, value_name = "PERCENT", value_parser = below_hundred, allow_negative_numbers = true)]
    sensitivity: Option<f64>,
}

fn mass(text: &str) -> Result<MassUnit, String> {
    MassUnit::parse(text)
        .filter(|unit| *unit != MassUnit::Bushel)
        .ok_or_else(|| "N is sold per lb, kg, short ton or Mg".to_owned())
}

fn percent(text: &str) -> Result<f64, String> {
    positive(text)
        .ok()
        .filter(|percent| *percent <= 100.0)
        .ok_or_else(|| "a percentage above 0 and up to 100 is wanted, such as 46".to_owned())
}

fn below_hundred(text: &str) -> Result<f64, String> {
    positive(text)
        .ok()
        .filter(|percent| *percent < MOVED_TOO_FAR)
        .ok_or_else(|| "a percentage above 0 and below 100 is wanted, such as 10".to_owned())
}

fn range(text: &str) -> Result<(f64, f64), String> {
    let ends =
        text.split_once(',').and_then(|(low, high)| Some((positive(low.trim()).ok()?, positive(high.trim()).ok()?)));
    ends.ok_or_else(|| "two prices above 0 are wanted, such as 5,8".to_owned())
}

/// What N costs, as it was typed: the price that others are typed beside, and how to bring them to N.
#[derive(Clone, Copy, Debug)]
struct NTyped<'f> {
    /// Per mass of product, or of N.
    prices: &'f [f64],
    /// The product; `None` where the price is that of N.
    product: Option<(MassUnit, f64)>,
}

/// Prices that go together.
#[derive(Clone, Copy, Debug)]
struct Typed<'f> {
    grain: &'f [f64],
    n: NTyped<'f>,
}

/// Prices of a bare data file, settled.
pub(super) struct Settled {
    /// The base price ratio; `None` where no price was given.
    pub(super) price_ratio: Option<f64>,
    /// Money, and what is asked.
    pub(super) economy: Economy,
}

impl PricingFlags {
    /// Whether `--price-ratio` stands in for prices.
    pub(super) fn has_ratio(&self) -> bool {
        self.price_ratio.is_some()
    }

    /// Further price ratios, where any are asked.
    ///
    /// # Errors
    /// One that is the base ratio, or listed twice.
    pub(super) fn other_ratios(&self, base: f64) -> Result<Option<Vec<f64>>, Failure> {
        let mut taken = vec![base];
        for ratio in &self.other_price_ratios {
            believable_ratio(*ratio)?;
            if let Some(same) = taken.iter().find(|other| is_same_price_ratio(**other, *ratio)) {
                return Err(Failure::usage(format!(
                    "--other-price-ratios: {ratio} is within 1 % of {same}, which is shown anyway: leave it out"
                )));
            }
            taken.push(*ratio);
        }
        Ok((!self.other_price_ratios.is_empty()).then(|| self.other_price_ratios.clone()))
    }

    /// Faults of the flags among themselves, said before anything is read.
    ///
    /// # Errors
    /// A usage error that names the flags.
    pub(super) fn check(&self) -> Result<(), Failure> {
        let lists = [
            ("--other-price-ratios", &self.other_price_ratios),
            ("--grain-price", &self.grain_price),
            ("--n-price", &self.n_price),
            ("--n-product-price", &self.n_product_price),
            ("--forgone-at", &self.forgone_at),
        ];
        for (name, list) in lists {
            if list.len() > LONGEST_LIST {
                return Err(Failure::usage(format!("{name} takes up to {LONGEST_LIST} values, not {}", list.len())));
            }
            if let Some(twice) =
                list.iter().enumerate().find(|(place, value)| list.iter().take(*place).any(|other| other == *value))
            {
                return Err(Failure::usage(format!("{name} lists {} twice", twice.1)));
            }
        }
        self.typed().map(|_| ())
    }

    /// The prices typed, where any are; not those of a range or standard deviation alone.
    fn typed(&self) -> Result<Option<Typed<'_>>, Failure> {
        let is_product = !self.n_product_price.is_empty();
        if !is_product && (self.n_product_per.is_some() || self.n_percent.is_some()) {
            return Err(Failure::usage("--n-product-per and --n-percent need --n-product-price beside them"));
        }
        if is_product && !self.n_price.is_empty() {
            return Err(Failure::usage("give either --n-price or --n-product-price, not both"));
        }
        let n = match (is_product, self.n_product_per.zip(self.n_percent)) {
            (false, _) => NTyped { prices: &self.n_price, product: None },
            (true, Some(product)) => NTyped { prices: &self.n_product_price, product: Some(product) },
            (true, None) => {
                return Err(Failure::usage(
                    "--n-product-price needs what it is for and how much N is in it: as in --n-product-price 560 --n-product-per \
                     \"short ton\" --n-percent 46",
                ));
            }
        };
        let n_flag = if is_product { "--n-product-price" } else { "--n-price" };
        match (self.grain_price.is_empty(), n.prices.is_empty()) {
            (true, true) => Ok(None),
            _ if self.has_ratio() => {
                Err(Failure::usage(format!("give either --price-ratio or --grain-price with {n_flag}, not both")))
            }
            (false, true) => Err(Failure::usage("--grain-price needs --n-price beside it")),
            (true, false) => Err(Failure::usage(format!("{n_flag} needs --grain-price beside it"))),
            (false, false) => Ok(Some(Typed { grain: &self.grain_price, n })),
        }
    }

    fn grain_spread(&self, price: f64) -> Result<Option<PriceSpread>, Failure> {
        spread("--grain-price", price, self.grain_price_range, self.grain_price_sd)
    }

    fn n_spread(&self, price: f64) -> Result<Option<PriceSpread>, Failure> {
        spread("--n-price", price, self.n_price_range, self.n_price_sd)
    }

    fn has_spread(&self) -> bool {
        self.grain_price_range.is_some()
            || self.grain_price_sd.is_some()
            || self.n_price_range.is_some()
            || self.n_price_sd.is_some()
    }

    /// Puts the prices typed in the place of a programme's, and gives the price ratio that they make; `None` leaves its own.
    ///
    /// # Errors
    /// Prices that don't go with each other, or with the programme.
    pub(super) fn settle_programme(&self, programme: &mut Programme) -> Result<Option<f64>, Failure> {
        let (n_rate, yields) = (programme.units.n_rate, programme.units.yields);
        let mut ratio = self.price_ratio;
        if let Some(typed) = self.typed()? {
            let (grain, n) = (first(typed.grain), first(typed.n.prices));
            let (per, n_percent) = typed.n.product.unwrap_or((mass_of_rate(n_rate), 100.0));
            let own = programme.prices.take();
            let grain = GrainPrice { price: grain, per: mass_of_yield(yields), spread: None };
            let nitrogen = NitrogenPrice { price: n, per, n_percent, spread: None };
            ratio = Some(self.ratio(&typed, first(typed.grain), n, Some(n_rate), Some(yields))?);
            programme.prices = Some(match own {
                Some(own) => Prices { grain, nitrogen, ..own },
                None => Prices::new(grain, nitrogen),
            });
        }
        if !self.has_spread() && self.pass_cost.is_none() {
            return Ok(ratio);
        }
        let Some(prices) = &mut programme.prices else {
            return Err(Failure::usage(NO_MONEY));
        };
        if self.has_spread() && self.has_ratio() {
            return Err(Failure::usage(RATIO_IS_FIXED));
        }
        let (grain, n) = (self.grain_spread(prices.grain.price)?, self.n_spread(prices.nitrogen.price)?);
        prices.grain.spread = grain.or(prices.grain.spread);
        prices.nitrogen.spread = n.or(prices.nitrogen.spread);
        if let Some(price) = self.pass_cost {
            let per = if yields.is_per_acre() { AreaUnit::Acre } else { AreaUnit::Hectare };
            prices.pass_cost = Some(PassCost { price, per });
        }
        Ok(ratio)
    }

    /// What is asked beside the optimum, into what a programme's prices say.
    ///
    /// # Errors
    /// Prices of the grid that make an absurd ratio.
    pub(super) fn ask(
        &self,
        economy: &mut Economy,
        n_rate: Option<NRateUnit>,
        yields: Option<YieldUnit>,
    ) -> Result<(), Failure> {
        economy.forgone_at.clone_from(&self.forgone_at);
        economy.sensitivity_percent = self.sensitivity;
        let Some(typed) = self.typed()? else { return Ok(()) };
        if typed.grain.len() * typed.n.prices.len() > 1 {
            for grain in typed.grain {
                for n in typed.n.prices {
                    let price_ratio = self.ratio(&typed, *grain, *n, n_rate, yields)?;
                    economy.price_grid.push(GridPrices { grain: *grain, nitrogen: *n, price_ratio });
                }
            }
        }
        Ok(())
    }

    /// Prices of a bare data file.
    ///
    /// # Errors
    /// Prices that don't go with each other, or a product without a unit of the rate.
    pub(super) fn settle_columns(
        &self,
        n_rate: Option<NRateUnit>,
        yields: Option<YieldUnit>,
        seed: u64,
    ) -> Result<Settled, Failure> {
        let money = yields.map(|yields| format!("money/{}", yields.area_symbol()));
        let mut economy = Economy { pass_cost: self.pass_cost, money_unit: money, ..Economy::default() };
        let typed = self.typed()?;
        if typed.is_none() && (self.has_spread() || self.pass_cost.is_some()) {
            return Err(Failure::usage(NO_MONEY));
        }
        let Some(typed) = typed else {
            self.ask(&mut economy, n_rate, yields)?;
            if let Some(ratio) = self.price_ratio {
                believable_ratio(ratio)?;
            }
            return Ok(Settled { price_ratio: self.price_ratio, economy });
        };
        let (grain, n) = (first(typed.grain), first(typed.n.prices));
        let ratio = self.ratio(&typed, grain, n, n_rate, yields)?;
        self.ask(&mut economy, n_rate, yields)?;
        economy.grain_price = Some(grain);
        if self.has_spread() {
            let grain = UncertainPrice { price: grain, spread: self.grain_spread(grain)? };
            let uncertain = UncertainPrice { price: n, spread: self.n_spread(n)? };
            // Into money for a rate unit over the area of the yield; N that costs nothing stays at nothing.
            let factor = if n > 0.0 { ratio * grain.price / n } else { 1.0 };
            economy.draws = Some(PriceDraws::new(grain, uncertain.scaled(factor), PRICE_DRAWS, seed));
        }
        Ok(Settled { price_ratio: Some(ratio), economy })
    }

    /// The price ratio of a price of grain and one of N, as typed.
    fn ratio(
        &self,
        typed: &Typed<'_>,
        grain: f64,
        n: f64,
        n_rate: Option<NRateUnit>,
        yields: Option<YieldUnit>,
    ) -> Result<f64, Failure> {
        let n = match (typed.n.product, n_rate) {
            (None, _) => n,
            (Some((per, n_percent)), Some(n_rate)) => {
                let product = NitrogenPrice { price: n, per, n_percent, spread: None };
                // Neither mass is a bushel, so no crop is asked for its weight.
                price_per_mass_of_n(&product, mass_of_rate(n_rate), &Crop::named("")).unwrap_or(f64::NAN)
            }
            (Some(_), None) => {
                return Err(Failure::usage(
                    "--n-product-price needs N rates in a unit that is known: add --rate-unit lb/ac or --rate-unit kg/ha",
                ));
            }
        };
        believable_ratio(ratio_of_prices(n, grain, n_rate, yields))
    }

    /// The flags in force, with the base price ratio that they make.
    pub(super) fn options(&self, base: f64) -> Map<String, Value> {
        let list = |list: &[f64]| match list {
            [] => Value::Null,
            [one] => (*one).into(),
            several => several.to_vec().into(),
        };
        let pair = |pair: Option<(f64, f64)>| pair.map_or(Value::Null, |(low, high)| vec![low, high].into());
        let always =
            [("price_ratio", base.into()), ("grain_price", list(&self.grain_price)), ("n_price", list(&self.n_price))];
        let asked = [
            ("other_price_ratios", list(&self.other_price_ratios)),
            ("n_product_price", list(&self.n_product_price)),
            ("n_product_per", self.n_product_per.map(|unit| unit.symbol()).into()),
            ("n_percent", self.n_percent.into()),
            ("grain_price_range", pair(self.grain_price_range)),
            ("grain_price_sd", self.grain_price_sd.into()),
            ("n_price_range", pair(self.n_price_range)),
            ("n_price_sd", self.n_price_sd.into()),
            ("pass_cost", self.pass_cost.into()),
            ("forgone_at", list(&self.forgone_at)),
            ("sensitivity", self.sensitivity.into()),
        ];
        let asked = asked.into_iter().filter(|(_, value)| !value.is_null());
        always.into_iter().chain(asked).map(|(name, value)| (name.to_owned(), value)).collect()
    }
}

const NO_MONEY: &str =
    "--pass-cost and uncertain prices are money, so they need prices in money: give --grain-price with --n-price";
const RATIO_IS_FIXED: &str = "uncertain prices go with --grain-price and --n-price, not with --price-ratio";

fn spread(
    flag: &str,
    price: f64,
    range: Option<(f64, f64)>,
    deviation: Option<f64>,
) -> Result<Option<PriceSpread>, Failure> {
    let spread: Result<Option<PriceSpread>, SpreadFault> = match (range, deviation) {
        (Some((lowest, highest)), _) => PriceSpread::triangular(price, lowest, highest).map(Some),
        (None, Some(deviation)) => PriceSpread::normal(price, deviation).map(Some),
        (None, None) => Ok(None),
    };
    spread.map_err(|fault| Failure::usage(format!("{flag}: {fault}")))
}

/// The base of a list; callers have seen that there is one.
fn first(prices: &[f64]) -> f64 {
    prices.first().copied().unwrap_or(f64::NAN)
}

fn mass_of_rate(unit: NRateUnit) -> MassUnit {
    match unit {
        NRateUnit::PoundsPerAcre => MassUnit::Pound,
        NRateUnit::KilogramsPerHectare => MassUnit::Kilogram,
    }
}

fn mass_of_yield(unit: YieldUnit) -> MassUnit {
    match unit {
        YieldUnit::BushelsPerAcre => MassUnit::Bushel,
        YieldUnit::KilogramsPerHectare => MassUnit::Kilogram,
        YieldUnit::MegagramsPerHectare => MassUnit::Megagram,
        YieldUnit::PoundsPerAcre => MassUnit::Pound,
        YieldUnit::ShortTonsPerAcre => MassUnit::ShortTon,
    }
}
