"use strict";
// The page reads as well without this: it tells a mark's figures beside the picture, and prints.
for (const mark of document.querySelectorAll("a.mark")) {
  mark.addEventListener("click", (event) => {
    const row = document.getElementById(mark.getAttribute("href").slice(1));
    const section = mark.closest(".camera");
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
let opened = [];
const open = (which) => {
  opened.push(...[...document.querySelectorAll(which)].filter((each) => !each.open));
  for (const each of opened) each.open = true;
};
addEventListener("beforeprint", () => open("details.prints"));
addEventListener("afterprint", () => {
  for (const each of opened) each.open = false;
  opened = [];
  document.body.classList.remove("everything");
});
for (const button of document.querySelectorAll("button.print")) {
  button.hidden = false;
  button.addEventListener("click", () => {
    if (button.classList.contains("all")) {
      document.body.classList.add("everything");
      open("details");
    }
    window.print();
  });
}
