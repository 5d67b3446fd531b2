"""The records as files, as another hand may take, change or judge them.

folder/order.toml  works.toml       what is wanted, what there is
folder/records/shift-001.jsonl …    what the shop wrote, a line a record, a file a shift
folder/gauge/F01.parquet …          what the film line's gauge wrote, a row a value, a file a roll
folder/frames/F02c/ …               what the camera over the windows saw of a stretch (`windowline.write_frames`)
folder/judge/planted.json           what was planted      } for judging only:
folder/judge/truth.npz              where every sheet was } no solver reads them
"""

import json
from pathlib import Path

import numpy as np

from ..io import template
from ..order import Order
from ..units import metres
from .filmline import FilmRoll, gauge_records
from .plant import template_order
from .simulate import Simulated
from .truth import KINDS, Truth
from .writing import Json

__all__ = ["line", "order_text", "write_records"]


def write_records(sim: Simulated, folder: Path) -> None:
    """Write order, works, records of shop and gauge, and judge's papers into the folder."""
    for name in ("records", "gauge", "judge"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    _write(folder / "order.toml", order_text(sim.order))
    _write(folder / "works.toml", template("works.toml"))
    for n, shift in enumerate(sim.records):
        _write(folder / "records" / f"shift-{n + 1:03d}.jsonl", "".join(map(line, shift)))
    for roll in sim.film:
        _write_gauge(roll, folder / "gauge" / f"{roll.name}.parquet")
    lines = (*(roll.planted for roll in sim.film), *(roll.planted for roll in sim.windows))
    troubles = [*sim.planted, *(one for planted in lines for one in planted)]
    planted = [{"name": one.name, "planted": one.planted} for one in troubles]
    _write(folder / "judge" / "planted.json", json.dumps(planted, indent=1) + "\n")
    _save(sim.truth, folder / "judge" / "truth.npz")


def line(record: Json) -> str:
    """A record as its line."""
    return json.dumps(record, ensure_ascii=False, separators=(",", ":")) + "\n"


def order_text(order: Order) -> str:
    """The order as TOML: the template itself where it is the template's order."""
    if order == template_order():
        return template("order.toml")
    layout = order.layout
    sizes = {
        "note_along": layout.note_along, "note_across": layout.note_across, "cut_off": layout.cut_off,
        "margin_along": layout.margin_along, "margin_across": layout.margin_across,
    }  # fmt: skip
    text = [f"name = {_quoted(order.name)}", f"issuer = {_quoted(order.issuer)}", f"notes = {order.notes}"]
    text += [f"lanes = {order.lanes}", f"web_passes = {order.web_passes}", "", "[layout]"]
    text += [f"rows = {layout.rows}", f"columns = {layout.columns}"]
    text += [f'{name} = "{metres(um)}"' for name, um in sizes.items()]
    for one in order.series:
        text += ["", "[[series]]", f"name = {_quoted(one.name)}", f"letters = {one.letters}", f"digits = {one.digits}"]
        text += [f'prefix = "{one.prefix}"', f'alphabet = "{one.alphabet}"']
        text.append(f"skip_zero = {str(one.skip_zero).lower()}")
    for delivery in order.deliveries:
        text += ["", "[[deliveries]]", f"notes = {delivery.notes}", f"by = {delivery.by}"]
    return "\n".join(text) + "\n"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def _write_gauge(roll: FilmRoll, path: Path) -> None:
    import pyarrow as pa  # slow to load, and wanted here only
    from pyarrow import parquet

    columns = gauge_records(roll)
    names = pa.array([roll.name] * len(columns["time_s"])).dictionary_encode()
    parquet.write_table(pa.table({"roll": names, **columns}), path)


def _save(truth: Truth, path: Path) -> None:
    """Arrays under their names in Truth; the piles laid end to end, pile i from pile_at[i] to pile_at[i + 1]."""
    names = list(truth.piles)
    at = np.cumsum([0, *(len(truth.piles[name]) for name in names)])
    slips = [(s.series, s.position, s.tick, s.offset) for s in truth.boxes.slips]
    np.savez_compressed(
        path,
        film_rolls=np.array(truth.film_rolls), kinds=np.array(KINDS), lots=np.array(truth.lots), lot=truth.lot,
        roll=truth.roll.astype(np.int16), start=truth.start, stop=truth.stop, way=truth.way.astype(np.int8),
        lane=truth.lane.astype(np.int8), series=truth.series.astype(np.int8), tick=truth.tick.astype(np.int32),
        flip=truth.flip, kind=truth.kind.astype(np.int8), slips=np.array(slips), block=np.array(truth.boxes.block),
        pile_names=np.array(names), pile_at=at, notes=np.array(list(truth.notes.items())),
        pile_sheets=np.concatenate([truth.piles[name] for name in names]).astype(np.int32),
    )  # fmt: skip
