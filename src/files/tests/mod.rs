//! Programmes written to a temporary folder and read back.

mod export;
mod faults;
mod formats;
mod knowledge;
mod loading;
mod mutations;
mod position;
mod sameness;
mod sensing;
mod walking;

use std::collections::BTreeMap;
use std::fs;

use tempfile::TempDir;

use super::{Loaded, load_programme};
use crate::finding::Finding;
use crate::trial::Programme;

pub(super) const PROGRAMME: &str = r#"format = 1
title = "Larkwater valley winter wheat"
crop = "wheat"
currency = "USD"
leave_out = { "hailed-2023" = "hail, 3 June" }
[units]
n_rate = "lb/ac"
yield = "bu/ac"
[prices]
grain = { price = 6.00, per = "bu" }
nitrogen = { price = 560, per = "short ton", n_percent = 46 }
other_price_ratios = [0.05, 0.15]
[decisions]
near_optimum_within = { percent = 1 }
standard_topdress = 80
[[table]]
name = "canopy-jointing"
instrument = "canopy-ndvi"
stages = ["Feekes 5", "Feekes 6"]
index = { lowest = 0.70, highest = 1.00, step = 0.05 }
rate = { round_to = 5, highest = 120 }
outside = "no-rate"
"#;

/// Every application before sensing, readings as columns, yields.
pub(super) const UPPER: &str = r#"format = 1
site = "Upper Terrace"
harvest_year = 2024
design = "randomised-complete-block"
need_from = "difference-from-optimum"
[plots]
file = "plots.csv"
plot = "plot"
block = "rep"
variety = { same = "Pale Heron" }
[[application]]
name = "green-up"
n = { column = "urea_lb_ac", unit = "lb/ac", n_percent = 46 }
date = 2024-02-20
timing = "before-sensing"
[reference]
where = { column = "urea_lb_ac", equals = 391 }
also_treatment = true
shared_within = ["variety"]
[[readings]]
instrument = "canopy-ndvi"
columns = [{ column = "ndvi_apr02", date = 2024-04-02, stage = "Feekes 5" }]
[harvest]
yield = { column = "yield", unit = "bu/ac", moisture_percent = 12.0 }
[[exclude]]
plot = 104
what = "yield"
reason = "combine plugged"
"#;

pub(super) const UPPER_PLOTS: &str = "\
plot,rep,urea_lb_ac,ndvi_apr02,yield
101,1,0,0.55,41.5
102,1,391,0.81,78
103,2,391.0,0.80,NA
104,2,0,,39.25
";

/// Early × topdress, readings a row each from two instruments, weights, a key of two columns.
pub(super) const OSIER: &str = r#"format = 1
site = "Osier Bend"
harvest_year = 2025
design = "split-plot"
main_plot = ["variety"]
need_from = "topdress-response"
[plots]
file = "plots.csv"
header_row = 2
plot = ["rep", "plot"]
block = "rep"
variety = "cultivar"
[[application]]
name = "topdress"
n = { column = "top_n", unit = "kg/ha" }
date = 2025-04-09
timing = "decided-by-sensing"
[[application]]
name = "early"
n = { column = "early_n", unit = "kg/ha" }
date = 2025-02-24
timing = "before-sensing"
[reference]
where = { column = "kind", equals = "rich" }
also_treatment = false
shared_within = ["variety", "block"]
[[readings]]
instrument = "canopy-ndvi"
file = "readings.csv"
where = { column = "tool", equals = "ndvi" }
date = "date"
stage = "stage"
value = "value"
[[readings]]
instrument = "leaf-chlorophyll"
file = "readings.csv"
where = { column = "tool", equals = "leaf" }
date = "date"
stage = "stage"
leaf = "leaf"
value = "value"
[harvest]
weight = { column = "grain_lb", unit = "lb" }
area = { length = 20, width = 5, unit = "ft" }
moisture = "moist"
protein = { column = "protein", moisture_percent = 12 }
[[exclude]]
plot = [2, 1]
what = "plot"
reason = "deer"
"#;

pub(super) const OSIER_PLOTS: &str = "\
\"Osier Bend, harvested 2025-07-09\",,,,,,,,
rep,plot,cultivar,kind,early_n,top_n,grain_lb,moist,protein
1,1,Pale Heron,trial,20,0,8.40,14.2,9.5
1,2,Pale Heron,rich,200,0,11.2,14.0,12.1
2,1,Pale Heron,trial,20,90,10.9,,
2,2,Pale Heron,rich,200,0,11.5,13.8,11.9
";

pub(super) const OSIER_READINGS: &str = "\
rep,plot,tool,date,stage,leaf,value
1,1,ndvi,2025-04-04,Feekes 5,,0.61
1,2,ndvi,2025-04-04,Feekes 5,,0.83
2,1,ndvi,2025-04-04,Feekes 5,,0.60
2,2,ndvi,2025-04-04,Feekes 5,,0.84
1,1,leaf,2025-04-04,Feekes 5,2,44.1
1,1,leaf,2025-04-04,Feekes 5,1,43.9
1,2,leaf,2025-04-04,Feekes 5,1,55.0
";

/// The valid programme, file by file.
pub(super) fn valid() -> BTreeMap<&'static str, String> {
    [
        ("programme.toml", PROGRAMME),
        ("hailed-2023/trial.toml", "never read"),
        ("upper-2024/trial.toml", UPPER),
        ("upper-2024/plots.csv", UPPER_PLOTS),
        ("osier-2025/trial.toml", OSIER),
        ("osier-2025/plots.csv", OSIER_PLOTS),
        ("osier-2025/readings.csv", OSIER_READINGS),
    ]
    .into_iter()
    .map(|(path, text)| (path, text.to_owned()))
    .collect()
}

pub(super) fn written<T: AsRef<[u8]>>(files: &BTreeMap<&str, T>) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (path, text) in files {
        let path = folder.path().join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }
    folder
}

pub(super) fn load<T: AsRef<[u8]>>(files: &BTreeMap<&str, T>) -> Result<Loaded<Programme>, Vec<Finding>> {
    load_programme(written(files).path())
}
