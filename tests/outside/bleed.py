"""The bleed: what `proof` says of each side, against random walks over the cubes.

Where colourant spreads by a Gaussian along a surface, the share of a side's own at a place is the chance that a walk of many
small random steps from there ends on a face of that side. The walks here go over edges and around corners of the very cubes
in the ordered file, so they know nothing of belts, texels or kernels: what the program's way of taking the axes one after
the other makes of corners shows as a difference.
"""

import numpy
import trimesh

import jobs
from piece import Piece

CELL = 3.0
BLEED = 0.6
WALKS = 60_000
STEPS = 48


def check(tally, scratch):
    """A ball and a lump of two balls, without rounding of edges."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=24.0)
    small = trimesh.creation.icosphere(subdivisions=4, radius=15.0)
    small.apply_translation([17.0, 9.0, 14.0])
    lump = trimesh.util.concatenate([ball, small])
    for name, mesh in (("ball", ball), ("lump", lump)):
        job = jobs.write(scratch / "jobs", f"bleed-{name}", mesh, chain=("repair",))
        process = jobs.PROCESS.read_text(encoding="utf-8")
        for figure, value in (("bleed", BLEED), ("edge_radius", 0), ("layer", 0.0001)):
            process = replaced(process, figure, f"{value} mm")
        (scratch / "jobs" / "bleed-process.yaml").write_text(process, encoding="utf-8")
        text = job.read_text(encoding="utf-8").replace(str(jobs.PROCESS), "bleed-process.yaml")
        job.write_text(text + "  - proof: { pixels: 64, film: 0 }\n", encoding="utf-8")
        # So much bleed may well be a fault of the piece.
        _, said = jobs.run(job, scratch / "runs")
        piece = Piece(f"bleed {name}", said["run"])
        told = {row[0]: float(row[3]) for row in piece.fact("proof", "print by side")}
        surface = Cubes(piece.stl)
        random = numpy.random.default_rng(11)
        for side, own in told.items():
            walked, error = surface.own_share(side, random)
            apart = abs(own - walked)
            tally.check(
                apart < 0.4 + 3 * error,
                f"bleed on the {name}, {side}: own share {own:.1f} %, {walked:.1f} ± {error:.1f} % by random walks",
            )


def replaced(process, figure, value):
    """The text of a process file with another value for a figure, and no range."""
    lines = process.splitlines()
    return "\n".join(
        f"{figure}: {{ value: {value}, basis: invented for the test }}" if line.startswith(f"{figure}:") else line
        for line in lines
    )


class Cubes:
    """The faces of a solid of cubes, and steps over them."""

    def __init__(self, mesh):
        normals = numpy.rint(mesh.face_normals).astype(int)
        corners = mesh.vertices[mesh.faces]
        # Two triangles make a face: the middle of the face is that of the box around either of them.
        middles = (corners.min(axis=1) + corners.max(axis=1)) / 2
        self.origin = mesh.vertices.min(axis=0)
        cells = numpy.floor((middles - self.origin) / CELL - 0.5 * normals + 1e-6).astype(int)
        sides = numpy.argmax(numpy.abs(normals), axis=1) * 2 + (normals.sum(axis=1) < 0)
        self.faces = numpy.unique(self.key(cells, sides))
        self.cells, self.sides = self.unpack(self.faces)

    @staticmethod
    def key(cells, sides):
        """A number for each face."""
        x, y, z = (cells + 8).T
        return ((x * 4096 + y) * 4096 + z) * 8 + sides

    @staticmethod
    def unpack(keys):
        """The other way round."""
        rest, sides = keys // 8, keys % 8
        return numpy.stack([rest // 4096 // 4096, rest // 4096 % 4096, rest % 4096], axis=1) - 8, sides

    def exists(self, cells, sides):
        """Which of these are faces of the solid."""
        keys = self.key(cells, sides)
        at = numpy.searchsorted(self.faces, keys).clip(max=len(self.faces) - 1)
        return self.faces[at] == keys

    def seen(self, side):
        """The faces that are nearest to a viewer straight before a side."""
        number = jobs.SIDES.index(side)
        axis, sign = number // 2, 1 - 2 * (number % 2)
        of_side = self.cells[self.sides == number]
        order = numpy.argsort(-sign * of_side[:, axis], kind="stable")
        _, first = numpy.unique(numpy.delete(of_side[order], axis, axis=1), axis=0, return_index=True)
        return of_side[order][first], number

    def own_share(self, side, random):
        """Per cent of the walks from a side that end on it, and the standard error."""
        starts, number = self.seen(side)
        cells = starts[random.integers(len(starts), size=WALKS)]
        sides = numpy.full(WALKS, number)
        places = cells + random.random((WALKS, 3))
        self.to_plane(cells, sides, places)
        step = BLEED / CELL / numpy.sqrt(STEPS)
        for _ in range(STEPS):
            for turn in (1, 2):
                axes = (sides // 2 + turn) % 3
                self.walk(cells, sides, places, axes, random.normal(scale=step, size=WALKS))
        share = float((sides == number).mean())
        return 100 * share, 100 * float(numpy.sqrt(share * (1 - share) / WALKS))

    @staticmethod
    def to_plane(cells, sides, places):
        """Puts places onto their faces."""
        rows, axes = numpy.arange(len(cells)), sides // 2
        places[rows, axes] = cells[rows, axes] + (1 - sides % 2)

    def walk(self, cells, sides, places, axes, steps):
        """A step of each walk along an axis of its face, around whatever comes; steps are shorter than a cell."""
        rows = numpy.arange(len(cells))
        places[rows, axes] += steps
        inside = places[rows, axes] - cells[rows, axes]
        over = numpy.where(inside > 1, inside - 1, numpy.where(inside < 0, -inside, 0.0))
        going = numpy.flatnonzero(over > 0)
        if not len(going):
            return
        cell, side, over = cells[going], sides[going], over[going]
        up = inside[going] > 1
        axis, normal = axes[going], side // 2
        out = numpy.zeros_like(cell)
        out[numpy.arange(len(going)), axis] = numpy.where(up, 1, -1)
        looks = numpy.zeros_like(cell)
        looks[numpy.arange(len(going)), normal] = 1 - 2 * (side % 2)
        outwards = axis * 2 + numpy.where(up, 0, 1)
        convex = self.exists(cell, outwards)
        concave = ~convex & self.exists(cell + out + looks, outwards ^ 1)
        flat = ~convex & ~concave
        assert self.exists(cell[flat] + out[flat], side[flat]).all(), "the surface goes on"
        new_cell = numpy.where(convex[:, None], cell, numpy.where(concave[:, None], cell + out + looks, cell + out))
        new_side = numpy.where(convex, outwards, numpy.where(concave, outwards ^ 1, side))
        place = places[going]
        at = numpy.arange(len(going))
        # From the edge down the side of the cube, or up the cube beyond.
        edge = cell[at, normal] + (1 - side % 2)
        along = looks[at, normal] * numpy.where(convex, -over, over)
        place[at, normal] = numpy.where(flat, place[at, normal], edge + along)
        cells[going], sides[going] = new_cell, new_side
        places[going] = place
        self.to_plane(cells, sides, places)
