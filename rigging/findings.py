"""What a finding is: a part, a value against a limit with its source, and a status."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Status = Literal["within", "exceeds", "cannot be judged"]
WITHIN: Status = "within"
EXCEEDS: Status = "exceeds"
CANNOT: Status = "cannot be judged"

# Rounding of sums of file numbers; a limit of 1000 kg is met by 1000.0000001.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class Finding:
    """One thing judged, or that cannot be: `value` and `limit` in `unit`; `least` where the limit is a least one."""

    part: str
    what: str
    value: float | None
    limit: float | None
    unit: str
    status: Status
    source: str
    note: str = ""
    least: bool = False

    @property
    def used(self) -> float | None:
        """Share of the limit that is used; above 1 it is exceeded. None where there is no limit, or it is 0."""
        if self.value is None or not self.limit:
            return None
        top, bottom = (self.limit, self.value) if self.least else (self.value, self.limit)
        return top / bottom if bottom > 0 else float("inf")


def judged(
    part: str, what: str, value: float, limit: float, unit: str, source: str, note: str = "", *, least: bool = False
) -> Finding:
    """A value against its limit: the most that is allowed, or the `least`."""
    slack = _ROUNDING * abs(limit)
    holds = value >= limit - slack if least else value <= limit + slack
    return Finding(part, what, value, limit, unit, WITHIN if holds else EXCEEDS, source, note, least)


def unjudged(part: str, what: str, value: float | None, unit: str, why: str, state: str = "") -> Finding:
    """A value whose limit, or whose own data, are missing."""
    return Finding(part, what, value, None, unit, CANNOT, "", f"{why}; {state}" if state else why)


def worst_first(findings: Iterable[Finding]) -> list[Finding]:
    """Exceeded ones, then those that cannot be judged, then the rest; most used first within each."""
    order = {EXCEEDS: 0, CANNOT: 1, WITHIN: 2}
    unlimited = {EXCEEDS: float("inf"), CANNOT: 0.0, WITHIN: 0.0}

    def key(finding: Finding) -> tuple[int, float, float]:
        used = unlimited[finding.status] if finding.used is None else finding.used
        return order[finding.status], -used, -abs(finding.value or 0.0)

    return sorted(findings, key=key)


def weakest(findings: Iterable[Finding]) -> Finding | None:
    """The one that uses most of its limit, or exceeds it; None where none can be judged."""
    return next((finding for finding in worst_first(findings) if finding.status != CANNOT), None)


def worst_of_each(findings: Iterable[Finding]) -> list[Finding]:
    """The worst finding of each part and kind, over all stages."""
    worst: dict[tuple[str, str], Finding] = {}
    for finding in worst_first(findings):
        worst.setdefault((finding.part, finding.what), finding)
    return list(worst.values())


def counts(findings: Iterable[Finding]) -> dict[Status, int]:
    """How many findings have each status."""
    listed = [finding.status for finding in findings]
    return {status: listed.count(status) for status in (EXCEEDS, CANNOT, WITHIN)}
