"""Job shops from files: each form read, and each fault named with its place."""

import copy
import json
from pathlib import Path
from typing import Any

import pytest

from reelmark.errors import Problem
from reelmark.io.shopfile import read_shop
from reelmark.jobs import ANYWHERE, Due, Machine, Store

OPEN = Path(__file__).parent / "data" / "shop"

SMALL: dict[str, Any] = {
    "unit_min": 30,
    "time0": "Monday 06:00",
    "orders": 2,
    "batches_per_order": 3,
    "stages": ["COAT", "PRINT"],
    "pool_of_stage": {"COAT": "C", "PRINT": "P"},
    "machines": {"C": ["C1"], "P": ["P1", "P2"]},
    "duration": [
        {"order": 0, "stage": "COAT", "machine": "C1", "units": 2},
        {"order": 0, "stage": "PRINT", "machine": "P1", "units": 3},
        {"order": 0, "stage": "PRINT", "machine": "P2", "units": 4},
        {"order": 1, "stage": "COAT", "machine": "C1", "units": 2},
        {"order": 1, "stage": "PRINT", "machine": "P1", "units": 3},
    ],
    "wait_after_h": {"COAT": {"min": 1, "max": 6}},
    "setup": [{"from": [0, "PRINT"], "to": [1, "PRINT"], "units": 5}],
    "closed": {"C1": [[4, 6]], "P1": []},
    "maintenance": {"C1": [[10, 11]]},
    "due": [{"order": 1, "batches": 2, "at": 30}],
    "weight": [1, 2.5],
    "release": [0, 8],
    "store": {"limit_batches": 4, "after_stages": ["COAT"]},
    "horizon": 100,
}


def written(folder: Path, text: str, name: str = "shop.json") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_json_says_all_that_a_shop_has(tmp_path: Path):
    shop = read_shop(written(tmp_path, json.dumps(SMALL)))
    assert shop.machines == (Machine("C1", ((4, 6),), ((10, 11),)), Machine("P1"), Machine("P2"))
    assert [job.release for job in shop.jobs] == [0, 8]
    assert [job.batches for job in shop.jobs] == [3, 3]
    coat, print_ = shop.jobs[0].stages
    assert (coat.on, coat.least_wait, coat.most_wait, coat.stored) == (((0, 2),), 2, 12, True)
    assert (print_.on, print_.least_wait, print_.most_wait, print_.stored) == (((1, 3), (2, 4)), 0, None, False)
    assert shop.setups == {(print_.family, shop.jobs[1].stages[1].family): 5}
    assert (shop.dues, shop.store) == ((Due(1, 2, 30, 2.5),), Store(4))
    assert (shop.horizon, shop.unit_min, shop.begins, shop.setups_open) == (100, 30, "Monday 06:00", False)
    assert (shop.prices.late, shop.prices.setup, shop.prices.span) == (10, 5, 1)


def test_json_may_leave_away_what_is_not_there(tmp_path: Path):
    few = {key: SMALL[key] for key in list(SMALL)[:7] if key != "time0"} | {"duration": SMALL["duration"]}
    shop = read_shop(written(tmp_path, json.dumps(few)))
    assert (shop.dues, shop.store, dict(shop.setups), shop.horizon) == ((), None, {}, 0)


def test_stages_may_come_after_others_than_the_one_before(tmp_path: Path):
    shop = read_shop(written(tmp_path, json.dumps(SMALL | {"after": {"PRINT": []}})))
    assert [stage.after for stage in shop.jobs[0].stages] == [None, ()]


def changed(*path: str | int, to: Any) -> str:
    """SMALL as JSON, with one value changed or added."""
    whole = copy.deepcopy(SMALL)
    at: Any = whole
    for step in path[:-1]:
        at = at[step]
    at[path[-1]] = to
    return json.dumps(whole)


def without(key: str) -> str:
    return json.dumps({name: value for name, value in SMALL.items() if name != key})


BAD_JSON = {
    "no stage of that name": (changed("duration", 0, "stage", to="COTA"), "duration[0].stage = 'COTA'", "write 'COAT'"),
    "no machine of that name": (changed("duration", 0, "machine", to="X"), "duration[0].machine = 'X'", "C1, P1, P2"),
    "a machine of another pool": (changed("duration", 0, "machine", to="P1"), "[0].machine = 'P1'", "the pool of COAT"),
    "no pool of that name": (
        changed("pool_of_stage", "COAT", to="Q"),
        "pool_of_stage.COAT = 'Q'",
        "the pools are C, P",
    ),
    "a closed machine nobody knows": (changed("closed", "X9", to=[]), "closed = 'X9'", "there is no such name"),
    "a stage without machine": (changed("duration", to=SMALL["duration"][:4]), "order 1, PRINT", "it has no machine"),
    "never open": (changed("closed", "P1", to=[[0, 99], [99, 100]]), "machines, P1", "no open hour"),
    "a time below 0": (changed("duration", 0, "units", to=-2), "duration[0].units = -2", "must be 0 to"),
    "a spell backwards": (changed("closed", "C1", to=[[6, 4]]), "closed.C1[0] = [6, 4]", "to after from"),
    "a wait below 0": (changed("wait_after_h", "COAT", "min", to=-1), "wait_after_h.COAT.min = -1", "must be 0"),
    "least above most": (
        changed("wait_after_h", "COAT", "min", to=7),
        "wait_after_h.COAT",
        "7 h, is above the longest",
    ),
    "no unit between": (
        changed("wait_after_h", "COAT", to={"min": 1.1, "max": 1.4}),
        "wait_after_h.COAT",
        "no whole unit of 30 min",
    ),
    "a circle": (changed("after", to={"COAT": ["PRINT"]}), "after = ", "the route is a circle"),
    "a store of no place": (
        changed("store", "limit_batches", to=0),
        "store.limit_batches = 0",
        "no place for one batch",
    ),
    "a due of more than there are": (changed("due", 0, "batches", to=4), "due[0].batches = 4", "the order has 3"),
    "a due of nobody": (changed("due", 0, "order", to=2), "due[0].order = 2", "must be 0 to 1"),
    "a set-up twice": (changed("setup", to=SMALL["setup"] * 2), "setup[1]", "the set-up stands twice"),
    "a duration twice": (changed("duration", to=SMALL["duration"] * 2), "duration[5]", "it stands twice"),
    "a key that is none": (changed("horizont", to=3), "horizont", "write 'horizon'"),
    "a key that is not there": (without("duration"), "duration", "it is missing"),
    "a word for a number": (changed("unit_min", to="30"), "unit_min = '30'", "not a whole number"),
    "true for a number": (changed("orders", to=True), "orders = True", "not a whole number"),
    "not a number": (changed("weight", 0, to=float("nan")), "weight[0] = nan", "it is not a number"),
    "too few weights": (changed("weight", to=[1]), "weight = 1", "there are 2 orders"),
    "a name twice": (changed("machines", "P", to=["P1", "P1"]), "machines.P[1] = 'P1'", "stands twice"),
    "a list for an object": (changed("closed", to=[]), "closed = []", "it is not an object"),
    "a list": ("[1, 2]", "shop.json = [1, 2]", "it is not an object"),
    "a key twice": ('{"unit_min": 30, "unit_min": 60}', "unit_min", "stands twice in one object"),
    "cut short": (json.dumps(SMALL, indent=1)[:200], "shop.json, line", "the file may be cut short"),
    "no JSON": ("{unit_min = 30}", "shop.json, line 1", "it is not JSON"),
    "deep": ("[" * 100_000, "shop.json", "nested too deep"),
    "a number without end": (
        json.dumps(SMALL).replace('"unit_min": 30', '"unit_min": ' + "9" * 5000),
        "shop.json",
        "too many digits",
    ),
    "a weight without end": (json.dumps(SMALL).replace("2.5", "9" * 400), "weight[1] = '999", "must be 0 to"),
    "a horizon of ages": (changed("horizon", to=10**9), "horizon = 1000000000", "0 to 87600"),
    "batches without end": (changed("batches_per_order", to=10**9), "batches_per_order = 1000000000", "20,000 at most"),
    "orders without end": (changed("orders", to=10**9), "shop.json: batches_per_order", "20,000 at most"),
    "half a character": (json.dumps(SMALL).replace("P2", "\\ud800"), "machines.P[1] = '\\\\ud800'", "half of a pair"),
    "half a character in a key": (json.dumps(SMALL).replace("COAT", "\\ud800"), "a name", "half of a pair"),
    "closed for ages": (changed("closed", to={"C1": [[5, 10**9]]}), "shop.json", "2,000,000 are the most"),
    "a set-up of ages": (
        json.dumps({k: v for k, v in SMALL.items() if k != "horizon"}).replace('"units": 5', '"units": 900000000'),
        "shop.json",
        "2,000,000 are the most",
    ),
}


@pytest.mark.parametrize("what", BAD_JSON)
def test_a_bad_json_file_is_refused_with_its_place(tmp_path: Path, what: str):
    text, where, true = BAD_JSON[what]
    with pytest.raises(Problem) as caught:
        read_shop(written(tmp_path, text))
    assert "shop.json" in str(caught.value)
    assert where in str(caught.value)
    assert true in str(caught.value)


FT06 = (OPEN / "ft06.txt").read_text(encoding="utf-8")
MK01 = (OPEN / "mk01.fjs").read_text(encoding="utf-8")
J301 = (OPEN / "j301_1.sm").read_text(encoding="utf-8")


def test_the_standard_form_of_a_job_shop():
    shop = read_shop(OPEN / "ft06.txt")
    assert (len(shop.machines), len(shop.jobs), shop.unit_min) == (6, 6, 60)
    # as printed in the first line of the instance: machine 2 for 1, machine 0 for 3, ...
    assert [stage.on for stage in shop.jobs[0].stages] == [
        ((2, 1),), ((0, 3),), ((1, 6),), ((3, 7),), ((5, 3),), ((4, 6),)
    ]  # fmt: skip
    assert (shop.prices.late, shop.prices.setup, shop.prices.span) == (0, 0, 1)


def test_the_flexible_form_whatever_the_file_is_called(tmp_path: Path):
    shop = read_shop(OPEN / "mk01.fjs")
    assert (len(shop.machines), len(shop.jobs), len(shop.operations)) == (6, 10, 55)
    assert shop.jobs[0].stages[0].on == ((0, 5), (2, 4))
    short_head = MK01.replace("10 6 2.1", "10 6")
    assert read_shop(written(tmp_path, short_head, "shop.txt")) == shop


def test_a_project():
    shop = read_shop(OPEN / "j301_1.sm")
    (job,) = shop.jobs
    assert len(job.stages) == 32
    assert job.stages[0].after == ()
    assert job.stages[13].after == (8, 11)  # job 14 comes after 9 and 12, as printed
    assert job.stages[1].on == ((ANYWHERE, 8),)
    assert job.stages[1].uses == ((0, 4),)
    assert [one.levels[0].amount for one in shop.resources] == [12, 13, 4, 12]


LAST = "31        1          1     32"  # the line of job 31

BAD_TEXT = {
    "empty": ("", "shop.txt", "the file is empty"),
    "words": ("this is no shop", "shop.txt", "no line has numbers"),
    "cut short": ("\n".join(FT06.splitlines()[:-1]), "shop.txt = 5", "6 jobs, 5 lines follow"),
    "cut within a line": (FT06.rstrip()[:-2], "line 10", "no pairs of machine and duration"),
    "no such machine": (FT06.replace("2 1 0 3", "6 1 0 3"), "line 5 = 6", "they are 0 to 5"),
    "a machine twice": (FT06.replace("2 1 0 3", "0 1 0 3"), "line 5 = 0", "the machine stands twice"),
    "time below 0": (FT06.replace("2 1 0 3", "2 -1 0 3"), "line 5 = -1", "not below 0"),
    "time without end": (FT06.replace("2 1 0 3", "2 1" + "0" * 30 + " 0 3"), "line 5 = '1000", "correct the number"),
    "digits without end": (FT06.replace("2 1 0 3", "2 " + "9" * 5000 + " 0 3"), "(5,000 characters)", "1,000,000,000"),
    "time of ages": (FT06.replace("2 1 0 3", "2 999999999 0 3"), "shop.txt", "2,000,000 are the most"),
    "half a unit": (FT06.replace("2 1 0 3", "2 1.5 0 3"), "line 5 = '1.5'", "not a whole number"),
    "no head": (FT06.replace("6 6\n", ""), "line 4", "the head has jobs and machines"),
    "no job": ("0 6\n", "line 1", "at least one job"),
    "flexible, cut short": (MK01.rstrip()[:-4], "line 14", "the line ends within operation 6 of 6"),
    "flexible, no such machine": (MK01.replace("6 2 1 5 3 4", "6 2 0 5 3 4"), "line 5 = 0", "they are 1 to 6"),
    "flexible, too many": (MK01.replace("6 2 1 5 3 4", "5 2 1 5 3 4"), "line 5", "5 operations take"),
    "flexible, no machine": ("1 2 1\n2 1 1 5 0\n", "line 2 = 0", "operation 2 has no machine"),
    "project, cut short": (J301[:2500], "REQUESTS/DURATIONS", "may be cut short"),
    "project, no requests": (J301.replace("REQUESTS", "REQUEST"), "REQUESTS/DURATIONS", "it is not there"),
    "project, a circle": (J301.replace(LAST, LAST[:-2] + " 8"), "PRECEDENCE", "circle"),
    "project, no such job": (J301.replace(LAST, LAST[:-2] + "99"), "99", "1 to 32"),
    "project, two modes": (J301.replace("  2      1     8", "  2      2     8"), "= 2", "a second mode"),
    "project, digits without end": (J301.replace("  2      1     8", "  2      1     " + "9" * 5000),
                                    "(5,000 characters)", "correct the number"),
    "project, too much": (J301.replace("  2      1     8       4", "  2      1     8      14"), "= 14", "there are 12"),
}  # fmt: skip


@pytest.mark.parametrize("what", BAD_TEXT)
def test_a_bad_text_file_is_refused_with_its_place(tmp_path: Path, what: str):
    text, where, true = BAD_TEXT[what]
    assert text not in (FT06, MK01, J301), "the fault was not planted"
    with pytest.raises(Problem) as caught:
        read_shop(written(tmp_path, text, "shop.txt"))
    assert "shop.txt" in str(caught.value)
    assert where in str(caught.value)
    assert true in str(caught.value)


def test_more_operations_than_can_be_scheduled_are_refused(tmp_path: Path):
    lines = ["20001 1", *["0 1"] * 20_001]
    with pytest.raises(Problem, match=r"20,001 operations; a schedule has 20,000"):
        read_shop(written(tmp_path, "\n".join(lines), "shop.txt"))


@pytest.mark.parametrize("what", ["a number without end", "half a character", "half a character in a key"])
def test_what_is_said_of_a_bad_file_can_be_written(tmp_path: Path, what: str):
    with pytest.raises(Problem) as caught:
        read_shop(written(tmp_path, BAD_JSON[what][0]))
    assert str(caught.value).encode()
    assert len(str(caught.value)) < 300


def test_a_file_that_is_none_or_no_text(tmp_path: Path):
    with pytest.raises(Problem, match="there is no such file"):
        read_shop(tmp_path / "none.json")
    with pytest.raises(Problem, match="it is a folder"):
        read_shop(tmp_path)
    (tmp_path / "shop.bin").write_bytes(b"\xff\xfe\x00\x9f")
    with pytest.raises(Problem, match="it is not text in UTF-8"):
        read_shop(tmp_path / "shop.bin")


def test_every_open_instance_here_names_its_optimum_and_where_it_is_from():
    for path in sorted(OPEN.iterdir()):
        head = path.read_text(encoding="utf-8").splitlines()[:3]
        assert head[0].startswith(f"# {path.stem}: optimum "), path
        assert head[1].startswith("# reference: "), path
        assert head[2].startswith("# data "), path
