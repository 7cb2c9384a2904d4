"""Random colours: skins over the whole plausible gamut, grounds, lights. All linear sRGB."""
import numpy as np

# Rough anchors as sRGB 0..255 (our own choice); each draw moves far around them.
SKINS = [(230, 120, 30), (240, 160, 40), (225, 190, 60), (235, 215, 150), (240, 232, 205), (205, 165, 115), (190, 140, 90), (220, 170, 110),
         (200, 60, 35), (170, 30, 30), (140, 20, 40), (90, 25, 60), (60, 25, 50), (35, 20, 35), (25, 30, 25), (30, 50, 30), (45, 80, 40), (70, 110, 50),
         (110, 140, 60), (150, 170, 90), (185, 200, 130), (120, 140, 140), (140, 155, 150), (95, 115, 110), (160, 120, 60), (120, 80, 45), (235, 170, 130), (245, 200, 20),
         (190, 150, 185), (150, 110, 150), (120, 95, 120), (165, 140, 150), (110, 75, 110), (240, 236, 224), (232, 224, 190), (220, 205, 150), (205, 180, 120), (240, 225, 130), (150, 115, 85), (95, 70, 55)]
DARKS = [(25, 30, 25), (30, 50, 30), (35, 20, 35), (22, 22, 24), (40, 60, 25), (60, 25, 50), (45, 38, 32), (20, 35, 30), (50, 62, 45)]
WOODS = [(196, 160, 116), (160, 125, 90), (120, 90, 62), (210, 180, 140), (140, 132, 122), (95, 80, 66), (180, 140, 95), (160, 155, 145), (70, 55, 45)]
EARTHS = [(110, 85, 60), (80, 62, 46), (140, 115, 85), (60, 50, 42), (150, 100, 70), (45, 38, 32), (125, 110, 95)]
GREYS = [(150, 148, 143), (185, 183, 178), (110, 110, 108), (85, 86, 88), (200, 198, 190), (60, 60, 62), (38, 38, 40), (22, 22, 24)]
STRAWS = [(215, 190, 120), (195, 165, 100), (170, 140, 80), (225, 205, 150), (140, 115, 70)]
GREENS = [(70, 110, 45), (95, 130, 60), (50, 85, 35), (120, 140, 75), (60, 100, 70), (40, 60, 25)]
SHEETS = [(236, 236, 230), (40, 92, 150), (30, 110, 70), (200, 190, 170), (90, 95, 60), (230, 225, 200), (25, 25, 28), (170, 60, 50), (190, 195, 200), (60, 65, 110)]
CARDBOARD = [(180, 145, 105), (165, 130, 92), (195, 165, 125)]


def lin(c):
    c = np.asarray(c, float) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def near(rng, c, amount=0.25):
    """A linear colour near a linear colour: lightness and tint both move."""
    k = np.exp(rng.normal(0, amount)) * np.exp(rng.normal(0, amount * .35, 3))
    return np.clip(np.asarray(c) * k, 0.003, 0.92)


def pick(rng, table, amount=0.25):
    return near(rng, lin(table[rng.integers(len(table))]), amount)


def anything(rng):
    """Any colour, saturated ones rarer."""
    v, s = rng.uniform(.02, .9) ** 1.3, rng.beta(1.2, 2.2)
    c = rng.random(3)
    c = v * (1 - s + s * c / c.max())
    return np.clip(c, .003, .92)


def like(rng, ground):
    """A skin of nearly the ground's colour: hardly another tint, seldom darker (that would be a shadow)."""
    k = np.exp(rng.uniform(-.15, .6)) * np.exp(rng.normal(0, .1, 3))
    return np.clip(np.asarray(ground) * k, .004, .92)


def skin(rng):
    return anything(rng) if rng.random() < .12 else pick(rng, SKINS, .28)


def light(rng, warm=None):
    """Tint of a light source, mean 1."""
    w = rng.normal(0, .12) if warm is None else warm
    c = np.exp(np.array([w, 0.15 * w, -w]) + rng.normal(0, .03, 3))
    return c / c.mean()
