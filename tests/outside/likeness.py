"""Likeness: volume in common, distances and silhouettes, sampled anew with NumPy, SciPy and trimesh."""

import numpy
import scipy.spatial
import trimesh

import jobs
from conversion import Lattice
from piece import Piece, crossings

# What both sides' sampling may differ by: in per cent, and in cells for a mean and a percentile.
PERCENT = 0.5
MEAN = 0.02
PERCENTILE = 0.04
# Pitch of the samples of the volume in cells, and where the first one lies; no simple part of a cell.
PITCH, FIRST = 0.29, 0.137
POINTS = 10_000
SEED = 5


def blob():
    """A closed form with bulges and hollows, of 90 mm."""
    ball = trimesh.creation.icosphere(subdivisions=5)
    x, y, z = ball.vertices.T
    radius = 36 + 5 * numpy.sin(3 * x + 1) * numpy.cos(4 * y) + 4 * numpy.sin(5 * z + 2 * x)
    return trimesh.Trimesh(ball.vertices * radius[:, None], ball.faces, process=False)


def check_generated(tally, scratch):
    """The blob, where the grid usually sits and at its best place, which must be no worse."""
    model = blob()
    # STL holds single precision.
    model.vertices = model.vertices.astype(numpy.float32).astype(numpy.float64)
    usual = Piece.of(tally, scratch, "blob", jobs.write(scratch / "jobs", "blob", model))
    check(tally, usual, model)
    best = Piece.of(tally, scratch, "blob-best", jobs.write(scratch / "jobs", "blob-best", model, grid=", grid: best"))
    overlaps = [piece.fact("voxelise", "volume overlap") for piece in (usual, best)]
    tally.check(
        overlaps[1] >= overlaps[0] - PERCENT / 10,
        f"blob: volume overlap {overlaps[1]:.3f} % at the best place, {overlaps[0]:.3f} % at the usual one",
    )


def check(tally, piece, model):
    """The facts of a finished piece of a closed model of one shell, its grid in the usual place."""
    stage = "repair" if any(f["name"] == "volume overlap" for f in piece.stages["repair"]["facts"]) else "voxelise"
    fact = lambda name: piece.fact(stage, name)
    lattice = Lattice(model, piece.cell)
    # As the piece stands, but in cells.
    form = trimesh.Trimesh((lattice.model.vertices - lattice.low) / piece.cell, lattice.model.faces, process=False)
    # The files hold the piece without the grid's empty layers: the cells found here say where it stands.
    low = numpy.argwhere(lattice.by_crossings()).min(axis=0)
    solid = numpy.pad(piece.solid, [(int(n), 0) for n in low])
    random = numpy.random.default_rng(SEED)

    compare(tally, piece, "volume overlap", fact("volume overlap"), 100 * overlap(form, solid), PERCENT, "%")
    there, back = to_cubes(form, solid, random), to_form(form, solid, random)
    mean = (there.mean() + back.mean()) / 2
    high = max(numpy.quantile(there, 0.95), numpy.quantile(back, 0.95))
    name = "mean surface distance in cells"
    compare(tally, piece, name, fact(name), mean, MEAN, "cells")
    name = "95th percentile of the surface distance in cells"
    compare(tally, piece, name, fact(name), high, PERCENTILE, "cells")
    for axis, (side, said) in enumerate(fact("silhouettes")[::2]):
        shadows = 100 * silhouette(form, solid, axis, random)
        compare(tally, piece, f"silhouette overlap, {side}", float(said), shadows, PERCENT, "%")


def compare(tally, piece, name, said, found, within, unit):
    """A fact and what was found here."""
    tally.check(
        abs(said - found) <= within,
        f"{piece.name}: {name} {said:.4f} {unit}, {found:.4f} sampled anew, up to {within} apart",
    )


def held(solid, points):
    """Whether points (in cells) lie in a solid cell."""
    index = numpy.floor(points).astype(int)
    within = ((index >= 0) & (index < solid.shape)).all(axis=1)
    found = numpy.zeros(len(points), dtype=bool)
    found[within] = solid[tuple(index[within].T)]
    return found


def overlap(form, solid):
    """Intersection over union, from samples that rays along z tell."""
    low = numpy.minimum(form.bounds[0], 0) - 1 + FIRST
    counts = numpy.ceil((numpy.maximum(form.bounds[1], solid.shape) + 1 - low) / PITCH).astype(int)
    inside = crossings(form, low, counts, PITCH, (1.3e-7, 0.7e-7)) > 0
    index = numpy.stack(numpy.meshgrid(*map(numpy.arange, counts), indexing="ij"), axis=-1).reshape(-1, 3)
    cubes = held(solid, low + (index + 0.5) * PITCH).reshape(inside.shape)
    return (inside & cubes).sum() / (inside | cubes).sum()


def faces(solid):
    """Middle and axis of every face between a solid cell and air."""
    middles, axes = [], []
    padded = numpy.pad(solid, 1).astype(numpy.int8)
    for axis in range(3):
        at = numpy.argwhere(numpy.diff(padded, axis=axis)).astype(float) - 0.5
        at[:, axis] += 0.5
        middles.append(at)
        axes.append(numpy.full(len(at), axis))
    return numpy.concatenate(middles), numpy.concatenate(axes)


def to_cubes(form, solid, random):
    """Distances of points of the form to the nearest face of the cubes."""
    points, _ = trimesh.sample.sample_surface(form, POINTS, seed=int(random.integers(1 << 31)))
    middles, axes = faces(solid)
    reach, near = scipy.spatial.cKDTree(middles).query(points, k=128)
    half = 0.5 * (1 - numpy.eye(3))[axes[near]]
    gaps = numpy.maximum(numpy.abs(points[:, None] - middles[near]) - half, 0)
    distances = numpy.linalg.norm(gaps, axis=2).min(axis=1)
    # A face comes nearer than its middle by half its diagonal at most: farther ones are not the nearest.
    assert (distances <= reach[:, -1] - 0.5**0.5).all(), "more faces have to be looked at"
    return distances


def to_form(form, solid, random):
    """Distances of points of the cubes' faces to the form."""
    middles, axes = faces(solid)
    chosen = random.integers(len(middles), size=POINTS)
    moved = random.uniform(-0.5, 0.5, (POINTS, 3)) * (1 - numpy.eye(3))[axes[chosen]]
    _, distances, _ = trimesh.proximity.closest_point(form, middles[chosen] + moved)
    return distances


def silhouette(form, solid, axis, random):
    """Intersection over union of both shadows along an axis, from rays in random places."""
    across = [other for other in range(3) if other != axis]
    shadow = solid.any(axis=axis)
    low = numpy.minimum(form.bounds[0][across], 0) - 0.5
    high = numpy.maximum(form.bounds[1][across], shadow.shape) + 0.5
    places = random.uniform(low, high, (2 * POINTS, 2))
    origins = numpy.empty((len(places), 3))
    origins[:, across], origins[:, axis] = places, form.bounds[0][axis] - 1
    ray = numpy.zeros(3)
    ray[axis] = 1
    meets = form.ray.intersects_any(origins, numpy.tile(ray, (len(origins), 1)))
    index = numpy.floor(places).astype(int)
    within = ((index >= 0) & (index < shadow.shape)).all(axis=1)
    dark = numpy.zeros(len(places), dtype=bool)
    dark[within] = shadow[tuple(index[within].T)]
    return (meets & dark).sum() / (meets | dark).sum()
