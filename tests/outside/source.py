"""What is told about a model before it is converted, against trimesh, and against every pair of triangles by numpy."""

import numpy
import trimesh

import jobs
from piece import Piece

# Lengths to the last places that single precision and another order of adding leave.
SAME_LENGTH = 1e-5


def check(tally, piece, model):
    """Facts of `voxelise` about the model, as trimesh sees it; `model` is in mm, equal points made one."""
    once = trimesh.Trimesh(model.vertices, model.faces, process=False)
    once.merge_vertices()
    # Triangles with two equal corners have no part in anything; of equal triangles the first counts.
    whole = once.faces[(once.faces != numpy.roll(once.faces, 1, axis=1)).all(axis=1)]
    once.update_faces((once.faces != numpy.roll(once.faces, 1, axis=1)).all(axis=1))
    once.update_faces(once.unique_faces())
    once.remove_unreferenced_vertices()

    groups = trimesh.grouping.group_rows(once.edges_sorted, require_count=1)
    ends = once.edges_sorted[groups]
    length = float(numpy.linalg.norm(numpy.diff(once.vertices[ends], axis=1), axis=2).sum())
    _, shared = numpy.unique(once.edges_sorted, axis=0, return_counts=True)
    bodies = trimesh.graph.connected_component_labels(once.edges_unique, node_count=len(once.vertices))
    open_bodies = len(numpy.unique(bodies[ends]))

    for name, expected in [
        ("source triangles", len(model.faces)),
        ("source bodies", once.body_count),
        ("closed source bodies", once.body_count - open_bodies),
        ("edges of holes", len(groups)),
        ("repeated triangles", len(whole) - len(once.faces)),
        ("edges of more than two triangles", int((shared > 2).sum())),
    ]:
        told = piece.fact("voxelise", name)
        tally.check(told == expected, f"{piece.name}: {name}: {told}, {expected} by trimesh")
    told = piece.fact("voxelise", "length of holes' edges")
    tally.check(
        abs(told - length) <= SAME_LENGTH * (1 + length),
        f"{piece.name}: the holes' edges are {told:.4f} mm long, {length:.4f} mm by trimesh",
    )
    if not (shared > 2).any() and len(ends):
        touching = numpy.unique(ends, return_counts=True)[1].max() > 2
        loops = len(numpy.unique(trimesh.graph.connected_component_labels(ends, node_count=len(once.vertices))[ends]))
        told = piece.fact("voxelise", "holes")
        tally.check(
            told >= loops if touching else told == loops,
            f"{piece.name}: {told} holes, whose edges are in {loops} connected parts by trimesh",
        )


def check_worn(tally, scratch):
    """A scan as they come: holes, a flipped patch, repeats, two bodies that overlap, and a fin."""
    ball = trimesh.creation.icosphere(subdivisions=3, radius=30)
    # Whole mm, which single precision and every sum here hold exactly.
    ball.vertices = numpy.rint(ball.vertices)
    other = ball.copy()
    other.vertices = other.vertices + [31, 7, 3]
    patch = numpy.flatnonzero(other.triangles_center[:, 2] > 27)
    faces = other.faces.copy()
    faces[patch] = faces[patch][:, ::-1]
    keep = ball.triangles_center[:, 0] > -26
    keep[:3] = False
    count = len(ball.vertices)
    ball_faces = ball.faces[keep]
    points = numpy.vstack([ball.vertices, other.vertices, [[10, 40, 50]]])
    fin = [[*ball_faces[50][:2], len(points) - 1]]
    faces = numpy.vstack([ball_faces, ball_faces[5:8], ball_faces[9:10][:, ::-1], faces + count, fin])
    worn = trimesh.Trimesh(points, faces, process=False)
    job = jobs.write(scratch / "jobs", "worn", worn)
    piece = Piece.of(tally, scratch, "worn", job)
    check(tally, piece, worn)
    told = [piece.fact("voxelise", name) for name in ("flipped patches", "flipped triangles")]
    tally.check(told == [1, len(patch)], f"worn: {told[0]} flipped patch of {told[1]}; 1 of {len(patch)} made")

    points, numbers = numpy.unique(points.astype(numpy.int64), axis=0, return_inverse=True)
    told = [piece.fact("voxelise", name) for name in ("self-crossings", "overlaps in one plane")]
    found = pairs_that_meet(points, numbers.reshape(-1)[faces])
    tally.check(told == found, f"worn: {told} pairs cross and overlap, {found} by separating axes (numpy, whole numbers)")
    tally.check(found[0] > 50, f"worn: {found[0]} crossings to be found")


def pairs_that_meet(points, faces):
    """Pairs that share no point and whose insides do: how many cross, how many overlap in one plane.

    Two convex sets are apart when some plane separates them. For two triangles it is enough to try the planes along
    their own and along each pair of their edges. Whole numbers, so that every sum is exact.
    """
    first, second = numpy.triu_indices(len(faces), 1)
    triangles = points[faces]
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    near = ((low[first] <= high[second]) & (low[second] <= high[first])).all(axis=1)
    first, second = first[near], second[near]
    apart = (faces[first][:, :, None] != faces[second][:, None, :]).all(axis=(1, 2))
    a, b = triangles[first[apart]], triangles[second[apart]]
    edges = [numpy.roll(t, -1, axis=1) - t for t in (a, b)]
    normals = [numpy.cross(e[:, 0], e[:, 1]) for e in edges]
    parallel = (numpy.cross(*normals) == 0).all(axis=1)
    sound = (normals[0] != 0).any(axis=1) & (normals[1] != 0).any(axis=1)

    def separated(axes):
        spans = [numpy.einsum("nij,nj->ni", t, axes) for t in (a, b)]
        beside = (spans[0].max(axis=1) <= spans[1].min(axis=1)) | (spans[1].max(axis=1) <= spans[0].min(axis=1))
        return beside & (axes != 0).any(axis=1)

    across = [numpy.cross(edges[0][:, i], edges[1][:, j]) for i in range(3) for j in range(3)]
    crossing = sound & ~parallel & ~numpy.any([separated(axes) for axes in [*normals, *across]], axis=0)
    in_plane = [numpy.cross(e[:, i], normals[0]) for e in edges for i in range(3)]
    one_plane = numpy.einsum("nj,nj->n", b[:, 0] - a[:, 0], normals[0]) == 0
    overlap = sound & parallel & one_plane & ~numpy.any([separated(axes) for axes in in_plane], axis=0)
    return [int(crossing.sum()), int(overlap.sum())]
