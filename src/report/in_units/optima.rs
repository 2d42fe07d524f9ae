//! Economic optima, what is asked beside them, and site-years together.

use super::{InUnits, scale};
use crate::economics::{Distribution, NearOptimum, UncertainOptimum};
use crate::output::{AcrossOf, AtPrice, EconomyOf, Optima, OptimumGroup};

impl InUnits<'_> {
    pub(super) fn optima(&self, optima: &mut Optima) {
        optima.groups.iter_mut().for_each(|group| self.optimum_group(group));
        optima.across.iter_mut().for_each(|across| self.across(across));
    }

    fn optimum_group(&self, group: &mut OptimumGroup) {
        self.group(&mut group.group);
        self.name_units(&mut group.rate_unit, &mut group.yield_unit);
        scale([&mut group.highest_tested_rate], self.rate);
        scale([&mut group.net_return], self.yields);
        group.price_ratio *= self.price_ratio;
        group.price_ratio_unit = group.price_ratio_unit.take().map(|_| self.wording.price_ratio_unit().to_owned());
        self.optimum(&mut group.optimum);
        group.with_excluded.iter_mut().for_each(|refitted| self.optimum(&mut refitted.optimum));
        group.by_family.iter_mut().for_each(|optimum| self.optimum(optimum));
        group.by_price.iter_mut().for_each(|at| self.at_price(at));
        group.near_optimum.iter_mut().for_each(|near| self.near_optimum(near));
        group.disagreement.iter_mut().for_each(|found| self.disagreement(found));
        if let Some(averaged) = &mut group.averaged {
            averaged.rate *= self.rate;
            self.rate_interval(&mut averaged.interval);
        }
        self.economy(&mut group.economy);
    }

    fn at_price(&self, at: &mut AtPrice) {
        at.price_ratio *= self.price_ratio;
        self.optimum(&mut at.optimum);
        scale([&mut at.net_return], self.yields);
        at.near_optimum.iter_mut().for_each(|near| self.near_optimum(near));
    }

    fn near_optimum(&self, near: &mut NearOptimum) {
        near.low *= self.rate;
        near.high *= self.rate;
        near.tolerance *= self.yields;
    }

    /// A season asks for no grid of prices, other rates or moved prices.
    fn economy(&self, economy: &mut EconomyOf) {
        let unit = economy.money_unit.clone();
        let (money, unit) = match unit {
            Some(unit) => {
                let (factor, unit) = self.returns(&unit);
                (factor, Some(unit))
            }
            None => (1.0, None),
        };
        economy.money_unit = unit;
        scale([&mut economy.net_return_money], money);
        if let Some(pass) = &mut economy.pass {
            pass.cost *= money;
            pass.cost_in_yield *= self.yields;
            scale([&mut pass.gain_over_zero, &mut pass.gain_after_pass], self.yields);
        }
        economy.uncertain_prices.iter_mut().for_each(|found| self.uncertain(found, money));
        if let Some(valued) = &mut economy.with_quality {
            scale([&mut valued.net_return], self.yields);
            self.optimum(&mut valued.optimum);
        }
    }

    fn uncertain(&self, found: &mut UncertainOptimum, money: f64) {
        for (Distribution { mean, sd, q05, q25, q50, q75, q95 }, factor) in
            [(&mut found.optimum, self.rate), (&mut found.net_return, money)]
        {
            for value in [mean, sd, q05, q25, q50, q75, q95] {
                *value *= factor;
            }
        }
        found.expected_grain_price *= money / self.yields;
        found.expected_n_price *= money / self.rate;
        found.best_single_rate *= self.rate;
        found.expected_net_return_of_optimum *= money;
        found.expected_net_return_of_best_single_rate *= money;
    }

    fn across(&self, across: &mut AcrossOf) {
        self.name_units(&mut across.rate_unit, &mut across.yield_unit);
        if let Some(early) = &mut across.early_n {
            early.low *= self.rate;
            early.high *= self.rate;
        }
        for of in &mut across.site_years {
            let rates = [&mut of.optimum, &mut of.standard_error, &mut of.at_least, &mut of.at_most, &mut of.best_rate];
            scale(rates, self.rate);
            scale([&mut of.forgone_return], self.yields);
        }
        across.set_aside.iter_mut().for_each(|aside| self.group(&mut aside.group));
        let common = &mut across.common_rate;
        self.rate_interval(&mut common.rate);
        scale([&mut common.lowest_rate, &mut common.highest_rate], self.rate);
        scale([&mut common.mean_forgone_return], self.yields);
        let mean = &mut across.mean_optimum;
        for interval in [&mut mean.mean, &mut mean.sd_between, &mut mean.new_site_year] {
            self.rate_interval(interval);
        }
    }
}
