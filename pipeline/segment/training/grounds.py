"""Random tables and floors (see kernel/ground.h for what each parameter does)."""
import numpy as np
import colours as C
from layout import dtype

KINDS = ["cloudy", "planks", "weave", "mesh", "strands", "folds", "corrugated", "tiles", "gravel", "print"]
SHARE = [.14, .15, .13, .07, .17, .09, .04, .04, .11, .06]


def ground(rng, only=None):
    """A random ground, of one of the kinds named in `only` if given."""
    g = np.zeros((), dtype("ground"))
    u, k = rng.uniform, rng.choice(len(KINDS), p=SHARE) if only is None else KINDS.index(only[rng.integers(len(only))])
    g["kind"], g["rot"], g["ox"], g["oy"], g["seed"] = k, u(0, 6.28), u(-3e3, 3e3), u(-3e3, 3e3), rng.integers(1 << 20)
    p = np.zeros(6)
    wild = rng.random() < .25
    table = C.GREYS
    name = KINDS[k]
    g["relief"], g["gloss"] = 0, u(0, .03)
    if name == "cloudy":
        table = [C.GREYS, C.EARTHS, C.SHEETS, C.WOODS][rng.choice(4, p=[.4, .35, .15, .1])]
        g["scale"], g["relief"] = np.exp(u(2.5, 6.2)), u(0, 5)
        p[:5] = u(.4, .8), u(.1, 1), u(0, .8) ** 2, rng.choice([0, u(0, .15)]), rng.choice([0, u(.5, 3)], p=[.8, .2])
    elif name == "planks":
        table = C.WOODS
        g["scale"], g["relief"] = np.exp(u(3.4, 5.4)), u(0, .8)
        p[:4] = rng.choice([u(.5, 3), u(3, 9), u(9, 40)], p=[.45, .4, .15]), u(.4, 1.3), rng.choice([0, u(0, .35)]), rng.choice([0, u(300, 2200)], p=[.6, .4])
    elif name == "weave":
        table = C.GREYS if rng.random() < .6 else C.SHEETS
        g["scale"], g["relief"] = np.exp(u(.3, 2.6)), u(0, 1)
        p[:5] = u(.4, 2), u(.1, 1), u(-.4, .4), rng.choice([0, u(80, 400)]), rng.integers(2)
        if rng.random() < .5:   # black ground cover
            g["ca"] = g["cb"] = C.lin((35, 35, 37)) * u(.25, 1.2); wild = None
    elif name == "mesh":
        table = C.EARTHS + C.GREYS
        g["scale"], g["relief"] = np.exp(u(2, 4)), u(.1, .4)
        p[:3] = u(.5, 3.5), rng.choice([1, u(1, 3)]), rng.integers(2)
        p[0] = min(p[0], .2 * g["scale"])
    elif name == "strands":
        table = [C.STRAWS, C.GREENS, C.WOODS][rng.choice(3, p=[.5, .35, .15])]
        g["scale"], g["relief"] = np.exp(u(2.2, 4.8)), u(.2, 1)
        w = u(.03, .16) if rng.random() < .8 else u(.15, .5)
        p[:5] = max(w * g["scale"], .8), u(1.1, 2.6), rng.integers(1, 7), rng.choice([u(0, .4), u(.7, 1)], p=[.75, .25]), u(-4, 4)
    elif name == "folds":
        table = C.SHEETS
        g["scale"], g["relief"], g["gloss"] = np.exp(u(3.8, 6)), u(2, 40), u(0, .12)
        p[:5] = u(.3, 3), u(0, 1), rng.choice([0, u(1.5, 6)]), u(0, .6), rng.choice([0, u(120, 400)])
    elif name == "corrugated":
        table = C.CARDBOARD + C.WOODS + C.GREYS
        g["scale"], g["relief"] = np.exp(u(1.5, 4.8)), u(0, 1)
        p[:3] = rng.integers(2), u(.03, .3), u(.05, .8)
    elif name == "tiles":
        table = C.GREYS + C.EARTHS + C.SHEETS
        g["scale"], g["relief"], g["gloss"] = np.exp(u(3.6, 6)), u(0, 1), u(0, .1)
        p[:4] = u(.25, 1.2), rng.integers(2), u(1, 9), u(0, 1)
    elif name == "gravel":
        table = C.GREYS + C.EARTHS + C.WOODS
        g["scale"], g["relief"] = np.exp(u(1.2, 3.6) if rng.random() < .7 else u(3, 4.2)), u(.3, 1)   # up to stones of 65 mm
        p[:2] = u(.5, 1.6), u(.3, 1.6)
    else:
        table = C.SHEETS
        g["scale"], g["relief"] = np.exp(u(2.3, 5)), 0
        p[:5] = rng.integers(7), u(.1, .9), u(0, 1), rng.integers(2), u(0, 20)
        if p[4] > 0 and rng.random() < .5:
            g["relief"] = 1
        wild = rng.random() < .6
    if wild is None:
        g["ca"], g["cb"] = C.near(rng, g["ca"], .35), C.near(rng, g["cb"], .35)
        g["cc"] = C.anything(rng)
    else:
        a = C.anything(rng) if wild else C.pick(rng, table)
        g["ca"] = a
        g["cb"] = C.near(rng, a, u(.1, .7)) if rng.random() < .7 else (C.anything(rng) if wild else C.pick(rng, table))
        g["cc"] = C.near(rng, a * .2, .5) if rng.random() < .6 else C.near(rng, a, 1)
    if name == "mesh":
        g["ca"] = C.pick(rng, C.GREYS, .3)
    g["p"] = p
    if rng.random() < .3:
        g["stain"], g["stain_scale"] = u(.1, .7), np.exp(u(3, 6.5))
    return g
