"""What a single run takes beside its stages: planning, store, record, pages.

    cargo build --release && python3 tests/bench/overhead.py [RUNS]

Runs the demo without the comparison of sizes, each time with an empty store, and sets the seconds of its stages, as the ledger
has them, beside those of the whole program. The difference is an upper bound of what store and record cost.
"""

import json
import pathlib
import shutil
import statistics
import subprocess
import sys
import time

PROGRAM = pathlib.Path("target/release/turnhue").resolve()


def main():
    """All of it."""
    wholes, stages = [], []
    for _ in range(int(sys.argv[1]) if len(sys.argv) > 1 else 7):
        into = pathlib.Path("target/bench-overhead")
        shutil.rmtree(into, ignore_errors=True)
        begun = time.monotonic()
        command = [PROGRAM, "run", "jobs/harbour-whelk.yaml", "--no-advice", "--quiet", "--into", into]
        subprocess.run(command, check=True)
        wholes.append(time.monotonic() - begun)
        entry = json.loads((into / "HB-2027-03/ledger/00000001.jsonl").read_text(encoding="utf-8").splitlines()[0])
        stages.append(sum(stage["seconds"] for stage in entry["deed"]["run"]["stages"]))
    shutil.rmtree(into, ignore_errors=True)
    whole, stage = statistics.median(wholes), statistics.median(stages)
    print(f"whole {whole:.3f} s, stages {stage:.3f} s, beside them {whole - stage:.3f} s: {100 * (whole - stage) / whole:.1f} %")


if __name__ == "__main__":
    main()
