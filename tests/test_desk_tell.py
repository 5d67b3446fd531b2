"""What a desk tells while it takes records in, how it is stopped, and what it takes over from its present reading."""

import gc
import json
import weakref
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from time import sleep
from typing import Any

import pytest

from reelmark.demo import SMALL, simulate, write_records
from reelmark.desk import Desk
from reelmark.journal import canonical
from reelmark.spans import Extent
from reelmark.trace.frames import BLOCK, Frames
from small_demo import folder as small_folder

Told = list[tuple[str, int, int]]


@pytest.fixture
def shifts(tmp_path: Path) -> list[Path]:
    """The shifts' files of the small order, in order, and beside them an empty works folder."""
    write_records(simulate(SMALL, 1), tmp_path)
    order, works = ((tmp_path / name).read_text(encoding="utf-8") for name in ("order.toml", "works.toml"))
    Desk.create(tmp_path / "works", order, works).store.close()
    return sorted((tmp_path / "records").glob("*.jsonl"))


class Stop(Exception):
    """The caller's own."""


def stop_at(what: str, done: int) -> Callable[[str, int, int], None]:
    """A tell that raises once so much of that is done."""

    def tell(now: str, at: int, of: int) -> None:
        if now == what and at >= done:
            raise Stop

    return tell


def test_reading_judging_and_posting_are_told_one_after_another(shifts: list[Path]) -> None:
    told: Told = []
    with Desk(shifts[0].parents[1] / "works") as desk:
        taken = desk.take(shifts[:1], tell=lambda *one: told.append(one))
        assert list(dict.fromkeys(what for what, _, _ in told)) == ["reading", "judging", "posting"]
        lines = len(shifts[0].read_text().splitlines())
        assert [(done, of) for what, done, of in told if what == "reading"] == [(n, lines) for n in range(1, lines + 1)]
        judged = [(done, of) for what, done, of in told if what == "judging"]
        assert judged == [(n, taken.taken) for n in range(taken.taken)]
        due = len(desk.reading.shop.due)
        assert [(done, of) for what, done, of in told if what == "posting"] == [(n, due) for n in range(due)]


def straight(files: tuple[Path, ...]) -> list[bytes]:
    """What the journal holds when nobody stops anything: each record of the files once, in canonical form."""
    once: dict[tuple[str, int], Any] = {}
    for record in (json.loads(line) for file in files for line in file.read_text().splitlines()):
        once.setdefault((record["machine"], record["seq"]), canonical(record))
    return list(once.values())


@pytest.mark.parametrize("what", ["reading", "judging", "posting"])
@pytest.mark.parametrize("skip_bad", [False, True])
def test_stopped_anywhere_the_desk_is_as_before_and_takes_the_file_later(
    shifts: list[Path], what: str, skip_bad: bool
) -> None:
    with Desk(shifts[0].parents[1] / "works") as desk:
        desk.take(shifts[:1])
        before, size, root = desk.reading, desk.store.size, desk.checkpoint()["root"]
        with pytest.raises(Stop):
            desk.take(shifts[1:2], skip_bad, stop_at(what, 5))
        assert desk.reading is before
        assert (desk.store.size, len(desk.records), desk.checkpoint()["root"]) == (size, size, root)
        assert desk.take(shifts[1:2], skip_bad).taken > 0
        assert list(desk.store.entries()) == straight(tuple(shifts[:2]))


def test_files_before_the_one_stopped_in_stay_taken(shifts: list[Path]) -> None:
    first = len({line for line in shifts[0].read_text().splitlines()})
    with Desk(shifts[0].parents[1] / "works") as desk:
        with pytest.raises(Stop):
            desk.take(shifts[:2], tell=stop_at("judging", first + 1))
        assert desk.store.size == first


def test_a_record_under_a_used_number_is_kept_as_refused_only_where_the_file_went_through(shifts: list[Path]) -> None:
    lines = shifts[0].read_text().splitlines()
    other = shifts[0].with_name("other.jsonl")
    other.write_text("\n".join([lines[0].replace('"by":"', '"by":"X. '), *shifts[1].read_text().splitlines()]) + "\n")
    with Desk(shifts[0].parents[1] / "works") as desk:
        desk.take(shifts[:1])
        with pytest.raises(Stop):
            desk.take([other], True, stop_at("posting", 3))
        assert desk.store.refusals() == []
        taken = desk.take([other], True)
        assert taken.taken > 0
        assert [one.machine_seq for one in desk.store.refusals()] == [1]


# ---- what is taken over from the present reading


def move(desk: Desk, number: int) -> None:
    """One note of the order moved, posted as from the page."""
    series = desk.order.series[0].name
    text = desk.reading.shop.formats[series].text(number)
    body = {"kind": "move", "series": series, "first": text, "last": text, "source": "good", "target": "held",
            "why": "looked at"}  # fmt: skip
    assert desk.post([body], "office", "R. Tessel", None, f"2030-01-01T00:00:{number:02d}+00:00") == 1


def test_a_reading_made_from_the_one_before_says_what_one_from_nothing_says(tmp_path: Path) -> None:
    with Desk(small_folder(tmp_path)) as desk:
        old = desk.reading.thread
        move(desk, 1)
        new = desk.reading
        assert new.thread.frames is old.frames  # taken over
        fresh = new.upto(new.size)
        assert fresh.thread.frames is not new.thread.frames
        assert new.accounting.books.postings == fresh.accounting.books.postings
        for unit in fresh.thread.imprints:
            sheets = Extent.one(unit, 0, 0, 5)
            assert new.thread.back(sheets) == fresh.thread.back(sheets), unit
            assert new.thread.numbers(sheets) == fresh.thread.numbers(sheets), unit


def test_a_desk_that_lives_long_keeps_its_present_reading_alone(tmp_path: Path) -> None:
    with Desk(small_folder(tmp_path)) as desk:
        gone = []
        for number in range(1, 5):
            gone.append((weakref.ref(desk.reading), weakref.ref(desk.reading.thread)))
            move(desk, number)
        gc.collect()
        assert [(reading(), thread()) for reading, thread in gone] == [(None, None)] * 4


class SlowlyNamed(str):
    """A name that lets other threads go first whenever it is looked up."""

    __slots__ = ()

    def __hash__(self) -> int:
        sleep(1e-4)
        return super().__hash__()


def test_places_named_by_many_hands_at_once_get_a_block_each() -> None:
    frames, hands = Frames(), 6

    def name_all(hand: int) -> list[int]:
        told = []
        for n in range(20):
            for place in ((SlowlyNamed(f"all {n}"), 1), (SlowlyNamed(f"hand {hand}, {n}"), 1)):
                told.append(frames.start(place))
                assert frames.locate(told[-1]) == (place, 0)
        return told

    with ThreadPoolExecutor(hands) as pool:
        every = list(pool.map(name_all, range(hands)))
    assert all(told[::2] == every[0][::2] for told in every)
    assert sorted({start for told in every for start in told}) == [n * BLOCK for n in range(20 + 20 * hands)]
