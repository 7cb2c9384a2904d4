"""One random table with fruit, as records for the ray tracer plus the truth that does not show in the ids."""
import numpy as np
import colours as C
import fruit as F
from grounds import ground
from layout import dtype, LIGHTS
from shapes import rot


PACKED = .2   # share of the scenes with fruit in close rows


def camera(rng, s, crop, close, usual=False):
    """Random camera (near the table when `close`, from above when `usual`) and crop window; mm per pixel and the table point at the crop's centre."""
    u = rng.uniform
    long = 1024 if rng.random() < .8 else rng.choice([640, 768])
    short = int(long * rng.choice([.75, .5625, .667, 1], p=[.7, .12, .12, .06]))
    W, H = (long, short) if rng.random() < .75 else (short, long)
    f = u(21, 34) * np.hypot(W, H) / 43.27
    tilt = np.radians(rng.choice([u(0, 12), u(0, 45), u(35, 62), u(60, 84)], p=[.42, .5, .08, 0] if usual else [.30, .36, .12, .22] if close else [.34, .48, .12, .06]))
    az, dist = u(0, 6.28), u(550, 2300) / max(np.cos(tilt), .4) * (u(.22, .6) if close else 1)
    eye = dist * np.array([np.sin(tilt) * np.cos(az), np.sin(tilt) * np.sin(az), np.cos(tilt)])
    fwd = -eye / dist
    right = np.array([-np.sin(az), np.cos(az), 0.0]); down = np.cross(fwd, right)
    a = rng.normal(0, .12) if rng.random() < .8 else u(0, 6.28)
    right, down = np.cos(a) * right + np.sin(a) * down, -np.sin(a) * right + np.cos(a) * down
    M = np.stack([right, down, fwd], 1)
    s["eye"], s["m"], s["f"], s["cx"], s["cy"], s["k1"] = eye, M.ravel(), f, W / 2, H / 2, rng.normal(0, .03)
    s["x0"] = u(0, W - crop) if W > crop else (W - crop) / 2
    s["y0"] = u(0, H - crop) if H > crop else (H - crop) / 2
    d = M @ np.array([(s["x0"] + crop / 2 - W / 2) / f, (s["y0"] + crop / 2 - H / 2) / f, 1])
    d[2] = min(d[2], -.15 * np.linalg.norm(d))
    at = eye - d * (eye[2] / d[2])
    return float(np.linalg.norm(at - eye) / f), at[:2]


def project(s, p):
    """Pixel of world point p in the crop (origin at the corner of its top-left pixel)."""
    q = s["m"].reshape(3, 3).T @ (p - s["eye"])
    x = q[:2] / max(q[2], 1e-3)
    x = x * (1 + s["k1"] * (x @ x))
    return x[0] * s["f"] + s["cx"] - s["x0"], x[1] * s["f"] + s["cy"] - s["y0"]


def lights(rng, s, at, bulbs=.25):
    u, kind = rng.uniform, rng.choice(["sun", "dull", "bulbs", "window"], p=[.56 * (1 - bulbs), .2 * (1 - bulbs), bulbs, .24 * (1 - bulbs)])
    n, L = 0, s["light"]
    sky = C.light(rng, rng.normal(-.08, .1)) * u(.15, .5)
    def direction(lo, hi):
        e, a = np.radians(u(lo, hi)), u(0, 6.28)
        return [np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)]
    if kind == "sun":
        L[0]["pos"], L[0]["col"], L[0]["size"], n = direction(16, 80), C.light(rng, rng.normal(.08, .08)) * u(.8, 2.2), np.exp(u(-5.5, -2.6)), 1
        if rng.random() < .3:   # clear air: deep shadows
            sky *= u(.2, .6)
    elif kind == "dull":
        sky *= 2.5
        L[0]["pos"], L[0]["col"], L[0]["size"], n = direction(50, 90), C.light(rng) * u(.1, .5), u(.3, .8), 1
    elif kind == "bulbs":
        n = int(rng.integers(1, LIGHTS + 1)); sky *= u(.15, .9); w = rng.normal(.22, .18)
        wide, lo, hi = (350, 300, 900) if rng.random() < .4 else (700, 700, 2600)   # some hang close by: light falls off across the table
        for k in range(n):
            L[k]["kind"], L[k]["pos"], L[k]["size"] = 1, [at[0] + rng.normal(0, wide), at[1] + rng.normal(0, wide), u(lo, hi)], min(np.exp(u(2.8, 5.6)), lo / 5)
            L[k]["col"] = C.light(rng, w) * u(.5, 2) * (L[k]["pos"][2] / 1000) ** 1.5 / n
    else:
        n = int(rng.integers(1, 4))
        for k in range(n):
            L[k]["pos"], L[k]["col"], L[k]["size"] = direction(18, 75), C.light(rng) * u(.3, 1.2) / n, u(.08, .6)
    s["lights"], s["sky"], s["ao"] = n, sky, u(.5, 1)
    s["bounce"] = sky * (.15 + .7 * s["ga"]["ca"]) + .12 * s["ga"]["ca"] * sum(L[k]["col"] for k in range(n))


def decals(rng, at, span, tops, small, rims):
    """Flat things on the table (and now and then a leaf or string above a fruit)."""
    u, out = rng.uniform, []
    def add(kind, size, ca, cb=(.02, .02, .02), p=(0, 0, 0, 0), gloss=.02, z=None, c=None, tilt=(0, 0)):
        d = np.zeros((), dtype("decal"))
        c = at + rng.uniform(-.6, .6, 2) * span if c is None else c
        d["kind"], d["c"], d["rot"], d["size"], d["tilt"] = kind, [c[0], c[1], u(.2, .8) if z is None else z], u(0, 6.28), size, tilt
        d["ca"], d["cb"], d["p"], d["gloss"], d["seed"] = ca, cb, p, gloss, rng.integers(1 << 16)
        out.append(d)
    white = lambda: C.near(rng, (.85, .85, .84), .08)
    if rng.random() < .3:
        add(0, (125, 90), white(), p=(rng.integers(2), 0, 0, 0))
    if rng.random() < .3:
        k = u(.7, 1.6)
        for _ in range(rng.integers(1, 5)):
            add(1, (35 * k, 22 * k), white() if rng.random() < .8 else C.anything(rng), p=(rng.random() < .7, 0, 0, 0))
    if rng.random() < .2:
        for _ in range(rng.integers(1, 4)):
            add(2, np.exp(u(2.8, 5.6, 2)), white() if rng.random() < .5 else C.anything(rng), p=(rng.choice([0, u(4, 12)]), 0, 0, 0))
    if rng.random() < .07:
        for _ in range(rng.integers(1, 6)):
            r = u(8, 16) if rng.random() < .6 else u(20, 120)
            add(3, (r, r), C.near(rng, [(.5, .5, .48), (.5, .3, .12), (.6, .5, .25)][rng.integers(3)], .3) if rng.random() < .7 else C.anything(rng), C.anything(rng), (rng.integers(2), 0, 0, 0), u(.02, .5))
    def leaf(z=None, c=None):
        w = np.exp(u(2.3, 4.9)) if rng.random() < .85 else u(100, 240)
        col = C.pick(rng, C.GREENS if rng.random() < .65 else C.STRAWS + C.EARTHS, .35)
        plain, jag = (0 if rng.random() < .65 else u(0, .8)), (0 if rng.random() < .8 else u(.08, .35))
        add(4, (w, w * u(.3, 1)), col, C.near(rng, col, .5), (rng.integers(1, 8), u(.3, 2), plain, jag), u(0, .1), u(1, 18) if z is None else z, c, rng.normal(0, .12, 2))
    if rng.random() < .38:
        for _ in range(rng.integers(1, 10)):
            leaf()
    if tops and rng.random() < .12:
        for _ in range(rng.integers(1, 3)):
            t = tops[rng.integers(len(tops))]
            leaf(max(t[2], 5) * u(.7, 1.05), np.array(t[:2]) + rng.normal(0, .5 * abs(t[2]), 2))
    if rng.random() < .16:
        for _ in range(rng.integers(1, 3)):
            add(5, (u(60, 170), u(6, 20)), C.near(rng, (.55, .56, .58), .2) if rng.random() < .7 else C.anything(rng), C.anything(rng), (u(0, 1), rng.choice([0, u(5, 12)]), 0, 0), u(.05, .7), u(2, 10))
    if rng.random() < .2:
        for _ in range(rng.integers(1, 4)):
            add(6, (np.exp(u(3.5, 6.8)), np.exp(u(.7, 3.2))), C.anything(rng), C.anything(rng), gloss=u(0, .3), z=u(2, 25))
    if rng.random() < .14:
        for _ in range(rng.integers(1, 3)):
            z = u(1, 6) if rng.random() < .8 or not tops else tops[0][2] * .8
            add(7, (u(200, 1500), np.exp(u(-.2, 1.8))), C.pick(rng, C.GREENS + C.STRAWS, .4) if rng.random() < .7 else C.anything(rng), C.anything(rng), (u(5, 80), u(30, 160), rng.integers(2), 0), z=z)
    if rng.random() < .05:
        r = u(40, 190)
        add(8, (r, r * u(.8, .97)), C.anything(rng), gloss=u(0, .3), z=u(3, 60))
    if rng.random() < .06:   # a bundle of pencils, canes or laths
        n, w, l, a = rng.integers(3, 9), np.exp(u(1, 2.8)), np.exp(u(4, 6.3)), u(0, 6.28)
        c, z = at + rng.uniform(-.5, .5, 2) * span, u(2, 14)
        for k in range(n):
            add(6, (l * u(.8, 1), w), C.anything(rng), C.anything(rng), gloss=u(0, .3), z=z, c=c + (k - n / 2) * 2.05 * w * np.array([-np.sin(a), np.cos(a)]) + rng.normal(0, .1, 2) * l)
            out[-1]["rot"] = a + rng.normal(0, .05)
    if rims and rng.random() < .3:   # straws, twigs and knots beside the fruit, which look like stalks
        for _ in range(rng.integers(1, 8)):
            r = rims[rng.integers(len(rims))]
            b = u(0, 6.28); c = np.array(r[:2]) + r[2] * u(.7, 1.25) * np.array([np.cos(b), np.sin(b)])
            k = np.clip(r[2] * np.exp(rng.normal(-1.6, .5)), 3, 60)
            add(6 if rng.random() < .75 else 3, (k, np.clip(k * u(.06, .4), .7, 9)) if rng.random() < .8 else (k * .4, k * .4), C.pick(rng, C.STRAWS + C.WOODS + C.GREENS + C.EARTHS, .35), C.anything(rng), z=u(1, 12) if rng.random() < .7 else u(2, 2 + 2 * r[2]), c=c)
    if rims and rng.random() < .22:   # bent blades of grass and straws, under, against and over the fruit
        table = [C.GREENS, C.STRAWS, C.GREENS + C.STRAWS][rng.integers(3)]
        for _ in range(rng.integers(2, 14)):
            r = rims[rng.integers(len(rims))]
            k = np.clip(r[2] * np.exp(rng.normal(-.3, .5)), 8, 120)
            c = np.array(r[:2]) + rng.normal(0, .8, 2) * r[2]
            add(7, (k, np.clip(k * u(.01, .06), .4, 4)), C.pick(rng, table, .35), C.pick(rng, table, .4), (u(0, .3) * k, u(.6, 2.5) * k, 0, 0), z=u(.5, 8) if rng.random() < .7 else u(2, 2 + 2 * r[2]), c=c)
    return out


def slide(b, o, start, way, want):
    """Puts b as far from `start` along `way` as leaves it a gap of `want` to o."""
    lo, hi = 0.0, o.bound() + b.bound()
    for _ in range(9):
        m = .5 * (lo + hi); b.c[:2] = start + way * m
        lo, hi = (lo, m) if b.gap(o) > want else (m, hi)
    b.c[:2] = start + way * hi


def around(b, placed):
    """The placed bodies that b may touch."""
    return [q[0] for q in placed if ((q[0].c - b.c) ** 2).sum() < (q[0].reach + b.reach) ** 2]


def place(rng, bank, varieties, n, at, span):
    """Fruit on the table: scattered, in rows, in clusters that touch, or heaped. Returns [(body, record, variety)]."""
    u, placed = rng.uniform, []
    layout = rng.choice(["scatter", "rows", "cluster", "heap"], p=[.3, .28, .32, .1])
    cols = int(np.ceil(np.sqrt(n * u(.5, 3)))); pitch = max(v.size for v in varieties) * u(.75, 1.6); yaw = u(0, 6.28)
    c, s = np.cos(yaw), np.sin(yaw); shift = u(-.3, .3, 2) * span
    aligned = rng.random() < .6
    for i in range(n):
        v = varieties[(i // cols) % len(varieties) if layout == "rows" else rng.integers(len(varieties))]
        b, r = F.individual(rng, bank, v)
        if layout == "rows" and aligned:
            a = np.arctan2(b.R[1, 0], b.R[0, 0]); R = np.array([[np.cos(yaw - a + .15), -np.sin(yaw - a + .15), 0], [np.sin(yaw - a + .15), np.cos(yaw - a + .15), 0], [0, 0, 1]]); b.R = R @ b.R
        ok = False
        for _ in range(5):
            if layout == "rows":
                gx, gy = (i % cols - cols / 2) * pitch + rng.normal(0, .06) * pitch, (i // cols - n / cols / 2) * pitch * 1.1 + rng.normal(0, .06) * pitch
                xy = at + shift + np.array([c * gx - s * gy, s * gx + c * gy])
            else:
                xy = at + rng.uniform(-.55, .55, 2) * span if layout == "scatter" or not placed else None
            b.c[2] = b.c[2] if layout != "heap" or not placed else -(b.local @ b.R[2]).min()
            if xy is not None:
                b.c[:2] = xy
            else:   # slide towards a placed fruit until they touch
                o = placed[rng.integers(len(placed))][0]
                a = u(0, 6.28); d = np.array([np.cos(a), np.sin(a)])
                if (o.bent or b.bent) and rng.random() < .55:   # one lies in the hollow of the other
                    if o.bent:
                        d = o.hollow(); d = d + rng.normal(0, .3, 2); d /= np.hypot(*d)
                    else:
                        h = b.hollow(); q = np.arctan2(-d[1], -d[0]) - np.arctan2(h[1], h[0]) + rng.normal(0, .3); b.R = rot("z", q) @ b.R
                want = u(-.006, .012) * b.size if rng.random() < .8 else u(.01, .1) * b.size
                slide(b, o, o.c[:2], d, want)
            near = around(b, placed)
            g = min([b.gap(q) for q in near], default=9)
            if layout == "heap" and near and g < 0 and rng.random() < .6:
                top = max(q.c[2] + q.bound() for q in near)
                lo, hi = b.c[2], top + b.bound()
                for _ in range(9):
                    m = .5 * (lo + hi); b.c[2] = m
                    lo, hi = (lo, m) if min(b.gap(q) for q in near) > -.005 * b.size else (m, hi)
                b.c[2] = hi; g = 0
            if g > -.02 * b.size:
                ok = True; break
        if ok:
            placed.append((b, r, v))
    return placed


def pack(rng, bank, varieties, n, at, span):
    """Fruit in rows, side by side and touching, as roots, peppers and long squashes are laid out. Returns [(body, record, variety)]."""
    u, placed = rng.uniform, []
    yaw, cols = u(0, 6.28), int(rng.integers(3, 11))
    along, across = np.array([np.cos(yaw), np.sin(yaw)]), np.array([-np.sin(yaw), np.cos(yaw)])
    lean, flips, apart = abs(rng.normal(0, .1)), rng.choice([0, .5, 1], p=[.4, .3, .3]), u(0, .2)
    pitch = max(v.size for v in varieties) * u(1, 1.3)
    wide = np.mean([v.size / max(v.slim, 1) for v in varieties])
    start = at + u(-.25, .25, 2) * span - across * wide * (min(cols, n) - 1) / 2
    before = None
    for i in range(n):
        v = varieties[(i // cols) % len(varieties) if rng.random() < .85 else rng.integers(len(varieties))]
        b, r = F.individual(rng, bank, v)
        turned = np.pi if (i % 2 and flips == 1) or (flips == .5 and rng.random() < .5) else 0
        b.R = rot("z", yaw + turned + rng.normal(0, lean) - np.arctan2(b.R[1, 0], b.R[0, 0])) @ b.R
        b.c[:2] = start + along * ((i // cols - (n - 1) // cols / 2) * pitch + rng.normal(0, .06) * v.size)
        if i % cols == 0:
            before = None
        elif before is not None:
            want = u(-.006, .012) * b.size if rng.random() > apart else u(.01, .12) * b.size
            slide(b, before, before.c[:2] + along * (along @ (b.c[:2] - before.c[:2])), across, want)
        if min([b.gap(q) for q in around(b, placed)], default=9) > -.02 * b.size:
            placed.append((b, r, v)); before = b
    return placed


def scene(rng, bank, crop, bare=False):
    """(scene record, solids, decals, ends) of one random scene; ends: rows ident, stem x y facing, blossom x y facing.
    A bare scene is an empty table, on which fruit of other scenes are laid (feed.lay)."""
    u = rng.uniform
    s = np.zeros((), dtype("scene"))
    kind = rng.random()
    big, usual = kind < .2, kind > .62   # usual: several whole fruit on a table, most with stalks, seen from above
    px = u(280, 760) if big else np.exp(u(np.log(50), np.log(220))) if usual else np.exp(u(np.log(24), np.log(420)))
    mmpp, at = camera(rng, s, crop, rng.random() < (.6 if big else .12), usual)
    span = crop * mmpp
    s["ga"], s["gb"], s["seed"] = ground(rng), ground(rng), rng.integers(1 << 20)
    if rng.random() < .13:
        a = u(0, 6.28); s["edge"] = [np.cos(a), np.sin(a), np.cos(a) * at[0] + np.sin(a) * at[1] + u(-.1, .5) * span]; s["drop"] = u(60, 900)
    n = 0 if bare else 1 if rng.random() < (.5 if big else .1) else int(rng.integers(2 + 2 * usual, 3 * usual + 1 + int(np.clip(1.1 * (crop / px) ** 2, 3, 30))))
    size = float(np.clip(px * mmpp, 16, 520))
    dim = rng.random() < (.4 if s["ga"]["kind"] in (2, 4, 8) else .15)   # dark fruit on what has dark gaps or is dark
    if dim and rng.random() < .3:
        for k in ("ca", "cb", "cc"):
            s["ga"][k] = C.near(rng, C.lin((40, 38, 36)) * u(.3, 1.6), .3)
    var = [F.Variety(rng, bank, size * (1 if k == 0 else np.exp(rng.normal(0, .35))), s["ga"]["ca" if rng.random() < .6 else "cb"], dim and rng.random() < .6, .95 if usual else .78) for k in range(rng.choice([1, 2, 3, 4, 6], p=[.4, .28, .16, .1, .06]))]
    if any(v.recipe in ("pattypan", "striped") for v in var) and rng.random() < .4:   # where they are hardest to see
        s["ga"] = ground(rng, ["strands", "strands", "planks", "gravel"])
    if n and not big and rng.random() < PACKED:
        for k, v in enumerate(var):   # the longest of a few; they lie
            if rng.random() < .85:
                var[k] = v = max([v] + [F.Variety(rng, bank, v.size, s["ga"]["ca" if rng.random() < .6 else "cb"], dim and rng.random() < .6, .9) for _ in range(4)], key=lambda w: w.slim)
            v.pose, v.bend = "side", v.bend * (.25 if rng.random() < .7 else .7)
        placed = pack(rng, bank, var, int(rng.integers(max(n, 4), max(n, 4) + 14)), at, span)
    else:
        placed = place(rng, bank, var, n, at, span) if n else []
    solids, ends, tops, rims = [], [], [], []
    for i, (b, r, v) in enumerate(placed):
        solids.append(F.fill(r, rng, b, i + 1, 0)); tops.append((b.c[0], b.c[1], 2 * b.c[2])); rims.append((b.c[0], b.c[1], b.radius))
        if v.stalk and rng.random() < .9:
            solids.append(F.stalk(rng, bank, v, b, i + 1))
        p, d, q, e = F.ends(b)
        view = lambda w, m: float(m @ (s["eye"] - w) / np.linalg.norm(s["eye"] - w))
        ends.append([i + 1, *project(s, p), view(p, d), *project(s, q), view(q, e)])
    if rng.random() < .08:
        to = at + rng.normal(size=2) * span; solids += F.hand(rng, bank, at + u(-.4, .4, 2) * span, to)
    if rng.random() < .18:
        for _ in range(rng.integers(1, 3)):
            b, r = F.other(rng, bank, np.exp(u(3.3, 5.8)), at + u(-.6, .6, 2) * span)
            if all(b.gap(q[0]) > 0 for q in placed):
                solids.append(r)
    if rims and rng.random() < (.3 if big else .16):
        slim = .35 if big and rng.random() < .7 else 1.0
        for _ in range(rng.integers(1, 4)):
            r = rims[rng.integers(len(rims))]; a = u(0, 6.28)
            long = np.clip(r[2] * u(.2, .9), 4, 90) if slim == 1 else np.clip(r[2] * u(1, 4), 20, 400)
            b, q = F.stray(rng, bank, np.array(r[:2]) + r[2] * u(.9, 1.8) * np.array([np.cos(a), np.sin(a)]), long, slim)
            if all(b.gap(o[0]) > -.3 for o in placed):
                solids.append(q)
    lights(rng, s, at, .5 if dim else .3)
    if bare and rng.random() < .6:
        return s, [], [], []
    return s, solids, decals(rng, at, span, tops, mmpp, rims), ends


def batch(seed, bank, n, crop):
    """n scenes packed for the tracer, the last one bare: (scenes, solids, decals, ends list)."""
    rng = np.random.default_rng(seed)
    S, so, de, en = [], [], [], []
    for i in range(n):
        s, a, b, e = scene(rng, bank, crop, i == n - 1)
        s["solid0"], s["solids"], s["decal0"], s["decals"] = len(so), len(a), len(de), len(b)
        S.append(s); so += a; de += b; en.append(np.array(e, np.float32).reshape(-1, 7))
    pack = lambda x, k: np.array(x, dtype(k)) if len(x) else np.zeros(1, dtype(k))
    return pack(S, "scene"), pack(so, "solid"), pack(de, "decal"), en
