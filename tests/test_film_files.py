"""Gauge files in, and the film line's commands: what is asked by the manual comes out, and bad files are named."""

import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet

from reelmark.demo.gauge import Film, scan
from reelmark.errors import BadValue, Problem
from reelmark.io.gauge import read_gauge, read_spectrum

HEAD = "roll,time_s,metre_m,across_mm,gauge_um\n"


def reelmark(*words: str, code: int = 0) -> Any:
    done = subprocess.run(
        [sys.executable, "-m", "reelmark", *words, "--json"], capture_output=True, text=True, check=False
    )
    assert done.returncode == code, done.stdout + done.stderr
    return json.loads(done.stdout or done.stderr)


def test_csv_and_parquet_say_the_same(tmp_path: Path) -> None:
    rows = [("F02", 0.0, 0.0, 10.0, 75.1), ("F01", 0.5, 0.25, 20.5, 74.9), ("F02", 1.0, 0.5, 30.0, 75.0)]
    csv = tmp_path / "g.csv"
    csv.write_text(HEAD + "".join(",".join(map(str, row)) + "\n" for row in rows), encoding="utf-8")
    table = pa.table({name: [row[i] for row in rows] for i, name in enumerate(HEAD.strip().split(","))})
    parquet.write_table(table, tmp_path / "g.parquet")
    one, two = read_gauge(csv), read_gauge(tmp_path / "g.parquet")
    assert list(one) == list(two) == ["F02", "F01"]
    for roll in one:
        for name in one[roll]:
            assert np.array_equal(one[roll][name], two[roll][name])
    assert one["F02"]["gauge_um"].tolist() == [75.1, 75.0]


def test_a_roll_named_by_figures_stays_a_name(tmp_path: Path) -> None:
    file = tmp_path / "g.csv"
    file.write_text(HEAD + "007,0,0,1,75\n", encoding="utf-8")
    assert list(read_gauge(file)) == ["007"]


def test_an_empty_cell_is_no_reading_and_not_zero(tmp_path: Path) -> None:
    file = tmp_path / "g.csv"
    file.write_text(HEAD + "F1,0,0,1,75\nF1,1,1,2,\n", encoding="utf-8")
    assert math.isnan(read_gauge(file)["F1"]["gauge_um"][1])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("roll,time_s,metre_m,across_mm,gauge\nF1,0,0,1,75\n", "gauge_um"),
        (HEAD, "no rows"),
        (HEAD + "F1,0,0,1,75\nF1,0,0,1,75 um\n", "line 3"),
        (HEAD + "F1,0,0,1\n", "does not read"),
        ("", "does not read"),
    ],
)
def test_a_bad_file_is_named_with_its_cure(tmp_path: Path, text: str, said: str) -> None:
    file = tmp_path / "g.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises((BadValue, Problem)) as told:
        read_gauge(file)
    assert said in str(told.value)
    assert told.value.cure


def test_bytes_that_are_no_table_are_refused(tmp_path: Path) -> None:
    for name in ("g.csv", "g.parquet"):
        (tmp_path / name).write_bytes(bytes(range(256)) * 4)
        with pytest.raises((BadValue, Problem)):
            read_gauge(tmp_path / name)
    with pytest.raises(Problem, match="no such file"):
        read_spectrum(tmp_path / "none.csv")


def test_the_line_is_set_as_the_worked_balance_says() -> None:
    """Mass balance worked by hand from mdot = rho h 2 W v: 905 x 75e-6 x 5.6 x 25/60 = 0.158375 kg/s = 570.15 kg/h."""
    told = reelmark("film", "set", "--gauge", "75 um", "--width", "2.8 m", "--speed", "25 m/min",
                    "--draw-across", "7", "--draw-along", "6", "--density", "905 kg/m3")  # fmt: skip
    assert told["output_kg_h"] == pytest.approx(905 * 75e-6 * 5.6 * 25 / 60 * 3600)
    assert told["cast_wall_mm"] == pytest.approx(0.075 * 42)
    assert told["tube_radius_mm"] == pytest.approx(2800 / math.pi / 7)
    assert told["bubble_radius_mm"] == pytest.approx(2800 / math.pi)
    assert told["hours_per_roll"] == pytest.approx(8000 / 25 / 60)
    assert told["gauge_to_speed"] == -1.0
    assert all(one["source"] for one in told["from_memory"])
    assert any("pressure" in one for one in told["cautions"])


def test_output_in_place_of_speed_gives_the_speed() -> None:
    told = reelmark(
        "film", "set", "--gauge", "75 um", "--width", "2.8 m", "--output", "570.15 kg/h", "--density", "905 kg/m3"
    )
    assert told["speed_m_min"] == pytest.approx(25)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--gauge", "75 m", "--width", "2.8 m", "--speed", "25 m/min"), "gauge"),
        (("--gauge", "75", "--width", "2.8 m", "--speed", "25 m/min"), "--gauge"),
        (("--gauge", "75 um", "--width", "2.8 m"), "gauge, width, speed"),
        (("--gauge", "75 um", "--width", "2.8 m", "--speed", "25 m/min", "--draw-across", "30"), "draw"),
        (("--gauge", "75 um", "--width", "2.8 m", "--speed", "25 m/min", "--material", "hardness=3"), "hardness"),
    ],
)
def test_an_impossible_recipe_is_refused_in_words(words: tuple[str, ...], said: str) -> None:
    told = reelmark("film", "set", *words, code=1)
    assert said in told["error"]


def test_a_sweep_refuses_only_the_values_out_of_range() -> None:
    told = reelmark(
        "film", "set", "--gauge", "75 um", "--width", "2.8 m", "--speed", "25 m/min", "--sweep", "draw_across=5,7,30"
    )
    assert ["refused" in row for row in told["rows"]] == [False, False, True]


def test_a_spectrum_made_by_tmm_is_read(tmp_path: Path) -> None:
    """72 um of film with the index that the reading assumes, computed by the independent package tmm."""
    import tmm

    from reelmark.stations.film.spectrum import PP

    nu = np.arange(2000.0, 2700.0, 1.0)
    n = PP.complex_n(nu)
    seen = [tmm.coh_tmm("s", [1, m, 1], [np.inf, 72.0, np.inf], 0, 1e4 / v)["T"] for v, m in zip(nu, n, strict=True)]
    file = tmp_path / "s.csv"
    file.write_text("wavenumber_cm1,transmittance\n" + "".join(f"{v},{t}\n" for v, t in zip(nu, seen, strict=True)))
    told = reelmark("film", "spectrum", str(file))
    assert told["thickness_um"] == pytest.approx(72.0, abs=0.02)
    assert told["visibility"] > 0.9


def a_scan(tmp_path: Path, wild: float | None = None) -> Path:
    """A simulated head over 60 passes of 60 points; one reading in the middle as it is asked."""
    time, metre, across, gauge = (np.array(one) for one in scan(Film(passes=60, points=60, speed_m_s=0.4), 1)[:4])
    if wild is not None:
        gauge[1800] = wild
    file = tmp_path / "scan.csv"
    rows = zip(time, metre, across, gauge, strict=True)
    file.write_text(HEAD + "".join(f"F01,{t},{m},{x},{g}\n" for t, m, x, g in rows), encoding="utf-8")
    return file


@pytest.mark.parametrize("wild", [500.0, 1e6, 1e30, 1e155, 1e300, 1.0])
def test_one_wild_reading_does_not_speak_for_the_roll(tmp_path: Path, wild: float) -> None:
    """The mean stays that of the other readings, and the answer says that one was left out."""
    plain = reelmark("film", "read", str(a_scan(tmp_path)))["rolls"][0]
    told = reelmark("film", "read", str(a_scan(tmp_path, wild)))["rolls"][0]
    assert told["mean_um"] == pytest.approx(plain["mean_um"], abs=0.01)
    assert any("1 of 3600 points left out" in note for note in told["notes"])


def test_a_bad_roll_does_not_stop_a_good_one_and_all_bad_is_an_error(tmp_path: Path) -> None:
    good = a_scan(tmp_path).read_text(encoding="utf-8")
    bad = "".join(f"F02,{n},{n * 0.4:.1f},{n % 20},0.075\n" for n in range(200))
    both, alone = tmp_path / "both.csv", tmp_path / "bad.csv"
    both.write_text(good + bad, encoding="utf-8")
    alone.write_text(HEAD + bad, encoding="utf-8")
    told = reelmark("film", "read", str(both))
    assert ["refused" in one for one in told["rolls"]] == [False, True]
    assert "F02" in reelmark("film", "read", str(alone), code=1)["error"]


@pytest.mark.parametrize(
    "words",
    [
        ("set", "--gauge", "75 um", "--width", "2.8 m", "--speed", "25 m/min", "--tube", "1,1,5"),
        ("set", "--gauge", "75 um", "--width", "2.8 m", "--speed", "25 m/min", "--tube", "2.2,1.8,200"),
        ("set", "--gauge", "75 um", "--width", "2.8 m", "--speed", "25 m/min", "--tube", "2.2,0.5,5"),
        ("set", "--gauge", "75 um", "--width", "2.8 m", "--speed", "25 m/min", "--sweep", "speed=nan"),
        ("set", "--gauge", "75 um", "--width", "2.8 m", "--speed", "25 m/min", "--sweep", "speed=1e400,0.4"),
    ],
)
def test_what_would_not_end_or_not_be_a_number_is_refused(words: tuple[str, ...]) -> None:
    told = reelmark("film", *words, code=1)
    assert told["cure"]


def test_no_draw_at_all_is_an_answer_without_a_pressure_or_a_refusal() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "reelmark", "film", "set", "--gauge", "75 um", "--width", "2.8 m", "--speed", "25 m/min",
         "--draw-across", "1", "--draw-along", "1", "--json"], capture_output=True, text=True, check=False,
    )  # fmt: skip
    told = json.loads(done.stdout or done.stderr)
    assert "Traceback" not in done.stderr
    assert "error" in told or told["pressure_to_width"] is None


@pytest.mark.parametrize(("option", "value"), [("--noise", "-1 um"), ("--target", "75 mm"), ("--target", "0 um")])
def test_limits_that_no_film_has_are_refused(tmp_path: Path, option: str, value: str) -> None:
    told = reelmark("film", "read", str(a_scan(tmp_path)), option, value, code=1)
    assert option in told["error"]


def test_a_column_named_twice_and_a_roll_without_a_name_are_told(tmp_path: Path) -> None:
    file = tmp_path / "g.csv"
    file.write_text("roll,time_s,metre_m,across_mm,gauge_um,gauge_um\nF1,0,0,1,75,75\n", encoding="utf-8")
    with pytest.raises(BadValue, match="twice"):
        read_gauge(file)
    file.write_text(HEAD + "F1,0,0,1,75\n,1,1,2,75\n", encoding="utf-8")
    with pytest.raises(BadValue, match="line 3"):
        read_gauge(file)
    for kind in (pa.binary(), pa.list_(pa.int64())):
        odd = pa.array([b"\xff"] if kind == pa.binary() else [[1]], kind)
        columns = {name: pa.array([1.0]) for name in HEAD.strip().split(",")[1:]}
        parquet.write_table(pa.table({"roll": odd, **columns}), tmp_path / "odd.parquet")
        with pytest.raises(BadValue, match="names no roll"):
            read_gauge(tmp_path / "odd.parquet")


@pytest.mark.parametrize(
    ("column", "values"),
    [
        ("time_s", pa.array([1, 2], pa.timestamp("ms"))),
        ("time_s", pa.array([1, 2], pa.duration("s"))),
        ("metre_m", pa.array([True, False])),
        ("gauge_um", pa.array([1, 2], pa.date32())),
        ("across_mm", pa.array([b"1", b"2"])),
    ],
)
def test_a_column_of_another_type_is_refused_and_named(tmp_path: Path, column: str, values: Any) -> None:
    """Cast without a word, milliseconds since 1970 would be seconds, and true a micrometre."""
    columns = {name: pa.array([1.0, 2.0]) for name in HEAD.strip().split(",")[1:]}
    parquet.write_table(pa.table({"roll": ["F1", "F1"], **columns, column: values}), tmp_path / "odd.parquet")
    with pytest.raises(BadValue) as told:
        read_gauge(tmp_path / "odd.parquet")
    assert told.value.field == column
    assert str(values.type) in str(told.value)


def test_dates_in_a_csv_are_refused_too(tmp_path: Path) -> None:
    file = tmp_path / "g.csv"
    file.write_text(HEAD + "F1,2026-01-01 00:00:01,0,1,75\n", encoding="utf-8")
    with pytest.raises(BadValue, match="timestamp"):
        read_gauge(file)


def test_whole_and_decimal_numbers_are_numbers(tmp_path: Path) -> None:
    columns: dict[str, Any] = {name: pa.array([1, 2], pa.int32()) for name in HEAD.strip().split(",")[1:]}
    columns["gauge_um"] = pa.array([75, 76], pa.decimal128(5, 2))
    parquet.write_table(pa.table({"roll": ["F1", "F1"], **columns}), tmp_path / "g.parquet")
    assert read_gauge(tmp_path / "g.parquet")["F1"]["gauge_um"].tolist() == [75.0, 76.0]
