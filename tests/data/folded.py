"""A Newtonian in the real, folded space: mirror, flat with its body, focuser; shared by generators.

Everything stands where it stands in the telescope: nothing is unfolded. Axes: origin at the
mirror's vertex, +z to the sky, the focuser on +x. A star stands toward (tan a, tan b, 1); a lamp
at a distance from the vertex in that direction. Light meets the mirror (a conic), the flat and
the planes x = constant of the focuser, and stops at the first part that is in its way.

The flat: face normal n = (1, 0, -1)/sqrt 2, long axis e = (1, 0, 1)/sqrt 2, short axis y; an
ellipse of axes `minor_axis` and sqrt 2 times that about the point (-offset, 0, f - L - offset).
Misplaced: moved by (toward_focuser, across, -toward_primary) and turned about its centre by
Rz(turn) Ry(-nod) Re(roll), the roll first. Its body: the outline of the face, wider all round by
the bevel (as seen along the tube), drawn backward by the thickness, along the tube or square to
the face; it is turned with the face.

`Scene` holds the geometry twice, in two ways that share the positions of the parts only:
`conditions` are functions near to quadratics whose sign says where light passes, for the rows in
panels; `judge` follows single rays with vectors in each part's own frame.
"""

import numpy as np

DOWN = ("front_opening", "diagonal_shadow", "holder", "mask", "diagonal")
ARCMIN = np.pi / (180 * 60)


def turn_about(axis, angle):
    """The matrix of a right-handed turn about a unit vector (Rodrigues)."""
    x, y, z = axis
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross


def smallest_flat(aperture, focal, to_focus, lit):
    """Minor axis and offset for a lit circle: the envelope from the rim of the paraboloid."""
    k = (aperture - lit) / (2 * (focal - aperture**2 / (16 * focal)))
    r = lit / 2 + k * to_focus
    return 2 * r / (1 - k * k), r * k / (1 - k * k)


def fitted_offset(aperture, focal, to_focus, minor):
    """The offset that goes with a size: that of the lit circle it serves, by bisection."""
    low, high = -aperture, aperture
    for _ in range(200):
        middle = (low + high) / 2
        if smallest_flat(aperture, focal, to_focus, middle)[0] < minor:
            low = middle
        else:
            high = middle
    return smallest_flat(aperture, focal, to_focus, low)[1]


class Flat:
    """Where the face is, and how its body runs backward."""

    def __init__(self, s):
        centre = np.array(
            [-s["offset_mm"], 0.0, s["focal_length_mm"] - s["axis_to_focus_mm"] - s["offset_mm"]]
        )
        shift = [
            s.get("toward_focuser_mm", 0),
            s.get("across_mm", 0),
            -s.get("toward_primary_mm", 0),
        ]
        e = np.array([1.0, 0, 1]) / np.sqrt(2)
        turned = (
            turn_about((0, 0, 1), s.get("turn_arcmin", 0) * ARCMIN)
            @ turn_about((0, 1, 0), -s.get("nod_arcmin", 0) * ARCMIN)
            @ turn_about(e, s.get("roll_arcmin", 0) * ARCMIN)
        )
        self.centre = centre + shift
        self.normal = turned @ np.array([1.0, 0, -1]) / np.sqrt(2)
        self.long = turned @ e
        self.short = turned @ np.array([0.0, 1, 0])
        self.radius = s["minor_axis_mm"] / 2
        self.body_radius = self.radius + s.get("bevel_mm", 0)
        thickness = s.get("thickness_mm", 0)
        if s.get("edge") == "along_tube":
            self.back = turned @ np.array([0, 0, thickness * np.sqrt(2)])
        else:
            self.back = -thickness * self.normal


class Scene:
    """One train under one star (or lamp)."""

    def __init__(self, sizes, tan_a, tan_b):
        s = self.s = sizes
        self.rim = s["clear_aperture_mm"] / 2
        self.curvature = 0.5 / s["focal_length_mm"]
        self.shape = 1 + s["conic"]
        self.towards = np.array([tan_a, tan_b, 1.0]) / np.sqrt(tan_a**2 + tan_b**2 + 1)
        self.lamp = s.get("lamp_distance_mm")
        self.flat = Flat(s) if "minor_axis_mm" in s else None
        self.axis_height = s["focal_length_mm"] - s["axis_to_focus_mm"] if self.flat else None
        self.beyond = self.planes()
        down = {
            "front_opening": "front_opening_diameter_mm" in s,
            "diagonal_shadow": self.flat is not None,
            "holder": "holder_diameter_mm" in s,
            "mask": "mask_diameter_mm" in s,
            "diagonal": self.flat is not None,
        }
        self.parts = [p for p in DOWN if down[p]] + [name for name, _ in self.beyond]

    def planes(self):
        """Parts beyond the flat with their distances from the tube's axis, in that order."""
        s, found = self.s, []
        if "board_hole_mm" in s:
            found.append(("focuser_board", s["axis_to_board_mm"]))
        if "drawtube_bore_mm" in s:
            outer = s["axis_to_focus_mm"] - s["drawtube_outer_end_to_focus_mm"]
            found.append(("drawtube_inner_end", outer - s["drawtube_length_mm"]))
            found.append(("drawtube_outer_end", outer))
        if "ring_diameter_mm" in s:
            found.append(("filter_ring", s["axis_to_focus_mm"] - s["ring_before_focus_mm"]))
        if "sensor_along_mm" in s:
            found.append(("sensor_mask", s["axis_to_focus_mm"] - s["sensor_before_focus_mm"]))
        return sorted(found, key=lambda p: p[1])

    def hole(self, part):
        key = {"focuser_board": "board_hole_mm", "filter_ring": "ring_diameter_mm"}
        return self.s[key.get(part, "drawtube_bore_mm")]

    # For the rows: coordinates spelled out.

    def surface(self, x, y):
        c = self.curvature
        root = np.sqrt(1 - self.shape * c * c * (x * x + y * y))
        return c * (x * x + y * y) / (1 + root), c * x / root, c * y / root

    def seen(self, x, y, z):
        """Unit vector toward the light, and its strength over that at the vertex."""
        if self.lamp is None:
            one = np.ones_like(x)
            return self.towards[0] * one, self.towards[1] * one, self.towards[2] * one, one
        gx, gy, gz = (self.lamp * t - p for t, p in zip(self.towards, (x, y, z), strict=True))
        d = np.sqrt(gx * gx + gy * gy + gz * gz)
        return gx / d, gy / d, gz / d, (self.lamp / d) ** 2

    def weight(self, x, y):
        """Flux for each unit of dx dy: |d.N| with N = (-zx, -zy, 1), times the strength."""
        z, zx, zy = self.surface(x, y)
        ax, ay, az, strength = self.seen(x, y, z)
        return strength * (az - ax * zx - ay * zy)

    def up(self, x, y):
        """Hit point and direction after the mirror."""
        z, zx, zy = self.surface(x, y)
        ax, ay, az, _ = self.seen(x, y, z)
        k = 2 * (az - ax * zx - ay * zy) / (1 + zx * zx + zy * zy)
        return (x, y, z), (-ax - k * zx, -ay - k * zy, k - az)

    def on_flat(self, at, go, moved=(0, 0, 0)):
        """Where a line meets the face's plane, moved: place in the face, its long axis shrunk."""
        f = self.flat
        gap = [c + m - p for c, m, p in zip(f.centre, moved, at, strict=True)]
        t = dot3(gap, f.normal) / dot3(go, f.normal)
        rel = [t * g - p for g, p in zip(go, gap, strict=True)]
        return dot3(rel, f.short), dot3(rel, f.long) / np.sqrt(2)

    def above(self, x, y, height):
        z, _, _ = self.surface(x, y)
        ax, ay, az, _ = self.seen(x, y, z)
        return x + (height - z) / az * ax, y + (height - z) / az * ay

    def at_plane(self, x, y, distance):
        """(along, across) from the focuser's axis where the folded ray meets x = distance."""
        (px, py, pz), (ux, uy, uz) = self.up(x, y)
        f = self.flat
        gap = [c - p for c, p in zip(f.centre, (px, py, pz), strict=True)]
        cos = dot3((ux, uy, uz), f.normal)
        t = dot3(gap, f.normal) / cos
        nx, ny, nz = f.normal
        vx, vy, vz = ux - 2 * cos * nx, uy - 2 * cos * ny, uz - 2 * cos * nz
        go = (distance - (px + t * ux)) / vx
        return pz + t * uz + go * vz - self.axis_height, py + t * uy + go * vy

    def conditions(self):
        """For each part: ("opening" or "body", function of (x, y)), negative inside of the circle.

        No function stands for glass whose back shadows beside its face: `body`, `body_strip`.
        """
        return [self.condition(part) for part in self.parts]

    def condition(self, part):
        s = self.s

        def circle(place, radius):
            def value(x, y):
                u, v = place(x, y)
                return u * u + v * v - radius * radius

            return value

        if part == "front_opening":
            height = s["front_opening_above_vertex_mm"]
            return [
                (
                    "opening",
                    circle(
                        lambda x, y: self.above(x, y, height), s["front_opening_diameter_mm"] / 2
                    ),
                )
            ]
        if part == "holder":
            height = s["holder_above_vertex_mm"]
            return [
                ("body", circle(lambda x, y: self.above(x, y, height), s["holder_diameter_mm"] / 2))
            ]
        if part == "mask":
            return [("opening", circle(lambda x, y: (x, y), s["mask_diameter_mm"] / 2))]
        if part == "diagonal":
            return [
                ("opening", circle(lambda x, y: self.on_flat(*self.up(x, y)), self.flat.radius))
            ]
        if part == "diagonal_shadow":
            return [("body", self.body if not self.is_drawn_out() else None)]
        distance = dict(self.beyond)[part]
        if part != "sensor_mask":
            return [
                ("opening", circle(lambda x, y: self.at_plane(x, y, distance), self.hole(part) / 2))
            ]
        angle = np.radians(s["sensor_rotation_deg"])
        halves = (s["sensor_along_mm"] / 2, s["sensor_across_mm"] / 2)
        sides = []
        for turn, half in zip((angle, angle + np.pi / 2), halves, strict=True):
            for sign in (1, -1):

                def side(x, y, turn=turn, half=half, sign=sign):
                    along, across = self.at_plane(x, y, distance)
                    return sign * (along * np.cos(turn) + across * np.sin(turn)) - half

                sides.append(("opening", side))
        return sides

    def body_ends(self, x, y):
        """Where a line meets the planes of face and back, as seen in the body's own circle."""
        z, _, _ = self.surface(x, y)
        toward = self.seen(x, y, z)[:3]
        return self.on_flat((x, y, z), toward), self.on_flat((x, y, z), toward, self.flat.back)

    def is_drawn_out(self):
        """Whether the shadow of the back lies beside that of the face."""
        (u, v), (bu, bv) = self.body_ends(np.zeros(1), np.zeros(1))
        return bool(np.hypot(bu - u, bv - v)[0] > 1e-9 * self.flat.body_radius)

    def body(self, x, y, end=0):
        """Square of the distance to one end of the body's middle line, less that of its radius."""
        u, v = self.body_ends(x, y)[end]
        return u * u + v * v - self.flat.body_radius**2

    def body_strip(self, x, y, line):
        """The strip between the ends: beside its sides (lines 0, 1), before and behind (2, 3)."""
        (u, v), (bu, bv) = self.body_ends(x, y)
        du, dv = bu - u, bv - v
        length = np.sqrt(du * du + dv * dv)
        aside, ahead = (u * dv - v * du) / length, -(u * du + v * dv) / length
        radius = self.flat.body_radius
        return (aside - radius, -aside - radius, -ahead, ahead - length)[line]

    # For single rays: vectors in each part's own frame.

    def judge(self, x, y):
        """Which part stops each ray (the number of parts: none), and the ray's weight."""
        s = self.s
        c2 = self.curvature
        r2 = x**2 + y**2
        z = c2 * r2 / (1 + np.sqrt(1 - self.shape * c2**2 * r2))
        hit = np.stack([x, y, z])
        # Gradient of c (x^2 + y^2 + (1 + K) z^2) - 2 z, pointing up.
        normal = np.stack([-c2 * x, -c2 * y, 1 - self.shape * c2 * z])
        normal /= np.linalg.norm(normal, axis=0)
        if self.lamp is None:
            toward = np.broadcast_to(self.towards[:, None], hit.shape)
            strength = 1.0
        else:
            toward = (self.lamp * self.towards)[:, None] - hit
            distance = np.linalg.norm(toward, axis=0)
            toward = toward / distance
            strength = (self.lamp / distance) ** 2
        cos = np.sum(toward * normal, axis=0)
        weight = strength * cos / normal[2]
        go = 2 * cos * normal - toward
        stopped = np.full(x.shape, len(self.parts))
        sky = Frame((0, 0, 0), (1, 0, 0), (0, 1, 0))
        path, after = (hit, toward), None
        for number, part in enumerate(self.parts):
            if part == "front_opening":
                u, v = sky.moved((0, 0, s["front_opening_above_vertex_mm"])).meets(*path)
                out = np.hypot(u, v) > s["front_opening_diameter_mm"] / 2
            elif part == "holder":
                u, v = sky.moved((0, 0, s["holder_above_vertex_mm"])).meets(*path)
                out = np.hypot(u, v) < s["holder_diameter_mm"] / 2
            elif part == "mask":
                out = np.hypot(x, y) > s["mask_diameter_mm"] / 2
            elif part == "diagonal_shadow":
                out = self.strikes_body(hit, toward)
            elif part == "diagonal":
                f = self.flat
                frame = Frame(f.centre, f.short, f.long)
                u, v = frame.meets(hit, go)
                out = (u / f.radius) ** 2 + (v / (np.sqrt(2) * f.radius)) ** 2 > 1
                start = frame.point(hit, go)
                after = (start, go - 2 * (f.normal @ go) * f.normal[:, None])
            else:
                # `along` to the sky end, `across` to +y; the focuser's axis goes
                # through the tube's.
                there = (dict(self.beyond)[part], 0, self.axis_height)
                along, across = Frame(there, (0, 0, 1), (0, 1, 0)).meets(*after)
                if part == "sensor_mask":
                    turn = np.exp(-1j * np.radians(s["sensor_rotation_deg"]))
                    own = (along + 1j * across) * turn
                    out = (abs(own.real) > s["sensor_along_mm"] / 2) | (
                        abs(own.imag) > s["sensor_across_mm"] / 2
                    )
                else:
                    out = np.hypot(along, across) > self.hole(part) / 2
            stopped[out & (stopped == len(self.parts))] = number
        return stopped, weight

    def strikes_body(self, hit, toward):
        """A line against a cylinder with two parallel ends: its stretches inside of each."""
        f = self.flat
        start = hit - f.centre[:, None]
        if not f.back.any():
            u, v = Frame(f.centre, f.short, f.long).meets(hit, toward)
            return (u / f.body_radius) ** 2 + (v / (np.sqrt(2) * f.body_radius)) ** 2 < 1
        # Oblique coordinates: along the short and the long axis and along the body's own line.
        own = np.linalg.inv(
            np.stack(
                [f.short * f.body_radius, f.long * (f.body_radius * np.sqrt(2)), f.back], axis=1
            )
        )
        p, d = own @ start, own @ toward
        a = d[0] ** 2 + d[1] ** 2
        b = p[0] * d[0] + p[1] * d[1]
        c = p[0] ** 2 + p[1] ** 2 - 1
        ends = np.sort(np.stack([-p[2] / d[2], (1 - p[2]) / d[2]]), axis=0)
        parallel = a < 1e-26
        root = np.sqrt(np.maximum(b * b - a * c, 0))
        safe = np.where(parallel, 1, a)
        first = np.maximum((-b - root) / safe, ends[0])
        last = np.minimum((-b + root) / safe, ends[1])
        return np.where(parallel, c < 0, (b * b > a * c) & (first < last))

    def image(self, tan_a, tan_b):
        """(along, across) where the ray of the vertex meets the real focal plane."""
        scene = Scene({**self.s, "lamp_distance_mm": None}, tan_a, tan_b)
        along, across = scene.at_plane(np.zeros(1), np.zeros(1), self.s["axis_to_focus_mm"])
        return float(along[0]), float(across[0])


class Frame:
    """A plane with an origin and two axes."""

    def __init__(self, origin, first, second):
        self.origin, self.first, self.second = (
            np.asarray(v, dtype=float) for v in (origin, first, second)
        )
        self.normal = np.cross(self.first, self.second)

    def moved(self, origin):
        return Frame(origin, self.first, self.second)

    def point(self, start, go):
        away = self.normal @ (self.origin[:, None] - start)
        return start + away / (self.normal @ go) * go

    def meets(self, start, go):
        rel = self.point(start, go) - self.origin[:, None]
        return self.first @ rel, self.second @ rel


def dot3(u, v):
    return u[0] * v[0] + u[1] * v[1] + u[2] * v[2]


def star_of(sizes, along, across):
    """Tangents of the star whose vertex ray meets that point of the real focal plane."""
    flat = Flat(sizes)
    point = np.array(
        [
            sizes["axis_to_focus_mm"],
            across,
            sizes["focal_length_mm"] - sizes["axis_to_focus_mm"] + along,
        ]
    )
    behind = point - 2 * ((point - flat.centre) @ flat.normal) * flat.normal
    return -behind[0] / behind[2], -behind[1] / behind[2]
