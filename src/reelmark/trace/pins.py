"""Ties that pin a place: a number read on a sheet, a sheet known again.  A pin says O(g) before and after one sheet."""

from typing import TYPE_CHECKING

from ..facts import Imprint, Run, Tie
from .form import Form
from .slack import Pin
from .strikes import Strikes

if TYPE_CHECKING:
    from .thread import Thread

__all__ = ["pins_of"]


def pins_of(thread: "Thread", of: Run | Imprint) -> tuple[Pin, ...]:
    """Pins on the feed of a run on piles, or on the numbering of a pile."""
    if isinstance(of, Imprint):
        return _read_pins(thread, of)
    assert of.pile is not None
    return (
        tuple(pin for tie in thread.ties if tie.as_unit for pin in _sighted(thread, of, tie))
        if of.pile.unknowns
        else ()
    )


def _read_pins(thread: "Thread", imprint: Imprint) -> tuple[Pin, ...]:
    """A sheet that bears tick t tells how many sheets above it went unnumbered.

    From the top: sheet y is strike e = ticks - 1 - (y - O(y)) of this pile.
    """
    place, _ = Strikes.of(imprint).place
    pins = []
    for tie in thread.ties:
        if tie.unit == imprint.unit and tie.as_unit == place:
            missed = tie.sheet - (imprint.ticks - 1 - (tie.as_sheet - imprint.first_tick))
            pins += [Pin(tie.name, at, missed, missed) for at in (tie.sheet, tie.sheet + 1)]
    return tuple(pins)


def _sighted(thread: "Thread", run: Run, tie: Tie) -> tuple[Pin, ...]:
    """A pin where both ends of a sighting reach this run through exact handlings."""
    from .feed import Feed

    assert run.pile is not None
    fed = _reaches(thread, tie.as_unit, tie.as_sheet, run.pile.inputs, back=False)
    out = _reaches(thread, tie.unit, tie.sheet, tuple(u for u, _ in run.pile.outputs), back=True)
    if fed is None or out is None:
        return ()
    feed = Feed(run.pile, thread.length, thread.doubt)
    at = [u for u, _ in run.pile.outputs].index(out[0])
    length = feed.out_lengths[out[0]]
    e = length - 1 - out[1] if run.pile.reverses else Form(out[1])
    d, f = feed.out_offsets[at] + e, feed.offsets[run.pile.inputs.index(fed[0])] + fed[1]
    if d.terms or f.terms:
        return ()
    g = feed.less_known(f.constant)
    missed = g - d.constant
    return tuple(Pin(tie.name, cut, missed, missed) for cut in (g, g + 1))


def _reaches(thread: "Thread", unit: str, sheet: int, wanted: tuple[str, ...], back: bool) -> tuple[str, int] | None:
    """Where a sheet meets one of the wanted units, going one way through the exact table."""
    if not hasattr(thread, "step"):
        return (unit, sheet) if unit in wanted else None
    table, x = (thread.back_step if back else thread.step), thread.frames.start((unit, 0)) + sheet
    while True:
        (name, _), at = thread.frames.locate(x)
        if name in wanted:
            return name, at
        onward = table.at(x)
        if onward is None:
            return None
        x = onward
