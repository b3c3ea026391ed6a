//! Nights of variants: each comes out as it would alone, what they share is made once, and nothing hangs on order, threads or
//! what went wrong on the way.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "own-stages/stages.rs"]
mod stages;
#[path = "own-stages/workshop.rs"]
#[expect(dead_code, reason = "the jobs here have variants, or a stage of their own")]
mod workshop;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

use proptest::prelude::*;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use turnhue::clock::{Clock, Moment};
use turnhue::events::{Event, Listener, Silence};
use turnhue::explain::explain;
use turnhue::ledger::Ledger;
use turnhue::ledger::deeds::{Deed, Origin};
use turnhue::night::{self, Ended, Source};
use turnhue::plan::{Night, Share, plan_night};
use turnhue::reproduce::reproduce;
use turnhue::run::{Failure, Published, Surroundings};
use turnhue::store::Store;
use turnhue_stages::findings::{Fact, Unit};
use turnhue_stages::stage::{AnyStage, Halt, Shop, Stage, erase};
use turnhue_stages::units::Memory;
use turnhue_stages::workpiece::{Part, Workpiece};
use workshop::{HEAD, Workshop};

/// Draws the piece: its file hangs on what came before it.
struct Draw<const VERSION: u32>;

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct DrawSettings {
    ink: String,
}

impl<const VERSION: u32> Stage for Draw<VERSION> {
    type Settings = DrawSettings;
    const NAME: &'static str = "draw";
    const PURPOSE: &'static str = "Draws the piece";
    const VERSION: u32 = VERSION;
    const NEEDS: &'static [Part] = &[Part::Cells];
    const GIVES: &'static [Part] = &[];

    fn run(settings: &DrawSettings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let cell = piece.cells().expect("the plan saw to it").grid().cell;
        let text = format!("a block of {cell} mm in {}, by version {VERSION}\n", settings.ink);
        shop.artefact("drawing.txt", "a drawing", |out| out.write_all(text.as_bytes()))?;
        shop.fact(Fact::whole("letters", text.len(), Unit::Bytes));
        Ok(piece)
    }
}

fn stages_of<const VERSION: u32>() -> Vec<Box<dyn AnyStage>> {
    let mut all = stages::all();
    all.push(erase::<Draw<VERSION>>());
    all
}

/// 2027-03-01T09:30:00Z, always.
struct Stopped;

impl Clock for Stopped {
    fn now(&self) -> Moment {
        Moment(1_803_893_400)
    }

    fn elapsed(&self) -> Duration {
        Duration::ZERO
    }
}

/// Hears everything; raises the flag at the beginning of the so many-th stage.
#[derive(Default)]
struct Ears {
    made: BTreeMap<String, usize>,
    found: BTreeMap<String, usize>,
    told: Vec<String>,
    began: usize,
    stop_at: Option<usize>,
    cancel: AtomicBool,
}

/// What listens, beside what it may stop.
struct Hearing<'a>(&'a Mutex<Ears>, &'a AtomicBool);

impl Listener for Hearing<'_> {
    fn hear(&mut self, event: &Event<'_>) {
        let mut ears = self.0.lock().unwrap();
        match event {
            Event::StageBegan { .. } => {
                ears.began += 1;
                if ears.stop_at.is_some_and(|at| ears.began >= at) {
                    self.1.store(true, Ordering::Relaxed);
                }
            }
            Event::StageEnded { name, source: Source::Made, .. } => {
                *ears.made.entry((*name).to_owned()).or_default() += 1;
            }
            Event::StageEnded { name, source: Source::Store, .. } => {
                *ears.found.entry((*name).to_owned()).or_default() += 1;
            }
            Event::VariantEnded { name, .. } => ears.told.push((*name).to_owned()),
            _ => {}
        }
    }
}

/// Where nights are run.
struct Place<'a> {
    shop: &'a Workshop,
    store: PathBuf,
    threads: usize,
    memory: Memory,
}

impl<'a> Place<'a> {
    fn of(shop: &'a Workshop) -> Self {
        Self { shop, store: shop.path("runs/.store"), threads: 2, memory: Memory::usual() }
    }

    fn commission(&self) -> PathBuf {
        self.shop.path("runs/C-1")
    }

    /// Runs a night and draws its page.
    fn run(&self, night: &Night, ears: Ears) -> (Vec<Ended>, Ears) {
        let (cancel, ears) = (AtomicBool::new(ears.cancel.load(Ordering::Relaxed)), Mutex::new(ears));
        let ended = self.run_with(night, &cancel, &mut Hearing(&ears, &cancel));
        (ended, ears.into_inner().unwrap())
    }

    fn run_with(&self, night: &Night, cancel: &AtomicBool, listener: &mut dyn Listener) -> Vec<Ended> {
        let (into, store) = (self.shop.path("runs"), Store::open(&self.store, Stopped.now()).unwrap());
        let memory = self.memory;
        let surroundings = Surroundings { into: &into, store: &store, clock: &Stopped, cancel, memory };
        let pool = rayon::ThreadPoolBuilder::new().num_threads(self.threads).build().unwrap();
        let ended = pool.install(|| night::run(night.plans(), &surroundings, listener)).unwrap();
        if night.has_variants() {
            night::draw_page(night, &surroundings).unwrap();
        }
        ended
    }

    fn runs(&self, night: &Night) -> Vec<Published> {
        self.run(night, Ears::default()).0.into_iter().map(published).collect()
    }

    fn deeds(&self) -> Vec<Deed> {
        Ledger::of(&self.commission()).read().unwrap().into_iter().map(|entry| entry.deed).collect()
    }
}

fn published(ended: Ended) -> Published {
    match ended {
        Ended::Published(published) => *published,
        other => panic!("{other:?}"),
    }
}

const STAGES: &str = "  - stretch: { factor: 2 }
  - blocks: { size: 3 mm }
  - bore: { wall: 2 mm }
  - draw: { ink: black }
  - pack
  - validate
";

fn planned_with(shop: &Workshop, name: &str, text: String, stages: &[Box<dyn AnyStage>]) -> Night {
    plan_night(&shop.put(name, text), stages).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

/// The job of the tests with these variants.
fn planned(shop: &Workshop, variants: &str) -> Night {
    planned_with(shop, "job.yaml", format!("{HEAD}{STAGES}variants:\n{variants}"), &stages_of::<1>())
}

/// Every file in a folder, with its bytes, but for the package of an order, which a job has and a variant has not.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let entries = entries.filter(|path| path.is_file() && path.file_name().unwrap() != "order.zip");
    entries.map(|path| (path.file_name().unwrap().to_str().unwrap().to_owned(), fs::read(&path).unwrap())).collect()
}

/// Every run of a night by its name, with all of its files.
fn all_files(runs: &[Published]) -> BTreeMap<String, BTreeMap<String, Vec<u8>>> {
    runs.iter().map(|run| (run.name.clone(), files(&run.folder))).collect()
}

const GRID: &str = "  every: { blocks.size: [3 mm, 4 mm], draw.ink: [black, red, blue] }\n";

/// Everything but what a run is called.
#[test]
fn a_variant_comes_out_as_a_job_of_its_own() {
    let shop = Workshop::new();
    let runs = Place::of(&shop).runs(&planned(&shop, GRID));
    let by_hand = [(3, "black"), (3, "red"), (3, "blue"), (4, "black"), (4, "red"), (4, "blue")];
    for (run, (size, ink)) in runs.iter().zip(by_hand) {
        let alone = Workshop::new();
        let text = STAGES.replace("size: 3 mm", &format!("size: {size} mm")).replace("black", ink);
        let own = planned_with(&alone, "own.yaml", format!("{HEAD}{text}"), &stages_of::<1>());
        let own = &Place::of(&alone).runs(&own)[0];
        let [mut these, mut those] = [run, own].map(|run| files(&run.folder));
        let record = |files: &mut BTreeMap<String, Vec<u8>>| {
            let mut record: Value = serde_json::from_slice(&files.remove("run.json").unwrap()).unwrap();
            record.as_object_mut().unwrap().retain(|key, _| !["run", "variant"].contains(&key.as_str()));
            record
        };
        assert_eq!(record(&mut these), record(&mut those));
        let drawing = format!("a block of {size} mm in {ink}, by version 1\n");
        assert_eq!(these["drawing.txt"], drawing.as_bytes());
        for page in ["summary.html", "print-model.html"] {
            assert_eq!(these.remove(page).is_some(), those.remove(page).is_some());
        }
        assert_eq!(these, those);
    }
    assert_eq!(runs.len(), by_hand.len());
}

fn counts(these: &[(&str, usize)]) -> BTreeMap<String, usize> {
    these.iter().map(|&(name, count)| (name.to_owned(), count)).collect()
}

/// By hand: stretch once, blocks and bore for two sizes, the rest for six variants.
#[test]
fn what_variants_share_is_made_once() {
    let by_hand = counts(&[("stretch", 1), ("blocks", 2), ("bore", 2), ("draw", 6), ("pack", 6), ("validate", 6)]);
    let shop = Workshop::new();
    let (place, night) = (Place::of(&shop), planned(&shop, GRID));
    let (ended, ears) = place.run(&night, Ears::default());
    assert_eq!((ears.made, ears.found.len()), (by_hand.clone(), 0));
    assert_eq!(ears.told.len(), 6);
    let runs: Vec<Published> = ended.into_iter().map(published).collect();
    // In the ledger, too, each was made by one run alone.
    let mut made = BTreeMap::new();
    for deed in place.deeds() {
        let Deed::Run(run) = deed else { continue };
        for stage in run.stages.iter().filter(|stage| stage.from == Origin::Made) {
            *made.entry(stage.name.clone()).or_default() += 1;
        }
    }
    assert_eq!(made, by_hand);
    // Another night looks at nothing; without run folders it takes all from the store.
    let (again, ears) = place.run(&night, Ears::default());
    assert!(again.into_iter().map(published).all(|run| run.was_there));
    assert_eq!((ears.made.len(), ears.found.len()), (0, 0));
    let before = all_files(&runs);
    runs.iter().for_each(|run| fs::remove_dir_all(&run.folder).unwrap());
    let (again, ears) = place.run(&night, Ears::default());
    assert_eq!((ears.made.len(), ears.found), (0, by_hand));
    assert!(all_files(&again.into_iter().map(published).collect::<Vec<_>>()) == before);
}

#[test]
fn the_same_night_again_enters_nothing() {
    let shop = Workshop::new();
    let place = Place::of(&shop);
    let night = planned(&shop, &format!("{GRID}choose:\n  - {{ lowest: cautions }}\n"));
    let runs = place.runs(&night);
    let count = |deeds: &[Deed], is_it: fn(&Deed) -> bool| deeds.iter().filter(|deed| is_it(deed)).count();
    let before = place.deeds();
    assert_eq!(count(&before, |deed| matches!(deed, Deed::Run(_))), 6);
    assert_eq!(count(&before, |deed| matches!(deed, Deed::Night(_))), 1);
    let chosen: Vec<_> =
        before.iter().filter_map(|deed| if let Deed::Choice(choice) = deed { Some(choice) } else { None }).collect();
    assert!(matches!(chosen[..], [one] if runs.iter().any(|run| run.name == one.run.as_str()) && one.rule.is_some()));
    let page = files(&place.commission().join("nights/job"));
    place.runs(&night);
    assert_eq!(place.deeds().len(), before.len());
    assert_eq!(files(&place.commission().join("nights/job")), page);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// The same files, whatever the order of the variants, the number of threads and the memory.
    #[test]
    fn order_and_threads_change_nothing(
        sizes in prop::collection::btree_set(1u32..9, 1..4),
        inks in prop::sample::subsequence(vec!["black", "red", "blue"], 1..4),
        together in any::<bool>(),
        threads in 1usize..5,
        bytes in prop::sample::select(vec![0, 1, 1 << 30]),
    ) {
        let variants = |sizes: &[u32], inks: &[&str]| {
            let sizes: Vec<String> = sizes.iter().map(|size| format!("{size} mm")).collect();
            let most = sizes.len().min(inks.len());
            if together {
                format!("  together: {{ blocks.size: [{}], draw.ink: [{}] }}\n", sizes[..most].join(", "), inks[..most].join(", "))
            } else {
                format!("  every: {{ blocks.size: [{}], draw.ink: [{}] }}\n", sizes.join(", "), inks.join(", "))
            }
        };
        let mut sizes: Vec<u32> = sizes.into_iter().collect();
        let mut inks = inks;
        let most = if together { sizes.len().min(inks.len()) } else { usize::MAX };
        sizes.truncate(most);
        inks.truncate(most);
        let [one, other] = [Workshop::new(), Workshop::new()];
        let first = planned(&one, &variants(&sizes, &inks));
        let first = Place { threads: 1, ..Place::of(&one) }.runs(&first);
        sizes.reverse();
        inks.reverse();
        let second = planned(&other, &variants(&sizes, &inks));
        let second = Place { threads, memory: Memory::from_bytes(bytes), ..Place::of(&other) }.runs(&second);
        prop_assert_eq!(first.len(), second.len());
        prop_assert!(all_files(&first) == all_files(&second));
    }
}

/// A wall of 20 mm does not fit.
#[test]
fn a_variant_that_fails_stops_no_other() {
    let shop = Workshop::new();
    let place = Place::of(&shop);
    let night = planned(&shop, "  every: { bore.wall: [2 mm, 20 mm, 3 mm], draw.ink: [black, red] }\n");
    for _ in 0..2 {
        let (ended, ears) = place.run(&night, Ears::default());
        let failed: Vec<bool> = ended.iter().map(|ended| matches!(ended, Ended::Failed(Failure::Misfit(_)))).collect();
        assert_eq!(failed, [false, false, true, true, false, false], "{ended:?}");
        assert!(ears.told.iter().filter(|name| name.contains("20mm")).count() == 2);
        // Known from the first night.
        let failures = place.deeds().iter().filter(|deed| matches!(deed, Deed::FailedRun(_))).count();
        assert_eq!(failures, 2);
    }
}

#[test]
fn a_stage_that_panics_stops_no_other() {
    let shop = Workshop::new();
    let text = format!(
        "{HEAD}  - blocks\n  - bore: {{ wall: 2 mm }}\n  - mishap: {{ kind: squat }}\nvariants:\n  every: {{ mishap.kind: [panic, squat], bore.wall: [2 mm, 3 mm] }}\n"
    );
    let night = planned_with(&shop, "job.yaml", text, &stages_of::<1>());
    let (ended, _) = Place::of(&shop).run(&night, Ears::default());
    let words: Vec<&str> = ended
        .iter()
        .map(|ended| match ended {
            Ended::Published(_) => "there",
            Ended::Failed(Failure::Defect(_)) => "defect",
            _ => "other",
        })
        .collect();
    assert_eq!(words, ["defect", "there", "defect", "there"]);
}

/// Panics at everything it hears while the night is under way.
struct Jumpy;

impl Listener for Jumpy {
    fn hear(&mut self, event: &Event<'_>) {
        assert!(matches!(event, Event::NightBegan { .. }), "a defect, made for a test");
    }
}

#[test]
fn who_listens_badly_harms_nobody() {
    let shop = Workshop::new();
    let ended =
        Place { threads: 3, ..Place::of(&shop) }.run_with(&planned(&shop, GRID), &AtomicBool::new(false), &mut Jumpy);
    assert_eq!(ended.into_iter().map(published).count(), 6);
}

/// Panics once, when it has been asked so many times.
struct Faulty(AtomicUsize);

impl Clock for Faulty {
    fn now(&self) -> Moment {
        Stopped.now()
    }

    fn elapsed(&self) -> Duration {
        assert!(self.0.fetch_sub(1, Ordering::Relaxed) != 1, "a defect, made for a test");
        Duration::ZERO
    }
}

/// Wherever it is: before a result is looked up, after a stage was run, while a run folder is put together.
#[test]
fn a_worker_that_panics_leaves_nobody_waiting() {
    let alone = Workshop::new();
    let expected = all_files(&Place::of(&alone).runs(&planned(&alone, GRID)));
    for asked in [1, 2, 3, 5, 8, 13, 40, 80, 100] {
        let shop = Workshop::new();
        let (place, night) = (Place::of(&shop), planned(&shop, GRID));
        let (into, store) = (shop.path("runs"), Store::open(&place.store, Stopped.now()).unwrap());
        let (cancel, clock) = (AtomicBool::new(false), Faulty(AtomicUsize::new(asked)));
        let memory = Memory::usual();
        let surroundings = Surroundings { into: &into, store: &store, clock: &clock, cancel: &cancel, memory };
        let ended = night::run(night.plans(), &surroundings, &mut Silence).unwrap();
        let defects = ended.iter().filter(|ended| matches!(ended, Ended::Failed(Failure::Defect(_)))).count();
        let there = ended.iter().filter(|ended| matches!(ended, Ended::Published(_))).count();
        assert!(defects >= 1 && defects + there == 6, "{asked}: {ended:?}");
        assert!(all_files(&place.runs(&night)) == expected);
    }
}

#[test]
fn a_night_goes_on_from_where_it_was_stopped() {
    let all = 1 + 2 + 2 + 3 * 6;
    let whole = Workshop::new();
    let expected = all_files(&Place::of(&whole).runs(&planned(&whole, GRID)));
    for stop_at in [1, 4, 9, 17, all] {
        let shop = Workshop::new();
        let (place, night) = (Place::of(&shop), planned(&shop, GRID));
        let (ended, ears) = place.run(&night, Ears { stop_at: Some(stop_at), ..Ears::default() });
        let first: usize = ears.made.values().sum();
        assert!(first >= stop_at && first <= stop_at + 1, "{first} stages ended of a night stopped at {stop_at}");
        assert!(ended.iter().any(|ended| matches!(ended, Ended::NotRun)));
        assert!(!place.deeds().iter().any(|deed| matches!(deed, Deed::FailedRun(_))), "a stop is no failure");
        let (ended, ears) = place.run(&night, Ears::default());
        assert_eq!(first + ears.made.values().sum::<usize>(), all);
        assert!(all_files(&ended.into_iter().map(published).collect::<Vec<_>>()) == expected);
    }
}

#[test]
fn a_stop_before_the_beginning_runs_nothing() {
    let shop = Workshop::new();
    let ears = Ears { cancel: AtomicBool::new(true), ..Ears::default() };
    let (ended, ears) = Place::of(&shop).run(&planned(&shop, GRID), ears);
    assert!(ended.iter().all(|ended| matches!(ended, Ended::NotRun)) && ears.began == 0);
}

/// A part of a night may hold nothing: three shares of two variants.
#[test]
fn shares_come_together_and_an_empty_one_leaves_nothing() {
    let variants = "  every: { draw.ink: [black, red] }\n";
    let [whole, shared] = [Workshop::new(), Workshop::new()];
    let expected = all_files(&Place::of(&whole).runs(&planned(&whole, variants)));
    let mut found = BTreeMap::new();
    for share in ["1/3", "2/3", "3/3"] {
        let share = planned(&shared, variants).share(share.parse::<Share>().unwrap());
        let before = shared.content();
        let cancel = AtomicBool::new(false);
        let (into, store) = (shared.path("runs"), Store::open(&shared.path("runs/.store"), Stopped.now()).unwrap());
        let surroundings =
            Surroundings { into: &into, store: &store, clock: &Stopped, cancel: &cancel, memory: Memory::usual() };
        let ended = night::run(share.plans(), &surroundings, &mut Silence).unwrap();
        if ended.is_empty() {
            assert_eq!(shared.content(), before);
            assert!(!shared.path("runs/ledger").exists() && !shared.path("runs/inputs").exists());
        }
        found.extend(all_files(&ended.into_iter().map(published).collect::<Vec<_>>()));
    }
    assert!(found == expected);
}

#[cfg(target_os = "linux")]
#[test]
fn a_store_on_another_file_system_gives_the_same_bytes() {
    let (Ok(elsewhere), [here, there]) = (tempfile::tempdir_in("/dev/shm"), [Workshop::new(), Workshop::new()]) else {
        return;
    };
    let expected = all_files(&Place::of(&here).runs(&planned(&here, GRID)));
    let place = Place { store: elsewhere.path().join("a store"), ..Place::of(&there) };
    assert!(all_files(&place.runs(&planned(&there, GRID))) == expected);
}

/// Two programs, each with a store of its own that lies in the same folder.
#[test]
fn two_at_once_make_one_night() {
    let [alone, shop] = [Workshop::new(), Workshop::new()];
    let expected = all_files(&Place::of(&alone).runs(&planned(&alone, GRID)));
    let night = planned(&shop, GRID);
    let both: Vec<Vec<Published>> = std::thread::scope(|scope| {
        let started: Vec<_> = (0..2).map(|_| scope.spawn(|| Place::of(&shop).runs(&night))).collect();
        started.into_iter().map(|one| one.join().unwrap()).collect()
    });
    assert!(both.iter().all(|runs| all_files(runs) == expected));
    // Who came second entered what the first had entered, or not; each run has an entry, and the ledger is whole.
    let mut entered: Vec<String> = Place::of(&shop)
        .deeds()
        .iter()
        .filter_map(|deed| match deed {
            Deed::Run(run) => Some(run.run.as_str().to_owned()),
            _ => None,
        })
        .collect();
    entered.sort();
    entered.dedup();
    assert_eq!(entered, expected.into_keys().collect::<Vec<_>>());
}

#[test]
fn a_run_that_was_changed_is_not_chosen() {
    let shop = Workshop::new();
    let place = Place::of(&shop);
    let night = planned(&shop, &format!("{GRID}choose:\n  - {{ lowest: cautions }}\n"));
    place.runs(&night);
    let chosen = || {
        place
            .deeds()
            .into_iter()
            .filter_map(|deed| match deed {
                Deed::Choice(choice) => Some(choice.run.as_str().to_owned()),
                _ => None,
            })
            .collect::<Vec<_>>()
    };
    let [first] = &chosen()[..] else { panic!("{:?}", chosen()) };
    let drawing = place.commission().join(first).join("drawing.txt");
    fs::remove_file(&drawing).unwrap();
    fs::write(&drawing, "something else").unwrap();
    let (ended, ears) = place.run(&night, Ears::default());
    assert_eq!(ended.iter().filter(|ended| matches!(ended, Ended::Failed(Failure::Changed(_)))).count(), 1);
    assert_eq!(ears.told.len(), 1);
    assert_eq!(chosen().len(), 2);
    assert_ne!(&chosen()[1], first);
    let page = fs::read_to_string(place.commission().join("nights/job/night.json")).unwrap();
    shows(&page, &["is not as it was made", "drawing.txt has 14 bytes instead of"]);
}

/// What is damaged in the store is made again in the course of a night.
#[test]
fn a_flipped_byte_in_the_store_is_made_good() {
    let shop = Workshop::new();
    let (place, night) = (Place::of(&shop), planned(&shop, GRID));
    let runs = place.runs(&night);
    let expected = all_files(&runs);
    runs.iter().for_each(|run| fs::remove_dir_all(&run.folder).unwrap());
    for kind in ["results", "files"] {
        for folder in fs::read_dir(place.store.join(kind)).unwrap() {
            for file in fs::read_dir(folder.unwrap().path()).unwrap() {
                let path = file.unwrap().path();
                let mut bytes = fs::read(&path).unwrap();
                let middle = bytes.len() / 2;
                bytes[middle] ^= 1;
                // It is read-only: a file of the same name takes its place.
                fs::remove_file(&path).unwrap();
                fs::write(&path, bytes).unwrap();
            }
        }
    }
    assert!(all_files(&place.runs(&night)) == expected);
}

fn why(run: &Published, stage: &str) -> String {
    explain(&run.folder, stage).unwrap_or_else(|error| panic!("{error:?}"))
}

#[track_caller]
fn shows(text: &str, parts: &[&str]) {
    for part in parts {
        assert!(text.contains(part), "'{part}' is not in: {text}");
    }
}

#[test]
fn explain_says_why() {
    let shop = Workshop::new();
    let place = Place { threads: 1, ..Place::of(&shop) };
    let job = |from: &str, to: &str, version: &[Box<dyn AnyStage>]| {
        let night = planned_with(&shop, "job.yaml", format!("{HEAD}{}", STAGES.replace(from, to)), version);
        place.runs(&night).remove(0)
    };
    let runs = place.runs(&planned(&shop, "  every: { draw.ink: [black, red] }\n"));
    // One of the two made what they share, the other took it from it; neither met a store that had lost anything.
    let (made, taken): (Vec<_>, Vec<_>) = runs.iter().partition(|run| why(run, "blocks").contains("was run"));
    let ([made], [taken]) = (&made[..], &taken[..]) else { panic!("{made:?} {taken:?}") };
    shows(&why(made, "blocks"), &["no run of this commission had made it before"]);
    shows(&why(taken, "blocks"), &["was taken from the store", &format!("run {}", made.name), "had made the same"]);
    shows(&why(&runs[1], "draw"), &["was run", "draw.ink is red, and was black"]);
    // A setting.
    let other = job("wall: 2 mm", "wall: 3 mm", &stages_of::<1>());
    shows(&why(&other, "bore"), &["was run", "bore.wall is 3 mm, and was 2 mm"]);
    shows(&why(&other, "pack"), &["`bore`, before it, is not the same", "bore.wall is 3 mm, and was 2 mm"]);
    shows(&why(&other, "blocks"), &["was taken from the store", &made.name]);
    // The version of a stage.
    let newer = job("black", "black", &stages_of::<2>());
    shows(&why(&newer, "draw"), &["was run", "`draw` is in version 2, and was in version 1"]);
    shows(&why(&newer, "bore"), &["was taken from the store"]);
    // The latest of those that are alike equally far is named.
    let again = job("black", "green", &stages_of::<2>());
    shows(&why(&again, "draw"), &["draw.ink is green, and was black", &newer.name]);
    // Tidied away.
    fs::remove_dir_all(&place.store).unwrap();
    let tidied = job("black", "grey", &stages_of::<1>());
    shows(&why(&tidied, "blocks"), &["was run", "the store no longer had", &made.name, "tidied away"]);
    // What is not there.
    assert!(explain(&runs[0].folder, "blokcs").is_err());
    assert!(explain(&shop.path("runs/C-1/nothing"), "blocks").is_err());
}

#[test]
fn a_run_is_reproduced_from_its_record_alone() {
    let shop = Workshop::new();
    let place = Place::of(&shop);
    let runs = place.runs(&planned(&shop, GRID));
    for name in ["model.stl", "process.yaml", "rates.yaml", "job.yaml"] {
        fs::remove_file(shop.path(name)).unwrap();
    }
    fs::remove_dir_all(&place.store).unwrap();
    let fresh = tempfile::tempdir().unwrap();
    let cancel = AtomicBool::new(false);
    let compare = |run: &Published| {
        reproduce(&run.folder, fresh.path(), &stages_of::<1>(), (&Stopped, &cancel), &mut Silence).unwrap()
    };
    for run in &runs {
        let compared = compare(run);
        assert!(compared.is_same(), "{}", compared.in_words());
        assert_eq!(compared.same, files(&run.folder).len());
    }
    // One byte.
    let drawing = runs[2].folder.join("drawing.txt");
    let mut bytes = fs::read(&drawing).unwrap();
    bytes[0] ^= 1;
    fs::remove_file(&drawing).unwrap();
    fs::write(&drawing, bytes).unwrap();
    let compared = compare(&runs[2]);
    assert_eq!((compared.is_same(), &compared.changed[..]), (false, &["drawing.txt".to_owned()][..]));
    // A file that is gone.
    fs::remove_file(runs[3].folder.join("drawing.txt")).unwrap();
    assert_eq!(compare(&runs[3]).missing, ["drawing.txt"]);
}

/// The names of two files that come to one in small letters and plain words.
#[test]
fn jobs_of_one_commission_have_pages_of_their_own() {
    let shop = Workshop::new();
    let place = Place::of(&shop);
    for (name, ink) in [
        ("my night.yaml", "red"),
        ("My Night.yaml", "blue"),
        ("my-night.yaml", "black"),
        ("夜.yaml", "grey"),
        ("昼.yaml", "white"),
    ] {
        let text = format!("{HEAD}{STAGES}variants:\n  every: {{ draw.ink: [{ink}] }}\n");
        place.runs(&planned_with(&shop, name, text, &stages_of::<1>()));
    }
    let nights: Vec<String> = fs::read_dir(place.commission().join("nights"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    assert_eq!(nights.len(), 5, "{nights:?}");
    assert!(
        nights.contains(&"my-night".to_owned()) && nights.iter().all(|name| name.is_ascii() && !name.contains(' '))
    );
}

/// The program with the stages of the tests, which Cargo builds beside the tests.
fn own(shop: &Workshop, arguments: &[&str]) -> (i32, String, String) {
    let tests = std::env::current_exe().unwrap();
    let program = tests
        .parent()
        .unwrap()
        .parent()
        .unwrap()
        .join("examples")
        .join(format!("own-stages{}", std::env::consts::EXE_SUFFIX));
    assert!(program.is_file(), "build the program of the tests first: cargo build --example own-stages");
    let output = Command::new(program).current_dir(shop.path("")).args(arguments).output().unwrap();
    let [out, err] = [output.stdout, output.stderr].map(|bytes| String::from_utf8(bytes).unwrap());
    (output.status.code().unwrap(), out, err)
}

const PLAIN: &str = "  - blocks\n  - bore: { wall: 2 mm }\n  - pack\n  - validate\n";

#[test]
fn what_many_variants_fail_of_is_told_once() {
    let shop = Workshop::new();
    shop.put(
        "job.yaml",
        format!("{HEAD}{PLAIN}variants:\n  every: {{ bore.wall: [2 mm, 20 mm], validate.strict: [false, true] }}\n"),
    );
    let (code, _, err) = own(&shop, &["run", "job.yaml", "--quiet"]);
    assert_eq!((code, err.matches("a wall of 20 mm is thicker than the piece").count()), (1, 1), "{err}");
}

/// Of three machines for two variants, one has nothing to do.
#[test]
fn a_share_without_variants_says_so() {
    let shop = Workshop::new();
    shop.put("job.yaml", format!("{HEAD}{PLAIN}variants:\n  every: {{ bore.wall: [2 mm, 3 mm] }}\n"));
    let said: Vec<(i32, String, String)> =
        ["1/3", "2/3", "3/3"].map(|share| own(&shop, &["run", "job.yaml", "--share", share])).into();
    assert!(said.iter().all(|(code, ..)| *code == 0), "{said:?}");
    let words: Vec<&str> = said.iter().map(|(_, out, _)| out.as_str()).collect();
    assert!(words.contains(&"0 variants: nothing in this part\n"), "{words:?}");
    assert_eq!(words.iter().filter(|words| words.contains("C-1: 1 variant: 1 ready to order")).count(), 2, "{words:?}");
    let (code, out, _) = own(&shop, &["compare", "job.yaml"]);
    assert_eq!(code, 0);
    shows(&out, &["nights/job/index.html"]);
}

#[test]
fn a_page_that_cannot_be_drawn_shows_in_the_exit_code() {
    let shop = Workshop::new();
    shop.put("job.yaml", format!("{HEAD}{PLAIN}variants:\n  every: {{ bore.wall: [2 mm, 3 mm] }}\n"));
    fs::create_dir_all(shop.path("runs/C-1")).unwrap();
    shop.put("runs/C-1/nights", "in the way");
    let (code, _, err) = own(&shop, &["run", "job.yaml", "--quiet"]);
    assert_eq!(code, 3, "{err}");
    shows(&err, &["could not write the page"]);
}

#[test]
fn very_many_faults_are_counted() {
    let shop = Workshop::new();
    let wrong =
        vec!["0 mm"; 100].iter().enumerate().map(|(at, _)| format!("-{} mm", at + 1)).collect::<Vec<_>>().join(", ");
    shop.put("job.yaml", format!("{HEAD}{PLAIN}variants:\n  every: {{ blocks.size: [{wrong}] }}\n"));
    for command in ["run", "check"] {
        let (code, out, err) = own(&shop, &[command, "job.yaml", "--json"]);
        let said: Value = serde_json::from_str(&out).unwrap();
        let all = said["faults"].as_array().unwrap().len();
        assert_eq!((code, all), (2, 100), "{err}");
        shows(&err, &["… and 80 more"]);
        assert_eq!(err.matches("job.yaml:").count(), 20, "{err}");
    }
}

/// Two palettes may have a colour in common.
#[test]
fn lists_in_step_may_repeat_a_value_but_no_combination() {
    let shop = Workshop::new();
    let night = planned(&shop, "  together: { blocks.size: [3 mm, 3 mm, 4 mm], draw.ink: [black, red, black] }\n");
    let names: Vec<&str> = night.plans().iter().map(|plan| plan.variant().unwrap().name()).collect();
    assert_eq!(names, ["size-3mm_ink-black", "size-3mm_ink-red", "size-4mm_ink-black"]);
    let twice = "  together: { blocks.size: [3 mm, 4 mm, 3 mm], draw.ink: [black, red, black] }\n";
    let path = shop.put("job.yaml", format!("{HEAD}{STAGES}variants:\n{twice}"));
    let faults = plan_night(&path, &stages_of::<1>()).err().unwrap();
    assert!(matches!(&faults[..], [fault] if fault.message().contains("comes twice")), "{faults:#?}");
}

#[test]
fn tidying_keeps_what_ledgers_name_unless_told_otherwise() {
    let shop = Workshop::new();
    shop.put("job.yaml", format!("{HEAD}{PLAIN}variants:\n  every: {{ bore.wall: [2 mm, 3 mm] }}\n"));
    let run = |expected: &str| {
        let (code, out, err) = own(&shop, &["run", "job.yaml", "--json"]);
        assert_eq!(code, 0, "{err}");
        let said: Value = serde_json::from_str(&out).unwrap();
        let folders: Vec<PathBuf> =
            said["variants"].as_array().unwrap().iter().map(|one| shop.path(one["run"].as_str().unwrap())).collect();
        assert_eq!(folders.len(), 2, "{expected}");
        folders
    };
    let stored = || {
        fs::read_dir(shop.path("runs/.store/results"))
            .unwrap()
            .flat_map(|folder| fs::read_dir(folder.unwrap().path()).unwrap())
            .count()
    };
    let folders = run("made");
    let before: Vec<_> = folders.iter().map(|folder| files(folder)).collect();
    // By hand: blocks once, and bore, pack and validate twice each.
    assert_eq!(stored(), 7);
    assert_eq!(own(&shop, &["tidy"]).0, 0);
    assert_eq!(stored(), 7);
    assert_eq!(own(&shop, &["tidy", "--all"]).0, 0);
    assert_eq!(stored(), 0);
    folders.iter().for_each(|folder| fs::remove_dir_all(folder).unwrap());
    let again = run("made again");
    assert!(again.iter().map(|folder| files(folder)).collect::<Vec<_>>() == before);
    assert_eq!(stored(), 7);
    // In the wrong place it takes nothing away, and makes no folders.
    fs::create_dir(shop.path("elsewhere")).unwrap();
    let store = shop.path("runs/.store");
    let (code, _, err) = own(&shop, &["tidy", "--into", "elsewhere/runs", "--store", store.to_str().unwrap()]);
    assert_eq!((code, stored()), (2, 7), "{err}");
    shows(&err, &["could not look for records", "--into DIR"]);
    assert!(!shop.path("elsewhere/runs").exists());
}

#[test]
fn several_runs_are_reproduced_in_one_fresh_folder() {
    let shop = Workshop::new();
    shop.put("job.yaml", format!("{HEAD}{PLAIN}variants:\n  every: {{ bore.wall: [2 mm, 3 mm] }}\n"));
    let (_, out, err) = own(&shop, &["run", "job.yaml", "--json"]);
    let said: Value = serde_json::from_str(&out).unwrap_or_else(|_| panic!("{err}"));
    let runs: Vec<&str> = said["variants"].as_array().unwrap().iter().map(|one| one["run"].as_str().unwrap()).collect();
    let (code, out, err) = own(&shop, &["reproduce", runs[0], runs[1], "--into", "fresh"]);
    assert_eq!((code, out.matches("the same byte by byte").count()), (0, 2), "{out}{err}");
    let (code, _, err) = own(&shop, &["reproduce", runs[0], "--into", "fresh"]);
    assert_eq!(code, 2);
    shows(&err, &["fresh is not empty"]);
}
