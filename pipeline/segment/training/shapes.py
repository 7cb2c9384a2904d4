"""Meridians of fruit, stalks and a few other solids, as tables of signed distance.

A meridian is the outline of half a lengthwise section: points (x, rho), x along the axis with the stem end at +x.
The bank holds many of them, scaled so that the longest half-extent is 0.5; a scene stretches, bends and ribs them.
"""
import numpy as np
import torch

NX, NR, EX = 128, 64, 0.62
POINTS = 160


def _caps(t, a, b):
    ca = np.sqrt(np.clip(1 - (1 - np.clip(t / a, 0, 1)) ** 2, 0, 1))
    cb = np.sqrt(np.clip(1 - (1 - np.clip((1 - t) / b, 0, 1)) ** 2, 0, 1))
    return ca * cb


def _smooth(t, xs, ys, width):
    y = np.interp(t, xs, ys)
    k = np.exp(-0.5 * ((t[:, None] - t[None, :]) / width) ** 2)
    return (k * y).sum(1) / k.sum(1)


def fruit_meridian(rng):
    """(polyline (POINTS, 2), kind) of a random fruit; aspect below is length / width."""
    t = 0.5 - 0.5 * np.cos(np.pi * np.linspace(0, 1, POINTS))
    kind = rng.choice(["globe", "disc", "egg", "pear", "neck", "cylinder", "acorn", "turban", "pepper", "free", "drop", "onion", "root"],
                      p=[.19, .1, .09, .1, .11, .1, .06, .03, .06, .06, .05, .03, .02])
    u = rng.uniform
    dimple = np.array([0.0, 0.0])
    if kind == "globe":
        aspect, e = u(.8, 1.35), u(1.7, 3.2)
        r = (1 - np.abs(2 * t - 1) ** e) ** (1 / e); dimple = u(0, .12, 2)
    elif kind == "disc":
        aspect, e = u(.32, .8), u(1.8, 3.6)
        r = (1 - np.abs(2 * t - 1) ** e) ** (1 / e); dimple = u(.02, .3, 2) * [1, .7]
    elif kind == "egg":
        aspect, s = u(1.1, 1.9), u(-.35, .35)
        r = np.sqrt(np.clip(1 - (2 * t - 1) ** 2, 0, 1)) * (1 + s * (2 * t - 1)); dimple = u(0, .06, 2)
    elif kind in ("pear", "neck"):
        aspect = u(1.2, 1.9) if kind == "pear" else u(1.6, 3.6)
        n, w = (u(.4, .8), u(.25, .5)) if kind == "pear" else (u(.22, .6), u(.4, .72))
        r = _smooth(t, [0, w * .7, w, w + u(.1, .25), .9, 1], [n * u(.8, 1.25), n, n * u(1, 1.15), .95, 1, u(.8, .95)], u(.04, .09))
        r = r * _caps(t, u(.04, .16), u(.18, .42)); dimple = np.array([0, u(0, .06)])
    elif kind == "cylinder":
        aspect = u(1.9, 6)
        r = _smooth(t, [0, .3, .6, 1], [u(.6, 1), 1, u(.9, 1.05), u(.6, 1)], .1) * _caps(t, u(.05, .3), u(.05, .3))
    elif kind == "acorn":
        aspect = u(.95, 1.5)
        r = _smooth(t, [0, .25, .6, .85, 1], [.75, 1, .85, u(.35, .5), u(.08, .2)], .05) * _caps(t, .2, .06); dimple = np.array([u(0, .12), 0])
    elif kind == "turban":
        aspect, c, s = u(.7, 1.2), u(.5, .8), u(.5, .68)
        r = _smooth(t, [0, .25, s - .06, s, s + .06, .9, 1], [.9, 1, 1, c * .85, c, c, c * .8], .02) * _caps(t, .2, .2); dimple = np.array([.05, 0])
    elif kind == "pepper":
        aspect = u(.9, 3)
        r = _smooth(t, [0, .2, .6, 1], [.9, 1, u(.6, .95), u(.25, .8)], .07) * _caps(t, .14, u(.05, .2)); dimple = np.array([u(.02, .12), u(0, .08)])
    elif kind == "drop":
        aspect = u(1.0, 2.6)
        r = _smooth(t, [0, .2, .55, .8, 1], [u(.1, .3), u(.3, .6), u(.8, 1), 1, .9], .05) * _caps(t, .05, u(.3, .5))
    elif kind == "onion":   # a globe drawn out to a neck
        aspect, n = u(.8, 1.5), u(.07, .25)
        r = _smooth(t, [0, u(.06, .14), u(.18, .26), .38, .52, .68, .86, 1], [n, n * u(.8, 1.2), u(.3, .55), .93, 1, .94, .68, u(.25, .4)], .02) * _caps(t, .02, u(.08, .2))
    elif kind == "root":
        aspect = u(2.5, 7)
        r = _smooth(t, [0, .06, .2, .5, .8, .93, 1], [u(.6, .9), .97, 1, u(.7, .95), u(.4, .75), u(.15, .45), u(.02, .2)], .03) * _caps(t, u(.03, .1), .02)
    else:
        aspect = u(.8, 2.6)
        r = _smooth(t, np.linspace(0, 1, 6), u(.55, 1, 6), u(.06, .12)) * _caps(t, u(.08, .4), u(.08, .4)); dimple = u(0, .1, 2)
    r = r / r.max() / aspect / 2
    x = 0.5 - t
    w = u(.25, .5) / aspect
    x = x - dimple[0] / max(aspect, 1) * np.exp(-(r / (w * .5)) ** 2) * (t < .5) + dimple[1] / max(aspect, 1) * np.exp(-(r / (w * .5)) ** 2) * (t >= .5)
    k = 1 / max(1.0, 1 / aspect)   # longest extent 1
    return np.stack([x * k, r * k], 1), kind


def stalk_meridian(rng):
    """A stalk lying along x, its base at -0.5 (that is where it meets the fruit)."""
    t = np.linspace(0, 1, POINTS)  # 0 tip, 1 base
    a, u = rng.uniform(.1, .5), rng.uniform
    kind = rng.choice(["stalk", "stub", "flare", "spur", "husk"], p=[.34, .26, .33, .04, .03])
    if kind == "stub":      # cut or broken off short: about as wide as long
        r = _smooth(t, [0, .3, 1], [u(.7, 1.2), u(.8, 1), u(1, 1.3)], .06) * _caps(t, u(.02, .2), .02)
        return np.stack([0.5 - t, np.minimum(r * u(.5, 1.05) * .5, .58)], 1)
    if kind == "flare":     # wide at the cut, narrow in the middle
        r = _smooth(t, [0, .1, .5, .9, 1], [u(1.2, 2.2), u(1.1, 1.8), u(.5, .8), 1, u(1, 1.5)], .05) * _caps(t, .02, .02)
        return np.stack([0.5 - t, np.minimum(r * u(.25, .6) * .5, .58)], 1)
    if kind == "spur":      # dried, thin, pointed
        r = _smooth(t, [0, .4, .8, 1], [u(.2, .6), u(.5, .8), 1, u(1.2, 2.5)], .05) * _caps(t, .03, .02)
        return np.stack([0.5 - t, r * u(.05, .14) * .5], 1)
    if kind == "husk":      # a cap or collar of leaves
        r = _smooth(t, [0, .2, .6, 1], [u(.1, .5), u(.3, .7), u(.7, 1), 1], .06) * _caps(t, .05, .03)
        return np.stack([0.5 - t, r * u(.6, 1.1) * .5], 1)
    r = _smooth(t, [0, .12, .5, .85, 1], [u(.7, 1.4), u(.6, 1.1), u(.55, .8), u(.8, 1.1), u(1, 1.9)], .05) * _caps(t, .03, .02)
    return np.stack([0.5 - t, r * a * .5], 1)


def other_meridian(rng):
    """Things that are not fruit: fingers, rods, bowls, jars, boxes of revolution."""
    t = np.linspace(0, 1, POINTS)
    u = rng.uniform
    kind = rng.choice(["finger", "rod", "bowl", "jar"], p=[.4, .2, .2, .2])
    if kind == "finger":
        a = u(.16, .4); r = a * .5 * _smooth(t, [0, .3, .6, 1], [u(.8, 1), u(.85, 1.1), u(.9, 1.1), 1.1], .08) * _caps(t, a * .5, a * .5)
        return np.stack([0.5 - t, r], 1)
    if kind == "rod":
        return np.stack([0.5 - t, u(.02, .06) * _caps(t, .01, .01)], 1)
    h, w, wall = (u(.25, .5), .5, .03) if kind == "bowl" else (1.0, u(.25, .45), .04)
    taper, h = u(.6, 1), h if kind == "bowl" else 1.0
    pts = [[-h / 2, 0], [-h / 2, w * taper], [h / 2, w], [h / 2, w - wall], [-h / 2 + wall, w * taper - wall], [-h / 2 + wall, 0]]
    if kind == "jar" and rng.random() < .5:
        pts = [[-h / 2, 0], [-h / 2, w], [h * .3, w], [h * .38, w * .7], [h / 2, w * .7], [h / 2, 0]]
    pts = np.array(pts)
    s = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(pts, axis=0), axis=1))]); q = np.linspace(0, s[-1], POINTS)
    return np.stack([np.interp(q, s, pts[:, 0]), np.interp(q, s, pts[:, 1])], 1)


def tables(polys, device, chunk=16):
    """Signed distance tables (M, NR, NX), float32, of closed half-profiles (M, POINTS, 2); negative inside."""
    gx = torch.linspace(-EX, EX, NX, device=device); gr = torch.linspace(0, EX, NR, device=device)
    g = torch.stack(torch.meshgrid(gr, gx, indexing="ij"), -1).flip(-1).reshape(-1, 2)  # (x, rho)
    out = []
    for i in range(0, len(polys), chunk):
        p = torch.as_tensor(np.asarray(polys[i:i + chunk]), dtype=torch.float32, device=device)
        a, b = p[:, None, :-1], p[:, None, 1:]
        q = g[None, :, None]
        ab = b - a
        h = (((q - a) * ab).sum(-1) / (ab * ab).sum(-1).clamp_min(1e-12)).clamp(0, 1)
        d = (q - a - h[..., None] * ab).norm(dim=-1).amin(-1)
        # crossings of a ray towards +rho; the half-profile closes along the axis, which is below
        ax, bx = a[..., 0], b[..., 0]
        cross = (ax > q[..., 0]) != (bx > q[..., 0])
        y = a[..., 1] + (q[..., 0] - ax) / torch.where(cross, bx - ax, torch.ones_like(ax)) * ab[..., 1]
        inside = (cross & (y > q[..., 1])).sum(-1) % 2 == 1
        out.append(torch.where(inside, -d, d).reshape(-1, NR, NX))
    return torch.cat(out)


class Bank:
    """Meridians and their tables; rows [0, fruit), [fruit, fruit+stalk), [.., all)."""

    def __init__(self, seed, fruit=1500, stalk=200, other=150, device="cpu"):
        rng = np.random.default_rng(seed)
        self.fruit, self.stalk, self.other = fruit, stalk, other
        fruits = [fruit_meridian(rng) for _ in range(fruit)]
        self.kinds = np.array([k for _, k in fruits])   # of the fruit only
        self.polys = np.stack([p for p, _ in fruits] + [stalk_meridian(rng) for _ in range(stalk)]
                              + [other_meridian(rng) for _ in range(other)]).astype(np.float32)
        self.tab = tables(self.polys, device)
        self.cpu = self.tab[:, ::2, ::2].cpu().numpy()   # coarse, for settling and contact


class Body:
    """One placed solid during scene writing: knows its surface points and its signed distance (coarse, without ribs)."""

    def __init__(self, bank, shape, size, ax=1.0, ar=1.0, zs=1.0, bend=0.0, bend_from=0.0):
        self.bank, self.shape, self.size, self.ax, self.ar, self.zs = bank, shape, float(size), ax, ar, zs
        p = bank.polys[shape] * size
        p = np.stack([p[:, 0] * ax, p[:, 1] * ar], 1)
        self.half = float(max(p[:, 0].max(), -p[:, 0].min())); self.radius = float(p[:, 1].max())
        self.tip, self.tail = float(p[0, 0]), float(p[-1, 0])
        self.bent = bend > .6
        self.xb = self.half * (2 * bend_from - 1) if bend > 0.02 else 1e6
        self.ra = max((self.half - self.xb) / bend, 1.25 * self.neck(p)) if bend > 0.02 else 1e6
        q = p[:: 6]
        a = np.linspace(0, 2 * np.pi, 14, endpoint=False)
        s = np.repeat(q[:, 0], 14); r = np.repeat(q[:, 1], 14); a = np.tile(a, len(q))
        self.weight = r * r + 1e-6
        self.local = self.forward(np.stack([s, r * np.cos(a), r * np.sin(a) * zs], 1))
        self.reach = float(np.sqrt((self.local ** 2).sum(1).max())) * 1.06 + 1.0
        self.R = np.eye(3); self.c = np.zeros(3)

    def neck(self, p):
        k = p[:, 0] > self.xb
        return float(p[k, 1].max()) if k.any() else 1.0

    def forward(self, p):
        """Points of the straight solid moved to where the bend takes them."""
        p = np.asarray(p, float).copy()
        k = p[:, 0] > self.xb
        if k.any():
            f = (p[k, 0] - self.xb) / self.ra; n = self.ra - p[k, 1]
            p[k, 0], p[k, 1] = self.xb + n * np.sin(f), self.ra - n * np.cos(f)
        return p

    def centre_mass(self):
        return (self.local * self.weight[:, None]).sum(0) / self.weight.sum()

    def world(self, every=1):
        return self.local[::every] @ self.R.T + self.c

    def hollow(self):
        """Horizontal way from the centre into the hollow of a bent body."""
        d = self.R @ np.array([self.xb, self.ra, 0.0])
        return d[:2] / max(np.hypot(d[0], d[1]), 1e-6)

    def bound(self):
        return self.reach

    def sdf(self, w):
        q = (w - self.c) @ self.R
        k = q[:, 0] > self.xb
        dx, dy = q[:, 0] - self.xb, self.ra - q[:, 1]
        x = np.where(k, self.xb + np.arctan2(dx, dy) * self.ra, q[:, 0]); y = np.where(k, self.ra - np.hypot(dx, dy), q[:, 1])
        x = x / (self.size * self.ax); r = np.hypot(y, q[:, 2] / self.zs) / (self.size * self.ar)
        cx, cr = np.minimum(np.maximum(x, -EX), EX), np.minimum(r, EX)
        t = self.bank.cpu[self.shape]
        i = ((cx + EX) * ((NX / 2 - 1) / (2 * EX)) + .5).astype(int); j = (cr * ((NR / 2 - 1) / EX) + .5).astype(int)
        return (t[j, i] + np.hypot(x - cx, r - cr)) * self.size * min(self.ax, self.ar)

    def gap(self, other):
        """Smallest distance between the two surfaces, negative when they overlap (coarse)."""
        d = self.c - other.c
        d = float(np.sqrt(d @ d))
        if d > self.reach + other.reach + 5:
            return d - self.reach - other.reach
        return float(self.sdf(other.world(3)).min())


def rot(axis, a):
    c, s = np.cos(a), np.sin(a)
    return np.array({"x": [[1, 0, 0], [0, c, -s], [0, s, c]], "y": [[c, 0, s], [0, 1, 0], [-s, 0, c]], "z": [[c, -s, 0], [s, c, 0], [0, 0, 1]]}[axis])


def settle(body, rng, pose, sink):
    """Turns the body as it would come to rest and puts its lowest point `sink` mm under the table."""
    u = rng.uniform
    if pose == "side":
        roll = (0 if rng.random() < .5 else np.pi) + rng.normal(0, .12) if body.xb < 1e5 else u(0, 2 * np.pi)
        base = rot("x", roll)
        best = None
        for a in np.linspace(-.75, .75, 25):
            R = rot("y", a) @ base
            z = body.local @ R[2]
            e = (z * body.weight).sum() / body.weight.sum() - z.min()
            if best is None or e < best[0]:
                best = (e, R)
        R = best[1]
        if rng.random() < .3:
            R = rot("y", rng.normal(0, .12)) @ R
    elif pose == "up":
        R = rot("y", -np.pi / 2 + rng.normal(0, .08)) @ rot("x", u(0, 6.28))
    elif pose == "down":
        R = rot("y", np.pi / 2 + rng.normal(0, .12)) @ rot("x", u(0, 6.28))
    else:
        R = rot("y", u(-1.5, 1.5)) @ rot("x", u(0, 6.28))
    body.R = rot("z", u(0, 2 * np.pi)) @ R
    body.c = np.array([0, 0, -(body.local @ body.R[2]).min() - sink])
