"""The numbering boxes: what to set, which way they must run, and what the numbers read say about them."""

from typing import Any

from ..errors import BadValue, NotThere
from ..facts import Imprint, Run
from ..order import Order
from ..reading import Reading
from ..stations.numbering import (
    BUNDLE,
    LABELS,
    PACK,
    Finding,
    Format,
    Kind,
    Numbering,
    descending_for,
    diagnose,
    settings_by_hand,
    settings_sheet,
)

__all__ = [
    "Box",
    "box_settings",
    "diagnosed",
    "direction_due",
    "numbered",
    "numbering_plan",
    "plan_of",
    "read_diagnosis",
    "reads_of",
    "serious",
]  # fmt: skip


def plan_of(imprint: Imprint) -> Numbering:
    """The plan an imprint followed."""
    return Numbering(imprint.base, imprint.block, imprint.ups, imprint.descending)


def numbering_plan(order: Order, form: Format, first: str, notes: int, block: int) -> dict[str, Any]:
    """Sheets, span, packs and hand settings for so many notes from a first number on."""
    base, ups = form.index(first), order.layout.ups
    if notes < 1 or block < 1:
        raise BadValue(
            "notes, block", (notes, block), "there is nothing to number", "give 1 note or more, a block of 100 or more"
        )
    if block % 100:
        raise BadValue("block", block, "packs of 100 would not come out whole", "take a multiple of 100")
    plan = Numbering(base, block, ups)
    sheets = -(-notes // ups)
    span = plan.span(sheets)
    if base + span > form.size:
        raise NotThere(
            "notes",
            notes,
            f"the series has {form.size - base} numbers from {first} on",
            "take fewer, or an earlier first",
        )
    aligned = base % 100 == 0
    return {
        "first": first, "last": form.text(base + span - 1), "notes": notes, "positions": ups, "block": block,
        "sheets": sheets, "numbers_used": span, "numbers_left_over": span - sheets * ups,
        "packs": span // PACK, "bundles": span // BUNDLE if span % BUNDLE == 0 else None,
        "packs_aligned": aligned, "settings_by_hand": settings_by_hand(sheets, block, ups),
        "same_low_digits": _power_of_ten(block) and base % block == 0,
        "prefix_changes": len(form.jumps(base, base + span - 1)),
    }  # fmt: skip


def _power_of_ten(block: int) -> bool:
    return str(block).strip("0") == "1"


def box_settings(
    order: Order, form: Format, first: str, block: int, blocks: range, reversals: int, labels: bool = False
) -> dict[str, Any]:
    """What every box is set to at the start of each block, and which way it steps.

    reversals : how often the pile's order is reversed between numbering press and cutter
    labels : add the check character for the label (ISO 7064 MOD 37,36); wheels cannot print it
    """
    plan = Numbering(form.index(first), block, order.layout.ups, descending_for(reversals))
    wanted, there = plan.span(blocks.stop * block), form.size - plan.base
    if wanted > there:
        true = f"the blocks take {wanted:,} numbers, the series has {there:,} from {first} on"
        raise NotThere("blocks", blocks.stop, true, "take fewer blocks or smaller ones, or an earlier first number")
    lines = [
        {"tick": one.tick, "position": one.position, "row": one.position // order.layout.columns,
         "column": one.position % order.layout.columns, "set_to": one.text, "step": one.step}
        | ({"label_check": LABELS.check_characters(one.text)} if labels else {})
        for one in settings_sheet(plan, form, blocks)
    ]  # fmt: skip
    return {"descending": plan.descending, "reversals": reversals, "block": block, "settings": lines}


def direction_due(reading: Reading, unit: str) -> bool | None:
    """Must the boxes have run down for this numbered pile, by what was done to it since?  None before it is cut."""
    reversals, at = 0, unit
    while at not in _cut(reading):
        onward = [run for run in reading.thread.takers.get(at, ()) if run.pile]
        if not onward:
            return None
        assert onward[0].pile is not None
        reversals += onward[0].pile.reverses
        at = onward[0].pile.outputs[0][0]
    return descending_for(reversals)


def _cut(reading: Reading) -> set[str]:
    return {due.unit for _, due in reading.shop.due if not isinstance(due, Run) and getattr(due, "kind", "") == "cut"}  # type: ignore[attr-defined]


Box = tuple[str, Finding]


def diagnosed(reading: Reading, unit: str | None = None) -> list[Box]:
    """What the reads say of every numbered pile (or of one), misreads seen once among them."""
    found = []
    for name, imprint in reading.thread.imprints.items():
        if unit in (None, name):
            reads = reads_of(reading, name)
            sheets = reading.thread.length[name].constant
            found += [(name, one) for one in diagnose(plan_of(imprint), reads, ticks=imprint.first_tick + sheets)]
    return found


def reads_of(reading: Reading, unit: str) -> list[tuple[int, int, int | None]]:
    """(tick the sheet should have had, position, index read); a sheet known to be blank is no read."""
    imprint = reading.thread.imprints[unit]
    form, sheets = reading.shop.formats[imprint.series], reading.thread.length[unit].constant
    return [
        (imprint.first_tick + sheets - 1 - read.sheet, one.position, form.read(one.text))
        for _, read in reading.shop.reads
        if read.unit == unit and any(one.text for one in read.reads)
        for one in read.reads
    ]


def read_diagnosis(reading: Reading, unit: str | None = None) -> dict[str, Any]:
    """Findings with first and last sheet concerned and the numbers to withdraw, printed twice, or missing."""
    if unit is not None:
        numbered(reading, unit)
    return {
        "findings": [_shown(reading, name, one) for name, one in diagnosed(reading, unit)],
        "directions": _directions(reading, unit),
    }


def numbered(reading: Reading, unit: str) -> Imprint:
    """What the numbering press did to a pile; NotThere for any other unit."""
    if unit not in reading.thread.imprints:
        known = ", ".join(list(reading.thread.imprints)[:6]) or "none yet: take in the records of the numbering press"
        raise NotThere("unit", unit, "it is not a pile the numbering press delivered", f"name one, as {known}")
    return reading.thread.imprints[unit]


def _directions(reading: Reading, unit: str | None) -> list[dict[str, Any]]:
    """Piles whose boxes ran the wrong way for what was done to the pile afterwards."""
    wrong = []
    for name, imprint in reading.thread.imprints.items():
        due = direction_due(reading, name) if unit in (None, name) else None
        if due is not None and due != imprint.descending:
            wrong.append({"unit": name, "descending": imprint.descending, "due": due})
    return wrong


def _shown(reading: Reading, unit: str, one: Finding) -> dict[str, Any]:
    imprint = reading.thread.imprints[unit]
    form, sheets = reading.shop.formats[imprint.series], reading.thread.length[unit].constant

    def ranges(some: Any) -> list[list[str]]:
        return [[form.text(n.first), form.text(n.last)] for n in some]

    def from_top(tick: int) -> int:
        return sheets - 1 - (tick - imprint.first_tick)

    return {
        "unit": unit, "fault": one.kind.value, "serious": serious(one), "position": one.position,
        "step": one.step, "offset": one.offset,
        "first_tick_from": one.first_tick_suspect, "first_tick_to": one.first_tick_sure, "last_tick": one.last_tick,
        "first_sheet_from_top": from_top(one.first_tick_suspect), "last_sheet_from_top": from_top(one.last_tick),
        "withdraw": ranges(one.withdraw), "withdraw_notes": sum(n.stop - n.first for n in one.withdraw),
        "surely": ranges(one.surely), "printed": ranges(one.printed),
        "missing": ranges(one.missing), "reads": one.reads, "text": one.text,
    }  # fmt: skip


def serious(one: Finding) -> bool:
    """A fault of the press, not of the eye that read."""
    return one.kind not in {Kind.MISREAD, Kind.UNREAD}
