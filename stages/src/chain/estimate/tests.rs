#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use glam::{DVec3, IVec3};
use proptest::prelude::*;
use rust_decimal::Decimal;

use super::invoice::{Amounts, Invoice, invoice};
use super::*;
use crate::findings::{Fact, Severity, Unit, Value};
use crate::process::{Family, Figure, Process};
use crate::solid::{Cells, Grid};
use crate::stage::{Outcome, Shelf, erase};
use crate::void::{Opening, Void};
use crate::{Length, Side};

const DEMO: &str = include_str!("../../../../jobs/rates/bureau-demo.yaml");

fn dec(text: &str) -> Decimal {
    Decimal::from_str_exact(text).unwrap()
}

fn rates(text: &str) -> Rates {
    Rates::read(text.as_bytes()).unwrap()
}

fn amounts(material: &str, bounds: &str, surface: &str, weight: &str) -> Amounts {
    Amounts { material: dec(material), bounds: dec(bounds), surface: dec(surface), weight: dec(weight), parts: 1 }
}

fn usual(rates: &Rates) -> Vec<&Finishing> {
    rates.finishing.iter().filter(|option| option.usual).collect()
}

/// A shelf that must not be used: `estimate` makes no files.
struct NoShelf;

impl Shelf for NoShelf {
    fn create(&mut self, name: &str) -> io::Result<Box<dyn Write + '_>> {
        Err(io::Error::other(format!("nobody asked for {name}")))
    }

    fn path(&self, name: &str) -> PathBuf {
        PathBuf::from(name)
    }
}

fn process(density: f64) -> Process {
    let basis = || "invented for the test".to_owned();
    let length = |mm| Figure { value: Length::from_mm(mm), range: None, basis: basis() };
    Process {
        name: "test powder".to_owned(),
        family: Family::BinderJetting,
        build_volume: Figure { value: [Length::from_mm(300.0); 3], range: None, basis: basis() },
        layer: length(0.1),
        minimum_wall: length(2.0),
        detail: length(0.5),
        gap: length(0.5),
        opening: length(5.0),
        bleed: length(0.1),
        edge_radius: length(0.1),
        base: None,
        gamut: None,
        profile: None,
        clearance: None,
        tolerance: length(0.2),
        density: Figure { value: density, range: None, basis: basis() },
        strength: None,
        most_triangles: Figure { value: 1_000_000, range: None, basis: basis() },
        most_bytes: Figure { value: 1 << 26, range: None, basis: basis() },
    }
}

/// A block of 10 × 10 × 20 cells of 5 mm: 50 × 50 × 100 mm, 250 cm³, outside surface 250 cm².
fn block() -> Cells {
    let grid = Grid { origin: DVec3::ZERO, cell: 5.0, counts: IVec3::new(10, 10, 20) };
    Cells::from_fn(grid, |_| true)
}

/// A cavity of 6 × 6 × 16 cells in the middle of the block and a shaft of 2 × 2 × 2 cells down to the bottom.
fn void(cells: &Cells) -> Void {
    let grid = *cells.grid();
    let within = |cell: IVec3, low: IVec3, high: IVec3| cell.cmpge(low).all() && cell.cmplt(high).all();
    Void {
        shafts: Cells::from_fn(grid, |c| within(c, IVec3::new(4, 4, 0), IVec3::new(6, 6, 2))),
        openings: vec![Opening {
            side: Side::Bottom,
            low: DVec3::new(20.0, 20.0, 0.0),
            high: DVec3::new(30.0, 30.0, 10.0),
        }],
        cavity: Cells::from_fn(grid.refined(2), |c| within(c, IVec3::splat(4), IVec3::new(16, 16, 36))),
        per_cell: 2,
        moved: BTreeMap::new(),
        wall: 10.0,
    }
}

fn run(settings: serde_json::Value, rates: &str, piece: Workpiece, known: &[Fact]) -> Result<Outcome, Halt> {
    let ready = erase::<Estimate>().read(settings).unwrap();
    let files = BTreeMap::from([("rates.yaml".to_owned(), Arc::from(rates.as_bytes()))]);
    let (process, cancel, mut shelf) = (process(1.6), AtomicBool::new(false), NoShelf);
    let mut shop = Shop::new(&process, &files, known, &cancel, &mut shelf);
    ready.check(&shop).map_err(Halt::Misfit)?;
    ready.run(piece, &mut shop)?;
    Ok(shop.close())
}

fn solid_piece() -> Workpiece {
    Workpiece::default().with_cells(block())
}

fn hollow_piece() -> Workpiece {
    let cells = block();
    let void = void(&cells);
    Workpiece::default().with_cells(cells).with_void(void)
}

fn fact<'a>(outcome: &'a Outcome, name: &str) -> &'a Value {
    &outcome.facts.iter().find(|fact| fact.name == name).unwrap_or_else(|| panic!("no fact '{name}'")).value
}

fn table<'a>(outcome: &'a Outcome, name: &str) -> (&'a [String], &'a [Vec<String>]) {
    match fact(outcome, name) {
        Value::Table { columns, rows } => (columns, rows),
        other => panic!("'{name}' is {other:?}"),
    }
}

fn cells_of(row: &[String]) -> Vec<&str> {
    row.iter().map(String::as_str).collect()
}

/// Worked by hand: 121.337 cm³, box 480.25 cm³, surface 333.33 cm², 194.1 g, by the demo's price list.
///
/// - each copy 14.00; material 121.337 × 0.48 = 58.24176 → 58.24; box 480.25 × 0.016 = 7.684 → 7.68;
///   surface 333.33 × 0.02 = 6.6666 → 6.67: printing 86.59
/// - finishing 8.50 (usual alone)
/// - 1 copy: 86.59 + 8.50 = 95.09; parcel 194.1 + 220 = 414.1 g → 7.20; net 102.29; tax 20 % = 20.458 → 20.46;
///   total 122.75; 8 + 1 = 9 days
/// - 5 copies: printing 432.95, finishing 42.50, 6 % off 432.95 = 25.977 → 25.98; work 449.47;
///   parcel 5 × 414.1 = 2070.5 g → 10.40; net 459.87; tax 91.974 → 91.97; total 551.84; each 110.368 → 110.37;
///   8 + ⌈5 / 3⌉ − 1 + 1 = 10 days
/// - 30 copies: printing 2597.70, finishing 255.00, 12 % = 311.724 → 311.72; work 2540.98; ⌊10 / 0.4141⌋ = 24 in a
///   parcel (9938.4 g → 17.90) and 6 (2484.6 g → 10.40) = 28.30; net 2569.28; tax 513.856 → 513.86; total 3083.14;
///   each 102.77133 → 102.77; 8 + 9 + 1 = 18 days
#[test]
fn an_invoice_is_what_a_clerk_works_out() {
    let rates = rates(DEMO);
    let measured = amounts("121.337", "480.25", "333.33", "194.1");
    for (copies, print, finishing, discount, shipping, tax, total, each, days) in [
        (1, "86.59", "8.50", "0", "7.20", "20.46", "122.75", "122.75", 9),
        (5, "432.95", "42.50", "25.98", "10.40", "91.97", "551.84", "110.37", 10),
        (30, "2597.70", "255.00", "311.72", "28.30", "513.86", "3083.14", "102.77", 18),
    ] {
        let expected = Invoice {
            copies,
            print: dec(print),
            finishing: dec(finishing),
            discount: dec(discount),
            top_up: Decimal::ZERO,
            shipping: Some(dec(shipping)),
            tax: dec(tax),
            total: dec(total),
            each: dec(each),
            days: Some(days),
        };
        assert_eq!(invoice(&rates, &usual(&rates), &measured, copies), expected);
    }
}

/// Worked by hand: the piece above in three parts: handling 3 × 14.00 = 42.00, finishing 3 × 8.50 = 25.50, wrapping
/// 3 × 220 g. Printing 42.00 + 58.24 + 7.68 + 6.67 = 114.59; work 140.09; parcel 194.1 + 660 = 854.1 g → 7.20; net 147.29;
/// tax 29.458 → 29.46; total 176.75.
#[test]
fn every_part_of_a_copy_is_handled_finished_and_wrapped() {
    let rates = rates(DEMO);
    let measured = Amounts { parts: 3, ..amounts("121.337", "480.25", "333.33", "194.1") };
    let order = invoice(&rates, &usual(&rates), &measured, 1);
    assert_eq!((order.print, order.finishing), (dec("114.59"), dec("25.50")));
    assert_eq!((order.shipping, order.tax, order.total), (Some(dec("7.20")), dec("29.46"), dec("176.75")));
    // Two copies weigh 1708.2 g with their wrapping.
    assert_eq!(invoice(&rates, &usual(&rates), &measured, 2).shipping, Some(dec("10.40")));
}

/// Worked by hand: 3 cm³ × 0.10 = 0.30 a copy; 20 copies 6.00, up to the minimum of 25.00: 19.00 more; no shipping; tax
/// 8.1 % of 25.00 = 2.025 → 2.03 (a half goes away from zero; half to even would give 2.02).
#[test]
fn the_minimum_order_is_filled_up_and_halves_are_rounded_up() {
    let rates =
        rates("{ name: n, basis: b, currency: CHF, print: { per_cm3_material: 0.10 }, minimum_order: 25, tax: 8.1 }");
    let order = invoice(&rates, &[], &amounts("3", "9", "9", "1"), 20);
    assert_eq!((order.print, order.top_up, order.tax, order.total), (dec("6"), dec("19"), dec("2.03"), dec("27.03")));
    assert_eq!((order.shipping, order.days), (Some(Decimal::ZERO), None));
}

/// Worked by hand: yen have no minor unit, dinars of Kuwait three digits (ISO 4217): 12.345 cm³ × 7.5 = 92.5875.
#[test]
fn money_is_rounded_to_the_currencys_smallest_unit() {
    for (code, text) in [("JPY", "93"), ("EUR", "92.59"), ("KWD", "92.588")] {
        let text_of = format!("{{ name: n, basis: b, currency: {code}, print: {{ per_cm3_material: 7.5 }} }}");
        let rates = rates(&text_of);
        let order = invoice(&rates, &[], &amounts("12.345", "0", "0", "0"), 1);
        assert_eq!(rates.currency.text(order.total), text, "{code}");
    }
}

#[test]
fn a_binary_float_would_drift_here() {
    // In binary 0.1 × 3 is 0.30000000000000004, and three thousand cents added one by one miss 30.
    let rates = rates("{ name: n, basis: b, currency: EUR, print: { per_part: 0.1 } }");
    let none = amounts("0", "0", "0", "0");
    for copies in [3, 7, 3000] {
        assert_eq!(invoice(&rates, &[], &none, copies).total, Decimal::from(copies) / dec("10"));
    }
    assert_ne!(0.1 * 3.0, 0.3);
}

/// Worked by hand, block of 250 cm³: cavity 12 × 12 × 32 fine cells of 2.5 mm = 4608 × 0.015625 = 72 cm³, shaft
/// 8 × 0.125 = 1 cm³: 177 cm³ of material, 177 × 1.6 = 283.2 g. Outside surface 1000 faces × 0.25 = 250 cm², less the
/// mouth's four faces: 249 cm².
#[test]
fn amounts_are_counted_on_the_cells() {
    let settings = serde_json::json!({ "rates": "rates.yaml" });
    let outcome = run(settings.clone(), DEMO, hollow_piece(), &[]).unwrap();
    for (name, value) in [("printed material", 177.0), ("box", 250.0), ("outside surface", 249.0), ("weight", 283.2)] {
        assert_eq!(fact(&outcome, name), &Value::Number(value), "{name}");
    }
    let (columns, rows) = table(&outcome, "hollow beside solid");
    assert_eq!(cells_of(columns), ["", "hollow", "solid", "saved", "saved (%)"]);
    assert_eq!(cells_of(&rows[0]), ["material (cm³)", "177.000", "250.000", "73.000", "29"]);
    assert_eq!(cells_of(&rows[1]), ["weight (g)", "283.2", "400.0", "116.8", "29"]);
    // Hollow: 14 + 177 × 0.48 + 250 × 0.016 + 249 × 0.02 = 14 + 84.96 + 4 + 4.98 = 107.94; + 8.50 + 7.20 = 123.64;
    // tax 24.728 → 24.73: 148.37. Solid: 14 + 120 + 4 + 5 = 143; + 8.50 + 7.20 = 158.70; tax 31.74: 190.44.
    assert_eq!(cells_of(&rows[2]), ["price of one copy (EUR)", "148.37", "190.44", "42.07", "22"]);
    assert_eq!(fact(&outcome, "price"), &Value::Money { amount: "148.37".to_owned(), currency: "EUR".to_owned() });

    let solid = run(settings, DEMO, solid_piece(), &[]).unwrap();
    assert_eq!(fact(&solid, "price"), &Value::Money { amount: "190.44".to_owned(), currency: "EUR".to_owned() });
    assert!(solid.facts.iter().all(|fact| fact.name != "hollow beside solid"));
}

#[test]
fn what_was_measured_before_goes_before_the_count_of_cells() {
    let volume = |cm3| Fact::number("volume", cm3, Unit::Cm3);
    let material = |mm3| Fact::number("material", mm3, Unit::Mm3);
    for (known, printed) in [
        (vec![volume(175.0), material(176_000.0)], 175.0),
        (vec![material(176_000.0)], 176.0),
        // The model before it became cubes: more than the solid, so not the printed piece.
        (vec![volume(260.0), material(176_000.0)], 176.0),
        (vec![Fact::text("volume", "large")], 177.0),
    ] {
        let outcome = run(serde_json::json!({ "rates": "rates.yaml" }), DEMO, hollow_piece(), &known).unwrap();
        assert_eq!(fact(&outcome, "printed material"), &Value::Number(printed), "{known:?}");
    }
}

#[test]
fn tables_add_up_and_name_their_units() {
    let settings = serde_json::json!({
        "rates": "rates.yaml", "copies": [4, 5, 10], "finishing": ["matt varnish"]
    });
    let outcome = run(settings, DEMO, hollow_piece(), &[]).unwrap();
    let (columns, rows) = table(&outcome, "cost by copies");
    assert_eq!(columns.first().map(String::as_str), Some("copies"));
    assert_eq!(columns.last().map(String::as_str), Some("working days"));
    assert!(columns[1..columns.len() - 1].iter().all(|heading| heading.ends_with("(EUR)")), "{columns:?}");
    for row in rows {
        assert_eq!(row.len(), columns.len());
        let sum: Decimal = row[1..7].iter().map(|amount| dec(amount)).sum();
        assert_eq!(sum, dec(&row[7]), "{row:?}");
    }
    assert_eq!(rows[0][3], "0.00", "no break is reached by four copies");
    let (_, parts) = table(&outcome, "parts of the price");
    assert_eq!(cells_of(&parts[0]), ["each copy", "4 × (14.00)", "56.00"]);
    let (total, lines) = parts.split_last().unwrap();
    assert_eq!(lines.iter().map(|line| dec(&line[2])).sum::<Decimal>(), dec(&total[2]));
    assert_eq!(fact(&outcome, "price"), &Value::Money { amount: rows[0][7].clone(), currency: "EUR".to_owned() });
    assert!(outcome.findings.iter().any(|f| f.code == "rates-basis" && f.message.contains("invented for the demo")));
}

#[test]
fn a_quantity_break_that_makes_more_cost_less_is_told() {
    let list = "{ name: n, basis: b, currency: EUR, print: { per_part: 100 }, breaks: [{ from: 10, off: 20 }] }";
    let settings = serde_json::json!({ "rates": "rates.yaml", "copies": [7, 9] });
    let outcome = run(settings, list, solid_piece(), &[]).unwrap();
    let told: Vec<_> = outcome.findings.iter().filter(|finding| finding.code == "more-for-less").collect();
    // Ten come to 1000 − 20 % = 800: less than nine at 900, more than seven at 700.
    assert_eq!(told.len(), 1);
    assert_eq!(told[0].message, "10 copies come to 800.00 EUR, less than 9 copies at 900.00 EUR.");
}

#[test]
fn a_copy_too_heavy_for_every_parcel_is_a_caution() {
    let list = "{ name: n, basis: b, currency: EUR, print: {}, shipping: { steps: [{ up_to_kg: 0.2, price: 3 }] } }";
    let settings = serde_json::json!({ "rates": "rates.yaml" });
    let outcome = run(settings, list, solid_piece(), &[]).unwrap();
    let finding = outcome.findings.iter().find(|finding| finding.code == "parcel-too-heavy").unwrap();
    assert_eq!(finding.severity, Severity::Caution);
    assert!(finding.message.contains("400.0 g") && finding.message.contains("0.2 kg"), "{}", finding.message);
    assert_eq!(table(&outcome, "cost by copies").1[0][5], "?");
}

/// One copy of the hollow piece weighs 283.2 g, of the solid one 400 g: only the first fits into a parcel of 300 g, and
/// prices with and without shipping don't compare.
#[test]
fn a_price_without_shipping_is_not_compared_with_one_that_has_it() {
    let list = "{ name: n, basis: b, currency: EUR, print: { per_cm3_material: 0.1 }, \
                shipping: { steps: [{ up_to_kg: 0.3, price: 30 }] } }";
    let outcome = run(serde_json::json!({ "rates": "rates.yaml" }), list, hollow_piece(), &[]).unwrap();
    let row = &table(&outcome, "hollow beside solid").1[2];
    assert_eq!(cells_of(&row[1..]), ["47.70", "25.00 without shipping", "?", "?"]);
    assert!(outcome.findings.iter().all(|finding| finding.severity == Severity::Note));
}

#[test]
fn bad_rate_files_are_refused_with_the_field() {
    let list = |more: &str| {
        let print = if more.starts_with("print") { "" } else { "print: { per_part: 1 }\n" };
        format!("name: n\nbasis: b\ncurrency: EUR\n{print}{more}\n")
    };
    for (text, field) in [
        (list("print: { per_part: -3 }"), "print.per_part: must not be negative, but is -3"),
        (list("print: { per_gram: 3 }"), "print.per_gram: unknown field"),
        (list("print: { per_part: cheap }"), "print.per_part: 'cheap' is not a plain decimal number"),
        (list("print: { per_part: .nan }"), "print.per_part"),
        (list("print: { per_part: 1e3 }"), "print.per_part"),
        (list("print: { per_part: 0.00001 }"), "print.per_part: has more than 4 digits"),
        (list("print: { per_part: 10000001 }"), "print.per_part: must not be above 10000000"),
        (list("print: { per_part: [1] }"), "print.per_part"),
        (list("minimum_order: 99999999999999999999999999999999"), "minimum_order"),
        (list("breaks: [{ from: 5, off: 8 }, { from: 5, off: 9 }]"), "breaks[1].from"),
        (list("breaks: [{ from: 5, off: 8 }, { from: 6, off: 7 }]"), "breaks[1].off"),
        (list("breaks: [{ from: 1, off: 8 }]"), "breaks[0].from"),
        (list("breaks: [{ from: 5, off: 101 }]"), "breaks[0].off"),
        (list("breaks: [{ from: 5 }]"), "breaks[0]"),
        (list("finishing: [{ name: '' }]"), "finishing[0].name"),
        (list("finishing: [{ name: a }, { name: a }]"), "finishing[1].name"),
        (list("finishing: [{ name: a, days: 366 }]"), "finishing[0].days"),
        (list("shipping: { steps: [] }"), "shipping.steps"),
        (list("shipping: { steps: [{ up_to_kg: 0, price: 1 }] }"), "shipping.steps[0].up_to_kg"),
        (
            list("shipping: { steps: [{ up_to_kg: 2, price: 1 }, { up_to_kg: 1, price: 2 }] }"),
            "shipping.steps[1].up_to_kg",
        ),
        (
            list("shipping: { steps: [{ up_to_kg: 2, price: 3 }, { up_to_kg: 3, price: 2 }] }"),
            "shipping.steps[1].price",
        ),
        (list("tax: 101"), "tax: must be between 0 and 100"),
        (list("lead_time: { days: 3, copies_a_day: 0 }"), "lead_time.copies_a_day"),
        (list("lead_time: { days: 400 }"), "lead_time.days"),
        (list("rebate: 3"), "rebate"),
        (list("tax: 3\ntax: 4"), "tax"),
        ("name: n\nbasis: b\ncurrency: euro".to_owned(), "currency: 'euro' is not a currency code"),
        ("name: n\ncurrency: EUR\nprint: {}".to_owned(), "basis"),
        ("name: n\nbasis: b\ncurrency: EUR".to_owned(), "print"),
        (String::new(), ""),
        ("[".repeat(50_000), "nests brackets deeper than 16"),
        (" ".repeat(70_000), "is larger than 65536 bytes"),
    ] {
        let wrong = Rates::read(text.as_bytes()).unwrap_err();
        assert!(wrong.contains(field), "{text:.200}: {wrong}");
        let settings = serde_json::json!({ "rates": "rates.yaml" });
        let Err(Halt::Misfit(misfit)) = run(settings, &text, solid_piece(), &[]) else {
            panic!("{text:.200} went through")
        };
        assert_eq!(misfit.setting, "rates");
        assert!(misfit.message.contains("rates.yaml"), "{}", misfit.message);
    }
    assert!(Rates::read(&[b'n', 0xff]).unwrap_err().contains("UTF-8"));
}

#[test]
fn settings_without_sense_are_refused() {
    for (settings, setting) in [
        (serde_json::json!({ "rates": "rates.yaml", "copies": [] }), "copies"),
        (serde_json::json!({ "rates": "rates.yaml", "copies": [1, 0] }), "copies[1]"),
        (serde_json::json!({ "rates": "rates.yaml", "copies": [10_001] }), "copies[0]"),
        (serde_json::json!({ "rates": "rates.yaml", "copies": vec![1; 25] }), "copies"),
        (serde_json::json!({ "rates": "rates.yaml", "finishing": ["gold leaf"] }), "finishing[0]"),
        (serde_json::json!({ "rates": "rates.yaml", "finishing": ["matt varnish", "matt varnish"] }), "finishing[1]"),
    ] {
        let Err(Halt::Misfit(misfit)) = run(settings.clone(), DEMO, solid_piece(), &[]) else { panic!("{settings}") };
        assert_eq!(misfit.setting, setting, "{settings}");
    }
    let unknown = erase::<Estimate>().read(serde_json::json!({ "rates": "rates.yaml", "copy": 1 }));
    assert!(unknown.is_err_and(|misfit| misfit.message.contains("copy")));
}

#[test]
fn settings_survive_a_round_trip() {
    let stage = erase::<Estimate>();
    let ready = stage.read(serde_json::json!({ "rates": "rates.yaml" })).unwrap();
    let full = ready.settings();
    assert_eq!(full, serde_json::json!({ "rates": "rates.yaml", "copies": [1], "finishing": null }));
    assert_eq!(stage.read(full.clone()).unwrap().settings(), full);
    assert_eq!(ready.files(), ["rates.yaml"]);
}

/// A price list with every field, from whole cents and tenths of a per cent.
fn any_rates() -> impl Strategy<Value = String> {
    (prop::array::uniform6(0u32..5000), 0u32..500, 0u32..60, prop::array::uniform3(1u32..400), 0u32..250).prop_map(
        |([part, material, bounds, surface, minimum, varnish], packaging, off, steps, tax)| {
            let cents = |n: u32| format!("{}.{:02}", n / 100, n % 100);
            let [first, second, third] = [steps[0], steps[0] + steps[1], steps[0] + steps[1] + steps[2]];
            format!(
                "name: n\nbasis: b\ncurrency: EUR\n\
                 print: {{ per_part: {}, per_cm3_material: {}, per_cm3_box: {}, per_cm2_surface: {} }}\n\
                 breaks: [{{ from: 4, off: {off} }}]\nminimum_order: {}\n\
                 finishing: [{{ name: varnish, per_cm2: {}, usual: true }}]\n\
                 shipping: {{ packaging_g: {packaging}, steps: [{{ up_to_kg: {}, price: {} }}, \
                 {{ up_to_kg: {}, price: {} }}, {{ up_to_kg: 5000, price: {} }}] }}\ntax: {}.{}\n",
                cents(part),
                cents(material),
                cents(bounds),
                cents(surface),
                cents(minimum),
                cents(varnish),
                cents(first),
                cents(second),
                cents(second),
                cents(third),
                cents(third * 2),
                tax / 10,
                tax % 10,
            )
        },
    )
}

fn any_amounts() -> impl Strategy<Value = Amounts> {
    (1i64..5_000_000, 1i64..9_000_000, 1i64..900_000, 1i64..80_000).prop_map(|(material, bounds, surface, weight)| {
        Amounts {
            material: Decimal::new(material, 3),
            bounds: Decimal::new(bounds, 3),
            surface: Decimal::new(surface, 2),
            weight: Decimal::new(weight, 1),
            parts: 1,
        }
    })
}

proptest! {
    #[test]
    fn within_a_quantity_break_more_copies_never_cost_less(
        list in any_rates(), amounts in any_amounts(), copies in 1u32..40
    ) {
        let rates = rates(&list);
        let [fewer, more] = [copies, copies + 1].map(|n| invoice(&rates, &usual(&rates), &amounts, n));
        prop_assert!(rates.off(copies) != rates.off(copies + 1) || fewer.total <= more.total);
    }

    #[test]
    fn hollow_never_costs_more_than_solid(
        list in any_rates(), solid in any_amounts(), share in 0i64..=1000, copies in 1u32..40
    ) {
        let rates = rates(&list);
        let part = |amount: Decimal| (amount * Decimal::new(share, 3)).round_dp(3);
        let hollow = Amounts { material: part(solid.material), weight: part(solid.weight), ..solid };
        let [hollow, solid] = [hollow, solid].map(|amounts| invoice(&rates, &usual(&rates), &amounts, copies));
        prop_assert!(hollow.total <= solid.total);
    }

    #[test]
    fn an_invoice_adds_up_in_whole_cents(list in any_rates(), amounts in any_amounts(), copies in 1u32..=10_000) {
        let rates = rates(&list);
        let order = invoice(&rates, &usual(&rates), &amounts, copies);
        let sum = order.print + order.finishing - order.discount + order.top_up + order.shipping.unwrap() + order.tax;
        prop_assert_eq!(sum, order.total);
        prop_assert_eq!(order.total, order.total.round_dp(2));
        prop_assert!((order.each * Decimal::from(copies) - order.total).abs() <= Decimal::from(copies) * dec("0.005"));
    }

    #[test]
    fn no_rate_file_makes_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..200), cut in 0usize..2000) {
        let _ = Rates::read(&bytes);
        let cut = cut.min(DEMO.len());
        let _ = Rates::read(&DEMO.as_bytes()[..cut]);
    }
}
