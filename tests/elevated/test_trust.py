"""Who else could change what would be run with more rights; and the fixed command lines of the system's own means."""

from __future__ import annotations

import os
import shutil
import threading
from multiprocessing.connection import Client
from pathlib import Path

import pytest

from surefoot.errors import MachineError
from surefoot.rig.elevated import means, trust
from surefoot.rig.elevated import windows as windows_module
from surefoot.rig.elevated.helper import main, who_asks
from surefoot.rig.elevated.means import elevated_command, helper_command
from surefoot.rig.elevated.pipe import HelperPipe
from surefoot.rig.elevated.trust import who_else
from surefoot.rig.elevated.windows import WindowsEnds, command_words, unguarded

pytestmark = pytest.mark.skipif(os.name != "posix", reason="owners and modes of POSIX")
ME = os.getuid()


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A file in a folder that nobody else can change, whatever the temporary folder's own modes are."""
    folder = tmp_path / "program"
    folder.mkdir(mode=0o755)
    made = folder / "one.py"
    made.write_text("pass\n")
    made.chmod(0o644)
    if words := who_else(folder, ME):
        pytest.skip(f"the temporary folder itself: {words}")
    return made


def test_a_file_of_ones_own_is_well(file):
    assert who_else(file, ME) == ""


@pytest.mark.parametrize(("mode", "words"), [(0o646, "anybody"), (0o664, "")])
def test_modes_of_the_file(file, mode, words):
    file.chmod(mode)
    assert words in who_else(file, ME)


def test_a_group_with_others_in_it(file, monkeypatch):
    file.chmod(0o664)
    monkeypatch.setattr(trust, "_own_group", lambda *_: False)
    assert "may be changed by the group" in who_else(file, ME)


def test_lists_of_rights_are_seen(file, monkeypatch):
    file.chmod(0o664)
    monkeypatch.setattr(trust, "_attributes", lambda place: ("system.posix_acl_access",) if place == file else ())
    assert "group" in who_else(file, ME)


def test_a_folder_above(file):
    file.parent.chmod(0o777)
    assert "anybody" in who_else(file, ME)
    file.parent.chmod(0o1777)
    assert who_else(file, ME) == "", "nobody may replace another's file there"


def test_where_a_link_leads_counts(file, tmp_path):
    link = tmp_path / "link.py"
    link.symlink_to(file)
    assert who_else(link, ME) == ""
    file.parent.chmod(0o777)
    assert "anybody" in who_else(link, ME)
    (tmp_path / "round").symlink_to(tmp_path / "round")
    assert "links" in who_else(tmp_path / "round", ME)
    (tmp_path / "up").symlink_to("program/../program")
    file.parent.chmod(0o755)
    assert who_else(tmp_path / "up" / "one.py", ME) == ""


@pytest.mark.skipif(os.geteuid() != 0, reason="needs the administrator's rights")
def test_another_owner(file):
    os.chown(file, 12345, -1)
    assert "belongs to user 12345" in who_else(file, 0) and who_else(file, 12345) == ""
    os.chown(file, 0, -1)
    os.chown(file.parent, 12345, -1)
    assert "belongs to" in who_else(file, 0)


def test_what_is_not_there_is_said(tmp_path):
    assert "cannot be looked at" in who_else(tmp_path / "none", ME)


def test_the_helpers_program_names_its_own_files_and_the_interpreter():
    found = list(trust.program())
    assert trust.helper_file() in found and trust.interpreter() in found
    assert trust.helper_file().parents[1] / "doors/powercap.py" in found, "as installed, or as it lies here"
    assert Path(os.__file__).resolve() in found
    assert helper_command()[1:4] == ["-I", "-S", "-B"] and not trust.interpreter().is_symlink()


def test_the_command_lines_are_fixed(monkeypatch, tmp_path):
    monkeypatch.setattr(shutil, "which", lambda name, path: f"/usr/bin/{name}" if path == means.PLACES else None)
    monkeypatch.setattr(means, "who_else", lambda *_: "")
    monkeypatch.setattr(means, "why_not", lambda *_: "")
    assert elevated_command("sudo", attended=False)[:3] == ["/usr/bin/sudo", "-n", "--"]
    assert elevated_command("sudo", attended=True)[1] == "-p"
    assert elevated_command("pkexec", attended=True)[0] == "/usr/bin/pkexec"
    for name in ("sudo", "pkexec"):
        assert elevated_command(name, attended=True)[-5:] == helper_command()
    monkeypatch.setattr(means, "why_not", lambda *_: "/opt/x may be changed by anybody")
    with pytest.raises(MachineError, match=r"/opt/x may be changed by anybody, so that somebody else"):
        elevated_command("sudo", attended=True)
    monkeypatch.setattr(shutil, "which", lambda *_, **__: None)
    with pytest.raises(MachineError, match="sudo is not on this machine"):
        elevated_command("sudo", attended=True)


def test_the_helper_looks_itself_again(monkeypatch, capsys):
    monkeypatch.setattr("surefoot.rig.elevated.helper.why_not", lambda owner: f"changed by another than {owner}")
    monkeypatch.setenv("SUDO_UID", "1234")
    assert main([]) == 2 and "changed by another than 1234" in capsys.readouterr().err
    assert main(["rm"]) == 2 and main(["--pipe"]) == 2


def test_who_asks():
    assert who_asks({"SUDO_UID": "1000"}) == 1000 and who_asks({"PKEXEC_UID": "7"}) == 7
    assert who_asks({"SUDO_UID": "-1"}) == 0 and who_asks({}) == 0


def test_windows_guards_program_files():
    guarded = [r"C:\Program Files", r"C:\Windows\System32"]
    assert unguarded([r"C:\Program Files\Python311\python.exe"], guarded) == ""
    assert unguarded([r"c:\program files\Python311\python.exe"], guarded) == ""
    for path in (r"C:\Users\a\python.exe", r"C:\Program Files\..\x\python.exe", r"C:\Program Files (x86)\python.exe"):
        assert "lies outside" in unguarded([path], guarded)
    program, words = command_words(r"C:\Program Files\Python311\python.exe", r"\\.\pipe\x")
    assert program.endswith("python.exe") and words.startswith("-I -S -B ") and words.endswith(r"--pipe \\.\pipe\x")


def test_the_named_pipe_speaks_the_same(monkeypatch):
    """The way of Windows over a socket of this system: UAC and its folders are stand-ins."""

    def elevated(program: str, words: str) -> None:
        def serve() -> None:
            with Client(words.split()[-1]) as end:
                end.send_bytes(b'{"hello":"surefoot-helper","version":1,"process":5,"rights":true}\n')
                assert b'"do":"read"' in end.recv_bytes()
                end.send_bytes(b'{"id":1,"ok":{"value":3.0}}\n')

        threading.Thread(target=serve, daemon=True).start()

    monkeypatch.setattr(windows_module, "unguarded", lambda *_: "")
    pipe = HelperPipe(WindowsEnds(elevated, lambda number: "x", family="AF_UNIX"))
    assert pipe.ask("read", door="x") == {"value": 3.0}
    pipe.close()
