//! The sheets of an order, drawn from a record that was invented for these tests.

#![allow(clippy::unwrap_used)]

use std::path::Path;

use serde_json::{Value, from_value, json};
use turnhue_reports::package::{self, Ordered, PackageRequest, Sheet, Undrawn, ordered_files};
use turnhue_reports::record::{self, File, Record, Verdict};
use turnhue_stages::findings::{Fact, Finding, Place, Unit};
use turnhue_stages::process::Family;

const SHA256: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";

/// A picture of 120 × 120 pixels, clear but for the columns 20 to 99 and the rows 10 to 109.
fn picture(_: &str) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, 120, 120);
    encoder.set_color(png::ColorType::Rgba);
    encoder.set_depth(png::BitDepth::Eight);
    let pixel = |at: usize| {
        let inside = (20..100).contains(&(at % 120)) && (10..110).contains(&(at / 120));
        [40, 80, 120, if inside { 255 } else { 0 }]
    };
    let pixels: Vec<u8> = (0..120 * 120).flat_map(pixel).collect();
    encoder.write_header().unwrap().write_image_data(&pixels).unwrap();
    Some(bytes)
}

/// The whelk of an old record, with the facts that the stages say by now.
fn whelk() -> Record {
    let mut record =
        record::read(Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/records/form-1.json"))).unwrap();
    let stage = |name: &str| record.stages.iter().position(|stage| stage.name == name).unwrap();
    let [repair, hollow, validate] = ["repair", "hollow", "validate"].map(stage);
    let text = |row: &[&str]| -> Vec<String> { row.iter().map(|&text| text.to_owned()).collect() };
    let necks = [
        "place x, y, z, mm",
        "cells in a row",
        "carried, g",
        "bending upright, MPa",
        "bending lying, MPa",
        "bending in handling, MPa",
        "safety factor",
    ];
    let row = ["33.0, 90.0, 171.0", "1", "12.500", "0.1", "0.2", "3.3", "3.60"];
    record.stages[repair].facts.push(Fact::table("weakest necks", &necks, vec![text(&row)]));
    let places = [[33.0, 90.0, 171.0], [99.0, 30.0, 9.0]].map(|mm| Place { mm, cell: None });
    record.stages[repair]
        .findings
        .push(Finding::caution("weak-neck", "2 parts hang on one cell", "thicken").at(places));
    record.stages[hollow].facts.push(Fact::number("void", 600.0, Unit::Cm3));
    let openings = ["side", "clear width, mm", "shaft along x, y, z, mm"];
    record.stages[hollow].facts.push(Fact::table("openings", &openings, vec![text(&["bottom", "24", "0 – 1"])]));
    record.stages[validate].facts.push(Fact::whole("bodies", 1, Unit::Count));
    record.stages[validate].facts.push(Fact::whole("open edges", 0, Unit::Count));
    record
}

fn draw(record: &Record) -> Vec<Sheet> {
    let files = ordered_files(record);
    let ordered: Vec<Ordered<'_>> = files.into_iter().map(|file| Ordered { file, sha256: SHA256 }).collect();
    package::draw(record, &ordered, &picture).unwrap()
}

fn sheet(record: &Record, name: &str) -> String {
    draw(record).into_iter().find(|sheet| sheet.name == name).unwrap().text
}

fn order_sheet(record: &Record) -> String {
    sheet(record, package::ORDER_SHEET)
}

fn told(record: &mut Record, package: Value) {
    record.package = Some(from_value::<PackageRequest>(package).unwrap());
}

/// Spaces that do not break, and those between digits, as plain ones.
fn plain(page: &str) -> String {
    page.replace(['\u{a0}', '\u{202f}'], " ")
}

#[test]
fn every_sheet_asks_for_nothing_and_runs_nothing() {
    for Sheet { name, text, .. } in draw(&whelk()) {
        let lower = text.to_lowercase();
        assert!(!lower.contains("<script") && !lower.contains("javascript:") && !lower.contains("@import"), "{name}");
        let without = lower.replace("http://www.w3.org/2000/svg", "");
        assert!(!without.contains("http:") && !without.contains("https:") && !without.contains("url("), "{name}");
        if name.ends_with(".html") {
            let policy = "content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'\"";
            assert!(text.contains(policy), "{name}");
        }
    }
}

#[test]
fn no_text_of_the_record_becomes_markup() {
    const HOSTILE: &str = "\"><img src=x onerror=alert(1)></style></svg><script>alert(1)</script>'&";
    let mut record = whelk();
    told(&mut record, json!({ "from": HOSTILE, "to": HOSTILE, "note": HOSTILE, "finishing": [HOSTILE] }));
    for text in
        [&mut record.title, &mut record.commission, &mut record.run, &mut record.process.name, &mut record.tool.name]
    {
        text.push_str(HOSTILE);
    }
    record.process.layer.basis = HOSTILE.to_owned();
    for stage in &mut record.stages {
        for finding in &mut stage.findings {
            // The codes by which the sheets know a finding stay, of the others none.
            if !["weak-neck", "thin-part"].contains(&finding.code.as_str()) {
                finding.code.push_str(HOSTILE);
            }
            finding.message.push_str(HOSTILE);
            finding.remedy.push_str(HOSTILE);
        }
        for fact in &mut stage.facts {
            match &mut fact.value {
                turnhue_stages::findings::Value::Text(text) => text.push_str(HOSTILE),
                turnhue_stages::findings::Value::Money { amount, currency } => {
                    amount.push_str(HOSTILE);
                    currency.push_str(HOSTILE);
                }
                turnhue_stages::findings::Value::Table { columns, rows } => {
                    // Beside what is looked up: headings and the first column.
                    columns.push(HOSTILE.to_owned());
                    rows.iter_mut().flat_map(|row| row.iter_mut().skip(1)).for_each(|cell| cell.push_str(HOSTILE));
                    rows.iter_mut().for_each(|row| row.push(HOSTILE.to_owned()));
                }
                _ => {}
            }
        }
    }
    for Sheet { name, text, .. } in draw(&record) {
        for markup in ["<img src=x", "<script", "</style></svg>", "onerror=alert(1)>"] {
            assert!(!text.contains(markup), "{name}: {markup}");
        }
        assert_eq!(text.matches("</html>").count(), usize::from(name.ends_with(".html")), "{name}");
        assert!(text.contains("&lt;img") || text.contains("&#60;img"), "{name} has the texts, escaped");
    }
}

#[test]
fn only_what_is_ready_to_order_has_sheets() {
    for verdict in [Verdict::HasFaults, Verdict::NotValidated] {
        let mut record = whelk();
        record.verdict = verdict;
        let files = ordered_files(&record);
        let ordered: Vec<Ordered<'_>> = files.into_iter().map(|file| Ordered { file, sha256: SHA256 }).collect();
        assert!(matches!(package::draw(&record, &ordered, &picture), Err(Undrawn::NotReady)));
    }
    assert!(matches!(package::draw(&whelk(), &[], &picture), Err(Undrawn::NotReady)));
    let mut record = whelk();
    record.order = None;
    assert!(ordered_files(&record).is_empty());
}

#[test]
fn the_order_sheet_says_what_to_print() {
    let record = whelk();
    let page = plain(&order_sheet(&record));
    let file = ordered_files(&record)[0];
    for words in [
        "binder jetting (BJT) (ISO/ASTM 52900)",
        "132 × 120 × 180 mm",
        "<dd>3 mm</dd>",
        "bottom: 24 mm clear",
        "1 closed body, 90 376 triangles, no open edge",
        SHA256,
        &file.blake3,
        "Price expected, all in",
        "EUR 214.87",
        "An estimate, not an offer",
    ] {
        assert!(page.contains(words), "{words}");
    }
    // Lines to fill in by hand: 3 + 3 + 2 of the parties, copies, finishing, and 4 of the offer.
    assert_eq!(page.matches("class=\"fill\"").count() + page.matches("class=\"fill short\"").count(), 8 + 2 + 4);
}

#[test]
fn what_the_job_tells_stands_in_the_place_of_lines() {
    let mut record = whelk();
    let package = json!({
        "copies": 5, "finishing": ["matt varnish", "felt below"], "from": "Studio Kestrel\n1 Harbour Lane",
        "to": "Bureau One", "note": "Call before you send it.", "paper": "letter",
    });
    told(&mut record, package);
    let page = plain(&order_sheet(&record));
    for words in [
        "Studio Kestrel\n1 Harbour Lane",
        "Bureau One",
        "Call before you send it.",
        "matt varnish, felt below",
        "<dd>5</dd>",
    ] {
        assert!(page.contains(words), "{words}");
    }
    assert_eq!(page.matches("class=\"fill\"").count() + page.matches("class=\"fill short\"").count(), 2 + 4);
    for Sheet { name, text, .. } in draw(&record) {
        assert_eq!(text.contains("@page { size: letter;"), name.ends_with(".html"), "{name}");
    }
    assert!(!order_sheet(&whelk()).contains("@page { size:"), "the paper is whatever is in the printer");
    // One label a copy.
    assert_eq!(sheet(&record, "label.html").matches("class=\"to-cut\"").count(), 5);
}

/// The price is that of the number of copies that is ordered, or says of how many it is.
#[test]
fn the_price_is_that_of_the_copies() {
    let mut record = whelk();
    told(&mut record, json!({ "copies": 5 }));
    let estimate = record.stages.iter().rfind(|stage| stage.name == "estimate").unwrap();
    let rows = estimate.facts.iter().find(|fact| fact.name == "cost by copies").unwrap();
    let rows = serde_json::to_value(rows).unwrap();
    let of_five = rows["value"]["table"]["rows"][1][6].as_str().unwrap().to_owned();
    let price = |record: &Record| {
        let page = plain(&order_sheet(record));
        page.split("Price expected, all in</dt><dd>").nth(1).unwrap().split('<').next().unwrap().to_owned()
    };
    assert_eq!(price(&record), plain(&of_five).replace("1042.05", "1 042.05"));
    told(&mut record, json!({ "copies": 7 }));
    assert_eq!(price(&record), "EUR 214.87");
    assert!(plain(&order_sheet(&record)).contains("This was reckoned for 1 copy; 7 are ordered."));
}

/// Worked by hand: 600 cm³ of cavity × 1.35 g/cm³ × ½ = 405 g of powder; 437.83 g ± 10 % is 394 to 482 g.
#[test]
fn the_list_for_the_arrival_has_figures_with_their_tolerances() {
    let page = plain(&order_sheet(&whelk()));
    for words in [
        "132 mm ± 0.3 mm",
        "120 mm ± 0.3 mm",
        "180 mm ± 0.3 mm",
        "438 g ± 10 % (394 g to 482 g)",
        "it would weigh about 405 g more",
        "clear to 24 mm ± 0.3 mm",
        "No powder inside",
        "a box of at least 232 × 220 × 280 mm",
    ] {
        assert!(page.contains(words), "{words}");
    }
    // 50 cm³ hold 34 g, less than twice what the weight may be off: scales cannot tell.
    let mut small = whelk();
    small.stages.iter_mut().find(|stage| stage.name == "hollow").unwrap().facts.push(Fact::number(
        "void",
        50.0,
        Unit::Cm3,
    ));
    assert!(plain(&order_sheet(&small)).contains("The scales alone cannot tell whether it is empty"));
}

/// sRGB colours with their CIELAB under D65, from the literature on colour (B. Lindbloom's calculator, by its published values
/// for the primaries): red 53.24, 80.09, 67.20; white 100, 0, 0.
#[test]
fn patches_have_the_numbers_of_their_colours() {
    let mut record = whelk();
    let colour = record.stages.iter_mut().find(|stage| stage.name == "colour").unwrap();
    colour.settings["front"] = "#ff0000".into();
    colour.settings["top"] = "#ffffff".into();
    let page = plain(&order_sheet(&record));
    assert!(page.contains("<code>#ff0000</code>") && page.contains("53.2, 80.1, 67.2"));
    assert!(page.contains("100.0, 0.0, 0.0") || page.contains("100.0, −0.0, 0.0"), "white");
    for letters in ["Fr", "Ri", "Ba", "Le", "To", "Bo", "In"] {
        assert!(page.contains(&format!(">{letters}</text>")), "{letters}");
    }
}

#[test]
fn every_caution_is_on_the_order_sheet_and_no_note() {
    let record = whelk();
    let page = order_sheet(&record);
    let codes = |severity: &str| -> Vec<String> {
        let of = |value: &Value| value["severity"] == severity;
        let findings = record.findings().into_iter().map(|(_, finding)| serde_json::to_value(finding).unwrap());
        findings.filter(of).map(|value| value["code"].as_str().unwrap().to_owned()).collect()
    };
    let cautions = codes("caution");
    assert_eq!(cautions.len(), 2);
    for code in cautions {
        assert!(page.contains(&format!("<code>{code}</code>")), "{code}");
    }
    for code in codes("note") {
        assert!(!page.contains(&code), "{code}");
    }
}

/// The silhouette fills the columns 20 to 100 and the rows 10 to 110 of the picture; the piece is 132 × 120 × 180 mm. At x = 33
/// of 132 the column is 20 + 80 / 4 = 40; at z = 171 of 180 the row is 110 − 100 × 0.95 = 15.
#[test]
fn weak_places_are_marked_where_they_are() {
    let page = plain(&order_sheet(&whelk()));
    let mark = |x: &str, y: &str| format!("<circle class=\"hoop\" cx=\"{x}\" cy=\"{y}\"");
    assert!(page.contains(&mark("40", "15")), "from the front");
    // From the right y counts: 90 of 120.
    assert!(page.contains(&mark("80", "15")), "from the right");
    assert!(page.contains("a part of 12.5 g hangs on a single cube here"));
    assert!(page.contains("High up, towards the back left (x 33, y 90, z 171 mm)"), "{page}");
    assert!(page.contains("Low down, towards the front right (x 99, y 30, z 9 mm)"));
    // A piece without.
    let mut sturdy = whelk();
    sturdy.stages.iter_mut().for_each(|stage| stage.findings.retain(|finding| finding.code != "weak-neck"));
    let page = plain(&order_sheet(&sturdy));
    assert!(page.contains("No part of it hangs on a single cube. Its weakest places are walls of 2.501 mm."));
    // Of an old record nobody knows where its origin is: no mark where none is sure.
    let mut old = whelk();
    let repair = old.stages.iter_mut().find(|stage| stage.name == "repair").unwrap();
    repair.findings.iter_mut().for_each(|finding| finding.places.iter_mut().for_each(|place| place.mm[0] -= 66.0));
    assert!(!order_sheet(&old).contains("class=\"hoop\""));
}

#[test]
fn cautions_of_handling_go_by_the_family() {
    for (family, has, not) in [
        (Family::BinderJetting, "dust mask", "uncured resin"),
        (Family::VatPhotopolymerization, "uncured resin", "dust mask"),
    ] {
        let mut record = whelk();
        record.process.family = family;
        let page = order_sheet(&record);
        assert!(page.contains(has) && !page.contains(not), "{family:?}");
        assert!(page.contains("safety data sheet") && page.contains("local rules"), "{family:?}");
    }
}

#[test]
fn the_client_sheet_tells_care_and_the_turn() {
    let page = plain(&sheet(&whelk(), package::CLIENT_SHEET));
    for words in [
        "No direct sun",
        "soft dry brush",
        "No water",
        "both hands",
        "children under three",
        "extra-low voltage",
        "qualified electrician",
        "132 × 120 × 180 mm",
    ] {
        assert!(page.contains(words), "{words}");
    }
    let sides = ["front", "right", "back", "left", "top", "bottom"];
    let places: Vec<_> = sides.iter().map(|side| page.find(&format!("straight from its {side}")).unwrap()).collect();
    assert!(places.is_sorted(), "in the order of a turn");
    // What a stand knows takes the place of what is usual.
    assert!(page.contains("1 to 2 turns a minute"));
    let mut record = whelk();
    let stand = json!({
        "name": "stand", "version": 1, "settings": {}, "needs": [], "gives": [], "findings": [], "artefacts": [],
        "facts": [{ "name": "fastest recommended speed", "value": { "number": 3.0 }, "unit": "rpm" },
                  { "name": "swept diameter", "value": { "number": 201.5 }, "unit": "mm" },
                  { "name": "bodies", "value": { "whole": 3 }, "unit": "count" }],
    });
    record.stages.push(from_value(stand).unwrap());
    let page = plain(&sheet(&record, package::CLIENT_SHEET));
    assert!(page.contains("Turns a minute, at most") && page.contains("3 rpm") && page.contains("201.5 mm"));
    assert!(!page.contains("1 to 2 turns a minute"));
}

#[test]
fn several_files_are_all_listed() {
    let record = whelk();
    let parts: Vec<File> = (1..=3)
        .map(|n| File {
            name: format!("part-{n}.3mf"),
            what: "a part".to_owned(),
            bytes: 1000 * n,
            blake3: format!("{n:064x}"),
        })
        .collect();
    let ordered: Vec<Ordered<'_>> = parts.iter().map(|file| Ordered { file, sha256: SHA256 }).collect();
    let sheets = package::draw(&record, &ordered, &picture).unwrap();
    let text = |name: &str| &sheets.iter().find(|sheet| sheet.name == name).unwrap().text;
    for file in &parts {
        assert!(text(package::ORDER_SHEET).contains(&file.name) && text(package::ORDER_SHEET).contains(&file.blake3));
    }
    assert!(text(package::ORDER_SHEET).contains("The 3 files to print"));
    assert!(text(package::CLIENT_SHEET).contains("3 parts"));
    assert!(text("label.svg").contains("3 files to order"));
}
