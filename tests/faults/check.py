"""Does harm and looks at what becomes of the results. `run` calls it: check.py SCRATCH-FOLDER KILLS"""

import os
import pathlib
import random
import shutil
import signal
import subprocess
import sys
import time

import night


class Tally:
    """Counts what held."""

    def __init__(self):
        self.passed = 0
        self.failed = 0

    def holds(self, condition, what):
        """Notes whether it holds."""
        if condition:
            self.passed += 1
        else:
            self.failed += 1
            print(f"FAILED: {what}", flush=True)


def fresh(scratch, name):
    """An empty folder."""
    folder = scratch / name
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    return folder


def expect_whole(tally, into, undisturbed, what):
    """The results are those of an undisturbed night, and the record holds."""
    seen = night.digests(into)
    other = sorted(name for name in seen.keys() | undisturbed.keys() if seen.get(name) != undisturbed.get(name))
    tally.holds(not other, f"{what}: the results are the same bytes as undisturbed, but for {other}")
    verified = night.verify(into)
    tally.holds(verified.returncode == 0, f"{what}: the record verifies\n{verified.stdout}{verified.stderr}")
    deeds = [entry["deed"] for entry in night.entries(into)]
    runs = [deed["run"]["run"] for deed in deeds if "run" in deed]
    tally.holds(sorted(runs) == sorted(set(runs)), f"{what}: one entry a run, not {len(runs)}")
    tally.holds(len(set(runs)) == night.VARIANTS, f"{what}: an entry for each run")
    leftovers = list((into / ".unfinished").glob("*")) if (into / ".unfinished").exists() else []
    leftovers += list((into / ".store" / "unfinished").glob("*"))
    tally.holds(not leftovers, f"{what}: nothing unfinished is left: {leftovers}")


def kills(tally, scratch, job, undisturbed, seconds, count):
    """SIGKILL at random moments, then a run to the end; several kills on the way to each end."""
    rng = random.Random(2027)
    done, round_ = 0, 0
    while done < count:
        into = fresh(scratch, "kills")
        round_ += 1
        # Some nights are killed once, others again and again before they come to their end.
        for _ in range(min(rng.choice([1, 2, 5, 10]), count - done)):
            process = subprocess.Popen(
                night.command(job, into, "--quiet"), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
            )
            try:
                process.wait(timeout=rng.uniform(0.0, seconds))
            except subprocess.TimeoutExpired:
                process.send_signal(signal.SIGKILL)
            said = process.communicate()[1]
            done += 1
            tally.holds("damaged" not in said and "set aside" not in said, f"kill {done}: nothing is damaged\n{said}")
            tally.holds(process.returncode in (0, 1, -signal.SIGKILL), f"kill {done}: ends by itself only well\n{said}")
        ended = night.run(job, into)
        tally.holds(ended.returncode in (0, 1), f"night {round_}: goes on to its end\n{ended.stderr}")
        tally.holds("aside" not in ended.stderr, f"night {round_}: no entry is damaged\n{ended.stderr}")
        expect_whole(tally, into, undisturbed, f"night {round_} after kills")
    print(f"  {done} kills in {round_} nights", flush=True)


def stops(tally, scratch, job, undisturbed, seconds):
    """SIGINT and SIGTERM: an end within seconds, the code of what can go on, and the words for it."""
    for ask in (signal.SIGINT, signal.SIGTERM):
        into = fresh(scratch, "stops")
        process = subprocess.Popen(night.command(job, into), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        time.sleep(seconds / 3)
        begun = time.monotonic()
        process.send_signal(ask)
        said = "".join(process.communicate(timeout=60))
        took = time.monotonic() - begun
        tally.holds(process.returncode == 75, f"{ask.name}: exit code {process.returncode}\n{said}")
        tally.holds(took < 10, f"{ask.name}: ends within 10 s, not {took:.1f} s")
        tally.holds("goes on from there" in said, f"{ask.name}: says how to go on\n{said}")
        night.run(job, into)
        expect_whole(tally, into, undisturbed, f"after {ask.name}")


def racing(tally, scratch, job, undisturbed):
    """Four programs at once on one store and one ledger; then one that is stopped for a while beside another."""
    into = fresh(scratch, "racing")
    crowd = [
        subprocess.Popen(night.command(job, into, "--quiet"), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        for _ in range(4)
    ]
    codes = [process.wait() for process in crowd]
    tally.holds(all(code in (0, 1) for code in codes), f"four at once end well: {codes}")
    tally.holds(night.digests(into) == undisturbed, "four at once: the same bytes")
    tally.holds(night.verify(into).returncode == 0, "four at once: the record verifies")

    into = fresh(scratch, "racing")
    first = subprocess.Popen(night.command(job, into, "--quiet"), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    time.sleep(0.3)
    first.send_signal(signal.SIGSTOP)
    second = night.run(job, into)
    first.send_signal(signal.SIGCONT)
    tally.holds(second.returncode in (0, 1) and first.wait() in (0, 1), "one stopped and one running both end well")
    tally.holds(night.digests(into) == undisturbed, "one stopped and one running: the same bytes")
    tally.holds(night.verify(into).returncode == 0, "one stopped and one running: the record verifies")


def shares(tally, scratch, job, undisturbed):
    """Three shares at once, then the page: the same bytes as in one go."""
    into = fresh(scratch, "shares")
    crowd = [
        subprocess.Popen(night.command(job, into, "--quiet", "--share", f"{part}/3"), stderr=subprocess.DEVNULL)
        for part in (1, 2, 3)
    ]
    tally.holds(all(process.wait() in (0, 1) for process in crowd), "three shares end well")
    drawn = subprocess.run([str(night.PROGRAM), "compare", str(job), "--into", str(into)], capture_output=True, check=False)
    tally.holds(drawn.returncode == 0, "the page of three shares is drawn")
    expect_whole(tally, into, undisturbed, "three shares")


def damage(tally, scratch, job, undisturbed):
    """Files of the store flipped, cut, emptied, zeroed: set aside, told, made again."""
    rng = random.Random(7)
    harms = {
        "flipped": lambda data: flipped(data, rng),
        "cut": lambda data: data[: len(data) // 2],
        "emptied": lambda data: b"",
        "zeroed": lambda data: bytes(len(data)),
    }
    whole = fresh(scratch, "whole")
    night.run(job, whole)
    for name, harm in harms.items():
        for kind in ("results", "files"):
            into = fresh(scratch, "damage")
            # The store alone: every run folder is put together anew from it. A copy, for links would harm the whole one.
            shutil.copytree(whole / ".store", into / ".store")
            victims = rng.sample(sorted(path for path in (into / ".store" / kind).rglob("*") if path.is_file()), 3)
            for victim in victims:
                data = victim.read_bytes()
                victim.chmod(0o644)
                victim.write_bytes(harm(data))
                victim.chmod(0o444)
            ended = night.run(job, into)
            tally.holds(ended.returncode in (0, 1), f"{kind} {name}: the night ends well\n{ended.stderr}")
            # A part of a result that nobody needs is not read, and its damage not met.
            least = 1 if (kind, name) in (("results", "flipped"), ("results", "zeroed")) else 3
            told = ended.stderr.count("aside")
            tally.holds(told >= least, f"{kind} {name}: told what was set aside\n{ended.stderr}")
            expect_whole(tally, into, undisturbed, f"{kind} {name}")


def flipped(data, rng):
    """One bit, anywhere."""
    data = bytearray(data)
    data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    return bytes(data)


def ledger(tally, scratch, job, undisturbed):
    """A ledger that was cut within a line: nothing is made, nothing is lost, and it is said where."""
    into = fresh(scratch, "ledger")
    night.run(job, into)
    segment = sorted((into / "FAULTS-1" / "ledger").glob("*.jsonl"))[-1]
    data = segment.read_bytes()
    segment.chmod(0o644)
    segment.write_bytes(data[: len(data) - 40])
    verified = night.verify(into)
    tally.holds(verified.returncode == 1 and segment.name in verified.stdout + verified.stderr, "a cut ledger is told")
    ended = night.run(job, into)
    tally.holds(ended.returncode == 3 and segment.name in ended.stderr, f"a cut ledger stops the night\n{ended.stderr}")
    segment.write_bytes(data)
    night.run(job, into)
    expect_whole(tally, into, undisturbed, "a ledger that was put back")


def clock(tally, scratch, job):
    """A clock that goes backwards, by faketime where it is there: the entries stand in order, and it is noted."""
    if not shutil.which("faketime"):
        print("  faketime is not here: the clock is left alone", flush=True)
        return
    into = fresh(scratch, "clock")
    night.run(job, into)
    noted = subprocess.run(
        ["faketime", "2001-02-03 04:05:06", str(night.PROGRAM), "note", "FAULTS-1", "from the past", "--into", str(into)],
        capture_output=True, text=True, check=False,
    )
    tally.holds(noted.returncode == 0, f"a note from the past is taken\n{noted.stderr}")
    verified = night.verify(into)
    said = verified.stdout + verified.stderr
    tally.holds(verified.returncode == 0 and "backwards" in said, f"the clock is noted\n{said}")


def may_mount(scratch):
    """Whether a tmpfs can be mounted: by root on Linux, and not in every container."""
    if os.geteuid() != 0 or sys.platform != "linux":
        return False
    folder = fresh(scratch, "mount")
    mounted = subprocess.run(["mount", "-t", "tmpfs", "tmpfs", str(folder)], capture_output=True, check=False)
    if mounted.returncode == 0:
        subprocess.run(["umount", str(folder)], check=True)
    return mounted.returncode == 0


def full_disk(tally, scratch, job, undisturbed):
    """A small tmpfs that fills up, and grows: a clear end, nothing wrong published, and the rest made then."""
    if not may_mount(scratch):
        print("  mounting is not permitted here: no small tmpfs, no read-only mount", flush=True)
        return
    for options, more in (("size=2m", "size=64m"), ("nr_inodes=80", "nr_inodes=20000")):
        into = fresh(scratch, "tmpfs")
        subprocess.run(["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(into)], check=True)
        try:
            ended = night.run(job, into)
            tally.holds(ended.returncode == 3, f"{options}: exit code {ended.returncode}\n{ended.stderr}")
            tally.holds("No space left" in ended.stderr, f"{options}: says why\n{ended.stderr}")
            tally.holds("room" in ended.stderr, f"{options}: says what to do\n{ended.stderr}")
            whole = {name: undisturbed.get(name) for name in night.digests(into)}
            published = {name: seen for name, seen in night.digests(into).items() if "nights" not in name}
            same = all(whole[name] == seen for name, seen in published.items())
            tally.holds(same, f"{options}: what was published is whole")
            subprocess.run(["mount", "-o", f"remount,{more}", str(into)], check=True)
            ended = night.run(job, into)
            tally.holds(ended.returncode in (0, 1), f"{options}: goes on with more room\n{ended.stderr}")
            expect_whole(tally, into, undisturbed, options)
        finally:
            subprocess.run(["umount", str(into)], check=True)


def read_only(tally, scratch, job):
    """A folder that may not be written: a clear end."""
    if not may_mount(scratch):
        return
    into = fresh(scratch, "read-only")
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64m", "tmpfs", str(into)], check=True)
    try:
        subprocess.run(["mount", "-o", "remount,ro", str(into)], check=True)
        ended = night.run(job, into)
        tally.holds(ended.returncode == 3, f"read-only: exit code {ended.returncode}\n{ended.stderr}")
        tally.holds("--into" in ended.stderr, f"read-only: says what to do\n{ended.stderr}")
        tally.holds(not any(into.iterdir()), "read-only: nothing is there")
        # A store that may be read and not written, beside runs that may.
        subprocess.run(["mount", "-o", "remount,rw", str(into)], check=True)
        night.run(job, into)
        subprocess.run(["mount", "-o", "remount,ro", str(into)], check=True)
        elsewhere = fresh(scratch, "elsewhere")
        ended = night.run(job, elsewhere, "--store", str(into / ".store"))
        tally.holds(ended.returncode in (0, 1, 3), f"a read-only store: no panic\n{ended.stderr}")
        tally.holds("panicked" not in ended.stderr, f"a read-only store: no panic\n{ended.stderr}")
    finally:
        subprocess.run(["umount", str(into)], check=True)


def same_bytes(tally, scratch, job, undisturbed):
    """Threads, folders, zones, locales, dates: the same bytes."""
    for number, (threads, zone, locale) in enumerate(
        [("1", "UTC", "C"), ("2", "Asia/Kathmandu", "de_DE.UTF-8"), ("3", "America/St_Johns", "tr_TR.UTF-8"), ("8", "", "C.UTF-8")]
    ):
        into = fresh(scratch, f"place {number}/deep")
        surroundings = dict(os.environ, TZ=zone, LC_ALL=locale, SOURCE_DATE_EPOCH=str(number))
        ended = night.run(job, into, "--threads", threads, env=surroundings, cwd=into)
        tally.holds(ended.returncode in (0, 1), f"{threads} threads: {ended.stderr}")
        tally.holds(night.digests(into) == undisturbed, f"{threads} threads, {zone}, {locale}: the same bytes")


def main():
    """All of it; gives the exit code."""
    scratch, count = pathlib.Path(sys.argv[1]).resolve(), int(sys.argv[2])
    tally = Tally()
    fresh(scratch, "jobs")
    job = night.job(scratch / "jobs")
    into = fresh(scratch, "undisturbed")
    begun = time.monotonic()
    ended = night.run(job, into)
    seconds = time.monotonic() - begun
    undisturbed = night.digests(into)
    tally.holds(ended.returncode in (0, 1), f"an undisturbed night ends well\n{ended.stdout}{ended.stderr}")
    expect_whole(tally, into, undisturbed, "undisturbed")
    print(f"an undisturbed night takes {seconds:.2f} s", flush=True)
    parts = [
        ("same bytes", lambda: same_bytes(tally, scratch, job, undisturbed)),
        ("stops", lambda: stops(tally, scratch, job, undisturbed, seconds)),
        ("kills", lambda: kills(tally, scratch, job, undisturbed, seconds, count)),
        ("racing", lambda: racing(tally, scratch, job, undisturbed)),
        ("shares", lambda: shares(tally, scratch, job, undisturbed)),
        ("damage", lambda: damage(tally, scratch, job, undisturbed)),
        ("ledger", lambda: ledger(tally, scratch, job, undisturbed)),
        ("clock", lambda: clock(tally, scratch, job)),
        ("full disk", lambda: full_disk(tally, scratch, job, undisturbed)),
        ("read-only", lambda: read_only(tally, scratch, job)),
    ]
    for name, part in parts:
        begun, failed = time.monotonic(), tally.failed
        part()
        print(f"{name}: {'ok' if tally.failed == failed else 'FAILED'} in {time.monotonic() - begun:.1f} s", flush=True)
    print(f"{tally.passed} passed, {tally.failed} failed")
    return 1 if tally.failed else 0


if __name__ == "__main__":
    sys.exit(main())
