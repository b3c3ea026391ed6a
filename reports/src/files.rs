//! The files of a run on its page: what goes to the bureau first, then what each stage gave.

use crate::numbers;
use crate::record::{File, Record};

/// What one stage gave.
pub(crate) struct Group<'a> {
    /// Where the files are from.
    pub(crate) from: String,
    /// The files.
    pub(crate) files: Vec<&'a File>,
}

/// The files to order.
pub(crate) fn to_order(record: &Record) -> Vec<&File> {
    crate::package::ordered_files(record)
}

/// Every other file, by the stage that gave it.
pub(crate) fn groups(record: &Record) -> Vec<Group<'_>> {
    let is_other = |file: &&File| !record.orders().any(|order| *order == file.name);
    let stages = record.stages.iter().map(|stage| (format!("From {}", stage.name), &stage.artefacts));
    let advice = record.advice.iter().map(|advice| ("From comparing sizes of the cell".to_owned(), &advice.files));
    stages
        .chain(advice)
        .map(|(from, files)| Group { from, files: files.iter().filter(is_other).collect() })
        .filter(|group| !group.files.is_empty())
        .collect()
}

impl Group<'_> {
    /// How many files they are, and their size.
    pub(crate) fn extent(&self) -> String {
        let count = self.files.len();
        let bytes = self.files.iter().map(|file| file.bytes).fold(0, u64::saturating_add);
        format!("{count} {}, {}", if count == 1 { "file" } else { "files" }, numbers::bytes(bytes))
    }
}
