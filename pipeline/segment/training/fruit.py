"""Random varieties and the fruit, stalks and other solids of a scene."""
import numpy as np
import colours as C
import kinds
from layout import dtype
from shapes import Body, settle, rot


class Variety:
    """What the fruit of one kind share: shape, ribs, skin, stalk."""

    def __init__(self, rng, bank, size, table_colour, dark=False, stalks=.8):
        u = rng.uniform
        self.shape, self.size = int(rng.integers(bank.fruit)), size
        p = bank.polys[self.shape]
        self.slim = float(np.ptp(p[:, 0]) / (2 * p[:, 1].max()))
        self.ax, self.ar = np.exp(rng.normal(0, .08)), np.exp(rng.normal(0, .08))
        self.bend = u(.2, 2.3) if self.slim > 1.5 and rng.random() < (.42 if self.slim < 2.6 else .65) else 0.0
        self.bend_from = rng.choice([0.0, u(.3, .6)])
        self.ribs, self.rib_depth, self.rib_sharp = 0, 0, 1
        flat, long = self.slim < .8, self.bend > .5 and self.slim > 2.6
        if rng.random() < (.75 if flat else .5 if long else .45):
            self.ribs = int(rng.integers(3, 6) if rng.random() < .25 else rng.integers(7, 21))
            self.rib_depth, self.rib_sharp = u(.02, .3) ** 1.3 + .01, u(.7, 5)
            if long:   # four or five blunt edges
                self.ribs, self.rib_depth, self.rib_sharp = int(rng.integers(4, 6)), u(.03, .12), u(.6, 1.4)
            elif flat and rng.random() < .5:   # scalloped rim
                self.ribs, self.rib_depth, self.rib_sharp = int(rng.integers(7, 15)), u(.06, .25), u(.8, 2.5)
        self.tuber = rng.random() < .1
        self.warts = u(.02, .12) if rng.random() < .12 else 0
        self.pose = rng.choice(["side", "up", "down", "any"], p=[.5, .18, .04, .28] if self.slim > .9 else [.28, .36, .06, .3])
        self.flat = u(.62, 1.4) if rng.random() < .16 else 1.0
        r = np.zeros((), dtype("solid"))
        camouflage = rng.random() < .26
        r["base"] = C.pick(rng, C.DARKS, .3) if dark else (C.like if rng.random() < .6 else C.near)(rng, table_colour) if camouflage else C.skin(rng)
        scallop = flat and 6 < self.ribs < 15 and rng.random() < .4
        if scallop:   # pale scalloped squashes, which look like leaves from the side
            r["base"] = C.near(rng, C.lin([(238, 232, 205), (226, 222, 170), (235, 215, 90), (200, 215, 150)][rng.integers(4)]), .15)
        r["second"] = C.skin(rng) if rng.random() < (.35 if camouflage else .7) else C.near(rng, r["base"], .8)
        r["third"] = C.near(rng, r["base"], .5) if rng.random() < .6 else C.skin(rng)
        if rng.random() < (.2 if scallop else .55):
            r["pattern"] = rng.choice(np.arange(1, 11), p=[.16, .06, .10, .10, .14, .10, .08, .10, .08, .08])
        n = self.ribs if self.ribs > 6 and rng.random() < .7 else rng.integers(6, 15)
        bands = r["pattern"] == 2
        r["pp"] = [rng.integers(2, 8) if bands else n, u(.15, .8), u(.6, 4.5), u(0, .25) ** 2, u(0, 1)]
        r["mottle"], r["mottle_f"] = rng.choice([0, u(.05, .25), u(.2, .8)], p=[.3, .5, .2]), u(1, 14)
        r["scar"] = rng.choice([0, u(.1, .8)], p=[.8, .2]); r["dust"] = rng.choice([0, u(.1, .7)], p=[.75, .25])
        r["gloss"], r["shine"] = u(0, 1) ** 2 * .35, np.exp(u(1.8, 4.6))
        r["bump"], r["bump_f"] = u(0, 1) ** 3 * .35, np.exp(u(-2.5, -.3))
        if self.slim < 1.5 and rng.random() < .14:
            r["calyx"], r["calyx_n"], r["calyx_col"] = u(.25, .6), rng.integers(4, 8), C.pick(rng, C.GREENS, .25)
        if rng.random() < .4:
            r["end_r"] = [0, rng.choice([0, u(.04, .22), u(.2, .5)], p=[.3, .5, .2])]
            r["end_col"] = C.pick(rng, C.EARTHS + C.STRAWS + C.WOODS, .35) if rng.random() < .7 else C.near(rng, r["base"], .6)
        self.rec = r
        self.spot = u(.2, .9) if rng.random() < .3 else 0
        self.stalk = rng.random() < stalks
        if not self.stalk and rng.random() < .55:   # the scar of a stalk that fell off
            r["end_r"][0], r["end_col"] = u(.05, .25), C.pick(rng, C.EARTHS, .35)
        self.stalk_shape = bank.fruit + int(rng.integers(bank.stalk))
        self.stalk_len = u(.08, .45) if rng.random() < .6 else u(.05, .2)
        self.stalk_col = [C.pick(rng, C.GREENS + C.WOODS + C.STRAWS, .3), C.near(rng, r["base"], .3), C.like(rng, table_colour)][rng.choice(3, p=[.72, .18, .1])]
        self.stalk_ribs = rng.choice([0, 5, rng.integers(4, 9)], p=[.4, .45, .15])
        self.recipe = kinds.make(rng, bank, self, table_colour) if rng.random() < .3 else ""


def fill(r, rng, b, ident, role):
    """Copies the placed body `b` into the record `r`."""
    r["role"], r["ident"], r["shape"], r["size"], r["ax"], r["ar"], r["zs"] = role, ident, b.shape, b.size, b.ax, b.ar, b.zs
    r["c"], r["m"], r["bound"], r["half"], r["xb"], r["ra"] = b.c, b.R.T.ravel(), b.bound() * 1.04, b.half, b.xb, b.ra
    r["seed"] = rng.integers(1 << 20)
    if r["spot_cos"] == 0:
        r["spot_cos"] = 2
    return r


def individual(rng, bank, v):
    """One fruit of variety v, resting on the table at the origin, and its record still to be filled."""
    j = lambda s: float(np.exp(rng.normal(0, s)))
    bend = v.bend * rng.uniform(.3, 1.2) if rng.random() < .85 else 0
    b = Body(bank, v.shape, v.size * j(.09), v.ax * j(.05), v.ar * j(.05), v.flat * (1 + rng.normal(0, .03)), min(bend, 2.5), v.bend_from)
    settle(b, rng, v.pose if rng.random() < .85 else "side", rng.uniform(0, .02) * v.size if rng.random() < .3 else 0)
    r = v.rec.copy()
    for k in ("base", "second", "third"):
        r[k] = C.near(rng, r[k], .1)
    if rng.random() < .06:
        r["base"] = C.skin(rng)
    r["ribs"], r["rib_depth"], r["rib_sharp"] = v.ribs, v.rib_depth * j(.2), v.rib_sharp
    big = 1 / max(b.half, 1)
    r["w1"], r["f1"] = abs(rng.normal(0, .035 if rng.random() < .85 else .1)), rng.uniform(.8, 2.2) * big
    if v.tuber:
        r["w1"], r["f1"] = rng.uniform(.08, .25), rng.uniform(.8, 2.6) * big
    r["end_r"] *= rng.random(2) < .85
    if v.warts:
        r["w2"], r["f2"] = v.warts, rng.uniform(4, 12) * big
    if v.spot:
        d = rng.normal(size=3); r["spot_dir"] = d / np.linalg.norm(d); r["spot_cos"] = rng.uniform(.45, .95); r["spot_col"] = C.near(rng, (.75, .55, .2), .3)
    elif rng.random() < .1:   # one small dark or pale fleck, which is no stalk
        d = rng.normal(size=3); r["spot_dir"] = d / np.linalg.norm(d); r["spot_cos"] = rng.uniform(.96, .998); r["spot_col"] = C.pick(rng, C.EARTHS + C.STRAWS, .5)
    return b, r


def ends(b):
    """World positions of stem and blossom end and the outward directions there."""
    e = 1e-2 * b.size
    p = b.forward(np.array([[b.tip, 0, 0], [b.tip - e, 0, 0], [b.tail, 0, 0], [b.tail + e, 0, 0]])) @ b.R.T
    s, t = p[0] - p[1], p[2] - p[3]
    return p[0] + b.c, s / np.linalg.norm(s), p[2] + b.c, t / np.linalg.norm(t)


def frame(d, rng):
    """Rotation whose first column is d."""
    a = rng.normal(size=3); a -= d * (a @ d); a /= np.linalg.norm(a)
    return np.stack([d, a, np.cross(d, a)], 1)


def stalk(rng, bank, v, b, ident):
    """The record of the stalk of the placed fruit b."""
    p, d, _, _ = ends(b)
    size = float(np.clip(v.stalk_len * b.size * np.exp(rng.normal(0, .25)), 4, 140))
    bend = rng.uniform(.1, 1.4) if rng.random() < .6 else 0
    s = Body(bank, v.stalk_shape, size, bend=bend)
    most = .42 if rng.random() < .93 else .8
    s.ar = min(1.0, most * b.radius / max(s.radius, 1e-3)) * rng.uniform(.6, 1)
    d = d + rng.normal(0, .18 if rng.random() < .75 else .5, 3)
    s.R = frame(d / np.linalg.norm(d), rng)
    s.c = p - s.R @ s.local[-1] - d / np.linalg.norm(d) * min(.12 * size, .08 * b.size)
    r = np.zeros((), dtype("solid"))
    r["base"], r["second"], r["third"] = C.near(rng, v.stalk_col, .12), C.near(rng, v.stalk_col, .5), C.near(rng, v.stalk_col, .7)
    r["mottle"], r["mottle_f"], r["shine"], r["gloss"] = .3, 4, 12, .02
    r["ribs"], r["rib_depth"], r["rib_sharp"] = v.stalk_ribs, rng.uniform(.12, .45), rng.uniform(.7, 2)
    r["w1"], r["f1"] = .08, 3 / max(s.half, 1)
    if rng.random() < .4:
        r["pattern"], r["pp"] = 10, [0, rng.uniform(.2, .8), 1, 0, 0]
    elif rng.random() < .35:   # the cut face in another colour
        r["pattern"], r["pp"] = 7, [0, rng.uniform(.02, .12), 1, 0, .1]; r["second"] = C.pick(rng, C.STRAWS + C.WOODS, .3)
    return fill(r, rng, s, ident, 1)


def stray(rng, bank, at, size, slim=1.0):
    """A piece of stalk or twig (slim: a pencil, a cane) lying on the table: no fruit and no fruit's stalk."""
    s = Body(bank, bank.fruit + int(rng.integers(bank.stalk)), size, bend=rng.uniform(.1, 1.4) if rng.random() < .6 else 0)
    s.ar = min(1.0, .22 * size / max(s.radius, 1e-3)) * rng.uniform(.3, 1) * slim
    settle(s, rng, "side", 0)
    s.c[:2] = at
    r = np.zeros((), dtype("solid"))
    r["base"] = C.pick(rng, C.GREENS + C.WOODS + C.STRAWS, .3) if slim == 1 else C.anything(rng); r["second"], r["third"] = C.near(rng, r["base"], .5), C.near(rng, r["base"], .7)
    r["mottle"], r["mottle_f"], r["shine"], r["gloss"], r["w1"], r["f1"] = .3, 4, 12, .02, .08, 3 / max(s.half, 1)
    return s, fill(r, rng, s, 0, 2)


def hand(rng, bank, at, to):
    """Palm, fingers and wrist (bare or gloved) near `at`, coming from the direction `to`; list of records."""
    tone = C.near(rng, C.lin([(225, 180, 150), (190, 140, 110), (130, 90, 65), (80, 55, 42), (40, 60, 110), (200, 200, 195), (150, 60, 40)][rng.integers(7)]), .2)
    out = []
    yaw = np.arctan2(*(at - to)[::-1])
    for k in range(6):
        f = bank.fruit + bank.stalk + int(rng.integers(bank.other))
        if k == 0:
            b = Body(bank, int(rng.integers(bank.fruit)), 115, 1, .9, .5); off, a = 0, 0
        elif k == 5:
            b = Body(bank, f, 420, 1, 1); off, a = -250, 0
        else:
            b = Body(bank, f, rng.uniform(75, 100), 1, 1, 1, rng.uniform(.1, 1.2), 0); off, a = 80, (k - 2.5) * .32 + rng.normal(0, .08)
        if b.radius > 60:
            b.ar *= 35 / b.radius; b.radius = 35
        b.R = rot("z", yaw + a) @ rot("x", rng.choice([-1.57, 1.57]))
        z = rng.uniform(20, 60)
        b.c = np.array([at[0] + off * np.cos(yaw + a), at[1] + off * np.sin(yaw + a), z])
        r = np.zeros((), dtype("solid"))
        r["base"] = r["second"] = r["third"] = C.near(rng, tone, .06); r["gloss"], r["shine"], r["mottle"], r["mottle_f"] = .02, 10, .1, 3
        out.append(fill(r, rng, b, 0, 2))
    return out


def other(rng, bank, size, at):
    """A bowl, jar or rod; never a fruit-like blob."""
    b = Body(bank, bank.fruit + bank.stalk + int(rng.integers(bank.other)), size)
    settle(b, rng, "up" if rng.random() < .6 else "side", 0)
    b.c[:2] = at
    r = np.zeros((), dtype("solid"))
    r["base"], r["second"], r["third"] = C.anything(rng), C.anything(rng), C.anything(rng)
    r["gloss"], r["shine"] = rng.uniform(0, .3), np.exp(rng.uniform(2, 5))
    if rng.random() < .3:
        r["pattern"], r["pp"] = rng.choice([2, 10]), [3, .5, 1, 0, .2]
    return b, fill(r, rng, b, 0, 2)
