// What a station keeps on the device, in IndexedDB: entries, small settings, and the last sheet of each
// station. A promise of this module resolves only once the browser has said that the transaction is
// complete; entries are asked to be on the disk by then and not only in a cache (strict durability).

/** @typedef {import('./types.d.ts').Entry} Entry */
/** @typedef {import('./types.d.ts').Kept} Kept */
/** @typedef {import('./types.d.ts').Sheet} Sheet */
/**
 * An entry as it lies in the database. n is given by the database and never used twice; gone says that it
 * was refused only because the server did not know the station.
 * @typedef {Kept & {id: string, day: string, code: string, gone?: boolean}} Row
 */
/** @typedef {{code: string, day: string, sheet: Sheet, etag: string}} StoredSheet */
/** @typedef {{state: 'sent' | 'refused', seq?: number, late?: boolean, problem?: string, want?: string, gone?: boolean}} Fate */

/** Why something could not be kept on the device. Its message is for the one who stands at the station. */
export class KeepError extends Error {
  /**
   * @param {string} message
   * @param {{full?: boolean, cause?: unknown}} [more]
   */
  constructor(message, { full = false, cause } = {}) {
    super(message, { cause });
    this.name = 'KeepError';
    /** No room is left on the device. */
    this.full = full;
  }
}

const databaseName = 'evenhand';
const version = 1;
/** How long the database may take to open, in milliseconds: a browser was seen that never answered. */
const openWithin = 10_000;
/** Names of errors after which the connection is of no more use, and a new one is worth a try. */
const lostConnection = new Set(['InvalidStateError', 'UnknownError', 'AbortError']);

/** @param {unknown} e */
const nameOf = (e) => (e !== null && typeof e === 'object' && 'name' in e ? String(e.name) : '');

/**
 * Says in words for the station why the device did not keep something.
 * @param {unknown} e
 * @returns {KeepError}
 */
function keepError(e) {
  if (e instanceof KeepError) return e;
  if (nameOf(e) === 'QuotaExceededError') {
    return new KeepError('There is no room left on this device, so nothing was saved. Make room on it, or write the values down and enter them on another device.', { full: true, cause: e });
  }
  if (nameOf(e) === 'VersionError') {
    return new KeepError('A newer version of this page was used on this device, so nothing was saved here. Close the other tabs and load this page again.', { cause: e });
  }
  return new KeepError('This browser did not keep the entry, so nothing was saved. Load the page again; if that does not help, use another browser or device.', { cause: e });
}

/** @param {IDBDatabase} base */
function build(base) {
  const entries = base.createObjectStore('entries', { keyPath: 'n', autoIncrement: true });
  entries.createIndex('day', 'day');
  entries.createIndex('id', 'id', { unique: true });
  entries.createIndex('state', 'state');
  base.createObjectStore('settings', { keyPath: ['day', 'key'] });
  base.createObjectStore('sheets', { keyPath: 'code' });
}

/** What is the same for an entry that is kept a second time. @param {Entry} entry */
const content = (entry) => JSON.stringify(Object.entries(entry).filter(([, v]) => v !== undefined).sort(([a], [b]) => (a < b ? -1 : 1)));

/** The database of this device. It opens with its first use, and again after the browser closed it. */
export class Db {
  /** @type {Promise<IDBDatabase> | null} */
  #base = null;
  #factory;

  /** @param {IDBFactory | undefined} [factory] */
  constructor(factory = globalThis.indexedDB) {
    this.#factory = factory;
  }

  /** @returns {Promise<IDBDatabase>} */
  #open() {
    const factory = this.#factory;
    this.#base ??= new Promise((resolve, reject) => {
      if (!factory) throw new KeepError('This browser keeps nothing on the device (a private window does not, for example), so entries would be lost with the network. Use an ordinary window or another browser.');
      let late = false;
      const timer = setTimeout(() => {
        late = true;
        reject(new KeepError('The storage of this browser does not answer, so nothing can be saved. Close the other tabs of this page and load it again.'));
      }, openWithin);
      const request = factory.open(databaseName, version);
      request.onupgradeneeded = () => build(request.result);
      request.onerror = () => {
        clearTimeout(timer);
        reject(request.error);
      };
      request.onsuccess = () => {
        clearTimeout(timer);
        const base = request.result;
        if (late) base.close();
        // A newer version of this page may rebuild the database; what is kept stays in it.
        base.onversionchange = () => this.close();
        base.onclose = () => (this.#base = null);
        resolve(base);
      };
    });
    this.#base.catch(() => (this.#base = null));
    return this.#base;
  }

  /** Closes the connection; the next use opens it again. */
  close() {
    const base = this.#base;
    this.#base = null;
    base?.then((b) => b.close(), () => {});
  }

  /**
   * Runs one transaction. work makes requests and may give back a function that is asked for the
   * answer once the transaction is complete. If the connection was lost, it is tried once more; all
   * transactions of this module can be run twice without harm.
   * @template T
   * @param {string[]} stores
   * @param {IDBTransactionMode} mode
   * @param {(tx: IDBTransaction) => () => T} work
   * @returns {Promise<T>} rejects with a KeepError, and then nothing of it is kept
   */
  async #run(stores, mode, work) {
    for (let tries = 1; ; tries++) {
      try {
        return await transact(await this.#open(), stores, mode, work);
      } catch (e) {
        if (tries > 1 || !lostConnection.has(nameOf(e))) throw keepError(e);
        this.close();
      }
    }
  }

  /**
   * Keeps entries, all or none. An entry that is kept already, with the same content, is left as it is.
   * @param {string} day
   * @param {string} code station that they are sent to
   * @param {Entry[]} entries
   * @returns {Promise<Row[]>} in the order given
   */
  add(day, code, entries) {
    return this.#run(['entries'], 'readwrite', (tx) => {
      const store = tx.objectStore('entries');
      const byID = store.index('id');
      /** @type {Row[]} */
      const out = [];
      entries.forEach((entry, i) => {
        const there = byID.get(entry.id);
        there.onsuccess = () => {
          const row = /** @type {Row | undefined} */ (there.result);
          if (row) {
            if (content(row.entry) !== content(entry)) failWith(tx, new KeepError('Two different entries have the same id, so nothing was saved. Load the page again and enter it anew.'));
            out[i] = row;
            return;
          }
          const fresh = { id: entry.id, day, code, state: /** @type {const} */ ('waiting'), entry };
          const added = store.add(fresh);
          added.onsuccess = () => (out[i] = { ...fresh, n: Number(added.result) });
        };
      });
      return () => out;
    });
  }

  /** All entries on the device, of whatever day, in the order in which they were made. @returns {Promise<Row[]>} */
  all() {
    return this.#run(['entries'], 'readonly', (tx) => asked(tx.objectStore('entries').getAll()));
  }

  /**
   * Entries that wait to be sent, the earliest first.
   * @param {number} [most]
   * @returns {Promise<Row[]>}
   */
  waiting(most) {
    return this.#run(['entries'], 'readonly', (tx) => asked(tx.objectStore('entries').index('state').getAll('waiting', most)));
  }

  /**
   * Writes down what became of entries. Those that wait no longer, or are gone, are left as they are.
   * @param {Map<number, Fate>} fates by n
   */
  settle(fates) {
    return this.#change([...fates.keys()], (row) => (row.state === 'waiting' ? { ...row, ...fates.get(row.n) } : row));
  }

  /**
   * Lets entries wait again that were sent or refused.
   * @param {number[]} ns
   */
  requeue(ns) {
    return this.#change(ns, ({ n, id, day, code, entry }) => ({ n, id, day, code, entry, state: 'waiting' }));
  }

  /**
   * @param {number[]} ns
   * @param {(row: Row) => Row} change
   * @returns {Promise<void>}
   */
  #change(ns, change) {
    return this.#run(['entries'], 'readwrite', (tx) => {
      const store = tx.objectStore('entries');
      for (const n of ns) {
        const there = store.get(n);
        there.onsuccess = () => {
          if (!there.result) return;
          const row = change(there.result);
          if (row !== there.result) store.put(row);
        };
      }
      return () => {};
    });
  }

  /**
   * Deletes a refused entry; any other is left alone.
   * @param {string} id
   * @returns {Promise<void>}
   */
  dismiss(id) {
    return this.#run(['entries'], 'readwrite', (tx) => {
      const store = tx.objectStore('entries');
      const there = store.index('id').get(id);
      there.onsuccess = () => {
        if (there.result?.state === 'refused') store.delete(there.result.n);
      };
      return () => {};
    });
  }

  /**
   * Deletes the entries, settings and sheets of those days of which nothing waits and nothing is
   * refused; what is asked and what is deleted is one transaction, so that nothing kept meanwhile in
   * another tab can go with it.
   * @param {(day: string) => boolean} old
   * @returns {Promise<void>}
   */
  forget(old) {
    return this.#run(['entries', 'settings', 'sheets'], 'readwrite', (tx) => {
      const all = tx.objectStore('entries').getAll();
      all.onsuccess = () => {
        const rows = /** @type {Row[]} */ (all.result);
        const held = new Set(rows.filter((r) => r.state !== 'sent').map((r) => r.day));
        const goes = (/** @type {string} */ day) => day !== '' && !held.has(day) && old(day);
        for (const r of rows) if (goes(r.day)) tx.objectStore('entries').delete(r.n);
        for (const name of ['settings', 'sheets']) {
          const cursor = tx.objectStore(name).openCursor();
          cursor.onsuccess = () => {
            if (!cursor.result) return;
            if (goes(cursor.result.value.day)) cursor.result.delete();
            cursor.result.continue();
          };
        }
      };
      return () => {};
    });
  }

  /**
   * The settings of a day; of the device itself where day is empty.
   * @param {string} day
   * @returns {Promise<Map<string, string>>}
   */
  async settings(day) {
    const list = await this.#run(['settings'], 'readonly', (tx) => asked(tx.objectStore('settings').getAll(IDBKeyRange.bound([day], [day, []]))));
    return new Map(list.map((s) => [s.key, s.value]));
  }

  /**
   * @param {string} day
   * @param {string} key
   * @param {string} value
   * @returns {Promise<void>}
   */
  set(day, key, value) {
    return this.#run(['settings'], 'readwrite', (tx) => {
      tx.objectStore('settings').put({ day, key, value });
      return () => {};
    });
  }

  /**
   * A setting, made with the first question for it: two tabs that ask at once get the same.
   * @param {string} day
   * @param {string} key
   * @param {() => string} make
   * @returns {Promise<string>}
   */
  setOnce(day, key, make) {
    return this.#run(['settings'], 'readwrite', (tx) => {
      const store = tx.objectStore('settings');
      let value = '';
      const there = store.get([day, key]);
      there.onsuccess = () => {
        value = there.result?.value ?? make();
        if (!there.result) store.put({ day, key, value });
      };
      return () => value;
    });
  }

  /** @param {string} code @returns {Promise<StoredSheet | undefined>} */
  sheet(code) {
    return this.#run(['sheets'], 'readonly', (tx) => asked(tx.objectStore('sheets').get(code)));
  }

  /** @param {StoredSheet} stored @returns {Promise<void>} */
  putSheet(stored) {
    return this.#run(['sheets'], 'readwrite', (tx) => {
      tx.objectStore('sheets').put(stored);
      return () => {};
    });
  }
}

/** What a transaction was ended for by this module. @type {WeakMap<IDBTransaction, Error>} */
const ended = new WeakMap();

/** @param {IDBTransaction} tx @param {Error} why */
function failWith(tx, why) {
  ended.set(tx, why);
  tx.abort();
}

/** @template T @param {IDBRequest<T>} request @returns {() => T} */
const asked = (request) => () => request.result;

/**
 * @template T
 * @param {IDBDatabase} base
 * @param {string[]} stores
 * @param {IDBTransactionMode} mode
 * @param {(tx: IDBTransaction) => () => T} work
 * @returns {Promise<T>}
 */
function transact(base, stores, mode, work) {
  return new Promise((resolve, reject) => {
    const tx = base.transaction(stores, mode, { durability: 'strict' });
    const answer = work(tx);
    tx.oncomplete = () => resolve(answer());
    // A full disk may be found only when all is written: then there is no failed request, just this.
    tx.onabort = () => reject(ended.get(tx) ?? tx.error ?? new DOMException('the transaction was ended', 'AbortError'));
  });
}

/** Asks the browser not to clear the storage of this page when room gets short. Only a wish, and only on https. */
export async function askToPersist() {
  try {
    return (await navigator.storage?.persist?.()) ?? false;
  } catch {
    return false;
  }
}
