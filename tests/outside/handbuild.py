"""The sheets to build by hand, read back from their SVG and PDF: every cube at its place, every face in its colour."""

import collections
import csv
import json
import pathlib
import re
import subprocess
import xml.etree.ElementTree

import numpy
import scipy.ndimage
import trimesh

import jobs
from piece import NORMALS

SVG = "{http://www.w3.org/2000/svg}"
SHOWS, HIDDEN = "#ffffff", "#d2d2d2"
# Where the field of each side lies in the square of a cube, in thirds, x to the right and y down.
FIELDS = {"right": (2, 1), "left": (0, 1), "back": (1, 0), "front": (1, 2), "top": (1, 1), "bottom": (2, 2)}
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
# Pixels a mm at which pages are measured.
DENSITY = 10


def check(tally, scratch):
    """The demo, a lattice ball of published counts, and the same ball hollow."""
    demo = run(tally, scratch, "handbuild-demo", demo_job(scratch))
    against_mesh(tally, demo)
    papers(tally, demo)
    for name, radius, settings in (("ball", 9, ""), ("ball-hollow", 9, "{ hidden: leave-out }"), ("ball-wide", 20, "{ hidden: leave-out }")):
        against_ball(tally, scratch, name, radius, settings)


def demo_job(scratch):
    """The demo's chain up to its colours, then the sheets."""
    text = jobs.DEMO.read_text(encoding="utf-8")
    text = re.sub(r"^advise:.*\n", "", text, flags=re.MULTILINE)
    text = re.sub(r"^  - (proof|estimate|stand|case|order|split|handbuild)\b.*\n", "", text, flags=re.MULTILINE)
    text = re.sub(r"(models|processes)/", lambda m: f"{jobs.ROOT}/jobs/{m[1]}/", text)
    return write(scratch, "handbuild-demo", text + "  - handbuild\n")


def write(scratch, name, text):
    """Writes a job."""
    (scratch / "jobs").mkdir(parents=True, exist_ok=True)
    job = scratch / "jobs" / f"{name}.yaml"
    job.write_text(text, encoding="utf-8")
    return job


class Sheets:
    """A run with sheets, as their SVG files have them."""

    def __init__(self, name, folder):
        self.name = name
        self.folder = pathlib.Path(folder)
        record = json.loads((self.folder / "run.json").read_text(encoding="utf-8"))
        self.facts = {f["name"]: f["value"] for s in record["stages"] if s["name"] == "handbuild" for f in s["facts"]}
        self.cubes, self.faces, self.letters, self.widths = {}, [], collections.Counter(), set()
        self.inks = {row[1]: row[0] for row in self.facts["faces by colour"]["table"]["rows"]}
        for sheet in sorted(self.folder.glob("handbuild-*.svg")):
            self.read(xml.etree.ElementTree.parse(sheet).getroot())

    def fact(self, name):
        """A number among the facts."""
        return next(iter(self.facts[name].values()))

    def read(self, root):
        """Takes in what a sheet draws."""
        self.widths.add((root.get("width"), root.get("height")))
        texts = [(t.text or "", float(t.get("x")), float(t.get("y")), t.get("text-anchor")) for t in root.iter(f"{SVG}text")]
        layer = next((re.fullmatch(r"Layer (\d+) of \d+", text) for text, *_ in texts if text.startswith("Layer ")), None)
        if layer is None:
            return
        columns = {x: int(t) for t, x, _, anchor in texts if t.isdigit() and anchor == "middle"}
        rows = {y: int(t) for t, _, y, anchor in texts if t.isdigit() and anchor == "end"}
        square = self.fact("edge of a cube on paper")
        fields, corners = [], []
        for path in root.iter(f"{SVG}path"):
            for outline in re.findall(r"M([^MZ]+)Z", path.get("d")):
                points = numpy.array([p.split() for p in outline.split("L")], dtype=float)
                low, size = points.min(axis=0), numpy.ptp(points, axis=0)
                if len(points) != 4 or path.get("fill") == "none":
                    continue
                if numpy.allclose(size, square, atol=2e-3) and path.get("fill") in (SHOWS, HIDDEN):
                    at = (near(columns, low[0] + square / 2), near(rows, low[1] + square / 2), int(layer[1]))
                    if at in self.cubes:
                        raise ValueError(f"a cube is drawn twice at {at}")
                    self.cubes[at] = path.get("fill")
                    corners.append(low)
                elif numpy.allclose(size, square / 3, atol=2e-3) and path.get("fill") in self.inks:
                    fields.append((low, path.get("fill")))
        corners = numpy.array(corners)
        for low, colour in fields:
            middle = low + square / 6
            inside = corners[((corners <= middle) & (middle <= corners + square)).all(axis=1)]
            if len(inside) != 1:
                raise ValueError(f"a field at {low} lies in {len(inside)} squares")
            third = tuple(numpy.floor((middle - inside[0]) / square * 3).astype(int))
            side = next((side for side, field in FIELDS.items() if field == third), None)
            self.faces.append((side, colour))
            words = [t for t, x, y, _ in texts if abs(x - middle[0]) < square / 12 and abs(y - middle[1]) < square / 6]
            self.letters[side, colour, *words] += 1


def near(numbers, at):
    """The number that stands nearest."""
    return numbers[min(numbers, key=lambda place: abs(place - at))]


def run(tally, scratch, name, job):
    """Runs a job and reads its sheets."""
    code, said = jobs.run(job, scratch / "runs")
    tally.check(code == 0, f"{name}: exit code {code}")
    return Sheets(name, said["run"])


def against_mesh(tally, sheets):
    """Fields by side and colour are the areas of the mesh's triangles by normal and colour; cubes those of the record."""
    mesh = trimesh.load(sheets.folder / "piece.ply", process=False)
    inside = jobs.COLOURS["inside"]
    areas = collections.Counter()
    colours = ["#" + bytes(c[:3]).hex() for c in mesh.visual.face_colors.astype(numpy.uint8)]
    outward = mesh.face_normals
    for side, (axis, sign) in NORMALS.items():
        toward = outward[:, axis] * sign > 0.999
        for colour, area in zip(numpy.array(colours)[toward], mesh.area_faces[toward]):
            if colour != inside:
                areas[side, colour] += area
    wanted = {key: round(area / jobs.CELL**2) for key, area in areas.items()}
    drawn = dict(collections.Counter(sheets.faces))
    tally.check(drawn == wanted, f"{sheets.name}: fields by side and colour {drawn}, by trimesh from the PLY {wanted}")
    wrong = [key for key in sheets.letters if key[2:] != (sheets.inks[key[1]],)]
    tally.check(not wrong, f"{sheets.name}: every field has its colour's letter {wrong[:3] or ''}")
    hidden = sum(fill == HIDDEN for fill in sheets.cubes.values())
    told = sheets.fact("cubes by hand"), sheets.fact("cubes that do not show")
    tally.check((len(sheets.cubes), hidden) == told, f"{sheets.name}: {len(sheets.cubes)} cubes drawn, {hidden} hidden, record {told}")
    with open(sheets.folder / "handbuild-list.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file, strict=True))
    listed = {(side, r["colour"]): int(r[side]) for r in rows if r["what"] == "faces by colour" for side in FIELDS}
    listed = {key: count for key, count in listed.items() if count}
    tally.check(listed == wanted, f"{sheets.name}: Python's csv reads the same faces by side and colour")
    patterns = sum(int(r["count"]) for r in rows if r["what"] == "cubes by sides")
    tally.check(patterns == len(sheets.cubes) - hidden, f"{sheets.name}: {patterns} cubes by the colours of their sides")
    tally.check(sheets.widths == {("190mm", "259mm")}, f"{sheets.name}: sheets of {sheets.widths}")


def against_ball(tally, scratch, name, radius, settings):
    """The ball of lattice points within a radius, cube for cube, and what may be left out of it."""
    axis = numpy.arange(-radius, radius + 1)
    ball = (axis[:, None, None] ** 2 + axis[:, None] ** 2 + axis**2) <= radius**2
    job = jobs.write(scratch / "jobs", f"handbuild-{name}", boundary(ball), chain=())
    job.write_text(job.read_text(encoding="utf-8") + f"  - handbuild{': ' + settings if settings else ''}\n", encoding="utf-8")
    sheets = run(tally, scratch, f"handbuild-{name}", job)
    drawn = numpy.zeros_like(ball)
    for column, row, layer in sheets.cubes:
        drawn[column - 1, row - 1, layer - 1] = True
    if settings:
        # What touches the air with a face or an edge, by scipy's 18 neighbours.
        wanted = ball & ~scipy.ndimage.binary_erosion(ball, scipy.ndimage.generate_binary_structure(3, 2))
        parts = scipy.ndimage.label(drawn)[1]
        tally.check(parts == 1, f"{sheets.name}: what is kept hangs together by faces: {parts} part by scipy")
        told = sheets.fact("cubes left out")
        tally.check(told == ball.sum() - wanted.sum(), f"{sheets.name}: {told} of {ball.sum()} cubes left out")
    else:
        wanted = ball
    tally.check((drawn == wanted).all(), f"{sheets.name}: {drawn.sum()} cubes read off the sheets, each where it should be ({wanted.sum()})")
    shows = numpy.zeros_like(ball)
    for (column, row, layer), fill in sheets.cubes.items():
        shows[column - 1, row - 1, layer - 1] = fill == SHOWS
    by_face = ball & ~scipy.ndimage.binary_erosion(ball)
    tally.check((shows == by_face).all(), f"{sheets.name}: {shows.sum()} of them show, by scipy {by_face.sum()}")
    # Faces to each side: the points of the disc of that radius (OEIS A000328).
    disc = int((axis[:, None] ** 2 + axis**2 <= radius**2).sum())
    faces = collections.Counter(side for side, _ in sheets.faces)
    tally.check(faces == {side: disc for side in FIELDS}, f"{sheets.name}: {disc} faces to each side {dict(faces)}")


def boundary(solid):
    """The faces between solid and air, as a mesh of cubes with the edge of the jobs' cell."""
    points, triangles = [], []
    padded = numpy.pad(solid, 1)
    for axis in range(3):
        u, v = (axis + 1) % 3, (axis + 2) % 3
        for sign in (1, -1):
            for cell in numpy.argwhere(padded & ~numpy.roll(padded, -sign, axis)):
                corners = []
                for a, b in ((0, 0), (1, 0), (1, 1), (0, 1)):
                    corner = cell.astype(float)
                    corner[axis] += sign > 0
                    corner[u] += a
                    corner[v] += b
                    corners.append(corner * jobs.CELL)
                first = len(points)
                points += corners if sign > 0 else corners[::-1]
                triangles += [(first, first + 1, first + 2), (first, first + 2, first + 3)]
    return trimesh.Trimesh(numpy.array(points), triangles)


def papers(tally, sheets):
    """Both documents have their paper's size, as many pages as sheets, and the bar of 100 mm in true size."""
    for paper, size in PAPERS.items():
        document = sheets.folder / f"handbuild-{paper}.pdf"
        said = subprocess.run(["pdfinfo", document], capture_output=True, text=True, check=True).stdout
        points = [float(n) for n in re.search(r"^Page size: +([\d.]+) x ([\d.]+) pts", said, re.MULTILINE).groups()]
        off = max(abs(p * 25.4 / 72 - mm) for p, mm in zip(points, size))
        pages = int(re.search(r"^Pages: +(\d+)", said, re.MULTILINE)[1])
        tally.check(off < 0.01 and pages == sheets.fact("pages"), f"{sheets.name}: {paper} {points} pt, {pages} pages by pdfinfo")
        dark = raster(document, 1) < 128
        runs = [length for row in dark for length in lengths(row)]
        bar = max(runs) / DENSITY
        tally.check(abs(bar - 100) <= 0.4, f"{sheets.name}: {paper} the bar is {bar:.1f} mm long by pdftoppm, and its line 0.25 mm wide")
        inked = numpy.argwhere(raster(document, 10) < 200) / DENSITY
        margins = [*inked.min(axis=0), *(numpy.array(size[::-1]) - inked.max(axis=0))]
        tally.check(min(margins) > 9.5, f"{sheets.name}: {paper} margins of {', '.join(f'{m:.1f}' for m in margins)} mm")


def lengths(row):
    """Lengths of the runs that are true."""
    edges = numpy.flatnonzero(numpy.diff(numpy.concatenate(([0], row.astype(numpy.int8), [0]))))
    return edges[1::2] - edges[::2]


def raster(document, page):
    """A page as grey levels."""
    command = ["pdftoppm", "-r", str(DENSITY * 25.4), "-f", str(page), "-l", str(page), "-gray", document]
    data = subprocess.run(command, capture_output=True, check=True).stdout
    width, height = map(int, re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", data).groups())
    return numpy.frombuffer(data[-width * height :], dtype=numpy.uint8).reshape(height, width)
