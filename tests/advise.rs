//! Comparing sizes of the cell, from the job to the run folder.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "own-stages/workshop.rs"]
#[expect(dead_code, reason = "the jobs here are for the stages that ship, not for those of the tests")]
mod workshop;

use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use assert_cmd::Command;
use serde_json::Value;
use turnhue::advise::advise;
use turnhue::clock::{Clock as _, SystemClock};
use turnhue::events::{Event, Listener, Silence};
use turnhue::exit;
use turnhue::plan::{Plan, plan};
use turnhue::run::{Failure, Published, Surroundings, run};
use turnhue::store::Store;
use turnhue_reports::advice::{Advice, Effect};
use turnhue_reports::record::Record;
use turnhue_stages::findings::{Severity, Value as Said};
use turnhue_stages::shipped;
use turnhue_stages::units::Memory;
use workshop::{HEAD, Workshop};

/// The project's jobs.
fn jobs(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("jobs").join(name)
}

/// A ball of 24 mm in colour: small, so that its sizes are tried in a moment. What `voxelise` and `advise` are told is for
/// each test to say.
fn workshop(cell: &str, advise: &str) -> (Workshop, std::path::PathBuf) {
    let shop = Workshop::new();
    shop.put("model.stl", fs::read(jobs("models/ball.stl")).unwrap());
    shop.put("rates.yaml", fs::read(jobs("rates/bureau-demo.yaml")).unwrap());
    let job = HEAD.to_owned()
        + &format!("  - scale: {{ longest: 24 mm }}\n  - voxelise: {{ {cell} }}\n  - repair\n")
        + "  - colour: { right: tomato, left: teal, back: gold, front: seagreen, top: ivory, bottom: indigo }\n"
        + "  - proof: { pixels: 64, film: 0 }\n  - validate\n  - estimate: { rates: rates.yaml, copies: [5, 1] }\n"
        + advise;
    let path = shop.put("job.yaml", job);
    (shop, path)
}

fn planned(job: &Path) -> Plan {
    plan(job, &shipped())
        .unwrap_or_else(|faults| panic!("{}", faults.iter().map(|f| f.render(false)).collect::<String>()))
}

fn advised(shop: &Workshop, job: &Path) -> Advice {
    advise(&planned(job), &shop.path("runs"), &AtomicBool::new(false), &mut Silence).unwrap()
}

fn made(shop: &Workshop, plan: &Plan) -> Result<Published, Failure> {
    let (clock, cancel) = (SystemClock::start(), AtomicBool::new(false));
    let (into, store) = (shop.path("runs"), Store::open(&shop.path("runs/.store"), clock.now()).unwrap());
    let memory = Memory::usual();
    let surroundings = Surroundings { into: &into, store: &store, clock: &clock, cancel: &cancel, memory };
    run(plan, &surroundings, &mut Silence)
}

fn number(record: &Record, stage: &str, name: &str) -> f64 {
    match record.fact(stage, name).unwrap_or_else(|| panic!("{stage} says no {name}")).value {
        Said::Number(number) => number,
        ref other => panic!("{other:?}"),
    }
}

fn turnhue(shop: &Workshop, arguments: &[&str]) -> (u8, String, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_turnhue"));
    let output = command.current_dir(shop.path("")).args(arguments).output().unwrap();
    let [out, err] = [output.stdout, output.stderr].map(|bytes| String::from_utf8(bytes).unwrap());
    (u8::try_from(output.status.code().unwrap()).unwrap(), out, err)
}

#[test]
fn rows_are_what_the_job_comes_to_by_hand() {
    let (shop, job) = workshop("across: 10", "advise: { from: 2 mm, to: 4 mm, sizes: 3 }\n");
    let before = shop.content();
    let advice = advised(&shop, &job);
    assert_eq!(shop.content(), before, "nothing is left on the disk");
    // 24 mm in 10 cells: the job's own is among them, whatever it is.
    assert_eq!(advice.sizes.iter().map(|size| size.cell).collect::<Vec<_>>(), [2.0, 2.4, 4.0]);
    assert_eq!(advice.own, Some(2.4));
    for size in &advice.sizes {
        let (by_hand, job) = workshop(&format!("cell: {} mm", size.cell), "");
        let record = made(&by_hand, &planned(&job)).unwrap().record().unwrap();
        let near = |is: Option<f64>, stage: &str, name: &str| {
            let told = number(&record, stage, name);
            assert!((is.unwrap() - told).abs() < 1e-8, "{name} at {}: {is:?}, by hand {told}", size.cell);
        };
        near(size.legibility, "proof", "legibility");
        near(size.separation, "proof", "separation kept");
        near(size.weight, "validate", "weight");
        near(size.smallest_wall, "validate", "thinnest part");
        let changed = record.fact("repair", "volume overlap").map_or("voxelise", |_| "repair");
        near(size.likeness, changed, "volume overlap");
        let word = &record.fact("proof", "effect").unwrap().value;
        assert_eq!(&Said::Text(size.effect.unwrap().word().to_owned()), word);
        // The job prices five copies first; a row is the price of one.
        let Said::Table { columns, rows } = &record.fact("estimate", "cost by copies").unwrap().value else { panic!() };
        let total = columns.iter().position(|column| column.starts_with("total")).unwrap();
        let one = rows.iter().find(|row| row[0] == "1").unwrap();
        assert_eq!(size.price.as_ref().unwrap().amount, one[total]);
        let cells = record.fact("repair", "cells after repair").unwrap();
        assert_eq!(Some(&cells.value), size.cells.map(Said::Whole).as_ref());
        let faults =
            record.findings().into_iter().filter(|(stage, f)| *stage != "proof" && f.severity == Severity::Fault);
        assert_eq!(faults.count() > 0, !size.faults.is_empty());
    }
}

#[test]
fn threads_change_nothing_and_json_holds_the_rows() {
    let (shop, _) =
        workshop("cell: 3 mm", "advise: { from: 2 mm, to: 6 mm, sizes: 4, budget: 200 EUR, likeness: 50 % }\n");
    let before = shop.content();
    let outs = ["1", "3"].map(|threads| {
        let (code, out, err) = turnhue(&shop, &["advise", "job.yaml", "--json", "--threads", threads]);
        assert_eq!(code, exit::READY, "{err}");
        out
    });
    assert_eq!(outs[0], outs[1]);
    assert_eq!(shop.content(), before);
    let told: Value = serde_json::from_str(&outs[0]).unwrap();
    assert_eq!((told["job"].as_str(), told["faults"].as_array().map(Vec::len)), (Some("job.yaml"), Some(0)));
    let advice = &told["advice"];
    assert_eq!(advice["sizes"].as_array().unwrap().len(), 4);
    assert_eq!(advice["budget"]["currency"], "EUR");
    let chosen = advice["recommended"].as_f64().unwrap();
    let row = advice["sizes"].as_array().unwrap().iter().find(|size| size["cell"] == chosen).unwrap();
    assert_eq!(row["effect"], "holds");
    // The same for people.
    let (_, out, _) = turnhue(&shop, &["advise", "job.yaml", "--quiet"]);
    assert!(out.contains(&format!("{chosen} mm is the smallest cell whose effect holds, within 200 EUR")), "{out}");
    assert_eq!(out.lines().filter(|line| line.contains(" EUR  ")).count(), 4, "{out}");
}

#[test]
fn a_cell_that_is_left_to_be_found_is_found_and_recorded() {
    let (shop, job) = workshop("cell: advise", "advise: { from: 2 mm, to: 6 mm, sizes: 3 }\n");
    let plan = planned(&job);
    assert!(
        plan.in_words().contains("cell: advise") && plan.in_words().contains("compares 3 sizes"),
        "{}",
        plan.in_words()
    );
    // Leaving out what only informs does not leave out what has to find the cell.
    let published = made(&shop, &plan.without_advice()).unwrap();
    let record = &published.record().unwrap();
    let advice = record.advice.as_ref().unwrap();
    let chosen = advice.chosen().unwrap();
    assert_eq!(chosen.effect, Some(Effect::Holds));
    assert_eq!(advice.own, None);
    let setting = format!("{} mm", chosen.cell);
    assert_eq!(record.stages[1].settings["cell"], setting.as_str());
    assert_eq!(record.resolved["stages"][1]["voxelise"]["cell"], setting.as_str());
    assert!((number(record, "voxelise", "cell") - chosen.cell).abs() < 1e-12);
    let published = made(&shop, &planned(&job)).unwrap();
    // What was found stands in the folder and reads back; nothing else of the comparison is left.
    for file in &published.record().unwrap().advice.as_ref().unwrap().files {
        let bytes = fs::read(published.folder.join(&file.name)).unwrap();
        assert_eq!(file.blake3, blake3::hash(&bytes).to_hex().as_str(), "{}", file.name);
    }
    let csv = fs::read_to_string(published.folder.join("advice.csv")).unwrap();
    assert_eq!(csv.lines().count(), 4);
    let json: Advice = serde_json::from_slice(&fs::read(published.folder.join("advice.json")).unwrap()).unwrap();
    assert_eq!(json.sizes, published.record().unwrap().advice.as_ref().unwrap().sizes);
    let read = turnhue_reports::record::read(&published.folder.join("run.json")).unwrap();
    assert_eq!(read, published.record().unwrap());
    let page = fs::read_to_string(published.summary.unwrap()).unwrap();
    assert!(page.contains("id=\"advice\"") && page.contains("is the smallest cell whose effect holds"));
    let is_left = |entry: &fs::DirEntry| !entry.file_type().unwrap().is_file() && entry.file_name() != "order";
    assert!(!fs::read_dir(&published.folder).unwrap().any(|entry| is_left(&entry.unwrap())));
}

#[test]
fn where_no_size_holds_the_run_is_refused_at_the_cell() {
    let (shop, job) = workshop("cell: advise", "advise: { from: 0.8 mm, to: 1.2 mm, sizes: 2 }\n");
    let before = shop.content();
    let Err(Failure::Misfit(fault)) = made(&shop, &planned(&job)) else { panic!("was made") };
    assert!(
        fault.message().contains("could not run voxelise: No size of the cell can be recommended."),
        "{}",
        fault.message()
    );
    assert_eq!(fault.place().unwrap().text(), "advise");
    assert!(fault.what_to_do().contains("write a length in the place of `advise`"), "{}", fault.what_to_do());
    assert_eq!(shop.content(), before);
}

#[test]
fn a_size_with_which_the_piece_cannot_be_made_is_a_row_with_the_reason() {
    let (shop, job) = workshop("cell: 3 mm", "advise: { from: 3 mm, to: 30 mm, sizes: 2 }\n");
    let advice = advised(&shop, &job);
    let refused = advice.sizes[1].refused.as_ref().unwrap();
    assert!(refused.contains("a cell of 30 mm is larger than the whole piece"), "{refused}");
    assert!(advice.sizes[0].refused.is_none() && advice.sizes[1].effect.is_none());
}

#[test]
fn what_the_chain_lacks_is_said_with_the_line_to_add() {
    let (shop, job) = workshop("cell: 3 mm", "advise: { from: 3 mm, to: 6 mm, sizes: 2 }\n");
    let text = fs::read_to_string(&job).unwrap().replace("  - proof: { pixels: 64, film: 0 }\n", "");
    shop.put(
        "job.yaml",
        text.lines().filter(|line| !line.contains("estimate")).map(|line| format!("{line}\n")).collect::<String>(),
    );
    let advice = advised(&shop, &job);
    assert_eq!(advice.recommended, None);
    assert!(advice.words[0].contains("nothing tells whether the effect holds"), "{:?}", advice.words);
    assert_eq!(advice.missing.len(), 2);
    assert!(advice.missing[0].contains("add a line `- proof` after `colour`"), "{:?}", advice.missing);
    assert!(advice.sizes.iter().all(|size| size.price.is_none() && size.effect.is_none() && size.weight.is_some()));
}

/// Faults of a job: place and message.
fn faults(job: &Path) -> Vec<String> {
    let faults = plan(job, &shipped()).err().unwrap();
    faults
        .iter()
        .map(|f| format!("{} {}", f.place().unwrap().to_string().rsplit("job.yaml").next().unwrap(), f.message()))
        .collect()
}

#[test]
fn what_is_wrong_with_the_request_shows_at_its_place() {
    for (advise, expected) in [
        (
            "advise: { from: 3 mm, to: 2 mm }\n",
            ":13:27 the largest cell to try, 2 mm, is not larger than the smallest, 3 mm",
        ),
        ("advise: { from: -1 mm }\n", ":13:17 a cell must be larger than 0 mm, not -1 mm"),
        ("advise: { sizes: 1 }\n", ":13:18 from 2 to 60 sizes can be compared, not 1"),
        (
            "advise:\n  budget: much\n",
            ":14:11 'much' is not an amount of money; write a number, and its currency if you like: 250 EUR",
        ),
        ("advise:\n  likeness: 120 %\n", ":14:13 a share must be above 0 % and at most 100 %, not 120 %"),
        ("advise: { form: 1 mm }\n", ":13:11 the key `form` is not known"),
        (
            "advise: soon\n",
            ":13:9 invalid type: string \"soon\", expected a map such as { from: 1 mm, to: 6 mm, budget: 250 EUR }",
        ),
        ("advice: {}\n", ":13:1 the key `advice` is not known"),
    ] {
        let (_shop, job) = workshop("cell: 3 mm", advise);
        assert_eq!(faults(&job), [expected], "{advise}");
    }
    // The bare key asks for the usual.
    let (_shop, job) = workshop("cell: 3 mm", "advise:\n");
    assert!(planned(&job).compares_sizes());
}

#[test]
fn a_cell_can_only_be_found_where_something_tells_whether_the_effect_holds() {
    let (shop, job) = workshop("cell: advise", "");
    let text = fs::read_to_string(&job).unwrap();
    shop.put("job.yaml", text.replace("  - proof: { pixels: 64, film: 0 }\n", ""));
    assert_eq!(
        faults(&job),
        [":7:23 no cell can be found: nothing in the chain tells whether the effect holds, as `proof` does"]
    );
    // Other mistakes of the stage still show.
    shop.put("job.yaml", text.replace("cell: advise", "cell: advise, accuracy: 2"));
    assert_eq!(faults(&job).len(), 1);
    shop.put("job.yaml", text.replace("cell: advise", "cell: advise, across: 20"));
    assert!(faults(&job)[0].contains("contradict each other"), "{:?}", faults(&job));
    shop.put("job.yaml", HEAD.to_owned() + "  - scale: { longest: 24 mm }\nadvise: {}\n");
    assert_eq!(faults(&job), [":7:1 sizes of `voxelise.cell` cannot be compared: the chain has no `voxelise`"]);
}

#[test]
fn a_budget_in_another_currency_than_the_prices_is_refused() {
    let (shop, job) = workshop("cell: 3 mm", "advise: { from: 3 mm, to: 6 mm, sizes: 2, budget: 5 CHF }\n");
    let Err(Failure::Misfit(fault)) = made(&shop, &planned(&job)) else { panic!("was made") };
    assert_eq!(fault.place().unwrap().text(), "5 CHF");
    assert!(fault.message().contains("the prices are in EUR"), "{}", fault.message());
}

/// Raises the flag once a size was tried.
struct Stops<'a>(&'a AtomicBool);

impl Listener for Stops<'_> {
    fn hear(&mut self, event: &Event<'_>) {
        self.0.fetch_or(matches!(event, Event::SizeTried { .. }), Ordering::Relaxed);
    }
}

#[test]
fn a_comparison_that_is_stopped_leaves_nothing() {
    let (shop, job) = workshop("cell: 3 mm", "advise: { from: 3 mm, to: 6 mm, sizes: 20 }\n");
    let before = shop.content();
    let (clock, cancel) = (SystemClock::start(), AtomicBool::new(false));
    let (into, store) = (shop.path("runs"), Store::open(&shop.path("runs/.store"), clock.now()).unwrap());
    let memory = Memory::usual();
    let surroundings = Surroundings { into: &into, store: &store, clock: &clock, cancel: &cancel, memory };
    assert!(matches!(advise(&planned(&job), &into, &cancel, &mut Stops(&cancel)), Err(Failure::Cancelled)));
    cancel.store(false, Ordering::Relaxed);
    assert!(matches!(run(&planned(&job), &surroundings, &mut Stops(&cancel)), Err(Failure::Cancelled)));
    assert_eq!(shop.content(), before);
}

#[test]
fn a_run_can_leave_the_comparison_out() {
    let (shop, _) = workshop("cell: 4 mm", "advise: { from: 4 mm, to: 6 mm, sizes: 2 }\n");
    for (arguments, compared) in
        [(&["run", "job.yaml", "--json", "--no-advice"][..], false), (&["run", "job.yaml", "--json"], true)]
    {
        let (_, out, err) = turnhue(&shop, arguments);
        let told: Value = serde_json::from_str(&out).unwrap_or_else(|error| panic!("{error}: {err}"));
        let folder = shop.path(told["run"].as_str().unwrap());
        assert_eq!(folder.join("advice.csv").is_file(), compared);
        let record = turnhue_reports::record::read(&folder.join("run.json")).unwrap();
        assert_eq!(record.advice.is_some(), compared);
    }
}

/// The job that this project is about: 50 cells across 30 mm. What the effect comes to and what would hold is common
/// practice with such powder (no source): 0.6 mm fails, 3 mm holds.
#[test]
fn the_sad_ball_fails_and_says_what_would_hold() {
    let shop = Workshop::new();
    for name in ["models/ball.stl", "processes/powder-full-colour.yaml", "rates/bureau-demo.yaml"] {
        fs::create_dir_all(shop.path(name).parent().unwrap()).unwrap();
        shop.put(name, fs::read(jobs(name)).unwrap());
    }
    // Small pictures, and few sizes: the words are the same.
    let job = fs::read_to_string(jobs("sad-ball.yaml")).unwrap();
    let job = job
        .replace("  - proof\n", "  - proof: { pixels: 64, film: 0 }\n")
        .replace("to: 5 mm }", "to: 3 mm, sizes: 2 }");
    let published = made(&shop, &planned(&shop.put("job.yaml", job))).unwrap();
    let record = &published.record().unwrap();
    assert_eq!(record.verdict, turnhue_reports::record::Verdict::HasFaults);
    let fails = record.findings().into_iter().find(|(_, finding)| finding.code == "effect-fails").unwrap().1;
    assert!(fails.message.contains("0.60 mm") && fails.remedy.contains("would hold"), "{fails:?}");
    let cell = number(record, "proof", "smallest cell that holds");
    assert!((0.6..3.0).contains(&cell), "{cell}");
    let advice = record.advice.as_ref().unwrap();
    let effects: Vec<_> = advice.sizes.iter().map(|size| (size.cell, size.effect.unwrap())).collect();
    assert_eq!(effects, [(0.6, Effect::Fails), (3.0, Effect::Holds)]);
    assert_eq!(advice.recommended, Some(3.0));
    let told = advice.words.join(" ");
    assert!(told.contains("The job's own cell is 0.6 mm. The effect fails: "), "{told}");
    assert!(told.contains("With as many cells as the job asks for the effect holds from a cell of"), "{told}");
}
