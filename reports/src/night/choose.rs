//! The rules by which a job chooses among its variants, and what they choose and why.
//!
//! Only variants that are fit to order stand for choice. Rules are tried in order until one picks. Of variants that are alike
//! in what a rule asks for, the first figure of [`Figure::ALL`] that tells them apart decides, and after those the name.

use std::borrow::Cow;
use std::cmp::Ordering;
use std::fmt;
use std::marker::PhantomData;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use turnhue_stages::Length;

use super::figures::{Figure, Made, Quantity};
use super::{Outcome, Row};
use crate::amounts::{Amount, Share, Weight};
use crate::record::Verdict;

/// The most rules of a job: more than anybody writes by hand.
pub const MOST_RULES: usize = 32;

/// A rule of a job's `choose`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Written", into = "Written")]
pub struct Rule {
    /// What the best variant has least or most of.
    aim: Aim,
    /// What a variant must keep to.
    bounds: Where,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Aim {
    Lowest(Figure),
    Highest(Figure),
}

/// A rule as it is written. One of `lowest` and `highest` is needed.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, expecting = "a rule such as { lowest: price, where: { legibility: at least 60 % } }")]
#[schemars(extend("oneOf" = [{ "required": ["lowest"] }, { "required": ["highest"] }]))]
struct Written {
    /// The figure of which the variant with the least is picked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    lowest: Option<Figure>,
    /// The figure of which the variant with the most is picked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    highest: Option<Figure>,
    /// What a variant must keep to in order to be picked.
    #[serde(default, rename = "where", skip_serializing_if = "Where::is_empty")]
    bounds: Where,
}

/// What a variant must keep to: a bound for each figure, `at least …` or `at most …`.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(
    deny_unknown_fields,
    rename_all = "kebab-case",
    default,
    expecting = "a map such as { legibility: at least 60 %, weight: at most 400 g }"
)]
struct Where {
    /// The price of one copy.
    #[serde(skip_serializing_if = "Option::is_none")]
    price: Option<Bound<Amount>>,
    /// The share of the area that is named right, on the side that does worst.
    #[serde(skip_serializing_if = "Option::is_none")]
    legibility: Option<Bound<Share>>,
    /// The share of the volume that model and cubes have in common.
    #[serde(skip_serializing_if = "Option::is_none")]
    likeness: Option<Bound<Share>>,
    /// What is left in print of the difference between neighbouring sides.
    #[serde(skip_serializing_if = "Option::is_none")]
    separation: Option<Bound<Share>>,
    /// The weight of one copy.
    #[serde(skip_serializing_if = "Option::is_none")]
    weight: Option<Bound<Weight>>,
    /// The smallest wall or part of the file to order.
    #[serde(skip_serializing_if = "Option::is_none")]
    smallest_wall: Option<Bound<Length>>,
    /// How many cautions there are.
    #[serde(skip_serializing_if = "Option::is_none")]
    cautions: Option<Bound<Count>>,
    /// The edge of a cell.
    #[serde(skip_serializing_if = "Option::is_none")]
    cell: Option<Bound<Length>>,
    /// How many cells the piece has.
    #[serde(skip_serializing_if = "Option::is_none")]
    cells: Option<Bound<Count>>,
}

/// A value that must not be passed.
#[derive(Clone, Debug, PartialEq)]
struct Bound<T> {
    edge: Edge,
    value: T,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Edge {
    AtLeast,
    AtMost,
}

/// A number of things.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Count(u32);

impl Edge {
    const ALL: [Self; 2] = [Self::AtLeast, Self::AtMost];

    const fn words(self) -> &'static str {
        match self {
            Self::AtLeast => "at least",
            Self::AtMost => "at most",
        }
    }
}

/// What a bound can be a value of.
trait Held: FromStr<Err = String> + fmt::Display {
    /// A bound as an example.
    const EXAMPLE: &'static str;
    /// The pattern of a value, for the schema.
    const PATTERN: &'static str;

    fn quantity(&self) -> Quantity;
}

impl Held for Amount {
    const EXAMPLE: &'static str = "at most 400 EUR";
    const PATTERN: &'static str = "([A-Z]{3}\\s+)?[0-9]+(\\.[0-9]+)?(\\s+[A-Z]{3})?";

    fn quantity(&self) -> Quantity {
        Quantity::Money { amount: self.amount, currency: self.currency.clone() }
    }
}

impl Held for Share {
    const EXAMPLE: &'static str = "at least 60 %";
    const PATTERN: &'static str = "[0-9]+(\\.[0-9]+)?\\s*%?";

    fn quantity(&self) -> Quantity {
        Quantity::Number(self.percent())
    }
}

impl Held for Weight {
    const EXAMPLE: &'static str = "at most 400 g";
    const PATTERN: &'static str = "[0-9]+(\\.[0-9]+)?\\s*(g|kg)?";

    fn quantity(&self) -> Quantity {
        Quantity::Number(self.grams())
    }
}

impl Held for Length {
    const EXAMPLE: &'static str = "at least 2 mm";
    const PATTERN: &'static str = "[0-9]+(\\.[0-9]+)?\\s*[a-zA-Zµ]*";

    fn quantity(&self) -> Quantity {
        Quantity::Number(self.mm())
    }
}

impl Held for Count {
    const EXAMPLE: &'static str = "at most 2";
    const PATTERN: &'static str = "[0-9]+";

    fn quantity(&self) -> Quantity {
        Quantity::Number(f64::from(self.0))
    }
}

impl fmt::Display for Count {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl FromStr for Count {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        text.trim().parse().map(Self).map_err(|_| format!("'{text}' is not a whole number"))
    }
}

impl<T: fmt::Display> fmt::Display for Bound<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.edge.words(), self.value)
    }
}

impl<T: Held> FromStr for Bound<T> {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let plain = text.split_whitespace().collect::<Vec<_>>().join(" ");
        let found = Edge::ALL.into_iter().find_map(|edge| Some((edge, plain.strip_prefix(edge.words())?)));
        match found.filter(|(_, rest)| rest.starts_with(' ')) {
            Some((edge, rest)) => Ok(Self { edge, value: rest.trim().parse()? }),
            None => Err(format!("'{text}' does not say on which side to stay; write it like {}", T::EXAMPLE)),
        }
    }
}

impl<T: fmt::Display> Serialize for Bound<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de, T: Held> Deserialize<'de> for Bound<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Text<T>(PhantomData<T>);
        impl<T: Held> Visitor<'_> for Text<T> {
            type Value = Bound<T>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "a bound such as {}", T::EXAMPLE)
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Bound<T>, E> {
                text.parse().map_err(E::custom)
            }
        }
        deserializer.deserialize_any(Text(PhantomData))
    }
}

impl<T: Held> JsonSchema for Bound<T> {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> Cow<'static, str> {
        "Bound".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "string",
            "pattern": format!("^\\s*at\\s+(least|most)\\s+{}\\s*$", T::PATTERN),
            "examples": [T::EXAMPLE],
        })
    }
}

impl Where {
    /// The bounds, in the order in which they are said.
    fn all(&self) -> Vec<(Figure, Edge, Quantity)> {
        fn one<T: Held>(figure: Figure, bound: Option<&Bound<T>>) -> Option<(Figure, Edge, Quantity)> {
            bound.map(|bound| (figure, bound.edge, bound.value.quantity()))
        }
        [
            one(Figure::Price, self.price.as_ref()),
            one(Figure::Legibility, self.legibility.as_ref()),
            one(Figure::Likeness, self.likeness.as_ref()),
            one(Figure::Separation, self.separation.as_ref()),
            one(Figure::Weight, self.weight.as_ref()),
            one(Figure::SmallestWall, self.smallest_wall.as_ref()),
            one(Figure::Cautions, self.cautions.as_ref()),
            one(Figure::Cell, self.cell.as_ref()),
            one(Figure::Cells, self.cells.as_ref()),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    fn is_empty(&self) -> bool {
        self.all().is_empty()
    }
}

impl TryFrom<Written> for Rule {
    type Error = String;

    fn try_from(written: Written) -> Result<Self, String> {
        let aim = match (written.lowest, written.highest) {
            (Some(figure), None) => Aim::Lowest(figure),
            (None, Some(figure)) => Aim::Highest(figure),
            (None, None) => {
                return Err("the rule says of which figure to take the least or the most in no word; write \
                            `lowest: price` or `highest: legibility`"
                    .to_owned());
            }
            (Some(_), Some(_)) => {
                return Err(
                    "a rule has either `lowest` or `highest`; write two rules, of which the second is tried if \
                            the first picks none"
                        .to_owned(),
                );
            }
        };
        Ok(Self { aim, bounds: written.bounds })
    }
}

impl From<Rule> for Written {
    fn from(rule: Rule) -> Self {
        let (lowest, highest) = match rule.aim {
            Aim::Lowest(figure) => (Some(figure), None),
            Aim::Highest(figure) => (None, Some(figure)),
        };
        Self { lowest, highest, bounds: rule.bounds }
    }
}

impl JsonSchema for Rule {
    fn schema_name() -> Cow<'static, str> {
        "Rule".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        Written::json_schema(generator)
    }
}

impl Aim {
    const fn figure(self) -> Figure {
        match self {
            Self::Lowest(figure) | Self::Highest(figure) => figure,
        }
    }

    /// Whether less or more is better.
    const fn better(self) -> Ordering {
        match self {
            Self::Lowest(_) => Ordering::Less,
            Self::Highest(_) => Ordering::Greater,
        }
    }

    fn words(self) -> String {
        let least = match self {
            Self::Lowest(_) => "lowest",
            Self::Highest(_) => "highest",
        };
        format!("{least} {}", self.figure().word())
    }
}

/// What the rules of a job came to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Choice {
    /// The variant that was picked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pick: Option<Pick>,
    /// Why, in words: of each rule that was tried what it came to, the last of them being the one that picked.
    pub words: Vec<String>,
}

/// A variant that was picked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Pick {
    /// Its place among the variants, from 0.
    #[serde(skip)]
    pub row: usize,
    /// Its name.
    pub variant: String,
    /// The rule that picked it, from 1.
    pub rule: usize,
    /// The next best by that rule.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
    /// The place of the next best.
    #[serde(skip)]
    pub next_row: Option<usize>,
}

/// A variant that stands for choice.
struct Candidate<'a> {
    row: usize,
    name: &'a str,
    made: &'a Made,
}

/// A bound that a variant does not keep.
struct Miss {
    figure: Figure,
    edge: Edge,
    bound: Quantity,
    /// What the variant has, where a stage said it.
    has: Option<Quantity>,
}

/// Tries the rules in order; nothing where there are none.
pub(crate) fn choose(rows: &[Row], rules: &[Rule]) -> Option<Choice> {
    if rules.is_empty() {
        return None;
    }
    let fit = |(row, variant): (usize, &'_ Row)| -> Option<usize> { variant.made()?.is_fit_to_order().then_some(row) };
    let places: Vec<usize> = rows.iter().enumerate().filter_map(fit).collect();
    let candidates: Vec<Candidate<'_>> = places
        .into_iter()
        .filter_map(|row| Some(Candidate { row, name: &rows[row].name, made: rows[row].made()? }))
        .collect();
    if candidates.is_empty() {
        return Some(Choice { pick: None, words: vec![none_fit(rows)] });
    }
    let mut words = Vec::new();
    for (number, rule) in (1..).zip(rules) {
        match rule.pick(&candidates) {
            Ok((best, next, why)) => {
                words.push(format!("Rule {number} picks {}: {why}", best.name));
                let pick = Pick {
                    row: best.row,
                    variant: best.name.to_owned(),
                    rule: number,
                    next: next.map(|next| next.name.to_owned()),
                    next_row: next.map(|next| next.row),
                };
                return Some(Choice { pick: Some(pick), words });
            }
            Err(why) => words.push(format!("Rule {number}, {}, picks none: {why}", rule.aim.words())),
        }
    }
    Some(Choice { pick: None, words })
}

type Picked<'c, 'a> = (&'c Candidate<'a>, Option<&'c Candidate<'a>>, String);

impl Rule {
    /// The figures that it goes by.
    #[must_use]
    pub fn figures(&self) -> Vec<Figure> {
        let bounds = self.bounds.all().into_iter().map(|(figure, ..)| figure);
        [self.aim.figure()].into_iter().chain(bounds).collect()
    }

    /// The best variant, the next best, and why; or why there is none.
    fn pick<'c, 'a>(&self, candidates: &'c [Candidate<'a>]) -> Result<Picked<'c, 'a>, String> {
        let figure = self.aim.figure();
        let known: Vec<&Candidate<'_>> =
            candidates.iter().filter(|candidate| candidate.made.figure(figure).is_some()).collect();
        if known.is_empty() {
            return Err(format!(
                "no stage says the {} of any variant that is fit to order{}",
                figure.word(),
                figure.stage().map(|stage| format!("; add the stage `{stage}` to the job")).unwrap_or_default()
            ));
        }
        one_currency(figure, &known)?;
        let bounds = self.bounds.all();
        let mut passing: Vec<&Candidate<'_>> =
            known.iter().copied().filter(|candidate| missed(candidate.made, &bounds).is_empty()).collect();
        passing.sort_by(|a, b| self.order(a, b));
        let of = counted(candidates.len(), "variant that is fit to order", "variants that are fit to order");
        let asked: Vec<String> = bounds.iter().map(|(figure, edge, bound)| asked(*figure, *edge, bound)).collect();
        let Some((&best, rest)) = passing.split_first() else {
            return Err(format!("of {of}, none keeps {}; {}", listed(&asked), nearest(&known, &bounds)));
        };
        let value = |candidate: &Candidate<'_>| {
            candidate.made.figure(figure).map(|value| value.words(figure)).unwrap_or_default()
        };
        let who = if asked.is_empty() {
            format!("of {of}, it has the {}", self.aim.words())
        } else {
            let keep = if passing.len() == 1 { "1 keeps".to_owned() } else { format!("{} keep", passing.len()) };
            format!("of {of}, {keep} {}, and it has the {} of these", listed(&asked), self.aim.words())
        };
        let next = rest.first().copied();
        let after = match next {
            None => String::new(),
            Some(next) => match decided_by(self.aim, best, next) {
                None => format!("; next is {} with {}", next.name, value(next)),
                Some(by) => format!("; {} has the same, and {by} decides", next.name),
            },
        };
        Ok((best, next, format!("{who}, {}{after}.", value(best))))
    }

    /// The better first.
    fn order(&self, a: &Candidate<'_>, b: &Candidate<'_>) -> Ordering {
        by(self.aim.figure(), self.aim.better(), a.made, b.made).then_with(|| by_merit(a, b))
    }
}

/// The variant with the better figure first, and any figure before none.
fn by(figure: Figure, better: Ordering, a: &Made, b: &Made) -> Ordering {
    match (a.figure(figure), b.figure(figure)) {
        (Some(a), Some(b)) => {
            let order = a.compare(&b).unwrap_or(Ordering::Equal);
            if better == Ordering::Less { order } else { order.reverse() }
        }
        (Some(_), None) => Ordering::Less,
        (None, Some(_)) => Ordering::Greater,
        (None, None) => Ordering::Equal,
    }
}

/// By every figure of which one value is better than another, then by name.
fn by_merit(a: &Candidate<'_>, b: &Candidate<'_>) -> Ordering {
    let figures = Figure::ALL.into_iter().filter_map(|figure| Some((figure, figure.better()?)));
    figures
        .map(|(figure, better)| by(figure, better, a.made, b.made))
        .find(|order| order.is_ne())
        .unwrap_or_else(|| a.name.cmp(b.name))
}

/// What decides between two that are alike in the aim of a rule; nothing if they are not.
fn decided_by(aim: Aim, best: &Candidate<'_>, next: &Candidate<'_>) -> Option<String> {
    let differs = |figure: Figure, better| by(figure, better, best.made, next.made).is_ne();
    if differs(aim.figure(), aim.better()) {
        return None;
    }
    let decides = Figure::ALL.into_iter().find(|figure| figure.better().is_some_and(|better| differs(*figure, better)));
    Some(match decides {
        Some(figure) => format!("the better {}", figure.word()),
        None => "the order of the names".to_owned(),
    })
}

fn one_currency(figure: Figure, known: &[&Candidate<'_>]) -> Result<(), String> {
    let mut currencies: Vec<String> =
        known.iter().filter_map(|candidate| candidate.made.figure(figure)?.currency().map(str::to_owned)).collect();
    currencies.sort();
    currencies.dedup();
    if currencies.len() > 1 {
        return Err(format!(
            "prices are in {}, which cannot be compared; use rate files of one currency",
            currencies.join(" and ")
        ));
    }
    Ok(())
}

/// The bounds that a variant does not keep. A figure that no stage said keeps none, nor does a price in another currency.
fn missed(made: &Made, bounds: &[(Figure, Edge, Quantity)]) -> Vec<Miss> {
    let breaks = |(figure, edge, bound): &(Figure, Edge, Quantity)| {
        let has = made.figure(*figure);
        let order = has.as_ref().and_then(|has| has.compare(bound));
        let keeps = match edge {
            Edge::AtLeast => order.is_some_and(Ordering::is_ge),
            Edge::AtMost => order.is_some_and(Ordering::is_le),
        };
        (!keeps).then(|| Miss { figure: *figure, edge: *edge, bound: bound.clone(), has })
    };
    bounds.iter().filter_map(breaks).collect()
}

impl Miss {
    /// By what share of the bound it is missed.
    fn share(&self) -> f64 {
        match &self.has {
            Some(has) if has.compare(&self.bound).is_some() => {
                (has.number() - self.bound.number()).abs() / self.bound.number().abs().max(f64::MIN_POSITIVE)
            }
            _ => f64::INFINITY,
        }
    }

    fn words(&self) -> String {
        let word = self.figure.word();
        let asked = format!("{} {}", self.edge.words(), self.bound.words(self.figure));
        match &self.has {
            None => {
                let add = self.figure.stage().map(|stage| format!(" (add `{stage}`)")).unwrap_or_default();
                format!("no stage says its {word}{add}, and {asked} is asked for")
            }
            Some(has) => format!(
                "its {word} is {}, and {asked} is asked for{}",
                has.words_beside(self.figure, &self.bound),
                if has.compare(&self.bound).is_none() { ", in another currency" } else { "" }
            ),
        }
    }
}

/// Which variant comes nearest to keeping all bounds, and what it misses: the one with the fewest misses, then the one whose
/// largest miss is the smallest share of its bound, then by name.
fn nearest(known: &[&Candidate<'_>], bounds: &[(Figure, Edge, Quantity)]) -> String {
    let misses = known.iter().map(|candidate| (candidate.name, missed(candidate.made, bounds)));
    let farthest = |misses: &[Miss]| misses.iter().map(Miss::share).fold(0.0, f64::max);
    let best = misses.min_by(|(a, misses), (b, others)| {
        let count = misses.len().cmp(&others.len());
        count.then_with(|| farthest(misses).total_cmp(&farthest(others))).then_with(|| a.cmp(b))
    });
    best.map(|(name, misses)| {
        format!("{name} comes nearest: {}.", listed(&misses.iter().map(Miss::words).collect::<Vec<_>>()))
    })
    .unwrap_or_default()
}

fn asked(figure: Figure, edge: Edge, bound: &Quantity) -> String {
    format!("{} {} {}", figure.word(), edge.words(), bound.words(figure))
}

/// Why no rule can pick: what became of all.
fn none_fit(rows: &[Row]) -> String {
    let count = |is: &dyn Fn(&Row) -> bool| rows.iter().filter(|row| is(row)).count();
    let made = |is: fn(&Made) -> bool| count(&|row: &Row| row.made().is_some_and(is));
    let parts: Vec<String> = [
        (made(|made| !made.has_no_fault()), "has faults", "have faults"),
        (
            made(|made| made.has_no_fault() && made.verdict == Verdict::NotValidated),
            "was not measured (add `validate` to the job)",
            "were not measured (add `validate` to the job)",
        ),
        (count(&|row| matches!(row.outcome, Outcome::Failed { .. })), "could not be made", "could not be made"),
        (count(&|row| matches!(row.outcome, Outcome::NotRun { .. })), "was not run", "were not run"),
    ]
    .into_iter()
    .filter(|(count, ..)| *count > 0)
    .map(|(count, one, many)| counted(count, one, many))
    .collect();
    let told = if parts.is_empty() { "there are none".to_owned() } else { listed(&parts) };
    format!("No rule can pick, since no variant is fit to order: {told}.")
}

/// `1 variant`, `3 variants`.
pub(crate) fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// `a`, `a and b`, `a, b and c`.
fn listed(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}
