"""The commands for a live case: rehearse, listen, serve; cli.py adds them to the others."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from itertools import chain
from pathlib import Path

import click

from voicecheck import shipped
from voicecheck.core.conduct import CURRENT
from voicecheck.core.procedure import Procedure
from voicecheck.ears.recogniser import Recogniser
from voicecheck.ears.wordings import wordings
from voicecheck.journal import Journal
from voicecheck.live import clock, serving
from voicecheck.live.ending import when_asked
from voicecheck.live.live_case import LiveCase, Setup, log_path
from voicecheck.live.printer import Printer
from voicecheck.live.rehearsal import paced, perform, scenarios_in, turns_in
from voicecheck.live.service import Service
from voicecheck.live.unstalled import standard_input, unstalled
from voicecheck.sound.microphone import Block, from_sound_card
from voicecheck.sound.recording import from_file, from_stream

_PROCEDURE = click.option(
    "--procedure",
    "procedure_path",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Another procedure file, with the _common.toml beside it if there is one. A record that "
    "is taken up keeps its own procedure.",
)

_REHEARSAL = click.option(
    "--rehearsal",
    is_flag=True,
    help="It is no operation: the record says so and is kept apart. The recording of an invented "
    "case is always a rehearsal.",
)


def _folder(case_dir: Path | None, *, rehearsal: bool) -> Path:
    return case_dir or Path("rehearsals" if rehearsal else "cases")


def _options(command: Callable[..., None]) -> Callable[..., None]:
    """The options that every live case takes."""
    for option in (
        click.option(
            "--case-dir",
            type=click.Path(path_type=Path, file_okay=False),
            help="Folder for the logs, one file per case; default: cases, or rehearsals for those.",
        ),
        click.option(
            "--model",
            type=click.Path(path_type=Path),
            help="Folder of another Vosk model, instead of the one that came with the program.",
        ),
        click.option(
            "--wording",
            type=click.Choice(["full", "brief", "tones"]),
            default="full",
            show_default=True,
            help="Full or brief prompts, or tones where a word is not needed.",
        ),
        click.option("--mute", is_flag=True, help="Show the prompts; say nothing."),
        click.option(
            "--wav",
            is_flag=True,
            help="Speak the prompts into a WAV file beside the log, not through the loudspeaker.",
        ),
    ):
        command = option(command)
    return command


@click.command("rehearse")
@click.argument("scenarios", nargs=-1, metavar="[SCENARIO …]")
@click.option(
    "--fast", is_flag=True, help="Run faster than real time; implies --mute unless --wav is given."
)
@click.option(
    "--voice",
    help="Which of the scenario's recordings to play; default: the one that the scenario names.",
)
@_options
def rehearse_command(
    scenarios: tuple[str, ...],
    *,
    fast: bool,
    voice: str | None,
    case_dir: Path | None,
    model: Path | None,
    wording: str,
    mute: bool,
    wav: bool,
) -> None:
    """Play invented cases to the recogniser as live cases; without a name, all of them.

    The recordings are of synthetic voices. Each case leaves a log that `voicecheck verify` checks.
    Exits with 1 if a case does not go as its scenario says.
    """
    rooms = shipped.folder("recordings_synthetic")
    known = scenarios_in(rooms)
    for name in scenarios:
        if name not in known:
            raise click.ClickException(f"No scenario is called {name}; choose {', '.join(known)}.")
    procedure, astray = shipped.procedure(), []
    for name in scenarios or known:
        with _recogniser(procedure, model) as ears:  # a new one: each log counts its own sound
            setup = Setup(
                procedure=procedure,
                ears=ears,
                wording=wording,
                case_dir=_folder(case_dir, rehearsal=True),
                wav=wav,
                mute=mute or (fast and not wav),
                rehearsal=True,
            )
            if not perform(setup, rooms / name, voice, fast=fast):
                astray.append(name)
    if astray:
        raise click.ClickException(f"Did not go as the scenario says: {', '.join(astray)}.")


@click.command("listen")
@click.option("--audio", metavar="FILE|-", help="A WAV, FLAC or Opus file; - for standard input.")
@click.option("--mic", is_flag=True, help="The microphone (needs PortAudio).")
@click.option("--device", help="Sound device, with --mic; default: the system's.")
@click.option("--case", "case_name", default="case", show_default=True, help="A pseudonym.")
@_PROCEDURE
@_REHEARSAL
@_options
def listen_command(
    *,
    audio: str | None,
    mic: bool,
    device: str | None,
    case_name: str,
    procedure_path: Path | None,
    rehearsal: bool,
    case_dir: Path | None,
    model: Path | None,
    wording: str,
    mute: bool,
    wav: bool,
) -> None:
    """Run a case on recorded audio or on the microphone.

    With --audio, the audio sets the time, and prompts are only shown unless --wav is given: the
    machine is deaf while it speaks, and a recording does not wait for it.
    """
    if mic == (audio is not None):
        raise click.UsageError("Give either --audio FILE (or --audio -) or --mic.")
    procedure = _procedure(procedure_path)
    rehearsal = rehearsal or _is_invented(audio)
    place = _folder(case_dir, rehearsal=rehearsal)
    with _recogniser(procedure, model) as ears:
        setup = Setup(
            procedure=procedure,
            ears=ears,
            wording=wording,
            case_dir=place,
            wav=wav,
            mute=mute or (not mic and not wav),
            device=device,
            rehearsal=rehearsal,
        )
        blocks = from_sound_card(device) if mic else _recorded(str(audio))
        runs = clock.wall if mic else clock.of_the_sound
        path = log_path(place, case_name, clock.stamp())
        with (
            closing(Printer()) as printer,
            Journal.create(path) as log,
            closing(
                LiveCase(setup, case_name, log, runs=runs, say=printer.say if mic else click.echo)
            ) as case,
        ):
            case.begin()
            case.live(blocks)
    if not case.service.closed:
        click.echo("The audio ended before the record was closed; the log holds what was said.")


@click.command("serve")
@click.option("--case", "case_name", required=True, help="A pseudonym; an open record is taken up.")
@click.option("--audio", metavar="FILE|-", help="Recorded sound instead of the microphone.")
@click.option("--device", help="Sound device for input and output; default: the system's.")
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="Address of the display. 0.0.0.0 or :: serves every address of this machine, unencrypted: "
    "use a network that you trust.",
)
@click.option(
    "--port",
    type=click.IntRange(0, 65_535),
    default=8023,
    show_default=True,
    help="Port of the display.",
)
@click.option(
    "--token",
    envvar="VOICECHECK_TOKEN",
    default="",
    help="Token for entry by hand: at least 16 characters, 6 of them different; random if not "
    "given. Others on this machine can read a command line: set VOICECHECK_TOKEN instead.",
)
@_PROCEDURE
@_REHEARSAL
@_options
def serve_command(
    *,
    case_name: str,
    audio: str | None,
    device: str | None,
    procedure_path: Path | None,
    host: str,
    port: int,
    token: str,
    rehearsal: bool,
    case_dir: Path | None,
    model: Path | None,
    wording: str,
    mute: bool,
    wav: bool,
) -> None:
    """Serve a live case: microphone in, loudspeaker out, the prompt display beside it.

    An open record of the same name is taken up where it ends; after a long gap the criteria must
    be stated again. A closed one is refused. SIGTERM or Ctrl-C shuts down gracefully and leaves the
    record open.
    """
    rehearsal = rehearsal or _is_invented(audio)
    logs = _folder(case_dir, rehearsal=rehearsal)
    earlier = serving.recorded(log_path(logs, case_name), rehearsal=rehearsal)
    procedure = earlier or _procedure(procedure_path)
    place = serving.Place(host=host, port=port, token=token)
    sound = _played(audio) if audio is not None else lambda _: from_sound_card(device, patient=True)
    recogniser = _recogniser(procedure, model, is_new=earlier is None)
    with recogniser as ears, when_asked() as ending:
        setup = Setup(
            procedure=procedure,
            ears=ears,
            wording=wording,
            case_dir=logs,
            wav=wav,
            mute=mute,
            device=device,
            rehearsal=rehearsal,
        )
        serving.serve(setup, case_name, place, sound, ending)


def _procedure(path: Path | None) -> Procedure:
    return shipped.procedure_at(path) if path else shipped.procedure()


def _recogniser(procedure: Procedure, model: Path | None, *, is_new: bool = True) -> Recogniser:
    """Checks a new record's operating points; those of an open record cannot be mended any more."""
    CURRENT.prepare(procedure)
    return Recogniser(
        CURRENT.phrases(procedure),
        model=model,
        words=procedure.file.lexicon,
        wordings=wordings(procedure),
        listening=procedure.common.listening if is_new else None,
    )


def _recorded(audio: str) -> Iterator[bytes]:
    """The blocks of a recording; a file without sound raises before a case is opened."""
    if audio == "-":
        return from_stream(standard_input())
    blocks = from_file(Path(audio))
    return chain([next(blocks)], blocks)


def _is_invented(audio: str | None) -> bool:
    """Whether the sound is the recording of an invented case."""
    return audio is not None and turns_in(Path(audio)) is not None


def _played(audio: str) -> Callable[[Service], Iterator[Block]]:
    """Sound in real time, even if it stalls; that of an invented case takes turns."""
    turns = turns_in(Path(audio))
    if turns:
        return lambda service: paced(turns(lambda: service.listening))
    blocks = _recorded(audio)
    return lambda _: unstalled(paced(blocks))
