//! Programmes written to a temporary folder, and seasons run on them.

use std::fs;
use std::path::Path;
use std::sync::OnceLock;

use stook::files::load_programme;
use stook::season::{Season, SeasonOptions};
use stook::trial::Programme;
use tempfile::TempDir;

/// Fewer permutations than by default: enough to tell a response at 0.05.
const PERMUTATIONS: usize = 199;

pub fn options() -> SeasonOptions {
    SeasonOptions { permutations: PERMUTATIONS, replicates: 200, ..SeasonOptions::default() }
}

pub fn load(folder: &Path) -> Programme {
    load_programme(folder).unwrap_or_else(|findings| panic!("{findings:#?}")).value
}

pub fn run(programme: Programme) -> Season {
    Season::run(programme, Vec::new(), options(), &|_| ()).expect("bushels of wheat are known")
}

/// Writes `(path, text)` into a new temporary folder.
pub fn written<P: AsRef<Path>, T: AsRef<[u8]>>(files: impl IntoIterator<Item = (P, T)>) -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (path, text) in files {
        let path = folder.path().join(path);
        fs::create_dir_all(path.parent().expect("below the folder")).expect("a folder");
        fs::write(path, text).expect("a file");
    }
    folder
}

pub fn demo_programme() -> Programme {
    load(&Path::new(env!("CARGO_MANIFEST_DIR")).join("trials"))
}

/// The demo's season, run once for all tests.
pub fn demo() -> &'static Season {
    static SEASON: OnceLock<Season> = OnceLock::new();
    SEASON.get_or_init(|| run(demo_programme()))
}
