// The pages in a browser: at the width of a phone and of a desk, without script, by keyboard, on paper,
// and with the network cut off.
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { after, before, describe, test } from 'node:test';
import { assertAxe, assertFitsTwiceAsLarge, openPage, sidewaysScroll } from './look.mjs';
import { shots, startBrowser, startProgram } from './program.mjs';

const widths = /** @type {const} */ ([390, 1440]);
const hostile = '<img src=x onerror="document.title=1">';

/** @type {Awaited<ReturnType<typeof startProgram>>} */
let program;
/** @type {import('playwright-core').Browser} */
let browser;
/** Addresses of one page of each kind. @type {Record<string, string>} */
const pages = {};

before(async () => {
  [program, browser] = await Promise.all([startProgram(), startBrowser()]);
  const { page, close } = await open();
  await findPages(page);
  await close();
}, { timeout: 120_000 });

after(async () => {
  await browser?.close();
  await program?.stop();
});

/**
 * A page of its own that remembers what it asked for and what went wrong.
 * @param {import('playwright-core').BrowserContextOptions} [options]
 */
async function open(options = {}) {
  const opened = await openPage(browser, program.url, options);
  /** @type {string[]} */
  const asked = [];
  opened.context.on('request', (request) => asked.push(request.url()));
  return { ...opened, asked };
}

/** @param {import('playwright-core').Page} page */
async function findPages(page) {
  /** @param {string} selector */
  const href = async (selector) => String(await page.locator(selector).first().getAttribute('href'));
  await page.goto('/');
  pages.teams = '/';
  pages.triage = await href('a.row[href^="/teams/"]');
  await page.goto(pages.triage);
  pages.referral = await href('section:has(h2:text("Referral sign")) a.name');
  pages.athlete = await href('section:has(h2:text("By expected deficits")) a.name');
  pages.distribution = `${pages.triage}/distribution?athlete=${pages.athlete.split('/').pop()}`;
  await page.goto(pages.athlete);
  pages.worked = await href('a.worked');
  pages.workedBoth = await href('a.worked[href*="rotation_loss_with_arc_loss"]');
  pages.print = await href('a:text("One page to print")');
  pages.readings = await href('a.button:text("Readings")');
  await page.goto(pages.readings);
  pages.correct = await href('a.correct');
  pages.course = `${pages.athlete}/course`;
  pages.visit = `${pages.athlete}/visit?visit=looked-at&all=1`;
  pages.editAthlete = `${pages.athlete}/edit`;
  pages.newAthlete = `/athletes/new?team=${pages.triage.split('/').pop()}`;
  pages.newTeam = '/teams/new';
  pages.followUp = `${pages.triage}/follow-up`;
  pages.import = `${pages.triage}/import`;
  await page.goto(`${pages.triage}/squad`);
  await page.click('button:text("Work it out")');
  pages.squad = new URL(page.url()).pathname;
  pages.retest = `${pages.triage}/retest`;
  pages.retestMeasure = `${pages.retest}?measure=hip_internal_rotation`;
  pages.retestFile = `${pages.retest}/file`;
  pages.protocol = '/protocol';
  pages.people = '/people';
  pages.audit = '/audit';
  pages.privacy = '/privacy';
  pages.privacyTexts = '/privacy/texts';
  pages.retention = '/privacy/retention';
  pages.consents = `${pages.athlete}/consents`;
  pages.teamConsents = `${pages.triage}/consents`;
  pages.erase = `${pages.athlete}/erase`;
  pages.notFound = '/nothing/here';
}

/** @param {import('playwright-core').Page} page */
async function drawCharts(page) {
  for (const figure of await page.locator('figure[data-chart]:visible').all()) {
    await figure.scrollIntoViewIfNeeded();
    await figure.locator('.drawing svg path').first().waitFor({ state: 'attached', timeout: 10_000 });
  }
  await page.evaluate(() => scrollTo(0, 0));
}

/** @param {string[]} asked */
function assertOnlyHere(asked) {
  assert.deepEqual(asked.filter((url) => !url.startsWith('data:') && new URL(url).hostname !== '127.0.0.1'), []);
}

describe('every page', () => {
  for (const width of widths) {
    test(`at ${width} px`, async () => {
      const { page, asked, wrong, close } = await open({ viewport: { width, height: width === 390 ? 844 : 900 } });
      for (const [name, path] of Object.entries(pages)) {
        const answer = await page.goto(path);
        assert.equal(answer?.status(), name === 'notFound' ? 404 : 200, path);
        await drawCharts(page);
        await page.screenshot({ path: join(shots, `${name}-${width}.png`), fullPage: true });
        if (name === 'athlete') await openDetails(page);
        assert.ok(await sidewaysScroll(page) <= 0, `${name} scrolls sideways at ${width} px`);
        if (width === 1440) await assertFitsTwiceAsLarge(page, name);
        await page.emulateMedia({ colorScheme: width === 390 ? 'light' : 'dark' });
        await assertAxe(page, `${name} at ${width} px`);
        if (width === 1440) await page.screenshot({ path: join(shots, `${name}-dark.png`), fullPage: true });
        await page.emulateMedia({ colorScheme: 'light' });
      }
      assert.deepEqual(wrong.filter((text) => !text.includes('404 (Not Found)')), []);
      assertOnlyHere(asked);
      await close();
    });
  }
});

/** @param {import('playwright-core').Page} page */
async function openDetails(page) {
  await page.evaluate(() => document.querySelectorAll('details').forEach((d) => { d.open = true; }));
  await drawCharts(page);
}

test('targets are large enough for a thumb', async () => {
  const { page, close } = await open({ viewport: { width: 390, height: 844 } });
  for (const path of [pages.teams, pages.triage, pages.athlete, pages.course, pages.readings, pages.correct, pages.workedBoth, pages.newAthlete, pages.import]) {
    await page.goto(String(path));
    const small = await page.evaluate(() => [...document.querySelectorAll('a.button, button, summary, a.row, a.name, a.correct, a.worked, header a, select, textarea, input:not([type=hidden],[type=radio],[type=checkbox])')]
      .filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < 48).map((e) => e.outerHTML.slice(0, 120)));
    assert.deepEqual(small, [], path);
  }
  await close();
});

test('charts are drawn with the numbers beside them', async () => {
  const { page, close } = await open();
  await page.goto(String(pages.athlete));
  await page.locator('summary:text("The chain with its numbers")').click();
  await page.locator('summary:text-is("Picture")').first().click();
  await drawCharts(page);
  for (const path of [null, pages.distribution, pages.triage]) {
    if (path) {
      await page.goto(path);
      await drawCharts(page);
    }
    for (const figure of await page.locator('figure[data-chart]:visible').all()) {
      assert.ok(await figure.locator('.drawing svg path').count() > 2);
      assert.ok(String(await figure.locator('.drawing').getAttribute('aria-label')).length > 10);
      const url = String(await figure.getAttribute('data-chart'));
      const { table } = await (await page.request.get(url)).json();
      assert.deepEqual(await figure.locator('tbody tr').evaluateAll((rows) => rows.map((r) => [...r.children].map((c) => c.textContent))), table.rows, url);
    }
  }
  await close();
});

test('without script all words and tables are there', async () => {
  const { page, close } = await open({ javaScriptEnabled: false });
  await page.goto(String(pages.triage));
  assert.ok(await page.locator('figure[data-chart] tbody tr').first().isVisible());
  await page.goto(String(pages.athlete));
  assert.ok(await page.locator('.ladder .bar').first().isVisible());
  assert.match(await page.locator('.finding .sentence').first().innerText(), /in 100/);
  await page.locator('summary:text("The chain with its numbers")').click();
  assert.equal(await page.locator('.more tbody tr').count(), 9);
  await page.goto(String(pages.distribution));
  assert.ok(await page.locator('figure[data-chart] tbody tr').first().isVisible());
  await close();
});

test('a reading is corrected without script', async () => {
  const { page, close } = await open({ javaScriptEnabled: false });
  await page.goto(String(pages.correct));
  await page.fill('#trial1', 'abc');
  await page.fill('#why', 'read on the wrong scale');
  await page.click('button:text("Correct it")');
  assert.match(await page.locator('.faults').innerText(), /not a number/);
  const value = (await page.locator('p.big b').nth(1).innerText()).match(/[\d.]+/)?.[0] ?? '';
  await page.fill('#trial1', String(Number(value) + 1));
  await page.click('button:text("Correct it")');
  assert.match(page.url(), /\/screens\/.+#reading-/);
  const struck = page.locator('tr.struck').first();
  assert.ok((await struck.locator('del').innerText()).includes(value));
  assert.match(await struck.innerText(), /read on the wrong scale/);
  await page.screenshot({ path: join(shots, 'corrected-1440.png'), fullPage: true });
  await close();
});

test('a form works over plain http from another machine, and not from a stranger', async () => {
  const { page, context, wrong, close } = await open({ baseURL: `http://gym.test:${program.port}` });
  await page.goto('/teams/new');
  await page.fill('#name', 'Gym team');
  await page.click('button');
  assert.equal(await page.locator('h1').innerText(), 'Gym team');
  const answer = await context.request.post(`${program.url}/teams/new`, { form: { name: 'x' }, headers: { Origin: 'http://stranger.test' } });
  assert.equal(answer.status(), 403);
  assert.deepEqual(wrong, []);
  await close();
});

test('a bad file changes nothing and shows its faults', async () => {
  const { page, close } = await open();
  await page.goto(String(pages.triage));
  const count = await page.locator('.triage > li').count();
  await page.goto(String(pages.import));
  await page.fill('#text', 'athlete,name,born,sex,throws,sport,level,date,measure,side,trial1\n' +
    'a1,New One,2011-04-02,male,right,baseball,school,2026-02-10,shoulder_internal_rotation,left,45\n' +
    'a1,New One,2011-04-02,male,right,baseball,school,2026-02-10,shoulder_internal_rotation,right,fast\n');
  await page.click('button:text("Import")');
  const row = page.locator('tbody tr').first();
  assert.equal(await row.locator('th').innerText(), '3');
  assert.match(await row.innerText(), /trial1/);
  assert.match(await row.innerText(), /fast/);
  assert.match(await page.locator('.needs').innerText(), /Nothing was changed/);
  for (const width of widths) {
    await page.setViewportSize({ width, height: 800 });
    assert.ok(await sidewaysScroll(page) <= 0);
    await page.screenshot({ path: join(shots, `faults-${width}.png`), fullPage: true });
  }
  await assertAxe(page, 'faults');
  await page.goto(String(pages.triage));
  assert.equal(await page.locator('.triage > li').count(), count);
  assert.equal(await page.locator('text=New One').count(), 0);
  await close();
});

test('names are text', async () => {
  const { page, wrong, close } = await open();
  await page.goto(String(pages.newAthlete));
  await page.fill('#name', hostile);
  await page.fill('#born', '2011-04-02');
  await page.check('input[name=sex][value=female]');
  await page.check('input[name=hand][value=left]');
  await page.click('button:text("Add the athlete")');
  assert.equal(await page.locator('h1').innerText(), hostile);
  assert.match(await page.locator('.needs').innerText(), /Not screened yet/);
  await page.goto(String(pages.triage));
  assert.ok(await page.locator('.rows b', { hasText: hostile }).first().isVisible());
  await drawCharts(page);
  assert.equal(await page.locator('img').count(), 0);
  assert.deepEqual(wrong, []);
  await close();
});

test('by keyboard from triage to the printed page', async () => {
  const { page, close } = await open();
  await page.goto(String(pages.triage));
  /** @param {RegExp} words */
  const tabTo = async (words) => {
    for (let i = 0; i < 150; i++) {
      await page.keyboard.press('Tab');
      const text = await page.evaluate(() => document.activeElement?.textContent ?? '');
      if (words.test(text)) return;
    }
    assert.fail(`${words} is not reached by the keyboard`);
  };
  await tabTo(/To the content/);
  await page.keyboard.press('Enter');
  const name = await page.locator('.triage a.name').first().innerText();
  await tabTo(new RegExp(name));
  const outline = await page.evaluate(() => getComputedStyle(/** @type {Element} */ (document.activeElement)).outlineWidth);
  assert.equal(outline, '3px');
  await page.keyboard.press('Enter');
  await page.waitForURL(/\/athletes\//);
  await tabTo(/Source and what speaks against it/);
  await page.keyboard.press('Enter');
  assert.ok(await page.evaluate(() => document.activeElement?.closest('details')?.open));
  await page.goto(page.url());
  await tabTo(/One page to print/);
  await page.keyboard.press('Enter');
  await page.waitForURL(/\/print/);
  await close();
});

test('every athlete prints on one page, on either paper', async () => {
  const { page, close } = await open();
  await page.goto(String(pages.triage));
  const athletes = await page.locator('a.name').evaluateAll((links) => links.map((a) => a.getAttribute('href')));
  assert.ok(athletes.length > 20);
  for (const [i, athlete] of athletes.entries()) {
    await page.goto(`${athlete}/print`);
    const format = i % 3 === 0 ? 'A4' : 'Letter'; // Letter is the shorter one
    const pdf = await page.pdf({ format, path: i < 3 ? join(shots, `print-${i + 1}-${format}.pdf`) : undefined });
    assert.equal(pdf.toString('latin1').match(/\/Type\s*\/Page\b(?!s)/g)?.length, 1, `${athlete} on ${format}`);
  }
  await close();
});
