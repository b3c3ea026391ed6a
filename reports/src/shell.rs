//! What every page has around what it says: mark and icon, the six colours, the policy, the scripts. The template of it is
//! `templates/page.html`, which all others extend.

use std::fmt::Write as _;

use askama::Template;
use turnhue_stages::{Side, Six, Srgb};

use crate::record::Record;
use crate::{colours, pictures, script};

/// What stands around a page.
pub(crate) struct Shell {
    /// The mark, as SVG that goes into the page.
    pub(crate) mark: String,
    /// The mark as the address of the page's icon.
    pub(crate) icon: String,
    /// The colours of the sides, or greys.
    pub(crate) colours: Six<Srgb>,
    /// The scripts that it runs, each as it stands in the page.
    pub(crate) scripts: Vec<String>,
    /// Whether it shows pictures that lie beside it.
    pub(crate) links_pictures: bool,
    /// The paper for which it is made, as CSS names it; any, where there is none.
    pub(crate) paper: Option<&'static str>,
}

impl Shell {
    /// That of a page about a run, in the colours of its piece.
    pub(crate) fn of(record: &Record) -> Result<Self, askama::Error> {
        Self::with(colours::of_sides(record))
    }

    /// That of a page in these colours, or in greys.
    pub(crate) fn with(colours: Option<Six<Srgb>>) -> Result<Self, askama::Error> {
        let colours = colours.unwrap_or(colours::GREYS);
        let mark = Mark { colours }.render()?;
        let icon = pictures::svg_address(&mark);
        Ok(Self { mark, icon, colours, scripts: Vec::new(), links_pictures: false, paper: None })
    }

    /// The same, running one script put together from these parts.
    pub(crate) fn running(mut self, parts: &[&str]) -> Self {
        self.scripts.push(script::inline(&parts.concat()));
        self
    }

    /// The same, for a paper.
    pub(crate) fn on(mut self, paper: Option<&'static str>) -> Self {
        self.paper = paper;
        self
    }

    /// Whether the page runs any script, and so can offer what needs one.
    pub(crate) fn has_script(&self) -> bool {
        !self.scripts.is_empty()
    }

    /// The content security policy (Content Security Policy Level 3): nothing from anywhere, but pictures that are part of the
    /// page or lie beside it, its own style, and just its own scripts by their digests.
    pub(crate) fn policy(&self) -> String {
        let mut policy = "default-src 'none'; img-src data:".to_owned();
        if self.links_pictures {
            policy += " 'self'";
        }
        policy += "; style-src 'unsafe-inline'";
        if self.has_script() {
            policy += "; script-src";
            for script in &self.scripts {
                // Writing to a string cannot fail.
                let _ = write!(policy, " '{}'", script::leave(script));
            }
        }
        policy + "; base-uri 'none'; form-action 'none'"
    }
}

/// The mark: a cube that shows three of the six colours, above the ring on which the other three come round.
#[derive(Template)]
#[template(path = "mark.svg", whitespace = "minimize")]
struct Mark {
    colours: Six<Srgb>,
}
