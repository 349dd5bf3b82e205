"""Machines that are really reset, in QEMU, in the middle of runs; prints one table (what, tried, survived, lost).

    python tests/reliability/resets.py inside    # the session runs on the machine that is reset
    python tests/reliability/resets.py on        # the session runs here, on the unit over OpenSSH (``tune --on``)

Each machine is a unit whose true edge is known: a run past it is cut off by the reset button after 11 to 35 s. Its
setting lies in memory and is gone then. ``--resets`` of them at least, by as many machines side by side as it takes;
each session must come to its certificate, every reset be judged ``reset`` at the last heartbeat before it.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from qemu_guest import SOURCE, Guest, fetched, surroundings, tool, why_not
from table import Counted, keep, print_table

from surefoot.guide.goals import goal_for
from surefoot.journal import Journal
from surefoot.runs import Outcome, Run
from surefoot.search import known_stable
from surefoot.units import GoalCard, HandsCard, Knob, LoadCard, RemoteCard, Unit

EDGE = 4.5
LONGEST_MINUTES = 45.0
HEARTBEAT_SECONDS = 10.0
SLACK_SECONDS = 4.0
"""Between a heartbeat's own moment and its being on disk, on a machine with one slow processor."""
UP_SECONDS = 300.0
RESETS_A_SESSION = 3
TUNE = "--unattended --i-agree --load turns --max-failures 30 --within 1"


def unit_named(name: str, remote: RemoteCard | None = None) -> Unit:
    """A unit whose hands write a file in memory and say so; its load checks a sum again and again."""
    hands = HandsCard(
        kind="command",
        apply=("sh", "-c", 'echo "$0" > /run/offset && echo "set $0" > /dev/ttyS1', "{core}"),
        read_back=("cat", "/run/offset"),
    )
    check = 'test "$(head -c 4000000 /dev/zero | cksum)" = "1112643122 4000000" && sleep 2'
    return Unit(
        name=name,
        knobs=(Knob("core", "cpu", "mV", "down", 5, 60, load="turns"),),
        hands=hands,
        loads=(LoadCard(name="turns", command=("sh", "-c", check), exercises=("core",)),),
        goal=GoalCard(mttf_hours=0.02, effort="quick"),
        remote=remote or RemoteCard(),
    )


class Played:
    """One machine with its session: ``button`` cuts its runs off past the edge."""

    def __init__(self, folder: Path, number: int, port: int | None) -> None:
        self.folder, self.name, self.port = folder, f"unit-{number}", port
        self.resets: list[float] = []
        """Seconds from the moment at which the setting was there to the button."""
        self._set_at = 0.0
        self.boots = 0
        self.held_said: set[int] = set()
        self.exit_code: int | None = None
        self._draw = random.Random(number)
        self._planned: threading.Timer | None = None
        self.guest: Guest
        self.session: subprocess.Popen[str] | None = None
        self.cut_off = False
        """The time was up before it came to its end."""

    def hear(self) -> None:
        """Listen to the machine until it is off."""
        try:
            for line in self.guest.said():
                self._heard(line)
        except OSError:
            pass

    def _heard(self, line: str) -> None:
        with (self.folder / "heard.txt").open("a") as file:
            file.write(f"{time.time():.1f} {line}\n")
        if line == "up":
            self.boots += 1
        elif line.startswith("set "):
            if self._planned is not None:
                self._planned.cancel()
            self._set_at = time.monotonic()
            if -float(line.split()[1]) > EDGE:
                self._planned = threading.Timer(self._draw.uniform(11, 35), self.button)
                self._planned.start()
        elif line == "gone":
            self.guest.off()
        elif line.startswith("exit "):
            self.exit_code = int(line.split()[1])
        elif line.startswith("Run ") and ": held after" in line:
            self.held_said.add(int(line.split()[1].rstrip(":")))

    def stop(self) -> None:
        """The time is up: what was done until now is judged."""
        self.cut_off = True
        if self._planned is not None:
            self._planned.cancel()
        if self.session is not None:
            self.session.terminate()
        self.guest.off()

    def button(self) -> None:
        """Press it."""
        self.resets.append(time.monotonic() - self._set_at)
        self.guest.reset()


PREPARE = """
import sys
sys.path.insert(0, sys.argv[1])
from resets import unit_named
from surefoot.guide.card_commands import commands_of
from surefoot.journal import Journal
from surefoot.rig.card_commands import confirm
from surefoot.units import RemoteCard
unit = unit_named(sys.argv[2], RemoteCard(agent=tuple(sys.argv[3:])) if sys.argv[3:] else None)
with Journal.open() as journal:
    journal.add_unit(unit)
confirm(commands_of(unit, away=True))
"""


def inside(played: Played) -> Path:
    """The session on the machine itself. Returns its data directory, taken from its disk."""
    (played.folder / "prepare.py").write_text(PREPARE)
    prepare = f"python {played.folder / 'prepare.py'} {Path(__file__).parent} {played.name}"
    script = (
        surroundings("/mnt/home") + "echo 0 > /run/offset; echo up > /dev/ttyS1\n"
        f"[ -e /mnt/prepared ] || {{ {prepare} && sync && touch /mnt/prepared; }}\n"
        f"python -m surefoot tune {played.name} {TUNE} 2>&1 |\n"
        'while read -r line; do echo "$line" > /dev/ttyS1; done\n'
        f"python -m surefoot recall {played.name} > /dev/ttyS1 2>&1; echo exit $? > /dev/ttyS1\n"
        "cd /; sync; umount /mnt; echo gone > /dev/ttyS1; sleep 1000\n"
    )
    played.guest = Guest(played.folder, script)
    played.hear()
    played.guest.wait(60)
    return played.guest.kept("/home", played.folder / "kept")


def on(played: Played) -> Path:
    """The session here, over OpenSSH. Returns its data directory."""
    folder, port = played.folder, played.port
    for key in ("host", "user"):
        subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(folder / key)], check=True)
    (folder / "known").write_text(f"[127.0.0.1]:{port} {(folder / 'host.pub').read_text()}")
    (folder / "sshd_config").write_text(
        f"Port 22\nHostKey {folder / 'host'}\nAuthorizedKeysFile {folder / 'user.pub'}\nPidFile /run/sshd.pid\n"
        "StrictModes no\nUsePAM no\nPasswordAuthentication no\nPermitRootLogin yes\nUseDNS no\n"
    )
    (folder / "ssh_config").write_text(
        f"Host {played.name}\n  HostName 127.0.0.1\n  Port {port}\n  User root\n  IdentityFile {folder / 'user'}\n"
        f"  IdentitiesOnly yes\n  UserKnownHostsFile {folder / 'known'}\n"
    )
    (folder / "agent.sh").write_text(surroundings("/mnt/home") + "exec python -m surefoot agent\n")
    script = (
        surroundings("/mnt/home") + "echo 0 > /run/offset; echo up > /dev/ttyS1; mkdir -p /run/sshd\n"
        ": > /run/none; for one in .bashrc .bash_profile .profile; do mount --bind /run/none /root/$one; done\n"
        "ip link set lo up; ip link set eth0 up; ip addr add 10.0.2.15/24 dev eth0; ip route add default via 10.0.2.2\n"
        # What an agent loads is read once before it is asked for: this processor is slow.
        "python -m surefoot agent < /dev/null > /dev/null 2>&1\n"
        f"exec {tool('sshd')} -D -e -f {folder / 'sshd_config'}\n"
    )
    played.guest = Guest(folder, script, port)
    threading.Thread(target=played.hear, daemon=True).start()
    home = folder / "home"
    more = {"SUREFOOT_HOME": str(home), "SUREFOOT_SSH_CONFIG": str(folder / "ssh_config"), "PYTHONPATH": _modules()}
    environment = {**os.environ, **more, "COLUMNS": "400"}
    prepare = [sys.executable, "-c", PREPARE, str(Path(__file__).parent), played.name, "sh", str(folder / "agent.sh")]
    subprocess.run(prepare, env=environment, check=True)
    until = time.monotonic() + UP_SECONDS
    while played.boots == 0 and time.monotonic() < until:
        time.sleep(0.2)
    _answers(played)
    command = [sys.executable, "-m", "surefoot", "tune", played.name, "--on", played.name, *TUNE.split()]
    with (
        subprocess.Popen(
            command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        ) as process,
        (folder / "session.txt").open("w") as told,
    ):
        played.session = process
        assert process.stdout is not None
        for line in process.stdout:
            told.write(line)
            told.flush()
            played._heard(line.strip())
        played.exit_code = process.wait(60)
    played.guest.off()
    return home


def _modules() -> str:
    return os.pathsep.join([str(SOURCE), *filter(None, [os.environ.get("PYTHONPATH")])])


def _answers(played: Played) -> None:
    """Wait until an ssh server is at the other end."""
    until = time.monotonic() + UP_SECONDS
    while time.monotonic() < until:
        with socket.socket() as probe:
            probe.settimeout(5)
            try:
                probe.connect(("127.0.0.1", played.port or 0))
                if probe.recv(4) == b"SSH-":
                    return
            except OSError:
                pass
        time.sleep(0.5)
    raise RuntimeError("no ssh server in the guest")


def judge(played: Played, home: Path, lines: dict[str, Counted]) -> None:
    """Hold the journal to what was really done."""
    name = played.name
    with Journal.open(home, read_only=True) as journal:
        runs = journal.runs(name)
        open_left = journal.open_runs(name)
        unit = journal.unit(name)
    certified = known_stable(unit, runs, goal_for(unit)) is not None
    lost = [run for run in runs if run.outcome is Outcome.RESET]
    if not played.cut_off:
        words = f"{name}: {len(played.resets)} resets, {len(lost)} judged so"
        lines["boots"].judge(len(lost) == len(played.resets), words)
    for run, seconds in zip(lost, played.resets, strict=False):
        lines["resets"].judge(*_at_its_last_heartbeat(name, run, seconds))
    fine = {Outcome.RESET, Outcome.HELD} | ({None, Outcome.VOID} if played.cut_off else set())
    others = [run for run in runs if run.outcome not in fine]
    for run in others:
        lines["others"].judge(False, f"{name}: run {run.id} is {run.outcome}: {run.closing and run.closing.judged_by}")
    ids = {run.id for run in runs if run.outcome is Outcome.HELD}
    for number in played.held_said:
        lines["said"].judge(number in ids, f"{name}: run {number} was said to have held")
    if played.cut_off:
        return
    lines["sessions"].judge(
        played.exit_code == 0 and certified and not open_left,
        f"{name}: exit code {played.exit_code}, certified: {certified}, {len(open_left)} runs open",
    )


def _at_its_last_heartbeat(name: str, run: Run, seconds: float) -> tuple[bool, str]:
    """Whether a run was closed at the minutes of the last heartbeat that had come before the button was pressed, so
    many seconds after its setting was there; the load begins a little after that."""
    assert run.closing is not None
    after = seconds - run.closing.minutes * 60
    same = run.closing.minutes == run.last_minutes and run.setting.value("core") < -EDGE
    well = same and -SLACK_SECONDS <= after <= HEARTBEAT_SECONDS + SLACK_SECONDS
    return well, f"{name}: run {run.id} closed at {run.closing.minutes:.2f} min, the reset {after:.1f} s later"


def lines_of_the_table(how: str) -> dict[str, Counted]:
    """Empty."""
    return {
        "resets": Counted(f"{how}: resets, judged `reset` at the last heartbeat"),
        "boots": Counted(f"{how}: sessions, with a crash for each reset and no more"),
        "others": Counted(f"{how}: runs that ended in any other way than held or reset"),
        "said": Counted(f"{how}: runs that were said to have held, in the journal"),
        "sessions": Counted(f"{how}: sessions, come to their certificate"),
    }


def play(
    how: Callable[[Played], Path], resets: int, folder: Path, at_once: int, first: int = 0, seconds: float = 1e9
) -> dict[str, Counted]:
    """As many machines as it takes. ``first``: the first one's number, of which its draws are made; after so many
    ``seconds`` those that are not at their end are switched off, and what they did until then is judged. What was
    counted so far is told after each session, so that a table that was never printed is not lost."""
    until = time.monotonic() + seconds
    under_way: list[Played] = []
    lines = lines_of_the_table(how.__name__)
    done: list[Played] = []
    guard = threading.Lock()

    def one(number: int) -> None:
        played = Played(folder / f"{number}", number, _free_port() if how is on else None)
        played.folder.mkdir()
        under_way.append(played)
        try:
            home = how(played)
        except (OSError, RuntimeError, subprocess.SubprocessError) as error:
            with guard:
                under_way.remove(played)
                lines["sessions"].judge(False, f"{played.name}: {type(error).__name__}: {error}")
            return
        with guard:
            under_way.remove(played)
            done.append(played)
            judge(played, home, lines)
            counts = {key: [line.tried, line.survived, line.lost] for key, line in lines.items()}
            told = {
                "session": played.name,
                "resets": len(played.resets),
                "boots": played.boots,
                "cut off": played.cut_off,
                "so far": counts,
            }
            print(json.dumps(told), file=sys.stderr, flush=True)

    number = first
    while lines["resets"].tried < resets and number < first + resets and time.monotonic() < until:
        wanted = max(1, min(at_once, -(-(resets - lines["resets"].tried) // RESETS_A_SESSION)))
        threads = [threading.Thread(target=one, args=(number + place,)) for place in range(wanted)]
        number += wanted
        for thread in threads:
            thread.start()
        last = min(until, time.monotonic() + LONGEST_MINUTES * 60)
        for thread in threads:
            thread.join(max(0.0, last - time.monotonic()))
        for played in [*under_way]:
            played.stop()
        for thread in threads:
            thread.join(120)
    print(f"{sum(one.cut_off for one in done)} sessions were not at their end when the time was up.", file=sys.stderr)
    return lines


def _free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def main() -> int:
    """Exit code 0 when nothing was lost."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("how", choices=("inside", "on"))
    asked.add_argument("--resets", type=int, default=20)
    asked.add_argument("--at-once", type=int, default=4, help="machines side by side")
    asked.add_argument("--first", type=int, default=0, help="number of the first machine; slices of others add up")
    asked.add_argument("--seconds", type=float, default=1e9, help="then they are switched off and judged")
    asked.add_argument("--folders", action="store_true", help="leave the folder of each machine")
    asked.add_argument("--keep", type=Path, help="write the lines there as well, for `everything.py --add`")
    told = asked.parse_args()
    if words := why_not():
        print(f"not tried: {words}")
        return 3
    fetched()
    folder = Path(tempfile.mkdtemp(prefix="resets-"))
    try:
        plays = {"inside": inside, "on": on}[told.how]
        lines = play(plays, told.resets, folder, told.at_once, told.first, told.seconds)
        if told.folders:
            print(f"The machines' folders: {folder}", file=sys.stderr)
        if told.keep:
            keep(lines.values(), told.keep)
        return print_table(lines.values())
    finally:
        if not told.folders:
            shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    sys.exit(main())
