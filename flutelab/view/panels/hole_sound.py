"""Hear it: two notes of the lesson's pipe, one by one, in turn and together."""

from __future__ import annotations

from collections.abc import Callable

from flutelab.files.hole_call import sound_call
from flutelab.files.hole_lesson import HoleNote, moved_words
from flutelab.making.cautions import CAUTIONS
from flutelab.pitch import cents
from flutelab.view.panels.curtain import HIDDEN, Curtain
from flutelab.view.panels.frame import Panel
from flutelab.view.panels.kit import Choice, Sound, Words
from flutelab.view.sound import HIGHEST, LOWEST, one, one_then_other, together

NOTES = {
    "the pipe at the start": "start",
    "the pipe as set, full model": "full",
    "the pipe as set, rule of thumb": "length",
    "the pipe as set, no end corrections": "plain",
}
NAMES = ("Before", "After", "Before, then after", "Both together: beats")
_SLOW = 15.0  # beats a second that can still be counted or felt (common practice, no source)


def sound_panel(curtain: Curtain, looked: Callable[[], HoleNote | None]) -> Panel:
    """Return the panel of sounds; it has none while the curtain is closed.

    Parameters
    ----------
    curtain : Curtain
    looked : callable
        Returns the note that is looked at.
    """
    sound = Sound()

    def ask(before, after):
        note = looked() if curtain.is_open else None
        if note is None:
            return None
        notes = note.frequency | {"start": note.start["full"]}
        return notes[before], notes[after]

    def call(**chosen):
        note = looked() if curtain.is_open else None
        return f"# {HIDDEN}" if note is None else sound_call(note, **chosen)

    def play(both):
        silent = both is None or _unheard(both) != ""
        with sound.hold_sync():
            sound.names = [] if silent else list(NAMES)
            sound.sounds = [] if silent else _sounds(*both)

    return Panel(
        title="3. Hear it",
        controls={
            "before": Choice(label="Before", choices=NOTES),
            "after": Choice(label="After", choices=NOTES, value="full"),
        },
        ask=ask,
        sentence=_sentence,
        call=call,
        above=[Words(text=CAUTIONS["hearing"])],
        below=[sound],
        then=play,
    )


def _sounds(before, after):
    return [one(before), one(after), one_then_other(before, after), together([before, after])]


def _unheard(both):
    """Words where a note cannot be played, else ""."""
    for note in both:
        if not LOWEST <= note <= HIGHEST:
            end = "low" if note < LOWEST else "high"
            return f"{note:.1f} Hz is too {end} to be heard well from a laptop's loudspeaker"
    return ""


def _sentence(both):
    if both is None:
        return f"{HIDDEN}: nothing to hear yet."
    before, after = both
    beats = abs(after - before)
    told = f"{before:.1f} Hz, then {after:.1f} Hz: {moved_words(float(cents(after, before)))}"
    unheard = _unheard(both)
    if unheard:
        return f"{told}. {unheard}: no sound."
    if beats > _SLOW:
        return f"{told}; together {beats:.0f} beats a second, too fast to count: roughness."
    return f"{told}; together {beats:.1f} beats a second."
