"""The commands for after a case: verify, review, export, cases; cli.py adds them to the others."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from voicecheck.cases.aggregates import summarise
from voicecheck.cases.collection import CollectionError, collect
from voicecheck.cases.together import cases_page, cases_text
from voicecheck.core.chain import parse_checkpoint
from voicecheck.core.replay import BrokenLog
from voicecheck.journal import JournalError, read
from voicecheck.review.case_page import Doublet, review
from voicecheck.review.examine import Examined, examine
from voicecheck.review.formats import FORMATS, export
from voicecheck.review.optional import MissingLibrary
from voicecheck.review.proof import proof

_LOG = click.argument("log", type=click.Path(path_type=Path, dir_okay=False))
_FILE = click.Path(path_type=Path, dir_okay=False)
_POINTS = click.IntRange(0, 2)
_CHECKPOINT = click.option(
    "--checkpoint", help="Kept elsewhere: 78:3f… or, in short, 78-K7QD-2MXA."
)


@click.command("verify")
@_LOG
@_CHECKPOINT
def verify_command(log: Path, checkpoint: str | None) -> None:
    """Prove a log: first its bytes, then its story; say what that proves and what it does not.

    A chain of hashes cannot show that its own end was cut off: keep the checkpoint that this
    prints somewhere else, and give it with --checkpoint. Exits with 1, naming the line, if
    anything does not hold.
    """
    with _sentences(log):
        examined = _examined(log, checkpoint)
    report = examined.report
    if report is None or not examined.intact:
        raise _not_proven(log, examined)
    click.echo(f"{log}: case {report.case}, {examined.lines} lines.")
    for heading, sentence in proof(examined):
        click.echo(f"{heading}: {sentence}")
    click.echo(f"Record: {'closed' if report.closed else 'not closed'}.")
    click.echo(f"This log's checkpoint: {report.checkpoint}")
    click.echo(f"In short, to be copied by hand: {report.code}")


def _not_proven(log: Path, examined: Examined) -> click.ClickException:
    if examined.newer:
        return click.ClickException(f"{log}: {examined.newer}")
    if examined.misfit:
        return click.ClickException(
            f"{log} holds by itself, but the checkpoint does not fit.\n  {examined.misfit}."
        )
    told = f"`voicecheck review {log}` shows what of it still holds" if examined.report else ""
    cure = ". ".join(filter(None, ("Keep the file as it is, and look for a copy", told)))
    return click.ClickException(f"{log} does not hold.{_listed(examined.damage)}\n{cure}.")


def _listed(sentences: Iterable[str]) -> str:
    return "".join(f"\n  {sentence}." for sentence in sentences)


@click.command("review")
@_LOG
@click.option("--out", type=_FILE, help="The page; default: beside the log, ending in .html.")
@_CHECKPOINT
@click.option(
    "--doublet",
    type=(_POINTS, _POINTS, _POINTS),
    metavar="N N N",
    help="The reviewer's score of the two photographs, 0 to 2 a criterion: triangle cleared, "
    "lower third off the plate, two and only two structures.",
)
@click.option("--reviewer", default="", help="Who scored: a role or initials.")
def review_command(
    log: Path,
    out: Path | None,
    checkpoint: str | None,
    doublet: tuple[int, int, int] | None,
    reviewer: str,
) -> None:
    """Tell one case on a page: what was stated and when, refused, corrected, misheard.

    The page is one file without scripts; print it from the browser for a PDF. A log that does not
    hold is never called intact: the page shows the beginning that still holds, and the command
    exits with 1.
    """
    place = out or log.with_suffix(".html")
    with _sentences(log):
        examined = _examined(log, checkpoint)
        if examined.newer:
            raise _not_proven(log, examined)
        score = Doublet.of(doublet, reviewer) if doublet else None
        _write(place, review(examined, log.name, score), log)
    if examined.report and examined.intact:
        click.echo(examined.report.summary)
    click.echo(f"Page: {place}")
    if not examined.intact:
        found = _listed(examined.damage)
        raise click.ClickException(f"{log} is not intact; the page says so.{found}")
    if checkpoint:
        click.echo("Bytes, story and checkpoint hold.")
    else:
        click.echo("Bytes and story hold; the page has the checkpoint to keep elsewhere.")


@click.command("export")
@_LOG
@click.option("--to", type=click.Choice(list(FORMATS)), required=True, help="The format.")
@click.option("--out", type=_FILE, help="The file; default: standard output.")
def export_command(log: Path, to: str, out: Path | None) -> None:
    """Give a log to other programs: csv (RFC 4180), fhir (R4 JSON), xes (IEEE 1849).

    In csv a text that begins like a formula (= + - @, a tab or a line break) has a single quote
    before it, so that no spreadsheet runs it; numbers stay numbers. The log has the text as it was.

    A log that does not hold is not exported; `voicecheck review` shows what of it still holds.
    """
    with _sentences(log):
        examined = _examined(log, None)
        if not examined.intact:
            raise _not_proven(log, examined)
        text = export(read(log).lines, to)
        if out is None:
            click.echo(text, nl=False)
        else:
            _write(out, text, log)


@click.command("cases")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("collected"),
    show_default=True,
    help="Where the Parquet tables and the page go.",
)
@click.option("--labels", type=_FILE, help="A CSV file: case,level,grade or any other columns.")
def cases_command(folder: Path, out: Path, labels: Path | None) -> None:
    """Sum up all logs (*.log) of a folder: a table here, a page with run charts, Parquet tables.

    Damaged logs are listed, and counted in no figure; of a record that is there twice the longest
    log counts. Every log is proved anew each time: nothing found earlier is taken on trust.

    Labels, such as the trainee's level or the difficulty grade, come from a small file beside the
    logs, never from the logs. Each value gets run charts of its own; a month with fewer than five
    of its cases is shown there, and moves no limit.
    """
    with _sentences(folder):
        home = collect(folder, out, labels)
        summary = summarise(home)
        _write(out / "cases.html", cases_page(summary, folder.resolve().name), folder)
    click.echo(cases_text(summary))
    click.echo(f"\nPage: {out / 'cases.html'}  Tables: {home}")


def _examined(log: Path, checkpoint: str | None) -> Examined:
    kept = read(log)
    try:
        pin = parse_checkpoint(checkpoint) if checkpoint else None
    except ValueError as error:
        raise click.ClickException(str(error)) from error
    return examine(kept.lines, kept.torn, pin)


def _write(path: Path, text: str, source: Path) -> None:
    """Write what was made of a log, over anything but a log."""
    if path.suffix == ".log" or path.resolve() == source.resolve():
        raise click.ClickException(
            f"{path} may be a log, which nothing may overwrite: choose another name."
        )
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="")


@contextmanager
def _sentences(what: Path) -> Iterator[None]:
    """What the world did wrong, in one sentence and with a non-zero exit."""
    try:
        yield
    except BrokenLog as error:
        raise click.ClickException(f"{what} does not hold. {error}") from error
    except (JournalError, CollectionError, MissingLibrary) as error:
        raise click.ClickException(str(error)) from error
    except OSError as error:
        raise click.ClickException(f"{error}; choose a place that you may write to.") from error
