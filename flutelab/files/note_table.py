"""The note table: measured notes as a CSV file, read and written."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from flutelab.errors import DataError, Fault
from flutelab.files import safely
from flutelab.files.csv_text import decode, delimiter_of, marked, place_of, read_records, read_rows
from flutelab.files.note_columns import header_faults, hole_columns, not_a_table
from flutelab.files.note_row import ASSUMED_A4, NoteRow, read_row
from flutelab.fitting.measurements import Measurements, reading_sd
from flutelab.model.flute import Flute, Window
from flutelab.model.notes import predict_notes
from flutelab.model.rows import Rows, half_covered
from flutelab.model.rows import rows as make_rows
from flutelab.physics.air import moist_air
from flutelab.physics.breath import BREATH_WORDS, AirAlong, single_air
from flutelab.pitch import cents, nearest_note
from flutelab.units import millimetres, to_celsius

_OCTAVE_REACH = 400.0  # cents; a note without octave lies this near to its prediction
_PLACES = 9  # decimals written; converting there and back then gives the same text


def _predicted(flute: Flute, rows: Rows) -> np.ndarray:
    return predict_notes(flute, rows).frequency


def read_measurements(
    path: str | Path,
    flute: Flute,
    *,
    default_humidity: float = 0.5,
    predict: Callable[[Flute, Rows], np.ndarray] = _predicted,
) -> Measurements:
    """Read a note table.

    Parameters
    ----------
    path : str or Path
        CSV in UTF-8; commas, semicolons or tabs; decimal points or commas. One note a
        row, the names of the columns in the first line.
    flute : Flute
        The flute that was measured.
    default_humidity : float
        Relative humidity of rows that state none, 0 to 1.
    predict : callable
        ``predict(flute, rows)`` gives the frequencies (N,) [Hz], nan where there is none,
        by which notes written without an octave find theirs.

    Returns
    -------
    Measurements
        `reading` says all that was inferred.

    Raises
    ------
    DataError
        With every fault of the table: its place, the cell as typed, and the mend.
    ValueError
        A `default_humidity` outside 0..1.

    Notes
    -----
    Columns: `fingering`; `frequency_hz`, or `note` and `cents`; `a4_hz` (440), `register`, a
    temperature in every row (`room_temperature_c` or `_f`, from which the bore's air follows
    as an `AirAlong`, or `bore_temperature_c` or `_f`), `humidity_percent` (of the room, or of
    the bore's air where that was measured), `how` (blown, or driven: by a loudspeaker or a
    tap, the bore then as warm as the room), `breath` (soft, usual, hard), `breath_pa` or
    `breath_mm_water`, `sd_cents`, `session`, `use` (fit, check, no), `remark`, and
    ``hole_1_diameter_mm``, ``hole_1_diameter_in`` or ``hole_1_drill`` and so on, hole 1 nearest
    the window.
    """
    if not 0 <= default_humidity <= 1:
        msg = f"default_humidity is {default_humidity}; allowed is 0 to 1 (50 % is 0.5)"
        raise ValueError(msg)
    source = str(path)
    raw = safely.read_bytes(path)
    notes, faults = _read_notes(decode(raw, source), source, flute)
    frequency, octaves, octave_faults = _with_octaves(notes, flute, default_humidity, predict)
    if faults or octave_faults:
        raise DataError(source, sorted([*faults, *octave_faults], key=_row_number))
    return _measurements(
        notes,
        flute,
        frequency,
        default_humidity,
        octaves,
        source=Path(path).name,
        fingerprint=hashlib.sha256(raw).hexdigest(),
    )


def _read_notes(text: str, source: str, flute: Flute) -> tuple[list[NoteRow], list[Fault]]:
    """Return the rows that are sound and the faults of the others."""
    records = read_records(text, source)
    if not records:
        mend = "Write the names of the columns in the first line and one note in each line below"
        raise DataError(source, [Fault(place="file", problem="it is empty", mend=mend)])
    header = records[0]
    if faults := not_a_table(records, len(flute.holes)):
        raise DataError(source, faults)
    faults = header_faults(header, len(flute.holes))
    if len(records) == 1:
        mend = "Write one note in each line below the header"
        faults.append(Fault(place="file", problem="there are no rows with notes", mend=mend))
    rows, shape_faults = read_rows(records, delimiter_of(text))
    read = [read_row(row, flute) for row in rows]
    row_faults = [*shape_faults, *(fault for _, found in read for fault in found)]
    if faults:
        raise DataError(source, [*faults, *sorted(row_faults, key=_row_number)])
    return [note for note, _ in read if note is not None], row_faults


def _row_number(fault: Fault) -> int:
    return int(fault.place.split()[1])


def _rows_of(notes: Sequence[NoteRow], flute: Flute, humidity: np.ndarray) -> Rows:
    sizes = [
        [
            hole.diameter if size is None else size
            for hole, size in zip(flute.holes, note.diameter, strict=True)
        ]
        for note in notes
    ]
    changed = any(size is not None for note in notes for size in note.diameter)
    pressure = _numbers(note.pressure for note in notes)
    driven = np.array([note.how == "driven" for note in notes])
    return make_rows(
        flute,
        [note.word for note in notes],
        air=_air(notes, humidity),
        register=[note.register for note in notes],
        breath=None if np.all(np.isnan(pressure)) else pressure,
        driven=driven if np.any(driven) else None,
        diameter=np.array(sizes) if changed else None,
    )


def _air(notes, humidity):
    """One air a row where the bore's was measured or no breath blew; else breath at the window."""
    inferred = np.array([n.bore is None for n in notes])
    temperature = np.array([n.room if n.bore is None else n.bore for n in notes])
    if not np.any(inferred):
        return moist_air(temperature, humidity=humidity)
    breathed = inferred & np.array([n.how == "blown" for n in notes])
    share = np.where(breathed, AirAlong.share, 0.0)
    return AirAlong(room_temperature=temperature, humidity=humidity, share=share)


def _numbers(values) -> np.ndarray:
    return np.array([np.nan if value is None else value for value in values], dtype=float)


def _humidity(notes: Sequence[NoteRow], default: float) -> np.ndarray:
    return np.array([default if n.humidity is None else n.humidity for n in notes])


def _with_octaves(notes, flute, default_humidity, predict):
    """Return the frequencies (N,) in their octaves, what to say of them, and the faults."""
    frequency = _numbers(note.frequency for note in notes)
    open_ones = [index for index, note in enumerate(notes) if not note.octave_known]
    if not open_ones:
        return frequency, [], []
    some = [replace(notes[i], register=notes[i].register or 1) for i in open_ones]
    predicted = predict(flute, _rows_of(some, flute, _humidity(some, default_humidity)))
    faults, said = [], []
    for index, note, near in zip(open_ones, some, predicted, strict=True):
        octave = np.round(cents(near, note.frequency) / 1200)
        found = note.frequency * 2.0**octave
        if abs(cents(found, near)) <= _OCTAVE_REACH:
            frequency[index] = found
            said.append(_octave_words(note, found, near))
        else:
            faults.append(_octave_fault(note, found, near))
    return frequency, said, faults


def _octave_words(note: NoteRow, found: float, near: float) -> str:
    name, _ = nearest_note(found, note.a4 or ASSUMED_A4)
    return (
        f"row {note.row.number}: {note.row.cells['note']} without octave, read as "
        f"{found:.1f} Hz (near {name}); register {note.register} is predicted at {near:.1f} Hz"
    )


def _octave_fault(note: NoteRow, found: float, near: float) -> Fault:
    if np.isfinite(near):
        off = abs(cents(found, near))
        problem = (
            f"its octave cannot be told: the nearest lies {off:.0f} cents from the "
            f"{near:.1f} Hz predicted for register {note.register}"
        )
    else:
        problem = f"its octave cannot be told: register {note.register} is not predicted to sound"
    return Fault(
        place=place_of(note.row, "note"),
        typed=note.row.cells["note"],
        problem=problem,
        mend="Write the octave, as in A4 (440 Hz); check note and fingering",
    )


def _measurements(notes, flute, frequency, default_humidity, said, *, source, fingerprint):
    humidity = _humidity(notes, default_humidity)
    rows = _rows_of(notes, flute, humidity)
    session = tuple(note.session for note in notes)
    sd, freedom, scatter = reading_sd(
        # The air's changes are no scatter of the readings.
        1200 * np.log2(frequency / single_air(rows.air).sound_speed),
        group=[_repeat_key(note) for note in notes],
        session=session,
        register=rows.register,
        step=np.array([note.step for note in notes]),
        stated=_numbers(note.sd for note in notes),
        half=half_covered(rows),
    )
    return Measurements(
        flute=flute,
        rows=rows,
        frequency=frequency,
        sd=sd,
        freedom=freedom,
        use=tuple(note.use for note in notes),
        session=session,
        remark=tuple(note.remark for note in notes),
        apart=tuple("" if n.breath == "usual" else f"blown {n.breath}" for n in notes),
        place=tuple(f"row {note.row.number}" for note in notes),
        from_room=np.array([note.bore is None for note in notes]),
        humidity=humidity,
        reading=(*_assumed(notes, default_humidity, flute), *said, *scatter),
        source=source,
        fingerprint=fingerprint,
    )


def _repeat_key(note: NoteRow):
    if note.use == "no":  # set aside by the user
        return None
    return note.session, note.word, note.register, note.diameter, note.how, note.breath


def _assumed(notes: Sequence[NoteRow], default_humidity: float, flute: Flute):
    """Yield a sentence for each thing that rows left out."""
    room = [n for n in notes if n.bore is None and n.how == "blown"]
    still = [n for n in notes if n.bore is None and n.how == "driven"]
    both = [n for n in notes if n.bore is not None and n.room is not None]
    spoken = [n for n in notes if n.breath != "usual" and n.pressure is not None]
    dry = [n for n in notes if n.humidity is None]
    a4 = [n for n in notes if n.row.cells.get("note") and n.a4 is None]
    head = "window" if isinstance(flute.head, Window) else "head"
    if room:
        yield (
            f"{_which(room, notes)}: the bore's air follows from the room's: at the {head} "
            f"{BREATH_WORDS}, evenly less of it towards the foot (common practice, no source)"
        )
    if still:
        yield f"{_which(still, notes)}: driven without breath, so the bore is as warm as the room"
    if both:
        yield f"{_which(both, notes)}: bore and room temperature are given; the bore's is used"
    if dry:
        yield f"{_which(dry, notes)}: humidity of {100 * default_humidity:g} % is assumed"
    if spoken:
        yield (
            f"{_which(spoken, notes)}: breath is given in a word and as a pressure; the pressure "
            "is used where breath is fitted (--free breath), else the word keeps the row apart"
        )
    if a4:
        yield f"{_which(a4, notes)}: A4 = {ASSUMED_A4:g} Hz is assumed"


def _which(some: Sequence[NoteRow], notes: Sequence[NoteRow]) -> str:
    if len(some) == len(notes):
        return "every row"
    numbers = ", ".join(str(note.row.number) for note in some)
    return f"row {numbers}" if len(some) == 1 else f"rows {numbers}"


def write_measurements(
    measurements: Measurements, path: str | Path, *, overwrite: bool = False
) -> None:
    """Write a note table that `read_measurements` reads back.

    Parameters
    ----------
    measurements : Measurements
    path : str or Path
    overwrite : bool
        Replace a file that is there.

    Raises
    ------
    DataError
        The path is taken, or cannot be written.
    """
    columns = _columns(measurements)
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\n")
    table.writerow(columns)
    table.writerows(map(marked, cells) for cells in zip(*columns.values(), strict=True))
    safely.write_text(path, stream.getvalue(), overwrite=overwrite)


def _columns(m: Measurements) -> dict[str, list[str]]:
    """Return the cells of every column that has to be written."""
    count = len(m.rows)
    air, inferred = m.rows.air, m.from_room
    kelvin = air.room_temperature if isinstance(air, AirAlong) else air.temperature
    written = [_rounded(to_celsius(t)) for t in np.broadcast_to(kelvin, count)]
    breath = np.full(count, np.nan) if m.rows.breath is None else m.rows.breath
    driven = np.zeros(count, bool) if m.rows.driven is None else m.rows.driven
    humidity = np.full(count, np.nan) if m.humidity is None else m.humidity
    columns = {
        "fingering": list(m.rows.label),
        "frequency_hz": [repr(float(f)) for f in m.frequency],
        "register": [str(r) if r else "" for r in m.rows.register],
        "bore_temperature_c": ["" if r else t for r, t in zip(inferred, written, strict=True)],
        "room_temperature_c": [t if r else "" for r, t in zip(inferred, written, strict=True)],
        "humidity_percent": [_rounded(100 * h) for h in humidity],
        "how": ["driven" if without else "" for without in driven],
        "breath": [why.removeprefix("blown ") for why in m.apart],
        "breath_pa": ["" if np.isnan(p) else repr(float(p)) for p in breath],
        "sd_cents": [repr(float(sd)) for sd in m.sd],
        "session": list(m.session),
        "use": list(m.use),
        "remark": list(m.remark),
    }
    return columns | _hole_columns(m)


def _rounded(value: float) -> str:
    return "" if np.isnan(value) else repr(round(float(value), _PLACES))


def _hole_columns(m: Measurements) -> dict[str, list[str]]:
    if m.rows.diameter is None:
        return {}
    columns = {}
    for index, hole in enumerate(m.flute.holes):
        sizes = m.rows.diameter[:, index]
        if np.any(sizes != hole.diameter):
            columns[hole_columns(index + 1)[0]] = [
                "" if size == hole.diameter else _rounded(millimetres(size)) for size in sizes
            ]
    return columns
