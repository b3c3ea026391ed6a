"""Printable topology: random solids of cubes through the whole program, judged by trimesh, manifold3d and a count here."""

import manifold3d
import numpy
import scipy.ndimage
import trimesh

import files
import jobs
from piece import Piece, crossings

# Settings of `repair`, and what it may leave.
SETTINGS = (
    ("", "one piece"),
    ("islands: bridge", "one piece unless no straight run reaches"),
    ("islands: { at-least: 4 }", "pieces"),
    ("islands: all, voids: keep", "pieces"),
)
# Share of cells that are solid, from specks to a sponge.
SHARES = (0.15, 0.3, 0.5, 0.7, 0.85)
COUNTS = (9, 8, 7)
# The grid begins at the lowest corner of the model, so that each of its boxes is a cell.
GRID = ", grid: { x: lowest, y: lowest, z: lowest }"
# Rays stay off the edges of cubes and off the diagonals of their faces, by these shares of a cell.
SHIFT = (0.137, 0.071)


def check(tally, scratch):
    """Every setting on every share."""
    random = numpy.random.default_rng(20270314)
    for settings, leaves in SETTINGS:
        for share in SHARES:
            cells = random.random(COUNTS) < share
            # Fix the box around the solid, so that the grid is as wide as the cells.
            cells[0, 0, 0] = cells[-1, -1, -1] = True
            check_solid(tally, scratch, cells, settings, f"random solid {share:g}, repair {{{settings}}}, {leaves}")


def check_solid(tally, scratch, cells, settings, what):
    """One solid, written as a closed box a cell."""
    name = "".join(c if c.isalnum() else "-" for c in f"{what.split(',')[0]} {settings}").strip("-")
    job = jobs.write(scratch / "jobs", name, boxes(cells), grid=GRID, repair=settings)
    code, said = jobs.run(job, scratch / "runs")
    # A random solid may well be faulted, as it falls over or breaks; it must still be a sound solid.
    tally.check(code in (0, 1), f"{what}: the program's exit code is {code}")
    piece = Piece(name, said["run"])
    tally.check(
        piece.fact("voxelise", "cells") == cells.sum(),
        f"{what}: {piece.fact('voxelise', 'cells')} cells, {cells.sum()} boxes",
    )
    mesh = files.ordered(piece)
    tally.check(
        mesh.is_watertight and mesh.is_winding_consistent and mesh.is_volume,
        f"{what}: trimesh finds the ordered file watertight and a volume",
    )
    check_manifold(tally, mesh, what)
    check_cells(tally, mesh, piece, settings, what)


def boxes(cells):
    """A closed box for each cell."""
    parts = [
        trimesh.creation.box(bounds=[corner * jobs.CELL, (corner + 1) * jobs.CELL]) for corner in numpy.argwhere(cells)
    ]
    return trimesh.util.concatenate(parts)


def check_manifold(tally, mesh, what):
    """manifold3d takes nothing that is not an oriented 2-manifold."""
    solid = manifold3d.Manifold(
        manifold3d.Mesh(mesh.vertices.astype(numpy.float32), mesh.faces.astype(numpy.uint32))
    )
    sound = solid.status() == manifold3d.Error.NoError and not solid.is_empty()
    off = abs(solid.volume() / mesh.volume - 1)
    tally.check(sound and off < 1e-5, f"{what}: manifold3d takes it ({solid.status()}), volume off by {off:.1e}")


def check_cells(tally, mesh, piece, settings, what):
    """The cells of the ordered file: critical configurations counted one by one, and the pieces."""
    low, high = mesh.bounds
    counts = numpy.rint((high - low) / piece.cell).astype(int)
    shift = [share * piece.cell for share in SHIFT]
    solid = crossings(mesh, low, counts, piece.cell, shift) > 0
    critical = critical_configurations(solid)
    tally.check(critical == 0, f"{what}: {critical} critical configurations counted in the ordered file")
    record = piece.fact("repair", "cells after repair")
    tally.check(solid.sum() == record, f"{what}: {solid.sum()} cells in the ordered file, {record} by the record")
    _, pieces = scipy.ndimage.label(solid)
    if not settings:
        tally.check(pieces == 1, f"{what}: {pieces} pieces")
    if settings == "islands: bridge":
        told = any(finding["code"] == "loose-pieces" for finding in piece.stages["repair"]["findings"])
        tally.check((pieces > 1) == told, f"{what}: {pieces} pieces, {'said' if told else 'not said'} to be loose")


def critical_configurations(solid):
    """Where exactly a diagonal pair of four cells round an edge, or a body-diagonal pair of eight round a corner, is
    solid, or exactly it is air (Latecki 1997)."""
    solid = numpy.pad(solid, 1)
    n = numpy.array(solid.shape)

    def at(step):
        return solid[tuple(slice(s, s + m - 1) for s, m in zip(step, n))]

    count = 0
    for axis in range(3):
        a, b = (i for i in range(3) if i != axis)
        corner = numpy.zeros((2, 2, 3), dtype=int)
        corner[1, :, a] = 1
        corner[:, 1, b] = 1
        first, second = (at(corner[0, 0]), at(corner[1, 1])), (at(corner[0, 1]), at(corner[1, 0]))
        same = (first[0] == first[1]) & (second[0] == second[1])
        count += int((same & (first[0] != second[0])).sum())
    steps = numpy.stack(numpy.meshgrid([0, 1], [0, 1], [0, 1], indexing="ij"), axis=-1).reshape(-1, 3)
    eight = numpy.stack([at(step) for step in steps])
    for kind in (eight, ~eight):
        for step in range(4):
            pair = kind[step] & kind[7 - step]
            count += int((pair & (kind.sum(axis=0) == 2)).sum())
    return count
