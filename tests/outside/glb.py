"""The GLB as others see it: Khronos' validator, trimesh, and the colours' numbers by NumPy."""

import json
import struct
import subprocess

import numpy
import trimesh

from piece import NORMALS

# Prints what the validator has to say about a file.
VALIDATE = """
const { validateBytes } = require(process.argv[1]);
const bytes = new Uint8Array(require("fs").readFileSync(process.argv[2]));
validateBytes(bytes).then((report) => process.stdout.write(JSON.stringify(report.issues)));
"""
# Half of the last place of 180 mm in single precision, doubled.
SINGLE = 2e-5
# The kinds of numbers in a buffer, as glTF 2.0 (5.1.3) numbers them.
KINDS = {5123: "<u2", 5125: "<u4", 5126: "<f4"}


def check(tally, piece, scratch):
    """Sound, closed, as large as the cubes, and with the area of each colour on each side that the PLY has."""
    path = piece.folder / "piece.glb"
    check_validator(tally, piece, path, scratch)
    seen = Seen(path)
    mesh = seen.mesh()
    sound = mesh.is_watertight and mesh.is_winding_consistent
    tally.check(sound, f"{piece.name}: trimesh finds the GLB watertight, its winding consistent")
    low, high = numpy.abs(mesh.bounds - piece.ply.bounds).max(axis=1)
    tally.check(max(low, high) < SINGLE, f"{piece.name}: the GLB stands in the PLY's box, {max(low, high):.1e} mm off")

    shafts = piece.solid.copy()
    for _, a, b in piece.openings:
        first, last = (numpy.rint((at - piece.ply.bounds[0]) / piece.cell).astype(int) for at in (a, b))
        shafts[tuple(slice(i, j) for i, j in zip(first, last))] = False
    volume = shafts.sum() * piece.cell**3
    tally.check(
        abs(mesh.volume - volume) < mesh.area * SINGLE,
        f"{piece.name}: GLB volume {mesh.volume:.1f} mm³ by trimesh; cells less shafts {volume:.1f}",
    )
    wanted = areas(piece.ply, piece.ink, piece.outside)
    found = areas(mesh, seen.colours, numpy.ones(len(mesh.faces), dtype=bool))
    inside = piece.colour("inside")
    found = {key: area for key, area in found.items() if key[1] != inside}
    off = [key for key in wanted.keys() | found.keys() if abs(wanted.get(key, 0) - found.get(key, 0)) > 0.02]
    tally.check(
        not off and wanted,
        f"{piece.name}: {len(wanted)} pairs of side and colour have one area in GLB and PLY; {len(off)} differ {off[:3]}",
    )


def check_size(tally, piece):
    """Few triangles, where sides have one colour each."""
    size = (piece.folder / "piece.glb").stat().st_size
    faces = sum(piece.faces_of_solid(side) for side in NORMALS)
    tally.check(size < 20 * faces + 5000, f"{piece.name}: the GLB has {size} bytes for {faces} faces of cubes")


def check_validator(tally, piece, path, scratch):
    """Khronos' glTF validator has nothing to say."""
    package = scratch / "node_modules" / "gltf-validator"
    said = subprocess.run(["node", "-e", VALIDATE, package.resolve(), path], check=True, capture_output=True).stdout
    issues = json.loads(said)
    counts = {kind: issues[f"num{kind}"] for kind in ("Errors", "Warnings", "Infos", "Hints")}
    tally.check(not any(counts.values()), f"{piece.name}: gltf-validator finds {counts} {issues['messages'][:3] or ''}")


def areas(mesh, colours, which):
    """Area by side and colour of those triangles that are asked for."""
    sums = {}
    for side, (axis, sign) in NORMALS.items():
        facing = which & (numpy.abs(mesh.face_normals[:, axis] - sign) < 1e-6)
        own, place = numpy.unique(colours[facing], axis=0, return_inverse=True)
        for colour, area in zip(own, numpy.bincount(place.ravel(), mesh.area_faces[facing])):
            sums[side, tuple(map(int, colour))] = area
    return sums


class Seen:
    """A file, its triangles by trimesh, its colours by NumPy."""

    def __init__(self, path):
        self.path = path
        data = path.read_bytes()
        length = struct.unpack_from("<I", data, 12)[0]
        self.document = json.loads(data[20 : 20 + length])
        self.buffer = data[28 + length :]
        primitives = self.document["meshes"][0]["primitives"]
        self.colours = numpy.concatenate([self.of_primitive(primitive) for primitive in primitives])

    def mesh(self):
        """All of it in mm, z up, in the order of the file."""
        scene = trimesh.load(self.path, process=False)
        parts = [scene.geometry[name].copy() for name in scene.geometry]
        for part, name in zip(parts, scene.geometry):
            [node] = scene.graph.geometry_nodes[name]
            part.apply_transform(scene.graph.get(node)[0])
        points = numpy.concatenate([part.vertices for part in parts]) * 1000
        begins = numpy.cumsum([0] + [len(part.vertices) for part in parts[:-1]])
        faces = numpy.concatenate([part.faces + begin for part, begin in zip(parts, begins)])
        x, y, z = points.T
        mesh = trimesh.Trimesh(numpy.stack([x, -z, y], axis=1), faces, process=False)
        mesh.merge_vertices(digits_vertex=4)
        return mesh

    def of_primitive(self, primitive):
        """The sRGB colour of each triangle: of its material, times that of its points."""
        material = self.document["materials"][primitive["material"]]["pbrMetallicRoughness"]["baseColorFactor"]
        corners = self.numbers(primitive["indices"]).reshape(-1, 3)
        light = numpy.tile(material[:3], (len(corners), 1))
        if "COLOR_0" in primitive["attributes"]:
            light = light * (self.numbers(primitive["attributes"]["COLOR_0"])[:, :3] / 65535)[corners[:, 0]]
        # IEC 61966-2-1, from memory.
        shown = numpy.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
        return numpy.rint(255 * shown).astype(int)

    def numbers(self, accessor):
        """The numbers of an accessor, a row for each element."""
        told = self.document["accessors"][accessor]
        view = self.document["bufferViews"][told["bufferView"]]
        wide = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}[told["type"]]
        begin = view["byteOffset"] + told.get("byteOffset", 0)
        count = told["count"] * wide
        numbers = numpy.frombuffer(self.buffer, KINDS[told["componentType"]], count, begin)
        return numbers if wide == 1 else numbers.reshape(-1, wide)
