/**
 * The frame around every screen: scale, where-line, the middle, and the bottom edge with one primary action.
 * A screen is a plain object: {name, title, step?, kind?, strip?, left?, right?, go?, beside?, scale?}.
 * Showing one moves the focus to its heading and starts the moment in which nothing can be pressed. The
 * heading stands first in the page, then what is due and what can be pressed; scale and where-line, which the
 * style sheet puts above, come behind.
 */
import {button, el} from './dom.js';
import {halfTyped, putBack} from './half_typed.js';
import {slideFrom} from './scale.js';

export class Frame {
  /**
   * @param {HTMLElement} root
   * @param {import('./guard.js').Guard} guard
   * @param {HTMLElement} networkLine
   */
  constructor(root, guard, networkLine) {
    this.root = root;
    this.guard = guard;
    this.networkLine = networkLine;
    document.addEventListener('keydown', event => this.#onEnter(event));
  }

  /**
   * Put a screen up. `quiet` keeps the focus and what is half typed where they are: the same screen,
   * brought up to date.
   */
  show(screen, {quiet = false} = {}) {
    const before = this.root.querySelector('.scale');
    const stood = quiet ? this.guard.look() : undefined;
    const typed = quiet ? halfTyped(this.root) : new Map();
    const focused = quiet ? /** @type {?HTMLElement} */ (document.activeElement)?.dataset?.action : null;
    this.root.className = `frame${screen.scale ? ' with-scale' : ''}`;
    Object.assign(this.root.dataset, {screen: screen.name, step: screen.step ?? '', kind: screen.kind ?? ''});
    const heading = el('h1', {tabindex: '-1', id: 'heading'}, screen.title);
    this.root.replaceChildren(
      ...[this.#middle(screen, heading), bottom(screen), screen.scale, this.#where(screen)].filter(Boolean),
    );
    this.#letScroll();
    if (screen.scale) slideFrom(before, screen.scale);
    const isTyping = quiet && putBack(this.root, typed);
    if (quiet && !isTyping) this.#focusAgain(focused);
    else if (!quiet) heading.focus({preventScroll: true});
    this.guard.shown(stood);
    screen.shown?.();
  }

  /** A middle in which nothing can be pressed takes the focus itself, so that keys scroll it. */
  #letScroll() {
    const middle = this.root.querySelector('main');
    if (middle && !middle.querySelector('button, a[href], summary, input, textarea')) middle.tabIndex = 0;
  }

  #where({where = []}) {
    return el('div', {class: 'where'}, el('p', {class: 'where-at'}, where), this.networkLine);
  }

  #middle({name, kind, strip, left, right}, heading) {
    const sides = [left && el('div', {class: 'left'}, left), right && el('div', {class: 'right'}, right)];
    return el(
      'main',
      {class: `middle view-${name}${kind ? ` kind-${kind}` : ''}${left && right ? ' two' : ''}`},
      heading,
      el('div', {class: 'strips'}, strip),
      sides,
    );
  }

  /** Enter presses the primary action wherever the focus is, but on a control that Enter presses itself. */
  #onEnter(event) {
    if (
      event.key !== 'Enter' ||
      event.repeat ||
      event.defaultPrevented ||
      event.target.closest?.('button, a, summary, textarea')
    )
      return;
    event.preventDefault();
    /** @type {?HTMLElement} */ (this.root.querySelector('.go'))?.click();
  }

  #focusAgain(action) {
    const again = action ? this.root.querySelector(`[data-action="${CSS.escape(action)}"]`) : null;
    const wanted = /** @type {?HTMLElement} */ (again ?? document.getElementById('heading'));
    wanted?.focus({preventScroll: true});
  }
}

function bottom({go, beside = []}) {
  if (!go && beside.length === 0) return null;
  return el(
    'footer',
    {class: 'bottom', data: {beside: beside.length}},
    go &&
      button(go.label, go.action ?? 'go', go.press, {class: 'go', 'aria-disabled': go.waits ? 'true' : null}),
    beside,
  );
}
