"""A small night that runs in a second or two, and what stands in its folders afterwards."""

import hashlib
import json
import pathlib
import subprocess

PROGRAM = pathlib.Path("target/release/turnhue").resolve()

# Invented for this test. Two cells, two walls and three palettes: twelve variants, of which some share everything but
# their colours.
JOB = """\
commission: FAULTS-1
title: Whelk to be harmed
model: {{ file: {model}, units: mm, up: +z, facing: -y }}
process: {process}
stages:
  - scale:    {{ height: 60 mm }}
  - voxelise: {{ cell: 3 mm }}
  - repair
  - hollow:   {{ wall: 2.5 mm, openings: [{{ side: bottom, width: 8 mm }}] }}
  - colour:   {{ right: "#c8553d", left: "#2a6f97", back: "#e9c46a", front: "#588157", top: "#f4f1de", bottom: "#3d405b" }}
  - validate
  - estimate: {{ rates: {rates}, copies: [1] }}
variants:
  every:
    voxelise.cell: [3 mm, 4 mm]
    hollow.wall: [2.5 mm, 3 mm]
    colour.right: ["#c8553d", gold, teal]
"""

VARIANTS = 12


def job(folder):
    """Writes the job into a folder, and gives its path."""
    jobs = pathlib.Path("jobs").resolve()
    path = folder / "harm.yaml"
    path.write_text(
        JOB.format(
            model=jobs / "models/whelk.stl",
            process=jobs / "processes/powder-full-colour.yaml",
            rates=jobs / "rates/bureau-demo.yaml",
        ),
        encoding="utf-8",
    )
    return path


def command(job_file, into, *more):
    return [str(PROGRAM), "run", str(job_file), "--into", str(into), *more]


def run(job_file, into, *more, **options):
    """Runs a night to its end."""
    return subprocess.run(command(job_file, into, *more), capture_output=True, text=True, check=False, **options)


def digests(into):
    """The digest of every file of the results: run folders, pages and inputs, but neither ledger nor store, nor the page of the
    commission, which tells times as the ledger does."""
    found = {}
    for path in sorted(pathlib.Path(into).rglob("*")):
        inside = path.relative_to(into)
        if path.name == "commission.html":
            continue
        if path.is_file() and inside.parts[0] not in (".store", ".unfinished") and "ledger" not in inside.parts:
            found[str(inside)] = hashlib.sha256(path.read_bytes()).hexdigest()
    return found


def verify(into, commission="FAULTS-1"):
    """What `turnhue verify` says."""
    return subprocess.run(
        [str(PROGRAM), "verify", commission, "--into", str(into)], capture_output=True, text=True, check=False
    )


def entries(into, commission="FAULTS-1"):
    """The entries of a ledger, as they stand."""
    lines = []
    for segment in sorted((pathlib.Path(into) / commission / "ledger").glob("*.jsonl")):
        lines += [json.loads(line) for line in segment.read_text(encoding="utf-8").splitlines()]
    return lines
