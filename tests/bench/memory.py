#!/usr/bin/env python3
"""What a run says beforehand that it will hold, beside what it holds at most: tests/bench/memory.py [JOB…]

Without jobs, the demo. Builds the release program first. Unix alone: the peak is the system's own account of the process.
"""

import json
import os
import pathlib
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = ROOT / "target" / "release" / "turnhue"


def stated(job):
    """Bytes that the plan reckons with."""
    said = subprocess.run([PROGRAM, "check", "--json", job], check=True, capture_output=True, text=True).stdout
    return json.loads(said)["memory"]


def held(job, into):
    """Bytes that the process held at most."""
    silence = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    child = subprocess.Popen([PROGRAM, "run", "--quiet", "--into", into, job], **silence)
    _, _, usage = os.wait4(child.pid, 0)
    # Linux counts in KiB, others in bytes.
    return usage.ru_maxrss * (1024 if sys.platform == "linux" else 1)


def main(jobs):
    subprocess.run(["cargo", "build", "--release", "--quiet"], cwd=ROOT, check=True)
    print("| job | stated, MiB | held, MiB | held of stated |\n| --- | --: | --: | --: |")
    for job in jobs or [ROOT / "jobs" / "harbour-whelk.yaml"]:
        with tempfile.TemporaryDirectory(dir=ROOT / "target") as into:
            said, peak = stated(job), held(job, into)
        print(f"| {pathlib.Path(job).name} | {said / 2**20:.0f} | {peak / 2**20:.0f} | {peak / said:.0%} |")


if __name__ == "__main__":
    main(sys.argv[1:])
