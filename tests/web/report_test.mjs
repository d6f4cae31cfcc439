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
/** The children of an image are presentational (WAI-ARIA 1.2, role img), and are many. */
const withoutDrawings = { exclude: [["svg > *"]] };
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
    .replace(/duration = [\d.]+/g, "duration = 8.0")
    .replace(/^\[measure\]/m, "$&\nframe_interval = 1.0");
  const path = join(folder, name);
  const frames = text.includes("[measure]")
    ? ""
    : "\n[measure]\nframe_interval = 1.0\n";
  writeFileSync(path, text + frames);
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

/** Lines that a program prints of the CSV files of a folder: name, rows, columns. */
function read(program, ...words) {
  const done = spawnSync(program, words, { encoding: "utf8" });
  assert.ok(!done.error, `${program} is missing: see deploy/install test`);
  assert.equal(done.status, 0, done.stderr);
  return done.stdout
    .trim()
    .split("\n")
    .map((line) => line.trim());
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
async function open(directory, width = 1100, { height = 900, ...more } = {}) {
  const page = await browser.newPage({ viewport: { width, height }, ...more });
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

for (const name of [
  "film_map.toml",
  "memory.toml",
  "robustness.toml",
  "switching.toml",
]) {
  describe(`the report of ${name}`, () => {
    const directory = join(folder, name.replace(".toml", ""));
    let answers;
    let opened;
    let study;

    before(async () => {
      study = gyrebox("submit", smallStudy(name), "--watch").trim();
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
        if (!plot.columns.some((column) => column.role === "ROLE_X")) {
          const rows = opened.page.locator(
            `[data-plot="${plot.name}"] .table tbody tr`,
          );
          assert.equal(await rows.count(), plot.rows.length, plot.name);
          continue;
        }
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
      const shown = answers.snapshots.map(
        ({ run, step }) => frames[`${run}@${step}`],
      );
      assert.ok(shown.length >= 2);
      const figures = opened.page.locator("#beds figure");
      assert.equal(await figures.count(), shown.length);
      for (const [i, frame] of shown.entries()) {
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
      await opened.page
        .locator('button[aria-label^="Save as SVG"]')
        .first()
        .click();
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
      assert.ok(!read.includes("[drive.sine]"), "the study file stays folded");
    });

    test("shows the figure on the first screen, wide and on a phone", async () => {
      for (const [width, height] of [
        [1400, 900],
        [390, 844],
      ]) {
        const { page } = await open(directory, width, { height });
        const box = await page.locator(".lead > figure .plot").boundingBox();
        assert.ok(box.x >= 0 && box.x + box.width <= width, `${width}`);
        assert.ok(box.y >= 0 && box.y + box.height <= height, `${box.y}`);
        assert.ok(box.height > 200);
        assert.ok(
          (await page.locator(".answer").boundingBox()).y < box.y,
          "the answer comes first",
        );
        assert.ok(
          (await page.evaluate(() => document.documentElement.scrollWidth)) <=
            width,
          "the page scrolls sideways",
        );
        await page.close();
      }
      const headings = await opened.page.locator("main h2").allTextContents();
      assert.equal(headings.at(-1), "Provenance");
    });

    test("prints the figure on page 1", async () => {
      const path = join(directory, "first.pdf");
      const { page } = await open(directory);
      await page.pdf({ path, format: "A4" });
      const words = await page
        .locator(".lead > figure .plot svg text")
        .allTextContents();
      await page.close();
      const read = bare(poppler("pdftotext", "-l", "1", path, "-"));
      assert.ok(words.length > 5);
      for (const word of words) assert.ok(read.includes(bare(word)), word);
    });

    test("switches axes between logarithmic and linear", async () => {
      const { page } = await open(directory);
      const figure = page.locator(".lead > figure");
      const isLog = async () =>
        /logarithmic/.test(
          (await figure.locator(".plot svg text").allTextContents()).join(),
        );
      const boxes = figure.locator(".axes input");
      assert.ok((await boxes.count()) > 0);
      for (const on of [true, false, true]) {
        for (let i = 0; i < (await boxes.count()); ++i)
          await boxes.nth(i).setChecked(on);
        assert.equal(await isLog(), on);
        // Ends of intervals stay within the drawing.
        const text = await figure.locator(".plot svg").innerHTML();
        assert.doesNotMatch(text, /NaN|Infinity/);
      }
      await page.close();
    });

    test("shows a bed large by pointer and by keyboard", async () => {
      const { page, complaints } = await open(directory, 1400);
      const beds = page.locator(".small-bed");
      assert.ok((await beds.count()) > 1);
      await beds.first().click();
      const dialog = page.locator("dialog");
      assert.ok(await dialog.isVisible());
      const box = await dialog.locator("svg").boundingBox();
      assert.ok(box.height > 500);
      const words = await dialog.locator("p").innerText();
      await page.keyboard.press("ArrowRight");
      assert.notEqual(await dialog.locator("p").innerText(), words);
      await page.keyboard.press("Escape");
      assert.equal(await dialog.isVisible(), false);
      await beds.nth(1).focus();
      await page.keyboard.press("Enter");
      assert.ok(await dialog.isVisible());
      assert.deepEqual(complaints, []);
      await page.close();
    });

    test("leads from a point to its runs", async () => {
      const { page } = await open(directory, 1400);
      await page.locator(".lead > figure .plot-layer").focus();
      await page.keyboard.press("ArrowRight");
      await page.keyboard.press("Enter");
      const link = page.locator('.picked a[href^="#run-"]').first();
      const number = await link.innerText();
      await link.click();
      assert.ok(await page.locator(`#run-${number}`).isVisible());
      await page.close();
    });

    test("writes CSV files that pandas and R read by default", async () => {
      const here = new URL(".", import.meta.url).pathname;
      const data = join(directory, "data");
      gyrebox("report", "--data-only", study, data);
      assert.ok(!existsSync(join(data, "report.html")));
      // That of Debian, which has Debian's pandas.
      const python = read("/usr/bin/python3", join(here, "read_csv.py"), data);
      const r = read("Rscript", join(here, "read_csv.R"), data);
      assert.ok(python.length > 0);
      assert.deepEqual(r, python);
    });

    test("is readable in the dark", async () => {
      const { page } = await open(directory, 1100, { colorScheme: "dark" });
      const ground = await page.evaluate(
        () => getComputedStyle(document.documentElement).backgroundColor,
      );
      const [red] = ground.match(/\d+/g).map(Number);
      assert.ok(red < 64, ground);
      await page.evaluate(axe);
      const { violations } = await page.evaluate(
        (context) =>
          globalThis.axe.run(context, { runOnly: ["color-contrast"] }),
        withoutDrawings,
      );
      const words = violations.map(
        ({ id, nodes }) => `${id}: ${nodes[0].html}`,
      );
      assert.deepEqual(words, []);
      await page.close();
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
      const { violations } = await page.evaluate(
        (context) => globalThis.axe.run(context),
        withoutDrawings,
      );
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

    if (name === "film_map.toml") {
      test("switches single curves off and on", async () => {
        const { page } = await open(directory, 1400);
        const figure = page.locator(".lead > figure");
        const marks = () => figure.locator("svg [data-row]").count();
        const all = await marks();
        const button = figure.locator(".curve").first();
        assert.equal(await button.getAttribute("aria-pressed"), "true");
        await button.click();
        assert.equal(await button.getAttribute("aria-pressed"), "false");
        assert.equal(await marks(), all / 2);
        await button.click();
        assert.equal(await marks(), all);
        await page.close();
      });

      test("shows a bed of every point on the plane of its axes", async () => {
        const cells = await opened.page.locator(".plane .small-bed").count();
        assert.equal(cells, answers.beds.length);
        const [one, two] = answers.axes.map((axis) => axis.values.length);
        assert.equal(cells, one * two);
      });

      test("draws growth on logarithmic axes, and the structure of the chosen point", async () => {
        const { page } = await open(directory, 1400);
        const words = (
          await page.locator("#growth svg text").allTextContents()
        ).join();
        assert.match(words, /time \[τ\], logarithmic/);
        assert.match(words, /logarithmic/);
        const drawing = () =>
          page.locator("#structure .plot svg").first().innerHTML();
        const before = await drawing();
        const select = page.locator("#structure select");
        const count = await select.locator("option").count();
        assert.equal(count, answers.beds.length);
        await select.selectOption({ index: count - 1 });
        assert.notEqual(await drawing(), before);
        const names = (
          await page.locator("#structure svg text").allTextContents()
        ).join();
        assert.match(names, /k \[1\/σ\]/);
        assert.match(names, /r \[σ\]/);
        await page.close();
      });

      test("scrubs and plays a film; stands still under reduced motion", async () => {
        const { page } = await open(directory, 1100);
        const film = page.locator("#film");
        const slider = film.locator("input");
        const last = Number(await slider.getAttribute("max"));
        assert.equal(Number(await slider.inputValue()), last);
        await slider.focus();
        await page.keyboard.press("Home");
        assert.equal(await slider.inputValue(), "0");
        const first = await film.locator("output").innerText();
        await film.getByRole("button", { name: "Play" }).click();
        await page.waitForFunction(
          (words) =>
            document.querySelector("#film output").textContent !== words,
          first,
        );
        await page.close();
        const still = await open(directory, 1100, { reducedMotion: "reduce" });
        assert.equal(
          await still.page.locator("#film .scrub button").isVisible(),
          false,
        );
        await still.page.close();
      });
    }
  });
}
