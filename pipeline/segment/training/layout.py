"""Records shared by the Python scene writer and the C++/CUDA ray tracer.

Every field is float32 (a scalar or a short vector). `dtype(NAME)` gives the numpy record, `header()` the same
records as C structs, so that the two sides cannot disagree. Lengths are mm, angles radians, colours linear sRGB.
"""
import numpy as np

LIGHTS = 4

GROUND = [
    ("kind", 1),      # see kernel/ground.h
    ("scale", 1),     # characteristic length, mm
    ("rot", 1), ("ox", 1), ("oy", 1),
    ("ca", 3), ("cb", 3), ("cc", 3),
    ("p", 6),         # meaning depends on kind
    ("relief", 1),    # mm height of the bump
    ("gloss", 1),
    ("stain", 1), ("stain_scale", 1),
    ("seed", 1),
]

SOLID = [
    ("role", 1),      # 0 fruit body, 1 stalk, 2 something else
    ("ident", 1),     # number of the fruit, 1..100
    ("shape", 1),     # row of the meridian bank
    ("c", 3),         # centre, world
    ("m", 9),         # local-from-world rotation, row-major
    ("bound", 1),     # radius of a sphere around c that holds the solid
    ("size", 1),      # mm per unit of the meridian table
    ("ax", 1), ("ar", 1),   # extra scale along and across the axis
    ("half", 1),      # half length along the straight axis, mm
    ("zs", 1),        # flattening of the cross-section
    ("xb", 1), ("ra", 1),   # bend: starts at x = xb, radius ra
    ("ribs", 1), ("rib_depth", 1), ("rib_sharp", 1),
    ("w1", 1), ("f1", 1), ("w2", 1), ("f2", 1),   # wobble and warts: relative amplitude, 1/mm
    ("base", 3), ("second", 3), ("third", 3),
    ("pattern", 1), ("pp", 5),
    ("mottle", 1), ("mottle_f", 1),
    ("spot_dir", 3), ("spot_cos", 1), ("spot_col", 3),   # ground spot: local direction, size
    ("scar", 1), ("dust", 1),
    ("gloss", 1), ("shine", 1), ("bump", 1), ("bump_f", 1),
    ("calyx", 1), ("calyx_n", 1), ("calyx_col", 3),      # painted calyx star: radius relative to ar
    ("end_r", 2), ("end_col", 3),                        # corky scars at stem and blossom end: radius relative to ar
    ("seed", 1),
]

DECAL = [
    ("kind", 1), ("c", 3), ("rot", 1), ("size", 2),
    ("tilt", 2),      # slope of the plane dz/dx, dz/dy
    ("ca", 3), ("cb", 3), ("p", 4), ("gloss", 1), ("seed", 1),
]

LIGHT = [("kind", 1), ("pos", 3), ("col", 3), ("size", 1)]   # kind 0: direction, 1: point

SCENE = [
    ("eye", 3), ("m", 9),         # world-from-camera rotation, row-major; the camera looks along +z, y down
    ("f", 1), ("cx", 1), ("cy", 1), ("k1", 1), ("x0", 1), ("y0", 1),
    ("solids", 1), ("solid0", 1), ("decals", 1), ("decal0", 1), ("lights", 1),
    ("sky", 3), ("bounce", 3), ("ao", 1),
    ("edge", 3),      # table is where edge0*x+edge1*y < edge2
    ("drop", 1),      # depth of the ground beyond the edge, 0: no edge
    ("seed", 1),
]


def _fields(rows):
    return [(n, np.float32) if k == 1 else (n, np.float32, (k,)) for n, k in rows]


def dtype(name):
    rows = {"ground": GROUND, "solid": SOLID, "decal": DECAL, "light": LIGHT, "scene": SCENE}[name]
    f = _fields(rows)
    if name == "scene":
        f += [("light", dtype("light"), (LIGHTS,)), ("ga", dtype("ground")), ("gb", dtype("ground"))]
    return np.dtype(f)


def header():
    out = ["#pragma once"]
    for name, rows in [("Ground", GROUND), ("Solid", SOLID), ("Decal", DECAL), ("Light", LIGHT), ("Scene", SCENE)]:
        out.append("struct %s {" % name)
        out += ["  float %s;" % (n if k == 1 else "%s[%d]" % (n, k)) for n, k in rows]
        if name == "Scene":
            out.append("  Light light[%d]; Ground ga, gb;" % LIGHTS)
        out.append("};")
    return "\n".join(out) + "\n"
