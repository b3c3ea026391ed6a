//! The pages of a run, drawn from its record and the pictures in its folder. Results never depend on them.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use turnhue_reports::record::Record;
use turnhue_reports::{print_model, summary};

use crate::{input, shelf};

/// The summary's file name in the run folder.
pub const SUMMARY: &str = "summary.html";

/// The file name of the page about the model behind a prediction, to which the summary links.
pub const PRINT_MODEL: &str = "print-model.html";

/// Largest picture that a page takes in, in bytes: 64 MiB.
const LARGEST_PICTURE: u64 = 64 << 20;

/// A page that was drawn.
pub(crate) struct Page {
    /// Its file name in the run folder.
    pub(crate) name: &'static str,
    /// It, as HTML.
    pub(crate) html: String,
}

/// Draws the pages of a run whose artefacts lie in `folder`, the summary last: once it stands, so does what it links to. A
/// page that cannot be drawn is a message, not a failure of the run: not even a defect in the drawing is.
pub(crate) fn draw(record: &Record, folder: &Path) -> Result<Vec<Page>, String> {
    let picture = |name: &str| input::read(&folder.join(name), LARGEST_PICTURE).ok();
    let draw = || {
        let model = print_model::draw(record)?.map(|html| Page { name: PRINT_MODEL, html });
        let summary = Page { name: SUMMARY, html: summary::draw(record, &picture)? };
        Ok(model.into_iter().chain([summary]).collect())
    };
    catch_unwind(AssertUnwindSafe(draw))
        .map_err(|_| "a defect in the drawing of the page".to_owned())?
        .map_err(|error: Box<dyn std::error::Error>| error.to_string())
}

/// Draws the pages of an old run anew, and gives their names, that of the summary last. Each old page stays until the new
/// one is whole.
///
/// # Errors
/// Why a page could not be drawn or written.
pub(crate) fn redraw(record: &Record, folder: &Path) -> Result<Vec<&'static str>, String> {
    let pages = draw(record, folder)?;
    for page in &pages {
        let target = folder.join(page.name);
        let written = shelf::replace(&target, page.html.as_bytes());
        written.map_err(|error| format!("could not write {}: {error}", target.display()))?;
    }
    Ok(pages.iter().map(|page| page.name).collect())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use serde_json::json;
    use turnhue_reports::record;

    use super::*;

    /// The record of a run, with or without a prediction.
    fn record(predicted: bool) -> Record {
        let old = concat!(env!("CARGO_MANIFEST_DIR"), "/reports/tests/records/form-1.json");
        let mut record = record::read(Path::new(old)).unwrap();
        let proof = json!({
            "name": "proof", "version": 1, "settings": {}, "needs": [], "gives": [], "seconds": 1.0,
            "facts": [{ "name": "effect", "value": { "text": "holds" } }], "findings": [], "artefacts": [],
        });
        record.stages.extend(predicted.then(|| serde_json::from_value(proof).unwrap()));
        record
    }

    #[test]
    fn a_prediction_has_a_page_about_its_model_beside_the_summary() {
        let folder = tempfile::tempdir().unwrap();
        let drawn = |record: &Record| -> Vec<&str> {
            draw(record, folder.path()).unwrap().iter().map(|page| page.name).collect()
        };
        assert_eq!(drawn(&record(false)), [SUMMARY]);
        assert_eq!(drawn(&record(true)), [PRINT_MODEL, SUMMARY]);
        assert_eq!(redraw(&record(true), folder.path()).unwrap(), [PRINT_MODEL, SUMMARY]);
        let page = std::fs::read_to_string(folder.path().join(SUMMARY)).unwrap();
        assert!(page.contains(&format!("href=\"{PRINT_MODEL}\"")));
        let model = std::fs::read_to_string(folder.path().join(PRINT_MODEL)).unwrap();
        assert!(model.contains(&format!("href=\"{SUMMARY}\"")));
    }
}
