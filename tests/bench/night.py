"""How long a night of 1 000 variants takes: 5 cells × 10 walls × 20 palettes of the demo, every artefact, no proof.

    cargo build --release && python3 tests/bench/night.py [FOLDER] [--small]

Prints the time from an empty store, of a tenth of the night and of all of it, the time when every run is there, the time when the runs are to be put together anew from
the store, the most memory held, and how planning grows with the number of variants. `--small` takes 2 × 3 × 5 variants. Writes
some gigabytes into FOLDER, target/bench-night unless said otherwise, which must lie on one file system.
"""

import colorsys
import pathlib
import resource
import shutil
import subprocess
import sys
import time

PROGRAM = pathlib.Path("target/release/turnhue").resolve()
SIDES = ("right", "left", "back", "front", "top", "bottom")


def palette(number, count):
    """Six colours around the circle of hues, turned a little for each palette. Invented."""
    colours = []
    for side in range(6):
        hue = (side / 6 + number / (6 * count)) % 1
        red, green, blue = colorsys.hls_to_rgb(hue, 0.45 + 0.04 * side, 0.6)
        colours.append(f'"#{round(red * 255):02x}{round(green * 255):02x}{round(blue * 255):02x}"')
    return colours


def job(cells, walls, palettes):
    """The demo's chain without proof, with so many variants."""
    jobs = pathlib.Path("jobs").resolve()
    lines = [
        "# Invented for the bench.",
        "commission: NIGHT-BENCH",
        "title: Whelk in many variants",
        f"model: {{ file: {jobs}/models/whelk.stl, units: mm, up: +z, facing: -y }}",
        f"process: {jobs}/processes/powder-full-colour.yaml",
        "stages:",
        "  - scale:    { height: 180 mm }",
        "  - voxelise: { cell: 3 mm }",
        "  - repair",
        "  - hollow:   { wall: 2.5 mm, openings: [{ side: bottom, width: 24 mm }] }",
        "  - colour:   { right: red, left: blue, back: gold, front: green, top: white, bottom: black }",
        "  - validate",
        f"  - estimate: {{ rates: {jobs}/rates/bureau-demo.yaml, copies: [1, 5, 10] }}",
        "variants:",
        "  every:",
        f"    voxelise.cell: [{', '.join(f'{cell} mm' for cell in cells)}]",
        f"    hollow.wall: [{', '.join(f'{wall} mm' for wall in walls)}]",
        "    colour:",
    ]
    for number in range(palettes):
        sides = ", ".join(f"{side}: {colour}" for side, colour in zip(SIDES, palette(number, palettes)))
        lines.append(f"      - {{ as: hues-{number + 1}, {sides} }}")
    return "\n".join(lines) + "\n"


def timed(*command):
    """Runs the program; gives its seconds and the most memory that any of its runs has held so far, in MB."""
    begun = time.monotonic()
    ended = subprocess.run([str(PROGRAM), *map(str, command)], capture_output=True, text=True, check=False)
    seconds = time.monotonic() - begun
    if ended.returncode > 1:
        sys.exit(f"{command}: exit code {ended.returncode}\n{ended.stdout}{ended.stderr}")
    return seconds, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024, ended


def size(folder):
    """Bytes on the disk, linked files once."""
    return int(subprocess.run(["du", "-s", "--block-size=1", str(folder)], capture_output=True, check=True).stdout.split()[0])


def main():
    """All of it."""
    small = "--small" in sys.argv
    places = [argument for argument in sys.argv[1:] if not argument.startswith("--")]
    folder = pathlib.Path(places[0] if places else "target/bench-night").resolve()
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    cells = [3, 4] if small else [3, 3.5, 4, 4.5, 5]
    walls = [2.5, 3, 4] if small else [2, 2.5, 3, 3.5, 4, 4.5, 5, 5.5, 6, 6.5]
    palettes = 5 if small else 20
    path = folder / "night.yaml"
    into = folder / "runs"
    # A tenth of the night, as much of it shared.
    path.write_text(job(cells, walls[len(walls) // 2 :][:1], palettes), encoding="utf-8")
    seconds, memory, _ = timed("run", path, "--into", into, "--quiet")
    print(f"{len(cells) * palettes} variants from an empty store: {seconds:.1f} s, {memory:.0f} MB of memory", flush=True)
    shutil.rmtree(into)
    path.write_text(job(cells, walls, palettes), encoding="utf-8")
    count = len(cells) * len(walls) * palettes

    seconds, memory, _ = timed("run", path, "--into", into, "--quiet")
    print(f"{count} variants from an empty store: {seconds:.1f} s, {memory:.0f} MB of memory, {size(into) / 1e9:.2f} GB", flush=True)
    seconds, _, _ = timed("run", path, "--into", into, "--quiet")
    print(f"again, every run there: {seconds:.1f} s", flush=True)
    again = folder / "again"
    seconds, _, _ = timed("run", path, "--into", again, "--store", into / ".store", "--quiet")
    print(f"into another folder, every result stored: {seconds:.1f} s", flush=True)
    shutil.rmtree(again)
    seconds, _, ended = timed("verify", "NIGHT-BENCH", "--into", into)
    print(f"the record verified: {seconds:.1f} s, exit code {ended.returncode}", flush=True)
    for dry in (100, 1_000, 10_000):
        path.write_text(job(cells, walls, dry // (len(cells) * len(walls))), encoding="utf-8")
        seconds, _, _ = timed("check", path, "--quiet")
        print(f"{dry} variants planned: {seconds:.2f} s", flush=True)


if __name__ == "__main__":
    main()
