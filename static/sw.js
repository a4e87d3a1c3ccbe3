/*
 * The tablet's worker: events only. It never takes over by itself: a page asks it to (`take over`), which the
 * tablet does between setups and after the person has agreed.
 */
self.addEventListener('install', event => event.waitUntil(keepAll().then(() => answerWithoutWorker(event))));

self.addEventListener('activate', event => event.waitUntil(dropUnused().then(() => clients.claim())));

self.addEventListener('fetch', event => {
  if (event.request.method !== 'GET' || new URL(event.request.url).origin !== location.origin) return;
  const {pathname} = new URL(event.request.url);
  if (pathname !== PAGE && !/^\/(assets|fonts|icons)\/|^\/manifest\.webmanifest$/.test(pathname)) return;
  event.respondWith(kept(event.request).then(answer => answer ?? fetch(event.request)));
});

self.addEventListener('message', event => {
  if (event.data?.do === 'take over') self.skipWaiting();
  if (event.data?.do === 'hold') event.waitUntil(hold(event.data.version));
  if (event.data?.do === 'drop unused') event.waitUntil(dropUnused());
  if (event.data?.ask === 'version') event.ports[0]?.postMessage(VERSION);
});
