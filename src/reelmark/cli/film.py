"""The film line on the command line: set it, read its gauge, read a spectrum."""

from pathlib import Path
from typing import Annotated, Any, Optional

import typer

from ..errors import BadValue
from .film_given import circumferences, in_si, left_out, named, stretch, swept_of, tube_of
from .show import as_json, group, guarded, rests_on, say, short, table

__all__ = ["app"]

app = group("The film line: its settings, and what its gauge says.")
Json = Annotated[bool, typer.Option("--json", help="One JSON document, for machines.")]
Text = Optional[str]  # noqa: UP045  what typer reads
Texts = Optional[list[str]]  # noqa: UP045
LEFT_OUT = "Wavenumbers in it not read: 2280-2400, or none. Not given: carbon dioxide of the air, where it is seen."


@app.command("set")
@guarded
def set_line(
    gauge: Annotated[Text, typer.Option(help='Of the finished film: "75 um".')] = None,
    width: Annotated[Text, typer.Option(help='Lay-flat: "2.8 m".')] = None,
    speed: Annotated[Text, typer.Option(help='Of the line: "25 m/min".')] = None,
    output: Annotated[Text, typer.Option(help='"570 kg/h". Of gauge, width, speed and output give three.')] = None,
    draw_across: Annotated[float, typer.Option(help="Draw ratio across.")] = 7.0,
    draw_along: Annotated[float, typer.Option(help="Draw ratio along.")] = 6.0,
    density: Annotated[Text, typer.Option(help='Of the film: "905 kg/m3".')] = None,
    trim: Annotated[Text, typer.Option(help='Share of the lay-flat width cut off: "2 %".')] = None,
    roll_length: Annotated[Text, typer.Option(help='Of a roll: "8 km".')] = None,
    core: Annotated[Text, typer.Option(help='Core diameter: "152.4 mm".')] = None,
    order_length: Annotated[Text, typer.Option(help='Metres of web wanted in all: "48 km".')] = None,
    cooled_sides: Annotated[int, typer.Option(help="1, water outside only, or 2.", min=1, max=2)] = 1,
    material: Annotated[Texts, typer.Option(help="A property known better, SI: melt_density=740.")] = None,
    line: Annotated[Texts, typer.Option(help="A figure of the line, SI: draw_stress=25e6.")] = None,
    tube: Annotated[Text, typer.Option(help="Ask the thin-film model: blow-up,draw,length: 2.2,1.8,5.")] = None,
    vary: Annotated[Text, typer.Option("--sweep", help="One input over values, SI: speed=0.3,0.4,0.5.")] = None,
    json: Json = False,
) -> None:
    """Every setting of the film line for a gauge and a width, each with its range of validity."""
    from ..acts.film import film_settings, film_sweep, recipe_of

    wanted: dict[str, Any] = {
        "gauge": in_si("gauge", gauge, "LENGTH"), "width": in_si("width", width, "LENGTH"),
        "speed": in_si("speed", speed, "SPEED"), "output": in_si("output", output, "MASS_FLOW"),
        "draw_across": draw_across, "draw_along": draw_along, "trim": in_si("trim", trim, "FRACTION"),
        "roll_length": in_si("roll-length", roll_length, "LENGTH"), "core_diameter": in_si("core", core, "LENGTH"),
        "order_length": in_si("order-length", order_length, "LENGTH"), "cooled_sides": cooled_sides,
    }  # fmt: skip
    known = named("--material", material)
    if density is not None:
        if "density" in known:
            raise BadValue("--density", density, f"--material density={known['density']:g} is given too", "give one")
        known["density"] = in_si("density", density, "DENSITY") or 0.0
    recipe = recipe_of(wanted, known, named("--line", line), tube_of(tube))
    if vary is not None:
        field, values = swept_of(vary)
        swept = film_sweep(recipe, field, values)
        _show_sweep(swept, json)
        if "error" in swept:
            raise typer.Exit(1)
        return
    answer = film_settings(recipe)
    if json:
        as_json(answer)
        return
    _show(answer)


def _show(answer: dict[str, Any]) -> None:
    figures = {k: v for k, v in answer.items() if k not in {"notes", "from_memory", "cautions"}}
    table("Settings", ["what", "is"], [[k, short(v)] for k, v in figures.items() if v is not None])
    rests_on(answer)


def _show_sweep(answer: dict[str, Any], json: bool) -> None:
    if json:
        as_json(answer)
        return
    shown = ("output_kg_h", "speed_m_min", "cast_wall_mm", "bubble_pressure_mbar", "bath_length_m", "cooling_duty_kw")
    field = answer["swept"]
    rows = [row for row in answer["rows"] if "refused" not in row]
    table(
        f"Swept: {field}", [field, *shown], [[short(row[field]), *(short(row.get(k)) for k in shown)] for row in rows]
    )
    say(*(f"{short(row[field])} is refused. {row['refused']}" for row in answer["rows"] if "refused" in row))


@app.command()
@guarded
def spectrum(
    file: Annotated[Path, typer.Argument(help="CSV or Parquet with wavenumber_cm1 and transmittance.")],
    thinnest: Annotated[str, typer.Option(help="Film looked for, from here")] = "40 um",
    thickest: Annotated[str, typer.Option(help="to here.")] = "200 um",
    window: Annotated[str, typer.Option(help="Wavenumbers read, 1/cm.")] = "2000-2700",
    leave_out: Annotated[Texts, typer.Option(help=LEFT_OUT)] = None,
    index: Annotated[Texts, typer.Option(help="n0=1.485, relative_sd, birefringence, strength (of its bands).")] = None,
    json: Json = False,
) -> None:
    """An infrared spectrum of clear film as its thickness, or why it cannot be read."""
    from ..acts.film import film_spectrum
    from ..io.gauge import read_spectrum
    from ..stations.film.spectrum import Window

    low, high = (
        1e6 * (in_si(name, text, "LENGTH") or 0) for name, text in (("thinnest", thinnest), ("thickest", thickest))
    )
    if not 1 <= low < high <= 5000:
        true = "the range runs from 1 to 5,000 um, the thinnest first"
        raise BadValue(
            "--thinnest, --thickest", f"{low:g} um, {high:g} um", true, "look at their units and their order"
        )
    read_in = Window(*stretch("--window", window), leave_out=left_out(leave_out))
    answer = film_spectrum(read_spectrum(file), (low, high), read_in, named("--index", index))
    if json:
        as_json(answer)
        return
    say(f"{answer['thickness_um']:.3f} um, standard deviation {answer['combined_sd_um']:.3f} um")
    say(f"  of it the fit {answer['sd_um']:.4f} um, the index {answer['index_um']:.3f} um")
    fringes = f"{answer['fringes']:.1f} of them, order {answer['order']}"
    say(f"  visibility of the fringes {answer['visibility']:.2f}, {fringes}")
    say(*(f"  {note}" for note in answer["notes"]), *(f"Caution: {one}" for one in answer["cautions"]))


@app.command()
@guarded
def read(
    file: Annotated[Path, typer.Argument(help="CSV or Parquet with roll, time_s, metre_m, across_mm, gauge_um.")],
    target: Annotated[Text, typer.Option(help='Gauge wanted: "75 um".')] = None,
    tolerance: Annotated[Text, typer.Option(help='Half its width: "3 um".  With the target: Cpk, grades.')] = None,
    noise: Annotated[Text, typer.Option(help='Of the gauge alone, head and web stopped: "0.1 um".')] = None,
    lanes: Annotated[int, typer.Option(help="Lanes of the gauge.", min=2, max=400)] = 40,
    die_stands: Annotated[bool, typer.Option("--die-stands", help="Neither die nor haul-off turns.")] = False,
    element: Annotated[Texts, typer.Option(help="Circumference of a roll or gear, m: nip=2.5.")] = None,
    false_per_week: Annotated[float, typer.Option(help="False marks a week in all.", min=0.01, max=1000)] = 1.0,
    json: Json = False,
) -> None:
    """What a scanning gauge says of every roll of a file: mean, Cpk, shares of the variance, waves, marks."""
    from ..acts.gauge import film_read, limits_of
    from ..io.gauge import read_gauge
    from ..stations.film.gauge import Settings

    asked = {"target": target, "tolerance": tolerance, "noise": noise}
    si = {name: in_si(name, text, "LENGTH") for name, text in asked.items()}
    wanted, allowed, alone = (None if one is None else one * 1e6 for one in si.values())
    for name, one in (("--target", wanted), ("--tolerance", allowed), ("--noise", alone)):
        if one is not None and not 0 < one < 2000:
            raise BadValue(name, f"{one:g} um", "it lies outside 0 to 2000 um", "look at its unit and its sign")
    settings = Settings(
        lanes=lanes, die=None if die_stands else "find", noise_um=alone, elements_m=circumferences(element),
        limits=limits_of(wanted, allowed), false_per_week=false_per_week,
    )  # fmt: skip
    answer = film_read(read_gauge(file), settings)
    if json:
        as_json(answer)
    else:
        for one in answer["rolls"]:
            _show_roll(one)
        say("", *(f"Caution: {one}" for one in answer["cautions"]))
    if "error" in answer:
        raise typer.Exit(1)


def _show_roll(one: dict[str, Any]) -> None:
    """A roll for people."""
    if "refused" in one:
        say(f"{one['roll']}: not read. {one['refused']['asked']}: {one['refused']['true']}; {one['refused']['cure']}")
        return
    cpk = "no Cpk"
    if one["cpk"] is not None:
        (low, high), (lower, upper) = one["cpk_interval"], one["limits_um"]
        assumed = ", limits assumed: give --target and --tolerance" if one["limits_assumed"] else ""
        cpk = f"Cpk {one['cpk']:.2f}, 95 %: {low:.2f} to {high:.2f}, within {lower:.2f} to {upper:.2f} um{assumed}"
    head = f"{one['roll']}: {one['from_m']:,.1f} to {one['to_m']:,.1f} m, mean {one['mean_um']:.3f} um"
    say("", f"{head}, 2 s {one['two_sigma_um']:.3f} um, {cpk}")
    shares = one["shares"].items()
    table("Variance", ["cause", "share %"], [[name.replace("_", " "), f"{100 * part:.1f}"] for name, part in shares])
    table("Waves", ["period s", "on the web m", "amplitude um", "candidates"],
          [[f"{w['period_s']:.3f}", f"{w['length_m']:,.2f}", f"{w['amplitude_um']:.3f}", ", ".join(w["elements"])]
           for w in one["waves"]])  # fmt: skip
    table("Marks", ["kind", "from m", "to m", "from mm", "to mm", "grade", "what to know and do"],
          [[m["kind"], *(f"{round(m[k], 1) + 0.0:,.1f}" for k in ("from_m", "to_m", "from_mm", "to_mm")), m["grade"],
            m["says"]] for m in one["marks"]])  # fmt: skip
    say(*(f"  {note}" for note in one["notes"]))
