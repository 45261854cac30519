// What people type is text in a browser, too: markup, script and links in names, notes and reasons open no
// dialog, ask nobody elsewhere and break no policy, on pages, in charts under the pointer, at a station,
// and on a board that keeps itself up to date.
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { openPage } from './look.mjs';
import { shots, startBrowser, startProgram } from './program.mjs';

/** @typedef {import('playwright-core').Page} Page */

/** Each sets a mark on the window, or asks another host, if it is taken for more than text. */
const texts = [
  '<img src=x onerror="globalThis.taken=1">',
  '"><script>globalThis.taken=2</script>',
  '</script><svg onload="globalThis.taken=3">',
  '<img src="http://elsewhere.test/a.png">',
  'javascript:globalThis.taken=4',
  '{a|b}{@c}<b id=taken>{{7*7}}</b>',
];
const today = new Date().toISOString().slice(0, 10);
const team = 'hostile';

/** @type {Awaited<ReturnType<typeof startProgram>>} */
let program;
/** @type {import('playwright-core').Browser} */
let browser;

before(async () => {
  [program, browser] = await Promise.all([startProgram(), startBrowser()]);
  await enter();
}, { timeout: 120_000 });

after(async () => {
  await browser?.close();
  await program?.stop();
});

/**
 * Sends what a program of somebody else would send.
 * @param {'PUT' | 'POST'} method @param {string} path @param {unknown} body
 */
async function send(method, path, body) {
  const answer = await fetch(`${program.url}/api/v1${path}`, { method, headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) });
  const said = await answer.text();
  assert.ok(answer.ok && !said.includes('"refused"'), `${method} ${path}: ${answer.status} ${said}`);
}

/** A hostile text. @param {number} n */
function text(n) { return String(texts[n % texts.length]); }

/** A team of which every word is hostile: six athletes, each with two visits, and a screening day. */
async function enter() {
  await send('PUT', `/teams/${team}`, { name: text(0), sport: 'baseball' });
  await send('PUT', `/teams/${team}/seasons/hs`, { name: text(1), from: '2026-01-01', to: '2026-12-31' });
  for (let i = 0; i < texts.length; i++) {
    await send('PUT', `/athletes/ha${i}?team=${team}`, { name: text(i), born: '2005-04-02', sex: 'male', hands: [{ hand: 'right' }], sport: 'baseball', positions: [text(i + 1).slice(0, 40)], level: 'college', external_id: `h${i}` });
    for (const purpose of ['screening', 'coach']) await send('POST', `/athletes/ha${i}/consents`, { id: `hc${i}-${purpose}`, purpose, on: '2026-01-02', given_by: 'athlete', giver: text(i + 2) });
    await visit(i, 0, '2026-01-10');
    await visit(i, 1, '2026-01-20');
    await send('POST', `/readings/hx${i}-1-hip_internal_rotation-left/correction`, { id: `hr${i}`, trials: [44, 45], why: text(i + 4), examiner: text(i) });
    await send('POST', `/athletes/ha${i}/events`, { id: `he${i}-1`, on: '2026-01-12', kind: 'clearance', note: text(i), limits: text(i + 3) });
    await send('POST', `/athletes/ha${i}/events`, { id: `he${i}-2`, on: '2026-01-11', kind: 'training', link: 'shoulder', side: 'right', note: text(i + 1) });
  }
  await send('PUT', '/days/hd', { team, on: today, kind: 'preseason', side_order: 'throwing_first', every: 2, stations: [
    { code: 'HOSTILEA', name: text(1), steps: [{ kind: 'check_in' }] },
    { code: 'HOSTILEB', name: text(2), steps: [{ kind: 'measure', measure: 'shoulder_internal_rotation' }] }] });
  await send('PUT', '/stations/HOSTILEA/entries', { device: 'tablet', entries: [
    { id: 'hv1', kind: 'symptom', athlete: 'ha1', examiner: text(3), about: 'numbness_or_tingling', side: 'right', note: text(0) }] });
}

/** A visit of an athlete. @param {number} i @param {number} v @param {string} on */
async function visit(i, v, on) {
  const s = `hx${i}-${v}`;
  await send('PUT', `/screens/${s}`, { athlete: `ha${i}`, team, on, kind: v === 0 ? 'preseason' : 'in_season', examiner: text(i + v), note: text(i + 3) });
  const values = { shoulder_internal_rotation: [30 + i + v, 60], shoulder_external_rotation: [90, 92], elbow_extension: [-12 + v, -4], hip_internal_rotation: [30, 41 + i] };
  const readings = Object.entries(values).flatMap(([measure, pair]) => ['right', 'left'].map((side, k) => ({
    id: `${s}-${measure}-${side}`, measure, side, trials: [Number(pair[k]), Number(pair[k]) + 1], sign: measure === 'elbow_extension' ? 'as_written' : undefined,
    examiner: text(i + k), instrument: text(i + 4), position: text(i + 5), device: text(i + 1),
  })));
  await send('PUT', `/screens/${s}/readings`, { readings });
  await send('PUT', `/screens/${s}/checklist`, { checklist: [{ id: `${s}-k`, item: 'leads_with_hips', answer: 'not_met', examiner: text(i + 2) }] });
}

/** A page that remembers whatever was more than text. */
async function open() {
  const opened = await openPage(browser, program.url);
  /** @type {string[]} */
  const taken = [];
  opened.page.on('dialog', (dialog) => { taken.push(`dialog: ${dialog.message()}`); void dialog.dismiss(); });
  opened.context.on('request', (request) => {
    const url = new URL(request.url());
    if (url.protocol !== 'data:' && url.hostname !== '127.0.0.1' || url.pathname.endsWith('/x')) taken.push(`request: ${request.url()}`);
  });
  return { ...opened, taken };
}

/** @param {Awaited<ReturnType<typeof open>>} o @param {string} where */
async function assertText(o, where) {
  const found = await o.page.evaluate(() => ({
    mark: String(Reflect.get(globalThis, 'taken')),
    elements: [...document.querySelectorAll('img[src="x"], img[src^="http"], #taken, [onerror], [onload], a[href^="javascript:" i]')].map((e) => e.outerHTML),
  }));
  assert.deepEqual(found.elements, [], where);
  assert.equal(found.mark, 'undefined', where);
  assert.deepEqual(o.taken, [], where);
  assert.deepEqual(o.wrong, [], where); // a policy that was broken among them
}

/** Draws every chart and moves the pointer over all of it. @param {Page} page */
async function hover(page) {
  let n = 0;
  for (const figure of await page.locator('figure[data-chart]:visible').all()) {
    const place = figure.locator('.drawing');
    await figure.scrollIntoViewIfNeeded();
    await place.locator('svg path').first().waitFor({ state: 'attached', timeout: 10_000 });
    await place.scrollIntoViewIfNeeded();
    const box = await place.boundingBox();
    assert.ok(box);
    for (let y = 8; y < box.height; y += 32) {
      for (let x = 8; x < box.width; x += 64) await page.mouse.move(box.x + x, box.y + y);
    }
    n++;
  }
  return n;
}

const paths = ['/', `/teams/${team}`, `/teams/${team}/distribution?measure=shoulder_internal_rotation&athlete=ha0`, `/teams/${team}/coach`, `/teams/${team}/follow-up`,
  `/teams/${team}/edit`, `/teams/${team}/days`, `/teams/${team}/consents`, '/athletes/ha0', '/athletes/ha0/course', '/athletes/ha0/print', '/athletes/ha0/edit',
  '/athletes/ha0/visit?visit=looked&all=1', '/athletes/ha0/consents', '/screens/hx0-1', '/screens/hx0-1/readings/hr0/correct', '/days/hd', '/days/hd/join',
  '/days/hd/edit', '/days/hd/sheets/stations', '/days/hd/sheets/athletes', '/days/hd/handouts', '/stations'];

test('pages and charts show text', { timeout: 240_000 }, async () => {
  const o = await open();
  let charts = 0;
  for (const path of paths) {
    const answer = await o.page.goto(path);
    assert.equal(answer?.status(), 200, path);
    await o.page.evaluate(() => document.querySelectorAll('details').forEach((d) => { d.open = true; }));
    charts += await hover(o.page);
    await assertText(o, path);
    const words = await o.page.evaluate(() => [document.body.textContent, document.title,
      ...[...document.querySelectorAll('input, textarea')].map((e) => /** @type {HTMLInputElement} */ (e).value)].join('\n'));
    assert.ok(texts.some((t) => words.includes(t)), `${path} shows nothing hostile`);
  }
  assert.ok(charts >= 4, `only ${charts} charts were drawn`);
  await o.page.goto(`/teams/${team}`);
  await o.page.screenshot({ path: join(shots, 'hostile-triage-1440.png'), fullPage: true });
  await o.close();
});

test('a tooltip shows a name as it was typed', async () => {
  const o = await open();
  await o.page.goto(`/teams/${team}`);
  const place = o.page.locator('figure[data-chart*="heat"] .drawing');
  await place.scrollIntoViewIfNeeded();
  await place.locator('svg path').first().waitFor({ state: 'attached' });
  const box = await place.boundingBox();
  assert.ok(box);
  /** The texts of the drawing, the tooltip's among them. */
  const drawn = () => place.evaluate((e) => [...e.querySelectorAll('svg text')].map((t) => t.textContent ?? ''));
  const before = new Set(await drawn());
  let tip = '';
  for (let y = box.height / 4; y < box.height && tip === ''; y += 12) {
    for (let x = box.width / 3; x < box.width && tip === ''; x += 30) {
      await o.page.mouse.move(box.x + x, box.y + y);
      tip = (await drawn()).find((t) => !before.has(t) && texts.slice(0, 5).some((h) => t.includes(h))) ?? '';
    }
  }
  assert.ok(tip !== '', 'no tooltip with a name was met');
  assert.equal(await place.locator('foreignObject, img, script').count(), 0);
  await assertText(o, 'tooltip');
  await o.close();
});

test('a station and a board that follows it show text', { timeout: 120_000 }, async () => {
  const [station, board] = [await open(), await open()];
  await board.page.goto('/days/hd');
  await station.page.goto('/s/HOSTILEB');
  await station.page.waitForFunction((t) => document.body.innerText.includes(t), text(0));
  await assertText(station, 'station');
  const was = await board.page.locator('#live').textContent();
  await send('PUT', '/stations/HOSTILEA/entries', { device: 'tablet', entries: [
    { id: 'hv2', kind: 'walk_on', athlete: 'hw', examiner: texts[0], person: { name: texts[3], born: '2005-07-01', sex: 'male', hand: 'right', level: 'college' } },
    { id: 'hv3', kind: 'symptom', athlete: 'ha2', examiner: texts[1], about: 'numbness_or_tingling', side: 'right', note: texts[2] }] });
  await board.page.waitForFunction((before) => document.getElementById('live')?.textContent !== before, was);
  await assertText(board, 'board');
  await assertText(station, 'station, told of a change');
  await Promise.all([station.close(), board.close()]);
});
