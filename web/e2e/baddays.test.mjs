// Days on which things go wrong, against the program itself: the network is cut, tabs and the server are
// killed, two tablets take one cell, a clock is wrong, a device is full, the day is closed too early.
// Whatever a station called saved is on record in the end, and once. (Broken rosters: roster.test.mjs.)
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { people, readingsBy, Server } from './day/rig.mjs';
import { Helper } from './day/station.mjs';
import { startBrowser } from './program.mjs';

const athletes = 50;
const one = (/** @type {string} */ measure) => [{ kind: 'measure', measure, trials: 1 }];
const stations = [
  { code: 'SHOULDER', name: 'Shoulder', steps: one('shoulder_internal_rotation') },
  { code: 'HIPSHIPS', name: 'Hip', steps: one('hip_internal_rotation') },
];

/** @type {import('playwright-core').Browser} */
let browser;
before(async () => { browser = await startBrowser(); }, { timeout: 60_000 });
after(() => browser?.close());

/**
 * A test with a server and a day of its own.
 * @param {string} name
 * @param {(server: Server, helper: (k: number, name: string, origin?: string) => Helper) => Promise<void>} fn
 */
function badDay(name, fn) {
  test(name, { timeout: 180_000 }, async () => {
    const server = await Server.start();
    /** @type {Helper[]} */
    const helpers = [];
    try {
      await server.enlist(athletes);
      await server.setUp(stations);
      await fn(server, (k, who, origin = server.plain) => {
        const station = stations[k];
        assert.ok(station);
        const h = new Helper(browser, { origin, station, name: who });
        helpers.push(h);
        return h;
      });
      assert.deepEqual(helpers.flatMap((h) => h.wrong), []);
    } finally {
      for (const h of helpers) await h.close();
      await server.stop();
    }
  });
}

/** Fills what is left of the origin's room, as another page of it would. Runs in the page. */
async function fillUp() {
  const opening = indexedDB.open('filler');
  opening.onupgradeneeded = () => opening.result.createObjectStore('junk', { autoIncrement: true });
  const db = await new Promise((resolve) => { opening.onsuccess = () => resolve(opening.result); });
  const put = (/** @type {number} */ size) => new Promise((resolve) => {
    const t = db.transaction('junk', 'readwrite');
    t.objectStore('junk').add(crypto.getRandomValues(new Uint8Array(size)));
    t.oncomplete = () => resolve(true);
    t.onabort = () => resolve(false);
  });
  for (const size of [60_000, 6_000, 600, 60]) for (let n = 0; n < 200 && await put(size); n++);
  db.close();
}

/** @param {Helper} h @param {number} from @param {number} to */
async function takeAll(h, from, to) {
  for (const a of people.slice(from, to)) await h.take(a);
}

/** @param {Server} server @param {Helper[]} helpers @param {number} n */
async function allThere(server, helpers, n) {
  for (const h of helpers) await h.allSent();
  const got = await server.readings();
  assert.equal(got.length, n);
  assert.deepEqual(got, readingsBy(helpers));
}

badDay('the network is cut during 200 entries at two stations, and comes back', async (server, helper) => {
  const two = [helper(0, 'Ann'), helper(1, 'Ben')];
  await Promise.all(two.map(async (h, k) => {
    await h.open();
    await takeAll(h, 0, 10 + 5 * k);
    await h.cut(true);
    await takeAll(h, 10 + 5 * k, 40);
    assert.match(String(await h.sent()), /No network: \d+ kept on this device|\d+ not yet sent/);
    await h.cut(false);
    await takeAll(h, 40, athletes);
  }));
  await allThere(server, two, 200);
});

badDay('the tab is killed while there is no network, and opened again', async (server, helper) => {
  const h = helper(0, 'Ann', server.here); // here the page itself opens without network
  await h.open();
  await takeAll(h, 0, 3);
  await h.cut(true);
  await takeAll(h, 3, 9);
  await h.killTab();
  await h.open();
  assert.match(String(await h.p.locator('.count').textContent()), /9 of 50 through/);
  await takeAll(h, 9, 12);
  await h.cut(false);
  await allThere(server, [h], 24);
});

badDay('the server is killed while entries are sent, and started again', async (server, helper) => {
  const two = [helper(0, 'Ann'), helper(1, 'Ben')];
  for (const h of two) {
    await h.open();
    await h.cut(true);
  }
  await Promise.all(two.map((h) => takeAll(h, 0, 20)));
  // Each request reaches the server, and its answer is lost with the server that gave it.
  let reached = 0;
  /** @type {Promise<void> | undefined} */
  let killing;
  for (const h of two) {
    await h.context?.route('**/entries', async (route) => {
      if (reached++ >= 2) return route.continue();
      await route.fetch({ url: route.request().url().replace('gym.test', '127.0.0.1') }).catch(() => {}); // the other one's kill may be quicker
      await (killing ??= server.killAndRestart());
      return route.abort('connectionreset');
    });
  }
  for (const h of two) await h.cut(false);
  await allThere(server, two, 80);
  assert.ok(reached > 2, 'they were sent again');
});

badDay('two tablets take one cell: both are kept, and the board says so', async (server, helper) => {
  const [ann, ben] = [helper(0, 'Ann'), helper(0, 'Ben')];
  for (const h of [ann, ben]) {
    await h.open();
    await h.cut(true);
  }
  await takeAll(ann, 0, 2);
  await takeAll(ben, 1, 3);
  for (const h of [ann, ben]) await h.cut(false);
  await allThere(server, [ann, ben], 8);
  const board = await browser.newPage();
  await server.signIn(board);
  await board.goto(`${server.here}/days/day`);
  const text = (await board.textContent('main')) ?? '';
  const twice = people[1];
  assert.ok(twice && text.includes(twice.name) && /two helpers/i.test(text) && text.includes('Ann') && text.includes('Ben'), text.slice(0, 2000));
  await board.close();
});

badDay('a phone whose clock is a day off', async (server, helper) => {
  const [wrong, right] = [helper(0, 'Ann'), helper(1, 'Ben')];
  wrong.context = await browser.newContext({ viewport: { width: 390, height: 740 } });
  await wrong.context.clock.install({ time: new Date(Date.now() - 26 * 60 * 60 * 1000) });
  await wrong.open();
  await right.open();
  await takeAll(wrong, 0, 1);
  await wrong.allSent();
  await takeAll(right, 0, 1);
  await allThere(server, [wrong, right], 4);
  const { screen } = (await server.api('GET', '/days/day')).athletes[0];
  const { items } = await server.api('GET', `/screens/${screen}/readings`);
  const off = (/** @type {any} */ r) => Math.abs(Date.parse(r.taken) - Date.parse(r.entered)) / 3_600_000;
  assert.deepEqual(items.map((/** @type {any} */ r) => [r.examiner, Math.round(off(r))]), [['Ann', 26], ['Ann', 26], ['Ben', 0], ['Ben', 0]],
    'the order is the server\'s, and what the device said is kept');
});

badDay('the device is full: said, not shown as saved, and nothing before it is lost', async (server, helper) => {
  const h = helper(0, 'Ann', server.here);
  h.context = await browser.newContext({ viewport: { width: 390, height: 740 } });
  const beside = await h.context.newPage();
  await server.signIn(beside);
  await beside.goto(`${server.here}/protocol`);
  const devtools = await h.context.newCDPSession(beside);
  await devtools.send('Storage.overrideQuotaForOrigin', { origin: server.here, quotaSize: 6_000_000 });
  await h.open();
  await takeAll(h, 0, 2);
  await beside.evaluate(fillUp);
  const third = people[2];
  assert.ok(third);
  const entered = h.entered.length;
  const taking = h.take(third);
  await h.p.locator('.trouble', { hasText: 'Not saved' }).waitFor();
  assert.match(String(await h.p.locator('.trouble').textContent()), /Write this on the paper sheet/);
  assert.doesNotMatch(String(await h.p.locator('#said').textContent()), new RegExp(`Saved: .*${third.name}`));
  assert.equal((await server.readings()).length, 4);
  await devtools.send('Storage.overrideQuotaForOrigin', { origin: server.here });
  await h.p.getByRole('button', { name: 'Try again' }).click();
  await taking;
  assert.equal(h.entered.length, entered + 2);
  await allThere(server, [h], 6);
});

badDay('the day is closed while a tablet still holds entries: they are taken and marked late', async (server, helper) => {
  const h = helper(0, 'Ann');
  await h.open();
  await takeAll(h, 0, 1);
  await h.allSent();
  await h.cut(true);
  await takeAll(h, 1, 4);
  await server.api('POST', '/days/day/closing', { closed: true });
  await h.cut(false);
  await allThere(server, [h], 8);
  await h.p.locator('#bar', { hasText: 'The day is closed. What you still have is sent and marked late.' }).waitFor();
  const board = await browser.newPage();
  await server.signIn(board);
  await board.goto(`${server.here}/days/day`);
  const text = (await board.textContent('main')) ?? '';
  assert.ok(/after (the day was )?clos/i.test(text) || /late/i.test(text), text.slice(0, 2000));
  for (const a of people.slice(1, 4)) assert.ok(text.includes(a.name));
  await board.close();
});
