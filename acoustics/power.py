"""What drives a show: groups on amplifier channels and cables, and what of the stock it takes."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from acoustics.show import Part, Show
from rigging.electrical import Amplifier, Cable, Electrical
from rigging.equipment import Catalogue, Enclosure
from rigging.findings import Finding, judged, unjudged
from rigging.hang import Hang


@dataclass(frozen=True)
class Feed:
    """Enclosures of one type in parallel on one set of amplifier channels.

    `rows`: of a hang from the top, or placed ones from the first, counted from 1. `channels`: of amplifier number
    `amplifier`, and pairs of the part's cable number `cable`, all counted from 1; empty and 0 where the enclosure's
    file says nothing of its ways.
    """

    part: str
    programme: str
    rows: tuple[int, ...]
    enclosure: str
    electrical: Electrical | None
    amplifier: int
    channels: tuple[int, ...]
    cable: int
    pairs: tuple[int, ...]

    @property
    def load_ohm(self) -> float | None:
        """Nominal load of each channel. [ohm]"""
        if self.electrical is None or self.electrical.ohm is None:
            return None
        return self.electrical.ohm / len(self.rows)


def feeds(show: Show, catalogue: Catalogue) -> list[Feed]:
    """How the show's groups are patched: split to what may hang on one set of channels, amplifiers filled in order.

    All rows of a hang that names no groups share one signal; a set of channels stays on one amplifier where it fits.
    Without `[power]` nothing is numbered.
    """
    amplifier, cable = _power(show, catalogue)
    found: list[Feed] = []
    used, number = 0, 1
    for part in show.parts:
        pairs, run = 0, 0
        for rows, item in _sets(part, catalogue):
            ways = item.electrical.ways if item.electrical else 0
            if amplifier is None or cable is None or not ways:
                found.append(Feed(part.name, part.channel, rows, item.name, item.electrical, 0, (), 0, ()))
                continue
            if used + ways > amplifier.channels and used:
                used, number = 0, number + 1
            if run == 0 or pairs + ways > cable.pairs:
                pairs, run = 0, run + 1
            own = tuple(range(used + 1, used + ways + 1)), tuple(range(pairs + 1, pairs + ways + 1))
            found.append(Feed(part.name, part.channel, rows, item.name, item.electrical, number, own[0], run, own[1]))
            used, pairs = used + ways, pairs + ways
    return found


def _power(show: Show, catalogue: Catalogue) -> tuple[Amplifier | None, Cable | None]:
    if show.power is None:
        return None, None
    amplifier, cable = catalogue.items[show.power.amplifier], catalogue.items[show.power.cable]
    assert isinstance(amplifier, Amplifier)  # what is unknown was refused before
    assert isinstance(cable, Cable)
    return amplifier, cable


def _sets(part: Part, catalogue: Catalogue) -> Iterator[tuple[tuple[int, ...], Enclosure]]:
    """Rows, from 1, that go on one set of channels, and their type."""
    for group in _groups(part):
        for item, rows in itertools.groupby(group, key=lambda row: _type(part, row, catalogue)):
            listed = list(rows)
            most = (item.electrical.parallel_most if item.electrical else None) or len(listed)
            for first in range(0, len(listed), most):
                yield tuple(row + 1 for row in listed[first : first + most]), item


def _groups(part: Part) -> list[tuple[int, ...]]:
    """Rows from 0 that share a signal: the groups of the file, then all others together."""
    if part.hang is None:
        return [tuple(range(part.placed.count if part.placed else 0))]
    named = {row for group in part.hang.groups for row in group}
    others = tuple(row for row in part.hang.enclosure_rows if row not in named)
    return [*part.hang.groups, *([others] if others else [])]


def _type(part: Part, row: int, catalogue: Catalogue) -> Enclosure:
    item = (
        part.hang.items[row] if part.hang is not None else catalogue.items[part.placed.enclosure if part.placed else ""]
    )
    assert isinstance(item, Enclosure)
    return item


def power_findings(show: Show, catalogue: Catalogue, listed: Sequence[Feed]) -> Iterator[Finding]:
    """Enclosures in parallel and the load of a channel, of the worst set of each type; what is not known of any."""
    amplifier, cable = _power(show, catalogue)
    for name in sorted({feed.enclosure for feed in listed}):
        mine = [feed for feed in listed if feed.enclosure == name]
        most = max(len(feed.rows) for feed in mine)
        electrical, part = mine[0].electrical, f"{name} in parallel"
        if electrical is None:
            yield unjudged(part, "enclosures on one channel", float(most), "", f"{name} has no [electrical]")
            continue
        if electrical.parallel_most is None:
            yield unjudged(part, "enclosures on one channel", float(most), "", f"{name} gives no parallel_most")
        else:
            limit = float(electrical.parallel_most)
            yield judged(part, "enclosures on one channel", float(most), limit, "", electrical.source)
        if amplifier is not None and cable is not None:  # a set of channels is not shared out
            ways = float(electrical.ways)
            yield judged(part, "ways on one amplifier", ways, float(amplifier.channels), "", amplifier.source)
            yield judged(part, "ways on one cable", ways, float(cable.pairs), "", cable.source)
        load = None if electrical.ohm is None else electrical.ohm / most
        what = "least load of a channel"
        if amplifier is None:
            yield unjudged(part, what, load, "ohm", "the show names no amplifier: [power]")
        elif load is None or amplifier.least_ohm is None:
            lacks = f"{name} gives no ohm" if load is None else f"{amplifier.name} gives no least_ohm"
            yield unjudged(part, what, load, "ohm", lacks)
        else:
            yield judged(part, what, load, amplifier.least_ohm, "ohm", amplifier.source, least=True)


def taken_by(hang: Hang) -> Counter[str]:
    """How many of each type of equipment a hang takes, hoists included, by name."""
    found = Counter([hang.frame.name, *(item.name for item in hang.items)])
    found.update([hang.arm[0].name] if hang.arm else [])
    hoists = [*(pick.hoist for pick in hang.picks), *([hang.pullback.hoist] if hang.pullback else [])]
    found.update(hoist for hoist in hoists if hoist)
    return found


def taken(show: Show, listed: Sequence[Feed]) -> dict[str, int]:
    """How many of each type of equipment the show takes, by name."""
    found: Counter[str] = Counter()
    for part in show.parts:
        if part.hang is not None:
            found += taken_by(part.hang)
        elif part.placed is not None:
            found[part.placed.enclosure] += part.placed.count
    if show.power is not None:
        found[show.power.amplifier] += max((feed.amplifier for feed in listed), default=0)
        found[show.power.cable] += len({(feed.part, feed.cable) for feed in listed if feed.cable})
    return dict(sorted(found.items()))


def stock_findings(show: Show, listed: Sequence[Feed]) -> Iterator[Finding]:
    """What the show takes against what there is; a type that the stock does not name cannot be judged."""
    if show.stock:
        yield from against_stock(taken(show, listed), show.stock, f"[stock] of {show.name}")


def against_stock(counts: Mapping[str, int], stock: Mapping[str, int], source: str) -> Iterator[Finding]:
    """What is taken, by type, against what there is; a type that the stock does not name cannot be judged."""
    for name, count in counts.items():
        if name in stock:
            yield judged("stock", name, float(count), float(stock[name]), "", source)
        else:
            yield unjudged("stock", name, float(count), "", f"{source} does not name it")
