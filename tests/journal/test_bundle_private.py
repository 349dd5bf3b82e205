"""A bundle carries no names of users and hosts, no paths and no serial numbers, unless it is asked for."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from surefoot.cli.main import app
from surefoot.journal import Journal
from surefoot.journal.bundle import load_bundle, save_bundle
from surefoot.journal.bundle_private import LEFT_OUT, LeavingOut, Own
from surefoot.runs import Closing, Outcome, RunPlan, Score
from surefoot.units import HandsCard, LoadCard, RemoteCard, Setting

NAME = "shoebox-3"
AT = datetime(2031, 1, 2, 3, 4, 5, 678, tzinfo=UTC)
OWN = Own("quillan", "pinewood-7")
SECRETS = (
    "quillan", "pinewood-7", "/home/q", "harbour", "Users", "XK42-7788", "99AB17", "0a:1b:2c:3d:4e:5f", "shelf",
    "q@far",
)  # fmt: skip


@pytest.fixture
def full(journal: Journal, monkeypatch: pytest.MonkeyPatch) -> Journal:
    monkeypatch.setattr(Own, "here", classmethod(lambda cls: OWN))
    card = journal.unit(NAME).model_copy(
        update={
            "parts": {"processor": "eight cores", "serial": "XK42-7788", "board": "S/N: 99AB17"},
            "notes": "of Quillan's, on pinewood-7; see C:\\Users\\Q Smith\\notes.txt",
            "hands": HandsCard(
                kind="command", apply=("/home/q/harbour/set.sh", "{cpu-core}", "{cpu-cache}", "{gpu-core}")
            ),
            "remote": RemoteCard(switch_power=("outlet", "pinewood-7")),
            "sensors_from": "/home/q/harbour/log.csv",
            "loads": (
                LoadCard(name="render", command=("~/harbour/render",)),
                LoadCard(name="plain", command=("render",)),
            ),
        }
    )
    journal.revise_unit(card, at=AT)
    plan = RunPlan(
        unit_name=NAME, setting=Setting(values={"cpu-core": -10}), load="render", planned_minutes=5, boot_id="b",
        note="by quillan from \\\\shelf\\logs\\a.csv, 0a:1b:2c:3d:4e:5f",
    )  # fmt: skip
    closing = Closing(
        outcome=Outcome.HELD, minutes=5, judged_by="quillan", note="q@far.example said so",
        detail={"output_tail": "writing /home/q/harbour/x\nscore 3 km/h", "deep": [{"a": "file:///home/q/harbour"}]},
    )  # fmt: skip
    run = journal.log_run(plan, closing, at=AT)
    journal.add_score(NAME, Score(name="points", value=3, note="serial number XK42-7788"), run_id=run, at=AT)
    journal.amend_run(run, {"minutes": 4.0}, who="quillan", why="on pinewood-7", at=AT)
    return journal


def test_nothing_of_it_is_in_the_file_and_what_was_left_out_is_said(full: Journal, tmp_path: Path) -> None:
    done = save_bundle(full, NAME, tmp_path / "b")
    text = (tmp_path / "b").read_bytes().lower()
    assert [secret for secret in SECRETS if secret.lower().encode() in text] == []
    said = " ".join(done.left_out)
    for word in ("user names", "host names", "paths", "serial numbers", "addresses", "commands", "who corrected"):
        assert word in said
    assert b"km/h" in text and b"eight cores" in text, "what is nobody's stays"


def test_asked_for_it_is_all_there(full: Journal, tmp_path: Path) -> None:
    done = save_bundle(full, NAME, tmp_path / "b", whole=True)
    text = (tmp_path / "b").read_bytes()
    assert done.left_out == () and all(secret.encode() in text for secret in ("quillan", "XK42-7788", "/home/q"))


def test_loaded_elsewhere_it_is_whole_but_for_that(full: Journal, tmp_path: Path) -> None:
    save_bundle(full, NAME, tmp_path / "b")
    with Journal.open(tmp_path / "second") as second:
        done = load_bundle(second, tmp_path / "b")
        assert done.left_out
        card, (run,) = second.unit(NAME), second.runs(NAME)
        assert (card.hands.kind, card.remote, card.sensors_from) == ("ask", RemoteCard(), "")
        assert [load.command for load in card.loads] == [(), ("render",)]
        assert (run.minutes, run.plan.setting.values) == (4.0, {"cpu-core": -10.0})
        assert run.corrections[0].who == LEFT_OUT
        assert load_bundle(second, tmp_path / "b").added == 0
        # What the other one learnt comes back, and this machine's own commands stay.
        second.log_run(
            RunPlan(unit_name=NAME, setting=Setting(), load="render", planned_minutes=5),
            Closing(outcome=Outcome.HELD, minutes=5, judged_by="held"),
        )
        second.revise_unit(second.unit(NAME).model_copy(update={"firmware": "newer"}))
        save_bundle(second, NAME, tmp_path / "back")
    before = full.unit(NAME)
    back = load_bundle(full, tmp_path / "back")
    after = full.unit(NAME)
    assert (back.merged, back.added, back.conflicts) == (True, 1, ())
    assert after.firmware == "newer" and after.hands == before.hands and after.loads == before.loads
    assert after.model_copy(update={"firmware": before.firmware}) == before
    assert load_bundle(full, tmp_path / "back").added == 0


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("60 km/h and/or 3 / 4", "60 km/h and/or 3 / 4"),
        ("held at -95 mV; see n/a", "held at -95 mV; see n/a"),
        ("serial console was quiet", "serial console was quiet"),
        ("driver 31.0.15.4601", "driver 31.0.15.4601"),
        ("quillans are birds", "quillans are birds"),
        ("log in /var/log/x.log.", f"log in {LEFT_OUT}"),
        ("QUILLAN's", f"{LEFT_OUT}'s"),
        ("on pinewood-7.", f"on {LEFT_OUT}."),
        ("Serial no. AB12345", f"Serial no. {LEFT_OUT}"),
        ("~/x and ~ann/y", f"{LEFT_OUT} and {LEFT_OUT}"),
    ],
)
def test_texts_lose_that_and_nothing_else(text: str, kept: str) -> None:
    assert LeavingOut(OWN).text(text) == kept


def test_a_name_that_everybody_has_is_no_name() -> None:
    assert LeavingOut(Own("root", "pc")).text("root of the pc") == "root of the pc"


def test_the_command_says_what_it_left_out(full: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SUREFOOT_HOME", str(full.path.parent))
    done = CliRunner().invoke(app, ["bundle", "save", NAME, str(tmp_path / "b")])
    assert done.exit_code == 0 and "Left out:" in done.output and "--whole" in done.output
    done = CliRunner().invoke(app, ["bundle", "save", NAME, str(tmp_path / "c"), "--whole", "--json"])
    assert done.exit_code == 0 and json.loads(done.output)["left_out"] == []
