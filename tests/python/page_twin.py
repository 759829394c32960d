"""A record with the attributes of a judgement, for tests of the page alone.

Its values are invented or come from the library, whichever is shorter; none of them is a claim.
"""

from dataclasses import dataclass, field, replace
from typing import Any

import catoptric as ct
from samples import newtonian, readings

CAUTIONS = [
    "Never point a large mirror where the Sun can reach it, and never leave one uncovered.",
    "Laser collimators: the lowest class only, and never toward an eye.",
    "Heavy glass: two people lift it. A tipped mirror hurts.",
    "Stripping a coating uses chemicals that burn and that etch some glass: leave it to a shop.",
    "Ladders in the dark: firm ground, and somebody at the foot.",
]


@dataclass
class Number:
    name: str
    unit: str
    value: float
    low: float
    high: float
    meaning: str


@dataclass
class Gain:
    name: str
    unit: str
    before: float
    before_interval: tuple[float, float]
    after: float
    after_interval: tuple[float, float]
    median_gain: float
    gain_interval: tuple[float, float]
    gain_per_price: float | None
    proven: bool
    basis: str = "drawn"


@dataclass
class Row:
    name: str
    price: float
    gains: list[Gain]
    words: str = ""
    dominated_by: list[str] = field(default_factory=list)
    no_proven_gain: bool = False
    upper_bound: bool = False
    tied_with: list[str] = field(default_factory=list)
    train_after: Any = None
    works: list[Any] = field(default_factory=list)


@dataclass
class Ladder:
    rows: list[Row]
    order_rule: str = "Rows stand by what they gain in contrast for each unit of price."
    no_gain_rule: str = "A gain is proven where its interval of 95 % lies above 0."
    field_rule: str = "The usable field ends where the light has fallen by a quarter."
    left_out: list[str] = field(default_factory=lambda: ["two masks: only the smaller one counts"])
    details_arcsec: list[float] = field(default_factory=lambda: [1.0])
    currency: str = ""


@dataclass
class Judgement:
    verdict: str
    numbers: list[Number]
    ladder: Ladder | None
    train: Any
    train_now: Any
    evidence: Any
    figure_words: str = "the figure of the plain reduction"
    wavelength_nm: float = 550.0
    focus: str = "peak"
    obstruction_ratio: float = 0.22
    mask: Any = None
    edge: list[str] = field(default_factory=list)
    coating: Any = None
    next: list[str] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=lambda: list(CAUTIONS))

    def but(self, **changes):
        return replace(self, **changes)


def gains(price, contrast, strehl, light, proven):
    """Return the three gains of a row: each a tuple of before, after and half the interval."""
    named = (("contrast at 1 arcsec", contrast), ("Strehl ratio", strehl), ("light", light))
    return [
        Gain(
            name,
            "%" if name == "light" else "",
            before,
            (before - half, before + half),
            after,
            (after - half, after + half),
            after - before,
            (after - before - half, after - before + half),
            (after - before) / price if price else None,
            proven and after - before - half > 0.0,
        )
        for name, (before, after, half) in named
    ]


def judgement():
    """Return the twin of a judgement of the invented mirror, as it was taken over."""
    train = newtonian()
    estimate = readings("before").reduce(obstruction_ratio=train.obstruction_ratio)
    now = train.with_primary(estimate.primary())
    low, high = estimate.strehl_total_interval
    rows = [
        Row(
            "mask of 308 mm",
            4,
            gains(4, (0.511, 0.552, 0.0213), (0.782, 0.871, 0.0712), (95.2, 89.0, 0.0), True),
            "A mask of 308 mm takes the edge out of the light for next to nothing.",
            train_after=now.with_primary(mask_diameter_mm=308),
        ),
        Row(
            "refigure and recoat",
            880,
            gains(880, (0.511, 0.603, 0.0312), (0.782, 0.991, 0.0952), (95.2, 97.1, 0.0), True),
            "A refigure brings the rest, at two hundred times the price.",
            train_after=train,
        ),
        Row(
            "recoat the primary",
            240,
            gains(240, (0.511, 0.511, 0.0001), (0.782, 0.782, 0.0001), (95.2, 97.1, 0.0), False),
            dominated_by=["mask of 308 mm"],
            no_proven_gain=True,
            tied_with=["refigure and recoat"],
            train_after=train,
        ),
    ]
    lowest, highest = estimate.rms_nm_total_interval
    return Judgement(
        verdict=(
            "Mask the edge to 308 mm before you spend more: it gains 0.09 of Strehl in every "
            "figure that these readings allow."
        ),
        numbers=[
            Number(
                "Strehl ratio",
                "",
                estimate.strehl,
                low,
                high,
                "How bright a star's centre is; 1 is perfect.",
            ),
            Number(
                "Wavefront error",
                "nm",
                estimate.rms_nm,
                lowest,
                highest,
                "The rough size of the error in the light.",
            ),
            Number(
                "Light on the axis", "%", 95.2, 95.2, 95.2, "What of the mirror's light arrives."
            ),
        ],
        ladder=Ladder(rows),
        train=train,
        train_now=now,
        evidence=estimate,
        edge=["2 mm and 1036 nm or 9 mm and 330 nm give the same last reading."],
        next=["Read the outermost opening in two halves.", "Measure the radii to 0.05 mm."],
        reasons=["The edge inside the last opening costs most of what is lost."],
        assumptions=[estimate.assumption],
    )


HOSTILE = '<script>alert("1 & 2")</script> $x$'


def hostile():
    """Return a twin whose every text is what a browser must not obey."""
    plain = judgement()
    names = {"name": HOSTILE, "words": HOSTILE, "dominated_by": [HOSTILE], "tied_with": [HOSTILE]}
    rows = [replace(row, **names, train_after=plain.train) for row in plain.ladder.rows[:1]]
    rows[0] = replace(
        rows[0],
        dominated_by=[],
        gains=[replace(g, name=HOSTILE, unit="<u>") for g in rows[0].gains],
    )
    rows.append(replace(rows[0], dominated_by=[HOSTILE]))
    texts = {key: [HOSTILE] for key in ("edge", "next", "reasons", "assumptions", "cautions")}
    return plain.but(
        train_now=plain.train,
        verdict=HOSTILE,
        figure_words=HOSTILE,
        numbers=[replace(n, name=HOSTILE, unit="<u>", meaning=HOSTILE) for n in plain.numbers],
        ladder=Ladder(rows, HOSTILE, HOSTILE, HOSTILE, [HOSTILE], [1.0], HOSTILE),
        **texts,
    )


def verdict():
    return ct.judge_refigure(before=readings("before"), after=readings("after"), train=newtonian())
