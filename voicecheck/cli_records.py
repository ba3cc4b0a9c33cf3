"""The commands on records: verify, review, export, cases."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

import click

from voicecheck.cases.aggregates import summarise
from voicecheck.cases.choice import Choice, ChoiceError, day_month_or_year
from voicecheck.cases.collection import CollectionError, collect
from voicecheck.cases.overview import cases_page, cases_text
from voicecheck.core.chain import parse_checkpoint
from voicecheck.core.legible import legible
from voicecheck.core.wording import REHEARSAL
from voicecheck.journal import JournalError, read
from voicecheck.review.case_page import Doublet, case_page
from voicecheck.review.examine import Examined, examine
from voicecheck.review.film import FilmError, aligned, starts_at
from voicecheck.review.film_page import film_page
from voicecheck.review.findings import Report
from voicecheck.review.formats import BESIDE_FILM, FORMATS, told
from voicecheck.review.optional import MissingLibrary
from voicecheck.review.proof import proof
from voicecheck.review.trace import Trace

_FILE = click.Path(path_type=Path, dir_okay=False)
_LOG = click.argument("log", type=_FILE)
_POINTS = click.IntRange(0, 2)
_CHECKPOINT = click.option(
    "--checkpoint", help="The checkpoint kept elsewhere: 78:3f…, or its code such as 78-K7QD-2MXA."
)


@click.command("verify")
@_LOG
@_CHECKPOINT
def verify_command(log: Path, checkpoint: str | None) -> None:
    """Prove a log: first its bytes, then its story. Say what that proves and what it does not.

    A hash chain cannot show that its own end was cut off. So keep the checkpoint that this command
    prints somewhere else, and give it with --checkpoint later. Exits with 1 if anything does not
    hold, and names the line.
    """
    with _sentences():
        examined = _examined(log, checkpoint)
    report = examined.report
    if report is None or not examined.intact:
        raise _not_proven(log, examined)
    click.echo(f"{_name(log)}: case {legible(report.case)}, {examined.lines} lines.")
    _tell_rehearsal(report)
    for heading, sentence in proof(examined):
        click.echo(f"{heading}: {sentence}")
    click.echo(f"Record: {'closed' if report.closed else 'not closed'}.")
    click.echo(f"This log's checkpoint: {report.checkpoint}")
    click.echo(f"Short code, against accident: {report.code}")
    click.echo(f"Long code, against forgery: {report.long_code}")


def _tell_rehearsal(report: Report) -> None:
    if report.setting.rehearsal:
        click.echo(REHEARSAL)


def _name(path: Path) -> str:
    """The path as it can be printed, whatever bytes its name has."""
    return legible(str(path))


def _not_proven(log: Path, examined: Examined) -> click.ClickException:
    if examined.newer:
        return click.ClickException(f"{_name(log)}: {examined.newer}")
    if not examined.damage:
        return click.ClickException(
            f"{_name(log)} holds by itself, but the checkpoint does not fit it."
            f"{_listed([examined.misfit])}"
        )
    cure = "Keep the file as it is, and look for a copy."
    if examined.report:
        cure += f" `voicecheck review {_name(log)}` shows the part that still holds."
    return click.ClickException(f"{_name(log)} does not hold.{_listed(examined.faults)}\n{cure}")


def _listed(sentences: Iterable[str]) -> str:
    return "".join(f"\n  {sentence}." for sentence in sentences)


_STARTS = click.option(
    "--film-starts",
    metavar="TIME",
    help="When the film starts: a time of day in UTC, 08:12:31, or 2031-05-06T08:12:31Z.",
)
_ALIGN = click.option(
    "--align",
    metavar="WORDS=TIME",
    help='Where some words are in the film: "checklist stand by=0:12:31", or "line 12=0:12:31".',
)


@click.command("review")
@_LOG
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="The page; default: beside the log, ending in .html. With --film, the folder; default: "
    "beside the log, ending in -film.",
)
@_CHECKPOINT
@click.option(
    "--doublet",
    type=(_POINTS, _POINTS, _POINTS),
    metavar="N N N",
    help="The reviewer's score of the two photographs, 0 to 2 for each criterion: triangle "
    "cleared, lower third off the plate, two and only two structures.",
)
@click.option("--reviewer", default="", help="Who scored: a role or initials.")
@click.option(
    "--film",
    type=click.Path(path_type=Path, dir_okay=False, exists=True),
    help="The film of the operation, for a page that plays it beside the record.",
)
@_STARTS
@_ALIGN
@click.option("--copy-film", is_flag=True, help="Copy the film into the folder.")
def review_command(
    log: Path,
    *,
    out: Path | None,
    checkpoint: str | None,
    doublet: tuple[int, int, int] | None,
    reviewer: str,
    film: Path | None,
    film_starts: str | None,
    align: str | None,
    copy_film: bool,
) -> None:
    """Show one case on a page: what was stated and when, refused, corrected, misheard.

    The page is one file without scripts; print it from the browser for a PDF, whose first page says
    the most important. A damaged log is never called intact: the page shows the beginning that
    still holds, and the command exits with 1.

    With --film it makes a folder: a page that plays the film and jumps on a click to what was
    stated, refused or lapsed; the review; subtitles and chapters for other players. Say with
    --film-starts or --align where the record is in the film. Nothing is uploaded, and the film
    stays where it is. A damaged log gets only its review.
    """
    with _sentences():
        examined = _examined(log, checkpoint)
        if examined.newer:
            raise _not_proven(log, examined)
        folder = (out or log.with_name(f"{log.stem}-film")) if film else None
        place = folder / "review.html" if folder else out or log.with_suffix(".html")
        score = Doublet(points=doublet, reviewer=reviewer) if doublet else None
        _write(place, case_page(examined, log.name, score), log)
        if film and folder and examined.trace and examined.intact:
            starts_s = _film_starts(examined.trace, film_starts, align)
            seen = _film_of(film, folder, copy=copy_film)
            _write(
                folder / "film.html",
                film_page(examined.trace, starts_s, seen, place.name),
                log,
            )
            for to, name in (("webvtt", "subtitles.vtt"), ("webvtt-chapters", "chapters.vtt")):
                _write(folder / name, told(examined.trace, to, starts_s), log)
            place = folder / "film.html"
    if examined.report and examined.intact:
        _tell_rehearsal(examined.report)
        click.echo(legible(examined.report.summary))
    click.echo(f"Page: {_name(place)}")
    if not examined.intact:
        raise click.ClickException(
            f"{_name(log)} is not intact, and the page says so.{_listed(examined.faults)}"
        )
    if checkpoint:
        click.echo("Bytes, story and checkpoint hold.")
    else:
        click.echo("Bytes and story hold. Keep the checkpoint on the page somewhere else.")


def _film_starts(trace: Trace, starts: str | None, align: str | None) -> float:
    """When the film starts, in seconds since the opening."""
    if starts and align:
        raise FilmError("Give --film-starts or --align, not both: they may disagree.")
    if starts:
        return starts_at(trace, starts)
    if align:
        return aligned(trace, align)
    click.echo(
        "The film is taken to start when the record was opened, at "
        f"{trace.steps[0].at.utc[11:19]} UTC. If it does not, give --film-starts or --align.",
        err=True,
    )
    return 0.0


def _film_of(film: Path, folder: Path, *, copy: bool) -> str:
    """Where a page in the folder finds the film, as a relative URL."""
    if copy:
        copied = folder / f"film{film.suffix}"
        if not (copied.exists() and copied.samefile(film)):
            shutil.copyfile(film, copied)
        film = copied
    return quote(os.path.relpath(film.resolve(), folder.resolve()))


@click.command("export")
@_LOG
@click.option("--to", type=click.Choice(FORMATS), required=True, help="The format.")
@click.option("--out", type=_FILE, help="The file; default: standard output.")
@_STARTS
@_ALIGN
def export_command(
    log: Path, *, to: str, out: Path | None, film_starts: str | None, align: str | None
) -> None:
    """Export a log for other programs: csv (RFC 4180), fhir (R4 JSON), xes (IEEE 1849), webvtt.

    Each keeps apart what was said, what it counts as and what was answered, and bears the case, the
    cautions and whether it is a rehearsal.

    In csv, a text that a spreadsheet would run as a formula has a single quote before it: one that
    begins with = + - @, a tab or a line break. Numbers stay numbers, and the log stays as it is.

    webvtt and webvtt-chapters (W3C) are subtitles and chapters for a film of the operation. Say
    with --film-starts or --align where the record is in the film.

    A damaged log is not exported; `voicecheck review` shows the part that still holds.
    """
    with _sentences():
        found = read(log)
        examined = examine(found.lines, found.torn)
        if not examined.intact or examined.trace is None:
            raise _not_proven(log, examined)
        beside = to in BESIDE_FILM
        if not beside and (film_starts or align):
            raise FilmError("--film-starts and --align are for a film: export --to webvtt.")
        starts_s = _film_starts(examined.trace, film_starts, align) if beside else 0.0
        text = told(examined.trace, to, starts_s)
        if out is None:
            click.echo(text, nl=False)
        else:
            _write(out, text, log)


@click.command("cases")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("collected"),
    show_default=True,
    help="The folder for the Parquet tables and the page.",
)
@click.option("--labels", type=_FILE, help="A CSV file: case,level,grade or any other columns.")
@click.option(
    "--only",
    multiple=True,
    metavar="NAME=VALUE",
    help="Count only cases with this label, or with this text in a column of the table `cases`: "
    "level=junior, case=2031-*. All that are given must hold.",
)
@click.option("--since", default="", help="First day, month or year (UTC): 2031-04-30, 2031-04.")
@click.option("--until", default="", help="Last day, month or year.")
@click.option(
    "--reviews/--no-reviews",
    default=True,
    show_default=True,
    help="Write each case's review, for the list of cases to lead to: a fifth of a second each.",
)
@click.option("--rehearsals", is_flag=True, help="Count rehearsals too; page and charts say so.")
def cases_command(
    folder: Path,
    *,
    out: Path,
    labels: Path | None,
    only: tuple[str, ...],
    since: str,
    until: str,
    reviews: bool,
    rehearsals: bool,
) -> None:
    """Sum up all logs (*.log) in a folder: figures here, a page with run charts, Parquet tables.

    It begins with what varies: when a clip or a division was first called for, what was missing,
    what lapsed. A list of all cases leads to their reviews.

    Damaged logs are listed and counted in no figure; so are rehearsals, unless they are asked for.
    If a record is there twice, its longest log counts. Every log is proved again each time.

    Labels, such as the trainee's level or the difficulty grade, come from a small file beside the
    logs, never from the logs. Each value of a label has its own run charts. Labels that match no
    log are named. If months are thin, a point of a chart is a quarter or a single case.
    """
    with _sentences():
        choice = Choice(
            only=tuple(_pair(each) for each in only),
            since=day_month_or_year(since) if since else "",
            until=day_month_or_year(until) if until else "",
        )
        home = collect(folder, out, labels, rehearsals=rehearsals, reviews=reviews, choice=choice)
        summary = summarise(home)
        page = cases_page(summary, folder.resolve().name, choice=choice, reviews=reviews)
        _write(out / "cases.html", page, folder)
    click.echo(cases_text(summary, choice))
    click.echo(f"\nPage: {_name(out / 'cases.html')}  Tables: {_name(home)}")


def _pair(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not equals:
        raise ChoiceError(f"{text} is no choice. Write a name and a value: level=junior.")
    return name, value


def _examined(log: Path, checkpoint: str | None) -> Examined:
    found = read(log)
    try:
        pin = parse_checkpoint(checkpoint) if checkpoint else None
    except ValueError as error:
        raise click.ClickException(legible(str(error))) from error
    return examine(found.lines, found.torn, pin)


def _write(path: Path, text: str, source: Path) -> None:
    """Write what was made of a log, over anything but a log."""
    if path.suffix == ".log" or path.resolve() == source.resolve():
        raise click.ClickException(
            f"{_name(path)} may be a log, and nothing may overwrite a log: choose another name."
        )
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="")


@contextmanager
def _sentences() -> Iterator[None]:
    """Turn what the world did wrong into one sentence and a non-zero exit."""
    try:
        yield
    except (JournalError, CollectionError, ChoiceError, FilmError, MissingLibrary) as error:
        raise click.ClickException(legible(str(error))) from error
    except OSError as error:
        raise click.ClickException(
            f"{legible(str(error))}; choose a place that you may write to."
        ) from error
