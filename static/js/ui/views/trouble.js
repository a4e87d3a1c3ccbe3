/**
 * What happened during a move, and the way on from it: held, the wrong way, an alarm, nothing found, a change
 * that stuck. First what happened, then what to do about it, line by line; what is kept leads back through
 * what a reset of the control drops.
 */
import {WORRIES} from '../../rules/setup/trouble/worries.js';
import {el} from '../dom.js';
import {say} from '../say.js';
import {rows} from '../choices.js';
import {notice} from '../text.js';
import {around, beside} from './step.js';

const AT_A_CHANGE = ['change_stuck', 'alarm', 'held'];
const AT_A_MOVE = ['held', 'nothing_found', 'wrong_way', 'alarm'];
/** How many lines each way has; the words say them. */
const LINES = {held: 4, wrong_way: 4, alarm: 5, nothing_found: 3, dead_probe: 4, change_stuck: 4};

export function troubleView(tablet) {
  const {setup, view} = tablet;
  const common = {
    name: 'trouble',
    step: setup.state.current_step,
    ...around(tablet),
    beside: [...beside(tablet).slice(0, 1), tablet.backButton()],
  };
  if (!view.trouble) return {...common, kind: 'trouble', ...which(tablet)};
  if (view.trouble === 'nothing_found' && view.leans === undefined)
    return {...common, kind: 'trouble-leans', ...leans(tablet)};
  return {...common, kind: `trouble-${view.trouble}`, ...way(tablet, view.trouble)};
}

function which(tablet) {
  const {setup} = tablet;
  const changing = ['tool_in', 'tool_out'].includes(setup.current?.kind);
  return {
    title: say('tablet.trouble.title'),
    left: [
      notice('stop', say('tablet.trouble.first')),
      el('p', {}, say('tablet.off.first')),
      el('p', {class: 'label'}, say('tablet.trouble.never_blamed')),
    ],
    right: rows(
      (changing ? AT_A_CHANGE : AT_A_MOVE).map(id => ({id, label: say(`tablet.trouble.is_${id}`)})),
      id => tablet.go({name: 'trouble', trouble: id}),
      {action: 'trouble'},
    ),
    go: {label: say('tablet.trouble.nothing_else'), action: 'back', press: () => tablet.go({name: 'step'})},
  };
}

/** Nothing was found: is the probe dead, or was there no face in reach? */
function leans(tablet) {
  return {
    title: say('tablet.trouble.leans_title'),
    left: [notice('stop', say('tablet.trouble.leans_first'))],
    right: rows(
      [
        {id: 'dead_probe', label: say('tablet.trouble.leans_yes')},
        {id: 'nothing_found', label: say('tablet.trouble.leans_no')},
      ],
      id => tablet.go({name: 'trouble', trouble: id, leans: id === 'dead_probe'}),
      {action: 'leans'},
    ),
  };
}

/** What to do, line by line, and what happened to probe and control on the way. */
function way(tablet, trouble) {
  const {setup, view} = tablet;
  // With the view, so that a screen that is brought up to date does not take them away.
  const ticks = (view.ticks ??= {});
  const tick = name =>
    el(
      'label',
      {class: 'tick'},
      el('input', {
        type: 'checkbox',
        checked: ticks[name],
        data: {action: name},
        on: {
          change: event => {
            ticks[name] = event.target.checked;
          },
        },
      }),
      el('span', {}, say(`tablet.trouble.${name}`)),
    );
  const asks = trouble === 'dead_probe' ? [] : trouble === 'change_stuck' ? ['reset'] : ['touched', 'reset'];
  const worry = (kind, text) => setup.commit('worry.raised', {worry: kind, text, about: WORRIES[kind].about});
  const press = () =>
    tablet.act(async () => {
      if (trouble === 'dead_probe') await worry('probe_looks_wrong', say('tablet.trouble.dead_worry'));
      if (trouble === 'change_stuck') await worry('machine_looks_wrong', say('tablet.trouble.stuck_worry'));
      return setup.commit('trouble.met', {
        trouble,
        touched: ticks.touched ?? trouble === 'dead_probe',
        reset: ticks.reset ?? false,
      });
    });
  return {
    title: say(`tablet.trouble.${trouble}_title`),
    left: el(
      'ol',
      {class: 'ways-on'},
      Array.from({length: LINES[trouble]}, (_, place) =>
        el('li', {}, say(`tablet.trouble.${trouble}_${place + 1}`, {lead: setup.lead})),
      ),
    ),
    right: [
      asks.length > 0 && el('p', {class: 'label'}, say('tablet.trouble.asks')),
      asks.map(tick),
      el('p', {class: 'label'}, say(`tablet.trouble.${trouble === 'dead_probe' ? 'then_stow' : 'then'}`)),
    ],
    go: {
      label: say(trouble === 'dead_probe' ? 'tablet.trouble.go_stow' : 'tablet.trouble.go'),
      action: 'trouble-met',
      press,
    },
  };
}
