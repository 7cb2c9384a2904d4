"""Recipes for kinds of fruit that random skins and shapes give too seldom: each changes a Variety."""
import numpy as np
import colours as C

NAMES = ["pattypan", "orange", "onion", "striped", "dark ribbed", "root"]
SHARE = [.28, .12, .14, .2, .16, .1]
SHAPES = {"pattypan": ["disc"], "orange": ["globe"], "onion": ["onion", "drop"], "striped": ["cylinder", "egg", "pear", "free", "globe"],
          "dark ribbed": ["acorn", "globe", "turban"], "root": ["root"]}


def make(rng, bank, v, table):
    """Turns the variety v, of any kind, into one of a recipe; table: linear colour of the ground. Returns the recipe's name."""
    u, r = rng.uniform, v.rec
    name = NAMES[rng.choice(len(NAMES), p=SHARE)]
    rows = np.flatnonzero(np.isin(bank.kinds, SHAPES[name]))
    if len(rows) == 0:   # a small bank, for checks
        return ""
    v.shape = int(rows[rng.integers(len(rows))])
    p = bank.polys[v.shape]
    v.slim = float(np.ptp(p[:, 0]) / (2 * p[:, 1].max()))
    v.bend, v.warts, v.tuber, v.flat, v.spot = 0.0, 0, False, 1.0, 0
    v.ribs, v.rib_depth, v.rib_sharp = 0, 0, 1
    r["pattern"], r["calyx"], r["end_r"] = 0, 0, [0, r["end_r"][1] if rng.random() < .4 else 0]
    {"pattypan": pattypan, "orange": orange, "onion": onion, "striped": striped, "dark ribbed": dark, "root": root}[name](rng, v, r, u, table)
    return name


def pattypan(rng, v, r, u, table):
    """Flat, scalloped, pale: on straw, wood and grass it looks like a leaf or a patch of light."""
    v.ribs, v.rib_depth, v.rib_sharp = int(rng.integers(7, 16)), u(.03, .22), u(.6, 2.2)
    pale = C.lin([(240, 236, 215), (236, 232, 190), (226, 222, 170), (235, 215, 110), (205, 218, 160), (220, 205, 165)][rng.integers(6)])
    r["base"] = C.near(rng, pale, .15) if rng.random() < .8 else C.like(rng, table)
    if rng.random() < .3:   # greener or yellower towards one end
        r["pattern"], r["pp"], r["second"] = 10, [0, u(.1, .8), u(.6, 3), 0, 0], C.near(rng, r["base"] * np.array([.8, 1, .6]), .15)
    r["mottle"], r["mottle_f"], r["third"] = u(0, .25), u(1, 10), C.near(rng, r["base"], .3)
    v.pose = rng.choice(["side", "up", "down", "any"], p=[.25, .4, .1, .25])


def orange(rng, v, r, u, table):
    """Round, glossy, with the fine dimples of a peel."""
    r["base"] = C.pick(rng, [(240, 140, 20), (235, 120, 25), (245, 165, 40), (240, 205, 60), (225, 95, 35), (190, 40, 40), (120, 160, 50)], .15)
    r["second"], r["third"], r["mottle"], r["mottle_f"] = C.near(rng, r["base"], .3), C.near(rng, r["base"], .3), u(0, .12), u(1, 6)
    r["gloss"], r["shine"], r["bump"], r["bump_f"] = u(.03, .35), np.exp(u(2, 4.4)), u(0, .16), u(.4, 1.6)
    r["end_r"], r["end_col"] = [u(.03, .12), u(0, .12)], C.pick(rng, C.GREENS + C.EARTHS, .3)
    v.stalk = rng.random() < .3


def onion(rng, v, r, u, table):
    """Papery, often with a neck of another colour and fine lines from end to end."""
    r["base"] = C.pick(rng, [(205, 150, 85), (190, 120, 60), (225, 180, 120), (130, 40, 70), (110, 30, 55), (238, 234, 222), (225, 215, 185)], .2)
    if rng.random() < .5:
        r["pattern"], r["pp"], r["second"] = 7, [0, u(.08, .28), u(.6, 3), u(0, .09), u(0, .6)], C.pick(rng, C.STRAWS, .3)
    else:
        r["pattern"], r["pp"], r["second"] = 1, [rng.integers(12, 40), u(.1, .4), u(.6, 3), u(.05, .3), u(0, .6)], C.near(rng, r["base"], .35)
    r["gloss"], r["shine"], r["mottle"], r["mottle_f"], r["third"] = u(.02, .3), np.exp(u(2, 4.2)), u(0, .3), u(2, 12), C.near(rng, r["base"], .4)
    v.stalk, v.stalk_col = rng.random() < .35, C.pick(rng, C.STRAWS, .3)
    v.pose = rng.choice(["side", "up", "any"], p=[.45, .25, .3])


def striped(rng, v, r, u, table):
    """Dark stripes from end to end on a pale skin, which at the rim looks like the table or its shadow."""
    pale = C.pick(rng, [(240, 225, 165), (232, 205, 140), (222, 190, 130), (240, 232, 205), (205, 200, 130)], .2)
    r["base"], r["second"] = pale if rng.random() < .65 else C.like(rng, table), C.pick(rng, C.DARKS + C.GREENS, .3)
    if rng.random() < .25:
        r["base"], r["second"] = r["second"].copy(), r["base"].copy()
    v.ribs = int(rng.integers(7, 12)) if rng.random() < .6 else 0
    if v.ribs:
        v.rib_depth, v.rib_sharp = u(.01, .08), u(.7, 3)
    r["pattern"] = 1 if rng.random() < .75 else 8
    r["pp"] = [v.ribs or rng.integers(6, 13), u(.15, .55), u(.6, 4), u(0, .2) ** 2, u(0, 1)]
    r["mottle"], r["mottle_f"], r["third"] = u(0, .2), u(1, 10), C.near(rng, r["base"], .3)
    if v.slim > 1.8 and rng.random() < .3:
        v.bend = u(.2, 1.2)
    v.spot = u(.2, .9) if rng.random() < .4 else 0


def dark(rng, v, r, u, table):
    """Dark and ribbed, with a pale stalk: under its stalk the body is lost in its own shade."""
    v.ribs, v.rib_depth, v.rib_sharp = int(rng.integers(7, 13)), u(.04, .18), u(.8, 3)
    r["base"] = C.pick(rng, C.DARKS + [(45, 70, 40), (70, 85, 60), (90, 60, 40)], .3)
    r["second"], r["third"], r["mottle"], r["mottle_f"] = C.near(rng, r["base"], .5), C.near(rng, r["base"], .4), u(0, .2), u(1, 10)
    if rng.random() < .3:
        r["pattern"], r["pp"] = 9, [v.ribs, u(.2, .7), u(.6, 3), 0, 0]
    v.spot = u(.2, .9) if rng.random() < .5 else 0
    v.stalk, v.stalk_col = rng.random() < .92, C.pick(rng, C.STRAWS + C.WOODS + C.GREENS, .3)


def root(rng, v, r, u, table):
    """A cone whose tip runs out thin."""
    r["base"] = C.pick(rng, [(235, 120, 40), (240, 150, 60), (235, 225, 195), (120, 40, 70), (210, 60, 70), (240, 205, 90)], .2)
    r["second"], r["third"], r["mottle"], r["mottle_f"] = C.near(rng, r["base"], .4), C.near(rng, r["base"], .4), u(0, .3), u(2, 14)
    if rng.random() < .4:
        r["pattern"], r["pp"] = 2, [rng.integers(8, 24), u(.05, .2), u(.6, 3), u(.05, .3), u(.2, 1)]
    v.bend = u(.1, .8) if rng.random() < .3 else 0
    v.stalk, v.stalk_col = rng.random() < .55, C.pick(rng, C.GREENS + C.STRAWS, .3)
