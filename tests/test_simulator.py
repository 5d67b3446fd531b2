"""The simulator, held against a second walk: the shop's own records, followed sheet by sheet, must give its truth.

The walk below reads only records (the late correction taken in) and, for pulls that nobody counted, asks the truth
which sheets went.  Film is walked point by point through the passes; piles are lists; boxes are counted by hand.
"""

import json
from collections import Counter
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reelmark.demo import FULL, SMALL, Simulated, Size, simulate, write_records
from reelmark.demo.boxes import Boxes, Slip, written
from reelmark.demo.folder import line
from reelmark.demo.presswork import transposed
from reelmark.demo.troubles import NAMES
from reelmark.demo.truth import KINDS
from reelmark.io import read_order, read_works
from reelmark.records import TWO_PERSONS, adapter
from reelmark.units import whole

Json = dict[str, Any]
SEEDS = st.integers(0, 2**32)
few = settings(max_examples=12, deadline=None)


@cache
def made(size: Size, seed: int) -> Simulated:
    return simulate(size, seed)


@pytest.fixture(params=[(SMALL, 1), (SMALL, 7), (FULL, 1)], ids=["small", "small 7", "full"])
def sim(request: pytest.FixtureRequest) -> Simulated:
    return made(*request.param)


def every(sim: Simulated) -> list[Json]:
    """All records once, in the order of time, as the shop knew them at the end."""
    seen: dict[tuple[str, int], Json] = {}
    for shift in sim.records:
        for one in shift:
            seen.setdefault((one["machine"], one["seq"]), one)
    for one in list(seen.values()):
        if one["kind"] == "correct":
            wrong = (one["of_machine"], one["of_seq"])
            head = {k: v for k, v in seen[wrong].items() if k in ("machine", "seq", "at", "by")}
            seen[wrong] = head | one["record"]
    return list(seen.values())


def of_kind(sim: Simulated, kind: str) -> list[Json]:
    return [one for one in every(sim) if one["kind"] == kind]


def named(sim: Simulated, name: str) -> list[Json]:
    found = [trouble.planted for trouble in sim.planted if trouble.name == name]
    assert found, f"{name} is not planted"
    return found


def record(sim: Simulated, machine: str, seq: int) -> Json:
    return next(one for shift in sim.records for one in shift if (one["machine"], one["seq"]) == (machine, seq))


def um(text: str) -> int:
    return int(whole(text, "um"))


# --- the second walk ----------------------------------------------------------------------------------------


class Walk:
    """Rolls as (where from, um unwound from, to) stretches; piles as lists of sheets, known by the order of birth."""

    def __init__(self, sim: Simulated) -> None:
        self.sim, self.cut_off = sim, sim.order.layout.cut_off
        self.length: dict[str, int] = {}
        self.made_of: dict[str, list[tuple[str, int, int]]] = {}
        self.births: list[tuple[str, int, int]] = []
        self.lane: dict[str, int] = {}
        self.piles: dict[str, list[int]] = {}
        self.standing: set[str] = set()
        self.lots: dict[str, list[int]] = {}
        self.tick: dict[int, tuple[str, int]] = {}
        for one in every(sim):
            getattr(self, "rewound" if one["kind"] == "pass" else one["kind"], lambda _: None)(one)

    def roll(self, one: Json) -> None:
        self.length[one["unit"]] = um(one["length"])

    def _wound(self, to: str, kept: list[Json]) -> None:
        stretches = [(k["unit"], um(k["start"]), um(k["end"])) for k in kept]
        assert all(0 <= a < b <= self.length[unit] for unit, a, b in stretches)
        self.made_of[to], self.length[to] = stretches, sum(b - a for _, a, b in stretches)

    def rewound(self, one: Json) -> None:
        self._wound(one["to"], one["kept"])

    def slit(self, one: Json) -> None:
        for lane in one["to"]:
            self._wound(lane["unit"], one["kept"])
            self.lane[lane["unit"]] = lane["lane"]

    def sheet(self, one: Json) -> None:
        first, born = um(one["first_cut"]), len(self.births)
        self.births += [(one["unit"], first + k * self.cut_off, one["sheets"]) for k in range(one["sheets"])]
        self._put(one["to"], list(range(born + one["sheets"] - 1, born - 1, -1)))

    def film(self, unit: str, unwound: int) -> tuple[str, int]:
        """(film roll, um as wound there) of the um at that place from the outside of the roll."""
        wound = self.length[unit] - 1 - unwound
        if unit not in self.made_of:
            return unit, wound
        at = 0
        for source, start, end in self.made_of[unit]:
            if wound < at + end - start:
                return self.film(source, start + wound - at)
            at += end - start
        raise AssertionError(f"{unit} has no um {unwound}")

    def _put(self, name: str, pile: list[int]) -> None:
        assert name not in self.piles, f"{name} made twice"
        self.piles[name] = pile
        self.standing.add(name)

    def _take(self, name: str) -> list[int]:
        self.standing.remove(name)
        return self.piles[name]

    def _pulled(self, one: Json) -> list[int]:
        fed, gone = self._take(one["unit"]), set[int]()
        lots = [fed[p["start"] : p["start"] + p["sheets"]] for p in one["pulls"]]
        left = set(self.sim.truth.piles[one["to"]].tolist())
        for window in one.get("uncounted", []):  # which went, only the truth knows
            away = [s for s in fed[window["start"] : window["end"]] if s not in left]
            assert window["low"] <= len(away) <= window["high"]
            lots.append(away)
        for n, lot in enumerate(lots):
            assert not gone & set(lot)
            gone |= set(lot)
            self.lots[f"{one['to']}/{n}"] = lot
        assert one.get("counted_in", len(fed)) == len(fed)
        assert one.get("counted_out", len(fed) - len(gone)) == len(fed) - len(gone)
        return [s for s in fed if s not in gone]

    def print(self, one: Json) -> None:
        self._put(one["to"], self._pulled(one)[::-1])

    def pull(self, one: Json) -> None:
        self._put(one["to"], self._pulled(one))

    def turn(self, one: Json) -> None:
        self._put(one["to"], self._take(one["unit"])[::-1])

    def split(self, one: Json) -> None:
        pile = self._take(one["unit"])
        for to in one["to"]:
            sheets = to.get("sheets", len(pile))
            self._put(to["unit"], pile[:sheets])
            pile = pile[sheets:]
        assert not pile

    def join(self, one: Json) -> None:
        self._put(one["to"], [s for unit in one["units"] for s in self._take(unit)])

    def number(self, one: Json) -> None:
        fed = self._take(one["unit"])
        blank = {s for s in fed if self.sim.truth.series[s] < 0}
        struck = [s for s in fed if s not in blank]
        assert (len(struck), len(fed)) == (one["ticks"], one["counted_out"])
        self.tick |= {s: (one["series"], one["first_tick"] + t) for t, s in enumerate(struck)}
        self._put(one["to"], fed[::-1])

    def cut(self, one: Json) -> None:
        assert one["counted_in"] == len(self.piles[one["unit"]])
        self.lots[one["unit"]] = self._take(one["unit"])

    def destroy(self, one: Json) -> None:
        assert {KINDS[self.sim.truth.kind[s]] for s in self.lots[one["unit"]]} <= {"destroyed"}


def check_walk(sim: Simulated, sheets: Sequence[int]) -> None:
    walk, truth = Walk(sim), sim.truth
    assert {name: pile.tolist() for name, pile in truth.piles.items()} == walk.piles
    names = [one.name for one in sim.order.series]
    numbered = np.flatnonzero(truth.series >= 0).tolist()
    assert {s: (names[truth.series[s]], int(truth.tick[s])) for s in numbered} == walk.tick
    where = [*(walk.piles[name] for name in walk.standing), *walk.lots.values()]
    assert sorted(s for pile in where for s in pile) == list(range(len(truth.tick)))  # each in exactly one place
    for s in sheets:
        unit, lead, _ = walk.births[s]
        assert walk.lane[unit] == truth.lane[s]
        roll, way = truth.roll[s], truth.way[s]
        last = 1 if roll[1] >= 0 else 0
        lead_um = truth.start[s, 0] if way[0] > 0 else truth.stop[s, 0] - 1
        tail_um = truth.stop[s, last] - 1 if way[last] > 0 else truth.start[s, last]
        assert walk.film(unit, lead) == (truth.film_rolls[roll[0]], lead_um)
        assert walk.film(unit, lead + walk.cut_off - 1) == (truth.film_rolls[roll[last]], tail_um)
        assert (truth.stop[s] - truth.start[s]).sum() == walk.cut_off
        if last:  # the um on both sides of the tape
            across = lead + int(truth.stop[s, 0] - truth.start[s, 0])
            assert walk.film(unit, across - 1)[0] == truth.film_rolls[roll[0]]
            assert walk.film(unit, across)[0] == truth.film_rolls[roll[1]]


@few
@given(SEEDS)
def test_records_followed_sheet_by_sheet_give_the_truth(seed: int) -> None:
    sim = simulate(SMALL, seed)
    check_walk(sim, range(len(sim.truth.tick)))


def test_records_of_the_whole_order_give_the_truth() -> None:
    whole_order = made(FULL, 1)
    straddle = np.flatnonzero(whole_order.truth.roll[:, 1] >= 0)
    assert len(straddle) >= 6
    check_walk(whole_order, [*straddle.tolist(), *range(0, len(whole_order.truth.tick), 499)])


# --- numbers ------------------------------------------------------------------------------------------------


def test_numbers_written_by_hand() -> None:
    main, other = SMALL.order.series
    assert [written(main, i) for i in (0, 9_999_998, 9_999_999)] == ["AA0000001", "AA9999999", "AB0000001"]
    assert written(main, 8 * 9_999_999) == "AJ0000001"  # I is left out
    assert written(other, 41) == "RAA0000042"


def test_boxes_counted_down_by_hand() -> None:
    # Two positions, blocks of 4: 3 2 1 0 and 7 6 5 4, then 11.. and 15..
    assert Boxes(2, 4, ()).strike(0, np.arange(5)).tolist() == [[3, 7], [2, 6], [1, 5], [0, 4], [11, 15]]
    # Position 0 set 7 too high for the first block; position 1 stuck at tick 2: it strikes 6 twice, and never 4.
    slips = (Slip(0, 0, 0, 7), Slip(0, 1, 2, 0))
    assert Boxes(2, 4, slips).strike(0, np.arange(5)).tolist() == [[10, 7], [9, 6], [8, 6], [7, 5], [11, 15]]


def test_every_number_of_the_order_is_struck_once_and_packed_or_replaced(sim: Simulated) -> None:
    truth, (main, other), ups = sim.truth, sim.order.series, sim.truth.boxes.ups
    ticks = [np.sort(truth.tick[truth.series == series]) for series in (0, 1)]
    assert len(ticks[0]) * ups == sim.order.notes
    assert all((one == np.arange(len(one))).all() for one in ticks)
    at, used, replaced = 0, list[str](), list[str]()
    for pack in sorted(of_kind(sim, "pack"), key=lambda p: p["first"]):
        swaps = pack.get("replaced", [])
        at += ups * truth.boxes.block
        assert (pack["first"], pack["last"]) == (written(main, at - ups * truth.boxes.block), written(main, at - 1))
        assert all(pack["first"] <= one["number"] <= pack["last"] for one in swaps)
        used += [one["by"] for one in swaps]
        replaced += [one["number"] for one in swaps]
    assert at == sim.order.notes

    def notes(series: int, good: bool) -> list[str]:
        ticks = truth.tick[(truth.series == series) & ((truth.kind == 0) == good)].tolist()
        return [written(sim.order.series[series], truth.boxes.planned(t, p)) for t in ticks for p in range(ups)]

    assert sorted(replaced) == sorted([*notes(0, good=False), *truth.notes])
    assert len(set(used)) == len(used)
    assert set(used) <= set(notes(1, good=True))
    assert other.prefix == "R"


# --- records ------------------------------------------------------------------------------------------------


def test_records_are_what_the_intake_takes(sim: Simulated) -> None:
    check, machines = adapter(), {machine.name for machine in sim.works.machines}
    for shift in sim.records:
        assert shift
        for text in map(line, shift):
            given_back = check.validate_json(text)
            assert given_back.machine in machines
            assert given_back.by2 != given_back.by
            assert given_back.by2 is not None or given_back.kind not in TWO_PERSONS
            if given_back.kind == "correct":
                head = {"machine": "a", "seq": 1, "at": "2027-03-01T06:00:00Z", "by": "b"}
                check.validate_python(head | given_back.record)


def test_machines_number_their_records_without_gaps_and_time_never_goes_back(sim: Simulated) -> None:
    once = every(sim)
    assert [one["at"] for one in once] == sorted(one["at"] for one in once)
    for machine in {one["machine"] for one in once}:
        seqs = [one["seq"] for one in once if one["machine"] == machine]
        assert seqs == list(range(1, len(seqs) + 1))


@few
@given(SEEDS)
def test_same_seed_same_bytes(seed: int) -> None:
    one, two, other = (json.dumps(simulate(SMALL, s).records) for s in (seed, seed, seed + 1))
    assert one == two != other


def test_the_whole_order_is_quick_and_small() -> None:
    begun = perf_counter()
    sim = simulate(FULL, 2)
    assert perf_counter() - begun < 8  # s
    assert sim.order.notes == 9_000_000
    assert sum(map(len, sim.records)) < 15_000
    assert sum(len(line(one)) for shift in sim.records for one in shift) < 10_000_000


def test_files_hold_order_works_records_and_what_the_judge_needs(tmp_path: Path) -> None:
    sim = made(SMALL, 1)
    write_records(sim, tmp_path)
    assert read_order(tmp_path / "order.toml") == sim.order
    assert read_works(tmp_path / "works.toml") == sim.works
    files = sorted((tmp_path / "records").iterdir())
    assert [[json.loads(text) for text in file.read_text().splitlines()] for file in files] == sim.records
    planted = [*sim.planted, *(one for roll in sim.film for one in roll.planted)]
    planted += [one for roll in sim.windows for one in roll.planted]
    assert len(json.loads((tmp_path / "judge" / "planted.json").read_text())) == len(planted) > len(sim.planted)
    with np.load(tmp_path / "judge" / "truth.npz") as truth:
        i = truth["pile_names"].tolist().index("P001r")
        pile = truth["pile_sheets"][truth["pile_at"][i] : truth["pile_at"][i + 1]]
        assert pile.tolist() == sim.truth.piles["P001r"].tolist()
        assert (truth["tick"] == sim.truth.tick).all()


# --- troubles, seen in the records alone --------------------------------------------------------------------


def test_every_trouble_is_planted(sim: Simulated) -> None:
    assert {trouble.name for trouble in sim.planted} == set(NAMES)
    json.dumps([trouble.planted for trouble in sim.planted])


def test_extra_rewind_and_turn_by_hand(sim: Simulated) -> None:
    (rewind,), (turn,) = named(sim, "extra rewind"), named(sim, "pile turned by hand")
    off_the_way = {machine.name for machine in sim.works.machines if machine.standing}
    assert [one["to"] for one in of_kind(sim, "pass") if one["machine"] in off_the_way] == [rewind["to"]]
    assert [(one["to"], one["how"]) for one in of_kind(sim, "turn") if one["how"] != "turn"] == [(turn["to"], "tumble")]
    # Turned twice over the lead edge a sheet lies as cut; once over each edge, half round.
    truth, tumbled = sim.truth, sim.truth.piles[turn["to"]]
    flips = np.zeros((len(truth.tick), 2), np.bool_)
    flips[tumbled] = True
    assert (truth.flip == flips)[truth.series >= 0].all()


def test_splices_are_where_stretches_meet(sim: Simulated) -> None:
    met = set()
    for one in of_kind(sim, "pass"):
        at = 0
        for stretch in one["kept"][:-1]:
            at += um(stretch["end"]) - um(stretch["start"])
            met.add((one["to"], at))
    assert met == {(splice["to"], um(splice["at"])) for splice in named(sim, "splice")}
    assert any("joined" in splice for splice in named(sim, "splice"))


def test_uncounted_pulls_follow_from_the_counts_around_them(sim: Simulated) -> None:
    walk = Walk(sim)
    for trouble in named(sim, "uncounted pull"):
        one = record(sim, trouble["machine"], trouble["seq"])
        known = sum(p["sheets"] for p in one["pulls"])
        assert len(walk.piles[one["unit"]]) - known - trouble["count"] == len(walk.piles[one["to"]])
        turned = [t["to"] for t in of_kind(sim, "turn") if t["unit"] == one["to"]]
        counts = [c["counted"] for c in of_kind(sim, "count") if c.get("unit") == one["to"]]
        counts += [p["counted_in"] for p in of_kind(sim, "print") if p["unit"] in turned and "counted_in" in p]
        assert len(walk.piles[one["to"]]) in counts


def test_double_feed_is_read_and_pulled(sim: Simulated) -> None:
    (trouble,) = named(sim, "double feed")
    short = [one for one in of_kind(sim, "number") if one["ticks"] != one["counted_out"]]
    assert [(one["to"], one["counted_out"] - one["ticks"]) for one in short] == [(trouble["unit"], 1)]
    empty = [one for one in of_kind(sim, "read") if one["reads"][0]["text"] == ""]
    assert [(one["unit"], one["sheet"]) for one in empty] == [(trouble["unit"], trouble["sheet"])]
    (pull,) = [one for one in of_kind(sim, "pull") if one["unit"] == trouble["unit"]]
    found = {"start": trouble["sheet"], "sheets": 1, "kind": "spoiled", "why": "no number"}
    assert pull["pulls"] == [found]


def residuals(sim: Simulated) -> Iterator[tuple[int, int, int]]:
    """(tick, position, read less planned) of every number of the order that was read; tick by counting."""
    main, boxes = sim.order.series[0], sim.truth.boxes
    (double,) = named(sim, "double feed")
    passes = {one["to"]: one for one in of_kind(sim, "number") if one["series"] == main.name}
    for one in of_kind(sim, "read"):
        press = passes.get(one["unit"])
        if press is None:
            continue
        feed = press["counted_out"] - 1 - one["sheet"]
        slipped = one["unit"] == double["unit"] and one["sheet"] < double["sheet"]
        tick = press["first_tick"] + feed - slipped
        for read in one["reads"]:
            if read["text"]:
                index = int(read["text"][2:]) - 1  # the order stays within AA
                yield tick, read["position"], index - boxes.planned(tick, read["position"])


def test_boxes_that_went_wrong_and_no_others(sim: Simulated) -> None:
    (misset,), (stuck,) = named(sim, "mis-set box"), named(sim, "skipped tick")
    wrong = Counter[str]()
    for tick, position, off in residuals(sim):
        want = 0
        for name, one in (("misset", misset), ("stuck", stuck)):
            if position == one["position"] and one["first_tick"] <= tick <= one["last_tick"]:
                want = one["offset"]
                wrong[name] += 1
        assert off == want, (tick, position)
    assert min(wrong["misset"], wrong["stuck"]) >= 1
    assert misset["last_tick"] - misset["first_tick"] + 1 == sim.truth.boxes.block
    assert misset["offset"] % 10 > 1


def test_short_pack_is_counted_found_replaced_and_counted_again(sim: Simulated) -> None:
    (trouble,) = named(sim, "short pack")
    same = [one for one in every(sim) if (one.get("first"), one.get("last")) == (trouble["first"], trouble["last"])]
    assert [(one["kind"], one["counted"]) for one in same] == [("count", 99), ("count", 100)]
    (moved,) = of_kind(sim, "move")
    assert (moved["first"], moved["last"], moved["target"]) == (trouble["number"], trouble["number"], "spoiled")
    (pack,) = [p for p in of_kind(sim, "pack") if p["first"] <= trouble["number"] <= p["last"]]
    assert {"number": trouble["number"], "by": trouble["replaced_by"]} in pack["replaced"]
    assert same[0]["at"] < moved["at"] < pack["at"] < same[1]["at"]


def test_record_sent_twice_is_the_same_bytes_a_shift_later(sim: Simulated) -> None:
    (trouble,) = named(sim, "record sent twice")
    texts = [(n + 1, line(one)) for n, shift in enumerate(sim.records) for one in shift]
    (again,) = [text for text, count in Counter(text for _, text in texts).items() if count > 1]
    assert [n for n, text in texts if text == again] == [trouble["shift"] - 1, trouble["shift"]]
    assert json.loads(again)["seq"] == trouble["seq"]


def test_late_correction_changes_one_number_of_sheets(sim: Simulated) -> None:
    (trouble,) = named(sim, "late correction")
    correct, wrong = (
        record(sim, trouble["machine"], trouble["seq"]),
        record(sim, trouble["of_machine"], trouble["of_seq"]),
    )
    assert (correct["of_machine"], correct["of_seq"]) == (trouble["of_machine"], trouble["of_seq"])
    right = correct["record"]
    assert {k: v for k, v in wrong.items() if k in right and k != "pulls"} | {"pulls": right["pulls"]} == right
    pairs = [(a, b) for a, b in zip(wrong["pulls"], right["pulls"], strict=True) if a != b]
    assert [(a["start"], a["sheets"], b["sheets"]) for a, b in pairs] == [
        (trouble["start"], trouble["written"], trouble["right"])
    ]
    assert correct["at"][:10] > wrong["at"][:10]
    turned = [one["to"] for one in of_kind(sim, "turn") if one["unit"] == right["to"]]
    assert any("counted_in" in one for one in of_kind(sim, "print") if one["unit"] in turned)  # it disagrees till then


def test_wrong_count_is_put_right_blind_by_another(sim: Simulated) -> None:
    (trouble,) = named(sim, "wrong count")
    counts = [one for one in of_kind(sim, "count") if one.get("unit") == trouble["unit"]]
    assert [(one["counted"], one["blind"]) for one in counts] == [(trouble["counted"], False), (trouble["right"], True)]
    assert counts[0]["by"] != counts[1]["by"]
    assert sorted(str(trouble["counted"])) == sorted(str(trouble["right"]))
    assert len(sim.truth.piles[trouble["unit"]]) == trouble["right"]


def test_two_digits_change_places() -> None:
    assert [transposed(n) for n in (5612, 5603, 5511, 5555, 100, 59)] == [5621, 5630, 5151, 5555, 100, 95]
