/**
 * The page's half of the conversation with the worker: register, notice a version that waits, ask the person, hand over.
 * A new version is taken only where `mayUpdate()` is true (no setup is running) and the person has agreed.
 */
const WORKER = '/sw.js';

/** Watch the worker. `onWaiting(take)` is called when a new version waits; `take()` hands over and reloads. */
export async function keepOffline({version, onWaiting, container = navigator.serviceWorker}) {
  if (!container) return null;
  container.addEventListener('message', event => {
    if (event.data?.ask === 'version') event.ports[0]?.postMessage(version);
  });
  const registration = await container.register(workerAddress(), {scope: '/', updateViaCache: 'none'});
  const say = () => { if (registration.waiting && container.controller) onWaiting(() => handOver(registration, container)); };
  registration.addEventListener('updatefound', () => {
    registration.installing?.addEventListener('statechange', say);
  });
  say();
  registration.active?.postMessage({do: 'drop unused'});
  return registration;
}

/** Look for a new version; a server that does not answer is no error. */
export const lookForUpdate = registration => registration?.update().catch(() => {});

/** Have the worker serve this page's version until it is let go (null), whatever is waiting. */
export const holdVersion = (version, container = navigator.serviceWorker) => container?.controller?.postMessage({do: 'hold', version});

function handOver(registration, container) {
  container.addEventListener('controllerchange', () => location.reload(), {once: true});
  registration.waiting?.postMessage({do: 'take over'});
}

/** Under `require-trusted-types-for 'script'` a worker's address must come from a named policy. */
function workerAddress() {
  if (!globalThis.trustedTypes) return WORKER;
  const policy = globalThis.trustedTypes.createPolicy('zerokeep-worker', {createScriptURL: address => {
    if (address !== WORKER) throw new TypeError('not the worker');
    return address;
  }});
  return policy.createScriptURL(WORKER);
}
