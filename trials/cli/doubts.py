"""Doubts are settled by a key at a terminal; anywhere else the step refuses them."""

from __future__ import annotations

import sys
from collections.abc import Iterable

import typer

from trials.cli.show import printable
from trials.findings import Finding

AS_WRITTEN = typer.Option(False, "--as-written", help="Unlikely settings are right as they are understood.")


def confirmed(doubts: Iterable[Finding]) -> bool:
    """Whether each doubt was confirmed by the key y; False where there is nobody to ask.

    The question goes to standard error, so that what a command prints stays as it is.

    Raises
    ------
    typer.Abort
        At the first other key.
    """
    asked = list(doubts)
    if not asked or not (sys.stdin.isatty() and sys.stderr.isatty()):
        return False
    from trials.words.doubts import confirmed_words, key_words
    from trials.words.findings import say

    for doubt in asked:
        sys.stderr.write(f"{printable(say(doubt))}\n{key_words()} ")
        sys.stderr.flush()
        key = typer.getchar()
        sys.stderr.write("\n")
        if key not in ("y", "Y"):
            raise typer.Abort
        sys.stderr.write(f"{printable(confirmed_words(str(doubt.facts['understood'])))}\n")
    return True
