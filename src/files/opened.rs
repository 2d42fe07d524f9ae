//! A data file opened by what kind of file it is: text, a workbook or Parquet.

use std::fs::{self, File};
use std::io::Read as _;
use std::path::Path;

use sha2::{Digest as _, Sha256};

use super::encoding::decode;
use super::grid::{Grid, Merged};
use super::layout::{Layout, Separator};
use super::nearest::{list, suggestion};
use super::workbook::Workbook;
use super::{parquet, separated};
use crate::finding::{Finding, Place};
use crate::trial::InputFile;

/// The kinds of data files, told apart by their names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum FileKind {
    /// CSV, TSV and their like.
    Text,
    /// XLSX.
    Workbook,
    /// Parquet.
    Parquet,
}

impl FileKind {
    /// The kind of the file of that name.
    ///
    /// # Errors
    /// What is wrong with files that can't be read, and what to do.
    pub(super) fn of(name: &str) -> Result<Self, (String, &'static str)> {
        let extension = name.rsplit_once('.').map(|(_, extension)| extension.to_lowercase()).unwrap_or_default();
        match extension.as_str() {
            "xlsx" | "xlsm" => Ok(Self::Workbook),
            "parquet" => Ok(Self::Parquet),
            "xls" | "xlsb" | "ods" | "numbers" => {
                Err((format!("workbooks that end in .{extension} can't be read"), "save the workbook as .xlsx"))
            }
            _ => Ok(Self::Text),
        }
    }

    /// Why a key of a layout has no meaning for such a file; `None` where it has one.
    pub(super) fn unsuited(self, key: &str) -> Option<&'static str> {
        match (self, key) {
            (Self::Text, "sheet") => Some("a text file has no sheets"),
            (Self::Workbook, "separator") => Some("the cells of a workbook are not separated by a sign"),
            (Self::Workbook, "encoding") => Some("a workbook says itself how its text is encoded"),
            (Self::Parquet, "sheet") => Some("a Parquet file has no sheets"),
            (Self::Parquet, "separator" | "encoding") => Some("a Parquet file is not text"),
            (Self::Parquet, "header_row" | "header_rows") => Some("a Parquet file names its columns itself"),
            _ => None,
        }
    }
}

/// One sheet or file of cells.
pub(super) struct Opened {
    /// The sheet it is, in a workbook.
    pub(super) sheet: Option<String>,
    pub(super) format: Format,
    pub(super) grid: Grid,
}

/// How the cells of a [`Sheet`] are kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Format {
    /// As text.
    Text {
        /// What stands between cells.
        separator: Separator,
        /// The encoding, by its usual name.
        encoding: String,
    },
    /// In an XLSX workbook.
    Workbook,
    /// In a Parquet file.
    Parquet,
}

/// Every row of one sheet or file, titles and headers included.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// Its name, in a workbook.
    pub name: Option<String>,
    /// How its cells are kept.
    pub format: Format,
    /// Rows that hold a cell, each with its number in the file (from 1), and its cells as text: numbers in the shortest form that
    /// reads back the same, dates as year-month-day; a merged cell counts for every column that it spans, on its first row. Rows may be
    /// of different length.
    pub rows: Vec<(u64, Vec<String>)>,
}

/// Every sheet of a workbook, or the one table of a text or Parquet file, as its cells stand. Separator and encoding are as
/// declared, or what is certain of them without a declaration. With them comes the file and its digest.
///
/// # Errors
/// A file that can't be read, is no file of its kind, or whose separator or encoding is not certain.
pub fn sheets(path: &Path, layout: &Layout) -> Result<(Vec<Sheet>, InputFile), Vec<Finding>> {
    let one = |finding| vec![finding];
    let name = path.display().to_string();
    let (bytes, sha256) = bytes(path, &name).map_err(one)?;
    let opened = match kind(&name).map_err(one)? {
        FileKind::Workbook => {
            let mut workbook = workbook(&name, bytes).map_err(one)?;
            let names = workbook.names();
            let sheets = names.iter().map(|sheet| opened_sheet(&name, &mut workbook, sheet));
            sheets.collect::<Result<Vec<_>, _>>().map_err(one)?
        }
        _ => vec![open(&name, bytes, layout).map_err(one)?],
    };
    Ok((opened.into_iter().map(Sheet::from).collect(), InputFile { file: name, sha256 }))
}

impl From<Opened> for Sheet {
    fn from(Opened { sheet, format, grid }: Opened) -> Self {
        let mut rows: Vec<(u64, Vec<String>)> = (0..grid.len())
            .filter_map(|row| Some((grid.number(row)?, grid.row(row).map(str::to_owned).collect())))
            .collect();
        for Merged { rows: (first, _), columns: (from, to) } in &grid.merged {
            let Some((_, cells)) = rows.iter_mut().find(|(number, _)| number == first) else { continue };
            let text = cells.get(*from).cloned().unwrap_or_default();
            cells.resize(cells.len().max(to + 1), String::new());
            cells.iter_mut().take(to + 1).skip(*from).for_each(|cell| cell.clone_from(&text));
        }
        Self { name: sheet, format, rows }
    }
}

/// The cells of a data file, or of the sheet of it that is declared.
///
/// # Errors
/// A file that is none of its kind; a sheet that is not there or not certain; an uncertain separator or encoding.
pub(super) fn open(name: &str, bytes: Vec<u8>, layout: &Layout) -> Result<Opened, Finding> {
    match kind(name)? {
        FileKind::Text => {
            let decoded = decode(name, bytes, layout)?;
            let separator = separated::separator(name, &decoded.text, layout)?;
            let grid = separated::read(name, decoded.text, separator)?;
            if grid.is_too_large() {
                return Err(Finding::error("cannot-read", Place::file(name), "the file is larger than 4 GB"));
            }
            let format = Format::Text { separator, encoding: decoded.encoding.to_owned() };
            Ok(Opened { sheet: None, format, grid })
        }
        FileKind::Workbook => {
            let mut workbook = workbook(name, bytes)?;
            match &layout.sheet {
                Some(sheet) => declared_sheet(name, &mut workbook, sheet),
                None => only_sheet(name, &mut workbook, layout),
            }
        }
        FileKind::Parquet => match parquet::read(bytes) {
            Ok(grid) => Ok(Opened { sheet: None, format: Format::Parquet, grid }),
            Err(error) => {
                let text = format!("this is not a Parquet file that can be read: {error}");
                Err(Finding::error("not-a-parquet-file", Place::file(name), text).remedy("write it again"))
            }
        },
    }
}

fn kind(name: &str) -> Result<FileKind, Finding> {
    FileKind::of(name)
        .map_err(|(text, remedy)| Finding::error("unknown-format", Place::file(name), text).remedy(remedy))
}

fn workbook(name: &str, bytes: Vec<u8>) -> Result<Workbook, Finding> {
    Workbook::open(bytes).ok_or_else(|| {
        let locked = Path::new(name).file_name().is_some_and(|name| name.to_string_lossy().starts_with("~$"));
        let remedy = if locked {
            "it is the mark that a spreadsheet leaves beside an open workbook: name the workbook itself"
        } else {
            "open it in a spreadsheet and save it as .xlsx; a small file like this may be the mark that a spreadsheet leaves beside an open workbook"
        };
        Finding::error("not-a-workbook", Place::file(name), "this is not an XLSX workbook").remedy(remedy)
    })
}

fn opened_sheet(name: &str, workbook: &mut Workbook, sheet: &str) -> Result<Opened, Finding> {
    match workbook.grid(sheet) {
        Ok(grid) => Ok(Opened { sheet: Some(sheet.to_owned()), format: Format::Workbook, grid }),
        Err(error) => {
            let place = Place::file(name).sheet(Some(sheet.to_owned()));
            let finding = Finding::error("not-a-workbook", place, format!("the sheet can't be read: {error}"));
            Err(finding.remedy("open the workbook in a spreadsheet and save it again"))
        }
    }
}

fn declared_sheet(name: &str, workbook: &mut Workbook, sheet: &str) -> Result<Opened, Finding> {
    let names = workbook.names();
    if names.iter().any(|known| known == sheet) {
        return opened_sheet(name, workbook, sheet);
    }
    let text = format!("there is no sheet {sheet:?}");
    let remedy = suggestion(sheet, "the sheets are", names.iter().map(String::as_str));
    Err(Finding::error("unknown-sheet", Place::file(name).value(sheet), text).remedy(remedy))
}

/// The one sheet that holds any cell.
fn only_sheet(name: &str, workbook: &mut Workbook, layout: &Layout) -> Result<Opened, Finding> {
    let mut filled = Vec::new();
    for sheet in workbook.names() {
        let opened = opened_sheet(name, workbook, &sheet)?;
        if opened.grid.len() > 0 {
            filled.push(opened);
        }
    }
    if filled.len() > 1 {
        let names: Vec<&str> = filled.iter().filter_map(|opened| opened.sheet.as_deref()).collect();
        let text = format!("the workbook has several sheets: {}", list(&names));
        let first = names.first().copied().unwrap_or_default();
        let remedy = format!("say which one, as in {}", layout.declaration("sheet", &format!("{first:?}")));
        return Err(Finding::error("several-sheets", Place::file(name), text).remedy(remedy));
    }
    let empty = || Finding::error("empty-file", Place::file(name), "no sheet of the workbook holds anything");
    filled.pop().ok_or_else(empty)
}

/// The bytes of a file and their digest.
///
/// # Errors
/// A file that is not there, is none, or can't be read.
pub(super) fn bytes(path: &Path, name: &str) -> Result<(Vec<u8>, String), Finding> {
    let fault = |text: String| Finding::error("cannot-read", Place::file(name), text);
    let cannot = |error: std::io::Error| match error.kind() {
        std::io::ErrorKind::NotFound => fault("there is no such file".to_owned()),
        _ => fault(format!("the file can't be read: {error}")),
    };
    let metadata = fs::metadata(path).map_err(cannot)?;
    if metadata.is_dir() {
        return Err(fault("this is a folder, not a file".to_owned()).remedy("name a file"));
    }
    // A device or a pipe may never end.
    if !metadata.is_file() {
        return Err(fault("this is a device or a pipe, not a file".to_owned()).remedy("name a file"));
    }
    let length = usize::try_from(metadata.len()).unwrap_or(0);
    let (bytes, digest) = File::open(path).and_then(|file| read_and_digest(file, length)).map_err(cannot)?;
    Ok((bytes, digest.finalize().iter().map(|byte| format!("{byte:02x}")).collect()))
}

/// A file is read and digested in pieces of so many bytes.
const PIECE: usize = 1 << 20;

/// What is in a file of that length, or more where it has grown: each piece is digested while the next one is read.
fn read_and_digest(mut file: File, length: usize) -> std::io::Result<(Vec<u8>, Sha256)> {
    let mut bytes = vec![0; length];
    let mut digest = Sha256::new();
    let mut read: &[u8] = &[];
    for piece in bytes.chunks_mut(PIECE) {
        rayon::join(|| digest.update(read), || file.read_exact(piece)).1?;
        read = piece;
    }
    digest.update(read);
    file.read_to_end(&mut bytes)?;
    digest.update(bytes.get(length..).unwrap_or_default());
    Ok((bytes, digest))
}
