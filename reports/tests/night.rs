//! The page of a night, drawn from variants that were invented for these tests.

#![allow(clippy::unwrap_used)]

use std::path::Path;

use serde_json::{Value, json};
use turnhue_reports::night::{self, Files, Made, Night, Outcome, Row, Rule};
use turnhue_reports::record::{self, Record, Verdict};
use turnhue_stages::findings::{Fact, Finding, Unit};
use turnhue_stages::formats::jpeg;

/// A variant's figures: name, price, legibility, likeness, weight.
type Told<'a> = (&'a str, &'a str, f64, f64, f64);

/// A record like those that are kept, with other figures.
fn record(&(_, price, legibility, likeness, weight): &Told<'_>) -> Record {
    let old = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/records/form-1.json");
    let mut record = record::read(Path::new(old)).unwrap();
    record.verdict = Verdict::ReadyToOrder;
    let mut stage = record.stages[0].clone();
    record.stages.clear();
    let money = Fact {
        name: "price".to_owned(),
        value: serde_json::from_value(json!({ "money": { "amount": price, "currency": "EUR" } })).unwrap(),
        unit: None,
    };
    for (name, facts) in [
        ("voxelise", vec![Fact::number("volume overlap", likeness, Unit::Percent)]),
        ("proof", vec![Fact::number("legibility", legibility, Unit::Percent)]),
        ("validate", vec![Fact::number("weight", weight, Unit::Gram)]),
        ("estimate", vec![money]),
    ] {
        stage.name = name.to_owned();
        stage.facts = facts;
        stage.findings = Vec::new();
        stage.settings = json!({});
        stage.artefacts = Vec::new();
        record.stages.push(stage.clone());
    }
    record.stages[0].artefacts.push(record::File {
        name: "view-corner-front-right.png".to_owned(),
        what: "the piece".to_owned(),
        bytes: 1,
        blake3: String::new(),
    });
    record
}

fn row_of(name: &str, record: &Record) -> Row {
    Row {
        name: name.to_owned(),
        changes: vec![("hollow.wall".to_owned(), format!("{name} mm"))],
        run: format!("{name}-0123abcd"),
        outcome: Outcome::Made(Box::new(Made::of(record))),
    }
}

fn row(told: &Told<'_>) -> Row {
    row_of(told.0, &record(told))
}

fn night(rows: Vec<Row>, rules: Value) -> Night {
    Night {
        title: "Whelk".to_owned(),
        commission: "HB-1".to_owned(),
        job: "whelk".to_owned(),
        rows,
        rules: serde_json::from_value(rules).unwrap(),
    }
}

/// A small grey picture.
fn picture(_: &str, _: &str) -> Option<Vec<u8>> {
    Some(jpeg::encode(&[[120, 120, 120, 255]; 256], 16, 80))
}

fn draw(night: &Night) -> Files {
    night::draw(night, &picture).unwrap()
}

/// What the page tells its script, as it stands there.
fn known_text(files: &Files) -> &str {
    let begin = "<script type=\"application/json\" id=\"known\">";
    files.page.split_once(begin).unwrap().1.split_once("</script>").unwrap().0
}

fn known(files: &Files) -> Value {
    serde_json::from_str(known_text(files)).unwrap()
}

fn words(rows: &[Row], rules: Value) -> (Option<String>, Vec<String>) {
    let choice = draw(&night(rows.to_vec(), rules)).choice.unwrap();
    (choice.pick.map(|pick| pick.variant), choice.words)
}

/// Worked by hand: of those with a legibility of at least 60 %, `b` is the cheapest.
const FOUR: [Told<'_>; 4] = [
    ("a", "290.00", 58.2, 96.0, 300.0),
    ("b", "312.40", 63.0, 95.0, 350.0),
    ("c", "318.00", 71.0, 90.0, 390.0),
    ("d", "350.00", 70.0, 82.0, 450.0),
];

fn four() -> Vec<Row> {
    FOUR.iter().map(row).collect()
}

#[test]
fn the_cheapest_that_keeps_the_bounds_is_picked_and_why_is_said() {
    let (pick, words) = words(
        &four(),
        json!([{ "lowest": "price", "where": { "legibility": "at least 60 %", "likeness": "at least 85 %" } }]),
    );
    assert_eq!(pick.as_deref(), Some("b"));
    assert_eq!(
        words,
        [
            "Rule 1 picks b: of 4 variants that are fit to order, 2 keep legibility at least 60.0 % and likeness at least \
          85.0 %, and it has the lowest price of these, 312.40 EUR; next is c with 318.00 EUR."
        ]
    );
}

#[test]
fn a_rule_that_picks_none_says_how_near_the_nearest_came_and_the_next_is_tried() {
    let (pick, words) = words(
        &four(),
        json!([
            { "lowest": "price", "where": { "legibility": "at least 72 %", "weight": "at most 0.4 kg" } },
            { "highest": "legibility" },
        ]),
    );
    assert_eq!(pick.as_deref(), Some("c"));
    // a, b and c miss legibility alone, c by the least; d misses both.
    assert_eq!(
        words[0],
        "Rule 1, lowest price, picks none: of 4 variants that are fit to order, none keeps legibility at least 72.0 % \
         and weight at most 400.0 g; c comes nearest: its legibility is 71.0 %, and at least 72.0 % is asked for."
    );
    assert_eq!(
        words[1],
        "Rule 2 picks c: of 4 variants that are fit to order, it has the highest legibility, 71.0 %; next is d with \
         70.0 %."
    );
}

#[test]
fn a_bound_that_is_hardly_missed_does_not_read_as_if_it_were_kept() {
    let rows = [row(&("a", "290.00", 59.98, 96.0, 300.0))];
    let (pick, words) = words(&rows, json!([{ "lowest": "price", "where": { "legibility": "at least 60 %" } }]));
    assert_eq!(pick, None);
    assert!(words[0].contains("its legibility is 59.98 %, and at least 60.0 % is asked for"), "{words:?}");
}

#[test]
fn ties_go_to_the_next_best_figure_and_then_to_the_name() {
    let rule = json!([{ "lowest": "price" }]);
    let better = [("z", "300.00", 60.0, 90.0, 1.0), ("y", "300.0", 65.0, 80.0, 1.0)];
    let (pick, said) = words(&better.iter().map(row).collect::<Vec<_>>(), rule.clone());
    assert_eq!(pick.as_deref(), Some("y"));
    assert!(said[0].ends_with("300.0 EUR; z has the same, and the better legibility decides."), "{said:?}");
    let same = [("z", "300.00", 60.0, 90.0, 1.0), ("y", "300.00", 60.0, 90.0, 1.0)];
    let (pick, said) = words(&same.iter().map(row).collect::<Vec<_>>(), rule);
    assert_eq!(pick.as_deref(), Some("y"));
    assert!(said[0].ends_with("z has the same, and the order of the names decides."), "{said:?}");
}

#[test]
fn only_what_is_fit_to_order_stands_for_choice() {
    let mut faulty = record(&FOUR[0]);
    faulty.verdict = Verdict::HasFaults;
    faulty.stages[2].findings.push(Finding::fault("wall-too-thin", "the wall is 1 mm", "raise `hollow.wall`"));
    let mut open = record(&FOUR[1]);
    open.verdict = Verdict::NotValidated;
    let failed =
        Row { outcome: Outcome::Failed { why: "no place".to_owned(), remedy: String::new() }, ..row(&FOUR[3]) };
    let rows = [row_of("a", &faulty), row_of("b", &open), failed];
    let (pick, said) = words(&rows, json!([{ "lowest": "price" }]));
    assert_eq!(pick, None);
    assert_eq!(
        said,
        [
            "No rule can pick, since no variant is fit to order: 1 has faults, 1 was not measured (add `validate` to the \
          job) and 1 could not be made."
        ]
    );
    let (pick, _) = words(&[&rows[..], &[row(&FOUR[2])]].concat(), json!([{ "lowest": "price" }]));
    assert_eq!(pick.as_deref(), Some("c"));
}

#[test]
fn currencies_are_not_compared_and_what_nobody_said_is_named() {
    let mut other = record(&FOUR[1]);
    other.stages[3].facts[0].value =
        serde_json::from_value(json!({ "money": { "amount": "1.00", "currency": "CHF" } })).unwrap();
    let rows = [row(&FOUR[0]), row_of("b", &other)];
    let (pick, said) = words(&rows, json!([{ "lowest": "price" }]));
    assert_eq!(pick, None);
    assert!(said[0].contains("prices are in CHF and EUR, which cannot be compared"), "{said:?}");
    let (_, said) = words(&rows[..1], json!([{ "lowest": "weight", "where": { "price": "at most 500 CHF" } }]));
    assert!(said[0].ends_with("its price is 290.00 EUR, and at most 500 CHF is asked for, in another currency."));
    let mut mute = record(&FOUR[0]);
    mute.stages.remove(1);
    let (_, said) = words(&[row_of("a", &mute)], json!([{ "highest": "legibility" }]));
    assert!(said[0].contains("no stage says the legibility") && said[0].contains("add the stage `proof`"), "{said:?}");
}

#[test]
fn rules_are_read_back_as_written_and_wrong_ones_are_refused() {
    let read = |rule: Value| serde_json::from_value::<Rule>(rule).map_err(|error| error.to_string());
    for rule in [
        json!({ "lowest": "price", "where": { "legibility": "at least 60 %", "smallest-wall": "at least 2 mm" } }),
        json!({ "highest": "likeness" }),
        json!({ "lowest": "cell", "where": { "cautions": "at most 0", "cells": "at most 90000", "cell": "at least 2 mm",
            "price": "at most 400 EUR", "separation": "at least 75 %", "weight": "at most 400 g" } }),
    ] {
        let kept = read(rule.clone()).unwrap();
        assert_eq!(serde_json::to_value(&kept).unwrap(), rule);
    }
    for (rule, says) in [
        (json!({}), "lowest: price"),
        (json!({ "lowest": "price", "highest": "weight" }), "either"),
        (json!({ "lowest": "beauty" }), "beauty"),
        (json!({ "lowest": "price", "when": {} }), "when"),
        (json!({ "lowest": "price", "where": { "beauty": "at least 1" } }), "beauty"),
        (json!({ "lowest": "price", "where": { "legibility": "60 %" } }), "at least 60 %"),
        (json!({ "lowest": "price", "where": { "legibility": 60 } }), "at least 60 %"),
        (json!({ "lowest": "price", "where": { "legibility": "at least 3 mm" } }), "not a share"),
        (json!({ "lowest": "price", "where": { "legibility": "at least 140 %" } }), "at most 100 %"),
        (json!({ "lowest": "price", "where": { "weight": "at most 4 mm" } }), "g or kg"),
        (json!({ "lowest": "price", "where": { "price": "at most much" } }), "250 EUR"),
        (json!({ "lowest": "price", "where": { "smallest-wall": "at least 2 g" } }), "2 g"),
        (json!({ "lowest": "price", "where": { "cautions": "at most 1.5" } }), "whole number"),
        (json!("cheapest"), "a rule such as"),
    ] {
        let refused = read(rule.clone()).unwrap_err();
        assert!(refused.contains(says), "{rule}: {refused}");
    }
}

#[test]
fn no_text_becomes_markup_or_a_formula() {
    const EVIL: &str = "=<script>alert(1)</script>\"'&";
    let mut row = row(&FOUR[0]);
    row.name = EVIL.to_owned();
    row.run = EVIL.to_owned();
    row.changes = vec![(EVIL.to_owned(), EVIL.to_owned())];
    let failed = Row {
        name: "@x".to_owned(),
        outcome: Outcome::Failed { why: EVIL.to_owned(), remedy: EVIL.to_owned() },
        ..row.clone()
    };
    let mut evil = night(vec![row, failed, self::row(&FOUR[1])], json!([{ "lowest": "price" }]));
    evil.title = EVIL.to_owned();
    evil.commission = EVIL.to_owned();
    evil.job = EVIL.to_owned();
    let files = draw(&evil);
    // The script, and the data block that it reads.
    assert_eq!(files.page.matches("<script").count(), 2);
    assert_eq!(files.page.matches("<script>").count(), 1);
    assert!(!files.page.contains("alert(1)</script>"));
    assert!(!known_text(&files).contains('<'));
    assert_eq!(known(&files)["variants"][0], EVIL);
    assert!(files.page.contains("href=\"../../%3D%3Cscript%3Ealert%281%29%3C%2Fscript%3E%22%27%26/summary.html\""));
    assert!(files.table.contains("'=<script>") && !files.table.contains("\r\n=") && !files.table.contains(",="));
    assert!(!files.table.contains("\"="), "{}", files.table);
    serde_json::from_str::<Value>(&files.data).unwrap();
}

#[test]
fn every_variant_stands_in_the_table_and_the_data() {
    let mut rows = four();
    rows.push(Row {
        name: "late".to_owned(),
        changes: Vec::new(),
        run: String::new(),
        outcome: Outcome::NotRun { why: "the night was stopped before".to_owned(), remedy: "run it again".to_owned() },
    });
    let files = draw(&night(rows, json!([{ "lowest": "price" }])));
    assert_eq!(files.page.matches("<tr data-row=").count(), 5);
    assert_eq!(files.table.lines().count(), 6);
    assert!(files.table.starts_with("variant,run,outcome,hollow.wall,price,currency,"));
    assert!(files.table.contains("\r\nlate,,not-run,"));
    let data: Value = serde_json::from_str(&files.data).unwrap();
    assert_eq!(data["variants"].as_array().unwrap().len(), 5);
    assert_eq!(data["variants"][0]["price"], json!({ "amount": "290.00", "currency": "EUR" }));
    assert_eq!(data["variants"][1]["figures"]["legibility_percent"], json!(63.0));
    assert_eq!(data["choice"]["pick"], json!({ "variant": "a", "rule": 1, "next": "b" }));
    // By hand: d costs more than c and is worse in both figures.
    let unbeaten = |at: usize| data["variants"][at]["unbeaten"].clone();
    assert_eq!(unbeaten(2), json!({ "legibility": true, "likeness": false }));
    assert_eq!(unbeaten(3), json!({ "legibility": false, "likeness": false }));
    assert!(files.page.contains("What went wrong") && files.page.contains("The night was stopped before."));
}

/// What stands in an attribute, wherever a text has it.
fn values_of(text: &str, attribute: &str) -> Vec<String> {
    let begins = format!("{attribute}=\"");
    text.split(&begins).skip(1).map(|rest| rest.split('"').next().unwrap().to_owned()).collect()
}

#[test]
fn each_sign_of_a_plot_says_its_row_its_form_and_its_figures() {
    let page = draw(&night(four(), json!([]))).page;
    let plots: Vec<_> = page.split("<figure class=\"plot\">").skip(1).collect();
    assert_eq!(plots.len(), 2);
    // By hand: legibility grows with the price up to `c`, likeness falls from `a` on.
    for (plot, best) in plots.into_iter().zip([3, 1]) {
        let svg = plot.split("</svg>").next().unwrap();
        let mut rows = values_of(svg, "data-row");
        rows.sort();
        assert_eq!(rows, ["0", "1", "2", "3"]);
        let signs: Vec<_> = svg.split("<path class=\"sign ").skip(1).collect();
        assert_eq!(signs.len(), 4);
        // Every unbeaten sign has a number, and every sign says who it is.
        let unbeaten = signs.iter().filter(|sign| sign.starts_with("unbeaten")).count();
        assert_eq!([unbeaten, svg.matches("class=\"ordinal-of\"").count()], [best, best]);
        assert!(signs.iter().all(|sign| sign.contains("<title>") && sign.contains("EUR")), "{signs:?}");
    }
}

/// Ninety that nothing beats, cents apart from each other, and one far away: both ends have their numbers, and none lies over
/// another.
#[test]
fn numbers_in_a_plot_keep_out_of_each_others_way() {
    let prices: Vec<String> = (0..90).map(|n| format!("300.{n:02}")).chain(["340.00".to_owned()]).collect();
    let rows: Vec<Row> =
        prices.iter().zip(0..).map(|(price, n)| row(&("v", price, 50.0 + 0.01 * f64::from(n), 90.0, 300.0))).collect();
    let page = draw(&night(rows, json!([]))).page;
    let plot = page.split("<figure class=\"plot\">").nth(1).unwrap().split("</svg>").next().unwrap();
    let numbers: Vec<&str> =
        plot.split("<text class=\"ordinal-of\"").skip(1).map(|rest| rest.split("</").next().unwrap()).collect();
    let told: Vec<&str> = numbers.iter().map(|number| number.rsplit('>').next().unwrap()).collect();
    assert!(told.len() < 30 && told.first() == Some(&"1") && told.last() == Some(&"91"), "{told:?}");
    let place = |number: &str, axis| values_of(number, axis)[0].parse::<f64>().unwrap();
    let places: Vec<[f64; 2]> = numbers.iter().map(|number| [place(number, " x"), place(number, " y")]).collect();
    for (at, one) in places.iter().enumerate() {
        for (other, number) in places[at + 1..].iter().zip(&told[at + 1..]) {
            let [across, up] = [other[0] - one[0], one[1] - other[1]];
            assert!(across >= 13.0 * number.len() as f64 || up >= 18.0, "{number}: {across} {up}");
        }
    }
}

#[test]
fn the_same_night_gives_the_same_bytes_and_none_gives_a_page() {
    let night = night(four(), json!([]));
    assert_eq!(draw(&night), draw(&night));
    assert!(draw(&night).choice.is_none());
    let none = Night { rows: Vec::new(), ..night };
    assert!(draw(&none).page.contains("0 variants"));
}

#[test]
fn a_thousand_variants_stay_within_the_page_and_their_other_pictures_are_linked() {
    let rows: Vec<Row> = (0..1000)
        .map(|n| {
            let price = format!("{}.{:02}", 200 + n % 97, n % 100);
            row(&(&format!("variant-{n}"), &price, f64::from(n % 89), f64::from(n % 83), f64::from(n)))
        })
        .collect();
    // As heavy as the thumbnails of a real piece and more: noise does not compress.
    let mut state = 1_u32;
    let noise: Vec<[u8; 4]> = std::iter::repeat_with(|| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let [a, b, c, _] = state.to_be_bytes();
        [a, b, c, 255]
    })
    .take(240 * 240)
    .collect();
    let heavy = jpeg::encode(&noise, 240, 95);
    let files = night::draw(&night(rows, json!([])), &|_, _| Some(heavy.clone())).unwrap();
    assert!(files.page.len() <= night::LARGEST, "{} bytes", files.page.len());
    let embedded = files.page.matches("src=\"data:image/jpeg").count();
    let linked = files.page.matches("loading=\"lazy\"").count();
    assert!(embedded > 50 && embedded + linked == 1000, "{embedded} and {linked}");
    assert!(files.page.contains("img-src data: 'self';"));
    assert!(draw(&night(four(), json!([]))).page.contains("img-src data:;"));
}

/// By hand from `FOUR`: what words of difference are made of.
#[test]
fn the_script_is_told_in_what_variants_differ_and_how_that_is_said() {
    let mut other = record(&("e", "250.00", 50.0, 80.0, 200.0));
    other.stages[3].facts[0].value =
        serde_json::from_value(json!({ "money": { "amount": "250.00", "currency": "CHF" } })).unwrap();
    other.verdict = Verdict::HasFaults;
    let known = known(&draw(&night([four(), vec![row_of("e", &other)]].concat(), json!([{ "lowest": "price" }]))));
    assert_eq!(known["variants"], json!(["a", "b", "c", "d", "e"]));
    assert_eq!(known["competes"], json!([true, true, true, true, false]));
    assert_eq!((&known["chosen"], &known["pair"]), (&json!(0), &json!([0, 1])));
    let line = |key: &str| {
        let lines = known["lines"].as_array().unwrap();
        lines.iter().find(|line| line["key"] == key).unwrap_or_else(|| panic!("no line {key}")).clone()
    };
    let price = line("price");
    assert_eq!(price["kind"], "figure");
    // An amount in another currency is shown and never compared.
    assert_eq!(price["measure"]["numbers"], json!([290.0, 312.4, 318.0, 350.0, null]));
    assert_eq!(price["values"][4].as_str().unwrap().replace('\u{a0}', " "), "250.00 CHF");
    assert_eq!(price["measure"]["differs"], json!(["costs {} less", "costs {} more"]));
    assert_eq!((&price["measure"]["unit"], &price["measure"]["better"]), (&json!("EUR"), &json!(-1)));
    let legibility = line("legibility");
    assert_eq!(legibility["measure"]["differs"], json!(["is {} less legible", "is {} more legible"]));
    assert_eq!(legibility["measure"]["counted_in"], json!(["point", "points"]));
    assert_eq!((&legibility["measure"]["unit"], &legibility["measure"]["better"]), (&json!("%"), &json!(1)));
    // `hollow.wall` is "a mm" and so on here: no number, so no axis and no range.
    let wall = line("hollow.wall");
    assert_eq!((&wall["kind"], &wall["of_what"], wall.get("measure")), (&json!("setting"), &json!("walls of"), None));
    assert_eq!(line("outcome")["values"], json!(["is ready to order", "has faults"]));
    assert_eq!(line("outcome")["of"], json!([0, 0, 0, 0, 1]));
    // d is dearer than c and worse in both figures; what has faults stands outside of it.
    let best = line("best");
    let of: Vec<_> = best["of"].as_array().unwrap().iter().map(|at| at.as_u64()).collect();
    let said = |at: usize| best["values"][usize::try_from(of[at].unwrap()).unwrap()].as_str().unwrap();
    assert_eq!((said(2), said(3), of[4]), ("nothing beats it", "another is better", None));
}

#[test]
fn a_setting_is_measured_where_all_its_values_are_numbers_in_one_unit() {
    let night_of = |values: [&str; 3]| {
        let rows = values
            .into_iter()
            .zip(four())
            .map(|(value, row)| Row { changes: vec![("hollow.wall".to_owned(), value.to_owned())], ..row });
        let known = known(&draw(&night(rows.collect(), json!([]))));
        known["lines"][0]
            .get("measure")
            .map(|measure| (measure["numbers"].clone(), measure["unit"].clone(), measure["decimals"].clone()))
    };
    assert_eq!(night_of(["2.5 mm", "3 mm", "10 mm"]), Some((json!([2.5, 3.0, 10.0]), json!("mm"), json!(1))));
    assert_eq!(night_of(["2", "3", "2"]), Some((json!([2.0, 3.0, 2.0]), json!(""), json!(0))));
    assert_eq!(night_of(["2.5 mm", "0.3 cm", "3 mm"]), None);
    assert_eq!(night_of(["2.5 mm", "not set", "3 mm"]), None);
}

#[test]
fn printed_pictures_are_part_of_the_page_as_long_as_they_fit() {
    let mut printed = record(&FOUR[0]);
    printed.stages[0].artefacts.push(record::File {
        name: "turn-printed-009.jpg".to_owned(),
        what: "the piece".to_owned(),
        bytes: 1,
        blake3: String::new(),
    });
    let night = night(vec![row_of("a", &printed), row(&FOUR[1])], json!([]));
    let files = draw(&night);
    assert!(known(&files)["printed"][0].as_str().unwrap().starts_with("data:image/jpeg;base64,"));
    assert_eq!(known(&files)["printed"][1], Value::Null);
    assert!(files.page.contains("img-src data:;"));
    // One that cannot be read is left to the browser, which asks for it when it is looked at.
    let files = night::draw(&night, &|_, name| (!name.contains("printed")).then(|| picture("", "")).flatten()).unwrap();
    assert_eq!(known(&files)["printed"][0], "../../a-0123abcd/turn-printed-009.jpg");
    assert!(files.page.contains("img-src data: 'self';"));
}
