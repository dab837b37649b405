// Looks at a report as a person would and says what is wrong with it. Needs Node and, in a folder
// outside the project, `npm install axe-core playwright-core`; run it from there:
//
//     node PROJECT/tests/accuracy/page.mjs REPORT.html [SCREENSHOT-PREFIX]
//
// At 390 and 1280 px, light and dark, with and without script: no sideways scroll, no overlap, nothing
// on the console, no request, and no serious finding of axe. CHROMIUM names the browser.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { pathToFileURL } from "node:url";
import { resolve } from "node:path";
const [page, out] = process.argv.slice(2);
const here = createRequire(pathToFileURL(resolve("package.json")));
const { chromium } = here("playwright-core");
const axe = readFileSync(here.resolve("axe-core/axe.min.js"), "utf8");
const browser = await chromium.launch({ executablePath: process.env.CHROMIUM || "/usr/bin/chromium", args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"] });
let bad = 0;
for (const width of [390, 1280]) for (const colorScheme of ["light", "dark"]) for (const javaScriptEnabled of [true, false]) {
  if (!javaScriptEnabled && colorScheme === "dark") continue;
  const context = await browser.newContext({ viewport: { width, height: 844 }, colorScheme, javaScriptEnabled, bypassCSP: false });
  const tab = await context.newPage();
  const said = [];
  tab.on("console", (m) => said.push(m.type() + ": " + m.text()));
  tab.on("pageerror", (e) => said.push("error: " + e.message));
  tab.on("request", (r) => { if (!r.url().startsWith("data:") && !r.url().startsWith("file:")) said.push("request: " + r.url()); });
  await tab.goto(pathToFileURL(resolve(page)).href);
  await tab.waitForTimeout(300);
  if (out) await tab.screenshot({ path: `${out}-${width}-${colorScheme}${javaScriptEnabled ? "" : "-nojs"}.png`, fullPage: true });
  const name = `${width} ${colorScheme}${javaScriptEnabled ? "" : " without script"}`;
  if (javaScriptEnabled) {
    const wide = await tab.evaluate(() => document.documentElement.scrollWidth - innerWidth);
    const overlaps = await tab.evaluate(() => {
      const boxes = [...document.querySelectorAll("main > *, .columns > *, .camera-body > *, .seam-body > *, dl > *, td, th, .todo > li")].filter((e) => e.getClientRects().length).map((e) => [e, e.getBoundingClientRect()]);
      const bad = [];
      for (const [a, r] of boxes) for (const [b, s] of boxes) {
        if (a === b || a.contains(b) || b.contains(a) || a.parentElement !== b.parentElement) continue;
        if (Math.min(r.right, s.right) - Math.max(r.left, s.left) > 1 && Math.min(r.bottom, s.bottom) - Math.max(r.top, s.top) > 1) bad.push(a.tagName + "." + a.className + " " + a.textContent.trim().slice(0, 30));
      }
      return bad;
    });
    const result = await (async () => { const c2 = await browser.newContext({ viewport: { width, height: 844 }, colorScheme, bypassCSP: true }); const t2 = await c2.newPage(); await t2.goto(pathToFileURL(resolve(page)).href); await t2.addScriptTag({ content: axe }); const r = await t2.evaluate(() => axe.run({ resultTypes: ["violations"] })); await c2.close(); return r; })();
    const serious = result.violations.filter((v) => ["serious", "critical"].includes(v.impact));
    console.log(name, "| wider than the screen by", wide, "| overlaps", overlaps.length, "| said", said.length, "| axe", result.violations.map((v) => `${v.id}(${v.impact}) x${v.nodes.length}`).join(", ") || "nothing");
    for (const v of result.violations) for (const n of v.nodes.slice(0, 3)) console.log("   ", v.id, n.target.join(" "), n.failureSummary.split("\n").slice(0, 3).join(" ").slice(0, 300));
    overlaps.slice(0, 5).forEach((o) => console.log("   overlap", o));
    bad += serious.length + said.length + overlaps.length + (wide > 0);
    if (wide > 0) console.log(await tab.evaluate(() => [...document.querySelectorAll("*")].filter((e) => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest(".scroll")).slice(0, 8).map((e) => e.tagName + "." + (e.className.baseVal ?? e.className) + " " + e.getBoundingClientRect().right)));
  } else console.log(name, "| said", said.length);
  said.slice(0, 5).forEach((s) => console.log("   ", s));
  await context.close();
}
await browser.close();
process.exit(bad ? 1 : 0);
