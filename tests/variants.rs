//! Variants of a job: which there are, what each comes to, and what is said of those that make no sense.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "own-stages/stages.rs"]
mod stages;
#[path = "own-stages/workshop.rs"]
mod workshop;

use std::collections::BTreeSet;
use std::sync::Arc;

use proptest::prelude::*;
use serde_json::json;
use turnhue::diagnostic::Diagnostic;
use turnhue::plan::{Common, Night, Plan, Role, Share, plan, plan_night};
use workshop::{HEAD, Workshop};

const STAGES: &str = "\
  - stretch: { height: 10 mm }
  - blocks: { size: 3 mm }
  - bore: { wall: 2 mm, mouths: [{ side: top, width: 1 cm }] }
  - price: { rates: rates.yaml }
  - pack
  - validate
";

fn job(variants: &str) -> String {
    format!("{HEAD}{STAGES}variants:\n{variants}")
}

fn planned(shop: &Workshop, variants: &str) -> Night {
    let path = shop.put("job.yaml", job(variants));
    plan_night(&path, &stages::all()).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

fn names(night: &Night) -> Vec<&str> {
    night.plans().iter().map(|plan| plan.variant().unwrap().name()).collect()
}

/// The faults of a job with these variants, each as "line:column message / what to do"; the first line of the variants
/// is line 13.
fn faults(variants: &str) -> Vec<String> {
    let shop = Workshop::new();
    let path = shop.put("job.yaml", job(variants));
    let faults = plan_night(&path, &stages::all()).err().unwrap_or_default();
    faults.iter().map(in_short).collect()
}

fn in_short(fault: &Diagnostic) -> String {
    let place = fault.place().unwrap().line_and_column();
    assert!(fault.render(false).contains("job.yaml:"), "{}", fault.render(false));
    format!("{}:{} {} / {}", place.0, place.1, fault.message(), fault.what_to_do())
}

/// The only fault.
fn fault(variants: &str) -> String {
    let faults = faults(variants);
    assert_eq!(faults.len(), 1, "{faults:#?}");
    faults[0].clone()
}

fn shows(fault: &str, parts: &[&str]) {
    for part in parts {
        assert!(fault.contains(part), "'{part}' is not in: {fault}");
    }
}

#[test]
fn every_makes_all_combinations_in_the_order_of_the_chain() {
    let night = planned(&Workshop::new(), "  every: { bore.wall: [2 mm, 2.5 mm], blocks.size: [3 mm, 4 mm, 5 mm] }\n");
    assert_eq!(
        names(&night),
        [
            "size-3mm_wall-2mm",
            "size-3mm_wall-2.5mm",
            "size-4mm_wall-2mm",
            "size-4mm_wall-2.5mm",
            "size-5mm_wall-2mm",
            "size-5mm_wall-2.5mm"
        ]
    );
    let resolved = night.plans()[3].resolved();
    assert_eq!(resolved["stages"][1]["blocks"]["size"], "4 mm");
    assert_eq!(resolved["stages"][2]["bore"]["wall"], "2.5 mm");
    // What no variant changes stays.
    assert_eq!(resolved["stages"][2]["bore"]["mouths"][0]["width"], "10 mm");
    assert_eq!(night.plans()[3].variant().unwrap().values(), json!({ "blocks.size": "4 mm", "bore.wall": "2.5 mm" }));
}

/// A variant is the job that somebody would have written by hand.
#[test]
fn a_variant_is_the_same_as_a_job_of_its_own() {
    let shop = Workshop::new();
    shop.put("large.stl", workshop::tetrahedron(30.0));
    let process = std::fs::read_to_string(shop.path("process.yaml")).unwrap();
    shop.put("other.yaml", process.replace("Demo powder", "Other powder"));
    shop.put("dear.yaml", "currency: CHF\n");
    let night = planned(
        &shop,
        "  named:
    a: { stretch: { height: ~, factor: 2 }, blocks.size: 5 mm, process: other.yaml }
    b: { model.file: large.stl, model.units: cm, \"bore.mouths[0].width\": 12 mm }
    c: { bore: { mouths: [] }, price.rates: dear.yaml, validate.strict: true }
    d:
",
    );
    let by_hand = [
        (
            "stretch: { height: 10 mm }",
            "stretch: { factor: 2 }",
            "size: 3 mm",
            "size: 5 mm",
            "process.yaml",
            "other.yaml",
        ),
        ("model.stl", "large.stl", "units: mm", "units: cm", "1 cm", "12 mm"),
        (
            "mouths: [{ side: top, width: 1 cm }]",
            "mouths: []",
            "rates.yaml",
            "dear.yaml",
            "- validate",
            "- validate: { strict: true }",
        ),
        ("", "", "", "", "", ""),
    ];
    assert_eq!(names(&night), ["a", "b", "c", "d"]);
    for (variant, (a, b, c, d, e, f)) in night.plans().iter().zip(by_hand) {
        let replaced = |text: String, from: &str, to: &str| if from.is_empty() { text } else { text.replace(from, to) };
        let text = [(a, b), (c, d), (e, f)].into_iter().fold(format!("{HEAD}{STAGES}"), |t, (x, y)| replaced(t, x, y));
        let own = plan(&shop.put("own.yaml", text), &stages::all()).unwrap_or_else(|faults| panic!("{faults:#?}"));
        assert_eq!(variant.resolved(), own.resolved());
        assert_eq!(variant.memory(), own.memory());
        let inputs = |plan: &Plan| -> Vec<_> {
            plan.inputs().iter().filter(|input| input.role != Role::Job).map(|input| input.file.clone()).collect()
        };
        assert_eq!(inputs(variant), inputs(&own));
        for input in variant.inputs() {
            assert_eq!(blake3::hash(&input.bytes).to_hex().to_string(), input.file.blake3);
            assert_eq!(input.bytes.len() as u64, input.file.bytes);
        }
    }
    // The job itself is planned as it stands.
    assert_eq!(night.job().resolved(), night.plans()[3].resolved());
    assert!(night.job().variant().is_none());
}

#[test]
fn lists_go_in_step_and_multiply_with_the_others() {
    let night = planned(
        &Workshop::new(),
        "  every: { blocks.size: [3 mm, 4 mm] }
  together:
    - { stretch.height: [10 mm, 20 mm], bore.wall: [2 mm, 4 mm] }
    - { as: [plain, careful], validate.strict: [false, true] }
",
    );
    let all = names(&night);
    assert_eq!(all.len(), 8);
    assert_eq!(all[..3], ["height-10mm_size-3mm_plain", "height-10mm_size-3mm_careful", "height-10mm_size-4mm_plain"]);
    for plan in night.plans() {
        let stages = plan.resolved()["stages"].clone();
        let wall = if stages[0]["stretch"]["height"] == "10 mm" { "2 mm" } else { "4 mm" };
        assert_eq!(stages[2]["bore"]["wall"], wall);
    }
}

#[test]
fn a_map_is_laid_over_a_stage_and_may_have_a_name() {
    let night = planned(
        &Workshop::new(),
        "  every:
    bore: [{ as: own }, { as: open, wall: 3 mm, mouths: [] }]
    blocks.size: [3 mm, 4 mm]
  skip: [{ as: open, blocks.size: 4 mm }]
",
    );
    assert_eq!(names(&night), ["size-3mm_own", "size-3mm_open", "size-4mm_own"]);
    assert_eq!(night.plans()[0].resolved()["stages"][2]["bore"], night.job().resolved()["stages"][2]["bore"]);
    assert_eq!(night.plans()[1].resolved()["stages"][2]["bore"], json!({ "wall": "3 mm", "mouths": [] }));
    assert_eq!(night.plans()[1].variant().unwrap().in_words(), "blocks.size 3 mm, bore open");
    assert!(night.cautions().is_empty());
}

#[test]
fn rules_leave_combinations_out() {
    // A quoted value is the same as a plain one; what no list changes is held against the job itself.
    let night = planned(
        &Workshop::new(),
        "  every: { blocks.size: [3 mm, 4 mm], bore.wall: [2 mm, 3 mm] }
  named: { same: { blocks.size: 4 mm, bore.wall: 4 mm } }
  skip:
    - { blocks.size: \"4 mm\", bore.wall: 2 mm }
    - { stretch.height: 10 mm, bore.wall: 3 mm, blocks.size: 3 mm }
    - { stretch.height: 11 mm, bore.wall: 3 mm }
    - { bore.wal: 3 mm }
",
    );
    assert_eq!(names(&night), ["size-3mm_wall-2mm", "size-4mm_wall-3mm", "same"]);
    let cautions: Vec<String> = night.cautions().iter().map(in_short).collect();
    assert_eq!(cautions.len(), 2, "{cautions:#?}");
    shows(&cautions[0], &["18:7 this rule matches no variant", "`stretch.height` is the same in all variants"]);
    shows(&cautions[1], &["19:7", "is `bore.wall` meant?"]);
    shows(&fault("  every: { bore.wall: [3 mm] }\n  skip: [{ bore.wall: 3 mm }]\n"), &["14:3", "leaves no variant"]);
}

#[test]
fn what_comes_to_the_same_is_made_once() {
    let night = planned(
        &Workshop::new(),
        "  every: { blocks.size: [3 mm, 0.3 cm, 4 mm], bore.wall: [2 mm, 3 mm] }\n  named: { plain: }\n",
    );
    assert_eq!(names(&night).len(), 4);
    let cautions: Vec<String> = night.cautions().iter().map(in_short).collect();
    assert_eq!(cautions.len(), 2, "{cautions:#?}");
    shows(
        &cautions[0],
        &["13:32", "`size-0.3cm_wall-2mm` comes to the same as `size-3mm_wall-2mm`; so it is with 1 more"],
    );
    shows(&cautions[1], &["14:12", "`plain` comes to the same as `size-3mm_wall-2mm`"]);
}

#[test]
fn a_value_that_a_stage_refuses_is_told_once_at_its_own_line() {
    let all = faults(
        "  every:
    blocks.size: [3 mm, -1 mm]
    bore.wall: [2 mm, thick, 3 mm]
    stretch: [{ height: 1 mm }, { heigth: 2 mm }]
    price.rates: [rates.yaml, rate.yaml]
",
    );
    assert_eq!(all.len(), 4, "{all:#?}");
    shows(&all[0], &["14:25", "has no size"]);
    shows(&all[1], &["15:23", "'thick' is not a length", "turnhue stages bore"]);
    shows(&all[2], &["16:35", "`heigth` is not known here", "is `height` meant?"]);
    shows(&all[3], &["17:31", "rate.yaml", "`rates.yaml`"]);
}

#[test]
fn settings_and_stages_that_are_not_there_show_at_their_key() {
    shows(&fault("  every: { blokcs.size: [3 mm] }\n"), &["13:12", "no stage `blokcs`", "is `blocks` meant?"]);
    shows(&fault("  every: { mishap.kind: [panic] }\n"), &["13:12", "no stage `mishap`", "begins with `stretch`"]);
    shows(
        &fault("  every: { bore.wal: [3 mm, 4 mm] }\n"),
        &["13:12", "the key `wal` is not known", "is `wall` meant?"],
    );
    shows(&fault("  named: { x: { bore.wal: 3 mm } }\n"), &["13:17", "the key `wal` is not known"]);
    shows(&fault("  named: { x: { bore: { wal: 3 mm } } }\n"), &["13:25", "the key `wal` is not known"]);
    shows(&fault("  every: { model.fiel: [a.stl] }\n"), &["13:12", "`fiel` is not known", "is `file` meant?"]);
    shows(
        &fault("  every:\n    bore.mouths[1].width: [3 mm]\n"),
        &["14:5", "no `bore.mouths[1].width`", "under `bore.mouths`"],
    );
    shows(&fault("  every: { bore.wall.x: [3 mm] }\n"), &["13:12", "no `bore.wall.x`", "`bore.wall`"]);
    shows(&fault("  every: { process.name: [a] }\n"), &["13:12", "a process is a file"]);
    shows(&fault("  every: { bore..wall: [a] }\n"), &["13:12", "not the path of a setting"]);
}

#[test]
fn lists_and_names_that_make_no_sense_are_shown() {
    shows(&fault("  every: { blocks.size: [] }\n"), &["13:12", "the list is empty"]);
    shows(&fault("  every: { blocks.size: 3 mm }\n"), &["13:25", "must be a list"]);
    shows(&fault("  every: { blocks.size: [3 mm, 4 mm, 3 mm] }\n"), &["13:39", "comes twice"]);
    shows(&fault("  every: { blocks: [3 mm] }\n"), &["13:21", "takes a map of settings"]);
    shows(&fault("  evry: { blocks.size: [3 mm] }\n  named: { x: }\n"), &["13:3", "`evry`", "is `every` meant?"]);
    shows(&fault("  skip: [{ blocks.size: 3 mm }]\n"), &["12:1", "ask for none"]);
    let unequal = "  together: { blocks.size: [3 mm, 4 mm], bore.wall: [2 mm, 3 mm, 4 mm] }\n";
    shows(&fault(unequal), &["13:42", "this one has 3, the first 2"]);
    shows(&fault("  together: { as: [a], bore.wall: [2 mm, 3 mm] }\n"), &["13:15", "this one has 1, the first 2"]);
    let twice = "  every: { bore.wall: [2 mm] }\n  together: { bore.wall: [2 mm], blocks.size: [3 mm] }\n";
    shows(&fault(twice), &["14:15", "`bore.wall` is set twice"]);
    let within = "  named: { x: { bore.mouths: [], \"bore.mouths[0].width\": 3 mm } }\n";
    shows(&fault(within), &["`bore.mouths[0].width` is set twice"]);
    shows(&fault("  named: { a/b: }\n"), &["13:12", "`a/b` cannot be part of a folder's name"]);
    shows(&fault("  named: { con: }\n"), &["13:12", "device"]);
    shows(&fault("  named: { x: 3 }\n"), &["13:15", "a map of settings"]);
    shows(&fault("  named: { Ab: , ab: }\n"), &["13:18", "comes twice"]);
    shows(&fault("  every: { bore: [{ as: x }, { as: X, wall: 3 mm }] }\n"), &["two values are called `X`"]);
}

#[test]
fn too_many_are_refused_with_their_count() {
    let list = |name: &str, unit: &str| {
        let values: Vec<String> = (1..=200).map(|n| format!("{n}{unit}")).collect();
        format!("    {name}: [{}]\n", values.join(", "))
    };
    let all = format!("  every:\n{}{}", list("blocks.size", " mm"), list("bore.wall", " mm"));
    shows(&fault(&all), &["12:1", "asks for 40000 variants; at most 20000 are taken"]);
    // Past any number of them the count says at least that there are very many.
    let many: String = (0..60).map(|n| list(&format!("bore.x{n}"), "")).collect();
    shows(&fault(&format!("  every:\n{many}")), &["12:1", "variants; at most 20000"]);
}

#[test]
fn mistakes_of_the_job_and_of_its_variants_show_together() {
    let shop = Workshop::new();
    let text = job("  every: { bore.wall: [thin] }\n").replace("size: 3 mm", "size: -3 mm").replace("title", "titel");
    let found = plan_night(&shop.put("job.yaml", text), &stages::all()).err().unwrap();
    let places: Vec<_> = found.iter().map(|fault| fault.place().unwrap().line_and_column().0).collect();
    assert_eq!(places, [1, 2, 7, 13], "{found:#?}");
}

#[test]
fn files_are_read_once_and_shared() {
    let night = planned(&Workshop::new(), "  every: { blocks.size: [3 mm, 4 mm], bore.wall: [2 mm, 3 mm] }\n");
    let [first, rest @ ..] = night.plans() else { panic!() };
    let roles: Vec<Role> = first.inputs().iter().map(|input| input.role).collect();
    assert_eq!(roles, [Role::Job, Role::Model, Role::Process, Role::Setting]);
    for plan in rest {
        assert!(first.inputs().iter().zip(plan.inputs()).all(|(a, b)| Arc::ptr_eq(a, b)));
    }
}

#[test]
fn a_stage_runs_once_for_all_that_are_alike_up_to_it() {
    let night = planned(&Workshop::new(), "  every: { blocks.size: [3 mm, 4 mm], bore.wall: [2 mm, 3 mm, 4 mm] }\n");
    // By hand: stretch once, blocks twice, and from bore on 6 of each of the four stages.
    let common = Common::of(&night, None);
    assert_eq!((common.once, common.apart), (1 + 2 + 4 * 6, 6 * 6));
    let seconds = |plan: &Plan, index: usize| (index < 2 && plan.variant().is_some()).then_some(1.5);
    let common = Common::of(&night, Some(&seconds));
    assert_eq!((common.known, common.seconds), (3, 4.5));
    let words = night.in_words(Some(&seconds));
    for part in
        ["variants 6 (2 × 3 combined)", "27 runs of stages in place of 36", "size-4mm_wall-3mm", "bore.wall 4 mm"]
    {
        assert!(words.contains(part), "{part}: {words}");
    }
}

#[test]
fn a_job_without_variants_is_the_only_one_of_its_night() {
    let shop = Workshop::new();
    let night = plan_night(&shop.job("blocks\npack"), &stages::all()).unwrap();
    assert_eq!(night.plans().len(), 1);
    assert!(!night.has_variants() && night.plans()[0].variant().is_none());
    assert_eq!(night.in_words(None), night.job().in_words());
}

/// A night from lists, given in any order.
fn night_of(sizes: &[u32], walls: &[u32], named: &[u32]) -> Night {
    let list = |values: &[u32]| values.iter().map(|n| format!("{n} mm")).collect::<Vec<_>>().join(", ");
    let named: String = named.iter().map(|n| format!("    n{n}: {{ stretch.height: {n} mm }}\n")).collect();
    let named = if named.is_empty() { String::new() } else { format!("  named:\n{named}") };
    planned(
        &Workshop::new(),
        &format!("  every: {{ blocks.size: [{}], bore.wall: [{}] }}\n{named}", list(sizes), list(walls)),
    )
}

fn set(night: &Night) -> BTreeSet<String> {
    names(night).into_iter().map(str::to_owned).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// The shares of a night are disjoint, are all of it, and stay the same when its lists are written in another order.
    #[test]
    fn shares_are_fixed_parts(
        sizes in prop::collection::btree_set(1_u32..50, 1..8),
        walls in prop::collection::btree_set(1_u32..50, 1..8),
        named in prop::collection::btree_set(100_u32..120, 0..4),
        of in 1_u32..9,
    ) {
        let lists: Vec<Vec<u32>> = [sizes, walls, named].into_iter().map(|set| set.into_iter().collect()).collect();
        let turned: Vec<Vec<u32>> = lists.iter().map(|list| list.iter().rev().copied().collect()).collect();
        let (night, other) = (night_of(&lists[0], &lists[1], &lists[2]), night_of(&turned[0], &turned[1], &turned[2]));
        prop_assert_eq!(set(&night), set(&other));
        let mut seen = BTreeSet::new();
        for number in 1..=of {
            let share = Share::new(number, of).unwrap();
            let mine = set(&night.clone().share(share));
            prop_assert_eq!(&mine, &set(&other.clone().share(share)));
            prop_assert!(mine.iter().all(|name| seen.insert(name.clone())));
        }
        prop_assert_eq!(seen, set(&night));
    }

    /// Names are folders on every system, short, and no two the same where case does not count.
    #[test]
    fn names_are_folders(values in prop::collection::btree_set("[ -~é]{0,40}", 1..12)) {
        let list: Vec<String> = values.iter().map(|value| json!(value).to_string()).collect();
        // Stages refuse most of these; models are told apart by name alone and are not read before they are named.
        let text = job(&format!("  every: {{ bore.wall: [{}] }}\n", list.join(", ")));
        let (draft, faults) = turnhue::job::read("job.yaml", text.into_bytes());
        prop_assume!(faults.is_empty());
        let variants = draft.unwrap().variants.unwrap();
        let names: Vec<&str> = variants.list.iter().map(|variant| variant.name()).collect();
        prop_assert_eq!(names.len(), values.len());
        let mut seen = BTreeSet::new();
        for name in names {
            prop_assert!(name.len() <= 60 && !name.is_empty(), "{}", name);
            prop_assert!(name.bytes().all(|b| b.is_ascii_alphanumeric() || b"-_.".contains(&b)), "{}", name);
            prop_assert!(!name.ends_with('.') && !name.contains("..") && !name.starts_with(['.', '-']), "{}", name);
            prop_assert!(seen.insert(name.to_lowercase()), "{}", name);
        }
    }
}
