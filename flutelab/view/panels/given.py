"""Files that a user gives to a panel, uploaded or named by their path; and headings."""

from __future__ import annotations

import html
from pathlib import Path

import ipywidgets
import traitlets

from flutelab.errors import DataError
from flutelab.files.safely import read_bytes
from flutelab.view.panels.kit import Box


class Given(ipywidgets.HBox):
    """A button to upload a file, and a box for the path of one.

    ``value`` is None or (name, bytes), the last one given; a path that cannot be read is told
    of at its box and leaves ``value`` as it was.

    Parameters
    ----------
    what : str
        Such as ``a flute file``.
    ending : str
        Of the file's name, such as ``.toml``.
    """

    value = traitlets.Any(None, allow_none=True)

    def __init__(self, *, what: str, ending: str) -> None:
        self.upload = ipywidgets.FileUpload(
            description=f"Upload {what}", accept=ending, multiple=False
        )
        self.path = Box(label=f"Or the path of {what}", hint=f"my-file{ending}")
        self.path.layout.flex = "1 1 260px"
        super().__init__([self.upload, self.path])
        self.add_class("flutelab-row")
        self.upload.observe(self._uploaded, "value")
        self.path.observe(self._named, "value")
        self.observe(self._told, "value")

    def _told(self, change):
        if change["new"] is None:
            self.path.value = self.path.fault = self.path.note = ""
        else:
            self.path.note = f"Taken: {change['new'][0]}"

    def _uploaded(self, change):
        for file in change["new"]:
            self.path.fault = ""
            self.value = (file["name"], bytes(file["content"]))
        self.upload.value = ()  # the same file may come again

    def _named(self, change):
        name = change["new"].strip().strip("\"'")
        self.path.fault = ""
        if name:
            try:
                self.value = (name, read_bytes(Path(name).expanduser()))
            except DataError as error:
                self.path.fault = " ".join(str(fault) for fault in error.faults)


def heading(text: str) -> ipywidgets.HTML:
    """Return the heading of a panel, or of a part of one."""
    return ipywidgets.HTML(f"<h3>{html.escape(text)}</h3>")
