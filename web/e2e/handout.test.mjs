// Handouts and the summary of a screening day: on paper one page an athlete, on either size of paper; on
// screen at the width of a phone and of a desk, by keyboard and without script.
import assert from 'node:assert/strict';
import { randomUUID } from 'node:crypto';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { assertAxe, assertFits, assertFitsTwiceAsLarge, assertLargeTargets } from './look.mjs';
import { shots, startBrowser, startProgram } from './program.mjs';

const hostile = '<img src=x onerror="document.title=1">';
/** As long as a name may be, with and without places to break it. */
const longName = `${'Maximiliana Theodora '.repeat(4)}${'von-und-zu-'.repeat(10)}`.slice(0, 199);

/** @type {Awaited<ReturnType<typeof startProgram>>} */
let program;
/** @type {import('playwright-core').Browser} */
let browser;
/** @type {import('playwright-core').BrowserContext} */
let context;
/** @type {import('playwright-core').Page} */
let page;
/** @type {string[]} */
const wrong = [];
/** Address of the squad's day, of a day of sixty. */
let day = '';
let crowded = '';

before(async () => {
  [program, browser] = await Promise.all([startProgram(), startBrowser()]);
  context = await browser.newContext({ baseURL: program.url, viewport: { width: 1440, height: 900 }, javaScriptEnabled: true });
  page = await context.newPage();
  page.on('console', (message) => { if (message.type() === 'error') wrong.push(message.text()); });
  page.on('pageerror', (error) => wrong.push(String(error)));
  await page.goto('/');
  const team = String(await page.locator('a.row[href^="/teams/"]').first().getAttribute('href')).split('/').pop() ?? '';
  const on = await busiestDay(team);
  await hardCases(team, on);
  day = await setUp(team, on);
  crowded = await setUp(await sixty(on), on);
}, { timeout: 180_000 });

after(async () => {
  await browser?.close();
  await program?.stop();
});

/** @param {'PUT' | 'POST' | 'GET'} method @param {string} path @param {unknown} [data] */
async function api(method, path, data) {
  const answer = await context.request.fetch(`/api/v1${path}`, { method, data: data === undefined ? undefined : JSON.stringify(data), headers: { 'Content-Type': 'application/json' } });
  assert.ok(answer.ok(), `${method} ${path}: ${answer.status()} ${await answer.text()}`);
  return answer.status() === 204 ? {} : answer.json();
}

/** The day on which most of a team's screens were taken, of equals the latest. @param {string} team */
async function busiestDay(team) {
  const { items } = await api('GET', `/teams/${team}/screens?limit=200`);
  /** @type {Record<string, number>} */
  const n = {};
  for (const s of items) n[s.on] = (n[s.on] ?? 0) + 1;
  return String(Object.keys(n).sort((a, b) => (n[b] ?? 0) - (n[a] ?? 0) || b.localeCompare(a))[0]);
}

/**
 * An athlete with a screen.
 * @param {string} team @param {string} on @param {string} name @param {Record<string, [number, number]>} values left and right
 * @param {Record<string, string>} [notDone] measure to reason @param {string[]} [symptoms]
 */
async function screened(team, on, name, values, notDone = {}, symptoms = []) {
  const athlete = randomUUID();
  const screen = randomUUID();
  await api('POST', `/athletes?team=${team}`, { id: athlete, name, born: '2011-04-02', sex: 'male', hands: [{ hand: 'right' }], sport: 'baseball', level: 'school' });
  await api('POST', `/athletes/${athlete}/consents`, { id: randomUUID(), purpose: 'screening', on, given_by: 'guardian' });
  await api('PUT', `/screens/${screen}`, { id: screen, athlete, team, on, kind: 'preseason', threw_in_48h: true });
  const readings = Object.entries(values).flatMap(([measure, [left, right]]) => [['left', left], ['right', right]].map(([side, x]) =>
    ({ id: randomUUID(), measure, side, trials: measure === 'scapula_rating' || measure === 'limb_length' ? [x] : [x, x], sign: 'as_written', examiner: 'KD' })));
  if (readings.length) await api('PUT', `/screens/${screen}/readings`, { readings });
  const missing = Object.entries(notDone).flatMap(([measure, reason]) => ['left', 'right'].map((side) => ({ id: randomUUID(), measure, side, reason })));
  if (missing.length) await api('PUT', `/screens/${screen}/not-done`, { not_done: missing });
  if (symptoms.length) await api('PUT', `/screens/${screen}/symptoms`, { symptoms: symptoms.map((symptom) => ({ id: randomUUID(), symptom, side: 'right' })) });
  return athlete;
}

/** Far apart, so that all of them stand out; some just at the limit, so that they stay open. */
const far = /** @type {Record<string, [number, number]>} */ ({
  lunge_distance: [2, 14], reach_anterior: [40, 80], trunk_rotation: [70, 20], shoulder_flexion: [180, 120], elbow_extension: [0, -20],
  elbow_flexion: [145, 90], shoulder_internal_rotation: [70, 55], shoulder_external_rotation: [100, 100], shoulder_horizontal_adduction: [40, 25],
  forearm_pronation: [80, 70], forearm_supination: [90, 80], hip_internal_rotation: [30, 40], scapula_distance_rest: [85, 100],
});
const left = { grip_strength: 'pain', shoulder_external_rotation_strength: 'pain', shoulder_internal_rotation_strength: 'refused', reach_posteromedial: 'no_time', limb_length: 'absent', hip_external_rotation: 'no_time' };

/** @param {string} team @param {string} on */
async function hardCases(team, on) {
  await screened(team, on, longName, far, left, ['tiredness', 'arm_tired', 'muscle_soreness']);
  await screened(team, on, `Stop ${longName}`.slice(0, 199), far, left, ['pain_at_rest_or_night', 'outer_upper_arm_tender', 'valgus_pain_or_giving_way',
    'velocity_or_accuracy_lost_with_pain', 'swelling_redness_warmth', 'numbness_or_tingling', 'arm_tired']);
  await screened(team, on, hostile, { trunk_rotation: [60, 60] });
  await screened(team, on, 'Nothing Measured', {}, left);
}

/** A team of sixty at the end of a usual day: most have all, each has something of interest. @param {string} on */
async function sixty(on) {
  const team = randomUUID();
  await api('POST', '/teams', { id: team, name: 'Sixty', sport: 'baseball' });
  const usual = /** @type {Record<string, [number, number]>} */ ({
    lunge_distance: [11, 11], hip_internal_rotation: [45, 45], hip_external_rotation: [45, 45], limb_length: [88, 88], reach_anterior: [65, 65],
    reach_posteromedial: [100, 100], reach_posterolateral: [98, 98], stance_errors: [2, 2], trunk_rotation: [60, 60], scapula_rating: [0, 0],
    shoulder_flexion: [175, 175], shoulder_internal_rotation: [55, 50], shoulder_external_rotation: [95, 100], shoulder_horizontal_adduction: [35, 35],
    shoulder_external_rotation_strength: [120, 120], shoulder_internal_rotation_strength: [130, 130], elbow_extension: [0, 0], elbow_flexion: [145, 145],
    forearm_pronation: [80, 80], forearm_supination: [85, 85], grip_strength: [30, 30],
  });
  const odd = /** @type {[string, [number, number]][]} */ (Object.entries(far));
  for (let i = 0; i < 60; i++) {
    const name = `Athlete Number ${i + 1}`;
    if (i % 12 === 11) await api('POST', `/athletes?team=${team}`, { id: randomUUID(), name, born: '2011-04-02', sex: 'female', hands: [{ hand: 'left' }], sport: 'baseball', level: 'school' });
    else {
      const values = { ...usual };
      const [measure, sides] = odd[i % odd.length] ?? ['', [0, 0]];
      if (i % 2) values[measure] = sides;
      for (const gone of i % 4 ? [] : Object.keys(usual).slice(i % 17, i % 17 + 4)) delete values[gone];
      await screened(team, on, name, values, i % 5 ? {} : { lunge_angle: 'no_time' }, i % 20 ? [] : ['swelling_redness_warmth']);
    }
  }
  return team;
}

/** Sets a day up by its form. @param {string} team @param {string} on @returns the day's address */
async function setUp(team, on) {
  await page.goto(`/teams/${team}/days/new`);
  await page.fill('#on', on);
  await page.click('button:text("Set up the day")');
  await page.waitForURL(/\/days\/[^/]+$/);
  return new URL(page.url()).pathname;
}

/** @param {Buffer} pdf */
const pagesOf = (pdf) => pdf.toString('latin1').match(/\/Type\s*\/Page\b(?!s)/g)?.length;

/** Looks at a page at both widths, light and dark. @param {string} path @param {string} name */
async function lookAt(path, name) {
  for (const width of [390, 1440]) {
    await page.setViewportSize({ width, height: 900 });
    await page.goto(path);
    await page.screenshot({ path: join(shots, `${name}-${width}.png`), fullPage: true });
    await assertFits(page, `${path} at ${width} px`);
    if (width === 1440) await assertFitsTwiceAsLarge(page, path);
    await page.emulateMedia({ colorScheme: width === 390 ? 'light' : 'dark' });
    await assertAxe(page, path);
    await page.emulateMedia({ colorScheme: 'light' });
    await assertLargeTargets(page, 'main a, main button, main summary', path);
  }
  assert.equal(await page.locator('main img').count(), 0);
}

test('handouts are made by keyboard, and each prints on one page of either paper', async () => {
  await lookAt(`${day}/handouts`, 'handouts-none');
  for (let i = 0; i < 120 && await page.evaluate(() => document.activeElement?.textContent) !== 'Make handouts'; i++) await page.keyboard.press('Tab');
  await page.keyboard.press('Enter');
  await page.waitForSelector('.handout');
  const sheets = await page.locator('.handout').count();
  assert.ok(sheets > 20, String(sheets));
  await lookAt(`${day}/handouts`, 'handouts');
  assert.equal(await page.locator('.handout h2', { hasText: hostile }).count(), 1);
  for (const format of /** @type {const} */ (['A4', 'Letter'])) {
    const pdf = await page.pdf({ format, path: join(shots, `handouts-${format}.pdf`) });
    assert.equal(pagesOf(pdf), sheets, format);
  }
});

test('one athlete alone prints on one page', async () => {
  await page.goto(`${day}/handouts`);
  await page.locator('summary:text("One athlete alone")').click();
  for (const words of [longName, 'Stop', 'Nothing Measured']) {
    const href = String(await page.locator('details a.row', { hasText: words }).first().getAttribute('href'));
    await page.goto(`${day}/handouts${href}`);
    for (const format of /** @type {const} */ (['A4', 'Letter'])) {
      assert.equal(pagesOf(await page.pdf({ format, path: join(shots, `handout-${words.slice(0, 4)}-${format}.pdf`) })), 1, `${words} ${format}`);
    }
    await lookAt(`${day}/handouts${href}`, `handout-${words.slice(0, 4)}`);
    await page.goBack();
    await page.goto(`${day}/handouts`);
  }
});

test('the summary prints on two pages at most, also that of sixty athletes', async () => {
  for (const [path, name] of /** @type {const} */ ([[day, 'summary'], [crowded, 'summary-sixty']])) {
    await lookAt(`${path}/summary`, name);
    for (const format of /** @type {const} */ (['A4', 'Letter'])) {
      const n = pagesOf(await page.pdf({ format, path: join(shots, `${name}-${format}.pdf`) }));
      assert.ok(n && n <= 2, `${name} on ${format}: ${n} pages`);
    }
  }
});

test('a correction leaves the handout as it was and says so', async () => {
  await page.goto(`${day}/summary`);
  const row = page.locator('.order li').nth(3);
  const who = await row.locator('b').innerText();
  await row.locator('a:text("Readings")').click();
  await page.locator('a.correct').first().click();
  const was = Number((await page.locator('p.big b').nth(1).innerText()).match(/[\d.]+/)?.[0]);
  await page.fill('#trial1', String(was + 1));
  await page.fill('#why', 'read on the wrong scale');
  await page.click('button:text("Correct it")');
  await page.waitForURL(/#reading-/);
  await page.goto(`${day}/handouts`);
  assert.match(await page.locator('.plain', { hasText: 'something was entered or corrected since' }).innerText(), new RegExp(who.slice(0, 12)));
  await page.click('button:text("Make them again")');
  assert.equal(await page.locator('h2:text("Out of date")').count(), 0);
  assert.deepEqual(wrong, []);
});
