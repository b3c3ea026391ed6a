//! What is wrong, where it stands, what was being done, and what to do about it.
//!
//! Code that reads or measures gives plain messages; whoever knows the file attaches the [`Place`]. All faults of a job
//! are gathered and shown together.

use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use annotate_snippets::{AnnotationKind, Group, Level, Origin, Renderer, Snippet};
use serde::{Serialize, Serializer};

/// A text file as it was read, for showing lines of it.
#[derive(Debug, PartialEq, Eq)]
pub struct Source {
    /// The file as the user named it.
    pub name: String,
    /// Its text.
    pub text: String,
}

/// A place in a text file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    source: Arc<Source>,
    span: Range<usize>,
}

impl Place {
    /// The bytes `span` of a file. A span that reaches past the end or into a character is drawn in to what exists.
    #[must_use]
    pub fn new(source: Arc<Source>, span: Range<usize>) -> Self {
        let boundary = |at: usize| (0..=at.min(source.text.len())).rev().find(|&at| source.text.is_char_boundary(at));
        let start = boundary(span.start).unwrap_or(0);
        let end = boundary(span.end).unwrap_or(0).max(start);
        Self { source, span: start..end }
    }

    /// The file as the user named it.
    #[must_use]
    pub fn file(&self) -> &str {
        &self.source.name
    }

    /// The bytes of the file that it marks.
    pub(crate) fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// Line and column of the first character, both counted from 1; columns in characters.
    #[must_use]
    pub fn line_and_column(&self) -> (usize, usize) {
        let before = &self.source.text[..self.span.start];
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        (before.matches('\n').count() + 1, before[line_start..].chars().count() + 1)
    }

    /// The marked text.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.source.text[self.span.clone()]
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (line, column) = self.line_and_column();
        write!(f, "{}:{line}:{column}", self.file())
    }
}

/// How much a diagnostic matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// The job cannot go on.
    Error,
    /// The job goes on; look at this.
    Caution,
}

/// Something that is wrong with a job, its inputs or a run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostic {
    severity: Severity,
    message: String,
    place: Option<Place>,
    label: String,
    related: Vec<(Place, String)>,
    trace: Vec<String>,
    remedy: String,
}

/// Messages repeat what a file says; this many characters of them are shown.
const LONGEST_MESSAGE: usize = 600;

impl Diagnostic {
    /// An error, without a place yet.
    pub fn error(message: impl Into<String>) -> Self {
        Self::new(Severity::Error, message.into())
    }

    /// A caution, without a place yet.
    pub fn caution(message: impl Into<String>) -> Self {
        Self::new(Severity::Caution, message.into())
    }

    fn new(severity: Severity, message: String) -> Self {
        Self {
            severity,
            message: shortened(message),
            place: None,
            label: String::new(),
            related: Vec::new(),
            trace: Vec::new(),
            remedy: String::new(),
        }
    }

    /// Says where.
    #[must_use]
    pub fn at(mut self, place: Place) -> Self {
        self.place = Some(place);
        self
    }

    /// Says, beside the mark, what is there or what was expected.
    #[must_use]
    pub fn label(mut self, label: impl Into<String>) -> Self {
        self.label = shortened(label);
        self
    }

    /// Shows another place that has to do with it.
    #[must_use]
    pub fn related(mut self, place: Place, label: impl Into<String>) -> Self {
        self.related.push((place, shortened(label)));
        self
    }

    /// Says what was being done: completes "while …".
    #[must_use]
    pub fn during(mut self, doing: impl Into<String>) -> Self {
        self.trace.push(shortened(doing));
        self
    }

    /// Says what to do; an empty remedy is left out.
    #[must_use]
    pub fn remedy(mut self, remedy: impl Into<String>) -> Self {
        self.remedy = shortened(remedy);
        self
    }

    /// Error or caution.
    #[must_use]
    pub fn severity(&self) -> Severity {
        self.severity
    }

    /// What is wrong, without the place.
    #[must_use]
    pub fn message(&self) -> &str {
        &self.message
    }

    /// Where, if it has a place in a file.
    #[must_use]
    pub fn place(&self) -> Option<&Place> {
        self.place.as_ref()
    }

    /// What to do; may be empty.
    #[must_use]
    pub fn what_to_do(&self) -> &str {
        &self.remedy
    }

    /// The diagnostic for people: message, file, line and column, the line itself with the place marked, and the
    /// remedy. Control characters from files are made harmless.
    #[must_use]
    pub fn render(&self, colour: bool) -> String {
        let level = match self.severity {
            Severity::Error => Level::ERROR,
            Severity::Caution => Level::WARNING.with_name("caution"),
        };
        let title = level.primary_title(self.message.as_str());
        let renderer = if colour { Renderer::styled() } else { Renderer::plain() };
        let notes = self.trace.iter().map(|doing| (Level::NOTE, format!("while {doing}")));
        let help = (!self.remedy.is_empty()).then(|| (Level::HELP, self.remedy.clone()));
        let notes = notes.chain(help);
        let Some(place) = &self.place else {
            // Without lines of a file there is no margin for notes to hang from: each is a line of its own.
            let titles = [title].into_iter().chain(notes.map(|(level, note)| level.secondary_title(note)));
            let lines: Vec<_> = titles.map(|title| renderer.render(&[Group::with_title(title)])).collect();
            return lines.join("\n");
        };
        let group = self.show(Group::with_title(title), place);
        renderer.render(&[group.elements(notes.map(|(level, note)| level.message(note)))])
    }

    fn show<'a>(&'a self, mut group: Group<'a>, place: &'a Place) -> Group<'a> {
        let (near, far): (Vec<_>, Vec<_>) =
            self.related.iter().partition(|(other, _)| Arc::ptr_eq(&other.source, &place.source));
        let mut marks = vec![(place, self.label.as_str(), AnnotationKind::Primary)];
        marks.extend(near.iter().map(|(other, label)| (other, label.as_str(), AnnotationKind::Context)));
        group = group.element(snippet(&marks));
        for (other, label) in far {
            let (line, column) = other.line_and_column();
            group = group
                .element(Level::NOTE.message(label.as_str()))
                .element(Origin::path(other.file()).line(line).char_column(column));
        }
        group
    }
}

/// The lines from the first mark to the last, with the marks. Only these are handed to the renderer: a job file may be
/// a megabyte long.
fn snippet<'a>(marks: &[(&'a Place, &'a str, AnnotationKind)]) -> Snippet<'a, annotate_snippets::Annotation<'a>> {
    let source = &marks[0].0.source;
    let first = marks.iter().map(|(place, ..)| place.span.start).min().unwrap_or(0);
    let last = marks.iter().map(|(place, ..)| place.span.end).max().unwrap_or(0);
    let from = source.text[..first].rfind('\n').map_or(0, |at| at + 1);
    let to = source.text[last..].find('\n').map_or(source.text.len(), |at| last + at);
    let line = source.text[..from].matches('\n').count() + 1;
    let annotations = marks.iter().map(|(place, label, kind)| {
        let annotation = kind.span(place.span.start - from..place.span.end - from);
        if label.is_empty() { annotation } else { annotation.label(*label) }
    });
    Snippet::source(&source.text[from..to]).path(source.name.as_str()).line_start(line).annotations(annotations)
}

fn shortened(text: impl Into<String>) -> String {
    let mut text = harmless(&text.into());
    if let Some((at, _)) = text.char_indices().nth(LONGEST_MESSAGE) {
        text.truncate(at);
        text.push('…');
    }
    text
}

/// The text without characters that steer a terminal or turn the direction of writing: what is shown may come from a
/// file.
#[must_use]
pub fn harmless(text: &str) -> String {
    let steers =
        |c: char| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}') || c.is_control() && c != '\n';
    text.chars().map(|c| if steers(c) { char::REPLACEMENT_CHARACTER } else { c }).collect()
}

impl Serialize for Diagnostic {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        #[derive(Serialize)]
        struct Plain<'a> {
            severity: Severity,
            message: &'a str,
            file: Option<&'a str>,
            line: Option<usize>,
            column: Option<usize>,
            label: &'a str,
            trace: &'a [String],
            remedy: &'a str,
        }
        let (line, column) = self.place.as_ref().map(Place::line_and_column).unzip();
        Plain {
            severity: self.severity,
            message: &self.message,
            file: self.place.as_ref().map(Place::file),
            line,
            column,
            label: &self.label,
            trace: &self.trace,
            remedy: &self.remedy,
        }
        .serialize(serializer)
    }
}

/// The known name that was most likely meant: at most a third of its letters differ (Damerau–Levenshtein distance, so
/// that two letters swapped count once).
#[must_use]
pub fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    // Nobody means a short word by a long one, and the distance takes time with the product of the lengths.
    let length = name.chars().count();
    if length > 64 {
        return None;
    }
    let lower = name.to_lowercase();
    known
        .into_iter()
        .map(|known| (strsim::damerau_levenshtein(&lower, &known.to_lowercase()), known))
        .filter(|&(distance, known)| distance * 3 <= known.chars().count().max(length))
        .min_by_key(|&(distance, _)| distance)
        .map(|(_, known)| known)
}

/// Names in a sentence: "`a`, `b` and `c`".
#[must_use]
pub fn listed<'a>(names: impl IntoIterator<Item = &'a str>) -> String {
    let mut names: Vec<String> = names.into_iter().map(|name| format!("`{name}`")).collect();
    let last = names.pop().unwrap_or_default();
    if names.is_empty() { last } else { format!("{} and {last}", names.join(", ")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(text: &str, span: Range<usize>) -> Place {
        Place::new(Arc::new(Source { name: "a.yaml".into(), text: text.into() }), span)
    }

    #[test]
    fn lines_and_columns_count_from_one_and_in_characters() {
        assert_eq!(place("ab: 1\né: x\n", 10..11).line_and_column(), (2, 4));
        assert_eq!(place("", 5..9).line_and_column(), (1, 1));
    }

    #[test]
    fn the_line_itself_is_shown_and_marked() {
        let shown = Diagnostic::error("no such stage").at(place("x: 1\nholow: 2\n", 5..10)).label("here").render(false);
        assert!(shown.contains("a.yaml:2:1"), "{shown}");
        assert!(shown.contains("holow: 2"), "{shown}");
        assert!(shown.contains("^^^^^ here"), "{shown}");
    }

    #[test]
    fn without_a_place_each_note_is_a_line() {
        let shown = Diagnostic::error("no").during("trying").remedy("try again").render(false);
        assert_eq!(shown, "error: no\nnote: while trying\nhelp: try again");
    }

    #[test]
    fn control_characters_do_not_reach_the_terminal() {
        let shown = Diagnostic::error("bad \u{1b}[2J").at(place("a: \u{1b}[2Jx", 0..8)).remedy("\u{7}").render(false);
        assert!(!shown.contains(['\u{1b}', '\u{7}']), "{shown:?}");
    }

    #[test]
    fn the_nearest_name_is_near() {
        assert_eq!(nearest("holow", ["scale", "hollow"]), Some("hollow"));
        assert_eq!(nearest("hlolow", ["scale", "hollow"]), Some("hollow"));
        assert_eq!(nearest("paint", ["scale", "hollow"]), None);
        assert_eq!(nearest(&"x".repeat(100_000), ["scale"]), None);
    }
}
