"""JSON Schemas of the record kinds, for those who write records: made out of the models, kept in ``schemas/``."""

import json
from functools import cache
from pathlib import Path
from typing import Any, Final

from reelmark.records import KINDS

__all__ = ["FOLDER", "schema", "write_schemas"]

FOLDER: Final = Path(__file__).parent.parent / "schemas"
DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"


@cache
def schema(kind: str) -> dict[str, Any]:
    """The schema of a kind, to read only.  x-unit : the unit a length is kept in; it is written with any unit."""
    return {"$schema": DIALECT, **KINDS[kind].model_json_schema()}


def write_schemas(folder: Path = FOLDER) -> list[Path]:
    """Write <kind>.json for every kind and say which files these are."""
    folder.mkdir(parents=True, exist_ok=True)
    written = [folder / f"{kind}.json" for kind in KINDS]
    for kind, path in zip(KINDS, written, strict=True):
        path.write_text(json.dumps(schema(kind), indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    return written
