"""The constants file: exact there and back, documented, and clear about what is no such file."""

import copy
import json
import re
from dataclasses import fields
from hashlib import sha256

import jsonschema
import numpy as np
import pytest
from made_notes import DEMO, PIPE, ROOT, SCALE, SIX, STOPPED, demo, notes_of

from flutelab import (
    Corrections,
    DataError,
    calibrate,
    predict_notes,
    read_constants,
    write_constants,
)
from flutelab.files.constants_file import FORMULAS, constants_of, constants_text
from flutelab.model.corrections import NAMES
from flutelab.physics import ends, hole, window

SCHEMA = json.loads((ROOT / "docs" / "constants.schema.json").read_text(encoding="utf-8"))


def truthful():
    truth = Corrections(window=1.0873, foot=0.953, wall=0.91)
    return notes_of(SIX, SCALE, truth, off=np.linspace(-2, 3, 7))


CASES = {
    "one flute": lambda: calibrate(truthful()),
    "pooled": lambda: calibrate(truthful(), notes_of(STOPPED, ["x", "o"]), notes_of(PIPE, [""])),
    "held": lambda: calibrate(truthful(), hold=("bore", "loss"), free=("foot",)),
    "breath": lambda: calibrate(demo("three-quarter-five")),
    "robust": lambda: calibrate(demo("half-inch-six"), loss="robust"),
}


@pytest.fixture(scope="module")
def results():
    return {name: make() for name, make in CASES.items()}


@pytest.fixture(params=CASES)
def result(request, results):
    return results[request.param]


@pytest.fixture
def written(results, tmp_path):
    path = tmp_path / "c.json"
    write_constants(results["one flute"], path)
    return path, json.loads(path.read_text(encoding="utf-8"))


def refusal(path):
    with pytest.raises(DataError) as caught:
        read_constants(path)
    assert len(caught.value.faults) == 1
    assert caught.value.source == str(path)
    return caught.value.faults[0]


# --- there and back --------------------------------------------------------------------


def test_every_number_is_read_back_exactly(result, tmp_path):
    path = tmp_path / "c.json"
    write_constants(result, path)
    back = read_constants(path)
    for leaf in fields(Corrections):
        assert getattr(back.corrections, leaf.name) == getattr(result.corrections, leaf.name)
    assert back.spread.names == result.spread.names
    assert np.array_equal(back.spread.covariance, result.spread.covariance)
    assert back.priors == result.priors
    assert back.free == tuple(n for n in NAMES if n in result.free)
    write_constants(back, tmp_path / "again.json")
    assert (tmp_path / "again.json").read_bytes() == path.read_bytes()


def test_a_prediction_from_the_file_is_that_of_the_calibration(result, tmp_path):
    path = tmp_path / "c.json"
    write_constants(result, path)
    back, wanted = read_constants(path), truthful()
    first = predict_notes(SIX, wanted.rows, result.corrections, result.spread)
    second = predict_notes(SIX, wanted.rows, back.corrections, back.spread)
    assert np.array_equal(first.frequency, second.frequency)
    assert np.array_equal(first.sd, second.sd)


def test_nothing_is_overwritten_unasked(results, written):
    path, before = written
    with pytest.raises(DataError, match="the file is there already and was left as it is"):
        write_constants(results["pooled"], path)
    assert json.loads(path.read_text(encoding="utf-8")) == before
    write_constants(results["pooled"], path, overwrite=True)
    assert json.loads(path.read_text(encoding="utf-8")) != before


def test_no_number_that_json_does_not_know(result):
    def refuse(text):
        pytest.fail(f"{text} is no JSON number (RFC 8259, section 6)")

    json.loads(constants_text(result), parse_constant=refuse)


# --- the schema ------------------------------------------------------------------------


def test_the_schema_is_one():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_real_files_keep_the_schema(result):
    jsonschema.Draft202012Validator(SCHEMA).validate(json.loads(constants_text(result)))


@pytest.mark.parametrize(
    "spoil",
    [
        lambda d: d.pop("spread"),
        lambda d: d.update(schema_version=2),
        lambda d: d.update(extra=1),
        lambda d: d["corrections"].pop("loss"),
        lambda d: d["corrections"]["window"].update(value="1.1"),
        lambda d: d["corrections"]["window"].update(unit="mm"),
        lambda d: d["corrections"]["window"].update(formula_version=0),
        lambda d: d["conditions"].update(bore_temperature_c=[20.0]),
        lambda d: d["provenance"]["tables"][0]["rows"][0].update(fate="lost"),
        lambda d: d["flutes"][0].update(bore_diameter_mm=-1),
    ],
)
def test_the_schema_refuses_other_things(written, spoil):
    document = copy.deepcopy(written[1])
    spoil(document)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(SCHEMA).validate(document)


def test_names_of_the_schema_are_those_of_the_corrections():
    assert tuple(SCHEMA["$defs"]["name"]["enum"]) == NAMES
    assert tuple(SCHEMA["properties"]["corrections"]["required"]) == NAMES


# --- what it says ----------------------------------------------------------------------


def test_every_number_with_a_unit_has_it_in_its_key(written):
    bare = {"value", "sd", "mean", "lower", "upper"}  # of a correction, whose `unit` stands beside
    plain = {"schema_version", "formula_version", "sd_over_prior_sd", "errors_widened_by", "chi2",
             "rows_fitted", "covariance"}  # fmt: skip
    units = re.compile(r"_(mm|c|percent|ppm|pa|in_bore_radii)$")

    def walk(node, key):
        if isinstance(node, dict):
            for name, child in node.items():
                walk(child, name)
        elif isinstance(node, list):
            for child in node:
                walk(child, key)
        elif isinstance(node, int | float) and not isinstance(node, bool):
            assert key in bare | plain or units.search(key), key

    walk(written[1], "")


def test_definitions_of_every_correction(written):
    for name, entry in written[1]["corrections"].items():
        formula, version, words = FORMULAS[name]
        assert (entry["formula"], entry["formula_version"]) == (formula, version)
        assert entry["definition"] == words
        assert entry["unit"]
        assert entry["meaning"]


def test_the_definitions_in_words_give_the_formulas_numbers():
    # Typed from the words of the definitions, for b = 3.1, a = 7.6, w = 2.9 mm, window 6 x 8 mm.
    b, a, w, along, across = 3.1, 7.6, 2.9, 6.0, 8.0
    d, q = b / a, a / (a + w)
    inner = b * (0.822 - 0.095 * d - 1.566 * d**2 + 2.138 * d**3 - 1.640 * d**4 + 0.502 * d**5)
    outer = b * (0.822 - 0.44 * (b / (a + w)) ** 0.8)
    assert hole.inner_length_lefebvre(b, a) == pytest.approx(inner)
    assert hole.outer_length(b, a + w) == pytest.approx(outer)
    thin = 0.0366 * b * np.exp(-6 * 0.3 / b)
    assert hole.thin_wall_loss(b, 0.3) == pytest.approx(thin, rel=1e-3)
    s = 1 - q
    lip = 0.82159 - q * (0.208889 - s * (0.1105 * np.log(1 / s) + 0.0632 * s))
    assert ends.own_end(0.0, q)[0] == pytest.approx(lip, rel=1e-6)
    assert ends.own_end(0.0, 0.0)[0] == 0.82159
    r, plug = (along * across / np.pi) ** 0.5, 2.0
    both = hole.inner_length_lefebvre(r, a) + r * (0.822 - 0.47 * (r / (a + w)) ** 0.8)
    height = w + hole.matching_height(r, a) + both * (1 - 0.08 * np.log(across / along) ** 2)
    distance = along / 2 + plug
    height += 0.413 * r * np.exp(-3.05 * distance / a) - 0.0724 * r * np.exp(-3.83 * w / r)
    share = along * across / (np.pi * a**2)
    shape = {"plug_to_window": plug}
    seen = window.window_length(along, across, w, a, **shape)
    assert seen == pytest.approx(height / share, rel=1e-4)
    seen = window.stub_length(along, across, w, a, **shape)
    assert seen == pytest.approx(distance + 0.21 * height * share, rel=1e-4)
    for text, name in (("0.413", "window"), ("0.208889", "foot"), ("0.44", "hole_end")):
        assert text in FORMULAS[name][2]


def test_equivalents_in_mm_and_bore_radii(written):
    flute = written[1]["flutes"][0]
    assert flute["bore_diameter_mm"] == pytest.approx(15.2)
    rows = {(e["correction"], e["where"]): e for e in flute["equivalents"]}
    centre = rows["window", "from the window's centre"]
    value = written[1]["corrections"]["window"]
    assert centre["corrected_mm"] == pytest.approx(value["value"] * centre["by_formula_mm"])
    assert centre["corrected_in_bore_radii"] == pytest.approx(centre["corrected_mm"] / 7.6)
    assert centre["sd_mm"] == pytest.approx(value["sd"] * centre["by_formula_mm"])
    edge = rows["window", "from the sounding edge"]
    assert edge["corrected_mm"] - centre["corrected_mm"] == pytest.approx(3.0)


def test_pooled_flutes_keep_their_own_bore_and_air(results):
    document = constants_of(results["pooled"]).document
    bores = [flute["own_corrections"]["bore"]["value"] for flute in document["flutes"]]
    assert len(set(bores)) == 3
    assert document["corrections"]["bore"]["value"] == 1.0
    assert document["corrections"]["bore"]["remark"] == "prior only"
    assert document["corrections"]["bore"]["sd_over_prior_sd"] == 1.0


def test_remarks_and_conditions(results):
    held = constants_of(results["held"]).document["corrections"]
    assert (held["bore"]["remark"], held["bore"]["sd"]) == ("held", 0.0)
    assert [n for n, e in held.items() if e["reported"]] == ["foot"]
    breath = constants_of(results["breath"]).document
    assert breath["conditions"]["bore_temperature_c"] == pytest.approx([26.0, 26.0])
    assert breath["conditions"]["temperature_measured_in"] == "bore"
    assert breath["conditions"]["humidity_percent"] == pytest.approx([50.0, 50.0])
    # 46 ... 95 mm of water, usual breath only: some 500 to 600 Pa
    assert 500 < breath["conditions"]["reference_pressure_pa"] < 600
    robust = constants_of(results["robust"]).document
    assert robust["provenance"]["loss"] == "robust"
    assert robust["conditions"]["errors_widened_by"] >= 1


def test_provenance_names_files_and_every_row(results):
    table = constants_of(results["breath"]).document["provenance"]["tables"][0]
    for kind, ending in (("flute_file", "toml"), ("note_table", "csv")):
        path = DEMO / f"three-quarter-five.{ending}"
        assert table[kind] == path.name
        assert table[f"{kind}_sha256"] == sha256(path.read_bytes()).hexdigest()
    fates = [row["fate"] for row in table["rows"]]
    assert fates == ["fitted"] * 14 + ["checked"] * 4 + ["apart"] * 2
    assert [row["why"] for row in table["rows"][-2:]] == ["blown soft", "blown hard"]


# --- what is no constants file ---------------------------------------------------------


@pytest.mark.parametrize("number", [2, 0, "1", None, 1.5, True, [1]])
def test_another_schema_is_refused_with_its_number(written, number):
    path, document = written
    document["schema_version"] = number
    path.write_text(json.dumps(document), encoding="utf-8")
    fault = refusal(path)
    assert f"schema version {number!r} is not known; this flutelab reads 1" in fault.problem
    assert "Use the flutelab that wrote it" in fault.mend


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "it is not JSON"),
        ("{", "it is not JSON"),
        ("[" * 100_000, "it is not JSON"),
        ("[]", "this is not a constants file"),
        ("{}", "this is not a constants file"),
        ("null", "this is not a constants file"),
        ('{"kind": "shopping list"}', "this is not a constants file"),
        ('{"kind": "flutelab constants", "schema_version": 1}', "'corrections' is missing"),
    ],
)
def test_what_is_something_else_is_refused(tmp_path, text, words):
    path = tmp_path / "c.json"
    path.write_text(text, encoding="utf-8")
    fault = refusal(path)
    assert words in fault.problem
    assert fault.mend


@pytest.mark.parametrize("name", ["half-inch-six.toml", "half-inch-six.csv"])
def test_a_flute_file_or_a_note_table_is_refused(name):
    assert "it is not JSON" in refusal(DEMO / name).problem


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    assert "there is no such file" in refusal(tmp_path / "none.json").problem
    assert "this is a folder" in refusal(tmp_path).problem


def test_half_a_file_is_refused(written):
    path, _ = written
    text = path.read_text(encoding="utf-8")
    for part in (0.1, 0.5, 0.99):
        path.write_text(text[: int(len(text) * part)], encoding="utf-8")
        assert "it is not JSON" in refusal(path).problem


DAMAGE = {
    "a correction is gone": lambda d: d["corrections"].pop("loss"),
    "an unknown correction": lambda d: d["corrections"].update(glue=d["corrections"]["loss"]),
    "a value is a word": lambda d: d["corrections"]["window"].update(value="wide"),
    "a value is nothing": lambda d: d["corrections"]["window"].update(value=None),
    "a value is no number": lambda d: d["corrections"]["window"].update(value=float("nan")),
    "a value beyond its limits": lambda d: d["corrections"]["bore"].update(value=15.4),
    "a value is gone": lambda d: d["corrections"]["foot"].pop("value"),
    "an entry is a number": lambda d: d["corrections"].update(foot=1.0),
    "the corrections are a list": lambda d: d.update(corrections=[]),
    "a prior is gone": lambda d: d["corrections"]["foot"].pop("prior"),
    "a prior's sd is below 0": lambda d: d["corrections"]["foot"]["prior"].update(sd=-1),
    "a prior's mean is a word": lambda d: d["corrections"]["foot"]["prior"].update(mean="one"),
    "the spread is gone": lambda d: d.pop("spread"),
    "a row of the covariance is gone": lambda d: d["spread"]["covariance"].pop(),
    "a cell of the covariance is gone": lambda d: d["spread"]["covariance"][0].pop(),
    "a variance below 0": lambda d: d["spread"]["covariance"][0].__setitem__(0, -1.0),
    "not symmetric": lambda d: d["spread"]["covariance"][0].__setitem__(1, 0.005),
    "infinite": lambda d: d["spread"]["covariance"][0].__setitem__(0, float("inf")),
    "a name twice": lambda d: d["spread"]["names"].__setitem__(1, d["spread"]["names"][0]),
    "a name unknown": lambda d: d["spread"]["names"].__setitem__(1, "glue"),
    "the names are nothing": lambda d: d["spread"].update(names=None),
    "the conditions are gone": lambda d: d.pop("conditions"),
    "the temperature is gone": lambda d: d["conditions"].pop("bore_temperature_c"),
    "the temperature is a word": lambda d: d["conditions"].update(bore_temperature_c="warm"),
    "one temperature": lambda d: d["conditions"].update(bore_temperature_c=[20.0]),
    "the pressure is below 0": lambda d: d["conditions"].update(reference_pressure_pa=-5.0),
    "the pressure is a word": lambda d: d["conditions"].update(reference_pressure_pa="much"),
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_damage_is_told(written, damage):
    path, document = written
    DAMAGE[damage](document)
    path.write_text(json.dumps(document), encoding="utf-8")
    fault = refusal(path)
    assert fault.problem.startswith("it is damaged: ")
    assert fault.mend


def test_constants_of_another_formula_are_refused(written, tmp_path):
    document = copy.deepcopy(written[1])
    document["corrections"]["window"]["formula_version"] = 99
    path = tmp_path / "other.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    with pytest.raises(DataError, match="window was fitted to another version of its formula"):
        read_constants(path)
