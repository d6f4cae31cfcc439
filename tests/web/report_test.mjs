// Opens real reports in a browser: GYREBOX, GYREBOXD and GYREBOX_STUDIES give the programs and the example studies.
import assert from "node:assert/strict";
import { spawn, spawnSync } from "node:child_process";
import {
  existsSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { after, before, describe, test } from "node:test";
import { chromium } from "playwright-core";

const axe = readFileSync(
  createRequire(import.meta.url).resolve("axe-core/axe.min.js"),
  "utf8",
);
const folder = mkdtempSync(join(tmpdir(), "gyrebox-web."));
let server;
let browser;
let address;

function gyrebox(...words) {
  const done = spawnSync(process.env.GYREBOX, ["--server", address, ...words], {
    encoding: "utf8",
  });
  assert.equal(done.status, 0, done.stderr);
  return done.stdout;
}

/** An example study, smaller, with a title that would break out of a careless page. */
function smallStudy(name) {
  const text = readFileSync(join(process.env.GYREBOX_STUDIES, name), "utf8")
    .replace(/^title = "(.*)"/m, 'title = "$1 </script><!-- <b>&amp;"')
    .replace(/bead_count = \d+/, "bead_count = 128")
    .replace(/duration = [\d.]+/g, "duration = 8.0");
  const path = join(folder, name);
  writeFileSync(path, text);
  return path;
}

/** What a program of Debian's poppler-utils says of a PDF; any complaint is a fault. */
function poppler(program, ...words) {
  const done = spawnSync(program, words, { encoding: "utf8" });
  assert.ok(
    !done.error,
    `${program} is missing: deploy/install browser brings poppler-utils`,
  );
  assert.equal(done.status, 0, done.stderr);
  assert.equal(done.stderr, "");
  return done.stdout;
}

/** Letters and digits alone, powers as plain digits: where a reader of PDF sees spaces is its own affair. */
function bare(text) {
  return text.normalize("NFKC").replace(/\s/g, "");
}

function findBrowser() {
  const found =
    process.env.CHROMIUM ??
    ["/usr/bin/chromium", "/usr/bin/chromium-browser"].find((path) =>
      existsSync(path),
    );
  assert.ok(
    found,
    "this test needs chromium: deploy/install browser, or name one in CHROMIUM",
  );
  return found;
}

before(async () => {
  const port = join(folder, "address");
  server = spawn(
    process.env.GYREBOXD,
    [
      "--data",
      join(folder, "data"),
      "--listen",
      "127.0.0.1:0",
      "--port-file",
      port,
    ],
    { stdio: "ignore" },
  );
  for (let i = 0; i < 200 && !existsSync(port); ++i) await sleep(100);
  await sleep(100);
  address = readFileSync(port, "utf8").trim();
  browser = await chromium.launch({
    executablePath: findBrowser(),
    args: ["--no-sandbox"],
  });
});

after(async () => {
  await browser?.close();
  server?.kill("SIGTERM");
  if (server) await new Promise((resolve) => server.on("exit", resolve));
  rmSync(folder, { recursive: true, force: true });
});

/** Opens a report; collects what it says on the console and what it asks of the network. */
async function open(directory, width = 1100) {
  const page = await browser.newPage({ viewport: { width, height: 900 } });
  const complaints = [];
  const requests = [];
  page.on("console", (message) => complaints.push(message.text()));
  page.on("pageerror", (error) => complaints.push(String(error)));
  page.on("request", (request) => requests.push(request.url()));
  const file = `file://${directory}/report.html`;
  await page.goto(file);
  await page.waitForFunction(() =>
    [...document.querySelectorAll("figure")].every((figure) =>
      figure.querySelector("svg"),
    ),
  );
  return { page, complaints, requests: requests.filter((url) => url !== file) };
}

for (const name of ["film_map.toml", "memory.toml", "robustness.toml"]) {
  describe(`the report of ${name}`, () => {
    const directory = join(folder, name.replace(".toml", ""));
    let answers;
    let opened;

    before(async () => {
      const study = gyrebox("submit", smallStudy(name), "--watch").trim();
      gyrebox("note", study, "first line <b>\nsecond line");
      gyrebox("label", study, "film", "dense");
      gyrebox("report", study, directory);
      answers = JSON.parse(
        readFileSync(join(directory, "answers.json"), "utf8"),
      );
      opened = await open(directory);
    });
    after(() => opened.page.close());

    test("opens from a file without errors and without requests", () => {
      assert.deepEqual(opened.complaints, []);
      assert.deepEqual(opened.requests, []);
    });

    test("shows titles as they are, and nothing of them as markup", async () => {
      assert.match(answers.title, /<\/script><!-- <b>&amp;$/);
      assert.equal(await opened.page.textContent("h1"), answers.title);
      assert.equal(await opened.page.locator("h1 *").count(), 0);
    });

    test("shows the note and the labels of the study", async () => {
      const shown = await opened.page.locator("dl.facts").first().innerText();
      assert.match(shown, /Labels\s+dense, film/);
      assert.match(shown, /Note\s+first line <b>\nsecond line/);
    });

    test("answers every question or says why not", async () => {
      const text = await opened.page.textContent("main");
      for (const answer of answers.answers) {
        assert.ok(text.includes(answer.title), answer.title);
        assert.ok(text.includes(answer.why_not), answer.why_not);
      }
      const rows = await opened.page
        .locator("section > .table tbody tr")
        .count();
      assert.equal(
        rows,
        answers.answers.reduce(
          (sum, answer) => sum + answer.quantities.length,
          0,
        ),
      );
      assert.ok(rows > 0);
    });

    test("draws every plot with a mark for each row and vertical position", async () => {
      const plots = answers.answers.flatMap((answer) => answer.plots);
      assert.ok(plots.length > 3);
      for (const plot of plots) {
        const positions = plot.columns.filter(
          (column) => column.role === "ROLE_Y",
        ).length;
        const marks = opened.page.locator(
          `figure[data-plot="${plot.name}"] svg [data-row]`,
        );
        assert.equal(
          await marks.count(),
          plot.rows.length * positions,
          plot.name,
        );
        const missing = await opened.page
          .locator(`figure[data-plot="${plot.name}"] svg [data-missing]`)
          .count();
        const ys = plot.columns.flatMap((column, i) =>
          column.role === "ROLE_Y" ? [i] : [],
        );
        const x = plot.columns.findIndex((column) => column.role === "ROLE_X");
        const none = plot.rows.flatMap((row) =>
          ys.filter((y) => row.values[y] === "NaN" || row.values[x] === "NaN"),
        ).length;
        assert.equal(missing, none, plot.name);
      }
    });

    test("shows every selected bed to scale, with all its beads", async () => {
      const { frames } = JSON.parse(
        await opened.page.textContent("#report-data"),
      );
      assert.equal(frames.length, answers.snapshots.length);
      assert.ok(frames.length >= 2);
      const figures = opened.page.locator("#beds figure");
      assert.equal(await figures.count(), frames.length);
      for (const [i, frame] of frames.entries()) {
        const kinds = [...Buffer.from(frame.kinds, "base64")];
        assert.equal(kinds.length, 128);
        assert.ok(JSON.stringify(frame).length < 128 * 8 + 400);
        const drawn = await figures.nth(i).evaluate((figure) => {
          const path = figure.querySelector('g path[stroke="#0072B2"]');
          const box = figure.querySelector("clipPath rect").getBBox();
          return {
            spinners: path.getAttribute("d").split("M").length - 1,
            aspect: box.width / box.height,
            words: figure.textContent,
          };
        });
        const spinners = kinds.filter((kind) => kind === 1).length;
        // Beads at one side are drawn at the opposite side, too.
        assert.ok(drawn.spinners >= spinners && drawn.spinners < 2 * spinners);
        assert.ok(
          Math.abs(drawn.aspect / (frame.side_x / frame.side_y) - 1) < 0.01,
        );
        const { caption } = answers.snapshots[i];
        assert.ok(drawn.words.toLowerCase().includes(caption.toLowerCase()));
      }
    });

    // 880 pixels correspond to 1100 at a zoom of 125 %.
    test("keeps every word of a figure inside it, on a wide and on a narrow screen", async () => {
      for (const width of [1100, 880, 360]) {
        const { page } = await open(directory, width);
        assert.ok(
          (await page.evaluate(() => document.documentElement.scrollWidth)) <=
            width,
          "the page scrolls sideways",
        );
        const cut = await page.evaluate(() =>
          [...document.querySelectorAll("figure svg")].flatMap((svg) => {
            const outer = svg.getBoundingClientRect();
            return [...svg.querySelectorAll("text")]
              .filter((text) => {
                const box = text.getBoundingClientRect();
                return (
                  box.left < outer.left - 1 ||
                  box.right > outer.right + 1 ||
                  box.top < outer.top - 1 ||
                  box.bottom > outer.bottom + 1
                );
              })
              .map((text) => text.textContent);
          }),
        );
        assert.deepEqual(cut, [], `${width}`);
        await page.close();
      }
    });

    test("shows values on pointer and keyboard focus", async () => {
      const layer = opened.page.locator("figure .plot-layer").first();
      await layer.focus();
      await opened.page.keyboard.press("ArrowRight");
      const tip = opened.page.locator("figure .plot-tip").first();
      const first = await tip.innerText();
      await opened.page.keyboard.press("ArrowRight");
      assert.notEqual(await tip.innerText(), first);
      await opened.page.keyboard.press("Escape");
      assert.equal(await tip.isVisible(), false);
      const mark = opened.page.locator("figure svg [data-row]").first();
      const box = await mark.boundingBox();
      await opened.page.mouse.move(
        box.x + box.width / 2,
        box.y + box.height / 2,
      );
      assert.equal(await tip.innerText(), first);
    });

    test("saves a figure that stands alone", async () => {
      const waiting = opened.page.waitForEvent("download");
      await opened.page.locator("figure button").first().click();
      const download = await waiting;
      assert.match(download.suggestedFilename(), /^[a-z0-9_]+\.svg$/);
      const text = readFileSync(await download.path(), "utf8");
      assert.match(
        text,
        /^<\?xml[^>]*>\s*<svg xmlns="http:\/\/www.w3.org\/2000\/svg"/,
      );
      assert.doesNotMatch(text, /class=|style=|NaN/);
    });

    test("saves figures as PDF files that hold their words as text", async () => {
      const buttons = opened.page.locator('button[aria-label^="Save as PDF"]');
      const count = await buttons.count();
      assert.equal(count, await opened.page.locator("figure").count());
      for (const i of [0, Math.floor(count / 2), count - 1]) {
        const waiting = opened.page.waitForEvent("download");
        await buttons.nth(i).click();
        const download = await waiting;
        assert.match(download.suggestedFilename(), /^[a-z0-9_]+\.pdf$/);
        const path = await download.path();
        assert.match(readFileSync(path, "latin1"), /^%PDF-1\.4\n/);
        const words = await buttons
          .nth(i)
          .evaluate((button) =>
            [...button.closest("figure").querySelectorAll("svg text")].map(
              (text) => text.textContent,
            ),
          );
        assert.ok(words.length > 2);
        const read = bare(poppler("pdftotext", path, "-"));
        for (const word of words) assert.ok(read.includes(bare(word)), word);
        poppler("pdftoppm", "-r", "60", "-png", path, join(folder, "page"));
      }
    });

    test("prints sections that are folded on the screen", async () => {
      const path = join(directory, "printed.pdf");
      const { page } = await open(directory);
      await page.pdf({ path, format: "A4" });
      await page.close();
      const read = bare(poppler("pdftotext", "-raw", path, "-"));
      const { definition } = answers.answers[0].quantities[0];
      assert.ok(read.includes(bare(definition)), definition);
      assert.ok(read.includes("[drive.sine]"), "the study file");
    });

    test("has no serious accessibility fault", async () => {
      const { page } = opened;
      await page.evaluate(() =>
        document
          .querySelectorAll("details")
          .forEach((details) => (details.open = true)),
      );
      await page.waitForTimeout(200);
      await page.evaluate(axe);
      const { violations } = await page.evaluate(() => globalThis.axe.run());
      const serious = violations.filter(
        ({ impact }) => impact === "serious" || impact === "critical",
      );
      const words = serious.map(({ id, nodes }) => `${id}: ${nodes[0].html}`);
      assert.deepEqual(words, []);
      const levels = await page.$$eval("h1, h2, h3", (all) =>
        all.map((heading) => Number(heading.tagName[1])),
      );
      levels.forEach((level, i) =>
        assert.ok(
          level <= (levels[i - 1] ?? 0) + 1,
          "a level of headings is left out",
        ),
      );
    });
  });
}
