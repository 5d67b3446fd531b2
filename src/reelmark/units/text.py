"""A quantity as text: read it strictly, show it plainly."""

import math
import re
import unicodedata
from decimal import Decimal, localcontext

from reelmark.errors import BadValue
from reelmark.units.table import FRACTION, UNITS, Dimension, Unit

__all__ = ["in_metres", "metres", "parse", "show", "whole", "written"]

# At most 30 digits on each side of the point, so that DIGITS of working precision lose none of them.
NUMBER = re.compile(r"[+-]?(?:\d{1,30}(?:\.\d{0,30})?|\.\d{1,30})(?:[eE][+-]?\d{1,3})?", re.ASCII)
SPLIT = re.compile(r"\s*(?P<number>[+-]?[0-9.][0-9.,'_\u2019\s]*(?:[eE][+-]?[0-9]+)?)(?P<unit>.*)", re.DOTALL)
MARKS = re.compile(r"[,'_\u2019\s]")
THOUSANDS = re.compile(r"[+-]?[0-9]{1,3}(?:[,'_\u2019\s][0-9]{3})+(?:\.[0-9]*)?")
LONE = re.compile(r"[+-]?[0-9]+,[0-9]+")
DIGITS = 200
MOST = 2**63 - 1  # whole numbers live in int64
LARGEST = Decimal("1e300")  # and the others in a float


def parse(text: object, dimension: Dimension, field: str = "value") -> Decimal:
    """The SI value of a written quantity, exactly as written.

    text : number and unit; a fraction may stand without a unit
    field : where the text stood, for the message
    BadValue when it is no such quantity, with what to write instead.
    """
    number, symbol = _split(text, dimension, field)
    one = _unit(number, symbol, dimension, field, text)
    with localcontext(prec=DIGITS):
        value = number * one.times / one.over + one.offset
    if dimension.least is not None and value < dimension.least:
        true = f"that is below the least {dimension.noun}, {dimension.least} {dimension.si}"
        raise BadValue(field, text, true, f"correct the number or the unit, such as '{dimension.example}'")
    if abs(value) > LARGEST:
        raise BadValue(field, text, f"that is larger than any {dimension.noun}", "correct the number or the unit")
    return value


def whole(text: object, symbol: str, field: str = "value") -> int:
    """A written quantity in whole units of ``symbol``; BadValue when it is finer than one of them, never rounded."""
    one = written(symbol)
    value = parse(text, one.dimension, field)
    with localcontext(prec=DIGITS):
        count = (value - one.offset) * one.over / one.times
    if count != count.to_integral_value():
        cure = f"round it yourself, to {count.to_integral_value():f} {symbol} if that is meant"
        raise BadValue(field, text, f"that is finer than 1 {symbol}, and places are whole {symbol}", cure)
    if abs(count) > MOST:
        raise BadValue(field, text, f"that is more than {MOST} {symbol}", "correct the number or the unit")
    return int(count)


def show(value: float | Decimal, symbol: str, digits: int) -> str:
    """An SI value as text in a unit, rounded to so many decimals; 'not known' for nan.

    >>> show(0.000065, "um", 1)
    '65.0 um'
    """
    if not math.isfinite(value):
        return "not known" if math.isnan(value) else f"{value} {symbol}"
    one = written(symbol)
    with localcontext(prec=DIGITS + 400):
        exact = value if isinstance(value, Decimal) else Decimal(repr(float(value)))
        shown = (exact - one.offset) * one.over / one.times
        text = f"{shown.quantize(Decimal(1).scaleb(-digits)) + 0:f}"
    return text if symbol == "1" else f"{text} {symbol}"


def metres(um: int) -> str:
    """A whole number of micrometres as text in metres, exact: three decimals, six where they are needed."""
    with localcontext(prec=DIGITS):
        value = Decimal(int(um)).scaleb(-6)
        return f"{value.quantize(Decimal('0.001')) if um % 1000 == 0 else value:f} m"


def in_metres(um: int) -> str:
    """The figure alone, exact and no longer than it must be, as an address or a record writes it.

    >>> in_metres(5214250000), in_metres(3000000), in_metres(1)
    ('5214.25', '3', '0.000001')
    """
    return f"{um // 10**6}.{um % 10**6:06d}".rstrip("0").rstrip(".")


def written(symbol: str) -> Unit:
    """The unit of that symbol; KeyError names those there are."""
    for one in UNITS:
        if one.symbol == symbol:
            return one
    raise KeyError(f"no unit {symbol!r}; there are {', '.join(dict.fromkeys(u.symbol for u in UNITS))}")


def _split(text: object, dimension: Dimension, field: str) -> tuple[Decimal, str]:
    """Number and unit symbol of a text, the number checked digit by digit."""
    wish = f"write a number and a unit, such as '{dimension.example}'"
    if isinstance(text, bool) or not isinstance(text, str | int | float | Decimal):
        raise BadValue(field, text, "that is not a number with a unit", wish)
    found = SPLIT.fullmatch(str(text).replace("\u2212", "-"))
    if found is None:
        raise BadValue(field, text, "that does not begin with a number" if str(text).strip() else "that is empty", wish)
    number, symbol = found["number"].strip(), _plain(found["unit"])
    if MARKS.search(number):
        raise BadValue(field, text, "its number has a comma or a mark between digits", _unmarked(number, symbol))
    if NUMBER.fullmatch(number) is None:
        raise BadValue(field, text, f"'{number}' is not a number of at most 30 digits", wish)
    return Decimal(number), symbol


def _unit(number: Decimal, symbol: str, dimension: Dimension, field: str, text: object) -> Unit:
    """The unit meant by a symbol where a dimension is wanted."""
    wanted = symbol or ("1" if dimension is FRACTION else "")
    same = [one for one in UNITS if one.symbol == wanted]
    for one in same:
        if one.dimension is dimension:
            return one
    if not symbol:
        raise BadValue(field, text, "that has no unit", f"write '{number} {dimension.si}'")
    if same:
        cure = f"{dimension.name} is wanted, such as '{dimension.example}'"
        raise BadValue(field, text, f"that is {same[0].dimension.name}", cure)
    units = ", ".join(one.symbol for one in UNITS if one.dimension is dimension)
    raise BadValue(field, text, f"'{symbol}' is no unit known here", f"for {dimension.name} write one of {units}")


def _plain(symbol: str) -> str:
    """A unit symbol in plain letters: either micro sign is u, raised figures come down, the degree sign is deg."""
    folded = unicodedata.normalize("NFKC", symbol.replace("°", "deg")).strip()
    return folded.replace("\u03bc", "u").replace("\u00b7", ".")


def _unmarked(number: str, symbol: str) -> str:
    """The cure for a comma or a mark: the same number without it, or with a point where a lone comma may be one."""
    joined, pointed = (f"'{f'{text} {symbol}'.strip()}'" for text in (MARKS.sub("", number), number.replace(",", ".")))
    if THOUSANDS.fullmatch(number):
        return f"write {joined}" + (f", or {pointed} if the comma is a decimal point" if LONE.fullmatch(number) else "")
    return f"write {pointed}" if LONE.fullmatch(number) else "write digits and at most one decimal point"
