"""Film as strips: what lies on a roll, from the core outwards, and how it comes off again."""

from typing import NamedTuple

__all__ = ["Strip", "Web", "part", "unwound"]


class Strip(NamedTuple):
    """Film of one roll as wound at the film line, met from um `a` to um `b`; a > b where it runs backwards."""

    roll: int
    a: int
    b: int

    @property
    def length(self) -> int:
        """Um of film."""
        return abs(self.b - self.a)

    def inside(self, start: int, end: int) -> "Strip":
        """The part from start to end um along the strip."""
        way = 1 if self.b > self.a else -1
        return Strip(self.roll, self.a + way * start, self.a + way * end)


Web = list[Strip]  # from the core outwards


def unwound(web: Web) -> Web:
    """The web as it comes off: the outside first, every strip the other way round."""
    return [Strip(s.roll, s.b, s.a) for s in reversed(web)]


def part(strips: Web, start: int, end: int) -> Web:
    """What lies from start to end um along the strips."""
    found, at = [], 0
    for strip in strips:
        low, high = max(start, at), min(end, at + strip.length)
        if low < high:
            found.append(strip.inside(low - at, high - at))
        at += strip.length
    if not 0 <= start < end <= at:
        raise ValueError(f"no stretch from {start} to {end} um on a web of {at} um")
    return found
