// The service worker, and updates that ask.

export async function offline(offer) {
  if (!('serviceWorker' in navigator)) return;
  let asked = false;
  navigator.serviceWorker.addEventListener('controllerchange', () => {
    // The first take-over belongs to the first visit; a later one was asked for.
    if (asked) location.reload();
  });
  const registration = await navigator.serviceWorker.register('/phone/sw.js', { updateViaCache: 'none' })
    .catch(() => null);
  if (!registration) return;
  const waits = () => {
    if (!registration.waiting || !navigator.serviceWorker.controller) return;
    offer(() => {
      asked = true;
      registration.waiting.postMessage('take over');
    });
  };
  waits();
  registration.addEventListener('updatefound', () => {
    registration.installing?.addEventListener('statechange', waits);
  });
  document.addEventListener('visibilitychange', () => {
    if (!document.hidden) registration.update().catch(() => {});
  });
}

// Asks the browser not to throw the records away when room gets short.
export async function keep() {
  if (!navigator.storage?.persist) return false;
  return (await navigator.storage.persisted()) || navigator.storage.persist();
}
