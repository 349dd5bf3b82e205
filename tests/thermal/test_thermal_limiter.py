"""The limiter: what the hardware says, what is inferred, how sure, and what cannot be told."""

from __future__ import annotations

import numpy as np
import pytest
from made_traces import Part, run_part

from surefoot.runs import Trace
from surefoot.thermal.labels import CODE, LABELS, sureness
from surefoot.thermal.limiter import Limits, limiters

SECONDS = np.arange(600.0)


def gpu(**channels: np.ndarray) -> Trace:
    return Trace(SECONDS, {f"gpu.{name.replace('_', '-')}": values for name, values in channels.items()})


def test_a_reason_decides_alone_and_says_so() -> None:
    reasons = np.where(SECONDS < 150, 0.0, np.where(SECONDS < 450, 4.0, 0x20))
    report = limiters(gpu(reasons=reasons))["gpu"]
    assert report.shares["free"] == pytest.approx(0.25)
    assert report.shares["power"] == pytest.approx(0.5)
    assert report.shares["thermal"] == pytest.approx(0.25)
    assert report.source == "hardware"
    assert "software power cap" in report.rule
    assert report.sure == "high"
    assert report.cannot_judge == ()


def test_a_slowdown_without_a_cause_takes_it_from_the_temperature() -> None:
    hot = gpu(
        reasons=np.full(600, 8.0), temperature=np.full(600, 87.0), power=np.full(600, 60.0), clock=SECONDS * 0 + 1500
    )
    limits = Limits({"gpu": 87}, {"gpu": 100})
    assert limiters(hot, limits)["gpu"].main == "thermal"
    cold = gpu(reasons=np.full(600, 8.0), temperature=np.full(600, 50.0), power=np.full(600, 60.0))
    assert limiters(cold, limits)["gpu"].main == "other"


def test_a_flag_that_is_a_share_of_the_sample_counts_as_that_share() -> None:
    report = limiters(gpu(thermal_flag=np.full(600, 0.3), power_flag=np.full(600, 0.5)))["gpu"]
    assert report.shares["thermal"] == pytest.approx(0.3)
    assert report.shares["power"] == pytest.approx(0.5)
    assert sum(report.shares.values()) == pytest.approx(1.0)


def test_a_current_flag_is_the_only_way_to_current() -> None:
    report = limiters(gpu(current_flag=np.ones(600)))["gpu"]
    assert report.shares["current"] == pytest.approx(1.0)
    without = limiters(gpu(clock=np.full(600, 1500.0)))["gpu"]
    assert without.shares["current"] == 0.0
    assert any("current" in text for text in without.cannot_judge)


def test_a_counter_speaks_when_it_rises_and_its_rest_is_no_denial() -> None:
    count = np.where(SECONDS < 300, 5.0, 5.0 + np.floor((SECONDS - 300) / 4))
    trace = Trace(
        SECONDS,
        {
            "cpu.count.package-throttle": count,
            "cpu.temperature": np.full(600, 96.0),
            "cpu.clock": np.full(600, 3000.0),
            "cpu.power": np.full(600, 40.0),
        },
    )
    report = limiters(trace, Limits({"cpu": 97}, {"cpu": 60}))["cpu"]
    assert report.shares["thermal"] == pytest.approx(1.0, abs=0.02)
    assert {use.label for use in report.rules if "counter" in use.rule} == {"thermal"}
    assert any("ceiling" in use.rule for use in report.rules)


def test_pulses_of_a_processors_flag_do_not_deny_the_power_limit() -> None:
    """A flag made from a counter is set at each beginning of throttling: its silence proves nothing."""
    pulses = np.zeros(600)
    pulses[100] = 1.0
    trace, _ = run_part(Part(), 10, seed=3)
    trace = Trace(trace.seconds, {**trace.channels, "cpu.power-flag": pulses, "cpu.thermal-flag": np.zeros(600)})
    report = limiters(trace, Limits({"cpu": 95}, {"cpu": 45}))["cpu"]
    assert report.shares["power"] > 0.9


def test_a_thermal_flag_that_never_spoke_rules_where_its_neighbour_is_a_state() -> None:
    """A part at its top clock near its ceiling, power-limited for a while: that is no thermal limit when the flag that
    says so was read all along and never set."""
    trace, _ = run_part(Part(power_limit=200.0, ceiling=100.0, full_watts=40.0), 12, seed=5)
    n = len(trace)
    top = float(trace.channels["cpu.temperature"].max())
    # Settled: clock, power and temperature all stand still, and the ceiling on the card is near.
    still = {
        "cpu.clock": np.full(n, 4600.0) + np.random.default_rng(1).normal(0, 40, n),
        "cpu.power": np.full(n, 80.0) + np.random.default_rng(2).normal(0, 2, n),
        "cpu.temperature": np.full(n, round(top)),
    }
    power = (np.arange(n) < n // 3).astype(float)
    limits = Limits({"cpu": round(top)}, {"cpu": 80.0})
    told = {"cpu.power-flag": power, "cpu.thermal-flag": np.zeros(n)}
    report = limiters(Trace(trace.seconds, {**trace.channels, **still, **told}), limits)["cpu"]
    assert report.shares["thermal"] == 0.0
    assert report.shares["power"] == pytest.approx(1 / 3, abs=0.02)
    # A flag that was read for a moment only says nothing of the rest; one of pulses denies nothing.
    seldom = np.where(np.arange(n) < 10, 0.0, np.nan)
    for flag in (seldom, np.where(np.arange(n) == 5, 1.0, 0.0)):
        from surefoot.thermal.flags import said

        found = said(Trace(trace.seconds, {**trace.channels, **told, "cpu.thermal-flag": flag}), "cpu")
        assert "thermal" not in found.knows | found.quiet


def test_a_thermal_flag_alone_that_never_spoke_speaks_against_heat_and_no_more() -> None:
    from surefoot.thermal.flags import said

    hot, _ = run_part(Part(power_limit=200.0, ceiling=75.0), 15, seed=4)
    quiet = Trace(hot.seconds, {**hot.channels, "cpu.thermal-flag": np.zeros(len(hot))})
    found = said(quiet, "cpu")
    assert found.quiet == {"thermal"} and not found.knows
    with_it, without = (limiters(one, Limits())["cpu"].shares["thermal"] for one in (quiet, hot))
    # A trace that shows the heat plainly is believed all the same: some firmwares never set the flag.
    assert without > 0.8 and with_it == pytest.approx(without, abs=0.03)


def test_short_and_long_power_limits_are_two_plateaus() -> None:
    trace, _ = run_part(Part(short_limit=60.0, short_seconds=56.0, power_limit=42.0, ceiling=110), 15, seed=2)
    for limits in (Limits(), Limits({"cpu": 110}, {"cpu": 42.0})):
        report = limiters(trace, limits)["cpu"]
        assert [level.kind for level in report.plateaus] == ["short-term", "long-term"]
        short, long = report.plateaus
        assert short.watts == pytest.approx(60.0, rel=0.02)
        assert long.watts == pytest.approx(42.0, rel=0.02)
        assert short.to_minutes <= 1.1 <= long.to_minutes
        assert report.shares["power"] > 0.95


def test_a_limit_that_the_machine_reports_beats_the_card() -> None:
    trace, _ = run_part(Part(power_limit=40.0), 10, seed=1)
    reported = Trace(trace.seconds, {**trace.channels, "cpu.power-limit.long": np.full(600, 40.0)})
    report = limiters(reported, Limits({}, {"cpu": 90.0}))["cpu"]
    assert report.power_limit_watts == 40.0
    assert report.main == "power"
    assert "within 3% of its limit" in report.rule


def test_a_single_core_clock_limit_is_not_the_clock_of_this_load() -> None:
    """Kernels report the highest clock of one core: a free all-core load stays below it and is free all the same."""
    trace, _ = run_part(Part(power_limit=200.0, ceiling=100.0, full_watts=40.0), 12, seed=5)
    reported = Trace(trace.seconds, {**trace.channels, "cpu.clock-limit": np.full(len(trace), 5200.0)})
    assert limiters(reported, Limits({"cpu": 100.0}, {"cpu": 200.0}))["cpu"].shares["free"] > 0.9
    capped = Trace(trace.seconds, {**trace.channels, "cpu.clock-limit": np.full(len(trace), 4200.0)})
    assert "highest allowed" in limiters(capped, Limits({"cpu": 100.0}, {"cpu": 200.0}))["cpu"].rule


def test_a_hidden_power_limit_is_found_under_the_one_reported() -> None:
    trace, _ = run_part(Part(power_limit=53.0, ceiling=110.0), 15, seed=6)
    report = limiters(trace, Limits({"cpu": 110.0}, {"cpu": 120.0}))["cpu"]
    assert report.shares["power"] > 0.9
    assert "under the limit that is known" in report.rule
    assert "held at 53.0 W" in report.contradicted[0]
    assert "120 W" in report.contradicted[0]


def _population(mode: str, units: int) -> tuple[list[float], list[tuple[float, bool]]]:
    """Share of samples named rightly by trace, and (confidence, right) of every main ruling."""
    rates, calls = [], []
    for seed in range(units):
        random = np.random.default_rng(1000 + seed)
        full = random.uniform(50, 90)
        kind = ("power", "thermal", "free", "two")[seed % 4]
        part = Part(
            full_watts=full,
            power_limit=full * random.uniform(0.5, 0.9) if kind in ("power", "two") else 200.0,
            short_limit=full if kind == "two" else None,
            ceiling=random.uniform(80, 92) if kind == "thermal" else 110.0,
            die_kelvin_per_watt=0.6 if kind == "thermal" else random.uniform(0.2, 0.35),
            sink_kelvin_per_watt=0.8 if kind == "thermal" else random.uniform(0.3, 0.5),
            sink_seconds=random.uniform(120, 300),
        )
        trace, truth = run_part(part, 12, seed, idle_before=seed % 2)
        limits = Limits() if mode == "unknown" else Limits({"cpu": part.ceiling}, {"cpu": part.power_limit})
        channels = {name: values for name, values in trace.channels.items() if mode != "no-use" or "busy" not in name}
        report = limiters(Trace(trace.seconds, channels), limits)["cpu"]
        right = report.labels == truth
        rates.append(float(right.mean()))
        for use in report.rules:
            if use.label != "unknown" and use.share > 0.02:
                of = report.labels == CODE[use.label]
                calls.append((use.confidence, bool(right[of].mean() > 0.5)))
    return rates, calls


@pytest.mark.parametrize(("mode", "least"), [("known", 0.95), ("unknown", 0.93), ("no-use", 0.95)])
def test_generated_limiters_are_named_rightly(mode: str, least: float) -> None:
    rates, calls = _population(mode, 16)
    assert np.mean(rates) > least
    assert min(rates) > 0.7
    sure = [right for confidence, right in calls if sureness(confidence) == "high"]
    assert np.mean(sure) >= 0.95
    medium = [right for confidence, right in calls if sureness(confidence) == "medium"]
    assert not medium or np.mean(medium) >= 0.6


def test_a_free_part_at_a_steady_temperature_is_not_called_throttled() -> None:
    trace, _ = run_part(Part(power_limit=200.0, ceiling=100.0, full_watts=40.0), 20, seed=5)
    for limits in (Limits(), Limits({"cpu": 100.0}, {"cpu": 200.0})):
        report = limiters(trace, limits)["cpu"]
        assert report.main == "free"
        assert report.shares["thermal"] == 0.0


def test_what_is_missing_is_said() -> None:
    trace = Trace(SECONDS, {"cpu.temperature": np.full(600, 70.0)})
    report = limiters(trace)["cpu"]
    said = " ".join(report.cannot_judge)
    for word in ("clock", "power", "ceiling"):
        assert word in said
    assert report.main == "unknown"
    assert report.confidence == 0.0


def test_without_samples_nothing_is_claimed() -> None:
    report = limiters(Trace(np.zeros(0), {"cpu.clock": np.zeros(0)}))["cpu"]
    assert set(report.shares) == set(LABELS)
    assert sum(report.shares.values()) == 0.0
    assert report.labels.shape == (0,)
    assert report.cannot_judge


def test_a_pause_of_the_logger_is_not_shared_out() -> None:
    seconds = np.concatenate([np.arange(100.0), 10_000 + np.arange(100.0)])
    reasons = np.concatenate([np.full(100, 4.0), np.full(100, 0.0)])
    report = limiters(Trace(seconds, {"gpu.reasons": reasons}))["gpu"]
    assert report.shares["power"] == pytest.approx(0.5, abs=0.02)


def test_an_idle_bit_on_a_part_that_works_is_not_believed() -> None:
    """Seen on a data-centre card: bit 0x1 stayed set at full clock and 90 % use."""
    n = 120
    trace = Trace(
        np.arange(float(n)),
        {
            "gpu.reasons": np.full(n, 1.0),
            "gpu.busy": np.r_[np.zeros(40), np.full(80, 90.0)],
            "gpu.clock": np.r_[np.full(40, 345.0), np.full(80, 1980.0)],
            "gpu.power": np.r_[np.full(40, 70.0), np.full(80, 250.0)],
        },
    )
    report = limiters(trace, None)["gpu"]
    assert report.shares["idle"] == pytest.approx(1 / 3, abs=0.06)
    assert report.shares["free"] == pytest.approx(2 / 3, abs=0.06)
