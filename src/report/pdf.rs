//! The report as a PDF, typeset from a layout of our own (`report.typ`).
//!
//! What the report says reaches the layout as data, one file of JSON whose strings are never read as markup: a title can no more run there than in
//! HTML. Type is Inter alone (SIL Open Font License), whatever the system has: the figures' regular and a semibold for heads, without which a page
//! of tables has no order.

mod content;
#[cfg(test)]
mod tests;

use std::fmt::Write as _;

use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};
use typst_pdf::{PdfOptions, PdfStandards};

use super::Report;
use crate::figures::INTER;

/// Headings, heads of tables and labels.
static INTER_SEMIBOLD: &[u8] = include_bytes!("pdf/font/Inter-SemiBold.ttf");
static LAYOUT: &str = include_str!("pdf/report.typ");

/// What a report is printed on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Paper {
    /// 210 × 297 mm.
    #[default]
    A4,
    /// 8½ × 11 inches.
    UsLetter,
}

/// Why there is no PDF.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum PdfError {
    /// A part of the report, such as a drawing, could not be typeset.
    #[error("the report could not be typeset: {0}")]
    Typesetting(String),
    /// The typeface that is compiled in could not be read.
    #[error("the compiled-in typeface could not be read")]
    Typeface,
}

/// The report as a PDF. The same report gives the same bytes.
///
/// The first page holds the first section, the contents follow. Tables keep their head on every page and take smaller type (7 pt or more), a page
/// on its side, or several parts where they are wide. The document is tagged, with the alternative of every drawing. Letters that Inter
/// has not, such as Chinese ones, appear as an empty box.
///
/// # Errors
///
/// [`PdfError::Typesetting`] if a drawing is not SVG.
pub fn pdf(report: &Report, paper: Paper) -> Result<Vec<u8>, PdfError> {
    typeset(report, paper, PdfStandards::default())
}

fn typeset(report: &Report, paper: Paper, standards: PdfStandards) -> Result<Vec<u8>, PdfError> {
    let desk = Desk::new(report, paper)?;
    let document = typst::compile(&desk).output.map_err(|errors| told(&errors))?;
    let options = PdfOptions {
        // Not of the contents: it says which document this is, not which state of it.
        ident: Smart::Custom(format!("{}\n{}", report.title, report.subtitle)),
        creator: Smart::Custom(Some("stook".to_owned())),
        standards,
        ..PdfOptions::default()
    };
    let bytes = typst_pdf::pdf(&document, &options).map_err(|errors| told(&errors));
    // What was kept for a second run of the same document.
    typst::comemo::evict(0);
    bytes
}

fn told(errors: &[SourceDiagnostic]) -> PdfError {
    let mut text = String::new();
    for error in errors {
        let _ = write!(text, "{}{}", if text.is_empty() { "" } else { "; " }, error.message);
    }
    PdfError::Typesetting(text)
}

/// All that the typesetter can reach: the layout, the content and two fonts. No file, no network, no clock.
struct Desk {
    library: LazyHash<Library>,
    book: LazyHash<FontBook>,
    fonts: [Font; 2],
    layout: Source,
    content_id: FileId,
    content: Bytes,
}

impl Desk {
    fn new(report: &Report, paper: Paper) -> Result<Self, PdfError> {
        let font = |data: &'static [u8]| Font::new(Bytes::new(data), 0).ok_or(PdfError::Typeface);
        let fonts = [font(INTER)?, font(INTER_SEMIBOLD)?];
        Ok(Desk {
            library: LazyHash::new(Library::default()),
            book: LazyHash::new(FontBook::from_fonts(&fonts)),
            fonts,
            layout: Source::new(file("report.typ")?, LAYOUT.to_owned()),
            content_id: file("report.json")?,
            content: Bytes::from_string(content::json(report, paper)?),
        })
    }
}

fn file(name: &str) -> Result<FileId, PdfError> {
    let path = VirtualPath::new(name).map_err(|_| PdfError::Typesetting(format!("{name} is no name of a file")))?;
    Ok(RootedPath::new(VirtualRoot::Project, path).intern())
}

impl World for Desk {
    fn library(&self) -> &LazyHash<Library> {
        &self.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &self.book
    }

    fn main(&self) -> FileId {
        self.layout.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.layout.id() { Ok(self.layout.clone()) } else { Err(FileError::AccessDenied) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        if id == self.content_id { Ok(self.content.clone()) } else { Err(FileError::AccessDenied) }
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.fonts.get(index).cloned()
    }

    fn today(&self, _offset: Option<Duration>) -> Option<Datetime> {
        None
    }
}
