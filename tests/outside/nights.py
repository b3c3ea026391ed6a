"""The files of a night, read back by Python's csv and json, and what nothing beats found from them by the definition."""

import csv
import json
import subprocess

import jobs

VARIANTS = 60


def check(tally, scratch):
    """Draws a night of the runs of the demo, repeated, and compares its two tables and its front."""
    folder = next(iter(sorted((scratch / "runs").glob("**/run.json")))).parent.parent
    drawn = subprocess.run(
        ["cargo", "run", "--release", "--quiet", "-p", "turnhue-reports", "--example", "night", "--", folder, str(VARIANTS)],
        cwd=jobs.ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    compare(tally, drawn.stdout.strip())


def compare(tally, page):
    """Compares what stands beside the page."""
    beside = page.rsplit("/", 1)[0]
    with open(f"{beside}/table.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file, strict=True))
    with open(f"{beside}/night.json", encoding="utf-8") as file:
        night = json.load(file)
    variants = night["variants"]
    tally.check(
        len(rows) == len(variants) and all(None not in row and None not in row.values() for row in rows),
        f"night: Python's csv reads {len(rows)} rows, json {len(variants)}",
    )
    same = all(
        row["variant"].removeprefix("'") == variant["variant"]
        and row["price"] == variant.get("price", {}).get("amount", "")
        and all(float(row[name]) == value for name, value in variant["figures"].items())
        for row, variant in zip(rows, variants)
    )
    tally.check(same, "night: both have the same names, prices and figures")
    formulas = [cell for row in rows for cell in row.values() if cell[:1] in "=@" and cell]
    tally.check(not formulas, f"night: {len(formulas)} cells begin like a formula")
    for name in ("legibility", "likeness"):
        front(tally, rows, name)


def front(tally, rows, name):
    """No other without faults is at least as good in both and better in one."""
    column = f"{name}_percent"
    known = [row for row in rows if row["price"] and row[column] and row["outcome"] not in ("has-faults", "failed")]
    points = [(float(row["price"]), float(row[column])) for row in known]

    def beaten(price, value):
        return any(p <= price and v >= value and (p < price or v > value) for p, v in points)

    own = {row["variant"] for row, point in zip(known, points) if not beaten(*point)}
    told = {row["variant"] for row in rows if row[f"unbeaten_{name}"] == "yes"}
    tally.check(own == told, f"night: {len(told)} variants that nothing beats in {name}, {len(own)} by the definition")
