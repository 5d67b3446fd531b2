"""Check characters.  Authority: python-stdnum 2.2 (its ISO/IEC 7064 modules)."""

from types import ModuleType

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_11_2, mod_11_10, mod_37_2, mod_37_36, mod_97_10

from reelmark.errors import BadValue
from reelmark.stations.numbering import check

PAIRS = [
    (check.MOD_11_2, mod_11_2),
    (check.MOD_37_2, mod_37_2),
    (check.MOD_97_10, mod_97_10),
    (check.MOD_11_10, mod_11_10),
    (check.MOD_37_36, mod_37_36),
]


def reference_check(module: ModuleType, text: str) -> str:
    return str((module.calc_check_digits if module is mod_97_10 else module.calc_check_digit)(text))


# Each value as python-stdnum 2.2 gives it; 79462 -> 3 stands in its own documentation tests.
@pytest.mark.parametrize(
    ("system", "text", "characters"),
    [
        (check.MOD_11_2, "0794", "0"), (check.MOD_11_2, "079", "X"), (check.MOD_11_2, "12345678", "9"),
        (check.MOD_37_2, "AB1234567", "7"), (check.MOD_37_2, "G123489654321", "Y"), (check.MOD_37_2, "AA000001", "7"),
        (check.MOD_97_10, "0794", "44"), (check.MOD_97_10, "AB1234567", "15"), (check.MOD_97_10, "12345678", "89"),
        (check.MOD_11_10, "0794", "5"), (check.MOD_11_10, "12345678", "8"), (check.MOD_11_10, "79462", "3"),
        (check.MOD_11_10, "0000001", "5"),
        (check.MOD_37_36, "AB1234567", "7"), (check.MOD_37_36, "A12425GABC1234002", "M"),
        (check.MOD_37_36, "AA000001", "6"),
    ],
)  # fmt: skip
def test_listed_values(system, text, characters):
    assert system.check_characters(text) == characters
    assert system.valid(text + characters)


@pytest.mark.parametrize(("system", "module"), PAIRS)
@given(data=st.data())
def test_agrees_with_stdnum(system, module, data):
    text = data.draw(st.text(system.letters, min_size=1, max_size=30))
    assert system.check_characters(text) == reference_check(module, text)
    assert module.is_valid(text + system.check_characters(text))


@pytest.mark.parametrize(("system", "module"), PAIRS)
@given(data=st.data())
def test_valid_only_where_stdnum_says_so(system, module, data):
    text = data.draw(st.text(system.letters, min_size=3, max_size=12))
    if system.valid(text):
        assert module.is_valid(text)
    elif module is not mod_97_10:  # stdnum takes 00, 01 and 99 for 97, 98 and 02; we take what is written only
        assert not module.is_valid(text)


@pytest.mark.parametrize(("system", "module"), PAIRS)
@given(data=st.data())
def test_every_single_error_is_found(system, module, data):
    # ISO/IEC 7064 promises all single substitutions (restated on wiki.freepascal.org, ISO_7064).
    # 97-10 with letters promises it for digits; a letter wrongly read as a digit moves the rest.
    letters = "0123456789" if system is check.MOD_97_10 else system.letters
    whole = data.draw(st.text(letters, min_size=1, max_size=12))
    whole += system.check_characters(whole)
    place = data.draw(st.integers(0, len(whole) - 1))
    wrong = data.draw(st.sampled_from(system.checks).filter(lambda c: c != whole[place]))
    assert not system.valid(whole[:place] + wrong + whole[place + 1 :])


def test_what_cannot_be_checked_is_refused_with_its_place():
    with pytest.raises(BadValue, match="MOD 37,36 has no value for 'a' at place 2"):
        check.LABELS.check_characters("Aa1")
    with pytest.raises(BadValue, match="nothing to check"):
        check.DOCUMENTS.check_characters("")


@pytest.mark.parametrize("text", ["", "7", "12", "ab", "A B"])
def test_what_cannot_be_checked_is_not_valid(text):
    assert not check.DOCUMENTS.valid(text)
    assert not check.LABELS.valid(text[:1])
