//! The bodies of a model: which triangles belong to each, and the choice among them.

use std::borrow::Cow;
use std::ops::Range;

use glam::DVec3;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, SeqAccess, Visitor};
use serde::{Serialize, Serializer};

use super::builder::Run;
use crate::solid::{Forest, Surface};

/// A body of a model.
#[derive(Clone, Debug, PartialEq)]
pub struct Body {
    /// What the file calls it.
    pub name: Option<String>,
    /// How many triangles it has; at least one.
    pub triangles: usize,
    /// The area of its surface, in the file's unit squared.
    pub area: f64,
    /// Lowest and highest corner, in the file's unit.
    pub bounds: [DVec3; 2],
}

/// Which bodies of a model make the piece.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Choice {
    /// All of them.
    #[default]
    All,
    /// The one with the largest surface; of equals, the first.
    Largest,
    /// Those with these numbers, counted from 1, each once.
    Numbers(Vec<u32>),
}

/// Most bodies that can be named one by one.
const MOST_NUMBERS: usize = 10_000;

const CHOICES: &str = "`all`, `largest`, or a list of numbers such as [1, 3]";

impl Serialize for Choice {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::All => serializer.serialize_str("all"),
            Self::Largest => serializer.serialize_str("largest"),
            Self::Numbers(numbers) => numbers.serialize(serializer),
        }
    }
}

impl<'de> Deserialize<'de> for Choice {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct ChoiceVisitor;
        impl<'de> Visitor<'de> for ChoiceVisitor {
            type Value = Choice;

            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(CHOICES)
            }

            fn visit_str<E: de::Error>(self, word: &str) -> Result<Choice, E> {
                match word {
                    "all" => Ok(Choice::All),
                    "largest" => Ok(Choice::Largest),
                    _ => Err(E::invalid_value(de::Unexpected::Str(word), &self)),
                }
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Choice, A::Error> {
                let mut numbers = Vec::new();
                while let Some(number) = list.next_element::<u32>()? {
                    if number == 0 {
                        return Err(de::Error::custom("bodies are counted from 1; `turnhue check` lists them"));
                    }
                    if numbers.len() == MOST_NUMBERS {
                        return Err(de::Error::custom(format!("more than {MOST_NUMBERS} bodies are named")));
                    }
                    numbers.push(number);
                }
                if numbers.is_empty() {
                    return Err(de::Error::custom(format!("no body is named; expected {CHOICES}")));
                }
                numbers.sort_unstable();
                match numbers.windows(2).find(|pair| pair[0] == pair[1]) {
                    Some(pair) => Err(de::Error::custom(format!("body {} is named twice", pair[0]))),
                    None => Ok(Choice::Numbers(numbers)),
                }
            }
        }
        deserializer.deserialize_any(ChoiceVisitor)
    }
}

impl JsonSchema for Choice {
    fn schema_name() -> Cow<'static, str> {
        "Choice".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "oneOf": [
                { "enum": ["all", "largest"] },
                { "type": "array", "items": { "type": "integer", "minimum": 1 }, "minItems": 1, "uniqueItems": true },
            ]
        })
    }
}

/// What is known of the bodies without looking at the triangles.
#[derive(Debug)]
pub(super) enum Parts {
    /// The file keeps several apart.
    Apart(Labels),
    /// It has one, with this name: the pieces that share no point are looked for when they are asked for.
    Together(Option<String>),
}

/// Which triangles belong to which body.
#[derive(Clone, Debug)]
pub(super) struct Labels {
    names: Vec<Option<String>>,
    runs: Vec<Run>,
}

impl Parts {
    /// The bodies that a file keeps apart.
    pub(super) fn of(mut names: Vec<Option<String>>, runs: Vec<Run>) -> Self {
        if names.len() > 1 { Self::Apart(Labels { names, runs }) } else { Self::Together(names.pop().flatten()) }
    }

    pub(super) const fn are_kept_apart(&self) -> bool {
        matches!(self, Self::Apart(_))
    }

    fn labels(&self, surface: &Surface) -> Cow<'_, Labels> {
        match self {
            Self::Apart(labels) => Cow::Borrowed(labels),
            Self::Together(name) => {
                let mut labels = Labels::of_pieces(surface);
                if let [only] = labels.names.as_mut_slice() {
                    only.clone_from(name);
                }
                Cow::Owned(labels)
            }
        }
    }

    /// What can be said of each body.
    pub(super) fn describe(&self, surface: &Surface) -> Vec<Body> {
        self.labels(surface).describe(surface)
    }

    /// The surface of the bodies that are asked for.
    pub(super) fn choose(&self, surface: Surface, choice: &Choice) -> Result<Surface, String> {
        match choice {
            Choice::All => Ok(surface),
            choice => self.labels(&surface).choose(&surface, choice),
        }
    }
}

impl Labels {
    /// The pieces that share no point, numbered by their first triangle.
    fn of_pieces(surface: &Surface) -> Self {
        let mut forest = Forest::of(surface.points().len());
        for &[a, b, c] in surface.triangles() {
            forest.join(a as usize, b as usize);
            forest.join(b as usize, c as usize);
        }
        let roots = forest.roots();
        let mut numbers: Vec<Option<u32>> = vec![None; roots.len()];
        let mut names = Vec::new();
        let mut runs: Vec<Run> = Vec::new();
        for (at, triangle) in surface.triangles().iter().enumerate() {
            let body = *numbers[roots[triangle[0] as usize]].get_or_insert_with(|| {
                names.push(None);
                names.len() as u32 - 1
            });
            match runs.last_mut() {
                Some(run) if run.body == body => run.end = at + 1,
                _ => runs.push(Run { body, end: at + 1 }),
            }
        }
        Self { names, runs }
    }

    /// The runs of triangles, each with its body.
    fn each_run(&self) -> impl Iterator<Item = (u32, Range<usize>)> {
        let starts = std::iter::once(0).chain(self.runs.iter().map(|run| run.end));
        starts.zip(&self.runs).map(|(start, run)| (run.body, start..run.end))
    }

    fn describe(&self, surface: &Surface) -> Vec<Body> {
        let nothing = [DVec3::INFINITY, DVec3::NEG_INFINITY];
        let mut bodies: Vec<Body> = self
            .names
            .iter()
            .map(|name| Body { name: name.clone(), triangles: 0, area: 0.0, bounds: nothing })
            .collect();
        for (body, run) in self.each_run() {
            let body = &mut bodies[body as usize];
            body.triangles += run.len();
            for at in run {
                let [a, b, c] = surface.corners(at);
                body.area += (b - a).cross(c - a).length() / 2.0;
                body.bounds = [body.bounds[0].min(a).min(b).min(c), body.bounds[1].max(a).max(b).max(c)];
            }
        }
        bodies
    }

    fn choose(&self, surface: &Surface, choice: &Choice) -> Result<Surface, String> {
        let count = self.names.len();
        let mut wanted = vec![false; count];
        match choice {
            Choice::All => wanted.fill(true),
            Choice::Largest => {
                let bodies = self.describe(surface);
                let largest = (0..count).reduce(|best, at| if bodies[at].area > bodies[best].area { at } else { best });
                wanted[largest.ok_or("it holds no body; export it again")?] = true;
            }
            Choice::Numbers(numbers) => {
                for &number in numbers {
                    let place = (number as usize).checked_sub(1).and_then(|at| wanted.get_mut(at));
                    *place.ok_or_else(|| match count {
                        1 => format!("there is no body {number}: the model is one body; leave `bodies` out"),
                        _ => format!("there is no body {number}: the model has {count}; `turnhue check` lists them"),
                    })? = true;
                }
            }
        }
        let kept = self.each_run().filter(|(body, _)| wanted[*body as usize]);
        let triangles: Vec<[u32; 3]> = kept.flat_map(|(_, run)| surface.triangles()[run].iter().copied()).collect();
        with_used_points(surface, triangles)
    }
}

/// The surface of some of the triangles, without the points that none of them uses.
fn with_used_points(surface: &Surface, mut triangles: Vec<[u32; 3]>) -> Result<Surface, String> {
    let mut numbers: Vec<Option<u32>> = vec![None; surface.points().len()];
    let mut points = Vec::new();
    for corner in triangles.iter_mut().flatten() {
        let old = *corner as usize;
        *corner = *numbers[old].get_or_insert_with(|| {
            points.push(surface.points()[old]);
            points.len() as u32 - 1
        });
    }
    Surface::new(points, triangles)
}
