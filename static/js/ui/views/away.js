/**
 * Nobody pressed anything for more than ten minutes: no value is shown, and whoever comes says who they are
 * after a look at machine and probe. What stands half typed comes back with the step.
 *
 * Decision: a name is asked for, and no PIN. A PIN can be checked by the server alone; sealed here and judged
 * later it would keep nobody from going on, and a shop's people would type it in front of each other many
 * times a day. The setup is signed with it at the end, and nothing else rests on who pressed here.
 */
import {button, el} from '../dom.js';
import {say} from '../say.js';
import {clockTime} from '../when.js';
import {around, beside} from './step.js';

export function awayView(tablet) {
  const {setup, view} = tablet;
  const {sinceUtc, before} = view;
  const back = async () => {
    await setup.commit('setup.resumed', {away_ms: tablet.clock.sinceMs(sinceUtc)});
    tablet.isAway = false;
    tablet.view = before;
  };
  return {
    name: 'away',
    step: setup.state.current_step,
    kind: 'away',
    title: say('tablet.away.title'),
    where: around(tablet).where,
    left: [
      el('p', {class: 'lead'}, say('tablet.away.since', {time: clockTime(sinceUtc), name: setup.personName})),
      el(
        'p',
        {class: 'lead'},
        say(setup.state.probe_in_spindle ? 'tablet.away.look_probe' : 'tablet.away.look'),
      ),
      lastAndNext(setup),
    ],
    right: [
      el('p', {}, say('tablet.away.not_checked', {name: setup.personName})),
      el(
        'div',
        {class: 'ways'},
        button(say('tablet.away.somebody_else'), 'somebody-else', () => tablet.leaveOpen()),
      ),
    ],
    go: {
      label: say('tablet.away.is_me', {name: setup.personName}),
      action: 'as-left',
      press: () => tablet.act(back, {fresh: true}),
    },
    beside: beside(tablet),
  };
}

/** What was done last and what comes next, in the words of the steps, without what was typed. */
function lastAndNext(setup) {
  const last = setup.stages
    .flatMap(({steps}) => steps)
    .filter(({id}) => setup.state.steps[id]?.state === 'done')
    .at(-1);
  const line = (code, text) => el('div', {}, el('dt', {}, say(code)), el('dd', {}, text));
  return el(
    'dl',
    {class: 'says one'},
    last && line('tablet.away.last', setup.fill(last.do)),
    line('tablet.away.next', setup.fill(setup.current?.do ?? '')),
  );
}
