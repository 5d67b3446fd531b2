"""The camera's frames of a planned stretch, drawn and written as `reelmark window read` wants them.

    write_frames(roll, folder)      folder/frames.csv, layout.toml, 000.tif ...
    counts(roll)                    expected, seen, missing, not_seen: by the plan alone, to judge

The web is one: a window that two frames show is the same in both, and the web wanders slowly under the camera.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..frames import Picture
from .frames import Fault as Drawn
from .frames_paint import Scene, Spot, Strip, Web, paint
from .windowplan import HOLE_MM, NOTE_WINDOW, ROLLERS, WindowRoll

__all__ = ["counts", "pictures", "write_frames"]

SPEED: Final = 2.5  # m/s
DARK: Final = 0.02  # of the lamp's light, where its flash failed
EDGE_MM: Final = 20.0  # of the camera's field beside the lane's columns, both sides together
WANDER_MM: Final = 0.3  # from frame to frame


def pictures(roll: WindowRoll) -> Iterator[tuple[int, Picture]]:
    """(flash, picture) of every flash that gave one."""
    scene = _scene(roll)
    rng = np.random.default_rng(roll.seed)
    shape = (roll.flashes * roll.each + 6, roll.layout.lanes, len(roll.layout.windows), 2)
    jitter, size = rng.normal(0, scene.jitter_mm, shape), rng.normal(0, scene.size_sd_mm, shape)
    left = np.cumsum(rng.normal(0, WANDER_MM, roll.flashes))
    for flash in range(roll.flashes):
        if flash != roll.lost:
            drawn = np.random.default_rng([roll.seed, flash])
            yield flash, _picture(roll, scene, flash, float(left[flash] - left.mean()), jitter, size, drawn)


def _scene(roll: WindowRoll) -> Scene:
    """A good lens, and a picture that ends at the borders of notes."""
    layout = roll.layout
    rows = round((roll.each * layout.pitch_along_mm + roll.note_mm) / layout.mm_per_pixel)
    columns = round((layout.lanes * layout.pitch_across_mm + EDGE_MM) / layout.mm_per_pixel)
    return Scene(layout, rows, columns, k1=5e-4, mottle=0.03, jitter_mm=0.05, size_sd_mm=0.03)


def _picture(
    roll: WindowRoll, scene: Scene, flash: int, left: float, jitter: NDArray[np.float64], size: NDArray[np.float64],
    rng: np.random.Generator,
) -> Picture:  # fmt: skip
    layout, start = roll.layout, roll.starts(flash)
    first = int(start // layout.pitch_along_mm) - 1
    turn, shear, stretch = rng.normal(0, (scene.rotation_rad / 3, scene.shear, scene.stretch))
    bend = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn) + shear, np.cos(turn) * (1 + stretch)]])
    web = Web(scene, bend, EDGE_MM / 2 + left, first * layout.pitch_along_mm - start)
    many = roll.each + 3
    nodes = np.stack(np.meshgrid(range(many), range(layout.lanes), range(len(layout.windows)), indexing="ij"), -1)
    nodes = nodes.reshape(-1, 3)
    whole = np.array([(one.across_mm, one.along_mm) for one in layout.windows])[nodes[:, 2]]
    at = tuple((nodes + np.array([first + 2, 0, 0])).T)
    faults = {(one.repeat - first, one.column, one.window): Drawn(one.kind, 0.0, 0.0, size_mm=one.size_mm,
                                                                  share=one.share) for one in roll.faults}  # fmt: skip
    light = (DARK,) if flash == roll.dark else (1.0,)
    places = (nodes, jitter[at], whole + size[at], faults, *_coat(roll, web, flash, first))
    return paint(rng, scene, web, *places, light)[0]


def _coat(roll: WindowRoll, web: Web, flash: int, first: int) -> tuple[list[Spot], list[Strip]]:
    """Holes and streak as they lie in the picture."""
    pitch = roll.layout.pitch_along_mm
    places = web.place(np.array([(roll.hole_mm, along - first * pitch) for along in roll.holes_mm]))
    spots = [Spot(float(x), float(y), HOLE_MM, web.scene.passes) for x, y in places]
    across, wide, share, begin, end = roll.streak
    return spots, [Strip(web.left_mm + across, wide, share)] if begin <= flash <= end else []


def write_frames(roll: WindowRoll, folder: Path) -> None:
    """Frames, their list and the layout; the same plan gives the same bytes."""
    import tifffile  # slow to load, and wanted here only

    folder.mkdir(parents=True)
    lines = ["file,encoder_mm,flash,time_s"]
    for flash, picture in pictures(roll):
        name, encoder = f"{flash:03d}.tif", roll.encoder(flash)
        tifffile.imwrite(folder / name, picture)
        lines.append(f"{name},{encoder:.2f},{flash},{encoder / 1e3 / SPEED:.4f}")
    _write(folder / "frames.csv", lines)
    _write(folder / "layout.toml", _layout_lines(roll))


def _layout_lines(roll: WindowRoll) -> Iterator[str]:
    layout, one = roll.layout, NOTE_WINDOW
    first = (layout.windows[0].at_along_mm or 0.0) - (one.at_along_mm or 0.0)
    yield f"# The camera over lane {roll.lane} of {roll.name}; the repeat is the cut-off of a sheet"
    yield f"pitch_across_mm = {layout.pitch_across_mm:g}"
    yield f"pitch_along_mm = {layout.pitch_along_mm:g}"
    yield f"notes_per_repeat = {layout.notes_per_repeat}"
    yield f"note_along_mm = {roll.note_mm:g}"
    yield f"first_note_mm = {first:g}"
    yield f"mm_per_pixel = {layout.mm_per_pixel:g}"
    yield f"lanes = {layout.lanes}"
    yield f"over_lane = {roll.lane}"
    yield "\n[[windows]]"
    for name in ("across_mm", "along_mm", "corner_mm", "at_across_mm", "at_along_mm"):
        yield f"{name} = {getattr(one, name):g}"
    yield "\n[rollers]"
    yield from (f"{name} = {mm:g}" for name, mm in ROLLERS.items())


def _write(path: Path, lines: Iterator[str] | list[str]) -> None:
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def counts(roll: WindowRoll) -> dict[str, int]:
    """What became of every window between the first picture's beginning and the last one's end."""
    layout, high = roll.layout, _scene(roll).rows * roll.layout.mm_per_pixel
    shown = [n for n in range(roll.flashes) if n not in (roll.lost, roll.dark)]
    gone = {(one.repeat, one.column, one.window) for one in roll.faults if one.kind == "missing"}
    told = dict.fromkeys(("expected", "seen", "missing", "not_seen"), 0)
    for i in range(roll.flashes * roll.each + 2):
        for w, one in enumerate(layout.windows):
            low = i * layout.pitch_along_mm + (one.at_along_mm or 0.0) - one.along_mm / 2
            inside = [n for n in range(roll.flashes) if 0 <= low - roll.starts(n) <= high - one.along_mm]
            for lane in range(layout.lanes if inside else 0):
                seen = "missing" if (i, lane, w) in gone else "seen"
                told["expected"] += 1
                told[seen if set(inside) & set(shown) else "not_seen"] += 1
    return told
