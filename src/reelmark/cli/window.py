"""The camera over the windows on the command line: read a folder of frames, set the strobe."""

from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Annotated, Any, Optional

import typer

from .film_given import circumferences, in_si
from .show import as_json, group, guarded, out, say, table
from .window_frames import looks_at

__all__ = ["app"]

app = group("The clear windows: what a strobed camera over the web says of them.")
Json = Annotated[bool, typer.Option("--json", help="One JSON document, for machines.")]
Text = Optional[str]  # noqa: UP045
Texts = Optional[list[str]]  # noqa: UP045
File = Optional[Path]  # noqa: UP045  what typer reads
SHOWN = 40  # rows of a table for people
STROBE = {
    "repeats": ("repeats from flash to flash", ""), "flash_hz": ("flashes", "1/s"),
    "field_mm": ("web in a frame, along", "mm"), "overlap_mm": ("of that, in the next frame too", "mm"),
    "longest_flash_us": ("longest flash", "us"), "pixels": ("picture, across by along", "pixels"),
    "mpx_s": ("data, a byte a pixel", "MB/s"), "mb_roll": ("data of a roll", "MB"),
    "frames_roll": ("frames of a roll", ""), "windows_roll": ("windows of a roll, one lane", ""),
    "drift_mm": ("encoder and lattice part, a frame", "mm"),
    "lost_after_m": ("the encoder alone is half a repeat off after", "m"),
    "one_off_m": ("and a whole repeat off after", "m"), "adrift_mm": ("off at the roll's end", "mm"),
    "repeats_off": ("that is, whole repeats", ""), "edge_var_px2": ("blur adds to an edge's variance", "pixel2"),
}  # fmt: skip


@app.command()
@guarded
def read(
    source: Annotated[
        Path,
        typer.Argument(
            help="Folder with frames.csv, layout.toml and the pictures; or a stream: a pipe, a file, - .",
            metavar="FOLDER|STREAM",
            allow_dash=True,
        ),
    ],
    layout: Annotated[File, typer.Option(help="The layout, where it lies elsewhere; a stream needs it.")] = None,
    live: Annotated[
        bool, typer.Option("--live", help="Of a stream that does not wait: book what is not looked at in time.")
    ] = False,
    workers: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option(help="Processes that look; 0: none but this one. As many as cores without it.", min=0, max=64),
    ] = None,
    keep: Annotated[File, typer.Option(help="Folder to keep the reading in, with pictures of what is found.")] = None,
    roll_name: Annotated[
        Text, typer.Option("--roll", help="The roll, as the journal names it; the folder's name.")
    ] = None,
    roller: Annotated[Texts, typer.Option(help="Circumference of a roller, m: nip=0.628; again for more.")] = None,
    json: Json = False,
) -> None:
    """Every window of a roll accounted for: seen, missing, or not seen and why; what is wrong, by metre and lane."""
    from ..acts.window_view import kept_answer
    from ..io.windowkept import keep_reading
    from ..seeing import kept
    from ..stations.window.roll import read_roll

    with ExitStack() as open_:
        looks = looks_at(source, layout, workers, keep is not None, live, open_)
        rollers = dict(looks.told.rollers_mm) | {name: m * 1e3 for name, m in circumferences(roller).items()}
        seen = _watched(looks.seen, looks.many, json)
        roll = read_roll(kept(seen, keep) if keep else seen, looks.told.layout, looks.told.index_every, rollers)
    told = kept_answer(roll, looks.told.layout, looks.notes, rollers, over_lane=looks.told.over_lane)
    if keep:
        keep_reading(keep, roll_name or looks.name, told)
    answer = told["answer"]
    if json:
        as_json(answer)
    else:
        _show(answer)


def _watched(seen: Iterable[Any], many: int | None, quiet: bool) -> Iterator[Any]:
    """As they come, with a progress bar when a person looks."""
    from rich.progress import track

    yield from track(seen, "looking", total=many, disable=quiet or not out.is_terminal, console=out)


def _show(answer: dict[str, Any]) -> None:
    """For people: the count first."""
    frames = answer["frames"]
    sums = " + ".join(f"{answer[what]:,} {what.replace('_', ' ')}" for what in ("seen", "missing", "not_seen"))
    say(f"{answer['expected']:,} windows expected = {sums}" + ("" if answer["closes"] else ": DOES NOT CLOSE"))
    say(f"{frames['used']:,} of {frames['given']:,} frames used, {frames['lost_flashes']:,} flashes without a frame")
    rows = [[k, m["metre_m"], m["lane"], m["offset_mm"], m["severity"]] for m in answer["marks"] for k in (m["kind"],)]
    table("Marks", ["kind", "metre", "lane", "offset mm", "over limit"], rows[:SHOWN])
    _more(len(rows))
    table("Not seen", ["from m", "to m", "windows", "why"],
          [[g["from_m"], g["to_m"], g["windows"], ", ".join(f"{why} ({n})" for why, n in g["why"].items())]
           for g in answer["gaps"][:SHOWN]])  # fmt: skip
    _more(len(answer["gaps"]))
    table(
        "Frames not used",
        ["file", "flash", "why"],
        [[b["file"], b["flash"], b["why"]] for b in answer["booked"][:SHOWN]],
    )
    _more(len(answer["booked"]))
    table("Windows and camera", ["what", "is"], [[k, v] for part in ("windows", "focus", "lamp")
                                                for k, v in answer[part].items()])  # fmt: skip
    ppm = {"repeat": answer["repeat_ppm"], "encoder": answer["encoder_ppm"]}
    say(*(f"{name} off by {value:+,.0f} ppm" for name, value in ppm.items() if value is not None))
    say(*(f"  {note}" for note in answer["notes"]), "", *(f"Caution: {one}" for one in answer["cautions"]))


def _more(many: int) -> None:
    if many > SHOWN:
        say(f"… and {many - SHOWN:,} more; --json gives all")


@app.command()
@guarded
def strobe(
    speed: Annotated[str, typer.Option(help='Of the web: "120 m/min".')],
    pitch: Annotated[str, typer.Option(help='Repeat along the web: "70 mm".')],
    pixel: Annotated[str, typer.Option(help='Of web that a pixel shows: "0.4 mm".')],
    rows: Annotated[int, typer.Option(help="Of a frame, pixels along the web.", min=1)] = 2048,
    width: Annotated[str, typer.Option(help="Of web that the camera shows.")] = "1 m",
    window: Annotated[Text, typer.Option(help="A window's length along; a fifth of the repeat without it.")] = None,
    blur: Annotated[Text, typer.Option(help="Allowed; a quarter of a pixel without it.")] = None,
    encoder_ppm: Annotated[float, typer.Option(help="By how much the encoder's wheel is wrong.")] = 0.0,
    roll_length: Annotated[str, typer.Option(help="Of a roll.")] = "8 km",
    json: Json = False,
) -> None:
    """Settings of the strobe: flashes, longest flash, data, and what an encoder's error does to the count."""
    from ..acts.window import strobe_answer
    from ..frames import Window, WindowLayout

    asked = {"pitch": pitch, "pixel": pixel, "width": width, "window": window, "blur": blur, "roll-length": roll_length}
    mm = {name: None if text is None else 1e3 * (in_si(name, text, "LENGTH") or 0) for name, text in asked.items()}
    repeat, wide = mm["pitch"] or 0.0, mm["width"] or 0.0
    along = repeat / 5 if mm["window"] is None else mm["window"]
    layout = WindowLayout(wide, repeat, (Window(min(along, wide / 2), along),), mm["pixel"] or 0.0, 1)
    answer = strobe_answer(
        layout, 60 * (in_si("speed", speed, "SPEED") or 0), rows=rows, blur_mm=mm["blur"], encoder_ppm=encoder_ppm,
        roll_m=(mm["roll-length"] or 0) / 1e3, web_mm=wide,
    )  # fmt: skip
    if json:
        as_json(answer)
        return
    table(
        "Strobe", ["what", "is", "unit"], [[what, _figure(answer[key]), unit] for key, (what, unit) in STROBE.items()]
    )
    say(*(f"Caution: {one}" for one in answer["cautions"]))


def _figure(value: Any) -> str:
    """Four digits of a number; what is without end is never reached."""
    if isinstance(value, float):
        return f"{value:,.4g}" if abs(value) < 1e4 else f"{value:,.0f}"
    return (
        "never"
        if value is None
        else " x ".join(f"{one:,}" for one in value)
        if isinstance(value, tuple)
        else f"{value:,}"
    )
