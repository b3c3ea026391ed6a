//! The lists: what is cut, what is drilled, and what is bought.

use std::fmt::Write as _;

use super::design::{Design, pillar};
use super::panel::{Panel, Purpose, Stuff};
use super::screws::MachineScrew;
use super::settings::{Joint, Settings};

/// A length in mm for lists: to 0.01 mm, without zeros behind.
pub(super) fn mm(mm: f64) -> String {
    let text = format!("{mm:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// The columns of the cut list.
pub(super) const CUT: [&str; 9] = [
    "numbers",
    "panels",
    "count",
    "material",
    "thickness mm",
    "finished mm",
    "cut with kerf mm",
    "sheets",
    "weight of one g",
];

/// The cut list: like panels in a row, and the battens.
pub(super) fn cut(design: &Design, settings: &Settings, sheets: &[usize]) -> Vec<Vec<String>> {
    let alike = |a: &Panel, b: &Panel| {
        a.stuff == b.stuff && a.size == b.size && a.outline == b.outline && a.holes == b.holes && a.marks == b.marks
    };
    let mut rows: Vec<Vec<usize>> = Vec::new();
    for (i, panel) in design.panels.iter().enumerate() {
        match rows.iter_mut().find(|row| alike(&design.panels[row[0]], panel)) {
            Some(row) => row.push(i),
            None => rows.push(vec![i]),
        }
    }
    let kerf = settings.cut.kerf.mm();
    let mut list: Vec<Vec<String>> = rows
        .iter()
        .map(|row| {
            let panel = &design.panels[row[0]];
            let board = settings.stock(panel.stuff);
            let each = |of: &dyn Fn(usize) -> String| {
                let mut all: Vec<String> = row.iter().map(|&i| of(i)).collect();
                all.dedup();
                all.join(", ")
            };
            vec![
                each(&|i| (i + 1).to_string()),
                each(&|i| design.panels[i].name.to_owned()),
                row.len().to_string(),
                board.material.clone(),
                mm(board.thickness.mm()),
                format!("{} × {}", mm(panel.size.x), mm(panel.size.y)),
                format!("{} × {}", mm(panel.size.x + kerf), mm(panel.size.y + kerf)),
                each(&|i| (sheets[i] + 1).to_string()),
                format!("{:.0}", weight(panel, settings)),
            ]
        })
        .collect();
    let (count, long) = design.battens;
    let edge = settings.body.batten.mm();
    list.push(vec![
        String::new(),
        "battens".to_owned(),
        count.to_string(),
        "square wooden strip".to_owned(),
        mm(edge),
        format!("{} × {}", mm(long), mm(edge)),
        format!("{} × {}", mm(long + kerf), mm(edge)),
        "sawn from the strip".to_owned(),
        format!("{:.0}", long * edge * edge * settings.board.density / 1000.0),
    ]);
    list
}

/// Weight of a panel in g.
pub(super) fn weight(panel: &Panel, settings: &Settings) -> f64 {
    let board = settings.stock(panel.stuff);
    panel.area() * board.thickness.mm() * board.density / 1000.0
}

/// Weights of box with battens, and of the cover, in g. The strips that hold the cover's place belong to the box.
pub(super) fn weights(design: &Design, settings: &Settings) -> [f64; 2] {
    let of = |stuff| design.panels.iter().filter(move |p| p.stuff == stuff).map(|p| weight(p, settings)).sum::<f64>();
    let (count, long) = design.battens;
    let battens = count as f64 * long * settings.body.batten.mm().powi(2) * settings.board.density / 1000.0;
    [of(Stuff::Board) + battens, of(Stuff::Clear)]
}

/// The columns of the drilling list.
pub(super) const DRILL: [&str; 8] = [
    "hole",
    "panel",
    "for",
    "from left mm",
    "from below mm",
    "diameter mm",
    "pilot behind it mm",
    "drill-depth stop mm",
];

/// Every hole: its panel as one looks at its outer face, and for wood screws the pilot behind it.
pub(super) fn drill(design: &Design, settings: &Settings) -> Vec<Vec<String>> {
    let [.., pilot] = settings.screws.size.diameters();
    let mut rows = Vec::new();
    for (i, panel) in design.panels.iter().enumerate() {
        for (n, hole) in panel.holes.iter().enumerate() {
            let wood = hole.purpose == Purpose::Wood;
            let behind = if wood { [mm(pilot), mm(stop(settings))] } else { ["".to_owned(), "through".to_owned()] };
            let [pilot, stop] = behind;
            rows.push(vec![
                number(i, n),
                panel.name.to_owned(),
                hole.purpose.words().to_owned(),
                mm(hole.at.x),
                mm(hole.at.y),
                mm(hole.diameter),
                pilot,
                stop,
            ]);
        }
    }
    rows
}

/// What a hole is called: the panel's number and its own.
pub(super) fn number(panel: usize, hole: usize) -> String {
    format!("{}-{}", panel + 1, hole + 1)
}

/// Where the drill's stop is set for the pilots of wood screws, through panel and what is behind it: as deep as the screw
/// reaches.
pub(super) fn stop(settings: &Settings) -> f64 {
    settings.screws.length.mm()
}

/// The columns of the list of what is bought beside sheets and strip.
pub(super) const HARDWARE: [&str; 4] = ["what", "count", "hole mm", "note"];

/// Screws, nuts, spacers and the rest.
pub(super) fn hardware(design: &Design, settings: &Settings) -> Vec<Vec<String>> {
    let row = |what: String, count: usize, hole: String, note: String| vec![what, count.to_string(), hole, note];
    let motor = MachineScrew::of(settings.motor.thread);
    let [_, through, pilot] = settings.screws.size.diameters();
    let wood = design.panels.iter().flat_map(|panel| &panel.holes).filter(|hole| hole.purpose == Purpose::Wood);
    let mut rows = vec![
        row(
            format!("{}, pan head", motor_screw(settings).map_or(motor.name.to_owned(), |l| screw(&motor, l))),
            settings.motor.fixing().len(),
            mm(motor.clearance),
            "through the motor plate into the motor".to_owned(),
        ),
        row(
            format!(
                "{}, countersunk",
                pillar_screw(design, settings).map_or("M4 threaded rod".to_owned(), |l| screw(&pillar(), l))
            ),
            4,
            mm(pillar().clearance),
            "from the top through the spacers and the motor plate; heads flush with the top".to_owned(),
        ),
        row(
            format!("spacer {} mm long for M4", mm(design.spacer)),
            4,
            String::new(),
            "tube, or washers and nuts to that height".to_owned(),
        ),
        row("M4 nut with washer".to_owned(), 4, String::new(), "below the motor plate".to_owned()),
        row(
            settings.screws.name(),
            wood.count(),
            format!("{}, pilot {}", mm(through), mm(pilot)),
            format!("drill-depth stop {} mm", mm(stop(settings))),
        ),
        row(
            "self-adhesive rubber foot".to_owned(),
            4,
            String::new(),
            "under the bottom’s corners: air must get below".to_owned(),
        ),
    ];
    let glue = match settings.body.joint {
        Joint::Finger => "for the fingers and battens",
        Joint::Butt => "for the butted edges and battens",
    };
    rows.push(row("wood glue".to_owned(), 1, String::new(), glue.to_owned()));
    rows.push(row(
        format!("adhesive for {}", settings.cover.sheet.material),
        1,
        String::new(),
        "for the cover; follow its safety data sheet".to_owned(),
    ));
    rows
}

fn screw(of: &MachineScrew, length: f64) -> String {
    format!("{} × {}", of.name, mm(length))
}

/// The length of the screws into the motor: as asked, or the longest usual one that its thread takes.
pub(super) fn motor_screw(settings: &Settings) -> Option<f64> {
    let motor = &settings.motor;
    let asked = motor.screw.map(crate::Length::mm);
    asked.or_else(|| MachineScrew::longest(settings.thickness() + motor.thread_depth.mm()))
}

/// The length of the screws that carry the motor plate: through top, spacer, plate, washer and nut, and two threads out.
pub(super) fn pillar_screw(design: &Design, settings: &Settings) -> Option<f64> {
    /// A washer's thickness and two turns of the thread, in mm (ISO 7089, ISO 261, from memory).
    const BEYOND: f64 = 0.8 + 2.0 * 0.7;
    MachineScrew::shortest(2.0 * settings.thickness() + design.spacer + pillar().nut + BEYOND)
}

/// A list as CSV (RFC 4180). A cell that a table program would take for a formula is led by an apostrophe.
pub(super) fn csv(columns: &[&str], rows: &[Vec<String>]) -> String {
    let mut text = String::new();
    let columns: Vec<String> = columns.iter().map(|&column| column.to_owned()).collect();
    for row in std::iter::once(&columns).chain(rows) {
        for (i, cell) in row.iter().enumerate() {
            let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']) && cell.parse::<f64>().is_err();
            let cell = format!("{}{cell}", if formula { "'" } else { "" });
            let comma = if i > 0 { "," } else { "" };
            let _ = if cell.contains(['"', ',', '\n', '\r']) {
                write!(text, "{comma}\"{}\"", cell.replace('"', "\"\""))
            } else {
                write!(text, "{comma}{cell}")
            };
        }
        text.push_str("\r\n");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_quoted_and_are_no_formulas() {
        let rows = [vec!["a, \"b\"".to_owned(), "=1+1".to_owned(), "-3.5".to_owned()]];
        assert_eq!(csv(&["x", "y", "z"], &rows), "x,y,z\r\n\"a, \"\"b\"\"\",'=1+1,-3.5\r\n");
    }
}
