// Lets the station's page be opened again without network, where the browser allows it.

/**
 * Starts the worker of the stations' pages and tells it what this page is made of: the first visit of a
 * page goes past the worker. Nothing happens on plain http.
 * @param {string} day id of the screening day
 * @returns {Promise<boolean>} whether the worker has been told
 */
export async function keepOffline(day) {
  if (!('serviceWorker' in navigator)) return false;
  try {
    await navigator.serviceWorker.register('/s/sw.js', { scope: '/s/' });
    const { active } = await navigator.serviceWorker.ready;
    const loaded = performance.getEntriesByType('resource').map((r) => r.name);
    const named = [...document.querySelectorAll('link[href], script[src]')].map((e) => (e instanceof HTMLLinkElement ? e.href : e instanceof HTMLScriptElement ? e.src : ''));
    const assets = [...new Set([...loaded, ...named])].filter((a) => a !== '' && new URL(a).pathname.startsWith('/assets/'));
    active?.postMessage({ type: 'assets', page: location.pathname, day, assets });
    return active !== null;
  } catch {
    return false; // only a convenience: the page works without
  }
}
