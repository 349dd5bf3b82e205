"""The same over OpenSSH's own server on loopback, with a key and a port of the test's own; kill -9 of each part."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest

from surefoot.guide.remote.machine import RemoteMachine
from surefoot.guide.remote.ssh import CONFIG, ssh_command
from surefoot.units import Setting

SSHD = shutil.which("sshd") or "/usr/sbin/sshd"
OFF = Setting(values={"core": -10})
pytestmark = pytest.mark.skipif(
    not (Path(SSHD).exists() and shutil.which("ssh") and shutil.which("ssh-keygen")), reason="no OpenSSH server here"
)


@pytest.fixture
def sshd(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[subprocess.Popen[bytes]]:
    for name in ("host", "user"):
        subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(tmp_path / name)], check=True)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    (tmp_path / "keys").write_text((tmp_path / "user.pub").read_text())
    (tmp_path / "known").write_text(f"[127.0.0.1]:{port} {(tmp_path / 'host.pub').read_text()}")
    # StrictModes: a temporary folder may be anybody's; keys of the test's own let nobody in but the test.
    (tmp_path / "sshd_config").write_text(
        f"ListenAddress 127.0.0.1\nPort {port}\nHostKey {tmp_path / 'host'}\nAuthorizedKeysFile {tmp_path / 'keys'}\n"
        f"PidFile {tmp_path / 'pid'}\nStrictModes no\nUsePAM no\nPasswordAuthentication no\nPermitRootLogin yes\n"
    )
    (tmp_path / "ssh_config").write_text(
        f"Host unit-there\n  HostName 127.0.0.1\n  Port {port}\n  IdentityFile {tmp_path / 'user'}\n"
        f"  IdentitiesOnly yes\n  UserKnownHostsFile {tmp_path / 'known'}\n"
    )
    if os.geteuid() == 0:
        Path("/run/sshd").mkdir(exist_ok=True)
    server = subprocess.Popen([SSHD, "-D", "-e", "-f", str(tmp_path / "sshd_config")], stderr=subprocess.DEVNULL)
    for _ in range(100):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                break
        time.sleep(0.1)
    else:
        server.kill()
        pytest.skip("an OpenSSH server could not be started here")
    monkeypatch.setenv(CONFIG, str(tmp_path / "ssh_config"))
    yield server
    server.kill()
    server.wait()


def line_to(there) -> RemoteMachine:
    return RemoteMachine(ssh_command("unit-there", there.unit.remote.agent), "unit-there")


def test_whatever_is_killed_the_unit_goes_to_stock_and_the_line_comes_back(there, sshd):
    with line_to(there) as machine:
        for part in ("agent", "ssh", "sshd", "nothing"):
            hands = machine.hands(there.unit, None)
            assert hands.apply(there.unit, OFF) == OFF and there.offset() == -10
            if part == "nothing":
                break
            if part == "agent":
                os.kill(machine._line.hello.process, signal.SIGKILL)
            elif part == "ssh":
                os.kill(machine._line.process, signal.SIGKILL)
            else:
                for one in psutil.Process(machine._line.hello.process).parents():
                    if "sshd" in one.name() and one.pid != sshd.pid:
                        one.kill()
            there.until_stock(10)
            said: list[str] = []
            machine.come_back(said.append)
            assert "same boot" in said[-1]
    assert there.offset() == 0, "the line ended in order"
