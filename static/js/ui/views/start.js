/** Start: which machine, who you are, and what a look at the sheet says before a setup begins. */
import {button, el} from '../dom.js';
import {say, sayWith} from '../say.js';
import {fixturesOf, hasSeveral} from '../../rules/shop/fixtures.js';
import {rows} from '../choices.js';
import {peopleRows} from '../people.js';
import {notice} from '../text.js';
import {moment, momentSaid, span} from '../when.js';
import {boardPlate} from '../steps/board.js';
import {leftHalfSet} from '../steps/slot.js';
import {plate} from '../plate.js';
import {openWorries, worrySentence} from '../worries.js';
import {whereWords} from './fixtures.js';
import {ledgerNotice} from './ledger.js';
import {ageOfSheet, noAge, outOfReach, toldBy, wrongClock} from './times.js';

export function machinesView(tablet) {
  const {sheets} = tablet;
  const pick = hash => {
    const {sheet} = sheets.find(each => each.hash === hash);
    const [machine, fixture] = [sheet.machine.id, sheet.fixture.id];
    return tablet.go(hasSeveral(sheet) ? {name: 'fixtures', machine} : {name: 'people', machine, fixture});
  };
  if (sheets.length === 0)
    return {
      name: 'machines',
      title: say('tablet.start.no_sheets'),
      left: [updateOffer(tablet), el('p', {class: 'lead'}, say('tablet.start.no_sheets_do'))],
      right: foot(tablet),
      go: {label: say('tablet.start.fetch'), action: 'fetch', press: () => tablet.syncNow()},
    };
  return {
    name: 'machines',
    title: say('tablet.start.machine'),
    left: [
      ledgerNotice(tablet),
      updateOffer(tablet),
      waitingHere(tablet),
      notOffline(tablet),
      noAge(tablet.clock) ? notice('ask', noAge(tablet.clock)) : wrongClock(tablet.clock),
      outOfReach(tablet),
      rows(
        sheets
          .filter(isFirst)
          .map(({hash, sheet}) => ({id: hash, label: sheet.machine.name, note: machineNote(tablet, sheet)})),
        pick,
        {action: 'machine', kind: 'machines'},
      ),
    ],
    right: foot(tablet),
  };
}

/** Setups that wait on this tablet: begun for whoever goes on with them, finished for their signer. */
const waitingHere = tablet => [
  waiting(tablet, 'open', ({open}) => open),
  waiting(tablet, 'unsigned', ({open}) => !open),
];

function waiting(tablet, kind, belongs) {
  const found = tablet.unsigned.filter(belongs);
  if (found.length === 0) return null;
  const items = found.map(({id, name, machine, slot}) => ({
    id,
    label: say(kind === 'open' ? 'tablet.open.go_on' : 'tablet.unsigned.sign', {name}),
    note: [machine, slot].join(' · '),
  }));
  return el(
    'div',
    {class: 'waiting-signers'},
    el('p', {class: 'label'}, say(`tablet.${kind}.waits`)),
    rows(items, id => tablet.takeUp(id), {
      action: kind === 'open' ? 'go-on-waiting' : 'sign-waiting',
      kind: 'compact',
    }),
  );
}

/** One row a machine, however many fixtures it has. */
const isFirst = ({sheet}, place, all) =>
  all.findIndex(one => one.sheet.machine.id === sheet.machine.id) === place;

const machineNote = (tablet, sheet) =>
  [
    say(`tablet.board.${sheet.board.left ?? sheet.board.state}`),
    fixturesOf(sheet)
      .map(({name}) => name)
      .join(', '),
    ageOfSheet(tablet.clock, sheet.compiled_at_utc),
  ].join(' · ');

export function peopleView(tablet) {
  const {machine, fixture} = tablet.view;
  const {sheet} = tablet.sheetOf(machine, fixture);
  const now = tablet.clock.trueUtc();
  const people = sheet.people.map(person => ({
    id: person.id,
    label: person.name,
    note: personNote(sheet, person, now),
    ended: hasEnded(sheet, person, now),
  }));
  return {
    name: 'people',
    title: say('tablet.start.who', {machine: whereWords(sheet)}),
    left: [
      peopleRows(people, id => tablet.go({name: 'ready', machine, fixture, person: id}), 'person'),
      el('p', {class: 'label'}, say('tablet.start.not_listed', {lead: sheet.shop.lead})),
    ],
    beside: [tablet.backButton(hasSeveral(sheet) ? {name: 'fixtures', machine} : {name: 'machines'})],
  };
}

/**
 * Slots of a person; in words and by a mark when none of them,
 * or the person's right to the machine, still runs.
 */
function personNote(sheet, person, now) {
  const own = slotsOf(sheet, person);
  const slots = own.map(({label}) => label).join(', ');
  if (rightEnded(person, now))
    return say('tablet.start.right_ended', {slots: slots || say('tablet.start.no_slot_short')});
  if (own.length === 0) return say('tablet.start.no_slot_short');
  return own.every(slot => slotEnded(slot, now)) ? say('tablet.start.slot_ended_short', {slots}) : slots;
}

const slotsOf = (sheet, {id}) => sheet.slots.filter(slot => slot.kind === 'person' && slot.owner_id === id);
const rightEnded = ({until_utc: until}, now) => until !== null && now >= until;
const slotEnded = (slot, now) => slot.held_back || (slot.until_utc !== null && now >= slot.until_utc);
const hasEnded = (sheet, person, now) =>
  rightEnded(person, now) || slotsOf(sheet, person).every(slot => slotEnded(slot, now));

export function readyView(tablet) {
  const {machine, fixture, person: id} = tablet.view;
  const {hash, sheet} = tablet.sheetOf(machine, fixture);
  const person = sheet.people.find(each => each.id === id);
  const own = slotsOf(sheet, person);
  const worries = openWorries(sheet, tablet.worriesHere);
  const refusals = whyNot(tablet, sheet, person, own);
  return {
    name: 'ready',
    title: say('tablet.start.ready', {name: person.name, machine: whereWords(sheet)}),
    left: [
      refusals.map(text => notice('stop', text)),
      person.beside && notice('ask', say('tablet.start.beside')),
      leftHalfSet(own),
      ofAnother(sheet, own),
      saidSince(tablet, sheet, id),
      notOffline(tablet),
      wrongClock(tablet.clock),
      el(
        'div',
        {class: 'plates two'},
        plate(say('tablet.start.your_slot'), {
          value: own[0]?.label ?? say('tablet.slot.none'),
          other: own[0]?.until_utc ? sayWith('tablet.start.until', {time: moment(own[0].until_utc)}) : null,
        }),
        el(
          'div',
          {},
          boardPlate(
            sheet,
            worries,
            worries.filter(({blocks}) => !blocks),
            moment,
          ),
        ),
      ),
      !worries.some(({blocks}) => blocks) && el('p', {}, [sheet.fixture.name, sheet.probe.name].join(' · ')),
    ],
    right: [
      el(
        'p',
        {class: 'label'},
        sayWith(
          'tablet.start.sheet_from',
          {time: momentSaid(sheet.compiled_at_utc), until: momentSaid(sheet.expires_at_utc)},
          {span: span(tablet.clock.ageMs(sheet.compiled_at_utc))},
        ),
        ' ',
        toldBy(tablet.clock),
      ),
      el('p', {class: 'standing'}, sheet.shop.notice),
    ],
    go: refusals.length === 0 && {
      label: say('tablet.start.begin'),
      action: 'begin',
      press: () => tablet.begin(hash, sheet, id, tablet.view.takesOver ?? null),
    },
    beside: [tablet.backButton({name: 'people', machine, fixture})],
  };
}

/**
 * The own slot holds the numbers of another fixture, as far as it was told: a setup puts others in
 * their place.
 */
const ofAnother = (sheet, own) =>
  own
    .filter(({last_fixture_name: last}) => last && last !== sheet.fixture.name)
    .map(({label, last_fixture_name: other}) =>
      notice('ask', say('tablet.start.of_another', {slot: label, other, fixture: sheet.fixture.name})),
    );

/**
 * What a lead said about this person's last setup here:
 * done again, or an answer that came after they had gone on.
 */
function saidSince({lastWords}, {board: {redo = []}, people}, person) {
  const own = redo.filter(one => one.person === person);
  const the = by => people.find(({id}) => id === by)?.name ?? say('tablet.question.the_lead');
  const refused = own.length === 0 && lastWords?.notAccepted;
  const calm = (lastWords?.answers ?? []).filter(({answer}) => answer.decision === 'go_on');
  return [
    own.map(({why, axis, label, reason, by_name: by}) =>
      notice('stop', say(`tablet.redo.${why}`, {by, axis: axis ?? '', slot: label, reason})),
    ),
    refused &&
      notice(
        'stop',
        say('tablet.redo.not_accepted', {by: the(refused.by), axis: '', slot: '', reason: refused.reason}),
      ),
    calm.map(({text, answer: {by, reason}}) =>
      notice('plain', say('tablet.start.answered', {by: the(by), text, reason})),
    ),
  ];
}

/** Every reason why this person cannot begin here now, each with what to do. */
function whyNot(tablet, sheet, person, own) {
  const now = tablet.clock.trueUtc();
  const lead = {lead: sheet.shop.lead};
  return [
    noAge(tablet.clock),
    now >= sheet.expires_at_utc &&
      sayWith('tablet.start.sheet_expired', {time: momentSaid(sheet.expires_at_utc)}),
    rightEnded(person, now) &&
      sayWith('tablet.start.not_authorised', {time: momentSaid(person.until_utc)}, lead),
    ...tablet.unsigned
      .filter(({open, at}) => open && at === sheet.machine.id)
      .map(({name}) => say('tablet.open.same_machine', {name, ...lead})),
    own.length === 0 && say('tablet.start.no_slot', lead),
    own.length > 0 &&
      own.every(slot => slotEnded(slot, now)) &&
      say('tablet.start.slot_ended', {slot: own[0].label, ...lead}),
    ...openWorries(sheet, tablet.worriesHere)
      .filter(({blocks}) => blocks)
      .map(one => sayWith(`tablet.start.worry_${one.about}`, {worry: worrySentence(one)}, lead)),
    tablet.sync.state.device !== 'enrolled' && say(`tablet.device.${tablet.sync.state.device}`, lead),
  ].filter(Boolean);
}

/** This tablet could not open the page again without the server: whoever begins here knows it. */
const notOffline = ({offlineMissing}) =>
  offlineMissing && notice('ask', say('tablet.offline.warns'), ' ', say(offlineMissing));

function updateOffer(tablet) {
  if (!tablet.takeUpdate || tablet.hasOpen) return null;
  return el(
    'div',
    {class: 'notice plain offer'},
    el('p', {}, say('tablet.update.waits')),
    button(say('tablet.update.take'), 'take-update', () => tablet.takeUpdate()),
  );
}

const foot = tablet =>
  el(
    'div',
    {class: 'foot'},
    tablet.storageProtected === false && el('p', {class: 'label'}, say('tablet.start.not_protected')),
    button(say('tablet.start.holds'), 'holds', () => tablet.go({name: 'holds'})),
  );
