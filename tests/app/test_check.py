"""`evenhang check`: exit status, what is refused, the report as text and as data, and random changes."""

from __future__ import annotations

import copy
import json
import math
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acoustics.app import cli
from acoustics.app.check import as_data, text
from acoustics.app.sheet import plain
from acoustics.venue import load_venue
from rigging.cautions import CAUTIONS
from rigging.check import check
from rigging.equipment import KINDS, Catalogue, load_catalogue
from rigging.faults import FileFaults
from rigging.files import read, validate
from rigging.hang import load_hang
from rigging.policy import load_policy
from rigging.statics import G

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_venues"
LEFT, VENUE = SAMPLES / "theatre" / "left.toml", SAMPLES / "theatre" / "venue.toml"
POLICIES = ROOT / "rigging" / "policies"


@pytest.fixture
def run(capsys) -> Callable[..., tuple[int, str, str]]:
    """Runs `check`; returns exit status, standard output and standard error."""

    def go(*arguments: object) -> tuple[int, str, str]:
        try:
            code = cli.main(["check", *map(str, arguments)])
        except SystemExit as end:
            code = int(end.code or 0)
        return code, *capsys.readouterr()

    return go


@pytest.fixture
def in_theatre(run, tmp_path) -> Callable[..., tuple[int, str, str]]:
    """The same for the theatre sample with some text of its hang, venue or policy replaced."""

    def go(*more: object, **replaced: tuple[str, str]) -> tuple[int, str, str]:
        files = {"hang": LEFT, "venue": VENUE, "policy": POLICIES / "over_people.toml"}
        for name, path in files.items():
            content = path.read_text()
            if name in replaced:
                old, new = replaced[name]
                assert old in content
                content = content.replace(old, new, 1)
            (tmp_path / f"{name}.toml").write_text(content)
        asked = [tmp_path / "hang.toml", tmp_path / "venue.toml", "--policy", tmp_path / "policy.toml"]
        return run(*asked, *more)

    return go


# --- exit status and messages ---


# The lowest edge is 7.5 m up, the floor below it at 1.0 m. Both points carry less than 650 kg.
@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({}, 0),
        ({"policy": ("clearance_m = 2.5", "clearance_m = 7.0")}, 1),
        ({"hang": ("floor_below_m = 1.0\n", "")}, 4),
        ({"hang": ("floor_below_m = 1.0\n", ""), "policy": ("marked_share = 0.5", "marked_share = 0.1")}, 1),
        ({"venue": ("limit_kg = 650.0\n", "")}, 4),
        ({"venue": ("limit_kg = 650.0", "limit_kg = 0.0")}, 1),
    ],
)
def test_exit_status(in_theatre, changes, code):
    found, out, err = in_theatre(**changes)
    assert (found, err) == (code, "")
    (line,) = (line for line in out.splitlines() if re.match(r"\d+ exceed, ", line))
    assert line.startswith("0 exceed, ") == (code != 1)
    assert (", 0 cannot be judged, " in line) == ("floor_below_m" not in str(changes) and code != 4)


@pytest.mark.parametrize(
    ("changes", "file", "key", "cause"),
    [
        ({"hang": ('point = "left 1"', 'point = "left 9"')}, "hang", "pick[1].point", "is no point of Gable Theatre"),
        ({"hang": ('"hoist-1t"', '"hoist-9t"')}, "hang", "pick[1].hoist", "is no known hoist"),
        ({"hang": ('hole = "2"', 'hole = "12"')}, "hang", "pick[1].hole", "is no hole of frame-large"),
        ({"hang": ('hole = "9"', 'hole = "2"')}, "hang", "pick[2].hole", "is that of pick[1] too"),
        ({"hang": ("tilt_deg", "carts = { groups = [4, 4] }\ntilt_deg")}, "hang", "carts.groups", "8 enclosures of 12"),
        ({"venue": ('name = "left 2"', 'name = "left 1"')}, "venue", "point[2].name", "is the name of point[1] too"),
        ({"venue": ("limit_kg = 650.0", "limit_kg = -1.0")}, "venue", "point[1].limit_kg", "outside the plausible"),
        ({"venue": ("[air]", "gust_m_s = 90.0\n[air]")}, "venue", "gust_m_s", "plausible range 0 to 60 m/s"),
        ({"venue": ("[air]", 'open_air = "yes"\n[air]')}, "venue", "open_air", "must be true or false"),
        ({"policy": ("marked_share = 0.5", "marked_share = 1.5")}, "policy", "marked_share", "range 0.05 to 1"),
        ({"policy": ("marked_share = 0.5", "share = 0.5")}, "policy", "share", "is an unknown key"),
        ({"policy": ('"policy/1"', '"hang/1"')}, "policy", "format", "is another kind of file"),
    ],
)  # fmt: skip
def test_input_at_fault(in_theatre, changes, file, key, cause):
    code, out, err = in_theatre(**changes)
    assert (code, out) == (2, "")
    (line,) = (line for line in err.splitlines() if f" {key}: " in line)
    assert f"{file}.toml" in line
    assert cause in line
    assert "; " in line
    assert "Traceback" not in err


def test_faults_of_all_files_are_told_at_once(in_theatre):
    changes = {"hang": ("-4.0", "-400.0"), "venue": ("21.0", "210.0"), "policy": ("drag = 1.3", "drag = 13.0")}
    code, out, err = in_theatre("--beside", "nowhere.toml", **changes)
    assert (code, out) == (2, "")
    assert [word in err for word in ("azimuth_deg", "temperature_c", "drag", "nowhere.toml: does not exist")] == [
        True
    ] * 4
    assert len(err.splitlines()) == 4


@pytest.mark.parametrize(
    ("policy", "name"),
    [(None, "over people"), ("over_people", "over people"), ("no_people", "nobody below")],
)
def test_packaged_policies_go_by_name(run, policy, name):
    code, out, _ = run(LEFT, VENUE, "--json", *(["--policy", policy] if policy else []))
    assert code == 0
    assert json.loads(out)["policy"]["name"] == name


@pytest.mark.parametrize("policy", ["nobody", "no_people.toml", "", ".", LEFT, "no\npeople"])
def test_no_policy_of_that_name(run, policy):
    code, out, err = run(LEFT, VENUE, "--policy", policy)
    assert (code, out) == (2, "")
    assert err
    assert "Traceback" not in err


def test_unknown_policy_lists_the_known_ones(run):
    code, out, err = run(LEFT, VENUE, "--policy", "over-people")
    assert (code, out) == (2, "")
    assert all(path.stem in err for path in POLICIES.glob("*.toml"))


def test_a_file_of_that_name_goes_before_the_packaged_policy(run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "no_people").write_text((POLICIES / "no_people.toml").read_text().replace("nobody below", "mine"))
    assert json.loads(run(LEFT, VENUE, "--json", "--policy", "no_people")[1])["policy"]["name"] == "mine"


# Bridles: the theatre's pick 1 from two or three points at 15 m; its apex, hole and hook are near y = 6.5, 10.7 m up.
def bridle(apex_m: float, *points: str, hardware: str = ", hardware = []") -> tuple[str, str]:
    legs = ", ".join(f'{{ point = "{point}", rope = "rope-10mm"{hardware} }}' for point in points)
    return 'point = "left 1"\n', f"apex_m = {apex_m}\nleg = [{legs}]\n"


TWO = ("left 1", "left 2")


@pytest.mark.parametrize(
    ("legs", "codes"),
    [
        (bridle(13.0, *TWO), {0}),  # steep legs; all of the load on one is some 490 kg of the rope's 539
        (bridle(13.0, *TWO, hardware=""), {4}),  # what its legs' ends hold is not named
        (bridle(9.0, *TWO), {2}),  # below the hole
        (bridle(16.0, *TWO), {2}),  # above its points: no rope pushes
        (bridle(15.0, *TWO), {2}),  # level with its points: no tension is enough
        (bridle(13.0, "left 1", "left 1"), {2, 4}),  # side by side: how they share is left open
        (bridle(13.0, "left 1", "left 1", "left 1"), {2, 4}),
        (bridle(13.0, "left 1", "left 2", "right 1"), {1}),  # the third leg is 13 m long and rises by 2 m, 9°
    ],
)
def test_any_bridle_is_judged_or_refused(in_theatre, legs, codes):
    code, out, err = in_theatre(hang=legs)
    assert code in codes
    assert (out == "") == (code == 2)
    assert "Traceback" not in err


def test_stack_without_wind(run, tmp_path):
    hang = LEFT.read_text()
    hang = hang[: hang.index("[loom]")] + "standing = true\n" + hang[hang.index("[[column]]") :]
    venue = VENUE.read_text().replace("[air]", "open_air = true\ngust_m_s = 0.0\n[air]")
    (tmp_path / "hang.toml").write_text(hang)
    (tmp_path / "venue.toml").write_text(venue)
    code, out, _ = run(tmp_path / "hang.toml", tmp_path / "venue.toml", "--json")
    # 12 rows of 0.28 m and a frame of 0.14 m under a reference at 10.6 m: their base hangs in the air.
    assert code == 1
    found = {(f["part"], f["what"]): f["status"] for f in json.loads(out)["findings"]}
    assert found["stack", "base off the floor"] == "exceeds"
    assert not any("friction" in what for _, what in found)  # no force needs none


# --- text and data say the same ---

TOP = [
    "hang",
    "venue",
    "design",
    "revision",
    "version",
    "counts",
    "findings",
    "picks",
    "points",
    "joints",
    "stages",
    "holes",
    "policy",
    "cautions",
]
KEYS = {
    "findings": ["part", "what", "value", "limit", "unit", "status", "source", "note", "least", "used"],
    "picks": ["name", "low_kg", "hole_kg", "hook_kg", "roof_kg", "worst_kg", "worst_stage", "worst_hook_kg",
              "worst_roof_kg", "factor", "chain_m", "longest_chain_m"],
    "points": ["point", "from", "force_n", "why"],
    "joints": ["joint", "splay_deg", "link_n", "pivot_n", "pivot_axial_n", "pivot_shear_n", "beyond_half_n", "link_m"],
    "stages": ["stage", "rows", "mass_kg", "picks_kg", "tilt_deg", "reachable_deg", "lowest_elevation_deg", "hook_m",
               "next_group"],
}  # fmt: skip


@pytest.mark.parametrize("name", ["theatre/left", "meadow/right", "theatre/steep-bare"])
def test_keys_of_the_data_stay(run, name):
    data = json.loads(run(SAMPLES / f"{name}.toml", SAMPLES / name.split("/")[0] / "venue.toml", "--json")[1])
    assert set(data) >= set(TOP)
    assert list(data["counts"]) == ["exceeds", "cannot be judged", "within"]
    for table, keys in KEYS.items():
        assert data[table]
        for entry in data[table]:
            assert set(entry) >= set(keys)
    assert {found["status"] for found in data["findings"]} <= {"exceeds", "cannot be judged", "within"}


def same(printed: str, value: float | None) -> bool:
    """Whether a printed number is a value to its own last digit."""
    if value is None or printed == "–":
        return value is None and printed == "–"
    digits = len(printed.split(".")[1]) if "." in printed else 0
    return abs(float(printed) - value) <= 0.5000001 * 10**-digits


def section(out: str, head: str) -> list[str]:
    """Lines below a heading, to the next empty one; none where there is no such heading."""
    lines = out.splitlines()
    start = next((i for i, line in enumerate(lines) if line.startswith(head)), None)
    return [] if start is None else lines[start + 1 : lines.index("", start)]


def findings_as_printed(rows: list[str], findings: list[Any]) -> None:
    for row, found in zip(rows, findings, strict=True):
        status = "within" if found["status"] == "within" else found["status"].upper()
        head = re.match(rf"{status} +{re.escape(found['part'])} +{re.escape(found['what'])}(?= |$)", row)
        assert head
        cells = row[head.end() :].split()
        if found["value"] is not None:
            assert same(cells.pop(0), found["value"])
            assert cells[: len(found["unit"].split())] == found["unit"].split()
            del cells[: len(found["unit"].split())]
        if found["limit"] is not None:
            assert cells.pop(0) == ("≥" if found["least"] else "≤")
            assert same(cells.pop(0), found["limit"])
        if found["used"] is not None:
            assert same(cells.pop(0).rstrip("%"), 100 * found["used"])
        assert row.endswith(found["note"] or found["source"])


def picks_as_printed(out: str, data: Any) -> None:
    rows = section(out, "PICKS")[1:]
    for row, pick in zip(rows, data["picks"], strict=False):
        cells = row.removeprefix(pick["name"]).split()
        if pick["hole_kg"] < 0:  # nothing hangs from a hook that would push
            assert cells.pop(0) == "PUSHES"
            assert same(cells.pop(0), -pick["hole_kg"])
            assert cells.pop(0) == "–"
        else:
            assert same(cells.pop(0), pick["hole_kg"])
            assert same(cells.pop(0), pick["hook_kg"])
        keys = ("roof_kg", "worst_hook_kg", "worst_roof_kg", "factor")
        assert all(same(cell, pick[key]) for cell, key in zip(cells, keys, strict=True))
    points = section(out, "POINTS")[1:]
    assert len(points) == len(data["points"])
    for load in data["points"]:
        (row,) = (row for row in points if row.startswith(f"{load['point']} ") and load["from"] in row)
        down, aside = row.removeprefix(load["point"]).split()[:2]
        assert same(down, -load["force_n"][2] / G)
        assert same(aside, math.hypot(*load["force_n"][:2]) / G)
    legs = iter(row for row in section(out, "BRIDLES")[1:] if row.startswith("pick "))
    for pick in data["picks"]:
        sums = 0.0
        for leg in pick.get("legs", ()):
            cells = next(legs).removeprefix(pick["name"]).strip().removeprefix(leg["point"]).split()
            values = (leg["length_m"], leg["from_horizontal_deg"], leg["tension_kg"])
            assert all(same(cell.rstrip("°"), value) for cell, value in zip(cells, values, strict=False))
            sums += float(cells[4])
        if sums:  # together they hold what hangs on them; each is printed to 0.05 kg or better
            assert sums == pytest.approx(pick["worst_roof_kg"], rel=0, abs=0.15)
    assert next(legs, None) is None


def joints_as_printed(out: str, data: Any) -> None:
    rows = [row for row in section(out, "JOINTS") if re.match(r"(frame–row|rows) \d", row)]
    joints = data["joints"] if data["stages"] else data["joints"][1:]  # nothing stands on row 1 of a stack
    for row, joint in zip(rows, joints, strict=True):
        splay, *cells = row.split("°")[0].split()[-1:] + row.split("°")[1].split()
        assert same(splay, joint["splay_deg"])
        assert same(cells.pop(0), joint["link_m"] * 1000)
        assert cells.pop(0) == ("pulls" if joint["link_n"] >= 0 else "PUSHES")
        force = abs(joint["link_n"])
        # The heavier side: half, and what a load off the middle adds to one.
        values = [force, force / 2 + joint["beyond_half_n"], joint["pivot_axial_n"], joint["pivot_shear_n"]]
        assert all(same(cell, value) for cell, value in zip(cells, values, strict=True))


def stages_as_printed(out: str, data: Any) -> None:
    lines = section(out, "STAGES")
    for row, stage in zip(lines[1:], data["stages"], strict=False):
        assert row.startswith(f"{stage['stage']}  ")
        assert same(row.removeprefix(stage["stage"]).split()[0], stage["mass_kg"])
        assert stage["next_group"] in row
        at_trim = stage is data["stages"][-1]
        assert (f"  {stage['hook_m']:.2f}" in row) == (not at_trim)


SOME_UNKNOWN = {"hang": ("floor_below_m = 1.0\n", ""), "venue": ("limit_kg = 650.0\n", "")}
OFF_MIDDLE = {"hang": ("kg_per_m = 1.4", "kg_per_m = 1.4\ny_m = 0.4")}
SHEETS = ["theatre/left", "theatre/steep-bare", "theatre/pulled", "arena/left", "arena/delay", "meadow/left"]
SHEETS += ["meadow/front-left", SOME_UNKNOWN, OFF_MIDDLE]


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet if isinstance(sheet, str) else "changed")
def test_printed_numbers_are_those_of_the_data(run, in_theatre, sheet):
    """A sample, or the theatre's with changes: something unknown, a load off the middle."""
    if isinstance(sheet, str):
        asked = (SAMPLES / f"{sheet}.toml", SAMPLES / sheet.split("/")[0] / "venue.toml")
        data, out = json.loads(run(*asked, "--json")[1]), run(*asked)[1]
    else:
        data, out = json.loads(in_theatre("--json", **sheet)[1]), in_theatre(**sheet)[1]
    lines = out.splitlines()
    assert lines[0] == f"{data['hang']}  in  {data['venue']}"
    assert lines[1].split()[:4] == ["DESIGN", data["design"], "REVISION", data["revision"]]
    counts = data["counts"]
    counted = f"{counts['exceeds']} exceed, {counts['cannot be judged']} cannot be judged, {counts['within']} within"
    assert counted in lines
    assert len(data["findings"]) == sum(counts.values())
    findings_as_printed(
        section(out, "EXCEEDS OR CANNOT BE JUDGED, worst first")[1:] + section(out, "WITHIN, most used first")[1:],
        data["findings"],
    )
    picks_as_printed(out, data)
    joints_as_printed(out, data)
    stages_as_printed(out, data)
    assert (f"holes: {data['holes']}" in lines) == bool(data["picks"])
    # A heading stands below an empty line; what has nothing to tell is left out.
    heads = re.findall(r"\n\n([A-Z]{5,})", out)
    told = {head: data[head.lower()] for head in ("PICKS", "POINTS", "STAGES")}
    told |= {"EXCEEDS": len(data["findings"]) - counts["within"], "BRIDLES": any("legs" in p for p in data["picks"])}
    order = ["EXCEEDS", "PICKS", "POINTS", "BRIDLES", "JOINTS", "STAGES", "WITHIN", "POLICY"]
    assert heads == [head for head in order if told.get(head, True)]


def test_out_keeps_what_is_printed(run, tmp_path):
    code, out, _ = run(LEFT, VENUE, "--out", tmp_path)
    data = json.loads(run(LEFT, VENUE, "--json")[1])
    (folder,) = tmp_path.iterdir()
    assert code == 0
    assert folder.name.endswith(f"-{data['revision']}")
    assert {path.name for path in folder.iterdir()} == {"check.txt", "check.json"}
    assert json.loads((folder / "check.json").read_text()) == data
    assert out.startswith((folder / "check.txt").read_text())


def test_data_stay_json_where_nothing_is_known(run):
    code, out, _ = run(LEFT, "--json")
    data = json.loads(out)
    assert code == 4
    assert "NaN" not in out
    assert "Infinity" not in out
    for pick in data["picks"]:  # what hangs above the hook is known without a venue, how far up is not
        assert pick["roof_kg"] > pick["hook_kg"]
        assert (pick["chain_m"], pick["longest_chain_m"]) == (None, None)


def test_no_share_is_printed_as_infinite(in_theatre):
    code, out, _ = in_theatre(hang=("10.6", "16.6"))  # above its points: no share of the headroom can be told
    assert code == 1
    assert not re.search(r"\binf", out)
    assert [row for row in section(out, "EXCEEDS") if "headroom" in row and "> 10 ×" in row]


# --- random changes ---

HANGS = [tomllib.loads(path.read_text()) for path in (LEFT, SAMPLES / "theatre/steep-arm.toml")]
HANGS.append(HANGS[0] | {"pullback": {"to_m": [-6.0, 6.5, 12.0]}, "pick": HANGS[0]["pick"][:1]})
HANGS.append({k: v for k, v in HANGS[0].items() if k not in ("pick", "loom")} | {"standing": True})
HANGS.append(tomllib.loads((SAMPLES / "arena/left.toml").read_text()) | {"carts": {"groups": [3, 3, 4, 3, 3]}})
VENUES = [tomllib.loads(path.read_text()) for path in SAMPLES.glob("*/venue.toml")]
values = st.sampled_from([0, 1, -1, 0.0, 1e-3, 45.0, 1e5, float("nan"), True, "", "left 1", "6", [], {}, None])
values = values | st.floats(-30.0, 30.0) | st.integers(-3, 20)
FUZZ = settings(
    max_examples=250,
    deadline=None,
    database=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def _places(node: Any, path: tuple = ()) -> list[tuple]:
    keys = node if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
    return [place for key in keys for place in ((*path, key), *_places(node[key], (*path, key)))]


@st.composite
def changed(draw: Callable[..., Any], samples: list[dict[str, Any]]) -> dict[str, Any]:
    """A sample with one to three of its keys set to another value, or taken out."""
    data = copy.deepcopy(draw(st.sampled_from(samples)))
    for _ in range(draw(st.integers(1, 3))):
        *path, last = draw(st.sampled_from(_places(data) or [()]))
        node: Any = data
        for key in path:
            node = node[key]
        value = draw(values)
        if isinstance(node[last], float) and draw(st.integers(0, 5)):  # mostly what may pass as sound
            near = st.sampled_from([node[last] * times for times in (-1.0, 0.0, 0.5, 0.9, 1.1, 2.0, 10.0)])
            value = draw(st.integers(0, 6).map(float) if last == "splay_deg" else near)
        if value is None:
            del node[last]
        else:
            node[last] = value
    return data


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        return f"{{{', '.join(f'{json.dumps(key)} = {_inline(inner)}' for key, inner in value.items())}}}"
    if isinstance(value, list):
        return f"[{', '.join(map(_inline, value))}]"
    return str(value) if isinstance(value, float) else json.dumps(value)


PACKAGED = load_catalogue()
EQUIPMENT = [dict(document.data) for document in PACKAGED.documents.values()]


@pytest.fixture
def judge(tmp_path) -> Callable[..., None]:
    """Judges a sample with one file changed; it must come to a report or to faults, and the report must be sound."""

    def go(**given: dict[str, Any]) -> None:
        kind, data = next(iter(given.items()))
        path = tmp_path / "file.toml"
        path.write_text("".join(f"{json.dumps(key)} = {_inline(value)}\n" for key, value in data.items()))
        try:
            catalogue = PACKAGED
            if kind == "equipment":
                document = read(path, *KINDS)
                item = validate(document, KINDS[document.data["format"]])
                catalogue = Catalogue({**PACKAGED.items, item.name: item}, {**PACKAGED.documents, item.name: document})
            venue = load_venue(path if kind == "venue" else VENUE)[0]
            policy = load_policy(path if kind == "policy" else None)
            report = check(load_hang(path if kind == "hang" else LEFT, catalogue), catalogue, policy, venue)
        except FileFaults as error:
            told = str(error).splitlines()
            if not told or len(told) != len(error.faults):
                pytest.fail(f"not one line for each fault: {told}")
            return
        printed = text(report)
        assert all(caution in printed for caution in CAUTIONS)
        assert json.loads(json.dumps(plain(as_data(report)), allow_nan=False))["findings"]

    return go


@pytest.mark.parametrize(
    ("kind", "samples"),
    [
        ("hang", HANGS),
        ("venue", VENUES),
        ("policy", [tomllib.loads((POLICIES / "over_people.toml").read_text())]),
        ("equipment", [e for e in EQUIPMENT if e["name"] in ("frame-large", "medium", "hoist-1t", "shackle-5-8")]),
    ],
)
def test_random_changes_come_to_a_report_or_to_faults(judge, kind, samples):
    @FUZZ
    @given(changed(samples))
    def go(data):
        judge(**{kind: data})

    go()
