"use strict";
const rows = [...document.querySelectorAll(".matrix tbody tr")];
const find = document.getElementById("find");
const bad = document.getElementById("bad");
const caption = document.querySelector(".matrix caption");

function show() {
  const words = find.value.trim().toLowerCase().split(/\s+/);
  let shown = 0;
  for (const row of rows) {
    const said = row.querySelector("th").textContent.toLowerCase();
    row.hidden = (bad.checked && !row.dataset.broken) || !words.every((word) => said.includes(word));
    shown += !row.hidden;
  }
  caption.textContent = shown === rows.length ? `${shown} faults` : `${shown} of ${rows.length} faults`;
}

find.addEventListener("input", show);
bad.addEventListener("change", show);
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") for (const open of document.querySelectorAll(".matrix details[open]")) open.open = false;
});
show();
