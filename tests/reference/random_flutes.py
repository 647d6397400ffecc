"""Random flutes and fingerings, reproducible from a generator."""

from dataclasses import replace

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


def shaped(rng, flute):
    """Return a flute with its bore tapered and its holes and window of all shapes."""
    length, bore = flute.foot.position, flute.bore.stations[0][1]
    count = int(rng.integers(1, 5))
    places = np.sort(rng.uniform(-0.05, 1.2 * length, count))
    stations = tuple(zip(places, bore * rng.uniform(1.0, 1.4, count), strict=True))
    foot, head = flute.foot, flute.head
    if foot.outer_diameter is not None:
        foot = replace(foot, outer_diameter=1.4 * foot.outer_diameter)
    if isinstance(head, Window):
        ramp = rng.choice([np.pi / 2, rng.uniform(0.4, 1.5)])
        head = replace(head, ramp=ramp, block=rng.choice([0.0, rng.uniform(0, 0.01)]))
    return replace(
        flute,
        bore=Bore(stations=stations),
        holes=tuple(_shaped_hole(rng, h) for h in flute.holes),
        head=head,
        foot=foot,
    )


def _shaped_hole(rng, h):
    size = 0.8 * h.diameter
    aspect = rng.choice([1.0, rng.uniform(0.75, 1.3)])
    edge = 0.2 * min(size, h.wall)
    return replace(
        h,
        diameter=size,
        aspect=aspect,
        inner_diameter=rng.choice([None, rng.uniform(0.8, 1.05) * size]),
        outer_rounding=rng.choice([0.0, edge]),
        inner_rounding=rng.choice([0.0, edge]),
        angle=rng.choice([0.0, 0.0, 0.05, np.pi]),
    )


def random_rows(rng, flute, count, *, left_out=0.0, air=None, letters="xo"):
    """Return rows of random fingerings; `left_out` is the share of holes not drilled."""
    words = [
        "".join(
            "n" if rng.random() < left_out else letters[rng.integers(0, len(letters))]
            for _ in flute.holes
        )
        for _ in range(count)
    ]
    air = moist_air(rng.uniform(288.0, 305.0)) if air is None else air
    return rows(flute, words, air=air)


def _spread_out(rng, low, high, count, gap):
    """`count` increasing places at least `gap` apart."""
    room = high - low - (count - 1) * gap
    return low + np.sort(rng.uniform(0, room, count)) + gap * np.arange(count)
