"""The command `trials`: every command parses, calls one step and shows what came of it."""

from __future__ import annotations

import atexit
import gc
import io
import os
import sys

import typer

from trials.cli.panels import Grouped
from trials.errors import TrialError

INTERRUPTED = 130
"""What Typer makes of Ctrl-C, by version; in others it goes on as KeyboardInterrupt."""

THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""What tells the libraries of linear algebra how many threads to run; read once, as NumPy is imported."""
SELDOM = (20_000, 20, 20)
"""How rarely the collector looks for rings of dead objects, of which a command leaves few."""

app = typer.Typer(
    name="trials",
    no_args_is_help=True,
    cls=Grouped,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)


def version(asked: bool) -> None:
    """Print the version and stop."""
    if asked:
        from trials import __version__

        sys.stdout.write(f"trials {__version__}\n")
        raise typer.Exit


@app.callback()
def top(
    shown: bool = typer.Option(False, "--version", callback=version, is_eager=True, help="Print the version."),
) -> None:
    """Find out on your own machine which cutting nozzle to run, and print a verdict a manager can sign.

    The way of a trial: new, plan, sheet, cut, record, grade, fit, verdict. `trials status FOLDER` says where a trial
    stands and what comes next. To see the whole way at once: trials demo my-demo
    """


def _register() -> None:
    if app.registered_commands:
        return
    from trials.cli import (
        extending,
        grading,
        keeping,
        life,
        measuring,
        planning,
        recording,
        shop,
        start,
        studying,
        window,
    )

    for part in (start, planning, recording, measuring, grading, studying, window, extending, life, shop, keeping):
        part.register(app)


def run() -> None:
    """Entry point: a line for each problem on standard error and exit code 2 for anything the user can put right."""
    _one_thread()
    _collect_seldom()
    _register()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a name that is not UTF-8 is shown by its codes
            stream.reconfigure(errors="backslashreplace")
    try:
        code = app(prog_name="trials", standalone_mode=False)
    except TrialError as error:
        _fail(str(error))
    except (typer.Abort, KeyboardInterrupt):
        code = INTERRUPTED
    except Exception as error:
        _show_usage(error)
    if code == INTERRUPTED:
        _fail("Stopped; nothing was written.")
    raise SystemExit(code or 0)


def _one_thread() -> None:
    """Unless the user has set threads: matrices are small, threads wait for each other, digits of sums hang on them."""
    if not any(name in os.environ for name in THREADS):
        os.environ.update(dict.fromkeys(THREADS, "1"))


def _collect_seldom() -> None:
    """While a command works, and not at all when it ends, where looking took a tenth of the time of a fit."""
    if gc.get_threshold() < SELDOM:
        gc.set_threshold(*SELDOM)
    atexit.register(gc.freeze)


def _show_usage(error: Exception) -> None:
    """A slip in the words of the command itself; whatever else it is goes on as it came.

    Typer brings its parser along or takes an installed one, by version, so its errors are known by what they carry.
    """
    if not hasattr(error, "format_message"):
        raise error
    if type(error).__name__ == "NoArgsIsHelpError":
        sys.stdout.write(f"{error.format_message()}\n")
        raise SystemExit(0) from None
    context = getattr(error, "ctx", None)
    where = f" See `{context.command_path} --help`." if context else ""
    _fail(f"{error.format_message()}{where}")


def _fail(text: str) -> None:
    from trials.cli.show import printable

    for each in text.splitlines() or [""]:
        sys.stderr.write(f"trials: {printable(' '.join(each.split()))}\n")
    raise SystemExit(2)
