"""The archive for a paper: all that went in and came out, the same bytes, safe to read."""

import io
import json
import re
import stat
import zipfile
from dataclasses import replace
from functools import cache
from hashlib import sha256
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_notes import DEMO, ROOT, SIX, demo, notes_of

from flutelab import (
    calibrate,
    read_constants,
    read_flute,
    read_measurements,
    report,
    suspects,
)
from flutelab.errors import DataError
from flutelab.files.archive import Settings, archive_of, command_of, inputs_of, read_archive, rerun
from flutelab.files.archived_results import results_of, texts_of
from flutelab.files.constants_file import constants_text
from flutelab.files.paper_text import REFERENCES, method
from flutelab.files.suspected import or_else_words
from flutelab.files.zipped import LARGEST, unzipped, zip_bytes
from flutelab.fitting.profiles import RISES
from flutelab.fitting.resampling import bootstrap

FIVE = [DEMO / f"three-quarter-five.{ending}" for ending in ("toml", "csv")]
PIPES = [DEMO / f"plain-pipe-{n}.{end}" for n in (220, 300) for end in ("toml", "csv")]
SETTINGS = Settings(free=("window", "foot"), loss="robust", a4=442.0, seed=7)


def read_all(files):
    return [
        read_measurements(notes, read_flute(flute))
        for flute, notes in zip(files[::2], files[1::2], strict=True)
    ]


def made(files, settings, **options):
    inputs, measured = inputs_of(files, read_all(files))
    results = results_of(calibrate(*measured, free=settings.free, loss=settings.loss), **options)
    return results, archive_of(results, settings, inputs)


@cache
def five():
    return made(FIVE, SETTINGS, seed=7)


@cache
def pipes():
    return made(PIPES, Settings(free=("foot", "bore")))


def frame(archive, name):
    return pd.read_csv(io.BytesIO(archive.members[name]))


@pytest.fixture
def saved(tmp_path):
    path = tmp_path / "a.zip"
    path.write_bytes(zip_bytes(five()[1].members))
    return path


# --- what it holds ---------------------------------------------------------------------


def test_inputs_are_there_byte_for_byte_and_everything_has_its_hash():
    _, archive = five()
    for path in FIVE:
        assert archive.members[f"inputs/{path.name}"] == path.read_bytes()
    manifest = json.loads(archive.members["manifest.json"])
    assert manifest["sha256"] == {
        name: sha256(data).hexdigest()
        for name, data in archive.members.items()
        if name != "manifest.json"
    }
    assert manifest["options"] == {
        "free": ["window", "foot"], "own": ["bore", "air_offset"], "loss": "robust",
        "a4_hz": 442.0, "seed": 7,
    }  # fmt: skip
    assert manifest["tables"] == [
        {"flute": "inputs/three-quarter-five.toml", "notes": "inputs/three-quarter-five.csv"}
    ]


def test_what_it_tells_is_what_was_computed():
    results, archive = five()
    c = results.calibration
    assert archive.members["report.txt"].decode() == report(c, a4=442.0, odd=results.suspects)
    assert archive.members["constants.json"].decode() == constants_text(c)
    corrections = frame(archive, "corrections.csv").set_index("correction")
    for name in ("window", "foot"):
        row = corrections.loc[name]
        assert row["value"] == pytest.approx(getattr(c.corrections, name), rel=1e-5)
        index = results.profiles.names.index(name)
        told = [row[f"{end}_{level}"] for level in (68, 95) for end in ("low", "high")]
        assert told == pytest.approx(results.profiles.limits[index].ravel(), rel=1e-5)
        assert row["low_95"] < row["low_68"] < row["value"] < row["high_68"] < row["high_95"]
    assert set(corrections.index[corrections["reported"] == "yes"]) == {"window", "foot"}
    assert corrections["meaning"].str.len().min() > 10
    assert corrections["unit"].tolist()[:3] == ["times"] * 3
    residuals = frame(archive, "residuals.csv")
    assert residuals["residual_cents"].to_numpy() == pytest.approx(
        c.tables[0].residual, rel=1e-5, nan_ok=True
    )


def test_tables_agree_with_one_another():
    results, archive = five()
    budget = frame(archive, "budget.csv")
    sds = frame(archive, "corrections.csv").set_index("correction")["sd"]
    for name, rows in budget.groupby("of"):
        # the law of propagation: contributions add as squares
        assert np.sqrt(np.sum(rows["contribution"] ** 2)) == pytest.approx(sds[name], rel=1e-4)
        assert rows["share_percent"].sum() == pytest.approx(100.0, abs=0.01)
    correlations = frame(archive, "correlations.csv")
    matrix = correlations.drop(columns="unknown").to_numpy()
    assert correlations["unknown"].tolist() == list(correlations.columns[1:])
    assert np.diag(matrix) == pytest.approx(1.0)
    assert matrix == pytest.approx(matrix.T)
    assert np.linalg.eigvalsh(matrix).min() > -1e-4
    assert len(matrix) == len(results.calibration.parameters)
    profiles = frame(archive, "profiles.csv")
    assert profiles.groupby("correction")["chi2_rise"].min().to_numpy() == pytest.approx(
        0, abs=1e-6
    )
    assert profiles["chi2_rise"].max() > RISES[1]


@pytest.mark.slow
def test_the_bootstrap_is_that_of_the_seed():
    results, archive = five()
    c = results.calibration
    found = frame(archive, "bootstrap.csv").set_index("correction")
    again = bootstrap(c, 1000, seed=7)
    assert found.loc["window", "sd_of_refits"] == pytest.approx(again.sd[0], rel=1e-5)
    assert found.loc["window", "low_95"] == pytest.approx(
        np.quantile(again.theta[:, 0], 0.025), 1e-5
    )
    assert found["refits"].tolist() == [1000 - again.lost] * len(found)
    other = texts_of(results_of(c, results.suspects, seed=8))
    differ = {n for n, t in other.items() if t.content.encode() != archive.members[n]}
    assert differ - {"report.txt", "residuals.csv"} == {
        "bootstrap.csv"
    }  # names of notes: another A4


@pytest.mark.parametrize("free", [(), ("window",)])
def test_two_notes_are_not_drawn_from(free):
    results = results_of(calibrate(notes_of(SIX, ["xxxxxx", "oooooo"], off=9.0), free=free))
    assert results.drawn is None
    texts = texts_of(results)
    assert "bootstrap.csv" not in texts
    assert len(texts["budget.csv"].content.splitlines()) > 1 or not free


def test_an_interrupted_bootstrap_is_no_result(monkeypatch):
    def half(*given, **options):
        return replace(bootstrap(*given, **options), done=500)

    monkeypatch.setattr("flutelab.files.archived_results.bootstrap", half)
    with pytest.raises(KeyboardInterrupt):
        results_of(five()[0].calibration, ())


def test_lengths_stand_in_millimetres():
    archive = made([DEMO / f"half-inch-six.{e}" for e in ("toml", "csv")], Settings(), draws=2)[1]
    lengths = frame(archive, "lengths.csv").set_index(["correction", "where"])
    # 0.604 in is 15.3416 mm
    assert lengths.loc[("bore", "inner diameter"), "by_formula_mm"] == pytest.approx(15.3416)


def test_each_flutes_own_corrections_stand_apart():
    results, archive = pipes()
    corrections = frame(archive, "corrections.csv")
    bores = corrections[corrections["correction"] == "bore"]
    assert bores["of"].tolist() == ["plain-pipe-220.csv", "plain-pipe-300.csv"]
    assert bores["low_95"].notna().all()
    assert len(results.budgets) == len(results.profiles.names) == 3
    mismatch = frame(archive, "mismatch.csv")
    assert set(mismatch["table"]) == {"plain-pipe-220.csv", "plain-pipe-300.csv"}


def test_nothing_of_the_machine_is_told():
    for _, archive in (five(), pipes()):
        for name, data in archive.members.items():
            assert str(ROOT).encode() not in data, name
            assert str(Path.home()).encode() not in data, name
            data.decode("utf-8")


# --- the read-me -----------------------------------------------------------------------


def test_the_method_is_one_paragraph_of_facts():
    results, archive = five()
    c = results.calibration
    told = method(c, results.suspects, results.drawn)
    assert "\n" not in told
    fates = c.tables[0].fate
    for fact in (
        f"{len(fates)} readings in 1 session",
        f"{fates.count('fitted')} were fitted",
        f"{fates.count('checked')} were only predicted",
        "reported corrections were window, foot;",
        "window 1 ± 0.1 times",
        "0.6 cents of its own for each note",
        "shared an error of 5 cents",
        "Huber's loss with its corner at 2 sd",
        f"chi2 = {c.chi2:.1f} over {c.rows} note rows",
        "flutelab 0.1.0",
        "is 7.",
    ):
        assert fact in told, fact
    flat = " ".join(archive.members["README.txt"].decode().split())
    assert told in flat


def test_the_method_follows_the_data():
    result = pipes()[0].calibration
    told = method(result, (), five()[0].drawn)
    assert "2 note tables" in told
    assert "air_offset, bore had a value for each flute or day" in told
    assert "Huber" not in told
    assert "window" not in told.partition("Of the unknowns")[0]
    assert "finger holes" not in told
    assert "assumed where repeats were too few (common practice)" in told
    assert "No row, hole or mistake of the whole stood out beyond chance." in told
    few = pipes()[1].members["README.txt"].decode()
    assert "the notes being too few for a bootstrap" in " ".join(few.split())
    held = method(calibrate(*read_all(FIVE), hold=("wall", "loss"), model_sd=0.0), (), None)
    assert {"wall", "loss"} <= set(re.search(r"Not fitted[^.]*: ([^.]*)\.", held)[1].split(", "))
    assert "cents of its own" not in held


def test_what_does_not_fit_is_part_of_the_method():
    result = calibrate(demo("half-inch-six"))
    odd = suspects(result)
    told = method(result, odd, None)
    assert "Named as not fitting, and neither mended nor dropped for that: hole 1" in told
    assert all(or_else_words(result, one) in told for one in odd)


def test_why_the_refits_scatter_otherwise_is_said():
    results, archive = five()
    flat = " ".join(archive.members["README.txt"].decode().split())
    part = flat.partition("TWO STANDARD DEVIATIONS")[2].partition("CONTENTS")[0]
    assert f"which of {results.drawn.groups} notes were there" in part
    assert "each refit has prior means of its own" in part
    # textbook: the sd of an sd from n normal values is 1/sqrt(2(n - 1)) of it
    assert f"some {100 / np.sqrt(2 * (results.drawn.groups - 1)):.0f} %" in part
    assert "flutelab next works it out" in flat
    assert "TWO STANDARD" not in pipes()[1].members["README.txt"].decode()


def test_every_reference_is_resolved():
    results, archive = five()
    told = method(results.calibration, results.suspects, results.drawn)
    keys = set(re.findall(r"[\[ ]([a-z]+(?:-[a-z0-9]+)*-\d{4})[\],]", told))
    assert keys == set(REFERENCES)
    listed = archive.members["README.txt"].decode()
    assert all(f"\n  [{key}] " in listed for key in keys)
    assert "huber" not in pipes()[1].members["README.txt"].decode()
    page = (ROOT / "docs" / "references.md").read_text(encoding="utf-8")
    for key in REFERENCES:
        assert f"\n| {key} |" in page, key


def test_every_file_is_named_in_the_contents():
    archive = five()[1]
    contents = archive.members["README.txt"].decode().partition("CONTENTS")[2]
    for name in archive.members:
        shown = "inputs/" if name.startswith("inputs/") else name
        assert name == "README.txt" or f"  {shown}: " in contents, name


@pytest.mark.parametrize("ending", ["", "é", " (2)"])
def test_the_command_quotes_what_a_shell_would_part(ending):
    pair = (f"inputs/a{ending}.toml", "inputs/b.csv")
    told = command_of([pair], replace(SETTINGS, loss="linear"))
    name = f'"{pair[0]}"' if " " in ending else pair[0]
    assert told == (
        f"flutelab calibrate {name} inputs/b.csv --free window,foot --a4 442 --seed 7 "
        "--archive again.zip"
    )


# --- names and bytes of the inputs -----------------------------------------------------


def test_two_tables_of_one_name_are_kept_apart(tmp_path):
    files = []
    for n, path in enumerate(PIPES):
        folder = tmp_path / str(n // 2)
        folder.mkdir(exist_ok=True)
        files.append(
            folder / ("Pipe: 1.toml" if n % 2 == 0 else "NOTES.csv" if n > 2 else "notes.csv")
        )
        files[-1].write_bytes(path.read_bytes())
    inputs, measured = inputs_of(files, read_all(files))
    assert list(inputs) == [
        "inputs/Pipe_ 1.toml", "inputs/notes.csv", "inputs/2-Pipe_ 1.toml", "inputs/2-NOTES.csv"
    ]  # fmt: skip
    assert list(inputs.values()) == [path.read_bytes() for path in PIPES]
    assert [m.source for m in measured] == ["notes.csv", "2-NOTES.csv"]
    again = inputs_of([FIVE[0], FIVE[1], FIVE[0], FIVE[1]], read_all([*FIVE, *FIVE]))[0]
    assert list(again) == ["inputs/three-quarter-five.toml", "inputs/three-quarter-five.csv"]


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_a_file_that_changed_meanwhile_is_refused(tmp_path, mark):
    files = [tmp_path / path.name for path in FIVE]
    for path, original in zip(files, FIVE, strict=True):
        path.write_bytes(mark + original.read_bytes())
    measured = read_all(files)
    assert list(inputs_of(files, measured)[0].values()) == [path.read_bytes() for path in files]
    for path in files:
        path.write_bytes(path.read_bytes() + b"\n")
    with pytest.raises(DataError) as error:
        inputs_of(files, measured)
    assert [fault.place for fault in error.value.faults] == [str(path) for path in files]
    assert "has changed since it was read" in str(error.value)


# --- zip files -------------------------------------------------------------------------


def test_the_zip_file_has_no_times_and_a_fixed_order():
    members = {"b.txt": b"2", "a/c.txt": b"1"}
    data = zip_bytes(members)
    assert data == zip_bytes(dict(reversed(members.items())))
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        assert file.testzip() is None
        assert [i.filename for i in file.infolist()] == ["a/c.txt", "b.txt"]
        assert {i.date_time for i in file.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert {i.create_system for i in file.infolist()} == {3}


@pytest.mark.parametrize(
    "name",
    ["../evil.txt", "/etc/evil", "a/../../evil", "C:/evil", "a\\evil", "a//evil", "./evil", "a/",
     "line\nend"],
)  # fmt: skip
def test_members_that_would_land_elsewhere_are_refused(tmp_path, name):
    path = tmp_path / "evil.zip"
    with zipfile.ZipFile(path, "w") as file:
        file.writestr(zipfile.ZipInfo("good.txt"), b"good")
        info = zipfile.ZipInfo("x")
        info.filename = name
        file.writestr(info, b"evil")
    with pytest.raises(DataError) as error:
        unzipped(path)
    (fault,) = error.value.faults
    assert fault.typed == name
    assert "leads out of the folder" in fault.problem


def test_links_and_twice_used_names_are_refused(tmp_path):
    path = tmp_path / "evil.zip"
    link = zipfile.ZipInfo("link")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(path, "w") as file:
        file.writestr(link, b"/etc/passwd")
        file.writestr("a.txt", b"1")
        file.writestr("A.txt", b"2")
    with pytest.raises(DataError) as error:
        unzipped(path)
    assert [(f.typed, f.problem) for f in error.value.faults] == [
        ("link", "this is not a plain file"), ("A.txt", "another member has this name")
    ]  # fmt: skip


def test_a_file_that_grows_without_end_is_refused(tmp_path):
    path = tmp_path / "bomb.zip"
    data = bytearray(zip_bytes({"a.txt": b"0" * 1000}))
    place = data.index(b"PK\x01\x02")  # the list of members tells the size again
    data[place + 24 : place + 28] = (LARGEST + 1).to_bytes(4, "little")
    path.write_bytes(data)
    with pytest.raises(DataError, match="unpacked it holds 500,000,001 bytes; at most"):
        unzipped(path)


@pytest.mark.parametrize("content", [b"", b"no zip", b"PK\x03\x04rest"])
def test_what_is_no_zip_file(tmp_path, content):
    path = tmp_path / "a.zip"
    path.write_bytes(content)
    with pytest.raises(DataError, match="it is no sound zip file"):
        unzipped(path)


def test_a_damaged_member_is_refused(tmp_path):
    path = tmp_path / "a.zip"
    data = bytearray(zip_bytes({"a.txt": bytes(range(256))}))
    data[80] ^= 0xFF
    path.write_bytes(data)
    with pytest.raises(DataError, match="it is no sound zip file"):
        unzipped(path)


# --- reading an archive ----------------------------------------------------------------


def test_an_archive_comes_back(saved):
    archive = five()[1]
    back = read_archive(saved)
    assert back.members == archive.members
    assert (back.settings, back.pairs) == (archive.settings, archive.pairs)


def test_every_member_that_is_not_as_the_manifest_says_is_told(tmp_path):
    members = dict(five()[1].members)
    del members["budget.csv"]
    members["report.txt"] += b"x"
    members["more.txt"] = b"x"
    path = tmp_path / "a.zip"
    path.write_bytes(zip_bytes(members))
    with pytest.raises(DataError) as error:
        read_archive(path)
    assert [(f.place, f.problem) for f in error.value.faults] == [
        ("budget.csv", "it is missing"),
        ("more.txt", "the manifest does not know it"),
        ("report.txt", "it has been changed"),
    ]


def _manifest_of(**changes):
    manifest = json.loads(five()[1].members["manifest.json"])
    return json.dumps(manifest | changes).encode()


OPTIONS = {
    "free": ["window"],
    "own": ["bore", "air_offset"],
    "loss": "linear",
    "a4_hz": 440.0,
    "seed": 0,
}
BAD_MANIFESTS = {
    "none": (None, "it is missing: this is no archive"),
    "not JSON": (b"{", "it is damaged: JSONDecodeError"),
    "a list": (b"[]", "it is damaged: TypeError"),
    "another kind": (_manifest_of(kind="x"), "it is 'x', schema 1; this flutelab reads"),
    "another schema": (_manifest_of(schema_version=2), "schema 2; this flutelab reads"),
    "no tables": (_manifest_of(tables=[]), "tables or options are not those"),
    "a table elsewhere": (
        _manifest_of(tables=[{"flute": "report.txt", "notes": "../x"}]), "are not those"
    ),
    "options of another sort": (_manifest_of(options=OPTIONS | {"free": ["windw"]}), "not those"),
    "a loss that is none": (_manifest_of(options=OPTIONS | {"loss": "x"}), "not those"),
    "a pitch that is none": (_manifest_of(options=OPTIONS | {"a4_hz": 4.0}), "not those"),
    "a seed that is none": (_manifest_of(options=OPTIONS | {"seed": "1"}), "not those"),
    "an option missing": (_manifest_of(options={}), "it is damaged: KeyError 'free'"),
    "no hashes": (_manifest_of(sha256=[]), "it is damaged: AttributeError"),
}  # fmt: skip


@pytest.mark.parametrize("title", BAD_MANIFESTS)
def test_bad_manifests(tmp_path, title):
    content, told = BAD_MANIFESTS[title]
    members = dict(five()[1].members)
    members.pop("manifest.json")
    path = tmp_path / "a.zip"
    path.write_bytes(zip_bytes(members | ({} if content is None else {"manifest.json": content})))
    with pytest.raises(DataError) as error:
        read_archive(path)
    assert told in str(error.value)
    assert "manifest.json" in str(error.value)


# --- running it again ------------------------------------------------------------------


def test_running_it_again_gives_the_same_printed_digits(saved, tmp_path):
    out = tmp_path / "again"
    found = rerun(saved, out)
    assert found.differ == ()
    wanted = "report.txt constants.json corrections.csv residuals.csv profiles.csv budget.csv"
    assert {*wanted.split(), "inputs/three-quarter-five.csv"} <= set(found.made)
    for name in found.made:
        assert (out / name).read_bytes() == five()[1].members[name]
    assert read_constants(out / "constants.json").free == ("window", "foot")


@pytest.mark.slow
def test_pictures_are_compared_where_they_are_drawn(tmp_path):
    results, settings = five()[0], SETTINGS
    inputs = inputs_of(FIVE, read_all(FIVE))[0]
    archive = archive_of(results, settings, inputs, {"a.svg": b"<svg/>", "b.svg": b"<svg/>"})
    path = tmp_path / "a.zip"
    path.write_bytes(zip_bytes(archive.members))
    found = rerun(path, tmp_path / "1", draw=lambda _: {"a.svg": b"<svg/>", "b.svg": b"other"})
    assert set(found.made) == set(archive.members)
    assert found.differ == ("figures/b.svg", "manifest.json")


def test_several_tables_run_again(tmp_path):
    path = tmp_path / "a.zip"
    path.write_bytes(zip_bytes(pipes()[1].members))
    assert rerun(path, tmp_path / "again").differ == ()


def test_what_comes_out_otherwise_is_named(tmp_path):
    archive = five()[1]
    members = dict(archive.members)
    members["report.txt"] = b"I did not say that\n"
    manifest = json.loads(members["manifest.json"])
    manifest["sha256"]["report.txt"] = sha256(members["report.txt"]).hexdigest()
    members["manifest.json"] = json.dumps(manifest).encode()
    path = tmp_path / "a.zip"
    path.write_bytes(zip_bytes(members))
    assert rerun(path, tmp_path / "again").differ == ("report.txt",)


@pytest.mark.slow
def test_running_again_overwrites_nothing_untold(saved, tmp_path):
    (tmp_path / "report.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(DataError, match=r"report.txt: the file is there already"):
        rerun(saved, tmp_path)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.zip", "report.txt"]
    assert (tmp_path / "report.txt").read_text(encoding="utf-8") == "mine"
    with pytest.raises(DataError, match="the folder cannot be made"):
        rerun(saved, saved / "in")
    assert rerun(saved, tmp_path, overwrite=True).differ == ()
