"""The main loop on the demo works: a fault on the film moves a delivery's date, and says why."""

from dataclasses import replace
from pathlib import Path

import pytest

from reelmark.acts.planning import plant_of
from reelmark.demo.planning import Story, plan_story
from reelmark.io import read_works, template
from small_demo import made

FAULTS = (("pressure drop -4.10 um", 2_400, 2_403, 1), ("drift -3.60 um", 500, 7_500, 1))


@pytest.fixture(scope="module")
def story(tmp_path_factory: pytest.TempPathFactory) -> Story:
    path = Path(tmp_path_factory.mktemp("works")) / "works.toml"
    path.write_text(template("works.toml"), encoding="utf-8")
    plant = replace(plant_of(read_works(path)), level=0.0)  # no overs: the small order is then a tight one
    return plan_story(made(1)[1], plant, FAULTS, size=8)


def test_a_small_fault_is_covered_by_the_overs(story: Story):
    first = story.told["faults"][0]
    assert first["moved"] == []
    assert first["says"][-1].endswith("covers it: no date moves")


def test_a_large_fault_moves_a_date_and_says_why(story: Story):
    second = story.told["faults"][1]
    assert second["short_notes"] > 0
    assert any(one["ready"] > one["ready_before"] for one in second["moved"])
    assert " of film held: " in second["says"][0]
    assert "a make-up batch of" in second["says"][1]
    assert any(line.startswith("delivery") and "moves from" in line for line in second["says"])


def test_what_is_lost_is_what_the_cutter_would_have_made_of_it(story: Story):
    """Sheets a lane: metres over the cut-off, one more at each end at most, fewer where trim took film away."""
    order = made(1)[1].order
    for fault in story.told["faults"]:
        loss = fault["losses"][0]
        metres, sheets, notes = loss["metres"], loss["sheets"], loss["notes"]
        a_lane = metres * 1e6 / order.layout.cut_off
        assert 0.85 * a_lane * order.lanes - 2 <= sheets <= (a_lane + 2) * order.lanes
        assert notes == sheets * order.layout.ups
        assert fault["good_notes"] + fault["short_notes"] >= order.notes
        assert fault["seconds"] < 30


def test_the_plan_that_is_kept_holds_every_frozen_operation(story: Story):
    planned = story.planned
    assert planned.frozen
    assert len(planned.schedule.start) == len(planned.shop.operations)
