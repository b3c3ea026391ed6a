"""The stand, peg and spacer, and how they fit the piece, as other people's libraries see them."""

import json
import math
import pathlib
import shutil
import sys
import xml.etree.ElementTree
import zipfile

import lib3mf
import manifold3d
import numpy
import trimesh

import jobs

GRAVITY = 9.80665
# The piece rests on some 10³ mm² of collar, and coordinates are written to 1e-6 mm: as much may overlap there, in mm³.
TOUCHING = 2e-3


def check(tally, scratch):
    """The demo, the stone, a ball on a foot, and a form that leans: each put together from its files and measured."""
    folder = (scratch / "stand").resolve()
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True, exist_ok=True)
    check_piece(tally, "whelk", demo(folder, "whelk", jobs.ROOT / "jobs" / "models" / "whelk.stl", "height: 180 mm", ""), folder)
    check_piece(tally, "stone", demo(folder, "stone", jobs.ROOT / "jobs" / "pictures" / "stone.obj", "height: 120 mm", ""), folder)
    ball = trimesh.creation.icosphere(subdivisions=5, radius=45.0)
    check_piece(tally, "ball", demo(folder, "ball", exported(folder, "ball", ball), "factor: 1", "foot: { cells: 4, width: 39 mm }"), folder)
    check_piece(tally, "leaning", demo(folder, "leaning", exported(folder, "leaning", leaning()), "factor: 1", ""), folder)
    check_handbook(tally)


def leaning():
    """A slanted prism, 60 mm square, whose top lies 40 mm to the right of its foot."""
    box = trimesh.creation.box(extents=(60, 60, 120))
    box.vertices[:, 0] += (box.vertices[:, 2] + 60) / 3
    return box


def exported(folder, name, mesh):
    """Writes a mesh; gives its path."""
    path = folder / f"{name}.stl"
    mesh.export(path)
    return path


def demo(folder, name, model, scale, foot):
    """A job for a model, with a stand for a hexagonal shaft."""
    colours = ", ".join(f'{side}: "{colour}"' for side, colour in jobs.COLOURS.items())
    stages = [
        f"scale: {{ {scale} }}",
        "voxelise: { cell: 3 mm }",
        *([foot] if foot else []),
        "repair",
        "hollow: { wall: 2.5 mm, openings: [{ side: bottom, width: 24 mm }] }",
        f"colour: {{ {colours} }}",
        "stand: { shaft: { shape: hex, across: 7 mm }, printer: { build: [300 mm, 300 mm, 300 mm] } }",
    ]
    lines = [
        f"commission: OUTSIDE-STAND-{name}",
        f"title: A stand for a {name}",
        f"model: {{ file: {json.dumps(str(model))}, units: mm, up: +z, facing: -y }}",
        f"process: {json.dumps(str(jobs.PROCESS))}",
        "stages:",
        *(f"  - {stage}" for stage in stages),
    ]
    job = folder / f"{name}.yaml"
    job.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return job


def check_piece(tally, name, job, folder):
    """Runs the job; judges each file, puts them together, and measures the fit."""
    code, said = jobs.run(job, folder / "runs")
    run = pathlib.Path(said["run"])
    record = json.loads((run / "run.json").read_text(encoding="utf-8"))
    stage = next(stage for stage in record["stages"] if stage["name"] == "stand")
    facts = {fact["name"]: fact["value"] for fact in stage["facts"]}
    faults = [finding["code"] for finding in stage["findings"] if finding["severity"] == "fault"]
    tally.check(code == 0 and not faults, f"stand, {name}: exit code {code}, faults {faults}")
    piece = read(tally, run / "piece.3mf", name)
    bodies = {}
    for row in facts["bodies to print"]["table"]["rows"]:
        body, file, _, volume, weight, printed, moved = row
        mesh = read(tally, run / file, f"{name}, {body}")
        low, high = mesh.bounds
        tally.check(numpy.allclose(low, 0, atol=1e-9), f"stand, {name}, {body}: lies at {low} on the plate")
        tally.check(
            abs(mesh.volume / 1000 / float(volume) - 1) < 1e-6,
            f"stand, {name}, {body}: {mesh.volume / 1000:.4f} cm³ by trimesh, record {volume}",
        )
        tally.check(abs(mesh.volume * 1.24e-3 / float(weight) - 1) < 1e-6, f"stand, {name}, {body}: {weight} g at 1.24 g/cm³")
        stl = trimesh.load(run / file.replace(".3mf", ".stl"))
        tally.check(stl.is_watertight and abs(stl.volume / mesh.volume - 1) < 1e-5, f"stand, {name}, {body}: the STL is the same")
        overhangs(tally, f"{name}, {body}", mesh)
        bodies[body] = together(mesh, printed, moved)
    check_forms(tally, name, facts, bodies)
    check_fit(tally, name, facts, piece, bodies)
    check_balance(tally, name, facts, piece, bodies["stand"])


def read(tally, path, name):
    """A 3MF as trimesh sees it, after lib3mf has judged it."""
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    meshes = model.GetMeshObjects()
    meshes.MoveNext()
    body = meshes.GetCurrentMeshObject()
    mesh = exact(path)
    sound = reader.GetWarningCount() == 0 and body.IsManifoldAndOriented() and mesh.is_volume
    tally.check(sound, f"stand, {name}: {path.name} is sound for lib3mf and a volume for trimesh")
    tally.check(solid(mesh).status() == manifold3d.Error.NoError, f"stand, {name}: manifold3d takes {path.name}")
    return mesh


def exact(path):
    """The mesh of a 3MF by its text: lib3mf hands on single precision."""
    core = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
    with zipfile.ZipFile(path) as package:
        root = xml.etree.ElementTree.fromstring(package.read("3D/3dmodel.model"))
    points = [[float(vertex.get(axis)) for axis in "xyz"] for vertex in root.iter(core + "vertex")]
    triangles = [[int(triangle.get(corner)) for corner in ("v1", "v2", "v3")] for triangle in root.iter(core + "triangle")]
    return trimesh.Trimesh(numpy.array(points), numpy.array(triangles), process=False)


def solid(mesh):
    """The same for manifold3d, in double precision."""
    return manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices.astype(numpy.float64), mesh.faces.astype(numpy.uint64)))


def together(mesh, printed, moved):
    """The printed body where it sits in the piece's own coordinates."""
    vertices = mesh.vertices - numpy.array([float(number) for number in moved.split(", ")])
    if printed == "upside down":
        vertices = vertices * [1, -1, -1]
    return trimesh.Trimesh(vertices, mesh.faces, process=False)


def overhangs(tally, name, mesh):
    """What looks down, off the plate, at more than 45° is the bridge over the recess or the socket's roof alone."""
    middle = mesh.triangles_center[:, 2]
    steep = (mesh.face_normals[:, 2] < -math.sqrt(0.5) - 1e-6) & (middle > 1e-6)
    area = mesh.area_faces[steep].sum()
    # A hexagon 4 mm across: √3 / 2 · 16.
    most = math.sqrt(3) / 2 * 16 + 1e-3
    tally.check(area <= most, f"stand, {name}: {area:.2f} mm² hang over more than 45°, a bridge of 4 mm has {most:.2f}")


def check_forms(tally, name, facts, bodies):
    """The spacer is a washer and the stand's base a disc, to the polygon's 0.01 mm."""
    outer, hole = (facts[f"spacer {part}"]["number"] / 2 for part in ("diameter", "hole"))
    washer = math.pi * (outer**2 - hole**2) * 2
    tally.check(abs(bodies["spacer"].volume / washer - 1) < 2e-3, f"stand, {name}: the washer has {bodies['spacer'].volume:.1f} mm³, π (R² − r²) t = {washer:.1f}")
    stand = bodies["stand"]
    low = stand.bounds[0][2]
    thickness = facts["base thickness"]["number"]
    slab = stand.section(plane_origin=[0, 0, low + thickness * 0.999], plane_normal=[0, 0, 1])
    x, y, _ = numpy.ptp(slab.vertices, axis=0)
    tally.check(abs(x - facts["base diameter"]["number"]) < 0.02 and abs(x - y) < 1e-6, f"stand, {name}: the base is {x:.3f} mm across")


def check_fit(tally, name, facts, piece, bodies):
    """Nothing overlaps; the gap is the clearance on every side; the post reaches the ceiling within its gap."""
    clearance, gap = facts["clearance"]["number"], facts["gap over the post"]["number"]
    whole = solid(piece)
    for body, mesh in bodies.items():
        overlap = (whole ^ solid(mesh)).volume()
        tally.check(abs(overlap) < TOUCHING, f"stand, {name}, {body}: {overlap:.2e} mm³ within the piece by manifold3d")
    for one, other in (("stand", "peg"), ("stand", "spacer"), ("peg", "spacer")):
        overlap = (solid(bodies[one]) ^ solid(bodies[other])).volume()
        tally.check(abs(overlap) < TOUCHING, f"stand, {name}: {overlap:.2e} mm³ of the {one} within the {other}")
    # The post alone, from a hair above the collar.
    rows = [[float(n) if n != "open" else math.inf for n in row] for row in facts["post"]["table"]["rows"]]
    mouth = rows[0][2]
    post = solid(bodies["stand"]).trim_by_plane([0, 0, 1], mouth + 1e-4)
    found = whole.min_gap(post, 5.0)
    expected = min(clearance, gap)
    tally.check(abs(found - expected) <= 0.01, f"stand, {name}: the post clears the piece by {found:.4f} mm, asked {expected}")
    # The gap on each side: how far the post may be moved that way until it meets the opening.
    lips = whole.trim_by_plane([0, 0, -1], -(mouth + 1.5)).trim_by_plane([0, 0, 1], mouth + 1e-4)
    neck = post.trim_by_plane([0, 0, -1], -(mouth + 1.4))
    for way in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        free = slides(lips, neck, way)
        tally.check(abs(free - clearance) <= 0.01, f"stand, {name}: {free:.4f} mm free towards {way}, asked {clearance}")
    # Upwards: by moving it until it meets the piece; and the same for the sections of the record, wider by the clearance.
    x0, y0 = (bodies["stand"].bounds[0][:2] + bodies["stand"].bounds[1][:2]) / 2
    top = bodies["stand"].bounds[1][2]
    free = lift(whole, post)
    tally.check(free >= gap - 0.01, f"stand, {name}: the post rises {free:.4f} mm until it meets the piece, gap {gap}")
    grown = manifold3d.Manifold()
    for width, depth, low, high, _, x, y, beside in rows:
        size = [width + 2 * beside - 1e-3, depth + 2 * beside - 1e-3, high - low]
        grown += manifold3d.Manifold.cube(size, True).translate([x, y, (low + high) / 2])
    free = lift(whole, grown.trim_by_plane([0, 0, 1], mouth + 1e-4))
    tally.check(abs(free - gap) <= 0.01, f"stand, {name}: with its clearance around, the post rises {free:.4f} mm, gap {gap}")
    hits, _, _ = piece.ray.intersects_location([[x0, y0, mouth + 1e-3]], [[0, 0, 1]], multiple_hits=True)
    ceiling = hits[:, 2].min()
    told = facts["ceiling at the axis"]["number"] + mouth
    tally.check(abs(ceiling - told) < 1e-3, f"stand, {name}: the ceiling at the axis lies at {ceiling:.4f} mm by a ray, record {told:.4f}")
    left = facts["left under the ceiling at the axis"]["number"]
    tally.check(abs(ceiling - top - left) < 1e-3, f"stand, {name}: {left:.3f} mm are left under the ceiling at the axis")
    # The way in: the post lowered step by step never meets the piece.
    for down in numpy.linspace(0, top - mouth, 9)[1:]:
        overlap = (whole ^ post.translate([0, 0, -down])).volume()
        if overlap > 1e-6:
            tally.check(False, f"stand, {name}: {overlap:.2e} mm³ in the way {down:.1f} mm down")
            return
    tally.check(True, f"stand, {name}: the way in is free")


def slides(lips, neck, way):
    """How far a body can be moved level until it meets another, by halving."""
    return until(lambda far: (lips ^ neck.translate([way[0] * far, way[1] * far, 0])).volume() > 1e-9)


def lift(whole, post):
    """How far a body can be lifted until it meets another, by halving."""
    return until(lambda far: (whole ^ post.translate([0, 0, far])).volume() > 1e-9)


def until(meets):
    """The length at which `meets` begins to hold, between 0 and 8 mm."""
    low, high = 0.0, 8.0
    for _ in range(16):
        middle = (low + high) / 2
        low, high = (low, middle) if meets(middle) else (middle, high)
    return (low + high) / 2


def check_balance(tally, name, facts, piece, stand):
    """Masses, centres, tipping, inertia and torque, from trimesh's own integrals."""
    masses = [piece.volume * 1.5e-3, stand.volume * 1.24e-3]
    for body, mass in zip(("piece", "stand"), masses):
        told = facts[f"weight of the {body}"]["number"]
        tally.check(abs(mass / told - 1) < 1e-5, f"stand, {name}: the {body} weighs {mass:.3f} g by trimesh, record {told:.3f}")
    centre = (masses[0] * piece.center_mass + masses[1] * stand.center_mass) / sum(masses)
    told = numpy.array(facts["centre of mass with the stand"]["triple"])
    tally.check(numpy.abs(centre - told).max() < 1e-3, f"stand, {name}: the centre lies at {centre.round(3)} by trimesh, record {told.round(3)}")
    axis = (stand.bounds[0][:2] + stand.bounds[1][:2]) / 2
    off = numpy.linalg.norm(piece.center_mass[:2] - axis)
    told = facts["axis to the piece's centre of mass"]["number"]
    tally.check(abs(off - told) < 1e-3, f"stand, {name}: the piece's centre lies {off:.3f} mm off the axis, record {told:.3f}")
    moment = masses[0] / 1000 * GRAVITY * off
    told = facts["moment of the piece off the axis"]["number"]
    tally.check(abs(moment - told) < 0.01 + 1e-4 * moment, f"stand, {name}: that is {moment:.3f} N·mm, record {told:.3f}")
    # Tipping over the spacer's edge: atan(b / h).
    off = numpy.linalg.norm(centre[:2] - axis)
    radius = facts["spacer diameter"]["number"] / 2
    angle = math.degrees(math.atan2(radius - off, centre[2] - stand.bounds[0][2]))
    told = facts["tipping angle on the stand"]["number"]
    tally.check(abs(angle - told) < 1e-3, f"stand, {name}: tips over at {angle:.3f}°, record {told:.3f}°")
    tally.check(told >= 10.0, f"stand, {name}: bears the 10° asked for")
    weight = sum(masses) / 1000 * GRAVITY
    inner = facts["turns on a ring from radius"]["number"]
    wear = 0.15 * weight * (radius + inner) / 2
    pressure = 0.15 * weight * 2 / 3 * (radius**3 - inner**3) / (radius**2 - inner**2)
    inertia = about(piece, axis) * 1.5e-3 + about(stand, axis) * 1.24e-3
    start = inertia * 1e-6 * (2 * 2 * math.pi / 60) / 2
    needed = 2 * (max(wear, pressure) + weight * off * math.sin(math.radians(1)) + start)
    told = facts["torque needed"]["number"]
    tally.check(abs(needed / told - 1) < 1e-4, f"stand, {name}: turning takes {needed:.3f} N·mm, record {told:.3f}")


def about(mesh, axis):
    """The moment of inertia about an upright axis for a density of 1, by trimesh and the parallel axis theorem."""
    mesh = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    mesh.density = 1.0
    off = numpy.linalg.norm(mesh.center_mass[:2] - axis)
    return mesh.moment_inertia[2, 2] + mesh.volume * off**2


def check_handbook(tally):
    """The handbook's own numbers, by numerical integration over the ring instead of the formula that the program uses."""
    radii = numpy.linspace(10, 20, 200_001)
    weight, mu = 2 * GRAVITY, 0.2
    # Uniform pressure: p = F / A; uniform wear: p · r constant.
    even = weight / (math.pi * (20**2 - 10**2))
    worn = weight / (2 * math.pi * (20 - 10)) / radii
    for what, pressure, expected in (("pressure", even, 61.02), ("wear", worn, 58.84)):
        torque = numpy.trapezoid(mu * pressure * 2 * math.pi * radii**2, radii)
        tally.check(abs(torque - expected) < 0.01, f"stand: a thrust washer by uniform {what} takes {torque:.2f} N·mm, handbook {expected}")


if __name__ == "__main__":
    from tally import Tally

    count = Tally()
    check(count, pathlib.Path(sys.argv[1]))
    sys.exit(count.close())
