"""The test coupon and its reading, as other people's libraries see them."""

import json
import pathlib
import re
import subprocess

import lib3mf
import manifold3d
import numpy
import scipy.integrate
import scipy.special
import trimesh

import files
import jobs

JOB = jobs.ROOT / "jobs" / "coupon.yaml"
# On the coupon a patch or line reads while it keeps half of its own ink.
READS = 0.5


def check(tally, scratch):
    """Runs the coupon's job, judges its file, and reads it for known bleeds."""
    code, said = jobs.run(JOB, scratch / "runs")
    tally.check(code == 0, f"coupon: exit code {code}")
    run = pathlib.Path(said["run"])
    record = json.loads((run / "run.json").read_text(encoding="utf-8"))
    facts = {fact["name"]: fact["value"] for stage in record["stages"] if stage["name"] == "coupon" for fact in stage["facts"]}
    check_file(tally, run, facts)
    for sigma in (0.15, 0.3, 0.45):
        check_reading(tally, scratch, run, facts, sigma)


def check_file(tally, run, facts):
    """The 3MF is one sound mesh of two bodies with the volume that the record tells."""
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(run / "coupon.3mf"))
    tally.check(reader.GetWarningCount() == 0, "coupon: lib3mf (strict) reads the 3MF without warnings")
    meshes = model.GetMeshObjects()
    meshes.MoveNext()
    body = meshes.GetCurrentMeshObject()
    tally.check(body.IsManifoldAndOriented(), "coupon: lib3mf finds it manifold and oriented")
    mesh = files.geometry(body)
    tally.check(mesh.is_volume and mesh.body_count == 2, f"coupon: trimesh finds a volume of {mesh.body_count} bodies")
    told = facts["coupon volume"]["number"] * 1000
    tally.check(abs(mesh.volume / told - 1) < 1e-5, f"coupon: {mesh.volume:.2f} mm³ by trimesh, record {told:.2f}")
    solid = manifold3d.Manifold(
        manifold3d.Mesh(mesh.vertices.astype(numpy.float32), mesh.faces.astype(numpy.uint32))
    )
    tally.check(solid.status() == manifold3d.Error.NoError, f"coupon: manifold3d takes it ({solid.status()})")
    stl = trimesh.load(run / "coupon.stl")
    tally.check(stl.is_watertight, "coupon: trimesh finds the STL watertight")


def check_reading(tally, scratch, run, facts, sigma):
    """What reads is decided here by numerical integration; the file written must hold the bleed in its range."""
    into = scratch / f"calibrated-{sigma}.yaml"
    into.unlink(missing_ok=True)
    patch = last(facts["coupon patches"], lambda mm: share(mm, sigma) ** 2)
    line = last(facts["coupon lines"], lambda mm: share(mm, sigma))
    command = [jobs.PROGRAM, "calibrate", run, "--process", jobs.PROCESS, "--smallest-patch", str(patch)]
    done = subprocess.run([*command, "--thinnest-line", str(line), "--first-sliding", "3", "--into", into], check=False)
    new = into.read_text(encoding="utf-8") if done.returncode == 0 else ""
    low, high = map(float, re.search(r"^bleed: .*range: \[(\S+) mm, (\S+) mm\]", new, re.MULTILINE).groups())
    tally.check(low <= sigma <= high, f"coupon: σ = {sigma} mm reads to patch {patch}, line {line}: {low} to {high} mm")


def share(width, sigma):
    """The mean share of its own ink that a strip keeps, by quadrature over the Gaussian."""
    def own(t):
        return scipy.special.ndtr((width - t) / sigma) - scipy.special.ndtr(-t / sigma)

    return scipy.integrate.quad(own, 0, width)[0] / width


def last(table, kept):
    """The number of the last in a row that reads."""
    return max(int(number) for number, mm in table["table"]["rows"] if kept(float(mm)) >= READS)
