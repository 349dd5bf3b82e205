"""Everything around the tool that can fail, made to fail while the real command runs; one table of what became of it.

    python tests/reliability/faults.py [WORD] [--keep FILE]

Each fault is a function here: it breaks something under ``surefoot``, run as a process, and holds what follows to four
things: one clear message and no traceback, the right outcome in the journal, the unit at stock (or told), and the exit
code that is documented. ``WORD``: only those whose name has it.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fault_bench import FaultBench, can_mount, fill, mounted, outcomes, until
from table import Counted, keep, print_table

from surefoot.journal import Journal, schema
from surefoot.runs import Outcome

Fault = Callable[[Path], None]


class Skipped(Exception):
    """Cannot be tried here."""


@dataclass(frozen=True)
class Kind:
    """A fault: its name, how it is tried, whether it takes more than a few seconds."""

    name: str
    try_: Fault
    slow: bool


FAULTS: dict[str, Kind] = {}


def fault(name: str, *, slow: bool = False) -> Callable[[Fault], Fault]:
    """Put a fault in the table."""

    def keep(made: Fault) -> Fault:
        FAULTS[name] = Kind(name, made, slow)
        return made

    return keep


def small_disk(top: Path, megabytes: int = 8) -> AbstractContextManager[Path]:
    """A disk of its own that can be filled."""
    if not can_mount():
        raise Skipped("needs the right to mount")
    return mounted(top / "disk", "-o", f"size={megabytes}m")


# Disk full


@fault("disk full at a heartbeat", slow=True)
def _(top: Path) -> None:
    with small_disk(top) as disk:
        bench = FaultBench(top, home=disk)
        process = bench.start(*bench.measure(minutes=60), speed=30)
        before = bench.beats(2)
        fill(disk)
        done = bench.ended(process)
        assert done.returncode == 3 and "the disk is full" in done.stderr, done.stderr
        (run,) = bench.runs()
        assert run.outcome is Outcome.VOID and run.heartbeats >= before.heartbeats and bench.offset == 0
        (disk / "ballast").unlink()
        bench.goes_on()


@fault("disk full as a failed run is closed")
def _(top: Path) -> None:
    with small_disk(top) as disk:
        bench = FaultBench(top, home=disk, load='while [ ! -e "$0/fail" ]; do sleep 0.02; done; exit 5')
        process = bench.start(*bench.measure(minutes=60), speed=2)
        until(lambda: bool(bench.runs()) and bench.offset == -20)
        time.sleep(0.5)
        fill(disk)
        (top / "fail").touch()
        done = bench.ended(process)
        (run,) = bench.runs()
        assert run.outcome is Outcome.MISCOMPUTE, f"the failure is lost: {outcomes([run])}, {done.stderr}"
        assert bench.offset == 0 and done.returncode in (1, 3)
        (disk / "ballast").unlink()
        bench.well()


@fault("disk full at an import, a bundle, a backup, a page")
def _(top: Path) -> None:
    with small_disk(top) as disk:
        bench = FaultBench(top, home=disk)
        log = top / "log.csv"
        rows = [f"2026-11-01 10:{at // 60 % 60:02}:{at % 60:02},{50 + at % 9}.{at % 10}" for at in range(3000)]
        log.write_text("Time,CPU Temperature [°C]\n" + "\n".join(rows), encoding="utf-8")
        wanted = ["trace", "import", str(log), "--unit", "box", "--yes", "--sure"]
        fill(disk)
        done = bench.do(*wanted)
        assert done.returncode == 3 and "full" in done.stderr, done.stderr
        assert bench.runs() == [] and not (disk / "work").exists()
        for command in (
            ["bundle", "save", "box", str(disk / "box.bundle")],
            ["journal", "backup", str(disk / "copy.sqlite")],
            ["report", "box", "--out", str(disk / "page.html")],
        ):
            done = bench.do(*command)
            assert done.returncode in (2, 3) and done.stderr.strip(), (command, done.stderr)
            assert not Path(command[-1]).exists()
        left = {path.name for path in disk.iterdir()}
        assert not [name for name in left if name.startswith(".") or "part" in name], left
        (disk / "ballast").unlink()
        assert bench.do(*wanted).returncode == 0
        with Journal.open(disk) as journal:
            assert len(journal.runs("box")) == 3
        bench.well()


@fault("disk full in the middle of an import", slow=True)
def _(top: Path) -> None:
    """Room for some of it only: more each time, until it goes through."""
    chance = random.Random(5)
    names = [f"Core {core} Temperature [°C]" for core in range(6)]
    rows = [
        ",".join([f"2026-11-01 {10 + at // 3600}:{at // 60 % 60:02}:{at % 60:02}"]
                 + [f"{45 + 5 * core + chance.uniform(0, 4):.2f}" for core in range(6)])
        for at in range(6000)
    ]  # fmt: skip
    log = top / "log.csv"
    log.write_text("Time," + ",".join(names) + "\n" + "\n".join(rows), encoding="utf-8")
    wanted = ["trace", "import", str(log), "--unit", "box", "--yes", "--sure"]
    with small_disk(top) as disk:
        bench = FaultBench(top, home=disk)
        before = {path.name for path in disk.iterdir()}
        stopped = 0
        for room in (8, 32, 64, 128, 192, 256, 512, 2048):
            fill(disk, leave=room << 10)
            done = bench.do(*wanted)
            (disk / "ballast").unlink()
            bench.well()
            found = [run for run in bench.runs_and_logs() if run.plan.purpose == "log"]
            if done.returncode == 0:
                with Journal.open(disk) as journal:
                    samples = [len(journal.trace(run.id).seconds) for run in found]
                assert samples == [6000], samples
                break
            stopped += 1
            assert done.returncode == 3 and "the disk is full" in done.stderr and found == [], (room, done.stderr)
            assert {path.name for path in disk.iterdir()} <= before | {"journal.sqlite-wal", "journal.sqlite-shm"}, room
        else:
            raise AssertionError("it never went through")
        assert stopped >= 3, f"it was stopped in the middle {stopped} times only"


@fault("disk full at the first start")
def _(top: Path) -> None:
    with small_disk(top, 3) as disk:
        fill(disk)
        bench_home = dict(os.environ, SUREFOOT_HOME=str(disk))
        run = [sys.executable, "-m", "surefoot", "unit", "list"]
        done = subprocess.run(run, env=bench_home, capture_output=True, text=True, check=False)
        assert done.returncode == 3 and "full" in done.stderr and "Traceback" not in done.stderr, done.stderr
        (disk / "ballast").unlink()
        done = subprocess.run(run, env=bench_home, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        assert {path.name for path in disk.iterdir()} <= {"journal.sqlite", "locks"}


@fault("a limit on the size of files")
def _(top: Path) -> None:
    import resource

    bench = FaultBench(top)
    size = (bench.home / "journal.sqlite").stat().st_size

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))

    done = bench.ended(bench.start(*bench.measure(minutes=30), speed=60, preexec_fn=limit))
    assert done.returncode == 3 and bench.offset == 0, done.stderr
    bench.goes_on()


# The data directory


@fault("read-only data directory")
def _(top: Path) -> None:
    with small_disk(top) as disk:
        bench = FaultBench(top, home=disk)
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        done = bench.do("runs", "box", "--json")
        assert done.returncode == 0 and "only read" in done.stderr, done.stderr
        done = bench.do(*bench.measure())
        assert done.returncode == 3 and bench.offset == 0, done.stderr
        subprocess.run(["mount", "-o", "remount,rw", str(disk)], check=True)
        bench.goes_on()


@fault("data directory taken away in the middle of a run", slow=True)
def _(top: Path) -> None:
    bench = FaultBench(top)
    process = bench.start(*bench.measure(minutes=60), speed=30)
    bench.beats(2)
    before = bench.beats(1).heartbeats
    bench.home.rename(top / "elsewhere")
    done = bench.ended(process)
    assert done.returncode == 3 and "taken away" in done.stderr, done.stderr
    assert bench.offset == 0 and not (bench.home / "journal.sqlite").exists()
    shutil.rmtree(bench.home, ignore_errors=True)
    (top / "elsewhere").rename(bench.home)
    assert bench.runs()[-1].heartbeats >= before
    bench.goes_on()
    assert bench.runs()[0].outcome is Outcome.VOID


@fault("no permission")
def _(top: Path) -> None:
    # The administrator without the right to pass over permissions is a user like any other.
    under = ("setpriv", "--bounding-set=-all", "--inh-caps=-all") if os.geteuid() == 0 else ()
    if under and shutil.which(under[0]) is None:
        raise Skipped("needs setpriv")
    bench = FaultBench(top)
    bench.home.chmod(0)
    try:
        for command in (["runs", "box"], bench.measure(), ["journal", "check"]):
            done = bench.ended(bench.start(*command, under=under))
            assert done.returncode == 3 and "permission" in done.stderr.lower(), done.stderr
    finally:
        bench.home.chmod(0o755)
    assert bench.offset == 0 and bench.runs() == []


@fault("journal on a network")
def _(top: Path) -> None:
    bench = FaultBench(top)
    mounts = top / "mounts"
    mounts.write_text(f"server:/export {top.resolve()} nfs4 rw 0 0\n")
    done = bench.do(*bench.measure(), FAULT_MOUNTS=str(mounts))
    assert done.returncode == 3 and bench.offset == 0 and bench.runs() == [], done.stderr
    done = bench.do("runs", "box", FAULT_MOUNTS=str(mounts))
    assert done.returncode == 0 and "network" in done.stderr, done.stderr
    done = bench.do("check", FAULT_MOUNTS=str(mounts))
    assert done.returncode == 3 and "network" in done.stdout
    done = bench.do("unit", "list", FAULT_MOUNTS=str(mounts), SUREFOOT_HOME=str(top / "new"))
    assert done.returncode == 3 and "network" in done.stderr and not (top / "new" / "journal.sqlite").exists()


@fault("journal on a file system without a log, or in memory")
def _(top: Path) -> None:
    bench = FaultBench(top)
    mounts = top / "mounts"
    for kind, word in (("vfat", "no log"), ("exfat", "no log"), ("tmpfs", "in memory"), ("9p", "shared")):
        mounts.write_text(f"/dev/made-up {top.resolve()} {kind} rw 0 0\n")
        done = bench.do(*bench.measure(minutes=0.1), speed=20, FAULT_MOUNTS=str(mounts))
        said = " ".join(done.stdout.split())
        assert done.returncode == 0 and word in said, (kind, said)
    bench.well()


@fault("journal on a real FAT", slow=True)
def _(top: Path) -> None:
    if shutil.which("mkfs.vfat") is None or not can_mount():
        raise Skipped("needs mkfs.vfat and the right to mount")
    image = top / "image"
    image.write_bytes(b"")
    os.truncate(image, 24 << 20)
    subprocess.run(["mkfs.vfat", str(image)], check=True, capture_output=True)
    try:
        with mounted(top / "fat", "-o", "loop", kind="vfat", what=str(image)) as fat:
            bench = FaultBench(top, home=fat / "home")
            done = bench.do(*bench.measure(minutes=0.1), speed=20)
            assert done.returncode == 0 and "vfat" in done.stdout, done.stdout + done.stderr
            assert bench.do("journal", "backup", str(fat / "copy.sqlite")).returncode == 0
            bench.goes_on()
    except subprocess.CalledProcessError:
        raise Skipped("this kernel mounts no FAT") from None


# Clocks


@fault("clock set days back and forth in a run", slow=True)
def _(top: Path) -> None:
    bench = FaultBench(top)
    for days in (3, -5, 0):
        (bench.knobs / "wall").write_text("0")
        process = bench.start(*bench.measure(minutes=2), speed=20)
        bench.beats(1)
        (bench.knobs / "wall").write_text(str(days * 86400))
        done = bench.ended(process)
        run = bench.runs()[-1]
        assert done.returncode == 0 and run.outcome is Outcome.HELD, (days, run.closing, done.stderr)
        assert 1.9 < run.minutes < 2.2 and bench.offset == 0
    assert bench.do("runs", "box").returncode == 0
    assert bench.do("next", "box").returncode == 0
    bench.goes_on()


@fault("daylight saving in a run")
def _(top: Path) -> None:
    bench = FaultBench(top)
    # 2026-10-25 01:00 UTC: Central Europe's clocks go from 03:00 back to 02:00. Source: Directive 2000/84/EC.
    from datetime import UTC, datetime

    change = datetime(2026, 10, 25, 1, tzinfo=UTC)
    (bench.knobs / "wall").write_text(str((change - datetime.now(UTC)).total_seconds() - 10))
    done = bench.do(*bench.measure(minutes=1), speed=20, TZ="Europe/Berlin")
    (run,) = bench.runs()
    assert done.returncode == 0 and run.outcome is Outcome.HELD and 0.95 < run.minutes < 1.2, (run, done)
    assert run.opened_at.utcoffset() is not None and run.closing is not None
    for zone in ("Europe/Berlin", "America/New_York"):
        assert bench.do("runs", "box", TZ=zone).returncode == 0


@fault("suspended and resumed in a run", slow=True)
def _(top: Path) -> None:
    bench = FaultBench(top)
    process = bench.start(*bench.measure(minutes=60), speed=20)
    bench.beats(1)
    (bench.knobs / "asleep").write_text("28800")
    done = bench.ended(process)
    (run,) = bench.runs()
    assert done.returncode == 1 and run.outcome is Outcome.VOID, (done.stderr, run.closing)
    assert run.closing is not None and "slept" in run.closing.judged_by and run.minutes < 5, "asleep is not under load"
    assert bench.offset == 0
    bench.goes_on()


@fault("the tool stopped and continued in a run", slow=True)
def _(top: Path) -> None:
    bench = FaultBench(top)
    process = bench.start(*bench.measure(minutes=60), speed=20)
    bench.beats(1)
    process.send_signal(signal.SIGSTOP)
    time.sleep(3)
    process.send_signal(signal.SIGCONT)
    done = bench.ended(process)
    (run,) = bench.runs()
    assert done.returncode == 1 and run.outcome is Outcome.VOID and bench.offset == 0, done.stderr
    bench.goes_on()


# Sensors


class Sensor:
    """A log that another program keeps writing."""

    def __init__(self, file: Path) -> None:
        self.file, self.second = file, 0
        file.write_text("Time,CPU Temperature [°C],CPU Package Power [W]\n")
        for _ in range(5):
            self.tell("55.5")

    def tell(self, value: str) -> None:
        self.second += 1
        with self.file.open("a") as out:
            out.write(f"2026-11-01 10:{self.second // 60 % 60:02}:{self.second % 60:02},{value},20.5\n")


def sensor_that(bench: FaultBench, values: Callable[[int], str | None], *, exit_code: int = 1) -> str:
    """A run whose sensor tells that after two good seconds; why it ended. No value: the file goes."""
    sensor = Sensor(bench.top / "sensor.csv")
    process = bench.start(*bench.measure("--sensors-from", str(sensor.file), minutes=60), speed=10)
    number, off_stock = 0, False
    while process.poll() is None and number < 500:
        number += 1
        value = "55.5" if not off_stock else values(number)
        off_stock = off_stock or bench.offset != 0
        if value is None:
            sensor.file.unlink(missing_ok=True)
        elif value:
            sensor.tell(value)
        time.sleep(0.1)
    done = bench.ended(process)
    run = bench.runs()[-1]
    assert run.closing is not None and bench.offset == 0
    assert done.returncode == exit_code, (done.returncode, run.closing.judged_by, done.stderr)
    return f"{run.closing.outcome.value}: {run.closing.judged_by}"


@fault("a sensor that lies (0, 255, NaN, -128)", slow=True)
def _(top: Path) -> None:
    for place, lie in enumerate(("0", "255", "NaN", "-128")):
        (top / str(place)).mkdir()
        bench = FaultBench(top / str(place), ceilings={"cpu": 95})
        why = sensor_that(bench, lambda number, lie=lie: lie)  # type: ignore[misc]
        assert why.startswith("void") and "has not been read" in why, (lie, why)


@fault("a sensor that vanishes", slow=True)
def _(top: Path) -> None:
    bench = FaultBench(top, ceilings={"cpu": 95})
    why = sensor_that(bench, lambda number: None)
    assert why.startswith("void") and "has not been read" in why, why


@fault("a sensor that stands still", slow=True)
def _(top: Path) -> None:
    bench = FaultBench(top, ceilings={"cpu": 95})
    why = sensor_that(bench, lambda number: "")
    assert why.startswith("void") and "has not been read" in why, why


@fault("heat over the ceiling", slow=True)
def _(top: Path) -> None:
    bench = FaultBench(top, ceilings={"cpu": 95})
    assert sensor_that(bench, lambda number: "99.5").startswith("overheat")


# Hands


@fault("hands that fail")
def _(top: Path) -> None:
    bench = FaultBench(top, apply='[ "$1" = 0 ] && echo 0 > "$0" && exit 0; echo "no such door" >&2; exit 4')
    done = bench.do(*bench.measure())
    assert done.returncode == 3 and "exit code 4: no such door" in done.stderr, done.stderr
    assert outcomes(bench.runs()) == ["void"] and bench.offset == 0


@fault("hands that hang, with a child that holds on", slow=True)
def _(top: Path) -> None:
    bench = FaultBench(top, apply='[ "$1" = 0 ] && echo 0 > "$0" && exit 0; sleep 500 & sleep 500', timeout=2)
    began = time.monotonic()
    done = bench.do(*bench.measure())
    assert done.returncode == 3 and "did not end within 2 s" in done.stderr, done.stderr
    assert time.monotonic() - began < 30 and outcomes(bench.runs()) == ["void"] and bench.offset == 0


@fault("hands that apply another value")
def _(top: Path) -> None:
    bench = FaultBench(top, apply='[ "$1" = 0 ] && echo 0 > "$0" && exit 0; echo -5 > "$0"')
    done = bench.do(*bench.measure())
    (run,) = bench.runs()
    assert done.returncode == 1 and run.outcome is Outcome.VOID and run.closing is not None
    assert "was not there before the run" in run.closing.judged_by and bench.offset == 0


@fault("hands that apply more than may ever be set")
def _(top: Path) -> None:
    bench = FaultBench(top, apply='[ "$1" = 0 ] && echo 0 > "$0" && exit 0; echo 40 > "$0"')
    done = bench.do(*bench.measure())
    assert done.returncode in (2, 3) and outcomes(bench.runs()) == ["void"] and bench.offset == 0, done.stderr


@fault("hands that print rubbish (bytes, megabytes)")
def _(top: Path) -> None:
    for place, rubbish in enumerate(
        (r"printf '\377\376\000\033[2J'", "head -c 5000000 /dev/zero", "yes ''|head -c 900000")
    ):
        (top / str(place)).mkdir()
        bench = FaultBench(top / str(place), read=f'[ "$(cat "$0")" = 0 ] && echo 0 && exit 0; {rubbish}')
        done = bench.do(*bench.measure())
        assert done.returncode == 3 and len(done.stderr) < 2000 and "\x1b" not in done.stderr, done.stderr
        assert outcomes(bench.runs()) == ["void"] and bench.offset == 0


# Loads


@fault("a load that ignores its stop and leaves children", slow=True)
def _(top: Path) -> None:
    load = (
        'trap "" TERM INT HUP; sleep 601 & echo $! >> "$0/left"; '
        'setsid sleep 602 & echo $! >> "$0/left"; while :; do sleep 0.1; done'
    )
    bench = FaultBench(top, load=load)
    done = bench.do(*bench.measure(minutes=0.5), speed=10)
    assert done.returncode == 0 and outcomes(bench.runs()) == ["held"] and bench.offset == 0, done.stderr
    left = [int(pid) for pid in (top / "left").read_text().split()]

    def gone() -> bool:
        return not any(_alive(pid) for pid in left)

    until(gone, 10)


def _alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except OSError:
        return False


@fault("a load that cannot be started, ends at once, prints megabytes")
def _(top: Path) -> None:
    for place, (load, outcome, code) in enumerate(
        (
            ("exit 127", "void", 1),
            ("exit 3", "miscompute", 1),
            ("kill -SEGV $$", "miscompute", 1),
            ("head -c 60000000 /dev/zero; sleep 600", "held", 0),
        )
    ):
        (top / str(place)).mkdir()
        bench = FaultBench(top / str(place), load=load)
        done = bench.do(*bench.measure(minutes=0.5), speed=10)
        assert (outcomes(bench.runs()), done.returncode) == ([outcome], code), (load, done.stderr)
        assert bench.offset == 0


# The terminal


@fault("the terminal's window shut in the middle of a run", slow=True)
def _(top: Path) -> None:
    import fcntl
    import pty
    import termios

    for number, said_to_file in enumerate((False, True)):
        (top / str(number)).mkdir()
        bench = FaultBench(top / str(number))
        outer, inner = pty.openpty()

        def its_own(inner: int = inner) -> None:
            os.setsid()
            fcntl.ioctl(inner, termios.TIOCSCTTY, 0)

        said = (top / "said").open("w+")
        words = [word for word in bench.measure("--this-machine", minutes=60) if word != "--unattended"]
        process = bench.start(
            *words, speed=10, stdin=inner, stdout=inner, stderr=said if said_to_file else inner, preexec_fn=its_own
        )
        os.close(inner)
        os.set_blocking(outer, False)
        shown = b""

        def running(bench: FaultBench = bench, outer: int = outer) -> bool:
            nonlocal shown
            with suppress(OSError):
                shown += os.read(outer, 65536)
            return bool(bench.runs()) and bench.runs()[-1].heartbeats >= 1

        with suppress(AssertionError):
            until(running, 30)
        assert running(), shown[-600:]
        assert b"left" in shown, "the live view is there"
        os.close(outer)
        code = process.wait(timeout=40)
        said.seek(0)
        told = said.read()
        assert "Traceback" not in told and code == 130, (code, told)
        (run,) = bench.runs()
        assert run.outcome is Outcome.VOID and bench.offset == 0, run
        bench.goes_on()


@fault("nowhere to print to")
def _(top: Path) -> None:
    bench = FaultBench(top)
    with open("/dev/full", "w") as full:
        done = bench.ended(bench.start("runs", "box", stdout=full))
    assert done.returncode == 3 and "could not be printed" in done.stderr, done.stderr
    with open("/dev/full", "w") as full:
        done = bench.ended(bench.start(*bench.measure(minutes=0.1), speed=20, stdout=full))
    assert bench.offset == 0 and done.returncode == 3, done.stderr
    with Journal.open(bench.home) as journal:
        assert journal.open_runs("box") == []


@fault("a locale that is not UTF-8")
def _(top: Path) -> None:
    bench = FaultBench(top)
    plain = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    settings: tuple[dict[str, Any], ...] = (plain, {"PYTHONIOENCODING": "latin-1"}, {"PYTHONIOENCODING": "ascii"})
    for more in settings:
        done = bench.do(*bench.measure("--note", "Prüfstand Ω", minutes=0.1), speed=20, **more)
        assert done.returncode == 0, done.stderr
        for command in (["runs", "box"], ["next", "box", "--why"], ["check"], ["--help"], ["unit", "show", "box"]):
            done = bench.do(*command, **more)
            assert done.returncode == 0, (more, command, done.stderr)
        done = bench.do("runs", "box", "--json", **more)
        notes = [run.plan.note for run in bench.runs()]
        assert json.loads(done.stdout) and notes[-1] == "Prüfstand Ω", (more, notes)
        out = top / f"page-{len(notes)}.html"
        assert bench.do("report", "box", "--out", str(out), **more).returncode == 0
        assert "°C" in out.read_text(encoding="utf-8"), "the page is UTF-8 whatever the terminal"
    bench.well()


# Damage


@fault("flipped bits, a file cut short, a foreign file, a newer schema")
def _(top: Path) -> None:
    bench = FaultBench(top)
    file = bench.home / "journal.sqlite"
    whole = file.read_bytes()
    pages = [page for page in range(1, len(whole) // 8192) if any(whole[page * 8192 : page * 8192 + 64])]

    def flipped() -> None:
        content = bytearray(whole)
        for page in pages[3:12]:
            for place in range(64):
                content[page * 8192 + place] ^= 0xFF
        file.write_bytes(bytes(content))

    def newer() -> None:
        content = bytearray(whole)
        content[60:64] = (schema.VERSION + 1).to_bytes(4, "big")
        file.write_bytes(bytes(content))

    def foreign() -> None:
        content = bytearray(whole)
        content[68:72] = b"\0\0\0\7"
        file.write_bytes(bytes(content))

    damages: dict[str, Callable[[], object]] = {
        "flipped": flipped,
        "cut short": lambda: file.write_bytes(whole[: len(whole) * 2 // 3]),
        "first page gone": lambda: file.write_bytes(bytes(4096) + whole[4096:]),
        "newer": newer,
        "foreign": foreign,
        "the journal gone, its log there": lambda: (bench.home / "journal.sqlite-wal").write_bytes(b"x" * 99),
    }
    for name, damage in damages.items():
        for path in bench.home.glob("journal.sqlite*"):
            path.unlink()
        damage()
        before = file.read_bytes() if file.exists() else b""
        if not file.exists():
            assert "gone" in bench.do("runs", "box").stderr
        for command in (bench.measure(), ["unit", "retire", "box"]):
            done = bench.do(*command)
            assert done.returncode == 3, (name, command, done.returncode, done.stderr, done.stdout)
            assert (
                "rescue" in done.stderr
                or "Install the newer" in done.stderr
                or "not touched" in done.stderr
                or ("Nothing was touched" in done.stderr)
            ), (name, done.stderr)
            assert bench.offset == 0
        assert (file.read_bytes() if file.exists() else b"") == before, f"{name}: it was written to"
        done = bench.do("journal", "check")
        assert done.returncode in (1, 3) and (done.stdout + done.stderr).strip(), (name, done)
        if name in ("flipped", "cut short"):
            target = top / f"rescued-{name}.sqlite"
            done = bench.do("journal", "rescue", str(target))
            assert target.exists() and done.returncode in (0, 1), (name, done.stderr)
            with Journal.open(target) as rescued:
                assert rescued.faults() == []
    for path in bench.home.glob("journal.sqlite*"):
        path.unlink()
    file.write_bytes(whole)
    bench.goes_on()


@fault("the write-ahead log gone after a kill", slow=True)
def _(top: Path) -> None:
    """Cannot be told from the journal: what it costs is the heartbeats of the one open run, and nothing else."""
    bench = FaultBench(top)
    process = bench.start(*bench.measure(minutes=60), speed=30)
    bench.beats(2)
    process.kill()
    process.wait()
    until(lambda: bench.offset == 0)
    for path in bench.home.glob("journal.sqlite-*"):
        path.unlink()
    (run,) = bench.runs()
    assert run.is_open
    bench.goes_on()
    assert bench.runs()[0].outcome is Outcome.VOID


def count(word: str = "") -> list[Counted]:
    """Try every fault whose name has the word."""
    found = []
    for name, kind in FAULTS.items():
        if word not in name:
            continue
        line = Counted(f"fault: {name}")
        with tempfile.TemporaryDirectory(prefix="fault-") as folder:
            try:
                line.tried = 1
                kind.try_(Path(folder))
                line.survived = 1
            except Skipped as why:
                line.tried, line.what = 0, f"{line.what} (not tried: {why})"
            except Exception as error:  # noqa: BLE001 (the table tells of it)
                line.lost.append(f"{name}: {type(error).__name__}: {error}")
        print(f"{line.what}: {line.survived} of {line.tried} {' '.join(line.lost)}", file=sys.stderr, flush=True)
        found.append(line)
    return found


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("word", nargs="?", default="")
    asked.add_argument("--keep", type=Path, help="write the lines there as well, for `everything.py --add`")
    told = asked.parse_args()
    lines = count(told.word)
    if told.keep:
        keep(lines, told.keep)
    return print_table(lines)


if __name__ == "__main__":
    sys.exit(main())
