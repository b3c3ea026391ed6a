//! The page of a commission, drawn from histories that were invented for these tests.

#![allow(clippy::unwrap_used)]

use std::path::Path;

use serde_json::{Value, json};
use turnhue_reports::commission::{
    self, Amiss, Checked, Choice, Commission, Deed, Delivery, Entry, Failed, MOST_OPEN, Measured, Night, Note, Order,
    Redrawn, Run, StageDone,
};
use turnhue_reports::record::{self, Record, Verdict};
use turnhue_stages::formats::jpeg;

/// The record that the other tests keep, as that of a run, with a wall of so many mm.
fn record(run: &str, wall: &str) -> Record {
    let old = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/records/form-1.json");
    let mut record = record::read(Path::new(old)).unwrap();
    record.run = run.to_owned();
    let hollow = record.stages.iter_mut().find(|stage| stage.name == "hollow").unwrap();
    hollow.settings["wall"] = Value::from(format!("{wall} mm"));
    record
}

fn bytes_of(record: &Record) -> Vec<u8> {
    let mut bytes = Vec::new();
    record::write(record, &mut bytes).unwrap();
    bytes
}

/// A small grey picture.
fn picture() -> Vec<u8> {
    jpeg::encode(&[[120, 120, 120, 255]; 256], 16, 80)
}

/// Every run has a record with a wall after its name, and the same pictures; a night has no data.
fn files(folder: &str, name: &str) -> Option<Vec<u8>> {
    match name {
        "run.json" => Some(bytes_of(&record(folder, folder.rsplit('-').next().unwrap_or("2.5")))),
        name if name.ends_with(".png") => Some(picture()),
        _ => None,
    }
}

fn run(name: &str, variant: Option<&str>, verdict: Verdict) -> Deed {
    let stage =
        |name: &str, seconds: Option<f64>| StageDone { name: name.to_owned(), seconds, is_stored: seconds.is_none() };
    Deed::Run(Run {
        run: name.to_owned(),
        job: "whelk.yaml".to_owned(),
        variant: variant.map(str::to_owned),
        verdict,
        by: "turnhue 0.1.0 on bench".to_owned(),
        stages: vec![stage("scale", None), stage("voxelise", Some(0.5)), stage("proof", Some(2.0))],
        seconds: Some(61.4),
        peak_memory: Some(1 << 20),
        files: 12,
    })
}

fn failed(name: &str, variant: Option<&str>, why: &str) -> Deed {
    Deed::Failed(Failed {
        run: Some(name.to_owned()),
        job: "whelk.yaml".to_owned(),
        variant: variant.map(str::to_owned),
        why: why.to_owned(),
    })
}

fn choice(run: &str, rule: Option<&str>) -> Deed {
    Deed::Choice(Choice {
        run: run.to_owned(),
        rule: rule.map(str::to_owned),
        why: "it is the roundest".to_owned(),
        night: rule.map(|_| "whelk".to_owned()),
        by: None,
    })
}

fn order(run: &str, despite: Option<(&str, &str)>) -> Deed {
    Deed::Order(Order {
        run: run.to_owned(),
        files: vec![("piece.3mf".to_owned(), 1234, "5".repeat(64))],
        on: "2027-03-02".to_owned(),
        bureau: Some("Bureau One".to_owned()),
        price: Some("312.40 EUR".to_owned()),
        reference: Some("B-77".to_owned()),
        despite: despite.map(|(what, why)| (vec![what.to_owned()], why.to_owned())),
    })
}

fn delivery(run: &str) -> Deed {
    Deed::Delivery(Delivery {
        run: run.to_owned(),
        on: "2027-03-20".to_owned(),
        to: Some("the harbour library".to_owned()),
    })
}

fn note(text: &str) -> Deed {
    Deed::Note(Note { text: text.to_owned(), by: Some("Ada".to_owned()), run: None })
}

/// A commission in which these things happened, one every ten minutes.
fn commission(deeds: Vec<Deed>) -> Commission {
    let entry = |(at, deed): (usize, Deed)| {
        let (day, hour, minute) = (1 + at / 144, at / 6 % 24, at % 6 * 10);
        let time = format!("2027-03-{day:02}T{hour:02}:{minute:02}:00Z");
        Entry { seq: at as u64 + 1, time, deed }
    };
    Commission {
        name: "HB-1".to_owned(),
        runs: "runs".to_owned(),
        entries: deeds.into_iter().enumerate().map(entry).collect(),
        drawn: Some("2027-03-09T12:00:00Z".to_owned()),
        checked: Checked { head: Some("a1".repeat(32)), ..Checked::default() },
    }
}

fn draw(commission: &Commission) -> String {
    commission::draw(commission, &files).unwrap()
}

/// The text of a page, as a reader sees it, without markup.
fn text(page: &str) -> String {
    let body = &page[page.find("<body>").unwrap()..];
    let mut text = String::new();
    for piece in body.split('<') {
        text += piece.split_once('>').map_or(piece, |(_, text)| text);
    }
    text.replace("&#39;", "'").replace("&#34;", "\"").replace("&#60;", "<").replace("&#62;", ">").replace("&#38;", "&")
}

/// The words behind the first question: where it stands.
fn standing(page: &str) -> String {
    let after = page.split_once("Where does it stand?").unwrap().1;
    text(&format!("<body>{}", after.split_once("How it came").unwrap().0))
}

fn tales(page: &str) -> usize {
    page.matches("<li id=\"entry-").count()
}

#[test]
fn no_text_becomes_markup_or_script() {
    const EVIL: &str = "\"'><script>alert(1)</script><img src=x onerror=alert(2)>&amp;";
    let evil = || EVIL.to_owned();
    let mut deeds = vec![
        run(EVIL, None, Verdict::ReadyToOrder),
        run(&format!("b{EVIL}"), None, Verdict::HasFaults),
        run("v", Some(EVIL), Verdict::ReadyToOrder),
        failed(EVIL, None, &format!("{EVIL}; {EVIL}")),
        failed("w", Some(EVIL), EVIL),
        Deed::Night(Night { night: evil(), runs: vec!["v".to_owned()], failed: 1 }),
        Deed::Redrawn(Redrawn { run: evil(), is_package: false }),
        Deed::Choice(Choice { run: evil(), rule: Some(evil()), why: evil(), night: Some(evil()), by: Some(evil()) }),
        Deed::Note(Note { text: evil(), by: Some(evil()), run: Some(evil()) }),
        Deed::Order(Order {
            run: evil(),
            files: vec![(format!("order/{EVIL}"), 1, evil())],
            on: evil(),
            bureau: Some(evil()),
            price: Some(evil()),
            reference: Some(evil()),
            despite: Some((vec![evil()], evil())),
        }),
        Deed::Delivery(Delivery { run: evil(), on: evil(), to: Some(evil()) }),
    ];
    for deed in &mut deeds {
        if let Deed::Run(run) = deed {
            (run.job, run.by, run.stages[1].name) = (evil(), evil(), evil());
        }
        if let Deed::Failed(failed) = deed {
            failed.job = evil();
        }
    }
    let mut told = commission(deeds);
    (told.name, told.runs) = (evil(), evil());
    told.checked = Checked {
        head: Some(evil()),
        amiss: vec![Amiss { what: evil(), remedy: evil() }],
        files: Some(Measured { files: 1, bytes: 1 }),
    };
    let evil_files = |folder: &str, name: &str| match name {
        "run.json" => {
            let mut record = record(folder, EVIL);
            (record.title, record.tool.version) =
                (evil(), if folder.starts_with('b') { evil() } else { "1".to_owned() });
            Some(bytes_of(&record))
        }
        "night.json" => {
            let variant = json!({ "variant": EVIL, "run": "v" });
            Some(json!({ "choice": { "pick": { "variant": EVIL } }, "variants": [variant] }).to_string().into_bytes())
        }
        _ => Some(picture()),
    };
    let page = commission::draw(&told, &evil_files).unwrap();
    assert_eq!(page.matches("<script").count(), 1, "the page's own");
    // A picture or a handler of theirs would begin with these, unescaped.
    assert!(!page.contains("<img src=x") && !page.contains("'><") && !page.contains("\"'>"), "{page}");
    assert!(text(&page).matches(EVIL).count() > 30, "each text is told as it is");
    assert!(!page.contains("href=\"\"") && !page.contains("href=\"javascript"));
}

#[test]
fn the_policy_allows_one_script_and_nothing_from_anywhere() {
    let page = draw(&commission(vec![run("small-1", None, Verdict::ReadyToOrder)]));
    let policy = page.split("Content-Security-Policy\" content=\"").nth(1).unwrap().split('"').next().unwrap();
    assert!(policy.starts_with("default-src 'none'; img-src data:;"), "{policy}");
    assert_eq!(policy.matches("sha256-").count(), 1);
    let addresses = page.split("src=\"").skip(1).map(|rest| rest.split('"').next().unwrap());
    assert!(addresses.clone().count() > 2 && addresses.into_iter().all(|address| address.starts_with("data:image/")));
    let links = page.split("href=\"").skip(1).map(|rest| rest.split('"').next().unwrap());
    assert!(links.into_iter().all(|link| !link.contains(':') || link.starts_with("data:")), "all lead beside it");
}

#[test]
fn where_it_stands_is_what_people_recorded_last() {
    let ready = || run("small-1", None, Verdict::ReadyToOrder);
    for (deeds, word, next) in [
        (vec![], "In the making", "Make it"),
        (vec![failed("small-1", None, "no opening fits; widen it")], "In the making", "Make it"),
        (vec![run("small-1", None, Verdict::HasFaults)], "In the making", "Mend its faults"),
        (vec![run("small-1", None, Verdict::NotValidated)], "In the making", "Have it measured"),
        (vec![ready()], "In the making", "turnhue choose runs/HB-1/small-1 --why REASON"),
        (vec![ready(), choice("small-1", None)], "Chosen", "turnhue order runs/HB-1/small-1 --bureau NAME"),
        (vec![ready(), order("small-1", None)], "Ordered on 2\u{a0}March 2027", "turnhue deliver runs/HB-1/small-1"),
        // A rule that picks another does not undo an order; somebody who does begins another piece.
        (vec![ready(), order("small-1", None), choice("other-2", Some("{}"))], "Ordered on", "turnhue deliver"),
        (vec![ready(), order("small-1", None), choice("small-1", None)], "Chosen", "turnhue order"),
        (
            vec![ready(), order("small-1", None), delivery("small-1"), note("fine")],
            "Delivered on 20\u{a0}March 2027",
            "turnhue export HB-1 --to FOLDER",
        ),
    ] {
        let page = draw(&commission(deeds));
        assert!(standing(&page).contains(word), "{word}: {}", standing(&page));
        let comes = text(&page).split_once("What comes next?").unwrap().1.to_owned();
        assert!(comes[..comes.find("What happened").unwrap()].contains(next), "{next}");
    }
    let against = draw(&commission(vec![ready(), order("small-1", Some(("the piece has faults", "a trial")))]));
    for words in ["What spoke against it", "The piece has faults.", "a trial"] {
        assert!(text(&against).contains(words), "{words}");
    }
}

#[test]
fn commands_are_safe_to_paste() {
    let mut told = commission(vec![run("a b", None, Verdict::ReadyToOrder)]);
    told.name = "it's; rm".to_owned();
    told.runs = "kept".to_owned();
    let page = text(&draw(&told));
    assert!(page.contains(r"turnhue choose 'kept/it'\''s; rm/a b' --why REASON"), "{page}");
    assert!(page.contains(r"turnhue verify 'kept/it'\''s; rm'"), "{page}");
}

/// Two hundred variants are one tale, with its best by the night's own data.
#[test]
fn the_variants_of_a_night_are_one_tale() {
    let names: Vec<String> = (0..200).map(|at| format!("v{at}-2.5")).collect();
    let verdict = |at: usize| if at.is_multiple_of(10) { Verdict::HasFaults } else { Verdict::ReadyToOrder };
    let mut deeds: Vec<Deed> = (0..200).map(|at| run(&names[at], Some(&format!("v{at}")), verdict(at))).collect();
    deeds.insert(50, note("the client rang"));
    deeds.push(failed("v200-2.5", Some("v200"), "no opening fits; widen it"));
    deeds.push(failed("v201-2.5", Some("v201"), "no opening fits; widen it"));
    let page = draw(&commission(deeds.clone()));
    assert_eq!(tales(&page), 2);
    assert!(text(&page).contains("turnhue compare"), "their page is still to be drawn");

    deeds.push(Deed::Night(Night { night: "whelk".to_owned(), runs: names.clone(), failed: 2 }));
    deeds.push(choice(&names[7], Some("{\"lowest\":\"price\"}")));
    let with_data = |folder: &str, name: &str| match (folder, name) {
        ("nights/whelk", "night.json") => {
            let variant = |at: usize| {
                let unbeaten = json!({ "legibility": at == 90 || at == 91, "likeness": at == 13 });
                json!({ "variant": format!("v{at}"), "run": names[at], "unbeaten": unbeaten })
            };
            let strange = json!({ "variant": "strange", "run": "../elsewhere", "unbeaten": { "legibility": true, "likeness": true } });
            let variants: Vec<Value> = [strange].into_iter().chain((0..200).map(variant)).collect();
            Some(json!({ "choice": { "pick": { "variant": "v7" } }, "variants": variants }).to_string().into_bytes())
        }
        _ => files(folder, name),
    };
    let page = commission::draw(&commission(deeds), &with_data).unwrap();
    assert_eq!(tales(&page), 3, "the note, the night, the choice");
    let said = text(&page);
    for words in
        ["202 variants", "180 ready to order, 20 with faults, 2 could not be made", "2 variants: no opening fits"]
    {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(page.contains("href=\"nights/whelk/index.html\""));
    // 90 has a fault, so that 13 comes before the first without distinction.
    let best: Vec<&str> = page.split("<h5>").skip(1).map(|rest| rest.split("</bdi>").next().unwrap()).collect();
    let best: Vec<&str> = best.iter().map(|name| name.rsplit("<bdi>").next().unwrap()).collect();
    assert_eq!(best, ["v7", "v91", "v13", "v1"]);
    assert!(
        !page.contains("../elsewhere") && !text(&page).contains("strange"),
        "what is on no page of the ledger is not shown"
    );
}

#[test]
fn a_variant_that_was_made_in_the_end_did_not_fail() {
    let deeds = vec![
        failed("a-1", Some("a"), "the disk is full; make room"),
        failed("b-1", Some("b"), "no opening fits; widen it"),
        run("a-1", Some("a"), Verdict::ReadyToOrder),
    ];
    let said = text(&draw(&commission(deeds)));
    assert!(said.contains("1 ready to order, 1 could not be made") && !said.contains("the disk is full"), "{said}");
}

#[test]
fn what_a_run_changed_is_told_by_setting() {
    let runs = || vec![run("whelk-2.5", None, Verdict::ReadyToOrder), run("whelk-3", None, Verdict::ReadyToOrder)];
    let said = text(&draw(&commission(runs())));
    assert!(said.contains("Since the run before it, whelk-2.5:"), "{said}");
    assert!(said.contains("hollow.wall 2.5 mm became 3 mm"), "{said}");
    assert_eq!(said.matches(" became ").count(), 1, "nothing else differs");

    let with_more = |folder: &str, name: &str| {
        let mut other = record(folder, "2.5");
        if folder == "whelk-3" {
            other.stages.retain(|stage| stage.name != "hollow");
            other.inputs[1].blake3 = "0".repeat(64);
            other.inputs[1].name = "/models/whelk.stl".to_owned();
        }
        (name == "run.json").then(|| bytes_of(&other))
    };
    let said = text(&commission::draw(&commission(runs()), &with_more).unwrap());
    assert!(said.contains("hollow left the chain") && !said.contains("hollow.wall"), "{said}");
    assert!(said.contains("whelk.stl has other content"), "{said}");

    let same = |_: &str, name: &str| (name == "run.json").then(|| bytes_of(&record("whelk-2.5", "2.5")));
    let twice = vec![run("whelk-2.5", None, Verdict::ReadyToOrder), run("whelk-2.5", None, Verdict::ReadyToOrder)];
    let said = text(&commission::draw(&commission(twice), &same).unwrap());
    assert!(said.contains("Its job and its files are those of the run before it"), "{said}");
}

#[test]
fn times_of_stages_stand_beside_each_other() {
    let page = draw(&commission(vec![run("small-1", None, Verdict::ReadyToOrder)]));
    let said = text(&page);
    assert!(said.contains("Took 1\u{a0}min 01\u{a0}s: 2 stages made, 1 taken from the store"), "{said}");
    // The longest is the measure: 2 s, beside which 0.5 s are a quarter.
    assert!(page.contains("<rect width=\"100\"") && page.contains("<rect width=\"25\""));
    assert!(said.contains("scalefrom the store"), "{said}");
}

#[test]
fn no_check_is_claimed_that_was_not_made() {
    let mut told = commission(vec![run("small-1", None, Verdict::ReadyToOrder), note("a")]);
    let said = text(&draw(&told));
    assert!(
        said.contains("All 2 entries were whole on 9\u{a0}March 2027, 12:00\u{a0}UTC. Files were not checked"),
        "{said}"
    );
    assert!(!said.contains("as recorded"), "{said}");
    told.checked.files = Some(Measured { files: 204, bytes: 5_000_000 });
    let said = text(&draw(&told));
    let words = "All 2 entries and 204 files (5.00\u{a0}MB) were as recorded on 9\u{a0}March 2027";
    assert!(said.contains(words) && !said.contains("not checked"), "{said}");

    let amiss = |at: usize| Amiss { what: format!("small-1/{at} is missing"), remedy: "put it back".to_owned() };
    told.checked.amiss = (0..60).map(amiss).collect();
    let said = text(&draw(&told));
    assert!(said.contains("60 things are not as recorded") && said.contains("And 20 more"), "{said}");
    assert!(said.contains("Mend its record"));
    assert!(said.contains("small-1/3 is missing.") && !said.contains("as recorded on"), "{said}");

    told.checked.head = None;
    assert!(text(&draw(&told)).contains("So far as its entries can be read."));
    told.checked = Checked { files: Some(Measured { files: 204, bytes: 1 }), ..Checked::default() };
    told.drawn = None;
    let said = text(&draw(&told));
    assert!(said.contains("were as recorded when this copy was made") && !said.contains("turnhue choose"), "{said}");
    assert!(!said.contains("2027, 12:00"), "a copy comes out the same whenever it is made");
}

/// A thousand entries: each is there, the newest stand open, and the page stays small.
#[test]
fn long_histories_are_folded() {
    let deed = |at: usize| match at % 4 {
        0 => run(&format!("whelk{at}-{at}"), None, Verdict::ReadyToOrder),
        1 => note(&format!("note number {at};")),
        2 => failed(&format!("whelk{at}"), None, "no opening fits; widen it"),
        _ => Deed::Redrawn(Redrawn { run: format!("whelk{}-{}", at - 3, at - 3), is_package: false }),
    };
    let page = draw(&commission((0..1000).map(deed).collect()));
    assert_eq!(tales(&page), 1000);
    let (folded, open) = page.split_once("</details>").map(|(older, rest)| (older, rest.to_owned())).unwrap();
    assert!(folded.contains("class=\"older\""));
    assert_eq!((tales(folded), tales(&open)), (1000 - MOST_OPEN, MOST_OPEN));
    assert!(text(&page).contains("Before that: 976 more, from 1\u{a0}March 2027 to 7\u{a0}March 2027"));
    for at in (1..1000).step_by(4) {
        assert!(page.contains(&format!("note number {at};")));
    }
    // Six runs of the last 24 tales have pictures.
    assert_eq!(open.matches("class=\"took\"").count(), 6);
    assert!(page.len() < 1_000_000, "{} bytes", page.len());
}

#[test]
fn pages_drawn_anew_one_after_the_other_are_one_tale() {
    let redrawn = |run: &str, is_package| Deed::Redrawn(Redrawn { run: run.to_owned(), is_package });
    let mut deeds: Vec<Deed> = (0..30).map(|at| redrawn(&format!("r{at}"), false)).collect();
    deeds.push(redrawn("r1", true));
    let page = draw(&commission(deeds));
    assert_eq!(tales(&page), 2);
    let said = text(&page);
    assert!(said.contains("The pages of 30 runs: r0, r1, r2, r3, r4, r5 and 24 more were made anew."), "{said}");
    assert!(said.contains("The package of r1 was made anew."), "{said}");
}

#[test]
fn what_cannot_be_read_is_told_by_the_ledger_alone() {
    let deeds = vec![
        run("small-1", None, Verdict::ReadyToOrder),
        run("v-1", Some("v"), Verdict::ReadyToOrder),
        Deed::Night(Night { night: "whelk".to_owned(), runs: vec!["v-1".to_owned()], failed: 0 }),
        order("small-1", None),
    ];
    for spoilt in [&b""[..], b"{", b"[]", b"{\"form\": 99}", b"\xff"] {
        let page = commission::draw(&commission(deeds.clone()), &|_, _| Some(spoilt.to_vec())).unwrap();
        assert_eq!(tales(&page), 3);
        assert!(text(&page).contains("Ordered on"), "{}", text(&page));
    }
    // The record of another run is not that of this one.
    let swapped = |_: &str, name: &str| (name == "run.json").then(|| bytes_of(&record("other", "1")));
    assert!(!text(&commission::draw(&commission(deeds), &swapped).unwrap()).contains("Whelk for the harbour"));
}
