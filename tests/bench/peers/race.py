"""Races this project against general-purpose libraries: the same mesh, the same grid, reading the file included."""

import json
import subprocess
import sys
import time
from pathlib import Path

import edt
import igl
import numpy as np
import trimesh

SCRATCH, OURS = Path(sys.argv[1]), sys.argv[2]


def scan(around: int, rings: int, holes: int) -> np.ndarray:
    """A lumpy form of `2 · around · (rings − 1)` triangles less some round holes, as a scanner leaves them: an invented
    form, three corners a triangle."""
    theta = np.pi * np.arange(rings + 1) / rings
    phi = 2 * np.pi * np.arange(around) / around
    t, p = np.meshgrid(theta, phi, indexing="ij")
    radius = 90 + 6 * np.sin(3 * p) * np.sin(t) ** 3 + 4 * np.cos(5 * t) + 1.5 * np.sin(17 * p) * np.sin(t) ** 8
    xyz = np.stack([radius * np.sin(t) * np.cos(p), radius * np.sin(t) * np.sin(p), -radius * np.cos(t)], axis=-1)
    xyz[0], xyz[-1] = xyz[0, 0], xyz[-1, 0]
    xyz = xyz.astype("<f4")
    a, b = xyz[:-1], np.roll(xyz[:-1], -1, axis=1)
    d, c = xyz[1:], np.roll(xyz[1:], -1, axis=1)
    lower, upper = np.stack([a, b, c], axis=2)[1:], np.stack([a, c, d], axis=2)[:-1]
    triangles = np.concatenate([lower.reshape(-1, 3, 3), upper.reshape(-1, 3, 3)])
    middles = triangles.mean(axis=1)
    directions = middles / np.linalg.norm(middles, axis=1, keepdims=True)
    kept = np.ones(len(triangles), bool)
    for n in range(holes):
        # Spread over the sphere by the golden angle (common practice, no source).
        z, turn = 1 - (2 * n + 1) / holes, n * np.pi * (3 - 5**0.5)
        towards = np.array([np.cos(turn) * (1 - z * z) ** 0.5, np.sin(turn) * (1 - z * z) ** 0.5, z])
        kept &= directions @ towards < np.cos(0.02 + 0.015 * (n % 4))
    return triangles[kept]


def write(triangles: np.ndarray, path: Path) -> None:
    records = np.zeros(len(triangles), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")])
    records["corners"] = triangles
    with path.open("wb") as file:
        file.write(bytes(80) + np.uint32(len(triangles)).tobytes() + records.tobytes())


def best(times: int, work) -> tuple[float, object]:
    """The least time of some, and the last result."""
    least, result = float("inf"), None
    for _ in range(times):
        start = time.perf_counter()
        result = work()
        least = min(least, time.perf_counter() - start)
    return least, result


def ours(*words) -> dict:
    return json.loads(subprocess.run([OURS, *map(str, words)], check=True, capture_output=True, text=True).stdout)


def race_cells(name: str, triangles: np.ndarray, across: int, everybody: bool) -> None:
    path = SCRATCH / f"{name}.stl"
    write(triangles, path)
    runs = [ours("cells", path, across) for _ in range(3)]
    mine = min(runs, key=lambda run: run["read"] + run["voxelise"])
    total = mine["read"] + mine["voxelise"]
    print(f"\n### {name}: {mine['triangles']} triangles, {' × '.join(map(str, mine['counts']))} cells\n")
    print("| | read, s | cells, s | total, s | times ours | cells that differ |\n|---|--:|--:|--:|--:|--:|")
    print(f"| ours | {mine['read']:.3f} | {mine['voxelise']:.3f} | {total:.3f} | 1 | |")
    if not everybody:
        return

    counts, origin, cell = np.array(mine["counts"]), np.array(mine["origin"]), mine["cell"]

    def read():
        mesh = trimesh.load(path, process=False)
        mesh.merge_vertices()
        return mesh

    reading, mesh = best(2, read)
    axes = [origin[d] + cell * (np.arange(counts[d]) + 0.5) for d in range(3)]
    z, y, x = np.meshgrid(axes[2], axes[1], axes[0], indexing="ij")
    centres = np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1)
    vertices, faces = np.asarray(mesh.vertices, dtype=np.float64), np.asarray(mesh.faces, dtype=np.int64)

    telling, number = best(1, lambda: igl.fast_winding_number(vertices, faces, centres))
    differ = abs(int((number > 0.5).sum()) - mine["cells"])
    print(f"| libigl | {reading:.3f} | {telling:.3f} | {reading + telling:.3f} | {(reading + telling) / total:.1f} | "
          f"{differ} in number |")
    filling, grid = best(1, lambda: mesh.voxelized(cell).fill())
    differ = abs(int(grid.filled_count) - mine["cells"])
    print(f"| trimesh | {reading:.3f} | {filling:.3f} | {reading + filling:.3f} | {(reading + filling) / total:.1f} | "
          f"{differ} in number (it takes what the surface touches) |")


def race_distances(n: int) -> None:
    runs = [ours("distances", n) for _ in range(3)]
    mine = min(runs, key=lambda run: run["seconds"])
    at = np.arange(n) + 0.5 - n / 2
    solid = at[:, None, None] ** 2 + at[None, :, None] ** 2 + at[None, None, :] ** 2 <= (n * 0.45) ** 2
    seconds, distances = best(3, lambda: edt.edtsq(solid, parallel=2))
    same = int(distances.astype(np.float64).sum()) == mine["sum"]
    print(f"| {n}³ | {mine['seconds']:.3f} | {seconds:.3f} | {seconds / mine['seconds']:.2f} | {same} |")


print("## Cells")
big = scan(661, 660, 24)
race_cells("scan", big, 200, True)
print("\n## How the time grows with triangles, at 200 across")
for around, rings in [(209, 209), (418, 418), (836, 836)]:
    race_cells(f"scan-{around}", scan(around, rings, 24), 200, False)
print("\n## How the time grows with cells, on the first mesh")
for across in [100, 400, 1000]:
    race_cells("scan", big, across, False)
print("\n## Distances between centres in a ball\n")
print("| grid | ours, s | edt, s | times ours | same sum of squares |\n|---|--:|--:|--:|---|")
for n in [256, 512]:
    race_distances(n)
