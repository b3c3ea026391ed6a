//! Writes drawings as PDF (ISO 32000-1), a page each, in true size: printed at 100 %, a millimetre is a millimetre.
//!
//! Words are set in Helvetica, one of the fonts that every reader has (ISO 32000-1, 9.6.2.2), so nothing is embedded. It has
//! the letters of Western European languages; others become `?`, and some signs the nearest that it has. No date is written:
//! the same drawings give the same bytes.

use std::io::{self, Write};

use flate2::Compression;
use flate2::write::ZlibEncoder;
use glam::DVec2;
use pdf_writer::types::{LineCapStyle, LineJoinStyle};
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};

use super::{Anchor, CAPITALS, Drawing, Line, Mark, Shape, Stroke};
use crate::Srgb;

/// Points in a millimetre: 72 an inch (ISO 32000-1, 8.3.2.3).
const POINTS_PER_MM: f64 = 72.0 / 25.4;

/// The font's name on every page.
const FONT: Name<'_> = Name(b"F");

/// How far along its tangent the control points of a quarter circle lie, as a share of the radius: (4/3)(√2 − 1), which keeps
/// within 0.03 % of it.
const QUARTER: f64 = 0.552_284_749_830_793_4;

/// Widths of Helvetica's characters from 32 on, in WinAnsi encoding (ISO 32000-1, annex D.2), in thousandths of its size
/// (Adobe's metrics of the 14 standard fonts).
const WIDTHS: [u16; 224] = [
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556, 556, 556, 556, 556,
    556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833,
    722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556, 333, 556, 556, 500, 556,
    556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556, 556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334,
    260, 334, 584, 350, 556, 350, 222, 556, 333, 1000, 556, 556, 333, 1000, 667, 333, 1000, 350, 611, 350, 350, 222,
    222, 333, 333, 350, 556, 1000, 333, 1000, 500, 333, 944, 350, 500, 667, 278, 333, 556, 556, 556, 556, 260, 556,
    333, 737, 370, 556, 584, 333, 737, 333, 400, 584, 333, 333, 333, 556, 537, 278, 333, 333, 365, 556, 834, 834, 834,
    611, 667, 667, 667, 667, 667, 667, 1000, 722, 667, 667, 667, 667, 278, 278, 278, 278, 722, 722, 778, 778, 778, 778,
    778, 584, 778, 722, 722, 722, 722, 667, 667, 611, 556, 556, 556, 556, 556, 556, 889, 500, 556, 556, 556, 556, 278,
    278, 278, 278, 556, 556, 556, 556, 556, 556, 556, 584, 611, 556, 556, 556, 556, 500, 556, 500,
];

/// Writes the drawings as the pages of one document.
///
/// # Errors
/// Whatever the writer meets.
pub fn write(pages: &[Drawing], title: &str, out: &mut dyn Write) -> io::Result<()> {
    let mut next = 1;
    let mut new = || {
        next += 1;
        Ref::new(next - 1)
    };
    let (catalog, tree, font, about) = (new(), new(), new(), new());
    let refs: Vec<(Ref, Ref)> = pages.iter().map(|_| (new(), new())).collect();
    let mut pdf = Pdf::new();
    pdf.catalog(catalog).pages(tree);
    pdf.document_info(about).title(TextStr(title)).producer(TextStr("turnhue"));
    pdf.pages(tree).kids(refs.iter().map(|&(page, _)| page)).count(i32::try_from(pages.len()).unwrap_or(i32::MAX));
    pdf.type1_font(font).base_font(Name(b"Helvetica")).encoding_predefined(Name(b"WinAnsiEncoding"));
    for (drawing, &(page, content)) in pages.iter().zip(&refs) {
        let size = [drawing.width, drawing.height].map(|mm| (mm * POINTS_PER_MM) as f32);
        let mut written = pdf.page(page);
        written.media_box(Rect::new(0.0, 0.0, size[0], size[1])).parent(tree).contents(content);
        written.resources().fonts().pair(FONT, font);
        written.finish();
        let packed = packed(&contents(drawing))?;
        pdf.stream(content, &packed).filter(Filter::FlateDecode);
    }
    out.write_all(&pdf.finish())
}

fn packed(bytes: &[u8]) -> io::Result<Vec<u8>> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(bytes)?;
    encoder.finish()
}

fn contents(drawing: &Drawing) -> Vec<u8> {
    let mut to = Content::new();
    let scale = POINTS_PER_MM as f32;
    to.transform([scale, 0.0, 0.0, scale, 0.0, 0.0]);
    to.set_line_join(LineJoinStyle::RoundJoin).set_line_cap(LineCapStyle::ButtCap);
    for mark in &drawing.marks {
        draw(&mut to, mark);
    }
    to.finish().to_vec()
}

fn draw(to: &mut Content, mark: &Mark) {
    if let Some(fill) = mark.fill {
        let [r, g, b] = shares(fill);
        to.set_fill_rgb(r, g, b);
    }
    match &mark.shape {
        Shape::Words { at, height, anchor, turned, words } => {
            say(to, *at, height / CAPITALS, *anchor, *turned, &encoded(words));
            return;
        }
        Shape::Lines(lines) => lines.iter().for_each(|line| trace(to, line)),
        Shape::Circle { centre, radius } => circle(to, *centre, *radius),
    }
    if let Some(Stroke { width, colour, dash }) = mark.stroke {
        let [r, g, b] = shares(colour);
        to.set_line_width(width as f32).set_stroke_rgb(r, g, b);
        to.set_dash_pattern(dash.into_iter().flatten().map(|length| length as f32), 0.0);
    }
    match (mark.fill, mark.stroke) {
        (Some(_), Some(_)) => to.fill_even_odd_and_stroke(),
        (Some(_), None) => to.fill_even_odd(),
        (None, Some(_)) => to.stroke(),
        (None, None) => to.end_path(),
    };
}

fn shares(colour: Srgb) -> [f32; 3] {
    colour.0.map(|channel| f32::from(channel) / 255.0)
}

fn trace(to: &mut Content, line: &Line) {
    for (i, point) in line.points.iter().enumerate() {
        let [x, y] = point.to_array().map(|mm| mm as f32);
        if i == 0 {
            to.move_to(x, y)
        } else {
            to.line_to(x, y)
        };
    }
    if line.closed && !line.points.is_empty() {
        to.close_path();
    }
}

fn circle(to: &mut Content, centre: DVec2, radius: f64) {
    let at = |x: f64, y: f64| (centre + radius * DVec2::new(x, y)).to_array().map(|mm| mm as f32);
    let [x, y] = at(1.0, 0.0);
    to.move_to(x, y);
    for [(ax, ay), (bx, by), (cx, cy)] in [
        [(1.0, QUARTER), (QUARTER, 1.0), (0.0, 1.0)],
        [(-QUARTER, 1.0), (-1.0, QUARTER), (-1.0, 0.0)],
        [(-1.0, -QUARTER), (-QUARTER, -1.0), (0.0, -1.0)],
        [(QUARTER, -1.0), (1.0, -QUARTER), (1.0, 0.0)],
    ] {
        let ([ax, ay], [bx, by], [cx, cy]) = (at(ax, ay), at(bx, by), at(cx, cy));
        to.cubic_to(ax, ay, bx, by, cx, cy);
    }
    to.close_path();
}

fn say(to: &mut Content, at: DVec2, size: f64, anchor: Anchor, turned: f64, words: &[u8]) {
    let width = size * ems(words);
    let back = match anchor {
        Anchor::Start => 0.0,
        Anchor::Middle => width / 2.0,
        Anchor::End => width,
    };
    let (sin, cos) = libm::sincos(turned.to_radians());
    let from = at - back * DVec2::new(cos, sin);
    let [cos, sin, x, y] = [cos, sin, from.x, from.y].map(|number| number as f32);
    to.begin_text().set_font(FONT, size as f32).set_text_matrix([cos, sin, -sin, cos, x, y]);
    to.show(Str(words)).end_text();
}

/// Width in mm of words whose capitals are `height` mm high.
pub(crate) fn width(words: &str, height: f64) -> f64 {
    height / CAPITALS * ems(&encoded(words))
}

/// Width of words in sizes of their font.
fn ems(words: &[u8]) -> f64 {
    let width: u32 = words.iter().map(|&byte| u32::from(WIDTHS[usize::from(byte.max(32)) - 32])).sum();
    f64::from(width) / 1000.0
}

/// Words in WinAnsi encoding.
fn encoded(words: &str) -> Vec<u8> {
    words.chars().flat_map(byte_of).collect()
}

/// A character in WinAnsi encoding, or what stands for it.
fn byte_of(character: char) -> Vec<u8> {
    let byte = match character {
        ' '..='~' | '\u{a1}'..='\u{ff}' => character as u32 as u8,
        // No-break, thin and narrow spaces.
        '\u{a0}' | '\u{2002}'..='\u{200a}' | '\u{202f}' => b' ',
        '\u{2212}' | '\u{2010}' | '\u{2011}' => b'-',
        '€' => 128,
        '‚' => 130,
        '„' => 132,
        '…' => 133,
        '†' => 134,
        '‰' => 137,
        'Š' => 138,
        '‹' => 139,
        'Œ' => 140,
        'Ž' => 142,
        '‘' => 145,
        '’' => 146,
        '“' => 147,
        '”' => 148,
        '•' => 149,
        '–' => 150,
        '—' => 151,
        '™' => 153,
        'š' => 154,
        '›' => 155,
        'œ' => 156,
        'ž' => 158,
        'Ÿ' => 159,
        '⌀' | '∅' => 0xd8,
        '≤' => return b"<=".to_vec(),
        '≥' => return b">=".to_vec(),
        '→' => return b"->".to_vec(),
        _ => b'?',
    };
    vec![byte]
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::super::{BLACK, Layer};
    use super::*;

    fn text(drawing: &Drawing) -> String {
        String::from_utf8_lossy(&contents(drawing)).into_owned()
    }

    #[test]
    fn a_page_has_the_size_of_its_sheet() {
        let mut out = Vec::new();
        let pages = [Drawing::new("a", 210.0, 297.0), Drawing::new("b", 215.9, 279.4)];
        write(&pages, "Größe", &mut out).unwrap();
        let pdf = String::from_utf8_lossy(&out);
        // A4 in points, as everybody's page setup has it: 595.276 × 841.89; Letter 612 × 792.
        assert!(pdf.starts_with("%PDF-1.7") && pdf.contains("/MediaBox [0 0 595.2756 841.88"), "{pdf}");
        assert!(pdf.contains("/MediaBox [0 0 612 792]") && pdf.contains("/Count 2"), "{pdf}");
        let mut again = Vec::new();
        write(&pages, "Größe", &mut again).unwrap();
        assert_eq!(out, again);
    }

    #[test]
    fn words_end_where_they_should() {
        let mut drawing = Drawing::new("", 100.0, 100.0);
        // "Hip": 722 + 222 + 556 = 1500 thousandths of 10 mm.
        drawing.words(Layer::Note, DVec2::new(50.0, 20.0), 7.18, Anchor::End, "Hip");
        drawing.words(Layer::Note, DVec2::new(50.0, 30.0), 7.18, Anchor::Middle, "Hip");
        let pdf = text(&drawing);
        assert!(pdf.contains("1 0 0 1 35 20 Tm") && pdf.contains("1 0 0 1 42.5 30 Tm"), "{pdf}");
    }

    #[test]
    fn signs_that_the_font_has_not_are_stood_for() {
        assert_eq!(encoded("⌀ 3 ≥ 2 – é €"), b"\xd8 3 >= 2 \x96 \xe9 \x80");
        assert_eq!(encoded("鳥\n"), b"??");
    }

    #[test]
    fn outlines_are_closed_and_filled_by_the_even_odd_rule() {
        let mut drawing = Drawing::new("", 10.0, 10.0);
        let square = |r: f64| vec![DVec2::splat(-r), DVec2::new(r, -r), DVec2::splat(r), DVec2::new(-r, r)];
        drawing.fill(Layer::Note, BLACK, None, vec![square(4.0), square(2.0)]);
        let pdf = text(&drawing);
        assert!(pdf.ends_with("h\nf*") && pdf.matches("h\n").count() == 2, "{pdf}");
    }
}
