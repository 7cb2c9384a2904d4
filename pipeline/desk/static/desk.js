// What every view needs: the token on each request, messages, and sending photos.
"use strict";
(() => {
  const token = document.querySelector("meta[name=desk-token]").content;
  const live = () => document.getElementById("live");
  const alertLine = () => document.getElementById("alert");

  document.addEventListener("htmx:configRequest", (e) => { e.detail.headers["X-Desk-Token"] = token; });
  document.addEventListener("htmx:responseError", (e) => complain(e.detail.xhr.responseText));
  document.addEventListener("htmx:sendError", () => complain("The program does not answer. Is it still running on the computer?"));
  // What went wrong stays to be read until somebody does the next thing: lists that load themselves anew do not wipe it.
  document.addEventListener("htmx:beforeRequest", (e) => { if (e.detail.requestConfig.triggeringEvent) calm(); });

  // The list of photos is not drawn anew while somebody fills one of its forms.
  document.addEventListener("htmx:beforeRequest", (e) => {
    if (e.target.id === "photolist" && !e.detail.requestConfig.triggeringEvent && e.target.contains(document.activeElement) && document.activeElement.closest("details")) e.preventDefault();
  });

  // On a narrow window the rows of views scroll: show where we are.
  for (const a of document.querySelectorAll("nav [aria-current]")) { const n = a.closest("nav"); const x = a.getBoundingClientRect(), y = n.getBoundingClientRect(); n.scrollLeft += x.left - y.left - (y.width - x.width) / 2; }

  function complain(text) {
    const a = alertLine();
    a.textContent = (text || "That did not work. Load the page again.").slice(0, 400);
    a.hidden = false;
    a.scrollIntoView({ block: "nearest" });
  }
  const calm = () => { const a = alertLine(); a.hidden = true; a.textContent = ""; };
  window.desk = { token, complain, calm, say: (t) => { live().textContent = t; } };

  // Sending photos: a few at a time, each with its own progress.
  const drop = document.getElementById("drop");
  if (drop) {
    const list = document.getElementById("sending");
    const queue = [];
    let under = 0, sent = 0;
    const more = () => {
      while (under < 3 && queue.length) send(queue.shift());
      if (!under && !queue.length && sent) { sent = 0; }
    };
    const send = ({ file, li, bar, text, again }) => {
      under++;
      const x = new XMLHttpRequest();
      const f = new FormData();
      f.append("photo", file, file.name);
      x.open("POST", drop.dataset.upload);
      x.setRequestHeader("X-Desk-Token", token);
      x.upload.onprogress = (e) => { if (e.lengthComputable) { bar.max = e.total; bar.value = e.loaded; } };
      const bad = (t, again) => {
        text.textContent = t; text.className = "bad"; bar.remove();
        const b = document.createElement("button");
        b.type = "button"; b.textContent = again ? "Send again" : "Take off the list";
        b.setAttribute("aria-label", again ? "Send again: " + file.name : "Take off the list: " + file.name);
        b.onclick = () => { li.remove(); if (again) take([file]); };
        li.append(b);
      };
      x.onload = () => {
        under--;
        if (x.status === 201) { sent++; if (drop.dataset.list) li.remove(); else { bar.remove(); text.textContent = "arrived"; } } else bad(x.responseText.trim() || "It did not arrive.", ![409, 413, 415].includes(x.status));
        refresh(); more();
      };
      x.onerror = () => { under--; bad("It did not arrive. Is the program still running on the computer?", true); more(); };
      x.send(f);
    };
    const refresh = () => drop.dataset.list && htmx.ajax("GET", drop.dataset.list, { target: "#photolist", swap: "outerHTML" });
    const take = (files) => {
      for (const file of files) {
        const li = document.createElement("li"), b = document.createElement("b"), text = document.createElement("span"), bar = document.createElement("progress");
        b.textContent = file.name; text.textContent = "being sent"; bar.setAttribute("aria-label", "Sending " + file.name);
        li.append(b, text, bar); list.append(li);
        if (file.size > 200 * 1024 * 1024) { bar.remove(); text.className = "bad"; text.textContent = "larger than 200 MB; save it as JPEG and send that"; continue; }
        queue.push({ file, li, bar, text });
      }
      more();
    };
    for (const id of ["files", "shoot"]) {
      const i = document.getElementById(id);
      i.addEventListener("change", () => { take(i.files); i.value = ""; });
    }
    for (const b of drop.querySelectorAll("[data-pick]")) b.addEventListener("click", () => document.getElementById(b.dataset.pick).click());
    addEventListener("dragover", (e) => { e.preventDefault(); drop.classList.add("over"); });
    addEventListener("dragleave", (e) => { if (!e.relatedTarget) drop.classList.remove("over"); });
    addEventListener("drop", (e) => { e.preventDefault(); drop.classList.remove("over"); take(e.dataTransfer.files); });
    addEventListener("beforeunload", (e) => { if (under || queue.length) e.preventDefault(); });
  }

  // A line along a ruler, drawn on the photo: two clicks, or arrow keys and Enter.
  document.addEventListener("click", (e) => {
    const b = e.target.closest("button[data-line]");
    if (!b) return;
    const form = b.closest("form"), img = new Image();
    img.onload = () => lineDialog(img, form, b);
    img.onerror = () => complain("This photo cannot be shown.");
    img.src = b.dataset.line + "?size=1";
  });
  function lineDialog(img, form, opener) {
    const d = document.createElement("dialog");
    d.className = "lineover";
    d.setAttribute("aria-label", "Draw a line along the ruler");
    const w = img.naturalWidth, h = img.naturalHeight, ns = "http://www.w3.org/2000/svg";
    d.innerHTML = "<p></p>";
    d.firstChild.textContent = "Click the two ends of a known length on the ruler, as far apart as you can. With keys: arrows move the cross, Enter sets an end.";
    const svg = document.createElementNS(ns, "svg");
    svg.setAttribute("viewBox", `0 0 ${w} ${h}`); svg.setAttribute("tabindex", "0"); svg.setAttribute("role", "img"); svg.setAttribute("aria-label", "Photo");
    const im = document.createElementNS(ns, "image");
    im.setAttribute("href", img.src); im.setAttribute("width", w); im.setAttribute("height", h);
    const g = document.createElementNS(ns, "path");
    g.setAttribute("fill", "none"); g.setAttribute("stroke", "#ffe14a"); g.setAttribute("stroke-width", "3"); g.setAttribute("vector-effect", "non-scaling-stroke");
    svg.append(im, g);
    let pts = [], aim = [w / 2, h / 2];
    const r = w / 60;
    const draw = () => {
      let s = "";
      for (const p of pts.concat([aim])) s += `M${p[0] - r} ${p[1]}h${2 * r}M${p[0]} ${p[1] - r}v${2 * r}`;
      if (pts.length === 2) s += `M${pts[0]}L${pts[1]}`;
      g.setAttribute("d", s);
    };
    const set = (p) => { if (pts.length === 2) pts = []; pts.push(p); draw(); ok.disabled = pts.length < 2; };
    svg.addEventListener("click", (e) => {
      const m = svg.getScreenCTM().inverse(), p = new DOMPoint(e.clientX, e.clientY).matrixTransform(m);
      aim = [p.x, p.y]; set(aim.slice());
    });
    svg.addEventListener("keydown", (e) => {
      const step = (e.shiftKey ? 40 : 4) * w / 1000, by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
      if (by) { aim = [aim[0] + by[0] * step, aim[1] + by[1] * step]; draw(); e.preventDefault(); }
      if (e.key === "Enter") { set(aim.slice()); e.preventDefault(); }
    });
    const row = document.createElement("p"), ok = document.createElement("button"), no = document.createElement("button");
    row.className = "row"; ok.className = "main"; ok.textContent = "Use this line"; ok.disabled = true; no.textContent = "Cancel"; ok.type = no.type = "button";
    ok.onclick = () => {
      form.elements.points.value = pts.map((p) => p.map((v) => (v / w).toFixed(6)).join(",")).join(" ");
      form.elements.line.value = "";
      form.querySelector("output").textContent = "Line drawn. Now give its length.";
      form.elements.scale.value = "line"; d.close(); form.elements.mm.focus();
    };
    no.onclick = () => d.close();
    d.onclose = () => { d.remove(); };
    row.append(ok, no); d.append(svg, row); document.body.append(d); draw(); d.showModal(); svg.focus();
  }
})();
