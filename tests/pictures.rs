//! Jobs with pictures: the example in `jobs/`, and files that are missing or no pictures, shown where the job names them.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "own-stages/workshop.rs"]
#[expect(dead_code, reason = "the jobs here are for the stages that ship, not for those of the tests")]
mod workshop;

use std::path::Path;

use turnhue::plan::plan;
use workshop::Workshop;

const COLOURS: &str = "left: teal, back: gold, front: ivory, top: navy, bottom: olive";

/// The only fault of a job whose right side is so: how far into that it is, and what is said.
fn fault(shop: &Workshop, right: &str) -> String {
    let before = shop.content().len();
    let colour = format!("colour: {{ {COLOURS}, right: {right} }}");
    let job = shop.job(&format!("voxelise: {{ cell: 2 mm }}\n{colour}"));
    let faults = plan(&job, &turnhue_stages::shipped()).err().unwrap_or_default();
    assert_eq!(faults.len(), 1, "{faults:#?}");
    assert!(shop.content().len() <= before + 1, "planning wrote something");
    let (line, column) = faults[0].place().unwrap().line_and_column();
    // The stages stand from line 6 on, behind four characters.
    let into = column - 4 - colour.find(right).unwrap();
    format!("{line}+{into} {} / {}", faults[0].message(), faults[0].what_to_do())
}

#[test]
fn a_picture_that_cannot_be_used_shows_where_it_is_named() {
    let shop = Workshop::new();
    shop.put("text.png", "no picture");
    for (right, parts) in [
        ("{ picture: none.png }", vec!["7+12 ", "none.png", "relative to the job file"]),
        ("{ picture: { fit: whole, file: none.png } }", vec!["7+32 ", "none.png"]),
        (
            "{ picture: text.png }",
            vec!["7+12 ", "the picture text.png is not a picture in PNG, JPEG or WebP", "save it as PNG"],
        ),
        ("none.png", vec!["7+1 ", "{ picture: none.png }"]),
        ("{ pictur: none.png }", vec!["7+3 ", "is `picture` meant?"]),
        ("{ gradient: { from: red, to: '#12', along: z } }", vec!["7+30 ", "'#12' is not a colour"]),
    ] {
        let said = fault(&shop, right);
        parts.iter().for_each(|part| assert!(said.contains(part), "'{part}' is not in: {said}"));
    }
}

#[test]
fn the_example_is_in_order() {
    let planned = plan(Path::new("jobs/two-faces.yaml"), &turnhue_stages::shipped());
    assert!(planned.is_ok(), "{:#?}", planned.err());
    for name in ["day.png", "night.png"] {
        let bytes = std::fs::read(Path::new("jobs/pictures").join(name)).unwrap();
        assert!(bytes.len() < 60_000, "{name}: {}", bytes.len());
    }
}
