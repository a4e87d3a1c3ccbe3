/**
 * The test of a device: does it trust the server, and can it work without it? One line each, pass or fail,
 * with what to do. Nothing is enrolled and nothing stays but the worker and its files.
 */
import {missingAbility} from './able.js';
import {keepOffline} from './offline.js';
import {missingOffline} from './offline_ready.js';
import {Store} from './store/db.js';
import {named} from './store/errors.js';
import {proveKeeping} from './store/keys.js';
import {protection} from './store/protection.js';
import {el} from './ui/dom.js';
import {loadWords, say} from './ui/say.js';

const ANSWER_WITHIN_MS = 5000;
const PASSED = null;

const within = promise =>
  Promise.race([
    Promise.resolve(promise).catch(() => null),
    new Promise(resolve => {
      setTimeout(() => resolve(null), ANSWER_WITHIN_MS);
    }),
  ]);

/** What each line does: null when it passes, else {code, fields} of what is wrong. */
const TESTS = {
  secure: async () => missingAbility() ?? PASSED,
  worker: async ({version}) => {
    const code = await missingOffline(keepOffline({version, onNewer: () => {}}));
    return code ? {code, fields: {}} : PASSED;
  },
  keys: async () => {
    const store = new Store({name: 'zerokeep-self-test'});
    try {
      await proveKeeping(store);
      return PASSED;
    } catch (error) {
      return {code: named(error).code, fields: {}};
    } finally {
      store.close();
      indexedDB.deleteDatabase('zerokeep-self-test');
    }
  },
  kept: async () => {
    await within(navigator.storage?.persist?.());
    const {persisted} = await protection();
    if (persisted === true) return PASSED;
    return {code: `tablet.self_test.kept_${persisted === null ? 'unknown' : 'not'}`, fields: {}};
  },
};

function show(name, state, outcome) {
  const line = /** @type {HTMLElement} */ (document.querySelector(`[data-test="${name}"]`));
  line.dataset.state = state;
  const text = outcome ? say(outcome.code, outcome.fields) : '';
  const title = say(`tablet.self_test.${state}`, {what: say(`tablet.self_test.${name}`)});
  line.replaceChildren(el('b', {}, title), el('span', {}, text));
}

/**
 * All lines, one after the other: a device that is not trusted fails the first, and the others would say
 * nothing new.
 */
async function run(version) {
  for (const name of Object.keys(TESTS)) show(name, 'waits');
  for (const [name, test] of Object.entries(TESTS)) {
    show(name, 'runs');
    const outcome = await test({version});
    show(name, outcome ? 'fails' : 'passes', outcome);
    if (name === 'secure' && outcome) break;
  }
  document.body.dataset.tested = 'yes';
}

async function start() {
  await loadWords();
  const {content: version} = /** @type {HTMLMetaElement} */ (
    document.querySelector('meta[name="zerokeep-version"]')
  );
  const button = /** @type {HTMLButtonElement} */ (document.querySelector('[data-action="test"]'));
  button.disabled = false;
  button.addEventListener('click', async () => {
    button.disabled = true;
    delete document.body.dataset.tested;
    await run(version);
    button.disabled = false;
  });
}

start();
