"""The read-me of an archive: how a calibration was made, as plain facts that a paper can use."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from importlib.metadata import version

import numpy as np

from flutelab.files.suspected import or_else_words
from flutelab.fitting.budget import freedom_of, index_of, reported_names
from flutelab.fitting.calibrate import WIDEN_FROM_CHI2, WIDEN_FROM_ROWS, Calibration
from flutelab.fitting.problem import HUBER_CORNER
from flutelab.fitting.resampling import Bootstrap
from flutelab.fitting.suspects import Suspect
from flutelab.fitting.unknowns import SESSION_SD
from flutelab.model.corrections import META, NAMES
from flutelab.model.flute import Window

_WIDTH = 96
_NOT_HERE = (
    "What to measure next is not in here: flutelab next works it out from the same flute files and "
    "note tables."
)
# The works that calculations rest on, by their key in docs/references.md.
REFERENCES = {
    "cramer-1993": "O. Cramer, J. Acoust. Soc. Am. 93, 2510-2516 (1993)",
    "davis-1992": "R. S. Davis, Metrologia 29, 67-70 (1992)",
    "picard-2008": "A. Picard, R. S. Davis, M. Gläser, K. Fujii, Metrologia 45, 149-155 (2008)",
    "keefe-1984": "D. H. Keefe, J. Acoust. Soc. Am. 75, 58-62 (1984)",
    "zwikker-1949": "C. Zwikker, C. W. Kosten, Sound Absorbing Materials, Elsevier (1949)",
    "tijdeman-1975": "H. Tijdeman, J. Sound Vib. 39, 1-33 (1975)",
    "levine-1948": "H. Levine, J. Schwinger, Phys. Rev. 73, 383-406 (1948)",
    "dalmont-2001": "J.-P. Dalmont, C. J. Nederveen, N. Joly, J. Sound Vib. 244, 505-534 (2001)",
    "lefebvre-2012": "A. Lefebvre, G. P. Scavone, J. Acoust. Soc. Am. 131, 3153-3163 (2012)",
    "lefebvre-2013": "A. Lefebvre, G. P. Scavone, J. Kergomard, Acta Acust. united Acust. 99, "
    "975-985 (2013)",
    "wittrick-1971": "W. H. Wittrick, F. W. Williams, Q. J. Mech. Appl. Math. 24, 263-284 (1971)",
    "huber-1964": "P. J. Huber, Ann. Math. Statist. 35, 73-101 (1964)",
    "jcgm-100-2008": "JCGM 100:2008, Guide to the expression of uncertainty in measurement",
}
_LINE = (
    "The air column of each flute was represented by a transmission line with visco-thermal wall "
    "losses [zwikker-1949, tijdeman-1975] in moist air [cramer-1993, davis-1992, picard-2008, "
    "keefe-1984]"
)
_FORMS = (
    "in closed forms fitted to finite elements of single parts and built on published ones "
    "[lefebvre-2012, dalmont-2001, levine-1948]; all openings were coupled through the air outside "
    "[lefebvre-2013]. A note is a complex eigenfrequency of the whole, its register counted "
    "exactly [wittrick-1971]."
)


def read_me(
    calibration: Calibration,
    odd: Sequence[Suspect],
    drawn: Bootstrap | None,
    command: str,
    contents: dict[str, str],
) -> str:
    """Return the read-me of an archive.

    Parameters
    ----------
    calibration : Calibration
    odd : sequence of Suspect
        What does not fit.
    drawn : Bootstrap or None
        By notes, if there is one.
    command : str
        The command that makes the archive again where it is unpacked.
    contents : dict of str to str
        What each file is, by its name.

    Returns
    -------
    str
    """
    listed = "\n".join(
        _filled(f"{name}: {words}", initial_indent="  ", subsequent_indent="      ")
        for name, words in contents.items()
    )
    about = method(calibration, odd, drawn)
    works = "\n".join(f"  [{key}] {work}" for key, work in REFERENCES.items() if f"{key}" in about)
    two = f"TWO STANDARD DEVIATIONS\n\n{_filled(_two_sds(calibration, drawn))}\n\n" if drawn else ""
    again = (
        f"Unpack the archive, install flutelab {version('flutelab')} with the libraries named in "
        "versions.json, and type in the unpacked folder",
        "or, in Python, flutelab.files.archive.rerun(archive, folder), which names every file that "
        "came out otherwise. The same inputs, options and versions give the same bytes: files "
        "stand in a fixed order and carry no time.",
    )
    return (
        f"Calibration of {_flutes(calibration)} by flutelab {version('flutelab')}\n\n"
        f"METHOD\n\n{_filled(about)}\n\n{two}"
        f"References (keys as in flutelab's docs/references.md)\n{works}\n\n"
        f"CONTENTS\n\n{listed}\n\n{_filled(_NOT_HERE)}\n\n"
        f"TO RUN IT AGAIN\n\n{_filled(again[0])}\n\n  {command}\n\n"
        f"{_filled(again[1])}\n"
    )


def _filled(text, **indent):
    """Lines that part no word, as a file's name may hold hyphens."""
    return textwrap.fill(text, _WIDTH, break_on_hyphens=False, break_long_words=False, **indent)


def method(calibration: Calibration, odd: Sequence[Suspect], drawn: Bootstrap | None) -> str:
    """Return one paragraph of plain facts: data, model, unknowns, priors, noise, software.

    Parameters as of `read_me`.
    """
    return " ".join(
        [
            _data(calibration),
            _model(calibration),
            _unknowns(calibration),
            _noise(calibration),
            _estimate(calibration),
            _named(calibration, odd),
            f"All was done by flutelab {version('flutelab')}; {_drawn(drawn)}.",
        ]
    )


def _all_flutes(calibration):
    return [part.measurements.flute for part in calibration.tables]


def _model(calibration):
    """The model in a paragraph, of the parts that these flutes have."""
    flutes = _all_flutes(calibration)
    ends = "open ends"
    if any(isinstance(flute.head, Window) for flute in flutes):
        ends += " and the window"
    holes = "finger holes were lumped T networks, " if any(f.holes for f in flutes) else ""
    return f"{_LINE}; {holes}{ends} had end corrections, {_FORMS}"


def _drawn(drawn):
    if drawn is None:
        return "nothing was drawn at random, the notes being too few for a bootstrap"
    return f"the seed of the bootstrap by notes is {drawn.seed}"


def _named(calibration, odd):
    """What was found not to fit; nothing is mended or dropped for it."""
    if not odd:
        return "No row, hole or mistake of the whole stood out beyond chance."
    named = "; ".join(or_else_words(calibration, suspect) for suspect in odd)
    return f"Named as not fitting, and neither mended nor dropped for that: {named}."


def _two_sds(calibration, drawn):
    """Why the fit's sd and the refits' differ."""
    widened = "as stated or assumed"
    if calibration.widened > 1:
        widened = f"as stated or assumed, widened {calibration.widened:.2f} times alike"
    unsure = 100 / np.sqrt(2 * (drawn.groups - 1))
    return (
        "corrections.csv gives the fit's standard deviation, bootstrap.csv beside it that of the "
        "refits; they answer two questions. The fit's takes every reading to scatter by its own "
        f"standard deviation, {widened}. The refits take no such thing: they show how the result "
        f"hangs on which of {drawn.groups} notes were there, each drawn or not with all its "
        "readings, weighed by their standard deviation as it is, never widened. So the refits' is "
        "the larger where single notes do not fit, and the smaller where notes scatter less than "
        "was assumed. In both the priors count: each refit has prior means of its own, drawn from "
        f"the priors. Of so few notes the refits' is itself known to some {unsure:.0f} %."
    )


def _flutes(calibration):
    return ", ".join(dict.fromkeys(flute.name for flute in _all_flutes(calibration)))


def _data(calibration):
    fates = [fate for part in calibration.tables for fate in part.fate]
    counts = {fate: fates.count(fate) for fate in ("fitted", "checked", "apart", "left out")}
    words = {
        "fitted": "were fitted",
        "checked": "were only predicted, as a check",
        "apart": "were kept apart for their breath",
        "left out": "were left out, each with its reason in residuals.csv",
    }
    told = [f"{count} {words[fate]}" for fate, count in counts.items() if count]
    fitted = np.concatenate(
        [m.frequency[t.kept] for t in calibration.problem.tables for m in [t.measurements]]
    )
    sessions = {
        (m.source, name) for part in calibration.tables for m in [part.measurements]
        for name in m.session
    }  # fmt: skip
    return (
        f"{_count(len(fates), 'reading')} in {_count(len(sessions), 'session')} on "
        f"{_flutes(calibration)} were taken from {_count(len(calibration.tables), 'note table')}: "
        f"{', '.join(told)} ({np.min(fitted):.0f} to {np.max(fitted):.0f} Hz{_blown(calibration)})."
    )


def _blown(calibration):
    """How the fitted notes were set going."""
    driven = [
        is_driven
        for t in calibration.problem.tables
        for is_driven in (
            np.zeros(int(np.sum(t.kept)), bool)
            if t.measurements.rows.driven is None
            else t.measurements.rows.driven[t.kept]
        )
    ]
    count = int(np.sum(driven))
    if not count:
        window = any(isinstance(flute.head, Window) for flute in _all_flutes(calibration))
        pull = ", so that the window's correction holds the jet's pull" if window else ""
        return f", all blown{pull}"
    return f", {count} of them driven without breath"


def _unknowns(calibration):
    """Which corrections were fitted, and what was assumed of each."""
    names = dict.fromkeys(p.name for p in calibration.parameters if p.is_correction)
    reported = [name for name in names if name in calibration.free]
    others = [name for name in names if name not in calibration.free]
    own = {p.name for p in calibration.parameters if p.is_correction and p.table is not None}
    told = [f"reported corrections were {_listed(reported) or 'none'}"]
    if others:
        told.append(f"fitted with them, widening their errors, were {_listed(others)}")
    if own:
        told.append(f"{_listed(sorted(own))} had a value for each flute or day")
    priors = "; ".join(_prior(calibration, name) for name in names)
    held = [name for name in NAMES if name not in names]
    return (
        f"Of the unknowns, {'; '.join(told)}. Priors were normal within the limits in "
        f"corrections.csv, mean and standard deviation: {priors}. Not fitted, at the usual value "
        f"or without a row that needs it: {_listed(held) or 'none'}."
    )


def _prior(calibration, name):
    """A prior in words; of several own ones the narrowest and the widest."""
    found = [p.prior for p in calibration.parameters if p.is_correction and p.name == name]
    sds = sorted({prior.sd for prior in found})
    spread = f"{sds[0]:.3g}" if len(sds) == 1 else f"{sds[0]:.3g} to {sds[-1]:.3g}"
    return f"{name} {found[0].mean:g} ± {spread} {META[name]['unit']}"


def _noise(calibration):
    sds = np.unique(np.round(calibration.problem.sd, 2))
    spread = f"{sds[0]:g}" if len(sds) == 1 else f"{sds[0]:g} to {sds[-1]:g}"
    told = [
        f"A reading had a standard deviation of {spread} cents, {_source(calibration)}, the "
        f"readings of a session shared an error of {SESSION_SD:g} cents of breath and tuner "
        "(common practice)"
    ]
    own = {p.prior.sd for p in calibration.parameters if p.note is not None}
    if own:
        told.append(f"the model erred by {max(own):g} cents of its own for each note")
    stated = [p.name for p in calibration.parameters if p.quantities]
    if stated:
        told.append(f"stated errors of the written geometry were unknowns too ({_listed(stated)})")
    return f"{'; '.join(told)}."


def _source(calibration):
    """Where the readings' sd comes from."""
    said = " ".join(" ".join(part.measurements.reading) for part in calibration.tables)
    kinds = {
        "too few repeated readings": "assumed where repeats were too few (common practice)",
        "repeated readings scatter": "from the scatter of repeats",
    }
    told = [words for key, words in kinds.items() if key in said] or ["as stated"]
    return f"{' or '.join(told)} (report.txt, Assumed)"


def _estimate(calibration):
    loss = "Least squares on notes and priors together"
    if calibration.problem.loss == "robust":
        loss += f", notes by Huber's loss with its corner at {HUBER_CORNER:g} sd [huber-1964],"
    widened = (
        f"the readings' errors were widened {calibration.widened:.2f} times"
        if calibration.widened > 1
        else "errors were not widened"
    )
    return (
        f"{loss} gave chi2 = {calibration.chi2:.1f} over {_count(calibration.rows, 'note row')}; "
        f"{widened} (done from {WIDEN_FROM_ROWS} rows on where chi2 exceeds {WIDEN_FROM_CHI2:g} a "
        "row). Standard deviations follow from the Jacobian at the optimum, limits of 68 and 95 % "
        f"from profiles of the cost, {_limits(calibration)}; the budget is laid out "
        "after [jcgm-100-2008]."
    )


def _limits(calibration):
    """How far the cost has risen at the limits, and by what degrees of freedom."""
    names = reported_names(calibration)
    freedom = freedom_of(calibration, [index_of(calibration, name) for name in names])
    few = [nu for nu in freedom if np.isfinite(nu)]
    if not few:
        return "where chi2 has risen by 1 and 3.84"
    low, high = round(min(few)), round(max(few))
    spread = f"{low}" if low == high else f"{low} to {high}"
    return (
        "where chi2 has risen by the square of Student's t, as the readings' standard deviation "
        f"is itself estimated from repeats ({spread} effective degrees of freedom)"
    )


def _count(number, what):
    return f"{number} {what}{'' if number == 1 else 's'}"


def _listed(names):
    return ", ".join(names)
