"""A picture a side: the colours on the faces against NumPy's and Pillow's area means of the same picture."""

import numpy
import trimesh
from PIL import Image

import glb
import jobs
from piece import NORMALS, Piece

# Cells across, deep and high; and pixels across and down, no multiples of them.
CELLS = (14, 9, 21)
SIZES = {"right": (100, 233), "left": (37, 50), "back": (640, 480), "front": (211, 317), "top": (50, 50), "bottom": (9, 4)}
# For each side the axes of the view, to its right and up, with their signs.
VIEWS = {
    "right": ((1, 1), (2, 1)),
    "left": ((1, -1), (2, 1)),
    "back": ((0, -1), (2, 1)),
    "front": ((0, 1), (2, 1)),
    "top": ((0, 1), (1, 1)),
    "bottom": ((0, 1), (1, -1)),
}
SIDES_WHOLE = ("back", "bottom")


def check(tally, scratch):
    """A block and an egg, with six pictures; and Pillow's box filter, where a picture fits without cropping."""
    random = numpy.random.default_rng(4)
    folder = scratch / "jobs"
    folder.mkdir(parents=True, exist_ok=True)
    pictures = {}
    for side, (width, height) in SIZES.items():
        # Grain of several sizes, so that means differ from place to place.
        grain = random.random((height, width, 3)) * random.random((height, 1, 3))
        pictures[side] = (255 * grain).round().astype(numpy.uint8)
        Image.fromarray(pictures[side]).save(folder / f"picture-{side}.png")
    egg = trimesh.creation.icosphere(subdivisions=4, radius=0.5)
    block = trimesh.creation.box((1, 1, 1))
    for name, mesh in (("block", block), ("egg", egg)):
        mesh.apply_scale(numpy.array(CELLS) * jobs.CELL)
        against(tally, scratch, f"pictures-{name}", mesh, pictures)
    check_pillow(tally, scratch, block, random)


def against(tally, scratch, name, mesh, pictures):
    """Every face's colour against the mean that NumPy finds under it."""
    piece = run(tally, scratch, name, mesh, {side: f"picture-{side}.png" for side in pictures})
    glb.check(tally, piece, scratch)
    for side, pixels in pictures.items():
        wanted = means(light(pixels), *lattice(piece, side), side in SIDES_WHOLE)
        compare(tally, piece, side, code(wanted), "NumPy's area means")


def check_pillow(tally, scratch, block, random):
    """A picture of the silhouette's own shape, by Pillow's box filter on the light as 32-bit numbers."""
    columns, rows = CELLS[0], CELLS[2]
    pixels = (255 * random.random((rows * 7, columns * 7, 3))).round().astype(numpy.uint8)
    Image.fromarray(pixels).save(scratch / "jobs" / "picture-exact.webp", lossless=True)
    piece = run(tally, scratch, "pictures-exact", block, {"front": "picture-exact.webp"})
    channels = light(pixels).astype(numpy.float32).transpose(2, 0, 1)
    small = [Image.fromarray(channel).resize((columns, rows), Image.Resampling.BOX) for channel in channels]
    compare(tally, piece, "front", code(numpy.stack([numpy.asarray(c) for c in small], axis=-1)), "Pillow's box filter")


def run(tally, scratch, name, mesh, pictures):
    """Runs a job with pictures on these sides."""
    job = jobs.write(scratch / "jobs", name, mesh, grid=", grid: { x: lowest, y: lowest }")
    text = job.read_text(encoding="utf-8")
    for side, file in pictures.items():
        fit = "whole" if side in SIDES_WHOLE else "fill"
        coat = f'{side}: {{ picture: {{ file: {file}, fit: {fit}, ground: "#204060" }} }}'
        text = text.replace(f'{side}: "{jobs.COLOURS[side]}"', coat)
    job.write_text(text, encoding="utf-8")
    return Piece.of(tally, scratch, name, job)


def light(pixels):
    """IEC 61966-2-1, from codes to light."""
    codes = pixels / 255
    return numpy.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)


def code(light_):
    """IEC 61966-2-1, from light to codes, not rounded."""
    light_ = numpy.clip(light_, 0, 1)
    return 255 * numpy.where(light_ <= 0.0031308, 12.92 * light_, 1.055 * light_ ** (1 / 2.4) - 0.055)


def lattice(piece, side):
    """Columns and rows of the side's silhouette."""
    (across, _), (up, _) = VIEWS[side]
    return piece.solid.shape[across], piece.solid.shape[up]


def means(picture, columns, rows, whole):
    """Area means on a lattice, by the integral of the picture over rectangles."""
    height, width, _ = picture.shape
    scale = (max if whole else min)(width / columns, height / rows)
    ground = light(numpy.array([0x20, 0x40, 0x60]))
    across, inside_x = covers(width, columns, scale)
    down, inside_y = covers(height, rows, scale)
    on_picture = numpy.einsum("rh,hwc,kw->rkc", down, picture, across)
    return on_picture + (1 - inside_y[:, None] * inside_x[None, :])[..., None] * ground


def covers(pixels, cells, scale):
    """The share of each cell that each pixel covers, and the share of it that is on the picture."""
    ends = (pixels - cells * scale) / 2 + numpy.arange(cells + 1) * scale
    low, high = ends[:-1, None], ends[1:, None]
    at = numpy.arange(pixels)[None, :]
    shares = numpy.clip(numpy.minimum(high, at + 1) - numpy.maximum(low, at), 0, None) / scale
    return shares, shares.sum(axis=1)


def compare(tally, piece, side, wanted, by):
    """The colour of every outside triangle that faces the side, against the code wanted at its place."""
    axis, sign = NORMALS[side]
    facing = piece.outside & (abs(piece.ply.face_normals[:, axis] - sign) < 1e-9)
    # Well inside the cell behind the face, from the lowest corner of the piece.
    middles = piece.ply.triangles_center[facing] - piece.ply.face_normals[facing] * 1e-3
    cells = numpy.floor((middles - piece.ply.bounds[0]) / piece.cell).astype(int)
    (across, to_right), (up, upwards) = VIEWS[side]
    columns = cells[:, across] if to_right > 0 else piece.solid.shape[across] - 1 - cells[:, across]
    rows = piece.solid.shape[up] - 1 - cells[:, up] if upwards > 0 else cells[:, up]
    off = abs(piece.ink[facing].astype(float) - wanted[rows, columns])
    # Half a step is rounding; the rest is for single precision on the other side.
    tally.check(
        facing.any() and off.max() < 0.5 + 1e-3,
        f"{piece.name}: {facing.sum()} triangles facing the {side} are at most {off.max():.4f} steps off {by}",
    )
