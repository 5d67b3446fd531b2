"""The one door: files and databases in, files and databases out.  Takes: paths.  Gives: values that are checked.

    intake    records, from JSON Lines or CSV, line by line         read_records
    config    order.toml and works.toml                             read_order, read_works, template
    store     the journal at rest                                   Store, Row, row
    keys      the key that signs seals                              create_key, read_key, read_vkey
    schemas   JSON Schemas of the records, for who writes them      write_schemas

Beneath them: ``lines`` (a file in bounded memory), ``jsonl`` and ``csvrow`` (a line as an object), ``words`` (what is
wrong, in words), ``tables`` (the two TOML files), ``sqlite``, ``database`` and ``migrate`` (settings, golden schema),
``rows`` (what the store takes and gives), ``audit`` (is it whole).  A module is loaded when its name is first asked
for: a process that only reads pictures does without records and their checks, which take a second to load.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from reelmark.io.config import read_order, read_works, template
    from reelmark.io.intake import Line, Refusal, read_records
    from reelmark.io.keys import Key, create_key, read_key, read_vkey
    from reelmark.io.refusals import write_refused
    from reelmark.io.rows import Refused, Row, Sealed, row
    from reelmark.io.schemas import schema, write_schemas
    from reelmark.io.store import Store

_NAMES: Final = {
    "config": ("read_order", "read_works", "template"),
    "intake": ("Line", "Refusal", "read_records"),
    "keys": ("Key", "create_key", "read_key", "read_vkey"),
    "refusals": ("write_refused",),
    "rows": ("Refused", "Row", "Sealed", "row"),
    "schemas": ("schema", "write_schemas"),
    "store": ("Store",),
}
_WHERE: Final = {name: module for module, names in _NAMES.items() for name in names}


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_WHERE[name]}"), name)


__all__ = [
    "Key",
    "Line",
    "Refusal",
    "Refused",
    "Row",
    "Sealed",
    "Store",
    "create_key",
    "read_key",
    "read_order",
    "read_records",
    "read_vkey",
    "read_works",
    "row",
    "schema",
    "template",
    "write_refused",
    "write_schemas",
]
