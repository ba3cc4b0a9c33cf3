"""The manual in the form of a man page, made from the commands themselves."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import fill, indent

import click

from voicecheck.core.wording import CAUTION

WIDTH = 88
_ENDINGS = (
    ("0", "The command did what it was asked to do."),
    ("1", "Something does not hold or cannot be used; a message says what, and what to do."),
    ("2", "The command line itself is wrong."),
)


def manual(program: click.Group, name: str) -> str:
    """Name, synopsis, every command with its options, exit status, environment, cautions."""
    with click.Context(program, info_name=name) as context:
        summary, _, rest = (program.help or "").partition("\n")
        parts = [
            ("NAME", _text(f"{name} - {summary}")),
            ("SYNOPSIS", _text(f"{name} [OPTIONS] COMMAND [ARGS]…")),
            ("DESCRIPTION", _paragraphs(rest)),
            *(
                (f"{name} {called}", _command(context, called, command))
                for called, command in sorted(program.commands.items())
            ),
            ("EXIT STATUS", "\n".join(_entry(code, why) for code, why in _ENDINGS)),
            ("ENVIRONMENT", "\n".join(_environment(program))),
            ("CAUTIONS", _text(CAUTION)),
        ]
    return "\n\n".join(f"{title}\n{body}" for title, body in parts if body)


def _command(parent: click.Context, name: str, command: click.Command) -> str:
    with click.Context(command, info_name=name, parent=parent) as context:
        usage = " ".join(command.collect_usage_pieces(context))
        options = [each for each in command.params if isinstance(each, click.Option)]
        records = [option.get_help_record(context) for option in options]
    return "\n\n".join(
        (
            _text(f"{parent.info_name} {name} {usage}"),
            _paragraphs(command.help or ""),
            *(_entry(*record) for record in records if record),
        )
    )


def _environment(program: click.Group) -> Iterator[str]:
    for name, command in sorted(program.commands.items()):
        for option in command.params:
            if isinstance(option, click.Option) and option.envvar:
                yield _entry(str(option.envvar), f"{option.opts[-1]} of {name}.")


def _entry(what: str, told: str) -> str:
    return (
        f"{_text(what)}\n{fill(told, WIDTH, initial_indent=' ' * 12, subsequent_indent=' ' * 12)}"
    )


def _paragraphs(text: str) -> str:
    told = [" ".join(each.split()) for each in text.replace("\b", "").split("\n\n") if each.strip()]
    return "\n\n".join(map(_text, told))


def _text(text: str) -> str:
    return indent(fill(text, WIDTH - 6), " " * 6)
