// One athlete from a screen to a closed deficit, all of it typed into the pages: the screen, the second
// reading on another day, exercises, visits until the target is met, and the team's list without it.
import assert from 'node:assert/strict';
import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { assertAxe, assertFits, assertFitsTwiceAsLarge, assertLargeTargets, openPage } from './look.mjs';
import { shots, startBrowser, startProgram } from './program.mjs';

/** @typedef {import('playwright-core').Page} Page */

const rotation = 'shoulder_internal_rotation';
const outward = 'shoulder_external_rotation';
const loss = '#course-internal_rotation_loss';
const arc = '#course-total_arc_loss';

/** @type {Awaited<ReturnType<typeof startProgram>>} */
let program;
/** @type {import('playwright-core').Browser} */
let browser;
let team = '';

before(async () => {
  [program, browser] = await Promise.all([startProgram(), startBrowser()]);
  const page = await browser.newPage({ baseURL: program.url });
  await page.goto('/teams/new');
  await page.fill('#name', 'Course team');
  await page.click('button');
  team = new URL(page.url()).pathname;
  await page.close();
}, { timeout: 120_000 });

after(async () => {
  await browser?.close();
  await program?.stop();
});

/** A right-handed athlete of the team who was never screened. @param {Page} page @param {string} name */
async function newcomer(page, name) {
  const id = randomUUID();
  const answer = await page.request.post(`/api/v1/athletes?team=${team.split('/').pop()}`, {
    data: { id, name, born: '2011-04-02', sex: 'male', hands: [{ hand: 'right' }], sport: 'baseball', level: 'school' } });
  assert.ok(answer.ok(), await answer.text());
  const consent = await page.request.post(`/api/v1/athletes/${id}/consents`, { data: { id: randomUUID(), purpose: 'screening', on: '2025-01-02', given_by: 'guardian' } });
  assert.ok(consent.ok(), await consent.text());
  return `/athletes/${id}`;
}

/** The day so many days before the program's own today, which the form knows. @param {Page} page @param {number} ago */
async function day(page, ago) {
  const today = new Date(`${await page.getAttribute('#on', 'max')}T00:00:00Z`);
  today.setUTCDate(today.getUTCDate() - ago);
  return today.toISOString().slice(0, 10);
}

/** As the pages write it. @param {string} on */
const written = (on) => new Date(`${on}T00:00:00Z`).toLocaleDateString('en-GB', { day: 'numeric', month: 'short', year: 'numeric', timeZone: 'UTC' }).replace('Sept', 'Sep');

/** Opens the form from the course. @param {Page} page @param {string} athlete @param {number} ago */
async function open(page, athlete, ago) {
  await page.goto(`${athlete}/course`);
  await page.click('main a.button:text-is("Enter a visit")');
  await page.waitForURL(/\/visit\?visit=/);
  const on = await day(page, ago);
  await page.fill('#on', on);
  await page.fill('#examiner', 'KD');
  return on;
}

/** Adds measures that are not shown. @param {Page} page @param {string[]} measures */
async function add(page, measures) {
  const others = page.locator('details.others');
  if (await others.getAttribute('open') === null) await others.locator('summary').click();
  for (const m of measures) await page.check(`input[type=checkbox][name=measure][value=${m}]`);
  await page.click('button:text("Show these measures")');
}

/** Two trials a side. @param {Page} page @param {string} measure @param {number} right @param {number} left */
async function type(page, measure, right, left) {
  for (const [side, x] of /** @type {const} */ ([['right', right], ['left', left]])) {
    await page.fill(`#${measure}-${side}-1`, String(x - 1));
    await page.fill(`#${measure}-${side}-2`, String(x + 1));
  }
}

/** @param {Page} page */
async function save(page) {
  await page.click('main button:text-is("Save the visit"):visible');
  await page.waitForURL(/\/course$/);
}

/** A whole visit; the throwing arm turns inward so far. @param {Page} page @param {string} athlete @param {number} ago @param {number} right */
async function visit(page, athlete, ago, right) {
  const on = await open(page, athlete, ago);
  const missing = [];
  for (const m of [rotation, outward]) if (await page.locator(`#m-${m}`).count() === 0) missing.push(m);
  if (missing.length) await add(page, missing);
  await type(page, rotation, right, 62);
  await type(page, outward, 100, 98);
  await save(page);
  return on;
}

/** The page as it stands, at both widths. @param {Page} page @param {string} name */
async function shoot(page, name) {
  for (const width of [390, 1440]) {
    await page.setViewportSize({ width, height: width === 390 ? 844 : 900 });
    await assertFits(page, `${name} at ${width} px`);
    await page.screenshot({ path: join(shots, `${name}-${width}.png`), fullPage: true });
  }
}

/** The same, and whether anybody can use it. @param {Page} page @param {string} name */
async function look(page, name) {
  await shoot(page, name);
  await assertFitsTwiceAsLarge(page, name);
  await assertAxe(page, name);
  await page.setViewportSize({ width: 390, height: 844 });
  await assertLargeTargets(page, 'main a.button, main button, main select, main summary, main .picks label, main input:not([type=hidden]):not([type=checkbox])', name);
  await page.setViewportSize({ width: 1440, height: 900 });
}

/** @param {Page} page */
const main = (page) => page.locator('main').innerText();

test('from a screen to a closed deficit', { timeout: 60_000 }, async () => {
  const { page, wrong, close } = await openPage(browser, program.url);
  const { page: plain, close: closePlain } = await openPage(browser, program.url, { javaScriptEnabled: false });
  const athlete = await newcomer(page, 'Robin Mirabel');
  await page.goto(`${athlete}/course`);
  assert.match(await main(page), /Not screened yet/);

  const first = await open(page, athlete, 70);
  assert.equal(await page.inputValue('#kind'), 'preseason');
  await shoot(page, 'visit-empty');
  await add(page, [rotation, outward, 'elbow_extension']);
  await page.click('button:has-text("One more trial of shoulder internal rotation")');
  assert.equal(await page.inputValue('#examiner'), 'KD');
  await type(page, rotation, 40, 62);
  await page.fill(`#${rotation}-right-3`, '40');
  await type(page, outward, 100, 98);
  await page.fill('#elbow_extension-right-1', '3');
  await page.selectOption('#word-elbow_extension-right-1', { label: 'short of straight' });
  await page.selectOption('#word-elbow_extension-left-1', { label: 'straight' });
  await look(page, 'visit-filled');
  await save(page);

  await page.goto(athlete);
  const finding = page.locator('article.finding', { hasText: 'Loss of internal rotation with loss of arc' });
  assert.match(await finding.innerText(), /deficit/);
  assert.match(await main(page), /Target: 11° \(now 22°\)/);
  await shoot(page, 'visit-athlete');
  await assertWorked(page, athlete);

  await page.goto(`${athlete}/course`);
  assert.match(await page.locator(loss).innerText(), /a true deficit/);
  await open(page, athlete, 66);
  assert.match(await page.locator('.needs').innerText(), /Due since .*: the first (2 measures below are|measure below is) proposed/);
  assert.equal(await page.inputValue('#kind'), 'in_season');
  assert.ok(!(await page.locator(`#m-${rotation}`).innerText()).includes('39°'), 'the last values are not in sight');
  await page.locator(`#m-${rotation} summary:text("Last time")`).click();
  assert.match(await page.locator(`#m-${rotation}`).innerText(), /39°, 41°, 40°/);
  if (await page.locator(`#m-${outward}`).count() === 0) await add(page, [outward]);
  await byKeyboard(page);

  await page.goto(`${athlete}/course`);
  await page.selectOption('#event-kind', { label: 'Exercises began' });
  await page.fill('#event-on', await eventDay(page, 64));
  await page.selectOption('#event-link', { label: 'Shoulder' });
  await page.click('button:text("Enter it")');
  assert.match(await page.locator('#events').innerText(), /Exercises began, shoulder/);

  for (const [ago, right] of /** @type {const} */ ([[54, 42], [44, 44]])) {
    await visit(plain, athlete, ago, right);
    assert.match(await plain.locator(`h2:text-is("Followed") ~ ${loss}`).innerText(), /a true deficit/);
  }
  assert.match(await plain.locator(loss).innerText(), /since the baseline/i);
  const once = await visit(plain, athlete, 34, 52);
  assert.match(await plain.locator(`h2:text-is("Followed") ~ ${loss}`).innerText(), new RegExp(`Target met once, on ${written(once)}.*second look on another day decides`));
  await page.goto(`${athlete}/course`);
  await look(page, 'visit-once');
  const twice = await visit(plain, athlete, 24, 54);
  assert.match(await plain.locator(`h2:text-is("Target met") ~ ${loss}`).innerText(), new RegExp(`Target met since ${written(twice)}: clear by the measurement alone at two visits running`));
  await visit(plain, athlete, 14, 60);
  const last = await visit(plain, athlete, 4, 61);
  assert.match(await plain.locator('.needs').innerText(), /Nothing is open: 2 targets are met/);
  assert.match(await plain.locator(`h2:text-is("Target met") ~ ${arc}`).innerText(), /Target met since/);
  const rows = await plain.locator('h2:text-is("Visits") ~ ol a.row').allInnerTexts();
  assert.equal(rows.length, 8);
  assert.ok(rows[0]?.startsWith(written(last)) && rows[7]?.startsWith(written(first)), rows.join('; '));
  await page.goto(`${athlete}/course`);
  await look(page, 'visit-met');

  await plain.goto(`${team}/follow-up`);
  const waits = plain.locator('section', { has: plain.locator('a.row', { hasText: 'Robin Mirabel' }) });
  assert.equal(await waits.locator('h2').innerText(), 'Nothing to follow');
  assert.doesNotMatch(await waits.innerText(), /re-screen|true deficit/);
  await plain.goto(athlete);
  assert.match(await plain.locator('article.finding', { hasText: 'Loss of internal rotation with loss of arc' }).first().textContent() ?? '', /clear/);
  await assertWorked(plain, athlete);
  assert.deepEqual(wrong, []);
  await Promise.all([close(), closePlain()]);
});

/** The second reading without a mouse: number, tab, number, and Enter. @param {Page} page */
async function byKeyboard(page) {
  for (const [measure, values] of /** @type {const} */ ([[outward, ['99', '101', '97', '99']], [rotation, ['40', '42', '61', '63']]])) {
    await page.focus(`#${measure}-right-1`);
    for (const [i, v] of values.entries()) {
      if (i) await page.keyboard.press('Tab');
      await page.keyboard.type(v);
    }
  }
  await page.keyboard.press('Enter');
  await page.waitForURL(/\/course$/);
}

/** @param {Page} page @param {number} ago */
async function eventDay(page, ago) {
  const today = new Date(`${await page.getAttribute('#event-on', 'max')}T00:00:00Z`);
  today.setUTCDate(today.getUTCDate() - ago);
  return today.toISOString().slice(0, 10);
}

/** The page of each finding's arithmetic opens and has steps. @param {Page} page @param {string} athlete */
async function assertWorked(page, athlete) {
  const links = await page.locator('a.worked').evaluateAll((all) => all.map((a) => a.getAttribute('href') ?? ''));
  assert.ok(links.length >= 3, links.join(' '));
  for (const href of links) {
    const answer = await page.request.get(new URL(href, new URL(athlete, page.url())).href);
    assert.equal(answer.status(), 200, href);
    assert.match(await answer.text(), /<ol class="steps">[\s\S]*What would change it/, href);
  }
  await page.goto(links[0] ?? '');
  assert.ok(await page.locator('ol.steps > li').count() >= 3);
}

test('a deficit just found is to be read once more, and a visit is kept once', async () => {
  const { page, close } = await openPage(browser, program.url, { javaScriptEnabled: false });
  const { page: beside, close: closeBeside } = await openPage(browser, program.url, { javaScriptEnabled: false });
  const athlete = await newcomer(page, 'Sasha Underhill');
  await visit(page, athlete, 10, 40);
  assert.match(await main(page), /A deficit is read once more on another day, before exercises begin; that reading is the baseline\./);
  await shoot(page, 'visit-second-reading');
  // The same form in two windows, both sent.
  const on = await open(page, athlete, 5);
  await beside.goto(page.url());
  await beside.fill('#on', await day(beside, 5));
  await beside.fill('#examiner', 'KD');
  for (const p of [page, beside]) {
    await type(p, rotation, 41, 62);
    await save(p);
  }
  assert.equal((await page.locator('h2:text-is("Visits") ~ ol a.row').allInnerTexts()).length, 2);
  await page.click('a.button:text("Newest screen")');
  await page.click('a.button:text("Readings")');
  assert.match(await page.locator('.needs').innerText(), /2 readings are in use/);
  await beside.goBack();
  assert.match(beside.url(), /\/visit\?visit=/);
  assert.match(await beside.locator('.needs').innerText(), new RegExp(`The visit of ${written(on)} is on record: 2 readings\\.`));

  // Going back and sending something else is no correction.
  await open(page, athlete, 4);
  await beside.goto(page.url());
  await beside.fill('#on', await day(beside, 4));
  await beside.fill('#examiner', 'KD');
  await type(page, rotation, 41, 62);
  await save(page);
  await type(beside, rotation, 47, 62);
  await beside.click('main button:text-is("Save the visit"):visible');
  assert.match(await main(beside), /stays as it was sent first/);

  // Another visit on a day that has one joins it.
  await visit(page, athlete, 4, 43);
  const rows = await page.locator('h2:text-is("Visits") ~ ol a.row').allInnerTexts();
  assert.equal(rows.length, 3, rows.join('; '));
  assert.match(await page.locator(loss).innerText(), /20° less|20°/);
  await Promise.all([close(), closeBeside()]);
});

test('what is wrong is said beside its field, without script, and nothing is kept', async () => {
  const { page, close } = await openPage(browser, program.url, { javaScriptEnabled: false, viewport: { width: 390, height: 844 } });
  const athlete = await newcomer(page, 'Mika Orlando');
  await open(page, athlete, 0);
  await page.click('main button:text-is("Save the visit"):visible');
  assert.match(await page.locator('.faults').innerText(), /Nothing was entered\. Right would be: at least one value, or a symptom\./);
  await add(page, [rotation, 'shoulder_horizontal_adduction']);
  await page.fill('#on', await day(page, -1));
  await page.fill(`#${rotation}-right-1`, '4o');
  await page.fill(`#${rotation}-left-1`, '620');
  await page.fill(`#${rotation}-left-2`, '62,5');
  await page.fill('#shoulder_horizontal_adduction-left-1', '5');
  await page.click('main button:text-is("Save the visit"):visible');
  for (const [field, says] of /** @type {const} */ ([['on', /in the future.*today or earlier/], [`${rotation}-right-1`, /"4o" is not a number/],
    [`${rotation}-left-1`, /620° is outside the plausible range.*0 to 120°/], ['shoulder_horizontal_adduction-left-1', /which way.*short of vertical, or past vertical/]])) {
    assert.match(await page.locator(`#fault-${field}`).innerText(), says);
    assert.equal(await page.getAttribute(`#${field}`, 'aria-invalid'), 'true');
  }
  assert.deepEqual(await page.locator('.faults a').evaluateAll((all) => all.map((a) => a.getAttribute('href'))),
    ['#on', `#${rotation}-right-1`, `#${rotation}-left-1`, '#shoulder_horizontal_adduction-left-1'], 'in the order of the fields');
  assert.equal(await page.inputValue(`#${rotation}-right-1`), '4o');
  assert.equal(await page.inputValue(`#${rotation}-left-2`), '62,5');
  await shoot(page, 'visit-faults');
  const form = page.url();
  await page.goto(`${athlete}/course`);
  assert.match(await main(page), /Not screened yet/);

  // Put right, with a sign of pain.
  await page.goto(form);
  await page.locator('summary:text("Pain or another sign")').click();
  await page.check('input[value=inner_elbow_tender]');
  await page.selectOption('#symptom_side', { label: 'throwing (right)' });
  await add(page, [rotation]);
  await type(page, rotation, 50, 62);
  await save(page);
  assert.match(await page.locator('.needs').innerText(), /Referral sign.*Stop throwing and see a licensed clinician/);
  await close();
});
