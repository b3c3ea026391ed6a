//! Gathers the triangles of a file: equal points made one, polygons cut into triangles, the whole within a limit.

use glam::DVec3;

use super::polygon;
use crate::formats::points::PointIndex;

/// What a reader gathers. Every coordinate is finite, every index names a point.
pub(in crate::formats) struct Builder {
    points: PointIndex,
    triangles: Vec<[u32; 3]>,
    /// The names of the bodies that have triangles.
    names: Vec<Option<String>>,
    /// Which body each run of triangles belongs to, and where the run ends.
    runs: Vec<Run>,
    body: Current,
    most: u64,
    /// Corners of a polygon and their places, kept for the next one.
    polygon: polygon::Scratch,
}

/// Triangles in a row that belong to one body.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::formats) struct Run {
    /// The body, by its place in the file.
    pub(in crate::formats) body: u32,
    /// Place of the first triangle after the run.
    pub(in crate::formats) end: usize,
}

/// The body to which the next triangle belongs.
enum Current {
    /// One that has no triangle yet, and no number.
    Next(Option<String>),
    /// One that has.
    Number(u32),
}

/// Longest name of a body that is kept, in characters.
const LONGEST_NAME: usize = 60;

impl Builder {
    /// Nothing yet; takes no more than `most` triangles.
    pub(in crate::formats) fn new(most: u64) -> Self {
        Self {
            points: PointIndex::with_capacity(0),
            triangles: Vec::new(),
            names: Vec::new(),
            runs: Vec::new(),
            body: Current::Next(None),
            most,
            polygon: polygon::Scratch::default(),
        }
    }

    /// Makes room for about `triangles`, a number that the reader has compared with the file's size; called before any is
    /// added.
    pub(in crate::formats) fn make_room(&mut self, triangles: usize) {
        // A closed mesh has about half as many points as triangles (Euler's formula).
        self.points = PointIndex::with_capacity(triangles / 2);
        self.triangles.reserve_exact(triangles);
    }

    /// Takes as many triangles as so many bytes could write out in full, a byte each.
    pub(in crate::formats) fn allow(&mut self, bytes: u64) {
        self.most = self.most.max(bytes);
    }

    /// How many triangles there are.
    pub(in crate::formats) fn len(&self) -> usize {
        self.triangles.len()
    }

    /// What follows belongs to a new body. One that gets no triangle is no body.
    pub(in crate::formats) fn begin_body(&mut self, name: Option<&str>) {
        self.body = Current::Next(name.and_then(plain_name));
    }

    /// What follows belongs to a body met before, or to a new one where `number` is `None`.
    pub(in crate::formats) fn resume_body(&mut self, number: Option<u32>, name: Option<&str>) {
        match number {
            Some(number) => self.body = Current::Number(number),
            None => self.begin_body(name),
        }
    }

    /// The number of the current body, if it has a triangle.
    pub(in crate::formats) fn body(&self) -> Option<u32> {
        match self.body {
            Current::Number(number) => Some(number),
            Current::Next(_) => None,
        }
    }

    /// The number of a point; `what` names it in the message if it is not finite.
    pub(in crate::formats) fn point(&mut self, point: DVec3, what: impl FnOnce() -> String) -> Result<u32, String> {
        if !point.is_finite() {
            return Err(format!(
                "{} has a coordinate that is not a finite number; repair the model where it was made, or export it \
                 again",
                what()
            ));
        }
        self.points.number(point).ok_or_else(|| "the model has more than 4 294 967 295 points; simplify it".to_owned())
    }

    /// Refuses `more` triangles at once if they go beyond the limit, before any is looked at.
    pub(in crate::formats) fn expect(&self, more: u64) -> Result<(), String> {
        if (self.triangles.len() as u64).saturating_add(more) > self.most {
            return Err(format!(
                "it comes to more than {} triangles, far more than its size lets expect; simplify it, or export one \
                 body alone",
                self.most
            ));
        }
        Ok(())
    }

    /// Adds a triangle of points numbered before.
    pub(in crate::formats) fn triangle(&mut self, corners: [u32; 3]) -> Result<(), String> {
        self.expect(1)?;
        self.triangles.push(corners);
        let end = self.triangles.len();
        let body = match &mut self.body {
            Current::Number(number) => *number,
            Current::Next(name) => {
                let number = self.names.len() as u32;
                self.names.push(name.take());
                self.body = Current::Number(number);
                number
            }
        };
        match self.runs.last_mut() {
            Some(run) if run.body == body => run.end = end,
            _ => self.runs.push(Run { body, end }),
        }
        Ok(())
    }

    /// Adds a polygon of at least three points numbered before.
    pub(in crate::formats) fn polygon(&mut self, corners: &[u32]) -> Result<(), String> {
        if let &[a, b, c] = corners {
            return self.triangle([a, b, c]);
        }
        self.expect(corners.len().saturating_sub(2) as u64)?;
        let mut scratch = std::mem::take(&mut self.polygon);
        scratch.cut(corners, |number| self.points.point(number));
        let done = scratch.triangles().iter().try_for_each(|&triangle| self.triangle(triangle));
        self.polygon = scratch;
        done
    }

    /// Bytes on the heap.
    #[cfg(test)]
    pub(in crate::formats) fn footprint(&self) -> usize {
        self.points.footprint()
            + self.triangles.capacity() * size_of::<[u32; 3]>()
            + self.runs.capacity() * size_of::<Run>()
            + self.names.capacity() * size_of::<Option<String>>()
    }

    /// Points, triangles, the bodies' names and the runs of their triangles.
    pub(in crate::formats) fn finish(self) -> Gathered {
        let Self { points, triangles, names, runs, .. } = self;
        Gathered { points: points.into_points(), triangles, names, runs }
    }
}

/// What was gathered.
pub(in crate::formats) struct Gathered {
    pub(in crate::formats) points: Vec<DVec3>,
    pub(in crate::formats) triangles: Vec<[u32; 3]>,
    pub(in crate::formats) names: Vec<Option<String>>,
    pub(in crate::formats) runs: Vec<Run>,
}

/// A name as it can be shown in one line, if there is something to show.
fn plain_name(name: &str) -> Option<String> {
    let name: String = name.trim().chars().filter(|c| !c.is_control()).take(LONGEST_NAME).collect();
    (!name.is_empty()).then_some(name)
}

/// A file's list of vertices, each numbered when it is first used: those that no triangle uses may be anything.
pub(in crate::formats) struct Vertices {
    positions: Vec<DVec3>,
    /// The number of each, or [`UNUSED`].
    numbers: Vec<u32>,
}

/// No point has this number: [`PointIndex`] counts to one below it.
const UNUSED: u32 = u32::MAX;

impl Vertices {
    /// None yet, with room for so many.
    pub(in crate::formats) fn with_capacity(count: usize) -> Self {
        Self { positions: Vec::with_capacity(count), numbers: Vec::with_capacity(count) }
    }

    pub(in crate::formats) fn push(&mut self, position: DVec3) {
        self.positions.push(position);
        self.numbers.push(UNUSED);
    }

    pub(in crate::formats) fn len(&self) -> usize {
        self.positions.len()
    }

    /// The number of vertex `at`, which must exist.
    pub(in crate::formats) fn number(&mut self, at: usize, builder: &mut Builder) -> Result<u32, String> {
        if self.numbers[at] == UNUSED {
            self.numbers[at] = builder.point(self.positions[at], || format!("vertex {}", at + 1))?;
        }
        Ok(self.numbers[at])
    }
}
