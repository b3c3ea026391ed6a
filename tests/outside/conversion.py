"""Conversion: which cells are solid, against containment and winding numbers computed here."""

import numpy
import trimesh

from piece import crossings

# Centres nearer to the surface than this (mm) may go either way.
NEAR = 1e-6
# Centres asked of the slower test.
SAMPLES = 10_000
# How far rays stay off the centres (mm), so that they meet no edge that runs through them.
SHIFT = (1.3e-7, 0.7e-7)


class Lattice:
    """The cells around a model that stands with the middle of its x and y on cell corners, its lowest point on one."""

    def __init__(self, model, cell):
        low, high = model.bounds
        middle = (low + high) / 2
        self.model = trimesh.Trimesh(model.vertices - [*middle[:2], low[2]], model.faces, process=False)
        first = numpy.floor(self.model.bounds[0] / cell - 1e-9)
        last = numpy.ceil(self.model.bounds[1] / cell + 1e-9)
        self.cell = cell
        self.low = first * cell
        self.counts = (last - first).astype(int)

    def centres(self, index):
        """The centres (mm) of cells."""
        return self.low + (index + 0.5) * self.cell

    def every(self):
        """The index of every cell."""
        return numpy.stack(numpy.meshgrid(*map(numpy.arange, self.counts), indexing="ij"), axis=-1).reshape(-1, 3)

    def by_crossings(self):
        """Which cells are inside a closed model, by the signed crossings of rays."""
        return crossings(self.model, self.low, self.counts, self.cell, SHIFT) > 0


def check_closed(tally, piece, model):
    """A closed model, whose parts may overlap: the signed crossings of trimesh's rays are its winding numbers."""
    lattice = Lattice(model, piece.cell)
    inside = lattice.by_crossings()
    compare(tally, piece, lattice, inside, "signed crossings of trimesh's rays")


def check_contains(tally, piece, model):
    """A closed model of one shell: trimesh's own containment test, which sends other rays, at some of the centres."""
    lattice = Lattice(model, piece.cell)
    every = lattice.every()
    index = numpy.random.default_rng(1).permutation(every)[:SAMPLES]
    # A few at a time: trimesh holds every triangle that the box of every ray meets.
    parts = [lattice.model.contains(lattice.centres(some)) for some in numpy.array_split(index, len(index) // 500)]
    inside = numpy.concatenate(parts)
    by_rays = lattice.by_crossings()
    differ = int((inside != by_rays[tuple(index.T)]).sum())
    tally.check(
        differ <= doubtful(lattice),
        f"{piece.name}: trimesh's `contains` and the signed crossings differ at {differ} of {len(index)} centres",
    )


def check_open(tally, piece, model):
    """An open model: generalized winding numbers (Jacobson, Kavan & Sorkine-Hornung 2013), summed triangle by triangle.

    Inside is above one half.
    """
    lattice = Lattice(model, piece.cell)
    winding = winding_numbers(lattice.model.triangles, lattice.centres(lattice.every())).reshape(lattice.counts)
    doubt = int((numpy.abs(winding - 0.5) < NEAR).sum())
    compare(tally, piece, lattice, winding > 0.5, "winding numbers (numpy)", doubt)


def compare(tally, piece, lattice, inside, by, doubt=0):
    """The number of cells made, and cell by cell what `repair` left of them."""
    open_to_doubt = doubtful(lattice) + doubt
    made, found = piece.fact("voxelise", "cells"), int(inside.sum())
    tally.check(
        abs(made - found) <= open_to_doubt,
        f"{piece.name}: {made} cells made, {found} by {by}, {open_to_doubt} centres too near to tell",
    )
    cut = tight(inside)
    repaired = piece.fact("repair", "cells added") + piece.fact("repair", "cells removed")
    differ = int((cut != piece.solid).sum()) if cut.shape == piece.solid.shape else -1
    tally.check(
        0 <= differ <= repaired + open_to_doubt,
        f"{piece.name}: {differ} cells of the finished piece are not as by {by}; `repair` changed {repaired}",
    )


def tight(cells):
    """The part of a grid that holds its cells."""
    spans = [numpy.flatnonzero(cells.any(axis=tuple(a for a in range(3) if a != axis))) for axis in range(3)]
    return cells[tuple(slice(span[0], span[-1] + 1) for span in spans)]


def doubtful(lattice):
    """How many cell centres lie on the surface."""
    points = lattice.centres(lattice.every())
    _, boxes = lattice.model.triangles_tree.intersection_v(points - NEAR, points + NEAR)
    points = points[boxes > 0]
    if not len(points):
        return 0
    _, distances, _ = trimesh.proximity.closest_point(lattice.model, points)
    return int((distances < NEAR).sum())


def winding_numbers(triangles, points):
    """Solid angles by van Oosterom & Strackee (1983), in turns of the whole sphere."""
    total = numpy.zeros(len(points))
    for first in range(0, len(points), 1000):
        some = slice(first, first + 1000)
        a, b, c = (triangles[None, :, corner] - points[some, None] for corner in range(3))
        la, lb, lc = (numpy.linalg.norm(v, axis=2) for v in (a, b, c))
        volume = numpy.einsum("ijk,ijk->ij", a, numpy.cross(b, c))
        dot = lambda u, v: numpy.einsum("ijk,ijk->ij", u, v)
        below = la * lb * lc + dot(a, b) * lc + dot(b, c) * la + dot(c, a) * lb
        total[some] = 2 * numpy.arctan2(volume, below).sum(axis=1) / (4 * numpy.pi)
    return total
