/**
 * Enrolment: a code from the lead, scanned or typed, makes this browser a device.
 * Offered in the installed app; in a browser only with a promise.
 */
import {el} from '../dom.js';
import {say, sayError} from '../say.js';
import {scanner} from '../scanner.js';
import {notice} from '../text.js';
import {waitingList} from './holds.js';

export function enrolView(tablet) {
  const {lost, waitingRows, standalone} = tablet;
  const draft = (tablet.enrolDraft ??= {code: '', label: '', stays: false});
  const refused = el('div', {id: 'refused', 'aria-live': 'assertive'});
  const field = (name, attributes) =>
    el('input', {
      type: 'text',
      id: name,
      autocapitalize: 'off',
      autocomplete: 'off',
      spellcheck: 'false',
      'aria-describedby': 'refused',
      ...attributes,
      on: {
        input: event => {
          draft[name] = event.target.value;
        },
      },
    });
  const code = field('code', {class: 'code'});
  const label = field('label', {maxlength: '60'});
  Object.assign(code, {value: draft.code});
  Object.assign(label, {value: draft.label});
  const stays =
    !standalone &&
    el(
      'label',
      {class: 'tick'},
      el('input', {
        type: 'checkbox',
        checked: draft.stays,
        data: {action: 'stays'},
        on: {
          change: event => {
            draft.stays = event.target.checked;
          },
        },
      }),
      el('span', {}, say('tablet.enrol.stays')),
    );
  const press = async () => {
    const missing =
      draft.code.trim() === ''
        ? 'code'
        : draft.label.trim() === ''
          ? 'label'
          : !standalone && !draft.stays
            ? 'stays'
            : null;
    if (missing) return refused.replaceChildren(notice('ask', say(`tablet.enrol.missing_${missing}`)));
    refused.replaceChildren(el('p', {}, say('tablet.enrol.waiting')));
    await tablet.offline;
    refused.replaceChildren(el('p', {}, say('tablet.enrol.asking')));
    try {
      await tablet.enrol({
        code: draft.code.trim(),
        label: draft.label.trim(),
        display: standalone ? 'standalone' : 'browser',
      });
    } catch (error) {
      refused.replaceChildren(notice('stop', sayError(error)));
    }
    return undefined;
  };
  return {
    name: 'enrol',
    title: say(lost ? 'tablet.enrol.lost' : 'tablet.enrol.title'),
    left: [
      el('p', {class: 'lead'}, say(lost ? 'tablet.enrol.lost_means' : 'tablet.enrol.means')),
      !standalone && el('p', {}, say('tablet.enrol.install')),
      lost && waitingList(waitingRows),
    ],
    right: el(
      'div',
      {class: 'fields'},
      el('label', {for: 'code'}, say('tablet.enrol.code')),
      code,
      scanner(read => {
        draft.code = read;
        Object.assign(code, {value: read});
        label.focus();
      }),
      el('label', {for: 'label'}, say('tablet.enrol.label')),
      label,
      stays,
      refused,
    ),
    go: {label: say('tablet.enrol.go'), action: 'enrol', press},
  };
}
