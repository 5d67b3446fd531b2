"""Marks of a kept reading written into the journal: one of them, or all that are not there yet.

POST …/windows/mark
"""

from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form
from fastapi.responses import RedirectResponse

from ...acts.window_posted import placed, to_post
from ...desk import Desk
from ...errors import NotThere
from ..doing import post_with
from ..page import AskedNow
from ..roles import Role
from ..sign import Needs
from .windows_kept import KEPT

__all__ = ["MOST_POSTED", "router"]

MOST_POSTED: Final = 2_000  # records written at a time
router = APIRouter()


@router.post("/orders/{order}/windows/mark", dependencies=[Depends(Needs(Role.WRITE))],
             summary="Write marks of a kept reading into the journal", response_model=None)  # fmt: skip
def mark(
    asked: AskedNow,
    reading: Annotated[str, Form(max_length=128)],
    stamp: Annotated[str, Form(max_length=64)],
    number: Annotated[int, Form(ge=0, le=10**7)],
    core_m: Annotated[float, Form(ge=-1e6, le=1e6, allow_inf_nan=False)] = 0.0,
    column: Annotated[int, Form(ge=1, le=1000)] = 1,
) -> RedirectResponse:
    """number : of the mark in the reading; 0: all that are not written yet.  stamp : of the reading looked at"""
    _, kept = KEPT.same(asked.live.folder, reading, stamp)
    marks = kept.answer["marks"]
    if number > len(marks):
        raise NotThere("number", number, f"the reading has {len(marks):,} marks", "follow a link on the page")

    def bodies(desk: Desk) -> list[dict[str, object]]:
        """Looked up by the hand that writes, so that none is written twice."""
        there = placed(desk.reading, kept.roll, marks, core_m, column)
        chosen = to_post(there, None if number == 0 else [number])
        if not chosen:
            nowhere = next((one.nowhere for one in there if one.nowhere and number in {0, one.number}), None)
            raise nowhere or NotThere("marks", number or "all", "they are written", "see the journal")
        return chosen[:MOST_POSTED]

    many = post_with(asked, bodies)
    query = {"reading": reading, "core_m": repr(core_m), "column": str(column), "posted": str(many)}
    return RedirectResponse(f"{asked.base}/windows?{urlencode(query)}", 303)
