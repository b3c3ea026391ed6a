//! A night in words and as JSON: its variants, what they share, and what they take.

use serde_json::{Value, json};
use turnhue_stages::units::Memory;

use super::night::MadeFrom;
use super::{Common, Night, Plan, Seconds};
use crate::diagnostic::harmless;

/// So many variants are listed one by one.
const MOST_LISTED: usize = 20;

impl Night {
    /// The night in words: the job's own chain, and what its variants change, share and take. `seconds` tells how long
    /// stages took when they were run before.
    #[must_use]
    pub fn in_words(&self, seconds: Option<Seconds<'_>>) -> String {
        let own = self.job.in_words();
        let Some(made_from) = &self.made_from else { return own };
        let mut words =
            format!("{own}  variants {}, made in the place of the job itself\n", self.count_in_words(made_from));
        let common = Common::of(self, seconds);
        words += &format!("           {}\n           {}\n", shared(&common), time(&common));
        let memories = self.memories();
        let most = memories.iter().enumerate().filter_map(|(at, memory)| Some((memory.as_ref()?, at)));
        if let Some(((memory, stage), at)) = most.rev().max_by_key(|((memory, _), _)| *memory) {
            let name = self.plans[at].variant().map(|variant| variant.name()).unwrap_or_default();
            words += &format!("           memory: about {} at most, in {stage} of {name}\n", memory.rounded());
        }
        let names = || self.plans.iter().filter_map(Plan::variant).map(|variant| variant.name().len());
        let width = names().take(MOST_LISTED).max().unwrap_or(0);
        for (at, (plan, memory)) in self.plans.iter().zip(&memories).enumerate().take(MOST_LISTED) {
            let Some(variant) = plan.variant() else { continue };
            let memory = memory.map_or_else(String::new, |(memory, _)| memory.rounded().to_string());
            words += &format!("  {:>6}. {:width$}  {memory:>8}  {}\n", at + 1, variant.name(), variant.in_words());
        }
        if self.plans.len() > MOST_LISTED {
            words += &format!("           … and {} more; `--json` lists all\n", self.plans.len() - MOST_LISTED);
        }
        harmless(&words)
    }

    /// The variants with what they change, their resolved jobs and their memory, and what they share; for a job without
    /// variants nothing.
    #[must_use]
    pub fn variants_json(&self, seconds: Option<Seconds<'_>>) -> Value {
        if !self.has_variants() {
            return Value::Null;
        }
        let common = Common::of(self, seconds);
        let listed = self.plans.iter().zip(self.memories()).map(|(plan, memory)| {
            json!({
                "name": plan.variant().map(|variant| variant.name()),
                "changes": plan.variant().map(|variant| variant.values()),
                "memory": memory.map(|(memory, _)| memory.bytes()),
            })
        });
        json!({
            "listed": listed.collect::<Vec<_>>(),
            "stage_runs": common.once,
            "stage_runs_apart": common.apart,
            "stage_runs_known": common.known,
            "seconds_known": common.seconds,
        })
    }

    fn count_in_words(&self, made_from: &MadeFrom) -> String {
        let lists = made_from.lists.iter().map(usize::to_string).collect::<Vec<_>>().join(" × ");
        let parts = [
            (!lists.is_empty()).then(|| format!("{lists} combined")),
            (made_from.named > 0).then(|| format!("{} named", made_from.named)),
            (made_from.skipped > 0).then(|| format!("{} skipped", made_from.skipped)),
            (made_from.repeated > 0).then(|| format!("{} the same as others", made_from.repeated)),
        ];
        let parts = parts.into_iter().flatten().collect::<Vec<_>>().join(", ");
        let share = self.share.map_or_else(String::new, |share| format!("; these are share {share} of them"));
        format!("{} ({parts}{share})", self.plans.len())
    }

    fn memories(&self) -> Vec<Option<(Memory, &'static str)>> {
        self.plans.iter().map(Plan::memory).collect()
    }
}

/// How much the variants share.
fn shared(common: &Common) -> String {
    match common.apart - common.once {
        0 => format!("{} runs of stages, none of which serves two variants", common.once),
        saved => format!(
            "{} runs of stages in place of {}: what variants share is run once, which saves {saved}",
            common.once, common.apart
        ),
    }
}

/// How long it will take, as far as that is known.
fn time(common: &Common) -> String {
    let took = duration(common.seconds);
    match common.known {
        0 => "time: not known, since none of these stages has been run before".to_owned(),
        known if known == common.once => {
            format!("time: {took} of work, by what such stages took before and what the store has")
        }
        known => format!(
            "time: {took} of work for {known} of the runs, by what they took before; of {} it is not known",
            common.once - known
        ),
    }
}

fn duration(seconds: f64) -> String {
    match seconds {
        s if s < 90.0 => format!("about {} s", s.ceil()),
        s if s < 5400.0 => format!("about {} min", (s / 60.0).ceil()),
        s => format!("about {:.1} h", s / 3600.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_is_said_as_far_as_it_is_known() {
        let common = |known, seconds| Common { once: 10, apart: 30, known, seconds };
        assert!(time(&common(0, 0.0)).contains("not known"));
        assert!(time(&common(10, 61.5)).contains("about 62 s"));
        let some = time(&common(4, 600.0));
        assert!(
            some.contains("about 10 min") && some.contains("for 4 of the runs") && some.contains("of 6 it"),
            "{some}"
        );
        assert_eq!(duration(7200.0), "about 2.0 h");
        assert!(shared(&common(0, 0.0)).contains("saves 20"));
    }
}
