"""Cutting gases by name, and how much of one flows through a nozzle.

Perfect gas, isentropic from rest to the throat, sonic there once the absolute supply pressure is above the critical
one (1.89 times the surroundings for gases of two atoms). Pressures are bar gauge at the nozzle; the surroundings are
at 1.01325 bar absolute.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trials.errors import InputError, NotFinite, WrongArgument, WrongShape

ATMOSPHERE_PA = 101_325.0
ICE_K = 273.15
ROOM_K = 293.15
MOLAR_CONSTANT = 8.314462618  # J/(mol K), exact by the definition of 2019 (CODATA 2018, to ten figures)
TWO_ATOMS, ONE_ATOM = 7.0 / 5.0, 5.0 / 3.0


@dataclass(frozen=True)
class Gas:
    """What the flow needs to know of a gas.

    Attributes:
        name: plain English name.
        molar_mass: g/mol.
        heat_ratio: specific heat at constant pressure over that at constant volume.
        source: where the two figures come from.
    """

    name: str
    molar_mass: float
    heat_ratio: float
    source: str

    @property
    def constant(self) -> float:
        """Specific gas constant, J/(kg K)."""
        return 1000.0 * MOLAR_CONSTANT / self.molar_mass

    @property
    def critical_ratio(self) -> float:
        """Absolute pressure outside over absolute supply pressure at and below which the throat is sonic."""
        return float((2.0 / (self.heat_ratio + 1.0)) ** (self.heat_ratio / (self.heat_ratio - 1.0)))


_ELEMENTS = "molar mass from IUPAC standard atomic weights (2021); heat ratio of a perfect gas by kinetic theory"
_KNOWN = (
    Gas("oxygen", 31.998, TWO_ATOMS, _ELEMENTS),
    Gas("nitrogen", 28.014, TWO_ATOMS, _ELEMENTS),
    Gas("argon", 39.95, ONE_ATOM, _ELEMENTS),
    Gas("helium", 4.0026, ONE_ATOM, _ELEMENTS),
    Gas("hydrogen", 2.016, TWO_ATOMS, _ELEMENTS),
    Gas("air", 28.9644, TWO_ATOMS, "dry air, ISO 2533 (standard atmosphere), molar mass and heat ratio, from memory"),
)
GASES = {gas.name: gas for gas in _KNOWN}
# English, formula, then German, French, Italian, Spanish, Dutch, Polish; compared without case, accents and hyphens.
_SPELLINGS = {
    "oxygen": "o2 oxygene sauerstoff ossigeno oxigeno zuurstof tlen",
    "nitrogen": "n2 stickstoff azote azoto nitrogeno stikstof azot",
    "argon": "ar argo",
    "helium": "he elio helio hel",
    "hydrogen": "h2 wasserstoff hydrogene idrogeno hidrogeno waterstof wodor",
    "air": "compressedair shopair luft druckluft pressluft aircomprime aria ariacompressa aire airecomprimido lucht "
    "perslucht powietrze sprezonepowietrze",
}
_NAMES = {word: name for name, words in _SPELLINGS.items() for word in (name, *words.split())}
_SUBSCRIPTS = str.maketrans("₂łéèêóòôöüùąęç", "2leeeoooouuaec")
_SHARE = re.compile(r"(\d+(?:[.,]\d+)?)\s*%\s*([a-z]+\d?)", re.IGNORECASE)
_PURITY = re.compile(r"\s+\d[.,]\d$")


def known_gas(name: str) -> Gas:
    """The gas a name or formula stands for; mixtures by volume as `97 % nitrogen, 3 % oxygen`.

    Case, accents and a purity such as `5.0` do not matter.

    Raises
    ------
    InputError
        If the name is not known or the shares of a mixture do not add up to 100 %; the names known are listed.

    >>> known_gas("Stickstoff 5.0").name
    'nitrogen'
    >>> round(known_gas("O2").constant, 1)
    259.8
    """
    parts = _SHARE.findall(name.translate(_SUBSCRIPTS))
    gases = [find_gas(word) for _, word in parts] or [find_gas(name)]
    if None in gases or "%" in name and not parts:
        raise InputError(
            "the gas is not known",
            column="gas",
            found=name,
            allowed=f"{', '.join(GASES)}, their formulas, or a mixture such as '97 % nitrogen, 3 % oxygen'",
            do="Which of them is it? Write that name.",
        )
    found = [gas for gas in gases if gas is not None]
    return found[0] if len(found) == 1 else _mixture(name, [float(s.replace(",", ".")) for s, _ in parts], found)


def find_gas(name: str) -> Gas | None:
    """The single gas a name or formula stands for, None where it is not known."""
    word = _PURITY.sub("", name.strip().lower()).translate(_SUBSCRIPTS)
    found = _NAMES.get(re.sub(r"[\s\-_.]+", "", word))
    return None if found is None else GASES[found]


def _mixture(written: str, shares: list[float], gases: list[Gas]) -> Gas:
    """A mixture by volume: molar mass and molar heats add up by mole (perfect gases)."""
    total = sum(shares)
    if abs(total - 100.0) > 0.5:
        raise InputError(
            f"the shares of the gas mixture add up to {total:g} %",
            column="gas",
            found=written,
            allowed="100 % by volume",
            do="Correct the shares.",
        )
    pairs = list(zip(shares, gases, strict=True))
    mass = sum(share * gas.molar_mass for share, gas in pairs) / total
    at_volume = sum(share / (gas.heat_ratio - 1.0) for share, gas in pairs) / total
    return Gas(written, mass, 1.0 + 1.0 / at_volume, "mixture of perfect gases by volume")


def mass_flow(
    gas: str,
    gauge_bar: ArrayLike,
    area_mm2: ArrayLike,
    temperature_k: ArrayLike = ROOM_K,
    discharge: ArrayLike = 1.0,
) -> np.ndarray:
    """Mass flow through a nozzle, kg/s; the arguments broadcast against each other.

    Args:
        gas: name as `known_gas` reads it.
        gauge_bar: supply pressure over the surroundings, bar gauge (absolute pressure less 1.01325 bar).
        area_mm2: narrowest area, mm2.
        temperature_k: of the gas at rest before the nozzle, K.
        discharge: real flow over ideal flow, above 0 up to 1.

    Source: Saint-Venant and Wantzel (1839), as in any text on compressible flow; at and below the critical pressure
    ratio the flow no longer depends on the pressure outside.

    Raises
    ------
    InputError
        If the gas is not known.
    NotFinite
        If a number is NaN or infinite.
    WrongArgument
        If a pressure or area is negative, a temperature is not above zero, or a discharge coefficient is not above 0
        and at most 1.
    WrongShape
        If the arrays do not broadcast.
    """
    known = known_gas(gas)
    gauge, area, temperature, share = _checked(gauge_bar, area_mm2, temperature_k, discharge)
    supply = gauge * 1e5 + ATMOSPHERE_PA
    gamma = known.heat_ratio
    ratio = np.maximum(ATMOSPHERE_PA / supply, known.critical_ratio)
    expansion = ratio ** (2.0 / gamma) - ratio ** ((gamma + 1.0) / gamma)
    speed = np.sqrt(2.0 * gamma / ((gamma - 1.0) * known.constant * temperature) * np.maximum(expansion, 0.0))
    result: np.ndarray = (share * area * 1e-6 * supply * speed)[()]
    return result


def normal_volume_flow(
    gas: str,
    gauge_bar: ArrayLike,
    area_mm2: ArrayLike,
    temperature_k: ArrayLike = ROOM_K,
    discharge: ArrayLike = 1.0,
) -> np.ndarray:
    """Flow as `mass_flow`, in m3/h at 0 C and 1.01325 bar (the normal state of DIN 1343).

    Raises
    ------
    InputError, NotFinite, WrongArgument, WrongShape
        As `mass_flow`.
    """
    density = ATMOSPHERE_PA / (known_gas(gas).constant * ICE_K)
    return mass_flow(gas, gauge_bar, area_mm2, temperature_k, discharge) / density * 3600.0


def _checked(
    gauge_bar: ArrayLike, area_mm2: ArrayLike, temperature_k: ArrayLike, discharge: ArrayLike
) -> tuple[np.ndarray, ...]:
    given = {"pressure": gauge_bar, "area": area_mm2, "temperature": temperature_k, "discharge coefficient": discharge}
    arrays = {name: np.asarray(value, dtype=float) for name, value in given.items()}
    for name, values in arrays.items():
        if not np.all(np.isfinite(values)):
            raise NotFinite(f"The {name} of the gas flow is missing or infinite; state a number.")
    if np.any(arrays["pressure"] < 0) or np.any(arrays["area"] < 0):
        raise WrongArgument("Gas pressure (bar gauge) and flow area must not be negative; give gauge, not vacuum.")
    if np.any(arrays["temperature"] <= 0):
        raise WrongArgument("The gas temperature must be above zero kelvin; 293.15 K is 20 C.")
    if np.any(arrays["discharge coefficient"] <= 0) or np.any(arrays["discharge coefficient"] > 1):
        raise WrongArgument("The discharge coefficient must lie above 0 and not above 1; 1 is flow without losses.")
    try:
        return tuple(np.broadcast_arrays(*arrays.values()))
    except ValueError as problem:
        raise WrongShape("Pressures, areas, temperatures and coefficients must be of one length each.") from problem
