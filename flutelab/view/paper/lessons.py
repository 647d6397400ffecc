"""The four periods in words: what the class does, what it needs, what it may answer."""

from __future__ import annotations

from dataclasses import dataclass

LONG = 40  # minutes of a period
GROUPS = 7


@dataclass(frozen=True, kw_only=True)
class Step:
    """A step of a period: how long it takes, what is done, and cautions that stand at it."""

    minutes: int
    words: str
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Lesson:
    """One period.

    Parameters
    ----------
    name, question : str
    predict : str
        What every pupil writes down before anything is measured.
    steps : tuple of Step
        The teacher's, `LONG` minutes together.
    pupils : tuple of (words, cautions)
        The pupils' steps.
    material : tuple of str
        For seven groups.
    wrong : tuple of (answer, reply)
        Likely wrong answers.
    leave : str
        The exit question.
    answer : str
    drilled, data_only : str
        The routes without drilling, and without blowing or tools.
    material_cautions : tuple of str
        Cautions that stand at the material.
    own_words : str
        What is asked above the lines of a side that has no axes to draw on.
    predict_lines : int
        Lines to write the prediction on; 0 where a word is ringed, or axes or a table take it.

    Words may hold ``{warmer}``, ``{breath}`` and ``{drills}``: numbers computed or
    chosen elsewhere.
    """

    name: str
    question: str
    predict: str
    steps: tuple[Step, ...]
    pupils: tuple[tuple[str, tuple[str, ...]], ...]
    material: tuple[str, ...]
    wrong: tuple[tuple[str, str], ...]
    leave: str
    answer: str
    drilled: str
    data_only: str
    material_cautions: tuple[str, ...] = ()
    own_words: str = ""
    predict_lines: int = 0


_TUNER = "a tuner (telephone), a thermometer and a ruler for each group"

PIPES = Lesson(
    name="Period 1: open pipes",
    question="How long is the wave in an open pipe?",
    predict="A pipe open at both ends is cut to half its length. Its note will be ...",
    steps=(
        Step(
            minutes=5,
            words="Tap one pipe on the palm. Everybody writes the prediction; show of "
            "hands; nothing is said yet.",
        ),
        Step(
            minutes=5,
            words="Show the tuner: reading in Hz, the room quiet, one group sounds at a time.",
            cautions=("hearing",),
        ),
        Step(
            minutes=15,
            words="Each group measures the length and the room, taps its pipe three "
            "times, and writes three readings.",
        ),
        Step(
            minutes=10,
            words="Numbers of all groups on the board (or typed into the notebook "
            "pipe-length-and-pitch). Everybody draws c/2f less length against length.",
        ),
        Step(
            minutes=5,
            words="Nearly level: c/2f grows as the length does, half a wave. What is left over at "
            "length 0 sticks out of the ends. Exit question.",
        ),
    ),
    pupils=(
        ("Measure the length of your pipe to 1 mm and the temperature of the room.", ()),
        (
            "Tap one end on your palm and let go. Read the tuner in Hz. Do it three times.",
            ("hearing",),
        ),
        (
            "Take c from the table; work out c/2f, in mm, with your mean, and c/2f less the "
            "length.",
            (),
        ),
        (
            "Write down the other groups' numbers. Draw all points, and one line on to length 0.",
            (),
        ),
    ),
    material=(
        "7 plain pipes of one size, clean square ends, in seven lengths evenly spread from 180 to "
        "420 mm, one a group: those of the table below",
        _TUNER,
    ),
    wrong=(
        (
            "An open tube is a quarter of a wave.",
            "Then c/4f against length would have slope 1: try "
            "it on the same numbers; it has slope one half.",
        ),
        (
            "The wave ends exactly at the pipe's mouth.",
            "Then c/2f less length would be 0. It is not: the air outside moves along.",
        ),
        (
            "The graph shows air moving sideways.",
            "It shows how large the pressure or the flow is at each place along the pipe.",
        ),
        (
            "The intercept came out negative.",
            "No wave ends inside its pipe: look for a length in "
            "cm, an octave, a stopped pipe, a wrong temperature.",
        ),
    ),
    leave="Is the note of a pipe twice as long exactly an octave lower? Why?",
    answer="Not quite: it is a little less than an octave lower, as the end correction does not "
    "double with the pipe.",
    drilled="Nothing is drilled in this period.",
    data_only="Give out the column of the day's temperature as readings (they are computed, not "
    "measured: say so).",
    material_cautions=("pipe",),
    predict_lines=1,
)

WINDOW = Lesson(
    name="Period 2: the window",
    question="How much does the window lengthen the wave?",
    predict="The same pipe, with a window in place of an open end, will sound (ring one): higher "
    "/ lower / the same",
    steps=(
        Step(
            minutes=5,
            words="One plain pipe, one pipe with a window, same length: predict which "
            "sounds lower, then hear both.",
        ),
        Step(
            minutes=5,
            words="Hygiene and breath: who blows, how hard.",
            cautions=("mouth", "breath"),
        ),
        Step(
            minutes=15,
            words="Each group measures from the sounding edge to the foot, blows its "
            "pipe with usual breath, three readings.",
        ),
        Step(minutes=10, words="Draw c/2f less length against length again."),
        Step(
            minutes=5,
            words="New intercept less the foot's share of the old one: the window's "
            "correction. Exit question.",
        ),
    ),
    pupils=(
        ("Measure from the sounding edge to the foot, to 1 mm, and the room.", ()),
        (
            "Blow your pipe as you usually do, one long even note. Read the tuner. Three times.",
            ("mouth", "breath"),
        ),
        (
            "Work out c/2f and c/2f less length. Blown air is {warmer} warmer than the room: take "
            "that c.",
            (),
        ),
        (
            "Draw points and line. Window = value at length 0 less half that of period 1 (the "
            "foot's).",
            (),
        ),
    ),
    material=(
        "7 pipes with the same window head, in the lengths of the table below from sounding edge "
        "to foot",
        "a mouthpiece for each pupil who blows, soap, disinfectant, paper towels",
        _TUNER,
    ),
    wrong=(
        (
            "A window is just another open end.",
            "Compare the intercepts: a window is a small hole "
            "in the wall, and the narrower it is the longer the pipe seems.",
        ),
        (
            "Louder is the same note.",
            "Blow soft, then hard, and read the tuner: harder breath "
            "raises it. So a breath word stands beside each reading.",
        ),
        (
            "A wider bore slows sound.",
            "c depends on the air alone; a wider bore has longer end corrections.",
        ),
    ),
    leave="Which of the two ends, window or foot, adds more to the pipe's length? About how many "
    "times as much?",
    answer="The window: several times the foot's share. The class's own two intercepts give the "
    "number.",
    drilled="The pipes come with finished windows and nothing is cut in class. Whoever cuts one "
    "beforehand heeds the cautions for dust and knives of period 4.",
    data_only="Pupils with asthma or a cold read the tuner or work with the day's column above "
    "(computed, not measured).",
)

HOLE = Lesson(
    name="Period 3: one hole",
    question="What does the size of a hole do to the note?",
    predict="Sketch on the empty axes: the note against the hole's diameter, from no hole at all "
    "to a hole as wide as the bore",
    steps=(
        Step(
            minutes=8,
            words="Sketch first. Then ask for the two ends of the curve: no hole; a "
            "hole as wide as the bore (the pipe nearly cut there).",
        ),
        Step(
            minutes=7,
            words="Show how holes are drilled, or hand out drilled pipes. Pupils do "
            "not drill unless local rules and the instructor allow it.",
            cautions=("drill", "pvc-heat", "pvc-dust"),
        ),
        Step(
            minutes=13,
            words="Each group reads its pipe with the hole taped and open, three "
            "times each, with usual breath.",
            cautions=("mouth", "breath"),
        ),
        Step(
            minutes=8,
            words="All sizes on one graph, in cents above the taped pipe. Compare with "
            "the sketches and with the notebook hole-size-and-pitch.",
        ),
        Step(minutes=4, words="Why steep at first and flat at the end? Exit question."),
    ),
    pupils=(
        ("Write the diameter of your hole. Tape it over: the tape lies flat and tight.", ()),
        ("Blow with usual breath, three readings with tape, three without.", ("mouth", "breath")),
        ("Cents up = 1200 × log2(open / taped), or read both on the tuner and subtract.", ()),
        ("Collect the other groups' sizes. Draw them beside your sketch.", ()),
    ),
    material=(
        "7 pipes alike with a window and one hole each: {drills} mm, all at the same place",
        "tape that comes off clean; mouthpieces, soap, disinfectant",
        _TUNER,
    ),
    wrong=(
        (
            "The pitch depends only on the distance to the hole's centre.",
            "All holes sit at the same place; their notes do not agree.",
        ),
        (
            "Twice the diameter, twice the rise.",
            "The curve flattens: the limit is the pipe cut at the hole.",
        ),
        (
            "The theory is wrong, because it is 10 cents off.",
            "Soft and hard breath alone are "
            "{breath} apart: a difference inside that band says nothing.",
        ),
    ),
    leave="A hole is 10 cents too low. File it wider, or drill a new one nearer the foot? And "
    "what if it is too high?",
    answer="File it wider, wherever the file cuts: the note rises. A new hole nearer the foot is "
    "the wrong choice: it would sound lower still. Too high: only filling the hole (or a new pipe) "
    "lowers it.",
    drilled="Drilled pipes and tape: one hole each, as listed. The whole lesson runs so.",
    data_only="The day's column above stands for the readings (computed, not measured).",
)

FLUTE = Lesson(
    name="Period 4: a flute",
    question="How well do we foretell a whole flute?",
    predict="Write the note that you expect from each fingering into the table below",
    steps=(
        Step(
            minutes=6,
            words="Foretell with the class's own corrections of periods 1 to 3, or take the "
            "table below.",
        ),
        Step(
            minutes=6,
            words="Drill under size from the foot up (instructor), or hand out the "
            "drilled flute and tape.",
            cautions=("drill", "pvc-dust", "pvc-heat"),
        ),
        Step(
            minutes=12,
            words="Blow every fingering, three readings, usual breath, room temperature.",
            cautions=("mouth", "breath"),
        ),
        Step(
            minutes=10,
            words="Differences in cents. File one hole that is low, a little at a "
            "time, by hand; read again.",
            cautions=("knife", "pvc-dust"),
        ),
        Step(
            minutes=6,
            words="Fit again with all readings; report what is left over, with breath "
            "and temperature. Exit question.",
        ),
    ),
    pupils=(
        ("Fill in the predictions for your fingerings, in Hz or as note and cents.", ()),
        ("Blow each fingering three times with usual breath. Write the mean.", ("mouth", "breath")),
        (
            "Difference = played less foretold, in cents. Ring those beyond the breath band, "
            "{breath}.",
            (),
        ),
        (
            "Only with the instructor: file one low hole wider, a little at a time; read again.",
            ("pvc-dust",),
        ),
    ),
    material=(
        "7 flutes alike, or one for the front and tape; round files, V-block and clamp",
        "mouthpieces, soap, disinfectant, eye protection for all when anything is cut",
        _TUNER,
    ),
    wrong=(
        (
            "File the foot side of the hole to flatten the note.",
            "Enlarging an open hole raises its "
            "note wherever the file cuts; on the foot side it raises it least.",
        ),
        (
            "All notes are off by 8 cents, so the model is wrong.",
            "One shift of all is breath or temperature.",
        ),
        (
            "With a better calculator we would be right to 1 cent.",
            "Repeat one note three times: the readings are not that close.",
        ),
    ),
    leave="Name two things, other than the holes, that moved your notes today, and how you would "
    "tell them apart.",
    answer="Breath and temperature: both move all notes alike; repeat with a gauge or the same "
    "player, and with a thermometer in the bore.",
    drilled="Drilled flutes and tape over single holes: predict, play, compare; nothing is filed.",
    data_only="The day's column above stands for readings, each with its scatter from a die: three "
    "times what it shows less 3.5, in cents. Say that they are computed.",
    own_words="Which notes lie beyond the breath band? What would you look at first, and why?",
)

LESSONS = (PIPES, WINDOW, HOLE, FLUTE)
