"""Filters in a file at fault: the key, its line, the cause, and what to do."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pytest

from rigging.drive import Filter, Problem, filter_faults
from rigging.files import read, validate
from rigging.models import Model, Name

OPENS = 'format = "checks/1"\n'
HIGH_PASS = '[[filter]]\nkind = "high-pass"\nfrequency_hz = 60.0\norder = 4\n'
LOW_SHELF = '[[filter]]\nkind = "low-shelf"\nfrequency_hz = 120.0\ngain_db = 3.0\n'
BELL = '[[filter]]\nkind = "bell"\nfrequency_hz = 250.0\ngain_db = -4.0\nq = 2.0\n'
SQUARED = HIGH_PASS + 'alignment = "squared-butterworth"\n'


class Filtered(Model):
    """A file that holds filters and nothing else."""

    format: Name
    filter: tuple[Filter, ...] = ()

    @classmethod
    def cross_faults(cls, data: Mapping[str, Any]) -> Iterator[Problem]:
        yield from filter_faults(data.get("filter"), ("filter",))


def load(file: str) -> Filtered:
    return validate(read(file), Filtered)


def changed(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new, 1)


def test_sound_filters(tmp_path):
    (tmp_path / "a.toml").write_text(OPENS + SQUARED + BELL + LOW_SHELF + "order = 1\n")
    high_pass, bell, shelf = load(tmp_path / "a.toml").filter
    assert (high_pass.kind, high_pass.frequency_hz, high_pass.order) == ("high-pass", 60.0, 4)
    assert (high_pass.alignment, high_pass.gain_db, high_pass.q) == ("squared-butterworth", None, None)
    assert (bell.kind, bell.gain_db, bell.q, bell.order, bell.alignment) == ("bell", -4.0, 2.0, None, None)
    assert (shelf.kind, shelf.frequency_hz, shelf.gain_db, shelf.order) == ("low-shelf", 120.0, 3.0, 1)


@pytest.mark.parametrize(
    ("text", "keys"),
    [
        (HIGH_PASS, {"order": [*range(1, 9)]}),
        (SQUARED, {"order": [4, 8]}),
        (LOW_SHELF + "order = 4\n", {"order": [1, 2]}),
        (BELL, {"gain_db": [-40.0, 0, 20], "q": [0.1, 20], "frequency_hz": [10, 30000.0]}),
    ],
)
def test_ends_of_every_range_are_allowed(tmp_path, text, keys):
    for name, values in keys.items():
        (old,) = (line for line in text.splitlines() if line.startswith(f"{name} = "))
        for value in values:
            (tmp_path / "a.toml").write_text(OPENS + text.replace(old, f"{name} = {value}"))
            assert getattr(load(tmp_path / "a.toml").filter[0], name) == value


@pytest.mark.parametrize(
    ("text", "key", "wrong", "todo"),
    [
        (changed(HIGH_PASS, '"high-pass"', '"highpass" # HERE'), "kind", "is not one of the known", "'high-pass'"),
        (changed(HIGH_PASS, "60.0", "9.9 # HERE"), "frequency_hz", "plausible range 10 to 30000 Hz (got 9.9)", "unit"),
        (changed(HIGH_PASS, "60.0", "1e5 # HERE"), "frequency_hz", "plausible range 10 to 30000 Hz", "its unit"),
        (changed(HIGH_PASS, "60.0", '"60" # HERE'), "frequency_hz", "must be a number in Hz", "without quotes"),
        (changed(HIGH_PASS, "= 4", "= 0 # HERE"), "order", "is no order of a filter (got 0)", "whole number, 1 to 8"),
        (changed(HIGH_PASS, "= 4", "= 9 # HERE"), "order", "is no order of a filter (got 9)", "whole number, 1 to 8"),
        (changed(HIGH_PASS, "= 4", "= 4.0 # HERE"), "order", "is no order of a filter", "whole number, 1 to 8"),
        (changed(HIGH_PASS, "= 4", "= true # HERE"), "order", "is no order of a filter", "whole number, 1 to 8"),
        (LOW_SHELF + "orders = 1 # HERE\n", "orders", "is an unknown key", "did you mean order?"),
        (changed(BELL, "-4.0", "-41 # HERE"), "gain_db", "plausible range -40 to 20 dB (got -41)", "check the number"),
        (changed(BELL, "-4.0", "20.1 # HERE"), "gain_db", "plausible range -40 to 20 dB (got 20.1)", "check"),
        (changed(BELL, "q = 2.0", "q = 0 # HERE"), "q", "plausible range 0.1 to 20 (got 0)", "check the number"),
        (changed(BELL, "q = 2.0", "q = nan # HERE"), "q", "is not a finite number", "give a number"),
        (HIGH_PASS + 'alignment = "flat" # HERE\n', "alignment", "known words", "'squared-butterworth'"),
        (changed(SQUARED, "= 4", "= 6 # HERE"), "order", "order of a squared-butterworth filter (got 6)", "4 or 8"),
        (HIGH_PASS + "gain_db = 3.0 # HERE\n", "gain_db", "no meaning for a high-pass (got 3.0)", "order, alignment"),
        (HIGH_PASS + "q = 0.7 # HERE\n", "q", "has no meaning for a high-pass", "remove it"),
        (LOW_SHELF + "order = 3 # HERE\n", "order", "is no order of a shelf (got 3)", "give 1 or 2"),
        (LOW_SHELF + "order = 1\nq = 0.5 # HERE\n", "q", "has no meaning for a shelf of order 1", "set order = 2"),
        (LOW_SHELF + 'alignment = "butterworth" # HERE\n', "alignment", "no meaning for a low-shelf", "order, q"),
        (BELL + "order = 2 # HERE\n", "order", "has no meaning for a bell (got 2)", "a bell has gain_db, q"),
        (changed(HIGH_PASS, "order = 4\n", ""), "order", "key is missing", "needs it: 1 to 8, for example order = 4"),
        (changed(LOW_SHELF, "gain_db = 3.0\n", ""), "gain_db", "key is missing", "a low-shelf needs it: -40 to 20 dB"),
        (changed(BELL, "q = 2.0\n", ""), "q", "key is missing", "a bell needs it: 0.1 to 20, for example q = 2.0"),
        (changed(BELL, "frequency_hz = 250.0\n", ""), "frequency_hz", "key is missing", "for example frequency_hz = "),
        (changed(BELL, 'kind = "bell"\n', ""), "kind", "key is missing", 'for example kind = "high-pass"'),
    ],
)  # fmt: skip
def test_filter_at_fault(fault_of, text, key, wrong, todo):
    """The filter at fault is the second one of the file."""
    fault = fault_of(load, OPENS + BELL + text)
    assert fault.key == f"filter[2].{key}"
    assert wrong in str(fault)
    assert todo in str(fault)


def test_all_faults_are_told_at_once(faults_of):
    text = OPENS + changed(HIGH_PASS, "order = 4", "q = 1.0") + changed(BELL, "-4.0", "99") + LOW_SHELF + "order = 5\n"
    faults = faults_of(load, text)
    assert sorted((fault.key, fault.line) for fault in faults) == [
        ("filter[1].order", 2),  # a missing key stands at the header
        ("filter[1].q", 5),
        ("filter[2].gain_db", 9),
        ("filter[3].order", 15),
    ]


@pytest.mark.parametrize("entries", [None, 3, "bell", [3], [{}], [{"kind": 3}], [{"kind": ["bell"]}], [{"kind": "no"}]])
def test_what_is_no_filter_is_left_to_the_model(entries):
    assert list(filter_faults(entries, ("filter",))) == []


def test_location_within_a_file():
    (fault,) = filter_faults([{"kind": "bell", "q": 1.0, "gain_db": 1.0, "order": 2}], ("group", 1, "filter"))
    assert fault[0] == ("group", 1, "filter", 0, "order")
