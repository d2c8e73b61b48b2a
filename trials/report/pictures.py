"""A figure as a file of its own: SVG as it is drawn, PNG and PDF by the typesetter."""

from __future__ import annotations

from typing import Literal

from trials.errors import InputError

SUFFIXES = (".svg", ".png", ".pdf")
PIXELS_PER_INCH = 200.0
"""Sharp on paper at the width of a page, and still a small file (common practice, no source)."""
_PAGE = '#set page(width: auto, height: auto, margin: 6pt)\n#image(bytes(sys.inputs.svg), format: "svg")'


def picture_bytes(svg: str, suffix: str) -> bytes:
    """The figure (SVG text) in the form that a file ending asks for.

    Raises
    ------
    InputError
        If the ending is not one of `SUFFIXES`.
    """
    kind = check_suffix(suffix)
    if kind == ".svg":
        return svg.encode()
    import typst

    form: Literal["png", "pdf"] = "png" if kind == ".png" else "pdf"
    made = typst.compile(
        _PAGE.encode(), ignore_system_fonts=True, sys_inputs={"svg": svg}, format=form, ppi=PIXELS_PER_INCH
    )
    return made if isinstance(made, bytes) else made[0]


def check_suffix(suffix: str) -> str:
    """The ending in small letters; raises InputError if it is not one of `SUFFIXES`."""
    if suffix.lower() not in SUFFIXES:
        raise InputError("not a kind of picture", found=suffix, allowed=", ".join(SUFFIXES), do="Change the ending.")
    return suffix.lower()
