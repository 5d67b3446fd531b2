"""What a form asks for.  Numbers in an address: a field left empty was not asked.  Words for the journal: one line."""

from typing import Annotated

from fastapi import Form, Query
from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints

__all__ = ["Count", "Place", "Said", "Why"]

_blank = BeforeValidator(lambda value: None if value == "" else value)

Place = Annotated[Annotated[int, Field(ge=0, le=2**53)] | None, _blank, Query()]  # counted from 0
Count = Annotated[Annotated[int, Field(ge=1, le=10**9)] | None, _blank, Query()]  # 1 or more of something


def _one_line(text: str) -> str:
    if not text.isprintable():
        raise ValueError("it has signs that do not print; write it on one line, in plain signs")
    return text


# What a person writes stays in the journal for ever: not blank, and nothing in it that nobody can see.
_line = AfterValidator(_one_line)
Why = Annotated[str, StringConstraints(strip_whitespace=True, min_length=3, max_length=200), _line, Form()]
Said = Annotated[str, StringConstraints(strip_whitespace=True, min_length=2, max_length=80), _line, Form()]
