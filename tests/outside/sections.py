"""The section of a hollowed piece beside the same plane through its STL, cut by trimesh and put together by shapely."""

import re
import xml.etree.ElementTree

import jobs
import numpy
import shapely
import trimesh
from piece import NORMALS, Piece

SVG = "{http://www.w3.org/2000/svg}"
MATERIAL, HOLLOW = "#c9c2b2", "#e4ecf0"
# Coordinates on the sheet are written to this, in mm.
WRITTEN = 1e-3
# How far towards the viewer the plane is moved, in mm, so that it does not run along faces of cubes: well above the single
# precision of an STL (1e-5 at 100 mm), well below what moves an area.
ASIDE = 1e-3


def check(tally, piece):
    """Areas of material and of the whole, the opening's width, and the thinnest wall of the cut."""
    if not piece.hollow:
        return
    drawing = Drawing(piece)
    side, low, high = piece.openings[0]
    section = cut(piece.stl, (low + high) / 2, drawing.across)
    # From places on the piece to places on the drawing.
    shift = numpy.array(drawing.material.bounds[:2]) - section.bounds[:2]

    # Each corner off by half of what is written, along both axes.
    slack = section.length * WRITTEN / drawing.scale + 10 * ASIDE
    differ = abs(drawing.material.area - section.area)
    tally.check(
        differ < slack,
        f"{piece.name}: the section's material is {drawing.material.area:.2f} mm², by trimesh {section.area:.2f} mm² (may differ by {slack:.2f})",
    )
    apart = drawing.material.symmetric_difference(shapely.transform(section, lambda at: at + shift)).area
    tally.check(apart < slack, f"{piece.name}: of it {apart:.3f} mm² lie elsewhere by trimesh (up to {slack:.2f})")

    level = [drawing.along, 2]
    width = (high - low)[2 if side not in ("top", "bottom") else drawing.along]
    tally.check(f"{width:.1f}" in drawing.words, f"{piece.name}: the opening's width of {width:.1f} mm is written in the section")

    [thinnest] = [float(words.split()[0]) for words in drawing.words if words.endswith(" thinnest")]
    shaft = shapely.box(*(low[level] + shift), *(high[level] + shift))
    little = 3 * WRITTEN / drawing.scale
    cavity = drawing.whole.difference(drawing.material.buffer(little)).difference(shaft.buffer(little))
    # The shaft meets the outside in the plane of its mouth; of the outside it is held against the rest.
    outside = drawing.whole.boundary
    axis, sign = NORMALS[side]
    mouth = (high if sign > 0 else low)[axis] + shift[level.index(axis)]
    plane = shapely.box(-1e4, mouth, 1e4, mouth) if axis == 2 else shapely.box(mouth, -1e4, mouth, 1e4)
    by_shapely = min(cavity.distance(outside), shaft.distance(outside.difference(plane.buffer(little))))
    near = 0.005 + 2 * little
    tally.check(
        abs(thinnest - by_shapely) < near,
        f"{piece.name}: the thinnest wall of the cut is {thinnest} mm, by shapely {by_shapely:.3f} mm (may differ by {near:.3f})",
    )


def check_sides(tally, scratch):
    """A box with an opening to each of the other sides."""
    for side in ("left", "back", "top"):
        name = f"opened-{side}"
        job = jobs.write(scratch / "jobs", name, trimesh.creation.box(extents=(60, 48, 54)), opening=12)
        job.write_text(job.read_text(encoding="utf-8").replace("side: bottom", f"side: {side}"), encoding="utf-8")
        check(tally, Piece.of(tally, scratch, name, job))


class Drawing:
    """A section as it stands in its file, in mm of the piece."""

    def __init__(self, piece):
        root = xml.etree.ElementTree.parse(piece.folder / "hollow-section.svg").getroot()
        self.words = [text.text for text in root.iter(f"{SVG}text")]
        [(one, to)] = [found for words in self.words for found in re.findall(r"Scale (\d+) : (\d+) when", words)]
        self.scale = int(one) / int(to)
        front = any("seen from the front" in words for words in self.words)
        # The level axis of the drawing, and the one that it is seen along, towards the viewer.
        self.along, self.across = (0, (1, -1)) if front else (1, (0, 1))
        # The first of a colour is the section, what comes later stands beside a name.
        self.whole = self._area(root, HOLLOW)
        self.material = self._area(root, MATERIAL)

    def _area(self, root, colour):
        path = next(path for path in root.iter(f"{SVG}path") if path.get("fill") == colour)
        rings = [numpy.array(re.findall(r"-?[\d.]+", ring), dtype=float).reshape(-1, 2) for ring in path.get("d").split("Z") if ring]
        # y goes down in the file.
        polygons = [shapely.make_valid(shapely.Polygon(ring * [1, -1] / self.scale)) for ring in rings if len(ring) > 2]
        area = shapely.Polygon()
        for polygon in polygons:
            area = area.symmetric_difference(polygon)
        return area


def cut(mesh, through, across):
    """What an upright plane cuts of a mesh."""
    axis, sign = across
    normal, origin = numpy.zeros(3), numpy.array(through, dtype=float)
    normal[axis] = sign
    origin[axis] += sign * ASIDE
    lines = trimesh.intersections.mesh_plane(mesh, normal, origin)[:, :, [1 - axis, 2]]
    # Ends that should be one are brought together, to a nanometre.
    rings = shapely.polygonize([shapely.union_all(shapely.linestrings(numpy.round(lines, 6)))])
    area = shapely.Polygon()
    for polygon in shapely.get_parts(rings):
        middle = numpy.insert(numpy.array(polygon.representative_point().coords[0]), axis, origin[axis])
        if mesh.contains([middle])[0]:
            area = area.union(polygon)
    return area
