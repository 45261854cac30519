// Draws the charts of a page. The option comes from the API, the words and numbers are part of the page
// already, so nothing is lost where this module does not run.

/** @typedef {{summary: string, option: Record<string, unknown>, height: number}} Chart */
/** @typedef {{chart: import('./echarts.js').ECharts, option: Record<string, unknown>}} Drawn */

/** The palette of the options, and what stands for it on a dark page. @type {Record<string, string>} */
const dark = {
  '#1b1f24': '#ffffff', '#ffffff': '#1b1f24', '#0b5cad': '#7ea9d4',
  '#b3541e': '#c57c52', '#6b3fa0': '#b9a5d2', '#5b6470': '#979ca4',
};

const prefersDark = matchMedia('(prefers-color-scheme: dark)');
const printing = matchMedia('print');

/** @type {Map<Element, Drawn>} */
const drawn = new Map();

/**
 * Exchanges the colours of an option.
 * @param {unknown} value
 * @returns {any}
 */
function inDark(value) {
  if (typeof value === 'string') return dark[value.toLowerCase()] ?? value;
  if (Array.isArray(value)) return value.map(inDark);
  if (value !== null && typeof value === 'object') {
    return Object.fromEntries(Object.entries(value).map(([key, inner]) => [key, inDark(inner)]));
  }
  return value;
}

/** @param {Drawn} picture */
function paint(picture) {
  const onDark = prefersDark.matches && !printing.matches;
  picture.chart.setOption(onDark ? inDark(picture.option) : picture.option, true);
}

/**
 * @param {string} url
 * @returns {Promise<Chart>}
 */
async function load(url) {
  const answer = await fetch(url, { headers: { Accept: 'application/json' } });
  if (!answer.ok) throw new Error(`${url}: ${answer.status}`);
  return answer.json();
}

/** @param {HTMLElement} figure */
async function draw(figure) {
  const place = /** @type {HTMLElement} */ (figure.querySelector('.drawing'));
  try {
    const [echarts, chart] = await Promise.all([import('./echarts.js'), load(figure.dataset.chart ?? '')]);
    place.style.setProperty('--height', `${chart.height}px`);
    place.setAttribute('aria-label', chart.summary);
    const picture = { chart: echarts.init(place, null, { renderer: 'svg' }), option: chart.option };
    paint(picture);
    drawn.set(place, picture);
    resized.observe(place);
    figure.querySelector('details[data-fold]')?.removeAttribute('open');
    figure.dataset.drawn = 'yes';
  } catch (error) {
    figure.dataset.drawn = 'no';
    place.hidden = true;
    const words = document.createElement('p');
    words.textContent = 'The picture could not be drawn. Its numbers stand in the table.';
    place.after(words);
    console.warn(error);
  }
}

const resized = new ResizeObserver((entries) => {
  for (const entry of entries) {
    if (entry.contentRect.width > 0) drawn.get(entry.target)?.chart.resize();
  }
});

// A picture that nobody has come to yet is not fetched; before printing all in sight are there.
const seen = new IntersectionObserver((entries) => {
  for (const entry of entries) {
    if (!entry.isIntersecting) continue;
    seen.unobserve(entry.target);
    void draw(/** @type {HTMLElement} */ (entry.target));
  }
}, { rootMargin: '400px' });

for (const figure of document.querySelectorAll('figure[data-chart]')) seen.observe(figure);
for (const query of [prefersDark, printing]) {
  query.addEventListener('change', () => drawn.forEach(paint));
}
