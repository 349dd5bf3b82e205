"""Single lines of a log by what was recognised of the whole, and a file that grows, rotates and stands still."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from surefoot.errors import MachineError
from surefoot.logs import read_log
from surefoot.logs.following import RowReader
from surefoot.rig.sensors.growing_log import GrowingLog

HEAD = "Zeit;CPU Paket [°C];CPU Takt [MHz];CPU Leistung [W];GPU Temperatur [°C];Drosselung\n"


def line(second: int, celsius: float = 61.5, watts: str = "27,4") -> str:
    number = f"{celsius:.1f}".replace(".", ",")
    time = f"{9 + second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d}"
    return f"2031-05-04 {time};{number};3.912;{watts};48,0;nein\n"


def some(count: int, start: int = 0) -> str:
    return "".join(line(start + number, 60 + number % 3) for number in range(count))


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "log.csv"
    path.write_text(HEAD + some(5), encoding="utf-8")
    return path


def append(path: Path, text: str) -> None:
    with path.open("a", encoding="utf-8", newline="") as out:
        out.write(text)


def test_a_line_reads_as_it_does_in_the_whole_log():
    text = HEAD + some(9)
    log = read_log(text.encode())
    reader = RowReader.of(log)
    for number, row in enumerate(text.splitlines()[1:]):
        sample = reader.read(row)
        assert sample == {name: pytest.approx(values[number]) for name, values in log.trace.channels.items()}


@pytest.mark.parametrize(
    "row",
    ["", "rubbish", HEAD.strip(), line(1).strip()[:30], line(1).strip() + ";7", "1;2;3;4;5;6;7;8", "Mittel;a;b;c;d;e"],
)
def test_what_is_no_line_of_samples_is_none(row):
    reader = RowReader.of(read_log((HEAD + some(9)).encode()))
    assert reader.read(row) is None


def test_what_no_sensor_can_say_is_left_out_of_the_sample():
    reader = RowReader.of(read_log((HEAD + some(9)).encode()))
    sample = reader.read(line(3, celsius=3896.0).strip())
    assert sample is not None and "cpu.temperature" not in sample and sample["cpu.power"] == pytest.approx(27.4)


def test_it_follows_and_waits_for_the_rest_of_a_line(file, clock):
    log = GrowingLog(file, clock=clock)
    assert log.read()["cpu.temperature"] == pytest.approx(61.0)
    whole = line(5, 77.0)
    append(file, whole[:31])
    clock.now = 1.0
    assert log.read()["cpu.temperature"] == pytest.approx(61.0)
    append(file, whole[31:])
    assert log.read()["cpu.temperature"] == pytest.approx(77.0)
    assert log.channels() == tuple(RowReader.of(log.log).channels)


def test_a_log_that_stands_still_tells_nothing_after_five_seconds(file, clock):
    log = GrowingLog(file, clock=clock)
    clock.now = 4.9
    assert log.read()
    clock.now = 5.1
    assert log.read() == {} and "not grown" in log.missing()[0]
    append(file, line(9, 70.0))
    assert log.read()["cpu.temperature"] == 70.0 and log.missing() == ()


def test_one_that_is_written_every_ten_seconds_has_longer(tmp_path, clock):
    path = tmp_path / "slow.csv"
    path.write_text(HEAD + "".join(line(10 * number) for number in range(5)))
    log = GrowingLog(path, clock=clock)
    clock.now = 24.0
    assert log.interval_seconds == 10 and log.read()
    clock.now = 26.0
    assert log.read() == {}


@pytest.mark.parametrize("how", ["moved away", "cut to nothing"])
def test_rotation(file, clock, how):
    log = GrowingLog(file, clock=clock)
    log.read()
    if how == "moved away":
        os.rename(file, file.with_suffix(".old"))
    file.write_text(HEAD + line(60, 81.0))
    assert log.read()["cpu.temperature"] == 81.0
    append(file, line(61, 82.0))
    assert log.read()["cpu.temperature"] == 82.0


def test_while_it_is_away_nothing_is_raised(file, clock):
    log = GrowingLog(file, clock=clock)
    file.unlink()
    clock.now = 1.0
    assert log.read()
    clock.now = 6.0
    assert log.read() == {}


def test_another_header_is_another_log(file, clock):
    """Its program was started again with other columns: the old places would tell nonsense."""
    log = GrowingLog(file, clock=clock)
    append(file, "Zeit;GPU Temperatur [°C];CPU Paket [°C]\n")
    append(file, "2031-05-04 09:05:00;51,0;66,0\n")
    log.read()
    append(file, "2031-05-04 09:05:01;52,0;67,0\n2031-05-04 09:05:02;53,0;68,0\n")
    sample = log.read()
    assert (sample["cpu.temperature"], sample["gpu.temperature"]) == (68.0, 53.0)
    append(file, "2031-05-04 09:05:03;54,0;69,0\n")
    assert log.read()["cpu.temperature"] == 69.0


def test_the_same_header_again_is_passed_over(file, clock):
    log = GrowingLog(file, clock=clock)
    append(file, HEAD + line(30, 72.0))
    assert log.read()["cpu.temperature"] == 72.0


def test_a_cell_inserted_half_way_is_not_believed(file, clock):
    log = GrowingLog(file, clock=clock)
    append(file, line(6, 70.0))
    log.read()
    append(file, line(7, 90.0).replace(";", ";0;", 1))
    assert log.read()["cpu.temperature"] == 70.0


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings(tmp_path, clock, encoding):
    path = tmp_path / "log.csv"
    path.write_bytes((HEAD + some(5)).encode(encoding))
    log = GrowingLog(path, clock=clock)
    plain = "utf-16-le" if encoding == "utf-16" else encoding.removesuffix("-sig")
    raw = line(6, 71.0).encode(plain)
    with path.open("ab") as out:
        out.write(raw[:37])
    log.read()
    with path.open("ab") as out:
        out.write(raw[37:])
    assert log.read()["cpu.temperature"] == 71.0


def test_a_long_log_is_begun_at_its_end(tmp_path, clock):
    path = tmp_path / "long.csv"
    path.write_text(HEAD + some(20_000 // 60 * 60))
    log = GrowingLog(path, clock=clock)
    before = log.read()
    assert before
    append(path, "".join(line(number % 3000, 64.0) for number in range(30_000)) + line(1, 88.0))
    assert log.read()["cpu.temperature"] == 88.0


@pytest.mark.parametrize("data", [b"", b"hello\n", b"a,b\n1,2\n", b"\x00\x01\x02" * 50])
def test_what_is_no_log_is_said(tmp_path, data):
    path = tmp_path / "no.csv"
    path.write_bytes(data)
    with pytest.raises(MachineError) as raised:
        GrowingLog(path)
    assert "no.csv" in raised.value.message()


def test_no_file_is_said(tmp_path):
    with pytest.raises(MachineError, match=r"gone\.csv"):
        GrowingLog(tmp_path / "gone.csv")


def test_a_log_that_tells_no_time_can_be_followed(tmp_path, clock):
    path = tmp_path / "no-time.csv"
    path.write_text("CPU Temp (C),CPU Power (W)\n61,20.5\n62,21.5\n")
    assert GrowingLog(path, clock=clock).read() == {"cpu.temperature": 62.0, "cpu.power": 21.5}
