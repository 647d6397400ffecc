"""Bad files through the command line: value, place and mend are told, and nothing is written."""

from pathlib import Path

import pytest
from test_flute_file import BAD as BAD_FLUTES
from test_flute_file import BAD_SHAPES, GOOD, SHAPED
from test_note_table import BAD as BAD_TABLES
from test_note_table import FLUTE, HEAD

from flutelab import write_flute

NOTES = b"fingering,frequency_hz,room_temperature_c\nxxx,440,22\nxxo,500,22\n"  # of three holes
AT = "row 1 (line 2)"


def contents(folder):
    """Every file below a folder with its bytes, and every folder."""
    return {
        path.relative_to(folder): None if path.is_dir() else read(path)
        for path in folder.rglob("*")
    }


def read(path):
    with path.open("rb") as file:
        return file.read()


@pytest.fixture
def refused(run, tmp_path):
    """Return what calibrate says of a flute file and a note table, each bytes or a path."""

    def runner(*files):
        names = []
        for number, content in enumerate(files):
            name = tmp_path / f"{'flute' if number % 2 == 0 else 'notes'}{number // 2 or ''}"
            name = name.with_suffix(".toml" if number % 2 == 0 else ".csv")
            if isinstance(content, bytes):
                name.write_bytes(content)
            names.append(name if isinstance(content, bytes) else content)
        before = contents(tmp_path)
        code, out, err = run(
            "calibrate", *names, "--out", tmp_path / "out", "--archive", tmp_path / "a.zip"
        )
        assert (code, out) == (2, "")
        assert contents(tmp_path) == before
        return err

    return runner


@pytest.fixture
def two_holes(tmp_path):
    """The flute file that the bad tables belong to."""
    path = tmp_path / "two.toml"
    write_flute(FLUTE, path)
    return path


def check_line(err, place, *words):
    """The line of a report that tells of a place with these words."""
    found = [line for line in err.splitlines() if line[2:].startswith(place)]
    assert found, err
    assert any(all(w.lower() in line.lower() for w in words) for line in found), err


def as_bytes(text):
    return text if isinstance(text, bytes) else text.encode()


# --- every kind that the readers' own tests know ---------------------------------------


@pytest.mark.parametrize("kind", BAD_TABLES)
def test_bad_note_tables(refused, two_holes, kind):
    table, place, typed, problem, mend = BAD_TABLES[kind]
    err = refused(two_holes, as_bytes(table))
    check_line(err, f"{place}:", problem, mend, "" if typed is None else repr(typed))
    assert "notes.csv: " in err.splitlines()[0]


@pytest.mark.parametrize("kind", BAD_FLUTES)
def test_bad_flute_files(refused, kind):
    old, new, place, typed, mend = BAD_FLUTES[kind]
    assert GOOD.count(old) >= 1
    err = refused(GOOD.replace(old, new, 1).encode(), NOTES)
    told = [line for line in err.splitlines()[1:] if place in line and mend in line]
    assert any(typed is None or typed in line for line in told), err
    assert "flute.toml: " in err.splitlines()[0]


@pytest.mark.parametrize("kind", BAD_SHAPES)
def test_bad_shapes(refused, kind):
    old, new, place, words = BAD_SHAPES[kind]
    err = refused(SHAPED.replace(old, new, 1).encode(), NOTES)
    check_line(err, f"{place}:", words)


# --- kinds that only show when two files meet, or that a file system makes -------------

# name: (flute file, note table, place, words of the value, problem and mend)
FILES = {
    "an empty flute file": (b"", NOTES, "bore, diameter", "it is missing", "measure"),
    "an empty note table": (GOOD, b"", "file", "it is empty", "Write the names of the columns"),
    "a table that is a mark alone": (GOOD, b"\xef\xbb\xbf", "file", "it is empty", "columns"),
    "a flute file that is a mark alone": (b"\xef\xbb\xbf", NOTES, "bore, diameter", "missing"),
    "a table of blank lines": (GOOD, b"\n\n,,\n", "file", "it is empty", "columns"),
    "a binary flute file": (b"\x89PNG\r\n\x1a\n\0\0", NOTES, "line 1", "not UTF-8", "save it"),
    "a binary note table": (GOOD, b"\x89PNG\r\n\x1a\n\0\0", "file", "not text at all", "as CSV"),
    "a flute file in UTF-16": (GOOD.encode("utf-16"), NOTES, "line 1", "not UTF-8", "as UTF-8"),
    "a note table in UTF-16": (GOOD, NOTES.decode().encode("utf-16"), "file", "UTF-16", "UTF-8"),
    "UTF-16 without a mark": (GOOD, NOTES.decode().encode("utf-16-le"), "file", "UTF-16", "UTF-8"),
    "a flute file in an older encoding": (
        'name = "Flöte"\n'.encode("latin-1"), NOTES, "line 1", "'name = \"Flöte\"'", "as UTF-8"
    ),
    "a spreadsheet for a note table": (GOOD, b"PK\x03\x04rest", "file", "own file", "as CSV"),
    "a spreadsheet for a flute file": (b"PK\x03\x04\0\x80", NOTES, "line 1", "not UTF-8", "UTF-8"),
    "a table with Windows line ends": (
        GOOD, NOTES.replace(b"\n", b"\r\n").replace(b"500", b"5000 Hz"),
        "row 2 (line 3), frequency_hz", "'5000 Hz'", "is not a number alone", "Write the number",
    ),
    "a flute file with Windows line ends": (
        GOOD.replace("15.6", "0.622").replace("\n", "\r\n"), NOTES, "bore, diameter", "'0.622'",
        "inches? Then write '0.622 in'",
    ),
    "a slip of syntax after Windows line ends": (
        GOOD.replace("[bore]", "[bore").replace("\n", "\r\n"), NOTES, "line 5", "[bore", "bracket"
    ),
    "a marked table with a typo": (
        GOOD, b"\xef\xbb\xbffingring,frequency_hz,room_temperature_c\nxxx,440,22\n",
        "header (line 1), column 1", "'fingring'", "no such column", "fingering",
    ),
    "a note table for a flute file": (NOTES, NOTES, "line 1", "fingering,frequency_hz", "not TOML"),
    "a flute file for a note table": (GOOD, GOOD, "header", "none of these", "the names of"),
    "a fingering of another flute": (
        GOOD, NOTES.replace(b"xxo", b"xxoo"), "row 2 (line 3), fingering", "'xxoo'",
        "has 4 letters but the flute has 3 holes", "one letter for each hole",
    ),
    "a hole of another flute": (
        GOOD, b"fingering,frequency_hz,room_temperature_c,hole_4_drill\nxxx,440,22,#7\n",
        "header (line 1), column 4", "'hole_4_drill'", "the flute file has 3 holes",
    ),
    "driven, with a word for breath": (
        GOOD, b"fingering,frequency_hz,room_temperature_c,how,breath\nxxx,440,22,driven,hard\n",
        f"{AT}, breath", "'hard'", "this note was driven", "Clear the cell",
    ),
    "how, misspelt": (
        GOOD, b"fingering,frequency_hz,room_temperature_c,how\nxxx,440,22,drivn\n",
        f"{AT}, how", "'drivn'", "no such word", "blown or driven",
    ),
    "how, twice": (
        GOOD, b"fingering,how,frequency_hz,how,room_temperature_c\nxxx,,440,driven,22\n",
        "header (line 1), column 4", "'how'", "column 2 has this name already", "Rename",
    ),
}  # fmt: skip
TYPOS = {  # a column as typed, and the one that is meant
    "frequency": "frequency_hz",
    "fingerings": "fingering",
    "room_temprature_c": "room_temperature_c",
    "temperature_c": "_temperature_c",
    "humidty_percent": "humidity_percent",
    "sesion": "session",
    "registr": "register",
    "breath_mm_watr": "breath_mm_water",
    "sd_cent": "sd_cents",
    "a4": "a4_hz",
    "hole_1_diam_mm": "hole_1_diameter_mm",
    "how_": "how",
}


@pytest.mark.parametrize("kind", FILES)
def test_bad_files(refused, kind):
    flute, notes, place, *words = FILES[kind]
    check_line(refused(as_bytes(flute), as_bytes(notes)), place, *words)


@pytest.mark.parametrize("typed", TYPOS)
def test_a_misspelt_column_is_told_with_the_one_that_is_meant(refused, two_holes, typed):
    table = f"{HEAD.strip()},{typed}\nxx,523,22,1\n"
    check_line(
        refused(two_holes, table.encode()), "header (line 1), column 4:", repr(typed),
        "no such column", TYPOS[typed],
    )  # fmt: skip


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize(
    ("name", "problem", "mend"),
    [
        ("absent", "there is no such file", "Check the name, its ending and the folder"),
        ("no folder/absent", "there is no folder", "Check its name"),
        (".", "this is a folder", "Give the name of a file in it"),
        ("nul\0", "this cannot be a file's name", "Use plain letters and digits"),
        ("file/in it", "the system says", "Check the disk, the name and the folder"),
    ],
)
def test_what_the_file_system_refuses(refused, tmp_path, which, name, problem, mend):
    (tmp_path / "file").write_bytes(b"mine")
    files = [GOOD.encode(), NOTES]
    files[which] = f"{tmp_path}/{name}"
    check_line(refused(*files), f"{tmp_path}", problem, mend)


@pytest.mark.parametrize("which", [0, 1])
def test_a_file_that_may_not_be_read(refused, monkeypatch, which):
    def forbidden(path):
        if path.suffix == (".toml", ".csv")[which]:
            raise PermissionError(13, "Permission denied")
        return read(path)

    files = [GOOD.encode(), NOTES]
    monkeypatch.setattr(Path, "read_bytes", forbidden)
    err = refused(*files)
    assert "the system does not permit it. Close it in other programs, check who may use it" in err


# --- all at once -----------------------------------------------------------------------

MANY_IN_FLUTE = (
    ("15.6", "0.6"), ("across = 8", "acros = 8"), ("from_edge = 240", "from_edge = 150"),
    ("'#7'", "'#99'"), ("bore = 0.05", "bore = -1"), ('"F#4"', '"F#"'),
)  # fmt: skip
MANY_IN_NOTES = (
    b"fingering,note,cents,room_temperature_c,humidity,how\n"
    b"xxx,A4,0,72,,\nxx,Q4,0,22,,\nxxx,E4,,22,,\nxxx,A4,22\nxxx,A4,500,22,,sung\n"
)
TOLD_OF_FLUTE = {
    "bore, diameter": ("'0.6'", "'0.6 in'"),
    "window, acros": ("'8'", "'across'"),
    "hole 1 (nearest the window), diameter": ("'#99'", "#60"),
    "hole 3 (nearest the foot), from_edge": ("'150'", "in order from"),
    "uncertainty, bore": ("'-1'", "Measure it again"),
    "target 1, note": ("'F#'", "F#5"),
}
TOLD_OF_NOTES = {
    "header (line 1), column 5": ("'humidity'", "humidity_percent"),
    "row 1 (line 2), room_temperature_c": ("'72'", "Is this Fahrenheit?"),
    "row 2 (line 3), fingering": ("'xx'", "one letter for each hole"),
    "row 2 (line 3), note": ("'Q4'", "F#5"),
    "row 3 (line 4), cents": ("blank", "0 if spot on"),
    "row 4 (line 5)": ("'xxx,A4,22'", "comma"),
    "row 5 (line 6), cents": ("'500'", "neighbouring note"),
    "row 5 (line 6), how": ("'sung'", "blown or driven"),
}


def spoilt():
    text = GOOD
    for old, new in MANY_IN_FLUTE:
        assert old in text
        text = text.replace(old, new, 1)
    return text.encode()


def test_all_faults_of_a_flute_file_in_one_report(refused):
    err = refused(spoilt(), NOTES)
    assert "flute.toml: 6 faults" in err
    for place, words in TOLD_OF_FLUTE.items():
        check_line(err, f"{place}:", *words)


def test_all_faults_of_a_note_table_in_one_report(refused):
    err = refused(GOOD.encode(), MANY_IN_NOTES)
    assert "notes.csv: 8 faults" in err
    for place, words in TOLD_OF_NOTES.items():
        check_line(err, f"{place}:", *words)


def test_the_faults_of_several_files_in_one_report(refused):
    err = refused(spoilt(), NOTES, GOOD.encode(), MANY_IN_NOTES)
    heads = [line for line in err.splitlines() if not line.startswith(" ")]
    assert [head.rpartition("/")[2] for head in heads] == [
        "flute.toml: 6 faults", "notes1.csv: 8 faults"
    ]  # fmt: skip
    for place, words in (TOLD_OF_FLUTE | TOLD_OF_NOTES).items():
        check_line(err, f"{place}:", *words)


def test_notes_that_no_fit_can_use(refused):
    err = refused(GOOD.encode(), NOTES.replace(b",22", b",22,no").replace(b"_c\n", b"_c,use\n"))
    assert "no note can be fitted:\n" in err
    assert "notes.csv row 1: use = no" in err
    assert "notes.csv row 2: use = no" in err


def test_at_least_forty_kinds_of_each():
    assert len(BAD_TABLES) + len(TYPOS) >= 40
    assert len(BAD_FLUTES) + len(BAD_SHAPES) >= 40
