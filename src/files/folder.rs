//! The files under one folder: each read once, digested and parsed once.

use std::collections::{BTreeMap, HashMap};
use std::fs;
use std::path::{Path, PathBuf};
use std::rc::Rc;

use super::cell::keep;
use super::descriptor::Document;
use super::encoding::decode;
use super::file_reference::FileReference;
use super::layout::Layout;
use super::opened::{bytes, open};
use super::table::DataTable;
use crate::finding::{Finding, Place};
use crate::trial::InputFile;

/// A folder that files are read from, and what was read.
pub(super) struct Folder {
    root: PathBuf,
    digests: BTreeMap<String, String>,
    tables: HashMap<(String, Layout), Option<Rc<DataTable>>>,
}

impl Folder {
    pub(super) fn new(root: &Path) -> Self {
        Self { root: root.to_owned(), digests: BTreeMap::new(), tables: HashMap::new() }
    }

    /// The text of the descriptor at `relative`, a path below the folder with forward slashes.
    pub(super) fn text(&mut self, relative: &str) -> Result<String, Finding> {
        let bytes = self.bytes(relative)?;
        decode(relative, bytes, &Layout::default()).map(|decoded| decoded.text)
    }

    fn bytes(&mut self, relative: &str) -> Result<Vec<u8>, Finding> {
        let (bytes, digest) = bytes(&self.root.join(relative), relative)?;
        self.digests.insert(relative.to_owned(), digest);
        Ok(bytes)
    }

    /// The data file at `relative`. Faults go to `findings` the first time it is asked for.
    fn table(&mut self, relative: &str, layout: &Layout, findings: &mut Vec<Finding>) -> Option<Rc<DataTable>> {
        let key = (relative.to_owned(), layout.clone());
        if let Some(known) = self.tables.get(&key) {
            return known.clone();
        }
        let opened = self.bytes(relative).and_then(|bytes| open(relative, bytes, layout));
        let read = opened.map_err(|finding| vec![finding]).and_then(|opened| DataTable::new(relative, opened, layout));
        let table = read.map(Rc::new).map_err(|faults| findings.extend(faults)).ok();
        self.tables.insert(key, table.clone());
        table
    }

    /// Whether anything stands at `relative`, be it readable or not.
    pub(super) fn has(&self, relative: &str) -> bool {
        let found = self.root.join(relative).symlink_metadata();
        found.map_or_else(|error| error.kind() != std::io::ErrorKind::NotFound, |_| true)
    }

    /// The names of the files directly in the folder at `relative`, in order; none where it can't be listed.
    pub(super) fn files(&self, relative: &str) -> Vec<String> {
        let entries = fs::read_dir(self.root.join(relative)).into_iter().flatten().flatten();
        let files = entries.filter(|entry| entry.path().is_file());
        let mut names: Vec<String> = files.filter_map(|entry| entry.file_name().into_string().ok()).collect();
        names.sort();
        names
    }

    /// The names of the folders directly below, in order.
    ///
    /// # Errors
    /// A folder that can't be listed, or one whose name is no text.
    pub(super) fn folders(&self) -> Result<Vec<String>, Finding> {
        let cannot = |error: std::io::Error| {
            Finding::error(
                "cannot-read",
                Place::file(self.root.display().to_string()),
                format!("cannot list it: {error}"),
            )
        };
        let mut names = Vec::new();
        for entry in fs::read_dir(&self.root).map_err(cannot)? {
            let path = entry.map_err(cannot)?.path();
            if !path.is_dir() {
                continue;
            }
            match path.file_name().and_then(|name| name.to_str()) {
                Some(name) => names.push(name.to_owned()),
                None => {
                    let place = Place::file(path.display().to_string());
                    let finding = Finding::error("cannot-read", place, "the folder's name is not UTF-8");
                    return Err(finding.remedy("rename it: a trial is told by the name of its folder"));
                }
            }
        }
        names.sort();
        Ok(names)
    }

    /// Every file read, in order of path.
    pub(super) fn inputs(self) -> Vec<InputFile> {
        self.digests.into_iter().map(|(file, sha256)| InputFile { file, sha256 }).collect()
    }
}

/// A trial folder within its programme.
pub(super) struct TrialFolder<'f> {
    pub(super) folder: &'f mut Folder,
    /// Its path from the programme.
    pub(super) name: String,
}

impl TrialFolder<'_> {
    /// The path from the programme of a file that the descriptor names.
    fn path(&self, document: &Document, file: &FileReference) -> Result<String, Finding> {
        path_within(&self.name, file.path.value.trim()).ok_or_else(|| {
            let text = format!("{:?} does not lie within the programme", file.path.value);
            let remedy = "write a path from the trial's folder with / between folders";
            document.fault("outside-programme", &file.path, text).remedy(remedy)
        })
    }

    /// A data file that the descriptor names.
    pub(super) fn table(
        &mut self,
        document: &Document,
        file: &FileReference,
        findings: &mut Vec<Finding>,
    ) -> Option<Rc<DataTable>> {
        let path = keep(self.path(document, file), findings)?;
        if !self.folder.root.join(&path).exists() {
            let text = format!("there is no file {path}");
            findings.push(document.fault("cannot-read", &file.path, text).remedy("name a file in the trial's folder"));
            return None;
        }
        self.folder.table(&path, &file.layout, findings)
    }
}

/// `typed`, a path from `folder` with forward slashes, as a path from the programme; `None` where it leads out of it.
fn path_within(folder: &str, typed: &str) -> Option<String> {
    let mut parts: Vec<&str> = if folder.is_empty() { Vec::new() } else { vec![folder] };
    if typed.contains('\\') || typed.contains(':') || typed.starts_with('/') {
        return None;
    }
    for part in typed.split('/') {
        match part {
            "" | "." => {}
            ".." => {
                parts.pop()?;
            }
            part => parts.push(part),
        }
    }
    (!parts.is_empty()).then(|| parts.join("/"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_stays_within_the_programme() {
        assert_eq!(path_within("a-2024", "plots.csv").as_deref(), Some("a-2024/plots.csv"));
        assert_eq!(path_within("a-2024", "../shared/./plots.csv").as_deref(), Some("shared/plots.csv"));
        for typed in ["../../plots.csv", "/plots.csv", "C:/plots.csv", "data\\plots.csv", "..", ""] {
            assert!(path_within("a-2024", typed).is_none_or(|path| path == "a-2024"), "{typed:?}");
        }
    }
}
