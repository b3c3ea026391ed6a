//! The page about the model behind a prediction: what it reckons with, what it does not know, and its sources. It is
//! written for makers first, with the formulas after, and stands beside the summary of every run that has a prediction.
//!
//! Like the summary it is one file that opens offline and asks for nothing; its one script is that for day and night.

use askama::Template;
use turnhue_stages::findings::Unit;
use turnhue_stages::print::scores::{Bounds, KEPT, NAMED};

use crate::facts;
use crate::numbers;
use crate::proof;
use crate::record::Record;
use crate::script;
use crate::shell::Shell;
use crate::summary;

/// Draws the page, as HTML; nothing for a run without a prediction.
///
/// # Errors
/// If the page cannot be put together, which no record can cause.
pub fn draw(record: &Record) -> Result<Option<String>, askama::Error> {
    if facts::stage(record, proof::STAGE).is_none() {
        return Ok(None);
    }
    let shell = Shell::of(record)?.running(&[script::THEME]);
    let page = Page { record, shell, figures: figures(record), limits: limits() };
    page.render().map(Some)
}

#[derive(Template)]
#[template(path = "print-model.html", whitespace = "minimize")]
struct Page<'a> {
    record: &'a Record,
    shell: Shell,
    /// Name, value with its range, and basis of each figure with which the prediction reckons.
    figures: Vec<(&'static str, String, &'a str)>,
    /// Each limit of the verdict: the score, from where it holds, and below what it fails.
    limits: [(&'static str, String, String); 2],
}

fn limits() -> [(&'static str, String, String); 2] {
    let percent = |share: f64| numbers::quantity(libm::round(share * 100.0), Some(Unit::Percent));
    let limit = |name, bounds: Bounds| (name, percent(bounds.holds), percent(bounds.fails));
    [limit("Named right, the worst side", NAMED), limit("Separation kept, the worst neighbours", KEPT)]
}

/// The figures of the process with which a prediction reckons; of those left out, what is taken in their place.
fn figures(record: &Record) -> Vec<(&'static str, String, &str)> {
    const LEFT_OUT: &str = "not in the process file";
    let process = &record.process;
    let mut figures: Vec<_> =
        [("Bleed σ", &process.bleed), ("Edge radius r", &process.edge_radius), ("Layer", &process.layer)]
            .map(|(name, figure)| (name, summary::length(figure), figure.basis.as_str()))
            .into();
    figures.push(match &process.base {
        Some(base) => ("Bare material", base.value.to_string(), base.basis.as_str()),
        None => ("Bare material", "white".to_owned(), LEFT_OUT),
    });
    figures.push(match (&process.profile, &process.gamut) {
        (Some(profile), _) => ("Printable colours", format!("ICC profile {}", profile.value.name()), &profile.basis),
        (None, Some(gamut)) => {
            let patches = i64::try_from(gamut.value.len()).unwrap_or(i64::MAX);
            let between = format!("between {} measured patches", numbers::whole(patches));
            ("Printable colours", between, &gamut.basis)
        }
        (None, None) => ("Printable colours", "all".to_owned(), LEFT_OUT),
    });
    figures
}
