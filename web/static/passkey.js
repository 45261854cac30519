// Passkeys (WebAuthn level 2): makes one on the page of one's account, and signs in by one. What the
// server and the browser say to each other goes through as it is; only bytes become text and back.

/** Base64url without padding, as WebAuthn's JSON has it. @param {ArrayBuffer} bytes */
function toText(bytes) {
  let binary = '';
  for (const byte of new Uint8Array(bytes)) binary += String.fromCharCode(byte);
  return btoa(binary).replaceAll('+', '-').replaceAll('/', '_').replaceAll('=', '');
}

/** @param {string} text */
function toBytes(text) {
  const binary = atob(text.replaceAll('-', '+').replaceAll('_', '/'));
  return Uint8Array.from(binary, (c) => c.charCodeAt(0)).buffer;
}

/** @typedef {{ type: PublicKeyCredentialType, id: string, transports?: AuthenticatorTransport[] }} Listed */

/** @param {Listed[] | undefined} list */
const listed = (list) => list?.map((x) => ({ ...x, id: toBytes(x.id) })) ?? [];

/** What went wrong, in words that are shown. */
class Said extends Error {}

/**
 * Asks the server, which answers in JSON, also when it refuses.
 * @param {string} url @param {unknown} body
 */
async function ask(url, body) {
  const answer = await fetch(url, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) });
  const json = answer.headers.get('Content-Type')?.includes('json') ? await answer.json() : {};
  if (!answer.ok) throw new Said(json.text ?? json.detail ?? 'That did not work. Load the page again.');
  return json;
}

/** Makes a passkey. @param {string} name */
async function add(name) {
  const { ceremony, options } = await ask('/account/passkeys/begin', {});
  const o = options.publicKey ?? options;
  const made = await navigator.credentials.create({ publicKey: { ...o, challenge: toBytes(o.challenge), user: { ...o.user, id: toBytes(o.user.id) },
    excludeCredentials: listed(o.excludeCredentials) } });
  if (!(made instanceof PublicKeyCredential)) throw new Said('The device made no passkey.');
  const response = /** @type {AuthenticatorAttestationResponse} */ (made.response);
  return ask('/account/passkeys/finish', { ceremony, name, response: { id: made.id, rawId: toText(made.rawId), type: made.type,
    authenticatorAttachment: made.authenticatorAttachment ?? undefined, clientExtensionResults: made.getClientExtensionResults(),
    response: { clientDataJSON: toText(response.clientDataJSON), attestationObject: toText(response.attestationObject), transports: response.getTransports() } } });
}

/** Signs in by a passkey. @param {string} next */
async function signIn(next) {
  const { ceremony, options } = await ask('/sign-in/passkey/begin', {});
  const o = options.publicKey ?? options;
  const used = await navigator.credentials.get({ publicKey: { ...o, challenge: toBytes(o.challenge), allowCredentials: listed(o.allowCredentials) } });
  if (!(used instanceof PublicKeyCredential)) throw new Said('The device gave no passkey.');
  const response = /** @type {AuthenticatorAssertionResponse} */ (used.response);
  return ask('/sign-in/passkey/finish', { ceremony, next, response: { id: used.id, rawId: toText(used.rawId), type: used.type,
    authenticatorAttachment: used.authenticatorAttachment ?? undefined, clientExtensionResults: used.getClientExtensionResults(),
    response: { clientDataJSON: toText(response.clientDataJSON), authenticatorData: toText(response.authenticatorData),
      signature: toText(response.signature), userHandle: response.userHandle ? toText(response.userHandle) : undefined } } });
}

const says = /** @type {HTMLElement | null} */ (document.querySelector('[data-passkey-says]'));

/** @param {string} text */
function say(text) {
  if (!says) return;
  says.textContent = text;
  says.hidden = text === '';
}

/** @param {unknown} error */
function wordsOf(error) {
  if (error instanceof Said) return error.message;
  if (error instanceof DOMException && error.name === 'NotAllowedError') return 'The device was not asked, or it took too long. Try again.';
  if (error instanceof DOMException && error.name === 'InvalidStateError') return 'This device has a passkey for this account already.';
  if (error instanceof DOMException && error.name === 'SecurityError') return 'Passkeys need a name instead of an address of numbers. Open this page by the name of the machine.';
  return 'That did not work. Load the page again.';
}

/** @param {HTMLButtonElement} button */
async function work(button) {
  button.disabled = true;
  say('');
  try {
    const name = /** @type {HTMLInputElement | null} */ (document.getElementById('passkey-name'));
    const { to } = await (button.dataset.passkey === 'add' ? add(name?.value ?? '') : signIn(button.dataset.next ?? '/'));
    location.assign(to);
  } catch (error) {
    say(wordsOf(error));
    button.disabled = false;
  }
}

if (window.isSecureContext && 'PublicKeyCredential' in window) {
  for (const part of document.querySelectorAll('[data-passkey-form], [data-passkey]')) part.removeAttribute('hidden');
  for (const part of document.querySelectorAll('[data-passkey-missing]')) part.setAttribute('hidden', '');
  for (const button of document.querySelectorAll('button[data-passkey]')) {
    button.addEventListener('click', () => void work(/** @type {HTMLButtonElement} */ (button)));
  }
}
