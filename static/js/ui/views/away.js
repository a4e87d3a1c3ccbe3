/**
 * Back after more than ten minutes: last done, next, time away;
 * and a look at machine and probe before anything goes on.
 */
import {el} from '../dom.js';
import {say} from '../say.js';
import {recorded} from '../recorded.js';
import {span} from '../when.js';
import {around, beside} from './step.js';

export const AWAY_MS = 10 * 60_000;

export function awayView(tablet) {
  const {
    setup,
    view: {awayMs},
  } = tablet;
  const last = setup.stages
    .flatMap(({steps}) => steps)
    .filter(({id}) => setup.state.steps[id]?.state === 'done')
    .at(-1);
  const line = (code, text) => el('div', {}, el('dt', {}, say(code)), el('dd', {}, text));
  return {
    name: 'away',
    step: setup.state.current_step,
    kind: 'away',
    title: say('tablet.away.title', {span: span(awayMs)}),
    ...around(tablet),
    left: [
      el(
        'p',
        {class: 'lead'},
        say(setup.state.probe_in_spindle ? 'tablet.away.look_probe' : 'tablet.away.look'),
      ),
      el('p', {}, say('tablet.away.person', {name: setup.personName})),
    ],
    right: el(
      'dl',
      {class: 'says one'},
      last && line('tablet.away.last', `${setup.fill(last.do)} (${recorded(setup, last)})`),
      line('tablet.away.next', setup.fill(setup.current?.do ?? '')),
    ),
    go: {
      label: say('tablet.away.as_left'),
      action: 'as-left',
      press: () => tablet.act(() => setup.commit('setup.resumed', {away_ms: awayMs})),
    },
    beside: beside(tablet),
  };
}
