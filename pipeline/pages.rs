//! The pages of a run, drawn from its record and the pictures in its folder. Results never depend on them.

use std::io::Write as _;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use turnhue_reports::record::Record;
use turnhue_reports::summary;

use crate::input;

/// The summary's file name in the run folder.
pub const SUMMARY: &str = "summary.html";

/// Largest picture that a page takes in, in bytes: 64 MiB.
const LARGEST_PICTURE: u64 = 64 << 20;

/// Draws the summary page of a run whose artefacts lie in `folder`. A page that cannot be drawn is a message, not a
/// failure of the run: not even a defect in the drawing is.
pub(crate) fn summary(record: &Record, folder: &Path) -> Result<String, String> {
    let picture = |name: &str| input::read(&folder.join(name), LARGEST_PICTURE).ok();
    catch_unwind(AssertUnwindSafe(|| summary::draw(record, &picture)))
        .map_err(|_| "a defect in the drawing of the page".to_owned())?
        .map_err(|error| error.to_string())
}

/// Draws the pages of an old run anew. The old page stays until the new one is whole.
///
/// # Errors
/// Why the page could not be drawn or written.
pub(crate) fn redraw(record: &Record, folder: &Path) -> Result<PathBuf, String> {
    let target = folder.join(SUMMARY);
    let failed = |error: &dyn std::fmt::Display| format!("could not write {}: {error}", target.display());
    let page = summary(record, folder)?;
    let mut builder = tempfile::Builder::new();
    builder.prefix(".summary");
    // Left to itself, a temporary file is for its owner alone; this one is for whoever may read the folder.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file = builder.tempfile_in(folder).map_err(|error| failed(&error))?;
    file.write_all(page.as_bytes()).and_then(|()| file.as_file().sync_all()).map_err(|error| failed(&error))?;
    file.persist(&target).map_err(|error| failed(&error.error))?;
    Ok(target)
}
