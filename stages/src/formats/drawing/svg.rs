//! Writes a drawing as SVG (Scalable Vector Graphics 1.1, W3C 2011): one user unit is a millimetre, and width and height say
//! so, so that a browser shows 96 px for each inch of it (CSS Values 3, §6.2) and a laser cutter's reader takes it 1:1.
//!
//! Layers are groups with the names of [`layer_name`]. Characters that XML forbids are left out.

use std::fmt::Write as _;
use std::io::{self, Write};

use quick_xml::escape::escape;

use super::{Anchor, CAPITALS, Drawing, Layer, Line, Mark, Shape, Stroke, short};

/// Writes the drawing.
///
/// # Errors
/// Whatever the writer meets.
pub fn write(drawing: &Drawing, out: &mut dyn Write) -> io::Result<()> {
    out.write_all(text(drawing).as_bytes())
}

/// The drawing as SVG text.
#[must_use]
pub fn text(drawing: &Drawing) -> String {
    let (width, height) = (short(drawing.width), short(drawing.height));
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}mm\" height=\"{height}mm\" viewBox=\"0 0 {width} {height}\" \
         font-family=\"Helvetica, Arial, 'Liberation Sans', sans-serif\">\n<title>{}</title>\n",
        xml(&drawing.title)
    );
    let mut open = None;
    for mark in &drawing.marks {
        if open != Some(mark.layer) {
            svg.push_str(if open.is_some() { "</g>\n" } else { "" });
            let _ = writeln!(svg, "<g class=\"{}\">", layer_name(mark.layer));
            open = Some(mark.layer);
        }
        self::mark(&mut svg, mark, drawing.height);
    }
    svg.push_str(if open.is_some() { "</g>\n</svg>\n" } else { "</svg>\n" });
    svg
}

/// What a layer is called in files.
#[must_use]
pub const fn layer_name(layer: Layer) -> &'static str {
    match layer {
        Layer::Cut => "cut",
        Layer::Mark => "mark",
        Layer::Measure => "measure",
        Layer::Note => "note",
    }
}

fn mark(svg: &mut String, mark: &Mark, sheet: f64) {
    let style = style(mark);
    let _ = match &mark.shape {
        Shape::Lines(lines) => writeln!(svg, "<path d=\"{}\"{style}/>", path(lines, sheet)),
        Shape::Circle { centre, radius } => writeln!(
            svg,
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\"{style}/>",
            short(centre.x),
            short(sheet - centre.y),
            short(*radius)
        ),
        Shape::Words { at, height, anchor, turned, words } => {
            let (x, y) = (short(at.x), short(sheet - at.y));
            let turn = if *turned == 0.0 {
                String::new()
            } else {
                format!(" transform=\"rotate({} {x} {y})\"", short(-turned))
            };
            let anchor = match anchor {
                Anchor::Start => "",
                Anchor::Middle => " text-anchor=\"middle\"",
                Anchor::End => " text-anchor=\"end\"",
            };
            let size = short(height / CAPITALS);
            writeln!(svg, "<text x=\"{x}\" y=\"{y}\" font-size=\"{size}\"{anchor}{turn}{style}>{}</text>", xml(words))
        }
    };
}

fn path(lines: &[Line], sheet: f64) -> String {
    let mut path = String::new();
    for line in lines {
        for (i, point) in line.points.iter().enumerate() {
            let letter = if i == 0 { 'M' } else { 'L' };
            let _ = write!(path, "{letter}{} {}", short(point.x), short(sheet - point.y));
        }
        path.push_str(if line.closed { "Z" } else { "" });
    }
    path
}

fn style(mark: &Mark) -> String {
    let words = matches!(mark.shape, Shape::Words { .. });
    let mut style = match mark.fill {
        Some(colour) if words && colour == super::BLACK => String::new(),
        Some(colour) if words => format!(" fill=\"{colour}\""),
        Some(colour) => format!(" fill=\"{colour}\" fill-rule=\"evenodd\""),
        None => " fill=\"none\"".to_owned(),
    };
    if let Some(Stroke { width, colour, dash }) = mark.stroke {
        let _ = write!(style, " stroke=\"{colour}\" stroke-width=\"{}\" stroke-linejoin=\"round\"", short(width));
        if let Some([on, off]) = dash {
            let _ = write!(style, " stroke-dasharray=\"{} {}\"", short(on), short(off));
        }
    }
    style
}

/// Text for XML: escaped, without the characters that XML 1.0 has not (§2.2).
fn xml(text: &str) -> String {
    let held = |c: &char| matches!(c, '\t' | '\n' | '\r' | ' '..='\u{d7ff}' | '\u{e000}'..='\u{fffd}' | '\u{10000}'..);
    escape(text.chars().filter(held).collect::<String>()).into_owned()
}

#[cfg(test)]
mod tests {
    use glam::DVec2;

    use super::super::{BLACK, Stroke};
    use super::*;

    #[test]
    fn a_sheet_has_its_size_in_mm_and_y_goes_up() {
        let mut drawing = Drawing::new("a < b\u{1}", 210.0, 297.0);
        drawing.line(Layer::Cut, Stroke::new(0.2, BLACK), [DVec2::new(10.0, 0.0), DVec2::new(10.0, 297.0 - 0.12345)]);
        drawing.words(Layer::Note, DVec2::ZERO, 7.18, Anchor::Middle, "& more");
        let svg = text(&drawing);
        assert!(svg.contains("width=\"210mm\" height=\"297mm\" viewBox=\"0 0 210 297\""), "{svg}");
        assert!(svg.contains("<title>a &lt; b</title>") && svg.contains("d=\"M10 297L10 0.123\""), "{svg}");
        // Capitals 7.18 mm high are Helvetica of 10 mm.
        assert!(svg.contains("font-size=\"10\" text-anchor=\"middle\">&amp; more<"), "{svg}");
    }
}
