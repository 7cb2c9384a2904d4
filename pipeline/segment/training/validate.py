"""Scores an ONNX file on pictures with label images, with OpenCV's DNN module as the program uses it.

    python validate.py OUTLINE.onnx DIR [--names PART ...] [--robust] [--single] [--show DIR]

DIR holds NAME.jpg and NAME.labels.png (0 none, else fruit number, stalks left out). Prints for each picture: overlap
of all bodies, fruit found (overlap of the decoded outline >= 0.5) of those there, extra outlines, mean overlap.
Outlines are decoded plainly here (peaks of the centre map grown inside the body), without any later refinement.
"""
import argparse
import glob
import os
import cv2
import numpy as np
from skimage.segmentation import watershed

LONG = 1024
LARGE = 0.30   # share of the long side from which a fruit is taken from the half-size pass


def fit(im, long=LONG):
    """Long side to 1024 (area averaging), padded to multiples of 32 by repeating the border; blob and size used."""
    h, w = im.shape[:2]
    k = long / max(h, w)
    s = cv2.resize(im, (int(round(w * k)), int(round(h * k))), interpolation=cv2.INTER_AREA if k < 1 else cv2.INTER_LINEAR)
    h, w = s.shape[:2]
    p = cv2.copyMakeBorder(s, 0, -h % 32, 0, -w % 32, cv2.BORDER_REPLICATE)
    return cv2.dnn.blobFromImage(p, 1 / 255.0, swapRB=True), (h, w)


def maps(net, im, long=LONG):
    blob, (h, w) = fit(im, long)
    net.setInput(blob)
    return net.forward()[0][:, :(h + 1) // 2, :(w + 1) // 2].copy()


def both(net, im):
    """Maps of the picture at 1024, with what is large taken from a second pass at 512.

    The net sees about 500 px at once, so a fruit that fills the picture is beyond it at full size. Where a body of
    the half-size pass is longer than LARGE of the long side, that body and a margin use the half-size maps
    (enlarged twice, offsets doubled); everything else keeps the full-size maps.
    """
    m, s = maps(net, im), maps(net, im, LONG // 2)
    h, w = m.shape[1:]
    s = np.stack([cv2.resize(c, (w, h), interpolation=cv2.INTER_LINEAR) for c in s])
    s[4:6] *= 2
    lab = decode(s)
    use = np.zeros((h, w), np.uint8)
    for i in range(1, lab.max() + 1):
        y, x = np.nonzero(lab == i)
        if len(y) and max(np.ptp(y), np.ptp(x)) > LARGE * max(h, w):
            use[lab == i] = 1
    if use.any():
        use = cv2.dilate(use, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (25, 25)))
        m = np.where(use[None] > 0, s, m)
    return m


def decode(m):
    """Label image (stride 2) from the maps: markers where the centre map is high and no seam is near, then grown."""
    body = (m[0] > 0).astype(np.uint8)
    seam = m[2] > 0
    c = np.clip(m[3], 0, 1) * body
    core = ((c > .5) & ~seam).astype(np.uint8)
    n, lab, st, _ = cv2.connectedComponentsWithStats(core, connectivity=4)
    nb, lb = cv2.connectedComponents((body > 0).astype(np.uint8), connectivity=4)
    mark = np.zeros(body.shape, np.int32)
    k = 1
    for i in range(1, n):
        if st[i, cv2.CC_STAT_AREA] >= 3:
            k += 1; mark[lab == i] = k
    has = set(np.unique(lb[mark > 0]))
    for i in range(1, nb):   # bodies with no core
        if i not in has and (lb == i).sum() > 30:
            k += 1; mark[lb == i] = k
    out = watershed(1 - c + .3 * seam, mark, mask=body > 0)
    out = np.where(out > 1, out - 1, 0)
    for i in range(1, k):
        if (out == i).sum() < 30:
            out[out == i] = 0
    return out


def score(m, labels):
    """(body overlap, found, there, extra, mean overlap) against labels at full size."""
    h, w = m.shape[1:]
    up = cv2.resize(decode(m).astype(np.uint8), labels.shape[::-1], interpolation=cv2.INTER_NEAREST)
    big = cv2.resize(m[0], labels.shape[::-1], interpolation=cv2.INTER_LINEAR) > 0
    t = labels > 0
    iou = (big & t).sum() / max((big | t).sum(), 1)
    up = np.where(big, up, 0)
    found, used, ov = 0, set(), []
    for l in np.unique(labels[t]):
        a = labels == l
        ids, k = np.unique(up[a], return_counts=True)
        best = max([(n / ((up == i).sum() + a.sum() - n), i) for i, n in zip(ids, k) if i], default=(0, 0))
        ov.append(best[0])
        if best[0] >= .5:
            found += 1; used.add(best[1])
    extra = len([i for i in np.unique(up) if i and i not in used])
    return iou, found, len(ov), extra, float(np.mean(ov)) if ov else 1.0


def changes():
    """Named changes of a picture (and of its labels): light, colour, noise, JPEG, size, blur, turning."""
    same = lambda g: (lambda im, lb: (g(im), lb))
    def lin(im, k):
        return np.clip((np.clip(im / 255.0, 0, 1) ** 2.2 * k), 0, 1) ** (1 / 2.2) * 255
    def jpg(im):
        return cv2.imdecode(cv2.imencode(".jpg", im, [cv2.IMWRITE_JPEG_QUALITY, 40])[1], 1)
    rs = np.random.RandomState(0)
    return {
        "as it is": same(lambda im: im),
        "+1.5 stops": same(lambda im: lin(im, 2 ** 1.5).astype(np.uint8)), "-1.5 stops": same(lambda im: lin(im, 2 ** -1.5).astype(np.uint8)),
        "colour cast": same(lambda im: lin(im, np.array([.7, 1, 1.35])).astype(np.uint8)),
        "noise": same(lambda im: np.clip(im + rs.normal(0, 12, im.shape), 0, 255).astype(np.uint8)),
        "jpeg 40": same(jpg), "blur": same(lambda im: cv2.GaussianBlur(im, (0, 0), 3 * max(im.shape) / 2400)),
        "half": same(lambda im: cv2.resize(im, None, fx=.5, fy=.5, interpolation=cv2.INTER_AREA)),
        "double": same(lambda im: cv2.resize(im, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)),
        "turned": lambda im, lb: (np.ascontiguousarray(np.rot90(im)), np.ascontiguousarray(np.rot90(lb))),
        "mirrored": lambda im, lb: (np.ascontiguousarray(im[:, ::-1]), np.ascontiguousarray(lb[:, ::-1])),
    }


def show(path, im, m):
    s = cv2.resize(im, (m.shape[2] * 2, m.shape[1] * 2), interpolation=cv2.INTER_AREA)
    d = cv2.resize(decode(m).astype(np.uint8), s.shape[1::-1], interpolation=cv2.INTER_NEAREST)
    e = (cv2.morphologyEx(d, cv2.MORPH_GRADIENT, np.ones((3, 3))) > 0)
    s[cv2.resize((m[1] > 0).astype(np.uint8), s.shape[1::-1], interpolation=cv2.INTER_NEAREST) > 0] = (255, 0, 255)
    s[e] = (0, 0, 255)
    for c, col in ((6, (255, 255, 0)), (7, (0, 255, 255))):
        h = m[c]
        for y, x in zip(*np.nonzero((h > -1.0) & (h == cv2.dilate(h, np.ones((9, 9)))))):
            cv2.circle(s, (2 * int(x), 2 * int(y)), 5, col, 2)
    cv2.imwrite(path, s, [cv2.IMWRITE_JPEG_QUALITY, 88])


def main():
    a = argparse.ArgumentParser()
    a.add_argument("onnx"); a.add_argument("dir"); a.add_argument("--names", nargs="*", default=[""]); a.add_argument("--robust", action="store_true"); a.add_argument("--show"); a.add_argument("--single", action="store_true", help="one pass at 1024 only")
    o = a.parse_args()
    net = cv2.dnn.readNetFromONNX(o.onnx)
    cv2.setNumThreads(1)
    files = [f for f in sorted(glob.glob(os.path.join(o.dir, "*.jpg"))) if any(n in f for n in o.names) and os.path.exists(f[:-4] + ".labels.png")]
    for name, change in changes().items():
        rows = []
        for f in files:
            im, lb = change(cv2.imread(f), cv2.imread(f[:-4] + ".labels.png", 0))
            m = maps(net, im) if o.single else both(net, im)
            rows.append(score(m, lb))
            if not o.robust:
                print("%-28s overlap of bodies %.4f  found %2d of %2d  extra %2d  mean overlap %.4f" % (os.path.basename(f)[:-4], *rows[-1]), flush=True)
            if o.show and name == "as it is":
                os.makedirs(o.show, exist_ok=True); show(os.path.join(o.show, os.path.basename(f)), im, m)
        r = np.array(rows)
        print("%-28s overlap of bodies %.4f  found %d of %d  extra %d  mean overlap %.4f" % (name + ", all", r[:, 0].mean(), r[:, 1].sum(), r[:, 2].sum(), r[:, 3].sum(), (r[:, 4] * r[:, 2]).sum() / r[:, 2].sum()), flush=True)
        if not o.robust:
            break


if __name__ == "__main__":
    main()
