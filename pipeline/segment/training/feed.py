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
        self.fruit, self.stalk, self.other, self.polys, self.cpu = bank.fruit, bank.stalk, bank.other, bank.polys, bank.cpu


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
def make(trace, bank, packed, crop, to, shots=1):
    """(photographs (N, shots, 3, H, W) uint8, targets half, ids uint8) of packed scenes, on the device `to`."""
    rgb, hits = trace(bank, packed, crop)
    t, ids = targets.build(hits, packed[3])
    rgb = torch.nan_to_num(rgb).clamp(0, 8)
    y = torch.stack([(photo.take(rgb.clone()) * 255).round().to(torch.uint8) for _ in range(shots)], 1)
    return y.to(to), t.half().to(to), ids.to(torch.uint8).to(to)


class Pool:
    """The last `size` crops, on the training device."""

    def __init__(self, size, crop, device, shots):
        self.rgb = torch.empty((size, shots, 3, crop, crop), dtype=torch.uint8, device=device)
        self.t = torch.empty((size, 8, crop // 2, crop // 2), dtype=torch.half, device=device)
        self.ids = torch.empty((size, 1, crop // 2, crop // 2), dtype=torch.uint8, device=device)
        self.size, self.at, self.full, self.seen, self.shots = size, 0, 0, 0, shots

    def add(self, item):
        n = len(item[0])
        i = (torch.arange(n) + self.at) % self.size
        i = i.to(self.rgb.device)
        self.rgb[i], self.t[i], self.ids[i] = item
        self.at = (self.at + n) % self.size
        self.full = min(self.full + n, self.size); self.seen += n

    def draw(self, n):
        i = torch.randint(self.full, (n,), device=self.rgb.device)
        return self.rgb[i, torch.randint(self.shots, (n,), device=i.device)], self.t[i], self.ids[i]


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
