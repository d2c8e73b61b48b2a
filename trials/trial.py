"""The question of a trial, as written in `trial.toml`: read, checked, frozen.

Nothing here opens a file: `parse` takes the text. Names of keys are a contract; unknown keys are refused, so that a
slip of the pen is not a setting that silently does nothing.

What the freeze covers stands in `trials.frozen`. Never frozen: `[trial]` title, engineer, currency, notes, language,
units, paper; price, notes and (journalled) lots of a nozzle; `[plan]` settle; `[costs]`; `[store]`; `lives`.
"""

from __future__ import annotations

import math
from enum import StrEnum
from functools import lru_cache
from types import NoneType
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator
from pydantic_core import ErrorDetails

from trials.asked import CLEAN_SPEED as CLEAN_SPEED
from trials.asked import CLEAN_THICKNESS as CLEAN_THICKNESS
from trials.asked import Amount, BestBy, CleanRequest, Share, taken_apart
from trials.asked import BenchRequest as BenchRequest
from trials.asked import CouponSize as CouponSize
from trials.errors import InputError, collected
from trials.limits import Level as Level
from trials.limits import Limit as Limit
from trials.nozzles import Nozzle, with_marks
from trials.responses import QUANTITIES, Quantity, Scale
from trials.toml_text import read_toml
from trials.unfrozen import Costs, LivesAsWritten, StorePlace
from trials.units import column, step_difference
from trials.worthwhile import Margins, amount_on_scale, coupon_share, margins

MOST_READINGS = 1_000  # of one response on one coupon, by hand
MOST_REPEATS = 100  # of the same settings, mounts of a specimen, looks at the data
MOST_COUPONS = 10_000  # a year of cutting


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Heading(_Part):
    """`[trial]`: what is asked, and by whom.

    language: of the papers, two letters (`en`, `de`); units: those that papers and screens show; paper: the size they
    are printed on; invented: the data are made up, and every paper says so.
    """

    title: str
    question: str
    engineer: str = ""
    currency: str = "EUR"
    notes: str = ""
    language: str = Field(default="en", pattern="^[a-z]{2}$")
    units: Literal["metric", "inch"] = "metric"
    paper: Literal["A4", "Letter"] = "A4"
    invented: bool = False


class Requirement(_Part):
    """What the drawing asks of an edge; every part may be missing. Ranges are those of ISO 9013."""

    squareness_range: int | None = Field(default=None, ge=1, le=5)
    roughness_range: int | None = Field(default=None, ge=1, le=4)
    dross_grade: int | None = Field(default=None, ge=0, le=4)
    u_mm: float | None = Field(default=None, gt=0)
    rz5_um: float | None = Field(default=None, gt=0)
    execution_class: str | None = None


class Application(_Part):
    """`[application]`: material, thickness in mm, gas, kind of cut and what the drawing requires.

    window_chance: settings are safe where the next edge meets all of it with at least this chance; best_by: what the
    best setting is.
    """

    material: str
    thickness_mm: float | None = Field(default=None, gt=0)
    gas: str = ""
    cut: Literal["flame", "fusion"] | None = None
    required: Requirement = Requirement()
    window_chance: Share = 0.9
    best_by: BestBy = BestBy.CHANCE


class Factor(_Part):
    """`[factors.NAME]`: a setting that is varied; levels are all numbers or all text."""

    model_config = ConfigDict(allow_inf_nan=True)  # refused below, in words of its own

    unit: str = ""
    levels: tuple[Level, ...] = Field(min_length=1)
    today: Level | None = None

    @property
    def is_text(self) -> bool:
        """True where the levels are words."""
        return isinstance(self.levels[0], str)

    @property
    def numbers(self) -> tuple[float, ...]:
        """The levels that are numbers, as typed; none of a factor of words."""
        return tuple(float(level) for level in self.levels if not isinstance(level, str))

    @model_validator(mode="after")
    def _levels_fit(self) -> Factor:
        if len({isinstance(level, str) for level in self.levels}) > 1:
            raise ValueError("levels mix numbers and text; use one kind")
        if len(set(self.levels)) != len(self.levels):
            raise ValueError("a level is listed twice; list each once")
        if not self.is_text and not all(math.isfinite(level) for level in self.numbers):
            raise ValueError("a level is not a finite number")
        if not isinstance(self.today, (str, NoneType)) and not math.isfinite(self.today):
            raise ValueError("today is not a finite number")
        if self.today is not None and isinstance(self.today, str) != self.is_text:
            raise ValueError("today is not of the same kind as the levels")
        if self.is_text and self.today is not None and self.today not in self.levels:
            raise ValueError(f"today {self.today!r} is not among the levels; add it or choose one of them")
        return self


class Method(StrEnum):
    """How the coupons of a trial are chosen."""

    FULL = "full"
    FRACTION = "fraction"
    SCREENING = "screening"
    SURFACE = "surface"
    OPTIMAL = "optimal"
    LADDER = "ladder"
    LIFE = "life"
    BENCH = "bench"
    PILOT = "pilot"
    ADOPTED = "adopted"


class CompareAt(StrEnum):
    """Where nozzle types are compared: at today's settings, or averaged over those that all of them were allowed."""

    TODAY = "today"
    AVERAGE = "average"


class Curves(StrEnum):
    """Squares of the settings: each nozzle type has its own, or one for all types; declared before cutting."""

    BY_TYPE = "by type"
    COMMON = "common"


class Outcome(StrEnum):
    """What became of a planned coupon."""

    CUT = "cut"
    NOT_SEVERED = "not_severed"
    ABORTED = "aborted"
    SCRAPPED = "scrapped"
    NOT_CUT = "not_cut"


LOST = (Outcome.NOT_SEVERED, Outcome.ABORTED)  # count as not meeting the requirement


class PlanRequest(_Part):
    """`[plan]`: how coupons are chosen and how often the question will be asked of the data.

    coupons_per_mount: in place of every setting in every mount, so many coupons: the repeats at today's setting and
    others dealt in turn; settle: look for the cheapest plan with this chance of a right answer, not frozen.
    """

    method: Method = Method.FULL
    aim: Literal["effects", "prediction"] = "effects"
    coupons: int | None = Field(default=None, ge=1, le=MOST_COUPONS)
    coupons_per_mount: int | None = Field(default=None, ge=1, le=MOST_COUPONS)
    mounts_per_specimen: int = Field(default=1, ge=1, le=MOST_REPEATS)
    sheets: int = Field(default=1, ge=1, le=MOST_COUPONS)
    repeats: int = Field(default=0, ge=0, le=MOST_REPEATS)
    generators: tuple[str, ...] = ()
    seed: int = Field(default=1, ge=0, lt=2**63)
    compare_at: CompareAt = CompareAt.TODAY
    looks: int = Field(default=1, ge=1, le=MOST_REPEATS)
    curves: Curves = Curves.BY_TYPE
    settle: Share | None = None
    limits: tuple[Limit, ...] = ()


class Expected(_Part):
    """`[responses.NAME.expected]`: level and spreads guessed before cutting; a spread: `8 %` or a figure."""

    level: float | None = None
    sheet: Amount | None = None
    specimen: Amount | None = None
    mount: Amount | None = None
    coupon: Amount | None = None
    reading: Amount | None = None
    source: Literal["guess", "pilot", "earlier trial"] = "guess"


class ResponseRequest(_Part):
    """`[responses.NAME]`: one measured response. `column` and `unit` only for names the tool does not know."""

    primary: bool = False
    readings: int = Field(default=1, ge=1, le=MOST_READINGS)
    worthwhile: Amount | None = None
    expected: Expected | None = None
    scale: Scale | None = None
    column: str | None = None
    unit: str | None = None
    resolution: float | None = Field(default=None, gt=0)
    higher_is_better: bool | None = None


class Trial(_Part):
    """A whole trial file, checked."""

    trial: Heading
    application: Application
    nozzles: tuple[Nozzle, ...] = Field(min_length=1)
    factors: dict[str, Factor] = Field(default_factory=dict)
    held: dict[str, float | str | bool] = Field(default_factory=dict)
    plan: PlanRequest = PlanRequest()
    coupon: CouponSize = CouponSize()
    responses: dict[str, ResponseRequest] = Field(min_length=1)
    clean_speed: CleanRequest | None = None
    clean_thickness: CleanRequest | None = None
    bench: BenchRequest = BenchRequest()
    costs: Costs = Costs()
    store: StorePlace = StorePlace()
    lives: LivesAsWritten | None = None

    @property
    def types(self) -> tuple[str, ...]:
        """Nozzle types in the order of the file."""
        return tuple(nozzle.type for nozzle in self.nozzles)

    @property
    def today(self) -> Nozzle:
        """The nozzle in use, with which the others are compared."""
        return next(nozzle for nozzle in self.nozzles if nozzle.today)

    def factor_column(self, name: str) -> str:
        """Column of a factor in the coupons table, e.g. `pressure_bar`."""
        return column(name, self.factors[name].unit)

    @property
    def units(self) -> dict[str, str]:
        """Unit of each factor as stated."""
        return {name: factor.unit for name, factor in self.factors.items()}

    @property
    def today_settings(self) -> dict[str, Level]:
        """Today's setting of each factor; the middle level where none is stated."""
        return {name: f.today if f.today is not None else _middle(f) for name, f in self.factors.items()}

    def quantity(self, name: str) -> Quantity:
        """What a response measures: a known quantity, with what this trial overrides."""
        asked = self.responses[name]
        known = QUANTITIES.get(name)
        base = known or Quantity(name, name, asked.column or name, asked.unit or "", Scale.AS_MEASURED, 1e-3)
        changes = {
            "column": asked.column,
            "unit": asked.unit,
            "scale": asked.scale,
            "resolution": asked.resolution,
            "higher_is_better": asked.higher_is_better,
        }
        return Quantity(**{**vars(base), **{key: value for key, value in changes.items() if value is not None}})

    @property
    def primaries(self) -> tuple[str, ...]:
        """Names of the responses that decide the answer."""
        return tuple(name for name, response in self.responses.items() if response.primary)

    @property
    def deciding(self) -> int:
        """How many responses decide, the fastest clean cut of a ladder among them."""
        return len(self.primaries) + (self.clean is not None)

    @property
    def rising(self) -> str:
        """The factor that rises in a ladder, speed before thickness; empty without either."""
        return next((name for name in ("speed", "thickness") if name in self.factors), "")

    @property
    def clean(self) -> CleanRequest | None:
        """What decides a ladder: the fastest or the thickest clean cut."""
        return self.clean_speed or self.clean_thickness

    @property
    def clean_name(self) -> str:
        """Name among the responses of what a ladder finds."""
        return CLEAN_THICKNESS if self.rising == "thickness" else CLEAN_SPEED

    @model_validator(mode="before")
    @classmethod
    def _clean_apart(cls, data: Any) -> Any:
        return taken_apart(data)

    @model_validator(mode="before")
    @classmethod
    def _draw_marks(cls, data: Any) -> Any:
        return with_marks(data) if isinstance(data, dict) else data

    @model_validator(mode="after")
    def _fits_together(self) -> Trial:
        for check in (_check_nozzles, _check_lives, _check_limits, _check_mounts, _check_responses, _check_clean):
            check(self)
        return self


def _middle(asked: Factor) -> Level:
    levels: tuple[Level, ...] = asked.levels if asked.is_text else tuple(sorted(asked.numbers))
    return levels[(len(levels) - 1) // 2]


def _check_nozzles(trial: Trial) -> None:
    if len(set(trial.types)) != len(trial.types):
        raise ValueError("nozzles: two entries share one type; give each type its own label")
    if sum(nozzle.today for nozzle in trial.nozzles) != 1:
        raise ValueError("nozzles: exactly one type needs today = true, the one in use")
    seen: dict[str, str] = {}
    for nozzle in trial.nozzles:
        for specimen in nozzle.specimens:
            if specimen in seen:
                raise ValueError(f"nozzles: specimen {specimen!r} is listed twice; give each piece its own mark")
            seen[specimen] = nozzle.type
        if not nozzle.specimens and trial.plan.method != "adopted":
            raise ValueError(f"nozzles: type {nozzle.type!r} has no specimens; list the marks of its pieces")
        if nozzle.lots and len(nozzle.lots) != len(nozzle.specimens):
            raise ValueError(f"nozzles: lots of {nozzle.type!r} need one entry per specimen, in the same order")


def _check_lives(trial: Trial) -> None:
    strange = sorted(set(trial.lives.figures) - set(trial.types)) if trial.lives else []
    if strange:
        raise ValueError(f"lives.figures: nozzle {strange[0]!r} is not among {list(trial.types)}")


def _check_mounts(trial: Trial) -> None:
    plan = trial.plan
    if plan.coupons_per_mount is None:
        return
    if plan.method is not Method.FULL:
        raise ValueError(f"plan.coupons_per_mount goes with method 'full', not '{plan.method}'; leave one of them out")
    if plan.coupons_per_mount < plan.repeats:
        raise ValueError(
            f"plan.coupons_per_mount = {plan.coupons_per_mount} is fewer than plan.repeats = {plan.repeats}, which it "
            "includes; raise it or lower the repeats"
        )


def _check_limits(trial: Trial) -> None:
    for limit in trial.plan.limits:
        for name in limit.named:
            if name not in trial.factors:
                raise ValueError(f"plan.limits: factor {name!r} is not among {sorted(trial.factors)}")
            if trial.factors[name].is_text:
                raise ValueError(f"plan.limits: factor {name!r} has text levels; a limit needs numbers")
        if limit.nozzle is not None and limit.nozzle not in trial.types:
            raise ValueError(f"plan.limits: nozzle {limit.nozzle!r} is not among {list(trial.types)}")


def _check_responses(trial: Trial) -> None:
    for name, asked in trial.responses.items():
        if name not in QUANTITIES and asked.column is None:
            raise ValueError(f"responses.{name}: not a known response ({', '.join(QUANTITIES)}); give it a column")
        if asked.primary and asked.worthwhile is None and trial.quantity(name).scale != "grade":
            raise ValueError(f"responses.{name}: a primary response needs a worthwhile difference")
        if asked.worthwhile is not None:
            worthwhile_on_scale(trial, name)
    if not trial.deciding:
        raise ValueError("responses: no response is primary; mark the one that decides with primary = true")


def _check_clean(trial: Trial) -> None:
    if trial.clean is None:
        return
    name = CLEAN_SPEED if trial.clean_speed else CLEAN_THICKNESS
    place, rising = f"responses.{name}", name.removeprefix("clean_")
    if trial.plan.method != Method.LADDER or trial.rising != rising:
        raise ValueError(f"{place}: only a ladder has it; set plan.method to 'ladder' with a factor named {rising}")
    if "dross" not in trial.responses:
        raise ValueError(f"{place}: a cut is judged clean by its dross grade; add [responses.dross]")
    unit, expected = trial.factors[rising].unit, trial.clean.expected
    step_difference(trial.clean.worthwhile, unit, f"{place}.worthwhile")
    for source in ("specimen", "mount") if expected else ():
        typed = getattr(expected, source)
        if typed is not None:
            step_difference(typed, unit, f"{place}.expected.{source}")


def worthwhile_margins(trial: Trial, name: str) -> Margins | None:
    """Both sides of the worthwhile difference of a response on the scale of its model; None if not stated.

    Also None for a share of coupons at the required grade (`coupon_share`).

    `15 %` on the log scale is a ratio of 0.85 downwards and 1.15 upwards; a figure in units becomes a ratio at the
    expected level.

    Raises
    ------
    ValueError
        As `trials.worthwhile.margins`.
    """
    asked, quantity, place = trial.responses[name], trial.quantity(name), f"responses.{name}.worthwhile"
    if asked.worthwhile is None:
        return None
    if coupon_share(asked.worthwhile, quantity, trial.application.required.dross_grade, place) is not None:
        return None
    return margins(asked.worthwhile, quantity, expected_level(trial, name), place)


def worthwhile_on_scale(trial: Trial, name: str) -> float | None:
    """The smaller side of the worthwhile difference, which plans are made for; see `worthwhile_margins`."""
    found = worthwhile_margins(trial, name)
    return None if found is None else found.smaller


def expected_level(trial: Trial, name: str) -> float | None:
    """The level of a response expected before cutting, in its kept unit; None if not stated."""
    asked = trial.responses[name].expected
    return asked.level if asked else None


SOURCES = ("sheet", "specimen", "mount", "coupon", "reading")
"""Where the spread of an edge comes from, the largest unit first."""


def expected_spreads(trial: Trial, name: str) -> dict[str, float]:
    """Expected standard deviations of a response by source on the model's scale; only those that the file states.

    Raises
    ------
    ValueError
        As `amount_on_scale`.
    """
    asked, quantity = trial.responses[name].expected, trial.quantity(name)
    if asked is None:
        return {}
    stated = {source: getattr(asked, source) for source in SOURCES}
    return {
        source: amount_on_scale(text, quantity, asked.level, f"responses.{name}.expected.{source}")
        for source, text in stated.items()
        if text is not None
    }


@lru_cache(maxsize=64)
def parse(text: str, file: str = "trial.toml") -> Trial:
    """Read and check the text of a trial file.

    Raises
    ------
    InputError
        If the text is not TOML, or a key is unknown, missing or has a value that is not allowed.
    """
    data = read_toml(text, file)
    try:
        return Trial.model_validate(data)
    except ValidationError as error:
        raise collected([_problem(found, file) for found in error.errors()]) from None


def _problem(first: ErrorDetails, file: str) -> InputError:
    place = ".".join(str(part + 1) if isinstance(part, int) else part for part in first["loc"])
    place = f"responses.{place}" if place.startswith((CLEAN_SPEED, CLEAN_THICKNESS)) else place
    message = first["msg"].removeprefix("Value error, ")
    if first["type"] == "extra_forbidden":
        return InputError("unknown key", file=file, column=place, do="Correct its spelling or remove it.")
    if first["type"] == "missing":
        return InputError("missing key", file=file, column=place, do="Add it; `trials new` shows a complete file.")
    found = first["input"] if isinstance(first["input"], (str, int, float, bool)) else None
    return InputError(message, file=file, column=place, found=found, do="Correct the file and run again.")
