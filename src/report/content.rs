//! What a report says, before any file format: sections of paragraphs, tables and figures, every number already text.

/// A report.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Title of the programme.
    pub title: String,
    /// What the report is of, such as the harvests and the crop.
    pub subtitle: String,
    /// The program and version that made it, and the seed.
    pub made_by: String,
    /// The sections, in reading order; the first is the summary on one page.
    pub sections: Vec<Section>,
}

/// A section.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    /// Kebab-case name, unique in the report, for links to it.
    pub name: String,
    /// Its heading.
    pub title: String,
    /// What stands in it.
    pub blocks: Vec<Block>,
}

/// A part of a section.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// A heading below the section's own.
    Heading(String),
    /// A paragraph.
    Paragraph(String),
    /// A list of points.
    List(Vec<String>),
    /// Cautions, set off from the rest.
    Cautions(Vec<String>),
    /// A table.
    Table(Table),
    /// A figure.
    Figure(Illustration),
}

/// A table of text.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// Kebab-case name, unique in the report: the name of its CSV file and of its sheet.
    pub name: String,
    /// The line above it.
    pub title: String,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows, as many cells each as there are columns.
    pub rows: Vec<Vec<Cell>>,
    /// What stands below it: abbreviations, tests, what is left out.
    pub notes: Vec<String>,
}

/// A column of a table.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Its head, with the unit in brackets.
    pub head: String,
    /// Whether its cells are numbers, which stand to the right.
    pub is_number: bool,
}

/// A cell: what is read, and the number behind it.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// What is read.
    pub text: String,
    /// The number with all its digits, for files; `None` for words and for what is not known.
    pub number: Option<f64>,
}

/// A figure in a report.
#[derive(Clone, Debug, PartialEq)]
pub struct Illustration {
    /// Kebab-case name, unique in the report.
    pub name: String,
    /// The drawing, an SVG document.
    pub svg: String,
    /// Its width in print, mm.
    pub width: f64,
    /// What it shows, in words, for those who cannot see it.
    pub alternative: String,
    /// What stands below it.
    pub caption: String,
}
