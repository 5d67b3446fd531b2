"""Everything that changes something, as routes, and what scripts of a page ask."""

from fastapi import APIRouter

from . import doing, plans, sign, taking, two, waiting
from .pages import find, people, strips, windows_kept, windows_post

__all__ = ["ROUTERS"]

ROUTERS: tuple[APIRouter, ...] = (
    sign.router, people.router, waiting.router, doing.router, two.router, taking.router, plans.router, strips.router,
    find.router, windows_kept.router, windows_post.router,
)  # fmt: skip
