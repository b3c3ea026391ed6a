//! Walks along a ledger's lines and tells where the chain is broken.

use std::ops::Range;
use std::sync::Arc;

use super::deeds::Deed;
use super::line::{self, Flaw, Said};
use super::segments;
use crate::clock::Moment;
use crate::diagnostic::{Diagnostic, Place, Source};
use crate::digest::Digest;

/// An entry of a ledger, read from a whole line.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The number of the segment in which it stands.
    pub segment: u32,
    /// Its line there, from 1.
    pub line: usize,
    /// Its number in the ledger, from 1.
    pub seq: u64,
    /// When it was written, by the clock of whoever wrote it.
    pub time: Moment,
    /// The digest of the entry before.
    pub prev: Digest,
    /// Its own digest.
    pub digest: Digest,
    /// What it tells.
    pub deed: Deed,
}

/// The end of a ledger: what the next line is chained to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Head {
    /// The number of the last entry; 0 if there is none.
    pub seq: u64,
    /// Its digest.
    pub digest: Digest,
}

impl Head {
    /// The head of a ledger without entries.
    pub const NONE: Self = Self { seq: 0, digest: Digest::NONE };
}

/// So many faults are told one by one.
const MOST_FAULTS: usize = 100;

/// So much of a line is shown, in characters: what comes before the deed.
const SHOWN: usize = 130;

/// So much of a damaged line is marked, in characters.
const MARKED: usize = 24;

/// How far a walk has come, and what it met.
#[derive(Clone, Debug)]
pub(super) struct Walk {
    /// The number of the segment that comes next.
    pub(super) next: u32,
    /// What is known of the line before.
    before: Before,
    time: Option<Moment>,
    pub(super) faults: Vec<Diagnostic>,
    pub(super) cautions: Vec<Diagnostic>,
    unsaid: usize,
}

/// What is known of the line before the next one. After a damaged line less is known, and what follows from the damage is
/// not told as damage of its own.
#[derive(Clone, Debug)]
struct Before {
    seq: Option<u64>,
    /// The digests that the line before may have; none if that cannot be told.
    digests: Vec<Digest>,
}

impl Before {
    const UNKNOWN: Self = Self { seq: None, digests: Vec::new() };

    fn line(head: Head) -> Self {
        Self { seq: Some(head.seq), digests: vec![head.digest] }
    }
}

impl Walk {
    pub(super) fn begin() -> Self {
        Self {
            next: 1,
            before: Before::line(Head::NONE),
            time: None,
            faults: Vec::new(),
            cautions: Vec::new(),
            unsaid: 0,
        }
    }

    /// The head, if the chain is whole so far.
    pub(super) fn head(&self) -> Option<Head> {
        match (&*self.before.digests, self.before.seq) {
            (&[digest], Some(seq)) if self.faults.is_empty() => Some(Head { seq, digest }),
            _ => None,
        }
    }

    /// Notes that this writer published the next segment itself, up to that head.
    pub(super) fn published(&mut self, head: Head, time: Moment) {
        self.next += 1;
        self.before = Before::line(head);
        self.time = Some(time);
    }

    /// All faults, with a last one for those that were too many to tell.
    pub(super) fn into_faults(mut self) -> Vec<Diagnostic> {
        if self.unsaid > 0 {
            self.faults.push(Diagnostic::error(format!("{} more lines of the ledger are damaged", self.unsaid)));
        }
        self.faults
    }

    /// Takes the segment with that number, which is at least the next; `shown` is its path for people.
    pub(super) fn take(&mut self, number: u32, shown: &str, bytes: &[u8], each: &mut dyn FnMut(Entry)) {
        self.gap(number, shown);
        self.next = number + 1;
        let mut segment = Segment { number, shown, bytes, source: None };
        if bytes.is_empty() {
            self.before = Before::UNKNOWN;
            self.fault(Diagnostic::error(format!("{shown}: the segment is empty; at least one entry was expected")));
            return;
        }
        let mut start = 0;
        for (line, part) in (1..).zip(bytes.split_inclusive(|&b| b == b'\n')) {
            let span = start..start + part.len();
            start = span.end;
            match part.strip_suffix(b"\n") {
                Some(text) => self.line(&mut segment, line, text, each),
                None => {
                    self.before = Before::UNKNOWN;
                    let fault = Diagnostic::error("the segment ends within a line: it was cut");
                    self.fault(fault.at(segment.place(line, 0..MARKED)).label("the rest of the entry was expected"));
                }
            }
        }
    }

    /// Says that a segment could not be read.
    pub(super) fn unreadable(&mut self, number: u32, shown: &str, error: &std::io::Error) {
        self.gap(number, shown);
        self.next = number + 1;
        self.before = Before::UNKNOWN;
        self.fault(Diagnostic::error(format!("{shown}: the segment could not be read: {error}")));
    }

    fn gap(&mut self, number: u32, shown: &str) {
        if number == self.next {
            return;
        }
        let (first, last) = (segments::name(self.next), segments::name(number - 1));
        let which = if first == last { format!("{first} is") } else { format!("{first} to {last} are") };
        self.before = Before::UNKNOWN;
        self.fault(Diagnostic::error(format!("{which} missing from the ledger: {shown} comes after")));
    }

    fn line(&mut self, segment: &mut Segment<'_>, line: usize, text: &[u8], each: &mut dyn FnMut(Entry)) {
        let read = line::read(text);
        let digests: Vec<Digest> = [read.digest, read.claimed].into_iter().flatten().collect();
        let (said, time) = match read.said {
            Ok(said) => said,
            Err(flaw) => {
                // Either digest may be the true one: whether the content was changed or the digest cannot be told here.
                self.before = Before { seq: None, digests };
                let fault = Diagnostic::error(flaw.to_string()).at(segment.place(line, 0..MARKED));
                let fault = match (&flaw, read.digest, read.claimed) {
                    (Flaw::Changed, Some(is), Some(said)) => {
                        fault.label(format!("expected digest {said}; its bytes have {is}"))
                    }
                    (Flaw::Newer(_), ..) => {
                        return self.tell(fault.remedy("use the program that wrote it, or a later one"));
                    }
                    _ => fault,
                };
                return self.fault(fault);
            }
        };
        if let Some(fault) = self.breaks(segment, line, &said) {
            self.fault(fault);
        }
        self.look_at_clock(segment, line, &said, time);
        let digest = read.digest.unwrap_or(Digest::NONE);
        self.before = Before::line(Head { seq: said.seq, digest });
        self.time = Some(time);
        let Said { seq, prev, deed, .. } = said;
        each(Entry { segment: segment.number, line, seq, time, prev, digest, deed });
    }

    /// Whether a line, sound by itself, does not follow the one before.
    fn breaks(&self, segment: &mut Segment<'_>, line: usize, said: &Said) -> Option<Diagnostic> {
        let expected = self.before.seq.map(|seq| seq.saturating_add(1));
        if let Some(expected) = expected.filter(|&expected| expected != said.seq) {
            let fault = format!("entry {} stands where entry {expected} was expected", said.seq);
            let place = segment.place_of(line, &format!("\"seq\":{}", said.seq));
            return Some(Diagnostic::error(fault).at(place).label(format!("expected {expected}")));
        }
        let follows = self.before.digests.is_empty() || self.before.digests.contains(&said.prev);
        (!follows).then(|| {
            let before = self.before.digests.iter().map(Digest::to_string).collect::<Vec<_>>().join(" or ");
            Diagnostic::error(if said.seq == 1 {
                "entry 1 is chained to an entry before it, and there is none".to_owned()
            } else {
                format!(
                    "entry {} was changed after entry {} had been chained to it, or is another one",
                    said.seq.saturating_sub(1),
                    said.seq
                )
            })
            .at(segment.place_of(line, &format!("\"prev\":\"{}\"", said.prev)))
            .label(format!("expected {before}"))
        })
    }

    fn look_at_clock(&mut self, segment: &mut Segment<'_>, line: usize, said: &Said, time: Moment) {
        let Some(before) = self.time.filter(|&before| time < before) else { return };
        if self.cautions.len() < MOST_FAULTS {
            let place = segment.place_of(line, &format!("\"time\":\"{}\"", said.time));
            self.cautions.push(
                Diagnostic::caution(format!("the clock went backwards before entry {}", said.seq))
                    .at(place)
                    .label(format!("the entry before was written at {}", before.rfc3339()))
                    .remedy("nothing is lost: entries stand in the order in which they were written"),
            );
        }
    }

    fn fault(&mut self, fault: Diagnostic) {
        self.tell(fault.remedy(
            "put the segment back from a copy, such as an export of the commission, and verify again; without a copy, \
             keep the folder as it is and go on under another commission",
        ));
    }

    fn tell(&mut self, fault: Diagnostic) {
        if self.faults.len() < MOST_FAULTS {
            self.faults.push(fault);
        } else {
            self.unsaid += 1;
        }
    }
}

/// A segment, and the beginnings of its lines to show.
struct Segment<'a> {
    number: u32,
    shown: &'a str,
    bytes: &'a [u8],
    source: Option<Arc<Source>>,
}

impl Segment<'_> {
    /// A place in a line, counted from 1; the span is counted from the line's start and drawn in to what is shown.
    fn place(&mut self, line: usize, span: Range<usize>) -> Place {
        let source = Arc::clone(self.source());
        let start: usize = source.text.split_inclusive('\n').take(line - 1).map(str::len).sum();
        let length = source.text[start..].find('\n').unwrap_or(source.text.len() - start);
        Place::new(source, start + span.start.min(length)..start + span.end.min(length))
    }

    fn place_of(&mut self, line: usize, part: &str) -> Place {
        let whole = self.place(line, 0..SHOWN);
        match whole.text().find(part) {
            Some(at) => self.place(line, at..at + part.len()),
            None => whole,
        }
    }

    fn source(&mut self) -> &Arc<Source> {
        self.source.get_or_insert_with(|| {
            let lines = self.bytes.split(|&b| b == b'\n').map(|line| {
                let start = &line[..line.len().min(4 * SHOWN)];
                String::from_utf8_lossy(start).chars().take(SHOWN).collect::<String>()
            });
            let text = lines.collect::<Vec<_>>().join("\n");
            Arc::new(Source { name: self.shown.to_owned(), text })
        })
    }
}
