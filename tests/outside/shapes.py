"""Shapes whose measures are known in closed form or published, taken through the whole program."""

import numpy
import trimesh

import files
import jobs
import walls
from piece import Piece

EDGE = 60.0
OPENING = 24.0
RING, TUBE = 45.0, 21.0
AROUND_RING, AROUND_TUBE = 180, 90
BALL = 10
# Cubes of the lattice ball of radius 10 (OEIS A000605) and its faces to each side (OEIS A000328).
BALL_CUBES, BALL_FACES = 4169, 317


def make(tally, scratch, name, mesh, **job):
    """Runs a job for the shape and checks its files."""
    piece = Piece.of(tally, scratch, name, jobs.write(scratch / "jobs", name, mesh, **job))
    files.check(tally, piece)
    return piece


def cube():
    """A cube that stands on the origin."""
    return trimesh.creation.box(bounds=[[0.0] * 3, [EDGE] * 3])


def check_cube(tally, scratch):
    """Edge a: volume a³, area 6 a², moments of inertia m a² / 6, m the volume."""
    mesh = make(tally, scratch, "cube", cube()).ply
    moments = numpy.diag(mesh.moment_inertia)
    tally.check(
        numpy.isclose(mesh.volume, EDGE**3, rtol=1e-12) and numpy.isclose(mesh.area, 6 * EDGE**2, rtol=1e-12),
        f"cube: volume {mesh.volume} mm³ and area {mesh.area} mm², {EDGE**3} and {6 * EDGE**2} in closed form",
    )
    tally.check(
        numpy.allclose(moments, EDGE**5 / 6, rtol=1e-9) and numpy.allclose(mesh.center_mass, mesh.bounds.mean(axis=0)),
        f"cube: moments of inertia {moments} mm⁵, {EDGE**5 / 6} in closed form",
    )


def check_hollow_cube(tally, scratch):
    """The exact offset of a cube inwards is a cube: edge a − 2 w."""
    piece = make(tally, scratch, "hollow-cube", cube(), opening=OPENING)
    walls.check(tally, piece)
    exact = EDGE**3 - (EDGE - 2 * jobs.WALL) ** 3 - OPENING**2 * jobs.WALL
    excess = piece.ply.volume / exact - 1
    tally.check(
        -1e-6 <= excess <= walls.EXCESS,
        f"hollow-cube: {piece.ply.volume:.1f} mm³ of material, {exact:.1f} in closed form: {100 * excess:.2f} % more,"
        f" 0 to {100 * walls.EXCESS:.0f} % allowed",
    )


def check_torus(tally, scratch):
    """Volume 2 π² R r², and the number of cell centres in the torus, which the mesh follows to within its sag."""
    mesh = trimesh.creation.torus(RING, TUBE, major_sections=AROUND_RING, minor_sections=AROUND_TUBE)
    piece = make(tally, scratch, "torus", mesh)
    sag = TUBE * (1 - numpy.cos(numpy.pi / AROUND_TUBE)) + (RING + TUBE) * (1 - numpy.cos(numpy.pi / AROUND_RING))
    least, most = (torus_cells(TUBE + off) for off in (-sag, sag))
    cells = piece.fact("voxelise", "cells")
    tally.check(
        least <= cells <= most,
        f"torus: {cells} cells, from {least} to {most} centres within the torus give or take {sag:.3f} mm",
    )
    exact = 2 * numpy.pi**2 * RING * TUBE**2
    off = piece.ply.volume / exact - 1
    tally.check(
        abs(off) < 0.01,
        f"torus: volume {piece.ply.volume:.0f} mm³, {exact:.0f} in closed form: {100 * off:+.2f} %, ±1 allowed",
    )
    tally.check(piece.ply.euler_number == 0, f"torus: Euler number {piece.ply.euler_number}, 0 for one handle")


def torus_cells(tube):
    """Cell centres in a torus whose middle is a cell corner in x and y and whose lowest point is one in z."""
    cell = jobs.CELL
    half = numpy.arange(-30, 30) + 0.5
    x, y, z = numpy.meshgrid(half * cell, half * cell, numpy.arange(0, 30) * cell + cell / 2 - TUBE, indexing="ij")
    return int(((numpy.hypot(x, y) - RING) ** 2 + z**2 < tube**2).sum())


def check_ball(tally, scratch):
    """Cell centres on the integer lattice.

    Squared distances of lattice points are whole numbers, so any radius between √100 and √101 holds the same points:
    the mesh has room for its sag.
    """
    mesh = trimesh.creation.icosphere(subdivisions=5, radius=jobs.CELL * numpy.sqrt(BALL**2 + 0.6))
    centred = ", grid: { x: cell-centre, y: cell-centre, z: cell-centre }"
    piece = make(tally, scratch, "ball", mesh, grid=centred)
    cells = piece.fact("voxelise", "cells")
    tally.check(cells == BALL_CUBES, f"ball: {cells} cells, {BALL_CUBES} by OEIS A000605({BALL})")
    faces = {side: piece.faces_of_solid(side) for side in jobs.SIDES}
    tally.check(
        set(faces.values()) == {BALL_FACES}, f"ball: faces by side {faces}, {BALL_FACES} each by OEIS A000328({BALL})"
    )
    tally.check(piece.ply.euler_number == 2, f"ball: Euler number {piece.ply.euler_number}, 2 for a ball")


ALL = (check_cube, check_hollow_cube, check_torus, check_ball)
