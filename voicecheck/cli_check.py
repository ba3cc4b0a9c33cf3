"""The command that checks a procedure file before anybody operates with it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from textwrap import fill

import click

from voicecheck import shipped
from voicecheck.core.conduct import CURRENT
from voicecheck.core.inputs import Meaning, Unsettle
from voicecheck.core.procedure import Procedure
from voicecheck.core.wording import OTHER_SHAPE
from voicecheck.ears import tuning
from voicecheck.ears.lexicon import check as check_words
from voicecheck.ears.soundalikes import most_alike, same_sounding
from voicecheck.ears.soundcheck import closest, warnings, weaknesses
from voicecheck.live.terminal import COLUMNS


@click.command("check")
@click.argument("grammar", type=click.Path(path_type=Path, dir_okay=False), required=False)
@click.option(
    "--wordings",
    is_flag=True,
    help="Also print what may be said for each meaning: its shown phrase, how many other wordings "
    "there are, fillers apart, and a few of them.",
)
def check_command(grammar: Path | None, *, wordings: bool) -> None:
    """Check a procedure file: its order, words and thresholds, and how alike its wordings sound.

    It prints what keeps a clip from being recorded too early, on one page, to be signed. Without a
    file, it checks the procedure that came with the program. Exits with 1 if a critical phrase is
    too short or sounds too much like another, or if a critical wording sounds the same as one of
    another meaning. Takes a quarter of a minute.
    """
    procedure = shipped.procedure_at(grammar) if grammar else shipped.procedure()
    tuning.check(procedure.common.listening)
    words = CURRENT.vocabulary(procedure).words
    check_words([*CURRENT.phrases(procedure), *words], procedure.file.lexicon)
    click.echo(f"{procedure.head.title}, version {procedure.head.version}")
    click.echo(
        f"{len(procedure.phases)} phases, {len(procedure.items)} items, "
        f"{len(CURRENT.phrases(procedure))} phrases; none begins another; all can be pronounced."
    )
    click.echo(f"{len(words)} words in other wordings; all can be pronounced.")
    _print_phrases(procedure)
    _print_wordings(procedure)
    if wordings:
        _print_examples(procedure)
    _print_shape(CURRENT.shape(procedure))
    weak = [*weaknesses(procedure), *same_sounding(procedure)]
    if weak:
        raise click.ClickException("Choose words that sound less alike:\n  " + "\n  ".join(weak))


def _print_phrases(procedure: Procedure) -> None:
    pairs = closest(procedure)
    click.echo("Closest phrases, one of them critical (0 sounds the same, 1 shares no sound):")
    for pair in [pair for pair in pairs if pair.critical][:5]:
        click.echo(f'  {pair.distance:.2f}  "{pair.first}"  "{pair.second}"')
    click.echo("Closest of the other phrases:")
    for pair in [pair for pair in pairs if not pair.critical][:5]:
        click.echo(f'  {pair.distance:.2f}  "{pair.first}"  "{pair.second}"')
    for warning in warnings(procedure):
        click.echo(f"Warning: {warning}.")


def _print_wordings(procedure: Procedure) -> None:
    pairs = most_alike(procedure)
    if not pairs:
        return
    shown = _shown(procedure)
    click.echo(
        "Closest wordings of all, one of them critical, and how many sounds tell them apart (so "
        "listen to the read-back):"
    )
    for pair in pairs:
        click.echo(
            f'  {pair.edits} ({pair.distance:.2f})  "{pair.wording}" ({shown[pair.critical]})\n'
            f'            "{pair.other_wording}" ({_told(procedure, shown, pair.other)})'
        )


def _print_examples(procedure: Procedure) -> None:
    shown = _shown(procedure)
    sayable = CURRENT.sayable(procedure)
    click.echo("\nWhat may be said, fillers apart:")
    for meaning in sorted({*sayable.meanings}, key=lambda each: _told(procedure, shown, each)):
        ways = sayable.ways(meaning)
        click.echo(f"{_told(procedure, shown, meaning)}: {_counted(ways.number())}, such as")
        for example in ways.examples():
            click.echo(f'    "{example}"')


def _shown(procedure: Procedure) -> Mapping[Meaning, str]:
    """Each meaning's first shown phrase, without the address word."""
    shown: dict[Meaning, str] = {}
    for phrase, command in CURRENT.phrases(procedure).items():
        shown.setdefault(command, phrase.removeprefix(f"{procedure.common.listening.address} "))
    return shown


def _told(procedure: Procedure, shown: Mapping[Meaning, str], meaning: Meaning) -> str:
    if isinstance(meaning, Unsettle):
        return f"not so or not yet: {procedure.item(meaning.item).called}"
    return shown[meaning]


def _counted(number: int) -> str:
    digits = len(str(number)) - 1
    return f"{number} wordings" if digits < 6 else f"some 10^{digits} wordings"


def _print_shape(shape: str) -> None:
    same = shape == CURRENT.shape(shipped.procedure())
    click.echo("\nThe gate, to be read and signed by whoever answers for this file:")
    for line in shape.splitlines():
        click.echo(fill(line, COLUMNS, subsequent_indent="    ", drop_whitespace=True))
    click.echo("This is the gate that came with the program." if same else OTHER_SHAPE)
    click.echo("Read by: ______________________  Date: ______________\n")
