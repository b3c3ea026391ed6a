"""Colours: on every outside triangle by its normal, and in the six views."""

import numpy

from piece import NORMALS


def check(tally, piece):
    """Both ways of asking whether each side has its own colour and no other."""
    check_by_normal(tally, piece)
    check_views(tally, piece)


def check_by_normal(tally, piece):
    """What is outside follows from the geometry alone; see `Piece.solid`."""
    outside, areas = piece.outside, piece.ply.area_faces
    expected = numpy.tile(piece.colour("inside"), (len(outside), 1))
    by_side = {row[0]: float(row[1]) for row in piece.fact("validate", "outside area by side")}
    for side, (axis, sign) in NORMALS.items():
        facing = outside & (numpy.abs(piece.ply.face_normals[:, axis] - sign) < 1e-9)
        expected[facing] = piece.colour(side)
        area, cells = areas[facing].sum(), piece.faces_of_solid(side) * piece.cell**2 - piece.mouths(side)
        tally.check(
            abs(area - cells) < 0.01 and abs(area - by_side[side]) < 0.01,
            f"{piece.name}: {side} outside area {area:.2f} mm² by trimesh; cell faces less mouths {cells:.2f},"
            f" record {by_side[side]:.2f}",
        )
    straight = (numpy.abs(piece.ply.face_normals[outside]).max(axis=1) > 1 - 1e-9).all()
    tally.check(straight, f"{piece.name}: all {outside.sum()} outside triangles face one of the six sides")
    right = (piece.ink == expected).all(axis=1)
    shares = [100 * right[which].mean() if which.any() else 100.0 for which in (outside, ~outside)]
    tally.check(
        right.all(),
        f"{piece.name}: {shares[0]:.4f} % of the outside triangles have their side's colour,"
        f" {shares[1]:.4f} % of the others the inside colour",
    )


def check_views(tally, piece):
    """Six parallel views: a ray of trimesh for each cell of the view, and the first triangle that it meets."""
    mesh, cell = piece.ply, piece.cell
    low, high = mesh.bounds
    record = {row[0]: [float(value) for value in row[1:]] for row in piece.fact("validate", "views")}
    for side, (axis, sign) in NORMALS.items():
        across = [a for a in range(3) if a != axis]
        grid = [low[a] + (numpy.arange(piece.solid.shape[a]) + shift) * cell for a, shift in zip(across, (0.71, 0.63))]
        origins = numpy.empty((grid[0].size * grid[1].size, 3))
        origins[:, across] = numpy.stack(numpy.meshgrid(*grid, indexing="ij"), axis=-1).reshape(-1, 2)
        origins[:, axis] = (high if sign > 0 else low)[axis] + sign
        through = numpy.zeros(len(origins), dtype=bool)
        for where, a, b in piece.openings:
            if where == side:
                through |= ((origins > a) & (origins < b))[:, across].all(axis=1)
        ray = numpy.zeros(3)
        ray[axis] = -sign
        first = mesh.ray.intersects_first(origins, numpy.tile(ray, (len(origins), 1)))
        seen = first >= 0
        own = (piece.ink[first] == piece.colour(side)).all(axis=1)
        plain = seen & ~through
        area, ours = plain.sum() * cell**2, record[side][0]
        tally.check(
            plain.any() and own[plain].all() and abs(area - ours) < 0.01,
            f"{piece.name}: from the {side} trimesh sees {100 * own[plain].mean():.2f} % in the side's colour;"
            f" {area:.0f} mm², record {ours:.0f}",
        )
