"""Errors in the house form: what was asked; what is true instead; what to do.

A class exists only where a caller would act differently:

    Problem                 anything reelmark refuses
    ├── BadValue            a field holds what it must not: correct the field
    ├── NotThere            a unit, a sheet or a number is not where it was asked for
    ├── Clash               two facts cannot both be true: find out which
    ├── NotAllowed          a second, different person is needed
    └── Broken              stored bytes are not the bytes that were sealed
"""

__all__ = ["BadValue", "Broken", "Clash", "NotAllowed", "NotThere", "Problem"]


class Problem(Exception):
    """What was asked, what is true instead (with the value), and the cure, in one line."""

    def __init__(self, asked: str, true: str, cure: str) -> None:
        super().__init__(f"{asked}: {true}; {cure}")
        self.asked, self.true, self.cure = asked, true, cure

    def __reduce__(self) -> tuple[object, ...]:
        """As it crosses from one process to another: every kind has arguments of its own, so the state travels."""
        return _again, (type(self), self.args, self.__dict__)


def _again(kind: type[Problem], args: tuple[object, ...], state: dict[str, object]) -> Problem:
    one = kind.__new__(kind)
    one.args = args
    one.__dict__.update(state)
    return one


class BadValue(Problem):
    """A field of a record, a setting or a command holds what it must not.

    field : where, as the writer of the record would name it
    value : what stood there, as it stood
    """

    def __init__(self, field: str, value: object, true: str, cure: str) -> None:
        shown = repr(value)
        super().__init__(f"{field} = {shown if len(shown) <= 80 else shown[:77] + '...'}", true, cure)
        self.field, self.value = field, value


class NotThere(BadValue):
    """A unit, sheet or number is not where the record or the posting says."""


class Clash(BadValue):
    """Two facts exclude each other: ranges that overlap, counts that disagree, a key used twice."""


class NotAllowed(BadValue):
    """Two different persons must stand behind this, and do not."""


class Broken(Problem):
    """Stored bytes differ from what was sealed; the place is in the text."""
