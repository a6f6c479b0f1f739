"""The `xover` command: the commands in the order of the job, and the one place where errors end.

Exit status: 0 done; 1 done, and a limit of the user's is broken (only with --strict); 2 bad input, or an output that
takes nothing; 3 a fault of xover itself. Data goes to standard output, everything else to standard error.
"""

from __future__ import annotations

import contextlib
import gc
import os
import sys
import warnings
from typing import Annotated, Final, NoReturn

import typer

from xover import __version__
from xover.cli.group import JobGroup
from xover.cli.streams import take_streams
from xover.errors import PartlyToldError, XoverError
from xover.pool.ends import end_on_signals

NAME: Final = "xover"
STOPPED: Final = (129, 130, 143)
"""Ended by SIGHUP, SIGINT, SIGTERM: 128 and the signal's number."""
ASKED_BY_SHELL: Final = "_XOVER_COMPLETE"
"""Set by a shell that asks how a word goes on; nothing may be written but the answer then."""
FIRST_STEPS: Final = """\b
First steps:
  xover new my-speaker        then edit the files in it
  xover check my-speaker
  xover predict my-speaker    or 'xover report my-speaker': all on one page
'xover COMMAND --help' tells all of a command, with an example.
"""


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"xover {__version__}")
        raise typer.Exit


def root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and stop.")
    ] = False,
) -> None:
    """Models a loudspeaker's passive network against measured drivers."""
    del version


app = typer.Typer(
    name=NAME,
    cls=JobGroup,
    help="What the passive network of an old loudspeaker does with its drivers, and what the amplifier sees.",
    epilog=FIRST_STEPS,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
app.callback()(root)


def run() -> NoReturn:
    """Run the command line; every error becomes one line on standard error."""
    # Our systems are small and many: threads of one solve cost more than they give. Read when numpy is loaded.
    end_on_signals()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gc.set_threshold(50_000)  # many small objects that live long: looking for garbage among them costs 5 to 10 %
    take_streams()
    try:
        status = main(sys.argv[1:])
    except SystemExit as end:  # by a signal; all that was begun has been tidied away on the way here
        status = end.code if isinstance(end.code, int) else 1
    if status in STOPPED:
        # At a usual exit threads of a pool that was cut off are waited for, and may wait for ever.
        with contextlib.suppress(OSError, ValueError):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(status)
    sys.exit(status)


def main(arguments: list[str]) -> int:
    """Run one command and give its exit status."""
    debug = bool(os.environ.get("XOVER_DEBUG"))
    with warnings.catch_warnings(record=not debug) as escaped:
        status = _run(arguments)
    if ASKED_BY_SHELL not in os.environ:
        for words in dict.fromkeys(map(_doubt, escaped or ())):
            typer.echo(f"note: {words}", err=True)
    return status


def _run(arguments: list[str]) -> int:
    try:
        status = app(arguments or ["--help"], prog_name=NAME, standalone_mode=False)
        sys.stdout.flush()
        return status if isinstance(status, int) else 0
    except typer.Exit as stop:
        return stop.exit_code
    except typer.Abort:
        return _fail("stopped", 130)
    except typer.TyperException as error:
        return _fail(f"{_flat(error.format_message())} See 'xover --help'.", 2)
    except XoverError as error:
        return _fail(str(error), 2)
    except KeyboardInterrupt:
        return _fail("stopped", 130)
    except Exception as error:
        if os.environ.get("XOVER_DEBUG"):
            raise
        if ASKED_BY_SHELL in os.environ:
            return 3
        kind = str(error) if isinstance(error, PartlyToldError) else f"{type(error).__name__}: {error}"
        return _fail(
            f"a fault of xover itself, not of your files: {_flat(kind)[:300]}; set XOVER_DEBUG=1 and report it", 3
        )


def _fail(text: str, status: int) -> int:
    typer.echo(f"error: {text}", err=True)
    return status


def _doubt(warning: warnings.WarningMessage) -> str:
    """A warning that nobody below has understood, in one line: a fault of ours, which leaves the answer in doubt."""
    where = "/".join(warning.filename.replace(os.sep, "/").split("/")[-2:])
    kind = _flat(f"{warning.category.__name__}: {warning.message}")[:200]
    return (
        f"a fault of xover itself, not of your files: {kind} ({where}, line {warning.lineno}); what is told may be "
        "off by it: set XOVER_DEBUG=1 and report it"
    )


def _flat(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
