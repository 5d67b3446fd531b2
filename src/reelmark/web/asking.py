"""Numbers in an address, as a form asks for them: a field left empty was not asked."""

from typing import Annotated

from fastapi import Query
from pydantic import BeforeValidator, Field

__all__ = ["Count", "Place"]

_blank = BeforeValidator(lambda value: None if value == "" else value)

Place = Annotated[Annotated[int, Field(ge=0, le=2**53)] | None, _blank, Query()]  # counted from 0
Count = Annotated[Annotated[int, Field(ge=1, le=10**9)] | None, _blank, Query()]  # 1 or more of something
