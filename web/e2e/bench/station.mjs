// How fast a station is, with the program itself: a key on a device four times slower, the first visit
// over a slow network, what is transferred, and how long 2,000 kept entries take to be sent. It prints
// figures and judges nothing: `make bench`.
import { measures } from '../day/data.mjs';
import { people, Server } from '../day/rig.mjs';
import { Helper } from '../day/station.mjs';
import { startBrowser } from '../program.mjs';

const steps = ['shoulder_internal_rotation', 'shoulder_external_rotation', 'hip_internal_rotation', 'hip_external_rotation', 'trunk_rotation', 'elbow_flexion']
  .map((measure) => ({ kind: 'measure', measure }));
const station = { code: 'BENCHSTA', name: 'Bench', steps };

const server = await Server.start();
const browser = await startBrowser();
try {
  await server.enlist();
  await server.setUp([station]);
  await keys();
  await firstVisit();
  await sync();
} finally {
  await browser.close();
  await server.stop();
}

/** From the event to the frame in which its effect was painted, as the browser itself measures it. */
async function keys() {
  const h = new Helper(browser, { origin: server.plain, station, name: 'Bench' });
  await h.open();
  const a = people[2];
  if (!a) return;
  const session = await h.context?.newCDPSession(h.p);
  await session?.send('Emulation.setCPUThrottlingRate', { rate: 4 });
  await h.p.evaluate(() => {
    /** @type {any} */ (window).took = [];
    new PerformanceObserver((list) => {
      for (const e of list.getEntries()) /** @type {any} */ (window).took.push([e.duration, e.name, /** @type {any} */ (e).target?.id ?? '']);
    }).observe(/** @type {PerformanceObserverInit} */ ({ type: 'event', durationThreshold: 16 }));
  });
  let pressed = 0;
  const type = h.p.keyboard.type.bind(h.p.keyboard);
  h.p.keyboard.type = async (text) => {
    for (const key of text) { // one after the other is painted, as a hand does it
      pressed++;
      await type(key);
      await h.p.evaluate(() => new Promise((r) => requestAnimationFrame(() => setTimeout(r))));
    }
  };
  await h.take(a);
  const events = /** @type {[number, string, string][]} */ (await h.p.evaluate(() => /** @type {any} */ (window).took));
  const of = (/** @type {boolean} */ field) => events.filter(([, name, id]) => name === 'keydown' && /^f\d/.test(id) === field).map(([ms]) => ms).sort((x, y) => x - y);
  const took = of(true);
  const at = (/** @type {number} */ q) => took[Math.min(took.length - 1, Math.floor(q * took.length))] ?? 0;
  console.log(`a key on a device four times slower, to the frame that shows it: ${pressed} keys, ${took.length} events of 16 ms and more; median of those ${at(0.5)} ms, 95 of 100 within ${at(0.95)} ms, the slowest ${at(1)} ms (steps of 8 ms); the key that opens an athlete: ${Math.max(...of(false))} ms`);
  await h.close();
}

/** Slow 4G as lab tools for web pages define it: 150 ms there and back, 1.6 Mbit/s down, 0.75 Mbit/s up. */
async function firstVisit() {
  const context = await browser.newContext({ viewport: { width: 390, height: 740 } });
  for (const visit of ['first', 'second']) {
    const page = await context.newPage();
    const session = await context.newCDPSession(page);
    await session.send('Network.enable');
    await session.send('Network.emulateNetworkConditions', { offline: false, latency: 150, downloadThroughput: 1.6e6 / 8, uploadThroughput: 0.75e6 / 8 });
    let bytes = 0;
    let requests = 0;
    session.on('Network.loadingFinished', (e) => { bytes += e.encodedDataLength; requests++; });
    await page.addInitScript(() => {
      new MutationObserver((_, observer) => {
        if (!document.querySelector('#who, #find')) return;
        observer.disconnect();
        requestAnimationFrame(() => setTimeout(() => { /** @type {any} */ (window).usable = performance.now(); }));
      }).observe(document, { childList: true, subtree: true });
    });
    await page.goto(`${server.plain}/s/${station.code}`);
    const usable = await page.waitForFunction(() => /** @type {any} */ (window).usable).then((h) => h.jsonValue());
    await page.waitForLoadState('load');
    console.log(`${visit} visit on slow 4G, sixty athletes, six measures: usable after ${usable.toFixed(0)} ms, ${(bytes / 1000).toFixed(1)} kB in ${requests} requests`);
    await page.close();
  }
  await context.close();
}

/** 2,000 entries that the device kept while there was no network. */
async function sync() {
  const h = new Helper(browser, { origin: server.plain, station, name: 'Bench' });
  await h.open();
  await h.killTab();
  const page = await h.context?.newPage();
  await page?.goto(`${server.plain}/protocol`); // the same origin, with nothing that sends
  await page?.evaluate(async ({ ids, values, code }) => {
    const opening = indexedDB.open('evenhand');
    const db = await new Promise((r) => { opening.onsuccess = () => r(opening.result); });
    const t = db.transaction('entries', 'readwrite');
    for (let n = 0; n < 2000; n++) {
      const [about, value] = values[Math.floor(n / (2 * ids.length)) % values.length] ?? ['', 0];
      const id = `bench-${n}`;
      t.objectStore('entries').add({ day: 'day', code, id, state: 'waiting', entry: { id, kind: 'reading', athlete: ids[Math.floor(n / 2) % ids.length], examiner: 'Bench',
        taken: new Date().toISOString(), about, side: n % 2 ? 'left' : 'right', trials: [value, value + 1], again: true } });
    }
    await new Promise((r) => { t.oncomplete = r; });
    db.close();
  }, { ids: people.map((p) => p.id), code: station.code, values: /** @type {[string, number][]} */ (steps.map(({ measure }) => [measure, measures[/** @type {import('../day/data.mjs').MeasureID} */ (measure)].middle])) });
  await page?.close();
  const began = performance.now();
  h.page = await h.context?.newPage();
  await h.p.goto(h.url);
  const there = performance.now();
  await h.p.waitForFunction(() => document.querySelector('#bar .sent')?.textContent === 'All sent' && document.querySelector('#find'), null, { timeout: 60_000 });
  const stored = (await server.readings()).length;
  console.log(`2,000 kept entries: all sent ${((performance.now() - there) / 1000).toFixed(2)} s after the page was loaded (${((there - began) / 1000).toFixed(2)} s); ${stored} readings on the server`);
  await h.close();
}
