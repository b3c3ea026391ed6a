//! A flat panel: its outline and holes as they are cut, and where it sits when the case is put together.

use glam::{DVec2, DVec3};

use crate::solid::section::signed_area;

/// A panel.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Panel {
    /// What it is, in a few words.
    pub(super) name: &'static str,
    /// What it is cut from.
    pub(super) stuff: Stuff,
    /// Width and height of the smallest rectangle around it.
    pub(super) size: DVec2,
    /// Its outline, counter-clockwise as one looks at its outer face, with the rectangle's lower left at the origin.
    pub(super) outline: Vec<DVec2>,
    /// Its round holes.
    pub(super) holes: Vec<Hole>,
    /// Lines marked on its outer face: where something comes.
    pub(super) marks: Vec<Vec<DVec2>>,
    /// Where it sits.
    pub(super) seat: Seat,
}

/// What panels are cut from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Stuff {
    /// The box's board.
    Board,
    /// The cover's clear sheet.
    Clear,
}

/// A round hole through a panel.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Hole {
    /// Its middle.
    pub(super) at: DVec2,
    pub(super) diameter: f64,
    /// What it is for.
    pub(super) purpose: Purpose,
}

/// What a hole is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Purpose {
    /// The stand's hub turns in it.
    Hub,
    /// The boss around the motor's shaft sits in it.
    Boss,
    /// A screw into the motor passes it.
    Motor,
    /// A screw that carries the motor plate passes it.
    Pillar,
    /// A wood screw passes it.
    Wood,
    /// Air passes it.
    Air,
}

impl Purpose {
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Hub => "opening for the hub",
            Self::Boss => "opening for the motor's boss",
            Self::Motor => "screw into the motor",
            Self::Pillar => "screw that carries the motor plate",
            Self::Wood => "wood screw",
            Self::Air => "air",
        }
    }
}

/// Where a panel sits: its inner face's lower left, and the directions of its width and height as one looks at its outer
/// face. Its thickness lies towards the looker: along right × up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Seat {
    pub(super) origin: DVec3,
    pub(super) right: DVec3,
    pub(super) up: DVec3,
}

impl Panel {
    /// A plain rectangle.
    pub(super) fn plain(name: &'static str, stuff: Stuff, size: DVec2, seat: Seat) -> Self {
        Self { name, stuff, size, outline: outline(size, &[]), holes: Vec::new(), marks: Vec::new(), seat }
    }

    /// Area of its outer face without its holes.
    pub(super) fn area(&self) -> f64 {
        let round = |hole: &Hole| std::f64::consts::PI / 4.0 * hole.diameter * hole.diameter;
        signed_area(&self.outline) - self.holes.iter().map(round).sum::<f64>()
    }
}

/// A rectangle: lower left and upper right.
pub(super) type Rect = [DVec2; 2];

/// The outline of a rectangle from the origin of which rectangles at its rim are taken away. What is left must hang
/// together and have no holes.
///
/// All corners lie on the crossings of few lines: the fields between them are kept or not, and the outline is the sides that
/// have a kept field to their left and none to their right, one after the other.
pub(super) fn outline(size: DVec2, away: &[Rect]) -> Vec<DVec2> {
    let lines = |axis: usize| {
        let all = away.iter().flatten().map(|corner| corner[axis].clamp(0.0, size[axis]));
        let mut lines: Vec<f64> = all.chain([0.0, size[axis]]).collect();
        lines.sort_by(f64::total_cmp);
        lines.dedup();
        lines
    };
    let [xs, ys] = [lines(0), lines(1)];
    let kept = |i: isize, j: isize| {
        let field = |lines: &[f64], i: isize| {
            let i = usize::try_from(i).ok()?;
            Some((lines.get(i)? + lines.get(i + 1)?) / 2.0)
        };
        let (Some(x), Some(y)) = (field(&xs, i), field(&ys, j)) else { return false };
        let middle = DVec2::new(x, y);
        !away.iter().any(|[low, high]| middle.cmpgt(*low).all() && middle.cmplt(*high).all())
    };
    let (wide, high) = (xs.len() as isize, ys.len() as isize);
    let first = (0..high).flat_map(|j| (0..wide).map(move |i| (i, j))).find(|&(i, j)| kept(i, j));
    let Some(start) = first else { return Vec::new() };
    // Directions counter-clockwise, with the fields to the left and to the right of a side from a crossing.
    const STEPS: [(isize, isize); 4] = [(1, 0), (0, 1), (-1, 0), (0, -1)];
    const LEFT: [(isize, isize); 4] = [(0, 0), (-1, 0), (-1, -1), (0, -1)];
    const RIGHT: [(isize, isize); 4] = [(0, -1), (0, 0), (-1, 0), (-1, -1)];
    let side = |(i, j): (isize, isize), to: usize| {
        kept(i + LEFT[to].0, j + LEFT[to].1) && !kept(i + RIGHT[to].0, j + RIGHT[to].1)
    };
    let (mut at, mut to) = (start, 0);
    let mut corners = Vec::new();
    loop {
        let turned = [(to + 3) % 4, to, (to + 1) % 4].into_iter().find(|&to| side(at, to));
        let Some(turned) = turned else { break };
        if turned != to || corners.is_empty() {
            corners.push(DVec2::new(xs[at.0 as usize], ys[at.1 as usize]));
            to = turned;
        }
        at = (at.0 + STEPS[to].0, at.1 + STEPS[to].1);
        if at == start {
            break;
        }
    }
    corners
}

/// A rectilinear outline, all of whose sides are moved out by so much.
pub(super) fn grown(outline: &[DVec2], by: f64) -> Vec<DVec2> {
    let count = outline.len();
    let out = |from: DVec2, to: DVec2| -(to - from).perp().normalize_or_zero();
    (0..count)
        .map(|i| {
            let [before, here, after] = [outline[(i + count - 1) % count], outline[i], outline[(i + 1) % count]];
            here + (out(before, here) + out(here, after)) * by
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rect(x: f64, y: f64, to_x: f64, to_y: f64) -> Rect {
        [DVec2::new(x, y), DVec2::new(to_x, to_y)]
    }

    #[test]
    fn an_outline_goes_round_what_is_left() {
        let size = DVec2::new(10.0, 6.0);
        let plain = outline(size, &[]);
        assert_eq!(plain, [DVec2::ZERO, DVec2::X * 10.0, size, DVec2::Y * 6.0]);
        // A notch below, a corner gone, one beyond the rim.
        let away = [rect(4.0, -1.0, 5.0, 2.0), rect(9.0, 5.0, 12.0, 9.0), rect(20.0, 0.0, 30.0, 6.0)];
        let notched = outline(size, &away);
        assert_eq!(notched.len(), 10);
        assert_eq!(signed_area(&notched), 60.0 - 2.0 - 1.0);
        // The lower left corner gone.
        assert_eq!(signed_area(&outline(size, &[rect(0.0, 0.0, 3.0, 3.0)])), 51.0);
    }

    #[test]
    fn an_outline_grows_by_its_girth_and_corners() {
        // By hand: A + girth · d + 4 d² for any rectilinear outline: it has four more outer corners than inner ones.
        let notched = outline(DVec2::new(10.0, 6.0), &[rect(4.0, 0.0, 5.0, 2.0)]);
        let girth = 2.0 * (10.0 + 6.0) + 2.0 * 2.0;
        let grown = grown(&notched, 0.1);
        assert!((signed_area(&grown) - (58.0 + girth * 0.1 + 0.04)).abs() < 1e-12);
    }
}
