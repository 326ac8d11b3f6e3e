"""`evenhang design`: what is refused and how, what is written, how it ends."""

from __future__ import annotations

import tomllib

import pytest

from acoustics.app import design
from acoustics.venue import load_venue
from rigging.check import check
from rigging.findings import CANNOT
from rigging.hang import hang_from
from rigging.policy import load_policy

QUICK = ("--seconds", "0.3", "--grid", "4")


@pytest.fixture
def hang(tmp_path, column_text):
    """Writes a hang of four rows with some more text; returns its file."""

    def write(more: str = "", text: str | None = None):
        path = tmp_path / "hang.toml"
        path.write_text(
            column_text("medium", (0, 2, 4, 6), (0.0, 0.0, 7.0), -2.0, (0,)) + more if text is None else text
        )
        return path

    return write


# Key, what it is given, what the message says of it, what to do next.
# fmt: off
FAULTS = [
    ("tilt_deg", "[4.0, -6.0]", "runs backwards", "give the lower end first"),
    ("tilt_deg", "3.0", "is not a range", "give the lowest and the highest"),
    ("tilt_step_deg", "0.01", "0.1 to 10", ""),
    ("trim_m", "[9.0]", "is not a range", "give the lowest and the highest"),
    ("band_weights", "{ 300 = 1.0 }", "names no octave (300)", "known: 250, 500, 1000, 2000, 4000, 8000"),
    ("count", "[0]", "holds what is no number of enclosures", "give whole numbers, 1 to 64"),
    ("count", "12", "is not a list of numbers", "give those to try"),
    ("fall_db", "40.0", "-6 to 12", ""),
    ("fall_dbs", "3.0", "", "fall_db"),
    ("points", '["nowhere"]', "is no point of the venue", "known: none"),
    ("fall_of_db", "{ gallery = 3.0 }", "is no area of the venue", "known: floor"),
]
# fmt: on


@pytest.mark.parametrize(("key", "value", "wrong", "todo"), FAULTS)
def test_faults_name_file_key_value_and_what_to_do(evenhang, hang, floor_venue, key, value, wrong, todo):
    path = hang(f"[search]\n{key} = {value}\n")
    run = evenhang("design", path, floor_venue, *QUICK)
    assert run.code == 2
    assert run.out == ""
    (line,) = run.err.splitlines()
    assert line.startswith(f"{path}:")
    assert f"search.{key}" in line
    said, _, next_step = line.partition("; ")
    assert wrong in line
    assert todo in next_step
    assert next_step
    if key not in ("fall_of_db", "band_weights", "fall_dbs"):
        assert value.strip('[]"') in said


def test_mirror_images_are_refused(evenhang, hang, floor_venue):
    path = hang().with_name("right.toml")
    path.write_text('format = "hang/1"\nname = "right"\nmirror_of = "hang.toml"\n')
    run = evenhang("design", path, floor_venue, *QUICK)
    assert run.code == 2
    (line,) = run.err.splitlines()
    assert "right.toml:3: mirror_of: makes it a mirror image; design the file that it mirrors" in line


def test_stacks_are_refused(evenhang, hang, floor_venue):
    path = hang()
    path.write_text(path.read_text().replace("tilt_deg", "standing = true\ntilt_deg", 1))
    run = evenhang("design", path, floor_venue, *QUICK)
    assert run.code == 2
    (line,) = run.err.splitlines()
    assert "hang.toml:6: standing: makes it a stack" in line


def test_what_is_written_keeps_comments_and_loads_to_what_is_printed(evenhang, hang, floor_venue, all_equipment):
    path = hang("# last words\n[search]  # what is wanted\ntilt_deg = [-4.0, 0.0]  # as the roof allows\n")
    run = evenhang("design", path, floor_venue, *QUICK, "--json")
    assert run.code == 4  # it has no picks: nothing exceeds, much cannot be judged
    said = run.json
    text = (run.folder / "designed.toml").read_text()
    assert all(f"# {comment}" in text for comment in ("last words", "what is wanted", "as the roof allows"))
    designed = hang_from(text, "designed.toml", all_equipment)
    assert list(designed.splays_deg) == said["answer"]["splays_deg"]
    assert designed.tilt_deg == said["answer"]["tilt_deg"]
    assert -4.0 <= designed.tilt_deg <= 0.0
    assert said["after"]["j_db"] == said["answer"]["j_db"] <= said["before"]["j_db"] + 1e-9
    assert said["after"]["findings"]["cannot be judged"] > 0
    for index, runner in enumerate(said["runners"], start=1):
        one = hang_from((run.folder / f"runner-{index}.toml").read_text(), "runner.toml", all_equipment)
        assert list(one.splays_deg) == runner["splays_deg"]
        assert runner["j_db"] >= said["answer"]["j_db"]


def test_without_picks_the_count_of_what_cannot_be_judged_is_shown(evenhang, hang, floor_venue, all_equipment):
    run = evenhang("design", hang("[search]\ntilt_deg = [-4.0, 0.0]\n"), floor_venue, *QUICK)
    assert run.code == 4
    (after,) = (line for line in run.out.splitlines() if line.startswith("weakest rigging finding after"))
    designed = hang_from((run.folder / "designed.toml").read_text(), "designed.toml", all_equipment)
    findings = check(designed, all_equipment, load_policy(), load_venue(floor_venue)[0]).findings
    open_ones = sum(finding.status == CANNOT for finding in findings)
    assert open_ones > 0
    assert f"{open_ones} cannot be judged" in after


def test_numbers_of_enclosures_are_tried(evenhang, hang, floor_venue):
    path = hang("[search]\ntilt_deg = [-3.0, -2.0]\ncount = [3, 5]\n")
    run = evenhang("design", path, floor_venue, *QUICK, "--json")
    tried = {one["enclosures"]: one["j_db"] for one in run.json["counts"]}
    assert sorted(tried) == [3, 5]
    assert run.json["answer"]["j_db"] == min(tried.values())
    rows = tomllib.loads((run.folder / "designed.toml").read_text())["column"]
    assert len(rows) == min(tried, key=tried.__getitem__)


def test_a_proof_of_too_much_is_refused_before_the_search(evenhang, hang, floor_venue, monkeypatch):
    monkeypatch.setattr(design, "solve", lambda *given: pytest.fail("it searched"))
    path = hang("[search]\ntilt_deg = [-20.0, 20.0]\ntilt_step_deg = 0.1\n")
    path.write_text(path.read_text().replace("fixed = true\n", ""))
    run = evenhang("design", path, floor_venue, "--prove")
    assert (run.code, run.out) == (2, "")
    (line,) = run.err.splitlines()
    assert line.startswith(f"{path}: search: has ")
    assert "choices to go through, 3,000,000 at most can be" in line
    assert line.endswith("hold joints with fixed = true, or narrow the tilt")


def test_control_c_writes_the_best_so_far(evenhang, hang, floor_venue, monkeypatch):
    told: list[float] = []

    class Bar:
        def __enter__(self):
            return self.tell

        def __exit__(self, *error):
            return None

        def tell(self, done, total, best):
            told.append(best)
            if len(told) == 40:
                raise KeyboardInterrupt

    monkeypatch.setattr(design, "_bar", Bar)
    path = hang("[search]\ntilt_deg = [-4.0, 0.0]\n")
    before = path.read_text()
    run = evenhang("design", path, floor_venue, "--grid", 4, "--json")
    assert run.code == 130
    assert run.json["interrupted"] is True
    assert len(told) == 40
    assert run.json["answer"]["j_db"] <= told[-1] + 1e-9
    assert (run.folder / "designed.toml").exists()
    assert path.read_text() == before


TILTS = "[search]\ntilt_deg = [-4.0, 0.0]\n"


def test_the_designed_hang_is_saved_where_asked(evenhang, hang, floor_venue, tmp_path):
    run = evenhang(
        "design", hang("[search]\ntilt_deg = [-4.0, 0.0]\n"), floor_venue, *QUICK, "--save", tmp_path / "new.toml"
    )
    assert (tmp_path / "new.toml").read_bytes() == (run.folder / "designed.toml").read_bytes()
    assert list(tmp_path.glob(".writing*")) == []


def test_no_file_is_written_over(evenhang, hang, floor_venue, tmp_path):
    (tmp_path / "mine.toml").write_text("mine")
    refused = evenhang(
        "design", hang("[search]\ntilt_deg = [-4.0, 0.0]\n"), floor_venue, *QUICK, "--save", tmp_path / "mine.toml"
    )
    assert refused.code == 2
    assert "--save: names a file that is there already" in refused.err
    assert (tmp_path / "mine.toml").read_text() == "mine"
