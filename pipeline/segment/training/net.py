"""The outline network: a small U-shaped net of plain convolutions (see ../model/README.md for its inputs and outputs)."""
import torch
from torch import nn

MEAN, STD = (0.45, 0.43, 0.40), (0.26, 0.25, 0.25)
OUT = 8


def conv(a, b, k=3, stride=1):
    return nn.Sequential(nn.Conv2d(a, b, k, stride, k // 2, bias=False), nn.BatchNorm2d(b), nn.ReLU(inplace=True))


class Block(nn.Module):
    """Residual pair of 3x3 convolutions."""

    def __init__(self, c, mid=None):
        super().__init__()
        mid = mid or c
        self.a = conv(c, mid)
        self.b = nn.Sequential(nn.Conv2d(mid, c, 3, 1, 1, bias=False), nn.BatchNorm2d(c))

    def forward(self, x):
        return torch.relu(x + self.b(self.a(x)))


class Net(nn.Module):
    def __init__(self, w=(24, 40, 64, 96, 128), blocks=(0, 1, 2, 3, 3)):
        super().__init__()
        self.config = dict(w=tuple(w), blocks=tuple(blocks))
        first = nn.Conv2d(3, w[0], 5, 2, 2, bias=False)
        self.register_buffer("mean", torch.tensor(MEAN).view(1, 3, 1, 1)); self.register_buffer("std", torch.tensor(STD).view(1, 3, 1, 1))
        self.stem = nn.Sequential(first, nn.BatchNorm2d(w[0]), nn.ReLU(inplace=True))
        self.down = nn.ModuleList()
        for i in range(1, 5):
            self.down.append(nn.Sequential(conv(w[i - 1], w[i], 3, 2), *[Block(w[i]) for _ in range(blocks[i])]))
        self.wide = nn.Sequential(nn.Conv2d(w[4], w[4], 3, 1, 4, 4, bias=False), nn.BatchNorm2d(w[4]), nn.ReLU(inplace=True))
        self.squeeze, self.fuse = nn.ModuleList(), nn.ModuleList()
        for i in range(4, 0, -1):
            self.squeeze.append(conv(w[i], w[i - 1], 1))
            self.fuse.append(conv(w[i - 1], w[i - 1]) if i == 1 else Block(w[i - 1]))
        self.up = nn.Upsample(scale_factor=2, mode="nearest")
        self.head = nn.Sequential(conv(w[0], w[0]), nn.Conv2d(w[0], OUT, 1))
        with torch.no_grad():   # rare things start as rare
            self.head[1].bias.copy_(torch.tensor([-1.5, -4, -4, 0, 0, 0, -5, -5]))

    def forward(self, x):
        x = (x - self.mean) / self.std
        f = [self.stem(x)]
        for d in self.down:
            f.append(d(f[-1]))
        y = f[-1] + self.wide(f[-1])
        for i, (s, u) in enumerate(zip(self.squeeze, self.fuse)):
            y = u(self.up(s(y)) + f[3 - i])
        return self.head(y)
