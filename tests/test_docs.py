"""What the documents promise is there: links, pictures, set-up lines, references, examples."""

import re
import shlex
import shutil
import subprocess
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

import flutelab

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]
DOCUMENTS += sorted((ROOT / "data-demo").glob("*.md"))
LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)(?:\s+\"[^\"]*\")?\)")
KEY = re.compile(r"\[([a-z]+(?:-[a-z0-9]+)*-[a-z]?\d[a-z0-9]*)\](?!\()")
TABLE_KEY = re.compile(r"^\| ([a-z0-9-]+) \|", re.MULTILINE)


def name(path):
    return path.relative_to(ROOT).as_posix()


def without_code(text):
    """Return a document's text without fenced blocks and code spans."""
    return re.sub(r"`[^`\n]*`", "", re.sub(r"^```.*?^```", "", text, flags=re.M | re.S))


def anchors(path):
    """Return the anchors that a code host makes from a document's headings."""
    headings = re.findall(r"^#+ (.+)$", path.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


def broken_links(path):
    """Return the relative links of a document that lead nowhere."""
    broken = []
    for target in LINK.findall(without_code(path.read_text(encoding="utf-8"))):
        if re.match(r"[a-z]+:", target):
            continue
        file, _, anchor = target.partition("#")
        place = (path.parent / file).resolve() if file else path
        if not place.exists() or (anchor and anchor not in anchors(place)):
            broken.append(target)
    return broken


def set_up_line(mark):
    """Return the line of shell under a mark in the README."""
    found = re.findall(rf"<!-- set-up: {mark} -->\n```sh\n(python3 .+)\n```", README)
    assert len(found) == 1, f"README.md needs one set-up line marked {mark}"
    return found[0]


def example(mark):
    """Return the text of an example in the README."""
    return re.search(rf"<!-- example: {mark} -->\n```\w+\n(.+?)^```", README, re.M | re.S)[1]


@pytest.mark.parametrize("path", DOCUMENTS, ids=name)
def test_links_and_pictures_resolve(path):
    assert broken_links(path) == []


@pytest.mark.parametrize("path", DOCUMENTS, ids=name)
def test_no_place_for_a_number_is_left_empty(path):
    assert "<!-- numbers" not in path.read_text(encoding="utf-8")


def test_broken_links_are_seen(tmp_path):
    page = tmp_path / "page.md"
    page.write_text(
        "# One heading\n[a](gone.md) ![b](gone.png) [c](page.md#one-heading) [d](#two)\n"
        "[e](https://example.org/x) `[f](code.md)`\n```\n[g](fence.md)\n```\n"
    )
    assert broken_links(page) == ["gone.md", "gone.png", "#two"]


def test_readme_shows_a_picture_of_the_result():
    picture = ROOT / "docs" / "pictures" / "first-result.png"
    assert "](docs/pictures/first-result.png)" in README
    assert picture.read_bytes().startswith(b"\x89PNG\r\n\x1a\n")


@pytest.mark.parametrize("mark", ["job", "tests"])
def test_set_up_lines_do_everything_from_a_fresh_clone(mark):
    steps = [shlex.split(step) for step in set_up_line(mark).split(" && ")]
    assert steps[0] == ["python3", "-m", "venv", ".venv"]
    assert steps[1][:3] == [".venv/bin/pip", "install", "-e"]
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert steps[1][3].removeprefix(".[").removesuffix("]") in extras["optional-dependencies"]
    assert len(steps) == 3


def test_the_jobs_line_names_files_that_exist():
    command = shlex.split(set_up_line("job").split(" && ")[-1])
    assert command[:2] == [".venv/bin/flutelab", "calibrate"]
    named = [word for word in command if word.endswith((".toml", ".csv"))]
    assert len(named) == 2
    for word in named:
        assert (ROOT / word).is_file()
    result = command[command.index("--out") + 1]
    assert f"{result}/" in (ROOT / ".gitignore").read_text().splitlines()


def test_windows_lines_run_the_same_job():
    job = set_up_line("job").split(" && ")[-1].removeprefix(".venv/bin/")
    assert rf".venv\Scripts\{job}" in README
    assert 'pip install -e ".[all]"' in README


def test_every_key_of_the_model_page_is_a_reference():
    model = (ROOT / "docs" / "model.md").read_text(encoding="utf-8")
    references = (ROOT / "docs" / "references.md").read_text(encoding="utf-8")
    used, known = set(KEY.findall(without_code(model))), TABLE_KEY.findall(references)
    assert len(used) > 10
    assert used - set(known) == set()
    assert len(known) == len(set(known))


def test_every_reference_says_whether_it_was_read():
    references = (ROOT / "docs" / "references.md").read_text(encoding="utf-8")
    rows = [line.split(" | ") for line in references.splitlines() if TABLE_KEY.match(line)]
    for row in rows:
        assert len(row) == 4, row
        assert "read" in row[2].split(":")[0] or "from memory" in row[2], row[0]


def test_readme_examples_are_read_without_a_fault(tmp_path):
    flute_file, note_table = tmp_path / "flute.toml", tmp_path / "notes.csv"
    flute_file.write_text(example("flute"), encoding="utf-8")
    note_table.write_text(example("notes"), encoding="utf-8")
    flute = flutelab.read_flute(flute_file)
    measurements = flutelab.read_measurements(note_table, flute)
    assert len(flute.holes) == 3
    assert len(measurements.rows) == 5


def test_the_readmes_python_runs(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    scope = {}
    exec(compile(example("python"), "README.md", "exec"), scope)
    assert scope["own"] == pytest.approx(scope["book"], rel=2e-3)
    assert capsys.readouterr().out.startswith("[")


def test_the_readmes_shaped_flute_is_read_and_foretold(tmp_path):
    flute_file = tmp_path / "shapes.toml"
    flute_file.write_text(example("shapes"), encoding="utf-8")
    flute = flutelab.read_flute(flute_file)
    assert len(flute.bore.stations) == 3
    # the thumb hole lies off the line, and that is said
    with pytest.warns(flutelab.ValidityWarning, match="hole 3 does not lie on the line"):
        notes = flutelab.playing_frequencies(flute, "xxx xxo xho", air=flutelab.moist_air(295.0))
    assert notes[0] < notes[1] < notes[2]


def test_top_level_holds_only_what_is_declared():
    if not (ROOT / ".git").exists() or not shutil.which("git"):
        # an unpacked ZIP has no list of tracked files; what else lies there is the user's
        pytest.skip("not a clone")
    command = ["git", "-C", str(ROOT), "ls-files"]
    files = subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()
    top = {file.split("/")[0] for file in files if not file.startswith(".")}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml"}
    assert top - allowed <= {"flutelab", "notebooks", "data-demo", "tests", "docs"}


def test_what_a_degree_does_is_what_the_model_says():
    flute = flutelab.read_flute(ROOT / "data-demo" / "half-inch-six.toml")
    closed_and_open = flutelab.rows(flute, "xxxxxx oooooo", air=flutelab.moist_air(298.15))

    def risen(airs):
        low, high = (
            flutelab.predict_notes(flute, replace(closed_and_open, air=air)).frequency
            for air in airs
        )
        return [f"{cents:.1f}" for cents in flutelab.pitch.cents(high, low)]

    inside = risen(flutelab.moist_air(kelvin) for kelvin in (298.15, 299.15))
    closed, opened = risen(flutelab.AirAlong(room_temperature=k) for k in (293.15, 294.15))
    assert set(inside) == {"3.1"}
    said = " ".join(README.split())
    assert (
        f"One degree inside moves every note by {inside[0]} cents; one degree of the room by"
        in said
    )
    assert f"by {closed} (all holes closed) to {opened} (all open)" in said


def test_tables_of_the_measuring_page_can_be_read(tmp_path):
    page = (ROOT / "docs" / "measuring.md").read_text(encoding="utf-8")
    tables = re.findall(r"^```csv\n(.+?)^```", page, re.M | re.S)
    flute = flutelab.read_flute(ROOT / "data-demo" / "half-inch-six.toml")
    assert len(tables) == 2
    for table in tables:
        path = tmp_path / "notes.csv"
        path.write_text(table, encoding="utf-8")
        result = flutelab.calibrate(flutelab.read_measurements(path, flute))
        assert set(result.tables[0].fate) == {"fitted"}
