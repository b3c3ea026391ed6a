//! `coupon`: a small plaque to print before the piece, from which the maker reads how far colours run, at what gap parts
//! slide, and how thin a wall may be.
//!
//! Four rows (`layout`): patches of steps in cells of falling size in the job's colours; lines of falling width of one
//! colour in its neighbour's; fins; slots for a key that is printed along. The reading sheet (`sheet`) says how to look.
//! What follows from the reading is reckoned in [`reading`]. The piece itself goes through unchanged.

mod blocks;
mod digits;
mod ladders;
mod layout;
pub mod reading;
mod sheet;

#[cfg(test)]
mod tests;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::findings::{Fact, Finding, Unit};
use crate::formats::picture::{self, View};
use crate::formats::{ColouredMesh, stl, threemf};
use crate::outlook::Outlook;
use crate::process::Process;
use crate::solid::rectangles::Sewn;
use crate::stage::{Halt, Misfit, Shop, Stage};
use crate::workpiece::{Part, Workpiece};
use crate::{Length, Side, Six, Srgb};
use blocks::Ink;
use layout::Layout;
use reading::{Ladders, Row};

/// See the module's documentation.
pub struct Coupon;

/// The colour of the numbers: a black that any process prints.
const TEXT: Srgb = Srgb([0x22, 0x22, 0x22]);
/// The most sizes in a row: their numbers have one digit.
const MOST: usize = 9;
/// The sizes in mm that settings may ask for, from and to.
const SIZES: [f64; 2] = [0.05, 12.0];
/// Edge of the pictures, in pixels.
const PICTURE: u32 = 960;
/// Bytes while the plaque is made and drawn: the cells between some 300 lines along each of x and y and 150 along z, and the pictures.
const WORKING: f64 = 64e6;

/// Settings of `coupon`. What is left out is chosen around what the process file expects.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// Edges of the cells of the patches, falling, in mm. Default: eight, around the cell that should just read at the
    /// process's `bleed`.
    pub cells: Option<Vec<Length>>,
    /// Widths of the lines, falling, in mm. Default: eight, around the line that should just read at the process's `bleed`.
    pub lines: Option<Vec<Length>>,
    /// Gaps on each side of the key, rising, in mm. Default: eight, in steps of a third of the process's `tolerance`.
    pub gaps: Option<Vec<Length>>,
    /// Thicknesses of the fins, falling, in mm. Default: eight, from 1.5 times the process's `minimum_wall` down to a third.
    pub walls: Option<Vec<Length>>,
    /// Thickness of the plate, in mm; at least the process's `minimum_wall` is taken.
    pub thickness: Length,
}

impl Default for Settings {
    fn default() -> Self {
        Self { cells: None, lines: None, gaps: None, walls: None, thickness: Length::from_mm(4.0) }
    }
}

impl Settings {
    fn ladders(&self, process: &Process) -> Ladders {
        let usual = ladders::of_process(process);
        let chosen = |asked: &Option<Vec<Length>>, usual: Vec<f64>| {
            asked.as_ref().map_or(usual, |sizes| sizes.iter().map(|size| micrometres(*size)).collect())
        };
        Ladders {
            cells: chosen(&self.cells, usual.cells),
            lines: chosen(&self.lines, usual.lines),
            gaps: chosen(&self.gaps, usual.gaps),
            walls: chosen(&self.walls, usual.walls),
        }
    }
}

/// A length in mm, to the whole micrometre to which the plaque is drawn.
fn micrometres(length: Length) -> f64 {
    (length.mm() * 1000.0).round() / 1000.0
}

impl Stage for Coupon {
    type Settings = Settings;

    const NAME: &'static str = "coupon";
    const PURPOSE: &'static str = "makes a small test plaque in the job's colours, to print before the piece";
    const VERSION: u32 = 3;
    const NEEDS: &'static [Part] = &[Part::Paint];
    const GIVES: &'static [Part] = &[];

    fn outlook(_: &Settings, before: Outlook) -> Outlook {
        before.after(WORKING, 0.0)
    }

    fn check(settings: &Settings, _: &Shop<'_>) -> Result<(), Misfit> {
        check_row("cells", settings.cells.as_deref(), false)?;
        check_row("lines", settings.lines.as_deref(), false)?;
        check_row("gaps", settings.gaps.as_deref(), true)?;
        check_row("walls", settings.walls.as_deref(), false)?;
        if (1.0..=SIZES[1]).contains(&settings.thickness.mm()) {
            return Ok(());
        }
        Err(Misfit::new(
            "thickness",
            format!("the plate must be 1 to {} mm thick, not {}", SIZES[1], settings.thickness),
            "leave it out for 4 mm",
        ))
    }

    fn run(settings: &Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let sides = piece.paint().expect("the plan saw to it").sides;
        let ladders = settings.ladders(shop.process());
        let thickness = settings.thickness.mm().max(shop.process().minimum_wall.value.mm());
        let layout = layout::lay_out(&ladders, shop.process(), (thickness * 1000.0).round() as i32);
        let meshed = layout.solid.mesh();
        shop.go_on()?;
        let inks = Inks::new(sides, shop.process());
        say(shop, &ladders, &layout, &meshed);
        write(shop, &ladders, &layout, &meshed, &inks)?;
        Ok(piece)
    }
}

fn check_row(setting: &str, sizes: Option<&[Length]>, rising: bool) -> Result<(), Misfit> {
    let Some(sizes) = sizes else { return Ok(()) };
    let (word, example) =
        if rising { ("rising", "[0.1 mm, 0.2 mm, 0.3 mm]") } else { ("falling", "[3 mm, 2 mm, 1.5 mm]") };
    let wrong = |message: String| {
        Err(Misfit::new(setting, message, format!("write {word} sizes, such as {example}, or leave it out")))
    };
    if !(2..=MOST).contains(&sizes.len()) {
        return wrong(format!("a row has 2 to {MOST} sizes, not {}", sizes.len()));
    }
    if let Some(size) = sizes.iter().find(|size| !(SIZES[0]..=SIZES[1]).contains(&size.mm())) {
        return wrong(format!("sizes lie between {} and {} mm, but one is {size}", SIZES[0], SIZES[1]));
    }
    let ordered = |pair: &[Length]| {
        let [a, b] = [micrometres(pair[0]), micrometres(pair[1])];
        if rising { a < b } else { a > b }
    };
    match sizes.windows(2).find(|pair| !ordered(pair)) {
        Some(pair) => wrong(format!("sizes must be {word}, but {} comes before {}", pair[0], pair[1])),
        None => Ok(()),
    }
}

/// The colours of the plaque.
struct Inks {
    sides: Six<Srgb>,
    bare: Srgb,
    colours: Vec<Srgb>,
}

impl Inks {
    fn new(sides: Six<Srgb>, process: &Process) -> Self {
        let bare = process.bare();
        let mut colours: Vec<Srgb> = sides.0.into_iter().chain([bare, TEXT]).collect();
        colours.sort_unstable();
        colours.dedup();
        Self { sides, bare, colours }
    }

    fn colour(&self, ink: Ink) -> Srgb {
        match ink {
            Ink::Bare => self.bare,
            Ink::Side(side) => self.sides[side],
            Ink::Text => TEXT,
        }
    }

    fn of(&self, meshed: &Sewn<Ink>) -> Vec<u32> {
        let place = |ink: &Ink| self.colours.partition_point(|&c| c < self.colour(*ink)) as u32;
        meshed.ink.iter().map(place).collect()
    }
}

/// A length for messages and the sheet: to the micrometre, without zeros behind.
fn mm(mm: f64) -> f64 {
    (mm * 1000.0).round() / 1000.0
}

fn say(shop: &mut Shop<'_>, ladders: &Ladders, layout: &Layout, meshed: &Sewn<Ink>) {
    let [low, high] = layout.solid.bounds();
    let (size, volume) = (high - low, layout.solid.volume());
    let weight = volume / 1000.0 * shop.process().density.value;
    shop.fact(Fact::triple("coupon size", size, Unit::Mm));
    shop.fact(Fact::number("coupon volume", volume / 1000.0, Unit::Cm3));
    shop.fact(Fact::number("coupon weight", weight, Unit::Gram));
    shop.fact(Fact::whole("coupon triangles", meshed.triangles.len(), Unit::Triangles));
    shop.fact(Fact::number("coupon key", f64::from(layout.key) / 1000.0, Unit::Mm));
    ladders.facts().into_iter().for_each(|fact| shop.fact(fact));

    let process = shop.process();
    let mut findings = Vec::new();
    let room = process.build_volume.value.map(Length::mm);
    if size.to_array().iter().zip(room).any(|(&size, room)| size > room) {
        findings.push(Finding::fault(
            "coupon-too-large",
            format!(
                "the coupon is {:.1} × {:.1} × {:.1} mm, and the process prints {} × {} × {} mm at most",
                size.x, size.y, size.z, room[0], room[1], room[2]
            ),
            "set fewer or smaller sizes in `coupon.cells`, `coupon.lines`, `coupon.gaps` and `coupon.walls`",
        ));
    }
    if meshed.triangles.len() as u64 > process.most_triangles.value {
        findings.push(Finding::fault(
            "coupon-too-many-triangles",
            format!(
                "the coupon has {} triangles, and the process takes {} at most",
                meshed.triangles.len(),
                process.most_triangles.value
            ),
            "set larger sizes in `coupon.cells`",
        ));
    }
    if f64::from(layout.dot) / 1000.0 < process.detail.value.mm() {
        findings.push(Finding::caution(
            "coupon-numbers",
            format!(
                "the numbers are made of dots of {} mm, smaller than the detail of {} that the process holds",
                f64::from(layout.dot) / 1000.0,
                process.detail.value
            ),
            "if they cannot be read, count along the row: 1 is at the left, as the reading sheet shows",
        ));
    }
    let sigma = process.bleed.value.mm();
    let one_sided = |row: Row, reads: f64| {
        let sizes = ladders.row(row);
        let all = sizes.iter().all(|&size| size >= reads);
        (all || sizes.iter().all(|&size| size < reads)).then(|| {
            let [item, which] = [row.item(), if all { "every" } else { "no" }];
            let (setting, other) = match row {
                Row::Cells => ("cells", if all { "smaller" } else { "larger" }),
                _ => ("lines", if all { "thinner" } else { "wider" }),
            };
            Finding::caution(
                "coupon-one-sided",
                format!("{which} {item} should read at the process's bleed of {} (from {} mm on), so that the coupon would not \
                         bracket it", process.bleed.value, mm(reads)),
                format!("add {other} sizes to `coupon.{setting}`, or leave it out"),
            )
        })
    };
    findings.extend(one_sided(Row::Cells, sigma * reading::reading_cell()));
    findings.extend(one_sided(Row::Lines, sigma * reading::reading_line()));
    findings.into_iter().for_each(|finding| shop.finding(finding));
}

fn write(shop: &mut Shop<'_>, ladders: &Ladders, layout: &Layout, meshed: &Sewn<Ink>, inks: &Inks) -> Result<(), Halt> {
    let ink = inks.of(meshed);
    let mesh = ColouredMesh { points: &meshed.points, triangles: &meshed.triangles, colours: &inks.colours, ink: &ink };
    let title = match shop.title() {
        "" => "Test coupon".to_owned(),
        title => format!("Test coupon: {title}"),
    };
    let mut file = Vec::new();
    threemf::write(&mesh, &title, &mut file).map_err(|error| Halt::Shelf { name: "coupon.3mf".to_owned(), error })?;
    let most = shop.process().most_bytes.value;
    if file.len() as u64 > most {
        shop.finding(Finding::fault(
            "coupon-file-too-large",
            format!("coupon.3mf has {} bytes, and the process takes {most} at most", file.len()),
            "set larger sizes in `coupon.cells`",
        ));
    }
    if shop.draft() {
        return Ok(());
    }
    shop.artefact("coupon.3mf", "the test coupon to order: 3MF, a colour for each triangle", |out| {
        out.write_all(&file)
    })?;
    shop.artefact("coupon.stl", "the test coupon without colour as STL", |out| {
        stl::write(&meshed.points, &meshed.triangles, out)
    })?;
    shop.go_on()?;
    for (view, name, what) in [
        (View::Side(Side::Top), "coupon-top.png", "the test coupon from the top"),
        (View::FrontRight, "coupon-corner.png", "the test coupon from a corner (colours shaded)"),
    ] {
        let image = picture::render(&mesh, view, PICTURE);
        shop.artefact(name, what, |out| image.write_png(out))?;
    }
    let page = sheet::page(ladders, layout, inks, shop.title(), shop.process());
    shop.artefact("coupon-sheet.html", "the coupon's reading sheet, to print", |out| out.write_all(page.as_bytes()))?;
    Ok(())
}
