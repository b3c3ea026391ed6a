//! The page of a night as HTML: one file that opens offline.

use std::collections::BTreeMap;

use askama::Template;
use turnhue_stages::Srgb;

use super::choose::{Choice, counted};
use super::figures::{Figure, Made};
use super::front::Fronts;
use super::lines::{self, Beside, Known};
use super::plot::{self, Plot};
use super::{DATA, LARGEST, Night, Outcome, Row, TABLE, table, thumbnail};
use crate::address;
use crate::pictures::Picture;
use crate::record::Verdict;
use crate::shell::Shell;
use crate::{numbers, said, script};

/// So many cards stand open, with pictures that are part of the page if they fit; the others are folded, and their pictures
/// linked, since each takes some milliseconds to make small.
const MOST_CARDS: usize = 120;
/// So many kinds of trouble stand open, and so many variants are named under one.
const MOST_TROUBLES: usize = 12;
const MOST_NAMED: usize = 8;
/// So many rows of the table stand on paper.
const MOST_ON_PAPER: usize = 60;

/// Bytes of the picture of a run.
type Pictures<'a> = &'a dyn Fn(&str, &str) -> Option<Vec<u8>>;

pub(super) fn draw(
    night: &Night,
    fronts: &Fronts,
    choice: Option<&Choice>,
    pictures: Pictures<'_>,
) -> Result<String, askama::Error> {
    let pick = choice.and_then(|choice| choice.pick.as_ref());
    let chosen = pick.map(|pick| pick.row);
    let shown = chosen.or_else(|| night.rows.iter().position(|row| row.made().is_some_and(Made::has_no_fault)));
    let colours = shown.into_iter().chain(0..night.rows.len()).find_map(|row| night.rows[row].made()?.colours);
    let lines = lines::lines(night, fronts);
    let pair = lines::pair(night, fronts, choice);
    let mut printed: Vec<Option<String>> = night.rows.iter().map(printed_link).collect();
    let mut page = Page {
        night,
        shell: Shell::with(colours)?.running(&[&[script::THEME], script::NIGHT].concat()),
        banner: Banner::of(night, chosen),
        portrait: chosen.map(|row| portrait(&night.rows[row], pictures)).unwrap_or_default(),
        choice,
        chosen: chosen.map(|row| key_figures(&night.rows[row])).unwrap_or_default(),
        chosen_row: chosen.map(|row| &night.rows[row]),
        troubles: troubles(night),
        plots: [&fronts.legibility, &fronts.likeness]
            .into_iter()
            .filter_map(|front| plot::of(night, front, chosen))
            .collect(),
        cards: cards(night, fronts, chosen),
        columns: columns(night, fronts, chosen),
        beside: pair.map(|rows| Beside::of(night, rows, &lines)),
        known: Known::of(night, chosen, pair, &printed, &lines).json(),
    };
    page.shell.links_pictures = true;
    let bare = page.render()?.len();
    let mut room = LARGEST.saturating_sub(bare);
    for card in page.cards.iter_mut().take(MOST_CARDS) {
        let Some((run, name)) = &card.source else { continue };
        let Some(picture) = thumbnail_within(&mut room, pictures, run, name) else { continue };
        card.picture = Some(picture);
        card.link = None;
    }
    for card in page.cards.iter().take(MOST_CARDS) {
        let Some(name) = card.row.made().and_then(Made::printed) else { continue };
        let Some(picture) = thumbnail_within(&mut room, pictures, &card.row.run, name) else { continue };
        printed[card.at] = Some(picture.address);
    }
    page.known = Known::of(night, chosen, pair, &printed, &lines).json();
    let is_link = |address: &String| !address.starts_with("data:");
    page.shell.links_pictures =
        page.cards.iter().any(|card| card.link.is_some()) || printed.iter().flatten().any(is_link);
    page.render()
}

/// A picture made small as part of the page, if there is room for it.
fn thumbnail_within(room: &mut usize, pictures: Pictures<'_>, run: &str, name: &str) -> Option<Picture> {
    let picture = thumbnail::of(&pictures(run, name)?)?;
    *room = room.checked_sub(picture.address.len())?;
    Some(picture)
}

/// Where a variant's picture as printed lies.
fn printed_link(row: &Row) -> Option<String> {
    row.made()?.printed().map(|name| format!("../../{}/{}", address::part(&row.run), address::part(name)))
}

#[derive(Template)]
#[template(path = "night.html", whitespace = "minimize")]
struct Page<'a> {
    night: &'a Night,
    shell: Shell,
    banner: Banner,
    /// The chosen piece: what is seen, and the picture.
    portrait: Vec<(&'static str, Picture)>,
    choice: Option<&'a Choice>,
    chosen: Vec<(&'static str, String)>,
    chosen_row: Option<&'a Row>,
    troubles: Vec<Trouble<'a>>,
    plots: Vec<Plot>,
    cards: Vec<Card<'a>>,
    columns: Vec<Column>,
    beside: Option<Beside<'a>>,
    /// What the script knows, as JSON.
    known: String,
}

impl Page<'_> {
    /// Whether the table is too long for paper.
    fn is_long(&self) -> bool {
        self.night.rows.len() > MOST_ON_PAPER
    }
}

impl Row {
    /// The address of its summary, from the folder of the night.
    fn summary(&self) -> String {
        format!("../../{}/summary.html", address::part(&self.run))
    }
}

/// What the night comes to, in words.
struct Banner {
    /// Its class in the style sheet.
    class: &'static str,
    word: String,
    meaning: String,
}

impl Banner {
    fn of(night: &Night, chosen: Option<usize>) -> Self {
        let made = |is: fn(&Made) -> bool| night.rows.iter().filter(|row| row.made().is_some_and(is)).count();
        let fit = made(Made::is_fit_to_order);
        let all = night.rows.len();
        let others = [
            (made(|made| !made.has_no_fault()), "has faults", "have faults"),
            (
                made(|made| made.has_no_fault() && made.verdict == Verdict::NotValidated),
                "was not validated",
                "were not validated",
            ),
            (
                night.rows.iter().filter(|row| matches!(row.outcome, Outcome::Failed { .. })).count(),
                "could not be made",
                "could not be made",
            ),
            (
                night.rows.iter().filter(|row| matches!(row.outcome, Outcome::NotRun { .. })).count(),
                "was not run",
                "were not run",
            ),
        ];
        let rest: Vec<String> = others
            .into_iter()
            .filter(|(count, ..)| *count > 0)
            .map(|(count, one, many)| counted(count, one, many))
            .collect();
        let of_all = match (fit, all) {
            (1, 1) => "The only variant is ready to order".to_owned(),
            (fit, all) if fit == all => format!("All {all} variants are ready to order"),
            (fit, all) => format!("{fit} of {} ready to order", counted(all, "variant", "variants")),
        };
        let meaning = if rest.is_empty() { String::new() } else { said::sentence(&rest.join(", ")) };
        match chosen {
            Some(row) => {
                let fit = said::sentence(&of_all);
                Self {
                    class: "ready",
                    word: format!("Chosen: {}", night.rows[row].name),
                    meaning: format!("{fit} {meaning}"),
                }
            }
            None => Self { class: if fit > 0 { "open" } else { "faults" }, word: of_all, meaning },
        }
    }
}

/// The pictures of one piece, as they lie in its run.
fn portrait(row: &Row, pictures: Pictures<'_>) -> Vec<(&'static str, Picture)> {
    let Some(made) = row.made() else { return Vec::new() };
    let of = |name: Option<&str>| Picture::of(&pictures(&row.run, name?)?);
    let shots = [("as designed", of(made.designed())), ("as printed, predicted", of(made.printed()))];
    shots.into_iter().filter_map(|(what, picture)| Some((what, picture?))).collect()
}

/// The figures that a client asks for first.
fn key_figures(row: &Row) -> Vec<(&'static str, String)> {
    const ASKED: [(&str, Figure); 6] = [
        ("Price", Figure::Price),
        ("Legibility", Figure::Legibility),
        ("Likeness", Figure::Likeness),
        ("Weight", Figure::Weight),
        ("Smallest wall", Figure::SmallestWall),
        ("Cautions to read", Figure::Cautions),
    ];
    let made = row.made();
    ASKED.into_iter().filter_map(|(label, figure)| Some((label, figure_words(made?, figure)?))).collect()
}

pub(super) fn figure_words(made: &Made, figure: Figure) -> Option<String> {
    made.figure(figure).map(|value| numbers::tidy(&value.words(figure)))
}

/// What is wrong with one variant or with several in the same way.
struct Trouble<'a> {
    /// The code of a fault, or what happened instead of a run.
    code: &'a str,
    /// Whether the code is a name from a record.
    is_code: bool,
    /// What it says of the first variant.
    message: &'a str,
    remedy: &'a str,
    /// The variants, with what it says of each; and where each is told in full, if it has a run.
    rows: Vec<(&'a Row, &'a str)>,
}

impl Trouble<'_> {
    fn count(&self) -> String {
        counted(self.rows.len(), "variant", "variants")
    }

    fn is_many(&self) -> bool {
        self.rows.len() > MOST_NAMED
    }
}

/// What is wrong, in groups: first what could not be made, then faults, then what was not run; within that as they come.
fn troubles(night: &Night) -> Vec<Trouble<'_>> {
    let mut groups: Vec<Trouble<'_>> = Vec::new();
    let mut places: BTreeMap<(u8, &str, &str), usize> = BTreeMap::new();
    let mut kinds: Vec<u8> = Vec::new();
    for row in &night.rows {
        let found: Vec<(u8, &str, &str, &str)> = match &row.outcome {
            Outcome::Failed { why, remedy } => vec![(0, "could not be made", why, remedy)],
            Outcome::NotRun { why, remedy } => vec![(2, "was not run", why, remedy)],
            Outcome::Made(made) => {
                made.faults.iter().map(|fault| (1, &*fault.code, &*fault.message, &*fault.remedy)).collect()
            }
        };
        for (kind, code, message, remedy) in found {
            // Faults of one code are one group, whatever numbers they name; other reasons are told apart by their words.
            let by = if kind == 1 { "" } else { message };
            let at = *places.entry((kind, code, by)).or_insert_with(|| {
                groups.push(Trouble { code, is_code: kind == 1, message, remedy, rows: Vec::new() });
                kinds.push(kind);
                groups.len() - 1
            });
            let last = groups[at].rows.last();
            if last.is_none_or(|(last, _)| !std::ptr::eq(*last, row)) {
                groups[at].rows.push((row, message));
            }
        }
    }
    let mut sorted: Vec<(u8, Trouble<'_>)> = kinds.into_iter().zip(groups).collect();
    sorted.sort_by_key(|(kind, _)| *kind);
    sorted.into_iter().map(|(_, trouble)| trouble).collect()
}

/// A variant with its picture.
struct Card<'a> {
    at: usize,
    row: &'a Row,
    /// Where its picture comes from: run and name.
    source: Option<(&'a str, &'a str)>,
    picture: Option<Picture>,
    /// Its address where it is not part of the page.
    link: Option<String>,
    /// The class and word of its verdict.
    verdict: (&'static str, String),
    /// What is best about it.
    marks: Vec<&'static str>,
    figures: Vec<(&'static str, String)>,
}

/// The variants that were made: the chosen first, then those that nothing beats, then those without faults.
fn cards<'a>(night: &'a Night, fronts: &Fronts, chosen: Option<usize>) -> Vec<Card<'a>> {
    let made = night.rows.iter().enumerate().filter_map(|(at, row)| Some((at, row, row.made()?)));
    let mut cards: Vec<(u8, Card<'_>)> = made
        .map(|(at, row, made)| {
            let marks = marks(fronts, chosen, at);
            let rank = match () {
                () if chosen == Some(at) => 0,
                () if !marks.is_empty() => 1,
                () if made.is_fit_to_order() => 2,
                () if made.has_no_fault() => 3,
                () => 4,
            };
            let source = made.designed().or_else(|| made.printed()).map(|name| (row.run.as_str(), name));
            let link = source.map(|(run, name)| format!("../../{}/{}", address::part(run), address::part(name)));
            let figures =
                [("Price", Figure::Price), ("Legibility", Figure::Legibility), ("Likeness", Figure::Likeness)];
            let card = Card {
                at,
                row,
                source,
                picture: None,
                link,
                verdict: verdict_of(row),
                marks,
                figures: figures
                    .into_iter()
                    .filter_map(|(label, figure)| Some((label, figure_words(made, figure)?)))
                    .collect(),
            };
            (rank, card)
        })
        .collect();
    cards.sort_by_key(|(rank, _)| *rank);
    cards.into_iter().map(|(_, card)| card).collect()
}

/// What is best about a variant.
fn marks(fronts: &Fronts, chosen: Option<usize>, at: usize) -> Vec<&'static str> {
    let best = match (fronts.legibility.has(at), fronts.likeness.has(at)) {
        (true, true) => Some("nothing beats it in legibility or likeness for its price"),
        (true, false) => Some("nothing beats it in legibility for its price"),
        (false, true) => Some("nothing beats it in likeness for its price"),
        (false, false) => None,
    };
    (chosen == Some(at)).then_some("chosen").into_iter().chain(best).collect()
}

/// The class and the word of what became of a variant.
fn verdict_of(row: &Row) -> (&'static str, String) {
    match &row.outcome {
        Outcome::Failed { .. } => ("fault", "could not be made".to_owned()),
        Outcome::NotRun { .. } => ("caution", "not run".to_owned()),
        Outcome::Made(made) => match made.verdict {
            Verdict::ReadyToOrder => ("ready", "ready to order".to_owned()),
            Verdict::NotValidated => ("caution", "not validated".to_owned()),
            Verdict::HasFaults => ("fault", counted(made.faults.len(), "fault", "faults")),
        },
    }
}

/// A column of the table.
struct Column {
    /// Its name in links to a choice.
    key: String,
    heading: String,
    is_number: bool,
    cells: Vec<Cell>,
}

/// A cell of the table.
#[derive(Default)]
struct Cell {
    text: String,
    /// The number by which it is sorted, where it is one.
    number: Option<f64>,
    /// Its class in the style sheet.
    class: &'static str,
    /// The colour that it names, to be shown beside it.
    colour: Option<Srgb>,
}

/// What the table shows beside the names. Columns of which nothing is known are left out.
fn columns(night: &Night, fronts: &Fronts, chosen: Option<usize>) -> Vec<Column> {
    let column = |key: &str, heading: &str, cell: &dyn Fn(usize, &Row) -> Cell| Column {
        key: key.to_owned(),
        heading: heading.to_owned(),
        is_number: false,
        cells: night.rows.iter().enumerate().map(|(at, row)| cell(at, row)).collect(),
    };
    let figure = |heading: &str, figure: Figure| {
        column(figure.key(), heading, &|_, row| {
            let value = row.made().and_then(|made| made.figure(figure));
            let text = value.as_ref().map(|value| numbers::tidy(&value.words(figure))).unwrap_or_default();
            Cell { text, number: value.map(|value| value.number()), ..Cell::default() }
        })
    };
    let mut columns = vec![column("outcome", "Outcome", &|_, row| {
        let (class, text) = verdict_of(row);
        Cell { text, class, ..Cell::default() }
    })];
    columns.push(column("best", "Unbeaten in", &|at, _| {
        let words: Vec<&str> = [
            (chosen == Some(at), "chosen"),
            (fronts.legibility.has(at), "legibility"),
            (fronts.likeness.has(at), "likeness"),
        ]
        .into_iter()
        .filter(|(is, _)| *is)
        .map(|(_, word)| word)
        .collect();
        Cell { text: words.join(", "), class: "best", ..Cell::default() }
    }));
    columns.extend(night.settings().into_iter().map(|path| {
        column(path, path, &|_, row| {
            let text = row.setting(path).unwrap_or_default().to_owned();
            let colour = text.starts_with('#').then(|| text.parse().ok()).flatten();
            Cell { number: leading_number(&text), text, class: "", colour }
        })
    }));
    let is_varied = |path: &str| night.settings().contains(&path);
    columns.extend([
        figure("Price", Figure::Price),
        figure("Legibility", Figure::Legibility),
        figure("Likeness", Figure::Likeness),
        figure("Separation kept", Figure::Separation),
        figure("Weight", Figure::Weight),
        figure("Smallest wall", Figure::SmallestWall),
    ]);
    if !is_varied("voxelise.cell") {
        columns.push(figure("Cell", Figure::Cell));
    }
    columns.push(figure("Cells", Figure::Cells));
    columns.push(column("faults", "Faults", &|_, row| Cell {
        text: row.made().map(|made| table::codes(made).join(", ")).unwrap_or_default(),
        ..Cell::default()
    }));
    columns.push(figure("Cautions", Figure::Cautions));
    columns.retain(|column| column.cells.iter().any(|cell| !cell.text.is_empty()));
    for column in &mut columns {
        column.is_number = column.cells.iter().all(|cell| cell.number.is_some() || cell.text.is_empty());
        if !column.is_number {
            column.cells.iter_mut().for_each(|cell| cell.number = None);
        }
    }
    columns
}

/// The number at the beginning of a setting, such as that of `2.5 mm`.
pub(super) fn leading_number(text: &str) -> Option<f64> {
    let (number, rest) = text.split_once(' ').unwrap_or((text, ""));
    let unit = rest.is_empty() || (rest.len() <= 4 && rest.chars().all(|c| c.is_alphabetic() || c == '%'));
    number.parse().ok().filter(|number: &f64| unit && number.is_finite())
}
