"""The demo's camera over the windows: what is planted in its frames is found from them alone, and nothing else is; and
the notes that were truly cut and numbered over each fault lie among those that the marks are followed to.

The truth is the simulator's: its plan of the stretch, the film it cut each sheet from, the strikes of its boxes.  Seeds
1 to 15 of the small order and 1 to 3 of the full one all agreed when this was written.
"""

from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from itertools import islice
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import numpy as np
import pytest

from reelmark.acts.window import column_over, core_of
from reelmark.acts.window_notes import Camera, touched
from reelmark.demo import SMALL, simulate
from reelmark.demo.windowjudge import Read, windows_found, windows_judged
from reelmark.demo.windowline import counts, pictures, write_frames
from reelmark.demo.windowplan import NOTE_WINDOW, Fault, WindowRoll
from reelmark.demo.windowtrace import followed, keep, law, mark_bodies
from reelmark.errors import NotThere
from reelmark.io.layout import read_layout
from reelmark.io.windowkept import GOOD, read_kept
from small_demo import made

SEEDS = (1, 2, 7)  # 7: the roll was rewound once more, so its sheets lie the other way round


def planned(seed: int) -> WindowRoll:
    roll: WindowRoll = made(seed)[0].windows[0]
    return roll


def look(roll: WindowRoll, at: Path) -> Read:
    write_frames(roll, at / "frames" / roll.name)
    (read,) = windows_found([at / "frames" / roll.name], at / "windows")
    return read


@cache
def kept(seed: int) -> tuple[Path, Read, list[dict[str, Any]]]:
    """The frames read once: the folder, what was read, and the marks followed."""
    at = Path(mkdtemp())
    read = look(planned(seed), at)
    return at, read, followed(made(seed)[1], read, range(len(read.answer["marks"])))


@pytest.mark.parametrize("seed", SEEDS)
def test_each_planted_fault_is_found_in_its_place_and_nothing_else(seed: int) -> None:
    sim, reading = made(seed)
    judged = windows_judged(sim.windows, [kept(seed)[1]], reading)
    assert all(one["agrees"] for one in judged), [one for one in judged if not one["agrees"]]
    assert {one["name"] for one in judged} == {
        "window missing", "window half filled", "window shifted pass", "window dirty", "roller marks", "coat streak",
        "flash lost", "frame dark", "encoder slip", "windows counted",
    }  # fmt: skip


@pytest.mark.parametrize("seed", SEEDS)
def test_what_was_printed_over_a_fault_lies_in_may_and_must_lies_on_the_fault(seed: int) -> None:
    sim, reading = made(seed)
    told = law(sim, reading, kept(seed)[2])
    assert told["held"], told


def test_the_law_fails_where_a_row_or_a_column_is_told_wrong() -> None:
    sim, reading = made(1)
    _, read, _ = kept(1)
    for key, other in (("row", {1: 2, 2: 1}), ("lane", {1: 2, 2: 3, 3: 1})):
        wrong = [one | {key: other[one[key]]} if one.get("row") else one for one in read.answer["marks"]]
        moved = replace(read, told=read.told | {"answer": read.answer | {"marks": wrong}})
        marks = followed(reading, moved, range(len(wrong)))
        right = followed(reading, read, range(len(wrong)))
        marks = [a | {"notes": b["notes"]} for a, b in zip(right, marks, strict=True)]
        assert not law(sim, reading, marks)["held"], key


def test_a_fault_that_is_not_in_the_frames_and_one_that_is_not_planned_are_both_told(tmp_path: Path) -> None:
    sim, reading = made(1)
    (roll,) = sim.windows
    gone, *rest = roll.faults
    hidden = {one.repeat for one in roll.faults} | {n * roll.each + k for n in (roll.lost, roll.dark) for k in (0, 1)}
    free = next(i for i in range(8, 40) if i not in hidden)
    drawn = replace(roll, faults=(*rest, Fault("missing", free, 0, 1, 0.0, 0.0)))
    judged = windows_judged(sim.windows, [look(drawn, tmp_path)], reading)
    odd = [(one["name"], one["planted"] is None, one["found"] is None) for one in judged if not one["agrees"]]
    assert odd == [(f"window {gone.kind}", False, True), ("window missing", True, False)]


def test_frames_of_a_roll_that_was_not_planned_and_a_roll_without_frames_do_not_agree() -> None:
    sim, reading = made(1)
    other = replace(kept(1)[1], roll="F01c")
    judged = windows_judged(sim.windows, [other], reading)
    assert len(judged) == len(planned(1).planted) + 1
    assert not any(one["agrees"] for one in judged)


def test_the_windows_of_the_stretch_counted_by_hand() -> None:
    # 48 repeats of 2 rows of 3 windows, and the first row of the one after: 97 x 3 = 291.  A frame shows 2 repeats and
    # a row; without it its neighbours still show the first row of each end: 3 rows of 3 are lost, of two frames 18.
    for seed in SEEDS:
        assert counts(planned(seed)) == {"expected": 291, "seen": 271, "missing": 2, "not_seen": 18}


def test_the_same_seed_gives_the_same_frames(tmp_path: Path) -> None:
    one, again, other = (simulate(SMALL, seed).windows[0] for seed in (1, 1, 2))
    write_frames(one, tmp_path / "one")
    written = {path.name: path.read_bytes() for path in (tmp_path / "one").iterdir()}
    first = [picture for _, picture in islice(pictures(again), 3)]
    assert all(picture.tobytes() in written[f"{n:03d}.tif"] for n, picture in enumerate(first))
    assert replace(one, sheets=again.sheets) == again
    assert np.array_equal(one.sheets, again.sheets)
    assert not np.array_equal(first[0], next(pictures(other))[1])
    assert read_layout(tmp_path / "one" / "layout.toml").layout == one.layout
    assert read_layout(tmp_path / "one" / "layout.toml").over_lane == one.lane


def test_every_seed_has_a_stretch_whose_windows_lie_where_its_sheets_were_cut() -> None:
    for seed in range(1, 13):
        sim = simulate(SMALL, seed)
        (roll,), truth = sim.windows, sim.truth
        strip = sim.webs[roll.name][0]
        way = 1 if strip.b > strip.a else -1
        film = strip.a + way * round(1e3 * (roll.zero_mm - roll.core_mm))  # under the beginning of repeat 0
        ends = truth.start[roll.sheets[0], 0], truth.stop[roll.sheets[0], 0]
        assert film == (ends[0] if way > 0 else ends[1])
        assert len({int(truth.lane[one]) for one in roll.sheets} | {roll.lane}) == 1
        assert len({one.repeat for one in roll.faults}) == len(roll.faults) == 7


def test_the_encoders_metre_at_the_core_is_what_the_viewer_left_off() -> None:
    for seed in SEEDS:
        roll, reading = planned(seed), made(seed)[1]
        assert core_of(reading, roll.name) == pytest.approx(roll.core_mm / 1e3, abs=1e-9)
    with pytest.raises(NotThere, match="no pass of the journal wound"):
        core_of(made(1)[1], "F01")
    with pytest.raises(NotThere, match="lanes"):
        column_over(made(1)[1], planned(1).name, 9)


def test_a_mark_touches_one_note_a_sheet_and_surely_none_while_it_is_short() -> None:
    reading, roll = made(1)[1], planned(1)
    camera = Camera(core_of(reading, roll.name), column_over(reading, roll.name, roll.lane), SMALL.order.layout.rows)
    mark = {"kind": "missing", "metre_m": camera.core_m + 6.0, "lane": 2, "row": 1, "window": 0, "offset_mm": None}
    told = touched(reading, roll.name, mark, camera)
    sheets = sum(one["to"] - one["from"] + 1 for one in told["sheets"])
    assert sheets in (7, 8)  # a metre over 0.168 m is 5.95 sheets, and one more begun at each end
    assert told["notes"]["may"]["count"] * SMALL.order.layout.ups == told["numbers"]["count"]
    assert told["notes"]["must"]["count"] == 0
    whole = touched(reading, roll.name, mark | {"row": None}, camera)  # a hole: any row of its column
    assert whole["notes"]["may"]["count"] == 2 * told["notes"]["may"]["count"]
    long = touched(reading, roll.name, mark | {"row": None, "to_m": camera.core_m + 8.0}, camera)
    assert 0 < long["notes"]["must"]["count"] < long["notes"]["may"]["count"]


def test_marks_go_to_the_journal_with_their_pictures_checksum_and_the_reading_is_kept() -> None:
    at, read, _ = kept(1)
    reading, roll = made(1)[1], planned(1)
    bodies = mark_bodies(reading, read)
    assert len(bodies) == len(read.answer["marks"])
    keep(reading, read, at / "windows", datetime(2026, 3, 3, tzinfo=UTC))
    told = read_kept(at / "windows" / roll.name)
    assert (told.answer["expected"], told.at.year) == (291, 2026)
    for body, mark in zip(bodies, read.answer["marks"], strict=True):
        assert (body["unit"], body["lanes"]) == (roll.name, [roll.lane])
        if mark.get("sha256"):
            assert f"picture sha256 {mark['sha256']}" in body["fault"]
            assert told.state(mark["crop"]) == GOOD
    rows = [one for one in bodies if "window" in one["fault"]]
    assert len(rows) == 7
    assert all("; row " in one["fault"] for one in rows)


def test_the_window_lies_off_the_middle_of_its_note_so_that_a_turned_web_shows() -> None:
    layout = planned(1).layout
    assert NOTE_WINDOW.at_along_mm != SMALL.order.layout.note_along / 2e3
    assert layout.notes_per_repeat == SMALL.order.layout.rows
