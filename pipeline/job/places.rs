//! Where every value of a YAML file stands, and the guard that a file must pass before its values are read.
//!
//! The guard is one pass over the parser's events, in time and memory linear in the file. It stops at the first sign of
//! a file made to hurt (aliases, deep nesting) and gathers what an editing hand gets wrong (keys that come twice).

use std::collections::BTreeMap;

use saphyr_parser::{Event, Parser, ScalarStyle, ScanError, Span, StrInput};

use super::settings::MOST_FAULTS;

/// Deepest nesting of lists and maps. A job needs six levels.
pub(crate) const DEEPEST: usize = 32;

/// The values of a file as a tree, each with the place of its key and of itself.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Places {
    nodes: Vec<Node>,
}

/// A range of characters (not bytes): the parser counts so.
type Chars = std::ops::Range<usize>;

#[derive(Debug, PartialEq, Eq)]
struct Node {
    key: Option<Chars>,
    value: Chars,
    children: Children,
}

#[derive(Debug, PartialEq, Eq)]
enum Children {
    Scalar,
    List(Vec<usize>),
    Map(BTreeMap<String, usize>),
}

/// Why a file does not pass, with the place in characters.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Refusal {
    pub(crate) message: String,
    pub(crate) at: Chars,
    pub(crate) first: Option<Chars>,
    pub(crate) remedy: &'static str,
}

impl Refusal {
    fn new(message: impl Into<String>, at: Chars, remedy: &'static str) -> Self {
        Self { message: message.into(), at, first: None, remedy }
    }
}

impl Places {
    /// Goes through a file once.
    pub(crate) fn of(text: &str) -> Result<Self, Vec<Refusal>> {
        let mut walk = Walk { nodes: Vec::new(), open: Vec::new(), documents: 0, refusals: Vec::new() };
        let mut parser = Parser::new(StrInput::new(text));
        while let Some(event) = parser.next_event() {
            let step = match event {
                Ok((event, span)) => walk.step(event, &span),
                Err(error) => Err(unread(&error)),
            };
            if let Err(refusal) = step {
                walk.refusals.push(refusal);
                break;
            }
        }
        if walk.refusals.is_empty() { Ok(Self { nodes: walk.nodes }) } else { Err(walk.refusals) }
    }

    /// The characters to mark for the value at `path`, or for what holds it where there is none: a scalar's own, the
    /// key of a list or map.
    pub(crate) fn value(&self, path: &str) -> Chars {
        let Some(node) = self.find(path) else { return 0..0 };
        match (&node.children, &node.key) {
            (Children::Scalar, _) if !node.value.is_empty() => node.value.clone(),
            (_, Some(key)) => key.clone(),
            (Children::Map(children), None) => {
                // A map in a list begins where its first key does.
                let keys = children.values().filter_map(|&child| self.nodes[child].key.clone());
                keys.min_by_key(|key| key.start).unwrap_or_else(|| node.value.clone())
            }
            _ => node.value.clone(),
        }
    }

    /// The characters of the key at `path`, or what [`Self::value`] gives where it has none.
    pub(crate) fn key(&self, path: &str) -> Chars {
        self.find(path).and_then(|node| node.key.clone()).unwrap_or_else(|| self.value(path))
    }

    /// The node at `path` (`stages[2].hollow.wall`), or the nearest that holds it.
    fn find(&self, path: &str) -> Option<&Node> {
        let mut node = self.nodes.first()?;
        let mut rest = path;
        while let Some((child, tail)) = child(&node.children, rest) {
            node = &self.nodes[child];
            rest = tail;
        }
        Some(node)
    }
}

/// The child that `path` begins with, and the rest of the path. A key may itself hold dots and brackets: the longest
/// that fits is meant.
fn child<'a>(children: &Children, path: &'a str) -> Option<(usize, &'a str)> {
    match children {
        Children::Scalar => None,
        Children::List(items) => {
            let (index, tail) = path.strip_prefix('[')?.split_once(']')?;
            Some((*items.get(index.parse::<usize>().ok()?)?, tail))
        }
        Children::Map(children) => {
            let path = path.strip_prefix('.').unwrap_or(path);
            let ends = path.char_indices().filter(|(_, c)| matches!(c, '.' | '[')).map(|(at, _)| at);
            let mut ends: Vec<usize> = ends.chain([path.len()]).take(DEEPEST * 2).collect();
            ends.reverse();
            ends.into_iter().find_map(|end| Some((*children.get(&path[..end])?, &path[end..])))
        }
    }
}

struct Walk {
    nodes: Vec<Node>,
    open: Vec<Open>,
    documents: usize,
    refusals: Vec<Refusal>,
}

/// A list or map that has not ended.
struct Open {
    node: usize,
    /// The key that waits for its value, in a map.
    key: Option<(String, Chars)>,
}

impl Walk {
    fn step(&mut self, event: Event<'_>, span: &Span) -> Result<(), Refusal> {
        let at = span.start.index()..span.end.index();
        match event {
            Event::Nothing | Event::StreamStart | Event::StreamEnd | Event::DocumentEnd => Ok(()),
            Event::DocumentStart(_) => self.document(at),
            Event::Alias(_) => Err(no_alias(at)),
            Event::Scalar(_, _, anchor, _) | Event::SequenceStart(anchor, _) | Event::MappingStart(anchor, _)
                if anchor > 0 =>
            {
                Err(no_alias(at))
            }
            Event::Scalar(_, _, _, Some(_)) | Event::SequenceStart(_, Some(_)) | Event::MappingStart(_, Some(_)) => {
                Err(Refusal::new("a tag (`!…`) has no meaning in this file", at, "leave the tag out"))
            }
            Event::Scalar(text, style, ..) => self.scalar(&text, style == ScalarStyle::Plain, at),
            Event::SequenceStart(..) => self.begin(Children::List(Vec::new()), at),
            Event::MappingStart(..) => self.begin(Children::Map(BTreeMap::new()), at),
            Event::SequenceEnd | Event::MappingEnd => {
                self.open.pop();
                Ok(())
            }
        }
    }

    fn document(&mut self, at: Chars) -> Result<(), Refusal> {
        self.documents += 1;
        if self.documents > 1 {
            return Err(Refusal::new(
                "a second document begins here, but a file holds one",
                at,
                "put it in a file of its own",
            ));
        }
        Ok(())
    }

    fn scalar(&mut self, text: &str, plain: bool, at: Chars) -> Result<(), Refusal> {
        if self.waits_for_key() {
            if plain && !is_text(text) {
                return Err(Refusal::new(
                    format!("a key must be text, but `{text}` is not"),
                    at,
                    "put the key in quotes, or write the name that is meant",
                ));
            }
            return self.key(text, at);
        }
        if plain && is_endless(text) {
            return Err(Refusal::new(format!("`{text}` is not a finite number"), at, "write a finite number"));
        }
        self.add(Children::Scalar, at);
        Ok(())
    }

    fn begin(&mut self, children: Children, at: Chars) -> Result<(), Refusal> {
        if self.waits_for_key() {
            return Err(Refusal::new("a key must be text, not a list or a map", at, "write the name that is meant"));
        }
        if self.open.len() == DEEPEST {
            return Err(too_deep(at.start));
        }
        let node = self.add(children, at);
        self.open.push(Open { node, key: None });
        Ok(())
    }

    fn waits_for_key(&self) -> bool {
        self.open
            .last()
            .is_some_and(|open| open.key.is_none() && matches!(self.nodes[open.node].children, Children::Map(_)))
    }

    fn key(&mut self, text: &str, at: Chars) -> Result<(), Refusal> {
        let Some(open) = self.open.last_mut() else { return Ok(()) };
        open.key = Some((text.to_owned(), at.clone()));
        let Children::Map(children) = &self.nodes[open.node].children else { return Ok(()) };
        if let Some(&first) = children.get(text) {
            let mut refusal =
                Refusal::new(format!("the key `{text}` comes twice"), at, "keep one; give the other its own name");
            refusal.first.clone_from(&self.nodes[first].key);
            if self.refusals.len() + 1 == MOST_FAULTS {
                return Err(refusal);
            }
            self.refusals.push(refusal);
        }
        Ok(())
    }

    fn add(&mut self, children: Children, value: Chars) -> usize {
        let place = self.nodes.len();
        let mut key = None;
        if let Some(open) = self.open.last_mut() {
            let named = open.key.take();
            match (&mut self.nodes[open.node].children, named) {
                (Children::List(items), _) => items.push(place),
                (Children::Map(children), Some((name, at))) => {
                    key = Some(at);
                    children.insert(name, place);
                }
                _ => {}
            }
        }
        self.nodes.push(Node { key, value, children });
        place
    }
}

fn too_deep(at: usize) -> Refusal {
    Refusal::new(
        format!("lists and maps are nested deeper than {DEEPEST} levels here"),
        at..at + 1,
        "a job needs six levels: look for a bracket that is not closed",
    )
}

fn unread(error: &ScanError) -> Refusal {
    let at = error.marker().index();
    // The parser looks ahead, and may meet its own limit (255 levels) before the walk meets ours.
    if error.info() == "recursion limit exceeded" {
        return too_deep(at.saturating_sub(1));
    }
    Refusal::new(format!("is not YAML: {}", error.info()), at..at + 1, "")
}

fn no_alias(at: Chars) -> Refusal {
    Refusal::new(
        "anchors (`&name`) and aliases (`*name`) are not taken",
        at,
        "write the value out; a text that begins with & or * goes in quotes",
    )
}

/// Whether a plain scalar stays text by the core schema of YAML 1.2.2, section 10.3.2.
fn is_text(text: &str) -> bool {
    let word =
        matches!(text, "" | "~" | "null" | "Null" | "NULL" | "true" | "True" | "TRUE" | "false" | "False" | "FALSE");
    !word && text.parse::<f64>().is_err() && !is_endless(text) && !text.starts_with("0x") && !text.starts_with("0o")
}

/// Whether a plain scalar is a number that is not finite: `.nan`, `.inf`, or too large for a double.
fn is_endless(text: &str) -> bool {
    let bare = text.strip_prefix(['+', '-']).unwrap_or(text);
    if matches!(bare, ".nan" | ".NaN" | ".NAN" | ".inf" | ".Inf" | ".INF") {
        return true;
    }
    bare.starts_with(|c: char| c.is_ascii_digit() || c == '.') && bare.parse::<f64>().is_ok_and(|n| !n.is_finite())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn marked(text: &str, path: &str) -> String {
        let at = Places::of(text).unwrap().value(path);
        text.chars().skip(at.start).take(at.len()).collect()
    }

    #[test]
    fn each_value_has_its_place() {
        let text = "tïtle: é\nstages:\n  - repair\n  - hollow: { wall: 2.5 mm, a.b: 7 }\n";
        assert_eq!(marked(text, "tïtle"), "é");
        assert_eq!(marked(text, "stages"), "stages");
        assert_eq!(marked(text, "stages[0]"), "repair");
        assert_eq!(marked(text, "stages[1]"), "hollow");
        assert_eq!(marked(text, "stages[1].hollow.wall"), "2.5 mm");
        assert_eq!(marked(text, "stages[1].hollow.a.b"), "7");
        // What is not there is marked at what would hold it.
        assert_eq!(marked(text, "stages[1].hollow.openings[3].width"), "hollow");
    }

    #[test]
    fn a_value_left_out_is_marked_at_its_key() {
        assert_eq!(marked("a:\nb: 1\n", "a"), "a");
    }

    fn refused(text: &str) -> String {
        Places::of(text).unwrap_err().into_iter().map(|r| r.message).collect::<Vec<_>>().join("; ")
    }

    #[test]
    fn what_makes_no_sense_is_refused() {
        for (text, part) in [
            ("a: &x 1", "anchors"),
            ("a: *x", ""),
            ("a: !t 1", "tag"),
            ("a: 1\n---\nb: 2", "second document"),
            ("1: a", "key must be text"),
            ("true: a", "key must be text"),
            ("[a]: b", "key must be text"),
            ("? {a: b}\n: c", "key must be text"),
            ("a: .nan", "finite"),
            ("a: -.inf", "finite"),
            ("a: 1e999", "finite"),
            ("a: [", "not YAML"),
            ("a: 1\nb: {c: 1, c: 2}\na: 2", "`c` comes twice; the key `a` comes twice"),
        ] {
            assert!(refused(text).contains(part), "{text}: {}", refused(text));
        }
    }

    #[test]
    fn thirty_two_levels_pass_and_more_do_not() {
        let nested = |levels: usize| format!("{}{}", "[".repeat(levels), "]".repeat(levels));
        assert!(Places::of(&nested(DEEPEST)).is_ok());
        for levels in [DEEPEST + 1, 254, 255, 256, 100_000] {
            assert!(refused(&nested(levels)).contains("deeper than 32"), "{levels}");
        }
    }
}
