// The screen of a station as a helper uses it: by taps on a phone, by keyboard, without network, on a
// device with no room left. The server is played (fakestation.mjs); page, modules and styles are the real
// ones. What a value means comes from the protocol's words, what is asked from internal/screen/question.go.
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { after, before, describe, test } from 'node:test';
import { makeSheet, origin, playServer } from './fakestation.mjs';
import { assertAxe, sidewaysScroll as sideways } from './look.mjs';
import { shots, startBrowser, startProgram } from './program.mjs';

/** @typedef {import('playwright-core').Page} Page */
/** @typedef {Parameters<typeof makeSheet>[0]} Takes */

/** @type {import('playwright-core').Browser} */
let browser;
before(async () => { browser = await startBrowser(); });
after(() => browser?.close());

const phone = { viewport: { width: 390, height: 664 }, hasTouch: true, isMobile: true };

/**
 * @param {Takes} takes
 * @param {{ options?: import('playwright-core').BrowserContextOptions, who?: string, more?: Partial<import('./fakestation.mjs').Sheet>, change?: (sheet: import('./fakestation.mjs').Sheet) => void, clock?: boolean }} [how]
 */
async function open(takes, { options = phone, who = 'Dana', more, change, clock } = {}) {
  const context = await browser.newContext({ baseURL: origin, serviceWorkers: 'block', ...options });
  const sheet = makeSheet(takes, more);
  change?.(sheet);
  const server = await playServer(context, sheet);
  const page = await context.newPage();
  /** @type {string[]} */
  const wrong = [];
  page.on('pageerror', (error) => wrong.push(String(error)));
  if (clock) await page.clock.install({ time: new Date('2026-03-10T09:00:00Z') });
  await page.goto('/s/fake');
  if (who) {
    await page.getByRole('button', { name: who, exact: true }).click();
    await page.locator('h1', { hasText: 'Who is next?' }).waitFor();
  }
  let taps = 0;
  const tap = async (/** @type {import('playwright-core').Locator} */ at) => { taps++; await at.click(); };
  const keys = async (/** @type {string} */ digits) => { for (const d of digits) await tap(page.locator(`[data-key="${d}"]`)); };
  return {
    context, page, server, wrong, tap, keys, get taps() { return taps; }, set taps(n) { taps = n; },
    button: (/** @type {string | RegExp} */ name) => page.getByRole('button', { name }),
    pick: (/** @type {number} */ n) => tap(page.locator('.athleterow', { has: page.locator('.number', { hasText: new RegExp(`^${n}$`) }) })),
    measure: () => page.locator('h2.measure'),
    said: () => page.locator('#said'),
    close: async () => { assert.deepEqual(wrong, []); await context.close(); },
  };
}

/** @param {() => boolean | Promise<boolean>} true_ @param {string} what */
async function until(true_, what) {
  for (let i = 0; i < 200; i++) {
    if (await true_()) return;
    await new Promise((r) => setTimeout(r, 25));
  }
  assert.fail(`it never came about: ${what}`);
}

/** @param {import('playwright-core').Locator} at @param {string | RegExp} text */
async function says(at, text) {
  await until(async () => { const s = (await at.textContent()) ?? ''; return typeof text === 'string' ? s.includes(text) : text.test(s); }, `${text} in ${await at.textContent().catch(() => '')}`);
}

/** @param {import('./fakestation.mjs').Entry[]} got */
const short = (got) => got.map((e) => [e.kind, e.about, e.side, e.trials ?? e.reason ?? e.answer].filter((x) => x !== undefined).map(String).join(' '));

describe('an athlete at a station of measures', () => {
  test('by taps: digits and at most two more for each value', async () => {
    const s = await open(['internal', 'external', 'flexion', 'adduction', 'forearm', 'elbow']);
    s.taps = 0;
    const plain = ['5254', '6163', '110112', '118119', '180181', '179178', '2021', '2322', '8182', '8384'];
    await s.pick(3);
    await says(s.page.locator('h1'), '3 Cleo Lindqvist throws LEFT');
    await says(s.page.locator('.order'), 'First the left side');
    for (const p of plain) await s.keys(p);
    await says(s.measure(), 'Elbow extension');
    for (const d of '4523') {
      await s.keys(d);
      await s.tap(s.button(/^short of straight$/));
    }
    await says(s.page.locator('h1'), 'Who is next?');
    await says(s.said(), 'Saved: Elbow extension, left 4° short of straight, 5° short of straight');
    const values = plain.length * 2 + 4;
    const digits = plain.join('').length + 4;
    console.log(`      ${s.taps} taps for ${values} values of 6 measures: ${digits} digits and ${((s.taps - digits) / values).toFixed(2)} more for each value`);
    assert.ok(s.taps <= digits + 2 * values, `${s.taps} taps`);
    await until(() => s.server.got.length === 12, 'twelve readings at the server');
    assert.deepEqual(short(s.server.got).slice(0, 2), ['reading shoulder_internal_rotation left 52,54', 'reading shoulder_internal_rotation right 61,63']);
    assert.deepEqual(short(s.server.got).slice(-2), ['reading elbow_extension left -4,-5', 'reading elbow_extension right -2,-3']);
    assert.ok(s.server.got.every((e) => e.examiner === 'Dana' && e.athlete === 'athlete-3'));
    await says(s.page.locator('.count'), '3 of 60 through');
    await s.close();
  });

  test('by keyboard, the right side first for a right-hander', async () => {
    const s = await open(['internal', 'elbow'], { options: { viewport: { width: 1440, height: 900 } } });
    await s.page.keyboard.type('4');
    await s.page.keyboard.press('Enter');
    await says(s.page.locator('h1'), '4 Dmitri Falk throws right');
    assert.equal(await s.page.evaluate(() => document.activeElement?.getAttribute('aria-label')), 'Right, throwing arm, trial 1, degrees');
    assert.equal(await s.page.evaluate(() => document.activeElement?.getAttribute('inputmode')), 'none');
    await s.page.keyboard.type('5');
    await s.page.keyboard.press('Enter'); // 5 may become 52
    await says(s.page.locator('.ask, .trial.now label'), 'Trial 2');
    await s.page.keyboard.press('Shift+Tab');
    await s.page.keyboard.type('52535455');
    await says(s.measure(), 'Elbow extension');
    assert.equal(await s.page.evaluate(() => document.activeElement?.getAttribute('aria-label')), 'Right, throwing arm, trial 1, degrees');
    await s.page.keyboard.type('4');
    await s.page.keyboard.press('Enter');
    await says(s.page.locator('.trial.now .fault'), 'Which way: short of straight or beyond straight?');
    assert.equal(await s.page.evaluate(() => document.activeElement?.textContent), 'short of straight');
    await s.page.keyboard.press('Enter');
    await says(s.page.locator('.valuewords').nth(2), '4° short of straight');
    await s.page.keyboard.press('Escape');
    await says(s.page.locator('h1'), 'Who is next?');
    await says(s.said(), 'Not saved yet: what was typed for 4 Dmitri Falk');
    await s.page.keyboard.type('4-KDM'); // as a scanner types the code of the sheet
    await s.page.keyboard.press('Enter');
    await says(s.page.locator('.valuewords').nth(2), '4° short of straight');
    await until(() => s.server.got.length === 2, 'one measure at the server');
    assert.deepEqual(short(s.server.got), ['reading shoulder_internal_rotation right 52,53', 'reading shoulder_internal_rotation left 54,55']);
    await s.close();
  });

  test('a value outside the range is said beside the field and not taken', async () => {
    const s = await open(['flexion']);
    await s.pick(4);
    await s.keys('3'); // no digit after it makes it a value of 90 to 220
    const field = s.page.locator('.trial.now');
    await says(field.locator('.fault'), 'Between 90° and 220°.');
    assert.equal(await field.locator('input').getAttribute('aria-invalid'), 'true');
    await s.tap(s.page.locator('[data-key=next]'));
    assert.equal(await s.page.evaluate(() => document.activeElement?.getAttribute('aria-label')), 'Right, throwing arm, trial 1, degrees');
    await s.keys('150'); // typed over it
    assert.equal(await s.page.evaluate(() => document.activeElement?.getAttribute('aria-label')), 'Right, throwing arm, trial 2, degrees');
    assert.deepEqual(s.server.got, []);
    await s.close();
  });

  test('keys typed while the measure before is being saved belong to the next one', async () => {
    const s = await open(['internal', 'external']);
    await s.page.evaluate(() => { // a slow device: a transaction is complete half a second later
      const real = Object.getOwnPropertyDescriptor(IDBTransaction.prototype, 'oncomplete');
      Object.defineProperty(IDBTransaction.prototype, 'oncomplete', { ...real, set(fn) { real?.set?.call(this, (/** @type {Event} */ e) => setTimeout(() => fn.call(this, e), 500)); } });
      const listen = IDBTransaction.prototype.addEventListener;
      IDBTransaction.prototype.addEventListener = function slow(/** @type {string} */ type, /** @type {any} */ fn, /** @type {any} */ options) {
        listen.call(this, type, type === 'complete' ? (/** @type {Event} */ e) => setTimeout(() => fn.call(this, e), 500) : fn, options);
      };
    });
    await s.pick(3);
    await s.page.evaluate(() => { for (const k of '52546163110112') /** @type {HTMLElement} */ (document.querySelector(`[data-key="${k}"]`)).click(); });
    await says(s.measure(), 'external');
    assert.deepEqual(await s.page.locator('.trial input').evaluateAll((all) => all.map((i) => /** @type {HTMLInputElement} */ (i).value)), ['110', '112', '', '']);
    await s.close();
  });

  test('trials apart, an unusual value, exchanged digits', async () => {
    const s = await open(['internal', 'flexion']);
    await s.pick(4);
    await s.keys('50615254');
    await says(s.page.locator('.ask h3'), 'Right: the trials are 11° apart (up to 5 is usual)');
    await s.page.screenshot({ path: join(shots, 'station-apart-390.png') });
    await s.tap(s.button('Measure once more'));
    assert.equal(await s.page.evaluate(() => document.activeElement?.getAttribute('aria-label')), 'Right, throwing arm, trial 3, degrees');
    await s.keys('57');
    await says(s.page.locator('.ask h3'), 'apart');
    await s.tap(s.button('Keep as they are'));
    await says(s.said(), 'right 50, 61, 57, left 52, 54');
    await s.keys('130131'); // 130 is possible, usual is 140 and more
    await s.keys('145146');
    await says(s.page.locator('.ask h3'), 'Right: 130° is possible but unusual (usually 140 to 200). Is it right?');
    await s.tap(s.button('Type it again'));
    await s.keys('132');
    await says(s.page.locator('.ask h3'), '132°');
    await s.tap(s.button('Yes, it is right')); // and the other trial, near by, is right as well
    await says(s.page.locator('h1'), 'Who is next?');
    await s.pick(6);
    await s.keys('85');
    await s.keys('585756');
    await says(s.page.locator('.ask h3'), 'Was 58 meant? The digits look exchanged.');
    await s.tap(s.button('Use 58°'));
    await says(s.said(), 'right 58, 58, left 57, 56');
    await until(() => s.server.got.length === 6, 'six readings');
    assert.deepEqual(short(s.server.got.slice(0, 4)), ['reading shoulder_internal_rotation right 50,61,57', 'reading shoulder_internal_rotation left 52,54', 'reading shoulder_flexion right 132,131', 'reading shoulder_flexion left 145,146']);
    await s.close();
  });

  test('shoulders that look like those of the other hand', async () => {
    const s = await open(['internal', 'external']);
    await s.pick(4);
    await s.keys('65664041'); // right more inward than left
    await says(s.measure(), 'external');
    await s.keys('9091112113'); // and less outward
    await says(s.page.locator('.ask h3'), 'is the throwing hand right, were the sides exchanged?');
    await s.tap(s.button('Keep as they are'));
    await says(s.page.locator('h1'), 'Who is next?');
    await s.close();
  });

  test('not done, absent for all that is left, undo, and several steps back', async () => {
    const s = await open(['internal', 'external', 'flexion']);
    await s.pick(3);
    await s.keys('5254'); // the left side only
    await s.tap(s.page.locator('[data-reason=pain]'));
    await says(s.said(), 'left 52, 54, right not done: pain');
    await says(s.measure(), 'external');
    await s.tap(s.said().getByRole('button', { name: /^Undo/ }));
    await says(s.measure(), 'internal');
    await says(s.said(), 'Taken back');
    await s.keys('52546163');
    await s.tap(s.page.locator('[data-reason=absent]'));
    await s.tap(s.button('All that is left here'));
    await says(s.page.locator('h1'), 'Who is next?');
    await says(s.page.locator('.count'), '3 of 60 through');
    await s.tap(s.page.locator('summary', { hasText: 'Through here' }));
    await s.pick(3);
    await says(s.page.locator('#main'), 'Shoulder internal rotation, left 52, 54, right 61, 63');
    await s.page.screenshot({ path: join(shots, 'station-record-390.png'), fullPage: true });
    for (let i = 0; i < 2; i++) await s.tap(s.page.locator('#main').getByRole('button', { name: /^Undo/ }).first());
    await says(s.page.locator('#main'), 'Go on: 6 of 6 to do');
    await until(() => s.server.got.filter((e) => e.kind === 'undo').length === 8, 'eight taken back');
    assert.deepEqual(short(s.server.got.slice(0, 2)), ['reading shoulder_internal_rotation left 52,54', 'not_done shoulder_internal_rotation right pain']);
    await s.close();
  });

  test('a question of the server: now, not now, and measured again on purpose', async () => {
    const s = await open(['internal', 'external']);
    const q = { athlete: 'athlete-3', name: 'Cleo Lindqvist', number: 3, station: 'fake', kind: 'unsettled', measure: 'shoulder_internal_rotation', side: /** @type {const} */ ('none'), screen: 's', text: 'One more placing may settle it.' };
    s.server.questions = [q, { ...q, athlete: 'athlete-2', number: 2, name: 'Ben Adeyemi' }];
    await s.pick(3);
    await s.keys('52546163');
    await says(s.page.locator('.news'), 'Measure once more, newly placed: Shoulder internal rotation. One more placing may settle it.');
    await s.tap(s.page.getByRole('button', { name: 'Now', exact: true }));
    await says(s.measure(), 'internal');
    await s.keys('51536062');
    await says(s.measure(), 'external');
    await until(() => s.server.got.length === 4, 'four readings');
    assert.deepEqual(s.server.got.map((e) => Boolean(e.again)), [false, false, true, true]);
    await s.tap(s.button('Back to the list'));
    await says(s.page.locator('.again'), '2 Ben Adeyemi: Shoulder internal rotation');
    assert.ok(!(await s.page.locator('.again').textContent())?.includes('Cleo'));
    await s.close();
  });

  test('the second time shows nothing of the first', async () => {
    const s = await open(['internal'], { change: (sheet) => { for (const a of sheet.athletes) a.done = 'xx'; } });
    await says(s.page.locator('.list'), 'A second time, best by another helper: 1');
    await s.pick(5);
    await says(s.page.locator('.round'), 'Second time, best by another helper. Do not look at the first values.');
    await s.keys('52546163');
    await until(() => s.server.got.length === 2, 'two readings');
    assert.deepEqual(s.server.got.map((e) => e.round), [2, 2]);
    await says(s.page.locator('.count'), '59 of 60 through');
    await s.close();
  });
});

describe('other stations', () => {
  test('ratings, a counter with its cap, a stop-watch', async () => {
    const s = await open(['scapula', 'errors', 'stance'], { clock: true });
    await s.pick(3);
    await s.tap(s.button('Left, throwing arm: subtle'));
    await s.tap(s.button('Right, non-throwing arm: normal'));
    await says(s.measure(), 'errors');
    for (let i = 0; i < 3; i++) await s.tap(s.button(/^\+1: /));
    await s.tap(s.button('Take one back'));
    await s.tap(s.button('Start 20 s'));
    await s.page.clock.runFor(5_050);
    await says(s.page.locator('.clock'), '15 s left');
    await s.page.clock.runFor(16_000);
    await says(s.page.locator('.clockline'), '20 s are over');
    await s.page.screenshot({ path: join(shots, 'station-counter-390.png') });
    await s.tap(s.button('Done: 2'));
    for (let i = 0; i < 10; i++) await s.tap(s.button(/^\+1: /));
    await s.tap(s.button('Done: 10 or more'));
    await says(s.measure(), 'eyes closed');
    await says(s.said(), 'left 2, right 10 or more');
    await s.page.clock.pauseAt(new Date('2026-03-10T10:00:00Z'));
    await s.tap(s.button('Start'));
    await s.page.clock.runFor(12_340);
    await s.tap(s.button('Stop'));
    await says(s.page.locator('.seconds'), '12.3 s');
    await s.page.screenshot({ path: join(shots, 'station-watch-390.png') });
    await s.tap(s.button('Take again'));
    await s.tap(s.button('Start'));
    await s.page.clock.runFor(8_000);
    await s.tap(s.button('Stop'));
    await s.tap(s.button(/^Take [\d.]+ s$/));
    await s.tap(s.button('Type the seconds'));
    await s.keys('8.4');
    await s.page.clock.resume();
    await until(() => s.server.got.length === 6, 'six readings');
    const [left, right] = s.server.got.slice(4).map((e) => e.trials?.[0] ?? 0);
    assert.deepEqual([left, right], [8, 8.4]);
    assert.deepEqual(short(s.server.got.slice(0, 4)), ['reading scapula_rating left 1', 'reading scapula_rating right 0', 'reading stance_errors left 2', 'reading stance_errors right 10']);
    await s.close();
  });

  test('the checklist: one tap an item, a later tap changes the answer', async () => {
    const s = await open(['checklist']);
    await s.pick(3);
    await s.tap(s.page.getByRole('button', { name: 'Leads with the hips: Met', exact: true }));
    await says(s.said(), 'Leads with the hips: met');
    await s.tap(s.page.getByRole('button', { name: 'Leads with the hips: Not seen', exact: true }));
    await until(async () => await s.page.getByRole('button', { name: 'Leads with the hips: Not seen', exact: true }).getAttribute('aria-pressed') === 'true', 'the later answer is shown');
    assert.equal(await s.page.getByRole('button', { name: 'Leads with the hips: Met', exact: true }).getAttribute('aria-pressed'), 'false');
    for (const item of ['Hand on top', 'Arm up in', 'Front shoulder']) await s.tap(s.button(new RegExp(`^${item}.*: Not met$`)));
    await says(s.page.locator('.athlete .count'), '1 of 5 left');
    await s.tap(s.button(/^Stride foot.*: Met$/));
    await says(s.page.locator('h1'), 'Who is next?');
    await until(() => s.server.got.length === 6, 'six answers');
    assert.deepEqual(s.server.got.map((e) => e.answer), ['met', 'not_seen', 'not_met', 'not_met', 'not_met', 'met']);
    await s.close();
  });

  test('check-in: another hand, a referral sign stops the athlete, a mistake is taken back', async () => {
    const s = await open(['check_in']);
    await s.pick(4);
    await says(s.page.locator('h2'), 'Throws with the right hand. Right?');
    await s.tap(s.button('No: left'));
    await s.tap(s.button('Yes'));
    await s.page.getByText('Numbness or tingling').click();
    await s.tap(s.button('Side of it: Left'));
    await s.page.getByLabel('Note to Numbness or tingling').fill('two fingers');
    await s.page.screenshot({ path: join(shots, 'station-signs-390.png'), fullPage: true });
    await s.tap(s.button('Save 1 sign'));
    await says(s.page.locator('.stop'), '4 Dmitri Falk does not go on today: no throwing until a licensed clinician has seen the arm. Tell the person who runs the day now.');
    await s.page.screenshot({ path: join(shots, 'station-stop-390.png') });
    await assertAxe(s.page, 'stop');
    await until(() => s.server.got.length === 2, 'two entries');
    assert.deepEqual(s.server.got.map(({ kind, about, side, note, hand, threw_in_48h }) => ({ kind, about, side, note, hand, threw_in_48h })), [
      { kind: 'symptom', about: 'numbness_or_tingling', side: 'left', note: 'two fingers', hand: undefined, threw_in_48h: undefined },
      { kind: 'check_in', about: undefined, side: undefined, note: undefined, hand: 'left', threw_in_48h: true },
    ]);
    await s.tap(s.button('Back to the list'));
    await s.pick(4);
    await says(s.page.locator('.stop'), 'Stop: Numbness or tingling. Nothing more is measured today.');
    await s.tap(s.button('This was entered by mistake: undo'));
    await until(() => s.server.got.some((e) => e.kind === 'undo' && e.undoes === s.server.got[0]?.id), 'taken back');
    await s.tap(s.button('Back to the list'));
    await s.pick(6);
    await s.tap(s.button('Yes'));
    await s.tap(s.button('No'));
    await s.tap(s.button('None of these'));
    await says(s.page.locator('h1'), 'Who is next?');
    await s.close();
  });

  test('nobody waits for somebody absent: check-in and checklist are not done in a tap or two', async () => {
    const s = await open(['check_in', 'internal', 'checklist']);
    await s.pick(4);
    await s.page.screenshot({ path: join(shots, 'station-checkin-390.png') });
    await s.tap(s.button('Absent'));
    await s.tap(s.button('All that is left here'));
    await says(s.page.locator('h1'), 'Who is next?');
    await says(s.page.locator('.count'), '3 of 60 through');
    await until(() => s.server.got.length === 8, 'check-in, two sides, five items');
    assert.ok(s.server.got.every((e) => e.kind === 'not_done' && e.reason === 'absent'));
    assert.deepEqual(s.server.got.map((e) => [e.about, e.side]).slice(0, 2), [['check_in', 'none'], ['shoulder_internal_rotation', 'left']]);
    await s.tap(s.said().getByRole('button', { name: /^Undo/ }));
    await s.tap(s.button('Back to the list'));
    await says(s.page.locator('.count'), '2 of 60 through');
    const t = await open(['checklist']);
    await t.pick(4);
    await t.tap(t.page.getByRole('button', { name: 'Leads with the hips: Met', exact: true }));
    await t.tap(t.button('No time'));
    await says(t.page.locator('h1'), 'Who is next?');
    await until(() => t.server.got.length === 5, 'an answer, and four items not done');
    assert.deepEqual(t.server.got.map((e) => e.answer ?? e.reason), ['met', 'no_time', 'no_time', 'no_time', 'no_time']);
    await s.close();
    await t.close();
  });

  test('somebody who is not on the list', async () => {
    const s = await open(['internal']);
    await s.tap(s.button('Add somebody who is not on the list'));
    await s.tap(s.button('Add and go on'));
    await says(s.page.locator('.fault:visible'), 'Still to fill in: the name, a birth date such as 14, 3, 2011, sex, throwing hand, level.');
    await s.page.getByLabel('Name').fill('Zoe Late');
    for (const [label, text] of [['Day', '14'], ['Month', '3'], ['Year', '2011']]) await s.page.getByLabel(label ?? '').fill(text ?? '');
    for (const choice of ['Female', 'LEFT', 'School']) await s.page.getByLabel(choice, { exact: true }).check();
    await s.tap(s.button('Add and go on'));
    await says(s.page.locator('h1'), 'Do not measure: Zoe Late (new)');
    await until(() => s.server.got.length === 1, 'an entry');
    assert.deepEqual(s.server.got[0]?.person, { name: 'Zoe Late', born: '2011-03-14', sex: 'female', hand: 'left', level: 'school' });
    await s.close();
  });

  test('without a consent nothing is measured, until there is one', async () => {
    const s = await open(['internal'], { change: (sheet) => { for (const a of sheet.athletes) a.consent = a.number !== 3; } });
    await says(s.page.locator('.count'), ', 1 without consent');
    await s.pick(3);
    await says(s.page.locator('h1'), 'Do not measure: 3 ');
    assert.equal(await s.page.locator('[data-key]').count(), 0);
    await s.tap(s.button('Back to the list'));
    for (const a of s.server.sheet.athletes) a.consent = true;
    await s.page.reload();
    await s.pick(3);
    await says(s.page.locator('h1'), /^3 /);
    assert.equal(await s.page.locator('.stop').count(), 0);
    await s.close();
  });
});

describe('when things go wrong', () => {
  test('no network: kept, said so, sent later', async () => {
    const s = await open(['internal']);
    s.server.down = true;
    await s.pick(3);
    await s.keys('52546163');
    await says(s.said(), 'Saved:');
    await says(s.page.locator('#bar .sent'), 'No network: 2 kept on this device');
    await s.page.screenshot({ path: join(shots, 'station-offline-390.png') });
    await s.page.reload();
    await says(s.page.locator('.count'), '3 of 60 through');
    s.server.down = false;
    await s.page.evaluate(() => dispatchEvent(new Event('online')));
    await says(s.page.locator('#bar .sent'), 'All sent');
    assert.equal(s.server.got.length, 2);
    await s.close();
  });

  test('no room on the device: nothing is shown as saved, the values stay, and it can be tried again', async () => {
    const s = await open(['internal', 'external']);
    await s.pick(3);
    await s.keys('52546163');
    await says(s.said(), 'Saved');
    await s.page.evaluate(() => {
      const real = IDBDatabase.prototype.transaction;
      IDBDatabase.prototype.transaction = function full(...args) {
        if (args[1] === 'readwrite' && /** @type {any} */ (window).full !== false) throw new DOMException('no room', 'QuotaExceededError');
        return real.apply(this, args);
      };
    });
    await s.keys('110112118119');
    const trouble = s.page.locator('.trouble');
    await says(trouble, 'Not saved');
    await says(trouble, 'Write this on the paper sheet: 3 Cleo Lindqvist: Shoulder external rotation, left 110, 112, right 118, 119');
    await says(trouble, 'Safe are the 2 entries');
    await s.page.screenshot({ path: join(shots, 'station-full-390.png') });
    assert.ok(!(await s.said().textContent())?.includes('external'));
    assert.deepEqual(await s.page.locator('.trial input').evaluateAll((all) => all.map((i) => /** @type {HTMLInputElement} */ (i).value)), ['110', '112', '118', '119']);
    await s.tap(s.button('Try again'));
    await says(trouble, 'Not saved');
    await s.page.evaluate(() => { /** @type {any} */ (window).full = false; });
    await s.tap(s.button('Try again'));
    await says(s.said(), 'Shoulder external rotation, left 110, 112, right 118, 119');
    await until(() => s.server.got.length === 4, 'four readings');
    await s.close();
  });

  test('an entry that the server does not take, a closed day, an athlete on hold', async () => {
    const s = await open(['internal']);
    s.server.refuse = (e) => (e.side === 'left' ? { message: 'the trials are too many', want: 'at most ten' } : null);
    s.server.late = true;
    await s.pick(4);
    await s.keys('52546163');
    await says(s.page.locator('#bar'), 'The day is closed. What you still have is sent and marked late.');
    await s.tap(s.button('1 was not taken'));
    await says(s.page.locator('#main'), 'Why: the trials are too many.');
    await says(s.page.locator('#main'), 'What would be right: at most ten.');
    await s.tap(s.button('Seen, take it off this list'));
    await until(async () => await s.button('1 was not taken').count() === 0, 'dismissed');
    await s.page.goBack();
    await says(s.page.locator('h1'), 'Who is next?');
    await s.pick(10);
    await says(s.page.locator('.stop'), 'Stop: Numbness or tingling. Nothing more is measured today.');
    await s.close();
  });
});

describe('with the program itself', () => {
  test('over plain http, where a browser offers less: what was entered is on the server\'s sheet', { timeout: 120_000 }, async () => {
    const program = await startProgram();
    try {
      const context = await browser.newContext({ baseURL: `http://gym.test:${program.port}`, ...phone });
      const page = await context.newPage();
      /** @type {string[]} */
      const wrong = [];
      page.on('pageerror', (error) => wrong.push(String(error)));
      page.on('console', (message) => { if (message.type() === 'error' || message.type() === 'warning') wrong.push(message.text()); });
      await page.goto('/');
      const day = String(await page.locator('a[href^="/days/"]').first().getAttribute('href')).split('/')[2];
      const { stations } = await (await fetch(`${program.url}/api/v1/days/${day}`)).json();
      const station = stations.find((/** @type {any} */ s) => s.steps[0].measure === 'shoulder_internal_rotation');
      await page.goto(`/s/${station.code}`);
      await page.getByLabel(/initials/).fill('KD');
      await page.getByRole('button', { name: 'Go on' }).click();
      const row = page.locator('section:not(.again) > .athletes .athleterow:visible').first();
      const number = Number(await row.locator('.number').textContent());
      await row.click();
      for (const d of '52545153') await page.locator(`[data-key="${d}"]`).click();
      await says(page.locator('#said'), 'Saved: Shoulder internal rotation');
      await says(page.locator('#bar .sent'), 'All sent');
      const sheet = await (await fetch(`${program.url}/api/v1/stations/${station.code}`)).json();
      assert.equal(sheet.athletes.find((/** @type {any} */ a) => a.number === number).done.slice(0, 2), 'xx');
      assert.ok(sheet.helpers.includes('KD'));
      assert.deepEqual(wrong, []);
      await context.close();
    } finally {
      await program.stop();
    }
  });
});

describe('looks', () => {
  for (const [width, height] of /** @type {const} */ ([[390, 844], [1024, 768], [1440, 900]])) {
    test(`at ${width} px`, async () => {
      const s = await open(['internal', 'elbow', 'scapula', 'errors', 'stance', 'limb'], { who: '', options: { viewport: { width, height }, colorScheme: width === 1440 ? 'dark' : 'light', reducedMotion: 'reduce' } });
      /** @param {string} name */
      const look = async (name) => {
        await s.page.screenshot({ path: join(shots, `station-${name}-${width}.png`) });
        assert.ok(await sideways(s.page) <= 0, `${name} scrolls sideways at ${width} px`);
        await assertAxe(s.page, `${name} at ${width} px`);
      };
      await look('who');
      await s.tap(s.button('Mo K.'));
      await look('list');
      await s.pick(3);
      await look('measure');
      await s.keys('5254616');
      await s.tap(s.page.locator('[data-key=next]'));
      await says(s.page.locator('.ask h3'), 'unusual');
      await look('unusual');
      await s.tap(s.button('Type it again'));
      await s.keys('63');
      await says(s.measure(), 'Elbow');
      await s.keys('4');
      await s.tap(s.button('short of straight'));
      await s.keys('6');
      await look('elbow');
      await s.tap(s.page.locator('[data-key=delete]'));
      for (const name of ['scapula', 'errors', 'stance', 'limb']) {
        await s.tap(s.page.locator('[data-reason=refused]'));
        await look(name);
      }
      await s.tap(s.button('All of this athlete'));
      await look('record');
      await s.tap(s.button('Back to the list'));
      await s.tap(s.button('Add somebody'));
      await look('walkon');
      await s.close();
      const c = await open(['check_in', 'checklist'], { options: { viewport: { width, height } } });
      await c.pick(3);
      await c.page.screenshot({ path: join(shots, `station-hand-${width}.png`) });
      await assertAxe(c.page, `hand at ${width} px`);
      await c.tap(c.button('Yes'));
      await c.tap(c.button('No'));
      await c.page.screenshot({ path: join(shots, `station-symptoms-${width}.png`) });
      await assertAxe(c.page, `symptoms at ${width} px`);
      await c.tap(c.button('None of these'));
      await says(c.page.locator('#main'), 'Watch the throw');
      await c.page.screenshot({ path: join(shots, `station-checklist-${width}.png`) });
      await assertAxe(c.page, `checklist at ${width} px`);
      await c.close();
    });
  }

  test('text of twice the size fits, and everything can be reached', async () => {
    const s = await open(['internal', 'elbow', 'errors']);
    await s.page.evaluate(() => { document.documentElement.style.fontSize = '200%'; });
    const fits = async (/** @type {string} */ where) => {
      await s.page.screenshot({ path: join(shots, `station-large-${where}.png`) });
      assert.ok(await sideways(s.page) <= 0, `${where} scrolls sideways`);
    };
    await fits('list');
    await s.pick(3);
    await fits('measure');
    await s.keys('52546163');
    await fits('elbow');
    await s.tap(s.page.locator('[data-reason=refused]'));
    await fits('errors');
    await s.close();
  });
});
