"""What hands and machines do to web, as pieces: the same whatever is worked on it.

A machine counts metres as it unwinds, 0 at the outside; a roll's axis counts um as wound, 0 at the core.  So unwound u
of a roll of length n is wound n - u, and every pass turns the web end for end.

    roll as wound   |core ----------------------- outside|
    unwound         |len ----------- u ---------------- 0|
    kept            |     waste xxx|----kept----|xxx     |      waste goes to a unit of its own: the metres still add up
"""

from collections.abc import Mapping, Sequence

from .errors import BadValue
from .facts import Piece

__all__ = ["FLIPS", "cut_to_sheets", "flipped", "rewound"]

Kept = tuple[str, int, int]  # unit, from, to: um unwound

# How a pile lies after it is turned: (rows reversed, columns reversed); over = face down.  The four-group: each undoes
# itself, and turn then tumble is a half-turn.
FLIPS: Mapping[str, tuple[bool, bool]] = {
    "same": (False, False),
    "turn": (False, True),
    "tumble": (True, False),
    "half-turn": (True, True),
}


def flipped(one: tuple[bool, bool], two: tuple[bool, bool]) -> tuple[bool, bool]:
    """Both turns, one after the other."""
    return one[0] != two[0], one[1] != two[1]


def rewound(
    lengths: Mapping[str, int], kept: Sequence[Kept], to: Mapping[int, str], waste: str
) -> tuple[tuple[Piece, ...], int]:
    """Pieces of a pass that kept these stretches, and the length wound, um.

    lengths : um of each roll unwound; to : lane -> roll it was wound on; waste : unit for what was not kept
    """
    for unit, start, end in kept:
        _check(unit, start, end, lengths[unit])
    pieces = []
    for lane, unit in to.items():
        at = 0
        for source, start, end in kept:
            pieces.append(_turned(source, lane, lengths[source], start, end, unit, at))
            at += end - start
        at = 0
        for source, start, end in _not_kept(lengths, kept):
            pieces.append(_turned(source, lane, lengths[source], start, end, waste, at))
            at += end - start
    return tuple(pieces), sum(end - start for _, start, end in kept)


def _turned(unit: str, lane: int, length: int, start: int, end: int, to: str, at: int) -> Piece:
    return Piece(unit, lane, length - end, end - start, to, lane, at + end - start - 1, -1)


def _check(unit: str, start: int, end: int, length: int) -> None:
    if not 0 <= start < end:
        raise BadValue("kept", f"{start}..{end} um", "it has no length", "give start before end, both from 0 up")
    if end > length:
        raise BadValue("kept.end", f"{end} um", f"{unit} is {length} um long", "correct the metres of the pass")


def _not_kept(lengths: Mapping[str, int], kept: Sequence[Kept]) -> list[Kept]:
    """The rest of every roll unwound, in order."""
    rest = []
    for unit in dict.fromkeys(unit for unit, _, _ in kept):
        at = 0
        for start, end in sorted((a, b) for u, a, b in kept if u == unit):
            if start < at:
                raise BadValue(
                    "kept", f"{start} um of {unit}", f"kept once already up to {at} um", "correct the stretches"
                )
            if start > at:
                rest.append((unit, at, start))
            at = end
        if at < lengths[unit]:
            rest.append((unit, at, lengths[unit]))
    return rest


def cut_to_sheets(unit: str, lane: int, length: int, first_cut: int, sheets: int, cut_off: int, to: str) -> Piece:
    """Sheets cut one after another from unwound first_cut on; delivered from the bottom up, the last lies on top."""
    end = first_cut + sheets * cut_off
    if first_cut < 0 or end > length:
        raise BadValue(
            "sheets", sheets,
            f"from {first_cut} um on, {unit} of {length} um holds {max(0, length - first_cut) // cut_off}",
            "correct the first cut or the number of sheets",
        )  # fmt: skip
    return Piece(unit, lane, length - end, sheets, to, 0, 0, 1, cut_off, cut_off)
