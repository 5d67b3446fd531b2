"""The coater's command, draw-down files, and what an order asks of the coater."""

import json
import subprocess
import sys
from dataclasses import replace
from math import ceil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from reelmark.acts.coat import coat_order, fit_lots, lot_of, order_needs
from reelmark.cli import main
from reelmark.errors import BadValue, NotThere
from reelmark.io import read_order, read_works
from reelmark.io.gauge import read_draw_downs
from reelmark.order import Order
from reelmark.plan.backward import backward
from reelmark.plant import Plant
from reelmark.stations.coat.cover import Coated
from reelmark.stations.coat.drawdown import reflected
from reelmark.stations.coat.layers import Coat
from reelmark.stations.coat.opacity import Backings
from reelmark.stations.coat.recipe import Recipe
from reelmark.stations.coat.web import WEB
from reelmark.stations.coat.weight import INK

TEMPLATES = Path(__file__).parents[1] / "src/reelmark/io/templates"
PLAIN = ("--scattering", "0.25", "--absorption", "0.0005", "--coat", "2.5 um")


def coat_set(*words: str, code: int = 0) -> Any:
    ran = subprocess.run([sys.executable, "-m", "reelmark", "coat", "set", *words, "--json"], capture_output=True,
                         text=True, check=False)  # fmt: skip
    assert ran.returncode == code, ran.stdout + ran.stderr
    assert "Traceback" not in ran.stderr
    return json.loads(ran.stdout)


def refused(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """What the command says in this process, which is to end with 1."""
    monkeypatch.setattr(sys, "argv", ["reelmark", "coat", "set", *words, "--json"])
    with pytest.raises(SystemExit) as left:
        main()
    assert left.value.code == 1
    told = json.loads(capsys.readouterr().out)
    assert told["cure"]
    return str(told["error"])


def test_the_command_of_the_manual():
    told = coat_set(*PLAIN, "--coats", "5")
    assert told["opacity_white_backing"] == [61.648, 78.491, 86.066, 90.247, 92.834]  # film.md 4.3
    assert "C0.89" in told["definition"]
    assert any("licensed" in one for one in told["cautions"])
    one = coat_set(*PLAIN, "--one-side", "--coats", "3", "--target", "90 %")
    assert one["opacity_white_backing"] == [42.928, 61.648, 71.997]  # film.md 4.3
    assert one["target"]["reachable"] is False
    assert "not reachable with five" in one["target"]["says"]
    assert one["target"]["would_reach"]["thicker_coat_um"] == pytest.approx(19.623 / 5, abs=1e-3)  # film.md 4.3


def test_every_option_is_heard():
    told = coat_set(
        *PLAIN, "--target", "90 %", "--density", "1.65 g/cm3", "--solids", "50 %", "--windows", "3 %", "--width", "1 m",
        "--speed", "150 m/min", "--length", "8 km", "--order-length", "80 km", "--gauge", "75 um", "--tension",
        "100 N/m", "--repeat", "600 mm", "--shrink", "0.05 %", "--units", "2", "--repeats-a-sheet", "2", "--index",
        "1.5", "--solvent", "ethyl acetate=0.8", "--solvent", "ethanol=0.2", "--solvent-data", "ethanol.lfl=0.033",
        "--ink", "transfer=0.4", "--web", "span=4", "--dryer", "dryer_temperature=343.15", "--material",
        "youngs_modulus=2e9", "--under", "1 um,0.1,0.02", "--pigment", "15 %", "--gloss", "0.5",
        "--definition", "paper-backing", "--black", "0.01", "--white", "0.85",
    )  # fmt: skip
    assert told["ink_kg_a_coat_per_order"] == pytest.approx(640.2)  # film.md 4.5
    assert told["repeat_stretch_mm"] == pytest.approx(0.4)  # film.md 5
    assert told["passes"] == 6
    assert told["backings"] == {"black": 0.01, "white": 0.85}
    assert told["register_time_s"] == pytest.approx(4 / 2.5)
    assert told["scattering_bound_per_um"] == pytest.approx(0.427, abs=5e-4)  # film.md 4.4
    assert "ISO 2471" in told["target"]["definition"]
    assert told["next_pass_off_a_sheet_mm"] == pytest.approx(2 * told["next_pass_off_mm"])
    assert {"ink.transfer", "web.tension", "ink.solids"}.isdisjoint(one["name"] for one in told["from_memory"])


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--coat", "2.5 um"), "--scattering and --absorption"),
        ((*PLAIN[:4], "--coat", "2.5"), "no unit"),
        ((*PLAIN[:4], "--coat", "2.5 m"), "coat"),
        ((*PLAIN[:4], "--coat", "0 um"), "coat"),
        (("--scattering", "-1", *PLAIN[2:]), "--scattering"),
        (("--scattering", "nan", *PLAIN[2:]), "--scattering"),
        (("--scattering", "0", *PLAIN[2:]), "scattering"),
        (("--scattering", "250000", *PLAIN[2:]), "/um"),
        ((*PLAIN, "--coats", "6"), "1 to 5"),
        ((*PLAIN, "--coats", "0"), "1 to 5"),
        ((*PLAIN, "--target", "100 %"), "below 100"),
        ((*PLAIN, "--target", "90"), "90 %"),
        ((*PLAIN, "--definition", "good"), "white-backing"),
        ((*PLAIN, "--solvent", "benzine"), "ethyl acetate"),
        ((*PLAIN, "--solvent", "ethanol=0.5"), "1 in all"),
        ((*PLAIN, "--solvent-data", "ethanol.lfl=0.03"), "ethyl acetate"),
        ((*PLAIN, "--solvent-data", "ethyl acetate.lfl=2"), "0.02"),
        ((*PLAIN, "--solids", "150 %"), "solids"),
        ((*PLAIN, "--windows", "-3 %"), "windows"),
        ((*PLAIN, "--ink", "solids=0.4", "--solids", "50 %"), "option of its own"),
        ((*PLAIN, "--web", "colour=3"), "colour"),
        ((*PLAIN, "--tension", "9000 N/m"), "tension"),
        ((*PLAIN, "--units", "2.5"), "whole"),
        ((*PLAIN, "--under", "1 um,0.1"), "--under"),
        ((*PLAIN, "--black", "0.5"), "black"),
        ((*PLAIN, "--index", "0.5"), "index"),
        ((*PLAIN, "--lot", "A"), "--draw-downs"),
        ((*PLAIN, "--draw-downs", "there-is-none.csv"), "not both"),
        (("--coat", "2.5 um", "--draw-downs", "there-is-none.csv"), "no such file"),
        ((*PLAIN, "--order", "order.toml", "--works", "there-is-none"), "there-is-none"),
    ],
)
def test_bad_input_is_refused_by_name_with_a_cure(words, says, monkeypatch, capsys):
    assert says in refused(monkeypatch, capsys, *words)


HEAD = "coat_um,over_black,over_white,black,white"
THICK = (2.5, 5.0, 10.0, 15.0)


def rows(s: float = 0.25e6, k: float = 500.0) -> list[str]:
    x = np.array(THICK) * 1e-6
    dark, light = reflected(s, k, x, np.full(4, 0.04)), reflected(s, k, x, np.full(4, 0.84))
    return [f"{t},{a:.5f},{b:.5f},0.04,0.84" for t, a, b in zip(THICK, dark, light, strict=True)]


def test_draw_downs_stand_in_for_s_and_k(tmp_path):
    file = tmp_path / "lot.csv"
    file.write_text("\n".join([HEAD, *rows()]))
    told = coat_set("--coat", "2.5 um", "--draw-downs", str(file))
    assert told["scattering_per_um"] == pytest.approx(0.25, rel=2e-3)
    low, high = told["fit"]["scattering_interval_per_um"]
    assert low < 0.25 < high
    below, seen, above = (told[n][-1] for n in ("opacity_low", "opacity_white_backing", "opacity_high"))
    assert below < seen < above
    assert any("weigh" in note for note in told["notes"]["fit"])


def test_lots_are_fitted_apart_and_one_is_named(tmp_path):
    file = tmp_path / "lots.csv"
    lots = [f"7,{one}" for one in rows()] + [f"8,{one}" for one in rows(0.30e6, 900.0)]
    file.write_text("\n".join([f"lot,{HEAD}", *lots]))
    fits = fit_lots(read_draw_downs(file), Backings())
    assert [one.lot for one in fits] == ["7", "8"]
    assert lot_of(fits, "8").fitted.scattering == pytest.approx(0.30e6, rel=2e-3)
    with pytest.raises(NotThere, match="7, 8"):
        lot_of(fits, None)
    with pytest.raises(NotThere, match="7, 8"):
        lot_of(fits, "9")


def test_grounds_that_are_not_in_the_file_are_said_to_be_assumed(tmp_path):
    file = tmp_path / "bare.csv"
    file.write_text("\n".join(one.rsplit(",", 2)[0] for one in [HEAD, *rows()]))
    (fit,) = fit_lots(read_draw_downs(file), Backings(0.04, 0.84))
    assert fit.fitted.scattering == pytest.approx(0.25e6, rel=2e-3)
    assert any("grounds" in note for note in fit.as_dict()["notes"])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "does not read"),
        (f"{HEAD}\n", "no rows"),
        (f"{HEAD}\n2.5,0.5,0.9,0.04,0.84", "two thicknesses"),
        (f"{HEAD}\n2.5,0.5,,0.04,0.84\n5,0.6,0.9,0.04,0.84", "row 1: over_white"),
        (f"{HEAD}\n2.5,50,90,4,84\n5,60,90,4,84", "share of 1"),
        (f"{HEAD}\n2.5,half,0.9,0.04,0.84\n5,0.6,0.9,0.04,0.84", "half"),
        ("coat_um,over_black\n2.5,0.5\n5,0.6", "over_white"),
        (f"lot,{HEAD}\n,2.5,0.5,0.9,0.04,0.84\n,5,0.6,0.9,0.04,0.84", "lot"),
    ],
)
def test_a_bad_file_of_draw_downs_is_refused_by_its_place(tmp_path, text, says, monkeypatch, capsys):
    file = tmp_path / "bad.csv"
    file.write_text(text)
    assert says in refused(monkeypatch, capsys, "--coat", "2.5 um", "--draw-downs", str(file))


@pytest.fixture(scope="module")
def asked() -> tuple[Order, Plant]:
    plant = read_works(TEMPLATES / "works.toml").plant
    assert plant is not None
    return read_order(TEMPLATES / "order.toml"), plant


ASKED = Recipe(Coated(Coat(0.25e6, 500.0, 2.5e-6)), ink=INK.over("test", windows=0.06, solids=0.475))


def test_an_order_s_coats_take_the_passes_metres_and_hours_of_the_plan(asked):
    order, plant = asked
    told = coat_order(ASKED, order, plant)
    route = [one for one in backward(order, plant).stages if one.stage.station == "coat"]
    assert told["web_m_in_each_pass"] == [one.runs for one in route]  # two passes, as the route has
    by_hand = sum(one.runs / (6000 * 0.7) + 2 for one in route)  # 100 m/min, 70 %, set-up 2 h: works.toml
    assert told["hours"] == pytest.approx(by_hand, rel=1e-12)
    area = sum(one.runs for one in route) * 4 * 0.716 * 0.94  # four lanes of 716 mm, coverage 94 %: both files
    assert told["ink_dry_kg"] == pytest.approx(area * 5 * 2.5e-6 * 1650, rel=1e-9)
    assert any("22 g/m2" in one for one in told["says"])  # works.toml plans 2 x 11 g/m2, five coats weigh 41.25


def test_more_passes_take_more_web_hours_and_say_that_the_route_is_short(asked):
    order, plant = asked
    few = coat_order(replace(ASKED, web=WEB.over("test", units=2)), order, plant)
    two = coat_order(ASKED, order, plant)
    assert (few["passes"], few["coats_in_each_pass"]) == (6, [2, 2, 1, 2, 2, 1])
    assert sum(few["coats_in_each_pass"]) == sum(two["coats_in_each_pass"]) == 10
    last = few["web_m_in_each_pass"][-1]
    assert last == two["web_m_in_each_pass"][-1]
    assert few["web_m_in_each_pass"][-2] == ceil(last / 0.988) + 150  # good and make_ready of works.toml
    assert few["hours"] > 2.9 * two["hours"]
    assert any("plans 2 passes" in one for one in few["says"])


def test_order_and_works_say_width_length_and_speed(asked):
    said = order_needs(*asked)
    assert said["width"] == pytest.approx(4 * 0.716)
    assert said["speed"] == pytest.approx(100 / 60)
    assert said["windows"] == pytest.approx(0.06)
    told = coat_set(*PLAIN, "--order", str(TEMPLATES / "order.toml"), "--works", str(TEMPLATES / "works.toml"))
    assert told["order"]["order"] == "TM-20-1"
    assert told["windows_share"] == pytest.approx(0.06)


def test_a_route_without_coats_is_refused(asked):
    order, plant = asked
    bare = replace(plant, stages=tuple(one for one in plant.stages if one.station != "coat"))
    with pytest.raises(BadValue, match="lays none"):
        coat_order(ASKED, order, bare)
