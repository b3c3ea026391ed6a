//! What the piece is like inside: the section through its first opening, and the figures of walls, cavity and openings.

use crate::facts;
use crate::numbers;
use crate::pictures::Picture;
use crate::record::{Record, StageRecord};
use crate::said;
use crate::views::Pictures;

/// The stage that takes out the inside, and what its drawing is called; a chain that hollows twice numbers the second.
const HOLLOWS: &str = "hollow";
const SECTION: [&str; 2] = ["hollow-section", ".svg"];

/// What the page shows of it.
pub(crate) struct Inside {
    /// The place in the chain, from 1, of the stage that took it out.
    pub(crate) number: usize,
    /// The section.
    pub(crate) section: Picture,
    /// Figures, with their units.
    pub(crate) figures: Vec<(String, String)>,
}

impl Inside {
    /// What the stages of a run say of the inside; nothing if none drew it.
    pub(crate) fn of(record: &Record, pictures: Pictures<'_>) -> Option<Self> {
        let (number, stage) = facts::stage(record, HOLLOWS)?;
        let [begins, ends] = SECTION;
        let is_section = |name: &str| name.starts_with(begins) && name.ends_with(ends);
        let drawn = stage.artefacts.iter().find(|file| is_section(&file.name))?;
        let section = Picture::of_drawing(&pictures(&drawn.name)?)?;
        Some(Self { number, section, figures: figures(record, stage) })
    }
}

fn figures(record: &Record, hollowed: &StageRecord) -> Vec<(String, String)> {
    let measured = facts::stage(record, "validate").map(|(_, stage)| stage);
    let asked = [
        ("Wall asked for", Some(hollowed), "wall"),
        ("Thinnest wall, measured in space", measured, "thinnest wall"),
        ("Narrowest opening, measured", measured, "narrowest opening"),
        ("Cavity", Some(hollowed), "void"),
        ("Left solid, as nothing could leave it", Some(hollowed), "pockets left solid"),
    ];
    let said = |(label, stage, name): (&str, Option<&StageRecord>, &str)| {
        Some((label.to_owned(), said::value(facts::fact(stage?, name)?)))
    };
    asked.into_iter().filter_map(said).chain(openings(hollowed)).collect()
}

/// Each opening: its side and its clear width.
fn openings(hollowed: &StageRecord) -> Vec<(String, String)> {
    let Some(table) = facts::table(hollowed, "openings") else { return Vec::new() };
    let row = |row: &Vec<String>| {
        let (side, width) = (row.first()?, table.number(row, "clear width")?);
        Some((format!("Opening in the {side}"), numbers::millimetres(&[width])))
    };
    table.rows.iter().filter_map(row).collect()
}
