"""Models as other people's writers write them: each comes to the same cubes as the STL of the same mesh."""

import json
import pathlib
import subprocess

import lib3mf
import numpy
import trimesh

import jobs

# Triangles of the ring below, twice over: around the ring × around the tube × 2 × 2 bodies.
AROUND_RING, AROUND_TUBE = 48, 24
TRIANGLES = AROUND_RING * AROUND_TUBE * 4
# The two rings stand side by side, this far apart, in mm.
APART = 100.0


def ring():
    """A ring that stands upright, in mm, +z up: no two of its sides are alike to the grid."""
    mesh = trimesh.creation.torus(30.0, 12.3, major_sections=AROUND_RING, minor_sections=AROUND_TUBE)
    mesh.apply_transform(trimesh.transformations.euler_matrix(1.1, 0.2, 0.4))
    # Single precision, as STL and glTF hold.
    mesh.vertices = mesh.vertices.astype(numpy.float32).astype(numpy.float64)
    return mesh


def pair():
    """Both rings as one mesh."""
    second = ring()
    second.apply_translation([APART, 0.0, 0.0])
    return trimesh.util.concatenate([ring(), second])


def scene_of(mesh):
    """Both rings as two uses of one mesh, in metres and +y up as glTF wants."""
    scene = trimesh.Scene()
    turned = mesh.copy()
    x, y, z = mesh.vertices.T / 1000.0
    turned.vertices = numpy.stack([x, z, -y], axis=1)
    scene.add_geometry(turned, geom_name="ring", node_name="first")
    moved = trimesh.transformations.translation_matrix([APART / 1000.0, 0.0, 0.0])
    scene.add_geometry(turned, geom_name="ring", node_name="second", transform=moved)
    return scene


def write_3mf(path, mesh):
    """Two components of one mesh, by the consortium's own writer, in centimetres."""
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    model.SetUnit(lib3mf.ModelUnit.CentiMeter)
    body = model.AddMeshObject()
    points = [lib3mf.Position((lib3mf.ctypes.c_float * 3)(*point)) for point in mesh.vertices / 10.0]
    triangles = [lib3mf.Triangle((lib3mf.ctypes.c_uint32 * 3)(*map(int, triangle))) for triangle in mesh.faces]
    body.SetGeometry(points, triangles)
    both = model.AddComponentsObject()
    both.AddComponent(body, wrapper.GetIdentityTransform())
    both.AddComponent(body, wrapper.GetTranslationTransform(APART / 10.0, 0.0, 0.0))
    model.AddBuildItem(both, wrapper.GetIdentityTransform())
    model.QueryWriter("3mf").WriteToFile(str(path))


def check(tally, scratch):
    """Writes the rings in every format, runs a job for each, and compares triangles, size and cells."""
    folder = scratch / "jobs" / "models"
    folder.mkdir(parents=True, exist_ok=True)
    mesh, both = ring(), pair()
    expected = made(scratch, folder, "rings.stl", "units: mm", both.export(file_type="stl"))
    tally.check(expected["cells"] > 1000, f"models: STL of trimesh comes to {expected['cells']} cells")

    files = {"text.stl": ("units: mm", both.export(file_type="stl_ascii"))}
    for encoding in ("ascii", "binary_little_endian"):
        kind = "ascii" if encoding == "ascii" else "binary"
        files[f"{kind}.ply"] = ("units: mm", both.export(file_type="ply", encoding=kind))
    files["rings.obj"] = ("units: mm", both.export(file_type="obj"))
    files["rings.glb"] = ("", scene_of(mesh).export(file_type="glb"))
    for name, content in scene_of(mesh).export(file_type="gltf").items():
        if name.endswith(".gltf"):
            files["rings.gltf"] = ("", content)
        else:
            (folder / name).write_bytes(content)
    write_3mf(folder / "rings.3mf", mesh)
    files["rings.3mf"] = ("", (folder / "rings.3mf").read_bytes())

    for name, (units, content) in files.items():
        got = made(scratch, folder, name, units, content)
        # Metres and decimals move a point by some 1e-5 mm, over which hardly a centre of a cell lies.
        apart = abs(got["cells"] - expected["cells"])
        tally.check(
            got["triangles"] == TRIANGLES and apart <= expected["cells"] * 1e-4,
            f"models: {name} has {got['triangles']} triangles, {TRIANGLES} expected, and comes to {got['cells']} cells,"
            f" {expected['cells']} of the STL",
        )


def made(scratch, folder, name, units, content):
    """Runs a job for a model with this content; gives its number of triangles and of cells."""
    (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
    job = jobs.write_for(folder, name, units)
    words = subprocess.run([jobs.PROGRAM, "check", job], capture_output=True, check=True).stdout.decode()
    triangles = int(words.split(f" {name}: ")[1].split(" triangles")[0])
    code, said = jobs.run(job, scratch / "runs")
    if code != 0:
        raise RuntimeError(f"{name}: the program's exit code is {code}")
    record = json.loads((pathlib.Path(said["run"]) / "run.json").read_text(encoding="utf-8"))
    [voxelise] = [stage for stage in record["stages"] if stage["name"] == "voxelise"]
    [value] = [fact["value"] for fact in voxelise["facts"] if fact["name"] == "cells"]
    [(_, cells)] = value.items()
    return {"triangles": triangles, "cells": cells}
