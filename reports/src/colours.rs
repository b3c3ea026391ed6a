//! The colours of the six sides, as the `colour` stage was told them.

use serde_json::Value;
use turnhue_stages::findings::{self, Fact};
use turnhue_stages::{Side, Six, Srgb};

use crate::record::Record;

/// Two letters for a side, so that no colour has to speak alone.
pub(crate) const fn symbol(side: Side) -> &'static str {
    ["Ri", "Le", "Ba", "Fr", "To", "Bo"][side as usize]
}

/// The six colours, where a stage was told one for every side, or said the mean of what it laid there.
pub(crate) fn of_sides(record: &Record) -> Option<Six<Srgb>> {
    let mut stages = record.stages.iter().rev().filter(|stage| stage.name == "colour");
    stages.find_map(|stage| six(&stage.settings).or_else(|| said(&stage.facts)))
}

/// The colours in the table `faces by side`: a side with a picture or a gradient is known by its mean.
fn said(facts: &[Fact]) -> Option<Six<Srgb>> {
    let rows = facts.iter().find_map(|fact| match &fact.value {
        findings::Value::Table { columns, rows } if fact.name == "faces by side" && columns.get(1)? == "colour" => {
            Some(rows)
        }
        _ => None,
    })?;
    let of =
        |side: &Side| rows.iter().find(|row| row.first().is_some_and(|word| word == side.word()))?.get(1)?.parse().ok();
    let colours: Option<Vec<Srgb>> = Side::ALL.iter().map(of).collect();
    Some(Six(colours?.try_into().ok()?))
}

/// The colour of the cavity, where the `colour` stage was told it.
pub(crate) fn of_inside(record: &Record) -> Option<Srgb> {
    record
        .stages
        .iter()
        .rev()
        .filter(|stage| stage.name == "colour")
        .find_map(|stage| colour(stage.settings.get("inside")?))
}

/// Greys for a piece without six colours, lightest on top.
pub(crate) const GREYS: Six<Srgb> =
    Six([Srgb([0x8a; 3]), Srgb([0x9c; 3]), Srgb([0x6e; 3]), Srgb([0xb4; 3]), Srgb([0xdc; 3]), Srgb([0x54; 3])]);

/// Black or white, whichever is read more easily on the colour (contrast ratio of WCAG 2.2).
pub(crate) fn ink_on(colour: Srgb) -> &'static str {
    const BLACK: Srgb = Srgb([0; 3]);
    const WHITE: Srgb = Srgb([255; 3]);
    if contrast(colour, BLACK) >= contrast(colour, WHITE) { "#000000" } else { "#ffffff" }
}

/// Six colours by side, at the top of the settings or in a group of their own.
fn six(settings: &Value) -> Option<Six<Srgb>> {
    let group = settings.as_object()?;
    let told: Option<Vec<_>> = Side::ALL.iter().map(|side| colour(group.get(side.word())?)).collect();
    match told.map(<[Srgb; 6]>::try_from) {
        Some(Ok(colours)) => Some(Six(colours)),
        _ => group.values().find_map(six),
    }
}

fn colour(setting: &Value) -> Option<Srgb> {
    setting.as_str()?.parse().ok()
}

/// The contrast ratio of WCAG 2.2, between 1 and 21.
fn contrast(a: Srgb, b: Srgb) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// The relative luminance of WCAG 2.2, between 0 and 1.
fn luminance(Srgb(channels): Srgb) -> f64 {
    let [r, g, b] = channels.map(|channel| {
        let value = f64::from(channel) / 255.0;
        if value <= 0.04045 { value / 12.92 } else { libm::pow((value + 0.055) / 1.055, 2.4) }
    });
    0.2126 * r + 0.7152 * g + 0.0722 * b
}
