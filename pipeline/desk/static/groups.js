// Dragging fruit between groups. The tick boxes and the menu do the same without dragging.
"use strict";
(() => {
  const start = () => {
    const rows = document.getElementById("rows");
    if (!rows || !window.Sortable) return;
    for (const ul of rows.querySelectorAll(".cuts[data-group]")) {
      if (Sortable.get(ul)) continue;
      Sortable.create(ul, {
        group: "fruit", handle: "img", forceFallback: true, animation: 120, fallbackTolerance: 4,
        onEnd: (e) => {
          const to = e.to.dataset.group;
          if (to === e.from.dataset.group) return;
          desk.calm();
          const back = () => e.from.insertBefore(e.item, e.from.children[e.oldIndex] || null);
          htmx.ajax("POST", rows.dataset.move, { target: "#rows", swap: "outerHTML", values: { fruit: e.item.dataset.fruit, to } })
            .then(() => { if (rows.isConnected) back(); else if (!document.querySelector("#rows [role=alert]")) desk.say("Moved to group " + to + "."); }).catch(back);
        },
      });
    }
  };
  document.addEventListener("DOMContentLoaded", start);
  document.addEventListener("htmx:afterSettle", start);
})();
