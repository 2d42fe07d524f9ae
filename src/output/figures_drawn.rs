//! The list of figures that were drawn.

use schemars::JsonSchema;
use serde::Serialize;

use super::envelope::Report;
use super::layout::{TextTable, paragraph};
use super::long::{Long, number};
use super::numbers::count;
use crate::files::export::Table;

/// Figures, and where their files are.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FiguresDrawn {
    /// The folder of their files.
    pub folder: String,
    /// The figures.
    pub figures: Vec<FigureOf>,
}

/// A figure that was drawn.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct FigureOf {
    /// Name of its files without their endings.
    pub name: String,
    /// Its files.
    pub files: Vec<String>,
    /// Width in print, mm.
    pub width_mm: f64,
    /// Title.
    pub title: String,
    /// The text below it.
    pub caption: String,
    /// What is seen in it, in words.
    pub finding: String,
}

impl Report for FiguresDrawn {
    const COMMAND: &'static str = "figures";

    fn text(&self) -> String {
        let mut table = TextTable::new().words("figure").words("title").numbers("width, mm");
        for figure in &self.figures {
            table.row(vec![figure.name.clone(), figure.title.clone(), format!("{:.0}", figure.width_mm)]);
        }
        let head = format!("{} in {}, each with its caption (.txt)", count(self.figures.len(), "figure"), self.folder);
        paragraph("", &head) + "\n" + &table.render(2)
    }

    fn table(&self) -> Table {
        let mut long = Long::new(["figure", "file", "width_mm", "title", "finding"]);
        for figure in &self.figures {
            for file in &figure.files {
                let words = [&figure.title, &figure.finding].map(|text| text.as_str().into());
                let place = [figure.name.as_str().into(), file.as_str().into(), number(figure.width_mm)];
                long.row(place.into_iter().chain(words));
            }
        }
        long.finish()
    }
}
