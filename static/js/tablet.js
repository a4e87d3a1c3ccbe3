/**
 * The tablet: what it holds, which view stands, and the way from a tap to a kept event to the next screen.
 * Nothing is shown as done before it is kept; a failure to keep becomes a screen of its own.
 */
import {ApiError} from './api.js';
import {enrol} from './enrolment.js';
import {holdVersion, lookForUpdate} from './offline.js';
import {Setup} from './setup.js';
import {hasSeveral} from './rules/shop/fixtures.js';
import {StoreError} from './store/errors.js';
import {lastWords} from './store/last_words.js';
import {CLOCK, CURRENT, heldSetup, UNSIGNED} from './store/opening.js';
import {chosen} from './store/own_machines.js';
import {ownOpenWorries} from './store/own_worries.js';
import {button} from './ui/dom.js';
import {say} from './ui/say.js';
import {stayAwake} from './ui/wake.js';
import {screenOf} from './ui/views/index.js';

const AFTER_PAINT_MS = 120;
const NOTE_CLOCK_EVERY_MS = 5 * 60_000;
const FORGET_EVERY_MS = 6 * 3_600_000;

export class Tablet {
  #busy = false;
  /** @type {number|undefined} */
  #sending;
  /** @type {number|undefined} */
  #lookAgain;
  #forgetAgainAt = 0;
  #noteClockAt = 0;
  /** @type {any} the view that asks who is there */
  #asking = null;

  // Put here by the start, some of them once the store is open.
  /** @type {import('./clock.js').Clock} */
  clock;
  /** @type {import('./api.js').Api} */
  api;
  /** @type {import('./store/db.js').Store} */
  store;
  /** @type {import('./store/shelf.js').Shelf} */
  shelf;
  /** @type {import('./store/drafts.js').Drafts} */
  drafts;
  /** @type {import('./store/outbox.js').Outbox} */
  outbox;
  /** @type {import('./store/photos.js').Photos} */
  photos;
  /** @type {import('./store/step_pictures.js').StepPictures} */
  stepPictures;
  /** @type {?import('./photo_post.js').PhotoPost} */
  photoPost;
  /** @type {import('./sync.js').Runner} */
  sync;
  /** @type {import('./ui/frame.js').Frame} */
  frame;
  /** @type {import('./ui/network.js').NetworkLine} */
  network;
  /** @type {HTMLElement} */
  said;
  /** @type {string} */
  version;
  /** @type {boolean} */
  standalone;
  /** @type {any} this tablet's own id, label and keys; null before it is enrolled */
  device;
  /** @type {ServiceWorkerRegistration|null|undefined} */
  registration;
  /** @type {() => Promise<void>} */
  forget;
  /** @type {Promise<any>} what the browser lacks to start without the network, or null */
  offline;
  /** @type {?import('./store/ledger.js').Ledger} */
  ledger;
  /** @type {?Setup} */
  setup;

  /**
   * `parts`: store, outbox, shelf, drafts, device, clock, api,
   * sync, version, frame, network, standalone, lost, said.
   * @param {Partial<Tablet>} parts
   */
  constructor(parts) {
    Object.assign(this, {
      setup: null,
      view: {name: 'machines'},
      sheets: [],
      worriesHere: [],
      lastWords: null,
      ledger: null,
      waitingRows: [],
      waitingPhotos: 0,
      takeUpdate: null,
      storageProtected: null,
      beginningOn: null,
      unsigned: [],
      isAway: false,
      offline: Promise.resolve(null),
      offlineMissing: null,
      photoPost: null,
      photoTrouble: null,
      ...parts,
    });
  }

  async go(view, options) {
    this.view = this.isAway && view.name === 'step' ? this.#asking : view;
    if (['machines', 'fixtures', 'people', 'ready'].includes(view.name)) {
      this.sheets = await this.shelf.newest();
      if (this.view !== view) return;
      this.view = this.#stillThere(view);
      this.worriesHere = await ownOpenWorries(this.shelf);
      if (this.view.name === 'people') this.#usedAt(this.view.machine);
      this.lastWords =
        this.view.name === 'ready' ? await lastWords(this, this.view.machine, this.view.person) : null;
    }
    if (view.name === 'holds') this.waitingPhotos = (await this.outbox.tally()).photos;
    if (['holds', 'enrol'].includes(view.name))
      this.waitingRows = [...(await this.outbox.refused()), ...(await this.outbox.waiting())];
    if (options?.quiet) await this.frame.guard.noFinger();
    this.render(options);
  }

  /**
   * Nothing was pressed since then: values are hidden, and whoever comes is asked who they are. Where they
   * go to say that something is wrong, the way back leads here until they have said so.
   */
  askWho(sinceUtc, before = this.view) {
    if (this.isAway || !this.setup?.current) return undefined;
    this.isAway = true;
    this.#asking = {name: 'away', sinceUtc, before};
    return this.go(this.#asking);
  }

  /**
   * This view, or one before it where the machine, the fixture or the person is no longer in the sheets, or
   * where the machine has got another fixture meanwhile: then it is asked which.
   */
  #stillThere(view) {
    if (view.name === 'machines') return view;
    const {machine, fixture} = view;
    const found = this.sheetOf(machine, view.name === 'fixtures' ? null : fixture);
    if (!found) return {name: 'machines'};
    if (view.name === 'fixtures') return view;
    if (!fixture && hasSeveral(found.sheet)) return {name: 'fixtures', machine};
    const listed = view.name !== 'ready' || found.sheet.people.some(({id}) => id === view.person);
    return listed ? view : {name: 'people', machine, fixture};
  }

  /**
   * Somebody chose this machine: a sheet of it that is not the newest is fetched while they say who they are.
   */
  async #usedAt(machine) {
    const isNew = await chosen(this.shelf, machine, this.clock.wall()).catch(() => false);
    if (isNew) this.sync.run();
  }

  render(options) {
    stayAwake(this.setup?.state.status === 'running');
    this.frame.show(screenOf(this), options);
  }

  refresh() {
    this.render({quiet: true});
  }

  /**
   * Look at the step again once this time is over: what was seen of the probe's input does not hold for ever.
   */
  lookAgainIn(ms) {
    clearTimeout(this.#lookAgain);
    if (ms !== null && ms >= 0)
      this.#lookAgain = setTimeout(() => {
        if (this.view.name === 'step') this.refresh();
      }, ms + 50);
  }

  say(text) {
    this.said.textContent = text;
  }

  /**
   * Do something that keeps an event, then show where that leads. A second tap meanwhile does
   * nothing. `stay`: the screen that stands is brought up to date; `fresh`: the view that the work
   * has set stands anew.
   */
  async act(work, {stay = false, fresh = false} = {}) {
    if (this.#busy) return;
    this.#busy = true;
    this.frame.guard.working();
    try {
      await work();
      if (fresh) this.render();
      else if (stay) this.refresh();
      else await this.go(this.setup ? {name: 'step'} : this.view);
    } catch (error) {
      this.#stopped(error);
    } finally {
      this.#busy = false;
    }
  }

  /**
   * Keep an event that changes nothing on the screen.
   * The chain has its order, so a tap meanwhile is kept behind it.
   */
  async aside(work) {
    try {
      await work();
    } catch (error) {
      this.#stopped(error);
    }
  }

  /**
   * Something was not kept. Another tab going on with the chain is its own case;
   * a fault of the program is told as loss too.
   */
  #stopped(error) {
    const kept = error instanceof StoreError;
    if (!kept) reportError(error);
    const elsewhere = ['store.chain_moved', 'store.taken'].includes(error.code);
    this.view = elsewhere ? {name: 'elsewhere'} : {name: 'not-kept', code: kept ? error.code : 'store.lost'};
    this.render();
  }

  /**
   * Begin on the sheet that was shown.
   * A newer one may have taken its place meanwhile: then that one is shown first.
   */
  begin(sheetHash, sheet, person, takesOver = null) {
    return this.act(async () => {
      this.beginningOn = sheetHash;
      if (!(await this.shelf.isCurrent(sheetHash))) return;
      const display = this.standalone ? 'standalone' : 'browser';
      this.setup = await Setup.begin(this, {
        sheetHash,
        sheet,
        person,
        id: crypto.randomUUID(),
        display,
        takesOver,
      });
      holdVersion(this.version);
    });
  }

  #running() {
    if (!this.setup) throw new Error('no setup is under way');
    return this.setup;
  }

  async leaveSetup() {
    await this.setup?.leave();
    this.setup = null;
    this.isAway = false;
    this.sync.state.also = [];
    if (!this.hasOpen) {
      holdVersion(null);
      lookForUpdate(this.registration);
    }
    await this.go({name: 'machines'});
  }

  /** Whether a setup that somebody else left stands open here: the version that it runs on stays. */
  get hasOpen() {
    return this.unsigned.some(({open}) => open);
  }

  /** Somebody else is here: the setup stands as it is and waits on this tablet for its person. */
  leaveOpen() {
    return this.act(async () => {
      await this.#noteWaiting({open: true, at: this.#running().machine.id});
      await this.leaveSetup();
    });
  }

  /** The finished setup waits on this tablet for its signer, and the tablet is free for the next person. */
  leaveUnsigned() {
    return this.act(async () => {
      const setup = this.#running();
      await setup.commit('setup.left_unsigned', {});
      await this.#noteWaiting({});
      const next = setup.state.broken_off?.to ?? null;
      if (next) await this.#toNext();
      else await this.leaveSetup();
    });
  }

  /**
   * Take up a setup that waits for its signer, or for the person who goes on with it. It waits no more;
   * left again, it waits again.
   */
  takeUp(id) {
    return this.act(async () => {
      const held = await heldSetup(this.store, id);
      const {open} = this.unsigned.find(one => one.id === id);
      this.setup = Setup.resume(this, held);
      await this.shelf.note(CURRENT, id);
      await this.#noteUnsigned(this.unsigned.filter(one => one.id !== id));
      holdVersion(this.version);
      if (open) await this.askWho(held.rows.at(-1).payload.at_utc, {name: 'step'});
    });
  }

  /** Note that the setup waits here: for its signer, or `open` at a machine for whoever goes on with it. */
  async #noteWaiting(more) {
    const setup = this.#running();
    const waiting = {
      id: setup.id,
      sheet: setup.sheetHash,
      name: setup.personName,
      machine: setup.machine.name,
      slot: setup.slotLabel,
      ...more,
    };
    await this.#noteUnsigned([...this.unsigned.filter(({id}) => id !== setup.id), waiting]);
  }

  async #noteUnsigned(waiting) {
    await this.shelf.note(UNSIGNED, waiting);
    this.unsigned = waiting;
  }

  /** The person whom this setup was handed to begins anew. */
  beginNext() {
    return this.act(() => this.#toNext());
  }

  async #toNext() {
    const {id, person, machine, sheet, state} = this.#running();
    const view = {
      name: 'ready',
      machine: machine.id,
      fixture: sheet.fixture.id,
      person: state.broken_off.to,
      takesOver: {setup: id, person},
    };
    await this.leaveSetup();
    await this.go(view);
  }

  /** What would be missing without the server, if anything: said before a setup begins, never inside one. */
  async tellOffline(missing) {
    this.offlineMissing = missing;
    if (!missing) return;
    await this.frame.guard.noFinger();
    if (['machines', 'ready'].includes(this.view.name)) this.refresh();
  }

  /** Throws where this tablet could not open the page again without the server: then it is not enrolled. */
  async enrol(answers) {
    const missing = await this.offline;
    if (missing) throw new ApiError(missing);
    await enrol(this, answers);
    location.reload();
  }

  /** An event was kept: once the next screen is painted, say so on the quiet line and try to send it. */
  committed() {
    clearTimeout(this.#sending);
    this.#sending = setTimeout(() => {
      this.tellNetwork();
      this.sync.run();
    }, AFTER_PAINT_MS);
  }

  async tellNetwork() {
    if (this.outbox) this.network.show(await this.outbox.tally(), this.sync.state, this.clock, this.ledger);
  }

  /** The server has answered about a picture: what became of it comes with the news. */
  async photoSent() {
    await this.tellNetwork();
    this.sync.run();
  }

  async syncNow() {
    await this.sync.run();
    await this.go(this.view);
  }

  /** The sync has news: decisions may change the step, sheets the start screen. What is being typed stays. */
  async synced({changed, reached, clockMoved}) {
    await this.tellNetwork();
    if (reached) this.photoPost?.run();
    if (reached) await this.#rememberClock(clockMoved);
    if (reached) await this.#forgetSometimes();
    if (!changed) return;
    if (this.setup) await this.#takeDecisions(this.setup);
    else if (['machines', 'fixtures', 'ready'].includes(this.view.name))
      await this.go(this.view, {quiet: true});
  }

  /**
   * What stands and what the screen shows of it change together, and never under a finger: what it presses is
   * what was seen. A finger may come down while they are read.
   */
  async #takeDecisions(setup) {
    const decisions = await this.shelf.decisions(setup.id);
    await this.frame.guard.noFinger();
    if (this.setup !== setup) return;
    const before = JSON.stringify(setup.state);
    setup.take(decisions);
    if (JSON.stringify(setup.state) !== before) this.refresh();
  }

  /**
   * Note how the clocks compare and how long the server's certificate holds, for a start without the server:
   * when that has changed, else every few minutes.
   */
  async #rememberClock(moved) {
    if (!moved && this.clock.forward() < this.#noteClockAt) return;
    this.#noteClockAt = this.clock.forward() + NOTE_CLOCK_EVERY_MS;
    const {certificate} = this.sync.state;
    await this.shelf.note(CLOCK, {...this.clock.toRemember, certificate}).catch(() => {});
  }

  /**
   * Let go of setups that are long over:
   * once a start and then every few hours, as long as the server answers.
   */
  async #forgetSometimes() {
    if (this.clock.forward() < this.#forgetAgainAt) return;
    this.#forgetAgainAt = this.clock.forward() + FORGET_EVERY_MS;
    await this.forget().catch(() => {});
  }

  /** A newer version can be taken: offered on the screen between setups, never inside one. */
  async offerUpdate(take) {
    this.takeUpdate = take;
    await this.frame.guard.noFinger();
    if (this.view.name === 'machines') this.refresh();
  }

  /**
   * The newest sheet of a machine with this fixture: {hash, sheet}. Without a fixture the machine's first, to
   * tell of the machine: nobody begins on it where there are several.
   */
  sheetOf(machine, fixture = null) {
    return this.sheets.find(
      ({sheet}) => sheet.machine.id === machine && (!fixture || sheet.fixture.id === fixture),
    );
  }

  backButton(view = {name: 'step'}) {
    return button(say('tablet.back'), 'back', () => this.go(view));
  }
}
