//! Runs many variants: what they share once, the rest beside each other, and each on its own.
//!
//! ```text
//! plans → names          which run folders are there already            names
//!       → chains         sizes compared where a job asks for it; keys   keys
//!       → graph          runs of stages, each once                      graph
//!       → board          what is ready, within the memory               board
//!       → workers        look up in the store, else run                 worker
//!       → run folders    artefacts by link, record, pages               folder
//!       → ledger         an entry for each
//! ```
//!
//! What a stage gave is in the store before anything goes on from it, so a night that is stopped, at whatever moment and by
//! whatever means, goes on from there. One variant that fails stops no other; a disk without room stops all, for any other
//! would fail likewise.

mod board;
mod chains;
mod folder;
mod graph;
mod keys;
mod names;
mod page;
mod records;
mod remaining;
mod worker;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::Ordering;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;

use rayon::prelude::*;
use turnhue_stages::memo::Memo;
use turnhue_stages::units::Memory;

use self::board::{Board, Next, Task};
pub(crate) use self::chains::ADVICE;
use self::folder::Finished;
use self::graph::{Chain, Graph};
pub use self::keys::expected;
pub use self::page::{NightPage, draw as draw_page};
use self::records::Records;
pub use self::records::enter_redrawn;
use self::remaining::Remaining;
pub use self::worker::Source;
use self::worker::Works;
use crate::events::{Event, Listener};
use crate::plan::Plan;
use crate::run::{Failure, Published, Surroundings};
use crate::shelf;

/// How a variant ended.
#[derive(Clone, Debug)]
pub enum Ended {
    /// Its run folder is there.
    Published(Box<Published>),
    /// It has none.
    Failed(Failure),
    /// The night was stopped before its turn came, or before it was done.
    NotRun,
}

impl Ended {
    /// In a few words.
    #[must_use]
    pub fn in_short(&self) -> String {
        match self {
            Self::Published(published) => {
                let price = published.price.as_ref().map_or_else(String::new, |price| format!(", {price}"));
                let there = if published.was_there { " (was there)" } else { "" };
                format!("{}{price}{there}", published.in_short())
            }
            Self::Failed(failure) => format!("failed: {}", failure.in_words().message()),
            Self::NotRun => "not run".to_owned(),
        }
    }
}

/// So much of the memory is for what variants share while they run.
const SHARED_PART: u64 = 4;

/// Runs plans: all that they share once. Gives how each ended, in their order.
///
/// # Errors
/// What keeps any of them from being run: a folder that cannot be written, a ledger that is damaged.
pub fn run(
    plans: &[Plan],
    surroundings: &Surroundings<'_>,
    listener: &mut dyn Listener,
) -> Result<Vec<Ended>, Failure> {
    // A part of a night may be empty.
    let Some(commission) = plans.first().map(|plan| plan.job.commission.as_str()) else { return Ok(Vec::new()) };
    shelf::sweep(surroundings.into, commission);
    let mut ended = Vec::new();
    let names: Vec<String> = plans.par_iter().map(names::of_run).collect();
    let records = Records::open(plans, surroundings)?;
    let there = plans.par_iter().zip(&names).map(|(plan, name)| match folder::there(plan, name, surroundings) {
        Ok(there) => there.map(|published| Ended::Published(Box::new(published))),
        Err(failure) => Some(Ended::Failed(failure)),
    });
    there.collect_into_vec(&mut ended);
    records.catch_up(plans, &ended)?;
    announce(plans, &names, &ended, listener);

    let mut chains: Vec<Option<Chain>> = Vec::with_capacity(plans.len());
    // Where there is no room for one there is none for the others.
    let mut full = false;
    for (at, plan) in plans.iter().enumerate() {
        let needed = ended[at].is_none() && !full && !surroundings.cancel.load(Ordering::Relaxed);
        chains.push(match needed.then(|| chains::settle(plan, surroundings, listener)) {
            Some(Ok(chain)) => Some(chain),
            Some(Err(Failure::Cancelled)) | None => None,
            Some(Err(failure)) => {
                full = matches!(failure, Failure::Full(_));
                records.failed(plan, &names[at], &failure);
                ended[at] = Some(Ended::Failed(failure));
                None
            }
        });
    }
    if full {
        chains.iter_mut().for_each(|chain| *chain = None);
    }
    if plans.len() > 1 {
        tell_of_failed(plans, &names, &ended, listener);
    }
    let graph = Graph::of(chains.iter().map(|chain| chain.as_ref().map(|chain| chain.keys.as_slice())));
    let memory = surroundings.memory.bytes();
    let memo = Memo::new(usize::try_from(memory / SHARED_PART).unwrap_or(usize::MAX));
    let night = Night {
        works: Works::new(
            plans,
            &chains,
            &graph,
            (surroundings.store, &memo),
            (surroundings.clock, surroundings.cancel),
        ),
        surroundings,
        names: &names,
        records: &records,
        many: plans.len() > 1,
    };
    night.work(&mut ended, Memory::from_bytes(memory - memory / SHARED_PART), listener);
    records.flush()?;
    shelf::sweep(surroundings.into, commission);
    Ok(ended.into_iter().map(|ended| ended.unwrap_or(Ended::NotRun)).collect())
}

/// Tells of the variants that failed before any stage was run.
fn tell_of_failed(plans: &[Plan], names: &[String], ended: &[Option<Ended>], listener: &mut dyn Listener) {
    let all = ended.len();
    let failed = |ended: &&Ended| matches!(ended, Ended::Failed(_));
    let mut done = ended.iter().flatten().filter(|ended| !failed(ended)).count();
    for ((plan, name), ended) in plans.iter().zip(names).zip(ended) {
        let Some(ended) = ended.as_ref().filter(failed) else { continue };
        done += 1;
        listener.hear(&Event::VariantEnded { name: readable(plan, name), ended, done: [done, all], left: None });
    }
}

/// What people call a variant.
fn readable<'a>(plan: &'a Plan, run: &'a str) -> &'a str {
    plan.variant().map_or(run, crate::job::Variant::name)
}

/// Says what is going to be run.
fn announce(plans: &[Plan], names: &[String], ended: &[Option<Ended>], listener: &mut dyn Listener) {
    let memory = plans.iter().filter_map(Plan::memory).map(|(memory, _)| memory).max();
    let there = ended.iter().flatten().count();
    match (plans, names) {
        ([], _) | (_, []) => {}
        ([plan], [run, ..]) => listener.hear(&Event::RunBegan {
            commission: plan.job.commission.as_str(),
            run,
            stages: plan.job.steps.len(),
            memory,
        }),
        ([plan, ..], _) => listener.hear(&Event::NightBegan {
            commission: plan.job.commission.as_str(),
            variants: [plans.len(), there],
            memory,
        }),
    }
}

/// A night under way.
struct Night<'a> {
    works: Works<'a>,
    surroundings: &'a Surroundings<'a>,
    names: &'a [String],
    records: &'a Records<'a>,
    many: bool,
}

/// What workers change in turn.
struct Shared<'a> {
    board: Board<'a>,
    remaining: Remaining,
    ended: &'a mut [Option<Ended>],
    listener: &'a mut dyn Listener,
    workers: usize,
}

/// The kind of work that putting a run folder together is, among the stages.
const FINISHING: &str = "run folder";

impl Night<'_> {
    fn work(&self, ended: &mut [Option<Ended>], budget: Memory, listener: &mut dyn Listener) {
        /// As much as a main thread usually has.
        const STACK: usize = 8 << 20;
        let graph = self.works.graph;
        let workers = rayon::current_num_threads().min(graph.nodes.len().max(1));
        let peaks = graph
            .nodes
            .iter()
            .map(|node| self.chain(node.variant).map_or(Memory::from_bytes(0), |c| c.peaks[node.step]));
        let board = Board::new(graph, peaks.collect(), budget);
        let remaining = self.expected();
        let shared = Mutex::new(Shared { board, remaining, ended, listener, workers });
        let changed = Condvar::new();
        thread::scope(|scope| {
            let work = || self.worker(&shared, &changed);
            let start = |_: &usize| match thread::Builder::new().stack_size(STACK).spawn_scoped(scope, work) {
                Ok(_) => true,
                Err(error) => {
                    tracing::warn!("could not start a thread: {error}");
                    false
                }
            };
            if (0..workers).filter(start).count() == 0 {
                work();
            }
        });
    }

    fn chain(&self, variant: usize) -> Option<&Chain> {
        self.works.chains[variant].as_ref()
    }

    /// What a run of a stage is, and how much work.
    fn weight(&self, node: usize) -> (&'static str, f64) {
        let about = &self.works.graph.nodes[node];
        self.chain(about.variant)
            .map_or((FINISHING, 1.0), |chain| (chain.steps[about.step].stage.name(), chain.weights[about.step]))
    }

    fn expected(&self) -> Remaining {
        let mut remaining = Remaining::default();
        for (at, node) in self.works.graph.nodes.iter().enumerate() {
            let (name, weight) = self.weight(at);
            remaining.expect(name, weight);
            node.ends.iter().for_each(|_| remaining.expect(FINISHING, 1.0));
        }
        remaining
    }

    /// Takes one piece of work after the other, until there is no more.
    fn worker(&self, shared: &Mutex<Shared<'_>>, changed: &Condvar) {
        loop {
            let task = {
                let mut state = lock(shared);
                loop {
                    if self.surroundings.cancel.load(Ordering::Relaxed) {
                        state.board.stop();
                    }
                    match state.board.next() {
                        Next::Do(task) => break Some(task),
                        Next::End => break None,
                        Next::Wait => state = changed.wait(state).unwrap_or_else(PoisonError::into_inner),
                    }
                }
            };
            let Some(task) = task else { break };
            // What has a defect must leave nobody waiting for it.
            if catch_unwind(AssertUnwindSafe(|| self.attempt(task, shared))).is_err() {
                let defect = Failure::defect("a worker of the night panicked; the lines above say where");
                match task {
                    Task::Finish(variant) => {
                        self.records.failed(&self.works.plans[variant], &self.names[variant], &defect);
                        self.finished(variant, shared, Err(defect), 0.0);
                    }
                    Task::Find(_) | Task::Make(_) => self.failed(shared, task, &defect),
                }
            }
            changed.notify_all();
        }
        // Whoever still waits has nothing to wait for either.
        changed.notify_all();
    }

    fn attempt(&self, task: Task, shared: &Mutex<Shared<'_>>) {
        let begun = self.surroundings.clock.elapsed();
        let seconds = || (self.surroundings.clock.elapsed() - begun).as_secs_f64();
        match task {
            Task::Find(node) if self.works.find(node) => {
                self.stage_ended(shared, task, node, (Source::Store, seconds()));
            }
            Task::Find(node) => lock(shared).board.absent(node),
            Task::Make(node) => {
                self.stage_began(shared, node);
                match self.works.make(node) {
                    Ok(()) => self.stage_ended(shared, task, node, (Source::Made, seconds())),
                    Err(failure) => self.failed(shared, task, &failure),
                }
            }
            Task::Finish(variant) => self.finish(variant, shared),
        }
        self.tell_of_damage(shared);
    }

    fn stage_began(&self, shared: &Mutex<Shared<'_>>, node: usize) {
        let about = &self.works.graph.nodes[node];
        if let Some(step) = self.chain(about.variant).map(|chain| &chain.steps[about.step]) {
            let event = Event::StageBegan { index: about.step, name: step.stage.name(), purpose: step.purpose };
            lock(shared).tell(&event);
        }
    }

    fn stage_ended(&self, shared: &Mutex<Shared<'_>>, task: Task, node: usize, (source, seconds): (Source, f64)) {
        self.works.settled(node);
        let (name, weight) = self.weight(node);
        let mut state = lock(shared);
        match source {
            Source::Made => state.remaining.took(name, weight, seconds),
            Source::Store => {
                state.remaining.spare(name, weight);
                // What it took when it was made says what others like it will take.
                if let Some(seconds) = self.works.seconds(node) {
                    state.remaining.learn(name, weight, seconds);
                }
            }
        }
        let index = self.works.graph.nodes[node].step;
        state.board.done(task);
        state.tell(&Event::StageEnded { index, name, source, seconds });
    }

    /// A stage failed, and with it every variant that goes on from it.
    fn failed(&self, shared: &Mutex<Shared<'_>>, task: Task, failure: &Failure) {
        let (Task::Find(node) | Task::Make(node)) = task else { return };
        let below = self.works.graph.below(node);
        let lost: Vec<usize> =
            below.iter().flat_map(|&node| self.works.graph.nodes[node].ends.iter().copied()).collect();
        // Of a full disk the others would only say the same: they count as not run.
        let lost = match failure {
            Failure::Cancelled => &[],
            Failure::Full(_) => &lost[..lost.len().min(1)],
            _ => lost.as_slice(),
        };
        lost.iter().for_each(|&variant| self.records.failed(&self.works.plans[variant], &self.names[variant], failure));
        self.works.settled(node);
        let mut state = lock(shared);
        for node in below {
            let (name, weight) = self.weight(node);
            state.remaining.spare(name, weight);
        }
        state.board.failed(task);
        if matches!(failure, Failure::Cancelled | Failure::Full(_)) {
            state.board.stop();
        }
        for &variant in lost {
            state.remaining.spare(FINISHING, 1.0);
            self.variant_ended(&mut state, variant, Ended::Failed(failure.clone()));
        }
    }

    fn finish(&self, variant: usize, shared: &Mutex<Shared<'_>>) {
        let begun = self.surroundings.clock.elapsed();
        let finished = folder::finish(&self.works, variant, &self.names[variant], self.surroundings);
        let seconds = (self.surroundings.clock.elapsed() - begun).as_secs_f64();
        let entered = match &finished {
            // A run that could not be entered is there all the same: it is entered the next time.
            Ok(finished) => self.records.made(&self.works, variant, finished),
            Err(Failure::Cancelled) => Ok(()),
            Err(failure) => {
                self.records.failed(&self.works.plans[variant], &self.names[variant], failure);
                Ok(())
            }
        };
        self.finished(variant, shared, finished.and_then(|finished| entered.map(|()| finished)), seconds);
    }

    fn finished(&self, variant: usize, shared: &Mutex<Shared<'_>>, finished: Result<Finished, Failure>, seconds: f64) {
        let mut state = lock(shared);
        state.remaining.took(FINISHING, 1.0, seconds);
        state.board.done(Task::Finish(variant));
        let ended = match finished {
            Ok(finished) => {
                if let Some(reason) = &finished.no_page {
                    state.tell(&Event::PageFailed { reason });
                }
                state.tell(&Event::Published { folder: &finished.published.folder });
                Ended::Published(Box::new(finished.published))
            }
            Err(Failure::Cancelled) => return state.board.stop(),
            Err(failure) => {
                if matches!(failure, Failure::Full(_)) {
                    state.board.stop();
                }
                Ended::Failed(failure)
            }
        };
        self.variant_ended(&mut state, variant, ended);
    }

    fn variant_ended(&self, state: &mut Shared<'_>, variant: usize, ended: Ended) {
        let ended = state.ended[variant].insert(ended).clone();
        if !self.many {
            return;
        }
        let done = [state.ended.iter().flatten().count(), state.ended.len()];
        let left = state.remaining.time(state.workers);
        let name = readable(&self.works.plans[variant], &self.names[variant]);
        state.tell(&Event::VariantEnded { name, ended: &ended, done, left });
    }

    fn tell_of_damage(&self, shared: &Mutex<Shared<'_>>) {
        for notice in self.surroundings.store.notices() {
            lock(shared).tell(&Event::SetAside { notice: &notice });
        }
    }
}

impl Shared<'_> {
    /// A listener that panics must not take the night with it, and what it was told of stands.
    fn tell(&mut self, event: &Event<'_>) {
        if catch_unwind(AssertUnwindSafe(|| self.listener.hear(event))).is_err() {
            tracing::warn!("what listens to the night panicked");
        }
    }
}

fn lock<'a, T>(mutex: &'a Mutex<T>) -> MutexGuard<'a, T> {
    // Whoever panicked here left nothing half done: a task that is lost is ended by its worker.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
