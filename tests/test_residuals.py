"""Reads against the plan: read by read in steps, the stretches of a finding, and the picture of both."""

import xml.etree.ElementTree as Xml
from collections import Counter
from typing import Any

import pytest

from model_records import Hand
from reelmark.acts.residuals import FindingAt, Point, residuals_of
from reelmark.errors import NotThere
from reelmark.figures.residuals import residuals_picture
from reelmark.stations.numbering import Numbering, Residual, residuals

SVG = "{http://www.w3.org/2000/svg}"


def numbered_pile(**wrong: Any) -> Hand:
    """100 sheets, two positions, one block of 100 that falls; read at ticks 0, 20, 40, 60, 80, as `wrong` alters it.

    The last sheet printed lies on top: sheet s of the pile was tick 99 - s.  Position 0 bears 99 - t, position 1
    199 - t, as places in the series, and place x is written A and x + 1.
    """
    hand = Hand()
    hand.write("allocate", series="S", first="A001", last="A200", purpose="order")
    hand.pile("P1", 100)
    hand.numbered("P1", "N1", ticks=100)
    for tick in (0, 20, 40, 60, 80):
        texts = [f"A{99 - tick + 1:03d}", wrong.get(f"t{tick}", f"A{199 - tick + 1:03d}")]
        reads = [{"position": p, "text": text} for p, text in enumerate(texts)]
        hand.write("read", unit="N1", sheet=99 - tick, reads=reads)
    return hand


def test_every_read_as_planned_is_off_by_nothing() -> None:
    told = residuals_of(numbered_pile().reading(), "N1")
    assert (told.unit, told.ticks, told.rows, told.columns) == ("N1", (0, 99), 2, 1)
    ticks = (0, 20, 40, 60, 80)
    assert told.points == tuple(Point(p, t, 99 - t, 0) for p in (0, 1) for t in ticks)
    assert told.findings == ()


def test_a_box_that_did_not_step_is_one_step_behind_from_there_on() -> None:
    # A box that falls and misses a step bears a number one too high: A160 at tick 40 becomes A161.
    hand = numbered_pile(t40="A161", t60="A141", t80="A121")
    told = residuals_of(hand.reading(), "N1")
    assert [p.off for p in told.points if p.position == 1] == [0, 0, -1, -1, -1]
    assert {p.off for p in told.points if p.position == 0} == {0}
    (found,) = told.findings
    assert (found.position, found.fault, found.serious) == (1, "skipped tick", True)
    assert found.may == (21, 99)  # after the good read of tick 20; a fault ends with the block
    assert found.sure == ((40, 80),)  # from the first bad read to the last


def test_what_was_not_readable_is_kept_apart() -> None:
    told = residuals_of(numbered_pile(t40="").reading(), "N1")
    assert [(p.tick, p.off) for p in told.points if p.off != 0] == [(40, None)]


def test_a_tick_that_all_positions_share_is_told_apart_from_the_box() -> None:
    # From tick 50 on every sheet is one tick behind; from 90 on the box of position 3 is one more behind.
    plan = Numbering(base=0, block=1000, ups=4)
    late = {0: 0, 10: 0, 50: 1, 60: 1, 90: 1, 95: 1}
    own = {(90, 3): 1, (95, 3): 1}
    reads = [(t, p, 1000 * p + t - by - own.get((t, p), 0)) for t, by in late.items() for p in range(4)]
    told = residuals(plan, [*reads, (96, 0, None)])
    assert [one for one in told if one.tick == 96] == [Residual(96, 0, None, None)]
    assert [one.shared for one in told if one.position == 1] == [0, 0, -1, -1, -1, -1]
    assert [one.own for one in told if one.position == 1] == [0] * 6
    assert [one.own for one in told if one.position == 3] == [0, 0, 0, 0, -1, -1]


def test_a_unit_that_was_not_numbered_is_refused_with_those_that_were() -> None:
    with pytest.raises(NotThere, match="name one, as N1"):
        residuals_of(numbered_pile().reading(), "P1")
    with pytest.raises(NotThere, match="none yet"):
        residuals_of(Hand().reading(), "P1")


# ---- the picture

POINTS = [Point(0, 0, 99, 0), Point(0, 50, 49, 0), Point(1, 0, 99, 0), Point(1, 50, 49, -1), Point(1, 99, 0, None)]
FOUND = FindingAt(1, "skipped tick", True, (1, 99), ((50, 50),), "skipped tick, position 1")


def drawn(points: list[Point], *found: FindingAt, rows: int = 2, columns: int = 1) -> Xml.Element:
    return Xml.fromstring(
        residuals_picture(points, found, rows=rows, columns=columns, ticks=(0, 99), title="N1", alone=True)
    )


def classes(picture: Xml.Element, name: str) -> Counter[str]:
    return Counter(one.get("class", "") for one in picture.iter(f"{SVG}{name}"))


def test_there_is_a_panel_for_every_position_and_a_dot_for_every_read() -> None:
    picture = drawn(POINTS, FOUND)
    assert classes(picture, "g").total() == 2
    assert classes(picture, "circle") == {"quiet": 3, "accent": 1}
    assert classes(picture, "path") == {"line lost": 1}
    assert classes(picture, "line") == {"line rule": 2}


def test_a_dot_off_the_plan_lies_under_the_line_and_at_its_tick() -> None:
    panel = list(drawn(POINTS, FOUND).iter(f"{SVG}g"))[1]
    (line,), (dot,) = panel.iter(f"{SVG}line"), (c for c in panel.iter(f"{SVG}circle") if c.get("class") == "accent")
    assert float(dot.get("cy", 0)) > float(line.get("y1", 0))
    assert float(dot.get("cx", 0)) / float(line.get("x2", 0)) == pytest.approx(50 / 99, abs=1e-3)


def test_the_doubtful_stretch_is_pale_and_the_sure_one_strong_in_the_panel_of_its_position_alone() -> None:
    first, second = ([r for r in panel.iter(f"{SVG}rect") if r.get("class") == "pale"]
                     for panel in drawn(POINTS, FOUND).iter(f"{SVG}g"))  # fmt: skip
    assert first == []
    assert [one.get("fill-opacity") for one in second] == ["0.45", "1"]
    wide, narrow = (float(one.get("width", 0)) for one in second)
    assert narrow < wide


def test_a_finding_of_all_positions_is_in_every_panel() -> None:
    shared = FindingAt(None, "sheet without number", True, (1, 99), ((50, 99),), "sheet without number")
    assert classes(drawn(POINTS, shared), "rect")["pale"] == 4


def test_the_picture_tells_in_words_what_is_seen_and_names_its_axes_once() -> None:
    picture = drawn(POINTS, FOUND)
    said = str(picture.findtext(f"{SVG}desc"))
    assert said == "2 positions, 5 reads: 1 off the plan, at position 1; 1 unreadable. skipped tick, position 1."
    words = [one.text for one in picture.iter(f"{SVG}text")]
    assert words.count("tick of the numbering press") == 1
    assert words.count("steps ahead (+), behind (−)") == 1
    assert {"0", "1", "+1", "−1", "99"} <= set(words)


def test_far_off_is_drawn_by_powers_of_ten_inside_its_panel() -> None:
    picture = drawn([Point(0, 0, 99, 12_000), Point(1, 50, 49, -1)])
    heights = [float(one.get("cy", 0)) for one in picture.iter(f"{SVG}circle")]
    assert heights[0] == 7.0  # the most that is off reaches the edge that is kept free
    assert 22.5 < heights[1] < 26  # one step off still stands clear of the line at 22


def test_so_many_reads_that_they_fall_together_are_drawn_once() -> None:
    many = [Point(0, t % 100, 0, 0) for t in range(20_000)]
    assert classes(drawn(many), "circle")["quiet"] == 100


def test_a_pile_without_reads_gives_empty_panels() -> None:
    picture = drawn([])
    assert classes(picture, "circle").total() == 0
    assert "0 reads" in str(picture.findtext(f"{SVG}desc"))
