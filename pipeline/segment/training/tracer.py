"""Builds the ray tracer (nvcc for a GPU, g++ otherwise) and calls it on packed scenes."""
import ctypes
import os
import subprocess
import tempfile
import torch
import layout

HERE = os.path.dirname(os.path.abspath(__file__))


class Tracer:
    def __init__(self, device):
        self.device = torch.device(device)
        d = tempfile.mkdtemp()
        with open(os.path.join(d, "layout.h"), "w") as f:
            f.write(layout.header())
        src, lib = os.path.join(HERE, "kernel", "trace.cu"), os.path.join(d, "trace.so")
        inc = ["-I" + d, "-I" + os.path.join(HERE, "kernel")]
        if self.device.type == "cuda":
            cc = "".join(map(str, torch.cuda.get_device_capability(self.device)))
            cmd = ["nvcc", "-O3", "-use_fast_math", "-arch=sm_" + cc, "-shared", "-Xcompiler", "-fPIC"] + inc + [src, "-o", lib]
        else:
            cmd = ["g++", "-O3", "-march=native", "-ffast-math", "-fopenmp", "-shared", "-fPIC", "-x", "c++", src] + inc + ["-o", lib]
        subprocess.run(cmd, check=True)
        self.lib = ctypes.CDLL(lib)

    def __call__(self, bank, packed, crop):
        """(linear colour (N, 3, crop, crop) float32, hits (N, 2 crop, 2 crop) uint8) of packed scenes."""
        scenes, solids, decals, _ = packed
        n = len(scenes)
        dev = [torch.from_numpy(a.view("u1").reshape(-1).copy()).to(self.device) for a in (scenes, solids, decals)]
        rgb = torch.empty((n, crop, crop, 3), device=self.device); ids = torch.empty((n, 2 * crop, 2 * crop), dtype=torch.uint8, device=self.device)
        p = [ctypes.c_void_p(t.data_ptr()) for t in (*dev, bank.tab)]
        if self.device.type == "cuda":
            torch.cuda.current_stream(self.device).synchronize()   # the library uses the default stream
            torch.cuda.set_device(self.device)
        err = self.lib.render(*p, n, crop, crop, ctypes.c_void_p(rgb.data_ptr()), ctypes.c_void_p(ids.data_ptr()), self.device.index or 0)
        if err:
            raise RuntimeError("ray tracer: CUDA error %d" % err)
        if self.device.type == "cuda":
            torch.cuda.synchronize(self.device)
        return rgb.permute(0, 3, 1, 2).contiguous(), ids
