/**
 * Whether this browser could open the page again without the server: the worker is there, active, and holds
 * every file of its version. Waited for with a limit; else what is missing is named, so that nobody finds
 * it out beside the mill.
 */
import {versionOf} from './offline.js';

const WAIT_MS = 20_000;
const CACHE = 'zerokeep-shell-';
const PAGE = '/tablet';

/**
 * Resolves to null, or to the code of the step that is missing. Never throws. `registering`: a promise of
 * the registration.
 */
export async function missingOffline(
  registering,
  {container = navigator.serviceWorker, stored = globalThis.caches, waitMs = WAIT_MS} = {},
) {
  if (!container || !stored) return 'tablet.offline.no_worker';
  const late = new Promise(resolve => {
    setTimeout(() => resolve('late'), waitMs);
  });
  const refused = registering.then(
    () => late,
    () => 'refused',
  );
  const active = await Promise.race([container.ready.then(({active: worker}) => worker), refused]);
  if (active === 'refused') return 'tablet.offline.refused';
  if (active === 'late' || !active) return 'tablet.offline.not_active';
  try {
    const version = await Promise.race([versionOf(active), late]);
    const page = await stored.match(PAGE, {cacheName: `${CACHE}${version}`});
    return page ? null : 'tablet.offline.no_files';
  } catch {
    return 'tablet.offline.no_files';
  }
}
