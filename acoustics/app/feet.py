"""Feet and pounds beside metric figures, in text.

Exact factors: international yard and pound (agreement of 1959), 1 ft = 0.3048 m, 1 lb = 0.45359237 kg; standard gravity
9.80665 m/s², so that 1 lbf = 4.4482216152605 N.

Lengths in metres come as feet and inches to the quarter of an inch, those to the millimetre to the 32nd, written as
files take them: 34' 9 1/4". All else keeps at least the metric figure's own resolution and three figures, so that two
figures that differ still do, in the same order.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction

from acoustics.app.sheet import Figure
from rigging.models import IMPERIAL

FOOT_M, POUND_KG = (Fraction(str(IMPERIAL[key][1])) for key in ("_ft", "_lb"))
POUND_FORCE_N = POUND_KG * Fraction("9.80665")
_MILE_M = 5280 * FOOT_M
KEPT = "\u00a0"  # a space at which no line is broken
_FASTEST_WIND_M_S = 100  # a speed above it is that of sound

# Imperial units in one metric unit, and their name.
_UNITS = {
    "mm": (Fraction(12, 1000) / FOOT_M, "in"),
    "m²": (1 / FOOT_M**2, "ft²"),
    "kg": (1 / POUND_KG, "lb"),
    "kg/m": (FOOT_M / POUND_KG, "lb/ft"),
    "kg m": (1 / (POUND_KG * FOOT_M), "lb ft"),
    "N": (1 / POUND_FORCE_N, "lbf"),
    "kN": (1000 / POUND_FORCE_N, "lbf"),
    "m/min": (1 / FOOT_M, "ft/min"),
    "m/s²": (1 / FOOT_M, "ft/s²"),
}

_NUMBER = r"[-+−±]?\d+(?:,\d{3})*(?:\.\d+)?"
_JOIN = r"(?: to |–|…| … | × )"
_SPAN = rf"{_NUMBER}(?:{_JOIN}{_NUMBER})*"
_TUPLE = rf"\({_NUMBER}(?:, {_NUMBER}){{1,2}}\)"
_PLACE = rf"{_TUPLE}(?:, {_TUPLE})*|x {_NUMBER}, y {_NUMBER}(?:, z {_NUMBER})?"
_UNIT = r"(?:kg/m|kg m|kg|kN|N|mm|m/s²|m/min|m/s|m²|m|°C)(?![\w²³/·^%-])"
_STATED = re.compile(rf"(?<![\w.\-−+±/])(?P<figures>{_PLACE}|{_SPAN})[ \u00a0](?P<unit>{_UNIT})")
_ONE = re.compile(_NUMBER)


def in_text(text: str) -> str:
    """A text in which every figure with a unit has feet, pounds and their like in brackets behind it."""
    return _STATED.sub(_beside, text)


def _beside(found: re.Match[str]) -> str:
    figures = found["figures"].replace("), (", "; ").strip("()")
    return f"{found[0]} ({_converted(figures, found['unit'], None)})"


def of_figure(figure: Figure) -> str:
    """A figure whose unit stands elsewhere, with the same in feet, pounds and their like in brackets behind it."""
    if figure.unit not in (*_UNITS, "m", "m/s", "°C") or not _ONE.search(figure):
        return str(figure)
    first, last = _ONE.search(figure), list(_ONE.finditer(figure))[-1]
    assert first is not None
    return f"{figure} ({_converted(figure[first.start() : last.end()], figure.unit, figure.places)})"


def _converted(figures: str, unit: str, places: int | None) -> str:
    """All numbers of a text converted, its other characters kept, and the unit behind them."""
    name = ""

    def one(found: re.Match[str]) -> str:
        nonlocal name
        value, name = converted(found[0], unit, places)
        return value

    text = _ONE.sub(one, figures)
    return f"{text}{KEPT}{name}" if name else text


def converted(text: str, unit: str, places: int | None = None) -> tuple[str, str]:
    """A number as text in the imperial unit, and its name; none for feet and inches, which carry their marks."""
    digits = text.lstrip("-+−±").replace(",", "")
    sign = text[: len(text) - len(text.lstrip("-+−±"))]
    good = max(len(digits.partition(".")[2]), places or 0)
    metric = Fraction(digits)
    if unit == "m":
        return sign + feet_and_inches(metric, 32 if good > 2 else 4), ""
    if unit == "°C":
        warm = 32 + Fraction(9, 5) * (-metric if sign in ("-", "−") else metric)
        return f"{float(warm):.{good}f}", "°F"
    if unit == "m/s":
        wind = metric <= _FASTEST_WIND_M_S
        factor, name = (3600 / _MILE_M, "mph") if wind else (1 / FOOT_M, "ft/s")
    else:
        factor, name = _UNITS[unit]
    value = float(metric * factor)
    return f"{sign}{value:.{_decimals(value, good - math.floor(math.log10(factor)))}f}", name


def _decimals(value: float, resolved: int) -> int:
    """Decimals that keep a resolution of ten to the minus `resolved`, and three figures."""
    figures = 2 - math.floor(math.log10(value)) if value > 0 else 0
    return max(resolved, figures, 0)


def feet_and_inches(length_m: Fraction, parts: int) -> str:
    """A length of no sign in feet, inches and parts of an inch: 34' 9 1/4". [m]"""
    count = round(length_m / FOOT_M * 12 * parts)
    feet, rest = divmod(count, 12 * parts)
    inches, part = divmod(rest, parts)
    words = [f"{feet}'"] if feet else []
    words += [str(inches)] if inches or (feet and part) or not count else []
    words += [str(Fraction(part, parts))] if part else []
    return KEPT.join(words) + ('"' if rest or not count else "")
