"""What the panel that fits a flute tells on request, and what it saves."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import ipywidgets

from flutelab.files.constants_file import constants_text
from flutelab.files.fit_tables import corrections_words, lengths_table
from flutelab.files.mismatch_words import mismatch_table, mismatch_words
from flutelab.files.next_words import plan_table, plan_words
from flutelab.files.report import report
from flutelab.files.suspected import or_else_words, others, suspect_words
from flutelab.files.tables import csv_text, table
from flutelab.files.to_mend import is_to_mend
from flutelab.files.told import told_words
from flutelab.files.typed import sheet_bytes
from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.identifiability import what_data_tell
from flutelab.fitting.mismatch import why_not_matching
from flutelab.fitting.next_measurement import next_measurement
from flutelab.fitting.problem import FitError
from flutelab.making.cautions import CAUTIONS
from flutelab.model.corrections import META
from flutelab.view.panels.fit_busy import Home, interruptible, telling
from flutelab.view.panels.fit_desk import Desk
from flutelab.view.panels.fit_pictures import Fitted, plan_drawn, plan_picture_words
from flutelab.view.panels.kit import Busy, Choice, Grid, Picture, Press, Save, Words, fill

WORKING = "Working it out ... (menu Kernel, Interrupt Kernel stops it)"
PLANNING = "Working out what to measure next"
STOPPED = "Stopped. Press again to have it worked out."
_OF_CAUSES = ("cause", "alone", "plausible")  # columns shown
_BEST = 8  # measurements shown


class More:
    """Lengths, and words behind titles that are worked out when they are unfolded.

    Parameters
    ----------
    answer : callable
        Returns the last good `Fitted`, or None.
    home : Home
        Works things out.

    Attributes
    ----------
    picture : Picture
        Of what to measure next.
    """

    def __init__(self, answer: Callable[[], Fitted | None], home: Home) -> None:
        self._answer, self._home = answer, home
        self.failed = Words(kind="alert")
        self.lengths = Grid()
        self.causes = Grid()
        self.folds = {
            Words(fold="What does not fit"): _odd,
            Words(fold="Why the notes are not where the book says, before any fit"): self._why,
            Words(fold="What each correction is"): lambda _: [corrections_words()],
            Words(fold="What the notes tell, and what they cannot"): _told,
            Words(fold="What was assumed"): _assumed,
            Words(fold="The whole report", kind="code"): _report,
        }
        for words in self.folds:
            words.observe(lambda one: self._home(lambda: self._unfolded(one["owner"])), "unfolded")
        self.wanted = Choice(
            label="To learn more about", choices={f"{n}: {META[n]['meaning']}": n for n in META}
        )
        self.ask = Press(label="What to measure next", do=self.ask_next)
        self.busy, self.next_words = Busy(), Words()
        self.picture, self.plan = Picture(), Grid()
        row = ipywidgets.HBox([self.wanted, self.ask])
        row.add_class("flutelab-row")
        row.add_class("flutelab-low")
        for wide in (self.causes, self.plan):
            wide.add_class("flutelab-wrap")
        odd, why, *others = self.folds
        self.parts = [
            self.lengths, odd, why, self.causes, *others, row, self.busy,
            self.next_words, self.picture, self.plan, self.failed,
        ]  # fmt: skip

    def forget(self) -> None:
        """Empty what was said of another fit."""
        for words in (*self.folds, self.next_words):
            words.text = ""
        for grid in (self.causes, self.plan):
            grid.columns, grid.rows = [], []
        self.picture.png = b""
        self.failed.text = ""
        fill(self.lengths, lengths_table(self._answer().calibration), "As lengths on this flute")

    def tell(self) -> None:
        """Say what is unfolded."""
        for words in self.folds:
            if words.unfolded:
                self._unfolded(words)

    def _unfolded(self, words):
        if not words.unfolded or words.text or self._answer() is None:
            return
        words.text = WORKING
        with _quiet(lambda said: setattr(words, "text", said)):
            words.text = "\n".join(self.folds[words](self._answer()))

    def _why(self, fitted):
        found = why_not_matching(fitted.calibration.tables[0].measurements)
        frame = mismatch_table(found).head(_BEST)
        shown = [n for n in frame if n in _OF_CAUSES or n.startswith(("usual_", "leaves_"))]
        fill(self.causes, frame[shown], "Likeliest causes")
        named = None if fitted.odd is None else is_to_mend(fitted.calibration, fitted.odd)
        return mismatch_words(found, named=named)

    def ask_next(self) -> None:
        """Work out what to measure next."""
        self._home(self._ask_next)

    def _ask_next(self):
        before, self.next_words.text = self.next_words.text, ""

        def failed(said):  # what is shown of the last answer stays
            self.next_words.text = f"{said}\n{before}".strip()

        with telling(self.busy, PLANNING), _quiet(failed):
            plan = next_measurement(self._answer().calibration, of=self.wanted.value)
            drawn, seen = plan_drawn(plan), plan_picture_words(plan)
            best = plan_table(plan).head(_BEST)
            shown = best[["what_to_do", "readings", "needs", "sd_now", "sd_left", "unit"]]
            with self.picture.hold_sync():
                self.picture.alt, self.picture.png = seen, drawn
            fill(self.plan, shown, f"Best next measurements, to know {plan.said}")
            self.next_words.text = "\n".join([*plan_words(plan), CAUTIONS["breath"]])

    def saves(self, desk: Desk, fitted: Callable[[], Calibration]) -> Sequence[Save]:
        """Return buttons that save files through the browser, which replaces none.

        ``fitted`` returns what was fitted to the files as they stand; its ValueError is told.
        """

        def named(ending, text):
            result = fitted()
            stem = Path(result.tables[0].measurements.source).stem
            return f"{stem}{ending}", text(result).encode()

        made = {
            "Save the note table (CSV)": lambda: (desk.saved_name, sheet_bytes(desk.sheet)),
            "Save the flute file (TOML)": lambda: (
                desk.saved_flute_name, desk.text.value.encode()
            ),
            "Save constants (JSON)": lambda: named(".constants.json", constants_text),
            "Save notes with residuals (CSV)": lambda: named(
                "-notes.csv", lambda result: csv_text(table(result))
            ),
        }  # fmt: skip

        def failed(words):
            self.failed.text = words

        self.saved = [Save(label=label, make=make, failed=failed) for label, make in made.items()]
        return self.saved


@contextmanager
def _quiet(say: Callable[[str], None]) -> Iterator[None]:
    """Work without warnings; say in words what went wrong, or that it was stopped."""
    try:
        with interruptible(), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except KeyboardInterrupt:
        say(STOPPED)
    except (ValueError, FitError) as error:
        say(str(error))


def _odd(fitted):
    if fitted.odd is None:
        return ["Not looked for yet."]
    if not fitted.odd:
        return ["Nothing: no row and no hole stands out from the others."]
    return [
        line
        for suspect in fitted.odd
        for line in (
            _sentence(suspect_words(fitted.calibration, suspect)),
            *(f"Or else {or_else_words(fitted.calibration, o)}." for o in others(suspect)),
        )
    ]


def _sentence(words):
    return f"{words[0].upper()}{words[1:]}."


def _told(fitted):
    return told_words(what_data_tell(fitted.calibration))


def _assumed(fitted):
    return fitted.calibration.tables[0].measurements.reading or ["Nothing."]


def _report(fitted):
    return [report(fitted.calibration, odd=fitted.odd)]
