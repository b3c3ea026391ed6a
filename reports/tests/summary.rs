//! The summary page, drawn from a record that was invented for these tests.

#![allow(clippy::unwrap_used)]

use std::path::Path;

use serde_json::{Value, json};
use turnhue_reports::record::{self, Record, Verdict};
use turnhue_reports::summary;

/// A PNG's signature and header: 480 × 480 pixels. A page takes pictures in without decoding them.
const PNG: &[u8] = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\x01\xe0\0\0\x01\xe0\x08\x06\0\0\0";

fn whelk() -> Record {
    record::read(Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/records/form-1.json"))).unwrap()
}

fn draw(record: &Record) -> String {
    summary::draw(record, &|_| Some(PNG.to_vec())).unwrap()
}

/// Applies `change` to every text of a JSON value, but leaves the names of fields.
fn change_texts(value: &mut Value, change: &mut impl FnMut(&mut String)) {
    match value {
        Value::String(text) => change(text),
        Value::Array(items) => items.iter_mut().for_each(|item| change_texts(item, change)),
        Value::Object(fields) => fields.values_mut().for_each(|field| change_texts(field, change)),
        _ => {}
    }
}

#[test]
fn a_page_has_every_section_in_order_and_one_title() {
    let page = draw(&whelk());
    let ids = ["sides", "findings", "cost", "care", "files", "process", "stages", "again"];
    let places: Vec<_> = ids.iter().map(|id| page.find(&format!("<section id=\"{id}\">")).unwrap()).collect();
    assert!(places.is_sorted(), "{places:?}");
    assert_eq!(page.matches("<h1>").count(), 1);
    assert!(page.contains("<html lang=\"en\">"));
    assert!(page.contains("<title>Whelk for the harbour library: ready to order</title>"));
}

#[test]
fn the_page_asks_for_nothing() {
    let page = draw(&whelk());
    assert!(page.contains("default-src 'none'; img-src data:;"));
    for asking in ["<script", "<iframe", "<object", "<form", "@import", "url(", "javascript:", "<base", "srcset"] {
        assert!(!page.contains(asking), "{asking}");
    }
    for attribute in ["src=\"", "href=\""] {
        for rest in page.split(attribute).skip(1) {
            assert!(rest.starts_with("data:") || rest.starts_with('#'), "{attribute}{}", &rest[..40]);
        }
    }
    for scheme in ["http:", "https:", "file://"] {
        // The namespace of SVG is a name, not an address.
        let page = page.replace("http://www.w3.org/2000/svg", "");
        assert!(!page.contains(scheme), "{scheme}");
    }
}

#[test]
fn links_lead_to_places_on_the_page() {
    let page = draw(&whelk());
    let links: Vec<_> = page.split("href=\"#").skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
    assert!(links.len() > 10);
    for link in links {
        assert_eq!(page.matches(&format!("id=\"{link}\"")).count(), 1, "#{link}");
    }
}

/// Every text of the record in turn is replaced by markup: no element, attribute or style may come of it.
#[test]
fn no_text_of_the_record_becomes_markup() {
    const ATTACK: &str = "</style></code>\"'><script>alert(1)</script><img src=x onerror=alert(1)>{{ 7*7 }}&amp;";
    let whole = serde_json::to_value(whelk()).unwrap();
    let mut texts = 0;
    change_texts(&mut whole.clone(), &mut |_| texts += 1);
    let mut attacked = 0;
    for target in 0..texts {
        let (mut value, mut place) = (whole.clone(), 0);
        change_texts(&mut value, &mut |text| {
            if place == target {
                ATTACK.clone_into(text);
            }
            place += 1;
        });
        // Units, sides and the like take only their own words.
        let Ok(record) = serde_json::from_value::<Record>(value) else { continue };
        attacked += 1;
        let page = draw(&record);
        for markup in ["<script", "<img src=x", "</style></code>", "\"'>"] {
            assert!(!page.contains(markup), "text {target}: {markup}");
        }
        assert_eq!(page.matches("</style>").count(), 1, "text {target}");
    }
    assert!(attacked > texts / 2, "only {attacked} of {texts} texts could be changed");
}

#[test]
fn every_finding_fact_artefact_and_input_is_on_the_page() {
    let record = whelk();
    let page = draw(&record).replace("&#39;", "'");
    for (stage, finding) in record.findings() {
        assert!(page.contains(&finding.code) && page.contains(stage), "{}", finding.code);
    }
    for fact in record.stages.iter().flat_map(|stage| &stage.facts) {
        assert!(page.to_lowercase().contains(&fact.name), "{}", fact.name);
    }
    let artefacts = record.stages.iter().flat_map(|stage| &stage.artefacts);
    for file in artefacts.chain(&record.inputs) {
        assert!(page.contains(&file.name) && page.contains(&file.blake3), "{}", file.name);
    }
    for text in ["EUR\u{a0}214.87", "132 × 120 × 180\u{a0}mm", "38\u{202f}417\u{a0}cells", "712.9\u{a0}cm³"] {
        assert!(page.contains(text), "{text}");
    }
    for words in ["dust mask", "not a toy", "licensed electrician", "437.8\u{a0}g", "safety data sheet"] {
        assert!(page.contains(words), "{words}");
    }
}

#[test]
fn of_many_places_the_first_stand_on_the_page_and_the_rest_are_counted() {
    let mut record = whelk();
    let finding = &mut record.stages[2].findings[0];
    finding.places = finding.places.iter().copied().cycle().take(summary::MOST_PLACES + 37).collect();
    let page = draw(&record);
    assert!(page.contains("and 37 more, in run.json"));
    assert_eq!(page.matches("x 1.5, y \u{2212}4.5, z 178.5 mm (cell 22, 18, 59)").count(), summary::MOST_PLACES / 2);
}

#[test]
fn each_verdict_is_said_plainly_and_faults_come_first() {
    let mut record = whelk();
    let page = draw(&record);
    assert!(page.contains("<p class=\"word\">Ready to order</p>") && page.contains(">Order this one<"));
    record.verdict = Verdict::NotValidated;
    let page = draw(&record);
    assert!(page.contains("<p class=\"word\">Not validated</p>") && !page.contains("Ready to order"));
    assert!(page.contains(">Not measured: do not order yet<") && !page.contains("the file to order:"));
    record.verdict = Verdict::HasFaults;
    record.stages[5].findings[0].severity = turnhue_stages::findings::Severity::Fault;
    let page = draw(&record);
    assert!(page.contains("<p class=\"word\">Has faults</p>") && page.contains("1 fault stands below, with what"));
    assert!(page.contains(">Do not order: it has faults<") && !page.contains("Order this one"));
    let place = |text: &str| page.find(text).unwrap();
    assert!(place("id=\"findings\"") < place("id=\"sides\""));
    assert!(place("seen-through-opening") < place("did-not-convert"));
}

#[test]
fn pictures_are_in_the_page_and_only_those_that_the_record_lists() {
    let mut record = whelk();
    assert_eq!(draw(&record).matches("src=\"data:image/png;base64,").count(), 9);
    for missing in [None, Some(b"not a picture".to_vec())] {
        let page = summary::draw(&record, &|_| missing.clone()).unwrap();
        assert!(!page.contains("<img") && page.contains("#c8553d"));
    }
    for stage in &mut record.stages {
        stage.artefacts.clear();
    }
    summary::draw(&record, &|name| panic!("asked for {name}")).unwrap();
}

#[test]
fn a_picture_outside_the_run_folder_is_never_asked_for() {
    let mut record = whelk();
    for (file, name) in
        record.stages[4].artefacts.iter_mut().zip(["../secret.png", "/etc/secret.png", "view-/../x.png"])
    {
        name.clone_into(&mut file.name);
    }
    let asked = |name: &str| {
        assert!(!name.contains('/'), "{name}");
        None
    };
    summary::draw(&record, &asked).unwrap();
}

#[test]
fn a_record_with_next_to_nothing_in_it_still_makes_a_page() {
    let mut record = whelk();
    record.stages.clear();
    record.inputs.clear();
    record.order = None;
    record.verdict = Verdict::NotValidated;
    record.resolved = Value::Null;
    let page = draw(&record);
    assert!(page.contains("No stage found anything amiss."));
    assert!(!page.contains("id=\"cost\"") && !page.contains("id=\"sides\"") && !page.contains("class=\"keys\""));
}

#[test]
fn the_command_is_safe_to_paste() {
    for (file, command) in [
        ("harbour-whelk.yaml", "turnhue run harbour-whelk.yaml"),
        ("/srv/of/somebody/harbour-whelk.yaml", "turnhue run harbour-whelk.yaml"),
        ("my job.yaml", "turnhue run &#39;my job.yaml&#39;"),
        ("$(reboot).yaml", "turnhue run &#39;$(reboot).yaml&#39;"),
        ("a'b.yaml", r"turnhue run &#39;a&#39;\&#39;&#39;b.yaml&#39;"),
        ("--into", "turnhue run ./--into"),
    ] {
        let mut record = whelk();
        file.clone_into(&mut record.job.file);
        assert!(draw(&record).contains(&format!("<code>{command}</code>")), "{file}");
    }
}

#[test]
fn the_same_record_gives_the_same_page() {
    assert_eq!(draw(&whelk()), draw(&whelk()));
}

/// Text on its ground has at least the contrast of level AA in WCAG 2.2 (1.4.3: 4.5 to 1), by light and by dark and on
/// paper.
#[test]
fn text_can_be_read_on_its_ground() {
    let sheet = include_str!("../templates/summary.css");
    let palettes: Vec<_> = sheet.split(":root {").skip(1).map(|block| block.split('}').next().unwrap()).collect();
    assert_eq!(palettes.len(), 3);
    for palette in palettes {
        let luminance = |name: &str| {
            let rest = palette.split(&format!("--{name}: #")).nth(1).unwrap();
            let hex = rest.split(';').next().unwrap();
            let channel = |at: usize| match hex.len() {
                3 => u8::from_str_radix(&hex[at..=at], 16).unwrap() * 17,
                _ => u8::from_str_radix(&hex[at * 2..at * 2 + 2], 16).unwrap(),
            };
            let linear = |at| {
                let value = f64::from(channel(at)) / 255.0;
                if value <= 0.04045 { value / 12.92 } else { libm::pow((value + 0.055) / 1.055, 2.4) }
            };
            0.2126 * linear(0) + 0.7152 * linear(1) + 0.0722 * linear(2)
        };
        for ground in ["paper", "plane"] {
            for text in ["ink", "soft", "link", "ready", "caution", "fault", "note"] {
                let (a, b) = (luminance(ground), luminance(text));
                let contrast = (f64::max(a, b) + 0.05) / (f64::min(a, b) + 0.05);
                assert!(contrast >= 4.5, "{text} on {ground}: {contrast:.2}");
            }
        }
    }
}

#[test]
fn what_two_stages_say_about_a_side_stands_on_its_card_once() {
    use turnhue_stages::findings::Fact;

    let mut record = whelk();
    let rows = ["right", "left", "back", "front", "top", "bottom"].map(|side| vec![side.into(), "388.09".into()]);
    record.stages[5].facts.push(Fact::table("outside area by side", &["side", "area, cm²"], rows.to_vec()));
    let page = draw(&record);
    let cards = page.split("<ul class=\"sides\">").nth(1).unwrap().split("</ul>").next().unwrap();
    assert_eq!(cards.matches("<dt>Area</dt><dd>388.1\u{a0}cm²</dd>").count(), 6);
    assert_eq!(cards.matches("<dt>Area</dt>").count(), 6);
}

#[test]
fn a_finding_shows_its_own_picture_once_and_no_other() {
    let mut record = whelk();
    let pictures = |page: &str| page.matches("<img").count();
    let before = pictures(&draw(&record));
    let stage = record.stages.iter_mut().find(|stage| stage.name == "repair").unwrap();
    let finding = &mut stage.findings[0];
    finding.picture = Some("repair-lost.png".to_owned());
    let message = finding.message.clone();
    let page = draw(&record);
    let image = page.find("alt=\"Where the model did not convert\"").unwrap();
    assert!(image > page.find(&message).unwrap() && image < page.find("id=\"cost\"").unwrap());
    // It moved to its finding from the place under its stage.
    assert_eq!(pictures(&page), before);
    assert_eq!(page.matches("<figcaption>Where the model did not convert</figcaption>").count(), 1);

    // What the stage did not make, or what is not in the run folder, is not asked for.
    for name in ["view-front.png", "../repair-lost.png", "no such picture.png"] {
        let stage = record.stages.iter_mut().find(|stage| stage.name == "repair").unwrap();
        stage.findings[0].picture = Some(name.to_owned());
        let page = draw(&record);
        let findings = page.split("id=\"findings\"").nth(1).unwrap().split("</section>").next().unwrap();
        assert_eq!(pictures(findings), 0, "{name}");
    }
}

#[test]
fn notes_ask_for_nothing_and_keep_their_places_folded() {
    use turnhue_stages::findings::{Finding, Place};

    let mut record = whelk();
    for stage in &mut record.stages {
        stage.findings.clear();
    }
    assert!(draw(&record).contains(">no findings</a>"));
    let place = Place { mm: [1.0, 2.0, 3.0], cell: None };
    record.stages[2].findings.push(Finding::note("mended", "one place was mended", "nothing to do").at([place]));
    let page = draw(&record);
    assert!(page.contains(">1 note</a>") && page.contains("<p>One place was mended.</p>"));
    assert!(!page.contains("What to do.") && page.contains(">at 1 place</summary>"));
    assert!(!page.contains("<details open>"));
    record.stages[2].findings.push(Finding::caution("thin", "it is thin", "raise `wall`").at([place, place]));
    let page = draw(&record);
    assert!(page.contains(">1 caution, 1 note</a>") && page.contains("<details open>"));
    assert!(page.contains("<strong>What to do.</strong> Raise <code>wall</code>."));
}

#[test]
fn colours_may_lie_in_a_group_of_the_settings_and_go_by_name() {
    let mut record = whelk();
    record.stages[4].settings = json!({ "sides": {
        "right": "tomato", "left": "teal", "back": "#fff", "front": "black", "top": "gold", "bottom": "navy"
    }});
    let page = draw(&record);
    for hex in ["#ff6347", "#008080", "#ffffff", "#000000", "#ffd700", "#000080"] {
        assert!(page.contains(&format!("<code>{hex}</code>")), "{hex}");
    }
    record.stages[4].settings = json!({ "pictures": { "front": "sea.png" } });
    assert!(!draw(&record).contains("class=\"swatch\""));
}
