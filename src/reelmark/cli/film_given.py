"""What is written on the command line of the film line, as numbers: quantities, NAME=NUMBER, stretches, sweeps."""

import math

from ..errors import BadValue

__all__ = ["circumferences", "in_si", "left_out", "named", "stretch", "swept_of", "tube_of"]

EXAMPLES = {
    "--material": "melt_density=740, in SI", "--line": "draw_stress=25e6, in SI", "--index": "n0=1.485",
    "--element": "nip=2.5, the circumference in m", "--ink": "dry_density=1650, in SI", "--web": "span=3, in SI",
    "--dryer": "dryer_temperature=343.15, in SI", "--solvent-data": "ethyl acetate.lfl=0.02, in SI",
    "--solvent": "ethyl acetate=0.7, its share by mass",
}  # fmt: skip


def in_si(name: str, text: str | None, kind: str) -> float | None:
    """A quantity with its unit in SI; None where it was not given."""
    from .. import units

    if text is None:
        return None
    try:
        return float(units.parse(text, getattr(units, kind)))
    except BadValue as error:
        raise BadValue(f"--{name}", text, error.true, error.cure) from error


def named(option: str, given: list[str] | None) -> dict[str, float]:
    """NAME=NUMBER pairs, SI."""
    found: dict[str, float] = {}
    for text in given or ():
        name, _, value = (part.strip() for part in text.partition("="))
        name = name.removeprefix(f"{option.strip('-')}.")
        try:
            number = float(value)
        except ValueError as error:
            raise BadValue(option, text, "it is no name and number", f"write it as {EXAMPLES[option]}") from error
        if not (name and math.isfinite(number)):
            raise BadValue(option, text, "a name and a finite number are wanted", f"write it as {EXAMPLES[option]}")
        if found.setdefault(name, number) != number:
            raise BadValue(option, text, f"{name} is given twice, as {found[name]:g} before", "give it once")
    return found


def circumferences(given: list[str] | None) -> dict[str, float]:
    """--element: metres round each, above 0."""
    found = named("--element", given)
    for name, metres in found.items():
        if not 0.001 <= metres <= 1000:
            true = "a circumference lies between 0.001 and 1,000 m"
            raise BadValue("--element", f"{name}={metres:g}", true, f"write it as {EXAMPLES['--element']}")
    return found


def stretch(option: str, text: str) -> tuple[float, float]:
    """2280-2400, 1/cm."""
    try:
        low, high = (float(one) for one in text.split("-"))
    except ValueError as error:
        raise BadValue(option, text, "it is no stretch", "write it as 2280-2400, in 1/cm") from error
    if not 0 < low < high < math.inf:
        raise BadValue(option, text, "it does not rise from above 0", "write the lower first: 2280-2400, in 1/cm")
    return low, high


def left_out(given: list[str] | None) -> tuple[tuple[float, float], ...] | None:
    """--leave-out; None looks for carbon dioxide, () reads everything."""
    if not given:
        return None
    if "none" in given and len(given) > 1:
        raise BadValue("--leave-out", ", ".join(given), "none stands beside stretches", "give the one or the others")
    return () if given == ["none"] else tuple(stretch("--leave-out", one) for one in given)


def tube_of(text: str | None) -> tuple[float, float, float] | None:
    if text is None:
        return None
    try:
        blow_up, draw, length = (float(one) for one in text.split(","))
    except ValueError as error:
        raise BadValue("--tube", text, "it is not three numbers", "write blow-up,draw,length as 2.2,1.8,5") from error
    return blow_up, draw, length


def swept_of(text: str) -> tuple[str, list[float]]:
    field, _, values = text.partition("=")
    try:
        found = [float(one) for one in values.split(",")]
    except ValueError as error:
        raise BadValue("--sweep", text, "it is no name and numbers", "write it as speed=0.3,0.4,0.5, in SI") from error
    if len(found) > 100 or not all(math.isfinite(one) for one in found):
        raise BadValue("--sweep", text[:60], "1 to 100 finite values are swept at once", "take fewer, or finite ones")
    return field.strip().replace("-", "_"), found
