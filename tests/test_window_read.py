"""A folder of frames read to a verdict that closes; every bad input booked; marks into the thread.

Truth is the demo's (demo/frames.py), which draws windows from outlines and shares no code with the reader.  Counts of
windows are by hand: repeats x lanes x windows a note.
"""

import csv
import json
import sys
from pathlib import Path
from typing import Any
from unittest.mock import patch

import cv2
import numpy as np
import pytest
import tifffile
from typer.testing import CliRunner

from reelmark.acts.window import window_marks
from reelmark.cli.app import app
from reelmark.demo.frames import Drawn, Faults, Scene, draw, roll
from reelmark.errors import BadValue, NotThere, Problem
from reelmark.frames import Frame, Window, WindowLayout
from reelmark.io.frames import Folder, read_rows
from reelmark.io.frames_picture import bits_of, read_picture
from reelmark.io.layout import layout_of, read_layout
from small_demo import made

LAYOUT = WindowLayout(150.0, 70.0, (Window(20.0, 14.0, 3.0, 75.0, 35.0),), 0.5, 2)
SCENE = Scene(
    LAYOUT, rows=760, columns=680, jitter_mm=0.02, size_sd_mm=0.01, k1=0.0
)  # 380 mm along: five repeats, and 0.43
STEP = 5  # repeats a frame
FRAMES = 12
WINDOWS = STEP * 2  # that a frame adds, in two lanes
TOML = """pitch_across_mm = 150
pitch_along_mm = 70
windows_per_note = 1
mm_per_pixel = 0.5
lanes = 2
[[windows]]
across_mm = 20
along_mm = 14
corner_mm = 3
at_across_mm = 75
at_along_mm = 35
"""
Row = list[Any]


@pytest.fixture(scope="module")
def frames() -> list[tuple[Frame, Drawn]]:
    return list(roll(SCENE, 11, FRAMES, repeats=STEP))


def write(at: Path, frames: list[tuple[Frame, Drawn]], layout: str = TOML) -> list[Row]:
    """A folder of them; its rows, to be spoilt."""
    at.mkdir(exist_ok=True)
    (at / "layout.toml").write_text(layout, encoding="utf-8")
    rows: list[Row] = [["file", "encoder_mm", "flash", "time_s"]]
    for frame, _ in frames:
        tifffile.imwrite(at / f"{frame.name}.tif", frame.picture)
        rows.append([f"{frame.name}.tif", frame.encoder_mm, frame.flash, frame.time_s])
    put(at, rows)
    return rows


def put(at: Path, rows: list[Row]) -> None:
    with (at / "frames.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)


def read(at: Path, code: int = 0, *more: str) -> dict[str, Any]:
    """What the command says."""
    words = ["window", "read", str(at), "--json", "--workers", "0", *more]
    with patch.object(sys, "argv", words):  # where errors look for --json
        ran = CliRunner().invoke(app, words)
    assert ran.exit_code == code, ran.output
    answer: dict[str, Any] = json.loads(ran.stdout)
    return answer


def closes(answer: dict[str, Any]) -> bool:
    return bool(answer["expected"] == answer["seen"] + answer["not_seen"] + answer["missing"]) and answer["closes"]


def whole(frames: list[tuple[Frame, Drawn]]) -> int:
    """Windows of the roll, by the truth: from the first that is wholly seen to the last, of both lanes."""
    numbers = set()
    zero = frames[0][0].encoder_mm + frames[0][1].phase_mm
    for frame, drawn in frames:
        first = round((frame.encoder_mm + drawn.phase_mm - zero) / 70.0)
        numbers |= {(first + int(i), int(lane)) for i, lane, _ in drawn.nodes}
    return sum(max(n for n, on in numbers if on == lane) - min(n for n, on in numbers if on == lane) + 1
               for lane in (0, 1))  # fmt: skip


def test_a_clean_roll_is_seen_whole(frames, tmp_path):
    write(tmp_path, frames)
    answer = read(tmp_path)
    assert closes(answer)
    assert (answer["expected"], answer["missing"], answer["not_seen"]) == (whole(frames), 0, 0)
    assert answer["frames"] | {"why": {}} == {"given": 12, "used": 12, "booked": 0, "lost_flashes": 0, "why": {}}
    assert [one["kind"] for one in answer["marks"]] == []
    assert {"centre_sd_um", "size_across_mm", "edge_along_um"} <= answer["windows"].keys()
    assert answer["windows"]["centre_sd_um"] == pytest.approx(20, rel=0.3)  # um, the planted jitter
    assert answer["windows"]["size_across_mm"] == pytest.approx(20, abs=0.06)  # mm, the layout
    assert {"rollers", "repeat_ppm", "focus", "lamp", "notes", "cautions"} <= answer.keys()


def test_faults_are_told_by_metre_and_lane(tmp_path):
    # each repeat in one frame only (step six, five seen, or six): the truth of one frame is not another's
    planted = list(roll(SCENE, 4, 20, Faults(1, 0.5, 0, 0, 0, 0), repeats=6))
    write(tmp_path, planted)
    answer = read(tmp_path)
    assert closes(answer)
    for kind in ("missing", "half filled"):
        truth = [
            (frame.encoder_mm + one.y_mm, one.lane + 1)
            for frame, drawn in planted
            for one in drawn.faults
            if one.kind == kind
        ]
        told = [(one["metre_m"] * 1e3, one["lane"]) for one in answer["marks"] if one["kind"] == kind]
        assert len(truth) == len(told) > 3
        assert all(any(abs(at - y) < 2 and lane == on for y, on in told) for at, lane in truth), kind  # mm
    assert answer["missing"] == sum(one.kind == "missing" for _, drawn in planted for one in drawn.faults)


# ---- what can be wrong with a folder: in each case two frames in the middle are spoilt, 5 and 6


def dark(at, rows):
    for n in (5, 6):
        tifffile.imwrite(at / rows[n + 1][0], np.full((760, 680), 2, np.uint8))


def saturated(at, rows):
    for n in (5, 6):
        tifffile.imwrite(at / rows[n + 1][0], np.full((760, 680), 255, np.uint8))


def blurred(at, rows):
    for n in (5, 6):
        path = at / rows[n + 1][0]
        tifffile.imwrite(path, cv2.GaussianBlur(tifffile.imread(path), (0, 0), 12))


def other_size(at, rows):
    for n in (5, 6):
        path = at / rows[n + 1][0]
        tifffile.imwrite(path, tifffile.imread(path)[:500])


def truncated(at, rows):
    for n in (5, 6):
        path = at / rows[n + 1][0]
        path.write_bytes(path.read_bytes()[:200_000])


def no_picture(at, rows):
    for n in (5, 6):
        (at / rows[n + 1][0]).write_text("this is not a picture")


def missing_file(at, rows):
    for n in (5, 6):
        (at / rows[n + 1][0]).unlink()


def no_window(at, rows):
    rng = np.random.default_rng(1)
    for n in (5, 6):
        tifffile.imwrite(at / rows[n + 1][0], rng.normal(19, 2, (760, 680)).astype(np.uint8))


def no_number(at, rows):
    rows[6][1], rows[7][1] = "nan", ""
    put(at, rows)


def no_flash(at, rows):
    rows[6][2], rows[7][2] = "x", "5.5"
    put(at, rows)


def encoder_back(at, rows):
    rows[6][1] = -4000.0
    rows[7][1] = 10.0
    put(at, rows)


def other_folder(at, rows):
    rows[6][0], rows[7][0] = "../../secret.tif", "/etc/hostname"
    put(at, rows)


def empty_file(at, rows):
    for n in (5, 6):
        (at / rows[n + 1][0]).write_bytes(b"")


def folder_for_a_picture(at, rows):
    for n in (5, 6):
        (at / rows[n + 1][0]).unlink()
        (at / rows[n + 1][0]).mkdir()


def link_to_itself(at, rows):
    for n in (5, 6):
        (at / rows[n + 1][0]).unlink()
        (at / rows[n + 1][0]).symlink_to(at / rows[n + 1][0])


def one_pixel(at, rows):
    for n in (5, 6):
        tifffile.imwrite(at / rows[n + 1][0], np.zeros((1, 1), np.uint8))


def floats(at, rows):
    for n in (5, 6):
        tifffile.imwrite(at / rows[n + 1][0], np.zeros((760, 680), np.float32))


def commas_in_numbers(at, rows):
    # a comma for the point, in a file whose cells commas part
    text = (at / "frames.csv").read_text().splitlines()
    for n in (6, 7):
        text[n] = f"{rows[n][0]},{str(rows[n][1]).replace('.', ',')},{rows[n][2]},0,5"
    (at / "frames.csv").write_text("\n".join(text))


def same_picture_again(at, rows):
    rows[6][0], rows[7][0] = rows[1][0], rows[2][0]
    put(at, rows)


@pytest.mark.parametrize(
    "spoil",
    [folder_for_a_picture, link_to_itself, one_pixel, floats, commas_in_numbers, same_picture_again,
     dark, saturated, blurred, other_size, truncated, no_picture, missing_file, no_window, no_number, no_flash,
     encoder_back, other_folder, empty_file],
)  # fmt: skip
def test_a_bad_frame_is_booked_and_the_count_closes(frames, tmp_path, spoil):
    spoil(tmp_path, write(tmp_path, frames))
    answer = read(tmp_path)
    assert closes(answer)
    assert answer["expected"] == whole(frames)
    assert answer["frames"]["booked"] == len(answer["booked"]) == 2
    assert all(one["why"] for one in answer["booked"])
    # the two frames' windows, less those that the frames about them show too
    assert 2 * WINDOWS - 4 <= answer["not_seen"] <= 2 * WINDOWS
    assert sum(gap["windows"] for gap in answer["gaps"]) == answer["not_seen"]
    assert all(gap["why"] for gap in answer["gaps"])


def test_frames_that_were_never_written_are_a_counted_gap(frames, tmp_path):
    rows = write(tmp_path, frames)
    put(tmp_path, rows[:4] + rows[7:])
    answer = read(tmp_path)
    assert closes(answer)
    assert (answer["expected"], answer["frames"]["lost_flashes"]) == (whole(frames), 3)
    assert answer["gaps"][0]["why"] == {"flash without a frame": 3}
    assert any("frames.csv does not name" in note for note in answer["notes"])


@pytest.mark.parametrize("at", [0, FRAMES - 1])
def test_a_dark_frame_at_an_end_is_expected_too(frames, tmp_path, at):
    rows = write(tmp_path, frames)
    tifffile.imwrite(tmp_path / rows[at + 1][0], np.zeros((760, 680), np.uint8))
    answer = read(tmp_path)
    assert closes(answer)
    assert answer["expected"] == whole(frames)
    assert answer["not_seen"] >= WINDOWS - 2


def test_an_upside_down_frame_is_booked(tmp_path):
    # the window sits off the cell's middle here; one in the middle of its cell looks the same both ways
    some = list(roll(Scene(WindowLayout(150.0, 70.0, (Window(20, 14, 3, 60, 25), Window(9, 12, 2, 110, 45)), 0.5, 2),
                           rows=760, columns=680), 3, 10, repeats=STEP))  # fmt: skip
    second = "[[windows]]\nacross_mm = 9\nalong_mm = 12\ncorner_mm = 2\nat_across_mm = 110\nat_along_mm = 45\n"
    toml = TOML.replace("= 75", "= 60").replace("= 35", "= 25").replace("note = 1", "note = 2") + second
    rows = write(tmp_path, some, toml)
    tifffile.imwrite(tmp_path / rows[5][0], tifffile.imread(tmp_path / rows[5][0])[::-1, ::-1].copy())
    answer = read(tmp_path)
    assert closes(answer)
    assert [one["file"] for one in answer["booked"]] == [rows[5][0]]


def test_pictures_that_run_against_the_encoder_are_read_turned_over(tmp_path):
    rng = np.random.default_rng(8)
    some = []
    for n in range(12):
        encoder = 350.0 * n + rng.uniform(-16, 16)  # far enough from whole repeats for the way round to matter
        one = draw(SCENE, 900 + n, phase_mm=float((31.0 - encoder) % 70))
        some.append((Frame(one.picture[::-1].copy(), encoder, n, 0.1 * n, f"f{n}"), one))
    write(tmp_path, some)
    answer = read(tmp_path)
    assert any("against the encoder" in note for note in answer["notes"])
    assert closes(answer)
    assert (answer["not_seen"], answer["missing"], answer["phase_doubtful_m"]) == (0, 0, [])


def test_a_frame_twice_is_counted_once(frames, tmp_path):
    rows = write(tmp_path, frames)
    put(tmp_path, [*rows, rows[3]])
    answer = read(tmp_path)
    assert closes(answer)
    assert (answer["expected"], answer["seen"]) == (whole(frames), whole(frames))
    assert "there already" in answer["booked"][0]["why"]


def test_a_clock_that_runs_back_counts_nothing_wrong(frames, tmp_path):
    rows = write(tmp_path, frames)
    rows[6][3], rows[9][3] = -5.0, "nan"
    put(tmp_path, rows)
    answer = read(tmp_path)
    assert closes(answer)
    assert answer["seen"] == whole(frames)
    assert any("clock runs back" in note for note in answer["notes"])


def test_rows_in_any_order_are_put_in_order(frames, tmp_path):
    rows = write(tmp_path, frames)
    put(tmp_path, [rows[0], *rows[:0:-1]])
    assert read(tmp_path)["seen"] == whole(frames)


def test_an_encoder_that_counts_down_is_read(frames, tmp_path):
    rows = write(tmp_path, frames)
    for row in rows[1:]:
        row[1] = 1e5 - row[1]
    put(tmp_path, rows)
    answer = read(tmp_path)
    assert any("counts down" in note for note in answer["notes"])
    assert closes(answer)
    assert answer["seen"] == whole(frames)


def test_two_rolls_in_one_folder_are_counted_apart(frames, tmp_path):
    rows = write(tmp_path, frames)
    other = list(roll(SCENE, 12, 8, repeats=STEP))
    more = []
    for frame, _ in other:
        name = f"other-{frame.flash}.tif"
        tifffile.imwrite(tmp_path / name, frame.picture)
        more.append([name, frame.encoder_mm + 90_000, frame.flash, frame.time_s + 1000])
    put(tmp_path, [rows[0], *(one for pair in zip(rows[1:9], more, strict=True) for one in pair), *rows[9:]])
    answer = read(tmp_path)
    assert closes(answer)
    assert [part["frames"] for part in answer["parts"]] == [12, 8]
    assert answer["expected"] == whole(frames) + whole(other)
    assert any("more than one roll" in note for note in answer["notes"])


def test_an_encoder_that_begins_again_begins_a_part(frames, tmp_path):
    rows = write(tmp_path, frames)
    again = rows[7][1]
    for row in rows[7:]:
        row[1] -= again
    put(tmp_path, rows)
    answer = read(tmp_path)
    assert closes(answer)
    assert [part["frames"] for part in answer["parts"]] == [6, 6]


def test_not_one_frame_can_be_read_and_the_count_still_closes(frames, tmp_path):
    rows = write(tmp_path, frames)
    for row in rows[1:]:
        tifffile.imwrite(tmp_path / row[0], np.zeros((760, 680), np.uint8))
    answer = read(tmp_path)
    assert closes(answer)
    assert answer["seen"] == 0
    assert answer["not_seen"] == pytest.approx(whole(frames), abs=4)  # by the encoder alone


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"", "columns"), (b"file,encoder_mm,flash,time_s\n", "head and no rows"), (b"\xff\xfe\x00\x01", "no text"),
        (b"file;where;flash\na.tif;1;2\n", "encoder_mm"), (b"a,b\n1,2\n", "columns"), (b"file\x00,x", "zero bytes"),
    ],
)  # fmt: skip
def test_a_csv_that_is_none_is_refused_in_one_line(frames, tmp_path, text, says):
    write(tmp_path, frames[:1])
    (tmp_path / "frames.csv").write_bytes(text)
    assert says in read(tmp_path, 1)["error"]


def test_a_folder_that_is_none_is_refused_in_one_line(frames, tmp_path):
    assert "no such folder" in read(tmp_path / "nowhere", 1)["error"]
    (tmp_path / "empty").mkdir()
    assert "no such file" in read(tmp_path / "empty", 1)["error"]
    write(tmp_path, frames[:1])
    (tmp_path / "layout.toml").unlink()
    assert "layout" in read(tmp_path, 1)["error"]


@pytest.mark.parametrize("text", [
    "\ufefffile,encoder_mm,flash,time_s\r\na.tif,1500,3,0.25\r\n",
    "FILE ,Encoder_mm,flash,time_s\ra.tif, 1500 ,3,0.25\r",
    "file\tencoder_mm\tflash\ttime_s\na.tif\t1500,0\t3\t0,25", 'time_s,flash,encoder_mm,file\n0.25,3,1500,"a.tif"\n\n',
    "file;encoder_mm;flash;time_s;operator\na.tif;1500;3;0,25;A. N. Other\n;;;;\n",
], ids=["mark, CRLF", "CR, spaces, capitals", "tabs, commas", "other order, quoted", "semicolons, more"])  # fmt: skip
def test_a_csv_as_spreadsheets_write_it_is_read(tmp_path, text):
    (tmp_path / "frames.csv").write_bytes(text.encode())
    (row,) = read_rows(tmp_path / "frames.csv")
    assert (row.file, row.encoder_mm, row.flash, row.time_s, row.wrong) == ("a.tif", 1500.0, 3, 0.25, None)


@pytest.mark.parametrize(("line", "says"), [
    ("b.tif,770,5,1,0,308", "6 cells, the head 4"),  # decimal commas in a file of commas move all numbers by one
    ('"b.tif,770.5,1,0.3', "encoder_mm"), ("b.tif", "encoder_mm"), ("b.tif,770.5,1.5,0.3", "whole number"),
    ("b.tif,1e400,1,0.3", "encoder_mm"), ("b.tif,770.5,,0.3", "whole number"), ("..,770.5,1,0.3", "no file"),
    ("a.tif,770.5,1,0.3", "line 4 of frames.csv names it as line 2 does"), ("C:\\b.tif,770.5,1,0.3", "no file"),
])  # fmt: skip
def test_a_line_that_cannot_be_is_booked_and_no_other_is_lost(tmp_path, line, says):
    text = f"file,encoder_mm,flash,time_s\na.tif,0,0,0\n\n{line}\nc.tif,1540,2,0.6\n"
    (tmp_path / "frames.csv").write_text(text)
    rows = read_rows(tmp_path / "frames.csv")
    assert [row.wrong is None for row in rows] == [True, False, True]
    assert says in str(rows[1].wrong)
    assert (rows[2].file, rows[2].line) == ("c.tif", 5)


def test_a_semicolon_and_a_comma_for_the_point_are_read(tmp_path):
    (tmp_path / "frames.csv").write_text("name;encoder_m;flash_no;time\na.tif;1,5;3;0,25\n", encoding="utf-8-sig")
    (row,) = read_rows(tmp_path / "frames.csv")
    assert (row.file, row.encoder_mm, row.flash, row.time_s) == ("a.tif", 1500.0, 3, 0.25)


# ---- pictures


@pytest.mark.parametrize("how", ["raw", "zstd", "zlib", "lzw", "png", "jumps"])
def test_every_way_of_writing_gives_the_same_grey(tmp_path, how):
    grey = np.random.default_rng(2).integers(0, 256, (60, 90)).astype(np.uint8)
    path = tmp_path / ("a.png" if how == "png" else "a.tif")
    if how == "png":
        cv2.imwrite(str(path), grey)
    else:
        more: dict[str, Any] = {"raw": {}, "jumps": {"rowsperstrip": 7, "byteorder": ">"}}.get(
            how, {"compression": how}
        )
        tifffile.imwrite(path, grey, **more)
    got, notes = read_picture(path)
    assert (got == grey).all()
    assert notes == ()


def test_sixteen_bits_and_colour_are_converted_and_said(tmp_path):
    wide = np.array([[0, 1024, 4095], [16, 2048, 4080]], np.uint16)
    tifffile.imwrite(tmp_path / "wide.tif", wide)
    assert bits_of([tmp_path / "wide.tif"]) == 12  # 4095 is full light of 12 bits
    got, notes = read_picture(tmp_path / "wide.tif", 12)
    assert got.tolist() == (wide >> 4).tolist()
    assert "12 bits" in notes[0]
    cv2.imwrite(str(tmp_path / "red.png"), np.full((4, 5, 3), (0, 0, 255), np.uint8))  # cv2 writes blue, green, red
    got, notes = read_picture(tmp_path / "red.png")
    assert got[0, 0] == 76  # 0.299 x 255, ITU-R BT.601, from memory
    assert notes == ("colour was made grey",)


@pytest.mark.parametrize("cut", [10, 30, 2000, -20])
def test_a_png_that_ends_early_is_refused(tmp_path, cut):
    # a decoder that only warns leaves the rest black, which would be read as coat
    grey = np.random.default_rng(3).integers(0, 256, (100, 100)).astype(np.uint8)
    cv2.imwrite(str(tmp_path / "a.png"), grey)
    data = (tmp_path / "a.png").read_bytes()
    (tmp_path / "a.png").write_bytes(data[:cut])
    with pytest.raises(Problem):
        read_picture(tmp_path / "a.png")


def test_a_header_that_claims_too_much_is_given_no_memory(tmp_path):
    cv2.imwrite(str(tmp_path / "a.png"), np.zeros((4, 4), np.uint8))
    data = bytearray((tmp_path / "a.png").read_bytes())
    data[16:24] = (2**31 - 1).to_bytes(4) * 2
    (tmp_path / "a.png").write_bytes(data)
    with pytest.raises(Problem, match="claims"):
        read_picture(tmp_path / "a.png")


def grey_of(seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 256, (60, 90)).astype(np.uint8)


def test_one_pixel_bits_planes_palettes_and_pages_are_read_as_grey(tmp_path):
    grey, path = grey_of(), tmp_path / "a.tif"
    tifffile.imwrite(path, grey[:1, :1])
    assert read_picture(path)[0].tolist() == grey[:1, :1].tolist()
    tifffile.imwrite(path, grey > 128, photometric="miniswhite")
    assert (read_picture(path)[0] == np.where(grey > 128, 0, 255)).all()
    for planes, axis in (("contig", -1), ("separate", 0)):
        tifffile.imwrite(path, np.stack([grey] * 3, axis), photometric="rgb", planarconfig=planes)
        got, notes = read_picture(path)
        assert (got == grey).all()
        assert notes == ("colour was made grey",)
    colours = np.repeat((np.arange(256, dtype=np.uint16)[::-1] << 8)[None], 3, axis=0)  # number 0 is white
    tifffile.imwrite(path, grey, photometric="palette", colormap=colours)
    assert (read_picture(path)[0] == 255 - grey).all()
    tifffile.imwrite(path, np.stack([grey, 255 - grey]), photometric="minisblack")
    got, notes = read_picture(path)
    assert (got == grey).all()
    assert "several pages" in notes[0]


@pytest.mark.parametrize(("raw", "more", "says"), [
    (grey_of().astype(np.float32), {}, "float32"), (grey_of().astype(np.int8), {}, "int8"),
    (np.stack([grey_of()] * 4, -1), {"photometric": "separated"}, "separated"),  # four inks: 0 is no ink, so light
], ids=["float", "signed", "four inks"])  # fmt: skip
def test_pixels_of_no_camera_are_refused_by_name(tmp_path, raw, more, says):
    tifffile.imwrite(tmp_path / "a.tif", raw, **more)
    with pytest.raises(Problem, match=says):
        read_picture(tmp_path / "a.tif")


def test_what_is_no_plain_file_is_refused_as_what_it_is(tmp_path):
    (tmp_path / "a.tif").mkdir()
    (tmp_path / "b.tif").symlink_to(tmp_path / "b.tif")
    (tmp_path / "c.png").write_bytes(b"")
    for name, says in (("a.tif", "it is a folder"), ("b.tif", "a link that leads to no file"), ("c.png", "it is empty"),
                       ("d.tif", "no such file")):  # fmt: skip
        with pytest.raises(Problem, match=says):
            read_picture(tmp_path / name)


def test_a_tiff_and_a_jpeg_that_claim_too_much_are_given_no_memory(tmp_path):
    tifffile.imwrite(tmp_path / "a.tif", grey_of())
    data = bytearray((tmp_path / "a.tif").read_bytes())
    for at in range(10, 10 + 12 * int.from_bytes(data[8:10], "little"), 12):  # TIFF 6.0: 256, 257 are width, length
        if int.from_bytes(data[at : at + 2], "little") in (256, 257):
            data[at + 8 : at + 12] = (40_000).to_bytes(4, "little")
    (tmp_path / "a.tif").write_bytes(data)
    data = bytearray(cv2.imencode(".jpg", grey_of())[1].tobytes())
    at = data.find(b"\xff\xc0")  # the frame header
    data[at + 5 : at + 9] = b"\xff" * 4
    (tmp_path / "b.jpg").write_bytes(data)
    for name in ("a.tif", "b.jpg"):
        with pytest.raises(Problem, match="claims"):
            read_picture(tmp_path / name)


# ---- layout.toml, as people write it

PLAIN = WindowLayout(150.0, 70.0, (Window(20.0, 14.0, 3.0),), 0.4, 6)


@pytest.mark.parametrize(
    "table",
    [
        {"pitch_across_mm": 150, "pitch_along_mm": 70, "mm_per_pixel": 0.4, "lanes": 6, "windows_per_note": 1,
         "windows": [{"across_mm": 20, "along_mm": 14, "corner_mm": 3}]},
        {"pitch": {"across": "150 mm", "along": "7 cm"}, "camera": {"mm_per_pixel": 0.4}, "lanes": 6,
         "window": {"size": [20, 14], "corner": 3}},
        {"pitch": [150, 70], "pixel": "0.4 mm", "lanes": 6, "window": {"width_mm": 20, "height_mm": 14, "radius": 3}},
        {"layout": {"pitch_across": 150, "pitch_along": 70, "mm_per_px": 0.4, "lanes": 6, "window_size": "20 x 14 mm",
                    "window_corner_mm": 3}},
    ],
)  # fmt: skip
def test_a_layout_is_read_in_any_plain_spelling(table):
    assert layout_of(table).layout == PLAIN


@pytest.mark.parametrize(
    ("change", "field"),
    [({"lanes": 0}, "lanes"), ({"lanes": 2.5}, "lanes"), ({"mm_per_pixel": float("nan")}, "mm_per_pixel"),
     ({"pitch_along_mm": "70"}, "pitch_along_mm"), ({"pitch_across_mm": True}, "pitch_across_mm"),
     ({"windows": []}, "windows"), ({"windows_per_note": 3}, "windows_per_note"),
     ({"windows": [{"across_mm": 20, "at_along_mm": 3}]}, "windows[0]"), ({"pitch_along_mm": 10}, "window")],
)  # fmt: skip
def test_a_layout_that_cannot_be_is_refused_by_its_field(change, field):
    table = {"pitch_across_mm": 150, "pitch_along_mm": 70, "mm_per_pixel": 0.4, "lanes": 6, "windows_per_note": 1,
             "windows": [{"across_mm": 20, "along_mm": 14, "at_along_mm": 35}]} | change  # fmt: skip
    with pytest.raises(BadValue) as caught:
        layout_of(table)
    assert caught.value.field == field


def test_what_is_not_known_in_a_layout_is_said(tmp_path):
    (tmp_path / "layout.toml").write_text("cornre_mm = 3\n" + TOML)
    assert read_layout(tmp_path / "layout.toml").notes == ("layout.toml: cornre is not known and not used",)
    (tmp_path / "layout.toml").write_text("this is no toml")
    with pytest.raises(Problem, match="does not read"):
        read_layout(tmp_path / "layout.toml")


# ---- into the thread


def test_a_mark_of_the_camera_becomes_a_record_of_the_journal():
    reading = made()[1]
    roll_, columns = "F01", reading.order.layout.columns
    on = sorted(reading.shop.rolls[roll_])
    told = {
        "kind": "missing",
        "metre_m": 20.02,
        "lane": columns + 1,
        "offset_mm": None,
        "window": 0,
        "sha256": "ab" * 32,
    }
    (body,) = window_marks(reading, roll_, [told])
    assert (body["unit"], body["lanes"]) == ("F01", [on[1]])  # the first column of the second lane
    assert (body["start"], body["end"]) == ("19.5 m", "20.6 m")  # a metre about it, out to decimetres
    assert body["fault"] == f"missing window; column 1; picture sha256 {'ab' * 32}"
    (moved,) = window_marks(reading, roll_, [told | {"lane": 1}], core_m=10.0, first_column=2)
    assert moved["start"] == "9.5 m"
    assert moved["lanes"] == [on[1 // columns]]


@pytest.mark.parametrize(("name", "change", "error"), [
    ("F99", {}, NotThere), ("F01", {"metre_m": 1e6}, NotThere), ("F01", {"lane": 99}, BadValue),
])  # fmt: skip
def test_a_mark_that_lies_nowhere_is_refused(name, change, error):
    told = {"kind": "missing", "metre_m": 10.0, "lane": 1, "offset_mm": None, "window": 0} | change
    with pytest.raises(error):
        window_marks(made()[1], name, [told])


def test_pictures_are_kept_with_their_checksum(tmp_path):
    from hashlib import sha256

    write(tmp_path / "in", list(roll(SCENE, 4, 3, Faults(2, 0, 0, 0, 0, 0), repeats=6)))
    answer = read(tmp_path / "in", 0, "--keep", str(tmp_path / "kept"))
    kept = [one for one in answer["marks"] if "crop" in one]
    assert kept
    for one in kept:
        data = (tmp_path / "kept" / one["crop"]).read_bytes()
        assert sha256(data).hexdigest() == one["sha256"]
        thumb = cv2.imread(str(tmp_path / "kept" / one["thumb"]), cv2.IMREAD_UNCHANGED)
        assert thumb is not None
        assert max(thumb.shape) <= 96


def test_a_folder_yields_every_row_as_a_frame_or_with_what_is_wrong(frames, tmp_path):
    rows = write(tmp_path, frames)
    (tmp_path / rows[3][0]).unlink()
    given = list(Folder.open(tmp_path))
    assert len(given) == FRAMES
    assert [one.flash for one in given if not isinstance(one, Frame)] == [2]


def test_the_strobe_is_set_from_the_command_line():
    # notes 1, closed forms: 120 m/min and 11 repeats of 70 mm a frame: 2.6 flashes/s; 0.04 mm of blur at 2 m/s: 20 us;
    # a wheel 63 ppm wrong: 503 mm over 8 km
    words = ["window", "strobe", "--speed", "120 m/min", "--pitch", "70 mm", "--pixel", "0.4 mm", "--blur", "0.04 mm",
             "--encoder-ppm", "63", "--json"]  # fmt: skip
    answer = json.loads(CliRunner().invoke(app, words).stdout)
    assert answer["flash_hz"] == pytest.approx(2.6, abs=0.05)
    assert answer["longest_flash_us"] == pytest.approx(20)
    assert answer["adrift_mm"] == pytest.approx(503, abs=1.5)
