"""Starts a net from older weights: a checkpoint of train.py or an ONNX file, whose norms are folded away."""
import re
import numpy as np
import torch
from torch import nn


def start(net, path):
    """Copies what fits of the weights at `path` into `net`; a Block that they lack starts as one that does nothing.
    Returns what was done and whether `settle` is needed."""
    if path.endswith(".onnx"):
        old, folded = from_onnx(path), True
    else:
        old, folded = torch.load(path, map_location="cpu")["net"], False
    new = net.state_dict()
    n = 0
    for k, v in new.items():
        if k in old and old[k].shape == v.shape:
            v.copy_(old[k]); n += 1
    for k in new:   # the last norm of a Block or a wide view that is new
        m = re.match(r"(down\.\d\.\d+|fuse\.\d)\.b\.1\.weight$|(wide\.\d)\.a\.1\.weight$", k)
        if m and k[:-len("1.weight")] + "0.weight" not in old:
            new[k].zero_()
    net.load_state_dict(new)
    return "%d of %d tensors taken over" % (n, len(new)), folded


def from_onnx(path):
    """The weights of a file of export.py by the names of the net's own tensors; each norm becomes a mere shift."""
    import onnx
    from onnx import numpy_helper
    out = {}
    for t in onnx.load(path).graph.initializer:
        v = torch.from_numpy(np.array(numpy_helper.to_array(t)))
        k = t.name[4:] if t.name.startswith("net.") else t.name
        out[k.replace(".0.bias", ".1.bias") if k.endswith(".0.bias") else k] = v
    return out


@torch.no_grad()
def settle(net, y):
    """Gives the norms of folded weights the mean and spread of what goes through them on the pictures y, so that the
    net gives the same answers as before and each norm is one of its batch."""
    pairs = [(m[0], m[1]) for m in net.modules() if isinstance(m, nn.Sequential) and len(m) > 1 and isinstance(m[0], nn.Conv2d) and isinstance(m[1], nn.BatchNorm2d)]
    seen, hooks = {}, []
    for conv, _ in pairs:
        hooks.append(conv.register_forward_hook(lambda m, i, o: seen.__setitem__(m, (o.float().mean((0, 2, 3)), o.float().var((0, 2, 3))))))
    net.eval(); net(y); net.train()
    for h in hooks:
        h.remove()
    for conv, norm in pairs:
        mean, spread = seen[conv][0], seen[conv][1].sqrt().clamp_min(1e-3)
        conv.weight /= spread.view(-1, 1, 1, 1)
        norm.bias += norm.weight * mean
        norm.weight *= spread
        norm.running_mean.copy_(mean / spread); norm.running_var.fill_(1)
