"""What a page is made of: words, tables, figures, forms.  Pages say what they show; how it looks is said once, here.

A table becomes a table on the page, a CSV file and JSON; a figure becomes a picture on the page and an SVG file.  Both
may be given as functions, so that asking for one does not make the others.
"""

import csv
import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

__all__ = [
    "Action",
    "Cell",
    "Column",
    "Content",
    "Field",
    "Figure",
    "Form",
    "Link",
    "Part",
    "Picture",
    "Pictures",
    "Rows",
    "Table",
    "csv_of",
    "json_of",
]


@dataclass(frozen=True, slots=True)
class Link:
    """Words that lead somewhere."""

    words: str
    href: str

    def __str__(self) -> str:
        return self.words


Cell = str | int | float | bool | Link | None
Rows = Sequence[Sequence[Cell]]


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its title, its unit, and for figures how many decimals, so that they stand under one another."""

    title: str
    unit: str = ""
    kind: Literal["words", "figure", "time"] = "words"
    places: int = 0

    @property
    def head(self) -> str:
        """The title as it stands over the column."""
        return self.title[:1].upper() + self.title[1:]


@dataclass(frozen=True, slots=True)
class Table:
    """name : in the address of its CSV.  empty : what to do next where there are no rows.  most : rows on the page."""

    name: str
    title: str
    columns: tuple[Column, ...]
    rows: Rows | Callable[[], Rows]
    empty: str = "nothing yet"
    note: str = ""
    most: int = 200

    def every(self) -> list[Sequence[Cell]]:
        """All rows."""
        return list(self.rows() if callable(self.rows) else self.rows)


@dataclass(frozen=True, slots=True)
class Figure:
    """name : in the address of its SVG.  draw : alone -> SVG text.  under : the table that says the same."""

    name: str
    title: str
    draw: Callable[[bool], str]
    under: Table | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Field:
    """One question of a form."""

    name: str
    title: str
    kind: Literal["text", "number", "password", "date", "select", "checkbox", "file", "hidden", "area"] = "text"
    value: str = ""
    hint: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    required: bool = False
    more: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Form:
    """A form.  method get: a question, changes nothing; post: an act.  caution : what to heed before."""

    title: str
    action: str
    fields: tuple[Field, ...]
    submit: str
    method: Literal["get", "post"] = "get"
    says: str = ""
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Action:
    """A link that stands out: what can be done next."""

    words: str
    href: str


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture kept of something.  whole, small : addresses, "" where it cannot be shown;  says : lines under it

    alt : what it shows, for who does not see it, or why it is not shown;  links : what can be done next
    """

    whole: str
    small: str
    alt: str
    says: tuple[str, ...]
    links: tuple[Link, ...] = ()


@dataclass(frozen=True, slots=True)
class Pictures:
    """Pictures side by side.  empty : what to do where there are none."""

    name: str
    title: str
    some: tuple[Picture, ...]
    empty: str = "nothing yet"
    note: str = ""


Part = Table | Figure | Form | Pictures | str


@dataclass(frozen=True, slots=True)
class Content:
    """A page.  lead : first words under the title.  parts : in order; a str is a paragraph.  extra : for a template

    seal : the checkpoint that it holds up to, where that is an earlier one
    """

    title: str
    lead: tuple[str, ...] = ()
    parts: tuple[Part, ...] = ()
    actions: tuple[Action, ...] = ()
    template: str = "page.html"
    extra: dict[str, Any] = field(default_factory=dict)
    seal: dict[str, Any] | None = None

    def tables(self) -> dict[str, Table]:
        """By name, those under figures too."""
        found = [p for p in self.parts if isinstance(p, Table)]
        found += [p.under for p in self.figures().values() if p.under]
        return {one.name: one for one in found}

    def figures(self) -> dict[str, Figure]:
        """By name."""
        return {one.name: one for one in self.parts if isinstance(one, Figure)}


def _plain(cell: Cell) -> str | int | float | bool | None:
    return cell.words if isinstance(cell, Link) else cell


def csv_of(table: Table) -> Iterable[str]:
    """The table as CSV (RFC 4180), line by line; units in the heads.  A cell that a spreadsheet would run is quoted."""
    heads = [f"{c.head} ({c.unit})" if c.unit else c.head for c in table.columns]
    for row in [heads, *table.every()]:
        line = io.StringIO()
        csv.writer(line).writerow(["" if cell is None else _harmless(_plain(cell)) for cell in row])
        yield line.getvalue()


def _harmless(cell: Any) -> Any:
    return f"'{cell}" if isinstance(cell, str) and cell[:1] in {"=", "+", "-", "@", "\t"} else cell


def json_of(content: Content) -> dict[str, Any]:
    """The page for machines: lead and tables, each row by its columns' titles."""
    return {
        "title": content.title,
        "lead": list(content.lead),
        "tables": {
            name: {
                "title": table.title,
                "units": {c.title: c.unit for c in table.columns if c.unit},
                "rows": [
                    {c.title: _plain(cell) for c, cell in zip(table.columns, row, strict=True)} for row in table.every()
                ],
            }
            for name, table in content.tables().items()
        },
    }
