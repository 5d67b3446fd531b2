"""The plant in works.toml: all of it may be left out; what is there is checked, and a mistake names key and cure."""

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from reelmark import way
from reelmark.errors import BadValue
from reelmark.io import read_order, read_works, template
from reelmark.plant import Hours, Maintenance, Plant, Rate, Spread, share_numbers

TEXT = template("works.toml")
BARE = TEXT[: TEXT.index("[plant]")]


def read(tmp_path: Path, text: str) -> Plant:
    (tmp_path / "works.toml").write_text(text, encoding="utf-8")
    plant = read_works(tmp_path / "works.toml").plant
    assert plant is not None
    return plant


def test_a_works_without_a_plant_reads_as_before(tmp_path):
    (tmp_path / "bare.toml").write_text(BARE, encoding="utf-8")
    (tmp_path / "full.toml").write_text(TEXT, encoding="utf-8")
    bare, full = read_works(tmp_path / "bare.toml"), read_works(tmp_path / "full.toml")
    assert bare.plant is None
    assert full.plant is not None
    assert bare.machines == full.machines


def test_the_template_has_a_route_over_the_whole_way(tmp_path):
    plant = read(tmp_path, TEXT)
    stations = [one.name for one in way.WAY]
    assert list(dict.fromkeys(one.station for one in plant.stages)) == stations
    assert plant.machine("film line").rate == Rate(1500, "m")
    assert plant.machine("film line").maintenance == Maintenance(2, 360, 4.0)
    assert plant.calendar("two shifts").open == tuple(Hours(d * 1440 + 360, d * 1440 + 1320) for d in range(5))
    relief = next(one for one in plant.stages if one.name == "relief back")
    assert relief.good == Spread(0.985, 200)
    assert (relief.least_wait, relief.most_wait, relief.setup, relief.wiped) == (48, 240, 4, 0.55)
    assert plant.material.gauge == pytest.approx(70e-6)
    assert plant.material.resin_energy == pytest.approx(1.2)
    assert plant.machine("coater").power == pytest.approx(180)


def test_every_value_of_the_trade_says_where_it_is_from():
    """A figure in the template has a source tag on its line, or its table has one for all, above it or behind it."""
    covered: set[str] = set()
    table, above = "", ""
    for line in TEXT[TEXT.index("[plant]") :].splitlines():
        if line.startswith("#"):
            above += line
        elif name := re.match(r"\[+([\w.]+)", line):
            table = name[1]
            covered |= {table} if ", all]" in above + line or "invented]" in line else set()
            above = ""
        elif line and table not in covered and not line.startswith(("name", "closed")) and '"always"' not in line:
            assert re.search(r"\[(memory|practice|invented)\]", line), line
    assert {"plant.prices", "plant.machines", "plant.stages"} <= covered


MISTAKES: dict[str, tuple[str, str, str, str]] = {
    "stage with no machine": ('machines = ["guillotine"]', "machines = []", "cut: machines", "name at least one"),
    "stage with unknown machine": ('["guillotine"]', '["guilotine"]', "cut: machines", "the machines with a rate are"),
    "machine the works has not": (
        '[[plant.machines]]\nname = "guillotine"', '[[plant.machines]]\nname = "guillotin"', "plant.machines[8].name",
        "write 'guillotine'"),
    "calendar with no hours": ('name = "always"\nopen = ["always"]', 'name = "always"\nopen = []',
                               "plant.calendars[0].open", "always"),
    "no hours of a week": ('"Mon 06:00 - Sat 06:00"', '"Mo 6 - Sa 6"', "plant.calendars[1].open[0]", "Mon-Fri 06:00"),
    "past the end of a day": ('"Mon-Fri 06:00 - 22:00"', '"Mon-Fri 06:00 - 29:00"', "plant.calendars[2].open[0]",
                              "ends next day"),
    "past 24:00": ('"Mon-Fri 06:00 - 22:00"', '"Mon-Fri 06:00 - 24:30"', "plant.calendars[2].open[0]", "ends next day"),
    "serviced past the day": ('at = "Tue 06:00"', 'at = "Tue 29:00"', "plant.machines[1].maintenance.at", "Mon 06:00"),
    "week or nothing": ('"Mon 06:00 - Sat 06:00"', '"Mon 06:00 - Mon 06:00"', "plant.calendars[1].open[0]", "'always'"),
    "a day or nothing": ('"Mon-Fri 06:00 - 22:00"', '"Mon-Fri 06:00 - 06:00"', "plant.calendars[2].open[0]",
                         "00:00 - 24:00"),
    "closed at the end of days": ("2026-01-01", "9999-12-31", "plant.calendars[1].closed[0]", "correct the year"),
    "gauge of a road": ('gauge = "70 um"', 'gauge = "70 km"', "plant.material.gauge", "gauge_most"),
    "gauge of nothing": ('gauge = "70 um"', 'gauge = "70 nm"', "plant.material.gauge", "gauge_least"),
    "price that is none": ("late = 10 ", "late = nan ", "plant.prices.late", "write a number"),
    "price in words": ("late = 10 ", 'late = "ten" ', "plant.prices.late", "without quotes"),
    "days backwards": ('"Mon-Fri 06:00 - 22:00"', '"Fri-Mon 06:00 - 22:00"', "plant.calendars[2].open[0]", "Mon-Fri"),
    "unknown calendar": ('calendar = "two shifts"', 'calendar = "two"', "guillotine: calendar", "always, three shifts"),
    "yield of 0": ("good = 0.996", "good = 0", "cut: good", "0.97 for 97 %"),
    "yield above 1": ("good = 0.996", "good = 1.01", "cut: good", "0.97 for 97 %"),
    "concentration": ("concentration = 800\nsample_share = 0.0002\nfamily", "concentration = -1\nfamily",
                      "cut: concentration", "alpha + beta"),
    "unknown station": ('station = "finish"\nmachines', 'station = "cutting"\nmachines', "cut: station",
                        "stations are"),
    "back on the way": ('station = "finish"\nmachines', 'station = "coat"\nmachines', "cut: station",
                        "order of the way"),
    "a circle": ('name = "film"\nstation', 'name = "film"\nafter = "cut"\nstation', "film: after", "has none"),
    "two after one": ('name = "cut"\n', 'name = "cut"\nafter = "film"\n', "cut: after", "one come after the other"),
    "after nothing known": ('name = "cut"\n', 'name = "cut"\nafter = "print"\n', "cut: after", "stages are"),
    "stage twice": ('name = "cut"\n', 'name = "number"\n', "plant.stages", "own name"),
    "rate": ('rate = "25 m/min"', 'rate = "25 km/h"', "plant.machines[0].rate", "sheets/h"),
    "rate 0": ('rate = "25 m/min"', 'rate = "0 m/min"', "plant.machines[0].rate", "sheets/h"),
    "efficiency": ("efficiency = 0.9\n", "efficiency = 1.9\n", "plant.machines[0].efficiency", "share of open time"),
    "maintenance": ('at = "Tue 06:00"', 'at = "Tuesday"', "plant.machines[1].maintenance.at", "Mon 06:00"),
    "waits": ('most_wait = "72 h"', 'most_wait = "2 h"', "coat front: most_wait", "correct one of the two"),
    "all ink wiped": ("wiped = 0.55", "wiped = 1", "relief back: wiped", "below 1"),
    "level": ("level = 0.99 ", "level = 1 ", "plant.level", "write 0.99"),
    "no batch": ("batch = 2_500_000", "batch = 0", "plant.batch", "correct the number"),
    "gauge": ('gauge = "70 um"', 'gauge = "0 um"', "plant.material.gauge", "correct it"),
    "roll lost": ('roll_loss = "40 m"', 'roll_loss = "8 km"', "plant.material", "losses"),
    "share": ("regrind = 0.5", "regrind = 1.5", "plant.material.regrind", "correct the number"),
    "misspelt": ("regrind = 0.5", "regrnd = 0.5", "plant.material.regrnd", "write 'regrind'"),
    "zone": ("Etc/UTC", "Etc/Nowhere", "zone", "Etc/UTC or +01:00"),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "field", "cure"), MISTAKES.values(), ids=MISTAKES)
def test_a_mistake_in_the_plant_is_named(tmp_path, old, new, field, cure):
    assert old in TEXT
    with pytest.raises(BadValue) as told:
        read(tmp_path, TEXT.replace(old, new, 1))
    assert field in told.value.field
    assert cure in told.value.cure


def test_a_price_that_is_not_finite_is_said_to_be_so(tmp_path):
    with pytest.raises(BadValue) as told:
        read(tmp_path, TEXT.replace("late = 10 ", "late = nan ", 1))
    assert told.value.true == "it is not a finite number"


def test_a_works_of_thick_film_may_say_so(tmp_path):
    thick = TEXT.replace('gauge = "70 um"', 'gauge = "2 mm"', 1)
    thick = thick.replace('gauge_most = "1 mm"', 'gauge_most = "3 mm"', 1)
    assert read(tmp_path, thick).material.gauge == pytest.approx(2e-3)


def test_hours_may_end_at_midnight(tmp_path):
    text = TEXT.replace('"Mon-Fri 06:00 - 22:00"', '"Mon 06:00 - 24:00"', 1)
    assert read(tmp_path, text).calendar("two shifts").open == (Hours(360, 1440),)


def test_a_route_may_be_written_in_any_order(tmp_path):
    """The stages last to first, each naming the one before it, are the same route."""
    head, *stages = re.split(r"(?=\[\[plant\.stages\]\])", TEXT)
    names = [re.search(r'name = "(.+)"', one)[1] for one in stages]  # type: ignore[index]
    linked = [
        one.replace("\nstation", f'\nafter = "{names[at - 1]}"\nstation', 1) if at else one
        for at, one in enumerate(stages)
    ]
    turned = head + "\n".join([stages[0], *linked[:0:-1]])
    assert read(tmp_path, turned).stages == read(tmp_path, TEXT).stages


def test_hours_may_run_over_midnight_and_over_sunday(tmp_path):
    text = TEXT.replace('"Mon-Fri 06:00 - 22:00"', '"Sat 22:00 - 06:00", "Sun 22:00 - Mon 06:00"', 1)
    saturday, sunday = read(tmp_path, text).calendar("two shifts").open
    assert saturday == Hours(5 * 1440 + 1320, 6 * 1440 + 360)
    assert sunday == Hours(6 * 1440 + 1320, 7 * 1440 + 360)


def test_series_that_share_numbers(tmp_path):
    (tmp_path / "order.toml").write_text(template("order.toml"), encoding="utf-8")
    plain, replacement = read_order(tmp_path / "order.toml").series
    assert share_numbers(plain, plain)
    assert not share_numbers(plain, replacement)  # one place longer


def reelmark(*words: str, code: int = 0) -> Any:
    done = subprocess.run(
        [sys.executable, "-m", "reelmark", *words, "--json"], capture_output=True, text=True, check=False
    )
    assert done.returncode == code, done.stdout + done.stderr
    return json.loads(done.stdout)


@pytest.fixture
def folder(tmp_path):
    for name in ("order.toml", "works.toml"):
        (tmp_path / name).write_text(template(name), encoding="utf-8")
    return tmp_path


def test_plan_takes_files_at_once_or_by_its_command(folder):
    order, works = str(folder / "order.toml"), str(folder / "works.toml")
    short = reelmark("plan", order, "--works", works, "--seconds", "0")
    assert {"sheets", "web_m", "rolls", "resin_kg"} <= short["starts"].keys()
    assert short == reelmark("plan", "orders", order, "--works", works, "--seconds", "0")
    assert short == reelmark("plan", "--works", str(folder), "--seconds", "0", order)


def test_plan_says_what_to_add_where_the_works_says_nothing(folder):
    (folder / "works.toml").write_text(BARE, encoding="utf-8")
    said = reelmark("plan", str(folder / "order.toml"), "--works", str(folder), "--seconds", "0", code=1)
    assert "add [plant] to works.toml" in said["cure"]


def test_plan_names_a_file_that_is_not_there(folder):
    said = reelmark("plan", "no.toml", "--works", str(folder), "--seconds", "0", code=1)
    assert "no.toml" in said["error"]


def test_plan_refuses_two_orders_of_one_series(folder):
    second = template("order.toml").replace('name = "TM-20-1"', 'name = "TM-20-2"')
    (folder / "second.toml").write_text(second, encoding="utf-8")
    said = reelmark("plan", str(folder / "order.toml"), str(folder / "second.toml"), "--works", str(folder), code=1)
    assert "series" in said["field"]


@pytest.mark.parametrize("seconds", ["inf", "1e9", "86401"])
@pytest.mark.parametrize("command", ["orders", "shop"])
def test_seconds_that_never_end_are_refused(folder, command, seconds):
    said = reelmark("plan", command, str(folder / "order.toml"), f"--seconds={seconds}", code=1)
    assert said["field"] == "--seconds"
    assert "86,400" in said["true"]
    words = [sys.executable, "-m", "reelmark", "plan", command, str(folder / "order.toml"), "--seconds=nan"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "--seconds" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("begins", ["9999-12-31T23:00", "0001-01-01T00:00", "0001-01-01T00:00+14:00"])
def test_a_begin_out_of_reach_is_said(folder, begins):
    words = ("--works", str(folder), "--seconds", "0", "--days", "1098", "--begins", begins)
    said = reelmark("plan", str(folder / "order.toml"), *words, code=1)
    assert said["field"] == "begins"
    assert "1900-01-01" in said["true"]


def test_a_command_misspelt_is_told_the_nearest(folder):
    said = reelmark("plan", "yeild", "x", code=1)
    assert said["true"] == "no such command or file"
    assert "'yield'" in said["cure"]


def test_notes_say_what_has_no_delivery(folder):
    path = folder / "order.toml"
    path.write_text(template("order.toml").replace("9_000_000", "20_000_000"), encoding="utf-8")
    answer = reelmark("plan", str(path), "--works", str(folder), "--seconds", "0", "--begins", "2026-03-02T06:00")
    assert answer["notes"] == ["TM-20-1: 11,000,000 of 20,000,000 notes have no delivery"]


def test_dates_are_told_by_the_clocks_of_their_day(folder):
    """Berlin: summer time from 2026-03-29 on (Directive 2000/84/EC: last Sunday of March); the plan begins before."""
    works = template("works.toml").replace("Etc/UTC", "Europe/Berlin")
    (folder / "works.toml").write_text(works, encoding="utf-8")
    words = ("--works", str(folder), "--seconds", "2", "--begins", "2026-03-23T06:00")
    answer = reelmark("plan", str(folder / "order.toml"), *words)
    assert answer["begins"] == "2026-03-23T06:00:00+01:00"
    assert answer["deliveries"][0]["due"] == "2026-06-30T22:00+02:00"
