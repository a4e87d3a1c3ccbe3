/**
 * What the typed steps share: fields that write through one keypad,
 * drafts that survive a reload, and a word for a refusal.
 */
import {entry} from '../plate.js';
import {el} from '../dom.js';
import {hardwareKeys, keypad} from '../keypad.js';
import {notice} from '../text.js';

/**
 * Fields on one keypad. `fields` is [{name, label, unit, note}]; what is typed lives in the setup's draft
 * under `typed`. Gives {plates, pad, refused, shown, value(name), fail(message, name), focus(name)}.
 */
export function typing({setup}, fields, keys, kind = '') {
  const typed = {...setup.draft.typed};
  let active = setup.draft.active ?? fields[0].name;
  const refused = el('div', {class: 'refused', id: 'refused', 'aria-live': 'assertive'});
  const inputs = {};
  const remember = () => setup.keepDraft({...setup.draft, typed: {...typed}, active});
  const changed = (name, text) => {
    typed[name] = text;
    refused.replaceChildren();
    remember();
  };
  const choose = name => {
    active = name;
    for (const [other, plate] of Object.entries(plates)) plate.classList.toggle('chosen', other === name);
  };
  const plates = Object.fromEntries(
    fields.map(({name, label, unit, note}) => {
      const plate = entry({
        label,
        unit,
        name,
        note,
        value: typed[name] ?? '',
        describedBy: 'refused',
        changed: text => changed(name, text),
        chosen: () => choose(name),
      });
      inputs[name] = plate.querySelector('input');
      return [name, plate];
    }),
  );
  const write = change => {
    inputs[active].value = change(inputs[active].value);
    changed(active, inputs[active].value);
  };
  choose(active);
  const onKey = hardwareKeys(write, keys);
  return {
    plates: Object.values(plates),
    pad: keypad(keys, write, kind),
    refused,
    active: () => active,
    value: name => typed[name] ?? '',
    focus: name => {
      choose(name);
      remember();
    },
    fail: message => refused.replaceChildren(notice('ask', message)),
    shown: () => {
      document.addEventListener('keydown', onKey);
      const gone = new MutationObserver(() => {
        if (refused.isConnected) return;
        document.removeEventListener('keydown', onKey);
        gone.disconnect();
      });
      gone.observe(/** @type {HTMLElement} */ (document.getElementById('app')), {
        childList: true,
        subtree: true,
      });
    },
  };
}
