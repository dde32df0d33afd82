// Keeps one whole version of the app, so that it opens with no signal. The records are not here:
// they live in the browser's own files, and no update touches them.

const VERSION = '@VERSION@';
const CACHE = `pointdown-phone-${VERSION}`;
const PAGE = '/phone/';
const FILES = [@FILES@].map((name) => `/phone/v/${VERSION}/${name}`);

// A version comes whole or not at all: if one file is missing the old version stays.
self.addEventListener('install', (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(CACHE);
    await cache.addAll([PAGE, '/phone/manifest.webmanifest', ...FILES]
      .map((path) => new Request(path, { cache: path.includes('/v/') ? 'default' : 'reload' })));
  })());
});

// Only when the person says so; until then the running version goes on.
self.addEventListener('message', (event) => {
  if (event.data === 'take over') self.skipWaiting();
});

self.addEventListener('activate', (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) {
      if (name.startsWith('pointdown-phone-') && name !== CACHE) await caches.delete(name);
    }
    await self.clients.claim();
  })());
});

self.addEventListener('fetch', (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== 'GET' || url.origin !== location.origin) return;
  if (!url.pathname.startsWith('/phone')) return;
  const path = event.request.mode === 'navigate' ? PAGE : url.pathname;
  event.respondWith((async () => {
    const cache = await caches.open(CACHE);
    return (await cache.match(path)) ?? fetch(event.request);
  })());
});
