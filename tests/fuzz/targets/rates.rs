//! Any bytes as a rate file, past the guard that every YAML file passes first: taken, or refused with a message.

#![no_main]

use std::collections::BTreeMap;
use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::LazyLock;
use std::sync::atomic::AtomicBool;

use libfuzzer_sys::fuzz_target;
use turnhue::job::Text;
use turnhue_stages::process::Process;
use turnhue_stages::stage::{ReadyStage, Shelf, Shop};

const PROCESS: &[u8] = include_bytes!("../../../jobs/processes/powder-full-colour.yaml");

static FIXED: LazyLock<(Process, Box<dyn ReadyStage>)> = LazyLock::new(|| {
    let process = Text::parse("process.yaml", PROCESS.to_vec()).expect("the demo's is in order");
    let process = serde_json::from_value(process.value().clone()).expect("the demo's is in order");
    let stages = turnhue_stages::shipped();
    let estimate = stages.iter().find(|stage| stage.name() == "estimate").expect("it ships");
    let ready = estimate.read(serde_json::json!({ "rates": "rates.yaml", "copies": [1, 5] })).expect("settings in order");
    (process, ready)
});

/// Nothing is made while settings are checked.
struct NoShelf;

impl Shelf for NoShelf {
    fn create(&mut self, _: &str) -> io::Result<Box<dyn io::Write + '_>> {
        Err(io::Error::from(io::ErrorKind::Unsupported))
    }

    fn path(&self, name: &str) -> PathBuf {
        PathBuf::from(name)
    }
}

fuzz_target!(|bytes: &[u8]| {
    if Text::parse("rates.yaml", bytes.to_vec()).is_err() {
        return;
    }
    let (process, stage) = &*FIXED;
    let files = BTreeMap::from([("rates.yaml".to_owned(), Arc::from(bytes))]);
    let (never, mut shelf) = (AtomicBool::new(false), NoShelf);
    if let Err(misfit) = stage.check(&Shop::new(process, &files, &[], &never, &mut shelf)) {
        assert!(!misfit.message.is_empty());
    }
});
