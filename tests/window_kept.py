"""A small kept reading of a roll of the small order, written by hand: counts, metres and marks as chosen here.

600 windows expected of 100 repeats in 6 lanes = 590 seen + 4 missing + 6 not seen, by hand.
"""

from copy import deepcopy
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from reelmark.io.frames_kept import keep_picture
from reelmark.io.windowkept import keep_reading

AT = datetime(2027, 1, 5, 6, 0, tzinfo=UTC)
KINDS = ("missing", "half filled", "shifted pass", "size", "dirty", "pinhole", "streak")
LAYOUT = {"pitch_across_mm": 150.0, "pitch_along_mm": 70.0, "mm_per_pixel": 0.5, "lanes": 6,
          "windows": [{"across_mm": 20.0, "along_mm": 14.0, "corner_mm": 3.0, "at_across_mm": 75.0,
                       "at_along_mm": 35.0}]}  # fmt: skip
WINDOWS = {"centre_sd_um": 20.0, "centre_across_sd_um": 20.0, "centre_along_sd_um": 10.0, "size_across_mm": 20.0,
           "size_along_mm": 14.0, "size_across_sd_um": 20.0, "size_along_sd_um": 1.0, "edge_across_um": 400.0,
           "edge_along_um": 400.0, "edge_across_sd_um": 5.0, "edge_along_sd_um": 0.1}  # fmt: skip


def mark(n: int, kind: str, metre: float, lane: int, severity: float) -> dict[str, Any]:
    of_window = {"repeat": round(metre / 0.07), "window": 0} if kind not in {"pinhole", "streak"} else {}
    return {"kind": kind, "metre_m": metre, "lane": lane, "across_mm": 10.0, "offset_mm": 0.4 if n == 3 else None,
            "size_mm": 1.0, "severity": severity, "part": 1, "flash": n, "file": f"f{n}.png", **of_window}  # fmt: skip


def answer() -> dict[str, Any]:
    marks = [mark(n, kind, 1.0 + n, 1 + n % 6, 1.0 + n) for n, kind in enumerate(KINDS, 1)]
    marks[-1]["to_m"] = 12.0
    return {
        "expected": 600, "seen": 590, "not_seen": 6, "missing": 4, "closes": True, "marks": marks, "windows": WINDOWS,
        "frames": {"given": 22, "used": 20, "booked": 2, "lost_flashes": 1, "why": {"dark": 2}},
        "booked": [{"file": "f8.png", "flash": 8, "encoder_mm": 3000.0, "why": "dark: its median is 3; see the lamp"}],
        "gaps": [{"part": 1, "from_m": 3.0, "to_m": 3.07, "repeats": 1, "windows": 6, "why": {"dark": 1}}],
        "slips": [{"metre_m": 5.0, "slip_mm": 20.0}], "phase_doubtful_m": [],
        "parts": [{"part": 1, "from_m": 0.0, "to_m": 7.0, "frames": 20, "expected": 600, "seen": 590, "missing": 4,
                   "not_seen": 6}],
        "rollers": [{"roller": "nip", "circumference_mm": 628.3, "at_mm": 100.0, "z": 9.0, "times": 11.0}],
        "repeat_ppm": 120.0, "encoder_ppm": -50.0, "focus": {"edge_sd_um": 400.0, "worst_um": 900.0},
        "lamp": {"window_grey": 180.0, "darkest_grey": 100.0, "coat_grey": 20.0}, "notes": ["a note"],
        "cautions": ["heed this"],
    }  # fmt: skip


def told() -> dict[str, Any]:
    """Ten stretches; lane 2 is 0.2 mm off across in the last of them, and lane 6 was not measured in the first."""
    level = {"offset": 0.0, "size": 20.0, "edge": 0.4}
    value: dict[str, Any] = {}
    for name in ("offset_across_mm", "offset_along_mm", "size_across_mm", "size_along_mm", "edge_across_mm",
                 "edge_along_mm"):  # fmt: skip
        usual = 14.0 if name == "size_along_mm" else level[name.split("_")[0]]
        value[name] = [[usual] * 6 for _ in range(10)]
    value["offset_across_mm"][9][1] = 0.2
    value["size_across_mm"][0][5] = None
    trends = {"metre_m": [0.35 + 0.7 * n for n in range(10)], "value": value}
    return deepcopy({"answer": answer(), "trends": trends, "limits": {}, "layout": LAYOUT, "rollers_mm": {"nip": 628.3},
                     "camera": {"core_m": 0.0, "first_column": 1}})  # fmt: skip


def keep(works: Path, roll: str = "F01", made: dict[str, Any] | None = None, name: str = "") -> Path:
    """Pictures of all marks but the last, and the reading, in the works' folder; the folder."""
    made = told() if made is None else made
    at = works / "windows" / (name or roll)
    for n, one in enumerate(made["answer"]["marks"][:-1]):
        grey = np.full((40, 30 + n), 20 * (n % 12), np.uint8)
        png, thumb = (cv2.imencode(".png", part)[1].tobytes() for part in (grey, grey[::2, ::2]))
        kept = keep_picture(at, f"{n}-{one['kind']}", png, thumb)
        one |= {"crop": kept.file, "thumb": kept.thumb, "sha256": kept.sha256}
    keep_reading(at, roll, made, AT)
    return at
