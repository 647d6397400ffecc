"""Sheets for paper: size, one page, letters embedded, boxes high enough to write in."""

import io
import sys
from pathlib import Path

import pytest
from pypdf import PdfReader

import flutelab as fl
from flutelab.files.note_columns import COLUMNS
from flutelab.making.cautions import CAUTIONS
from flutelab.view.drawing import measures
from flutelab.view.drawing.primitives import Polygon, Text, text_box, wrapped
from flutelab.view.paper import measuring_sheet, note_sheet
from flutelab.view.paper.page import (
    CELL,
    PAPERS,
    SMALL,
    Block,
    column_width,
    one_side,
    paragraph,
    set_pages,
    sides,
    table,
)
from flutelab.view.paper.pdf import pdf
from flutelab.view.paper.sheets import measuring_pages, note_columns, note_pages

DEMO = Path(__file__).resolve().parent.parent / "data-demo"
SIX = fl.read_flute(DEMO / "half-inch-six.toml")
# ISO 216 (A4) and ANSI/ASME Y14.1 (size A, 8.5 x 11 in), from memory, in points of 1/72 in
SIZES = {"a4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (612, 792)}
SMALLEST = 7.0 * 25.4 / 72  # mm: 7 points


def texts(page):
    return [item for item in page.items if isinstance(item, Text)]


def words(data):
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(data)).pages]


def assert_set_well(page):
    """Nothing runs out of the paper, no text lies on another, and all can be read."""
    boxes = [(text.text, text_box(text)) for text in texts(page)]
    for name, (left, top, right, bottom) in boxes:
        assert left >= 5, name
        assert top >= 5, name
        assert right <= page.width - 5, name
        assert bottom <= page.height - 5, name
    for n, (one, a) in enumerate(boxes):
        for two, b in boxes[n + 1 :]:
            apart = a[2] <= b[0] + 0.2 or b[2] <= a[0] + 0.2
            apart |= a[3] <= b[1] + 0.8 or b[3] <= a[1] + 0.8
            assert apart, f"{one!r} lies on {two!r}"
    assert min(text.size for text in texts(page)) >= SMALLEST


def cells(page):
    """Heights and widths of the boxes of tables."""
    found = []
    for item in page.items:
        if isinstance(item, Polygon) and item.part == "cell":
            (x, y), _, (right, bottom), _ = item.points
            found.append((round(right - x, 9), round(bottom - y, 9)))  # corners are sums
    return found


# --- measuring sheet --------------------------------------------------------------------


@pytest.mark.parametrize("paper", SIZES)
@pytest.mark.parametrize("holes", [0, 1, 6, 7, 10])
def test_a_measuring_sheet_is_one_side_with_a_box_for_every_letter(holes, paper):
    (page,) = measuring_pages(holes, paper, from_foot=holes % 2 == 0)
    assert (page.width, page.height) == PAPERS[paper]
    assert_set_well(page)
    wanted = [measure.letter for measure in measures(holes)]
    # once in the drawing, once beside its box
    assert sorted(t.text for t in texts(page) if t.bold and t.text in wanted) == sorted(wanted * 2)
    boxes = [size for size in cells(page) if size[0] > 15]
    assert len(boxes) >= len(wanted)
    assert all(height >= CELL for _, height in boxes)


@pytest.mark.parametrize("paper", SIZES)
def test_a_measuring_sheet_as_pdf(paper):
    data = measuring_sheet(6, paper, "in", from_foot=True)
    (page,) = PdfReader(io.BytesIO(data)).pages
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(
        SIZES[paper], abs=0.01
    )
    (said,) = words(data)
    assert CAUTIONS["local"] in said
    for field in ("Flute", "Measured by", "Date", "Calipers used", "Drill", "Remark"):
        assert field in said
    assert "Write in inches" in said
    assert "from the foot to the middle of each hole" in said
    assert data == measuring_sheet(6, paper, "in", from_foot=True)  # the same bytes


def test_every_font_is_embedded():
    for data in (measuring_sheet(), note_sheet(SIX)):
        for page in PdfReader(io.BytesIO(data)).pages:
            fonts = [font.get_object() for font in page["/Resources"]["/Font"].values()]
            assert len(fonts) == 2  # plain and bold
            for font in fonts:
                assert "DejaVuSans" in font["/BaseFont"]
                assert "/FontFile2" in font["/FontDescriptor"]


def test_signs_reach_the_pdf():
    blocks = [paragraph("20 °C ± 1, ○ ● ◐ ≥ 440", 100)]
    (said,) = words(pdf(set_pages(blocks, paper="a4", title="Signs"), title="Signs"))
    assert "20 °C ± 1, ○ ● ◐ ≥ 440" in said


# --- note sheet -------------------------------------------------------------------------


def test_the_columns_of_a_note_sheet_stand_in_the_order_of_the_note_table():
    order = [COLUMNS.index(name) for name in note_columns()]
    assert order == sorted(order)
    assert note_columns(fahrenheit=True)[3] == "room_temperature_f"
    (said,) = words(note_sheet(SIX))
    names = ["fingering", *["note", "cents"] * 3, "room_temperature_c", "breath", "remark"]
    assert " ".join(names) in said
    assert "soft usual hard" in said
    assert "°F: write room_temperature_f over its column" in said
    assert (
        "°C: write room_temperature_c over its column" in words(note_sheet(SIX, fahrenheit=True))[0]
    )
    (page,) = note_pages(SIX)
    assert {"room_temperature_c", "soft usual hard"} <= {text.text for text in texts(page)}
    assert "reading 1 reading 2 reading 3" in said
    assert CAUTIONS["local"] in said
    assert CAUTIONS["breath"] in said


@pytest.mark.parametrize("paper", SIZES)
@pytest.mark.parametrize("holes", [0, 5, 10])
def test_a_note_sheet_has_a_row_for_every_fingering(holes, paper):
    (page,) = note_pages(holes, None, paper)
    assert_set_well(page)
    assert all(height >= CELL for _, height in cells(page))
    typed = [t.text for t in texts(page) if t.text and set(t.text) <= set("xohn")]
    if holes:
        assert typed == ["x" * (holes - n) + "o" * n for n in range(holes + 1)]


def test_a_flutes_own_fingerings_and_many_of_them():
    many = ["xhoxnx"] * 50
    pages = note_pages(SIX, many)
    assert len(pages) == 3
    for page in pages:
        assert_set_well(page)
    found = [t.text for page in pages for t in texts(page) if t.text == "xhoxnx"]
    assert len(found) == 50
    assert any(SIX.name in text.text for text in texts(pages[0]))
    assert any(text.text == "page 2 of 3" for text in texts(pages[1]))


def test_what_does_not_fit_is_refused():
    with pytest.raises(ValueError, match="-1 holes"):
        measuring_sheet(-1)
    with pytest.raises(ValueError, match="11 holes"):
        note_sheet(11)
    with pytest.raises(ValueError, match="paper 'a5' is not known"):
        measuring_sheet(6, "a5")
    with pytest.raises(ValueError, match="unit 'cm' is not known"):
        measuring_sheet(6, "a4", "cm")
    with pytest.raises(ValueError, match="'xx' has 2 letters"):
        note_sheet(SIX, ["xx"])


# --- setting ----------------------------------------------------------------------------


def test_blocks_fill_page_after_page_and_keep_together():
    tall = [Block(height=100.0, items=(), after=0.0) for _ in range(5)]
    assert len(set_pages(tall, paper="a4", title="Tall")) == 3
    assert len(set_pages(one_side(tall[:2]), paper="a4", title="Tall")) == 1
    with pytest.raises(ValueError, match="do not fit on one side of letter"):
        set_pages(one_side(tall[:3]), paper="letter", title="Tall")


def test_a_cell_grows_with_its_words():
    (row,) = table((), [["word " * 30, ""]], (30, 30), least=CELL)
    assert row.height > 3 * CELL
    (empty,) = table((), [["", ""]], (30, 30), least=CELL)
    assert empty.height == CELL


@pytest.mark.parametrize("key", [key for key in CAUTIONS if key != "dust"])
def test_a_caution_takes_two_lines_at_most(key):
    assert len(wrapped(CAUTIONS[key], column_width("a4") - 10, SMALL)) <= 2


# What each caution must not lose (common practice, no source).
CORE = {
    "pvc-dust": ("wet", "hand", "extraction", "mask", "eyes", "wipe", "hands", "never blow"),
    "pvc-heat": ("burn", "flame", "laser", "hydrogen chloride", "smoke", "stop"),
    "pipe": ("drinking water", "conduit", "ABS", "foam core", "unmarked"),
    "drill": ("clamped", "V-block", "dowel", "pilot", "grab", "gloves", "key out", "onlookers"),
    "knife": ("away", "clamped", "file"),
    "wood": ("lungs", "poisonous", "splinters", "PVC"),
    "finish": ("cured", "allergens", "ignite", "flames"),
    "mouth": ("mouthpiece", "soap", "disinfectant", "label", "ill"),
    "breath": ("dizzy", "rest", "asthma", "data"),
    "hearing": ("quiet", "headphones", "one", "ear protection"),
}


@pytest.mark.parametrize("key", CORE)
def test_a_caution_says_what_it_must(key):
    for part in CORE[key]:
        assert part.lower() in CAUTIONS[key].lower()


def test_a_missing_library_is_named_with_its_mend(monkeypatch):
    monkeypatch.setitem(sys.modules, "reportlab.pdfbase", None)
    with pytest.raises(fl.DataError, match=r"reportlab.*not installed.*pip install"):
        measuring_sheet()


def test_titled_blocks_are_a_side_each_and_too_many_are_refused():
    words = paragraph("words", 100.0)
    pages = sides([("one", [words]), ("two", [words, words])], "letter")
    for number, (page, title) in enumerate(zip(pages, ("one", "two"), strict=True), 1):
        said = [text.text for text in texts(page)]
        assert said.count("words") == number
        assert title in said
        assert f"page {number} of 2" in said
        local = next(t for t in texts(page) if t.text[:20] == CAUTIONS["local"][:20])
        assert local.at[1] < next(t for t in texts(page) if t.text == "words").at[1]
    with pytest.raises(ValueError, match=r"three: .* do not fit on one side of a4"):
        sides([("three", [words] * 60)], "a4")
