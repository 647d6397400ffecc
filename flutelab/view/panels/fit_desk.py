"""The flute file and the note table of a panel: chosen, opened, uploaded, edited in place."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import ipywidgets

from flutelab.errors import DataError, Fault
from flutelab.files.note_cells import BREATHS, HOW
from flutelab.files.note_columns import COLUMNS
from flutelab.files.safely import read_bytes
from flutelab.files.takeaway import pairs_of
from flutelab.files.typed import (
    HEAD,
    Sheet,
    cell_faults,
    changed,
    next_row,
    read_flute_text,
    read_sheet,
    sheet_of,
)
from flutelab.fitting.measurements import USES
from flutelab.view.panels.kit import Box, Choice, Grid, Press, Words

_LISTS = {"use": USES, "breath": BREATHS, "how": HOW}
_NARROWEST, _WIDEST = 3, 24  # letters of a box in the table


class Desk:
    """A flute file's text and a note table's cells, as they stand.

    Parameters
    ----------
    flute, notes : str or Path
        What is opened at first.
    demo : str or Path
        Folder of flutes to choose from, each with a note table of the same name.
    changed : callable
        Called after every change of either.

    Attributes
    ----------
    sheet : Sheet
    text : Box
        Holds the flute file.
    above, tools : widget
        To open with; to edit with.
    """

    def __init__(
        self, flute: str | Path, notes: str | Path, demo: str | Path, changed: Callable[[], None]
    ) -> None:
        self._told = lambda: None
        self.flute_name, self.sheet = "", Sheet(name="", columns=(), rows=())
        self.refused = Words(kind="alert")
        self.text = Box(label="Flute file", lines=16, fold="Flute file: sizes, to be edited")
        self.grid = Grid(editable=True)
        self.grid.add_class("flutelab-tall")
        self.above = self._openers(Path(demo), (Path(flute), Path(notes)))
        self.tools = self._editors()
        self._open(lambda: self._take_both(Path(flute), Path(notes)))
        self.text.observe(lambda _: self._told(), "value")
        self.grid.observe(lambda _: self._typed(), "rows")
        self.grid.observe(lambda _: self._name_tools(), "at")
        self._told = changed

    # --- opening ---------------------------------------------------------------------------

    def _openers(self, demo, first):
        demos = {"none of these": None, **pairs_of(demo)}
        chosen = first if first in demos.values() else None
        self.demo = Choice(label="Demo flute (invented)", choices=demos, value=chosen)
        self.flute_path = Box(label="or your flute file", hint="folder/my-flute.toml")
        self.notes_path = Box(label="and its note table", hint="folder/my-notes.csv")
        self.uploads = tuple(
            ipywidgets.FileUpload(accept=ending, multiple=False, description=f"Upload {what}")
            for ending, what in ((".toml", "a flute file"), (".csv", "a note table"))
        )
        self.demo.observe(lambda one: self._open(lambda: self._choose(one["new"])), "value")
        for box, take in ((self.flute_path, self._take_flute), (self.notes_path, self._take_notes)):
            box.observe(lambda one, take=take: self._from_path(one["new"], take), "value")
        for upload, take in zip(self.uploads, (self._take_flute, self._take_notes), strict=True):
            upload.observe(lambda one, take=take: self._uploaded(one["owner"], take), "value")
        chosen = ipywidgets.VBox([self.demo, self.flute_path, self.notes_path])
        chosen.add_class("flutelab-controls")
        uploaded = ipywidgets.HBox([*self.uploads])
        uploaded.add_class("flutelab-row")
        return ipywidgets.VBox([chosen, uploaded, self.refused])

    def _open(self, take):
        """Take files; where that fails say why, and keep what is there."""
        told, self._told = self._told, lambda: None
        try:
            take()
            self.refused.text = ""
        except DataError as error:
            self.refused.text = str(error)
            return
        finally:
            self._told = told
        self._told()

    def _choose(self, files):
        if files:
            self.flute_path.value = self.notes_path.value = ""
            self._take_both(*files)

    def _take_both(self, flute, notes):
        raw = read_bytes(notes)
        self._take_flute(read_bytes(flute), flute.name)
        self._take_notes(raw, notes.name)

    def _from_path(self, text, take):
        if text.strip():
            path = Path(text.strip().strip("'\"")).expanduser()
            self.demo.value = None
            self._open(lambda: take(read_bytes(path), path.name))

    def _uploaded(self, upload, take):
        if upload.value:
            name, content = upload.value[0]["name"], bytes(upload.value[0]["content"])
            upload.value = ()  # the same file may be given again
            self.demo.value = None
            self._open(lambda: take(content, name))

    def _take_flute(self, raw, name):
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            mend = "Open it in an editor and save it again as UTF-8"
            fault = Fault(place="file", problem="it is not UTF-8 text", mend=mend)
            raise DataError(name, [fault]) from None
        read_flute_text(text, name)  # a file that cannot be read replaces nothing
        self._opened_flute = name, text.replace("\r\n", "\n")
        self.flute_name, self.text.value = self._opened_flute
        self.text.label = f"Flute file {name}"

    def _take_notes(self, raw, name):
        self._opened_sheet = sheet_of(raw, name)
        self._show(self._opened_sheet)

    def reset(self) -> None:
        """Both as they were opened."""
        told, self._told = self._told, lambda: None
        self.flute_name, self.text.value = self._opened_flute
        self._show(self._opened_sheet)
        self.refused.text, self._told = "", told

    @property
    def saved_name(self) -> str:
        """The name under which the note table is saved."""
        path = Path(self.sheet.name)
        return path.name if self.sheet.raw else f"{path.stem}-edited.csv"

    @property
    def saved_flute_name(self) -> str:
        """The name under which the flute file is saved."""
        same = self.text.value == self._opened_flute[1]
        return self.flute_name if same else f"{Path(self.flute_name).stem}-edited.toml"

    # --- editing ---------------------------------------------------------------------------

    def _editors(self):
        self.add_row = Press(label="", do=self._add_row)
        self.delete_row = Press(label="", do=self._delete_row)
        self.column_name = Box(label="")
        self.column_name.observe(lambda one: self._rename(one["new"]), "value")
        self.delete_column = Press(label="", do=self._delete_column)
        self.new_column = Choice(label="A column more", choices={name: name for name in COLUMNS})
        self.filling = Box(label="in every row", hint="blank")
        self.add_column = Press(label="Add this column", do=self._add_column)
        rows = [self.add_row, self.delete_row, self.delete_column]
        columns = [self.column_name, self.new_column, self.filling, self.add_column]
        for line in (lines := [ipywidgets.HBox(rows), ipywidgets.HBox(columns)]):
            line.add_class("flutelab-row")
        lines[1].add_class("flutelab-low")
        return ipywidgets.VBox(lines)

    @property
    def _at(self):
        """Row and column last gone to."""
        row, column = (int(part) for part in (self.grid.at or "0,0").split(","))
        sheet = self.sheet
        return min(row, len(sheet.rows) - 1), min(column, len(sheet.columns) - 1)

    def _name_tools(self):
        row, column = self._at
        name = self.sheet.columns[column]
        self.add_row.label = f"Add a row below row {row + 1}"
        self.delete_row.label, self.delete_row.disabled = f"Delete row {row + 1}", row < 0
        self.delete_column.label = f"Delete column {name}"
        self.delete_column.disabled = len(self.sheet.columns) < 2
        self._naming = True
        self.column_name.label, self.column_name.value = f"Column {column + 1} is called", name
        self._naming = False

    def _typed(self):
        if not self._showing:
            self.sheet = changed(self.sheet, self.sheet.columns, self.grid.rows)
            self._told()

    def _edit(self, sheet):
        self._show(sheet)
        self._told()

    def _add_row(self):
        self._edit(next_row(self.sheet, max(self._at[0], 0)))

    def _delete_row(self):
        row, rows = self._at[0], self.sheet.rows
        self._edit(changed(self.sheet, self.sheet.columns, rows[:row] + rows[row + 1 :]))

    def _delete_column(self):
        at = self._at[1]
        columns, *rows = [
            line[:at] + line[at + 1 :] for line in (self.sheet.columns, *self.sheet.rows)
        ]
        self._edit(changed(self.sheet, columns, rows))

    def _add_column(self):
        filling = self.filling.value.strip()
        rows = [(*row, filling) for row in self.sheet.rows]
        self._edit(changed(self.sheet, (*self.sheet.columns, self.new_column.value), rows))

    def _rename(self, name):
        if self._naming:
            return
        if self.column_name.under not in ("", self.column_name.label):
            self._name_tools()  # it was typed for another column, that was left meanwhile
            return
        columns = list(self.sheet.columns)
        columns[self._at[1]] = name.strip()
        self._edit(changed(self.sheet, columns, self.sheet.rows))

    _showing = _naming = False

    def _show(self, sheet):
        self.sheet = sheet
        lists = {
            str(number): ["", *_LISTS[name.lower()]]
            for number, name in enumerate(sheet.columns)
            if name.lower() in _LISTS
        }
        widths = [max((len(row[n]) for row in sheet.rows), default=0) for n in _count(sheet)]
        self._showing = True
        with self.grid.hold_sync():
            self.grid.caption = f"Note table {sheet.name}"
            self.grid.columns, self.grid.rows = list(sheet.columns), [list(r) for r in sheet.rows]
            self.grid.choices, self.grid.faults = lists, {}
            self.grid.sizes = [min(max(width, _NARROWEST), _WIDEST) for width in widths]
        self._showing = False
        self._name_tools()

    # --- reading ---------------------------------------------------------------------------

    def read(self):
        """Return the notes as they stand, with the faults at their cells.

        Raises
        ------
        DataError
            Of the flute file or the note table.
        """
        flute = read_flute_text(self.text.value, self.flute_name)
        try:
            read, found = read_sheet(self.sheet, flute), {}
        except DataError as error:
            found = cell_faults(self.sheet, error.faults)
            raise
        finally:
            self.grid.faults = {
                f"{'head' if row == HEAD else row},{column}": words
                for (row, column), words in found.items()
            }
        return read


def _count(sheet):
    return range(len(sheet.columns))
