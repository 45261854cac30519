// A screening day in a browser: set up, followed on the board, joined, and put on paper.
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { assertAxe, assertFits, assertFitsTwiceAsLarge, openPage } from './look.mjs';
import { shots, startBrowser, startProgram } from './program.mjs';

const widths = /** @type {const} */ ([390, 1440]);
const athletes = 60;

/** @type {Awaited<ReturnType<typeof startProgram>>} */
let program;
/** @type {import('playwright-core').Browser} */
let browser;
/** Address of the day, once it is set up. */
let day = '';
/** Address of the team. */
let team = '';

before(async () => {
  [program, browser] = await Promise.all([startProgram(), startBrowser()]);
  const { page, close } = await open();
  await page.goto('/teams/new');
  await page.fill('#name', 'Sixty');
  await page.click('button:text("Add the team")');
  team = new URL(page.url()).pathname;
  await page.goto(`${team}/import`);
  await page.fill('#text', `name,born,sex,throws,sport,level\n${Array.from({ length: athletes }, (_, i) =>
    `Athlete With A Longer Name ${String(i + 1).padStart(2, '0')},2011-04-${String(1 + i % 28).padStart(2, '0')},${i % 2 ? 'female' : 'male'},${i % 4 ? 'right' : 'left'},baseball,school`).join('\n')}\n`);
  await page.check('input[name=consent]');
  await page.click('button:text("Import")');
  await close();
}, { timeout: 120_000 });

after(async () => {
  await browser?.close();
  await program?.stop();
});

/** @param {import('playwright-core').BrowserContextOptions} [options] */
const open = (options) => openPage(browser, program.url, options);

/**
 * Looks at the page at both widths: it does not scroll sideways, axe finds nothing grave, and a
 * picture of it is kept.
 * @param {import('playwright-core').Page} page
 * @param {string} name
 * @param {string} [more] what is many times the same, and not looked at by axe each time
 */
async function look(page, name, more = '.none') {
  for (const width of widths) {
    await page.setViewportSize({ width, height: 900 });
    await page.screenshot({ path: join(shots, `${name}-${width}.png`), fullPage: true });
    await assertFits(page, `${name} at ${width} px`);
    if (width === 1440) await assertFitsTwiceAsLarge(page, name);
    await page.emulateMedia({ colorScheme: width === 390 ? 'light' : 'dark' });
    await assertAxe(page, `${name} at ${width} px`, more);
  }
  await page.emulateMedia({ colorScheme: 'light' });
}

/** @param {Buffer} pdf */
const sheetsOf = (pdf) => pdf.toString('latin1').match(/\/Type\s*\/Page\b(?!s)/g)?.length;

/**
 * Sends what a station would.
 * @param {import('playwright-core').Page} page
 * @param {number} station from 1
 * @param {Record<string, unknown>[]} entries
 */
async function send(page, station, entries) {
  const { stations } = await (await page.request.get(`/api/v1${day}`)).json();
  const now = new Date().toISOString();
  const answer = await page.request.put(`/api/v1/stations/${stations[station - 1].code}/entries`, {
    data: { device: `tablet-${station}`, sent: now, entries: entries.map((e) => ({ id: crypto.randomUUID(), examiner: 'KD', taken: now, side: 'none', ...e })) },
  });
  const { results } = await answer.json();
  assert.deepEqual(results.filter((/** @type {{status: string}} */ r) => r.status !== 'added'), []);
}

/** The athletes on the list, by number. @param {import('playwright-core').Page} page @returns {Promise<{athlete: string, number: number}[]>} */
async function list(page) {
  return (await (await page.request.get(`/api/v1${day}`)).json()).athletes;
}

test('a day is set up, and its faults stand at the fields', async () => {
  const { page, close } = await open(); // the form has no script of its own
  await page.goto(team);
  await page.click('a:text("Set up a screening day")');
  await look(page, 'day-new');
  assert.equal(await page.locator('#name-2').inputValue(), 'Shoulder and scapula');
  await page.fill('#place-grip_strength', '0');
  await page.fill('#trials-shoulder_flexion', '99');
  await page.fill('#name-1', '');
  await page.click('button:text("Set up the day")');
  assert.equal(await page.locator('.faults li').count(), 6, await page.locator('.faults').innerText());
  assert.match(await page.locator('#fault-trials-shoulder_flexion').innerText(), /cannot take 99 trials\. Right would be: 1 to 10/);
  assert.match(await page.locator('#fault-name-1').innerText(), /name is missing/);
  assert.equal(await page.locator('#trials-shoulder_flexion').inputValue(), '99');
  await look(page, 'day-faults');
  await page.fill('#name-1', 'Check-in');
  await page.fill('#trials-shoulder_flexion', '3');
  await page.fill('#place-grip_strength', '7');
  await page.click('button:text("Count again")');
  assert.match(await page.locator('#sum .big').innerText(), /60 athletes: [\d,]+ numbers, and [\d,]+ more from 12 who are measured twice/);
  await page.click('button:text("Set up the day")');
  day = new URL(page.url()).pathname;
  assert.match(day, /^\/days\//);
  assert.match(await page.locator('.needs').innerText(), /Nothing needs you now/);
  assert.equal(await page.locator('.board tbody tr').count(), athletes);
  await page.click('a:text("Change the day")');
  assert.equal(await page.locator('#trials-shoulder_flexion').inputValue(), '3');
  await look(page, 'day-edit');
  await close();
});

test('the board keeps itself up to date, and what is open and typed in it stays', async () => {
  const { page, wrong, close } = await open();
  const people = await list(page);
  await page.goto(day);
  await page.locator('#live-words', { hasText: 'keeps itself up to date' }).waitFor();
  await page.locator('#row-5 summary').click();
  await page.evaluate(() => scrollTo(0, 700));
  await send(page, 1, people.slice(0, 14).map((a) => ({ kind: 'check_in', athlete: a.athlete, threw_in_48h: false })));
  await page.locator('#row-1 td.at', { hasText: 'done' }).waitFor();
  await send(page, 1, [{ kind: 'symptom', athlete: people[2]?.athlete, about: 'numbness_or_tingling' }]);
  const hold = page.locator('#holds li').first();
  await hold.waitFor();
  assert.match(await page.locator('.needs').innerText(), /1 on hold: referral signs/);
  assert.ok(await page.locator('#row-5 details').getAttribute('open') !== null, 'an open list stays open');
  await hold.locator('summary').click();
  await hold.locator('input[name=why]').fill('seen by');
  await send(page, 2, people.slice(3, 9).flatMap((a) => ['left', 'right'].flatMap((side) => ['shoulder_internal_rotation', 'shoulder_external_rotation'].map((about) =>
    ({ kind: 'reading', athlete: a.athlete, about, side, trials: about === 'shoulder_internal_rotation' ? [47, 48] : [98, 99] })))));
  await send(page, 2, [{ kind: 'reading', athlete: people[4]?.athlete, about: 'shoulder_internal_rotation', side: 'left', trials: [71, 72], examiner: 'MO' },
    { kind: 'not_done', athlete: people[5]?.athlete, about: 'shoulder_flexion', side: 'left', reason: 'pain' }]);
  await page.locator('#conflicts li').first().waitFor();
  assert.match(await page.locator('#conflicts').innerText(), /47°, 48° by KD at .*71°, 72° by MO at/);
  assert.equal(await hold.locator('input[name=why]').inputValue(), 'seen by', 'what is typed stays');
  assert.ok(await page.evaluate(() => document.activeElement?.getAttribute('name') === 'why'), 'the focus stays');
  assert.match(await page.locator('#row-6').innerText(), /1 not done: pain/);
  await page.keyboard.type(' the physician');
  await look(page, 'board');
  await page.emulateMedia({ media: 'print' });
  const pdf = await page.pdf({ format: 'A4', landscape: true, path: join(shots, 'board.pdf') });
  assert.ok(Number(sheetsOf(pdf)) <= 6, `${sheetsOf(pdf)} sheets`);
  await page.emulateMedia({ media: 'screen' });
  await hold.locator('button').click();
  await page.waitForLoadState();
  assert.equal(await page.locator('#holds').count(), 0);
  assert.deepEqual(wrong, []);
  await close();
});

test('the board says when the connection is lost, and comes back', async () => {
  const { page, context, close } = await open();
  await page.goto(day);
  await page.locator('#live-words', { hasText: 'keeps itself up to date' }).waitFor();
  const people = await list(page);
  await context.setOffline(true);
  await page.locator('#live-words', { hasText: 'No connection' }).waitFor({ timeout: 20_000 });
  assert.equal(await page.locator('#live-said').innerText(), 'The connection is lost.');
  await context.setOffline(false);
  await page.locator('#live-words', { hasText: 'keeps itself up to date' }).waitFor({ timeout: 20_000 });
  await send(page, 1, [{ kind: 'check_in', athlete: people[20]?.athlete, threw_in_48h: true }]);
  await page.locator('#row-21 td.at', { hasText: 'done' }).waitFor();
  await close();
});

test('without script a walk-on is put on the list, and the day is closed and opened', async () => {
  const { page, close } = await open({ javaScriptEnabled: false });
  await page.goto(day);
  await page.click('#walk-on summary');
  await page.fill('#name', 'Walks On');
  await page.fill('#born', '2031-01-01');
  await page.check('#walk-on input[name=sex][value=female]');
  await page.check('#walk-on input[name=hand][value=left]');
  await page.click('button:text("Put on the list")');
  assert.match(await page.locator('#fault-born').innerText(), /./);
  await page.fill('#born', '2012-01-01');
  await page.click('button:text("Put on the list")');
  assert.match(await page.locator('#row-61').innerText(), /Walks On/);
  await page.click('button:text("Close the day")');
  assert.match(await page.locator('#live').innerText(), /Closed at/);
  await send(page, 1, [{ kind: 'check_in', athlete: (await list(page))[30]?.athlete, threw_in_48h: true }]);
  await page.reload();
  assert.match(await page.locator('#late').innerText(), /1 entry by KD/);
  const seen = await open();
  await seen.page.goto(day);
  await look(seen.page, 'board-closed');
  await seen.close();
  await page.click('button:text("Open the day again")');
  assert.equal(await page.locator('button:text("Close the day")').count(), 1);
  await close();
});

test('stations are joined by code and link', async () => {
  const { page, wrong, close } = await open();
  await page.goto(`${day}/join`);
  assert.match(await page.locator('.needs').innerText(), /Phones cannot reach this address/);
  assert.equal(await page.locator('svg.qr').count(), 6);
  await look(page, 'join');
  assert.equal(sheetsOf(await page.pdf({ format: 'A4', path: join(shots, 'join.pdf') })), 6, 'a sheet for each station');
  const link = page.locator('.joinlink a').first();
  const answer = await page.goto(String(await link.getAttribute('href')));
  assert.equal(answer?.status(), 200);
  assert.deepEqual(wrong, []);
  await close();
});

test('station sheets', async () => {
  const { page, close } = await open();
  await page.goto(`${day}/sheets/stations`);
  await look(page, 'sheets-stations', '.blank tbody:nth-of-type(n+4)');
  const pdf = await page.pdf({ format: 'A4', preferCSSPageSize: true, path: join(shots, 'sheets-stations.pdf') });
  assert.ok(Number(sheetsOf(pdf)) < 60, `${sheetsOf(pdf)} sheets`);
  assert.match(pdf.toString('latin1'), /\/MediaBox\s*\[0 0 84\d/, 'wide tables lie on their side');
  await close();
});

test('one blank sheet for each athlete, on either paper', async () => {
  const { page, close } = await open();
  await page.goto(`${day}/sheets/athletes`);
  const count = await page.locator('.one').count();
  assert.equal(count, athletes + 1);
  for (const format of ['A4', 'Letter']) {
    const pdf = await page.pdf({ format, path: join(shots, `sheets-athletes-${format}.pdf`) });
    assert.equal(sheetsOf(pdf), count, format);
  }
  await look(page, 'sheets-athletes', '.paper:nth-of-type(n+3)');
  await close();
});
