"""A flute as Python: the library lines that make it."""

from __future__ import annotations

from dataclasses import MISSING, fields, is_dataclass

from flutelab.model.flute import Flute


def flute_call(flute: Flute | None) -> str:
    """Return the library lines that make a flute; of None, that it is not complete yet."""
    if flute is None:
        return "# not complete yet"
    imports = "from flutelab import Bore, End, Flute, Hole, Window"
    more = "from flutelab.model.flute import Target, Uncertainty"
    written = _written(flute)
    needed = [imports, *([more] if "Target(" in written or "Uncertainty(" in written else [])]
    return "\n".join([*needed, "", f"flute = {written}"])


def _written(record: object) -> str:
    """Return a record as Python, without what stands at its default."""
    if isinstance(record, tuple):
        inner = ", ".join(map(_written, record))
        return f"({inner},)" if len(record) == 1 else f"({inner})"
    if not is_dataclass(record):
        return repr(record)
    values = {f.name: getattr(record, f.name) for f in fields(record) if not _is_default(f, record)}
    inner = ", ".join(f"{name}={_written(value)}" for name, value in values.items())
    return f"{type(record).__name__}({inner})"


def _is_default(field, record) -> bool:
    value = getattr(record, field.name)
    if field.name in ("source", "fingerprint"):
        return True
    made = field.default_factory() if field.default_factory is not MISSING else field.default
    return value == made
