//! The summary page, drawn from a record that was invented for these tests.

#![allow(clippy::unwrap_used)]

use std::path::Path;

use serde_json::{Value, json};
use turnhue_reports::record::{self, File, Record, StageRecord, Verdict};
use turnhue_reports::{print_model, summary};
use turnhue_stages::findings::{Fact, Unit};
use turnhue_stages::{Length, Srgb, process::Figure};

/// A PNG's signature and header: 480 × 480 pixels. A page takes pictures in without decoding them.
const PNG: &[u8] = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\x01\xe0\0\0\x01\xe0\x08\x06\0\0\0";

fn whelk() -> Record {
    record::read(Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/records/form-1.json"))).unwrap()
}

/// A JPEG up to its frame header, 640 × 640 pixels, filled up to a weight of `bytes`.
fn jpeg(bytes: usize) -> Vec<u8> {
    let mut picture = b"\xff\xd8\xff\xc0\0\x11\x08\x02\x80\x02\x80\x03".to_vec();
    picture.resize(bytes, 0);
    picture
}

/// A picture of the kind that its name says.
fn picture(name: &str) -> Option<Vec<u8>> {
    Some(if name.ends_with(".jpg") { jpeg(300) } else { PNG.to_vec() })
}

fn draw(record: &Record) -> String {
    summary::draw(record, &picture).unwrap()
}

fn texts<const N: usize>(row: [&str; N]) -> Vec<String> {
    row.map(str::to_owned).to_vec()
}

fn artefact(name: String) -> File {
    File { name, what: "a picture".to_owned(), bytes: 1200, blake3: "5a".repeat(32) }
}

/// The facts of a stage that predicts the print, invented: an effect that is marginal.
fn facts_of_proof() -> Vec<Fact> {
    let sides = ["right", "left", "back", "front", "top", "bottom"];
    let designed = ["#c8553d", "#2a6f97", "#e9c46a", "#588157", "#f4f1de", "#3d405b"];
    let printed = ["#b4604c", "#41708e", "#d9b76b", "#66825f", "#e8e4d0", "#4a4b60"];
    let by_side = (0..6).map(|n| texts([sides[n], designed[n], printed[n], "83.1", "91.4", "84.2", "96.0"]));
    let pairs = ["right and back", "right and front", "left and back", "left and front", "top and front"];
    let separation = pairs.iter().map(|pair| texts([pair, "41.3", "30.2", "73.1"]));
    // The closed form of a single cube: shares of sin θ and cos θ.
    let share = |side: usize, step: usize| {
        let from = [90.0, 270.0, 180.0, 0.0].get(side).map(|at| (step as f64 * 5.0 - at).to_radians());
        from.map_or(12.5, |angle| (60.0 * libm::cos(angle)).max(0.0))
    };
    let turn = (0..72).map(|step| {
        let series = |keeps: f64| (0..6).map(move |side| format!("{:.1}", keeps * share(side, step)));
        [(step * 5).to_string()].into_iter().chain(series(1.0)).chain(series(0.8)).collect()
    });
    let heads: Vec<_> =
        ["designed", "printed"].iter().flat_map(|kind| sides.map(|side| format!("{kind} {side}"))).collect();
    let heads: Vec<_> = std::iter::once("azimuth, °").chain(heads.iter().map(String::as_str)).collect();
    vec![
        Fact::text("effect", "marginal"),
        Fact::text("decided by", "the separation of `top` and `front`"),
        Fact::number("legibility", 91.4, Unit::Percent),
        Fact::table(
            "legibility by process range",
            &["process figures", "legibility, %", "least separation, %"],
            vec![
                texts(["as stated", "91.4", "73.1"]),
                texts(["kindest", "96.0", "81.5"]),
                texts(["harshest", "84.2", "62.9"]),
            ],
        ),
        Fact::table(
            "print by side",
            &["side", "designed", "printed", "own colour, %", "named right, %", "from, %", "to, %"],
            by_side.collect(),
        ),
        Fact::number("separation kept", 73.1, Unit::Percent),
        Fact::table(
            "separation of neighbours",
            &["sides", "designed ΔE00", "printed ΔE00", "kept, %"],
            separation.collect(),
        ),
        Fact::number("smallest cell that holds", 1.75, Unit::Mm),
        Fact::text("smallest size that holds", "105.0 × 105.0 × 105.0 mm"),
        Fact::table("turn", &heads, turn.collect()),
        Fact::table(
            "handover",
            &["from", "to", "designed, °", "printed, °"],
            vec![texts(["front", "right", "20.0", "31.5"]), texts(["right", "back", "20.0", "–"])],
        ),
    ]
}

/// The whelk with what was predicted of its print, under the names that a stage `proof` gives.
fn predicted() -> Record {
    let mut record = whelk();
    let series =
        |kind: &str| -> Vec<File> { (0..72).map(|step| artefact(format!("turn-{kind}-{step:03}.jpg"))).collect() };
    let mut artefacts: Vec<_> = ["right", "left", "back", "front", "top", "bottom"]
        .iter()
        .flat_map(|side| ["designed", "printed"].map(|kind| artefact(format!("proof-{kind}-{side}.png"))))
        .collect();
    artefacts.extend(series("designed").into_iter().zip(series("printed")).flat_map(<[File; 2]>::from));
    artefacts.push(artefact("turn.png".to_owned()));
    let pairs = ["right and back", "right and front", "left and back", "left and front", "top and front"];
    let colours = pairs.map(|pair| texts([pair, "41.3", "38.0", "18.2", "17.9", "40.1"]));
    let sides = ["right", "left", "back", "front", "top", "bottom"];
    let printable = |side: &str| match side {
        "right" => texts([side, "#c8553d", "#bd5f4a", "4.2"]),
        other => texts([other, "#2a6f97", "#2a6f97", "0.0"]),
    };
    let columns = ["side", "chosen", "printable", "ΔE00"];
    record.stages[4].facts.push(Fact::table("printable colours", &columns, sides.map(printable).to_vec()));
    record.stages[4].facts.push(Fact::table(
        "colours of neighbouring sides",
        &["sides", "as chosen", "as printable", "protan", "deutan", "tritan"],
        colours.to_vec(),
    ));
    let proof = StageRecord {
        name: "proof".to_owned(),
        version: 1,
        settings: json!({ "views": 72 }),
        needs: vec!["paint".to_owned()],
        gives: vec!["proof".to_owned()],
        seconds: Some(1.9),
        key: None,
        facts: facts_of_proof(),
        findings: Vec::new(),
        artefacts,
    };
    record.stages.insert(5, proof);
    let estimate = record.stages.iter_mut().find(|stage| stage.name == "estimate").unwrap();
    estimate.facts.retain(|fact| fact.name != "cost by copies");
    estimate.facts.extend(facts_of_cost());
    record
}

/// The price of one copy and of ten, worked by hand.
fn facts_of_cost() -> [Fact; 2] {
    let parts = [
        ["material", "100 cm³ × 0.60", "60.00"],
        ["matt & sealed", "20.00", "20.00"],
        ["tax", "25 % of 80.00", "20.00"],
        ["total", "1 copy", "100.00"],
    ];
    let copies = [["1", "100.00", "100.00"], ["10", "900.00", "90.00"]];
    [
        Fact::table("parts of the price", &["part", "how it comes about", "EUR"], parts.map(texts).to_vec()),
        Fact::table("cost by copies", &["copies", "total (EUR)", "each (EUR)"], copies.map(texts).to_vec()),
    ]
}

/// What lies between two texts of a page.
fn between<'p>(page: &'p str, from: &str, to: &str) -> &'p str {
    page.split(from).nth(1).and_then(|rest| rest.split(to).next()).unwrap_or_else(|| panic!("{from} … {to}"))
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
    assert!(!page.contains("print-model.html"));
    asks_for_nothing(&page);
    asks_for_nothing(&draw(&predicted()));
    asks_for_nothing(&print_model::draw(&predicted()).unwrap().unwrap());
}

fn asks_for_nothing(page: &str) {
    assert!(page.contains("default-src 'none'; img-src data:;"));
    for asking in ["<iframe", "<object", "<form", "@import", "url(", "javascript:", "<base", "srcset"] {
        assert!(!page.contains(asking), "{asking}");
    }
    for attribute in ["src=\"", "href=\""] {
        for rest in page.split(attribute).skip(1) {
            // What a reader may follow, or take: nothing of it is asked for by the page.
            let link = rest.split('"').next().unwrap();
            let beside = ["print-model.html", "summary.html", "../commission.html"].contains(&link)
                || link.starts_with("order/")
                || rest.starts_with(&format!("{link}\" download>"));
            assert!(link.starts_with("data:") || link.starts_with('#') || beside, "{attribute}{link}");
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
    let page = draw(&predicted());
    let links: Vec<_> = page.split("href=\"#").skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
    assert!(links.len() > 10);
    for link in links {
        assert_eq!(page.matches(&format!("id=\"{link}\"")).count(), 1, "#{link}");
    }
}

#[test]
fn the_contents_are_the_sections_of_the_page() {
    let mut faulty = predicted();
    faulty.stages[0].findings.push(turnhue_stages::findings::Finding {
        severity: turnhue_stages::findings::Severity::Fault,
        ..whelk().stages.iter().find_map(|stage| stage.findings.first().cloned()).unwrap()
    });
    for record in [whelk(), predicted(), rounded(), faulty] {
        let page = draw_with(&record, &glb(1000));
        let listed: Vec<(String, String)> = between(&page, "<nav class=\"contents\"", "</nav>")
            .split("<a href=\"#")
            .skip(1)
            .map(|link| (between(&format!("#{link}"), "#", "\"").to_owned(), between(link, ">", "<").to_owned()))
            .collect();
        let sections: Vec<(String, String)> = page
            .split("<section id=\"")
            .skip(1)
            .map(|part| (part.split('"').next().unwrap().to_owned(), between(part, "<h2>", "</h2>").to_owned()))
            .collect();
        assert_eq!(listed, sections);
    }
}

/// Every text of the record in turn is replaced by markup: no element, attribute or style may come of it.
#[test]
fn no_text_of_the_record_becomes_markup() {
    const ATTACK: &str = "</style></code>\"'><script>alert(1)</script><img src=x onerror=alert(1)>{{ 7*7 }}&amp;";
    // The prediction without its frames and most rows of its turn, which differ by numbers alone.
    let mut record = predicted();
    record.stages[5].artefacts.retain(|file| !file.name.ends_with(".jpg") || file.name.ends_with("-000.jpg"));
    for fact in &mut record.stages[5].facts {
        if let (turnhue_stages::findings::Value::Table { rows, .. }, "turn") = (&mut fact.value, fact.name.as_str()) {
            rows.truncate(2);
        }
    }
    let whole = serde_json::to_value(record).unwrap();
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
        let model = print_model::draw(&record).unwrap();
        for page in [draw(&record)].iter().chain(&model) {
            assert_eq!(page.matches("<script").count(), 1, "text {target}");
            for markup in ["<img src=x", "</style></code>", "\"'>"] {
                assert!(!page.contains(markup), "text {target}: {markup}");
            }
            assert_eq!(page.matches("</style>").count(), 1, "text {target}");
        }
    }
    assert!(attacked > texts / 2, "only {attacked} of {texts} texts could be changed");
}

#[test]
fn every_finding_fact_artefact_and_input_is_on_the_page() {
    let record = predicted();
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
    assert!(page.contains("</svg> Ready to order</dd>") && page.contains(">Order this one<"));
    record.verdict = Verdict::NotValidated;
    let page = draw(&record);
    assert!(page.contains("</svg> Not validated</dd>") && !page.contains("Ready to order"));
    assert!(page.contains(">Not measured: do not order yet<") && !page.contains("the file to order:"));
    record.verdict = Verdict::HasFaults;
    record.stages[5].findings[0].severity = turnhue_stages::findings::Severity::Fault;
    let page = draw(&record);
    assert!(page.contains("</svg> Has faults</dd>") && page.contains("1 fault stands below, with what"));
    assert!(page.contains(">Do not order: it has faults<") && !page.contains("Order this one"));
    let place = |text: &str| page.find(text).unwrap();
    assert!(place("id=\"findings\"") < place("id=\"sides\""));
    assert!(place("seen-through-opening") < place("did-not-convert"));
}

#[test]
fn the_first_screen_answers_what_is_known_and_says_what_is_not() {
    use turnhue_stages::findings::{Fact, Value};

    let answers = |page: &str| between(page, "<dl class=\"answers\">", "</dl>").to_owned();
    let mut record = predicted();
    record.stages[5].facts[0] = Fact::text("effect", "holds");
    let told = answers(&draw(&record));
    assert!(told.contains("</svg> The effect holds</dd>") && told.contains("href=\"#look\""), "{told}");
    let estimate = record.stages.iter_mut().find(|stage| stage.name == "estimate").unwrap();
    estimate.facts.retain(|fact| fact.name != "cost by copies" && fact.name != "lead time");
    estimate.facts.push(Fact::table(
        "cost by copies",
        &["copies", "total (EUR)"],
        vec![vec!["5".into(), "900.00".into()]],
    ));
    estimate.facts.push(Fact { name: "lead time".to_owned(), value: Value::Text("9 days".to_owned()), unit: None });
    assert!(answers(&draw(&record)).contains("For 5 copies, all in; ready in 9 days."));
    record.stages.retain(|stage| stage.name != "proof" && stage.name != "estimate");
    let told = answers(&draw(&record));
    assert!(told.contains("</svg> Not predicted</dd>") && told.contains("Add the stage <code>proof</code>"), "{told}");
    assert!(told.contains("</svg> Not priced</dd>") && !told.contains("href=\"#cost\""), "{told}");
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
        file.clone_into(&mut record.job.as_mut().unwrap().file);
        assert!(draw(&record).contains(&format!("<code>{command}</code>")), "{file}");
    }
}

#[test]
fn the_same_record_gives_the_same_page() {
    assert_eq!(draw(&whelk()), draw(&whelk()));
}

/// A palette of the stylesheet: by day, by night or on paper.
struct Colours {
    when: &'static str,
    block: String,
}

impl Colours {
    /// All that the stylesheet has.
    fn all() -> [Self; 3] {
        let sheet = include_str!("../templates/look.css");
        let blocks: Vec<_> = sheet.split(":root {").skip(1).map(|block| block.split('}').next().unwrap()).collect();
        let [screen, paper] = blocks[..] else { panic!("a palette for the screen, and one for paper") };
        [("day", screen), ("night", screen), ("paper", paper)]
            .map(|(when, block)| Self { when, block: block.to_owned() })
    }

    /// The relative luminance of a colour by its name, as WCAG 2.2 defines it.
    fn luminance(&self, name: &str) -> f64 {
        let rest = self.block.split(&format!("--{name}: ")).nth(1).unwrap_or_else(|| panic!("no colour {name}"));
        let colours = rest.split(';').next().unwrap();
        let colour = match self.when {
            "day" => colours.trim_start_matches("light-dark(").split([',', ')']).next().unwrap(),
            "night" => colours.split(", ").nth(1).unwrap().trim_end_matches(')'),
            _ => colours,
        };
        let hex = colour.strip_prefix('#').unwrap();
        let channel = |at: usize| match hex.len() {
            3 => u8::from_str_radix(&hex[at..=at], 16).unwrap() * 17,
            _ => u8::from_str_radix(&hex[at * 2..at * 2 + 2], 16).unwrap(),
        };
        let linear = |at| {
            let value = f64::from(channel(at)) / 255.0;
            if value <= 0.04045 { value / 12.92 } else { libm::pow((value + 0.055) / 1.055, 2.4) }
        };
        0.2126 * linear(0) + 0.7152 * linear(1) + 0.0722 * linear(2)
    }

    /// The contrast of two colours, from 1 to 21.
    fn contrast(&self, one: &str, other: &str) -> f64 {
        let (a, b) = (self.luminance(one), self.luminance(other));
        (f64::max(a, b) + 0.05) / (f64::min(a, b) + 0.05)
    }
}

/// Text on its ground has at least the contrast of level AA in WCAG 2.2 (1.4.3: 4.5 to 1), by day, by night and on paper.
#[test]
fn text_can_be_read_on_its_ground() {
    for colours in Colours::all() {
        for ground in ["paper", "plane"] {
            for text in ["ink", "soft", "link", "ready", "caution", "fault", "note"] {
                let contrast = colours.contrast(text, ground);
                assert!(contrast >= 4.5, "{text} on {ground} by {}: {contrast:.2}", colours.when);
            }
        }
    }
}

/// What carries meaning in a chart has at least the contrast of level AA in WCAG 2.2 (1.4.11: 3 to 1) with the ground: every
/// stroke and every fill that the stylesheet gives to a part of a chart. A side's own colour is not among them: it stands
/// between two edges that are. Lines that only lead the eye are named here.
#[test]
fn charts_can_be_seen_on_their_ground() {
    const LEADS_THE_EYE: [&str; 2] = [".curve .grid", ".steps .run"];
    // Ground within a line's edges or a sign's.
    const IS_GROUND: [&str; 1] = ["paper"];
    let sheet = include_str!("../templates/look.css");
    let mut checked = Vec::new();
    for line in sheet.lines().map(str::trim) {
        let is_chart = [".curve ", ".plot ", ".plot.", ".plotted ", ".steps ", ".copies "]
            .iter()
            .any(|chart| line.starts_with(chart));
        let Some((selector, rules)) = line.split_once('{').filter(|_| is_chart) else { continue };
        let paints = rules.split(';').filter_map(|rule| rule.trim().split_once(": "));
        let paints = paints.filter(|(property, _)| ["stroke", "fill"].contains(property));
        let named = paints.filter_map(|(_, value)| value.strip_prefix("var(--")?.split(')').next());
        for name in named.filter(|name| !IS_GROUND.contains(name) && !LEADS_THE_EYE.contains(&selector.trim())) {
            for colours in Colours::all() {
                let contrast = colours.contrast(name, "paper");
                assert!(contrast >= 3.0, "{selector}: {name} by {}: {contrast:.2}", colours.when);
            }
            checked.push(selector.trim());
        }
    }
    for part in [".plot .axis", ".plot .sign", ".plot .bound", ".curve .casing", ".curve .designed", ".steps rect"] {
        assert!(checked.contains(&part), "{part} is not among {checked:?}");
    }
}

/// Colours have names, whose contrast is checked above; what needs another is named here: the ground of pictures that bring
/// it with them, drawings on white, and the hoops around weak places on a drawing.
#[test]
fn colours_stand_in_the_palette() {
    let sheet = include_str!("../templates/look.css");
    let outside: String =
        sheet.split(":root {").map(|part| part.split_once('}').map_or(part, |(_, rest)| rest)).collect();
    let digits = |rest: &&str| rest.get(..3).is_some_and(|code| code.bytes().all(|byte| byte.is_ascii_hexdigit()));
    let code = |rest: &'static str| rest.split(|letter: char| !letter.is_ascii_hexdigit()).next().unwrap();
    let mut colours: Vec<&str> = outside.leak().split('#').skip(1).filter(digits).map(code).collect();
    colours.sort_unstable();
    colours.dedup();
    assert_eq!(colours, ["b3001b", "e6e6e4", "fff"]);
    assert!(!sheet.contains("rgb(") && !sheet.contains("hsl("));
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
    // Between a number and its unit no line may end.
    let page = draw(&record).replace('\u{a0}', " ");
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

#[test]
fn what_is_predicted_stands_on_the_page_with_its_numbers() {
    let page = draw(&predicted());
    let ids = ["look", "sides", "palette", "findings", "cost", "stages"];
    let places: Vec<_> = ids.iter().map(|id| page.find(&format!("<section id=\"{id}\">")).unwrap()).collect();
    assert!(places.is_sorted(), "{places:?}");
    let look = between(&page, "<section id=\"look\">", "</section>");
    for words in [
        "<h3 class=\"word\">The effect is marginal</h3>",
        "<p>The separation of <code>top</code> and <code>front</code>.</p>",
        "<dd>91.4\u{a0}% (84.2 to 96)</dd>",
        "<dd>73.1\u{a0}% (62.9 to 81.5)</dd>",
        "Front to right",
        // What is missing does not make words of a column of numbers.
        "<td class=\"number\" data-heading=\"Printed, °\">–</td>",
        "<dd>1.75\u{a0}mm</dd>",
        "105.0 × 105.0 × 105.0 mm",
        "href=\"print-model.html\"",
    ] {
        assert!(look.contains(words), "{words}");
    }
    for (word, says, class) in [
        ("holds", "The effect holds", "verdict effect ready"),
        ("fails", "The effect fails", "verdict effect faults"),
        ("unsure", "Unsure", "verdict effect open"),
    ] {
        let mut record = predicted();
        record.stages[5].facts[0] = Fact::text("effect", word);
        let page = draw(&record);
        assert!(page.contains(&format!("<h3 class=\"word\">{says}</h3>")) && page.contains(class), "{word}");
    }
}

#[test]
fn a_side_is_shown_as_designed_beside_printed_and_says_each_thing_once() {
    let record = predicted();
    let page = draw(&record);
    let cards = between(&page, "<ul class=\"sides pairs\">", "</ul>");
    assert_eq!(cards.matches("<img").count(), 12);
    assert_eq!(cards.matches("alt=\"The back as designed\"").count(), 1);
    assert_eq!(cards.matches("alt=\"The back as printed, predicted\"").count(), 1);
    assert_eq!(cards.matches("<dt>Named right</dt><dd>91.4\u{a0}% (84.2 to 96)</dd>").count(), 6);
    assert_eq!(cards.matches("<dt>Own colour, once printed</dt><dd>83.1\u{a0}%</dd>").count(), 6);
    assert!(cards.contains("printed <code>#b4604c</code>") && !cards.contains("<dt>From</dt>"));
    // A chosen colour that cannot be printed is followed by the nearest that can; of the others nothing is said.
    assert_eq!(cards.matches("<dt>Nearest printable</dt><dd>#bd5f4a, ΔE00 4.2</dd>").count(), 1);
    assert!(!cards.contains("<dt>ΔE00</dt>") && cards.matches("Nearest printable").count() == 1);
    // The same view from that side alone is not shown again.
    assert!(!page.contains("alt=\"The piece seen from the back\""));
    // With one picture of a pair missing, the view from that side is.
    let half = |name: &str| (!name.starts_with("proof-printed")).then(|| picture(name)).flatten();
    let page = summary::draw(&record, &half).unwrap();
    assert!(page.contains("alt=\"The piece seen from the back\"") && !page.contains("The back as designed"));
}

/// Where the frames of a page stand, as how many degrees each has turned.
fn turned(page: &str) -> Vec<u32> {
    let frames = page.split("<template id=\"turn-frames\">").nth(1).unwrap().split("</template>").next().unwrap();
    frames.split("data-says=\"").skip(1).map(|rest| rest.split('°').next().unwrap().parse().unwrap()).collect()
}

#[test]
fn a_page_with_a_turntable_stays_below_six_megabytes() {
    let record = predicted();
    // 144 frames: as `data:` addresses 5.4, 6.3, 13.4, 23 and 38 MB.
    for (bytes, apart) in [(28_000, 5), (33_000, 10), (70_000, 15), (120_000, 30), (200_000, 45)] {
        let heavy = |name: &str| if name.ends_with(".jpg") { Some(jpeg(bytes)) } else { picture(name) };
        let page = summary::draw(&record, &heavy).unwrap();
        assert!(page.len() < summary::LARGEST_TURNING, "{bytes}: {}", page.len());
        assert_eq!(turned(&page), (0..360).step_by(apart).collect::<Vec<_>>(), "{bytes}");
        assert!(page.contains(&format!("max=\"{}\"", 360 / apart - 1)));
    }
    // What else is on the page counts as well: beside heavy sides there is room for fewer frames.
    let sides = |name: &str| Some(if name.ends_with(".jpg") { jpeg(28_000) } else { [PNG, &[0; 200_000]].concat() });
    let page = summary::draw(&record, &sides).unwrap();
    assert!(page.len() < summary::LARGEST_TURNING && turned(&page).len() < 72);
    // Frames that no page could carry: the pairs of sides show without.
    let enormous = |name: &str| if name.ends_with(".jpg") { Some(jpeg(600_000)) } else { picture(name) };
    let page = summary::draw(&record, &enormous).unwrap();
    assert!(page.len() < 1_000_000 && !page.contains("id=\"turntable\""));
    assert!(page.contains("alt=\"The back as printed, predicted\""));
}

#[test]
fn frames_come_in_pairs_and_only_whole_turns_are_shown() {
    let record = predicted();
    let page = draw(&record);
    assert_eq!(turned(&page).len(), 72);
    // The first pair stands in the figure, so that it shows without the script.
    assert_eq!(page.matches("data:image/jpeg;base64,").count(), 144);
    assert!(page.contains("data-says=\"45°, between front and right\""));
    assert!(page.contains("data-says=\"90°, the right faces you\""));
    // An odd step is missing: every second is still a whole turn. An even one too: every third is.
    for (missing, apart) in
        [(&["turn-printed-071.jpg"][..], 10), (&["turn-printed-071.jpg", "turn-designed-002.jpg"], 15)]
    {
        let page = summary::draw(&record, &|name| (!missing.contains(&name)).then(|| picture(name)).flatten()).unwrap();
        assert_eq!(turned(&page), (0..360).step_by(apart).collect::<Vec<_>>(), "{missing:?}");
    }
    // The animation is for posting: it is listed, and never read for the page.
    let asked = |name: &str| {
        assert_ne!(name, "turn.png");
        picture(name)
    };
    assert!(summary::draw(&record, &asked).unwrap().contains("<code>turn.png</code>"));
    for kind in ["designed", "printed"] {
        assert_eq!(page.matches(&format!("<code>turn-{kind}-000.jpg … turn-{kind}-071.jpg</code>")).count(), 1);
    }
}

/// The policy allows the script that is on the page, and nothing of a record is in it.
#[test]
fn the_script_is_the_one_that_the_policy_allows() {
    use base64::Engine as _;
    use sha2::Digest as _;

    let page = draw(&predicted());
    let script = between(&page, "<script>", "</script>");
    let parts = [include_str!("../templates/script/theme.js"), include_str!("../templates/script/turn.js")];
    assert_eq!(script, parts.concat().replace("\r\n", "\n"));
    let digest = base64::engine::general_purpose::STANDARD.encode(sha2::Sha256::digest(script.as_bytes()));
    assert!(page.contains(&format!("script-src 'sha256-{digest}';")));
    assert_eq!(page.matches("script-src").count(), 1);
    for handler in [" onclick", " oninput", " onload", " onerror", " onpointer", " onchange"] {
        assert!(!page.contains(handler), "{handler}");
    }
    // What the script reads is words of the program and addresses of pictures.
    let frames = between(&page, "<template id=\"turn-frames\">", "</template>");
    for job in ["Whelk", "HB-2027", "harbour"] {
        assert!(!frames.contains(job) && !script.contains(job), "{job}");
    }
}

#[test]
fn differences_between_neighbours_stand_in_one_table() {
    let page = draw(&predicted());
    let palette = between(&page, "<section id=\"palette\">", "</section>");
    for heading in ["As chosen", "As printable", "Protan", "Deutan", "Tritan", "Printed ΔE00", "Kept, %"] {
        assert_eq!(palette.matches(&format!("class=\"number\">{heading}</th>")).count(), 1, "{heading}");
    }
    // What was designed is what was chosen.
    assert!(!palette.contains("Designed"));
    assert_eq!(palette.matches("<tr>").count(), 6);
    assert!(palette.contains("Right and back") && palette.contains("fill=\"#bd5f4a\""));
    assert!(palette.contains("as chosen above, and as it can be printed below"));
    // Where one of the two facts is missing the other stands alone.
    let mut record = predicted();
    record.stages.remove(5);
    let page = draw(&record);
    let palette = between(&page, "<section id=\"palette\">", "</section>");
    assert!(palette.contains("As chosen") && !palette.contains("Kept") && !page.contains("id=\"look\""));
    let mut record = predicted();
    record.stages[4].facts.pop();
    let page = draw(&record);
    let palette = between(&page, "<section id=\"palette\">", "</section>");
    assert!(palette.contains("Designed ΔE00") && !palette.contains(">Protan</th>"));
}

#[test]
fn the_least_difference_is_marked_in_words() {
    let mut record = predicted();
    record.stages[4].facts.pop();
    let rows =
        vec![texts(["right and back", "41.3"]), texts(["top and left", "9.5"]), texts(["front and top", "none"])];
    record.stages[4].facts.push(Fact::table("colours of neighbouring sides", &["sides", "as chosen"], rows));
    let page = draw(&record);
    let palette = between(&page, "<section id=\"palette\">", "</section>");
    assert!(palette.contains("<strong>9.5<span class=\"least\"> least</span></strong>"));
    assert!(!palette.contains("<strong>41.3"));
}

/// However many sides are seen: a line, letters and a part of the description for each, and no curve of none.
#[test]
fn the_curve_has_a_line_for_every_side_that_is_seen() {
    let order = ["right", "left", "back", "front", "top", "bottom"];
    for seen in 0..=order.len() {
        let mut record = predicted();
        let turn = record.stages[5].facts.iter_mut().find(|fact| fact.name == "turn").unwrap();
        let turnhue_stages::findings::Value::Table { rows, .. } = &mut turn.value else { panic!() };
        for row in rows.iter_mut() {
            for side in seen..order.len() {
                for column in [1 + side, 1 + order.len() + side] {
                    "0.2".clone_into(&mut row[column]);
                }
            }
        }
        let page = draw(&record);
        if seen == 0 {
            assert!(!page.contains("class=\"curve"));
            continue;
        }
        for name in ["wide", "narrow"] {
            let curve = between(&page, &format!("<svg class=\"curve {name}\""), "</svg>");
            for class in ["printed", "designed", "casing", "gap", "chip", "letters"] {
                assert_eq!(curve.matches(&format!("class=\"{class}\"")).count(), seen, "{class} of {seen}");
            }
            let says = between(curve, "<desc", "</desc>");
            assert_eq!(order.iter().filter(|side| says.contains(&format!("{side}: printed"))).count(), seen);
        }
    }
}

#[test]
fn the_cost_is_drawn_above_its_tables() {
    let page = draw(&predicted());
    let cost = between(&page, "<section id=\"cost\">", "</section>");
    let drawn = cost.split("<table").next().unwrap();
    assert!(drawn.contains("What the price is made of, for 1\u{a0}copy"));
    for (part, amount, share) in [
        ("Material", "60.00", "60"),
        ("Matt &#38; sealed", "20.00", "20"),
        ("Tax", "20.00", "20"),
        ("Total", "100.00", "100"),
    ] {
        let step = drawn.split("<li").find(|step| step.contains(&format!(">{part}</span>"))).unwrap();
        assert!(
            step.contains(&format!(">EUR\u{a0}{amount}</span>")) && step.contains(&format!(">{share}\u{a0}%</span>")),
            "{step}"
        );
    }
    assert!(drawn.contains("aria-label=\"The price of each copy: EUR\u{a0}100.00 for 1, EUR\u{a0}90.00 for 10\""));
    // Whatever tables a stage has under these names, a page comes out.
    for row in 0..4 {
        for text in ["", "?", "-1e400", "NaN", "79228162514264337593543950335"] {
            for name in ["parts of the price", "cost by copies"] {
                let mut record = predicted();
                let facts = record.stages.iter_mut().flat_map(|stage| &mut stage.facts);
                for fact in facts.filter(|fact| fact.name == name) {
                    let turnhue_stages::findings::Value::Table { rows, .. } = &mut fact.value else { panic!() };
                    let row = row % rows.len();
                    text.clone_into(&mut rows[row][2]);
                }
                draw(&record);
            }
        }
    }
}

/// Every drawing of a page is read to its end by `quick-xml`, which minds open elements and doubled attributes.
#[test]
fn drawings_are_well_formed() {
    let page = draw(&predicted());
    let mut drawings = 0;
    for part in page.split("<svg").skip(1) {
        let drawing = format!("<svg{}</svg>", part.split("</svg>").next().unwrap());
        let mut reader = quick_xml::Reader::from_str(&drawing);
        loop {
            match reader.read_event().unwrap_or_else(|wrong| panic!("{wrong}: {drawing}")) {
                quick_xml::events::Event::Start(start) | quick_xml::events::Event::Empty(start) => {
                    start
                        .attributes()
                        .for_each(|attribute| drop(attribute.unwrap_or_else(|wrong| panic!("{wrong}: {drawing}"))));
                }
                quick_xml::events::Event::Eof => break,
                _ => {}
            }
        }
        drawings += 1;
    }
    assert!(drawings > 10, "{drawings}");
}

#[test]
fn the_curve_over_a_turn_is_a_drawing_with_words() {
    let record = predicted();
    let page = draw(&record);
    let curve = between(&page, "<svg class=\"curve wide\"", "</svg>");
    assert!(curve.contains("role=\"img\"") && curve.contains("<title") && curve.contains("<desc"));
    // From the closed form in the record: the right's share is greatest at 90°, where 60 % were designed.
    assert!(curve.contains("right: printed from 0 % to 48 %, most at 90°, where 60 % were designed"));
    for letters in ["Ri", "Le", "Ba", "Fr", "To", "Bo"] {
        assert_eq!(curve.matches(&format!(">{letters}</text>")).count(), 1, "{letters}");
    }
    assert_eq!(curve.matches("class=\"printed\"").count(), 6);
    assert_eq!(curve.matches("class=\"designed\"").count(), 6);
    let dashes: std::collections::BTreeSet<_> =
        curve.split("stroke-dasharray=\"").skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
    assert_eq!(dashes.len(), 6);
    // A table that is no curve makes none: numbers missing, shares above the whole, angles out of order.
    for (row, column, text) in [(3, 2, "much"), (0, 5, "130.0"), (5, 0, "0")] {
        let mut record = predicted();
        let turn = record.stages[5].facts.iter_mut().find(|fact| fact.name == "turn").unwrap();
        let turnhue_stages::findings::Value::Table { rows, .. } = &mut turn.value else { panic!() };
        text.clone_into(&mut rows[row][column]);
        assert!(!draw(&record).contains("class=\"curve"), "{text}");
    }
}

#[test]
fn a_long_table_is_folded_and_whole() {
    let page = draw(&predicted());
    let long = between(&page, "<details class=\"long\">", "</details>");
    assert!(long.starts_with("<summary>Turn: 72 rows</summary>"));
    assert_eq!(long.matches("<tr>").count(), 73);
}

#[test]
fn the_page_about_the_model_has_the_figures_of_the_run() {
    assert!(print_model::draw(&whelk()).unwrap().is_none());
    let mut record = predicted();
    let mm = |value: f64| Length::from_mm(value);
    record.process.bleed =
        Figure { value: mm(0.31), range: Some([mm(0.22), mm(0.45)]), basis: "read off a coupon".to_owned() };
    record.process.base = Some(Figure { value: Srgb([0xf3, 0xef, 0xe4]), range: None, basis: "measured".to_owned() });
    for page in [print_model::draw(&record).unwrap().unwrap(), draw(&record)] {
        assert!(page.contains("0.31\u{a0}mm (0.22 to 0.45)") && page.contains("read off a coupon"));
        assert!(page.contains("#f3efe4"));
    }
    let page = print_model::draw(&record).unwrap().unwrap();
    for source in ["Kubelka", "Duncan", "Saunderson", "Sharma", "Elek", "calibrate"] {
        assert!(page.contains(source), "{source}");
    }
    assert_eq!(page.matches("<h1>").count(), 1);
}

/// The same, with the piece as GLB.
fn rounded() -> Record {
    let mut record = predicted();
    record.stages[4].artefacts.push(artefact("piece.glb".to_owned()));
    record
}

fn glb(bytes: usize) -> Vec<u8> {
    // Noise, which no compressor makes smaller: the low bits of a linear congruential generator's high half (Knuth's MMIX).
    let mut state = 1u64;
    let noise = std::iter::repeat_with(move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as u8
    });
    b"glTF".iter().copied().chain(noise).take(bytes).collect()
}

fn draw_with(record: &Record, piece: &[u8]) -> String {
    summary::draw(record, &|name| if name == "piece.glb" { Some(piece.to_vec()) } else { picture(name) }).unwrap()
}

#[test]
fn the_piece_in_the_round_is_in_the_page_and_so_is_what_draws_it() {
    use base64::Engine as _;
    use sha2::Digest as _;

    let library = include_str!("../vendor/three-view.min.js");
    let engine = base64::engine::general_purpose::STANDARD;
    let page = draw_with(&rounded(), &glb(100_000));
    assert!(page.len() > library.len());
    assert_eq!(page.matches("<script>").count(), 2);
    assert_eq!(page.matches(library).count(), 1);
    let digest = engine.encode(sha2::Sha256::digest(library.as_bytes()));
    let policy = between(&page, "script-src ", ";");
    assert!(policy.ends_with(&format!(" 'sha256-{digest}'")) && policy.matches("sha256").count() == 2, "{policy}");
    // Apart from what the library knows by name, the page is as any other.
    asks_for_nothing(&page.replace(library, ""));
    // The gzip of a GLB (RFC 1952, 2.3.1: two bytes of its own, then 8 for deflate; no time and no name).
    let packed = engine.decode(between(&page, "<template id=\"piece-glb\">", "</template>")).unwrap();
    assert_eq!(packed[..8], [0x1f, 0x8b, 8, 0, 0, 0, 0, 0]);
    // Length and end: the last four bytes say how much was packed.
    assert_eq!(packed[packed.len() - 4..], 100_000u32.to_le_bytes());
    let round = between(&page, "<section id=\"round\">", "</section>");
    assert!(
        round.contains("<img src=\"data:image/png") && round.contains("<noscript>") && round.contains("100.0\u{a0}kB")
    );
    for job in ["Whelk", "HB-2027", "harbour"] {
        assert!(!round.contains(job), "{job}");
    }
}

#[test]
fn a_piece_that_is_too_large_for_the_page_lies_beside_it() {
    // 1.4 MB come to 1.9 MB in the page, beside a script of 0.65 MB.
    for (bytes, within) in [(1_300_000, true), (1_500_000, false)] {
        let page = draw_with(&rounded(), &glb(bytes));
        assert_eq!(page.contains("<template id=\"piece-glb\">"), within, "{bytes}");
        assert_eq!(page.matches("<script>").count(), if within { 2 } else { 1 });
        let round = between(&page, "<section id=\"round\">", "</section>");
        assert!(round.contains("href=\"piece.glb\" download") && round.contains("<img "));
        assert_eq!(round.contains("<canvas"), within);
    }
    // Beside it there is still room for the turn.
    let heavy = |name: &str| match name {
        "piece.glb" => Some(glb(1_300_000)),
        name if name.ends_with(".jpg") => Some(jpeg(28_000)),
        name => picture(name),
    };
    let page = summary::draw(&rounded(), &heavy).unwrap();
    assert!(page.len() < summary::LARGEST_TURNING && turned(&page).len() == 36, "{}", page.len());
}

#[test]
fn nothing_is_in_the_round_where_there_is_no_piece_or_no_picture() {
    assert!(!draw(&predicted()).contains("id=\"round\""));
    // Not even what is no GLB.
    assert!(!draw_with(&rounded(), b"<script>").contains("<template id=\"piece-glb\">"));
    for missing in ["piece.glb", "view-corner-front-right.png"] {
        let some = |name: &str| if name == missing { None } else { picture(name) };
        assert!(!summary::draw(&rounded(), &some).unwrap().contains("id=\"round\""), "{missing}");
    }
}

#[test]
fn a_hollowed_piece_is_shown_cut_open() {
    let mut record = whelk();
    let section =
        br#"<svg xmlns="http://www.w3.org/2000/svg" width="190mm" height="120mm" viewBox="0 0 190 120"></svg>"#;
    let drawings = |name: &str| if name == "hollow-section.svg" { Some(section.to_vec()) } else { picture(name) };
    let page = |record: &Record| summary::draw(record, &drawings).unwrap().replace('\u{a0}', " ");
    assert!(!page(&record).contains("id=\"inside\""), "no stage has drawn it");

    let hollow = record.stages.iter_mut().find(|stage| stage.name == "hollow").unwrap();
    hollow.artefacts.push(artefact("hollow-section.svg".to_owned()));
    hollow.facts.retain(|fact| fact.name != "openings");
    let openings = ["side", "clear width, mm", "shaft along x, y, z, mm"];
    hollow.facts.push(Fact::table("openings", &openings, vec![texts(["bottom", "24", "0 – 24, 0 – 24, 0 – 3"])]));
    let shown = page(&record);
    let inside = shown.split("id=\"inside\"").nth(1).unwrap().split("</section>").next().unwrap();
    // 190 and 120 mm at 96 pixels an inch (CSS Values 3, 6.2).
    assert!(
        inside.contains("width=\"718\" height=\"454\"") && inside.contains("data:image/svg+xml;base64,"),
        "{inside}"
    );
    assert!(inside.contains("Opening in the bottom") && inside.contains("24 mm"), "{inside}");
    assert!(shown.contains("<a href=\"#inside\">Inside</a>"), "the contents lead there");
}

#[test]
fn a_finding_without_a_picture_leads_to_what_shows_its_subject() {
    use turnhue_stages::findings::Finding;

    let mut record = whelk();
    record.stages.iter_mut().for_each(|stage| stage.findings.clear());
    let at = record.stages.iter().position(|stage| stage.name == "estimate").unwrap();
    record.stages[at].findings.push(Finding::note("rates-basis", "the prices are invented", "nothing to do"));
    let leads = "; shown under <a href=\"#cost\">Cost</a>";
    assert!(draw(&record).contains(leads));
    // One with a picture of its own is shown by that.
    record.stages[at].artefacts.push(artefact("rates.png".to_owned()));
    record.stages[at].findings[0].picture = Some("rates.png".to_owned());
    assert!(!draw(&record).contains(leads));
    // A section that is not on the page is not named.
    record.stages[at].findings.clear();
    record.stages[0].name = "stand-in".to_owned();
    record.stages[0].findings.push(Finding::note("any", "any", "nothing to do"));
    assert!(!draw(&record).contains("shown under"));
}
