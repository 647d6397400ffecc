"""Random flutes and fingerings, reproducible from a generator."""

import numpy as np

from flutelab import Bore, End, Flute, Hole, Window, moist_air, rows


def random_flute(rng, holes=None):
    """Return a flute of a size that people make: 12-21 mm bore, 4 to 8 holes."""
    bore, wall = rng.uniform(0.012, 0.021), rng.uniform(0.0015, 0.004)
    length = rng.uniform(0.25, 0.60)
    count = int(rng.integers(4, 9)) if holes is None else holes
    places = _spread_out(rng, 0.33 * length, 0.88 * length, count, 0.012)
    sizes = rng.uniform(0.0045, min(0.6 * bore, 0.011), count)
    along = rng.uniform(0.004, 0.007)
    return Flute(
        name="random",
        bore=Bore(stations=((0.0, bore),)),
        holes=tuple(
            Hole(position=x, diameter=d, wall=wall) for x, d in zip(places, sizes, strict=True)
        ),
        head=Window(
            along=along,
            across=rng.uniform(0.006, 0.7 * bore),
            wall=wall,
            plug_to_window=rng.choice([0.0, rng.uniform(0.0, 0.01)]),
        ),
        foot=End(position=length, kind="open", outer_diameter=bore + 2 * wall),
    )


def wild_flute(rng):
    """Return a valid flute of any kind: all ends, holes up to the bore and almost touching."""
    bore, wall = rng.uniform(0.006, 0.05), rng.uniform(0.0005, 0.008)
    length = rng.uniform(0.1, 1.0)
    count = int(rng.integers(0, 9))
    sizes = rng.uniform(0.1, 1.0, count) * min(bore, 0.9 * length / (count + 1))
    gaps = rng.dirichlet(np.full(count + 1, 0.7)) * (length - np.sum(sizes)) * 0.999
    places = np.cumsum(gaps[:count]) + np.cumsum(sizes) - sizes / 2
    kinds = ["window", "open", "flanged", "stopped", "node"]
    kind = kinds[rng.integers(0, 5)]
    head = End(position=0.0, kind=kind) if kind != "window" else Window(
        along=rng.uniform(0.001, 0.02),
        across=rng.uniform(0.1, 1.0) * bore,
        wall=wall,
        plug_to_window=rng.uniform(0.0, 0.05),
    )  # fmt: skip
    return Flute(
        name="wild",
        bore=Bore(stations=((0.0, bore),)),
        holes=tuple(
            Hole(position=x, diameter=d, wall=wall) for x, d in zip(places, sizes, strict=True)
        ),
        head=head,
        foot=End(
            position=length,
            kind=kinds[rng.integers(1, 5)],
            outer_diameter=bore + 2 * wall,
        ),
    )


def random_rows(rng, flute, count, *, left_out=0.0, air=None):
    """Return rows of random fingerings; `left_out` is the share of holes not drilled."""
    words = [
        "".join("n" if rng.random() < left_out else "xo"[rng.integers(0, 2)] for _ in flute.holes)
        for _ in range(count)
    ]
    air = moist_air(rng.uniform(288.0, 305.0)) if air is None else air
    return rows(flute, words, air=air)


def _spread_out(rng, low, high, count, gap):
    """`count` increasing places at least `gap` apart."""
    room = high - low - (count - 1) * gap
    return low + np.sort(rng.uniform(0, room, count)) + gap * np.arange(count)
