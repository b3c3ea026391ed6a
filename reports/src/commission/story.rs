//! Entries as tales: one for what happened by itself, one for all variants of a night.

use std::collections::{BTreeMap, BTreeSet};

use super::{Choice, Deed, Delivery, Entry, Failed, Night, Note, Order, Run};
use crate::record::Verdict;

/// So many of the last tales stand open, with pictures; older ones are folded.
pub const MOST_OPEN: usize = 24;

/// Something that happened.
pub(crate) struct Tale<'a> {
    /// The number of its first entry, and its last one, by which it has its place.
    pub(crate) first: u64,
    pub(crate) last: u64,
    /// When it began, and when it was over.
    pub(crate) began: &'a str,
    pub(crate) over: &'a str,
    pub(crate) what: What<'a>,
}

/// What happened.
pub(crate) enum What<'a> {
    Run(&'a Run),
    Failed(&'a Failed),
    /// Runs whose pages, or whose packages, were drawn anew one after the other.
    Redrawn {
        runs: Vec<&'a str>,
        is_package: bool,
    },
    Variants(Variants<'a>),
    Choice(&'a Choice),
    Order(&'a Order),
    Delivery(&'a Delivery),
    Note(&'a Note),
}

/// The variants of a job, as far as they were made or tried without something else of that job between.
#[derive(Default)]
pub(crate) struct Variants<'a> {
    /// The file name of the job; that of its night, where no run tells it.
    pub(crate) job: &'a str,
    pub(crate) runs: Vec<&'a Run>,
    pub(crate) failed: Vec<&'a Failed>,
    /// The page, where it was drawn.
    pub(crate) night: Option<&'a Night>,
}

impl<'a> Variants<'a> {
    /// A variant was made: what kept it from that before is over.
    fn made(&mut self, run: &'a Run) {
        self.failed.retain(|failed| failed.run.as_ref() != Some(&run.run));
        self.runs.push(run);
    }

    /// A variant could not be made. Of several tries the last one counts.
    fn tried(&mut self, failed: &'a Failed) {
        self.failed.retain(|before| before.run.is_none() || before.run != failed.run);
        self.failed.push(failed);
    }

    pub(crate) fn count(&self, verdict: Verdict) -> usize {
        self.runs.iter().filter(|run| run.verdict == verdict).count()
    }

    /// Why variants failed, each reason with how many it kept, the most frequent first.
    pub(crate) fn reasons(&self) -> Vec<(&'a str, usize)> {
        let mut counts: BTreeMap<&'a str, usize> = BTreeMap::new();
        for failed in &self.failed {
            *counts.entry(&failed.why).or_default() += 1;
        }
        let mut reasons: Vec<_> = counts.into_iter().collect();
        reasons.sort_by_key(|&(_, count)| std::cmp::Reverse(count));
        reasons
    }

    /// How many stages ran, and how many were taken from the store.
    pub(crate) fn stages(&self) -> [usize; 2] {
        let stored = |stored| self.runs.iter().flat_map(|run| &run.stages).filter(|s| s.is_stored == stored).count();
        [stored(false), stored(true)]
    }

    /// The time that its runs took, in seconds; some at the same time, maybe.
    pub(crate) fn seconds(&self) -> f64 {
        self.runs.iter().filter_map(|run| run.seconds).sum()
    }
}

/// The tales of these entries, in the order in which they were over.
pub(crate) fn tales(entries: &[Entry]) -> Vec<Tale<'_>> {
    let mut teller = Teller::default();
    entries.iter().for_each(|entry| teller.take(entry));
    teller.tales.sort_by_key(|tale| tale.last);
    teller.tales
}

#[derive(Default)]
struct Teller<'a> {
    tales: Vec<Tale<'a>>,
    /// The tales of variants whose page was not drawn yet, by the file name of their job.
    open: BTreeMap<&'a str, usize>,
}

impl<'a> Teller<'a> {
    fn take(&mut self, entry: &'a Entry) {
        match &entry.deed {
            Deed::Run(run) if run.variant.is_some() => self.variant(entry, &run.job, |tale| tale.made(run)),
            Deed::Failed(failed) if failed.variant.is_some() => {
                self.variant(entry, &failed.job, |tale| tale.tried(failed));
            }
            Deed::Night(night) => self.night(entry, night),
            Deed::Redrawn(redrawn) => self.redrawn(entry, &redrawn.run, redrawn.is_package),
            Deed::Run(run) => self.tell(entry, What::Run(run)),
            Deed::Failed(failed) => self.tell(entry, What::Failed(failed)),
            Deed::Choice(choice) => self.tell(entry, What::Choice(choice)),
            Deed::Order(order) => self.tell(entry, What::Order(order)),
            Deed::Delivery(delivery) => self.tell(entry, What::Delivery(delivery)),
            Deed::Note(note) => self.tell(entry, What::Note(note)),
        }
    }

    fn tell(&mut self, entry: &'a Entry, what: What<'a>) {
        let (seq, time) = (entry.seq, entry.time.as_str());
        self.tales.push(Tale { first: seq, last: seq, began: time, over: time, what });
    }

    fn go_on(&mut self, at: usize, entry: &'a Entry) {
        let tale = &mut self.tales[at];
        (tale.last, tale.over) = (entry.seq, &entry.time);
    }

    /// Adds to the tale of the job's variants that is under way, or begins one.
    fn variant(&mut self, entry: &'a Entry, job: &'a str, add: impl FnOnce(&mut Variants<'a>)) {
        let at = match self.open.get(job) {
            Some(&at) => at,
            None => {
                self.tell(entry, What::Variants(Variants { job, ..Variants::default() }));
                self.open.insert(job, self.tales.len() - 1);
                self.tales.len() - 1
            }
        };
        self.go_on(at, entry);
        if let What::Variants(variants) = &mut self.tales[at].what {
            add(variants);
        }
    }

    /// The page of a night ends the tale of its variants. One that was drawn anew is a tale of its own.
    fn night(&mut self, entry: &'a Entry, night: &'a Night) {
        let runs: BTreeSet<&str> = night.runs.iter().map(String::as_str).collect();
        let belongs = |at: usize| match &self.tales[at].what {
            What::Variants(variants) => {
                let is_on_page = |run: Option<&str>| run.is_some_and(|run| runs.contains(run));
                let stem = variants.job.rsplit_once('.').map_or(variants.job, |(stem, _)| stem);
                stem == night.night || variants.runs.iter().any(|run| is_on_page(Some(&run.run)))
            }
            _ => false,
        };
        let found = self.open.iter().find(|&(_, &at)| belongs(at)).map(|(&job, &at)| (job, at));
        match found {
            Some((job, at)) => {
                self.open.remove(job);
                self.go_on(at, entry);
                if let What::Variants(variants) = &mut self.tales[at].what {
                    variants.night = Some(night);
                }
            }
            None => self
                .tell(entry, What::Variants(Variants { job: &night.night, night: Some(night), ..Variants::default() })),
        }
    }

    /// Pages of many runs that are drawn anew one after the other are one tale.
    fn redrawn(&mut self, entry: &'a Entry, run: &'a str, package: bool) {
        if let Some(Tale { last, over, what: What::Redrawn { runs, is_package }, .. }) = self.tales.last_mut()
            && *is_package == package
            && *last + 1 == entry.seq
        {
            if !runs.contains(&run) {
                runs.push(run);
            }
            (*last, *over) = (entry.seq, &entry.time);
            return;
        }
        self.tell(entry, What::Redrawn { runs: vec![run], is_package: package });
    }
}
