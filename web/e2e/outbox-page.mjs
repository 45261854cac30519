// What the tests of the outbox do in a page, and the browser that they share.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { startBrowser } from './program.mjs';
import { StationServer } from './station-server.mjs';

/** @typedef {import('playwright-core').Page} Page */
/** @typedef {import('playwright-core').BrowserContext} Context */
/** @typedef {{box: import('../static/station/types.d.ts').Outbox, ids: typeof import('../static/station/ids.js'), db: import('../static/station/db.js').Db, began: number, ended: number}} Here began, ended: requests with entries; the browser itself may repeat one whose connection was cut */

/** @type {import('playwright-core').Browser} */
let browser;
before(async () => { browser = await startBrowser(); });
after(() => browser?.close());

/**
 * Opens the outbox of a station in a page, as the station's page does.
 * @param {Page} page
 * @param {StationServer} server
 * @param {{code?: string, host?: string, visit?: boolean}} [options]
 */
export async function openBox(page, server, { code = 'ALPHA', host = 'gym.test', visit = true } = {}) {
  if (visit) await page.goto(`http://${host}:${server.port}/s/${code}`);
  await page.evaluate(async ({ code, sheet }) => {
    const here = /** @type {any} */ (globalThis);
    const url = (/** @type {string} */ name) => `/assets/${name}.js`;
    const { openOutbox } = await import(url('outbox'));
    here.ids = await import(url('ids'));
    here.db = new (await import(url('db'))).Db();
    here.began = here.ended = 0;
    here.box = await openOutbox({
      code, sheet,
      fetch: (/** @type {string} */ to, /** @type {RequestInit} */ init) => {
        if (init.method !== 'PUT') return fetch(to, init);
        here.began++;
        return fetch(to, init).finally(() => here.ended++);
      },
    });
  }, { code, sheet: server.sheet(code) });
}

/**
 * Keeps readings, all together, and gives their ids once the device says that they are kept.
 * @param {Page} page
 * @param {number} count
 * @param {{athlete?: string}} [more]
 * @returns {Promise<string[]>}
 */
export function keep(page, count, { athlete = 'a1' } = {}) {
  return page.evaluate(async ({ count, athlete }) => {
    const here = /** @type {Here} */ (/** @type {unknown} */ (globalThis));
    /** @type {import('../static/station/types.d.ts').Entry[]} */
    const entries = Array.from({ length: count }, () => ({
      id: here.ids.newId(), kind: 'reading', athlete, examiner: 'KL', taken: new Date().toISOString(), about: 'ir', side: 'left', trials: [41, 42],
    }));
    await here.box.keep(entries);
    return entries.map((e) => e.id);
  }, { count, athlete });
}

/** @param {Page} page */
export const state = (page) => page.evaluate(() => {
  const { box } = /** @type {Here} */ (/** @type {unknown} */ (globalThis));
  const { waiting, refused, online, late, sheet } = box.status;
  return { waiting, refused, online, late, seq: sheet.seq, kept: box.kept().map((k) => ({ id: k.entry.id, n: k.n, state: k.state, late: k.late, problem: k.problem, want: k.want })) };
});

/** Rows in the database itself. @param {Page} page */
export const rows = (page) => page.evaluate(() => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).db.all());

/**
 * Waits until a count of what the outbox says is reached.
 * @param {Page} page
 * @param {{waiting?: number, refused?: number, sent?: number}} want
 */
export const reaches = (page, want) => page.waitForFunction((want) => {
  const { box } = /** @type {Here} */ (/** @type {unknown} */ (globalThis));
  const is = { waiting: box.status.waiting, refused: box.status.refused.length, sent: box.kept().filter((k) => k.state === 'sent').length };
  return Object.entries(want).every(([k, v]) => is[/** @type {keyof typeof is} */ (k)] === v);
}, want);

/** @param {Page} page */
export const send = (page) => page.evaluate(() => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).box.send());

/**
 * Runs a test with a server and a browser profile of its own.
 * @param {string} name
 * @param {(given: {server: StationServer, context: Context, page: Page}) => Promise<void>} body
 */
export function trial(name, body) {
  test(name, { timeout: 60_000 }, async () => {
    const server = await new StationServer().start();
    const context = await browser.newContext();
    try {
      await body({ server, context, page: await context.newPage() });
      assert.deepEqual(server.clashes, [], 'an id never stands for two different entries');
    } finally {
      await context.close();
      await server.stop();
    }
  });
}

/** @param {StationServer} server @param {string[]} ids */
export function hasOnce(server, ids) {
  assert.deepEqual([...server.stored.keys()].sort(), [...ids].sort());
}

/**
 * Keeps pairs of a small and a large entry until the device takes no more.
 * @param {Page} page
 * @returns {Promise<{ids: string[], error: {name: string, message: string, full: boolean}}>}
 */
export function fill(page) {
  return page.evaluate(async () => {
    const here = /** @type {Here} */ (/** @type {unknown} */ (globalThis));
    const ids = [];
    // Letters without a pattern: the database packs what it can.
    const large = () => Array.from({ length: 30_000 }, () => Math.random().toString(36).slice(2, 10)).join('');
    for (;;) {
      const pair = ['', large()].map((note) => /** @type {import('../static/station/types.d.ts').Entry} */ (
        { id: here.ids.newId(), kind: 'symptom', athlete: 'a1', examiner: 'KL', taken: '', note }));
      try {
        await here.box.keep(pair);
      } catch (e) {
        const { name, message, full } = /** @type {any} */ (e);
        return { ids, error: { name, message, full } };
      }
      ids.push(...pair.map((e) => e.id));
      if (ids.length > 200) throw new Error('the device took everything');
    }
  });
}
