// What a station has called saved must arrive once, whatever happens. A real browser runs the station's
// modules against a server that can be put out of order, over plain http under a name (an insecure context,
// as a phone sees it) and as 127.0.0.1. Every expectation follows from one rule: what keep() resolved for is
// in the server's store exactly once in the end, or on the device and said to be.
import assert from 'node:assert/strict';
import { mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, test } from 'node:test';
import { chromium } from 'playwright-core';
import { fill, hasOnce, keep, openBox, reaches, rows, send, state, trial } from './outbox-page.mjs';
import { StationServer } from './station-server.mjs';

/** @typedef {import('playwright-core').BrowserContext} Context */
/** @typedef {import('./outbox-page.mjs').Here} Here */

const hosts = { 'plain http': 'gym.test', 'this machine': '127.0.0.1' };

for (const [name, host] of Object.entries(hosts)) {
  describe(`over ${name}`, () => {
    trial('an entry is in the database when it is called saved, and goes out at once', async ({ server, page }) => {
      await openBox(page, server, { host });
      assert.equal(await page.evaluate(() => isSecureContext), host === '127.0.0.1');
      server.next = ['hang'];
      const ids = await keep(page, 1);
      assert.deepEqual((await rows(page)).map((r) => [r.id, r.state, r.day, r.code]), [[ids[0], 'waiting', 'day-1', 'ALPHA']]);
      assert.equal((await state(page)).waiting, 1);
      await server.until(() => server.batches.length === 1, 'one request');
      for (const response of server.hanging) response.destroy();
      await reaches(page, { waiting: 0, sent: 1 });
      hasOnce(server, ids);
      const { kept, online } = await state(page);
      assert.deepEqual([kept[0]?.state, online], ['sent', true]);
      assert.equal((await rows(page))[0]?.state, 'sent');
    });

    trial('the server stores and then the connection is cut: sent again, one copy', async ({ server, page }) => {
      await openBox(page, server, { host });
      server.next = ['cut after', 'cut', 'cut after'];
      const ids = await keep(page, 3);
      await reaches(page, { waiting: 0, sent: 3 });
      hasOnce(server, ids);
      assert.ok(server.batches.length >= 4);
    });

    trial('two tabs of one device: all arrives once, and both see it', async ({ server, context, page }) => {
      const other = await context.newPage();
      await openBox(page, server, { host });
      await openBox(other, server, { host });
      server.always = 'cut';
      const ids = (await Promise.all([keep(page, 30), keep(other, 30), keep(page, 1), keep(other, 1)])).flat();
      await reaches(page, { waiting: 62 });
      await reaches(other, { waiting: 62 });
      server.always = null;
      await Promise.all([send(page), send(other)]);
      await reaches(page, { waiting: 0, sent: 62 });
      await reaches(other, { waiting: 0, sent: 62 });
      hasOnce(server, ids);
      assert.equal(new Set(server.batches.map((x) => x.device)).size, 1, 'both tabs are one device');
      const [one, two] = await Promise.all([state(page), state(other)]);
      assert.deepEqual(one.kept, two.kept);
    });

    trial('a full device: nothing of it is kept, the reason is said, and what was kept before is sent', async ({ server, context, page }) => {
      await page.goto(`http://${host}:${server.port}/s/ALPHA`);
      const cdp = await context.newCDPSession(page);
      const origin = `http://${host}:${server.port}`;
      await cdp.send('Storage.overrideQuotaForOrigin', { origin, quotaSize: 4_000_000 });
      await openBox(page, server, { host });
      server.always = 'cut';
      const { ids, error } = await fill(page);
      assert.deepEqual([error.name, error.full], ['KeepError', true]);
      assert.match(error.message, /no room left/);
      assert.ok(ids.length > 0 && ids.length < 100, `${ids.length} were kept`);
      assert.deepEqual((await rows(page)).map((r) => r.id), ids, 'the small entry beside the large one is not kept either');
      assert.deepEqual((await state(page)).kept.map((k) => k.id), ids);
      server.always = null;
      await send(page);
      await reaches(page, { waiting: 0, sent: ids.length });
      hasOnce(server, ids);
      await cdp.send('Storage.overrideQuotaForOrigin', { origin });
      const more = await keep(page, 1);
      await reaches(page, { waiting: 0, sent: ids.length + 1 });
      hasOnce(server, [...ids, ...more]);
      assert.ok((await rows(page)).every((r) => r.state === 'sent'), 'with room again, all is written down');
    });

    test('a browser that is killed right after "saved" has it when it is opened again', { timeout: 90_000 }, async () => {
      const server = await new StationServer().start();
      const folder = mkdtempSync(join(tmpdir(), 'evenhand-outbox-'));
      try {
        let ids = /** @type {string[]} */ ([]);
        for (const how of ['killed', 'closed']) {
          server.always = how === 'killed' ? 'cut after' : 'cut'; // the first lot arrives, and the device cannot know
          const context = await launch(folder);
          const page = context.pages()[0] ?? (await context.newPage());
          await openBox(page, server, { host });
          assert.deepEqual((await state(page)).kept.map((k) => k.id), ids);
          ids = ids.concat(await keep(page, 5));
          if (how === 'killed') await kill(context, folder);
          else await context.close();
        }
        server.always = null;
        const context = await launch(folder);
        const page = context.pages()[0] ?? (await context.newPage());
        await openBox(page, server, { host, code: 'BRAVO' });
        await reaches(page, { waiting: 0, sent: 10 });
        hasOnce(server, ids);
        assert.deepEqual([...server.stored.values()].map((s) => s.code), Array(10).fill('ALPHA'), 'each goes to the station that it was entered at');
        assert.equal(new Set(server.batches.map((b) => b.device)).size, 1);
        await context.close();
      } finally {
        rmSync(folder, { recursive: true, force: true });
        await server.stop();
      }
    });
  });
}

/** @param {string} folder */
function launch(folder) {
  return chromium.launchPersistentContext(folder, {
    executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
    args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync',
      '--host-resolver-rules=MAP gym.test 127.0.0.1 , MAP * ~NOTFOUND , EXCLUDE 127.0.0.1'],
  });
}

/**
 * Kills the browser that has this folder, without a chance to finish anything.
 * @param {Context} context
 * @param {string} folder
 */
async function kill(context, folder) {
  const ended = new Promise((resolve) => context.once('close', resolve));
  let killed = 0;
  for (const pid of readdirSync('/proc').filter((p) => /^\d+$/.test(p))) {
    try {
      if (!readFileSync(`/proc/${pid}/cmdline`, 'utf8').includes(`--user-data-dir=${folder}`)) continue;
      process.kill(Number(pid), 'SIGKILL');
      killed++;
    } catch {
      // it has ended meanwhile
    }
  }
  assert.ok(killed > 0);
  await ended;
}

describe('storage', () => {
  trial('the same entries twice are kept once; another entry with the same id is refused', async ({ server, page }) => {
    await openBox(page, server);
    server.always = 'cut';
    const said = await page.evaluate(async () => {
      const { box, ids } = /** @type {Here} */ (/** @type {unknown} */ (globalThis));
      /** @type {import('../static/station/types.d.ts').Entry} */
      const entry = { id: ids.newId(), kind: 'reading', athlete: 'a1', examiner: 'KL', taken: '', about: 'ir', side: 'left', trials: [41] };
      await Promise.all([box.keep([entry]), box.keep([entry])]);
      try {
        await box.keep([{ ...entry, id: ids.newId() }, { ...entry, trials: [42] }]);
      } catch (e) {
        return /** @type {Error} */ (e).name;
      }
      return 'kept';
    });
    assert.equal(said, 'KeepError');
    assert.equal((await rows(page)).length, 1);
    assert.equal((await state(page)).kept.length, 1);
  });

  trial('a database that was closed is opened again', async ({ server, context, page }) => {
    await openBox(page, server);
    await keep(page, 1);
    await reaches(page, { waiting: 0, sent: 1 });
    const other = await context.newPage();
    await other.goto(`http://gym.test:${server.port}/s/BRAVO`);
    await other.evaluate(() => new Promise((resolve, reject) => {
      const request = indexedDB.deleteDatabase('evenhand');
      request.onsuccess = resolve;
      request.onerror = reject;
    }));
    const ids = await keep(page, 1);
    assert.deepEqual((await rows(page)).map((r) => r.id), ids);
  });

  trial('a browser without a database says so', async ({ server, page }) => {
    await page.addInitScript(() => Object.defineProperty(globalThis, 'indexedDB', { value: undefined }));
    await assert.rejects(openBox(page, server), /keeps nothing on the device/);
  });
});

describe('without network', () => {
  trial('the page opens again after its first visit, and what it no longer needs is dropped', async ({ server, context, page }) => {
    const url = `http://127.0.0.1:${server.port}/s/ALPHA`;
    await page.goto(url);
    const told = (/** @type {string} */ day) => page.evaluate(async (day) => {
      const { keepOffline } = await import(/** @type {any} */ ('/assets/offline.js'));
      return keepOffline(day);
    }, day);
    const cached = (/** @type {string} */ path, /** @type {boolean} */ want) => page.waitForFunction(async ([path, want]) => Boolean(await caches.match(String(path))) === want, /** @type {const} */ ([path, want]));
    assert.equal(await told('day-1'), true);
    await cached('/s/ALPHA', true);
    await cached('/assets/ids.0123456789ab.js', true);
    await context.setOffline(true);
    await page.reload();
    assert.equal(await page.locator('p').textContent(), 'seq 1');
    assert.match(await page.evaluate(async () => (await import(/** @type {any} */ ('/assets/ids.0123456789ab.js'))).newId()), /^[0-9a-f-]{36}$/);
    await context.setOffline(false);
    server.seq = 7;
    await page.reload();
    assert.equal(await page.locator('p').textContent(), 'seq 7', 'with network the page is the server\'s');
    await page.goto(`http://127.0.0.1:${server.port}/s/NEXT`);
    await told('day-2');
    await cached('/s/NEXT', true);
    await cached('/s/ALPHA', false);
    assert.equal(await page.evaluate(async () => (await fetch('/api/v1/stations/NEXT')).status), 200);
    const kept = await page.evaluate(async () => (await Promise.all((await caches.keys()).map(async (n) => (await (await caches.open(n)).keys()).map((r) => new URL(r.url).pathname)))).flat());
    assert.ok(kept.every((p) => p.startsWith('/s/') || p.startsWith('/assets/')), String(kept));
  });
});
