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
// An answer that comes while somebody types on in the same field must not wipe what was typed.
// Nor may the whole page, which loads itself anew while fruit are measured, as long as a field is in use.
document.addEventListener("htmx:beforeSwap", (e) => {
  const t = e.detail.target, c = e.detail.requestConfig;
  if (!t.matches) return;
  const f = t.matches("td") && t.querySelector("[name=value]");
  if (f && c && c.formData && c.formData.get("value") !== f.value) e.detail.shouldSwap = false;
  if (t.id === "main" && [...t.querySelectorAll("table.grid [name=value]")].some((f) => f === document.activeElement || (f.tagName === "INPUT" && f.value !== f.defaultValue))) e.detail.shouldSwap = false;
});
// A field that could not be saved says so: what stands beside it is of the value before.
for (const name of ["htmx:sendError", "htmx:responseError"]) document.addEventListener(name, (e) => {
  const td = e.target.closest && e.target.closest("table.grid td");
  if (!td) return;
  const s = td.querySelector("[role=status]") || td.firstElementChild.appendChild(document.createElement("span"));
  s.setAttribute("role", "status"); s.className = "small bad"; s.textContent = "not saved";
});
