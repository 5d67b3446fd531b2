"""How the windows lie, from a layout.toml that a person wrote: in mm, or as text with a unit.

    pitch_across_mm = 150              the note's cell across the web, and along it
    pitch_along_mm = 70
    windows_per_note = 1
    mm_per_pixel = 0.4
    lanes = 6                          columns of notes that the picture shows
    [[windows]]
    across_mm = 20
    along_mm = 14
    corner_mm = 3                      half the smaller side: round
    at_across_mm = 75                  its middle in the cell; left out: found by the camera
    at_along_mm = 35

Where windows come round only with the cut-off, which holds several notes and a margin, pitch_along_mm is the cut-off
and [[windows]] are given once, for a note:

    pitch_along_mm = 700
    notes_per_repeat = 9               notes along the web in a repeat
    note_along_mm = 76                 from one to the next; left out: they share what first_note_mm leaves
    first_note_mm = 8                  from the beginning of the repeat to the first; left out: 0
    [[windows]]
    at_across_mm = 75                  its middle in the note: across and along must then be given
    at_along_mm = 38

    over_lane = 2                      the lane of the web that the camera looks at, where it looks at one alone

Other plain spellings are read too: a table [window], [pitch] or [camera], size = [20, 14], width and height, radius,
diameter, "150 mm".  What is not known is named in the notes, so that a misspelt key is seen.
"""

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from reelmark.errors import BadValue, Problem
from reelmark.frames import Window, WindowLayout
from reelmark.units import LENGTH, parse

__all__ = ["LayoutFile", "layout_of", "read_layout"]

# Canonical key: spellings of it, after "-" has become "_", a "_mm" has gone, and "_px" has become "_pixel".
TOP: Final = {
    "pitch_across": ("pitch_x", "across_pitch", "lane_pitch", "cell_across", "pitch_width", "pitch_cross"),
    "pitch_along": ("pitch_y", "along_pitch", "repeat", "repeat_length", "cell_along", "pitch_height", "pitch_length"),
    "pitch": ("cell", "pitches"),
    "per_pixel": ("pixel", "pixel_size", "camera_per_pixel", "camera_pixel", "camera_pixel_size", "resolution"),
    "lanes": ("lane_count", "columns", "camera_lanes", "number_of_lanes", "n_lanes", "lanes_across"),
    "windows_per_note": ("window_count", "window_per_note", "windows_a_note", "per_note"),
    "index_every": ("index", "index_mark_every", "odd_every"),
    "notes_per_repeat": ("notes_a_repeat", "notes_along", "rows_per_repeat"),
    "note_along": ("note_pitch", "note_pitch_along", "note_length"),
    "first_note": ("first_note_at", "margin_along"),
    "over_lane": ("web_lane", "camera_over_lane"),
}
WINDOW: Final = {
    "across": ("width", "w", "size_across", "size_x", "x_size"),
    "along": ("height", "length", "h", "size_along", "size_y", "y_size"),
    "size": ("sides",),
    "diameter": ("d", "round"),
    "corner": ("radius", "corner_radius", "r", "rounding"),
    "at_across": ("x", "centre_across", "center_across", "at_x", "centre_x", "center_x"),
    "at_along": ("y", "centre_along", "center_along", "at_y", "centre_y", "center_y"),
    "at": ("centre", "center", "middle", "position"),
    "shape": ("form",),
}
CORNER: Final = ("corner", "corner_radius", "window_corner", "window_corner_radius", "window_radius")
ROUND: Final = {"round", "circle", "circular"}
UNITS: Final = {"um": 1e-3, "cm": 10.0, "m": 1e3}  # a key's other unit, in mm
EXAMPLES: Final = {"pitch_across": "pitch_across_mm = 150", "pitch_along": "pitch_along_mm = 70",
                   "per_pixel": "mm_per_pixel = 0.4", "lanes": "lanes = 6"}  # fmt: skip
LONGEST: Final = 1e9  # mm
MOST: Final = 10_000  # lanes, windows, notes, repeats to an index mark


@dataclass(frozen=True, slots=True)
class LayoutFile:
    """layout : how the windows lie;  notes : what was in the file and is not used
    index_every : an odd mark every so many repeats, 0: none;  rollers_mm : circumferences by name
    over_lane : of the web, that the camera looks at alone; 0: not said
    """

    layout: WindowLayout
    notes: tuple[str, ...] = ()
    index_every: int = 0
    rollers_mm: tuple[tuple[str, float], ...] = ()
    over_lane: int = 0


def read_layout(path: Path) -> LayoutFile:
    """The layout of a TOML file; Problem where there is none or it is no TOML, BadValue where a value is wrong."""
    cure = "write layout.toml beside the pictures, as the manual shows"
    if not path.is_file():
        raise Problem(f"layout {path}", "there is no such file", cure)
    try:
        return layout_of(tomllib.loads(path.read_bytes().decode("utf-8-sig")))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError, RecursionError) as error:
        raise Problem(f"layout {path}", f"it does not read: {str(error)[:120]}", cure) from error


def layout_of(written: Mapping[str, Any]) -> LayoutFile:
    """The layout of what a TOML file holds."""
    written = _in_mm(written)
    flat = _flat(written)
    corner = next((flat.pop(key) for key in CORNER if key in flat), None)  # said once, of every window
    top = _named(flat, TOP)
    tables = [one if corner is None else {"corner": corner} | one for one in _tables(written)]
    windows = [_window(table, n) for n, table in enumerate(tables)]
    many = _whole(top.get("windows_per_note", len(windows)), "windows_per_note")
    across, along = _pitch(top)
    notes = _whole(top.get("notes_per_repeat", 1), "notes_per_repeat")
    layout = WindowLayout(
        across, along, _noted(_repeated(windows, many, bool(tables)), notes, along, top),
        _needed(top, "per_pixel", "mm_per_pixel"), _whole(_there(top, "lanes"), "lanes"), notes,
    )  # fmt: skip
    every = _whole(top["index_every"], "index_every") if "index_every" in top else 0
    over = _whole(top["over_lane"], "over_lane") if "over_lane" in top else 0
    return LayoutFile(layout, tuple(_unused(top, tables)), every, _rollers(written), over)


def _in_mm(written: Mapping[str, Any]) -> dict[str, Any]:
    """The table with keys that name another unit, as um_per_pixel or pitch_across_m, in mm."""
    made: dict[str, Any] = {}
    for key, value in written.items():
        plain = key.strip().lower()
        unit = next((one for one in UNITS if plain.endswith(f"_{one}") or plain.startswith(f"{one}_per_")), None)
        if isinstance(value, Mapping):
            value = _in_mm(value)
        elif isinstance(value, list):
            value = [_in_mm(one) if isinstance(one, Mapping) else _times(one, unit) for one in value]
        name = key if unit is None else plain.removesuffix(f"_{unit}").removeprefix(f"{unit}_")
        made[name] = _times(value, unit)
    return made


def _times(value: Any, unit: str | None) -> Any:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return value * UNITS[unit] if number and unit is not None else value


def _key(text: str) -> str:
    plain = text.strip().lower().replace("-", "_").replace(" ", "_")
    return plain.removesuffix("_mm").removeprefix("mm_").replace("per_px", "per_pixel")


def _flat(written: Mapping[str, Any]) -> dict[str, Any]:
    """Top keys, and those of the tables that merely group them, as one table."""
    flat: dict[str, Any] = {}
    for key, value in written.items():
        name = _key(key)
        if isinstance(value, Mapping) and name in {"layout", "camera", "frame", "web", "note", "notes"}:
            flat |= _flat(value)
        elif isinstance(value, Mapping) and name == "pitch":
            flat |= {f"pitch_{_key(k)}": v for k, v in value.items()}
        elif name not in {"window", "windows", "rollers"}:
            flat[name] = value
        elif name == "windows" and isinstance(value, int):
            flat["windows_per_note"] = value
    return flat


def _named(table: Mapping[str, Any], known: Mapping[str, tuple[str, ...]]) -> dict[str, Any]:
    """The table under canonical keys; Clash of two spellings of one is refused."""
    found: dict[str, Any] = {}
    for key, value in table.items():
        name = next((name for name, others in known.items() if key == name or key in others), key)
        if name in found and found[name] != value:
            raise BadValue(key, value, f"the file gives {name} twice, as {found[name]!r} too", "leave one")
        found[name] = value
    return found


def _tables(written: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Tables of windows: [[windows]], [[window]], [window], or keys that begin with window_."""
    inner = [written, *(v for k, v in written.items() if isinstance(v, Mapping) and _key(k) in {"layout", "note"})]
    for table in inner:
        for key, value in table.items():
            if _key(key) in {"window", "windows"}:
                some = value if isinstance(value, list) else [value]
                some = [{"size": some}] if some and all(isinstance(one, int | float) for one in some[:2]) else some
                yield from (_named({_key(k): v for k, v in one.items()}, WINDOW)
                            for one in some if isinstance(one, Mapping))  # fmt: skip
        loose = {_key(k).removeprefix("window_"): v for k, v in table.items()
                 if _key(k).startswith("window_") and _key(k) not in CORNER}  # fmt: skip
        loose = {k: v for k, v in loose.items() if k not in {"count", "per_note"}}
        if loose:
            yield _named(loose, WINDOW)


def _window(table: Mapping[str, Any], n: int) -> Window:
    """One window of its table."""
    at = f"windows[{n}]"
    across, along = _sides(table, at)
    corner = _length(table.get("corner", min(across, along) / 2 if _round(table) else 0.0), f"{at}.corner_mm")
    x, y = _pair(table["at"], f"{at}.at") if "at" in table else (None, None)
    x = _length(table["at_across"], f"{at}.at_across_mm") if "at_across" in table else x
    y = _length(table["at_along"], f"{at}.at_along_mm") if "at_along" in table else y
    return Window(across, along, corner, x, y)


def _round(table: Mapping[str, Any]) -> bool:
    return "diameter" in table or str(table.get("shape", "")).strip().lower() in ROUND


def _sides(table: Mapping[str, Any], at: str) -> tuple[float, float]:
    """Across and along, mm."""
    if "diameter" in table:
        one = _length(table["diameter"], f"{at}.diameter_mm")
        return one, one
    if "size" in table:
        return _pair(table["size"], f"{at}.size")
    missing = [f"{key}_mm" for key in ("across", "along") if key not in table]
    if missing:
        true = f"the window has {', '.join(table) or 'nothing'}"
        raise BadValue(at, ", ".join(missing), f"{true}, not this", "give across_mm and along_mm, or diameter_mm")
    return _length(table["across"], f"{at}.across_mm"), _length(table["along"], f"{at}.along_mm")


def _repeated(windows: list[Window], many: int, given: bool) -> tuple[Window, ...]:
    """One window a note, or one described for several alike whose places the camera finds."""
    if not given:
        raise BadValue("windows", None, "the file describes no window", "add [[windows]] with across_mm and along_mm")
    if len(windows) == 1 and many > 1 and windows[0].at_across_mm is None and windows[0].at_along_mm is None:
        return tuple(windows * many)
    if many != len(windows):
        cure = "describe every window, or correct windows_per_note"
        raise BadValue("windows_per_note", many, f"the file describes {len(windows)}", cure)
    return tuple(windows)


def _noted(windows: tuple[Window, ...], notes: int, pitch: float, top: Mapping[str, Any]) -> tuple[Window, ...]:
    """The windows of one note, set down for every note of the repeat."""
    given = [key for key in ("note_along", "first_note") if key in top]
    if "notes_per_repeat" not in top:
        if given:
            true = "the file does not say how many notes a repeat holds"
            raise BadValue(f"{given[0]}_mm", top[given[0]], true, "add notes_per_repeat, or leave it out")
        return windows
    first = _length(top.get("first_note", 0), "first_note_mm")
    note = _length(top["note_along"], "note_along_mm") if "note_along" in top else (pitch - first) / notes
    if first < 0 or note <= 0 or first + notes * note > pitch + 1e-6:
        true = f"{notes} notes of {note:g} mm from {first:g} mm on take {first + notes * note:g} mm of {pitch:g}"
        raise BadValue("notes_per_repeat", notes, true, "correct note_along_mm or first_note_mm, or the pitch")
    return tuple(_in_note(one, n, k, first, note) for k in range(notes) for n, one in enumerate(windows))


def _in_note(one: Window, n: int, k: int, first: float, note: float) -> Window:
    """Window n of a note, in note k of the repeat."""
    if one.at_across_mm is None or one.at_along_mm is None:
        true = "with several notes a repeat its place in the note must be known"
        raise BadValue(f"windows[{n}]", None, true, "give at_across_mm and at_along_mm, its middle in the note")
    if not one.along_mm / 2 <= one.at_along_mm <= note - one.along_mm / 2:
        true = f"a window of {one.along_mm:g} mm then reaches out of its note of {note:g} mm"
        raise BadValue(f"windows[{n}].at_along_mm", one.at_along_mm, true, "give its middle within the note")
    return replace(one, at_along_mm=first + k * note + one.at_along_mm)


def _pitch(top: Mapping[str, Any]) -> tuple[float, float]:
    if "pitch" in top:
        return _pair(top["pitch"], "pitch")
    return _needed(top, "pitch_across", "pitch_across_mm"), _needed(top, "pitch_along", "pitch_along_mm")


def _there(top: Mapping[str, Any], key: str) -> Any:
    if key not in top:
        raise BadValue(key, None, f"the layout has {', '.join(top) or 'nothing'}, not this", f"write {EXAMPLES[key]}")
    return top[key]


def _needed(top: Mapping[str, Any], key: str, shown: str) -> float:
    return _length(_there(top, key), shown)


def _length(value: object, field: str) -> float:
    """Mm of a number, or of text with a unit."""
    if isinstance(value, str):
        text = value.strip().removesuffix("/px").removesuffix("/pixel").removesuffix(" per pixel")
        return float(parse(text, LENGTH, field)) * 1e3
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < LONGEST:
        raise BadValue(field, str(value)[:40], "that is no length", "give mm as a number, or text as '150 mm'")
    return float(value)


def _pair(value: object, field: str) -> tuple[float, float]:
    if isinstance(value, str):  # "20 x 14 mm"
        *first, last = re.split(r"\s*[x\u00d7,]\s*", value.strip())
        unit = re.sub(r"^[\d.\s]+", "", last)
        value = [one if re.search("[a-z]", one) else f"{one} {unit or 'mm'}" for one in (*first, last)]
    if not isinstance(value, list) or len(value) != 2:
        raise BadValue(field, value, "that is no pair of lengths", "give [across, along] in mm")
    return _length(value[0], field), _length(value[1], field)


def _whole(value: object, field: str) -> int:
    """A count, 1 or more; of a list of names, how many."""
    value = len(value) if isinstance(value, list) else value
    if isinstance(value, bool) or not isinstance(value, int | float) or not 1 <= value <= MOST or value % 1:
        raise BadValue(field, str(value)[:40], "that is no count", f"give a whole number, 1 to {MOST:,}")
    return int(value)


def _rollers(written: Mapping[str, Any]) -> tuple[tuple[str, float], ...]:
    """Circumferences by name, mm."""
    table: object = next((v for k, v in written.items() if _key(k) in {"rollers", "rollers_circumference"}), {})
    if not isinstance(table, Mapping):
        raise BadValue("rollers", table, "that is no table", "write [rollers] with nip = 628.3, circumferences in mm")
    return tuple((str(name), _length(value, f"rollers.{name}")) for name, value in table.items())


def _unused(top: Mapping[str, Any], tables: list[dict[str, Any]]) -> Iterator[str]:
    """What nothing here reads."""
    yield from (f"layout.toml: {key} is not known and not used" for key in top
                if key not in TOP and not key.startswith("window_"))  # fmt: skip
    for n, table in enumerate(tables):
        yield from (f"layout.toml: windows[{n}].{key} is not known and not used" for key in table if key not in WINDOW)
