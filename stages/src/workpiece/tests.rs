use std::collections::BTreeMap;

use glam::{DVec2, DVec3, IVec3};
use proptest::prelude::*;

use super::*;
use crate::division::{Peg, PegKind, Segment};
use crate::mounts::{Mount, Mounts, Swept};
use crate::paint::{Guard, GuardOn};
use crate::solid::Grid;
use crate::void::Opening;
use crate::{Side, Six, Srgb};

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![-200.0..200.0, Just(-0.0), Just(f64::MIN_POSITIVE / 4.0), Just(f64::MAX)]
}

fn point() -> impl Strategy<Value = DVec3> {
    [number(), number(), number()].prop_map(DVec3::from_array)
}

fn surface() -> impl Strategy<Value = Surface> {
    prop::collection::vec(point(), 1..20).prop_flat_map(|points| {
        let corner = 0..points.len() as u32;
        let triangles = prop::collection::vec([corner.clone(), corner.clone(), corner], 0..20);
        triangles.prop_map(move |triangles| Surface::new(points.clone(), triangles).unwrap())
    })
}

fn solid_on(grid: Grid) -> impl Strategy<Value = Cells> {
    prop::collection::vec(any::<bool>(), grid.len()).prop_map(move |solid| {
        let at = |c: IVec3| ((c.z * grid.counts.y + c.y) * grid.counts.x + c.x) as usize;
        Cells::from_fn(grid, |c| solid[at(c)])
    })
}

fn grid() -> impl Strategy<Value = Grid> {
    let counts = prop_oneof![(0..6, 0..6, 0..6), (60..70, 1..4, 1..4), (120..130, 0..2, 1..3)];
    (point(), 0.001..9.0, counts).prop_map(|(origin, cell, (x, y, z))| Grid {
        origin,
        cell,
        counts: IVec3::new(x, y, z),
    })
}

fn side() -> impl Strategy<Value = Side> {
    prop::sample::select(Side::ALL.to_vec())
}

fn void_in(grid: Grid) -> impl Strategy<Value = Void> {
    let opening = (side(), point(), point()).prop_map(|(side, low, high)| Opening { side, low, high });
    let openings = prop::collection::vec(opening, 0..3);
    let moved = prop::collection::btree_map(any::<[i32; 3]>(), point(), 0..9);
    (solid_on(grid), solid_on(grid.refined(2)), openings, moved, number())
        .prop_map(|(shafts, cavity, openings, moved, wall)| Void { shafts, openings, cavity, per_cell: 2, moved, wall })
}

fn colour() -> impl Strategy<Value = Srgb> {
    any::<[u8; 3]>().prop_map(Srgb)
}

fn paint_on(faces: Arc<[Face]>) -> impl Strategy<Value = Paint> {
    let guard = (0.01..1.0, prop::bool::ANY)
        .prop_map(|(width, both)| Guard { width, on: if both { GuardOn::Both } else { GuardOn::Stronger } });
    let colours = prop::collection::vec(colour(), 1..5);
    let inks = prop::collection::vec(any::<prop::sample::Index>(), faces.len());
    let sides = [colour(), colour(), colour(), colour(), colour(), colour()];
    (colours, inks, sides, colour(), prop::option::of(guard)).prop_map(move |(colours, inks, sides, inside, guard)| {
        let ink = inks.iter().map(|ink| ink.index(colours.len()) as u32).collect();
        Paint { colours, faces: Arc::clone(&faces), ink, sides: Six(sides), inside, guard }
    })
}

fn mounts() -> impl Strategy<Value = Mounts> {
    let body = (".{0,9}", ".{0,9}", surface()).prop_map(|(name, what, surface)| Mount { name, what, surface });
    (prop::array::uniform12(number()), prop::collection::vec(body, 0..3)).prop_map(|(n, bodies)| Mounts {
        axis: DVec2::new(n[0], n[1]),
        foot: n[2],
        rest: n[3],
        hub: n[4],
        hub_end: n[5],
        swept: Swept { radius: n[6], low: n[7], high: n[8] },
        mass: n[9],
        torque: n[10],
        base: n[11],
        bodies,
    })
}

fn peg() -> impl Strategy<Value = Peg> {
    (prop::bool::ANY, side(), -9..99i32, 1..9i32, number(), number()).prop_map(
        |(pin, side, at, across, width, depth)| {
            let kind = if pin { PegKind::Pin } else { PegKind::Socket };
            Peg { kind, side, low: IVec3::new(at, -at, at + 1), across, width, depth }
        },
    )
}

fn segment_on(grid: Grid) -> impl Strategy<Value = Segment> {
    let pegs = prop::collection::vec(peg(), 0..3);
    (solid_on(grid), prop::option::of(void_in(grid)), prop::bool::ANY, pegs, any::<[i32; 3]>()).prop_flat_map(
        |(cells, void, on_hull, pegs, home)| {
            let piece = Workpiece::default().with_cells(cells);
            let piece = if let Some(void) = void { piece.with_void(void) } else { piece };
            let faces = piece.hull().map(|hull| Arc::clone(&hull.faces)).unwrap();
            let faces = if on_hull { faces } else { faces.to_vec().into() };
            paint_on(faces).prop_map(move |paint| {
                Segment::new(IVec3::from_array(home), piece.clone().with_paint(paint), pegs.clone())
            })
        },
    )
}

/// A piece with every part that has bytes; its paint on the hull, or on faces of its own.
fn piece() -> impl Strategy<Value = Workpiece> {
    let solid = grid().prop_flat_map(|grid| (solid_on(grid), void_in(grid)));
    (surface(), solid, prop::bool::ANY).prop_flat_map(|(surface, (cells, void), on_hull)| {
        let piece = Workpiece::default().with_surface(surface).with_cells(cells).with_void(void);
        let faces = piece.hull().map(|hull| Arc::clone(&hull.faces)).unwrap();
        let faces = if on_hull { faces } else { faces.to_vec().into() };
        let segments = prop::collection::vec(segment_on(*piece.cells().unwrap().grid()), 0..3);
        (paint_on(faces), segments, mounts()).prop_map(move |(paint, segments, mounts)| {
            piece.clone().with_paint(paint).with_division(Division { segments }).with_mounts(mounts)
        })
    })
}

const WITH_BYTES: [Part; 6] = [Part::Surface, Part::Cells, Part::Void, Part::Paint, Part::Division, Part::Mounts];

fn again(piece: &Workpiece) -> Result<Workpiece, Unsound> {
    WITH_BYTES.into_iter().try_fold(Workpiece::default(), |again, part| match piece.to_bytes(part) {
        Some(bytes) => again.with_bytes(part, &bytes),
        None => Ok(again),
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn a_piece_comes_back_with_every_bit(piece in piece()) {
        let again = again(&piece).unwrap();
        for part in WITH_BYTES {
            // `==` alone would take −0 for 0.
            prop_assert_eq!(again.to_bytes(part), piece.to_bytes(part));
        }
        prop_assert_eq!(again.surface(), piece.surface());
        prop_assert_eq!(again.cells(), piece.cells());
        prop_assert_eq!(again.void(), piece.void());
        prop_assert_eq!(again.paint(), piece.paint());
        prop_assert_eq!(again.division(), piece.division());
        prop_assert_eq!(again.mounts(), piece.mounts());
    }

    /// Whatever is read from spoilt bytes is what those bytes say, and nothing else.
    #[test]
    fn spoilt_bytes_are_refused_or_are_another_part(
        piece in piece(), part in prop::sample::select(WITH_BYTES.to_vec()), at in any::<prop::sample::Index>(), flip in 1_u8..,
    ) {
        let mut bytes = piece.to_bytes(part).unwrap();
        let at = at.index(bytes.len());
        bytes[at] ^= flip;
        if let Ok(other) = piece.clone().with_bytes(part, &bytes) {
            prop_assert!(at >= 4);
            // Paint may lie on the hull or on the same faces listed.
            if !matches!(part, Part::Paint | Part::Division) || piece.to_bytes(part) == other.to_bytes(part) {
                prop_assert_eq!(other.to_bytes(part), Some(bytes));
            }
        }
    }

    #[test]
    fn a_part_that_is_cut_or_has_more_is_refused(piece in piece(), cut in any::<prop::sample::Index>()) {
        for part in WITH_BYTES {
            let mut bytes = piece.to_bytes(part).unwrap();
            prop_assert!(piece.clone().with_bytes(part, &bytes[..cut.index(bytes.len())]).is_err());
            bytes.push(0);
            prop_assert!(piece.clone().with_bytes(part, &bytes).is_err());
        }
    }
}

/// The form, byte by byte: `struct.pack('<HBxQQ9d3I', 1, ord('S'), 3, 1, *(0,0,0, 1,0,0, 0,-2.5,0), 0,1,2).hex()` in
/// Python's standard library.
#[test]
fn the_form_of_a_surface() {
    let surface = Surface::new(vec![DVec3::ZERO, DVec3::X, DVec3::new(0.0, -2.5, 0.0)], vec![[0, 1, 2]]).unwrap();
    let bytes = Workpiece::default().with_surface(surface).to_bytes(Part::Surface).unwrap();
    let hex: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    let expected = "010053000300000000000000010000000000000000000000000000000000000000000000000000000000\
                    0000000000000000f03f00000000000000000000000000000000000000000000000000000000000004c0\
                    0000000000000000000000000100000002000000";
    assert_eq!(hex, expected);
}

#[test]
fn like_lines_cost_a_bit_a_word() {
    let grid = Grid { origin: DVec3::ZERO, cell: 1.0, counts: IVec3::new(64, 64, 64) };
    let piece = Workpiece::default().with_cells(Cells::from_fn(grid, |c| c.x > 3));
    // Head, grid, 64 masks, and the one word that every line has.
    assert_eq!(piece.to_bytes(Part::Cells).unwrap().len(), 4 + 44 + 64 * 8 + 8);
}

#[test]
fn counts_and_grids_that_promise_too_much_take_no_memory() {
    let head = |letter: u8| [1, 0, letter, 0];
    let huge = u64::MAX.to_le_bytes();
    let grid = |counts: [i32; 3]| {
        let numbers = [0.0, 0.0, 0.0, 1.0].map(f64::to_le_bytes).concat();
        [numbers, counts.map(i32::to_le_bytes).concat()].concat()
    };
    let refused = |part, bytes: &[u8]| Workpiece::default().with_bytes(part, bytes).unwrap_err().to_string();
    let points = [&head(b'S')[..], &huge, &huge].concat();
    assert!(refused(Part::Surface, &points).contains("promises"));
    for counts in [[i32::MAX; 3], [-1, 1, 1], [i32::MAX, 1, 1], [0, i32::MAX, i32::MAX], [1, 0, i32::MAX]] {
        let reason = refused(Part::Cells, &[&head(b'C')[..], &grid(counts)].concat());
        assert!(reason.starts_with("a grid of"), "{reason}");
    }
    assert!(refused(Part::Paint, &[&head(b'P')[..], &huge].concat()).contains("promises"));
    assert!(refused(Part::Cells, &head(b'S')).contains("not cells"));
    assert!(refused(Part::Cells, &[2, 0, b'C', 0]).contains("form 2"));
    assert!(refused(Part::Order, &[]).contains("no bytes"));
}

#[test]
fn what_changed_is_told_by_what_is_shared() {
    let grid = Grid { origin: DVec3::ZERO, cell: 1.0, counts: IVec3::splat(2) };
    let cells = Cells::from_fn(grid, |_| true);
    let before = Workpiece::default()
        .with_surface(Surface::new(vec![DVec3::ZERO], vec![]).unwrap())
        .with_cells(cells.clone())
        .with_order(OrderedFile { name: "a".to_owned(), path: PathBuf::new() });
    assert_eq!(before.clone().change_since(&before), Change::default());
    let made = before.clone().with_cells(cells.clone()).change_since(&before);
    assert_eq!(made, Change { made: vec![Part::Cells], gone: vec![Part::Order] });
    let void = Void {
        shafts: Cells::empty(grid),
        openings: vec![],
        cavity: Cells::empty(grid),
        per_cell: 1,
        moved: BTreeMap::new(),
        wall: 1.0,
    };
    let hollow = before.clone().with_void(void).change_since(&before);
    assert_eq!(hollow, Change { made: vec![Part::Void], gone: vec![Part::Order] });
}

#[test]
fn paint_does_not_fit_faces_that_the_piece_has_not() {
    let grid = Grid { origin: DVec3::ZERO, cell: 1.0, counts: IVec3::splat(2) };
    let piece = Workpiece::default().with_cells(Cells::from_fn(grid, |_| true));
    let faces = Arc::clone(&piece.hull().unwrap().faces);
    let (ink, colours) = (vec![0; faces.len()], vec![Srgb([1, 2, 3])]);
    let paint = Paint { ink, colours, faces, sides: Six([Srgb([0; 3]); 6]), inside: Srgb([0; 3]), guard: None };
    let bytes = piece.with_paint(paint).to_bytes(Part::Paint).unwrap();
    // As many faces, elsewhere.
    let turned = Grid { counts: IVec3::new(2, 2, 3), ..grid };
    let other = Workpiece::default().with_cells(Cells::from_fn(turned, |c| c.z > 0));
    let reason = other.with_bytes(Part::Paint, &bytes).unwrap_err().to_string();
    assert!(reason.contains("other faces"), "{reason}");
}

#[test]
fn a_division_is_gone_with_the_paint_and_takes_order_and_mounts_away() {
    let grid = Grid { origin: DVec3::ZERO, cell: 1.0, counts: IVec3::splat(2) };
    let piece = Workpiece::default().with_cells(Cells::from_fn(grid, |_| true));
    let faces = Arc::clone(&piece.hull().unwrap().faces);
    let (ink, colours) = (vec![0; faces.len()], vec![Srgb([1, 2, 3])]);
    let paint = Paint { ink, colours, faces, sides: Six([Srgb([0; 3]); 6]), inside: Srgb([0; 3]), guard: None };
    let file = |name: &str| OrderedFile { name: name.to_owned(), path: PathBuf::new() };
    let piece = piece.with_paint(paint.clone()).with_order(file("a"));
    let kept = piece.clone().undivided();
    assert_eq!(kept.change_since(&piece), Change { made: vec![Part::Division], gone: vec![] });
    let divided = kept.with_division(Division::default()).with_orders([file("b"), file("c")]);
    assert_eq!(divided.order(), Some(&file("b")));
    assert_eq!(divided.orders(), [file("b"), file("c")]);
    let painted = divided.clone().with_paint(paint);
    assert_eq!(painted.change_since(&divided).gone, [Part::Division, Part::Order]);
    for part in Part::ALL {
        let gone = painted.change_since(&divided).gone.contains(&part);
        assert_eq!(gone, part.made_after(Part::Paint), "{part}");
    }
}
