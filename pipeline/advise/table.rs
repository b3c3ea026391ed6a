//! An advice as text: for the terminal, and as CSV (RFC 4180).

use turnhue_reports::advice::{Advice, Size};

use super::choose::mm;
use crate::diagnostic::harmless;

/// In the place of what is not known.
const UNKNOWN: &str = "–";

/// Table and recommendation for people.
pub(super) fn in_words(commission: &str, advice: &Advice) -> String {
    const HEADINGS: [&str; 9] =
        ["cell", "cells", "effect", "legibility", "kept", "likeness", "price", "weight", "smallest wall"];
    let rows: Vec<[String; 9]> = advice.sizes.iter().map(cells).collect();
    let column = |at: usize| rows.iter().map(|row| row[at].chars().count()).chain([HEADINGS[at].chars().count()]).max();
    let widths: [usize; 9] = std::array::from_fn(|at| column(at).unwrap_or_default());
    let line = |row: &[String; 9]| -> String {
        let texts = row.iter().zip(widths).enumerate();
        // The effect is a word and stands to the left, numbers to the right.
        texts
            .map(|(at, (text, width))| if at == 2 { format!("  {text:<width$}") } else { format!("  {text:>width$}") })
            .collect()
    };
    let mut words = format!("{commission}: sizes of the cell\n{}\n", line(&HEADINGS.map(str::to_owned)));
    for (size, row) in advice.sizes.iter().zip(&rows) {
        words += format!("{}  {}", line(row), remark(size, advice)).trim_end();
        words += "\n";
    }
    for sentence in advice.words.iter().chain(&advice.missing) {
        words += &format!("  {sentence}\n");
    }
    harmless(&words)
}

fn cells(size: &Size) -> [String; 9] {
    let or_unknown = |text: Option<String>| text.unwrap_or_else(|| UNKNOWN.to_owned());
    let percent = |share: Option<f64>| or_unknown(share.map(|share| format!("{share:.1} %")));
    [
        mm(size.cell),
        or_unknown(size.cells.map(|cells| cells.to_string())),
        or_unknown(size.effect.map(|effect| effect.word().to_owned())),
        percent(size.legibility),
        percent(size.separation),
        percent(size.likeness),
        or_unknown(size.price.as_ref().map(ToString::to_string)),
        or_unknown(size.weight.map(|weight| format!("{weight:.1} g"))),
        or_unknown(size.smallest_wall.map(|wall| format!("{wall:.2} mm"))),
    ]
}

/// What stands behind a row.
fn remark(size: &Size, advice: &Advice) -> String {
    let mut remarks = Vec::new();
    if advice.recommended == Some(size.cell) {
        remarks.push("recommended".to_owned());
    }
    if advice.own == Some(size.cell) {
        remarks.push("the job's own".to_owned());
    }
    if !size.faults.is_empty() {
        remarks.push(format!("faults: {}", size.faults.join(", ")));
    }
    remarks.extend(size.refused.clone());
    remarks.join("; ")
}

/// The rows as CSV: one header line, numbers with a point, what is not known left empty.
pub(super) fn csv(advice: &Advice) -> String {
    let mut text = "cell_mm,cells,effect,legibility_percent,separation_kept_percent,likeness_percent,price,currency,\
                    weight_g,smallest_wall_mm,recommended,faults,refused\r\n"
        .to_owned();
    for size in &advice.sizes {
        let number = |number: Option<f64>| number.map(|number| number.to_string()).unwrap_or_default();
        let fields = [
            size.cell.to_string(),
            size.cells.map(|cells| cells.to_string()).unwrap_or_default(),
            size.effect.map(|effect| effect.word().to_owned()).unwrap_or_default(),
            number(size.legibility),
            number(size.separation),
            number(size.likeness),
            size.price.as_ref().map(|price| price.amount.clone()).unwrap_or_default(),
            size.price.as_ref().map(|price| price.currency.clone()).unwrap_or_default(),
            number(size.weight),
            number(size.smallest_wall),
            if advice.recommended == Some(size.cell) { "yes" } else { "no" }.to_owned(),
            size.faults.join(" "),
            size.refused.clone().unwrap_or_default(),
        ];
        text += &fields.map(|field| quoted(&field)).join(",");
        text += "\r\n";
    }
    text
}

fn quoted(field: &str) -> String {
    if field.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", field.replace('"', "\"\""))
    } else {
        field.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use turnhue_reports::advice::{Effect, Money};

    use super::*;

    fn advice() -> Advice {
        let size = Size {
            cell: 3.0,
            cells: Some(42_481),
            effect: Some(Effect::Holds),
            legibility: Some(93.25),
            price: Some(Money { amount: "300.54".to_owned(), currency: "EUR".to_owned() }),
            ..Size::default()
        };
        let none = Size { cell: 12.5, refused: Some("no \"place\", none".to_owned()), ..Size::default() };
        Advice {
            sizes: vec![size, none],
            own: Some(12.5),
            recommended: Some(3.0),
            words: vec!["So.".to_owned()],
            ..Advice::default()
        }
    }

    #[test]
    fn the_table_has_a_line_a_size_in_columns() {
        let words = in_words("C-1", &advice());
        let lines: Vec<&str> = words.lines().collect();
        assert_eq!(lines.len(), 5, "{words}");
        assert_eq!(
            lines[2].split_whitespace().collect::<Vec<_>>().join(" "),
            "3 mm 42481 holds 93.2 % – – 300.54 EUR – – recommended"
        );
        assert!(lines[3].ends_with("the job's own; no \"place\", none"), "{words}");
        let column = |line: &str, text: &str| line.find(text).map(|at| line[..at + text.len()].chars().count());
        assert_eq!(column(lines[1], "cell"), column(lines[2], "3 mm"));
        assert_eq!(column(lines[1], "price"), column(lines[2], "300.54 EUR"));
    }

    #[test]
    fn csv_is_that_of_rfc_4180() {
        let text = csv(&advice());
        let lines: Vec<&str> = text.split("\r\n").collect();
        assert_eq!(lines[1], "3,42481,holds,93.25,,,300.54,EUR,,,yes,,");
        assert_eq!(lines[2], "12.5,,,,,,,,,,no,,\"no \"\"place\"\", none\"");
        assert_eq!(lines[3..], [""]);
        assert_eq!(lines[0].split(',').count(), 13);
    }
}
