// The photo with its outlines: zoom, pan, choosing a fruit, and drawing corrections.
"use strict";
(() => {
  const ns = "http://www.w3.org/2000/svg";
  let svg, sheet, W, H, box, chosen = 0, tool = "select", pts = [], aim = null, dragging = null, touches = new Map(), frame = 0, rest = 0, since = 0, drawn = [0, 0, 1, 1];

  const hints = {
    numbers: "Type the plant number that is written on the fruit, then Enter: the next fruit is chosen. 0 or empty: of no plant. ↑ goes back, ↓ skips, Escape stops. Or tap a fruit.",
    select: "Click a fruit to see its numbers and to put its outline right. Keys: arrows move, + and − zoom, Tab goes from fruit to fruit.",
    redraw: "Draw around the fruit: click points along its edge, without the stalk, then Done. Or hold and draw. Keys: arrows move the cross, Enter sets a point, Escape stops.",
    add: "Draw around the missing fruit: click points along its edge, without the stalk, then Done. Keys: arrows move the cross, Enter sets a point, Escape stops.",
    split: "Click the two ends of the cut between the two fruit. Keys: arrows move the cross, Enter sets a point.",
    merge: "Click the other half of the same fruit. With keys: Tab to it and press Enter.",
    stem: "Click where the stalk meets the fruit. Keys: arrows move the cross, Enter sets the point.",
  };

  const start = () => {
    const s = document.getElementById("photo");
    if (!s || s === svg) return;
    svg = s; sheet = document.getElementById("sheet"); W = +sheet.dataset.w; H = +sheet.dataset.h;
    const c = svg.querySelector(".chosen");
    chosen = c ? +c.dataset.n : 0;
    wrote = 0;
    if (!box) box = [0, 0, W, H];
    commit(); setTool("select"); buttons();
    numberKeys();
    if (location.hash === "#numbers") { history.replaceState(null, "", location.pathname); setTool("numbers"); }
    svg.addEventListener("wheel", wheel, { passive: false });
    svg.addEventListener("pointerdown", down);
    svg.addEventListener("pointermove", move);
    svg.addEventListener("pointerup", up);
    svg.addEventListener("pointercancel", () => { touches.clear(); dragging = null; });
    svg.addEventListener("keydown", key);
  };

  function setBox(b) {
    const z = Math.min(1, Math.max(.02, b[2] / W));
    const w = W * z, h = H * z;
    box = [Math.min(Math.max(b[0], -w * .3), W - w * .7), Math.min(Math.max(b[1], -h * .3), H - h * .7), w, h];
    if (z === 1) box = [0, 0, W, H];
    clearTimeout(rest);
    rest = setTimeout(commit, 120);
    if (!frame) frame = requestAnimationFrame(() => { frame = 0; show(); }); // once a frame, however many events come
  }
  // While it moves the picture as it was drawn last is shifted and stretched; it is drawn anew at rest, or when too
  // much would be missing at its edges, five times a second at most.
  function show() {
    const s = drawn[2] / box[2], f = fit(drawn);
    const over = (i) => Math.max(0, Math.min(box[i] + box[i + 2], drawn[i] + drawn[i + 2]) - Math.max(box[i], drawn[i])) / box[i + 2];
    if ((s > 4 || over(0) * over(1) < .85) && performance.now() - since > 200) { commit(); return; }
    svg.parentElement.style.transform = `translate(${f.x * (1 - s) + (drawn[0] - box[0]) * f.k * s}px,${f.y * (1 - s) + (drawn[1] - box[1]) * f.k * s}px) scale(${s})`;
  }
  function commit() {
    clearTimeout(rest);
    if (!svg.isConnected) return;
    drawn = box.slice(); since = performance.now();
    svg.parentElement.style.transform = "";
    svg.setAttribute("viewBox", box.map((v) => v.toFixed(1)).join(" "));
    svg.setAttribute("font-size", (15 / fit(box).k).toFixed(2)); // 15 px on the screen
  }
  // Where a part of the photo lies in its frame: scale and corner, px.
  function fit(b) {
    const r = svg.parentElement.parentElement, k = Math.min(r.clientWidth / b[2], r.clientHeight / b[3]);
    return { k, x: (r.clientWidth - k * b[2]) / 2, y: (r.clientHeight - k * b[3]) / 2 };
  }
  function zoomAt(k, x, y) {
    const z = Math.min(1, Math.max(.02, box[2] * k / W));
    k = W * z / box[2];
    setBox([x - (x - box[0]) * k, y - (y - box[1]) * k, box[2] * k, box[3] * k]);
  }
  const at = (e) => { // photo px of a place on the screen
    const r = svg.parentElement.parentElement.getBoundingClientRect(), f = fit(box);
    return [(e.clientX - r.left - f.x) / f.k + box[0], (e.clientY - r.top - f.y) / f.k + box[1]];
  };
  const mid = () => [box[0] + box[2] / 2, box[1] + box[3] / 2];

  function wheel(e) { e.preventDefault(); zoomAt(Math.exp(e.deltaY * (e.deltaMode ? .05 : .0015)), ...at(e)); }

  function down(e) {
    if (e.button) return;
    touches.set(e.pointerId, [e.clientX, e.clientY]);
    svg.setPointerCapture(e.pointerId);
    if (touches.size === 2) { dragging = { pinch: span(), box: box.slice(), mid: pinchMid() }; return; }
    const g = e.target.closest(".fruit");
    dragging = { x: e.clientX, y: e.clientY, box: box.slice(), moved: false, n: g ? +g.dataset.n : 0, draw: drawsOutline(tool) };
  }
  const span = () => { const [a, b] = [...touches.values()]; return Math.hypot(a[0] - b[0], a[1] - b[1]); };
  const pinchMid = () => { const [a, b] = [...touches.values()]; return at({ clientX: (a[0] + b[0]) / 2, clientY: (a[1] + b[1]) / 2 }); };

  function move(e) {
    if (!touches.has(e.pointerId) || !dragging) return;
    touches.set(e.pointerId, [e.clientX, e.clientY]);
    if (dragging.pinch) {
      const k = dragging.pinch / Math.max(20, span());
      const b = dragging.box, [x, y] = dragging.mid;
      setBox([x - (x - b[0]) * k, y - (y - b[1]) * k, b[2] * k, b[3] * k]);
      return;
    }
    const dx = e.clientX - dragging.x, dy = e.clientY - dragging.y;
    if (!dragging.moved && Math.hypot(dx, dy) < 5) return;
    dragging.moved = true;
    if (dragging.draw) { // hold and draw
      const p = at(e), last = pts[pts.length - 1];
      if (!last || Math.hypot(p[0] - last[0], p[1] - last[1]) > box[2] / 120) { pts.push(p); paint(); }
      return;
    }
    const k = fit(box).k;
    setBox([dragging.box[0] - dx / k, dragging.box[1] - dy / k, box[2], box[3]]);
  }

  function up(e) {
    const d = dragging;
    touches.delete(e.pointerId);
    if (touches.size) return;
    dragging = null;
    if (!d || d.pinch || d.moved) return;
    if (drawing()) { point(at(e)); return; }
    if (tool === "merge") { if (d.n && d.n !== chosen) join(d.n); return; }
    if (tool === "numbers") { if (d.n) ask(d.n); return; }
    if (d.n) choose(d.n);
  }

  const drawing = () => ["redraw", "add", "split", "stem"].includes(tool);

  function point(p) {
    p = [Math.min(Math.max(p[0], 0), W - 1), Math.min(Math.max(p[1], 0), H - 1)];
    pts.push(p); aim = p.slice(); paint();
    if (tool === "split" && pts.length === 2) finish();
    if (tool === "stem" && pts.length === 1) finish();
  }

  function paint() {
    const g = svg.querySelector("#drawing");
    g.replaceChildren();
    if (!drawing()) return;
    const path = document.createElementNS(ns, "path");
    path.setAttribute("d", pts.map((p, i) => (i ? "L" : "M") + p[0].toFixed(1) + " " + p[1].toFixed(1)).join("") + (pts.length > 2 && tool !== "split" ? "Z" : ""));
    g.append(path);
    if (pts.length < 60) for (const p of pts) {
      const c = document.createElementNS(ns, "circle");
      c.setAttribute("cx", p[0]); c.setAttribute("cy", p[1]); c.setAttribute("r", box[2] / 220); g.append(c);
    }
    if (aim) {
      const a = document.createElementNS(ns, "path"), r = box[2] / 50;
      a.setAttribute("class", "aim"); a.setAttribute("d", `M${aim[0] - r} ${aim[1]}h${2 * r}M${aim[0]} ${aim[1] - r}v${2 * r}`); g.append(a);
    }
  }

  function finish() {
    if (drawsOutline(tool)) if (pts.length < 3) { hint("Set at least three points around the fruit."); return; }
    // SVG counts from the pixel's corner, the program from its centre.
    post("/fix", { op: tool, fruit: chosen, points: pts.map((p) => (p[0] - .5).toFixed(1) + "," + (p[1] - .5).toFixed(1)).join(" ") });
  }
  function join(n) { post("/fix", { op: "merge", fruit: chosen, with: n }); }

  function post(path, values) {
    hint("Measuring again …");
    desk.calm();
    const focus = document.activeElement && document.activeElement.dataset ? document.activeElement.dataset.tool : "";
    const old = sheet, had = { tool, pts };
    const unsaved = () => hint("Not saved. " + (hints[tool] || "")); // why is said above; what was drawn is still there
    htmx.ajax("POST", sheet.dataset.base + path, { target: "#sheet", swap: "outerHTML", values }).then(() => {
      if (old.isConnected) { unsaved(); if (tool === "split" || tool === "stem") { pts = []; paint(); } return; }
      start();
      const refused = document.querySelector("#sheet [data-problem]");
      if (refused && (drawsOutline(had.tool) || chosen) && hints[had.tool]) { // try again without drawing anew
        setTool(had.tool);
        if (drawsOutline(had.tool)) { pts = had.pts; paint(); }
      }
      const b = focus && document.querySelector(`[data-tool="${focus}"]:not(:disabled)`);
      (b || svg).focus({ preventScroll: true });
      desk.say(refused ? "" : "Saved.");
      renew();
    }).catch(unsaved);
  }
  const drawsOutline = (t) => t === "redraw" || t === "add";
  // After a correction groups and verdicts are worked out again: the view is loaded anew once they are there, but never
  // under the hands of somebody who draws or types.
  let later = 0;
  function renew() {
    clearTimeout(later);
    if (!sheet.dataset.judging) return;
    later = setTimeout(() => {
      if (!sheet.isConnected) return;
      const a = document.activeElement, inside = a && sheet.contains(a), name = inside && a.dataset ? a.dataset.tool : "";
      if (tool !== "select" || dragging || touches.size || (a && a.closest("#panel"))) { renew(); return; }
      const problem = sheet.querySelector("[data-problem]");
      htmx.ajax("GET", sheet.dataset.base + (chosen ? "?fruit=" + chosen : ""), { target: "#sheet", select: "#sheet", swap: "outerHTML" }).then(() => {
        start();
        if (problem && sheet.isConnected) sheet.querySelector(".headrow").after(problem); // it was not read yet
        if (inside) (name && document.querySelector(`[data-tool="${name}"]:not(:disabled)`) || svg).focus({ preventScroll: true });
        renew();
      }).catch(() => {});
    }, 2500);
  }

  function choose(n) {
    chosen = n;
    for (const f of svg.querySelectorAll(".fruit")) {
      const on = +f.dataset.n === n;
      f.classList.toggle("chosen", on); f.setAttribute("aria-pressed", on);
    }
    htmx.ajax("GET", sheet.dataset.base + "/fruit/" + n, { target: "#panel", swap: "outerHTML" });
    buttons();
  }
  // Plant numbers, one fruit after the other: shown at once, saved one by one behind.
  let saving = Promise.resolve(), wrote = 0, open = 0;
  const el = (id) => document.getElementById(id);
  const order = () => [...svg.querySelectorAll(".fruit")].map((g) => +g.dataset.n);
  function ask(n) {
    chosen = n;
    for (const f of svg.querySelectorAll(".fruit")) { const on = +f.dataset.n === n; f.classList.toggle("chosen", on); f.setAttribute("aria-pressed", on); }
    const g = el("f" + n), b = g.querySelector(".edge").getBBox(), side = Math.max(b.width, b.height * W / H) * 3;
    if (side < W) setBox([b.x + b.width / 2 - side / 2, b.y + b.height / 2 - side * H / W / 2, side, side * H / W]);
    el("numberfor").textContent = "Plant of fruit " + n;
    const i = el("number");
    i.value = g.dataset.plant; i.focus({ preventScroll: true }); i.select();
  }
  function step(by) {
    const o = order(), k = o.indexOf(chosen) + by;
    if (k < 0) return ask(o[0]);
    if (k < o.length) return ask(o[k]);
    const next = sheet.dataset.next;
    el("numbersaid").textContent = next ? "" : "That was the last fruit of the last photo.";
    if (next) saving.then(() => { if (!open) location.href = next + "#numbers"; });
    else el("number").select();
  }
  function setNumber() {
    const n = chosen, v = el("number").value.trim().replace(/^0+/, ""), g = el("f" + n), before = g.dataset.plant;
    if (v === before) return step(1);
    if (v !== "" && !/^[0-9]{1,5}$/.test(v)) { el("numbersaid").textContent = "A plant is a whole number, as on its tag."; return; }
    const show = (p) => { g.dataset.plant = p; g.querySelector(".plantno").textContent = p ? " plant " + p : ""; };
    show(v); open++;
    el("numbersaid").textContent = "Saving …";
    saving = saving.then(async () => {
      let bad = "The program does not answer. Is it still running on the computer?", label = "";
      try {
        const r = await fetch(sheet.dataset.base + "/number", { method: "POST", headers: { "X-Desk-Token": desk.token }, body: new URLSearchParams({ fruit: n, plant: v }) });
        label = (await r.text()).trim();
        bad = r.ok ? "" : label;
      } catch { /* said below */ }
      open--;
      if (bad) { show(before); desk.complain("Fruit " + n + ": " + bad); el("numbersaid").textContent = ""; ask(n); return; }
      wrote++;
      g.setAttribute("aria-label", label);
      if (!open) el("numbersaid").textContent = "Saved.";
    });
    step(1);
  }
  function numberKeys() {
    const f = el("numberbar");
    if (!f || f.dataset.on) return;
    f.dataset.on = "1";
    f.addEventListener("submit", (e) => { e.preventDefault(); setNumber(); });
    el("number").addEventListener("keydown", (e) => {
      if (e.key === "ArrowUp") { step(-1); e.preventDefault(); }
      if (e.key === "ArrowDown") { step(1); e.preventDefault(); }
      if (e.key === "Escape") { stopNumbers(); e.preventDefault(); }
    });
  }
  function stopNumbers(then) {
    saving.then(() => {
      if (!wrote) { setTool(then || "select"); return; }
      wrote = 0;
      htmx.ajax("GET", sheet.dataset.base + "?fruit=" + chosen, { target: "#sheet", select: "#sheet", swap: "outerHTML" }).then(() => { start(); setTool(then || "select"); });
    });
  }

  function buttons() { for (const b of document.querySelectorAll("[data-needs]")) b.disabled = !chosen; }
  function hint(t) { document.getElementById("hint").textContent = t; }

  function setTool(t) {
    tool = t; pts = []; aim = null;
    for (const b of document.querySelectorAll("[data-tool][data-tool]")) if (hints[b.dataset.tool]) b.setAttribute("aria-pressed", b.dataset.tool === t);
    hint(hints[t] || "");
    svg.classList.toggle("draw", drawing());
    svg.classList.toggle("numbers", t === "numbers");
    el("numberbar").hidden = t !== "numbers";
    sheet.classList.toggle("asking", t === "numbers");
    commit();
    if (t === "numbers") { const o = order(); ask(chosen || o.find((n) => !el("f" + n).dataset.plant) || o[0]); }
    document.querySelector(".drawbar").hidden = !drawsOutline(t);
    if (drawing()) { aim = mid(); svg.focus({ preventScroll: true }); }
    paint();
  }

  function key(e) {
    const g = e.target.closest(".fruit");
    const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
    if (by && drawing()) {
      const s = box[2] / (e.shiftKey ? 12 : 120);
      aim = [aim[0] + by[0] * s, aim[1] + by[1] * s]; paint(); e.preventDefault();
    } else if (by) {
      setBox([box[0] + by[0] * box[2] / 10, box[1] + by[1] * box[3] / 10, box[2], box[3]]); e.preventDefault();
    } else if (e.key === "+" || e.key === "=") zoomAt(.8, ...mid());
    else if (e.key === "-") zoomAt(1.25, ...mid());
    else if (e.key === "0") setBox([0, 0, W, H]);
    else if (e.key === "Escape") setTool("select");
    else if (e.key === "Backspace" && pts.length) { pts.pop(); paint(); e.preventDefault(); }
    else if (e.key === "Enter" && drawing()) { point(aim.slice()); e.preventDefault(); }
    else if ((e.key === "Enter" || e.key === " ") && g) {
      e.preventDefault();
      if (tool === "merge" && +g.dataset.n !== chosen) join(+g.dataset.n); else choose(+g.dataset.n);
    }
  }

  document.addEventListener("click", (e) => {
    const b = e.target.closest("button");
    if (!b || !svg) return;
    if (b.dataset.zoom) b.dataset.zoom === "all" ? setBox([0, 0, W, H]) : zoomAt(b.dataset.zoom === "in" ? .7 : 1.4, ...mid());
    else if (b.dataset.number) ({ back: () => step(-1), skip: () => step(1), stop: () => stopNumbers() })[b.dataset.number]();
    else if (b.dataset.draw === "done") finish();
    else if (b.dataset.draw === "back") { pts.pop(); paint(); }
    else if (b.dataset.draw === "cancel") setTool("select");
    else if (b.dataset.tool === "undo") saving.then(() => post("/undo", { fruit: chosen, fixes: +sheet.dataset.fixes + wrote }));
    else if (b.dataset.tool === "drop") post("/fix", { op: "drop", fruit: chosen });
    else if (b.dataset.tool && tool === "numbers" && b.dataset.tool !== "numbers") stopNumbers(b.dataset.tool);
    else if (b.dataset.tool) setTool(b.dataset.tool);
  });
  addEventListener("resize", () => { if (svg && svg.isConnected) commit(); });
  document.addEventListener("DOMContentLoaded", start);
  document.addEventListener("htmx:afterSettle", start);
})();
