//! The page as HTML: one file that opens offline.

use askama::Template;

use super::changes::Became;
use super::standing::{self, Next, Standing};
use super::told::{self, Story, View};
use super::{Commission, Files};
use crate::answers::Answer;
use crate::night::{Figure, Made};
use crate::record::Record;
use crate::shell::Shell;
use crate::views::{self, CornerView};
use crate::{address, colours, facts, numbers, said, script};

/// So many things that are not as recorded stand on the page.
const MOST_AMISS: usize = 40;

pub(super) fn draw(commission: &Commission, files: Files<'_>) -> Result<String, askama::Error> {
    let standing = Standing::of(commission);
    let lead = standing.run.and_then(|run| told::read(run, files));
    let shell = Shell::with(lead.as_ref().and_then(colours::of_sides))?.running(&[script::THEME]);
    let next = standing.next(commission);
    let page = Page {
        commission,
        shell,
        title: lead.as_ref().map_or(&commission.name, |lead| &lead.title),
        lead: standing.run.map(|run| (run, format!("{}/summary.html", address::part(run)))),
        what: lead.as_ref().map(what).unwrap_or_default(),
        corners: lead.as_ref().map(|lead| views::corners(lead, &|name| files(&lead.run, name))).unwrap_or_default(),
        standing: &standing,
        record: standing::record(commission),
        next,
        story: told::story(commission, files),
    };
    page.render()
}

#[derive(Template)]
#[template(path = "commission.html", whitespace = "minimize")]
struct Page<'a> {
    commission: &'a Commission,
    shell: Shell,
    title: &'a str,
    /// The run that the commission has come to, and where its summary lies.
    lead: Option<(&'a str, String)>,
    what: Vec<(&'static str, String)>,
    corners: Vec<CornerView>,
    standing: &'a Standing<'a>,
    record: Answer,
    next: Option<Next>,
    story: Story<'a>,
}

impl Page<'_> {
    fn stands(&self) -> &Answer {
        self.standing.answer()
    }

    /// The commission as commands name it.
    fn whole(&self) -> String {
        standing::whole(self.commission)
    }

    /// How many things more are not as recorded than stand on the page.
    fn more_amiss(&self) -> usize {
        self.commission.checked.amiss.len().saturating_sub(MOST_AMISS)
    }

    /// A fragment as a sentence. A file's name at its beginning stays as it is.
    fn sentence(words: &str) -> String {
        let is_name = words.split(' ').next().is_some_and(|first| first.contains(['/', '.']));
        if is_name { format!("{words}.") } else { said::sentence(words) }
    }

    /// A count, its digits in groups.
    fn number(count: usize) -> String {
        numbers::tidy(&count.to_string())
    }
}

/// What the piece is, in figures.
fn what(record: &Record) -> Vec<(&'static str, String)> {
    let made = Made::of(record);
    let size = record.stages.iter().rev().find_map(|stage| facts::fact(stage, "size")).map(said::value);
    let figure = |figure| made.said(figure).map(|text| numbers::tidy(&text));
    let asked = [
        ("Width × depth × height", size),
        ("Cubes", figure(Figure::Cells)),
        ("Weight", figure(Figure::Weight)),
        ("Price, reckoned", figure(Figure::Price)),
    ];
    asked.into_iter().filter_map(|(label, value)| Some((label, value?))).collect()
}
