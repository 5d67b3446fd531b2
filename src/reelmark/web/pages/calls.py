"""Every call that the server answers: its method, its address, what it gives, and which role it needs."""

from collections.abc import Iterator
from typing import Any

from fastapi import FastAPI
from fastapi.dependencies.models import Dependant
from fastapi.routing import iter_route_contexts

from ..content import Cell, Column, Content, Table
from ..page import AskedNow, Page
from ..roles import Role
from ..sign import Needs

__all__ = ["PAGE"]

SAYS = (
    "The same list for machines, with the type and bounds of every question, is at /openapi.json (OpenAPI). "
    "Pages are HTML; their tables are also CSV and JSON, their figures also SVG. Errors say what was asked, what is "
    "true instead and what to do."
)


def build(asked: AskedNow) -> Content:
    """The page."""
    app: FastAPI = asked.request.app
    columns = (Column("method"), Column("address"), Column("gives"), Column("asks for"), Column("role"))
    table = Table("calls", "Calls", columns, lambda: list(_rows(app)), most=1000)
    return Content("Calls", parts=(SAYS, table))


def _rows(app: FastAPI) -> Iterator[list[Cell]]:
    roles = {
        (method, route.path_format): _role(getattr(route, "dependant", None))
        for route in iter_route_contexts(app.routes) for method in getattr(route, "methods", None) or ()
    }  # fmt: skip
    for path, calls in app.openapi()["paths"].items():
        for method, call in calls.items():
            role = roles.get((method.upper(), path))
            yield [method.upper(), path, call.get("summary", ""), _asks(call), role.value if role else "not said"]


def _role(dependant: Dependant | None) -> Role | None:
    """The role that the dependencies of a route name, at whatever depth."""
    todo = list(dependant.dependencies) if dependant else []
    while todo:
        one = todo.pop(0)
        if isinstance(one.call, Needs):
            return one.call.role
        todo += one.dependencies
    return None


def _asks(call: dict[str, Any]) -> str:
    """Names of its questions, those that may be left out in brackets, and whether a form or file goes along."""
    names = [p["name"] if p.get("required") else f"[{p['name']}]" for p in call.get("parameters", ())
             if p["in"] == "query"]  # fmt: skip
    bodies = call.get("requestBody", {}).get("content", {})
    return ", ".join([*names, *(f"body: {kind}" for kind in bodies)])


PAGE = Page("/calls", "Calls", build)
