/**
 * What runs when the page opens: is this browser able, what does it hold, who am I, where was I.
 * The first thing missing is said in plain words and ends the start.
 */
import {isAbsent, watchForAbsence} from './absence.js';
import {missingAbility} from './able.js';
import {Api} from './api.js';
import {Clock} from './clock.js';
import {keepOffline, lookForUpdate} from './offline.js';
import {missingOffline} from './offline_ready.js';
import {Setup} from './setup.js';
import {Store} from './store/db.js';
import {Drafts} from './store/drafts.js';
import {named} from './store/errors.js';
import {forgetClosed} from './store/forgetting.js';
import {keepServerKeys, ownDevice, proveKeeping} from './store/keys.js';
import {Ledger} from './store/ledger.js';
import {whatIsHeld} from './store/opening.js';
import {PhotoPost} from './photo_post.js';
import {Outbox} from './store/outbox.js';
import {Photos} from './store/photos.js';
import {protection} from './store/protection.js';
import {StepPictures} from './store/step_pictures.js';
import {Shelf} from './store/shelf.js';
import {Sync, whenToSync} from './sync.js';
import {Tablet} from './tablet.js';
import {Frame} from './ui/frame.js';
import {Guard} from './ui/guard.js';
import {NetworkLine} from './ui/network.js';
import {loadWords} from './ui/say.js';
import {onlyWriter} from './writer.js';

const version = /** @type {HTMLMetaElement} */ (document.querySelector('meta[name="zerokeep-version"]'))
  .content;
const root = /** @type {HTMLElement} */ (document.getElementById('app'));

async function start() {
  const missing = missingAbility();
  const reading = loadWords();
  const clock = new Clock();
  const network = new NetworkLine(text => tablet.say(text));
  const frame = new Frame(root, new Guard(root), network.element);
  const standalone =
    matchMedia('(display-mode: standalone), (display-mode: fullscreen)').matches ||
    /** @type {Navigator & {standalone?: boolean}} */ (navigator).standalone === true;
  const tablet = new Tablet({
    clock,
    network,
    frame,
    standalone,
    version,
    api: new Api(),
    sync: {state: {}, run: () => {}},
    said: /** @type {HTMLElement} */ (document.getElementById('said')),
  });
  if (missing) await reading;
  if (missing) return tablet.go({name: 'not-possible', ...missing});
  try {
    return await withStore(tablet, reading);
  } finally {
    watchVersion(tablet);
  }
}

/**
 * Behind the first screen, which does not need it, but whatever became of that:
 * a version with a fault is to be replaced.
 */
function watchVersion(tablet) {
  const registering = keepOffline({version, onNewer: take => tablet.offerUpdate(take)});
  registering.then(
    registration => {
      tablet.registration = registration;
    },
    () => {},
  );
  tablet.offline = missingOffline(registering);
  tablet.offline.then(missing => tablet.tellOffline(missing));
}

async function withStore(tablet, reading) {
  const store = new Store({
    onState: state => {
      if (state === 'blocked') tablet.go({name: 'not-kept', code: 'store.blocked'});
    },
  });
  Object.assign(tablet, {
    store,
    shelf: new Shelf(store),
    drafts: new Drafts(store),
    photos: new Photos(store),
    outbox: new Outbox(store, null),
  });
  let opening;
  try {
    opening = await whatIsHeld(store);
    tablet.clock.remember(opening.clock);
    Object.assign(tablet, await ownDevice(store, opening));
    if (!tablet.device) await proveKeeping(store);
  } catch (error) {
    await reading;
    return tablet.go({name: 'not-possible', code: named(error).code});
  }
  const [alone] = await Promise.all([tablet.device && onlyWriter(tablet.device.id), reading]);
  if (!tablet.device) return tablet.go({name: 'enrol'});
  if (!alone) return tablet.go({name: 'elsewhere'});
  return asDevice(tablet, opening);
}

async function asDevice(tablet, {chain, held, unsigned, clock: noted}) {
  const {store, device, shelf, clock, api} = tablet;
  tablet.outbox = new Outbox(store, device, chain);
  tablet.setup = Setup.resume(tablet, held);
  tablet.unsigned = unsigned.filter(({id}) => id !== held?.id);
  tablet.ledger = new Ledger({api, shelf, device, clock});
  await tablet.ledger.read();
  const inUse = () =>
    new Set([tablet.setup?.sheetHash, tablet.beginningOn, ...tablet.unsigned.map(({sheet}) => sheet)]);
  tablet.forget = () => forgetClosed(store, clock.wall(), inUse);
  tablet.photoPost = new PhotoPost({
    api,
    photos: tablet.photos,
    device,
    clock,
    onSent: () => tablet.photoSent(),
  });
  tablet.stepPictures = new StepPictures({store, api, device});
  tablet.sync = new Sync({
    api,
    stepPictures: tablet.stepPictures,
    outbox: tablet.outbox,
    shelf,
    device,
    clock,
    inUse,
    setups: () => Setup.mine(tablet),
    ledger: tablet.ledger,
    keepKeys: keys => keepServerKeys(store, device, keys),
    onChange: state => tablet.synced(state),
  });
  tablet.sync.state.certificate = noted?.certificate ?? null;
  await firstView(tablet);
  tablet.tellNetwork();
  askWhetherProtected(tablet);
  tablet.sync.run();
  whenToSync(() => {
    tablet.sync.run();
    if (!tablet.setup) lookForUpdate(tablet.registration);
  });
  watchForAbsence(tablet);
}

/** Some browsers never answer this one: nothing waits for it. */
async function askWhetherProtected(tablet) {
  tablet.storageProtected = (await protection()).persisted;
  if (tablet.view.name === 'machines') tablet.refresh();
}

/**
 * Where the person was: the same step with all that was typed; when that was long ago, whoever is there says
 * who they are first.
 */
async function firstView(tablet) {
  const {setup, clock} = tablet;
  if (!setup) return tablet.go({name: 'machines'});
  const sinceUtc = setup.rows.at(-1).payload.at_utc;
  const awayMs = clock.sinceMs(sinceUtc);
  if (setup.current && isAbsent(awayMs)) return tablet.askWho(sinceUtc, {name: 'step'});
  await tablet.go({name: 'step'});
  if (setup.state.status !== 'running') return undefined;
  return tablet.aside(() => setup.commit('setup.resumed', {away_ms: awayMs}));
}

start();
