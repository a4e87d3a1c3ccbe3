/**
 * A step of a procedure as a tablet shows it, on a page of the desk: the tablet's own screen, of a sheet that
 * the page carries, at a setup that nobody walks. Nothing on it can be pressed, and nothing is kept.
 */
import {Clock} from './clock.js';
import {asIfReached} from './glass_state.js';
import {Setup} from './setup.js';
import {Frame} from './ui/frame.js';
import {Guard} from './ui/guard.js';
import {loadWords} from './ui/say.js';
import {el} from './ui/dom.js';
import {stepView} from './ui/views/step.js';

const root = /** @type {HTMLElement} */ (document.getElementById('app'));
const nothing = () => {};
const kept = async () => {};

async function pictureAtDesk(hash) {
  const answer = await fetch(`/desk/step-pictures/${hash}.jpg`);
  return answer.ok ? new Uint8Array(await answer.arrayBuffer()) : null;
}

/** The first event of a setup, as far as a screen looks at it. */
const begun = (sheet, person, clock) => ({
  id: '',
  payload: {
    type: 'setup.started',
    setup: '',
    sheet: '',
    device: '',
    person,
    step: null,
    at_utc: clock.nowUtc(),
    elapsed_ms: 0,
    data: {machine: sheet.machine.id, display: 'browser'},
  },
});

async function show() {
  await loadWords();
  const {sheet, step, person} = JSON.parse(root.dataset.glass ?? '');
  const tablet = /** @type {any} */ ({
    clock: new Clock(),
    act: nothing,
    go: nothing,
    refresh: nothing,
    lookAgainIn: nothing,
    leaveUnsigned: nothing,
    worriesHere: [],
    photoTrouble: null,
    photos: {of: async () => null},
    stepPictures: {of: pictureAtDesk},
    drafts: {keep: kept, drop: kept},
  });
  const about = {id: '', sheetHash: '', sheet, person, decisions: [], draft: {}};
  const setup = new Setup(tablet, {...about, rows: [begun(sheet, person, tablet.clock)]});
  setup.state = asIfReached(setup, step);
  tablet.setup = setup;
  document.documentElement.classList.add('tablet');
  new Frame(root, new Guard(root), el('p', {class: 'network'})).show(stepView(tablet));
  root.inert = true;
}

show();
