"""What is said of the border of a window: shown to be safe where the border is that of the bound, else likely."""

from types import SimpleNamespace as Made

import pytest

from trials.words import window as words

HERE, THERE = {"pressure": 13.0, "standoff": 0.9}, {"pressure": 14.5, "standoff": 0.8}
STUDY = Made(across=("pressure", "standoff"), units={"pressure": "bar", "standoff": "mm"}, wanted=0.9, today=HERE)


@pytest.mark.parametrize(
    ("chances", "lows", "share_bound", "said"),
    [
        ((0.99, 0.97), (0.95, 0.80), 0.5, "that is no longer shown to be safe with a is pressure 14.5 bar"),
        ((0.99, 0.97), (0.80, 0.95), 0.5, "that is shown to be safe with a is"),
        ((0.95, 0.60), (0.5, 0.2), 0.0, "that is no longer likely to be safe with a is"),
        ((0.60, 0.95), (0.2, 0.5), 0.0, "that is likely to be safe with a is"),
    ],
)
def test_the_border_says_by_which_of_the_two_it_goes(chances, lows, share_bound, said):
    """A setting that is white on the map (safe by estimate) may be no longer shown; that is not `no longer safe`."""
    one = Made(
        nozzle="a", settings=(HERE, THERE), chance=chances, low=lows, share_bound=share_bound, border=THERE, reach=None
    )
    (line,) = words.place_sentences(one, STUDY)
    assert said in line and line.endswith("(pressure +1.5 bar, standoff -0.10 mm).")
