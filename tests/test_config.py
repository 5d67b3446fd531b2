"""order.toml and works.toml: the templates are good; a mistake names file, key, value and cure.  And the key file."""

import re
from pathlib import Path

import pytest

from reelmark import note, way
from reelmark.errors import BadValue, Problem
from reelmark.io import Key, create_key, read_key, read_order, read_vkey, read_works, template
from reelmark.order import Delivery, Layout

READERS = {"order.toml": read_order, "works.toml": read_works}


def fault(tmp_path: Path, name: str, old: str, new: str) -> BadValue:
    """What is said about the template with one thing changed."""
    text = template(name)
    assert old in text
    (tmp_path / name).write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(BadValue) as caught:
        READERS[name](tmp_path / name)
    return caught.value


@pytest.fixture
def written(tmp_path):
    for name in READERS:
        (tmp_path / name).write_text(template(name), encoding="utf-8")
    return tmp_path


def test_the_order_template(written):
    order = read_order(written / "order.toml")
    assert order.notes == 9_000_000 == sum(one.notes for one in order.deliveries)
    assert order.deliveries[0] == Delivery(3_000_000, "2026-06-30")
    # 8 mm and 9 rows of 76 mm are 692 mm of 700; 8 mm and 5 columns of 140 mm are 708 mm of a lane of 716.
    assert order.layout == Layout(9, 5, 76_000, 140_000, 700_000, 8_000, 8_000)
    assert order.notes % order.layout.ups == 0
    plain, replacement = order.series
    assert (plain.letters, plain.digits, plain.prefix) == (2, 7, "")
    assert replacement.prefix == "R"
    assert "I" not in plain.alphabet


def test_the_works_template_has_a_machine_at_every_station(written):
    works = read_works(written / "works.toml")
    assert [one.name for one in way.WAY] == list(dict.fromkeys(m.station for m in works.machines if not m.standing))
    standing = {one.name for one in works.machines if one.standing}
    assert standing == {"rewinder", "pile turner", "hand table", "counting room", "office"}
    assert works.machine("sheeter").station == "sheet"


ORDER = {
    "unknown key": ("web_passes", "web_pases", "web_pases", "write 'web_passes' if that is meant"),
    "unknown key inside": ("rows = 9", "rows = 9\nrow = 9", "layout.row", "write 'rows' if that is meant"),
    "unknown key in a list": ('name = "TM20"\n', 'name = "TM20"\nprefx = "A"\n', "series[0].prefx", "write 'prefix'"),
    "missing key": ("rows = 9", "", "layout.rows", "add the field"),
    "no unit": ('"700 mm"', '"700"', "layout.cut_off", "write '700 m'"),
    "bare number": ('"700 mm"', "700", "layout.cut_off", "write '700 m'"),
    "wrong dimension": ('"700 mm"', '"700 kg"', "layout.cut_off", "a length is wanted"),
    "negative": ('margin_across = "8 mm"', 'margin_across = "-8 mm"', "layout.margin_across", "correct the layout"),
    "cut-off too short": ('"700 mm"', '"690 mm"', "cut_off", "lengthen the cut-off or take a row off"),
    "text for a number": ("9_000_000", '"9000000"', "notes", "digits alone"),
    "float": ("9_000_000", "9e6", "notes", "digits alone"),
    "none": ("rows = 9", "rows = 0", "layout.rows", "correct the number"),
    "no such day": ("2026-06-30", '"2026-06-31"', "deliveries[0].by", "as 2027-03-01"),
    "more than ordered": ("3_000_000", "30_000_000", "deliveries[0].notes", "correct one of the two"),
    "deliveries above the order": ("9_000_000", "8_000_000", "deliveries", "order as many"),
    "a delivery of no age": ("2026-06-30", "0001-01-01", "deliveries[0].by", "correct the year"),
    "a delivery at the end of days": ("2026-06-30", "9999-12-31", "deliveries[0].by", "correct the year"),
    "name twice": ("TM20 replacement", "TM20", "series[1].name", "give each its own name"),
    "letter twice": ("letters = 2", 'letters = 2\nalphabet = "ABA"', "series[0].alphabet", "leave one of the two out"),
    "small letters": ("letters = 2", 'letters = 2\nalphabet = "abc"', "series[0].alphabet", "write capitals"),
    "too long": ("letters = 2", "letters = 20", "series[0].digits", "at most 24"),
    "too many": ("letters = 2", "letters = 16", "series[0].letters", "take letters or digits off"),
    "series that share numbers": (
        'prefix = "R"\nletters = 2',
        'prefix = "R"\nletters = 1',
        "series[1]",
        "longer prefix",
    ),
}


@pytest.mark.parametrize(("old", "new", "field", "cure"), ORDER.values(), ids=ORDER)
def test_a_mistake_in_the_order_is_named(tmp_path, old, new, field, cure):
    said = fault(tmp_path, "order.toml", old, new)
    assert said.field == f"order.toml: {field}"
    assert cure in said.cure


def test_deliveries_above_the_order_are_told_with_both_sums(tmp_path):
    said = fault(tmp_path, "order.toml", "9_000_000", "8_000_000")
    assert said.value == "9,000,000 notes"
    assert said.true == "together they are 9,000,000 notes, the order is for 8,000,000"


def test_deliveries_below_the_order_are_read(tmp_path):
    (tmp_path / "order.toml").write_text(template("order.toml").replace("9_000_000", "20_000_000"), encoding="utf-8")
    order = read_order(tmp_path / "order.toml")
    assert (order.notes, sum(one.notes for one in order.deliveries)) == (20_000_000, 9_000_000)


WORKS = {
    "unknown key": ("zone =", "zne =", "zne", "write 'zone'"),
    "unknown station": ('station = "coat"', 'station = "coating"', "machines[1].station", "write 'coat'"),
    "name twice": ('name = "coater"', 'name = "film line"', "machines[1].name", "give each its own name"),
    "name": ('name = "coater"', 'name = "*"', "machines[1].name", "take the other characters out"),
    "not true": ("standing = true", 'standing = "yes"', "machines[4].standing", "write true or false"),
    "origin": ("pellwick.example/journal", "pellwick journal", "origin", "as works.example/main"),
    "zone": ("Etc/UTC", "Etc/UCT+25", "zone", "write it as Etc/UTC or +01:00"),
}


@pytest.mark.parametrize(("old", "new", "field", "cure"), WORKS.values(), ids=WORKS)
def test_a_mistake_in_the_works_is_named(tmp_path, old, new, field, cure):
    said = fault(tmp_path, "works.toml", old, new)
    assert said.field == f"works.toml: {field}"
    assert cure in said.cure


def test_all_mistakes_are_counted(tmp_path):
    assert fault(tmp_path, "order.toml", "rows = 9", "rows = 0\nrow = 1\nlines = 1").cure.endswith("(and 2 more)")


@pytest.mark.parametrize("zone", ["+01:00", "-03:30", "Etc/UTC"])
def test_a_zone_is_a_name_or_an_offset(written, zone):
    path = written / "works.toml"
    path.write_text(template("works.toml").replace("Etc/UTC", zone))
    assert read_works(path).zone == zone


@pytest.mark.parametrize(
    ("data", "true"),
    [
        (b"name = ", "it is not TOML: Invalid value (at end of document)"),
        (b'name = "a"\nname = "b"\n', "it is not TOML: Cannot overwrite a value (at line 2"),
        (b'name = "\xfc"', "byte 9 is not UTF-8"),
        (b"#" * (2**20 + 1), "longer than 1,048,576 bytes"),
        (b"a = " + b"[" * 100_000, "it is not TOML"),
    ],
)
@pytest.mark.parametrize("name", READERS)
def test_files_that_are_no_toml(tmp_path, name, data, true):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(Problem, match=re.escape(true)):
        READERS[name](tmp_path / name)


@pytest.mark.parametrize("name", READERS)
def test_files_that_are_not_there(tmp_path, name):
    for path in (tmp_path / name, tmp_path):
        with pytest.raises(Problem, match="reelmark new"):
            READERS[name](path)


# The key.


def test_a_key_signs_and_its_vkey_verifies(tmp_path):
    made = create_key(tmp_path / "works.key", "pellwick.example/journal")
    read = read_key(tmp_path / "works.key")
    assert read == made
    signed = note.sign("what is true\n", read.name, read.private)
    assert note.verify(signed, read_vkey(tmp_path / "works.key")) == "what is true\n"
    assert read_vkey(tmp_path / "works.vkey") == made.vkey


def test_a_key_is_for_its_owner_alone(tmp_path):
    path = tmp_path / "works.key"
    create_key(path, "works")
    assert path.stat().st_mode & 0o777 == 0o600
    path.chmod(0o640)
    with pytest.raises(Problem, match=r"others may read it \(640\); chmod 600"):
        read_key(path)


def test_a_key_is_never_written_over(tmp_path):
    path = tmp_path / "works.key"
    made = create_key(path, "works")
    with pytest.raises(Problem, match="there is a file of that name"):
        create_key(path, "works")
    assert read_key(path) == made


def test_a_name_that_cannot_sign_leaves_no_file(tmp_path):
    with pytest.raises(BadValue, match="key name"):
        create_key(tmp_path / "works.key", "two words")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("data", [b"", b"works", b"works AAAA", b"works ****", b"\xff" * 60])
def test_what_is_no_key_is_said_and_not_shown(tmp_path, data):
    path = tmp_path / "works.key"
    path.write_bytes(data)
    path.chmod(0o600)
    with pytest.raises(Problem) as caught:
        read_key(path)
    assert "AAAA" not in str(caught.value)


def test_a_private_key_is_not_printed():
    key = Key("works", bytes(range(32)))
    assert repr(key) == str(key) == "Key('works', private=...)"


def test_no_key_there(tmp_path):
    with pytest.raises(Problem, match="reelmark new"):
        read_key(tmp_path / "works.key")
