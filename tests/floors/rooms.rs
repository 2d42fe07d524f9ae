//! The table of floors, and what it allows.

use std::collections::BTreeMap;

use crate::ways::Way;

/// Crates that only some rooms may use.
const HOUSED: &[(&str, &[&str])] = &[
    ("polars", &["files"]),
    ("polars_arrow", &["files"]),
    ("polars_io", &["files"]),
    ("polars_parquet", &["files"]),
    ("calamine", &["files"]),
    ("rust_xlsxwriter", &["files"]),
    ("argmin", &["stats", "response"]),
    ("argmin_math", &["stats", "response"]),
    ("plotters", &["figures"]),
    ("quick_xml", &["report"]),
    ("typst", &["report"]),
    ("typst_pdf", &["report"]),
    ("clap", &["cli", "main"]),
];

/// Rooms by name, each with its floor.
pub struct Rooms {
    floors: BTreeMap<String, u32>,
}

impl Rooms {
    /// The rooms of a Markdown table whose rows are `| floor | rooms in backticks | … |`.
    pub fn from_table(text: &str) -> Option<Self> {
        let mut floors = BTreeMap::new();
        for line in text.lines() {
            let mut cells = line.split('|').map(str::trim).skip(1);
            let (Some(floor), Some(rooms)) = (cells.next().and_then(|cell| cell.parse().ok()), cells.next()) else {
                continue;
            };
            for room in rooms.split('`').skip(1).step_by(2) {
                floors.insert(room.trim_end_matches('/').to_owned(), floor);
            }
        }
        (!floors.is_empty()).then_some(Self { floors })
    }

    pub fn floor(&self, room: &str) -> Option<u32> {
        self.floors.get(room).copied()
    }

    /// The rule that a way from `module` breaks, if it does.
    pub fn broken_by(&self, module: &str, way: &Way) -> Option<String> {
        let room = module.split(['/', '.']).next()?;
        match way {
            Way::Crate(name) => {
                let (_, homes) = HOUSED.iter().find(|(housed, _)| housed == name)?;
                (!homes.contains(&room)).then(|| format!("{name} is used only in {}", homes.join(" and ")))
            }
            Way::Room(target) => {
                let (from, to) = (self.floor(room)?, self.floor(target)?);
                (room != target && to >= from).then(|| format!("{room} (floor {from}) uses {target} (floor {to})"))
            }
        }
    }
}
