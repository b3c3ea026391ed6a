//! Writes a drawing as DXF, for laser cutters, routers and whoever else cuts along lines.
//!
//! ASCII DXF of release 12 (`AC1009`), the oldest that is still written and the one that every reader takes: closed outlines
//! as POLYLINE with the closing flag, CIRCLE, TEXT. Four layers, [`layer_name`], each with a colour of its own from the
//! format's first nine, so that a cutter's program can give each its own work. One unit is a millimetre: the header says so
//! in `$INSUNITS`, which is younger than the release and passed over by readers that do not know it.
//!
//! Guarantees: the same drawing gives the same bytes (the format's times and identities are left out: nothing here needs
//! them); coordinates are exact to 10⁻⁶ mm; only ASCII is written, other characters as `\U+XXXX`; what words hold can end no
//! line and begin no code. Not kept: fills, widths and colours of lines. A line that is dashed stays so.
//!
//! Written by hand: the library for it that is kept up (`dxf` 0.6) puts the time and a random identity into each header, and
//! brings `chrono`, `uuid` and an image library along, for a format of which this needs five records.

use std::fmt::Write as _;
use std::io::{self, Write};

use glam::DVec2;

use super::{Anchor, Drawing, Layer, Line, Mark, Shape};

/// Most characters that a text of release 12 holds, less the longest escape.
const LONGEST: usize = 255 - 7;
/// Dash and gap of the dashed line, in mm.
const DASH: [f64; 2] = [3.0, 1.5];
/// The line types.
const FULL: &str = "CONTINUOUS";
const DASHED: &str = "DASHED";
/// Every layer, with the number of its colour: red, blue, grey, and black or white as the ground asks.
const LAYERS: [(Layer, u8); 4] = [(Layer::Cut, 1), (Layer::Mark, 5), (Layer::Measure, 8), (Layer::Note, 7)];

/// Writes the drawing.
///
/// # Errors
/// Whatever the writer meets.
pub fn write(drawing: &Drawing, out: &mut dyn Write) -> io::Result<()> {
    out.write_all(text(drawing).as_bytes())
}

/// The drawing as DXF text.
#[must_use]
pub fn text(drawing: &Drawing) -> String {
    let mut dxf = Dxf::default();
    dxf.words(999, &drawing.title);
    dxf.section("HEADER", |dxf| header(dxf, drawing));
    dxf.section("TABLES", tables);
    dxf.section("ENTITIES", |dxf| drawing.marks.iter().for_each(|mark| entity(dxf, mark)));
    dxf.tag(0, "EOF");
    dxf.0
}

/// What a layer is called in the file.
#[must_use]
pub const fn layer_name(layer: Layer) -> &'static str {
    match layer {
        Layer::Cut => "CUT",
        Layer::Mark => "MARK",
        Layer::Measure => "MEASURE",
        Layer::Note => "NOTE",
    }
}

/// A file as it grows: each record is a line with the number of its group, and a line with its value.
#[derive(Default)]
struct Dxf(String);

impl Dxf {
    fn tag(&mut self, group: u16, value: &str) {
        let _ = writeln!(self.0, "{group:>3}\n{value}");
    }

    fn number(&mut self, group: u16, value: f64) {
        let text = format!("{value:.6}");
        let text = text.trim_end_matches('0');
        let text = if text.ends_with('.') { format!("{text}0") } else { text.to_owned() };
        self.tag(group, if text == "-0.0" { "0.0" } else { &text });
    }

    fn words(&mut self, group: u16, words: &str) {
        let mut text = String::new();
        for c in words.chars() {
            if text.len() > LONGEST {
                break;
            }
            escape(c, &mut text);
        }
        // Two of them begin a code, such as that of the sign for a diameter.
        self.tag(group, &text.replace("%%", "%%%%%%"));
    }

    /// A point, whose x has the group.
    fn point(&mut self, group: u16, point: DVec2) {
        self.number(group, point.x);
        self.number(group + 10, point.y);
        self.number(group + 20, 0.0);
    }

    fn section(&mut self, name: &str, fill: impl FnOnce(&mut Self)) {
        self.tag(0, "SECTION");
        self.tag(2, name);
        fill(self);
        self.tag(0, "ENDSEC");
    }

    fn table(&mut self, name: &str, entries: usize, fill: impl FnOnce(&mut Self)) {
        self.tag(0, "TABLE");
        self.tag(2, name);
        self.tag(70, &entries.to_string());
        fill(self);
        self.tag(0, "ENDTAB");
    }

    fn entity(&mut self, kind: &str, layer: Layer, dashed: bool) {
        self.tag(0, kind);
        self.tag(8, layer_name(layer));
        if dashed {
            self.tag(6, DASHED);
        }
    }
}

/// A character as the format writes it. The backslash and the caret begin codes.
fn escape(c: char, text: &mut String) {
    match c {
        '\\' | '^' => drop(write!(text, "\\U+{:04X}", u32::from(c))),
        ' '..='~' => text.push(c),
        '\u{a0}'..='\u{ffff}' => drop(write!(text, "\\U+{:04X}", u32::from(c))),
        c if c.is_control() => text.push(' '),
        // The format has four digits for a character.
        _ => text.push('?'),
    }
}

fn header(dxf: &mut Dxf, drawing: &Drawing) {
    dxf.tag(9, "$ACADVER");
    dxf.tag(1, "AC1009");
    dxf.tag(9, "$INSUNITS");
    dxf.tag(70, "4");
    dxf.tag(9, "$MEASUREMENT");
    dxf.tag(70, "1");
    dxf.tag(9, "$EXTMIN");
    dxf.point(10, DVec2::ZERO);
    dxf.tag(9, "$EXTMAX");
    dxf.point(10, DVec2::new(drawing.width, drawing.height));
}

fn tables(dxf: &mut Dxf) {
    dxf.table("LTYPE", 2, |dxf| {
        line_type(dxf, FULL, "full", &[]);
        line_type(dxf, DASHED, "dashed", &[DASH[0], -DASH[1]]);
    });
    // The format wants layer 0 in every file.
    dxf.table("LAYER", LAYERS.len() + 1, |dxf| {
        layer(dxf, "0", 7);
        LAYERS.iter().for_each(|&(of, colour)| layer(dxf, layer_name(of), colour));
    });
    dxf.table("STYLE", 1, |dxf| {
        dxf.tag(0, "STYLE");
        dxf.tag(2, "STANDARD");
        dxf.tag(70, "0");
        for (group, value) in [(40, 0.0), (41, 1.0), (50, 0.0)] {
            dxf.number(group, value);
        }
        dxf.tag(71, "0");
        dxf.number(42, 2.5);
        dxf.tag(3, "txt");
        dxf.tag(4, "");
    });
}

fn line_type(dxf: &mut Dxf, name: &str, what: &str, dashes: &[f64]) {
    dxf.tag(0, "LTYPE");
    dxf.tag(2, name);
    dxf.tag(70, "0");
    dxf.tag(3, what);
    // The letter A: dashes begin and end at the corners.
    dxf.tag(72, "65");
    dxf.tag(73, &dashes.len().to_string());
    dxf.number(40, dashes.iter().map(|length| length.abs()).sum());
    dashes.iter().for_each(|&length| dxf.number(49, length));
}

fn layer(dxf: &mut Dxf, name: &str, colour: u8) {
    dxf.tag(0, "LAYER");
    dxf.tag(2, name);
    dxf.tag(70, "0");
    dxf.tag(62, &colour.to_string());
    dxf.tag(6, FULL);
}

fn entity(dxf: &mut Dxf, mark: &Mark) {
    let dashed = mark.stroke.is_some_and(|stroke| stroke.dash.is_some());
    match &mark.shape {
        Shape::Lines(lines) => lines.iter().for_each(|line| polyline(dxf, mark.layer, dashed, line)),
        Shape::Circle { centre, radius } => {
            dxf.entity("CIRCLE", mark.layer, dashed);
            dxf.point(10, *centre);
            dxf.number(40, *radius);
        }
        Shape::Words { at, height, anchor, turned, words } => {
            dxf.entity("TEXT", mark.layer, false);
            dxf.point(10, *at);
            dxf.number(40, *height);
            dxf.words(1, words);
            if *turned != 0.0 {
                dxf.number(50, *turned);
            }
            let place = match anchor {
                Anchor::Start => return,
                Anchor::Middle => "1",
                Anchor::End => "2",
            };
            dxf.tag(72, place);
            dxf.point(11, *at);
        }
    }
}

fn polyline(dxf: &mut Dxf, layer: Layer, dashed: bool, line: &Line) {
    dxf.entity("POLYLINE", layer, dashed);
    dxf.tag(66, "1");
    dxf.point(10, DVec2::ZERO);
    dxf.tag(70, if line.closed { "1" } else { "0" });
    for point in &line.points {
        dxf.entity("VERTEX", layer, false);
        dxf.point(10, *point);
    }
    dxf.entity("SEQEND", layer, false);
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::{BLACK, Stroke};
    use super::*;

    /// The records of a file, as the format defines them: a line with a group's number, a line with its value.
    fn records(dxf: &str) -> Vec<(u16, &str)> {
        let lines: Vec<&str> = dxf.lines().collect();
        assert_eq!(lines.len() % 2, 0);
        lines.chunks(2).map(|pair| (pair[0].trim().parse().unwrap_or(u16::MAX), pair[1])).collect()
    }

    #[test]
    fn an_outline_is_closed_and_lies_on_its_layer() {
        let mut drawing = Drawing::new("a plate", 100.0, 50.0);
        let corners = [DVec2::ZERO, DVec2::X * 10.0, DVec2::new(10.0, 2.0 / 3.0)];
        drawing.outline(Layer::Cut, Stroke::new(0.1, BLACK), corners);
        drawing.circle(Layer::Mark, Stroke { dash: Some([2.0, 1.0]), ..Stroke::new(0.1, BLACK) }, DVec2::ONE, 2.5);
        let dxf = text(&drawing);
        let records = records(&dxf);
        let after = |kind: &str| {
            let begin = records.iter().position(|&record| record == (0, kind)).unwrap_or_else(|| panic!("{kind}"));
            records[begin + 1..].iter().take_while(|(group, _)| *group != 0).copied().collect::<Vec<_>>()
        };
        assert!(after("POLYLINE").contains(&(8, "CUT")) && after("POLYLINE").contains(&(70, "1")));
        assert_eq!(records.iter().filter(|&&record| record == (0, "VERTEX")).count(), 3);
        assert!(records.contains(&(20, "0.666667")));
        let circle = [(8, "MARK"), (6, "DASHED"), (10, "1.0"), (20, "1.0"), (30, "0.0"), (40, "2.5")];
        assert_eq!(after("CIRCLE"), circle);
        assert_eq!(records.last(), Some(&(0, "EOF")));
    }

    #[test]
    fn words_keep_their_sense() {
        let mut drawing = Drawing::new("Ø", 10.0, 10.0);
        drawing.words(Layer::Note, DVec2::ZERO, 2.0, Anchor::End, "Ø 4 · 100 %% \\P ^J\n0\nEOF 𝄞");
        let dxf = text(&drawing);
        assert!(dxf.is_ascii());
        let said = "\\U+00D8 4 \\U+00B7 100 %%%%%% \\U+005CP \\U+005EJ 0 EOF ?";
        assert!(records(&dxf).contains(&(1, said)), "{dxf}");
        assert_eq!(dxf.matches("EOF\n").count(), 1);
    }

    proptest! {
        #[test]
        fn no_words_break_a_file(words in "\\PC{0,400}|(?s).{0,80}") {
            let mut drawing = Drawing::new(words.clone(), 10.0, 10.0);
            drawing.words(Layer::Note, DVec2::ZERO, 2.0, Anchor::Start, words);
            let dxf = text(&drawing);
            prop_assert!(dxf.is_ascii());
            let records = records(&dxf);
            prop_assert!(records.iter().all(|(group, _)| *group != u16::MAX));
            prop_assert_eq!(records.iter().filter(|&&record| record == (0, "EOF")).count(), 1);
            prop_assert!(records.iter().filter(|(group, _)| *group == 0).count() < 30);
        }
    }
}
