"""Inside or outside: the cells made of generated and real meshes, against libigl's winding numbers and trimesh's rays.

The chain is `scale`, `voxelise`, `colour`: what `repair` would change stays as it was told.
"""

import igl
import numpy
import trimesh

import jobs
from conversion import NEAR, Lattice, doubtful, tight
from piece import Piece, crossings

CELL = 3.0
# Winding numbers nearer to ½ than this are summed exactly, where libigl's fast way is an approximation (Barill et al. 2018).
UNSURE = 0.1


def check(tally, scratch, name, model, true=None, **job):
    """Runs a model and compares its cells; `true` is the model as it should be understood, where that differs."""
    path = jobs.write(scratch / "jobs", f"told-{name}", model, chain=(), **job)
    piece = Piece.of(tally, scratch, f"told-{name}", path)
    low, high = piece.ply.bounds
    counts = numpy.rint((high - low) / piece.cell).astype(int)
    cells = crossings(piece.ply, low, counts, piece.cell, shift=(0.0137, 0.0071)) > 0

    lattice = Lattice(true or model, piece.cell)
    points = lattice.centres(lattice.every())
    numbers = winding(lattice.model, points)
    inside = (numbers > 0.5).reshape(lattice.counts)
    compare(tally, name, cells, inside, doubtful(lattice) + int((abs(numbers - 0.5) < NEAR).sum()), "libigl")
    if lattice.model.is_volume:
        inside = lattice.by_crossings()
        compare(tally, name, cells, inside, doubtful(lattice), "trimesh's rays")


def winding(model, points):
    """Generalized winding numbers by libigl: the fast ones, and exact ones (Jacobson et al. 2013) where it matters."""
    vertices, faces = numpy.array(model.vertices), numpy.array(model.faces, dtype=numpy.int64)
    numbers = igl.fast_winding_number(vertices, faces, points)
    unsure = abs(numbers - 0.5) < UNSURE
    if unsure.any():
        numbers[unsure] = igl.winding_number(vertices, faces, points[unsure])
    return numbers


def compare(tally, name, cells, inside, doubt, by):
    """Cell by cell."""
    cut = tight(inside)
    differ = int((cut != cells).sum()) if cut.shape == cells.shape else -1
    tally.check(
        0 <= differ <= doubt,
        f"{name}: {differ} of {int(inside.sum())} cells are not as by {by}; {doubt} centres too near to tell",
    )


def rough(mesh, random, by=1.2):
    """The mesh with its points moved a little, so that nothing is on a lattice."""
    moved = mesh.vertices + random.uniform(-by, by, mesh.vertices.shape)
    return trimesh.Trimesh(moved.astype(numpy.float32).astype(float), mesh.faces, process=False)


def turned_over(mesh, which):
    """The mesh with some of its triangles turned."""
    faces = mesh.faces.copy()
    faces[which] = faces[which][:, ::-1]
    return trimesh.Trimesh(mesh.vertices, faces, process=False)


def loose(mesh):
    """Every triangle with corners of its own."""
    return trimesh.Trimesh(mesh.triangles.reshape(-1, 3), numpy.arange(3 * len(mesh.faces)).reshape(-1, 3), process=False)


def kept(mesh, which):
    """Some of the triangles."""
    return trimesh.Trimesh(mesh.vertices, mesh.faces[which], process=False)


def together(*meshes):
    """One mesh of several, sharing no points."""
    return trimesh.util.concatenate(meshes)


def generated():
    """Ten invented models: name, the model, and how it should be understood where that differs."""
    random = numpy.random.default_rng(7)
    ball = trimesh.creation.icosphere(subdivisions=3, radius=50)
    other = ball.copy()
    other.apply_translation([41.3, 12.1, -7.7])
    inner = trimesh.creation.icosphere(subdivisions=3, radius=24)
    box = trimesh.creation.box([70, 50, 90])
    box.apply_transform(trimesh.transformations.rotation_matrix(0.7, [1, 2, 3]))
    ring = rough(trimesh.creation.torus(40, 17, major_sections=60, minor_sections=30), random, 0.6)
    lumpy = rough(ball, random)
    middles = lumpy.triangles_center / 50

    yield "rough ring", ring, None
    yield "long triangles", box, None
    yield "overlapping balls", together(rough(ball, random), rough(other, random)), None
    yield "shell with a void", together(rough(ball, random), turned_over(inner, slice(None))), None
    # Two holes, one of them wide.
    yield "open scan", kept(lumpy, (middles[:, 2] < 0.8) & (middles @ [0.6, 0.8, 0] < 0.9)), None
    yield "bowl", kept(lumpy, middles[:, 2] < 0.35), None
    yield "soup with gaps", loose(kept(lumpy, random.random(len(lumpy.faces)) < 0.9)), None
    yield "some turned", turned_over(lumpy, random.random(len(lumpy.faces)) < 0.2), lumpy
    yield "all turned", turned_over(lumpy, slice(None)), lumpy
    beside = other.copy()
    beside.apply_translation([90, 0, 0])
    yield "a ball turned beside another", together(ball, turned_over(beside, slice(None))), together(ball, beside)
    yield "everything twice", together(lumpy, lumpy), None
