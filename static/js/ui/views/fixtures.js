/** Which fixture of a machine a setup is for: asked where there are several, and never taken for granted. */
import {fixturesOf} from '../../rules/shop/fixtures.js';
import {rows} from '../choices.js';
import {el} from '../dom.js';
import {say} from '../say.js';
import {notice} from '../text.js';
import {ageOfSheet} from './times.js';

export function fixturesView(tablet) {
  const {machine} = tablet.view;
  const {sheet} = tablet.sheetOf(machine);
  const offered = fixturesOf(sheet).map(({id, name}) => {
    const held = tablet.sheetOf(machine, id);
    return {
      id,
      label: name,
      note: held
        ? ageOfSheet(tablet.clock, held.sheet.compiled_at_utc)
        : say('tablet.start.fixture_no_sheet'),
      waits: !held,
      ended: !held,
    };
  });
  const pick = id => {
    if (tablet.sheetOf(machine, id)) tablet.go({name: 'people', machine, fixture: id});
  };
  return {
    name: 'fixtures',
    title: say('tablet.start.which_fixture', {machine: sheet.machine.name}),
    left: [
      el('p', {class: 'lead'}, say('tablet.start.which_fixture_do')),
      rows(offered, pick, {action: 'fixture', kind: 'machines'}),
    ],
    right: [notice('plain', say('tablet.start.which_fixture_why', {lead: sheet.shop.lead}))],
    beside: [tablet.backButton({name: 'machines'})],
  };
}

/** The machine, and at a machine with several fixtures the one that was chosen. */
export const whereWords = sheet =>
  fixturesOf(sheet).length > 1 ? `${sheet.machine.name}, ${sheet.fixture.name}` : sheet.machine.name;
