"""What the gauge says of a roll, for machines, in the journal and on the page; rolls and their truth by the simulator.

Check values: the simulated film's own truth (its source is named beside each), and closed forms.
"""

import json
import math
import os
import subprocess
import sys
import xml.etree.ElementTree as ET
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from fastapi import Depends, FastAPI
from fastapi.testclient import TestClient
from pyarrow import csv, parquet

from reelmark.acts.follow import choose
from reelmark.acts.gauge import Across, film_read, gauge_marks, limits_of, strip_place
from reelmark.acts.gauge_alarms import charts_of
from reelmark.acts.gauge_view import RollView, roll_view
from reelmark.demo.gauge import FAULTS, Film, Ramp, scan
from reelmark.desk import Desk
from reelmark.errors import BadValue, NotThere, Problem
from reelmark.figures.gauge import Frame, ticks
from reelmark.io.gauge import GAUGE
from reelmark.measure.runlength import cusum
from reelmark.stations.film.gauge import GaugeMark, Limits, Settings
from reelmark.stations.film.gauge.reading import read_roll
from reelmark.web import page
from reelmark.web.content import csv_of, json_of
from reelmark.web.faults import HANDLERS
from reelmark.web.pages import film, film_figures, film_parts
from reelmark.web.pages.film_line import sweep_of
from reelmark.web.roles import Role
from small_demo import folder, made

LIMITS = Limits(75.0, 3.0)
SHORT = Film(passes=60, points=60, speed_m_s=0.03, slow_um=0.1, wave_um=0.4)  # 39.6 m: as long as the small order's F01


@cache
def columns(film_: Film, seed: int = 1) -> dict[str, Any]:
    one = scan(film_, seed)
    return {name: getattr(one, name) for name in GAUGE}


@cache
def faulty() -> RollView:
    """The roll with a 37 s wave, a die line, a drift and a drop of 3 m."""
    return roll_view("F01", columns(FAULTS), Settings(limits=LIMITS, noise_um=0.1))


def table(rolls: dict[str, dict[str, Any]]) -> pa.Table:
    parts = [pa.table({"roll": [name] * len(one["time_s"]), **one}) for name, one in rolls.items()]
    return pa.concat_tables(parts)


DEAD = dict.fromkeys(GAUGE, np.ones(50))  # everything stands


# --- for machines ----------------------------------------------------------------------------------------------


def test_a_roll_that_cannot_be_read_is_told_and_stops_no_other():
    told = film_read({"F09": DEAD, "F01": columns(SHORT)}, Settings(limits=LIMITS))
    dead, good = json.loads(json.dumps(told, allow_nan=False))["rolls"]
    assert (dead["roll"], good["roll"]) == ("F09", "F01")
    assert {"asked", "true", "cure"} == set(dead["refused"])
    assert dead["marks"] == dead["waves"] == []
    assert "refused" not in good
    assert set(good) >= {"roll", "mean_um", "cpk", "shares", "waves", "marks"}
    assert set(good["shares"]) >= {"along", "across", "die", "periodic", "residual"}
    assert math.isclose(sum(good["shares"].values()), 1.0, rel_tol=1e-9)  # parts of one whole


def test_planted_faults_are_named_from_the_records_alone():
    """Truth: FAULTS of the simulator, line, drop, drift and wave as planted there."""
    told = film_read({"F01": columns(FAULTS)}, Settings(limits=LIMITS))["rolls"][0]
    kinds = {one["kind"]: one for one in told["marks"]}
    assert set(kinds) == {"wave", "die line", "pressure drop", "drift"}
    assert abs(told["waves"][0]["period_s"] - FAULTS.wave_s) < 0.02
    assert FAULTS.drop is not None
    assert abs(kinds["pressure drop"]["from_m"] - FAULTS.drop[0]) < 1.0
    turn = FAULTS.turn_s * FAULTS.speed_m_s  # what happens while the head turns is not seen, and may be counted in
    assert -1.0 < kinds["pressure drop"]["to_m"] - FAULTS.drop[0] - FAULTS.drop[1] < turn + 1.0


def test_target_and_tolerance_come_together_or_not_at_all():
    assert limits_of(None, None) is None
    assert limits_of(75, 3) == LIMITS
    for given in ((75, None), (None, 3)):
        with pytest.raises(BadValue, match="give both"):
            limits_of(*given)


# --- on the strips ---------------------------------------------------------------------------------------------


def mark(a: float, b: float, low: float = 0, high: float = 2000, kind: Any = "drift") -> GaugeMark:
    return GaugeMark(kind, a, b, low, high, -0.8, "downgrade", 9.0, "says")


@pytest.mark.parametrize(("low", "high", "lanes"), [
    (0, 2000, [1, 2]), (0, 999, [1]), (1001, 1100, [2]), (999, 1001, [1, 2]), (-50, -1, [1, 2]),
])  # fmt: skip
def test_lanes_that_a_mark_touches(low, high, lanes):
    """Closed form: two lanes of 1,000 mm on 2,000 mm; beside the web means that it is not known where."""
    assert Across(0, 2000).lanes((1, 2), low, high) == lanes


def test_no_width_is_refused():
    with pytest.raises(BadValue, match="no width"):
        Across(10, 10).lanes((1,), 0, 1)


def test_marks_are_bodies_of_the_journal_in_metres_as_wound(tmp_path):
    """Metre of the gauge 105 with the core at 100 lies 5 m from the core: closed form."""
    reading = made()[1]
    bodies = gauge_marks(reading, "F01", [mark(105, 110.05), mark(120, 120.2, 0, 400)], Across(0, 2000), 100.0)
    assert [(b["start"], b["end"], b["lanes"]) for b in bodies] == [
        ("5 m", "10.1 m", [1, 2]), ("19.6 m", "20.6 m", [1]),
    ]  # fmt: skip
    assert (bodies[0]["fault"], bodies[0]["grade"], bodies[0]["seen_by"]) == ("drift -0.80 um", "downgrade", "gauge")
    with Desk(folder(tmp_path)) as desk:
        before = len(desk.reading.shop.marks)
        assert desk.post(bodies, "office", "A. Moss", None, "2026-04-01T08:00:00Z") == 2
        assert len(desk.reading.shop.marks) == before + 2


def test_a_mark_as_the_address_of_the_strips():
    reading = made()[1]
    place = strip_place(reading, "F01", mark(5, 10.05, 0, 400), Across(0, 2000))
    assert place == "F01@5-10.1m@1"
    extent = choose(reading, [place])
    assert {key: list(spans) for key, spans in extent.items()} == {("F01", 1): [(5_000_000, 10_100_000)]}
    assert strip_place(reading, "F01", mark(5, 10), Across(0, 2000)) == "F01@5-10m"


@pytest.mark.parametrize(("roll", "a"), [("F99", 5), ("F01", 5000)])
def test_a_mark_that_lies_nowhere(roll, a):
    with pytest.raises(NotThere) as no:
        gauge_marks(made()[1], roll, [mark(a, a + 10)], Across(0, 2000))
    assert no.value.cure


def test_ends_are_cut_to_the_roll():
    (body,) = gauge_marks(made()[1], "F01", [mark(-3, 9000)], Across(0, 2000))
    assert (body["start"], body["end"]) == ("0 m", "41.4 m")  # the small order's F01, as its record says


# --- charts and pictures ---------------------------------------------------------------------------------------


def test_charts_share_the_rate_of_false_alarms():
    """43 charts, 604,800 / 22 points a week each: one a week in all is one in 1.18 million of a chart, closed form."""
    charts = faulty().charts
    assert charts.run_length == 1_200_000  # of 43 x 604,800 / 22 = 1,182,109, two digits kept
    assert math.isclose(cusum(0.5, charts.h), charts.run_length, rel_tol=0.02)  # the integral gives the limit back
    assert any(2_300 < alarm.from_m < 2_460 for alarm in charts.alarms)  # the drop, at 2,403 m as planted


def test_a_still_roll_raises_few_alarms_and_a_short_one_has_no_chart():
    quiet = Film(points=40, wave_um=0, die="", passes=150)
    model = read_roll("F", **columns(quiet, 5), settings=Settings(die=None)).model
    assert not charts_of(model).alarms
    few = read_roll("F", **columns(Film(passes=12))).model
    assert charts_of(few).level is None
    assert "20" in charts_of(few).notes[0]


def test_a_step_of_the_level_is_charted_from_where_it_is():
    """A step of 1 um at 2,500 m on a level that wanders by 0.02 um, as planted."""
    stepped = Film(points=40, wave_um=0, die="", passes=150, slow_um=0.02, drift=Ramp(2500, 2520, 1.0))
    charts = charts_of(read_roll("F", **columns(stepped, 3), settings=Settings(die=None)).model)
    first = min(one.from_m for one in charts.alarms if one.rule == "level, EWMA")
    assert 2_480 < first < 2_700
    assert charts.level is not None
    assert any(abs(2510 - (shift.place + 0.5) * 33) < 50 for shift in charts.changes)  # a pass and turn is 33 m


def test_spectrum_shows_the_wave_where_it_is_and_says_where_means_would_put_it():
    """37.0 s as planted; 54.3 s is its alias at 22 s, reference notes on statistics 1.4."""
    waves = faulty().waves
    assert waves is not None
    short = waves.period_s < 200
    assert abs(waves.period_s[short][np.argmax(waves.share[short])] - 37.0) < 0.7
    assert abs(waves.waves[0][1] - 54.3) < 0.1
    assert waves.unseen_s == pytest.approx(44.0, abs=0.01)  # twice 22 s: reference notes, same place


def test_map_and_clock_follow_the_truth():
    view = faulty()
    assert view.map.mean_um.shape == (150, 40)
    assert (view.map.sd_um > 0).all()
    assert view.map.mean_um[120:].mean() - view.map.mean_um[:60].mean() > 1.0  # the drift of 1.5 um, as planted
    assert view.clock is not None
    assert math.isclose(view.clock.time_share.sum(), 1.0)
    assert 0 < view.clock.even <= 1
    assert view.least[0] < view.mean_um < view.most[0]


def test_axes():
    assert ticks(0, 10, 5) == [0, 2, 4, 6, 8, 10]
    assert ticks(3, 3) == [3]
    frame = Frame(0, 100, 0, 10)
    assert frame.x(-5) == frame.x(0) < frame.x(50) < frame.x(100) == frame.x(1e9)
    assert frame.y(0) > frame.y(10)
    assert frame.line([0, 1, 2, 3], [1, math.nan, 2, 3], "ink").count("M") == 2


# --- the page --------------------------------------------------------------------------------------------------


class Asker:
    """Who asks, of the small order in a folder of gauge files."""

    def __init__(self, at: Path, writes: bool = True) -> None:
        reading = made()[1]
        self.now: Any = SimpleNamespace(reading=reading, recent=lambda _, make: make(reading))
        self.live: Any = SimpleNamespace(folder=at, order=reading.order, key="T")
        self.base, self.writes = "/orders/T", writes

    def may(self, role: Role) -> bool:
        return self.writes or role is Role.READ


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory) -> Path:
    at = tmp_path_factory.mktemp("works")
    (at / "gauge").mkdir()
    rolls = {"F09": DEAD, "F01": columns(SHORT)}
    csv.write_csv(table(rolls), at / "gauge" / "a.csv")
    parquet.write_table(table({"F02": columns(SHORT, 2)}), at / "gauge" / "b.parquet")
    (at / "gauge" / "notes.txt").write_text("not of the gauge", encoding="utf-8")
    return at


def build(at: Path, writes: bool = True, **asks: Any) -> Any:
    return film.build(Asker(at, writes), **asks)  # type: ignore[arg-type]


def words(content: Any) -> str:
    return " ".join([*content.lead, *(part for part in content.parts if isinstance(part, str))])


def test_nothing_there_says_what_to_put_where(tmp_path):
    content = build(tmp_path)
    assert "gauge/" in words(content)
    assert "gauge_um" in words(content)
    assert "Caution" in words(content)
    assert not content.figures()


def test_the_nine_things_each_a_picture_with_its_table(works):
    content = build(works, file="a.csv", roll="F01", target=75.0, tolerance=3.0, die="oscillating", die_s=800.0)
    assert set(content.figures()) == {"roll", "variance", "map", "lanes", "die", "along", "waves"}
    for one in content.figures().values():
        drawn = ET.fromstring(one.draw(True))
        assert drawn.find("{http://www.w3.org/2000/svg}desc") is not None
        assert one.under is not None
    assert set(content.tables()) >= {"alarms", "marks", "stretches"}
    for one in content.tables().values():
        assert len({column.title for column in one.columns}) == len(one.columns), one.name  # JSON rows go by title
        assert len(list(csv_of(one))) == 1 + len(one.every())
    assert json.loads(json.dumps(json_of(content), allow_nan=False))
    assert "Target 75.00 um; tolerance ±3 um." in content.lead[0]


def test_limits_not_given_are_said_to_be_assumed(works):
    assert "assumed" in build(works, file="a.csv", roll="F01").lead[0]


def test_marks_lead_to_the_strips_and_to_the_form_that_writes_them(works):
    content = build(works, file="a.csv", roll="F01", target=75.0, tolerance=0.6)
    rows = content.tables()["marks"].every()
    assert rows
    places = [row[7] for row in rows]
    assert all(place.href == f"/orders/T?of={place.words.replace('@', '%40')}" for place in places)
    for place in places:
        choose(made()[1], [place.words])
    form = next(part for part in content.parts if getattr(part, "title", "") == "Mark it")
    asked = {one.name: one.value for one in form.fields}
    assert (form.action, form.method, asked["of"]) == ("/orders/T/mark", "post", places[0].words)
    second = build(works, False, file="a.csv", roll="F01", target=75.0, tolerance=0.6)
    assert not [part for part in second.parts if getattr(part, "title", "") == "Mark it"]


def test_a_roll_that_the_journal_does_not_know_is_drawn_and_lies_nowhere(works, tmp_path):
    (tmp_path / "gauge").mkdir()
    parquet.write_table(table({"X": columns(SHORT)}), tmp_path / "gauge" / "x.parquet")
    content = build(tmp_path)
    assert all("no roll of that name" in row[7] for row in content.tables()["marks"].every())


def test_a_roll_that_cannot_be_read_says_why(works):
    content = build(works, file="a.csv", roll="F09")
    assert "cannot be read" in content.lead[0]
    assert not content.figures()


@pytest.mark.parametrize(("asks", "says"), [
    ({"file": "../order.toml"}, "gauge/ holds"), ({"file": "notes.txt"}, "gauge/ holds"),
    ({"file": "c.csv"}, "gauge/ holds"), ({"file": "a.csv", "roll": "F77"}, "a.csv has F09, F01"),
    ({"file": "a.csv", "roll": "F01", "die": "rotating"}, "without its period"),
    ({"file": "a.csv", "elements": "nip"}, "no name and number"), ({"file": "a.csv", "elements": "nip -1"}, "0.001"),
    ({"file": "a.csv", "roll": "F01", "target": 2.0, "tolerance": 3.0}, "tolerance 3 um"),
    ({"gauge": 75.0, "width": 2.8}, "three"),
])  # fmt: skip
def test_wrong_questions_are_refused_in_words(works, asks, says):
    with pytest.raises(BadValue, match=says) as no:
        build(works, **asks)
    assert no.value.cure


def test_a_file_is_read_anew_when_it_changes(works, tmp_path):
    (tmp_path / "gauge").mkdir()
    at = tmp_path / "gauge" / "a.parquet"
    parquet.write_table(table({"F01": columns(SHORT)}), at)
    first = build(tmp_path).tables()["roll-figures"].every()
    assert build(tmp_path).tables()["roll-figures"].every() == first
    parquet.write_table(table({"F01": columns(SHORT, 7)}), at)
    assert build(tmp_path).tables()["roll-figures"].every() != first


def test_the_line_is_set_on_the_page(works):
    """570.15 kg/h, 3.15 mm, 127.32 mm: reference notes on film, 1."""
    content = build(works, gauge=75.0, width=2.8, speed=25.0)
    told = {row[0]: row[1:] for row in content.tables()["settings"].every()}
    assert told["output"] == ["kg/h", "570.15"]
    assert told["cast wall"] == ["mm", "3.15"]
    assert told["tube radius"] == ["mm", "127.32"]
    assert any("from memory" in row[3] for row in content.tables()["from-memory"].every())


def test_core_and_spot_are_asked_with_their_unit_and_move_the_answer(works):
    """Ridge = laps x thickness, laps = (D - d)/(2 t): a thicker core has fewer laps (reference notes on film, 2)."""
    asks: dict[str, Any] = {"file": "a.csv", "roll": "F01", "target": 75.0, "tolerance": 3.0}
    plain, given = build(works, **asks), build(works, **asks, core_mm=300.0, spot_mm=20.0)
    ridge = [max(float(row[6]) for row in one.tables()["lanes"].every()) for one in (plain, given)]
    assert ridge[1] < ridge[0]
    notes = [one.figures()["map"].note + one.figures()["lanes"].note for one in (plain, given)]
    assert "10 mm assumed" in notes[0]
    assert "152.4 mm (assumed)" in notes[0]
    assert "20 mm" in notes[1]
    assert "300 mm" in notes[1]
    assert "assumed" not in notes[1]
    form = next(part for part in plain.parts if getattr(part, "title", "") == "Roll and limits")
    hints = {one.name: (one.title, one.hint) for one in form.fields}
    for name in ("core_mm", "spot_mm"):
        assert "mm" in hints[name][0]
        assert "common practice, no source" in hints[name][1]


def test_the_rolls_before_come_from_all_files_and_the_page_does_not_wait_for_them(tmp_path):
    (tmp_path / "gauge").mkdir()
    for n in range(1, 4):
        rolls = {f"F{n}{part}": columns(SHORT, 10 * n + i) for i, part in enumerate("ab")}
        at = tmp_path / "gauge" / f"{n}.parquet"
        parquet.write_table(table(rolls), at)
        os.utime(at, (1e9 + n, 1e9 + n))
    (tmp_path / "gauge" / "0.csv").write_text("no gauge", encoding="utf-8")
    os.utime(tmp_path / "gauge" / "0.csv", (1e9, 1e9))
    first = build(tmp_path, file="3.parquet", roll="F3b").tables()["rolls-before"]
    assert "being read" in first.note
    film.FILES.settle()
    whole = build(tmp_path, file="3.parquet", roll="F3b").tables()["rolls-before"]
    assert [row[0] for row in whole.every()] == ["F1a", "F1b", "F2a", "F2b", "F3a", "F3b (this one)"]
    assert [row[1] for row in whole.every()][:2] == ["1.parquet", "1.parquet"]
    assert "being read" not in whole.note
    assert all(abs(float(row[2]) - 75) < 1 for row in whole.every())
    film.FILES.settle()
    assert "rolls-before" not in build(tmp_path, file="1.parquet", roll="F1a").tables()


def test_an_unreadable_file_is_told_by_its_name_alone(tmp_path):
    (tmp_path / "gauge").mkdir()
    for name in ("bad.parquet", "bad.csv"):
        (tmp_path / "gauge" / name).write_bytes(bytes(range(256)) * 4)
        with pytest.raises(Problem, match=name) as no:
            build(tmp_path, file=name)
        assert str(tmp_path) not in str(no.value)
        assert str(tmp_path) not in words(build(tmp_path))


def test_what_the_journal_knows_of_the_roll_stands_along_it(tmp_path):
    """A mark from 10 to 11 m as wound lies from 110 to 111 m of a gauge that read 100 m at the core: closed form."""
    at = folder(tmp_path)
    with Desk(at) as desk:
        body = {"kind": "mark", "unit": "F01", "lanes": [1, 2], "start": "10 m", "end": "11 m",
                "fault": "resin lot 7 begins", "grade": "note", "seen_by": "A. Moss"}  # fmt: skip
        ours = {**body, "fault": "drift +1 um", "seen_by": "gauge"}
        desk.post([body, ours], "office", "A. Moss", None, "2026-04-01T08:00:00Z")
        asked = SimpleNamespace(base="/orders/T", now=SimpleNamespace(reading=desk.reading))
        found = film_parts.events(asked, "F01", 100.0)  # type: ignore[arg-type]
        assert film_parts.events(asked, "F99", 0.0) == ()  # type: ignore[arg-type]
    mine = [one for one in found if "resin" in one.what]
    assert [(one.from_m, one.to_m, one.seen_by) for one in mine] == [(110.0, 111.0, "A. Moss")]
    assert not any("drift" in one.what for one in found)
    parts = film_figures.along(faulty(), (72.0, 78.0), [one._replace(from_m=2000.0) for one in mine])
    assert "resin lot 7 begins" in parts[0].draw(True)  # type: ignore[union-attr]
    assert [row[2] for row in parts[1].every()] == ["resin lot 7 begins"]  # type: ignore[union-attr]


# --- the page served, and the command --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def client(works: Path) -> TestClient:
    """The page's addresses as they are made of it, without the people who sign in."""
    app = FastAPI(exception_handlers=dict(HANDLERS))  # type: ignore[arg-type]
    app.get("/orders/T/film")(lambda content=Depends(film.build): json_of(content))  # noqa: B008
    app.dependency_overrides[page._asked] = lambda: Asker(works)
    return TestClient(app, raise_server_exceptions=False, headers={"accept": "application/json"})


@pytest.mark.parametrize("query", [
    "target=nan", "target=inf", "target=0", "tolerance=-1", "tolerance=1e9", "lanes=1", "lanes=401", "mark=0",
    "die=melted", "die_s=0", "file=" + "a" * 200, "elements=" + "a" * 500, "core_m=1e99", "gauge=x", "width=1&speed=1",
    "file=%00", "roll=%00", "elements=a%201;;%20", "lanes=400", "left_mm=5&right_mm=5",
    "core_mm=0", "core_mm=nan", "spot_mm=-1", "spot_mm=1e9", "core_mm=1e3&spot_mm=500",
])  # fmt: skip
def test_no_question_breaks_it(client, query):
    assert client.get(f"/orders/T/film?{query}").status_code in {200, 404, 422}


def test_a_field_left_empty_was_not_asked(client):
    empty = "&".join(f"{name}=" for name in ("target", "tolerance", "noise", "lanes", "die_s", "gauge", "width"))
    assert client.get(f"/orders/T/film?file=a.csv&roll=F01&{empty}").status_code == 200


def command(*said: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "reelmark", "film", "read", *said], capture_output=True, text=True, check=False
    )


def test_the_command_reads_what_can_be_read(works):
    at = str(works / "gauge" / "a.csv")
    done = command(at, "--target", "75 um", "--tolerance", "3 um", "--json")
    assert done.returncode == 0, done.stderr
    dead, good = json.loads(done.stdout)["rolls"]
    assert "refused" in dead
    assert good["cpk"] > 0
    assert abs(good["mean_um"] - 75) < 1
    shown = command(at)
    assert shown.returncode == 0
    assert "F09: not read." in shown.stdout
    assert "limits assumed: give --target" in shown.stdout
    assert "Caution: " in shown.stdout


def test_the_command_fails_where_no_roll_can_be_read(tmp_path):
    parquet.write_table(table({"F09": DEAD}), tmp_path / "dead.parquet")
    done = command(str(tmp_path / "dead.parquet"), "--json")
    assert done.returncode == 1
    assert "refused" in json.loads(done.stdout)["rolls"][0]


def test_a_sweep_is_drawn_and_refused_values_are_gaps_with_their_reason() -> None:
    """Draw across 5 to 12 at 15 values: the material's limit is 10, so 10.5, 11, 11.5 and 12 are refused."""
    asked = stub_for_the_line()
    [figure] = sweep_of(asked, (75.0, 2.8, 25.0, None, 7.0, 6.0), "draw_across", 5.0, 12.0)
    assert figure.under is not None
    rows = figure.under.every()
    assert len(rows) == 15
    assert [row[0] for row in rows if row[-1]] == pytest.approx([10.5, 11.0, 11.5, 12.0])
    walls = {float(row[0]): row[3] for row in rows}  # type: ignore[arg-type]
    assert walls[7.0] == pytest.approx(0.075 * 7 * 6)  # cast wall = gauge x both draw ratios
    assert "4 of them refused" in figure.draw(True)


@pytest.mark.parametrize(("field", "low", "high"), [("output", 1.0, 2.0), ("speed", 30.0, 20.0), ("gauge", 5.0, 5.0)])
def test_a_sweep_of_what_is_found_or_backwards_is_refused(field: str, low: float, high: float) -> None:
    with pytest.raises(BadValue):
        sweep_of(stub_for_the_line(), (75.0, 2.8, 25.0, None, 7.0, 6.0), field, low, high)


def stub_for_the_line() -> Any:
    """Who asks, as far as the line's settings want it."""
    return SimpleNamespace(base="/orders/T", now=SimpleNamespace(recent=lambda key, make: make(None)))
