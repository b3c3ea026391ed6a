//! What happens during a run, as it happens. The runner says it; the terminal and the record listen.

use std::path::Path;
use std::time::Duration;

use turnhue_stages::units::Memory;

use crate::diagnostic::Diagnostic;
use crate::night::{Ended, Source};

/// Something that happened.
#[derive(Debug)]
pub enum Event<'a> {
    /// A job with several variants begins.
    NightBegan {
        /// The commission.
        commission: &'a str,
        /// How many variants there are, and how many of them are there already.
        variants: [usize; 2],
        /// The most memory that one of them will hold, as far as that can be known.
        memory: Option<Memory>,
    },
    /// A job without variants begins.
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
    /// A stage begins. Of several variants, several run at once.
    StageBegan {
        /// Its place in the chain, counted from 0.
        index: usize,
        /// Its name.
        name: &'a str,
        /// What it is for.
        purpose: &'a str,
    },
    /// A stage has ended well, or its result was there.
    StageEnded {
        /// Its place in the chain, counted from 0.
        index: usize,
        /// Its name.
        name: &'a str,
        /// Where its result came from.
        source: Source,
        /// How long that took, in seconds.
        seconds: f64,
    },
    /// Something in the store was damaged. It was set aside, and is made again where it is needed.
    SetAside {
        /// What, and where it is now.
        notice: &'a Diagnostic,
    },
    /// A page could not be drawn. The result stands.
    PageFailed {
        /// Why.
        reason: &'a str,
    },
    /// A run folder is in its place, whole.
    Published {
        /// Where it is.
        folder: &'a Path,
    },
    /// A variant has ended, well or not.
    VariantEnded {
        /// Its name.
        name: &'a str,
        /// How it ended.
        ended: &'a Ended,
        /// How many have ended, and how many there are.
        done: [usize; 2],
        /// The time that the others will take, as far as that can be known.
        left: Option<Duration>,
    },
}

/// Hears what happens.
pub trait Listener: Send {
    /// Takes note of an event. Must not fail: what hears cannot change a result.
    fn hear(&mut self, event: &Event<'_>);
}

/// Hears nothing.
#[derive(Clone, Copy, Debug, Default)]
pub struct Silence;

impl Listener for Silence {
    fn hear(&mut self, _: &Event<'_>) {}
}
