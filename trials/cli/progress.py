"""A bar on standard error while something long runs."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def progress_bar(words: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on standard error, drawn from the first report on; none where nobody looks."""
    if not sys.stderr.isatty():
        yield lambda done, of: None
        return
    from rich.console import Console
    from rich.progress import Progress

    console = Console(file=sys.stderr)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(words, total=None, visible=False)
        yield lambda done, of: bar.update(task, completed=done, total=of, visible=True)
