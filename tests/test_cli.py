"""The command line as people and machines use it, in processes of their own, on the small demo works."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from reelmark.journal import verify_consistency


def reelmark(*words: str, code: int = 0) -> Any:
    """Run the program; its JSON where --json was asked, else what it said."""
    ran = subprocess.run([sys.executable, "-m", "reelmark", *words], capture_output=True, text=True, check=False,
                         env={**os.environ, "COLUMNS": "120"})  # fmt: skip
    assert ran.returncode == code, ran.stdout + ran.stderr
    assert "Traceback" not in ran.stderr
    return json.loads(ran.stdout) if "--json" in words else ran.stdout + ran.stderr


@pytest.fixture(scope="module")
def works(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "works"
    answer = reelmark("demo", "--small", "--dir", str(folder), "--json")
    assert answer["laws_held"] is True
    assert answer["balanced"] is True
    assert answer["notes"] == answer["ordered"]
    assert {one["name"] for one in answer["troubles"]} >= {
        "extra rewind", "pile turned by hand", "splice", "uncounted pull", "double feed", "mis-set box", "skipped tick",
        "short pack", "record sent twice", "late correction", "wrong count",
    }  # fmt: skip
    assert all(one["planted"] and one["found"] and one["agrees"] for one in answer["troubles"])
    return folder


def test_a_number_is_told_from_film_to_pack(works: Path) -> None:
    one = reelmark("trace", "AA0000001", "--works", str(works), "--json")
    assert {"number", "account", "may", "must", "sheet", "position", "stations", "marks"} <= one.keys()
    assert one["may"] == one["must"]
    assert all({"unit", "lane", "from_m", "to_m"} == place.keys() for place in one["may"])
    named = [step["station"] for step in one["stations"]]
    assert named[0] == "film"
    assert {"coat", "window", "optic", "sheet", "press", "numbering", "finish"} <= set(named)
    assert {"cut", "pack"} <= {step["does"] for step in one["stations"]}


def test_a_lot_pulled_before_numbering_is_told_with_its_account(works: Path) -> None:
    bare = reelmark("recall", "P001f/0", "--from", "0", "--to", "1", "--works", str(works), "--json")["unnumbered"]
    assert (bare["may"], bare["must"]) == (1, 1)
    assert bare["where"][0]["unit"] == "P001f/0"


def test_recall_of_a_number_s_own_film_names_the_number(works: Path) -> None:
    place = reelmark("trace", "AA0000777", "--works", str(works), "--json")["must"][0]
    metres = [f"{place['from_m']:.6f} m", f"{place['to_m']:.6f} m"]
    answer = reelmark("recall", place["unit"], "--from", metres[0], "--to", metres[1], "--lane", str(place["lane"]),
                      "--works", str(works), "--json")  # fmt: skip
    for part in ("may", "must"):
        assert any(first <= "AA0000777" <= last for first, last in answer[part]["ranges"])
        assert answer[part]["count"] == 6  # one sheet, six up


def test_the_balance_carries_its_checkpoint_and_earlier_ones_are_reproduced(works: Path) -> None:
    now = reelmark("balance", "--works", str(works), "--json")
    assert (now["balanced"], now["differences"]) == (True, [])
    assert "wrong count" in {f["name"] for f in reelmark("findings", "--works", str(works), "--json")["findings"]}
    assert any(one["measure"] == "sheets" and one["settled_by"] for one in now["settled"])
    assert now["checkpoint"]["size"] > 300
    found = reelmark("findings", "--works", str(works), "--json")["findings"]
    (wrong,) = [one for one in found if one["name"] == "wrong count"]
    then = reelmark("balance", "--at", str(wrong["entry"] + 1), "--works", str(works), "--json")
    assert then["balanced"] is False
    assert (then["checkpoint"]["size"], then["checkpoint"]["sealed_size"]) == (
        wrong["entry"] + 1,
        now["checkpoint"]["size"],
    )
    verify_consistency(
        then["checkpoint"]["size"], now["checkpoint"]["size"],
        [bytes.fromhex(h) for h in then["checkpoint"]["consistency"]],
        bytes.fromhex(then["checkpoint"]["root"]), bytes.fromhex(now["checkpoint"]["root"]),
    )  # fmt: skip
    (difference,) = [one for one in then["differences"] if one["entry"] == wrong["entry"]]
    assert difference["counted"] == wrong["counted"]
    assert len(difference["between"]) == 2


def test_records_sent_again_change_nothing(works: Path, tmp_path: Path) -> None:
    shift = sorted((works / "records").glob("*.jsonl"))[0]
    before = reelmark("balance", "--works", str(works), "--json")
    again = reelmark("take", str(shift), "--works", str(works), "--json")
    assert (again["taken"], again["refused"]) == (0, [])
    assert again["repeated"] == len(shift.read_text().splitlines())
    other = tmp_path / "other.jsonl"
    record = json.loads(shift.read_text().splitlines()[0]) | {"by": "X. Other"}
    other.write_text(json.dumps(record) + "\n")
    refused = reelmark("take", str(other), "--works", str(works), "--json", code=1)["refused"]
    assert refused[0]["field"] == "seq"
    assert reelmark("balance", "--works", str(works), "--json") == before


def test_a_bad_line_refuses_its_file_and_skip_bad_keeps_it_beside(works: Path, tmp_path: Path) -> None:
    target = tmp_path / "copy"
    reelmark("new", str(target), "--order", str(works / "order.toml"), "--json")
    lines = sorted((works / "records").glob("*.jsonl"))[0].read_text().splitlines()
    bad = tmp_path / "bad.jsonl"
    bad.write_text("\n".join([lines[0], '{"kind": "roll"', *lines[1:]]) + "\n")
    first = reelmark("take", str(bad), "--works", str(target), "--json", code=1)
    assert (first["taken"], first["refused"][0]["line"]) == (0, 2)
    assert {"line", "field", "value", "cure"} <= first["refused"][0].keys()
    second = reelmark("take", str(bad), "--skip-bad", "--works", str(target), "--json", code=1)
    assert second["taken"] == len(lines)
    assert (tmp_path / "bad.refused.jsonl").read_text() == '{"kind": "roll"\n'


def test_a_proof_verifies_without_the_works_and_a_changed_entry_does_not(works: Path, tmp_path: Path) -> None:
    out = tmp_path / "proof"
    key = reelmark("log", "prove", "7", "--out", str(out), "--works", str(works), "--json")["key"]
    assert reelmark("log", "verify", str(out), "--key", key, "--json")["entry"] == 7
    entry = tmp_path / "proof.entry"
    entry.write_bytes(entry.read_bytes().replace(b":", b";", 1))
    assert "reelmark:" in reelmark("log", "verify", str(out), "--key", key, code=1)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("trace", "ZZ"), "in none of the order's series"),
        (("recall", "nowhere", "--from", "1 m", "--to", "2 m"), "no record made a unit of that name"),
        (("recall", "F01", "--from", "1 t", "--to", "2 m"), "mass"),
        (("recall", "F01", "--from", "1 m", "--to", "9000 m"), "runs from 0 to"),
        (("recall", "F01", "--from", "1 m", "--to", "2 m", "--lane", "9"), "has lanes"),
        (("numbers", "plan", "--block", "150"), "multiple of 100"),
        (("numbers", "read", "P001"), "not a pile the numbering press delivered"),
        (("balance", "--at", "99999"), "entries"),
    ],
)
def test_a_wrong_question_is_told_in_one_line(works: Path, words: tuple[str, ...], said: str) -> None:
    assert said in reelmark(*words, "--works", str(works), code=1)


def test_the_doctor_finds_the_demo_works_sound(works: Path) -> None:
    answer = reelmark("doctor", "--works", str(works), "--json")
    assert answer["sound"] is True


def test_a_mark_on_the_film_goes_through_to_numbers_books_and_back(works: Path, tmp_path: Path) -> None:
    # The loop the program exists for: seen on the film, found at the numbers, held in the books, told at the note.
    place = reelmark("trace", "AA0001234", "--works", str(works), "--json")["must"][0]
    start, end = f"{place['from_m'] + 0.01:.6f} m", f"{place['from_m'] + 0.02:.6f} m"
    mark = {
        "kind": "mark", "machine": "window viewer", "seq": 9999, "at": "2026-04-01T08:00:00+00:00", "by": "T. Wexcombe",
        "unit": place["unit"], "lanes": [place["lane"]], "start": start, "end": end, "fault": "window clouded",
        "grade": "withdraw", "seen_by": "window viewer",
    }  # fmt: skip
    file = tmp_path / "mark.jsonl"
    file.write_text(json.dumps(mark) + "\n")
    assert reelmark("take", str(file), "--works", str(works), "--json")["taken"] == 1
    before = reelmark("trace", "AA0001234", "--works", str(works), "--json")
    assert [one["fault"] for one in before["marks"]] == ["window clouded"]
    held = reelmark("recall", place["unit"], "--from", start, "--to", end, "--lane", str(place["lane"]), "--works",
                    str(works), "--hold", "window clouded", "--by", "R. Tessel", "--json")  # fmt: skip
    assert held["must"]["count"] == 6
    assert held["held"] > 0
    assert reelmark("trace", "AA0001234", "--works", str(works), "--json")["account"].endswith(":held")
    assert reelmark("balance", "--works", str(works), "--json")["balanced"] is True
