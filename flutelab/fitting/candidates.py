"""Everything that could be measured next on calibrated flutes, and on others like them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import product

import numpy as np

from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.candidate import Candidate, Reading, note_words
from flutelab.fitting.further_note import crossings
from flutelab.fitting.unknowns import tables_by_flute
from flutelab.model.flute import End, Window, bore_diameter
from flutelab.units import inches, millimetres

GOOD_THERMOMETER = 0.5  # K (estimate)
GOOD_CALIPER = 2e-5  # m (estimate)
LENGTHS = (0.55, 0.7, 0.85, 1.0)  # of plain pipes, in the flute's own
ALL_WORDS = 8  # holes up to which every fingering is tried
# What is said of stages of a flute that is being drilled, and of one that is made anew.
_THIS = {
    "whose": "", "first": "", "began": "", "pipe": "the pipe", "when": ", once drilled",
    "needs": "patience: read before you drill on",
}  # fmt: skip
_ANOTHER = {
    "whose": "another flute: ", "first": "make another flute of this kind and ",
    "began": "bare, then ", "pipe": "its pipe", "when": " while it is drilled",
    "needs": "another pipe of the same kind, with a window like this one, not drilled yet",
}  # fmt: skip
SAME_LENGTH, SAME_BORE = 0.03, 0.02  # shares within which plain pipes are one


def candidates_of(calibration: Calibration, *, new_day: bool = False) -> tuple[Candidate, ...]:
    """Return everything that could be measured next, of each flute that is calibrated.

    Parameters
    ----------
    calibration : Calibration
    new_day : bool
        Single readings on the flute are made in one new session; else in its last one, as
        if it still lay on the bench.

    Returns
    -------
    tuple of Candidate
        Of every fingering without half-covered holes (beyond 8 holes: of those with at most
        one closed row below open holes). Which of them speak is not asked here. Only what
        can still be done: a pipe that was read with a hole open or closed is drilled there,
        so that what is read before comes from another pipe; plain pipes of lengths that are
        read already are not cut again.
    """
    problem = calibration.problem
    found = list(_tools(problem))
    for together in tables_by_flute(problem.tables):
        fitted = [table for table in together if np.any(problem.tables[table].kept)]
        if fitted:
            found += _Bench(problem, fitted[-1], fitted, new_day).all()
    several = len({r.table for c in found for r in c.readings}) > 1
    return tuple(_of_whom(c, problem) if several and c.readings else c for c in found)


def _of_whom(candidate, problem):
    """A candidate that says which flute it is about."""
    flute = problem.tables[candidate.readings[0].table].measurements.flute.name
    return replace(
        candidate,
        name=f"{flute}: {candidate.name}",
        words=f"{candidate.words}; the flute is {flute!r}",
    )


def _tools(problem) -> Iterator[Candidate]:
    """Better instruments: tighter priors of what is known without notes."""
    parameters = problem.parameters
    air = [i for i, p in enumerate(parameters) if p.name == "air_offset" and p.is_correction]
    tightened = {i: GOOD_THERMOMETER for i in air if parameters[i].prior.sd > GOOD_THERMOMETER}
    if tightened:
        yield Candidate(
            name=f"the air in the bore to {GOOD_THERMOMETER:g} C",
            kind="thermometer",
            words=(
                f"measure the air in the bore, blown as then, good to {GOOD_THERMOMETER:g} C "
                f"({1.8 * GOOD_THERMOMETER:g} F), and mend the temperatures in the table"
            ),
            needs="a good thermometer, thin enough for the bore",
            tightened=tightened,
        )
    yield from _caliper(problem)


def _caliper(problem):
    tightened, flutes = {}, [part.measurements.flute for part in problem.tables]
    for i, p in enumerate(problem.parameters):
        good = GOOD_CALIPER
        if p.is_correction and p.name == "bore":
            good /= float(bore_diameter(flutes[p.table or 0].bore, 0.0))
        elif not p.quantities:
            continue
        if p.prior.sd > good:
            tightened[i] = good
    if tightened:
        stated = any(problem.parameters[i].quantities for i in tightened)
        what = "the bore and every size whose error is stated" if stated else "the bore"
        length = _length(GOOD_CALIPER, flutes[0].unit, fine=True)
        yield Candidate(
            name=f"{'all sizes' if stated else 'the bore'} to {length}",
            kind="caliper",
            words=f"measure {what}, good to {length}",
            needs="a good caliper or plug gauges, several places and directions",
            tightened=tightened,
        )


def _length(metres, unit, *, fine=False):
    if unit == "in":
        return f"{inches(metres):.{4 if fine else 2}f} in"
    return f"{millimetres(metres):.{2 if fine else 0}f} mm"


class _Bench:
    """One flute, its fitted notes, and what else could be read on it or on others like it."""

    def __init__(self, problem, table, tables, new_day):
        self.table = table
        self.part = problem.tables[table]
        self.measured = self.part.measurements
        self.flute = self.measured.flute
        self.count = len(self.flute.holes)
        last = int(np.flatnonzero(self.part.kept)[-1])
        self.drilled = np.any([_drilled(problem.tables[n]) for n in tables], axis=0)
        self.session = None if new_day else self.measured.session[last]
        self.plain = [pipe for part in problem.tables for pipe in _plain_pipes_of(part)]
        self.fitted = list(
            dict.fromkeys(note for n in tables for note in _fitted_notes(problem.tables[n]))
        )
        self.when = "on another day" if new_day else "in the same session"

    def all(self) -> Iterator[Candidate]:
        yield from self._repeats()
        yield from self._fingerings()
        yield from self._overblown()
        yield from self._driven()
        yield from self._stages()
        yield from self._second_flute()
        yield from self._plain_pipes()

    def _read(self, *notes, session=None, driven=False):
        """Readings of (word, register) on the flute itself."""
        return tuple(
            Reading(
                flute=self.flute, table=self.table, word=word, register=register,
                session=session, driven=driven,
            )
            for word, register in notes
        )  # fmt: skip

    def _repeats(self):
        own = [note for note in self.fitted if self._is_now(note[0])]
        for word, register, driven in own:
            name = note_words(word, register) + (", driven" if driven else "")
            yield Candidate(
                name=f"{name} again",
                kind="repeat",
                words=f"read {name} once more, {self.when}",
                readings=self._read((word, register), session=self.session, driven=driven),
            )
        blown = [(word, register) for word, register, driven in own if not driven]
        if blown:
            yield Candidate(
                name="every note again, on another day",
                kind="another day",
                words="read every note that you have once more, on another day",
                readings=self._read(*blown),
            )

    def _is_now(self, word):
        """Whether a fingering is of the flute as it is drilled now."""
        return [letter != "n" for letter in word] == self.drilled.tolist()

    def _firsts(self):
        """Words of the flute as it is that were blown in the first register."""
        return [w for w, register, driven in self.fitted
                if register == 1 and not driven and self._is_now(w)]  # fmt: skip

    def _fingerings(self):
        known = set(self._firsts())
        for word in self._words():
            if word in known:
                continue
            crossed = "ox" in word.replace("n", "")
            name = f"{note_words(word)}, cross-fingered" if crossed else note_words(word)
            yield Candidate(
                name=name,
                kind="cross-fingering" if crossed else "fingering",
                words=f"read {name}, {self.when}",
                readings=self._read((word, 1), session=self.session),
            )

    def _words(self):
        if self.count > ALL_WORDS:
            return [word for word in crossings(self.flute) if self._is_now(word)]
        letters = ["xo" if drilled else "n" for drilled in self.drilled]
        return ["".join(word) for word in product(*letters)]

    def _overblown(self):
        known = {word for word, register, driven in self.fitted if register == 2 and not driven}
        new = [word for word in self._firsts() if word not in known and "h" not in word]
        for word in new:
            yield Candidate(
                name=note_words(word, 2),
                kind="overblown",
                words=f"overblow {note_words(word)} into the second register, {self.when}",
                readings=self._read((word, 2), session=self.session),
            )
        if len(new) > 1:
            yield Candidate(
                name="every other fingering overblown",
                kind="overblown",
                words=f"overblow every fingering that overblows and has not been, {self.when}",
                readings=self._read(*((word, 2) for word in new), session=self.session),
            )

    def _driven(self):
        if not isinstance(self.flute.head, Window):
            return  # no jet
        known = {word for word, register, driven in self.fitted if driven and register == 1}
        new = [word for word in self._firsts() if word not in known and "h" not in word]
        needs = "a loudspeaker, or a tap on the open end: no breath; window as when played"
        for word in new:
            yield Candidate(
                name=f"{note_words(word)} driven, without breath",
                kind="driven",
                words=f"read {note_words(word)} without breath",
                needs=needs,
                readings=self._read((word, 1), driven=True),
            )
        if len(new) > 1:
            yield Candidate(
                name="every note driven, without breath",
                kind="driven",
                words="read every note of the first register without breath",
                needs=needs,
                readings=self._read(*((word, 1) for word in new), driven=True),
            )

    def _stages(self):
        """After each further hole, from the foot up; where all are drilled, of another flute."""
        if not self.count:
            return
        flute, words = self.flute, _stage_words(self.drilled)
        if another := bool(self.drilled.all()):
            flute = replace(self.flute, name=f"next after {self.flute.name}")
            words = ["n" * self.count, *_stage_words(np.zeros(self.count, bool))]
        say = _ANOTHER if another else _THIS
        for word in words:
            is_bare = not set(word) - {"n"}
            when = " before it is drilled" if is_bare else say["when"]
            yield Candidate(
                name=say["whose"] + note_words(word),
                kind="bare pipe" if is_bare else "stage",
                words=f"{say['first']}read {note_words(word)}{when}",
                needs=say["needs"],
                readings=(Reading(flute=flute, table=self.table, word=word),),
                here=False,
            )
        if len(words) > 1:
            yield Candidate(
                name=f"{say['whose']}{say['began']}after each hole",
                kind="stage",
                words=(
                    f"{say['first']}read {say['pipe']} {say['began']}after each hole that is "
                    "drilled, from the foot up, all drilled holes open"
                ),
                needs=say["needs"],
                readings=tuple(Reading(flute=flute, table=self.table, word=w) for w in words),
                here=False,
            )

    def _second_flute(self):
        words = [word for word in self._firsts() if "h" not in word]
        if not self.count or not words:
            return
        flute = replace(self.flute, name=f"second of {self.flute.name}")
        yield Candidate(
            name="a second flute from the same pipe",
            kind="second flute",
            words=(
                "make a second flute like this one from the same pipe, and read the notes of "
                "its first register"
            ),
            needs="a second flute; calibrate both together with own=('air_offset',)",
            readings=tuple(
                Reading(flute=flute, table=self.table, word=word, same_pipe=True)
                for word in words
            ),
            here=False,
        )  # fmt: skip

    def _plain_pipes(self):
        if len(self.flute.bore.stations) > 1:
            return  # reamed: no pipe of the same bore is plain
        lip = self.flute.foot.outer_diameter
        tapped = End(position=0.0, outer_diameter=lip)
        heads = [(tapped, "two open ends, tapped", "lengths of the same pipe, cut square")]
        # a pipe without a window is tapped like those before it, whatever its notes are called
        windowed = isinstance(self.flute.head, Window)
        if windowed:
            heads.append(
                (self.flute.head, "window as here", "pipes with a window and plug like this one")
            )
        for head, how, needs in heads:
            pipes = [self._pipe(head, lip, share, how) for share in LENGTHS]
            pipes = [pipe for pipe in pipes if not any(_same_pipe(pipe, p) for p in self.plain)]
            if not pipes:
                continue
            lengths = ", ".join(_length(p.foot.position, p.unit).split()[0] for p in pipes)
            several = "s" if len(pipes) > 1 else ""
            what = f"plain pipe{several} of {lengths} {self.flute.unit} ({how})"
            yield Candidate(
                name=f"{len(pipes)} plain pipe{several} ({how})",
                kind="plain pipes",
                words=f"read {what}",
                needs=f"{needs}; calibrate all together with own=('air_offset',)",
                readings=tuple(
                    Reading(
                        flute=pipe, table=self.table, word="", same_pipe=True,
                        driven=head is tapped and windowed,
                    )
                    for pipe in pipes
                ),
                here=False,
            )  # fmt: skip

    def _pipe(self, head, lip, share, how):
        length = round(share * self.flute.foot.position, 3)
        return replace(
            self.flute,
            name=f"plain pipe {_length(length, self.flute.unit)}, {how}",
            holes=(), targets=(), head=head,
            foot=End(position=length, outer_diameter=lip),
        )  # fmt: skip


def _drilled(part):
    """Which holes are drilled by the time of the last of a table's fitted rows."""
    return np.any(part.measurements.rows.drilled[part.kept], axis=0)


def _plain_pipes_of(part):
    """The pipe of a table, if one of its fitted rows is of it without any hole."""
    flute = part.measurements.flute
    if np.any(~np.any(part.measurements.rows.drilled[part.kept], axis=-1)):
        yield replace(flute, holes=(), targets=())


def _same_pipe(one, other):
    """Whether two plain pipes would tell the same."""
    bore = float(bore_diameter(one.bore, 0.0)), float(bore_diameter(other.bore, 0.0))
    return (
        isinstance(one.head, Window) == isinstance(other.head, Window)
        and np.isclose(one.foot.position, other.foot.position, rtol=SAME_LENGTH)
        and np.isclose(*bore, rtol=SAME_BORE)
    )


def _fitted_notes(part):
    """(word, register, driven) of a table's fitted rows."""
    driven = part.measurements.rows.driven
    for row in np.flatnonzero(part.kept):
        yield (
            part.measurements.rows.label[row],
            int(part.assigned.register[row]),
            driven is not None and bool(driven[row]),
        )


def _stage_words(drilled):
    """The words of a pipe after each further hole, all that are drilled open, from the foot up."""
    letters, words = ["o" if is_drilled else "n" for is_drilled in drilled], []
    for hole in reversed(np.flatnonzero(~drilled).tolist()):
        letters[hole] = "o"
        words.append("".join(letters))
    return words
