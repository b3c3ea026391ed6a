"""Guard bands on the demo, as other people's libraries see them."""

import json
import pathlib

import lib3mf
import numpy

import files
import glb
import jobs
from piece import Piece

# The band that is asked for.
BAND = "{ width: 0.3 mm, on: both }"


def check(tally, scratch):
    """The cut mesh is sound, holds the same volume, and is bare where and as much as the record says."""
    bodies, records = {}, {}
    for name, guard in (("plain", "none"), ("guarded", BAND)):
        code, said = jobs.run(job(scratch, name, guard), scratch / "runs")
        tally.check(code == 0, f"guard {guard}: exit code {code}")
        run = pathlib.Path(said["run"])
        glb.check(tally, Piece(f"guard {name}", run), scratch)
        records[name] = json.loads((run / "run.json").read_text(encoding="utf-8"))
        model = lib3mf.get_wrapper().CreateModel()
        model.QueryReader("3mf").ReadFromFile(str(run / "piece.3mf"))
        meshes = model.GetMeshObjects()
        meshes.MoveNext()
        body = meshes.GetCurrentMeshObject()
        tally.check(body.IsManifoldAndOriented(), f"guard {guard}: lib3mf finds the file manifold and oriented")
        bodies[name] = (files.geometry(body), bare(model, body, base(records[name])))
    plain, guarded = bodies["plain"][0], bodies["guarded"][0]
    tally.check(guarded.is_volume, "guard: trimesh finds the cut mesh a volume")
    off = abs(guarded.volume / plain.volume - 1)
    tally.check(off < 1e-6, f"guard: cutting changes the volume by {off:.1e}")
    area = guarded.area_faces[bodies["guarded"][1]].sum() / 100
    facts = {fact["name"]: fact["value"] for stage in records["guarded"]["stages"] for fact in stage["facts"]}
    told = facts["guard area"]["number"]
    tally.check(abs(area / told - 1) < 1e-5, f"guard: {area:.3f} cm² bare by trimesh, record {told:.3f}")
    tally.check(not bodies["plain"][1].any(), "guard none: nothing is bare")


def job(scratch, name, guard):
    """The demo's job up to the measuring, with a guard."""
    text = jobs.DEMO.read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.lstrip().startswith(("- proof", "- estimate", "advise"))]
    text = "\n".join(lines).replace("models/", f"{jobs.ROOT}/jobs/models/").replace("processes/", f"{jobs.ROOT}/jobs/processes/")
    text = text.replace("      inside:", f"      guard: {guard}\n      inside:")
    path = scratch / "jobs" / f"guard-{name}.yaml"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text + "\n", encoding="utf-8")
    return path


def base(record):
    """The colour of the bare material."""
    code = record["process"].get("base", {"value": "#ffffff"})["value"]
    return tuple(int(code[at : at + 2], 16) for at in (1, 3, 5))


def bare(model, body, colour_of_base):
    """Which triangles carry the colour of bare material."""
    palette = {}
    groups = model.GetColorGroups()
    while groups.MoveNext():
        group = groups.GetCurrentColorGroup()
        for number in group.GetAllPropertyIDs():
            colour = group.GetColor(number)
            palette[group.GetResourceID(), number] = (colour.Red, colour.Green, colour.Blue)
    inks = (palette[p.ResourceID, p.PropertyIDs[0]] for p in body.GetAllTriangleProperties())
    return numpy.array([ink == colour_of_base for ink in inks])
