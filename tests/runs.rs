//! Runs through the library: with a clock that stands still, and a listener that interferes.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "own-stages/stages.rs"]
mod stages;
#[path = "own-stages/workshop.rs"]
mod workshop;

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use turnhue::clock::{Clock, Moment};
use turnhue::events::{Event, Listener, Silence};
use turnhue::night::Source;
use turnhue::plan::plan;
use turnhue::run::{Failure, Published, Surroundings, run};
use turnhue::store::Store;
use turnhue_stages::units::Memory;
use workshop::Workshop;

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

fn run_job(
    shop: &Workshop,
    stages: &str,
    cancel: &AtomicBool,
    listener: &mut dyn Listener,
) -> Result<Published, Failure> {
    let plan = plan(&shop.job(stages), &stages::all()).unwrap_or_else(|faults| panic!("{faults:#?}"));
    let (into, store) = (shop.path("runs"), Store::open(&shop.path("runs/.store"), Stopped.now()).unwrap());
    let memory = Memory::usual();
    run(&plan, &Surroundings { into: &into, store: &store, clock: &Stopped, cancel, memory }, listener)
}

fn run_quietly(shop: &Workshop, stages: &str) -> Published {
    run_job(shop, stages, &AtomicBool::new(false), &mut Silence).unwrap()
}

#[test]
fn a_run_is_named_after_its_job_and_what_went_in() {
    let shop = Workshop::new();
    let first = run_quietly(&shop, "blocks\npack");
    let digest = first.name.strip_prefix("job-").unwrap().to_owned();
    assert_eq!(digest.len(), 8);
    assert!(!first.was_there);
    // The same again is the same run.
    let again = run_quietly(&shop, "blocks\npack");
    assert_eq!((&again.name, again.was_there), (&first.name, true));
    // Another setting, another model: another digest.
    assert!(!run_quietly(&shop, "blocks: { size: 2 mm }\npack").name.contains(&digest));
    shop.put("model.stl", workshop::tetrahedron(11.0));
    assert!(!run_quietly(&shop, "blocks\npack").name.contains(&digest));
}

/// Every file of a run, with its bytes.
fn files(run: &Published) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![run.folder.clone()];
    while let Some(folder) = folders.pop() {
        for path in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
            if path.is_dir() {
                folders.push(path);
            } else {
                found.insert(path.strip_prefix(&run.folder).unwrap().to_owned(), fs::read(&path).unwrap());
            }
        }
    }
    found
}

#[test]
fn the_same_job_gives_the_same_bytes_wherever_it_runs() {
    let [first, second] = [Workshop::new(), Workshop::new()];
    let [first, second] = [&first, &second].map(|shop| files(&run_quietly(shop, "blocks\npack\nvalidate")));
    assert!(first.len() >= 3 && first == second);
}

#[test]
fn a_run_is_put_together_anew_from_the_store() {
    let shop = Workshop::new();
    let first = run_quietly(&shop, "blocks\npack\nvalidate");
    let before = files(&first);
    fs::remove_dir_all(&first.folder).unwrap();
    let cancel = AtomicBool::new(false);
    let mut listener = Interferes { at: "", cancel: &cancel, heard: Vec::new() };
    let again = run_job(&shop, "blocks\npack\nvalidate", &cancel, &mut listener).unwrap();
    assert!(files(&again) == before);
    let expected = ["run of 3", "found blocks", "found pack", "found validate", "published"];
    assert_eq!(listener.heard, expected);
}

#[test]
fn a_run_folder_that_was_changed_is_left_alone() {
    let shop = Workshop::new();
    let first = run_quietly(&shop, "blocks\npack");
    let piece = first.folder.join("piece.txt");
    fs::remove_file(&piece).unwrap();
    fs::write(&piece, b"changed by somebody").unwrap();
    let refused = run_job(&shop, "blocks\npack", &AtomicBool::new(false), &mut Silence).unwrap_err();
    let words = refused.in_words();
    assert!(matches!(refused, Failure::Changed(_)));
    assert!(words.message().contains("piece.txt") && words.what_to_do().contains("move it away"));
    assert_eq!(fs::read(&piece).unwrap(), b"changed by somebody");
}

#[test]
fn a_published_record_reads_back() {
    let shop = Workshop::new();
    let published = run_quietly(&shop, "blocks\npack\nvalidate");
    let read = published.record().unwrap();
    assert_eq!((read.run.as_str(), read.verdict), (published.name.as_str(), published.verdict));
    assert_eq!(published.order.unwrap(), published.folder.join("piece.txt"));
}

/// Notes what happens, and raises the flag when a stage of that name begins.
struct Interferes<'a> {
    at: &'a str,
    cancel: &'a AtomicBool,
    heard: Vec<String>,
}

impl Listener for Interferes<'_> {
    fn hear(&mut self, event: &Event<'_>) {
        self.heard.push(match event {
            Event::RunBegan { stages, .. } => format!("run of {stages}"),
            Event::StageBegan { name, .. } => {
                self.cancel.fetch_or(*name == self.at, Ordering::Relaxed);
                format!("begin {name}")
            }
            Event::StageEnded { name, source: Source::Made, .. } => format!("end {name}"),
            Event::StageEnded { name, source: Source::Store, .. } => format!("found {name}"),
            Event::PageFailed { .. } => "no page".to_owned(),
            Event::Published { .. } => "published".to_owned(),
            other => format!("{other:?}"),
        });
    }
}

#[test]
fn a_run_that_is_stopped_leaves_no_run_and_goes_on_from_there() {
    let shop = Workshop::new();
    let cancel = AtomicBool::new(false);
    let mut listener = Interferes { at: "pack", cancel: &cancel, heard: Vec::new() };
    let ended = run_job(&shop, "blocks\npack\nvalidate", &cancel, &mut listener);
    assert!(matches!(ended, Err(Failure::Cancelled)));
    assert_eq!(listener.heard, ["run of 3", "begin blocks", "end blocks", "begin pack", "end pack"]);
    assert!(!shop.content().iter().any(|name| name.ends_with("run.json")));
    let cancel = AtomicBool::new(false);
    let mut listener = Interferes { at: "", cancel: &cancel, heard: Vec::new() };
    run_job(&shop, "blocks\npack\nvalidate", &cancel, &mut listener).unwrap();
    let expected = ["run of 3", "found blocks", "found pack", "begin validate", "end validate", "published"];
    assert_eq!(listener.heard, expected);
}

#[test]
fn a_stop_after_the_last_stage_is_still_a_stop() {
    let shop = Workshop::new();
    let cancel = AtomicBool::new(false);
    let mut listener = Interferes { at: "validate", cancel: &cancel, heard: Vec::new() };
    assert!(matches!(run_job(&shop, "blocks\npack\nvalidate", &cancel, &mut listener), Err(Failure::Cancelled)));
}

#[test]
fn events_come_in_order() {
    let shop = Workshop::new();
    let cancel = AtomicBool::new(false);
    let mut listener = Interferes { at: "", cancel: &cancel, heard: Vec::new() };
    run_job(&shop, "blocks\npack", &cancel, &mut listener).unwrap();
    assert_eq!(listener.heard, ["run of 2", "begin blocks", "end blocks", "begin pack", "end pack", "published"]);
}

/// A page that cannot be written, because a stage took its name, changes no result.
#[test]
fn a_failing_page_changes_no_result() {
    let shop = Workshop::new();
    let cancel = AtomicBool::new(false);
    let mut listener = Interferes { at: "", cancel: &cancel, heard: Vec::new() };
    let published = run_job(&shop, "blocks\nmishap: { kind: squat }", &cancel, &mut listener).unwrap();
    assert_eq!(published.summary, None);
    assert!(listener.heard.contains(&"no page".to_owned()));
    // What the stage wrote under that name stays.
    assert_eq!(fs::read(published.folder.join("summary.html")).unwrap(), b"half");
    assert!(published.folder.join("run.json").is_file());
}
