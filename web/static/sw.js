// Lets a station be opened again without network, where the browser allows it (https, or this machine).
// It keeps pages below /s/ and the files that they need, and touches nothing else: what is entered goes
// through the page's own outbox.
//
// A page tells what it needs once it is loaded, because its first visit went past this worker:
//   navigator.serviceWorker.register('/s/sw.js', {scope: '/s/'}), then
//   (await navigator.serviceWorker.ready).active.postMessage(
//     {type: 'assets', page: location.pathname, day: sheet.day.id, assets: [addresses of /assets/…]})
// Pages hold names, so those of other days are deleted with that message.

// @ts-check
/** @typedef {Event & {waitUntil: (p: Promise<unknown>) => void, request: Request, respondWith: (r: Promise<Response>) => void, data: any}} WorkerEvent */

const pages = 'evenhand-pages-1';
const assets = 'evenhand-assets-1';
const lists = 'evenhand-lists-1';
/** How long a page may take before the kept one is shown, in milliseconds. */
const patience = 3000;

const worker = /** @type {any} */ (self);

worker.addEventListener('install', (/** @type {WorkerEvent} */ event) => event.waitUntil(worker.skipWaiting()));

worker.addEventListener('activate', (/** @type {WorkerEvent} */ event) => event.waitUntil(takeOver()));

worker.addEventListener('message', (/** @type {WorkerEvent} */ event) => {
  if (event.data?.type === 'assets') event.waitUntil(keepPage(event.data));
});

worker.addEventListener('fetch', (/** @type {WorkerEvent} */ event) => {
  const request = event.request;
  const url = new URL(request.url);
  if (request.method !== 'GET' || url.origin !== worker.location.origin) return;
  if (request.mode === 'navigate' && url.pathname.startsWith('/s/')) event.respondWith(page(event, url));
  else if (url.pathname.startsWith('/assets/')) event.respondWith(asset(request));
});

async function takeOver() {
  const mine = [pages, assets, lists];
  const names = await caches.keys();
  await Promise.all(names.filter((n) => n.startsWith('evenhand-') && !mine.includes(n)).map((n) => caches.delete(n)));
  await worker.clients.claim();
}

/**
 * The page from the network; the kept one if the network gives none within three seconds, or the server
 * is in trouble. An answer that comes later is kept for the next time.
 * @param {WorkerEvent} event
 * @param {URL} url
 */
async function page(event, url) {
  const cache = await caches.open(pages);
  const kept = await cache.match(url.pathname);
  const asked = fetch(event.request).then(async (response) => {
    // A redirected answer may not be given to a navigation, and one of another address is not this page.
    if (response.ok && !response.redirected) await cache.put(url.pathname, response.clone()).catch(() => {});
    return response;
  });
  if (!kept) return asked;
  event.waitUntil(asked.catch(() => {}));
  const late = new Promise((resolve) => setTimeout(resolve, patience, kept));
  const first = await Promise.race([asked, late]).catch(() => kept);
  return first.status >= 500 ? kept : first;
}

/** A file whose address names its content never changes: the kept one is as good as any. @param {Request} request */
async function asset(request) {
  const kept = await caches.match(request, { cacheName: assets });
  if (kept) return kept;
  const response = await fetch(request);
  if (response.ok && isHashed(request.url)) {
    const copy = response.clone();
    const cache = await caches.open(assets);
    await cache.put(request, copy).catch(() => {});
  }
  return response;
}

/** Whether an address carries the hash of its content, as /assets/name.0123456789ab.js. @param {string} url */
function isHashed(url) {
  return /\.[0-9a-f]{12}\.[a-z]+$/.test(new URL(url, worker.location.origin).pathname);
}

/**
 * Keeps a page and the files that it says it needs, and drops what no kept page needs any more.
 * @param {{page: string, day: string, assets: string[]}} told
 */
async function keepPage(told) {
  const path = new URL(told.page, worker.location.origin).pathname;
  const needed = told.assets.map((a) => new URL(a, worker.location.origin)).filter((u) => u.origin === worker.location.origin && u.pathname.startsWith('/assets/'));
  const [pageCache, assetCache, listCache] = await Promise.all([pages, assets, lists].map((n) => caches.open(n)));
  if (!pageCache || !assetCache || !listCache || !path.startsWith('/s/')) return;
  const list = { day: told.day, assets: needed.map((u) => u.pathname).filter(isHashed) };
  await Promise.all(list.assets.map(async (a) => (await assetCache.match(a)) ?? assetCache.add(a).catch(() => {})));
  if (!(await pageCache.match(path))) await pageCache.add(path).catch(() => {});
  await listCache.put(path, new Response(JSON.stringify(list), { headers: { 'Content-Type': 'application/json' } }));
  await prune(told.day, pageCache, assetCache, listCache);
}

/**
 * @param {string} day
 * @param {Cache} pageCache
 * @param {Cache} assetCache
 * @param {Cache} listCache
 */
async function prune(day, pageCache, assetCache, listCache) {
  const used = new Set();
  for (const request of [...(await listCache.keys()), ...(await pageCache.keys())]) {
    const list = await (await listCache.match(request))?.json();
    if (list?.day === day) {
      for (const a of list.assets) used.add(a);
    } else {
      await Promise.all([listCache.delete(request), pageCache.delete(request)]);
    }
  }
  for (const request of await assetCache.keys()) {
    if (!used.has(new URL(request.url).pathname)) await assetCache.delete(request);
  }
}
