"""Minimum-phase filters of a drive group: analogue sections of first and second order, evaluated at s = j2πf.

Time e^{+jωt}, so a filter that delays turns its phase negative. All frequencies are scaled by the section's own,
x = s / (2π f0). Shelves and bells are defined by points of their response, and meet these with the simplest
polynomials that are symmetric in boost and cut: a filter of −g dB is the inverse of that of +g dB.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from rigging.drive import HIGHEST_ORDER, SQUARED_ORDERS, Filter

Complex = npt.NDArray[np.complex128]
Coefficients = tuple[float, float, float]
T = TypeVar("T")

# The largest Q at which a shelf of second order stays between its two levels.
SHELF_Q = 0.5**0.5


@dataclass(frozen=True)
class Section:
    """(b0 + b1 x + b2 x²) / (a0 + a1 x + a2 x²), x = j f / `frequency_hz`."""

    frequency_hz: float
    numerator: Coefficients
    denominator: Coefficients

    def at(self, frequency: npt.ArrayLike) -> Complex:
        """Response at frequencies (...) [Hz]."""
        x = 1j * np.asarray(frequency, dtype=float) / self.frequency_hz
        (b0, b1, b2), (a0, a1, a2) = self.numerator, self.denominator
        return np.asarray((b0 + x * (b1 + x * b2)) / (a0 + x * (a1 + x * a2)))


Sections = tuple[Section, ...]


def low_pass(frequency_hz: float, order: int, squared: bool = False) -> Sections:
    """Butterworth low-pass, −3.0103 dB at its corner; squared, −6.0206 dB.

    Squared: two equal Butterworth filters of half the order in a row (Linkwitz, JAES 24(1), 1976, from memory).
    With the high-pass of the same corner it adds to an allpass.

    Parameters
    ----------
    frequency_hz : float
        Corner. [Hz]
    order : int
        1 to 8; squared, 4 or 8.
    squared : bool

    Returns
    -------
    tuple of Section

    Raises
    ------
    ValueError
        If the corner is not positive or the order is another one.
    """
    return tuple(Section(frequency_hz, (1.0, 0.0, 0.0), d) for d in _cascade(frequency_hz, order, squared))


def high_pass(frequency_hz: float, order: int, squared: bool = False) -> Sections:
    """Butterworth high-pass, plain or squared; parameters as for `low_pass`."""
    sections = []
    for denominator in _cascade(frequency_hz, order, squared):
        numerator = (0.0, 0.0, 1.0) if denominator[2] else (0.0, 1.0, 0.0)
        sections.append(Section(frequency_hz, numerator, denominator))
    return tuple(sections)


def low_shelf(frequency_hz: float, gain_db: float, q: float | None = SHELF_Q) -> Sections:
    """Shelf that raises what lies below its corner, where it has half its decibels.

    Parameters
    ----------
    frequency_hz : float
        Corner. [Hz]
    gain_db : float
        Gain far below it; far above it is 0 dB. [dB]
    q : float or None
        Steepness of a shelf of second order; above 0.7071 it overshoots. None: a shelf of first order.

    Returns
    -------
    tuple of Section

    Raises
    ------
    ValueError
        If the corner or Q is not positive.
    """
    _positive(frequency_hz, q)
    if q is None:
        root = 10.0 ** (gain_db / 40.0)
        return (Section(frequency_hz, (root, 1.0, 0.0), (1.0 / root, 1.0, 0.0)),)
    fourth = 10.0 ** (gain_db / 80.0)  # of the gain
    return (Section(frequency_hz, (fourth**2, fourth / q, 1.0), (fourth**-2, 1.0 / (fourth * q), 1.0)),)


def high_shelf(frequency_hz: float, gain_db: float, q: float | None = SHELF_Q) -> Sections:
    """Shelf that raises what lies above its corner; parameters as for `low_shelf`, x turned to 1/x."""
    (section,) = low_shelf(frequency_hz, gain_db, q)
    if q is None:
        (b0, b1, _), (a0, a1, _) = section.numerator, section.denominator
        return (Section(frequency_hz, (b1, b0, 0.0), (a1, a0, 0.0)),)
    return (Section(frequency_hz, _reversed(section.numerator), _reversed(section.denominator)),)


def bell(frequency_hz: float, gain_db: float, q: float) -> Sections:
    """Bell: its gain at the centre, 0 dB far from it, half its decibels at two frequencies that lie f0/Q apart.

    Parameters
    ----------
    frequency_hz : float
        Centre f0. [Hz]
    gain_db : float
        [dB]
    q : float

    Returns
    -------
    tuple of Section

    Raises
    ------
    ValueError
        If the centre or Q is not positive.
    """
    _positive(frequency_hz, q)
    root = 10.0 ** (gain_db / 40.0)
    return (Section(frequency_hz, (1.0, root / q, 1.0), (1.0, 1.0 / (root * q), 1.0)),)


def sections(filter_: Filter) -> Sections:
    """The sections of one filter of a hang file.

    Raises
    ------
    ValueError
        If keys that its kind needs are missing; a file that was read has them.
    """
    hz, order, gain, q = filter_.frequency_hz, filter_.order, filter_.gain_db, filter_.q
    if filter_.kind in ("high-pass", "low-pass"):
        build = high_pass if filter_.kind == "high-pass" else low_pass
        return build(hz, _given(filter_, "order", order), filter_.alignment == "squared-butterworth")
    gain = _given(filter_, "gain_db", gain)
    if filter_.kind == "bell":
        return bell(hz, gain, _given(filter_, "q", q))
    shelf = high_shelf if filter_.kind == "high-shelf" else low_shelf
    return shelf(hz, gain, None if order == 1 else SHELF_Q if q is None else q)


def response(filters: Iterable[Filter], frequency: npt.ArrayLike) -> Complex:
    """Response of filters in a row.

    Parameters
    ----------
    filters : iterable of Filter
        An empty one gives 1 at all frequencies.
    frequency : array_like, shape (...)
        [Hz]

    Returns
    -------
    ndarray of complex, shape (...)

    Raises
    ------
    ValueError
        If a filter lacks keys that its kind needs.
    """
    f = np.asarray(frequency, dtype=float)
    total = np.ones(f.shape, dtype=complex)
    for filter_ in filters:
        for section in sections(filter_):
            total = total * section.at(f)
    return np.asarray(total)


def _cascade(frequency_hz: float, order: int, squared: bool) -> list[Coefficients]:
    """Denominators of a Butterworth filter: pairs of poles on the unit circle, and −1 where the order is odd."""
    _positive(frequency_hz, None)
    if squared:
        if order not in SQUARED_ORDERS:
            raise ValueError(f"a squared Butterworth filter has order 4 or 8, not {order}")
        return 2 * _cascade(frequency_hz, order // 2, False)
    if not 1 <= order <= HIGHEST_ORDER:
        raise ValueError(f"order must be 1 to {HIGHEST_ORDER}, not {order}")
    angles = np.pi * (2.0 * np.arange(order // 2) + 1.0) / (2.0 * order)
    pairs: list[Coefficients] = [(1.0, 2.0 * float(np.sin(angle)), 1.0) for angle in angles]
    return pairs + [(1.0, 1.0, 0.0)] * (order % 2)


def _reversed(coefficients: Coefficients) -> Coefficients:
    c0, c1, c2 = coefficients
    return c2, c1, c0


def _positive(frequency_hz: float, q: float | None) -> None:
    if not frequency_hz > 0.0:
        raise ValueError(f"a filter's frequency must be positive, not {frequency_hz:g} Hz")
    if q is not None and not q > 0.0:
        raise ValueError(f"q must be positive, not {q:g}")


def _given(filter_: Filter, name: str, value: T | None) -> T:
    if value is None:
        raise ValueError(f"a {filter_.kind} needs {name}")
    return value
