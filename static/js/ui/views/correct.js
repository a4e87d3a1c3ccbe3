/**
 * A correction: the step and those behind it in its stage open again, with a reason;
 * what was recorded stays in the record.
 */
import {el} from '../dom.js';
import {say} from '../say.js';
import {rows} from '../choices.js';
import {around, beside} from './step.js';

const REASONS = ['typed_wrong', 'read_wrong', 'done_differently', 'changed_since'];

export function correctView(tablet) {
  const {setup, view} = tablet;
  const step = setup.step(view.step);
  const reopen = id =>
    tablet.act(() =>
      setup.commit('step.reopened', {reopened: step.id, reason: say(`tablet.correct.reason_${id}`)}),
    );
  return {
    name: 'correct',
    step: setup.state.current_step,
    kind: 'correct',
    title: say('tablet.correct.title'),
    ...around(tablet),
    left: [el('p', {class: 'lead'}, setup.fill(step.do)), el('p', {}, say('tablet.correct.means'))],
    right: rows(
      REASONS.map(id => ({id, label: say(`tablet.correct.reason_${id}`)})),
      reopen,
      {action: 'correct-reason'},
    ),
    beside: [...beside(tablet).slice(0, 1), tablet.backButton()],
  };
}
