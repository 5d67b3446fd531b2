"""From reads to faults.  The examples are worked by hand; the laws are checked on a press played note by note.

The played press keeps to the fault table: boxes are set at the start of every block, a slipped box stays behind or
ahead until it is set anew, a sheet that goes through unnumbered bears nothing and those behind it are one tick late.
"""

from bisect import bisect
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from time import perf_counter

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from reelmark.errors import BadValue
from reelmark.stations.numbering import Finding, Kind, Numbering, Numbers, diagnose


@dataclass
class Press:
    """A press of `sheets` sheets; slips are (position, first tick, last tick, ticks off)."""

    plan: Numbering
    sheets: int
    slips: list[tuple[int, int, int, int]] = field(default_factory=list)
    shift: tuple[int, int] | None = None  # first sheet, ticks off

    def tick_of(self, sheet: int) -> int | None:
        """The working that printed this sheet, or None where it went through unnumbered."""
        if self.shift is None or sheet < self.shift[0]:
            return sheet
        at, by = self.shift
        return None if sheet < at - by else sheet + by

    def off(self, tick: int, p: int) -> int:
        return sum(by for q, a, b, by in self.slips if q == p and a <= tick <= b)

    def borne(self, sheet: int, p: int) -> int | None:
        tick = self.tick_of(sheet)
        if tick is None:
            return None
        return self.plan.number(tick, p) + self.off(tick, p) * self.plan.direction

    def reads(self, every: int = 50) -> list[tuple[int, int, int | None]]:
        return [(t, p, self.borne(t, p)) for t in range(0, self.sheets, every) for p in range(self.plan.ups)]

    def planned(self) -> list[int]:
        return [self.plan.number(t, p) for t in range(self.sheets) for p in range(self.plan.ups)]

    def wrong_and_missing(self) -> tuple[set[int], set[int]]:
        """Numbers on two notes or outside the plan, and planned numbers on none."""
        notes = (self.borne(t, p) for t in range(self.sheets) for p in range(self.plan.ups))
        borne = Counter(n for n in notes if n is not None)
        plan = set(self.planned())
        return {n for n, k in borne.items() if k > 1 or n not in plan}, plan - set(borne)

    def notes_off(self) -> set[int]:
        """Planned numbers of notes whose own box was off."""
        notes = [(t, p) for t in range(self.sheets) for p in range(self.plan.ups) if self.off(t, p)]
        return {self.plan.number(t, p) for t, p in notes}


def numbers(ranges: Iterable[Numbers]) -> set[int]:
    return {n for r in ranges for n in range(r.first, r.stop)}


def every(findings: list[Finding], name: str) -> set[int]:
    return {n for f in findings for n in numbers(getattr(f, name))}


def block_end(plan: Numbering, tick: int) -> int:
    return tick + plan.block - 1 - tick % plan.block


# ---- worked by hand: block 1,000, five positions, read at every 50th sheet


@pytest.mark.parametrize("down", [False, True])
def test_a_box_that_did_not_step_once(down):
    # Position 2 sticks at tick 220 and is one behind to the end of the block, 999.  Good at 200, bad at 250.
    # Up: 2,000 + t is planned; 2,219 stands twice, 2,999 never.  Down: 2,999 - t; 2,780 stands twice, 2,000 never.
    plan = Numbering(base=0, block=1000, ups=5, descending=down)
    [slip] = diagnose(plan, Press(plan, 2000, [(2, 220, 999, -1)]).reads(), ticks=2000)
    assert (slip.kind, slip.position, slip.step, slip.offset) == (Kind.SKIPPED, 2, -1, 1 if down else -1)
    assert (slip.first_tick_suspect, slip.first_tick_sure, slip.last_tick) == (201, 250, 999)
    assert slip.reads == 15  # 250, 300, ..., 950
    # Ticks 201..999 may be off and 250..950 surely are.  Began at one of 201..250: a number of the ticks 200..249
    # stands twice.  Set right somewhere behind 950, at 999 at the latest: a number of 950..999 is on no note.
    assert slip.withdraw == (((2000, 2798),) if down else ((2201, 2999),))
    assert slip.surely == (((2049, 2749),) if down else ((2250, 2950),))
    assert slip.printed == (((2750, 2799),) if down else ((2200, 2249),))
    assert slip.missing == (((2000, 2049),) if down else ((2950, 2999),))


def test_a_box_that_stepped_twice():
    # From tick 220 position 2 bears 2,000 + t + 1: 2,220 is missing; at the block's end it bears 3,000, which is
    # position 3's first.  Known from reads: a number from 2,201 to 2,250 is missing.
    plan = Numbering(base=0, block=1000, ups=5)
    [slip] = diagnose(plan, Press(plan, 2000, [(2, 220, 999, 1)]).reads(), ticks=2000)
    assert (slip.kind, slip.position, slip.step) == (Kind.DOUBLE, 2, 1)
    assert slip.missing == ((2201, 2250),)
    assert slip.printed == ((2951, 3000),)  # it may have been set right after the last bad read, 950


def test_a_box_set_wrong_is_right_again_at_the_next_block():
    # Block 1 of position 4: 9,000..9,999 planned; set 300 too high it bears 9,300..10,299: 10,000..10,299 are the
    # next block's first, and 9,000..9,299 are on no note.
    plan = Numbering(base=0, block=1000, ups=5)
    press = Press(plan, 3000, [(4, 1000, 1999, 300)])
    [wrong] = diagnose(plan, press.reads(every=1), ticks=3000)
    assert (wrong.kind, wrong.position, wrong.offset) == (Kind.MISSET, 4, 300)
    assert (wrong.first_tick_suspect, wrong.first_tick_sure, wrong.last_tick) == (1000, 1000, 1999)
    assert wrong.withdraw == wrong.surely == ((9000, 9999),)
    assert wrong.printed == ((10000, 10299),)
    assert wrong.missing == ((9000, 9299),)


def test_a_carry_that_failed():
    # The tens of position 0 stay behind when 0339 turns to 0340: ten too low to the block's end.
    plan = Numbering(base=0, block=1000, ups=5)
    [wheel] = diagnose(plan, Press(plan, 1000, [(0, 340, 999, -10)]).reads())
    assert (wheel.kind, wheel.step) == (Kind.WHEEL, -10)
    assert wheel.text == (
        "wheel or carry, position 0, from a tick between 301 and 350, to 950: "
        "wheel of 10 stands -10 off: turned by hand or carry failed; look at that wheel"
    )


def test_two_boxes_set_for_each_other_lose_and_double_nothing():
    plan = Numbering(base=0, block=1000, ups=5)
    press = Press(plan, 1000, [(1, 0, 999, 1000), (2, 0, 999, -1000)])
    found = diagnose(plan, press.reads(every=1))
    assert [(f.kind, f.position, f.offset) for f in found] == [(Kind.MISSET, 1, 1000), (Kind.MISSET, 2, -1000)]
    assert press.wrong_and_missing() == (set(), set())
    assert every(found, "printed") == every(found, "missing") == set()
    assert [f.withdraw for f in found] == [((1000, 1999),), ((2000, 2999),)]


def test_a_sheet_that_went_through_unnumbered():
    plan = Numbering(base=0, block=100, ups=5, descending=True)
    [late] = diagnose(plan, Press(plan, 2000, shift=(730, -1)).reads(), ticks=2000)
    assert (late.kind, late.position, late.step) == (Kind.UNNUMBERED, None, -1)
    assert (late.first_tick_suspect, late.first_tick_sure, late.last_tick) == (701, 750, 1999)
    # Tick 1999 has not been worked on any sheet: block 19 of 500 numbers begins at 9,500; descending, its lowest.
    assert numbers(late.missing) >= {9500, 9600, 9700, 9800, 9900}


def test_ticks_without_a_sheet():
    plan = Numbering(base=0, block=1000, ups=5)
    [early] = diagnose(plan, Press(plan, 1000, shift=(730, 3)).reads())
    assert (early.kind, early.step) == (Kind.EMPTY, 3)
    assert numbers(early.missing) == {p * 1000 + t for p in range(5) for t in range(701, 753)}


def test_a_blip_is_a_misread():
    plan = Numbering(base=0, block=1000, ups=5)
    reads = Press(plan, 1000).reads()
    reads[27] = (250, 2, 2650)  # 2,250 stands there
    [blip] = diagnose(plan, reads)
    assert (blip.kind, blip.position, blip.first_tick_sure, blip.offset) == (Kind.MISREAD, 2, 250, 400)
    assert blip.withdraw == blip.printed == blip.missing == ()


def test_seen_once_at_the_end_of_a_block_stays_a_fault():
    # Set anew at 1,000, the box would be right there whether it had slipped or the read was wrong: doubt is kept.
    plan = Numbering(base=0, block=1000, ups=5)
    [slip] = diagnose(plan, Press(plan, 2000, [(3, 940, 999, -1)]).reads())
    assert (slip.kind, slip.reads) == (Kind.SKIPPED, 1)
    assert slip.text.endswith("seen once only, read again")


def test_a_sheet_out_of_its_place_is_one_finding():
    plan = Numbering(base=0, block=1000, ups=5)
    reads = [(t, p, plan.number(777 if t == 250 else t, p)) for t in range(0, 1000, 50) for p in range(5)]
    [stray] = diagnose(plan, reads)
    assert (stray.kind, stray.position, stray.first_tick_sure, stray.step) == (Kind.STRAY, None, 250, 527)


def test_what_cannot_be_read_is_said():
    plan = Numbering(base=0, block=1000, ups=5)
    blind = [(t, p, None if p == 3 or t == 100 else n) for t, p, n in Press(plan, 1000).reads()]
    assert [(f.kind, f.position, f.first_tick_suspect, f.last_tick, f.reads) for f in diagnose(plan, blind)] == [
        (Kind.UNREAD, 3, 0, 950, 19),
        (Kind.UNREAD, None, 100, 100, 5),
    ]


def test_a_few_unreadable_notes_widen_the_doubt_and_no_more():
    plan = Numbering(base=0, block=1000, ups=5)
    reads = Press(plan, 1000, [(2, 220, 999, -1)]).reads()
    [slip] = diagnose(plan, [(t, p, None if (t, p) in ((200, 2), (250, 2)) else n) for t, p, n in reads])
    assert (slip.first_tick_suspect, slip.first_tick_sure) == (151, 300)


def test_a_head_that_goes_on_from_where_it_stands():
    # Servo heads carry a slip over the block's end; told so, the doubt is not cut at the block.
    plan = Numbering(base=0, block=100, ups=5)
    [slip] = diagnose(plan, Press(plan, 1000, [(2, 285, 640, -1)]).reads(), set_anew=False)
    assert (slip.kind, slip.first_tick_suspect, slip.first_tick_sure, slip.last_tick) == (Kind.SKIPPED, 251, 300, 649)


def test_no_reads_no_findings():
    assert diagnose(Numbering(0, 100, 5), []) == []


@pytest.mark.parametrize("read", [(4, 0, 0), (5, 3, 0), (5, -1, 0), (5, 0, -1)])
def test_a_read_outside_the_plan_is_refused(read):
    with pytest.raises(BadValue, match="begins at tick 5 and has positions 0 to 2; an index is 0 or more"):
        diagnose(Numbering(0, 100, 3, first_tick=5), [read])


# ---- laws, on a press played note by note

plans = st.builds(
    Numbering,
    base=st.integers(50_000, 10**6),
    block=st.sampled_from([100, 200, 500, 1000]),
    ups=st.integers(3, 6),
    descending=st.booleans(),
)


@given(plans, st.integers(1, 60), st.integers(0, 49), st.integers(0, 500))
def test_clean_reads_give_no_finding(plan, step, start, first_tick):
    plan = Numbering(plan.base, plan.block, plan.ups, plan.descending, first_tick)
    sheets = range(first_tick + start, first_tick + 1500, step)
    assert diagnose(plan, [(t, p, plan.number(t, p)) for t in sheets for p in range(plan.ups)]) == []


@st.composite
def slips(draw, plan, sheets, position):
    """A slip of one box, or a wrong setting, that lasts to the end of its block."""
    tick = draw(st.integers(0, sheets - 1))
    kind = draw(st.sampled_from([Kind.MISSET, Kind.SKIPPED, Kind.DOUBLE, Kind.WHEEL]))
    if kind is Kind.MISSET:
        tick -= tick % plan.block
    elif tick % plan.block == 0:
        tick += 1
    far = st.integers(-3000, 3000).filter(bool)
    tens = st.builds(lambda k, n: n * 10**k, st.integers(1, 3), st.sampled_from([-3, -1, 1, 2]))
    by = {Kind.MISSET: far, Kind.SKIPPED: st.just(-1), Kind.DOUBLE: st.just(1), Kind.WHEEL: tens}
    return kind, (position, tick, block_end(plan, tick), draw(by[kind]))


def seen(slip: tuple[int, int, int, int], sheets: int) -> bool:
    """Is there a 50th sheet while it lasts?"""
    return -(-slip[1] // 50) * 50 <= min(slip[2], sheets - 1)


@given(st.data())
def test_every_single_fault_is_found_from_every_fiftieth_sheet(data):
    plan, sheets = data.draw(plans), 1500
    kind, slip = data.draw(slips(plan, sheets, data.draw(st.integers(0, plan.ups - 1))))
    press = Press(plan, sheets, [slip])
    found = diagnose(plan, press.reads(), ticks=sheets)
    if not seen(slip, sheets):
        assert found == []
        return
    [one] = found
    assert (one.kind, one.position, one.step) == (kind, slip[0], slip[3])
    assert one.first_tick_suspect <= slip[1] <= one.first_tick_sure
    assert one.first_tick_sure - one.first_tick_suspect < 50
    assert min(slip[2], sheets - 1) <= one.last_tick
    hold(press, found)


def hold(press: Press, found: list[Finding]) -> None:
    """What surely is wrong is wrong; what is wrong is named."""
    wrong, missing = press.wrong_and_missing()
    assert every(found, "surely") <= press.notes_off() <= every(found, "withdraw")
    assert wrong <= every(found, "printed")
    assert missing <= every(found, "missing")


@given(st.data())
def test_faults_at_several_positions_do_not_hide_each_other(data):
    plan, sheets = data.draw(plans), 1500
    positions = data.draw(st.permutations(range(plan.ups)))[: (plan.ups - 1) // 2]
    planted = [data.draw(slips(plan, sheets, p)) for p in positions]
    planted = [(kind, slip) for kind, slip in planted if seen(slip, sheets)]
    press = Press(plan, sheets, [slip for _, slip in planted])
    found = diagnose(plan, press.reads(), ticks=sheets)
    assert {(f.position, f.kind, f.step) for f in found} == {(slip[0], kind, slip[3]) for kind, slip in planted}
    hold(press, found)


@given(st.data())
@settings(deadline=None)
def test_no_doubt_is_lost_however_sparse_and_mixed_the_reads(data):
    # Slips of one box, one on top of another, read at random sheets: where each level was read at least once, what
    # surely is wrong is wrong, and what is wrong is named.
    plan = Numbering(50_000, data.draw(st.integers(8, 60)), 3, data.draw(st.booleans()))
    sheets = data.draw(st.integers(20, 120))
    press = Press(plan, sheets, [data.draw(slips(plan, sheets, 1))[1] for _ in range(data.draw(st.integers(1, 3)))])
    chance = data.draw(st.randoms(use_true_random=False))
    reads = [read for read in press.reads(every=1) if chance.random() < 0.4]
    changes = [t for t in range(sheets) if t % plan.block == 0 or press.off(t, 1) != press.off(t - 1, 1)]
    read_at = [t for t, p, _ in reads if p == 1]
    assume({bisect(changes, t) for t in read_at} == {*range(1, len(changes) + 1)})
    found = diagnose(plan, reads, ticks=sheets)
    assert all(f.position == 1 for f in found)
    assume(all(f.kind not in (Kind.MISREAD, Kind.UNREAD) for f in found))
    hold(press, found)


@given(plans, st.integers(1, 1400), st.integers(-4, 4).filter(bool), st.integers(1, 60))
def test_what_all_positions_share_is_one_finding(plan, at, by, step):
    press = Press(plan, 1500, shift=(at, by))
    found = [f for f in diagnose(plan, press.reads(step), ticks=1500) if f.kind is not Kind.UNREAD]
    assert [(f.kind, f.position, f.step) for f in found] == [(Kind.UNNUMBERED if by < 0 else Kind.EMPTY, None, by)]
    first = at if by > 0 else at - by  # the first sheet that bears a number again
    assert found[0].first_tick_suspect <= at
    assert first <= found[0].first_tick_sure < first + step
    wrong, missing = press.wrong_and_missing()
    assert missing <= every(found, "missing")
    assert wrong <= {press.borne(t, p) for t in range(1500 - abs(by), 1500) for p in range(plan.ups)}


@given(plans, st.integers(100, 1000), st.sampled_from([-2, -1, 1, 2]), st.data())
def test_shared_and_single_faults_are_told_apart(plan, at, by, data):
    position = data.draw(st.integers(0, plan.ups - 1))
    slip = (position, 1101, block_end(plan, 1101), data.draw(st.sampled_from([-1, 1, -20, 300])))
    press = Press(plan, 1500, [slip], shift=(at, by))
    found = [f for f in diagnose(plan, press.reads(10), ticks=1500) if f.kind is not Kind.UNREAD]
    assert {(f.position, f.step) for f in found} == {(None, by), (position, slip[3])}


@given(plans, st.integers(1, 1400), st.integers(-4, 4).filter(bool))
def test_one_position_read_on_each_sheet_is_enough_to_see_what_all_share(plan, at, by):
    press = Press(plan, 2000, shift=(at, by))
    reads = [(t, t // 7 % plan.ups, press.borne(t, t // 7 % plan.ups)) for t in range(0, 2000, 7)]
    found = [f for f in diagnose(plan, reads, ticks=2000) if f.position is None and f.kind is not Kind.UNREAD]
    assert [f.step for f in found] == [by]
    assert found[0].first_tick_suspect <= at


def test_a_hundred_thousand_reads_in_a_second():
    plan = Numbering(base=0, block=1000, ups=45)
    slips = [(p, 1000 * p + 421, 1000 * p + 999, -1) for p in range(0, 45, 3)]
    press = Press(plan, 111_150, slips)
    reads = [(t, p, n if (t + p * 7) % 1999 or n is None else n + 400) for t, p, n in press.reads()]
    assert len(reads) == 100_035
    start = perf_counter()
    found = diagnose(plan, reads)
    assert perf_counter() - start < 1.0
    assert any(f.kind is Kind.MISREAD for f in found)
    assert sum(f.kind is Kind.SKIPPED for f in found) == len(slips)
