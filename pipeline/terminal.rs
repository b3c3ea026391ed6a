//! What a person sees while jobs run. Progress, findings and diagnostics go to stderr; stdout holds results alone.

use std::io::{self, IsTerminal as _, Write as _};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use turnhue_reports::record::Record;
use turnhue_stages::findings::{Finding, Severity};

use crate::diagnostic::{Diagnostic, harmless};
use crate::events::{Event, Listener};

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

/// Shows the progress of one run: a bar on a terminal, plain lines otherwise.
pub(crate) struct Progress {
    voice: Voice,
    stages: usize,
    /// Sizes of the cell that are compared, and those that are done.
    sizes: (usize, usize),
    bar: Option<ProgressBar>,
}

impl Progress {
    pub(crate) fn new(voice: Voice) -> Self {
        Self { voice, stages: 0, sizes: (0, 0), bar: None }
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

    fn show_sizes(&self) {
        if let Some(bar) = &self.bar {
            let (done, all) = self.sizes;
            bar.set_message(format!("size {done} of {all}"));
        }
    }

    fn begin(&mut self, stages: usize) {
        self.stages = stages;
        if self.voice.terminal && !self.voice.quiet {
            let bar = ProgressBar::with_draw_target(Some(stages as u64), ProgressDrawTarget::stderr());
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
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.end();
    }
}

impl Listener for Progress {
    fn hear(&mut self, event: &Event<'_>) {
        match event {
            Event::RunBegan { commission, run, stages, memory } => {
                self.begin(*stages);
                let memory =
                    memory.map_or_else(String::new, |memory| format!(", about {} of memory", memory.rounded()));
                self.line(&format!("{commission}: run {run}{memory}"));
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
            Event::StageBegan { name, .. } => {
                if let Some(bar) = &self.bar {
                    bar.set_message((*name).to_owned());
                }
            }
            Event::StageEnded { index, record } => {
                if let Some(bar) = &self.bar {
                    bar.inc(1);
                }
                let (done, all) = (index + 1, self.stages);
                let seconds = record.seconds.unwrap_or_default();
                self.line(&format!("  {done}/{all} {}: {seconds:.2} s", record.name));
            }
            Event::PageFailed { reason } => {
                self.end();
                self.voice.say(&format!("caution: could not draw the summary page: {}", harmless(reason)));
            }
            Event::Published { .. } => self.end(),
        }
    }
}
