//! Disjoint sets of numbered things.

/// A union-find forest with path halving (Tarjan & van Leeuwen 1984). A root is always the lowest number of its set, so
/// that the sets come out the same in whatever order they were joined.
#[derive(Clone, Debug)]
pub(crate) struct Forest {
    parents: Vec<usize>,
}

impl Forest {
    /// So many things, each alone.
    pub(crate) fn of(things: usize) -> Self {
        Self { parents: (0..things).collect() }
    }

    /// Puts two things, and all that are with them, into one set.
    pub(crate) fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.root(a), self.root(b));
        self.parents[a.max(b)] = a.min(b);
    }

    /// The lowest number in the set of each thing.
    pub(crate) fn roots(mut self) -> Vec<usize> {
        // Parents have lower numbers than their children, so theirs are final by the time the children come.
        for at in 0..self.parents.len() {
            self.parents[at] = self.parents[self.parents[at]];
        }
        self.parents
    }

    /// The lowest number in the set of a thing; shortens the way there for the next time.
    pub(crate) fn root(&mut self, mut at: usize) -> usize {
        while self.parents[at] != at {
            self.parents[at] = self.parents[self.parents[at]];
            at = self.parents[at];
        }
        at
    }
}
