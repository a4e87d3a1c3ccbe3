/**
 * One running setup on this tablet: its events, what they amount to (the fold), and the one way to
 * add to it. Nothing here is shown as done before `commit` has resolved, and `commit` resolves only
 * after the event is kept.
 */
import {fold} from './rules/setup/fold.js';
import {stagesFor} from './rules/setup/for_whom.js';
import {isPractised} from './rules/setup/steps.js';
import {carryCautions, noteCaution} from './shift.js';
import {signedSeal} from './proof/jwe.js';
import {CURRENT, MINE} from './store/opening.js';
import {rememberWorry} from './store/own_worries.js';

/** Events that come between: what stands half typed stays. */
const BESIDE = new Set([
  'hold.pressed',
  'worry.raised',
  'question.put',
  'setup.resumed',
  'stop.lifted',
  'photo.taken',
  'beside.named',
]);
/** The server answers about 500 at most, and nobody looks at older ones here. */
const MOST_ASKED = 200;

export class Setup {
  #forwardStart;
  #elapsedBefore = 0;
  /** @type {import('./tablet.js').Tablet} */
  tablet;
  /** @type {string} */
  id;
  /** @type {string} */
  sheetHash;
  /** @type {any} the sheet as the server wrote it */
  sheet;
  /** @type {string} */
  person;
  /** @type {any[]} the stages with the steps that stand for this person */
  stages;
  /** @type {any[]} the kept rows of its events, in the tablet's order */
  rows;
  /** @type {any[]} */
  decisions;
  /** @type {Object<string, any>} */
  draft;

  constructor(tablet, {id, sheetHash, sheet, person, rows, decisions, draft}) {
    Object.assign(this, {tablet, id, sheetHash, sheet, person, rows, decisions, draft});
    this.stages = stagesFor(sheet, person);
    this.#forwardStart = tablet.clock.forward();
    const last = rows.at(-1);
    if (last) this.#elapsedBefore = last.payload.elapsed_ms + tablet.clock.sinceMs(last.payload.at_utc);
    this.refold();
  }

  /**
   * Begin a setup: its first event is kept before it counts.
   * @param {import('./tablet.js').Tablet} tablet
   * @param {{sheetHash: string, sheet: any, person: string, id: string, display: string,
   *   takesOver?: ?{setup: string, person: string}}} beginning
   */
  static async begin(tablet, {sheetHash, sheet, person, id, display, takesOver = null}) {
    const setup = new Setup(tablet, {id, sheetHash, sheet, person, rows: [], decisions: [], draft: {}});
    await tablet.shelf.note(CURRENT, id);
    await tablet.shelf.keepUsed(sheetHash);
    await setup.commit('setup.started', {machine: sheet.machine.id, display}, null);
    if (takesOver)
      await setup.commit('setup.taken_over', {from_setup: takesOver.setup, from_person: takesOver.person});
    await carryCautions(setup);
    await tablet.shelf.note(MINE, await Setup.mine(tablet));
    return setup;
  }

  /**
   * The setup that was running when the page went away,
   * out of what the start has read (`held` of opening.js); or null.
   */
  static resume(tablet, held) {
    if (!held) return null;
    const {id, rows, drafts} = held;
    const {sheet: sheetHash, person} = rows[0].payload;
    const decisions = held.decisions.map(text => JSON.parse(text));
    const setup = new Setup(tablet, {
      id,
      sheetHash,
      sheet: JSON.parse(held.sheet.text),
      person,
      rows,
      decisions,
      draft: {},
    });
    setup.draft = drafts.find(({step}) => step === setup.state.current_step)?.typed ?? {};
    return setup;
  }

  /**
   * Ids of the newest setups made here, oldest first: those that the server may still have decisions about.
   */
  static async mine({shelf}) {
    const [ids, current] = [(await shelf.noted(MINE)) ?? [], await shelf.noted(CURRENT)];
    return [...ids.filter(id => id !== current), ...(current ? [current] : [])].slice(-MOST_ASKED);
  }

  /** Let go of this setup: the tablet is free for the next one. Its events stay where they are. */
  leave() {
    return this.tablet.shelf.note(CURRENT, null);
  }

  /**
   * Keep one event of this setup. `pin` is sealed in beside a signature, for the key that the tablet got at
   * its enrolment: a sheet comes without a signature, and whoever could change one must not get at a PIN by
   * it. `pinOf`: whose PIN it is. `picture`: the bytes of one that the event names, kept with it.
   * @param {string} type
   * @param {Object<string, any>} data
   * @param {?string} [step]
   * @param {?string} [pin]
   * @param {string} [pinOf]
   * @param {?Uint8Array} [picture]
   */
  async commit(type, data, step = this.state.current_step, pin = null, pinOf = this.person, picture = null) {
    const {outbox, clock, device, version} = this.tablet;
    const body = {
      type,
      setup: this.id,
      sheet: this.sheetHash,
      app: version,
      person: this.person,
      at_utc: clock.nowUtc(),
      elapsed_ms: this.elapsedMs(),
      step,
      data,
    };
    const seal = pin === null ? undefined : event => signedSeal(pin, device, {event, person: pinOf});
    const row = await outbox.append(body, seal, picture);
    const before = this.state?.current_step ?? null;
    this.rows.push(row);
    this.refold();
    if (!BESIDE.has(type) || before !== this.state.current_step) this.#dropDraft(before);
    if (type === 'caution.read') noteCaution(this, row).catch(() => {});
    if (data.about) await this.#rememberWorry(row);
    this.tablet.committed();
    return row;
  }

  /**
   * A worry holds for the next person at this tablet at once.
   * The event is kept; without the note the next sheet tells it.
   */
  async #rememberWorry(row) {
    const worry = this.state.worries.find(({event}) => event === row.id);
    if (!worry) return; // kept, and not counted: by a sheet from before it could be raised at the signature
    await rememberWorry(this.tablet.shelf, row, this.sheet, this.personName, worry.blocks).catch(() => {});
  }

  refold() {
    this.state = fold(
      this.sheet,
      this.rows.map(({id, payload}) => ({id, ...payload})),
      this.decisions,
    );
  }

  async readDecisions() {
    this.take(await this.tablet.shelf.decisions(this.id));
  }

  take(decisions) {
    this.decisions = decisions;
    this.refold();
  }

  elapsedMs() {
    return Math.max(0, Math.round(this.#elapsedBefore + this.tablet.clock.forward() - this.#forwardStart));
  }

  /** Remember what stands half typed on the current step. */
  keepDraft(typed) {
    this.draft = typed;
    this.tablet.drafts.keep(this.id, this.state.current_step, typed).catch(() => {});
  }

  #dropDraft(step) {
    this.draft = {};
    if (step) this.tablet.drafts.drop(this.id, step).catch(() => {});
  }

  get machine() {
    return this.sheet.machine;
  }
  get lead() {
    return this.sheet.shop.lead;
  }
  /**
   * The step of this id, in the words for this person:
   * of the procedure, or the one that sets a row to zero again.
   */
  step(id) {
    return this.#worded(
      [...this.stages.flatMap(({steps}) => steps), ...this.#zero].find(step => step.id === id) ?? null,
    );
  }
  get current() {
    return this.step(this.state.current_step);
  }
  stageOf(id) {
    const stow = this.#zero.some(step => step.id === id) ? 'stow' : null;
    return this.stages.find(({id: stage, steps}) => stage === stow || steps.some(step => step.id === id));
  }
  #worded(step) {
    return step && isPractised(this.sheet, step, this.person)
      ? {...step, ...step.practised, choices: []}
      : step;
  }
  get #zero() {
    return this.sheet.row_to_zero ? [this.sheet.row_to_zero] : [];
  }
  axis(name) {
    return this.sheet.axes.find(({axis}) => axis === name);
  }
  get personName() {
    return this.nameOf(this.person) ?? this.person;
  }
  get ownSlots() {
    return this.sheet.slots.filter(slot => slot.kind === 'person' && slot.owner_id === this.person);
  }
  /** The name of an operator on the sheet, else null. */
  nameOf(id) {
    return this.sheet.people.find(person => person.id === id)?.name ?? null;
  }
  get slotLabel() {
    return this.state.slot ?? this.ownSlots[0]?.label ?? '';
  }

  /**
   * Wording of the sheet with the operator's own slot put in;
   * all else was filled when the sheet was compiled.
   */
  fill(text) {
    return (text ?? '').replaceAll('{slot}', this.slotLabel);
  }
}
