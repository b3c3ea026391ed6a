"""Sends a small night through a queue and over ssh, and looks at what becomes of it. `run` calls it, with Slurm and the ssh
server started: check.py SCRATCH-FOLDER"""

import collections
import json
import os
import pathlib
import signal
import subprocess
import sys
import time

sys.path.insert(0, str(pathlib.Path("tests/faults").resolve()))
import night  # noqa: E402

PROGRAM = pathlib.Path(os.environ["TURNHUE"]).resolve()
night.PROGRAM = PROGRAM
BATCH = pathlib.Path("jobs/cluster").resolve()
# Seconds after which what is waited for counts as never coming; on an idle machine it takes a few.
PATIENCE = 120


class Tally:
    """Counts what held, with a line for each."""

    def __init__(self):
        self.passed = 0
        self.failed = 0

    def holds(self, condition, what, details=""):
        """Notes whether it holds, and where not, what was seen."""
        if condition:
            self.passed += 1
            print(f"ok: {what}", flush=True)
        else:
            self.failed += 1
            print(f"FAILED: {what}\n{details}", flush=True)


def wait_for(look):
    """What `look` gives, as soon as it gives something; nothing if it never does."""
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        seen = look()
        if seen:
            return seen
        time.sleep(0.02)
    return None


def programs(into, share):
    """The process numbers of the programs that make this share now, and are ready for a signal."""
    found = set()
    for folder in pathlib.Path("/proc").glob("[0-9]*"):
        try:
            words = (folder / "cmdline").read_text().split("\0")
            caught = int((folder / "status").read_text().split("SigCgt:")[1].split()[0], 16)
        except (OSError, IndexError, UnicodeDecodeError):
            continue
        if words[0] == str(PROGRAM) and str(into) in words and share in words and caught >> (signal.SIGTERM - 1) & 1:
            found.add(int(folder.name))
    return found


def results_of(into):
    """The keys of the results that the store holds now."""
    return {path.name for path in (into / ".store/results").glob("*/*")}


def on_its_way(into, share):
    """Waits until a share runs and the night has some results; the numbers of its programs."""
    return wait_for(lambda: len(results_of(into)) >= 3 and programs(into, share))


def run_entries(into):
    """The runs of the ledger."""
    return [entry["deed"]["run"] for entry in night.entries(into) if "run" in entry["deed"]]


def expect_whole(tally, into, alone, what):
    """Every file of runs, page and inputs is that of one program alone, and the record holds."""
    seen = night.digests(into)
    other = sorted(name for name in seen.keys() | alone.keys() if seen.get(name) != alone.get(name))
    tally.holds(not other, f"{what}: {len(seen)} files are the same bytes as made by one program alone", other[:9])
    verified = night.verify(into)
    tally.holds(verified.returncode == 0, f"{what}: the record verifies", verified.stdout + verified.stderr)
    runs = [run["run"] for run in run_entries(into)]
    tally.holds(len(runs) == len(set(runs)) == night.VARIANTS, f"{what}: one entry for each of the runs", runs)


def expect_found(tally, job, into, what):
    """One program finds in the store of the shares all that it needs."""
    elsewhere = into.parent / "again"
    ended = night.run(job, elsewhere, "--store", str(into / ".store"))
    sources = collections.Counter(stage["from"] for run in run_entries(elsewhere) for stage in run["stages"])
    tally.holds(set(sources) == {"store"}, f"{what}: a night elsewhere finds all in the store: {dict(sources)}", ended.stderr)


def expect_not_made_again(tally, job, into, share, before, what):
    """A share that was ended on its way took what the store held by then, and what it put into the ledger stayed."""
    kept, entries = before
    listed = json.loads(night.run(job, into, "--share", share, "--json").stdout)
    part = {pathlib.Path(variant["run"]).name for variant in listed["variants"]}
    later = [run for run in run_entries(into)[entries:] if run["run"] in part]
    again = [(run["run"], stage["name"]) for run in later for stage in run["stages"]
             if stage["key"] in kept and stage["from"] == "made"]
    taken = sum(stage["key"] in kept for run in later for stage in run["stages"])
    words = f"{what}: of {len(kept)} results that were there, none was made again: taken for {taken} stages"
    tally.holds(taken and not again, words, again)


def state_of(into):
    """What a second go must leave as it is: the runs of the ledger, and every file of the store."""
    store = sorted((str(path), path.stat().st_mtime_ns) for path in (into / ".store").rglob("*") if path.is_file())
    return [run["run"] for run in run_entries(into)], store


def submit(job, into, shares):
    """Sends a night; the number of its array. What the jobs say is written beside the runs."""
    words = [str(BATCH / "submit"), str(shares), "--mem=512M", "--time=10", str(job), "--into", str(into)]
    return subprocess.run(words, cwd=into.parent, capture_output=True, text=True, check=True).stdout.strip()


def queue_ends():
    """Waits until nothing is queued or runs."""
    return wait_for(lambda: not subprocess.run(["squeue", "-h"], capture_output=True, text=True, check=True).stdout)


def shares_of(array):
    """How the shares of an array ended: state, and how often each was queued again."""
    shown = subprocess.run(["scontrol", "-o", "show", "job", array], capture_output=True, text=True, check=True).stdout
    ends = {}
    for line in shown.splitlines():
        facts = dict(fact.split("=", 1) for fact in line.split() if "=" in fact)
        ends[facts["ArrayTaskId"]] = (facts["JobState"], int(facts["Restarts"]))
    return ends


def words_of(into):
    """What the jobs said."""
    return "".join(f"{path.name}:\n{path.read_text()}" for path in sorted(into.parent.glob("*.out")))


def slurm(tally, scratch, job, alone):
    """Three shares and the page as jobs of a queue, one of them stopped on its way as a time limit does."""
    into = fresh(scratch / "queued") / "runs"
    array = submit(job, into, 3)
    tally.holds(on_its_way(into, "1/3"), "Slurm: the shares begin", words_of(into))
    subprocess.run(["scancel", "--signal=TERM", "--batch", f"{array}_1"], check=True)
    tally.holds(wait_for(lambda: shares_of(array)["1"][1] == 1), "Slurm: the share that is asked to end is queued again")
    before = results_of(into), len(run_entries(into))
    tally.holds(queue_ends(), "Slurm: the queue comes to its end", words_of(into))
    ends = shares_of(array)
    tally.holds(ends.get("1") == ("COMPLETED", 1), "Slurm: the share that was queued again ends", ends)
    tally.holds(ends.get("2") == ends.get("3") == ("COMPLETED", 0), "Slurm: the others ended undisturbed", ends)
    expect_whole(tally, into, alone, "Slurm")
    expect_not_made_again(tally, job, into, "1/3", before, "Slurm")
    expect_found(tally, job, into, "Slurm")

    before = state_of(into)
    array = submit(job, into, 3)
    ended = queue_ends() and all(end == ("COMPLETED", 0) for end in shares_of(array).values())
    tally.holds(ended and state_of(into) == before, "Slurm: sent again, nothing is added", words_of(into))
    expect_whole(tally, into, alone, "Slurm, sent again")


def cancelled(tally, scratch, job, alone):
    """A share that its owner cancels stays cancelled; sent again, the night goes on from there."""
    into = fresh(scratch / "cancelled") / "runs"
    array = submit(job, into, 1)
    tally.holds(on_its_way(into, "1/1"), "cancelled: the share begins", words_of(into))
    subprocess.run(["scancel", array], check=True)
    queue_ends()
    ends = shares_of(array)
    tally.holds(ends == {"1": ("CANCELLED", 0)}, "cancelled: the share is not queued again", ends)
    array = submit(job, into, 1)
    queue_ends()
    tally.holds(shares_of(array) == {"1": ("COMPLETED", 0)}, "cancelled: sent again, it ends", words_of(into))
    expect_whole(tally, into, alone, "cancelled and sent again")


def over_ssh(job, into, shares, hosts, config):
    """Starts a night over ssh."""
    logins = ",".join(f"ssh -F {config} {host}" for host in hosts)
    words = [str(BATCH / "over-ssh"), str(shares), logins, str(job.parent), job.name, "--into", str(into)]
    return subprocess.Popen(words, cwd=into.parent, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)


def ssh(tally, scratch, job, alone):
    """Four shares on two hosts, one of the programs there killed on its way."""
    config = scratch / "ssh/config"
    into = fresh(scratch / "over-ssh") / "runs"
    night_there = over_ssh(job, into, 4, ["first", "second"], config)
    killed = on_its_way(into, "2/4") or set()
    before = results_of(into), len(run_entries(into))
    for process in killed:
        os.kill(process, signal.SIGKILL)
    again = wait_for(lambda: programs(into, "2/4") - killed or night_there.poll() is not None)
    said = night_there.communicate(timeout=PATIENCE)[0]
    tally.holds(len(killed) == 1 and isinstance(again, set), "ssh: the share whose program was killed is run again", said)
    tally.holds(night_there.returncode in (0, 1), f"ssh: the night ends with code {night_there.returncode}", said)
    log = (into.parent / "night-over-ssh.log").read_text().splitlines()[1:]
    hosts = {line.split("\t")[1] for line in log}
    tally.holds(len(log) == 4 and len(hosts) == 2, "ssh: four shares on two hosts", "\n".join(log))
    expect_whole(tally, into, alone, "ssh")
    expect_not_made_again(tally, job, into, "2/4", before, "ssh")
    expect_found(tally, job, into, "ssh")

    before = state_of(into)
    night_there = over_ssh(job, into, 4, ["first", "nowhere"], config)
    said = night_there.communicate(timeout=PATIENCE)[0]
    unchanged = night_there.returncode in (0, 1) and state_of(into) == before
    tally.holds(unchanged, "ssh: started again with a host that is not reached, nothing is added", said)
    expect_whole(tally, into, alone, "ssh, started again")

    for what, file, hosts, code in (
        ("a job that is not there", job.with_name("none.yaml"), ["first"], 2),
        ("no host that is reached", job, ["nowhere"], 3),
    ):
        night_there = over_ssh(file, into, 2, hosts, config)
        said = night_there.communicate(timeout=PATIENCE)[0]
        tally.holds(night_there.returncode == code, f"ssh: {what}: exit code {night_there.returncode}", said)


def fresh(folder):
    """Makes a folder that was not there."""
    folder.mkdir(parents=True)
    return folder


def main():
    """All of it; gives the exit code."""
    scratch = pathlib.Path(sys.argv[1]).resolve()
    tally = Tally()
    job = night.job(fresh(scratch / "jobs"))
    ended = night.run(job, scratch / "alone")
    tally.holds(ended.returncode in (0, 1), "a night by one program alone ends well", ended.stdout + ended.stderr)
    alone = night.digests(scratch / "alone")
    for part in (slurm, cancelled, ssh):
        begun = time.monotonic()
        part(tally, scratch, job, alone)
        print(f"  {part.__name__} took {time.monotonic() - begun:.1f} s", flush=True)
    print(f"{tally.passed} passed, {tally.failed} failed")
    return 1 if tally.failed else 0


if __name__ == "__main__":
    sys.exit(main())
