"""The command line: puts all commands together, and turns failures into sentences."""

from __future__ import annotations

from pathlib import Path

import click

from voicecheck import __version__, shipped
from voicecheck.cli_check import check_command
from voicecheck.cli_live import listen_command, rehearse_command, serve_command
from voicecheck.cli_records import cases_command, export_command, review_command, verify_command
from voicecheck.core.diagram import state_diagram
from voicecheck.core.legible import legible
from voicecheck.core.procedure import ProcedureError
from voicecheck.core.replay import BrokenLog
from voicecheck.core.wording import CAUTION
from voicecheck.display.server import DisplayError
from voicecheck.ears.decoder import ModelError
from voicecheck.ears.lexicon import UnknownWordError, WrongPhoneError
from voicecheck.journal import JournalError
from voicecheck.live.doctor import doctor_command
from voicecheck.live.live_case import LogStopped, NotACaseName
from voicecheck.live.scenario import ScenarioError
from voicecheck.live.service import RecordClosed
from voicecheck.manual import manual as print_manual
from voicecheck.sound.recording import AudioError
from voicecheck.voice.announcer import AnnouncerError
from voicecheck.wall_card import SIZES, listed, wall_card

_FAILURES = (
    AnnouncerError,
    AudioError,
    BrokenLog,
    DisplayError,
    FileNotFoundError,
    JournalError,
    ModelError,
    NotACaseName,
    ProcedureError,
    RecordClosed,
    LogStopped,
    ScenarioError,
    UnknownWordError,
    WrongPhoneError,
)


class _Commands(click.Group):
    """Turns an expected failure into one sentence and a non-zero exit status."""

    def invoke(self, ctx: click.Context) -> object:
        """Run the command; a bug still shows its traceback."""
        try:
            return super().invoke(ctx)
        except _FAILURES as error:
            raise click.ClickException(_legible_lines(str(error))) from error
        except BrokenPipeError:
            raise  # the reader of our output has gone: click exits silently
        except OSError as error:
            raise click.ClickException(
                f"The system refused ({legible(str(error))}): free some space or choose another "
                "folder. What is recorded stays recorded."
            ) from error


def _legible_lines(text: str) -> str:
    """A sentence may name a file, or quote what is in one."""
    return "\n".join(legible(line, _LONGEST_LINE) for line in text.split("\n"))


_LONGEST_LINE = 2000


@click.group(cls=_Commands, epilog=CAUTION)
@click.version_option(__version__)
def main() -> None:
    """A voice-driven checklist for laparoscopic cholecystectomy, offline, on this machine.

    Begin with `voicecheck rehearse early_clip --fast`: an invented case from a recording, in which
    a clip is called too early and refused. It leaves a log in the folder rehearsals: prove it with
    `voicecheck verify LOG`, read it with `voicecheck review LOG`. On a machine with a microphone,
    `voicecheck doctor` says what to change, and `voicecheck serve --case NAME` runs a live case.
    """


# ------------------------------------------------------------------------------ files looked at


@main.command("phrases")
@click.argument("grammar", type=click.Path(path_type=Path, dir_okay=False), required=False)
@click.option(
    "--card",
    type=click.Choice(tuple(SIZES), case_sensitive=False),
    help="Write the wall card for paper of this size, one sheet: print it from a browser.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The card's file; default: wall-card-A4.html or wall-card-A3.html.",
)
def phrases_command(grammar: Path | None, card: str | None, out: Path | None) -> None:
    """Print all that may be said, by phase; with --card as one large sheet for the wall.

    Without a file, it prints the phrases of the procedure that came with the program.
    """
    procedure = shipped.procedure_at(grammar) if grammar else shipped.procedure()
    if card is None:
        click.echo(listed(procedure))
        return
    place = out or Path(f"wall-card-{card}.html")
    place.write_text(wall_card(procedure, card), encoding="utf-8")
    click.echo(f"Card: {legible(str(place))}. Print it at 100 %, lying, without margins.")


@main.command()
def diagram() -> None:
    """Print the state diagram as Mermaid text, made from the table of rules."""
    click.echo(state_diagram())


@main.command()
def manual() -> None:
    """Print what every command does and takes, as one text in the form of a man page."""
    click.echo(print_manual(main, "voicecheck"))


for command in (
    *(rehearse_command, listen_command, serve_command, doctor_command),
    *(check_command, verify_command, review_command, export_command, cases_command),
):
    main.add_command(command)
