"""The data beside a report: evenness.csv and rigging.json; names and units are those of `acoustics.names`."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from typing import Any

from acoustics.app.sheet import plain
from acoustics.names import KEYS


def evenness_csv(summary: dict[str, Any]) -> str:
    """Every area of a summary, of a hang or of a show, and last all the audience, a line each; empty: not known."""
    areas = [*summary["areas"], *([summary["whole"]] if "whole" in summary else [])]
    tie = {name: summary[name] for name in ("hang", "venue", "revision")}
    rows = [{**tie, **dict(_columns(area))} for area in areas]
    written = io.StringIO()
    writer = csv.DictWriter(written, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows({name: "" if value is None else value for name, value in plain(row).items()} for row in rows)
    return written.getvalue()


def _columns(area: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    for name, value in area.items():
        if name == "level_a_percentiles_db":
            yield from ((f"level_a_p{percent}_db", level) for percent, level in value.items())
        elif name == "octave_deviation_db":
            yield from ((f"deviation_{hz}_db", level) for hz, level in value.items())
        elif name == "shape_spread_db":
            yield from ((f"shape_spread_{kind}_db", level) for kind, level in value.items())
        elif name == "worst_seat":
            yield "worst_seat_db", None if value is None else value["from_mean_db"]
            places = (None, None, None) if value is None else value["position_m"]
            yield from ((f"worst_seat_{axis}_m", place) for axis, place in zip("xyz", places, strict=True))
        elif not isinstance(value, list):
            yield name, value


def rigging_json(data: dict[str, Any]) -> str:
    """What is judged, with the unit of every key that stands for a number."""
    units = {key: KEYS[key].units for key in sorted(set(number_keys(data)))}
    return json.dumps(plain({**data, "units": units}), indent=2, ensure_ascii=False) + "\n"


def number_keys(value: Any, key: str = "") -> Iterator[str]:
    """Keys that lead to numbers, or to lists of them; of what counts types by name, that of the whole."""
    if isinstance(value, dict):
        for name, item in value.items():
            yield from number_keys(item, key if key == "taken" else str(name))
    elif isinstance(value, list | tuple):
        for item in value:
            yield from number_keys(item, key)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield key
