"""The box and the cover: drawings as other people's programs read them, and the lists against what is drawn."""

import csv
import html
import json
import math
import pathlib
import re
import shutil
import subprocess

import ezdxf
import numpy
from PIL import Image
from shapely.geometry import Point, Polygon, box

import jobs

# Settings of the stage, each for what it changes: a laser's box; a saw's, with the kerf in the drawing and little stock.
CASES = {
    "laser": "motor: { mass: 300 }",
    "saw": (
        "motor: { mass: 300, shaft: 40 mm }, board: { thickness: 12 mm, sheet: [600 mm, 400 mm] }, "
        "box: { joint: butt }, screws: { length: 20 mm }, cover: { kind: lid }, cut: { kerf: 2.8 mm, kerf_in: drawing }"
    ),
}
LAYERS = {"CUT", "MARK", "MEASURE", "NOTE"}
MM_PER_INCH = 25.4
# Pixels per mm at which pages are measured.
FINE = 10


def check(tally, scratch):
    """Cases around the demo on its stand."""
    folder = scratch / "jobs"
    folder.mkdir(parents=True, exist_ok=True)
    for name, settings in CASES.items():
        job = folder / f"case-{name}.yaml"
        job.write_text(demo_with(settings), encoding="utf-8")
        code, said = jobs.run(job, scratch / "runs")
        tally.check(code == 0, f"case {name}: exit code {code}")
        run = pathlib.Path(said["run"])
        record = json.loads((run / "run.json").read_text(encoding="utf-8"))
        stage = next(stage for stage in record["stages"] if stage["name"] == "case")
        check_files(tally, name, run, {fact["name"]: fact["value"] for fact in stage["facts"]}, stage["settings"])


def demo_with(settings):
    """The demo's job with a stand, a case with these settings, and nothing that they do not need."""
    lines = jobs.DEMO.read_text(encoding="utf-8").splitlines()
    named = re.compile(r"^(model: \{ file: |process: )(models/|processes/)")
    kept, skipping = [], False
    for line in lines:
        stage = re.match(r"  - (\w+)", line)
        if stage:
            skipping = stage[1] in ("proof", "validate", "estimate", "stand", "case", "order", "handbuild", "split")
        if not skipping and not line.startswith("advise"):
            kept.append(named.sub(lambda m: f"{m[1]}{jobs.ROOT}/jobs/{m[2]}", line))
    return "\n".join([*kept, "  - stand", f"  - case: {{ {settings} }}", ""])


def check_files(tally, name, run, facts, settings):
    """Every file of a case against the others and against its facts."""
    kerf = length(settings["cut"]["kerf"]) if settings["cut"]["kerf_in"] == "drawing" else 0.0
    sheets = [Sheet(path, kerf) for path in sorted(run.glob("case-sheet-*.dxf"))]
    for sheet in sheets:
        check_dxf(tally, name, sheet)
    with open(run / "case-cut-list.csv", newline="", encoding="utf-8") as file:
        cut = list(csv.DictReader(file, strict=True))
    check_cut_list(tally, name, sheets, cut, settings)
    check_waste(tally, name, sheets, facts, settings)
    with open(run / "case-drilling-list.csv", newline="", encoding="utf-8") as file:
        drilled = list(csv.DictReader(file, strict=True))
    check_holes(tally, name, sheets, drilled, settings)
    check_svg(tally, name, run, sheets)
    check_pdf(tally, name, run, facts)


class Sheet:
    """What a DXF says is cut, at its finished size."""

    def __init__(self, path, kerf):
        self.path = path
        self.kerf = kerf
        self.document = ezdxf.readfile(path)
        self.audit = self.document.audit()
        entities = list(self.document.modelspace())
        self.kinds = {(entity.dxf.layer, entity.dxftype()) for entity in entities}
        self.open = [e for e in entities if e.dxf.layer == "CUT" and e.dxftype() == "POLYLINE" and not e.is_closed]
        lines = [e for e in entities if e.dxf.layer == "CUT" and e.dxftype() == "POLYLINE"]
        drawn = [Polygon([(v.dxf.location.x, v.dxf.location.y) for v in line.vertices]) for line in lines]
        self.panels = [shape.buffer(-kerf / 2, join_style="mitre") if kerf else shape for shape in drawn]
        circles = [e for e in entities if e.dxftype() == "CIRCLE"]
        self.cut = [hole(e, kerf) for e in circles if e.dxf.layer == "CUT"]
        # What is narrower than two cuts is marked at its own size, to be drilled.
        self.holes = self.cut + [hole(e, 0.0) for e in circles if e.dxf.layer == "MARK"]
        self.heading = next(e.plain_text() for e in entities if e.dxftype() == "TEXT" and e.dxf.layer == "NOTE")
        rim = next(e for e in entities if e.dxf.layer == "NOTE" and e.dxftype() == "POLYLINE")
        corners = [(v.dxf.location.x, v.dxf.location.y) for v in rim.vertices]
        self.size = tuple(max(c[i] for c in corners) for i in (0, 1))
        self.clear = "acrylic" in self.heading

    def area(self):
        """What its panels have without their holes, in mm²."""
        return sum(panel.area for panel in self.panels) - sum(math.pi / 4 * d * d for _, d in self.holes)


def hole(circle, kerf):
    """The middle and the finished diameter of a circle."""
    return Point(circle.dxf.center.x, circle.dxf.center.y), 2 * circle.dxf.radius + kerf


def length(text):
    """A length of the record in mm."""
    return float(str(text).removesuffix(" mm"))


def check_dxf(tally, name, sheet):
    """ezdxf finds nothing to mend; layers, units and closed lines are as they should be."""
    audit = sheet.audit
    tally.check(
        not audit.errors and not audit.fixes,
        f"case {name}: ezdxf audits {sheet.path.name}: {len(audit.errors)} errors, {len(audit.fixes)} mended",
    )
    layers = {layer for layer, _ in sheet.kinds}
    known = {layer.dxf.name for layer in sheet.document.layers}
    tally.check(
        {"CUT", "NOTE"} <= layers <= LAYERS <= known and not sheet.open,
        f"case {name}: layers {sorted(layers)}, {len(sheet.open)} open lines to cut",
    )
    unit = sheet.document.header.get("$INSUNITS", None)
    tally.check(unit == 4, f"case {name}: $INSUNITS is {unit}, 4 for mm")


def check_cut_list(tally, name, sheets, cut, settings):
    """What is drawn has the sizes and the count of the cut list, and lies apart and on its sheet."""
    listed = []
    for row in cut:
        if row["numbers"]:
            size = tuple(sorted(map(float, row["finished mm"].split(" × "))))
            listed += [size] * int(row["count"])
    drawn = []
    for panel in (panel for sheet in sheets for panel in sheet.panels):
        x, y, to_x, to_y = panel.bounds
        # To 0.01 mm, as listed: else what is as good as equal would be put in order by its last digit.
        drawn.append(tuple(sorted((round(to_x - x, 2), round(to_y - y, 2)))))
    off = max((max(abs(a - b) for a, b in zip(*pair)) for pair in zip(sorted(listed), sorted(drawn))), default=0)
    tally.check(
        len(listed) == len(drawn) and off < 0.006,
        f"case {name}: {len(drawn)} panels drawn, {len(listed)} listed, sizes differ by {off:.4f} mm at most",
    )
    kerf, between, margin = (length(settings["cut"][key]) for key in ("kerf", "between", "margin"))
    least, inside = math.inf, True
    for sheet in sheets:
        room = box(margin, margin, sheet.size[0] - margin, sheet.size[1] - margin).buffer(1e-6)
        inside &= all(room.contains(panel) for panel in sheet.panels)
        for i, panel in enumerate(sheet.panels):
            least = min([least, *(panel.distance(other) for other in sheet.panels[:i])])
    tally.check(
        inside and least >= kerf + between - 1e-5,
        f"case {name}: shapely finds panels {least:.4f} mm apart, at least {kerf + between}, all inside the margin",
    )


def check_waste(tally, name, sheets, facts, settings):
    """Waste, weights and the number of sheets, from the areas of the drawings."""
    for clear, stock, sheets_fact in (
        (False, settings["board"], "sheets for the box"),
        (True, settings["cover"]["sheet"], "sheets for the cover"),
    ):
        on = [sheet for sheet in sheets if sheet.clear == clear]
        used = sum(sheet.area() for sheet in on)
        whole = sum(sheet.size[0] * sheet.size[1] for sheet in on)
        told = facts[f"waste of {stock['material']}"]["number"]
        tally.check(
            len(on) == facts[sheets_fact]["whole"] and abs((1 - used / whole) * 100 - told) < 0.01,
            f"case {name}: {len(on)} sheets of {stock['material']}, {(1 - used / whole) * 100:.2f} % waste, record {told:.2f}",
        )
        weight = used * length(stock["thickness"]) * stock["density"] / 1000
        if clear:
            told = facts["weight of the cover"]["number"]
            tally.check(abs(weight / told - 1) < 1e-4, f"case {name}: the cover weighs {weight:.1f} g, record {told:.1f}")


def check_holes(tally, name, sheets, drilled, settings):
    """The drilling list has the holes that are drawn; no wood screw comes through its batten."""
    drawn = sorted(round(diameter, 2) for sheet in sheets for _, diameter in sheet.holes)
    listed = sorted(round(float(row["diameter mm"]), 2) for row in drilled)
    tally.check(drawn == listed, f"case {name}: {len(drawn)} holes drawn, {len(listed)} listed, of the same diameters")
    inside = all(
        any(panel.contains(at.buffer(diameter / 2)) for panel in sheet.panels)
        for sheet in sheets
        for at, diameter in sheet.holes
    )
    tally.check(inside, f"case {name}: shapely finds every hole within a panel")
    deep = length(settings["board"]["thickness"]) + length(settings["box"]["batten"])
    stops = [float(row["drill-depth stop mm"]) for row in drilled if row["for"] == "wood screw"]
    tally.check(stops and max(stops) <= deep - 1, f"case {name}: drill stop {max(stops)} of {deep} mm of wood")


def check_svg(tally, name, run, sheets):
    """In Chromium a millimetre is 96 / 25.4 px: the sheet, and what is cut on it, is as large as in the DXF."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        print("no Chromium: the sizes of SVG files are not checked")
        return
    px = 96 / MM_PER_INCH
    for sheet in sheets:
        svg = sheet.path.with_suffix(".svg").read_text(encoding="utf-8")
        page = run.parent / f"{name}-{sheet.path.stem}.html"
        page.write_text(MEASURING.replace("SVG", svg), encoding="utf-8")
        flags = ["--headless", "--no-sandbox", "--disable-gpu", "--dump-dom"]
        done = subprocess.run([chromium, *flags, page.resolve().as_uri()], capture_output=True, check=True)
        page.unlink()
        told = json.loads(html.unescape(re.search(rb"<pre>(.*?)</pre>", done.stdout)[1].decode("ascii")))
        shown, drawn = 2 * sum(told["radii"]), sum(diameter - sheet.kerf for _, diameter in sheet.cut)
        tally.check(
            abs(told["width"] / px - sheet.size[0]) < 0.01
            and len(told["radii"]) == len(sheet.cut)
            and abs(shown - drawn) < 0.001 * (1 + len(sheet.cut)),
            f"case {name}: Chromium shows {sheet.path.stem}.svg {told['width'] / px:.3f} mm wide, "
            f"its {len(told['radii'])} circles {shown:.3f} mm wide together, DXF {drawn:.3f}",
        )


MEASURING = """<!doctype html><meta charset="utf-8"><body>SVG<pre></pre><script>
const svg = document.querySelector("svg");
const radii = [...svg.querySelectorAll(".cut circle")].map((c) => c.r.baseVal.value * c.getScreenCTM().a * 25.4 / 96);
const width = svg.getBoundingClientRect().width;
// What is dumped is only this: large documents in other letters than ASCII have come out of the pipe broken.
svg.remove();
document.querySelector("pre").textContent = JSON.stringify({ width, radii });
</script>"""


def check_pdf(tally, name, run, facts):
    """The pages of the drilling templates, drawn by pdftoppm at ten pixels a mm, are 1:1."""
    if shutil.which("pdftoppm") is None:
        print("no pdftoppm (Debian's poppler-utils): the sizes of PDF pages are not checked")
        return
    for paper, size in (("a4", (210, 297)), ("letter", (215.9, 279.4))):
        stem = run.parent / f"{name}-{paper}"
        dots = str(FINE * MM_PER_INCH)
        file = run / f"case-drilling-{paper}.pdf"
        subprocess.run(["pdftoppm", "-r", dots, "-gray", file, stem], check=True)
        pages = sorted(run.parent.glob(f"{name}-{paper}-*.pgm"))
        for page in pages:
            dark = numpy.array(Image.open(page)) < 128
            page.unlink()
            high, wide = dark.shape
            tally.check(
                abs(wide / FINE - size[0]) < 0.15 and abs(high / FINE - size[1]) < 0.15,
                f"case {name}: {page.stem} is {wide / FINE} × {high / FINE} mm",
            )
            # The bar's line lies 10 mm above the lower edge, from 10 mm to the right.
            line = dark[high - 10 * FINE - 2 : high - 10 * FINE + 3].any(axis=0)
            at = numpy.flatnonzero(line)
            bar = (at[-1] - at[0]) / FINE
            tally.check(abs(bar - 100) < 0.4, f"case {name}: the bar of {page.stem} is {bar:.1f} mm long, with its line's width")
            if page == pages[0]:
                hub = opening(dark, size)
                told = facts["opening for the hub"]["number"]
                tally.check(abs(hub - told) < 0.2, f"case {name}: the hub's opening measures {hub:.2f} mm, record {told}")


def opening(dark, size):
    """Diameter of the circle around the axis, from where a line 2 mm above the axis meets it."""
    # The room of the template: margins of 10 mm, 24 mm of heading, 20 mm of foot.
    x, y = size[0] / 2, (30 + size[1] - 34) / 2
    row = dark[round((size[1] - y - 2) * FINE)]
    middle = round(x * FINE)
    # Past the cross's upright line.
    right = middle + 10 + numpy.flatnonzero(row[middle + 10 :])[0]
    left = numpy.flatnonzero(row[: middle - 10])[-1]
    half = (right - left) / 2 / FINE
    return 2 * math.hypot(half, 2)
