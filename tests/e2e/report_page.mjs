// report_page.mjs MODULES BROWSER PAGE... - reports as readers meet them: from 360 px to a
// desktop, light and dark, on A4 and Letter, judged for accessibility by axe-core.
import { createRequire } from 'node:module';
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { pathToFileURL } from 'node:url';

const [, , modules, browserPath, ...pages] = process.argv;
const require = createRequire(join(modules, 'package.json'));
const { chromium } = require('playwright-core');
const axe = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');
const SECTIONS = ['question', 'answer', 'results', 'checks', 'method', 'cautions'];
const problems = [];
let passed = 0;

const check = (right, what) => {
  if (right) {
    passed += 1;
  } else {
    problems.push(what);
  }
};

const open = async (browser, url, width, colorScheme) => {
  // axe is put in by the driver; the page's own policy stays for everything else.
  const context = await browser.newContext({
    viewport: { width, height: 800 }, colorScheme, bypassCSP: true });
  const page = await context.newPage();
  const requests = [];
  page.on('request', (request) => requests.push(request.url()));
  page.on('pageerror', (error) => problems.push(`${url}: ${error}`));
  await page.goto(url);
  return { context, page, requests };
};

const sizes = async (browser, url, name) => {
  for (const width of [360, 768, 1280]) {
    for (const scheme of ['light', 'dark']) {
      const { context, page, requests } = await open(browser, url, width, scheme);
      const where = `${name} at ${width} px, ${scheme}`;
      const wide = await page.evaluate(() => document.documentElement.scrollWidth);
      check(wide <= width, `${where}: ${wide} px wide`);
      check(requests.length === 1, `${where}: asks for ${requests.slice(1)}`);
      const charts = await page.evaluate(() => [...document.querySelectorAll('svg.chart')]
        .filter((svg) => {
          const box = svg.getBoundingClientRect();
          return box.width < 200 || box.right > innerWidth + 1 || box.left < 0;
        }).length);
      check(charts === 0, `${where}: ${charts} charts too small or cut`);
      if (width === 768) {
        await context.close();
        continue; // what axe judges differs at the ends
      }
      await page.evaluate(axe);
      const { violations } = await page.evaluate(() => globalThis.axe.run());
      check(violations.length === 0, `${where}: ${violations.map(
        (v) => `${v.id} (${v.nodes[0].target}): ${v.help}`).join('; ')}`);
      await context.close();
    }
  }
};

const parts = async (browser, url, name) => {
  const { context, page } = await open(browser, url, 1280, 'light');
  for (const id of SECTIONS) {
    check(await page.locator(`section[aria-labelledby="${id}"] h2#${id}`).count() === 1,
      `${name}: no section ${id}`);
  }
  const seen = await page.evaluate(() => {
    const all = (selector) => [...document.querySelectorAll(selector)];
    const levels = all('h1,h2,h3,h4').map((h) => Number(h.tagName[1]));
    return {
      jumps: levels.filter((level, i) => i > 0 && level > levels[i - 1] + 1).length,
      first: levels[0],
      captions: all('table').filter((t) => t.caption === null).length,
      tables: all('table').length,
      charts: all('svg.chart').length,
      silent: all('svg.chart').filter((s) => !s.querySelector('title').textContent ||
        !s.querySelector('desc').textContent).length,
      outside: all('svg.chart text').filter((t) => {
        const inner = t.getBoundingClientRect();
        const outer = t.ownerSVGElement.getBoundingClientRect();
        return inner.left < outer.left - 1 || inner.right > outer.right + 1 ||
          inner.top < outer.top - 1 || inner.bottom > outer.bottom + 1;
      }).map((t) => t.textContent),
      targets: all('nav a').filter((a) => !document.querySelector(a.getAttribute('href')))
        .length,
    };
  });
  check(seen.first === 1 && seen.jumps === 0, `${name}: headings skip a level`);
  check(seen.tables > 0 && seen.captions === 0, `${name}: tables without caption`);
  check(seen.charts > 0 && seen.silent === 0, `${name}: charts without words`);
  check(seen.outside.length === 0, `${name}: cut in a chart: ${seen.outside.join(' | ')}`);
  check(seen.targets === 0, `${name}: contents lead nowhere`);
  await page.keyboard.press('Tab');
  check(await page.evaluate(() => document.activeElement.className) === 'skip',
    `${name}: the skip link is not first`);
  await context.close();
};

const paper = async (browser, url, name, folder) => {
  for (const [format, height] of [['A4', 297], ['Letter', 279.4]]) {
    const { context, page } = await open(browser, url, 794, 'dark');
    const file = join(folder, 'page.pdf');
    await page.pdf({ path: file, format, preferCSSPageSize: false });
    const info = execFileSync('pdfinfo', [file], { encoding: 'utf8' });
    const tall = Number(/Page size:\s+[\d.]+ x ([\d.]+)/.exec(info)[1]) * 25.4 / 72;
    check(Math.abs(tall - height) < 1.5, `${name}: ${format} gives pages of ${tall} mm`);
    await page.emulateMedia({ media: 'print' });
    const print = await page.evaluate(() => ({
      tall: Math.max(0, ...[...document.querySelectorAll('figure')].map(
        (f) => f.getBoundingClientRect().height)),
      wide: [...document.querySelectorAll('svg.chart,table')].filter(
        (x) => x.getBoundingClientRect().right > innerWidth + 1).length,
      paper: getComputedStyle(document.documentElement).backgroundColor,
      ink: getComputedStyle(document.body).color,
    }));
    // 279 mm less margins of 34 mm, at 96 dots an inch
    check(print.tall <= (279 - 34) / 25.4 * 96, `${name}: a figure is taller than a page`);
    check(print.wide === 0, `${name}: ${print.wide} wider than the paper`);
    check(print.paper === 'rgb(255, 255, 255)' && print.ink === 'rgb(0, 0, 0)',
      `${name}: not black on white: ${print.ink} on ${print.paper}`);
    const text = execFileSync('pdftotext', ['-layout', file, '-'], { encoding: 'utf8' });
    check(text.includes('Answer') && text.includes('Before anybody acts on it'),
      `${name}: ${format} lost its text`);
    await context.close();
  }
};

const folder = mkdtempSync(join(tmpdir(), 'report-page-'));
const browser = await chromium.launch({
  executablePath: browserPath,
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run',
    '--disable-background-networking', '--disable-component-update', '--disable-sync'] });
try {
  for (const path of pages) {
    const url = pathToFileURL(path).href;
    const name = basename(path);
    await sizes(browser, url, name);
    await parts(browser, url, name);
    await paper(browser, url, name, folder);
  }
} finally {
  await browser.close();
  rmSync(folder, { recursive: true, force: true });
}
for (const problem of problems) {
  console.error(problem);
}
console.log(`${pages.length} pages: ${passed} checks passed, ${problems.length} failed`);
process.exit(problems.length === 0 && passed > 0 ? 0 : 1);
