//! `case`: a box for the motor and a clear cover over the piece, as lists and drawings that a workshop can act on.
//!
//! From the stand and what turns (`design`): sizes of box and cover, every panel with its fingers, holes and marks. From
//! these: a cut list and a drilling list (`cutlist`), panels laid on sheets of stock (`nest`) and drawn on them in true size
//! (`sheets`), drilling templates on paper (`template`), and the whole case as blocks for pictures ([`solids`]). The piece
//! itself goes through unchanged.
//!
//! Guarantees: no screw of the lists comes through what it is driven into, or there is a fault; what turns has the clearance
//! asked for on every side; drawings are 1:1.
//!
//! Not looked at: what the motor and its supply need by law, how the box sounds, and whether the wood moves.

mod bending;
mod cutlist;
mod design;
mod nest;
mod panel;
mod said;
mod screws;
mod settings;
mod sheets;
pub mod solids;
mod template;

#[cfg(test)]
mod tests;

pub use screws::{Thread, WoodScrew, WoodSize};
pub use settings::{Board, Body, Clear, Cover, CoverKind, Cut, HoleCircle, Joint, KerfIn, Motor, Settings, Supply};

use crate::chain::assembly::{self, Slab, Stuff};
use crate::formats::drawing::{Drawing, Paper, dxf, pdf, svg};
use crate::mounts::Mounts;
use crate::outlook::Outlook;
use crate::stage::{Halt, Misfit, Shop, Stage};
use crate::workpiece::{Part, Workpiece};
use design::{Design, design};
use sheets::{Nested, nested};

/// See the module's documentation.
pub struct Case;

/// Bytes while the case is drawn.
const WORKING: f64 = 32e6;

impl Stage for Case {
    type Settings = Settings;

    const NAME: &'static str = "case";
    const PURPOSE: &'static str = "draws a box for the motor and a clear cover, ready to cut and drill";
    const VERSION: u32 = 1;
    const NEEDS: &'static [Part] = &[Part::Mounts];
    const GIVES: &'static [Part] = &[];

    fn outlook(_: &Settings, before: Outlook) -> Outlook {
        before.after(WORKING, 0.0)
    }

    fn check(settings: &Settings, _: &Shop<'_>) -> Result<(), Misfit> {
        settings.check()
    }

    fn run(settings: &Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let mounts = piece.mounts().expect("the plan saw to it");
        let design = design(settings, mounts)?;
        let nested = nested(&design, settings)?;
        shop.go_on()?;
        said::facts(settings, mounts, &design, &nested).into_iter().for_each(|fact| shop.fact(fact));
        said::findings(settings, mounts, &design, &nested).into_iter().for_each(|finding| shop.finding(finding));
        if !shop.draft() {
            write_lists(settings, &design, &nested, shop)?;
            write_sheets(settings, &design, &nested, shop)?;
            write_templates(&design, shop)?;
            write_pictures(settings, &design, &piece, mounts, shop)?;
        }
        Ok(piece)
    }
}

fn write_lists(settings: &Settings, design: &Design, nested: &Nested, shop: &mut Shop<'_>) -> Result<(), Halt> {
    let sheets: Vec<usize> = nested.laid.iter().map(|laid| laid.sheet).collect();
    let cut = cutlist::csv(&cutlist::CUT, &cutlist::cut(design, settings, &sheets));
    let drill = cutlist::csv(&cutlist::DRILL, &cutlist::drill(design, settings));
    let bought = cutlist::csv(&cutlist::HARDWARE, &cutlist::hardware(design, settings));
    for (name, what, text) in [
        ("case-cut-list.csv", "cut list of box and cover", cut),
        ("case-drilling-list.csv", "every hole of the box, from its panel's corner", drill),
        ("case-hardware-list.csv", "screws and the rest for box and cover", bought),
    ] {
        shop.artefact(name, what, |out| out.write_all(text.as_bytes()))?;
    }
    Ok(())
}

fn write_sheets(settings: &Settings, design: &Design, nested: &Nested, shop: &mut Shop<'_>) -> Result<(), Halt> {
    for sheet in 0..nested.sheets.len() {
        let drawing = nested.drawing(design, settings, sheet, shop.title());
        let (name, what) = (format!("case-sheet-{}", sheet + 1), format!("sheet {} to cut, 1:1", sheet + 1));
        shop.artefact(&format!("{name}.svg"), &format!("{what}, SVG"), |out| svg::write(&drawing, out))?;
        shop.artefact(&format!("{name}.dxf"), &format!("{what}, DXF"), |out| dxf::write(&drawing, out))?;
        shop.go_on()?;
    }
    Ok(())
}

const fn paper_name(paper: Paper) -> &'static str {
    match paper {
        Paper::A4 => "A4",
        Paper::Letter => "Letter",
    }
}

fn write_templates(design: &Design, shop: &mut Shop<'_>) -> Result<(), Halt> {
    let title = shop.title().to_owned();
    for paper in Paper::ALL {
        let mut pages: Vec<Drawing> = Vec::new();
        for (panel, word) in template::DRILLED {
            let Some(i) = design.panels.iter().position(|of| of.name == panel) else { continue };
            let page = template::page(design, i, paper, &title);
            let name = format!("case-drilling-{word}-{}.svg", paper.word());
            let what = format!("drilling template of the {panel}, 1:1 on {}", paper_name(paper));
            shop.artefact(&name, &what, |out| svg::write(&page, out))?;
            pages.push(page);
        }
        let name = format!("case-drilling-{}.pdf", paper.word());
        let what = format!("drilling templates, 1:1 on {}", paper_name(paper));
        shop.artefact(&name, &what, |out| pdf::write(&pages, "Drilling templates", out))?;
    }
    Ok(())
}

/// Piece, stand and case together, where the piece is there to be drawn.
fn write_pictures(
    settings: &Settings,
    design: &Design,
    piece: &Workpiece,
    mounts: &Mounts,
    shop: &mut Shop<'_>,
) -> Result<(), Halt> {
    let blocks = solids::of(design, settings);
    let stuff = |block: &solids::Block| match block.name {
        solids::MOTOR => Stuff::Motor,
        _ if block.clear => Stuff::Clear,
        _ => Stuff::Board,
    };
    let slabs: Vec<Slab> = blocks.iter().map(|b| Slab { low: b.low, high: b.high, stuff: stuff(b) }).collect();
    assembly::draw("case", piece, mounts, &slabs, shop)
}
