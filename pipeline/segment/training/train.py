"""Trains the outline network on scenes made as it goes.

    python train.py --out DIR --seconds 400 [--init CHECKPOINT or ONNX file] [--crop 512] [--batch 32]

Writes DIR/checkpoint.pt (weights averaged over the run), DIR/outline.onnx, DIR/samples.jpg, DIR/log.txt.
One GPU is enough; with two, the second one renders. On a CPU use --tiny to check that everything runs.
"""
import argparse
import copy
import math
import os
import time
import torch
import torch.nn.functional as F
import export
import feed
import scene
import warm
from net import Net
from shapes import Bank
from tracer import Tracer

HELD_OUT = 900_000_000   # seeds from here on are never trained on


def loss_of(out, t, ids):
    """Weighted sum of the losses of one batch, its parts, and the loss of the bodies of each picture."""
    out = out.float()
    body, stalk, seam = t[:, 0], t[:, 1], t[:, 2]
    soft = F.avg_pool2d(t[:, :1], 5, 1, 2, count_include_pad=False)[:, 0]
    edge = 4 * soft * (1 - soft)
    # Within 4 cells of a stalk: body and stalk weigh alike on both sides of each border, so that it is not pushed to one.
    beside = F.max_pool2d((t[:, 1:2] > .2).float(), 9, 1, 4)[:, 0]
    w = 1 + 3 * edge * (1 + beside) + 2 * seam + beside
    each = lambda c, y, w: (F.binary_cross_entropy_with_logits(out[:, c], y, reduction="none") * w).mean((1, 2))
    p = out[:, 0].sigmoid()
    inter, tot = (p * body).sum((1, 2)), (p + body).sum((1, 2))
    dice = 1 - (2 * inter + 50) / (tot + 50)
    bodies = each(0, body, w)
    l = {"body": bodies.mean(), "dice": dice.mean(), "stalk": each(1, stalk, 1 + 7 * beside).mean(), "seam": each(2, seam, 1 + 3 * seam + (soft > .02).float()).mean()}
    s = out[:, 1].sigmoid()   # over the whole batch: most pictures have little stalk or none
    l["stalks"] = 1 - (2 * (s * stalk).sum() + 50) / ((s + stalk).sum() + 50)
    own = (ids > 0).float()[:, 0]
    n = own.sum().clamp_min(1)
    l["centre"] = ((out[:, 3] - t[:, 3]).abs() * (own + .1)).sum() / n
    l["offset"] = (F.smooth_l1_loss(out[:, 4:6], t[:, 4:6], reduction="none", beta=.05).sum(1) * own).sum() / n
    for c, k in ((6, "stem"), (7, "blossom")):
        y, z = t[:, c], out[:, c]
        q = z.sigmoid()
        l[k] = (F.binary_cross_entropy_with_logits(z, y, reduction="none") * (q - y).abs() ** 2).sum() / (y > .9).sum().clamp_min(len(y) * 4)
    k = dict(body=1.0, dice=.5, stalk=1.0, stalks=.5, seam=.5, centre=.5, offset=.5, stem=.5, blossom=.3)
    return sum(k[i] * v for i, v in l.items()), l, (bodies + .5 * dice).detach()


@torch.no_grad()
def check(net, items, autocast):
    """Share of body found and right (intersection over union) and losses over held-out pictures."""
    net.eval()
    inter = union = 0.0
    parts = {}
    for y, t, ids in items:
        with autocast():
            o = net(y)
        _, l, _ = loss_of(o, t, ids)
        for k, v in l.items():
            parts[k] = parts.get(k, 0) + float(v) / len(items)
        a, b = o[:, 0] > 0, t[:, 0] > .5
        inter += float((a & b).sum()); union += float((a | b).sum())
    net.train()
    return inter / max(union, 1), parts


def sheet(path, y, t, out=None):
    """Pictures with the truth (and the answer) as a JPEG."""
    up = lambda m: F.interpolate(m, scale_factor=2, mode="nearest")
    rows = [y, up(t[:, [0, 1, 2]]), up(torch.cat([t[:, 3:4], t[:, 6:8]], 1))]
    if out is not None:
        rows += [up(out[:, :3].sigmoid()), up(torch.cat([out[:, 3:4], out[:, 6:8].sigmoid()], 1))]
    im = torch.cat([torch.cat(list(F.avg_pool2d(r.clamp(0, 1), 2)), 2) for r in rows], 1)
    from PIL import Image
    Image.fromarray((im.permute(1, 2, 0) * 255).byte().cpu().numpy()).save(path, quality=88)


def arguments():
    a = argparse.ArgumentParser()
    a.add_argument("--out", default="out"); a.add_argument("--init"); a.add_argument("--seconds", type=float, default=400)
    a.add_argument("--crop", type=int, default=512); a.add_argument("--batch", type=int, default=32); a.add_argument("--pool", type=int, default=6000)
    a.add_argument("--lr", type=float, default=3e-3); a.add_argument("--seed", type=int, default=1); a.add_argument("--workers", type=int, default=14)
    a.add_argument("--width", type=int, nargs=5, default=[16, 32, 64, 96, 128]); a.add_argument("--blocks", type=int, nargs=5, default=[0, 0, 1, 2, 3])
    a.add_argument("--joins", type=int, nargs=3, default=[2, 1, 1])
    a.add_argument("--part", type=float, nargs=2, default=[0, 1], help="which part of the cosine schedule this run takes")
    a.add_argument("--wait", type=int, default=600, help="crops in the pool before training starts")
    a.add_argument("--shots", type=int, default=3, help="photographs of each rendered crop")
    a.add_argument("--tiny", action="store_true", help="a check on a CPU: small bank, small pictures")
    o = a.parse_args()
    if o.tiny:
        o.crop, o.batch, o.pool, o.workers, o.wait = 128, 4, 16, 1, 4
    return o


def main():
    o = arguments()
    os.makedirs(o.out, exist_ok=True)
    log = open(os.path.join(o.out, "log.txt"), "w")
    def say(*a):
        print(*a, flush=True); print(*a, file=log, flush=True)
    t0 = time.time()
    gpus = torch.cuda.device_count()
    dev, rdev = ("cuda:0", "cuda:%d" % (gpus - 1)) if gpus else ("cpu", "cpu")
    autocast = lambda: torch.autocast(dev.split(":")[0], dtype=torch.bfloat16, enabled=gpus > 0)
    torch.backends.cudnn.benchmark = True
    bank = Bank(1, *((20, 6, 6) if o.tiny else (2000, 500, 150)), device=rdev)
    say("bank %.0f s" % (time.time() - t0))
    f = feed.Feed(bank, o.seed * 10_000_000, o.workers, o.crop, 4 if o.tiny else 16, rdev, dev, o.shots)
    trace = Tracer(rdev)
    torch.manual_seed(5)
    held = []
    for i in range(2 if o.tiny else 12):
        x, t, ids = feed.make(trace, bank, scene.batch(HELD_OUT + i, bank, 4, o.crop), o.crop, dev)
        held.append((x[:, 0].float() / 255, t.float(), ids))
    sheet(os.path.join(o.out, "scenes.jpg"), torch.cat([h[0] for h in held[:2]]), torch.cat([h[1] for h in held[:2]]))
    say("held-out scenes %.0f s" % (time.time() - t0))

    if gpus:
        torch.cuda.set_device(dev)
    net = Net(o.width, o.blocks, o.joins)
    folded = False
    if o.init:
        said, folded = warm.start(net, o.init)
        say(said)
    net = net.to(dev).to(memory_format=torch.channels_last)
    if folded:
        warm.settle(net, torch.cat([h[0] for h in held]).to(memory_format=torch.channels_last))
    mean = copy.deepcopy(net).eval()
    if o.init:
        say("as it starts: held-out body overlap %.4f %s" % check(mean, held, autocast))
    averaged, current = ([v for v in m.state_dict().values() if v.dtype.is_floating_point] for m in (mean, net))
    opt = torch.optim.AdamW(net.parameters(), lr=o.lr, weight_decay=1e-2, betas=(.9, .98), **(dict(fused=True) if gpus else {}))
    pool = feed.Pool(o.pool, o.crop, dev, o.shots)
    while pool.full < o.wait:
        item = f.take(wait=True)
        if item is not None:
            pool.add(item)
    start, step, shown = time.time(), 0, time.time()
    say("pool %d crops at %.0f s" % (pool.full, start - t0))
    end = t0 + o.seconds
    while time.time() < end:
        for _ in range(3):
            item = f.take()
            if item is None:
                break
            pool.add(item)
        k = min((time.time() - start) / (end - start), 1)
        lr = o.lr * min(1, step / 300 + .01) * (.5 + .5 * math.cos(math.pi * (o.part[0] + k * (o.part[1] - o.part[0]))))
        for g in opt.param_groups:
            g["lr"] = lr
        x, t, ids, rows = pool.draw(o.batch)
        with torch.no_grad():
            q = o.batch // 4
            parts = [feed.turn(x[i * q:(i + 1) * q], t[i * q:(i + 1) * q], ids[i * q:(i + 1) * q], int(c)) for i, c in enumerate(torch.randint(8, (4,)))]
            x, t, ids = (torch.cat(v) for v in zip(*parts))
            y, t = (x.float() / 255).contiguous(memory_format=torch.channels_last), t.float()
        with autocast():
            out = net(y)
        l, _, hard = loss_of(out, t, ids)
        pool.note(rows, hard)
        opt.zero_grad(set_to_none=True)
        l.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        opt.step()
        step += 1
        d = min(.999, (1 + step) / (20 + step))
        with torch.no_grad():
            torch._foreach_mul_(averaged, d); torch._foreach_add_(averaged, current, alpha=1 - d)
        if step % 50 == 0:
            if not math.isfinite(float(l)):
                raise RuntimeError("loss is not finite at step %d" % step)
            if time.time() - shown > (5 if o.tiny else 20):
                shown = time.time()
                iou, v = check(mean, held, autocast)
                torch.save({"net": {k: v.cpu() for k, v in mean.state_dict().items()}, "config": net.config, "steps": step}, os.path.join(o.out, "checkpoint.pt"))
                say("%4.0f s step %d lr %.1e crops %d (waiting %d/%d) loss %.3f | held-out body overlap %.4f %s" % (
                    time.time() - t0, step, lr, pool.seen, f.ready.qsize(), f.packed.qsize(), float(l), iou, " ".join("%s %.3f" % i for i in v.items())))
    f.close()
    torch.save({"net": {k: v.cpu() for k, v in mean.state_dict().items()}, "config": net.config, "steps": step}, os.path.join(o.out, "checkpoint.pt"))
    iou, v = check(mean, held, autocast)
    say("end: %d steps, %d crops, held-out body overlap %.4f" % (step, pool.seen, iou))
    with torch.no_grad():
        y, t = torch.cat([h[0] for h in held[:2]]), torch.cat([h[1] for h in held[:2]])
        sheet(os.path.join(o.out, "samples.jpg"), y, t, mean.eval()(y).float())
    export.write(mean.to("cpu").to(memory_format=torch.contiguous_format), os.path.join(o.out, "outline.onnx"))
    say("written at %.0f s" % (time.time() - t0))


if __name__ == "__main__":
    main()
