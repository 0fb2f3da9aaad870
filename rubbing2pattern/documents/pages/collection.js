"use strict";
const body = document.querySelector("#rubbings tbody");
const heads = [...document.querySelectorAll("#rubbings thead button")];
for (const head of heads) {
  head.addEventListener("click", () => {
    const cell = head.closest("th");
    const down = cell.getAttribute("aria-sort") === "ascending";
    for (const other of heads) other.closest("th").removeAttribute("aria-sort");
    cell.setAttribute("aria-sort", down ? "descending" : "ascending");
    const worth = (row) => row.cells[cell.cellIndex]?.dataset.order ?? "";
    const number = head.dataset.kind === "number";
    const rows = [...body.rows].map((row, place) => ({ row, place, key: worth(row) }));
    rows.sort((a, b) => {
      if (!a.key !== !b.key) return a.key ? -1 : 1;
      const off = number ? a.key - b.key : a.key < b.key ? -1 : a.key > b.key ? 1 : 0;
      return (down ? -off : off) || a.place - b.place;
    });
    body.append(...rows.map((each) => each.row));
  });
}
