"""The demo read line by line against its own journal: what recall, compare and the report say is what the runs say.

The sums are done anew here, from the runs as they lie in the journal, by nothing of the product but its records.
"""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from surefoot.cli.main import app
from surefoot.journal import Journal
from surefoot.report.view import PageView
from surefoot.runs import Outcome, Run
from surefoot.units import Setting

NAME = "shoebox-3"
BOTH = "whole-bench"


@pytest.fixture(scope="module")
def runs(demo_home: Path) -> list[Run]:
    with Journal.open(demo_home, read_only=True) as journal:
        return journal.runs(NAME)


def said(home: Path, *arguments: str) -> str:
    done = CliRunner(env={"SUREFOOT_HOME": str(home), "COLUMNS": "200"}).invoke(app, list(arguments))
    assert done.exit_code == 0, done.output
    return done.stdout


def known_setting(home: Path) -> Setting:
    return Setting(values=json.loads(said(home, "recall", NAME, "--json"))["setting"])


def test_no_run_above_its_ceiling_is_called_held(demo_home: Path, runs: list[Run]) -> None:
    with Journal.open(demo_home, read_only=True) as journal:
        ceilings = journal.unit(NAME).ceilings_celsius
        seen = 0
        for run in runs:
            trace = journal.trace(run.id)
            for domain, ceiling in ceilings.items():
                celsius = trace.get(f"{domain}.temperature")
                if run.outcome is Outcome.HELD and celsius is not None and len(celsius):
                    assert celsius.max() <= ceiling, (run.id, domain)
                    seen += 1
    assert seen >= 40


def test_the_hours_of_the_answer_are_those_of_its_runs(demo_home: Path, runs: list[Run]) -> None:
    setting = known_setting(demo_home)
    text = " ".join(said(demo_home, "recall", NAME).split())
    assert setting.describe() in text.replace(" mV", "").replace(" MHz", "")
    together = [run for run in runs if run.outcome is Outcome.HELD and run.setting == setting and run.plan.load == BOTH]
    hours = sum(run.minutes for run in together) / 60
    found = re.search(r"the ([0-9.]+) (h|min) held together there or deeper bear out ([0-9.]+) h", text)
    assert found, text
    told = float(found[1]) / (60 if found[2] == "min" else 1)
    assert told == pytest.approx(hours, abs=0.06)
    # Hours without a failure bear out T / -ln(1 - C) (zero-failure bound, NIST/SEMATECH e-Handbook).
    assert float(found[3]) == pytest.approx(hours / -math.log(0.1), rel=0.02)
    assert not any(run.outcome is Outcome.RESET and run.setting == setting for run in runs)


def test_the_reports_first_sentence_counts_the_runs(view: PageView, runs: list[Run]) -> None:
    crashes = sum(run.outcome is not None and run.outcome.is_crash for run in runs)
    hours = sum(run.minutes for run in runs) / 60
    found = re.search(r"It took (\d+) runs, ([0-9.]+) h under load, (\d+) crash", view.sentence)
    assert found is not None
    assert (int(found[1]), float(found[2]), int(found[3])) == (len(runs), pytest.approx(hours, abs=0.05), crashes)
    assert crashes >= 1 and "virtual" in view.sentence and "virtual" in view.stamp


def test_the_titles_of_the_search_say_where_it_failed_and_how_often(view: PageView, runs: list[Run]) -> None:
    for picture in view.pictures():
        if not picture.key.startswith("search-path-"):
            continue
        knob = picture.key.removeprefix("search-path-")
        failed = [run for run in runs if run.plan.knob == knob and run.outcome in (Outcome.RESET, Outcome.MISCOMPUTE)]
        found = re.search(r"failed from ([−+]\d+) .* on \((\d+) runs?(?: there, (\d+) deeper)?\)", picture.title)
        assert bool(found) == bool(failed), picture.title
        if found:
            shallowest = min(abs(run.setting.value(knob)) for run in failed)
            assert abs(float(found[1].replace("−", "-"))) == shallowest
            there = sum(abs(run.setting.value(knob)) == shallowest for run in failed)
            assert (int(found[2]), int(found[3] or 0)) == (there, len(failed) - there)


def test_the_gains_are_the_differences_of_the_journals_scores(demo_home: Path, view: PageView, runs: list[Run]) -> None:
    """What `compare` reports of a trial, done anew: the mean, over the blocks that hold both, of the differences within
    a block (complete blocks: Fisher 1935), in percent of the mean of all of the baseline's runs. Configurations that
    share no block: the difference of the means of all their runs."""
    with Journal.open(demo_home, read_only=True) as journal:
        scores = journal.scores(NAME)
    by_id = {run.id: run for run in runs}

    def values(score: str, stage: str) -> dict[int, float]:
        """By run."""
        return {
            one.run_id: one.score.value
            for one in scores
            if one.score.name == score and one.run_id is not None and by_id[one.run_id].plan.note == stage
        }

    def percent(score: str, stage: str, stock: str) -> tuple[float, int]:
        """The difference in percent of the baseline, and in how many blocks both are."""
        mine, base = values(score, stage), values(score, stock)
        level = float(np.mean(list(base.values())))
        blocks = [{by_id[run].plan.place: value for run, value in one.items()} for one in (mine, base)]
        placed = [{(at.trial, at.block): value for at, value in one.items() if at is not None} for one in blocks]
        shared = sorted(set(placed[0]) & set(placed[1]))
        if shared:
            table = np.array([[one[block] for one in placed] for block in shared])
            return 100 * float(np.mean(table[:, 0] - table[:, 1])) / level, len(shared)
        return 100 * (float(np.mean(list(mine.values()))) - level) / level, 0

    answer = view.sections[0].answer
    assert answer is not None
    looked = 0
    for group, stock, blocks in zip(answer.gains, ("dust out", "as it came in"), (5, 0), strict=True):
        for figure in group.figures:
            if "°C" in figure.value:
                continue
            expected, shared = percent(figure.what, "dust out, tuned", stock)
            assert shared == blocks
            # To the last digit shown.
            assert float(figure.value.split()[0].replace("−", "-")) == pytest.approx(expected, abs=0.0501), figure
            looked += 1
    assert looked >= 6
    assert len(values("gear sums", "dust out")) == 10 and len(values("gear sums", "as it came in")) == 5
    # The same figures in the terminal, and to the last bit for programs: the pair alone, and beside all others.
    for stock, others in (("dust out", ()), ("dust out", ("counter", "counter, tuned")), ("as it came in", ())):
        asked = ("compare", NAME, "dust out, tuned", *others, "--baseline", stock, "--metric", "gear sums")
        expected, shared = percent("gear sums", "dust out, tuned", stock)
        mean = float(np.mean(list(values("gear sums", stock).values())))
        text = said(demo_home, *asked)
        assert f"{expected:+.1f} %" in text and f"{mean:.0f} ±" in text
        made = json.loads(said(demo_home, *asked, "--json"))["comparison"]
        names = {one["key"]: one["name"] for one in made["configurations"]}
        cells = made["rows"][0]["cells"]
        gain = next(one["gain"] for one in cells if names[one["configuration"]] == "dust out, tuned")
        assert gain["percent"] == pytest.approx(expected, rel=1e-9) and gain["blocks"] == shared


def test_the_hottest_surface_is_the_hottest_reading(demo_home: Path, view: PageView, runs: list[Run]) -> None:
    with Journal.open(demo_home, read_only=True) as journal:
        read = [one for one in journal.readings(NAME) if one.reading.kind == "surface"]
    most = max(read, key=lambda one: one.reading.value)
    title = next(picture.title for picture in view.pictures() if picture.key == "surfaces")
    stage = next(run.plan.note for run in runs if run.id == most.run_id)
    assert f"{most.reading.value:.1f} °C" in title and stage in title and (most.reading.place or "").lower() in title
