/**
 * The camera beside the field for the one-time code: offered where this browser can read square codes, else
 * said that the code is typed.
 */
import {cannotScan, codeIn, scan} from '../scanning.js';
import {button, el} from './dom.js';
import {say, sayError} from './say.js';
import {notice} from './text.js';

/** What stands under the field; `take(code)` is given the code that was read. */
export function scanner(take) {
  const place = el('div', {class: 'scanner', 'aria-live': 'polite'});
  const offer = () => button(say('tablet.scan.button'), 'scan', () => look(place, take, offer));
  cannotScan().then(reason =>
    place.replaceChildren(reason ? el('p', {class: 'label'}, say(reason)) : offer()),
  );
  return place;
}

async function look(place, take, offer) {
  const video = /** @type {HTMLVideoElement} */ (
    el('video', {playsinline: true, muted: true, 'aria-label': say('tablet.scan.sees')})
  );
  let goesOn = true;
  const stop = button(say('tablet.scan.stop'), 'scan-stop', () => {
    goesOn = false;
  });
  place.replaceChildren(video, el('p', {class: 'label'}, say('tablet.scan.how')), stop);
  try {
    const code = codeIn(await scan(video, () => goesOn && video.isConnected));
    place.replaceChildren(el('p', {}, say('tablet.scan.read')), offer());
    take(code);
  } catch (error) {
    place.replaceChildren(...(goesOn ? [notice('ask', sayError(error))] : []), offer());
  }
}
