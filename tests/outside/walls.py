"""The wall: nowhere thinner than asked for, and hardly more material than an exact offset leaves."""

import edt
import numpy
import trimesh

from piece import NORMALS

SAMPLES = 20_000
# What coordinates of six decimals may take off a wall, with much to spare: mm.
ROUNDING = 1e-3
# Most material over the exact Euclidean offset.
EXCESS = 0.05


def check(tally, piece):
    """Both, where the piece is hollow."""
    if piece.hollow:
        check_least_wall(tally, piece)
        check_excess(tally, piece)


def check_least_wall(tally, piece):
    """Closest points by trimesh, from samples of the inside surface and from its corners to the outside surface."""
    mesh = piece.ply
    wall = piece.fact("hollow", "wall")
    outer = mesh.submesh([numpy.flatnonzero(piece.outside)], append=True, repair=False)
    inner = mesh.submesh([numpy.flatnonzero(~piece.outside)], append=True, repair=False)
    samples, _ = trimesh.sample.sample_surface(inner, SAMPLES, seed=1)
    points = numpy.concatenate([samples, inner.vertices])
    # A shaft starts at the outside: along it there is no wall but that around it.
    for _, low, high in piece.openings:
        points = points[~((points >= low - 1e-6) & (points <= high + 1e-6)).all(axis=1)]
    _, distances, _ = trimesh.proximity.closest_point(outer, points)
    least = distances.min()
    tally.check(
        least >= wall - ROUNDING,
        f"{piece.name}: wall at least {least:.4f} mm by trimesh at {len(points)} points inside, {wall} mm asked for",
    )
    for side, low, high in piece.openings:
        check_shaft(tally, piece, outer, side, low, high, wall)


def check_shaft(tally, piece, outer, side, low, high, wall):
    """The wall around an opening: from the sides of its shaft to every outside face that looks another way."""
    box = trimesh.creation.box(bounds=[low, high])
    axis, sign = NORMALS[side]
    around = box.submesh([numpy.flatnonzero(numpy.abs(box.face_normals[:, axis]) < 0.5)], append=True, repair=False)
    samples, _ = trimesh.sample.sample_surface(around, 2000, seed=1)
    mouth = outer.face_normals[:, axis] * sign > 0.5
    others = outer.submesh([numpy.flatnonzero(~mouth)], append=True, repair=False)
    _, distances, _ = trimesh.proximity.closest_point(others, samples)
    least = distances.min()
    tally.check(
        least >= wall - ROUNDING,
        f"{piece.name}: wall around the opening at the {side} at least {least:.4f} mm by trimesh, {wall} mm asked for",
    )


def check_excess(tally, piece):
    """Compares the piece's volume with the material that is nearer to the outside than the wall, found by `edt`."""
    cell, wall = piece.cell, piece.fact("hollow", "wall")
    steps = samples_along(cell, wall)
    depth = depths(piece.solid, cell, steps)
    cavity = depth >= wall - 1e-4
    block = steps // 2
    shaft_volume = 0.0
    for _, low, high in piece.openings:
        first, last = (numpy.rint((at - piece.ply.bounds[0]) / cell).astype(int) * block for at in (low, high))
        cavity[tuple(slice(a, b) for a, b in zip(first, last))] = False
        shaft_volume += numpy.prod(high - low)
    solid = piece.solid.sum() * cell**3
    exact = solid - cavity.sum() * (cell / block) ** 3 - shaft_volume
    excess = piece.ply.volume / exact - 1
    tally.check(
        excess <= EXCESS,
        f"{piece.name}: {piece.ply.volume / 1000:.2f} cm³ of material, {exact / 1000:.2f} by the exact Euclidean offset"
        f" (edt, {cell / steps:g} mm): {100 * excess:.2f} % more, {100 * EXCESS:.0f} % allowed",
    )


def samples_along(cell, wall):
    """The least even number of steps of about a quarter of a millimetre along a cell that divides the wall as well.

    Otherwise flat walls are miscounted by up to half a step.
    """
    for steps in range(2 * round(cell / 0.5), 40, 2):
        if abs(wall * steps / cell - round(wall * steps / cell)) < 1e-9:
            return steps
    raise ValueError(f"no fine lattice fits both cells of {cell} mm and a wall of {wall} mm")


def depths(solid, cell, steps):
    """Distance (mm) from outside, of which the border is a part, at the middles of blocks of two steps along."""
    inside = solid.astype(numpy.uint8)
    for axis in range(3):
        inside = numpy.repeat(inside, steps, axis=axis)
        # From the steps to the points between them, ends included: a point is inside where both its neighbours are.
        inside = numpy.pad(inside, [(1, 1) if a == axis else (0, 0) for a in range(3)])
        before, after = (take(inside, part, axis) for part in (slice(None, -1), slice(1, None)))
        inside = before & after
    field = edt.edt(numpy.ascontiguousarray(inside), anisotropy=(cell / steps,) * 3, parallel=2)
    return field[1::2, 1::2, 1::2]


def take(array, part, axis):
    """A part of an array along one axis."""
    return array[tuple(part if a == axis else slice(None) for a in range(array.ndim))]
