"""Runs the jobs and checks what comes out. `run` calls it: check.py SCRATCH-FOLDER"""

import pathlib
import shutil
import sys

import bleed
import case
import colorimetry
import colours
import conversion
import coupon
import crate
import distances
import files
import glb
import guard
import handbuild
import jobs
import likeness
import models
import nights
import package
import pictures
import sections
import shapes
import source
import stand
import split
import told
import topology
import walls
from piece import Piece
from tally import Tally

# The longest side of the real meshes in mm.
LONGEST = 150.0


def main(scratch):
    """All of it; gives the exit code."""
    tally = Tally()
    for folder in ("runs", "jobs"):
        shutil.rmtree(scratch / folder, ignore_errors=True)

    with tally.part("whelk"):
        piece = finished(tally, scratch, "whelk", jobs.DEMO)
        conversion.check_closed(tally, piece, jobs.demo_model())
    # The bunny's feet take no opening wider than 12 mm.
    with tally.part("bunny"):
        piece, model = from_npm(tally, scratch, "bunny", opening=12)
        conversion.check_closed(tally, piece, model)
        conversion.check_contains(tally, piece, model)
        likeness.check(tally, piece, model)
        source.check(tally, piece, model)
    with tally.part("teapot"):
        piece, model = from_npm(tally, scratch, "teapot", opening=24)
        conversion.check_open(tally, piece, model)
        source.check(tally, piece, model)
    with tally.part("likeness"):
        likeness.check_generated(tally, scratch)
    with tally.part("worn"):
        source.check_worn(tally, scratch)
    with tally.part("told"):
        for name, model, true in told.generated():
            told.check(tally, scratch, name.replace(" ", "-"), model, true)
        for name in ("bunny", "teapot"):
            model = jobs.scaled(jobs.npm_model(scratch, name), lambda extents: LONGEST / extents.max())
            told.check(tally, scratch, name, model)
    for shape in shapes.ALL:
        with tally.part(shape.__name__):
            shape(tally, scratch)
    with tally.part("topology"):
        topology.check(tally, scratch)
    with tally.part("models"):
        models.check(tally, scratch)
    with tally.part("pictures"):
        pictures.check(tally, scratch)
    with tally.part("sections"):
        sections.check_sides(tally, scratch)
    with tally.part("coupon"):
        coupon.check(tally, scratch)
    with tally.part("stand"):
        stand.check(tally, scratch)
    with tally.part("handbuild"):
        handbuild.check(tally, scratch)
    with tally.part("split"):
        split.check(tally, scratch)
    with tally.part("case"):
        case.check(tally, scratch)
    with tally.part("guard"):
        guard.check(tally, scratch)
    with tally.part("bleed"):
        bleed.check(tally, scratch)
    with tally.part("crate"):
        crate.check(tally, scratch)
    with tally.part("distances"):
        distances.check(tally, scratch)
    with tally.part("colorimetry"):
        colorimetry.check(tally, scratch)
    with tally.part("package"):
        package.check(tally, scratch)
    with tally.part("night"):
        nights.check(tally, scratch)
    return tally.close()


def from_npm(tally, scratch, name, opening):
    """A piece made of an npm package's mesh, and the mesh turned and scaled as its job says."""
    model = jobs.npm_model(scratch, name)
    placed = {"model": "units: mm, up: +y, facing: +z", "scale": f"longest: {LONGEST:g} mm", "opening": opening}
    piece = finished(tally, scratch, name, jobs.write(scratch / "jobs", name, model, **placed))
    return piece, jobs.scaled(jobs.turned(model), lambda extents: LONGEST / extents.max())


def finished(tally, scratch, name, job):
    """Runs a job and makes the checks that every piece has to stand."""
    piece = Piece.of(tally, scratch, name, job)
    for part in (files, colours, walls, sections):
        part.check(tally, piece)
    glb.check(tally, piece, scratch)
    glb.check_size(tally, piece)
    return piece


if __name__ == "__main__":
    sys.exit(main(pathlib.Path(sys.argv[1])))
