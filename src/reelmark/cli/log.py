"""The journal: look at it, prove an entry, verify a proof far from the works."""

from pathlib import Path
from typing import Annotated

import typer

from .show import as_json, group, guarded, say, table

__all__ = ["app"]

app = group("The journal: its entries and seal; prove an entry; verify a proof without the works.")
Works = Annotated[Path, typer.Option("--works", "-w", help="The works' folder.", envvar="REELMARK_WORKS")]
Json = Annotated[bool, typer.Option("--json", help="One JSON document, for machines.")]


@app.command()
@guarded
def show(
    works: Works = Path(),
    first: Annotated[int, typer.Option("--from", help="First entry, from 0.")] = 0,
    many: Annotated[int, typer.Option(help="How many.")] = 20,
    json: Json = False,
) -> None:
    """Entries of the journal, and the seal over it."""
    from ..desk import Desk
    from ..errors import BadValue

    if first < 0 or many < 1:
        raise BadValue("--from, --many", (first, many), "entries count from 0", "give 0 or more, and 1 or more")
    with Desk(works) as desk:
        seal, bodies = desk.checkpoint(), desk.store.entries()[first : first + many]
    shown = [{"entry": first + i, "record": body.decode()} for i, body in enumerate(bodies)]
    if json:
        as_json({"entries": shown, "checkpoint": seal})
        return
    table("Journal", ["entry", "record"], [[one["entry"], str(one["record"])[:110]] for one in shown])
    say("", *str(seal["note"]).splitlines())


@app.command()
@guarded
def prove(
    entry: Annotated[int, typer.Argument(help="Entry of the journal, from 0.")],
    out: Annotated[Path, typer.Option("--out", help="Proof file to write; the entry's bytes go beside it as .entry.")],
    works: Works = Path(),
    json: Json = False,
) -> None:
    """Write a proof that an entry is in the journal as sealed; it verifies without the works."""
    from ..desk import Desk
    from ..errors import BadValue
    from ..journal import Tree
    from ..note import proof_text

    with Desk(works) as desk:
        seal, size = desk.checkpoint(), desk.store.size
        if not 0 <= entry < size:
            raise BadValue("entry", entry, f"the journal holds {size} entries, 0 to {size - 1}", "name one of them")
        proof = proof_text(entry, Tree(desk.store.leaves()).inclusion(entry, size), str(seal["note"]))
        body = desk.store.entries()[entry]
        vkey = (desk.folder / "key.vkey").read_text(encoding="ascii").strip()
    beside = out.with_suffix(out.suffix + ".entry")
    out.write_text(proof, encoding="utf-8")
    beside.write_bytes(body)
    if json:
        as_json({"proof": str(out), "entry_file": str(beside), "entry": entry, "size": size, "key": vkey})
        return
    say(
        f"{out}: entry {entry} of {size}",
        f"{beside}: its bytes",
        f"verify anywhere: reelmark log verify {out} --key {vkey}",
    )


@app.command()
@guarded
def verify(
    proof: Annotated[Path, typer.Argument(help="A proof file; the entry's bytes beside it as .entry.")],
    key: Annotated[str, typer.Option("--key", help="The works' public key text, or a file that holds it.")],
    entry: Annotated[Path | None, typer.Option("--entry", help="The entry's bytes, if not beside the proof.")] = None,
    json: Json = False,
) -> None:
    """Verify a proof: the entry, byte for byte, is in the journal that key sealed.  Needs no works and no net."""
    from ..note import verify_proof

    body = (entry or proof.with_suffix(proof.suffix + ".entry")).read_bytes()
    vkey = Path(key).read_text(encoding="ascii").strip() if "+" not in key else key
    index, seal = verify_proof(proof.read_text(encoding="utf-8"), body, vkey)
    if json:
        as_json({"verified": True, "entry": index, "origin": seal.origin, "size": seal.size, "root": seal.root.hex()})
        return
    say(f"verified: entry {index} of {seal.size} in the journal of {seal.origin}, root {seal.root.hex()[:16]}…")


@app.command()
@guarded
def check(works: Works = Path(), json: Json = False) -> None:
    """Every entry and seal recomputed; the first that is not as sealed is named."""
    from ..desk import Desk
    from ..note import verify

    with Desk(works) as desk:
        desk.store.check()
        seal = desk.checkpoint()
        if seal["note"]:
            verify(str(seal["note"]), (desk.folder / "key.vkey").read_text(encoding="ascii").strip())
    if json:
        as_json({"whole": True, "checkpoint": seal})
        return
    say(f"whole: {seal['size']:,} entries as sealed, root {str(seal['root'])[:16]}…")
