"""The helper behind sudo itself, asked for by a user without rights: a rule of the test's own, in a namespace that is
gone with it; a made-up tree that belongs to the administrator."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from elevated_tree import ON_TREE, SOURCE, Unit_

NOBODY = 65534
PYTHON = "/usr/bin/python3"
CLIENT = Path(__file__).with_name("elevated_client.py")


def _why_not() -> str:
    if sys.platform != "linux" or os.geteuid() != 0:
        return "needs the administrator's rights on Linux, to give some of them away"
    if missing := [one for one in ("sudo", "setpriv", "unshare") if shutil.which(one) is None]:
        return f"not here: {', '.join(missing)}"
    asked = f"import sys; sys.exit(sys.version_info[:2] != {sys.version_info[:2]!r})"
    if not Path(PYTHON).exists() or subprocess.run([PYTHON, "-c", asked], check=False).returncode:
        return "needs a Python of the same version that everybody may start"
    packages = Path(sysconfig.get_paths()["purelib"])
    if not all(one.stat().st_mode & 0o001 for one in (packages, *packages.parents)):
        return "the libraries that are installed lie where nobody else may read"
    if subprocess.run(["unshare", "-m", "true"], check=False, capture_output=True).returncode:
        return "no namespace of its own can be had"
    return ""


WHY_NOT = _why_not()
pytestmark = pytest.mark.skipif(bool(WHY_NOT), reason=WHY_NOT or "-")


class Sudo:
    """A copy of the program that only the administrator may change, and a user who may start its helper."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.source = folder / "program"
        shutil.copytree(SOURCE / "surefoot", self.source / "surefoot", ignore=shutil.ignore_patterns("__pycache__"))
        for one in (ON_TREE, CLIENT):
            shutil.copy(one, self.source)
        self.machine = Unit_(folder)
        for one in (self.source, self.machine.tree.root):
            subprocess.run(["chmod", "-R", "a+rX,go-w", str(one)], check=True)
        own = [PYTHON, "-I", "-S", "-B"]
        root = str(self.machine.tree.root)
        self.on_tree = [*own, str(self.source / ON_TREE.name), str(self.source), root, str(self.machine.kept)]
        self.real = [str(Path(PYTHON).resolve()), *own[1:], str(self.source / "surefoot/rig/elevated/helper.py")]
        self.rules = folder / "rules"
        allowed = ", ".join(" ".join(one) for one in (self.on_tree, self.real))
        self.rules.write_text(f"#{NOBODY} ALL=(root) NOPASSWD: {allowed}\n")
        self.rules.chmod(0o440)

    def as_nobody(self, *command: str, **how: object) -> subprocess.Popen[str]:
        shell = 'mount --bind "$0" /etc/sudoers && exec setpriv --reuid 65534 --regid 65534 --clear-groups "$@"'
        packages = sysconfig.get_paths()["purelib"]
        return subprocess.Popen(  # type: ignore[call-overload]
            ["unshare", "-m", "sh", "-c", shell, str(self.rules), *command],
            env={"PATH": "/usr/bin:/bin", "PYTHONPATH": packages, "HOME": "/nonexistent"},
            cwd="/",
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            **how,
        )

    def client(self, *helper: str) -> subprocess.Popen[str]:
        root = str(self.machine.tree.root)
        return self.as_nobody(PYTHON, str(self.source / CLIENT.name), str(self.source), root, "sudo", *helper)


@pytest.fixture
def sudo() -> Iterator[Sudo]:
    # Not the test's own folder: nobody else may even look into that one.
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Sudo(Path(name))


def test_a_user_without_rights_sets_a_limit_and_is_killed(sudo):
    with sudo.client(*sudo.on_tree) as process:
        line = process.stdout.readline()
        assert line.split()[1:] == ["-6.0"], process.stderr.read()
        helper = int(line.split()[0])
        assert sudo.machine.watts() == 31.0
        assert "Uid:\t0" in Path(f"/proc/{helper}/status").read_text()
        process.kill()
        began = time.monotonic()
        while sudo.machine.watts() != 37.0 and time.monotonic() - began < 5:
            time.sleep(0.01)
        assert sudo.machine.watts() == 37.0 and time.monotonic() - began < 2


def test_without_the_rule_nothing_is_applied(sudo):
    sudo.rules.write_text("root ALL=(ALL) ALL\n")
    with sudo.client(*sudo.on_tree) as process:
        said = process.stderr.read()
        assert process.wait() and "did not start: sudo: a password is required" in said
    assert sudo.machine.watts() == 37.0


def real_helper(sudo: Sudo) -> tuple[int, str, str]:
    with sudo.as_nobody("/usr/bin/sudo", "-n", "--", *sudo.real, stdin=subprocess.DEVNULL) as process:
        assert process.stdout is not None and process.stderr is not None
        out, err = process.stdout.read(), process.stderr.read()
        return process.wait(), out, err


def test_the_helper_itself_refuses_to_run_where_somebody_else_could_change_it(sudo):
    code, out, err = real_helper(sudo)
    assert code == 0 and '"rights":true' in out, err
    changed = sudo.source / "surefoot/rig/doors/powercap.py"
    changed.chmod(0o666)
    code, out, err = real_helper(sudo)
    assert (code, out) == (2, "") and "powercap.py may be changed by anybody" in err
    changed.chmod(0o644)
    os.chown(sudo.source / "surefoot/rig", NOBODY, -1)
    assert real_helper(sudo)[0] == 0, "the owner who asks"
    os.chown(sudo.source / "surefoot/rig", 12345, -1)
    code, _, err = real_helper(sudo)
    assert code == 2 and "belongs to user 12345" in err


def test_words_for_the_helper_are_not_in_the_rule(sudo):
    with sudo.as_nobody("/usr/bin/sudo", "-n", "--", *sudo.real, "more", stdin=subprocess.DEVNULL) as process:
        assert process.wait() == 1 and "password is required" in process.stderr.read()
