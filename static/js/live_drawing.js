/**
 * The vise, the probe or the travel of a form, drawn anew by the server a moment after something was typed;
 * without it, at a look. A form that asks for much says which of it is drawn (`data-drawn-from`).
 */

const WAIT_MS = 250;
const PICTURE = 'picture';

/** @param {HTMLFormElement} form @param {string} theme */
function address(form, theme) {
  const typed = new URLSearchParams();
  const from = form.dataset.drawnFrom?.split(' ') ?? [''];
  for (const [name, value] of new FormData(form)) {
    const isKept = ['csrf_token', 'over', 'seen', 'reason'].includes(name);
    if (typeof value === 'string' && !isKept && from.some(start => name.startsWith(start)))
      typed.set(name, value);
  }
  typed.set('theme', theme);
  return `/desk/shop/drawing.svg?${typed}`;
}

/** @param {HTMLFormElement} form */
function draw(form) {
  const picture = form.querySelector(PICTURE);
  picture?.querySelector('source')?.setAttribute('srcset', address(form, 'dark'));
  picture?.querySelector('img')?.setAttribute('src', address(form, 'light'));
}

const form = /** @type {HTMLFormElement | null} */ (document.getElementById('item-form'));
let waiting = 0;
form?.addEventListener('input', () => {
  clearTimeout(waiting);
  waiting = window.setTimeout(() => draw(form), WAIT_MS);
});
