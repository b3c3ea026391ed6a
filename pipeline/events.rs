//! What happens during a run, as it happens. The runner says it; the terminal and the record listen.

use std::path::Path;

use turnhue_reports::record::StageRecord;
use turnhue_stages::units::Memory;

/// Something that happened.
#[derive(Debug)]
pub enum Event<'a> {
    /// A run has its folder and begins.
    RunBegan {
        /// The commission.
        commission: &'a str,
        /// The name of the run.
        run: &'a str,
        /// Number of stages in its chain.
        stages: usize,
        /// The most memory that it will hold, as far as that can be known.
        memory: Option<Memory>,
    },
    /// Sizes of the cell are going to be compared.
    AdviceBegan {
        /// How many.
        sizes: usize,
    },
    /// A size was tried; they come in any order.
    SizeTried {
        /// The cell, mm.
        cell: f64,
    },
    /// A stage begins.
    StageBegan {
        /// Its place in the chain, counted from 0.
        index: usize,
        /// Its name.
        name: &'a str,
        /// What it is for.
        purpose: &'a str,
    },
    /// A stage has ended well.
    StageEnded {
        /// Its place in the chain, counted from 0.
        index: usize,
        /// What it did.
        record: &'a StageRecord,
    },
    /// A page could not be drawn. The result stands.
    PageFailed {
        /// Why.
        reason: &'a str,
    },
    /// The run folder is in its place, whole.
    Published {
        /// Where it is.
        folder: &'a Path,
    },
}

/// Hears what happens.
pub trait Listener {
    /// Takes note of an event. Must not fail: what hears cannot change a result.
    fn hear(&mut self, event: &Event<'_>);
}

/// Hears nothing.
#[derive(Clone, Copy, Debug, Default)]
pub struct Silence;

impl Listener for Silence {
    fn hear(&mut self, _: &Event<'_>) {}
}

/// Keeps what each stage did, for the record.
#[derive(Debug, Default)]
pub(crate) struct Recorder {
    pub(crate) stages: Vec<StageRecord>,
}

impl Listener for Recorder {
    fn hear(&mut self, event: &Event<'_>) {
        if let Event::StageEnded { record, .. } = event {
            self.stages.push((*record).clone());
        }
    }
}

/// Everything that happens, to several listeners in turn.
pub(crate) struct Both<'a>(pub(crate) &'a mut dyn Listener, pub(crate) &'a mut dyn Listener);

impl Listener for Both<'_> {
    fn hear(&mut self, event: &Event<'_>) {
        self.0.hear(event);
        self.1.hear(event);
    }
}
