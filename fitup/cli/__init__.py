"""The command line: options in, one library call, print, exit code.

Slow libraries are imported by the commands that need them, so that help comes at once.
"""

from __future__ import annotations

import io
import os
import sys
import warnings
from importlib import import_module
from typing import Final, TextIO

import click

from fitup import __version__
from fitup.cli.text import heed_ctrl_c, stop_asked
from fitup.errors import EXIT_BAD_INPUT, EXIT_INTERRUPTED, FitupError, InputError, SurveyRefused
from fitup.plainfile import plain

#: command, also the name of its module -> what it does, so that help need not load it
_COMMANDS: Final = {
    "start": "Lay out a job folder from a few dimensions, to fill in.",
    "add": "Write another table into a job folder, empty, with its comments.",
    "check": "List everything that is wrong with a job folder and its survey.",
    "preanalysis": "Say before going out how sure planned set-ups would make every check.",
    "survey": "Say how far to believe a survey; adjust raw observations.",
    "joints": "Show every joint as surveyed, against tolerance.",
    "openings": "Show what each joint must be set to at the steel temperature.",
    "rules": "List the tolerances of standards that a job may choose by name.",
    "stations": "Convert points between stations and the grid; list an alignment.",
    "budget": "Show how sure each check is and where the uncertainty comes from.",
    "structure": "Check the frame of a job, what carries, and what a move does.",
    "windows": "Show when a joint may be locked, and waiting beside jacking.",
    "lockoff": "Say whether to lock, wait or move again, with the reason.",
    "plan": "Choose packs and order the moves, with proof.",
    "whatif": "Show the plan beside one with seats held, plates gone or jacks broken.",
    "others": "Show the best plans that work at other seats.",
    "more": "Show what binds the plan, and what a little more of it would buy.",
    "fewer": "Show what disturbing fewer seats costs.",
    "sheets": "Plan, certify and write the sheets.",
    "review": "Write the page on which the engineer looks at a plan and tries other packs.",
    "field": "Write one page a crew for the phone: step by step, readings judged at once.",
    "recover": "Say what can be done where a stage stopped, certified, or which help it takes.",
    "contingencies": "Write what can fail in each stage, and the certified answer to it.",
    "next": "Write the next job folder after the moves.",
    "compare": "Hold a re-survey against its prediction.",
    "learn": "Say which assumption explains the difference, and carry it on.",
}
#: the same for the record of who did what
_RECORD: Final = {
    "key": "Make a key to sign with.",
    "people": "Take people.toml into the record; the first time opens it.",
    "accept": "Accept a survey.",
    "approve": "Approve a plan by the code on its sheets.",
    "reject": "Reject a plan, with the reason.",
    "done": "Report a stage as done: go on, hold or stop.",
    "release": "Release the hold point after a stage.",
    "stop": "Write down that work was stopped.",
    "log": "Check the whole record and print it.",
    "changed": "What changed between two entries, in words.",
    "recall": "Write the files of an entry once more.",
}


class _Commands(click.Group):
    """Loads a command's module only when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [*_COMMANDS, *_RECORD]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.list_commands(ctx):
            return None
        command = getattr(import_module(f"fitup.cli.{cmd_name}"), "command", None)
        return command if isinstance(command, click.Command) else None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(_COMMANDS.items()))
        with formatter.section("The record of who did what"):
            formatter.write_dl(list(_RECORD.items()))


@click.command(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="fitup")
def group() -> None:
    """Bring deck segments to their final geometry, and prove it before anyone moves a jack.

    A job is a folder with job.toml and CSV tables. The usual day:

    \b
      fitup start  my-joint     lay out a job folder from a few dimensions
      fitup check  my-joint     list everything that is wrong with it
      fitup survey my-joint     say how far to believe the survey
      fitup joints my-joint     show every joint as surveyed
      fitup plan   my-joint     choose packs and order the moves, with proof
      fitup sheets my-joint     certify the plan and write the sheets

    And after the moves, with a new survey:

    \b
      fitup next    my-joint --to my-joint-b   write the next job folder
      fitup compare my-joint my-joint-b        hold the re-survey against its prediction
      fitup learn   my-joint my-joint-b        say what explains the difference

    Exit codes: 0 done; 2 bad input or a survey that must not be used; 3 tolerance or limits
    cannot be met; 4 the certificate refused the plan; 5 the record is broken; 130 stopped by
    Ctrl-C.

    fitup is an aid to a competent engineer. Local codes, the project's specification and
    licensed practice govern.
    """


def main() -> None:
    """Run the command line and leave with its exit code; no traceback for a user's mistake."""
    _print_what_can_be()
    warnings.showwarning = _say_warning
    heed_ctrl_c()
    try:
        code = group.main(standalone_mode=False, prog_name="fitup")
    except FitupError as error:
        if isinstance(error, SurveyRefused):
            click.echo(f"fitup: {error.headline}", err=True)
        for line in _lines(error):
            click.echo(f"fitup: {line}", err=True)
        sys.exit(error.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(EXIT_BAD_INPUT)
    except (KeyboardInterrupt, click.Abort):
        click.echo("fitup: stopped; nothing was written", err=True)
        sys.exit(EXIT_INTERRUPTED)
    except SystemExit:
        # so click leaves when the reader of a pipe went away, as head does: not an error of ours
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except OSError as error:
        where = f"{str(error.filename)[:200]}: " if error.filename else ""
        reason = error.strerror or str(error)
        click.echo(f"fitup: {where}{reason}; check path, permission and free space", err=True)
        sys.exit(EXIT_BAD_INPUT)
    except Exception:
        # a library that was being loaded may make an error of its own out of Ctrl-C
        if not stop_asked():
            raise
        click.echo("fitup: stopped; nothing was written", err=True)
        sys.exit(EXIT_INTERRUPTED)
    sys.exit(code if isinstance(code, int) else 0)


class _Plain(io.TextIOWrapper):
    """A stream that shows what it cannot show as an escape.

    Whatever stood in a file or record, it moves no cursor, turns no text round, and a sign that
    the terminal does not have, such as the degree, is a question mark.
    """

    def write(self, text: str) -> int:
        return super().write(text if text.isprintable() else plain(text))


def _say_warning(
    message: Warning | str,
    category: type[Warning],
    filename: str,
    lineno: int,
    file: TextIO | None = None,
    line: str | None = None,
) -> None:
    """Print a warning meant for the user in one line; others are for developers."""
    if issubclass(category, FutureWarning):
        click.echo(f"fitup: note: {message}", err=True)


def _print_what_can_be() -> None:
    """Print nothing but what shows, to a terminal as to a file."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if type(stream) is io.TextIOWrapper:
            stream.flush()
            lines, encoding = stream.line_buffering, stream.encoding
            setattr(sys, name, _Plain(stream.detach(), encoding, "replace", line_buffering=lines))


def _lines(error: FitupError) -> list[str]:
    """Return one printable line for each thing that is wrong, whatever stood in the files."""
    parts = error.problems if isinstance(error, InputError) else str(error).split("\n")
    return [plain(str(part), "") for part in parts]
