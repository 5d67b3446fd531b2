"""What the diagnosis says: the kinds of fault, and one finding.  The table: what is seen, what it is called.

constant at one position from the start of a block      mis-set box
step at one position                                     skipped or double tick
step of a multiple of ten at one position                wheel wrong, or a carry that failed
the same step at every position                          sheet without number, or tick without sheet
one read, and back in the same block                     misread
one sheet, all positions together, and back              stray sheet
nothing readable, again and again                        unread
"""

from dataclasses import dataclass
from enum import StrEnum

from reelmark.stations.numbering.plan import Numbers

__all__ = ["Finding", "Kind", "kind_at_box", "kind_at_sheet", "wording"]


class Kind(StrEnum):
    MISSET = "mis-set box"
    SKIPPED = "skipped tick"
    DOUBLE = "double tick"
    WHEEL = "wheel or carry"
    UNNUMBERED = "sheet without number"
    EMPTY = "tick without sheet"
    STRAY = "stray sheet"
    MISREAD = "misread"
    UNREAD = "unread"


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault, as far as the reads bound it.

    position : None when all positions share it
    first_tick_suspect, first_tick_sure : it began at one of these or between; the read before was good
    last_tick : the last tick that may be concerned
    step : change, in ticks; negative is behind the plan, whether the numbers rise or fall
    offset : number borne less number planned, as long as it lasts; at all positions, what a step is inside a block
    reads : reads that show it; at one, read again before acting
    withdraw, surely : planned numbers of the notes that may be, and that surely are, concerned
    printed : numbers that may stand on two notes, or that the plan does not hold
    missing : planned numbers that maybe no note bears
    """

    kind: Kind
    position: int | None
    first_tick_suspect: int
    first_tick_sure: int
    last_tick: int
    step: int
    offset: int
    reads: int
    withdraw: tuple[Numbers, ...] = ()
    surely: tuple[Numbers, ...] = ()
    printed: tuple[Numbers, ...] = ()
    missing: tuple[Numbers, ...] = ()

    @property
    def text(self) -> str:
        return wording(self)


def kind_at_box(step: int, suspect: int, sure: int, block_start: int) -> Kind:
    """The kind of a step at one position.

    block_start : tick at which the box was last set, counted like the others
    By one tick and not seen at the very start, a slip is likelier than a wrong setting; the reads cannot tell.
    """
    if suspect <= block_start and (sure == block_start or abs(step) != 1):
        return Kind.MISSET
    if step % 10 == 0:
        return Kind.WHEEL
    return Kind.SKIPPED if step < 0 else Kind.DOUBLE


def kind_at_sheet(step: int) -> Kind:
    return Kind.UNNUMBERED if step < 0 else Kind.EMPTY


# The plunger, pushed at each impression, turns the wheels: britishletterpress.co.uk, guide to numbering.
# The pawl as the cause of a double step: common practice, no source.
_SAYS = {
    Kind.MISSET: "set {offset:+d} off the plan; set it by the sheet of settings",
    Kind.SKIPPED: "did not step, {count} time(s), or was set so; look at plunger and pawl",
    Kind.DOUBLE: "stepped {count} time(s) too many, or was set so; look at the pawl",
    Kind.WHEEL: "wheel of {wheel} stands {offset:+d} off: turned by hand or carry failed; look at that wheel",
    Kind.UNNUMBERED: "{count} sheet(s) went through unnumbered or two at once, or no box stepped; look for them",
    Kind.EMPTY: "{count} tick(s) without a sheet, or sheets pulled and not booked; look in the bookings",
    Kind.STRAY: "this sheet alone is {step:+d} off: out of place, or the fault came and went; read its neighbours",
    Kind.MISREAD: "one read {offset:+d} off, right again at the next; read this note by eye",
    Kind.UNREAD: "{reads} reads with nothing readable; read by eye, and look at the inking",
}


def wording(finding: Finding) -> str:
    """One line for the engineer: where, since when, what, what to do."""
    where = "all positions" if finding.position is None else f"position {finding.position}"
    suspect, sure, last = finding.first_tick_suspect, finding.first_tick_sure, finding.last_tick
    begun = f"ticks {suspect} to {last}"
    if sure > suspect:
        begun = f"from a tick between {suspect} and {sure}, to {last}"
    if finding.kind in (Kind.STRAY, Kind.MISREAD):
        begun = f"at tick {sure}"
    once = "; seen once only, read again" if finding.reads == 1 and finding.kind is not Kind.MISREAD else ""
    step = finding.step
    says = _SAYS[finding.kind].format(
        offset=finding.offset, count=abs(step), step=step, reads=finding.reads, wheel=_wheel(step)
    )
    return f"{finding.kind}, {where}, {begun}: {says}{once}"


def _wheel(step: int) -> int:
    """The highest power of ten in step: 1 the units, 10 the tens."""
    wheel = 1
    while step and step % (wheel * 10) == 0:
        wheel *= 10
    return wheel
