"""The jobs that are checked: the demo, two real meshes, and shapes whose measures are published."""

import json
import pathlib
import subprocess
import sys

import numpy
import trimesh

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = ROOT / "target" / "release" / "turnhue"
DEMO = ROOT / "jobs" / "harbour-whelk.yaml"
PROCESS = ROOT / "jobs" / "processes" / "powder-full-colour.yaml"

SIDES = ("right", "left", "back", "front", "top", "bottom")
COLOURS = {
    "right": "#c8553d",
    "left": "#2a6f97",
    "back": "#e9c46a",
    "front": "#588157",
    "top": "#f4f1de",
    "bottom": "#3d405b",
    "inside": "#ede6d6",
}
CELL = 3.0
WALL = 2.5
# A title with what XML has to escape.
TITLE = 'Shape <b> & "form" — ½'


def demo_model():
    """The demo's model at the size that its job asks for: 180 mm high."""
    return scaled(trimesh.load(ROOT / "jobs" / "models" / "whelk.stl"), lambda extents: 180.0 / extents[2])


def npm_model(scratch, name):
    """A mesh from an npm package of arrays, as it comes: +y up, the front to +z."""
    script = "const m = require(process.argv[1]); process.stdout.write(JSON.stringify([m.positions, m.cells]))"
    package = (scratch / "node_modules" / name).resolve()
    arrays = subprocess.run(["node", "-e", script, package], check=True, capture_output=True).stdout
    points, triangles = json.loads(arrays)
    mesh = trimesh.Trimesh(numpy.array(points, dtype=numpy.float64), triangles, process=False)
    # STL holds single precision: what the program reads is what is compared with.
    mesh.vertices = mesh.vertices.astype(numpy.float32).astype(numpy.float64)
    return mesh


def turned(mesh):
    """+y up and +z to the front, turned to +z up and −y to the front."""
    x, y, z = mesh.vertices.T
    return trimesh.Trimesh(numpy.stack([x, -z, y], axis=1), mesh.faces, process=False)


def scaled(mesh, factor):
    """The mesh times a factor of its extents."""
    return trimesh.Trimesh(mesh.vertices * factor(mesh.extents), mesh.faces, process=False)


def write(
    folder,
    name,
    mesh,
    *,
    model="units: mm, up: +z, facing: -y",
    scale="factor: 1",
    grid="",
    repair="",
    opening=None,
    chain=("repair", "validate"),
):
    """Writes a mesh as binary STL and a job for it; gives the job's path. `opening` is a width in mm at the bottom.

    `repair` holds its settings. `chain` picks among `repair` and `validate`; both are usual.
    """
    folder.mkdir(parents=True, exist_ok=True)
    mesh.export(folder / f"{name}.stl")
    colours = ", ".join(f'{side}: "{colour}"' for side, colour in COLOURS.items())
    stages = [f"scale: {{ {scale} }}", f"voxelise: {{ cell: {CELL} mm{grid} }}"]
    if "repair" in chain:
        stages.append(f"repair: {{ {repair} }}")
    if opening is not None:
        stages.append(f"hollow: {{ wall: {WALL} mm, openings: [{{ side: bottom, width: {opening} mm }}] }}")
    stages.append(f"colour: {{ {colours} }}")
    if "validate" in chain:
        stages.append("validate")
    lines = [
        f"commission: OUTSIDE-{name}",
        f"title: {json.dumps(TITLE, ensure_ascii=False)}",
        f"model: {{ file: {name}.stl, {model} }}",
        f"process: {json.dumps(str(PROCESS))}",
        "stages:",
        *(f"  - {stage}" for stage in stages),
    ]
    job = folder / f"{name}.yaml"
    job.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return job


def write_for(folder, file, units):
    """Writes a job that makes cubes of a model that lies in the folder; gives the job's path."""
    lines = [
        f"commission: OUTSIDE-{file}",
        f"title: {json.dumps(TITLE, ensure_ascii=False)}",
        f"model: {{ file: {file}, {units} }}".replace(", }", " }"),
        f"process: {json.dumps(str(PROCESS))}",
        "stages:",
        f"  - voxelise: {{ cell: {CELL} mm }}",
    ]
    job = folder / f"{file}.yaml"
    job.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return job


def run(job, into):
    """Runs a job; gives the exit code and what the program says of the run, or nothing when it says nothing."""
    done = subprocess.run([PROGRAM, "run", job, "--into", into, "--json", "--quiet"], capture_output=True, text=True, encoding="utf-8")
    if done.stderr:
        print(done.stderr, file=sys.stderr)
    return done.returncode, json.loads(done.stdout) if done.stdout.strip() else None
