/**
 * Keep the screen awake while a setup runs, where the browser can.
 * A refusal is no error: nothing depends on it.
 */
/** @type {?WakeLockSentinel} */
let held = null;
let wanted = false;

export function stayAwake(want) {
  wanted = want;
  if (want) ask();
  else
    held
      ?.release()
      .catch(() => {})
      .finally(() => {
        held = null;
      });
}

async function ask() {
  if (held || document.visibilityState !== 'visible' || !navigator.wakeLock) return;
  try {
    held = await navigator.wakeLock.request('screen');
    held.addEventListener('release', () => {
      held = null;
    });
  } catch {
    /* battery saver, or not allowed here */
  }
}

document.addEventListener('visibilitychange', () => {
  if (wanted) ask();
});
