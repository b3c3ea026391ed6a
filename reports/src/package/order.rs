//! The order sheet: what the bureau prints, and what whoever ordered it looks for when it comes.

use askama::Template;
use turnhue_stages::findings::Severity;

use super::arrival::{self, Check};
use super::colours::{self, Patch};
use super::handling::{self, Step};
use super::packing::Packing;
use super::{Ordered, PackageRequest, Undrawn, counted, fact, table, value};
use crate::answers::COST_STAGE;
use crate::facts;
use crate::numbers;
use crate::record::Record;
use crate::said::{self, Table, Told};
use crate::shell::Shell;
use crate::summary;
use crate::views::{self, CornerView, Pictures, Shot, SideView};

/// How many places of one caution are listed.
const MOST_PLACES: usize = 6;

#[derive(Template)]
#[template(path = "order-sheet.html", whitespace = "minimize")]
struct Page<'a> {
    record: &'a Record,
    shell: Shell,
    request: PackageRequest,
    files: &'a [Ordered<'a>],
    measured: Option<String>,
    /// What is to be printed: name, and value or a line to fill in.
    what: Vec<(&'static str, Option<String>)>,
    corners: Vec<CornerView>,
    sides: Vec<SideView>,
    patches: Vec<Patch>,
    predicted: bool,
    process: Vec<(&'static str, String, &'a str)>,
    cautions: Vec<Told<'a>>,
    steps: Vec<Step>,
    packing: Packing,
    price: Option<Price>,
    checks: Vec<Check>,
}

/// The price that was reckoned.
struct Price {
    /// Name and value.
    lines: Vec<(&'static str, String)>,
    /// How it comes about, where it is told for this number of copies.
    parts: Option<Table>,
    /// Why the number of copies is another.
    other: Option<String>,
    /// Where the figures are from.
    basis: Option<String>,
}

pub(super) fn draw(record: &Record, ordered: &[Ordered<'_>], pictures: Pictures<'_>) -> Result<String, Undrawn> {
    let request = record.package.clone().unwrap_or_default();
    let told = crate::colours::of_sides(record);
    let page = Page {
        shell: Shell::of(record)?.on(request.paper.map(super::Paper::word)),
        files: ordered,
        measured: measured(record),
        what: what(record, &request),
        corners: views::corners(record, pictures),
        sides: views::sides(record, told, pictures),
        patches: colours::patches(record),
        predicted: colours::is_predicted(record),
        process: summary::process_rows(record),
        cautions: cautions(record),
        steps: handling::steps(record.process.family, arrival::is_hollow(record)),
        packing: Packing::of(record, pictures),
        price: Price::of(record, &request),
        checks: arrival::checks(record),
        request,
        record,
    };
    Ok(page.render()?)
}

impl Page<'_> {
    /// Whether any of the sides has a picture.
    fn has_pictures(&self) -> bool {
        self.sides.iter().any(|view| !matches!(view.shot, Shot::None))
    }
}

/// What a bureau that looks into the file will find.
fn measured(record: &Record) -> Option<String> {
    let whole = |name: &str| match fact(record, name)?.value {
        turnhue_stages::findings::Value::Whole(count) => Some(count),
        _ => None,
    };
    let (bodies, open) = (whole("bodies")?, whole("open edges")?);
    let bodies = counted(usize::try_from(bodies).unwrap_or(0), "closed body", "closed bodies");
    let triangles = value(record, "triangles").map_or_else(String::new, |triangles| format!(", {triangles}"));
    (open == 0).then(|| format!("{bodies}{triangles}, no open edge"))
}

/// What is to be printed, line by line.
fn what(record: &Record, request: &PackageRequest) -> Vec<(&'static str, Option<String>)> {
    let known = |name: &'static str, fact: &str| value(record, fact).map(|value| (name, Some(value)));
    let layer = summary::length(&record.process.layer);
    let mut lines = vec![
        ("Copies", request.copies.map(|copies| numbers::whole(copies.into()))),
        ("Process", Some(format!("{} (ISO/ASTM 52900)", record.process.family.name()))),
        ("Material and machine", Some(format!("{}, layers of {layer}", record.process.name))),
    ];
    lines.extend(known("Width × depth × height", "size"));
    lines.extend(known("Cell: the edge of a cube", "cell"));
    lines.extend(known("Cubes", "cells after repair").or_else(|| known("Cubes", "cells")));
    lines.extend(known("Wall, as ordered", "wall"));
    lines.extend(known("Thinnest wall, as measured", "thinnest wall"));
    lines.extend(openings(record).map(|openings| ("Openings", Some(openings))));
    lines.extend(known("Material in the piece", "volume").or_else(|| known("Material in the piece", "material")));
    lines.extend(known("Weight", "weight"));
    lines.extend(known("Bare bands between colours", "guard width").map(|(name, width)| {
        let on = value(record, "guard on").map_or_else(String::new, |on| format!(", on {on}"));
        (name, width.map(|width| format!("{width} wide{on}: they are meant, do not fill them")))
    }));
    lines.push(("Finishing", finishing(record, request)));
    lines
}

/// The openings with their sides and clear widths.
fn openings(record: &Record) -> Option<String> {
    let grid = table(record, "openings")?;
    let opening = |row: &'_ Vec<String>| {
        Some(format!(
            "{}: {} clear",
            grid.text(row, "side")?,
            numbers::millimetres(&[grid.number(row, "clear width")?])
        ))
    };
    let openings: Vec<String> = grid.rows.iter().filter_map(opening).collect();
    (!openings.is_empty()).then(|| openings.join("; "))
}

/// What is done to the print: as the sheet is told, or as the price was reckoned for.
fn finishing(record: &Record, request: &PackageRequest) -> Option<String> {
    let reckoned = || -> Option<Vec<String>> {
        let (_, stage) = facts::stage(record, COST_STAGE)?;
        let names = stage.settings.get("finishing")?.as_array()?;
        Some(names.iter().filter_map(|name| name.as_str().map(str::to_owned)).collect())
    };
    let names = request.finishing.clone().or_else(reckoned)?;
    Some(if names.is_empty() { "none".to_owned() } else { names.join(", ") })
}

/// What a bureau should know before it prints.
fn cautions(record: &Record) -> Vec<Told<'_>> {
    let stages = (1..).zip(&record.stages);
    let told = stages.flat_map(|(number, stage)| Told::all(number, stage, MOST_PLACES));
    told.filter(|told| told.finding.severity == Severity::Caution).collect()
}

impl Price {
    fn of(record: &Record, request: &PackageRequest) -> Option<Self> {
        let (_, stage) = facts::stage(record, COST_STAGE)?;
        let grid = facts::table(stage, "cost by copies");
        let first = grid.and_then(|grid| grid.rows.first()).and_then(|row| row.first()?.parse::<u32>().ok());
        let wanted = request.copies.or(first);
        let row = grid.zip(wanted).and_then(|(grid, wanted)| Some((grid, grid.row(&wanted.to_string())?)));
        let is_first = wanted == first;
        let mut lines = Vec::new();
        if let Some((grid, row)) = row {
            lines.extend(grid.headings().iter().zip(row).filter_map(|(heading, text)| {
                let (name, unit) = heading
                    .split_once(" (")
                    .map_or((heading.as_str(), ""), |(name, unit)| (name, unit.trim_end_matches(')')));
                let label = match name {
                    "copies" => "Copies",
                    "total" => "Price expected, all in",
                    "each" => "For each copy",
                    "working days" => "Lead time",
                    _ => return None,
                };
                let text = match (name, unit) {
                    ("working days", _) => format!("{} working days", numbers::tidy(text)),
                    (_, "") => numbers::tidy(text),
                    (_, currency) => numbers::money(text, currency),
                };
                Some((label, text))
            }));
        } else {
            let said = |label, name: &str| facts::fact(stage, name).map(|fact| (label, said::value(fact)));
            lines.extend(said("Price expected, all in", "price"));
            lines.extend(said("Lead time", "lead time"));
        }
        let other = request.copies.filter(|_| row.is_none()).map(|copies| {
            let reckoned = first.map_or_else(String::new, |first| format!(" for {}", counted(first as usize, "copy", "copies")));
            format!(
                "This was reckoned{reckoned}; {} are ordered. Ask for a price, or name the number under `copies` of `estimate`.",
                numbers::whole(copies.into())
            )
        });
        let parts = facts::fact(stage, "parts of the price").filter(|_| is_first).and_then(Table::of_fact);
        let basis = facts::words(stage, "rates").map(str::to_owned);
        (!lines.is_empty()).then_some(Self { lines, parts, other, basis })
    }
}
