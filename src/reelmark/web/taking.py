"""Taking in shop records that are sent as files: a job takes them, file after file, and keeps what became of each."""

import shutil
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated, Any, BinaryIO, Final
from urllib.parse import quote

from fastapi import APIRouter, Depends, File, Form, Request, UploadFile
from fastapi import Path as InPath
from fastapi.responses import JSONResponse, RedirectResponse, Response

from ..desk import Desk, Taken
from ..errors import BadValue
from ..reading import Tell
from .jobs import Job
from .page import Asked, AskedNow
from .roles import Role
from .sign import Needs

__all__ = ["ENDINGS", "MOST_BYTES", "MOST_FILES", "Sent", "router"]

ENDINGS: Final = (".jsonl", ".ndjson", ".json", ".csv")
MOST_BYTES: Final = 256 * 2**20  # of all files of one sending
MOST_FILES: Final = 200
MOST_KEPT: Final = 1_000  # refusals of a file that are kept for the page; the rest are counted

router = APIRouter()
JobName = Annotated[str, InPath(max_length=64)]
Sent = list[dict[str, Any]]  # what became of each file: see _became


@router.post("/orders/{order}/intake", dependencies=[Depends(Needs(Role.WRITE))], summary="Take in shop records",
             response_model=None)  # fmt: skip
def take(
    request: Request,
    asked: AskedNow,
    files: Annotated[list[UploadFile], File()],
    skip_bad: Annotated[bool, Form()] = False,
) -> Response:
    """Files of records, taken in the order of their names by a job; the page, or for machines the job's name."""
    named = sorted(((_own_name(one), one) for one in files if one.filename), key=lambda pair: pair[0])
    _checked([name for name, _ in named])
    folder = TemporaryDirectory(prefix="reelmark-intake-")
    try:
        paths = _stored(Path(folder.name), named)
    except BaseException:
        folder.cleanup()
        raise
    sent: Sent = []
    by = asked.who.name if asked.who else ""
    title = f"{len(paths):,} files" if len(paths) > 1 else paths[0][0]
    job = asked.house.jobs.start(
        asked.live, f"intake of {title}", by, lambda desk, tell: _take(desk, tell, paths, skip_bad, sent), sent,
        folder.cleanup,
    )  # fmt: skip
    return _answer(request, asked, job)


@router.post("/orders/{order}/intake/{job}/cancel", dependencies=[Depends(Needs(Role.WRITE))],
             summary="End an intake", response_model=None)  # fmt: skip
def cancel(request: Request, asked: AskedNow, job: JobName) -> Response:
    """Nothing more is taken; of the file being read, nothing is."""
    return _answer(request, asked, asked.house.jobs.cancel(asked.live.key, job))


@router.get("/api/orders/{order}/jobs/{job}", dependencies=[Depends(Needs(Role.READ))], summary="How far a job is")
def told(asked: AskedNow, job: JobName) -> dict[str, Any]:
    """Its state, how much is done, and what became of each file."""
    found = asked.house.jobs.get(asked.live.key, job)
    return {**found.told(), "result": list(found.result or [])}


def _answer(request: Request, asked: Asked, job: Job) -> Response:
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"job": job.id}, 202)
    return RedirectResponse(f"{quote(asked.base)}/intake?job={job.id}", 303)


def _own_name(file: UploadFile) -> str:
    """The file's own name, without the folders of whoever sent it, and short enough to be shown."""
    name = str(file.filename).replace("\\", "/").rpartition("/")[2]
    return "".join(letter if letter.isprintable() else "_" for letter in name)[-120:]


def _checked(names: Sequence[str]) -> None:
    cure = "choose the files of records that the machines wrote"
    if not names:
        raise BadValue("files", "none", "no file was sent", cure)
    if len(names) > MOST_FILES:
        raise BadValue("files", len(names), f"{MOST_FILES} files are taken at a time", "send them in several goes")
    for name in names:
        if Path(name).suffix.lower() not in ENDINGS:
            raise BadValue("files", name, f"records come as {', '.join(ENDINGS)}", cure)


def _stored(folder: Path, named: Sequence[tuple[str, UploadFile]]) -> list[tuple[str, Path]]:
    """Each file under a name of ours, with the name of its own; BadValue when they are too large together."""
    paths, left = [], MOST_BYTES
    for number, (name, file) in enumerate(named):
        path = folder / f"{number}{Path(name).suffix.lower()}"
        left -= _copied(file.file, path, left, name)
        paths.append((name, path))
    return paths


def _copied(source: BinaryIO, path: Path, most: int, name: str) -> int:
    source.seek(0, 2)
    if (size := source.tell()) > most:
        true = f"the files sent have more than {MOST_BYTES // 2**20} MiB together"
        raise BadValue("files", name, true, "send them in several goes, or take them in on the command line")
    source.seek(0)
    with path.open("wb") as kept:
        shutil.copyfileobj(source, kept)
    return size


def _take(desk: Desk, tell: Tell, paths: Sequence[tuple[str, Path]], skip_bad: bool, sent: Sent) -> None:
    """File after file; `sent` fills as each is over, so that it stands where the job is ended before the last."""
    for number, (name, path) in enumerate(paths, 1):
        head = f"{name} ({number} of {len(paths)}), " if len(paths) > 1 else ""

        def told(what: str, done: int, of: int, head: str = head) -> None:
            tell(f"{head}{what}", done, of)

        sent.append(_became(name, desk.take([path], skip_bad, told)))


def _became(name: str, taken: Taken) -> dict[str, Any]:
    refused = [one for _, one in taken.refused]
    return {
        "file": name, "taken": taken.taken, "sent_before": len(taken.repeated),
        "lines_refused": sum(len(lines) for lines in taken.refused_lines.values()),
        "refused": [_refused(one) for one in refused[:MOST_KEPT]], "more_refused": max(0, len(refused) - MOST_KEPT),
    }  # fmt: skip


def _refused(one: Any) -> dict[str, Any]:
    why, _, cure = one.cure.partition("; ")
    return {"line": one.line, "field": one.field, "value": one.value, "why": why, "cure": cure}
