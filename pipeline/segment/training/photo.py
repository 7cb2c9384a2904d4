"""From linear light to what a phone writes: random exposure, colour, tone, blur, noise, sharpening, JPEG blocks.

Everything works on a batch (N, 3, H, W) on any device; each picture draws its own settings.
"""
import math
import torch
import torch.nn.functional as F


def encode(x):
    x = x.clamp(0, 1)
    return torch.where(x <= 0.0031308, 12.92 * x, 1.055 * x.clamp_min(1e-6) ** (1 / 2.4) - 0.055)


def decode(y):
    return torch.where(y <= 0.04045, y / 12.92, ((y + 0.055) / 1.055).clamp_min(0) ** 2.4)


def gauss(x, sigma):
    """Blur with a sigma (px) per picture, (N,)."""
    r = 9
    t = torch.arange(-r, r + 1, device=x.device).float()
    k = torch.exp(-0.5 * (t[None] / sigma[:, None].clamp_min(0.05)) ** 2); k = k / k.sum(1, keepdim=True)
    n, c, h, w = x.shape
    k = k.repeat_interleave(c, 0).to(x.dtype)
    y = x.reshape(1, n * c, h, w)
    y = F.conv2d(F.pad(y, (r, r, 0, 0), mode="replicate"), k.view(n * c, 1, 1, -1), groups=n * c)
    y = F.conv2d(F.pad(y, (0, 0, r, r), mode="replicate"), k.view(n * c, 1, -1, 1), groups=n * c)
    return y.view(n, c, h, w)


LUMA = [[16, 11, 10, 16, 24, 40, 51, 61], [12, 12, 14, 19, 26, 58, 60, 55], [14, 13, 16, 24, 40, 57, 69, 56], [14, 17, 22, 29, 51, 87, 80, 62],
        [18, 22, 37, 56, 68, 109, 103, 77], [24, 35, 55, 64, 81, 104, 113, 92], [49, 64, 78, 87, 103, 121, 120, 101], [72, 92, 95, 98, 112, 100, 103, 99]]


def jpeg(y, quality):
    """Block quantisation like a JPEG of the given quality (N,), both chroma planes at half resolution (ITU-T T.81 annex K)."""
    n, _, h, w = y.shape
    dev = y.device
    i = torch.arange(8, device=dev).float()
    D = torch.cos((2 * i[None] + 1) * i[:, None] * math.pi / 16) * math.sqrt(2 / 8); D[0] /= math.sqrt(2)
    s = torch.where(quality < 50, 5000 / quality, 200 - 2 * quality) / 100
    q = (torch.tensor(LUMA, device=dev).float()[None] * s[:, None, None]).clamp_min(1)
    m = torch.tensor([[.299, .587, .114], [-.1687, -.3313, .5], [.5, -.4187, -.0813]], device=dev)
    p = torch.einsum("ij,njhw->nihw", m, y * 255)
    p = p - torch.tensor([128., 0, 0], device=dev).view(1, 3, 1, 1)
    def blocks(a, q):
        n, c, h, w = a.shape
        b = a.view(n, c, h // 8, 8, w // 8, 8).permute(0, 1, 2, 4, 3, 5)
        d = D @ b @ D.T
        qq = q[:, None, None, None]
        return (D.T @ (torch.round(d / qq) * qq) @ D).permute(0, 1, 2, 4, 3, 5).reshape(n, c, h, w)
    lum = blocks(p[:, :1], q)
    chroma = blocks(F.avg_pool2d(p[:, 1:], 2), q * 1.2)
    p = torch.cat([lum, F.interpolate(chroma, scale_factor=2, mode="bilinear", align_corners=False)], 1) + torch.tensor([128., 0, 0], device=dev).view(1, 3, 1, 1)
    return (torch.einsum("ij,njhw->nihw", torch.linalg.inv(m.cpu()).to(dev), p) / 255).clamp(0, 1)


def take(x, strength=1.0):
    """Random photographs of linear pictures x; values 0..1, sRGB-encoded."""
    n, _, h, w = x.shape
    dev = x.device
    u = lambda lo, hi: lo + (hi - lo) * torch.rand(n, device=dev)
    g = lambda s: torch.randn(n, device=dev) * s
    on = lambda p: (torch.rand(n, device=dev) < p).float()
    v = lambda t: t.view(n, 1, 1, 1)
    # exposure: a middle and a bright level of the picture set the scale, then the photographer errs
    lum = x.mean(1).flatten(1)[:, ::97]
    a, b = lum.median(1).values, lum.quantile(.97, dim=1)
    k = torch.minimum(0.22 / (a + 1e-3), 1.1 / (b + 1e-3)) ** .5 * (0.55 / (b + 1e-3)) ** .5
    x = x * v(k * torch.exp2(g(.5) + on(.3) * u(-1.5, 1.5)).clamp(.15, 5))
    # lens fall-off, colour matrix, white balance
    yy, xx = torch.meshgrid(torch.linspace(-1, 1, h, device=dev), torch.linspace(-1, 1, w, device=dev), indexing="ij")
    x = x * (1 - v(u(0, .25)) * ((xx - v(u(-1, 1))) ** 2 + (yy - v(u(-1, 1))) ** 2) / 4)
    M = torch.eye(3, device=dev) + 0.06 * torch.randn(n, 3, 3, device=dev)
    M = M + on(.5).view(n, 1, 1) * u(-.12, .3).view(n, 1, 1) * (torch.eye(3, device=dev) - 1 / 3)
    x = torch.einsum("nij,njhw->nihw", M / M.sum(2, keepdim=True), x).clamp_min(0)
    wb = torch.exp(torch.randn(n, 3, device=dev) * .07 + on(.3)[:, None] * torch.randn(n, 3, device=dev) * .2)
    x = x * (wb / wb.mean(1, keepdim=True)).view(n, 3, 1, 1)
    x = x + v(on(.25) * u(0, .06))   # haze, flare
    x = gauss(x, u(.2, .75) + on(.22) * u(0, 1.8) + on(.06) * u(1, 4))
    for k, share in ((2, .12), (4, .04)):   # small photographs, enlarged
        few = on(share).bool()
        if bool(few.any()):
            x[few] = F.interpolate(F.avg_pool2d(x[few], k), scale_factor=k, mode="bilinear", align_corners=False)
    s = v(torch.exp(u(math.log(.0015), math.log(.03))) * (1 + on(.1)))
    grain = torch.randn_like(x)
    grain = torch.where(v(on(.4)).bool(), gauss(grain, torch.full((n,), .7, device=dev)) * 2, grain)
    x = x + grain * (x.clamp(0, 1) * s * s * 2 + (s * .3) ** 2).sqrt()
    y = encode(x)
    c = v(g(.35).clamp(-.9, .9)) * v(on(.7))
    y = y - c * torch.sin(2 * math.pi * y) / (2 * math.pi)
    y = y.clamp(1e-4, 1) ** v(torch.exp(g(.1)))
    small = None
    if float(torch.rand(())) < .5:   # some of these pictures have fewer pixels than the network looks at
        small = on(.5).bool()
        k = int(torch.randint(5, 8, ())) * h // 8 // 16 * 16
        if bool(small.any()):
            less = F.interpolate(y[small], size=(k, k), mode="area")
            less = finish(less)
            y[small] = F.interpolate(less, size=(h, w), mode="bilinear", align_corners=False)
    if small is None or not bool(small.all()):
        k = slice(None) if small is None else ~small
        y[k] = finish(y[k])
    return torch.round(y.clamp(0, 1) * 255) / 255


def finish(y):
    """Sharpening, grey and JPEG, as the camera's own software does it."""
    n, dev = len(y), y.device
    u = lambda lo, hi: lo + (hi - lo) * torch.rand(n, device=dev)
    on = lambda p: (torch.rand(n, device=dev) < p).float()
    v = lambda t: t.view(n, 1, 1, 1)
    y = y + v(u(0, 1.1) * on(.6)) * (y - gauss(y, u(.7, 1.6)))
    y = y.clamp(0, 1)
    grey = v(on(.04))
    y = y * (1 - grey) + y.mean(1, keepdim=True) * grey
    bad = on(.4).bool()
    if bool(bad.any()):
        y[bad] = jpeg(y[bad], torch.exp(u(math.log(30), math.log(92)))[bad])
    return y
