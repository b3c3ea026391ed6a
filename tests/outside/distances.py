"""Exact distance transform: squared distances between cell centres, against SciPy's and edt's, cell by cell."""

import subprocess

import edt
import numpy
import scipy.ndimage

import jobs

OURS = jobs.ROOT / "target" / "release" / "examples" / "ours"


def check(tally, scratch):
    """Random cells from sparse to dense, on grids of odd shapes."""
    random = numpy.random.default_rng(3)
    for shape, share in [((40, 50, 60), 0.3), ((33, 65, 127), 0.02), ((7, 130, 64), 0.0005), ((96, 96, 96), 1e-5)]:
        marked = random.random(shape) < share
        marked[tuple(n // 2 for n in shape)] = True
        ours = squared(scratch, marked)
        scipy_s = numpy.rint(scipy.ndimage.distance_transform_edt(~marked) ** 2).astype(numpy.uint32)
        edt_s = numpy.rint(edt.edtsq(~marked)).astype(numpy.uint32)
        name = " × ".join(map(str, shape[::-1]))
        for judge, theirs in (("SciPy", scipy_s), ("edt", edt_s)):
            differ = int((ours != theirs).sum())
            tally.check(differ == 0, f"distances on {name} cells, {int(marked.sum())} marked: {differ} are not as by {judge}")


def squared(scratch, marked):
    """Ours, by way of two files."""
    cells, out = scratch / "marked.bin", scratch / "squared.bin"
    cells.write_bytes(marked.astype(numpy.uint8).tobytes())
    z, y, x = map(str, marked.shape)
    subprocess.run([OURS, "squared", cells, x, y, z, out], check=True, stdout=subprocess.DEVNULL)
    return numpy.fromfile(out, dtype="<u4").reshape(marked.shape)
