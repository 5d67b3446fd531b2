"""Whole rolls against a truth by plain sets: what a hostile web, encoder, strobe or operator does to the count.

The simulation shares no code with the counter.  A web lies where it lies; each frame shows the windows that lie wholly
in it; truth is the set of windows shown, and of those planted as missing.  No outside source: the laws are those of
counting (each window once; what is expected is what lies between the first and the last).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from reelmark.errors import Problem
from reelmark.frames import Window, WindowLayout
from reelmark.stations.window.count_restart import Place
from reelmark.stations.window.inspect.looked import Found, Health, Kind, Looked, Nodes
from reelmark.stations.window.inspect.rollers import UNLISTED
from reelmark.stations.window.roll import RollSeen, Seen, read_roll

NOTE = WindowLayout(150.0, 70.0, (Window(20, 14, 3, 75, 35),), 0.4, 2)
TWO = WindowLayout(150.0, 70.0, (Window(20, 14, 3, 40, 15), Window(8, 8, 4, 120, 50)), 0.4, 2)
# a cell of a whole sheet, three rows of three notes
SHEET = WindowLayout(
    450.0, 700.0, tuple(Window(20, 14, 3, 75 + 150 * (k % 3), 50 + 200 * (k // 3)) for k in range(9)), 0.4, 1
)
TALL = 900.0  # mm of web in a picture; a flash each 770 mm, so 130 mm and more than a repeat overlap
Key = tuple[int, int, int]  # repeat, lane, window


@dataclass
class Web:
    """Where frames lie, mm of web, and what encoder and strobe say of them;  gone : windows that are missing"""

    at: np.ndarray
    layout: WindowLayout = NOTE
    tall: float = TALL
    gone: frozenset[Key] = frozenset()
    refused: frozenset[int] = frozenset()
    encoder: np.ndarray | None = None
    flash: Sequence[int] | None = None
    time: Sequence[float] | None = None
    shown: list[set[Key]] = field(default_factory=list)

    def rows(self) -> list[Seen]:
        encoder = self.at if self.encoder is None else self.encoder
        flash = range(len(self.at)) if self.flash is None else self.flash
        time = range(len(self.at)) if self.time is None else self.time
        self.shown, rows = [], []
        rng = np.random.default_rng(len(self.at))
        for k, at in enumerate(self.at):
            looked, keys = self._looked(float(at), float(rng.normal(0, 0.02)))
            self.shown.append(keys)
            wrong = Problem("dark", "too dark", "look at the lamp") if k in self.refused else None
            place = Place(float(encoder[k]), int(flash[k]), float(time[k]))
            shape = (round(self.tall / self.layout.mm_per_pixel), 700)
            rows.append(Seen(f"{k}.tif", place, shape, None if wrong else looked, wrong))
        return rows

    def _looked(self, at: float, noise: float) -> tuple[Looked, set[Key]]:
        pitch = self.layout.pitch_along_mm
        first = int(np.ceil(at / pitch))
        some = [(i, lane, w, (one.at_across_mm or 0.0) + lane * self.layout.pitch_across_mm,
                 (first + i) * pitch + (one.at_along_mm or 0.0) - at)
                for i in range(-2, int(self.tall / pitch) + 2) for lane in range(self.layout.lanes)
                for w, one in enumerate(self.layout.windows)]  # fmt: skip
        half = [one.along_mm / 2 for one in self.layout.windows]
        some = [one for one in some if half[one[2]] <= one[4] <= self.tall - half[one[2]]]
        keys = [(first + i, lane, w) for i, lane, w, _, _ in some]
        found = tuple(Found(Kind.MISSING, x, y, i, lane, w, 20.0, 3.0, (0, 0, 1, 1))
                      for (i, lane, w, x, y), key in zip(some, keys, strict=True) if key in self.gone)  # fmt: skip
        i, lane, w, x, y = np.array(some, float).reshape(-1, 5).T
        zero = np.zeros(len(some))
        wide, high = np.array([(one.across_mm, one.along_mm) for one in self.layout.windows], float)[w.astype(int)].T
        nodes = Nodes(i.astype(int), lane.astype(int), w.astype(int), x, y, zero, zero, wide, high,
                      zero + 1, zero + 0.3, zero + 0.3)  # fmt: skip
        phase = min(max(first * pitch - at + noise, 0.0), float(np.nextafter(pitch, 0)))
        return Looked(phase, 1.0, 0.0, nodes, found, Health(0.3, 200, 19, 2), np.empty(0)), set(keys)

    def truth(self, kept: Sequence[int]) -> dict[str, int]:
        """By sets; of a frame that cannot be read too, as its place is known."""
        there = set().union(*(self.shown[k] for k in kept))
        seen = set().union(*(self.shown[k] for k in kept if k not in self.refused))
        expected = 0
        for on in {key[1:] for key in there}:
            repeats = [key[0] for key in there if key[1:] == on]
            expected += max(repeats) - min(repeats) + 1
        missing = len(seen & self.gone)
        return {"expected": expected, "seen": len(seen) - missing, "missing": missing,
                "not_seen": expected - len(seen)}  # fmt: skip


def told(roll: RollSeen) -> dict[str, int]:
    return {what: roll.total(what) for what in ("expected", "seen", "missing", "not_seen")}


def even(many: int, step: float = 770.0, seed: int = 0) -> np.ndarray:
    return 13.0 + np.cumsum(step + np.random.default_rng(seed).normal(0, 0.3, many))


# ---- the law, over random rolls


@st.composite
def webs(draw: st.DrawFn) -> tuple[Web, list[int]]:
    """A web, and which of its frames came at all, in the order of the file."""
    layout, tall, steps = draw(st.sampled_from([
        (NOTE, TALL, (70, 210, 420, 770, 1400)), (TWO, TALL, (420, 770)), (SHEET, 935.0, (300, 700)),
        (SHEET, 400.0, (250, 350)), (NOTE, 60.0, (30, 35)),
    ]))  # fmt: skip
    many = draw(st.integers(1, 70))
    at = draw(st.floats(0, 70)) + even(many, draw(st.sampled_from(steps)), draw(st.integers(0, 99)))
    keys = st.tuples(st.integers(0, 60), st.integers(0, layout.lanes - 1), st.integers(0, len(layout.windows) - 1))
    scale = 1 + draw(st.sampled_from([0, -3000, 3000, 400, -50])) * 1e-6
    web = Web(
        at, layout, tall, frozenset(draw(st.lists(keys, max_size=30))),
        frozenset(draw(st.lists(st.integers(0, many - 1), max_size=many // 2))),
        draw(st.sampled_from([1, -1])) * at * scale + draw(st.sampled_from([0.0, -1e5, 7e6])),
    )  # fmt: skip
    lost = set(draw(st.lists(st.integers(0, many - 1), max_size=many // 2)))
    start = draw(st.integers(0, many - 1))
    lost |= set(range(start, start + draw(st.integers(0, 15))))
    kept = [k for k in range(many) if k not in lost] or [0]
    return web, draw(st.permutations(kept)) if draw(st.booleans()) else kept


def clear(web: Web, kept: Sequence[int]) -> bool:
    """No window of a frame that cannot be read lies so near its end that 2 mm of encoder decide whether it is whole."""
    for k in web.refused & set(kept):
        for one in web.layout.windows:
            for end in (web.at[k], web.at[k] + web.tall):
                for side in (-1, 1):
                    off = (end - (one.at_along_mm or 0.0) + side * one.along_mm / 2) % web.layout.pitch_along_mm
                    if min(off, web.layout.pitch_along_mm - off) < 2.0:
                        return False
    return True


@settings(max_examples=250, deadline=None)
@given(webs())
def test_every_window_is_accounted_for_once_whatever_is_lost(given_: tuple[Web, list[int]]):
    web, kept = given_
    # two frames, or three, do not tell an encoder that counts down from a web that runs back
    assume(web.encoder is not None and (len(kept) > 3 or web.encoder[-1] >= web.encoder[0]))
    assume(clear(web, kept) and set(kept) - web.refused)  # of none that was read the encoder alone would tell
    rows = web.rows()
    roll = read_roll([rows[k] for k in kept], web.layout)
    assert roll.closes
    assert roll.used + len(roll.booked) == len(kept)
    assert told(roll) == web.truth(kept)


# ---- one by one


@pytest.mark.parametrize("ppm", [-3000, 3000])
@pytest.mark.parametrize("kept", [range(12, 60), range(48), [0, 1, *range(20, 60)], [*range(20), *range(45, 60)]],
                         ids=["begin", "end", "after two", "middle"])  # fmt: skip
def test_a_burst_lost_with_an_encoder_wrong_by_three_thousandths(ppm, kept):
    web = Web(even(60))
    web.encoder = web.at * (1 + ppm * 1e-6)
    rows = web.rows()
    assert told(read_roll([rows[k] for k in kept], NOTE)) == web.truth(kept)


@pytest.mark.parametrize("full", [65536 * 0.1, 65536 * 0.25, 2**32 * 1e-3, 2**31 * 0.05])
@pytest.mark.parametrize("sign", [1, -1])
def test_an_encoder_that_runs_full_is_read_on(full, sign):
    # counters of 16 and 32 bits, pulses of 0.1, 0.25, 0.001 and 0.05 mm; the long ones once, in the middle
    web = Web(even(60))
    web.encoder = (sign * (web.at - (0 if full < 1e5 else web.at[30]))) % full
    roll = read_roll(web.rows(), NOTE)
    assert told(roll) == web.truth(range(60))
    assert any("runs full" in note for note in roll.notes)


def test_an_encoder_set_to_nothing_is_another_part_and_the_note_says_what_is_counted_twice():
    web = Web(even(60))
    web.encoder = np.where(np.arange(60) < 30, web.at, web.at - web.at[30])
    roll = read_roll(web.rows(), NOTE)
    first, second = web.truth(range(30)), web.truth(range(30, 60))
    assert [one.tally.expected for one in roll.parts] == [first["expected"], second["expected"]]
    assert any("a window that two of them show" in note for note in roll.notes)


@pytest.mark.parametrize("flash", [
    [k % 30 for k in range(60)], [k % 16 for k in range(60)], [0] * 60, [k + 1000 if k < 30 else k for k in range(60)],
], ids=["begins again", "counter of four bits", "stands", "begins again lower"])  # fmt: skip
@pytest.mark.parametrize("timed", [True, False])
def test_a_strobe_whose_number_is_worth_nothing_loses_no_window(flash, timed):
    web = Web(even(60), flash=flash, time=range(60) if timed else [np.nan] * 60)
    roll = read_roll(web.rows(), NOTE)
    assert (told(roll), len(roll.parts)) == (web.truth(range(60)), 1)
    assert any("strobe" in note for note in roll.notes)


def test_an_encoder_that_jumps_books_what_it_jumped_and_says_so():
    web = Web(even(60))
    web.encoder = web.at + 5e5 * (np.arange(60) >= 30)
    roll = read_roll(web.rows(), NOTE)
    assert roll.closes
    # by hand: 500 m of repeats of 70 mm, in two lanes, less the 130 mm that two frames share
    assert roll.total("not_seen") == pytest.approx(2 * 500_000 / 70, abs=6)
    assert any("between flash 29 and 30" in note for note in roll.notes)
    (gap,) = roll.parts[0].gaps
    assert dict(gap.why) == {"encoder ran far on": 1}


def test_an_encoder_that_stands_while_the_strobe_goes_on_is_said():
    web = Web(even(60))
    web.encoder = np.where((np.arange(60) >= 20) & (np.arange(60) < 40), web.at[20], web.at)
    roll = read_roll(web.rows(), NOTE)
    assert roll.closes
    assert any("stands at 16.18 m for 19 flashes" in note for note in roll.notes)  # as planted: 20 frames, 19 steps


def test_a_web_that_stands_shows_the_same_windows_and_they_are_counted_once():
    web = Web(np.full(20, 13.0))
    assert told(read_roll(web.rows(), NOTE)) == web.truth([0])


def test_a_frame_without_a_place_is_booked_and_its_windows_are_not_seen():
    web = Web(even(60))
    web.encoder = np.where(np.isin(np.arange(60), [0, 30, 31]), np.nan, web.at)
    rows = web.rows()
    rows[44] = replace(rows[44], place=replace(rows[44].place, flash=None))
    roll = read_roll(rows, NOTE)
    assert (roll.used, sorted(one.name for one in roll.booked)) == (56, ["0.tif", "30.tif", "31.tif", "44.tif"])
    assert roll.closes
    kept = [k for k in range(1, 60) if k not in {30, 31, 44}]
    assert told(roll) == web.truth(kept)
    assert roll.parts[0].lost == 1  # flash 44, whose row does not say that it is 44
    # the gap about flashes 30 and 31 is theirs, not one of flashes that were lost
    assert "flash without a frame" not in dict(roll.parts[0].gaps[0].why)


def test_a_window_missing_in_one_view_and_there_in_another_is_missing_once():
    web = Web(even(20, 420.0), gone=frozenset({(30, 0, 0)}))
    rows = web.rows()
    showing = [k for k in range(20) if (30, 0, 0) in web.shown[k]]
    assert len(showing) == 3
    looked = rows[showing[0]].looked
    assert looked is not None
    rows[showing[0]] = replace(rows[showing[0]], looked=replace(looked, found=()))
    roll = read_roll(rows, NOTE)
    assert told(roll) == web.truth(range(20))
    assert len([one for one in roll.marks if one.kind == "missing"]) == 1
    assert any("missing in one frame and there in another" in note for note in roll.notes)


def test_at_the_seam_a_window_counts_once_a_missing_one_is_missing_and_one_cut_by_both_is_not_seen():
    # frames of 700 mm each 700 mm, window middles at 35 + 70 n: the seam at 700 lies between two windows; at 735 it
    # cuts one through, in both lanes
    between, through = Web(np.array([0.0, 700.0, 1400.0]), tall=700.0), Web(np.array([35.0, 735.0, 1435.0]), tall=700.0)
    for web, missing in ((between, (9, 0, 0)), (between, (10, 1, 0)), (through, (9, 0, 0))):
        web.gone = frozenset({missing})
        roll = read_roll(web.rows(), NOTE)
        assert told(roll) == web.truth(range(3))
        assert roll.total("missing") == 1
        assert roll.total("not_seen") == (0 if web is between else 4)
    assert {why for gap in roll.parts[0].gaps for why, _ in gap.why} == {"pictures do not meet"}


# ---- index marks


def marked(web: Web, every: int, misread: dict[int, int]) -> list[Seen]:
    """Rows with the index mark of each `every`-th repeat, as frames show it;  misread : frame -> what it says"""
    rows = web.rows()
    for k, at in enumerate(web.at):
        first = int(np.ceil(at / 70.0))
        index = -first % every
        rows[k] = replace(rows[k], index=misread.get(k, index if index < 11 else None))
    return rows


def test_an_index_mark_that_was_misread_moves_nothing():
    web = Web(even(60))
    for misread in ({30: 4}, {0: 3}, {59: 2}, {0: 3, 30: 4, 59: 2}):
        roll = read_roll(marked(web, 25, misread), NOTE, 25)
        assert told(roll) == web.truth(range(60)), misread
        assert any("taken for misread" in note for note in roll.notes)


def test_an_index_mark_settles_a_slip_of_a_whole_repeat_which_nothing_else_shows():
    web = Web(even(60))
    web.encoder = web.at - 70.0 * (np.arange(60) >= 30)
    assert told(read_roll(web.rows(), NOTE)) != web.truth(range(60))  # a slip of a repeat looks like none
    assert told(read_roll(marked(web, 25, {}), NOTE, 25))["expected"] == web.truth(range(60))["expected"]


# ---- what is found on the coat


def holed(web: Web, holes: Sequence[tuple[float, float]], streaks: Sequence[float] = ()) -> list[Seen]:
    """Rows whose frames see the holes (across, along, mm of web) and the streaks (across) that lie in them."""
    rows = web.rows()
    for k, at in enumerate(web.at):
        looked = rows[k].looked
        assert looked is not None
        found = [Found(Kind.PINHOLE, x, y - at, -1, -1, -1, 0.5, 2.0, (0, 0, 1, 1)) for x, y in holes
                 if 0 <= y - at <= web.tall]  # fmt: skip
        found += [Found(Kind.STREAK, x, web.tall / 2, -1, -1, -1, 1.0, 2.0, (0, 0, 1, 1)) for x in streaks]
        rows[k] = replace(rows[k], looked=replace(looked, found=tuple(found)))
    return rows


@pytest.mark.parametrize("slip", [0.0, 15.0])
def test_a_hole_that_two_frames_show_is_one_mark_by_the_encoder_s_metre_and_a_streak_is_one(slip):
    # frames of 900 mm each 770 mm: what lies 770 to 900 mm into one lies 0 to 130 mm into the next
    web = Web(even(40))
    web.encoder = web.at - slip * (np.arange(40) >= 20) + 5000.0
    shared = float(web.at[19]) + 840.0
    roll = read_roll(holed(web, [(100.0, shared), (200.0, float(web.at[5]) + 400)], [250.0]), NOTE)
    holes = [one for one in roll.marks if one.kind == "pinhole"]
    assert [one.lane for one in holes] == [2, 1]  # a lane is 150 mm wide
    # by hand: encoder of the frame and mm into it
    assert holes[0].metre_m == pytest.approx((web.at[5] + 400 + 5000) / 1e3, abs=0.001)
    assert holes[1].metre_m == pytest.approx((shared + 5000 - slip) / 1e3, abs=0.02)
    (streak,) = [one for one in roll.marks if one.kind == "streak"]
    assert streak.metre_m == pytest.approx(float(web.encoder[0]) / 1e3, abs=0.001)
    assert streak.to_m == pytest.approx((float(web.encoder[-1]) + web.tall) / 1e3, abs=0.001)


def test_a_roller_s_holes_name_it_through_the_roll():
    web = Web(even(60))
    holes = [(100.0, float(x)) for x in np.arange(20.0, web.at[-1] + 900, 628.3)]
    roll = read_roll(holed(web, holes), NOTE, rollers_mm={"chill": 628.3, "nip": 942.5})
    assert [one.roller for one in roll.rollers] == ["chill"]
    assert read_roll(holed(web, holes), NOTE).rollers[0].roller == UNLISTED


def test_sizes_of_unlike_windows_are_told_as_the_first_one_s():
    figures = read_roll(Web(even(12), TWO).rows(), TWO).figures  # each just of its own size
    assert figures.windows["size_across_mm"] == 20.0
    assert figures.windows["size_along_mm"] == 14.0
    assert figures.windows["size_across_sd_um"] == 0.0
    sizes = figures.trends.value["size_across_mm"]
    assert (sizes[np.isfinite(sizes)] == 20.0).all()


def moved(one: Seen, by_mm: float) -> Seen:
    """The frame with its lattice so much further across."""
    assert one.looked is not None
    nodes = one.looked.nodes
    return replace(one, looked=replace(one.looked, nodes=replace(nodes, x_mm=nodes.x_mm + by_mm)))


def test_a_frame_that_lies_aside_of_its_neighbours_is_booked_as_turned_or_misread():
    rows = Web(even(30), NOTE).rows()
    verdict = read_roll([*rows[:11], moved(rows[11], 30.0), *rows[12:]], NOTE)
    assert [(one.name, one.sort) for one in verdict.booked] == [("11.tif", "frame out of line")]
    assert verdict.closes


def test_a_web_that_weaves_slowly_is_in_line():
    rows = [moved(one, 25 * float(np.sin(k / 20))) for k, one in enumerate(Web(even(60), NOTE).rows())]
    assert read_roll(rows, NOTE).booked == ()


def test_a_frame_at_which_the_encoder_runs_back_is_no_lost_flash():
    web = Web(even(20), NOTE)
    encoder = web.at.copy()
    encoder[9] -= 6000.0
    web.encoder = encoder
    verdict = read_roll(web.rows(), NOTE)
    assert [one.sort for one in verdict.booked] == ["encoder runs back"]
    assert [part.lost for part in verdict.parts] == [0]
    assert [why for part in verdict.parts for gap in part.gaps for why in gap.why] == [("encoder runs back", 1)]
