//! What a person sees while jobs run. Progress, findings and diagnostics go to stderr; stdout holds results alone.

use std::io::{self, IsTerminal as _, Write as _};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use turnhue_reports::record::Record;
use turnhue_stages::findings::{Finding, Severity};
use turnhue_stages::units::Memory;

use crate::diagnostic::{Diagnostic, harmless};
use crate::events::{Event, Listener};
use crate::night::{Ended, Source};

/// So many diagnostics of one job are shown.
const MOST_SHOWN: usize = 20;

/// How to speak to the person at the screen.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Voice {
    /// Say only what is wrong.
    pub(crate) quiet: bool,
    /// Somebody looks at stderr.
    terminal: bool,
    /// Colour may be used: see <https://no-color.org>.
    colour: bool,
}

impl Voice {
    pub(crate) fn new(quiet: bool) -> Self {
        let terminal = io::stderr().is_terminal();
        let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        let dumb = std::env::var_os("TERM").is_some_and(|value| value == "dumb");
        Self { quiet, terminal, colour: terminal && !refused && !dumb }
    }

    /// Says something on stderr. That nobody can hear it changes nothing.
    pub(crate) fn say(self, text: &str) {
        let _ = writeln!(io::stderr().lock(), "{text}");
    }

    /// Shows a diagnostic, with an empty line between it and the next.
    pub(crate) fn diagnose(self, diagnostic: &Diagnostic) {
        self.say(&format!("{}\n", diagnostic.render(self.colour)));
    }

    /// Shows the diagnostics of one job; of very many the first ones, for they drown what they should show.
    pub(crate) fn diagnose_all(self, diagnostics: &[Diagnostic]) {
        diagnostics.iter().take(MOST_SHOWN).for_each(|diagnostic| self.diagnose(diagnostic));
        match diagnostics.len().saturating_sub(MOST_SHOWN) {
            0 => {}
            more => self.say(&format!("… and {more} more\n")),
        }
    }

    /// Says what is wrong with a piece.
    pub(crate) fn findings(self, record: &Record) {
        for (stage, finding) in record.findings() {
            if finding.severity > Severity::Note {
                self.say(&in_words(stage, finding));
            }
        }
    }
}

fn in_words(stage: &str, finding: &Finding) -> String {
    let word = match finding.severity {
        Severity::Fault => "fault",
        Severity::Caution => "caution",
        Severity::Note => "note",
    };
    let place = finding.places.first().map_or(String::new(), |place| {
        let [x, y, z] = place.mm;
        let more = match finding.places.len() {
            1 => String::new(),
            n => format!(" and {} more", n - 1),
        };
        format!("\n  at x {x:.1}, y {y:.1}, z {z:.1} mm{more}")
    });
    let text =
        format!("{word} ({stage}, {}): {}{place}\n  what to do: {}", finding.code, finding.message, finding.remedy);
    harmless(&text)
}

/// Shows the progress of a run, or of a night of them: a bar on a terminal, plain lines otherwise.
pub(crate) struct Progress {
    voice: Voice,
    stages: usize,
    /// Sizes of the cell that are compared, and those that are done.
    sizes: (usize, usize),
    /// Several variants are run: a line each.
    many: bool,
    bar: Option<ProgressBar>,
}

impl Progress {
    pub(crate) fn new(voice: Voice) -> Self {
        Self { voice, stages: 0, sizes: (0, 0), many: false, bar: None }
    }

    fn line(&self, text: &str) {
        if self.voice.quiet {
            return;
        }
        match &self.bar {
            Some(bar) => bar.println(text),
            None => self.voice.say(text),
        }
    }

    fn show(&self, message: String) {
        if let Some(bar) = &self.bar {
            bar.set_message(message);
        }
    }

    fn show_sizes(&self) {
        let (done, all) = self.sizes;
        self.show(format!("size {done} of {all}"));
    }

    fn begin(&mut self, length: usize) {
        self.end();
        if self.voice.terminal && !self.voice.quiet {
            let bar = ProgressBar::with_draw_target(Some(length as u64), ProgressDrawTarget::stderr());
            if let Ok(style) = ProgressStyle::with_template("{bar:24} {pos}/{len} {msg} {elapsed}") {
                bar.set_style(style);
            }
            bar.enable_steady_tick(Duration::from_millis(120));
            self.bar = Some(bar);
        }
    }

    fn end(&mut self) {
        if let Some(bar) = self.bar.take() {
            bar.finish_and_clear();
        }
    }

    fn variant_ended(&self, name: &str, ended: &Ended, [done, all]: [usize; 2], left: Option<Duration>) {
        if let Some(bar) = &self.bar {
            bar.set_position(done as u64);
        }
        let left = left.map_or_else(String::new, |left| format!("; {} left", roughly(left)));
        self.show(format!("variants{left}"));
        let left = if self.bar.is_some() || done == all { "" } else { &left };
        self.line(&harmless(&format!("  {done}/{all} {name}: {}{left}", ended.in_short())));
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.end();
    }
}

fn of_memory(memory: Option<Memory>) -> String {
    memory.map_or_else(String::new, |memory| format!(", about {} of memory", memory.rounded()))
}

/// A time that is left, as exact as one would say it.
fn roughly(left: Duration) -> String {
    let seconds = left.as_secs();
    match seconds {
        0..90 => format!("{} s", seconds.max(1)),
        90..5400 => format!("{} min", (seconds + 30) / 60),
        _ => format!("{} h {} min", seconds / 3600, seconds % 3600 / 60),
    }
}

impl Listener for Progress {
    fn hear(&mut self, event: &Event<'_>) {
        match event {
            Event::NightBegan { commission, variants: [all, there], memory } => {
                self.many = true;
                self.begin(*all);
                let there = if *there == 0 { String::new() } else { format!(", {there} of them there already") };
                self.line(&format!("{commission}: {all} variants{there}{}", of_memory(*memory)));
                self.show("variants".to_owned());
            }
            Event::RunBegan { commission, run, stages, memory } => {
                self.many = false;
                self.stages = *stages;
                self.begin(*stages);
                self.line(&format!("{commission}: run {run}{}", of_memory(*memory)));
            }
            Event::AdviceBegan { sizes } => {
                self.sizes = (0, *sizes);
                self.line(&format!("  comparing {sizes} sizes of the cell"));
                if self.bar.is_none() {
                    self.begin(self.stages);
                }
                self.show_sizes();
            }
            Event::SizeTried { cell } => {
                self.sizes.0 += 1;
                let (done, all) = self.sizes;
                self.line(&format!("  size {done}/{all}: {cell} mm"));
                self.show_sizes();
            }
            Event::StageBegan { name, .. } if !self.many => self.show((*name).to_owned()),
            Event::StageEnded { index, name, source, seconds } if !self.many => {
                if let Some(bar) = &self.bar {
                    bar.inc(1);
                }
                let (done, all) = (index + 1, self.stages);
                let how = match source {
                    Source::Made => format!("{seconds:.2} s"),
                    Source::Store => "from the store".to_owned(),
                };
                self.line(&format!("  {done}/{all} {name}: {how}"));
            }
            Event::StageBegan { .. } | Event::StageEnded { .. } => {}
            // Said also where only what is wrong is said.
            Event::SetAside { notice } => {
                let text = notice.render(self.voice.colour);
                self.bar.as_ref().map_or_else(|| self.voice.say(&text), |bar| bar.println(&text));
            }
            Event::PageFailed { reason } => {
                self.line(&harmless(&format!("caution: could not draw a page: {reason}")));
            }
            Event::Published { .. } if !self.many => self.end(),
            Event::Published { .. } => {}
            Event::VariantEnded { name, ended, done, left } => self.variant_ended(name, ended, *done, *left),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_said_as_one_says_them() {
        for (seconds, words) in
            [(0, "1 s"), (89, "89 s"), (90, "2 min"), (3629, "60 min"), (5400, "1 h 30 min"), (36_000, "10 h 0 min")]
        {
            assert_eq!(roughly(Duration::from_secs(seconds)), words);
        }
    }
}
