// Moving through the grid with the keys: Enter and the arrows go from row to row.
"use strict";
document.addEventListener("keydown", (e) => {
  const f = e.target, td = f.closest && f.closest("table.grid td");
  if (!td || (e.key !== "Enter" && e.key !== "ArrowDown" && e.key !== "ArrowUp")) return;
  if (f.tagName === "SELECT" && e.key !== "Enter") return;
  e.preventDefault();
  const row = td.parentElement, col = [...row.children].indexOf(td), to = e.key === "ArrowUp" ? row.previousElementSibling : row.nextElementSibling;
  const next = to && to.children[col].querySelector("input[name=value],select[name=value]");
  if (next) { next.focus(); if (next.select) next.select(); } else f.blur();
});
