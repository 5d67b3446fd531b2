"""The coater on the command line: coats for an opacity, ink, solvent, air, web and register, passes of an order."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from ..errors import BadValue
from .coat_given import blend, definition_of, grains, lengths, per_um, recipe_of, together, under_of
from .film_given import in_si
from .show import as_json, group, guarded, rests_on, say, short, table

if TYPE_CHECKING:
    from ..order import Order
    from ..plant import Plant

__all__ = ["app"]

app = group("The coater: how many white coats, with what ink, air and pull.")
Json = Annotated[bool, typer.Option("--json", help="One JSON document, for machines.")]
Text = Optional[str]  # noqa: UP045  what typer reads
Texts = Optional[list[str]]  # noqa: UP045
Number = Optional[float]  # noqa: UP045
File = Optional[Path]  # noqa: UP045


@app.callback()
def coater() -> None:
    """The coater: how many white coats, with what ink, air and pull."""


@app.command("set")
@guarded
def set_coats(
    coat: Annotated[str, typer.Option(help='Dry thickness of one coat: "2.5 um".')],
    scattering: Annotated[Number, typer.Option(help="S of the dry coat, 1/um; or give --draw-downs.")] = None,
    absorption: Annotated[Number, typer.Option(help="K of the dry coat, 1/um.")] = None,
    draw_downs: Annotated[
        File, typer.Option(help="CSV: coat_um, over_black, over_white, maybe black, white, lot.")
    ] = None,
    lot: Annotated[Text, typer.Option(help="The ink lot of that file, where it holds several.")] = None,
    level: Annotated[float, typer.Option(help="Of the intervals of S and K.")] = 0.95,
    coats: Annotated[int, typer.Option(help="Coats a side, up to five.")] = 5,
    one_side: Annotated[bool, typer.Option("--one-side", help="Only one side is coated.")] = False,
    under: Annotated[Text, typer.Option(help='First coat of each side of another ink: "1 um,0.1,0.02" (S, K).')] = None,
    target: Annotated[Text, typer.Option(help='Opacity wanted: "90 %".')] = None,
    definition: Annotated[
        str, typer.Option(help="Of the target: white-backing, paper-backing, ratio.")
    ] = "white-backing",
    black: Annotated[float, typer.Option(help="Reflectance of the black backing in use.")] = 0.0,
    white: Annotated[float, typer.Option(help="Reflectance of the white backing in use.")] = 0.89,
    index: Annotated[float, typer.Option(help="1.5 puts the faces to the air in; 1 leaves them out.")] = 1.0,
    gloss: Annotated[float, typer.Option(help="Share of the faces' gloss that the instrument sees.")] = 1.0,
    density: Annotated[Text, typer.Option(help='Of the dry coat: "1650 kg/m3".')] = None,
    solids: Annotated[Text, typer.Option(help='Dry share of the wet ink, by mass: "50 %".')] = None,
    windows: Annotated[Text, typer.Option(help='Share of the web left clear: "3 %".')] = None,
    solvent: Annotated[Texts, typer.Option(help="Name, or for a blend again and again NAME=SHARE by mass.")] = None,
    solvent_data: Annotated[Texts, typer.Option(help="Known better, SI: ethyl acetate.lfl=0.02.")] = None,
    width: Annotated[Text, typer.Option(help='Of the web: "1 m".')] = None,
    speed: Annotated[Text, typer.Option(help='Of the web: "150 m/min".')] = None,
    length: Annotated[Text, typer.Option(help='Of a roll: "8 km".')] = None,
    order_length: Annotated[Text, typer.Option(help='Of all web: "80 km".')] = None,
    gauge: Annotated[Text, typer.Option(help='Of the clear film: "75 um".')] = None,
    tension: Annotated[Text, typer.Option(help='Pull of the web: "150 N/m".')] = None,
    repeat: Annotated[Text, typer.Option(help='Of the cylinders: "600 mm".')] = None,
    shrink: Annotated[Text, typer.Option(help='Of the web in a dryer, for good: "0.05 %".')] = None,
    units: Annotated[Number, typer.Option(help="Coats laid in one pass.")] = None,
    repeats_a_sheet: Annotated[float, typer.Option(help="Cylinder repeats in one sheet.")] = 1.0,
    ink: Annotated[Texts, typer.Option(help="Known better, SI: wet_density=1150, transfer=0.5.")] = None,
    web: Annotated[Texts, typer.Option(help="Known better, SI: span=3, tension_step=10.")] = None,
    dryer: Annotated[Texts, typer.Option(help="Known better, SI: dryer_temperature=343.15.")] = None,
    material: Annotated[Texts, typer.Option(help="A property of the film, SI: youngs_modulus=2e9.")] = None,
    pigment: Annotated[
        Text, typer.Option(help='Rutile in the dry coat, by volume: "15 %"; how much it can scatter.')
    ] = None,
    pigment_size: Annotated[str, typer.Option(help="Its diameter.")] = "0.25 um",
    order: Annotated[File, typer.Option(help="An order.toml: its passes, hours and ink too.")] = None,
    works: Annotated[Path, typer.Option("--works", "-w", help="With --order: a works.toml, or its folder.")] = Path(),
    json: Json = False,
) -> None:
    """Coats for an opacity, with ink, solvent, air, heat, web and register; of an order also passes and hours."""
    from ..acts.coat import coat_order, coat_settings, order_needs
    from ..stations.coat.cover import Coated
    from ..stations.coat.layers import Coat
    from ..stations.coat.opacity import Backings

    backings = Backings(black, white)
    fit = None if draw_downs is None else _fitted(draw_downs, lot, (scattering, absorption), backings, index, level)
    rates = (fit.fitted.scattering, fit.fitted.absorption) if fit else _rates(scattering, absorption, lot)
    made = Coated(
        Coat(rates[0], rates[1], in_si("coat", coat, "LENGTH") or 0.0), under_of(under), 1 if one_side else 2,
        index, gloss, definition=definition_of(definition), backings=backings,
    )  # fmt: skip
    asked = _asked(order, works)
    said = order_needs(*asked) if asked else {}
    sizes = lengths({"width": width, "length": length, "order-length": order_length, "gauge": gauge})
    sizes |= {"speed": in_si("speed", speed, "SPEED")}
    stuff = together("--ink", ink, {
        "dry_density": in_si("density", density, "DENSITY"), "solids": in_si("solids", solids, "FRACTION"),
        "windows": in_si("windows", windows, "FRACTION"),
    })  # fmt: skip
    pulled = together("--web", web, {
        "tension": in_si("tension", tension, "TENSION"), "repeat": in_si("repeat", repeat, "LENGTH"),
        "dryer_shrink": in_si("shrink", shrink, "FRACTION"), "units": units,
    })  # fmt: skip
    recipe = recipe_of(
        made, said, sizes, stuff, pulled, together("--dryer", dryer, {}), together("--material", material, {}),
        coats=coats, target=in_si("target", target, "FRACTION"), repeats_a_sheet=repeats_a_sheet,
        solvent=blend(solvent, solvent_data),
    )  # fmt: skip
    answer = coat_settings(recipe, fit, grains(pigment, pigment_size))
    answer |= {"order": coat_order(recipe, *asked) if asked else None}
    if json:
        as_json(answer)
        return
    _show(answer)


def _rates(scattering: float | None, absorption: float | None, lot: str | None) -> tuple[float, float]:
    if lot is not None:
        raise BadValue("--lot", lot, "no file of draw-downs is given", "give --draw-downs FILE, or leave --lot away")
    if scattering is None or absorption is None:
        missing = " and ".join(n for n, v in (("--scattering", scattering), ("--absorption", absorption)) if v is None)
        raise BadValue(missing, "not given", "opacity rests on both S and K", "give both, or --draw-downs FILE")
    return per_um("--scattering", scattering), per_um("--absorption", absorption)


def _fitted(
    file: Path, lot: str | None, rates: tuple[float | None, float | None], backings: Any, index: float, level: float
) -> Any:
    from ..acts.coat import fit_lots, lot_of
    from ..io.gauge import read_draw_downs

    if any(one is not None for one in rates):
        true = "S and K come out of the draw-downs"
        raise BadValue("--draw-downs", str(file), true, "give them, or --scattering and --absorption, not both")
    return lot_of(fit_lots(read_draw_downs(file), backings, index, level), lot)


def _asked(order: Path | None, works: Path) -> "tuple[Order, Plant] | None":
    if order is None:
        return None
    from ..acts.planning import plant_of
    from ..io import read_order, read_works

    there = read_works(works / "works.toml" if works.is_dir() else works)
    return read_order(order), plant_of(there)


def _show(answer: dict[str, Any]) -> None:
    columns = ("coats_a_side", "coat_in_all_um", "opacity_white_backing", "opacity_paper_backing", "opacity_ratio",
               "reflectance_over_white", "lightness_over_white")  # fmt: skip
    rows = zip(*(answer[name] for name in columns), strict=True)
    table("Opacity, percent", [name.replace("_", " ") for name in columns], [list(row) for row in rows])
    say(f"white backing: {answer['definition']}", f"paper backing: {answer['definitions']['opacity_paper_backing']}")
    if answer["target"]:
        say("", answer["target"]["says"], f"  {answer['target']['definition']}")
    greyer = [[short(x) for x in row.values()] for row in answer["greyer"]]
    table("Greyer is more opaque and less white", ["K 1/um", "opacity %", "over white", "L*"], greyer)
    if fit := answer["fit"]:
        say(*(f"{name} {short(fit[key + '_per_um'])} 1/um, {short(low)} to {short(high)}"
              for name, key in (("S", "scattering"), ("K", "absorption"))
              for low, high in [fit[key + "_interval_per_um"]]))  # fmt: skip
    flat = {k: v for k, v in answer.items() if isinstance(v, int | float) and not isinstance(v, bool)}
    table("Settings", ["what", "is"], [[k, short(v)] for k, v in flat.items()])
    if of := answer["order"]:
        say("", f"{of['order']}: {of['passes']} passes, {of['hours']:.1f} h, {of['ink_wet_kg']:,.0f} kg of wet ink")
        say(*(f"  {one}" for one in of["says"]))
    rests_on(answer)
