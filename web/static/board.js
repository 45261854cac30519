// Keeps the board of a screening day up to date: the server says that something changed, the live part
// is fetched again and put in place, and whatever is open, typed, marked or in focus stays as it is.

const live = /** @type {HTMLElement | null} */ (document.getElementById('live'));

/** At most one fetch in this time, ms. */
const pause = 1000;
/** How long after a failure it is tried again, ms. */
const again = 5000;
/** A connection can end without a word: so often it is asked anyway, ms. */
const atLeast = 30_000;

/**
 * Makes one element say what another one says, and touches nothing that is the same already. Elements
 * with an id are known by it; the others by their place among those of their name.
 * @param {Element} to
 * @param {Element} from
 */
function put(to, from) {
  for (const { name } of [...to.attributes]) {
    if (!from.hasAttribute(name) && !ofTheReader(to, name)) to.removeAttribute(name);
  }
  for (const { name, value } of from.attributes) {
    if (to.getAttribute(name) !== value && !ofTheReader(to, name)) to.setAttribute(name, value);
  }
  const stays = new Set([...from.children].map((child) => child.id));
  let at = to.firstChild;
  for (const next of [...from.childNodes]) {
    const known = next instanceof Element && next.id !== '' ? ownChild(to, next.id) : null;
    while (known !== null && at !== null && at !== known && !(at instanceof Element && at.id !== '' && stays.has(at.id))) {
      const gone = at; // rather than move what is known, which would lose the focus in it
      at = at.nextSibling;
      gone.remove();
    }
    if (known !== null && known !== at) to.insertBefore(known, at);
    const old = known ?? at;
    if (old !== null && alike(old, next)) {
      if (old instanceof Element) put(old, /** @type {Element} */ (next));
      else if (old.nodeValue !== next.nodeValue) old.nodeValue = next.nodeValue;
      at = old.nextSibling;
    } else {
      to.insertBefore(document.importNode(next, true), at);
    }
  }
  while (at !== null) {
    const gone = at;
    at = at.nextSibling;
    gone.remove();
  }
}

/**
 * What the reader has set stays: which details are open, and what was typed.
 * @param {Element} element
 * @param {string} name
 */
function ofTheReader(element, name) {
  return name === 'open' && element instanceof HTMLDetailsElement ||
    name === 'value' && element instanceof HTMLInputElement && element.type !== 'hidden';
}

/** @param {Element} parent @param {string} id */
function ownChild(parent, id) {
  for (const child of parent.children) if (child.id === id) return child;
  return null;
}

/** @param {Node} a @param {Node} b */
function alike(a, b) {
  if (a.nodeType !== b.nodeType || a.nodeName !== b.nodeName) return false;
  return !(a instanceof Element && b instanceof Element) || a.id === b.id;
}

/** @param {string} words @param {string} [said] for a screen reader, only when it matters */
function tell(words, said) {
  const place = document.getElementById('live-words');
  if (place !== null) place.textContent = words;
  const aloud = document.getElementById('live-said');
  if (aloud !== null && said !== undefined && aloud.textContent !== said) aloud.textContent = said;
}

let lost = false;
let busy = false;
let wanted = false;

/** @param {HTMLElement} place */
async function refresh(place) {
  if (busy) {
    wanted = true;
    return;
  }
  busy = true;
  wanted = false;
  let wait = pause;
  try {
    const answer = await fetch(`/days/${place.dataset.day ?? ''}?part=live`, { cache: 'no-store' });
    if (!answer.ok) throw new Error(`the board answered ${answer.status}`);
    const holder = document.createElement('template');
    holder.innerHTML = await answer.text();
    const fresh = holder.content.getElementById('live');
    if (fresh === null) throw new Error('the board has no live part');
    put(place, fresh);
    const at = document.getElementById('live-at');
    if (at !== null) at.textContent = place.dataset.now ?? '';
    tell('It keeps itself up to date.', lost ? 'Connected again.' : undefined);
    lost = false;
  } catch {
    gone();
    wanted = true;
    wait = again;
  }
  setTimeout(() => {
    busy = false;
    if (wanted) void refresh(place);
  }, wait);
}

function gone() {
  lost = true;
  tell('No connection: this may be old. It tries again by itself.', 'The connection is lost.');
}

/** @param {HTMLElement} place */
function listen(place) {
  const events = new EventSource(`/api/v1/days/${place.dataset.day ?? ''}/events`);
  events.addEventListener('open', () => void refresh(place)); // what changed while nobody listened
  events.addEventListener('changed', () => void refresh(place));
  events.addEventListener('error', () => {
    gone();
    if (events.readyState === EventSource.CLOSED) setTimeout(() => listen(place), again);
  });
}

if (live !== null) {
  const place = live;
  listen(place);
  setInterval(() => void refresh(place), atLeast);
  for (const event of ['online', 'offline']) addEventListener(event, () => void refresh(place));
}
