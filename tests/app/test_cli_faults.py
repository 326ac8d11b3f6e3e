"""Input at fault on the command line: exit status 2, one message for each fault, no traceback, nothing written."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest


def replaced(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new, 1)


SECOND = 'enclosure = "medium"\nsplay_deg = 1.0'
PLACE = "position_m = [0.0, 6.0, 11.0]"
MIRROR = 'format = "hang/1"\nname = "right"\nmirror_of = "{}" # HERE\n'


@pytest.mark.parametrize(
    ("old", "new", "key", "wrong"),
    [
        ("tilt_deg", "tilt_dge = 1 # HERE\ntilt_deg", "tilt_dge", "is an unknown key"),
        ("tilt_deg = -2.0\n", "", "tilt_deg", "key is missing"),
        ("-2.0", '"-2.0" # HERE', "tilt_deg", "must be a number in deg"),
        ("-2.0", "true # HERE", "tilt_deg", "must be a number in deg"),
        ("-2.0", "nan # HERE", "tilt_deg", "is not a finite number"),
        ("-2.0", "2026-11-25 # HERE", "tilt_deg", "must be a number in deg"),
        ('name = "main"', "name = 7 # HERE", "name", "must be a text"),
        (PLACE, "position_m = [0.0, 6.0] # HERE", "position_m", "has too few entries"),
        (PLACE, "position_m = [0.0, 6.0, 1100.0] # HERE", "position_m[3]", "outside the plausible range -100 to 150 m"),
        # exact: 3609 ft = 1100.0232 m; six digits are shown
        (PLACE, "position_ft = [0, 20, 3609] # HERE", "position_ft[3]", "-100 to 150 m (got 3609 ft = 1100.02 m)"),
        (PLACE, f"{PLACE}\nposition_ft = [0, 20, 36] # HERE", "position_ft", "stands beside position_m"),
        ('"frame-large"', '"frame-larg" # HERE', "frame", "is an unknown frame"),
        ('"frame-large"', '"medium" # HERE', "frame", "enclosure, not a frame"),
        (SECOND, SECOND.replace('"medium"', '"medum" # HERE'), "column[2].enclosure", "is an unknown enclosure"),
        (SECOND, SECOND.replace('"medium"', '"compact" # HERE'), "column[2].enclosure", "does not mate with medium"),
        (SECOND, SECOND.replace("1.0", "1.5 # HERE"), "column[2].splay_deg", "is no splay that the joint of medium"),
        (f"[[column]]\n{SECOND}", "[[column]] # HERE\nsplay_deg = 1", "column[2]", "names no equipment"),
        (SECOND, f"{SECOND}\n[[group]]\nrows = [3] # HERE", "group[1].rows[1]", "is beyond the column's 2 rows"),
        (SECOND, f"{SECOND}\n[[group]]\nrows = [2, 2] # HERE", "group[1].rows[2]", "is in group[1] already"),
        ("tilt_deg", 'serves = ["circle"]\ntilt_deg', "serves[1]", "is no audience area of venue.toml"),
        ('"hang/1"', '"hang/3" # HERE', "format", "is a version that this release does not know"),
        ("tilt_deg = -2.0", "tilt_deg = = -2.0 # HERE", None, "is no valid TOML: "),
        ("tilt_deg = -2.0", "tilt_deg = -2.0\ntilt_deg = -2.0 # HERE", None, "is no valid TOML: "),
        ("-2.0", f"1{'0' * 400} # HERE", "tilt_deg", "outside the plausible range -90 to 90 deg"),
        ('"main"', f"0x{'F' * 5000} # HERE", "name", "must be a text"),
        ("tilt_deg", f"q{'.a' * 3000} = 1 # HERE\ntilt_deg", None, "nested too deeply"),
        ("tilt_deg", f"q{'.a' * 25} = 1 # HERE\ntilt_deg", "q", "unknown"),
    ],
)  # fmt: skip
def test_hang_at_fault(fault_of, hang, old, new, key, wrong):
    fault = fault_of(hang=replaced(hang, old, new))
    assert (fault["file"], fault["key"]) == ("hang.toml", key)
    assert wrong in fault["wrong"]


def test_key_with_a_line_break(fault_of, hang):
    fault = fault_of(hang=replaced(hang, "tilt_deg", '"a\\nb" = 1 # HERE\ntilt_deg'))
    assert (fault["file"], fault["key"], fault["wrong"]) == ("hang.toml", r"a\nb", "is an unknown key (got 1)")


@pytest.mark.parametrize(
    ("target", "wrong"),
    [
        ("missing.toml", "names a file that cannot be used: missing.toml: does not exist"),
        ("hang.toml", "names a file that is a mirror image itself"),
        ("venue.toml", "names a file that cannot be used: venue.toml:1: format: is another kind of file"),
    ],
)
def test_mirror_image_at_fault(fault_of, target, wrong):
    fault = fault_of(hang=MIRROR.format(target))
    assert (fault["file"], fault["key"]) == ("hang.toml", "mirror_of")
    assert wrong in fault["wrong"]


@pytest.mark.parametrize(
    ("old", "new", "key", "wrong"),
    [
        ("height_m = 0.14", 'height_m = "0.14" # HERE', "height_m", "must be a number in m"),
        ("mass_kg = 74.0", "mass_lb = 4410.0 # HERE", "mass_lb", "outside the plausible range"),
        ('pivot = "front"', 'pivot = "rear" # HERE', "pivot", "is a kind of joint that the statics does not cover"),
        ('"frame-large"', '"frame-large" # HERE', "name", "is the name of the item in "),
        ('"frame/1"', '"hang/1" # HERE', "format", "is another kind of file"),
    ],
)
def test_equipment_at_fault(fault_of, old, new, key, wrong):
    text = (Path(__file__).resolve().parents[2] / "rigging/catalogue/frame-large.toml").read_text()
    assert old in text
    if not new.startswith('"frame-large"'):
        text = text.replace('"frame-large"', '"own"')
    fault = fault_of("--equipment", "equipment", equipment__own=text.replace(old, new, 1))
    assert (fault["file"], fault["key"]) == ("equipment/own.toml", key)
    assert wrong in fault["wrong"]


def test_folder_of_equipment_that_is_none(fault_of, files):
    for folder in ("missing", "venue.toml"):
        fault = fault_of("--equipment", folder)
        assert (fault["file"], fault["key"]) == (folder, None)
        reason = "No such file or directory" if folder == "missing" else "Not a directory"
        assert fault["wrong"] == f"cannot be read as a folder of equipment files ({reason})"
        assert "--equipment" in fault["todo"]


def test_column_of_adapters_alone(fault_of, hang):
    head = hang.split("[[column]]")[0]
    row = '[[column]] # HERE\nadapter = "adapter-large-medium"\nsplay_deg = 0.0\n'
    fault = fault_of(hang=head + row)
    assert (fault["key"], fault["wrong"]) == ("column", "holds no enclosure")


def test_hang_and_venue_are_told_at_once(faults_of, hang, venue):
    faults = faults_of(
        hang=hang.replace("tilt_deg", "tilt").replace("medium", "medum"),
        venue=venue.replace('"audience"', '"stage"', 1).replace('"hall"', "7"),
    )
    assert [(fault["file"], fault["key"], fault["line"]) for fault in faults] == [
        ("hang.toml", "tilt_deg", None),
        ("hang.toml", "tilt", "5"),
        ("hang.toml", "column[1].enclosure", "8"),
        ("hang.toml", "column[2].enclosure", "12"),
        ("venue.toml", "name", "2"),
        ("venue.toml", "area[1].role", "6"),
    ]


def test_equipment_hang_and_venue_are_told_at_once(faults_of, hang, venue):
    hang = hang.replace("-2.0", '"x"').replace("[[column]]", "[[colum]]", 1)
    venue = venue.replace('"hall"', "7")
    frame = (Path(__file__).resolve().parents[2] / "rigging/catalogue/frame-large.toml").read_text()
    frame = frame.replace('"frame-large"', '"own"').replace("mass_kg = 74.0", 'mass_kg = "x"')
    folders = ["--equipment", "missing", "--equipment", "equipment"]
    faults = faults_of(*folders, hang=hang, venue=venue, equipment__own=frame)
    mass = str(frame[: frame.index("mass_kg")].count("\n") + 1)
    assert [(fault["file"], fault["key"], fault["line"]) for fault in faults] == [
        ("missing", None, None),
        ("equipment/own.toml", "mass_kg", mass),
        ("hang.toml", "tilt_deg", "5"),
        ("hang.toml", "colum", "7"),
        ("venue.toml", "name", "2"),
    ]


@pytest.mark.parametrize(
    ("text", "key", "line"),
    [("tilt = = 3\n", None, "1"), (MIRROR.format("venue.toml") + "tilt_deg = 3\n", "tilt_deg", "4")],
)
def test_equipment_and_a_hang_that_is_none_are_told_at_once(faults_of, text, key, line):
    faults = faults_of("--equipment", "missing", hang=text)
    assert [(fault["file"], fault["key"], fault["line"]) for fault in faults] == [
        ("missing", None, None),
        ("hang.toml", key, line),
    ]


def test_names_of_a_hang_are_not_told_unknown_when_the_equipment_is_at_fault(faults_of, hang):
    (fault,) = faults_of("--equipment", "missing", hang=hang.replace('"medium"', '"own"'))
    assert fault["file"] == "missing"


@pytest.mark.parametrize(
    ("content", "wrong"),
    [
        (b"", "is empty"),
        (bytes(range(256)) * 20, "is not a text file in UTF-8"),
        ('format = "hang/1"\n# Café\n'.encode("latin-1"), "is not a text file in UTF-8"),
        (b"a = " + b"[" * 100_000, "is no valid TOML: nested too deeply"),
    ],
)
def test_content_that_is_no_toml(faults_of, content, wrong):
    faults = faults_of(hang=content, venue=content)
    assert [fault["file"] for fault in faults] == ["hang.toml", "venue.toml"]
    assert all(wrong in fault["wrong"] for fault in faults)


def test_both_files_in_the_wrong_order(refused):
    hang, venue = refused("predict", "venue.toml", "hang.toml")
    assert hang.startswith('venue.toml:1: format: is another kind of file (got "venue/1"); ')
    assert venue.startswith('hang.toml:1: format: is another kind of file (got "hang/1"); ')


def test_files_that_are_none(refused, files):
    (files / "folder").mkdir()
    assert refused("predict", "missing.toml", "folder") == [
        "missing.toml: does not exist; check the path",
        "folder: is a directory, not a file; name the TOML file inside it",
    ]


@pytest.mark.parametrize("path", ["x" * 300, "x" * 300 + "/y.toml"])
def test_path_that_is_too_long(refused, path):
    (line,) = refused("predict", path, "venue.toml")
    assert line == f"{path}: cannot be read (File name too long); check path and rights"


@pytest.mark.skipif(not os.path.exists("/dev/zero"), reason="needs devices")
@pytest.mark.parametrize("device", ["/dev/null", "/dev/zero"])
def test_device_is_refused_without_waiting(refused, device):
    (line,) = refused("predict", "hang.toml", device)
    assert line.startswith(f"{device}: ")
    assert "is not a regular file" in line


GRID = "must lie in 0.1 to 20"
LINES = "must lie in "


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--grid", "0"], f"--grid: {GRID} (got 0)"),
        (["--grid", "-1"], f"--grid: {GRID} (got -1)"),
        (["--grid", "nan"], f"--grid: {GRID} (got nan)"),
        (["--grid", "inf"], f"--grid: {GRID} (got inf)"),
        (["--grid", "1e-9"], f"--grid: {GRID} (got 1e-9)"),
        (["--grid", "1m"], "--grid: must be a number (got '1m')"),
        (["--grid", ""], "--grid: must be a number (got '')"),
        (["--lines", "junk"], "--lines: must be a number (got 'junk')"),
        (["--lines", "125,junk"], "--lines: must be a number (got 'junk')"),
        (["--lines", "125;250"], "--lines: must be a number (got '125;250')"),
        (["--lines", "125 250"], "--lines: must be a number (got '125 250')"),
        (["--lines", "0"], f"--lines: {LINES}"),
        (["--lines", "nan"], f"--lines: {LINES}"),
        (["--lines", "inf"], f"--lines: {LINES}"),
        (["--lines", "-125"], f"--lines: {LINES}"),
        (["--lines", "1e6"], f"--lines: {LINES}"),
        (["--lines", "125,125.0"], "--lines: needs different frequencies in Hz, such as 125,1000"),
        (["--lines", ""], "--lines: needs different frequencies in Hz, such as 125,1000"),
        (["--lines", ","], "--lines: needs different frequencies in Hz, such as 125,1000"),
        (["--map", "B"], "--map: must be A or one of 250, 500, 1000, 2000, 4000, 8000 (got 'B')"),
        (["--map", "300"], "--map: must be A or one of 250, 500, 1000, 2000, 4000, 8000 (got '300')"),
        (["--out"], "--out: expected one argument"),
        (["--colour", "red"], "unrecognized arguments: --colour red"),
        (["another.toml"], "unrecognized arguments: another.toml"),
    ],
)
def test_option_at_fault(refused, arguments, message):
    lines = refused("predict", "hang.toml", "venue.toml", *arguments)
    assert lines[0].startswith("usage: evenhang")
    assert message in lines[-1]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["predict"], "required: HANG"),
        (["perdict", "hang.toml", "venue.toml"], "invalid choice: 'perdict'"),
    ],
)
def test_command_at_fault(refused, arguments, message):
    lines = refused(*arguments)
    assert lines[0].startswith("usage: evenhang")
    assert message in lines[-1]


def test_hang_without_a_venue(refused):
    (line,) = refused("predict", "hang.toml")
    assert line == "VENUE: is missing; name a venue file after the hang, or a show file alone"


def _out_at_fault(refused, out: object) -> str:
    (line,) = refused("predict", "hang.toml", "venue.toml", "--grid", "20", "--lines", "125", "--out", out)
    return line


@pytest.mark.parametrize("out", ["hang.toml", "./hang.toml", "/dev/null"])
def test_results_in_place_of_a_file(refused, out):
    assert _out_at_fault(refused, out).endswith("; name a folder with --out")
    assert _out_at_fault(refused, out).startswith(f"{Path(out)}: is no folder but a file;")


def test_results_below_a_file(refused):
    line = _out_at_fault(refused, "hang.toml/below/it")
    assert line == "hang.toml/below/it: is no folder but a file (hang.toml is one); name a folder with --out"


@pytest.mark.parametrize("out", ["x" * 300, "new/" + "x" * 300])
def test_results_under_too_long_a_name(refused, out):
    assert _out_at_fault(refused, out) == f"{out}: is too long a name; name another folder with --out"


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write everywhere")
@pytest.mark.parametrize("mode", [0o555, 0])
def test_results_without_rights(refused, files, mode):
    (files / "locked").mkdir(mode=mode)
    for out in ("locked", "locked/below"):
        line = _out_at_fault(refused, out)
        assert line.startswith(f"{out}: cannot be written (")
        assert "(permission denied)" in line.lower()
        assert line.endswith("; name another folder with --out")


@pytest.mark.parametrize("out", ["hang.toml", "hang.toml/below", "x" * 300])
def test_results_that_cannot_be_written_are_refused_before_the_work(refused, monkeypatch, out):
    from acoustics.app import predict

    monkeypatch.setattr(predict, "predict", lambda *_: pytest.fail("work was done before"))
    _out_at_fault(refused, out)


@pytest.mark.parametrize("out", ["new", "new/deep", "old", "old/deep"])
def test_no_trace_is_left_where_results_would_go_when_the_files_are_at_fault(refused, files, hang, out):
    (files / "old").mkdir()
    (files / "old" / "kept.txt").write_text("kept")
    (files / "hang.toml").write_text(replaced(hang, "-2.0", "nan"))
    before = (files / "old").stat().st_mtime_ns
    (line,) = refused("predict", "hang.toml", "venue.toml", "--out", out)  # nothing new, nothing changed
    assert line.startswith("hang.toml:5: tilt_deg: is not a finite number")
    assert not (files / "new").exists()
    assert (files / "old").stat().st_mtime_ns == before
    assert [path.name for path in (files / "old").iterdir()] == ["kept.txt"]


def _run(*arguments: object, **settings: str) -> subprocess.CompletedProcess[str]:
    start = [sys.executable, "-P", "-c", "import sys; from rigging.launch import main; sys.exit(main())"]
    environment = os.environ | {"PYTHONIOENCODING": "utf-8"} | settings
    command = [*start, *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, encoding="utf-8", env=environment, timeout=60)


def test_another_process_ends_with_2(files):
    (files / "hang.toml").write_text("tilt = 3\n")
    done = _run("predict", "hang.toml", "missing.toml", "--out", "out")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.splitlines() == [
        'hang.toml: format: key is missing; start the file with format = "hang/1"',
        "missing.toml: does not exist; check the path",
    ]
    assert not (files / "out").exists()


@pytest.mark.skipif(
    not (Path(sysconfig.get_path("scripts")) / "evenhang").exists(), reason="the script is not installed here"
)
def test_script_ends_with_2(files, hang):
    (files / "hang.toml").write_text(replaced(hang, "-2.0", "inf"))
    script = Path(sysconfig.get_path("scripts")) / "evenhang"
    command = [str(script), "predict", "hang.toml", "venue.toml", "--out", "out"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "hang.toml:5: tilt_deg: is not a finite number (got inf); give a number in deg\n"
    assert not (files / "out").exists()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs FIFOs")
def test_pipe_that_nobody_writes_to(files):
    os.mkfifo(files / "pipe")
    done = _run("predict", "pipe", "venue.toml")
    assert done.returncode == 2
    assert done.stderr.startswith("pipe: ")
    assert "is not a regular file" in done.stderr


def test_message_on_a_terminal_without_its_letters(files, hang):
    (files / "hang.toml").write_text(replaced(hang, "tilt_deg", '"ключ" = 1\ntilt_deg'))
    done = _run("predict", "hang.toml", "venue.toml", PYTHONIOENCODING="ascii")
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert "is an unknown key" in done.stderr
