use std::collections::BTreeSet;

use proptest::prelude::*;

use super::*;
use crate::solid::samples::{grid, lattice_shell, listed, mirrored, random_solid};
use crate::solid::{Components, Neighbours};

/// Contacts counted cell by cell from their definitions, sharing nothing with the code under test.
fn counted_slowly(cells: &Cells) -> ContactCounts {
    let mut counts = ContactCounts::default();
    let n = cells.grid().counts;
    let solid = |x, y, z| cells.solid(IVec3::new(x, y, z));
    for z in -1..n.z {
        for y in -1..n.y {
            for x in -1..n.x {
                let rounds = [
                    [solid(x, y, z), solid(x, y + 1, z), solid(x, y + 1, z + 1), solid(x, y, z + 1)],
                    [solid(x, y, z), solid(x + 1, y, z), solid(x + 1, y, z + 1), solid(x, y, z + 1)],
                    [solid(x, y, z), solid(x + 1, y, z), solid(x + 1, y + 1, z), solid(x, y + 1, z)],
                ];
                counts.edges += rounds.iter().filter(|r| r[0] == r[2] && r[1] == r[3] && r[0] != r[1]).count();
                let eight: Vec<[i32; 3]> = (0..8)
                    .map(|i| [i & 1, i >> 1 & 1, i >> 2])
                    .filter(|s| solid(x + s[0], y + s[1], z + s[2]))
                    .collect();
                let air: Vec<[i32; 3]> = (0..8)
                    .map(|i| [i & 1, i >> 1 & 1, i >> 2])
                    .filter(|s| !solid(x + s[0], y + s[1], z + s[2]))
                    .collect();
                let opposite = |pair: &[[i32; 3]]| pair.len() == 2 && (0..3).all(|i| pair[0][i] != pair[1][i]);
                counts.corners += usize::from(opposite(&eight));
                counts.air_corners += usize::from(opposite(&air));
            }
        }
    }
    counts
}

/// Euler characteristic V − E + F − C of the closed cubes, counted cell by cell: a cube's parts are the points of a
/// doubled lattice round its middle, and a part's dimension is the number of its odd coordinates.
fn euler(cells: &Cells) -> i64 {
    let parts: BTreeSet<[i32; 3]> =
        cells.iter().flat_map(|c| block_steps().map(move |s| (2 * c + 1 + s).to_array())).collect();
    parts.iter().map(|part| if part.iter().filter(|&i| i % 2 != 0).count() % 2 == 0 { 1 } else { -1 }).sum()
}

fn counts(edges: usize, corners: usize, air_corners: usize) -> ContactCounts {
    ContactCounts { edges, corners, air_corners }
}

/// Mends with leave to change anything.
fn mended(cells: &Cells) -> Cells {
    let mut mended = cells.clone();
    assert_eq!(make_well_composed(&mut mended, Leave::any(*cells.grid())), 0);
    mended
}

#[test]
fn lattice_balls_have_the_published_counts_and_no_contacts() {
    // Cells: OEIS A000605, points of norm <= n in the cubic lattice. Faces to each side: OEIS A000328, points of norm
    // <= n in the square lattice, because every grid line meets a ball in one run.
    const A000605: [usize; 21] = [
        1, 7, 33, 123, 257, 515, 925, 1419, 2109, 3071, 4169, 5575, 7153, 9171, 11513, 14147, 17077, 20479, 24405,
        28671, 33401,
    ];
    const A000328: [usize; 21] =
        [1, 5, 13, 29, 49, 81, 113, 149, 197, 253, 317, 377, 441, 529, 613, 709, 797, 901, 1009, 1129, 1257];
    for n in 0..=20 {
        let ball = lattice_shell(n, -1);
        assert_eq!(ball.count(), A000605[n as usize], "n = {n}");
        assert_eq!(ball.faces_by_side().0, [A000328[n as usize]; 6], "n = {n}");
        assert_eq!(contact_counts(&ball), counts(0, 0, 0), "n = {n}");
        assert_eq!(euler(&ball), 1, "n = {n}");
        assert_eq!(mended(&ball), ball, "n = {n}");
    }
}

#[test]
fn lattice_shells_have_the_contacts_counted_by_brute_force() {
    // Shells (n-1)² < r² <= n² of unit cubes on the cubic lattice. No published table is known; these figures come from
    // a separate brute-force count in another language: n, cells, edge contacts, corner contacts, air-corner contacts,
    // components by faces, by corners, and of the air by faces.
    const SHELLS: [[usize; 8]; 20] = [
        [1, 6, 12, 0, 0, 6, 1, 2],
        [2, 26, 24, 0, 0, 7, 1, 2],
        [3, 90, 24, 0, 8, 7, 1, 2],
        [4, 134, 108, 0, 0, 20, 1, 2],
        [5, 258, 72, 0, 8, 7, 1, 2],
        [6, 410, 96, 0, 24, 7, 1, 2],
        [7, 494, 252, 0, 24, 20, 1, 2],
        [8, 690, 264, 0, 24, 13, 1, 2],
        [9, 962, 240, 0, 48, 7, 1, 2],
        [10, 1098, 480, 0, 8, 7, 1, 2],
        [11, 1406, 468, 0, 0, 7, 1, 2],
        [12, 1578, 696, 0, 72, 13, 1, 2],
        [13, 2018, 624, 0, 72, 7, 1, 2],
        [14, 2342, 684, 0, 120, 7, 1, 2],
        [15, 2634, 1008, 0, 72, 31, 1, 2],
        [16, 2930, 1224, 0, 120, 13, 1, 2],
        [17, 3402, 1128, 0, 176, 7, 1, 2],
        [18, 3926, 1332, 0, 48, 31, 1, 2],
        [19, 4266, 1632, 0, 168, 31, 1, 2],
        [20, 4730, 1752, 0, 144, 13, 1, 2],
    ];
    for [n, cells, edges, corners, air_corners, by_faces, by_corners, air_by_faces] in SHELLS {
        let radius = n as i32;
        let shell = lattice_shell(radius, (radius - 1) * (radius - 1));
        assert_eq!(shell.count(), cells, "n = {n}");
        assert_eq!(contact_counts(&shell), counts(edges, corners, air_corners), "n = {n}");
        assert_eq!(Components::of(&shell, Neighbours::Faces).len(), by_faces, "n = {n}");
        assert_eq!(Components::of(&shell, Neighbours::Corners).len(), by_corners, "n = {n}");
        // The table counts the outside as one with the air in the grid's eight corners.
        let enclosed = Components::of(&crate::solid::enclosed_voids(&shell), Neighbours::Faces).len();
        assert_eq!(enclosed + 1, air_by_faces, "n = {n}");
        assert_eq!(euler(&shell), 2, "n = {n}");

        let whole = mended(&shell);
        assert_eq!(counted_slowly(&whole), counts(0, 0, 0), "n = {n}");
        for axis in 0..3 {
            assert_eq!(mirrored(&whole, axis), whole, "n = {n}: the shell is its own mirror image across axis {axis}");
        }
    }
}

/// Worked shapes: name, cells, then cell count, faces to +x, +y, +z, Euler characteristic, edge, corner and air-corner
/// contacts, components by faces and by corners, and of the air by faces. Recomputed by brute force in another language;
/// the Menger sponge's faces follow the known 2·20ⁿ + 4·8ⁿ (72 and 1056 in all).
fn worked_shapes() -> Vec<(&'static str, Cells, [i64; 11])> {
    let block = |n: i32, solid: fn(IVec3) -> bool| Cells::from_fn(grid(IVec3::splat(n)), solid);
    // In a Menger sponge no two of the three digits to base 3 are 1 at the same place.
    let spongy = |c: IVec3| c.to_array().iter().filter(|&&i| i == 1).count() < 2;
    let hollow = |c: IVec3| c != IVec3::ONE;
    vec![
        ("1 cube", listed(&[[0; 3]]), [1, 1, 1, 1, 1, 0, 0, 0, 1, 1, 1]),
        ("2x3x4 box", Cells::from_fn(grid([2, 3, 4]), |_| true), [24, 12, 8, 6, 1, 0, 0, 0, 1, 1, 1]),
        ("L-tromino", listed(&[[0, 0, 0], [1, 0, 0], [0, 1, 0]]), [3, 2, 2, 3, 1, 0, 0, 0, 1, 1, 1]),
        ("3x3x1 ring", Cells::from_fn(grid([3, 3, 1]), |c| c.x != 1 || c.y != 1), [8, 4, 4, 8, 0, 0, 0, 0, 1, 1, 1]),
        ("3x3x3 hollow, sealed", block(3, hollow), [26, 10, 10, 10, 2, 0, 0, 0, 1, 1, 2]),
        (
            "3x3x3 hollow, one opening",
            block(3, |c| c.x != 1 || c.y != 1 || c.z == 0),
            [25, 11, 11, 9, 1, 0, 0, 0, 1, 1, 1],
        ),
        ("3x3x3 hollow, two openings", block(3, |c| c.x != 1 || c.y != 1), [24, 12, 12, 8, 0, 0, 0, 0, 1, 1, 1]),
        ("Menger sponge 1", block(3, spongy), [20, 12, 12, 12, -4, 0, 0, 0, 1, 1, 1]),
        (
            "Menger sponge 2",
            Cells::from_fn(grid(IVec3::splat(9)), move |c| spongy(c / 3) && spongy(c % 3)),
            [400, 176, 176, 176, -80, 0, 0, 0, 1, 1, 1],
        ),
        ("2 cubes sharing an edge", listed(&[[0, 0, 0], [1, 1, 0]]), [2, 2, 2, 2, 1, 1, 0, 0, 2, 1, 1]),
        ("2 cubes sharing a corner", listed(&[[0, 0, 0], [1, 1, 1]]), [2, 2, 2, 2, 1, 0, 1, 0, 2, 1, 1]),
        ("4 cubes, tetrahedral", block(2, |c| c.element_sum() % 2 == 0), [4, 4, 4, 4, 1, 6, 0, 0, 4, 1, 1]),
        ("2x2x2 minus a body diagonal", block(2, |c| c.element_sum() % 3 != 0), [6, 4, 4, 4, 1, 0, 0, 1, 1, 1, 1]),
        ("corner staircase", block(5, |c| c.element_sum() <= 4), [35, 15, 15, 15, 1, 0, 0, 0, 1, 1, 1]),
        ("3D plus", lattice_shell(1, -1), [7, 5, 5, 5, 1, 0, 0, 0, 1, 1, 1]),
        ("checkerboard", block(4, |c| c.element_sum() % 2 == 0), [32, 32, 32, 32, 5, 108, 0, 0, 32, 1, 5]),
    ]
}

#[test]
fn worked_shapes_have_the_values_counted_by_brute_force() {
    for (name, cells, wanted) in worked_shapes() {
        let faces = cells.faces_by_side().0;
        let found = contact_counts(&cells);
        let air_inside = Components::of(&crate::solid::enclosed_voids(&cells), Neighbours::Faces).len();
        let values = [
            cells.count(),
            faces[0],
            faces[2],
            faces[4],
            0,
            found.edges,
            found.corners,
            found.air_corners,
            Components::of(&cells, Neighbours::Faces).len(),
            Components::of(&cells, Neighbours::Corners).len(),
            air_inside + 1,
        ];
        let mut values = values.map(|value| value as i64);
        values[4] = euler(&cells);
        assert_eq!(values, wanted, "{name}");
        assert_eq!([faces[1], faces[3], faces[5]], [faces[0], faces[2], faces[4]], "{name}");
        assert_eq!(counted_slowly(&mended(&cells)), counts(0, 0, 0), "{name}");
    }
}

#[test]
fn half_the_blocks_of_eight_cells_have_contacts() {
    // Latecki 1997 gives the configurations; that 120 of the 256 blocks hold an edge contact and 8 more a corner or
    // air-corner contact was counted by brute force in another language, which also found that exactly the other 128
    // have a boundary that is a 2-manifold at the block's middle.
    let (mut edge, mut corner) = (0, 0);
    for block in 0..256 {
        let cells = Cells::from_fn(grid([2, 2, 2]), |c| block >> (c.x + 2 * c.y + 4 * c.z) & 1 == 1);
        let found = contact_counts(&cells);
        edge += usize::from(found.edges > 0);
        corner += usize::from(found.corners + found.air_corners > 0);
    }
    assert_eq!((edge, corner), (120, 8));
}

#[test]
fn an_edge_between_two_boxes_is_mended_with_as_few_cells_as_symmetry_allows() {
    // Two boxes that meet in a vertical edge: one cell beside the edge will do, unless the solid is the same on both
    // sides of it.
    let same = Cells::from_fn(grid([4, 4, 1]), |c| c.x / 2 == c.y / 2);
    assert_eq!(
        mended(&same),
        Cells::from_fn(*same.grid(), |c| same.solid(c) || [[1, 2, 0], [2, 1, 0]].contains(&c.to_array()))
    );
    let longer = Cells::from_fn(grid([5, 4, 1]), |c| (c.x < 2) == (c.y < 2));
    let mended = mended(&longer);
    assert_eq!((mended.minus(&longer).count(), longer.minus(&mended).count()), (1, 0));
}

#[test]
fn cells_out_of_leave_never_change() {
    let cells = Cells::from_fn(grid(IVec3::splat(4)), |c| c.element_sum() % 2 == 0);
    let mut same = cells.clone();
    assert_eq!(make_well_composed(&mut same, Leave::to_remove(Cells::empty(*cells.grid()))), 108);
    assert_eq!(same, cells);
}

proptest! {
    #[test]
    fn contacts_are_those_of_a_slow_count(cells in random_solid()) {
        let found = contacts(&cells);
        prop_assert_eq!(contact_counts(&cells), counted_slowly(&cells));
        prop_assert_eq!(found.len(), counted_slowly(&cells).total());
        for contact in found {
            let solid = contact.cells().filter(|&c| cells.solid(c)).count();
            let (all, wanted) = match contact.kind {
                ContactKind::Edge { .. } => (4, 2),
                ContactKind::Corner => (8, 2),
                ContactKind::AirCorner => (8, 6),
            };
            prop_assert_eq!((contact.cells().count(), solid), (all, wanted));
        }
    }

    #[test]
    fn mending_leaves_no_contact_and_mends_only_once(cells in random_solid()) {
        let whole = mended(&cells);
        prop_assert_eq!(counted_slowly(&whole), counts(0, 0, 0));
        prop_assert_eq!(mended(&whole), whole.clone());
        if counted_slowly(&cells).total() == 0 {
            prop_assert_eq!(whole, cells);
        }
    }

    #[test]
    fn a_mirrored_solid_is_mended_to_the_mirror_image(cells in random_solid(), axis in 0..3usize) {
        prop_assert_eq!(mirrored(&mended(&cells), axis), mended(&mirrored(&cells, axis)));
    }

    #[test]
    fn removing_or_adding_alone_also_mends(cells in random_solid()) {
        let mut less = cells.clone();
        prop_assert_eq!(make_well_composed(&mut less, Leave::to_remove(cells.clone())), 0);
        prop_assert_eq!(counted_slowly(&less), counts(0, 0, 0));
        prop_assert_eq!(less.minus(&cells).count(), 0);

        let mut more = cells.clone();
        prop_assert_eq!(make_well_composed(&mut more, Leave::to_add(air(&cells))), 0);
        prop_assert_eq!(counted_slowly(&more), counts(0, 0, 0));
        prop_assert_eq!(cells.minus(&more).count(), 0);
    }

    #[test]
    fn the_leave_is_kept(pair in random_solid().prop_flat_map(|cells| {
        let same_grid = proptest::collection::vec(any::<bool>(), cells.grid().len());
        (Just(cells), same_grid)
    })) {
        let (cells, may) = pair;
        let n = cells.grid().counts;
        let may = Cells::from_fn(*cells.grid(), |c| may[((c.z * n.y + c.y) * n.x + c.x) as usize]);
        let mut mended = cells.clone();
        let left = make_well_composed(&mut mended, Leave { add: may.clone(), remove: may.clone() });
        prop_assert_eq!(counted_slowly(&mended).total(), left);
        prop_assert_eq!(mended.zip(&cells, |a, b| a ^ b).minus(&may).count(), 0);
    }
}
