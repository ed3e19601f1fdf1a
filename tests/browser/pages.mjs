// The demo's pages in a real browser: nothing is fetched, nothing is logged as an error, nothing overflows or is cut off on a
// phone or a desk, in light and in dark; verdicts are there in words, links lead somewhere and back; the fault is in view at
// once; a long sweep prints on two pages. Usage: node pages.mjs FOLDER

import { existsSync, readdirSync } from "node:fs";
import { dirname, join, resolve } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const folder = resolve(process.argv[2] ?? "demo-report");
const pages = readdirSync(folder).filter((name) => name.endsWith(".html")).sort();
const problems = [];
const complain = (page, what) => problems.push(`${page}: ${what}`);
if (pages.length < 40) complain(folder, `only ${pages.length} pages; a lot of 24 units has more`);

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  // A test may run as root, where Chromium's own sandbox cannot; the pages are our own files.
  args: ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"],
});

for (const [width, colorScheme] of [[1280, "light"], [390, "light"], [360, "light"], [1920, "light"], [1280, "dark"], [390, "dark"]]) {
  const context = await browser.newContext({ viewport: { width, height: 900 }, colorScheme });
  const page = await context.newPage();
  let here = "";
  page.on("console", (message) => message.type() === "error" && complain(here, message.text()));
  page.on("pageerror", (error) => complain(here, error.message));
  page.on("request", (request) => {
    if (!request.url().startsWith("file:") && !request.url().startsWith("data:")) complain(here, `asks for ${request.url()}`);
  });
  for (const name of pages) {
    here = `${name} at ${width} px, ${colorScheme}`;
    await page.goto(pathToFileURL(join(folder, name)).href);
    const seen = await page.evaluate(() => ({
      overflow: document.documentElement.scrollWidth - document.documentElement.clientWidth,
      // Frames that scroll: none on a phone, where rows are cards.
      scrolling: [...document.querySelectorAll(".scroller")].filter((frame) => frame.scrollWidth > frame.clientWidth).length,
      text: document.body.innerText,
      lang: document.documentElement.lang,
      title: document.title,
      links: [...document.querySelectorAll("a[href]")].map((a) => a.href),
      images: [...document.querySelectorAll("svg[role=img]")].filter(
        (svg) => !svg.querySelector("title") && !svg.hasAttribute("aria-label") && !svg.hasAttribute("aria-labelledby"),
      ).length,
    }));
    if (seen.overflow > 0) complain(here, `overflows by ${seen.overflow} px`);
    if (width < 400 && seen.scrolling > 0) complain(here, `${seen.scrolling} tables are cut off`);
    if (!/\b(pass|fail|unproven|void)\b/i.test(seen.text)) complain(here, "no verdict in words");
    if (!seen.lang || !seen.title) complain(here, "no language or no title");
    if (seen.images > 0) complain(here, `${seen.images} drawings without a name`);
    for (const link of seen.links) {
      const target = new URL(link);
      if (target.protocol === "file:" && !existsSync(fileURLToPath(target))) complain(here, `dead link ${link}`);
    }
  }
  await context.close();
}

// From the lot to a unit to its sweep, as a person would click, and back by the links at the top.
const page = await browser.newPage({ viewport: { width: 1280, height: 800 } });
await page.goto(pathToFileURL(join(folder, "index.html")).href);
await page.getByRole("link", { name: "TG-01", exact: true }).first().click();
await page.getByRole("link", { name: "sweep 1", exact: true }).click();
const text = await page.locator("body").innerText();
if (!text.includes("via pair 1")) complain("index.html", "the way from lot to unit to sweep does not end at the faulty segment");
for (const [name, file] of [["unit", "TG-01.html"], ["lot", "index.html"]]) {
  await page.locator("nav a", { hasText: name }).click();
  if (!page.url().endsWith(`/${file}`)) complain(page.url(), `"${name}" does not lead back to ${file}`);
}

// What is at fault, and its place on the board, without scrolling.
const IN_VIEW = 700; // px of a window 800 px high
for (const [unit, fault] of [["TG-03", "power switch"], ["GV-20", "valve via pair 1"], ["TC-15", "single via"]]) {
  const name = pages.find((name) => name.startsWith(`${unit}-sweep`));
  await page.goto(pathToFileURL(join(folder, name)).href);
  for (const [what, selector] of [["in the headline", ".headline"], ["on the board", ".callout text"]]) {
    const box = await page.locator(selector, { hasText: fault }).first().boundingBox().catch(() => null);
    if (!box || box.y + box.height > IN_VIEW) complain(name, `${fault} is not ${what} within ${IN_VIEW} px`);
  }
}

// Paper: each page of a PDF is an object of type Page.
const MOST_PAGES = 2;
let longest = 0;
for (const name of pages.filter((name) => /^GV-.*-sweep-/.test(name))) {
  await page.goto(pathToFileURL(join(folder, name)).href);
  const pdf = (await page.pdf({ preferCSSPageSize: true })).toString("latin1");
  const count = pdf.match(/\/Type\s*\/Page\b/g).length;
  longest = Math.max(longest, count);
  if (count > MOST_PAGES) complain(name, `takes ${count} pages of A4`);
}

await browser.close();
problems.slice(0, 40).forEach((problem) => console.log(problem));
console.log(`${pages.length} pages in six settings, sweeps of 35 segments on ${longest} pages of A4, ${problems.length} problems`);
process.exitCode = problems.length > 0 ? 1 : 0;
