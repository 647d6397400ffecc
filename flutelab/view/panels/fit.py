"""The panel that fits a flute: files, note table, corrections, what is left and what it means."""

from __future__ import annotations

import asyncio
import time
import warnings
from dataclasses import dataclass, replace
from pathlib import Path

import ipywidgets

import flutelab
from flutelab.errors import FitWarning, ValidityWarning
from flutelab.files.fit_tables import ALONG, HELD, REPORTED, corrections_table, fit_words
from flutelab.files.sentences import sentences
from flutelab.files.typed import Sheet
from flutelab.fitting.calibrate import DEFAULT_FREE, Calibration, calibrate
from flutelab.fitting.suspects import Suspect, suspects_by_steps
from flutelab.model.corrections import NAMES
from flutelab.view.panels.fit_busy import Home, Steps, interruptible, telling
from flutelab.view.panels.fit_desk import Desk
from flutelab.view.panels.fit_more import More
from flutelab.view.panels.fit_pictures import PICTURES, Fitted, drawn, picture_words
from flutelab.view.panels.frame import Panel, View, still_of
from flutelab.view.panels.kit import Busy, Choice, Grid, Press, Words, fill

IDLE = 0.4  # seconds without a change before mistakes are looked for
SLOW = 1.5  # seconds a fit may take to follow every change
STAYS = "What is shown below is the last good result."
OLD = "Of the last good result (what is wrong now is told under the table):"
STOPPED = "Stopped."
UNFITTED = (
    "Not saved: what stands in the files and settings now is not what was fitted. Mend what is "
    "told above, or press Fit now."
)
FITTING = "Fitting"
LOOKING = "Looking for mistakes in notes and sizes"
UNSOUGHT = f"{STOPPED} Nobody looked for mistakes in notes and sizes; Fit now starts it again."
UNFOUND = "The search for mistakes in notes and sizes ended too early:"
_PARTS = [REPORTED, ALONG, HELD]
_PART = 1  # the column that tells a correction's part in the fit


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What a fit depends on."""

    flute: str
    sheet: Sheet
    free: tuple[str, ...]
    hold: tuple[str, ...]
    loss: str


class FitPanel(Panel):
    """`fit_panel`'s panel: the frame's, with a desk of files and parts that follow later.

    ``desk`` holds the files, ``corrections`` their table, ``opening`` the report's first
    sentences, ``more`` what is told on request and what can be saved.
    """

    def __init__(self, flute: str | Path, notes: str | Path, demo: str | Path) -> None:
        self._free, self._hold = DEFAULT_FREE, ()
        self._fitted: tuple[Settings, Fitted, list] | None = None
        self._asked, self._timer, self._filling, self._slow = True, None, False, False
        self.home, self.busy = Home(), Busy()
        self.search = Steps(self.busy, LOOKING, self.home)
        self.opening = Words(text=f"{LOOKING} ...")
        self.corrections = Grid(editable=True, choices={str(_PART): _PARTS})
        self.desk = Desk(flute, notes, demo, self.refresh)
        self.fit = Press(label="Fit now", do=self.ask_now)
        self.more = More(lambda: self.answer, self.home)
        row = ipywidgets.HBox([*self.more.saves(self.desk, self._fitted_now)])
        run = ipywidgets.HBox([self.fit, self.busy])
        for one in (row, run):
            one.add_class("flutelab-row")
        super().__init__(
            title="Fit your flute",
            controls={
                "picture": Choice(label="Picture", choices=PICTURES),
                "loss": Choice(
                    label="Rows that lie far off",
                    choices={"count like the others": "linear", "count less (robust)": "robust"},
                ),
                "follow": Choice(
                    label="Fit anew",
                    choices={"after every change": True, "when I press Fit now": False},
                ),
            },
            ask=self._answer,
            sentence=self._sentence,
            views=[View(draw=drawn, words=picture_words)],
            table=lambda one: flutelab.table(one.calibration),
            call=self._call_words,
            above=[
                self.opening,
                self.desk.above,
                self.desk.text,
                self.desk.grid,
                self.desk.tools,
                run,
            ],
            below=[self.corrections, *self.more.parts, row],
        )
        self.corrections.observe(lambda _: self._parted(), "rows")

    # --- the fit ---------------------------------------------------------------------------

    def ask_now(self) -> None:
        """Fit, whether or not fits follow every change."""
        self.home(self._ask_now)

    def _ask_now(self):
        self._asked = True
        self._follow()
        if self.answer is not None and self.answer.odd is None and not self.search.running:
            self._when_idle()  # it was stopped before

    def refresh(self) -> None:
        """Fit where something was changed, show it, and look for mistakes when at rest."""
        if not self._held:
            self.home(self._follow)

    def _follow(self):
        before, self.more.failed.text = self.answer, ""
        try:
            with interruptible():
                super().refresh()
        except KeyboardInterrupt:
            self.fault.text = STOPPED
        self._asked = False
        if self.fault.text and before is not None and self.answer is before:
            self.fault.text += f"\n{STAYS}"
        if self.answer is not None and not _same(before, self.answer):
            self._fill_corrections()
            self.opening.text = f"{LOOKING} ..."
            self.more.forget()
            self._when_idle()
        self._date_opening()
        if self._slow:  # from now on only when asked
            self._slow, self.controls["follow"].value = False, False

    def _date_opening(self):
        """Say over the first sentences when they are not of what stands there now."""
        said = self.opening.text.removeprefix(f"{OLD}\n")
        self.opening.text = f"{OLD}\n{said}" if self.fault.text else said

    def _settings(self, loss):
        return Settings(
            flute=self.desk.text.value, sheet=self.desk.sheet, free=self._free,
            hold=self._hold, loss=loss,
        )  # fmt: skip

    def _answer(self, picture, loss, follow):
        asked, measured = self._settings(loss), self.desk.read()
        stale = self._fitted is None or self._fitted[0] != asked
        if stale and (follow or self._asked or self._fitted is None):
            self._fitted = (asked, *self._fit(asked, measured))
            self.search.drop()
        _, fitted, heard = self._fitted
        for one in heard:
            warnings.warn(one.message, one.category, stacklevel=1)
        return replace(fitted, picture=picture)

    def _fit(self, asked, measured):
        begun = time.monotonic()
        with telling(self.busy, FITTING), warnings.catch_warnings(record=True) as heard:
            for kind in (ValidityWarning, FitWarning):
                warnings.simplefilter("always", kind)
            result = calibrate(measured, free=asked.free, hold=asked.hold, loss=asked.loss)
        self._slow = time.monotonic() - begun > SLOW
        return Fitted(calibration=result), heard

    def _sentence(self, fitted):
        said = fit_words(fitted.calibration)
        return said if self._is_fresh() else f"{said} Something was changed since: press Fit now."

    def _is_fresh(self):
        asked = self._settings(self.controls["loss"].value)
        return self._fitted is not None and self._fitted[0] == asked

    def _fitted_now(self) -> Calibration:
        """Return the fit of what stands there, to be saved."""
        if not self._is_fresh():
            raise ValueError(UNFITTED)
        return self._fitted[1].calibration

    def _call_words(self, picture, loss, follow):
        s = self._settings(loss)
        table = self.desk.saved_name
        edited = "" if s.sheet.raw else "  # save the edited table under this name first"
        return (
            "import flutelab\n\n"
            f"flute = flutelab.read_flute({self.desk.saved_flute_name!r})\n"
            f"measurements = flutelab.read_measurements({table!r}, flute){edited}\n"
            f"calibration = flutelab.calibrate(\n    measurements, free={s.free!r}, "
            f"hold={s.hold!r}, loss={loss!r}\n)\n"
            "print(flutelab.report(calibration))"
        )

    # --- what follows a fit ----------------------------------------------------------------

    def _fill_corrections(self):
        result = self.answer.calibration
        self._natural = {n for n, p in result.priors.items() if not p.sd and n not in result.held}
        lists = {f"{NAMES.index(name)},{_PART}": [HELD] for name in self._natural}
        self._filling = True
        with self.corrections.hold_sync():
            fill(self.corrections, corrections_table(result), "Corrections, one standard deviation")
            self.corrections.fixed = [n for n in range(len(self.corrections.columns)) if n != _PART]
            self.corrections.choices = {str(_PART): _PARTS, **lists}
        self._filling = False

    def _parted(self):
        """Take which corrections are to be reported, and which held."""
        if self._filling:
            return
        part = {row[0]: row[_PART] for row in self.corrections.rows}
        self._free = tuple(name for name in NAMES if part[name] == REPORTED)
        self._hold = tuple(n for n in NAMES if part[n] == HELD and n not in self._natural)
        self.refresh()

    def _when_idle(self):
        """Look for mistakes as soon as nothing was changed for a moment."""
        if self._timer is not None:
            self._timer.cancel()
        try:
            self._timer = asyncio.get_running_loop().call_later(IDLE, self.look_closer)
        except RuntimeError:  # no page waits for an answer meanwhile
            self.look_closer()

    def look_closer(self) -> None:
        """Look for mistakes, then say the report's first sentences and what was unfolded."""
        steps = suspects_by_steps(self._fitted[1].calibration)
        self.search.begin(steps, self._found, self._stopped, self._failed)

    def _found(self, odd: tuple[Suspect, ...]) -> None:
        asked, fitted, heard = self._fitted
        said, answer = sentences(fitted.calibration, odd), replace(self.answer, odd=odd)
        self._fitted, self.answer = (asked, replace(fitted, odd=odd), heard), answer
        self.opening.text = _listed(said)
        if odd:  # they are ringed
            self._show(answer, [view.draw(answer) for view in self.views])
        self._date_opening()
        self.more.tell()

    def _stopped(self) -> None:
        self.opening.text = UNSOUGHT

    def _failed(self, error: Exception) -> None:
        self.opening.text = f"{UNFOUND} {error}"

    def still(self) -> dict[str, bytes | str]:
        """Return the pictures as they stand, that of what to measure next among them."""
        shown = [one.png for one in (*self.pictures, self.more.picture) if one.png]
        return {"image/png": still_of(shown)} if shown else {}

    def reset(self) -> None:
        """All as it was opened."""
        self._free, self._hold = DEFAULT_FREE, ()
        self.desk.reset()
        super().reset()


def _listed(lines):
    return "\n".join(f"• {line}" for line in lines)


def _same(before, after):
    return before is not None and before.calibration is after.calibration


def fit_panel(
    flute: str | Path = "../data-demo/half-inch-six.toml",
    notes: str | Path | None = None,
    *,
    demo: str | Path = "../data-demo",
) -> FitPanel:
    """Return a panel that fits a flute file and a note table.

    Parameters
    ----------
    flute : str or Path
        Opened at first.
    notes : str or Path, optional
        The note table opened at first. Default: the flute file's name with ``.csv``.
    demo : str or Path
        Folder of flutes to choose from.

    Returns
    -------
    FitPanel
        It follows every change of files, cells and settings; mistakes are looked for when
        nothing was changed for a moment. Nothing is written but what the browser saves.
    """
    return FitPanel(flute, notes or Path(flute).with_suffix(".csv"), demo)
