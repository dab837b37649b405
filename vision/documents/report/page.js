"use strict";
// The page reads as well without this: it sorts tables, and tells a mark's figures beside the picture.
for (const table of document.querySelectorAll("table.sorts")) {
  const heads = [...table.tHead.rows[0].cells];
  heads.forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const up = head.getAttribute("aria-sort") !== "ascending";
      heads.forEach((each) => each.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", up ? "ascending" : "descending");
      const key = (row) => {
        const cell = row.cells[column];
        const figure = cell && cell.querySelector("data");
        return figure ? Number(figure.value) : cell ? cell.textContent.trim() : "";
      };
      const rows = [...table.tBodies[0].rows].map((row) => [key(row), row]);
      rows.sort(([a], [b]) => {
        if (typeof a !== typeof b) return typeof a === "number" ? -1 : 1;
        const way = typeof a === "number" ? a - b : a.localeCompare(b, "en", { numeric: true });
        return up ? way : -way;
      });
      table.tBodies[0].append(...rows.map(([, row]) => row));
    });
  });
}
for (const mark of document.querySelectorAll("a.mark")) {
  mark.addEventListener("click", (event) => {
    const row = document.getElementById(mark.getAttribute("href").slice(1));
    const section = mark.closest("section");
    if (!row || !section) return;
    event.preventDefault();
    for (const old of section.querySelectorAll(".chosen")) old.classList.remove("chosen");
    mark.classList.add("chosen");
    row.classList.add("chosen");
    const parts = [...row.cells].map((cell) => {
      const text = cell.textContent.replace(/\s+/g, " ").trim();
      return cell.dataset.what ? `${cell.dataset.what} ${text} ${cell.dataset.unit}` : text;
    });
    section.querySelector(".said").textContent = parts.join(" · ");
  });
}
for (const button of document.querySelectorAll("button.print")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
