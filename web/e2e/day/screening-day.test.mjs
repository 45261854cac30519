// A whole screening day: sixty athletes, five helpers with phones at five stations, the network cut three
// times, a tab lost while it is, the server killed once. In the end every entry is on record, none twice,
// and the triage is that of the same data entered through the plain record. Nothing in it is real.
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { shots, startBrowser } from '../program.mjs';
import { stations } from './data.mjs';
import { on, people, reading, Server } from './rig.mjs';
import { Helper } from './station.mjs';

/** @typedef {import('./station.mjs').Entered} Entered */

const every = 10;

/** @type {import('playwright-core').Browser} */
let browser;
/** @type {Server} */
let server;
/** @type {Server} */
let plain;

before(async () => {
  browser = await startBrowser();
  server = await Server.start();
  plain = await Server.start();
}, { timeout: 120_000 });

after(async () => {
  await browser?.close();
  await server?.stop();
  await plain?.stop();
});

/** The order in which a station meets the athletes: each begins elsewhere. @param {number} k */
function order(k) {
  const from = k <= 1 ? 0 : 12 * (k - 1);
  return [...people.slice(from), ...people.slice(0, from)];
}

/** @param {Helper[]} helpers */
const done = (helpers) => helpers.reduce((n, h) => n + h.through + h.stopped.size, 0);

/** A helper's day, with what goes wrong at her or his station. @param {Helper} h @param {number} k @param {() => Promise<void>} between */
async function work(h, k, between) {
  await h.open();
  for (const [i, a] of order(k).entries()) {
    if (k === 1 && i === 15) await h.cut(true);
    if (k === 1 && i === 27) await h.cut(false);
    if (k === 2 && i === 20) await h.cut(true);
    if (k === 2 && i === 26) {
      await h.killTab();
      await h.open(); // the service worker has the page
    }
    if (k === 2 && i === 33) await h.cut(false);
    if (k === 4 && i === 30) await h.cut(true);
    if (k === 4 && i === 42) await h.cut(false);
    try {
      await h.take(a);
    } catch (error) {
      await h.page?.screenshot({ path: join(shots, `day-${k}.png`) });
      throw new Error(`${h.station.name}, athlete ${a.number}`, { cause: error });
    }
    await between();
  }
  if (k === 0) return;
  for (const a of people.filter((x) => x.number % every === 0 && !h.stopped.has(x.number))) await h.take(a, 2);
}

test('a screening day of sixty athletes', { timeout: 900_000 }, async () => {
  await server.enlist();
  await server.setUp(stations, every);
  const helpers = stations.map((station, k) => new Helper(browser, { origin: k === 2 ? server.here : server.plain, station, name: `Helper ${String.fromCharCode(65 + k)}` }));
  const began = performance.now();
  let killed = false;
  await Promise.all(helpers.map((h, k) => work(h, k, async () => {
    if (killed || done(helpers) < 120) return;
    killed = true;
    await server.killAndRestart();
  })));
  assert.ok(killed, 'the server was killed');
  for (const h of helpers) await h.allSent();
  const minutes = (performance.now() - began) / 60_000;
  const entered = helpers.flatMap((h) => h.entered);
  const values = entered.reduce((n, e) => n + (e.trials?.length ?? 0), 0);
  console.log(`      ${entered.length} entries with ${values} values at five stations in ${minutes.toFixed(1)} minutes`);
  assert.deepEqual(helpers.flatMap((h) => h.wrong), []);
  assert.ok(helpers.some((h) => h.stopped.has(17)), 'the athlete with a referral sign was stopped at a station');

  const day = await server.api('GET', '/days/day');
  await enterPlainly(day, entered);
  for (const p of day.athletes) {
    const mine = entered.filter((e) => e.athlete === p.athlete && e.kind === 'reading');
    assert.deepEqual(await server.readingsOf(p.screen, p.athlete), mine.map(reading).sort(), `readings of ${p.name}`);
    const record = await server.api('GET', `/screens/${p.screen}`);
    assert.equal(record.checklist?.length ?? 0, new Set(entered.filter((e) => e.athlete === p.athlete && e.kind === 'answer').map((e) => e.about)).size, `checklist of ${p.name}`);
    assert.equal(record.symptoms?.length ?? 0, entered.filter((e) => e.athlete === p.athlete && e.kind === 'symptom').length, `symptoms of ${p.name}`);
  }
  const [here, there] = await Promise.all([server, plain].map(async (to) => (await to.api('GET', '/teams/team/triage')).items.map((/** @type {any} */ r) => {
    const { screen, ...rest } = r;
    return { ...rest, had: Boolean(screen) };
  })));
  assert.equal(here.length, 60);
  assert.deepEqual(here, there);
  const board = await browser.newPage({ viewport: { width: 1440, height: 1000 } });
  await server.signIn(board);
  await board.goto(`${server.here}/days/day`);
  assert.ok((await board.textContent('main'))?.includes('numbness or tingling'), 'the board names the hold');
  await board.close();
});

/**
 * Enters the same data through the plain record of another server.
 * @param {any} day
 * @param {Entered[]} entered
 */
async function enterPlainly(day, entered) {
  await plain.enlist();
  for (const p of day.athletes) {
    const mine = entered.filter((e) => e.athlete === p.athlete);
    if (mine.length === 0) continue;
    const screen = `screen-${p.athlete}`;
    await plain.api('PUT', `/screens/${screen}`, { athlete: p.athlete, team: 'team', on, kind: 'preseason', threw_in_48h: false });
    const put = async (/** @type {string} */ path, /** @type {string} */ field, /** @type {unknown[]} */ list) => { if (list.length > 0) await plain.api('PUT', `/screens/${screen}/${path}`, { [field]: list }); };
    const of = (/** @type {string} */ kind) => mine.filter((e) => e.kind === kind);
    await put('readings', 'readings', of('reading').map((e, i) => ({ id: `${screen}-r${i}`, measure: e.about, side: e.side, trials: e.trials, examiner: e.examiner, ...(e.about === 'elbow_extension' ? { sign: 'as_written' } : {}) })));
    await put('checklist', 'checklist', of('answer').map((e, i) => ({ id: `${screen}-a${i}`, item: e.about, answer: e.answer, examiner: e.examiner })));
    await put('symptoms', 'symptoms', of('symptom').map((e, i) => ({ id: `${screen}-s${i}`, symptom: e.about, side: e.side })));
  }
}
