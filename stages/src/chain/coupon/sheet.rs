//! The reading sheet: one HTML file to print on A4 or Letter, without scripts and without requests. It shows the plaque at
//! true size, says how to look, and leaves boxes to write in.

use std::fmt::Write as _;

use quick_xml::escape::escape;

use super::layout::{Drawn, Layout, PAIRS, Rect};
use super::reading::{Ladders, Row};
use super::{Inks, TEXT, mm};
use crate::Side;
use crate::process::Process;

const STYLE: &str = "\
@page{margin:12mm}*{box-sizing:border-box}\
body{margin:0 auto;padding:6mm 4mm;max-width:186mm;background:#fff;color:#000;font:10pt/1.4 system-ui,'Segoe UI','Noto Sans',Arial,sans-serif}\
h1,h2{font-family:'Iowan Old Style','Palatino Linotype',Palatino,Georgia,serif;font-weight:500;line-height:1.2}\
h1{margin:0 0 1mm;font-size:20pt;overflow-wrap:anywhere}h2{margin:5mm 0 1.5mm;font-size:13pt;break-after:avoid}\
p{margin:0 0 2mm}.from{color:#444;overflow-wrap:anywhere}ol,ul{margin:0;padding-left:5mm}li{margin:0 0 1mm}\
.top{display:flex;flex-wrap:wrap;gap:2mm 8mm}.top>div{flex:1 1 75mm}\
figure{margin:4mm 0 0;break-inside:avoid}figcaption{max-width:84mm}figcaption{color:#444;font-size:9pt}svg{display:block;max-width:100%;height:auto}\
.rows{display:grid;grid-template-columns:1fr 1fr;gap:4mm 8mm}section{break-inside:avoid}\
table{width:100%;border-collapse:collapse;font-variant-numeric:tabular-nums}caption{text-align:left;padding-bottom:1mm}\
th,td{border-bottom:.2mm solid #999;padding:.8mm 1mm;text-align:right;font-weight:400}\
thead th{border-color:#000;color:#444;font-size:8.5pt}tbody th{font-weight:600}\
.box{display:inline-block;width:4.2mm;height:4.2mm;border:.3mm solid #000;vertical-align:middle}\
.answer{margin-top:2mm}.line{display:inline-block;width:16mm;border-bottom:.3mm solid #000}\
pre{margin:0;padding:2mm 3mm;background:#f2f2f2;white-space:pre-wrap;font:9pt/1.5 ui-monospace,Menlo,Consolas,monospace;print-color-adjust:exact}\
svg rect,svg path{print-color-adjust:exact;-webkit-print-color-adjust:exact}\
@media print{body{padding:0}}\
@media screen and (max-width:150mm){.rows{grid-template-columns:1fr}}";

/// The page.
pub(super) fn page(ladders: &Ladders, layout: &Layout, inks: &Inks, title: &str, process: &Process) -> String {
    let title = if title.is_empty() { "untitled" } else { title };
    let (title, printer) = (escape(title), escape(process.name.as_str()));
    let plan = plan(layout, inks);
    let rows: String = Row::ALL.map(|row| table(ladders, row, inks)).concat();
    let caution = if process.family.leaves_powder() {
        "Loose powder is dust: clean the coupon outdoors or at an extraction, with a dust mask and eye protection, away from \
         flames. "
    } else {
        ""
    };
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\
         <meta name=\"viewport\" content=\"width=device-width\"><title>Reading sheet: {title}</title><style>{STYLE}</style>\
         </head><body><h1>Reading sheet of the test coupon</h1>\
         <p class=\"from\">For: {title}. Process: {printer}. Printed on <span class=\"line\"></span> by \
         <span class=\"line\"></span> Run <span class=\"line\" style=\"width:45mm\"></span></p>\
         <div class=\"top\"><figure>{plan}<figcaption>The coupon from above, front edge below. At true size when printed at \
         100 %: the bar must measure 50 mm.</figcaption></figure>\
         <div><h2>How to look</h2><ol>\
         <li>Let the bureau clean and finish the coupon just as the piece will be, and let it dry for a day.</li>\
         <li>Look in daylight from a window, not in the sun, with the light from the side and no lamp beside you. Hold it about \
         30 cm away, as you read a book; no magnifier.</li>\
         <li>Go along each row from 1 on and tick what holds. In rows C, L and T write down the last before the first that \
         fails, in row F the first that slides.</li>\
         <li>Let a second person read without seeing your ticks. Where you differ, take the larger patch, line or gap.</li>\
         </ol></div></div>\
         <div class=\"rows\">{rows}</div>\
         <h2>What to do with it</h2><p>Put the numbers into this line; leave out what you did not read. It writes a new process \
         file and leaves the old one as it is.</p>\
         <pre>turnhue calibrate RUN-FOLDER --process PROCESS.yaml --smallest-patch ___ --thinnest-line ___ --thinnest-wall ___ \
         --first-sliding ___ --into NEW-PROCESS.yaml</pre>\
         <h2>Take care</h2><p>{caution}The coupon is no toy: it has small parts, the key and fins that may break off, and sharp \
         corners. Keep it from children under three. Do not cut or sand a slot or the key: that spoils the reading; if you must \
         cut elsewhere, hold the coupon in a vice and cut away from your hand.</p></body></html>\n"
    )
}

/// How to read a row, and its sizes with a box each.
fn table(ladders: &Ladders, row: Row, inks: &Inks) -> String {
    let (name, how, answer) = match row {
        Row::Cells => (
            "patches of steps",
            "Turn the coupon so that a corner of it points at you, and tilt it half way. A patch holds if you can say of each of \
             its faces, on all four slopes, which of the colours it has."
                .to_owned(),
            "smallest patch that holds",
        ),
        Row::Lines => (
            "lines of one colour in another",
            format!(
                "Look straight down. A line holds if it shows its own colour, not a mixture, in all four bands; the block at the \
                 left end shows it. The bands from the back: {}.",
                PAIRS.map(|[field, line]| format!("{line} {} in {field} {}", swatch(inks, line), swatch(inks, field))).join(", ")
            ),
            "thinnest line that holds",
        ),
        Row::Thicknesses => (
            "fins of falling thickness",
            "A fin holds if it is whole and straight after cleaning, and stands a light touch of a finger.".to_owned(),
            "thinnest fin that holds",
        ),
        Row::Fits => (
            "slots for the key",
            "Blow the slots out. Push the blade of the key into each slot from the front edge. A slot holds if the blade slides \
             in and out by its own weight or a touch, without force."
                .to_owned(),
            "first slot in which the key slides",
        ),
    };
    let mut lines = String::new();
    for (size, number) in ladders.row(row).iter().zip(1..) {
        let _ = write!(
            lines,
            "<tr><th scope=\"row\">{number}</th><td>{} mm</td><td><span class=\"box\"></span></td></tr>",
            mm(*size)
        );
    }
    format!(
        "<section><h2>{}: {name}</h2><p>{how}</p><table><thead><tr><th scope=\"col\">{}</th><th scope=\"col\">{}</th>\
         <th scope=\"col\">holds</th></tr></thead><tbody>{lines}</tbody></table><p class=\"answer\">The {answer}: \
         <span class=\"line\"></span></p></section>",
        row.letter(),
        row.item(),
        row.measure(),
    )
}

fn swatch(inks: &Inks, side: Side) -> String {
    format!(
        "<svg width=\"2.6mm\" height=\"2.6mm\" style=\"display:inline\" aria-hidden=\"true\"><rect width=\"100%\" height=\"100%\" \
         fill=\"{}\" stroke=\"#777\"/></svg>",
        inks.sides[side]
    )
}

/// The plan as a drawing in mm, the back above.
fn plan(layout: &Layout, inks: &Inks) -> String {
    let [width, depth] = layout.size.map(|um| f64::from(um) / 1000.0);
    let mut drawing = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{0}mm\" height=\"{1}mm\" viewBox=\"-1 -1 {0} {1}\" role=\"img\" \
         aria-label=\"The coupon from above\">",
        mm(width + 2.0),
        mm(depth + 8.0)
    );
    for drawn in &layout.plan {
        draw(&mut drawing, drawn, layout.size[1], inks);
    }
    let bar = depth + 3.0;
    let _ = write!(
        drawing,
        "<path d=\"M0 {0}v2m0-1h50m0-1v2\" fill=\"none\" stroke=\"#000\" stroke-width=\".25\"/>\
         <text x=\"52\" y=\"{1}\" font-size=\"3\">50 mm</text></svg>",
        mm(bar),
        mm(bar + 2.0)
    );
    drawing
}

fn draw(to: &mut String, drawn: &Drawn, depth: i32, inks: &Inks) {
    let mut rect = |[low, high]: &Rect, fill: &str, stroke: &str| {
        let [x, y, w, h] =
            [low[0], depth - high[1], high[0] - low[0], high[1] - low[1]].map(|um| f64::from(um) / 1000.0);
        let _ = write!(
            to,
            "<rect x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\" fill=\"{fill}\" stroke=\"{stroke}\" stroke-width=\".15\"/>"
        );
    };
    let bare = inks.bare.to_string();
    match drawn {
        Drawn::Plate(at) | Drawn::Key(at) => rect(at, &bare, "#000"),
        Drawn::Air(at) => rect(at, "#fff", "#000"),
        Drawn::Fin(at) => rect(at, "#999", "#000"),
        Drawn::Dot(at) => rect(at, &TEXT.to_string(), &TEXT.to_string()),
        Drawn::Colour(at, side) => rect(at, &inks.sides[*side].to_string(), "none"),
        Drawn::Patch(at) => patch(to, at, depth, inks),
    }
}

/// A patch: four slopes, each between two sides; half of it in the colour of either.
fn patch(to: &mut String, [low, high]: &Rect, depth: i32, inks: &Inks) {
    let [left, right, front, back] =
        [low[0], high[0], depth - low[1], depth - high[1]].map(|um| f64::from(um) / 1000.0);
    let (x, y) = (f64::midpoint(left, right), f64::midpoint(front, back));
    let [dx, dy] = [(right - left) / 4.0, (front - back) / 4.0];
    // Around the middle, from the tip at the right against the clock: each eighth between a tip and the middle of a slope.
    for (side, [sx, sy]) in
        [(Side::Right, [1.0, 0.0]), (Side::Back, [0.0, -1.0]), (Side::Left, [-1.0, 0.0]), (Side::Front, [0.0, 1.0])]
    {
        let tip = [x + 2.0 * sx * dx, y + 2.0 * sy * dy];
        let [a, b] = [1.0, -1.0].map(|turn: f64| [x + (sx + turn * sy) * dx, y + (sy + turn * sx) * dy]);
        let _ = write!(
            to,
            "<path d=\"M{x:.3} {y:.3}L{:.3} {:.3} {:.3} {:.3} {:.3} {:.3}z\" fill=\"{}\"/>",
            a[0], a[1], tip[0], tip[1], b[0], b[1], inks.sides[side]
        );
    }
}
