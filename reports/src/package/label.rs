//! The label for parcel and shelf: what it is, and a QR code (ISO/IEC 18004) of commission, run and digest, as plain text that a
//! phone shows as it is.

use askama::Template;
use qrcodegen::{QrCode, QrCodeEcc};
use turnhue_stages::Srgb;

use super::{Ordered, Undrawn, colours};
use crate::record::Record;
use crate::shell::Shell;

/// Width and height in mm.
const SIZE: [f64; 2] = [80.0, 40.0];

/// The edge of the code in mm, with the quiet zone of four modules around it that the standard asks for (ISO/IEC 18004, 9.1).
const CODE: f64 = 36.0;
const QUIET: i32 = 4;

/// The width of the room for words, in mm.
const ROOM: f64 = 37.0;

/// Most labels on the page: one for each copy, up to so many.
const MOST_LABELS: u32 = 60;

/// Of several files, so many stand in the code: one code holds some 2000 bytes that a phone can still read off paper in far
/// smaller modules than these.
const MOST_FILES: usize = 8;

/// Digits of a digest that tell files apart where there is no room for all 64.
const SHORT: usize = 16;

/// The label as SVG, and a page with one for each copy.
pub(super) fn draw(record: &Record, ordered: &[Ordered<'_>]) -> Result<[String; 2], Undrawn> {
    let paper = record.package.as_ref().and_then(|package| package.paper).map(super::Paper::word);
    let shell = Shell::of(record)?.on(paper);
    let bands = (0_u8..).zip(colours::IN_TURN);
    let bands =
        bands.map(|(at, side)| (format!("{:.2}", f64::from(at) * SIZE[1] / 6.0), shell.colours[side])).collect();
    let label = Label { lines: lines(record, ordered), code: Code::of(&payload(record, ordered)), bands };
    let label = label.render()?;
    let copies = record.package.as_ref().and_then(|package| package.copies).unwrap_or(1).clamp(1, MOST_LABELS);
    let page = Page { record, shell, label: &label, copies };
    let page = page.render()?;
    Ok([label, page])
}

#[derive(Template)]
#[template(path = "label.svg", whitespace = "minimize")]
struct Label {
    lines: Vec<Line>,
    /// Nothing where not even the shortest text would fit, which no record that was read back can bring about.
    code: Option<Code>,
    /// The six colours along the left edge, each with its place from above in mm.
    bands: Vec<(String, Srgb)>,
}

#[derive(Template)]
#[template(path = "label.html", whitespace = "minimize")]
struct Page<'a> {
    record: &'a Record,
    shell: Shell,
    label: &'a str,
    copies: u32,
}

/// What the code says.
fn payload(record: &Record, ordered: &[Ordered<'_>]) -> String {
    let mut text = format!("{}\n{}\n", record.commission, record.run);
    match ordered {
        [only] => text += &format!("{}\nBLAKE3 {}", only.file.name, only.file.blake3),
        several => {
            let lines = several.iter().take(MOST_FILES);
            let lines: Vec<String> =
                lines.map(|ordered| format!("{} {}", ordered.file.name, short(&ordered.file.blake3))).collect();
            text += &format!("{} files, BLAKE3 begins with\n{}", several.len(), lines.join("\n"));
        }
    }
    text
}

fn short(digest: &str) -> String {
    digest.chars().take(SHORT).collect()
}

/// The dark modules of a code.
struct Code {
    /// A path of its runs, in modules.
    path: String,
    /// Where it begins, and how large a module is, in mm.
    at: [f64; 2],
    module: f64,
}

impl Code {
    fn of(text: &str) -> Option<Self> {
        let code =
            QrCode::encode_text(text, QrCodeEcc::Medium).or_else(|_| QrCode::encode_text(text, QrCodeEcc::Low)).ok()?;
        let modules = code.size();
        let mut path = String::new();
        for y in 0..modules {
            let mut x = 0;
            while x < modules {
                let run = (x..modules).take_while(|&x| code.get_module(x, y)).count();
                if run > 0 {
                    path += &format!("M{x} {y}h{run}v1h-{run}z");
                }
                #[allow(clippy::cast_possible_truncation, clippy::cast_possible_wrap, reason = "at most 177 modules")]
                let next = run as i32;
                x += next.max(1);
            }
        }
        let module = CODE / f64::from(modules + 2 * QUIET);
        let quiet = f64::from(QUIET) * module;
        Some(Self { path, at: [SIZE[0] - CODE - 1.0 + quiet, (SIZE[1] - CODE) / 2.0 + quiet], module })
    }

    /// Where it goes, as SVG has it, to a micrometre.
    fn placed(&self) -> String {
        let [x, y] = self.at;
        format!("translate({x:.3} {y:.3}) scale({:.4})", self.module)
    }
}

/// A line of words.
#[derive(Debug, PartialEq)]
struct Line {
    class: &'static str,
    /// Its base line, in mm from above.
    y: f64,
    text: String,
}

impl Line {
    fn moved(self, down: f64) -> Self {
        Self { y: self.y + down, ..self }
    }

    /// The base line, as SVG has it.
    fn base(&self) -> String {
        format!("{:.2}", self.y)
    }
}

/// How a text is set: class in the style, height of a letter and of a line in mm, and the width of a letter in shares of its height.
struct Setting {
    class: &'static str,
    height: f64,
    step: f64,
    width: f64,
    most: usize,
}

fn lines(record: &Record, ordered: &[Ordered<'_>]) -> Vec<Line> {
    let large = Setting { class: "commission", height: 4.2, step: 4.8, width: 0.62, most: 1 };
    let small = Setting { class: "commission small", height: 2.7, step: 3.1, width: 0.62, most: 3 };
    let title = Setting { class: "title", height: 3.0, step: 3.7, width: 0.5, most: 3 };
    let mono = Setting { class: "run", height: 1.9, step: 2.4, width: 0.61, most: 3 };
    let digest = match ordered {
        [only] => format!("{} {}", only.file.name, short(&only.file.blake3)),
        several => format!("{} files to order", several.len()),
    };
    let of_commission = if fits(&record.commission, &large) { large } else { small };
    let mut y = 2.0;
    let mut lines = Vec::new();
    for (text, setting, gap) in
        [(&record.commission, of_commission, 0.0), (&record.title, title, 1.0), (&record.run, mono, 1.2)]
    {
        y += gap;
        set(text, &setting, &mut y, &mut lines);
    }
    let mono = Setting { class: "run", height: 1.9, step: 2.4, width: 0.61, most: 2 };
    set(&digest, &mono, &mut y, &mut lines);
    // Half of what is left goes above.
    let above = ((SIZE[1] - y - 2.0) / 2.0).max(0.0);
    lines.into_iter().map(|line| line.moved(above)).collect()
}

fn fits(text: &str, setting: &Setting) -> bool {
    width(text) <= letters(setting)
}

/// So many letters go into a line.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few dozen")]
fn letters(setting: &Setting) -> usize {
    (ROOM / (setting.height * setting.width)) as usize
}

/// So many letters a text is wide: those of wide scripts count twice.
fn width(text: &str) -> usize {
    text.chars().map(wide).sum()
}

fn wide(letter: char) -> usize {
    if letter >= '\u{1100}' { 2 } else { 1 }
}

/// Sets a text in lines that fit, words whole where they can be; what has no room ends with an ellipsis.
fn set(text: &str, setting: &Setting, y: &mut f64, lines: &mut Vec<Line>) {
    for text in wrapped(text, letters(setting), setting.most) {
        *y += setting.step;
        lines.push(Line { class: setting.class, y: *y, text });
    }
}

fn wrapped(text: &str, room: usize, most: usize) -> Vec<String> {
    // XML has no place for what cannot be printed (XML 1.0, 2.2), whatever a title holds.
    let text: String =
        text.chars().map(|c| if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') { ' ' } else { c }).collect();
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let mut word = word;
        loop {
            let line = lines.last_mut().map_or(0, |line| width(line));
            let gap = usize::from(line > 0);
            let last = lines.len() - 1;
            if line + gap + width(word) <= room {
                lines[last] += if gap > 0 { " " } else { "" };
                lines[last] += word;
                break;
            }
            if line == 0 {
                // Longer than a whole line: it is cut.
                let mut used = 0;
                let end = word.char_indices().find(|&(_, c)| {
                    used += wide(c);
                    used > room
                });
                let (head, rest) =
                    word.split_at(end.map_or(word.len(), |(at, c)| if at == 0 { c.len_utf8() } else { at }));
                lines[last] += head;
                word = rest;
                if word.is_empty() {
                    break;
                }
            }
            lines.push(String::new());
        }
    }
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            while width(last) + 1 > room && last.pop().is_some() {}
            *last = format!("{}…", last.trim_end());
        }
    }
    lines.retain(|line| !line.is_empty());
    lines
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn words_stay_whole_where_they_can() {
        assert_eq!(wrapped("Whelk for the harbour library", 16, 3), ["Whelk for the", "harbour library"]);
        assert_eq!(wrapped("  a\u{1}b\n", 16, 3), ["a b"]);
        assert_eq!(wrapped("abcdefghij", 4, 3), ["abcd", "efgh", "ij"]);
        assert_eq!(wrapped("one two three four", 5, 2), ["one", "two…"]);
        assert_eq!(wrapped("鯨の貝殻", 4, 3), ["鯨の", "貝殻"]);
    }

    proptest! {
        #[test]
        fn no_line_is_wider_than_its_room(text in ".{0,200}", room in 3_usize..30, most in 1_usize..4) {
            let lines = wrapped(&text, room, most);
            prop_assert!(lines.len() <= most);
            for line in lines {
                prop_assert!(width(&line) <= room + 1, "{line:?}");
                prop_assert!(!line.chars().any(char::is_control));
            }
        }
    }

    /// Every text of the longest commission and run has a code, of modules that a phone can still tell apart on a print of 300
    /// dots an inch.
    #[test]
    fn the_code_stays_coarse_enough_to_print() {
        let longest = format!("{}\n{}\npiece.3mf\nBLAKE3 {}", "C".repeat(64), "r".repeat(73), "f".repeat(64));
        for text in ["HB-2027-03", &longest] {
            let code = Code::of(text).unwrap_or_else(|| panic!("{text} has a code"));
            assert!(code.module > 4.0 * 25.4 / 300.0, "modules of {} mm", code.module);
        }
    }
}
