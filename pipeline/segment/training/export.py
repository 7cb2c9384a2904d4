"""Writes the ONNX file of a checkpoint, or of the mean of several (batch normalisation folded, any height and width
divisible by 32).

    python export.py CHECKPOINT [CHECKPOINT ...] OUT.onnx
"""
import copy
import sys
import torch
from torch import nn
from net import Net


class Plain(nn.Module):
    """The net with the input normalisation folded into its first convolution is not exact at padded borders,
    so the two operations stay: x * scale + shift."""

    def __init__(self, net):
        super().__init__()
        self.net = net

    def forward(self, x):
        return self.net(x)


def fold(m):
    """Folds each BatchNorm2d into the convolution before it."""
    for c in m.children():
        fold(c)
    if isinstance(m, nn.Sequential):
        k = list(m.children())
        for i in range(len(k) - 1):
            if isinstance(k[i], nn.Conv2d) and isinstance(k[i + 1], nn.BatchNorm2d):
                f = nn.utils.fusion.fuse_conv_bn_eval(k[i], k[i + 1])
                m[i], m[i + 1] = f, nn.Identity()
    return m


def write(net, path, opset=11):
    net = fold(copy.deepcopy(net).float().cpu().eval())
    x = torch.zeros(1, 3, 768, 1024)
    kw = dict(opset_version=opset, input_names=["photo"], output_names=["maps"], dynamic_axes={"photo": {2: "h", 3: "w"}, "maps": {2: "h2", 3: "w2"}})
    if int(torch.__version__.split(".")[0]) >= 2:
        kw["dynamo"] = False
    torch.onnx.export(Plain(net), x, path, **kw)


def mean(checkpoints):
    """The net whose numbers are the mean of the checkpoints'; they must be of one chain of runs, near each other."""
    n = Net(**checkpoints[0]["config"])
    n.load_state_dict({k: sum(c["net"][k].float() for c in checkpoints) / len(checkpoints) if v.dtype.is_floating_point else v for k, v in checkpoints[0]["net"].items()})
    return n


if __name__ == "__main__":
    write(mean([torch.load(p, map_location="cpu") for p in sys.argv[1:-1]]), sys.argv[-1])
