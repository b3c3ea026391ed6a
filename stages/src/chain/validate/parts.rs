//! The parts of a divided piece, each measured on its own file against what it should be, and what they come to together.
//!
//! Facts that are told of a whole piece are told of all parts together under the same names: sums, the least of what is a
//! least, and what the parts measure where they lie, put together. A finding says of which part it is.

use glam::DVec3;

use super::intent::Intent;
use super::mass::Mass;
use super::mesh::Mesh;
use super::said::Said;
use super::{Settings, measure, read_back, standing, unreadable};
use crate::Length;
use crate::division::Segment;
use crate::findings::{Fact, Finding, Unit, Value};
use crate::stage::{Halt, Shop};
use crate::workpiece::OrderedFile;

/// What the parts come to by adding it up,
const SUMS: [&str; 11] = [
    "triangles",
    "file size",
    "open edges",
    "touching edges",
    "touching points",
    "sealed cavities",
    "sealed volume",
    "volume",
    "surface area",
    "weight",
    "triangles without a colour",
];
/// and by the least of them,
const LEAST: [&str; 5] =
    ["narrowest opening", "thinnest wall", "wall asked for", "thinnest part", "least share in the side's own colour"];
/// and what each has to say for itself.
const OWN: [&str; 1] = ["fits the build volume"];

/// Measures every part, and tells of all.
pub(super) fn check(
    settings: &Settings,
    segments: &[Segment],
    orders: &[OrderedFile],
    shop: &mut Shop<'_>,
) -> Result<(), Halt> {
    if orders.len() != segments.len() {
        shop.finding(Finding::fault(
            "files-missing",
            format!("the piece has {} parts, and there are {} files to order", segments.len(), orders.len()),
            "make the files again with `split`",
        ));
        return Ok(());
    }
    let mut whole = Mesh { points: Vec::new(), triangles: Vec::new() };
    let mut parts: Vec<Said> = Vec::with_capacity(segments.len());
    for (segment, order) in segments.iter().zip(orders) {
        let mut said = Said::default();
        match read_back(&order.path, shop.recall()) {
            Ok((file, bytes)) => {
                let wall = settings.wall.map(Length::mm);
                let bare = shop.process().bare();
                let intent = Intent::new(segment.cells().grid(), segment.paint(), segment.void(), wall, bare);
                let intent = intent.of_part(&segment.pegs);
                said = measure(&file, bytes, &intent, shop.process(), shop.recall());
                add(&mut whole, &file.mesh);
            }
            Err(message) => said.findings.push(unreadable(&order.name, &message)),
        }
        parts.push(said);
        shop.go_on()?;
    }
    together(&parts, &whole).tell(shop);
    Ok(())
}

fn add(whole: &mut Mesh, part: &Mesh) {
    let first = whole.points.len() as u32;
    whole.points.extend_from_slice(&part.points);
    whole.triangles.extend(part.triangles.iter().map(|triangle| triangle.map(|point| point + first)));
}

/// What is told of the piece.
fn together(parts: &[Said], whole: &Mesh) -> Said {
    let mut said = Said::default();
    for name in SUMS {
        said.facts.extend(combined(parts, name, |a, b| a + b));
    }
    for name in LEAST {
        said.facts.extend(combined(parts, name, f64::min));
    }
    for name in OWN {
        said.facts.push(Fact::text(name, own(parts, name)));
    }
    said.facts.push(table(parts));
    if !whole.triangles.is_empty() {
        let mass = Mass::of(whole);
        said.facts.push(Fact::triple("size", mass.high - mass.low, Unit::Mm));
        said.facts.push(Fact::triple("centre of mass", mass.centre, Unit::Mm));
        standing::check(whole, &mass, &mut said);
    }
    for (number, part) in (1..).zip(parts) {
        let named =
            |finding: &Finding| Finding { message: format!("part {number}: {}", finding.message), ..finding.clone() };
        said.add_findings(part, named);
    }
    said
}

/// A number that parts have said, of all of them; nothing where none has.
fn combined(parts: &[Said], name: &str, combine: impl Fn(f64, f64) -> f64) -> Option<Fact> {
    let facts = parts.iter().filter_map(|part| part.facts.iter().find(|fact| fact.name == name));
    facts.cloned().reduce(|fact, other| Fact {
        value: match (&fact.value, &other.value) {
            (Value::Whole(a), Value::Whole(b)) => Value::Whole(combine(*a as f64, *b as f64) as i64),
            (Value::Number(a), Value::Number(b)) => Value::Number(combine(*a, *b)),
            _ => fact.value.clone(),
        },
        ..fact
    })
}

fn own(parts: &[Said], name: &str) -> String {
    let words = (1..).zip(parts).map(|(number, part)| format!("part {number} {}", text(part, name)));
    words.collect::<Vec<_>>().join("; ")
}

/// A fact of a part in words.
fn text(part: &Said, name: &str) -> String {
    let value = part.facts.iter().find(|fact| fact.name == name).map(|fact| &fact.value);
    match value {
        Some(Value::Text(words)) => words.clone(),
        Some(Value::Whole(number)) => number.to_string(),
        Some(Value::Number(number)) => format!("{number:.2}"),
        Some(Value::Triple(size)) => {
            let size = DVec3::from_array(*size);
            format!("{:.1} × {:.1} × {:.1}", size.x, size.y, size.z)
        }
        _ => "no".to_owned(),
    }
}

fn table(parts: &[Said]) -> Fact {
    let columns = ["size", "volume", "weight", "triangles", "pins", "sockets", "thinnest wall", "thinnest part"];
    let row = |(number, part): (usize, &Said)| {
        let value = |name: &&str| {
            if part.facts.iter().any(|fact| fact.name == **name) { text(part, name) } else { String::new() }
        };
        std::iter::once(number.to_string()).chain(columns.iter().map(value)).collect()
    };
    let headings = [
        "part",
        "size, mm",
        "volume, cm³",
        "weight, g",
        "triangles",
        "pins",
        "sockets",
        "thinnest wall, mm",
        "thinnest part, mm",
    ];
    Fact::table("parts measured", &headings, (1..).zip(parts).map(row).collect())
}
