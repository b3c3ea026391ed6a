//! What a job tells for the sheets of its order: what the run itself cannot know.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What stands on the sheets of the order beside what the run knows. Everything may be left out: the sheets then have lines to
/// fill in by hand.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default, expecting = "a map such as { copies: 2, from: My studio, to: The bureau }")]
pub struct PackageRequest {
    /// How many copies are ordered, from 1 to 10 000.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1, max = 10_000))]
    pub copies: Option<u32>,
    /// What is done to the print afterwards, in the bureau's words, such as [matt varnish]; [] for nothing. Left out: what
    /// `estimate` is told to reckon with, or a line to fill in.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub finishing: Option<Vec<String>>,
    /// Who orders: name and address, in several lines if you like.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
    /// Who prints: name and address.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<String>,
    /// What else the bureau should know.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// The paper on which the sheets are printed: a4 or letter. Left out: whatever is in the printer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub paper: Option<Paper>,
}

/// A size of paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Paper {
    /// 210 × 297 mm (ISO 216).
    A4,
    /// 8.5 × 11 inches (ANSI/ASME Y14.1, size A).
    Letter,
}

impl Paper {
    /// As a style sheet says it (CSS Paged Media Level 3, 7.1).
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "letter",
        }
    }
}

/// A part of a request that makes no sense.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Amiss {
    /// Which: its path below `package`.
    pub setting: String,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub remedy: &'static str,
}

impl PackageRequest {
    /// Most copies: as many as `estimate` prices.
    const MOST_COPIES: u32 = 10_000;
    /// Most kinds of finishing.
    const MOST_FINISHING: usize = 12;
    /// Longest name of a finishing, in characters.
    const LONGEST_NAME: usize = 100;
    /// Longest address, and longest note, in characters.
    const LONGEST_ADDRESS: usize = 400;
    const LONGEST_NOTE: usize = 2000;

    /// What the types alone cannot tell: everything that is amiss.
    #[must_use]
    pub fn check(&self) -> Vec<Amiss> {
        let mut amiss = Vec::new();
        if let Some(copies) = self.copies.filter(|copies| !(1..=Self::MOST_COPIES).contains(copies)) {
            let message = format!("from 1 to {} copies can be ordered, not {copies}", Self::MOST_COPIES);
            amiss.push(Amiss { setting: "copies".to_owned(), message, remedy: "leave it out for a line to fill in" });
        }
        let finishing = self.finishing.as_deref().unwrap_or_default();
        if finishing.len() > Self::MOST_FINISHING {
            let message = format!("at most {} kinds of finishing fit, not {}", Self::MOST_FINISHING, finishing.len());
            amiss.push(Amiss { setting: "finishing".to_owned(), message, remedy: "put the rest into `note`" });
        }
        let names = finishing.iter().take(Self::MOST_FINISHING).enumerate();
        let names = names.map(|(at, name)| (format!("finishing[{at}]"), name.as_str(), Self::LONGEST_NAME, false));
        let texts = [
            ("from", &self.from, Self::LONGEST_ADDRESS),
            ("to", &self.to, Self::LONGEST_ADDRESS),
            ("note", &self.note, Self::LONGEST_NOTE),
        ];
        let texts = texts
            .into_iter()
            .filter_map(|(name, text, longest)| text.as_deref().map(|text| (name.to_owned(), text, longest, true)));
        amiss.extend(
            names.chain(texts).filter_map(|(setting, text, longest, lines)| wrong(setting, text, longest, lines)),
        );
        amiss
    }
}

/// What is wrong with a text of a sheet, which may have several lines or not.
fn wrong(setting: String, text: &str, longest: usize, lines: bool) -> Option<Amiss> {
    let length = text.chars().count();
    let (message, remedy) = if text.trim().is_empty() {
        ("this is empty".to_owned(), "write what is to stand there, or leave it out for a line to fill in")
    } else if length > longest {
        (format!("this has {length} characters; at most {longest} fit"), "say it in fewer words")
    } else if text.chars().any(|c| c.is_control() && !(lines && c == '\n')) {
        (
            "this has a character that cannot be printed".to_owned(),
            "write plain text; lines are parted with `|` and new lines",
        )
    } else {
        return None;
    };
    Some(Amiss { setting, message, remedy })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use serde_json::{Value, from_value, json};

    use super::*;

    #[test]
    fn what_makes_no_sense_names_its_setting() {
        let amiss = |value: Value| -> Vec<String> {
            let request: PackageRequest = from_value(value).unwrap();
            request.check().into_iter().map(|amiss| amiss.setting).collect()
        };
        let fine =
            json!({ "copies": 10_000, "finishing": ["matt varnish"], "from": "A\nB", "note": "–", "paper": "letter" });
        assert!(amiss(fine).is_empty() && amiss(json!({})).is_empty() && amiss(json!({ "finishing": [] })).is_empty());
        let wrong = json!({
            "copies": 0, "finishing": ["a", "", "b\nc"], "from": " ", "to": "x".repeat(401), "note": "a\u{1b}[2J",
        });
        assert_eq!(amiss(wrong), ["copies", "finishing[1]", "finishing[2]", "from", "to", "note"]);
        assert_eq!(amiss(json!({ "copies": 10_001, "finishing": vec!["x"; 13] })), ["copies", "finishing"]);
    }
}
