// The same rule as in outbox.test.mjs, over a day at a station: whatever the server answers and whatever the
// network and the clock do, what keep() resolved for arrives once or is on the device and said to be.
import assert from 'node:assert/strict';
import { describe } from 'node:test';
import { cutOff } from './program.mjs';
import { hasOnce, keep, openBox, reaches, rows, send, state, trial } from './outbox-page.mjs';

/** @typedef {import('./outbox-page.mjs').Here} Here */

describe('answers of the server', () => {
  trial('one entry is refused: it is kept with the reason until it is dismissed', async ({ server, page }) => {
    await openBox(page, server);
    server.always = 'cut';
    const ids = await keep(page, 3);
    server.refused.add(ids[1] ?? '');
    server.always = null;
    await send(page);
    await reaches(page, { waiting: 0, refused: 1, sent: 2 });
    const { refused } = await state(page);
    assert.deepEqual([refused[0]?.entry.id, refused[0]?.problem, refused[0]?.want], [ids[1], 'it cannot be', 'something else']);
    await openBox(page, server);
    assert.equal((await state(page)).refused.length, 1, 'also after the page was loaded again');
    await page.evaluate((id) => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).box.dismiss(id), ids[1] ?? '');
    assert.equal((await state(page)).refused.length, 0);
    assert.equal((await rows(page)).length, 2);
  });

  trial('a batch is refused as a whole: the one at fault is found, the others are sent', async ({ server, page }) => {
    await openBox(page, server);
    server.always = 'cut';
    const ids = await keep(page, 300);
    server.faulty = new Set([ids[0] ?? '', ids[123] ?? '', ids[299] ?? '']);
    server.always = null;
    await send(page);
    await reaches(page, { waiting: 0, refused: 3, sent: 297 });
    const { refused } = await state(page);
    assert.deepEqual(refused.map((r) => r.entry.id), [...server.faulty]);
    assert.deepEqual([refused[0]?.problem, refused[0]?.want], ['the batch cannot be read', 'another form']);
    assert.ok(server.batches.length < 100, `${server.batches.length} requests`);
  });

  trial('the server breaks on one entry: those of other athletes go on, and it waits', async ({ server, page }) => {
    await page.clock.install();
    await openBox(page, server);
    server.always = 'cut';
    const bad = await keep(page, 1, { athlete: 'a1' });
    const after = await keep(page, 1, { athlete: 'a1' });
    const good = await keep(page, 20, { athlete: 'a2' });
    server.breaking.add(bad[0] ?? '');
    server.always = null;
    for (let i = 0; i < 40 && server.stored.size < 20; i++) {
      const before = server.batches.length;
      await page.clock.fastForward(20_000);
      await server.until(() => server.batches.length > before, 'another request');
    }
    await reaches(page, { waiting: 2, sent: 20, refused: 0 });
    hasOnce(server, good);
    server.breaking.clear();
    await send(page);
    await server.until(() => server.stored.size === 22, 'all arrive');
    hasOnce(server, [...bad, ...after, ...good]);
    assert.deepEqual([...server.stored.keys()].filter((id) => !good.includes(id)), [...bad, ...after], 'in their order');
  });

  trial('the station is gone: nothing is deleted, and all is sent once it is back', async ({ server, page }) => {
    await openBox(page, server);
    server.gone.add('ALPHA');
    const ids = await keep(page, 5);
    await reaches(page, { waiting: 0, refused: 5 });
    assert.equal((await state(page)).refused[0]?.problem, 'there is no such station');
    server.gone.clear();
    await send(page);
    await reaches(page, { waiting: 0, refused: 0, sent: 5 });
    hasOnce(server, ids);
  });

  for (const trouble of /** @type {const} */ (['portal', 'portal 403', 'half', 503, 429])) {
    trial(`an answer that is not the server's word (${trouble}): it is tried again`, async ({ server, page }) => {
      await openBox(page, server);
      server.next = [trouble];
      const ids = await keep(page, 2);
      await reaches(page, { waiting: 0, refused: 0, sent: 2 });
      hasOnce(server, ids);
    });
  }

  trial('no answer at all: after 15 seconds it is tried again', async ({ server, page }) => {
    await page.clock.install();
    await openBox(page, server);
    server.next = ['hang'];
    const ids = await keep(page, 1);
    await server.until(() => server.hanging.size === 1, 'the request hangs');
    await page.clock.fastForward(14_000);
    assert.equal(server.batches.length, 1);
    await page.clock.fastForward(1_100);
    await server.until(() => server.hanging.size === 0, 'the device gives up');
    await page.clock.fastForward(1_300);
    await server.until(() => server.stored.size === 1, 'sent again');
    hasOnce(server, ids);
  });

  trial('pauses between attempts grow to 15 seconds, and a returning network ends them', async ({ server, page, context }) => {
    await page.addInitScript(() => Reflect.deleteProperty(globalThis, 'EventSource')); // a stream that opens ends a pause too
    await page.clock.install({ time: '2026-02-10T10:00:00Z' });
    await openBox(page, server);
    await page.clock.pauseAt('2026-02-10T11:00:00Z');
    server.always = 'cut';
    const ids = await keep(page, 1);
    let attempts = 0;
    const ended = (/** @type {number} */ n) => page.waitForFunction((n) => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).ended === n, n);
    for (const [least, most] of [[0.8, 1.2], [1.6, 2.4], [3.2, 4.8], [6.4, 9.6], [12, 18], [12, 18]]) {
      await ended(++attempts);
      await page.clock.runFor((least ?? 0) * 1000 - 10);
      assert.equal(await page.evaluate(() => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).began), attempts, `no attempt before ${least} s`);
      await page.clock.runFor(((most ?? 0) - (least ?? 0)) * 1000 + 20);
    }
    await ended(++attempts);
    server.always = null;
    await context.setOffline(true);
    await context.setOffline(false);
    await server.until(() => server.stored.size === 1, 'sent with the network, the clock standing');
    hasOnce(server, ids);
  });
});

describe('a day at a station', () => {
  trial('the network is off: entries are kept, and sent when it is back', async ({ server, context, page }) => {
    await openBox(page, server);
    await cutOff(page);
    const ids = await keep(page, 3);
    await page.waitForFunction(() => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).box.status.online === false);
    assert.equal((await state(page)).waiting, 3);
    await context.setOffline(false);
    await reaches(page, { waiting: 0, sent: 3 });
    hasOnce(server, ids);
    assert.deepEqual([...server.stored.keys()], ids, 'in the order in which they were made');
  });

  trial('questions of the server reach all tabs of the day', async ({ server, context, page }) => {
    const other = await context.newPage();
    for (const p of [page, other]) {
      await openBox(p, server);
      await p.evaluate(() => {
        const here = /** @type {any} */ (globalThis);
        here.asked = [];
        here.box.on('questions', (/** @type {any[]} */ list) => here.asked.push(...list.map((q) => q.text)));
      });
    }
    server.questions = [{ athlete: 'a1', name: 'Ana Ruiz', number: 1, station: 'ALPHA', kind: 'unusual', measure: 'ir', side: 'left', screen: 's1', text: 'Is it right?' }];
    await keep(page, 1);
    for (const p of [page, other]) await p.waitForFunction(() => /** @type {any} */ (globalThis).asked.includes('Is it right?')); // on plain http both tabs may send, and both are told
  });

  for (const [words, hours] of /** @type {const} */ ([['a day late', -24], ['a day early', 24]])) {
    trial(`a clock that is ${words} changes nothing but the times`, async ({ server, page }) => {
      const wrong = Date.now() + hours * 3_600_000;
      await page.clock.install({ time: wrong });
      await openBox(page, server);
      const ids = [...(await keep(page, 1)), ...(await keep(page, 2))];
      await server.until(() => server.stored.size === 3, 'all sent');
      hasOnce(server, ids);
      const sent = Date.parse(server.batches[0]?.sent ?? '');
      assert.ok(Math.abs(sent - wrong) < 60_000, 'the server is told what the device takes for the time');
    });
  }

  trial('two thousand entries', async ({ server, page }) => {
    await openBox(page, server);
    const times = [];
    for (let i = 0; i < 50; i++) {
      times.push(await page.evaluate(async () => {
        const here = /** @type {Here} */ (/** @type {unknown} */ (globalThis));
        const began = performance.now();
        await here.box.keep([{ id: here.ids.newId(), kind: 'reading', athlete: 'a1', examiner: 'KL', taken: '', about: 'ir', side: 'left', trials: [41] }]);
        return performance.now() - began;
      }));
    }
    await reaches(page, { waiting: 0, sent: 50 });
    server.always = 'cut';
    const began = performance.now();
    await keep(page, 1950);
    const kept = performance.now();
    await openBox(page, server);
    const opened = performance.now();
    assert.equal((await state(page)).waiting, 1950);
    server.always = null;
    const batches = server.batches.length;
    const from = performance.now();
    await send(page);
    await reaches(page, { waiting: 0, sent: 2000 });
    const sent = performance.now();
    assert.equal(server.stored.size, 2000);
    assert.ok(server.batches.slice(batches).every((b) => b.ids.length <= 200));
    const ids = [...server.stored.keys()];
    assert.deepEqual(ids, [...ids].sort(), 'in the order in which they were made');
    times.sort((a, b) => a - b);
    console.log(`one entry kept in ${times[25]?.toFixed(1)} ms (median; most ${times[49]?.toFixed(1)}); 1950 in ${(kept - began).toFixed(0)} ms; opened in ${(opened - kept).toFixed(0)} ms; sent in ${(sent - from).toFixed(0)} ms`);
  });

  trial('the sheet follows the server, at most every two seconds, and the newest is kept', async ({ server, page }) => {
    await page.clock.install();
    await openBox(page, server);
    await server.until(() => server.streams.size === 1, 'the stream is open');
    await page.clock.runFor(2_000);
    await page.clock.runFor(2_000);
    const given = server.sheetsGiven;
    for (let i = 0; i < 20; i++) server.change();
    await page.waitForFunction(() => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).box.status.sheet.seq > 1);
    await page.clock.runFor(2_000);
    await page.waitForFunction((seq) => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).box.status.sheet.seq === seq, server.seq);
    assert.ok(server.sheetsGiven - given <= 2, `${server.sheetsGiven - given} sheets for 20 changes`);
    const { seq } = server;
    server.seq = 1; // an old page, from a copy
    await page.evaluate(() => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).box.close());
    server.always = 'cut';
    await openBox(page, server);
    assert.equal((await state(page)).seq, seq);
  });

  trial('without a stream the sheet is asked for every 15 seconds', async ({ server, page }) => {
    await page.addInitScript(() => Reflect.deleteProperty(globalThis, 'EventSource'));
    await page.clock.install();
    await openBox(page, server);
    await page.clock.runFor(3_000);
    server.change();
    await page.clock.runFor(15_000);
    await page.waitForFunction((seq) => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).box.status.sheet.seq === seq, server.seq);
  });

  trial('the server is set back to an older state: what it lost is sent again', async ({ server, page }) => {
    await openBox(page, server);
    const ids = await keep(page, 4);
    await reaches(page, { waiting: 0, sent: 4 });
    for (const id of ids.slice(2)) server.stored.delete(id);
    server.seq = 3;
    await openBox(page, server); // with the page's older sheet
    await server.until(() => server.stored.size === 4, 'all four are there again');
    hasOnce(server, ids);
    await reaches(page, { waiting: 0, sent: 4 });
  });

  trial('another day is opened: what was sent is deleted, what waits is sent to its own station', async ({ server, page }) => {
    await openBox(page, server);
    const first = await keep(page, 3);
    await reaches(page, { waiting: 0, sent: 3 });
    await page.evaluate(() => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).box.set('who', 'KL'));
    server.always = 'cut';
    const second = await keep(page, 2);
    await openBox(page, server, { code: 'NEXT' });
    assert.equal((await rows(page)).length, 5, 'a day with something that waits is left whole');
    assert.deepEqual([(await state(page)).waiting, (await state(page)).kept.length], [2, 0]);
    server.always = null;
    await send(page);
    await reaches(page, { waiting: 0 });
    hasOnce(server, [...first, ...second]);
    assert.ok([...server.stored.values()].every((s) => s.code === 'ALPHA'));
    await openBox(page, server, { code: 'NEXT' });
    assert.equal((await rows(page)).length, 0);
    const left = await page.evaluate(async () => {
      const { db } = /** @type {Here} */ (/** @type {unknown} */ (globalThis));
      return { settings: [...(await db.settings('day-1'))], sheet: await db.sheet('ALPHA') };
    });
    assert.deepEqual(left, { settings: [], sheet: undefined });
  });

  trial('a closed day: late, and a day later gone from the device', async ({ server, page }) => {
    await openBox(page, server);
    await keep(page, 1);
    await reaches(page, { waiting: 0, sent: 1 });
    server.closed = true;
    await keep(page, 1);
    await reaches(page, { waiting: 0, sent: 2 });
    const { kept, late } = await state(page);
    assert.deepEqual([kept.map((k) => k.late), late], [[false, true], true]);
    server.now = '2026-02-11T09:00:00Z';
    await openBox(page, server);
    assert.equal((await rows(page)).length, 2);
    server.now = '2026-02-12T09:00:01Z';
    await openBox(page, server);
    await page.waitForFunction(() => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).box.kept().length === 0);
    assert.equal((await rows(page)).length, 0);
  });

  trial('settings are of the device and the day, in all tabs', async ({ server, context, page }) => {
    const other = await context.newPage();
    await openBox(page, server);
    await openBox(other, server, { code: 'BRAVO' });
    await page.evaluate(() => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).box.set('who', 'KL'));
    await other.waitForFunction(() => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).box.get('who') === 'KL');
    await openBox(page, server, { code: 'NEXT' });
    assert.equal(await page.evaluate(() => /** @type {Here} */ (/** @type {unknown} */ (globalThis)).box.get('who')), undefined);
  });
});
