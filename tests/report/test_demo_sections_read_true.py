"""The sections of the demo's report against its journal, the sums done anew from runs, traces and readings."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np
import pytest

from surefoot.journal import Journal
from surefoot.report.material import Material
from surefoot.report.view import PageView, Section
from surefoot.runs import Outcome, Run, Trace

NAME = "shoebox-3"
FAILED = (Outcome.RESET, Outcome.MISCOMPUTE)


@pytest.fixture(scope="module")
def runs(demo_home: Path) -> dict[int, Run]:
    with Journal.open(demo_home, read_only=True) as journal:
        return {run.id: run for run in journal.runs(NAME)}


@pytest.fixture(scope="module")
def traces(demo_home: Path, runs: dict[int, Run]) -> dict[int, Trace]:
    with Journal.open(demo_home, read_only=True) as journal:
        return {number: journal.trace(number) for number in runs}


def section(view: PageView, key: str) -> Section:
    return next(one for one in view.sections if one.key == key)


def said_number(text: str) -> float:
    return float(text.replace("−", "-").replace(",", "").replace("+", ""))


def stage_runs(runs: dict[int, Run]) -> dict[str, list[Run]]:
    """The measured runs by the name of their configuration, which the demo's story writes beside each run."""
    found: dict[str, list[Run]] = defaultdict(list)
    for run in runs.values():
        if run.plan.purpose == "measure":
            found[run.plan.note].append(run)
    return found


def test_the_search_counts_its_runs_hours_and_failures(view: PageView, runs: dict[int, Run]) -> None:
    searched = [run for run in runs.values() if run.plan.purpose in ("search", "joint")]
    found = re.search(r"^(\d+) runs, ([0-9.]+) h under load, (\d+) failures?\.", section(view, "search").lead)
    assert found is not None
    failures = sum(run.outcome in FAILED for run in searched)
    hours = sum(run.minutes for run in searched) / 60
    assert (int(found[1]), int(found[3])) == (len(searched), failures) and float(found[2]) == pytest.approx(
        hours, abs=0.051
    )
    for picture in view.pictures():
        if picture.key.startswith("search-path-"):
            knob = picture.key.removeprefix("search-path-")
            mine = [
                run for run in searched if run.plan.knob == knob or (run.plan.purpose == "joint" and run.setting.values)
            ]
            ends = Counter(run.outcome.value for run in mine if run.outcome)
            told = re.search(r"(\d+) runs: (.*)\.$", picture.description)
            assert told is not None and int(told[1]) == len(mine)
            assert {part.split()[1]: int(part.split()[0]) for part in re.split(", | and ", told[2])} == ends


def test_pass_and_fail_counts_every_run_of_the_two_knobs(view: PageView, runs: dict[int, Run]) -> None:
    (picture,) = (one for one in view.pictures() if one.key.startswith("pass-fail-"))
    found = re.search(r"(\d+) runs held, (\d+) failed", picture.title)
    assert found is not None
    ends = [run.outcome for run in runs.values()]
    assert (int(found[1]), int(found[2])) == (ends.count(Outcome.HELD), sum(end in FAILED for end in ends))


def test_the_edge_is_said_as_its_density_has_it(view: PageView, material: Material) -> None:
    for knob in material.unit.leaders():
        found = material.edges[knob.name]
        picture = next(one for one in view.pictures() if one.key == f"edge-{knob.name}")
        told = re.search(r"(\d+) to (\d+) \w+ deep \(80 % of the density\)", picture.description)
        assert told is not None
        share = found.edge_density / found.edge_density.sum()
        # Told in whole units, of a density in cells: half a unit and half a cell either way.
        either_way = 0.5 + 0.5 * (found.depths[1] - found.depths[0])
        low, high = float(told[1]), float(told[2])
        least, most = (
            share[(found.depths >= low + off) & (found.depths <= high - off)].sum() for off in (either_way, -either_way)
        )
        assert least - 0.01 <= 0.8 <= most + 0.01
        known = material.known
        assert known is not None
        claim = known.certificates[knob.name]
        where = re.search(r"recommended ([−+]\d+) \w+, edge near ([−+]\d+)", picture.title)
        assert where is not None and said_number(where[1]) == knob.value_at(claim.depth)
        assert said_number(where[2]) == knob.value_at(round(claim.edge_depth))
        # The dashed line of the drawing stands where the title says.
        assert picture.draw.args[4:6] == (knob.value_at(claim.depth), knob.value_at(claim.edge_depth))  # type: ignore[attr-defined]


def test_hours_between_failures_are_borne_out_by_the_lower_bound(view: PageView, material: Material) -> None:
    for knob in material.unit.leaders():
        found = material.edges[knob.name]
        picture = next(one for one in view.pictures() if one.key == f"hours-between-failures-{knob.name}")
        told = re.search(r"(\d+) h between failures are borne out to ([−+]\d+)", picture.title)
        assert told is not None and float(told[1]) == material.goal.mttf_hours
        depth = knob.depth_of(said_number(told[2]))
        here, deeper = np.exp(np.interp([depth, depth + knob.step], found.depths, np.log(found.mttf_low)))
        assert here >= material.goal.mttf_hours > deeper


def test_the_border_of_both_knobs_adds_their_hazards(view: PageView, material: Material) -> None:
    (picture,) = (one for one in view.pictures() if one.key.startswith("pass-fail-"))
    border = next(one for one in picture.draw.args if {"x", "y"} == set(getattr(one, "columns", ())))  # type: ignore[attr-defined]
    first, second = (material.edges[name] for name in ("cpu-core", "gpu-core"))
    for x, y in border[["x", "y"]].itertuples(index=False):
        bounds = [one.mttf_low[int(np.argmin(abs(one.depths - abs(at))))] for one, at in ((first, x), (second, y))]
        assert sum(1 / bound for bound in bounds) <= 1 / material.goal.mttf_hours * (1 + 1e-9)


def test_thermals_over_time_say_what_the_traces_hold(
    view: PageView, runs: dict[int, Run], traces: dict[int, Trace]
) -> None:
    shown = dict(
        re.findall(r"(?:^|, )([^:]+?): run (\d+)", section(view, "thermals").after.removeprefix("Runs shown. "))
    )
    assert len(shown) == 5
    for name, number in shown.items():
        # Held to the end, the longest, then the latest.
        same = stage_runs(runs)[name]
        longest = max(round(run.minutes) for run in same)
        assert int(number) == max(run.id for run in same if round(run.minutes) == longest)
    looked = 0
    for picture in view.pictures():
        if not picture.key.startswith("over-time-"):
            continue
        channel = picture.key.removeprefix("over-time-").replace("-", ".")
        got = {name: traces[int(number)].get(channel) for name, number in shown.items()}
        late = {
            name: float(
                np.nanmean(values[traces[int(shown[name])].seconds >= 0.75 * traces[int(shown[name])].seconds[-1]])
            )
            for name, values in got.items()
            if values is not None
        }
        for name, value in re.findall(r"(?:quarter: |; )(.+?) ([−\d.,]+) [^\d;]+?(?=;|\.$)", picture.description):
            assert said_number(value) == pytest.approx(late[name], rel=0.01, abs=0.6), (picture.key, name)
            looked += 1
        if "peaks at" in picture.title:
            told = re.search(r"peaks at (\d+) °C in “(.+)”", picture.title)
            most = {name: float(np.nanmax(values)) for name, values in got.items() if values is not None}
            assert (
                told is not None and float(told[1]) == round(max(most.values())) and most[told[2]] == max(most.values())
            )
        else:
            told = re.search(r"settles at ([\d.,]+) \S+ in “(.+)”", picture.title)
            assert told is not None and said_number(told[1]) == pytest.approx(late[told[2]], rel=0.01)
    assert looked >= 30


def test_limiters_are_named_by_what_took_most_of_the_time(view: PageView) -> None:
    for picture in view.pictures():
        if not picture.key.startswith("limiters-"):
            continue
        frame = picture.data
        assert frame is not None
        said = {"thermal": "temperature", "power": "its power limit"}
        for limiter, name in re.findall(r"by ([a-z ]+) in “([^”]+)”", picture.title):
            mine = frame[frame["configuration"] == name]
            most = mine.loc[mine["share"].idxmax()]
            assert said[str(most["limiter"])] == limiter and float(most["share"]) >= 1 / len(mine)


def test_the_trial_is_drawn_in_the_order_it_was_measured(view: PageView, runs: dict[int, Run]) -> None:
    pictures = [one for one in view.pictures() if one.key.startswith("order-")]
    assert pictures
    for picture in pictures:
        frame = picture.table
        numbers = [int(text.removeprefix("run ")) for text in frame["run"]]
        begun = [runs[number].opened_at for number in numbers]
        assert begun == sorted(begun) and list(frame["order"]) == list(range(1, len(numbers) + 1))
        for number, block, name in zip(numbers, frame["block"], frame["configuration"], strict=True):
            place = runs[number].plan.place
            assert block == (f"block {place.block} of trial {place.trial}" if place else "in no block")
            assert runs[number].plan.note == name


def test_conditions_are_those_of_the_runs(view: PageView, runs: dict[int, Run]) -> None:
    (table,) = section(view, "conditions").tables
    titles = [column.title for column in table.columns]
    assert len(table.rows) == 5
    for row in table.rows:
        told = dict(zip(titles, (cell.text for cell in row), strict=True))
        mine = stage_runs(runs)[told["configuration"]]
        rooms = [run.plan.conditions.ambient_celsius for run in mine]
        assert told["room, °C"] == f"{min(filter(None, rooms)):.1f}–{max(filter(None, rooms)):.1f}"
        assert int(told["runs"]) == len(mine)
        assert {run.plan.conditions.cooling for run in mine} == {told["cooling"]}
        assert {run.plan.conditions.power_mode for run in mine} == {told["power mode"]}


def test_every_run_is_listed_as_it_lies_in_the_journal(view: PageView, runs: dict[int, Run]) -> None:
    made = section(view, "runs")
    found = re.search(r"^(\d+) runs, ([0-9.]+) h under load\.", made.lead)
    assert found is not None and int(found[1]) == len(runs)
    assert float(found[2]) == pytest.approx(sum(run.minutes for run in runs.values()) / 60, abs=0.051)
    for row in made.tables[0].rows:
        texts = [cell.text for cell in row]
        run = runs[int(texts[0])]
        assert texts[1] == f"{run.opened_at:%Y-%m-%d %H:%M}" and texts[5] == (run.outcome and run.outcome.value)
        assert float(texts[6]) == pytest.approx(run.minutes, abs=0.051)


def test_the_table_of_certificates_counts_hours_and_failures(view: PageView, material: Material) -> None:
    answer, known = view.sections[0].answer, material.known
    assert answer is not None and answer.table is not None and known is not None
    for row in answer.table.rows:
        name, setting, _, hours, failures, *_ = (cell.text for cell in row)
        depth = abs(said_number(setting.split()[0]))
        pieces = material.evidence[name]
        held = sum(one.minutes for one in pieces if one.depth >= depth and not one.failed) / 60
        assert float(hours) <= held + 0.051 and float(hours) > 0.5 * held
        assert int(failures) == sum(one.failed for one in pieces if one.depth <= depth)


def test_the_answer_names_leaders_and_what_moved_with_them(view: PageView, material: Material) -> None:
    answer, known = view.sections[0].answer, material.known
    assert answer is not None and known is not None
    assert answer.gains[0].figures[0].detail.endswith("; real"), "what is real comes first"
    leaders = {knob.name for knob in material.unit.leaders()}
    assert {text.split()[0] for text in answer.setting} == leaders
    assert answer.aside.startswith("Moved along with their leader: cpu-cache ")
    # The demo held both together, under a load that goes from idle to full and back.
    assert not known.needs_joint_run and known.transition_tried and len(answer.small) == 1
    assert [one.detail.endswith("; real") for one in answer.gains[0].figures] == sorted(
        (one.detail.endswith("; real") for one in answer.gains[0].figures), reverse=True
    )
    assert (
        answer.gains[0].title == "What the setting brought by itself" and "nothing else differs" in answer.gains[0].says
    )
    assert "as it came in" in answer.gains[1].says and "cooling" in answer.gains[1].says


def test_the_supply_is_judged_by_the_most_it_drew(demo_home: Path, view: PageView, runs: dict[int, Run]) -> None:
    with Journal.open(demo_home, read_only=True) as journal:
        watts: dict[str, list[float]] = defaultdict(list)
        for entry in journal.readings(NAME):
            if entry.reading.kind == "wall-power" and entry.reading.state == "load" and entry.run_id is not None:
                watts[runs[entry.run_id].plan.note].append(entry.reading.value)
    (table,) = section(view, "noise").tables
    assert len(table.rows) == len(watts)
    for row in table.rows:
        assert int(row[1].text) == round(max(watts[row[0].text]))


def test_a_star_stands_at_what_is_real_and_nowhere_else(view: PageView) -> None:
    cells = [cell.text for cell in (c for row in section(view, "compared").tables[0].rows for c in row)]
    assert any("*" in text for text in cells)
    for picture in view.pictures():
        if picture.key.startswith("measure-"):
            for verdict, text in zip(
                picture.table["verdict"], picture.description.partition(". ")[2].split("; "), strict=True
            ):
                assert ("*" in text) == (verdict.startswith("really ")), (verdict, text)


def test_the_surfaces_say_of_how_many_readings(demo_home: Path, view: PageView, runs: dict[int, Run]) -> None:
    with Journal.open(demo_home, read_only=True) as journal:
        read = Counter(
            (runs[one.run_id].plan.note, one.reading.place)
            for one in journal.readings(NAME)
            if one.reading.kind == "surface" and one.reading.state == "load" and one.run_id is not None
        )
    picture = next(one for one in view.pictures() if one.key == "surfaces")
    least, most = min(read.values()), max(read.values())
    assert least < most and f"{least} to {most} readings" in picture.says
    for name, place, count in picture.table[["configuration", "place", "readings"]].itertuples(index=False):
        assert read[name, place] == count


def test_intervals_stand_around_their_means_and_come_from_the_runs(view: PageView) -> None:
    looked = 0
    for picture in view.pictures():
        if not picture.key.startswith("measure-"):
            continue
        assert picture.data is not None
        for name, mean, low, high, count in picture.table[["configuration", "mean", "low", "high", "runs"]].itertuples(
            index=False
        ):
            mine = picture.data.loc[picture.data["configuration"] == name, "value"]
            assert len(mine) == count
            spread = float(mine.std(ddof=1))
            if spread > 0 and not picture.key.startswith("measure-sound"):
                # Never narrower than Student's interval of the runs (about two standard errors of the mean).
                assert mean - low >= 1.9 * spread / count**0.5 and high - mean >= 1.9 * spread / count**0.5
                looked += 1
    assert looked >= 30


def test_each_measure_stands_in_its_own_section(view: PageView) -> None:
    def keys(name: str) -> set[str]:
        return {picture.key for block in section(view, name).blocks for picture in block.charts}

    assert "measure-wall-power-load" in keys("noise") and not any("wall" in key for key in keys("heat"))
    assert {f"measure-{part}-{what}" for part in ("cpu", "gpu") for what in ("temperature", "clock", "power")} == keys(
        "heat"
    )
