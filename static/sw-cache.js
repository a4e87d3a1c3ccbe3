/*
 * What the worker keeps, and for how long. VERSION and FILES are written in front of this text by the server.
 * - A version is kept whole or not at all: one file that is missing, redirected or not of this version fails
 *   the install, and the version before goes on serving.
 * - A version's files stay until no open page uses them. Only caches with our own prefix are ever touched.
 * - While a setup runs, the page has its version held: a tablet that was switched off in the middle starts
 *   again with the version the setup began with, even if a newer one was waiting.
 * - Nothing but the listed files is ever kept: no answer of the API, no page of the desk.
 */
const PREFIX = 'zerokeep-shell-';
const CACHE = PREFIX + VERSION;
const HOLD = 'zerokeep-hold';
const PAGE = '/tablet';
/* This version's cache, opened once in a worker's life. It is never dropped while this worker answers. */
let opened = null;
const ownCache = () => (opened ??= caches.open(CACHE));

/*
 * Have the browser answer for this version's files out of the cache by itself, without asking the worker
 * (Service Workers, "static routing"); a browser that does not know it asks the worker, and gets the same.
 * Not the page: which version of it comes is the worker's to say. A browser that refuses these routes loses
 * speed and nothing else.
 */
async function answerWithoutWorker(event) {
  const files = FILES.filter(address => /^\/(assets|fonts)\//.test(address));
  try {
    await event.addRoutes?.(
      files.map(pathname => ({
        condition: {urlPattern: {pathname, search: ''}, requestMethod: 'get'},
        source: {cacheName: CACHE},
      })),
    );
  } catch {
    /* the worker answers */
  }
}

async function keepAll() {
  const cache = await caches.open(CACHE);
  try {
    const answers = await Promise.all(FILES.map(fetchOne));
    await Promise.all(answers.map((answer, index) => cache.put(FILES[index], answer)));
  } catch (error) {
    await caches.delete(CACHE);
    throw error;
  }
}

async function fetchOne(address) {
  const answer = await fetch(address, {cache: 'no-cache', credentials: 'same-origin'});
  if (!answer.ok || answer.redirected) throw new Error(`not kept: ${address}`);
  if (address === PAGE && !(await answer.clone().text()).includes(`/assets/${VERSION}/`))
    throw new Error('the page is of another version');
  return answer;
}

/* The version that an open page runs on stands in the address of the files that it asks for. */
async function kept(request) {
  const {pathname} = new URL(request.url);
  if (request.mode === 'navigate' && pathname === PAGE) return pageInUse();
  if (
    pathname.startsWith('/assets/') ||
    pathname.startsWith('/fonts/') ||
    pathname.startsWith('/icons/') ||
    pathname === '/manifest.webmanifest'
  ) {
    return fromAnyVersion(pathname);
  }
  return undefined;
}

async function fromAnyVersion(pathname) {
  const found = await (await ownCache()).match(pathname);
  if (found) return found;
  for (const name of await caches.keys()) {
    const older = name.startsWith(PREFIX) ? await (await caches.open(name)).match(pathname) : undefined;
    if (older) return older;
  }
  return undefined;
}

/* Write down that this version's page is to be served until it is let go; null lets go. */
async function hold(version) {
  const cache = await caches.open(HOLD);
  if (version === null) await cache.delete(PAGE);
  else await cache.put(PAGE, new Response(version));
}

async function pageInUse() {
  const name = await heldOrOwn();
  return (await (name === CACHE ? ownCache() : caches.open(name))).match(PAGE);
}

async function heldOrOwn() {
  const note = await caches.match(PAGE, {cacheName: HOLD});
  const held = note ? PREFIX + (await note.text()) : CACHE;
  return (await caches.has(held)) ? held : CACHE;
}

/*
 * Ask every open page which version it runs on, and drop the caches of all others. A page that does not
 * answer keeps all, and so does a version that is being kept or waits: no page runs on it yet, and it is
 * never fetched a second time.
 */
async function dropUnused() {
  const pages = await clients.matchAll({type: 'window', includeUncontrolled: true});
  const versions = await Promise.all(
    pages.filter(page => new URL(page.url).pathname === PAGE).map(askVersion),
  );
  if (versions.includes(null)) return;
  const used = new Set([CACHE, await heldOrOwn(), ...versions.map(version => PREFIX + version)]);
  const names = await caches.keys();
  if (registration.installing || registration.waiting) return;
  for (const name of names) {
    if (name.startsWith(PREFIX) && !used.has(name)) await caches.delete(name);
  }
}

function askVersion(page) {
  return new Promise(resolve => {
    const {port1, port2} = new MessageChannel();
    const limit = setTimeout(() => resolve(null), 1000);
    port1.onmessage = event => {
      clearTimeout(limit);
      resolve(event.data);
    };
    page.postMessage({ask: 'version'}, [port2]);
  });
}
