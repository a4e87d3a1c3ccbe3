/**
 * Large rows to choose from, each one tap.
 * The chosen one carries a mark and a word for readers, not just a colour.
 */
import {button, el} from './dom.js';

/**
 * Rows of {id, label, note?, waits?, ended?, ticked?}; `pick(id)` on a tap.
 * What has ended stands in a broken frame and says so in its note.
 */
export function rows(items, pick, {chosen = null, action = 'choose', kind = ''} = {}) {
  return el(
    'ul',
    {class: `rows ${kind}`},
    items.map(({id, label, note, waits, ended, ticked}) =>
      el(
        'li',
        {},
        button(
          [
            el('span', {class: 'row-mark', 'aria-hidden': 'true'}),
            el('span', {class: 'row-label'}, label),
            note && el('small', {}, note),
          ],
          action,
          () => pick(id),
          {
            class: ended ? 'row ended' : 'row',
            data: {choice: id},
            'aria-pressed':
              ticked !== undefined ? String(ticked) : chosen === null ? null : String(id === chosen),
            'aria-disabled': waits ? 'true' : null,
          },
        ),
      ),
    ),
  );
}
