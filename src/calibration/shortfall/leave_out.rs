//! Refits without one site-year.

use rayon::prelude::*;

use super::{NoShortfall, Shortfall, ShortfallData, ShortfallModel};

/// The model without each site-year in turn, in their order: that site-year plays no part in it.
///
/// # Errors
/// [`NoShortfall::OneSiteYear`] for a single one.
pub fn leave_one_site_year_out(
    data: &ShortfallData,
    model: ShortfallModel,
) -> Result<Vec<Result<Shortfall, NoShortfall>>, NoShortfall> {
    let count = data.site_years().len();
    if count < 2 {
        return Err(NoShortfall::OneSiteYear);
    }
    let without = |held_out: usize| {
        let weights: Vec<f64> = (0..count).map(|position| if position == held_out { 0.0 } else { 1.0 }).collect();
        Shortfall::fit(data, model, Some(&weights))
    };
    Ok((0..count).into_par_iter().map(without).collect())
}
