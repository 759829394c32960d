"""Shares of light by rows in panels, and by jittered rays; shared by generators.

On each row of the mirror (y fixed, or x fixed) each part's condition is a function near to a
quadratic: its two zeros come from parabolas through three of its points, laid anew through the
last zeros until they rest. The part leaves an interval, or takes one; what is left after each
part is a short list of pieces. Between rows where the ends of the pieces change their owners
(found by bisection from 2400 rows on, until nothing else changes between) the integral over a row
is smooth but for square roots at the panel's ends, which y = m + h sin(phi) takes out. Gauss in
phi, 16 nodes; each stretch of phi is halved until both halves together agree with the whole.
"""

from itertools import pairwise

import numpy as np

NODES, WEIGHTS = np.polynomial.legendre.leggauss(16)
ROW_NODES, ROW_WEIGHTS = np.polynomial.legendre.leggauss(8)
GRID = 2400
FLOOR = 3e-14  # of the clear area: differences of this size are rounding


def zeros(value, reach):
    """Zeros of a near-quadratic on [-reach, reach]: (convex, has zeros, lower, upper).

    Zeros outside of that stretch are only known to lie outside.
    """
    x = np.stack([-reach, 0 * reach, reach])
    for _ in range(5):
        f = value(x)
        # Newton's form about the middle point.
        d0, d2 = x[0] - x[1], x[2] - x[1]
        s0, s2 = (f[0] - f[1]) / d0, (f[2] - f[1]) / d2
        a = (s2 - s0) / (d2 - d0)
        b = s2 - a * d2
        c = f[1]
        disc = b * b - 4 * a * c
        root = np.sqrt(np.maximum(disc, 0))
        q = -(b + np.where(b < 0, -root, root)) / 2
        with np.errstate(divide="ignore", invalid="ignore"):
            one, two = q / a, c / q
        # Of a straight line the second zero is infinitely far, on the side where its sign
        # does not change.
        far = np.where(b > 0, -np.inf, np.inf)
        one, two = np.where(np.isfinite(one), one, far), np.where(np.isfinite(two), two, -far)
        lower, upper = np.minimum(one, two) + x[1], np.maximum(one, two) + x[1]
        has = (disc > 0) | ((a >= 0) & (c < 0))
        with np.errstate(divide="ignore", invalid="ignore"):
            vertex = np.where(a != 0, x[1] - b / (2 * a), 0)
            half = np.sqrt(np.abs(disc)) / np.abs(2 * a)
        vertex = np.clip(np.nan_to_num(vertex), -reach, reach)
        half = np.clip(np.nan_to_num(half, nan=1, posinf=1e9), 1e-5 * reach, reach)
        low = np.where(has, np.clip(lower, -reach, reach), vertex - half)
        high = np.where(has, np.clip(upper, -reach, reach), vertex + half)
        tight = high - low < 2e-5 * reach
        mid = (low + high) / 2
        low, high = (
            np.where(tight, mid - 1e-5 * reach, low),
            np.where(tight, mid + 1e-5 * reach, high),
        )
        x = np.stack([low, (low + high) / 2, high])
    return a >= 0, has, *polished(value, lower, upper, reach)


def polished(value, lower, upper, reach):
    """Newton steps at both zeros where they lie within reach."""
    ends = np.stack([lower, upper])
    inside = np.abs(ends) < reach
    place = np.where(inside, ends, 0)
    gap = np.where(inside.all(axis=0), place[1] - place[0], reach)
    step = np.minimum(1e-4 * reach, 0.05 * gap)
    step = np.maximum(step, 1e-9 * reach)
    for _ in range(5):
        below, here, above = value(np.stack([place - step, place, place + step]))
        with np.errstate(divide="ignore", invalid="ignore"):
            move = here * (2 * step) / (above - below)
        place = place - np.where(np.abs(move) < 0.2 * gap, move, 0)
    return np.where(inside, place, ends)


def interval(there, lower, upper):
    """An interval, or nothing."""
    return np.where(there, lower, np.inf), np.where(there, upper, -np.inf)


def below_zero(value, reach):
    """Where a monotone function is negative on [-reach, reach]: regula falsi (Illinois)."""
    a, b = -reach, reach
    at_a, at_b = value(a), value(b)
    lower, upper = interval(at_a < 0, np.full_like(a, -np.inf), np.full_like(a, np.inf))
    crosses = (at_a < 0) != (at_b < 0)
    rises = at_a < 0
    c = a
    for _ in range(14):
        with np.errstate(divide="ignore", invalid="ignore"):
            c = np.where(crosses & (at_a != at_b), (a * at_b - b * at_a) / (at_b - at_a), c)
        at_c = value(c)
        crossed = (at_c < 0) != (at_b < 0)
        a, at_a = np.where(crossed, b, a), np.where(crossed, at_b, at_a / 2)
        b, at_b = c, at_c
    lower = np.where(crosses, np.where(rises, -np.inf, c), lower)
    upper = np.where(crosses, np.where(rises, c, np.inf), upper)
    return lower, upper


class Rows:
    """Rows over the mirror of a scene, along x or (turned) along y."""

    def __init__(self, scene, by_rows, grid=GRID, without=()):
        self.scene, self.by_rows, self.grid = scene, by_rows, grid
        self.rim = scene.rim
        found = zip(scene.parts, scene.conditions(), strict=True)
        self.conditions = [c for part, c in found if part not in without]

    def at(self, free, fixed):
        return (free, fixed) if self.by_rows else (fixed, free)

    def pieces(self, fixed):
        """What is left of each row after each part: (starts, ends, valid), and who owns ends."""
        chord = np.sqrt(np.maximum(self.rim**2 - fixed**2, 0))
        reach = 1.05 * chord + 0.01 * self.rim
        low, high = -chord, chord.copy()
        zero = np.zeros(len(fixed), int)
        low_owner, high_owner = zero, zero + 1
        taken, stages, label = [], [], 2

        def on_row(function, *more):
            return lambda free: function(*self.at(free, np.broadcast_to(fixed, free.shape)), *more)

        for part in self.conditions:
            for kind, function in part:
                if function is None:
                    taken.append(self.glass(on_row, reach, label))
                    label += 20
                    continue
                convex, has, lower, upper = zeros(on_row(function), reach)
                if kind == "body":
                    if np.any(has & ~convex):
                        raise ArithmeticError("a body that is not convex")
                    taken.append((*interval(has, lower, upper), zero + label, zero + label + 1))
                else:
                    # Where the parabola opens downward (a side bent by coma)
                    # it takes a middle piece.
                    opens, closes = interval(has, lower, upper)
                    opens, closes = (
                        np.where(convex, opens, -np.inf),
                        np.where(convex, closes, np.inf),
                    )
                    low_owner = np.where(opens > low, label, low_owner)
                    high_owner = np.where(closes < high, label + 1, high_owner)
                    low, high = np.maximum(low, opens), np.minimum(high, closes)
                    hollow = has & ~convex & (upper > -chord) & (lower < chord)
                    if hollow.any():
                        taken.append(
                            (
                                *interval(hollow, lower, upper),
                                zero + label + 500,
                                zero + label + 501,
                            )
                        )
                label += 2
            stages.append(self.left_over(low, high, low_owner, high_owner, taken))
        return stages

    def glass(self, on_row, reach, label):
        """What thick glass takes: two circles, and the strip between their centres."""
        lows, highs = [], []
        for end in (0, 1):
            _, has, lower, upper = zeros(on_row(self.scene.body, end), reach)
            low, high = interval(has, lower, upper)
            lows.append(low)
            highs.append(high)
        begin, finish = np.full((4, len(reach)), -np.inf), np.full((4, len(reach)), np.inf)
        for line in range(4):
            begin[line], finish[line] = below_zero(on_row(self.scene.body_strip, line), reach)
        first, last = begin.argmax(axis=0), finish.argmin(axis=0)
        low, high = begin.max(axis=0), finish.min(axis=0)
        low, high = interval(low < high, low, high)
        lows, highs = np.stack([*lows, low]), np.stack([*highs, high])
        low_owner, high_owner = lows.argmin(axis=0), highs.argmax(axis=0)
        low_owner = label + np.where(low_owner == 2, 2 + first, low_owner)
        high_owner = label + 10 + np.where(high_owner == 2, 2 + last, high_owner)
        return lows.min(axis=0), highs.max(axis=0), low_owner, high_owner

    @staticmethod
    def left_over(low, high, low_owner, high_owner, taken):
        order = np.argsort([t[0] for t in taken], axis=0) if taken else np.zeros((0, len(low)), int)

        def sorted_by(index):
            return np.take_along_axis(np.array([t[index] for t in taken]), order, axis=0)

        begins, ends, owners = [], [], []
        cursor, owner = low, low_owner
        if taken:
            for first, last, own_first, own_last in zip(*map(sorted_by, range(4)), strict=True):
                cut = first < high
                until = np.where(cut, first, high)
                until_owner = np.where(cut, own_first, high_owner)
                begins.append(cursor)
                ends.append(until)
                owners.append((owner, until_owner))
                further = last > cursor
                # A row that ended before this body has been counted to its end.
                cursor = np.where(cut, np.maximum(cursor, last), np.inf)
                owner = np.where(further, own_last, owner)
        begins.append(cursor)
        ends.append(high)
        owners.append((owner, high_owner))
        begins, ends = np.array(begins), np.array(ends)
        valid = ends > begins
        labels = np.concatenate(
            [np.where(v, o, -1) for v, pair in zip(valid, owners, strict=True) for o in pair]
        )
        return begins, ends, valid, labels.reshape(-1, len(low))

    def signature(self, fixed):
        return np.concatenate([stage[3] for stage in self.pieces(np.asarray(fixed))])

    def breaks(self):
        """Rows where the owners of the ends change."""
        grid = self.rim * np.sin(np.linspace(-np.pi / 2, np.pi / 2, self.grid + 2)[1:-1])
        shapes = self.padded(self.signature(grid))
        change = np.nonzero(np.any(shapes[:, 1:] != shapes[:, :-1], axis=0))[0]
        low, high = grid[change], grid[change + 1]
        at_low, at_high = shapes[:, change], shapes[:, change + 1]
        marks = []
        while len(low) and len(marks) < 4000:
            after = high.copy()
            for _ in range(34):
                middle = (low + high) / 2
                same = np.all(self.padded(self.signature(middle)) == at_low, axis=0)
                low, high = np.where(same, middle, low), np.where(same, high, middle)
            marks.extend((low + high) / 2)
            now = self.padded(self.signature(high))
            # Several changes may lie between two rows: go on from the row after this one.
            more = np.any(now != at_high, axis=0) & (after - high > 1e-9 * self.rim)
            low, high, at_low, at_high = high[more], after[more], now[:, more], at_high[:, more]
        return sorted(marks)

    def padded(self, labels):
        """Labels to a fixed number of rows: hollow sides come and go with the rows asked for."""
        out = np.full((400, labels.shape[1]), -1)
        # Keep only valid ends, packed to the top: a piece is known by the owners of its two ends.
        stage = np.cumsum(labels >= 0, axis=0) - 1
        take = labels >= 0
        rows, columns = np.nonzero(take)
        out[stage[rows, columns], columns] = labels[rows, columns]
        return out

    def row_integrals(self, fixed):
        """Light left on each row after 0, 1, 2... parts."""
        chord = np.sqrt(np.maximum(self.rim**2 - fixed**2, 0))
        sums = [self.flux(-chord[None], chord[None], fixed, np.ones((1, len(fixed)), bool))]
        for begins, ends, valid, _ in self.pieces(fixed):
            sums.append(self.flux(begins, ends, fixed, valid))
        return np.array(sums)

    def flux(self, begins, ends, fixed, valid):
        begins, ends = np.where(valid, begins, 0), np.where(valid, ends, 0)
        middle, half = (begins + ends) / 2, (ends - begins) / 2
        free = middle[..., None] + half[..., None] * ROW_NODES
        weight = self.scene.weight(
            *self.at(free, np.broadcast_to(fixed[None, :, None], free.shape))
        )
        return np.sum(np.sum(weight * ROW_WEIGHTS, axis=-1) * half, axis=0)

    def stretches(self, middle, half, start, end):
        """Integral over stretches of phi of panels: (parts + 1, stretches)."""
        phi = (start + end)[:, None] / 2 + (end - start)[:, None] / 2 * NODES
        fixed = middle[:, None] + half[:, None] * np.sin(phi)
        values = self.row_integrals(fixed.ravel()).reshape(-1, *fixed.shape)
        slope = half[:, None] * np.cos(phi) * (end - start)[:, None] / 2
        return np.sum(values * slope * WEIGHTS, axis=-1)

    def shares(self):
        """Share of the light left after each part, all of it, the last halving's differences."""
        marks = [-self.rim, *self.breaks(), self.rim]
        panels = [(a, b) for a, b in pairwise(marks) if b - a > 1e-11 * self.rim]
        middle = np.array([(a + b) / 2 for a, b in panels])
        half = np.array([(b - a) / 2 for a, b in panels])
        start, end = np.full(len(panels), -np.pi / 2), np.full(len(panels), np.pi / 2)
        whole = self.stretches(middle, half, start, end)
        total, change = np.zeros(len(whole)), np.zeros(len(whole))
        area = np.pi * self.rim**2
        for _ in range(14):
            cut = (start + end) / 2
            first, second = (
                self.stretches(middle, half, start, cut),
                self.stretches(middle, half, cut, end),
            )
            both = first + second
            difference = np.abs(both - whole)
            rests = np.all(difference < FLOOR * area, axis=0)
            total += both[:, rests].sum(axis=1)
            change += difference[:, rests].sum(axis=1)
            more = ~rests
            if not more.any():
                break
            middle, half = (np.concatenate([v[more], v[more]]) for v in (middle, half))
            start, end, cut = start[more], end[more], cut[more]
            start, end = np.concatenate([start, cut]), np.concatenate([cut, end])
            whole = np.concatenate([first[:, more], second[:, more]], axis=1)
        else:
            total += whole.sum(axis=1)
            change += difference[:, more].sum(axis=1)
        return total[1:] / total[0], total[0], change.max() / total[0]


def sampled(scene, total, side, seed):
    """Shares by single rays, two in each of side x side cells: (shares, four sigma).

    Cells have equal areas in (r^2, angle); half the square of the difference of a cell's two rays
    is its variance. To four sigma come eight rays, for shares too small to be met often.
    """
    draw = np.random.default_rng(seed)
    count = len(scene.parts) + 1
    sums, squares = np.zeros(count), np.zeros(count)
    rows = max(1, 65_536 // side)
    for first in range(0, side, rows):
        ring = np.arange(first, min(first + rows, side))
        shape = (2, len(ring), side)
        r = scene.rim * np.sqrt((ring[None, :, None] + draw.random(shape)) / side)
        turn = 2 * np.pi * (np.arange(side)[None, None] + draw.random(shape)) / side
        stopped, weight = scene.judge((r * np.cos(turn)).ravel(), (r * np.sin(turn)).ravel())
        stopped, weight = stopped.reshape(2, -1), weight.reshape(2, -1)
        for part in range(count):
            value = np.where(stopped == part, weight, 0)
            sums[part] += value.sum()
            squares[part] += ((value[0] - value[1]) ** 2).sum()
    scale = np.pi * scene.rim**2 / (2 * side * side) / total
    return sums * scale, 4 * np.sqrt(squares) * scale + 8 * scale
