"""The package of an order: its digests by other programs, its ZIP file by another reader, its code by a reader of codes.

The code is read as a phone would see it: the label as Chromium draws it, turned and blurred a little.
"""

import hashlib
import json
import pathlib
import subprocess
import tempfile
import xml.etree.ElementTree
import zipfile

import blake3
import cv2
import numpy
import zxingcpp

import jobs

CHROMIUM = "chromium"
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]
# The label's size in mm, and how many pixels of a picture of it go into one.
SIZE = (80.0, 40.0)
FINE = 12


def check(tally, scratch):
    """Runs a job and looks at its package."""
    code, said = jobs.run(jobs.write(scratch / "jobs", "package", jobs.demo_model(), opening=24), scratch / "runs")
    tally.check(code == 0, f"package: exit code {code}")
    run = pathlib.Path(said["run"])
    check_digests(tally, run)
    check_zip(tally, run)
    check_code(tally, run)
    check_pages(tally, run)


def check_digests(tally, run):
    """Both lists hold by the programs that people have, or by other libraries; and the ordered file is the record's."""
    order = run / "order"
    record = json.loads((run / "run.json").read_text(encoding="utf-8"))
    done = subprocess.run(["sha256sum", "--check", "--strict", "digests-sha256.txt"], cwd=order, capture_output=True, text=True)
    tally.check(done.returncode == 0, f"package: sha256sum --check takes its list: {done.stderr}")
    for name, digest in (("blake3", lambda data: blake3.blake3(data).hexdigest()), ("sha256", lambda data: hashlib.sha256(data).hexdigest())):
        lines = (order / f"digests-{name}.txt").read_text(encoding="utf-8").splitlines()
        told = dict(line.split("  ", 1)[::-1] for line in lines)
        there = {path.name for path in order.iterdir() if not path.name.startswith("digests-")}
        tally.check(set(told) == there, f"package: digests-{name}.txt lists every file: {sorted(set(told) ^ there)}")
        wrong = [path for path in there if digest((order / path).read_bytes()) != told.get(path)]
        tally.check(not wrong, f"package: digests-{name}.txt: {wrong}")
    ordered = (order / record["order"]).read_bytes()
    tally.check(ordered == (run / record["order"]).read_bytes(), "package: the ordered file is that of the run")
    sheet = (order / "order-sheet.html").read_text(encoding="utf-8")
    for digest in (hashlib.sha256(ordered).hexdigest(), blake3.blake3(ordered).hexdigest()):
        tally.check(digest in sheet, f"package: the order sheet has {digest[:16]}…")


def check_zip(tally, run):
    """The ZIP file holds what the folder does, whole, in one folder, with no time and nothing of the machine."""
    with zipfile.ZipFile(run / "order.zip") as zipped:
        tally.check(zipped.testzip() is None, "package: the ZIP file's checksums hold")
        entries = zipped.infolist()
        times = {entry.date_time for entry in entries}
        tally.check(times == {(1980, 1, 1, 0, 0, 0)}, f"package: no time in the ZIP file: {times}")
        tops = {entry.filename.split("/")[0] for entry in entries}
        tally.check(tops == {f"{run.parent.name}-{run.name}"}, f"package: one folder in the ZIP file: {tops}")
        inside = {entry.filename.split("/", 1)[1]: zipped.read(entry) for entry in entries}
    outside = {path.name: path.read_bytes() for path in (run / "order").iterdir()}
    tally.check(inside == outside, f"package: ZIP file and folder hold the same: {sorted(inside)}")


def check_code(tally, run):
    """A reader of codes reads commission, run, file and digest off the drawn label, by either of two libraries."""
    record = json.loads((run / "run.json").read_text(encoding="utf-8"))
    file = (run / "order" / record["order"]).read_bytes()
    expected = "\n".join([record["commission"], record["run"], record["order"], f"BLAKE3 {blake3.blake3(file).hexdigest()}"])
    label = run / "order" / "label.svg"
    xml.etree.ElementTree.parse(label)
    picture = drawn(label)
    for turn in (0.0, 7.0, 95.0):
        seen = turned(picture, turn)
        read = [code.text for code in zxingcpp.read_barcodes(seen)]
        tally.check(read == [expected], f"package: the code turned by {turn:g}° by zxing: {read}")
    # 300 dots an inch, as an office printer has it.
    small = cv2.resize(picture, None, fx=300 / 25.4 / FINE, fy=300 / 25.4 / FINE, interpolation=cv2.INTER_AREA)
    read = cv2.QRCodeDetector().detectAndDecode(small)[0]
    tally.check(read == expected, f"package: the code by OpenCV: {read!r}")


def drawn(svg):
    """A drawing as a browser draws it, as grey pixels."""
    width, height = (int(size * FINE) for size in SIZE)
    page = f"<!DOCTYPE html><style>body{{margin:0}}svg{{width:{width}px;height:{height}px;display:block}}</style>" + svg.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder)
        (path / "page.html").write_text(page, encoding="utf-8")
        shot = path / "shot.png"
        arguments = [CHROMIUM, *FLAGS, f"--user-data-dir={path / 'profile'}", f"--screenshot={shot}", f"--window-size={width},{height}"]
        subprocess.run([*arguments, "--hide-scrollbars", (path / "page.html").as_uri()], check=True, capture_output=True, timeout=120)
        return cv2.imread(str(shot), cv2.IMREAD_GRAYSCALE)


def turned(picture, degrees):
    """Turned on a larger white ground, and blurred as by a hand."""
    height, width = picture.shape
    edge = int(numpy.hypot(height, width)) + 40
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), degrees, 1.0)
    turn[:, 2] += (edge - width) / 2, (edge - height) / 2
    seen = cv2.warpAffine(picture, turn, (edge, edge), borderValue=255)
    return cv2.GaussianBlur(seen, (0, 0), 2.0)


def check_pages(tally, run):
    """The label's page prints it in its size: 80 mm between the cutting lines, 50 mm of the bar, measured on a PDF."""
    with tempfile.TemporaryDirectory() as folder:
        path = pathlib.Path(folder)
        pdf = path / "label.pdf"
        arguments = [CHROMIUM, *FLAGS, f"--user-data-dir={path / 'profile'}", f"--print-to-pdf={pdf}", "--no-pdf-header-footer"]
        subprocess.run([*arguments, (run / "order" / "label.html").resolve().as_uri()], check=True, capture_output=True, timeout=120)
        subprocess.run(["pdftoppm", "-r", "254", "-gray", "-png", pdf, path / "page"], check=True)
        page = cv2.imread(str(next(path.glob("page*.png"))), cv2.IMREAD_GRAYSCALE)
    # Below the band of colours at the head of the page the longest dark stretch in any row is the bar: ten pixels are a
    # millimetre.
    longest = max(stretch(row < 128) for row in page[200:])
    tally.check(abs(longest / 10 - 50.0) <= 0.5, f"package: the bar on the label's page is {longest / 10:.1f} mm long")


def stretch(dark):
    """The length of the longest run of true values."""
    edges = numpy.flatnonzero(numpy.diff(numpy.concatenate([[0], dark.astype(int), [0]])))
    return int((edges[1::2] - edges[::2]).max()) if len(edges) else 0
