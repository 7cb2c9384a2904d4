"""Endless supply of rendered scenes: processes write scenes, a thread renders them, a pool on the GPU keeps them."""
import multiprocessing as mp
import queue
import threading
import torch
import photo
import scene
import targets
from tracer import Tracer


class _Shapes:
    """The part of the meridian bank that scene writing needs, without GPU tensors."""

    def __init__(self, bank):
        self.fruit, self.stalk, self.other, self.polys, self.kinds, self.cpu = bank.fruit, bank.stalk, bank.other, bank.polys, bank.kinds, bank.cpu


def _write(shapes, seed, step, n, crop, out):
    while True:
        out.put(scene.batch(seed, shapes, n, crop))
        seed += step


class Feed:
    """Renders scenes of seeds >= seed. `take()` gives (photographs, targets, ids) of `n` crops or None."""

    def __init__(self, bank, seed, workers, crop, n, render_device, train_device, shots):
        ctx = mp.get_context("fork")
        self.packed = ctx.Queue(maxsize=4 * workers)
        self.procs = [ctx.Process(target=_write, args=(_Shapes(bank), seed + i, workers, n, crop, self.packed), daemon=True) for i in range(workers)]
        for p in self.procs:
            p.start()
        self.bank, self.crop, self.device, self.to = bank, crop, torch.device(render_device), train_device
        self.ready = queue.Queue(maxsize=16)
        self.error, self.shots = None, shots
        threading.Thread(target=self._render, daemon=True).start()

    def _render(self):
        try:
            trace = Tracer(self.device)
            while True:
                p = self.packed.get()
                self.ready.put(make(trace, self.bank, p, self.crop, self.to, self.shots))
        except Exception as e:   # shown by the training loop
            self.error = e

    def take(self, wait=False):
        if self.error:
            raise self.error
        try:
            return self.ready.get(timeout=5 if wait else 0.0005)
        except queue.Empty:
            return None

    def close(self):
        for p in self.procs:
            p.terminate()


@torch.no_grad()
def lay(rgb, hits, share=.3):
    """Cuts the fruit and stalks out of some pictures and lays them on another ground: that of the last, bare picture or
    a plain one, with a soft shadow or none. Light, colour and sharpness of fruit and ground no longer agree, as when
    a lamp or a flash lights the fruit alone; nothing but the outline itself then says what is fruit."""
    n, _, h, w = rgb.shape
    r = lambda lo, hi: lo + (hi - lo) * float(torch.rand(()))
    for i in range(n - 1):
        if r(0, 1) > share:
            continue
        a = torch.nn.functional.avg_pool2d((hits[i:i + 1, None] > 0).float(), 2)
        a = photo.gauss(a, torch.tensor([r(.05, .9)], device=a.device))
        if r(0, 1) < .55:
            g = rgb[n - 1:n]
            g = g.flip(2) if r(0, 1) < .5 else g
            g = g.flip(3) if r(0, 1) < .5 else g
            g = g.roll((int(r(0, h)), int(r(0, w))), (2, 3)) if r(0, 1) < .3 else g
        else:   # plain: one colour, black more often than others, a slow change and a little grain
            c = torch.rand(3, device=a.device) ** 1.5 * r(.02, .9) if r(0, 1) < .5 else torch.full((3,), r(.002, .9) ** 2, device=a.device) * (.9 + .2 * torch.rand(3, device=a.device))
            slow = torch.nn.functional.interpolate(torch.rand(1, 1, int(r(2, 9)), int(r(2, 9)), device=a.device), size=(h, w), mode="bicubic", align_corners=False)
            g = c.view(1, 3, 1, 1) * (1 + r(0, .8) ** 2 * (slow - .5)) * (1 + r(0, .3) ** 2 * torch.randn(1, 1, h, w, device=a.device))
        g = g.clamp_min(0)
        if r(0, 1) < .6:   # soft shadow, off to one side
            k = a
            for _ in range(int(r(1, 4))):
                k = photo.gauss(k, torch.tensor([r(1.5, 4.5)], device=a.device))
            k = k.roll((int(r(-14, 14)), int(r(-14, 14))), (2, 3))
            g = g * (1 - r(.1, .9) * k)
        m = rgb[i:i + 1] * 2 ** r(-1.2, 1.2) * torch.exp(.12 * torch.randn(1, 3, 1, 1, device=a.device))
        rgb[i:i + 1] = a * m + (1 - a) * g
    return rgb


@torch.no_grad()
def make(trace, bank, packed, crop, to, shots=1):
    """(photographs (N, shots, 3, H, W) uint8, targets half, ids uint8) of packed scenes, on the device `to`."""
    rgb, hits = trace(bank, packed, crop)
    t, ids = targets.build(hits, packed[3])
    rgb = lay(torch.nan_to_num(rgb).clamp(0, 8), hits)
    y = torch.stack([(photo.take(rgb.clone()) * 255).round().to(torch.uint8) for _ in range(shots)], 1)
    return y.to(to), t.half().to(to), ids.to(torch.uint8).to(to)


class Pool:
    """The last `size` crops, on the training device."""

    def __init__(self, size, crop, device, shots):
        self.rgb = torch.empty((size, shots, 3, crop, crop), dtype=torch.uint8, device=device)
        self.t = torch.empty((size, 8, crop // 2, crop // 2), dtype=torch.half, device=device)
        self.ids = torch.empty((size, 1, crop // 2, crop // 2), dtype=torch.uint8, device=device)
        self.size, self.at, self.full, self.seen, self.shots = size, 0, 0, 0, shots
        self.hard, self.usual = torch.ones(size, device=device), torch.ones((), device=device)

    def add(self, item):
        n = len(item[0])
        i = (torch.arange(n) + self.at) % self.size
        i = i.to(self.rgb.device)
        self.rgb[i], self.t[i], self.ids[i] = item
        self.hard[i] = 1
        self.at = (self.at + n) % self.size
        self.full = min(self.full + n, self.size); self.seen += n

    def draw(self, n):
        """n crops and their rows in the pool; crops that the net found hard come up to four times as often as easy ones."""
        i = torch.multinomial(self.hard[:self.full], n, replacement=True)
        return self.rgb[i, torch.randint(self.shots, (n,), device=i.device)], self.t[i], self.ids[i], i

    def note(self, rows, loss):
        """Notes the loss of the crops in these rows."""
        self.usual.mul_(.98).add_(loss.mean(), alpha=.02)
        self.hard[rows] = (loss / self.usual).clamp_min(1e-6).sqrt().clamp(.5, 2)


def turn(rgb, t, ids, k):
    """One of the eight turns and mirrorings of a batch; offsets turn with the picture."""
    if k & 1:
        rgb, t, ids = rgb.flip(3), t.flip(3), ids.flip(3); t = t * _sign(t, 4)
    if k & 2:
        rgb, t, ids = rgb.flip(2), t.flip(2), ids.flip(2); t = t * _sign(t, 5)
    if k & 4:
        rgb, t, ids = rgb.transpose(2, 3), t.transpose(2, 3)[:, [0, 1, 2, 3, 5, 4, 6, 7]], ids.transpose(2, 3)
    return rgb, t, ids


def _sign(t, c):
    s = torch.ones(1, 8, 1, 1, device=t.device); s[0, c] = -1
    return s
