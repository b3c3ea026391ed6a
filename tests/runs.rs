//! Runs through the library: with a clock that stands still, and a listener that interferes.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "own-stages/stages.rs"]
mod stages;
#[path = "own-stages/workshop.rs"]
mod workshop;

use std::fs;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use turnhue::clock::{Clock, Moment};
use turnhue::events::{Event, Listener, Silence};
use turnhue::plan::plan;
use turnhue::run::{Failure, Published, Surroundings, run};
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
    run(&plan, &Surroundings { into: &shop.path("runs"), clock: &Stopped, cancel }, listener)
}

fn run_quietly(shop: &Workshop, stages: &str) -> Published {
    run_job(shop, stages, &AtomicBool::new(false), &mut Silence).unwrap()
}

#[test]
fn a_run_is_named_after_the_moment_and_what_went_in() {
    let shop = Workshop::new();
    let first = run_quietly(&shop, "blocks\npack").record;
    assert_eq!(first.started, "2027-03-01T09:30:00Z");
    let digest = first.run.strip_prefix("20270301-093000-").unwrap().to_owned();
    assert_eq!(digest.len(), 8);
    // The same again, within the second.
    assert_eq!(run_quietly(&shop, "blocks\npack").record.run, format!("{}-2", first.run));
    assert_eq!(run_quietly(&shop, "blocks\npack").record.run, format!("{}-3", first.run));
    // Another setting, another model: another digest.
    assert!(!run_quietly(&shop, "blocks: { size: 2 mm }\npack").record.run.contains(&digest));
    shop.put("model.stl", workshop::tetrahedron(11.0));
    assert!(!run_quietly(&shop, "blocks\npack").record.run.contains(&digest));
}

#[test]
fn the_same_job_gives_the_same_bytes() {
    let shop = Workshop::new();
    let [first, second] = [(); 2].map(|()| run_quietly(&shop, "blocks\npack\nvalidate"));
    for file in ["piece.txt", "run.json"] {
        let [a, b] = [&first, &second].map(|run| fs::read_to_string(run.folder.join(file)).unwrap());
        // The clock stands still, so that the records differ in the run's name alone.
        assert_eq!(a, b.replace(&second.record.run, &first.record.run), "{file}");
    }
}

#[test]
fn a_published_record_reads_back() {
    let shop = Workshop::new();
    let published = run_quietly(&shop, "blocks\npack\nvalidate");
    let read = turnhue_reports::record::read(&published.folder.join("run.json")).unwrap();
    assert_eq!(read, published.record);
    assert_eq!(published.order().unwrap(), published.folder.join("piece.txt"));
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
            Event::AdviceBegan { sizes } => format!("compare {sizes}"),
            Event::SizeTried { cell } => format!("tried {cell}"),
            Event::StageBegan { name, .. } => {
                self.cancel.fetch_or(*name == self.at, Ordering::Relaxed);
                format!("begin {name}")
            }
            Event::StageEnded { record, .. } => format!("end {}", record.name),
            Event::PageFailed { .. } => "no page".to_owned(),
            Event::Published { .. } => "published".to_owned(),
        });
    }
}

#[test]
fn a_run_that_is_stopped_leaves_nothing() {
    let shop = Workshop::new();
    shop.job("blocks\npack\nvalidate");
    let before = shop.content();
    let cancel = AtomicBool::new(false);
    let mut listener = Interferes { at: "pack", cancel: &cancel, heard: Vec::new() };
    let ended = run_job(&shop, "blocks\npack\nvalidate", &cancel, &mut listener);
    assert!(matches!(ended, Err(Failure::Cancelled)));
    assert_eq!(listener.heard, ["run of 3", "begin blocks", "end blocks", "begin pack", "end pack"]);
    assert_eq!(shop.content(), before);
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
