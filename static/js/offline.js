/**
 * The page's half of the conversation with the worker: register, notice a newer version, ask the person, hand
 * over. A newer version is taken only between setups and after the person has agreed. It comes in two ways: a
 * worker waits; or the worker changed beneath this page, because another tab took the new version, or the
 * browser was closed while it waited and the page of a running setup came back in its own version.
 */
const WORKER = '/sw.js';
const ANSWER_WITHIN_MS = 5000;

/**
 * Watch the worker. `onNewer(take)` is called when a newer version can be taken;
 * `take()` does it and loads the page anew.
 */
export async function keepOffline({version, onNewer, container = navigator.serviceWorker}) {
  if (!container) return null;
  container.addEventListener('message', event => {
    if (event.data?.ask === 'version') event.ports[0]?.postMessage(version);
  });
  const registration = await container.register(workerAddress(), {scope: '/', updateViaCache: 'none'});
  const look = async () => {
    if (registration.waiting && container.controller) return onNewer(() => handOver(registration, container));
    const beneath = await versionOf(container.controller);
    return beneath === null || beneath === version ? undefined : onNewer(() => location.reload());
  };
  registration.addEventListener('updatefound', () => {
    registration.installing?.addEventListener('statechange', look);
  });
  container.addEventListener('controllerchange', look);
  look();
  registration.active?.postMessage({do: 'drop unused'});
  return registration;
}

/** The version of a worker, or null if there is none or it does not say. */
export function versionOf(worker) {
  if (!worker) return Promise.resolve(null);
  return new Promise(resolve => {
    const {port1, port2} = new MessageChannel();
    setTimeout(() => resolve(null), ANSWER_WITHIN_MS);
    port1.onmessage = ({data}) => resolve(data);
    worker.postMessage({ask: 'version'}, [port2]);
  });
}

/** Look for a new version; a server that does not answer is no error. */
export const lookForUpdate = registration => registration?.update().catch(() => {});

/** Have the worker serve this page's version until it is let go (null), whatever is waiting. */
export const holdVersion = (version, container = navigator.serviceWorker) =>
  container?.controller?.postMessage({do: 'hold', version});

/**
 * The worker that waited may have been taken by another tab since:
 * then there is nothing left but to load the page anew.
 */
function handOver({waiting}, container) {
  if (!waiting) return location.reload();
  container.addEventListener('controllerchange', () => location.reload(), {once: true});
  return waiting.postMessage({do: 'take over'});
}

/** Under `require-trusted-types-for 'script'` a worker's address must come from a named policy. */
function workerAddress() {
  if (!globalThis.trustedTypes) return WORKER;
  const policy = globalThis.trustedTypes.createPolicy('zerokeep-worker', {
    createScriptURL: address => {
      if (address !== WORKER) throw new TypeError('not the worker');
      return address;
    },
  });
  return policy.createScriptURL(WORKER);
}
