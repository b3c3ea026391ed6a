//! The package: a ZIP file by the Open Packaging Conventions, in which a relationship names the part with the model.

use std::io::{Read, Seek};

use zip::ZipArchive;
use zip::result::ZipError;

use super::xml::{Cursor, Space, attribute};

/// Relationship type of the part with the model (core 2.1.1).
const START_PART: &str = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel";

/// Namespace of OPC relationships (ECMA-376 part 2).
const RELATIONSHIPS: &str = "http://schemas.openxmlformats.org/package/2006/relationships";

/// An open package.
pub(in super::super) struct Package<F> {
    archive: ZipArchive<F>,
    /// Most bytes that a part may unpack to.
    limit: u64,
}

impl<F: Read + Seek> Package<F> {
    /// Opens a package; no part of it may unpack to more than `limit` bytes.
    pub(in super::super) fn open(file: F, limit: u64) -> Result<Self, String> {
        let archive = ZipArchive::new(file).map_err(|e| format!("not a ZIP package: {e}"))?;
        Ok(Self { archive, limit })
    }

    /// The name and the text of the part that holds the model.
    pub(in super::super) fn start_part(&mut self) -> Result<(String, String), String> {
        let relationships = self.part("_rels/.rels")?;
        let name = start_part(&relationships)?;
        let text = self.part(&name)?;
        Ok((name, text))
    }

    /// Unpacks one part. What the package says about its size is not believed: bytes are counted as they come.
    pub(in super::super) fn part(&mut self, name: &str) -> Result<String, String> {
        let part = self.archive.by_name(name).map_err(|error| match error {
            ZipError::FileNotFound => format!("the package has no part '{name}'"),
            error => format!("part '{name}' cannot be unpacked: {error}"),
        })?;
        let mut bytes = Vec::new();
        part.take(self.limit.saturating_add(1))
            .read_to_end(&mut bytes)
            .map_err(|error| format!("part '{name}' cannot be unpacked: {error}"))?;
        if bytes.len() as u64 > self.limit {
            return Err(format!("part '{name}' unpacks to more than {} bytes", self.limit));
        }
        String::from_utf8(bytes).map_err(|_| format!("part '{name}' is not UTF-8"))
    }
}

/// The name of the part that the package's relationships give as the start part.
fn start_part(relationships: &str) -> Result<String, String> {
    let mut cursor = Cursor::new(relationships, &[RELATIONSHIPS]);
    let root = cursor.root()?;
    if root.space != Space::Known(0) || root.name() != "Relationships" {
        return Err(format!("part '_rels/.rels' begins with <{}>, expected <Relationships>", root.name()));
    }
    let mut start = None;
    cursor.children(&root, |cursor, child| {
        if attribute(&child, "Type")?.as_deref() == Some(START_PART) {
            if attribute(&child, "TargetMode")?.as_deref() == Some("External") {
                return Err("the start part lies outside the package".to_owned());
            }
            let target = attribute(&child, "Target")?.ok_or("the start part's relationship has no Target")?;
            if start.replace(target.trim_start_matches('/').to_owned()).is_some() {
                return Err("the package names more than one start part".to_owned());
            }
        }
        cursor.skip(&child)
    })?;
    start.ok_or_else(|| "part '_rels/.rels' names no 3D model as start part".to_owned())
}
