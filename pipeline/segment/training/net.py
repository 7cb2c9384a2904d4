"""The outline network: a small U-shaped net of plain convolutions (see ../model/README.md for its inputs and outputs).

It works at a quarter of the input's size and coarser; each place there gives four cells of the maps, which two thin
layers at half the size then put right along edges.
"""
import torch
from torch import nn

MEAN, STD = (0.45, 0.43, 0.40), (0.26, 0.25, 0.25)
OUT = 8


def conv(a, b, k=3, stride=1):
    return nn.Sequential(nn.Conv2d(a, b, k, stride, k // 2, bias=False), nn.BatchNorm2d(b), nn.ReLU(inplace=True))


class Block(nn.Module):
    """Residual pair of 3x3 convolutions."""

    def __init__(self, c):
        super().__init__()
        self.a = conv(c, c)
        self.b = nn.Sequential(nn.Conv2d(c, c, 3, 1, 1, bias=False), nn.BatchNorm2d(c))

    def forward(self, x):
        return torch.relu(x + self.b(self.a(x)))


class Wide(nn.Module):
    """Residual 3x3 convolution with holes, for a wider view."""

    def __init__(self, c, holes):
        super().__init__()
        self.a = nn.Sequential(nn.Conv2d(c, c, 3, 1, holes, holes, bias=False), nn.BatchNorm2d(c), nn.ReLU(inplace=True))

    def forward(self, x):
        return x + self.a(x)


class Net(nn.Module):
    """w: channels at 1/2, 1/4 ... 1/32 of the input; blocks: Blocks after each way down; joins: Blocks (2), one
    convolution (1) on the way up, from 1/16 to 1/4; first: size of the first kernel."""

    def __init__(self, w=(16, 32, 64, 96, 128), blocks=(0, 0, 1, 2, 3), joins=(2, 1, 1), first=3):
        super().__init__()
        self.config = dict(w=tuple(w), blocks=tuple(blocks), joins=tuple(joins), first=first)
        self.register_buffer("mean", torch.tensor(MEAN).view(1, 3, 1, 1)); self.register_buffer("std", torch.tensor(STD).view(1, 3, 1, 1))
        self.stem = conv(3, w[0], first, 2)
        self.down = nn.ModuleList(nn.Sequential(conv(w[i - 1], w[i], 3, 2), *[Block(w[i]) for _ in range(blocks[i])]) for i in range(1, 5))
        self.wide = nn.Sequential(Wide(w[4], 4), Wide(w[4], 2))
        self.squeeze = nn.ModuleList(conv(w[i], w[i - 1], 1) for i in (4, 3, 2))
        self.fuse = nn.ModuleList(Block(w[i]) if j == 2 else conv(w[i], w[i]) for i, j in zip((3, 2, 1), joins))
        self.up = nn.Upsample(scale_factor=2, mode="nearest")
        self.head = nn.ConvTranspose2d(w[1], OUT, 2, 2)
        self.rise = nn.ConvTranspose2d(w[1], w[0], 2, 2)
        self.fine, self.put = conv(w[0], w[0]), nn.Conv2d(w[0], OUT, 1, bias=False)
        with torch.no_grad():   # rare things start as rare
            self.head.bias.copy_(torch.tensor([-1.5, -4, -4, 0, 0, 0, -5, -5]))
            self.put.weight.zero_()

    def forward(self, x):
        x = near = self.stem((x - self.mean) / self.std)
        f = []
        for d in self.down:
            x = d(x); f.append(x)
        y = self.wide(x)
        for s, u, skip in zip(self.squeeze, self.fuse, f[2::-1]):
            y = u(self.up(s(y)) + skip)
        return self.head(y) + self.put(self.fine(torch.relu(self.rise(y) + near)))
