"""Intake: files of shop records sent in, how far each sending is, and what became of it."""

from typing import Annotated, Any, Final

from fastapi import Query

from ..content import Action, Cell, Column, Content, Field, Form, Link, Rows, Table
from ..jobs import Job
from ..page import Asked, AskedNow, Page
from ..roles import Role
from ..taking import ENDINGS, MOST_BYTES, MOST_FILES, Sent

__all__ = ["PAGE"]

SHOWN: Final = 20  # jobs on the page
JobName = Annotated[str, Query(max_length=64)]


def build(asked: AskedNow, job: JobName = "") -> Content:
    """Send files in, and see what became of them.  job : one sending, file by file."""
    chosen = asked.house.jobs.get(asked.live.key, job) if job else None
    jobs = asked.house.jobs.of(asked.live.key)[:SHOWN]
    may = asked.may(Role.WRITE)
    parts = [*(_result(asked, chosen) if chosen else ()), *([_upload(asked)] if may else ()),
             _jobs(asked, jobs), _refusals(asked)]  # fmt: skip
    return Content(
        "Intake",
        _lead(may),
        tuple(parts),
        (Action("Journal", f"{asked.base}/journal"),),
        template="intake.html",
        extra={"running": [one.told() for one in jobs if one.open], "may_cancel": may, "chosen": job},
    )


def _lead(may: bool) -> tuple[str, ...]:
    if not may:
        return ("To send records in, a person needs the role write. What was sent is shown below.",)
    return ("Records of the shop, as the machines wrote them. The same record sent again changes nothing.",)


def _upload(asked: Asked) -> Form:
    most = f"at most {MOST_FILES} files, {MOST_BYTES // 2**20} MiB together"
    hint = f"{', '.join(ENDINGS)}; {most}; taken in the order of their names"
    fields = (
        Field("files", "Files", "file", hint=hint, required=True, more={"multiple": "", "accept": ",".join(ENDINGS)}),
        Field("skip_bad", "Pass over bad lines", "checkbox",
              hint="otherwise one bad line keeps its whole file out, so that nothing is taken by half"),
    )  # fmt: skip
    return Form("Take in records", f"{asked.base}/intake", fields, "Take in", "post")


def _jobs(asked: Asked, jobs: list[Job]) -> Table:
    rows: list[list[Cell]] = [
        [Link(one.title, f"{asked.base}/intake?job={one.id}"), one.began, one.by, one.state, _progress(one)]
        for one in jobs
    ]
    columns = (Column("What"), Column("Began", kind="time"), Column("By"), Column("State"), Column("How far"))
    return Table("jobs", "Last intakes", columns, rows, "Nothing was sent in since the server was started.")


def _progress(one: Job) -> str:
    if not one.open or not one.what:
        return ""
    return f"{one.what} {one.done:,} of {one.of:,}" if one.of else f"{one.what} {one.done:,}"


# ---- one sending


def _result(asked: Asked, job: Job) -> list[Any]:
    sent: Sent = list(job.result or [])
    return [_state(job, sent), _files(sent), _refused(sent)]


def _state(job: Job, sent: Sent) -> str:
    head = f"{job.title[:1].upper()}{job.title[1:]}, sent by {job.by}: {job.state}."
    if job.fault:
        return f"{head} {job.fault[0]}: {job.fault[1]}; {job.fault[2]}."
    if job.state == "cancelled":
        return f"{head} Of the file that was being read nothing was taken."
    taken, again = sum(one["taken"] for one in sent), sum(one["sent_before"] for one in sent)
    lines = sum(one["lines_refused"] for one in sent)
    return f"{head} {taken:,} records taken, {again:,} sent before, {lines:,} line{'' if lines == 1 else 's'} refused."


def _files(sent: Sent) -> Table:
    rows = [[one["file"], one["taken"], one["sent_before"], one["lines_refused"], _fate(one)] for one in sent]
    columns = (Column("File"), Column("Taken", "records", "figure"), Column("Sent before", "records", "figure"),
               Column("Refused", "lines", "figure"), Column("So"))  # fmt: skip
    return Table("files", "File by file", columns, rows, "No file is through yet.")


def _fate(one: dict[str, Any]) -> str:
    if not one["lines_refused"] and not one["refused"]:
        return "taken whole" if one["taken"] else "nothing new in it"
    return "taken but for its bad lines" if one["taken"] else "nothing taken: correct its lines, then send it again"


def _refused(sent: Sent) -> Table:
    rows = [[file["file"], one["line"] or None, one["field"], one["value"], one["why"], one["cure"]]
            for file in sent for one in file["refused"]]  # fmt: skip
    more = sum(file["more_refused"] for file in sent)
    columns = (Column("File"), Column("Line", kind="figure"), Column("Field"), Column("Value"), Column("Why"),
               Column("What to do"))  # fmt: skip
    note = f"{more:,} reasons more are not shown." if more else ""
    return Table("refused", "Refused", columns, rows, "No line was refused.", note)


def _refusals(asked: Asked) -> Table:
    """Kept in the folder for good: a used number under which something else came."""
    rows: Rows = [[one.machine, one.machine_seq, one.at, one.why] for one in reversed(asked.live.refusals)]
    columns = (Column("Machine"), Column("Its number", kind="figure"), Column("When", kind="time"), Column("Why"))
    return Table("refusals", "Kept as refused", columns, rows, "No record came under a number that was used.",
                 "The same machine and number, sent again with something else in it.")  # fmt: skip


PAGE = Page("/orders/{order}/intake", "Intake", build, menu="order")
