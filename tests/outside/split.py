"""A piece that is too large for the machine, in parts: put together they are the whole, by other people's solids."""

import itertools
import json
import pathlib

import lib3mf
import manifold3d
import numpy
import trimesh

import files
import jobs

# The room for a part, in mm, and what the job asks of pins.
ROOM = (110.0, 110.0, 95.0)
PIN = {"width": 5.0, "narrow": 3.5, "height": 6.0, "clearance": 0.3}
CELL = 5.0
WALL = 3.0
# Volumes in mm³ below which a Boolean of single-precision solids is empty.
NOTHING = 0.5
# What the clearance may be off, in mm.
NEAR = 0.01


def check(tally, scratch):
    """A solid whelk and a hollow one, each in parts."""
    check_solid(tally, scratch)
    check_hollow(tally, scratch)


def write(folder, name, hollow):
    """Writes a job of the demo's model in 5 mm cells; gives its path."""
    folder.mkdir(parents=True, exist_ok=True)
    colours = ", ".join(f'{side}: "{colour}"' for side, colour in jobs.COLOURS.items())
    pins = f"width: {PIN['width']} mm, height: {PIN['height']} mm, clearance: {PIN['clearance']} mm"
    openings = "openings: [{ side: bottom, width: 20 mm }]"
    lines = [
        f"commission: OUTSIDE-{name}",
        f"title: {json.dumps(jobs.TITLE, ensure_ascii=False)}",
        f"model: {{ file: {json.dumps(str(jobs.ROOT / 'jobs' / 'models' / 'whelk.stl'))}, units: mm, up: +z, facing: -y }}",
        f"process: {json.dumps(str(jobs.PROCESS))}",
        "stages:",
        "  - scale: { height: 170 mm }",
        f"  - voxelise: {{ cell: {CELL} mm }}",
        "  - foot: { cells: 2, width: 40 mm }",
        "  - repair",
        *([f"  - hollow: {{ wall: {WALL} mm, {openings} }}"] if hollow else []),
        f"  - colour: {{ {colours} }}",
        f"  - split: {{ build: [{', '.join(f'{side} mm' for side in ROOM)}], pins: {{ {pins} }} }}",
        "  - validate",
    ]
    job = folder / f"{name}.yaml"
    job.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return job


class Parts:
    """The files of a run, read by lib3mf."""

    def __init__(self, tally, scratch, name, hollow):
        code, said = jobs.run(write(scratch / "jobs", name, hollow), scratch / "runs")
        self.name = name
        tally.check(code == 0 and said["verdict"] == "ready-to-order", f"{name}: exit code {code}, {said['verdict']}")
        self.folder = pathlib.Path(said["run"])
        self.orders = [pathlib.Path(order) for order in said["orders"]]
        record = json.loads((self.folder / "run.json").read_text(encoding="utf-8"))
        tally.check(
            record["orders"] == [order.name for order in self.orders] and record["order"] == self.orders[0].name,
            f"{name}: the record orders {len(self.orders)} files",
        )
        self.facts = {fact["name"]: fact["value"] for stage in record["stages"] for fact in stage["facts"]}
        self.whole = read(self.folder / "piece.3mf")
        self.parts = [read(order) for order in self.orders]
        for number, (order, (mesh, _, body)) in enumerate(zip(self.orders, self.parts), 1):
            sound = body.IsManifoldAndOriented() and mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0
            tally.check(sound, f"{name}: part {number} is closed by lib3mf and trimesh, {mesh.volume / 1000:.2f} cm³")
            stl = trimesh.load(order.with_suffix(".stl"))
            same = stl.is_watertight and abs(stl.volume / mesh.volume - 1) < 1e-5
            tally.check(same, f"{name}: part {number} as STL has the same volume by trimesh")
            size = numpy.sort(mesh.extents)
            tally.check((size <= numpy.sort(ROOM) + 1e-3).all(), f"{name}: part {number} fits the room, {mesh.extents}")
            tally.check(mesh.body_count == 1, f"{name}: part {number} has one boundary: nothing is shut in")
        self.solids = [solid(mesh) for mesh, _, _ in self.parts]
        tally.check(
            all(part.status() == manifold3d.Error.NoError for part in self.solids), f"{name}: manifold3d takes every part"
        )
        total = sum(mesh.volume for mesh, _, _ in self.parts) / 1000
        told = self.facts["volume"]["number"]
        tally.check(abs(total / told - 1) < 1e-5, f"{name}: {total:.3f} cm³ in all parts by trimesh, record {told:.3f}")

    def overlap(self, tally):
        """No two parts overlap."""
        most = max((a ^ b).volume() for a, b in itertools.combinations(self.solids, 2))
        tally.check(most < NOTHING, f"{self.name}: any two parts have {most:.4f} mm³ at most in common by manifold3d")

    def union(self):
        """All parts put together."""
        return manifold3d.Manifold.batch_boolean(self.solids, manifold3d.OpType.Add)


def read(path):
    """The mesh of a 3MF, the colour of each of its triangles, and the object itself."""
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    palette = {}
    groups = model.GetColorGroups()
    while groups.MoveNext():
        group = groups.GetCurrentColorGroup()
        for number in group.GetAllPropertyIDs():
            colour = group.GetColor(number)
            palette[group.GetResourceID(), number] = f"#{colour.Red:02x}{colour.Green:02x}{colour.Blue:02x}"
    meshes = model.GetMeshObjects()
    meshes.MoveNext()
    body = meshes.GetCurrentMeshObject()
    ink = [palette[of.ResourceID, of.PropertyIDs[0]] for of in body.GetAllTriangleProperties()]
    return files.geometry(body), ink, body


def solid(mesh):
    """The mesh as a solid of manifold3d."""
    return manifold3d.Manifold(manifold3d.Mesh(mesh.vertices.astype(numpy.float32), mesh.faces.astype(numpy.uint32)))


def check_solid(tally, scratch):
    """Without a cavity, all parts together are the whole but for the gaps around pins."""
    parts = Parts(tally, scratch, "split-solid", hollow=False)
    parts.overlap(tally)
    whole, union = solid(parts.whole[0]), parts.union()
    beyond = (union - whole).volume()
    tally.check(beyond < NOTHING, f"split-solid: {beyond:.4f} mm³ of all parts lie outside of the whole")
    gaps = (whole - union).decompose()
    gaps = [gap for gap in gaps if gap.volume() > NOTHING]
    c, h = PIN["clearance"], PIN["height"]
    shells = {w: (w + 2 * c) ** 2 * (h + c) - w * w * h for w in (PIN["width"], PIN["narrow"])}
    rows = parts.facts["parts of the piece"]["table"]["rows"]
    pegs = sum(int(row[-1]) for row in rows)
    tally.check(len(gaps) * 2 == pegs > 0, f"split-solid: {len(gaps)} gaps by manifold3d, {pegs} pins and sockets in the record")
    off = max(min(abs(gap.volume() - shell) for shell in shells.values()) for gap in gaps)
    tally.check(off < NOTHING, f"split-solid: each gap has the volume between a pin and its socket within {off:.4f} mm³")
    check_clearance(tally, parts, gaps)
    check_colours(tally, parts)


def check_clearance(tally, parts, gaps):
    """Around each pin the gap to the socket is the clearance on every side and at its end."""
    worst = 0.0
    for gap in gaps:
        box = numpy.array(gap.bounding_box()).reshape(2, 3)
        # The pin is what the parts fill of the socket's box.
        hull = manifold3d.Manifold.cube(box[1] - box[0]).translate(box[0])
        pin = hull - gap
        inner = numpy.array(pin.bounding_box()).reshape(2, 3)
        sides = numpy.concatenate([inner[0] - box[0], box[1] - inner[1]])
        # At the foot there is none.
        sides = numpy.sort(sides)
        worst = max(worst, abs(sides[0]), numpy.abs(sides[1:] - PIN["clearance"]).max())
    tally.check(worst <= NEAR, f"split-solid: gaps are {PIN['clearance']} mm on every side within {worst:.5f} mm")


def check_colours(tally, parts):
    """Each outside triangle of the whole is on one part, in its colour; all others have the colour of the inside."""
    mesh, ink, _ = parts.whole
    wanted = {key(mesh, t): ink[t] for t in range(len(mesh.faces))}
    seen, wrong, rest = set(), 0, set()
    for mesh, ink, _ in parts.parts:
        for t in range(len(mesh.faces)):
            at = key(mesh, t)
            if at in wanted and at not in seen:
                seen.add(at)
                wrong += wanted[at] != ink[t]
            else:
                rest.add(ink[t])
    tally.check(
        len(seen) == len(wanted) and wrong == 0,
        f"split-solid: {len(seen)} of {len(wanted)} outside triangles are on the parts, {wrong} in another colour",
    )
    tally.check(rest == {jobs.COLOURS["inside"]}, f"split-solid: seams have the colour of the inside alone, {rest}")


def key(mesh, triangle):
    """Where a triangle lies and looks."""
    centre, normal = mesh.triangles_center[triangle], mesh.face_normals[triangle]
    return (*numpy.round(centre * 100).astype(int), *numpy.round(normal).astype(int))


def check_hollow(tally, scratch):
    """With a cavity: each part is hollow and open, and put together there is one cavity, open at the bottom."""
    parts = Parts(tally, scratch, "split-hollow", hollow=True)
    parts.overlap(tally)
    rows = parts.facts["parts of the piece"]["table"]["rows"]
    # The tip of the whelk leaves no room behind its wall.
    hollow = sum(row[4] == "hollow" for row in rows)
    tally.check(hollow == len(rows) - 1, f"split-hollow: {hollow} of {len(rows)} parts are hollow")
    union = parts.union().to_mesh()
    mesh = trimesh.Trimesh(union.vert_properties[:, :3], union.tri_verts, process=False)
    mesh.merge_vertices()
    shells = [shell for shell in mesh.split(only_watertight=False) if abs(shell.volume) > NOTHING]
    pins = sum(int(row[-1]) for row in rows) // 2
    # One boundary of the piece with all that is reached from outside, and one round the gap of each pin.
    tally.check(len(shells) == 1 + pins, f"split-hollow: put together, {len(shells)} boundaries around {pins} gaps of pins and the piece")
    wall = parts.facts["thinnest wall"]["number"]
    tally.check(wall >= WALL - 1e-6, f"split-hollow: the wall is {wall:.4f} mm at its thinnest, seams and sockets too")
