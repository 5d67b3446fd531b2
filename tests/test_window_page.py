"""The page of the windows: what is kept of a reading, shown, handed out and written into the journal.

The reading is written by hand (window_kept.py), so that every figure on the page has its value there; one is read from
drawn frames, whose number is known.
"""

import json
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import cv2
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from typer.testing import CliRunner

from reelmark.acts.window_posted import placed, to_post
from reelmark.acts.window_view import beyond, counted, health, limits_of
from reelmark.cli.app import app as command
from reelmark.demo.frames import Faults, Scene, roll
from reelmark.desk import Desk
from reelmark.errors import Broken, NotThere, Problem
from reelmark.figures.window_strip import strip_of_roll
from reelmark.frames import Window, WindowLayout
from reelmark.io.windowkept import CHANGED, GONE, GOOD, keep_reading, read_kept, readings
from small_demo import folder, made
from test_web_api import base, client, copied, served  # type: ignore[import-not-found]
from window_kept import AT, KINDS, answer, keep, mark, told  # type: ignore[import-not-found]

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small works, never written to: who must write copies it."""
    at: Path = folder(tmp_path_factory.mktemp("bare"))
    return at


# ---- kept


def test_what_is_kept_comes_back_as_it_was(tmp_path):
    at = keep(tmp_path)
    kept = read_kept(at)
    assert (kept.roll, kept.at) == ("F01", AT)
    whole = told()
    assert {key: kept.told[key] for key in ("trends", "layout")} == {key: whole[key] for key in ("trends", "layout")}
    assert [one["kind"] for one in kept.answer["marks"]] == list(KINDS)
    assert len(kept.pictures) == 12  # a crop and a thumbnail of six of the seven marks
    crop = kept.answer["marks"][0]["crop"]
    assert kept.pictures[crop] == kept.answer["marks"][0]["sha256"]
    assert kept.picture(crop) == (at / crop).read_bytes()


@pytest.mark.parametrize(("spoil", "says"), [
    (lambda text: text.replace('"version":1', '"version":7'), "version is 7"),
    (lambda text: text[: len(text) // 2], "damaged at the whole"),
    (lambda text: text.replace('"expected":600', '"expected":"many"'), "answer.expected"),
    (lambda text: "[]", "damaged"), (lambda text: text.replace('"marks":[', '"mark":['), "answer.marks"),
    (lambda text: "\x00" * 40, "damaged"),
])  # fmt: skip
def test_a_file_that_is_none_of_ours_is_refused_in_words(tmp_path, spoil, says):
    file = keep(tmp_path) / "reading.json"
    file.write_text(spoil(file.read_text(encoding="utf-8")), encoding="utf-8")
    with pytest.raises(Problem, match=says) as no:
        read_kept(file.parent)
    assert "read the frames again" in no.value.cure


def test_no_file_and_no_folder_are_told(tmp_path):
    for at in (tmp_path, tmp_path / "none"):
        with pytest.raises(Problem, match=r"no reading\.json"):
            read_kept(at)
    assert readings(tmp_path) == []


def test_a_picture_that_changed_is_known_and_not_handed_out(tmp_path):
    at = keep(tmp_path)
    kept = read_kept(at)
    first, second, third = (kept.answer["marks"][n]["crop"] for n in range(3))
    (at / first).write_bytes((at / second).read_bytes())
    (at / third).unlink()
    assert [kept.state(name) for name in (first, second, third)] == [CHANGED, GOOD, GONE]
    with pytest.raises(Broken, match="changed since it was kept"):
        kept.picture(first)
    for name in (third, "../reading.json", "reading.json", "nothing.png", "thumbs/../x.png"):
        with pytest.raises(NotThere):
            kept.picture(name)


def test_a_picture_that_is_not_there_cannot_be_kept(tmp_path):
    whole = told()
    whole["answer"]["marks"][0]["crop"] = "gone.png"
    with pytest.raises(NotThere, match=r"gone\.png"):
        keep_reading(tmp_path, "F01", whole)
    assert not list(tmp_path.iterdir())  # nothing half written


def test_the_command_keeps_the_reading_and_its_pictures(tmp_path):
    """12 frames of five repeats in two lanes; seed and scene as in test_window_read."""
    layout = WindowLayout(150.0, 70.0, (Window(20.0, 14.0, 3.0, 75.0, 35.0),), 0.5, 2)
    scene = Scene(layout, rows=760, columns=680, jitter_mm=0.02, size_sd_mm=0.01, k1=0.0)
    rows = ["file,encoder_mm,flash,time_s"]
    for frame, _ in roll(scene, 11, 12, Faults(missing=1.0, shifted=1.0, pinholes=1.0), repeats=5):
        cv2.imwrite(str(tmp_path / f"{frame.name}.png"), frame.picture)
        rows.append(f"{frame.name}.png,{frame.encoder_mm},{frame.flash},{frame.time_s}")
    (tmp_path / "frames.csv").write_text("\n".join(rows), encoding="utf-8")
    (tmp_path / "layout.toml").write_text(
        "pitch_across_mm=150\npitch_along_mm=70\nwindows_per_note=1\nmm_per_pixel=0.5\nlanes=2\n[[windows]]\n"
        "across_mm=20\nalong_mm=14\ncorner_mm=3\nat_across_mm=75\nat_along_mm=35\n", encoding="utf-8",
    )  # fmt: skip
    words = ["window", "read", str(tmp_path), "--json", "--workers", "0", "--keep", str(tmp_path / "kept")]
    ran = CliRunner().invoke(command, [*words, "--roll", "F07"])
    assert ran.exit_code == 0, ran.output
    said, kept = json.loads(ran.stdout), read_kept(tmp_path / "kept")
    assert kept.roll == "F07"
    assert {key: kept.answer[key] for key in ("expected", "seen", "missing", "gaps")} == {
        key: said[key] for key in ("expected", "seen", "missing", "gaps")
    }
    assert len(kept.answer["marks"]) == len(said["marks"]) > 0
    assert kept.pictures
    assert {kept.state(name) for name in kept.pictures} == {GOOD}
    assert set(kept.told["limits"]) == set(kept.told["trends"]["value"])
    assert len(kept.told["trends"]["metre_m"]) == len(kept.told["trends"]["value"]["size_across_mm"])


# ---- worked out


def test_the_count_closes_or_says_loudly_that_it_does_not():
    assert counted(answer())[0].startswith("600 windows expected = 590 seen + 4 missing + 6 not seen")
    (open_,) = counted(answer() | {"seen": 588, "closes": False})
    assert "DOES NOT CLOSE" in open_
    assert "+2 are accounted for nowhere" in open_  # 600 - 588 - 4 - 6, by hand
    assert "DOES NOT CLOSE" in counted(answer() | {"seen": 588})[0]  # though the reading says that it does
    assert "PHASE DOUBTFUL at 5.0, 9.0 m" in counted(answer() | {"phase_doubtful_m": [5.0, 9.0]})[1]


def test_limits_are_those_of_single_windows_or_the_engineers():
    """By hand from the spreads: 6.5 x 20 um; not under 60 um; 400 + 6 x 5 um; not under 2 % of 400 um."""
    limits = limits_of(answer(), {})
    assert limits["offset_across_mm"].high == pytest.approx(0.13)
    assert (limits["size_along_mm"].low, limits["size_along_mm"].high) == pytest.approx((13.94, 14.06))
    assert limits["edge_across_mm"].high == pytest.approx(0.43)
    assert limits["edge_along_mm"].high == pytest.approx(0.408)
    assert limits["edge_along_mm"].low is None
    assert all(one.assumed for one in limits.values())
    own = limits_of(answer(), {"offset": 0.3, "size": None, "edge": 0.5})
    assert (own["offset_along_mm"].low, own["edge_along_mm"].high) == (-0.3, 0.5)
    assert [name for name, one in own.items() if one.assumed] == ["size_across_mm", "size_along_mm"]


def test_the_lane_that_runs_out_is_named_with_its_metre():
    """Lane 2, the last of ten stretches, at 0.35 + 9 x 0.7 = 6.65 m: as written there."""
    found = beyond(told()["trends"], limits_of(answer(), {}))
    (out,) = [one for one in found if one.out]
    assert (out.name, out.lane, out.out, out.of) == ("offset_across_mm", 2, 1, 10)
    assert out.first_m == pytest.approx(6.65)
    assert next(one.of for one in found if (one.name, one.lane) == ("size_across_mm", 6)) == 9
    assert len(found) == 36


def test_lamp_and_focus_in_words():
    """100 of 180 is 56 %; 900 um is above 1.5 x 400; refused above 12 % of 14 mm = 1,680 um: by hand."""
    said = " ".join(" ".join(row) for row in health(told()))
    assert "56%" in said
    assert "soft" in said
    assert "1,680 um" in said
    blind = told()
    blind["answer"] |= {"lamp": {}, "focus": {}}
    assert "no frame was read" in health(blind)[0][3]


def test_every_mark_lies_somewhere_and_is_written_once(bare, tmp_path):
    """Lanes of three columns: the camera's 1 to 3 are the roll's 1, 4 to 6 its 2, by the order's layout."""
    works, marks = copied(bare, tmp_path), told()["answer"]["marks"]
    with Desk(works) as desk:
        there = placed(desk.reading, "F01", marks)
        assert [one.place for one in there[:3]] == ["F01@1.5-2.5m@1", "F01@2.5-3.5m@1", "F01@3.5-4.5m@2"]
        assert there[-1].place == "F01@8-12m@1"  # the streak, as long as it is
        assert to_post(there, [2]) == [there[1].body]
        twin = [*marks, mark(9, "missing", 2.0, 2, 1.1)]  # the same record as the first
        desk.post(to_post(there), "office", "A. Moss", None, "2027-01-05T08:00:00Z")
        again = placed(desk.reading, "F01", twin)
        assert [one.entry is not None for one in again] == [True] * 7 + [False]
        assert len(to_post(again)) == 1
        assert not to_post(placed(desk.reading, "F01", marks))
        beside = placed(desk.reading, "F99", marks)
        assert all(one.nowhere is not None and not one.place for one in beside)
        far = placed(desk.reading, "F01", marks, core_m=-5000.0)
        assert not to_post(far)


def test_a_picture_that_was_written_is_known_by_its_checksum_wherever_its_metre_went(bare, tmp_path):
    works = copied(bare, tmp_path)
    marks = read_kept(keep(works)).answer["marks"]
    with Desk(works) as desk:
        desk.post(to_post(placed(desk.reading, "F01", marks)), "office", "A. Moss", None, "2027-01-05T08:00:00Z")
        moved = placed(desk.reading, "F01", marks, core_m=0.7)
        assert [one.entry is not None for one in moved] == [True] * 6 + [False]  # the last has no picture


# ---- drawn


def test_the_strip_tells_kinds_by_shape_and_words():
    drawn = ET.fromstring(strip_of_roll(answer(), 6, title="Roll F01", alone=True))
    said = "".join(drawn.itertext())
    assert all(kind in said for kind in KINDS)
    shapes = {path.get("d") for path in drawn.iter(f"{SVG}path")}
    assert len(shapes) >= len(KINDS)
    assert "1: dark" in said
    assert any(rect.get("fill") == "url(#unseen)" for rect in drawn.iter(f"{SVG}rect"))
    assert "Not seen: 3.0 to 3.1 m: dark" in said
    long = [path.get("d") or "" for path in drawn.iter(f"{SVG}path") if path.get("stroke-width") == "2"]
    assert len(long) == 1  # the streak, 8 to 12 m of a roll that begins at 0: a third of the 800 px, closed form
    a, b = (float(one) for one in re.findall(r"[MH]([\d.]+)", long[0]))
    assert b - a == pytest.approx(800 / 3, abs=0.2)


def test_a_strip_of_very_many_marks_stays_small():
    """10,000 marks on 8 km: signs that fall together are one, so the picture does not grow with the marks."""
    many = answer() | {"marks": [mark(n, KINDS[n % 7], n * 0.8, 1 + n % 6, 1.0) for n in range(10_000)]}
    assert len(strip_of_roll(many, 6, title="many", alone=True)) < 400_000
    assert "10,000" not in strip_of_roll(answer() | {"marks": []}, 6, title="none", alone=True)


# ---- the page


@pytest.fixture(scope="module")
def works(bare: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    at: Path = copied(bare, tmp_path_factory.mktemp("windows"))
    keep(at)
    return at


@pytest.fixture(scope="module")
def app(works: Path) -> Iterator[FastAPI]:
    with served(works) as whole:
        yield whole


@pytest.fixture(scope="module")
def browser(app: FastAPI) -> TestClient:
    made_: TestClient = client(app, "A. Moss")
    return made_


@pytest.fixture
def own(bare: Path, tmp_path: Path) -> Iterator[tuple[Path, TestClient, str]]:
    """A works of one's own, to be written to: folder, browser, address of the page."""
    at = copied(bare, tmp_path)
    keep(at)
    with served(at) as whole:
        yield at, client(whole, "A. Moss"), f"{base(whole)}/windows"


def words(text: str) -> str:
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text)))


def test_the_page_says_all_that_the_reading_says(app, browser):
    text = browser.get(f"{base(app)}/windows").text
    for said in ("Windows of F01", "600 windows expected = 590 seen + 4 missing + 6 not seen", "The count closes",
                 "20 of 22 frames used", "7 marks, 0 of them in the journal", "dark: its median is 3", "heed this",
                 "+120", "8.40 um a repeat of 70 mm", "628.3", "nip", "A note."):  # fmt: skip
        assert said in words(text), said
    told_ = browser.get(f"/api{base(app)}/windows").json()["tables"]
    assert set(told_) == {"gaps", "marks", "offset-lanes", "size-lanes", "edge-lanes", "ppm", "windows", "rollers",
                          "health", "parts", "booked", "slips"}  # fmt: skip
    kinds = [row["Kind"] for row in told_["marks"]["rows"]]
    assert kinds == ["missing", "streak", "pinhole", "dirty", "size", "shifted pass", "half filled"]  # 8, 7, .. 3 times
    assert told_["marks"]["rows"][0]["May touch"] >= 0
    for name in ("roll", "offset-trend", "size-trend", "edge-trend"):
        drawn = browser.get(f"{base(app)}/windows/figure/{name}.svg")
        assert ET.fromstring(drawn.text).find(f"{SVG}desc") is not None


def test_every_picture_has_words_and_leads_to_itself(app, browser):
    text = browser.get(f"{base(app)}/windows").text
    shown = re.findall(r'<a class="thumb" href="([^"]+)"><img src="([^"]+)" alt="([^"]+)"', text)
    assert len(shown) == 6
    assert shown[0][2] == "Picture of missing at 2.000 m, lane 2"
    for whole, thumb, _ in shown:
        for link in (whole, thumb):
            got = browser.get(link)
            assert got.headers["content-type"] == "image/png"
            assert got.headers["x-content-type-options"] == "nosniff"
            assert got.headers["cache-control"] == "no-store"
            assert "default-src 'none'" in got.headers["content-security-policy"]
            assert got.content[:4] == b"\x89PNG"


@pytest.mark.parametrize("name", [
    "reading.json", "../F01/reading.json", "..%2f..%2forder.toml", "%2e%2e/%2e%2e/key", "thumbs/../reading.json",
    "thumbs%2f..%2f..%2f..%2fkey", "none.png", "", "thumbs", "%00.png", "/etc/passwd", "..\\..\\key", ".png",
])  # fmt: skip
def test_no_other_file_is_handed_out(app, browser, name):
    for reading in ("F01", "F01%2f..", "..", "%2e%2e%2fwindows%2fF01", "none"):
        got = browser.get(f"{base(app)}/windows/picture/{reading}/{name}")
        assert got.status_code in {307, 404, 422}, (reading, name)  # 307: a slash too many
        assert b"PNG" not in got.content[:8]


def test_pictures_are_for_who_is_signed_in(app, browser):
    link = re.findall(r'<img src="([^"]+)"', browser.get(f"{base(app)}/windows").text)[0]
    assert client(app).get(link).status_code == 303
    assert client(app, "D. Ash").get(link).status_code == 200
    assert client(app, "B. Reed").get(link).status_code == 403


def test_a_changed_picture_is_said_to_be_and_is_not_served(own):
    at, browser, page = own
    thumbs = sorted((at / "windows" / "F01" / "thumbs").glob("*.png"))
    link = re.findall(r'<a class="thumb" href="([^"]+)"', browser.get(page).text)[0]
    (at / "windows" / "F01" / link.rpartition("/")[2]).write_bytes(thumbs[1].read_bytes())
    thumbs[2].unlink()
    text = browser.get(page).text
    assert text.count("changed since it was kept: not shown") == 1
    assert text.count("no longer in its folder: not shown") == 1
    assert text.count('<a class="thumb"') == 4
    got = browser.get(link)
    assert got.status_code == 500
    assert "changed since it was kept" in got.text


def test_no_reading_yet_says_what_to_do(bare, tmp_path):
    with served(copied(bare, tmp_path)) as whole:
        text = words(client(whole, "A. Moss").get(f"{base(whole)}/windows").text)
    assert "No reading is kept yet" in text
    assert "reelmark window read" in text
    assert "photosensitive" in text


@pytest.mark.parametrize(("asks", "status"), [
    ("reading=none", 404), ("reading=..", 404), ("reading=" + "x" * 200, 422), ("offset=nan", 422), ("offset=-1", 422),
    ("column=0", 422), ("mark=0", 422), ("mark=999", 200), ("kind=none", 200), ("core_m=1e9", 422), ("column=7", 200),
    ("offset=&size=&edge=&core_m=&column=", 200), ("posted=-1", 422), ("core_m=-900", 200),
])  # fmt: skip
def test_odd_questions(app, browser, asks, status):
    assert browser.get(f"{base(app)}/windows?{asks}").status_code == status


def test_marks_that_lie_nowhere_say_why_and_cannot_be_written(app, browser):
    text = words(browser.get(f"{base(app)}/windows?column=7").text)
    assert "nowhere: F01 has 2 lanes of 3 columns" in text
    assert "Write all marks" not in text


def test_a_kind_alone(app, browser):
    rows = browser.get(f"/api{base(app)}/windows?kind=dirty").json()["tables"]["marks"]["rows"]
    assert [row["Kind"] for row in rows] == ["dirty"]


def test_a_count_that_does_not_close_and_a_doubtful_phase_stand_in_the_title(bare, tmp_path):
    at, whole = copied(bare, tmp_path), told()
    whole["answer"] |= {"seen": 588, "closes": False}
    keep(at, "F02", whole, "open")
    doubtful = told()
    doubtful["answer"] |= {"phase_doubtful_m": [5.0]}
    keep(at, "NOSUCH", doubtful, "doubt")
    (at / "windows" / "bad").mkdir()
    (at / "windows" / "bad" / "reading.json").write_text("{", encoding="utf-8")
    with served(at) as app_:
        browser, page = client(app_, "A. Moss"), f"{base(app_)}/windows"
        assert "<h1>Windows of F02: the count does not close</h1>" in browser.get(f"{page}?reading=open").text
        text = browser.get(f"{page}?reading=doubt").text
        assert "<h1>Windows of NOSUCH: phase doubtful</h1>" in text
        assert "The journal holds no roll NOSUCH" in text
        bad = browser.get(f"{page}?reading=bad")
        assert bad.status_code == 200
        assert "damaged" in bad.text
        assert 'value="open"' in bad.text  # another can be chosen


# ---- into the journal


def hidden(text: str, form: str) -> dict[str, str]:
    """What a form of the page sends."""
    part = text.partition(f'id="q-{form}"')[2].partition("</form>")[0]
    return {name: unescape(value) for name, value in re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', part)}


def test_a_mark_is_written_and_shown_as_written_and_not_twice(own):
    at, browser, page = own
    text = browser.get(f"{page}?mark=3").text
    sent = hidden(text, "write-this-mark")
    got = browser.post(f"{page}/mark", data=sent)
    assert got.status_code == 303
    after = browser.get(got.headers["location"]).text
    assert "1 mark was written into the journal" in words(after)
    assert "7 marks, 1 of them in the journal" in words(after)
    with Desk(at) as desk:
        mark_ = desk.reading.shop.marks[-1]
        kept = read_kept(at / "windows" / "F01").answer["marks"][2]
        assert (mark_.seen_by, kept["sha256"] in mark_.fault) == ("window camera", True)
        assert "off 0.400 mm" in mark_.fault
        entry = mark_.seq
    assert f"mark 3: entry {entry:,}" in words(after)
    assert browser.get(f"{page[: -len('/windows')]}/entry/{entry}").status_code == 200
    assert browser.post(f"{page}/mark", data=sent).status_code == 404  # it is written
    assert "Write this mark" not in browser.get(f"{page}?mark=3").text


def test_all_that_are_left_are_written_at_once(own):
    at, browser, page = own
    first = hidden(browser.get(f"{page}?mark=1").text, "write-this-mark")
    assert browser.post(f"{page}/mark", data=first).status_code == 303
    sent = hidden(browser.get(page).text, "write-all-marks")
    got = browser.post(f"{page}/mark", data=sent)
    after = words(browser.get(got.headers["location"]).text)
    assert "6 marks were written" in after
    assert "7 marks, 7 of them in the journal" in after
    assert "Write all marks" not in after
    with Desk(at) as desk:
        assert sum(one.seen_by == "window camera" for one in desk.reading.shop.marks) == 7


def test_what_may_not_be_written_is_refused(own):
    at, browser, page = own
    sent = hidden(browser.get(page).text, "write-all-marks")
    for other, status in (({"reading": "none"}, 404), ({"stamp": "1-1"}, 409), ({"number": "8"}, 404),
                          ({"number": "-1"}, 422), ({"core_m": "nan"}, 422), ({"column": "0"}, 422),
                          ({"column": "900"}, 422), ({"number": "1", "core_m": "-4000"}, 404)):  # fmt: skip
        assert browser.post(f"{page}/mark", data=sent | other).status_code == status, other
    keep_reading(at / "windows" / "F01", "F01", told() | {"answer": answer()}, AT)  # read anew meanwhile
    assert browser.post(f"{page}/mark", data=sent).status_code == 409
    with Desk(at) as desk:
        assert not [one for one in desk.reading.shop.marks if one.seen_by == "window camera"]


def test_who_may_only_read_is_offered_nothing(app):
    reader = client(app, "D. Ash")
    text = reader.get(f"{base(app)}/windows?mark=1").text
    assert "Write" not in words(text)
    sent = {"reading": "F01", "stamp": "1", "number": "0"}
    assert reader.post(f"{base(app)}/windows/mark", data=sent).status_code == 403


def test_words_of_a_reading_are_never_run(bare, tmp_path):
    bad, whole = "<script>alert(1)</script>", told()
    whole["answer"]["notes"] = [bad]
    whole["answer"]["marks"][-1] |= {"kind": bad}
    whole["answer"]["gaps"][0]["why"] = {bad: 1}
    whole["answer"]["booked"][0]["why"] = bad
    at = copied(bare, tmp_path)
    keep(at, "F01", whole)
    with served(at) as app_:
        browser, page = client(app_, "A. Moss"), f"{base(app_)}/windows"
        assert bad not in browser.get(page).text
        assert "<script" not in browser.get(f"{page}/figure/roll.svg").text


def test_marks_of_the_reading_name_rolls_of_the_small_order():
    """What this file stands on: F01 has two lanes of three columns, and is longer than the marks' metres."""
    reading = made()[1]
    assert (sorted(reading.shop.rolls["F01"]), reading.order.layout.columns) == ([1, 2], 3)
    assert reading.shop.web_length["F01"] > 12e6


def test_json_of_the_page_is_whole(app, browser):
    got: Any = browser.get(f"/api{base(app)}/windows")
    json.dumps(got.json(), allow_nan=False)
