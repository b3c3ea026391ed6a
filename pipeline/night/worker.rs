//! What workers do: they look results up, run stages, and hand on pieces.
//!
//! A piece is held while something may still go on from it, and is else put together from the store when it is needed. What is
//! damaged there counts as absent and is made again, at whatever depth it shows.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use turnhue_reports::record::File;
use turnhue_stages::findings::Fact;
use turnhue_stages::memo::Memo;
use turnhue_stages::stage::Wanted;
use turnhue_stages::workpiece::Workpiece;

use super::graph::{Chain, Graph};
use crate::clock::Clock;
use crate::plan::Plan;
use crate::run::{Failure, disk_failure, run_stage};
use crate::shelf::RunFolder;
use crate::store::{Done, Entry, NotPlaced, Store};

/// Where a result came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// The stage was run.
    Made,
    /// The store had it.
    Store,
}

/// What is known of a run of a stage.
#[derive(Default)]
struct Slot {
    entry: Option<(Arc<Entry>, Source)>,
    piece: Option<Workpiece>,
}

/// Everything that workers share.
pub(super) struct Works<'a> {
    pub(super) plans: &'a [Plan],
    /// The chain of each variant; `None` where there is nothing to run.
    pub(super) chains: &'a [Option<Chain>],
    pub(super) graph: &'a Graph,
    store: &'a Store,
    memo: &'a Memo,
    clock: &'a dyn Clock,
    cancel: &'a AtomicBool,
    slots: Vec<Mutex<Slot>>,
    /// For each run of a stage, those after it that are not yet settled.
    waiting: Vec<AtomicUsize>,
    /// The last run of a stage of each variant.
    last: Vec<Option<usize>>,
}

impl<'a> Works<'a> {
    pub(super) fn new(
        plans: &'a [Plan],
        chains: &'a [Option<Chain>],
        graph: &'a Graph,
        (store, memo): (&'a Store, &'a Memo),
        (clock, cancel): (&'a dyn Clock, &'a AtomicBool),
    ) -> Self {
        let slots = graph.nodes.iter().map(|_| Mutex::default()).collect();
        let waiting = graph.nodes.iter().map(|node| AtomicUsize::new(node.after.len())).collect();
        let mut last = vec![None; plans.len()];
        for (at, node) in graph.nodes.iter().enumerate() {
            node.ends.iter().for_each(|&variant| last[variant] = Some(at));
        }
        Self { plans, chains, graph, store, memo, clock, cancel, slots, waiting, last }
    }

    /// Looks for a result in the store; says whether it is there.
    pub(super) fn find(&self, node: usize) -> bool {
        let found = self.store.find(&self.graph.nodes[node].key).map(Arc::new);
        let there = found.is_some();
        if let Some(entry) = found {
            self.slot(node).entry = Some((entry, Source::Store));
        }
        there
    }

    /// Runs a stage and keeps its result.
    pub(super) fn make(&self, node: usize) -> Result<(), Failure> {
        let piece = self.make_piece(node)?;
        if self.waiting[node].load(Ordering::Acquire) > 0 {
            self.slot(node).piece = Some(piece);
        }
        Ok(())
    }

    /// A run of a stage is settled: one thing less is waited for by what it went on from.
    pub(super) fn settled(&self, node: usize) {
        let Some(before) = self.graph.nodes[node].before else { return };
        if self.waiting[before].fetch_sub(1, Ordering::AcqRel) == 1 {
            self.slot(before).piece = None;
        }
    }

    /// The runs of a variant's stages, the first stage's first.
    pub(super) fn nodes_of(&self, variant: usize) -> Vec<usize> {
        self.last[variant].map_or_else(Vec::new, |last| self.nodes_to(last))
    }

    /// A run of a stage with those before it, the first of the chain first.
    fn nodes_to(&self, node: usize) -> Vec<usize> {
        let mut nodes: Vec<_> = std::iter::successors(Some(node), |&node| self.graph.nodes[node].before).collect();
        nodes.reverse();
        nodes
    }

    /// The results of runs of stages that are settled.
    pub(super) fn results(&self, nodes: &[usize]) -> Vec<Arc<Entry>> {
        nodes.iter().filter_map(|&node| self.entry(node)).collect()
    }

    fn entry(&self, node: usize) -> Option<Arc<Entry>> {
        self.slot(node).entry.as_ref().map(|(entry, _)| Arc::clone(entry))
    }

    /// How the result of a run of a stage was come by, for the ledger: of the variants that share what was made here, the first
    /// that asks made it, and the others had it from the store.
    pub(super) fn claim(&self, node: usize) -> Source {
        let mut slot = self.slot(node);
        let source = slot.entry.as_mut().map(|(_, source)| source);
        source.map_or(Source::Store, |source| std::mem::replace(source, Source::Store))
    }

    /// How long a run of a stage took, whenever that was, in seconds.
    pub(super) fn seconds(&self, node: usize) -> Option<f64> {
        self.entry(node).map(|entry| entry.seconds)
    }

    /// Puts a file of a result into a run folder; where the store has lost it, the stage is run again.
    pub(super) fn place(&self, node: usize, file: &File, folder: &mut RunFolder) -> Result<(), Failure> {
        if !self.place_kept(file, folder)? {
            self.make_piece(node)?;
            if !self.place_kept(file, folder)? {
                return Err(Failure::defect(&format!("{} was made again and is not there", file.name)));
            }
        }
        Ok(())
    }

    /// Puts a file that is kept into a run folder; says whether it is kept.
    pub(super) fn place_kept(&self, file: &File, folder: &mut RunFolder) -> Result<bool, Failure> {
        let digest = file.blake3.parse().map_err(|_| Failure::defect("a file has no digest"))?;
        match self.store.place(digest, &folder.staged().join(&file.name)) {
            Ok(_) => {
                folder.take(file);
                Ok(true)
            }
            Err(NotPlaced::Absent) => Ok(false),
            Err(NotPlaced::Target(error)) => {
                Err(disk_failure(&format!("could not put {} into the run folder", file.name), &error))
            }
        }
    }

    fn slot(&self, node: usize) -> MutexGuard<'_, Slot> {
        // Whoever panicked here has left a slot as it was before or after.
        self.slots[node].lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn make_piece(&self, node: usize) -> Result<Workpiece, Failure> {
        let about = &self.graph.nodes[node];
        let plan = &self.plans[about.variant];
        let Some(step) = self.chains[about.variant].as_ref().map(|chain| &chain.steps[about.step]) else {
            return Err(Failure::defect("a stage without a chain was to be run"));
        };
        let before = about.before.map_or_else(|| Ok(begin(plan)), |before| self.piece(before))?;
        let earlier = about.before.map_or_else(Vec::new, |before| self.results(&self.nodes_to(before)));
        let known: Vec<Fact> = earlier.iter().flat_map(|entry| entry.facts.iter().cloned()).collect();
        let doing = format!("could not keep in the store what `{}` made", step.stage.name());
        let files = earlier.iter().flat_map(|entry| &entry.artefacts);
        let mut draft = self.store.draft(files).map_err(|error| disk_failure(&doing, &error))?;

        let begun = self.clock.elapsed();
        let wanted = (Wanted::Piece, Some(self.memo));
        let (after, mut outcome) = run_stage(plan, step, before.clone(), &known, self.cancel, &mut draft, wanted)?;
        let seconds = (self.clock.elapsed() - begun).as_secs_f64();
        tracing::debug!(stage = step.stage.name(), seconds, facts = outcome.facts.len(), "stage ended");
        if about.step == 0 {
            // What reading the model left out is known before any stage; the first one's findings carry it.
            outcome.findings.splice(0..0, plan.job.model.findings());
        }
        let (key, stage, version) = (about.key, step.stage.name().to_owned(), step.stage.version());
        let done = Done { key, stage, version, seconds, outcome, before, after };
        let entry = self.store.publish(draft, &done).map_err(|error| disk_failure(&doing, &error))?;
        let piece = self.store.settled(done.after, &entry);
        self.slot(node).entry = Some((Arc::new(entry), Source::Made));
        Ok(piece)
    }

    /// The piece after a run of a stage: as it is held, else from the store, made again where it is not there any more.
    fn piece(&self, node: usize) -> Result<Workpiece, Failure> {
        if let Some(piece) = &self.slot(node).piece {
            return Ok(piece.clone());
        }
        let nodes = self.nodes_to(node);
        let start = begin(&self.plans[self.graph.nodes[node].variant]);
        let chain = self.results(&nodes);
        let piece = match self.store.piece(start, chain.iter().map(|entry| &**entry)) {
            Some(piece) => piece,
            None => self.piece_again(&nodes)?,
        };
        if self.waiting[node].load(Ordering::Acquire) > 0 {
            self.slot(node).piece = Some(piece.clone());
        }
        Ok(piece)
    }

    /// Goes along a chain whose results are not all there any more, and runs what is missing.
    fn piece_again(&self, nodes: &[usize]) -> Result<Workpiece, Failure> {
        let mut piece = None;
        for &node in nodes {
            piece = if self.find(node) { None } else { Some(self.make_piece(node)?) };
        }
        let Some(&last) = nodes.last() else { return Err(Failure::defect("a piece of no chain was asked for")) };
        match piece {
            Some(piece) => Ok(piece),
            // What was missing is there again.
            None => {
                let start = begin(&self.plans[self.graph.nodes[last].variant]);
                let chain = self.results(nodes);
                let piece = self.store.piece(start, chain.iter().map(|entry| &**entry));
                piece.map_or_else(|| self.make_piece(last), Ok)
            }
        }
    }
}

/// What a chain begins with.
fn begin(plan: &Plan) -> Workpiece {
    Workpiece::default().with_surface(Arc::clone(&plan.job.model.surface))
}
