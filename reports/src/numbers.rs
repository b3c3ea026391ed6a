//! Numbers as people read them. Digits are grouped in threes by a narrow space (ISO 80000-1, 7.3.1), a number never
//! breaks from its unit, and a minus is a minus.

use turnhue_stages::findings::Unit;

/// Narrow no-break space, between groups of digits.
const GROUP: char = '\u{202f}';
/// No-break space, between a number and its unit.
const GAP: char = '\u{a0}';
const MINUS: char = '\u{2212}';

/// A count.
pub(crate) fn whole(value: i64) -> String {
    tidy(&value.to_string())
}

/// A measured number with four significant digits, and never fewer than stand before the point.
pub(crate) fn measured(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    if !value.is_finite() {
        return "not a number".to_owned();
    }
    let scientific = format!("{value:.3e}");
    let (mantissa, exponent) = scientific.split_once('e').unwrap_or((&scientific, "0"));
    match exponent.parse().unwrap_or(0) {
        exponent @ ..-4 => format!("{}{GAP}×{GAP}10{}", tidy(without_end_zeros(mantissa)), superscript(exponent)),
        exponent @ 15.. => format!("{}{GAP}×{GAP}10{}", tidy(without_end_zeros(mantissa)), superscript(exponent)),
        exponent => {
            let decimals = usize::try_from(3 - exponent).unwrap_or(0);
            tidy(without_end_zeros(&format!("{value:.decimals$}")))
        }
    }
}

/// A measured number with its unit.
pub(crate) fn quantity(value: f64, unit: Option<Unit>) -> String {
    match unit {
        // A share that is not the whole must not round up to it.
        Some(Unit::Percent) if (99.995..100.0).contains(&value) => format!("over 99.99{GAP}%"),
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "saturates, which is what is wanted"
        )]
        Some(Unit::Bytes) => bytes(value as u64),
        _ => with_unit(measured(value), unit),
    }
}

/// A count with its unit.
pub(crate) fn count(value: i64, unit: Option<Unit>) -> String {
    match (unit, u64::try_from(value)) {
        (Some(Unit::Bytes), Ok(size)) => bytes(size),
        _ => with_unit(whole(value), unit),
    }
}

/// Three numbers along x, y and z with their unit.
pub(crate) fn triple(values: [f64; 3], unit: Option<Unit>) -> String {
    with_unit(values.map(measured).join(" × "), unit)
}

/// Lengths in mm, side by side: `132 × 118 × 180 mm`.
pub(crate) fn millimetres(lengths: &[f64]) -> String {
    let numbers: Vec<_> = lengths.iter().copied().map(measured).collect();
    with_unit(numbers.join(" × "), Some(Unit::Mm))
}

/// The size of a file, in the decimal multiples of the SI.
pub(crate) fn bytes(size: u64) -> String {
    #[expect(clippy::cast_precision_loss, reason = "shown with three digits")]
    let of = |unit: f64| size as f64 / unit;
    match size {
        1 => format!("1{GAP}byte"),
        0..1_000 => format!("{size}{GAP}bytes"),
        1_000..1_000_000 => format!("{:.1}{GAP}kB", of(1e3)),
        1_000_000..1_000_000_000 => format!("{:.2}{GAP}MB", of(1e6)),
        _ => format!("{:.2}{GAP}GB", of(1e9)),
    }
}

/// How long something took.
pub(crate) fn seconds(time: f64) -> String {
    if !time.is_finite() || time < 0.0 {
        return "unknown time".to_owned();
    }
    match time {
        ..0.0995 => format!("{:.0}{GAP}ms", time * 1e3),
        ..9.995 => format!("{time:.2}{GAP}s"),
        ..60.0 => format!("{time:.1}{GAP}s"),
        _ => format!("{:.0}{GAP}min {:02.0}{GAP}s", (time / 60.0).floor(), (time % 60.0).floor()),
    }
}

/// An amount of money: its exact digits behind the ISO 4217 code.
pub(crate) fn money(amount: &str, currency: &str) -> String {
    format!("{currency}{GAP}{}", tidy(amount))
}

/// A moment, `2027-03-04T09:12:33Z` (RFC 3339 in UTC), as `4 March 2027, 09:12 UTC`; other text as it is.
pub(crate) fn moment(text: &str) -> String {
    let read = || {
        let (date, time) = text.strip_suffix('Z')?.split_once('T')?;
        Some(format!("{}, {}{GAP}UTC", date_in_words(date)?, time.get(..5)?))
    };
    read().unwrap_or_else(|| text.to_owned())
}

/// A day, `2027-03-04`, as `4 March 2027`; other text as it is.
pub(crate) fn day(text: &str) -> String {
    date_in_words(text).unwrap_or_else(|| text.to_owned())
}

fn date_in_words(date: &str) -> Option<String> {
    const MONTHS: [&str; 12] = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    let mut date = date.splitn(3, '-');
    let (year, month, day) = (date.next()?, date.next()?.parse::<usize>().ok()?, date.next()?.parse::<u8>().ok()?);
    let month = MONTHS.get(month.checked_sub(1)?)?;
    year.bytes().all(|b| b.is_ascii_digit()).then(|| format!("{day}{GAP}{month} {year}"))
}

/// Whether a text of a table is a number, alone or with a short unit or a currency beside it.
pub(crate) fn is_number(text: &str) -> bool {
    let words: Vec<_> = text.split_whitespace().collect();
    match words[..] {
        [number] => is_decimal(number.trim_end_matches('%')),
        [first, second] => (is_decimal(first) && second.len() <= 5) || (is_decimal(second) && first.len() == 3),
        _ => false,
    }
}

/// Groups the digits of every plain decimal number in a text, and leaves other words as they are.
pub(crate) fn tidy(text: &str) -> String {
    text.split(' ')
        .map(|word| if is_decimal(word) { grouped(word) } else { word.to_owned() })
        .collect::<Vec<_>>()
        .join(" ")
}

/// A text in which no line ends between a number and its unit.
pub(crate) fn bound(text: &str) -> String {
    const UNITS: [&str; 13] = ["%", "mm", "mm²", "cm", "cm²", "cm³", "g", "kg", "N", "MPa", "°", "h", "EUR"];
    let mut bound = String::with_capacity(text.len());
    let mut after_number = false;
    for (place, word) in text.split(' ').enumerate() {
        let unit = word.trim_end_matches(['.', ',', ';', ':', ')']);
        let keeps = after_number && UNITS.contains(&unit);
        bound.push_str(if place == 0 {
            ""
        } else if keeps {
            "\u{a0}"
        } else {
            " "
        });
        bound.push_str(word);
        after_number = word.ends_with(|last: char| last.is_ascii_digit());
    }
    bound
}

fn is_decimal(word: &str) -> bool {
    let digits = word.strip_prefix(['-', MINUS]).unwrap_or(word);
    let (before, after) = digits.split_once('.').unwrap_or((digits, "0"));
    [before, after].iter().all(|part| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit()))
}

fn grouped(decimal: &str) -> String {
    let unsigned = decimal.trim_start_matches(['-', MINUS]);
    let (before, after) = unsigned.split_once('.').map_or((unsigned, None), |(before, after)| (before, Some(after)));
    let mut text = String::new();
    if unsigned.len() < decimal.len() {
        text.push(MINUS);
    }
    for (place, digit) in before.char_indices() {
        if place > 0 && (before.len() - place).is_multiple_of(3) {
            text.push(GROUP);
        }
        text.push(digit);
    }
    if let Some(after) = after {
        text.push('.');
        text.push_str(after);
    }
    text
}

fn without_end_zeros(decimal: &str) -> &str {
    if decimal.contains('.') { decimal.trim_end_matches('0').trim_end_matches('.') } else { decimal }
}

fn superscript(exponent: i32) -> String {
    let raise = |sign| match sign {
        '-' => '⁻',
        '1' => '¹',
        '2' => '²',
        '3' => '³',
        digit => char::from_u32('⁰' as u32 + u32::from(digit) - u32::from('0')).unwrap_or(digit),
    };
    exponent.to_string().chars().map(raise).collect()
}

fn with_unit(number: String, unit: Option<Unit>) -> String {
    let Some(unit) = unit else { return number };
    match unit.sign() {
        "" => number,
        "°" => number + "°",
        plural if number == "1" && unit != Unit::Mm && plural.len() > 3 => {
            format!("1{GAP}{}", plural.trim_end_matches('s'))
        }
        sign => format!("{number}{GAP}{sign}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Shows the spaces, so that the expected texts can be read.
    fn plain(text: &str) -> String {
        text.replace(GROUP, "_").replace(GAP, "~").replace(MINUS, "-")
    }

    #[test]
    fn numbers_keep_four_digits_and_lose_none_before_the_point() {
        for (value, text) in [
            (0.0, "0"),
            (2.5, "2.5"),
            (1.0 / 3.0, "0.3333"),
            (180.0, "180"),
            (99.995, "100"),
            (131.256, "131.3"),
            (9999.5, "10_000"),
            (12_480.2, "12_480"),
            (-1_234_567.8, "-1_234_568"),
            (0.000_25, "0.00025"),
            (-0.000_012, "-1.2~×~10⁻⁵"),
            (6.022e23, "6.022~×~10²³"),
            (f64::NAN, "not a number"),
            (f64::MAX, "1.798~×~10³⁰⁸"),
        ] {
            assert_eq!(plain(&measured(value)), text, "{value}");
        }
    }

    #[test]
    fn a_share_below_the_whole_never_reads_as_the_whole() {
        for (share, text) in [(100.0, "100~%"), (99.999_9, "over 99.99~%"), (99.98, "99.98~%"), (0.0, "0~%")] {
            assert_eq!(plain(&quantity(share, Some(Unit::Percent))), text, "{share}");
        }
    }

    #[test]
    fn every_unit_stands_behind_its_number() {
        for (text, expected) in [
            (count(1, Some(Unit::Cells)), "1~cell"),
            (count(52_310, Some(Unit::Triangles)), "52_310~triangles"),
            (count(1, Some(Unit::WorkingDays)), "1~working day"),
            (count(-3, Some(Unit::Count)), "-3"),
            (count(1, Some(Unit::Mm3)), "1~mm³"),
            (count(1_243_882, Some(Unit::Bytes)), "1.24~MB"),
            (quantity(45.0, Some(Unit::Degrees)), "45°"),
            (quantity(1.0, Some(Unit::Percent)), "1~%"),
            (triple([132.0, 118.5, 1180.0], Some(Unit::Mm)), "132 × 118.5 × 1_180~mm"),
            (bytes(0), "0~bytes"),
            (bytes(999_999), "1000.0~kB"),
            (seconds(0.0421), "42~ms"),
            (seconds(1.234), "1.23~s"),
            (seconds(125.9), "2~min 05~s"),
            (money("-1234.50", "EUR"), "EUR~-1_234.50"),
        ] {
            assert_eq!(plain(&text), expected);
        }
    }

    #[test]
    fn moments_are_read_or_left_alone() {
        assert_eq!(plain(&moment("2027-03-04T09:12:33Z")), "4~March 2027, 09:12~UTC");
        for text in ["", "yesterday", "2027-13-04T09:12:33Z", "2027-00-04T09:12:33Z", "2027-03-04T9Z", "T-Zé"] {
            assert_eq!(moment(text), text);
        }
    }

    #[test]
    fn columns_of_numbers_are_told_from_words() {
        for text in ["12", "-3.5", "100%", "181.50 EUR", "EUR 181.50", "12 mm²"] {
            assert!(is_number(text), "{text}");
        }
        for text in ["", "right", "3 copies of it", "1.2.3", "on request", "4 to 6 days"] {
            assert!(!is_number(text), "{text}");
        }
        assert_eq!(plain(&tidy("from 12000 to 1.5 at #12000")), "from 12_000 to 1.5 at #12000");
    }

    #[test]
    fn a_number_keeps_its_unit() {
        assert_eq!(
            bound("18.3 % of it, 67 %, at 2 mm. In 3 days"),
            "18.3\u{a0}% of it, 67\u{a0}%, at 2\u{a0}mm. In 3 days"
        );
        assert_eq!(bound("mm 2  mm"), "mm 2  mm");
        assert_eq!(bound(""), "");
    }
}
