// The demo as each role sees it: the coach's page, a helper's stations, and an athlete's page behind a
// link, which opens in a browser that nobody signed in with.
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { assertAxe, assertFits, assertFitsTwiceAsLarge, assertLargeTargets, openPage } from './look.mjs';
import { shots, startBrowser, startProgram } from './program.mjs';

const widths = /** @type {const} */ ([390, 1440]);

/** @type {Awaited<ReturnType<typeof startProgram>>} */
let program;
/** @type {import('playwright-core').Browser} */
let browser;
/** Address of the first team. */
let team = '';

before(async () => {
  [program, browser] = await Promise.all([startProgram(), startBrowser()]);
  const { page, close } = await openPage(browser, program.url);
  await page.goto('/');
  team = String(await page.locator('a.row[href^="/teams/"]').first().getAttribute('href'));
  await close();
}, { timeout: 120_000 });

after(async () => {
  await browser?.close();
  await program?.stop();
});

/** A browser of its own that sees the demo as a role. @param {string} role */
async function seenAs(role) {
  const opened = await openPage(browser, program.url);
  await opened.page.goto('/demo/roles');
  await opened.page.click(`button[value="${role}"]`);
  await opened.page.waitForURL('/');
  assert.match(await opened.page.locator('.demo').innerText(), new RegExp(`You see it as: .*${role}`));
  return opened;
}

/** A page at both widths, in both colour schemes. @param {import('playwright-core').Page} page @param {string} name */
async function looksRight(page, name) {
  for (const width of widths) {
    await page.setViewportSize({ width, height: width === 390 ? 844 : 900 });
    await page.emulateMedia({ colorScheme: width === 390 ? 'light' : 'dark' });
    await assertFits(page, `${name} at ${width} px`);
    await assertAxe(page, `${name} at ${width} px`);
    await page.screenshot({ path: join(shots, `${name}-${width}.png`), fullPage: true });
  }
  await page.emulateMedia({ colorScheme: 'light' });
  await assertFitsTwiceAsLarge(page, name);
}

/** Every address answers so, in words, and names nobody. @param {import('playwright-core').Page} page @param {string[]} paths */
async function areRefused(page, paths) {
  for (const path of paths) {
    const answer = await page.goto(path);
    assert.equal(answer?.status(), 403, path);
    assert.equal(await page.locator('h1').innerText(), 'Not allowed', path);
    assert.match(await page.locator('main').innerText(), /You may not do this with your role/, path);
  }
}

/** Addresses of an athlete and of a screen. */
async function somebody() {
  const { page, close } = await seenAs('trainer');
  await page.goto(team);
  const athlete = String(await page.locator('a.name').first().getAttribute('href'));
  await page.goto(athlete);
  const screen = String(await page.locator('a.button:text("Readings")').getAttribute('href'));
  await close();
  return { athlete, screen };
}

test('a coach sees who may throw, and nothing that was measured', async () => {
  const { athlete, screen } = await somebody();
  const { page, wrong, close } = await seenAs('coach');
  await page.goto(team);
  assert.equal(new URL(page.url()).pathname, `${team}/coach`);
  assert.equal(await page.locator('h1').innerText(), 'Who may throw today');
  assert.match(await page.locator('.needs').innerText(), /may throw/);
  assert.ok(await page.locator('.coach .may_throw li').count() > 5);
  const said = await page.locator('main').innerText();
  assert.doesNotMatch(said, /deficit|unsettled|verdict|°|in 100|screened on|give or take/i);
  await looksRight(page, 'coach');
  const pdf = await page.pdf({ format: 'A4', path: join(shots, 'coach.pdf') });
  assert.ok((pdf.toString('latin1').match(/\/Type\s*\/Page\b(?!s)/g)?.length ?? 0) <= 2, 'the list of a squad is two sheets at most');
  assert.deepEqual(wrong, []);
  await areRefused(page, [athlete, `${athlete}/course`, screen, `${team}/distribution`, `${team}/follow-up`, `${athlete}/links`]);
  await close();
});

test('a helper opens a station, and nothing else', async () => {
  const { athlete, screen } = await somebody();
  const { page, wrong, close } = await seenAs('helper');
  await page.goto(team);
  assert.equal(new URL(page.url()).pathname, '/stations');
  await looksRight(page, 'stations');
  await assertLargeTargets(page, 'a.button', 'stations');
  const station = page.locator('.stations a.button').first();
  const name = await station.innerText();
  await station.click();
  await page.waitForURL(/\/s\//);
  await page.locator(`text=${name}`).first().waitFor();
  assert.deepEqual(wrong, []);
  await areRefused(page, [athlete, screen, `${team}/coach`, `${team}/follow-up`, `${athlete}/links`]);
  await close();
});

/** Makes handouts of the day on which most of the team was screened, and gives that day's address. @param {import('playwright-core').Page} page */
async function handOut(page) {
  const id = String(team.split('/').pop());
  const request = page.context().request;
  const { items } = await (await request.get(`/api/v1/teams/${id}/screens?limit=200`)).json();
  /** @type {Record<string, number>} */
  const n = {};
  for (const s of items) n[s.on] = (n[s.on] ?? 0) + 1;
  const on = String(Object.keys(n).sort((a, b) => (n[b] ?? 0) - (n[a] ?? 0) || b.localeCompare(a))[0]);
  await page.goto(`${team}/days/new`);
  await page.fill('#on', on);
  await page.click('button:text("Set up the day")');
  await page.waitForURL(/\/days\/[^/]+$/);
  const handouts = `${new URL(page.url()).pathname}/handouts`;
  await page.goto(handouts);
  await page.click('button:text("Make handouts")');
  await page.locator('article.handout').first().waitFor();
  return handouts;
}

test('a family reads the handout by a link until it is taken back', async () => {
  const { page, wrong, close } = await seenAs('trainer');
  const handouts = await handOut(page);
  const sheets = await page.locator('article.handout:has(.deficit-line):not(:has(.stop)) h2').allInnerTexts();
  const name = String(sheets[0]);
  await page.goto(handouts);
  const href = await page.locator(`details a.row:has(b:text-is("${name}"))`).getAttribute('href');
  const athlete = String(new URL(String(href), page.url()).searchParams.get('athlete'));
  await page.goto(`/athletes/${athlete}`);
  await page.click('a.button:text("Links for the family")');
  await looksRight(page, 'links');
  await page.fill('#link-days', 'many');
  await page.click('button:text("Make the link")');
  assert.match(await page.locator('.faults').innerText(), /not a number of days/);
  await page.fill('#link-name', 'mother');
  await page.fill('#link-days', '14');
  await page.click('button:text("Make the link")');
  const link = String(await page.locator('.joinlink a').getAttribute('href'));
  assert.match(link, /\/f\/[\w-]{40,}$/);
  await looksRight(page, 'link-made');

  const family = await openPage(browser, program.url);
  await family.page.goto(link);
  assert.equal(await family.page.locator('h1').innerText(), name);
  assert.equal(await family.page.locator('article.handout').count(), 1);
  assert.match(await family.page.locator('main').innerText(), /What to work towards[\s\S]*(or more|or less|or better)/);
  assert.equal(await family.page.locator('a[href^="/teams"], a[href^="/athletes"], a[href="/"]').count(), 0);
  assert.deepEqual(await family.context.cookies(), []);
  await looksRight(family.page, 'family');
  const pdf = await family.page.pdf({ format: 'A4', path: join(shots, 'family.pdf') });
  assert.equal(pdf.toString('latin1').match(/\/Type\s*\/Page\b(?!s)/g)?.length, 2, 'a sheet of targets and the handout');

  await page.goto(`/athletes/${athlete}/links`);
  assert.match(await page.locator('main').innerText(), /mother: made on .*opened last on/);
  await page.click('button:text("Take it back")');
  assert.match(await page.locator('main').innerText(), /taken back on/);
  const answer = await family.page.reload();
  assert.equal(answer?.status(), 404);
  assert.match(await family.page.locator('main').innerText(), /This link does not work[\s\S]*Ask the athletic trainer/);
  await looksRight(family.page, 'link-gone');
  assert.deepEqual(wrong.filter((text) => !text.includes('422')), []);
  await family.close();
  await close();
});
