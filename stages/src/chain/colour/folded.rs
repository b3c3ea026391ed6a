//! A proof of folded paper: strips of two neighbouring sides in turn on one sheet, to be folded like a fan. From the left it
//! shows the one side, from the right the other, so a client can hold the change in hand before anything is printed.
//!
//! What is on it is the piece as it will be coloured, cell for cell, not the pictures that went in. Both sides have one
//! scale; beside the silhouettes the paper stays bare.

use std::io::{self, Write};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use quick_xml::escape::escape;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::laying::Dressed;
use super::telling::shown;
use crate::paint::Paint;
use crate::stage::{Halt, Misfit, Shop};
use crate::{Length, Side, Six, Srgb};

/// The folded-paper proof. Give `strips` or `width`, or neither.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Folded {
    /// Two neighbouring sides of right, left, back and front; either order.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sides: Option<[Side; 2]>,
    /// Strips of each side, 2 to 40. Left out, strips of about 12 mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub strips: Option<u32>,
    /// Width of a strip, 3 to 60 mm, instead of `strips`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub width: Option<Length>,
}

/// The upright sides as they come when one walks around the piece to the right.
const IN_TURN: [Side; 4] = [Side::Front, Side::Right, Side::Back, Side::Left];
/// Neighbours in that order: what is seen from the left, then what is seen from the right.
const PAIRS: [[Side; 2]; 4] =
    [[IN_TURN[0], IN_TURN[1]], [IN_TURN[1], IN_TURN[2]], [IN_TURN[2], IN_TURN[3]], [IN_TURN[3], IN_TURN[0]]];

const STRIPS: std::ops::RangeInclusive<u32> = 2..=40;
const WIDTHS: std::ops::RangeInclusive<f64> = 3.0..=60.0;
/// The usual width of a strip in mm: wide enough to fold by hand along a ruler. Common practice, no source.
const USUAL_WIDTH: f64 = 12.0;

impl Folded {
    /// Checks what needs no piece.
    pub(super) fn check(&self) -> Result<(), Misfit> {
        if self.sides.is_some_and(|sides| pair_of(sides).is_none()) {
            let message = "the sheet takes two neighbours of front, right, back and left";
            return Err(Misfit::new("folded.sides", message, "write sides: [front, right]"));
        }
        if let Some(strips) = self.strips.filter(|strips| !STRIPS.contains(strips)) {
            let message = format!("{strips} strips cannot be folded; it takes {} to {}", STRIPS.start(), STRIPS.end());
            return Err(Misfit::new("folded.strips", message, "leave it out for strips of about 12 mm"));
        }
        if let Some(width) = self.width.filter(|width| !WIDTHS.contains(&width.mm())) {
            let message = format!("a strip may be {} to {} mm wide, not {width}", WIDTHS.start(), WIDTHS.end());
            return Err(Misfit::new("folded.width", message, "leave it out for strips of about 12 mm"));
        }
        if self.strips.is_some() && self.width.is_some() {
            return Err(Misfit::new("folded.width", "`strips` and `width` contradict each other", "keep one of them"));
        }
        Ok(())
    }
}

fn pair_of([a, b]: [Side; 2]) -> Option<[Side; 2]> {
    PAIRS.into_iter().find(|pair| *pair == [a, b] || *pair == [b, a])
}

/// Writes the sheets, one for each size of paper, where there is something to show.
pub(super) fn write(
    asked: Option<&Folded>,
    dressed: &Six<Dressed>,
    paint: &Paint,
    cell: f64,
    shop: &mut Shop<'_>,
) -> Result<(), Halt> {
    let varied = || PAIRS.into_iter().find(|pair| pair.iter().all(|&side| dressed[side].is_varied()));
    let pair = match asked {
        Some(Folded { sides: Some(sides), .. }) => pair_of(*sides),
        Some(_) => varied().or(Some(PAIRS[0])),
        None => varied(),
    };
    let Some(pair) = pair.filter(|_| !shop.draft()) else { return Ok(()) };
    shop.go_on()?;
    let faces = pair.map(|side| Face::of(&dressed[side], paint));
    let plan = Plan::new(&faces, asked.copied().unwrap_or_default())?;
    let picture = STANDARD.encode(plan.picture(&faces));
    for paper in [A4, LETTER] {
        let sheet = Sheet { plan: &plan, paper, pair, title: shop.title(), picture: &picture, cell };
        let text = sheet.svg();
        let [a, b] = pair;
        let what = format!("a sheet of {} to print and fold: {a} from the left, {b} from the right", paper.words);
        shop.artefact(paper.file, &what, |out| write_text(out, &text))?;
    }
    Ok(())
}

fn write_text(out: &mut dyn Write, text: &str) -> io::Result<()> {
    out.write_all(text.as_bytes())
}

/// A side of the piece, cell for cell, as it is seen.
struct Face {
    columns: usize,
    rows: usize,
    shown: Vec<Option<Srgb>>,
}

impl Face {
    fn of(side: &Dressed, paint: &Paint) -> Self {
        Self { columns: side.facade.columns, rows: side.facade.rows, shown: shown(side, paint) }
    }
}

/// A size of paper.
#[derive(Clone, Copy)]
struct Paper {
    file: &'static str,
    words: &'static str,
    /// The shorter and the longer edge, in mm.
    edges: [f64; 2],
}

/// ISO 216.
const A4: Paper = Paper { file: "folded-proof-a4.svg", words: "A4", edges: [210.0, 297.0] };
/// 8.5 in × 11 in (ANSI/ASME Y14.1, size A).
const LETTER: Paper = Paper { file: "folded-proof-letter.svg", words: "Letter", edges: [215.9, 279.4] };

/// What printers leave free at each edge, with some to spare.
const MARGIN: f64 = 10.0;
/// Room in mm above the strips for the title, what to do, and the marks of the folds; and below for marks and scale bar.
const HEAD: f64 = 39.0;
const FOOT: f64 = 19.0;
/// Length of the marks at the ends of a fold.
const MARK: f64 = 5.0;

/// Width and height in mm that the strips may take, for a page that stands or lies.
fn room(paper: Paper, lies: bool) -> [f64; 2] {
    let [short, long] = paper.edges;
    let [width, height] = if lies { [long, short] } else { [short, long] };
    [width - 2.0 * MARGIN, height - 2.0 * MARGIN - HEAD - FOOT]
}

/// What both papers share: the number of strips, and the picture of them.
struct Plan {
    /// Strips of each side.
    strips: u32,
    /// Where the job fixes it, the width of a strip in mm.
    width: Option<f64>,
    /// Cells across the wider side, and cells upwards.
    columns: usize,
    rows: usize,
    /// Pixels across a strip, and down the picture.
    pixels: [usize; 2],
}

/// Pixels a mm of the picture: the edge of a cell is off by no more than a sixteenth of a mm.
const DENSITY: f64 = 8.0;

impl Plan {
    fn new(faces: &[Face; 2], asked: Folded) -> Result<Self, Misfit> {
        let columns = faces[0].columns.max(faces[1].columns);
        let rows = faces[0].rows.max(faces[1].rows);
        let shape = [columns, rows];
        let width =
            [A4, LETTER].map(|paper| shape[0] as f64 * largest(paper, shape).0).into_iter().fold(f64::MAX, f64::min);
        let strips = match (asked.strips, asked.width.map(Length::mm)) {
            (Some(strips), _) => strips,
            (None, Some(strip)) if width / strip >= f64::from(*STRIPS.start()) => {
                ((width / strip) as u32).min(*STRIPS.end())
            }
            (None, Some(strip)) => {
                let message = format!(
                    "strips of {strip} mm are too wide: the side is {width:.0} mm wide on the sheet and needs two strips"
                );
                let remedy = format!("at most {:.0} mm; or leave it out", (width / 2.0).floor());
                return Err(Misfit::new("folded.width", message, remedy));
            }
            (None, None) => ((width / USUAL_WIDTH).round() as u32).clamp(4, 24),
        };
        let strip = asked.width.map_or(width / f64::from(strips), Length::mm);
        let height = strip * f64::from(strips) * rows as f64 / columns as f64;
        let pixels = [strip, height].map(|mm| ((mm * DENSITY).round() as usize).max(1));
        Ok(Self { strips, width: asked.width.map(Length::mm), columns, rows, pixels })
    }

    /// The strips in turn, as PNG.
    fn picture(&self, faces: &[Face; 2]) -> Vec<u8> {
        let [strip, height] = self.pixels;
        let width = 2 * self.strips as usize * strip;
        // Of which side and which of its columns each column of pixels is; the narrower side stands in the middle.
        let columns: Vec<(usize, Option<usize>)> = (0..width)
            .map(|x| {
                let (of, n) = (x / strip % 2, x / strip / 2);
                let across = (n as f64 + ((x % strip) as f64 + 0.5) / strip as f64) / f64::from(self.strips);
                let beside = (self.columns - faces[of].columns) as f64 / 2.0;
                let column = (across * self.columns as f64 - beside).floor();
                (of, (column >= 0.0 && (column as usize) < faces[of].columns).then_some(column as usize))
            })
            .collect();
        let mut rgb = Vec::with_capacity(3 * width * height);
        let mut last = None;
        for y in 0..height {
            let row = ((y as f64 + 0.5) / height as f64 * self.rows as f64) as usize;
            if last == Some(row) {
                let start = rgb.len() - 3 * width;
                rgb.extend_from_within(start..);
                continue;
            }
            last = Some(row);
            for &(of, column) in &columns {
                let face = &faces[of];
                let colour = column.and_then(|column| *face.shown.get(row * face.columns + column)?);
                rgb.extend(colour.unwrap_or(PAPER).0);
            }
        }
        png([width as u32, height as u32], &rgb)
    }
}

/// Bare paper.
const PAPER: Srgb = Srgb([255; 3]);

fn png([width, height]: [u32; 2], rgb: &[u8]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
    // Most rows are those above them.
    encoder.set_filter(png::Filter::Up);
    encoder.set_compression(png::Compression::Balanced);
    let written = encoder.write_header().and_then(|mut writer| {
        writer.write_image_data(rgb)?;
        writer.finish()
    });
    written.expect("a vector takes all, and the size is that of the pixels");
    bytes
}

/// Millimetres a cell at which strips of both sides fill the paper, and whether it lies.
fn largest(paper: Paper, [columns, rows]: [usize; 2]) -> (f64, bool) {
    let scale = |lies| {
        let [width, height] = room(paper, lies);
        (width / (2.0 * columns as f64)).min(height / rows as f64)
    };
    if scale(true) > scale(false) { (scale(true), true) } else { (scale(false), false) }
}

/// One sheet.
struct Sheet<'a> {
    plan: &'a Plan,
    paper: Paper,
    pair: [Side; 2],
    title: &'a str,
    picture: &'a str,
    cell: f64,
}

/// Longest title on the sheet, in characters: a line.
const LONGEST_TITLE: usize = 60;

impl Sheet<'_> {
    fn svg(&self) -> String {
        let plan = self.plan;
        let (scale, lies) = largest(self.paper, [plan.columns, plan.rows]);
        let strip = plan.width.unwrap_or(scale * plan.columns as f64 / f64::from(plan.strips));
        let scale = strip * f64::from(plan.strips) / plan.columns as f64;
        let [short, long] = self.paper.edges;
        let [page_width, page_height] = if lies { [long, short] } else { [short, long] };
        let (width, height) = (2.0 * f64::from(plan.strips) * strip, scale * plan.rows as f64);
        let (left, top) = ((page_width - width) / 2.0, MARGIN + HEAD);
        let foot = top + height + FOOT;
        let title = in_one_line(self.title);
        let (w, h) = (mm(page_width), mm(page_height));
        let mut svg = format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
             <svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\">\n\
             <title>Folded-paper proof: {title}</title>\n\
             <rect width=\"{w}\" height=\"{h}\" fill=\"#ffffff\"/>\n\
             <g font-family=\"sans-serif\" font-size=\"3.2\" fill=\"#111111\">\n"
        );
        self.head(&mut svg, &title, scale);
        svg += "</g>\n";
        svg += &format!(
            "<image x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" preserveAspectRatio=\"none\" \
             style=\"image-rendering:pixelated\" href=\"data:image/png;base64,{}\"/>\n",
            mm(left),
            mm(top),
            mm(width),
            mm(height),
            self.picture
        );
        self.folds(&mut svg, [left, top], strip, height);
        legend(&mut svg, [left.min(page_width - MARGIN - 166.0).max(MARGIN), foot - 5.0]);
        svg += &format!(
            "<g font-family=\"sans-serif\" font-size=\"2.6\" text-anchor=\"middle\" fill=\"#444444\">\n{}</g>\n",
            strip_names(self.pair, plan.strips, [left, top - MARK - 1.2], strip)
        );
        svg += "</svg>\n";
        svg
    }

    fn head(&self, svg: &mut String, title: &str, scale: f64) {
        let [a, b] = self.pair;
        let times = scale / self.cell;
        let size = if (times - 1.0).abs() < 0.005 {
            "at its true size".to_owned()
        } else {
            format!("at {times:.2} times its size")
        };
        *svg += &format!("<text x=\"{MARGIN}\" y=\"15\" font-size=\"5.2\" font-weight=\"bold\">{title}</text>\n");
        let lines = [
            format!("The change from the {a} side of the piece to its {b} side, on paper: cell for cell, {size}."),
            "1  Print at 100 %, without fitting to the page. The bar below must measure 50 mm.".to_owned(),
            "2  Cut along the frame. Score and fold each line: mountain folds away from you, valley folds towards you."
                .to_owned(),
            format!(
                "3  Stand it up, folded at right angles. From the left you see the {a} side; walk to the right, and the {b} side comes."
            ),
        ];
        for (line, y) in lines.iter().zip([21.5, 27.0, 31.8, 36.6]) {
            *svg += &format!("<text x=\"{MARGIN}\" y=\"{y}\">{line}</text>\n");
        }
    }

    /// The frame, and a line for each fold with marks beyond the frame: mountains and valleys in turn.
    fn folds(&self, svg: &mut String, [left, top]: [f64; 2], strip: f64, height: f64) {
        let bottom = top + height;
        let width = 2.0 * f64::from(self.plan.strips) * strip;
        *svg += &format!(
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"none\" stroke=\"#111111\" stroke-width=\"0.2\"/>\n",
            mm(left),
            mm(top),
            mm(width),
            mm(height)
        );
        // The fold after a strip of the first side points at whoever looks, so that the two strips fall away from it.
        for (kind, first) in [(Fold::Mountain, 1), (Fold::Valley, 2)] {
            let folds = (first..2 * self.plan.strips).step_by(2);
            let line = |from: f64, to: f64| {
                folds
                    .clone()
                    .map(|n| format!("M{} {}V{}", mm(left + f64::from(n) * strip), mm(from), mm(to)))
                    .collect::<String>()
            };
            let (across, beyond) = (line(top, bottom), line(top - MARK, top) + &line(bottom, bottom + MARK));
            // White under dark: to be seen on any colour.
            *svg += &format!("<path d=\"{across}\" fill=\"none\" stroke=\"#ffffff\" stroke-width=\"0.35\"/>\n");
            *svg += &format!("<path d=\"{across}{beyond}\" fill=\"none\" {}/>\n", kind.stroke());
        }
    }
}

/// How a line is folded.
#[derive(Clone, Copy)]
enum Fold {
    Mountain,
    Valley,
}

impl Fold {
    /// Valleys are dashes, mountains dashes and dots, as paper folders draw them (Yoshizawa's notation).
    fn stroke(self) -> String {
        let dashes = match self {
            Self::Mountain => "2.4 0.8 0.3 0.8",
            Self::Valley => "1.2 1.2",
        };
        format!("stroke=\"#111111\" stroke-width=\"0.2\" stroke-dasharray=\"{dashes}\"")
    }
}

/// The bar to check the printer with, and what the lines mean.
fn legend(svg: &mut String, [x, y]: [f64; 2]) {
    let (ends, end) = (y - 2.0, mm(x + 50.0));
    let ticks: String = (0..=5)
        .map(|n| format!("M{} {}V{}", mm(x + 10.0 * f64::from(n)), mm(y), mm(if n % 5 == 0 { ends } else { y - 1.0 })))
        .collect();
    *svg += &format!(
        "<path d=\"M{} {}H{end}{ticks}\" fill=\"none\" stroke=\"#111111\" stroke-width=\"0.3\"/>\n\
         <g font-family=\"sans-serif\" font-size=\"3.2\" fill=\"#111111\">\n<text x=\"{}\" y=\"{}\">50 mm</text>\n",
        mm(x),
        mm(y),
        mm(x),
        mm(y + 4.0)
    );
    for (kind, at, words) in
        [(Fold::Mountain, x + 60.0, "mountain: away from you"), (Fold::Valley, x + 118.0, "valley: towards you")]
    {
        *svg += &format!(
            "<path d=\"M{} {}h9\" fill=\"none\" {}/>\n<text x=\"{}\" y=\"{}\">{words}</text>\n",
            mm(at),
            mm(y - 1.0),
            kind.stroke().replace("\"0.2\"", "\"0.35\""),
            mm(at + 10.5),
            mm(y)
        );
    }
    *svg += "</g>\n";
}

/// Which side a strip is of: the first letter, and its number.
fn strip_names(pair: [Side; 2], strips: u32, [left, y]: [f64; 2], strip: f64) -> String {
    if strip < 5.0 {
        return String::new();
    }
    let name = |n: u32| {
        let letter = pair[(n % 2) as usize].word()[..1].to_uppercase();
        let x = left + (f64::from(n) + 0.5) * strip;
        format!("<text x=\"{}\" y=\"{}\">{letter}{}</text>\n", mm(x), mm(y), n / 2 + 1)
    };
    (0..2 * strips).map(name).collect()
}

/// A length in mm to the micron, in as few characters.
fn mm(length: f64) -> String {
    let text = format!("{length:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A title as one line of text that XML allows.
fn in_one_line(title: &str) -> String {
    let allowed = |c: char| if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') { ' ' } else { c };
    let mut line: String = title.chars().map(allowed).take(LONGEST_TITLE).collect();
    if title.chars().nth(LONGEST_TITLE).is_some() {
        line.push('…');
    }
    escape(line.as_str()).into_owned()
}

#[cfg(test)]
mod tests;
