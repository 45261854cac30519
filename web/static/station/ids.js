// Ids that a device makes for itself.

/**
 * Where an id's time and random bits come from.
 * @typedef {{now?: () => number, random?: (bytes: Uint8Array<ArrayBuffer>) => unknown}} Source
 */

/**
 * Makes a maker of UUIDs of version 7 (RFC 9562, section 6.2, method 1): milliseconds, a counter of 12
 * bits that starts anew, in its lower half, with every millisecond, and 62 random bits. Ids of one maker
 * always ascend, also when the clock is set back: the last millisecond is then used on.
 * @param {Source} [source]
 * @returns {() => string}
 */
export function idMaker({ now = Date.now, random = (bytes) => crypto.getRandomValues(bytes) } = {}) {
  let last = -1;
  let counter = 0;
  return () => {
    const bytes = new Uint8Array(16);
    random(bytes);
    const at = Math.max(0, Math.floor(now()));
    if (at > last) {
      last = at;
      counter = (((bytes[6] ?? 0) << 8) | (bytes[7] ?? 0)) & 0x7ff;
    } else if (++counter > 0xfff) {
      last++;
      counter = 0;
    }
    for (let i = 0, rest = last; i < 6; i++, rest = Math.floor(rest / 256)) bytes[5 - i] = rest % 256;
    bytes[6] = 0x70 | (counter >> 8);
    bytes[7] = counter & 0xff;
    bytes[8] = 0x80 | ((bytes[8] ?? 0) & 0x3f);
    return written(bytes);
  };
}

/** @param {Uint8Array} bytes */
function written(bytes) {
  const hex = Array.from(bytes, (b) => b.toString(16).padStart(2, '0')).join('');
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join('-');
}

/** A new id. crypto.randomUUID is missing on plain http, and it makes ids that do not sort by time. */
export const newId = idMaker();
