"""A limit of a trial: settings that must not be cut. It is read, checked and evaluated here and nowhere else."""

from __future__ import annotations

import math
from collections.abc import Mapping

from pydantic import BaseModel, ConfigDict, model_validator

Level = float | str


class Limit(BaseModel):
    """A setting that must not be cut: one nozzle type's own bound, or a product or weighted sum of settings."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    nozzle: str | None = None
    factor: str | None = None
    at_most: float | None = None
    at_least: float | None = None
    factors: tuple[str, ...] = ()
    product_at_most: float | None = None
    weights: tuple[float, ...] = ()
    sum_at_most: float | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Limit:
        single = self.factor is not None and (self.at_most is not None or self.at_least is not None)
        several = len(self.factors) > 0 and (self.product_at_most is not None or self.sum_at_most is not None)
        if single == several:
            raise ValueError(
                "a limit needs factor with at_most or at_least, or factors with product_at_most or sum_at_most"
            )
        if self.sum_at_most is not None and len(self.weights) not in (0, len(self.factors)):
            raise ValueError("weights needs one number per factor")
        return self

    @property
    def named(self) -> tuple[str, ...]:
        """Factors that the limit is about."""
        return (self.factor,) if self.factor is not None else self.factors

    @property
    def formula(self) -> str:
        """The limit in signs, for error messages: `double: pressure <= 0.8`, `pressure x standoff <= 1.2`."""
        if self.factor is not None:
            low = "" if self.at_least is None else f"{self.at_least:g} <= "
            high = "" if self.at_most is None else f" <= {self.at_most:g}"
            bound = f"{low}{self.factor}{high}"
        elif self.product_at_most is not None:
            bound = f"{' x '.join(self.factors)} <= {self.product_at_most:g}"
        else:
            parts = (f"{w:g} {name}" for w, name in zip(self._all_weights(), self.factors, strict=True))
            bound = f"{' + '.join(parts)} <= {self.sum_at_most:g}"
        return f"{self.nozzle}: {bound}" if self.nozzle else bound

    def excess(self, nozzle: str, setting: Mapping[str, Level]) -> float:
        """How far a setting of a nozzle type is above the limit; zero or less where it may be cut.

        A value on the limit may be cut (compared to 1e-9 of it); minus infinity where the limit is about another type.
        """
        if self.nozzle is not None and self.nozzle != nozzle:
            return -math.inf
        values = [float(setting[name]) for name in self.named]
        if self.factor is not None:
            return max(_above(values[0], self.at_most), _above(-values[0], _minus(self.at_least)))
        weighted = sum(weight * value for weight, value in zip(self._all_weights(), values, strict=True))
        return max(_above(math.prod(values), self.product_at_most), _above(weighted, self.sum_at_most))

    def forbids(self, nozzle: str, setting: Mapping[str, Level]) -> bool:
        """True where cutting a nozzle type at a setting is against the limit."""
        return self.excess(nozzle, setting) > 0

    def onto(self, setting: Mapping[str, Level], name: str) -> float | None:
        """Value of one factor that puts a setting on the limit, the others as they are; None where none does."""
        if self.factor is not None:
            value = float(setting[name])
            high = value if self.at_most is None else min(value, self.at_most)
            return high if self.at_least is None else max(high, self.at_least)
        rest = {other: float(setting[other]) for other in self.factors if other != name}
        if self.product_at_most is not None:
            others = math.prod(rest.values())
            return None if others == 0 else self.product_at_most / others
        weights = dict(zip(self.factors, self._all_weights(), strict=True))
        if weights[name] == 0 or self.sum_at_most is None:
            return None
        return (self.sum_at_most - sum(weights[other] * value for other, value in rest.items())) / weights[name]

    def _all_weights(self) -> tuple[float, ...]:
        return self.weights or (1.0,) * len(self.factors)


def _above(value: float, bound: float | None) -> float:
    return -math.inf if bound is None else value - bound - 1e-9 * max(1.0, abs(bound))


def _minus(bound: float | None) -> float | None:
    return None if bound is None else -bound
