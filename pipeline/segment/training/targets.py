"""Target maps (stride 2) from what each sample hit.

Channels: 0 body share, 1 stalk share, 2 seam, 3 centre-ness, 4..5 offset / 64 cells, 6 stem end, 7 blossom end,
plus `own` (bool): cells that belong to a fruit body, and `near` (0..1): weight near outlines.
"""
import torch
import torch.nn.functional as F

OFFSET_SCALE = 64.0
HEAT_SIGMA = 2.0


def _pool(x, k):
    return F.max_pool2d(x, k, 1, k // 2)


def centreness(ids, steps=200):
    """Distance to the outline of one's own fruit over that fruit's greatest; ids (N, 1, H, W) float, 0 = none."""
    n, _, h, w = ids.shape
    dist = torch.zeros_like(ids); alive = ids > 0
    cur = ids.clone()
    for k in range(steps):
        dist += alive
        x = torch.where(alive, ids, torch.zeros_like(ids))
        if k % 2:
            hi = torch.maximum(F.max_pool2d(x, (3, 1), 1, (1, 0)), F.max_pool2d(x, (1, 3), 1, (0, 1)))
            lo = torch.minimum(-F.max_pool2d(-x, (3, 1), 1, (1, 0)), -F.max_pool2d(-x, (1, 3), 1, (0, 1)))
        else:
            hi, lo = _pool(x, 3), -_pool(-x, 3)
        alive = (lo == hi) & (hi > 0) & alive
        if k % 8 == 7 and not bool(alive.any()):
            break
    key = (ids.long() + 128 * torch.arange(n, device=ids.device).view(n, 1, 1, 1)).flatten()
    top = torch.zeros(128 * n, device=ids.device).scatter_reduce(0, key, dist.flatten(), "amax", include_self=True)
    return torch.where(ids > 0, dist / top[key].view_as(dist).clamp_min(1), torch.zeros_like(dist))


def offsets(ids):
    n, _, h, w = ids.shape
    key = (ids.long() + 128 * torch.arange(n, device=ids.device).view(n, 1, 1, 1)).flatten()
    yy, xx = torch.meshgrid(torch.arange(h, device=ids.device), torch.arange(w, device=ids.device), indexing="ij")
    xx, yy = xx.float().expand(n, 1, h, w).flatten(), yy.float().expand(n, 1, h, w).flatten()
    s = lambda v: torch.zeros(128 * n, device=ids.device).scatter_add(0, key, v)
    c = s(torch.ones_like(xx)).clamp_min(1)
    dx, dy = (s(xx) / c)[key] - xx, (s(yy) / c)[key] - yy
    return torch.stack([dx.view(n, h, w), dy.view(n, h, w)], 1) * (ids > 0) / OFFSET_SCALE


def heat(points, n, h, w, device):
    """Gaussian spots; points (K, 3): image, x, y in cells."""
    m = torch.zeros(n, h, w, device=device)
    if len(points):
        p = points.to(device)
        r = int(4 * HEAT_SIGMA)
        o = torch.arange(-r, r + 1, device=device)
        cx, cy = p[:, 1].round().long(), p[:, 2].round().long()
        x, y = cx[:, None, None] + o[None, None, :], cy[:, None, None] + o[None, :, None]
        v = torch.exp(-((x - p[:, 1, None, None]) ** 2 + (y - p[:, 2, None, None]) ** 2) / (2 * HEAT_SIGMA ** 2)).expand(len(p), 2 * r + 1, 2 * r + 1)
        ok = (x >= 0) & (x < w) & (y >= 0) & (y < h)
        at = (p[:, 0].long()[:, None, None] * h + y.clamp(0, h - 1)) * w + x.clamp(0, w - 1)
        m = m.flatten().scatter_reduce(0, at[ok.expand_as(v)].flatten(), v[ok.expand_as(v)].flatten(), "amax", include_self=True).view(n, h, w)
    return m


STALK_SEEN = 40   # samples (a quarter of a pixel each) of a stalk that show where the stem end is


def visible_ends(ids, ends):
    """Ends that face the camera and lie on or beside their fruit, and stem ends behind the rim whose stalk is seen;
    ids (N, H2, W2) samples, ends per image (K, 7)."""
    out = ([], [])
    n, h, w = ids.shape
    key = ids.flatten(1).long() + 256 * torch.arange(n, device=ids.device)[:, None]
    count = torch.bincount(key.flatten(), minlength=256 * n).view(n, 256).cpu()
    for i, e in enumerate(ends):
        for row in e:
            for k in (0, 1):
                x, y, facing = row[1 + 3 * k: 4 + 3 * k]
                stalk = k == 0 and facing > -0.95 and int(count[i, int(row[0]) + 100]) >= STALK_SEEN
                if (facing > -0.15 or stalk) and 0 <= x < w / 2 and 0 <= y < h / 2:
                    out[k].append((i, x, y, row[0]))
    pts = []
    for k in (0, 1):
        p = torch.tensor(out[k], dtype=torch.float32).reshape(-1, 4).to(ids.device)
        if len(p):
            o = torch.arange(-8, 9, 4, device=ids.device)
            x = (2 * p[:, 1].long()[:, None, None] + o[None, None, :]).clamp(0, w - 1); y = (2 * p[:, 2].long()[:, None, None] + o[None, :, None]).clamp(0, h - 1)
            at = ids[p[:, 0].long()[:, None, None], y, x].long()
            own = (at == p[:, 3].long()[:, None, None]) | (at == p[:, 3].long()[:, None, None] + 100)
            p = p[own.flatten(1).any(1)]
        pts.append(torch.cat([p[:, :1], p[:, 1:3] / 2 - 0.5], 1) if len(p) else torch.zeros(0, 3))
    return pts


def build(hits, ends):
    """hits (N, 2H, 2W) uint8 -> (targets (N, 8, H/2, W/2) float32, ids (N, 1, H/2, W/2) float32)."""
    n, h2, w2 = hits.shape
    x = hits[:, None]
    body = F.avg_pool2d(((x > 0) & (x <= 100)).float(), 4); stalk = F.avg_pool2d((x > 100).float(), 4)
    mid = x[:, :, 1::4, 1::4].float()
    ids = torch.where((mid <= 100), mid, torch.zeros_like(mid))
    any_id = torch.where(ids > 0, ids, torch.full_like(ids, 999))
    hi, lo = _pool(ids, 3), -_pool(-any_id, 3)
    seam = ((hi != lo) & (hi > 0) & (lo < 999)).float()
    c, o = centreness(ids), offsets(ids)
    ps, pb = visible_ends(hits, ends)
    h, w = h2 // 4, w2 // 4
    hs, hb = heat(ps, n, h, w, hits.device), heat(pb, n, h, w, hits.device)
    return torch.cat([body, stalk, seam, c, o, hs[:, None], hb[:, None]], 1), ids
