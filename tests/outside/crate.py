"""The record of a commission: its chain by another BLAKE3, its export by the public validator of Process Run Crates.

The validator is roc-validator. It asks the network for the context of RO-Crate 1.1; here it gets the copy that the `rocrate`
package carries, out of the validator's own cache, and is told to stay offline.
"""

import io
import json
import os
import pathlib
import shutil
import subprocess
import sys

import blake3
import requests
import requests_cache
import rocrate
import trimesh
import urllib3
from requests.adapters import BaseAdapter

import jobs

CONTEXT = "https://w3id.org/ro/crate/1.1/context"
PROFILE = "process-run-crate-0.5"
COMMISSION = "OUTSIDE-crate"


def check(tally, scratch):
    """Runs a job, records what people do with it, and looks at ledger and export."""
    runs = scratch / "runs"
    ball = trimesh.creation.icosphere(subdivisions=3, radius=30.0)
    code, said = jobs.run(jobs.write(scratch / "jobs", "crate", ball), runs)
    tally.check(code in (0, 1), f"crate: exit code {code}")
    run = pathlib.Path(said["run"])
    program("note", COMMISSION, "für das Café “½”", "--by", "Ada", "--into", runs)
    program("choose", run, "--why", "it is round")
    program("order", run, "--bureau", "Bureau One", "--price", "31.20 EUR", "--despite", "a trial")
    program("deliver", run, "--to", "the library")
    check_chain(tally, runs / COMMISSION)
    check_export(tally, scratch, runs / COMMISSION)


def program(*arguments, **environment):
    """Runs the program; gives what it prints."""
    environment = {**os.environ, **environment}
    return subprocess.run([jobs.PROGRAM, *arguments], check=True, capture_output=True, text=True, encoding="utf-8", env=environment).stdout


def digest(data):
    """BLAKE3 in hexadecimal."""
    return blake3.blake3(data).hexdigest()


def check_chain(tally, commission):
    """Every line carries the digest of its own bytes and of the line before; every file has the digest that a line says."""
    before, files, lines = "0" * 64, {}, 0
    for segment in sorted((commission / "ledger").glob("*.jsonl")):
        for line in segment.read_bytes().splitlines():
            entry = json.loads(line)
            content = line[: line.rindex(b',"digest":"')]
            lines += 1
            if (entry["seq"], entry["prev"], entry["digest"]) != (lines, before, digest(content)):
                tally.check(False, f"crate: entry {lines} is chained to the one before")
            before = entry["digest"]
            for deed in entry["deed"].values():
                folder = commission / deed["run"] if "run" in deed else commission / "nights" / deed.get("night", "")
                files |= {folder / file["name"]: file["blake3"] for file in deed.get("files", [])}
                files |= {commission / "inputs" / file["kept"]: file["blake3"] for file in deed.get("inputs", [])}
    tally.check(lines > 0, f"crate: {lines} entries are chained by the digests that PyPI's blake3 finds")
    same = [digest(path.read_bytes()) == told for path, told in files.items()]
    tally.check(same and all(same), f"crate: {len(same)} files have the digests that entries say")
    last = json.loads(program("verify", commission, "--head", before, "--json"))
    tally.check(last["whole"] and last["head"] == before, "crate: verify finds the commission whole, with the same head")


def check_export(tally, scratch, commission):
    """The validator takes the export, and not one that lacks a file; the same record gives the same bytes."""
    places = [scratch / "crate" / place / COMMISSION for place in ("one", "other")]
    shutil.rmtree(scratch / "crate", ignore_errors=True)
    for place, zone in zip(places, ("UTC", "Asia/Kathmandu"), strict=True):
        place.parent.mkdir(parents=True)
        program("export", commission, "--to", place, "--by", "Studio Kestrel", TZ=zone, LC_ALL="C")
    one, other = places
    names = sorted(path.relative_to(one) for path in one.rglob("*") if path.is_file())
    tally.check(
        names == sorted(path.relative_to(other) for path in other.rglob("*") if path.is_file())
        and all((one / name).read_bytes() == (other / name).read_bytes() for name in names),
        f"crate: two exports of {len(names)} files have the same bytes in two time zones",
    )
    cache = warmed_cache(scratch)
    issues = validate(scratch, one, cache)
    tally.check(issues == [], f"crate: roc-validator takes the export as {PROFILE}: {issues}")

    described = json.loads((one / "ro-crate-metadata.json").read_text(encoding="utf-8"))["@graph"]
    files = [entity for entity in described if entity["@type"] == "File"]
    told = all(entity["identifier"] == "blake3:" + digest((one / entity["@id"]).read_bytes()) for entity in files)
    tally.check(told and len(files) + 3 == len(names), f"crate: its description tells the digests of all {len(files)} files")

    page = (one / "ro-crate-preview.html").read_bytes()
    tally.check(
        page == (one / "commission.html").read_bytes() and b"Bureau One" in page and b"the library" in page,
        "crate: its page for people tells order and delivery, under both names",
    )

    lost = next(other / entity["@id"] for entity in files if entity["@id"].endswith(".3mf"))
    lost.unlink()
    issues = validate(scratch, other, cache)
    tally.check(issues != [], "crate: roc-validator refuses an export that lacks a file")


def validate(scratch, crate, cache):
    """What the validator finds against the requirements of the profile."""
    report = scratch / "crate" / "report.json"
    program = pathlib.Path(sys.executable).with_name("rocrate-validator")
    command = [program, "--no-interactive", "validate", crate]
    command += ["--profile-identifier", PROFILE, "--requirement-severity", "required", "--no-paging"]
    command += ["--offline", "--cache-path", cache, "--output-format", "json", "--output-file", report]
    report.unlink(missing_ok=True)
    done = subprocess.run(command, check=False, capture_output=True)
    found = json.loads(report.read_text(encoding="utf-8"))
    issues = [issue["message"] for issue in found["issues"]]
    # Exit code 0 is "valid", 1 "not valid"; anything else is an error of the validator.
    assert done.returncode == (1 if issues else 0) and found["passed"] == (not issues), done.stdout
    return issues


class Kept(BaseAdapter):
    """Answers every request with the same document."""

    def __init__(self, document):
        super().__init__()
        self._document = document

    def send(self, request, **_):
        """The document, as a server would send it."""
        answer = requests.Response()
        answer.status_code, answer.url, answer.request = 200, request.url, request
        answer.headers["Content-Type"] = "application/ld+json"
        body = io.BytesIO(self._document)
        answer.raw = urllib3.HTTPResponse(body=body, headers=answer.headers, status=200, preload_content=False)
        return answer

    def close(self):
        """Nothing is open."""


def warmed_cache(scratch):
    """The validator's cache with the context in it; gives its path."""
    document = (pathlib.Path(rocrate.__file__).parent / "data" / "ro-crate.jsonld").read_bytes()
    assert json.loads(document)["@id"] == CONTEXT, "this version of `rocrate` carries another context"
    path = scratch / "crate" / "cache"
    session = requests_cache.CachedSession(cache_name=str(path), backend="sqlite", expire_after=-1)
    session.mount(CONTEXT, Kept(document))
    session.get(CONTEXT).raise_for_status()
    return path
