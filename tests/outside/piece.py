"""A finished run as this script sees it: the record's facts, the meshes, and which of their triangles are outside."""

import functools
import json
import pathlib
import re

import numpy
import scipy.ndimage
import trimesh

import jobs

# Axis and sign of each side's normal.
NORMALS = {side: (axis // 2, 1 if axis % 2 == 0 else -1) for axis, side in enumerate(jobs.SIDES)}


class Piece:
    """A run folder."""

    def __init__(self, name, folder):
        self.name = name
        self.folder = pathlib.Path(folder)
        record = json.loads((self.folder / "run.json").read_text(encoding="utf-8"))
        self.title = record["title"]
        self.verdict = record["verdict"]
        self.stages = {stage["name"]: stage for stage in record["stages"]}
        self.cell = self.fact("voxelise", "cell")

    @classmethod
    def of(cls, tally, scratch, name, job):
        """Runs a job, which must end well."""
        code, said = jobs.run(job, scratch / "runs")
        tally.check(code == 0, f"{name}: the program's exit code is {code}")
        return cls(name, said["run"])

    def fact(self, stage, name):
        """A fact of the record; of a table its rows."""
        [value] = [fact["value"] for fact in self.stages[stage]["facts"] if fact["name"] == name]
        [(kind, inner)] = value.items()
        return inner["rows"] if kind == "table" else inner

    @property
    def hollow(self):
        """Whether the piece has a cavity."""
        return "hollow" in self.stages

    def colour(self, name):
        """The colour of a side, or of the inside, that the job asks for."""
        code = self.stages["colour"]["settings"][name]
        return tuple(bytes.fromhex(code.removeprefix("#")))

    @functools.cached_property
    def ply(self):
        """The coloured piece, its vertices as they stand in the file."""
        return trimesh.load(self.folder / "piece.ply", process=False)

    @functools.cached_property
    def stl(self):
        """The uncoloured piece, equal corners made one."""
        return trimesh.load(self.folder / "piece.stl")

    @property
    def ink(self):
        """Red, green and blue of each triangle."""
        return self.ply.visual.face_colors[:, :3]

    @functools.cached_property
    def openings(self):
        """Side, low and high corner (mm) of the shaft of each opening."""
        if not self.hollow:
            return []
        rows = self.fact("hollow", "openings")
        spans = [numpy.array(re.findall(r"-?[\d.]+", row[2]), dtype=float).reshape(3, 2) for row in rows]
        return [(row[0], span[:, 0], span[:, 1]) for row, span in zip(rows, spans)]

    def mouths(self, side):
        """Area (mm²) of the openings' mouths on a side."""
        across = [axis for axis in range(3) if axis != NORMALS[side][0]]
        return sum(numpy.prod((high - low)[across]) for where, low, high in self.openings if where == side)

    @functools.cached_property
    def solid(self):
        """One flag a cell of the piece's bounding box: the outer solid, its cavity counted in.

        Rays along z find the cells whose centres are in material; openings are stopped up; what air cannot then be
        reached from the border is part of the solid. Colours play no part in it.
        """
        low, high = self.ply.bounds
        counts = numpy.rint((high - low) / self.cell).astype(int)
        filled = crossings(self.ply, low, counts, self.cell, shift=(0.0137, 0.0071)) > 0
        for _, mouth, end in self.openings:
            first, last = (numpy.rint((at - low) / self.cell).astype(int) for at in (mouth, end))
            filled[tuple(slice(a, b) for a, b in zip(first, last))] = True
        air, _ = scipy.ndimage.label(numpy.pad(~filled, 1, constant_values=True))
        return (air != air[0, 0, 0])[1:-1, 1:-1, 1:-1]

    def in_solid(self, points):
        """Whether points (mm) lie in a cell of the outer solid."""
        index = numpy.floor((points - self.ply.bounds[0]) / self.cell).astype(int)
        within = ((index >= 0) & (index < self.solid.shape)).all(axis=1)
        found = numpy.zeros(len(points), dtype=bool)
        found[within] = self.solid[tuple(index[within].T)]
        return found

    @functools.cached_property
    def outside(self):
        """For each triangle whether it lies on the boundary of the outer solid and looks out of it."""
        step = self.ply.face_normals * 1e-3
        middles = self.ply.triangles_center
        return self.in_solid(middles - step) & ~self.in_solid(middles + step)

    def faces_of_solid(self, side):
        """How many cell faces of the outer solid look to a side."""
        axis, sign = NORMALS[side]
        steps = numpy.diff(numpy.pad(self.solid.astype(numpy.int8), 1), axis=axis)
        return int((steps == -sign).sum())


def crossings(mesh, low, counts, cell, shift):
    """Winding number of a closed mesh at cell centres: the signed crossings of a ray from each of them to +z.

    `shift` moves the rays (mm, along x and y) off edges that lie exactly on the centres.
    """
    columns = numpy.stack(numpy.meshgrid(*(numpy.arange(n) for n in counts[:2]), indexing="ij"), axis=-1).reshape(-1, 2)
    below = mesh.bounds[0][2] - 1.0
    origins = numpy.column_stack([low[:2] + (columns + 0.5) * cell + shift, numpy.full(len(columns), below)])
    hits, rays, triangles = mesh.ray.intersects_location(
        origins, numpy.tile([0.0, 0.0, 1.0], (len(origins), 1)), multiple_hits=True
    )
    # A crossing at height z is above the centres 0 … n − 1 with n = ⌈(z − low) / cell − ½⌉.
    above = numpy.clip(numpy.ceil((hits[:, 2] - low[2]) / cell - 0.5), 0, counts[2]).astype(int)
    sign = numpy.sign(mesh.face_normals[triangles, 2]).astype(int)
    steps = numpy.zeros((len(columns), counts[2] + 1), dtype=int)
    numpy.add.at(steps, (rays, above), sign)
    # Sum over the crossings whose `above` exceeds the centre's number.
    winding = steps[:, ::-1].cumsum(axis=1)[:, ::-1][:, 1:]
    return winding.reshape(tuple(counts))
